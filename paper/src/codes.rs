//! Codes as modules of a whole number of units: bars (Code 128) and squares (Data Matrix).

use std::fmt;

use barcoders::sym::code128::Code128;
use datamatrix::{DataMatrixBuilder, SymbolList};

use crate::canvas::{Ink, Page, Seg, boxed};

/// A code that the encoders don't take; what is printed are constants and names that the register
/// took, and tests make the sheets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotDrawn(pub String);

impl fmt::Display for NotDrawn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the sheet can't be drawn: {}", self.0)
    }
}

/// Character set B, and FNC1, as the encoder of bars wants them written.
pub const SET_B: char = '\u{181}';
/// FNC1.
pub const FNC1: char = '\u{179}';

/// A code: which modules are dark, row by row. Bars have one row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Code {
    /// Modules of a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    dark: Vec<bool>,
}

impl Code {
    /// Bars (Code 128); `text` begins with [`SET_B`].
    ///
    /// # Errors
    /// The encoder does not take it.
    pub fn bars(text: &str) -> Result<Code, NotDrawn> {
        let modules = Code128::new(text).map_err(|error| NotDrawn(error.to_string()))?.encode();
        let dark: Vec<bool> = modules.iter().map(|module| *module == 1).collect();
        Ok(Code { width: dark.len(), height: 1, dark })
    }

    /// Squares (Data Matrix), with FNC1 in front where the text is an element string of GS1.
    ///
    /// # Errors
    /// The encoder does not take it.
    pub fn squares(bytes: &[u8], gs1: bool) -> Result<Code, NotDrawn> {
        let code = DataMatrixBuilder::new()
            .with_fnc1_start(gs1)
            .with_symbol_list(SymbolList::default())
            .encode(bytes)
            .map_err(|error| NotDrawn(format!("{error:?}")))?;
        let bitmap = code.bitmap();
        let (width, height) = (bitmap.width(), bitmap.height());
        let mut dark = vec![false; width * height];
        bitmap.pixels().for_each(|(x, y)| dark[y * width + x] = true);
        Ok(Code { width, height, dark })
    }

    /// Runs of dark modules: column, row, how many.
    pub fn runs(&self) -> Vec<(usize, usize, usize)> {
        let mut runs: Vec<(usize, usize, usize)> = Vec::new();
        for (at, _) in self.dark.iter().enumerate().filter(|(_, dark)| **dark) {
            let (x, y) = (at % self.width, at / self.width);
            match runs.last_mut() {
                Some(last) if last.1 == y && last.0 + last.2 == x => last.2 += 1,
                _ => runs.push((x, y, 1)),
            }
        }
        runs
    }

    /// Its dark modules as one shape: from a corner, with the width and height of a module.
    #[must_use]
    pub fn shape(&self, (x, y): (f32, f32), (w, h): (f32, f32)) -> Vec<Seg> {
        let place = |n: usize| f32::from(u16::try_from(n).unwrap_or(u16::MAX));
        let run = |(column, row, many): &(usize, usize, usize)| {
            boxed([x + place(*column) * w, y + place(*row) * h, place(*many) * w, h])
        };
        self.runs().iter().flat_map(run).collect()
    }

    /// Draws squares from their corner; the quiet zone is left to who draws.
    pub fn draw(&self, page: &mut Page, at: (f32, f32), module: f32, ink: Ink) {
        page.shape(self.shape(at, (module, module)), ink);
    }

    /// How wide it is, with modules of a width.
    #[must_use]
    pub fn wide(&self, module: f32) -> f32 {
        f32::from(u16::try_from(self.width).unwrap_or(u16::MAX)) * module
    }

    /// How high it is.
    #[must_use]
    pub fn high(&self, module: f32) -> f32 {
        f32::from(u16::try_from(self.height).unwrap_or(u16::MAX)) * module
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO/IEC 15417 Annex A.1 as zint's tests cite it: start, 7 characters, check (87) and stop,
    /// 11 modules each and 13 for the stop.
    #[test]
    fn bars_have_as_many_modules_as_the_standard_says() {
        let code = Code::bars(&format!("{SET_B}AIM1234")).unwrap();
        assert_eq!((code.width, code.height), (9 * 11 + 13, 1));
    }

    /// 32 bytes take 34 code words in base 256, and 24 x 24 modules hold 36 (ISO/IEC 16022 Table 7,
    /// from memory).
    #[test]
    fn a_head_takes_24_rows() {
        let code = Code::squares(&[0xa7; 32], false).unwrap();
        assert_eq!((code.width, code.height), (24, 24));
        let dark: usize = code.runs().iter().map(|run| run.2).sum();
        assert_eq!(dark, code.dark.iter().filter(|dark| **dark).count());
    }
}
