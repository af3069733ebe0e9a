//! The load profile: what a project takes over from a trace.

use serde::{Deserialize, Serialize};

/// A mean with its standard uncertainty and spread.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Mean over repetitions.
    pub value: f64,
    /// Standard uncertainty of the mean (Type A, s/√n); `None` for a single repetition.
    pub standard_uncertainty: Option<f64>,
    /// Standard deviation of one repetition; `None` for a single one.
    pub standard_deviation: Option<f64>,
    /// Repetitions.
    pub count: u64,
}

impl Estimate {
    /// Of a time told by samples (every `interval_s` seconds): both its edges lie somewhere between two of them, which does not average out over
    /// repetitions that keep step with the sampling. Two rectangular errors of ± half an interval: u² = u_A² + interval²/6 (JCGM 100:2008,
    /// 4.3.7). What has no uncertainty stays without.
    #[must_use]
    pub fn sampled(self, interval_s: f64) -> Self {
        let widened = |u: f64| (u * u + interval_s * interval_s / 6.0).sqrt();
        Self { standard_uncertainty: self.standard_uncertainty.map(widened), ..self }
    }
}

/// One segment of an activity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ActivitySegment {
    /// Named by a rule, or by order.
    pub name: String,
    /// Duration (s).
    pub duration_s: Estimate,
    /// Mean current, floor included (A).
    pub current_a: Estimate,
    /// Highest current (A): what the rail must carry.
    pub peak_a: f64,
    /// How long the peak lasts (s), the longest seen.
    pub peak_s: f64,
    /// Share of the activity's wakes in which it was recognised.
    pub seen_in: f64,
    /// Alternates between two levels.
    pub bursts: bool,
}

/// What one kind of wake does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Activity {
    /// "wake A", "wake B", … in order of frequency.
    pub name: String,
    /// Start to start (s); `None`: seen once.
    pub interval_s: Option<Estimate>,
    /// Charge above the floor (C).
    pub charge_c: Estimate,
    /// In order.
    pub segments: Vec<ActivitySegment>,
}

/// A load measured by a trace.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct LoadProfile {
    /// The sleep current (A); `None` where no floor was found.
    pub sleep_a: Option<Estimate>,
    /// What happens in between.
    pub activities: Vec<Activity>,
}

impl LoadProfile {
    /// Mean current (A): sleep plus each activity's charge above it over its interval. `None` where the floor or an
    /// interval is unknown: unknown is not zero.
    pub fn mean_current_a(&self) -> Option<f64> {
        let mut sum = self.sleep_a?.value;
        for a in &self.activities {
            sum += a.charge_c.value / a.interval_s?.value;
        }
        Some(sum)
    }
}

/// A rule that names phases. A phase gets the first name whose limits hold it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NamingRule {
    /// The name.
    pub name: String,
    /// Mean current at least (A).
    #[serde(default)]
    pub min_a: Option<f64>,
    /// Mean current below (A).
    #[serde(default)]
    pub max_a: Option<f64>,
    /// Duration at least (s).
    #[serde(default)]
    pub min_s: Option<f64>,
    /// Duration below (s).
    #[serde(default)]
    pub max_s: Option<f64>,
}

impl NamingRule {
    /// Does the rule hold this phase?
    pub fn holds(&self, current_a: f64, duration_s: f64) -> bool {
        self.min_a.is_none_or(|x| current_a >= x)
            && self.max_a.is_none_or(|x| current_a < x)
            && self.min_s.is_none_or(|x| duration_s >= x)
            && self.max_s.is_none_or(|x| duration_s < x)
    }
}

/// The first rule's name, or one made of order and level.
pub(crate) fn name_phase(
    rules: &[NamingRule],
    number: usize,
    current_a: f64,
    duration_s: f64,
) -> String {
    rules.iter().find(|r| r.holds(current_a, duration_s)).map_or_else(
        || format!("phase {} at {}", number + 1, ampere_text(current_a)),
        |r| r.name.clone(),
    )
}

/// A current with three digits and a prefix.
pub(crate) fn ampere_text(a: f64) -> String {
    prefixed(a, "A")
}

/// Three significant digits with an SI prefix.
pub(crate) fn prefixed(x: f64, unit: &str) -> String {
    let steps = [(1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p")];
    if x == 0.0 || !x.is_finite() {
        return format!("{x} {unit}");
    }
    let (scale, prefix) =
        steps.iter().copied().find(|(s, _)| x.abs() >= *s).unwrap_or((1e-12, "p"));
    let v = x / scale;
    let digits = if v.abs() >= 99.95 {
        0
    } else if v.abs() >= 9.995 {
        1
    } else {
        2
    };
    format!("{v:.digits$} {prefix}{unit}")
}
