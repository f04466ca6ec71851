//! Lines that are on disk already are shown to the feed again, so that a client which comes back
//! after a restart goes on where it was.

use std::collections::{BTreeSet, VecDeque};

use tapline_protocols::Fact;

use super::feed::{Feed, LINES_MAX, Shown};
use crate::books::line::outline;
use crate::books::{Halted, Line, Recovered, Shelf};
use crate::config::Config;
use crate::station::event::BookId;

/// Station books that are looked into, the newest: a year may just have begun.
const YEARS_MAX: usize = 2;

/// Shows what was stored since the feed's newest line, as far as it hangs together: a client
/// must never get a line while one before it is missing.
///
/// # Errors
/// The books can't be read.
pub(super) fn show(
    (shelf, found): (&Shelf, &Recovered),
    config: &Config,
    day: &str,
    feed: &Feed,
) -> Result<(), Halted> {
    let (_, newest) = feed.ends();
    let mut books = vec![BookId::Station];
    if !day.is_empty() {
        books.push(BookId::Idle(day.to_owned()));
    }
    let just = found.sealed.iter().map(|sealed| &sealed.id);
    let inspections = just.chain(&found.inspections).chain(&found.newest_sealed);
    let inspections: BTreeSet<&String> = inspections.collect();
    books.extend(inspections.into_iter().cloned().map(BookId::Inspection));
    let mut lines = Vec::new();
    for book in books {
        read(shelf, config, &book, newest, &mut lines)?;
    }
    lines.sort_by_key(|line| line.seq);
    feed.show(hanging_together(lines));
    Ok(())
}

fn read(
    shelf: &Shelf,
    config: &Config,
    book: &BookId,
    newest: u64,
    lines: &mut Vec<Shown>,
) -> Result<(), Halted> {
    let mut of_book = None;
    // Of a long book only the newest lines matter: the others are looked at, not understood.
    let mut texts = VecDeque::new();
    for text in shelf.newest_texts(book, YEARS_MAX)? {
        let text = text?.bytes;
        let Some((seq, kind)) = outline(&text) else { continue };
        if kind == b"open" {
            of_book = opened_at(&text);
        }
        if seq > newest {
            let bench = match (&of_book, kind) {
                (None, b"in") => None,
                _ => Some(of_book.clone()),
            };
            texts.push_back((seq, bench, text));
        }
        let surplus = texts.len().saturating_sub(LINES_MAX);
        texts.drain(..surplus);
    }
    for (seq, bench, text) in texts {
        let bench =
            bench.unwrap_or_else(|| link_of(&text).and_then(|link| bench_of(config, &link)));
        let text = String::from_utf8_lossy(&text);
        lines.push(Shown::of(book, bench.as_deref(), seq, &text));
    }
    // Memory is bounded.
    if lines.len() > 4 * LINES_MAX {
        lines.sort_by_key(|line| line.seq);
        lines.drain(..lines.len() - LINES_MAX);
    }
    Ok(())
}

/// The bench of an inspection whose first line this is.
fn opened_at(text: &[u8]) -> Option<String> {
    match Line::read(text).ok()?.fact {
        Fact::Open(open) => open.inspection.map(|opened| opened.bench),
        _ => None,
    }
}

/// The link of an `in` line.
fn link_of(text: &[u8]) -> Option<String> {
    match Line::read(text).ok()?.fact {
        Fact::In(read) => Some(read.link),
        _ => None,
    }
}

fn bench_of(config: &Config, link: &str) -> Option<String> {
    config.links.iter().find(|known| known.id == link).map(|link| link.bench.clone())
}

/// The longest end without a missing number.
fn hanging_together(mut lines: Vec<Shown>) -> Vec<Shown> {
    let gap = lines.windows(2).rposition(|pair| pair[0].seq + 1 != pair[1].seq);
    if let Some(gap) = gap {
        lines.drain(..=gap);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_before_a_missing_number_is_shown() {
        let book = BookId::Station;
        let line = |seq| Shown::of(&book, None, seq, r#"{"k":"note"}"#);
        let shown = hanging_together([1, 2, 4, 5, 6].map(line).to_vec());
        assert_eq!(shown.iter().map(|line| line.seq).collect::<Vec<_>>(), [4, 5, 6]);
        assert_eq!(hanging_together(Vec::new()), []);
        assert_eq!(hanging_together([7, 8].map(line).to_vec()).len(), 2);
    }
}
