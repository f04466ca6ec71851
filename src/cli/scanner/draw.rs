//! Codes as drawings: bars or squares of a whole number of units, each as one path.

use tapline_paper::codes::Code;
pub(super) use tapline_paper::codes::{FNC1, NotDrawn, SET_B};

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
    let code = Code::bars(text)?;
    Ok(svg(code.width, HEIGHT, BAR_MM, &path(&code, HEIGHT)))
}

/// Squares (Data Matrix), with FNC1 in front where the text is an element string of GS1.
pub(super) fn squares(text: &str, gs1: bool) -> Result<String, NotDrawn> {
    let code = Code::squares(text.as_bytes(), gs1)?;
    Ok(svg(code.width, code.height, SQUARE_MM, &path(&code, 1)))
}

/// Its dark modules, a module so many units high.
fn path(code: &Code, high: usize) -> String {
    let run = |(x, y, many): (usize, usize, usize)| {
        format!("M{} {}h{many}v{high}h-{many}z", x + QUIET, y + QUIET)
    };
    code.runs().into_iter().map(run).collect()
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
