//! What is connected to what.

use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The reference node: protective earth of the house.
pub const EARTH: &str = "earth";

/// Every node has this much to earth: insulation that exists on any real bench, and that gives
/// floating parts a defined voltage. Ohm.
pub(super) const BLEED_OHM: f64 = 1e12;

/// Most nodes of a netlist: what a bench with one asset needs, four times over.
pub(super) const NODES_MAX: usize = 128;

/// What an element is, in base units. Sources act at their own frequency; at any other a
/// voltage source is a short circuit and a current source is open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// Resistance, ohm, above zero.
    R(f64),
    /// Capacitance, farad, above zero.
    C(f64),
    /// Voltage of `from` against `to`, volt r.m.s., and its frequency, hertz (0 = dc).
    V(f64, f64),
    /// Current that the source pushes out of `to`, ampere r.m.s., and its frequency, hertz.
    I(f64, f64),
}

/// An element between two nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// What it is.
    pub kind: Kind,
    /// One end.
    pub from: String,
    /// The other end.
    pub to: String,
}

/// A circuit: elements between named nodes, one of which is [`EARTH`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Netlist {
    elements: Vec<Element>,
}

impl Netlist {
    /// No elements.
    #[must_use]
    pub fn new() -> Netlist {
        Netlist::default()
    }

    /// Adds an element. An element of both ends on one node carries nothing and is left out.
    pub fn add(&mut self, kind: Kind, from: &str, to: &str) -> &mut Netlist {
        if from != to {
            self.elements.push(Element { kind, from: from.to_owned(), to: to.to_owned() });
        }
        self
    }

    /// Without what only works while the asset is energised: its sources of current.
    #[must_use]
    pub fn quiet(&self) -> Netlist {
        let quiet = |element: &&Element| !matches!(element.kind, Kind::I(..));
        Netlist { elements: self.elements.iter().filter(quiet).cloned().collect() }
    }

    /// The elements in the order of adding.
    #[must_use]
    pub fn elements(&self) -> &[Element] {
        &self.elements
    }

    /// Every node but [`EARTH`], with its number from 0, in alphabetical order.
    #[must_use]
    pub fn nodes(&self) -> BTreeMap<&str, usize> {
        let ends = self.elements.iter().flat_map(|e| [e.from.as_str(), e.to.as_str()]);
        let mut nodes: BTreeMap<&str, usize> =
            ends.filter(|name| *name != EARTH).map(|name| (name, 0)).collect();
        for (number, (_, slot)) in nodes.iter_mut().enumerate() {
            *slot = number;
        }
        nodes
    }

    /// The circuit as a SPICE deck with one small-signal point at `hertz` (above 0) that prints
    /// the magnitude of each node's voltage, in the order of [`Netlist::nodes`].
    ///
    /// Nodes are numbered, as SPICE folds upper and lower case of names.
    #[must_use]
    pub fn spice(&self, hertz: f64) -> String {
        let nodes = self.nodes();
        let number = |name: &str| nodes.get(name).map_or(0, |n| n + 1);
        let mut deck = String::from("* circuit of a bench\n");
        for (i, Element { kind, from, to }) in self.elements.iter().enumerate() {
            let (a, b) = (number(from), number(to));
            let at = |source: f64, f: f64| if same(f, hertz) { source } else { 0.0 };
            let _ = match *kind {
                Kind::R(ohm) => writeln!(deck, "R{i} {a} {b} {ohm:e}"),
                Kind::C(farad) => writeln!(deck, "C{i} {a} {b} {farad:e}"),
                Kind::V(volt, f) => writeln!(deck, "V{i} {a} {b} dc 0 ac {:e}", at(volt, f)),
                Kind::I(ampere, f) => writeln!(deck, "I{i} {a} {b} dc 0 ac {:e}", at(ampere, f)),
            };
        }
        let _ = writeln!(deck, ".options rshunt={BLEED_OHM:e}");
        let _ = writeln!(deck, ".control\nset numdgt=12\nac lin 1 {hertz:e} {hertz:e}");
        for node in nodes.values() {
            let _ = writeln!(deck, "print mag(v({}))", node + 1);
        }
        deck.push_str(".endc\n.end\n");
        deck
    }
}

/// Two frequencies are one; both come from the same literals, so a small tolerance will do.
pub(super) fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nodes_are_numbered_and_earth_is_the_reference() {
        let mut net = Netlist::new();
        net.add(Kind::V(230.0, 50.0), "L", "N").add(Kind::R(0.1), "N", EARTH);
        net.add(Kind::R(1.0), "L", "L");
        assert_eq!(net.nodes().into_iter().collect::<Vec<_>>(), [("L", 0), ("N", 1)]);
        assert_eq!(net.elements().len(), 2, "an element on one node is left out");
        let deck = net.spice(50.0);
        assert!(deck.contains("V0 1 2 dc 0 ac 2.3e2\n"), "{deck}");
        assert!(deck.contains("R1 2 0 1e-1\n"), "{deck}");
        assert!(net.spice(1000.0).contains("V0 1 2 dc 0 ac 0e0\n"), "a short at 1 kHz");
    }
}
