//! What came of it as a shape: round for a pass, eight corners for a fail, a triangle for what
//! nothing can be said of. Each can be told from the others without its colour, and without its
//! sign.

use serde::{Deserialize, Serialize};

use crate::canvas::{Ink, Page, Seg, circle, polygon, stroke};

/// What came of a step, or of the whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Word {
    /// It conforms.
    Pass,
    /// It conforms, within the guard band.
    ConditionalPass,
    /// It does not, within the guard band.
    ConditionalFail,
    /// It does not conform.
    Fail,
    /// Nothing can be said.
    #[default]
    Undecided,
}

impl Word {
    /// Its code.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Word::Pass => "pass",
            Word::ConditionalPass => "conditional_pass",
            Word::ConditionalFail => "conditional_fail",
            Word::Fail => "fail",
            Word::Undecided => "undecided",
        }
    }

    /// Its colour, dark enough to be read on white: 5 to 1 and more.
    #[must_use]
    pub fn ink(self) -> Ink {
        match self {
            Word::Pass | Word::ConditionalPass => Ink(0x0b, 0x66, 0x3d),
            Word::ConditionalFail | Word::Fail => Ink(0xb0, 0x12, 0x2a),
            Word::Undecided => Ink(0x8a, 0x55, 0x00),
        }
    }
}

/// Draws the shape of a word around a middle, with a radius; its sign is white, black in a white
/// one.
pub fn seal(page: &mut Page, word: Word, at: (f32, f32), r: f32, ink: Ink) {
    let inside = if ink == Ink::WHITE { Ink::FULL } else { Ink::WHITE };
    let at = |x: f32, y: f32| (at.0 + x * r, at.1 + y * r);
    match word {
        Word::Pass | Word::ConditionalPass => {
            page.shape(circle(at(0.0, 0.0), r), ink);
            sign(page, &[at(-0.46, 0.04), at(-0.12, 0.38), at(0.5, -0.32)], r * 0.2, inside);
        }
        Word::ConditionalFail | Word::Fail => {
            let corner = |n: u8| {
                let turn = (f32::from(n) + 0.5) * std::f32::consts::FRAC_PI_4;
                at(turn.cos() * 1.06, turn.sin() * 1.06)
            };
            let corners: Vec<(f32, f32)> = (0..8).map(corner).collect();
            page.shape(polygon(&corners), ink);
            sign(page, &[at(-0.38, -0.38), at(0.38, 0.38)], r * 0.2, inside);
            sign(page, &[at(-0.38, 0.38), at(0.38, -0.38)], r * 0.2, inside);
        }
        Word::Undecided => {
            page.shape(polygon(&[at(0.0, -1.08), at(1.12, 0.9), at(-1.12, 0.9)]), ink);
            sign(page, &[at(0.0, -0.42), at(0.0, 0.32)], r * 0.2, inside);
            page.shape(circle(at(0.0, 0.62), r * 0.13), inside);
        }
    }
}

/// A line with round ends through some points.
fn sign(page: &mut Page, points: &[(f32, f32)], width: f32, ink: Ink) {
    let dots = points.iter().map(|point| circle(*point, width / 2.0));
    let lines = points.windows(2).map(|two| stroke(two[0], two[1], width));
    let parts: Vec<Vec<Seg>> = dots.chain(lines).collect();
    parts.into_iter().for_each(|part| page.shape(part, ink));
}
