//! The sheet of the readers' self-test.

use std::fmt::Write;

use tapline_drivers::scan::selftest::{BLANKS, LAYOUT, SEPARATED};

use super::draw::{FNC1, NotDrawn, SET_B, bars, squares};
use crate::words::english;

/// The page: HTML with the codes as SVG.
///
/// # Errors
/// An encoder does not take a code.
pub fn sheet() -> Result<String, NotDrawn> {
    let word = |code: &str| english().say("scanner", code).to_owned();
    let (before, behind) = SEPARATED;
    let joined = format!("{before}\u{1d}{behind}");
    let codes = [
        (word("sheet_squares"), squares(&joined, true)?),
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
