//! What runs down a page and on to the next one.

use crate::canvas::{Ink, Page, Style};
use crate::words::Words;

/// Size of the paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// 210 mm x 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 in x 11 in.
    Letter,
}

impl Paper {
    /// The paper of a name, `a4` or `letter`.
    #[must_use]
    pub fn named(name: &str) -> Option<Paper> {
        match name {
            "a4" => Some(Paper::A4),
            "letter" => Some(Paper::Letter),
            _ => None,
        }
    }

    /// Width and height, points.
    #[must_use]
    pub fn size(self) -> (f32, f32) {
        match self {
            Paper::A4 => (595.276, 841.89),
            Paper::Letter => (612.0, 792.0),
        }
    }
}

pub(crate) const TEXT: f32 = 7.4;
pub(crate) const SMALL: f32 = 6.2;
const SIDE: f32 = 40.0;
const TOP: f32 = 28.0;
const FOOT: f32 = 27.0;

/// Pages on their way.
pub(crate) struct Flow {
    pub(crate) words: &'static Words,
    pub(crate) pages: Vec<Page>,
    size: (f32, f32),
    pub(crate) y: f32,
    running: [String; 2],
}

impl Flow {
    /// `running`: what stands on top of every page but the first, left and right.
    pub(crate) fn new(paper: Paper, words: &'static Words, running: [String; 2]) -> Flow {
        let size = paper.size();
        Flow { words, pages: vec![Page::new(size.0, size.1)], size, y: TOP, running }
    }

    pub(crate) fn left(&self) -> f32 {
        SIDE
    }

    pub(crate) fn right(&self) -> f32 {
        self.size.0 - SIDE
    }

    pub(crate) fn width(&self) -> f32 {
        self.size.0 - 2.0 * SIDE
    }

    pub(crate) fn bottom(&self) -> f32 {
        self.size.1 - FOOT - 8.0
    }

    pub(crate) fn page(&mut self) -> &mut Page {
        self.pages.last_mut().expect("it begins with one")
    }

    /// Goes on to the next page where there is less room than that; tells whether it did.
    pub(crate) fn need(&mut self, height: f32) -> bool {
        if self.y + height <= self.bottom() {
            return false;
        }
        self.pages.push(Page::new(self.size.0, self.size.1));
        let (left, right, width) = (self.left(), self.right(), self.width());
        let [before, behind] = self.running.clone();
        let page = self.page();
        page.text(left, TOP + 4.0, Style::strong(TEXT), &before);
        page.right(right, TOP + 4.0, Style::quiet(TEXT), &behind);
        page.rule(left, TOP + 10.0, width, Ink::RULE);
        self.y = TOP + 20.0;
        true
    }

    /// A heading; so much must fit below it.
    pub(crate) fn heading(&mut self, code: &str, below: f32) {
        self.need(24.0 + below);
        self.y += 6.5;
        let (left, y, text) = (self.left(), self.y, self.words.say("heading", code));
        self.page().text(left, y + 7.0, Style::strong(8.2), &text);
        self.y += 12.0;
    }

    /// A text over the width, line by line.
    pub(crate) fn paragraph(&mut self, style: Style, text: &str) {
        let (left, width) = (self.left(), self.width());
        for line in style.wrapped(text, width) {
            self.need(style.leading());
            let y = self.y + style.rise();
            self.page().text(left, y, style, &line);
            self.y += style.leading();
        }
    }

    /// What stands at the foot of each page, once all are there.
    pub(crate) fn finish(mut self, end: &str) -> Vec<Page> {
        let of = self.pages.len().to_string();
        let (left, right, width) = (self.left(), self.right(), self.width());
        let y = self.size.1 - FOOT + 6.0;
        let words = self.words;
        let [name, _] = self.running.clone();
        let last = self.pages.len() - 1;
        for (at, page) in self.pages.iter_mut().enumerate() {
            let number = (at + 1).to_string();
            let of = words.tell("page", "of", &[("page", &number), ("pages", &of)]);
            page.rule(left, y - 11.0, width, Ink::RULE);
            page.text(left, y, Style::quiet(SMALL), &name);
            page.right(right, y, Style::quiet(SMALL), &of);
            let ends = if at == last { end.to_owned() } else { words.say("page", "goes_on") };
            let style = if at == last { Style::strong(SMALL) } else { Style::quiet(SMALL) };
            page.middle(left + width / 2.0, y, style, &ends);
        }
        self.pages
    }
}
