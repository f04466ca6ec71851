//! Which sealed books tell what was left on the benches: the newest of each.

use std::collections::BTreeSet;

use tapline_protocols::Fact;
use tapline_protocols::fact::SealedFact;

use super::register::Register;
use crate::books::place::is_addendum;
use crate::books::{Halted, Line};

/// Lines of the books that were sealed last, as far as they may tell what was left on the
/// `benches`: no more than the station keeps at hand, none of another boot, none from before
/// something that ends all that was known. `just`: those that no line of the station names yet.
/// `read` gives the lines of one, `None` where it is not what was sealed.
///
/// # Errors
/// Those of `read`.
pub fn sealed_last(
    (register, boot): (&Register, &str),
    just: &[SealedFact],
    benches: usize,
    mut read: impl FnMut(&SealedFact) -> Result<Option<Vec<Line>>, Halted>,
) -> Result<Vec<(String, Vec<Line>)>, Halted> {
    let mut books = Vec::new();
    if !register.watched.is_of(boot) {
        return Ok(books);
    }
    let since = register.watched.blind();
    let told = register.sealed_last.iter().rev().filter(|(seq, _)| since < *seq);
    let mut seen = BTreeSet::new();
    let just = just.iter().filter(|fact| !is_addendum(&fact.id));
    for fact in just.rev().chain(told.map(|(_, fact)| fact)) {
        if seen.len() == benches {
            break;
        }
        // Nobody knows which bench it was on: what is older may be outdated by it.
        let Some(lines) = read(fact)? else { break };
        let bench = lines.iter().rev().find_map(bench_of);
        seen.extend(bench);
        books.push((fact.id.clone(), lines));
    }
    Ok(books)
}

/// The bench that a line puts an inspection on.
fn bench_of(line: &Line) -> Option<String> {
    match &line.fact {
        Fact::Resume(resume) => Some(resume.bench.clone()),
        Fact::Open(open) => open.inspection.as_ref().map(|opened| opened.bench.clone()),
        _ => None,
    }
}
