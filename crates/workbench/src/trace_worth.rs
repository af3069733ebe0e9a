//! What the difference between two recordings is worth: more than chance, and how many days in a project.
//!
//! Only means of the recordings go in, so a page that holds their summaries answers as the tool does.

use overwinter_documents::types::project::Project;
use overwinter_quantity::Duration;
use overwinter_statistics::special::{normal_cdf, t_cdf};
use serde::{Deserialize, Serialize};

use crate::bench::Bench;
use crate::trace_report::TraceDays;

/// A mean over repetitions.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Mean {
    /// Its value, SI.
    pub value: f64,
    /// Its standard uncertainty; none from a single repetition.
    pub standard_uncertainty: Option<f64>,
    /// Repetitions.
    pub count: u64,
}

/// What a recording says of the load: sleep floor (A) and charge of its most frequent wake (C).
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceMeans {
    /// The sleep floor, A.
    pub floor_a: Option<Mean>,
    /// Charge per wake, C.
    pub charge_c: Option<Mean>,
}

/// The worth of differences.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(deny_unknown_fields)]
pub struct TraceWorthRequest {
    /// Pairs of means, before and after.
    #[serde(default)]
    pub pairs: Vec<(Mean, Mean)>,
    /// The first recording.
    pub before: TraceMeans,
    /// The second.
    pub after: TraceMeans,
    /// A project's name, or the whole text of a project document.
    #[serde(default)]
    pub project: Option<String>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceWorth {
    /// Of each pair: two-sided probability of a difference as large by chance; `None` where it cannot be told.
    pub p_values: Vec<Option<f64>>,
    /// Below this probability a difference counts as more than chance.
    pub level: f64,
    /// Days in the project.
    pub days: Option<TraceDays>,
    /// Why there are no days.
    pub no_days: Option<String>,
}

/// A difference counts as more than chance below this probability. Common practice, no source.
pub const LEVEL: f64 = 0.01;

/// Two-sided probability of a difference of means as large by chance: `t = (x̄₂ − x̄₁)/√(u₁² + u₂²)` with
/// `ν = (u₁² + u₂²)²/(u₁⁴/(n₁−1) + u₂⁴/(n₂−1))`.
///
/// `None` from fewer than two repetitions of either, or without scatter. Source: B. L. Welch, Biometrika 34 (1947) 28–35.
pub fn p_value(before: Mean, after: Mean) -> Option<f64> {
    let freedom = |m: Mean| (m.count > 1).then(|| (m.count - 1) as f64);
    let (a, b) = (before.standard_uncertainty?, after.standard_uncertainty?);
    let (na, nb) = (freedom(before)?, freedom(after)?);
    let (a, b) = (a * a, b * b);
    let variance = a + b;
    if !(variance > 0.0 && variance.is_finite()) {
        return None;
    }
    let degrees = variance * variance / (a * a / na + b * b / nb);
    let t = (after.value - before.value).abs() / variance.sqrt();
    Some(2.0 * t_cdf(-t, degrees))
}

/// Answers a request.
pub(crate) fn worth(
    bench: &Bench,
    request: &TraceWorthRequest,
    project: Option<&Project>,
) -> TraceWorth {
    let days = project.map(|project| days(bench, project, request.before, request.after));
    TraceWorth {
        level: LEVEL,
        p_values: request.pairs.iter().map(|&(a, b)| p_value(a, b)).collect(),
        no_days: days.as_ref().and_then(|d| d.as_ref().err().cloned()),
        days: days.and_then(Result::ok),
    }
}

/// Mean current in the project with its standard uncertainty: floor plus charge over the project's own interval.
fn mean_in_project(
    means: TraceMeans,
    every_s: f64,
    retries: f64,
    which: &str,
) -> Result<(f64, Option<f64>), String> {
    let floor = means
        .floor_a
        .ok_or_else(|| format!("no days: the {which} recording has no sleep floor"))?;
    let charge = means
        .charge_c
        .ok_or_else(|| format!("no days: the {which} recording has no whole wake"))?;
    let u = floor.standard_uncertainty.zip(charge.standard_uncertainty).map(|(f, q)| {
        let q = q * retries / every_s;
        (f * f + q * q).sqrt()
    });
    Ok((floor.value + charge.value * retries / every_s, u))
}

/// Days that a project's cell lasts with either recording's load: whole capacity over mean current, with the first activity's
/// interval and retries.
///
/// # Errors
/// Why there are none, in words.
pub fn days(
    bench: &Bench,
    project: &Project,
    before: TraceMeans,
    after: TraceMeans,
) -> Result<TraceDays, String> {
    let activity = project
        .activities
        .first()
        .ok_or_else(|| format!("no days: project “{}” does nothing", project.name))?;
    let every_s = activity.every.si();
    let retries = activity.retries.as_ref().map_or(1.0, |r| r.si());
    let cell = bench
        .cell(&project.cell)
        .ok_or_else(|| format!("no days: there is no cell “{}”", project.cell))?;
    let capacity_c = cell.capacity.si();
    let (a, ua) = mean_in_project(before, every_s, retries, "first")?;
    let (b, ub) = mean_in_project(after, every_s, retries, "second")?;
    if !(a > 0.0 && b > 0.0 && every_s > 0.0) {
        return Err("no days: a mean current is not above zero".to_owned());
    }
    let days = |mean: f64| capacity_c / mean / overwinter_quantity::DAY_S;
    let u = ua.zip(ub).map(|(ua, ub)| {
        let (ua, ub) = (days(a) * ua / a, days(b) * ub / b);
        (ua * ua + ub * ub).sqrt()
    });
    let gained_days = days(b) - days(a);
    let more = if project.activities.len() > 1 {
        format!("; “{}” alone of {} activities", activity.name, project.activities.len())
    } else {
        String::new()
    };
    Ok(TraceDays {
        project: project.name.clone(),
        cell: project.cell.clone(),
        capacity_c,
        every_s,
        before_days: days(a),
        after_days: days(b),
        gained_days,
        standard_uncertainty_days: u,
        chance_after_outlasts: u.filter(|u| *u > 0.0).map(|u| normal_cdf(gained_days / u)),
        basis: format!(
            "whole capacity over mean current, a wake every {}{more}; without self-discharge, cold and what the supply path leaves unused: `trace load` and `forecast` know those",
            Duration::from_si(every_s).value_text(4)
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Equal scatter and n repetitions of each: ν = 2(n − 1), and a difference of t standard uncertainties is there by chance in
    /// 5 %. Source of t: JCGM 100:2008, table G.2.
    #[test]
    fn welch_against_tabulated_quantiles_of_student() {
        let of = |value, u, count| Mean { value, standard_uncertainty: Some(u), count };
        let u = 0.5_f64.sqrt();
        for (count, t) in [(2, 4.303), (6, 2.228), (9, 2.120), (11, 2.086), (26, 2.009)] {
            let p = p_value(of(10.0, u, count), of(10.0 + t, u, count)).unwrap();
            // The table prints t to 0.0005.
            assert!((p - 0.05).abs() < 6e-5, "{count}: {p}");
        }
        assert!(p_value(of(10.0, 0.5, 1), of(12.0, 0.6, 12)).is_none());
        let single = Mean { value: 1.0, standard_uncertainty: None, count: 1 };
        assert!(p_value(single, of(12.0, 0.6, 12)).is_none());
    }
}
