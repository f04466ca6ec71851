//! Small numbers in few bytes, and the columns that are made of them.

/// Appends a number, seven bits a byte, the lowest first.
pub(super) fn put(out: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        out.push(low_byte(number) | 0x80);
        number >>= 7;
    }
    out.push(low_byte(number));
}

/// Appends a number that may be below zero; small ones either way are short.
pub(super) fn put_signed(out: &mut Vec<u8>, number: i64) {
    put(out, (number << 1 ^ number >> 63).cast_unsigned());
}

/// Appends bytes behind their length.
pub(super) fn put_bytes(out: &mut Vec<u8>, bytes: &[u8]) {
    put(out, bytes.len() as u64);
    out.extend_from_slice(bytes);
}

/// Appends a column behind its length; one that repeats a single byte is that byte.
pub(super) fn put_column(out: &mut Vec<u8>, column: &[u8]) {
    let flat = column.len() > 1 && column.iter().all(|b| *b == column[0]);
    put(out, (column.len() as u64) << 1 | u64::from(flat));
    out.extend_from_slice(if flat { &column[..1] } else { column });
}

pub(super) fn take(from: &mut &[u8]) -> Option<u64> {
    let mut number = 0u64;
    for shift in (0..64).step_by(7) {
        let (&byte, rest) = from.split_first()?;
        *from = rest;
        let part = u64::from(byte & 0x7f);
        number |= part << shift;
        if byte & 0x80 == 0 {
            // Bits that fell off, or a longer form than needed: not what was written.
            let exact = number >> shift == part && (part > 0 || shift == 0);
            return exact.then_some(number);
        }
    }
    None
}

pub(super) fn take_signed(from: &mut &[u8]) -> Option<i64> {
    let number = take(from)?;
    Some((number >> 1).cast_signed() ^ -(number & 1).cast_signed())
}

/// A number that counts something in memory.
pub(super) fn take_len(from: &mut &[u8]) -> Option<usize> {
    usize::try_from(take(from)?).ok()
}

pub(super) fn take_some<'a>(from: &mut &'a [u8], length: usize) -> Option<&'a [u8]> {
    let (bytes, rest) = from.split_at_checked(length)?;
    *from = rest;
    Some(bytes)
}

pub(super) fn take_bytes<'a>(from: &mut &'a [u8]) -> Option<&'a [u8]> {
    let length = take_len(from)?;
    take_some(from, length)
}

/// A column of at most `most` bytes.
pub(super) fn take_column(from: &mut &[u8], most: usize) -> Option<Vec<u8>> {
    let head = take_len(from)?;
    let length = head >> 1;
    if length > most {
        return None;
    }
    match head & 1 {
        0 => Some(take_some(from, length)?.to_vec()),
        _ => Some(vec![take_some(from, 1)?[0]; length]),
    }
}

fn low_byte(number: u64) -> u8 {
    u8::try_from(number & 0x7f).expect("seven bits fit")
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn small_numbers_are_one_byte_and_a_flat_column_is_two() {
        let mut out = Vec::new();
        [-64, 0, 63].iter().for_each(|n| put_signed(&mut out, *n));
        assert_eq!(out.len(), 3);
        out.clear();
        put_column(&mut out, &[7; 60]);
        assert_eq!(out.len(), 2);
        assert_eq!(take_column(&mut &out[..], 60), Some(vec![7; 60]));
        assert_eq!(take_column(&mut &out[..], 59), None, "more than may be");
    }

    #[test]
    fn what_was_never_written_is_refused() {
        for bad in [&[][..], &[0x80], &[0x80, 0], &[0xff; 9], &[0xff; 11]] {
            assert_eq!(take(&mut &bad[..]), None, "{bad:?}");
        }
        let top = [0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x02];
        assert_eq!(take(&mut &top[..]), None, "a bit falls off");
    }

    proptest! {
        #[test]
        fn numbers_and_columns_come_back(
            numbers in prop::collection::vec((any::<u64>(), any::<i64>()), 0..20),
            column in prop::collection::vec(0u8..3, 0..6),
        ) {
            let mut out = Vec::new();
            for (n, s) in &numbers {
                put(&mut out, *n);
                put_signed(&mut out, *s);
            }
            put_column(&mut out, &column);
            put_bytes(&mut out, &column);
            let mut from = &out[..];
            for (n, s) in &numbers {
                prop_assert_eq!(take(&mut from), Some(*n));
                prop_assert_eq!(take_signed(&mut from), Some(*s));
            }
            prop_assert_eq!(take_column(&mut from, 6), Some(column.clone()));
            prop_assert_eq!(take_bytes(&mut from), Some(&column[..]));
            prop_assert!(from.is_empty());
        }
    }
}
