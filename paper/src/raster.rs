//! A page as dots of a printer, black or white.

use tiny_skia::{FillRule, Mask, PathBuilder, Transform};

use crate::canvas::{Ink, Mark, Page, Seg};
use crate::svg::letters;

/// Dots, row by row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dots {
    /// Dots of a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Dots of an inch.
    pub dpi: u32,
    black: Vec<bool>,
}

/// Largest side, dots: a label as long as a hand at 600 dots an inch.
const SIDE_MAX: u32 = 8_000;

/// The dots of a page at so many an inch; what is lighter than half of black is white.
///
/// `None` for a page without dots, or with more than 8000 on a side.
#[must_use]
pub fn raster(page: &Page, dpi: u32) -> Option<Dots> {
    let scale = f32::from(u16::try_from(dpi).ok()?) / 72.0;
    let (width, height) = (side(page.width * scale)?, side(page.height * scale)?);
    let mut dots = Dots { width, height, dpi, black: vec![false; (width * height) as usize] };
    let transform = Transform::from_scale(scale, scale);
    for mark in &page.marks {
        let (shape, ink) = match mark {
            Mark::Fill { shape, ink } => (shape.clone(), *ink),
            Mark::Text { x, y, size, face, ink, text } => {
                (letters(*face, text, (*x, *y), *size), *ink)
            }
        };
        dots.fill(&shape, is_black(ink), transform)?;
    }
    Some(dots)
}

/// Whole dots of a length that is meant to be whole.
fn side(length: f32) -> Option<u32> {
    (1..=SIDE_MAX).find(|side| {
        let side = f32::from(u16::try_from(*side).unwrap_or(u16::MAX));
        (side - length).abs() <= 0.5
    })
}

fn is_black(ink: Ink) -> bool {
    u16::from(ink.0) + u16::from(ink.1) + u16::from(ink.2) < 3 * 128
}

impl Dots {
    fn fill(&mut self, shape: &[Seg], black: bool, transform: Transform) -> Option<()> {
        let mut path = PathBuilder::new();
        for seg in shape {
            match *seg {
                Seg::Move(x, y) => path.move_to(x, y),
                Seg::Line(x, y) => path.line_to(x, y),
                Seg::Curve([ax, ay, bx, by, x, y]) => path.cubic_to(ax, ay, bx, by, x, y),
                Seg::Close => path.close(),
            }
        }
        let Some(path) = path.finish() else { return Some(()) };
        let mut mask = Mask::new(self.width, self.height)?;
        mask.fill_path(&path, FillRule::Winding, false, transform);
        for (dot, _) in self.black.iter_mut().zip(mask.data()).filter(|(_, set)| **set > 127) {
            *dot = black;
        }
        Some(())
    }

    /// Whether a dot is black; what lies outside is white.
    #[must_use]
    pub fn is_black(&self, x: u32, y: u32) -> bool {
        let at = (y * self.width + x) as usize;
        x < self.width && self.black.get(at).copied().unwrap_or(false)
    }

    /// As a picture (PNG), one bit a dot, with its size in metres.
    #[must_use]
    pub fn png(&self) -> Vec<u8> {
        let mut out = Vec::new();
        let mut encoder = png::Encoder::new(&mut out, self.width, self.height);
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::One);
        encoder.set_filter(png::Filter::NoFilter);
        let metre = self.dpi * 10_000 / 254;
        let dims = png::PixelDimensions { xppu: metre, yppu: metre, unit: png::Unit::Meter };
        encoder.set_pixel_dims(Some(dims));
        let written =
            encoder.write_header().and_then(|mut writer| writer.write_image_data(&self.packed()));
        written.expect("memory takes everything, and the rows are as long as was said");
        out
    }

    fn packed(&self) -> Vec<u8> {
        let rows = self.black.chunks(self.width as usize);
        let bytes = rows.flat_map(|row| {
            row.chunks(8).map(|eight| {
                let white = eight.iter().enumerate().filter(|(_, black)| !**black);
                white.fold(0_u8, |byte, (at, _)| byte | 0x80 >> at)
            })
        });
        bytes.collect()
    }
}
