//! Twelve reference inspections: scenes of the demonstration, whose files say what must come.

use std::collections::BTreeMap;

use tapline_demo::clinic;
use tapline_demo::scene::Scene;
use tapline_protocols::Fact;
use tapline_protocols::fact::Word;

use super::rig::{Bench, Told};

/// Their names.
pub const NAMES: [&str; 12] = [
    "good",
    "broken-earth",
    "one-polarity",
    "lead-not-nulled",
    "missing-source",
    "mistakes/s5-left",
    "mistakes/data-cable",
    "mistakes/null-through-asset",
    "mistakes/asset-off",
    "mistakes/hi-lo-swapped",
    "mistakes/floating-supply",
    "mistakes/one-direction",
];

/// What came of one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Came {
    /// Its name.
    pub name: &'static str,
    /// What it shows.
    pub title: String,
    /// Outcome that its file asks for.
    pub wanted: String,
    /// Outcome.
    pub outcome: String,
    /// What differs, in words; empty where it came as it should.
    pub wrong: Vec<String>,
}

/// Plays all of them, each on a station of its own.
#[must_use]
pub fn play() -> Vec<Came> {
    NAMES.into_iter().map(one).collect()
}

fn one(name: &'static str) -> Came {
    let text = clinic::scene(name).expect("the demonstration has it");
    let scene = Scene::parse(text).expect("a test reads every scene");
    let told = Bench::new(&scene).inspect(&scene);
    let (outcome, steps) = outcome(&told);
    let mut wrong = Vec::new();
    if outcome != scene.expect.outcome {
        wrong.push(format!("outcome {outcome} instead of {}", scene.expect.outcome));
    }
    for (step, want) in &scene.expect.steps {
        // A step that is closed or left out has the verdict undecided, or none.
        let closed = ["closed", "skipped"].contains(&want.as_str());
        let got = steps.get(step).map_or("nothing", String::as_str);
        if got != want && !(closed && ["undecided", "nothing"].contains(&got)) {
            wrong.push(format!("{step}: {got} instead of {want}"));
        }
    }
    Came { name, title: scene.title, wanted: scene.expect.outcome, outcome, wrong }
}

/// Outcome of the whole, and the newest verdict of each step.
fn outcome(told: &Told) -> (String, BTreeMap<String, String>) {
    let (mut whole, mut steps) = ("undecided".to_owned(), BTreeMap::new());
    for fact in &told.facts {
        match fact {
            Fact::Verdict(verdict) => {
                steps.insert(verdict.step.clone(), text(verdict.judged.verdict));
            }
            Fact::Sign(sign) => whole = text(sign.outcome),
            _ => {}
        }
    }
    (whole, steps)
}

/// The word as records have it.
fn text(word: Word) -> String {
    let value = serde_json::to_value(word).unwrap_or_default();
    value.as_str().unwrap_or_default().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn they_come_as_they_should() {
        for came in play() {
            assert_eq!(came.wrong, Vec::<String>::new(), "{}", came.name);
        }
    }
}
