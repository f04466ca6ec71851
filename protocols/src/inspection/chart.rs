//! The control chart of an instrument on one check standard.
//!
//! The room that the workshop allows is taken as three standard deviations. A point beyond it is
//! off; two of three points in a row beyond two thirds of it on one side ask for attention: the
//! first two of the Western Electric rules as the NIST/SEMATECH e-Handbook of Statistical
//! Methods, 6.3.2, gives them (from memory).

use alloc::vec::Vec;

use super::scale;
use crate::fact::CheckFact;

/// What a point asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Nothing.
    Fine,
    /// A look: the instrument drifts, or its leads do.
    Attention,
    /// The instrument is not to be believed.
    Off,
}

impl Mark {
    /// `fine attention off`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Mark::Fine => "fine",
            Mark::Attention => "attention",
            Mark::Off => "off",
        }
    }
}

/// What the last of some points asks for; points of one instrument on one standard, in order.
#[must_use]
pub fn mark(points: &[&CheckFact]) -> Mark {
    let Some(last) = points.last() else { return Mark::Fine };
    if !last.ok {
        return Mark::Off;
    }
    let recent = &points[points.len().saturating_sub(3)..];
    let sides: Vec<i32> = recent.iter().map(|point| side(point)).collect();
    let crowd = |of: i32| sides.iter().filter(|side| **side == of).count() >= 2;
    if crowd(1) || crowd(-1) { Mark::Attention } else { Mark::Fine }
}

/// Beyond two thirds of the room: 1 above, -1 below; else 0.
fn side(point: &CheckFact) -> i32 {
    let Some((off, room)) = off(point) else { return 0 };
    match off.checked_abs().and_then(|off| off.checked_mul(3)) {
        Some(three) if three <= room.saturating_mul(2) => 0,
        _ if off < 0 => -1,
        _ => 1,
    }
}

/// How far a point is from its certificate and how far it may be, 10^-24 of the base unit;
/// `None` for an open end or an overload.
fn off(point: &CheckFact) -> Option<(i128, i128)> {
    let number = tapline_drivers::Number::parse(point.value.as_ref()?)?;
    let shown = scale::magnitude(number, point.unit?);
    let (want, room) = (scale::of(point.want?).abs(), scale::of(point.room?).abs());
    Some((shown.checked_sub(want)?, room))
}

/// How far a point is from its certificate in percent of its room, rounded to whole ones, within
/// -999 and 999; `None` for an open end or an overload.
#[must_use]
pub fn percent_of_room(point: &CheckFact) -> Option<i32> {
    let (off, room) = off(point)?;
    let percent = off.checked_mul(100)?.checked_div(room)?;
    i32::try_from(percent.clamp(-999, 999)).ok()
}

#[cfg(test)]
mod tests {
    use alloc::string::ToString;

    use tapline_drivers::{Function, Unit};

    use super::*;
    use crate::Amount;

    fn point(milliohm: i64) -> CheckFact {
        let amount = |text: &str| Some(Amount::parse(text).unwrap());
        CheckFact {
            bench: "b1".into(),
            standard: "CS-1".into(),
            certificate: "C-1".into(),
            instrument: "LR-01".into(),
            of: None,
            function: Function::Resistance4w,
            indication: None,
            value: Some(milliohm.to_string()),
            unit: Unit::from_ucum("mOhm"),
            want: amount("0.200 Ohm"),
            room: amount("0.006 Ohm"),
            ok: (milliohm - 200).abs() <= 6,
            from: Vec::new(),
        }
    }

    fn marked(milliohms: &[i64]) -> Mark {
        let points: Vec<CheckFact> = milliohms.iter().map(|shown| point(*shown)).collect();
        mark(&points.iter().collect::<Vec<_>>())
    }

    /// Two thirds of 6 mOhm are 4: a point at 4 is not beyond it, one at 5 is.
    #[test]
    fn two_of_three_beyond_two_sigma_on_one_side_ask_for_attention() {
        assert_eq!(marked(&[200, 205, 201]), Mark::Fine);
        assert_eq!(marked(&[205, 201, 205]), Mark::Attention);
        assert_eq!(marked(&[195, 195]), Mark::Attention);
        assert_eq!(marked(&[205, 195, 200]), Mark::Fine, "on two sides");
        assert_eq!(marked(&[204, 204, 204]), Mark::Fine);
        assert_eq!(marked(&[205, 200, 200, 205]), Mark::Fine, "one of the last three");
        assert_eq!(marked(&[200, 207]), Mark::Off);
        assert_eq!(marked(&[]), Mark::Fine);
    }

    #[test]
    fn a_point_stands_at_its_share_of_the_room() {
        assert_eq!(percent_of_room(&point(203)), Some(50));
        assert_eq!(percent_of_room(&point(194)), Some(-100));
    }
}
