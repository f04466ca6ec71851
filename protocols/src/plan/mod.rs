//! What is to be done: inspection protocols as data, and what they become for one asset.

mod model;
mod steps;

pub use model::{
    Axis, Capture, Combine, Contact, Correct, Gate, Hazard, Method, Needs, Plan, PlanFor,
    Potential, Proof, Rule, Step, StepKind, While,
};
pub use steps::{Direction, Expanded, Settings, Switch};
