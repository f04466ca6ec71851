//! `[map.…]` and what `[read]` says once for all: what the fields of a frame mean.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::described::meaning::{
    Bound, Codes, Field, Known, Meaning, Measured, Places, Range, Word, bare,
};
use tapline_drivers::wire::number::numeric;
use tapline_drivers::{Function, Number, Unit};

use super::fields::mark;
use super::top::Read;
use crate::read::{Form, Value, raw};

/// More codes than any instrument has.
const CODES_MAX: usize = 200;

/// Fields that need a map, and the map.
const MAPPED: [(Field, &str); 6] = [
    (Field::Function, "function"),
    (Field::Unit, "unit"),
    (Field::Sign, "sign"),
    (Field::Range, "range"),
    (Field::Point, "point"),
    (Field::Flag, "flag"),
];

pub(super) fn meaning(
    form: &mut Form<'_, '_>,
    read: &Read<'_, '_>,
    used: Option<&[Field]>,
) -> Option<Meaning> {
    let map = form.may("map");
    let mut maps = map.as_ref().and_then(|value| value.form());
    let mut table = |key| maps.as_mut().and_then(|maps| maps.may(key));
    let tables = MAPPED.map(|(field, key)| (field, table(key)));
    let (words, prefixes) = (table("value"), table("prefix"));
    if let Some(maps) = maps {
        maps.finish();
    }
    let fine = fits(form, used, &tables);
    let of = |field| tables.iter().find(|(own, _)| *own == field).and_then(|(_, map)| map.as_ref());
    // A field without its map has been told.
    let sent = |field| used.is_none_or(|used| used.contains(&field));
    let function = function(form, read, of(Field::Function), sent(Field::Function));
    let known = function.as_ref().map(Known::all).unwrap_or_default();
    let words = words.map_or(Some(Vec::new()), |value| codes(&value, word));
    let prefixes = prefixes.map_or(Some(Vec::new()), |value| codes(&value, bound));
    let flags = of(Field::Flag).map_or(Some(Vec::new()), |v| codes(v, |_, v| mark(v, &[])));
    let signs = of(Field::Sign).map_or(Some(Vec::new()), |value| codes(value, sign));
    let places = places(form, read, (of(Field::Range), of(Field::Point)), &known);
    let ranged = of(Field::Range);
    let told = sent(Field::Unit) || sent(Field::Range) || function.is_none();
    let unit = match (told, &read.unit, of(Field::Unit), ranged) {
        (false, None, None, None) if !known.is_empty() => {
            let why = "is missing: the unit, or a field `unit` with [map.unit]";
            form.fault("read.unit", why.into());
            None
        }
        (true, None, None, None) if !known.is_empty() => None,
        (_, _, map, ranged) => unit(read, (map, ranged), &known),
    };
    let point = match read.point.as_ref() {
        None => Some(b'.'),
        Some(value) => value.one_of(&[".", ","]).map(|point| point.as_bytes()[0]),
    };
    let (function, unit, words, places) = (function?, unit?, words?, places?);
    let meaning = Meaning {
        function,
        unit,
        words,
        prefixes: prefixes?,
        flags: flags?,
        signs: signs?,
        places,
        point: point?,
    };
    fine.then_some(meaning)
}

/// Each field has its map, and each map its field.
fn fits(
    form: &Form<'_, '_>,
    used: Option<&[Field]>,
    tables: &[(Field, Option<Value<'_, '_>>)],
) -> bool {
    let Some(used) = used else { return false };
    let mut fine = true;
    for (field, table) in tables {
        let name = field.name();
        match (used.contains(field), table) {
            (true, None) => {
                form.fault(
                    &format!("map.{name}"),
                    format!("is missing: what the codes of `{name}` mean"),
                );
                fine = false;
            }
            (false, Some(table)) => {
                table.fault::<()>(format!("there is no field `{name}` that would hold its codes"));
                fine = false;
            }
            _ => {}
        }
    }
    fine
}

/// The codes of a map with what they mean.
fn codes<T>(
    value: &Value<'_, '_>,
    of: impl Fn(&[u8], &Value<'_, '_>) -> Option<T>,
) -> Option<Codes<T>> {
    let rows = value.form()?.all();
    if rows.is_empty() || rows.len() > CODES_MAX {
        return value.fault(format!("needs 1 to {CODES_MAX} codes"));
    }
    let mut all: Codes<T> = Vec::new();
    let mut fine = true;
    for (key, value) in rows {
        let row = code(&key, &value).and_then(|code| Some((of(&code, &value)?, code)));
        let Some((meaning, code)) = row else {
            fine = false;
            continue;
        };
        if all.iter().any(|(other, _)| *other == code) {
            value.fault::<()>("stands there twice: blanks around a code are passed over".into());
        }
        all.push((code, meaning));
    }
    fine.then_some(all)
}

fn code(key: &str, value: &Value<'_, '_>) -> Option<Vec<u8>> {
    match raw(key) {
        Ok(code) if code.len() <= 32 => Some(bare(&code).to_vec()),
        Ok(_) => value.fault("is a code of more than 32 bytes".into()),
        Err(why) => value.fault(why),
    }
}

fn word(code: &[u8], value: &Value<'_, '_>) -> Option<Word> {
    if numeric(code).is_some() {
        return value.fault(
            "is a number, and may be sent in another form: what stands for a number here is a word"
                .into(),
        );
    }
    match value.one_of(&["overload", "none"])?.as_str() {
        "overload" => Some(Word::Overload),
        _ => Some(Word::Nothing),
    }
}

fn bound(code: &[u8], value: &Value<'_, '_>) -> Option<Bound> {
    if !matches!(code, [byte] if !byte.is_ascii_digit() && !b"+-.,".contains(byte)) {
        return value.fault("needs one character that is no part of a number, such as `>`".into());
    }
    match value.one_of(&["above", "below"])?.as_str() {
        "above" => Some(Bound::Above),
        _ => Some(Bound::Below),
    }
}

fn sign(_: &[u8], value: &Value<'_, '_>) -> Option<bool> {
    Some(value.one_of(&["plus", "minus"])? == "minus")
}

fn function(
    form: &Form<'_, '_>,
    read: &Read<'_, '_>,
    map: Option<&Value<'_, '_>>,
    sent: bool,
) -> Option<Known<Measured>> {
    match (&read.function, map) {
        (Some(value), None) => {
            let function = Some(measured(value)?);
            Some(Known::Always(Measured { function, unit: None }))
        }
        (None, Some(map)) => Some(Known::Sent(codes(map, |_, value| own_unit(value))?)),
        (Some(value), Some(_)) => value.fault("the field `function` says it, too: keep one".into()),
        (None, None) if sent => None,
        (None, None) => {
            let why = "is missing: what is measured, or a field `function` with [map.function]";
            form.fault("read.function", why.into());
            None
        }
    }
}

/// A function by its word, or with its unit: `{ function = "voltage_ac", unit = "mV" }`.
fn own_unit(value: &Value<'_, '_>) -> Option<Measured> {
    if !value.is_table() {
        if value.any_text()? == "other" {
            return Some(Measured { function: None, unit: None });
        }
        return Some(Measured { function: Some(measured(value)?), unit: None });
    }
    let mut form = value.form()?;
    let function = form.need("function").and_then(|v| measured(&v));
    let unit = form.need("unit").and_then(|v| ucum(&v));
    form.finish();
    let (function, unit) = (function?, unit?);
    if function.quantity() != Some(unit.quantity) {
        return value.fault(format!("`{}` is no unit of that function", unit.ucum()));
    }
    Some(Measured { function: Some(function), unit: Some(unit) })
}

fn measured(value: &Value<'_, '_>) -> Option<Function> {
    let function = value.word::<Function>()?;
    match function.quantity() {
        Some(_) => Some(function),
        None => value.fault("has no value: a described driver reads values".into()),
    }
}

/// A unit by its UCUM code.
pub(super) fn ucum(value: &Value<'_, '_>) -> Option<Unit> {
    let code = value.any_text()?;
    match Unit::from_ucum(code) {
        Some(unit) => Some(unit),
        None => {
            let known: Vec<&str> = Unit::all().map(Unit::ucum).collect();
            value.fault(format!("unknown unit `{code}`; known here: {}", known.join(", ")))
        }
    }
}

trait All {
    /// What may be measured that has no unit of its own.
    fn all(&self) -> Vec<Function>;
}

impl All for Known<Measured> {
    fn all(&self) -> Vec<Function> {
        let bare = |one: &Measured| one.function.filter(|_| one.unit.is_none());
        match self {
            Known::Always(one) => bare(one).into_iter().collect(),
            Known::Sent(codes) => codes.iter().filter_map(|(_, one)| bare(one)).collect(),
        }
    }
}

fn unit(
    read: &Read<'_, '_>,
    (map, ranged): (Option<&Value<'_, '_>>, Option<&Value<'_, '_>>),
    functions: &[Function],
) -> Option<Option<Known<Unit>>> {
    let fits = |unit: Unit, function: &Function| function.quantity() == Some(unit.quantity);
    let told = [read.unit.as_ref(), map, ranged];
    if let Some(value) = told.iter().flatten().nth(1) {
        return value.fault("the unit is told elsewhere, too: keep one".into());
    }
    if let Some(value) = &read.unit {
        let unit = ucum(value)?;
        return match functions.iter().all(|function| fits(unit, function)) {
            true => Some(Some(Known::Always(unit))),
            false => value.fault(format!("`{}` is no unit of what is measured", unit.ucum())),
        };
    }
    let Some(map) = map else { return Some(None) };
    let units = codes(map, |_, value| {
        let unit = ucum(value)?;
        match functions.is_empty() || functions.iter().any(|function| fits(unit, function)) {
            true => Some(unit),
            false => value.fault(format!("`{}` is no unit of what is measured", unit.ucum())),
        }
    })?;
    let lone = functions.iter().any(|f| !units.iter().any(|(_, unit)| fits(*unit, f)));
    if lone {
        return map.fault("one of the functions has no unit here".into());
    }
    Some(Some(Known::Sent(units)))
}

fn places(
    form: &Form<'_, '_>,
    read: &Read<'_, '_>,
    (range, point): (Option<&Value<'_, '_>>, Option<&Value<'_, '_>>),
    functions: &[Function],
) -> Option<Places> {
    let told = [read.places.as_ref(), range, point];
    if let Some(value) = told.iter().flatten().nth(1) {
        return value.fault("where the point is is told elsewhere, too: keep one".into());
    }
    if told.iter().flatten().next().is_some() && read.point.is_some() {
        form.fault("read.point", "no point is sent where its place is told otherwise".into());
    }
    let count = |value: &Value<'_, '_>| value.count(0..=15).and_then(|n| u8::try_from(n).ok());
    if let Some(value) = &read.places {
        return count(value).map(Places::Always);
    }
    if let Some(value) = point {
        return codes(value, |_, value| count(value)).map(Places::Point);
    }
    match range {
        Some(value) => ranges(value, functions).map(Places::Range),
        None => Some(Places::Sent),
    }
}

/// Ranges by their codes; where a code means another range for another function, in tables named
/// after the functions.
fn ranges(value: &Value<'_, '_>, functions: &[Function]) -> Option<Vec<Range>> {
    let rows = value.form()?.all();
    let mut ranges = Vec::new();
    let mut fine = !rows.is_empty() || value.fault::<()>("has no code".into()).is_some();
    for (key, row) in rows {
        if !row.is_table() {
            let range = code(&key, &row).and_then(|code| range(None, code, &row, functions));
            fine &= range.is_some();
            ranges.extend(range);
            continue;
        }
        let Ok(function) = crate::read::word::<Function>(&key) else {
            row.fault::<()>("is no function: a table of ranges is named after one".into());
            fine = false;
            continue;
        };
        let read = codes(&row, |code, row| range(Some(function), code.to_vec(), row, &[function]));
        fine &= read.is_some();
        ranges.extend(read.into_iter().flatten().map(|(_, range)| range));
    }
    for function in functions {
        let own = |range: &Range| range.function.is_none_or(|own| own == *function);
        if fine && !ranges.iter().any(own) {
            value.fault::<()>("one of the functions has no range here".into());
        }
    }
    fine.then_some(ranges)
}

/// A range as its full display: `"4.000 kOhm"`.
fn range(
    function: Option<Function>,
    code: Vec<u8>,
    value: &Value<'_, '_>,
    functions: &[Function],
) -> Option<Range> {
    let text = value.any_text()?;
    let picture = text.split_once(' ').and_then(|(number, unit)| {
        let number = Number::parse(number).filter(|number| number.exponent <= 0)?;
        Some((number.exponent.unsigned_abs(), Unit::from_ucum(unit)?))
    });
    let Some((places, unit)) = picture else {
        return value.fault(format!(
            "`{}` is no range: write its full display and unit, such as \"4.000 kOhm\"",
            text.chars().take(40).collect::<String>()
        ));
    };
    if functions.iter().any(|function| function.quantity() != Some(unit.quantity)) {
        let unit = unit.ucum().to_string();
        return value.fault(format!(
            "`{unit}` is no unit of what is measured; where a code means another range for \
             another function, write a table for each, such as [map.range.voltage_ac]"
        ));
    }
    Some(Range { function, code, places, unit })
}
