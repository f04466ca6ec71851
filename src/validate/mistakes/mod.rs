//! Mistakes of the person and of the bench, each of one kind.

mod earth;
mod leakage;
mod meters;
mod people;
mod source;
mod supply;

use tapline_demo::hand::Hand;
use tapline_demo::person::{Deed, Does, Sight, Slip, What};
use tapline_demo::world::Port;

use crate::validate::case::{At, Case};

/// A mistake. What it leaves out goes as it should.
#[derive(Debug, Clone, Copy)]
pub struct Mistake {
    /// Short name: a row of the page.
    pub id: &'static str,
    /// What goes wrong.
    pub says: &'static str,
    /// Why it is not caught on some assets; empty where it is on all.
    pub cannot: &'static str,
    /// What a person does about that.
    pub instead: &'static str,
    /// What it changes before the inspection.
    pub sets: fn(&mut Case),
    /// What the person believes to see.
    pub sees: fn(&mut Sight),
    /// What comes of a deed.
    pub does: fn(At<'_>, Deed) -> Vec<Deed>,
    /// What comes of bytes on their way; the last is the memory of the cable.
    pub wires: fn(Port, Vec<u8>, &mut Vec<u8>) -> Vec<u8>,
}

/// None.
const NONE: Mistake = Mistake {
    id: "",
    says: "",
    cannot: "",
    instead: "",
    sets: |_| {},
    sees: |_| {},
    does: |_, deed| vec![deed],
    wires: |_, bytes, _| bytes,
};

/// All of them, in the order of the page.
pub fn all() -> Vec<Mistake> {
    [supply::ALL, earth::ALL, leakage::ALL, source::ALL, meters::ALL, people::ALL].concat()
}

/// A slip that the person of the demonstration knows by name.
fn slips(case: &mut Case, at: &str, does: Does, what: What) {
    case.scene.slips.push(Slip { at: at.into(), does, what });
}

/// The same at the leakage steps of both classes.
fn slips_live(case: &mut Case, does: Does, what: What) {
    slips(case, "leak", does, what);
    slips(case, "leak_case", does, what);
}

/// The box has no contacts: its switches are declared.
fn declared(case: &mut Case) {
    case.scene.witnessed = false;
}

/// A deed of the hands.
fn hand(hand: Hand) -> Deed {
    Deed::Hand(hand)
}

/// Switches, by name and word.
fn switch(set: &[(&str, &str)]) -> Deed {
    let set = set.iter().map(|(name, to)| ((*name).to_owned(), (*to).to_owned()));
    hand(Hand::Switch { set: set.collect() })
}

/// The deed with a switch set otherwise wherever it is touched.
fn stuck(deed: Deed, name: &str, to: &str) -> Deed {
    let Deed::Hand(Hand::Switch { mut set }) = deed else { return deed };
    if let Some(word) = set.get_mut(name) {
        to.clone_into(word);
    }
    hand(Hand::Switch { set })
}

/// What is asked of the station, by its word.
fn asks(deed: &Deed, word: &str) -> bool {
    matches!(deed, Deed::Ask(request) if request["do"] == word)
}
