//! Flag bits of a frame, read by a table: which bit of which byte says what.

use alloc::collections::BTreeSet;

use super::{MALFORMED, OTHER, Said, Shown};
use crate::reading::{Flag, Function, Indication};
use crate::unit::{Prefix, Quantity, Unit};

/// What a bit says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// A prefix of the unit.
    Prefix(Prefix),
    /// The unit.
    Quantity(Quantity),
    /// Something about the reading.
    Flag(Flag),
    /// Direct.
    Dc,
    /// Alternating.
    Ac,
    /// Below zero.
    Minus,
    /// Beyond the end of the range.
    Over,
    /// Something is measured that a reading has no place for.
    Other,
    /// Nothing that matters to a value.
    Nothing,
}

/// The flag bytes of a frame and what their bits say. A bit that is set and is in no row makes the
/// frame one that is not understood: it may be one that matters.
#[derive(Debug)]
pub struct Table {
    /// Byte, counted from 0, and the bits of it that are flags.
    pub bytes: &'static [(usize, u8)],
    /// Byte, bit as a mask, and what it says.
    pub marks: &'static [(usize, u8, Mark)],
}

/// All that the flags of one frame say.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Marks {
    /// The prefix; none sent is [`Prefix::One`].
    pub prefix: Option<Prefix>,
    /// The unit.
    pub quantity: Option<Quantity>,
    /// Direct.
    pub dc: bool,
    /// Alternating.
    pub ac: bool,
    /// Below zero.
    pub minus: bool,
    /// Beyond the range.
    pub over: bool,
    /// Something else is measured.
    pub other: bool,
    /// About the reading.
    pub flags: BTreeSet<Flag>,
}

impl Table {
    /// The flags of a frame; `None` when a bit is not known, a byte is not there, or two say
    /// what only one can.
    #[must_use]
    pub fn read(&self, frame: &[u8]) -> Option<Marks> {
        let mut all = Marks::default();
        for (at, flags) in self.bytes {
            let set = frame.get(*at)? & flags;
            for bit in (0..8).map(|bit| 1_u8 << bit).filter(|bit| set & bit != 0) {
                let row = self.marks.iter().find(|(byte, mask, _)| (byte, *mask) == (at, bit))?;
                all.take(row.2)?;
            }
        }
        Some(all)
    }
}

impl Marks {
    /// One more; `None` when it says what only one can and another has said.
    pub(crate) fn take(&mut self, mark: Mark) -> Option<()> {
        match mark {
            Mark::Prefix(prefix) => return self.prefix.replace(prefix).is_none().then_some(()),
            Mark::Quantity(quantity) => {
                return self.quantity.replace(quantity).is_none().then_some(());
            }
            Mark::Flag(flag) => _ = self.flags.insert(flag),
            Mark::Dc => self.dc = true,
            Mark::Ac => self.ac = true,
            Mark::Minus => self.minus = true,
            Mark::Over => self.over = true,
            Mark::Other => self.other = true,
            Mark::Nothing => {}
        }
        Some(())
    }

    /// What is shown, by the unit that the flags name.
    #[must_use]
    pub fn said(self, indication: Indication) -> Said {
        if self.other {
            return OTHER;
        }
        let Some(quantity) = self.quantity else { return MALFORMED };
        let unit = Unit::new(self.prefix.unwrap_or(Prefix::One), quantity);
        let function = match (quantity, self.dc, self.ac) {
            // Both at once: neither of our functions.
            (Quantity::Volt | Quantity::Ampere, true, true) => return OTHER,
            (Quantity::Volt, true, false) => Some(Function::VoltageDc),
            (Quantity::Volt, false, true) => Some(Function::VoltageAc),
            (Quantity::Ampere, true, false) => Some(Function::CurrentDc),
            (Quantity::Ampere, false, true) => Some(Function::CurrentAc),
            (Quantity::Ohm, _, false) => Some(Function::Resistance2w),
            (Quantity::Hertz, ..) => Some(Function::Frequency),
            _ => None,
        };
        match (function, unit) {
            (Some(function), Some(unit)) => {
                let flags = self.flags.into_iter().collect();
                Said::Shown(Shown { function, indication, unit, flags })
            }
            _ => MALFORMED,
        }
    }

    /// An overload that the frame says by a flag or in place of its digits. Minus overload is no
    /// value: the far end of the other sign is no bound.
    #[must_use]
    pub fn overload(&self) -> Indication {
        if self.minus { Indication::NoValue } else { Indication::Overload }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: Table = Table {
        bytes: &[(0, 0x0f)],
        marks: &[
            (0, 1, Mark::Quantity(Quantity::Volt)),
            (0, 2, Mark::Quantity(Quantity::Ohm)),
            (0, 4, Mark::Dc),
        ],
    };

    #[test]
    fn unknown_bits_and_two_units_are_not_understood() {
        assert!(TABLE.read(b"\x35").is_some_and(|marks| marks.dc));
        assert_eq!(TABLE.read(b"\x08"), None);
        assert_eq!(TABLE.read(b"\x03"), None);
        assert_eq!(TABLE.read(b""), None);
    }

    #[test]
    fn volts_need_a_coupling_and_only_one() {
        let said = |marks: Marks| marks.said(Indication::NoValue);
        let volt = Marks { quantity: Some(Quantity::Volt), ..Marks::default() };
        assert_eq!(said(volt.clone()), MALFORMED);
        assert_eq!(said(Marks { dc: true, ac: true, ..volt.clone() }), OTHER);
        let Said::Shown(shown) = said(Marks { ac: true, ..volt }) else { panic!() };
        assert_eq!(shown.function, Function::VoltageAc);
    }
}
