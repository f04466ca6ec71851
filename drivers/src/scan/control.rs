//! Control codes of the printed sheet: `.TL-<WORD>-<C>`, `.TL-<WORD>.<PARAMETER>-<C>`.
//!
//! C is the check character of HIBC labels over everything in front of it: the sum of the
//! characters' values modulo 43 (ANSI/HIBC 2.6, table also printed in reader manuals; from
//! memory). A blank, which some readers drop at the end, is sent as `_` instead. The check
//! catches every single wrong character, not two that changed places. A code without its check,
//! or with a wrong one, is never acted on.

use alloc::format;
use alloc::string::String;

use super::check::mod43;

/// What every control code begins with, and no asset number ever does.
pub const PREFIX: &str = ".TL-";

/// The words of the sheet, closed.
pub const WORDS: &[&str] = &[
    "CAPTURE", "REPEAT", "DISCARD", "PASS", "FAIL", "NA", "NULL", "PROVE", "SWITCH", "BEGIN",
    "SIGN", "PARK", "RESUME", "TAG", "NOTE", "SKIP", "ASSET",
];

/// The words of the acts at a hazardous step, closed: printed on a card of their own.
pub const ACT_WORDS: &[&str] = &["CONNECTED", "CLEAR", "LIVE", "TEST", "DEAD", "ALIVE"];

/// A control code that was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Control<'a> {
    /// One of [`WORDS`] or [`ACT_WORDS`].
    pub word: &'a str,
    /// What stood behind the word: `L-1` of `NULL.L-1`.
    pub parameter: Option<&'a str>,
}

/// Why a code that begins like one of ours is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Damaged;

/// The code to print for a word, with or without parameter: `NULL` or `NULL.L-1`.
///
/// Small letters become capitals. Characters outside A-Z, 0-9, `-` and `.` have no place in a
/// code: then the check is left out and [`read`] refuses the result.
#[must_use]
pub fn code(word: &str) -> String {
    let word = word.to_ascii_uppercase();
    let body = format!("{PREFIX}{word}-");
    let legal = word.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'.');
    match check(body.as_bytes()).filter(|_| legal) {
        Some(check) => format!("{body}{check}"),
        None => body,
    }
}

/// The check character, `_` for a blank; `None` where a character is none of the 43.
#[must_use]
pub fn check(bytes: &[u8]) -> Option<char> {
    mod43(bytes).map(|check| if check == b' ' { '_' } else { char::from(check) })
}

/// Whether a code claims to be one of ours; capitals or not.
#[must_use]
pub fn claims(payload: &[u8]) -> bool {
    payload.get(..PREFIX.len()).is_some_and(|head| head.eq_ignore_ascii_case(PREFIX.as_bytes()))
}

/// Reads a code.
///
/// # Errors
/// [`Damaged`] for a wrong or missing check, small letters, an unknown word, an empty parameter.
pub fn read(payload: &[u8]) -> Result<Control<'_>, Damaged> {
    let text = core::str::from_utf8(payload).map_err(|_| Damaged)?;
    let sent = text.chars().last().filter(char::is_ascii).ok_or(Damaged)?;
    let body = &text[..text.len() - 1];
    if check(body.as_bytes()) != Some(sent) {
        return Err(Damaged);
    }
    let inner = body.strip_prefix(PREFIX).and_then(|rest| rest.strip_suffix('-'));
    let (word, parameter) = match inner.ok_or(Damaged)?.split_once('.') {
        Some((word, parameter)) => (word, Some(parameter)),
        None => (inner.ok_or(Damaged)?, None),
    };
    let known = WORDS.contains(&word) || ACT_WORDS.contains(&word);
    if !known || parameter == Some("") { Err(Damaged) } else { Ok(Control { word, parameter }) }
}

#[cfg(test)]
mod tests {
    use super::super::check::CHARACTERS;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_published_example_of_the_check_character_comes_out() {
        // ANSI/HIBC 2.6-2016 figure 1, as cited in an open test suite: +A123BJC5D6E71G.
        assert_eq!(check(b"+A123BJC5D6E71"), Some('G'));
        // HIBC provider label of ANSI/HIBC PAS 1.3 section 2.2, cited likewise: +/EO5232013.
        assert_eq!(check(b"+/EO523201"), Some('3'));
    }

    #[test]
    fn every_word_is_read_back_with_and_without_parameter() {
        for word in WORDS.iter().chain(ACT_WORDS) {
            let plain = Control { word, parameter: None };
            assert_eq!(read(code(word).as_bytes()), Ok(plain));
            let with = code(&format!("{word}.L-1.x"));
            assert_eq!(read(with.as_bytes()), Ok(Control { word, parameter: Some("L-1.X") }));
        }
    }

    #[test]
    fn no_code_ends_in_a_blank_that_a_reader_may_drop() {
        assert_eq!(code("ALIVE"), ".TL-ALIVE-_");
        assert_eq!(read(b".TL-ALIVE-_").map(|control| control.word), Ok("ALIVE"));
        assert_eq!(read(b".TL-ALIVE- "), Err(Damaged));
    }

    #[test]
    fn a_damaged_code_is_refused() {
        let good = code("CAPTURE");
        let without = &good[..good.len() - 1];
        for text in [without, ".TL-CAPTURE", ".TL-", ".TL--", "", &good.to_ascii_lowercase()] {
            assert_eq!(read(text.as_bytes()), Err(Damaged), "{text}");
        }
        for word in ["CAPTUR", "UNDO", "NULL.", "", "NULL.L_1"] {
            assert_eq!(read(code(word).as_bytes()), Err(Damaged), "{word}");
        }
        assert_eq!(read("\u{e9}".as_bytes()), Err(Damaged));
    }

    proptest! {
        #[test]
        fn one_wrong_character_is_always_found(
            word in prop::sample::select(WORDS.to_vec()),
            at: prop::sample::Index,
            with in 0..43_usize,
        ) {
            let good = code(word).into_bytes();
            let mut bad = good.clone();
            let at = at.index(bad.len());
            bad[at] = CHARACTERS[with];
            prop_assume!(bad != good);
            prop_assert_eq!(read(&bad), Err(Damaged));
        }

        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..40)) {
            let _ = read(&bytes);
            let _ = claims(&bytes);
        }
    }
}
