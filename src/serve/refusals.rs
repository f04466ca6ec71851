//! What was refused, for those who look at the bench right now. It is no line of any book, unless
//! it was one already: nothing happened.

use std::sync::{Arc, Mutex, PoisonError};

use serde_json::{Value, json};
use tokio::sync::broadcast;

use crate::clock::{self, Stamp};
use crate::station::event::{Origin, Problem, Request};
use crate::station::status::{BenchStatus, Heard, Status};

/// Refusals that wait for a reader; one that falls behind misses the oldest.
const WAITING_MAX: usize = 64;
/// The same again within this time is not told again, microseconds of the boot-time clock.
const SAME_US: u64 = 10_000_000;
/// Most that are told within that time.
const TOLD_MAX: u32 = 20;
/// Longest text of one that is kept to know it again, characters.
const KEY_CHARS_MAX: usize = 300;

/// What was refused.
#[derive(Debug)]
pub struct Refusals {
    sieve: Mutex<Sieve>,
    told: broadcast::Sender<Arc<Value>>,
}

impl Default for Refusals {
    fn default() -> Refusals {
        Refusals { sieve: Mutex::default(), told: broadcast::channel(WAITING_MAX).0 }
    }
}

/// What was asked, where and by whom.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Attempt {
    pub(super) bench: Option<String>,
    pub(super) by: Option<String>,
    pub(super) from: &'static str,
    pub(super) what: String,
}

impl Attempt {
    /// What a command asks for. Codes and badges are left out: one may be a secret. On the page
    /// `by` is a badge.
    pub(super) fn of(
        origin: Origin,
        request: &Request,
        (bench, by): (&Option<String>, &Option<String>),
    ) -> Attempt {
        let from = match origin {
            Origin::Socket(_) => "command",
            Origin::Page => "page",
            Origin::Scanner => "scanner",
            Origin::Inbox => "inbox",
        };
        let told = serde_json::to_value(request).unwrap_or_default();
        let text = |key: &str| told[key].as_str().map(str::to_owned);
        let about = ["step", "asset", "lead", "standard", "id", "order", "outcome"];
        let about = about.into_iter().find_map(text);
        // What an act or a proof is called; of a file, which register it is for.
        let which = text("what").or_else(|| text("answer"));
        let words = [text("do"), which, about];
        let what = words.into_iter().flatten().collect::<Vec<_>>().join(" ");
        let by = by.clone().filter(|_| origin != Origin::Page);
        Attempt { bench: bench.clone(), by, from, what }
    }
}

impl Refusals {
    /// From now on.
    #[must_use]
    pub fn listen(&self) -> broadcast::Receiver<Arc<Value>> {
        self.told.subscribe()
    }

    /// Tells it to those who look, unless it was told just now.
    pub(super) fn tell(&self, attempt: &Attempt, problem: &Problem, at: Stamp) {
        let key = format!("{attempt:?} {} {}", problem.code, problem.detail);
        let key = key.chars().take(KEY_CHARS_MAX).collect();
        let mut sieve = self.sieve.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(passed) = sieve.take(key, at.boot_us) else { return };
        drop(sieve);
        let told = json!({
            "k": "not_done", "t": clock::rfc3339(at.wall_us), "bench": attempt.bench, "by": attempt.by,
            "from": attempt.from, "what": attempt.what, "code": problem.code, "why": problem.detail,
            "next": problem.next, "passed_over": passed,
        });
        // Nobody may be looking.
        let _ = self.told.send(Arc::new(told));
    }

    /// What the scanners of the benches were refused since the status before.
    pub(super) fn heard(&self, before: Option<&Status>, now: &Status, at: Stamp) {
        for bench in &now.benches {
            let Some(Heard::Refused(problem)) = &bench.heard else { continue };
            let same = |other: &&BenchStatus| other.id == bench.id && other.heard == bench.heard;
            if before.is_some_and(|before| before.benches.iter().any(|other| same(&other))) {
                continue;
            }
            let (id, by) = (Some(bench.id.clone()), bench.operator.clone());
            let attempt = Attempt { bench: id, by, from: "scanner", what: "scan".into() };
            self.tell(&attempt, problem, at);
        }
    }
}

/// Lets through what is news, and no more of it than a person reads.
#[derive(Debug, Default)]
struct Sieve {
    last: Option<(String, u64)>,
    begun_us: u64,
    told: u32,
    passed: u64,
}

impl Sieve {
    /// How many were passed over since the last one that was told; `None`: this one is, too.
    fn take(&mut self, key: String, now_us: u64) -> Option<u64> {
        if now_us.saturating_sub(self.begun_us) > SAME_US {
            (self.begun_us, self.told) = (now_us, 0);
        }
        let within = |us: &u64| now_us.saturating_sub(*us) <= SAME_US;
        let same = self.last.as_ref().is_some_and(|(last, us)| *last == key && within(us));
        if same || self.told >= TOLD_MAX {
            self.passed += 1;
            return None;
        }
        self.last = Some((key, now_us));
        self.told += 1;
        Some(std::mem::take(&mut self.passed))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: u64 = 1_000_000;

    #[test]
    fn what_is_refused_again_and_again_is_told_once_and_counted() {
        let mut sieve = Sieve::default();
        let mut take = |key: &str, s: u64| sieve.take(key.into(), s * S);
        assert_eq!(take("a", 100), Some(0));
        assert_eq!([take("a", 101), take("a", 110)], [None, None]);
        assert_eq!(take("b", 110), Some(2));
        assert_eq!(take("a", 110), Some(0), "between two others it is news");
        assert_eq!(take("a", 121), Some(0));
    }

    #[test]
    fn a_flood_is_a_few_lines() {
        let mut sieve = Sieve::default();
        let told = (0..1_000).filter(|n| sieve.take(n.to_string(), 100 * S + n).is_some()).count();
        assert_eq!(told, usize::try_from(TOLD_MAX).unwrap());
        assert_eq!(sieve.take("x".into(), 111 * S), Some(1_000 - u64::from(TOLD_MAX)));
    }

    #[test]
    fn no_code_and_no_badge_is_told() {
        let none = (&None, &None);
        for request in [
            Request::Scan { code: "471100".into() },
            Request::Login { badge: Some("471100".into()) },
            Request::import("operators", "471100"),
            Request::Note { text: "471100".into() },
        ] {
            let attempt = Attempt::of(Origin::Page, &request, none);
            assert!(!format!("{attempt:?}").contains("471100"), "{attempt:?}");
        }
        let release = Request::Release { id: "K3-20261124-0001".into(), expect: None };
        let by_badge = Attempt::of(Origin::Page, &release, (&None, &Some("471100".into())));
        assert_eq!((by_badge.by, by_badge.what.as_str()), (None, "release K3-20261124-0001"));
        let act = Request::Act { what: "clear".into(), expect: None };
        assert_eq!(Attempt::of(Origin::Socket(0), &act, none).what, "act clear");
        assert_eq!(
            Attempt::of(Origin::Page, &Request::begin(Some("P-1".into())), none).what,
            "begin P-1"
        );
    }
}
