//! A capture file as it grows: line by line, each whole when it is written, up to a bound.

use std::io;

use crate::capture::escape;

/// Where the lines go.
pub(super) trait Sink {
    /// Puts text behind what is there.
    fn put(&mut self, text: &str) -> io::Result<()>;
    /// Makes what was put durable.
    fn sync(&mut self) -> io::Result<()>;
}

/// While bytes come, what was written is made durable this often, microseconds.
const SYNC_US: u64 = 1_000_000;

/// The file.
#[derive(Debug)]
pub(super) struct Tape<S> {
    sink: S,
    most: u64,
    bytes: u64,
    reads: u64,
    dirty: bool,
    synced_us: u64,
}

impl<S: Sink> Tape<S> {
    /// Begins with a header; at most so many bytes of the wire are taken.
    pub(super) fn begin(sink: S, head: &[(&str, String)], most: u64) -> io::Result<Tape<S>> {
        let mut tape = Tape { sink, most, bytes: 0, reads: 0, dirty: false, synced_us: 0 };
        let head: String = head.iter().map(|(key, text)| format!("# {key}: {text}\n")).collect();
        tape.put(&format!("{head}    0 ! open\n"))?;
        tape.sync()?;
        Ok(tape)
    }

    /// Takes what one read returned, so long after the beginning, microseconds. `false`: the bound
    /// is reached, and what lies beyond it was not taken.
    pub(super) fn take(&mut self, at_us: u64, bytes: &[u8]) -> io::Result<bool> {
        let room = usize::try_from(self.most - self.bytes).unwrap_or(usize::MAX);
        let taken = &bytes[..bytes.len().min(room)];
        if !taken.is_empty() {
            self.put(&format!("{:5} < {}\n", at_us / 1_000, escape(taken)))?;
            self.reads += 1;
            self.bytes += taken.len() as u64;
        }
        if at_us.saturating_sub(self.synced_us) >= SYNC_US {
            self.synced_us = at_us;
            self.sync()?;
        }
        Ok(self.bytes < self.most)
    }

    /// Makes what was taken durable.
    pub(super) fn sync(&mut self) -> io::Result<()> {
        self.sink.sync()?;
        self.dirty = false;
        Ok(())
    }

    /// Says when and how it ended.
    pub(super) fn end(&mut self, at_us: u64, why: &str) -> io::Result<()> {
        self.put(&format!("{:5} ! wait\n# ended: {why}\n", at_us / 1_000))?;
        self.sync()
    }

    /// Something is not durable yet.
    pub(super) fn is_dirty(&self) -> bool {
        self.dirty
    }

    /// Bytes of the wire so far.
    pub(super) fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Reads so far.
    pub(super) fn reads(&self) -> u64 {
        self.reads
    }

    fn put(&mut self, text: &str) -> io::Result<()> {
        self.dirty = true;
        self.sink.put(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Capture;

    #[derive(Debug, Default)]
    struct Paper {
        text: String,
        durable: usize,
    }

    impl Sink for Paper {
        fn put(&mut self, text: &str) -> io::Result<()> {
            self.text.push_str(text);
            Ok(())
        }

        fn sync(&mut self) -> io::Result<()> {
            self.durable = self.text.len();
            Ok(())
        }
    }

    fn tape(most: u64) -> Tape<Paper> {
        let head = [("kind", "meter".to_owned()), ("source", "made for this test".to_owned())];
        Tape::begin(Paper::default(), &head, most).unwrap()
    }

    #[test]
    fn what_is_taken_is_read_back_with_its_time_and_its_cuts() {
        let mut tape = tape(1_000);
        let all: Vec<u8> = (0..=255).collect();
        assert!(tape.take(10_999, b"R4 +0.1").unwrap());
        assert!(tape.is_dirty(), "it is synced once a second");
        assert!(tape.take(1_000_000, b"82 Ohm\r\n").unwrap());
        assert!(tape.take(86_400_000_000, &all).unwrap());
        assert!(!tape.is_dirty(), "a second went by");
        tape.end(86_400_500_000, "over").unwrap();
        assert_eq!(tape.sink.durable, tape.sink.text.len());
        let capture = Capture::read(&tape.sink.text).unwrap();
        let reads: Vec<(u64, &[u8])> = capture.reads().collect();
        let want: [(u64, &[u8]); 3] =
            [(10_000, b"R4 +0.1"), (1_000_000, b"82 Ohm\r\n"), (86_400_000_000, &all)];
        assert_eq!(reads, want);
        assert_eq!((tape.bytes(), tape.reads()), (7 + 8 + 256, 3));
    }

    #[test]
    fn it_is_durable_when_it_is_told_to_be_and_whole_at_any_line() {
        let mut tape = tape(1_000);
        assert_eq!(tape.sink.durable, tape.sink.text.len(), "the header");
        for n in 0..500 {
            tape.take(n * 30_000, b"x\n").unwrap();
            Capture::read(&tape.sink.text).unwrap();
            let lines = tape.sink.text[tape.sink.durable..].lines().count();
            assert!(lines <= 34, "a second of lines at most: {lines}");
        }
        tape.take(15_001_000, b"x\n").unwrap();
        assert!(tape.is_dirty(), "each line alone would wait for the disk each time");
        tape.sync().unwrap();
        assert!(!tape.is_dirty());
    }

    #[test]
    fn it_has_a_bound() {
        let mut tape = tape(10);
        assert!(tape.take(0, b"123456").unwrap());
        assert!(!tape.take(1_000, b"7890abc").unwrap());
        assert!(!tape.take(2_000, b"more").unwrap());
        assert_eq!(Capture::read(&tape.sink.text).unwrap().bytes(), b"1234567890");
        assert_eq!((tape.bytes(), tape.reads()), (10, 2));
    }
}
