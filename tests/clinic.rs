//! The demonstration's clinic, read by the readers of the register and of the configuration.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;
use std::path::Path;

use tapline::config::{Config, drivers};
use tapline_demo::clinic;
use tapline_demo::scene::Scene;
use tapline_protocols::register::{read_assets, read_fixtures, read_instruments, read_operators};

#[test]
fn the_register_files_are_read_without_a_fault() {
    let assets = read_assets(clinic::ASSETS).unwrap();
    assert!(assets.iter().any(|asset| asset.id == "P-0199"), "the neighbour is there");
    let (instruments, setups) = read_instruments(clinic::INSTRUMENTS).unwrap();
    assert_eq!((instruments.len(), setups.len()), (3, 1));
    let (fixtures, leads) = read_fixtures(clinic::FIXTURES).unwrap();
    assert_eq!((fixtures.len(), leads.len()), (5, 1));
    let operators = read_operators(clinic::OPERATORS).unwrap();
    assert!(operators.iter().any(|one| one.badge == clinic::BADGE));
    assert!(operators.iter().any(|one| one.id == clinic::CONFIRMED_BY));
}

#[test]
fn the_configuration_is_read_for_every_kind_of_bench() {
    for (dmm, name, links, fixtures) in [
        ("127.0.0.1:4000", "good", 4, 4),
        ("/run/demo/dmm", "mistakes/s5-left-declared", 3, 4),
        ("/run/demo/dmm", "worked", 5, 5),
    ] {
        let scene = Scene::parse(clinic::scene(name).unwrap()).unwrap();
        let ports = [("ohm", "/run/demo/ohm"), ("box", "/run/demo/box"), ("dmm", dmm)];
        let mut ports: BTreeMap<String, String> =
            ports.iter().map(|(name, at)| ((*name).into(), (*at).into())).collect();
        ports.insert("scanner".into(), "/run/demo/scanner".into());
        ports.insert("iso".into(), "/run/demo/iso".into());
        let text = clinic::config(&ports, "/run/demo/store", "off", &scene);
        let config = Config::read(&text, &|name| drivers::choose(Path::new(""), name));
        let config = config.unwrap_or_else(|faults| panic!("{faults:#?}\n{text}"));
        assert_eq!(config.benches[0].witness.is_empty(), !scene.witnessed);
        assert_eq!((config.links.len(), config.benches[0].fixtures.len()), (links, fixtures));
    }
}
