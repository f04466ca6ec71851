//! Units as sent: a quantity and a prefix. Comparing folds prefixes, showing never does.

use serde::{Deserialize, Serialize};

use crate::number::{EXPONENTS, Number};

/// What kind of quantity a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Resistance, UCUM `Ohm`.
    Ohm,
    /// Voltage, UCUM `V`.
    Volt,
    /// Current, UCUM `A`.
    Ampere,
    /// Frequency, UCUM `Hz`.
    Hertz,
}

/// A decimal prefix, by its power of ten.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Prefix {
    /// n, 10^-9.
    Nano,
    /// u, 10^-6.
    Micro,
    /// m, 10^-3.
    Milli,
    /// none, 10^0.
    One,
    /// k, 10^3.
    Kilo,
    /// M, 10^6.
    Mega,
    /// G, 10^9.
    Giga,
}

/// A unit as sent, written as a UCUM code (`Ohm`, `MOhm`, `uA`, `mV`, `V`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "alloc::string::String", into = "&'static str")]
pub struct Unit {
    /// Decimal prefix.
    pub prefix: Prefix,
    /// Quantity.
    pub quantity: Quantity,
}

impl Prefix {
    /// The power of ten that the prefix stands for.
    #[must_use]
    pub fn exponent(self) -> i8 {
        match self {
            Prefix::Nano => -9,
            Prefix::Micro => -6,
            Prefix::Milli => -3,
            Prefix::One => 0,
            Prefix::Kilo => 3,
            Prefix::Mega => 6,
            Prefix::Giga => 9,
        }
    }
}

/// Every unit with its UCUM code; the one table both directions read.
const UNITS: &[(&str, Prefix, Quantity)] = &[
    ("uOhm", Prefix::Micro, Quantity::Ohm),
    ("mOhm", Prefix::Milli, Quantity::Ohm),
    ("Ohm", Prefix::One, Quantity::Ohm),
    ("kOhm", Prefix::Kilo, Quantity::Ohm),
    ("MOhm", Prefix::Mega, Quantity::Ohm),
    ("GOhm", Prefix::Giga, Quantity::Ohm),
    ("nV", Prefix::Nano, Quantity::Volt),
    ("uV", Prefix::Micro, Quantity::Volt),
    ("mV", Prefix::Milli, Quantity::Volt),
    ("V", Prefix::One, Quantity::Volt),
    ("kV", Prefix::Kilo, Quantity::Volt),
    ("nA", Prefix::Nano, Quantity::Ampere),
    ("uA", Prefix::Micro, Quantity::Ampere),
    ("mA", Prefix::Milli, Quantity::Ampere),
    ("A", Prefix::One, Quantity::Ampere),
    ("Hz", Prefix::One, Quantity::Hertz),
    ("kHz", Prefix::Kilo, Quantity::Hertz),
    ("MHz", Prefix::Mega, Quantity::Hertz),
];

impl Unit {
    /// The unit of a UCUM code, `None` for a code outside the closed list.
    #[must_use]
    pub fn from_ucum(code: &str) -> Option<Unit> {
        let (_, prefix, quantity) = *UNITS.iter().find(|(text, ..)| *text == code)?;
        Some(Unit { prefix, quantity })
    }

    /// Every unit of the closed list.
    pub fn all() -> impl Iterator<Item = Unit> {
        UNITS.iter().map(|(_, prefix, quantity)| Unit { prefix: *prefix, quantity: *quantity })
    }

    /// A quantity with a prefix, `None` for a combination outside the closed list.
    #[must_use]
    pub fn new(prefix: Prefix, quantity: Quantity) -> Option<Unit> {
        let known = UNITS.iter().any(|(_, p, q)| *p == prefix && *q == quantity);
        known.then_some(Unit { prefix, quantity })
    }

    /// The last digit of `number` is at least 10^-24 of the base unit: sizes are compared in whole
    /// steps of that. What a driver reads in this unit must hold to it.
    #[must_use]
    pub fn holds(self, number: Number) -> bool {
        i32::from(number.exponent) + i32::from(self.prefix.exponent()) >= *EXPONENTS.start()
    }

    /// The UCUM code. Combinations outside the closed list can't be made by parsing.
    #[must_use]
    pub fn ucum(self) -> &'static str {
        let found = UNITS.iter().find(|(_, p, q)| *p == self.prefix && *q == self.quantity);
        found.map_or("?", |(text, ..)| text)
    }
}

impl TryFrom<alloc::string::String> for Unit {
    type Error = alloc::string::String;

    fn try_from(code: alloc::string::String) -> Result<Unit, alloc::string::String> {
        Unit::from_ucum(&code).ok_or_else(|| alloc::format!("unknown unit `{code}`"))
    }
}

impl From<Unit> for &'static str {
    fn from(unit: Unit) -> &'static str {
        unit.ucum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_last_digit_below_the_smallest_step_is_not_held() {
        let (nano, one) = (Unit::from_ucum("nV").unwrap(), Unit::from_ucum("V").unwrap());
        let number = |text| Number::parse(text).unwrap();
        assert!(nano.holds(number("1E-15")) && one.holds(number("1E-24")));
        assert!(!nano.holds(number("1E-16")));
    }

    #[test]
    fn only_units_of_the_list_are_made() {
        assert_eq!(Unit::new(Prefix::Milli, Quantity::Volt), Unit::from_ucum("mV"));
        assert_eq!(Unit::new(Prefix::Nano, Quantity::Hertz), None);
    }
}
