//! The limit of a step: its key from plan and asset, its row from the tables in force.

use super::model::Step;
use super::steps::{Settings, Switch};
use crate::limits::{Key, NoRow, Row, Table};
use crate::register::{Class, Kind, PartType};

/// What selects a limit, as a step of a plan and an asset give it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LimitKey<'a> {
    pub(super) standard: &'a str,
    pub(super) edition: &'a str,
    pub(super) measurand: &'a str,
    pub(super) method: &'a str,
    pub(super) class: Class,
    pub(super) part: Option<PartType>,
    pub(super) condition: &'a str,
    pub(super) kind: Kind,
}

impl LimitKey<'_> {
    pub(super) fn class_word(&self) -> &'static str {
        class_word(self.class)
    }

    pub(super) fn part_word(&self) -> Option<&'static str> {
        self.part.map(part_word)
    }

    /// The one row in the table of the standard's edition.
    pub(super) fn row<'t>(&self, tables: &'t [Table]) -> Result<&'t Row, NoRow> {
        let own = |t: &&Table| t.standard == self.standard && t.edition == self.edition;
        let table = tables.iter().find(own).ok_or(NoRow::NoLimit)?;
        table.find(&Key {
            measurand: self.measurand,
            method: Some(self.method),
            class: Some(class_word(self.class)),
            applied_part: Some(self.part.map_or("none", part_word)),
            condition: Some(self.condition),
            kind: Some(kind_word(self.kind)),
        })
    }
}

/// The word of a condition: the step's own, else one opened conductor is a single fault.
pub(crate) fn condition<'a>(step: &'a Step, set: &Settings) -> &'a str {
    if let Some(word) = &step.condition {
        return word;
    }
    let open = |switch| set.get(&switch).is_some_and(|word| word == "open");
    match set.is_empty() {
        true => "none",
        false if open(Switch::S1) || open(Switch::S7) => "single_fault",
        false => "normal",
    }
}

/// The closed word of a class.
pub(crate) fn class_word(class: Class) -> &'static str {
    match class {
        Class::I => "I",
        Class::II => "II",
        Class::III => "III",
        Class::Internal => "internal",
        Class::System => "system",
    }
}

/// The closed word of a type of applied part.
pub(crate) fn part_word(part: PartType) -> &'static str {
    match part {
        PartType::B => "B",
        PartType::BF => "BF",
        PartType::CF => "CF",
    }
}

/// The closed word of a kind.
pub(crate) fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Ac => "ac",
        Kind::Dc => "dc",
        Kind::Peak => "peak",
    }
}
