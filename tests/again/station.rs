//! `find` and `history` of a running station: what its index says is what the books of the folder
//! say, and only what has to be judged again is read.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use super::forge::{Said, run, tapline};
use super::house::Made;

const TAPLINE: &str = env!("CARGO_BIN_EXE_tapline");
/// How often a station is asked until it answers; each time is a process of its own.
const ASKED_MAX: usize = 2_000;

/// A station on a folder of sealed inspections.
struct Running {
    child: Child,
    folder: tempfile::TempDir,
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Running {
    fn of(made: &Made) -> Running {
        let folder = made.copy();
        let data = folder.path().display();
        let config = format!(
            "format = \"tapline-config-1\"\n\
             [station]\nid = \"K3\"\nname = \"Test\"\nzone = \"Etc/UTC\"\n\
             [store]\nfolder = \"{data}\"\nreserve_mb = 1\n\
             [page]\nlisten = \"off\"\n\
             [[bench]]\nid = \"b1\"\nname = \"Bench 1\"\n",
        );
        let path = folder.path().join("tapline.toml");
        std::fs::write(&path, config).unwrap();
        let log = std::fs::File::create(folder.path().join("log")).unwrap();
        let child = Command::new(TAPLINE)
            .args(["serve", "--config"])
            .arg(path)
            .env("TAPLINE_SOCKET", socket(folder.path()))
            .stdin(Stdio::null())
            .stdout(log.try_clone().unwrap())
            .stderr(log)
            .spawn()
            .unwrap();
        let running = Running { child, folder };
        let up = (0..ASKED_MAX).any(|_| running.ask(&["history", "P-0109"]).code == 0);
        let log = || std::fs::read_to_string(running.folder.path().join("log")).unwrap();
        assert!(up, "the station does not answer: {}", log());
        running
    }

    /// Runs a command that asks the station.
    fn ask(&self, args: &[&str]) -> Said {
        let mut command = Command::new(TAPLINE);
        let socket = socket(self.folder.path());
        run(command.args(args).env("TAPLINE_SOCKET", socket).env_remove("TAPLINE_CONFIG"))
    }
}

fn socket(folder: &Path) -> PathBuf {
    folder.join("tapline.sock")
}

/// Lines in any order: the index has them in the order of opening, a folder in that of names.
fn lines(said: &Said) -> BTreeSet<&str> {
    said.stdout.lines().collect()
}

#[test]
fn the_station_finds_what_its_books_say() {
    let running = Running::of(Made::fifty());
    let folder = running.folder.path();
    let mut found = 0;
    for args in [
        &["find", "--instrument", "LR-01"][..],
        &["find", "--instrument", "LK-1", "--from", "2026-11-26"],
        &["find", "--instrument", "no-such-meter"],
        &["find", "--fixture", "NW-1", "--to", "2026-11-27"],
        &["find", "--fixture", "L-1", "--asset", "P-0109"],
        &["find", "--limit-table", "iec62353-2014.pe.fixed_cord"],
        &["find", "--limit-table", "IEC 62353/2014"],
        &["find", "--driver", "val-unit-line"],
        &["find", "--driver", "val-unit-line@1"],
        &["find", "--driver", "val-unit-line@9"],
        &["find", "--instrument", "LR-01", "--reading-off", "-5"],
        &["find", "--limit-table", "iec62353-2014.pe.fixed_cord", "--limit", "0.2 Ohm"],
        &["history", "P-0109"],
        &["history", "P-0001"],
    ] {
        for json in [&[][..], &["--json"]] {
            let args = [args, json].concat();
            let (station, books) = (running.ask(&args), tapline(&args, folder));
            assert_eq!(lines(&station), lines(&books), "{args:?}: {station:?}");
            assert_eq!(station.code, books.code, "{args:?}: {station:?}");
            found += station.stdout.lines().count();
        }
    }
    assert!(found > 400, "{found}");
}

#[test]
fn only_what_rests_on_it_is_judged_again() {
    let running = Running::of(Made::fifty());
    for (meter, since, begin) in [
        ("LR-01", "2026-11-01", "the station's index names 50 of 50 "),
        ("none", "2026-11-01", "the station's index names 0 of 50 "),
        ("LR-01", "2027-01-01", "the station's index names 0 of 0 "),
    ] {
        let said =
            running.ask(&["find", "--instrument", meter, "--reading-off", "-5", "--from", since]);
        assert!(said.stderr.starts_with(begin), "{said:?}");
    }
}
