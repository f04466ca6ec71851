//! Pages as PDF: fonts embedded and cut down to what is used, dates from what is printed.

use krilla::color::rgb;
use krilla::configure::{Archival, ConfigurationBuilder};
use krilla::geom::{Path, PathBuilder, Point};
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Document, SerializeSettings};

use crate::canvas::{Ink, Mark, Page, Seg};
use crate::font::Face;
use crate::moment::Moment;

/// What the file says of itself.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct About {
    /// Title.
    pub title: String,
    /// What names the document for ever.
    pub id: String,
    /// `en`, `de`.
    pub language: String,
    /// When what it tells was done; never the time of printing.
    pub date: Option<Moment>,
}

/// It can't be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotWritten(pub String);

impl std::fmt::Display for NotWritten {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "the pages can't be written: {}", self.0)
    }
}

/// The file; PDF/A-2b where it has a date, without which no archive takes it. The same pages give
/// the same bytes.
///
/// # Errors
/// The writer refuses them; tests write every kind.
pub fn pdf(pages: &[Page], about: &About) -> Result<Vec<u8>, NotWritten> {
    let refused = |why: String| NotWritten(why);
    let configuration = match about.date {
        Some(_) => ConfigurationBuilder::new().with_archival_validator(Archival::A2_B),
        None => ConfigurationBuilder::new(),
    };
    let configuration = configuration.finish().map_err(|why| refused(format!("{why:?}")))?;
    let mut document =
        Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    let fonts = [Face::Regular, Face::Strong].map(|face| {
        Font::new(face.get().bytes.into(), 0).expect("a test sets every letter of the faces")
    });
    for page in pages {
        let settings = PageSettings::from_wh(page.width, page.height)
            .ok_or_else(|| refused("a page has no size".into()))?;
        let mut drawn = document.start_page_with(settings);
        let mut surface = drawn.surface();
        for mark in &page.marks {
            draw(&mut surface, mark, &fonts);
        }
        surface.finish();
        drawn.finish();
    }
    document.set_metadata(metadata(about));
    document.finish().map_err(|why| refused(format!("{why:?}")))
}

fn metadata(about: &About) -> Metadata {
    let metadata = Metadata::new()
        .title(about.title.clone())
        .creator("Tapline".into())
        .language(about.language.clone())
        .document_id(about.id.clone());
    match about.date {
        None => metadata,
        Some(at) => metadata.creation_date(
            DateTime::new(at.year)
                .month(at.month)
                .day(at.day)
                .hour(at.hour)
                .minute(at.minute)
                .second(at.second)
                .utc_offset_hour(at.offset_hour())
                .utc_offset_minute(at.offset_minute()),
        ),
    }
}

fn draw(surface: &mut Surface<'_>, mark: &Mark, fonts: &[Font; 2]) {
    match mark {
        Mark::Fill { shape, ink } => {
            if let Some(path) = path(shape) {
                surface.set_fill(Some(fill(*ink)));
                surface.draw_path(&path);
            }
        }
        Mark::Text { x, y, size, face, ink, text } => {
            surface.set_fill(Some(fill(*ink)));
            let font = match face {
                Face::Regular => &fonts[0],
                Face::Strong => &fonts[1],
            };
            let at = Point::from_xy(*x, *y);
            surface.draw_glyphs(at, &glyphs(*face, text), font.clone(), text, *size, false);
        }
    }
}

fn glyphs(face: Face, text: &str) -> Vec<KrillaGlyph> {
    let glyph = |(at, letter): (usize, char)| {
        let set = face.get().set(letter);
        let (glyph, range) = (GlyphId::new(set.glyph), at..at + letter.len_utf8());
        KrillaGlyph::new(glyph, set.width, 0.0, 0.0, 0.0, range, None)
    };
    text.char_indices().map(glyph).collect()
}

fn fill(ink: Ink) -> Fill {
    Fill {
        paint: rgb::Color::new(ink.0, ink.1, ink.2).into(),
        opacity: NormalizedF32::ONE,
        rule: FillRule::NonZero,
    }
}

fn path(shape: &[Seg]) -> Option<Path> {
    let mut path = PathBuilder::new();
    for seg in shape {
        match *seg {
            Seg::Move(x, y) => path.move_to(x, y),
            Seg::Line(x, y) => path.line_to(x, y),
            Seg::Curve([ax, ay, bx, by, x, y]) => path.cubic_to(ax, ay, bx, by, x, y),
            Seg::Close => path.close(),
        }
    }
    path.finish()
}
