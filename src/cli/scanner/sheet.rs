//! The sheet: each code as bars or squares of a whole number of units, drawn as one path.

use std::fmt::{self, Write};

use barcoders::sym::code128::Code128;
use datamatrix::{DataMatrixBuilder, SymbolList};
use tapline_drivers::scan::selftest::{BLANKS, LAYOUT, SEPARATED};

use crate::words::english;

/// A code that the encoders don't take; the sheet's own are constants, and a test makes the sheet.
#[derive(Debug)]
pub struct NotDrawn(String);

impl fmt::Display for NotDrawn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the sheet can't be drawn: {}", self.0)
    }
}

/// Character set B, and FNC1, as the encoder of bars wants them written.
const SET_B: char = '\u{181}';
const FNC1: char = '\u{179}';

/// Width of a bar and of a square, millimetres: whole dots of common printers, easily read at a
/// bench (common practice, no source).
const BAR_MM: f64 = 0.34;
const SQUARE_MM: f64 = 0.6;

/// Quiet zone on each side, units (ISO/IEC 15417: 10, from memory; Data Matrix needs one).
const QUIET: usize = 12;

/// Height of bars, units.
const HEIGHT: usize = 50;

/// The page: HTML with the codes as SVG.
///
/// # Errors
/// An encoder does not take a code.
pub fn sheet() -> Result<String, NotDrawn> {
    let word = |code: &str| english().say("scanner", code).to_owned();
    let (before, behind) = SEPARATED;
    let joined = format!("{before}\u{1d}{behind}");
    let codes = [
        (word("sheet_squares"), squares(&joined)?),
        (word("sheet_bars"), bars(&format!("{SET_B}{FNC1}{before}{FNC1}{behind}"))?),
        (word("sheet_layout"), bars(&format!("{SET_B}{LAYOUT}"))?),
        (word("sheet_blanks"), bars(&format!("{SET_B}{BLANKS}"))?),
    ];
    let title = word("sheet_title");
    let mut page = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n<title>{title}</title>\n\
         <style>body {{ font-family: sans-serif; margin: 15mm }} figure {{ margin: 0 0 12mm }}\n\
         figcaption {{ margin-bottom: 3mm }}</style>\n<h1>{title}</h1>\n<p>{}</p>\n",
        word("sheet_how"),
    );
    for (says, drawn) in codes {
        writeln!(page, "<figure>\n<figcaption>{says}</figcaption>\n{drawn}\n</figure>")
            .expect("a string takes everything");
    }
    page.push_str("</html>\n");
    Ok(page)
}

fn bars(text: &str) -> Result<String, NotDrawn> {
    let modules = Code128::new(text).map_err(|error| NotDrawn(error.to_string()))?.encode();
    let dark = modules.iter().enumerate().filter(|(_, module)| **module == 1);
    let path = dark.fold(String::new(), |path, (at, _)| {
        format!("{path}M{} {QUIET}h1v{HEIGHT}h-1z", at + QUIET)
    });
    Ok(svg(modules.len(), HEIGHT, BAR_MM, &path))
}

fn squares(text: &str) -> Result<String, NotDrawn> {
    let code = DataMatrixBuilder::new()
        .with_fnc1_start(true)
        .with_symbol_list(SymbolList::default())
        .encode(text.as_bytes())
        .map_err(|error| NotDrawn(format!("{error:?}")))?;
    let bitmap = code.bitmap();
    let path = bitmap
        .pixels()
        .fold(String::new(), |path, (x, y)| format!("{path}M{} {}h1v1h-1z", x + QUIET, y + QUIET));
    Ok(svg(bitmap.width(), bitmap.height(), SQUARE_MM, &path))
}

/// A drawing with its quiet zone, a unit of it so many millimetres.
fn svg(width: usize, height: usize, unit_mm: f64, path: &str) -> String {
    let (width, height) = (width + 2 * QUIET, height + 2 * QUIET);
    let mm = |units: usize| format!("{:.2}mm", units as f64 * unit_mm);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\" \
         viewBox=\"0 0 {width} {height}\" shape-rendering=\"crispEdges\"><path d=\"{path}\"/></svg>",
        mm(width),
        mm(height),
    )
}
