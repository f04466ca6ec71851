//! What is asked of the station: who may, on which bench, and what comes of it.

use tapline_drivers::Now;
use tapline_protocols::Fact;
use tapline_protocols::fact::{ConfirmFact, Given};
use tapline_protocols::inspection::{self, Command, ENTER_AGAIN};
use tapline_protocols::register::Known;

use super::begin::Begin;
use super::core::Core;
use super::event::{Answer, BookId, Effect, Origin, Problem, Request};
use super::import::File;
use super::pins::{Proved, Shown, no_badge};
use super::say::{bad, conflict, missing, refused};
use super::visit::Visit;
use crate::clock::Stamp;

/// Where and as whom something is asked.
#[derive(Debug, Clone)]
pub(super) struct Seat {
    pub bench: String,
    pub at: Stamp,
    pub origin: Origin,
    pub by: Option<String>,
    /// Whose PINs were found right.
    pub proved: Proved,
}

impl Request {
    /// A file for a register, in its own format.
    #[must_use]
    pub fn import(what: &str, text: impl Into<String>) -> Request {
        Request::Import {
            what: what.into(),
            text: text.into(),
            map: None,
            file: None,
            dry_run: false,
        }
    }

    /// Opens an inspection of the selected or named asset as it is usually made.
    #[must_use]
    pub fn begin(asset: Option<String>) -> Request {
        Request::Begin { plan: None, asset, reason: None, order: None, with: Vec::new() }
    }

    /// A proof without figures.
    #[must_use]
    pub fn prove(what: &str) -> Request {
        Request::Prove { what: what.into(), ln: None, npe: None, lpe: None }
    }
}

impl Core {
    /// Does what is asked. `None`: the answer comes later, when the book is sealed.
    pub(super) fn command(
        &mut self,
        at: Stamp,
        (ticket, origin, proved): (u64, Origin, Proved),
        (bench, by): (Option<String>, Option<String>),
        request: Request,
    ) -> Option<Result<Answer, Problem>> {
        let bench = match self.bench_named(bench) {
            Ok(bench) => bench,
            // What is no matter of a bench needs none to be named.
            Err(_) if of_the_station(&request) => String::new(),
            Err(problem) => return Some(Err(problem)),
        };
        let mut person = Ok(None);
        if origin != Origin::Inbox {
            self.left_alone(&bench, at);
            person = self.person(&bench, by);
        }
        let by = match person {
            Ok(by) => by,
            Err(problem) => return Some(Err(problem)),
        };
        if !says_what_was_seen(&request) {
            return Some(Err(conflict(
                "the act does not say what was seen: `expect` with step, state and seq",
                "Look at the status, and send what it shows along.",
            )));
        }
        if let Err(problem) = self.shows_badge(origin, by.as_deref(), &request) {
            return Some(Err(problem));
        }
        let signs = matches!(request, Request::Sign { .. } | Request::End { .. });
        let done = self.request(&Seat { bench, at, origin, by, proved }, request);
        match (signs, &done) {
            (true, Ok(answer)) => {
                let case = answer.id.as_ref().and_then(|id| self.cases.get_mut(id));
                if let Some(case) = case {
                    case.ticket = Some((ticket, answer.clone()));
                }
                None
            }
            _ => Some(done),
        }
    }

    /// Nobody signs from a page that somebody left open, and nobody is a second person there
    /// without being asked: it takes the badge itself, which no screen shows.
    fn shows_badge(
        &self,
        origin: Origin,
        by: Option<&str>,
        request: &Request,
    ) -> Result<(), Problem> {
        let owner = |badge: &str| self.register.owner(badge).map(|one| one.id.as_str());
        match request {
            _ if origin != Origin::Page && !self.asks_for_pin() => Ok(()),
            Request::Sign { badge: None, .. } => Err(no_badge()),
            Request::Sign { badge: Some(badge), .. } if by.is_some() && owner(badge) != by => {
                Err(conflict(
                    "nothing was signed: the badge is not that of who works here",
                    "Who works here signs. Somebody else logs in first: scan their badge as a code.",
                ))
            }
            Request::Discard { second: Some(badge), .. }
                if origin == Origin::Page && owner(badge).is_none() =>
            {
                Err(conflict(
                    "nothing was set aside: this is no badge of a second person",
                    "The second person scans their own badge into its field, or types it.",
                ))
            }
            _ => Ok(()),
        }
    }

    /// Where and as whom something is asked that is no matter of a bench.
    pub(super) fn seat_of(
        &mut self,
        at: Stamp,
        origin: Origin,
        (bench, by): (Option<String>, Option<String>),
    ) -> Result<Seat, Problem> {
        let bench = match (bench.is_some(), self.bench_named(bench)) {
            (_, Ok(bench)) => bench,
            (false, Err(_)) => String::new(),
            (true, Err(problem)) => return Err(problem),
        };
        self.left_alone(&bench, at);
        let by = self.person(&bench, by)?;
        Ok(Seat { bench, at, origin, by, proved: Proved::default() })
    }

    pub(super) fn bench_named(&self, bench: Option<String>) -> Result<String, Problem> {
        match bench {
            Some(bench) if self.benches.contains_key(&bench) => Ok(bench),
            Some(bench) => Err(missing("bench", &bench)),
            None if self.benches.len() == 1 => {
                Ok(self.benches.keys().next().cloned().expect("one"))
            }
            None => Err(bad("there are several benches").next("Name one with --bench.")),
        }
    }

    /// Who acts: who is named, else who is logged in at the bench.
    pub(super) fn person(
        &self,
        bench: &str,
        by: Option<String>,
    ) -> Result<Option<String>, Problem> {
        match by {
            None => Ok(self.register.logins.get(bench).cloned()),
            Some(name) => match self.register.operator(&name) {
                Some(operator) => Ok(Some(operator.id.clone())),
                None => Err(missing("operator", &name).next("Import operators, or correct it.")),
            },
        }
    }

    pub(super) fn request(&mut self, seat: &Seat, request: Request) -> Result<Answer, Problem> {
        let (bench, at, by) = (seat.bench.as_str(), seat.at, seat.by.clone());
        match request {
            Request::Scan { code } => self.scan_code(seat, &code),
            Request::Begin { plan, asset, reason, order, with } => {
                self.begin(seat, &Begin { asset, plan, reason, order, with })
            }
            Request::Resume { id } => self.resume_parked(bench, at, by, &id),
            Request::Login { badge: None } => self.login(bench, at, None),
            Request::Login { badge: Some(badge) } => match self.register.operator(&badge) {
                Some(operator) => {
                    let operator = Some(operator.id.clone());
                    self.login(bench, at, operator)
                }
                None => Err(missing("operator with the badge", &badge)),
            },
            Request::Confirm { rows, document, clause } => {
                self.confirm(at, ConfirmFact { rows, document, clause, read: Vec::new() }, by)
            }
            Request::Check { standard, instrument } => {
                self.begin_check(seat, &standard, instrument.as_deref())
            }
            Request::Import { what, text, map, file, dry_run } => {
                let (what, text, map) = (what.as_str(), text.as_str(), map.as_deref());
                self.import(at, by, &File { what, text, map, name: file.as_deref(), dry_run })
            }
            Request::Withdraw { order, reason } => self.withdraw(at, by, (order, reason)),
            Request::Describe { tell } => self.describe(seat, tell),
            Request::Visit { asset, outcome, place, retry, reason } => {
                self.visit(at, by, Visit { asset, outcome, place, retry, reason })
            }
            Request::End { outcome, reason } => self.end(seat, outcome, reason),
            other => self.act(seat, other),
        }
    }

    /// What the open inspection of a bench is asked to do.
    pub(super) fn act(&mut self, seat: &Seat, request: Request) -> Result<Answer, Problem> {
        let Seat { bench, at, .. } = seat;
        let Some(id) = self.benches[bench].active.clone() else {
            return Err(conflict(
                "no inspection is open on this bench",
                "Scan the asset, then begin.",
            ));
        };
        let nobody = || conflict("nobody is logged in at this bench", "Scan a badge.");
        let by = seat.by.as_deref().ok_or_else(nobody)?;
        let request = self.second_person(request)?;
        self.shows_pin(seat, &request)?;
        let command = command_of(request, self.known_by(seat))
            .ok_or_else(|| bad("that can't be done here"))?;
        self.introduce(&id, *at, by);
        let inspection = &self.cases[&id].inspection;
        let facts = inspection
            .command(Now(at.boot_us), &command, Some(by))
            .map_err(|refusal| refused(&refusal))?;
        let outcome = matches!(command, Command::Sign { .. }).then(|| inspection.outcome().word);
        if outcome.is_some() {
            self.is_complete(&id)?;
            self.complete(&id, *at, by);
        }
        let entered = facts.iter().find_map(entered);
        for fact in facts {
            self.put_act(&id, *at, fact, by);
        }
        let outcome = outcome.map(super::say::word);
        let answer = Answer { outcome, ..Answer::done(self.seq).about(&id) };
        match entered {
            Some(Entered::Once) => Ok(answer.say(&["entered.once"])),
            Some(Entered::Apart) => Err(conflict(
                "the two entries differ, so neither counts",
                "Read the meter again, and enter it twice anew.",
            )),
            None => Ok(answer),
        }
    }

    /// What is asked of the open inspection as it would be answered now; nothing is done.
    pub(super) fn would_be_refused(&self, seat: &Seat, request: &Request) -> Result<(), Problem> {
        let open = self.benches[&seat.bench].active.as_ref();
        let command = command_of(request.clone(), Shown::SCANNED);
        let (Some(id), Some(command)) = (open, command) else { return Ok(()) };
        let inspection = &self.cases[id].inspection;
        let done = inspection.command(Now(seat.at.boot_us), &command, seat.by.as_deref());
        done.map_err(|refusal| refused(&refusal))?;
        if matches!(request, Request::Sign { .. }) { self.is_complete(id) } else { Ok(()) }
    }

    /// Who sets a value aside with somebody must name a person of the register.
    fn second_person(&self, request: Request) -> Result<Request, Problem> {
        match request {
            Request::Discard { seq, cause, second: Some(name) } => {
                let known = self.register.operator(&name);
                let second = known.ok_or_else(|| missing("operator", &name))?.id.clone();
                Ok(Request::Discard { seq, cause, second: Some(second) })
            }
            other => Ok(other),
        }
    }

    /// Everybody who acts in an inspection is given in it, so that the record stands alone.
    fn introduce(&mut self, id: &str, at: Stamp, by: &str) {
        let given = &self.cases[id].inspection.record().given;
        let known = given
            .iter()
            .any(|given| matches!(given, Given::Operator { operator } if operator.id == by));
        if let (false, Some(operator)) = (known, self.register.operators.get(by)) {
            let operator = Box::new(operator.clone());
            self.put_case(id, at, Fact::Given(Given::Operator { operator }), Some(by.into()));
        }
    }

    /// An act, and what it means for the bench: signed, ended and parked inspections leave it.
    fn put_act(&mut self, id: &str, at: Stamp, fact: Fact, by: &str) {
        let leaves = matches!(fact, Fact::Sign(_) | Fact::End(_) | Fact::Park(_));
        if !leaves {
            self.put_case(id, at, fact, Some(by.into()));
            return;
        }
        let bench = self.cases[id].bench.clone();
        self.keep_for_next(&bench, id);
        let seals = !matches!(fact, Fact::Park(_));
        self.put(BookId::Inspection(id.into()), at, fact, Some(by.into()));
        self.bench(&bench).active = None;
        self.tap_bench(&bench, at);
        if seals {
            self.outbox.behind(Effect::Seal { id: id.into() });
        }
    }

    fn resume_parked(
        &mut self,
        bench: &str,
        at: Stamp,
        by: Option<String>,
        id: &str,
    ) -> Result<Answer, Problem> {
        let Some(case) = self.cases.get(id) else { return Err(missing("open inspection", id)) };
        if !case.parked {
            return Err(conflict(
                format!("{id} is not parked"),
                "Go on with it, or park it first.",
            ));
        }
        if let Some(other) = &self.benches[bench].active {
            let detail = format!("{other} is open on this bench");
            return Err(conflict(detail, "Sign, end or park it first."));
        }
        if by.is_none() {
            return Err(conflict("nobody is logged in at this bench", "Scan a badge."));
        }
        self.not_elsewhere(bench)?;
        self.resume(id, bench, at, "park");
        match self.cases[id].faults.is_empty() {
            true => Ok(Answer::done(self.seq).about(id)),
            false => Err(self.faulty(id, &self.cases[id].faults)),
        }
    }
}

/// It concerns the station and none of its benches. Who acts is then named, or logged in at the
/// bench that is.
fn of_the_station(request: &Request) -> bool {
    matches!(
        request,
        Request::Import { .. }
            | Request::Confirm { .. }
            | Request::Visit { .. }
            | Request::Withdraw { .. }
    )
}

/// An act from a face is valid only for what was seen: scripts and acts typed ahead know nothing
/// of it. Nobody is kept from making safe; a code of the sheet is scanned by who stands there.
fn says_what_was_seen(request: &Request) -> bool {
    match request {
        Request::Act { what, expect } => what == "dead" || expect.as_ref().is_some_and(whole),
        Request::Capture { expect } => expect.as_ref().is_some_and(whole),
        _ => true,
    }
}

fn whole(expect: &super::event::Expect) -> bool {
    expect.state.is_some() && expect.seq.is_some()
}

/// What is typed is entered twice.
#[derive(Debug, Clone, Copy)]
enum Entered {
    /// The first of two.
    Once,
    /// The two differ: which figures they were is told to nobody.
    Apart,
}

fn entered(fact: &Fact) -> Option<Entered> {
    match fact {
        Fact::Prove(one) if one.differs => Some(Entered::Apart),
        Fact::Prove(one) if one.why.as_deref() == Some(ENTER_AGAIN) => Some(Entered::Once),
        _ => None,
    }
}

/// What is asked, in the words of the inspection; `None` for what is no matter of an inspection.
fn command_of(request: Request, shown: Shown) -> Option<Command> {
    Some(match request {
        Request::Act { what, expect } => Command::Act { what, expect: expect.map(seen) },
        Request::Capture { expect } => Command::Capture { expect: expect.map(seen) },
        Request::Discard { seq, cause, second } => Command::Discard { seq, cause, second },
        Request::Repeat { step } => Command::Repeat { step },
        Request::Skip { reason } => Command::Skip { reason },
        Request::Answer { answer, item, reason } => Command::Answer { answer, item, reason },
        Request::Null { lead } => Command::Null { lead },
        Request::Prove { what, ln, npe, lpe } => Command::Prove { what, ln, npe, lpe },
        Request::Temperature { celsius, source } => Command::Temperature { celsius, source },
        Request::Enter { shows } => Command::Enter { shows },
        Request::Switch { set } => {
            let known = if shown.scanned { Known::Revealed } else { Known::Declared };
            Command::Switch { set, known }
        }
        Request::Override { step, reason } => Command::Override { step, reason },
        Request::Note { text } => Command::Note { text },
        Request::Park {} => Command::Park,
        Request::End { outcome, reason } => Command::End { outcome, reason },
        Request::Sign { meaning, tag, reason, badge: _ } => {
            Command::Sign { meaning, auth: shown.auth.into(), tag, reason }
        }
        Request::Scan { .. }
        | Request::Begin { .. }
        | Request::Resume { .. }
        | Request::Login { .. }
        | Request::Check { .. }
        | Request::Confirm { .. }
        | Request::Describe { .. }
        | Request::Visit { .. }
        | Request::Review { .. }
        | Request::Amend { .. }
        | Request::Reattach { .. }
        | Request::Release { .. }
        | Request::Withdraw { .. }
        | Request::Import { .. } => return None,
    })
}

fn seen(expect: super::event::Expect) -> inspection::Expect {
    inspection::Expect { step: expect.step, state: expect.state, seq: expect.seq }
}
