//! Reading values of before from CSV.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Number, Unit};

use super::Former;
use crate::amount::Amount;
use crate::fault::Fault;
use crate::limits::quantity_of;
use crate::read::{is_date, is_decimal, nearest};
use crate::register::assets::{Columns, DAY, ListMap, Row, read_list, short};
use crate::terms;

/// A list of values of before. What is not known of a value is left empty.
pub static FORMER: Columns = Columns {
    map: "tapline-values-map-",
    needed: &["asset", "day", "measurand", "value", "unit", "source"],
    more: &["method", "kind", "point", "condition", "measured_by", "meter", "remark", "withdrawn"],
    dated: &["day"],
    decimal: &["value"],
};

/// Longest text of a field, characters: a line of the book holds several values.
const CHARS_MAX: usize = 100;

/// Values of a list, each with its line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormerList {
    /// The values.
    pub values: Vec<(u32, Former)>,
    /// Rows that have none: nobody measured there.
    pub without: u64,
}

/// Reads values of before: CSV with a row of column names, of a list whose columns have the names
/// that a map gives. A row whose value is empty is passed over and counted, as lists of whole
/// inspections have them.
///
/// # Errors
/// All faults at once, each with its line and column.
pub fn read_former(text: &str, map: Option<&ListMap>) -> Result<FormerList, Vec<Fault>> {
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    let mut without = 0;
    let list = read_list(text, map, &FORMER, |row| {
        if row.field("value").is_empty() {
            without += 1;
            return None;
        }
        let former = row.former()?;
        if let Some(line) = seen.insert(former.id.clone(), row.line()) {
            let text = "the same measurement stands on line";
            let next = "tell them apart by point or condition, or leave one out";
            row.fault("value", format!("{text} {line} already: {next}"));
        }
        Some((row.line(), former))
    })?;
    Ok(FormerList { values: list.entries, without })
}

impl Row<'_> {
    fn former(&self) -> Option<Former> {
        let measurand = self.term("measurand", "measurand");
        let method = self.method(measurand.as_deref());
        let kind = self.may_term("kind", "kind");
        let day = self.checked("day", is_date, DAY);
        if self.field("day").is_empty() {
            self.fault("day", format!("is empty: it {DAY}"));
        }
        let (bound, value) = self.bounded(measurand.as_deref());
        let source = self.line_of_text("source");
        if source.is_empty() {
            self.fault("source", "is empty: say where the value stands, such as a folder".into());
        }
        let withdrawn = Some(self.line_of_text("withdrawn")).filter(|why| !why.is_empty());
        let (point, condition) = (self.label("point"), self.label("condition"));
        let [measured_by, meter, remark] =
            ["measured_by", "meter", "remark"].map(|column| self.line_of_text(column));
        let asset = self.id();
        let mut former = Former {
            id: String::new(),
            asset: asset?,
            day: day?,
            measurand: measurand?,
            method,
            kind,
            point,
            condition,
            bound,
            value: value?,
            source,
            measured_by,
            meter,
            remark,
            withdrawn,
        };
        former.id = former.named();
        Some(former)
    }

    fn method(&self, measurand: Option<&str>) -> Option<String> {
        match measurand {
            Some(measurand) => self.may_term("method", &format!("method.{measurand}")),
            None => self.may_term("method", "method"),
        }
    }

    fn may_term(&self, column: &str, list: &str) -> Option<String> {
        if self.field(column).is_empty() { None } else { self.term(column, list) }
    }

    /// A word of a closed list.
    fn term(&self, column: &str, list: &str) -> Option<String> {
        let text = self.field(column);
        let choices = terms::choices(list);
        if choices.contains(&text) {
            return Some(text.to_string());
        }
        let known = choices.join(", ");
        let near = nearest(text, choices.iter().copied());
        let near = near.map(|near| format!("; did you mean `{near}`?")).unwrap_or_default();
        self.fault(
            column,
            match text.is_empty() {
                true => format!("is empty; known here: {known}"),
                false => format!("unknown word `{}`{near}; known here: {known}", short(text)),
            },
        );
        None
    }

    /// `0.182`, `> 200`, `<10`.
    fn bounded(&self, measurand: Option<&str>) -> (Option<String>, Option<Amount>) {
        let text = self.field("value");
        let (bound, digits) = match (text.strip_prefix('>'), text.strip_prefix('<')) {
            (Some(rest), _) => (Some("above"), rest.trim_start()),
            (_, Some(rest)) => (Some("below"), rest.trim_start()),
            _ => (None, text),
        };
        let number = Number::parse(digits).filter(|_| is_decimal(digits));
        if number.is_none() {
            let needs = "needs a decimal of at most 15 digits, with a point: 0.182, > 200, < 10";
            self.fault("value", format!("`{}` {needs}", short(text)));
        }
        let amount = number.zip(self.unit(measurand)).map(|(number, unit)| Amount { number, unit });
        (bound.map(String::from), amount)
    }

    fn unit(&self, measurand: Option<&str>) -> Option<Unit> {
        let code = self.field("unit");
        let wanted = measurand.map(quantity_of);
        let fits = |unit: &Unit| wanted.is_none_or(|wanted| unit.quantity == wanted);
        let found = Unit::from_ucum(code);
        if found.is_none_or(|unit| !fits(&unit)) {
            let all: Vec<&str> = Unit::all().filter(fits).map(Unit::ucum).collect();
            let what = if found.is_some() { "is another quantity" } else { "is no unit" };
            self.fault("unit", format!("`{}` {what}: {}", short(code), all.join(", ")));
        }
        found.filter(fits)
    }

    /// Text of one row.
    fn line_of_text(&self, column: &str) -> String {
        let text = self.field(column);
        if text.chars().any(char::is_control) {
            self.fault(column, "holds a line break or another control character".into());
        } else if text.chars().count() > CHARS_MAX {
            self.fault(column, format!("is longer than {CHARS_MAX} characters"));
        }
        text.to_string()
    }

    /// Text that names a measurement.
    fn label(&self, column: &str) -> String {
        if self.field(column).contains('|') {
            self.fault(column, "holds a `|`: one value has one of it".into());
        }
        self.line_of_text(column)
    }
}
