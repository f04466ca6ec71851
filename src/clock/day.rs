//! Days, for whoever asks at each read.

use super::utc_day;

const MINUTE_US: i64 = 60_000_000;
const DAY_US: i64 = 24 * 60 * MINUTE_US;

/// The UTC day, written once a day and not at each question.
#[derive(Debug, Default)]
pub struct Today {
    number: Option<i64>,
    text: String,
}

impl Today {
    /// The day of a moment, microseconds since 1970: `2026-11-24`.
    pub fn at(&mut self, wall_us: i64) -> &str {
        let number = wall_us.div_euclid(DAY_US);
        if self.number != Some(number) {
            self.number = Some(number);
            self.text = utc_day(wall_us);
        }
        &self.text
    }
}

/// Tells when another minute of the wall clock began. Days begin with a minute in every zone that
/// is in use, so within one nothing becomes of yesterday.
#[derive(Debug, Default)]
pub struct Minute(Option<i64>);

impl Minute {
    /// The moment, microseconds since 1970, lies in another minute than that asked about before.
    pub fn turned(&mut self, wall_us: i64) -> bool {
        let minute = Some(wall_us.div_euclid(MINUTE_US));
        std::mem::replace(&mut self.0, minute) != minute
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-11-25T12:00:00Z.
    const NOON: i64 = 1_795_608_000_000_000;

    #[test]
    fn a_day_is_the_calendars_at_both_its_ends() {
        let mut today = Today::default();
        let midnight = NOON + DAY_US / 2;
        for wall_us in [NOON, midnight - 1, midnight, NOON, i64::MIN, i64::MAX, -1, 0] {
            assert_eq!(today.at(wall_us), utc_day(wall_us), "{wall_us}");
        }
    }

    #[test]
    fn a_minute_turns_at_its_end_and_where_the_clock_is_set() {
        let mut minute = Minute::default();
        let moments = [NOON, NOON + 1, NOON + MINUTE_US - 1, NOON + MINUTE_US, NOON, NOON - 1];
        let turned: Vec<bool> = moments.into_iter().map(|us| minute.turned(us)).collect();
        assert_eq!(turned, [true, false, false, true, true, true]);
    }
}
