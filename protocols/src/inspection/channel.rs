//! What is known of one instrument by watching it: spent or armed, released, in contact.
//!
//! All of it is volatile. After a restart and after a lost link nothing of it is believed.

use alloc::boxed::Box;

use tapline_drivers::{Function, Now};

use super::job::Job;
use super::sample::Sample;
use super::tester::Volts;
use super::window::Window;
use crate::fact::{Release, ValueFact};
use crate::register::Known;

/// Oldest reading that an operator captures as the newest, microseconds.
pub(super) const FRESH_US: u64 = 3_000_000;

/// What armed an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Armed {
    /// The probe was seen lifted.
    Release,
    /// The operator acted.
    Act,
}

/// One instrument.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Channel {
    armed: Option<Armed>,
    /// Since when it is spent or armed.
    since: Now,
    /// First and number of released readings in a row.
    lifted: Option<(Now, u32)>,
    /// When the probe touched; after an act it is taken to touch.
    contact: Option<Now>,
    window: Option<Window>,
    /// A conversion was thrown away after the guard.
    thrown: bool,
    /// What a polled meter is configured to.
    pub(super) ready: Option<(Function, Now)>,
    /// Newest reading that states something.
    pub(super) newest: Option<(Function, Sample)>,
    /// The one before it, of the same function. One reading alone is never believed: a line of
    /// text with one bit flipped is a line of text.
    before: Option<Sample>,
    /// The operator asked for the newest reading.
    asked: bool,
    /// What it read last, whatever has become of it.
    last: Option<(Function, Sample)>,
    /// What it read last before hands were clear for the asset to be energised.
    dead: Option<Sample>,
    /// The voltage that it puts out.
    pub(super) volts: Volts,
}

/// What became of a reading that is to be captured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Taken {
    /// It belongs to the window of the step.
    Window(Option<Box<ValueFact>>),
    /// It belongs to none.
    Why(&'static str),
}

impl Channel {
    /// Nothing is believed any more, as after a lost link.
    pub(super) fn lose(&mut self, at: Now) {
        *self = Channel { since: at, ..Channel::default() };
    }

    /// A capture has used up the contact: no window, no release.
    pub(super) fn spend(&mut self, at: Now) {
        let Channel { ready, last, dead, volts, .. } = *self;
        *self = Channel { since: at, ready, last, dead, volts, ..Channel::default() };
    }

    /// The operator arms it.
    pub(super) fn arm(&mut self, at: Now) {
        let (newest, before) = (self.newest, self.before);
        self.spend(at);
        (self.newest, self.before) = (newest, before);
        self.armed = Some(Armed::Act);
        self.contact = Some(at);
    }

    /// Hands are clear: what it read since the asset is dead shows nothing of the asset.
    pub(super) fn cleared(&mut self, at: Now, job: &Job) {
        let settled = self.since.0.saturating_add(job.guard_us.unwrap_or(0));
        let dead = |(function, sample): &(Function, Sample)| {
            *function == job.function && settled <= sample.at.0
        };
        let dead = self.last.filter(dead).map(|(_, sample)| sample);
        self.spend(at);
        self.dead = dead;
    }

    /// The operator asks for the newest reading.
    pub(super) fn ask(&mut self, at: Now) {
        self.arm(at);
        self.asked = true;
    }

    /// Another step: only a lifted probe stays armed.
    pub(super) fn turn(&mut self, at: Now) {
        if self.armed != Some(Armed::Release) || self.contact.is_some() {
            self.spend(at);
        }
    }

    /// A switch moved or a phase changed: the window is void, the guard begins again.
    pub(super) fn disturb(&mut self) {
        self.window = None;
        self.thrown = false;
    }

    /// It may capture.
    pub(super) fn armed(&self) -> bool {
        self.armed.is_some()
    }

    /// A window runs.
    pub(super) fn measuring(&self) -> bool {
        self.window.is_some()
    }

    /// Watches for a lifted probe. `lifted`: this reading shows one.
    pub(super) fn watch(&mut self, sample_at: Now, lifted: bool, rule: &Release) {
        if self.armed.is_some() || sample_at < self.since {
            return;
        }
        if !lifted {
            self.lifted = None;
            return;
        }
        let (first, count) =
            self.lifted.map_or((sample_at, 1), |(at, n)| (at, n.saturating_add(1)));
        self.lifted = Some((first, count));
        if count >= rule.readings && sample_at.0 - first.0 >= seconds_us(&rule.seconds) {
            self.armed = Some(Armed::Release);
            self.since = sample_at;
            self.contact = None;
        }
    }

    /// The newest reading is the first of its function.
    pub(super) fn alone(&self) -> bool {
        self.before.is_none()
    }

    /// Notes a reading that states something.
    pub(super) fn note(&mut self, function: Function, sample: Sample) {
        self.before = self.newest.filter(|(was, _)| *was == function).map(|(_, before)| before);
        self.newest = Some((function, sample));
        self.last = self.newest;
    }

    /// How the test voltage behind the newest reading is known; `None` where it is not there.
    pub(super) fn voltage(&self, job: &Job) -> Option<Known> {
        self.volts.behind(job, self.newest?.1)
    }

    /// The newest two readings of one function, the older one first.
    pub(super) fn pair(&self) -> Option<(Function, [Sample; 2])> {
        let (function, newest) = self.newest?;
        Some((function, [self.before?, newest]))
    }

    /// The worse of the newest two readings, where the operator asked for it and the newest is
    /// fresh at `now`. `quiet`: when the step became active or a switch moved last.
    pub(super) fn answer(
        &self,
        job: &Job,
        quiet: Now,
        guard_us: u64,
        now: Now,
    ) -> Option<ValueFact> {
        let (function, pair) = self.pair().filter(|_| self.asked)?;
        let [before, newest] = pair;
        let fresh = quiet.0.saturating_add(guard_us) <= before.at.0
            && now.0.saturating_sub(newest.at.0) <= FRESH_US;
        (fresh && function == job.function).then(|| Window::at_once(job, pair, self.dead)).flatten()
    }

    /// Takes a reading of the active step. `quiet`: when the step became active or a switch
    /// moved last.
    pub(super) fn take(&mut self, job: &Job, quiet: Now, sample: Sample) -> Taken {
        let Some(armed) = self.armed else { return Taken::Why("spent") };
        let open = job.low_resistance() && sample.open(job.open_at);
        if self.window.as_ref().is_some_and(|window| window.silent(job, sample.at)) {
            self.touch(sample.at);
        }
        if self.window.is_none()
            && let Some(why) = self.before_window(job, (armed, open), quiet, sample)
        {
            return Taken::Why(why);
        }
        match &mut self.window {
            Some(window) if window.open_so_far() && !open => {
                // Contact after an act on an open probe: the window begins with the contact.
                self.touch(sample.at);
                return Taken::Why("guard");
            }
            Some(window) => window.take(job, sample),
            None => self.window = Some(Window::begin(job, sample)),
        }
        let window = self.window.as_ref();
        let value = window.and_then(|window| window.value(job, sample.at, self.dead));
        Taken::Window(value.map(Box::new))
    }

    fn before_window(
        &mut self,
        job: &Job,
        (armed, open): (Armed, bool),
        quiet: Now,
        sample: Sample,
    ) -> Option<&'static str> {
        if armed == Armed::Release && job.low_resistance() {
            if open {
                self.contact = None;
                return Some("window_closed");
            }
            if self.contact.is_none() {
                self.touch(sample.at);
            }
        }
        let origin = quiet.max(self.since).max(self.contact.unwrap_or(self.since));
        let guard = job.guard_us.unwrap_or(u64::MAX);
        if sample.at.0 < origin.0.saturating_add(guard) {
            return Some("guard");
        }
        if job.polled && !self.thrown {
            self.thrown = true;
            return Some("guard");
        }
        None
    }

    fn touch(&mut self, at: Now) {
        self.contact = Some(at);
        self.window = None;
        self.thrown = false;
    }
}

/// Microseconds of a decimal of seconds such as `0.5`; half a second where it can't be read.
fn seconds_us(text: &str) -> u64 {
    let Some(number) = tapline_drivers::Number::parse(text) else { return 500_000 };
    let power = u32::try_from(i32::from(number.exponent) + 6).ok();
    power.and_then(|power| 10u64.checked_pow(power)?.checked_mul(number.digits)).unwrap_or(500_000)
}
