//! What dates and the numbers of a month need of an inspection, beside its line of the list.

use std::cell::RefCell;
use std::collections::BTreeMap;

use serde::Deserialize;
use serde::de::IgnoredAny;
use tapline_protocols::fact::Word;
use tapline_protocols::plan;

use super::bytes::{put, take, take_len};
use super::sheet::{Names, fixed};
use crate::past;

/// What an inspection adds to dates and numbers.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Tally {
    /// Line that signed it.
    pub(super) signed: Option<u64>,
    /// Its book holds the asset as it was registered: without that it counts for nothing.
    pub(super) given: bool,
    /// It was made by the plan that the asset is to be inspected by.
    pub(super) by_its_plan: bool,
    /// Time from its opening to its end in which it did not rest, microseconds of the boot-time
    /// clock.
    pub(super) worked_us: u64,
    /// Steps that were measured once more.
    pub(super) repeats: u64,
    /// Steps whose measured value failed, by name, sorted.
    pub(super) failed: Vec<String>,
    /// Values that were set aside, by who did it.
    pub(super) set_aside: Vec<SetAside>,
}

/// Values that one person set aside in one inspection.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct SetAside {
    /// Operator; empty where the book does not say.
    pub(super) by: String,
    pub(super) values: u64,
    /// Of them those that count all the same: they failed, and no second person agreed.
    pub(super) in_force: u64,
}

/// A tally on its way through the lines of a book.
#[derive(Debug, Default)]
pub(super) struct Tallying {
    tally: Tally,
    own_plan: Option<String>,
    plan: Option<(String, bool)>,
    /// Begin of the stretch that is worked in, boot-time clock; none while it rests.
    since_us: Option<u64>,
    last_us: u64,
    /// By step: its verdict in force is a failed measurement.
    failed: BTreeMap<String, bool>,
}

/// As much of the lines as is needed.
#[derive(Deserialize)]
struct GivenAsset {
    asset: Own,
}

#[derive(Deserialize)]
struct Own {
    plan: Option<String>,
}

#[derive(Deserialize)]
struct GivenPlan {
    text: String,
}

#[derive(Deserialize)]
struct Verdict {
    step: String,
    measurand: Option<IgnoredAny>,
    #[serde(default)]
    from: Vec<IgnoredAny>,
    verdict: Word,
}

#[derive(Deserialize)]
struct Dropped {
    in_force: bool,
    by: Option<String>,
}

/// Words that begin a `given` line behind its kind, and that stand in a repeated step's line. A
/// quote inside a text is escaped, so that no text holds them.
const ASSET: &str = r#""k":"given","what":"asset","#;
pub(super) const PLAN: &str = r#""k":"given","what":"plan","#;
pub(super) const LIMITS: &str = r#""k":"given","what":"limits","#;
const REPEAT: &str = r#""state":"repeat""#;

impl Tallying {
    /// Takes a line of the book; `boot_us` is its moment.
    pub(super) fn take(
        &mut self,
        kind: &[u8],
        text: &[u8],
        boot_us: u64,
    ) -> serde_json::Result<()> {
        self.work(kind, boot_us);
        match kind {
            b"given" if begins(text, ASSET).is_some() => {
                self.own_plan = serde_json::from_slice::<GivenAsset>(text)?.asset.plan;
                self.tally.given = true;
            }
            b"given" if begins(text, PLAN).is_some() => self.plan = plan_of(text)?,
            b"step" if place(text, REPEAT).is_some() => self.tally.repeats += 1,
            b"verdict" => {
                let Verdict { step, measurand, from, verdict } = serde_json::from_slice(text)?;
                let failed = matches!(verdict, Word::Fail | Word::ConditionalFail);
                self.failed.insert(step, failed && measurand.is_some() && !from.is_empty());
            }
            b"drop" => {
                let Dropped { in_force, by } = serde_json::from_slice(text)?;
                self.set_aside(by.unwrap_or_default(), in_force);
            }
            _ => {}
        }
        Ok(())
    }

    /// It rests from a `park`, or from the last line before a `resume`, to the `resume`.
    fn work(&mut self, kind: &[u8], boot_us: u64) {
        if kind == b"resume" {
            self.rest();
            self.since_us = Some(boot_us);
        } else if kind == b"open" {
            self.since_us = Some(boot_us);
        }
        self.last_us = boot_us;
        if kind == b"park" {
            self.rest();
        }
    }

    fn rest(&mut self) {
        if let Some(since) = self.since_us.take() {
            self.tally.worked_us += self.last_us.saturating_sub(since);
        }
    }

    fn set_aside(&mut self, by: String, in_force: bool) {
        let list = &mut self.tally.set_aside;
        let at = list.binary_search_by(|one| one.by.cmp(&by)).unwrap_or_else(|at| {
            list.insert(at, SetAside { by, ..SetAside::default() });
            at
        });
        list[at].values += 1;
        list[at].in_force += u64::from(in_force);
    }

    /// The book holds the asset as it was registered.
    pub(super) fn is_given(&self) -> bool {
        self.tally.given
    }

    /// It ended: what it came to; signed by this line, or by none.
    pub(super) fn end(&mut self, signed: Option<u64>, reason: &str) -> Tally {
        self.rest();
        let plan = self.plan.as_ref().map(|(id, by_name)| (id.as_str(), *by_name));
        let failed = self.failed.iter().filter(|(_, failed)| **failed);
        Tally {
            signed,
            by_its_plan: past::by_its_plan(self.own_plan.as_deref(), plan, reason),
            failed: failed.map(|(step, _)| step.clone()).collect(),
            ..self.tally.clone()
        }
    }
}

/// Where words stand in a line.
fn place(text: &[u8], words: &str) -> Option<usize> {
    text.windows(words.len()).position(|window| window == words.as_bytes())
}

/// Where the words stand that a line begins with, behind its numbers.
pub(super) fn begins(text: &[u8], words: &str) -> Option<usize> {
    const NUMBERS_MAX: usize = 128;
    place(&text[..text.len().min(NUMBERS_MAX + words.len())], words)
}

/// Plans that one thread remembers: a workshop has few, and each is long.
const PLANS_MAX: usize = 16;

/// Text of a plan as it stands in a line, with its id and whether it is taken by name only.
type Known = (Vec<u8>, Option<(String, bool)>);

thread_local! {
    /// Plans that were read last, as the lines have them: a hundred thousand inspections are made
    /// by a few.
    static PLANS: RefCell<Vec<Known>> = const { RefCell::new(Vec::new()) };
}

fn plan_of(text: &[u8]) -> serde_json::Result<Option<(String, bool)>> {
    let own = &text[begins(text, PLAN).unwrap_or(0)..];
    PLANS.with_borrow_mut(|plans| {
        if let Some((_, plan)) = plans.iter().find(|(known, _)| known == own) {
            return Ok(plan.clone());
        }
        let given: GivenPlan = serde_json::from_slice(text)?;
        let plan = plan::parse(&given.text).ok().map(|plan| (plan.id, plan.by_name));
        if plans.len() == PLANS_MAX {
            plans.remove(0);
        }
        plans.push((own.to_vec(), plan.clone()));
        Ok(plan)
    })
}

const SIGNED: u8 = 1;
const GIVEN: u8 = 2;
const BY_ITS_PLAN: u8 = 4;

impl Tally {
    /// Appends it to a sheet.
    pub(super) fn write(&self, names: &mut Names, out: &mut Vec<u8>) {
        let flag = |is, flag| if is { flag } else { 0 };
        let flags = flag(self.signed.is_some(), SIGNED)
            | flag(self.given, GIVEN)
            | flag(self.by_its_plan, BY_ITS_PLAN);
        out.push(flags);
        if let Some(seq) = self.signed {
            put(out, seq);
        }
        put(out, self.worked_us);
        put(out, self.repeats);
        names.list(out, self.failed.iter().map(String::as_str));
        put(out, self.set_aside.len() as u64);
        for SetAside { by, values, in_force } in &self.set_aside {
            names.put(out, by);
            put(out, *values);
            put(out, *in_force);
        }
    }

    /// Reads what was written, with the names of the sheet. `None` if it is none.
    pub(super) fn read(from: &mut &[u8], names: &[&str]) -> Option<Tally> {
        let [flags] = fixed(from)?;
        if flags > SIGNED | GIVEN | BY_ITS_PLAN {
            return None;
        }
        let signed = if flags & SIGNED == 0 { None } else { Some(take(from)?) };
        let (worked_us, repeats) = (take(from)?, take(from)?);
        let name = |from: &mut &[u8]| Some((*names.get(take_len(from)?)?).to_owned());
        let count = take_len(from).filter(|n| *n <= from.len())?;
        let failed = (0..count).map(|_| name(from)).collect::<Option<_>>()?;
        let count = take_len(from).filter(|n| *n <= from.len())?;
        let one =
            |_| Some(SetAside { by: name(from)?, values: take(from)?, in_force: take(from)? });
        let set_aside = (0..count).map(one).collect::<Option<_>>()?;
        let (given, by_its_plan) = (flags & GIVEN != 0, flags & BY_ITS_PLAN != 0);
        Some(Tally { signed, given, by_its_plan, worked_us, repeats, failed, set_aside })
    }
}
