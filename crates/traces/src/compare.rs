//! Two traces side by side: before and after a rework, two firmware builds. Which phase changed, by how much, and is it more than chance?

use crate::analysis::Analysis;
use crate::load::{Activity, Estimate};
use crate::student::welch;
use serde::{Deserialize, Serialize};

/// One figure in both traces.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// In the first trace; of a time, what the sampling hides is not in its uncertainty, but in the difference's.
    pub before: Estimate,
    /// In the second.
    pub after: Estimate,
    /// After less before.
    pub difference: f64,
    /// Standard uncertainty of the difference; `None` where either has none.
    pub standard_uncertainty: Option<f64>,
    /// Two-sided probability of a difference as large by chance (Welch's test); `None` where it cannot be told.
    pub p_value: Option<f64>,
}

impl Change {
    fn of(before: Estimate, after: Estimate) -> Self {
        let errors = before.standard_uncertainty.zip(after.standard_uncertainty);
        let test = errors.and_then(|(a, b)| {
            let freedom = |n: u64| n.saturating_sub(1) as f64;
            welch((before.value, a, freedom(before.count)), (after.value, b, freedom(after.count)))
        });
        Self {
            before,
            after,
            difference: after.value - before.value,
            standard_uncertainty: errors.map(|(a, b)| (a * a + b * b).sqrt()),
            p_value: test.map(|(_, _, p)| p),
        }
    }

    /// Of times: the test and the difference's uncertainty hold what the sampling hides ([`Estimate::sampled`], intervals in seconds).
    fn of_times(before: Estimate, after: Estimate, (before_s, after_s): (f64, f64)) -> Self {
        Self { before, after, ..Self::of(before.sampled(before_s), after.sampled(after_s)) }
    }

    /// More than chance at this level? `None`: too few repetitions to tell.
    pub fn significant(&self, level: f64) -> Option<bool> {
        self.p_value.map(|p| p < level)
    }
}

/// A phase of an activity in both traces.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhaseChange {
    /// The activity's name in the first trace (in the second, where it is new).
    pub activity: String,
    /// The phase's name there.
    pub phase: String,
    /// Duration (s); `None` where the phase is in one trace only.
    pub duration_s: Option<Change>,
    /// Mean current (A).
    pub current_a: Option<Change>,
    /// In the second trace only.
    pub new: bool,
    /// In the first trace only.
    pub gone: bool,
    /// Difference of charge per wake (C), phase by phase.
    pub charge_difference_c: f64,
}

/// Two traces compared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// The sleep floor (A).
    pub sleep_a: Option<Change>,
    /// Charge per wake (C), activity by activity: name before, name after, change.
    pub wake_charge_c: Vec<(String, String, Change)>,
    /// Interval from wake to wake (s), of the same pairs.
    pub interval_s: Vec<(String, String, Change)>,
    /// Phases, the largest change of charge first.
    pub phases: Vec<PhaseChange>,
    /// Mean current of the load (A): sleep plus charge over interval.
    pub mean_before_a: Option<f64>,
    /// After.
    pub mean_after_a: Option<f64>,
    /// What stands in the way of the comparison.
    pub cautions: Vec<String>,
}

/// Compares two analyses. Activities and phases are paired by likeness of charge, level and duration, in order.
pub fn compare(before: &Analysis, after: &Analysis) -> Comparison {
    let (a, b) = (&before.load, &after.load);
    let mut cautions = Vec::new();
    for (which, x) in [("first", before), ("second", after)] {
        if x.floor.is_none() {
            cautions.push(format!("the {which} trace has no sleep floor"));
        }
        if let Some(s) = &x.extent.stopped {
            cautions.push(format!("the {which} trace ends early at row {}: {}", s.row, s.reason));
        }
        for d in x.defects.iter().filter(|d| {
            matches!(
                d.kind,
                crate::DefectKind::Clipping | crate::DefectKind::WrongUnit | crate::DefectKind::Gap
            )
        }) {
            cautions.push(format!("the {which} trace: {}", d.message));
        }
    }
    if before.sampling.interval_s > 2.0 * after.sampling.interval_s
        || after.sampling.interval_s > 2.0 * before.sampling.interval_s
    {
        cautions.push(
            "the traces were sampled at different rates: short phases may be seen in one only"
                .to_owned(),
        );
    }
    let steps_s = (before.sampling.interval_s, after.sampling.interval_s);
    let pairs = pair_activities(&a.activities, &b.activities);
    let mut phases = Vec::new();
    let mut wake_charge_c = Vec::new();
    let mut interval_s = Vec::new();
    for (x, y) in &pairs {
        match (x, y) {
            (Some(x), Some(y)) => {
                wake_charge_c.push((
                    x.name.clone(),
                    y.name.clone(),
                    Change::of(x.charge_c, y.charge_c),
                ));
                if let (Some(p), Some(q)) = (x.interval_s, y.interval_s) {
                    interval_s.push((
                        x.name.clone(),
                        y.name.clone(),
                        Change::of_times(p, q, steps_s),
                    ));
                }
                phases.extend(pair_phases(x, y, steps_s));
            }
            (Some(x), None) => {
                cautions.push(format!("{} of the first trace has no like in the second", x.name));
            }
            (None, Some(y)) => {
                cautions.push(format!("{} of the second trace has no like in the first", y.name));
            }
            (None, None) => {}
        }
    }
    phases.sort_by(|p, q| q.charge_difference_c.abs().total_cmp(&p.charge_difference_c.abs()));
    Comparison {
        sleep_a: a.sleep_a.zip(b.sleep_a).map(|(p, q)| Change::of(p, q)),
        wake_charge_c,
        interval_s,
        phases,
        mean_before_a: a.mean_current_a(),
        mean_after_a: b.mean_current_a(),
        cautions,
    }
}

/// Days gained from a usable charge `capacity_c` by going from one mean current to the other. `None` where either mean is
/// unknown or not positive. Self-discharge and the supply path are the forecast's business, not this figure's.
pub fn days_gained(comparison: &Comparison, capacity_c: f64) -> Option<f64> {
    let (a, b) = (comparison.mean_before_a?, comparison.mean_after_a?);
    (a > 0.0 && b > 0.0).then(|| (capacity_c / b - capacity_c / a) / 86_400.0)
}

fn log(x: f64) -> f64 {
    libm::log10(x.abs().max(1e-15))
}

type Pair<'a> = (Option<&'a Activity>, Option<&'a Activity>);

/// The most alike first, until nothing is within a factor of ten in charge.
fn pair_activities<'a>(a: &'a [Activity], b: &'a [Activity]) -> Vec<Pair<'a>> {
    let mut distances: Vec<(f64, usize, usize)> = Vec::new();
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            let charge = (log(x.charge_c.value) - log(y.charge_c.value)).abs();
            let length = |z: &Activity| {
                z.segments.iter().map(|s| s.duration_s.value * s.seen_in).sum::<f64>()
            };
            let duration = (log(length(x)) - log(length(y))).abs();
            let peak = |z: &Activity| z.segments.iter().map(|s| s.peak_a).fold(0.0, f64::max);
            let peak = (log(peak(x)) - log(peak(y))).abs();
            if charge < 1.0 {
                distances.push((charge + duration + peak, i, j));
            }
        }
    }
    distances.sort_by(|p, q| p.0.total_cmp(&q.0));
    let (mut of_a, mut of_b) = (vec![None; a.len()], vec![false; b.len()]);
    for (_, i, j) in distances {
        if of_a[i].is_none() && !of_b[j] {
            of_a[i] = Some(j);
            of_b[j] = true;
        }
    }
    let mut out: Vec<Pair<'a>> =
        a.iter().zip(of_a).map(|(x, j)| (Some(x), j.map(|j| &b[j]))).collect();
    out.extend(b.iter().zip(of_b).filter(|(_, used)| !used).map(|(y, _)| (None, Some(y))));
    out
}

/// Cost of a phase that stays alone.
const ALONE: f64 = 0.5;

/// Phases in order, by least cost; a pair may differ by a factor of four in level and thirty in duration.
fn pair_phases(a: &Activity, b: &Activity, steps_s: (f64, f64)) -> Vec<PhaseChange> {
    let (n, m) = (a.segments.len(), b.segments.len());
    let cost_of = |i: usize, j: usize| {
        let (x, y) = (&a.segments[i], &b.segments[j]);
        let level = (log(x.current_a.value) - log(y.current_a.value)).abs();
        let duration = (log(x.duration_s.value) - log(y.duration_s.value)).abs();
        (level < 0.6 && duration < 1.5).then_some(level + 0.3 * duration)
    };
    let width = m + 1;
    let mut cost = vec![0.0; (n + 1) * width];
    for i in 0..=n {
        for j in 0..=m {
            if i + j == 0 {
                continue;
            }
            let mut best = f64::INFINITY;
            if i > 0 {
                best = best.min(cost[(i - 1) * width + j] + ALONE);
            }
            if j > 0 {
                best = best.min(cost[i * width + j - 1] + ALONE);
            }
            if i > 0
                && j > 0
                && let Some(c) = cost_of(i - 1, j - 1)
            {
                best = best.min(cost[(i - 1) * width + j - 1] + c);
            }
            cost[i * width + j] = best;
        }
    }
    let mut out = Vec::new();
    let charge =
        |s: &crate::load::ActivitySegment| s.duration_s.value * s.current_a.value * s.seen_in;
    let (mut i, mut j) = (n, m);
    while i > 0 || j > 0 {
        let here = cost[i * width + j];
        if i > 0
            && j > 0
            && let Some(c) = cost_of(i - 1, j - 1)
            && here >= cost[(i - 1) * width + j - 1] + c - 1e-12
        {
            let (x, y) = (&a.segments[i - 1], &b.segments[j - 1]);
            out.push(PhaseChange {
                activity: a.name.clone(),
                phase: x.name.clone(),
                duration_s: Some(Change::of_times(x.duration_s, y.duration_s, steps_s)),
                current_a: Some(Change::of(x.current_a, y.current_a)),
                new: false,
                gone: false,
                charge_difference_c: charge(y) - charge(x),
            });
            i -= 1;
            j -= 1;
        } else if i > 0 && here >= cost[(i - 1) * width + j] + ALONE - 1e-12 {
            let x = &a.segments[i - 1];
            out.push(alone(a, x, true, -charge(x)));
            i -= 1;
        } else {
            let y = &b.segments[j - 1];
            out.push(alone(b, y, false, charge(y)));
            j -= 1;
        }
    }
    out
}

fn alone(
    activity: &Activity,
    s: &crate::load::ActivitySegment,
    gone: bool,
    charge: f64,
) -> PhaseChange {
    PhaseChange {
        activity: activity.name.clone(),
        phase: s.name.clone(),
        duration_s: None,
        current_a: None,
        new: !gone,
        gone,
        charge_difference_c: charge,
    }
}
