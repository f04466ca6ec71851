//! The main job: `tapline demo --once` as a newcomer runs it, and its records as an auditor
//! meets them, with a shell, sha256sum and openssl.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;

/// Single-bit changes that are tried on each record.
const FLIPS: u64 = 100;

fn tapline(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tapline")).args(args).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn verify(record: &Path, key: &Path) -> Output {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/verify.sh");
    Command::new("sh").arg(script).arg(record).arg(key).output().unwrap()
}

fn records(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(records(&path));
        } else if path.extension().is_some_and(|ending| ending == "jsonl") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// A small generator of its own (Marsaglia's xorshift): one seed, one story.
struct Random(u64);

impl Random {
    fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % end
    }
}

/// A record with one bit of its book, head or signature turned round.
fn flipped(record: &Path, to: &Path, random: &mut Random) -> PathBuf {
    let changed = ["jsonl", "head", "sig"][usize::try_from(random.below(3)).unwrap()];
    for ending in ["jsonl", "head", "sig"] {
        let mut bytes = fs::read(record.with_extension(ending)).unwrap();
        if ending == changed {
            let at = usize::try_from(random.below(bytes.len() as u64)).unwrap();
            bytes[at] ^= 1 << random.below(8);
        }
        fs::write(to.join(record.with_extension(ending).file_name().unwrap()), bytes).unwrap();
    }
    to.join(record.file_name().unwrap())
}

#[test]
fn five_inspections_end_as_expected_in_records_that_stand_alone() {
    let temp = tempfile::tempdir().unwrap();
    let folder = temp.path().join("demo");
    let played = tapline(&["demo", "--once", "--folder", folder.to_str().unwrap()]);
    let (out, talk) = (text(&played.stdout), text(&played.stderr));
    assert_eq!(played.status.code(), Some(0), "{out}\n{talk}");
    let key = folder.join("data/keys/DEMO-1.pub.pem");
    let records = records(&folder.join("data/inspections"));
    assert_eq!(records.len(), 5, "{out}");
    let aside = temp.path().join("flipped");
    fs::create_dir(&aside).unwrap();
    let mut random = Random(20_261_124);
    for record in &records {
        assert!(out.contains(record.to_str().unwrap()), "the demo names its records");
        let whole = verify(record, &key);
        assert!(whole.status.success(), "{}", text(&whole.stderr));
        let stranger = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/verify_record.py");
        let read = Command::new("python3").arg(stranger).arg(record).arg(&key).output().unwrap();
        assert!(read.status.success(), "{}", text(&read.stderr));
        for n in 0..FLIPS {
            let changed = flipped(record, &aside, &mut random);
            let refused = verify(&changed, &key);
            assert!(!refused.status.success(), "flip {n} of {}", record.display());
        }
        let replay = tapline(&["replay", record.to_str().unwrap()]);
        assert_eq!(replay.status.code(), Some(0), "{}", text(&replay.stdout));
    }
}

/// A whole inspection with known values (`tests/scenes.rs` names where they come from), through
/// real ports and the real daemon: what its sealed record says, and says again when replayed.
#[test]
fn known_values_come_to_known_verdicts_in_a_sealed_record() {
    let played = |scene: &str| {
        let temp = tempfile::tempdir().unwrap();
        let folder = temp.path().join("demo");
        let args = ["demo", "--once", "--scene", scene, "--folder", folder.to_str().unwrap()];
        let played = tapline(&args);
        let (out, talk) = (text(&played.stdout), text(&played.stderr));
        assert_eq!(played.status.code(), Some(0), "{out}\n{talk}");
        let record = records(&folder.join("data/inspections")).remove(0);
        assert!(verify(&record, &folder.join("data/keys/DEMO-1.pub.pem")).status.success());
        let replay = tapline(&["replay", record.to_str().unwrap()]);
        assert_eq!(replay.status.code(), Some(0), "{}", text(&replay.stdout));
        let lines = fs::read_to_string(&record).unwrap();
        lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect::<Vec<Value>>()
    };
    let worked = std::thread::spawn(move || said(&played("worked")));
    let detachable = said(&played("worked-detachable"));
    let wanted = [
        "look pass - []",
        "pe pass 0.214 []",
        "insulation pass 48.2 []",
        "insulation_applied pass >200 []",
        "leak pass 0.47018 [near_limit nothing_earlier]",
        "part pass 0.041726 [conditions_declared]",
        "try pass - []",
    ];
    assert_eq!(worked.join().unwrap(), wanted);
    assert_eq!(detachable[1], "pe fail 0.214 []");
    assert!(!detachable.iter().any(|verdict| verdict.starts_with("leak pass")));
}

/// The last verdict of each step, in the order of the record.
fn said(lines: &[Value]) -> Vec<String> {
    let verdicts = lines.iter().filter(|line| line["k"] == "verdict");
    let mut said: Vec<(String, String)> = Vec::new();
    for line in verdicts {
        let text = |key: &str| line[key].as_str().unwrap_or("-").to_owned();
        let bound = if line["indication"] == "above" { ">" } else { "" };
        let words = line["reasons"].as_array().into_iter().flatten().filter_map(Value::as_str);
        let words: Vec<&str> = words.collect();
        let step = text("step");
        said.retain(|(old, _)| *old != step);
        let verdict =
            format!("{step} {} {bound}{} [{}]", text("verdict"), text("shown"), words.join(" "));
        said.push((step, verdict));
    }
    said.into_iter().map(|(_, verdict)| verdict).collect()
}

#[test]
fn without_once_bench_and_station_stay_until_they_are_told_to_end() {
    let temp = tempfile::tempdir().unwrap();
    let folder = temp.path().join("demo");
    let mut demo = Command::new(env!("CARGO_BIN_EXE_tapline"))
        .args(["demo", "--scene", "lead-not-nulled", "--folder", folder.to_str().unwrap()])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut talk = BufReader::new(demo.stderr.take().unwrap()).lines().map(Result::unwrap);
    assert!(talk.any(|line| line.contains("The station stays up.")), "the demo says so");
    for _ in 0..20 {
        assert_eq!(demo.try_wait().unwrap(), None, "it stays");
        let socket = folder.join("tapline.sock");
        let status = tapline(&["status", "--socket", socket.to_str().unwrap()]);
        let page = text(&status.stdout);
        assert_eq!(
            (status.status.code(), page.contains("not connected")),
            (Some(0), false),
            "{page}"
        );
    }
    let id = records(&folder.join("data/inspections"))[0].file_stem().unwrap().to_owned();
    let socket = folder.join("tapline.sock");
    let show = ["show", id.to_str().unwrap(), "--socket", socket.to_str().unwrap()];
    let page = text(&tapline(&show).stdout);
    for told in ["by R. Feld (op-7), scheduled", "serial ", "calibration due ", "  signed "] {
        assert!(page.contains(told), "no `{told}` in {page}");
    }
    // Books are read beside a station that writes them.
    let data = folder.join("data").to_str().unwrap().to_owned();
    for beside in [&["verify", &data][..], &["replay", "--all", &data]] {
        let said = tapline(beside);
        assert_eq!(said.status.code(), Some(0), "{beside:?}: {}", text(&said.stdout));
    }
    let pid = i32::try_from(demo.id()).unwrap();
    let pid = rustix::process::Pid::from_raw(pid).unwrap();
    rustix::process::kill_process(pid, rustix::process::Signal::INT).unwrap();
    assert_eq!(demo.wait().unwrap().code(), Some(0), "the scene came to what it expects");
    let rest: Vec<String> = talk.collect();
    assert!(!rest.iter().any(|line| line.contains("bench ended")), "{rest:#?}");
}
