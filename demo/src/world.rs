//! The whole bench without its ports: time and acts in, bytes out. It owns no clock; moments are
//! microseconds, and they only rise.

use crate::hand::Hand;
use crate::hookup::{HARMONIC_HERTZ, Hookup};
use crate::meter::{Contacts, Insulation, Load, LowOhm, Met, Multimeter, Seen};
use crate::noise::Noise;
use crate::room::Room;
use crate::scene::{Scene, Tester};

/// A port of the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Port {
    /// Low-resistance meter.
    Ohm,
    /// Multimeter.
    Dmm,
    /// Contacts of the supply box.
    Contacts,
    /// Scanner.
    Scanner,
    /// Insulation tester.
    Iso,
}

/// What the terminals offer as long as no hand moves.
#[derive(Debug, Clone, Copy)]
struct View {
    seen: Seen,
    low_ohm: f64,
    tested: Load,
    lit: bool,
}

/// The bench.
#[derive(Debug, Clone)]
pub struct World {
    scene: Scene,
    room: Room,
    view: View,
    ohm: LowOhm,
    dmm: Multimeter,
    contacts: Contacts,
    iso: Option<Insulation>,
    said: Vec<(Port, Vec<u8>)>,
}

impl World {
    /// The bench at `now`, as it is left in the evening.
    ///
    /// # Errors
    /// A scene whose parts contradict each other.
    pub fn new(scene: Scene, now: u64) -> Result<World, String> {
        let room = Room::default();
        let view = view(&scene, &room)?;
        let ohm = low_ohm(&scene, now);
        let dmm = Multimeter::new(now, noise(&scene, 0xD33));
        let (iso, contacts) = (iso(&scene, now), Contacts::default());
        Ok(World { scene, room, view, ohm, dmm, contacts, iso, said: Vec::new() })
    }

    /// The bench as the hands left it.
    #[must_use]
    pub fn room(&self) -> &Room {
        &self.room
    }

    /// The scene.
    #[must_use]
    pub fn scene(&self) -> &Scene {
        &self.scene
    }

    /// The asset's own indicator is lit: half of the mains voltage is behind its switch.
    #[must_use]
    pub fn lit(&self) -> bool {
        self.view.lit
    }

    /// What the voltmeter of the isolated source shows, volts.
    #[must_use]
    pub fn source_volts(&self) -> String {
        let volts = if self.room.source_on { self.scene.hookup.source.volts } else { 0.0 };
        format!("{volts:.1}")
    }

    /// The low-resistance meter shows an open circuit.
    #[must_use]
    pub fn shows_open(&self) -> bool {
        self.ohm.shows_open()
    }

    /// Another asset comes to the bench; the instruments stay on, everything else is put away.
    ///
    /// # Errors
    /// A scene whose parts contradict each other; then nothing has changed.
    pub fn change(&mut self, now: u64, scene: Scene) -> Result<(), String> {
        let room = Room::default();
        let view = view(&scene, &room)?;
        self.advance(now);
        self.ohm = low_ohm(&scene, now);
        self.iso = iso(&scene, now);
        (self.scene, self.room, self.view) = (scene, room, view);
        self.follow(now);
        Ok(())
    }

    /// Hands act.
    ///
    /// # Errors
    /// What [`Room::act`] refuses, and a code that is empty, too long or no single line; then
    /// nothing has changed.
    pub fn hand(&mut self, now: u64, hand: &Hand) -> Result<(), String> {
        self.advance(now);
        if let Hand::Scan { code } = hand {
            return self.scan(code);
        }
        if let Hand::Turn { to } = hand {
            self.dmm.turn(*to);
            return Ok(());
        }
        let mut room = self.room.clone();
        room.act(hand, |point| self.scene.node(point))?;
        if room == self.room {
            return Ok(());
        }
        let view = view(&self.scene, &room)?;
        (self.room, self.view) = (room, view);
        self.follow(now);
        Ok(())
    }

    fn follow(&mut self, now: u64) {
        self.dmm.set_hold(self.room.dmm_hold);
        self.dmm.set_range(self.room.dmm_range_volts);
        if let Some(iso) = &mut self.iso {
            iso.set_hold(self.room.tester_hold);
            iso.switch(now, self.room.tester_on, self.view.tested);
        }
        if self.scene.witnessed {
            self.contacts.touched(now, &self.room);
        }
    }

    fn scan(&mut self, code: &str) -> Result<(), String> {
        if code.is_empty() || code.len() > 4096 || code.contains(['\r', '\n']) {
            return Err("a code has 1 to 4 096 bytes without line ends".to_owned());
        }
        self.said.push((Port::Scanner, format!("{code}\r\n").into_bytes()));
        Ok(())
    }

    /// Somebody opened a port.
    pub fn opened(&mut self, now: u64, port: Port) {
        self.advance(now);
        match port {
            Port::Dmm => self.dmm.opened(),
            Port::Contacts if self.scene.witnessed => self.contacts.opened(now, &self.room),
            Port::Contacts | Port::Ohm | Port::Scanner | Port::Iso => {}
        }
    }

    /// The multimeter is told something.
    pub fn tell_dmm(&mut self, now: u64, bytes: &[u8]) {
        self.advance(now);
        let answer = self.dmm.receive(now, bytes);
        if !answer.is_empty() {
            self.said.push((Port::Dmm, answer));
        }
    }

    /// When something will be said next.
    #[must_use]
    pub fn due(&self) -> u64 {
        let iso = self.iso.as_ref().map(Insulation::due);
        let others = self.dmm.due().into_iter().chain(self.contacts.due()).chain(iso);
        others.fold(self.ohm.due(), u64::min)
    }

    /// Lets time pass; everything that was due is said.
    pub fn advance(&mut self, now: u64) {
        while self.due() <= now {
            self.say(self.due());
        }
        self.dmm.advance(now, self.view.seen.ac_volts);
    }

    fn say(&mut self, now: u64) {
        self.dmm.advance(now, self.view.seen.ac_volts);
        if self.ohm.due() <= now {
            let Room { way, flexed, ohm_hold, ohm_relative, .. } = self.room;
            let ohm = self.view.low_ohm;
            let met = Met { ohm, way, flexed, hold: ohm_hold, relative: ohm_relative };
            self.said.push((Port::Ohm, self.ohm.line(met).into_bytes()));
        }
        if let Some(answer) = self.dmm.reading(now, self.view.seen) {
            self.said.push((Port::Dmm, answer.into_bytes()));
        }
        if let Some(iso) = self.iso.as_mut().filter(|iso| iso.due() <= now) {
            self.said.push((Port::Iso, iso.lines(self.view.tested).into_bytes()));
        }
        if let Some(line) = self.contacts.line(now) {
            self.said.push((Port::Contacts, line.into_bytes()));
        }
    }

    /// Takes what was said since the last call, in order.
    pub fn drain(&mut self) -> Vec<(Port, Vec<u8>)> {
        std::mem::take(&mut self.said)
    }
}

fn low_ohm(scene: &Scene, now: u64) -> LowOhm {
    LowOhm::new(now, noise(scene, 0), scene.offset_ohm, scene.tells_flags)
}

fn iso(scene: &Scene, now: u64) -> Option<Insulation> {
    let tester = scene.tester?;
    Some(Insulation::new(now, noise(scene, 0x150), tester == Tester::Tells))
}

/// What an instrument of the scene adds by itself: each its own story.
fn noise(scene: &Scene, of: u64) -> Noise {
    if scene.still { Noise::still() } else { Noise::new(scene.seed ^ of) }
}

/// What a meter that rectifies and averages shows of a sine and another one, both r.m.s., whose
/// frequency is `times` as high: 1.1107 (pi / 2 sqrt 2) times the mean of the magnitude.
fn averaged([one, other]: [f64; 2], times: f64) -> f64 {
    const STEPS: u32 = 2000;
    let turn = std::f64::consts::TAU / f64::from(STEPS);
    let at = |step: u32| {
        let angle = (f64::from(step) + 0.5) * turn;
        std::f64::consts::SQRT_2 * (one * angle.sin() + other * (times * angle).sin())
    };
    let mean = (0..STEPS).map(|step| at(step).abs()).sum::<f64>() / f64::from(STEPS);
    mean * std::f64::consts::FRAC_PI_2 / std::f64::consts::SQRT_2
}

fn view(scene: &Scene, room: &Room) -> Result<View, String> {
    let hookup = &scene.hookup;
    let solve = || {
        let mains = hookup.volts(room, hookup.supply.hertz)?;
        let harmonic = hookup.volts(room, HARMONIC_HERTZ)?;
        let shown = |hertz: f64, solved| {
            Hookup::indicated(room, solved) / 1.0f64.hypot(hertz / scene.bandwidth_hertz)
        };
        let parts = [shown(hookup.supply.hertz, &mains), shown(HARMONIC_HERTZ, &harmonic)];
        let ac_volts = match scene.averages {
            true => averaged(parts, HARMONIC_HERTZ / hookup.supply.hertz),
            false => parts[0].hypot(parts[1]),
        };
        let dc_volts = Hookup::indicated(room, &hookup.volts(room, 0.0)?);
        // Mains and harmonic are no multiples of each other in phase: at some moment all add up.
        let peak_volts = (parts[0] + parts[1]) * std::f64::consts::SQRT_2 + dc_volts.abs();
        let ohms = hookup.dmm_ohms(room)?;
        let seen = Seen { ac_volts, dc_volts, peak_volts, ohms };
        let lit = mains.between("L2", "N2") > hookup.supply.volts / 2.0;
        let tested = hookup.tested(room)?;
        Ok(View { seen, low_ohm: hookup.low_ohms(room)?, tested, lit })
    };
    solve().map_err(|singular: crate::circuit::Singular| singular.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    use crate::room::Clips;

    const SCENE: &str = r#"format = "tapline-scene-1"
id = "x"
title = "A good asset with a harmonic"
seed = 7
asset = "P-0109"
supply = { volts = "230", hertz = 50, neutral = "earthed" }
box = { switches = ["S5", "S7", "supply"], witnessed = true }
meters = { leads = "0.061 Ohm", bandwidth = "1 kHz" }
parts = [["C", "L", "case", "2.2 nF"], ["R", "L2", "N2", "500 Ohm"], ["R", "case", "PE", "0.09 Ohm"]]
expect = { outcome = "pass" }
"#;

    fn world() -> World {
        World::new(Scene::parse(SCENE).unwrap(), 0).unwrap()
    }

    fn set(world: &mut World, now: u64, switches: &[(&str, &str)]) {
        let pairs = switches.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned()));
        let set: BTreeMap<String, String> = pairs.collect();
        world.hand(now, &Hand::Switch { set }).unwrap();
    }

    fn said(world: &mut World, port: Port) -> Vec<String> {
        let said = world.drain();
        let of_port = said.into_iter().filter(|(p, _)| *p == port);
        of_port.map(|(_, bytes)| String::from_utf8(bytes).unwrap()).collect()
    }

    #[test]
    fn the_low_resistance_meter_talks_in_virtual_time() {
        let mut world = world();
        world.advance(1_000_000);
        assert_eq!(said(&mut world, Port::Ohm), ["R4 OL Ohm\r\n", "R4 OL Ohm\r\n"]);
        let to = Clips::On("case screw".to_owned());
        world.hand(1_000_000, &Hand::Clips { to }).unwrap();
        world.advance(10_000_000);
        let lines = said(&mut world, Port::Ohm);
        assert_eq!(lines.len(), 23);
        assert!(lines.iter().all(|line| line.starts_with("R4 +0.15")), "{lines:?}");
    }

    #[test]
    fn a_leakage_measurement_goes_through_its_whole_walk() {
        let mut world = world();
        world.opened(0, Port::Contacts);
        world.hand(0, &Hand::Plug { plugged: true }).unwrap();
        world.hand(0, &Hand::Lead { to: Some("case screw".into()) }).unwrap();
        world.tell_dmm(1_000_000, b"CONF:RES\nREAD?\n");
        world.advance(1_300_000);
        let read: f64 = said(&mut world, Port::Dmm)[0].trim_end().parse().unwrap();
        assert!((read - 10e3).abs() < 2.0, "protective earth shorts the input: {read}");
        set(&mut world, 2_000_000, &[("S7", "open"), ("supply", "on")]);
        assert!(world.lit());
        world.tell_dmm(3_000_000, b"CONF:VOLT:AC\nREAD?\n");
        world.advance(3_400_000);
        let said = world.drain();
        assert!(said.contains(&(Port::Contacts, b"C 0110\r\n".to_vec())), "{said:?}");
        let (_, answer) = said.iter().rfind(|(port, _)| *port == Port::Dmm).unwrap();
        let volts: f64 = String::from_utf8_lossy(answer).trim_end().parse().unwrap();
        // 159.0 uA through the network (0.998659 at 50 Hz), voltmeter with a pole at 1 kHz.
        assert!((volts - 0.1586).abs() < 0.0003, "{volts}");
    }

    /// 480 uA at 50 Hz with 250 uA at 1 kHz is 509.8 uA weighted by the network of Figure 12; a
    /// voltmeter with a pole at 1 kHz shows 494 (hand computation).
    #[test]
    fn a_slow_voltmeter_shows_too_little_of_a_harmonic() {
        let shown = |bandwidth: &str| {
            let text = SCENE
                .replace("1 kHz", bandwidth)
                .replace("2.2 nF", "6.643 nF")
                .replace("parts = [", "parts = [[\"H\", \"earth\", \"case\", \"250 uA\"], ");
            let mut world = World::new(Scene::parse(&text).unwrap(), 0).unwrap();
            world.hand(0, &Hand::Plug { plugged: true }).unwrap();
            world.hand(0, &Hand::Lead { to: Some("case screw".into()) }).unwrap();
            set(&mut world, 0, &[("S7", "open"), ("supply", "on")]);
            world.view.seen.ac_volts * 1e3
        };
        let (fast, slow) = (shown("1 MHz"), shown("1 kHz"));
        // The voltmeter's 10 Mohm takes 0.11 % of both.
        assert!((fast - 509.8 * 0.9989).abs() < 1.5, "{fast}");
        assert!((slow - 494.0 * 0.9989).abs() < 1.5, "{slow}");
    }

    /// A sine alone is shown as it is; 480 with 250 uA of a higher frequency are 541 r.m.s.
    #[test]
    fn a_meter_that_averages_shows_too_little_of_two_sines() {
        assert!((averaged([1.0, 0.0], 20.0) - 1.0).abs() < 1e-4);
        let shown = averaged([480.0, 250.0], 20.0);
        assert!((500.0..535.0).contains(&shown), "{shown}");
    }

    #[test]
    fn another_asset_puts_everything_away_and_scans_are_lines() {
        let mut world = world();
        set(&mut world, 0, &[("supply", "on")]);
        let scan = |code: &str| Hand::Scan { code: code.to_owned() };
        world.hand(0, &scan("P-0109")).unwrap();
        assert!(world.hand(0, &scan("two\nlines")).is_err());
        assert_eq!(said(&mut world, Port::Scanner), ["P-0109\r\n"]);
        world.change(1, Scene::parse(SCENE).unwrap()).unwrap();
        assert_eq!(*world.room(), Room::default());
    }
}
