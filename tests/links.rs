//! Links against a real pty pair and real sockets: what arrives, what is lost, who is refused.
//!
//! Each test runs on one thread, so that the kernel's count of that thread's reads is ours.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "links/cable.rs"]
mod cable;

use std::fs::File;
use std::io::{Read, Write};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use tapline::clock;
use tapline::config::{Bits, Flow, Layout, Line, Parity, Place, Signals};
use tapline::inbox::{Inbox, inbox};
use tapline::link::{LinkSpec, Supervised, supervise};
use tapline::station::event::Event;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;
use tokio::time::timeout;

/// A generous cap against hangs; nothing is asserted about times below it.
const PATIENCE: Duration = Duration::from_secs(120);

const LINE: Line = Line {
    baud: 9600,
    bits: Bits { data: 8, parity: Parity::None, stop: 1 },
    dtr: true,
    rts: false,
    flow: Flow::None,
};

/// The instrument's end of a pty, and the path of the other end.
fn pty() -> (File, PathBuf) {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
    (File::from(master), PathBuf::from(name))
}

struct Tap {
    inbox: Inbox,
    link: Supervised,
    /// Virtual time runs to the next timer while real bytes are on their way: none of ours may
    /// be among them.
    virtually: bool,
}

fn tap(place: Place, talks: bool) -> Tap {
    let (send, inbox) = inbox(64);
    let link = supervise(LinkSpec { id: "ohm".into(), place, talks }, send);
    Tap { inbox, link, virtually: false }
}

fn serial(path: &Path) -> Place {
    Place::Serial(path.to_owned(), LINE)
}

impl Tap {
    async fn next(&mut self) -> Event {
        if self.virtually {
            return self.inbox.next().await.expect("a live link");
        }
        timeout(PATIENCE, self.inbox.next()).await.expect("an event").expect("a live link")
    }

    async fn up(&mut self) {
        let event = self.next().await;
        assert!(matches!(event, Event::LinkUp { .. }), "{event:?}");
    }

    async fn down(&mut self) -> String {
        match self.next().await {
            Event::LinkDown { why, .. } => why,
            other => panic!("{other:?}"),
        }
    }

    /// Bytes until `count` are there.
    async fn bytes(&mut self, count: usize) -> Vec<u8> {
        let mut all = Vec::new();
        while all.len() < count {
            match self.next().await {
                Event::Bytes { bytes, .. } => all.extend(bytes),
                other => panic!("{other:?}"),
            }
        }
        all
    }
}

/// Reads that this thread has made so far (`syscr` of the kernel's io accounting).
fn reads() -> u64 {
    let text = std::fs::read_to_string("/proc/thread-self/io").unwrap();
    let row = text.lines().find_map(|row| row.strip_prefix("syscr: ")).unwrap();
    row.parse().unwrap()
}

#[tokio::test]
async fn bytes_arrive_with_the_stamp_of_their_read() {
    let (mut meter, path) = pty();
    let mut tap = tap(serial(&path), false);
    tap.up().await;
    let before = clock::now();
    meter.write_all(b"R4 +0.182 Ohm\r\n").unwrap();
    let Event::Bytes { at, link, bytes } = tap.next().await else { panic!("bytes") };
    assert_eq!(link, "ohm");
    assert_eq!(bytes, b"R4 +0.182 Ohm\r\n");
    assert!(before.boot_us <= at.boot_us && at.boot_us <= clock::now().boot_us);
}

#[tokio::test]
async fn every_byte_value_comes_through_raw() {
    let (mut meter, path) = pty();
    let mut tap = tap(serial(&path), false);
    tap.up().await;
    let all: Vec<u8> = (0..=255).collect();
    meter.write_all(&all).unwrap();
    assert_eq!(tap.bytes(256).await, all);
}

#[tokio::test]
async fn what_came_before_opening_is_flushed() {
    for talks in [false, true] {
        let (mut meter, path) = pty();
        meter.write_all(b"OLD 0.999\r\n").unwrap();
        let mut tap = tap(serial(&path), talks);
        tap.up().await;
        meter.write_all(b"NEW\r\n").unwrap();
        assert_eq!(tap.bytes(5).await, b"NEW\r\n", "talks: {talks}");
    }
}

#[tokio::test]
async fn a_listen_only_port_is_open_for_reading_only() {
    let (_meter, path) = pty();
    let mut tap = tap(serial(&path), false);
    tap.up().await;
    assert!(tap.link.send(b"*IDN?\n".to_vec()).is_err());
    let fds = std::fs::read_dir("/proc/self/fd").unwrap().map(|fd| fd.unwrap());
    let fd = fds.into_iter().find(|fd| std::fs::read_link(fd.path()).is_ok_and(|to| to == path));
    let info = PathBuf::from("/proc/self/fdinfo").join(fd.unwrap().file_name());
    let info = std::fs::read_to_string(info).unwrap();
    let flags = info.lines().find_map(|row| row.strip_prefix("flags:")).unwrap().trim();
    // O_ACCMODE is 3, O_RDONLY is 0 (fcntl.h).
    assert_eq!(u32::from_str_radix(flags, 8).unwrap() & 3, 0, "{info}");
}

#[tokio::test]
async fn a_hang_up_is_told_once_and_never_spun_on() {
    for talks in [false, true] {
        // Under a name of its own: the number of a pty that is gone is soon another one's.
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("ttyMETER");
        let (meter, path) = pty();
        symlink(&path, &name).unwrap();
        let mut tap = tap(serial(&name), talks);
        tap.up().await;
        let before = reads();
        std::fs::remove_file(&name).unwrap();
        drop(meter);
        assert_eq!(tap.down().await, "unplugged or switched off");
        // Long enough for a spin to show: an untamed loop made 670 000 reads in 0.2 s.
        let mut more = Vec::new();
        while let Ok(event) = timeout(Duration::from_millis(200), tap.inbox.next()).await {
            more.push(event.expect("a live link"));
        }
        // It was looked for once more, and its name is gone.
        assert!(more.len() <= 1, "told again and again: {more:?}");
        let made = reads() - before;
        // Of these, one reads /proc for the count itself.
        assert!(made <= 8, "{made} reads after the hang-up, talks: {talks}");
    }
}

#[tokio::test]
async fn a_port_that_comes_back_under_its_name_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("ttyMETER");
    let (meter, path) = pty();
    symlink(&path, &name).unwrap();
    let mut tap = tap(serial(&name), false);
    tap.up().await;
    std::fs::remove_file(&name).unwrap();
    drop(meter);
    tap.down().await;
    let absent = tap.down().await;
    assert!(absent.contains("is not there: plug it in"), "{absent}");
    let (mut meter, path) = pty();
    symlink(&path, &name).unwrap();
    tap.up().await;
    meter.write_all(b"back").unwrap();
    assert_eq!(tap.bytes(4).await, b"back");
}

#[tokio::test]
async fn a_taken_port_names_its_holder() {
    for talks in [false, true] {
        let (mut meter, path) = pty();
        // util-linux flock(1), as a terminal program takes the port.
        let script = "exec 9<>\"$1\"; flock -n 9; echo held >&9; exec sleep 60";
        let mut other = Command::new("sh").args(["-c", script, "sh"]).arg(&path).spawn().unwrap();
        let mut held = [0; 4];
        meter.read_exact(&mut held).unwrap();
        let mut tap = tap(serial(&path), talks);
        let why = tap.down().await;
        let want = format!("{} is in use by process {} (sleep)", path.display(), other.id());
        other.kill().unwrap();
        other.wait().unwrap();
        // The shell may not yet have become `sleep` when it is looked at.
        let want = want.trim_end_matches("(sleep)");
        assert!(why.starts_with(want), "{why}");
        tap.up().await;
    }
}

#[tokio::test]
async fn a_talking_link_sends_and_a_stuck_one_is_given_up() {
    let (mut meter, path) = pty();
    let mut tap = tap(serial(&path), true);
    tap.up().await;
    tap.link.send(b"*IDN?\n".to_vec()).unwrap();
    let asked = tokio::task::spawn_blocking(move || {
        let mut asked = [0; 6];
        meter.read_exact(&mut asked).unwrap();
        (asked, meter)
    });
    let (asked, _meter) = timeout(PATIENCE, asked).await.unwrap().unwrap();
    assert_eq!(&asked, b"*IDN?\n");
    // Nobody reads: the pty takes about 20 kB, then no more.
    tap.link.send(vec![b'x'; 65_536]).unwrap();
    assert_eq!(tap.down().await, "takes no bytes: check flow control and cable");
    tap.up().await;
}

/// XOFF came and never XON (termios(3), IXON).
#[tokio::test]
async fn a_port_that_was_told_to_be_silent_is_given_up_and_opened_again() {
    let (mut meter, path) = pty();
    let line = Line { flow: Flow::Software, ..LINE };
    let mut tap = tap(Place::Serial(path, line), true);
    tap.up().await;
    meter.write_all(b"\x13.").unwrap();
    assert_eq!(tap.bytes(1).await, b".", "what stands behind the XOFF");
    // Virtual time: nothing else can happen until the write is given up.
    tokio::time::pause();
    tap.link.send(b"*IDN?\n".to_vec()).unwrap();
    assert_eq!(tap.down().await, "takes no bytes: check flow control and cable");
    tap.up().await;
}

/// What the kernel makes of a damaged byte stands in termios(3), PARMRK; a pty damages none, so
/// only the doubling of FF can be seen here (`src/link/marks.rs` has the rest).
#[tokio::test]
async fn a_port_with_parity_gives_every_byte_once() {
    let (mut meter, path) = pty();
    let bits = Bits { data: 8, parity: Parity::Even, stop: 1 };
    let mut tap = tap(Place::Serial(path, Line { bits, ..LINE }), false);
    tap.up().await;
    let all: Vec<u8> = (0..=255).chain([0xff, 0xff]).collect();
    meter.write_all(&all).unwrap();
    assert_eq!(tap.bytes(all.len()).await, all);
}

/// Virtual time: what the link waits for comes at once.
#[tokio::test(start_paused = true)]
async fn a_plug_that_comes_and_goes_is_told_and_what_it_says_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("ttyMETER");
    let mut meter = pty();
    symlink(&meter.1, &name).unwrap();
    let mut tap = tap(serial(&name), false);
    tap.virtually = true;
    for turn in 0..8 {
        tap.up().await;
        let said = format!("R4 +0.18{turn} Ohm\r\n");
        meter.0.write_all(said.as_bytes()).unwrap();
        assert_eq!(tap.bytes(said.len()).await, said.as_bytes(), "{turn}");
        std::fs::remove_file(&name).unwrap();
        let next = pty();
        symlink(&next.1, &name).unwrap();
        // The one before is unplugged here.
        meter = next;
        let why = tap.down().await;
        assert_eq!(why.contains("it comes and goes: check plug"), turn >= 4, "{turn}: {why}");
    }
    drop(meter);
}

#[tokio::test]
async fn a_socket_that_ends_or_is_reset_is_connected_again() {
    for (talks, reset) in [(false, false), (false, true), (true, false), (true, true)] {
        let server = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let mut tap = tap(Place::Tcp(server.local_addr().unwrap().to_string()), talks);
        let (mut meter, _) = server.accept().await.unwrap();
        tap.up().await;
        meter.write_all(b"+1.23").await.unwrap();
        assert_eq!(tap.bytes(5).await, b"+1.23");
        if reset {
            meter.set_zero_linger().unwrap();
        }
        drop(meter);
        assert_eq!(tap.down().await, "unplugged or switched off");
        let (mut meter, _) = timeout(PATIENCE, server.accept()).await.unwrap().unwrap();
        tap.up().await;
        meter.write_all(b"again").await.unwrap();
        assert_eq!(tap.bytes(5).await, b"again");
    }
}

/// A pty has none: ENOTTY (measured, Linux). The port is free again at once.
#[tokio::test]
async fn contacts_on_a_port_without_modem_inputs_are_refused_in_words() {
    let (_meter, path) = pty();
    let mut tap = tap(Place::Inputs(path.clone(), Signals { dtr: true, rts: true }), false);
    let want = format!(
        "{} has no modem inputs: contacts need a port with CTS, DSR, DCD and RI",
        path.display()
    );
    assert_eq!(tap.down().await, want);
    drop(tap);
    let mut port = self::tap(serial(&path), false);
    port.up().await;
}

/// `struct input_event` (<linux/input.h>, 64 bits): time, type 1 is a key, code, 1 is down.
#[allow(clippy::host_endian_bytes, reason = "the kernel writes its own order")]
fn event(us: u64, kind: u16, code: u16, value: i32) -> Vec<u8> {
    let mut bytes = [0_u64.to_ne_bytes(), us.to_ne_bytes()].concat();
    bytes.extend([kind.to_ne_bytes(), code.to_ne_bytes()].concat());
    bytes.extend(value.to_ne_bytes());
    bytes
}

/// A pipe in place of the input node: there is none on a machine without keyboards.
#[tokio::test]
async fn a_scanner_that_types_is_heard_and_a_code_with_lost_events_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("event-kbd");
    let made = Command::new("mkfifo").arg(&path).status().unwrap();
    assert!(made.success(), "mkfifo of coreutils");
    let mut scanner = File::options().read(true).write(true).open(&path).unwrap();
    let mut tap = tap(Place::Keys(path, Layout::Us), false);
    tap.up().await;
    // Shift and P, -, 0, 1, 0, 7, Enter.
    scanner.write_all(&event(0, 1, 42, 1)).unwrap();
    scanner.write_all(&event(0, 1, 25, 1)).unwrap();
    scanner.write_all(&event(0, 1, 42, 0)).unwrap();
    for (n, code) in (1..).zip([12, 11, 2, 11, 8, 28]) {
        scanner.write_all(&event(n * 4_000, 1, code, 1)).unwrap();
    }
    assert_eq!(tap.bytes(7).await, b"P-0107\r");
    // 1, SYN_DROPPED, 2, Enter: refused by the driver, so that the person hears of it.
    let lost = [event(0, 1, 2, 1), event(0, 0, 3, 0), event(0, 1, 3, 1), event(0, 1, 28, 1)];
    scanner.write_all(&lost.concat()).unwrap();
    assert_eq!(tap.bytes(2).await, b"\0\r");
}

#[tokio::test]
async fn what_is_no_input_node_and_no_instrument_is_refused_in_words() {
    let mut keys = tap(Place::Keys("/dev/null".into(), Layout::Us), false);
    let why = keys.down().await;
    assert!(why.starts_with("can't open /dev/null: it is no input node"), "{why}");
    let mut tmc = tap(Place::Usbtmc("/dev/null".into()), true);
    assert_eq!(tmc.down().await, "can't open /dev/null: it is no USBTMC node");
    // An instrument that may not be asked is not even opened.
    let mut tmc = tap(Place::Usbtmc("/dev/null".into()), false);
    let why = tmc.down().await;
    assert!(why.starts_with("/dev/null says nothing unless it is asked"), "{why}");
}

/// Its last words and its end come in one go: RFC 9293 3.6 for FIN; Linux gives what was received
/// before an RST, too.
#[tokio::test]
async fn what_a_socket_said_last_is_kept() {
    for (talks, reset) in [(false, false), (false, true), (true, false), (true, true)] {
        let server = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let mut tap = tap(Place::Tcp(server.local_addr().unwrap().to_string()), talks);
        let (mut meter, _) = server.accept().await.unwrap();
        tap.up().await;
        if talks {
            // It is asked into the void: the write fails, and what was said before is heard.
            tap.link.send(b"READ?\n".to_vec()).unwrap();
        }
        meter.write_all(b"+1.23").await.unwrap();
        if reset {
            meter.set_zero_linger().unwrap();
        }
        drop(meter);
        assert_eq!(tap.bytes(5).await, b"+1.23", "talks: {talks}, reset: {reset}");
        assert_eq!(tap.down().await, "unplugged or switched off");
    }
}

#[tokio::test]
async fn a_listening_socket_stays_open_towards_the_peer() {
    let server = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let mut tap = tap(Place::Tcp(server.local_addr().unwrap().to_string()), false);
    let (mut meter, _) = server.accept().await.unwrap();
    tap.up().await;
    let mut byte = [0; 1];
    let read = timeout(Duration::from_millis(200), meter.read(&mut byte)).await;
    assert!(read.is_err(), "the peer was told that we are done, or got a byte: {read:?}");
}

#[tokio::test]
async fn nobody_at_the_address_is_said_in_words() {
    let free = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap();
    let mut tap = tap(Place::Tcp(free.to_string()), false);
    assert_eq!(tap.down().await, format!("{free} is not there: plug it in and switch it on"));
}
