//! Fate: what happens to lines, clocks, disk and power.

use std::io::ErrorKind;

use tapline::books::Crash;

use super::check::Check;
use super::rng::Rng;
use super::wire::Spite;
use super::world::World;

/// How often what happens: once in so many steps of a story, 0 is never.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Fate {
    links: u64,
    clock: u64,
    disk: u64,
    power: u64,
    /// How the lines treat bytes.
    spite: Option<Spite>,
    /// The line of the contacts, too.
    contacts: bool,
}

impl Fate {
    /// The fate of a story: calm days, days on which one thing goes wrong, and bad ones.
    pub(crate) fn of(rng: &mut Rng) -> Fate {
        let calm = Fate { links: 0, clock: 0, disk: 0, power: 0, spite: None, contacts: false };
        let honest = Fate { spite: Some(Spite::honest()), ..calm };
        let full = Fate { spite: Some(Spite::full()), ..calm };
        match rng.below(10) {
            0 => calm,
            1 => Fate { power: 60, ..honest },
            2 => Fate { links: 12, ..honest },
            3 => Fate { clock: 12, ..honest },
            4 => Fate { disk: 15, ..honest },
            5 => Fate { power: 15, ..honest },
            6 => full,
            7 => Fate { contacts: true, links: 15, ..full },
            8 => Fate { links: 20, clock: 25, disk: 30, power: 25, ..honest },
            _ => Fate { links: 20, clock: 25, disk: 30, power: 25, contacts: true, ..full },
        }
    }

    /// Lines become what fate makes of them.
    pub(crate) fn wire(self, world: &mut World) {
        let bounces = world.rng.once_in(2);
        world.lag_us = *world.rng.one(&[0, 0, 8_000]);
        let stale = if self.spite.is_some() { *world.rng.one(&[0, 0, 9, 30]) } else { 0 };
        let benches = [Some(&mut world.bench), world.other.as_mut()];
        for bench in benches.into_iter().flatten() {
            (bench.bounces, bench.stale) = (bounces, stale);
            let Some(spite) = self.spite else { continue };
            let names = bench.names;
            for link in [names.ohm, names.dmm, names.scan] {
                bench.wire.spite.insert(link, spite);
            }
            let contacts = if self.contacts { spite } else { Spite::honest() };
            bench.wire.spite.insert(names.contacts, contacts);
        }
    }

    /// Something happens, or nothing.
    pub(crate) fn strike(self, world: &mut World, check: &mut Check) {
        let met = |n: u64, rng: &mut Rng| n > 0 && rng.once_in(n);
        if met(self.links, &mut world.rng) {
            lines(world);
        }
        if met(self.clock, &mut world.rng) {
            clocks(world);
        }
        if met(self.disk, &mut world.rng) {
            disk(world);
        }
        if met(self.power, &mut world.rng) {
            let us = world.rng.below(40_000);
            world.run(us);
            check.step(world);
            match world.rng.once_in(4) {
                true => kill(world, check),
                false => crash(world, check),
            }
        }
        if world.rng.once_in(4) {
            mend(world);
        }
    }
}

const DMM: [&str; 2] = ["GENERIC,BENCH-DMM,0003,1.0", "GENERIC,BENCH-DMM,0099,1.0"];

fn mend(world: &mut World) {
    for bench in [Some(&mut world.bench), world.other.as_mut()].into_iter().flatten() {
        (bench.mute, bench.frozen) = (false, None);
    }
    if world.rng.once_in(2) {
        if !world.up.contains("dmm") {
            world.bench.identity = DMM[0];
            world.other.iter_mut().for_each(|other| other.identity = DMM[0]);
        }
        world.plug();
    }
}

fn lines(world: &mut World) {
    let names = world.bench.names;
    match world.rng.below(9) {
        0..3 => {
            let link = *world.rng.one(&[names.ohm, names.dmm, names.contacts, names.scan]);
            world.count("link lost");
            world.link_down(link);
        }
        3 => {
            world.count("another identity");
            world.bench.identity = DMM[1];
            world.link_down(names.dmm);
            world.link_up(names.dmm);
        }
        4 => {
            world.count("mute");
            world.bench.mute = true;
        }
        5 | 6 => {
            world.count("frozen");
            world.bench.frozen = Some(format!("R4 {} Ohm\r\n", world.bench.ohms));
        }
        7 => {
            world.count("scanner garbage");
            let noise: Vec<u8> = (0..world.rng.below(200)).map(|_| world.rng.byte()).collect();
            world.bench.say(world.now, names.scan, &noise, &mut world.rng);
        }
        _ => {
            world.count("burst");
            let line = format!("R4 {} Ohm\r\n", world.bench.ohms);
            let burst = line.repeat(usize::try_from(1 + world.rng.below(300)).unwrap());
            world.bench.say(world.now, names.ohm, burst.as_bytes(), &mut world.rng);
        }
    }
}

/// Microseconds by which a wall clock is set.
const STEPS_US: [i64; 8] = [
    1_000,
    100_000,
    700_000,
    5_000_000,
    61_000_000,
    3_600_000_000,
    12 * 3_600_000_000,
    24 * 3_600_000_000,
];

fn clocks(world: &mut World) {
    if world.rng.once_in(3) {
        world.count("suspend");
        let most = *world.rng.one(&[1_000_000, 60_000_000, 2 * 3_600_000_000]);
        let us = world.rng.below(most);
        return world.sleep(us);
    }
    let step = *world.rng.one(&STEPS_US);
    let back = world.rng.once_in(2);
    world.count(if back { "clock set back" } else { "clock set on" });
    world.synced = world.rng.once_in(2);
    world.core.synchronised(world.synced);
    world.set_clock(if back { -step } else { step });
}

fn disk(world: &mut World) {
    let n = 1 + world.rng.below(12);
    match world.rng.below(4) {
        0 => world.disk.die_at(n),
        1 => {
            let room = usize::try_from(world.rng.below(6_000)).unwrap();
            world.disk.room(Some(room));
        }
        _ => {
            let kinds = [ErrorKind::Other, ErrorKind::ReadOnlyFilesystem, ErrorKind::StorageFull];
            world.disk.fail_at(n, *world.rng.one(&kinds));
        }
    }
}

/// The program is killed and started again; the machine goes on.
fn kill(world: &mut World, check: &mut Check) {
    world.count("killed");
    world.now += world.rng.below(20_000_000);
    let started = world.begin_again(None);
    check.after_start(world);
    if started {
        world.plug();
    }
}

/// The power goes and comes back, maybe several times before the station stands.
pub(crate) fn crash(world: &mut World, check: &mut Check) {
    if check.ledger.shadows.values().any(|shadow| shadow.live && !shadow.closed) {
        world.count("crash while live");
    }
    for n in 0.. {
        let (dt, tear) = (world.rng.below(20_000_000), world.rng.below(12_000));
        let tear = usize::try_from(tear).unwrap();
        let how = match world.rng.below(6) {
            0 => Crash::LoseAll,
            1 => Crash::KeepAll,
            2 => Crash::Tear(tear),
            3 => Crash::Holes(tear),
            _ => Crash::Coin(world.rng.next()),
        };
        world.count("crash");
        world.cut(how, dt);
        if world.rng.once_in(2) {
            world.station.set_us = 0;
        }
        world.disk.room(None);
        if n < 3 && world.rng.once_in(4) {
            let calls = 1 + world.rng.below(30);
            world.count("crash right after");
            world.disk.die_at(calls);
        }
        let started = world.begin_again(None);
        check.after_start(world);
        if started {
            world.plug();
            return;
        }
    }
}

/// What the daemon does when nothing can be stored: it says so if there is room, and looks every
/// five seconds whether it can start over. The power may go meanwhile.
pub(crate) fn start_over(world: &mut World, check: &mut Check) {
    world.count("halted");
    let _ = world.station.note_halt(&world.disk, world.at(), "the disk says no");
    for _ in 0..6 {
        if world.rng.once_in(4) {
            break;
        }
        world.now += 5_000_000;
        if world.rng.once_in(2) {
            world.disk.room(None);
        }
        let started = world.begin_again(Some("the disk said no"));
        check.after_start(world);
        if started {
            world.count("started over");
            return world.plug();
        }
    }
    crash(world, check);
}
