//! How far back the benches were watched without a break, as the station's books tell it.
//!
//! What an earlier inspection knew of a bench is of use only while nothing there can have changed
//! unseen. A restart is a gap in which nobody watches: a short one, of a machine that went on, with
//! every line there again and the wiring as it was, is bridged. Anything else is a reason to ask
//! anew.

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::Fact;
use tapline_protocols::fact::{ClockFact, LinkFact, StartFact};

use crate::clock::Stamp;

/// Longest that nobody may have watched, microseconds of the boot-time clock: what a restart takes,
/// with somebody to see to it. In more, plugs are changed that nobody remembers.
const UNWATCHED_US_MAX: u64 = 120_000_000;

/// The fold of the station's lines that tell of it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Watched {
    /// Last line before which nothing is known of any bench.
    blind: u64,
    /// Last line at which a link was lost, by link.
    lost: BTreeMap<String, u64>,
    /// Links that are up in this life.
    up: BTreeSet<String>,
    /// Links that were up when the life before ended, and were not seen since.
    missed: BTreeSet<String>,
    /// The last start: boot and wiring.
    start: Option<(String, Option<String>)>,
    /// The line before this one was a start.
    starts: bool,
    /// The newest line of a life, and when, microseconds of the boot-time clock.
    last: (u64, u64),
}

impl Watched {
    /// The only place where it changes.
    pub(super) fn apply(&mut self, seq: u64, at: Stamp, fact: &Fact) {
        match fact {
            Fact::Start(start) => self.start(seq, at, start),
            Fact::Clock(clock) => self.clock(seq, clock),
            Fact::Link(link) => self.link(seq, link),
            _ => {}
        }
        self.starts = matches!(fact, Fact::Start(_));
        if !before_a_start(fact) {
            self.last = (seq, at.boot_us);
        }
    }

    fn start(&mut self, seq: u64, at: Stamp, start: &StartFact) {
        // A life in which a link was not seen says nothing of what was plugged there meanwhile.
        for link in std::mem::take(&mut self.missed) {
            self.lost.insert(link, seq);
        }
        self.missed = std::mem::take(&mut self.up);
        let now = Some((start.boot.clone(), start.wiring.clone()));
        let gap = at.boot_us.checked_sub(start.alive.unwrap_or(0).max(self.last.1));
        if self.start != now || gap.is_none_or(|gap| UNWATCHED_US_MAX < gap) {
            self.blind = seq;
        }
        self.start = now;
    }

    /// A sleep is a gap, too. A wall clock that was found set at a start was set in the gap, or
    /// the boot-time clock stood still in it: how long it was can't be told.
    fn clock(&mut self, seq: u64, clock: &ClockFact) {
        if clock.slept_us.is_some() || self.starts {
            self.blind = seq;
        }
    }

    fn link(&mut self, seq: u64, link: &LinkFact) {
        self.missed.remove(&link.link);
        match link.state.as_str() {
            "up" => {
                self.up.insert(link.link.clone());
            }
            state => {
                self.lost.insert(link.link.clone(), seq);
                if state == "down" {
                    self.up.remove(&link.link);
                }
            }
        }
    }

    /// Last line before which nothing is known of any bench.
    pub(super) fn blind(&self) -> u64 {
        self.blind
    }

    /// Last line before which nothing is known of what hangs on these links.
    pub(super) fn since<'a>(&self, links: impl Iterator<Item = &'a String>) -> u64 {
        links.filter_map(|link| self.lost.get(link)).copied().max().unwrap_or(0).max(self.blind)
    }

    /// Last line of a life in the station's books.
    pub(super) fn last(&self) -> u64 {
        self.last.0
    }

    /// Stamps of the life that is on disk count from this boot.
    pub(super) fn is_of(&self, boot: &str) -> bool {
        self.start.as_ref().is_some_and(|(was, _)| was == boot)
    }

    /// It was up before the last start, and was not seen since.
    pub(super) fn misses(&self, link: &str) -> bool {
        self.missed.contains(link)
    }
}

/// Lines that a start stores, or may store, before its own: nobody watched yet.
pub(super) fn before_a_start(fact: &Fact) -> bool {
    matches!(fact, Fact::Open(_) | Fact::Torn(_) | Fact::Key(_) | Fact::Recovered(_))
}

#[cfg(test)]
mod tests {
    use tapline_protocols::fact::ReasonFact;

    use super::*;

    const SECOND: u64 = 1_000_000;

    struct Book(Watched, u64);

    impl Book {
        fn line(&mut self, seconds: u64, fact: &Fact) -> u64 {
            self.1 += 1;
            self.0.apply(self.1, Stamp { wall_us: 0, boot_us: seconds * SECOND }, fact);
            self.1
        }

        fn start(&mut self, seconds: u64, boot: &str, wiring: Option<&str>) -> u64 {
            self.start_after(None, seconds, boot, wiring)
        }

        fn start_after(
            &mut self,
            alive: Option<u64>,
            seconds: u64,
            boot: &str,
            wiring: Option<&str>,
        ) -> u64 {
            let start = StartFact {
                boot: boot.into(),
                version: String::new(),
                synced: true,
                due: tapline_protocols::due::Counting::default(),
                wiring: wiring.map(String::from),
                alive: alive.map(|seconds| seconds * SECOND),
            };
            self.line(seconds, &Fact::Start(start))
        }

        fn link(&mut self, seconds: u64, state: &str) -> u64 {
            let (link, state) = ("ohm".to_string(), state.to_string());
            self.line(seconds, &Fact::Link(LinkFact { link, state, why: None, identity: None }))
        }

        fn since(&self) -> u64 {
            self.0.since([&"ohm".to_string()].into_iter())
        }
    }

    fn book() -> Book {
        let mut book = Book(Watched::default(), 0);
        book.start(10, "one", Some("w"));
        book.link(11, "up");
        book
    }

    #[test]
    fn a_short_gap_under_one_boot_is_bridged() {
        let mut book = book();
        let first = book.0.blind();
        book.start(131, "one", Some("w"));
        assert!(book.0.misses("ohm"), "not before it is there again");
        book.link(132, "up");
        assert!(!book.0.misses("ohm"));
        assert_eq!((book.0.blind(), book.since()), (first, first));
    }

    #[test]
    fn everything_else_is_a_reason_to_ask_anew() {
        for (seconds, boot, wiring) in [
            (132, "one", Some("w")),
            (10, "one", Some("w")),
            (12, "two", Some("w")),
            (12, "one", Some("x")),
            (12, "one", None),
        ] {
            let mut book = book();
            let start = book.start(seconds, boot, wiring);
            assert_eq!(book.0.blind(), start, "{seconds} {boot} {wiring:?}");
        }
    }

    #[test]
    fn what_other_books_tell_shortens_the_gap() {
        for (alive, bridged) in [(None, false), (Some(400), false), (Some(500), true)] {
            let mut book = book();
            let start = book.start_after(alive, 620, "one", Some("w"));
            assert_eq!(book.0.blind() != start, bridged, "{alive:?}");
        }
        // What was made later than now was made under other clocks.
        let mut book = book();
        let start = book.start_after(Some(700), 620, "one", Some("w"));
        assert_eq!(book.0.blind(), start);
    }

    #[test]
    fn what_a_start_stores_before_itself_is_no_sign_of_life() {
        let mut book = book();
        book.line(600, &Fact::Recovered(ReasonFact { reason: None }));
        let start = book.start(600, "one", Some("w"));
        assert_eq!(book.0.blind(), start);
    }

    #[test]
    fn a_link_that_is_lost_or_not_seen_in_a_life_is_known_from_there_on() {
        let mut lost = book();
        let down = lost.link(12, "down");
        assert_eq!(lost.since(), down);
        lost.link(13, "up");
        assert_eq!(lost.since(), down);
        let changed = lost.link(14, "changed");
        assert_eq!(lost.since(), changed);

        let mut unseen = book();
        unseen.start(12, "one", Some("w"));
        let second = unseen.start(13, "one", Some("w"));
        unseen.link(14, "up");
        assert_eq!(unseen.since(), second);
        assert!(!unseen.0.misses("ohm"));
    }

    #[test]
    fn a_clock_that_was_set_in_the_gap_and_a_sleep_end_what_is_known() {
        let clock = |step_us, slept_us| {
            Fact::Clock(ClockFact { step_us, synced: true, was: None, slept_us })
        };
        let mut book = book();
        book.line(12, &clock(5 * 1_000_000, None));
        assert_eq!(book.0.blind(), 1, "it was watched");
        book.start(13, "one", Some("w"));
        let set = book.line(13, &clock(-5 * 1_000_000, None));
        assert_eq!(book.0.blind(), set);
        let slept = book.line(14, &clock(0, Some(SECOND)));
        assert_eq!(book.0.blind(), slept);
    }
}
