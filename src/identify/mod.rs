//! What speaks on a serial port: listen first, through a bounded list of line settings.
//!
//! **Law.** Listening opens the port for reading only. What may be sent, and when, is in [`ask`]
//! and [`permit()`] alone: two harmless queries, and only after the person has said that the
//! instrument can't put out a voltage.

pub mod ask;
pub mod described;
pub mod fragment;
mod permit;
pub mod style;

use std::io;
use std::pin::pin;
use std::time::Duration;

use tokio::time::sleep;

use crate::clock;
use crate::config::{Bits, Flow, Line, Parity};
use crate::link::{Ear, READ_BYTES_MAX};

pub use permit::{Permit, permit};

/// Line settings that are customary, the commonest first. Common practice, no source.
pub const SETTINGS: [(u32, &str); 14] = [
    (9600, "8N1"),
    (2400, "8N1"),
    (19_200, "8N1"),
    (115_200, "8N1"),
    (4800, "8N1"),
    (38_400, "8N1"),
    (57_600, "8N1"),
    (1200, "8N1"),
    (2400, "7O1"),
    (19_230, "7O1"),
    (9600, "7E1"),
    (1200, "7N2"),
    (600, "7N2"),
    (300, "8N1"),
];

/// Most bytes that are kept of one setting.
pub const HEARD_MAX: usize = 16 << 10;

/// What was heard at one setting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// The setting.
    pub line: Line,
    /// Pieces, each with the moment of its read: microseconds of the boot-time clock.
    pub reads: Vec<(u64, Vec<u8>)>,
    /// When the last byte was waited for no longer.
    pub until_us: u64,
}

impl Heard {
    /// All bytes in a row.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        self.reads.iter().flat_map(|(_, bytes)| bytes.iter().copied()).collect()
    }
}

/// A setting as it stands in the configuration: `9600`, `8N1`.
#[must_use]
pub fn setting(baud: u32, bits: &str) -> Option<Line> {
    let usual = Line {
        baud,
        bits: Bits { data: 8, parity: Parity::None, stop: 1 },
        dtr: true,
        rts: false,
        flow: Flow::None,
    };
    let baud = (50..=4_000_000).contains(&baud);
    Bits::parse(bits).filter(|_| baud).map(|bits| Line { bits, ..usual })
}

/// Listens at one setting for a time, or until `enough` says that it was enough. It is asked
/// after each read.
///
/// # Errors
/// The port is gone.
pub async fn listen(
    ear: &mut Ear,
    line: Line,
    time: Duration,
    enough: impl Fn(&Heard) -> bool,
) -> io::Result<Heard> {
    ear.tune(&line)?;
    let mut over = pin!(sleep(time));
    let mut heard = Heard { line, reads: Vec::new(), until_us: 0 };
    let mut buffer = vec![0; READ_BYTES_MAX];
    let mut room = HEARD_MAX;
    while room > 0 {
        let most = room.min(buffer.len());
        let count = tokio::select! {
            read = ear.read(&mut buffer[..most]) => read?,
            () = &mut over => break,
        };
        if count == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        heard.until_us = clock::now().boot_us;
        heard.reads.push((heard.until_us, buffer[..count].to_vec()));
        room -= count;
        if enough(&heard) {
            return Ok(heard);
        }
    }
    heard.until_us = clock::now().boot_us;
    Ok(heard)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_setting_of_the_list_can_be_set_and_none_stands_twice() {
        let all: Vec<Line> =
            SETTINGS.iter().map(|(baud, bits)| setting(*baud, bits).unwrap()).collect();
        for (n, one) in all.iter().enumerate() {
            assert!(!all[..n].contains(one), "{one:?}");
        }
        assert_eq!(setting(9600, "9N1"), None);
        assert_eq!(setting(1, "8N1"), None);
    }
}
