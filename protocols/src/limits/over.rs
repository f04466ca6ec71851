//! What a workshop lays over the tables of standards: what has to be said of it, and when it is
//! laxer than what lies under it.

use alloc::format;
use alloc::string::String;
use core::cmp::Ordering;

use super::{Direction, Layer, Row, Scope, Table};
use crate::correct::amount_in;
use crate::exact::Arithmetic;

impl Table {
    /// Lays the rows of another table of the same edition over these: those of the workshop, or of
    /// a maker.
    ///
    /// # Errors
    /// What keeps them from being one table: two rows with one id, or with one key in one layer; a
    /// row that is laxer than one under it and has no second person; a maker's without its name.
    pub fn lay_over(&mut self, other: Table) -> Result<(), String> {
        for row in other.rows {
            if self.row(&row.id).is_some() {
                return Err(format!("two rows have the id `{}`", row.id));
            }
            if let Some(same) = self.rows.iter().find(|same| same.overlaps(&row)) {
                return Err(format!(
                    "`{}` and `{}` share a key: one key, one row",
                    same.id, row.id
                ));
            }
            row.owned()?;
            let under = |under: &&Row| under.layer.rank() < row.layer.rank() && under.touches(&row);
            for under in self.rows.iter().filter(under) {
                row.stands_for_it(under)?;
            }
            self.rows.push(row);
        }
        Ok(())
    }
}

impl Row {
    /// Models of two makers may bear one name.
    fn owned(&self) -> Result<(), String> {
        match &self.layer {
            Layer::Maker(_, Scope::Model { model, maker: None }) => Err(format!(
                "`{}` is for the model `{model}`: name its `maker`, as another one may have a \
                 model of that name",
                self.id
            )),
            _ => Ok(()),
        }
    }

    fn stands_for_it(&self, under: &Row) -> Result<(), String> {
        let Some(approval) = self.layer.approval() else { return Ok(()) };
        let second = approval.second.as_ref().is_some_and(|second| *second != approval.by);
        if second || !self.laxer_than(under).unwrap_or(true) {
            return Ok(());
        }
        let (theirs, ours) = (under.bound_in_words(), self.bound_in_words());
        Err(format!(
            "`{}` ({ours}) is laxer than `{}` ({theirs}): somebody else than `{}` stands for it, \
             too: `second = …`",
            self.id, under.id, approval.by
        ))
    }

    /// Something conforms to this limit that does not conform to the other.
    fn laxer_than(&self, other: &Row) -> Result<bool, Arithmetic> {
        let (mine, theirs) = (&self.bound, &other.bound);
        if mine.direction != theirs.direction {
            return Ok(true);
        }
        // What grows with the asset is as lax as it can become, unless both grow alike.
        let most = match &self.plus {
            Some(plus) if self.plus != other.plus => plus.up_to,
            _ => mine.amount,
        };
        let unit = theirs.amount.unit;
        let order = amount_in(most, unit)?.compare(amount_in(theirs.amount, unit)?)?;
        Ok(match (order, mine.direction) {
            (Ordering::Equal, _) => mine.inclusive && !theirs.inclusive,
            (order, Direction::Max) => order == Ordering::Greater,
            (order, Direction::Min) => order == Ordering::Less,
        })
    }

    /// The limit in words: `at most 0.300 Ohm`.
    #[must_use]
    pub fn bound_in_words(&self) -> String {
        let sign = match (self.bound.direction, self.bound.inclusive) {
            (Direction::Max, true) => "at most",
            (Direction::Max, false) => "below",
            (Direction::Min, true) => "at least",
            (Direction::Min, false) => "above",
        };
        format!("{sign} {}", self.bound.amount)
    }

    /// What is read when the row is held against a document: what it is for, and its limit.
    /// `insulation_resistance, mains_to_earth, I, dc: at least 2 MOhm`.
    #[must_use]
    pub fn in_words(&self) -> String {
        let mut text = format!("{}, {}", self.measurand, self.method);
        for words in [&self.class, &self.applied_part, &self.condition, &self.kind] {
            if !words.is_empty() {
                text.push_str(", ");
                text.push_str(&words.join(" or "));
            }
        }
        text.push_str(": ");
        text.push_str(&self.bound_in_words());
        if let Some(plus) = &self.plus {
            text.push_str(" and ");
            text.push_str(&plus.in_words());
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    /// 500 uA of equipment leakage (a table maker's manual, excerpt seen), and a row over it.
    fn laid(max: &str, layer: &str) -> Result<(), String> {
        let text = Table::builtin("IEC 62353", "2014").unwrap();
        let mut table = Table::parse(text).unwrap();
        let row = table.row("iec62353-2014.equipment.direct.i").unwrap().clone();
        let text = table.text_of(&[&row]).replace(&row.id, "our.row");
        let text = text.replace("max = \"500 uA\"", max);
        let over = format!(
            "{text}approved_by = \"K. Vogt\"\nreason = \"ours\"\n\
                            date = \"2026-11-24\"\n{layer}\n"
        );
        let over = Table::parse(&over).map_err(|f| f[0].to_string())?;
        table.lay_over(over)
    }

    #[test]
    fn a_laxer_limit_has_a_second_person() {
        let site = "layer = \"site\"";
        let stricter =
            ["max = \"500 uA\"", "max_below = \"500 uA\"", "max = \"0.5 mA\"", "max = \"1 nA\""];
        for max in stricter {
            assert_eq!(laid(max, site), Ok(()), "{max}");
        }
        for max in ["max = \"501 uA\"", "max = \"0.5001 mA\"", "min = \"1 uA\"", "max = \"500 A\""]
        {
            let why = laid(max, site).unwrap_err();
            assert!(why.starts_with("`our.row` (") && why.contains("is laxer than"), "{why}");
            let himself = format!("{site}\nsecond = \"K. Vogt\"");
            assert!(laid(max, &himself).is_err(), "the same person is no second one");
            assert_eq!(laid(max, &format!("{site}\nsecond = \"R. Ohm\"")), Ok(()), "{max}");
        }
        // The guide for the strict form: the limit itself conforms to the laxer one alone.
        let grown = "max = \"400 uA\"\nplus = { each = \"1\", of = \"heating_kw\", beyond = \"1\", \
                     add = \"100 uA\", count = \"full\", up_to = \"900 uA\" }";
        assert!(laid(grown, site).unwrap_err().contains("is laxer"));
    }

    #[test]
    fn a_makers_limit_is_of_one_maker() {
        let model = "layer = \"maker\"\nmodel = \"2000\"";
        assert!(laid("max = \"1 uA\"", model).unwrap_err().contains("name its `maker`"));
        let named = format!("{model}\nmaker = \"Quellhof Works\"");
        assert_eq!(laid("max = \"1 uA\"", &named), Ok(()));
        assert_eq!(laid("max = \"1 uA\"", "layer = \"maker\"\nasset = \"P-1\""), Ok(()));
        let lax = laid("max = \"1 mA\"", &named).unwrap_err();
        assert!(lax.contains("`our.row` (at most 1 mA) is laxer"), "{lax}");
    }

    #[test]
    fn a_row_in_words_says_what_it_is_for() {
        let text = Table::builtin("DGUV Information 203-071", "2016-era table").unwrap();
        let table = Table::parse(text).unwrap();
        assert_eq!(
            table.row("dguv203-071.conductor").unwrap().in_words(),
            "protective_conductor_resistance, plug_to_part, I, ac or dc: at most 0.3 Ohm and 0.1 Ohm \
             for each full 7.5 m beyond 5 m, at most 1.0 Ohm"
        );
    }
}
