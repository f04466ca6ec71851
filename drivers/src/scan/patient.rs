//! Finds a patient's wrist band: GS1 application identifier 8018, "service relation, recipient".
//!
//! GS1 Barcode Syntax Dictionary, release 2026-01-27: 8018 is `N18,csum`. Such a code was scanned
//! by mistake, and nothing of it may be kept. In doubt a code counts as one.

use super::check::mod10;

const KEY: &[u8] = b"8018";

/// Whether the code holds a patient's identifier, in whatever form: the number behind its key at
/// the beginning or behind a separator, a number that checks behind the key anywhere, the key in
/// brackets or as a part of a link.
#[must_use]
pub(super) fn identifies(payload: &[u8]) -> bool {
    payload.windows(KEY.len()).enumerate().filter(|(_, key)| *key == KEY).any(|(at, _)| {
        let (before, value) = (&payload[..at], &payload[at + KEY.len()..]);
        let number = value.get(..18).filter(|number| number.iter().all(u8::is_ascii_digit));
        let first = before.last().is_none_or(|byte| *byte == 0x1d);
        let link = before.ends_with(b"/") && value.first() == Some(&b'/');
        let query = before.ends_with(b"?") || before.ends_with(b"&") || before.ends_with(b";");
        let bracketed = before.ends_with(b"(") && value.first() == Some(&b')');
        let attribute = query && value.first() == Some(&b'=');
        let there = number.is_some_and(|number| first || mod10(number));
        bracketed || link || attribute || there
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrist_band_is_found_in_every_form() {
        let band = b"8018950110153123456781";
        assert!(identifies(band));
        assert!(identifies(band));
        assert!(identifies(band));
        assert!(identifies(b"\x1d8018950110153123456781"));
        assert!(identifies(b"8018950110153123456780"), "wrong check digit");
        assert!(identifies(b"8018950110153123456781\x1d80192"));
        assert!(identifies(b"0109501101530003\x1d8018950110153123456781"));
        assert!(identifies(b"01095011015300038018950110153123456781"));
        assert!(identifies(b"(8018)950110153123456781"));
        assert!(identifies(b"https://example.com/8018/950110153123456781"));
        assert!(identifies(b"https://example.com/?8018=950110153123456781"));
        assert!(identifies(b"1010950110153000380189501101531234567817"), "no identifier was sent");
    }

    #[test]
    fn an_asset_is_none() {
        assert!(!identifies(b"8004061414132a/b"));
        assert!(!identifies(b"P-0107"));
        assert!(!identifies(b"AS-8018"));
        assert!(!identifies(b"8018"));
        assert!(!identifies(b"80181234"));
    }
}
