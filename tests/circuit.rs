//! The solver of the simulated bench against ngspice: every node of more than twenty benches,
//! good and wrong, within 0.1 %.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "circuit/networks.rs"]
mod networks;
#[path = "outside/ngspice.rs"]
mod ngspice;

use tapline_demo::circuit::{EARTH, Kind, Netlist};
use tapline_demo::hookup::{HARMONIC_HERTZ, Hookup, Input, Network, Source, Supply};
use tapline_demo::room::{Jack, Room};

/// A bench with the class I asset of the demonstration, with one more element of its own.
fn bench(fault: Option<(Kind, &str, &str)>, stray_farad: Option<f64>) -> Hookup {
    let mut asset = Netlist::new();
    asset.add(Kind::C(2.2e-9), "L", "case").add(Kind::C(2.2e-9), "N", "case");
    asset.add(Kind::R(500.0), "L2", "N2").add(Kind::R(0.09), "case", "PE");
    asset.add(Kind::C(150e-12), "L2", "part").add(Kind::C(150e-12), "part", "case");
    if let Some((kind, from, to)) = fault {
        asset.add(kind, from, to);
    }
    Hookup {
        supply: Supply { volts: 230.0, hertz: 50.0, stray_farad },
        asset,
        network: Network { r1_ohm: 10_012.0, r2_ohm: 999.6, c1_farad: 15.02e-9 },
        input: Input::default(),
        leads_ohm: 0.061,
        source: Source::default(),
        strand_ohm: None,
    }
}

fn live() -> Room {
    Room {
        supply_on: true,
        s7_open: true,
        plugged: true,
        network_lead: Some("case".to_owned()),
        ..Room::default()
    }
}

/// Every node within 0.1 % of ngspice, or within a microvolt where next to nothing is.
fn agrees(name: &str, net: &Netlist, hertz: f64) {
    let solved = net.solve(hertz).unwrap();
    let theirs = ngspice::magnitudes(&net.spice(hertz));
    assert!(!theirs.is_empty(), "{name}: no nodes");
    for (node, want) in net.nodes().keys().zip(theirs) {
        let got = solved.at(node).magnitude();
        let apart = (want * 1e-3).max(1e-6);
        assert!((got - want).abs() <= apart, "{name} at {hertz} Hz, {node}: {got}, not {want}");
    }
}

#[test]
fn benches_with_every_switch_in_every_position_agree_with_ngspice() {
    let fault = Some((Kind::R(20e3), "N", "case"));
    for switches in 0..16u8 {
        let room = Room {
            s1_open: switches & 1 != 0,
            s5_reversed: switches & 2 != 0,
            s7_open: switches & 4 != 0,
            supply_on: switches & 8 != 0,
            ..live()
        };
        agrees(&format!("switches {switches:04b}"), &bench(fault, None).netlist(&room), 50.0);
    }
}

#[test]
fn faulty_assets_agree_with_ngspice() {
    let faults = [
        ("good", None, None),
        ("floating supply", Some((Kind::R(20e3), "L", "case")), Some(500e-12)),
        ("fault behind the switch", Some((Kind::R(100e3), "L2", "case")), None),
        ("direct fault", Some((Kind::R(0.5), "L", "case")), None),
        ("large filter", Some((Kind::C(100e-9), "L", "case")), None),
        ("part to phase", Some((Kind::R(1e6), "L2", "part")), None),
    ];
    for (name, fault, stray) in faults {
        agrees(name, &bench(fault, stray).netlist(&live()), 50.0);
    }
}

#[test]
fn wrong_hook_ups_agree_with_ngspice() {
    let rooms = [
        ("data cable", Room { second_earth_ohm: Some(1.0), ..live() }),
        ("bypassed", Room { network_bypassed: true, ..live() }),
        ("shorted by its cable", Room { swapped: true, isolated: false, ..live() }),
        ("milliampere jack", Room { jack: Jack::Milliampere, ..live() }),
        ("loose lead", Room { network_lead: None, ..live() }),
        ("asset off", Room { asset_on: false, ..live() }),
        ("on the applied part", Room { network_lead: Some("part".to_owned()), ..live() }),
        ("unplugged", Room { plugged: false, ..live() }),
    ];
    let fault = Some((Kind::R(100e3), "L", "case"));
    for (name, room) in rooms {
        agrees(name, &bench(fault, None).netlist(&room), 50.0);
    }
}

#[test]
fn a_harmonic_and_the_network_alone_agree_with_ngspice() {
    let harmonic = Some((Kind::I(250e-6, HARMONIC_HERTZ), EARTH, "case"));
    let net = bench(harmonic, None).netlist(&live());
    agrees("harmonic", &net, HARMONIC_HERTZ);
    agrees("harmonic at mains", &net, 50.0);
    for hertz in [10.0, 100.0, 1e4, 1e5, 1e6] {
        let mut hookup = bench(None, None);
        hookup.asset = Netlist::new();
        hookup.asset.add(Kind::V(5.0, hertz), "x", EARTH).add(Kind::R(10e3), "x", "case");
        let room = Room { network_lead: Some("case".to_owned()), ..Room::default() };
        agrees("network", &hookup.netlist(&room), hertz);
    }
}

/// The whole bench at thirty frequencies, as each harmonic of a supply would see it.
#[test]
fn the_bench_agrees_with_ngspice_from_10_hz_to_1_mhz() {
    for hertz in networks::frequencies() {
        let mut hookup = bench(None, None);
        hookup.supply.hertz = hertz;
        agrees("bench", &hookup.netlist(&live()), hertz);
    }
}
