//! What a person at a bench sees and does.

use tapline::clock::Stamp;
use tapline::station::Proved;
use tapline::station::event::{Answer, Event, Expect, Origin, Problem, Request};
use tapline::station::status::BenchStatus;

use super::world::World;

impl World {
    /// Asks as the operator who is logged in, and waits for the answer.
    pub(crate) fn ask(&mut self, request: Request) -> Result<Answer, Problem> {
        self.ask_as(None, request)
    }

    pub(crate) fn ask_as(&mut self, by: Option<&str>, request: Request) -> Result<Answer, Problem> {
        self.ask_then(self.at(), by, request)
    }

    /// Asks at a moment of one's own.
    pub(crate) fn ask_at(&mut self, at: Stamp, request: Request) -> Result<Answer, Problem> {
        self.ask_then(at, None, request)
    }

    fn ask_then(
        &mut self,
        at: Stamp,
        by: Option<&str>,
        request: Request,
    ) -> Result<Answer, Problem> {
        self.ticket += 1;
        let (ticket, by) = (self.ticket, by.map(String::from));
        let proved = Proved::default();
        let origin = Origin::Socket(1000);
        let bench = self.station.two.then(|| ["b1", "b2"][self.seat].to_string());
        self.event(Event::Command { at, ticket, origin, bench, by, request, proved });
        for _ in 0..100 {
            if let Some(answer) = self.answers.remove(&ticket) {
                return answer;
            }
            self.run(1_000);
        }
        assert!(self.halted, "no answer within a tenth of a second");
        Err(Problem::new("halted", "the disk failed"))
    }

    /// An act for exactly what the status shows, more than a second after it.
    pub(crate) fn act(&mut self, what: &str) -> Result<Answer, Problem> {
        self.run(1_100_000);
        let prompt = self.prompt();
        let expect =
            Expect { step: prompt.step, state: Some(prompt.state.to_string()), seq: prompt.seq };
        self.ask(Request::Act { what: what.into(), expect: Some(expect) })
    }

    /// What is shown of the bench where the person stands.
    pub(crate) fn shown(&self) -> Option<&BenchStatus> {
        Some(&self.status.as_ref()?.benches[self.seat])
    }

    /// What the operator is shown.
    pub(crate) fn prompt(&self) -> tapline_protocols::inspection::Prompt {
        let inspection = self.shown().and_then(|bench| bench.inspection.as_ref());
        inspection.map(|one| one.prompt.clone()).unwrap_or_default()
    }

    pub(crate) fn state(&self) -> &'static str {
        self.prompt().state
    }

    /// Runs until the prompt says `state`; panics after a minute.
    pub(crate) fn until(&mut self, state: &str) {
        for _ in 0..600 {
            if self.state() == state {
                return;
            }
            self.run(100_000);
        }
        panic!("waited for `{state}`, it says {:?}", self.prompt());
    }

    pub(crate) fn set(&mut self, s5: bool, s7: bool, supply: bool) {
        self.bench.set(self.now, (s5, s7, supply), &mut self.rng);
        self.run(200_000);
    }

    pub(crate) fn scan(&mut self, code: &str) {
        self.bench.scan(self.now, code, &mut self.rng);
        self.run(1_500_000);
    }

    /// The clips come apart, then join over `shows`, and stay until a value is there.
    pub(crate) fn touch(&mut self, shows: &str) {
        self.bench.ohms = "OL".into();
        self.run(2_000_000);
        self.bench.ohms = shows.into();
        self.run(8_000_000);
    }

    /// The id of the open inspection.
    pub(crate) fn active(&self) -> Option<String> {
        Some(self.shown()?.inspection.as_ref()?.id.clone())
    }
}
