//! The two faces, what their letters look like and how wide they are.
//!
//! Text is set letter by letter: no ligatures and no kerning, digits all of one width, so that
//! numbers stand under each other.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::{FontRef, GlyphId, MetadataProvider};

use crate::canvas::Seg;

/// A face of the type.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Face {
    /// Text.
    #[default]
    Regular,
    /// Headings, values, words of a verdict.
    Strong,
}

/// Height of a capital letter, of the size.
pub const CAP: f32 = 0.727;

/// A face as it is used.
pub(crate) struct Type {
    pub(crate) bytes: &'static [u8],
    font: FontRef<'static>,
    /// Units of its size.
    em: f32,
    /// Letters with their glyph and their width, of the size.
    letters: BTreeMap<char, (u32, f32)>,
}

/// A glyph that stands for a letter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Set {
    pub(crate) glyph: u32,
    pub(crate) width: f32,
}

impl Face {
    pub(crate) fn get(self) -> &'static Type {
        static FACES: [OnceLock<Type>; 2] = [OnceLock::new(), OnceLock::new()];
        match self {
            Face::Regular => FACES[0].get_or_init(|| {
                Type::read(include_bytes!("../fonts/Inter-Regular.otf").as_slice())
            }),
            Face::Strong => FACES[1].get_or_init(|| {
                Type::read(include_bytes!("../fonts/Inter-SemiBold.otf").as_slice())
            }),
        }
    }

    /// Width of a text that can be set, points, at a size in points.
    #[must_use]
    pub fn width(self, text: &str, size: f32) -> f32 {
        text.chars().map(|letter| self.get().set(letter).width).sum::<f32>() * size
    }
}

impl Type {
    fn read(bytes: &'static [u8]) -> Type {
        let font = FontRef::new(bytes).expect("a test sets every letter of the built-in faces");
        let wide = font.glyph_metrics(Size::new(1.0), LocationRef::default());
        let letter = |(code, glyph): (u32, GlyphId)| {
            let width = wide.advance_width(glyph).unwrap_or_default();
            Some((char::from_u32(code)?, (glyph.to_u32(), width)))
        };
        let letters = font.charmap().mappings().filter_map(letter).collect();
        let em = font.metrics(Size::unscaled(), LocationRef::default()).units_per_em.into();
        Type { bytes, font, em, letters }
    }

    pub(crate) fn set(&self, letter: char) -> Set {
        let (glyph, width) = self.letters.get(&letter).copied().unwrap_or((0, 0.5));
        Set { glyph, width }
    }

    /// The outline of a glyph, of size 1, downwards positive.
    pub(crate) fn outline(&self, glyph: u32) -> Vec<Seg> {
        let mut pen = Pen { em: self.em, ..Pen::default() };
        let glyphs = self.font.outline_glyphs();
        if let Some(outline) = glyphs.get(GlyphId::new(glyph)) {
            let settings = DrawSettings::unhinted(Size::unscaled(), LocationRef::default());
            let drawn = outline.draw(settings, &mut pen);
            drawn.expect("the built-in faces are whole");
        }
        pen.drawn
    }
}

/// The text in letters that can be set: what the faces lack is spelled as its number.
#[must_use]
pub fn settable(text: &str) -> String {
    let known = &Face::Regular.get().letters;
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            letter if known.contains_key(&letter) => out.push(letter),
            letter if letter.is_whitespace() => out.push(' '),
            letter => out.push_str(&format!("[U+{:04X}]", u32::from(letter))),
        }
    }
    out
}

/// Draws in units of the face, and keeps in sizes.
#[derive(Default)]
struct Pen {
    em: f32,
    drawn: Vec<Seg>,
}

impl OutlinePen for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.drawn.push(Seg::Move(x / self.em, -y / self.em));
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.drawn.push(Seg::Line(x / self.em, -y / self.em));
    }

    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        self.curve_to(cx, cy, cx, cy, x, y);
    }

    fn curve_to(&mut self, ax: f32, ay: f32, bx: f32, by: f32, x: f32, y: f32) {
        let places = [ax, -ay, bx, -by, x, -y].map(|place| place / self.em);
        self.drawn.push(Seg::Curve(places));
    }

    fn close(&mut self) {
        self.drawn.push(Seg::Close);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_report_needs_can_be_set() {
        let needed = "Ωµ±≤≥×·°−–—„“”‚‘’…%äöüÄÖÜßẞéèáñçøåłŁ 0123456789";
        for face in [Face::Regular, Face::Strong] {
            for letter in needed.chars() {
                assert_ne!(face.get().set(letter).glyph, 0, "{letter} in {face:?}");
            }
        }
        assert_eq!(settable(needed), needed);
    }

    #[test]
    fn digits_stand_under_each_other() {
        let width = Face::Regular.width("0", 10.0);
        for digit in '1'..='9' {
            assert!((Face::Regular.width(&digit.to_string(), 10.0) - width).abs() < 0.001);
        }
    }

    #[test]
    fn what_the_faces_lack_is_spelled() {
        assert_eq!(settable("a\u{4e2d}\tb"), "a[U+4E2D] b");
    }

    /// The outline of `I` is a box as high as capitals are.
    #[test]
    fn capitals_are_as_high_as_said() {
        let face = Face::Regular.get();
        let top = face.outline(face.set('I').glyph).into_iter().filter_map(|seg| match seg {
            Seg::Move(_, y) | Seg::Line(_, y) => Some(-y),
            _ => None,
        });
        assert!((top.fold(0.0, f32::max) - CAP).abs() < 0.002);
    }
}
