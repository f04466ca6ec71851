//! What is known of a reader and its site, as it stands behind the driver's name:
//! `scan gs_alias=%5E%5D proven asset=AS-%23%23%23`.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt::{self, Write};

use super::content::{Content, field};
use super::gs1::GS;
use super::link::decoded;
use super::pattern::Pattern;

/// Longest text that a reader may send in place of a separator, bytes.
pub const ALIAS_MAX: usize = 8;

/// Elements of GS1 that everybody uses as they like: a site may write its asset numbers into one.
pub const OWN: [&str; 9] = ["91", "92", "93", "94", "95", "96", "97", "98", "99"];

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
    /// Elements of [`OWN`] that hold the site's asset numbers, the stronger ones first.
    pub own: Vec<&'static str>,
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
                "own" => {
                    let known = OWN.into_iter().find(|ai| *ai == value);
                    profile.own.push(known.ok_or("`own` is an element from 91 to 99")?);
                }
                _ => {
                    return Err(
                        "it has `gs_alias=…`, `proven`, `own=…` and up to 16 times `asset=…`",
                    );
                }
            }
        }
        Ok(profile)
    }

    /// An element of the site's own is the number of an asset, where nothing stronger says one.
    pub(super) fn own_number(&self, content: &mut Content) {
        for ai in &self.own {
            let value = content.elements.iter().find(|one| one.key == *ai);
            if let Some(number) = value.map(|one| one.value.clone()) {
                content.text_field(field::ASSET_ID, &number);
            }
        }
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
        words.extend(self.own.iter().map(|ai| ["own=", ai].concat()));
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
    use crate::scan::read;

    #[test]
    fn a_profile_is_read_as_it_is_written() {
        let text = "gs_alias=%5E%5D proven own=91 asset=AS-####### asset=https%3A%2F%2Finv.example%2F%28P-####%29";
        let profile = Profile::parse(text).unwrap();
        assert_eq!(profile.gs_alias.as_deref(), Some("^]"));
        assert_eq!((profile.proven, profile.assets.len()), (true, 2));
        assert_eq!(alloc::format!("{profile}"), text);
        assert_eq!(Profile::parse(""), Ok(Profile::default()));
        assert_eq!(profile.separated("10A^]21B"), "10A\u{1d}21B");
    }

    #[test]
    fn an_element_of_the_site_is_its_asset_number_and_none_of_anybody_elses() {
        let asset = |profile: &str, code: &[u8]| {
            let content = read(code, &Profile::parse(profile).unwrap()).unwrap();
            content.field(field::ASSET_ID).map(String::from)
        };
        let code = b"]d2010950110153000391P-0107\x1d92other";
        assert_eq!(asset("", code), None);
        assert_eq!(asset("own=91", code).as_deref(), Some("P-0107"));
        assert_eq!(asset("own=93 own=92", code).as_deref(), Some("other"));
        let giai = b"]d28004061414132a/b\x1d91P-0107";
        assert_eq!(asset("own=91", giai).as_deref(), Some("061414132a/b"), "the stronger one");
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
            ("own=90", "91 to 99"),
            ("own=21", "91 to 99"),
        ] {
            assert!(Profile::parse(text).unwrap_err().contains(why), "{text}");
        }
    }
}
