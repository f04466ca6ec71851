//! Reading a table: every fault with its line, all at once.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::find::list_of;
use super::{Bound, Confidence, Direction, Row, Table};
use crate::amount::Amount;
use crate::fault::Fault;
use crate::terms;

const FORMAT: &str = "tapline-limits-1";
const HEAD: [&str; 4] = ["format", "standard", "edition", "limit"];
const ROW: [&str; 16] = [
    "id",
    "clause",
    "measurand",
    "method",
    "class",
    "applied_part",
    "condition",
    "kind",
    "max",
    "min",
    "max_below",
    "min_above",
    "source",
    "confidence",
    "source_edition",
    "basis",
];
const BOUNDS: [(&str, Direction, bool); 4] = [
    ("max", Direction::Max, true),
    ("min", Direction::Min, true),
    ("max_below", Direction::Max, false),
    ("min_above", Direction::Min, false),
];
/// More rows than any standard has.
const ROWS_MAX: usize = 1000;

pub(super) fn table(text: &str) -> Result<Table, Vec<Fault>> {
    let (root, errors) = DeTable::parse_recoverable(text);
    let mut read = Reader { text, faults: Vec::new() };
    for error in &errors {
        read.fault(error.span().map_or(0, |s| s.start), "", error.message().trim().into());
    }
    let at = Place { table: root.get_ref(), start: 0, name: String::new() };
    read.only(&at, &HEAD);
    let format = read.string(&at, "format");
    if format.as_deref().is_some_and(|f| f != FORMAT) {
        read.fault_at(&at, "format", format!("this program reads `{FORMAT}`"));
    }
    let standard = read.string(&at, "standard").unwrap_or_default();
    let edition = read.string(&at, "edition").unwrap_or_default();
    let rows = rows(&mut read, &at);
    if read.faults.is_empty() {
        let rows = rows.into_iter().map(|(row, _)| row).collect();
        return Ok(Table { standard, edition, rows, sha256: String::new() });
    }
    read.faults.sort();
    Err(read.faults)
}

/// Rows with where each begins.
fn rows(read: &mut Reader<'_>, at: &Place<'_>) -> Vec<(Row, usize)> {
    let mut rows = Vec::new();
    let Some(list) = at.table.get("limit").and_then(|v| v.get_ref().as_array()) else {
        read.fault(0, "limit", "a table needs at least one [[limit]]".into());
        return rows;
    };
    if list.len() > ROWS_MAX {
        read.fault(0, "limit", format!("more than {ROWS_MAX} rows"));
        return rows;
    }
    for value in list.iter() {
        let start = value.span().start;
        let Some(table) = value.get_ref().as_table() else {
            read.fault(start, "limit", "write each row as [[limit]]".into());
            continue;
        };
        let id = table.get("id").and_then(|v| v.get_ref().as_str()).unwrap_or("?");
        let place = Place { table, start, name: format!("limit.{id}.") };
        if let Some(row) = row(read, &place) {
            rows.push((row, start));
        }
    }
    doubles(read, &rows);
    rows
}

fn row(read: &mut Reader<'_>, at: &Place<'_>) -> Option<Row> {
    read.only(at, &ROW);
    let id = read.string(at, "id");
    let clause = read.string(at, "clause");
    let measurand = read.word(at, "measurand", &terms::choices("measurand"));
    let method = read.word(at, "method", &list_of("method", measurand.as_deref().unwrap_or("")));
    let class = read.words(at, "class");
    let applied_part = read.words(at, "applied_part");
    let condition = read.words(at, "condition");
    let kind = read.words(at, "kind");
    let bound = read.bound(at);
    let source = read.strings(at, "source");
    let confidence = read.confidence(at);
    let source_edition = read.string(at, "source_edition");
    let basis = match at.table.contains_key("basis") {
        true => Some(read.word(at, "basis", &terms::choices("basis"))?),
        false => None,
    };
    if source.as_ref().is_some_and(Vec::is_empty) {
        read.fault_at(at, "source", "name at least one source, or `from memory`".into());
    }
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
        basis,
    })
}

/// One key one row, one id one row.
fn doubles(read: &mut Reader<'_>, rows: &[(Row, usize)]) {
    for (i, (row, start)) in rows.iter().enumerate() {
        let earlier = rows.get(..i).unwrap_or_default();
        if earlier.iter().any(|(other, _)| other.id == row.id) {
            read.fault(*start, "limit", format!("two rows have the id `{}`", row.id));
        }
        for (other, _) in earlier.iter().filter(|(other, _)| other.overlaps(row)) {
            let text = format!("`{}` and `{}` share a key: one key, one row", other.id, row.id);
            read.fault(*start, "limit", text);
        }
    }
}

/// A table of the text, with where it begins and what its keys are called in faults.
struct Place<'t> {
    table: &'t DeTable<'t>,
    start: usize,
    name: String,
}

struct Reader<'t> {
    text: &'t str,
    faults: Vec<Fault>,
}

impl Reader<'_> {
    fn fault(&mut self, at: usize, field: &str, text: String) {
        let before = self.text.as_bytes().get(..at).unwrap_or_default();
        let line = 1 + before.iter().filter(|b| **b == b'\n').count();
        let line = u32::try_from(line).unwrap_or(u32::MAX);
        self.faults.push(Fault { line, field: field.into(), text });
    }

    fn fault_at(&mut self, at: &Place<'_>, key: &str, text: String) {
        let start = at.table.get(key).map_or(at.start, |v| v.span().start);
        self.fault(start, &format!("{}{key}", at.name), text);
    }

    fn only(&mut self, at: &Place<'_>, keys: &[&str]) {
        for (key, _) in at.table.iter() {
            if !keys.contains(&key.get_ref().as_ref()) {
                let name = format!("{}{}", at.name, key.get_ref());
                self.fault(key.span().start, &name, "unknown key".into());
            }
        }
    }

    fn value<'t>(&mut self, at: &Place<'t>, key: &str) -> Option<&'t Spanned<DeValue<'t>>> {
        let value = at.table.get(key);
        if value.is_none() {
            self.fault_at(at, key, "is missing".into());
        }
        value
    }

    fn string(&mut self, at: &Place<'_>, key: &str) -> Option<String> {
        let text = self.value(at, key)?.get_ref().as_str();
        match text {
            Some(text) if !text.is_empty() => Some(text.into()),
            _ => {
                self.fault_at(at, key, "needs a text in quotes".into());
                None
            }
        }
    }

    fn word(&mut self, at: &Place<'_>, key: &str, choices: &[&str]) -> Option<String> {
        let word = self.string(at, key)?;
        self.known(at, key, choices, &word).then_some(word)
    }

    fn known(&mut self, at: &Place<'_>, key: &str, choices: &[&str], word: &str) -> bool {
        let known = choices.contains(&word);
        if !known {
            let text = format!("no word `{word}`: one of {}", choices.join(", "));
            self.fault_at(at, key, text);
        }
        known
    }

    fn strings(&mut self, at: &Place<'_>, key: &str) -> Option<Vec<String>> {
        let list = self.value(at, key)?.get_ref().as_array();
        let texts = list.map(|l| l.iter().map(|v| v.get_ref().as_str().map(ToString::to_string)));
        let texts = texts.and_then(Iterator::collect::<Option<Vec<String>>>);
        if texts.is_none() {
            self.fault_at(at, key, "needs a list of texts in quotes".into());
        }
        texts
    }

    fn words(&mut self, at: &Place<'_>, key: &str) -> Option<Vec<String>> {
        let words = self.strings(at, key)?;
        let choices = terms::choices(key);
        let mut good = true;
        for (i, word) in words.iter().enumerate() {
            good &= self.known(at, key, &choices, word);
            if words.get(..i).is_some_and(|before| before.contains(word)) {
                self.fault_at(at, key, format!("`{word}` stands there twice"));
                good = false;
            }
        }
        good.then_some(words)
    }

    fn bound(&mut self, at: &Place<'_>) -> Option<Bound> {
        let mut given = BOUNDS.iter().filter(|(key, ..)| at.table.contains_key(*key));
        let (Some((key, direction, inclusive)), None) = (given.next(), given.next()) else {
            let text = "needs exactly one of max, min, max_below, min_above".into();
            self.fault(at.start, at.name.trim_end_matches('.'), text);
            return None;
        };
        let text = self.string(at, key)?;
        match Amount::parse(&text) {
            Ok(amount) if !amount.number.negative && amount.number.digits > 0 => {
                Some(Bound { direction: *direction, inclusive: *inclusive, amount })
            }
            Ok(_) => {
                self.fault_at(at, key, "a limit is above zero".into());
                None
            }
            Err(why) => {
                self.fault_at(at, key, why);
                None
            }
        }
    }

    fn confidence(&mut self, at: &Place<'_>) -> Option<Confidence> {
        let choices = terms::choices("confidence");
        match self.word(at, "confidence", &choices)?.as_str() {
            "two_sources" => Some(Confidence::TwoSources),
            "one_source" => Some(Confidence::OneSource),
            _ => Some(Confidence::Memory),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        let bad = limit("a", "[\"III\"]", "max = \"5\"\ncolour = \"red\"");
        let found = faults(&format!("{GOOD}{bad}"));
        assert_eq!(
            found,
            [
                "line 9, `limit.a.class`: no word `III`: one of I, II, internal, system",
                "line 16, `limit.a.max`: `5` needs a number, a blank, a unit",
                "line 17, `limit.a.colour`: unknown key",
            ]
        );
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
        assert!(faults(GOOD)[0].contains("at least one [[limit]]"));
        let both = limit("a", "[]", "max = \"1 mA\"\nmin = \"1 mA\"");
        assert!(faults(&format!("{GOOD}{both}"))[0].contains("exactly one of"));
        let zero = limit("a", "[]", "max = \"0 mA\"");
        assert!(faults(&format!("{GOOD}{zero}"))[0].contains("above zero"));
    }
}
