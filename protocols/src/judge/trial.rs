//! A question that lacks nothing, to try a row of a table with.

use alloc::string::String;
use alloc::vec::Vec;

use tapline_drivers::{Indication, Number, Unit};

use super::{Confirmed, Measured, Question, RuleAsked};
use crate::amount::Amount;
use crate::limits::{Key, Row};
use crate::register::{Gives, Kind};

/// One value of a proved path against a row that was confirmed, judged simply, as an instrument
/// took it that the row's standard allows: only the number decides. The key asks for the first of
/// the row's words each.
#[must_use]
pub fn trial(row: &Row, number: Number, unit: Unit) -> Question<'_> {
    let amount = |text: &str| Amount::parse(text).ok();
    let value = Measured { proved: true, ..Measured::new(Indication::Value(number), unit) };
    Question {
        key: Key {
            measurand: &row.measurand,
            method: Some(&row.method),
            class: first(&row.class),
            applied_part: first(&row.applied_part),
            condition: first(&row.condition),
            kind: first(&row.kind),
        },
        values: Vec::from([value]),
        gives: Some(Gives {
            test_current: amount("25 A"),
            open_circuit: amount("6 V"),
            test_voltage: amount("500 V"),
            kind: Kind::Dc,
        }),
        rule: RuleAsked::Simple,
        confirmed: Confirmed::Here,
        unweighted: row.basis.as_deref() == Some("unweighted"),
        ..Question::default()
    }
}

fn first(words: &[String]) -> Option<&str> {
    words.first().map(String::as_str)
}
