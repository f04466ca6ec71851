//! What a person typed in, and what it counts for.

use tapline_paper::report::{Entered, Supply};
use tapline_protocols::fact::{ProveFact, ValueFact, VerdictFact};
use tapline_protocols::inspection::ENTER_AGAIN;

use super::book::{Book, Said};
use super::gather::known_code;

/// A check of the supply that holds.
pub(super) fn supply(one: &Said<ProveFact>) -> Option<Supply> {
    let fact = &one.fact;
    let volts = [fact.ln.clone()?, fact.npe.clone()?, fact.lpe.clone()?];
    (fact.what == "supply" && fact.ok).then(|| Supply { volts, known: known(fact) })
}

fn known(fact: &ProveFact) -> String {
    if fact.typed { "typed" } else { fact.known.map_or("", known_code) }.to_owned()
}

/// The voltage of an isolated source and the temperature of the asset, of the values that they
/// count for: one entry for what was the same, with the places of those values.
pub(super) fn entered(book: &Book) -> Vec<Entered> {
    let mut list: Vec<Entered> = Vec::new();
    for verdict in &book.verdicts {
        let judged = &verdict.fact.judged;
        let values = book.values.iter().filter(|value| judged.from.contains(&value.seq));
        for value in values {
            for check in counting(book, &verdict.fact, value) {
                add(&mut list, told(&verdict.fact, &check.fact), place(book, &value.fact));
            }
        }
    }
    list
}

fn add(list: &mut Vec<Entered>, new: Entered, place: String) {
    let same = |one: &&mut Entered| Entered { places: Vec::new(), ..(*one).clone() } == new;
    match list.iter_mut().find(same) {
        Some(one) if one.places.contains(&place) => {}
        Some(one) => one.places.push(place),
        None => list.push(Entered { places: vec![place], ..new }),
    }
}

fn told(verdict: &VerdictFact, fact: &ProveFact) -> Entered {
    Entered {
        what: fact.what.clone(),
        step: verdict.step.clone(),
        places: Vec::new(),
        digits: fact.value.clone().or_else(|| fact.ln.clone()).unwrap_or_default(),
        read_from: fact.how.clone().unwrap_or_default(),
        known: known(fact),
    }
}

/// Where it was taken, by name; its step where no point has one.
fn place(book: &Book, value: &ValueFact) -> String {
    let step = book.step(&value.step);
    let points = step.map(|step| [step.part.clone(), step.point.clone()]).unwrap_or_default();
    let points: Vec<String> = points.into_iter().flatten().collect();
    if points.is_empty() { value.step.clone() } else { points.join(", ") }
}

/// The newest checks before a value: of its step's source where none is missing, and of the
/// temperature where the verdict was corrected by it.
fn counting<'a>(
    book: &'a Book,
    verdict: &VerdictFact,
    value: &Said<ValueFact>,
) -> impl Iterator<Item = &'a Said<ProveFact>> {
    let warm = verdict.judged.chain.iter().any(|link| link.what == "temperature");
    let lacks = verdict.judged.reasons.iter().any(|reason| reason == "source_not_shown");
    let newest = |what: &str| {
        let before = book.checks.iter().filter(|one| one.fact.what == what && one.seq < value.seq);
        let own = |one: &&Said<ProveFact>| {
            what != "source" || one.fact.step.as_ref() == Some(&value.fact.step)
        };
        let entered = |one: &&Said<ProveFact>| one.fact.why.as_deref() != Some(ENTER_AGAIN);
        before.filter(own).rfind(entered).filter(|one| one.fact.ok)
    };
    let source = (!lacks).then(|| newest("source")).flatten();
    [source, warm.then(|| newest("temperature")).flatten()].into_iter().flatten()
}

#[cfg(test)]
mod tests {
    use serde_json::json;
    use tapline_protocols::fact::{ChainLink, Fact};

    use super::*;
    use crate::books::Line;
    use crate::report::gather::gathered;
    use crate::station::event::{BookId, Stored};
    use crate::validate::assets::GOOD;
    use crate::validate::case::lines;

    /// Two parts, each in both polarities: the source's voltage is typed before each value.
    fn book() -> Book {
        let asset = GOOD.iter().find(|asset| asset.id == "class I, CF").unwrap();
        let mut book = Book::default();
        let of_inspection = |line: &Stored| matches!(line.book, BookId::Inspection(_));
        for Stored { seq, at, fact, by, .. } in
            lines(asset.case(), None).into_iter().filter(of_inspection)
        {
            book.take(&Line { seq, at, fact, by, sig: None });
        }
        book
    }

    #[test]
    fn the_voltage_of_a_source_is_told_with_the_values_it_counts_for() {
        let book = book();
        let typed = |one: &Said<ProveFact>| one.fact.what == "source" && one.fact.ok;
        assert!(book.checks.iter().any(typed), "the source was typed");
        let report = gathered(&book).unwrap();
        let [one] = report.entered.as_slice() else { panic!("{:?}", report.entered) };
        let told = [&one.what, &one.step, &one.digits, &one.known].map(String::as_str);
        assert_eq!(told, ["source", "part_single", "230.0", "typed"]);
        assert_eq!(one.places.len(), 2, "{:?}", one.places);
    }

    /// Of two temperatures the newer one before the value; what was entered once is none.
    #[test]
    fn a_temperature_is_told_where_it_corrected_and_what_it_was_read_from() {
        let mut book = book();
        let link: ChainLink =
            serde_json::from_value(json!({"do": "temperature", "of": []})).unwrap();
        let verdict = book.verdicts.iter_mut().find(|one| one.fact.step == "pe").unwrap();
        verdict.fact.judged.chain.push(link);
        let first = verdict.fact.judged.from[0];
        let mut check = |seq: u64, celsius: &str, more: serde_json::Value| {
            let mut fact = json!({"k": "prove", "what": "temperature", "value": celsius,
                "how": "thermometer", "known": "declared", "typed": true, "ok": true});
            fact.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
            let Fact::Prove(fact) = serde_json::from_value(fact).unwrap() else { panic!() };
            book.checks.push(Said { seq, wall_us: 0, by: None, fact });
        };
        check(1, "19.0", json!({}));
        check(2, "23.5", json!({}));
        check(3, "24.0", json!({"ok": false, "why": ENTER_AGAIN}));
        check(first + 1_000_000, "30.0", json!({}));
        let told = gathered(&book).unwrap().entered;
        let warm: Vec<&Entered> = told.iter().filter(|one| one.what == "temperature").collect();
        let [one] = warm.as_slice() else { panic!("{warm:?}") };
        let told = [&one.step, &one.digits, &one.read_from, &one.known].map(String::as_str);
        assert_eq!(told, ["pe", "23.5", "thermometer", "typed"]);
    }
}
