//! Meters that speak: one that talks by itself and one that is asked. Both show what the bench
//! around them gives, and a bench is no more than a supply that is on or off.

use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use super::port::Port;

/// Across the network with the supply on: 23.0 mV over 1 kohm are 23.0 uA (Ohm's law).
const LIVE_V: &str = "+0.0230";
/// What is left with the supply off.
const DEAD_V: &str = "+0.0001";
/// The network by itself, R1 and R2 in series: 10 kohm and 1 kohm (the standard's network).
const NETWORK_OHM: &str = "+11.0002";

/// Who the asked meter says it is.
pub(crate) const IDENTITY: &str = "GENERIC,BENCH-DMM,0001,1.0";

/// What both kinds of meter stand in front of.
#[derive(Debug, Clone, Default)]
pub(crate) struct Scene(Arc<Mutex<State>>);

#[derive(Debug, Default)]
struct State {
    live: bool,
    /// Where the talking meter's knob points: a function as the prompt names it.
    knob: String,
    /// What the asked meter was configured to.
    configured: String,
}

impl Scene {
    /// Switches the supply of the asset.
    pub(crate) fn supply(&self, on: bool) {
        self.0.lock().unwrap().live = on;
    }

    /// Turns the knob of a meter that has one: a function as the prompt names it.
    pub(crate) fn knob(&self, function: &str) {
        function.clone_into(&mut self.0.lock().unwrap().knob);
    }

    /// One line of the talking meter.
    fn line(&self) -> String {
        let state = self.0.lock().unwrap();
        match (state.knob.as_str(), state.live) {
            ("resistance_2w", false) => format!("R2 {NETWORK_OHM} kOhm\r\n"),
            ("resistance_2w", true) => "R2 OL kOhm\r\n".to_owned(),
            ("voltage_dc", _) => format!("DCV {DEAD_V} V\r\n"),
            (_, true) => format!("ACV {LIVE_V} V\r\n"),
            (_, false) => format!("ACV {DEAD_V} V\r\n"),
        }
    }
}

/// A meter at work. Dropping it switches it off; its port stays where it is.
#[derive(Debug)]
pub(crate) struct Meter {
    off: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Meter {
    fn every(millis: u64, mut turn: impl FnMut() + Send + 'static) -> Meter {
        let (off, switched) = channel::<()>();
        let pace = Duration::from_millis(millis);
        let thread = thread::spawn(move || {
            while switched.recv_timeout(pace) == Err(RecvTimeoutError::Timeout) {
                turn();
            }
        });
        Meter { off: Some(off), thread: Some(thread) }
    }

    /// Talks by itself: a line every so many milliseconds.
    pub(crate) fn talking(port: &Port, scene: &Scene, millis: u64) -> Meter {
        let (port, scene) = (port.clone(), scene.clone());
        Meter::every(millis, move || port.say(scene.line().as_bytes()))
    }

    /// Answers SCPI queries as `identity`.
    pub(crate) fn asked(port: &Port, scene: &Scene, identity: &'static str) -> Meter {
        let (port, scene, mut line) = (port.clone(), scene.clone(), Vec::new());
        Meter::every(1, move || {
            for byte in port.heard() {
                if byte != b'\n' {
                    line.push(byte);
                    continue;
                }
                let query = String::from_utf8_lossy(&line).trim().to_owned();
                line.clear();
                if let Some(answer) = scene.answer(&query, identity) {
                    port.say(answer.as_bytes());
                }
            }
        })
    }
}

impl Scene {
    fn answer(&self, query: &str, identity: &str) -> Option<String> {
        let mut state = self.0.lock().unwrap();
        let number = match query {
            "*IDN?" => return Some(format!("{identity}\r\n")),
            "SYST:ERR?" => return Some("+0,\"No error\"\r\n".into()),
            "CONF?" => return Some(format!("\"{} +1.0E+01,+1.0E-06\"\r\n", state.configured)),
            "READ?" => match (state.configured.as_str(), state.live) {
                ("VOLT:AC", true) => "+2.30000000E-02",
                ("RES", _) => "+1.10002000E+04",
                _ => "+1.00000000E-04",
            },
            other => {
                other.strip_prefix("CONF:")?.clone_into(&mut state.configured);
                return None;
            }
        };
        Some(format!("{number}\r\n"))
    }
}

impl Drop for Meter {
    fn drop(&mut self) {
        drop(self.off.take());
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(ended.is_ok() || thread::panicking(), "the meter's thread panicked");
        }
    }
}
