//! An asset described field by field, as the form of an unknown one is filled in.

use alloc::collections::BTreeMap;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::cell::RefCell;

use super::read::{COLUMNS_MORE, COLUMNS_NEEDED};
use super::row::Row;
use crate::fault::Fault;
use crate::read::csv::Field;
use crate::register::Asset;

/// What stands for a field that must be told, while it is not: it is never stored.
const UNTOLD: [(&str, &str); 6] = [
    ("asset", "untold"),
    ("description", "untold"),
    ("class", "I"),
    ("functional_earth", "no"),
    ("cord", "detachable"),
    ("switching_supply", "no"),
];

/// The asset that fields come to; each as its column of the list is written. Fields that must be
/// told and are not have something in their place: whoever stores it asks for all of them before.
///
/// # Errors
/// All faults of the fields told, without lines.
pub fn read_asset_form(told: &BTreeMap<String, String>) -> Result<Asset, Vec<Fault>> {
    let faults = RefCell::new(Vec::new());
    let all = COLUMNS_NEEDED.into_iter().chain(COLUMNS_MORE);
    let columns: BTreeMap<&str, usize> = all.enumerate().map(|(at, name)| (name, at)).collect();
    let mut fields: Vec<Field> = columns.iter().map(|_| Field::default()).collect();
    for (name, at) in &columns {
        let untold = UNTOLD.iter().find(|(column, _)| column == name).map(|(_, text)| *text);
        let text = told.get(*name).map(String::as_str).or(untold).unwrap_or_default();
        fields[*at].text = text.to_string();
    }
    let asset = Row { columns: &columns, fields: &fields, faults: &faults }.asset();
    let faults = faults.into_inner();
    asset.filter(|_| faults.is_empty()).ok_or(faults)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::register::{Class, Cord};

    fn read(told: &[(&str, &str)]) -> Result<Asset, Vec<String>> {
        let told = told.iter().map(|(name, text)| ((*name).into(), (*text).into())).collect();
        read_asset_form(&told).map_err(|faults| faults.into_iter().map(|f| f.field).collect())
    }

    #[test]
    fn fields_that_are_told_are_held_to_the_rules_of_the_list() {
        let lamp = read(&[("asset", "N-1"), ("class", "II"), ("cord", "fixed")]).unwrap();
        assert_eq!((lamp.id.as_str(), lamp.class, lamp.cord), ("N-1", Class::II, Cord::Fixed));
        let faults = read(&[("class", "IV"), ("applied_parts", "x"), ("due", "soon")]);
        assert_eq!(faults.unwrap_err(), ["class", "applied_parts", "due"]);
        assert!(read(&[("cords", "C-1")]).is_ok(), "the cord is not told yet");
        assert_eq!(read(&[("cords", "C-1"), ("cord", "none")]).unwrap_err(), ["cords"]);
    }
}
