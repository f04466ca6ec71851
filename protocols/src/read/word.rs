//! Words of closed lists, by the lists that serde knows already.

use core::fmt;

use serde::Deserialize;
use serde::de::value::StrDeserializer;
use serde::de::{self, IntoDeserializer};

/// The variant that `text` names.
///
/// # Errors
/// The words that would have been understood.
pub fn word<'t, T: Deserialize<'t>>(text: &'t str) -> Result<T, &'static [&'static str]> {
    let word: StrDeserializer<'t, Unknown> = text.into_deserializer();
    T::deserialize(word).map_err(|unknown| unknown.0)
}

/// A word outside a list, with the list.
#[derive(Debug)]
struct Unknown(&'static [&'static str]);

impl fmt::Display for Unknown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("unknown word")
    }
}

impl core::error::Error for Unknown {}

impl de::Error for Unknown {
    fn custom<T: fmt::Display>(_: T) -> Unknown {
        Unknown(&[])
    }

    fn unknown_variant(_: &str, words: &'static [&'static str]) -> Unknown {
        Unknown(words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::register::{Class, Cord};

    #[test]
    fn an_unknown_word_comes_with_the_words_that_are_known() {
        assert_eq!(word::<Class>("internal"), Ok(Class::Internal));
        assert_eq!(word::<Cord>("Fixed"), Err(&["fixed", "detachable", "installed", "none"][..]));
    }
}
