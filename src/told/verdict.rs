//! A verdict from its bytes on, as a person would write it down.

use std::collections::BTreeMap;

use tapline_drivers::{Quantity, Unit};
use tapline_protocols::Fact;
use tapline_protocols::fact::{ChainLink, Judged, ProveFact, Read, ReadingId, UncertaintyPart};
use tapline_protocols::inspection::TYPED;

use super::judged::{value, word};
use crate::books::Line;
use crate::clock::rfc3339;
use crate::replay::{Bytes, Heard, Named, Rests, from};
use crate::words::english;

fn say(code: &str, values: &[(&str, &str)]) -> String {
    english().tell("explain", code, values)
}

/// How a verdict came about, line by line.
pub(crate) fn text(
    named: &Named,
    rests: &Rests,
    heard: &BTreeMap<ReadingId, Heard>,
) -> Vec<String> {
    let judged = &rests.verdict.judged;
    let asset = named.asset.as_deref().unwrap_or_default();
    let step = rests.verdict.step.as_str();
    let mut out = vec![say("title", &[("id", &named.id), ("asset", asset), ("step", step)])];
    for line in &rests.facts {
        out.push(fact(line));
        out.extend(from(&line.fact).iter().map(|id| match heard.get(id) {
            Some(heard) => reading(*id, heard),
            None => say("away", &[("line", &id.0.to_string())]),
        }));
    }
    out.extend(judged.chain.iter().map(|link| corrected(link, judged.unit)));
    out.extend(end(judged));
    let (seq, at) = (rests.line.seq.to_string(), rfc3339(rests.line.at.wall_us));
    out.push(say("verdict", &[("word", &word(judged)), ("line", &seq), ("at", &at)]));
    let reasons = judged.reasons.iter();
    out.extend(reasons.map(|reason| format!("  {}", english().say("reason", reason))));
    out
}

/// What the lines of one book say of a step's verdict; `None` where it has none.
#[must_use]
pub fn told(lines: &[Line], step: &str) -> Option<Vec<String>> {
    let mut named = Named::default();
    lines.iter().for_each(|line| named.line(line));
    let rests = named.rests(step)?;
    let mut bytes = Bytes::of(&rests);
    lines.iter().for_each(|line| bytes.line(line));
    Some(text(&named, &rests, &bytes.end()))
}

/// What came of the corrections; limit, uncertainty and rule, where there are any.
fn end(judged: &Judged) -> Vec<String> {
    let mut out = Vec::new();
    let unit = judged.unit.map_or("", |unit| unit.ucum());
    if let Some(result) = judged.value.as_ref().filter(|_| judged.measurand.is_some()) {
        let amount = amount(Some(result), judged.unit, judged.indication.as_deref());
        let shown = judged.shown.as_deref().unwrap_or("-");
        out.push(say("result", &[("amount", &amount), ("shown", shown), ("unit", unit)]));
    }
    if let Some(doubt) = &judged.uncertainty {
        let values = [
            ("u", doubt.u.as_str()),
            ("k", &doubt.k),
            ("expanded", &doubt.expanded),
            ("unit", unit),
        ];
        out.push(say("uncertainty", &values));
        let part = |part: &UncertaintyPart| {
            let code = format!("u_{}", part.of);
            let of = english().say("explain", &code);
            say("part", &[("of", of), ("u", &part.u), ("unit", unit)])
        };
        out.extend(doubt.parts.iter().map(part));
    }
    if let Some(limit) = &judged.limit {
        let side = if limit.direction == "max" { "at_most" } else { "at_least" };
        let strict = if limit.inclusive { "inclusive" } else { "strict" };
        let values = [
            ("side", english().say("explain", side)),
            ("value", &limit.value),
            ("unit", limit.unit.ucum()),
            ("strict", english().say("explain", strict)),
            ("standard", &limit.standard),
            ("edition", &limit.edition),
            ("clause", &limit.clause),
            ("row", &limit.id),
            ("confidence", english().say("explain", &limit.confidence)),
            ("table", limit.table.get(..12).unwrap_or(&limit.table)),
        ];
        out.push(say("limit", &values));
    }
    out.extend(accepted(judged));
    if let Some(rule) = &judged.rule {
        let share = judged.share.as_deref().unwrap_or("-");
        let probability = judged.probability.as_deref().unwrap_or("-");
        let rule = english().say("explain", rule);
        let shown = value(judged);
        let values =
            [("rule", rule), ("value", &shown), ("share", share), ("probability", probability)];
        out.push(say("rule", &values));
    }
    out
}

/// The limit moved to the good side by the guard band.
fn accepted(judged: &Judged) -> Option<String> {
    let (limit, doubt) = (judged.limit.as_ref()?, judged.uncertainty.as_ref()?);
    judged.rule.as_ref().filter(|rule| *rule != "simple")?;
    let (side, sign) = if limit.direction == "max" { ("at_most", "-") } else { ("at_least", "+") };
    let values = [
        ("side", english().say("explain", side)),
        ("limit", &limit.value),
        ("unit", limit.unit.ucum()),
        ("sign", sign),
        ("expanded", &doubt.expanded),
        ("of", judged.unit.map_or("", |unit| unit.ucum())),
    ];
    Some(say("accepted", &values))
}

/// A value, an answer, a null or a check, with its line.
fn fact(line: &Line) -> String {
    let (seq, at) = (line.seq.to_string(), rfc3339(line.at.wall_us));
    let who = line.by.as_deref().map(|by| say("by", &[("who", by)])).unwrap_or_default();
    let text = match &line.fact {
        Fact::Value(one) => {
            let count = one.from.len().to_string();
            let amount = amount(Some(&one.value), Some(one.unit), one.indication.as_deref());
            let known = one.known.map(|known| say("known", &[("how", &named_word(&known))]));
            let set = one.set.iter().map(|(s, to)| format!("{}={to}", s.name()));
            let set: Vec<String> = set.chain(one.operating.clone()).collect();
            let rule = &one.rule;
            let values = [
                ("step", one.step.as_str()),
                ("amount", &amount),
                ("rule", rule),
                ("count", &count),
            ];
            let under = if set.is_empty() { String::new() } else { format!("; {}", set.join(" ")) };
            let scatter = one.scatter.as_ref().map(|scatter| {
                let unit = one.unit.ucum();
                say("scatters", &[("s", scatter.s.as_str()), ("unit", unit)])
            });
            say(if one.rule == TYPED { TYPED } else { "value" }, &values)
                + &scatter.unwrap_or_default()
                + &under
                + &known.unwrap_or_default()
                + &words(&one.words)
        }
        Fact::Null(one) => {
            let amount = amount(Some(&one.value), Some(one.unit), None);
            let direction = named_word(&one.direction);
            let carried = one.carried.as_ref().map(|from| {
                say("carried", &[("book", &from.book), ("line", &from.seq.to_string())])
            });
            let values =
                [("lead", one.lead.as_str()), ("direction", &direction), ("amount", &amount)];
            say("null", &values) + &carried.unwrap_or_default()
        }
        Fact::Prove(one) => check(one),
        Fact::Answer(one) => {
            let reason = one
                .reason
                .as_ref()
                .map(|why| format!(" ({})", english().reason(why)))
                .unwrap_or_default();
            say("answer", &[("item", &one.item), ("answer", &one.answer)]) + &reason
        }
        other => named_word(other),
    };
    say("fact", &[("line", &seq), ("at", &at), ("text", &text), ("by", &who)])
}

fn check(one: &ProveFact) -> String {
    let set: Vec<String> = one.set.iter().map(|(s, to)| format!("{}={to}", s.name())).collect();
    let holds = english().say("explain", if one.ok { "holds" } else { "holds_not" });
    let under = if set.is_empty() { String::new() } else { format!("; {}", set.join(" ")) };
    let hand = if one.typed { say("by_hand", &[]) } else { String::new() };
    format!("{}{under}{hand}: {holds}", found(one))
}

/// What a check found.
pub(crate) fn found(one: &ProveFact) -> String {
    let volts = [&one.ln, &one.npe, &one.lpe].map(|text| text.as_deref().unwrap_or("-"));
    match one.what.as_str() {
        "source" => {
            let volts = one.value.as_deref().or(one.ln.as_deref()).unwrap_or("-");
            say("source", &[("volts", volts)])
        }
        "supply" => say("supply", &[("ln", volts[0]), ("npe", volts[1]), ("lpe", volts[2])]),
        "alive" => alive(one),
        what @ ("direct" | "display") => {
            let amount = amount(one.value.as_ref(), one.unit, one.how.as_deref());
            say(what, &[("amount", &amount)])
        }
        "temperature" => {
            let (celsius, source) = (one.value.as_deref(), one.how.as_deref());
            let values = [("celsius", celsius.unwrap_or("-")), ("source", source.unwrap_or("-"))];
            say("temperature_of", &values)
        }
        _ => {
            let got = amount(one.value.as_ref(), one.unit, None);
            let want = one.want.as_deref().unwrap_or("-");
            let how = one.how.as_ref().map_or_else(String::new, |how| format!(", {how}"));
            let what = one.what.replace('_', " ");
            let values = [("what", what.as_str()), ("got", &got), ("want", want), ("how", &how)];
            say("check", &values)
        }
    }
}

fn alive(one: &ProveFact) -> String {
    let how = one.how.as_deref().unwrap_or("-");
    match &one.operating {
        Some(state) => say("alive_in", &[("state", state), ("how", how)]),
        None => say("alive", &[("how", how)]),
    }
}

fn words(words: &[String]) -> String {
    if words.is_empty() { String::new() } else { format!(" [{}]", words.join(" ")) }
}

/// `> 2 Ohm`, digits as sent.
fn amount(value: Option<&String>, unit: Option<Unit>, indication: Option<&str>) -> String {
    let mark = match indication {
        Some("above") => "> ",
        Some("below") => "< ",
        Some(other) => return other.to_owned(),
        None => "",
    };
    let (value, unit) = (value.map_or("-", String::as_str), unit.map_or("", |unit| unit.ucum()));
    format!("{mark}{value} {unit}")
}

/// The word that a closed list has for something.
fn named_word(one: &impl serde::Serialize) -> String {
    let value = serde_json::to_value(one).unwrap_or_default();
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

fn reading(id: ReadingId, heard: &Heard) -> String {
    let Heard { link, driver: (driver, version), at, span, bytes, read, .. } = heard;
    let Read { f, i, v, u, x, .. } = read;
    let bytes: String = bytes.iter().flat_map(|byte| byte.escape_ascii()).map(char::from).collect();
    let amount = amount(v.as_ref(), *u, i.as_deref());
    let values = [
        ("line", id.0.to_string()),
        ("at", rfc3339(at.wall_us)),
        ("link", link.clone()),
        ("instrument", heard.instrument.clone().unwrap_or_else(|| "-".into())),
        ("from", span.0.to_string()),
        ("to", span.1.to_string()),
        ("bytes", bytes),
        ("driver", format!("{driver}@{version}")),
        ("function", named_word(f)),
        ("amount", amount),
        ("flags", words(x)),
    ];
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    say("reading", &values)
}

/// A correction as it is reckoned by hand.
fn corrected(link: &ChainLink, unit: Option<Unit>) -> String {
    let to = link.unit.or(unit);
    let unit = to.map_or("", |unit| unit.ucum());
    let gives = |place: usize| link.gives.get(place).map_or("", String::as_str);
    let mut sums: Vec<String> = Vec::new();
    for (place, of) in link.of.iter().enumerate() {
        sums.push(match (link.minus.get(place), &link.times) {
            _ if link.what == "network" => {
                let volts = to.and_then(|to| volts(to, link.times.as_deref()?));
                let volts = volts.map_or("", |volts| volts.ucum());
                format!("{of} {volts} / 1000 Ohm = {}", gives(place))
            }
            (Some(minus), _) => format!("|{of}| - {minus} = {}", gives(place)),
            (None, Some(times)) => format!("{of} x {times} = {}", gives(place)),
            (None, None) => of.clone(),
        });
    }
    let lines: Vec<String> = link.from.iter().map(ToString::to_string).collect();
    let rest = if lines.is_empty() {
        String::new()
    } else {
        say("lines", &[("lines", &lines.join(", "))])
    };
    let assumed = link.assumed.as_ref().map(|what| say("assumed", &[("what", what)]));
    let sums = sums.join(", ");
    let unscaled = link.what == "mains_scaling" && link.times.is_none();
    let what = english().say("explain", if unscaled { "not_scaled" } else { &link.what });
    let direct = link.direct.join(", ");
    let direct = (!direct.is_empty()).then(|| say("was_direct", &[("direct", &direct)]));
    let assumed = direct.into_iter().chain(assumed).collect::<String>();
    let values = [("what", what), ("sums", &sums), ("unit", unit), ("lines", &rest)];
    let celsius = link.at.as_ref().zip(link.to.as_ref());
    let celsius = celsius.map(|(at, to)| say("at_celsius", &[("at", at), ("to", to)]));
    say("correction", &values) + &celsius.unwrap_or_default() + &assumed
}

/// What a voltage over 1 kohm is told in, where its current comes out in `to`.
fn volts(to: Unit, times: &str) -> Option<Unit> {
    let thousandth = if times == "1/1000" { 3 } else { 0 };
    let of = |unit: &Unit| {
        let over = unit.prefix.exponent() == to.prefix.exponent() + thousandth;
        unit.quantity == Quantity::Volt && over
    };
    Unit::all().find(of)
}
