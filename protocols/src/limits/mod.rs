//! Limits: tables of rows, each with its key, value, clause and how sure we are of it.
//!
//! A row is found by a key of closed words ([`crate::terms`]). One key has one row: a table with
//! two rows for one key is refused when it is read, and a key with a missing word that decides
//! between rows is an error which names that word's choices.

mod computed;
mod find;
mod layer;
mod over;
mod read;
mod supply;
mod write;

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::Quantity;

use crate::amount::Amount;
use crate::exact::{Arithmetic, Ratio};
use crate::fault::Fault;

pub use computed::{Count, Plus, Size};
pub use find::{Key, NoRow};
pub use layer::{Approval, Layer, Scope};
pub use supply::{Supply, at_110_percent, quantity_of};

/// The tables that come with the program: standard, edition, text.
const BUILTIN: &[(&str, &str, &str)] = &[
    ("IEC 62353", "2014", include_str!("../../limits/iec62353-2014.toml")),
    ("IEC 62353", "2007", include_str!("../../limits/iec62353-2007.toml")),
    ("DIN VDE 0751-1", "2001-10", include_str!("../../limits/din-vde-0751-1-2001.toml")),
    ("IEC 60601-1", "2005+A1:2012+A2:2020", include_str!("../../limits/iec60601-1-2005.toml")),
    ("IEC 60601-1", "1988+A1+A2", include_str!("../../limits/iec60601-1-1988.toml")),
    ("UL 60601-1", "2nd edition", include_str!("../../limits/ul60601-1.toml")),
    ("NFPA 99", "2012", include_str!("../../limits/nfpa99-2012.toml")),
    ("NFPA 99", "2005", include_str!("../../limits/nfpa99-2005.toml")),
    ("AS/NZS 3551", "2012", include_str!("../../limits/asnzs3551-2012.toml")),
    ("AS/NZS 3003", "2003", include_str!("../../limits/asnzs3003-2003.toml")),
    ("DGUV Information 203-071", "2016-era table", include_str!("../../limits/dguv203-071.toml")),
    ("IEC 61010-1", "2010+A1:2016", include_str!("../../limits/iec61010-1-2010.toml")),
    ("IEC 60065", "7th edition", include_str!("../../limits/iec60065.toml")),
];

/// Limits of one edition of one standard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Standard, `IEC 62353`.
    pub standard: String,
    /// Edition, `2014`.
    pub edition: String,
    /// Rows in the order of the file.
    pub rows: Vec<Row>,
    /// SHA-256 of the whole table's text, hex; empty until [`Table::with_hash`].
    pub sha256: String,
}

impl Table {
    /// Text of the table that comes with the program; its hash is the table's name in verdicts.
    #[must_use]
    pub fn builtin(standard: &str, edition: &str) -> Option<&'static str> {
        let same = |(s, e, _): &&(&str, &str, &str)| *s == standard && *e == edition;
        BUILTIN.iter().find(same).map(|(_, _, text)| *text)
    }

    /// Editions of a standard that come with the program.
    #[must_use]
    pub fn editions(standard: &str) -> Vec<&'static str> {
        BUILTIN.iter().filter(|(s, ..)| *s == standard).map(|(_, e, _)| *e).collect()
    }

    /// Standard and edition of each table that comes with the program.
    pub fn all() -> impl Iterator<Item = (&'static str, &'static str)> {
        BUILTIN.iter().map(|(standard, edition, _)| (*standard, *edition))
    }

    /// Reads a table of format `tapline-limits-1`.
    ///
    /// # Errors
    /// All faults of the text with their lines: syntax, unknown keys and words, a limit that is
    /// no amount, two rows with one key or one id.
    pub fn parse(text: &str) -> Result<Table, Vec<Fault>> {
        read::table(text)
    }

    /// Names the text that the rows come from by its SHA-256, hex.
    #[must_use]
    pub fn with_hash(mut self, sha256: &str) -> Table {
        self.sha256 = sha256.into();
        self
    }

    /// A row by its id.
    #[must_use]
    pub fn row(&self, id: &str) -> Option<&Row> {
        self.rows.iter().find(|row| row.id == id)
    }

    /// Every row stands over the standard's own: it is a layer, and no table by itself.
    #[must_use]
    pub fn is_layer(&self) -> bool {
        self.rows.iter().all(|row| row.layer != Layer::Standard)
    }

    /// Text of some rows that [`Table::parse`] reads back equal, so that a record which holds it
    /// stands alone.
    #[must_use]
    pub fn text_of(&self, rows: &[&Row]) -> String {
        write::table(self, rows)
    }
}

/// One limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// For ever.
    pub id: String,
    /// Clause of the standard: a property, not part of the key.
    pub clause: String,
    /// Measurand.
    pub measurand: String,
    /// Method.
    pub method: String,
    /// Protection classes; an empty list of words plays no part in finding the row.
    pub class: Vec<String>,
    /// Types of applied part.
    pub applied_part: Vec<String>,
    /// Conditions.
    pub condition: Vec<String>,
    /// `ac`, `dc`.
    pub kind: Vec<String>,
    /// The limit itself.
    pub bound: Bound,
    /// Where the value was read.
    pub source: Vec<String>,
    /// How sure we are of it.
    pub confidence: Confidence,
    /// What edition the source itself prints.
    pub source_edition: String,
    /// Leakage: `weighted` or `unweighted`.
    pub basis: Option<String>,
    /// How the limit grows with a size of the asset.
    pub plus: Option<Plus>,
    /// How the limit was computed for an asset, in words; it is then no longer `plus`.
    pub computed: Option<String>,
    /// Who says so: the standard, the workshop over it, the maker over both.
    pub layer: Layer,
}

impl Row {
    /// A largest resistance: it shows its path by itself, as nothing is good because nothing
    /// flows.
    #[must_use]
    pub fn is_low_resistance(&self) -> bool {
        self.bound.direction == Direction::Max && self.bound.quantity() == Quantity::Ohm
    }
}

/// Value and direction of a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bound {
    /// Which side conforms.
    pub direction: Direction,
    /// The limit itself conforms.
    pub inclusive: bool,
    /// The value.
    pub amount: Amount,
}

impl Bound {
    /// The limit as a ratio in another prefix of its own unit, given by its power of ten.
    ///
    /// # Errors
    /// When it has no room.
    pub fn ratio(&self, exponent: i8) -> Result<Ratio, Arithmetic> {
        let own = self.amount.unit.prefix.exponent();
        Ratio::of(self.amount.number)?.shifted(i32::from(own) - i32::from(exponent))
    }

    /// What it is a limit of.
    #[must_use]
    pub fn quantity(&self) -> Quantity {
        self.amount.unit.quantity
    }
}

/// Which side of a limit conforms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Direction {
    /// Values up to it.
    Max,
    /// Values from it.
    Min,
}

impl Direction {
    /// `max` or `min`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Direction::Max => "max",
            Direction::Min => "min",
        }
    }
}

/// How sure we are of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Confidence {
    /// Two independent sources.
    TwoSources,
    /// One source.
    OneSource,
    /// From memory: unconfirmed until the workshop has read it in its own copy.
    Memory,
}

impl Confidence {
    /// The closed word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Confidence::TwoSources => "two_sources",
            Confidence::OneSource => "one_source",
            Confidence::Memory => "memory",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms;
    use alloc::collections::BTreeSet;

    fn builtin() -> Table {
        Table::parse(Table::builtin("IEC 62353", "2014").unwrap()).unwrap()
    }

    fn all() -> impl Iterator<Item = Table> {
        Table::all().map(|(s, e)| Table::parse(Table::builtin(s, e).unwrap()).unwrap())
    }

    /// Every combination of the words that rows of a measurand could be asked by.
    fn combinations(measurand: &str, mut each: impl FnMut(Key<'_>)) {
        for method in terms::choices(&alloc::format!("method.{measurand}")) {
            for class in terms::choices("class") {
                for part in terms::choices("applied_part") {
                    for condition in terms::choices("condition") {
                        for kind in terms::choices("kind") {
                            each(Key {
                                measurand,
                                method: Some(method),
                                class: Some(class),
                                applied_part: Some(part),
                                condition: Some(condition),
                                kind: Some(kind),
                            });
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn every_key_reaches_at_most_one_row_and_every_row_is_reached() {
        for table in all() {
            let mut reached = BTreeSet::new();
            let measurands: BTreeSet<&String> = table.rows.iter().map(|r| &r.measurand).collect();
            for measurand in measurands {
                combinations(measurand, |key| {
                    let by_hand: Vec<_> = table.rows.iter().filter(|r| holds(r, &key)).collect();
                    match table.find(&key) {
                        Ok(row) => {
                            assert_eq!(by_hand, [row], "{key:?}");
                            reached.insert(row.id.clone());
                        }
                        Err(NoRow::Many { ids }) => panic!("{key:?} reaches {ids:?}"),
                        Err(_) => assert!(by_hand.is_empty(), "{key:?}"),
                    }
                });
            }
            assert_eq!(reached.len(), table.rows.len(), "{} {}", table.standard, table.edition);
        }
    }

    #[test]
    fn a_table_bears_the_standard_and_edition_it_is_found_by_and_ids_are_its_own() {
        let mut ids = BTreeSet::new();
        for (standard, edition) in Table::all() {
            let table = Table::parse(Table::builtin(standard, edition).unwrap()).unwrap();
            assert_eq!((table.standard.as_str(), table.edition.as_str()), (standard, edition));
            assert!(terms::known("standard", standard));
            for row in table.rows {
                assert_eq!(row.layer, Layer::Standard, "{}", row.id);
                assert!(ids.insert(row.id.clone()), "{} stands in two tables", row.id);
            }
        }
    }

    fn holds(row: &Row, key: &Key<'_>) -> bool {
        let plays = |list: &[String], word: Option<&str>| {
            list.is_empty() || list.iter().any(|w| Some(w.as_str()) == word)
        };
        row.measurand == key.measurand
            && Some(row.method.as_str()) == key.method
            && plays(&row.class, key.class)
            && plays(&row.applied_part, key.applied_part)
            && plays(&row.condition, key.condition)
            && plays(&row.kind, key.kind)
    }

    /// Counted in the source list of the standard's rows: 6 protective earth, 11 insulation,
    /// 6 equipment leakage, 4 applied part leakage, 1 touch current.
    #[test]
    fn iec_62353_has_28_rows() {
        let table = builtin();
        let count = |m: &str| table.rows.iter().filter(|row| row.measurand == m).count();
        assert_eq!(table.rows.len(), 28);
        assert_eq!(count("protective_earth_resistance"), 6);
        assert_eq!(count("insulation_resistance"), 11);
        assert_eq!(count("equipment_leakage"), 6);
        assert_eq!(count("applied_part_leakage"), 4);
        assert_eq!(count("touch_current"), 1);
    }

    #[test]
    fn rows_say_where_they_come_from() {
        for row in all().flat_map(|table| table.rows) {
            let seen = row.source.iter().any(|s| s.ends_with("excerpt seen"));
            match row.confidence {
                Confidence::Memory => assert_eq!(row.source_edition, "from memory", "{}", row.id),
                _ => assert!(seen, "{}", row.id),
            }
            let last = |s: &str| s.ends_with("excerpt seen") || s.ends_with("from memory");
            assert!(row.source.iter().all(|s| last(s)), "{}", row.id);
            assert_eq!(row.basis.is_some(), row.bound.quantity() == Quantity::Ampere, "{}", row.id);
        }
    }

    #[test]
    fn a_subset_reads_back_equal() {
        for table in all() {
            let rows: Vec<_> = table.rows.iter().collect();
            assert_eq!(Table::parse(&table.text_of(&rows)).unwrap().rows, table.rows);
        }
        let table = builtin();
        for rows in [table.rows.iter().collect::<Vec<_>>(), table.rows.iter().take(3).collect()] {
            let again = Table::parse(&table.text_of(&rows)).unwrap();
            assert_eq!(again.rows.iter().collect::<Vec<_>>(), rows);
            assert_eq!((again.standard, again.edition), ("IEC 62353".into(), "2014".into()));
        }
    }
}
