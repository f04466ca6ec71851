//! What the clinic has: assets, benches with their instruments, people. All invented.

use std::fmt::Write;

use tapline::station::{BenchSettings, LinkSettings, StationSettings};
use tapline_demo::noise::Noise;

/// Benches of the workshop, each with instruments of its own.
pub(crate) const BENCHES: usize = 4;
/// Station.
pub(crate) const STATION: &str = "K3";
/// Operators; `op-1` has badge `OP-0001`.
pub(crate) const OPERATORS: usize = 9;

const PLAN: &str = "iec62353-recurrent-direct";
const KINDS: [&str; 12] = [
    "infusion pump",
    "syringe pump",
    "patient monitor",
    "examination lamp",
    "suction pump",
    "ECG recorder",
    "ultrasound unit",
    "warming cabinet",
    "electric bed",
    "centrifuge",
    "endoscopy light source",
    "dialysis unit",
];
const MAKERS: [&str; 5] =
    ["Quellhof Works", "Lindenau Apparatus", "Ostermark", "Veltheim and Sons", "Brunnfeld"];
const PARTS: [&str; 6] = ["", "", "", "cuff:B:1", "hose:BF:1", "ECG:CF:5"];
const INSTRUMENTS: &str = include_str!("../../../contrib/example/instruments.toml");
const FIXTURES: &str = include_str!("../../../contrib/example/fixtures.toml");

/// An asset as it stands there, with what a meter would find.
#[derive(Debug, Clone)]
pub(crate) struct Asset {
    pub(crate) id: String,
    /// Protective earth with its cord, milliohm.
    pub(crate) earth_mohm: u64,
    /// Leakage, microampere.
    pub(crate) leak_ua: u64,
    row: String,
}

impl Asset {
    /// The asset of a number: the same for the same seed.
    pub(crate) fn new(seed: u64, number: usize) -> Asset {
        let mut noise = Noise::new(seed ^ (number as u64).wrapping_mul(0x9E37_79B9));
        let mut pick = |end: usize| below(&mut noise, end as u64);
        let (kind, maker, parts) = (pick(KINDS.len()), pick(MAKERS.len()), pick(PARTS.len()));
        let (class_two, detachable, points) = (pick(4) == 0, pick(3) == 0, 1 + pick(2));
        let (earth_mohm, leak_ua) = (70 + pick(120), if class_two { 8 } else { 30 } + pick(60));
        let (serial, floor, due) = (pick(90_000), pick(9), 1 + pick(12));
        let id = format!("P-{:05}", number + 1);
        let class = if class_two { "II" } else { "I" };
        let earthed = match (class_two, points) {
            (true, _) => "",
            (_, 1) => "case screw",
            _ => "case screw|rear panel",
        };
        let (cord, cords) = match detachable {
            true => ("detachable", format!("C-{:05}A", number + 1)),
            false => ("fixed", String::new()),
        };
        let row = format!(
            "{id},{},{},Type {kind},{serial:05},North/{floor}/B,clinic,{class},no,{cord},{cords},\
             230,0.5,no,{earthed},{},{},operating,IEC 60601-1:2005,{PLAN},P12M,2027-{due:02}-28,",
            KINDS[at(kind)],
            MAKERS[at(maker)],
            if class_two { "housing" } else { "" },
            PARTS[at(parts)],
        );
        Asset { id, earth_mohm, leak_ua, row }
    }
}

/// Assets in the form of `asset import`.
pub(crate) fn assets(seed: u64, count: usize) -> String {
    let mut text = String::from(
        "asset,description,maker,model,serial,location,owner,class,functional_earth,cord,cords,\
         rated_volts,rated_amps,switching_supply,earthed_points,accessible_parts,applied_parts,\
         states,built_to,plan,interval,due,excluded\n",
    );
    for number in 0..count {
        text.push_str(&Asset::new(seed, number).row);
        text.push('\n');
    }
    text
}

/// Instruments of all benches, calibrated until the spring after `year`.
pub(crate) fn instruments(year: u32) -> String {
    let insulation = INSTRUMENTS.split("[[instrument]]").find(|part| part.contains("IR-01"));
    let cut = format!("[[instrument]]{}", insulation.expect("the example has one"));
    per_bench(&INSTRUMENTS.replace(&cut, ""), year)
}

/// Fixtures and lead sets of all benches.
pub(crate) fn fixtures(year: u32) -> String {
    per_bench(FIXTURES, year)
}

/// The example's entries once a bench, with numbers of their own.
fn per_bench(text: &str, year: u32) -> String {
    let (head, body) = text.split_at(text.find("[[").expect("an example has entries"));
    let mut all = head.to_owned();
    for n in 1..=BENCHES {
        let mut one = body.replace("= 2027-", &format!("= {}-", year + 1));
        for label in ["LR-0", "DM-0", "LK-", "NW-", "SB-", "FO-", "L-"] {
            one = one.replace(&format!("\"{label}1\""), &format!("\"{label}{n}\""));
        }
        all.push_str(&one.replace("serial = \"000", &format!("serial = \"{n}00")));
        all.push('\n');
    }
    all
}

/// People.
pub(crate) fn operators() -> String {
    let mut text = String::from("format = \"tapline-operators-1\"\n");
    for n in 1..=OPERATORS {
        let _ = writeln!(
            text,
            "[[operator]]\nid = \"op-{n}\"\nname = \"{}. Muster\"\nbadge = \"OP-{n:04}\"\n\
             competence = [{{ what = \"live_work\", until = 2027-12-31 }}, \
             {{ what = \"inspect\", until = 2027-12-31 }}]",
            char::from(b'A' + u8::try_from(n).expect("there are few")),
        );
    }
    text
}

/// Links of a bench: id, driver, instrument.
fn links(n: usize) -> [(String, &'static str, Option<String>); 4] {
    [
        (format!("ohm{n}"), "val-unit-line", Some(format!("LR-0{n}"))),
        (format!("dmm{n}"), "scpi", Some(format!("DM-0{n}"))),
        (format!("box{n}"), "contacts", None),
        (format!("scan{n}"), "scan", None),
    ]
}

/// Labels of a bench's fixtures.
fn fixtures_of(n: usize) -> [String; 4] {
    ["SB", "NW", "FO", "L"].map(|label| format!("{label}-{n}"))
}

/// The wiring, as the core is told of it.
pub(crate) fn settings() -> StationSettings {
    let bench = |n| BenchSettings {
        id: format!("b{n}"),
        name: format!("Bench {n}"),
        fixtures: fixtures_of(n).into(),
        witness: witness(n).map(|(k, v)| (k.to_owned(), v)).into(),
        typed: Vec::new(),
    };
    let of_bench = |n| {
        links(n).map(|(id, driver, instrument)| LinkSettings {
            id,
            bench: format!("b{n}"),
            driver: driver.into(),
            described: None,
            instrument,
            isolation: None,
        })
    };
    StationSettings {
        id: STATION.into(),
        name: "Workshop north".into(),
        zone: tapline::clock::Zone::named("Etc/UTC").expect("every machine knows it"),
        zone_name: "Etc/UTC".into(),
        commit_ms: 20,
        policy: tapline_protocols::fact::Policy::default(),
        due: tapline_protocols::due::Counting::default(),
        wiring: None,
        benches: (1..=BENCHES).map(bench).collect(),
        links: (1..=BENCHES).flat_map(of_bench).collect(),
    }
}

fn witness(n: usize) -> [(&'static str, String); 4] {
    [
        ("link", format!("box{n}")),
        ("c1", "S5=reversed".into()),
        ("c2", "S7=open".into()),
        ("c3", "supply=on".into()),
    ]
}

/// The same wiring as a configuration; the ports of its links are not plugged in.
pub(crate) fn config(folder: &str) -> String {
    let mut text = format!(
        "format = \"tapline-config-1\"\n[station]\nid = \"{STATION}\"\nname = \"Workshop north\"\n\
         zone = \"Etc/UTC\"\n[store]\nfolder = {folder:?}\nreserve_mb = 1\n\
         [page]\nlisten = \"off\"\n"
    );
    for n in 1..=BENCHES {
        let witness = witness(n).map(|(key, value)| format!("{key} = {value:?}")).join(", ");
        let _ = writeln!(
            text,
            "[[bench]]\nid = \"b{n}\"\nname = \"Bench {n}\"\nfixtures = {:?}\n\
             witness = {{ {witness} }}",
            fixtures_of(n),
        );
        for (id, driver, instrument) in links(n) {
            let _ = writeln!(
                text,
                "[[link]]\nid = \"{id}\"\nbench = \"b{n}\"\nserial = \"/nowhere/{id}\"\n\
                 line = {{ baud = 9600, bits = \"8N1\", dtr = true, rts = false }}\n\
                 driver = \"{driver}\"{}",
                instrument.map_or_else(String::new, |i| format!("\ninstrument = \"{i}\"")),
            );
        }
    }
    text
}

/// A number below `end`.
pub(crate) fn below(noise: &mut Noise, end: u64) -> u64 {
    noise.draw() % end
}

fn at(number: u64) -> usize {
    usize::try_from(number).expect("an index of a short list")
}
