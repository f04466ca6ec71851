//! The newest reading of an instrument, ready for the page: a number, how old it is, and when it
//! is too old to be shown.

use serde::Deserialize;
use serde_json::{Value, json};
use tapline_protocols::fact::Read;
use tapline_protocols::limits::Row;

use crate::page::bar::along;
use crate::page::unit;
use crate::page::work::{amount, place};
use crate::serve::feed::Shown;
use crate::words::english;

/// A value is old after two of its own periods, but not before and not later than this,
/// milliseconds: what is committed together arrives together.
const OLD_MS: (u64, u64) = (600, 5_000);

/// The period that is taken for the first reading, milliseconds.
const FIRST_MS: u64 = 1_000;

/// How many gaps the period is the largest of.
const GAPS: usize = 4;

/// As much of an `in` line as is needed.
#[derive(Debug, Deserialize)]
struct In {
    m: u64,
    link: String,
    #[serde(default)]
    read: Vec<Read>,
}

/// What comes from one instrument.
#[derive(Debug, Default)]
pub(super) struct Readings {
    last_us: Option<u64>,
    gaps_ms: Vec<u64>,
}

impl Readings {
    /// What an `in` line of the link says, at this moment of the boot-time clock; `None` where it
    /// says nothing, or is of another link.
    pub(super) fn take(
        &mut self,
        line: &Shown,
        link: Option<&str>,
        (now_us, limit): (u64, Option<&Row>),
    ) -> Option<Value> {
        let heard: In = serde_json::from_str(&line.data).ok()?;
        if link.is_none_or(|link| heard.link != link) {
            return None;
        }
        let read = heard.read.last()?;
        if let Some(last) = self.last_us.replace(heard.m) {
            self.gaps_ms.push(heard.m.saturating_sub(last) / 1_000);
            let surplus = self.gaps_ms.len().saturating_sub(GAPS);
            self.gaps_ms.drain(..surplus);
        }
        let period = self.gaps_ms.iter().max().copied().unwrap_or(FIRST_MS);
        let old = (2 * period).clamp(OLD_MS.0, OLD_MS.1);
        let age = now_us.saturating_sub(heard.m) / 1_000;
        Some(shown(read, limit, (age, old)))
    }
}

fn shown(read: &Read, limit: Option<&Row>, (age, old): (u64, u64)) -> Value {
    let text = match read.i.as_deref() {
        Some(code @ ("overload" | "none")) => english().say("indication", code).to_owned(),
        mark => amount(mark, read.v.as_deref().unwrap_or_default(), ""),
    };
    let belongs = match (&read.s, &read.why) {
        (Some(step), _) => english().tell("page", "belongs", &[("step", step)]),
        (None, Some(why)) => english().say("why", why).to_owned(),
        (None, None) => String::new(),
    };
    let known = limit.zip(read.v.as_ref()).zip(read.u);
    let used = known.and_then(|((row, value), unit)| place(value, unit, row));
    json!({
        "num": text.trim(),
        "unit": read.u.map(|of| unit(of.ucum())),
        "belongs": belongs,
        "age": age,
        "old": old,
        "along": used.map(along),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(m: u64, read: &str) -> Shown {
        let data = format!(r#"{{"book":"x","m":{m},"k":"in","link":"ohm","read":[{read}]}}"#);
        Shown { seq: 1, kind: "in".into(), book: "x".into(), bench: None, data }
    }

    const VALUE: &str = r#"{"b":[0,9],"f":"resistance_4w","v":"+0.182","u":"Ohm","why":"spent"}"#;

    #[test]
    fn a_value_is_old_after_two_of_its_own_periods() {
        let mut readings = Readings::default();
        let mut take = |m: u64, now: u64| readings.take(&line(m, VALUE), Some("ohm"), (now, None));
        let first = take(1_000_000, 1_030_000).unwrap();
        assert_eq!((&first["num"], &first["unit"]), (&json!("0.182"), &json!("Ω")));
        assert_eq!((&first["age"], &first["old"]), (&json!(30), &json!(2_000)));
        assert!(first["belongs"].as_str().unwrap().contains("lift the probe"), "{first}");
        assert_eq!(take(1_500_000, 1_500_000).unwrap()["old"], 1_000);
        assert_eq!(take(1_600_000, 1_600_000).unwrap()["old"], 1_000, "the largest of its gaps");
        assert_eq!(take(61_600_000, 61_600_000).unwrap()["old"], 5_000, "never later");
    }

    #[test]
    fn what_another_link_says_is_not_it() {
        let mut readings = Readings::default();
        assert_eq!(readings.take(&line(1, VALUE), Some("dmm"), (1, None)), None);
        assert_eq!(readings.take(&line(1, VALUE), None, (1, None)), None);
        assert_eq!(readings.take(&line(1, ""), Some("ohm"), (1, None)), None);
    }

    #[test]
    fn no_value_is_a_word_and_never_a_number() {
        let mut readings = Readings::default();
        let read = r#"{"b":[0,9],"f":"resistance_4w","i":"overload"}"#;
        let shown = readings.take(&line(1, read), Some("ohm"), (1, None)).unwrap();
        assert_eq!(shown["num"], english().say("indication", "overload"));
        let read = r#"{"b":[0,9],"f":"resistance_4w","i":"above","v":"2.00","u":"Ohm"}"#;
        let shown = readings.take(&line(2, read), Some("ohm"), (2, None)).unwrap();
        assert_eq!(shown["num"], "> 2.00");
    }
}
