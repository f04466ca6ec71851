//! Replay: a book's raw bytes go through the drivers and the inspection once more, and whatever
//! comes out is compared with what the book says.
//!
//! With the versions of the record both agree bit for bit; with others the differences are told
//! and nothing is changed.

mod report;
mod run;
mod stream;

use tapline_protocols::Fact;

use crate::books::Line;
use crate::station::Context;
pub use report::{Difference, Report};
use run::Run;

/// Replays the lines of one book: an inspection or a day of idle bytes.
#[must_use]
pub fn replay(lines: &[Line], context: &Context) -> Report {
    let mut run = Run::new(context);
    for (place, line) in lines.iter().enumerate() {
        run.line(&lines[..place], line);
    }
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
