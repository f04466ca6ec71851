//! A PIN on its way from the person to its comparison.

use zeroize::Zeroizing;

use super::pin_problem;
use crate::station::event::Problem;

/// Fewest characters. NIST SP 800-63B, 5.1.1.1 (from memory): at least 6 for what a program chose,
/// and what is counted and locked may be as short.
const CHARS_MIN: usize = 6;

/// Most characters; NIST SP 800-63B, 5.1.1.2 (from memory): at least 64 are to be taken.
const CHARS_MAX: usize = 64;

/// A PIN as it was typed. It can't be printed, is kept nowhere, and its bytes are overwritten when
/// it goes.
pub(crate) struct Pin(Zeroizing<String>);

/// What is typed for a signature.
#[derive(Default)]
pub(crate) struct Typed {
    /// PIN of who signs.
    pub(crate) pin: Option<Pin>,
    /// PIN of the second person.
    pub(crate) second: Option<Pin>,
}

impl Pin {
    /// What was typed.
    ///
    /// # Errors
    /// It is longer than any PIN.
    pub(crate) fn typed(text: String) -> Result<Pin, Problem> {
        let pin = Pin(Zeroizing::new(text));
        match pin.0.chars().count() {
            0..=CHARS_MAX => Ok(pin),
            _ => Err(pin_problem("bad_input", "long")),
        }
    }

    /// The same, for another thread.
    pub(super) fn copy(&self) -> Pin {
        Pin(self.0.clone())
    }

    /// Its bytes, for the comparison alone.
    pub(super) fn bytes(&self) -> &[u8] {
        self.0.as_bytes()
    }

    /// Why it would be guessed, a key of the words file. NIST SP 800-63B, 5.1.1.2 (from memory):
    /// repeated and sequential characters, and what belongs to the person, are refused.
    pub(super) fn weakness(&self, about: &[&str]) -> Option<&'static str> {
        let text: Zeroizing<Vec<char>> = Zeroizing::new(self.0.chars().collect());
        if text.len() < CHARS_MIN {
            return Some("short");
        }
        if text.iter().any(|one| one.is_control()) {
            return Some("control");
        }
        let repeats =
            |length: usize| text.iter().skip(length).eq(text.iter().rev().skip(length).rev());
        if (1..=text.len() / 2).any(repeats) {
            return Some("repeated");
        }
        let steps =
            text.windows(2).map(|two| i64::from(u32::from(two[1])) - i64::from(u32::from(two[0])));
        let steps: Zeroizing<Vec<i64>> = Zeroizing::new(steps.collect());
        if steps.iter().all(|step| *step == 1) || steps.iter().all(|step| *step == -1) {
            return Some("run");
        }
        let own = Zeroizing::new(self.0.to_lowercase());
        let about = about.iter().map(|text| text.to_lowercase());
        about.into_iter().any(|text| text.contains(&**own) || own.contains(&text)).then_some("own")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weakness(text: &str) -> Option<&'static str> {
        Pin::typed(text.into()).unwrap().weakness(&["OP-471108", "op-7"])
    }

    #[test]
    fn what_is_guessed_first_is_no_pin() {
        for (text, why) in [
            ("27183", "short"),
            ("271\t83", "control"),
            ("000000", "repeated"),
            ("121212", "repeated"),
            ("127127", "repeated"),
            ("12712712", "repeated"),
            ("123456", "run"),
            ("987654", "run"),
            ("abcdefgh", "run"),
            ("471108", "own"),
            ("xop-7x", "own"),
        ] {
            assert_eq!(weakness(text), Some(why), "{text}");
        }
        for text in ["271828", "112233", "müller-7", "correct horse battery"] {
            assert_eq!(weakness(text), None, "{text}");
        }
    }

    #[test]
    fn a_pin_has_at_most_64_characters() {
        assert!(Pin::typed("ü".repeat(64)).is_ok());
        assert!(Pin::typed("u".repeat(65)).is_err_and(|why| !why.detail.contains('u')));
    }
}
