//! Which network the leads go through, at which terminals the voltmeter is, and where its dial
//! stands: what the person makes of what is asked for.

use serde_json::{Value, json};
use tapline_demo::circuit::{Kind, Netlist};
use tapline_drivers::Function;

use super::bench::Bench;

/// A network with the terminals of the voltmeter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Tap {
    /// IEC 60601-1 Figure 12: 1 kohm.
    #[default]
    Fig12,
    /// IEC 60990 Figure 4, across its 500 ohm.
    U1,
    /// Behind its weighting.
    U2,
    /// The same, and nothing is left of the 1.5 kohm at its input but the capacitor.
    Broken,
    /// The same, and something of 300 ohm lies beside the 1.5 kohm.
    Bridged,
}

impl Tap {
    /// Between `n.in` and `n.lo`; the voltmeter is at `n.out`. Parts as the certificates say.
    pub(super) fn network(self, net: &mut Netlist) {
        if self == Tap::Fig12 {
            net.add(Kind::R(999.6), "n.in", "n.lo").add(Kind::R(10_012.0), "n.in", "n.out");
            net.add(Kind::C(15.02e-9), "n.out", "n.lo");
            return;
        }
        let plain = if self == Tap::U1 { "n.out" } else { "n.b" };
        let weighted = if self == Tap::U1 { "n.w" } else { "n.out" };
        net.add(Kind::C(0.22e-6), "n.in", plain).add(Kind::R(499.5), plain, "n.lo");
        net.add(Kind::R(10_020.0), plain, weighted).add(Kind::C(22e-9), weighted, "n.lo");
        if self != Tap::Broken {
            net.add(Kind::R(1498.0), "n.in", plain);
        }
        if self == Tap::Bridged {
            net.add(Kind::R(300.0), "n.in", plain);
        }
    }
}

pub(crate) type Plug = fn(&str, &str) -> Tap;
pub(crate) type Dial = fn(&str, Function) -> Function;

/// What the person makes of what is asked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Person {
    /// The terminals that the voltmeter is put at, by the plan's step and the state of the prompt:
    /// when leads are laid, and before it is live.
    pub(crate) tap: Plug,
    /// Where the dial is turned, by the state of the prompt and what is asked for.
    pub(crate) dial: Dial,
    /// The probe is laid on earth where that is asked for.
    pub(crate) lays: bool,
    /// It stays there.
    pub(crate) forgets: bool,
    /// On the part it touches nothing.
    pub(crate) in_the_air: bool,
}

impl Default for Person {
    fn default() -> Person {
        Person {
            tap: as_asked,
            dial: |_, function| function,
            lays: true,
            forgets: false,
            in_the_air: false,
        }
    }
}

/// The terminals that a step of the shipped plans is for.
pub(crate) fn as_asked(step: &str, _: &str) -> Tap {
    match step {
        "touch_weighted" => Tap::U2,
        "touch_dc" | "touch_hf" => Tap::U1,
        _ => Tap::Fig12,
    }
}

impl Bench {
    /// Plugs network and meter, turns the dial, and moves the probe.
    pub(super) fn plug(&mut self, prompt: &Value) {
        let text = |key: &str| prompt[key].as_str().unwrap_or_default();
        let (step, state) = (text("of"), text("state"));
        if step.is_empty() {
            return;
        }
        if matches!(state, "connect" | "clear") {
            self.room.tap = (self.person.tap)(step, state);
        }
        match state {
            "probe_earth" => self.room.on_earth = self.person.lays,
            "probe_part" | "connect" => self.room.on_earth = self.person.forgets,
            _ => {}
        }
        self.room.in_the_air = self.person.in_the_air;
        if let Ok(asked) = serde_json::from_value::<Function>(prompt["function"].clone()) {
            self.peak.turn((self.person.dial)(state, asked));
        }
        self.moved();
    }

    /// Takes instruments into the register in place of those of the bench.
    pub(crate) fn instruments(&mut self, from: &str, to: &str) {
        let text = super::station::instruments();
        assert!(text.contains(from), "{from}");
        let text = text.replace(from, to);
        self.ask(&json!({ "do": "import", "what": "instruments", "text": text }), None);
        assert_eq!(self.refusals, Vec::<String>::new());
    }
}
