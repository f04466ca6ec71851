//! Labels and tags, on the grid of the printer's dots: modules of codes and frames are whole dots.

use std::fmt;

use crate::canvas::{Ink, MM, Page, Style};
use crate::codes::{Code, NotDrawn, SET_B};
use crate::report::{Change, Outcome, Report, head_code};
use crate::seal::{Word, seal};
use crate::words::Words;

/// A size of label on a printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Width, millimetres.
    pub width: u16,
    /// Height, millimetres.
    pub height: u16,
    /// Dots of an inch.
    pub dpi: u16,
}

impl Default for Size {
    fn default() -> Size {
        Size { width: 50, height: 25, dpi: 203 }
    }
}

impl Size {
    /// Reads `50x25mm`, 38 to 150 wide and 20 to 100 high.
    #[must_use]
    pub fn read(text: &str, dpi: u16) -> Option<Size> {
        let (width, height) = text.strip_suffix("mm").unwrap_or(text).split_once('x')?;
        let (width, height) = (width.trim().parse().ok()?, height.trim().parse().ok()?);
        let fits = (38..=150).contains(&width)
            && (20..=100).contains(&height)
            && (150..=600).contains(&dpi);
        fits.then_some(Size { width, height, dpi })
    }

    /// A dot, points.
    fn dot(self) -> f32 {
        72.0 / f32::from(self.dpi)
    }

    /// The nearest whole number of dots of a length in points, as points.
    fn snap(self, length: f32) -> f32 {
        (length / self.dot()).round() * self.dot()
    }

    fn page(self) -> Page {
        let side = |mm: u16| self.snap(f32::from(mm) * MM);
        Page::new(side(self.width), side(self.height))
    }

    /// The largest module of whole dots with which a code of so many modules is no longer than
    /// that; `None` where that is smaller than a reader likes, 0.25 mm.
    fn module(self, modules: usize, length: f32) -> Option<f32> {
        let modules = f32::from(u16::try_from(modules).ok()?);
        let dots = (length / modules / self.dot() + 0.001).floor();
        let module = dots * self.dot();
        (module >= 0.245 * MM).then_some(module)
    }
}

/// Why there is no label.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoLabel {
    /// The record is not sealed: nothing stands behind a label.
    Unsealed,
    /// Its review found that it does not stand: a label would be false.
    Rejected,
    /// It was not measured through, so nothing came of it: a code.
    Ended(String),
    /// A code does not fit on it, or can't be drawn.
    NoRoom(String),
}

impl From<NotDrawn> for NoLabel {
    fn from(why: NotDrawn) -> NoLabel {
        NoLabel::NoRoom(why.0)
    }
}

impl fmt::Display for NoLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NoLabel::Unsealed => write!(f, "the record is not sealed"),
            NoLabel::Rejected => write!(f, "its review found that it does not stand"),
            NoLabel::Ended(how) => write!(f, "the inspection came to nothing ({how})"),
            NoLabel::NoRoom(why) => write!(f, "the label has no room: {why}"),
        }
    }
}

/// What came of an inspection, to be stuck on the asset: a pass label for a pass and nothing else,
/// a hold tag for what is undecided, a fail tag for a fail.
///
/// # Errors
/// The record is not sealed, was not measured through, or the codes have no room.
pub fn result(report: &Report, words: &Words, size: Size) -> Result<Page, NoLabel> {
    let head = report.printed_head().ok_or(NoLabel::Unsealed)?;
    // Somebody looked through it and said that it does not stand.
    if report.changes.iter().rev().find(|one| one.what != "released").is_some_and(is_rejected) {
        return Err(NoLabel::Rejected);
    }
    let word = match &report.outcome {
        Outcome::Signed(word) => *word,
        Outcome::Ended(how) => return Err(NoLabel::Ended(how.clone())),
        Outcome::Open => return Err(NoLabel::Unsealed),
    };
    let mut page = size.page();
    let edge = size.snap(1.5 * MM);
    let own = Code::squares(report.asset.id.as_bytes(), false)?;
    let sealed = Code::squares(&head, false)?;
    let (w, h) = (page.width, page.height);
    let no_room = || NoLabel::NoRoom(format!("{} x {} mm", size.width, size.height));
    // The head needs 24 modules, and both codes stand above each other with a quiet zone.
    let gap = size.snap(1.2 * MM);
    let module =
        size.module(sealed.height + own.height, h - 2.0 * edge - gap).ok_or_else(no_room)?;
    let right = size.snap(w - edge - sealed.wide(module));
    own.draw(&mut page, (right, edge), module, Ink::FULL);
    let below = size.snap(h - edge - sealed.high(module));
    sealed.draw(&mut page, (right, below), module, Ink::FULL);
    let room = right - gap - edge;
    banner(&mut page, word, words, size, [edge, edge, room]);
    facts(&mut page, report, word, words, [edge, room]);
    page.text(
        edge,
        h - edge,
        Style::strong(1.9 * MM).ink(Ink::FULL).fitting(&head_code(&head), room),
        &head_code(&head),
    );
    Ok(page)
}

fn is_rejected(change: &Change) -> bool {
    change.what == "rejected"
}

/// The code of the label of a word.
fn kind(word: Word) -> &'static str {
    match word {
        Word::Pass | Word::ConditionalPass => "pass",
        Word::ConditionalFail | Word::Fail => "fail",
        Word::Undecided => "hold",
    }
}

/// The word with its shape: black on white for a pass, white in a black band for a fail, between
/// two bars for a hold.
fn banner(page: &mut Page, word: Word, words: &Words, size: Size, [x, y, room]: [f32; 3]) {
    let high = size.snap(page.height * 0.32);
    let said = words.say("label", kind(word));
    let r = high * 0.36;
    let style = Style::strong(high * 0.62).fitting(&said, room - 2.0 * r - high * 0.5);
    let base = y + high / 2.0 + style.size * 0.364;
    let ink = match kind(word) {
        "fail" => {
            page.fill([x, y, room, high], Ink::FULL);
            Ink::WHITE
        }
        "hold" => {
            let bar = size.snap(0.7 * MM);
            page.fill([x, y, room, bar], Ink::FULL);
            page.fill([x, y + high - bar, room, bar], Ink::FULL);
            Ink::FULL
        }
        _ => Ink::FULL,
    };
    let middle = (x + r + high * 0.1, y + high / 2.0);
    seal(page, word, middle, r, ink);
    page.text(middle.0 + r + high * 0.16, base, style.ink(ink), &said);
}

/// Until when, which asset, when and by whom.
fn facts(page: &mut Page, report: &Report, word: Word, words: &Words, [x, room]: [f32; 2]) {
    let h = page.height;
    let until = match (kind(word), &report.next.day) {
        ("pass", Some(day)) => words.tell("label", "next", &[("month", &words.month(day))]),
        ("pass", None) => words.say("label", "no_next"),
        _ => words.say("label", "not_used"),
    };
    let done =
        report.closed.map(|at| words.day(&format!("{:04}-{:02}-{:02}", at.year, at.month, at.day)));
    let by = report.signatures.first().map(|one| one.id.clone()).unwrap_or_default();
    let done = format!("{} · {by}", done.unwrap_or_default());
    let line = |part: f32, text: &str, page: &mut Page, high: f32| {
        let style = Style::strong(high * h).ink(Ink::FULL).fitting(text, room);
        page.text(x, part * h, style, text);
    };
    line(0.545, &until, page, 0.135);
    line(0.70, &report.asset.id, page, 0.125);
    line(0.81, &done, page, 0.088);
}

/// What an asset's own label says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Own {
    /// Its number in squares (Data Matrix).
    #[default]
    Squares,
    /// Its number in lines (Code 128).
    Lines,
    /// Its GIAI in squares, as GS1 has it.
    Gs1,
}

/// The label that an asset is scanned by.
///
/// # Errors
/// The code has no room, or the number has characters that it has not.
pub fn asset(
    id: &str,
    what: &str,
    giai: Option<&str>,
    own: Own,
    size: Size,
) -> Result<Page, NoLabel> {
    let mut page = size.page();
    let (w, h) = (page.width, page.height);
    let edge = size.snap(2.0 * MM);
    let no_room = || NoLabel::NoRoom(format!("{} x {} mm", size.width, size.height));
    let (x, room) = match own {
        Own::Lines => {
            let code = Code::bars(&format!("{SET_B}{id}"))?;
            // Ten modules stay free on each side (ISO/IEC 15417, from memory).
            let module = size.module(code.width + 20, w).ok_or_else(no_room)?;
            let high = size.snap(h * 0.46);
            let from = size.snap((w - code.wide(module)) / 2.0);
            page.shape(code.shape((from, edge), (module, high)), Ink::FULL);
            (edge, w - 2.0 * edge)
        }
        Own::Squares | Own::Gs1 => {
            let code = match (own, giai) {
                (Own::Gs1, Some(giai)) => Code::squares(format!("8004{giai}").as_bytes(), true)?,
                (Own::Gs1, None) => return Err(NoLabel::NoRoom(format!("{id} has no GIAI"))),
                _ => Code::squares(id.as_bytes(), false)?,
            };
            let module = size.module(code.height, h * 0.62).ok_or_else(no_room)?;
            code.draw(&mut page, (edge, edge), module, Ink::FULL);
            let x = edge + size.snap(code.wide(module) + 2.0 * MM);
            (x, w - x - edge)
        }
    };
    let large = Style::strong(h * 0.2).ink(Ink::FULL).fitting(id, room);
    let small = Style::plain(h * 0.11).ink(Ink::FULL).fitting(what, room);
    let lines = matches!(own, Own::Lines);
    page.text(x, if lines { h * 0.78 } else { edge + h * 0.2 }, large, id);
    page.text(x, if lines { h * 0.93 } else { edge + h * 0.38 }, small, what);
    Ok(page)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_size_is_read_within_its_bounds() {
        let size = Size { width: 62, height: 29, dpi: 300 };
        assert_eq!(Size::read("62x29mm", 300), Some(size));
        assert_eq!(Size::read("62 x 29", 300), Some(size));
        for (text, dpi) in [("20x25mm", 203), ("50x10mm", 203), ("50x25mm", 72), ("50", 203)] {
            assert_eq!(Size::read(text, dpi), None, "{text} {dpi}");
        }
    }

    /// 203 dots an inch are 0.125 mm each: three make a module that readers like.
    #[test]
    fn a_module_is_whole_dots_or_none() {
        let size = Size::default();
        let module = size.module(24, 10.0 * MM).unwrap();
        assert!((module / size.dot() - 3.0).abs() < 0.001);
        assert_eq!(size.module(24, 5.0 * MM), None);
    }
}
