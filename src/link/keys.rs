//! Barcode scanners that type: `struct input_event` records in, codes out.
//!
//! A code is handed over whole, with a CR, when its Enter or Tab was typed; the driver of scanners
//! reads it as if it came over a line. A code that may not be what was scanned is never handed
//! over: events were lost, a key has no character, or the keys came as slowly as a person types.
//! In its place goes a control byte, which the driver refuses, so that whoever scanned is told.

use std::io;
use std::os::fd::OwnedFd;
use std::path::Path;

use rustix::fs::{FileType, Mode, OFlags, fstat};
use rustix::io::Errno;
use tokio::io::AsyncReadExt;
use tokio::net::unix::pipe::Receiver;

use super::keymap::{Levels, character, pad};
use super::{LinkError, evdev};
use crate::config::Layout;

/// Keys further apart than this were not typed by a scanner, microseconds.
const GAP_US: u64 = 50_000;
/// Longest code, bytes; the driver's own bound is this with the end.
const LONGEST: usize = 4095;
/// What is handed over in place of a code that can't be believed.
const LOST: &[u8] = b"\0\r";

// <linux/input-event-codes.h>
const EV_SYN: u16 = 0;
const EV_KEY: u16 = 1;
const SYN_DROPPED: u16 = 3;
const TAB: u16 = 15;
const ENTER: u16 = 28;
const PAD_ENTER: u16 = 96;
const SHIFTS: [u16; 2] = [42, 54];
const CONTROLS: [u16; 2] = [29, 97];
const ALT: u16 = 56;
const ALT_GR: u16 = 100;
const CAPS: u16 = 58;
const NUM_LOCK: u16 = 69;

/// One event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Event {
    /// By the kernel's clock, microseconds.
    at_us: u64,
    kind: u16,
    code: u16,
    value: i32,
}

/// A word of the kernel's `struct input_event`: seconds and microseconds are one each.
const WORD: usize = size_of::<std::ffi::c_long>();
/// Size of one event.
const EVENT_BYTES: usize = 2 * WORD + 8;

#[allow(clippy::host_endian_bytes, reason = "the kernel writes its own order")]
fn event(bytes: &[u8; EVENT_BYTES]) -> Event {
    let word = |at: usize| {
        let mut wide = [0; 8];
        if cfg!(target_endian = "big") {
            wide[8 - WORD..].copy_from_slice(&bytes[at..at + WORD]);
        } else {
            wide[..WORD].copy_from_slice(&bytes[at..at + WORD]);
        }
        u64::from_ne_bytes(wide)
    };
    let [.., k0, k1, c0, c1, v0, v1, v2, v3] = *bytes;
    Event {
        at_us: word(0).wrapping_mul(1_000_000).wrapping_add(word(WORD)),
        kind: u16::from_ne_bytes([k0, k1]),
        code: u16::from_ne_bytes([c0, c1]),
        value: i32::from_ne_bytes([v0, v1, v2, v3]),
    }
}

/// What has been typed. Pure: events carry their time.
#[derive(Debug)]
struct Typist {
    layout: Layout,
    typed: Vec<u8>,
    last_us: Option<u64>,
    /// Why what is being typed is no code.
    lost: Option<&'static str>,
    levels: Levels,
    control: bool,
    /// Digits that were typed on the pad while Alt was held down.
    number: Option<u32>,
}

impl Typist {
    fn new(layout: Layout) -> Typist {
        Typist {
            layout,
            typed: Vec::new(),
            last_us: None,
            lost: None,
            levels: Levels::default(),
            control: false,
            number: None,
        }
    }

    /// Takes an event. At the end of a code: what is to be handed over, and why it is no code.
    fn take(&mut self, event: Event) -> Option<(Vec<u8>, Option<&'static str>)> {
        match (event.kind, event.code, event.value) {
            (EV_SYN, SYN_DROPPED, _) => self.lose("events were lost"),
            // Held keys repeat (2): that is not a key that was struck.
            (EV_KEY, code, value @ 0..=1) => return self.key(code, value == 1, event.at_us),
            _ => {}
        }
        None
    }

    fn key(
        &mut self,
        code: u16,
        down: bool,
        at_us: u64,
    ) -> Option<(Vec<u8>, Option<&'static str>)> {
        match code {
            _ if SHIFTS.contains(&code) => self.levels.shift = down,
            _ if CONTROLS.contains(&code) => self.control = down,
            ALT_GR if self.layout == Layout::De => self.levels.third = down,
            ALT | ALT_GR => self.alt(down),
            CAPS if down => self.levels.caps = !self.levels.caps,
            CAPS | NUM_LOCK => {}
            _ if !down => {}
            ENTER | PAD_ENTER | TAB => return self.end(at_us),
            code => self.struck(code, at_us),
        }
        None
    }

    fn struck(&mut self, code: u16, at_us: u64) {
        self.pace(at_us);
        if let Some(number) = self.number {
            let digit = pad(code).filter(u8::is_ascii_digit);
            let next = digit.map(|digit| number * 10 + u32::from(digit - b'0'));
            self.number = next.filter(|next| *next <= 255);
            if self.number.is_none() {
                self.lose("a key without a character");
            }
            return;
        }
        match character(self.layout, code, self.levels) {
            // Control with a key is a control byte: scanners send the separator of GS1 so.
            Some(byte) if self.control && (b'@'..=b'~').contains(&byte) => self.push(byte & 0x1f),
            Some(byte) if !self.control => self.push(byte),
            _ => self.lose("a key without a character"),
        }
    }

    /// Alt and a number on the pad give the byte of that number, in any layout.
    fn alt(&mut self, down: bool) {
        if down {
            self.number = Some(0);
        } else if let Some(number) = self.number.take() {
            match u8::try_from(number) {
                Ok(byte @ 1..) => self.push(byte),
                _ => self.lose("a key without a character"),
            }
        }
    }

    fn push(&mut self, byte: u8) {
        match byte {
            // Handed over inside of a code, these would end it too early.
            b'\r' | b'\n' | b'\t' => self.lose("an end within the code"),
            _ if self.typed.len() == LONGEST => self.lose("longer than any code"),
            byte => self.typed.push(byte),
        }
    }

    fn pace(&mut self, at_us: u64) {
        let gap = self.last_us.replace(at_us).map(|last| at_us.abs_diff(last));
        if gap.is_some_and(|gap| gap > GAP_US) {
            self.lose("typed as slowly as a person types");
        }
    }

    fn lose(&mut self, why: &'static str) {
        self.lost.get_or_insert(why);
        self.typed.clear();
    }

    fn end(&mut self, at_us: u64) -> Option<(Vec<u8>, Option<&'static str>)> {
        let nothing = self.last_us.is_none() && self.lost.is_none();
        self.pace(at_us);
        let (typed, lost) = (std::mem::take(&mut self.typed), self.lost);
        // What was held when events were lost is not known: a code begins with nothing held.
        *self = Typist { levels: self.levels, control: self.control, ..Typist::new(self.layout) };
        if lost.is_some() {
            (self.levels, self.control) = (Levels::default(), false);
        }
        match lost {
            _ if nothing => None,
            Some(why) => Some((LOST.to_vec(), Some(why))),
            None => Some(([&typed[..], b"\r"].concat(), None)),
        }
    }
}

/// The input node of a scanner, taken for us alone.
#[derive(Debug)]
pub(super) struct Keys {
    file: Receiver,
    name: String,
    typist: Typist,
    /// Bytes of an event that was cut apart: only a pipe does that.
    held: Vec<u8>,
    /// What is still to be handed over.
    ready: Vec<u8>,
}

impl Keys {
    /// Opens an input node and takes it for us alone: otherwise each code would be typed into
    /// whatever window has the focus. A pipe of events needs no taking.
    pub(super) fn open(path: &Path, layout: Layout) -> Result<Keys, LinkError> {
        let open = || {
            let flags = OFlags::RDONLY | OFlags::NONBLOCK | OFlags::CLOEXEC;
            let file: OwnedFd = rustix::fs::open(path, flags, Mode::empty())?;
            if FileType::from_raw_mode(fstat(&file)?.st_mode) != FileType::Fifo {
                evdev::grab(&file)?;
            }
            Receiver::from_owned_fd_unchecked(file)
        };
        let file = open().map_err(|error: io::Error| match Errno::from_io_error(&error) {
            Some(Errno::NOTTY | Errno::INVAL) => LinkError::Failed {
                port: path.display().to_string(),
                why: "it is no input node; look in /dev/input/by-id for one that ends in \
                      `event-kbd`"
                    .to_owned(),
            },
            _ => LinkError::of(path, &error),
        })?;
        tracing::info!(port = %path.display(), ?layout, "Took a scanner that types.");
        let typist = Typist::new(layout);
        let name = path.display().to_string();
        Ok(Keys { file, name, typist, held: Vec::new(), ready: Vec::new() })
    }

    /// Reads until codes are whole, and gives as much of them as fits; 0 means gone. Cancel safe.
    pub(super) async fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut events = [0; 64 * EVENT_BYTES];
        while self.ready.is_empty() {
            let count = self.file.read(&mut events).await?;
            if count == 0 {
                return Ok(0);
            }
            self.take(&events[..count]);
        }
        let count = self.ready.len().min(buffer.len());
        buffer[..count].copy_from_slice(&self.ready[..count]);
        self.ready.drain(..count);
        Ok(count)
    }

    fn take(&mut self, bytes: &[u8]) {
        self.held.extend(bytes);
        let (whole, rest) = self.held.as_chunks::<EVENT_BYTES>();
        for bytes in whole {
            let Some((code, lost)) = self.typist.take(event(bytes)) else { continue };
            if let Some(why) = lost {
                // Not what was typed: it may be a patient's.
                tracing::warn!(port = self.name, why, "A code was not taken.");
            }
            self.ready.extend(code);
        }
        self.held = rest.to_vec();
    }
}

#[cfg(test)]
mod tests;
