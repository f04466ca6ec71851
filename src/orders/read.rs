//! What a file of work orders says: CSV with a row of column names, or JSON, an object or a list
//! of objects. All of a file or nothing.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use serde_json::Value;
use serde_json::value::RawValue;
use tapline_protocols::Fault;
use tapline_protocols::fact::OrderFact;
use tapline_protocols::read::{FAULTS_MAX, csv, is_date, is_name, nearest, plain_text};

/// Longest file, bytes.
pub(super) const FILE_BYTES_MAX: usize = 1 << 20;
/// Most orders in a file.
const ORDERS_MAX: usize = 1_000;
/// What an order says; the first three must be there.
const COLUMNS: [&str; 5] = ["order", "asset", "reason", "wanted_by", "remark"];
const NEEDED: usize = 3;

/// Why an inspection is made.
pub(crate) const REASONS: [&str; 4] = ["acceptance", "scheduled", "after_repair", "other"];

/// Orders with the lines on which they stand.
pub(crate) type Listed = Vec<(u32, OrderFact)>;

/// Reads a file.
///
/// # Errors
/// All faults, up to a bound, each with its line and field.
pub(crate) fn read(text: &str) -> Result<Listed, Vec<Fault>> {
    if text.len() > FILE_BYTES_MAX {
        return Err(vec![fault(0, "", "longer than 1 MiB: split it into several files".into())]);
    }
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let entries = match text.trim_start().starts_with(['[', '{']) {
        true => of_json(text),
        false => of_csv(text),
    }?;
    if entries.is_empty() {
        return Err(vec![fault(1, "", format!("there is no order in it: {}", COLUMNS.join(", ")))]);
    }
    if entries.len() > ORDERS_MAX {
        let text = format!("more than {ORDERS_MAX} orders: split it into several files");
        return Err(vec![fault(0, "", text)]);
    }
    let mut faults = Vec::new();
    let mut listed: Listed = Vec::new();
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    for entry in entries {
        let (line, order) = (entry.line, entry.order(&mut faults));
        if let Some(before) =
            seen.insert(order.order.clone(), line).filter(|_| !order.order.is_empty())
        {
            let text = format!("`{}` stands on line {before} already", order.order);
            faults.push(fault(line, "order", text));
        }
        listed.push((line, order));
    }
    if faults.is_empty() { Ok(listed) } else { Err(told(faults)) }
}

/// What a row or an object says: text and line by column.
struct Entry {
    line: u32,
    fields: BTreeMap<String, (u32, String)>,
}

impl Entry {
    fn order(&self, faults: &mut Vec<Fault>) -> OrderFact {
        let mut field = |column: &str, fits: fn(&str) -> bool, needs: &str| {
            let (line, text) = self.fields.get(column).cloned().unwrap_or((self.line, "".into()));
            let needed = COLUMNS[..NEEDED].contains(&column);
            if (needed || !text.is_empty()) && !fits(&text) {
                faults.push(fault(line, column, needs.to_owned()));
            }
            (!text.is_empty()).then_some(text)
        };
        let name = "needs 1 to 60 visible characters without blank, not `.TL-` at the beginning";
        let reasons = format!("needs one of {}", REASONS.join(", "));
        let reason = |text: &str| REASONS.contains(&text);
        OrderFact {
            order: field("order", is_name, name).unwrap_or_default(),
            asset: field("asset", is_name, name).unwrap_or_default(),
            reason: field("reason", reason, &reasons).unwrap_or_default(),
            wanted_by: field("wanted_by", is_date, "needs a day such as 2026-11-30"),
            remark: field("remark", plain_text, "needs 1 to 500 characters on one row"),
            ..OrderFact::default()
        }
    }
}

fn of_csv(text: &str) -> Result<Vec<Entry>, Vec<Fault>> {
    let mut rows = csv::rows(text).map_err(|fault| vec![fault])?;
    rows.retain(|row| row.iter().any(|field| !field.text.trim().is_empty()));
    let Some((heading, rows)) = rows.split_first() else { return Ok(Vec::new()) };
    let mut faults = Vec::new();
    let mut names: Vec<&str> = Vec::new();
    for field in heading {
        let name = field.text.trim();
        if let Some(why) = unknown(name) {
            faults.push(fault(field.line, &short(name), why));
        } else if names.contains(&name) {
            faults.push(fault(field.line, name, "stands twice in the heading".into()));
        }
        names.push(name);
    }
    for column in &COLUMNS[..NEEDED] {
        if !names.contains(column) {
            faults.push(fault(1, column, "this column is missing".into()));
        }
    }
    if !faults.is_empty() {
        return Err(told(faults));
    }
    let mut entries = Vec::new();
    for row in rows {
        let line = row.first().map_or(0, |field| field.line);
        if row.len() != names.len() {
            let text = format!("has {} fields, the heading {}", row.len(), names.len());
            faults.push(fault(line, "", text));
            continue;
        }
        let fields = names.iter().zip(row);
        let fields = fields
            .map(|(name, field)| ((*name).to_owned(), (field.line, field.text.trim().to_owned())));
        entries.push(Entry { line, fields: fields.collect() });
    }
    if faults.is_empty() { Ok(entries) } else { Err(told(faults)) }
}

fn of_json(text: &str) -> Result<Vec<Entry>, Vec<Fault>> {
    let no_json = |line: usize, error: &serde_json::Error| {
        let line = u32::try_from(line).unwrap_or(u32::MAX);
        vec![fault(line, "", format!("this is no JSON: {error}"))]
    };
    let list: Vec<&RawValue> = match text.trim_start().starts_with('[') {
        true => serde_json::from_str(text).map_err(|error| no_json(error.line(), &error))?,
        false => {
            vec![serde_json::from_str(text).map_err(|error| no_json(error.line(), &error))?]
        }
    };
    let (mut faults, mut entries) = (Vec::new(), Vec::new());
    for raw in list.into_iter().take(ORDERS_MAX + 1) {
        let before = (raw.get().as_ptr() as usize).saturating_sub(text.as_ptr() as usize);
        let breaks = text.as_bytes()[..before.min(text.len())].iter().filter(|b| **b == b'\n');
        let line = u32::try_from(breaks.count()).unwrap_or(u32::MAX).saturating_add(1);
        match serde_json::from_str::<Pairs>(raw.get()) {
            Ok(Pairs(pairs)) => entries.push(object(line, pairs, &mut faults)),
            Err(_) => faults.push(fault(line, "", "needs an object: {\"order\": …}".into())),
        }
    }
    if faults.is_empty() { Ok(entries) } else { Err(told(faults)) }
}

fn object(line: u32, pairs: Vec<(String, Value)>, faults: &mut Vec<Fault>) -> Entry {
    let mut fields: BTreeMap<String, (u32, String)> = BTreeMap::new();
    for (name, value) in pairs {
        if let Some(why) = unknown(&name) {
            faults.push(fault(line, &short(&name), why));
            continue;
        }
        let text = match value {
            Value::Null => continue,
            Value::String(text) => text.trim().to_owned(),
            _ => {
                faults.push(fault(line, &name, "needs text in quotes".into()));
                continue;
            }
        };
        if fields.insert(name.clone(), (line, text)).is_some() {
            faults.push(fault(line, &name, "stands twice in one object".into()));
        }
    }
    Entry { line, fields }
}

/// An object with all its keys, also those that stand twice.
struct Pairs(Vec<(String, Value)>);

impl<'de> Deserialize<'de> for Pairs {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Pairs, D::Error> {
        struct Keys;
        impl<'de> Visitor<'de> for Keys {
            type Value = Pairs;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Pairs, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    pairs.push(pair);
                }
                Ok(Pairs(pairs))
            }
        }
        from.deserialize_map(Keys)
    }
}

fn unknown(name: &str) -> Option<String> {
    if COLUMNS.contains(&name) {
        return None;
    }
    Some(match nearest(name, COLUMNS) {
        Some(meant) => format!("is no known field; did you mean `{meant}`?"),
        None => format!("is no known field; known here: {}", COLUMNS.join(", ")),
    })
}

/// The first of them, in the order of their lines.
fn told(mut faults: Vec<Fault>) -> Vec<Fault> {
    faults.sort();
    if faults.len() > FAULTS_MAX {
        faults.truncate(FAULTS_MAX);
        faults.push(fault(0, "", "more faults follow: mend these first".into()));
    }
    faults
}

fn fault(line: u32, field: &str, text: String) -> Fault {
    Fault { line, field: field.to_owned(), text }
}

fn short(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(60).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(text: &str) -> Vec<(u32, String)> {
        read(text).unwrap_err().into_iter().map(|fault| (fault.line, fault.field)).collect()
    }

    #[test]
    fn csv_and_json_say_the_same() {
        let csv = "\u{feff}order;asset;reason;wanted_by;remark\r\n\
                   WO-1;P-0107;after_repair;2026-12-01;\"new; cord\"\r\n\r\nWO-2;P-0108;scheduled;;\r\n";
        let json = "[\n {\"order\":\"WO-1\",\"asset\":\"P-0107\",\"reason\":\"after_repair\",\
                    \"wanted_by\":\"2026-12-01\",\"remark\":\"new; cord\"},\n\n \
                    {\"remark\":null,\"order\":\"WO-2\",\"asset\":\"P-0108\",\"reason\":\"scheduled\"}]";
        let (csv, json) = (read(csv).unwrap(), read(json).unwrap());
        assert_eq!(csv.iter().map(|(line, _)| *line).collect::<Vec<_>>(), [2, 4]);
        assert_eq!(csv, json);
        assert_eq!(csv[0].1.remark.as_deref(), Some("new; cord"));
        let one = r#"{"order":"WO-3","asset":"P-0107","reason":"other"}"#;
        assert_eq!(read(one).unwrap()[0].1.order, "WO-3");
    }

    #[test]
    fn every_fault_has_its_line_and_field() {
        let csv = "order,asset,reason,wanted_by\nWO 1,P-1,yearly,30.11.2026\nWO-2,,scheduled,\n\
                   WO-3,P-1,other,\nWO-3,P-1,other,\nWO-4,P-1\n";
        assert_eq!(places(csv), [(6, String::new())], "rows that are cut come first");
        let csv = csv.replace("WO-4,P-1\n", "");
        let want = [(2, "order"), (2, "reason"), (2, "wanted_by"), (3, "asset"), (5, "order")];
        assert_eq!(places(&csv), want.map(|(line, field)| (line, field.to_owned())));
        assert_eq!(places("order,aset,reason\n"), [(1, "aset".into()), (1, "asset".into())]);
        let json = "[{\"order\":\"A\",\"asset\":\"B\",\"reason\":\"other\",\n\"order\":\"C\"},\n7,\n\
                    {\"order\":12}]";
        let want = [(1, "order"), (3, ""), (4, "order")];
        assert_eq!(places(json), want.map(|(line, field)| (line, field.to_owned())));
        assert_eq!(places("[{\"order\":\n"), [(2, String::new())]);
    }

    #[test]
    fn what_is_hostile_is_refused_with_a_bound() {
        for text in ["", "\u{feff}", "[]", "order,asset,reason\n", "\0\u{1b}[2J"] {
            assert!(read(text).is_err(), "{text:?}");
        }
        let deep = "[".repeat(100_000);
        assert!(read(&deep).is_err());
        let row = |n: usize| format!("WO-{n},P-1,other\n");
        let many: String = (0..=ORDERS_MAX).map(row).collect();
        assert!(read(&format!("order,asset,reason\n{many}")).unwrap_err()[0].text.contains("1000"));
        let wrong: String = (0..500).map(|n| format!("WO-{n},P-1,\u{1b}[31m\n")).collect();
        let faults = read(&format!("order,asset,reason\n{wrong}")).unwrap_err();
        assert_eq!(faults.len(), FAULTS_MAX + 1);
        assert!(faults.iter().all(|fault| !fault.text.chars().any(char::is_control)));
        assert!(read(&"x".repeat(FILE_BYTES_MAX + 1)).is_err());
        let remark =
            "[{\"order\":\"A\",\"asset\":\"B\",\"reason\":\"other\",\"remark\":\"\\u001b[2J\"}]";
        assert_eq!(places(remark), [(1, "remark".into())]);
    }
}
