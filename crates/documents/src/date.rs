//! A calendar date, written as TOML writes it: `2026-03-14`.

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::{Serialize, Serializer};

/// A date of the Gregorian calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    /// Year, 1 to 9999.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Day of the month.
    pub day: u8,
}

const HELP: &str = "write year-month-day, such as 2026-03-14";

impl Date {
    /// The date, if the calendar has it.
    pub fn new(year: u16, month: u8, day: u8) -> Option<Self> {
        let leap =
            year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
        let days = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => return None,
        };
        (1..=days)
            .contains(&day)
            .then_some(Self { year, month, day })
            .filter(|_| (1..=9999).contains(&year))
    }

    /// Day of the year, 1 to 366.
    pub fn day_of_year(self) -> u16 {
        let days = self.days_since_epoch() - Self { month: 1, day: 1, ..self }.days_since_epoch();
        u16::try_from(days + 1).unwrap_or(1)
    }

    /// Days since 1970-01-01. Algorithm: days from civil, H. Hinnant, "chrono-compatible low-level date algorithms".
    pub fn days_since_epoch(self) -> i64 {
        let month = i64::from(self.month);
        let year = i64::from(self.year) - i64::from(month <= 2);
        let era = year.div_euclid(400);
        let year_of_era = year.rem_euclid(400);
        let day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + i64::from(self.day) - 1;
        era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year
            - 719_468
    }
}

impl FromStr for Date {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let error = || format!("\"{text}\" is not a date [bytes 0..{}] help: {HELP}", text.len());
        let parts: Vec<&str> = text.trim().split('-').collect();
        let [year, month, day] = parts[..] else { return Err(error()) };
        let (Ok(year), Ok(month), Ok(day)) = (year.parse(), month.parse(), day.parse()) else {
            return Err(error());
        };
        Self::new(year, month, day).ok_or_else(error)
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

impl Serialize for Date {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Date {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct DateVisitor;
        impl Visitor<'_> for DateVisitor {
            type Value = Date;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a date, such as 2026-03-14")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Date, E> {
                text.parse().map_err(E::custom)
            }
        }
        deserializer.deserialize_any(DateVisitor)
    }
}

impl JsonSchema for Date {
    fn schema_name() -> Cow<'static, str> {
        "date".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "description": "a date, such as 2026-03-14", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn calendar() {
        assert_eq!(Date::new(2026, 2, 29), None);
        assert!(Date::new(2028, 2, 29).is_some());
        assert_eq!(Date::new(1970, 1, 1).unwrap().days_since_epoch(), 0);
        assert_eq!(Date::new(2000, 3, 1).unwrap().days_since_epoch(), 11_017);
        assert_eq!(Date::new(2024, 12, 31).unwrap().day_of_year(), 366);
        assert!("2026-3-4".parse::<Date>().is_ok());
        assert!("14.3.2026".parse::<Date>().is_err());
    }
}
