//! What is to be done: inspection protocols as data, and what they become for one asset.

mod axes;
mod bench;
mod builtin;
mod check;
mod compare;
mod expand;
mod fit;
mod foresee;
mod limits;
mod model;
mod outline;
mod reader;
mod steps;

pub use bench::BenchGiven;
pub(crate) use bench::{isolation_needed, kind_of, offers};
pub use builtin::{builtin, builtin_ids};
pub(crate) use check::of_iec_60990;
pub use check::{Reached, check, reached};
pub use compare::Comparison;
pub(crate) use expand::cord_word;
pub use expand::{EXPANDED_MAX, expand};
pub use fit::{Fit, fits};
pub use foresee::{Foreseen, foresee};
pub(crate) use limits::{class_word, condition, kind_word, part_word};
pub use model::{
    Axis, Capture, Combine, Contact, Correct, Gate, Hazard, Method, Needs, Plan, PlanFor,
    Potential, Proof, Rule, Step, StepKind, While,
};
pub use outline::{JudgedBy, Missing, Outline, Planned, Remark, Totals, outline};
pub use reader::{STEPS_MAX, parse, read};
pub use steps::{Direction, Expanded, Settings, Switch};
