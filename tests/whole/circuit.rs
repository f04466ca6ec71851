//! What is connected to what, for every way in which a plan has the leads laid.

use std::collections::BTreeSet;

use super::ammeter::Around;
use super::figure4::Tap;
use tapline_demo::circuit::{EARTH, Kind, Netlist};
use tapline_demo::meter::Seen;
use tapline_protocols::register::{Asset, Class};

pub(super) const WIRE_OHM: f64 = 0.005;
const WIRE: Kind = Kind::R(WIRE_OHM);
pub(super) const HERTZ: f64 = 50.0;
/// Frequencies that a fault may add, hertz.
pub(super) const HARMONIC_HERTZ: f64 = 1e3;
pub(super) const HIGH_HERTZ: f64 = 150e3;
/// Resistance of the lead pair of the low-resistance meters, ohm.
const LEADS_OHM: f64 = 0.058;

/// The bench as the hands left it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Room {
    /// Names of switches that are not at rest: `S1 S5 S7 S10 supply source tester`.
    pub(crate) moved: BTreeSet<&'static str>,
    /// How the leads of the network or of the insulation tester lie: a key of the words.
    pub(crate) lead: String,
    pub(crate) point: Option<String>,
    pub(crate) part: Option<String>,
    /// Clips of the low-resistance meters and of the insulation tester.
    pub(crate) clips: Clips,
    /// The person forgets to switch the source on.
    pub(crate) no_source: bool,
    /// Where the lever of the test current really stands: `plus`, `minus`, else off.
    pub(crate) lever: &'static str,
    /// What the differential ammeter is really around.
    pub(crate) around: Around,
    /// The asset is plugged into the wall beside the box.
    pub(crate) wall: bool,
    /// The network that the leads go through, and where the voltmeter is at it.
    pub(crate) tap: Tap,
    /// The probe of the network lies on the earth of the box.
    pub(crate) on_earth: bool,
    /// On the part it touches nothing.
    pub(crate) in_the_air: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Clips {
    #[default]
    Open,
    Joined,
    Laid,
}

/// An asset with its circuit, and what is wrong with it.
#[derive(Debug, Clone)]
pub(crate) struct Thing {
    pub(crate) asset: Asset,
    /// Elements on top of what a sound asset of its kind has: kind, node, node.
    pub(crate) faults: Vec<(Kind, &'static str, &'static str)>,
    /// Resistance of its earth conductor, ohm.
    pub(crate) earth_ohm: f64,
    /// Supply, volt: of box and source.
    pub(crate) volts: f64,
}

impl Thing {
    fn connections(&self, part: &str) -> Vec<String> {
        let own = self.asset.applied_parts.iter().filter(|one| one.name == part);
        own.flat_map(|one| (1..=one.connections).map(move |n| format!("{}.{n}", one.name)))
            .collect()
    }

    /// A sound asset: filter capacitors, a load, an earth conductor, parts with a stray capacitance
    /// to the mains part that differs from connection to connection.
    fn netlist(&self, energised: bool) -> Netlist {
        let mut net = Netlist::new();
        let filter = if self.asset.class == Class::II { 0.3e-9 } else { 1e-9 };
        net.add(Kind::C(filter), "L", "case").add(Kind::C(filter), "N", "case");
        net.add(Kind::R(500.0), "L2", "N2").add(WIRE, "L", "L2").add(WIRE, "N", "N2");
        net.add(Kind::C(100e-12), "L2", "FE");
        if matches!(self.asset.class, Class::I | Class::System) {
            net.add(Kind::R(self.earth_ohm), "case", "PE");
        }
        for point in &self.asset.earthed_points {
            net.add(Kind::R(0.01), "case", point);
        }
        for part in &self.asset.accessible_parts {
            net.add(Kind::C(120e-12), "L2", part).add(Kind::C(90e-12), "N2", part);
            net.add(Kind::C(80e-12), part, "case");
        }
        for part in &self.asset.applied_parts {
            for (n, node) in self.connections(&part.name).iter().enumerate() {
                let stray = 40e-12 + 30e-12 * f64::from(u8::try_from(n).unwrap());
                net.add(Kind::C(stray), "L2", node).add(Kind::C(25e-12), "N2", node);
                net.add(Kind::C(60e-12), node, "case");
            }
        }
        // A current of its own flows while it is energised.
        let flows = |kind: &Kind| energised || !matches!(kind, Kind::I(..));
        for (kind, from, to) in self.faults.iter().filter(|(kind, ..)| flows(kind)) {
            net.add(*kind, from, to);
        }
        net
    }

    /// Nodes between which the leads lie, the one that a source drives last.
    fn ends(&self, room: &Room) -> (String, String) {
        let point = || room.point.clone().unwrap_or_else(|| "case".into());
        let part = room.part.clone().unwrap_or_default();
        let single = || format!("{part}.{}", room.point.as_deref().unwrap_or("1"));
        let joined = || self.connections(&part).first().cloned().unwrap_or_default();
        let pe = || String::from("PE");
        let earth = || String::from(EARTH);
        let accessible = || room.point.clone().unwrap_or_else(|| "case".into());
        match room.lead.as_str() {
            "pe.cord" => ("cord.a".into(), "cord.b".into()),
            lead if lead.starts_with("pe.") => (point(), pe()),
            "leak.box" => (pe(), earth()),
            "leak.case" => ("case".into(), earth()),
            "touch.part" | "touch.u1" | "touch.u2" | "touch.installed" => (point(), earth()),
            "part.direct" | "total.type" => (joined(), earth()),
            "part.single" => (single(), earth()),
            "auxiliary.single" => (single(), "others".into()),
            "part.from_source" | "total.from_source" => (joined(), "source".into()),
            "part.single_from_source" => (single(), "source".into()),
            "leak.alternative" if self.asset.class == Class::I => (pe(), "source".into()),
            "leak.alternative" => ("case".into(), "source".into()),
            "part.alternative" => (joined(), "source".into()),
            "part.single_alternative" => (single(), "source".into()),
            "insulation.mains_to_earth" => ("L".into(), pe()),
            "insulation.mains_to_accessible" => ("L".into(), accessible()),
            "insulation.mains_to_applied_part" => ("L".into(), joined()),
            "insulation.applied_part_to_earth" => (joined(), pe()),
            "leak.differential" | "" => ("nowhere".into(), earth()),
            other => panic!("nobody here knows how `{other}` lies"),
        }
    }

    /// Connections that the leads join.
    fn join(&self, net: &mut Netlist, room: &Room) {
        let part = room.part.clone().unwrap_or_default();
        let mut all: Vec<String> = match room.lead.as_str() {
            lead if lead.starts_with("total.") => {
                let own = self.asset.applied_parts.iter().find(|one| one.name == part);
                let kind = own.map(|one| one.part_type);
                let same =
                    self.asset.applied_parts.iter().filter(|one| Some(one.part_type) == kind);
                same.flat_map(|one| self.connections(&one.name)).collect()
            }
            "part.direct"
            | "part.from_source"
            | "part.alternative"
            | "insulation.mains_to_applied_part"
            | "insulation.applied_part_to_earth" => self.connections(&part),
            "auxiliary.single" => {
                let single = format!("{part}.{}", room.point.as_deref().unwrap_or("1"));
                let parts = self.asset.applied_parts.iter();
                let all = parts.flat_map(|one| self.connections(&one.name));
                all.filter(|node| *node != single).collect()
            }
            _ => Vec::new(),
        };
        if room.lead == "auxiliary.single" {
            all.insert(0, "others".into());
        }
        for pair in all.windows(2) {
            net.add(WIRE, &pair[0], &pair[1]);
        }
    }

    pub(super) fn bench(&self, room: &Room) -> Netlist {
        let on = |what| room.moved.contains(what);
        let mut net = self.netlist(on("supply"));
        net.add(Kind::V(self.volts, HERTZ), "m.L", "m.N").add(WIRE, "m.N", EARTH);
        net.add(Kind::R(0.04), "cord.a", "cord.b");
        let alternative = room.lead.contains("alternative") || room.lead.starts_with("insulation");
        if alternative {
            net.add(WIRE, "L", "N");
        } else {
            let (phase, neutral) = if on("S5") { ("w.2", "w.1") } else { ("w.1", "w.2") };
            if on("supply") {
                net.add(WIRE, "m.L", phase);
                if !on("S1") {
                    net.add(WIRE, "m.N", neutral);
                }
            }
            super::ammeter::window(&mut net, room);
            if !on("S7") {
                net.add(WIRE, "PE", EARTH);
            }
            if !on("S10") {
                net.add(WIRE, "FE", EARTH);
            }
        }
        self.source(&mut net, room, alternative);
        self.join(&mut net, room);
        net
    }

    /// The isolated source: from its one end through the network to the leads, its other end on
    /// earth or on the mains part. Off, it is open.
    fn source(&self, net: &mut Netlist, room: &Room, alternative: bool) {
        if room.moved.contains("source") && !room.no_source {
            let back = if alternative { "L" } else { EARTH };
            net.add(Kind::V(self.volts, HERTZ), "source", "source.r");
            net.add(Kind::R(10e3), "source.r", back);
        }
        if room.lead.starts_with("part.") && alternative {
            net.add(WIRE, "case", "L");
        }
    }

    fn network(&self, room: &Room) -> Netlist {
        let mut net = self.bench(room);
        let (one, other) = self.ends(room);
        room.tap.network(&mut net);
        let probe = match (room.on_earth, room.in_the_air) {
            (true, _) => EARTH,
            (false, true) => "air",
            (false, false) => &one,
        };
        net.add(WIRE, "n.in", probe).add(WIRE, "n.lo", &other);
        net
    }

    /// What the multimeter sees of the network.
    pub(crate) fn seen(&self, room: &Room) -> Seen {
        let mut net = self.network(room);
        let mut ohms = net.clone();
        net.add(Kind::R(10e6), "n.out", "n.lo").add(Kind::C(100e-12), "n.out", "n.lo");
        let at = |hertz| net.solve(hertz).unwrap().between("n.out", "n.lo");
        ohms.add(Kind::I(1e-4, 0.0), "n.lo", "n.out");
        let ohms = ohms.solve(0.0).unwrap().between("n.out", "n.lo") / 1e-4;
        let parts = [HERTZ, HARMONIC_HERTZ, HIGH_HERTZ].map(at);
        let ac_volts = parts.iter().map(|part| part * part).sum::<f64>().sqrt();
        let dc_volts = at(0.0);
        // At some moment all of them stand at their tops together.
        let peak_volts = parts.iter().sum::<f64>() * std::f64::consts::SQRT_2 + dc_volts.abs();
        Seen { ac_volts, dc_volts, peak_volts, ohms }
    }

    /// What a low-resistance meter shows, leads included; `None`: open.
    pub(crate) fn low_ohm(&self, room: &Room) -> Option<f64> {
        match room.clips {
            Clips::Open => None,
            Clips::Joined => Some(LEADS_OHM),
            Clips::Laid => {
                let (one, other) = self.ends(room);
                let mut net = self.bench(room);
                net.add(Kind::I(0.2, 0.0), &other, &one);
                Some(net.solve(0.0).unwrap().between(&one, &other) / 0.2 + LEADS_OHM)
            }
        }
    }

    /// Insulation, ohm.
    pub(crate) fn insulation(&self, room: &Room) -> f64 {
        match room.clips {
            Clips::Open => f64::INFINITY,
            Clips::Joined => 0.0,
            Clips::Laid => {
                let (one, other) = self.ends(room);
                let mut net = self.bench(room);
                net.add(Kind::I(1e-6, 0.0), &other, &one);
                net.solve(0.0).unwrap().between(&one, &other) / 1e-6
            }
        }
    }
}
