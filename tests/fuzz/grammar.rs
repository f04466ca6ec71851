//! Numbers, whole answers, blocks and control codes against what else is known of them.

use tapline_drivers::scan::control;
use tapline_drivers::wire::blank;
use tapline_drivers::wire::number::Numeric;
use tapline_drivers::wire::response::{Datum, Unit, answer, end};

use super::hunt::Verdict;
use super::random::feature;

/// Longest block of an answer here.
const BLOCK: usize = 64;

/// The number as Rust's own `f64` reads it (IEEE 754, nearest); `None` where that can't.
fn float(bytes: &[u8]) -> Option<f64> {
    let text: String = bytes.iter().filter(|b| !blank(**b)).map(|b| char::from(*b)).collect();
    text.parse().ok()
}

/// A reader of numbers.
pub(crate) type Numbers = fn(&[u8]) -> Option<Numeric>;

/// A number is what `f64` says it is, and of 9.89E37 and more none is a value.
pub(crate) fn number(numeric: Numbers, bytes: &[u8]) -> Verdict {
    let read = numeric(bytes);
    let float = float(bytes);
    let fits = match (read, float) {
        (None, _) => true,
        (Some(_), None) => false,
        (Some(Numeric::Value(number)), Some(float)) => {
            let again: f64 = number.text().parse().expect("a plain decimal");
            let sign = number.negative == float.is_sign_negative();
            again == float && sign && float.abs() < 9.89e37
        }
        (Some(Numeric::Infinity { negative }), Some(float)) => {
            (9.89e37..9.905e37).contains(&float.abs()) && negative == float.is_sign_negative()
        }
        (Some(Numeric::NotANumber), Some(float)) => float.abs() >= 9.905e37,
    };
    if !fits {
        return Err(format!("`{}` is {float:?} and was read as {read:?}", bytes.escape_ascii()));
    }
    // What was taken is a shape, digits all alike.
    let shape = bytes.iter().map(|b| if b.is_ascii_digit() { '0' } else { char::from(*b) });
    let shape: String = shape.take(12).collect();
    let shape = if read.is_some() { shape } else { String::new() };
    Ok(vec![feature(&format!("{:?} {shape}", read.map(|read| std::mem::discriminant(&read))))])
}

/// An answer that was read and written again is read as the same; an end is an end however much
/// more comes behind it.
pub(crate) fn response(bytes: &[u8]) -> Verdict {
    let newline = |byte| byte == b'\n';
    let whole = end(bytes, 4096, newline);
    for length in [bytes.len() / 2, whole.unwrap_or_default(), bytes.len().saturating_sub(1)] {
        let part = end(&bytes[..length], 4096, newline);
        if part.is_some() && part != whole {
            return Err(format!("of {length} bytes the end is {part:?}, of all {whole:?}"));
        }
    }
    if whole.is_some_and(|at| bytes[at] != b'\n') {
        return Err(format!("no end stands at {whole:?}"));
    }
    let Some(units) = answer(bytes, BLOCK) else { return Ok(vec![0]) };
    for datum in units.iter().flat_map(|unit| &unit.data) {
        let most = match datum {
            Datum::Block(bytes) => bytes.len() > BLOCK,
            Datum::Number(Numeric::Value(n)) | Datum::Measured(Numeric::Value(n), _) => {
                n.digits >= 1_000_000_000_000_000 || !(-24..=15).contains(&n.exponent)
            }
            _ => false,
        };
        if most {
            return Err(format!("more than an item may be: {datum:?}"));
        }
    }
    let written = emit(&units);
    let again = answer(&written, BLOCK);
    if again.as_ref() != Some(&units) {
        let written = written.escape_ascii();
        return Err(format!("{units:?} is written `{written}` and read as {again:?}"));
    }
    let shape = |unit: &Unit| {
        let data = unit.data.iter().take(3).map(|datum| match datum {
            Datum::Number(read) => format!("n{:?}", std::mem::discriminant(read)),
            Datum::Measured(read, _) => format!("m{:?}", std::mem::discriminant(read)),
            other => format!("{:?}", std::mem::discriminant(other)),
        });
        format!("{} {}", unit.header.is_some(), data.collect::<Vec<_>>().join(" "))
    };
    Ok(units.iter().take(3).map(|unit| feature(&shape(unit))).collect())
}

fn written(read: &Numeric) -> String {
    match read {
        Numeric::Value(n) => {
            format!("{}{}E{}", if n.negative { '-' } else { '+' }, n.digits, n.exponent)
        }
        Numeric::Infinity { negative } => if *negative { "-9.9E37" } else { "9.9E37" }.into(),
        Numeric::NotANumber => "9.91E37".into(),
    }
}

fn emit(units: &[Unit]) -> Vec<u8> {
    let one = |datum: &Datum| match datum {
        Datum::Number(read) => written(read).into_bytes(),
        Datum::Measured(read, unit) => [written(read).as_bytes(), b" ", unit].concat(),
        Datum::Based(value) => format!("#H{value:X}").into_bytes(),
        Datum::Word(word) => word.clone(),
        Datum::Text(text) => {
            let text = text.iter().flat_map(|b| vec![*b; 1 + usize::from(*b == b'"')]);
            [b"\"".to_vec(), text.collect(), b"\"".to_vec()].concat()
        }
        Datum::Block(bytes) => [format!("#2{:02}", bytes.len()).as_bytes(), bytes].concat(),
        Datum::Empty => Vec::new(),
    };
    let unit = |unit: &Unit| {
        let data = unit.data.iter().map(one).collect::<Vec<_>>().join(&b',');
        let header = unit.header.clone().map(|header| [header, b" ".to_vec()].concat());
        [header.unwrap_or_default(), data].concat()
    };
    let units: Vec<Vec<u8>> = units.iter().map(unit).collect();
    [units.join(&b';'), b"\n".to_vec()].concat()
}

/// A block: the first byte says how many digits its length has, the second how far that is from
/// the truth, the rest is in it. Its bytes are its bytes, whatever they are.
pub(crate) fn block(bytes: &[u8]) -> Verdict {
    let [digits, off, payload @ ..] = bytes else { return Ok(vec![]) };
    let width = 3 + usize::from(digits % 7);
    let off = if *off < 128 { 0 } else { isize::from(*off) - 192 };
    let Some(said) = payload.len().checked_add_signed(off).filter(|said| *said < 1_000) else {
        return Ok(vec![]);
    };
    let sent = [format!("#{width}{said:0width$}").as_bytes(), payload].concat();
    let read = answer(&sent, BLOCK);
    let first = read.as_ref().map(|units| &units[0].data[0]);
    let fits = match payload.get(..said) {
        Some(block) if said <= BLOCK => {
            let ended = payload[said..].iter().all(|b| blank(*b) || matches!(b, b'\r' | b'\n'));
            let taken = first == Some(&Datum::Block(block.to_vec()));
            taken || (first.is_none() && !ended)
        }
        _ => first.is_none(),
    };
    if !fits {
        return Err(format!("`{}` was read as {read:?}", sent.escape_ascii()));
    }
    let line = [&sent[..], b"\n"].concat();
    let at = end(&line, 4096, |byte| byte == b'\n');
    if off == 0 && at != Some(sent.len()) {
        return Err(format!("`{}` ends at {at:?}", line.escape_ascii()));
    }
    let shape = format!("{width} {} {}", off.signum(), first.is_some());
    Ok(vec![feature(&shape), feature(&format!("{:?}", at.map(|at| at.cmp(&sent.len()))))])
}

/// A control code that is read is the one that would be printed, and no other byte in it is.
pub(crate) fn control(bytes: &[u8]) -> Verdict {
    let Ok(read) = control::read(bytes) else {
        return Ok(vec![u64::from(control::claims(bytes))]);
    };
    let word = read.parameter.map_or(read.word.to_owned(), |p| format!("{}.{p}", read.word));
    let known = control::WORDS.contains(&read.word) || control::ACT_WORDS.contains(&read.word);
    if !known || !control::claims(bytes) {
        return Err(format!("`{}` is none of ours", bytes.escape_ascii()));
    }
    let legal =
        |byte: &u8| byte.is_ascii_uppercase() || byte.is_ascii_digit() || b"-.".contains(byte);
    if word.bytes().all(|byte| legal(&byte)) && control::code(&word).as_bytes() != bytes {
        return Err(format!("`{}` is printed as `{}`", bytes.escape_ascii(), control::code(&word)));
    }
    for at in 0..bytes.len() {
        let mut bad = bytes.to_owned();
        bad[at] ^= 1;
        if control::read(&bad).is_ok() {
            return Err(format!("`{}` is read with one bit of it changed", bad.escape_ascii()));
        }
    }
    Ok(vec![feature(read.word), feature(&format!("{:?}", read.parameter.map(str::len)))])
}
