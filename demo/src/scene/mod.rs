//! Scenes: one asset on one bench, who inspects it and how, and what must come of it.
//!
//! Format `tapline-scene-1`. All faults of a file are told at once, each with its line.

mod fault;
mod read;

use std::collections::BTreeMap;

pub use fault::Fault;

use crate::hookup::Hookup;
use crate::person::Slip;

/// A scene, read and checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Its name.
    pub id: String,
    /// What it shows, in one sentence.
    pub title: String,
    /// One seed tells one story.
    pub seed: u64,
    /// Asset number, a row of `assets.csv`.
    pub asset: String,
    /// The circuit.
    pub hookup: Hookup,
    /// Switches that the supply box has.
    pub switches: Vec<String>,
    /// Contacts of the box witness them.
    pub witnessed: bool,
    /// Node of each named point of the asset; a point that is not named here is `case`.
    pub points: BTreeMap<String, String>,
    /// What thermoelectric voltages add to a low resistance in one direction, ohm.
    pub offset_ohm: f64,
    /// The low-resistance meter tells that its display is held or zeroed.
    pub tells_flags: bool,
    /// Frequency at which the voltmeter falls by 3 dB, hertz.
    pub bandwidth_hertz: f64,
    /// The voltmeter rectifies and averages, and shows what that is for a sine.
    pub averages: bool,
    /// Instruments show what the circuit says, without noise.
    pub still: bool,
    /// The insulation tester, where the bench has one.
    pub tester: Option<Tester>,
    /// Fixtures of the bench besides box, network, foil and leads.
    pub fixtures: Vec<String>,
    /// Ports that are pulled and plugged in again before the scene: `ohm dmm box scanner`.
    pub replug: Vec<String>,
    /// What the person does wrong.
    pub slips: Vec<Slip>,
    /// What must come of it.
    pub expect: Expect,
}

/// An insulation tester.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tester {
    /// It says its own voltage, and that there is none.
    Tells,
    /// It says the number of an open circuit where there is none.
    Mute,
}

/// What must come of a scene.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Expect {
    /// `pass fail undecided`.
    pub outcome: String,
    /// State or verdict per step of the plan: `pass fail undecided closed skipped done`.
    pub steps: BTreeMap<String, String>,
    /// Words that must be among the reasons.
    pub reasons: Vec<String>,
}

impl Scene {
    /// Reads a scene.
    ///
    /// # Errors
    /// All faults of the text, in order of lines.
    pub fn parse(text: &str) -> Result<Scene, Vec<Fault>> {
        read::scene(text)
    }

    /// Node of a named point of the asset.
    #[must_use]
    pub fn node(&self, point: &str) -> String {
        self.points.get(point).map_or_else(|| "case".to_owned(), Clone::clone)
    }
}
