//! Bytes come in: stamped, understood, attached.
//!
//! A link's bytes go to the active inspection of its bench, else to the idle book of the day.
//! Each change of book is a `tap`: a fresh driver, a stream that counts from zero.

use tapline_drivers::driver::{Input, Message, Output};
use tapline_drivers::reading::{Contacts, Function, Identity, Now, Reading};
use tapline_protocols::Fact;
use tapline_protocols::fact::{LinkFact, Out, Read, Tap, Tick};

use super::bench::Left;
use super::core::Core;
use super::event::{BookId, Effect};
use super::pending::{Pending, read_of, read_of_contacts};
use super::settings::{LinkSettings, may_send};
use super::wire::Wire;
use crate::books::line::raw_text;
use crate::clock::Stamp;

/// Rounds of telling instruments what is wanted; each answer may change what is wanted next.
pub const RETUNE_MAX: usize = 16;

impl Core {
    /// One read of a link. Bytes of a link that nobody knows are the caller's mistake and dropped.
    pub(super) fn bytes(&mut self, link: &str, at: Stamp, bytes: &[u8]) {
        match self.links.get(link) {
            None => return,
            Some(known) if !known.up => self.link_up(link, at),
            Some(_) => self.turn_day(link, at),
        }
        self.links.get_mut(link).expect("looked up above").heard();
        let mut rest = bytes;
        while !rest.is_empty() {
            self.apart(link, at);
            let (taken, output) = self.take(link, at, rest, rest.len() == bytes.len());
            rest = &rest[taken..];
            if let Some(output) = output {
                self.output(link, at, output);
                self.outputs(link, at);
            }
            if self.links[link].pending.as_ref().is_some_and(Pending::is_full) {
                self.close_pending();
            }
        }
    }

    /// Takes bytes up to the first that says something or fills the line: between those nothing
    /// can change but the link itself, which is looked up once. Returns how many it took.
    fn take(
        &mut self,
        link: &str,
        at: Stamp,
        bytes: &[u8],
        first: bool,
    ) -> (usize, Option<Output<Message>>) {
        let known = self.links.get_mut(link).expect("checked by the caller");
        let scanner = known.is_scanner();
        for (n, byte) in bytes.iter().enumerate() {
            if !scanner {
                known.pend(&mut self.seq, at).push(*byte, at, first && n == 0);
                known.offset += 1;
            }
            let output = known.wire.as_mut().and_then(|wire| {
                wire.handle(Now(at.boot_us), Input::Bytes(&[*byte]));
                wire.poll()
            });
            if output.is_some() || known.pending.as_ref().is_some_and(Pending::is_full) {
                return (n + 1, output);
            }
        }
        (bytes.len(), None)
    }

    /// A read that waited while a tick was handled is older than the line that the tick began:
    /// it begins a line of its own and keeps its stamp.
    fn apart(&mut self, link: &str, at: Stamp) {
        let pending = self.links[link].pending.as_ref();
        if pending.is_some_and(|pending| at.boot_us < pending.at.boot_us) {
            self.close_pending();
        }
    }

    /// The line that a link's bytes go to; taking its number is what begins it.
    fn pend(&mut self, link: &str, at: Stamp) -> &mut Pending {
        let known = self.links.get_mut(link).expect("checked by the caller");
        known.pend(&mut self.seq, at)
    }

    pub(super) fn feed(&mut self, link: &str, at: Stamp, input: Input<'_>) {
        let now = Now(at.boot_us);
        let known = self.links.get_mut(link).expect("checked by the caller");
        if let Some(wire) = &mut known.wire {
            wire.handle(now, input);
        }
        self.outputs(link, at);
    }

    /// Everything that a driver has to say.
    fn outputs(&mut self, link: &str, at: Stamp) {
        while let Some(output) = self.links.get_mut(link).and_then(|l| l.wire.as_mut()?.poll()) {
            self.output(link, at, output);
        }
    }

    fn output(&mut self, link: &str, at: Stamp, output: Output<Message>) {
        match output {
            Output::Reading(reading) => self.reading(link, at, &reading),
            Output::Contacts(contacts) => self.contacts(link, at, &contacts),
            Output::Scan(scan) => self.scanned(link, at, &scan),
            Output::Identity(identity) => self.identity(link, at, &identity),
            Output::Ready(function) => self.ready(link, at, function),
            Output::Send(message) => self.send(link, at, message.bytes()),
            Output::Note(note) if note.word == "silent" => {
                self.links.get_mut(link).expect("checked by the caller").unanswered();
            }
            Output::Note(_) => self.unread(link, at),
        }
    }

    /// Bytes that nobody understands. From a box whose contacts are watched they may be the news
    /// that a switch was moved: what it showed before is no longer known.
    fn unread(&mut self, link: &str, at: Stamp) {
        let Some(BookId::Inspection(case)) = &self.links[link].book else { return };
        if !self.cases[case].inspection.sees(link) {
            return;
        }
        let case = case.clone();
        let (name, state) = (link.to_string(), "unread".into());
        let fact = LinkFact { link: name, state, why: None, identity: None };
        self.put_case(&case, at, Fact::Link(fact), None);
    }

    /// Drivers whose deadline has come.
    pub(super) fn ticks(&mut self, at: Stamp) {
        let due = |link: &super::link::Link| {
            link.wire.as_ref().and_then(Wire::deadline).is_some_and(|now| now.0 <= at.boot_us)
        };
        let due: Vec<String> =
            self.links.iter().filter(|(_, link)| due(link)).map(|(id, _)| id.clone()).collect();
        for link in due {
            self.turn_day(&link, at);
            if !self.links[&link].is_scanner() {
                self.put_wire(&link, at, Fact::Tick(Tick { link: link.clone() }));
            }
            self.feed(&link, at, Input::Tick);
        }
    }

    /// Stores what a link did, in the book its bytes go to.
    fn put_wire(&mut self, link: &str, at: Stamp, fact: Fact) {
        if let Some(book) = self.links[link].book.clone() {
            self.put(book, at, fact, None);
        }
    }

    fn send(&mut self, link: &str, at: Stamp, bytes: &[u8]) {
        let out = Out { link: link.into(), raw: raw_text(bytes) };
        self.put_wire(link, at, Fact::Out(out));
        self.outbox.at_once(Effect::Send { link: link.into(), bytes: bytes.to_vec() });
    }

    fn reading(&mut self, link: &str, at: Stamp, reading: &Reading) {
        let (id, offset) = {
            let pending = self.pend(link, at);
            (pending.next_id(), pending.offset())
        };
        let mut read = read_of(reading, offset);
        let known = &self.links[link];
        let Some(BookId::Inspection(case)) = known.book.clone() else {
            read.why = Some(self.idle_why(&known.settings.bench).into());
            self.pend(link, at).understood(read);
            self.checked(link, at, (id, reading));
            return;
        };
        let instrument = known.settings.instrument.clone().filter(|_| !known.changed);
        let Some(instrument) = instrument else {
            read.why = Some("unknown_instrument".into());
            self.pend(link, at).understood(read);
            return;
        };
        let inspection = &mut self.cases.get_mut(&case).expect("its book is open").inspection;
        let (place, facts) = inspection.reading(id, &instrument, reading);
        read.s = place.step;
        read.why = place.why.map(String::from);
        self.pend(link, at).understood(read);
        if facts.is_empty() {
            self.retune(&case, at);
        }
        for fact in facts {
            self.put_case(&case, at, fact, None);
        }
    }

    fn idle_why(&self, bench: &str) -> &'static str {
        let rests = self.cases.values().any(|case| case.bench == bench && case.parked);
        if rests { "parked" } else { "idle" }
    }

    fn contacts(&mut self, link: &str, at: Stamp, contacts: &Contacts) {
        let pending = self.pend(link, at);
        let read: Read = read_of_contacts(contacts, pending.offset());
        pending.understood(read);
        if let Some(BookId::Inspection(case)) = self.links[link].book.clone() {
            let inspection = &mut self.cases.get_mut(&case).expect("its book is open").inspection;
            for fact in inspection.contacts(link, contacts) {
                self.put_case(&case, at, fact, None);
            }
        }
    }

    /// Another instrument than the register's may be configured: that is no news of ours.
    fn ready(&mut self, link: &str, at: Stamp, function: Function) {
        let known = &self.links[link];
        let instrument = known.settings.instrument.clone().filter(|_| !known.changed);
        if let (Some(BookId::Inspection(case)), Some(instrument)) = (known.book.clone(), instrument)
        {
            let inspection = &mut self.cases.get_mut(&case).expect("its book is open").inspection;
            inspection.configured(&instrument, function, Now(at.boot_us));
            self.retune(&case, at);
        }
    }

    /// An instrument said who it is. Another one than before, or than the register says, is not
    /// the same instrument: its readings belong to nobody until the right one answers.
    fn identity(&mut self, link: &str, at: Stamp, identity: &Identity) {
        let known = &self.links[link];
        let serial = known.settings.instrument.as_ref().and_then(|id| {
            let serial = self.register.instruments.get(id)?.serial.as_str();
            Some(serial.to_string()).filter(|serial| !serial.is_empty())
        });
        let wrong = match &known.identity {
            Some(before) => *before != identity.text,
            None => serial.is_some_and(|serial| other_serial(&identity.text, &serial)),
        };
        let was = known.changed;
        let known = self.links.get_mut(link).expect("checked by the caller");
        known.changed = wrong;
        if !wrong && known.identity.is_none() {
            known.identity = Some(identity.text.clone());
            self.named(link, at, &identity.text);
        }
        let known = self.links.get_mut(link).expect("checked by the caller");
        if wrong && !was {
            let why = format!("another instrument answered: `{}`", identity.text);
            known.why_down = Some(why.clone());
            self.link_fact(link, at, "changed", Some(why));
            self.link_lost(link, at);
        } else if was && !wrong {
            known.why_down = None;
            self.link_fact(link, at, "up", Some("the right instrument answers again".into()));
        }
    }

    /// The book of its bytes began before the instrument said who it is.
    fn named(&mut self, link: &str, at: Stamp, identity: &str) {
        let (identity, state) = (Some(identity.to_string()), "up".into());
        let fact = LinkFact { link: link.into(), state, why: None, identity };
        self.put_wire(link, at, Fact::Link(fact));
    }

    /// A link came, went or changed: a fact of the station, and of the book of its bytes.
    pub(super) fn link_fact(&mut self, link: &str, at: Stamp, state: &str, why: Option<String>) {
        let fact =
            Fact::Link(LinkFact { link: link.into(), state: state.into(), why, identity: None });
        self.put_wire(link, at, fact.clone());
        self.put_station(at, fact, None);
    }

    /// What an inspection loses with a link: its windows, and whatever was held by its leads.
    pub(super) fn link_lost(&mut self, link: &str, at: Stamp) {
        let known = &self.links[link];
        let bench = known.settings.bench.clone();
        let place = (known.book.clone(), known.settings.instrument.clone());
        self.bench(&bench).relinked = self.seq;
        self.bench(&bench).left = Left::default();
        if let (Some(BookId::Inspection(case)), Some(instrument)) = place {
            let inspection = &mut self.cases.get_mut(&case).expect("its book is open").inspection;
            for fact in inspection.link_lost(&instrument, Now(at.boot_us)) {
                self.put_case(&case, at, fact, None);
            }
            self.settle(&case, at);
        }
    }

    /// A link is open: a fresh stream begins.
    pub(super) fn link_up(&mut self, link: &str, at: Stamp) {
        let Some(known) = self.links.get_mut(link) else { return };
        if known.up {
            return;
        }
        known.up = true;
        known.why_down = None;
        let book = self.book_of(link, at);
        self.links.get_mut(link).expect("checked above").book = Some(book.clone());
        self.link_fact(link, at, "up", None);
        self.tap(link, at, book);
    }

    /// A link is gone. What its driver held is closed as not understood.
    pub(super) fn link_down(&mut self, link: &str, at: Stamp, why: String) {
        let Some(known) = self.links.get(link) else { return };
        if !known.up {
            if self.register.watched.misses(link) {
                // It was up before the restart: gone meanwhile is gone.
                self.link_fact(link, at, "down", Some(why.clone()));
                self.link_lost(link, at);
            }
            let known = &self.links[link];
            self.unseen = known.why_down.as_ref() != Some(&why);
            self.links.get_mut(link).expect("checked above").why_down = Some(why);
            return;
        }
        self.link_fact(link, at, "down", Some(why.clone()));
        self.link_lost(link, at);
        self.close_pending();
        self.links.get_mut(link).expect("checked above").down(why);
    }

    /// Where a link's bytes belong now.
    fn book_of(&mut self, link: &str, at: Stamp) -> BookId {
        let bench = self.links[link].settings.bench.clone();
        match self.benches.get(&bench).and_then(|bench| bench.active.clone()) {
            Some(id) => BookId::Inspection(id),
            None => self.idle_book(at),
        }
    }

    /// The first bytes of a UTC day begin its idle book, with fresh taps of all idle links.
    fn turn_day(&mut self, link: &str, at: Stamp) {
        let Some(BookId::Idle(day)) = &self.links[link].book else { return };
        if day.as_str() >= self.today.at(at.wall_us) {
            return;
        }
        let book = self.idle_book(at);
        let idle = |link: &&super::link::Link| matches!(link.book, Some(BookId::Idle(_)));
        let links = self.links.values().filter(idle).map(|l| l.settings.id.clone());
        for link in links.collect::<Vec<_>>() {
            self.tap(&link, at, book.clone());
        }
    }

    /// All links of a bench go over to where its bytes belong now.
    pub(super) fn tap_bench(&mut self, bench: &str, at: Stamp) {
        let of = |link: &&super::link::Link| link.up && link.settings.bench == bench;
        let links = self.links.values().filter(of).map(|l| l.settings.id.clone());
        for link in links.collect::<Vec<_>>() {
            let book = self.book_of(&link, at);
            self.tap(&link, at, book);
        }
    }

    /// A stream begins in a book, with a fresh driver. An instrument that could put out a voltage
    /// never gets a driver that sends: its bytes are kept and not understood.
    pub(super) fn tap(&mut self, link: &str, at: Stamp, book: BookId) {
        let known = &self.links[link];
        let wire = Wire::of(&known.settings).ok();
        let wire = wire.filter(|w| !w.sends() || may_send(&known.settings, &self.register));
        let instrument = known.settings.instrument.clone();
        let described = self.told_by(&known.settings.clone(), &book);
        let known = &self.links[link];
        let registered = instrument.as_ref().and_then(|id| self.register.instruments.get(id));
        let tap = Tap {
            link: link.into(),
            driver: known.settings.driver.clone(),
            driver_version: wire.as_ref().map_or(0, Wire::version),
            driver_sha256: described.as_ref().map(|(sha256, _)| sha256.clone()),
            driver_text: described.and_then(|(_, text)| text),
            identity: known.identity.clone(),
            source_class: registered.map(|i| i.source_class),
            unconfirmed: known.unconfirmed,
            instrument,
        };
        if !known.is_scanner() {
            self.put(book.clone(), at, Fact::Tap(tap), None);
        }
        let known = self.links.get_mut(link).expect("checked by the caller");
        known.wire = wire;
        known.book = Some(book.clone());
        self.taps += 1;
        known.offset = 0;
        known.want = None;
        self.feed(link, at, Input::Open);
        match book {
            BookId::Inspection(case) => self.retune(&case, at),
            BookId::Idle(_) | BookId::Station => self.tune_check(link, at),
        }
        if self.links[link].changed {
            // The book that begins here must stand alone: it is told, too.
            let why = Some("another instrument answers than the right one".into());
            let (link, state) = (link.to_string(), "changed".into());
            let fact = LinkFact { link: link.clone(), state, why, identity: None };
            self.put_wire(&link, at, Fact::Link(fact));
            self.link_lost(&link, at);
        }
    }

    /// SHA-256 and text of the file that a link's driver is described in; the text once a book.
    fn told_by(&mut self, link: &LinkSettings, book: &BookId) -> Option<(String, Option<String>)> {
        let described = link.described.as_ref()?;
        let told = (book.clone(), described.sha256.clone());
        let cases = &self.cases;
        self.told.retain(|(other, _)| match other {
            BookId::Inspection(id) => cases.contains_key(id),
            other => other == book,
        });
        let text = self.told.insert(told).then(|| described.text.clone());
        Some((described.sha256.clone(), text))
    }

    /// Tells the polled instruments of an inspection what is wanted of them now. What is wanted
    /// follows from the record, so it is no fact, and replay derives it the same way.
    pub(super) fn retune(&mut self, case: &str, at: Stamp) {
        for _ in 0..RETUNE_MAX {
            let Some(open) = self.cases.get(case) else { return };
            let wants = open.inspection.wants();
            let next = self.links.values().find_map(|link| {
                let instrument = link.settings.instrument.as_ref()?;
                let here = link.book == Some(BookId::Inspection(case.into()));
                let asks = link.wire.as_ref().is_some_and(Wire::sends);
                let want = wants.iter().find(|(id, _)| id == instrument).map(|(_, w)| *w);
                (here && asks && want != link.want).then(|| (link.settings.id.clone(), want))
            });
            let Some((link, want)) = next else { return };
            self.links.get_mut(&link).expect("found above").want = want;
            self.feed(&link, at, Input::Want(want));
        }
    }
}

/// The answer names a serial number and it is not the registered one. Answers are
/// `maker,model,serial,version` (IEEE 488.2, 10.14); `0` or nothing means not told.
fn other_serial(identity: &str, registered: &str) -> bool {
    let told = identity.split(',').nth(2).map(str::trim).unwrap_or_default();
    !told.is_empty() && told != "0" && told != registered
}
