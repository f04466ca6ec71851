//! Lines that are on disk already are shown to the feed again, so that a client which comes back
//! after a restart goes on where it was.

use tapline_protocols::Fact;

use super::feed::{Feed, LINES_MAX, Shown};
use crate::books::{Halted, Line, Shelf};
use crate::config::Config;
use crate::station::event::BookId;

/// Sealed inspections that are looked into, the newest.
const SEALED_MAX: usize = 8;

/// Shows what was stored since the feed's newest line, as far as it hangs together: a client
/// must never get a line while one before it is missing.
///
/// # Errors
/// The books can't be read.
pub(super) fn show(shelf: &Shelf, config: &Config, day: &str, feed: &Feed) -> Result<(), Halted> {
    let (_, newest) = feed.ends();
    let mut books = vec![BookId::Station];
    if !day.is_empty() {
        books.push(BookId::Idle(day.to_owned()));
    }
    let inspections = shelf.inspections()?;
    let (sealed, open): (Vec<_>, Vec<_>) = inspections.into_iter().partition(|book| book.sealed);
    let sealed = sealed.into_iter().rev().take(SEALED_MAX);
    books.extend(open.into_iter().chain(sealed).map(|book| BookId::Inspection(book.id)));
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
    for text in shelf.texts(book)? {
        let text = text?;
        let Ok(line) = Line::read(&text.bytes) else { continue };
        let bench = match &line.fact {
            Fact::Open(open) => {
                of_book = open.inspection.as_ref().map(|opened| opened.bench.clone());
                of_book.clone()
            }
            Fact::In(fact) if of_book.is_none() => bench_of(config, &fact.link),
            _ => of_book.clone(),
        };
        if line.seq > newest {
            let text = String::from_utf8_lossy(&text.bytes);
            lines.push(Shown::of(book, bench.as_deref(), line.seq, &text));
        }
        // Only the newest matter, and memory is bounded.
        if lines.len() > 4 * LINES_MAX {
            lines.sort_by_key(|line| line.seq);
            lines.drain(..lines.len() - LINES_MAX);
        }
    }
    Ok(())
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
