//! Ports of all styles, plugged in and pulled out at random: what the station read is in the books.
//!
//! What can be claimed: a port that is pulled out takes with it what nobody had read, and the
//! writer learns how much that was only as far as it looked. So of each plugging the books must
//! hold the beginning, without a gap, up to a place between what was surely taken and all that was
//! written; one that was quiet before it was pulled out must be there whole.
//! Of scanners the books keep the codes and not their bytes: a code with its end counts as what
//! was sent. Meters that are asked say their answers unasked here; not registered, they are
//! listened to and kept.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde_json::Value;
use tapline::books::line::raw_bytes;
use tapline::books::{Folder, Shelf};
use tapline::station::event::BookId;
use tapline_demo::noise::Noise;
use tapline_protocols::Fact;

use super::clock;
use super::daemon::Daemon;
use super::plug::{Account, Plug};
use super::station::until_quiet;

/// A turn, milliseconds, and in how many of them a meter says one frame.
const TURN_MS: u64 = 10;
const FRAME_TURNS: u64 = 10;
/// Turns between two looks at the station's status.
const STATUS_TURNS: u64 = 20;
/// Turns that are waited beyond the time until a quarter of the ports came back.
const TURNS_MORE: u64 = 12_000;

/// A style and what its instrument says; `#` is a digit that changes.
const STYLES: &[(&str, &[u8])] = &[
    ("val-unit-line", b"R4 +0.### Ohm\r\n"),
    ("csv-line", b"2026-11-24,09:14:03,0.###,OHM,PE\r\n"),
    ("report", b"resistance: 0.### Ohm\r\n\x0c"),
    ("contacts", b"C 1010\r\n"),
    ("seg14", b"\x17\x27\x3d\x48\x55\x63\x7f\x87\x9f\xa0\xb0\xc4\xd0\xe0"),
    ("range11", b"10###300:\r\n"),
    ("range14", b"00###0300020\r\n"),
    ("ascii14", b"+0### 4 \0\0 \x04\r\n"),
    ("nib11", b"0###01401\r\n"),
    ("stx16", b"\x024138030000####\r"),
    ("envelope", b"\xab\xcd\x10\x061 0.198100000\x02\x88"),
    ("fixed14", b"OH 0.###  Ohm\r"),
    ("drivers/bench-ohm-line.toml", b"R4 +0.### Ohm\r\n"),
    ("scpi", b"+1.###E-01\r\n"),
    ("scpi-auto", b"+1.###E-01\r\n"),
    ("scpi-remote", b"+1.###E-01\r\n"),
    ("scpi-lang", b"+1.###E-01\r\n"),
    ("scpi-elements", b"+1.###E-01\r\n"),
    ("scpi-tcp", b"+1.###E-01\r\n"),
    ("scpi-remote-clear", b"+1.###E-01\r\n"),
    ("scpi-twice", b"+1.###E-01\r\n"),
    ("scpi-remote-twice", b"+1.###E-01\r\n"),
    ("scpi-list", b"+1.###E-01,+0.0E+00\r\n"),
    ("scpi-low-ohm-8", b"+1.###E-01\r\n"),
    ("scpi-low-ohm-9", b"+1.###E-01\r\n"),
    ("scan", b"X-0###\r\n"),
    ("fixed14-poll", b"OH 0.###  Ohm\r"),
    ("letter-poll", b"R1       0.###  OHM  \r"),
    ("prompt-echo", b"R1\r\n+0.###E+0\r\n=>\r\n"),
    ("ack-code", b"0\r1.###E-1,OHM,NORMAL,NONE\r"),
];

/// How much of it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Mixed {
    pub(crate) ports: usize,
    pub(crate) seconds: u64,
    /// A port stays plugged in so long on average, milliseconds.
    pub(crate) stays_ms: u64,
}

/// What came of it.
#[derive(Debug, Default)]
pub(crate) struct Held {
    pub(crate) written: u64,
    pub(crate) stored: u64,
    /// Pluggings, and those pulled out in the middle of the talk.
    pub(crate) pluggings: usize,
    pub(crate) torn: usize,
    /// Most bytes of one plugging that were not surely taken.
    pub(crate) doubt: usize,
    pub(crate) readings: u64,
    pub(crate) cpu_ms: u64,
    pub(crate) rss_kib: u64,
}

#[derive(Debug)]
enum State {
    /// Pulled out until this turn, and until the station knows.
    Out { until: u64, seen: bool },
    /// Plugged in, until the station has opened it.
    Waits(Plug),
    /// Talks until this turn; then it falls silent first, or not.
    Talks { plug: Plug, until: u64, politely: bool },
}

struct Port {
    id: String,
    name: PathBuf,
    frame: &'static [u8],
    said: u64,
    state: State,
    accounts: Vec<Account>,
    torn: usize,
}

/// Lets them talk, and checks the books.
pub(crate) fn run(mixed: Mixed) -> Held {
    let folder = tempfile::tempdir().unwrap();
    let mut ports = plugged(folder.path(), mixed);
    let mut daemon = Daemon::start(folder.path());
    daemon.ready(|_| true);
    let before = daemon.cpu_ms();
    let mut noise = Noise::new(20_261_126);
    let turns = mixed.seconds * 1_000 / TURN_MS;
    let mut turn = 0;
    while turn < turns || back_again(&ports) < mixed.ports / 4 {
        step(&daemon, &mut ports, (turn, mixed, &mut noise));
        clock::pause_ms(TURN_MS);
        turn += 1;
        assert!(turn < turns + TURNS_MORE, "ports that were plugged in again are not opened");
    }
    // Those that talk fall silent and stay: nothing of them may be missing.
    for port in &mut ports {
        while let State::Talks { plug, .. } = &mut port.state {
            if plug.look() {
                break;
            }
            clock::pause_ms(TURN_MS);
        }
    }
    until_quiet(&daemon);
    let mut held = Held { cpu_ms: daemon.cpu_ms() - before, ..Held::default() };
    held.rss_kib = daemon.kib("VmHWM");
    daemon.stop();
    let books = stored(&folder.path().join("data"), &mut held);
    for port in ports {
        port.count(&books, &mut held);
    }
    held
}

/// Ports that were pulled out and talk again.
fn back_again(ports: &[Port]) -> usize {
    let again =
        |port: &&Port| !port.accounts.is_empty() && matches!(port.state, State::Talks { .. });
    ports.iter().filter(again).count()
}

fn plugged(folder: &Path, mixed: Mixed) -> Vec<Port> {
    let described = "drivers/bench-ohm-line.toml";
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib").join(described);
    fs::create_dir_all(folder.join("drivers")).unwrap();
    fs::copy(from, folder.join(described)).unwrap();
    let mut config = format!(
        "format = \"tapline-config-1\"\n[station]\nid = \"T1\"\nname = \"Mixed\"\n\
         zone = \"Etc/UTC\"\n[store]\nfolder = \"{}\"\nreserve_mb = 1\n[page]\nlisten = \"off\"\n\
         [[bench]]\nid = \"b1\"\nname = \"b1\"\nfixtures = []\n",
        folder.join("data").display()
    );
    let mut ports = Vec::new();
    for (n, (driver, frame)) in (0..mixed.ports).zip(STYLES.iter().cycle()) {
        let (id, name) = (format!("p{n:02}"), folder.join(format!("port-{n:02}")));
        let _ = writeln!(
            config,
            "[[link]]\nid = \"{id}\"\nbench = \"b1\"\nserial = \"{}\"\n\
             line = {{ baud = 9600, bits = \"8N1\", dtr = true, rts = false }}\n\
             driver = \"{driver}\"",
            name.display()
        );
        if *driver == "prompt-echo" {
            config.push_str("measures = \"resistance_2w Ohm\"\n");
        }
        let state = State::Waits(Plug::new(&name));
        ports.push(Port { id, name, frame, said: 0, state, accounts: Vec::new(), torn: 0 });
    }
    fs::write(folder.join("tapline.toml"), config).unwrap();
    ports
}

/// One turn of all ports.
fn step(daemon: &Daemon, ports: &mut [Port], at: (u64, Mixed, &mut Noise)) {
    let (turn, mixed, noise) = at;
    let states = turn.is_multiple_of(STATUS_TURNS).then(|| states(daemon));
    for (n, port) in ports.iter_mut().enumerate() {
        let up = states.as_ref().map(|states| states.get(&port.id).is_some_and(|it| it == "up"));
        port.step(up, (turn, turn + n as u64, mixed.stays_ms / TURN_MS), noise);
    }
}

/// What the station says of its links.
fn states(daemon: &Daemon) -> BTreeMap<String, String> {
    let status = daemon.get("/v1/status").unwrap();
    let benches = status["benches"].as_array().unwrap().iter();
    let links = benches.flat_map(|bench| bench["links"].as_array().unwrap());
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    links.map(|link| (text(&link["id"]), text(&link["state"]))).collect()
}

impl Port {
    /// `up`: what the station says, if it was just asked.
    fn step(&mut self, up: Option<bool>, at: (u64, u64, u64), noise: &mut Noise) {
        let (turn, phase, stays) = at;
        let state = std::mem::replace(&mut self.state, State::Out { until: 0, seen: true });
        self.state = match state {
            State::Out { until, seen } => {
                let seen = seen || up == Some(false);
                match seen && turn >= until {
                    true => State::Waits(Plug::new(&self.name)),
                    false => State::Out { until, seen },
                }
            }
            State::Waits(plug) if up == Some(true) => {
                let until = turn + stays / 2 + noise.draw() % stays;
                State::Talks { plug, until, politely: noise.draw().is_multiple_of(2) }
            }
            State::Waits(plug) => State::Waits(plug),
            State::Talks { mut plug, until, politely } => {
                let quiet = plug.look();
                if turn < until {
                    if phase.is_multiple_of(FRAME_TURNS) {
                        self.said += 1;
                        plug.say(&frame(self.frame, self.said));
                    }
                    State::Talks { plug, until, politely }
                } else if politely && !quiet {
                    State::Talks { plug, until, politely }
                } else {
                    if !politely {
                        plug.say(&frame(self.frame, self.said));
                        self.torn += 1;
                    }
                    self.accounts.push(plug.pull(&self.name));
                    State::Out { until: turn + noise.draw() % 50, seen: false }
                }
            }
        };
    }

    /// The books hold the beginning of each plugging, as far as it was taken and maybe further.
    fn count(mut self, books: &BTreeMap<String, Vec<u8>>, held: &mut Held) {
        if let State::Talks { plug, .. } = self.state {
            assert_eq!(plug.account.taken, plug.account.written.len(), "all was taken");
            self.accounts.push(plug.account);
        }
        let stored = books.get(&self.id).map_or(&[][..], Vec::as_slice);
        assert!(fits(stored, &self.accounts), "{}: {} bytes stored", self.id, stored.len());
        held.stored += stored.len() as u64;
        held.torn += self.torn;
        held.pluggings += self.accounts.len();
        for account in &self.accounts {
            held.written += account.written.len() as u64;
            held.doubt = held.doubt.max(account.written.len() - account.taken);
        }
    }
}

/// A frame with its digits.
fn frame(template: &[u8], number: u64) -> Vec<u8> {
    let text = format!("{number:04}");
    let mut digits = text.bytes().rev();
    let mut frame: Vec<u8> = template.iter().rev().copied().collect();
    for byte in &mut frame {
        if *byte == b'#' {
            *byte = digits.next().unwrap_or(b'0');
        }
    }
    frame.reverse();
    frame
}

/// `stored` is beginnings of what was written, one after the other, each at least as long as what
/// was taken of it.
pub(crate) fn fits(stored: &[u8], accounts: &[Account]) -> bool {
    let mut places = BTreeSet::from([0]);
    for account in accounts {
        let mut next = BTreeSet::new();
        for place in places {
            let rest = &stored[place..];
            let same = rest.iter().zip(&account.written).take_while(|(a, b)| a == b).count();
            next.extend((account.taken..=same).map(|length| place + length));
        }
        places = next;
    }
    places.contains(&stored.len())
}

/// The bytes of each link in the books, in their order.
fn stored(data: &Path, held: &mut Held) -> BTreeMap<String, Vec<u8>> {
    let shelf = Shelf::new(Arc::new(Folder::open(data).unwrap()));
    let mut days: Vec<PathBuf> =
        fs::read_dir(data.join("idle")).unwrap().map(|entry| entry.unwrap().path()).collect();
    days.sort();
    let mut found: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    for day in days {
        let day = day.file_stem().unwrap().to_str().unwrap().to_owned();
        for line in shelf.lines(&BookId::Idle(day)).unwrap() {
            match line.unwrap().fact {
                Fact::In(read) => {
                    held.readings += read.read.len() as u64;
                    found.entry(read.link).or_default().extend(raw_bytes(&read.raw).unwrap());
                }
                Fact::Scan(scan) => {
                    let bytes = found.entry(scan.link.unwrap()).or_default();
                    bytes.extend(scan.raw.unwrap().bytes().chain(*b"\r\n"));
                }
                _ => {}
            }
        }
    }
    found
}
