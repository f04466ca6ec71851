//! Faulty assets, each with one fault that a careful person finds, and good ones that pass.

use tapline_demo::scene::Scene;

use super::case::Case;
use super::rig::Register;

/// Kind, node, node, size: a part of the solved circuit.
type Part = [&'static str; 4];

/// An asset on the bench.
#[derive(Debug)]
pub struct Asset {
    /// Short name: a column of the page.
    pub id: &'static str,
    /// What is wrong, in words and numbers.
    pub says: &'static str,
    /// Number in the register.
    number: &'static str,
    parts: &'static [Part],
    /// A broken strand of its protective earth: ohm at rest and flexed.
    strand: Option<[f64; 2]>,
    /// Acts of the hands that its inspection takes on any bench, counted by hand.
    pub hands: u32,
    /// Volts of the mains.
    volts: &'static str,
}

impl Asset {
    const fn new(
        (id, says): (&'static str, &'static str),
        number: &'static str,
        parts: &'static [Part],
    ) -> Asset {
        Asset { id, says, number, parts, strand: None, hands: 0, volts: "230" }
    }

    const fn takes(mut self, hands: u32) -> Asset {
        self.hands = hands;
        self
    }

    /// The asset on a good bench whose contacts witness every switch.
    pub fn case(&self) -> Case {
        let quoted = |part: &Part| format!("{part:?}");
        let parts: Vec<String> = self.parts.iter().map(quoted).collect();
        let text = format!(
            "format = \"tapline-scene-1\"\nid = \"x\"\ntitle = \"x\"\nseed = 11\nasset = {:?}\n\
             supply = {{ volts = {:?}, hertz = 50, neutral = \"earthed\" }}\n\
             box = {{ switches = [\"S1\", \"S5\", \"S7\", \"supply\"], witnessed = true }}\n\
             network = {{ r1 = \"10.012 kOhm\", r2 = \"0.9996 kOhm\", c1 = \"15.02 nF\" }}\n\
             points = {{ {POINTS} }}\n\
             parts = [{}, [\"R\", \"PE\", \"twin\", \"0.118 Ohm\"], \
             [\"R\", \"paint\", \"case\", \"50 kOhm\"], [\"C\", \"spot\", \"case\", \"100 pF\"]]\nexpect = {{ outcome = \"fail\" }}\n",
            self.number,
            self.volts,
            parts.join(", ")
        );
        let mut scene = Scene::parse(&text).expect("a test plays every asset");
        scene.hookup.strand_ohm = self.strand;
        let register = Register {
            assets: REGISTER.into(),
            besides: vec!["IS-1".into()],
            confirmed: vec!["iec62353-2014.part.direct.cf".into()],
            ..Register::default()
        };
        Case { scene, register }
    }
}

/// Points by the asset's names, and what a lead can touch besides: a good asset of the same kind
/// beside it, paint, a corner of the foil, the earthing bar.
const POINTS: &str = "rail = \"rail\", cord = \"cord\", other = \"other\", twin = \"twin\", \
    paint = \"paint\", spot = \"spot\", bar = \"earth\", \"line A\" = \"part.a\", \
    \"line B\" = \"part.b\", bare = \"bare\"";

const EARTH: Part = ["R", "case", "PE", "0.118 Ohm"];
const LOAD: Part = ["R", "L2", "N2", "500 Ohm"];
/// Filter capacitors of class I: 159 uA.
const LINE: Part = ["C", "L", "case", "2.2 nF"];
const NEUTRAL: Part = ["C", "N", "case", "2.2 nF"];
/// Of class II: 20 uA.
const THIN_LINE: Part = ["C", "L", "case", "270 pF"];
const THIN_NEUTRAL: Part = ["C", "N", "case", "270 pF"];
const CORD: Part = ["R", "PE", "cord", "0.03 Ohm"];
/// A good cord from the drawer.
const OTHER: Part = ["R", "PE", "other", "0.03 Ohm"];

/// Class I, fixed cord, one earthed point.
const ONE: &str = "P-0201";
/// Class I, fixed cord, two earthed points.
const TWO: &str = "P-0202";
/// Class I, detachable cord.
const LOOSE: &str = "P-0203";
/// Class I, fixed cord, switching supply.
const SWITCHING: &str = "P-0204";
/// Class II.
const PLASTIC: &str = "P-0205";
/// Class I with two applied parts of type CF.
const PARTS: &str = "P-0206";
/// What the asset itself drives into its parts, 3.6 uA, and a good insulation around them: 4 uA
/// from the source. The second is reached past the source, too.
const A1: Part = ["C", "L", "part.a", "50 pF"];
const A2: Part = ["C", "N", "part.a", "50 pF"];
const A3: Part = ["C", "part.a", "case", "50 pF"];
const B1: Part = ["C", "L", "part.b", "50 pF"];
const B2: Part = ["C", "N", "part.b", "50 pF"];
const B3: Part = ["C", "part.b", "case", "50 pF"];
const BARE: Part = ["R", "part.b", "bare", "0.01 Ohm"];

/// The neighbour of another class.
pub(super) const OTHER_CLASS: &str = "P-0299";

const REGISTER: &str = include_str!("assets.csv");

/// Good ones: they pass in careful hands.
pub const GOOD: [Asset; 6] = [
    Asset::new(("class I", "fixed cord, one earthed point"), ONE, &[EARTH, LOAD, LINE, NEUTRAL])
        .takes(NULL + PATH + LEAK),
    Asset::new(
        ("class I, rail", "fixed cord, two earthed points"),
        TWO,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "rail", "case", "0.02 Ohm"]],
    )
    .takes(NULL + 2 * PATH + LEAK),
    Asset::new(
        ("class I, loose", "detachable cord"),
        LOOSE,
        &[EARTH, LOAD, LINE, NEUTRAL, CORD, OTHER],
    )
    .takes(NULL + 2 * PATH + LEAK),
    Asset::new(
        ("class I, switching", "switching supply, 200 uA at 1 kHz"),
        SWITCHING,
        &[EARTH, LOAD, LINE, NEUTRAL, ["H", "earth", "case", "200 uA"]],
    )
    .takes(NULL + PATH + LEAK),
    Asset::new(
        ("class II", "fixed cord, foil on the housing"),
        PLASTIC,
        &[LOAD, THIN_LINE, THIN_NEUTRAL],
    )
    .takes(LEAK_FOIL),
    Asset::new(
        ("class I, CF", "two applied parts of type CF, from an isolated source"),
        PARTS,
        &[EARTH, LOAD, LINE, NEUTRAL, A1, A2, A3, B1, B2, B3, BARE],
    )
    .takes(NULL + PATH + LEAK + 2 * PARTED),
];

/// Acts of the hands that an inspection takes on any bench (common practice, no source): clips
/// joined, taken apart, current turned round, joined; at the end taken off.
const NULL: u32 = 5;
/// Twice: current turned round, clip lifted, put on, cord flexed, let go.
const PATH: u32 = 10;
/// Plug, lead; S7 open; supply on and off; S5; supply on and off; S7 closed.
const LEAK: u32 = 9;
/// Lead through the source; supply and source on and off; S5; on and off; S5 back.
const PARTED: u32 = 11;
/// Plug, foil with its lead; supply on and off; S5; supply on and off.
const LEAK_FOIL: u32 = 7;

/// Each has one fault.
pub const FAULTY: [Asset; 26] = [
    Asset::new(("pe open", "protective earth is interrupted"), ONE, &[LOAD, LINE, NEUTRAL]),
    Asset::new(
        ("pe .35", "0.35 ohm of protective earth, limit 0.300"),
        ONE,
        &[["R", "case", "PE", "0.35 Ohm"], LOAD, LINE, NEUTRAL],
    ),
    Asset::new(
        ("pe .31", "0.315 ohm of protective earth, limit 0.300"),
        ONE,
        &[["R", "case", "PE", "0.315 Ohm"], LOAD, LINE, NEUTRAL],
    ),
    Asset::new(
        ("joint", "a corroded joint: 0.25 ohm in one direction of the current, 0.31 in the other"),
        ONE,
        &[["E", "x", "PE", "6 mV"], ["R", "x", "case", "0.28 Ohm"], LOAD, LINE, NEUTRAL],
    ),
    Asset {
        strand: Some([0.118, 0.45]),
        ..Asset::new(("strand", "0.118 ohm, and 0.45 while flexed"), ONE, &[LOAD, LINE, NEUTRAL])
    },
    Asset::new(
        ("rail", "0.9 ohm to the second earthed point"),
        TWO,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "rail", "case", "0.9 Ohm"]],
    ),
    Asset::new(
        ("inlet", "0.25 ohm from the inlet, limit 0.200"),
        LOOSE,
        &[["R", "case", "PE", "0.25 Ohm"], LOAD, LINE, NEUTRAL, CORD, OTHER],
    ),
    Asset::new(
        ("cord", "0.15 ohm of the detachable cord, limit 0.100"),
        LOOSE,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "PE", "cord", "0.15 Ohm"], OTHER],
    ),
    Asset::new(
        ("filter", "a filter capacitor of 100 nF from the line: 7.2 mA"),
        ONE,
        &[EARTH, LOAD, ["C", "L", "case", "100 nF"], NEUTRAL],
    ),
    Asset::new(
        ("both", "10 nF from both poles: 0.72 mA, alike in both polarities"),
        ONE,
        &[EARTH, LOAD, ["C", "L", "case", "10 nF"], ["C", "N", "case", "10 nF"]],
    ),
    Asset::new(("L 20k", "20 kohm, line to case: 11 mA"), ONE, &[EARTH, LOAD, LINE, NEUTRAL, L20]),
    Asset::new(
        ("N 20k", "20 kohm, neutral to case: 11 mA when reversed"),
        ONE,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "N", "case", "20 kOhm"]],
    ),
    Asset::new(
        ("L 100k", "100 kohm, line to case: 2.3 mA"),
        ONE,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "L", "case", "100 kOhm"]],
    ),
    Asset::new(
        ("N 100k", "100 kohm, neutral to case: 2.3 mA when reversed"),
        TWO,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "rail", "case", "0.02 Ohm"], N100],
    ),
    Asset::new(
        ("L 400k", "400 kohm, line to case: 0.60 mA, limit 0.5"),
        ONE,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "L", "case", "400 kOhm"]],
    ),
    Asset::new(
        ("L2 100k", "100 kohm to the case behind the asset's own switch"),
        ONE,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "L2", "case", "100 kOhm"]],
    ),
    Asset::new(
        ("N2 100k", "the same at the neutral"),
        LOOSE,
        &[EARTH, LOAD, LINE, NEUTRAL, CORD, OTHER, ["R", "N2", "case", "100 kOhm"]],
    ),
    Asset::new(
        ("L 50", "50 ohm, line to case: 0.2 A into the network"),
        ONE,
        &[EARTH, LOAD, LINE, NEUTRAL, ["R", "L", "case", "50 Ohm"]],
    ),
    Asset::new(
        ("1 kHz", "a switching supply: 480 uA and 250 uA at 1 kHz, weighted 510"),
        SWITCHING,
        &[EARTH, LOAD, ["C", "L", "case", "6.643 nF"], ["H", "earth", "case", "250 uA"]],
    ),
    Asset {
        volts: "212",
        ..Asset::new(
            ("212 V", "488 uA at 212 V of mains: 530 at 230 V"),
            ONE,
            &[EARTH, LOAD, ["C", "L", "case", "7.34 nF"], THIN_NEUTRAL],
        )
    },
    Asset::new(
        ("II L", "class II, 300 kohm, line to housing: 0.77 mA, limit 0.1"),
        PLASTIC,
        &[LOAD, THIN_LINE, THIN_NEUTRAL, ["R", "L", "case", "300 kOhm"]],
    ),
    Asset::new(
        ("II N", "class II, 300 kohm, neutral to housing"),
        PLASTIC,
        &[LOAD, THIN_LINE, THIN_NEUTRAL, ["R", "N", "case", "300 kOhm"]],
    ),
    Asset::new(
        ("II L2", "class II, 300 kohm behind its own switch"),
        PLASTIC,
        &[LOAD, THIN_LINE, THIN_NEUTRAL, ["R", "L2", "case", "300 kOhm"]],
    ),
    Asset::new(
        ("II filter", "class II, 4.7 nF from both poles: 0.34 mA"),
        PLASTIC,
        &[LOAD, ["C", "L", "case", "4.7 nF"], ["C", "N", "case", "4.7 nF"]],
    ),
    Asset::new(
        ("CF 2M", "2 Mohm of the second applied part of type CF to the case: 0.11 mA, limit 0.05"),
        PARTS,
        &[EARTH, LOAD, LINE, NEUTRAL, A1, A2, A3, B1, B2, B3, BARE, PART],
    ),
    Asset::new(
        ("CF 1n", "1 nF of both applied parts to the case: 75 uA"),
        PARTS,
        &[EARTH, LOAD, LINE, NEUTRAL, A1, A2, A3, B1, B2, B3, BARE, A1N, B1N],
    ),
];

const PART: Part = ["R", "part.b", "case", "2 MOhm"];
const A1N: Part = ["C", "part.a", "case", "1 nF"];
const B1N: Part = ["C", "part.b", "case", "1 nF"];
const L20: Part = ["R", "L", "case", "20 kOhm"];
const N100: Part = ["R", "N", "case", "100 kOhm"];
