//! What the station's lines say of work orders.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::{Value, json};
use tapline_protocols::Fact;
use tapline_protocols::fact::{Later, OrderEndFact, OrderFact, Word};

use crate::books::place::inspection_of;

/// Attempts that are kept of an order; the first and the newest ones.
const TRIED_MAX: usize = 16;

/// An order with what came of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order {
    /// Line that tells of it.
    pub seq: u64,
    /// What is asked.
    pub fact: OrderFact,
    /// What came of it, the newest last.
    pub tried: Vec<Tried>,
    /// Nothing more is to be done for it.
    pub closed: bool,
}

/// Something came of an order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Tried {
    /// Line that tells of it.
    pub seq: u64,
    /// What.
    #[serde(flatten)]
    pub fact: OrderEndFact,
    /// What its inspection comes to since an addendum to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub now: Option<Word>,
    /// The asset that its inspection is about since, where it is another one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub now_of: Option<String>,
}

/// All orders, by number.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Orders(BTreeMap<String, Order>);

impl Orders {
    /// The only place where they change.
    pub(crate) fn apply(&mut self, seq: u64, fact: &Fact) {
        match fact {
            Fact::Order(order) => {
                let (tried, closed) = (Vec::new(), false);
                let one = Order { seq, fact: (**order).clone(), tried, closed };
                self.0.entry(order.order.clone()).or_insert(one);
            }
            Fact::OrderEnd(end) => {
                let Some(order) = self.0.get_mut(&end.order) else { return };
                order.closed |= end.closed;
                if order.tried.len() == TRIED_MAX {
                    order.tried.remove(1);
                }
                let (fact, now, now_of) = ((**end).clone(), None, None);
                order.tried.push(Tried { seq, fact, now, now_of });
            }
            Fact::Sealed(sealed) => {
                if let Some(later) = &sealed.later {
                    self.later(inspection_of(&sealed.id), later);
                }
            }
            _ => {}
        }
    }

    /// Something was put right in an inspection, which may have been made for an order.
    fn later(&mut self, id: &str, later: &Later) {
        for order in self.0.values_mut() {
            let elsewhere = (later.asset != order.fact.asset).then(|| later.asset.clone());
            let own = |one: &&mut Tried| one.fact.inspection.as_deref() == Some(id);
            for tried in order.tried.iter_mut().filter(own) {
                tried.now = Some(later.outcome);
                tried.now_of.clone_from(&elsewhere);
            }
        }
    }

    /// An order.
    #[must_use]
    pub fn get(&self, order: &str) -> Option<&Order> {
        self.0.get(order)
    }

    /// All of them, in the order of their numbers.
    pub fn all(&self) -> impl Iterator<Item = &Order> {
        self.0.values()
    }

    /// What is to be done, what is wanted first before the other; without a day last.
    #[must_use]
    pub fn open(&self) -> Vec<&Order> {
        let mut open: Vec<&Order> = self.0.values().filter(|one| !one.closed).collect();
        open.sort_by_key(|one| (one.fact.wanted_by.is_none(), &one.fact.wanted_by, one.seq));
        open
    }

    /// What is to be done on an asset, what is wanted first before the other.
    #[must_use]
    pub fn open_of(&self, asset: &str) -> Vec<&Order> {
        self.open().into_iter().filter(|one| one.fact.asset == asset).collect()
    }
}

impl Order {
    /// As the interface shows it in a list of assets.
    #[must_use]
    pub fn mark(&self) -> Value {
        let fact = &self.fact;
        json!({
            "order": fact.order, "reason": fact.reason, "wanted_by": fact.wanted_by,
            "remark": fact.remark,
        })
    }

    /// As the interface shows it.
    #[must_use]
    pub fn json(&self) -> Value {
        let mut json = serde_json::to_value(&self.fact).expect("it is plain fields and strings");
        json["seq"] = self.seq.into();
        json["state"] = if self.closed { "closed" } else { "open" }.into();
        json["tried"] = json!(self.tried);
        json
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapline_protocols::fact::SealedFact;

    fn order(order: &str, wanted_by: Option<&str>) -> Fact {
        let (asset, wanted_by) = ("P-1".into(), wanted_by.map(String::from));
        let fact = OrderFact { order: order.into(), asset, wanted_by, ..OrderFact::default() };
        Fact::Order(Box::new(fact))
    }

    fn end(order: &str, outcome: &str, closed: bool) -> Fact {
        let inspection = closed.then(|| "K3-20261127-0001".to_owned());
        let (order, outcome, reason) = (order.into(), outcome.into(), None);
        Fact::OrderEnd(Box::new(OrderEndFact { order, outcome, closed, reason, inspection }))
    }

    #[test]
    fn an_order_is_open_until_something_closes_it() {
        let mut orders = Orders::default();
        let told =
            [order("A", None), order("B", Some("2026-12-01")), order("C", Some("2026-11-30"))];
        (1..).zip(&told).for_each(|(seq, fact)| orders.apply(seq, fact));
        let open = |orders: &Orders| {
            orders.open_of("P-1").iter().map(|one| one.fact.order.clone()).collect::<Vec<_>>()
        };
        assert_eq!(open(&orders), ["C", "B", "A"]);
        orders.apply(4, &end("C", "in_use", false));
        assert_eq!(open(&orders)[0], "C");
        orders.apply(5, &end("C", "pass", true));
        orders.apply(6, &end("unknown", "pass", true));
        assert_eq!(open(&orders), ["B", "A"]);
        let outcomes = orders.get("C").unwrap().tried.iter().map(|one| one.fact.outcome.as_str());
        assert_eq!(outcomes.collect::<Vec<_>>(), ["in_use", "pass"]);
        let later = |asset: &str, outcome| {
            let (state, asset) = ("amended".into(), asset.into());
            let later = Some(Later { state, outcome, asset, by_its_plan: None });
            let (id, head, key) = ("K3-20261127-0001+1".into(), String::new(), String::new());
            Fact::Sealed(SealedFact { id, head, bytes: 1, key, later, waits: false })
        };
        let now = |orders: &Orders| {
            let tried = &orders.get("C").unwrap().tried;
            tried.iter().map(|one| (one.now, one.now_of.clone())).collect::<Vec<_>>()
        };
        orders.apply(7, &later("P-1", Word::Fail));
        assert_eq!(now(&orders), [(None, None), (Some(Word::Fail), None)]);
        orders.apply(8, &later("P-2", Word::Undecided));
        assert_eq!(now(&orders)[1], (Some(Word::Undecided), Some("P-2".into())));
        orders.apply(7, &order("C", None));
        assert!(orders.get("C").unwrap().closed, "it is taken once");
        (8..40).for_each(|seq| orders.apply(seq, &end("A", "in_use", false)));
        assert_eq!(orders.get("A").unwrap().tried.len(), TRIED_MAX);
    }
}
