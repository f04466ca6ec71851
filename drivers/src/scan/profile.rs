//! What is known of a reader and its site, as it stands behind the driver's name:
//! `scan gs_alias=%5E%5D proven asset=AS-%23%23%23`.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt::{self, Write};

use super::gs1::GS;
use super::link::decoded;
use super::pattern::Pattern;

/// Longest text that a reader may send in place of a separator, bytes.
pub const ALIAS_MAX: usize = 8;

/// Most patterns of a site.
pub const PATTERNS_MAX: usize = 16;

/// A reader and its site.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Profile {
    /// What the reader sends in place of the separator (byte 1D), where it does.
    pub gs_alias: Option<String>,
    /// The reader passed its self-test: separators arrive.
    pub proven: bool,
    /// How the site writes its asset numbers.
    pub assets: Vec<Pattern>,
}

impl Profile {
    /// Reads what stands behind the driver's name, words with blanks between; nothing is the reader
    /// of whom nothing is known.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn parse(text: &str) -> Result<Profile, &'static str> {
        let mut profile = Profile::default();
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            let (name, value) = word.split_once('=').unwrap_or((word, ""));
            let value = decoded(value).ok_or("an escape is %, two hexadecimal digits")?;
            match name {
                "gs_alias" => profile.gs_alias = Some(alias(value)?),
                "proven" if value.is_empty() => profile.proven = true,
                "asset" if profile.assets.len() < PATTERNS_MAX => {
                    profile.assets.push(Pattern::parse(&value)?);
                }
                _ => return Err("it has `gs_alias=…`, `proven` and up to 16 times `asset=…`"),
            }
        }
        Ok(profile)
    }

    /// The code with separators where the reader sends something else in their place.
    pub(super) fn separated(&self, payload: &str) -> String {
        match &self.gs_alias {
            Some(alias) => payload.replace(alias.as_str(), GS.encode_utf8(&mut [0; 4])),
            None => payload.into(),
        }
    }
}

/// # Errors
/// It has no character, more than eight, or one that can't be typed; or it is digits and letters
/// alone, which are data.
fn alias(text: String) -> Result<String, &'static str> {
    let visible = text.bytes().all(|byte| (b' '..=b'~').contains(&byte));
    let marks = text.bytes().any(|byte| !byte.is_ascii_alphanumeric());
    if !(1..=ALIAS_MAX).contains(&text.len()) || !visible || !marks {
        return Err("`gs_alias` has 1 to 8 visible characters, and not letters and digits alone");
    }
    Ok(text)
}

impl fmt::Display for Profile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut words = Vec::new();
        if let Some(alias) = &self.gs_alias {
            words.push(["gs_alias=", &escaped(alias)].concat());
        }
        if self.proven {
            words.push("proven".into());
        }
        let pattern = |one: &Pattern| ["asset=", &escaped(&alloc::format!("{one}"))].concat();
        words.extend(self.assets.iter().map(pattern));
        f.write_str(&words.join(" "))
    }
}

/// Percent-encoded, all but letters, digits and a few marks.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        match byte {
            b'-' | b'.' | b'_' | b'~' | b'#' | b'@' | b'*' => out.push(char::from(byte)),
            _ if byte.is_ascii_alphanumeric() => out.push(char::from(byte)),
            _ => write!(out, "%{byte:02X}").expect("a string takes everything"),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_profile_is_read_as_it_is_written() {
        let text = "gs_alias=%5E%5D proven asset=AS-####### asset=https%3A%2F%2Finv.example%2F%28P-####%29";
        let profile = Profile::parse(text).unwrap();
        assert_eq!(profile.gs_alias.as_deref(), Some("^]"));
        assert_eq!((profile.proven, profile.assets.len()), (true, 2));
        assert_eq!(alloc::format!("{profile}"), text);
        assert_eq!(Profile::parse(""), Ok(Profile::default()));
        assert_eq!(profile.separated("10A^]21B"), "10A\u{1d}21B");
    }

    #[test]
    fn what_can_not_be_meant_is_told() {
        for (text, why) in [
            ("gs_alias=", "1 to 8"),
            ("gs_alias=21", "digits alone"),
            ("gs_alias=%2", "escape"),
            ("gs_alias=%07", "1 to 8"),
            ("asset=AS", "needs"),
            ("speed=3", "it has"),
            ("proven=1", "it has"),
        ] {
            assert!(Profile::parse(text).unwrap_err().contains(why), "{text}");
        }
    }
}
