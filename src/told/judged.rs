//! A verdict as it is and as it would be, in one line.

use tapline_protocols::fact::Judged;

use crate::words::english;

/// `0.298 Ohm`, `> 2 Ohm`, or what stands for no value.
pub(crate) fn value(judged: &Judged) -> String {
    let mark = match judged.indication.as_deref() {
        Some("above") => "> ",
        Some("below") => "< ",
        _ => "",
    };
    match (&judged.shown, judged.unit) {
        (Some(shown), Some(unit)) => format!("{mark}{shown} {}", unit.ucum()),
        _ => english().say("again", "no_value").into(),
    }
}

/// `max 0.300 Ohm, IEC 62353 2014 5.3.2 a)`, or what stands for no limit.
pub(crate) fn limit(judged: &Judged) -> String {
    match &judged.limit {
        Some(limit) => format!(
            "{} {} {}, {} {} {}",
            limit.direction,
            limit.value,
            limit.unit.ucum(),
            limit.standard,
            limit.edition,
            limit.clause
        ),
        None => english().say("again", "no_limit").into(),
    }
}

/// `PASS`.
pub(crate) fn word(judged: &Judged) -> String {
    let code = serde_json::to_value(judged.verdict).unwrap_or_default();
    english().say("verdict", code.as_str().unwrap_or_default()).into()
}

/// What becomes of a verdict: another word, or the same one in doubt.
pub(crate) fn change(was: &Judged, is: Option<&Judged>) -> String {
    let Some(is) = is else {
        return english().tell("again", "no_verdict", &[("was", &word(was))]);
    };
    let doubt = is.uncertainty.as_ref().map_or("", |doubt| doubt.expanded.as_str());
    let why = match is.reasons.is_empty() {
        true => String::new(),
        false => format!(" [{}]", is.reasons.join(" ")),
    };
    let values = [
        ("was", word(was)),
        ("is", word(is)),
        ("old", value(was)),
        ("new", value(is)),
        ("old_limit", limit(was)),
        ("limit", limit(is)),
        ("doubt", doubt.into()),
        ("why", why),
    ];
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let code = match (was.verdict == is.verdict, limit(was) == limit(is)) {
        (true, _) => "doubt",
        (false, true) => "changes",
        (false, false) => "other_limit",
    };
    english().tell("again", code, &values)
}
