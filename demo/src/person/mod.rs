//! The technician at the simulated bench: follows what the station asks, and slips on purpose.
//!
//! A pure machine: sights and moments in, deeds out. A person who gets no further makes the bench
//! safe, leaves the step out, and in the end gives up: nothing here waits for ever.

mod follow;
mod sight;
mod slip;
mod tester;

use std::collections::VecDeque;

use serde_json::{Value, json};

pub use sight::{Asked, Open, Selected, Sight};
pub use slip::{Does, Slip, What};

use crate::hand::Hand;
use crate::scene::Scene;

/// Pause after which a word that did not change is answered once more, microseconds.
const AGAIN_US: u64 = 4_000_000;
/// A window with its guard and its release, with room: longest time of `arm` and `measure`.
const WINDOW_US: u64 = 12_000_000;
/// Longest time of a null in one direction, or of a proof with the voltages before it.
const PROOF_US: u64 = 8_000_000;
/// How often the same is tried.
const TRIES_MAX: u32 = 2;
/// How often a step is left out before the person gives up altogether.
const LEFT_OUT_MAX: u32 = 6;

/// What the person does.
#[derive(Debug, Clone, PartialEq)]
pub enum Deed {
    /// With the hands, at the bench.
    Hand(Hand),
    /// Asks the station: an object of its requests, `{"do": "act", …}`.
    Ask(Value),
}

/// Something that is going to be done, if the eyes agree.
#[derive(Debug, Clone, PartialEq)]
enum Intent {
    Do(Deed),
    /// Only with the asset's indicator lit.
    IfLit(Value),
    /// Only with an open circuit on the display.
    IfOpen(Value),
    /// What the voltmeter of the isolated source shows is entered.
    Source,
}

/// The technician.
#[derive(Debug, Clone)]
pub struct Person {
    asset: String,
    badge: String,
    witnessed: bool,
    supply: [String; 3],
    slips: Vec<Slip>,
    asked: Option<Asked>,
    since_us: u64,
    tries: u32,
    left_out: u32,
    /// A step is being left out: what the station asks meanwhile waits.
    leaving: bool,
    agenda: VecDeque<(u64, Intent)>,
    begun: bool,
    /// Step whose capture was asked for by an act.
    armed: Option<String>,
    /// The wrong label was scanned once.
    mistook: bool,
    /// The supply was measured and typed in.
    checked_supply: bool,
    /// The clips of the insulation tester were laid.
    laid: bool,
}

impl Person {
    /// A technician with this badge, for one scene.
    #[must_use]
    pub fn new(scene: &Scene, badge: &str) -> Person {
        let [ln, npe, lpe] = scene.hookup.outlet_volts();
        Person {
            asset: scene.asset.clone(),
            badge: badge.to_owned(),
            witnessed: scene.witnessed,
            supply: [format!("{ln:.1}"), format!("{npe:.1}"), format!("{lpe:.1}")],
            slips: scene.slips.clone(),
            asked: None,
            since_us: 0,
            tries: 0,
            left_out: 0,
            leaving: false,
            agenda: VecDeque::new(),
            begun: false,
            armed: None,
            mistook: false,
            checked_supply: false,
            laid: false,
        }
    }

    /// The inspection that was begun is no longer open.
    #[must_use]
    pub fn finished(&self, sight: &Sight) -> bool {
        self.begun && sight.inspection.is_none()
    }

    /// Looks, and does what is due at `now` (microseconds, rising). Call it every 0.1 s or so.
    pub fn see(&mut self, now: u64, sight: &Sight) -> Vec<Deed> {
        if self.finished(sight) {
            return Vec::new();
        }
        self.begun |= sight.inspection.is_some();
        let asked = self.asked_now(sight);
        if self.leaving && !self.agenda.is_empty() {
            return self.due(now, sight);
        }
        if self.leaving || self.asked.as_ref() != Some(&asked) {
            self.leaving = false;
            self.tries = 0;
            self.plan(now, &asked);
        } else if self.agenda.is_empty() && self.since_us + patience(&asked.state) <= now {
            self.tries += 1;
            match self.tries {
                0..=TRIES_MAX => self.plan(now, &asked),
                _ => self.leave_out(now, &asked),
            }
        }
        self.asked = Some(asked);
        self.due(now, sight)
    }

    /// The station's word, or what comes before there is an inspection.
    fn asked_now(&self, sight: &Sight) -> Asked {
        if let Some(open) = &sight.inspection {
            return open.prompt.clone();
        }
        let selected = sight.selected.as_ref().is_some_and(|one| one.asset == self.asset);
        let state = match (&sight.operator, selected) {
            (None, _) => "login",
            (_, false) => "select",
            (_, true) => "begin",
        };
        Asked { state: state.to_owned(), ..Asked::default() }
    }

    fn plan(&mut self, now: u64, asked: &Asked) {
        self.since_us = now;
        let intents = self.follow(asked);
        self.agenda = intents.into_iter().map(|(wait, intent)| (now + wait, intent)).collect();
    }

    /// It does not go on: make safe, leave the step out, at last give up. A path that can't be
    /// proved is said to be so, and the run goes on.
    fn leave_out(&mut self, now: u64, asked: &Asked) {
        self.left_out += 1;
        self.tries = 0;
        self.since_us = now;
        let proves = matches!(asked.state.as_str(), "prove_closed" | "prove_open" | "reprove");
        if proves && self.left_out <= LEFT_OUT_MAX {
            let request = json!({ "do": "prove", "what": "network_resistance" });
            self.agenda = VecDeque::from([(now, Intent::Do(Deed::Ask(request)))]);
            return;
        }
        let off = Hand::Switch { set: [("supply".to_owned(), "off".to_owned())].into() };
        let (source, tester) = (Hand::Source { on: false }, Hand::Tester { on: false });
        let hands = [source, tester, off].map(|hand| (now, Intent::Do(Deed::Hand(hand))));
        let mut agenda = VecDeque::from(hands);
        let ask = |wait: u64, request: Value| (now + wait, Intent::Do(Deed::Ask(request)));
        if !self.witnessed || asked.part.is_some() || asked.insulates() {
            // Whatever is asked for by then: to make safe is said for no prompt.
            agenda.push_back(ask(1_200_000, json!({ "do": "act", "what": "dead" })));
        }
        let reason = format!("`{}` does not come to an end", asked.state);
        let request = if self.left_out <= LEFT_OUT_MAX && asked.step.is_some() {
            json!({ "do": "skip", "reason": reason })
        } else {
            json!({ "do": "end", "outcome": "given_up", "reason": reason })
        };
        agenda.push_back(ask(2_400_000, request));
        self.agenda = agenda;
        self.leaving = true;
    }

    fn due(&mut self, now: u64, sight: &Sight) -> Vec<Deed> {
        let mut deeds = Vec::new();
        while self.agenda.front().is_some_and(|(due, _)| *due <= now) {
            let Some((_, intent)) = self.agenda.pop_front() else { break };
            match intent {
                Intent::Do(deed) => deeds.push(deed),
                Intent::IfLit(request) if sight.lit => deeds.push(Deed::Ask(request)),
                Intent::Source => {
                    let volts = &sight.source;
                    let request = json!({ "do": "prove", "what": "source", "ln": volts });
                    deeds.push(Deed::Ask(request));
                }
                Intent::IfOpen(request) if sight.ol => {
                    self.armed = self.asked.as_ref().and_then(|asked| asked.step.clone());
                    deeds.push(Deed::Ask(request));
                }
                Intent::IfLit(_) | Intent::IfOpen(_) => {}
            }
            self.since_us = now;
        }
        deeds
    }

    fn slips(&self, asked: &Asked, does: Does, what: What) -> bool {
        let step = asked.step.as_deref().unwrap_or(&asked.state);
        let of = asked.of.as_deref().unwrap_or(&asked.state);
        let mut slips = self.slips.iter().filter(|slip| (slip.does, slip.what) == (does, what));
        slips.any(|slip| slip.is_at(step, of))
    }
}

fn patience(state: &str) -> u64 {
    match state {
        "arm" | "measure" | "capture" | "join_clips" => WINDOW_US,
        "prove_closed" | "prove_open" | "reprove" | "null" => PROOF_US,
        "sign" => 300_000,
        _ => AGAIN_US,
    }
}

/// A deliberate act, for what was seen.
fn act(what: &str, asked: &Asked) -> Value {
    json!({ "do": "act", "what": what, "expect": expect(asked) })
}

fn expect(asked: &Asked) -> Value {
    json!({ "step": asked.step, "state": asked.state, "seq": asked.seq })
}

#[cfg(test)]
mod tests;
