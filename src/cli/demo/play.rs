//! One scene: a person looks at the station's page and acts.

use std::collections::BTreeMap;
use std::time::Duration;

use serde_json::{Value, json};
use tapline_demo::clinic;
use tapline_demo::person::{Deed, Person, Sight};
use tapline_demo::scene::Scene;

use super::house::House;
use crate::cli::{Trouble, output};
use crate::clock;

/// How often the person looks.
const LOOK: Duration = Duration::from_millis(50);
/// Longest a scene may take, microseconds of the boot-time clock.
const SCENE_US_MAX: u64 = 300_000_000;

/// What came of a scene.
#[derive(Debug)]
pub(super) struct Played {
    pub(super) scene: Scene,
    pub(super) id: String,
    pub(super) outcome: String,
    /// Word of the last verdict of each step of the plan.
    pub(super) steps: BTreeMap<String, String>,
    pub(super) reasons: Vec<String>,
    /// What was expected and did not come.
    pub(super) missing: Vec<String>,
}

impl Played {
    pub(super) fn as_expected(&self) -> bool {
        self.missing.is_empty()
    }
}

impl House {
    /// Plays a scene to its end.
    pub(super) async fn play(&mut self, text: &str, scene: &Scene) -> Result<Played, Trouble> {
        if !self.fits(scene) {
            return Err(Trouble::Said(format!(
                "scene `{}` has another bench\n  next: play it alone with --scene",
                scene.id
            )));
        }
        output::data(&format!("\n--- {}: {}", scene.id, scene.title))?;
        self.hands.scene(text).await?;
        let mut person = Person::new(scene, clinic::BADGE);
        let begun = clock::now().boot_us;
        let mut id = None;
        loop {
            let (sight, open) = self.sight().await?;
            id = open.or(id);
            if person.finished(&sight) {
                break;
            }
            let now = clock::now().boot_us;
            if now - begun > SCENE_US_MAX {
                return Err(Trouble::Said(format!("scene `{}` came to no end", scene.id)));
            }
            for deed in person.see(now, &sight) {
                self.perform(&deed).await?;
            }
            tokio::time::sleep(LOOK).await;
        }
        self.result(scene, id.unwrap_or_default()).await
    }

    /// What the person sees, and the inspection that is open.
    async fn sight(&mut self) -> Result<(Sight, Option<String>), Trouble> {
        let status = self.get("/v1/status").await?;
        let mut page = status["benches"][0].clone();
        let id = page["inspection"]["id"].as_str().map(str::to_owned);
        let look = self.hands.look().await?;
        page["lit"] = look["lit"].clone();
        page["ol"] = look["ol"].clone();
        page["source"] = look["source"].clone();
        let sight = serde_json::from_value(page)
            .map_err(|error| Trouble::Said(format!("the station's page: {error}")))?;
        Ok((sight, id))
    }

    /// A refusal is part of the play: the person reads it and goes on.
    async fn perform(&mut self, deed: &Deed) -> Result<(), Trouble> {
        let asked = match deed {
            Deed::Hand(hand) => self.hands.act(hand).await,
            Deed::Ask(request) => self.ask(request).await,
        };
        match asked {
            Err(Trouble::Refused(problem)) => {
                output::data(&format!("          not done: {}", problem.detail))
            }
            other => other,
        }
    }

    async fn ask(&mut self, request: &Value) -> Result<(), Trouble> {
        let mut body = request.clone();
        let word = body["do"].as_str().unwrap_or_default().to_owned();
        if let Some(object) = body.as_object_mut() {
            object.remove("do");
        }
        let path = match word.as_str() {
            "begin" => "/v1/inspections".to_owned(),
            "scan" => "/v1/scan".to_owned(),
            _ => format!("/v1/benches/b1/{word}"),
        };
        if path.starts_with("/v1/inspections") || path == "/v1/scan" {
            body["bench"] = json!("b1");
        }
        self.post(&path, body).await.map(drop)
    }

    async fn result(&self, scene: &Scene, id: String) -> Result<Played, Trouble> {
        let result = self.get(&format!("/v1/inspections/{id}")).await?;
        let mut steps = BTreeMap::new();
        let mut reasons = Vec::new();
        for verdict in result["verdicts"].as_array().map_or(&[][..], Vec::as_slice) {
            let text = |key: &str| verdict[key].as_str().unwrap_or_default().to_owned();
            steps.insert(text("step"), text("verdict"));
            let words = verdict["reasons"].as_array().into_iter().flatten();
            reasons.extend(words.filter_map(Value::as_str).map(str::to_owned));
        }
        let outcome = result["outcome"].as_str().unwrap_or_default().to_owned();
        let mut played =
            Played { scene: scene.clone(), id, outcome, steps, reasons, missing: Vec::new() };
        played.missing = missing(&played);
        Ok(played)
    }
}

/// What a scene expects and did not get.
fn missing(played: &Played) -> Vec<String> {
    let expect = &played.scene.expect;
    let mut missing = Vec::new();
    if played.outcome != expect.outcome {
        missing.push(format!("outcome {} instead of {}", played.outcome, expect.outcome));
    }
    for (step, word) in &expect.steps {
        let got = played.steps.get(step).map_or("nothing", String::as_str);
        let closed = ["closed", "skipped"].contains(&word.as_str()) && got == "undecided";
        if got != word && !closed {
            missing.push(format!("{step}: {got} instead of {word}"));
        }
    }
    for reason in &expect.reasons {
        if !played.reasons.contains(reason) {
            missing.push(format!("no reason {reason}"));
        }
    }
    missing
}
