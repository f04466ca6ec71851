//! What happened: the facts of all books, one closed enum.
//!
//! A stored line is `seq t m`, then the fact, then `by` where a person acted. Unknown keys are
//! passed over when a line is read: what a program may read is decided by the book's format.

mod bench;
mod check;
mod later;
mod opened;
mod order;
mod station;
mod verdict;
mod wire;

use alloc::boxed::Box;

use serde::{Deserialize, Serialize};

pub use bench::{
    ActFact, AnswerFact, Carried, DropFact, EndFact, NoteFact, NullFact, OverrideFact, ProveFact,
    ResumeFact, ScatterFact, SignFact, StepFact, SwitchFact, ValueFact,
};
pub use check::CheckFact;
pub use later::{AddendumFact, AmendFact, Amended, Later, ReattachFact, ReviewFact};
pub use opened::{DOUBT, Earlier, Given, LinkGiven, Open, Opened, PROOFS, Policy, Release};
pub use order::{OrderEndFact, OrderFact};
pub use station::{
    CheckoutFact, ClockFact, ConfirmFact, KeyFact, LoginFact, PinFact, PrunedFact, ReasonFact,
    RefusedFact, SealedFact, StartFact, TornFact, VisitFact,
};
pub use verdict::{
    ChainLink, Judged, LimitUsed, UncertaintyPart, UncertaintyUsed, VerdictFact, Word,
};
pub use wire::{In, LinkFact, Out, Read, ScanFact, Tap, Tick};

use crate::register::{Asset, CheckStandard, Fixture, Former, Instrument, Lead, Operator, Setup};

/// A reading, by the `seq` of its `in` line and its place in that line's `read` list.
pub type ReadingId = (u64, u32);

/// What happened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "k", rename_all = "snake_case")]
pub enum Fact {
    /// A book begins.
    Open(Box<Open>),
    /// What the inspection rests on, copied so that the record stands alone.
    Given(Given),
    /// A link's stream begins in this book, with a fresh driver.
    Tap(Tap),
    /// Bytes that arrived, and what was read from them.
    In(In),
    /// Bytes that were sent.
    Out(Out),
    /// A driver's deadline fired.
    Tick(Tick),
    /// A link came, went or changed.
    Link(LinkFact),
    /// The wall clock was set, or the machine slept.
    Clock(ClockFact),
    /// A code was scanned.
    Scan(ScanFact),
    /// A step changed its state.
    Step(StepFact),
    /// Switches of the supply box are set.
    Switch(SwitchFact),
    /// A deliberate act of the operator.
    Act(ActFact),
    /// An answer to a look, try or ask step.
    Answer(AnswerFact),
    /// A lead set was nulled.
    Null(NullFact),
    /// A path, supply or liveness check.
    Prove(ProveFact),
    /// A captured value.
    Value(ValueFact),
    /// A captured value was set aside.
    Drop(DropFact),
    /// A step was judged.
    Verdict(Box<VerdictFact>),
    /// A remark.
    Note(NoteFact),
    /// A gate was opened by competence.
    Override(OverrideFact),
    /// The inspection rests.
    Park(ReasonFact),
    /// The inspection goes on, maybe under another boot or version.
    Resume(ResumeFact),
    /// Signed.
    Sign(SignFact),
    /// Ended without measuring through.
    End(EndFact),
    /// A book adds to a sealed inspection.
    Addendum(Box<AddendumFact>),
    /// An inspection was reviewed.
    Review(ReviewFact),
    /// A part of an inspection was put right.
    Amend(Box<AmendFact>),
    /// It was another asset that was inspected.
    Reattach(Box<ReattachFact>),
    /// Bytes after the last right mark were set aside.
    Torn(TornFact),
    /// The station started.
    Start(StartFact),
    /// The station stopped in order.
    Stop(ReasonFact),
    /// An asset of the register.
    Asset(Box<Asset>),
    /// An instrument of the register.
    Instrument(Box<Instrument>),
    /// A network with its voltmeter.
    Setup(Box<Setup>),
    /// A fixture of the register.
    Fixture(Box<Fixture>),
    /// A lead set of the register.
    Lead(Box<Lead>),
    /// A check standard of the register.
    Standard(Box<CheckStandard>),
    /// An instrument was held against a check standard.
    Check(Box<CheckFact>),
    /// An operator of the register.
    Operator(Box<Operator>),
    /// Who works at a bench.
    Login(LoginFact),
    /// Somebody's PIN was set, taken away, or tried.
    Pin(PinFact),
    /// An instrument was seen at a bench.
    Checkout(CheckoutFact),
    /// An asset was looked for and not inspected.
    Visit(Box<VisitFact>),
    /// Somebody wants an asset to be inspected.
    Order(Box<OrderFact>),
    /// What came of a work order.
    OrderEnd(Box<OrderEndFact>),
    /// A value that was measured before the station was.
    Former(Box<Former>),
    /// Limit rows were read in the workshop's own copy of the standard.
    Confirm(ConfirmFact),
    /// A key is announced.
    Key(KeyFact),
    /// A book was sealed.
    Sealed(SealedFact),
    /// Sealed records are removed here, because an archive holds them.
    Pruned(PrunedFact),
    /// The station stopped judging.
    Halted(ReasonFact),
    /// The station started over from disk.
    Recovered(ReasonFact),
    /// Something was refused that an auditor may ask about.
    Refused(RefusedFact),
}
