//! Calendar dates as text.

/// Says whether `text` is a day of the Gregorian calendar, `2027-03-31`, in the years 1900 to
/// 2999. Such texts sort as the days do.
#[must_use]
pub fn is_date(text: &str) -> bool {
    let bytes = text.as_bytes();
    if bytes.len() != 10 || bytes[4] != b'-' || bytes[7] != b'-' {
        return false;
    }
    let number = |from: usize, to: usize| {
        bytes[from..to]
            .iter()
            .try_fold(0_u32, |sum, b| b.is_ascii_digit().then(|| sum * 10 + u32::from(b - b'0')))
    };
    match (number(0, 4), number(5, 7), number(8, 10)) {
        (Some(year), Some(month), Some(day)) => {
            (1900..=2999).contains(&year) && day >= 1 && day <= days(year, month)
        }
        _ => false,
    }
}

fn days(year: u32, month: u32) -> u32 {
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_of_the_calendar() {
        for text in ["2027-03-31", "2024-02-29", "2000-02-29", "2999-12-31"] {
            assert!(is_date(text), "{text}");
        }
        for text in [
            "2026-02-29",
            "2100-02-29",
            "2026-13-01",
            "2026-00-10",
            "2026-04-31",
            "26-04-01",
            "2026-4-1",
            "2026-04-1x",
            "",
            "2026-04-010",
            "2026/04/01",
            "2026-01-00",
        ] {
            assert!(!is_date(text), "{text}");
        }
    }
}
