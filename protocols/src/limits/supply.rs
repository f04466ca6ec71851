//! What a standard says of the supply that its leakage values are for, and of what is measured.

use core::cmp::Ordering;

use tapline_drivers::{Prefix, Quantity, Unit};

use crate::amount::Amount;
use crate::correct::{Mains, amount_in};
use crate::exact::Ratio;

/// The supply that a leakage limit is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Supply {
    /// Values are scaled to nominal (IEC 62353:2014 5.3.4.1, from memory; a maker's start-up
    /// instructions for the predecessor, excerpt seen).
    Nominal,
    /// Values are measured at 110 % of the highest rated voltage and never scaled to it
    /// (imaging makers' service manuals, excerpt seen).
    Rated110,
    /// Values are taken as they are measured.
    AsMeasured,
}

impl Supply {
    /// What a standard says.
    #[must_use]
    pub fn of(standard: &str) -> Supply {
        match standard {
            "IEC 62353" | "DIN VDE 0751-1" | "DGUV Information 203-071" => Supply::Nominal,
            "IEC 60601-1" | "UL 60601-1" => Supply::Rated110,
            _ => Supply::AsMeasured,
        }
    }
}

/// The supply was at 110 % of the reference, within 1 % of that (common practice, no source).
#[must_use]
pub fn at_110_percent(mains: Option<&Mains>) -> bool {
    let volt = Unit { prefix: Prefix::One, quantity: Quantity::Volt };
    let volts = |amount: Amount| amount_in(amount, volt).ok();
    let Some(mains) = mains else { return false };
    let (Some(measured), Some(reference)) = (volts(mains.measured), volts(mains.reference)) else {
        return false;
    };
    let within = |permille, order| {
        let edge = Ratio::new(permille, 1000).and_then(|share| reference.times(share));
        edge.and_then(|edge| measured.compare(edge)).is_ok_and(|found| found != order)
    };
    within(1089, Ordering::Less) && within(1111, Ordering::Greater)
}

/// What a measurand is a size of.
#[must_use]
pub fn quantity_of(measurand: &str) -> Quantity {
    let ends = |word: &str| measurand.ends_with(word);
    match () {
        () if ends("resistance") || ends("impedance") => Quantity::Ohm,
        () if ends("voltage") => Quantity::Volt,
        () => Quantity::Ampere,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Table;

    #[test]
    fn the_limits_of_a_measurand_have_its_quantity() {
        for (standard, edition) in Table::all() {
            let table = Table::parse(Table::builtin(standard, edition).unwrap()).unwrap();
            for row in table.rows {
                assert_eq!(row.bound.quantity(), quantity_of(&row.measurand), "{}", row.id);
            }
        }
    }

    /// 264 V is 110 % of 240 V (a patient monitor's service manual, table 8, excerpt seen).
    #[test]
    fn only_110_percent_is_110_percent() {
        let amount = |text: &str| Amount::parse(text).unwrap();
        let at = |measured: &str, reference: &str| {
            let mains =
                Mains { measured: amount(measured), reference: amount(reference), seq: None };
            at_110_percent(Some(&mains))
        };
        for good in ["264 V", "0.264 kV", "261.36 V", "266.64 V"] {
            assert!(at(good, "240 V"), "{good}");
        }
        for bad in ["240 V", "261.35 V", "266.65 V", "264 mV", "264 A", "-264 V"] {
            assert!(!at(bad, "240 V"), "{bad}");
        }
        assert!(!at_110_percent(None));
    }
}
