//! Whether a measurement counts at all, before it is compared.

use alloc::vec::Vec;
use core::cmp::Ordering;

use tapline_drivers::{Prefix, Quantity, Unit};

use super::{Confirmed, Question};
use crate::amount::Amount;
use crate::correct::{Mains, amount_in};
use crate::exact::{Arithmetic, Ratio};
use crate::limits::{Confidence, Row, Table};
use crate::plan::of_iec_60990;
use crate::register::Gives;

/// Reasons that hold for every value of the question.
pub(super) fn of_table(question: &Question<'_>, table: &Table, row: &Row) -> Vec<&'static str> {
    let mut reasons = Vec::new();
    reasons.extend(source(question, &table.standard, &row.measurand));
    if row.confidence == Confidence::Memory && question.confirmed != Confirmed::Here {
        reasons.push("limit_unconfirmed");
    }
    reasons
}

/// IEC 62353:2014 5.3.2 (excerpt seen): protective earth with at least 200 mA into 500 mohm from
/// a source of at most 24 V. 5.3.3 (from memory): insulation at 500 V dc.
/// IEC 60601-1:2005 8.6.4 (a national examination and GOST R IEC 60601-1-2010, excerpts seen): at
/// least 25 A from at most 6 V. 1.5 times the rated current, where that is more, is the plan's.
fn source(question: &Question<'_>, standard: &str, measurand: &str) -> Option<&'static str> {
    let gives = question.gives;
    match measurand {
        "protective_earth_resistance" | "protective_conductor_resistance" => {
            low_resistance(gives, Ratio::new(2, 10), Ratio::new(24, 1))
        }
        "protective_earth_impedance" => low_resistance(gives, Ratio::new(25, 1), Ratio::new(6, 1)),
        "insulation_resistance" if standard == "IEC 62353" => {
            let volts = gives.and_then(|g| g.test_voltage)?;
            let enough = at_least(volts, Quantity::Volt, Ratio::new(500, 1));
            (!enough).then_some("method_not_valid")
        }
        _ => None,
    }
}

fn low_resistance(
    gives: Option<Gives>,
    least: Result<Ratio, Arithmetic>,
    most: Result<Ratio, Arithmetic>,
) -> Option<&'static str> {
    let current = gives.and_then(|g| g.test_current);
    let open = gives.and_then(|g| g.open_circuit);
    let (Some(current), Some(open)) = (current, open) else {
        return Some("test_current_unknown");
    };
    let enough = at_least(current, Quantity::Ampere, least);
    let safe = at_most(open, Quantity::Volt, most);
    (!(enough && safe)).then_some("method_not_valid")
}

/// An object that says too little, or the wrong thing, of how it was measured. A plan that would
/// ask so is refused when it is read, so that an inspection never comes here.
///
/// - An insulation whose test voltage nobody says may be the few volts of an ohm range.
/// - A limit of the unweighted current (IEC 60601-1:2005 8.7.3 e), from memory) holds for what no
///   network has made smaller.
/// - Over the 1 kohm of IEC 60601-1 Figure 12 a current reads as half of what the 500 ohm of
///   IEC 60990 show (two makers print the annex of IEC 60065, excerpts seen). Its weighted
///   terminals show less than its plain ones.
pub(super) fn unsaid(question: &Question<'_>, row: &Row) -> bool {
    let volts = question.gives.and_then(|gives| gives.test_voltage);
    let unweighted = row.basis.as_deref() == Some("unweighted");
    (row.measurand == "insulation_resistance" && volts.is_none())
        || (unweighted && !of_iec_60990(&row.method) && !question.unweighted)
        || question.network.is_some_and(|network| !network.fits(&row.method))
}

/// The supply can be used for scaling: inside 85 % to 110 % of its reference, the rated range of
/// measuring equipment (IEC 61557-1:2019 4.3, excerpt seen). A slip of a digit in a typed voltage
/// would otherwise scale a fail into a pass. Nothing measured is a case of its own and fits.
pub(super) fn mains(mains: Option<&Mains>) -> Result<bool, Arithmetic> {
    let Some(mains) = mains else { return Ok(true) };
    let volt = Unit { prefix: Prefix::One, quantity: Quantity::Volt };
    let volts = [mains.measured, mains.reference].map(|a| amount_in(a, volt));
    let [Ok(measured), Ok(reference)] = volts else { return Ok(false) };
    let low = measured.compare(reference.times(Ratio::new(85, 100)?)?)?;
    let high = measured.compare(reference.times(Ratio::new(110, 100)?)?)?;
    let some = reference.compare(Ratio::new(0, 1)?)? == Ordering::Greater;
    Ok(some && low != Ordering::Less && high != Ordering::Greater)
}

fn at_least(amount: Amount, quantity: Quantity, want: Result<Ratio, Arithmetic>) -> bool {
    compare(amount, quantity, want).is_ok_and(|order| order != Ordering::Less)
}

fn at_most(amount: Amount, quantity: Quantity, want: Result<Ratio, Arithmetic>) -> bool {
    compare(amount, quantity, want).is_ok_and(|order| order != Ordering::Greater)
}

fn compare(
    amount: Amount,
    quantity: Quantity,
    want: Result<Ratio, Arithmetic>,
) -> Result<Ordering, Arithmetic> {
    amount_in(amount, Unit { prefix: Prefix::One, quantity })?.abs().compare(want?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistyped_supply_is_no_supply() {
        let reference = Amount::parse("230 V").unwrap();
        let fits = |text: &str| {
            let measured = Amount::parse(text).unwrap();
            mains(Some(&Mains { measured, reference, seq: None })).unwrap()
        };
        for text in ["230 V", "0.226 kV", "195.5 V", "253 V"] {
            assert!(fits(text), "{text}");
        }
        for text in ["2260 V", "22.6 V", "0 V", "-230 V", "230 mA", "195.4 V", "253.1 V"] {
            assert!(!fits(text), "{text}");
        }
        assert!(mains(None).unwrap());
    }
}
