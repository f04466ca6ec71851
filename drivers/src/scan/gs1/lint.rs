//! Tests of the contents of a value, by their names in the dictionary. What they ask for is public:
//! the reference procedures of the GS1 Barcode Syntax Tests. Lists of countries, currencies,
//! package types, media, coupons and IBANs are not held here: such values are kept as they are
//! (`NOT_HELD`).

use super::dictionary::{Component, Entry, Set};
use crate::scan::check::mod10;
use crate::scan::date::{number, small, yymmdd, yyyymmdd};

/// Tests that are not made.
#[cfg(test)]
pub(super) const NOT_HELD: &[&str] = &[
    "iso4217",
    "iso3166",
    "iso3166999",
    "iso3166alpha2",
    "packagetype",
    "mediatype",
    "iban",
    "couponcode",
    "couponposoffer",
];

/// Whether a value is one of its identifier.
///
/// # Errors
/// A closed word: `empty length characters check_digit date content`.
pub(in crate::scan) fn value(entry: Entry, value: &str) -> Result<(), &'static str> {
    if value.is_empty() {
        return Err("empty");
    }
    let mut rest = value;
    for part in entry.components() {
        if part.optional && rest.is_empty() {
            break;
        }
        let (piece, after) =
            rest.split_at_checked(part.most.min(rest.len())).ok_or("characters")?;
        component(part, piece)?;
        rest = after;
    }
    if rest.is_empty() { Ok(()) } else { Err("length") }
}

fn component(part: Component, piece: &str) -> Result<(), &'static str> {
    if piece.len() < part.least {
        return Err("length");
    }
    if !plain(part.set, piece).bytes().all(|byte| part.set.has(byte)) {
        return Err("characters");
    }
    for name in part.lints.split(',').filter(|name| !name.is_empty()) {
        if !test(name, piece) {
            return Err(match name {
                "csum" | "csumalpha" => "check_digit",
                "yymmdd" | "yymmd0" | "yyyymmdd" | "hhmi" | "hh" | "mi" | "ss" => "date",
                _ => "content",
            });
        }
    }
    Ok(())
}

/// Without the padding of base64url, which stands at its end and fills it up to fours (RFC 4648).
fn plain(set: Set, piece: &str) -> &str {
    let padded = set == Set::Z && piece.len().is_multiple_of(4);
    let body = piece.strip_suffix("==").or(piece.strip_suffix('='));
    body.filter(|_| padded).unwrap_or(piece)
}

/// One test of the contents of a piece whose length and characters are right.
fn test(name: &str, piece: &str) -> bool {
    let below = |most: u8| small(piece).is_some_and(|number| number < most);
    match name {
        "csum" => mod10(piece.as_bytes()),
        "csumalpha" => csumalpha(piece.as_bytes()),
        "gcppos1" => prefix(piece),
        "gcppos2" => piece.get(1..).is_some_and(prefix),
        "yymmd0" => yymmdd(piece).is_some(),
        "yymmdd" => yymmdd(piece).is_some() && !piece.ends_with("00"),
        "yyyymmdd" => yyyymmdd(piece).is_some() && !piece.ends_with("00"),
        "hh" => below(24),
        "mi" | "ss" => below(60),
        "hhmi" => test("hh", &piece[..2]) && test("mi", &piece[2..]),
        "zero" => piece == "0",
        "nonzero" => piece.bytes().any(|byte| byte != b'0'),
        "nozeroprefix" => piece == "0" || !piece.starts_with('0'),
        "hasnondigit" => piece.bytes().any(|byte| !byte.is_ascii_digit()),
        "hyphen" => piece.bytes().all(|byte| byte == b'-'),
        "yesno" => below(2),
        "winding" => ["0", "1", "9"].contains(&piece),
        "iso5218" => ["0", "1", "2", "9"].contains(&piece),
        "latitude" => piece <= "1800000000",
        "longitude" => piece <= "3600000000",
        "importeridx" => piece.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_".contains(&b)),
        "pieceoftotal" => part_of(piece),
        "posinseqslash" => position(piece),
        "pcenc" => percent(piece.as_bytes()),
        _ => true,
    }
}

/// A company prefix has four digits at least.
fn prefix(piece: &str) -> bool {
    piece.as_bytes().get(..4).is_some_and(|digits| digits.iter().all(u8::is_ascii_digit))
}

/// `0204`: piece 2 of 4; neither is 0.
fn part_of(piece: &str) -> bool {
    let (part, of) = piece.split_at_checked(2).unwrap_or_default();
    number(part).zip(number(of)).is_some_and(|(part, of)| part > 0 && part <= of)
}

/// `1/3`: the first of three; neither is 0.
fn position(piece: &str) -> bool {
    let both = piece.split_once('/').and_then(|(at, of)| Some((number(at)?, number(of)?)));
    both.is_some_and(|(at, of)| at > 0 && at <= of)
}

/// Each `%` is followed by two hexadecimal digits.
fn percent(bytes: &[u8]) -> bool {
    let signs = bytes.iter().enumerate().filter(|(_, byte)| **byte == b'%');
    signs.into_iter().all(|(at, _)| {
        bytes.get(at + 1..at + 3).is_some_and(|two| two.iter().all(u8::is_ascii_hexdigit))
    })
}

/// The two check characters of a model number (GS1 General Specifications 7.9.5, from memory;
/// agrees with the reference procedure): primes from 2 on, from the right, over the values in set
/// 82.
fn csumalpha(bytes: &[u8]) -> bool {
    const SET: &[u8] =
        b"!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz";
    const SET32: &[u8] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
    const PRIMES: [usize; 23] =
        [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83];
    let Some((body, sent)) = bytes.split_last_chunk::<2>() else { return false };
    if body.len() > PRIMES.len() {
        return false;
    }
    let value = |byte: &u8| SET.iter().position(|known| known == byte);
    let parts = body.iter().rev().zip(PRIMES).map(|(byte, prime)| Some(value(byte)? * prime));
    let sum: Option<usize> = parts.sum();
    sum.is_some_and(|sum| {
        let sum = sum % 1021;
        *sent == [SET32[sum >> 5], SET32[sum & 31]]
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::gs1::dictionary::{entry, lines};

    fn says(ai: &str, text: &str) -> Result<(), &'static str> {
        value(entry(ai).unwrap(), text)
    }

    #[test]
    fn every_test_of_the_dictionary_is_made_or_listed_as_not_held() {
        for (range, entry) in lines() {
            for name in entry.components().flat_map(|part| part.lints.split(',')) {
                // None of these passes a test that is made for all of them.
                let probes = ["9999x%zz", "0000", "xxxx9", "9999999999"];
                let made = !name.is_empty() && probes.iter().any(|text| !test(name, text));
                let listed = NOT_HELD.contains(&name);
                assert!(name.is_empty() || made != listed, "{range}: {name}");
            }
        }
    }

    #[test]
    fn lengths_characters_and_contents() {
        assert_eq!(says("01", "09501101530003"), Ok(()));
        assert_eq!(says("01", "09501101530004"), Err("check_digit"));
        assert_eq!(says("01", "0950110153000"), Err("length"));
        assert_eq!(says("10", ""), Err("empty"));
        assert_eq!(says("10", "AB 1"), Err("characters"));
        assert_eq!(says("10", "123456789012345678901"), Err("length"));
        assert_eq!(says("17", "271320"), Err("date"));
        assert_eq!(says("8003", "00614141123452"), Ok(()));
        assert_eq!(says("8003", "0061414112345232a/b"), Ok(()));
        assert_eq!(says("8003", "10614141123452"), Err("content"));
        assert_eq!(says("8004", "ab14141"), Err("content"));
        assert_eq!(says("8008", "2611242359"), Ok(()));
        assert_eq!(says("8008", "26112423"), Ok(()));
        assert_eq!(says("8008", "26112424"), Err("date"));
        assert_eq!(says("4330", "001234-"), Ok(()));
        assert_eq!(says("4330", "001234x"), Err("content"));
        assert_eq!(says("7258", "2/1"), Err("content"));
        assert_eq!(says("8006", "095011015300030102"), Ok(()));
        assert_eq!(says("8006", "095011015300030302"), Err("content"));
        assert_eq!(says("4300", "A%2"), Err("content"));
        assert_eq!(says("10", "\u{e9}"), Err("characters"));
        assert_eq!((says("8030", "QUI="), says("8030", "QQ==")), (Ok(()), Ok(())));
        for text in ["WECK20VGl96sy=qFmH04hVIMWXlr", "QUIJ=", "Q===", "=UIJ"] {
            assert_eq!(says("8030", text), Err("characters"), "{text}");
        }
    }

    /// Worked example of the General Specifications 7.9.5, as cited in tests of two open libraries.
    #[test]
    fn the_check_of_a_model_number() {
        assert_eq!(says("8013", "1987654Ad4X4bL5ttr2310c2K"), Ok(()));
        assert_eq!(says("8013", "1987654Ad4X4bL5ttr2310c2J"), Err("check_digit"));
    }
}
