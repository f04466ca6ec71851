//! Every row of a site's tables, judged around its value.

use tapline_drivers::Number;
use tapline_protocols::fact::Word;
use tapline_protocols::judge::{ask, trial};
use tapline_protocols::limits::{Direction, Row, Table};

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
        let came = ask(&trial(row, number, row.bound.amount.unit), table);
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
