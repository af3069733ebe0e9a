//! A place's climate and its synthetic days.
//!
//! A day's clearness is `F⁻¹(Φ(z))` with `z` a Gaussian first-order autoregression (V. A. Graham, K. G. T. Hollands and J. F. Huget, Solar
//! Energy 40(2), 83-92, 1988); the day's mean temperature is the season's plus a second autoregression whose
//! innovations are correlated with those of the clearness; every month of every year has its own mean (between-year spread).

use super::clearness::{DailyClearness, FITTED};
use crate::extraterrestrial::{SOLAR_CONSTANT_W_M2, monthly_mean_kwh_m2};
use crate::maths::sincos;
use crate::random::Random;
use crate::time::{DAYS_BEFORE_MONTH, DAYS_IN_MONTH, month_of_day};
use overwinter_statistics::special::normal_cdf;

/// Days of a synthetic year.
pub const DAYS: usize = 365;

/// How the temperature follows the season and the weather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Temperature {
    /// The season.
    pub season: Season,
    /// Standard deviation of the day's mean about the season, K.
    pub spread_k: f64,
    /// Day-to-day correlation of that departure, 0…0.99.
    pub day_correlation: f64,
    /// Correlation of the day's departure with the day's clearness (normal scores) at midwinter and midsummer, −1…1: in a continental
    /// winter clear days are cold (−), in summer warm (+). Interpolated with the season; 0 where nothing is known. Series of different persistence
    /// cannot be correlated fully (0.86 at φ = 0.3 and ψ = 0.7): more than can be is noted and run as far as it goes.
    pub weather_correlation: [f64; 2],
    /// Mean difference of the day's highest and lowest hour on a day of mean clearness, K; it grows in proportion to the clearness.
    pub daily_range_k: f64,
}

/// The season's mean temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Season {
    /// Temperatures at mid-month, °C, joined by straight lines (see [`Season::of_monthly_means`]).
    Monthly([f64; 12]),
    /// `mean − amplitude·cos(2π(day − coldest_day)/365)`.
    Cosine {
        /// Mean of the year, °C.
        mean_c: f64,
        /// Half the difference of summer and winter, K.
        amplitude_k: f64,
        /// Day of the year on which it is coldest.
        coldest_day: f64,
    },
}

impl Season {
    /// The season whose months have these means, °C.
    ///
    /// Straight lines through the means themselves would flatten summer and winter by up to 0.3 K: the values at mid-month are moved until the
    /// mean over the days of every month is the one given (to 1e-9 K).
    pub fn of_monthly_means(means: [f64; 12]) -> Self {
        let mut nodes = means;
        for _ in 0..60 {
            let season = Season::Monthly(nodes);
            for (m, node) in nodes.iter_mut().enumerate() {
                let first = DAYS_BEFORE_MONTH[m] + 1;
                let days = u16::from(DAYS_IN_MONTH[m]);
                let sum: f64 = (first..first + days).map(|day| season.mean_c(day)).sum();
                *node += means[m] - sum / f64::from(days);
            }
        }
        Season::Monthly(nodes)
    }

    /// Mean temperature of a day of the year, °C.
    pub fn mean_c(&self, day_of_year: u16) -> f64 {
        match self {
            Season::Cosine { mean_c, amplitude_k, coldest_day } => {
                let phase = core::f64::consts::TAU * (f64::from(day_of_year) - coldest_day) / 365.0;
                mean_c - amplitude_k * libm::cos(phase)
            }
            Season::Monthly(means) => {
                let day = f64::from(day_of_year) - 0.5;
                let middle =
                    |m: usize| f64::from(DAYS_BEFORE_MONTH[m]) + f64::from(DAYS_IN_MONTH[m]) / 2.0;
                let month = month_of_day(day_of_year);
                let (before, after) = if day < middle(month) {
                    ((month + 11) % 12, month)
                } else {
                    (month, (month + 1) % 12)
                };
                let mut from = middle(before);
                let mut to = middle(after);
                if before == 11 && after == 0 {
                    if day < 31.0 {
                        from -= 365.0;
                    } else {
                        to += 365.0;
                    }
                }
                means[before] + (means[after] - means[before]) * (day - from) / (to - from)
            }
        }
    }
}

/// What is typed in about a place.
#[derive(Debug, Clone, PartialEq)]
pub struct ClimateInput {
    /// Degrees north.
    pub latitude_deg: f64,
    /// Monthly means of the daily horizontal irradiation, January to December, kWh/m². A month nobody knows is `None`.
    pub irradiation_kwh_m2: [Option<f64>; 12],
    /// Day-to-day correlation of the normal scores of clearness: 0.3 is usual (0.15…0.45); try 0.6 for coasts and fog.
    pub day_correlation: f64,
    /// Coefficient of variation of a month's mean from year to year (0.10…0.20 is usual; 0 for none).
    pub between_year_cv: f64,
    /// Temperature.
    pub temperature: Temperature,
}

/// Monthly figures that cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ClimateError {
    /// Latitude.
    #[error("latitude {got} is outside -90 to 90 degrees")]
    Latitude {
        /// The latitude given.
        got: f64,
    },
    /// Months nobody gave a figure for.
    #[error("irradiation is missing for month(s) {}", list(months))]
    MonthsMissing {
        /// 1…12.
        months: Vec<u8>,
    },
    /// More light than outside the atmosphere, or more than the clearest months on Earth.
    #[error(
        "month {month}: {got:.3} kWh/m2 a day is a clearness of {clearness:.2}; outside the atmosphere there are {limit:.3} kWh/m2 (wrong unit, hemisphere or latitude?)"
    )]
    AboveExtraterrestrial {
        /// 1…12.
        month: u8,
        /// The figure given, kWh/m² a day.
        got: f64,
        /// Outside the atmosphere, kWh/m² a day.
        limit: f64,
        /// Their quotient.
        clearness: f64,
    },
    /// Negative or not a number.
    #[error("month {month}: irradiation {got} is not a quantity of light")]
    NotLight {
        /// 1…12.
        month: u8,
        /// The figure given.
        got: f64,
    },
    /// A parameter out of its range.
    #[error("{what} is {got}, outside {low} to {high}")]
    Range {
        /// Which parameter.
        what: &'static str,
        /// Its value.
        got: f64,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
    },
}

fn list(months: &[u8]) -> String {
    months.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

/// What the person should know about the figures typed in.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub enum ClimateNote {
    /// The month's clearness lies outside the range in which the daily distribution was fitted (0.3…0.7).
    OutsideFit {
        /// 1…12.
        month: u8,
        /// The month's clearness.
        clearness: f64,
    },
    /// The sun does not rise in this month (or all but so): its days are dark.
    PolarNight {
        /// 1…12.
        month: u8,
    },
    /// The day-to-day correlation lies outside what has been observed (0.15…0.45); fine as a trial.
    UnusualCorrelation {
        /// The value.
        got: f64,
    },
    /// Temperature and clearness cannot go together as closely as that, each persisting as it does: run at the limit.
    CorrelationOutOfReach {
        /// The value asked for.
        got: f64,
        /// The limit.
        limit: f64,
    },
}

/// A place's climate, checked and ready to make days from.
#[derive(Debug, Clone, PartialEq)]
pub struct Climate {
    input: ClimateInput,
    clearness: [f64; 12],
    distribution: [Option<DailyClearness>; 12],
    notes: Vec<ClimateNote>,
}

/// One synthetic day.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Day {
    /// Clearness index.
    pub clearness: f64,
    /// Mean temperature of the air, °C.
    pub mean_c: f64,
    /// Highest minus lowest hour, K.
    pub range_k: f64,
    /// A uniform draw of the day for whatever else happens (snow).
    pub chance: f64,
}

/// Months whose mean extraterrestrial irradiation is below this are dark, kWh/m² a day.
const DARK_KWH_M2: f64 = 0.02;
/// A year's month departs from the mean by at most this many standard deviations (symmetric, so that the mean stays).
const BETWEEN_YEAR_LIMIT: f64 = 2.5;

impl Climate {
    /// Checks monthly figures and solves the daily distributions.
    ///
    /// # Errors
    /// [`ClimateError`]: every month missing is named at once; light above the extraterrestrial is refused.
    pub fn new(input: ClimateInput) -> Result<Self, ClimateError> {
        if !(-90.0..=90.0).contains(&input.latitude_deg) {
            return Err(ClimateError::Latitude { got: input.latitude_deg });
        }
        let t = &input.temperature;
        for (what, got, low, high) in [
            ("day-to-day correlation of clearness", input.day_correlation, 0.0, 0.99),
            ("between-year spread", input.between_year_cv, 0.0, 0.4),
            ("temperature spread", t.spread_k, 0.0, 30.0),
            ("day-to-day correlation of temperature", t.day_correlation, 0.0, 0.99),
            ("correlation of temperature with clearness", t.weather_correlation[0], -1.0, 1.0),
            ("correlation of temperature with clearness", t.weather_correlation[1], -1.0, 1.0),
            ("daily temperature range", t.daily_range_k, 0.0, 50.0),
        ] {
            if !(low..=high).contains(&got) {
                return Err(ClimateError::Range { what, got, low, high });
            }
        }
        let months: Vec<u8> =
            (1..=12u8).filter(|m| input.irradiation_kwh_m2[usize::from(m - 1)].is_none()).collect();
        if !months.is_empty() {
            return Err(ClimateError::MonthsMissing { months });
        }
        let mut notes = Vec::new();
        let mut clearness = [0.0; 12];
        let mut distribution = [None; 12];
        for m in 0..12 {
            let month = m as u8 + 1;
            let got = input.irradiation_kwh_m2[m].unwrap_or_default();
            if !(got >= 0.0 && got.is_finite()) {
                return Err(ClimateError::NotLight { month, got });
            }
            let limit = monthly_mean_kwh_m2(m, input.latitude_deg, SOLAR_CONSTANT_W_M2);
            if limit < DARK_KWH_M2 {
                // Twilight and rounding may leave a trace; more than that is an error of place or unit.
                if got > limit + 0.05 {
                    return Err(ClimateError::AboveExtraterrestrial {
                        month,
                        got,
                        limit,
                        clearness: got / limit,
                    });
                }
                notes.push(ClimateNote::PolarNight { month });
                continue;
            }
            let mean = got / limit;
            if mean > 0.80 {
                return Err(ClimateError::AboveExtraterrestrial {
                    month,
                    got,
                    limit,
                    clearness: mean,
                });
            }
            if !FITTED.contains(&mean) {
                notes.push(ClimateNote::OutsideFit { month, clearness: mean });
            }
            clearness[m] = mean;
            distribution[m] = DailyClearness::new(mean);
        }
        if !(0.15..=0.45).contains(&input.day_correlation) {
            notes.push(ClimateNote::UnusualCorrelation { got: input.day_correlation });
        }
        let limit = 1.0 / innovation_factor(input.day_correlation, t.day_correlation);
        for got in t.weather_correlation {
            if got.abs() > limit {
                notes.push(ClimateNote::CorrelationOutOfReach { got, limit });
            }
        }
        Ok(Self { input, clearness, distribution, notes })
    }

    /// What was typed in.
    pub fn input(&self) -> &ClimateInput {
        &self.input
    }

    /// Mean clearness of each month (0 in the polar night).
    pub fn clearness(&self) -> &[f64; 12] {
        &self.clearness
    }

    /// What the person should know.
    pub fn notes(&self) -> &[ClimateNote] {
        &self.notes
    }

    /// The 365 days of one synthetic year that starts on `first_day` (1…365) and runs on into the next calendar year.
    ///
    /// `days[i]` belongs to day of year `(first_day − 1 + i) mod 365 + 1`. The same `(seed, year)` gives the same days.
    pub fn year(&self, seed: u64, year: u64, first_day: u16) -> Vec<Day> {
        let mut random = Random::new(seed, year);
        let phi = self.input.day_correlation;
        let phi_rest = (1.0 - phi * phi).sqrt();
        let t = &self.input.temperature;
        let psi = t.day_correlation;
        let psi_rest = (1.0 - psi * psi).sqrt();
        let of_innovations = innovation_factor(phi, psi);
        let cv = self.input.between_year_cv;
        // One draw for each month of the run: the run touches thirteen calendar months, the first and the last half.
        let months: Vec<Option<DailyClearness>> = (0..13)
            .map(|k| {
                let m = (month_of_day(first_day) + k) % 12;
                let normal = random.normal();
                if cv <= 0.0 {
                    return self.distribution[m];
                }
                let factor = 1.0 + cv * normal.clamp(-BETWEEN_YEAR_LIMIT, BETWEEN_YEAR_LIMIT);
                let mean = self.clearness[m] * factor;
                DailyClearness::new(mean.clamp(0.01, 0.80))
                    .filter(|_| self.distribution[m].is_some())
            })
            .collect();
        let mut z = random.normal();
        let mut w = random.normal();
        let first_month = month_of_day(first_day);
        (0..DAYS)
            .map(|i| {
                let day = ((usize::from(first_day) - 1 + i) % DAYS) as u16 + 1;
                let month = month_of_day(day);
                let epsilon = random.normal();
                let other = random.normal();
                let chance = random.uniform();
                if i > 0 {
                    z = phi * z + phi_rest * epsilon;
                    let rho = (self.weather_correlation(day) * of_innovations).clamp(-1.0, 1.0);
                    w = psi * w + psi_rest * (rho * epsilon + (1.0 - rho * rho).sqrt() * other);
                }
                let mut k = (month + 12 - first_month) % 12;
                if k == 0 && i > 180 {
                    k = 12;
                }
                let clearness = months[k].map_or(0.0, |d| d.quantile(normal_cdf(z)));
                let mean = self.clearness[month];
                Day {
                    clearness,
                    mean_c: t.season.mean_c(day) + t.spread_k * w,
                    range_k: if mean > 0.0 { t.daily_range_k * clearness / mean } else { 0.0 },
                    chance,
                }
            })
            .collect()
    }

    /// Correlation between winter's and summer's, by the season of the hemisphere.
    fn weather_correlation(&self, day: u16) -> f64 {
        let [winter, summer] = self.input.temperature.weather_correlation;
        if winter == 0.0 && summer == 0.0 {
            return 0.0;
        }
        let coldest = if self.input.latitude_deg >= 0.0 { 15.0 } else { 197.0 };
        let (_, c) = sincos(core::f64::consts::TAU * (f64::from(day) - coldest) / 365.0);
        0.5 * (winter + summer) + 0.5 * (winter - summer) * c
    }
}

/// What the innovations of two first-order autoregressions must be correlated by, over what the series are: `(1 − φψ)/√((1 − φ²)(1 − ψ²))`.
fn innovation_factor(phi: f64, psi: f64) -> f64 {
    (1.0 - phi * psi) / ((1.0 - phi * phi) * (1.0 - psi * psi)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_have_the_means_that_were_typed_in() {
        let means = [-5.0, -3.0, 2.0, 7.0, 12.0, 17.0, 21.0, 19.0, 14.0, 8.0, 2.0, -3.0];
        let season = Season::of_monthly_means(means);
        for (m, mean) in means.iter().enumerate() {
            let days =
                DAYS_BEFORE_MONTH[m] + 1..=DAYS_BEFORE_MONTH[m] + u16::from(DAYS_IN_MONTH[m]);
            let sum: f64 = days.map(|day| season.mean_c(day)).sum();
            assert!((sum / f64::from(DAYS_IN_MONTH[m]) - mean).abs() < 1e-9, "month {}", m + 1);
        }
        assert_eq!(Season::of_monthly_means([4.0; 12]), Season::Monthly([4.0; 12]));
    }
}
