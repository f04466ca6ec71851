//! What precedes the first energised step of most tests.

use super::bench::Bench;

impl Bench {
    /// Supply checked, leads nulled, looked at, protective earth proved in both directions.
    pub(super) fn reach_the_first_leakage(&mut self) {
        for _ in 0..2 {
            self.supply("226", "0.3", "225.8").unwrap();
        }
        self.null("0.061 Ohm", "-0.061 Ohm");
        self.answer("pass").unwrap();
        self.touch("0.182 Ohm");
        self.touch("-0.190 Ohm");
    }
}
