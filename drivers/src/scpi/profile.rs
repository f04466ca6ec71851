//! What a meter needs besides the common dialogue, as data: one profile a row of the catalogue.

/// How a meter is brought to listen, to speak and to let go. Every text is a program message of
/// the allow-list; none starts a source or recalls a setting.
#[derive(Debug, PartialEq, Eq)]
pub struct Profile {
    /// Said before anything else, and again after the meter was let go or switched off.
    pub begin: Option<&'static str>,
    /// Said behind each `CONF:`, before the error queue is asked whether all was understood.
    pub shape: Option<&'static str>,
    /// Said when nobody wants a reading any more.
    pub leave: Option<&'static str>,
    /// Asks for one reading.
    pub read: &'static str,
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

/// Between two messages nothing else is said.
const GAP_US: u64 = super::GAP_US;

/// The dialogue and nothing else.
pub static PLAIN: Profile = plain();

/// Meters on a serial line that take no command until it is said who commands, and whose keys are
/// locked until they are let go. `SYST:REM` and `SYST:LOC` are from memory.
pub static REMOTE: Profile = Profile {
    begin: Some("SYST:REM"),
    leave: Some("SYST:LOC"),
    wait_us: 100_000,
    status: true,
    ..plain()
};

/// Meters of two languages, as in the test suite of a general-purpose library.
pub static LANGUAGE: Profile = Profile { begin: Some("*LANG SCPI"), read: ":READ?", ..plain() };

/// Meters that answer with five items unless told which: the same source.
pub static ELEMENTS: Profile = Profile { shape: Some("FORM:ELEM READ"), ..plain() };

/// Meters set to send after each conversion: a public manual of an LCR meter.
pub static AUTO: Profile = Profile { auto: true, ..plain() };

const fn plain() -> Profile {
    Profile {
        begin: None,
        shape: None,
        leave: None,
        read: "READ?",
        wait_us: 0,
        gap_us: GAP_US,
        status: false,
        auto: false,
    }
}
