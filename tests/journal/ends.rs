//! Every end of every life: power cuts, kills and errors at each call of the disk, and again at
//! each call of the life after it.

use std::io::ErrorKind;

use tapline::books::{Cause, Crash, Done, Fault, Memory};

use crate::lives::{Broken, Model, tell};

const CRASHES: [Crash; 8] = [
    Crash::LoseAll,
    Crash::KeepAll,
    Crash::Tear(1),
    Crash::Tear(100),
    Crash::Tear(250),
    Crash::Holes(0),
    Crash::Holes(90),
    Crash::Killed,
];

/// What the system says, and what has been done all the same.
const ERRORS: [(ErrorKind, Done); 6] = [
    (ErrorKind::Other, Done::Nothing),
    (ErrorKind::Other, Done::All),
    (ErrorKind::StorageFull, Done::Bytes(0)),
    (ErrorKind::StorageFull, Done::Bytes(130)),
    (ErrorKind::ReadOnlyFilesystem, Done::Nothing),
    (ErrorKind::PermissionDenied, Done::Nothing),
];

/// The long counts.
fn soak() -> bool {
    std::env::var_os("SOAK").is_some_and(|soak| soak == "1")
}

/// Two lives that end at the given calls in the given ways, and a third that ends in peace.
/// `false` once the first life got through.
fn lives(ends: &[(u64, Crash)]) -> [bool; 2] {
    let (memory, mut model) = (Memory::new(), Model::default());
    let mut broken = [false; 2];
    for (n, (call, how)) in ends.iter().enumerate() {
        memory.die_at(*call);
        broken[n] = model.live(&memory).is_err();
        memory.crash(*how);
    }
    model.live(&memory).expect("nothing fails any more");
    model.end(&memory);
    broken
}

#[test]
fn a_life_may_end_at_any_call_in_any_way() {
    let mut points = 0;
    for how in CRASHES {
        let mut n = 1;
        while lives(&[(n, how)])[0] {
            n += 1;
        }
        assert!(n > 60, "the work has more calls than {n}");
        points += usize::try_from(n).unwrap();
    }
    tell("ends of a life, then one in peace", points);
}

#[test]
fn the_life_after_it_may_end_at_any_call_too() {
    let mut points = 0;
    let ways: &[(Crash, Crash)] = &[
        (Crash::Tear(100), Crash::LoseAll),
        (Crash::Tear(250), Crash::Killed),
        (Crash::Killed, Crash::LoseAll),
        (Crash::Holes(90), Crash::Tear(60)),
    ];
    for (one, two) in ways {
        let mut first = 1;
        loop {
            let mut second = 1;
            let through = loop {
                let [a, b] = lives(&[(first, *one), (second, *two)]);
                points += 1;
                // Past the recovery the first test has been there already.
                if !a || !b || (second >= 45 && !soak()) {
                    break !a;
                }
                second += 1;
            };
            if through {
                break;
            }
            first += if soak() { 1 } else { 3 };
        }
    }
    tell("ends of two lives, then one in peace", points);
}

/// A life whose disk fails at one call; then the station starts over from disk, in the same
/// process, and the disk may fail once more.
fn starts_over(faults: &[Fault]) -> [bool; 2] {
    let (memory, mut model) = (Memory::new(), Model::default());
    let mut broken = [false; 2];
    for (n, fault) in faults.iter().enumerate() {
        memory.fail(*fault);
        if let Err(Broken(why)) = model.live(&memory) {
            broken[n] = true;
            let cause = why.map(|halted| {
                assert!(halted.to_string().contains(';'), "it says what to do: {halted}");
                halted.cause
            });
            let want = match fault.kind {
                ErrorKind::StorageFull => Cause::Full,
                ErrorKind::ReadOnlyFilesystem => Cause::ReadOnly,
                ErrorKind::PermissionDenied => Cause::Denied,
                _ => Cause::Disk,
            };
            assert!(cause.is_none_or(|cause| cause == want), "{fault:?}: {cause:?}");
        }
        memory.crash(Crash::Killed);
    }
    model.live(&memory).expect("nothing fails any more");
    model.end(&memory);
    broken
}

#[test]
fn the_disk_may_fail_at_any_call_of_any_kind() {
    let mut points = 0;
    for (kind, done) in ERRORS {
        let mut passed = 0;
        // Some calls may fail without harm: one or two behind each other, never ten.
        let mut nth = 1;
        while passed < 10 {
            let broken = starts_over(&[Fault { nth, looks: true, kind, done }])[0];
            passed = if broken { 0 } else { passed + 1 };
            points += usize::from(broken);
            nth += 1;
        }
        assert!(nth > 100, "the work has more calls than {nth}");
    }
    tell("errors of a disk, then none", points);
}

#[test]
fn the_disk_may_fail_again_while_the_station_starts_over() {
    let mut points = 0;
    let step = if soak() { 1 } else { 5 };
    for (kind, done) in [ERRORS[0], ERRORS[3]] {
        let fault = |nth| Fault { nth, looks: true, kind, done };
        let mut first = 1;
        let mut passed = 0;
        while passed < 10 {
            let mut broken = false;
            for second in 1..=if soak() { 150 } else { 60 } {
                let [a, _] = starts_over(&[fault(first), fault(second)]);
                broken |= a;
                points += 1;
                if !a {
                    break;
                }
            }
            passed = if broken { 0 } else { passed + 1 };
            first += step;
        }
    }
    tell("errors of a disk, and again while it starts over", points);
}
