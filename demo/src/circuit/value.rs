//! Values as people write them in scenes: `20 kOhm`, `2.2 nF`, `500 pF`, `230 V`.

use std::fmt;

/// A value that can't be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unknown {
    /// What was written.
    pub text: String,
    /// The unit that was wanted.
    pub unit: &'static str,
}

impl fmt::Display for Unknown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Unknown { text, unit } = self;
        write!(
            f,
            "`{text}` is no value in {unit}: write a number, a blank and the unit with an \
                   optional prefix of p n u m k M G, such as `2.2 n{unit}`"
        )
    }
}

impl std::error::Error for Unknown {}

/// Reads a finite decimal with its unit into base units.
///
/// # Errors
/// [`Unknown`] for anything but `NUMBER [PREFIX]UNIT`.
pub fn value(text: &str, unit: &'static str) -> Result<f64, Unknown> {
    let unknown = || Unknown { text: text.to_owned(), unit };
    let (number, rest) = text.split_once(' ').ok_or_else(unknown)?;
    let prefix = rest.strip_suffix(unit).ok_or_else(unknown)?;
    let factor = match prefix {
        "p" => 1e-12,
        "n" => 1e-9,
        "u" => 1e-6,
        "m" => 1e-3,
        "" => 1.0,
        "k" => 1e3,
        "M" => 1e6,
        "G" => 1e9,
        _ => return Err(unknown()),
    };
    let number: f64 = number.parse().map_err(|_| unknown())?;
    if number.is_finite() { Ok(number * factor) } else { Err(unknown()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prefixes_are_folded() {
        for (text, unit, want) in [
            ("20 kOhm", "Ohm", 20_000.0),
            ("0.09 Ohm", "Ohm", 0.09),
            ("2.2 nF", "F", 2.2e-9),
            ("500 pF", "F", 5e-10),
            ("230 V", "V", 230.0),
            ("2 mOhm", "Ohm", 0.002),
            ("2 MOhm", "Ohm", 2e6),
        ] {
            let got = value(text, unit).unwrap();
            assert!((got - want).abs() <= want * 1e-12, "{text}: {got}");
        }
    }

    #[test]
    fn what_is_no_value_is_refused_with_the_remedy() {
        for text in ["20kOhm", "20 kohm", "x Ohm", "20 F", "inf Ohm", "20 xOhm", ""] {
            let fault = value(text, "Ohm").unwrap_err().to_string();
            assert!(fault.contains("such as"), "{text}: {fault}");
        }
    }
}
