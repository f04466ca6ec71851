//! Verdicts with the values that they rest on, each with what was done to it.

use tapline_drivers::Unit;
use tapline_paper::report::{Amount, Group, Limit, Value};
use tapline_paper::seal;
use tapline_protocols::exact::Ratio;
use tapline_protocols::fact::{ChainLink, Judged, ValueFact, VerdictFact, Word};

use tapline_protocols::inspection::TYPED;

use super::book::{Book, Said};
use crate::told::alike::beside;

/// What was measured, in the order of the plan's verdicts.
pub(super) fn groups(book: &Book) -> Vec<Group> {
    let measured = book.verdicts.iter().filter(|one| one.fact.judged.measurand.is_some());
    measured.map(|one| group(book, &one.fact)).collect()
}

fn group(book: &Book, verdict: &VerdictFact) -> Group {
    let judged = &verdict.judged;
    let own = |value: &&Said<ValueFact>| {
        book.step(&value.fact.step).is_some_and(|step| step.of == verdict.step)
    };
    let values: Vec<Value> =
        book.values.iter().filter(own).map(|value| self::value(book, judged, value)).collect();
    Group {
        step: verdict.step.clone(),
        measurand: judged.measurand.clone().unwrap_or_default(),
        method: judged.method.clone().unwrap_or_default(),
        limit: judged.limit.as_ref().map(|limit| Limit {
            direction: limit.direction.clone(),
            value: plain(&limit.value, limit.unit),
            inclusive: limit.inclusive,
            standard: edition(&limit.standard, &limit.edition),
            clause: limit.clause.clone(),
            confidence: limit.confidence.clone(),
            layer: limit.layer.clone(),
        }),
        result: result(judged),
        doubt: doubt(judged),
        share: judged.share.clone(),
        probability: judged.probability.clone(),
        word: word(judged.verdict),
        reasons: judged.reasons.clone(),
        values: worst_named(judged, values),
        history: tapline_paper::report::History::default(),
    }
}

/// A standard with its edition as it is cited.
pub(super) fn edition(standard: &str, edition: &str) -> String {
    if edition.is_empty() { standard.to_owned() } else { format!("{standard}:{edition}") }
}

/// The word of a verdict, as paper has it.
pub(super) fn word(word: Word) -> seal::Word {
    match word {
        Word::Pass => seal::Word::Pass,
        Word::ConditionalPass => seal::Word::ConditionalPass,
        Word::ConditionalFail => seal::Word::ConditionalFail,
        Word::Fail => seal::Word::Fail,
        Word::Undecided => seal::Word::Undecided,
    }
}

fn plain(digits: &str, unit: Unit) -> Amount {
    Amount { mark: String::new(), digits: digits.into(), unit: unit.ucum().into() }
}

/// What was judged, in the unit of its limit.
fn result(judged: &Judged) -> Option<Amount> {
    let (shown, unit) = (judged.shown.as_ref()?, judged.unit?);
    Some(Amount { mark: mark(judged.indication.as_deref()), ..of_limit(judged, shown, unit) })
}

fn mark(indication: Option<&str>) -> String {
    match indication {
        Some("above") => ">".into(),
        Some("below") => "<".into(),
        Some("overload") => "overload".into(),
        _ => String::new(),
    }
}

/// Digits in the unit of the limit, the point moved and nothing else.
fn of_limit(judged: &Judged, digits: &str, unit: Unit) -> Amount {
    let limit = judged.limit.as_ref().map(|limit| limit.unit.ucum());
    let moved = limit.and_then(|limit| beside(digits, unit.ucum(), limit));
    match moved.as_deref().and_then(|text| text.rsplit_once(' ')) {
        Some((digits, unit)) => {
            Amount { mark: String::new(), digits: digits.into(), unit: unit.into() }
        }
        None => plain(digits, unit),
    }
}

fn doubt(judged: &Judged) -> Option<(String, String)> {
    let doubt = judged.uncertainty.as_ref()?;
    Some((of_limit(judged, &doubt.expanded, judged.unit?).digits, doubt.k.clone()))
}

fn value(book: &Book, judged: &Judged, value: &Said<ValueFact>) -> Value {
    let fact = &value.fact;
    let step = book.step(&fact.step);
    let drop = book.drops.iter().find(|drop| drop.fact.value == value.seq && !drop.fact.in_force);
    let place = judged.from.iter().position(|seq| *seq == value.seq);
    let known = fact.known.and_then(|known| serde_json::to_value(known).ok());
    let direction = step.and_then(|step| step.direction);
    let direction = direction.and_then(|way| serde_json::to_value(way).ok());
    let set = if fact.set.is_empty() { step.map(|step| &step.set) } else { Some(&fact.set) };
    let points = step.map(|step| [step.part.clone(), step.point.clone()]).unwrap_or_default();
    Value {
        points: points.into_iter().flatten().collect(),
        state: fact.operating.clone().or_else(|| step.and_then(|step| step.state.clone())),
        direction: direction.and_then(|way| way.as_str().map(str::to_owned)),
        set: set.into_iter().flatten().map(|(s, at)| (s.name().to_owned(), at.clone())).collect(),
        sent: Amount {
            mark: mark(fact.indication.as_deref()),
            digits: fact.value.clone(),
            unit: fact.unit.ucum().into(),
        },
        corrections: place.map(|place| corrections(judged, place)).unwrap_or_default(),
        result: place.and_then(|place| corrected(judged, place)),
        known: known.and_then(|known| known.as_str().map(str::to_owned)),
        meter: step.and_then(|step| step.instrument.clone()).unwrap_or_default(),
        readings: fact.from.len(),
        typed: fact.rule == TYPED,
        words: fact.words.clone(),
        worst: false,
        aside: match (drop, place) {
            (Some(drop), _) => Some(drop.fact.cause.clone()),
            (None, None) => Some("not_counted".into()),
            (None, Some(_)) => None,
        },
    }
}

/// Links that give one result for each value that was judged.
fn links(judged: &Judged) -> impl Iterator<Item = &ChainLink> {
    let many = judged.from.len();
    judged.chain.iter().filter(move |link| link.of.len() == many && link.gives.len() == many)
}

fn corrections(judged: &Judged, place: usize) -> Vec<(String, String)> {
    let one = |link: &ChainLink| {
        let times = link.times.as_deref().unwrap_or_default();
        let (code, number) = match link.what.as_str() {
            "lead_null" => ("lead_null", link.minus.get(place).cloned().unwrap_or_default()),
            "network" => ("network", ohms(times)),
            "mains_scaling" if times.is_empty() => ("not_scaled", String::new()),
            "mains_scaling" => ("mains_scaling", reduced(times)),
            "temperature" => ("temperature", link.to.clone().unwrap_or_default()),
            other => (other, String::new()),
        };
        (code.to_owned(), number)
    };
    links(judged).map(one).collect()
}

/// `1/1000` of a volt is what flows through 1 kΩ.
fn ohms(times: &str) -> String {
    match times.strip_prefix("1/") {
        Some("1000") => "1 kΩ".into(),
        Some(ohms) => format!("{ohms} Ω"),
        None => times.to_owned(),
    }
}

/// `2300/2260` is `230/226`, and `2300/2300` is `1`.
fn reduced(times: &str) -> String {
    let Some((mut above, mut below)) = times.split_once('/') else { return times.to_owned() };
    if above == below {
        return "1".into();
    }
    while let (Some(a), Some(b)) = (above.strip_suffix('0'), below.strip_suffix('0')) {
        (above, below) = (a, b);
    }
    format!("{above}/{below}")
}

/// What became of a value, in the unit of the limit.
fn corrected(judged: &Judged, place: usize) -> Option<Amount> {
    let text = match links(judged).last() {
        Some(link) => link.gives.get(place)?.as_str(),
        None if judged.from.len() == 1 => return result(judged),
        None => judged.chain.iter().find_map(|link| link.of.get(place))?.as_str(),
    };
    let unit = judged.unit?;
    let (mark, text) = match text.split_once('(') {
        Some(("above", rest)) => (">", rest.trim_end_matches(')')),
        Some(("below", rest)) => ("<", rest.trim_end_matches(')')),
        Some(_) => return None,
        None => ("", text),
    };
    let text = text.strip_prefix('-').unwrap_or(text);
    let digits = match text.contains('/') {
        true => decimal(text, judged.shown.as_deref().unwrap_or_default())?,
        false => text.to_owned(),
    };
    Some(Amount { mark: mark.into(), ..of_limit(judged, &digits, unit) })
}

/// A fraction as fine as what was shown.
fn decimal(fraction: &str, like: &str) -> Option<String> {
    let places = like.split_once('.').map_or(0, |(_, places)| places.len());
    let exponent = i32::try_from(places).ok()?;
    Ratio::parse(fraction)?.shown(-exponent).ok()
}

/// The verdict is that of the first value that came to what was judged.
fn worst_named(judged: &Judged, mut values: Vec<Value>) -> Vec<Value> {
    let worst = result(judged).and_then(|result| {
        let same = |value: &Value| value.result.as_ref() == Some(&result);
        values.iter().position(same)
    });
    let only = values.iter().filter(|value| value.aside.is_none()).count() == 1;
    let place = worst.or_else(|| only.then(|| values.iter().position(|v| v.aside.is_none()))?);
    if let Some(value) = place.and_then(|place| values.get_mut(place)) {
        value.worst = true;
    }
    values
}
