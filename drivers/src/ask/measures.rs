//! What an instrument measures that does not say so itself: somebody has set it to that and says
//! so, as `resistance_2w Ohm`. Nothing on the wire confirms it.

use serde::Deserialize;
use serde::de::IntoDeserializer;
use serde::de::value::Error;

use crate::reading::Function;
use crate::unit::Unit;

/// What its numbers are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measures {
    /// What is measured.
    pub function: Function,
    /// In which unit its numbers are.
    pub unit: Unit,
}

impl Measures {
    /// A function and a unit of the same quantity, as `resistance_2w Ohm`. An insulation test is
    /// none: such an instrument may not be asked.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn parse(text: &str) -> Result<Measures, &'static str> {
        let (function, unit) = text
            .split_once(' ')
            .ok_or("is a function and a unit, such as \"resistance_2w Ohm\"")?;
        let function =
            Function::deserialize(IntoDeserializer::<Error>::into_deserializer(function))
                .ok()
                .filter(|function| function.quantity().is_some())
                .ok_or(
                    "begins with a function: voltage_dc, voltage_ac, voltage_peak, current_dc, \
                 current_ac, resistance_2w, resistance_4w or frequency",
                )?;
        if function == Function::InsulationResistance {
            return Err("an insulation tester puts out a voltage and is never asked");
        }
        let unit = Unit::from_ucum(unit).ok_or("ends with a unit, such as Ohm, mV, uA or Hz")?;
        match function.quantity() == Some(unit.quantity) {
            true => Ok(Measures { function, unit }),
            false => Err("the unit is one of another quantity than the function"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_function_with_a_unit_of_its_own_quantity() {
        let (function, unit) = (Function::Resistance2w, Unit::from_ucum("kOhm").unwrap());
        assert_eq!(Measures::parse("resistance_2w kOhm"), Ok(Measures { function, unit }));
        for (text, why) in [
            ("resistance_2w", "such as"),
            ("ohms Ohm", "begins with"),
            ("contacts Ohm", "begins with"),
            ("insulation_resistance MOhm", "never asked"),
            ("voltage_dc Ohm", "another quantity"),
            ("voltage_dc Volt", "ends with"),
            ("voltage_dc  V", "ends with"),
            ("", "such as"),
        ] {
            let told = Measures::parse(text).unwrap_err();
            assert!(told.contains(why), "{text}: {told}");
        }
    }
}
