//! Many years together: chances with their intervals, the worst, the fan.

use super::for_each_year;
use super::map::{Years, hourly_year};
use super::node::Node;
use super::result::{Ledger, MonthFlow, YearResult};
use super::step::{Detail, Weather, run};
use crate::interval::{Share, share_with_interval};

/// Quantiles of the state of charge on one day of the run, over the years.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct FanDay {
    /// Day of the year, 1…365.
    pub day_of_year: u16,
    /// Lowest of all years.
    pub lowest: f32,
    /// 5 % of the years lie below.
    pub p05: f32,
    /// 10 %.
    pub p10: f32,
    /// 25 %.
    pub p25: f32,
    /// Median.
    pub p50: f32,
    /// 75 %.
    pub p75: f32,
    /// 90 %.
    pub p90: f32,
    /// 95 %.
    pub p95: f32,
}

/// What years of balance say about a node.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Summary {
    /// Years run.
    pub years: u32,
    /// Share of years with any outage, with its interval.
    pub years_with_outage: Share,
    /// Outage days in a mean year.
    pub outage_days_per_year: f64,
    /// Standard error of that mean; `None` for one year.
    pub outage_days_standard_error: Option<f64>,
    /// Share of days with an outage.
    pub share_of_days_out: f64,
    /// Outage days in a mean year, January to December.
    pub outage_days_by_month: [f64; 12],
    /// Month (1…12) with the most outage days; `None` if there is none.
    pub worst_month: Option<u8>,
    /// Longest dark stretch of all years, h.
    pub longest_dark_h: f64,
    /// Lowest state of charge of all years.
    pub lowest_state: f64,
    /// Days from full to dark without sun, at 0 °C.
    pub autonomy_days_at_0_c: f64,
    /// Share of the time with the cell full.
    pub share_full: f64,
    /// Hours a year with the cell full (calendar ageing runs fastest there).
    pub full_hours_per_year: f64,
    /// Of those, above 30 °C.
    pub hot_full_hours_per_year: f64,
    /// Hours a year in which charge went into a cell outside its maker's window.
    pub frost_charge_hours_per_year: f64,
    /// Times a year the input went away (hourly weather: a lower bound, no clouds within the hour).
    pub inputs_lost_per_year: f64,
    /// Of those, in chatter.
    pub chatter_events_per_year: f64,
    /// Resets a year: for certain.
    pub resets_per_year_least: f64,
    /// Resets a year: at most (differs where ride-through is unknown).
    pub resets_per_year_most: f64,
    /// Charges a year that the safety timer ended.
    pub timer_ends_per_year: f64,
    /// Hours a year at temperatures outside the tables.
    pub outside_table_hours_per_year: f64,
    /// All years' ledger together.
    pub ledger: Ledger,
    /// All years' flows of each month together, January to December.
    pub months: [MonthFlow; 12],
    /// State of charge over the year (empty unless the days were kept).
    pub fan: Vec<FanDay>,
}

/// Puts years together. `None` without years.
pub fn summarise(node: &Node<'_>, first_day: u16, years: &[YearResult]) -> Option<Summary> {
    let n = years.len() as u32;
    let with_outage = years.iter().filter(|y| y.outage_days > 0).count() as u32;
    let years_with_outage = share_with_interval(with_outage, n)?;
    let count = f64::from(n);
    let sum = |f: &dyn Fn(&YearResult) -> f64| years.iter().map(f).sum::<f64>();
    let mean = |f: &dyn Fn(&YearResult) -> f64| sum(f) / count;
    let outage_days_per_year = mean(&|y| f64::from(y.outage_days));
    let variance = sum(&|y| {
        let d = f64::from(y.outage_days) - outage_days_per_year;
        d * d
    });
    let hours = sum(&|y| y.hours);
    let by_month: [f64; 12] =
        core::array::from_fn(|m| mean(&|y| f64::from(y.outage_days_by_month[m])));
    let worst =
        (0..12).max_by(|&a, &b| by_month[a].total_cmp(&by_month[b])).filter(|&m| by_month[m] > 0.0);
    let mut ledger = Ledger::default();
    for year in years {
        ledger.add(&year.ledger);
    }
    Some(Summary {
        years: n,
        years_with_outage,
        outage_days_per_year,
        outage_days_standard_error: (n > 1).then(|| (variance / (count - 1.0) / count).sqrt()),
        share_of_days_out: sum(&|y| f64::from(y.outage_days)) / (hours / 24.0),
        outage_days_by_month: by_month,
        worst_month: worst.map(|m| m as u8 + 1),
        longest_dark_h: years.iter().map(|y| y.longest_dark_h).fold(0.0, f64::max),
        lowest_state: years.iter().map(|y| y.lowest_state).fold(1.0, f64::min),
        autonomy_days_at_0_c: node.tables.autonomy_days(0.0),
        share_full: sum(&|y| y.full_h) / hours,
        full_hours_per_year: mean(&|y| y.full_h),
        hot_full_hours_per_year: mean(&|y| y.hot_full_h),
        frost_charge_hours_per_year: mean(&|y| y.frost_charge_h),
        inputs_lost_per_year: mean(&|y| y.inputs_lost),
        chatter_events_per_year: mean(&|y| y.chatter_events),
        resets_per_year_least: mean(&|y| y.resets_least),
        resets_per_year_most: mean(&|y| y.resets_most),
        timer_ends_per_year: mean(&|y| f64::from(y.timer_ends)),
        outside_table_hours_per_year: mean(&|y| y.outside_table_h),
        ledger,
        months: core::array::from_fn(|m| {
            let mut flow = MonthFlow::default();
            for year in years {
                flow.add(&year.by_month[m]);
            }
            flow
        }),
        fan: fan(first_day, 1, &years.iter().map(|y| y.daily_state.as_slice()).collect::<Vec<_>>()),
    })
}

/// Runs a node through synthetic years, hour by hour, and puts them together. Every year starts on `years.first_day` with the node's start state.
///
/// Years are independent draws, so the interval on the share of years holds. `None` without years.
pub fn simulate(node: &Node<'_>, years: &Years<'_>) -> Option<Summary> {
    let results = for_each_year(years.years, |index| {
        let year = years.first_year + index;
        let weather = hourly_year(years.climate, years.geometry, years.seed, year, years.first_day);
        let steps = Weather {
            step_s: 3600.0,
            first_day: years.first_day,
            irradiance_w_m2: &weather.irradiance_w_m2,
            air_c: &weather.air_c,
            thermal: None,
        };
        run(node, &steps, Detail::Full)
    });
    summarise(node, years.first_day, &results)
}

/// Quantile by linear interpolation between order statistics (type 7 of R. J. Hyndman and Y. Fan, The American Statistician 50(4), 1996).
fn quantile(sorted: &[f32], p: f64) -> f32 {
    let at = p * (sorted.len() - 1) as f64;
    let k = at as usize;
    let next = sorted[(k + 1).min(sorted.len() - 1)];
    sorted[k] + (next - sorted[k]) * (at - k as f64) as f32
}

/// The fan of many years' states of charge, each at the end of every `every_days`-th day of a run that starts on `first_day`.
pub fn fan(first_day: u16, every_days: u16, years: &[&[f32]]) -> Vec<FanDay> {
    let days = years.iter().map(|states| states.len()).min().unwrap_or(0);
    let mut column = Vec::with_capacity(years.len());
    (0..days)
        .map(|i| {
            column.clear();
            column.extend(years.iter().map(|states| states[i].max(0.0)));
            column.sort_by(f32::total_cmp);
            FanDay {
                day_of_year: ((usize::from(first_day) - 1 + i * usize::from(every_days)) % 365)
                    as u16
                    + 1,
                lowest: column[0],
                p05: quantile(&column, 0.05),
                p10: quantile(&column, 0.10),
                p25: quantile(&column, 0.25),
                p50: quantile(&column, 0.50),
                p75: quantile(&column, 0.75),
                p90: quantile(&column, 0.90),
                p95: quantile(&column, 0.95),
            }
        })
        .collect()
}

/// The trade's rule of thumb, to be shown *beside* a simulation and named as such.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct RuleOfThumb {
    /// Mean harvest over mean load in the worst month (common practice asks for 1.5…2).
    pub worst_month_ratio: f64,
    /// That month, 1…12.
    pub worst_month: u8,
    /// Days from full to dark without sun (common practice asks for 7…10 at middle latitudes, 15…20 in a gorge or far north).
    pub autonomy_days: f64,
    /// Does the ratio meet 1.5?
    pub ratio_ok: bool,
    /// Does the autonomy meet 7 days (15 with a skyline or beyond 55° latitude)?
    pub autonomy_ok: bool,
}

/// Rule of thumb: charge a day ≈ panel current × kWh/m² (1 kWh/m² = an hour of full sun), capped by nothing.
///
/// Common practice, no source. `hard_place`: gorge, forest or beyond 55° latitude.
pub fn rule_of_thumb(
    panel_current_a: f64,
    on_plane_kwh_m2: &[f64; 12],
    load_a: f64,
    autonomy_days: f64,
    hard_place: bool,
) -> RuleOfThumb {
    let worst =
        (0..12).min_by(|&a, &b| on_plane_kwh_m2[a].total_cmp(&on_plane_kwh_m2[b])).unwrap_or(0);
    let worst_month_ratio = panel_current_a * on_plane_kwh_m2[worst] / (load_a * 24.0);
    RuleOfThumb {
        worst_month_ratio,
        worst_month: worst as u8 + 1,
        autonomy_days,
        ratio_ok: worst_month_ratio >= 1.5,
        autonomy_ok: autonomy_days >= if hard_place { 15.0 } else { 7.0 },
    }
}
