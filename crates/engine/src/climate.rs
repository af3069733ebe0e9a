//! The temperature of cell and board over the year.

/// Days of the twelve months; the engine's year has 365 days.
pub const MONTH_DAYS: [u16; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// Seconds in a day.
pub const DAY_S: f64 = 86_400.0;

/// Seconds in the engine's year of 365 days.
pub const YEAR_S: f64 = 365.0 * DAY_S;

/// Where the board stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Climate {
    /// One temperature for ever.
    Constant {
        /// °C.
        celsius: f64,
    },
    /// Months with a mean and a daily swing, year after year.
    ///
    /// Rates (self-discharge, sleep current, ageing) act with their mean over the daily sinusoid;
    /// rail, cut-off and usable capacity are checked at the coldest hour of the month's mean day.
    Monthly(Monthly),
}

/// A year by months.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Monthly {
    /// Mean temperature of each month, January first, °C.
    pub mean_celsius: [f64; 12],
    /// Amplitude of the daily sinusoid of each month (half of warmest minus coldest hour), K.
    pub daily_amplitude_kelvin: [f64; 12],
    /// Day of the year on which the forecast starts, 0 = 1 January, below 365.
    pub start_day: u16,
}
