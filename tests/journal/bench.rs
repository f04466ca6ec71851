//! What the tests of this folder share: a key, stamps, lines, a day's work.

use std::sync::Arc;

use tapline::books::{Books, Disk, Key, Line, Recovered};
use tapline::clock::Stamp;
use tapline::station::event::{BookId, Stored};
use tapline_protocols::Fact;
use tapline_protocols::fact::{
    In, LinkFact, NoteFact, Open, Opened, Policy, ReasonFact, SealedFact, SignFact, Word,
};

/// The inspection of these tests.
pub(crate) const ID: &str = "K3-20261124-0007";

/// 2026-11-24T08:14:03 and some minutes.
pub(crate) fn at(seq: u64) -> Stamp {
    Stamp { wall_us: 1_795_508_043_512_004 + i64::try_from(seq).unwrap(), boot_us: seq * 1000 }
}

/// The key of these tests: a fixed secret, so that every run signs alike.
pub(crate) fn key() -> Key {
    Key::from_secret("K3-1", &[42; 32])
}

/// Opens the books of a disk, with the key of these tests in its place.
pub(crate) fn open(disk: &Arc<dyn Disk>) -> (Books, Recovered) {
    try_open(disk).unwrap()
}

/// As [`open`], on a disk that may fail.
pub(crate) fn try_open(disk: &Arc<dyn Disk>) -> Result<(Books, Recovered), String> {
    key().store(disk.as_ref()).map_err(|e| e.to_string())?;
    Books::open(Arc::clone(disk), Arc::new(key()), at(0)).map_err(|e| e.to_string())
}

/// A line to store.
pub(crate) fn stored(book: &BookId, seq: u64, fact: Fact) -> Stored {
    Stored { book: book.clone(), bench: None, seq, at: at(seq), fact, by: None }
}

/// The line that [`stored`] must come back as.
pub(crate) fn line(stored: &Stored) -> Line {
    Line {
        seq: stored.seq,
        at: stored.at,
        fact: stored.fact.clone(),
        by: stored.by.clone(),
        sig: None,
    }
}

/// A line that was read, without the signature that the writer puts on lines which sign a record.
pub(crate) fn as_stored(line: Line) -> Line {
    match line.fact {
        Fact::Sign(_) => Line { sig: None, ..line },
        _ => line,
    }
}

/// The inspection's book.
pub(crate) fn inspection() -> BookId {
    BookId::Inspection(ID.into())
}

/// The day's idle book.
pub(crate) fn idle() -> BookId {
    BookId::Idle("2026-11-24".into())
}

/// First line of a book.
pub(crate) fn opening(id: &str, inspection: bool) -> Fact {
    let opened = Opened {
        bench: "b1".into(),
        asset: "P-0107".into(),
        plan: "iec62353-recurrent-direct".into(),
        reason: "scheduled".into(),
        order: None,
        policy: Policy::default(),
        scan: None,
        legend: None,
    };
    Fact::Open(Box::new(Open {
        format: "tapline-book-1".into(),
        id: id.into(),
        verify: None,
        station: "K3".into(),
        inspection: inspection.then_some(opened),
        version: "0.1.0".into(),
        judge: 1,
        boot: "6f1c2a9e-0d53-4c1e-9a51-0c5b8e1f7a22".into(),
        zone: "Etc/UTC".into(),
        offset: "+00:00".into(),
        synced: true,
        key: None,
        follows: None,
    }))
}

/// Bytes that arrived.
pub(crate) fn bytes(raw: &[u8]) -> Fact {
    let raw = tapline::books::line::raw_text(raw);
    Fact::In(In { link: "ohm".into(), at: 0, raw, cuts: vec![], read: vec![] })
}

/// A remark.
pub(crate) fn note(text: &str) -> Fact {
    Fact::Note(NoteFact { text: text.into() })
}

/// A day's work: the station begins, an inspection is opened, measured and signed. Each item is
/// one commit; the last but one is to be sealed before the last.
pub(crate) fn day(next: u64) -> Vec<Vec<Stored>> {
    let mut seq = next..;
    let mut make = |book: &BookId, fact| stored(book, seq.next().unwrap(), fact);
    let station = BookId::Station;
    let all: Vec<u8> = (0..=255).collect();
    let link =
        Fact::Link(LinkFact { link: "ohm".into(), state: "up".into(), why: None, identity: None });
    vec![
        vec![make(&station, opening("2026", false)), make(&station, link)],
        vec![make(&idle(), opening("2026-11-24", false)), make(&idle(), bytes(b"R4 OL\r\n"))],
        vec![make(&inspection(), opening(ID, true)), make(&inspection(), note("given"))],
        vec![
            make(&idle(), bytes(b"the last of the idle bytes")),
            make(&inspection(), bytes(&all)),
            make(&station, note("several books at once")),
        ],
        vec![make(&inspection(), bytes(b"R4 +0.182 Ohm\r\n"))],
        vec![make(&inspection(), signed())],
        vec![make(&station, Fact::Stop(ReasonFact { reason: None }))],
    ]
}

/// The last line of an inspection.
pub(crate) fn signed() -> Fact {
    Fact::Sign(SignFact {
        meaning: "performed".into(),
        auth: "badge".into(),
        outcome: Word::Pass,
        words: vec![],
        open: vec![],
        tag: None,
        reason: None,
    })
}

/// Stores the fact of a sealed book.
pub(crate) fn announce(books: &mut Books, seq: u64, sealed: SealedFact) {
    books.commit(&[stored(&BookId::Station, seq, Fact::Sealed(sealed))]).unwrap();
}
