//! The newest reading of an instrument, ready for the page: a number, how old it is, and when it
//! is too old to be shown.

use serde::Deserialize;
use serde_json::{Value, json};
use tapline_protocols::fact::{ChainLink, Read};
use tapline_protocols::inspection::Glance;
use tapline_protocols::judge::Seen;
use tapline_protocols::limits::Row;

use crate::page::bar::along;
use crate::page::steps::full;
use crate::page::work::{amount, place, place_of};
use crate::page::{say, tell, unit};
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

/// What readings of the active step are seen through: their way to its limit.
#[derive(Debug, Default)]
pub(super) struct Lens {
    pub glance: Option<Glance>,
    pub row: Option<Row>,
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
        (now_us, lens): (u64, &Lens),
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
        Some(shown(read, lens, (age, old)))
    }
}

fn shown(read: &Read, lens: &Lens, (age, old): (u64, u64)) -> Value {
    let belongs = match (&read.s, &read.why) {
        (Some(step), _) => tell("belongs", &[("step", &full(step))]),
        (None, Some(why)) => english().say("why", why).to_owned(),
        (None, None) => String::new(),
    };
    let mut shown = lens.glance.as_ref().and_then(|glance| glance.see(read)).map_or_else(
        || as_sent(read, lens.row.as_ref()),
        |seen| come_to(read, &seen, lens.row.as_ref()),
    );
    shown["belongs"] = belongs.into();
    shown["age"] = age.into();
    shown["old"] = old.into();
    shown
}

/// The indication, where it comes to nothing else.
fn as_sent(read: &Read, limit: Option<&Row>) -> Value {
    let text = match read.i.as_deref() {
        Some(code @ ("overload" | "none")) => english().say("indication", code).to_owned(),
        mark => amount(mark, read.v.as_deref().unwrap_or_default(), ""),
    };
    let known = limit.zip(read.v.as_ref()).zip(read.u);
    let used = known.and_then(|((row, value), unit)| place_of(value, unit, row));
    json!({
        "num": text.trim(),
        "unit": read.u.filter(|_| read.v.is_some()).map(|of| unit(of.ucum())),
        "shows": "",
        "along": used.map(along),
    })
}

/// The value in the unit of the limit, as it would be judged; beside it what the meter shows, and
/// what was reckoned.
fn come_to(read: &Read, seen: &Seen, limit: Option<&Row>) -> Value {
    let notes = notes(seen);
    if notes.is_empty() && read.u == Some(seen.unit) {
        return as_sent(read, limit);
    }
    let sent = read.v.as_deref().unwrap_or_default();
    let sent = amount(read.i.as_deref(), sent, read.u.map_or("", |unit| unit.ucum()));
    let shows = std::iter::once(tell("meter_shows", &[("amount", &sent)])).chain(notes);
    let used = limit.zip(seen.value).and_then(|(row, value)| place(value, row));
    let text = amount(seen.indication, seen.shown.as_deref().unwrap_or_default(), "");
    json!({
        "num": text.trim(),
        "unit": unit(seen.unit.ucum()),
        "shows": shows.collect::<Vec<_>>().join(" · "),
        "along": used.map(along),
    })
}

/// What was reckoned, and what could not be yet, in words. A unit that changes speaks for itself.
fn notes(seen: &Seen) -> Vec<String> {
    let reckoned = seen.chain.iter().filter_map(done);
    let lacks = seen.lacks.iter().filter_map(|reason| match *reason {
        "lead_not_nulled" => Some(say("with_leads")),
        "no_mains_value" => Some(say("no_mains")),
        "no_temperature" => Some(say("no_temperature")),
        _ => None,
    });
    reckoned.chain(lacks).map(str::to_owned).collect()
}

fn done(link: &ChainLink) -> Option<&str> {
    match (link.what.as_str(), link.assumed.as_deref(), &link.times) {
        ("lead_null", ..) => Some(say("less_leads")),
        ("mains_scaling", Some("mains_at_90_percent"), _) => Some(say("scaled_unsure")),
        ("mains_scaling", _, None) => Some(say("not_scaled")),
        ("mains_scaling", ..) => Some(say("scaled")),
        (what @ ("certificate" | "put_right" | "temperature"), ..) => {
            Some(english().say("explain", what))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapline_drivers::Unit;
    use tapline_protocols::exact::Ratio;

    fn line(m: u64, read: &str) -> Shown {
        let data = format!(r#"{{"book":"x","m":{m},"k":"in","link":"ohm","read":[{read}]}}"#);
        Shown { seq: 1, kind: "in".into(), book: "x".into(), bench: None, data }
    }

    const VALUE: &str = r#"{"b":[0,9],"f":"resistance_4w","v":"+0.182","u":"Ohm","why":"spent"}"#;

    #[test]
    fn a_value_is_old_after_two_of_its_own_periods() {
        let mut readings = Readings::default();
        let mut take =
            |m: u64, now: u64| readings.take(&line(m, VALUE), Some("ohm"), (now, &Lens::default()));
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
        assert_eq!(readings.take(&line(1, VALUE), Some("dmm"), (1, &Lens::default())), None);
        assert_eq!(readings.take(&line(1, VALUE), None, (1, &Lens::default())), None);
        assert_eq!(readings.take(&line(1, ""), Some("ohm"), (1, &Lens::default())), None);
    }

    #[test]
    fn no_value_is_a_word_and_never_a_number() {
        let mut readings = Readings::default();
        let read = r#"{"b":[0,9],"f":"resistance_4w","i":"overload"}"#;
        let shown = readings.take(&line(1, read), Some("ohm"), (1, &Lens::default())).unwrap();
        assert_eq!(shown["num"], english().say("indication", "overload"));
        let read = r#"{"b":[0,9],"f":"resistance_4w","i":"above","v":"2.00","u":"Ohm"}"#;
        let shown = readings.take(&line(2, read), Some("ohm"), (2, &Lens::default())).unwrap();
        assert_eq!(shown["num"], "> 2.00");
    }

    fn seen(shown: &str, unit: &str, chain: Value) -> Seen {
        Seen {
            indication: None,
            value: Ratio::parse(shown),
            shown: Some(shown.into()),
            unit: Unit::from_ucum(unit).unwrap(),
            chain: serde_json::from_value(chain).unwrap(),
            lacks: Vec::new(),
        }
    }

    #[test]
    fn the_number_is_in_the_unit_of_the_limit_and_the_meters_stands_beside() {
        let read = r#"{"b":[0,9],"f":"voltage_ac","v":"+0.462","u":"V","s":"leak/1"}"#;
        let read: Read = serde_json::from_str(read).unwrap();
        let chain = json!([
            { "do": "network", "of": ["0.462"], "times": "1/1000", "unit": "mA" },
            { "do": "mains_scaling", "of": ["0.462"], "times": "10/9",
              "assumed": "mains_at_90_percent" },
        ]);
        let shown = come_to(&read, &seen("513", "uA", chain), None);
        assert_eq!((&shown["num"], &shown["unit"]), (&json!("513"), &json!("µA")));
        let shows = shown["shows"].as_str().unwrap();
        assert!(shows.starts_with("the meter shows 0.462 V · "), "{shows}");
        assert!(shows.contains("not measured"), "{shows}");
    }

    #[test]
    fn what_nothing_is_done_to_keeps_its_digits() {
        let read: Read = serde_json::from_str(VALUE).unwrap();
        let shown = come_to(&read, &seen("0.182", "Ohm", json!([])), None);
        assert_eq!((&shown["num"], &shown["shows"]), (&json!("0.182"), &json!("")));
        let nulled = json!([{ "do": "lead_null", "of": ["0.182"], "minus": ["0.061"] }]);
        let shown = come_to(&read, &seen("0.121", "Ohm", nulled), None);
        assert_eq!(shown["num"], "0.121");
        assert_eq!(shown["shows"], "the meter shows 0.182 Ω · leads subtracted");
        let mut lacks = seen("0.182", "Ohm", json!([]));
        lacks.lacks.push("lead_not_nulled");
        let shown = come_to(&read, &lacks, None);
        assert!(shown["shows"].as_str().unwrap().contains("not subtracted"), "{shown}");
    }
}
