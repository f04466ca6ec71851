//! Every row of a site's tables, judged around its value.

use tapline_drivers::{Indication, Number};
use tapline_protocols::amount::Amount;
use tapline_protocols::fact::Word;
use tapline_protocols::judge::{Besides, Confirmed, Measured, Question, RuleAsked, ask};
use tapline_protocols::limits::{Direction, Key, Row, Table};
use tapline_protocols::register::{Gives, Kind};

/// What came of a table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Judged {
    /// Rows.
    pub rows: usize,
    /// Rows that another layer's row stands over: that one is judged.
    pub under: usize,
    /// Judgements.
    pub judged: usize,
    /// Those that came out wrong, in words.
    pub wrong: Vec<String>,
}

/// Judges each row just below, at and just above its value, as it stands and with the limit itself
/// on the other side.
#[must_use]
pub fn judge(table: &Table) -> Judged {
    let mut judged = Judged { rows: table.rows.len(), ..Judged::default() };
    let mut table = table.clone();
    for at in 0..table.rows.len() {
        let own = table.rows[at].bound.inclusive;
        let found = [own, !own].into_iter().all(|inclusive| {
            table.rows[at].bound.inclusive = inclusive;
            let row = table.rows[at].clone();
            around(&table, &row, &mut judged)
        });
        table.rows[at].bound.inclusive = own;
        judged.under += usize::from(!found);
    }
    judged
}

/// `false`: the key of the row finds another row.
fn around(table: &Table, row: &Row, judged: &mut Judged) -> bool {
    let limit = row.bound.amount.number;
    let fine = |more: i64| {
        let digits = limit.digits.checked_mul(1000)?.checked_add_signed(more)?;
        Some(Number { negative: false, digits, exponent: limit.exponent.checked_sub(3)? })
    };
    for (number, side) in [(fine(-1), -1), (Some(limit), 0), (fine(1), 1)] {
        let Some(number) = number else { continue };
        let good = match row.bound.direction {
            Direction::Max => side < 0,
            Direction::Min => side > 0,
        };
        let conforms = good || (side == 0 && row.bound.inclusive);
        let want = if conforms { Word::Pass } else { Word::Fail };
        let came = ask(&question(row, number), table);
        if came.limit.as_ref().is_some_and(|used| used.id != row.id) {
            return false;
        }
        judged.judged += 1;
        if came.verdict != want {
            let (id, value, word) = (&row.id, number.text(), came.verdict);
            judged.wrong.push(format!("{id}: {value} gives {word:?}"));
        }
    }
    true
}

/// A value of a proved path, judged simply.
fn question(row: &Row, number: Number) -> Question<'_> {
    let amount = |text: &str| Amount::parse(text).ok();
    let unit = row.bound.amount.unit;
    Question {
        key: Key {
            measurand: &row.measurand,
            method: Some(&row.method),
            class: row.class.first().map(String::as_str),
            applied_part: row.applied_part.first().map(String::as_str),
            condition: row.condition.first().map(String::as_str),
            kind: row.kind.first().map(String::as_str),
        },
        values: vec![Measured { proved: true, ..Measured::new(Indication::Value(number), unit) }],
        correct: Vec::new(),
        mains: None,
        gives: Some(Gives {
            test_current: amount("25 A"),
            open_circuit: amount("6 V"),
            test_voltage: amount("500 V"),
            kind: Kind::Dc,
        }),
        accuracy: None,
        besides: Besides::default(),
        certificate: None,
        resolution: None,
        rule: RuleAsked::Simple,
        confirmed: Confirmed::Here,
        unweighted: false,
        off: None,
        first_list: false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::station::Library;

    #[test]
    fn every_row_that_comes_with_the_program_is_judged_six_times() {
        let mut rows = 0;
        for table in Library::builtin().unwrap().tables() {
            let judged = judge(table);
            assert_eq!(judged.wrong, Vec::<String>::new(), "{} {}", table.standard, table.edition);
            assert_eq!((judged.under, judged.judged), (0, 6 * judged.rows));
            rows += judged.rows;
        }
        assert!(rows > 100, "{rows}");
    }
}
