//! Digits as a reading has them, made again from a number in scientific form.

/// `0.000100000218` of `+1.00000218E-04\r\n`: the plain form of the number that the text begins
/// with; `None` if it begins with none.
pub(super) fn plain(text: &[u8]) -> Option<Vec<u8>> {
    let (minus, rest) = match text.split_first()? {
        (b'-', rest) => (true, rest),
        (b'+', rest) => (false, rest),
        _ => (false, text),
    };
    let (whole, rest) = digits(rest);
    let (part, rest) = digits(rest.strip_prefix(b".")?);
    let (down, rest) = match rest.strip_prefix(b"E")?.split_first()? {
        (b'-', rest) => (true, rest),
        (b'+', rest) => (false, rest),
        _ => return None,
    };
    let (power, _) = digits(rest);
    let power: usize = std::str::from_utf8(power.get(..2)?).ok()?.parse().ok()?;
    let all = [whole, part].concat();
    let mut out = if minus { vec![b'-'] } else { Vec::new() };
    if down && power >= whole.len() {
        out.extend_from_slice(b"0.");
        out.resize(out.len() + power - whole.len(), b'0');
        out.extend(all);
        return Some(out);
    }
    let point = if down { whole.len() - power } else { whole.len() + power };
    let (before, behind) = all.split_at(point.min(all.len()));
    out.extend_from_slice(before);
    out.resize(out.len() + point - before.len(), b'0');
    if !behind.is_empty() {
        out.push(b'.');
        out.extend_from_slice(behind);
    }
    Some(out)
}

fn digits(text: &[u8]) -> (&[u8], &[u8]) {
    text.split_at(text.iter().take_while(|b| b.is_ascii_digit()).count())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_point_moves_and_no_digit_is_lost() {
        for (text, want) in [
            ("+1.00000218E-04\r\n", "0.000100000218"),
            ("-2.50E+00", "-2.50"),
            ("+1.00121960E+04\r\n", "10012.1960"),
            ("1.5E+03", "1500"),
            ("+12.5E-01", "1.25"),
            ("+12.5E-02", "0.125"),
        ] {
            let plain = plain(text.as_bytes()).unwrap();
            assert_eq!(String::from_utf8(plain).unwrap(), want);
        }
        for none in ["", "+", "1.5", "1E+03", "1.5E", "1.5E+", "1.5E3", "1.5E+3", "R4 1.5E+03"] {
            assert_eq!(plain(none.as_bytes()), None, "{none}");
        }
    }

    proptest! {
        #[test]
        fn any_text_has_a_plain_form_or_none(text in "[+-]?[0-9]{0,3}[.]?[0-9]{0,3}E?[+-]?[0-9]{0,2}") {
            let _ = plain(text.as_bytes());
        }
    }
}
