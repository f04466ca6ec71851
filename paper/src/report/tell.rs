//! Parts of a report in words, for pages and HTML alike.

use super::data::{Amount, Group, Limit, Outcome, Report, Value};
use crate::seal::Word;
use crate::words::Words;

/// The word of the whole, and the sentence below it.
pub(super) fn outcome(words: &Words, outcome: &Outcome) -> (Word, String, String) {
    match outcome {
        Outcome::Signed(word) => {
            let code = word.code();
            (*word, words.say("verdict", code), words.say("means", code))
        }
        Outcome::Ended(code) => (
            Word::Undecided,
            words.say("verdict", "undecided"),
            words.tell("means", "ended", &[("how", &words.say("ended", code))]),
        ),
        Outcome::Open => {
            (Word::Undecided, words.say("verdict", "undecided"), words.say("means", "open"))
        }
    }
}

/// `> 2 Ω`.
pub(super) fn amount(words: &Words, amount: &Amount) -> String {
    match amount.mark.as_str() {
        "overload" => words.say("mark", "overload"),
        "" => words.amount(&amount.digits, &amount.unit),
        mark => format!("{mark} {}", words.amount(&amount.digits, &amount.unit)),
    }
}

/// `≤ 0.300 Ω`.
pub(super) fn limit(words: &Words, limit: &Limit) -> String {
    let sign = match (limit.direction.as_str(), limit.inclusive) {
        ("max", true) => "≤",
        ("max", false) => "<",
        (_, true) => "≥",
        (_, false) => ">",
    };
    format!("{sign} {}", words.amount(&limit.value.digits, &limit.value.unit))
}

/// `IEC 62353:2014, 5.3.2 a) (two sources)`.
pub(super) fn source(words: &Words, limit: &Limit) -> String {
    let confidence = words.say("confidence", &limit.confidence);
    let layer = match limit.layer.as_str() {
        "standard" => String::new(),
        layer => format!(", {}", words.say("layer", layer)),
    };
    format!("{}, {} ({confidence}{layer})", limit.standard, limit.clause)
}

/// `Protective earth resistance, fixed cord`.
pub(super) fn name(words: &Words, group: &Group) -> String {
    let measurand = words.say("measurand", &group.measurand);
    match group.method.as_str() {
        "" => measurand,
        method => format!("{measurand}, {}", words.say("method", method)),
    }
}

/// `± 0.011 Ω (k = 2)`; empty where nothing is known of it.
pub(super) fn doubt(words: &Words, group: &Group) -> String {
    let (Some((expanded, k)), Some(result)) = (&group.doubt, &group.result) else {
        return String::new();
    };
    let expanded = words.amount(&short(expanded), &result.unit);
    format!("± {expanded} (k = {})", words.number(k))
}

/// Two digits that say something, the last one rounded up: an uncertainty is never said smaller.
pub(super) fn short(digits: &str) -> String {
    let point = digits.find('.').unwrap_or(digits.len());
    let Some(first) = digits.find(|c: char| ('1'..='9').contains(&c)) else {
        return digits.to_owned();
    };
    let end = match first < point {
        true if point - first >= 2 => return whole(digits, point),
        true => point + 2,
        false => first + 2,
    };
    match digits.get(end..) {
        None | Some("") => digits.to_owned(),
        Some(rest) if rest.bytes().all(|digit| digit == b'0') => digits[..end].to_owned(),
        Some(_) => up(&digits[..end]),
    }
}

/// Of what is ten and more no decimals are said.
fn whole(digits: &str, point: usize) -> String {
    let rest = digits.get(point + 1..).unwrap_or_default();
    match rest.bytes().all(|digit| digit == b'0') {
        true => digits[..point].to_owned(),
        false => up(&digits[..point]),
    }
}

/// One more in the last place.
fn up(digits: &str) -> String {
    let mut out: Vec<u8> = digits.bytes().collect();
    for digit in out.iter_mut().rev() {
        match *digit {
            b'.' => {}
            b'9' => *digit = b'0',
            _ => {
                *digit += 1;
                return String::from_utf8(out).expect("digits are ASCII");
            }
        }
    }
    format!("1{}", String::from_utf8(out).expect("digits are ASCII"))
}

/// Where and under what a value was taken.
pub(super) fn place(words: &Words, value: &Value) -> String {
    let mut parts: Vec<String> = value.points.clone();
    parts.extend(value.direction.as_ref().map(|way| words.say("direction", way)));
    parts.extend(value.set.iter().map(|(switch, at)| words.say("set", &format!("{switch}_{at}"))));
    parts.extend(value.state.clone());
    if parts.is_empty() { words.say("mark", "whole") } else { parts.join(", ") }
}

/// `− 0.059 Ω leads`.
pub(super) fn corrections(words: &Words, value: &Value) -> String {
    let one = |(code, number): &(String, String)| {
        words.tell("correction", code, &[("n", &words.number(number))])
    };
    value.corrections.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// `14 readings`, and how the conditions are known; why it was set aside, where it was. What was
/// typed in says so in place of its readings, and aside, too.
pub(super) fn rests(words: &Words, value: &Value) -> String {
    let many = value.readings.to_string();
    let code = if value.readings == 1 { "reading" } else { "readings" };
    let typed = value.typed.then(|| words.say("known", "typed"));
    let aside = value
        .aside
        .as_ref()
        .map(|cause| words.tell("mark", "set_aside", &[("cause", &words.say("cause", cause))]));
    let (readings, known) = match (typed, aside) {
        (typed, Some(aside)) => (typed, Some(aside)),
        (typed, None) => {
            let readings = || words.tell("mark", code, &[("n", &many)]);
            let known = value.known.as_ref().map(|known| words.say("known", known));
            (Some(typed.unwrap_or_else(readings)), known)
        }
    };
    readings.into_iter().chain(known).collect::<Vec<_>>().join(", ")
}

/// How many values of a step were set aside, and why: `2 values, 1 set aside: a lead slipped`.
pub(super) fn asides(words: &Words, group: &Group) -> Option<String> {
    let causes: Vec<String> = group
        .values
        .iter()
        .filter_map(|value| value.aside.as_ref())
        .map(|cause| words.say("cause", cause))
        .collect();
    let (all, out) = (group.values.len().to_string(), causes.len().to_string());
    let values = [("all", all.as_str()), ("aside", &out), ("why", &causes.join(", "))];
    (!causes.is_empty()).then(|| words.tell("mark", "aside", &values))
}

/// The first 16 characters of the head in base 32 (RFC 4648), four by four.
#[must_use]
pub fn head_code(head: &[u8; 32]) -> String {
    const LETTERS: &[u8; 32] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
    let letter = |n: usize| {
        let bit = n * 5;
        let two = u16::from(head[bit / 8]) << 8 | u16::from(head[bit / 8 + 1]);
        char::from(LETTERS[usize::from(two >> (11 - bit % 8) & 31)])
    };
    let mut out = String::new();
    for n in 0..16 {
        if n > 0 && n % 4 == 0 {
            out.push(' ');
        }
        out.push(letter(n));
    }
    out
}

/// How anyone can check it.
pub(super) fn verify(words: &Words, report: &Report) -> String {
    let text = words.tell("page", "verify", &[("id", report.number())]);
    match report.later.is_empty() {
        true => text,
        false => format!("{text} {}", words.tell("page", "chain", &[("id", &report.id)])),
    }
}

/// When it is due next, in words.
pub(super) fn next(words: &Words, report: &Report) -> String {
    match &report.next.day {
        Some(day) if report.next.why.is_empty() => words.day(day),
        Some(day) => format!("{} ({})", words.day(day), words.say("next", &report.next.why)),
        None => words.say("next", &report.next.why),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_uncertainty_is_rounded_up() {
        for (digits, want) in [
            ("0.01093", "0.011"),
            ("0.005608", "0.0057"),
            ("0.0199", "0.020"),
            ("0.0995", "0.100"),
            ("0.020", "0.020"),
            ("1.23", "1.3"),
            ("9.96", "10.0"),
            ("12.01", "13"),
            ("12.00", "12"),
            ("999.5", "1000"),
            ("0", "0"),
            ("3", "3"),
        ] {
            assert_eq!(short(digits), want, "{digits}");
        }
    }

    /// RFC 4648 section 10: `foobar` is MZXW6YTBOI; ten bytes are sixteen letters.
    #[test]
    fn a_head_is_written_in_base_32() {
        let mut head = [0; 32];
        head[..10].copy_from_slice(b"foobarfoob");
        // By coreutils: printf foobarfoob | base32
        assert_eq!(head_code(&head), "MZXW 6YTB OJTG 633C");
    }
}
