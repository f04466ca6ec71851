//! The real program without a station: data, talk and exit code of each command, together.
//!
//! Expected lines are written out here by hand from the formats that are promised; figures have
//! their source beside them.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::ffi::OsStr;
use std::fs;
use std::io::Write;
use std::process::{Command, Stdio};

/// What a command wrote, and how it ended.
#[derive(Debug, PartialEq, Eq)]
struct Said {
    stdout: String,
    stderr: String,
    code: i32,
}

/// Runs the program with these arguments; `input` is what it reads.
fn run<S: AsRef<OsStr>>(args: &[S], input: &[u8]) -> Said {
    let mut child = Command::new(env!("CARGO_BIN_EXE_tapline"))
        .args(args)
        .env_remove("TAPLINE_SOCKET")
        .env_remove("TAPLINE_CONFIG")
        .env_remove("RUNTIME_DIRECTORY")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that refuses its arguments reads nothing.
    let _ = child.stdin.take().unwrap().write_all(input);
    let done = child.wait_with_output().unwrap();
    Said {
        stdout: String::from_utf8(done.stdout).unwrap(),
        stderr: String::from_utf8(done.stderr).unwrap(),
        code: done.status.code().unwrap(),
    }
}

#[track_caller]
fn says(args: &[&str], input: &[u8], stdout: &str, stderr: &str, code: i32) {
    let want = Said { stdout: stdout.into(), stderr: stderr.into(), code };
    assert_eq!(run(args, input), want);
}

#[test]
fn decode_gives_readings_and_keeps_what_it_does_not_understand() {
    says(
        &["decode", "--driver", "val-unit-line"],
        b"R4 +0.182 Ohm\r\nR4 +0.1\xb18 Ohm\r\n",
        concat!(
            r#"{"link":null,"driver":"val-unit-line","function":"resistance_4w","#,
            r#""indication":"value","value":"0.182","unit":"Ohm","flags":[],"#,
            r#""raw":"R4 +0.182 Ohm\r\n","offset":0}"#,
            "\n",
            r#"{"note":"malformed","offset":15,"raw":"R4 +0.1±8 Ohm\r\n"}"#,
            "\n",
        ),
        "",
        0,
    );
}

#[test]
fn decode_of_an_unknown_driver_names_the_known_ones() {
    let known: Vec<_> = tapline_drivers::catalogue::names().collect();
    let talk = "tapline: there is no driver `ohm-o-matic`: use one of";
    let talk = format!("{talk} {}\n", known.join(", "));
    says(&["decode", "--driver", "ohm-o-matic"], b"", "", &talk, 2);
}

// IEC 62353:2014, 5.3.2 a): at most 0.300 Ohm with a non-detachable cord (excerpt seen); 5.3.4,
// Table 3: at most 500 uA equipment leakage of class I, direct method (one source). The fraction
// is 462 x 230/226, by hand.
const EARTH: &str = r#"{"standard":"IEC 62353","edition":"2014","measurand":"protective_earth_resistance","method":"fixed_cord","class":"I","kind":"dc","values":["0.243","-0.275"],"lead_null":["0.061","0.061"],"unit":"Ohm","gives":{"test_current":"0.2 A","open_circuit":"6 V"},"rule":"simple"}"#;
const LEAKAGE: &str = r#"{"standard":"IEC 62353","edition":"2014","measurand":"equipment_leakage","method":"direct","class":"I","kind":"ac","value":"462","unit":"uA","mains":{"measured":"226 V","reference":"230 V"},"proved":true,"rule":"simple"}"#;

fn judge(lines: &[String]) -> (Vec<serde_json::Value>, Said) {
    let said = run(&["judge"], lines.join("\n").as_bytes());
    let judged = said.stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    (judged, said)
}

#[test]
fn judge_says_pass_with_every_step_of_its_reckoning() {
    let (judged, said) = judge(&[EARTH.into(), LEAKAGE.into()]);
    assert_eq!((said.code, said.stderr.as_str()), (0, ""));
    let [earth, leakage] = judged.as_slice() else { panic!("two verdicts: {said:?}") };
    assert_eq!(earth["verdict"], "pass");
    assert_eq!(earth["value"], "0.214", "the larger magnitude, each less its own null");
    assert_eq!(earth["limit"]["value"], "0.300");
    assert_eq!(leakage["verdict"], "pass");
    assert_eq!(leakage["value"], "106260/226");
    assert_eq!(leakage["reasons"][0], "near_limit", "470.2 of 500 uA is above 90 %");
}

#[test]
fn judge_ends_as_the_worst_of_its_verdicts() {
    let fail = EARTH.replace("-0.275", "-0.375");
    let undecided = LEAKAGE.replace(r#""proved":true"#, r#""proved":false"#);
    for (lines, code) in [
        (vec![EARTH.to_owned(), undecided.clone()], 3),
        (vec![undecided.clone(), fail.clone()], 1),
        (vec![EARTH.to_owned(), fail, "{}".to_owned()], 2),
    ] {
        let (_, said) = judge(&lines);
        assert_eq!(said.code, code, "{said:?}");
    }
    let (judged, _) = judge(&[undecided]);
    assert_eq!(judged[0]["reasons"][0], "path_not_proved");
}

#[test]
fn judge_names_the_key_that_is_missing_and_goes_on() {
    let without = EARTH.replace(r#""method":"fixed_cord","#, "");
    let (judged, said) = judge(&[without, EARTH.into()]);
    assert_eq!(judged.len(), 1);
    assert_eq!(said.code, 2);
    assert!(said.stderr.starts_with("tapline: line 1: "), "{}", said.stderr);
    assert!(said.stderr.contains("`method`") && said.stderr.contains("inlet"), "{}", said.stderr);
}

#[test]
fn plan_check_tells_faults_with_their_places() {
    let temp = tempfile::tempdir().unwrap();
    let file = temp.path().join("plan.toml");
    fs::write(&file, "format = \"tapline-plan-1\"\nid = \"x\"\ntitel = \"T\"\n").unwrap();
    let said = run(&[OsStr::new("plan"), OsStr::new("check"), file.as_os_str()], b"");
    assert_eq!((said.code, said.stdout.as_str()), (2, ""));
    let at = format!("{}:3: ", file.display());
    assert!(said.stderr.lines().any(|line| line.starts_with(&at)), "{}", said.stderr);
    assert!(said.stderr.lines().count() > 1, "all faults at once: {}", said.stderr);
}

#[test]
fn plan_check_of_the_built_in_plan_counts_what_needs_confirming() {
    let said = run(&["plan", "check", "iec62353-recurrent-direct"], b"");
    assert_eq!((said.code, said.stderr.as_str()), (0, ""));
    assert!(said.stdout.contains("no faults") && said.stdout.contains("unconfirmed"), "{said:?}");
}

#[test]
fn plan_show_lists_what_will_be_measured_and_what_it_will_cost() {
    let register = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/support/register");
    let assets = format!("{register}/assets.csv");
    let fixtures = format!("{register}/fixtures.toml");
    let plan = ["plan", "show", "iec62353-recurrent-direct", "--assets", &assets];
    let show = |asset| [&plan[..], &["--fixtures", &fixtures, "--asset", asset]].concat();
    // 100 uA: the row of class II that a bed maker prints after DIN VDE 0751-1:2001. Two
    // polarities: common practice for mains polarity, no source.
    says(
        &show("T-0201"),
        b"",
        "\
Recurrent test, direct method (IEC 62353:2014)
T-0201  reading lamp, class II, fixed cord

No instruments were given (`--instruments FILE`): none is checked.

Steps
  look         fuses, markings, housing, cord and plug, accessories
  leak_case/1  foil  S5 normal    at most 100 uA  one source  worst over 5 s
  leak_case/2  foil  S5 reversed  at most 100 uA  one source  worst over 5 s
  try          function, alarms, indicators

Off unless asked for: `--with insulation_parts`

leak_case  (energised)
  Asset in the supply box. Foil of 20 cm x 10 cm pressed on the housing, joined with all
  accessible metal, and led through the measuring network to earth.
  - Nobody touches the asset or anything joined to it while the supply is on.
  - The asset stands on an insulating surface, away from metal and pipes.
  - No patient is connected.

2 values, 8 answers, 1 placement, 5 switch moves, 7 acts: about 4 minutes
(estimate: 30 s a placement, 5 s a move or an act, 15 s an answer, window and 3 s a value)
",
        "",
        0,
    );
    let said = run(&show("T-9999"), b"");
    assert_eq!((said.code, said.stdout.as_str()), (2, ""));
    assert!(said.stderr.contains("T-9999"), "{}", said.stderr);
}

#[test]
fn replay_of_what_is_no_book_is_trouble() {
    let temp = tempfile::tempdir().unwrap();
    let file = temp.path().join("note.jsonl");
    fs::write(&file, "{\"seq\":1}\n").unwrap();
    let name = file.to_str().unwrap();
    let said = run(&["replay", name], b"");
    assert_eq!((said.code, said.stdout.as_str()), (2, ""), "{said:?}");
    assert!(said.stderr.starts_with(&format!("{name}: ")), "{said:?}");
}

#[test]
fn verify_of_what_is_not_there_is_trouble() {
    says(
        &["verify", "no-such-book.jsonl"],
        b"",
        "",
        "can't read `no-such-book.jsonl`: No such file or directory (os error 2)\n",
        2,
    );
}

#[test]
fn rebuild_without_a_configuration_is_trouble() {
    let said = run(&["rebuild", "--config", "/no/such/tapline.toml"], b"");
    assert_eq!((said.code, said.stdout.as_str()), (2, ""));
    assert!(said.stderr.contains("/no/such/tapline.toml"), "{}", said.stderr);
}

#[test]
fn serve_without_a_configuration_is_trouble() {
    says(
        &["serve", "--config", "/no/such/tapline.toml"],
        b"",
        "",
        "tapline: /no/such/tapline.toml: No such file or directory (os error 2)\n",
        2,
    );
}

#[test]
fn commands_for_a_station_say_how_to_start_one() {
    let commands: [&[&str]; 6] = [
        &["status"],
        &["tail"],
        &["scan", "P-0107"],
        &["act", "clear"],
        &["show", "K3-20261124-0007"],
        &["limits", "list"],
    ];
    for command in commands {
        let args = [command, &["--socket", "/no/such/socket"]].concat();
        says(
            &args,
            b"",
            "",
            "tapline: no station answers at /no/such/socket (No such file or directory (os error \
             2))\n  next: start it with `tapline serve`, or name its socket with --socket\n",
            2,
        );
    }
}

#[test]
fn a_slip_of_the_finger_is_trouble_and_not_a_verdict() {
    for args in [&["pass"][..], &["decode"], &["act"], &["discard", "x", "--cause", "tired"]] {
        let said = run(args, b"");
        assert_eq!((said.code, said.stdout.as_str()), (2, ""), "{args:?}");
        assert!(!said.stderr.is_empty(), "{args:?}");
    }
}

/// The field uses each of these for two things.
const DOUBLE: [&str; 4] = ["device", "ground", "session", "accurate"];

#[test]
fn help_speaks_plain_words() {
    let whole = run(&["--help"], b"");
    assert_eq!((whole.code, whole.stderr.as_str()), (0, ""));
    let commands: Vec<&str> = whole
        .stdout
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        // What is indented further goes on with the line before.
        .filter_map(|line| line.strip_prefix("  ").filter(|rest| !rest.starts_with(' ')))
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert!(commands.len() > 20, "{commands:?}");
    for command in commands.into_iter().filter(|command| *command != "help") {
        let help = run(&[command, "--help"], b"");
        assert_eq!(help.code, 0, "{command}");
        let text = help.stdout.to_lowercase();
        let mut words = text.split(|c: char| !c.is_alphabetic());
        let double = words.find(|word| DOUBLE.contains(word));
        assert_eq!(double, None, "help of `{command}`");
    }
}

/// A shell that nobody here wrote takes the completions, and offers commands and options.
#[test]
fn bash_completes_commands_and_options() {
    let script = run(&["completions", "bash"], b"");
    assert_eq!((script.code, script.stderr.as_str()), (0, ""));
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("tapline.bash");
    fs::write(&file, script.stdout).unwrap();
    for (words, want) in [
        ("tapline his", "history"),
        ("tapline explain --fol", "--folder"),
        ("tapline instrument ch", "chart"),
    ] {
        let ask = r#"set -eu; . "$1"; read -ra COMP_WORDS <<<"$2"; COMP_CWORD=$((${#COMP_WORDS[@]}-1))
            _tapline tapline "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD-1]}" || :
            printf '%s\n' "${COMPREPLY[@]}""#;
        let done =
            Command::new("bash").args(["-c", ask, "bash"]).arg(&file).arg(words).output().unwrap();
        let offered = String::from_utf8_lossy(&done.stdout);
        assert!(offered.lines().any(|one| one == want), "{words}: {offered}{done:?}");
    }
}

/// A reader of manual pages that nobody here wrote finds no fault above its own taste.
#[test]
fn the_manual_pages_are_read_without_a_fault() {
    let folder = tempfile::tempdir().unwrap();
    let done = run(&[OsStr::new("man"), folder.path().as_os_str()], b"");
    assert_eq!(done.code, 0, "{done:?}");
    let pages: Vec<_> =
        fs::read_dir(folder.path()).unwrap().map(|one| one.unwrap().path()).collect();
    assert!(pages.len() > 60, "{} pages", pages.len());
    let lint = Command::new("mandoc").args(["-T", "lint", "-W", "error"]).args(&pages).output();
    let lint = lint.expect("install mandoc: apt install mandoc");
    assert!(lint.status.success(), "{}", String::from_utf8_lossy(&lint.stdout));
    let read =
        Command::new("mandoc").arg(folder.path().join("tapline-explain.1")).output().unwrap();
    let text = String::from_utf8_lossy(&read.stdout).replace("\u{8}", "");
    assert!(text.contains("bytes") && text.contains("folder"), "{text}");
    let nowhere = run(&[OsStr::new("man"), folder.path().join("none").as_os_str()], b"");
    assert_eq!(nowhere.code, 2);
    assert!(nowhere.stderr.contains("next: name a folder"), "{nowhere:?}");
}
