//! Reading a table: every fault with its line, all at once.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::find::list_of;
use super::{Bound, Confidence, Direction, Plus, Row, Table, computed, layer};
use crate::amount::Amount;
use crate::fault::Fault;
use crate::read::{self, Form, Value};
use crate::terms;

/// More rows than any standard has.
const ROWS_MAX: usize = 1000;
/// More sources than a row needs.
const SOURCES_MAX: usize = 20;

const BOUNDS: [(&str, Direction, bool); 4] = [
    ("max", Direction::Max, true),
    ("min", Direction::Min, true),
    ("max_below", Direction::Max, false),
    ("min_above", Direction::Min, false),
];

pub(super) fn table(text: &str) -> Result<Table, Vec<Fault>> {
    read::read(text, ("tapline-limits-", 1), build).map(|(table, _)| table)
}

fn build(form: &mut Form<'_, '_>) -> Option<Table> {
    let standard = text(form, "standard");
    let edition = text(form, "edition");
    let rows = rows(&form.need("limit")?);
    Some(Table { standard: standard?, edition: edition?, rows, sha256: String::new() })
}

/// One key one row, one id one row.
fn rows(list: &Value<'_, '_>) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    let values = list.list(ROWS_MAX);
    if values.is_empty() {
        list.fault::<()>("needs at least one row, written as [[limit]]".into());
    }
    for value in values {
        let Some(row) = value.form().and_then(row) else { continue };
        if rows.iter().any(|other| other.id == row.id) {
            value.fault::<()>(format!("two rows have the id `{}`", row.id));
        }
        for other in rows.iter().filter(|other| other.overlaps(&row)) {
            let text = format!("`{}` and `{}` share a key: one key, one row", other.id, row.id);
            value.fault::<()>(text);
        }
        rows.push(row);
    }
    rows
}

fn row(mut form: Form<'_, '_>) -> Option<Row> {
    let id = form.need("id").and_then(|v| v.name());
    let clause = text(&mut form, "clause");
    let measurand = word(&mut form, "measurand", &terms::choices("measurand"));
    let methods = list_of("method", measurand.as_deref().unwrap_or(""));
    let method = form.need("method").filter(|_| measurand.is_some());
    let method = method.and_then(|v| v.one_of(&methods));
    let class = words(&mut form, "class");
    let applied_part = words(&mut form, "applied_part");
    let condition = words(&mut form, "condition");
    let kind = words(&mut form, "kind");
    let bound = bound(&mut form);
    let source = source(&mut form);
    let confidence = form.need("confidence").and_then(|v| v.word::<Confidence>());
    let source_edition = text(&mut form, "source_edition");
    let basis = form.may("basis").map(|v| v.one_of(&terms::choices("basis")));
    let plus = form.may("plus").and_then(|v| computed::read(&v));
    let computed = form.may("computed").and_then(|v| v.text());
    let layer = layer::read(&mut form);
    if let (Some(plus), Some(bound)) = (&plus, &bound) {
        fits(&form, plus, bound);
    }
    form.finish();
    Some(Row {
        id: id?,
        clause: clause?,
        measurand: measurand?,
        method: method?,
        class: class?,
        applied_part: applied_part?,
        condition: condition?,
        kind: kind?,
        bound: bound?,
        source: source?,
        confidence: confidence?,
        source_edition: source_edition?,
        basis: basis.flatten(),
        plus,
        computed,
        layer: layer?,
    })
}

/// What is added grows the limit of its own quantity, up to more than that.
fn fits(form: &Form<'_, '_>, plus: &Plus, bound: &Bound) {
    let own = |amount: &Amount| amount.unit == bound.amount.unit;
    if bound.direction != Direction::Max || !own(&plus.add) || !own(&plus.up_to) {
        form.fault("plus", "goes with a `max`, in its very unit".into());
    }
}

fn text(form: &mut Form<'_, '_>, key: &'static str) -> Option<String> {
    form.need(key)?.text()
}

fn word(form: &mut Form<'_, '_>, key: &'static str, choices: &[&str]) -> Option<String> {
    form.need(key)?.one_of(choices)
}

fn words(form: &mut Form<'_, '_>, key: &'static str) -> Option<Vec<String>> {
    let list = form.need(key)?;
    let choices = terms::choices(key);
    let mut words: Vec<String> = Vec::new();
    for value in list.list(choices.len()) {
        let word = value.one_of(&choices)?;
        if words.contains(&word) {
            return value.fault(format!("`{word}` stands there twice"));
        }
        words.push(word);
    }
    Some(words)
}

fn source(form: &mut Form<'_, '_>) -> Option<Vec<String>> {
    let list = form.need("source")?;
    let source: Vec<String> = list.list(SOURCES_MAX).iter().filter_map(Value::text).collect();
    if source.is_empty() {
        return list.fault("name at least one source, or `from memory`".into());
    }
    Some(source)
}

fn bound(form: &mut Form<'_, '_>) -> Option<Bound> {
    let given: Vec<_> = BOUNDS.iter().filter_map(|(k, d, i)| Some((form.may(k)?, d, i))).collect();
    let [(value, direction, inclusive)] = given.as_slice() else {
        form.fault("", "needs exactly one of max, min, max_below, min_above".into());
        return None;
    };
    match Amount::parse(&value.text()?) {
        Ok(amount) if !amount.number.negative && amount.number.digits > 0 => {
            Some(Bound { direction: **direction, inclusive: **inclusive, amount })
        }
        Ok(_) => value.fault("a limit is above zero".into()),
        Err(why) => value.fault(why),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    const GOOD: &str = "format = \"tapline-limits-1\"\nstandard = \"S\"\nedition = \"1\"\n";

    fn limit(id: &str, class: &str, more: &str) -> String {
        format!(
            "[[limit]]\nid = \"{id}\"\nclause = \"1\"\nmeasurand = \"touch_current\"\n\
             method = \"direct\"\nclass = {class}\napplied_part = []\ncondition = []\n\
             kind = [\"ac\"]\nsource = [\"from memory\"]\nconfidence = \"memory\"\n\
             source_edition = \"1\"\n{more}\n"
        )
    }

    fn faults(text: &str) -> Vec<String> {
        table(text).unwrap_err().iter().map(ToString::to_string).collect()
    }

    #[test]
    fn strict_and_inclusive_limits_are_told_apart() {
        let text = format!("{GOOD}{}", limit("a", "[\"I\"]", "max_below = \"0.1 mA\""));
        let bound = table(&text).unwrap().rows[0].bound;
        assert_eq!((bound.direction, bound.inclusive), (Direction::Max, false));
    }

    #[test]
    fn all_faults_come_at_once_with_their_lines() {
        let bad = limit("a", "[\"IV\"]", "max = \"5\"\ncolour = \"red\"");
        let found = faults(&format!("{GOOD}{bad}"));
        assert_eq!(found.len(), 3, "{found:?}");
        assert_eq!(
            found[..2],
            [
                "line 9, `limit.a.class.1`: unknown word `IV`; did you mean `II`?",
                "line 16, `limit.a.max`: `5` needs a number, a blank, a unit",
            ]
        );
        assert!(found[2].starts_with("line 17, `limit.a.colour`: is no known key"));
    }

    #[test]
    fn a_double_key_is_refused_also_where_lists_overlap() {
        let rows = [
            limit("a", "[\"I\", \"II\"]", "max = \"1 mA\""),
            limit("b", "[\"II\"]", "max = \"2 mA\""),
            limit("c", "[]", "max = \"3 mA\""),
        ];
        let found = faults(&format!("{GOOD}{}", rows.concat()));
        let doubles = found.iter().filter(|f| f.contains("share a key")).count();
        assert_eq!(doubles, 3, "{found:?}");
    }

    #[test]
    fn broken_toml_and_missing_rows_are_faults() {
        assert!(!faults("format = ").is_empty());
        assert_eq!(faults(GOOD), ["line 1, `limit`: is missing"]);
        assert!(faults(&format!("{GOOD}limit = []"))[0].contains("written as [[limit]]"));
        let both = limit("a", "[]", "max = \"1 mA\"\nmin = \"1 mA\"");
        assert!(faults(&format!("{GOOD}{both}"))[0].contains("exactly one of"));
        let zero = limit("a", "[]", "max = \"0 mA\"");
        assert!(faults(&format!("{GOOD}{zero}"))[0].contains("above zero"));
    }
}
