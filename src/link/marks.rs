//! Bytes that the port saw damaged: the kernel's marks (termios(3), PARMRK).
//!
//! With PARMRK set the kernel gives a byte with a parity or framing error as `FF 00 byte`, a break
//! as `FF 00 00`, and a byte `FF` that was really sent as `FF FF`. A mark is left in the stream as
//! it is: it is what was heard, and no driver makes a reading of a piece that holds `FF 00`
//! (`tests/golden.rs`). Only the doubled `FF` is made one again.

/// Undoes the doubling, whatever the reads cut apart.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct Marks {
    state: State,
    damaged: u64,
}

#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
enum State {
    #[default]
    Plain,
    /// An `FF` was held back: what follows says what it is.
    Held,
    /// `FF 00` went by: the next byte is the damaged one, whatever it is.
    Damaged,
}

/// Room that [`Marks::take`] needs before the bytes: one may have been held back.
pub(super) const ROOM: usize = 1;

impl Marks {
    /// Takes `buffer[ROOM..ROOM + count]` and puts what is to be told at the front of `buffer`.
    /// Returns how many bytes that are: 0 where only one was held back.
    pub(super) fn take(&mut self, buffer: &mut [u8], count: usize) -> usize {
        let mut to = 0;
        for from in ROOM..ROOM + count {
            let byte = buffer[from];
            let told: &[u8] = match (self.state, byte) {
                (State::Plain, 0xff) => &[],
                (State::Held, 0xff) => &[0xff],
                (State::Held, byte) => &[0xff, byte],
                (State::Plain | State::Damaged, byte) => &[byte],
            };
            self.state = match (self.state, byte) {
                (State::Plain, 0xff) => State::Held,
                (State::Held, 0) => State::Damaged,
                _ => State::Plain,
            };
            self.damaged += u64::from(self.state == State::Damaged);
            buffer[to..to + told.len()].copy_from_slice(told);
            to += told.len();
        }
        to
    }

    /// How many bytes came damaged since the last call.
    pub(super) fn damaged(&mut self) -> u64 {
        std::mem::take(&mut self.damaged)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Everything that comes out, with these cuts.
    fn told(bytes: &[u8], cut: usize) -> (Vec<u8>, u64) {
        let (mut marks, mut out) = (Marks::default(), Vec::new());
        for part in bytes.chunks(cut) {
            let mut buffer = vec![0xaa; ROOM];
            buffer.extend(part);
            let count = marks.take(&mut buffer, part.len());
            out.extend(&buffer[..count]);
        }
        (out, marks.damaged())
    }

    // The forms stand in termios(3) under PARMRK.
    #[test]
    fn doubled_bytes_are_single_and_marks_stay() {
        for (bytes, want, damaged) in [
            (&b"R4 +0.182\r\n"[..], &b"R4 +0.182\r\n"[..], 0),
            (b"\xff\xff", b"\xff", 0),
            (b"a\xff\xff\xff\xffb", b"a\xff\xffb", 0),
            (b"0.\xff\x00\x31\x38\r", b"0.\xff\x00\x31\x38\r", 1),
            (b"\xff\x00\x00", b"\xff\x00\x00", 1),
            (b"\xff\x00\xff\xff\xff\x00\x41", b"\xff\x00\xff\xff\x00\x41", 1),
        ] {
            for cut in 1..=bytes.len() {
                // What is held back at the end waits for its second half.
                assert_eq!(told(bytes, cut), (want.to_vec(), damaged), "{bytes:x?} in {cut}");
            }
        }
    }
}
