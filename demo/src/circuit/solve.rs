//! Modified nodal analysis: node voltages and source currents by Gaussian elimination.

use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::fmt;

use super::complex::Complex;
use super::netlist::{BLEED_OHM, EARTH, Kind, NODES_MAX, Netlist, same};

/// A circuit that has no solution: two voltage sources across one pair of nodes, or more than
/// 128 nodes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Singular;

impl fmt::Display for Singular {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(
            "the circuit has no solution: look for two sources across the same nodes, \
                     and for more than 128 nodes",
        )
    }
}

impl std::error::Error for Singular {}

/// Node voltages at one frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    volts: BTreeMap<String, Complex>,
}

impl Solution {
    /// Voltage of a node against [`EARTH`]; zero for `EARTH` and for a node that nothing joins.
    #[must_use]
    pub fn at(&self, node: &str) -> Complex {
        self.volts.get(node).copied().unwrap_or(Complex::ZERO)
    }

    /// Magnitude of the voltage between two nodes, volt.
    #[must_use]
    pub fn between(&self, a: &str, b: &str) -> f64 {
        (self.at(a) - self.at(b)).magnitude()
    }
}

impl Netlist {
    /// Solves the circuit at `hertz`; 0 is dc: capacitors are open.
    ///
    /// # Errors
    /// [`Singular`].
    pub fn solve(&self, hertz: f64) -> Result<Solution, Singular> {
        let nodes = self.nodes();
        let sources = self.elements().iter().filter(|e| matches!(e.kind, Kind::V(..))).count();
        if nodes.len() > NODES_MAX {
            return Err(Singular);
        }
        let mut matrix = Matrix::new(nodes.len() + sources);
        for node in 0..nodes.len() {
            matrix.admittance(Some(node), None, Complex::real(1.0 / BLEED_OHM));
        }
        let mut row = nodes.len();
        for element in self.elements() {
            let end = |name: &str| nodes.get(name).copied();
            let (a, b) = (end(&element.from), end(&element.to));
            debug_assert!(element.from == EARTH || a.is_some(), "every end is numbered");
            match element.kind {
                Kind::R(ohm) => matrix.admittance(a, b, Complex::real(1.0 / ohm)),
                Kind::C(farad) => {
                    matrix.admittance(a, b, Complex { re: 0.0, im: TAU * hertz * farad });
                }
                Kind::V(volt, f) => {
                    matrix.source(row, a, b, if same(f, hertz) { volt } else { 0.0 });
                    row += 1;
                }
                Kind::I(ampere, f) if same(f, hertz) => matrix.current(a, b, ampere),
                Kind::I(..) => {}
            }
        }
        let solved = matrix.eliminate()?;
        let volts = nodes.into_iter().map(|(name, n)| (name.to_owned(), solved[n])).collect();
        Ok(Solution { volts })
    }
}

/// A square system with its right-hand side.
struct Matrix {
    rows: Vec<Vec<Complex>>,
    right: Vec<Complex>,
}

impl Matrix {
    fn new(size: usize) -> Matrix {
        Matrix { rows: vec![vec![Complex::ZERO; size]; size], right: vec![Complex::ZERO; size] }
    }

    fn add(&mut self, row: Option<usize>, column: Option<usize>, value: Complex) {
        if let (Some(row), Some(column)) = (row, column) {
            self.rows[row][column] = self.rows[row][column] + value;
        }
    }

    fn admittance(&mut self, a: Option<usize>, b: Option<usize>, y: Complex) {
        self.add(a, a, y);
        self.add(b, b, y);
        self.add(a, b, -y);
        self.add(b, a, -y);
    }

    fn source(&mut self, row: usize, a: Option<usize>, b: Option<usize>, volt: f64) {
        for (end, sign) in [(a, Complex::ONE), (b, -Complex::ONE)] {
            self.add(Some(row), end, sign);
            self.add(end, Some(row), sign);
        }
        self.right[row] = Complex::real(volt);
    }

    fn current(&mut self, a: Option<usize>, b: Option<usize>, ampere: f64) {
        for (end, sign) in [(a, -1.0), (b, 1.0)] {
            if let Some(end) = end {
                self.right[end] = self.right[end] + Complex::real(sign * ampere);
            }
        }
    }

    /// Gaussian elimination with the largest pivot of each column.
    fn eliminate(mut self) -> Result<Vec<Complex>, Singular> {
        let size = self.right.len();
        for column in 0..size {
            let magnitude = |row: &usize| self.rows[*row][column].magnitude();
            let pivot = (column..size)
                .max_by(|a, b| magnitude(a).total_cmp(&magnitude(b)))
                .filter(|row| magnitude(row) > 1e-15)
                .ok_or(Singular)?;
            self.rows.swap(column, pivot);
            self.right.swap(column, pivot);
            for row in column + 1..size {
                self.reduce(row, column);
            }
        }
        for row in (0..size).rev() {
            let known = (row + 1..size)
                .fold(Complex::ZERO, |sum, k| sum + self.rows[row][k] * self.right[k]);
            self.right[row] = (self.right[row] - known) / self.rows[row][row];
        }
        Ok(self.right)
    }

    fn reduce(&mut self, row: usize, column: usize) {
        let factor = self.rows[row][column] / self.rows[column][column];
        if factor == Complex::ZERO {
            return;
        }
        for k in column..self.right.len() {
            self.rows[row][k] = self.rows[row][k] - factor * self.rows[column][k];
        }
        self.right[row] = self.right[row] - factor * self.right[column];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, want: f64, share: f64) {
        assert!((got - want).abs() <= want.abs() * share, "{got} is not {want}");
    }

    #[test]
    fn a_divider_and_a_low_pass_are_what_the_formulas_say() {
        let mut net = Netlist::new();
        net.add(Kind::V(10.0, 0.0), "in", EARTH);
        net.add(Kind::R(1e3), "in", "out").add(Kind::R(3e3), "out", EARTH);
        close(net.solve(0.0).unwrap().between("out", EARTH), 7.5, 1e-8);
        let mut net = Netlist::new();
        net.add(Kind::V(1.0, 1e3), "in", EARTH);
        net.add(Kind::R(1e3), "in", "out").add(Kind::C(1e-7), "out", EARTH);
        // |1 / (1 + j w R C)|
        let want = 1.0 / 1.0f64.hypot(TAU * 1e3 * 1e3 * 1e-7);
        close(net.solve(1e3).unwrap().between("out", EARTH), want, 1e-8);
        close(net.solve(50.0).unwrap().between("in", EARTH) + 1.0, 1.0, 1e-9);
    }

    #[test]
    fn a_current_source_drives_out_of_its_second_end() {
        let mut net = Netlist::new();
        net.add(Kind::I(0.2, 0.0), EARTH, "clip").add(Kind::R(0.25), "clip", EARTH);
        close(net.solve(0.0).unwrap().at("clip").re, 0.05, 1e-9);
        close(net.solve(50.0).unwrap().at("clip").re + 1.0, 1.0, 1e-9);
    }

    #[test]
    fn floating_nodes_have_a_voltage_and_fighting_sources_are_refused() {
        let mut net = Netlist::new();
        net.add(Kind::V(230.0, 50.0), "a", "b");
        close(net.solve(50.0).unwrap().between("a", "b"), 230.0, 1e-9);
        net.add(Kind::V(100.0, 50.0), "a", "b");
        assert_eq!(net.solve(50.0), Err(Singular));
    }
}
