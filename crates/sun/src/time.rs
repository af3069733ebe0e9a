//! Instants, the civil calendar and day numbers, without a clock.

/// Seconds since 1970-01-01 00:00 universal time; leap seconds are not counted (the usual computer time scale).
pub type Instant = f64;

/// Days before each month in a common year.
pub const DAYS_BEFORE_MONTH: [u16; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
/// Days of each month in a common year.
pub const DAYS_IN_MONTH: [u8; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
/// Klein's representative day of each month: the day whose extraterrestrial irradiation is nearest the month's mean.
///
/// Source: S. A. Klein, Solar Energy 19(4), 325-329, 1977; Duffie & Beckman table 1.6.1.
pub const REPRESENTATIVE_DAY: [u16; 12] = [17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344];

/// A moment on the civil calendar, in whatever zone the caller keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Civil {
    /// Year, Gregorian.
    pub year: i32,
    /// 1…12.
    pub month: u8,
    /// 1…31.
    pub day: u8,
    /// Seconds since midnight, 0…86400 (24:00 is the end of the day).
    pub second_of_day: u32,
}

/// Is it a leap year?
pub fn is_leap_year(year: i32) -> bool {
    (year % 4 == 0 && year % 100 != 0) || year % 400 == 0
}

/// Days in a month of a year.
pub fn days_in_month(year: i32, month: u8) -> u8 {
    if month == 2 && is_leap_year(year) { 29 } else { DAYS_IN_MONTH[usize::from(month - 1) % 12] }
}

/// Days since 1970-01-01 of a Gregorian date (algorithm of H. Hinnant, "chrono-compatible low-level date algorithms", public domain).
pub fn days_from_civil(year: i32, month: u8, day: u8) -> i64 {
    let y = i64::from(year) - i64::from(month <= 2);
    let era = y.div_euclid(400);
    let year_of_era = y - era * 400;
    let shifted = (i64::from(month) + 9) % 12;
    let day_of_year = (153 * shifted + 2) / 5 + i64::from(day) - 1;
    era * 146097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719468
}

/// The Gregorian date of a number of days since 1970-01-01.
pub fn civil_from_days(days: i64) -> (i32, u8, u8) {
    let z = days + 719468;
    let era = z.div_euclid(146097);
    let day_of_era = z - era * 146097;
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted = (5 * day_of_year + 2) / 153;
    let day = (day_of_year - (153 * shifted + 2) / 5 + 1) as u8;
    let month = (if shifted < 10 { shifted + 3 } else { shifted - 9 }) as u8;
    ((year_of_era + era * 400 + i64::from(month <= 2)) as i32, month, day)
}

impl Civil {
    /// The instant at which a clock that is `offset_s` ahead of universal time shows this.
    pub fn instant(&self, offset_s: f64) -> Instant {
        days_from_civil(self.year, self.month, self.day) as f64 * 86400.0
            + f64::from(self.second_of_day)
            - offset_s
    }

    /// What a clock `offset_s` ahead of universal time shows at an instant (whole seconds, rounded down).
    pub fn at(instant: Instant, offset_s: f64) -> Self {
        let seconds = libm::floor(instant + offset_s) as i64;
        let days = seconds.div_euclid(86400);
        let (year, month, day) = civil_from_days(days);
        Self { year, month, day, second_of_day: seconds.rem_euclid(86400) as u32 }
    }

    /// Day of the year, 1…366.
    pub fn day_of_year(&self) -> u16 {
        let leap = u16::from(self.month > 2 && is_leap_year(self.year));
        DAYS_BEFORE_MONTH[usize::from(self.month - 1) % 12] + u16::from(self.day) + leap
    }
}

/// Month 0…11 of a day of a common year (1…365; day 366 counts as December).
pub fn month_of_day(day_of_year: u16) -> usize {
    DAYS_BEFORE_MONTH.iter().rposition(|&before| day_of_year > before).unwrap_or(0)
}

/// Julian day of an instant.
pub fn julian_day(instant: Instant) -> f64 {
    instant / 86400.0 + 2440587.5
}

/// Terrestrial time minus universal time, seconds, in a year with decimals.
///
/// Polynomials of F. Espenak and J. Meeus ("Polynomial expressions for Delta T", NASA eclipse pages), fitted for 1986–2005 and predicted for
/// 2005–2050; outside 1986…2050 `None`: say it yourself. An error of 1 s moves the sun by 1.1e-5°; the prediction is about 5 s too
/// high by 2025 (the Earth did not slow as foreseen), which is 6e-5°.
pub fn delta_t_s(year: f64) -> Option<f64> {
    let t = year - 2000.0;
    if (1986.0..2005.0).contains(&year) {
        Some(crate::maths::polynomial(
            t,
            &[63.86, 0.3345, -0.060374, 0.0017275, 0.000651814, 0.00002373599],
        ))
    } else if (2005.0..=2050.0).contains(&year) {
        Some(crate::maths::polynomial(t, &[62.92, 0.32217, 0.005589]))
    } else {
        None
    }
}

/// ΔT where nothing better is known, seconds: the value of 2008 (and, within 4 s, of 2000 to 2026).
pub const USUAL_DELTA_T_S: f64 = 67.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_calendar_goes_both_ways() {
        for days in (-800_000..800_000).step_by(37) {
            let (y, m, d) = civil_from_days(days);
            assert_eq!(days_from_civil(y, m, d), days);
        }
        assert_eq!(days_from_civil(2000, 3, 1), 11017);
        assert_eq!(julian_day(0.0), 2440587.5);
    }

    #[test]
    fn day_numbers() {
        let leap = Civil { year: 2024, month: 12, day: 31, second_of_day: 0 };
        assert_eq!(leap.day_of_year(), 366);
        for (month, day) in [17, 16, 16, 15, 15, 11, 17, 16, 15, 15, 14, 10].into_iter().enumerate()
        {
            let date = Civil { year: 2023, month: month as u8 + 1, day, second_of_day: 0 };
            assert_eq!(date.day_of_year(), REPRESENTATIVE_DAY[month]);
        }
        assert_eq!(month_of_day(31), 0);
        assert_eq!(month_of_day(32), 1);
        assert_eq!(month_of_day(366), 11);
    }

    #[test]
    fn delta_t_is_unknown_outside_its_fit() {
        assert_eq!(delta_t_s(1900.0), None);
        assert!((delta_t_s(2004.0).unwrap() - 64.6).abs() < 0.3);
    }
}
