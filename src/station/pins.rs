//! What a signature takes besides a badge: a PIN. The core never sees one: the daemon compares it,
//! off the engine's thread, and says whose was right. Here stands who has to show one, how long to
//! wait after wrong ones, and what is signed without.

use std::collections::BTreeMap;

use tapline_protocols::Fact;

use super::command::Seat;
use super::core::Core;
use super::event::{Origin, Problem, Request};
use super::say::conflict;
use crate::clock::Stamp;

/// How long to wait after so many wrong PINs in a row, seconds; the last holds for all that follow.
/// NIST SP 800-63B, 5.2.2 (from memory): wait longer after each, and allow no more than a hundred
/// in a row. These figures: common practice, no source.
const WAIT_S: [u64; 7] = [0, 2, 5, 15, 30, 60, 3_600];

/// So many in a row lock it, until the last of the waits is over or the PIN is reset.
const LOCKED: usize = WAIT_S.len() - 1;

/// People whose PINs the daemon has found right just now, by id. Nothing that is read from a
/// stranger's text becomes one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Proved(Vec<String>);

impl Proved {
    /// The PIN of one more person was right.
    pub(crate) fn add(&mut self, operator: String) {
        self.0.push(operator);
    }

    fn has(&self, operator: &str) -> bool {
        self.0.iter().any(|one| one == operator)
    }
}

/// Somebody who has to show a PIN.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Signer {
    /// Who; `None`: nobody whom the register has.
    pub operator: Option<String>,
    /// How many in a row were wrong before.
    pub wrong: usize,
    /// How long to wait until the next is looked at, microseconds.
    pub wait_us: u64,
}

impl Signer {
    /// So many were wrong that it is locked for a time.
    #[must_use]
    pub fn is_locked(&self) -> bool {
        self.wrong >= LOCKED
    }

    /// The same after one more wrong PIN.
    #[must_use]
    pub fn once_more(&self) -> Signer {
        let wrong = self.wrong + 1;
        Signer { operator: self.operator.clone(), wrong, wait_us: wait_us(wrong) }
    }
}

fn wait_us(wrong: usize) -> u64 {
    WAIT_S[wrong.min(LOCKED)] * 1_000_000
}

/// Wrong PINs in a row, by operator; those for nobody whom the register has under no name.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tries(BTreeMap<Option<String>, Wrong>);

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Wrong {
    count: usize,
    /// The last of them, microseconds of the boot-time clock.
    at_us: u64,
}

impl Tries {
    /// Takes what is told of a PIN. After a boot the time of before can't be told: the wait begins
    /// again, and no clock that is set makes it shorter.
    pub(super) fn apply(&mut self, at: Stamp, fact: &Fact, boot: Option<&str>) {
        match fact {
            Fact::Pin(pin) if pin.what == "wrong" => {
                let wrong = self.0.entry(pin.operator.clone()).or_default();
                *wrong = Wrong { count: wrong.count.saturating_add(1), at_us: at.boot_us };
            }
            Fact::Pin(pin) => drop(self.0.remove(&pin.operator)),
            Fact::Start(start) if boot != Some(&start.boot) => {
                self.0.values_mut().for_each(|wrong| wrong.at_us = at.boot_us);
            }
            _ => {}
        }
    }

    fn signer(&self, operator: Option<String>, now_us: u64) -> Signer {
        let Wrong { count, at_us } = self.0.get(&operator).copied().unwrap_or_default();
        let wait_us = (at_us + wait_us(count)).saturating_sub(now_us);
        Signer { operator, wrong: count, wait_us: if count == 0 { 0 } else { wait_us } }
    }
}

/// What is known of who acts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shown {
    /// A code of the bench's own scanner.
    pub scanned: bool,
    /// Kept with a signature.
    pub auth: &'static str,
}

impl Shown {
    pub(super) const SCANNED: Shown = Shown { scanned: true, auth: "badge" };
}

impl Request {
    /// It signs: by the policy it may take a PIN.
    #[must_use]
    pub fn signs(&self) -> bool {
        matches!(self, Request::Sign { .. }) || self.is_about().is_some()
    }
}

impl Core {
    /// A signature takes a PIN.
    #[must_use]
    pub fn asks_for_pin(&self) -> bool {
        self.settings.policy.asks_for_pin()
    }

    /// Who has to show a PIN for a request, the second person last; nobody where the policy asks
    /// for none.
    ///
    /// # Errors
    /// A badge is missing: with a PIN, no name counts that a screen shows.
    pub fn signers(
        &self,
        (bench, by): (Option<String>, Option<&str>),
        request: &Request,
        at: Stamp,
    ) -> Result<Vec<Signer>, Problem> {
        if !self.asks_for_pin() || !request.signs() {
            return Ok(Vec::new());
        }
        // What would be refused anyway is not worth a PIN.
        if matches!(request, Request::Sign { .. }) {
            let (bench, proved) = (self.bench_named(bench)?, Proved::default());
            let by = self.person(&bench, by.map(Into::into))?;
            let seat = Seat { bench, at, origin: Origin::Scanner, by, proved };
            self.would_be_refused(&seat, request)?;
        }
        let (first, second) = match request {
            Request::Sign { badge, .. } => (badge.as_deref(), None),
            Request::Amend { second, .. } | Request::Reattach { second, .. } => {
                (by, second.as_deref())
            }
            _ => (by, None),
        };
        let badges = [Some(first.ok_or_else(no_pin)?), second];
        badges.into_iter().flatten().map(|badge| self.whose(badge, at.boot_us)).collect()
    }

    /// Whose PIN goes with a badge.
    ///
    /// # Errors
    /// It is the id of an operator, which every list shows, and no badge.
    pub fn whose(&self, badge: &str, now_us: u64) -> Result<Signer, Problem> {
        let owner = self.register.owner(badge).map(|one| one.id.clone());
        match owner.is_none() && self.register.operators.contains_key(badge) {
            true => Err(no_pin()),
            false => Ok(self.register.tries.signer(owner, now_us)),
        }
    }

    /// An act that signs needs the PIN of who signs.
    pub(super) fn shows_pin(&self, seat: &Seat, request: &Request) -> Result<(), Problem> {
        match (&seat.by, request) {
            (Some(by), Request::Sign { .. }) => self.pin_shown(seat, by),
            _ => Ok(()),
        }
    }

    /// Where the policy asks for it, the PIN of this person was right.
    pub(super) fn pin_shown(&self, seat: &Seat, operator: &str) -> Result<(), Problem> {
        match self.asks_for_pin() && !seat.proved.has(operator) {
            true => Err(no_pin()),
            false => Ok(()),
        }
    }

    /// A code signs nothing where a PIN is asked for.
    pub(super) fn no_code_signs(&self, request: &Request) -> Result<(), Problem> {
        match self.asks_for_pin() && matches!(request, Request::Sign { .. }) {
            true => Err(Problem::new(
                "pin_needed",
                "a signature takes a PIN here, and no code is one: it would lie about in print",
            )
            .next("Sign on the page or with `tapline sign`, and type the PIN there.")),
            false => Ok(()),
        }
    }

    /// What is known of who acts, to be kept with a signature.
    pub(super) fn known_by(&self, seat: &Seat) -> Shown {
        let auth = match seat.origin {
            _ if self.asks_for_pin() => "badge+pin",
            Origin::Socket(_) => "socket",
            _ => "badge",
        };
        Shown { scanned: seat.origin == Origin::Scanner, auth }
    }
}

/// A badge is missing.
pub(super) fn no_badge() -> Problem {
    conflict(
        "a signature needs the badge of who signs",
        "Scan your badge into its field, or type it.",
    )
}

/// A PIN is missing.
pub(crate) fn no_pin() -> Problem {
    Problem::new("pin_needed", "a signature takes the badge and the PIN of each who signs")
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapline_protocols::fact::{PinFact, StartFact};

    const S: u64 = 1_000_000;

    fn at(s: u64) -> Stamp {
        Stamp { wall_us: 0, boot_us: s * S }
    }

    fn told(what: &str) -> Fact {
        let (operator, from) = (Some("op-7".into()), "page".into());
        Fact::Pin(PinFact { operator, what: what.into(), from, ..PinFact::default() })
    }

    fn wait(tries: &Tries, s: u64) -> u64 {
        tries.signer(Some("op-7".into()), s * S).wait_us / S
    }

    /// Six in a row lock it; what is told of one person counts for no other.
    #[test]
    fn each_wrong_one_takes_longer_and_the_sixth_locks() {
        let (mut tries, mut now) = (Tries::default(), 100);
        for (n, longer) in [2, 5, 15, 30, 60, 3_600, 3_600].into_iter().enumerate() {
            assert_eq!(tries.signer(Some("op-7".into()), now * S).is_locked(), n >= 6);
            tries.apply(at(now), &told("wrong"), Some("a"));
            assert_eq!((wait(&tries, now), wait(&tries, now + longer)), (longer, 0));
            now += longer;
        }
        assert_eq!(tries.signer(None, now * S), Signer::default());
        tries.apply(at(now), &told("wrong"), Some("a"));
        for ends in ["right", "set", "reset"] {
            let mut tries = tries.clone();
            tries.apply(at(now), &told(ends), Some("a"));
            assert_eq!(tries, Tries::default(), "{ends}");
        }
    }

    #[test]
    fn a_boot_begins_the_wait_again_and_a_restart_does_not() {
        let mut tries = Tries::default();
        (0..6).for_each(|_| tries.apply(at(5_000), &told("wrong"), Some("a")));
        let start = |boot: &str| {
            Fact::Start(StartFact {
                boot: boot.into(),
                version: String::new(),
                synced: true,
                due: tapline_protocols::due::Counting::default(),
                wiring: None,
                alive: None,
            })
        };
        tries.apply(at(5_100), &start("a"), Some("a"));
        assert_eq!(wait(&tries, 5_100), 3_500);
        tries.apply(at(20), &start("b"), Some("a"));
        assert_eq!((wait(&tries, 20), wait(&tries, 3_620)), (3_600, 0));
    }
}
