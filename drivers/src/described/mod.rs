//! Drivers that are described by data: a listener whose frames and words stand in a file.
//!
//! Reading order: [`Description`] is all of it, [`pattern`] and [`fixed`] cut a frame into fields,
//! [`meaning`] says what the fields mean. Who reads the file checks it; nothing here believes that
//! it was checked well, and what is not wholly understood is a note. Such a driver only listens,
//! by its type.

pub mod fixed;
pub mod meaning;
pub mod pattern;
mod reader;
#[cfg(test)]
mod samples;
#[cfg(test)]
mod tests;

use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;

use crate::catalogue::Source;
use crate::driver::{Driver, Input, Never, Output};
use crate::frame::{MALFORMED, Said};
use crate::listen::Listener;
use crate::reading::Now;
use crate::wire::frames::{Frames, Look, Looks};
use crate::wire::lines::{Framing, Lines};
use fixed::Fixed;
use meaning::Meaning;
use pattern::Pattern;
use reader::FieldReader;

#[cfg(test)]
pub(crate) use samples::all as one_of_each;

/// Of the interpreter: raised whenever the same description and bytes give another output.
pub const VERSION: u32 = 1;

/// Most bytes of a line or frame.
pub const LONGEST: usize = 256;

/// A driver as it is described.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Description {
    /// Small letters, digits and `-`.
    pub name: String,
    /// What the instrument is, for people.
    pub what: String,
    /// How sure the layout is.
    pub source: Source,
    /// One conversion, milliseconds; 0 where readings come when something happens.
    pub period_ms: u32,
    /// Silence that ends a torn line or frame, microseconds.
    pub silence_us: u64,
    /// A value counts only when the frame before said the same.
    pub pair: bool,
    /// How frames are told apart and cut into fields.
    pub layout: Layout,
    /// What the fields mean.
    pub meaning: Meaning,
}

/// How frames are told apart and cut into fields.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Layout {
    /// Text that ends by CR LF (either alone, too) or by one byte.
    Line {
        /// What ends it.
        end: End,
        /// Most bytes, the end included.
        longest: usize,
        /// Its fields.
        pattern: Pattern,
    },
    /// Text between a beginning and an end.
    Between {
        /// What it begins with; stands nowhere inside.
        start: Vec<u8>,
        /// What it ends with.
        end: Vec<u8>,
        /// Most bytes, both included.
        longest: usize,
        /// Its fields.
        pattern: Pattern,
    },
    /// A fixed number of bytes.
    Fixed(Fixed),
}

/// What ends a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// CR LF; either alone does, too.
    CrLf,
    /// One byte.
    Byte(u8),
}

/// Each byte once, so that one of them can be borrowed for ever.
static BYTES: [u8; 256] = {
    let mut bytes = [0; 256];
    let mut at: u8 = 0;
    while at < 255 {
        bytes[at as usize] = at;
        at += 1;
    }
    bytes[255] = 255;
    bytes
};

impl End {
    fn bytes(self) -> &'static [u8] {
        match self {
            End::CrLf => b"\r\n",
            End::Byte(byte) => core::slice::from_ref(&BYTES[usize::from(byte)]),
        }
    }
}

impl Description {
    /// What a whole frame says: of a line what stands before its end.
    #[must_use]
    pub fn said(&self, frame: &[u8]) -> Said {
        let fields = match &self.layout {
            Layout::Line { pattern, .. } => pattern.fields(frame, &self.meaning),
            Layout::Between { start, end, pattern, .. } => {
                let inner = frame.strip_prefix(&start[..]).and_then(|f| f.strip_suffix(&end[..]));
                inner.and_then(|inner| pattern.fields(inner, &self.meaning))
            }
            Layout::Fixed(fixed) => fixed.fields(frame),
        };
        fields.map_or(MALFORMED, |fields| self.meaning.said(&fields))
    }
}

/// A description on its way through a stream: looks for frames.
#[derive(Debug, Clone)]
pub struct Described(Arc<Description>);

impl Looks for Described {
    fn look(&self, bytes: &[u8]) -> Look {
        match &self.0.layout {
            Layout::Line { .. } => Look::No,
            Layout::Between { start, end, longest, .. } => between(bytes, start, end, *longest),
            Layout::Fixed(fixed) => fixed.look(bytes),
        }
    }

    fn silence_us(&self) -> u64 {
        self.0.silence_us
    }
}

fn between(bytes: &[u8], start: &[u8], end: &[u8], longest: usize) -> Look {
    let Some(inner) = bytes.strip_prefix(start) else {
        return if start.starts_with(bytes) { Look::More } else { Look::No };
    };
    let place = |part: &[u8]| inner.windows(part.len().max(1)).position(|at| at == part);
    let length = place(end).map(|at| start.len() + at + end.len());
    let again = place(start).map(|at| start.len() + at + start.len());
    match (length, again) {
        (Some(length), again) if again.is_none_or(|again| length <= again) => {
            if length <= longest {
                Look::Frame(length)
            } else {
                Look::No
            }
        }
        (_, Some(_)) => Look::No,
        _ if bytes.len() >= longest => Look::No,
        _ => Look::More,
    }
}

/// A listen-only driver of a description.
#[derive(Debug)]
pub struct DescribedDriver {
    about: Arc<Description>,
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    Lines(Listener<Lines, FieldReader>),
    Frames(Listener<Frames<Described>, FieldReader>),
}

impl DescribedDriver {
    /// A fresh driver.
    #[must_use]
    pub fn new(about: Arc<Description>) -> DescribedDriver {
        let reader = FieldReader::new(about.clone());
        let kind = match &about.layout {
            Layout::Line { end, longest, .. } => {
                let (ends, longest) = (end.bytes(), (*longest).clamp(2, LONGEST));
                let silence_us = Some(about.silence_us);
                let framing = Framing { ends, silence_us, ..Framing::text(longest) };
                Kind::Lines(Listener::of(Lines::new(framing), reader))
            }
            _ => Kind::Frames(Listener::of(Frames::new(Described(about.clone())), reader)),
        };
        DescribedDriver { about, kind }
    }

    /// What it was made of.
    #[must_use]
    pub fn about(&self) -> &Description {
        &self.about
    }
}

impl Driver for DescribedDriver {
    type Sends = Never;

    fn handle(&mut self, now: Now, input: Input<'_>) {
        match &mut self.kind {
            Kind::Lines(driver) => driver.handle(now, input),
            Kind::Frames(driver) => driver.handle(now, input),
        }
    }

    fn poll(&mut self) -> Option<Output<Never>> {
        match &mut self.kind {
            Kind::Lines(driver) => driver.poll(),
            Kind::Frames(driver) => driver.poll(),
        }
    }

    fn deadline(&self) -> Option<Now> {
        match &self.kind {
            Kind::Lines(driver) => driver.deadline(),
            Kind::Frames(driver) => driver.deadline(),
        }
    }
}
