//! Which network a voltage was read at, and what makes it a current.

use crate::register::Output;

/// A measuring network, by the terminals that the voltmeter is at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Network {
    /// IEC 60601-1 Figure 12.
    #[default]
    Fig12,
    /// IEC 60990 Figure 3: across its 500 ohm, not weighted.
    U1,
    /// IEC 60990 Figure 4: behind the weighting for perception and reaction.
    U2,
}

impl Network {
    /// By its word in the terms.
    #[must_use]
    pub fn of(word: &str) -> Option<Network> {
        match word {
            "iec60601_fig12" => Some(Network::Fig12),
            "iec60990_u1" => Some(Network::U1),
            "iec60990_u2" => Some(Network::U2),
            _ => None,
        }
    }

    /// Its terminals as the register writes them of a setup.
    #[must_use]
    pub fn output(self) -> Option<Output> {
        match self {
            Network::Fig12 => None,
            Network::U1 => Some(Output::U1),
            Network::U2 => Some(Output::U2),
        }
    }

    /// What the current is reckoned with, ohms.
    pub(crate) fn ohms(self) -> i128 {
        if self == Network::Fig12 { 1000 } else { 500 }
    }

    /// A limit's method is for these terminals. Weighted and unweighted ones never stand for each
    /// other, nor the network of one standard for that of the other.
    #[must_use]
    pub fn fits(self, method: &str) -> bool {
        self == match method {
            "u2_over_500" => Network::U2,
            "u1_over_500" | "u1_above_100_khz" => Network::U1,
            _ => Network::Fig12,
        }
    }
}
