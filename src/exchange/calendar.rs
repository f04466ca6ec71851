//! Due dates as a calendar (RFC 5545): one to-do an asset, by a name that stays the same.

/// An asset that is due.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Item {
    /// Its number.
    pub asset: String,
    /// What it is, in a line.
    pub what: String,
    /// Where it is kept.
    pub place: String,
    /// Day on which it is due, `2026-11-30`.
    pub day: String,
    /// Rises when something about it changed: the number of the station's line.
    pub changed: u64,
    /// What it came to last, in words.
    pub note: String,
}

/// Octets of a line of a calendar, its end left out (RFC 5545, 3.1).
const LINE_MAX: usize = 75;

/// The calendar of a station: `name` for people, `at` when it was made (`20261127T031713Z`).
#[must_use]
pub fn calendar(station: &str, name: &str, at: &str, items: &[Item]) -> String {
    let mut text = String::new();
    let mut put = |name: &str, value: &str| fold(&mut text, &format!("{name}:{value}"));
    put("BEGIN", "VCALENDAR");
    put("VERSION", "2.0");
    put("PRODID", "-//Tapline//due dates 1//EN");
    put("NAME", &escaped(name));
    for item in items {
        put("BEGIN", "VTODO");
        put("UID", &escaped(&format!("due-{}@{station}", item.asset)));
        put("DTSTAMP", at);
        put("SEQUENCE", &(item.changed % (1 << 31)).to_string());
        put("DUE;VALUE=DATE", &item.day.replace('-', ""));
        put("SUMMARY", &escaped(&format!("{} {}", item.asset, item.what)));
        put("LOCATION", &escaped(&item.place));
        put("DESCRIPTION", &escaped(&item.note));
        put("STATUS", "NEEDS-ACTION");
        put("END", "VTODO");
    }
    put("END", "VCALENDAR");
    text
}

/// TEXT of RFC 5545, 3.3.11; other control characters have no form there and are left out.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.replace("\r\n", "\n").chars() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' | '\r' => out.push_str("\\n"),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

/// A content line, folded between characters so that no line has more than 75 octets.
fn fold(text: &mut String, line: &str) {
    let mut room = LINE_MAX;
    for c in line.chars() {
        if c.len_utf8() > room {
            text.push_str("\r\n ");
            room = LINE_MAX - 1;
        }
        text.push(c);
        room -= c.len_utf8();
    }
    text.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_folded_between_characters() {
        let mut text = String::new();
        fold(&mut text, &"Ω".repeat(100));
        assert!(text.lines().all(|line| line.len() <= LINE_MAX));
        assert_eq!(text.replace("\r\n ", "").trim_end(), "Ω".repeat(100));
    }

    #[test]
    fn what_has_a_meaning_there_is_escaped() {
        assert_eq!(escaped("a;b,c\\d\r\ne\u{7}f"), "a\\;b\\,c\\\\d\\nef");
    }
}
