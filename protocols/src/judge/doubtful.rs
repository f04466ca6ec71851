//! Whether a value lies so near its limit that the doubt of the measurement reaches across.

use tapline_drivers::{Number, Unit};

use crate::exact::{Arithmetic, Ratio};
use crate::fact::Judged;

impl Judged {
    /// The value lies within its expanded uncertainty of the limit, on either side. False for
    /// bounds, and where uncertainty or limit are not known.
    #[must_use]
    pub fn within_doubt(&self) -> bool {
        self.reaches().is_some_and(|reaches| reaches == Ok(true))
    }

    fn reaches(&self) -> Option<Result<bool, Arithmetic>> {
        let (limit, unit) = (self.limit.as_ref()?, self.unit?);
        if self.indication.is_some() || unit.quantity != limit.unit.quantity {
            return None;
        }
        let value = Ratio::parse(self.value.as_ref()?)?;
        let doubt = Ratio::parse(&self.uncertainty.as_ref()?.expanded)?;
        let limit = in_unit(Number::parse(&limit.value)?, limit.unit, unit);
        let near = |limit: Ratio| Ok(value.minus(limit)?.abs().compare(doubt)?.is_le());
        Some(limit.and_then(near))
    }
}

fn in_unit(number: Number, from: Unit, to: Unit) -> Result<Ratio, Arithmetic> {
    Ratio::of(number)?.shifted(i32::from(from.prefix.exponent()) - i32::from(to.prefix.exponent()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A verdict as a record has it, against at most 500 uA.
    fn judged(value: &str, unit: &str, rest: &str) -> Judged {
        let text = alloc::format!(
            "value = \"{value}\"\nunit = \"{unit}\"\nverdict = \"pass\"\nreasons = []\n{rest}\n\
             [limit]\nid = \"x\"\nvalue = \"500\"\nunit = \"uA\"\ndirection = \"max\"\n\
             inclusive = true\nstandard = \"\"\nedition = \"\"\nclause = \"\"\n\
             confidence = \"memory\"\nlayer = \"standard\"\ntable = \"\"\n"
        );
        toml::from_str(&text).unwrap()
    }

    #[test]
    fn doubt_reaches_the_limit_from_both_sides_and_its_edge_counts() {
        let doubt = "uncertainty = { u = \"2.5\", k = \"2\", expanded = \"5\" }";
        for (value, near) in [("494", false), ("495", true), ("505", true), ("506", false)] {
            assert_eq!(judged(value, "uA", doubt).within_doubt(), near, "{value}");
        }
        let milli = "uncertainty = { u = \"0.0025\", k = \"2\", expanded = \"0.005\" }";
        assert!(judged("1485/3000", "mA", milli).within_doubt());
        assert!(!judged("1481/3000", "mA", milli).within_doubt());
    }

    #[test]
    fn without_doubt_or_as_a_bound_nothing_is_near() {
        let doubt = "uncertainty = { u = \"2.5\", k = \"2\", expanded = \"5\" }";
        let above = alloc::format!("indication = \"above\"\n{doubt}");
        assert!(!judged("500", "uA", "").within_doubt());
        assert!(!judged("500", "uA", &above).within_doubt());
        assert!(!judged("500", "mV", doubt).within_doubt());
    }
}
