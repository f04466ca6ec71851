//! What must hold of the station at a moment, given the lines that are stored. One rule, one
//! function.

use std::collections::BTreeMap;

use tapline::books::{Crash, Line, Memory};
use tapline::station::event::BookId;
use tapline::station::status::{BenchStatus, Status};
use tapline_protocols::Fact;
use tapline_protocols::inspection::{Phase, Record};
use tapline_protocols::plan::{Settings, Switch};

use super::ledger::{Ledger, Shadow};
use super::lines::Verdict;
use super::wiring::{Station, context, key};
use super::world::{Delivered, World};

/// Longest that a byte of an inspection waits for its commit, microseconds: two gaps of 20 ms.
const WAITS_US_MAX: u64 = 40_000;
/// Longest that any other waits: two gaps of 100 ms.
const IDLE_WAITS_US_MAX: u64 = 200_000;
/// How long the voltmeter measures, with the way of the contacts' bytes, microseconds.
const CONVERSION_US: u64 = 500_000;
/// Most lines of a commit: at 512 one is made at once, and what one event adds comes on top.
const COMMIT_LINES_MAX: usize = 1024;
/// Most effects that one event leads to.
const EFFECTS_MAX: usize = 256;

/// Everything that the station may ever send, written down once more.
const ALLOWED: [&str; 11] = [
    "*IDN?\n",
    "SYST:ERR?\n",
    "CONF?\n",
    "READ?\n",
    "CONF:VOLT:DC\n",
    "CONF:VOLT:AC\n",
    "CONF:CURR:DC\n",
    "CONF:CURR:AC\n",
    "CONF:RES\n",
    "CONF:FRES\n",
    "CONF:FREQ\n",
];

#[track_caller]
pub(crate) fn hold(name: &str, verdict: Verdict) {
    if let Err(why) = verdict {
        panic!("{name}: {why}");
    }
}

fn must(holds: bool, why: impl FnOnce() -> String) -> Verdict {
    if holds { Ok(()) } else { Err(why()) }
}

/// Only the meter that may be asked is asked, and only for what can put out nothing.
pub(crate) fn is_allowed(link: &str, bytes: &[u8]) -> Verdict {
    must(link == "dmm", || format!("something is sent on {link}"))?;
    let allowed = ALLOWED.iter().any(|text| text.as_bytes() == bytes);
    must(allowed, || format!("{:?} is sent", String::from_utf8_lossy(bytes)))
}

/// Nobody is shown or told what a power cut could take back.
pub(crate) fn is_durable(seq: u64, durable: u64) -> Verdict {
    must(seq <= durable, || format!("line {seq} is shown, {durable} is the last on disk"))
}

/// No power cut leaves anything that a start does not understand.
pub(crate) fn is_understood(odd: &[String]) -> Verdict {
    must(odd.is_empty(), || format!("{odd:?}"))
}

/// Every byte that was delivered stands in one line, in order, and soon. Those that were compared
/// are let go.
pub(crate) fn bytes_are_kept(
    delivered: &mut Delivered,
    stored: &mut BTreeMap<String, Vec<u8>>,
    idle: &dyn Fn(&str) -> bool,
    now: u64,
) -> Verdict {
    for (link, bytes) in stored {
        for byte in std::mem::take(bytes) {
            let was = delivered.get_mut(link).and_then(std::collections::VecDeque::pop_front);
            must(was.map(|(_, was)| was) == Some(byte), || {
                format!("{link}: byte {byte:#04x} is stored, {was:02x?} was delivered")
            })?;
        }
    }
    for (link, bytes) in delivered.iter().filter(|(link, _)| !link.starts_with("scan")) {
        let waits = bytes.front().map_or(now, |(at, _)| *at);
        let most = if idle(link) { IDLE_WAITS_US_MAX } else { WAITS_US_MAX };
        must(now <= waits + most, || format!("{link}: bytes of {waits} us are in no line"))?;
    }
    Ok(())
}

/// The record as stored and as it lives are one; else the first lines that differ are told.
pub(crate) fn the_fold_is_what_lives(id: &str, stored: &Record, lives: &Record) -> Verdict {
    must(stored == lives, || {
        let (stored, lives) = (format!("{stored:#?}"), format!("{lives:#?}"));
        let differ = stored.lines().zip(lives.lines()).filter(|(a, b)| a != b);
        format!("{id}, stored and living: {:#?}", differ.take(4).collect::<Vec<_>>())
    })
}

/// What the record calls live is what the lines say.
pub(crate) fn the_phase_is_what_was_stored(id: &str, shadow: &Shadow) -> Verdict {
    let live = shadow.inspection.record().run.phase == Phase::Live;
    must(live == shadow.live, || format!("{id}: live {live}, by its lines {}", shadow.live))
}

/// What faces are shown follows from what is stored.
pub(crate) fn the_status_is_what_is_stored(ledger: &Ledger, status: &Status) -> Verdict {
    must(status.seq == ledger.last, || format!("{} and {}", status.seq, ledger.last))?;
    status.benches.iter().try_for_each(|bench| bench_is_what_is_stored(ledger, bench))
}

fn bench_is_what_is_stored(ledger: &Ledger, bench: &BenchStatus) -> Verdict {
    let id = &bench.id;
    let operator = ledger.register.logins.get(id);
    must(bench.operator.as_ref() == operator, || format!("{id}: {operator:?} works there"))?;
    let shown: Vec<&str> = bench.inspection.iter().map(|one| one.id.as_str()).collect();
    let open = ledger.on(id, false);
    must(shown == open, || format!("{id}: {shown:?} is shown, {open:?} is open"))?;
    let rests = ledger.on(id, true);
    must(bench.parked == rests, || format!("{id}: {:?}, {rests:?} rest", bench.parked))?;
    for link in &bench.links {
        let stored = ledger.links.get(&link.id).map_or("down", String::as_str);
        // Silent is one that is up and was asked again since it last said something.
        let asked = ledger.asked.get(&link.id).copied().unwrap_or(0);
        let shown = match link.state {
            "refused" => "up",
            "silent" if asked >= 1 => "up",
            state => state,
        };
        must(shown == stored, || format!("{} is shown {shown}, it is {stored}", link.id))?;
    }
    let Some(one) = &bench.inspection else { return Ok(()) };
    let shadow = &ledger.shadows[&one.id];
    let (record, prompt) = (shadow.inspection.record(), &one.prompt);
    let last = record.last.map(|(seq, _)| seq);
    must(prompt.seq == last, || format!("{id}: acts expect {:?}, {last:?}", prompt.seq))?;
    let unwatched = shadow.live && (record.run.doubt || record.run.unready);
    let warned = (prompt.state == "may_be_live") == (unwatched || lost(shadow));
    must(warned, || format!("{id}: `{}` while live: {}", prompt.state, shadow.live))
}

/// Live, and no step is active any more.
fn lost(shadow: &Shadow) -> bool {
    shadow.live && shadow.inspection.record().active().is_none()
}

/// The register as stored and as it lives are one.
pub(crate) fn the_register_is_what_lives(world: &World, ledger: &Ledger) -> Verdict {
    let lives = world.core.register();
    must(*lives == ledger.register, || format!("{lives:?} lives, stored is {:?}", ledger.register))
}

/// An outcome that somebody was told of is signed in a line on disk.
pub(crate) fn outcomes_are_stored(ledger: &Ledger, told: &[(String, String)]) -> Verdict {
    for (id, outcome) in told {
        let lines = ledger.texts.get(&BookId::Inspection(id.clone()));
        let signed =
            lines.and_then(|lines| lines.iter().rev().find(|l| l.contains("\"k\":\"sign\"")));
        let word = format!("\"outcome\":\"{outcome}\"");
        let stored = signed.is_some_and(|line| line.contains(&word));
        must(stored, || format!("{id} was told to be {outcome}, stored is {signed:?}"))?;
    }
    Ok(())
}

/// Queues stay within their bounds.
pub(crate) fn queues_are_bounded((lines, effects): (usize, usize)) -> Verdict {
    must(lines <= COMMIT_LINES_MAX, || format!("a commit of {lines} lines"))?;
    must(effects <= EFFECTS_MAX, || format!("{effects} effects at once"))
}

/// What a power cut at this moment would leave holds everything that was shown.
pub(crate) fn what_was_shown_survives(
    ledger: &Ledger,
    disk: &Memory,
    station: &Station,
    now: u64,
) -> Verdict {
    let disk = disk.image();
    disk.crash(Crash::LoseAll);
    let started = station.start(&disk, station.at(now), None);
    let started = started.map_err(|halted| format!("it does not start: {halted}"))?;
    for (book, shown) in &ledger.texts {
        let kept = started.books.shelf().texts(book).map_err(|halted| halted.to_string())?;
        let kept: Vec<Vec<u8>> = kept.filter_map(|text| Some(text.ok()?.bytes)).collect();
        begins_with(book, &kept, shown)?;
    }
    Ok(())
}

/// A book begins with the lines that were shown.
pub(crate) fn begins_with(book: &BookId, kept: &[Vec<u8>], shown: &[String]) -> Verdict {
    let differs = shown.iter().enumerate().find(|(n, text)| {
        kept.get(*n).is_none_or(|kept| kept.trim_ascii_end() != text.trim_end().as_bytes())
    });
    let kept = |n: usize| kept.get(n).map(|text| String::from_utf8_lossy(text).into_owned());
    match differs {
        None => Ok(()),
        Some((n, text)) => Err(format!("{book:?}: shown {text}, on disk {:?}", kept(n))),
    }
}

/// The bytes of a book give its facts once more, verdicts among them.
pub(crate) fn the_book_replays(lines: &[Line], book: &BookId) -> Verdict {
    let report = tapline::replay::replay(lines, &context(1));
    let all = report.differences.len();
    let first: Vec<_> = report.differences.iter().take(3).collect();
    must(all == 0, || format!("{book:?}: the first of {all}: {first:#?}"))
}

/// Every sealed book has a head and a signature, they fit, and the station says so once.
pub(crate) fn seals_fit(disk: &Memory, station_book: &[Line]) -> Verdict {
    let sealed = |path: &String| path.starts_with("inspections/") && path.ends_with(".jsonl");
    for path in disk.paths().into_iter().filter(sealed) {
        let stem = path.trim_end_matches(".jsonl");
        let name = stem.rsplit('/').next().unwrap_or_default();
        let [book, head, signature] = ["jsonl", "head", "sig"]
            .map(|end| disk.bytes(&format!("{stem}.{end}")).unwrap_or_default());
        let sha = data_encoding::HEXLOWER.encode(&sha2_of(&book));
        let fits = head == format!("{sha}  {name}.jsonl\n").as_bytes();
        must(fits, || format!("{path}: the head says {}", String::from_utf8_lossy(&head)))?;
        must(key().public().verifies(&head, &signature), || format!("{path}: the signature"))?;
        let told = |line: &&Line| matches!(&line.fact, Fact::Sealed(s) if s.id == name);
        let told: Vec<&Line> = station_book.iter().filter(told).collect();
        let same = |line: &&&Line| matches!(&line.fact, Fact::Sealed(s) if s.head == sha);
        let right = told.len() == 1 && told.iter().filter(same).count() == 1;
        must(right, || format!("{path}: {sha}, the station says {told:?}"))?;
    }
    Ok(())
}

fn sha2_of(bytes: &[u8]) -> Vec<u8> {
    use sha2::Digest;
    sha2::Sha256::digest(bytes).to_vec()
}

/// A value was taken in the condition that it tells: the switches stood so at a moment of the
/// half second before each of its readings came.
pub(crate) fn the_condition_was_true(
    set: &Settings,
    times: impl Iterator<Item = u64>,
    stood: &[(u64, [bool; 3])],
) -> Verdict {
    for at in times {
        let before = at.saturating_sub(CONVERSION_US);
        let began = stood.iter().rposition(|(since, _)| *since <= before).unwrap_or(0);
        let positions = stood[began..].iter().filter(|(since, _)| *since <= at);
        let fits = positions.clone().any(|(_, position)| stands(set, *position));
        must(fits, || format!("{set:?} at {at} us: {:?}", positions.collect::<Vec<_>>()))?;
    }
    Ok(())
}

fn stands(set: &Settings, [s5, s7, supply]: [bool; 3]) -> bool {
    let word = |switch: Switch| set.get(&switch).map(String::as_str);
    word(Switch::S5).is_none_or(|word| word == if s5 { "reversed" } else { "normal" })
        && word(Switch::S7).is_none_or(|word| word == if s7 { "open" } else { "closed" })
        && word(Switch::Supply).is_none_or(|word| word == if supply { "on" } else { "off" })
}

/// Two disks hold the same files with the same bytes.
pub(crate) fn the_same_books(one: &Memory, other: &Memory) -> Verdict {
    let (names, others) = (one.paths(), other.paths());
    must(names == others, || format!("{names:?} and {others:?}"))?;
    for path in names {
        let (one, other) = (one.bytes(&path), other.bytes(&path));
        must(one == other, || format!("{path} differs"))?;
    }
    Ok(())
}
