//! Cases by name: what a bench must refuse, carry over, hand over and keep.

use tapline::books::Crash;
use tapline::replay::replay;
use tapline::station::event::{Answer, BookId, Event, Problem, Request};
use tapline::station::{Core, Library, LinkSettings};
use tapline_drivers::scan::control;
use tapline_protocols::Fact;
use tapline_protocols::fact::{In, Word};

use super::supply;
use super::wiring::{context, settings, stamp};
use super::world::World;

fn ready(seed: u64) -> World {
    let mut world = World::new(seed, true);
    world.scan("OP-0007");
    world
}

fn begin(world: &mut World, asset: &str) -> Result<Answer, Problem> {
    let asset = Some(asset.to_string());
    world.ask(Request::begin(asset))
}

fn end(world: &mut World) {
    let (outcome, reason) = ("given_up".into(), "called away".into());
    world.run(1_100_000);
    world.ask(Request::End { outcome, reason }).unwrap();
}

fn facts(world: &World, book: &BookId) -> Vec<Fact> {
    world.lines(book).into_iter().map(|line| line.fact).collect()
}

fn idle(day: &str) -> BookId {
    BookId::Idle(day.into())
}

fn ins(world: &World, book: &BookId, link: &str) -> Vec<In> {
    let of = |fact| match fact {
        Fact::In(read) if read.link == link => Some(read),
        _ => None,
    };
    facts(world, book).into_iter().filter_map(of).collect()
}

#[test]
fn an_asset_has_one_open_inspection_and_the_second_is_told_where_and_by_whom() {
    let mut world = ready(1);
    let id = begin(&mut world, "P-0109").unwrap().id.unwrap();
    assert_eq!(begin(&mut world, "P-0107").unwrap_err().code, "conflict", "the bench is taken");
    world.ask(Request::Park {}).unwrap();
    let refused = begin(&mut world, "P-0109").unwrap_err();
    assert_eq!(refused.code, "conflict");
    for told in [id.as_str(), "bench b1", "op-7", "parked"] {
        assert!(refused.detail.contains(told), "{told}: {}", refused.detail);
    }
    world.ask(Request::Resume { id: id.clone() }).unwrap();
    assert_eq!(world.active(), Some(id));
}

#[test]
fn nobody_begins_without_a_badge_an_asset_or_a_clock() {
    let mut world = World::new(1, true);
    assert!(begin(&mut world, "P-0109").unwrap_err().detail.contains("nobody is logged in"));
    world.scan("OP-0007");
    assert_eq!(begin(&mut world, "P-9999").unwrap_err().code, "not_found");
    let refused = world.ask(Request::begin(None));
    assert!(refused.unwrap_err().detail.contains("no asset is selected"));
    let begin = Request::begin(Some("P-0109".into()));
    let mut at = world.at();
    at.wall_us -= 25 * 3600 * 1_000_000;
    world.core.synchronised(false);
    let answer = world.ask_at(at, begin);
    assert!(answer.unwrap_err().detail.contains("wall clock"));
}

#[test]
fn another_asset_is_refused_by_name_while_one_is_inspected() {
    let mut world = ready(1);
    let id = begin(&mut world, "P-0109").unwrap().id.unwrap();
    let refused = world.ask(Request::Scan { code: "P-0107".into() }).unwrap_err();
    assert!(refused.code == "conflict" && refused.detail.contains("P-0109"), "{refused:?}");
    let book = BookId::Inspection(id);
    let seen =
        |fact: &Fact| matches!(fact, Fact::Scan(s) if s.refused.as_deref() == Some("other_asset"));
    assert!(facts(&world, &book).iter().any(seen));
    let told = |fact: &Fact| matches!(fact, Fact::Refused(r) if r.why == "other_asset");
    assert!(facts(&world, &BookId::Station).iter().any(told));
}

/// A null serves the next inspection as a fact of its own, and a pulled plug takes it away.
#[test]
fn a_null_is_carried_over_until_something_is_plugged_anew() {
    let mut world = ready(1);
    let first = begin(&mut world, "P-0109").unwrap().id.unwrap();
    super::null(&mut world);
    supply(&mut world);
    end(&mut world);
    let second = begin(&mut world, "P-0109").unwrap().id.unwrap();
    let book = BookId::Inspection(second);
    let carried: Vec<_> = facts(&world, &book)
        .into_iter()
        .filter_map(|fact| match fact {
            Fact::Null(null) => null.carried,
            Fact::Prove(prove) => prove.carried,
            _ => None,
        })
        .collect();
    assert_eq!(carried.len(), 3, "two directions and the supply: {carried:?}");
    assert!(carried.iter().all(|one| one.book == first));
    assert!(world.prompt().missing.is_empty(), "{:?}", world.prompt());
    end(&mut world);
    world.link_down("ohm");
    world.link_up("ohm");
    let third = begin(&mut world, "P-0109").unwrap().id.unwrap();
    let again = |fact: &Fact| matches!(fact, Fact::Null(_) | Fact::Prove(_));
    assert!(!facts(&world, &BookId::Inspection(third)).iter().any(again));
}

/// Also where the plug was pulled while the inspection that made the null was open.
#[test]
fn a_null_from_before_a_pulled_plug_is_not_carried_over() {
    let mut world = ready(1);
    begin(&mut world, "P-0109").unwrap();
    super::null(&mut world);
    supply(&mut world);
    world.link_down("ohm");
    world.link_up("ohm");
    end(&mut world);
    let next = begin(&mut world, "P-0109").unwrap().id.unwrap();
    let again = |fact: &Fact| matches!(fact, Fact::Null(_) | Fact::Prove(_));
    assert!(!facts(&world, &BookId::Inspection(next)).iter().any(again));
}

/// A fail is set aside by two people: one badge is not two, and a made-up name is nobody.
#[test]
fn the_second_person_is_somebody_else_who_is_known() {
    let mut world = ready(1);
    begin(&mut world, "P-0109").unwrap();
    super::null(&mut world);
    world.ask(Request::Answer { answer: "pass".into(), item: None, reason: None }).unwrap();
    world.touch("+0.900");
    let id = BookId::Inspection(world.active().unwrap());
    let value = |line: &tapline::books::Line| matches!(line.fact, Fact::Value(_));
    let seq = world.lines(&id).into_iter().find(value).unwrap().seq;
    let mut discard = |second: &str| {
        let (cause, second) = ("lead_slipped".into(), Some(second.to_string()));
        world.ask(Request::Discard { seq, cause, second })
    };
    assert_eq!(discard("nobody").unwrap_err().code, "not_found");
    assert_eq!(discard("OP-0007").unwrap_err().code, "forbidden", "the badge of op-7");
    discard("OP-0002").unwrap();
    let told = |fact: &Fact| matches!(fact, Fact::Drop(d) if d.second.as_deref() == Some("op-2"));
    assert!(facts(&world, &id).iter().any(told), "the record names the operator");
}

/// A script that names nothing it saw energises nothing; making safe is never refused for that.
#[test]
fn an_act_that_names_nothing_seen_is_refused() {
    let mut world = ready(1);
    begin(&mut world, "P-0109").unwrap();
    world.run(5_000_000);
    let act = |what: &str| Request::Act { what: what.into(), expect: None };
    for request in [act("connected"), act("clear"), act("live"), Request::Capture { expect: None }]
    {
        let refused = world.ask(request.clone()).unwrap_err();
        assert!(refused.code == "conflict", "{request:?}: {refused:?}");
        assert!(refused.detail.contains("seen"), "{request:?}: {refused:?}");
    }
    let refused = world.ask(act("dead")).unwrap_err();
    assert!(!refused.detail.contains("seen"), "{refused:?}");
}

/// Earth proved before midnight opens nothing after it, though nobody restarted anything.
#[test]
fn an_earth_proved_before_midnight_opens_nothing_after_it() {
    let mut world = World::from(1, true, 16 * 3600 * 1_000_000 - 90_000_000);
    world.scan("OP-0007");
    begin(&mut world, "P-0109").unwrap();
    super::null(&mut world);
    world.ask(Request::Answer { answer: "pass".into(), item: None, reason: None }).unwrap();
    world.touch("+0.243");
    world.touch("-0.275");
    world.until("connect");
    assert!(world.at().wall_us < stamp(16 * 3600 * 1_000_000).wall_us);
    world.run(120_000_000);
    assert_eq!(world.prompt().step.as_deref(), None, "{:?}", world.prompt());
    let id = BookId::Inspection(world.active().unwrap());
    let turned = |fact: &Fact| matches!(fact, Fact::Resume(r) if r.after == "midnight");
    assert_eq!(facts(&world, &id).iter().filter(|fact| turned(fact)).count(), 1);
    super::check::replays(&world.lines(&id), &id);
}

#[test]
fn another_instrument_on_the_port_is_not_the_same_instrument() {
    let mut world = ready(1);
    let id = begin(&mut world, "P-0109").unwrap().id.unwrap();
    world.bench.identity = "GENERIC,BENCH-DMM,0099,1.0";
    world.link_down("dmm");
    world.link_up("dmm");
    world.run(1_000_000);
    let book = BookId::Inspection(id);
    let changed = |fact: &Fact| match fact {
        Fact::Link(link) if link.state == "changed" => link.why.clone(),
        _ => None,
    };
    let told: Vec<String> = facts(&world, &book).iter().filter_map(changed).collect();
    assert!(told.len() == 1 && told[0].contains("0099"), "{told:?}");
    let links = &world.status.as_ref().unwrap().benches[0].links;
    assert_eq!(links.iter().find(|link| link.id == "dmm").unwrap().state, "changed");
    world.bench.identity = "GENERIC,BENCH-DMM,0003,1.0";
    world.link_down("dmm");
    world.link_up("dmm");
    world.run(1_000_000);
    let links = &world.status.as_ref().unwrap().benches[0].links;
    assert_eq!(links.iter().find(|link| link.id == "dmm").unwrap().state, "up");
}

/// Never energise: whatever the register comes to say, a driver that sends is taken away from an
/// instrument that could put out a voltage, and its bytes are kept all the same.
#[test]
fn an_instrument_that_may_put_out_a_voltage_is_sent_nothing() {
    let mut world = World::new(1, true);
    world.run(1_000_000);
    assert!(!world.sent.is_empty(), "it was asked who it is");
    let text = include_str!("../../contrib/example/instruments.toml")
        .replace("source_class = \"none\"", "source_class = \"unknown\"");
    world.ask(Request::import("instruments", text)).unwrap();
    let before = world.sent.len();
    world.scan("OP-0007");
    begin(&mut world, "P-0109").unwrap();
    world.link_down("dmm");
    world.link_up("dmm");
    world.bench.say(world.now, "dmm", b"VOLT +1\r\n", &mut world.rng);
    world.run(5_000_000);
    assert_eq!(world.sent.len(), before);
    let links = &world.status.as_ref().unwrap().benches[0].links;
    assert_eq!(links.iter().find(|link| link.id == "dmm").unwrap().state, "refused");
    let book = BookId::Inspection(world.active().unwrap());
    let kept: String = ins(&world, &book, "dmm").into_iter().map(|read| read.raw).collect();
    assert_eq!(kept, "VOLT +1\r\n");
}

#[test]
fn wiring_that_would_send_to_a_dangerous_instrument_is_a_fault() {
    let world = World::new(1, true);
    let mut wiring = settings(true);
    assert_eq!(wiring.faults(world.core.register()), []);
    let link = |id: &str, driver: &str, instrument: Option<&str>| LinkSettings {
        id: id.into(),
        bench: "b1".into(),
        driver: driver.into(),
        described: None,
        instrument: instrument.map(String::from),
        isolation: None,
    };
    wiring.links = vec![
        link("a", "scpi", Some("IR-01")),
        link("b", "scpi", Some("nobody knows")),
        link("c", "scpi", None),
        link("d", "val-unit-line", Some("IR-01")),
        link("d", "none-such", None),
    ];
    let fields: Vec<String> =
        wiring.faults(world.core.register()).into_iter().map(|fault| fault.field).collect();
    assert_eq!(
        fields,
        ["link.a.driver", "link.b.driver", "link.c.driver", "link.d.id", "link.d.driver"]
    );
}

/// A bench's bytes go to its inspection from the first line to the signature, not while it
/// rests; a frame that was cut by the change of book is in both, and nowhere a reading.
#[test]
fn bytes_change_their_book_with_a_fresh_stream() {
    let mut world = ready(1);
    let id = begin(&mut world, "P-0109").unwrap().id.unwrap();
    world.bench.quiet();
    world.run(500_000);
    world.bench.say(world.now, "ohm", b"R4 +0.1", &mut world.rng);
    world.run(50_000);
    world.ask(Request::Park {}).unwrap();
    world.bench.say(world.now, "ohm", b"99 Ohm\r\nR4 +0.182 Ohm\r\n", &mut world.rng);
    world.run(1_000_000);
    let inspection = ins(&world, &BookId::Inspection(id), "ohm");
    assert!(inspection.last().unwrap().raw.ends_with("R4 +0.1"));
    let rest = ins(&world, &idle("2026-11-24"), "ohm");
    let first = rest.iter().find(|read| read.raw.starts_with("99 Ohm")).unwrap();
    assert_eq!((first.at, first.read.len()), (0, 1), "{first:?}");
    assert_eq!(first.read[0].b, (8, 23), "the whole frame alone");
    assert_eq!(first.read[0].why.as_deref(), Some("parked"));
}

#[test]
fn a_day_of_idle_bytes_has_its_own_book() {
    let mut world = World::from(1, true, 16 * 3600 * 1_000_000 - 5_000_000);
    world.run(10_000_000);
    let next = idle("2026-11-25");
    let lines = facts(&world, &next);
    assert!(matches!(&lines[0], Fact::Open(open) if open.id == "2026-11-25"));
    let taps = lines.iter().filter(|fact| matches!(fact, Fact::Tap(_))).count();
    assert_eq!(taps, 3, "a fresh stream of each link, the scanner has none");
    assert_eq!(ins(&world, &next, "ohm")[0].at, 0);
}

#[test]
fn a_refused_scan_leaves_no_bytes_anywhere() {
    let mut world = World::new(1, true);
    // A GS1 service recipient number: application identifier 8018.
    world.scan("]C18018950110153123456781");
    let book = idle("2026-11-24");
    let scan = facts(&world, &book).into_iter().find_map(|fact| match fact {
        Fact::Scan(scan) => Some(scan),
        _ => None,
    });
    let scan = scan.unwrap();
    assert_eq!((scan.refused.as_deref(), scan.raw), (Some("patient_identifier"), None));
    for path in world.disk.paths() {
        let bytes = world.disk.bytes(&path).unwrap();
        assert!(!String::from_utf8_lossy(&bytes).contains("9501101531"), "{path}");
    }
}

/// One read may bring more than a line can hold, and a line always stays below 64 KiB.
#[test]
fn a_flood_is_kept_in_lines_of_bounded_length() {
    let mut world = World::new(1, true);
    for bytes in [vec![0u8; 10_000], b"R4 1 Ohm\r\n".repeat(1000), vec![0xff; 5000]] {
        let (at, link) = (world.at(), "ohm".to_string());
        world.delivered.clear();
        world.event(Event::Bytes { at, link, bytes });
        world.run(100_000);
    }
    let book = idle("2026-11-24");
    let all: usize = ins(&world, &book, "ohm").iter().map(|read| read.raw.chars().count()).sum();
    assert_eq!(all, 25_000);
    for line in world.lines(&book) {
        assert!(line.bytes().unwrap().len() <= 65_536);
    }
}

/// What was signed and not yet sealed when the power went is sealed at the next start.
#[test]
fn a_crash_between_signature_and_seal_is_made_good() {
    let mut world = ready(1);
    let id = begin(&mut world, "P-0109").unwrap().id.unwrap();
    world.run(1_100_000);
    world.disk.die_at(3);
    let (outcome, reason) = ("given_up".into(), "called away".into());
    let _ = world.ask(Request::End { outcome, reason });
    world.crash(Crash::KeepAll, 1_000_000);
    world.run(100_000);
    let sealed = |fact: &Fact| matches!(fact, Fact::Sealed(sealed) if sealed.id == id);
    let count = facts(&world, &BookId::Station).iter().filter(|fact| sealed(fact)).count();
    assert_eq!(count, 1);
    assert!(world.disk.paths().contains(&format!("inspections/2026/11/{id}.sig")));
    let next = begin(&mut world, "P-0109").unwrap().id.unwrap();
    assert_eq!(next, "K3-20261124-0002");
}

/// Who went home without logging out signs nothing next morning.
#[test]
fn a_bench_that_was_left_alone_needs_a_badge_again() {
    let mut world = ready(1);
    world.run(59 * 60_000_000);
    begin(&mut world, "P-0109").expect("less than an hour");
    world.run(2 * 3_600_000_000);
    end(&mut world);
    world.run(3_601_000_000);
    let refused = begin(&mut world, "P-0109").unwrap_err();
    assert!(refused.detail.contains("nobody is logged in"), "{refused:?}");
    assert_eq!(world.status.as_ref().unwrap().benches[0].operator, None);
    world.scan("OP-0002");
    let id = begin(&mut world, "P-0109").unwrap().id.unwrap();
    let by = world.lines(&BookId::Inspection(id))[0].by.clone();
    assert_eq!(by.as_deref(), Some("op-2"));
}

/// An empty core has nothing to do, and says so.
#[test]
fn nothing_waits_in_a_core_that_was_only_made() {
    let core = Core::new(settings(true), context(1), Library::builtin().unwrap());
    assert_eq!(core.deadline(), None);
    assert_eq!(stamp(0).boot_us, 0);
}

#[test]
fn why_a_link_never_came_up_is_shown() {
    let mut world = World::new(1, true);
    world.link_down("ohm");
    let (at, link, why) = (world.at(), "ohm".to_string(), "no such port".to_string());
    world.event(Event::LinkDown { at, link, why });
    let links = &world.status.as_ref().unwrap().benches[0].links;
    let ohm = links.iter().find(|link| link.id == "ohm").unwrap();
    assert_eq!((ohm.state, ohm.why.as_deref()), ("down", Some("no such port")));
}

/// A class I asset with a fixed cord on a witnessed box, hands on the probes: every act is a code.
/// The supply was checked and the person logged in at the first inspection of the day.
#[test]
fn a_class_i_inspection_takes_at_most_thirteen_codes() {
    let mut world = ready(1);
    begin(&mut world, "P-0109").unwrap();
    supply(&mut world);
    end(&mut world);
    let mut codes = Vec::new();
    let mut scan = |world: &mut World, code: &str| {
        world.run(1_100_000);
        world.scan(code);
        codes.push(code.to_string());
    };
    let sheet = |word: &str| control::code(word);
    scan(&mut world, "P-0109");
    scan(&mut world, &sheet("BEGIN"));
    scan(&mut world, &sheet("NULL.L-1"));
    world.bench.ohms = "+0.061".into();
    world.run(5_000_000);
    world.touch("-0.061");
    scan(&mut world, &sheet("PASS"));
    world.touch("+0.243");
    world.touch("-0.275");
    world.until("connect");
    scan(&mut world, &sheet("CONNECTED"));
    world.until("prove_open");
    world.set(false, true, false);
    for reversed in [false, true] {
        world.until("clear");
        world.set(reversed, true, false);
        scan(&mut world, &sheet("CLEAR"));
        world.set(reversed, true, true);
        scan(&mut world, &sheet("ALIVE"));
        world.until("dead");
        world.set(reversed, true, false);
    }
    world.until("reprove");
    world.set(true, false, false);
    world.run(12_000_000);
    scan(&mut world, &sheet("PASS"));
    world.until("close_scan");
    scan(&mut world, "P-0109");
    scan(&mut world, &sheet("SIGN"));
    assert!(world.active().is_some(), "a code alone signs nothing");
    scan(&mut world, "OP-0007");
    world.run(1_000_000);
    assert_eq!(world.active(), None, "signed and sealed");
    assert!(codes.len() <= 13, "{} codes: {codes:?}", codes.len());
    let sealed = world.lines(&BookId::Inspection("K3-20261124-0002".into()));
    let sign = sealed.iter().find_map(|line| match &line.fact {
        Fact::Sign(sign) => Some((sign.auth.as_str(), sign.outcome)),
        _ => None,
    });
    assert_eq!(sign, Some(("badge", Word::Pass)));
}

#[test]
fn another_code_between_the_signing_code_and_the_badge_signs_nothing() {
    let mut world = ready(1);
    begin(&mut world, "P-0109").unwrap();
    for code in ["P-0109", &control::code("SIGN.TAG"), "P-0109", "OP-0007"] {
        world.run(1_100_000);
        world.scan(code);
    }
    world.run(1_000_000);
    assert!(world.active().is_some());
}

/// A driver that read otherwise when the record was written: the record says so, the replay
/// tells both sides, and what stands in the book is left as it is.
#[test]
fn a_driver_that_reads_otherwise_is_reported_and_changes_nothing() {
    let mut world = ready(1);
    begin(&mut world, "P-0109").unwrap();
    world.touch("+0.243");
    end(&mut world);
    let book = BookId::Inspection("K3-20261124-0001".into());
    let mut lines = world.lines(&book);
    assert_eq!(replay(&lines, &context(1)).exit_code(), 0);
    let read = lines.iter_mut().find_map(|line| match &mut line.fact {
        Fact::In(read) if read.link == "ohm" => read.read.iter_mut().find(|one| one.v.is_some()),
        _ => None,
    });
    read.expect("the meter was read").v = Some("0.180".into());
    let report = replay(&lines, &context(1));
    assert_eq!((report.exit_code(), report.versions.len()), (1, 0), "{report:?}");
    for line in &mut lines {
        if let Fact::Tap(tap) = &mut line.fact {
            tap.driver_version += u32::from(tap.link == "ohm");
        }
    }
    let report = replay(&lines, &context(1));
    assert_eq!(report.exit_code(), 3, "{report:?}");
    assert_eq!(report.versions[0].what, "val-unit-line");
    assert!(report.differences[0].recorded.as_ref().unwrap().contains("0.180"));
    assert!(report.differences[0].replayed.as_ref().unwrap().contains("0.243"));
    assert_eq!(replay(&world.lines(&book), &context(1)).exit_code(), 0, "the book is as it was");
}
