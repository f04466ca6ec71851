//! The differential ammeter of the supply box: where it is put, what it sees there, and the known
//! current that the box puts on past it.
//!
//! Behind S5 both supply conductors go through a window, and nothing else does: `w.1 w.2` before
//! it, `o.1 o.2` behind it, then the outlet and the asset's cord. One resistor and a lever join one
//! conductor behind the window with the other before it, as the test key of a residual current
//! device does (from memory).

use serde_json::json;
use tapline_demo::circuit::{EARTH, Kind, Netlist, Solution};

use super::bench::{Bench, FIXTURES};
use super::circuit::{HERTZ, Room, Thing, WIRE_OHM};

/// The resistor of the test current, as the register has it: 150 kohm.
const TEST_OHM: f64 = 150e3;

/// What the ammeter is around, and how much of that it shows.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) enum Around {
    /// Both supply conductors in the window, as it should be.
    #[default]
    Both,
    /// So too, turned round: every current comes the other way.
    Turned,
    /// Both, of which it shows this share.
    Share(f64),
    /// One conductor in the window.
    One,
    /// The asset's cord with all that is in it.
    Cord,
    /// The protective earth conductor.
    Earth,
    /// Nothing.
    Nowhere,
}

/// Window, test resistor, outlet and cord.
pub(super) fn window(net: &mut Netlist, room: &Room) {
    let wire = Kind::R(WIRE_OHM);
    net.add(wire, "w.1", "o.1").add(wire, "w.2", "o.2");
    match room.wall {
        true => net.add(wire, "m.L", "L").add(wire, "m.N", "N"),
        false => net.add(wire, "o.1", "L").add(wire, "o.2", "N"),
    };
    match room.lever {
        "plus" => net.add(Kind::R(TEST_OHM), "o.1", "w.2"),
        "minus" => net.add(Kind::R(TEST_OHM), "w.1", "o.2"),
        _ => net,
    };
}

impl Thing {
    /// What the differential ammeter shows, ampere.
    pub(crate) fn differential(&self, room: &Room) -> f64 {
        if !room.moved.contains("supply") {
            return 0.0;
        }
        let solved = self.bench(room).solve(HERTZ).unwrap();
        let sum = |paths: &[(&str, &str, f64)]| {
            let one = |(from, to, sign): &(&str, &str, f64)| through(&solved, from, to, *sign);
            let all = paths.iter().map(one);
            let (re, im) = all.fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
            re.hypot(im)
        };
        let both = [("w.1", "o.1", 1.0), ("w.2", "o.2", 1.0)];
        match room.around {
            Around::Both => sum(&both),
            Around::Turned => sum(&both.map(|(from, to, _)| (to, from, 1.0))),
            Around::Share(share) => share * sum(&both),
            Around::One => sum(&both[..1]),
            Around::Cord => sum(&[("o.1", "L", 1.0), ("o.2", "N", 1.0), ("PE", EARTH, -1.0)]),
            Around::Earth => sum(&[("PE", EARTH, 1.0)]),
            Around::Nowhere => 0.0,
        }
    }
}

fn through(solved: &Solution, from: &str, to: &str, sign: f64) -> (f64, f64) {
    let (a, b) = (solved.at(from), solved.at(to));
    (sign * (a.re - b.re) / WIRE_OHM, sign * (a.im - b.im) / WIRE_OHM)
}

impl Bench {
    /// The ammeter is put there, and the lever is moved so: by what is asked for, and how often it
    /// was since hands were clear.
    pub(crate) fn ammeter(&mut self, around: Around, lever: fn(&str, usize) -> &'static str) {
        (self.room.around, self.lever) = (around, lever);
    }

    /// The asset is plugged into the wall beside the box.
    pub(crate) fn wall(&mut self) {
        self.room.wall = true;
    }

    /// Takes fixtures into the register in place of those of the bench.
    pub(crate) fn fixtures(&mut self, from: &str, to: &str) {
        assert!(FIXTURES.contains(from));
        let text = FIXTURES.replace(from, to);
        self.ask(&json!({ "do": "import", "what": "fixtures", "text": text }), None);
        assert_eq!(self.refusals, Vec::<String>::new());
    }
}

/// As it is asked for.
pub(crate) fn stands(word: &str) -> &'static str {
    ["plus", "minus"].into_iter().find(|one| *one == word).unwrap_or("off")
}
