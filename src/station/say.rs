//! Why a command was not done, in sentences a technician understands.

use tapline_protocols::fact::Word;
use tapline_protocols::inspection::Refusal;

use super::event::{Answer, Problem};
use crate::words;

impl Problem {
    /// A problem of a closed code; what to do next is the words file's.
    #[must_use]
    pub fn new(code: &str, detail: impl Into<String>) -> Problem {
        let next = words::english().say("problem", code).to_string();
        Problem { code: code.into(), detail: detail.into(), next }
    }

    /// The same with its own advice.
    #[must_use]
    pub fn next(mut self, next: impl Into<String>) -> Problem {
        self.next = next.into();
        self
    }
}

/// Something that was asked can't be read.
pub(super) fn bad(detail: impl Into<String>) -> Problem {
    Problem::new("bad_input", detail)
}

/// Something that was named is not there.
pub(super) fn missing(what: &str, name: &str) -> Problem {
    Problem::new("not_found", format!("there is no {what} `{name}`"))
}

/// Something stands in the way.
pub(super) fn conflict(detail: impl Into<String>, next: &str) -> Problem {
    Problem::new("conflict", detail).next(next)
}

impl Answer {
    /// Done, with the last line that it caused.
    #[must_use]
    pub fn done(seq: u64) -> Answer {
        let (say, besides) = (Vec::new(), Vec::new());
        Answer { seq, id: None, say, besides, outcome: None, changes: None }
    }

    /// With the inspection it concerns.
    #[must_use]
    pub fn about(mut self, id: &str) -> Answer {
        self.id = Some(id.into());
        self
    }

    /// With what to know before going on.
    #[must_use]
    pub fn besides(mut self, sentences: Vec<Vec<String>>) -> Answer {
        self.besides = sentences;
        self
    }

    /// With what to say: a key of the words file and its values.
    #[must_use]
    pub fn say(mut self, words: &[&str]) -> Answer {
        self.say = words.iter().map(|word| (*word).to_string()).collect();
        self
    }
}

/// A refusal of the inspection, in words: what is the matter, then what to do.
pub(super) fn refused(refusal: &Refusal) -> Problem {
    let key = refusal.key.trim_start_matches("refusal.");
    let text = words::english().say("refusal", key);
    let text = match refusal.values.first() {
        Some(value) => text.replace("{value}", value),
        None => text.to_string(),
    };
    match text.split_once(". ") {
        Some((detail, next)) => Problem::new(refusal.code, format!("{detail}.")).next(next),
        None => Problem::new(refusal.code, text),
    }
}

/// The word of an outcome, as it is stored.
pub(super) fn word(word: Word) -> String {
    match word {
        Word::Pass => "pass",
        Word::ConditionalPass => "conditional_pass",
        Word::ConditionalFail => "conditional_fail",
        Word::Fail => "fail",
        Word::Undecided => "undecided",
    }
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_says_what_is_the_matter_and_what_to_do() {
        let values = vec!["S5".to_string()];
        let key = "refusal.box_has_no_switch";
        let problem = refused(&Refusal { code: "not_found", key, values });
        assert_eq!(problem.detail, "The supply box has no switch S5.");
        assert_eq!(
            (problem.code.as_str(), problem.next.as_str()),
            ("not_found", "Check the letter.")
        );
    }
}
