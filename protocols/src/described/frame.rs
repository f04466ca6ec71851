//! `[frame]` and `line`: where a line or frame begins and ends.

use alloc::string::String;
use alloc::vec::Vec;

use tapline_drivers::described::{End, LONGEST};

use crate::read::Form;

/// Most bytes of a mark at the beginning or end of a frame.
const MARK_MAX: usize = 8;

/// How frames are cut out.
pub(super) enum Cut {
    Line { end: End },
    Between { start: Vec<u8>, end: Vec<u8> },
    Fixed { length: usize, start: Vec<u8>, end: Vec<u8> },
}

/// What stands in `[frame]`.
pub(super) struct Framed {
    pub cut: Cut,
    /// Most bytes of a frame.
    pub longest: usize,
    /// Bytes of a frame that are in no pattern.
    pub around: usize,
    pub silence_us: u64,
}

pub(super) fn frame(mut form: Form<'_, '_>) -> Option<Framed> {
    let most = u32::try_from(LONGEST).unwrap_or(u32::MAX);
    let length = form.may("length").map(|v| v.count(2..=most));
    let start = form.may("start").map(|v| v.bytes(MARK_MAX));
    let end = form.may("end").map(|v| (v.bytes(MARK_MAX), v));
    let longest = form.may("longest").map(|v| (v.count(2..=most), v));
    let silence = form.may("silence_ms").map(|v| v.count(5..=5_000));
    let usual = if start.is_none() && length.is_none() { 200 } else { 50 };
    let silence_us = u64::from(silence.unwrap_or(Some(usual))?) * 1_000;
    let framed = |cut, longest, around| Framed { cut, longest, around, silence_us };
    if let Some(length) = length {
        if let Some((_, value)) = &longest {
            value.fault::<()>("a frame of a fixed length has that length: leave it out".into());
        }
        form.finish();
        let length = length?;
        let start = start.unwrap_or(Some(Vec::new()))?;
        let end = end.map_or(Some(Vec::new()), |(end, _)| end)?;
        let length = usize::try_from(length).ok()?;
        return Some(framed(Cut::Fixed { length, start, end }, length, 0));
    }
    if longest.is_none() {
        form.fault("longest", "is missing: the most bytes of a line, its end included".into());
    }
    let Some((end, value)) = end else {
        form.fault("", "needs `end`, `length`, or `start` and `end`".into());
        form.finish();
        return None;
    };
    form.finish();
    let (end, (longest, _)) = (end?, longest?);
    let longest = usize::try_from(longest?).ok()?;
    if let Some(start) = start {
        let start = start?;
        let around = start.len() + end.len();
        return Some(framed(Cut::Between { start, end }, longest, around));
    }
    let cut = match end.as_slice() {
        b"\r\n" => End::CrLf,
        [byte] => End::Byte(*byte),
        _ => {
            let why = "a line ends by \"\\r\\n\" or by one byte: put what stands before it into \
                       the pattern";
            return value.fault(why.into());
        }
    };
    Some(framed(Cut::Line { end: cut }, longest, end.len()))
}

/// Settings of the port, for people and for whoever looks for the instrument: the baud rate and
/// the bits.
pub(super) fn line(mut form: Form<'_, '_>) -> Option<(u32, String)> {
    let baud = form.need("baud").and_then(|baud| baud.count(50..=4_000_000));
    let bits = form.need("bits").and_then(|bits| {
        let all: Vec<String> = ["7", "8"]
            .iter()
            .flat_map(|data| ["N", "E", "O"].map(|parity| (data, parity)))
            .flat_map(|(data, parity)| {
                ["1", "2"].map(|stop| alloc::format!("{data}{parity}{stop}"))
            })
            .collect();
        let all: Vec<&str> = all.iter().map(String::as_str).collect();
        bits.one_of(&all)
    });
    for key in ["dtr", "rts"] {
        let _ = form.may(key).and_then(|value| value.flag());
    }
    let _ = form.may("flow").and_then(|v| v.one_of(&["none", "software", "hardware"]));
    form.finish();
    Some((baud?, bits?))
}
