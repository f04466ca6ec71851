//! The table of application identifiers: the checked-in extract, read line by line when asked.

/// The extract.
const TEXT: &str = include_str!("dictionary.txt");

/// What one line of the table says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::scan) struct Entry {
    flags: &'static str,
    rest: &'static str,
}

/// A set of characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Set {
    /// 0 to 9.
    Digits,
    /// The 82 characters of element strings.
    X,
    /// The 39 characters of component numbers.
    Y,
    /// base64url.
    Z,
}

/// A piece of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Component {
    /// Its characters.
    pub(super) set: Set,
    /// Fewest characters.
    pub(super) least: usize,
    /// Most characters.
    pub(super) most: usize,
    /// It may be missing.
    pub(super) optional: bool,
    /// Names of the tests of its contents, with commas between.
    pub(super) lints: &'static str,
}

/// The identifier that a text begins with, and its line: two, three or four digits.
#[must_use]
pub(in crate::scan) fn begins(text: &str) -> Option<(&str, Entry)> {
    (2..=4).find_map(|length| {
        let ai = text.get(..length)?;
        Some((ai, entry(ai)?))
    })
}

/// The line of an identifier.
#[must_use]
pub(in crate::scan) fn entry(ai: &str) -> Option<Entry> {
    if !ai.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    lines().find(|(range, _)| covers(range, ai)).map(|(_, entry)| entry)
}

/// All lines: the identifier or the range of them.
pub(super) fn lines() -> impl Iterator<Item = (&'static str, Entry)> {
    let lines = TEXT.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    lines.filter_map(|line| {
        let mut words = line.splitn(3, ' ');
        let (range, flags, rest) = (words.next()?, words.next()?, words.next()?);
        let rest = rest.split_once(" # ").map_or(rest, |(rest, _)| rest);
        Some((range, Entry { flags, rest }))
    })
}

/// `310n` style ranges: `3100-3105`; texts of equal length compare as numbers do.
fn covers(range: &str, ai: &str) -> bool {
    let (first, last) = range.split_once('-').unwrap_or((range, range));
    first.len() == ai.len() && first <= ai && ai <= last
}

impl Entry {
    /// Its length is pre-defined: no separator stands behind it.
    pub(super) fn predefined(self) -> bool {
        self.flags.contains('*')
    }

    /// It identifies something by itself.
    pub(in crate::scan) fn is_key(self) -> bool {
        self.flags.contains('!')
    }

    /// It may stand in the query of a Digital Link.
    pub(in crate::scan) fn in_query(self) -> bool {
        self.flags.contains('?')
    }

    /// The pieces of its value, in order.
    pub(super) fn components(self) -> impl Iterator<Item = Component> {
        self.rest.split(' ').map_while(component)
    }

    /// The one length that its value can have.
    pub(super) fn fixed(self) -> Option<usize> {
        self.components().try_fold(0, |sum, part| {
            (part.least == part.most && !part.optional).then_some(sum + part.least)
        })
    }

    fn attributes(self, name: &'static str) -> impl Iterator<Item = &'static str> {
        self.rest.split(' ').filter_map(move |word| word.strip_prefix(name))
    }

    /// Whether all that it needs stands beside it: of each `req` one group.
    pub(super) fn is_at_home(self, has: &dyn Fn(&str) -> bool) -> bool {
        self.attributes("req=").all(|need| need.split(',').any(|one| one.split('+').all(has)))
    }

    /// Primary key of a Digital Link: the qualifiers that may follow, each alternative in order.
    pub(in crate::scan) fn qualifiers(self) -> Option<impl Iterator<Item = &'static str>> {
        let mut words = self.rest.split(' ').filter_map(|word| word.strip_prefix("dlpkey"));
        words.next().map(|list| list.trim_start_matches('=').split('|'))
    }
}

/// Whether a pattern of the table, such as `35nn`, means an identifier.
pub(super) fn means(pattern: &str, ai: &str) -> bool {
    let fits = |(known, given): (u8, u8)| known == b'n' || known == given;
    pattern.len() == ai.len() && pattern.bytes().zip(ai.bytes()).all(fits)
}

/// `N6,yymmd0`, `X..20`, `[X1],hyphen`, `[X..16]`; `None` where the attributes begin.
fn component(word: &'static str) -> Option<Component> {
    let (size, lints) = word.split_once(',').unwrap_or((word, ""));
    let inner = size.strip_prefix('[').and_then(|size| size.strip_suffix(']'));
    let mut size = inner.unwrap_or(size).chars();
    let set = match size.next()? {
        'N' => Set::Digits,
        'X' => Set::X,
        'Y' => Set::Y,
        'Z' => Set::Z,
        _ => return None,
    };
    let (least, most) = match size.as_str().strip_prefix("..") {
        Some(most) => (1, most.parse().ok()?),
        None => (size.as_str().parse().ok()?, size.as_str().parse().ok()?),
    };
    Some(Component { set, least, most, optional: inner.is_some(), lints })
}

impl Set {
    /// Whether a character belongs to it (GS1 General Specifications 7.11, from memory; agrees with
    /// the tests of two libraries).
    pub(super) fn has(self, byte: u8) -> bool {
        match self {
            Set::Digits => byte.is_ascii_digit(),
            Set::X => byte.is_ascii_alphanumeric() || b"!\"%&'()*+,-./:;<=>?_".contains(&byte),
            Set::Y => byte.is_ascii_uppercase() || byte.is_ascii_digit() || b"#-/".contains(&byte),
            Set::Z => byte.is_ascii_alphanumeric() || b"-_".contains(&byte),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;

    #[test]
    fn the_extract_is_whole_and_in_order() {
        let all: Vec<_> = lines().collect();
        // One line each, but for a comment line; the extract says which release.
        assert_eq!(
            all.len(),
            TEXT.lines().filter(|l| !l.is_empty() && !l.starts_with('#')).count()
        );
        assert_eq!(all.len(), 224);
        for (range, entry) in &all {
            assert!(entry.components().count() > 0, "{range}");
            assert!(!entry.predefined() || entry.fixed().is_some(), "{range}");
            let words = entry.rest.split(' ').count();
            let known = entry.components().count()
                + entry.attributes("req=").count()
                + entry.attributes("ex=").count()
                + entry.attributes("dlpkey").count();
            assert_eq!(words, known, "{range}: every word is understood");
        }
    }

    /// Pre-defined lengths (GS1 General Specifications, from memory): 00 01 02 03 04 11-19 20 31-36
    /// 41.
    #[test]
    fn only_the_pre_defined_beginnings_need_no_separator() {
        for (range, entry) in lines() {
            let begins = &range[..2];
            let listed = ["00", "01", "02", "03", "04", "20", "41"].contains(&begins)
                || ("11"..="19").contains(&begins)
                || ("31"..="36").contains(&begins);
            assert_eq!(entry.predefined(), listed, "{range}");
        }
    }

    #[test]
    fn identifiers_are_found_by_their_digits() {
        let found = |text| begins(text).map(|(ai, _)| ai);
        assert_eq!(found("0109501101530003"), Some("01"));
        assert_eq!(found("3103000189"), Some("3103"));
        assert_eq!(found("3109000189"), None);
        assert_eq!(found("235X"), Some("235"));
        assert_eq!(found("97"), Some("97"));
        assert_eq!(found("9"), None);
        assert_eq!(found("\u{e9}1"), None);
        assert!(means("35nn", "3502") && !means("35nn", "360") && !means("35nn", "3602"));
    }
}
