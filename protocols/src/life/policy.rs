//! Which inspections somebody else looks through.

use alloc::string::String;

use crate::fact::Word;

/// Hexadecimal digits of a head that decide on a sample.
const DIGITS: usize = 16;

/// `none all fails`, or `sample 10 %` with 1 to 99.
#[must_use]
pub fn is_review_policy(policy: &str) -> bool {
    matches!(policy, "none" | "all" | "fails") || sample(policy).is_some()
}

/// The policy asks for a review of this inspection. A sample is decided by the hash of the book,
/// which nobody knows before it is sealed and nobody can choose.
#[must_use]
pub fn asks_for_review(policy: &str, head: &str, outcome: Word) -> bool {
    match policy {
        "all" => true,
        "fails" => matches!(outcome, Word::Fail | Word::ConditionalFail),
        other => sample(other).is_some_and(|percent| drawn(head, percent)),
    }
}

fn sample(policy: &str) -> Option<u8> {
    let percent = policy.strip_prefix("sample ")?.strip_suffix(" %")?;
    let digits = percent.bytes().all(|byte| byte.is_ascii_digit()) && !percent.starts_with('0');
    percent.parse().ok().filter(|percent| digits && (1..=99).contains(percent))
}

/// A head that can't be read is drawn: doubt asks for eyes.
fn drawn(head: &str, percent: u8) -> bool {
    let digits: Option<String> = head.get(..DIGITS).map(Into::into);
    let Some(number) = digits.and_then(|digits| u64::from_str_radix(&digits, 16).ok()) else {
        return true;
    };
    (u128::from(number) * 100) >> 64 < u128::from(percent)
}
