//! What is drawn: filled shapes and texts on a page, in points from its top left corner.

use crate::font::{CAP, Face, settable};

/// Points of a millimetre.
pub const MM: f32 = 72.0 / 25.4;

/// A piece of an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seg {
    /// A new outline begins.
    Move(f32, f32),
    /// A straight line.
    Line(f32, f32),
    /// A cubic curve: two control points, and the end.
    Curve([f32; 6]),
    /// Back to where it began.
    Close,
}

/// Red, green, blue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ink(pub u8, pub u8, pub u8);

impl Ink {
    /// Text.
    pub const BLACK: Ink = Ink(0x16, 0x18, 0x1c);
    /// Labels of fields, small print: still 7 to 1 on white.
    pub const QUIET: Ink = Ink(0x4e, 0x54, 0x5c);
    /// Rules.
    pub const RULE: Ink = Ink(0xb9, 0xbe, 0xc5);
    /// Ground of headings.
    pub const PALE: Ink = Ink(0xf1, 0xf3, 0xf5);
    /// Paper.
    pub const WHITE: Ink = Ink(0xff, 0xff, 0xff);
    /// What a thermal printer has.
    pub const FULL: Ink = Ink(0, 0, 0);
}

/// Something drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A filled shape; where outlines overlap in opposite senses it is open.
    Fill {
        /// Its outline.
        shape: Vec<Seg>,
        /// Its colour.
        ink: Ink,
    },
    /// A line of text, on its base line.
    Text {
        /// Left end.
        x: f32,
        /// Base line.
        y: f32,
        /// Size.
        size: f32,
        /// Face.
        face: Face,
        /// Colour.
        ink: Ink,
        /// Letters that can be set.
        text: String,
    },
}

/// A page.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Page {
    /// Width.
    pub width: f32,
    /// Height.
    pub height: f32,
    /// What is on it, from the back to the front.
    pub marks: Vec<Mark>,
}

/// How a text is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    /// Size, points.
    pub size: f32,
    /// Face.
    pub face: Face,
    /// Colour.
    pub ink: Ink,
}

impl Style {
    /// Text of a size.
    #[must_use]
    pub const fn plain(size: f32) -> Style {
        Style { size, face: Face::Regular, ink: Ink::BLACK }
    }

    /// The same, strong.
    #[must_use]
    pub const fn strong(size: f32) -> Style {
        Style { size, face: Face::Strong, ink: Ink::BLACK }
    }

    /// The same, quiet.
    #[must_use]
    pub const fn quiet(size: f32) -> Style {
        Style { size, face: Face::Regular, ink: Ink::QUIET }
    }

    /// The same in another colour.
    #[must_use]
    pub const fn ink(self, ink: Ink) -> Style {
        Style { ink, ..self }
    }

    /// Width of a text, points.
    #[must_use]
    pub fn width(self, text: &str) -> f32 {
        self.face.width(&settable(text), self.size)
    }

    /// As large as it is, or so small that the text is no wider.
    #[must_use]
    pub fn fitting(self, text: &str, width: f32) -> Style {
        let used = self.width(text);
        if used <= width { self } else { Style { size: self.size * width / used, ..self } }
    }

    /// A text on one line, up to a seventh smaller than asked for, or in lines.
    #[must_use]
    pub fn snug(self, text: &str, width: f32) -> (Style, Vec<String>) {
        let fitting = self.fitting(text, width);
        match fitting.size > self.size * 0.86 {
            true => (fitting, vec![settable(text)]),
            false => (self, self.wrapped(text, width)),
        }
    }

    /// From base line to base line.
    #[must_use]
    pub fn leading(self) -> f32 {
        self.size * 1.32
    }

    /// From the top of a line to its base line.
    #[must_use]
    pub fn rise(self) -> f32 {
        (self.leading() + self.size * CAP) / 2.0
    }

    /// A text in lines of at most a width: broken at blanks, and inside of a word that is wider.
    #[must_use]
    pub fn wrapped(self, text: &str, width: f32) -> Vec<String> {
        let text = settable(text);
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            for part in self.parts(word, width) {
                let joined = if line.is_empty() { part.clone() } else { format!("{line} {part}") };
                if !line.is_empty() && self.face.width(&joined, self.size) > width {
                    lines.push(std::mem::replace(&mut line, part));
                } else {
                    line = joined;
                }
            }
        }
        if !line.is_empty() || lines.is_empty() {
            lines.push(line);
        }
        lines
    }

    fn parts(self, word: &str, width: f32) -> Vec<String> {
        let mut parts = vec![String::new()];
        let mut used = 0.0;
        for letter in word.chars() {
            let one = self.face.get().set(letter).width * self.size;
            if used + one > width && used > 0.0 {
                parts.push(String::new());
                used = 0.0;
            }
            parts.last_mut().expect("it begins with one").push(letter);
            used += one;
        }
        parts
    }
}

impl Page {
    /// An empty one.
    #[must_use]
    pub fn new(width: f32, height: f32) -> Page {
        Page { width, height, marks: Vec::new() }
    }

    /// A text with its left end and base line.
    pub fn text(&mut self, x: f32, y: f32, style: Style, text: &str) {
        let Style { size, face, ink } = style;
        let text = settable(text);
        if !text.trim().is_empty() {
            self.marks.push(Mark::Text { x, y, size, face, ink, text });
        }
    }

    /// A text with its right end.
    pub fn right(&mut self, x: f32, y: f32, style: Style, text: &str) {
        self.text(x - style.width(text), y, style, text);
    }

    /// A text with its middle.
    pub fn middle(&mut self, x: f32, y: f32, style: Style, text: &str) {
        self.text(x - style.width(text) / 2.0, y, style, text);
    }

    /// A filled box: left, top, width, height.
    pub fn fill(&mut self, [x, y, w, h]: [f32; 4], ink: Ink) {
        self.marks.push(Mark::Fill { shape: boxed([x, y, w, h]), ink });
    }

    /// A filled shape.
    pub fn shape(&mut self, shape: Vec<Seg>, ink: Ink) {
        self.marks.push(Mark::Fill { shape, ink });
    }

    /// A line across.
    pub fn rule(&mut self, x: f32, y: f32, width: f32, ink: Ink) {
        self.fill([x, y - 0.25, width, 0.5], ink);
    }

    /// A straight line of a width.
    pub fn line(&mut self, from: (f32, f32), to: (f32, f32), width: f32, ink: Ink) {
        self.shape(stroke(from, to, width), ink);
    }

    /// An empty box with a line around it.
    pub fn frame(&mut self, [x, y, w, h]: [f32; 4], line: f32, ink: Ink) {
        for side in [
            [x, y, w, line],
            [x, y + h - line, w, line],
            [x, y + line, line, h - 2.0 * line],
            [x + w - line, y + line, line, h - 2.0 * line],
        ] {
            self.fill(side, ink);
        }
    }
}

/// The outline of a box: left, top, width, height.
#[must_use]
pub fn boxed([x, y, w, h]: [f32; 4]) -> Vec<Seg> {
    polygon(&[(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
}

/// The outline through some points.
#[must_use]
pub fn polygon(points: &[(f32, f32)]) -> Vec<Seg> {
    let mut shape: Vec<Seg> = points.iter().map(|(x, y)| Seg::Line(*x, *y)).collect();
    if let (Some(first), Some((x, y))) = (shape.first_mut(), points.first()) {
        *first = Seg::Move(*x, *y);
        shape.push(Seg::Close);
    }
    shape
}

/// The outline of a straight line of a width.
#[must_use]
pub fn stroke(from: (f32, f32), to: (f32, f32), width: f32) -> Vec<Seg> {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let length = dx.hypot(dy).max(0.001);
    let (nx, ny) = (-dy / length * width / 2.0, dx / length * width / 2.0);
    polygon(&[
        (from.0 + nx, from.1 + ny),
        (to.0 + nx, to.1 + ny),
        (to.0 - nx, to.1 - ny),
        (from.0 - nx, from.1 - ny),
    ])
}

/// The outline of a circle.
#[must_use]
pub fn circle((x, y): (f32, f32), r: f32) -> Vec<Seg> {
    let k = r * 0.552_285;
    vec![
        Seg::Move(x + r, y),
        Seg::Curve([x + r, y + k, x + k, y + r, x, y + r]),
        Seg::Curve([x - k, y + r, x - r, y + k, x - r, y]),
        Seg::Curve([x - r, y - k, x - k, y - r, x, y - r]),
        Seg::Curve([x + k, y - r, x + r, y - k, x + r, y]),
        Seg::Close,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_no_wider_than_asked_for_and_lose_nothing() {
        let style = Style::plain(8.0);
        let text = "Leitungsschutzschalterprüfung an der Stelle „Gehäuse, Schraube“ im Raum 12";
        for width in [20.0, 45.0, 90.0, 400.0] {
            let lines = style.wrapped(text, width);
            assert!(lines.iter().all(|line| style.width(line) <= width), "{lines:?}");
            assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
        }
        assert_eq!(style.wrapped("", 50.0), [""]);
    }
}
