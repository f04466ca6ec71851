//! The cable of the network, pulled for real: two name spaces of the network
//! (network_namespaces(7)) with a virtual cable between them (veth(4)). Nothing of it reaches the
//! machine's own network.
#![allow(unsafe_code, reason = "no crate in use has a call for `setns`")]

use std::fs::File;
use std::io::Read;
use std::os::fd::AsRawFd;
use std::process::{Command, Stdio};
use std::thread;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;
use tokio::runtime::Builder;
use tokio::sync::oneshot;

use super::{PATIENCE, Tap, tap};
use tapline::config::Place;
use tapline::station::event::Event;
use tokio::time::timeout;

const FAR: &str = "192.0.2.2:5025";
const FRAME: &[u8] = b"R4 +0.182 Ohm\r\n";

/// A network of its own, there as long as this is.
struct Space(File);

impl Space {
    /// # Panics
    /// In words where the system does not let us: the test is never left out.
    fn new() -> Space {
        let mut holder = Command::new("unshare")
            .args(["--net", "sh", "-c", "echo; exec cat"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("this test needs `unshare` of util-linux");
        let mut ready = [0];
        if holder.stdout.take().unwrap().read_exact(&mut ready).is_err() {
            let mut why = String::new();
            holder.stderr.take().unwrap().read_to_string(&mut why).unwrap();
            panic!(
                "this test pulls a cable between two networks that it makes, and it may not make \
                 them here ({}): run it as root, or let it have CAP_SYS_ADMIN",
                why.trim()
            );
        }
        let space = File::open(format!("/proc/{}/ns/net", holder.id())).unwrap();
        holder.kill().unwrap();
        holder.wait().unwrap();
        Space(space)
    }

    /// A name that a child process can open.
    fn name(&self) -> String {
        format!("/proc/{}/fd/{}", std::process::id(), self.0.as_raw_fd())
    }

    /// `ip` inside of it.
    fn ip(&self, args: &str) {
        let mut command = Command::new("nsenter");
        command.arg(format!("--net={}", self.name())).arg("ip").args(args.split(' '));
        let output = command.output().expect("this test needs `nsenter` of util-linux");
        let why = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "this test needs `ip` of iproute2: ip {args}: {why}");
    }

    /// This thread, and what it starts, is in that network from now on.
    fn enter(&self) {
        // SAFETY: the call takes an open descriptor and a flag, and touches no memory.
        let done = unsafe { libc::setns(self.0.as_raw_fd(), libc::CLONE_NEWNET) };
        assert_eq!(done, 0, "{}", std::io::Error::last_os_error());
    }
}

/// Two networks with a cable between them: ours, and the instrument's.
fn cable() -> (Space, Space) {
    let (near, far) = (Space::new(), Space::new());
    near.ip(&format!("link add near type veth peer name far netns {}", far.name()));
    // Addresses for documentation (RFC 5737).
    for (space, end, address) in [(&near, "near", "192.0.2.1/24"), (&far, "far", "192.0.2.2/24")] {
        space.ip(&format!("addr add {address} dev {end}"));
        space.ip(&format!("link set {end} up"));
    }
    (near, far)
}

/// An instrument that says one line to whoever connects, and hears whatever it is told.
async fn instrument(server: TcpListener, mut off: oneshot::Receiver<()>) {
    loop {
        tokio::select! {
            _ = &mut off => return,
            connected = server.accept() => {
                let (mut socket, _) = connected.unwrap();
                tokio::spawn(async move {
                    let _ = socket.write_all(FRAME).await;
                    while socket.read(&mut [0; 64]).await.is_ok_and(|count| count > 0) {}
                });
            }
        }
    }
}

/// Runs on a thread of its own: the one of the harness stays where it is.
fn inside<T: Send>(space: &Space, story: impl AsyncFnOnce() -> T + Send) -> T {
    let runtime = || Builder::new_current_thread().enable_all().build().unwrap();
    thread::scope(|scope| {
        let work = scope.spawn(|| {
            space.enter();
            runtime().block_on(story())
        });
        work.join().unwrap()
    })
}

/// Whatever is said until it is up: it may be tried a few times.
async fn up_again(tap: &mut Tap) -> bool {
    loop {
        match tap.next().await {
            Event::LinkUp { .. } => return true,
            Event::LinkDown { .. } => {}
            other => panic!("{other:?}"),
        }
    }
}

/// Fault 20 of a bench's wire. Nothing comes over the line that says so: what only listens is told
/// by the probes of the kernel, what has just asked by its bytes that nobody confirms.
#[test]
fn a_cable_of_the_network_that_is_pulled_is_noticed_and_plugged_in_it_goes_on() {
    for talks in [false, true] {
        let (near, far) = cable();
        thread::scope(|scope| {
            let (off, switched) = oneshot::channel();
            let (ready, is_ready) = std::sync::mpsc::channel();
            let far_side = &far;
            scope.spawn(move || {
                inside(far_side, async move || {
                    let server = TcpListener::bind(FAR).await.unwrap();
                    ready.send(()).unwrap();
                    instrument(server, switched).await;
                });
            });
            is_ready.recv().unwrap();
            inside(&near, async || story(&far, talks).await);
            off.send(()).unwrap();
        });
    }
}

async fn story(far: &Space, talks: bool) {
    let mut tap = tap(Place::Tcp(FAR.to_owned()), talks);
    tap.up().await;
    assert_eq!(tap.bytes(FRAME.len()).await, FRAME);
    far.ip("link set far down");
    if talks {
        tap.link.send(b"READ?\n".to_vec()).unwrap();
    }
    let down = timeout(PATIENCE, tap.next()).await.expect("it is noticed");
    let Event::LinkDown { why, .. } = down else { panic!("{down:?}") };
    assert_eq!(why, "unplugged or switched off", "talks: {talks}");
    // While it is out nobody is there; then it is the same link again.
    far.ip("link set far up");
    assert!(up_again(&mut tap).await);
    assert_eq!(tap.bytes(FRAME.len()).await, FRAME);
}
