//! Replay: a book's raw bytes go through the drivers and the inspection once more, and whatever
//! comes out is compared with what the book says.
//!
//! With the versions of the record both agree bit for bit; with others the differences are told
//! and nothing is changed.

mod anew;
mod basis;
mod explain;
mod report;
mod run;
mod stream;

use tapline_protocols::Fact;

use crate::books::Line;
use crate::station::Context;
pub use basis::{Basis, Resting, Search, is_hash};
pub(crate) use basis::{Sources, parts};
pub use explain::{Bytes, Heard, Named, Rests, from};
pub use report::{DIFFERENCES_MAX, Difference, Report, Verdict};
pub use run::Run;

/// Replays the lines of one book: an inspection or a day of idle bytes.
#[must_use]
pub fn replay(lines: &[Line], context: &Context) -> Report {
    let mut run = Run::new(context);
    lines.iter().for_each(|line| run.line(line));
    run.end()
}

/// Facts that follow from readings or from the record, when nobody acted.
fn derived(fact: &Fact) -> bool {
    match fact {
        Fact::Value(_) | Fact::Verdict(_) | Fact::Step(_) | Fact::Switch(_) => true,
        Fact::Null(null) => null.carried.is_none(),
        Fact::Prove(prove) => prove.carried.is_none(),
        _ => false,
    }
}

/// What an inspection opens with: nothing follows from the record before all of it is there.
fn opening(fact: &Fact) -> bool {
    match fact {
        Fact::Given(_) => true,
        Fact::Null(null) => null.carried.is_some(),
        Fact::Prove(prove) => prove.carried.is_some(),
        _ => false,
    }
}
