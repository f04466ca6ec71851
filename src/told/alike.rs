//! A value beside its limit in one unit, for the eye. What is stored and judged stays as it is.

use tapline_drivers::{Number, Unit};

/// `0.15854` in `mA` as `158.54 uA` where the limit is in `uA`: the same digits, the point moved.
/// `None` where the units are the same, are of different quantities, or the digits don't fit.
pub(crate) fn beside(shown: &str, unit: &str, of_limit: &str) -> Option<String> {
    let (from, to) = (Unit::from_ucum(unit)?, Unit::from_ucum(of_limit)?);
    if from == to || from.quantity != to.quantity {
        return None;
    }
    let number = Number::parse(shown)?;
    let shift = from.prefix.exponent().checked_sub(to.prefix.exponent())?;
    let exponent = number.exponent.checked_add(shift)?;
    Some(format!("{} {of_limit}", Number { exponent, ..number }.text()))
}

#[cfg(test)]
mod tests {
    use super::beside;

    macro_rules! cases {
        ($($name:ident: $shown:literal $unit:literal, $limit:literal => $want:expr;)*) => {
            $(#[test] fn $name() {
                assert_eq!(beside($shown, $unit, $limit).as_deref(), $want);
            })*
        };
    }

    cases! {
        milli_to_micro:    "0.158543960" "mA", "uA" => Some("158.543960 uA");
        no_digit_is_added: "0.15854" "mA", "uA" => Some("158.54 uA");
        zeros_where_whole: "0.5" "mA", "uA" => Some("500 uA");
        to_the_larger:     "-0.4" "kOhm", "MOhm" => Some("-0.0004 MOhm");
        same_unit:         "0.120" "Ohm", "Ohm" => None;
        other_quantity:    "0.120" "V", "uA" => None;
        unknown_unit:      "0.120" "%", "uA" => None;
        no_number:         "" "mA", "uA" => None;
    }
}
