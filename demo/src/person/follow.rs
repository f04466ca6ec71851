//! What the person does at each word of the station, and what goes wrong there.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::{Asked, Deed, Does, Intent, Person, What, act, expect};
use crate::hand::{Hand, Key, Meter};
use crate::room::{Clips, Jack, Laid, Way};

/// Time of one movement of the hands, microseconds.
const HAND_US: u64 = 80_000;
/// An act within a second of the last line of the record is refused: nobody reads so fast.
pub(super) const READ_US: u64 = 1_050_000;
/// Typing, a key or a button: nothing that a hazard hangs on.
const KEY_US: u64 = 150_000;
/// Hands off, eyes on the switches and back: meanwhile the voltmeter shows what nothing is.
const CLEAR_US: u64 = 1_100_000;

/// Deeds with the time to wait from now.
#[derive(Debug, Default)]
pub(super) struct Deeds(Vec<(u64, Intent)>);

impl Deeds {
    pub(super) fn at(mut self, wait: u64, hand: Hand) -> Deeds {
        self.0.push((wait, Intent::Do(Deed::Hand(hand))));
        self
    }

    /// After the hands before it.
    pub(super) fn then(self, hand: Hand) -> Deeds {
        let wait = self.0.last().map_or(0, |(wait, _)| *wait) + HAND_US;
        self.at(wait, hand)
    }

    fn then_if(self, slip: bool, hand: Hand) -> Deeds {
        if slip { self.then(hand) } else { self }
    }

    pub(super) fn ask(mut self, wait: u64, request: Value) -> Deeds {
        self.0.push((wait, Intent::Do(Deed::Ask(request))));
        self
    }

    fn if_lit(mut self, wait: u64, request: Value) -> Deeds {
        self.0.push((wait, Intent::IfLit(request)));
        self
    }

    fn source(mut self, wait: u64) -> Deeds {
        self.0.push((wait, Intent::Source));
        self
    }

    fn if_open(mut self, wait: u64, request: Value) -> Deeds {
        self.0.push((wait, Intent::IfOpen(request)));
        self
    }
}

impl Person {
    /// Every word that a station can say has its answer here.
    pub(super) fn follow(&mut self, asked: &Asked) -> Vec<(u64, Intent)> {
        let deeds = Deeds::default();
        let scan = |code: &str| Hand::Scan { code: code.to_owned() };
        let deeds = match asked.state.as_str() {
            "login" => deeds.at(HAND_US, scan(&self.badge)),
            "select" => deeds.at(HAND_US, scan(&self.asset)),
            "begin" => deeds.ask(KEY_US, json!({ "do": "begin" })),
            "look" | "answer" => deeds.ask(KEY_US, json!({ "do": "answer", "answer": "pass" })),
            "null" => self.null(asked),
            "null_apart" => deeds.then(clips(Clips::Open)).then(self.way(asked)),
            "arm" | "measure" if self.wants_null(asked) => {
                deeds.ask(KEY_US, json!({ "do": "null", "lead": "L-1" }))
            }
            "arm" => self.arm(asked),
            "measure" => self.measure(asked),
            "connect" if misses(asked, "supply_not_checked") && !self.checked_supply => {
                self.check_supply()
            }
            "connect" if asked.insulates() => self.lay_tester(asked),
            "join_clips" => self.join_clips(asked),
            "voltage_on" => self.voltage_on(asked),
            "voltage_off" => {
                deeds.then(Hand::Tester { on: false }).ask(READ_US, act("dead", asked))
            }
            "connect" => self.connect(asked),
            "prove_closed" | "reprove" => deeds.then(switch(&[("S7", "closed")])),
            "prove_open" => deeds.then(Hand::Switch { set: self.settings(asked) }),
            "clear" => {
                let set = Hand::Switch { set: self.settings(asked) };
                deeds.then(set).ask(CLEAR_US, act("clear", asked))
            }
            "live" => {
                // Contacts tell of the supply at once, and then something else is asked for.
                let deeds = deeds.then_if(asked.part.is_some(), Hand::Source { on: true });
                let deeds = deeds.then(switch(&[("supply", "on")]));
                if self.witnessed { deeds } else { deeds.if_lit(READ_US, act("live", asked)) }
            }
            "source" => deeds.source(READ_US).source(READ_US + KEY_US),
            "alive" | "set_state" => {
                deeds.if_lit(READ_US, json!({ "do": "prove", "what": "alive" }))
            }
            "dead" | "may_be_live" => {
                let deeds = deeds.then(Hand::Source { on: false });
                let deeds = deeds.then(switch(&[("supply", "off")]));
                // No contact of the box sees the isolated source.
                let said = !self.witnessed || asked.part.is_some();
                if said || asked.state == "may_be_live" {
                    deeds.ask(READ_US, act("dead", asked))
                } else {
                    deeds
                }
            }
            "close_scan" => self.close_scan(asked),
            "sign" => deeds.ask(KEY_US, self.sign()),
            "capture" | "waiting" | "parked" | "done" => deeds,
            _ => deeds,
        };
        deeds.0
    }

    fn wants_null(&self, asked: &Asked) -> bool {
        let nulls = misses(asked, "lead_not_nulled") || misses(asked, "null_too_old");
        nulls && !self.slips(asked, Does::Forgets, What::Null)
    }

    fn null(&self, asked: &Asked) -> Deeds {
        let at = Asked { step: None, of: None, state: "null".to_owned(), ..asked.clone() };
        let to = if self.slips(&at, Does::Nulls, What::OpenLeads) {
            Clips::Open
        } else if self.slips(&at, Does::Nulls, What::AssetPath) {
            Clips::On("case".to_owned())
        } else {
            Clips::Shorted
        };
        Deeds::default()
            .then_if(
                self.slips(&at, Does::Presses, What::Relative),
                press(Meter::Ohm, Key::Relative),
            )
            .then(self.way(asked))
            .then(clips(to))
    }

    fn way(&self, asked: &Asked) -> Hand {
        let minus = asked.direction.as_deref() == Some("minus");
        let forgets = self.slips(asked, Does::Forgets, What::Direction);
        Hand::Way { to: if minus && !forgets { Way::Minus } else { Way::Plus } }
    }

    fn arm(&self, asked: &Asked) -> Deeds {
        let deeds = Deeds::default().then(Hand::Flex { on: false }).then(self.way(asked));
        if self.slips(asked, Does::Forgets, What::Probe) {
            return deeds;
        }
        deeds.then(clips(Clips::Open))
    }

    fn measure(&self, asked: &Asked) -> Deeds {
        let point = asked.point.clone().unwrap_or_else(|| "case".to_owned());
        let mut deeds = Deeds::default().then(self.way(asked));
        if self.slips(asked, Does::Loses, What::Probe) {
            deeds = deeds.then(clips(Clips::Open));
        } else if !self.slips(asked, Does::Forgets, What::Probe) {
            deeds = deeds.then(clips(Clips::On(point.clone())));
        }
        deeds = deeds.then(Hand::Flex { on: true });
        if self.slips(asked, Does::Presses, What::Hold) {
            deeds = deeds.at(2_000_000, press(Meter::Ohm, Key::Hold));
        }
        if self.slips(asked, Does::Slips, What::Probe) {
            deeds = deeds.at(3_500_000, clips(Clips::Open));
            deeds = deeds.at(4_500_000, clips(Clips::On(point)));
        }
        if self.armed.is_some() && self.armed == asked.step {
            return deeds;
        }
        // The clip sits and the meter shows an open circuit: that is to be recorded as it is.
        deeds.if_open(1_800_000, json!({ "do": "capture", "expect": expect(asked) }))
    }

    /// Three voltages read off a voltmeter at the outlet, entered twice.
    fn check_supply(&mut self) -> Deeds {
        self.checked_supply = true;
        let [ln, npe, lpe] = &self.supply;
        let request = json!({ "do": "prove", "what": "supply", "ln": ln, "npe": npe, "lpe": lpe });
        Deeds::default().ask(KEY_US, request.clone()).ask(2 * KEY_US, request)
    }

    fn connect(&self, asked: &Asked) -> Deeds {
        let slips = |does, what| self.slips(asked, does, what);
        let point = asked.point.clone().unwrap_or_else(|| "case".to_owned());
        let lead = Some(asked.part.clone().unwrap_or(point));
        let lead = lead.filter(|_| !slips(Does::Forgets, What::NetworkLead));
        let cable = slips(Does::Forgets, What::DataCable).then(|| "1 Ohm".to_owned());
        let jack = match slips(Does::Plugs, What::MilliampereJack) {
            true => Jack::Milliampere,
            false => Jack::Volts,
        };
        let swapped = slips(Does::Swaps, What::HiLo);
        let range = slips(Does::Sets, What::LowRange).then(|| "0.12 V".to_owned());
        let hold =
            Hand::Press { meter: Meter::Dmm, key: Key::Hold, on: slips(Does::Presses, What::Hold) };
        Deeds::default()
            .at(0, hold)
            .at(0, switch(&[("supply", "off"), ("S7", "closed"), ("S5", "normal")]))
            .at(0, Hand::Source { on: false })
            .at(0, Hand::Tester { on: false })
            .at(0, Hand::TesterClips { to: Laid::Open })
            .at(0, clips(Clips::Open))
            .at(0, Hand::Flex { on: false })
            .at(0, Hand::SecondEarth { ohm: cable })
            .at(0, Hand::Jack { to: jack })
            .at(0, Hand::Bypass { on: slips(Does::Bypasses, What::Network) })
            .at(0, Hand::Swap { on: swapped, isolated: !swapped })
            .at(0, Hand::Range { volts: range })
            .at(HAND_US, Hand::Plug { plugged: true })
            .at(HAND_US, Hand::Asset { on: !slips(Does::Forgets, What::AssetSwitch) })
            .at(2 * HAND_US, Hand::Lead { to: lead })
            .ask(READ_US, act("connected", asked))
    }

    /// The switches that are asked for, less those that are forgotten.
    fn settings(&self, asked: &Asked) -> BTreeMap<String, String> {
        let mut set = asked.set.clone();
        for (name, what) in [("S5", What::S5), ("S7", What::S7)] {
            if self.slips(asked, Does::Forgets, what) {
                set.remove(name);
            }
        }
        set
    }

    fn close_scan(&mut self, asked: &Asked) -> Deeds {
        let wrong = self.slips(asked, Does::Scans, What::Neighbour) && !self.mistook;
        self.mistook |= wrong;
        let code = if wrong { NEIGHBOUR } else { &self.asset };
        Deeds::default().at(HAND_US, Hand::Scan { code: code.to_owned() })
    }

    /// Without a tag first: what passes needs none, and what does not is refused without one.
    fn sign(&self) -> Value {
        match self.tries {
            0 => json!({ "do": "sign", "as": "performed" }),
            _ => json!({ "do": "sign", "as": "performed", "tag": "attached" }),
        }
    }
}

/// The asset that stands beside it on the trolley.
const NEIGHBOUR: &str = "P-0199";

fn misses(asked: &Asked, word: &str) -> bool {
    asked.missing.iter().any(|missing| missing == word)
}

fn clips(to: Clips) -> Hand {
    Hand::Clips { to }
}

fn press(meter: Meter, key: Key) -> Hand {
    Hand::Press { meter, key, on: true }
}

fn switch(set: &[(&str, &str)]) -> Hand {
    let set = set.iter().map(|(name, to)| ((*name).to_owned(), (*to).to_owned()));
    Hand::Switch { set: set.collect() }
}
