//! One asset, one mistake, one inspection: what came of it.

use serde_json::Value;
use tapline_demo::person::{Asked, Deed, Sight};
use tapline_demo::scene::Scene;
use tapline_demo::world::Port;
use tapline_protocols::Fact;

use super::mistakes::Mistake;
use super::rig::{Bench, Between, Register, Told};
use crate::station::event::Stored;

/// A bench with an asset on it, before somebody makes a mistake.
#[derive(Debug)]
pub struct Case {
    /// Circuit, box, meters, slips.
    pub scene: Scene,
    /// What the station's register says.
    pub register: Register,
}

/// What an inspection says at its end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Came {
    /// `pass fail undecided given_up`; empty where it did not come to an end.
    pub word: String,
    /// Reasons of its verdicts and of closed steps, and words beside the outcome.
    pub reasons: Vec<String>,
    /// What the station refused.
    pub told: String,
    /// Seconds; acts of the hands that moved something, scans, requests.
    pub cost: (u64, [u32; 3]),
}

/// Inspects with a mistake, or carefully without.
pub fn inspect(mut case: Case, mistake: Option<&Mistake>) -> Came {
    if let Some(mistake) = mistake {
        (mistake.sets)(&mut case);
    }
    let mut bench = Bench::with(&case.scene, &case.register);
    let mut slip = Slip { mistake, count: 0, held: Vec::new() };
    came(&bench.inspect_through(&case.scene, &mut slip))
}

/// The lines of the station, the inspection's and others, in their order.
#[must_use]
pub fn lines(mut case: Case, mistake: Option<&Mistake>) -> Vec<Stored> {
    if let Some(mistake) = mistake {
        (mistake.sets)(&mut case);
    }
    let mut bench = Bench::with(&case.scene, &case.register);
    let mut slip = Slip { mistake, count: 0, held: Vec::new() };
    bench.inspect_through(&case.scene, &mut slip);
    bench.lines
}

fn came(told: &Told) -> Came {
    let mut came = Came {
        word: String::new(),
        reasons: Vec::new(),
        told: format!("{:?}", told.refusals),
        cost: (told.seconds, told.acts),
    };
    for fact in &told.facts {
        match fact {
            Fact::Verdict(verdict) => came.reasons.extend(verdict.judged.reasons.iter().cloned()),
            Fact::Step(step) if step.state == "closed" => came.reasons.extend(step.reason.clone()),
            Fact::Sign(sign) => {
                let word = serde_json::to_value(sign.outcome).unwrap_or_default();
                came.word = word.as_str().map(Into::into).unwrap_or_default();
                came.reasons.extend(sign.words.iter().cloned());
            }
            Fact::End(end) => came.word.clone_from(&end.outcome),
            _ => {}
        }
    }
    came.reasons.sort();
    came.reasons.dedup();
    came
}

/// The mistake between the person and the bench; `count` and `held` are its memory.
struct Slip<'a> {
    mistake: Option<&'a Mistake>,
    count: u32,
    held: Vec<u8>,
}

impl Between for Slip<'_> {
    fn sees(&mut self, sight: &mut Sight) {
        if let Some(mistake) = self.mistake {
            (mistake.sees)(sight);
        }
    }

    fn does(&mut self, asked: &Asked, deed: Deed, lines: &[Stored]) -> Vec<Deed> {
        match self.mistake {
            Some(mistake) => (mistake.does)(At { asked, lines, count: &mut self.count }, deed),
            None => vec![deed],
        }
    }

    fn wires(&mut self, port: Port, bytes: Vec<u8>) -> Vec<u8> {
        match self.mistake {
            Some(mistake) => (mistake.wires)(port, bytes, &mut self.held),
            None => bytes,
        }
    }
}

/// When a deed is done.
#[derive(Debug)]
pub struct At<'a> {
    /// What the station asks for.
    pub asked: &'a Asked,
    /// Every line that was committed.
    pub lines: &'a [Stored],
    /// Memory of the mistake.
    pub count: &'a mut u32,
}

impl At<'_> {
    /// The station asks for this.
    pub fn is(&self, state: &str) -> bool {
        self.asked.state == state
    }

    /// The inspection that is open.
    pub fn id(&self) -> String {
        let opened = |line: &Stored| match &line.fact {
            Fact::Open(open) => Some(open.id.clone()),
            _ => None,
        };
        self.lines.iter().rev().find_map(opened).unwrap_or_default()
    }

    /// The step of the plan.
    pub fn of(&self) -> &str {
        self.asked.of.as_deref().unwrap_or_default()
    }

    /// In the second polarity.
    pub fn last(&self) -> bool {
        self.asked.step.as_ref().is_some_and(|step| step.ends_with("/2"))
    }

    /// Only so often: counts.
    pub fn first(&mut self, times: u32) -> bool {
        *self.count += 1;
        *self.count <= times
    }

    /// What an act refers to.
    pub fn expect(&self) -> Value {
        let Asked { step, state, seq, .. } = self.asked;
        serde_json::json!({ "step": step, "state": state, "seq": seq })
    }
}
