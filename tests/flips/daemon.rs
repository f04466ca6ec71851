//! What the real program shows of a damaged folder.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::Value;

use super::books::Answer;
use super::folder::{Folder, Kind};
use super::harm::Harm;
use super::support::feed::{Feed, Seen};
use super::support::station::TAPLINE;
use super::support::{http, wait};
use super::table::Said;

const REGISTERS: [&str; 4] = ["assets", "instruments", "fixtures", "operators"];

/// The program in a folder of its own.
struct Program {
    temp: tempfile::TempDir,
    child: Child,
}

impl Program {
    /// Starts it on a folder; what it said, if it did not start.
    fn start(folder: &Folder, harm: Option<&Harm>) -> Result<Program, String> {
        let temp = tempfile::Builder::new().prefix("tapline-").tempdir().unwrap();
        let data = temp.path().join("data");
        folder.write(&data);
        if let Some(harm) = harm {
            std::fs::write(data.join(&harm.path), &harm.bytes).unwrap();
        }
        let config = format!(
            "format = \"tapline-config-1\"\n\
             [station]\nid = \"K3\"\nname = \"Test\"\nzone = \"Etc/UTC\"\n\
             [store]\nfolder = \"{}\"\nreserve_mb = 1\nidle_days = 3650\n\
             [page]\nlisten = \"off\"\n[[bench]]\nid = \"b1\"\nname = \"Bench 1\"\n",
            data.display()
        );
        std::fs::write(temp.path().join("tapline.toml"), config).unwrap();
        let talk = File::create(temp.path().join("log")).unwrap();
        let child = Command::new(TAPLINE)
            .args(["serve", "--config"])
            .arg(temp.path().join("tapline.toml"))
            .env("TAPLINE_SOCKET", temp.path().join("tapline.sock"))
            .stdin(Stdio::null())
            .stdout(talk.try_clone().unwrap())
            .stderr(talk)
            .spawn()
            .unwrap();
        let mut program = Program { temp, child };
        let up = wait::until("the program answers or ends", || {
            if program.child.try_wait().unwrap().is_some() {
                return Some(false);
            }
            let status = program.ask("/v1/status").ok()?;
            let index = status["index"]["state"].as_str()?;
            let settled = status["halted"].is_null() && ["ready", "away"].contains(&index);
            (settled && status["seq"].as_u64() > Some(0)).then_some(true)
        });
        if up { Ok(program) } else { Err(program.log()) }
    }

    fn socket(&self) -> PathBuf {
        self.temp.path().join("tapline.sock")
    }

    fn log(&self) -> String {
        std::fs::read_to_string(self.temp.path().join("log")).unwrap()
    }

    /// A resource, or why it is refused.
    fn ask(&self, path: &str) -> Result<Value, String> {
        let (status, text) =
            http::ask(&self.socket(), "GET", path, "").map_err(|error| error.to_string())?;
        if status != 200 {
            return Err(text);
        }
        // Each has a folder of its own.
        let text = text.replace(self.temp.path().to_str().unwrap(), "");
        serde_json::from_str(&text).map_err(|error| error.to_string())
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        self.child.wait().unwrap();
    }
}

/// Everything that is asked, by its path.
fn answers(program: &Program, folder: &Folder) -> BTreeMap<String, Result<Value, String>> {
    let mut paths = vec!["/v1/inspections".to_owned()];
    paths.extend(REGISTERS.map(|register| format!("/v1/{register}")));
    for id in &folder.sealed {
        paths.push(format!("/v1/inspections/{id}"));
        paths.push(format!("/v1/inspections/{id}/facts"));
        paths.push(format!("/v1/verify/{id}"));
    }
    paths.into_iter().map(|path| (path.clone(), program.ask(&path))).collect()
}

fn feed(program: &Program) -> Vec<Seen> {
    let last = program.ask("/v1/status").unwrap()["seq"].as_u64().unwrap();
    let feed = Feed::open(&program.socket(), Some(0));
    let mut lines = Vec::new();
    while lines.last().is_none_or(|seen: &Seen| seen.seq < last) {
        lines.push(feed.next().expect("it lives"));
    }
    lines
}

/// What the program shows when nothing was damaged.
pub(crate) struct Original {
    answers: BTreeMap<String, Result<Value, String>>,
    lines: BTreeMap<u64, String>,
    /// Lines with a later stamp were written by a start.
    begun: String,
}

impl Original {
    pub(crate) fn new(folder: &Folder) -> Original {
        let program = Program::start(folder, None).unwrap();
        assert_eq!(program.ask("/v1/status").unwrap()["damaged"], serde_json::json!([]));
        let answers = answers(&program, folder);
        assert!(answers.values().all(Result::is_ok), "{answers:?}");
        let mut lines = BTreeMap::new();
        for (_, bytes) in folder.files.iter().filter(|(path, _)| Kind::of(path).is_book()) {
            for line in String::from_utf8(bytes.clone()).unwrap().lines() {
                let json: Value = serde_json::from_str(line).unwrap();
                if let Some(seq) = json["seq"].as_u64() {
                    lines.insert(seq, line.to_owned());
                }
            }
        }
        let begun = tapline::books::line::time_text(folder.at.wall_us).unwrap();
        Original { answers, lines, begun }
    }

    /// Starts the program on a damaged folder and looks at all that it shows.
    pub(crate) fn asked(&self, folder: &Folder, harm: &Harm) -> Answer {
        let program = match Program::start(folder, Some(harm)) {
            Ok(program) => program,
            Err(log) => return named(&log, harm),
        };
        let status = program.ask("/v1/status")?;
        let damaged = status["damaged"].as_array().is_some_and(|list| !list.is_empty());
        let lines = feed(&program);
        let torn = lines.iter().any(|seen| seen.kind == "torn");
        self.only_true_lines(&lines)?;
        let (mut same, mut told) = (true, false);
        for (path, now) in answers(&program, folder) {
            if now == self.answers[&path] {
                continue;
            }
            same = false;
            let word = match &now {
                Err(_) => true,
                // `true`, or why.
                Ok(now) => {
                    let why = &now["damaged"];
                    *why == true || why.is_string() || now["ok"] == false
                }
            };
            told |= word;
            let elsewhere = (damaged || torn || harm.is_prefix())
                && matches!(harm.kind, Kind::Station | Kind::Open);
            if !word && !elsewhere {
                return Err(format!("{path} is shown otherwise, without a word: {now:?}"));
            }
        }
        let built = program.log().contains("The index was built again");
        match (damaged || told, torn, same) {
            (true, ..) => Ok(Said::Damaged),
            (_, true, _) => Ok(Said::SetAside),
            _ if harm.is_prefix() => Ok(Said::Prefix),
            _ if built => Ok(Said::BuiltAgain),
            (.., true) if !harm.kind.is_book() || harm.kind == Kind::Idle => Ok(Said::Unchanged),
            _ => Err("nobody says that it is damaged".into()),
        }
    }

    /// What the feed shows was written so; what a start adds says what it found.
    fn only_true_lines(&self, lines: &[Seen]) -> Result<(), String> {
        let last = self.lines.last_key_value().map_or(0, |(seq, _)| *seq);
        let begun = self.begun.as_str();
        for seen in lines.iter().filter(|seen| seen.seq <= last) {
            let new = seen.json()["t"].as_str() > Some(begun);
            if self.lines.get(&seen.seq) != Some(&seen.line()) && !new {
                return Err(format!("a line is shown that was never written: {seen:?}"));
            }
        }
        Ok(())
    }
}

/// It does not start, and says which file is at fault.
fn named(log: &str, harm: &Harm) -> Answer {
    let name = Path::new(&harm.path).file_name().unwrap().to_str().unwrap();
    // A key is named by its private half.
    let key = name.replace(".pub", "");
    match log.contains(name) || log.contains(&key) {
        true => Ok(Said::Refused),
        false => Err(format!("it does not start and does not name the file: {log}")),
    }
}
