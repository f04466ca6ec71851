//! Days and moments as they are written on paper, in the time of the place where they happened.

use serde::{Deserialize, Serialize};

/// A moment, in local time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub struct Moment {
    /// Year.
    pub year: u16,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// 0 to 23.
    pub hour: u8,
    /// 0 to 59.
    pub minute: u8,
    /// 0 to 60.
    pub second: u8,
    /// Minutes ahead of UTC.
    pub offset: i16,
}

impl Moment {
    /// Reads `2026-11-24T08:14:03+01:00`, fractions of a second left out.
    #[must_use]
    pub fn read(text: &str) -> Option<Moment> {
        let part = |from: usize, to: usize| text.get(from..to)?.parse::<u16>().ok();
        let small = |from, to| u8::try_from(part(from, to)?).ok();
        let offset =
            match text.get(19..)?.trim_start_matches(|c: char| c == '.' || c.is_ascii_digit()) {
                "Z" => 0,
                sign => {
                    let (hours, minutes) = sign.get(1..)?.split_once(':')?;
                    let minutes = hours.parse::<i16>().ok()? * 60 + minutes.parse::<i16>().ok()?;
                    if sign.starts_with('-') { -minutes } else { minutes }
                }
            };
        Some(Moment {
            year: part(0, 4)?,
            month: small(5, 7)?,
            day: small(8, 10)?,
            hour: small(11, 13)?,
            minute: small(14, 16)?,
            second: small(17, 19)?,
            offset,
        })
    }

    /// Whole hours ahead of UTC.
    #[must_use]
    pub fn offset_hour(self) -> i8 {
        i8::try_from(self.offset / 60).unwrap_or_default()
    }

    /// Minutes beyond the whole hours.
    #[must_use]
    pub fn offset_minute(self) -> u8 {
        u8::try_from((self.offset % 60).unsigned_abs()).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_read_with_its_offset() {
        let read = Moment::read("2026-11-24T08:14:03.512004-03:30").unwrap();
        let want =
            Moment { year: 2026, month: 11, day: 24, hour: 8, minute: 14, second: 3, offset: -210 };
        assert_eq!((read, read.offset_hour(), read.offset_minute()), (want, -3, 30));
        assert_eq!(Moment::read("2026-11-24T08:14:03Z").unwrap().offset, 0);
        assert_eq!(Moment::read("2026-11-24"), None);
    }
}
