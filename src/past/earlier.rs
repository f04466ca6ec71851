//! What earlier inspections of an asset came to, for one that is compared with them.

use tapline_protocols::fact::{Earlier, Word};

use super::Past;
use crate::books::OnShelf;

/// Newest inspections of an asset that are looked at.
const LOOKED_AT_MAX: usize = 8;
/// A repair begins a new reference: what was measured before it is no longer compared.
pub(crate) const AFTER_REPAIR: &str = "after_repair";

/// What earlier inspections of an asset say to a new one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Before {
    /// The newest value of each that may be compared.
    pub(crate) list: Vec<Earlier>,
    /// The one before, where the asset did not pass it.
    pub(crate) failed: Option<(String, Word)>,
}

/// What records say that come newest first; what can't be read is left out, and so is what lies
/// farther back than the bound.
pub(crate) fn newest<'r>(
    records: impl Iterator<Item = &'r OnShelf>,
    read: impl Fn(&OnShelf) -> Result<Option<Past>, String>,
) -> Before {
    let mut list: Vec<Earlier> = Vec::new();
    let mut failed = Before::default().failed;
    let (mut looked_at, mut settled) = (0, false);
    for record in records {
        let past = match read(record) {
            Ok(Some(past)) if past.signed.is_some() => past,
            Ok(_) => continue,
            Err(why) => {
                tracing::warn!(id = record.id, why, "An earlier inspection is not compared.");
                continue;
            }
        };
        if let (false, Some((_, outcome))) = (settled, past.signed) {
            failed = not_passed(&past, outcome);
            settled = failed.is_some() || outcome != Word::Undecided;
        }
        for (like, judged) in &past.verdicts {
            let fresh = list.iter().all(|one| one.like != *like);
            list.extend(Earlier::of(like.clone(), judged, &past.id).filter(|_| fresh));
        }
        looked_at += 1;
        if past.reason == AFTER_REPAIR || looked_at == LOOKED_AT_MAX {
            break;
        }
    }
    Before { list, failed }
}

/// An undecided one says nothing of the one before it, but a retest that came to nothing is one
/// link of the chain.
fn not_passed(past: &Past, outcome: Word) -> Option<(String, Word)> {
    let fails = matches!(outcome, Word::Fail | Word::ConditionalFail);
    let again = outcome == Word::Undecided && past.retest_of.is_some();
    (fails || again).then(|| (past.id.clone(), outcome))
}

#[cfg(test)]
mod tests {
    use tapline_protocols::doubt::trend::Like;
    use tapline_protocols::due::Day;
    use tapline_protocols::fact::Judged;
    use tapline_protocols::register::read_assets;

    use super::*;
    use crate::past::Past;

    fn record(id: &str) -> OnShelf {
        OnShelf { id: id.into(), sealed: true }
    }

    fn judged(value: &str) -> Judged {
        let text = format!(
            r#"{{"value":"{value}","unit":"Ohm","shown":null,"limit":null,"rule":null,"share":null,
            "uncertainty":{{"u":"0.001","k":"2","expanded":"0.002"}},"probability":null,
            "verdict":"pass","reasons":[]}}"#
        );
        serde_json::from_str(&text).unwrap()
    }

    fn past(id: &str, reason: &str, values: &[(&str, &str)]) -> Past {
        let like = |point: &str| Like { point: point.into(), ..Like::default() };
        let assets = read_assets(include_str!("../../contrib/example/assets.csv")).unwrap();
        Past {
            id: id.into(),
            asset: assets[0].clone(),
            day: Day::parse("2026-01-01").unwrap(),
            reason: reason.into(),
            signed: Some((1, Word::Pass)),
            by_its_plan: true,
            retest_of: None,
            verdicts: values.iter().map(|(at, value)| (like(at), judged(value))).collect(),
        }
    }

    /// The newest of each counts; a repair begins anew, and its own values are the first.
    #[test]
    fn the_newest_like_value_since_the_last_repair_is_compared_with() {
        let records = ["5", "4", "3", "2", "1"].map(record);
        let read = |record: &OnShelf| match record.id.as_str() {
            "5" => Ok(Some(past("5", "scheduled", &[("case", "0.14")]))),
            "4" => Err("it is not what was sealed".into()),
            "3" => Ok(None),
            "2" => Ok(Some(past("2", AFTER_REPAIR, &[("case", "0.12"), ("rail", "0.11")]))),
            _ => Ok(Some(past("1", "acceptance", &[("case", "0.10"), ("bolt", "0.09")]))),
        };
        let list = newest(records.iter(), read).list;
        let found: Vec<_> = list.iter().map(|one| (&one.book[..], &one.value[..])).collect();
        assert_eq!(found, [("5", "0.14"), ("2", "0.11")]);
    }

    /// From a fail to its retest, over what came to nothing between them, and no farther than to a
    /// pass.
    #[test]
    fn a_retest_names_the_inspection_that_was_not_passed() {
        let before = |outcomes: &[(Word, bool)]| {
            let records: Vec<OnShelf> =
                (0..outcomes.len()).map(|n| record(&n.to_string())).collect();
            let read = |record: &OnShelf| {
                let (outcome, retest) = outcomes[record.id.parse::<usize>().unwrap()];
                let signed = Some((1, outcome));
                let retest_of = retest.then(|| "x".into());
                Ok(Some(Past { signed, retest_of, ..past(&record.id, "scheduled", &[]) }))
            };
            newest(records.iter(), read).failed.map(|(id, _)| id)
        };
        let (pass, fail, undecided) = (Word::Pass, Word::Fail, Word::Undecided);
        assert_eq!(before(&[(fail, false), (pass, false)]).as_deref(), Some("0"));
        assert_eq!(before(&[(undecided, false), (fail, false)]).as_deref(), Some("1"));
        assert_eq!(before(&[(undecided, true), (fail, false)]).as_deref(), Some("0"));
        assert_eq!(before(&[(Word::ConditionalFail, false)]).as_deref(), Some("0"));
        assert_eq!(before(&[(pass, true), (fail, false)]), None);
        assert_eq!(before(&[(undecided, false), (pass, false), (fail, false)]), None);
        assert_eq!(before(&[]), None);
    }

    #[test]
    fn a_long_history_is_looked_at_as_far_as_the_bound() {
        let records: Vec<OnShelf> = (0..20).map(|n| record(&format!("{n:02}"))).collect();
        let read = |record: &OnShelf| {
            Ok(Some(past(&record.id, "scheduled", &[(record.id.as_str(), "0.1")])))
        };
        assert_eq!(newest(records.iter().rev(), read).list.len(), LOOKED_AT_MAX);
    }
}
