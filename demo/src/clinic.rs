//! The invented clinic of the demonstration: its assets, instruments, fixtures, people and scenes,
//! and the configuration of a station on its bench.

use std::collections::BTreeMap;

use crate::scene::Scene;

/// A file of the clinic: name and text.
pub type File = (&'static str, &'static str);

/// Assets, as `asset import` reads them.
pub const ASSETS: &str = include_str!("../scenes/assets.csv");
/// Instruments, as `instrument import` reads them.
pub const INSTRUMENTS: &str = include_str!("../scenes/instruments.toml");
/// Fixtures and lead sets, as `fixture import` reads them.
pub const FIXTURES: &str = include_str!("../scenes/fixtures.toml");
/// People, as `operator import` reads them.
pub const OPERATORS: &str = include_str!("../scenes/operators.toml");

/// The clinic's own plan, `clinic-whole.toml`, in which insulation stands in every inspection.
pub const PLAN: &str = include_str!("../scenes/plans/clinic-whole.toml");

/// Badge of the technician of the scenes.
pub const BADGE: &str = "OP-0007";
/// The workshop's invented copy of the standard, against which rows from memory are confirmed.
pub const DOCUMENT: &str = "IEC 62353:2014, the demonstration's invented copy 1";
/// The operator who confirms them.
pub const CONFIRMED_BY: &str = "op-2";

macro_rules! scene {
    ($path:literal) => {
        ($path, include_str!(concat!("../scenes/", $path, ".toml")))
    };
}

/// The scenes of the demonstration, in their order.
pub const SCENES: [File; 5] = [
    scene!("good"),
    scene!("broken-earth"),
    scene!("one-polarity"),
    scene!("lead-not-nulled"),
    scene!("missing-source"),
];

/// Whole inspections with known values: their bench has an insulation tester and an isolated
/// source, so that they are played by themselves.
pub const WHOLE: [File; 2] = [scene!("worked"), scene!("worked-detachable")];

/// Wrong benches, one mistake each.
pub const MISTAKES: [File; 26] = [
    scene!("mistakes/s5-left"),
    scene!("mistakes/s5-left-declared"),
    scene!("mistakes/s7-left"),
    scene!("mistakes/probe-on-old-point"),
    scene!("mistakes/probe-off"),
    scene!("mistakes/probe-slips"),
    scene!("mistakes/null-open"),
    scene!("mistakes/null-through-asset"),
    scene!("mistakes/asset-off"),
    scene!("mistakes/data-cable"),
    scene!("mistakes/meter-held"),
    scene!("mistakes/meter-zeroed"),
    scene!("mistakes/voltmeter-held"),
    scene!("mistakes/milliampere-jack"),
    scene!("mistakes/network-bypassed"),
    scene!("mistakes/lead-not-on-case"),
    scene!("mistakes/hi-lo-swapped"),
    scene!("mistakes/range-too-low"),
    scene!("mistakes/floating-supply"),
    scene!("mistakes/neighbour-scanned"),
    scene!("mistakes/one-direction"),
    scene!("mistakes/voltage-forgotten"),
    scene!("mistakes/voltage-forgotten-mute"),
    scene!("mistakes/voltage-too-low"),
    scene!("mistakes/tester-clip-off"),
    scene!("mistakes/tester-held"),
];

/// Text of a scene by its name: `good`, `mistakes/s5-left`.
#[must_use]
pub fn scene(name: &str) -> Option<&'static str> {
    let mut all = SCENES.iter().chain(&WHOLE).chain(&MISTAKES);
    all.find(|(known, _)| *known == name).map(|(_, text)| *text)
}

/// Configuration (`tapline-config-1`) of a station whose links are the ports of a bench, as
/// `ports.json` names them. `folder`: where its records go. `page`: loopback address, or `off`.
/// `scene`: what stands on the bench.
#[must_use]
pub fn config(ports: &BTreeMap<String, String>, folder: &str, page: &str, scene: &Scene) -> String {
    let port = |name: &str| ports.get(name).map_or("", String::as_str);
    let dmm = match port("dmm") {
        path if path.starts_with('/') => format!("serial = {path:?}\n{LINE}"),
        address => format!("tcp = {address:?}"),
    };
    let (supply_box, witness) = match scene.witnessed {
        true => (
            "SB-1",
            "witness = { link = \"box\", c1 = \"S5=reversed\", c2 = \"S7=open\", \
                          c3 = \"supply=on\" }\n",
        ),
        false => ("SB-2", ""),
    };
    let serial = |id: &str, port: &str, rest: &str| {
        format!("[[link]]\nid = \"{id}\"\nbench = \"b1\"\nserial = {port:?}\n{LINE}\n{rest}\n")
    };
    let tester = serial("iso", port("iso"), "driver = \"val-unit-line\"\ninstrument = \"IR-01\"");
    let besides: String = scene.fixtures.iter().map(|id| format!(", {id:?}")).collect();
    let contacts = serial("box", port("box"), "driver = \"contacts\"");
    [
        "format = \"tapline-config-1\"\n[station]\nid = \"DEMO\"\n",
        "name = \"Workshop of the demonstration\"\nzone = \"Etc/UTC\"\n",
        &format!("[store]\nfolder = {folder:?}\n[page]\nlisten = {page:?}\n"),
        "[[bench]]\nid = \"b1\"\nname = \"Bench 1\"\n",
        &format!("fixtures = [\"{supply_box}\", \"NW-1\", \"FO-1\", \"L-1\"{besides}]\n{witness}"),
        &serial("ohm", port("ohm"), "driver = \"val-unit-line\"\ninstrument = \"LR-01\""),
        &format!("[[link]]\nid = \"dmm\"\nbench = \"b1\"\n{dmm}\n"),
        "driver = \"scpi\"\ninstrument = \"DM-01\"\n",
        &serial("scan", port("scanner"), "driver = \"scan\""),
        if scene.witnessed { &contacts } else { "" },
        if scene.tester.is_some() { &tester } else { "" },
        "[policy]\nguard_ms = 300\n",
    ]
    .concat()
}

const LINE: &str =
    "line = { baud = 9600, bits = \"8N1\", dtr = true, rts = false, flow = \"none\" }";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scene::Scene;
    use crate::world::World;

    #[test]
    fn every_scene_is_read_and_stands_on_a_bench() {
        let mut names = Vec::new();
        for (name, text) in SCENES.iter().chain(&WHOLE).chain(&MISTAKES) {
            let scene = Scene::parse(text).unwrap_or_else(|faults| panic!("{name}: {faults:?}"));
            assert!(name.ends_with(&scene.id), "{name} calls itself {}", scene.id);
            assert!(ASSETS.contains(&format!("\n{},", scene.asset)), "{name}: {}", scene.asset);
            World::new(scene, 0).unwrap();
            names.push(*name);
        }
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), SCENES.len() + WHOLE.len() + MISTAKES.len());
        assert_eq!(scene("good"), Some(SCENES[0].1));
        assert_eq!(scene("nothing"), None);
    }

    #[test]
    fn every_file_of_the_folder_is_named_here() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/scenes/mistakes");
        let files = std::fs::read_dir(folder).unwrap().count();
        assert_eq!(files, MISTAKES.len(), "add the new scene to the list");
    }
}
