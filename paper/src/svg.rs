//! A page as a drawing that needs nothing else: letters are outlines.

use std::fmt::Write;

use crate::canvas::{Ink, MM, Mark, Page, Seg};
use crate::font::Face;

/// The drawing (SVG), as large as the page.
#[must_use]
pub fn svg(page: &Page) -> String {
    let (w, h) = (page.width, page.height);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.3}mm\" height=\"{:.3}mm\" \
         viewBox=\"0 0 {w:.3} {h:.3}\">",
        w / MM,
        h / MM
    );
    for mark in &page.marks {
        let (path, ink) = match mark {
            Mark::Fill { shape, ink } => (path(shape), *ink),
            Mark::Text { x, y, size, face, ink, text } => {
                (path(&letters(*face, text, (*x, *y), *size)), *ink)
            }
        };
        let Ink(red, green, blue) = ink;
        let fill = format!("#{red:02x}{green:02x}{blue:02x}");
        write!(out, "<path fill=\"{fill}\" d=\"{path}\"/>").expect("a string takes everything");
    }
    out.push_str("</svg>");
    out
}

/// The outlines of a text.
pub(crate) fn letters(face: Face, text: &str, at: (f32, f32), size: f32) -> Vec<Seg> {
    let face = face.get();
    let mut x = at.0;
    let mut out = Vec::new();
    for letter in text.chars() {
        let set = face.set(letter);
        let place = |px: f32, py: f32| (x + px * size, at.1 + py * size);
        out.extend(face.outline(set.glyph).into_iter().map(|seg| moved(seg, &place)));
        x += set.width * size;
    }
    out
}

fn moved(seg: Seg, place: &impl Fn(f32, f32) -> (f32, f32)) -> Seg {
    match seg {
        Seg::Move(x, y) => {
            let (x, y) = place(x, y);
            Seg::Move(x, y)
        }
        Seg::Line(x, y) => {
            let (x, y) = place(x, y);
            Seg::Line(x, y)
        }
        Seg::Curve([ax, ay, bx, by, x, y]) => {
            let ((ax, ay), (bx, by), (x, y)) = (place(ax, ay), place(bx, by), place(x, y));
            Seg::Curve([ax, ay, bx, by, x, y])
        }
        Seg::Close => Seg::Close,
    }
}

fn path(shape: &[Seg]) -> String {
    let mut out = String::new();
    for seg in shape {
        let piece = match seg {
            Seg::Move(x, y) => format!("M{} {}", short(*x), short(*y)),
            Seg::Line(x, y) => format!("L{} {}", short(*x), short(*y)),
            Seg::Curve([ax, ay, bx, by, x, y]) => {
                let numbers = [ax, ay, bx, by, x, y].map(|number| short(*number));
                format!("C{}", numbers.join(" "))
            }
            Seg::Close => "Z".into(),
        };
        out.push_str(&piece);
    }
    out
}

/// Three decimals at most.
fn short(number: f32) -> String {
    let text = format!("{number:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}
