//! Assets that were looked for since their last inspection, and how long nobody has found them.

use serde_json::{Value, json};
use tapline_protocols::due::Day;
use tapline_protocols::fact::VisitFact;

use crate::words::english;

/// An asset was looked for since it was last inspected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Visited {
    /// What came of it the last time.
    pub(crate) last: VisitFact,
    /// Who looked for it then.
    pub(crate) by: Option<String>,
    /// Since when nobody has found it: the first of the visits in a row that did not.
    pub(crate) since: Option<String>,
}

impl Visited {
    /// One visit more.
    pub(crate) fn then(before: Option<&Visited>, last: VisitFact, by: Option<String>) -> Visited {
        let lost = last.outcome == "not_found";
        let earlier = before.and_then(|before| before.since.clone());
        let since = lost.then(|| earlier.unwrap_or_else(|| last.day.clone()));
        Visited { last, by, since }
    }

    /// Days for which nobody has found it.
    pub(crate) fn days_lost(&self, today: Day) -> Option<u32> {
        let since = Day::parse(self.since.as_deref()?)?;
        Some(today.number().saturating_sub(since.number()))
    }

    /// As JSON.
    pub(crate) fn json(&self, today: Day) -> Value {
        json!({
            "outcome": self.last.outcome,
            "day": self.last.day,
            "place": self.last.place,
            "retry": self.last.retry,
            "reason": self.last.reason,
            "by": self.by,
            "not_found_since": self.since,
            "days": self.days_lost(today),
        })
    }
}

/// What [`Visited::json`] gives in words, behind what else is said of the asset; nothing where it
/// was not looked for.
pub(crate) fn text(visited: &Value) -> String {
    let words = english();
    let of = |name: &str| visited[name].as_str().unwrap_or_default();
    let part = |code: &str, name: &str| match of(name) {
        "" => String::new(),
        text => words.tell("visited", code, &[("text", text)]),
    };
    let (place, retry) = (part("place", "place"), part("retry", "retry"));
    let days = visited["days"].as_u64().unwrap_or_default().to_string();
    let values = [
        ("day", of("day")),
        ("since", of("not_found_since")),
        ("days", &days),
        ("place", &place),
        ("retry", &retry),
    ];
    words.tell("visited", of("outcome"), &values)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn visit(outcome: &str, day: &str) -> VisitFact {
        VisitFact { outcome: outcome.into(), day: day.into(), ..VisitFact::default() }
    }

    #[test]
    fn what_nobody_finds_grows_older_until_somebody_sees_it() {
        let today = Day::parse("2026-11-30").unwrap();
        let mut visited: Option<Visited> = None;
        let mut days = Vec::new();
        for (outcome, day) in [
            ("not_found", "2026-10-01"),
            ("not_found", "2026-11-01"),
            ("with_patient", "2026-11-02"),
            ("not_found", "2026-11-20"),
        ] {
            visited = Some(Visited::then(visited.as_ref(), visit(outcome, day), None));
            days.push(visited.as_ref().and_then(|visited| visited.days_lost(today)));
        }
        // By the calendar: October has 31 days.
        assert_eq!(days, [Some(60), Some(60), None, Some(10)]);
    }
}
