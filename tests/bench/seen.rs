//! How long after a meter said it a reading stands on the page and on the terminal, with and
//! without ten clients that never read. `cargo bench --bench seen`.
#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]
#![allow(clippy::unwrap_used, reason = "a benchmark may panic")]

mod args;
mod clock;
mod daemon;
#[path = "../support/http.rs"]
mod http;
#[allow(dead_code, reason = "the meter of this benchmark only talks")]
#[path = "../support/port.rs"]
mod port;
#[path = "../support/python.rs"]
mod python;
mod table;

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;

use args::Args;
use daemon::{Daemon, TAPLINE};
use port::Port;
use serde_json::{Value, json};
use table::{Table, ms, quantile};
use tapline_demo::clinic;
use tapline_demo::scene::Scene;

/// From one reading to the next: no multiple of any pace of the station, milliseconds.
const PACE_MS: u64 = 137;
/// Clients that never read.
const SLOW: usize = 10;

/// When each text was said or seen, microseconds of the wall clock.
type Moments = BTreeMap<String, i64>;

fn main() {
    let args = Args::read();
    let count = args.number("readings", 300, 8);
    let mut table = Table::new("seen");
    for slow in [0, SLOW] {
        let run = run(count, slow);
        for (place, seen, goal) in
            [("page", &run.page, "p50 < 100 ms"), ("terminal", &run.terminal, "p50 < 40 ms")]
        {
            let name = format!("said -> {place}, {slow} clients that never read");
            row(&mut table, &name, goal, (&run.said, seen));
        }
    }
    table.print();
}

struct Run {
    said: Moments,
    page: Moments,
    terminal: Moments,
}

/// An inspection that waits at its first measured step, and a meter that talks.
fn run(count: u64, slow: usize) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let ohm = Port::plug(&at("ohm"));
    let ports = ["ohm", "dmm", "box", "scanner", "iso"];
    let ports = ports.map(|name| (name.to_owned(), at(name).display().to_string()));
    let scene = Scene::parse(clinic::scene("good").unwrap()).unwrap();
    let data = at("data").display().to_string();
    let config = clinic::config(&ports.into(), &data, "127.0.0.1:0", &scene);
    fs::write(at("tapline.toml"), config).unwrap();
    let mut daemon = Daemon::start(folder.path());
    daemon.ready(|_| true);
    begin(&daemon);
    let terminal = Terminal::open(daemon.socket());
    let held: Vec<_> = (0..slow)
        .map(|_| http::open(daemon.socket(), "GET", "/v1/feed?after=0", "").unwrap())
        .collect();
    let mut page = Page::open(&daemon);
    let mut said = Moments::new();
    for n in 0..count {
        let text = format!("0.{:04}", 1000 + n);
        said.insert(text.clone(), tapline::clock::now().wall_us);
        ohm.say(format!("R4 +{text} Ohm\r\n").as_bytes());
        clock::pause_ms(PACE_MS);
    }
    clock::pause_ms(500);
    let page = page.seen();
    let terminal = terminal.seen();
    drop(held);
    daemon.stop();
    Run { said, page, terminal }
}

fn begin(daemon: &Daemon) {
    let post = |path: &str, body: Value| {
        let (status, text) = daemon.post(path, &body);
        assert!((200..300).contains(&status), "{path}: {text}");
    };
    for (what, text) in [
        ("operators", clinic::OPERATORS),
        ("instruments", clinic::INSTRUMENTS),
        ("fixtures", clinic::FIXTURES),
        ("assets", clinic::ASSETS),
    ] {
        post(&format!("/v1/{what}"), json!({ "text": text }));
    }
    post("/v1/benches/b1/login", json!({ "badge": clinic::BADGE }));
    post("/v1/inspections", json!({ "bench": "b1", "asset": "P-0101" }));
    post("/v1/benches/b1/answer", json!({ "answer": "pass" }));
}

/// `tapline tail`, every reading a line, and when each came out of it. Dropping it ends it: it
/// would wait for the station to come back.
struct Terminal(Child, Arc<Mutex<Moments>>);

impl Terminal {
    fn open(socket: &Path) -> Terminal {
        let mut child = Command::new(TAPLINE)
            .args(["tail", "--json", "--readings"])
            .env("TAPLINE_SOCKET", socket)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let seen = Arc::new(Mutex::new(Moments::new()));
        let noted = Arc::clone(&seen);
        thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                let now = tapline::clock::now().wall_us;
                let rest = line.split_once("\"value\":\"").map(|(_, rest)| rest);
                if let Some((text, _)) = rest.and_then(|rest| rest.split_once('"')) {
                    let text = text.trim_start_matches('+').to_owned();
                    noted.lock().unwrap().entry(text).or_insert(now);
                }
            }
        });
        Terminal(child, seen)
    }

    fn seen(&self) -> Moments {
        self.1.lock().unwrap().clone()
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A browser on the page.
struct Page(Child);

impl Page {
    fn open(daemon: &Daemon) -> Page {
        let page = daemon.get("/v1/page").unwrap();
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/seen.py");
        let mut child = Command::new(python::interpreter())
            .arg(script)
            .arg(page["address"].as_str().unwrap())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = [0; 6];
        std::io::Read::read_exact(child.stdout.as_mut().unwrap(), &mut line).unwrap();
        assert_eq!(&line, b"ready\n");
        Page(child)
    }

    fn seen(&mut self) -> Moments {
        self.0.stdin.take().unwrap().write_all(b"end\n").unwrap();
        let seen: Vec<(String, i64)> =
            serde_json::from_reader(self.0.stdout.take().unwrap()).unwrap();
        assert!(self.0.wait().unwrap().success());
        let plain = |text: String| text.trim_start_matches('+').to_owned();
        seen.into_iter().map(|(text, at)| (plain(text), at)).collect()
    }
}

fn row(table: &mut Table, name: &str, goal: &str, (said, seen): (&Moments, &Moments)) {
    let ages = said.iter().filter_map(|(text, at)| u64::try_from(seen.get(text)? - at).ok());
    // Two clocks of one machine; a browser rounds its own to 0.1 ms (W3C High Resolution Time).
    let mut ages: Vec<u64> = ages.collect();
    assert_eq!(ages.len(), said.len(), "{name}: each reading is seen: {seen:?}");
    let (half, most) = (ms(quantile(&mut ages, 0.5)), ms(quantile(&mut ages, 0.99)));
    let beside = format!("{} readings, one every {PACE_MS} ms", said.len());
    table.row(name, format!("p50 {half}, p99 {most}"), beside, goal);
}
