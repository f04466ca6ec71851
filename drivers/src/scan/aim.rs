//! Symbology identifiers: `]`, a letter, a modifier (ISO/IEC 15424, from memory; the GS1 rows as in
//! the scan-data tests of the GS1 syntax engine).

/// What a symbology identifier says of what follows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Carrier {
    /// A GS1 element string, and nothing else.
    Gs1,
    /// 13, 8 or 14 digits.
    Gtin(usize),
    /// Code 39 with its check character still behind the data.
    Checked,
    /// Anything: the code itself tells.
    Any,
    /// Something that is kept and not looked into.
    Other,
}

/// What carries the code; anything where no identifier was sent.
#[must_use]
pub(super) fn carrier(aim: Option<&str>) -> Carrier {
    let Some(aim) = aim else { return Carrier::Any };
    match aim.get(1..).unwrap_or_default() {
        "C1" | "d2" | "Q3" | "J1" | "e0" => Carrier::Gs1,
        "E0" => Carrier::Gtin(13),
        "E4" => Carrier::Gtin(8),
        "I1" => Carrier::Gtin(14),
        "A1" | "A5" => Carrier::Checked,
        "C0" | "d1" | "Q0" | "Q1" | "A0" | "A2" | "A3" | "A4" | "A6" | "A7" => Carrier::Any,
        code if code.starts_with(['z', 'L']) => Carrier::Any,
        _ => Carrier::Other,
    }
}

/// Splits off the identifier: `]` with a letter and a letter or digit.
#[must_use]
pub(super) fn split(bytes: &[u8]) -> (Option<&str>, &[u8]) {
    match bytes.split_at_checked(3) {
        Some((aim @ [b']', letter, modifier], payload))
            if letter.is_ascii_alphabetic() && modifier.is_ascii_alphanumeric() =>
        {
            (core::str::from_utf8(aim).ok(), payload)
        }
        _ => (None, bytes),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_identifier_is_three_bytes() {
        assert_eq!(split(b"]C0AS-1"), (Some("]C0"), &b"AS-1"[..]));
        assert_eq!(split(b"]?X"), (None, &b"]?X"[..]));
        assert_eq!(split(b"]C"), (None, &b"]C"[..]));
        assert_eq!(split(b""), (None, &b""[..]));
    }

    #[test]
    fn what_follows_an_identifier() {
        assert_eq!(carrier(None), Carrier::Any);
        assert_eq!(carrier(Some("]J1")), Carrier::Gs1);
        assert_eq!(carrier(Some("]E4")), Carrier::Gtin(8));
        assert_eq!(carrier(Some("]z0")), Carrier::Any);
        assert_eq!(carrier(Some("]C2")), Carrier::Other);
        assert_eq!(carrier(Some("]X0")), Carrier::Other);
    }
}
