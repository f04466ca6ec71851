//! What can happen to a file: a bit turns over, or its end is gone.

use super::folder::{Folder, Kind};
use super::rng::Rng;

/// How often each kind is harmed, of a hundred.
pub(crate) const SHARES: [(Kind, u64); 9] = [
    (Kind::Station, 14),
    (Kind::Idle, 10),
    (Kind::Open, 14),
    (Kind::Sealed, 24),
    (Kind::Head, 5),
    (Kind::Signature, 5),
    (Kind::PublicKey, 3),
    (Kind::PrivateKey, 3),
    (Kind::Index, 22),
];

/// One damage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Harm {
    pub(crate) kind: Kind,
    pub(crate) path: String,
    pub(crate) how: How,
    /// The file as it is now.
    pub(crate) bytes: Vec<u8>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum How {
    /// This bit, counted from the first of the file.
    Flip(usize),
    /// So many bytes are left.
    Cut(usize),
    /// So many bytes are left, and they end in a right mark or are none at all: a book of which
    /// nothing was written since looks the same.
    CutAtMark(usize),
}

impl Harm {
    /// Draws one: three flips to one cut, one cut of three at a mark.
    pub(crate) fn draw(folder: &Folder, rng: &mut Rng) -> Harm {
        let mut share = rng.below(SHARES.iter().map(|(_, share)| share).sum());
        let drawn = SHARES.iter().find(|(_, of)| {
            let here = share < *of;
            share = share.saturating_sub(*of);
            here
        });
        Harm::draw_of(drawn.expect("the shares are all").0, folder, rng)
    }

    /// Draws one of a kind.
    pub(crate) fn draw_of(kind: Kind, folder: &Folder, rng: &mut Rng) -> Harm {
        let path = (*rng.one(&folder.paths(kind))).to_owned();
        let whole = &folder.files[&path];
        let ends = if kind.is_book() { commits(whole) } else { Vec::new() };
        let how = match rng.below(12) {
            0..9 => How::Flip(below(rng, used(kind, whole) * 8)),
            9 if !ends.is_empty() => How::CutAtMark(*rng.one(&ends)),
            _ => How::Cut(below(rng, used(kind, whole))),
        };
        Harm::new(kind, path, how, whole)
    }

    fn new(kind: Kind, path: String, how: How, whole: &[u8]) -> Harm {
        let mut bytes = whole.to_vec();
        let how = match how {
            How::Flip(bit) => {
                bytes[bit / 8] ^= 1 << (bit % 8);
                how
            }
            How::Cut(left) | How::CutAtMark(left) => {
                bytes.truncate(left);
                let at_mark = kind.is_book() && (left == 0 || commits(whole).contains(&left));
                if at_mark { How::CutAtMark(left) } else { How::Cut(left) }
            }
        };
        Harm { kind, path, how, bytes }
    }

    /// It could as well be a power cut before the next commit.
    pub(crate) fn is_prefix(&self) -> bool {
        self.kind != Kind::Sealed && self.is_cut_at_mark()
    }

    /// All marks that are left are right.
    pub(crate) fn is_cut_at_mark(&self) -> bool {
        matches!(self.how, How::CutAtMark(_))
    }
}

/// A store keeps room behind what it uses: a flip there would say nothing.
fn used(kind: Kind, bytes: &[u8]) -> usize {
    match kind {
        Kind::Index => bytes.iter().rposition(|&b| b != 0).map_or(1, |last| last + 1),
        _ => bytes.len(),
    }
}

fn below(rng: &mut Rng, end: usize) -> usize {
    usize::try_from(rng.below(end as u64)).unwrap()
}

/// Where commits of a book end, but for the last; by the text of the format.
fn commits(book: &[u8]) -> Vec<usize> {
    let mut at = 0;
    let mut ends = Vec::new();
    for line in book.split_inclusive(|&b| b == b'\n') {
        at += line.len();
        if line.starts_with(b"{\"mark\":\"") {
            ends.push(at);
        }
    }
    ends.pop();
    ends
}
