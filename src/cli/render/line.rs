//! What one stored line says, and when it says nothing new.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use serde_json::Value;
use tapline_protocols::exact::Ratio;

use crate::told::{alike, clock};
use crate::words::english;

/// What is said of one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Said {
    /// Step or link.
    pub(super) place: String,
    /// The rest.
    pub(super) text: String,
}

/// Remembers what was said, so that a steady meter fills no screen.
#[derive(Debug, Default)]
pub(super) struct Quiet {
    /// Per link: what was last said of its readings, and how often it was passed over since.
    readings: BTreeMap<String, (String, u64)>,
    /// Per link: what was last said of its state; of the clocks: when. Each book that it concerns
    /// has a fact of it.
    links: BTreeMap<String, String>,
    /// Per bench and step: what was last said of its verdict in the inspection that is open there.
    verdicts: BTreeMap<(String, String), String>,
}

/// A steady reading of a step is said again after this many.
const PASSED_OVER_MAX: u64 = 20;

impl Quiet {
    pub(super) fn say(&mut self, event: &Value) -> Option<Said> {
        let kind = event["k"].as_str()?;
        if kind == "in" {
            return self.readings(event);
        }
        let text = text_of(kind, event)?;
        if matches!(kind, "link" | "clock") {
            let link = event["link"].as_str().unwrap_or("").to_owned();
            let text = if kind == "clock" { event["t"].to_string() } else { text.clone() };
            if self.links.insert(link, text.clone()).is_some_and(|last| last == text) {
                return None;
            }
        }
        if self.is_told(kind, event, &text) {
            return None;
        }
        Some(Said { place: place(event), text })
    }

    /// A verdict is given anew whatever it rests on; that it is the same one is no news.
    fn is_told(&mut self, kind: &str, event: &Value, text: &str) -> bool {
        let bench = event["bench"].as_str().unwrap_or("");
        match kind {
            "open" | "resume" => self.verdicts.retain(|(of, _), _| of != bench),
            "step" => {
                // A step that is worked on again may come to the same once more.
                let step = event["step"].as_str().unwrap_or("");
                let of = step.split('/').next().unwrap_or("");
                self.verdicts.remove(&(bench.to_owned(), of.to_owned()));
            }
            "verdict" => {
                let key = (bench.to_owned(), place(event));
                let last = self.verdicts.insert(key, text.to_owned());
                return last.is_some_and(|last| last == text);
            }
            _ => {}
        }
        false
    }

    /// The last reading of an `in` line, if its step, reason or leading digits are new.
    fn readings(&mut self, event: &Value) -> Option<Said> {
        let reading = event["read"].as_array()?.last()?;
        let link = event["link"].as_str()?;
        let shown = indication(reading);
        // A lifted probe is what a spent contact waits for: there is nothing to do about it.
        let lifted = reading["i"] == "overload" && reading["why"] == "spent";
        let why = if lifted { None } else { reading["why"].as_str() };
        let at = reading["s"].as_str().or(why).unwrap_or("");
        // What belongs to no step is said once, whatever its noise.
        let key = match reading["s"].as_str() {
            Some(step) => format!("{step} {}", coarse(&shown)),
            None if reading["f"] == "contacts" => shown.clone(),
            None => at.to_owned(),
        };
        let place = reading["s"].as_str().unwrap_or(link);
        let (place, of) = match place.strip_prefix("prove/") {
            Some(what) => ("prove", format!("  {}", what.replace('_', " "))),
            None => (place, String::new()),
        };
        match self.readings.get_mut(link) {
            Some((last, passed))
                if *last == key && (*passed < PASSED_OVER_MAX || reading["s"].is_null()) =>
            {
                *passed += 1;
                None
            }
            _ => {
                self.readings.insert(link.to_owned(), (key, 0));
                let why = why.map(|why| format!("  ({})", english().say("why", why)));
                let why = why.unwrap_or_default();
                Some(Said { place: place.to_owned(), text: format!("{shown:>14}{of}{why}") })
            }
        }
    }
}

/// The first three significant digits: noise in the last ones is no news.
fn coarse(shown: &str) -> String {
    let mut left = 3;
    let mut begun = false;
    let keep = |c: char| {
        begun |= c.is_ascii_digit() && c != '0';
        if !c.is_ascii_digit() || !begun {
            return c;
        }
        left -= 1;
        if left < 0 { '0' } else { c }
    };
    shown.chars().map(keep).collect()
}

fn place(event: &Value) -> String {
    let keys = ["step", "link", "lead", "instrument"];
    let named = keys.iter().find_map(|key| event[*key].as_str());
    named.unwrap_or("").to_owned()
}

/// A reading or value with its unit; bounds as `> 200 MOhm`.
fn indication(item: &Value) -> String {
    let pick = |short: &str, long: &str| {
        item[short].as_str().or(item[long].as_str()).unwrap_or("").to_owned()
    };
    let (kind, value, unit) = (pick("i", "indication"), pick("v", "value"), pick("u", "unit"));
    match kind.as_str() {
        "above" => format!("> {value} {unit}"),
        "below" => format!("< {value} {unit}"),
        "overload" => "overload".into(),
        "none" if item["f"] == "contacts" => contacts(item),
        "none" => "no value".into(),
        _ => format!("{value} {unit}"),
    }
}

fn contacts(item: &Value) -> String {
    let closed: Vec<&str> =
        item["x"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    if closed.is_empty() { "all open".into() } else { format!("closed: {}", closed.join(" ")) }
}

fn settings(set: &Value) -> String {
    let pairs = set.as_object().into_iter().flatten();
    let words: Vec<String> =
        pairs.map(|(switch, at)| format!("{switch} {}", at.as_str().unwrap_or(""))).collect();
    words.join(", ")
}

fn text_of(kind: &str, event: &Value) -> Option<String> {
    let words = english();
    let word = |key: &str| event[key].as_str().unwrap_or("").to_owned();
    Some(match kind {
        "open" if event["asset"].is_string() => {
            format!("inspection {} of {} opened, plan {}", word("id"), word("asset"), word("plan"))
        }
        "scan" => scan(event),
        "step" if word("state") == "active" => "next".into(),
        "step" => match event["reason"].as_str() {
            Some(reason) => format!("{}: {}", word("state"), words.reason(reason)),
            None => word("state"),
        },
        "switch" => format!("{} ({})", settings(&event["set"]), word("known")),
        "act" => words.say("act", &word("what")).to_owned(),
        "answer" => format!("{}: {}", word("item").replace('_', " "), word("answer")),
        "null" => format!("{} of the leads, {}", indication(event), word("direction")),
        "prove" => prove(event),
        "value" => format!("{:>14}  captured{}", indication(event), value_words(event)),
        "drop" => format!("value of line {} set aside: {}", event["value"], word("cause")),
        "verdict" => verdict(event),
        "note" => format!("note: {}", words.reason(&word("text"))),
        "override" => format!("opened by competence: {}", word("reason")),
        "link" => {
            format!("{} {}", words.say("link", &word("state")), word("why")).trim_end().into()
        }
        "clock" => clock::changed(event, &word("t")),
        "review" => match event["accepted"] == true {
            true => "reviewed".into(),
            false => format!("REJECTED: {}", word("remark")),
        },
        "amend" => format!("amended: {}", word("text")),
        "reattach" => format!("not {} but {}", word("from"), text_of_asset(&event["to"])),
        "sign" if word("as") == "released" => "released".into(),
        "sign" => format!("signed: {}", words.say("verdict", &word("outcome"))),
        "end" => format!("ended: {}, {}", word("outcome"), word("reason")),
        "sealed" => format!("{} sealed", word("id")),
        "login" => match event["operator"].as_str() {
            Some(operator) => format!("{operator} logged in"),
            None => "logged out".into(),
        },
        "pin" => format!("PIN of {}: {}", word("operator"), word("what")),
        "checkout" => format!("{} seen at bench {}", word("instrument"), word("bench")),
        "check" => check(event),
        "visit" => format!("{} looked for: {}", word("asset"), word("outcome").replace('_', " ")),
        "order" => format!("order {} came in: {}", word("order"), word("asset")),
        "order_end" => format!("order {}: {}", word("order"), word("outcome").replace('_', " ")),
        "confirm" => format!("limits confirmed against {}", word("document")),
        "torn" => format!("{} torn bytes set aside", event["bytes"]),
        "halted" => format!("HALTED. {} {}", words.say("prompt", "halted"), word("reason")),
        "recovered" => "started over from disk".into(),
        "park" => "parked".into(),
        "resume" => format!("goes on after {}", word("after")),
        "not_done" => not_done(event),
        "refused" => format!("refused: {}", word("what")),
        _ => return None,
    })
}

fn text_of_asset(asset: &Value) -> String {
    asset["id"].as_str().unwrap_or("").to_owned()
}

fn scan(event: &Value) -> String {
    match event["refused"].as_str() {
        Some(why) => format!("scan refused: {}", why.replace('_', " ")),
        None => format!("scanned {}", event["raw"].as_str().unwrap_or("")),
    }
}

/// What was refused, to whom and why.
fn not_done(event: &Value) -> String {
    let of = |key: &str| event[key].as_str().unwrap_or("").to_owned();
    let by = event["by"].as_str().unwrap_or_else(|| english().say("tail", "nobody")).to_owned();
    let passed = event["passed_over"].as_u64().filter(|n| *n > 0).map(|n| n.to_string());
    let more = passed.map(|n| english().tell("tail", "passed_over", &[("n", &n)]));
    let why = of("why").replace('\n', "; ");
    let values = [("what", of("what")), ("by", by), ("from", of("from")), ("why", why)];
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    english().tell("tail", "not_done", &values) + &more.unwrap_or_default()
}

/// What came of a bench check.
fn check(event: &Value) -> String {
    let word = |key: &str| event[key].as_str().unwrap_or("").to_owned();
    let came = if event["ok"] == true { "within its room" } else { "OFF: do not use it" };
    format!("{:>14}  held against {}: {came}", indication(event), word("standard"))
}

fn prove(event: &Value) -> String {
    let what = event["what"].as_str().unwrap_or("").replace('_', " ");
    // The second entry is made without the first.
    let waits = event["why"] == "enter_again";
    let value = match event["value"].as_str().filter(|_| !waits) {
        Some(value) => format!(" {value} {}", event["unit"].as_str().unwrap_or("")),
        None => String::new(),
    };
    let ok = match (event["ok"] == true, event["why"].as_str()) {
        (true, _) => "proved",
        (false, Some("enter_again")) if event["differs"] == true => {
            "another than the entry before it: enter it twice anew"
        }
        (false, Some("enter_again")) => "the first of two equal entries is taken; enter it again",
        (false, _) => "NOT proved",
    };
    let set = settings(&event["set"]);
    let set = if set.is_empty() { set } else { format!(" with {set}") };
    let state = event["operating"].as_str().map(|state| format!(" in state {state}"));
    format!("{what}{value}{}{set}: {ok}", state.unwrap_or_default())
}

fn value_words(event: &Value) -> String {
    let known = event["known"].as_str().map(|known| format!(", condition {known}"));
    let state = event["operating"].as_str().map(|state| format!(" in state {state}"));
    let words = event["words"].as_array().into_iter().flatten().filter_map(Value::as_str);
    let words: String = words.map(|w| format!(", {}", english().say("reason", w))).collect();
    format!("{}{}{words}", state.unwrap_or_default(), known.unwrap_or_default())
}

fn verdict(event: &Value) -> String {
    let words = english();
    let word = words.say("verdict", event["verdict"].as_str().unwrap_or(""));
    let unit = event["unit"].as_str().unwrap_or("");
    let limit = &event["limit"];
    let beside = |shown: &str| {
        let same = alike::beside(shown, unit, limit["unit"].as_str()?)?;
        Some(format!(" ({same})"))
    };
    let shown = match (event["shown"].as_str(), event["indication"].as_str()) {
        (Some(shown), indication) => {
            let mark = match indication {
                Some("above") => "> ",
                Some("below") => "< ",
                _ => "",
            };
            format!("  {mark}{shown} {unit}{}", beside(shown).unwrap_or_default())
        }
        (None, _) => String::new(),
    };
    let limit = match limit["value"].as_str() {
        Some(value) => format!(
            ", limit {} {value} {}, {} {}{}",
            limit["direction"].as_str().unwrap_or(""),
            limit["unit"].as_str().unwrap_or(""),
            limit["standard"].as_str().unwrap_or(""),
            limit["clause"].as_str().unwrap_or(""),
            match limit["confidence"].as_str() {
                Some(code) => format!(", {}", words.say("confidence", code)),
                None => String::new(),
            },
        ),
        None => String::new(),
    };
    let reasons = event["reasons"].as_array().into_iter().flatten().filter_map(Value::as_str);
    let reasons: String =
        reasons.map(|r| format!("\n{:31}{}", "", words.say("reason", r))).collect();
    let probability = event["probability"].as_str().and_then(percent);
    let probability = probability.map(|p| format!(", conforms with {p}")).unwrap_or_default();
    format!("{word}{shown}{limit}{probability}{reasons}")
}

/// A conformance probability in percent, cut and never rounded up; nearly sure is not sure.
fn percent(text: &str) -> Option<String> {
    let whole = |n| Ratio::new(n, 1).ok();
    let percent = Ratio::parse(text)?.times(whole(100)?).ok()?;
    let [least, most] = [Ratio::new(1, 10).ok()?, Ratio::new(999, 10).ok()?];
    Some(match (percent.compare(least).ok()?, percent.compare(most).ok()?) {
        (Ordering::Less, _) => "less than 0.1 %".into(),
        (_, Ordering::Greater) => "more than 99.9 %".into(),
        _ => format!("{} %", percent.shown_cut(-1).ok()?),
    })
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn reading(v: &str) -> Value {
        json!({ "k": "in", "link": "ohm", "read": [{ "f": "resistance_4w", "v": v, "u": "Ohm", "s": "pe/1" }] })
    }

    #[test]
    fn a_steady_meter_is_said_once() {
        let mut quiet = Quiet::default();
        assert!(quiet.say(&reading("0.1821")).is_some());
        assert!(quiet.say(&reading("0.1824")).is_none());
        assert!(quiet.say(&reading("0.2100")).is_some());
    }

    #[test]
    fn a_steady_meter_is_said_again_now_and_then() {
        let mut quiet = Quiet::default();
        let said = (0..45).filter(|_| quiet.say(&reading("0.1821")).is_some()).count();
        assert_eq!(said, 3);
    }

    #[test]
    fn a_link_is_said_once_whatever_books_it_concerns() {
        let link = |state: &str| json!({ "k": "link", "link": "ohm", "state": state, "why": "x" });
        let mut quiet = Quiet::default();
        let said = ["up", "up", "down", "down", "up"].map(|state| quiet.say(&link(state)));
        assert_eq!(said.map(|said| said.is_some()), [true, false, true, false, true]);
    }

    #[test]
    fn a_set_clock_is_said_once_whatever_books_it_concerns() {
        let clock = |t: &str| json!({ "k": "clock", "t": t, "step_us": 600_000, "was": "x" });
        let mut quiet = Quiet::default();
        let said = ["a", "a", "b"].map(|t| quiet.say(&clock(t)));
        assert_eq!(said.map(|said| said.is_some()), [true, false, true]);
    }

    /// It is given once more whatever it rests on: a proof, a later value that is no worse.
    #[test]
    fn a_verdict_is_said_again_only_where_it_says_something_else() {
        let verdict = |bench: &str, shown: &str| {
            json!({ "k": "verdict", "bench": bench, "step": "leak", "verdict": "fail",
                "shown": shown, "unit": "uA", "reasons": ["conditions_declared"] })
        };
        let mut quiet = Quiet::default();
        let mut says = |event: &Value| quiet.say(event).is_some();
        assert!(says(&verdict("b1", "612")) && !says(&verdict("b1", "612")));
        assert!(says(&verdict("b2", "612")), "of another bench");
        assert!(says(&verdict("b1", "613")) && !says(&verdict("b1", "613")));
        says(&json!({ "k": "step", "bench": "b1", "step": "leak/2", "state": "repeat" }));
        assert!(says(&verdict("b1", "613")), "measured once more");
        says(&json!({ "k": "open", "bench": "b1", "id": "K3-2", "asset": "P", "plan": "x" }));
        assert!(says(&verdict("b1", "613")), "of another inspection");
    }

    #[test]
    fn the_first_of_two_equal_entries_is_no_fault() {
        let mut event =
            json!({ "k": "prove", "what": "supply", "ok": false, "why": "enter_again" });
        let text = Quiet::default().say(&event).unwrap().text;
        assert_eq!(text, "supply: the first of two equal entries is taken; enter it again");
        event["what"] = "source".into();
        event["value"] = "227".into();
        event["differs"] = true.into();
        let text = Quiet::default().say(&event).unwrap().text;
        assert_eq!(text, "source: another than the entry before it: enter it twice anew");
        event["value"] = Value::Null;
        event["what"] = "supply".into();
        event["why"] = "supply_not_checked".into();
        assert_eq!(Quiet::default().say(&event).unwrap().text, "supply: NOT proved");
    }

    #[test]
    fn what_came_of_a_bench_check_is_told() {
        let event = json!({ "k": "check", "instrument": "LR-01", "standard": "CS-1",
            "value": "0.150", "unit": "Ohm", "ok": false });
        let said = Quiet::default().say(&event).unwrap();
        assert_eq!(said.place, "LR-01");
        assert_eq!(said.text.trim(), "0.150 Ohm  held against CS-1: OFF: do not use it");
    }

    #[test]
    fn a_lifted_probe_is_nothing_to_act_upon() {
        let lifted = json!({ "k": "in", "link": "ohm",
            "read": [{ "f": "resistance_4w", "i": "overload", "u": "Ohm", "why": "spent" }] });
        assert_eq!(Quiet::default().say(&lifted).unwrap().text.trim(), "overload");
    }

    #[test]
    fn a_value_stands_beside_its_limit_in_one_unit() {
        let event = json!({ "k": "verdict", "step": "leak", "verdict": "pass", "shown": "0.15854",
            "unit": "mA", "reasons": [], "limit": { "direction": "max", "value": "500",
            "unit": "uA", "standard": "IEC 62353", "clause": "5.3.4" } });
        let text = Quiet::default().say(&event).unwrap().text;
        assert_eq!(text, "PASS  0.15854 mA (158.54 uA), limit max 500 uA, IEC 62353 5.3.4");
    }

    /// Nothing is made surer than it is.
    #[test]
    fn a_probability_is_cut_to_tenths_of_a_percent() {
        for (text, said) in [
            ("0.9758", "97.5 %"),
            ("0.9990", "99.9 %"),
            ("0.99905", "more than 99.9 %"),
            ("1.000", "more than 99.9 %"),
            ("0.00002500", "less than 0.1 %"),
            ("0", "less than 0.1 %"),
            ("0.3729", "37.2 %"),
        ] {
            assert_eq!(percent(text).unwrap(), said, "{text}");
        }
    }

    #[test]
    fn a_verdict_says_how_sure_its_limit_is_and_how_likely_it_conforms() {
        let event = json!({ "k": "verdict", "step": "pe", "verdict": "pass", "shown": "0.292",
            "unit": "Ohm", "reasons": [], "probability": "0.9599", "limit": { "direction": "max",
            "value": "0.300", "unit": "Ohm", "standard": "IEC 62353", "clause": "5.3.2 a)",
            "confidence": "memory" } });
        let text = Quiet::default().say(&event).unwrap().text;
        assert_eq!(
            text,
            "PASS  0.292 Ohm, limit max 0.300 Ohm, IEC 62353 5.3.2 a), unconfirmed, \
            conforms with 95.9 %"
        );
    }

    #[test]
    fn a_verdict_is_a_word_with_its_limit() {
        let event = json!({ "k": "verdict", "step": "pe", "verdict": "fail", "shown": "0.301",
            "unit": "Ohm", "reasons": [], "limit": { "direction": "max", "value": "0.300",
            "unit": "Ohm", "standard": "IEC 62353", "clause": "5.3.2 a)" } });
        let said = Quiet::default().say(&event).unwrap();
        assert_eq!(said.place, "pe");
        assert_eq!(said.text, "FAIL  0.301 Ohm, limit max 0.300 Ohm, IEC 62353 5.3.2 a)");
    }
}
