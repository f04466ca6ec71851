//! Simulators of other makes, programs of their own, each with the same meter on it.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::json;

use crate::support::{python, wait};

/// A program that ends with its handle.
pub(crate) struct Program {
    child: Child,
    log: PathBuf,
}

impl Program {
    /// Starts it; its talk goes into a file.
    pub(crate) fn start(command: &mut Command, log: PathBuf) -> Program {
        let talk = File::create(&log).unwrap();
        let name = command.get_program().to_owned();
        let child = command
            .stdin(Stdio::null())
            .stdout(talk.try_clone().unwrap())
            .stderr(talk)
            .spawn()
            .unwrap_or_else(|fault| {
                panic!("{}: {fault}; see contrib/packages.txt", name.display())
            });
        Program { child, log }
    }

    /// Panics when it has ended.
    pub(crate) fn runs(&mut self) {
        if let Some(ended) = self.child.try_wait().unwrap() {
            let log = fs::read_to_string(&self.log).unwrap();
            panic!("a program of contrib/packages.txt ended: {ended}\n{log}");
        }
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A port of loopback that nobody has.
pub(crate) fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// `sinstruments` or `lewis` with the meter of `outside/bench_meter.py`.
pub(crate) struct Simulator {
    _program: Program,
    pub(crate) address: String,
    /// The pty of `sinstruments`; `lewis` has none.
    pub(crate) pty: PathBuf,
}

impl Simulator {
    /// `sinstruments`: one meter on a pty and on a socket at once.
    pub(crate) fn start(folder: &Path) -> Simulator {
        let port = free_port();
        let pty = folder.join("ttySIM");
        let config = json!({ "devices": [{
            "class": "BenchDmm", "package": "bench_dmm", "name": "dmm-1",
            "transports": [
                { "type": "serial", "url": pty },
                { "type": "tcp", "url": ["127.0.0.1", port] },
            ],
        }] });
        let file = folder.join("sim.json");
        fs::write(&file, config.to_string()).unwrap();
        let mut command = module("sinstruments");
        command.arg("-c").arg(&file);
        Simulator::answering(folder, &mut command, port, pty, "GENERIC,BENCH-DMM,0001,1.0")
    }

    /// `lewis`: the meter on a socket, asked a hundred times a second what there is to do.
    pub(crate) fn lewis(folder: &Path) -> Simulator {
        let port = free_port();
        let mut command = module("lewis");
        command.arg("-a").arg(outside()).args(["-k", "bench_lewis", "dmm", "-c", "0.01", "-p"]);
        command.arg(format!("stream: {{bind_address: 127.0.0.1, port: {port}}}"));
        let nowhere = PathBuf::new();
        Simulator::answering(folder, &mut command, port, nowhere, "GENERIC,LEWIS-DMM,0001,1.0")
    }

    fn answering(
        folder: &Path,
        command: &mut Command,
        port: u16,
        pty: PathBuf,
        identity: &str,
    ) -> Simulator {
        let mut program = Program::start(command, folder.join("sim.log"));
        let address = format!("127.0.0.1:{port}");
        let answer = wait::until("the simulator answers; see contrib/packages.txt", || {
            program.runs();
            let stream = TcpStream::connect(&address).ok()?;
            Some(Hands(BufReader::new(stream)).ask("*IDN?"))
        });
        assert_eq!(answer, identity);
        Simulator { _program: program, address, pty }
    }

    /// Another client: the hands at the bench.
    pub(crate) fn hands(&self) -> Hands {
        Hands(BufReader::new(TcpStream::connect(&self.address).unwrap()))
    }
}

/// Where the small programs of the tests are.
pub(crate) fn outside() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside")
}

fn module(name: &str) -> Command {
    let mut command = Command::new(python::interpreter());
    command.args(["-m", name]).env("PYTHONPATH", outside()).env("PYTHONDONTWRITEBYTECODE", "1");
    command
}

/// A second client of the simulated meter: what hands do at the bench.
pub(crate) struct Hands(BufReader<TcpStream>);

impl Hands {
    pub(crate) fn ask(&mut self, query: &str) -> String {
        self.0.get_mut().write_all(format!("{query}\n").as_bytes()).unwrap();
        let mut answer = String::new();
        self.0.read_line(&mut answer).unwrap();
        answer.trim_end().to_owned()
    }
}
