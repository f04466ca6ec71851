//! What a report must contain, as ISO/IEC 17025:2017 7.8.2.1 and 7.8.6 and the documentation
//! clause of IEC 62353:2014 (6.1) ask for it, and EU GMP Annex 11 (6) of what is entered by hand
//! (all from memory), held against what it tells.

use super::data::{Outcome, Report};

/// What is asked for: its letter or clause, its code, and whether a report has it.
pub type Asked = (&'static str, &'static str, fn(&Report) -> bool);

/// What a report must contain as data; what is the same on every report (title, end mark, that it
/// relates only to the item tested, that nothing was sampled) is not asked of the data.
pub const ASKED: &[Asked] = &[
    ("b", "workshop", |r| !r.site.workshop.is_empty()),
    ("b", "address", |r| !r.site.address.is_empty()),
    ("c", "bench", |r| !r.site.bench.is_empty() && !r.site.station.is_empty()),
    ("d", "id", |r| !r.id.is_empty()),
    ("e", "owner", |r| !r.asset.owner.is_empty()),
    ("f", "plan", |r| !r.plan.id.is_empty() && !r.plan.hash.is_empty()),
    ("f", "standard", |r| !r.plan.standard.is_empty()),
    ("f", "method", |r| r.groups.iter().all(|group| !group.method.is_empty())),
    ("g", "what", |r| !r.asset.what.is_empty()),
    ("g", "asset", |r| !r.asset.id.is_empty()),
    ("g", "serial", |r| !r.asset.serial.is_empty()),
    ("g", "maker", |r| !r.asset.maker.is_empty() && !r.asset.model.is_empty()),
    ("h i", "opened", |r| r.opened.is_some()),
    ("j", "closed", |r| r.closed.is_some()),
    ("m", "results", |r| !r.groups.is_empty() || !r.answers.is_empty()),
    ("m", "unit", |r| r.groups.iter().flat_map(|g| &g.result).all(|a| !a.unit.is_empty())),
    ("o", "signed_by", |r| {
        let whole = |one: &super::Signature| {
            !one.name.is_empty()
                && !one.id.is_empty()
                && !one.meaning.is_empty()
                && one.at.is_some()
        };
        !r.signatures.is_empty() && r.signatures.iter().all(whole)
    }),
    ("annex 11, 6", "typed", |r| {
        let rests = |one: &super::Value| one.typed || one.readings > 0;
        r.groups.iter().flat_map(|group| &group.values).all(rests)
            && r.entered.iter().all(|one| !one.known.is_empty())
    }),
    ("7.8.6", "rule", |r| !r.plan.rule.is_empty()),
    ("7.8.6", "limit", |r| {
        let judged = r.groups.iter().filter(|group| group.result.is_some());
        judged.clone().all(|g| g.limit.as_ref().is_some_and(|limit| !limit.clause.is_empty()))
    }),
    ("62353", "meters", |r| {
        let measured = r.groups.iter().any(|group| !group.values.is_empty());
        !measured
            || (!r.meters.is_empty()
                && r.meters.iter().all(|m| !m.serial.is_empty() || !m.fixture.is_empty()))
    }),
    ("62353", "calibration", |r| r.meters.iter().all(|meter| !meter.due.is_empty())),
    ("62353", "outcome", |r| r.outcome != Outcome::Open),
    ("62353", "looks", |r| !r.answers.is_empty()),
    ("62353", "class", |r| !r.asset.class.is_empty()),
];

/// Codes of what is asked for and is not told, in the order of the letters.
#[must_use]
pub fn gaps(report: &Report) -> Vec<&'static str> {
    ASKED.iter().filter(|(_, _, has)| !has(report)).map(|(_, code, _)| *code).collect()
}
