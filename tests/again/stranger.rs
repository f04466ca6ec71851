//! One sealed record in the hands of a stranger: a verifier that was written from the record's
//! first line alone, `verify.sh`, and the shell lines of the README. No program of ours runs.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};
use tapline::books::Key;

use super::forge::{Said, edit, hash, run, seal, sealed};
use super::house::Made;
use super::world;

const README: &str = include_str!("../../README.md");

/// An empty folder with one record and the public key, as it would be handed to an auditor.
fn handed_over(id: &str) -> (tempfile::TempDir, PathBuf) {
    let (made, temp) = (Made::few().copy(), tempfile::tempdir().unwrap());
    for end in ["jsonl", "head", "sig"] {
        let from = sealed(made.path(), id).with_extension(end);
        fs::copy(&from, temp.path().join(from.file_name().unwrap())).unwrap();
    }
    fs::copy(made.path().join("keys/K3-1.pub.pem"), temp.path().join("K3-1.pub.pem")).unwrap();
    let record = temp.path().join(format!("{id}.jsonl"));
    (temp, record)
}

fn python(record: &Path) -> Said {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/verify_record.py");
    run(Command::new("python3")
        .arg(script)
        .arg(record)
        .arg("K3-1.pub.pem")
        .current_dir(record.parent().unwrap()))
}

fn shell(args: &[&str], folder: &Path) -> Said {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/verify.sh");
    run(Command::new("sh").arg(script).args(args).current_dir(folder))
}

#[test]
fn the_first_line_is_enough_to_check_and_to_read_a_record() {
    let made = Made::few();
    for (case, pe, word) in [
        (&made.cases[0], "0.214", "pass"),
        (&made.cases[1], "0.291", "pass"),
        (&made.cases[2], "0.459", "fail"),
    ] {
        let (_temp, record) = handed_over(&case.id);
        let said = python(&record);
        assert_eq!((said.code, said.stderr.as_str()), (0, ""), "{said:?}");
        let told: Value = serde_json::from_str(&said.stdout).unwrap();
        // (520 - 61) mohm; 300 mohm and its clause: IEC 62353:2014, 5.3.2 a).
        assert_eq!(
            told["verdicts"]["pe"],
            json!([pe, "Ohm", "0.300 Ohm", "5.3.2 a)", word, ["LR-01"]])
        );
        assert_eq!((&told["id"], &told["asset"]), (&json!(case.id), &json!("P-0109")));
        assert_eq!(told["operator"], "R. Feld");
        assert_eq!(told["meters"]["LR-01"], json!(["0001", "2027-03-31"]));
        assert_eq!(told["key"], world::key().public().fingerprint());
        assert_eq!(told["declared"], json!(["supply"]));
        assert_eq!(told["raw"]["ohm"], hash(&raw(&record, "ohm")));
    }
}

/// Bytes of a link, by a reader of our own tests.
fn raw(record: &Path, link: &str) -> Vec<u8> {
    let text = fs::read_to_string(record).unwrap();
    let lines = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let of = lines.filter(|line| line["k"] == "in" && line["link"] == link);
    of.flat_map(|line| line["raw"].as_str().unwrap().chars().collect::<Vec<_>>())
        .map(|c| u8::try_from(u32::from(c)).unwrap())
        .collect()
}

/// Spoils a record that was handed over: both verifiers refuse it, with this word.
#[track_caller]
fn refused(word: &str, spoil: impl Fn(&Path)) {
    let id = &Made::few().cases[0].id;
    let (temp, record) = handed_over(id);
    let whole = fs::read(&record).unwrap();
    spoil(&record);
    let said = python(&record);
    assert_eq!((said.code, said.stdout.as_str()), (1, ""), "{said:?}");
    assert!(said.stderr.starts_with("REFUSED: ") && said.stderr.contains(word), "{said:?}");
    if word != "mark" {
        let name = record.file_name().unwrap().to_str().unwrap();
        let said = shell(&[name, "K3-1.pub.pem"], temp.path());
        assert_eq!(said.code, 1, "{said:?}");
        assert!(said.stdout.starts_with("FAILED: "), "{said:?}");
    }
    fs::write(&record, whole).unwrap();
}

fn lines_of(record: &Path, change: impl Fn(&mut Vec<&str>)) {
    let text = fs::read_to_string(record).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    change(&mut lines);
    fs::write(record, lines.join("\n") + "\n").unwrap();
}

#[test]
fn whatever_is_changed_is_refused() {
    refused("head", |record| {
        let mut bytes = fs::read(record).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        fs::write(record, bytes).unwrap();
    });
    refused("head", |record| {
        lines_of(record, |lines| {
            lines.remove(20);
        })
    });
    refused("head", |record| lines_of(record, |lines| lines.swap(20, 21)));
    refused("head", |record| lines_of(record, |lines| lines.truncate(lines.len() - 2)));
    refused("head", |record| edit(record, |line| line.replace("op-7", "op-8")));
    refused("signature", |record| seal(record, &Key::from_secret("K3-1", &[9; 32])));
    // The head of another record, with the signature that belongs to it.
    let other = &Made::few().cases[1].id;
    refused("head", |record| {
        let (_other, from) = handed_over(other);
        for end in ["head", "sig"] {
            fs::copy(from.with_extension(end), record.with_extension(end)).unwrap();
        }
    });
    refused("signature", |record| {
        let (_other, from) = handed_over(other);
        fs::copy(from.with_extension("sig"), record.with_extension("sig")).unwrap();
    });
    // Signed with the station's own key, and still not what the station writes.
    refused("mark", |record| {
        lines_of(record, |lines| {
            lines.remove(20);
        });
        seal(record, &world::key());
    });
    refused("mark", |record| {
        lines_of(record, |lines| {
            lines.pop();
        });
        seal(record, &world::key());
    });
}

/// A forger with the station's key: the word does not follow from value and limit.
#[test]
fn a_verdict_is_reckoned_again_from_the_record_alone() {
    let pass_to_fail = |line: &str| match line.contains(r#""k":"verdict","step":"pe""#) {
        true => line.replace(r#""verdict":"pass""#, r#""verdict":"fail""#),
        false => line.into(),
    };
    let smaller = |line: &str| match line.contains(r#""k":"verdict","step":"pe""#) {
        true => line.replace(r#""value":"0.214""#, r#""value":"0.114""#),
        false => line.into(),
    };
    let other_value = |line: &str| match line.contains(r#""k":"value","step":"pe/2""#) {
        true => line.replace(r#""value":"-0.275""#, r#""value":"-0.175""#),
        false => line.into(),
    };
    let forge = |change: &dyn Fn(&str) -> String, word: &str| {
        let (_temp, record) = handed_over(&Made::few().cases[0].id);
        edit(&record, change);
        seal(&record, &world::key());
        let said = python(&record);
        assert_eq!(said.code, 1, "{said:?}");
        assert!(said.stderr.contains(word), "{word}: {said:?}");
    };
    forge(&pass_to_fail, "a verdict has another word");
    forge(&smaller, "a verdict has another value");
    forge(&other_value, "a correction has other values");
}

#[test]
fn verify_sh_says_how_it_is_used_and_what_it_did_not_check() {
    let id = &Made::few().cases[0].id;
    let (temp, record) = handed_over(id);
    let name = record.file_name().unwrap().to_str().unwrap();
    for args in [&[][..], &[name], &[name, "K3-1.pub.pem", "x"], &["--help"]] {
        let said = shell(args, temp.path());
        assert_eq!((said.code, said.stdout.as_str()), (2, ""), "{args:?}");
        assert!(said.stderr.contains("usage: verify.sh RECORD.jsonl KEY.pub.pem"), "{said:?}");
    }
    let said = shell(&["notes.txt", "K3-1.pub.pem"], temp.path());
    assert_eq!(said.code, 2);
    assert!(said.stderr.contains("does not end in .jsonl"), "{said:?}");
    let said = shell(&[name, "K3-1.pub.pem"], temp.path());
    assert_eq!(said.code, 0, "{said:?}");
    for word in ["Checked: ", "Not checked: ", "on paper", &world::key().public().fingerprint()] {
        assert!(said.stdout.contains(word), "{word}: {said:?}");
    }
}

/// The README's lines for years later, in a folder without the program.
#[test]
fn the_shell_lines_of_the_readme_answer_an_auditor() {
    let id = &Made::few().cases[2].id;
    let (temp, _) = handed_over(id);
    let part = README.split_once("## Years later, without Tapline").expect("the heading").1;
    let block = part.split("```sh\n").nth(1).unwrap().split("```").next().unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/verify.sh");
    fs::copy(script, temp.path().join("verify.sh")).unwrap();
    let block = block.replace("R=K3-20261124-0007", &format!("R={id}"));
    let said = run(Command::new("sh").args(["-euc", &block]).current_dir(temp.path()));
    assert_eq!((said.code, said.stderr.as_str()), (0, ""), "{said:?}");
    for answer in [
        "OK: ",                                 // genuine
        "\"by\":\"op-7\"",                      // who opened it
        "\"name\":\"R. Feld\"",                 // and who that is
        "\"serial\":\"0001\"",                  // with which meter
        "\"calibration_due\":\"2027-03-31\"",   // calibrated until when
        "\"shown\":\"0.459\"",                  // what was measured
        "\"value\":\"0.300\",\"unit\":\"Ohm\"", // against which limit
        "\"clause\":\"5.3.2 a)\"",              // of which clause
        "source = [",                           // read where
        "\"verdict\":\"fail\"",                 // with what verdict
        "\"what\":\"supply\"",                  // what was only declared
        "\"k\":\"sign\"",                       // signed
    ] {
        assert!(said.stdout.contains(answer), "no {answer} in {said:?}");
    }
}
