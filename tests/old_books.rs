//! Books that were written by earlier programs, committed as they were: they must open for ever.
//!
//! `tests/journals/v1/` is a data folder as a killed station left it. Nothing in it may ever
//! change: its files are listed here with their SHA-256. What the programs say of it stands in
//! `expect/`; `UPDATE_EXPECT=1 cargo test --test old_books` writes that anew, and a difference
//! there says that an old book is read otherwise than before. A field that is added is none.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use data_encoding::HEXLOWER;
use serde_json::Value;
use sha2::{Digest, Sha256};
use support::station::{Output, TAPLINE};
use support::{http, wait};
use tempfile::TempDir;

const SEALED: &str = "inspections/2026/11/DEMO-20261126-0001.jsonl";
const DAMAGED: &str = "inspections/2026/11/DEMO-20261126-0002.jsonl";
const TORN: &str = "open/DEMO-20261126-0003.jsonl";
const IDLE: &str = "idle/2026-11-26.jsonl";
const STATION: &str = "station/2026.jsonl";
const BOOKS: [&str; 5] = [STATION, IDLE, SEALED, DAMAGED, TORN];
const KEY: &str = "keys/DEMO-1.pub.pem";

/// Every file of the set. A line here is never changed: history is not written anew.
const FILES: [(&str, &str); 10] = [
    ("idle/2026-11-26.jsonl", "c1ed8abdb48a03dfa270e747d80e034205875cafb7c82e2cc16d0801e63dda14"),
    (
        "inspections/2026/11/DEMO-20261126-0001.head",
        "a1b056b6fa142c75d66be733d141e694310f1c361f2adddf15c3421cf168843e",
    ),
    (
        "inspections/2026/11/DEMO-20261126-0001.jsonl",
        "4cca0a0a56ab69c76b4f3cb98f484c9adab5270bb3a63b4293b4ca1172d7be9d",
    ),
    (
        "inspections/2026/11/DEMO-20261126-0001.sig",
        "be22bfb3f581d74e21507c6c5eb73293beaad6759c4eb759c52ebe388248248d",
    ),
    (
        "inspections/2026/11/DEMO-20261126-0002.head",
        "30b644e974f6fb698a2880b90c50fa1b7608e286ec21f710f1b682cd4afa74f4",
    ),
    (
        "inspections/2026/11/DEMO-20261126-0002.jsonl",
        "62f67e02c34c35f41df039312911849858445841596000ff0e825d6b57ebd21e",
    ),
    (
        "inspections/2026/11/DEMO-20261126-0002.sig",
        "3f2b1210e851c1fc6bf57de35e4860b1eb4ea67c401ab90faadaec314d5b45d6",
    ),
    ("keys/DEMO-1.pub.pem", "18f49fc0a39951fc8ee3aeb252c82de84a5b92f783f6dae9dea2774eb972a596"),
    (
        "open/DEMO-20261126-0003.jsonl",
        "f5aa28239f500f87646621bd4fa0cb6639eafc9aa1e61f87d1bd55ff34012d48",
    ),
    ("station/2026.jsonl", "0553f8150ad1d7785f5c800dedcb58458ee15dd879b689ba77e0cf591d9b33dd"),
];

fn v1() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/journals/v1")
}

fn sha256(bytes: &[u8]) -> String {
    HEXLOWER.encode(&Sha256::digest(bytes))
}

/// The set in a folder of its own, where a station may write.
fn copied() -> TempDir {
    let temp = tempfile::Builder::new().prefix("tapline-").tempdir().unwrap();
    for (name, _) in FILES {
        let to = temp.path().join("data").join(name);
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(v1().join(name), to).unwrap();
    }
    temp
}

fn tapline(args: &[&str]) -> Output {
    Output::of(Command::new(TAPLINE).args(args).current_dir(v1()))
}

/// What is expected, written anew where that is asked for.
fn expected(name: &str, now: &[Value]) -> Vec<Value> {
    let path = v1().join("expect").join(name);
    if std::env::var_os("UPDATE_EXPECT").is_some() {
        let text: String = now.iter().map(|value| format!("{value}\n")).collect();
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, text).unwrap();
    }
    let text = fs::read_to_string(&path).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// Everything that was said is still said, in the same words; more may be.
#[track_caller]
fn holds(place: &str, was: &Value, is: &Value) {
    match (was, is) {
        (Value::Object(was), Value::Object(is)) => {
            for (key, value) in was {
                holds(&format!("{place}.{key}"), value, is.get(key).unwrap_or(&Value::Null));
            }
        }
        (Value::Array(was), Value::Array(is)) if was.len() == is.len() => {
            was.iter().zip(is).for_each(|(was, is)| holds(place, was, is));
        }
        _ => assert_eq!(was, is, "{place}"),
    }
}

#[track_caller]
fn as_expected(name: &str, now: &[Value]) {
    let was = expected(name, now);
    assert_eq!(was.len(), now.len(), "{name}");
    was.iter().zip(now).for_each(|(was, is)| holds(name, was, is));
}

#[test]
fn nobody_writes_history_anew() {
    for (name, sum) in FILES {
        let bytes = fs::read(v1().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_eq!(sha256(&bytes), sum, "{name} is never changed");
    }
    let known: BTreeSet<PathBuf> = FILES.iter().map(|(name, _)| v1().join(name)).collect();
    let mut found = BTreeSet::new();
    walk(&v1(), &mut found);
    let more: Vec<_> = found.difference(&known).collect();
    assert_eq!(more, Vec::<&PathBuf>::new(), "nothing is added to a set, either");
}

fn walk(folder: &Path, found: &mut BTreeSet<PathBuf>) {
    for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        match path.is_dir() {
            true if path.ends_with("expect") => {}
            true => walk(&path, found),
            false if path.ends_with("README.md") => {}
            false => drop(found.insert(path)),
        }
    }
}

/// `verify` finds the sealed one whole, and names line and byte where another is not.
#[test]
fn old_books_verify_as_they_did() {
    let said = BOOKS.map(|book| {
        let output = tapline(&["verify", "--json", book]);
        let wrong = [DAMAGED, TORN].contains(&book);
        assert_eq!((output.code, output.stderr.as_str()), (i32::from(wrong), ""), "{output:?}");
        serde_json::from_str(&output.stdout).unwrap()
    });
    as_expected("verify.jsonl", &said);
}

/// A stranger's tools say the same: shell, sha256sum and openssl alone.
#[test]
fn old_seals_hold_without_this_program() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/verify.sh");
    let verify = |book: &str| {
        Output::of(Command::new("sh").arg(&script).arg(v1().join(book)).arg(v1().join(KEY)))
    };
    assert_eq!(verify(SEALED).code, 0, "{:?}", verify(SEALED));
    assert_eq!(verify(DAMAGED).code, 1, "{:?}", verify(DAMAGED));
}

/// The raw bytes give every reading, value and verdict once more. What is not believed to its end
/// is not replayed.
#[test]
fn old_books_replay_as_they_did() {
    let said = [IDLE, SEALED].map(|book| {
        let output = tapline(&["replay", "--json", book]);
        assert_eq!((output.code, output.stderr.as_str()), (0, ""), "{output:?}");
        let mut report: Value = serde_json::from_str(&output.stdout).unwrap();
        assert_eq!(report["differences"], serde_json::json!([]));
        // Which programs have come since is no matter of the book.
        report.as_object_mut().unwrap().remove("versions");
        report
    });
    as_expected("replay.jsonl", &said);
    for book in [DAMAGED, TORN] {
        let output = tapline(&["replay", book]);
        assert_eq!(output.code, 2, "{output:?}");
        assert!(output.stderr.contains("not all of it is believed"), "{output:?}");
    }
}

/// A station of today on the folder of then.
struct Station {
    program: Child,
    folder: TempDir,
}

impl Station {
    fn command(folder: &Path, args: &[&str]) -> Command {
        let mut command = Command::new(TAPLINE);
        command.args(args).env("TAPLINE_SOCKET", folder.join("tapline.sock"));
        command
    }

    fn config(folder: &Path) -> PathBuf {
        let file = folder.join("tapline.toml");
        let text = format!(
            "format = \"tapline-config-1\"\n\
             [station]\nid = \"DEMO\"\nname = \"Old books\"\nzone = \"Etc/UTC\"\n\
             [store]\nfolder = \"{}\"\nreserve_mb = 1\n\
             [page]\nlisten = \"off\"\n[[bench]]\nid = \"b1\"\nname = \"Bench 1\"\n",
            folder.join("data").display()
        );
        fs::write(&file, text).unwrap();
        file
    }

    fn start(folder: TempDir) -> Station {
        let config = Station::config(folder.path());
        let mut command = Station::command(folder.path(), &["serve", "--config"]);
        let log = fs::File::create(folder.path().join("log")).unwrap();
        command.arg(config).stdin(Stdio::null()).stdout(Stdio::null()).stderr(log);
        let station = Station { program: command.spawn().unwrap(), folder };
        wait::until("the station answers", || {
            let status = station.get("/v1/status")?;
            (status["halted"].is_null() && status["seq"].as_u64() > Some(0)).then_some(())
        });
        station
    }

    fn get(&self, path: &str) -> Option<Value> {
        let socket = self.folder.path().join("tapline.sock");
        let (status, text) = http::ask(&socket, "GET", path, "").ok()?;
        (status == 200).then(|| serde_json::from_str(&text).unwrap())
    }
}

impl Drop for Station {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

#[test]
fn a_station_of_today_goes_on_with_old_books() {
    let station = Station::start(copied());
    let status = station.get("/v1/status").unwrap();
    let inspection = &status["benches"][0]["inspection"];
    assert_eq!(inspection["id"], "DEMO-20261126-0003", "{status}");
    assert_eq!(inspection["prompt"]["state"], "look");
    let items = inspection["prompt"]["items"].as_array().unwrap();
    assert!(!items.is_empty() && !items.contains(&"markings".into()), "what was answered stays");
    let data = station.folder.path().join("data");
    let open = fs::read_dir(data.join("open")).unwrap().map(|entry| entry.unwrap().path());
    let torn = open.filter(|path| path.to_string_lossy().contains(".torn-")).count();
    assert_eq!(torn, 1, "the torn tail is kept aside");
    for (name, sum) in FILES.iter().filter(|(name, _)| name.starts_with("inspections")) {
        assert_eq!(sha256(&fs::read(data.join(name)).unwrap()), *sum, "{name} is as it was");
    }
    let shown: Vec<Value> = ["DEMO-20261126-0001", "DEMO-20261126-0002"]
        .iter()
        .map(|id| station.get(&format!("/v1/inspections/{id}")).unwrap())
        .collect();
    assert_eq!((&shown[0]["damaged"], &shown[1]["damaged"]), (&false.into(), &true.into()));
    as_expected("show.jsonl", &shown);
}

/// Every book with the format of tomorrow, its marks right: nobody here can know what it means.
#[test]
fn a_newer_format_is_refused_with_what_to_do() {
    let told = |output: &Output| {
        let all = format!("{}{}", output.stdout, output.stderr);
        for word in ["tapline-book-2", "tapline-book-1", "the version that wrote it"] {
            assert!(all.contains(word), "{word}: {output:?}");
        }
        assert_eq!(output.code, 2, "{output:?}");
    };
    for book in [STATION, TORN] {
        let folder = copied();
        let path = folder.path().join("data").join(book);
        newer(&path);
        let before = fs::read(&path).unwrap();
        for command in ["verify", "replay"] {
            told(&Output::of(Command::new(TAPLINE).arg(command).arg(&path)));
        }
        let config = Station::config(folder.path());
        let args = ["serve", "--config", config.to_str().unwrap()];
        told(&Output::of(&mut Station::command(folder.path(), &args)));
        assert_eq!(fs::read(&path).unwrap(), before, "{book} is left as it is");
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1, "nothing beside it");
    }
}

/// Names the newer format in the first line, and makes every mark anew.
fn newer(path: &Path) {
    let text = fs::read_to_string(path).unwrap().replacen("tapline-book-1", "tapline-book-2", 1);
    let mut made = String::new();
    for line in text.split_inclusive('\n') {
        match line.starts_with("{\"mark\":") {
            true => made += &format!("{{\"mark\":\"{}\"}}\n", sha256(made.as_bytes())),
            false => made += line,
        }
    }
    fs::write(path, made).unwrap();
}
