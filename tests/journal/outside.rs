//! Books in the hands of a stranger: `sha256sum`, `openssl`, a shell and Python accept what is
//! whole and refuse what was changed.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;

use proptest::test_runner::TestRng;
use tapline::books::{Disk, Folder, Key, Reader, verify};
use tapline_protocols::Fact;

use crate::bench::{ID, announce, bytes, day, key, open, stored};

const FOLDER: &str = "inspections/2026/11";
const PUBLIC: &str = "keys/K3-1.pub.pem";

/// A data folder with one sealed inspection, written by the real writer.
struct Sealed {
    temp: tempfile::TempDir,
}

impl Sealed {
    fn new() -> Sealed {
        let temp = tempfile::tempdir().unwrap();
        let disk: Arc<dyn Disk> = Arc::new(Folder::open(temp.path()).unwrap());
        let (mut books, found) = open(&disk);
        let commits = day(found.next_seq);
        for commit in &commits[..6] {
            books.commit(commit).unwrap();
        }
        let sealed = books.seal(ID).unwrap();
        assert_eq!(books.seal(ID).unwrap(), sealed, "sealing twice gives the same");
        announce(&mut books, 90, sealed);
        Sealed { temp }
    }

    fn at(&self, path: &str) -> PathBuf {
        self.temp.path().join(path)
    }

    fn book(&self, end: &str) -> PathBuf {
        self.at(&format!("{FOLDER}/{ID}.{end}"))
    }

    /// Exit code of `verify.sh`, and what it said.
    fn shell(&self) -> (i32, String) {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/verify.sh");
        let mut command = Command::new("sh");
        let output = run(command.arg(script).arg(self.book("jsonl")).arg(self.at(PUBLIC)));
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let talk = String::from_utf8_lossy(&output.stderr).into_owned();
        (output.status.code().unwrap(), text + &talk)
    }

    /// What our own check says.
    fn ours(&self) -> Result<verify::Report, String> {
        verify(&self.book("jsonl"), None).map_err(|trouble| trouble.to_string())
    }
}

/// A tool that is missing fails the test: nothing here is skipped.
fn run(command: &mut Command) -> Output {
    command.output().unwrap_or_else(|e| panic!("{:?} can't run: {e}", command.get_program()))
}

#[test]
fn sha256sum_and_openssl_accept_a_sealed_book() {
    let sealed = Sealed::new();
    let folder = sealed.at(FOLDER);
    let sum =
        run(Command::new("sha256sum").args(["-c", &format!("{ID}.head")]).current_dir(&folder));
    assert!(sum.status.success(), "{sum:?}");
    assert_eq!(String::from_utf8(sum.stdout).unwrap(), format!("{ID}.jsonl: OK\n"));
    let verify = run(Command::new("openssl")
        .args(["pkeyutl", "-verify", "-pubin", "-inkey"])
        .arg(sealed.at(PUBLIC))
        .args(["-rawin", "-in", &format!("{ID}.head"), "-sigfile", &format!("{ID}.sig")])
        .current_dir(&folder));
    assert!(verify.status.success(), "{verify:?}");
    let other = Key::from_secret("K3-2", &[43; 32]);
    std::fs::write(sealed.at("other.pem"), other.public().pem().unwrap()).unwrap();
    let verify = run(Command::new("openssl")
        .args(["pkeyutl", "-verify", "-pubin", "-inkey"])
        .arg(sealed.at("other.pem"))
        .args(["-rawin", "-in", &format!("{ID}.head"), "-sigfile", &format!("{ID}.sig")])
        .current_dir(&folder));
    assert!(!verify.status.success(), "another key is refused");
}

#[test]
fn openssl_reads_both_halves_of_the_key_and_gives_our_fingerprint() {
    let sealed = Sealed::new();
    let public = run(Command::new("openssl")
        .args(["pkey", "-pubout", "-in"])
        .arg(sealed.at("keys/K3-1.pem")));
    assert_eq!(public.stdout, std::fs::read(sealed.at(PUBLIC)).unwrap(), "{public:?}");
    let print = run(Command::new("sh")
        .args(["-c", "openssl pkey -pubin -in \"$0\" -outform DER | sha256sum"])
        .arg(sealed.at(PUBLIC)));
    let print = String::from_utf8(print.stdout).unwrap();
    assert!(print.starts_with(&key().public().fingerprint()), "{print}");
}

#[test]
fn the_shell_and_we_accept_what_is_whole_and_say_so() {
    let sealed = Sealed::new();
    let (code, text) = sealed.shell();
    assert_eq!((code, text.starts_with("OK: ")), (0, true), "{text}");
    assert!(text.contains(&key().public().fingerprint()));
    let report = sealed.ours().unwrap();
    assert!(report.ok && report.sealed, "{report}");
    assert_eq!((report.lines, report.marks), (5, 4));
    for path in ["station/2026.jsonl", "idle/2026-11-24.jsonl"] {
        let report = verify(&sealed.at(path), None).unwrap();
        assert!(report.ok && !report.sealed, "{report}");
    }
}

#[test]
fn a_hundred_random_bits_are_each_refused() {
    let sealed = Sealed::new();
    // A fixed seed: the same bits on every run.
    let mut random = TestRng::deterministic_rng(proptest::test_runner::RngAlgorithm::ChaCha);
    for _ in 0..100 {
        // Two of three in the book, the rest in head and signature.
        let end = ["jsonl", "jsonl", "jsonl", "jsonl", "head", "sig"];
        let path = sealed.book(end[below(&mut random, end.len())]);
        let whole = std::fs::read(&path).unwrap();
        let mut bad = whole.clone();
        let bit = below(&mut random, bad.len() * 8);
        bad[bit / 8] ^= 1 << (bit % 8);
        std::fs::write(&path, &bad).unwrap();
        let (code, text) = sealed.shell();
        assert_eq!(code, 1, "bit {bit} of {path:?}: {text}");
        assert!(text.starts_with("FAILED: "), "{text}");
        let report = sealed.ours().unwrap();
        assert!(!report.ok, "bit {bit} of {path:?}: {report}");
        std::fs::write(&path, &whole).unwrap();
    }
    assert_eq!(sealed.shell().0, 0);
}

fn below(random: &mut TestRng, n: usize) -> usize {
    use proptest::prelude::Rng;
    usize::try_from(random.next_u64() % n as u64).unwrap()
}

#[test]
fn a_removed_a_swapped_and_a_cut_line_are_refused_and_the_place_is_named() {
    let sealed = Sealed::new();
    let path = sealed.book("jsonl");
    let whole = std::fs::read_to_string(&path).unwrap();
    let lines: Vec<&str> = whole.lines().collect();
    let rewrite = |lines: &[&str]| std::fs::write(&path, lines.join("\n") + "\n").unwrap();
    let refused = |what: &str, code: &str, line: Option<u64>| {
        let (exit, text) = sealed.shell();
        assert_eq!(exit, 1, "{what}: {text}");
        let report = sealed.ours().unwrap();
        let first = &report.faults[0];
        assert_eq!((first.code, first.line), (code, line), "{what}: {report}");
    };
    let without = |n: usize| [&lines[..n], &lines[n + 1..]].concat();
    rewrite(&without(1));
    refused("a line is gone", "mark", Some(1));
    rewrite(&without(3));
    refused("the second commit lost its line", "mark", Some(4));
    let mut swapped = lines.clone();
    swapped.swap(3, 5);
    rewrite(&swapped);
    refused("two lines changed places", "mark", Some(4));
    std::fs::write(&path, &whole[..whole.len() - 1]).unwrap();
    refused("the last byte is gone", "mark", Some(8));
    // Whole commits cut off: every mark is right, and the head tells.
    rewrite(&lines[..7]);
    refused("the last commit is gone", "head", None);
    std::fs::write(&path, &whole).unwrap();
    assert!(sealed.ours().unwrap().ok);
}

#[test]
fn what_is_missing_or_of_another_record_is_refused() {
    let sealed = Sealed::new();
    let twin = format!("{FOLDER}/K3-20261124-0008");
    for end in ["jsonl", "head", "sig"] {
        std::fs::copy(sealed.book(end), sealed.at(&format!("{twin}.{end}"))).unwrap();
    }
    let report = verify(&sealed.at(&format!("{twin}.jsonl")), None).unwrap();
    assert_eq!(report.faults[0].code, "head", "a copy under another name: {report}");
    std::fs::remove_file(sealed.book("sig")).unwrap();
    assert_eq!((sealed.shell().0, sealed.ours().unwrap().faults[0].code), (1, "signature"));
    std::fs::remove_file(sealed.book("head")).unwrap();
    assert_eq!((sealed.shell().0, sealed.ours().unwrap().faults[0].code), (1, "not_sealed"));
    std::fs::remove_file(sealed.at(PUBLIC)).unwrap();
    assert_eq!(sealed.shell().0, 2);
}

#[test]
fn a_foreign_key_is_no_proof_and_no_key_is_trouble() {
    let sealed = Sealed::new();
    let other = Key::from_secret("K3-2", &[43; 32]).public().pem().unwrap();
    std::fs::write(sealed.at("other.pub.pem"), &other).unwrap();
    let report = verify(&sealed.book("jsonl"), Some(&sealed.at("other.pub.pem"))).unwrap();
    assert_eq!(report.faults[0].code, "signature");
    std::fs::write(sealed.at(PUBLIC), "no key").unwrap();
    let trouble = sealed.ours().unwrap_err();
    assert!(trouble.contains("--key"), "{trouble}");
    assert_eq!(sealed.shell().0, 2);
}

#[test]
fn a_reader_in_python_agrees_on_lines_marks_and_raw_bytes() {
    let sealed = Sealed::new();
    let raws: [&[u8]; 3] = [&(0..=255).collect::<Vec<u8>>(), b"\"\\\n\r\t\x00\x7f\x9f\xa0", b""];
    let disk: Arc<dyn Disk> = Arc::new(Folder::open(sealed.temp.path()).unwrap());
    let (mut books, found) = open(&disk);
    let book = tapline::station::event::BookId::Idle("2026-11-25".into());
    for (seq, raw) in (found.next_seq..).zip(raws) {
        books.commit(&[stored(&book, seq, bytes(raw))]).unwrap();
    }
    let path = sealed.at("idle/2026-11-25.jsonl");
    let whole = std::fs::read(&path).unwrap();
    agree(&path, &whole);
    // Also on every kind of tear and change.
    for cut in (0..whole.len()).step_by(97) {
        agree(&path, &whole[..cut]);
        let mut bad = whole.clone();
        bad[cut] ^= 1;
        agree(&path, &bad);
    }
    agree(&path, &whole[..whole.len() - 1]);
}

fn agree(path: &Path, book: &[u8]) {
    std::fs::write(path, book).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/read_book.py");
    let output = run(Command::new("python3").arg(script).arg(path));
    let mut want = String::new();
    let (mut lines, mut reader) = (0u64, Reader::new(book));
    while let Some(commit) = reader.commit().unwrap() {
        for line in commit.read().map(Result::unwrap) {
            lines += 1;
            let raw = match line.fact {
                Fact::In(data) => {
                    let raw = tapline::books::line::raw_bytes(&data.raw).unwrap();
                    format!("\"{}\"", data_encoding::HEXLOWER.encode(&raw))
                }
                _ => "null".into(),
            };
            want += &format!("[{}, {raw}]\n", line.seq);
        }
    }
    want += &format!("[{lines}, {}]\n", reader.believed());
    assert_eq!(String::from_utf8(output.stdout).unwrap(), want);
    assert_eq!(output.status.success(), reader.ending().unwrap().is_whole());
}
