//! Ten thousand damages, and none believed.
//!
//! A morning of a station lies on disk: its book, a day of idle bytes, sealed inspections with
//! heads and signatures, one in work, keys, index. One file at a time has one bit turned over or
//! its end cut off, and every face that reads it is asked. Allowed answers: the file is refused
//! by name; the bytes behind the last right mark are set aside and a line says so; what stands
//! before is shown with the word `damaged`; it is built again from the books; or what is shown is
//! byte for byte what it was. Anything else is a violation and fails the test.
//!
//! One damage can't be told from a power cut: an open book cut exactly behind a mark. It is
//! counted as `prefix`. Of a sealed one the head tells, and it is refused.
//!
//! 300 damages; `FLIPS=10000` makes it so many. `SEED=7` draws others, `FLIP=123` repeats the one
//! that a failure names.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "sim/bench.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod bench;
#[path = "flips/books.rs"]
mod books;
#[path = "flips/daemon.rs"]
mod daemon;
#[path = "flips/folder.rs"]
mod folder;
#[path = "sim/hands.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod hands;
#[path = "flips/harm.rs"]
mod harm;
#[path = "flips/index.rs"]
mod index;
#[path = "sim/ledger.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod ledger;
#[path = "sim/lines.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod lines;
#[path = "sim/log.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod log;
#[path = "sim/person.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod person;
#[path = "sim/rng.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod rng;
#[path = "sim/state.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod state;
mod support;
#[path = "flips/table.rs"]
mod table;
#[path = "sim/wire.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod wire;
#[path = "sim/wiring.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod wiring;
#[path = "sim/world.rs"]
#[allow(dead_code, reason = "the morning needs a part of it")]
mod world;

use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use books::{Answer, Place};
use daemon::Original;
use folder::{Folder, Kind};
use harm::{Harm, SHARES};
use index::Whole;
use rng::Rng;
use table::{Said, Table};

/// Damages without `FLIPS`.
const FLIPS: u64 = 300;
/// The shell is asked about one sealed file in so many; it takes a hundredth of a second.
const SHELL_ONE_IN: u64 = 10;
/// Damages that are looked at at once.
const WORKERS: usize = 8;
/// The index is opened behind one damaged book in so many.
const BEHIND_ONE_IN: u64 = 10;

/// Starts of the real program; thirty when ten thousand are asked for.
const STARTS: u64 = 12;

/// Panics of the store's own threads are expected here, and no news.
static QUIET: AtomicBool = AtomicBool::new(false);

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok().and_then(|text| text.parse().ok())
}

/// Everything that is asked about one damage.
fn faces(
    (folder, place, whole): (&Folder, &Place, &Whole),
    harm: &Harm,
    n: u64,
) -> Vec<(&'static str, Answer)> {
    let mut said = Vec::new();
    let sealed = matches!(harm.kind, Kind::Sealed | Kind::Head | Kind::Signature);
    if harm.kind == Kind::Index {
        said.push(("index", whole.asked(folder, place, harm)));
        return said;
    }
    if harm.kind.is_book() {
        said.push(("reader", books::reader(folder, harm)));
    }
    if harm.kind != Kind::PrivateKey {
        said.push(("verify", books::verified(folder, place, harm)));
    }
    if (sealed || harm.kind == Kind::PublicKey) && n.is_multiple_of(SHELL_ONE_IN) {
        said.push(("verify.sh", books::shell(folder, place, harm)));
    }
    if harm.kind.is_book() && harm.kind != Kind::Station {
        said.push(("replay", books::replayed(place, harm)));
    }
    if sealed || harm.kind == Kind::Open {
        said.push(("show", books::shown(folder, place, harm)));
    }
    if sealed {
        said.push(("start, seal not told", books::announced(folder, harm)));
    }
    said.push(("start", books::recovered(folder, harm)));
    if harm.kind.is_book() && n.is_multiple_of(BEHIND_ONE_IN) {
        said.push(("index behind", whole.behind(folder, place, harm)));
    }
    said
}

/// One damage, from its seed and number.
fn one(
    around: (&Folder, &Place, &Whole),
    (seed, n): (u64, u64),
    result: &Mutex<(Table, Vec<String>)>,
) {
    let (folder, place, _) = around;
    let mut rng = Rng::new(seed.wrapping_mul(1 << 32).wrapping_add(n));
    let harm = Harm::draw(folder, &mut rng);
    place.put(&harm.path, &harm.bytes);
    let said = catch_unwind(AssertUnwindSafe(|| faces(around, &harm, n)))
        .unwrap_or_else(|_| vec![("any", Err("a panic".into()))]);
    place.put(&harm.path, &folder.files[&harm.path]);
    let (table, wrong) = &mut *result.lock().unwrap();
    table.harm(harm.kind);
    for (face, answer) in said {
        match answer {
            Ok(said) => table.said(harm.kind, face, said),
            Err(why) => wrong.push(format!(
                "{:?} of {}: {face}: {why}\n  again: SEED={seed} FLIP={n} cargo test --test flips",
                harm.how, harm.path
            )),
        }
    }
}

#[test]
fn no_damage_is_believed() {
    let seed = number("SEED").unwrap_or(1);
    let flips = match number("FLIP") {
        Some(one) => one..one + 1,
        None => 0..number("FLIPS").unwrap_or(FLIPS),
    };
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if !QUIET.load(Ordering::Relaxed) {
            before(panic);
        }
    }));
    QUIET.store(true, Ordering::Relaxed);
    let folder = Folder::new(seed);
    let next = AtomicU64::new(flips.start);
    let result = Mutex::new((Table::default(), Vec::new()));
    // Closing an index waits for half a second: so many wait at once.
    std::thread::scope(|scope| {
        for _ in 0..WORKERS {
            scope.spawn(|| {
                let place = Place::new(&folder);
                let whole = Whole::new(&folder, &place);
                loop {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    if n >= flips.end {
                        break;
                    }
                    one((&folder, &place, &whole), (seed, n), &result);
                }
            });
        }
    });
    QUIET.store(false, Ordering::Relaxed);
    let (table, wrong) = result.into_inner().unwrap();
    let count = flips.end - flips.start;
    let text = format!("flips: {count} damages (seed {seed}), {} violations\n{table}", wrong.len());
    std::io::stderr().write_all(text.as_bytes()).unwrap();
    assert!(wrong.is_empty(), "{}", wrong[..wrong.len().min(20)].join("\n"));
    let told = ["reader", "verify", "start", "index"];
    let silent = told.iter().find(|face| {
        let spoke = [Said::Refused, Said::Damaged, Said::SetAside, Said::BuiltAgain];
        count >= FLIPS && spoke.iter().all(|said| table.count(face, *said) == 0)
    });
    assert_eq!(silent, None, "this face noticed nothing at all");
}

/// The same damages, and the real program started on some of them.
#[test]
fn the_running_program_believes_none_of_them() {
    let seed = number("SEED").unwrap_or(1);
    let folder = Folder::new(seed);
    let original = Original::new(&folder);
    let starts = if number("FLIPS") >= Some(10_000) { 30 } else { STARTS };
    let starts = number("FLIP").map_or(0..starts, |one| one..one + 1);
    let (mut table, mut wrong) = (Table::default(), Vec::new());
    for n in starts {
        let mut rng = Rng::new(seed.wrapping_mul(1 << 40).wrapping_add(n));
        let kind = usize::try_from(n).unwrap() % SHARES.len();
        let harm = Harm::draw_of(SHARES[kind].0, &folder, &mut rng);
        table.harm(harm.kind);
        match original.asked(&folder, &harm) {
            Ok(said) => table.said(harm.kind, "program", said),
            Err(why) => wrong.push(format!(
                "{:?} of {}: {why}\n  again: SEED={seed} FLIP={n} cargo test --test flips the_r",
                harm.how, harm.path
            )),
        }
    }
    std::io::stderr().write_all(table.to_string().as_bytes()).unwrap();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
