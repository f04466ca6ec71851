//! Work orders: taken once and for all, offered where their asset is inspected, and closed by what
//! came of it.

use tapline_protocols::fact::{EndFact, OrderEndFact, OrderFact, Word};
use tapline_protocols::read::plain_text;
use tapline_protocols::register::Asset;
use tapline_protocols::{Fact, Fault};

use super::begin::Begin;
use super::case::Case;
use super::changes::Changes;
use super::core::Core;
use super::event::{Answer, Problem};
use super::import::{File, faulty};
use super::library::sha256;
use super::say::{bad, conflict, missing, word};
use crate::books::Line;
use crate::clock::Stamp;
use crate::orders::{self, Order, REASONS};

/// Why an inspection is made where nobody says so.
const USUAL: &str = "scheduled";
/// Who begins without any order says so with this word.
const NO_ORDER: &str = "none";
/// Longest name of a file that is kept, characters.
const NAME_CHARS_MAX: usize = 120;

/// Why an inspection is made, for which order, and what to say of that.
pub(super) type Why = (String, Option<String>, Vec<Vec<String>>);

impl Core {
    /// Takes a file of orders, all of it or nothing. One that says what was taken already makes no
    /// line, whatever became of it since.
    pub(super) fn take_orders(
        &mut self,
        at: Stamp,
        by: Option<&str>,
        file: &File<'_>,
    ) -> Result<Answer, Problem> {
        if file.map.is_some() {
            return Err(bad("only a list of assets or of their values is read by a map"));
        }
        let listed = orders::read(file.text).map_err(|faults| faulty(&faults))?;
        let today = self.settings.zone.date(at.wall_us);
        let faults: Vec<Fault> =
            listed.iter().filter_map(|one| self.order_fault(one, &today)).collect();
        if !faults.is_empty() {
            return Err(faulty(&faults));
        }
        let name: Option<String> = file
            .name
            .map(|name| name.chars().filter(|c| !c.is_control()).take(NAME_CHARS_MAX).collect());
        let (known, new): (Vec<_>, Vec<_>) = listed
            .into_iter()
            .partition(|(_, order)| self.register.orders.get(&order.order).is_some());
        let changes = Changes {
            new: new.iter().map(|(_, order)| order.order.clone()).collect(),
            unchanged: known.len() as u64,
            ..Changes::default()
        };
        let count = new.len().to_string();
        let said = if file.dry_run { "import.dry_run" } else { "import.done" };
        for (_, order) in new.into_iter().filter(|_| !file.dry_run) {
            let sha256 = Some(sha256(file.text));
            let order = OrderFact { file: name.clone(), sha256, ..order };
            self.put_station(at, Fact::Order(Box::new(order)), by.map(str::to_owned));
        }
        // Whoever has one of the assets in front of them sees it.
        self.unseen = true;
        let answer = Answer::done(self.seq).say(&[said, file.what, &count]);
        Ok(Answer { changes: Some(Box::new(changes)), ..answer })
    }

    fn order_fault(&self, (line, order): &(u32, OrderFact), today: &str) -> Option<Fault> {
        let fault =
            |field: &str, text: String| Some(Fault { line: *line, field: field.to_owned(), text });
        if let Some(known) = self.register.orders.get(&order.order) {
            let text = format!(
                "`{}` was taken already and said something else: give what is new a number of its \
                 own, and withdraw the other with `tapline order withdraw`",
                order.order
            );
            return if known.fact.asks_the_same(order) { None } else { fault("order", text) };
        }
        match self.register.asset(&order.asset) {
            None => {
                fault("asset", format!("the register has no `{}`: import it first", order.asset))
            }
            Some(asset) if asset.is_retired(today) => {
                fault("asset", format!("`{}` is retired", order.asset))
            }
            Some(_) => None,
        }
    }

    /// Why an inspection is made. The only open order of its asset gives the reason where nobody
    /// names one; of several, one is to be named.
    pub(super) fn why(&self, begin: &Begin, asset: &Asset) -> Result<Why, Problem> {
        let open = self.register.orders.open_of(&asset.id);
        let (order, besides) = match (begin.order.as_deref(), open.as_slice()) {
            (Some(NO_ORDER), _) => (None, Vec::new()),
            (Some(named), _) => (Some(self.order_named(named, asset)?), Vec::new()),
            (None, [only]) if begin.reason.as_ref().is_none_or(|why| *why == only.fact.reason) => {
                let said = ["begin.order", &only.fact.order, &only.fact.reason];
                (Some(*only), vec![said.map(String::from).to_vec()])
            }
            (None, []) => (None, Vec::new()),
            (None, some) => {
                let names: Vec<&str> = some.iter().map(|one| one.fact.order.as_str()).collect();
                (None, vec![vec!["begin.orders".into(), names.join(", ")]])
            }
        };
        let reason = begin.reason.clone();
        let reason = reason.or_else(|| order.map(|one| one.fact.reason.clone()));
        let reason = reason.unwrap_or_else(|| USUAL.into());
        if !REASONS.contains(&reason.as_str()) {
            return Err(bad(format!("`{reason}` is no reason: {}", REASONS.join(", "))));
        }
        Ok((reason, order.map(|one| one.fact.order.clone()), besides))
    }

    fn order_named(&self, named: &str, asset: &Asset) -> Result<&Order, Problem> {
        let order = self.register.orders.get(named).ok_or_else(|| missing("order", named))?;
        if order.fact.asset != asset.id {
            return Err(conflict(
                format!("order `{named}` is about `{}`, not `{}`", order.fact.asset, asset.id),
                "Scan the asset that it names, or begin with another order.",
            ));
        }
        match order.closed {
            false => Ok(order),
            true => Err(conflict(
                format!("order `{named}` is closed"),
                "Begin without it (--order none), or with another one.",
            )),
        }
    }

    /// The asset that is named, or that of an open inspection which is made because it is due and
    /// for no order; none where the register knows when it is due, or something is ordered for it:
    /// then it is no new one.
    #[must_use]
    pub fn may_be_new(&self, name: &str) -> Option<String> {
        let opened = self.cases.get(name).and_then(|case| case.opened.as_ref());
        if opened.is_some_and(|one| one.reason != USUAL || one.order.is_some()) {
            return None;
        }
        let id = opened.map_or(name, |opened| &opened.asset);
        let unknown = self.register.asset(id).is_some_and(|asset| asset.due.is_none());
        (unknown && self.register.orders.open_of(id).is_empty()).then(|| id.to_owned())
    }

    /// What is asked of an asset that was scanned.
    pub(super) fn ordered(&self, asset: &str) -> Vec<Vec<String>> {
        let said = |order: &&Order| {
            let fact = &order.fact;
            let words = match &fact.wanted_by {
                Some(day) => vec!["scan.order_by", &fact.order, &fact.reason, day],
                None => vec!["scan.order", &fact.order, &fact.reason],
            };
            words.into_iter().map(str::to_owned).collect()
        };
        self.register.orders.open_of(asset).iter().take(SAID_MAX).map(said).collect()
    }

    /// Somebody takes an order back: nothing more is to be done for it.
    pub(super) fn withdraw(
        &mut self,
        at: Stamp,
        by: Option<String>,
        (named, reason): (String, String),
    ) -> Result<Answer, Problem> {
        let Some(by) = by else {
            return Err(bad("nobody is named who withdraws it").next("Name one with --by."));
        };
        if !plain_text(&reason) {
            return Err(bad("`reason` needs 1 to 500 characters on one row"));
        }
        let order = self.register.orders.get(&named).ok_or_else(|| missing("order", &named))?;
        if order.closed {
            return Err(conflict(format!("order `{named}` is closed"), "There is nothing to do."));
        }
        let end = OrderEndFact {
            order: named.clone(),
            outcome: "withdrawn".into(),
            closed: true,
            reason: Some(reason),
            inspection: None,
        };
        let seq = self.put_station(at, Fact::OrderEnd(Box::new(end)), Some(by));
        Ok(Answer::done(seq).say(&["order.withdrawn", &named]))
    }

    /// An asset is out of use for good: so are its orders, but for the one of its open inspection,
    /// which names that inspection when it is sealed.
    pub(super) fn close_orders_of(&mut self, at: Stamp, asset: &str) {
        let case = self.cases.values().find(|case| case.asset() == asset);
        let own = case.and_then(|case| case.opened.as_ref()?.order.clone());
        let open = self.register.orders.open_of(asset);
        let others =
            open.iter().map(|one| one.fact.order.clone()).filter(|one| own.as_ref() != Some(one));
        for order in others.collect::<Vec<_>>() {
            let outcome = "retired".into();
            self.close_order(
                at,
                OrderEndFact { order, outcome, closed: true, ..OrderEndFact::default() },
            );
        }
    }

    /// What a book that is sealed now means for its order.
    pub(super) fn end_of_order(&mut self, id: &str) -> Option<OrderEndFact> {
        self.ended.remove(id).or_else(|| self.cases.get(id).and_then(came_of))
    }

    /// An inspection was sealed: its order is closed, or waits on.
    pub(super) fn close_order(&mut self, at: Stamp, end: OrderEndFact) {
        let open = self.register.orders.get(&end.order).is_some_and(|order| !order.closed);
        if open {
            self.put_station(at, Fact::OrderEnd(Box::new(end)), None);
        }
    }
}

/// Orders that are said of an asset.
const SAID_MAX: usize = 5;

/// What an inspection that is signed or ended means for its order.
fn came_of(case: &Case) -> Option<OrderEndFact> {
    let order = case.opened.as_ref()?.order.clone()?;
    let record = case.inspection.record();
    let signed = record.signed.as_ref().map(|line| line.fact.outcome);
    end_of((&case.id, order), signed, record.ended.as_ref().map(|line| &line.fact))
}

/// The same of the lines of a book.
#[must_use]
pub fn order_of(id: &str, lines: &[Line]) -> Option<OrderEndFact> {
    let (mut order, mut signed, mut ended) = (None, None, None);
    for line in lines {
        match &line.fact {
            Fact::Open(open) => order = open.inspection.as_ref().and_then(|one| one.order.clone()),
            Fact::Sign(sign) => signed = Some(sign.outcome),
            Fact::End(end) => ended = Some(end),
            _ => {}
        }
    }
    end_of((id, order?), signed, ended)
}

/// Whoever signs has done what was ordered, whatever came of it. What was not measured through
/// leaves it open, unless the asset is out of use for good.
fn end_of(
    (id, order): (&str, String),
    signed: Option<Word>,
    ended: Option<&EndFact>,
) -> Option<OrderEndFact> {
    let (outcome, closed, reason) = match (signed, ended) {
        (Some(outcome), _) => (word(outcome), true, None),
        (None, Some(end)) => {
            (end.outcome.clone(), end.outcome == "retired", Some(end.reason.clone()))
        }
        (None, None) => return None,
    };
    Some(OrderEndFact { order, inspection: Some(id.to_owned()), outcome, closed, reason })
}
