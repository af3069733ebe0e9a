//! What a weather file says about the weather of its place beyond its own years: the figures a climate is made from.
//!
//! Probabilities of rare outages cannot come from the few years of a file: 0 dark years of `n` still allow up to `1 − 0.05^(1/n)`. With these
//! figures the synthetic years go on where the file ends.

use super::Resource;
use crate::extraterrestrial::{SOLAR_CONSTANT_W_M2, daily_kwh_m2};
use crate::synthetic::climate::{Season, Temperature};
use overwinter_statistics::special::normal_quantile;

/// Days of a mean month.
const MONTH_DAYS: f64 = 30.4;
/// Fewest days of a month for its days to be ranked.
const LEAST_DAYS: usize = 20;
/// Fewest years of a calendar month for a spread between years.
const LEAST_YEARS: usize = 5;
/// Days whose extraterrestrial light is below this are dark, kWh/m².
const DARK_KWH_M2: f64 = 0.1;

/// The figures of a file's days. `None`: the file does not say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayStatistics {
    /// Whole days found.
    pub days: usize,
    /// Monthly means of the daily irradiation, kWh/m².
    pub irradiation_kwh_m2: [Option<f64>; 12],
    /// Day-to-day correlation of the normal scores of clearness.
    pub day_correlation: Option<f64>,
    /// Coefficient of variation of a month's mean from year to year, beyond what the scatter of its days explains; needs five years.
    pub between_year_cv: Option<f64>,
    /// Temperature about its season.
    pub temperature: Option<Temperature>,
}

struct WholeDay {
    number: i64,
    month: usize,
    year: i32,
    number_in_year: u16,
    light_kwh_m2: f64,
    clearness: Option<f64>,
    air: Option<(f64, f64)>,
}

impl Resource {
    /// The file's days as figures of a climate.
    ///
    /// - Clearness: each day's irradiation over the extraterrestrial; its normal score is `Φ⁻¹((r − ½)/n)` of its rank `r` among the `n` days of its
    ///   month of its year, so that a bright month does not count as persistence.
    /// - Correlations of one day with the next are corrected for the mean that was taken out, `φ = (n·r + 1)/(n − 3)` with `n` the days that
    ///   share it (M. G. Kendall, Biometrika 41, 403-404, 1954; F. H. C. Marriott and J. A. Pope, ibid. 390-402; from memory).
    /// - Between years: the variance of a month's mean less `s²(1 + φ)/((1 − φ)n)`, what days of spread `s` alone would give it.
    /// - Temperature with clearness: least squares of the product of both departures on `a + b·c`, `c` the season's cosine; winter `a + b`, summer
    ///   `a − b`; divided by what the month's mean took out of it, `[1 − (1 + φ/(1−φ) + ψ/(1−ψ))/n]/√(1 − (1+φ)/((1−φ)n))` for two first-order
    ///   autoregressions (0.90 at φ = 0.3, ψ = 0.7, n = 30.4; the first part not below 0.7).
    ///
    /// Ranks of thirty days cost a little: what comes back is up to a tenth low (0.27 of 0.30, 0.46 of 0.50), less than a year's standard error.
    ///
    /// A typical year holds no spread between years. Days with any hour missing are left out.
    pub fn day_statistics(&self, latitude_deg: f64) -> DayStatistics {
        let days = self.days(latitude_deg);
        let means = self.monthly_means();
        let scores = scores(&days);
        let day_correlation = neighbours(&days, &scores, MONTH_DAYS);
        DayStatistics {
            days: days.len(),
            irradiation_kwh_m2: means.map(|m| m.0),
            day_correlation,
            between_year_cv: between_years(&days, day_correlation.unwrap_or(0.0)),
            temperature: temperature(
                &days,
                &scores,
                &means.map(|m| m.1),
                latitude_deg,
                day_correlation.unwrap_or(0.0),
            ),
        }
    }

    fn days(&self, latitude_deg: f64) -> Vec<WholeDay> {
        let per_day = libm::round(86400.0 / self.step_s) as usize;
        let mut days = Vec::new();
        let mut i = 0;
        while i < self.records.len() {
            let civil = self.civil(i);
            let day = libm::floor((self.middle(i) + self.clock_offset_s) / 86400.0);
            let end = (i..self.records.len())
                .find(|&k| libm::floor((self.middle(k) + self.clock_offset_s) / 86400.0) != day)
                .unwrap_or(self.records.len());
            let records = &self.records[i..end];
            i = end;
            if records.len() != per_day {
                continue;
            }
            let Some(light) = records.iter().map(|r| r.global_w_m2).sum::<Option<f64>>() else {
                continue;
            };
            let light_kwh_m2 = light * self.step_s / 3.6e6;
            let number_in_year = civil.day_of_year().min(365);
            let outside = daily_kwh_m2(number_in_year, latitude_deg, SOLAR_CONSTANT_W_M2);
            let air = records.iter().map(|r| r.air_c).sum::<Option<f64>>().map(|sum| {
                let of = || records.iter().filter_map(|r| r.air_c);
                let range =
                    of().fold(f64::NEG_INFINITY, f64::max) - of().fold(f64::INFINITY, f64::min);
                (sum / records.len() as f64, range)
            });
            days.push(WholeDay {
                number: day as i64,
                month: usize::from(civil.month - 1),
                year: civil.year,
                number_in_year,
                light_kwh_m2,
                clearness: (outside > DARK_KWH_M2).then(|| light_kwh_m2 / outside),
                air,
            });
        }
        days
    }
}

/// Normal score of each day's clearness among those of its month of its year.
fn scores(days: &[WholeDay]) -> Vec<Option<f64>> {
    let mut scores = vec![None; days.len()];
    let mut first = 0;
    for month in days.chunk_by(|a, b| (a.year, a.month) == (b.year, b.month)) {
        let mut of: Vec<(f64, usize)> = month
            .iter()
            .enumerate()
            .filter_map(|(i, day)| Some((day.clearness?, first + i)))
            .collect();
        first += month.len();
        if of.len() < LEAST_DAYS {
            continue;
        }
        of.sort_by(|a, b| a.0.total_cmp(&b.0));
        let n = of.len() as f64;
        for (rank, (_, i)) in of.iter().enumerate() {
            scores[*i] = Some(normal_quantile((rank as f64 + 0.5) / n));
        }
    }
    scores
}

/// Pearson's; `None` below thirty pairs or without spread.
fn correlation(pairs: impl Iterator<Item = (f64, f64)>) -> Option<f64> {
    let (mut n, mut x, mut y, mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (a, b) in pairs {
        n += 1.0;
        x += a;
        y += b;
        xx += a * a;
        yy += b * b;
        xy += a * b;
    }
    let (vx, vy) = (xx - x * x / n, yy - y * y / n);
    (n >= 30.0 && vx > 1e-12 && vy > 1e-12)
        .then(|| ((xy - x * y / n) / (vx * vy).sqrt()).clamp(-1.0, 1.0))
}

/// Correlation of days with the next one of their month, corrected for the mean that `sharing` days lost.
fn neighbours(days: &[WholeDay], values: &[Option<f64>], sharing: f64) -> Option<f64> {
    let pairs = (1..days.len()).filter(|&i| {
        days[i].number == days[i - 1].number + 1 && days[i].month == days[i - 1].month
    });
    correlation(pairs.filter_map(|i| Some((values[i - 1]?, values[i]?))))
        .map(|r| ((sharing * r + 1.0) / (sharing - 3.0)).clamp(0.0, 0.95))
}

fn between_years(days: &[WholeDay], day_correlation: f64) -> Option<f64> {
    let (mut sum, mut months) = (0.0, 0.0);
    for month in 0..12 {
        // Years one after the other: sum, sum of squares and count of the month's days in each.
        let mut years: Vec<(i32, f64, f64, f64)> = Vec::new();
        for day in days.iter().filter(|day| day.month == month) {
            if years.last().is_none_or(|y| y.0 != day.year) {
                years.push((day.year, 0.0, 0.0, 0.0));
            }
            if let Some(y) = years.last_mut() {
                y.1 += day.light_kwh_m2;
                y.2 += day.light_kwh_m2 * day.light_kwh_m2;
                y.3 += 1.0;
            }
        }
        years.retain(|y| y.3 >= 25.0);
        let n = years.len() as f64;
        if years.len() < LEAST_YEARS {
            continue;
        }
        let mean = years.iter().map(|y| y.1 / y.3).sum::<f64>() / n;
        if mean < DARK_KWH_M2 {
            continue;
        }
        let variance =
            years.iter().map(|y| (y.1 / y.3 - mean) * (y.1 / y.3 - mean)).sum::<f64>() / (n - 1.0);
        let within = years.iter().map(|y| (y.2 - y.1 * y.1 / y.3) / (y.3 - 1.0)).sum::<f64>() / n;
        let of_days = within * (1.0 + day_correlation) / (1.0 - day_correlation) / MONTH_DAYS;
        sum += (variance - of_days) / (mean * mean);
        months += 1.0;
    }
    (months > 0.0).then(|| (sum / months).max(0.0).sqrt().min(0.4))
}

fn temperature(
    days: &[WholeDay],
    scores: &[Option<f64>],
    means: &[Option<f64>; 12],
    latitude_deg: f64,
    phi: f64,
) -> Option<Temperature> {
    let mut months = [0.0; 12];
    for (month, mean) in months.iter_mut().zip(means) {
        *month = (*mean)?;
    }
    let season = Season::of_monthly_means(months);
    let departures: Vec<Option<f64>> =
        days.iter().map(|day| Some(day.air?.0 - season.mean_c(day.number_in_year))).collect();
    let known: Vec<f64> = departures.iter().flatten().copied().collect();
    let n = known.len() as f64;
    if n < 60.0 {
        return None;
    }
    let spread_k = (known.iter().map(|x| x * x).sum::<f64>() / n).sqrt();
    let daily_range_k = days.iter().filter_map(|day| Some(day.air?.1)).sum::<f64>() / n;
    // Normal equations of the product of both departures on 1 and the season's cosine.
    let coldest = if latitude_deg >= 0.0 { 15.0 } else { 197.0 };
    let (mut n, mut c1, mut cc, mut p1, mut pc, mut squares) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for ((day, score), departure) in days.iter().zip(scores).zip(&departures) {
        let (Some(score), Some(departure)) = (score, departure) else { continue };
        let c =
            libm::cos(core::f64::consts::TAU * (f64::from(day.number_in_year) - coldest) / 365.0);
        let product = score * departure / spread_k.max(1e-9);
        n += 1.0;
        c1 += c;
        cc += c * c;
        p1 += product;
        pc += product * c;
        squares += score * score;
    }
    let determinant = n * cc - c1 * c1;
    let day_correlation = neighbours(days, &departures, days.len() as f64 / 12.0).unwrap_or(0.7);
    let odds = |r: f64| r / (1.0 - r);
    let taken_out = (1.0 - (1.0 + odds(phi) + odds(day_correlation)) / MONTH_DAYS).max(0.7)
        / (1.0 - (1.0 + 2.0 * odds(phi)) / MONTH_DAYS).max(0.1).sqrt();
    let weather_correlation = if n >= 200.0 && determinant > 1.0 {
        let scale = 1.0 / (taken_out * (squares / n).sqrt().max(0.1));
        let slope = (n * pc - c1 * p1) / determinant;
        let level = (p1 - slope * c1) / n;
        [level + slope, level - slope].map(|r| (r * scale).clamp(-1.0, 1.0))
    } else {
        [0.0, 0.0]
    };
    Some(Temperature { season, spread_k, day_correlation, weather_correlation, daily_range_k })
}
