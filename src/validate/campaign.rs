//! The false-pass campaign: faulty assets times mistakes of the person and of the bench. Each is
//! inspected with readings that the circuit gives for what is really connected.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use super::assets::{Asset, FAULTY, GOOD};
use super::case::{Came, inspect};
use super::mistakes::{self, Mistake};

/// What was played.
#[derive(Debug)]
pub struct Played {
    /// The mistakes, in the order of the rows.
    pub mistakes: Vec<Mistake>,
    /// The careful person on every asset, the faulty ones first.
    pub careful: Vec<Came>,
    /// One row for each mistake, in the same columns.
    pub rows: Vec<Vec<Came>>,
}

/// Every asset with every mistake, and without one, on so many threads.
#[must_use]
pub fn play(threads: usize) -> Played {
    let mistakes = mistakes::all();
    let columns = FAULTY.len() + GOOD.len();
    let total = (mistakes.len() + 1) * columns;
    let next = AtomicUsize::new(0);
    let work = || {
        let mut found = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(asset) = assets().nth(at % columns).filter(|_| at < total) else {
                return found;
            };
            let mistake = (at / columns).checked_sub(1).map(|row| &mistakes[row]);
            found.push((at, inspect(asset.case(), mistake)));
        }
    };
    let mut found: Vec<(usize, Came)> = thread::scope(|scope| {
        let threads: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(work)).collect();
        let join = |one: thread::ScopedJoinHandle<'_, _>| one.join().expect("it does not panic");
        threads.into_iter().flat_map(join).collect()
    });
    found.sort_by_key(|(at, _)| *at);
    let mut all = found.into_iter().map(|(_, came)| came);
    let careful = all.by_ref().take(columns).collect();
    let all: Vec<Came> = all.collect();
    let rows = all.chunks(columns).map(<[Came]>::to_vec).collect();
    Played { mistakes, careful, rows }
}

fn assets() -> impl Iterator<Item = &'static Asset> {
    FAULTY.iter().chain(&GOOD)
}

impl Played {
    /// Inspections of faulty assets with a mistake.
    pub fn faulty(&self) -> impl Iterator<Item = &Came> {
        self.rows.iter().flat_map(|row| &row[..FAULTY.len()])
    }

    /// Faulty assets that passed with a mistake: their names.
    #[must_use]
    pub fn passed(&self, row: usize) -> Vec<&'static str> {
        let faulty = FAULTY.iter().zip(&self.rows[row]);
        faulty.filter(|(_, came)| came.word == "pass").map(|(asset, _)| asset.id).collect()
    }

    /// What is not as it should be: a false pass that is not named, a name without one, a fault
    /// that careful hands do not find, a good asset that does not pass or takes more acts of the
    /// hands than it must, one that hangs.
    #[must_use]
    pub fn wrong(&self) -> Vec<String> {
        let mut wrong = Vec::new();
        for (column, (asset, came)) in assets().zip(&self.careful).enumerate() {
            let should = if column < FAULTY.len() { "fail" } else { "pass" };
            if came.word != should {
                let Came { word, reasons, told, .. } = came;
                wrong.push(format!("{} in careful hands: {word} {reasons:?} {told}", asset.id));
            }
        }
        for (asset, came) in GOOD.iter().zip(&self.careful[FAULTY.len()..]) {
            if asset.hands < came.cost.1[0] {
                let hands = came.cost.1[0];
                wrong.push(format!("{}: {hands} acts of the hands, not {}", asset.id, asset.hands));
            }
        }
        for (row, mistake) in self.mistakes.iter().enumerate() {
            let passed = self.passed(row);
            let told = !mistake.cannot.is_empty() && !mistake.instead.is_empty();
            if passed.is_empty() == told {
                wrong.push(format!("{}: passed {passed:?}, {:?}", mistake.id, mistake.cannot));
            }
            let hangs = assets().zip(&self.rows[row]).filter(|(_, came)| came.word.is_empty());
            wrong.extend(hangs.map(|(asset, _)| format!("{}: {} hangs", mistake.id, asset.id)));
        }
        wrong
    }
}
