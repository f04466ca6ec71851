//! A running station with a hundred thousand assets and as many inspections: what each list,
//! search and history takes, by its interface, its page and its commands, and how large a page is.
//! `cargo bench --bench lists -- --assets 100000 --inspections 100000`. `--folder DIR` keeps what
//! was made, and uses it again; `--keep-index` does not build the index anew.
#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]
#![allow(clippy::unwrap_used, reason = "a benchmark may panic")]

mod args;
mod clock;
mod daemon;
#[path = "../support/http.rs"]
mod http;
mod made;
#[path = "lists/store.rs"]
mod store;
mod table;

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use args::Args;
use daemon::{Daemon, TAPLINE};
use store::{MANY, Wanted};
use table::{Table, ms, quantile};

/// Goals.
const ANSWER: &str = "100 ms";
const PAGE: &str = "100 ms, 200 kB";
const PAGE_BYTES_MAX: usize = 200_000;

fn main() {
    let args = Args::read();
    let folder = tempfile::tempdir().unwrap();
    let kept = args.text("folder").map(PathBuf::from);
    let wanted = Wanted {
        folder: kept.unwrap_or_else(|| folder.path().to_owned()),
        assets: args.number("assets", 100_000, 60),
        inspections: args.number("inspections", 100_000, 240),
    };
    let free = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    if wanted.folder.join("data").is_dir() {
        configure(&wanted.folder, free);
    } else {
        store::make(&wanted, free);
    }
    let name = format!("lists of {} assets, {} inspections", wanted.assets, wanted.inspections);
    let mut table = Table::new(&name);
    let house = House { wanted, page: free, times: if args.figures { 20 } else { 1 } };
    if !args.has("keep-index") {
        house.rebuild(&mut table);
    }
    let papers = args.has("papers");
    if papers || !args.figures {
        house.papers(&mut table);
    }
    if papers {
        return table.print();
    }
    let mut daemon = Daemon::start(&house.wanted.folder);
    started(&mut daemon, &mut table);
    house.interface(&daemon, &mut table);
    house.page(&mut table);
    house.commands(&mut table);
    table.row("memory then", format!("{} MiB", daemon.kib("VmRSS") >> 10), String::new(), "");
    daemon.stop();
    table.print();
}

/// From the start of the process to its first answers.
fn started(daemon: &mut Daemon, table: &mut Table) {
    let memory = |daemon: &Daemon| format!("{} MiB", daemon.kib("VmRSS") >> 10);
    let ready = daemon.ready(|_| true);
    table.row("start -> status", format!("{ready:.2} s, {}", memory(daemon)), String::new(), "");
    while daemon.get("/v1/due?limit=1").is_none() {
        clock::pause_ms(1);
    }
    let answers = clock::seconds_since(daemon.began);
    let figure = format!("{answers:.2} s, {}", memory(daemon));
    table.row("start -> the index answers", figure, String::new(), "2 s");
    let ready = daemon.ready(|status| status["index"]["state"] == "ready");
    let figure = format!("{ready:.2} s, {} MiB at most", daemon.kib("VmHWM") >> 10);
    table.row("start -> it is compared with the books", figure, String::new(), "");
}

struct House {
    wanted: Wanted,
    /// Port of the page.
    page: u16,
    times: u32,
}

impl House {
    fn rebuild(&self, table: &mut Table) {
        let began = clock::now();
        let said = Command::new(TAPLINE)
            .args(["rebuild", "--json", "--config"])
            .arg(self.wanted.folder.join("tapline.toml"))
            .output()
            .unwrap();
        assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
        let figure = format!("{:.1} s", clock::seconds_since(began));
        table.row("index built from the books", figure, String::new(), "");
    }

    fn interface(&self, daemon: &Daemon, table: &mut Table) {
        let middle = format!("P-{:05}", self.wanted.assets / 2);
        let last = format!("P-{:05}", self.wanted.assets);
        let asks = [
            "/v1/due".to_owned(),
            format!("/v1/due?after={middle}"),
            "/v1/due?state=overdue".into(),
            "/v1/due?under=North/3&on=2027-06-01".into(),
            "/v1/due?month_end=1".into(),
            format!("/v1/due?asset={last}"),
            "/v1/month".into(),
            "/v1/month?of=2026-06&grace=7".into(),
            "/v1/inspections".into(),
            "/v1/inspections?newest=1".into(),
            "/v1/inspections?from=2020-03-01".into(),
            "/v1/inspections?instrument=LR-01&newest=1".into(),
            "/v1/inspections?driver=scpi&newest=1".into(),
            "/v1/inspections?verdict=fail".into(),
            "/v1/inspections?standard=IEC%2062353&newest=1".into(),
            "/v1/inspections?limit_row=no-such-row".into(),
            format!("/v1/inspections?asset={MANY}"),
            format!("/v1/inspections?asset={MANY}&newest=1"),
            format!("/v1/inspections?asset={last}"),
            "/v1/assets".into(),
            format!("/v1/assets?after={middle}"),
            format!("/v1/assets/{last}"),
            "/v1/status".into(),
        ];
        for path in asks {
            let mut took = Vec::new();
            let mut bytes = 0;
            for _ in 0..self.times {
                let began = clock::now();
                let (status, text) = http::ask(daemon.socket(), "GET", &path, "").unwrap();
                took.push(us(began.elapsed().as_micros()));
                assert_eq!(status, 200, "{path}: {text}");
                bytes = text.len();
            }
            row(table, &path, &mut took, &format!("{} kB", bytes / 1000), ANSWER);
        }
    }

    fn page(&self, table: &mut Table) {
        let address = self.command(&["page"]);
        let (_, secret) = address.trim().split_once("/#").unwrap();
        let (middle, last) = (self.wanted.assets / 2, self.wanted.assets);
        for path in [
            "/due".to_owned(),
            "/due?place=north/4".into(),
            format!("/due?after=P-{middle:05}"),
            "/month".into(),
            "/month?of=2027-03".into(),
            "/results".into(),
            "/results?from=".into(),
            "/results?from=&verdict=fail&sort=asset".into(),
            format!("/results?from=&asset={MANY}"),
            format!("/asset/{MANY}"),
            format!("/asset/P-{last:05}"),
            "/state".into(),
            "/bench/b1".into(),
        ] {
            let (mut took, mut bytes) = (Vec::new(), 0);
            for _ in 0..self.times {
                let began = clock::now();
                let answer = self.browse(&path, secret);
                took.push(us(began.elapsed().as_micros()));
                bytes = answer.len();
            }
            assert!(bytes < PAGE_BYTES_MAX, "{path}: {bytes} bytes");
            let what = format!("page {path}");
            row(table, &what, &mut took, &format!("{} kB", bytes / 1000), PAGE);
        }
    }

    /// A document of the page.
    fn browse(&self, path: &str, secret: &str) -> String {
        let mut stream = TcpStream::connect(("127.0.0.1", self.page)).unwrap();
        let head = format!("GET {path} HTTP/1.0\r\nHost: 127.0.0.1:{}\r\n", self.page);
        let head = format!("{head}Authorization: Bearer {secret}\r\n\r\n");
        stream.write_all(head.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        assert!(head.starts_with("HTTP/1.0 200"), "{path}: {head}");
        body.to_owned()
    }

    fn commands(&self, table: &mut Table) {
        let last = format!("P-{:05}", self.wanted.assets);
        for args in [
            &["due", "--limit", "100"][..],
            &["due", "--under", "North/3", "--limit", "100"],
            &["due", "--asset", &last],
            &["month", "2026-06"],
            &["asset", "show", &last],
            &["status"],
            &["history", MANY],
            &["find", "--instrument", "no-such-meter"],
            &["find", "--limit-table", "no-such-row"],
            &["find", "--driver", "scpi-auto@9"],
        ] {
            let mut took = Vec::new();
            for _ in 0..self.times {
                let began = clock::now();
                self.command(args);
                took.push(us(began.elapsed().as_micros()));
            }
            row(table, &format!("tapline {}", args.join(" ")), &mut took, "", ANSWER);
        }
    }

    /// A report of each inspection, by all cores.
    fn papers(&self, table: &mut Table) {
        let into = tempfile::tempdir().unwrap();
        let began = clock::now();
        let mut printing = Command::new(TAPLINE)
            .args(["report", "--into"])
            .arg(into.path())
            .arg("--config")
            .arg(self.wanted.folder.join("tapline.toml"))
            .stdin(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut kib = 0;
        let done = loop {
            kib = daemon::kib(printing.id(), "VmHWM").unwrap_or(kib);
            match printing.try_wait().unwrap() {
                Some(done) => break done,
                None => clock::pause_ms(20),
            }
        };
        let seconds = clock::seconds_since(began);
        assert!(done.success(), "{done}");
        let pages = std::fs::read_dir(into.path()).unwrap().count();
        assert_eq!(pages as u64, self.wanted.inspections);
        let figure = format!("{seconds:.1} s, {} MiB at most", kib >> 10);
        table.row(&format!("{pages} reports as PDF"), figure, String::new(), "60 s of 2 000");
    }

    fn command(&self, args: &[&str]) -> String {
        let socket = self.wanted.folder.join("tapline.sock");
        let done = Command::new(TAPLINE)
            .args(args)
            .env("TAPLINE_SOCKET", &socket)
            .env_remove("TAPLINE_CONFIG")
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(done.status.success(), "{args:?}: {said}");
        String::from_utf8(done.stdout).unwrap()
    }
}

fn row(table: &mut Table, what: &str, took: &mut [u64], beside: &str, goal: &str) {
    let figure = format!("{}, worst {}", ms(quantile(took, 0.5)), ms(quantile(took, 1.0)));
    table.row(what, figure, beside.to_owned(), goal);
}

fn us(micros: u128) -> u64 {
    u64::try_from(micros).unwrap()
}

/// The configuration of the station, with its page.
fn configure(folder: &Path, page: u16) {
    let data = folder.join("data").display().to_string();
    let config =
        made::config(&data).replace("listen = \"off\"", &format!("listen = \"127.0.0.1:{page}\""));
    std::fs::write(folder.join("tapline.toml"), config).unwrap();
}
