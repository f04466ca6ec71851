//! Every scene of the demonstration, and every mistake, from the scan of the asset to the
//! signature: the station's core and drivers on the solved circuit, in virtual time.
//!
//! What must come of each stands in its own file (`expect`): a wrong bench never passes, apart
//! from the one whose title says that it is not caught.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;

use tapline::validate::rig::{Bench, Told};
use tapline_demo::clinic::{self, MISTAKES, SCENES};
use tapline_demo::scene::Scene;
use tapline_protocols::Fact;
use tapline_protocols::fact::Word;

/// Outcome, verdict or state of each step of the plan, and all reasons.
struct Came {
    outcome: String,
    words: Vec<String>,
    steps: BTreeMap<String, String>,
    reasons: Vec<String>,
}

fn came(told: &Told) -> Came {
    let mut came = Came {
        outcome: String::new(),
        words: Vec::new(),
        steps: BTreeMap::new(),
        reasons: Vec::new(),
    };
    for fact in &told.facts {
        match fact {
            Fact::Verdict(verdict) => {
                let word = word(&verdict.judged.verdict);
                let closed = came.steps.get(&verdict.step).is_some_and(|word| word == "closed");
                if !closed || word == "fail" {
                    came.steps.insert(verdict.step.clone(), word);
                }
                came.reasons.extend(verdict.judged.reasons.iter().cloned());
            }
            Fact::Step(step) if step.state == "closed" || step.state == "skipped" => {
                let of = step.step.split('/').next().unwrap().to_string();
                came.steps.insert(of, step.state.clone());
                came.reasons.extend(step.reason.clone());
            }
            Fact::Sign(sign) => {
                came.outcome = word(&sign.outcome);
                came.words.clone_from(&sign.words);
            }
            Fact::End(end) => came.outcome.clone_from(&end.outcome),
            _ => {}
        }
    }
    came.reasons.extend(came.words.iter().cloned());
    came
}

fn word(word: &Word) -> String {
    serde_json::to_value(word).unwrap().as_str().unwrap().to_string()
}

/// What differs from what the scene expects; an inspection that was given up is undecided.
fn differs(name: &str, scene: &Scene, told: &Told) -> Option<String> {
    let came = came(told);
    let outcome = match came.outcome.as_str() {
        "given_up" => "undecided",
        other => other,
    };
    let want = &scene.expect;
    let steps = want.steps.iter().all(|(step, word)| came.steps.get(step) == Some(word));
    let reasons = want.reasons.iter().all(|reason| came.reasons.contains(reason));
    let right = outcome == want.outcome && steps && reasons;
    (!right).then(|| {
        format!(
            "{name}: {} in {} s by {:?} acts, steps {:?}, reasons {:?}, refused {:?}\n  wanted {want:?}",
            came.outcome, told.seconds, told.acts, came.steps, came.reasons, told.refusals
        )
    })
}

#[test]
fn the_scenes_come_out_as_they_say_one_after_the_other_on_one_bench() {
    let first = Scene::parse(SCENES[0].1).unwrap();
    let mut bench = Bench::new(&first);
    let mut seconds = 0;
    let mut wrong = Vec::new();
    for (name, text) in SCENES {
        let scene = Scene::parse(text).unwrap();
        bench.change(&scene);
        let told = bench.inspect(&scene);
        wrong.extend(differs(name, &scene, &told));
        seconds += told.seconds;
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(seconds < 200, "five scenes take {seconds} s");
}

#[test]
fn no_wrong_bench_passes_but_the_one_that_says_so() {
    let mut passed = Vec::new();
    let mut wrong = Vec::new();
    for (name, text) in MISTAKES {
        let scene = Scene::parse(text).unwrap();
        let told = Bench::new(&scene).inspect(&scene);
        wrong.extend(differs(name, &scene, &told));
        if came(&told).outcome == "pass" {
            passed.push(name);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(passed, ["mistakes/s5-left-declared"]);
    assert!(clinic::scene(passed[0]).unwrap().contains("this is not caught"));
}
