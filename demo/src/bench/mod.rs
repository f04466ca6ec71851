//! The bench as a process: instruments on ptys and TCP, hands over a control socket.
//!
//! In the folder stand the ports `ohm`, `box`, `scanner` (`dmm`, unless it listens on TCP, `iso`,
//! where the scene has an insulation tester), the socket `control`, and `ports.json`, which is
//! written last: when it is there, all is.

mod control;
mod lines;
mod pace;
mod pty;

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::os::fd::AsFd;
use std::path::{Path, PathBuf};

use rustix::event::{PollFd, PollFlags};
use serde_json::{Value, json};

use crate::scene::Scene;
use crate::world::{Port, World};
use control::{Control, Line, Order};
use pace::Clock;
use pty::Pty;

/// How often a port that nobody has open is looked at, microseconds.
const LOOK_US: u64 = 20_000;

/// What a bench is started with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// Folder of the ports; it exists.
    pub folder: PathBuf,
    /// The multimeter is on a pty instead of TCP.
    pub dmm_on_pty: bool,
    /// End when standard input ends: with whoever started the bench.
    pub with_parent: bool,
}

/// Entry of the bench's process: `--folder DIR --scene FILE [--dmm-on-pty] [--with-parent]`; with
/// `lines` in front, that of many lines at wire rate.
///
/// # Errors
/// What to say on standard error: wrong arguments, a faulty scene, a port that can't be made.
pub fn main(args: impl IntoIterator<Item = String>) -> Result<(), String> {
    let mut options = Options { folder: PathBuf::new(), dmm_on_pty: false, with_parent: false };
    let mut scene = None;
    let mut args = args.into_iter().peekable();
    if args.next_if(|first| first == "lines").is_some() {
        return lines::main(args);
    }
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--folder" => options.folder = args.next().unwrap_or_default().into(),
            "--scene" => scene = args.next(),
            "--dmm-on-pty" => options.dmm_on_pty = true,
            "--with-parent" => options.with_parent = true,
            _ => return Err(format!("unknown argument `{arg}`: {USAGE}")),
        }
    }
    let Some(file) = scene.filter(|_| !options.folder.as_os_str().is_empty()) else {
        return Err(USAGE.to_owned());
    };
    let text = fs::read_to_string(&file).map_err(|error| format!("{file}: {error}"))?;
    let scene = Scene::parse(&text).map_err(|faults| told(&file, &faults))?;
    run(scene, &options).map_err(|error| error.to_string())
}

const USAGE: &str = "give --folder DIR --scene FILE [--dmm-on-pty] [--with-parent]";

fn told(file: &str, faults: &[crate::scene::Fault]) -> String {
    let lines: Vec<String> = faults.iter().map(|fault| format!("{file}: {fault}")).collect();
    lines.join("\n")
}

/// Serves a scene until `quit` is ordered, or the parent is gone.
///
/// # Errors
/// A scene that contradicts itself, a port that can't be made, a poll that fails.
pub fn run(scene: Scene, options: &Options) -> io::Result<()> {
    let mut bench = Bench::new(scene, options)?;
    bench.announce()?;
    while bench.turn()? {}
    let _ = fs::remove_file(options.folder.join("control"));
    let _ = fs::remove_file(options.folder.join("ports.json"));
    Ok(())
}

struct Bench {
    clock: Clock,
    world: World,
    options: Options,
    ptys: BTreeMap<Port, Pty>,
    dmm: Option<Lan>,
    control: Control,
}

/// The multimeter on the LAN: one client at a time, the newest wins.
struct Lan {
    listener: TcpListener,
    client: Option<TcpStream>,
}

impl Bench {
    fn new(scene: Scene, options: &Options) -> io::Result<Bench> {
        let clock = Clock::start();
        let mut ports = vec![Port::Ohm, Port::Contacts, Port::Scanner];
        ports.extend(scene.tester.map(|_| Port::Iso));
        let world = World::new(scene, clock.now()).map_err(io::Error::other)?;
        let dmm = if options.dmm_on_pty {
            ports.push(Port::Dmm);
            None
        } else {
            let listener = TcpListener::bind("127.0.0.1:0")?;
            listener.set_nonblocking(true)?;
            Some(Lan { listener, client: None })
        };
        let mut ptys = BTreeMap::new();
        for port in ports {
            ptys.insert(port, Pty::new(&options.folder.join(name(port)))?);
        }
        let socket = options.folder.join("control");
        if socket.exists() {
            fs::remove_file(&socket)?;
        }
        let control = Control::bind(&socket)?;
        Ok(Bench { clock, world, options: options.clone(), ptys, dmm, control })
    }

    /// Writes where everything is.
    fn announce(&self) -> io::Result<()> {
        let mut ports = serde_json::Map::new();
        for (port, pty) in &self.ptys {
            ports.insert(name(*port).to_owned(), json!(pty.link()));
        }
        if let Some(lan) = &self.dmm {
            ports.insert("dmm".to_owned(), json!(lan.listener.local_addr()?.to_string()));
        }
        ports.insert("control".to_owned(), json!(self.options.folder.join("control")));
        let file = self.options.folder.join("ports.json.new");
        fs::write(&file, format!("{}\n", Value::Object(ports)))?;
        fs::rename(file, self.options.folder.join("ports.json"))
    }

    /// One turn: wait, listen, let time pass, speak. `false`: the bench ends.
    fn turn(&mut self) -> io::Result<bool> {
        let mut idle = false;
        let mut opened = Vec::new();
        for (port, pty) in &mut self.ptys {
            let (open, fresh) = pty.listening()?;
            idle |= !open;
            if fresh {
                opened.push(*port);
            }
        }
        for port in opened {
            self.world.opened(self.clock.now(), port);
        }
        let until = self.world.due().saturating_sub(self.clock.now());
        let parent_is_there = self.wait(if idle { until.min(LOOK_US) } else { until })?;
        self.hear()?;
        let on = self.orders()?;
        self.world.advance(self.clock.now());
        for (port, bytes) in self.world.drain() {
            self.say(port, &bytes)?;
        }
        Ok(on && parent_is_there)
    }

    fn wait(&self, micros: u64) -> io::Result<bool> {
        let stdin = io::stdin();
        let mut fds = vec![PollFd::from_borrowed_fd(stdin.as_fd(), PollFlags::IN)];
        let parent = usize::from(self.options.with_parent);
        fds.truncate(parent);
        let busy = self.ptys.values().filter(|pty| pty.is_open());
        fds.extend(busy.map(|pty| PollFd::new(pty, PollFlags::IN)));
        if let Some(lan) = &self.dmm {
            fds.push(PollFd::new(&lan.listener, PollFlags::IN));
            fds.extend(lan.client.iter().map(|client| PollFd::new(client, PollFlags::IN)));
        }
        fds.push(PollFd::new(self.control.listener(), PollFlags::IN));
        fds.extend(self.control.streams().map(|stream| PollFd::new(stream, PollFlags::IN)));
        pace::wait(&mut fds, micros)?;
        let gone = parent == 1 && !fds[0].revents().is_empty();
        Ok(!(gone && stdin.lock().read(&mut [0; 256]).is_ok_and(|length| length == 0)))
    }

    fn hear(&mut self) -> io::Result<()> {
        let now = self.clock.now();
        for (port, pty) in &mut self.ptys {
            let heard = pty.heard()?;
            if *port == Port::Dmm && !heard.is_empty() {
                self.world.tell_dmm(now, &heard);
            }
        }
        let Some(lan) = &mut self.dmm else { return Ok(()) };
        while let Ok((client, _)) = lan.listener.accept() {
            client.set_nonblocking(true)?;
            client.set_nodelay(true)?;
            lan.client = Some(client);
            self.world.opened(now, Port::Dmm);
        }
        let Some(client) = &mut lan.client else { return Ok(()) };
        let mut buffer = [0; 4096];
        match client.read(&mut buffer) {
            Ok(0) => lan.client = None,
            Ok(length) => self.world.tell_dmm(now, &buffer[..length]),
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
            Err(_) => lan.client = None,
        }
        Ok(())
    }

    fn say(&mut self, port: Port, bytes: &[u8]) -> io::Result<()> {
        if let Some(pty) = self.ptys.get_mut(&port) {
            return pty.say(bytes);
        }
        let lan = self.dmm.as_mut().filter(|_| port == Port::Dmm);
        let Some(lan) = lan else { return Ok(()) };
        let client = lan.client.as_mut();
        // A client that does not take sixty bytes is stuck: it is let go.
        if client.is_some_and(|client| client.write_all(bytes).is_err()) {
            lan.client = None;
        }
        Ok(())
    }

    fn orders(&mut self) -> io::Result<bool> {
        let Bench { clock, world, ptys, options, control, .. } = self;
        let mut on = true;
        control.serve(|text| {
            let now = clock.now();
            let done = match Line::parse(text) {
                Ok(Line::Hand(hand)) => world.hand(now, &hand),
                Ok(Line::Order(Order::Look {})) => return look(world, ptys),
                Ok(Line::Order(Order::Scene { text })) => {
                    change(world, ptys, options, (now, &text))
                }
                Ok(Line::Order(Order::Unplug { port })) => {
                    ptys.remove(&port.into());
                    Ok(())
                }
                Ok(Line::Order(Order::Replug { port })) => replug(ptys, options, port.into()),
                Ok(Line::Order(Order::Quit {})) => {
                    on = false;
                    Ok(())
                }
                Err(fault) => Err(fault),
            };
            match done {
                Ok(()) => json!({ "ok": true }),
                Err(fault) => json!({ "ok": false, "error": fault }),
            }
        })?;
        Ok(on)
    }
}

/// Another asset; ports that the scene names are pulled and plugged in again first.
fn change(
    world: &mut World,
    ptys: &mut BTreeMap<Port, Pty>,
    options: &Options,
    (now, text): (u64, &str),
) -> Result<(), String> {
    let scene = Scene::parse(text).map_err(|faults| told("scene", &faults))?;
    let named = |port: &Port| scene.replug.iter().any(|word| word == name(*port));
    let pulled: Vec<Port> = ptys.keys().copied().filter(named).collect();
    world.change(now, scene)?;
    for port in pulled {
        ptys.remove(&port);
        replug(ptys, options, port)?;
    }
    Ok(())
}

fn look(world: &World, ptys: &BTreeMap<Port, Pty>) -> Value {
    let open = ptys.iter().filter(|(_, pty)| pty.is_open()).map(|(port, _)| name(*port));
    let open: Vec<&str> = open.collect();
    let (scene, room) = (&world.scene().id, world.room());
    let (lit, ol) = (world.lit(), world.shows_open());
    let source = world.source_volts();
    json!({
        "ok": true, "scene": scene, "lit": lit, "ol": ol, "source": source, "listening": open,
        "room": room,
    })
}

fn replug(ptys: &mut BTreeMap<Port, Pty>, options: &Options, port: Port) -> Result<(), String> {
    if ptys.contains_key(&port) || (port == Port::Dmm && !options.dmm_on_pty) {
        return Err("this port is not unplugged".to_owned());
    }
    let pty = Pty::new(&options.folder.join(name(port))).map_err(|error| error.to_string())?;
    ptys.insert(port, pty);
    Ok(())
}

fn name(port: Port) -> &'static str {
    match port {
        Port::Ohm => "ohm",
        Port::Dmm => "dmm",
        Port::Contacts => "box",
        Port::Scanner => "scanner",
        Port::Iso => "iso",
    }
}

/// Folder of a bench, as the other side sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ports {
    /// `ohm dmm box scanner iso control`: a path, or address and port.
    pub at: BTreeMap<String, String>,
}

impl Ports {
    /// Reads `ports.json`, or says that the bench is not ready yet.
    ///
    /// # Errors
    /// The file is not there yet or is no bench's.
    pub fn read(folder: &Path) -> io::Result<Ports> {
        let text = fs::read_to_string(folder.join("ports.json"))?;
        let at = serde_json::from_str(&text)?;
        Ok(Ports { at })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(args: &[&str]) -> String {
        main(args.iter().map(|arg| (*arg).to_owned())).unwrap_err()
    }

    #[test]
    fn wrong_arguments_and_faulty_scenes_are_told() {
        assert!(refused(&["--bogus"]).contains("unknown argument `--bogus`: give --folder"));
        assert_eq!(refused(&["--folder", "/nowhere"]), USAGE);
        assert!(refused(&["--folder", "/nowhere", "--scene", "/nowhere/x"]).contains("/nowhere/x"));
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("bad.toml");
        fs::write(&file, "format = \"tapline-scene-1\"\nseed = \"x\"\n").unwrap();
        let told = refused(&["--folder", "/nowhere", "--scene", file.to_str().unwrap()]);
        assert!(told.contains("line 2, `seed`") && told.contains("`expect`"), "{told}");
    }
}
