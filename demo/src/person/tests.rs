//! The person against scripted prompts, in virtual time.

use super::*;
use crate::room::{Clips, Jack, Room, Way};

const SCENE: &str = r#"format = "tapline-scene-1"
id = "x"
title = "x"
seed = 7
asset = "P-0101"
supply = { volts = "230", hertz = 50, neutral = "earthed" }
box = { switches = ["S5", "S7", "supply"], witnessed = true }
parts = [["R", "case", "PE", "0.09 Ohm"]]
expect = { outcome = "pass" }
"#;

/// A person with the bench that their hands change, and what they asked of the station.
struct Stage {
    person: Person,
    room: Room,
    asked: Vec<Value>,
    scans: Vec<String>,
    now: u64,
}

impl Stage {
    fn new(slips: &str, witnessed: bool) -> Stage {
        let text = SCENE
            .replace("witnessed = true", &format!("witnessed = {witnessed}"))
            .replace("expect =", &format!("person = [{slips}]\nexpect ="));
        let scene = Scene::parse(&text).unwrap();
        Stage {
            person: Person::new(&scene, "OP-0007"),
            room: Room::default(),
            asked: Vec::new(),
            scans: Vec::new(),
            now: 0,
        }
    }

    /// Shows one sight for some seconds.
    fn show(&mut self, sight: &Sight, seconds: u64) {
        let end = self.now + seconds * 1_000_000;
        while self.now < end {
            for deed in self.person.see(self.now, sight) {
                match deed {
                    Deed::Hand(Hand::Scan { code }) => self.scans.push(code),
                    Deed::Hand(hand) => self.room.act(&hand, |_| "case".to_owned()).unwrap(),
                    Deed::Ask(request) => self.asked.push(request),
                }
            }
            self.now += 100_000;
        }
    }

    fn prompt(&mut self, json: &Value, seconds: u64) {
        self.show(&sight(json), seconds);
    }

    fn last(&self) -> &Value {
        self.asked.last().unwrap()
    }
}

fn sight(prompt: &Value) -> Sight {
    let all = json!({
        "operator": "op-7",
        "inspection": { "asset": "P-0101", "id": "K3-20261124-0001", "prompt": prompt },
        "lit": true,
    });
    serde_json::from_value(all).unwrap()
}

#[test]
fn it_begins_with_badge_asset_and_plan() {
    let mut stage = Stage::new("", true);
    let mut sight = Sight::default();
    stage.show(&sight, 1);
    sight.operator = Some("op-7".to_owned());
    stage.show(&sight, 1);
    sight.selected = Some(Selected { asset: "P-0101".to_owned() });
    stage.show(&sight, 2);
    assert_eq!(stage.scans, ["OP-0007", "P-0101"]);
    assert_eq!(stage.asked, [json!({ "do": "begin" })]);
}

#[test]
fn protective_earth_is_nulled_lifted_touched_and_flexed() {
    let mut stage = Stage::new("", true);
    let missing = json!({ "state": "arm", "step": "pe/2", "of": "pe", "direction": "minus",
        "missing": ["lead_not_nulled"] });
    stage.prompt(&missing, 2);
    assert_eq!(*stage.last(), json!({ "do": "null", "lead": "L-1" }));
    stage.prompt(&json!({ "state": "null", "step": "null/L-1", "direction": "minus" }), 2);
    assert_eq!((&stage.room.clips, stage.room.way), (&Clips::Shorted, Way::Minus));
    stage.prompt(&json!({ "state": "arm", "step": "pe/2", "of": "pe", "direction": "minus" }), 2);
    assert_eq!(stage.room.clips, Clips::Open);
    let measure = json!({ "state": "measure", "step": "pe/2", "of": "pe",
        "point": "case screw", "direction": "minus" });
    stage.prompt(&measure, 2);
    assert_eq!(stage.room.clips, Clips::On("case".to_owned()));
    assert!(stage.room.flexed && stage.room.way == Way::Minus);
}

#[test]
fn a_broken_earth_is_recorded_by_an_act_once() {
    let mut stage = Stage::new("", true);
    let mut prompt = json!({ "state": "measure", "step": "pe/1", "of": "pe", "seq": 9 });
    let mut open = sight(&prompt);
    open.ol = true;
    stage.show(&open, 4);
    let expect = json!({ "step": "pe/1", "state": "measure", "seq": 9 });
    assert_eq!(stage.asked, [json!({ "do": "capture", "expect": expect })]);
    prompt["seq"] = json!(10);
    let mut open = sight(&prompt);
    open.ol = true;
    stage.show(&open, 6);
    assert_eq!(stage.asked.len(), 1, "a second act would begin the window anew");
}

#[test]
fn a_live_step_goes_dead_connected_clear_live_dead() {
    let mut stage = Stage::new("", false);
    let at = |state: &str, set: Value| json!({ "state": state, "step": "leak/2", "of": "leak", "seq": 4, "set": set });
    stage.prompt(&at("connect", json!({ "supply": "off" })), 2);
    assert!(stage.room.plugged && !stage.room.supply_on);
    assert_eq!(stage.last()["what"], "connected");
    stage.prompt(&at("prove_open", json!({ "S7": "open" })), 2);
    assert!(stage.room.s7_open && !stage.room.supply_on);
    stage.prompt(&at("clear", json!({ "S5": "reversed", "S7": "open" })), 3);
    assert!(stage.room.s5_reversed && !stage.room.supply_on);
    assert_eq!(stage.last()["what"], "clear");
    stage.prompt(&at("live", json!({})), 2);
    assert!(stage.room.supply_on);
    assert_eq!(stage.last()["what"], "live");
    stage.prompt(&at("alive", json!({})), 2);
    assert_eq!(*stage.last(), json!({ "do": "prove", "what": "alive" }));
    stage.prompt(&at("dead", json!({})), 2);
    assert!(!stage.room.supply_on);
    assert_eq!(stage.last()["what"], "dead");
    stage.prompt(&at("reprove", json!({ "S7": "closed" })), 2);
    assert!(!stage.room.s7_open);
}

#[test]
fn an_indicator_that_is_dark_is_not_called_lit() {
    let mut stage = Stage::new("", true);
    let mut dark = sight(&json!({ "state": "alive", "step": "leak/1", "of": "leak" }));
    dark.lit = false;
    stage.show(&dark, 3);
    assert!(stage.asked.is_empty());
}

#[test]
fn each_slip_does_its_own_wrong() {
    let connect = json!({ "state": "connect", "step": "leak/1", "of": "leak" });
    let wrong = |slip: &str| {
        let mut stage = Stage::new(slip, true);
        stage.prompt(&connect, 2);
        stage.room
    };
    let at = "at = \"leak\"";
    let cable = wrong(&format!("{{ {at}, does = \"forgets\", what = \"data_cable\" }}"));
    assert_eq!(cable.second_earth_ohm, Some(1.0));
    assert!(!wrong(&format!("{{ {at}, does = \"forgets\", what = \"asset_switch\" }}")).asset_on);
    let jack = wrong(&format!("{{ {at}, does = \"plugs\", what = \"milliampere_jack\" }}"));
    assert_eq!(jack.jack, Jack::Milliampere);
    assert!(
        wrong(&format!("{{ {at}, does = \"bypasses\", what = \"network\" }}")).network_bypassed
    );
    let swapped = wrong(&format!("{{ {at}, does = \"swaps\", what = \"hi_lo\" }}"));
    assert!(swapped.swapped && !swapped.isolated);
    assert!(wrong(&format!("{{ {at}, does = \"presses\", what = \"hold\" }}")).dmm_hold);
    let loose = wrong(&format!("{{ {at}, does = \"forgets\", what = \"network_lead\" }}"));
    assert_eq!(loose.network_lead, None);

    let mut stage = Stage::new("{ at = \"leak/2\", does = \"forgets\", what = \"S5\" }", true);
    let clear = json!({ "state": "clear", "step": "leak/2", "of": "leak",
        "set": { "S5": "reversed", "S7": "open" } });
    stage.prompt(&clear, 1);
    assert!(!stage.room.s5_reversed && stage.room.s7_open);

    let mut stage = Stage::new("{ at = \"pe/2\", does = \"forgets\", what = \"probe\" }", true);
    stage.room.clips = Clips::On("case".to_owned());
    stage.prompt(&json!({ "state": "arm", "step": "pe/2", "of": "pe" }), 2);
    assert_eq!(stage.room.clips, Clips::On("case".to_owned()), "left on the old point");

    let mut stage = Stage::new("{ at = \"null\", does = \"nulls\", what = \"open_leads\" }", true);
    stage.prompt(&json!({ "state": "null", "step": "null/L-1" }), 2);
    assert_eq!(stage.room.clips, Clips::Open);

    let neighbour = "{ at = \"close_scan\", does = \"scans\", what = \"neighbour\" }";
    let mut stage = Stage::new(neighbour, true);
    stage.prompt(&json!({ "state": "close_scan" }), 6);
    assert_eq!(stage.scans, ["P-0199", "P-0101"], "refused once, then the right label");
}

#[test]
fn a_step_without_an_end_is_left_out_and_at_last_the_person_gives_up() {
    let mut stage = Stage::new("", true);
    let stuck = json!({ "state": "prove_open", "step": "leak/1", "of": "leak" });
    stage.prompt(&stuck, 60);
    assert_eq!(*stage.last(), json!({ "do": "prove", "what": "network_resistance" }));
    let stuck = json!({ "state": "alive", "step": "leak/1", "of": "leak" });
    stage.prompt(&stuck, 60);
    assert!(stage.asked.iter().any(|asked| asked["do"] == "skip"));
    assert!(!stage.room.supply_on);
    stage.prompt(&stuck, 900);
    assert!(stage.asked.iter().any(|asked| asked["outcome"] == "given_up"));
}

#[test]
fn signing_asks_for_a_tag_when_it_is_refused_without_one() {
    let mut stage = Stage::new("", true);
    stage.prompt(&json!({ "state": "sign" }), 8);
    assert_eq!(stage.asked[0], json!({ "do": "sign", "as": "performed" }));
    assert_eq!(stage.asked[1]["tag"], "attached");
    let closed = Sight { operator: Some("op-7".to_owned()), ..Sight::default() };
    assert!(stage.person.finished(&closed));
}
