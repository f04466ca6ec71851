//! The running station as others meet it: refused starts, refused requests, a disk that takes
//! nothing more, an orderly end. The real program, real sockets, a real limit of the kernel.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "faces/due.rs"]
mod due;
#[path = "faces/entered.rs"]
mod entered;
#[path = "faces/former.rs"]
mod former;
#[path = "faces/index.rs"]
mod index;
mod support;

use std::fs::{self, File};
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use rustix::process::{Pid, Resource, Rlimit, Signal, kill_process, prlimit};
use serde_json::Value;
use support::feed::Feed;
use support::port::Port;
use support::station::{Output, TAPLINE};
use support::{http, wait};
use tempfile::TempDir;

/// A station with one talking meter and a page.
struct House {
    folder: TempDir,
    page: u16,
    child: Option<Child>,
    meter: Port,
}

impl House {
    fn new() -> House {
        let folder = tempfile::tempdir().unwrap();
        let free = TcpListener::bind("127.0.0.1:0").unwrap();
        let page = free.local_addr().unwrap().port();
        let port = folder.path().join("ttyohm");
        let config = format!(
            "format = \"tapline-config-1\"\n\
             [station]\nid = \"T1\"\nname = \"Test\"\nzone = \"Etc/UTC\"\n\
             [store]\nfolder = \"{}\"\nreserve_mb = 1\n\
             [page]\nlisten = \"127.0.0.1:{page}\"\n\
             [[bench]]\nid = \"b1\"\nname = \"Bench 1\"\n\
             [[link]]\nid = \"ohm\"\nbench = \"b1\"\nserial = \"{}\"\n\
             line = {{ baud = 9600, bits = \"8N1\" }}\ndriver = \"val-unit-line\"\n",
            folder.path().join("data").display(),
            port.display(),
        );
        fs::write(folder.path().join("tapline.toml"), config).unwrap();
        let meter = Port::plug(&port);
        House { folder, page, child: None, meter }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn serve(&self) -> Command {
        // A file that may not grow ends a program by SIGXFSZ, unless that is ignored: then the
        // write fails, as on a full disk.
        let mut command = Command::new("sh");
        command.args(["-c", "trap '' XFSZ; exec \"$0\" \"$@\"", TAPLINE, "serve", "--config"]);
        command.arg(self.path("tapline.toml")).arg("--socket").arg(self.path("sock"));
        command.arg0("sh").stdin(Stdio::null());
        command
    }

    /// The log is a file: it can't grow either when the station's files can't.
    fn start(&mut self) {
        let log = File::options().create(true).append(true).open(self.path("log")).unwrap();
        self.child = Some(self.serve().stdout(Stdio::null()).stderr(log).spawn().unwrap());
        wait::until("the station judges and its meter is there", || {
            let status = self.status()?;
            let link = &status["benches"][0]["links"][0];
            (status["halted"].is_null() && link["state"] == "up").then_some(())
        });
    }

    fn pid(&self) -> Pid {
        let pid = self.child.as_ref().expect("it runs").id();
        Pid::from_raw(i32::try_from(pid).unwrap()).unwrap()
    }

    fn status(&self) -> Option<Value> {
        let (_, text) = http::ask(&self.path("sock"), "GET", "/v1/status", "").ok()?;
        serde_json::from_str(&text).ok()
    }

    fn ask(&self, method: &str, path: &str, body: &str) -> (u16, Value) {
        let (status, text) = http::ask(&self.path("sock"), method, path, body).unwrap();
        (status, serde_json::from_str(&text).unwrap())
    }

    /// No file of the station may grow any more, or all may.
    fn freeze(&self, frozen: bool) {
        let current = if frozen { Some(1) } else { None };
        let limit = Rlimit { current, maximum: None };
        prlimit(Some(self.pid()), Resource::Fsize, limit).unwrap();
    }

    fn station_book(&self) -> String {
        let folder = self.path("data/station");
        let book = fs::read_dir(folder).unwrap().next().unwrap().unwrap();
        fs::read_to_string(book.path()).unwrap()
    }

    fn stop(&mut self) {
        kill_process(self.pid(), Signal::TERM).unwrap();
        let ended = self.child.take().unwrap().wait().unwrap();
        assert!(ended.success(), "{ended}");
    }
}

impl Drop for House {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

fn check(config: &Path) -> Output {
    Output::of(Command::new(TAPLINE).args(["serve", "--check", "--config"]).arg(config))
}

#[test]
fn a_check_tells_every_fault_and_starts_nothing() {
    let house = House::new();
    let config = house.path("tapline.toml");
    let stderr = format!("tapline: {}: no fault found\n", config.display());
    let good = Output { stdout: String::new(), stderr, code: 0 };
    assert_eq!(check(&config), good);
    let text = fs::read_to_string(&config).unwrap();
    let bad = text.replace("\"T1\"", "\"t\"").replace("val-unit-line", "val-unit-lime");
    fs::write(&config, bad).unwrap();
    let at = config.display();
    let drivers = tapline_drivers::catalogue::names().collect::<Vec<_>>().join(", ");
    let stderr = format!(
        "tapline: {at}: line 3, `station.id`: must be 2 to 6 of A-Z and 0-9\n\
         tapline: {at}: line 19, `link.driver`: no driver `val-unit-lime`: there \
         is no drivers/val-unit-lime.toml beside this file that describes it, and built in are \
         {drivers}\n"
    );
    assert_eq!(check(&config), Output { stdout: String::new(), stderr, code: 2 });
    assert!(!house.path("data").exists(), "a check makes no folder");
}

#[test]
fn the_second_station_of_a_folder_is_refused() {
    let mut house = House::new();
    house.start();
    let second = Output::of(&mut house.serve());
    assert_eq!(second.code, 2);
    let want = format!("is in use by process {}: stop it first", house.pid().as_raw_nonzero());
    assert!(second.stderr.contains(&want), "{}", second.stderr);
}

#[test]
fn refused_requests_say_why_and_what_next() {
    let mut house = House::new();
    house.start();
    for (method, path, body, status, code) in [
        ("GET", "/v1/nothing/at/all", "", 404, "not_found"),
        ("GET", "/v1/inspections/T1-20261124-0001", "", 404, "not_found"),
        ("GET", "/v1/assets/P-0107", "", 404, "not_found"),
        ("GET", "/v1/feed?after=soon", "", 400, "bad_input"),
        ("POST", "/v1/benches/b1/dance", "{}", 404, "not_found"),
        ("POST", "/v1/benches/b1/import", "{}", 404, "not_found"),
        ("POST", "/v1/benches/b1/note", "{\"text\":", 400, "bad_input"),
        ("POST", "/v1/benches/b1/note", "{\"txt\":\"x\"}", 400, "bad_input"),
        ("POST", "/v1/benches/b9/note", "{\"text\":\"x\"}", 404, "not_found"),
        ("POST", "/v1/scan", "{\"bench\":7,\"code\":\"P-0107\"}", 400, "bad_input"),
        ("POST", "/v1/benches/b1/capture", "{}", 409, "conflict"),
    ] {
        let (got, problem) = house.ask(method, path, body);
        assert_eq!((got, &problem["code"]), (status, &code.into()), "{method} {path}: {problem}");
        assert_eq!(problem["status"], status);
        for key in ["detail", "next"] {
            assert!(problem[key].as_str().is_some_and(|text| !text.is_empty()), "{problem}");
        }
    }
}

/// A request to the page by hand; the answer's status.
fn page(port: u16, head: &str) -> u16 {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    write!(stream, "GET /v1/status HTTP/1.0\r\n{head}\r\n").unwrap();
    let mut text = String::new();
    stream.read_to_string(&mut text).unwrap();
    text.split(' ').nth(1).unwrap().parse().unwrap()
}

#[test]
fn the_page_is_for_this_machine_and_its_own_origin() {
    let mut house = House::new();
    house.start();
    let token = fs::read_to_string(house.path("sock").with_extension("token")).unwrap();
    let token = format!("Authorization: Bearer {}\r\n", token.trim());
    let here = format!("Host: 127.0.0.1:{}\r\n", house.page);
    assert_eq!(page(house.page, &format!("{here}{token}")), 200);
    assert_eq!(page(house.page, &here), 401, "without a token");
    assert_eq!(page(house.page, &format!("Host: clinic.example\r\n{token}")), 421);
    let elsewhere = "Origin: http://clinic.example\r\n";
    assert_eq!(page(house.page, &format!("{here}{token}{elsewhere}")), 403);
}

#[test]
fn a_disk_that_takes_nothing_more_halts_it_and_it_starts_over_from_disk() {
    let mut house = House::new();
    house.start();
    let feed = Feed::open(&house.path("sock"), None);
    house.meter.say(b"R4 +0.181 Ohm\r\n");
    let shown = feed.find("the first reading", |seen| seen.data.contains("+0.181"));

    house.freeze(true);
    house.meter.say(b"R4 +0.999 Ohm\r\n");
    let status = wait::until("it halts", || {
        let status = house.status()?;
        status["halted"].is_string().then_some(status)
    });
    assert!(status["first"].as_str().unwrap().starts_with("Switch off, make safe"), "{status}");
    assert_eq!(status["benches"][0]["links"][0]["state"], "down", "links are closed");
    let (code, problem) = house.ask("POST", "/v1/scan", "{\"bench\":\"b1\",\"code\":\"P-1\"}");
    assert_eq!((code, &problem["code"]), (503, &"halted".into()));

    house.freeze(false);
    wait::until("it goes on by itself", || {
        let status = house.status()?;
        let link = &status["benches"][0]["links"][0];
        (status["halted"].is_null() && link["state"] == "up").then_some(())
    });
    house.meter.say(b"R4 +0.182 Ohm\r\n");
    let next = feed.find("a reading after it", |seen| seen.kind == "in");
    assert!(next.data.contains("+0.182"), "what was not durable was never shown: {next:?}");
    assert!(next.seq > shown.seq);
    assert!(house.station_book().contains("\"k\":\"recovered\""));
    let idle = house.path("data/idle");
    let books: String = fs::read_dir(&idle)
        .unwrap()
        .map(|file| file.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "jsonl"))
        .map(|path| fs::read_to_string(path).unwrap())
        .collect();
    assert!(!books.contains("+0.999"), "what failed is in no book");
}

#[test]
fn the_key_that_signs_is_announced_once_and_a_lost_one_is_followed() {
    let mut house = House::new();
    let keys = |house: &House| -> Vec<Value> {
        let book = house.station_book();
        let lines = book.lines().filter(|line| line.contains("\"k\":\"key\""));
        lines.map(|line| serde_json::from_str(line).unwrap()).collect()
    };
    for _ in 0..2 {
        house.start();
        house.stop();
    }
    let first = keys(&house);
    assert_eq!(first.len(), 1, "announced once: {first:?}");
    assert_eq!(first[0]["replaces"], Value::Null);
    fs::remove_file(house.path("data/keys/T1-1.pem")).unwrap();
    house.start();
    house.stop();
    let [old, new] = keys(&house).try_into().unwrap();
    assert_eq!((&new["replaces"], &new["before"]), (&old["key"], &"lost".into()));
    assert_eq!(new["file"], "keys/T1-2.pub.pem");
}

#[test]
fn an_orderly_end_is_written_down_and_leaves_no_socket() {
    let mut house = House::new();
    house.start();
    // A client that never ends must not hold it up.
    let feed = Feed::open(&house.path("sock"), None);
    house.stop();
    while feed.next().is_some() {}
    let book = house.station_book();
    let last = book.lines().rfind(|line| line.contains("\"seq\"")).unwrap();
    let last: Value = serde_json::from_str(last).unwrap();
    assert_eq!((&last["k"], &last["reason"]), (&"stop".into(), &"SIGTERM".into()));
    assert!(!house.path("sock").exists());
}
