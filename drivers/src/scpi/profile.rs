//! What a meter needs besides the common dialogue, as data: one profile a row of the catalogue.

use crate::number::Number;
use crate::reading::{Function, Indication};

/// How a meter is brought to listen, to speak and to let go. Every text is a program message of
/// the allow-list; none starts a source or recalls a setting.
#[derive(Debug, PartialEq, Eq)]
pub struct Profile {
    /// Said before anything else, and again after the meter was let go or switched off.
    pub begin: Option<&'static str>,
    /// Said behind each `CONF:`, before the error queue is asked whether all was understood.
    pub shape: Option<&'static str>,
    /// Asks which elements a list has, once the function is confirmed: the wanted one is then
    /// taken by its name, and from lists of so many elements alone.
    pub elements: Option<&'static str>,
    /// Said when nobody wants a reading any more.
    pub leave: Option<&'static str>,
    /// Asks for one reading.
    pub read: &'static str,
    /// Asks for the last reading once more: only what is said twice is believed. A serial line has
    /// nothing else to tell one digit from another that a flipped bit made of it.
    pub again: Option<&'static str>,
    /// Aborts a reading that stayed out, sent as it stands. Off but where a row says so.
    pub clear: Option<&'static str>,
    /// Sizes of resistance from which on nothing is a value.
    pub sentinels: &'static [Sentinel],
    /// Quiet time after opening, microseconds.
    pub wait_us: u64,
    /// Quiet time between an answer, or a message without one, and the next, microseconds.
    pub gap_us: u64,
    /// After each reading, and whenever another function is wanted, `*ESR?` is asked whether the
    /// meter was switched on since it was asked last.
    pub status: bool,
    /// The meter sends a reading after each conversion by itself: once the function is confirmed,
    /// readings are not asked for.
    pub auto: bool,
}

/// A number that is none on this meter: compared by size, never as text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sentinel {
    /// A power of ten.
    pub power: u8,
    /// What it means.
    pub means: Indication,
}

/// Between two messages nothing else is said.
const GAP_US: u64 = super::GAP_US;

/// The dialogue and nothing else.
pub static PLAIN: Profile = plain();

/// The same without a pause between messages: a socket has no line that has to turn round.
pub static TCP: Profile = Profile { gap_us: 0, ..plain() };

/// Meters on a serial line that take no command until it is said who commands, and whose keys are
/// locked until they are let go. `SYST:REM` and `SYST:LOC` are from memory.
pub static REMOTE: Profile = Profile {
    begin: Some("SYST:REM"),
    leave: Some("SYST:LOC"),
    wait_us: 100_000,
    status: true,
    ..plain()
};

/// The dialogue, and each reading is said twice: `FETC?` gives the same one again (from memory).
pub static TWICE: Profile = Profile { again: Some("FETC?"), ..plain() };

/// Both.
pub static REMOTE_TWICE: Profile = Profile {
    begin: Some("SYST:REM"),
    leave: Some("SYST:LOC"),
    again: Some("FETC?"),
    wait_us: 100_000,
    status: true,
    ..plain()
};

/// [`REMOTE`], and 03 (device clear on some serial lines, from memory) aborts a reading.
pub static REMOTE_CLEAR: Profile = Profile {
    begin: Some("SYST:REM"),
    leave: Some("SYST:LOC"),
    clear: Some("\x03"),
    wait_us: 100_000,
    status: true,
    ..plain()
};

/// Meters of two languages, as in the test suite of a general-purpose library.
pub static LANGUAGE: Profile = Profile { begin: Some("*LANG SCPI"), read: ":READ?", ..plain() };

/// Meters that answer with five items unless told which: the same source.
pub static ELEMENTS: Profile = Profile { shape: Some("FORM:ELEM READ"), ..plain() };

/// The same, left as they are: they say which elements their lists have, and the reading is taken
/// by its name.
pub static LIST: Profile = Profile { elements: Some("FORM:ELEM?"), ..plain() };

/// Low-resistance meters that send 1E8 for overflow and 1E9 for a fault of the leads: a public
/// manual. Their dialogue is from memory.
pub static LOW_OHM_8: Profile = Profile {
    sentinels: &[
        Sentinel { power: 8, means: Indication::Overload },
        Sentinel { power: 9, means: Indication::NoValue },
    ],
    ..plain()
};

/// The same with 1E9 and 1E10: another public manual.
pub static LOW_OHM_9: Profile = Profile {
    sentinels: &[
        Sentinel { power: 9, means: Indication::Overload },
        Sentinel { power: 10, means: Indication::NoValue },
    ],
    ..plain()
};

/// Meters set to send after each conversion: a public manual of an LCR meter.
pub static AUTO: Profile = Profile { auto: true, ..plain() };

const fn plain() -> Profile {
    Profile {
        begin: None,
        shape: None,
        elements: None,
        leave: None,
        read: "READ?",
        again: None,
        clear: None,
        sentinels: &[],
        wait_us: 0,
        gap_us: GAP_US,
        status: false,
        auto: false,
    }
}

impl Profile {
    /// What an indication means on this meter. What is as large as its smallest sentinel and none
    /// of them is no value either.
    #[must_use]
    pub fn means(&self, function: Function, said: Indication) -> Indication {
        let ohms = matches!(function, Function::Resistance2w | Function::Resistance4w);
        let Indication::Value(number) = said else { return said };
        let Some((size, whole)) = size(number).filter(|_| ohms) else { return said };
        if self.sentinels.iter().all(|one| size < i32::from(one.power)) {
            return said;
        }
        match self.sentinels.iter().find(|one| whole && size == i32::from(one.power)) {
            Some(sentinel) if !number.negative => sentinel.means,
            _ => Indication::NoValue,
        }
    }
}

/// The power of ten of the first digit, and whether the size is just that power. `None` for zero.
fn size(number: Number) -> Option<(i32, bool)> {
    let log = number.digits.checked_ilog10()?;
    let size = i32::try_from(log).ok()? + i32::from(number.exponent);
    Some((size, number.digits == 10_u64.pow(log)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn means(profile: &Profile, sent: &[u8]) -> Indication {
        let said = crate::wire::words::shown(sent).unwrap();
        profile.means(Function::Resistance4w, said)
    }

    /// Forms printed in two public manuals of low-resistance meters.
    #[test]
    fn what_a_low_resistance_meter_sends_for_no_value_is_none_and_elsewhere_is_one() {
        for sent in ["10.0000E+8", "+100.000E+7", "1000.00E+6"] {
            assert_eq!(means(&LOW_OHM_9, sent.as_bytes()), Indication::Overload, "{sent}");
            assert_eq!(means(&LOW_OHM_8, sent.as_bytes()), Indication::NoValue, "{sent}");
            assert!(matches!(means(&PLAIN, sent.as_bytes()), Indication::Value(_)), "{sent}");
        }
        assert_eq!(means(&LOW_OHM_8, b"1.0000E+8"), Indication::Overload);
        assert_eq!(means(&LOW_OHM_8, b"1.0000E+9"), Indication::NoValue);
        assert_eq!(means(&LOW_OHM_9, b"+10.0000E+9"), Indication::NoValue);
        for sent in ["-10.0000E+8", "-1000.00E+6", "1.1E9", "2E10", "1E12"] {
            for profile in [&LOW_OHM_8, &LOW_OHM_9] {
                assert_eq!(means(profile, sent.as_bytes()), Indication::NoValue, "{sent}");
            }
        }
        for sent in ["0", "-0.0001", "+99.9999E+6", "1.8E-1"] {
            for profile in [&LOW_OHM_8, &LOW_OHM_9] {
                assert!(matches!(means(profile, sent.as_bytes()), Indication::Value(_)), "{sent}");
            }
        }
        let volts = crate::wire::words::shown(b"1E9").unwrap();
        assert_eq!(LOW_OHM_9.means(Function::VoltageDc, volts), volts);
    }
}
