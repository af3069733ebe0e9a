//! Times as people and loggers write them.

use crate::time::{Civil, days_in_month};

/// Order of year, month and day in a written date. A four-digit year at the front is always taken as such.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DateOrder {
    /// 2024-06-21.
    #[default]
    YearMonthDay,
    /// 21.06.2024.
    DayMonthYear,
    /// 06/21/2024.
    MonthDayYear,
}

/// A written time: the calendar, and its offset from universal time if it carries one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Written {
    /// Calendar date and time of day; 24:00 is the end of the day.
    pub civil: Civil,
    /// Seconds ahead of universal time (`Z`: 0), if written.
    pub offset_s: Option<f64>,
}

/// Reads a date and time: digits in groups with any separators (`2024-06-21 13:30`, `21.06.2024 13:30:00`, `20240621:1330`,
/// `2024-06-21T13:30:00+02:00`, `6/21/2024 24:00`), with `am`/`pm` if need be.
///
/// # Errors
/// What is wrong with it, in words.
pub fn parse(text: &str, order: DateOrder) -> Result<Written, &'static str> {
    let text = text.trim().trim_matches('"').trim();
    let mut groups: Vec<(u32, usize)> = Vec::new();
    let mut offset_s = None;
    let mut half_day = None;
    let bytes = text.as_bytes();
    let mut i = 0;
    while i < bytes.len() {
        let c = bytes[i];
        if c.is_ascii_digit() {
            let start = i;
            while i < bytes.len() && bytes[i].is_ascii_digit() {
                i += 1;
            }
            if i - start > 14 {
                return Err("a group of digits is too long");
            }
            split(&text[start..i], &mut groups)?;
            // Fractions of a second are dropped.
            if groups.len() >= 6 && i < bytes.len() && bytes[i] == b'.' {
                i += 1;
                while i < bytes.len() && bytes[i].is_ascii_digit() {
                    i += 1;
                }
            }
        } else if (c == b'+' || c == b'-') && groups.len() >= 5 {
            let digits: String = text[i + 1..].chars().filter(char::is_ascii_digit).collect();
            let hours: f64 =
                digits.get(0..2).and_then(|d| d.parse().ok()).ok_or("its offset is no offset")?;
            let minutes: f64 = digits.get(2..4).and_then(|d| d.parse().ok()).unwrap_or(0.0);
            let seconds = hours * 3600.0 + minutes * 60.0;
            if seconds > 15.0 * 3600.0 {
                return Err("its offset is beyond 15 hours");
            }
            offset_s = Some(if c == b'-' { -seconds } else { seconds });
            break;
        } else {
            match c {
                b'Z' | b'z' => offset_s = Some(0.0),
                b'a' | b'A' => half_day = Some(0),
                b'p' | b'P' => half_day = Some(12),
                _ => {}
            }
            i += 1;
        }
    }
    let [a, b, c] = [0, 1, 2].map(|k| groups.get(k).copied());
    let (Some(a), Some(b), Some(c)) = (a, b, c) else { return Err("no year, month and day in it") };
    let (year, month, day) = match order {
        _ if a.1 == 4 => (a, b, c),
        DateOrder::YearMonthDay => (a, b, c),
        DateOrder::DayMonthYear => (c, b, a),
        DateOrder::MonthDayYear => (c, a, b),
    };
    let year = match (year.0, year.1) {
        (y, 2) => (if y < 70 { 2000 + y } else { 1900 + y }).cast_signed(),
        (y, 4) => y.cast_signed(),
        _ => return Err("its year has neither two nor four digits (wrong order of date?)"),
    };
    let month = month.0;
    if !(1..=12).contains(&month) {
        return Err("its month is not 1 to 12 (wrong order of date?)");
    }
    let month = month as u8;
    if day.0 == 0 || day.0 > u32::from(days_in_month(year, month)) {
        return Err("that month has no such day");
    }
    let field = |k: usize| groups.get(k).map_or(0, |g| g.0);
    let (mut hour, minute, second) = (field(3), field(4), field(5));
    if let Some(add) = half_day {
        if hour == 0 || hour > 12 {
            return Err("its hour is not 1 to 12 with am or pm");
        }
        hour = hour % 12 + add;
    }
    if hour > 24 || minute > 59 || second > 59 || (hour == 24 && minute + second > 0) {
        return Err("its time of day is beyond 24:00");
    }
    Ok(Written {
        civil: Civil {
            year,
            month,
            day: day.0 as u8,
            second_of_day: hour * 3600 + minute * 60 + second,
        },
        offset_s,
    })
}

/// Splits a run of digits: a run that holds a whole date or time (`20240621`, `1330`) is cut into its parts.
fn split(digits: &str, groups: &mut Vec<(u32, usize)>) -> Result<(), &'static str> {
    let cuts: &[usize] = match (groups.len(), digits.len()) {
        (0, 8) => &[4, 2, 2],
        (0, 10) => &[4, 2, 2, 2],
        (0, 12) => &[4, 2, 2, 2, 2],
        (0, 14) => &[4, 2, 2, 2, 2, 2],
        (3, 4) => &[2, 2],
        (3, 6) => &[2, 2, 2],
        (_, n) if n <= 4 => &[],
        _ => return Err("a group of digits is too long"),
    };
    if cuts.is_empty() {
        groups.push((digits.parse().ok().ok_or("not digits")?, digits.len()));
        return Ok(());
    }
    let mut from = 0;
    for &n in cuts {
        let part = &digits[from..from + n];
        groups.push((part.parse().ok().ok_or("not digits")?, n));
        from += n;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(text: &str, order: DateOrder) -> f64 {
        let w = parse(text, order).unwrap();
        w.civil.instant(w.offset_s.unwrap_or(0.0))
    }

    #[test]
    fn many_hands() {
        let expected = seconds("2024-06-21 13:30:00", DateOrder::YearMonthDay);
        assert_eq!(expected, 1_718_976_600.0);
        assert_eq!(seconds("2024-06-21T13:30Z", DateOrder::YearMonthDay), expected);
        assert_eq!(seconds("2024-06-21T15:30:00.250+02:00", DateOrder::YearMonthDay), expected);
        assert_eq!(seconds("2024-06-21 06:30-0700", DateOrder::YearMonthDay), expected);
        assert_eq!(seconds("21.06.2024 13:30", DateOrder::DayMonthYear), expected);
        assert_eq!(seconds("6/21/2024 1:30 PM", DateOrder::MonthDayYear), expected);
        assert_eq!(seconds("20240621:1330", DateOrder::YearMonthDay), expected);
        assert_eq!(seconds("202406211330", DateOrder::YearMonthDay), expected);
        assert_eq!(
            seconds("21/06/24 24:00", DateOrder::DayMonthYear),
            seconds("2024-06-22", DateOrder::YearMonthDay)
        );
    }

    #[test]
    fn what_is_wrong_is_said() {
        for bad in [
            "",
            "noon",
            "2024-13-01 00:00",
            "2023-02-29 00:00",
            "2024-06-21 25:00",
            "2024-06-21 24:10",
            "123456789012345",
        ] {
            assert!(parse(bad, DateOrder::YearMonthDay).is_err(), "{bad}");
        }
        assert!(parse("21.06.2024", DateOrder::MonthDayYear).is_err());
    }
}
