//! Many records, one after the other on all cores, with word of how far it is. Results come in
//! the order of the records, and no more of them are held than one round has.

use std::io::{self, IsTerminal, Write};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

use super::Trouble;
use crate::clock;
use crate::words::english;

/// Records of one round.
const ROUND: usize = 256;
/// How often it is said how far it is, microseconds: to a person, and to a file.
const SAY_US: [u64; 2] = [500_000, 10_000_000];

/// Does `work` on each of `items` and hands what came of it to `take`, in their order.
///
/// # Errors
/// What `take` refuses; the items that are left are then not worked on.
pub(super) fn each<T: Sync, R: Send>(
    items: &[T],
    work: impl Fn(&T) -> R + Sync,
    mut take: impl FnMut(&T, R) -> Result<(), Trouble>,
) -> Result<Pace, Trouble> {
    let mut pace = Pace::new(items.len());
    for round in items.chunks(ROUND) {
        let done = on_all_cores(round, &work, &mut pace);
        pace.wipe();
        for (item, result) in round.iter().zip(done) {
            take(item, result)?;
        }
    }
    pace.wipe();
    Ok(pace)
}

fn on_all_cores<T: Sync, R: Send>(
    round: &[T],
    work: &(impl Fn(&T) -> R + Sync),
    pace: &mut Pace,
) -> Vec<R> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from).min(round.len());
    let next = AtomicUsize::new(0);
    let (send, receive) = mpsc::channel();
    let mut done: Vec<Option<R>> = round.iter().map(|_| None).collect();
    std::thread::scope(|scope| {
        for _ in 0..cores {
            let (send, next) = (send.clone(), &next);
            scope.spawn(move || {
                while let Some((at, item)) = at(round, next.fetch_add(1, Ordering::Relaxed)) {
                    // Whoever receives waits for the end of this scope.
                    let _ = send.send((at, work(item)));
                }
            });
        }
        drop(send);
        for (at, result) in receive {
            done[at] = Some(result);
            pace.step();
        }
    });
    done.into_iter().map(|result| result.expect("each is worked on, or a panic ends it")).collect()
}

fn at<T>(round: &[T], at: usize) -> Option<(usize, &T)> {
    round.get(at).map(|item| (at, item))
}

/// How far it is.
#[derive(Debug)]
pub(super) struct Pace {
    of: usize,
    done: usize,
    began_us: u64,
    said_us: u64,
    /// A person watches: the line is written over.
    watched: bool,
    written: bool,
}

impl Pace {
    fn new(of: usize) -> Pace {
        let now = clock::now().boot_us;
        let watched = io::stderr().is_terminal();
        Pace { of, done: 0, began_us: now, said_us: now, watched, written: false }
    }

    fn step(&mut self) {
        self.done += 1;
        let now = clock::now().boot_us;
        if now.saturating_sub(self.said_us) < SAY_US[usize::from(!self.watched)] {
            return;
        }
        self.said_us = now;
        let text = text(self.done, self.of, now.saturating_sub(self.began_us));
        let mut talk = io::stderr().lock();
        // A person who can't be told is not there.
        let _ = match self.watched {
            true => write!(talk, "\r\x1b[K{text}").and_then(|()| talk.flush()),
            false => writeln!(talk, "{text}"),
        };
        self.written = self.watched;
    }

    /// Takes the line away before something else is said.
    fn wipe(&mut self) {
        if std::mem::take(&mut self.written) {
            let _ = write!(io::stderr().lock(), "\r\x1b[K");
        }
    }

    /// Records a second and seconds that it took, for a summary.
    pub(super) fn rate(&self) -> (String, String) {
        let us = clock::now().boot_us.saturating_sub(self.began_us);
        (per_second(self.done, us).to_string(), seconds(us))
    }
}

fn per_second(done: usize, us: u64) -> u64 {
    (done as u64).saturating_mul(1_000_000) / us.max(1)
}

fn seconds(us: u64) -> String {
    format!("{}.{}", us / 1_000_000, us / 100_000 % 10)
}

/// `1200 of 10000, 410 a second, about 21 s left`.
fn text(done: usize, of: usize, us: u64) -> String {
    let left = us.saturating_mul((of - done) as u64) / (done as u64).max(1);
    let values = [
        ("done", done.to_string()),
        ("of", of.to_string()),
        ("rate", per_second(done, us).to_string()),
        ("left", left.div_ceil(1_000_000).to_string()),
    ];
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    english().tell("again", "progress", &values)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_order_and_a_refusal_ends_it() {
        let items: Vec<usize> = (0..1000).collect();
        let mut seen = Vec::new();
        let work = |item: &usize| item * 2;
        each(&items, work, |_, twice| {
            seen.push(twice);
            Ok(())
        })
        .unwrap();
        assert_eq!(seen, (0..1000).map(|n| n * 2).collect::<Vec<_>>());
        let mut taken = 0;
        let refused = each(&items, work, |_, _| {
            taken += 1;
            if taken < 300 { Ok(()) } else { Err(Trouble::Quiet) }
        });
        assert!(refused.is_err() && taken == 300);
        assert!(each(&[0; 0], work, |_, _| Ok(())).is_ok());
    }

    // 1200 in 3 s: 400 a second; 8800 are left: 22 s.
    #[test]
    fn how_far_it_is_and_how_long_it_will_take() {
        let said = text(1200, 10_000, 3_000_000);
        assert_eq!(said, "1200 of 10000 records, 400 a second, about 22 s left");
        assert!(text(10_000, 10_000, 0).ends_with("about 0 s left"));
    }
}
