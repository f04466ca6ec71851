//! Finds a patient's wrist band: GS1 application identifier 8018, "service relation, recipient".
//!
//! GS1 Barcode Syntax Dictionary, release 2026-01-27: 8018 is `N18,csum`. Such a code was scanned
//! by mistake, and nothing of it may be kept. In doubt a code counts as one.

/// Symbologies whose content is a GS1 element string (ISO/IEC 15424, from memory).
const GS1: &[&str] = &["]C1", "]d2", "]Q3", "]J1", "]e0"];

const KEY: &[u8] = b"8018";

/// Whether the code holds a patient's identifier.
pub(super) fn identifies(aim: Option<&str>, payload: &[u8]) -> bool {
    let gs1 = aim.is_some_and(|aim| GS1.contains(&aim));
    payload.windows(KEY.len()).enumerate().filter(|(_, key)| *key == KEY).any(|(at, _)| {
        let (before, value) = (&payload[..at], &payload[at + KEY.len()..]);
        let number = value.get(..18).filter(|number| number.iter().all(u8::is_ascii_digit));
        let first = before.last().is_none_or(|byte| *byte == 0x1d);
        let inside = number.is_some_and(checked) && gs1;
        let link = before.ends_with(b"/") && value.first() == Some(&b'/');
        let bracketed = before.ends_with(b"(") && value.first() == Some(&b')');
        bracketed || link || inside || (first && number.is_some())
    })
}

/// The mod-10 check digit of GS1: weights 3 and 1 from the right (General Specifications 7.9,
/// from memory; agrees with the published example `6291041500213`).
fn checked(digits: &[u8]) -> bool {
    let weights = [1, 3].into_iter().cycle();
    let sum: u32 = digits
        .iter()
        .rev()
        .zip(weights)
        .map(|(digit, weight)| weight * u32::from(digit - b'0'))
        .sum();
    sum.is_multiple_of(10)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_check_digits() {
        assert!(checked(b"6291041500213")); // worked example on two member organisations' pages
        assert!(checked(b"950110153123456781")); // General Specifications fig. 2.5.2-1
        assert!(!checked(b"6291041500214"));
    }

    #[test]
    fn a_wrist_band_is_found_in_every_form() {
        let band = b"8018950110153123456781";
        assert!(identifies(Some("]C1"), band));
        assert!(identifies(Some("]d2"), band));
        assert!(identifies(None, band));
        assert!(identifies(Some("]C1"), b"\x1d8018950110153123456781"));
        assert!(identifies(Some("]C1"), b"8018950110153123456780"), "wrong check digit");
        assert!(identifies(Some("]d2"), b"8018950110153123456781\x1d80192"));
        assert!(identifies(Some("]d2"), b"0109501101530003\x1d8018950110153123456781"));
        assert!(identifies(Some("]d2"), b"01095011015300038018950110153123456781"));
        assert!(identifies(None, b"(8018)950110153123456781"));
        assert!(identifies(Some("]Q1"), b"https://example.com/8018/950110153123456781"));
    }

    #[test]
    fn an_asset_is_none() {
        assert!(!identifies(Some("]C1"), b"8004061414132a/b"));
        assert!(!identifies(None, b"P-0107"));
        assert!(!identifies(None, b"AS-8018"));
        assert!(!identifies(None, b"8018"));
        assert!(!identifies(None, b"80181234"));
    }
}
