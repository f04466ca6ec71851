//! The key that signs is replaced, lost or not to be read: no record loses its proof.

use std::fs;
use std::os::unix::fs::{PermissionsExt, chown};
use std::path::{Path, PathBuf};
use std::process::Command;

use data_encoding::BASE64;
use rustix::process::geteuid;
use serde_json::Value;
use tapline::books::{Folder, Key};

use crate::support::book::Book;
use crate::support::station::{Builder, Output, Station, TAPLINE};
use crate::support::wait;

/// Opens an inspection and ends it; its sealed book.
fn sealed(station: &Station) -> PathBuf {
    station.done(&["scan", "T-0201"]);
    let id = station.done(&["begin"]).trim().to_owned();
    station.done(&["end", "--outcome", "given_up", "--reason", "called away"]);
    let day = &id.split('-').nth(1).unwrap();
    let folder = format!("inspections/{}/{}", &day[..4], &day[4..6]);
    station.data().join(folder).join(format!("{id}.jsonl"))
}

fn verify(station: &Station, book: &Path) -> (i32, Value) {
    let output = station.run(&["verify", "--json", book.to_str().unwrap()]);
    (output.code, serde_json::from_str(&output.stdout).unwrap())
}

fn new_key(station: &Station, reason: &str) -> Output {
    let config = station.config();
    let config = config.to_str().unwrap();
    station.run(&["key", "new", "--by", "op-7", "--reason", reason, "--config", config])
}

fn station_book(station: &Station) -> PathBuf {
    let folder = fs::read_dir(station.data().join("station")).unwrap();
    folder.map(|entry| entry.unwrap().path()).next().unwrap()
}

/// The announcements as stored.
fn announced(station: &Station) -> Vec<String> {
    let book = Book::read(&station_book(station));
    let lines = book.lines.into_iter().map(|(_, line)| line);
    lines.filter(|line| line.contains("\"k\":\"key\"")).collect()
}

/// `openssl` checks the line with the key before.
fn openssl_accepts(station: &Station, line: &str, key: &str) {
    let (body, sig) = line.rsplit_once(",\"sig\":\"").unwrap();
    let (text, raw) = (station.folder().join("line"), station.folder().join("line.sig"));
    fs::write(&text, body).unwrap();
    let sig = BASE64.decode(sig.trim_end_matches("\"}").as_bytes()).unwrap();
    fs::write(&raw, sig).unwrap();
    let mut openssl = Command::new("openssl");
    openssl.args(["pkeyutl", "-verify", "-pubin", "-rawin", "-inkey"]);
    openssl.arg(station.data().join(key)).arg("-in").arg(text).arg("-sigfile").arg(raw);
    let output = Output::of(&mut openssl);
    assert_eq!(output.code, 0, "{output:?}");
}

#[test]
fn a_new_key_is_signed_by_the_old_one_and_both_prove_their_records() {
    let mut station = Builder::new().start();
    let first = sealed(&station);
    let refused = new_key(&station, "a disk was stolen");
    assert_eq!(refused.code, 2);
    assert!(refused.stderr.contains("in use by process"), "{refused:?}");
    station.stop();
    let made = new_key(&station, "a disk was stolen");
    assert_eq!(made.code, 0, "{made:?}");
    let keys = station.data().join("keys");
    assert!(!keys.join("T1-1.pem").exists(), "the old one signs nothing any more");
    assert!(keys.join("T1-1.pub.pem").exists() && keys.join("T1-2.pem").exists());
    station.restart();
    let second = sealed(&station);
    station.stop();
    for (book, key) in [(&first, "T1-1.pub.pem"), (&second, "T1-2.pub.pem")] {
        let (code, report) = verify(&station, book);
        assert_eq!((code, &report["sealed"]), (0, &true.into()), "{report}");
        assert!(report["key_file"].as_str().unwrap().ends_with(key), "{report}");
    }
    let lines = announced(&station);
    assert_eq!(lines.len(), 2, "{lines:?}");
    let new: Value = serde_json::from_str(&lines[1]).unwrap();
    assert_eq!((&new["before"], &new["by"]), (&"signed".into(), &"op-7".into()));
    assert_eq!(new["reason"], "a disk was stolen");
    assert_eq!(new["key"], made.stdout.trim());
    openssl_accepts(&station, &lines[1], "keys/T1-1.pub.pem");
    let book = station_book(&station);
    assert_eq!(verify(&station, &book).0, 0);
    let config = station.config();
    let list = station.done(&["key", "list", "--config", config.to_str().unwrap()]);
    assert!(list.contains("announced by the key before: a disk was stolen"), "{list}");

    // A key that nobody announced proves nothing, wherever it lies.
    let foreign = Key::from_secret("T1-9", &[9; 32]);
    foreign.store(&Folder::existing(&station.data()).unwrap()).unwrap();
    let head = fs::read(second.with_extension("head")).unwrap();
    fs::write(second.with_extension("sig"), foreign.sign(&head)).unwrap();
    let (code, report) = verify(&station, &second);
    assert_eq!(code, 1, "{report}");
    assert!(report["faults"][0]["text"].as_str().unwrap().contains("never announced"), "{report}");
    // And a key whose voucher can't be checked is told.
    fs::remove_file(keys.join("T1-1.pub.pem")).unwrap();
    let (code, report) = verify(&station, &book);
    assert_eq!((code, &report["faults"][0]["code"]), (1, &"line_signature".into()), "{report}");
}

#[test]
fn a_lost_key_is_followed_by_one_that_says_so_and_old_records_stay_proved() {
    let mut station = Builder::new().start();
    let first = sealed(&station);
    station.stop();
    let keys = station.data().join("keys");
    fs::remove_file(keys.join("T1-1.pem")).unwrap();
    station.restart();
    let second = sealed(&station);
    station.stop();
    let lines = announced(&station);
    let new: Value = serde_json::from_str(lines.last().unwrap()).unwrap();
    assert_eq!((&new["before"], &new["sig"]), (&"lost".into(), &Value::Null), "{lines:?}");
    assert!(station.log().contains("the private half of the one before is lost"));
    for book in [&first, &second, &station_book(&station)] {
        assert_eq!(verify(&station, book).0, 0, "{}", book.display());
    }
}

#[test]
fn a_key_that_can_not_be_read_is_named_with_what_to_do() {
    let wiring = Builder::new();
    let root = geteuid().is_root();
    let mut station = if root { wiring.user(65_534) } else { wiring }.start();
    station.stop();
    let key = station.data().join("keys/T1-1.pem");
    let serve = |station: &Station| {
        let mut command = Command::new(TAPLINE);
        if root {
            command = Command::new("setpriv");
            command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]);
            command.arg(station.folder().join("tapline"));
        }
        command.args(["serve", "--config"]).arg(station.config());
        Output::of(command.env("TAPLINE_SOCKET", station.socket()))
    };
    let whole = fs::read(&key).unwrap();
    let mode = |bits| fs::set_permissions(&key, fs::Permissions::from_mode(bits)).unwrap();
    if root {
        chown(&key, Some(0), Some(0)).unwrap();
    } else {
        mode(0o000);
    }
    let output = serve(&station);
    assert_eq!(output.code, 2, "{output:?}");
    assert!(output.stderr.contains("`keys/T1-1.pem` may not be read by the user"), "{output:?}");
    fs::remove_file(&key).unwrap();
    fs::write(&key, "no key").unwrap();
    mode(0o444);
    let output = serve(&station);
    assert_eq!(output.code, 2, "{output:?}");
    for part in ["`keys/T1-1.pem` is no Ed25519 private key", "move it away"] {
        assert!(output.stderr.contains(part), "{part}: {output:?}");
    }
    fs::write(&key, whole).unwrap();
    station.restart();
    wait::until_true("it judges", || station.get("/v1/status")["halted"].is_null());
    assert_eq!(announced(&station).len(), 1, "it is the same key");
}
