//! Sums, means, spreads, quantiles and one-way analysis of variance.

/// Compensated sum (Neumaier 1974, ZAMM 54:39–51): error of about one rounding, however many terms.
#[derive(Clone, Copy, Debug, Default)]
pub struct CompensatedSum {
    sum: f64,
    rest: f64,
}

impl CompensatedSum {
    /// An empty sum.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a term.
    pub fn add(&mut self, term: f64) {
        let total = self.sum + term;
        self.rest += if self.sum.abs() >= term.abs() {
            (self.sum - total) + term
        } else {
            (term - total) + self.sum
        };
        self.sum = total;
    }

    /// The sum so far.
    pub fn total(&self) -> f64 {
        self.sum + self.rest
    }
}

/// Compensated sum of an iterator.
pub fn compensated_sum(terms: impl IntoIterator<Item = f64>) -> f64 {
    let mut sum = CompensatedSum::new();
    terms.into_iter().for_each(|t| sum.add(t));
    sum.total()
}

/// Mean and spread of a sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summary {
    /// Number of values.
    pub n: usize,
    /// Mean.
    pub mean: f64,
    /// Sample standard deviation (n − 1); `None` for one value: a spread that does not exist.
    pub standard_deviation: Option<f64>,
    /// Lag-1 autocorrelation `Σ(xᵢ−m)(xᵢ₊₁−m)/Σ(xᵢ−m)²`; `None` without spread.
    pub lag_1_autocorrelation: Option<f64>,
}

impl Summary {
    /// Standard uncertainty of the mean, `s/√n`.
    pub fn standard_error(&self) -> Option<f64> {
        self.standard_deviation.map(|s| s / (self.n as f64).sqrt())
    }
}

/// Summarises a sample by two passes with compensated sums and the correction of the mean's rounding
/// (Chan, Golub & LeVeque 1983, American Statistician 37:242–247). `None` for an empty sample.
///
/// The one-pass formula `Σx² − n·m²` loses all digits once mean/sd passes 10⁸; this one keeps what
/// the data themselves keep.
pub fn summary(values: &[f64]) -> Option<Summary> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let count = n as f64;
    let rough = compensated_sum(values.iter().copied()) / count;
    // The rounding of the mean itself is removed from the deviations.
    let correction = compensated_sum(values.iter().map(|v| v - rough)) / count;
    let mean = rough + correction;
    let deviation = |v: f64| (v - rough) - correction;
    let squares = compensated_sum(values.iter().map(|v| deviation(*v) * deviation(*v)));
    let standard_deviation = (n > 1).then(|| (squares / (count - 1.0)).sqrt());
    let lag_1_autocorrelation = (squares > 0.0).then(|| {
        compensated_sum(values.windows(2).map(|w| deviation(w[0]) * deviation(w[1]))) / squares
    });
    Some(Summary { n, mean, standard_deviation, lag_1_autocorrelation })
}

/// Quantile by linear interpolation of the order statistics (type 7 of Hyndman & Fan 1996).
///
/// `sorted` must rise. `None` for an empty sample or `p` outside 0 to 1.
pub fn quantile_type7(sorted: &[f64], p: f64) -> Option<f64> {
    if sorted.is_empty() || !(0.0..=1.0).contains(&p) {
        return None;
    }
    let h = p * (sorted.len() - 1) as f64;
    let i = (h as usize).min(sorted.len() - 1);
    let low = sorted[i];
    let high = sorted[(i + 1).min(sorted.len() - 1)];
    Some(low + (h - i as f64) * (high - low))
}

/// Covariance of two samples of equal length (n − 1); `None` for fewer than two pairs or lengths that differ.
pub fn covariance(x: &[f64], y: &[f64]) -> Option<f64> {
    if x.len() != y.len() || x.len() < 2 {
        return None;
    }
    let (mx, my) = (summary(x)?.mean, summary(y)?.mean);
    let sum = compensated_sum(x.iter().zip(y).map(|(a, b)| (a - mx) * (b - my)));
    Some(sum / (x.len() - 1) as f64)
}

/// A group of repeats, summarised: one day's readings, one specimen's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Group {
    /// Number of readings, at least 2.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation.
    pub standard_deviation: f64,
}

/// One-way analysis of variance of groups (balanced or not).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anova {
    /// Mean of all readings.
    pub grand_mean: f64,
    /// Mean square between groups.
    pub between_mean_square: f64,
    /// Mean square within groups.
    pub within_mean_square: f64,
    /// Degrees of freedom between groups, `J − 1`.
    pub between_degrees_of_freedom: f64,
    /// Degrees of freedom within groups, `Σ(nⱼ − 1)`.
    pub within_degrees_of_freedom: f64,
    /// `F`, between over within.
    pub f: f64,
    /// Probability of such an `F` or a larger one if the groups do not differ.
    pub p_value: f64,
    /// Standard deviation of the groups' own effect, `√((s_b² − s_w²)/n₀)`; zero when `F < 1`.
    pub between_standard_deviation: f64,
    /// Standard uncertainty of the grand mean when the groups' effect is accepted.
    pub u_between: f64,
    /// Standard uncertainty of the grand mean when it is not (all readings pooled).
    pub u_pooled: f64,
}

/// One-way analysis of variance (JCGM 100:2008, H.5). `None` for fewer than two groups, a group of
/// fewer than two readings, or no spread within at all.
pub fn anova(groups: &[Group]) -> Option<Anova> {
    if groups.len() < 2 || groups.iter().any(|g| g.n < 2) {
        return None;
    }
    let j = groups.len() as f64;
    let total: f64 = groups.iter().map(|g| g.n as f64).sum();
    let grand_mean = compensated_sum(groups.iter().map(|g| g.n as f64 * g.mean)) / total;
    let between = compensated_sum(groups.iter().map(|g| {
        let d = g.mean - grand_mean;
        g.n as f64 * d * d
    }));
    let within = compensated_sum(
        groups.iter().map(|g| (g.n - 1) as f64 * g.standard_deviation * g.standard_deviation),
    );
    let (between_dof, within_dof) = (j - 1.0, total - j);
    let (between_ms, within_ms) = (between / between_dof, within / within_dof);
    if within_ms.is_nan() || within_ms <= 0.0 {
        return None;
    }
    let squares: f64 = groups.iter().map(|g| (g.n * g.n) as f64).sum();
    let effective_n = (total - squares / total) / between_dof;
    let f = between_ms / within_ms;
    Some(Anova {
        grand_mean,
        between_mean_square: between_ms,
        within_mean_square: within_ms,
        between_degrees_of_freedom: between_dof,
        within_degrees_of_freedom: within_dof,
        f,
        p_value: 1.0 - crate::special::f_cdf(f, between_dof, within_dof),
        between_standard_deviation: ((between_ms - within_ms) / effective_n).max(0.0).sqrt(),
        u_between: (between_ms / total).sqrt(),
        u_pooled: ((between + within) / (total - 1.0) / total).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_value_has_no_spread() {
        let s = summary(&[3.0]).unwrap();
        assert_eq!((s.mean, s.standard_deviation), (3.0, None));
        assert_eq!(summary(&[]), None);
        assert_eq!(summary(&[2.0, 2.0]).unwrap().lag_1_autocorrelation, None);
    }

    #[test]
    fn type_7_quantiles() {
        // R: quantile(c(1, 2, 4, 8), c(.1, .5, .9)) gives 1.3 3.0 6.8 (definition, by hand).
        let x = [1.0, 2.0, 4.0, 8.0];
        for (p, q) in [(0.0, 1.0), (0.1, 1.3), (0.5, 3.0), (0.9, 6.8), (1.0, 8.0)] {
            assert!((quantile_type7(&x, p).unwrap() - q).abs() < 1e-12);
        }
        assert_eq!(quantile_type7(&x, 1.1), None);
    }

    #[test]
    fn compensated_sum_keeps_small_terms() {
        assert_eq!(compensated_sum([1e16, 1.0, -1e16, 1.0]), 2.0);
    }
}
