//! The hazardous run of one lead placement: dead, connected, hands clear, live, dead.

use alloc::string::String;

use tapline_drivers::Now;

use crate::fact::ActFact;
use crate::plan::Expanded;

/// Where the run stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Phase {
    /// Supply off, leads free to be moved.
    #[default]
    Dead,
    /// Leads laid, supply off.
    Connected,
    /// Hands off, settings shown; the supply may be switched on.
    Cleared,
    /// The asset is energised.
    Live,
}

/// One lead placement: everything that is measured without moving a lead.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Placement {
    /// The plan's step.
    pub of: String,
    /// Point, part, connection.
    pub point: Option<String>,
    /// Applied part.
    pub part: Option<String>,
    /// Operating state.
    pub state: Option<String>,
}

/// The run of the present lead placement.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Run {
    /// Where it stands.
    pub phase: Phase,
    /// The lead placement it belongs to.
    pub placement: Placement,
    /// When the phase changed.
    pub changed: Now,
    /// Line of the last `connected`.
    pub connected: u64,
    /// Line that made it live.
    pub live: u64,
    /// Line that made it dead again.
    pub dead: u64,
    /// Live without hands clear: nothing is captured.
    pub unready: bool,
    /// It was live when watching stopped: it may still be.
    pub doubt: bool,
    /// Something else than the supply box energises it, too: dead is what a person says, whatever
    /// contacts see.
    pub apart: bool,
}

impl Placement {
    /// The placement that an expanded step is measured in.
    #[must_use]
    pub fn of(step: &Expanded) -> Placement {
        Placement {
            of: step.of.clone(),
            point: step.point.clone(),
            part: step.part.clone(),
            state: step.state.clone(),
        }
    }
}

impl Run {
    /// A value may be captured: energised on purpose, and watched since.
    #[must_use]
    pub fn live_and_watched(&self) -> bool {
        self.phase == Phase::Live && !self.unready && !self.doubt
    }

    /// The asset is energised, or may be at any moment.
    #[must_use]
    pub fn may_be_live(&self) -> bool {
        matches!(self.phase, Phase::Cleared | Phase::Live)
    }

    /// A deliberate act moves it.
    pub(super) fn act(&mut self, seq: u64, at: Now, act: &ActFact) {
        match (act.what.as_str(), self.phase) {
            ("connected", Phase::Dead | Phase::Connected) => {
                self.phase = Phase::Connected;
                self.connected = seq;
            }
            ("clear", Phase::Connected) => {
                self.phase = Phase::Cleared;
                self.apart = act.apart;
            }
            ("live", Phase::Cleared) => self.go_live(seq, false),
            ("live", _) => self.go_live(seq, true),
            ("dead", _) => self.go_dead(seq),
            _ => return,
        }
        self.changed = at;
    }

    /// Contacts saw the supply.
    pub(super) fn supply(&mut self, seq: u64, at: Now, on: bool) {
        match (on, self.phase) {
            (true, Phase::Live) => return,
            (true, phase) => self.go_live(seq, phase != Phase::Cleared),
            (false, Phase::Live) if !self.apart => self.go_dead(seq),
            (false, _) => return,
        }
        self.changed = at;
    }

    /// Another step is active: leads are moved for another placement.
    pub(super) fn turn_to(&mut self, step: &Expanded) {
        let placement = Placement::of(step);
        if placement != self.placement {
            self.placement = placement;
            self.leave();
        }
    }

    /// The step is over: hands clear was said for that one.
    pub(super) fn ended(&mut self) {
        if self.phase == Phase::Cleared {
            self.phase = Phase::Connected;
        }
    }

    /// The leads are no longer those that were connected.
    pub(super) fn leave(&mut self) {
        if self.phase != Phase::Live {
            self.phase = Phase::Dead;
        }
    }

    /// Nobody watches any more.
    pub(super) fn rest(&mut self) {
        self.unwatched();
        self.leave();
    }

    /// What was live may still be, and hands that were clear need not be any more.
    pub(super) fn unwatched(&mut self) {
        self.doubt = self.phase == Phase::Live;
        self.ended();
    }

    /// Watching begins again: what was live may still be.
    pub(super) fn resume(&mut self) {
        self.rest();
    }

    fn go_live(&mut self, seq: u64, unready: bool) {
        self.phase = Phase::Live;
        self.live = seq;
        self.unready = unready;
    }

    fn go_dead(&mut self, seq: u64) {
        let known = self.phase == Phase::Live && !self.unready && !self.doubt;
        let stays = known || self.phase == Phase::Cleared || self.phase == Phase::Connected;
        self.phase = if stays { Phase::Connected } else { Phase::Dead };
        self.dead = seq;
        (self.unready, self.doubt, self.apart) = (false, false, false);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn act(run: &mut Run, seq: u64, what: &str) {
        run.act(seq, Now(seq), &ActFact { what: what.into(), ..ActFact::default() });
    }

    #[test]
    fn a_run_goes_through_its_phases_in_order() {
        let mut run = Run::default();
        for (seq, what, phase) in [
            (1, "connected", Phase::Connected),
            (2, "clear", Phase::Cleared),
            (3, "live", Phase::Live),
            (4, "dead", Phase::Connected),
        ] {
            act(&mut run, seq, what);
            assert_eq!(run.phase, phase, "{what}");
        }
        assert_eq!((run.connected, run.live, run.dead), (1, 3, 4));
    }

    #[test]
    fn live_without_hands_clear_is_known_and_captures_nothing() {
        let mut run = Run::default();
        act(&mut run, 1, "connected");
        run.supply(2, Now(2), true);
        assert!(run.phase == Phase::Live && !run.live_and_watched());
        run.supply(3, Now(3), false);
        assert_eq!(run.phase, Phase::Dead, "leads must be declared again");
    }

    #[test]
    fn what_was_live_stays_live_until_somebody_says_dead() {
        let mut run = Run::default();
        act(&mut run, 1, "connected");
        act(&mut run, 2, "clear");
        act(&mut run, 3, "live");
        run.resume();
        assert!(run.phase == Phase::Live && run.doubt && !run.live_and_watched());
        act(&mut run, 4, "dead");
        assert!(run.phase == Phase::Dead && !run.doubt);
    }
}
