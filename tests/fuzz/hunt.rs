//! The hunt: inputs are changed at random, those that make a target say something new are kept and
//! changed on, and the first that breaks a rule is cut down to what matters.

use std::cell::Cell;
use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

use super::clock::Watch;
use super::mutant::Mutant;
use super::random::Random;

/// What a target did, as numbers: an input with a new one is worth keeping. Or the rule it broke.
pub(crate) type Verdict = Result<Vec<u64>, String>;

/// Most inputs that are kept to be changed on.
const POOL: usize = 2_000;

/// Most smaller inputs that are tried.
const TRIES: usize = 400;

/// A target with what it is tried with.
pub(crate) struct Hunt<'a, I> {
    pub(crate) name: &'a str,
    pub(crate) seeds: Vec<I>,
    pub(crate) words: Vec<Vec<u8>>,
    pub(crate) check: &'a dyn Fn(&I) -> Verdict,
}

/// What broke a rule.
#[derive(Debug)]
pub(crate) struct Broken<I> {
    pub(crate) rule: String,
    pub(crate) input: I,
    /// Inputs that were tried before.
    pub(crate) runs: u64,
}

/// What a hunt without a find came to.
#[derive(Debug)]
pub(crate) struct Quiet<I> {
    pub(crate) runs: u64,
    /// Different things that the target did.
    pub(crate) features: usize,
    /// Inputs beyond the seeds that made it do something new, smallest first.
    pub(crate) kept: Vec<I>,
}

impl<I: Mutant> Hunt<'_, I> {
    /// Tries the seeds, then so many changed ones, or as many as there is time for.
    pub(crate) fn run(&self, most: u64, watch: &Watch) -> Result<Quiet<I>, Broken<I>> {
        let (mut seen, mut pool) = (BTreeSet::new(), Vec::new());
        let mut random = Random::of(self.name);
        for seed in &self.seeds {
            seen.extend(self.tried(seed, 0)?);
            pool.push(seed.clone());
        }
        let (mut runs, seeds) = (0, pool.len());
        while runs < most && !watch.over() {
            runs += 1;
            let mut input = random.pick(&pool).clone();
            for _ in 0..=random.below(4) {
                let other = random.pick(&pool);
                input.mutate(&mut random, other, &self.words);
            }
            let features = self.tried(&input, runs)?;
            if features.iter().any(|feature| !seen.contains(feature)) {
                seen.extend(features);
                if pool.len() < POOL {
                    pool.push(input);
                } else {
                    let at = random.below(POOL);
                    pool[at] = input;
                }
            }
        }
        let mut kept = pool.split_off(seeds.min(pool.len()));
        kept.sort_by_key(Mutant::parts);
        Ok(Quiet { runs, features: seen.len(), kept })
    }

    fn tried(&self, input: &I, runs: u64) -> Result<Vec<u64>, Broken<I>> {
        guarded(|| (self.check)(input)).map_err(|rule| {
            let (input, rule) = self.smaller(input.clone(), rule);
            Broken { rule, input, runs }
        })
    }

    /// Parts are left out as long as some rule is still broken.
    fn smaller(&self, mut input: I, mut rule: String) -> (I, String) {
        let (mut size, mut tries) = (input.parts(), 0);
        while size > 0 {
            let mut from = 0;
            while from < input.parts() && tries < TRIES {
                tries += 1;
                let less = input.without(from, (from + size).min(input.parts()));
                match guarded(|| (self.check)(&less)) {
                    Err(broken) => (input, rule) = (less, broken),
                    Ok(_) => from += size,
                }
            }
            size /= 2;
        }
        (input, rule)
    }
}

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// A panic breaks a rule, too. It is said once, at the end, and not for every smaller input.
fn guarded(check: impl FnOnce() -> Verdict) -> Verdict {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let usual = take_hook();
        set_hook(Box::new(move |info| {
            if !GUARDED.get() {
                usual(info);
            }
        }));
    });
    GUARDED.set(true);
    let caught = catch_unwind(AssertUnwindSafe(check));
    GUARDED.set(false);
    caught.unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().map(String::as_str);
        let text = text.or_else(|| panic.downcast_ref::<&str>().copied());
        Err(format!("it panics: {}", text.unwrap_or("without a word")))
    })
}
