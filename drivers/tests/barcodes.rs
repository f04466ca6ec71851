//! Codes whose meaning was published: figures of the standards and examples of the agencies, as
//! cited in the tests of open libraries. Each line says where it stands.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "barcodes/vectors.rs"]
mod vectors;

use proptest::prelude::*;
use tapline_drivers::scan::{Content, ELEMENTS_MAX, Profile, Said, Scanner, read};
use tapline_drivers::{Driver, Input, Now, Output, Scan};
use vectors::{GS1, HIBC, OTHERS, Vector};

/// The year in which two digits are read here.
const NOW: u16 = 2026;

fn scans(codes: &[&str], profile: &str) -> Vec<Scan> {
    let mut scanner = Scanner::with(Profile::parse(profile).unwrap());
    for (at, code) in (1..).zip(codes) {
        let code = code.replace("<GS>", "\u{1d}");
        scanner.handle(Now(at * 2_000_000), Input::Bytes(format!("{code}\r\n").as_bytes()));
    }
    let outputs = std::iter::from_fn(|| scanner.poll());
    outputs
        .map(|output| match output {
            Output::Scan(scan) => scan,
            other => panic!("{other:?}"),
        })
        .collect()
}

/// The last of some codes, as `kind field=… warnings`, or why and where it is refused.
fn said(codes: &[&str], profile: &str) -> String {
    let scan = scans(codes, profile).pop().unwrap();
    let kind = serde_kind(&scan);
    if let (Some(word), Some(fault)) = (scan.refused, &scan.fault) {
        assert!(scan.raw.is_empty() && scan.content.is_none(), "{codes:?} leaves nothing");
        let key = fault.key.as_deref().unwrap_or("-");
        return format!("{kind} refused {word} at {} of {key}", fault.at);
    }
    let content = scan.content.unwrap();
    [vec![kind], shown(&content)].concat().join(" ")
}

fn serde_kind(scan: &Scan) -> String {
    format!("{:?}", scan.kind).to_ascii_lowercase()
}

fn shown(content: &Content) -> Vec<String> {
    let fields = content.fields.iter().map(|(name, said)| match said {
        Said::Text(text) => format!("{name}={text}"),
        Said::Day(day) => format!("{name}={}", day.text(NOW)),
    });
    let mut words: Vec<String> = fields.collect();
    words.sort();
    words.extend(content.text.iter().map(|text| format!("text={text}")));
    words.extend(content.warnings.iter().map(ToString::to_string));
    words
}

fn elements(code: &str) -> Vec<String> {
    let content = scans(&[code], "").pop().unwrap().content.unwrap();
    content.elements.iter().map(|one| format!("{}:{}", one.key, one.value)).collect()
}

fn hold(vectors: &[Vector], profile: &str) {
    for (name, codes, meant, source) in vectors {
        assert_eq!(said(codes, profile), *meant, "{name} ({source})");
    }
}

#[test]
fn published_element_strings_and_links_say_what_was_published() {
    hold(GS1, "proven");
    assert_eq!(elements("]C100395123451234567895"), ["00:395123451234567895"]);
    assert_eq!(
        elements(
            "]d201000123456789051718040121ABCDEFGHIJKL12345678<GS>91ABCDEFGHI123456789<GS>92abcdefghi"
        ),
        [
            "01:00012345678905",
            "17:180401",
            "21:ABCDEFGHIJKL12345678",
            "91:ABCDEFGHI123456789",
            "92:abcdefghi"
        ]
    );
}

#[test]
fn published_hibc_labels_say_what_was_published() {
    hold(HIBC, "");
    assert_eq!(elements("+A123BJC5D6E71G"), ["lic:A123", "pcn:BJC5D6E7", "uom:1", "check:G"]);
}

#[test]
fn other_codes_say_what_they_are() {
    hold(OTHERS, "asset=AS-####### asset=@@###### asset=https%3A%2F%2Finv.example%2F%28P-####%29");
}

/// Rules that no published string shows; strings of our own.
#[test]
fn rules_of_element_strings() {
    let plain = |code| said(&[code], "");
    assert_eq!(plain("]C101095011015300032112"), "gs1 device_id=09501101530003 serial=12");
    assert_eq!(
        plain("]C10109501101530003211210A"),
        "gs1 device_id=09501101530003 serial=1210A no_separator_seen",
        "it may be a serial and a lot"
    );
    assert_eq!(
        said(&["]C10109501101530003211210A"], "proven"),
        "gs1 device_id=09501101530003 serial=1210A"
    );
    assert_eq!(
        plain("]C10109501101530003<GS>2112"),
        "gs1 device_id=09501101530003 serial=12 one_extra_separator"
    );
    assert_eq!(plain("]C1<GS>0109501101530003"), "gs1 device_id=09501101530003");
    assert_eq!(plain("]C1010950110153000310<GS>2112"), "gs1 refused empty at 16 of 10");
    assert_eq!(plain("]C1"), "control refused damaged_code at 0 of -");
    assert_eq!(
        plain("]C101095011015300038005000123213"),
        "gs1 device_id=09501101530003 serial=3 no_separator_seen",
        "a fixed length that needs a separator"
    );
    assert_eq!(
        plain("]C1010950110153000310A<GS>10A"),
        "gs1 device_id=09501101530003 lot=A",
        "twice the same"
    );
    assert_eq!(plain("]C1010950110153000310A<GS>10B"), "gs1 refused contradiction at 20 of 10");
    assert_eq!(plain("]C10595"), "gs1 refused unknown_ai at 0 of -");
    assert_eq!(plain("0109501101530003"), "gs1 device_id=09501101530003 no_aim");
    assert_eq!(
        said(&["010950110153000310A|2112"], "gs_alias=%7C"),
        "gs1 device_id=09501101530003 lot=A serial=12 no_aim"
    );
    assert_eq!(
        plain("(01)09501101530003(21)A(B)(10)C"),
        "gs1 device_id=09501101530003 lot=C serial=A(B)"
    );
    let many = format!("]C1{}", "<GS>".repeat(70));
    assert_eq!(plain(&many), "gs1 refused unknown_ai at 1 of -");
}

#[test]
fn rules_of_links() {
    let plain = |code| said(&[code], "");
    assert_eq!(
        plain("HTTPS://ID.EXAMPLE/A/01/9506000134369/10/A%2Fb/21/%2B1?17=271120&utm=x#y"),
        "gs1link device_id=09506000134369 expires_on=2027-11-20 lot=A/b serial=+1"
    );
    assert_eq!(plain("https://id.example/8004/061414132a%2Fb/"), "gs1link asset_id=061414132a/b");
    assert_eq!(plain("Https://id.example/01/9506000134369").split(' ').next(), Some("text"));
    assert_eq!(
        plain("https://id.example/01/09506000134368"),
        "gs1link refused check_digit at 19 of 01"
    );
    assert_eq!(
        plain("https://id.example/01/09506000134369/21/1/10/2"),
        "gs1link refused unknown_ai at 37 of -",
        "out of order"
    );
    assert_eq!(
        plain("https://id.example/01/09506000134369?21=1"),
        "gs1link refused unknown_ai at 37 of 21",
        "no attribute"
    );
    assert_eq!(
        plain("https://id.example/01/09506000134369/10/A?10=B"),
        "gs1link refused contradiction at 42 of 10"
    );
}

/// A patient's number in any dress, and what stands beside it on a wrist band.
#[test]
fn a_patient_leaves_nothing() {
    for code in [
        "]C18018950110153123456781",
        "]d20109501101530003<GS>8018950110153123456781",
        "8018950110153123456781",
        "(8018)950110153123456781",
        "(7253)Muster",
        "]d27250198001018018950110153123456781",
        "https://id.example/8018/950110153123456781/8019/1",
        "https://id.example/%38%30%318/950110153123456781",
        "https://id.example/01/09506000134369?7253=Muster",
    ] {
        let said = said(&[code], "");
        assert_eq!(said, "gs1 refused patient_identifier at 0 of -", "{code}");
    }
    assert_eq!(
        said(&["10A|8018950110153123456780"], "gs_alias=%7C"),
        "gs1 refused patient_identifier at 0 of -"
    );
}

/// Pieces of codes, so that chance makes some of each grammar.
const PIECES: &[&str] = &[
    "]C1",
    "]d2",
    "]Q1",
    "]A1",
    "01",
    "09501101530003",
    "10",
    "21",
    "17",
    "271120",
    "\u{1d}",
    "8018",
    "8004",
    "(01)",
    "(21)",
    "https://a.b/",
    "/01/",
    "?17=",
    "%2F",
    "%",
    "+A123BJC5D6E71G",
    "+",
    "/$$5",
    "2001510X3",
    "S",
    "16D",
    "=/",
    "=,",
    "&,1",
    "A",
    "0",
    "9",
    " ",
    ".TL-",
    "\u{e9}",
    "|",
];

proptest! {
    /// Whatever is scanned: no panic, what is kept is what came, and the parts are within bounds.
    #[test]
    fn any_bytes_are_kept_or_refused(
        pieces in prop::collection::vec(prop::sample::select(PIECES.to_vec()), 0..40),
        noise in prop::collection::vec(any::<(prop::sample::Index, u8)>(), 0..3),
        alias: bool,
    ) {
        let mut bytes = pieces.concat().into_bytes();
        for (at, byte) in noise {
            if !bytes.is_empty() {
                let at = at.index(bytes.len());
                bytes[at] = byte;
            }
        }
        let profile = Profile::parse(if alias { "gs_alias=%7C asset=A##" } else { "" }).unwrap();
        match read(&bytes, &profile) {
            Ok(content) => {
                prop_assert!(content.elements.len() <= ELEMENTS_MAX);
                prop_assert!(!content.elements.iter().any(|one| one.key == "8018"));
            }
            Err((_, fault)) => prop_assert!(fault.at <= bytes.len()),
        }
        let mut scanner = Scanner::with(profile);
        scanner.handle(Now(0), Input::Bytes(&bytes));
        scanner.handle(Now(60_000), Input::Tick);
        while let Some(output) = scanner.poll() {
            if let Output::Scan(scan) = output {
                let at = [scan.span.from, scan.span.to].map(|at| usize::try_from(at).unwrap());
                let came = &bytes[at[0]..at[1]];
                prop_assert_eq!(scan.refused.is_some(), scan.raw.is_empty());
                let kept = came.windows(scan.raw.len().max(1)).any(|part| part == scan.raw);
                prop_assert!(kept || scan.raw.is_empty(), "{:?}", scan.raw);
            }
        }
    }
}
