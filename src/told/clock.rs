//! What clocks did, in words.

use serde_json::Value;

use crate::words::english;

/// A `clock` fact: what it showed, what it shows, whether the machine slept. `now` is the line's
/// own time.
pub(crate) fn changed(fact: &Value, now: &str) -> String {
    let words = english();
    let mut said = Vec::new();
    let step = fact["step_us"].as_i64().unwrap_or(0);
    if step != 0 {
        let way = if step < 0 { "back" } else { "forward" };
        let was = fact["was"].as_str().unwrap_or("?");
        let by = span(step.unsigned_abs());
        let text = words.say("clock", way).replace("{0}", &by);
        said.push(text.replace("{1}", &short(was)).replace("{2}", &short(now)));
    }
    if let Some(slept) = fact["slept_us"].as_u64() {
        said.push(words.say("clock", "slept").replace("{0}", &span(slept)));
    }
    said.join("; ")
}

/// A time without its fraction of a second, UTC.
fn short(time: &str) -> String {
    let whole = time.split('.').next().unwrap_or(time);
    format!("{} UTC", whole.trim_end_matches('Z').replace('T', " "))
}

/// Microseconds as people say them: `12.3 s`, `5 min 0 s`, `1 h 0 min 0 s`.
fn span(us: u64) -> String {
    let tenths = us / 100_000;
    let (hours, minutes) = (tenths / 36_000, tenths / 600 % 60);
    let seconds = format!("{}.{} s", tenths / 10 % 60, tenths % 10);
    match (hours, minutes) {
        (0, 0) => seconds,
        (0, _) => format!("{minutes} min {seconds}"),
        _ => format!("{hours} h {minutes} min {seconds}"),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn both_times_are_told() {
        let fact = json!({ "step_us": -3_600_000_000i64, "was": "2026-11-25T00:30:00.500000Z" });
        let text = changed(&fact, "2026-11-24T23:30:00.500000Z");
        let want = "the wall clock was set back by 1 h 0 min 0.0 s: it showed 2026-11-25 00:30:00 \
                    UTC and shows 2026-11-24 23:30:00 UTC";
        assert_eq!(text, want);
        let fact = json!({ "step_us": 0, "slept_us": 61_250_000 });
        assert!(changed(&fact, "").starts_with("the machine slept for 1 min 1.2 s"));
    }

    #[test]
    fn a_span_is_said_in_its_largest_units() {
        let said = [0, 600_000, 59_900_000, 60_000_000, 86_400_000_000].map(span);
        assert_eq!(said, ["0.0 s", "0.6 s", "59.9 s", "1 min 0.0 s", "24 h 0 min 0.0 s"]);
    }
}
