//! The measuring networks by themselves: solved here, by ngspice, and as their printed values say.

use tapline_demo::circuit::{EARTH, Kind, Netlist};
use tapline_protocols::doubt::network::shown_share;

use crate::ngspice;

/// Thirty-one frequencies, six a decade, 10 Hz to 1 MHz.
pub(crate) fn frequencies() -> impl Iterator<Item = f64> {
    (0..=30).map(|at| 10.0 * 10_f64.powf(f64::from(at) / 6.0))
}

/// IEC 60601-1 Figure 12 (IEC 60601-1:2005/AMD1:2012 Corrigendum 1, excerpt seen): 10 kohm +-5 %,
/// 1 kohm +-1 %, 15 nF +-5 %; with what a voltmeter puts across C1.
#[derive(Clone, Copy)]
struct Figure12 {
    r1: f64,
    r2: f64,
    c1: f64,
    meter: Option<(f64, f64)>,
}

const NOMINAL: Figure12 = Figure12 { r1: 10e3, r2: 1e3, c1: 15e-9, meter: None };

impl Figure12 {
    /// One ampere into the network, between `in` and earth.
    fn join(self, net: &mut Netlist, name: &str, hertz: f64) {
        let (input, out) = (format!("{name}in"), format!("{name}out"));
        net.add(Kind::I(1.0, hertz), EARTH, &input).add(Kind::R(self.r2), &input, EARTH);
        net.add(Kind::R(self.r1), &input, &out).add(Kind::C(self.c1), &out, EARTH);
        if let Some((ohm, farad)) = self.meter {
            net.add(Kind::R(ohm), &out, EARTH).add(Kind::C(farad), &out, EARTH);
        }
    }
}

/// IEC 60990 Figure 4 (two makers print the annex of IEC 60065, excerpts seen): 1500 ohm beside
/// 0.22 uF, then 500 ohm, over which 10 kohm and 22 nF weight.
fn figure4(net: &mut Netlist, hertz: f64) {
    net.add(Kind::I(1.0, hertz), EARTH, "f4in").add(Kind::R(1500.0), "f4in", "f4b");
    net.add(Kind::C(0.22e-6), "f4in", "f4b").add(Kind::R(500.0), "f4b", EARTH);
    net.add(Kind::R(10e3), "f4b", "f4out").add(Kind::C(22e-9), "f4out", EARTH);
}

/// Every node of a circuit within a millionth of ngspice.
fn agree(net: &Netlist, hertz: f64) {
    let solved = net.solve(hertz).unwrap();
    for (node, want) in net.nodes().keys().zip(ngspice::magnitudes(&net.spice(hertz))) {
        let got = solved.at(node).magnitude();
        assert!((got / want - 1.0).abs() < 1e-6, "{node} at {hertz} Hz: {got}, not {want}");
    }
}

/// All corners of the tolerances, the voltmeters, and the other standard's network, in one circuit.
#[test]
fn networks_in_every_corner_of_their_tolerance_agree_with_ngspice() {
    for hertz in frequencies() {
        let mut net = Netlist::new();
        for corner in 0..8u8 {
            let off =
                |bit: u8, share: f64| if corner & bit == 0 { 1.0 - share } else { 1.0 + share };
            let network = Figure12 {
                r1: NOMINAL.r1 * off(1, 0.05),
                r2: NOMINAL.r2 * off(2, 0.01),
                c1: NOMINAL.c1 * off(4, 0.05),
                meter: None,
            };
            network.join(&mut net, &format!("c{corner}"), hertz);
        }
        NOMINAL.join(&mut net, "nominal", hertz);
        Figure12 { meter: Some((1e6, 150e-12)), ..NOMINAL }.join(&mut net, "loaded", hertz);
        figure4(&mut net, hertz);
        agree(&net, hertz);
    }
}

fn magnitude(net: &Netlist, node: &str, hertz: f64) -> f64 {
    net.solve(hertz).unwrap().at(node).magnitude()
}

/// What the network shows of a current, as a share of 1 kohm times it, and its input impedance in
/// ohm.
fn of(network: Figure12, hertz: f64) -> (f64, f64) {
    let mut net = Netlist::new();
    network.join(&mut net, "", hertz);
    (magnitude(&net, "out", hertz) / 1000.0, magnitude(&net, "in", hertz))
}

/// From the corrigendum's component values: |Z| over 1 kohm, the input impedance in ohm, and |Z|
/// with the worst voltmeter that it allows, 1 Mohm and 150 pF (computed with another program).
#[test]
fn figure_12_has_its_values() {
    for (hertz, shown, input, loaded) in [
        (10_u32, "0.999946", "999.99", "0.989067"),
        (50, "0.998659", "999.77", "0.987796"),
        (60, "0.998071", "999.67", "0.987215"),
        (100, "0.994669", "999.08", "0.983857"),
        (1_000, "0.694244", "953.99", "0.687042"),
        (10_000, "0.096012", "909.97", "0.095060"),
        (100_000, "0.009645", "909.10", "0.009550"),
        (1_000_000, "0.000965", "909.09", "0.000955"),
    ] {
        let said: f64 = shown_share(hertz).parse().unwrap();
        let hertz = f64::from(hertz);
        let (share, ohm) = of(NOMINAL, hertz);
        assert_eq!((format!("{share:.6}").as_str(), format!("{ohm:.2}").as_str()), (shown, input));
        let (share, _) = of(Figure12 { meter: Some((1e6, 150e-12)), ..NOMINAL }, hertz);
        assert_eq!(format!("{share:.6}"), loaded, "{hertz} Hz");
        assert!((said / of(NOMINAL, hertz).0 - 1.0).abs() < 5e-4, "{hertz} Hz: {said}");
    }
}

/// What the tolerances of the corrigendum make of it, from least to most (computed with another
/// program).
#[test]
fn the_tolerances_of_figure_12_spread_what_it_shows() {
    for (hertz, least, most) in
        [(50.0, "0.9884", "1.0089"), (1e3, "0.6538", "0.7355"), (1e4, "0.0867", "0.1067")]
    {
        let corners = (0..8u8).map(|corner| {
            let off =
                |bit: u8, share: f64| if corner & bit == 0 { 1.0 - share } else { 1.0 + share };
            let (r1, r2, c1) = (1e4 * off(1, 0.05), 1e3 * off(2, 0.01), 15e-9 * off(4, 0.05));
            of(Figure12 { r1, r2, c1, meter: None }, hertz).0
        });
        let all: Vec<f64> = corners.collect();
        let (low, high) =
            (all.iter().copied().fold(9.0, f64::min), all.iter().copied().fold(0.0, f64::max));
        assert_eq!((format!("{low:.4}").as_str(), format!("{high:.4}").as_str()), (least, most));
    }
}

/// U2 over 500 ohm and the input impedance (computed with two programs from the printed parts).
#[test]
fn figure_4_has_its_values() {
    for (hertz, shown, input) in [
        (10.0, 0.999895, 1999.6),
        (50.0, 0.997377, 1990.0),
        (60.0, 0.996230, 1985.7),
        (100.0, 0.989631, 1961.0),
        (1e3, 0.567357, 972.5),
        (1e4, 0.068735, 485.4),
        (1e5, 0.006890, 476.3),
        (1e6, 0.000689, 476.2),
    ] {
        let mut net = Netlist::new();
        figure4(&mut net, hertz);
        let share = magnitude(&net, "f4out", hertz) / 500.0;
        let ohm = magnitude(&net, "f4in", hertz);
        // The solver's own bleeds, 1e-12 S at a node, may move a last digit that stands at a half.
        assert!(
            (share - shown).abs() < 6e-7 && (ohm - input).abs() < 0.051,
            "{hertz}: {share} {ohm}"
        );
    }
}

/// What a meter of resistance reads at its terminals, with its input open and with it closed: R1
/// and 500 ohm, or 375 with 1500 beside them (reckoned).
#[test]
fn figure_4_read_as_a_resistance() {
    for (closed, weighted, plain) in [(false, 10_500.0, 500.0), (true, 10_375.0, 375.0)] {
        for (node, want) in [("f4out", weighted), ("f4b", plain)] {
            let mut net = Netlist::new();
            figure4(&mut net, 50.0);
            net.add(Kind::I(1e-4, 0.0), EARTH, node);
            if closed {
                net.add(Kind::R(1e-6), "f4in", EARTH);
            }
            let ohm = magnitude(&net, node, 0.0) / 1e-4;
            assert!((ohm - want).abs() < 1e-3, "{closed} {node}: {ohm}");
        }
    }
}

/// 450 uA at 50 Hz with 300 uA at 1 kHz: 495.3 uA weighted, 540.8 uA as they flow (arithmetic with
/// Figure 12). The weighted one conforms to 500 uA, the other does not: a meter without the network
/// fails a good asset.
#[test]
fn shares_of_several_frequencies_add_by_their_squares() {
    let parts = [(450.0, 50.0), (300.0, 1e3)];
    let sum = |weight: &dyn Fn(f64) -> f64| {
        parts.iter().map(|(size, hertz)| (size * weight(*hertz)).powi(2)).sum::<f64>().sqrt()
    };
    assert_eq!(format!("{:.1}", sum(&|hertz| of(NOMINAL, hertz).0)), "495.3");
    assert_eq!(format!("{:.1}", sum(&|_| 1.0)), "540.8");
}

/// DKE on DIN EN 61557-16 against DIN VDE 0404 (excerpt seen): 1 kohm instead of 2 kohm changes
/// 3.5 mA at 230 V by about 1.5 %; 1.545 % where a resistance leaks, 0.035 % where a capacitance
/// does (arithmetic).
#[test]
fn a_smaller_network_lets_more_flow() {
    let flows = |leak: Kind, ohm: f64| {
        let mut net = Netlist::new();
        net.add(Kind::V(230.0, 50.0), "L", EARTH).add(leak, "L", "case");
        net.add(Kind::R(ohm), "case", EARTH);
        magnitude(&net, "case", 50.0) / ohm
    };
    let whole = 230.0 / 3.5e-3;
    let resistance = Kind::R(whole - 2e3);
    assert!((flows(resistance, 2e3) / 3.5e-3 - 1.0).abs() < 1e-6);
    let more = flows(resistance, 1e3);
    assert_eq!(format!("{:.3} {:.3}", more * 1e3, (more / 3.5e-3 - 1.0) * 100.0), "3.554 1.545");
    let turns = 2.0 * std::f64::consts::PI * 50.0;
    let capacitance = Kind::C(1.0 / (turns * (whole * whole - 4e6).sqrt()));
    assert!((flows(capacitance, 2e3) / 3.5e-3 - 1.0).abs() < 1e-6);
    let more = flows(capacitance, 1e3);
    assert_eq!(format!("{:.3}", (more / 3.5e-3 - 1.0) * 100.0), "0.035");
}
