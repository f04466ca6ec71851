//! A decimal with its unit, as people write it: `0.300 Ohm`.

use alloc::format;
use alloc::string::String;
use core::fmt;

use serde::{Deserialize, Serialize};
use tapline_drivers::{Number, Unit};

/// An exact decimal with a UCUM unit, digits kept as written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Amount {
    /// The decimal.
    pub number: Number,
    /// The unit.
    pub unit: Unit,
}

impl Amount {
    /// Reads `0.300 Ohm`: a decimal, one blank, a UCUM code of the closed list.
    ///
    /// # Errors
    /// A sentence that names the part which can't be read.
    pub fn parse(text: &str) -> Result<Amount, String> {
        let (number, unit) = text
            .split_once(' ')
            .ok_or_else(|| format!("`{text}` needs a number, a blank, a unit"))?;
        let number = Number::parse(number).ok_or_else(|| format!("`{number}` is no decimal"))?;
        let unit = Unit::from_ucum(unit).ok_or_else(|| format!("unknown unit `{unit}`"))?;
        if !unit.holds(number) {
            return Err(format!("`{text}` has digits below 10^-24 of the base unit: round it"));
        }
        Ok(Amount { number, unit })
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.number.text(), self.unit.ucum())
    }
}

impl TryFrom<String> for Amount {
    type Error = String;

    fn try_from(text: String) -> Result<Amount, String> {
        Amount::parse(&text)
    }
}

impl From<Amount> for String {
    fn from(amount: Amount) -> String {
        format!("{amount}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_amount_is_written_as_it_was_read() {
        for text in ["0.300 Ohm", "10.012 kOhm", "-5 uA"] {
            assert_eq!(String::from(Amount::parse(text).unwrap()), text);
        }
        assert!(Amount::parse("0.3Ohm").is_err());
        assert!(Amount::parse("0.3 ohm").unwrap_err().contains("unknown unit"));
        assert!(Amount::parse("1E-15 nA").is_ok() && Amount::parse("1E-16 nA").is_err());
    }
}
