//! What the bench knows by watching: volatile, void after a restart and after a lost link.

use alloc::collections::BTreeMap;
use alloc::string::{String, ToString};

use tapline_drivers::{Function, Now};

use super::brief::Brief;
use super::channel::Channel;
use super::direct::DirectRun;
use super::job::Job;
use super::null::NullRun;
use super::proof::ProofRun;
use super::record::Record;
use super::run::Phase;
use super::test_current::TestRun;
use crate::fact::{ActFact, Fact, LinkFact, StepFact};
use crate::register::Known;

/// Everything volatile.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Watch {
    channels: BTreeMap<String, Channel>,
    pub(super) null: Option<NullRun>,
    pub(super) proof: ProofRun,
    pub(super) direct: DirectRun,
    pub(super) test: TestRun,
    /// Why the last null or proof was not accepted, a word.
    pub(super) refused: Option<&'static str>,
    /// Moment from which an instrument that was not seen yet counts as spent.
    since: Now,
}

impl Watch {
    /// The channel of an instrument.
    pub(super) fn channel(&mut self, instrument: &str) -> &mut Channel {
        let since = self.since;
        let fresh = || {
            let mut channel = Channel::default();
            channel.lose(since);
            channel
        };
        self.channels.entry(instrument.to_string()).or_insert_with(fresh)
    }

    /// The channel of an instrument that was seen.
    pub(super) fn seen(&self, instrument: &str) -> Option<&Channel> {
        self.channels.get(instrument)
    }

    /// The meter of a job measures the function of the job: it says so, or sends it.
    pub(super) fn measures(&self, job: &Job) -> bool {
        let channel = self.seen(&job.meter);
        let function = match job.polled {
            true => channel.and_then(|channel| channel.ready).map(|(function, _)| function),
            false => channel.and_then(|channel| channel.newest).map(|(function, _)| function),
        };
        function == Some(job.function)
    }

    /// The meter of a job says numbers, and nothing that shows a test voltage behind them.
    pub(super) fn lacks_voltage(&self, job: &Job) -> bool {
        let says = self.seen(&job.meter).filter(|channel| channel.newest.is_some());
        says.is_some_and(|channel| channel.voltage(job) != Some(Known::Witnessed))
    }

    /// A polled meter says what it is configured to.
    pub(super) fn configured(&mut self, instrument: &str, function: Function, at: Now) {
        let channel = self.channel(instrument);
        channel.ready = Some((function, at));
        channel.disturb();
    }

    /// The link of an instrument was lost or begins anew.
    pub(super) fn lost(&mut self, instrument: &str, at: Now) {
        self.channel(instrument).lose(at);
        self.proof = ProofRun::default();
        self.direct = DirectRun::default();
        self.test = TestRun::default();
        if self.null.as_ref().is_some_and(|null| null.meter == instrument) {
            self.null = None;
        }
    }

    /// Follows a fact. `was` is the phase before it was applied to the record.
    pub(super) fn follow(
        &mut self,
        at: Now,
        fact: &Fact,
        (record, was): (&Record, Phase),
        brief: Option<&Brief>,
    ) {
        match fact {
            Fact::Open(_) | Fact::Resume(_) | Fact::Park(_) => {
                *self = Watch { since: at, ..Watch::default() };
            }
            Fact::Tap(tap) => {
                if let Some(instrument) = &tap.instrument {
                    self.lost(instrument, at);
                }
            }
            _ => {
                let Some(brief) = brief else { return };
                self.follow_known(at, fact, (record, was), brief);
            }
        }
    }

    fn follow_known(
        &mut self,
        at: Now,
        fact: &Fact,
        (record, was): (&Record, Phase),
        brief: &Brief,
    ) {
        match fact {
            Fact::Link(link) => self.link(at, link, brief),
            Fact::Step(step) => self.step(at, step, brief),
            Fact::Act(act) => self.act(at, act, record, brief),
            Fact::Value(value) => {
                if let Some(job) = brief.job(&value.step) {
                    self.channel(&job.meter).spend(at);
                }
            }
            // The asset was set to another operating state: the window begins after that.
            Fact::Prove(proof) if proof.operating.is_some() => self.disturb(record, brief),
            Fact::Null(null) if null.carried.is_none() => {
                if let Some(run) = self.null.take() {
                    self.channel(&run.meter).spend(at);
                    self.null = run.next(null.direction, at);
                }
                self.refused = None;
            }
            Fact::Switch(_) => {
                self.test = TestRun::default();
                self.disturb(record, brief);
                if record.run.phase != was {
                    self.phase(at, record, brief);
                }
            }
            _ => {}
        }
    }

    fn link(&mut self, at: Now, fact: &LinkFact, brief: &Brief) {
        let on = |link: &&crate::fact::LinkGiven| link.link == fact.link;
        let instrument = brief.links.iter().find(on).and_then(|link| link.instrument.clone());
        if let Some(instrument) = instrument.filter(|_| fact.state != "up") {
            self.lost(&instrument, at);
        }
    }

    fn step(&mut self, at: Now, fact: &StepFact, brief: &Brief) {
        self.refused = None;
        if let Some(job) = brief.job(&fact.step).filter(|_| fact.state == "active") {
            self.channel(&job.meter).turn(at);
        }
    }

    fn act(&mut self, at: Now, act: &ActFact, record: &Record, brief: &Brief) {
        self.refused = None;
        if let Some(lead) = act.step.strip_prefix("null/") {
            self.null = NullRun::begin(brief, record, self.null.take(), (lead, at));
            if let Some(null) = &self.null {
                let meter = null.meter.clone();
                self.channel(&meter).spend(at);
            }
            return;
        }
        self.null = None;
        match (act.what.as_str(), brief.job(&act.step)) {
            ("arm", Some(job)) if job.by_operator() => self.channel(&job.meter).ask(at),
            ("arm", Some(job)) => self.channel(&job.meter).arm(at),
            ("test", Some(_)) => self.disturb(record, brief),
            (what, Some(job)) => {
                if matches!(what, "connected" | "dead") {
                    self.channel(&job.meter).volts.begin(at);
                }
                self.disturb(record, brief);
                self.phase(at, record, brief);
            }
            _ => {}
        }
    }

    /// Energised on purpose: that is the act that arms. Anything else is not measured live.
    fn phase(&mut self, at: Now, record: &Record, brief: &Brief) {
        let active = record.active().and_then(|step| brief.job(&step.expanded.step));
        let Some(job) = active.filter(|job| job.runs()) else { return };
        if record.run.live_and_watched() {
            self.channel(&job.meter).arm(at);
        } else if record.run.phase == Phase::Cleared {
            self.channel(&job.meter).cleared(at, job);
        } else {
            self.channel(&job.meter).spend(at);
        }
    }

    fn disturb(&mut self, record: &Record, brief: &Brief) {
        let active = record.active().and_then(|step| brief.job(&step.expanded.step));
        if let Some(job) = active {
            self.channel(&job.meter).disturb();
        }
    }
}
