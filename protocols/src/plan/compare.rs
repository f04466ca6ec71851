//! What an instrument must offer, as a comparison: `>= 0.2 A`.

use alloc::format;
use alloc::string::String;
use core::cmp::Ordering;

use tapline_drivers::Number;

use crate::amount::Amount;

/// A comparison with an amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Comparison {
    least: bool,
    strict: bool,
    amount: Amount,
}

impl Comparison {
    /// Reads `>= 0.2 A`: one of `>= <= > <`, a blank, an amount.
    ///
    /// # Errors
    /// A sentence that names the part which can't be read.
    pub fn parse(text: &str) -> Result<Comparison, String> {
        let (sign, amount) = text
            .split_once(' ')
            .ok_or_else(|| format!("`{text}` needs a sign, a blank, an amount: `>= 0.2 A`"))?;
        let (least, strict) = match sign {
            ">=" => (true, false),
            ">" => (true, true),
            "<=" => (false, false),
            "<" => (false, true),
            _ => {
                let why = "is none of `>=`, `<=`, `>`, `<`: write it like `>= 0.2 A`";
                return Err(format!("`{sign}` {why}"));
            }
        };
        Ok(Comparison { least, strict, amount: Amount::parse(amount)? })
    }

    /// The least that is wanted; `None` where a most is.
    pub(crate) fn least(&self) -> Option<Amount> {
        self.least.then_some(self.amount)
    }

    /// Says whether what an instrument offers is enough. Another quantity, or nothing, never is.
    #[must_use]
    pub fn holds(&self, offered: Option<Amount>) -> bool {
        let Some(offered) = offered else { return false };
        if offered.unit.quantity != self.amount.unit.quantity {
            return false;
        }
        match order(offered, self.amount) {
            Ordering::Equal => !self.strict,
            Ordering::Greater => self.least,
            Ordering::Less => !self.least,
        }
    }
}

/// Order of two amounts of one quantity, exact.
fn order(a: Amount, b: Amount) -> Ordering {
    let sign = |n: Number| match (n.digits, n.negative) {
        (0, _) => 0,
        (_, true) => -1,
        (_, false) => 1,
    };
    match (sign(a.number), sign(b.number)) {
        (-1, -1) => magnitude(b, a),
        (1, 1) => magnitude(a, b),
        (a, b) => a.cmp(&b),
    }
}

/// Order of two magnitudes that are not zero. Decades first, then digits brought to one length:
/// at most 15 digits each, so nothing overflows.
fn magnitude(a: Amount, b: Amount) -> Ordering {
    let split = |amount: Amount| {
        let length = amount.number.digits.ilog10();
        let digits = amount.number.digits * 10_u64.pow(15_u32.saturating_sub(length));
        let exponent = amount.number.exponent + amount.unit.prefix.exponent();
        (i64::from(exponent) + i64::from(length), digits)
    };
    split(a).cmp(&split(b))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holds(wanted: &str, offered: &str) -> bool {
        Comparison::parse(wanted).unwrap().holds(Some(Amount::parse(offered).unwrap()))
    }

    #[test]
    fn amounts_compare_by_value_not_by_writing() {
        assert!(holds(">= 0.2 A", "200 mA"));
        assert!(holds(">= 0.2 A", "0.200 A"));
        assert!(!holds("> 0.2 A", "200 mA"));
        assert!(!holds(">= 0.2 A", "199.999 mA"));
        assert!(holds("<= 24 V", "6 V"));
        assert!(!holds("<= 24 V", "24000.1 mV"));
        assert!(holds(">= 500 V", "0.5 kV"));
        assert!(!holds(">= 500 V", "100 V"));
        assert!(holds(">= 0 V", "0.000 mV"));
        assert!(!holds(">= 1 nA", "-5 GOhm".replace("GOhm", "A").as_str()));
        assert!(holds("<= 999999999999999 A", "999999999999.999 mA"));
    }

    #[test]
    fn another_quantity_or_nothing_is_never_enough() {
        assert!(!holds(">= 0.2 A", "1 V"));
        assert!(!Comparison::parse(">= 0.2 A").unwrap().holds(None));
    }

    #[test]
    fn what_is_no_comparison_says_why() {
        assert!(Comparison::parse("0.2").unwrap_err().contains("needs a sign"));
        assert!(Comparison::parse("=> 0.2 A").unwrap_err().contains("none of"));
        assert!(Comparison::parse(">= 0.2 amp").unwrap_err().contains("unknown unit"));
    }
}
