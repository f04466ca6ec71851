//! What happens to a sealed inspection: each act is an addendum, a sealed book of its own. The
//! station keeps no sealed book at hand; whoever asks brings what was read of it, and the station
//! looks that nothing was added since.

mod amend;
mod person;
mod reattach;

use tapline_drivers::Now;
use tapline_protocols::Fact;
use tapline_protocols::fact::{Given, Later, Open, ReviewFact, SealedFact, SignFact, Word};
use tapline_protocols::life::{ADDENDA_MAX, Life, State, Told, rank};
use tapline_protocols::read::plain_text;

use super::begin::VERIFY;
use super::case::Case;
use super::command::Seat;
use super::core::Core;
use super::event::{Answer, BookId, Effect, Origin, Problem, Request};
use super::pins::Proved;
use super::say::{bad, conflict, missing};
use crate::books::Line;
use crate::books::place::{inspection_of, join};
use crate::clock::Stamp;

pub use person::same_name;

/// What was read of a sealed inspection and its addenda; what went over the wire is left out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Past {
    /// Name of the inspection.
    pub id: String,
    /// SHA-256 of its book, hex.
    pub head: String,
    /// Its lines.
    pub lines: Vec<Line>,
    /// Name, head and lines of each addendum, in order.
    pub addenda: Vec<(String, String, Vec<Line>)>,
}

/// What is asked, at which bench and by whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// Bench, if one was named.
    pub bench: Option<String>,
    /// Operator, if one was named.
    pub by: Option<String>,
    /// What is asked.
    pub request: Request,
    /// People whose PINs were found right just now.
    pub proved: Proved,
}

/// A book that is being sealed, besides the inspections in work.
#[derive(Debug, Default)]
pub(super) struct Sealing {
    /// Who waits for it.
    pub(super) ticket: Option<(u64, Answer)>,
    /// What its inspection is then.
    pub(super) later: Option<Later>,
    /// Its inspection then waits for a review.
    pub(super) waits: bool,
}

/// Lines of an addendum above its act: the first two, and one for each person.
const ABOVE: u64 = 3;

/// What an act adds, and what is said of it.
struct Added {
    facts: Vec<Fact>,
    meaning: &'static str,
    say: &'static str,
    besides: Vec<Vec<String>>,
}

impl Past {
    /// What the books come to.
    #[must_use]
    pub fn life(&self) -> Life {
        let mut life = Life::begin(&self.id, &self.head);
        self.lines.iter().for_each(|line| life.take(told(line)));
        life.ends();
        for (id, head, lines) in &self.addenda {
            life.addendum(id, head);
            lines.iter().for_each(|line| life.add(told(line)));
        }
        life
    }
}

fn told(line: &Line) -> Told<'_> {
    Told { seq: line.seq, at: Now(line.at.boot_us), fact: &line.fact, by: line.by.as_deref() }
}

impl Request {
    /// The sealed inspection that it is about; `None` for what is no matter of one.
    #[must_use]
    pub fn is_about(&self) -> Option<&str> {
        match self {
            Request::Review { id, .. }
            | Request::Amend { id, .. }
            | Request::Reattach { id, .. }
            | Request::Release { id, .. } => Some(id),
            _ => None,
        }
    }
}

impl Request {
    /// The second person whom it names, and the head that was seen, where it is about a sealed
    /// inspection.
    fn besides(&self) -> (Option<&str>, Option<&str>) {
        match self {
            Request::Review { expect, .. } | Request::Release { expect, .. } => {
                (None, expect.as_deref())
            }
            Request::Amend { second, expect, .. } | Request::Reattach { second, expect, .. } => {
                (second.as_deref(), expect.as_deref())
            }
            _ => (None, None),
        }
    }
}

impl Core {
    /// Answers who asks for something that is added to a sealed inspection.
    pub(super) fn asked_later(
        &mut self,
        (at, ticket): (Stamp, u64),
        origin: Origin,
        Asked { bench, by, request, proved }: Asked,
        past: &Past,
    ) {
        let shown = self.badges_shown(origin, by.as_deref(), request.besides().0);
        let seat = shown.and_then(|()| self.seat_of(at, origin, (bench, by)));
        let done = match seat {
            Ok(seat) => self.later(&Seat { proved, ..seat }, ticket, &request, past),
            Err(problem) => Some(Err(problem)),
        };
        if let Some(result) = done {
            self.answer(ticket, result);
        }
    }

    pub(super) fn sealed(&mut self, at: Stamp, sealed: SealedFact) {
        let end = self.end_of_order(&sealed.id);
        let (sealed, ticket) = self.is_sealed(sealed);
        if self.register.sealed.contains(&sealed.id) {
            return;
        }
        let of = inspection_of(&sealed.id).to_owned();
        let seq = self.put_station(at, Fact::Sealed(sealed), None);
        if let Some(end) = end {
            self.close_order(at, end);
        }
        if let Some((ticket, answer)) = ticket {
            self.answer(ticket, Ok(Answer { seq, ..answer.about(&of) }));
        }
    }

    /// Adds to a sealed inspection. `None`: the answer comes when the addendum is sealed.
    fn later(
        &mut self,
        seat: &Seat,
        ticket: u64,
        request: &Request,
        past: &Past,
    ) -> Option<Result<Answer, Problem>> {
        // From here on lines follow one another without a gap.
        self.close_pending();
        match self.added(seat, request, past) {
            Err(problem) => Some(Err(problem)),
            Ok((life, added)) => {
                self.add(seat, ticket, &life, added);
                None
            }
        }
    }

    fn added(&self, seat: &Seat, request: &Request, past: &Past) -> Result<(Life, Added), Problem> {
        self.clock_may_be_right(seat.at)?;
        self.is_newest(past)?;
        let life = past.life();
        if life.state() == State::Unsigned {
            let text = format!("{} was ended without a signature: nothing was measured", past.id);
            return Err(conflict(text, "Inspect the asset."));
        }
        as_seen(&life, request.besides().1)?;
        let by = self.signer(seat)?;
        self.pin_shown(seat, &by.id)?;
        let added = match request {
            Request::Review { remark, reject, .. } => {
                self.other_person(by, &life)?;
                review(&life, remark.as_deref(), reject.as_deref())
            }
            Request::Amend { reason, text, change, second, .. } => {
                let second = self.second(seat, by, second.as_deref())?;
                let first = self.seq + ABOVE + 1 + u64::from(second.is_some());
                let people = amend::People { by, second, first };
                amend::amend(&life, &people, (reason, text), change)
            }
            Request::Reattach { to, text, second, .. } => {
                let second = self.second(seat, by, second.as_deref())?;
                let to = self.register.asset(to).ok_or_else(|| missing("asset", to))?;
                reattach::reattach(&life, second, to, text)
            }
            Request::Release { .. } => release(&life),
            _ => Err(bad("that can't be done to a sealed inspection")),
        }?;
        Ok((life, added))
    }

    /// What was read is all there is, as the station knows it.
    fn is_newest(&self, past: &Past) -> Result<(), Problem> {
        let id = past.id.as_str();
        if !self.register.sealed.contains(id) {
            let text = format!("the station has not sealed {id} yet");
            return Err(conflict(text, "Wait a moment, then try again."));
        }
        if self.sealing.keys().any(|sealing| inspection_of(sealing) == id) {
            let text = format!("something else is being added to {id}");
            return Err(conflict(text, "Look at it again, then repeat."));
        }
        let known = self.register.sealed.range(format!("{id}+")..format!("{id},")).count();
        match known.cmp(&past.addenda.len()) {
            std::cmp::Ordering::Equal if known < ADDENDA_MAX as usize => Ok(()),
            std::cmp::Ordering::Equal => {
                Err(conflict(format!("{id} has {known} addenda"), "Inspect the asset anew."))
            }
            std::cmp::Ordering::Less => {
                let text = format!("an addendum lies beside {id} that this station has not sealed");
                Err(conflict(text, "Run `tapline verify` on the data folder."))
            }
            std::cmp::Ordering::Greater => {
                let text = format!("{known} addenda to {id} were sealed, and not all are there");
                Err(conflict(text, "Run `tapline verify` on the data folder."))
            }
        }
    }

    /// Stores an addendum in one commit, so that a power cut leaves all of it or nothing, and
    /// seals it.
    fn add(&mut self, seat: &Seat, ticket: u64, life: &Life, added: Added) {
        let by = seat.by.clone().expect("it was looked for who signs");
        let number = u32::try_from(life.addenda.len() + 1).expect("there are few");
        let id = join(&life.id, number);
        let open = Open {
            verify: Some(VERIFY.into()),
            key: self.context.key.clone(),
            follows: Some(life.newest().0.into()),
            ..self.open_fact(id.clone(), seat.at)
        };
        let mut facts = vec![Fact::Open(Box::new(open)), Fact::Addendum(Box::new(life.next()))];
        let people = [Some(by.as_str()), second_of(&added.facts)];
        for person in people.into_iter().flatten() {
            let operator = self.register.operators.get(person).expect("both are registered");
            facts.push(Fact::Given(Given::Operator { operator: Box::new(operator.clone()) }));
        }
        facts.extend(added.facts);
        let then = life.with((&id, self.seq + 1), &facts, &by);
        facts.push(Fact::Sign(SignFact {
            meaning: added.meaning.into(),
            auth: self.known_by(seat).auth.into(),
            outcome: then.outcome(),
            words: then.words(),
            open: Vec::new(),
            tag: None,
            reason: None,
        }));
        let then = life.with((&id, self.seq + 1), &facts, &by);
        let answer = Answer::done(0).about(&life.id).say(&[added.say, &life.id]);
        let answer = answer.besides(added.besides);
        let (later, waits) = (then.later(), then.waits());
        self.sealing.insert(id.clone(), Sealing { ticket: Some((ticket, answer)), later, waits });
        for fact in facts {
            self.put(BookId::Inspection(id.clone()), seat.at, fact, Some(by.clone()));
        }
        self.outbox.behind(Effect::Seal { id });
    }

    /// What the `sealed` fact of a book says besides, and who waits for it.
    fn is_sealed(&mut self, sealed: SealedFact) -> (SealedFact, Option<(u64, Answer)>) {
        if let Some(Sealing { ticket, later, waits }) = self.sealing.remove(&sealed.id) {
            return (SealedFact { later, waits, ..sealed }, ticket);
        }
        let Some(case) = self.cases.remove(&sealed.id) else { return (sealed, None) };
        let waits = waits(&case, &sealed.head);
        (SealedFact { waits, ..sealed }, case.ticket)
    }

    /// Inspections that wait for somebody else to look through them, by name.
    pub fn waiting(&self) -> impl Iterator<Item = &str> {
        self.register.waiting.iter().map(String::as_str)
    }
}

/// An inspection that was just sealed waits for its review.
fn waits(case: &Case, head: &str) -> bool {
    let signed = case.inspection.record().signed.as_ref().map(|line| line.fact.outcome);
    let policy = case.opened.as_ref().map(|opened| opened.policy.review.as_str());
    let asks = tapline_protocols::life::asks_for_review;
    signed.zip(policy).is_some_and(|(outcome, policy)| asks(policy, head, outcome))
}

/// Nobody signs what stands there since they looked.
fn as_seen(life: &Life, expect: Option<&str>) -> Result<(), Problem> {
    match expect.is_none_or(|head| head == life.newest().1) {
        true => Ok(()),
        false => {
            let text = format!("something was added to {} since you looked at it", life.id);
            Err(conflict(text, "Load it again, look at what was added, then repeat."))
        }
    }
}

fn review(life: &Life, remark: Option<&str>, reject: Option<&str>) -> Result<Added, Problem> {
    let rejected = life.state() == State::Rejected;
    if rejected || (life.is_reviewed() && reject.is_none()) {
        let text = format!("{} was {} already", life.id, life.state().word());
        let next = match rejected {
            true => "Amend it, or inspect the asset anew.",
            false => "Nothing is to be done; reject it if it does not stand.",
        };
        return Err(conflict(text, next));
    }
    let remark = match (remark, reject) {
        (Some(_), Some(_)) => {
            return Err(bad("`remark` and `reject` were both given").next("Give one of them."));
        }
        (_, Some(reason)) => Some(long_enough("reject", reason)?),
        (Some(remark), None) if !plain_text(remark) => {
            return Err(bad("`remark` needs 1 to 500 characters on one row"));
        }
        (remark, None) => remark.map(Into::into),
    };
    let accepted = reject.is_none();
    let say = if accepted { "life.reviewed" } else { "life.rejected" };
    let facts = vec![Fact::Review(ReviewFact { accepted, remark })];
    Ok(Added { facts, meaning: "reviewed", say, besides: Vec::new() })
}

fn release(life: &Life) -> Result<Added, Problem> {
    let id = &life.id;
    if life.is_released() {
        return Err(conflict(format!("{id} is released already"), "Nothing is to be done."));
    }
    if rank(life.outcome()) < rank(Word::ConditionalPass) {
        let text = format!("{id} is no pass");
        return Err(conflict(text, "Only a pass is released: repair it, and inspect it anew."));
    }
    if life.state() == State::Rejected {
        return Err(conflict(format!("{id} was rejected"), "Amend it, or inspect anew."));
    }
    if life.waits() {
        let text = format!("{id} waits for its review");
        return Err(conflict(text, "Let somebody review it who took no part in it."));
    }
    let (facts, say) = (Vec::new(), "life.released");
    Ok(Added { facts, meaning: "released", say, besides: Vec::new() })
}

/// A reason in words that say something.
fn long_enough(name: &str, text: &str) -> Result<String, Problem> {
    let text = text.trim();
    let least = tapline_protocols::life::TEXT_CHARS_MIN;
    match plain_text(text) && text.chars().count() >= least {
        true => Ok(text.into()),
        false => Err(bad(format!("`{name}` needs {least} to 500 characters on one row"))),
    }
}

fn second_of(facts: &[Fact]) -> Option<&str> {
    facts.iter().find_map(|fact| match fact {
        Fact::Amend(amend) => amend.second.as_deref(),
        Fact::Reattach(reattach) => reattach.second.as_deref(),
        _ => None,
    })
}
