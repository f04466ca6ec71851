//! A station with years of records: start, memory, rebuild, size of the index, questions, verify,
//! restart in mid-inspection. `cargo bench --bench questions -- --folder DIR`, where DIR was made
//! by `cargo bench --bench clinic -- --folder DIR`; without it a small one is made.
#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]
#![allow(clippy::unwrap_used, reason = "a benchmark may panic")]

mod args;
mod clock;
mod daemon;
#[path = "../support/http.rs"]
mod http;
mod made;
mod table;

use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use args::Args;
use daemon::{Daemon, TAPLINE};
use made::{Wanted, make};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use table::{Table, quantile};

fn main() {
    let args = Args::read();
    let temp = tempfile::tempdir().unwrap();
    let folder = args.text("folder").map_or_else(|| temp.path().to_owned(), PathBuf::from);
    if !folder.join("made.json").exists() {
        let inspections = args.number("inspections", 1_200, 24);
        let (seed, readings) = (1, inspections * 100);
        make(&Wanted { folder: folder.clone(), seed, inspections, readings, sync: false }).unwrap();
    }
    let text = fs::read_to_string(folder.join("made.json")).unwrap();
    let made: Value = serde_json::from_str(&text).unwrap();
    let number = |key: &str| made[key].as_u64().unwrap();
    let clinic = Clinic {
        inspections: number("inspections"),
        readings: number("readings"),
        assets: number("assets"),
        times: if args.figures { 5 } else { 1 },
        folder,
    };
    let name = format!("questions to {} inspections", clinic.inspections);
    let mut table = Table::new(&format!("{name}, {} readings", clinic.readings));
    let only = args.text("only");
    let wanted = |part: &str| only.is_none_or(|only| only == part);
    if wanted("rebuild") {
        clinic.rebuild(&mut table);
    }
    if wanted("start") {
        clinic.start(&mut table);
    }
    if wanted("ask") {
        clinic.ask(&mut table);
    }
    if wanted("restart") {
        clinic.restart(&mut table);
    }
    if wanted("verify") {
        clinic.verify(&mut table);
    }
    table.print();
}

struct Clinic {
    folder: PathBuf,
    inspections: u64,
    readings: u64,
    assets: u64,
    /// How often what is quick is repeated.
    times: u32,
}

impl Clinic {
    fn data(&self) -> PathBuf {
        self.folder.join("data")
    }

    fn rebuild(&self, table: &mut Table) {
        let (floor, bytes) = timed(|| read_all(&self.data(), |_| ()));
        let began = clock::now();
        let mut child = Command::new(TAPLINE)
            .args(["rebuild", "--json", "--config"])
            .arg(self.folder.join("tapline.toml"))
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut peak_kib = 0;
        while child.try_wait().unwrap().is_none() {
            peak_kib = peak_kib.max(daemon::kib(child.id(), "VmHWM").unwrap_or(0));
            clock::pause_ms(20);
        }
        let took = clock::seconds_since(began);
        let mut out = String::new();
        child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
        let said: Value = serde_json::from_str(&out).unwrap();
        assert!(said["books"].as_u64() >= Some(self.inspections), "{said}: all books are read");
        let beside =
            format!("reading all {} MiB {floor:.1} s, ratio {:.1}", bytes >> 20, took / floor);
        table.row(
            "rebuild",
            format!("{took:.1} s, {} MiB at most", peak_kib >> 10),
            beside,
            "60 s",
        );
        let size = size(&self.data().join("index"));
        table.row(
            "index",
            format!("{:.1} bytes a reading", per(size, self.readings)),
            format!("{} MiB; books {:.0} bytes a reading", size >> 20, per(bytes, self.readings)),
            "<= 25",
        );
    }

    fn start(&self, table: &mut Table) {
        let empty = tempfile::tempdir().unwrap();
        let config = made::config(&empty.path().join("data").display().to_string());
        fs::write(empty.path().join("tapline.toml"), config).unwrap();
        let (floor, floor_kib) = self.starts(empty.path());
        let (took, kib) = self.starts(&self.folder);
        let beside = format!("an empty station {floor} ms");
        table.row("start -> ready, median", format!("{took} ms"), beside, "1 s");
        let beside = format!("an empty station {} MiB", floor_kib >> 10);
        table.row(
            "memory then, at most until then",
            format!("{} MiB", kib >> 10),
            beside,
            "150 MiB",
        );
    }

    /// Milliseconds to ready and the most memory used by then, medians.
    fn starts(&self, folder: &Path) -> (u64, u64) {
        let (mut took, mut kib) = (Vec::new(), Vec::new());
        for _ in 0..self.times {
            let mut daemon = Daemon::start(folder);
            took.push(millis(daemon.ready(|status| status["halted"].is_null())));
            kib.push(daemon.kib("VmHWM"));
            daemon.stop();
        }
        (quantile(&mut took, 0.5), quantile(&mut kib, 0.5))
    }

    fn ask(&self, table: &mut Table) {
        let mut daemon = Daemon::start(&self.folder);
        let ready = daemon.ready(|status| status["halted"].is_null());
        let (first, _) = timed(|| daemon.get("/v1/inspections?asset=P-00001").unwrap());
        let figure = format!("{} ms", millis(ready + first));
        let beside = format!("{} ms of them until ready", millis(ready));
        table.row("start -> first history: the index is compared", figure, beside, "");
        let floor = self.asked(&daemon, |_| "/v1/status".into()).0;
        let of_asset = |n: u64| format!("P-{:05}", n * 13 % self.assets + 1);
        let asset = |n| format!("/v1/inspections?asset={}", of_asset(n));
        let year = |n: u64| format!("/v1/inspections?from={}-03-01&limit=100", 2015 + n % 12);
        let meter = |n: u64| format!("/v1/inspections?instrument=LR-0{}&limit=100", 1 + n % 4);
        let failed = |_| "/v1/inspections?verdict=fail&limit=100".to_owned();
        let mut row = |what: &str, (median, worst, items): (u64, u64, u64)| {
            let figure = format!("{:.1} ms, worst {:.1} ms", per(median, 1000), per(worst, 1000));
            let beside = format!("status {:.1} ms; {items} found", per(floor, 1000));
            table.row(what, figure, beside, "100 ms");
        };
        row("history of an asset", self.asked(&daemon, asset));
        row("list from a date, 100", self.asked(&daemon, year));
        row("search by instrument, 100", self.asked(&daemon, meter));
        row("search by outcome, 100", self.asked(&daemon, failed));
        let found: u64 = (0..self.assets.min(50)).map(|n| count(&daemon, &asset(n))).sum();
        let all = self.inspections * self.assets.min(50) / self.assets;
        assert!(found > 0 && found <= all + 50, "{found} of about {all} are found by asset");
        daemon.stop();
    }

    /// Median and worst, microseconds, and how many items came in all.
    fn asked(&self, daemon: &Daemon, path: impl Fn(u64) -> String) -> (u64, u64, u64) {
        let mut took = Vec::new();
        let mut items = 0;
        for n in 0..u64::from(self.times) * 20 {
            let began = clock::now();
            items += count(daemon, &path(n));
            took.push(u64::try_from(began.elapsed().as_micros()).unwrap());
        }
        (quantile(&mut took, 0.5), quantile(&mut took, 1.0), items)
    }

    /// Killed in the middle of an inspection; it goes on.
    fn restart(&self, table: &mut Table) {
        let mut daemon = Daemon::start(&self.folder);
        daemon.ready(|status| status["halted"].is_null());
        let by = json!({ "badge": "OP-0001" });
        let (status, text) = daemon.post("/v1/benches/b1/login", &by);
        assert_eq!(status, 200, "{text}");
        let body = json!({ "bench": "b1", "asset": "P-00001", "reason": "scheduled" });
        let (status, text) = daemon.post("/v1/inspections", &body);
        assert_eq!(status, 201, "{text}");
        let begun: Value = serde_json::from_str(&text).unwrap();
        let goes_on = |status: &Value| {
            status["halted"].is_null() && status["benches"][0]["inspection"]["id"] == begun["id"]
        };
        let mut took = Vec::new();
        for _ in 0..self.times {
            daemon.kill9();
            daemon = Daemon::start(&self.folder);
            took.push(millis(daemon.ready(goes_on)));
        }
        let (end, reason) = ("given_up", "the benchmark is over");
        let body = json!({ "outcome": end, "reason": reason, "by": "op-1" });
        let (status, text) = daemon.post("/v1/benches/b1/end", &body);
        assert_eq!(status, 200, "{text}");
        daemon.stop();
        let figure = format!("{} ms", quantile(&mut took, 0.5));
        table.row("kill in mid-inspection -> it goes on", figure, String::new(), "2 s");
    }

    fn verify(&self, table: &mut Table) {
        let (floor, bytes) = timed(|| {
            read_all(&self.data().join("inspections"), |bytes| {
                std::hint::black_box(Sha256::digest(bytes));
            })
        });
        let files = self.records();
        let (took, ok) = timed(|| {
            files
                .chunks(1000)
                .map(|chunk| {
                    let out = Command::new(TAPLINE).arg("verify").args(chunk).output().unwrap();
                    String::from_utf8(out.stdout)
                        .unwrap()
                        .lines()
                        .filter(|l| l.starts_with("OK"))
                        .count()
                })
                .sum::<usize>()
        });
        assert_eq!(ok, files.len(), "every record verifies");
        let beside =
            format!("SHA-256 of {} MiB {floor:.1} s, ratio {:.1}", bytes >> 20, took / floor);
        table.row("verify all", format!("{took:.1} s for {ok}"), beside, "");
    }

    fn records(&self) -> Vec<PathBuf> {
        let mut files = Vec::new();
        each_file(&self.data().join("inspections"), &mut |path| files.push(path.to_owned()));
        files.retain(|path| path.extension().is_some_and(|end| end == "jsonl"));
        files.sort();
        files
    }
}

fn count(daemon: &Daemon, path: &str) -> u64 {
    let answer = daemon.get(path).unwrap_or_else(|| panic!("{path} is answered"));
    answer["items"].as_array().map_or(0, |items| items.len() as u64)
}

fn each_file(folder: &Path, act: &mut impl FnMut(&Path)) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { each_file(&path, act) } else { act(&path) }
    }
}

/// Reads every book in a folder, whole; how many bytes that were.
fn read_all(folder: &Path, act: impl Fn(&[u8])) -> u64 {
    let (mut all, mut bytes) = (0, Vec::new());
    each_file(folder, &mut |path| {
        if path.extension().is_some_and(|end| end == "jsonl") {
            bytes.clear();
            File::open(path).unwrap().read_to_end(&mut bytes).unwrap();
            all += bytes.len() as u64;
            act(&bytes);
        }
    });
    all
}

fn size(folder: &Path) -> u64 {
    let mut bytes = 0;
    each_file(folder, &mut |path| bytes += path.metadata().unwrap().len());
    bytes
}

fn timed<T>(act: impl FnOnce() -> T) -> (f64, T) {
    let began = clock::now();
    let done = act();
    (clock::seconds_since(began), done)
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a time that was measured"
)]
fn millis(seconds: f64) -> u64 {
    (seconds * 1000.0).round() as u64
}

#[allow(clippy::cast_precision_loss, reason = "a figure to be read")]
fn per(all: u64, each: u64) -> f64 {
    all as f64 / each.max(1) as f64
}
