//! A reading as capture sees it: exact size, and what kind of statement it is.

use tapline_drivers::{Flag, Indication, Now, Number, Reading, Unit};

use super::scale;
use crate::fact::ReadingId;

/// What a reading states.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Says {
    /// Less than its size.
    Below,
    /// Its size.
    Value,
    /// More than its size.
    Above,
    /// Beyond a range end that is not known.
    Overload,
}

/// A reading that states something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sample {
    pub(super) id: ReadingId,
    pub(super) at: Now,
    pub(super) says: Says,
    /// Digits as sent; zero for an overload.
    pub(super) number: Number,
    pub(super) unit: Unit,
    /// Without sign, 10^-24 of the base unit.
    pub(super) size: i128,
    /// The meter subtracts something by itself.
    pub(super) relative: bool,
}

impl Sample {
    /// `None` where nothing was stated.
    pub(super) fn of(id: ReadingId, reading: &Reading) -> Option<Sample> {
        let zero = Number { negative: false, digits: 0, exponent: 0 };
        let (says, number) = match reading.indication {
            Indication::Value(number) => (Says::Value, number),
            Indication::Above(number) => (Says::Above, number),
            Indication::Below(number) => (Says::Below, number),
            Indication::Overload => (Says::Overload, zero),
            Indication::NoValue => return None,
        };
        let size = match says {
            Says::Overload => i128::MAX,
            _ => scale::magnitude(number, reading.unit),
        };
        let relative = reading.flags.contains(&Flag::Relative);
        let unit = reading.unit;
        Some(Sample { id, at: reading.first, says, number, unit, size, relative })
    }

    /// Nothing is in the path: overload, a bound from below, or at least `open_at`.
    pub(super) fn open(&self, open_at: Option<i128>) -> bool {
        match self.says {
            Says::Above | Says::Overload => true,
            Says::Value => open_at.is_some_and(|open_at| open_at <= self.size),
            Says::Below => false,
        }
    }

    /// Of two samples the larger one; of two equal ones the bound from below.
    pub(super) fn larger(self, other: Sample) -> Sample {
        if (self.size, self.says) < (other.size, other.says) { other } else { self }
    }

    /// Of two samples the smaller one; of two equal ones the bound from above.
    pub(super) fn smaller(self, other: Sample) -> Sample {
        if (other.size, other.says) < (self.size, self.says) { other } else { self }
    }
}
