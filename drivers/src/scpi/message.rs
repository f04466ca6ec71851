//! All that the driver can ever say. Nothing here starts a source or recalls a setting.

use alloc::vec::Vec;

use super::profile::Profile;
use crate::driver::Message;
use crate::reading::Function;

/// A query, that is, a message with an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Query {
    /// Who are you?
    Identity,
    /// The oldest error of the queue.
    Errors,
    /// What are you configured for?
    Function,
    /// What happened to you since you were asked last?
    Status,
    /// Which elements have your lists?
    Elements,
    /// What was your last reading?
    Again,
    /// Measure once and say.
    Reading,
}

/// The allow-list, first the queries in the order of [`Query`]; what asks for a reading and the
/// messages without an answer are those of the profiles.
const IDENTITY: &str = "*IDN?";
const ERRORS: &str = "SYST:ERR?";
const FUNCTION: &str = "CONF?";
const STATUS: &str = "*ESR?";

/// And the measuring functions. Insulation resistance is missing on purpose: whatever measures
/// it puts a voltage on its terminals. So is a peak: SCPI-99 has no function of that name that
/// every meter takes for the larger of both signs.
const CONFIGURE: &[(Function, &str)] = &[
    (Function::VoltageDc, "CONF:VOLT:DC"),
    (Function::VoltageAc, "CONF:VOLT:AC"),
    (Function::CurrentDc, "CONF:CURR:DC"),
    (Function::CurrentAc, "CONF:CURR:AC"),
    (Function::Resistance2w, "CONF:RES"),
    (Function::Resistance4w, "CONF:FRES"),
    (Function::Frequency, "CONF:FREQ"),
];

impl Query {
    /// How long its answer may take, microseconds. A conversion may wait for its trigger.
    pub(super) fn limit_us(self) -> u64 {
        match self {
            Query::Identity | Query::Errors => 2_000_000,
            Query::Function | Query::Status | Query::Elements | Query::Again => 1_000_000,
            Query::Reading => 3_000_000,
        }
    }

    /// Its text without terminator.
    pub(super) fn text(self, profile: &Profile) -> &'static str {
        match self {
            Query::Identity => IDENTITY,
            Query::Errors => ERRORS,
            Query::Function => FUNCTION,
            Query::Status => STATUS,
            Query::Elements => profile.elements.unwrap_or_default(),
            Query::Again => profile.again.unwrap_or_default(),
            Query::Reading => profile.read,
        }
    }

    /// The message that asks it.
    pub(super) fn message(self, profile: &Profile) -> Message {
        terminated(self.text(profile))
    }
}

/// The message that configures a function, `None` where it is not on the list.
pub(super) fn configure(function: Function) -> Option<Message> {
    let (_, text) = CONFIGURE.iter().find(|(known, _)| *known == function)?;
    Some(terminated(text))
}

/// A message of the allow-list on its way, as it stands.
pub(super) fn raw(text: &'static str) -> Message {
    Message(text.into())
}

/// The same with its end.
pub(super) fn terminated(text: &'static str) -> Message {
    let mut bytes: Vec<u8> = text.into();
    bytes.push(b'\n');
    Message(bytes)
}

/// Everything that can be said with a profile, each message once.
pub(super) fn allowed(profile: &Profile) -> Vec<Message> {
    let queries = [Query::Identity, Query::Errors, Query::Function, Query::Reading];
    let mut all: Vec<Message> = queries.map(|query| query.message(profile)).into();
    all.extend(profile.status.then(|| Query::Status.message(profile)));
    all.extend(profile.elements.map(terminated));
    all.extend(profile.again.map(terminated));
    all.extend(CONFIGURE.iter().map(|(_, text)| terminated(text)));
    all.extend([profile.begin, profile.shape, profile.leave].into_iter().flatten().map(terminated));
    all.extend(profile.clear.map(raw));
    all
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::profile;
    use super::*;
    use alloc::string::String;

    /// Every function there is, so that a new one can't slip past the list.
    const FUNCTIONS: [Function; 10] = [
        Function::VoltageDc,
        Function::VoltageAc,
        Function::VoltagePeak,
        Function::CurrentDc,
        Function::CurrentAc,
        Function::Resistance2w,
        Function::Resistance4w,
        Function::InsulationResistance,
        Function::Frequency,
        Function::Contacts,
    ];

    /// The whole allow-list of each profile, written down a second time.
    pub(in crate::scpi) const ALLOWED: [(&str, &Profile, &[&str]); 12] = [
        ("scpi", &profile::PLAIN, &["READ?\n"]),
        ("scpi-remote", &profile::REMOTE, &["READ?\n", "*ESR?\n", "SYST:REM\n", "SYST:LOC\n"]),
        ("scpi-tcp", &profile::TCP, &["READ?\n"]),
        (
            "scpi-remote-clear",
            &profile::REMOTE_CLEAR,
            &["READ?\n", "*ESR?\n", "SYST:REM\n", "SYST:LOC\n", "\x03"],
        ),
        ("scpi-twice", &profile::TWICE, &["READ?\n", "FETC?\n"]),
        (
            "scpi-remote-twice",
            &profile::REMOTE_TWICE,
            &["READ?\n", "FETC?\n", "*ESR?\n", "SYST:REM\n", "SYST:LOC\n"],
        ),
        ("scpi-list", &profile::LIST, &["READ?\n", "FORM:ELEM?\n"]),
        ("scpi-low-ohm-8", &profile::LOW_OHM_8, &["READ?\n"]),
        ("scpi-low-ohm-9", &profile::LOW_OHM_9, &["READ?\n"]),
        ("scpi-lang", &profile::LANGUAGE, &[":READ?\n", "*LANG SCPI\n"]),
        ("scpi-elements", &profile::ELEMENTS, &["READ?\n", "FORM:ELEM READ\n"]),
        ("scpi-auto", &profile::AUTO, &["READ?\n"]),
    ];

    /// And what all of them may say.
    pub(in crate::scpi) const COMMON: [&str; 10] = [
        "*IDN?\n",
        "SYST:ERR?\n",
        "CONF?\n",
        "CONF:VOLT:DC\n",
        "CONF:VOLT:AC\n",
        "CONF:CURR:DC\n",
        "CONF:CURR:AC\n",
        "CONF:RES\n",
        "CONF:FRES\n",
        "CONF:FREQ\n",
    ];

    #[test]
    fn every_message_that_can_be_made_is_on_the_list_and_none_starts_a_source() {
        let queries = [Query::Identity, Query::Errors, Query::Function, Query::Reading];
        for (name, profile, own) in ALLOWED {
            let mut made: Vec<Message> = queries.map(|query| query.message(profile)).into();
            made.extend(profile.status.then(|| Query::Status.message(profile)));
            made.extend(profile.elements.map(|_| Query::Elements.message(profile)));
            made.extend(profile.again.map(|_| Query::Again.message(profile)));
            made.extend(profile.clear.map(raw));
            made.extend(FUNCTIONS.into_iter().filter_map(configure));
            let said = [profile.begin, profile.shape, profile.leave];
            made.extend(said.into_iter().flatten().map(terminated));
            let text = |m: &Message| String::from_utf8(m.bytes().to_vec()).unwrap();
            let mut made: Vec<_> = made.iter().map(text).collect();
            let mut want: Vec<_> = COMMON.iter().chain(own).map(|t| String::from(*t)).collect();
            made.sort();
            want.sort();
            assert_eq!(made, want, "{name}");
            for text in made {
                for word in ["MEAS", "OUTP", "SOUR", "*RST", "*RCL", "INIT", "*TRG", "INS", ";"] {
                    assert!(!text.contains(word), "{text}");
                }
            }
        }
    }

    #[test]
    fn insulation_and_contacts_can_not_be_configured() {
        assert_eq!(configure(Function::InsulationResistance), None);
        assert_eq!(configure(Function::Contacts), None);
    }
}
