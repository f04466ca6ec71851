//! Volt-free contacts of the supply box: one line at the opening of the port and on each change.

use crate::room::Room;

/// A contact counts when it has not moved for this long, microseconds.
const STABLE_US: u64 = 50_000;

/// The four inputs: 1 = S5 reversed, 2 = S7 open, 3 = supply on, 4 = S1 open; 1 is closed.
#[derive(Debug, Clone, Default)]
pub struct Contacts {
    told: Option<[bool; 4]>,
    moved: Option<(u64, [bool; 4])>,
}

impl Contacts {
    /// The port was opened: the state is told again.
    pub fn opened(&mut self, now: u64, room: &Room) {
        self.told = None;
        self.moved = Some((now, closed(room)));
    }

    /// Hands were at the box.
    pub fn touched(&mut self, now: u64, room: &Room) {
        let closed = closed(room);
        if self.moved.map_or(self.told, |(_, state)| Some(state)) != Some(closed) {
            self.moved = Some((now, closed));
        }
    }

    /// When a change will have been stable for long enough.
    #[must_use]
    pub fn due(&self) -> Option<u64> {
        self.moved.map(|(since, _)| since + STABLE_US)
    }

    /// The line that is due at `now`, if the state differs from what was told.
    pub fn line(&mut self, now: u64) -> Option<String> {
        let (since, closed) = self.moved.filter(|(since, _)| since + STABLE_US <= now)?;
        debug_assert!(since <= now, "a change lies in the past");
        self.moved = None;
        if self.told == Some(closed) {
            return None;
        }
        self.told = Some(closed);
        let bits: String = closed.iter().map(|c| if *c { '1' } else { '0' }).collect();
        Some(format!("C {bits}\r\n"))
    }
}

fn closed(room: &Room) -> [bool; 4] {
    [room.s5_reversed, room.s7_open, room.supply_on, room.s1_open]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_state_is_told_at_opening_and_after_each_stable_change() {
        let mut contacts = Contacts::default();
        let mut room = Room::default();
        contacts.opened(0, &room);
        assert_eq!(contacts.line(49_999), None);
        assert_eq!(contacts.line(50_000).as_deref(), Some("C 0000\r\n"));
        room.s5_reversed = true;
        room.supply_on = true;
        contacts.touched(100_000, &room);
        contacts.touched(120_000, &room);
        assert_eq!(contacts.due(), Some(150_000), "touching without moving starts no new time");
        assert_eq!(contacts.line(150_000).as_deref(), Some("C 1010\r\n"));
        contacts.opened(200_000, &room);
        assert_eq!(contacts.line(250_000).as_deref(), Some("C 1010\r\n"));
    }

    #[test]
    fn a_bounce_is_not_told() {
        let mut contacts = Contacts::default();
        let mut room = Room::default();
        contacts.opened(0, &room);
        contacts.line(50_000);
        room.s7_open = true;
        contacts.touched(60_000, &room);
        room.s7_open = false;
        contacts.touched(70_000, &room);
        assert_eq!(contacts.line(130_000), None);
    }
}
