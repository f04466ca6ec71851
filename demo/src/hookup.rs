//! The bench as a netlist: supply, box, asset, leads, network, meters.
//!
//! Nodes of an asset that a scene may use: `L N PE` are the pins of its plug, `L2 N2` the poles
//! behind its own switch, `FE` its functional earth, `case` its metal, names that begin with `part`
//! its applied parts; any other name is its own.

use crate::circuit::{EARTH, Kind, Netlist, Singular, Solution};
use crate::room::{Clips, Jack, Room, Way};

/// Frequency of the harmonic source `H` of a scene, hertz.
pub const HARMONIC_HERTZ: f64 = 1000.0;

/// Contact of a good plug or clamp, ohm.
const CONTACT_OHM: f64 = 0.005;

/// The mains as the outlet of the bench has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    /// Phase to neutral, volt r.m.s.
    pub volts: f64,
    /// Frequency, hertz.
    pub hertz: f64,
    /// `None`: neutral is earthed. Else the stray capacitance of one pole to earth, farad, of a
    /// supply behind an isolating transformer.
    pub stray_farad: Option<f64>,
}

/// The measuring network of IEC 60601-1 Figure 12, as its certificate says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Network {
    /// Series resistance, ohm.
    pub r1_ohm: f64,
    /// Input resistance, ohm.
    pub r2_ohm: f64,
    /// Capacitance, farad.
    pub c1_farad: f64,
}

impl Default for Network {
    /// Nominal values: 10 kohm, 1 kohm, 15 nF.
    fn default() -> Network {
        Network { r1_ohm: 10e3, r2_ohm: 1e3, c1_farad: 15e-9 }
    }
}

/// The isolated, current-limited source: the lead of the network to an applied part goes
/// through it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Open-circuit voltage, volt r.m.s., at the frequency of the mains.
    pub volts: f64,
    /// What limits its current, ohm.
    pub ohm: f64,
}

impl Default for Source {
    /// 230 V behind 33 kohm: 7 mA at most.
    fn default() -> Source {
        Source { volts: 230.0, ohm: 33e3 }
    }
}

/// Input of the voltmeter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Input {
    /// Resistance, ohm.
    pub ohm: f64,
    /// Capacitance, farad.
    pub farad: f64,
}

impl Default for Input {
    /// A bench multimeter: 10 Mohm with 100 pF.
    fn default() -> Input {
        Input { ohm: 10e6, farad: 100e-12 }
    }
}

/// Everything that does not move during a scene.
#[derive(Debug, Clone, PartialEq)]
pub struct Hookup {
    /// Mains.
    pub supply: Supply,
    /// Elements of the asset.
    pub asset: Netlist,
    /// Measuring network.
    pub network: Network,
    /// Voltmeter.
    pub input: Input,
    /// Isolated source.
    pub source: Source,
    /// One lead pair of the low-resistance meter with its clips, ohm.
    pub leads_ohm: f64,
    /// A broken strand between case and plug: ohm at rest, and while the cord is flexed.
    pub strand_ohm: Option<[f64; 2]>,
}

/// What the multimeter does to the network while it measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Probe {
    Volts,
    Ohms,
}

/// Measuring current of the multimeter's resistance function, ampere.
const DMM_AMPERE: f64 = 1e-4;
/// Measuring current of the low-resistance meter, ampere.
const LOW_OHM_AMPERE: f64 = 0.2;

impl Hookup {
    /// Voltages with the multimeter in a voltage function, at one frequency.
    ///
    /// # Errors
    /// [`Singular`], for parts that contradict each other.
    pub fn volts(&self, room: &Room, hertz: f64) -> Result<Solution, Singular> {
        self.netlist(room).solve(hertz)
    }

    /// The circuit with the multimeter in a voltage function: what [`Hookup::volts`] solves.
    #[must_use]
    pub fn netlist(&self, room: &Room) -> Netlist {
        self.build(room, Probe::Volts)
    }

    /// What the multimeter's input sees of a solution, volt.
    #[must_use]
    pub fn indicated(room: &Room, solution: &Solution) -> f64 {
        match room.jack {
            Jack::Volts => solution.between("n.out", "n.lo"),
            Jack::Milliampere => 0.0,
        }
    }

    /// Resistance between the terminals of the multimeter, ohm; infinite with the lead in the
    /// milliampere jack.
    ///
    /// # Errors
    /// [`Singular`].
    pub fn dmm_ohms(&self, room: &Room) -> Result<f64, Singular> {
        if room.jack == Jack::Milliampere {
            return Ok(f64::INFINITY);
        }
        let mut net = self.build(room, Probe::Ohms);
        net.add(Kind::I(DMM_AMPERE, 0.0), "n.lo", "n.out");
        Ok(net.solve(0.0)?.between("n.out", "n.lo") / DMM_AMPERE)
    }

    /// Resistance between the clips of the low-resistance meter, leads included, ohm; above a
    /// gigohm where nothing is between them.
    ///
    /// # Errors
    /// [`Singular`].
    pub fn low_ohms(&self, room: &Room) -> Result<f64, Singular> {
        let leads_ohm = room.leads_ohm.unwrap_or(self.leads_ohm);
        let point = match &room.clips {
            Clips::Open => return Ok(f64::INFINITY),
            Clips::Shorted | Clips::Same(_) => return Ok(leads_ohm),
            Clips::On(point) => point,
        };
        let mut net = self.build(room, Probe::Volts);
        net.add(Kind::R(leads_ohm), "k.a", "PE");
        // The current comes out of the clip on the plug, or the other way round.
        let sign = if room.way == Way::Minus { -1.0 } else { 1.0 };
        net.add(Kind::I(sign * LOW_OHM_AMPERE, 0.0), point, "k.a");
        let solved = net.solve(0.0)?;
        Ok((solved.at("k.a") - solved.at(point)).re * sign / LOW_OHM_AMPERE)
    }

    /// What a voltmeter of 10 Mohm reads at the outlet: phase to neutral, neutral to protective
    /// earth, phase to protective earth, volt.
    #[must_use]
    pub fn outlet_volts(&self) -> [f64; 3] {
        let across = |a: &str, b: &str| {
            let mut net = Netlist::new();
            self.mains(&mut net);
            net.add(Kind::R(10e6), a, b);
            // A source and its voltmeter always have a solution.
            net.solve(self.supply.hertz).map_or(0.0, |solved| solved.between(a, b))
        };
        [across("m.L", "m.N"), across("m.N", EARTH), across("m.L", EARTH)]
    }

    fn build(&self, room: &Room, probe: Probe) -> Netlist {
        let energised = (room.plugged && room.supply_on || room.wall) && room.asset_on;
        let mut net = if energised { self.asset.clone() } else { self.asset.quiet() };
        self.mains(&mut net);
        supply_box(&mut net, room);
        asset_joints(&mut net, room);
        if let Some([rest, flexed]) = self.strand_ohm {
            net.add(Kind::R(if room.flexed { flexed } else { rest }), "case", "PE");
        }
        self.measuring(&mut net, room, probe);
        net
    }

    fn mains(&self, net: &mut Netlist) {
        let Supply { volts, hertz, stray_farad } = self.supply;
        net.add(Kind::V(volts, hertz), "m.L", "m.N");
        match stray_farad {
            None => net.add(Kind::R(CONTACT_OHM), "m.N", EARTH),
            Some(farad) => net.add(Kind::C(farad), "m.N", EARTH),
        };
    }

    fn lead(&self, net: &mut Netlist, room: &Room, point: &str) {
        if !point.starts_with("part") {
            net.add(Kind::R(0.05), "n.in", point);
            return;
        }
        let Source { volts, ohm } = self.source;
        let winding = match room.source_on {
            true => Kind::V(volts, self.supply.hertz),
            false => Kind::R(WINDING_OHM),
        };
        net.add(winding, "s.out", "n.in").add(Kind::R(ohm), "s.out", point);
    }

    fn measuring(&self, net: &mut Netlist, room: &Room, probe: Probe) {
        let Network { r1_ohm, r2_ohm, c1_farad } = self.network;
        net.add(Kind::R(r2_ohm), "n.in", "n.lo");
        net.add(Kind::R(r1_ohm), "n.in", "n.out");
        net.add(Kind::C(c1_farad), "n.out", "n.lo");
        net.add(Kind::R(CONTACT_OHM), "n.lo", EARTH);
        if let Some(point) = &room.network_lead {
            self.lead(net, room, point);
        }
        if room.network_bypassed {
            net.add(Kind::R(CONTACT_OHM), "n.in", "n.lo");
        }
        let low = if room.swapped { "n.out" } else { "n.lo" };
        if !room.isolated {
            net.add(Kind::R(0.5), low, EARTH);
        }
        match (room.jack, probe) {
            (Jack::Milliampere, _) => {
                net.add(Kind::R(1.0), "n.out", "n.lo");
            }
            (Jack::Volts, Probe::Volts) => {
                net.add(Kind::R(self.input.ohm), "n.out", "n.lo");
                net.add(Kind::C(self.input.farad), "n.out", "n.lo");
            }
            (Jack::Volts, Probe::Ohms) => {}
        }
    }
}

/// Winding of a source that is off, ohm.
const WINDING_OHM: f64 = 200.0;

fn supply_box(net: &mut Netlist, room: &Room) {
    let wire = Kind::R(CONTACT_OHM);
    let (phase, neutral) = if room.s5_reversed { ("b.N", "b.L") } else { ("b.L", "b.N") };
    if room.supply_on {
        net.add(wire, "m.L", phase);
        if !room.s1_open {
            net.add(wire, "m.N", neutral);
        }
    }
    if !room.s7_open {
        net.add(wire, "b.PE", EARTH);
    }
    if !room.s10_open {
        net.add(wire, "b.FE", EARTH);
    }
}

fn asset_joints(net: &mut Netlist, room: &Room) {
    let wire = Kind::R(CONTACT_OHM);
    if room.plugged {
        for (inside, outside) in [("L", "b.L"), ("N", "b.N"), ("PE", "b.PE"), ("FE", "b.FE")] {
            net.add(wire, inside, outside);
        }
    }
    if room.wall {
        for (inside, outside) in [("L", "m.L"), ("N", "m.N"), ("PE", EARTH)] {
            net.add(wire, inside, outside);
        }
    }
    if room.asset_on {
        net.add(wire, "L", "L2").add(wire, "N", "N2");
    }
    if let Some(ohm) = room.second_earth_ohm {
        net.add(Kind::R(ohm), "case", EARTH);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The class I asset of the published table: 2 x 2.2 nF from the poles to the case, a load of
    /// 500 ohm, an earth path of 0.09 ohm.
    fn bench(fault: Option<(&str, f64)>, stray_farad: Option<f64>) -> Hookup {
        let mut asset = Netlist::new();
        asset.add(Kind::C(2.2e-9), "L", "case").add(Kind::C(2.2e-9), "N", "case");
        asset.add(Kind::R(500.0), "L2", "N2").add(Kind::R(0.09), "case", "PE");
        if let Some((pole, ohm)) = fault {
            asset.add(Kind::R(ohm), pole, "case");
        }
        Hookup {
            supply: Supply { volts: 230.0, hertz: 50.0, stray_farad },
            asset,
            network: Network::default(),
            input: Input::default(),
            source: Source::default(),
            leads_ohm: 0.061,
            strand_ohm: None,
        }
    }

    /// 230 V through 33 kohm, an insulation of 2 Mohm and 1 kohm: 113.1 uA; off, the asset's own
    /// 2 x 50 pF are all that is left: 3.6 uA, as good as can be (hand computation).
    #[test]
    fn a_source_that_is_off_reads_as_good_as_the_best_part() {
        let mut hookup = bench(None, None);
        hookup.asset.add(Kind::R(2e6), "part", "case");
        hookup.asset.add(Kind::C(50e-12), "L", "part").add(Kind::C(50e-12), "N", "part");
        let dead = Room { s7_open: false, network_lead: Some("part".to_owned()), ..live(false) };
        let on = Room { source_on: true, ..dead.clone() };
        near(microampere(&hookup, &on), 113.1, 4.0);
        near(microampere(&hookup, &dead), 3.6, 0.2);
    }

    fn live(s5_reversed: bool) -> Room {
        Room {
            supply_on: true,
            s5_reversed,
            s7_open: true,
            plugged: true,
            network_lead: Some("case".to_owned()),
            ..Room::default()
        }
    }

    /// Current that a plain 1 kohm in place of the network would show, microampere.
    fn microampere(hookup: &Hookup, room: &Room) -> f64 {
        let network = Network { c1_farad: 1e-18, ..Network::default() };
        let solved = Hookup { network, ..hookup.clone() }.volts(room, 50.0).unwrap();
        solved.between("n.in", "n.lo") / 1e3 * 1e6
    }

    fn near(got: f64, want: f64, apart: f64) {
        assert!((got - want).abs() <= apart, "{got} is not {want}");
    }

    // The figures of the next five tests were computed by hand from I = U w C and U / (R + Rf)
    // (230 V, 50 Hz, 1 kohm, direct method); no published source.

    #[test]
    fn a_good_asset_shows_the_same_in_both_polarities() {
        let hookup = bench(None, None);
        near(microampere(&hookup, &live(false)), 159.0, 0.1);
        near(microampere(&hookup, &live(true)), 159.0, 0.1);
    }

    #[test]
    fn an_insulation_fault_shows_in_one_polarity_only() {
        let hookup = bench(Some(("L", 20e3)), None);
        near(microampere(&hookup, &live(false)), 10_953.0, 2.0);
        near(microampere(&hookup, &live(true)), 151.0, 0.6);
        let hookup = bench(Some(("N", 20e3)), None);
        near(microampere(&hookup, &live(false)), 151.0, 0.6);
        near(microampere(&hookup, &live(true)), 10_953.0, 2.0);
        let solved = hookup.volts(&live(true), 50.0).unwrap();
        let volts = Hookup::indicated(&live(true), &solved);
        near(volts, 10.953 * 0.998659 * 0.9989, 0.01);
    }

    #[test]
    fn behind_the_assets_own_open_switch_the_fault_is_not_seen() {
        let hookup = bench(Some(("L2", 20e3)), None);
        near(microampere(&hookup, &Room { asset_on: false, ..live(false) }), 159.0, 0.1);
    }

    #[test]
    fn an_isolating_transformer_hides_the_fault() {
        let hookup = bench(Some(("L", 20e3)), Some(500e-12));
        near(microampere(&hookup, &live(false)), 36.0, 0.3);
        near(microampere(&hookup, &live(true)), 0.5, 0.05);
    }

    #[test]
    fn a_forgotten_data_cable_hides_the_fault() {
        let hookup = bench(Some(("L", 100e3)), None);
        near(microampere(&hookup, &live(false)), 2283.0, 2.0);
        let cable = Room { second_earth_ohm: Some(1.0), ..live(false) };
        near(microampere(&hookup, &cable), 2.3, 0.05);
    }

    #[test]
    fn a_bypassed_network_and_the_wrong_jack_show_nothing() {
        let hookup = bench(Some(("L", 20e3)), None);
        let bypassed = Room { network_bypassed: true, ..live(false) };
        assert!(microampere(&hookup, &bypassed) < 1.0);
        let jack = Room { jack: Jack::Milliampere, ..live(false) };
        let solved = hookup.volts(&jack, 50.0).unwrap();
        assert!(Hookup::indicated(&jack, &solved).abs() < f64::EPSILON);
        let swapped = Room { swapped: true, isolated: false, ..live(false) };
        let solved = hookup.volts(&swapped, 50.0).unwrap();
        assert!(Hookup::indicated(&swapped, &solved) < 1e-3, "the cable shorts the network");
    }

    #[test]
    fn a_floating_outlet_shows_itself_to_a_voltmeter() {
        let [ln, npe, lpe] = bench(None, None).outlet_volts();
        near(ln, 230.0, 0.1);
        near(npe, 0.0, 0.1);
        near(lpe, 230.0, 0.1);
        // 500 pF are 6.37 Mohm at 50 Hz: 230 x 10 / |10 - j 6.37| (hand computation).
        let [ln, _, lpe] = bench(None, Some(500e-12)).outlet_volts();
        near(ln, 230.0, 0.1);
        near(lpe, 194.0, 0.5);
    }

    /// Shares at 50 Hz, 1 kHz, 10 kHz and 100 kHz of Figure 12 into 10 Mohm and 100 pF: 5 V
    /// through 10 kohm gives 453.4, 315.7, 43.7 and 4.39 mV (hand computation of the divider).
    #[test]
    fn the_network_with_its_voltmeter_has_the_computed_response() {
        for (hertz, millivolt) in [(50.0, 453.4), (1e3, 315.7), (1e4, 43.7), (1e5, 4.39)] {
            let mut hookup = bench(None, None);
            hookup.asset = Netlist::new();
            hookup.asset.add(Kind::V(5.0, hertz), "x", EARTH).add(Kind::R(10e3), "x", "case");
            let room = Room { network_lead: Some("case".to_owned()), ..Room::default() };
            let solved = hookup.volts(&room, hertz).unwrap();
            near(Hookup::indicated(&room, &solved) * 1e3, millivolt, millivolt * 2e-3);
        }
    }

    /// R1 + (R2 parallel to whatever else joins the case with earth), by hand.
    #[test]
    fn the_network_read_as_a_resistance_finds_a_second_earth() {
        let hookup = bench(None, None);
        let dead = Room { supply_on: false, ..live(false) };
        near(hookup.dmm_ohms(&dead).unwrap(), 11_000.0, 1.0);
        let earthed = Room { s7_open: false, ..dead.clone() };
        near(hookup.dmm_ohms(&earthed).unwrap(), 10_000.0, 1.0);
        for (ohm, want) in [(1.0, 10_001.0), (1e3, 10_500.0), (20e3, 10_952.4)] {
            let cable = Room { second_earth_ohm: Some(ohm), ..dead.clone() };
            near(hookup.dmm_ohms(&cable).unwrap(), want, 1.0);
        }
        let loose = Room { network_lead: None, ..earthed.clone() };
        near(hookup.dmm_ohms(&loose).unwrap(), 11_000.0, 1.0);
        let bypassed = Room { network_bypassed: true, ..dead.clone() };
        near(hookup.dmm_ohms(&bypassed).unwrap(), 10_000.0, 1.0);
        let jack = Room { jack: Jack::Milliampere, ..dead };
        assert!(hookup.dmm_ohms(&jack).unwrap().is_infinite());
    }

    /// What no switch of the box reaches: the plug in the wall, a strand that opens when bent.
    #[test]
    fn the_wall_earths_the_asset_past_the_box_and_a_strand_opens_when_flexed() {
        let mut hookup = bench(None, None);
        let wall = Room { plugged: false, wall: true, supply_on: false, ..live(false) };
        near(hookup.dmm_ohms(&wall).unwrap(), 10_000.0, 1.0);
        hookup.asset = Netlist::new();
        hookup.strand_ohm = Some([0.09, 0.45]);
        let clipped = Room { clips: Clips::On("case".to_owned()), ..Room::default() };
        near(hookup.low_ohms(&clipped).unwrap(), 0.151, 1e-4);
        let flexed = Room { flexed: true, leads_ohm: Some(0.1), ..clipped };
        near(hookup.low_ohms(&flexed).unwrap(), 0.55, 1e-4);
    }

    #[test]
    fn the_low_resistance_meter_sees_the_path_and_its_leads() {
        let hookup = bench(None, None);
        let at = |clips| Room { clips, ..Room::default() };
        near(hookup.low_ohms(&at(Clips::On("case".to_owned()))).unwrap(), 0.151, 1e-4);
        near(hookup.low_ohms(&at(Clips::Shorted)).unwrap(), 0.061, 1e-9);
        assert!(hookup.low_ohms(&at(Clips::Open)).unwrap().is_infinite());
        assert!(hookup.low_ohms(&at(Clips::On("plastic".to_owned()))).unwrap() > 1e9);
        // 6 mV of a corroded joint add 30 mohm in one direction and take them away in the other.
        let mut joint = bench(None, None);
        joint.asset = Netlist::new();
        joint.asset.add(Kind::V(6e-3, 0.0), "x", "PE").add(Kind::R(0.28), "x", "case");
        let minus = Room { way: Way::Minus, ..at(Clips::On("case".to_owned())) };
        near(joint.low_ohms(&at(Clips::On("case".to_owned()))).unwrap(), 0.311, 1e-4);
        near(joint.low_ohms(&minus).unwrap(), 0.371, 1e-4);
        let mut broken = bench(None, None);
        broken.asset = Netlist::new();
        assert!(broken.low_ohms(&at(Clips::On("case".to_owned()))).unwrap() > 1e9);
    }
}
