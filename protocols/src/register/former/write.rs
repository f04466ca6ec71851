//! Writing values of before as CSV.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::{FORMER, Former};
use crate::register::assets::{may, quoted};

/// Values of before as CSV: every column, separated by `,`, rows ended by CR LF, a field in quotes
/// where it needs them (RFC 4180). [`super::read_former`] reads the same from it.
#[must_use]
pub fn write_former<'a>(values: impl IntoIterator<Item = &'a Former>) -> String {
    let columns: Vec<&str> = FORMER.all().collect();
    let mut text = columns.join(",");
    text.push_str("\r\n");
    for one in values {
        let row: Vec<String> = columns.iter().map(|column| quoted(cell(one, column))).collect();
        text.push_str(&row.join(","));
        text.push_str("\r\n");
    }
    text
}

fn cell(one: &Former, column: &str) -> String {
    match column {
        "asset" => one.asset.clone(),
        "day" => one.day.clone(),
        "measurand" => one.measurand.clone(),
        "value" => {
            let digits = one.value.number.text().to_string();
            match one.bound.as_deref() {
                Some("above") => format!("> {digits}"),
                Some(_) => format!("< {digits}"),
                None => digits,
            }
        }
        "unit" => one.value.unit.ucum().into(),
        "source" => one.source.clone(),
        "method" => may(one.method.as_ref()),
        "kind" => may(one.kind.as_ref()),
        "point" => one.point.clone(),
        "condition" => one.condition.clone(),
        "measured_by" => one.measured_by.clone(),
        "meter" => one.meter.clone(),
        "remark" => one.remark.clone(),
        "withdrawn" => may(one.withdrawn.as_ref()),
        _ => String::new(),
    }
}
