//! `[[example]]`: what a driver says of itself is tried.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec::Vec;

use tapline_drivers::described::fixed::{Bit, Content};
use tapline_drivers::described::meaning::Word;
use tapline_drivers::described::{DescribedDriver, Description, Layout};
use tapline_drivers::frame::marks::Mark;
use tapline_drivers::{
    Driver, Flag, Function, Indication, Input, Never, Now, Number, Output, Reading, Unit,
};

use super::maps::ucum;
use crate::read::{Form, Value, word};

/// More than a file has room for.
const EXAMPLES_MAX: usize = 100;
/// Most bytes of one.
const BYTES_MAX: usize = 512;

const NOTES: [&str; 4] = ["malformed", "other_function", "too_long", "parity_bit"];

/// What an example must give.
enum Wanted {
    Reading { function: Function, indication: Indication, unit: Unit, flags: Option<Vec<Flag>> },
    Note(String),
}

/// Tries all examples; how many there are.
pub(super) fn all(value: &Value<'_, '_>, description: &Arc<Description>) -> Option<usize> {
    let mut wanted = Vec::new();
    let mut fine = true;
    for example in value.list(EXAMPLES_MAX) {
        let Some((bytes, want)) = example.form().and_then(read) else {
            fine = false;
            continue;
        };
        let got = run(description, &bytes);
        if !want.met(&got, bytes.len()) {
            let got: Vec<String> = got.iter().map(told).collect();
            let got = if got.is_empty() { "nothing".into() } else { got.join("; ") };
            example.fault::<()>(format!(
                "the driver gives {got}, not {} of all {}",
                want.told(),
                bytes.len()
            ));
            fine = false;
        }
        wanted.push(want);
    }
    let has = |fits: fn(&Wanted) -> bool| wanted.iter().any(fits);
    let need = |there: bool, what: &str| {
        if fine && !there {
            value.fault::<()>(format!("needs at least one with {what}"));
        }
    };
    let shown = |want: &Wanted, indication: fn(&Indication) -> bool| match want {
        Wanted::Reading { indication: own, .. } => indication(own),
        Wanted::Note(_) => false,
    };
    need(wanted.iter().any(|w| shown(w, |i| matches!(i, Indication::Value(_)))), "a value");
    let over = wanted.iter().any(|w| shown(w, |i| *i == Indication::Overload));
    need(over || !may_overload(description), "an overload, which the file maps");
    need(has(|want| matches!(want, Wanted::Note(note) if note == "malformed")), "`malformed`");
    fine.then_some(wanted.len())
}

fn may_overload(description: &Description) -> bool {
    let meaning = &description.meaning;
    let bits = match &description.layout {
        Layout::Fixed(fixed) => fixed.parts(),
        _ => &[],
    };
    let bit = bits.iter().any(|part| match &part.content {
        Content::Bits(rows) => rows.iter().any(|(_, bit)| *bit == Bit::Says(Mark::Over)),
        _ => false,
    });
    bit || meaning.words.iter().any(|(_, word)| *word == Word::Overload)
        || meaning.flags.iter().any(|(_, mark)| *mark == Mark::Over)
}

fn read(mut form: Form<'_, '_>) -> Option<(Vec<u8>, Wanted)> {
    let bytes = form.need("bytes").and_then(|v| v.bytes(BYTES_MAX));
    let reading = form.may("reading");
    let note = form.may("note");
    let want = match (reading, note) {
        (Some(reading), None) => reading.form().and_then(self::reading),
        (None, Some(note)) => note.one_of(&NOTES).map(Wanted::Note),
        _ => {
            form.fault("", "needs either `reading` or `note`: what the bytes give".into());
            None
        }
    };
    form.finish();
    Some((bytes?, want?))
}

fn reading(mut form: Form<'_, '_>) -> Option<Wanted> {
    let function = form.need("function").and_then(|v| v.word::<Function>());
    let words = ["value", "above", "below", "overload", "none"];
    let indication = form.need("indication").and_then(|v| v.one_of(&words));
    let value = form.may("value");
    let unit = form.need("unit").and_then(|v| ucum(&v));
    let flags = form.may("flags").map(|list| {
        let mut flags: Vec<Flag> = list.list(8).iter().filter_map(|v| v.word::<Flag>()).collect();
        flags.sort();
        flags
    });
    let number = value.as_ref().map(|value| {
        let text = value.any_text()?;
        let number = Number::parse(text).filter(|number| number.text() == text);
        number.or_else(|| {
            value.fault("needs digits as the reading shows them, such as \"0.180\"".into())
        })
    });
    let indication = match (indication?.as_str(), number) {
        ("overload", None) => Some(Indication::Overload),
        ("none", None) => Some(Indication::NoValue),
        ("overload" | "none", Some(_)) => {
            form.fault("value", "there is none with this indication".into());
            None
        }
        (word, Some(number)) => number.map(|number| match word {
            "above" => Indication::Above(number),
            "below" => Indication::Below(number),
            _ => Indication::Value(number),
        }),
        (_, None) => {
            form.fault("value", "is missing".into());
            None
        }
    };
    form.finish();
    Some(Wanted::Reading { function: function?, indication: indication?, unit: unit?, flags })
}

/// Everything that the driver says of these bytes and the silence behind them.
fn run(description: &Arc<Description>, bytes: &[u8]) -> Vec<Output<Never>> {
    let mut driver = DescribedDriver::new(description.clone());
    driver.handle(Now(0), Input::Bytes(bytes));
    let mut out: Vec<_> = core::iter::from_fn(|| driver.poll()).collect();
    if let Some(deadline) = driver.deadline() {
        driver.handle(deadline, Input::Tick);
        out.extend(core::iter::from_fn(|| driver.poll()));
    }
    out
}

impl Wanted {
    /// One output that covers all bytes. That it is not paired yet is no matter.
    fn met(&self, got: &[Output<Never>], length: usize) -> bool {
        let [got] = got else { return false };
        match (self, got) {
            (Wanted::Reading { function, indication, unit, flags }, Output::Reading(reading)) => {
                let said = (reading.function, reading.indication, reading.unit);
                said == (*function, *indication, *unit)
                    && flags.as_ref().is_none_or(|flags| *flags == reading.flags)
                    && reading.span.to == length as u64
            }
            (Wanted::Note(word), Output::Note(note)) => {
                note.word == word && note.span.to == length as u64
            }
            _ => false,
        }
    }

    fn told(&self) -> String {
        match self {
            Wanted::Reading { function, indication, unit, flags } => {
                let flags = flags.as_deref().unwrap_or_default();
                in_words(*function, *indication, *unit, flags)
            }
            Wanted::Note(word) => format!("the note `{word}`"),
        }
    }
}

fn told(output: &Output<Never>) -> String {
    match output {
        Output::Reading(Reading { function, indication, unit, flags, span, .. }) => {
            let said = in_words(*function, *indication, *unit, flags);
            format!("{said} of bytes {} to {}", span.from + 1, span.to)
        }
        Output::Note(note) => {
            format!("the note `{}` of bytes {} to {}", note.word, note.span.from + 1, note.span.to)
        }
        _ => "something else".to_string(),
    }
}

fn in_words(function: Function, indication: Indication, unit: Unit, flags: &[Flag]) -> String {
    let (word, number) = match indication {
        Indication::Value(number) => ("", number.text()),
        Indication::Above(number) => ("above ", number.text()),
        Indication::Below(number) => ("below ", number.text()),
        Indication::Overload => ("overload", String::new()),
        Indication::NoValue => ("none", String::new()),
    };
    let flags: String = flags.iter().map(|flag| format!(" {flag:?}")).collect();
    format!("{} {word}{number} {}{flags}", name(function), unit.ucum())
}

/// The word of a function.
fn name(function: Function) -> &'static str {
    let all = word::<Function>("").err().unwrap_or_default();
    let own = |name: &&&str| word::<Function>(name) == Ok(function);
    all.iter().find(own).copied().unwrap_or("?")
}
