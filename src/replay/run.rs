//! One book on its way through drivers and inspection.

use std::collections::{BTreeMap, VecDeque};

use tapline_drivers::catalogue::is_scanner;
use tapline_drivers::{Now, Reading};
use tapline_protocols::Fact;
use tapline_protocols::fact::{In, LinkFact, Out, Read, ReadingId, Tap};
use tapline_protocols::inspection::Inspection;

use super::anew::Anew;
use super::report::Report;
use super::stream::{Seen, Stream, bytes_of};
use super::{derived, opening};
use crate::books::Line;
use crate::station::{Context, Described, RETUNE_MAX, read_of, read_of_contacts};

/// One book on its way through, line by line. What is held of an inspection are its facts without
/// the bytes, of a day of idle bytes nothing.
pub struct Run<'a> {
    context: &'a Context,
    report: Report,
    /// Facts so far that a program which starts again reads.
    kept: Vec<Line>,
    /// When the last line was made.
    last: Option<Now>,
    /// The inspection as it would be, where it differs.
    anew: Anew,
    /// It is an inspection, not an idle book.
    inspects: bool,
    prepared: bool,
    inspection: Inspection,
    streams: BTreeMap<String, Stream>,
    /// Described drivers that the book has told, by the SHA-256 of their texts.
    described: BTreeMap<String, Described>,
    /// What the next line must be, as it follows from the record.
    due: Option<Fact>,
    /// What readings led to and has not been seen yet.
    expected: VecDeque<Fact>,
}

impl<'a> Run<'a> {
    /// A book before its first line.
    #[must_use]
    pub fn new(context: &'a Context) -> Run<'a> {
        Run {
            context,
            report: Report::default(),
            kept: Vec::new(),
            last: None,
            anew: Anew::default(),
            inspects: false,
            prepared: false,
            inspection: Inspection::new(),
            streams: BTreeMap::new(),
            described: BTreeMap::new(),
            due: None,
            expected: VecDeque::new(),
        }
    }

    /// The next line.
    pub fn line(&mut self, line: &Line) {
        self.report.lines += 1;
        if self.inspects && !self.prepared && !opening(&line.fact) {
            self.prepare(line.seq);
            self.follow(self.last.unwrap_or(now(line)));
        }
        match &line.fact {
            Fact::Open(open) => {
                self.inspects = open.inspection.is_some();
                self.report.name.clone_from(&open.id);
                let asset = open.inspection.as_ref().map(|opened| opened.asset.clone());
                self.report.asset = asset;
                self.version(line.seq, &open.version, open.judge);
                self.apply(line);
            }
            Fact::Tap(tap) => self.tap(line, tap),
            Fact::In(recorded) => {
                self.bytes(line, recorded);
                self.apply(line);
            }
            Fact::Tick(tick) => {
                self.apply(line);
                self.late(line, &tick.link, |stream, at| stream.tick(at));
            }
            Fact::Out(out) => self.sent(line, out),
            _ if self.inspects => self.fact(line),
            _ => {}
        }
        self.last = Some(now(line));
        // Bytes change no record: what begins again never asks for them.
        if self.inspects && !matches!(line.fact, Fact::In(_) | Fact::Out(_) | Fact::Tick(_)) {
            self.kept.push(line.clone());
        }
    }

    /// What was found, once the book is through.
    #[must_use]
    pub fn end(mut self) -> Report {
        self.anew.tell(&mut self.report);
        for fact in self.due.take().into_iter().chain(std::mem::take(&mut self.expected)) {
            self.report.differs(None, "fact", Some(&fact), None);
        }
        self.report
    }

    fn version(&mut self, seq: u64, version: &str, judge: u32) {
        self.report.version(seq, "program", version, &self.context.version);
        self.report.version(seq, "judge", &judge.to_string(), &self.context.judge.to_string());
    }

    fn tap(&mut self, line: &Line, tap: &Tap) {
        self.described(line.seq, tap);
        let stream = Stream::new(tap, &self.described);
        let (was, is) = (tap.driver_version.to_string(), stream.version().to_string());
        // No byte of a scanner stands in an `in` line: nothing of it is done again here.
        if !is_scanner(&tap.driver) {
            self.report.version(line.seq, &tap.driver, &was, &is);
        }
        self.apply(line);
        self.streams.insert(tap.link.clone(), stream);
        self.late(line, &tap.link, |stream, at| stream.open(at));
        self.retune(now(line));
    }

    /// Keeps the text of a described driver; one that is not what the line says it is, or that
    /// this program can't read, is told.
    fn described(&mut self, seq: u64, tap: &Tap) {
        let (Some(sha256), Some(text)) = (&tap.driver_sha256, &tap.driver_text) else { return };
        match Described::read(text) {
            Ok(read) if read.sha256 == *sha256 && read.name() == tap.driver => {
                self.described.insert(sha256.clone(), read);
            }
            Ok(read) => {
                let now = (read.name(), &read.sha256);
                let then = (tap.driver.as_str(), sha256);
                self.report.differs(Some(seq), "driver", Some(&now), Some(&then));
            }
            Err(faults) => {
                let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
                self.report.differs(Some(seq), "driver", Some(&faults), None);
            }
        }
    }

    fn sent(&mut self, line: &Line, out: &Out) {
        let sent = self.streams.get_mut(&out.link).and_then(|stream| stream.sent.pop_front());
        self.report.compare(line.seq, "out", sent.as_ref(), Some(&out.raw));
        self.apply(line);
    }

    /// Facts that people caused are taken; facts that followed must follow again.
    fn fact(&mut self, line: &Line) {
        let followed = derived(&line.fact) && line.by.is_none();
        let predicted = match self.due.take() {
            Some(due) => Some(due),
            None if followed => self.expected.pop_front(),
            None => None,
        };
        if predicted.is_some() || followed {
            self.report.compare(line.seq, "fact", predicted.as_ref(), Some(&line.fact));
        }
        if let Fact::Resume(resume) = &line.fact {
            self.version(line.seq, &resume.version, resume.judge);
            if resume.after == "restart" {
                self.restart();
            }
        }
        if let Fact::Verdict(recorded) = &line.fact {
            self.anew.judged(line.seq, recorded, predicted.as_ref(), &self.inspection);
        }
        self.anew.follow(line, predicted.filter(|_| followed), followed, &self.inspection);
        self.apply(line);
        if let Fact::Link(link) = &line.fact {
            self.link(link, now(line));
        }
        if matches!(line.fact, Fact::Resume(_) | Fact::Given(_)) && self.prepared {
            self.prepare(line.seq);
        }
        self.follow(now(line));
    }

    /// A program that starts again knows what stands in the book and nothing else.
    fn restart(&mut self) {
        self.inspection = Inspection::new();
        self.streams.clear();
        self.expected.clear();
        for line in std::mem::take(&mut self.kept) {
            self.apply(&line);
            self.kept.push(line);
        }
    }

    fn link(&mut self, link: &LinkFact, at: Now) {
        let Some(stream) = self.streams.get_mut(&link.link) else { return };
        let instrument = stream.instrument.clone();
        match link.state.as_str() {
            "changed" => stream.changed = true,
            "down" => {
                self.streams.remove(&link.link);
            }
            _ => {
                stream.changed = false;
                return;
            }
        }
        if let Some(instrument) = instrument {
            self.expected.extend(self.inspection.link_lost(&instrument, at));
        }
    }

    fn apply(&mut self, line: &Line) {
        if self.inspects {
            self.inspection.apply(line.seq, now(line), &line.fact, line.by.as_deref());
        }
    }

    fn prepare(&mut self, seq: u64) {
        self.prepared = true;
        self.anew.prepare();
        if let Err(faults) = self.inspection.prepare() {
            let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
            self.report.differs(Some(seq), "plan", Some(&texts), None);
        }
    }

    fn follow(&mut self, at: Now) {
        let record = self.inspection.record();
        if !self.prepared || record.closed() || record.parked {
            return;
        }
        self.due = self.inspection.follow(at).into_iter().next();
        if self.due.is_none() {
            self.retune(at);
        }
    }

    /// Gives a stream an input without bytes; what it reads then stands in its next line.
    fn late(&mut self, line: &Line, link: &str, input: impl Fn(&mut Stream, Now) -> Vec<Seen>) {
        let Some(stream) = self.streams.get_mut(link) else { return };
        for seen in input(stream, now(line)) {
            match seen {
                Seen::Ready(..) => self.ready(link, &seen),
                Seen::Reading(..) | Seen::Contacts(_) => {
                    self.streams.get_mut(link).expect("found above").late.push(seen);
                }
            }
        }
    }

    fn ready(&mut self, link: &str, seen: &Seen) {
        let Seen::Ready(function, at) = seen else { return };
        let stream = self.streams.get(link).filter(|stream| !stream.changed);
        let instrument = stream.and_then(|stream| stream.instrument.clone());
        if let Some(instrument) = instrument.filter(|_| self.inspects) {
            self.inspection.configured(&instrument, *function, *at);
            self.retune(*at);
        }
    }

    fn bytes(&mut self, line: &Line, recorded: &In) {
        let Some(stream) = self.streams.get_mut(&recorded.link) else {
            return self.report.differs(Some(line.seq), "tap", None, Some(&recorded.link));
        };
        let offset = stream.offset;
        self.report.compare(line.seq, "offset", Some(&offset), Some(&recorded.at));
        let Some(bytes) = bytes_of(recorded, line.at.boot_us) else {
            return self.report.differs(Some(line.seq), "raw", None, Some(&recorded.raw));
        };
        let mut read = Vec::new();
        for seen in std::mem::take(&mut stream.late) {
            self.attach(line.seq, recorded, &mut read, &seen);
        }
        for (at, byte) in bytes {
            let stream = self.streams.get_mut(&recorded.link).expect("found above");
            for seen in stream.byte(at, byte) {
                self.attach(line.seq, recorded, &mut read, &seen);
            }
        }
        self.report.readings += read.len();
        let mut want = recorded.read.clone();
        if !self.inspects {
            // Whether it came idle or parked is no matter of an idle book.
            want.iter_mut().for_each(|read| read.why = None);
        }
        self.report.compare(line.seq, "read", Some(&read), Some(&want));
    }

    fn attach(&mut self, seq: u64, recorded: &In, read: &mut Vec<Read>, seen: &Seen) {
        let link = &recorded.link;
        match seen {
            Seen::Reading(reading, at) => {
                let id = (seq, u32::try_from(read.len()).unwrap_or(u32::MAX));
                let mut told = read_of(reading, recorded.at);
                let facts = self.reading(id, link, reading, &mut told);
                read.push(told);
                if facts.is_empty() {
                    self.retune(*at);
                }
                self.expected.extend(facts);
            }
            Seen::Contacts(contacts) => {
                read.push(read_of_contacts(contacts, recorded.at));
                if self.inspects {
                    self.expected.extend(self.inspection.contacts(link, contacts));
                }
            }
            Seen::Ready(..) => self.ready(link, seen),
        }
    }

    fn reading(
        &mut self,
        id: ReadingId,
        link: &str,
        reading: &Reading,
        told: &mut Read,
    ) -> Vec<Fact> {
        if !self.inspects {
            return Vec::new();
        }
        let stream = &self.streams[link];
        let Some(instrument) = stream.instrument.clone().filter(|_| !stream.changed) else {
            told.why = Some("unknown_instrument".into());
            return Vec::new();
        };
        let (place, facts) = self.inspection.reading(id, &instrument, reading);
        told.s = place.step;
        told.why = place.why.map(String::from);
        facts
    }

    /// What is wanted of polled instruments follows from the record, as it did then.
    fn retune(&mut self, at: Now) {
        if !self.prepared {
            return;
        }
        for _ in 0..RETUNE_MAX {
            let wants = self.inspection.wants();
            let next = self.streams.iter().find_map(|(link, stream)| {
                let want = stream.wanted(&wants);
                (stream.sends() && want != stream.want).then(|| (link.clone(), want))
            });
            let Some((link, want)) = next else { return };
            let stream = self.streams.get_mut(&link).expect("found above");
            for seen in stream.tell(at, want) {
                self.ready(&link, &seen);
            }
        }
    }
}

fn now(line: &Line) -> Now {
    Now(line.at.boot_us)
}
