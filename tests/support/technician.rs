//! A technician who does what the station asks for, by scanner or by command, and has a bench
//! under the hands.

use serde_json::Value;
use tapline_drivers::scan::control;

use super::port::Port;
use super::station::Station;
use super::wait;

/// Looks at the status between two attempts, 5 ms apart. An act is refused within a second of the
/// last step, and the same code within a second of its last sight is no new scan.
const LOOKS: u32 = 220;
/// Attempts until nothing more is hoped for.
const TURNS_MAX: u32 = 60;

/// What is moved by hand.
pub(crate) trait Bench {
    /// Switches the supply.
    fn supply(&mut self, on: bool);
    /// Sets the polarity switch: `normal` or `reversed`.
    fn polarity(&mut self, _word: &str) {}
    /// Turns the knob of a meter that has one.
    fn knob(&mut self, _function: &str) {}
}

/// How acts are said.
#[derive(Debug, Clone)]
pub(crate) enum Hand {
    /// Codes of the printed sheet, by the bench's scanner.
    Scanner(Port),
    /// Commands.
    Typed,
}

/// A technician at a bench.
pub(crate) struct Technician<'s, B> {
    pub(crate) station: &'s Station,
    pub(crate) asset: &'s str,
    pub(crate) hand: Hand,
    pub(crate) bench: B,
}

impl<B: Bench> Technician<'_, B> {
    /// Scans the asset and opens an inspection of it; its name.
    pub(crate) fn begin(&mut self) -> String {
        self.scan(self.asset);
        let station = self.station;
        wait::until_true("the asset is selected", || {
            station.bench()["selected"]["asset"] == self.asset
        });
        self.act(&["begin"], "BEGIN");
        wait::until("an inspection is open", || {
            station.bench()["inspection"]["id"].as_str().map(str::to_owned)
        })
    }

    /// Does what is asked for until a state of the prompt comes up, which is left alone.
    #[track_caller]
    pub(crate) fn work_until(&mut self, state: &str) {
        for _ in 0..TURNS_MAX {
            let prompt = self.station.prompt();
            if prompt["state"] == state {
                return;
            }
            self.turn(&prompt);
            let station = self.station;
            let _ = wait::within(LOOKS, || (station.prompt() != prompt).then_some(()));
        }
        panic!("the station never came to `{state}`: {:#}", self.station.prompt());
    }

    /// One thing that the prompt asks for.
    pub(crate) fn turn(&mut self, prompt: &Value) {
        if let Some(function) = prompt["function"].as_str() {
            self.bench.knob(function);
        }
        match prompt["state"].as_str().unwrap_or_default() {
            "look" | "answer" => self.act(&["answer", "pass"], "PASS"),
            "connect" => self.act(&["act", "connected"], "CONNECTED"),
            "clear" => {
                if let Some(word) = prompt["set"]["S5"].as_str() {
                    self.bench.polarity(word);
                }
                self.act(&["act", "clear"], "CLEAR");
            }
            "live" => {
                self.bench.supply(true);
                self.act(&["act", "live"], "LIVE");
            }
            "alive" | "set_state" => self.act(&["prove", "alive"], "ALIVE"),
            "dead" | "may_be_live" => {
                self.bench.supply(false);
                self.act(&["act", "dead"], "DEAD");
            }
            "close_scan" => self.scan(self.asset),
            _ => {}
        }
    }

    /// Reads the supply at an outlet and types it in, twice as asked.
    pub(crate) fn prove_supply(&self) {
        let volts = ["prove", "supply", "--ln", "230", "--npe", "0.2", "--lpe", "229.9"];
        self.station.done(&volts);
        self.station.done(&volts);
    }

    fn act(&self, words: &[&str], code: &str) {
        match &self.hand {
            Hand::Scanner(port) => port.say(format!("{}\r", control::code(code)).as_bytes()),
            // Refused a moment too early, it is said again.
            Hand::Typed => drop(self.station.run(words)),
        }
    }

    fn scan(&self, code: &str) {
        match &self.hand {
            Hand::Scanner(port) => port.say(format!("{code}\r").as_bytes()),
            Hand::Typed => drop(self.station.run(&["scan", code])),
        }
    }
}
