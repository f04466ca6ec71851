//! Codes as drawings: bars or squares of a whole number of units, each as one path.

use std::fmt;

use barcoders::sym::code128::Code128;
use datamatrix::{DataMatrixBuilder, SymbolList};

/// A code that the encoders don't take; what is printed are constants and names that the register
/// took, and tests make the sheets.
#[derive(Debug)]
pub struct NotDrawn(pub(super) String);

impl fmt::Display for NotDrawn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the sheet can't be drawn: {}", self.0)
    }
}

/// Character set B, and FNC1, as the encoder of bars wants them written.
pub(super) const SET_B: char = '\u{181}';
pub(super) const FNC1: char = '\u{179}';

/// Width of a bar and of a square, millimetres: whole dots of common printers, easily read at a
/// bench (common practice, no source).
const BAR_MM: f64 = 0.34;
const SQUARE_MM: f64 = 0.6;

/// Quiet zone on each side, units (ISO/IEC 15417: 10, from memory; Data Matrix needs one).
const QUIET: usize = 12;

/// Height of bars, units.
const HEIGHT: usize = 50;

/// Bars (Code 128).
pub(super) fn bars(text: &str) -> Result<String, NotDrawn> {
    let modules = Code128::new(text).map_err(|error| NotDrawn(error.to_string()))?.encode();
    let dark = modules.iter().enumerate().filter(|(_, module)| **module == 1);
    let path = dark.fold(String::new(), |path, (at, _)| {
        format!("{path}M{} {QUIET}h1v{HEIGHT}h-1z", at + QUIET)
    });
    Ok(svg(modules.len(), HEIGHT, BAR_MM, &path))
}

/// Squares (Data Matrix), with FNC1 in front where the text is an element string of GS1.
pub(super) fn squares(text: &str, gs1: bool) -> Result<String, NotDrawn> {
    let code = DataMatrixBuilder::new()
        .with_fnc1_start(gs1)
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
