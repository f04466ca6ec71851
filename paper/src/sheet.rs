//! Sheets to be scanned from or to be hung up: codes with their words, cautions.

use crate::canvas::{Ink, MM, Page, Style};
use crate::codes::Code;
use crate::report::Paper;
use crate::seal::{Word, seal};
use crate::words::Words;

/// A code with what it says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// The code.
    pub code: Code,
    /// What it does.
    pub says: String,
}

/// A part of a sheet, on pages of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Title.
    pub title: String,
    /// How it is used.
    pub how: String,
    /// Codes.
    pub cells: Vec<Cell>,
    /// Codes beside each other.
    pub columns: u8,
}

const SIDE: f32 = 40.0;
const TEXT: Style = Style::plain(8.0);
/// Width of a bar and of a square: easily read at a bench (common practice, no source).
const BAR: f32 = 0.34 * MM;
const SQUARE: f32 = 0.6 * MM;
/// Height of bars.
const HIGH: f32 = 15.0 * MM;

/// The pages of codes; each part begins one, so that one can be kept apart from the others.
#[must_use]
pub fn codes(parts: &[Part], words: &Words, paper: Paper) -> Vec<Page> {
    let mut pages = Vec::new();
    for part in parts {
        let mut y = begun(&mut pages, &part.title, &part.how, paper);
        let wide = (paper.size().0 - 2.0 * SIDE) / f32::from(part.columns.max(1));
        for row in part.cells.chunks(usize::from(part.columns.max(1))) {
            let high = row.iter().map(|cell| height(cell, wide)).fold(0.0, f32::max);
            if y + high > paper.size().1 - 46.0 {
                y = begun(&mut pages, &part.title, "", paper);
            }
            let page = pages.last_mut().expect("a part begins with a page");
            for (n, cell) in (0_u8..).zip(row) {
                draw(page, cell, (SIDE + f32::from(n) * wide, y), wide);
            }
            y += high;
        }
    }
    numbered(pages, words)
}

/// A page with its title; where what follows begins.
fn begun(pages: &mut Vec<Page>, title: &str, how: &str, paper: Paper) -> f32 {
    let (w, h) = paper.size();
    let mut page = Page::new(w, h);
    page.text(SIDE, 50.0, Style::strong(14.0), title);
    let mut y = 60.0;
    if !how.is_empty() {
        for line in Style::quiet(9.0).wrapped(how, w - 2.0 * SIDE) {
            y += 12.0;
            page.text(SIDE, y, Style::quiet(9.0), &line);
        }
    }
    page.rule(SIDE, y + 10.0, w - 2.0 * SIDE, Ink::RULE);
    pages.push(page);
    y + 24.0
}

fn module(code: &Code, wide: f32) -> f32 {
    let usual = if code.height == 1 { BAR } else { SQUARE };
    // Ten modules stay free beside bars (ISO/IEC 15417, from memory), two beside squares.
    let quiet = if code.height == 1 { 20.0 } else { 4.0 };
    let modules = code.wide(1.0) + quiet;
    usual.min(wide / modules)
}

fn tall(code: &Code, wide: f32) -> f32 {
    if code.height == 1 { HIGH } else { code.high(module(code, wide)) }
}

fn lines(cell: &Cell, wide: f32) -> Vec<String> {
    TEXT.wrapped(&cell.says, wide - 12.0)
}

fn height(cell: &Cell, wide: f32) -> f32 {
    tall(&cell.code, wide) + 10.0 * lines(cell, wide).len() as f32 + 22.0
}

fn draw(page: &mut Page, cell: &Cell, (x, y): (f32, f32), wide: f32) {
    let module = module(&cell.code, wide);
    let inset = if cell.code.height == 1 { 10.0 * module } else { 0.0 };
    let high = if cell.code.height == 1 { HIGH } else { module };
    page.shape(cell.code.shape((x + inset, y), (module, high)), Ink::FULL);
    let mut line = y + tall(&cell.code, wide) + 11.0;
    for text in lines(cell, wide) {
        page.text(x, line, TEXT, &text);
        line += 10.0;
    }
}

/// Cautions, to be hung up beside the bench.
#[must_use]
pub fn cautions(title: &str, how: &str, list: &[String], words: &Words, paper: Paper) -> Vec<Page> {
    let mut pages = Vec::new();
    let mut y = begun(&mut pages, title, how, paper);
    let (w, h) = paper.size();
    let style = Style::plain(12.5);
    for text in list {
        let lines = style.wrapped(text, w - 2.0 * SIDE - 36.0);
        let high = 17.0 * lines.len() as f32 + 16.0;
        if y + high > h - 46.0 {
            y = begun(&mut pages, title, "", paper);
        }
        let page = pages.last_mut().expect("it begins with a page");
        seal(page, Word::Undecided, (SIDE + 12.0, y + 9.0), 10.0, Word::Undecided.ink());
        for (n, line) in (0_u8..).zip(&lines) {
            page.text(SIDE + 36.0, y + 13.0 + 17.0 * f32::from(n), style, line);
        }
        page.rule(SIDE, y + high - 4.0, w - 2.0 * SIDE, Ink(0xe2, 0xe5, 0xe9));
        y += high + 6.0;
    }
    numbered(pages, words)
}

fn numbered(mut pages: Vec<Page>, words: &Words) -> Vec<Page> {
    let of = pages.len().to_string();
    for (at, page) in pages.iter_mut().enumerate() {
        let number = (at + 1).to_string();
        let text = words.tell("page", "of", &[("page", &number), ("pages", &of)]);
        let (right, y) = (page.width - SIDE, page.height - 24.0);
        page.right(right, y, Style::quiet(7.0), &text);
    }
    pages
}
