//! Least squares: linear by Householder QR, weighted, and small nonlinear fits.

use crate::special::t_quantile;

/// Why a fit failed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// Rows, weights and observations do not have the same length, or a row the wrong width.
    #[error("rows, observations and weights must fit: {rows} rows, {observations} observations")]
    Shape {
        /// Number of rows.
        rows: usize,
        /// Number of observations.
        observations: usize,
    },
    /// Fewer observations than parameters.
    #[error("{parameters} parameters need at least as many observations, got {observations}")]
    TooFew {
        /// Number of parameters.
        parameters: usize,
        /// Number of observations.
        observations: usize,
    },
    /// A column depends on the others within rounding: the data cannot tell these parameters apart.
    #[error("parameter {parameter} cannot be told apart from the others by these data")]
    Singular {
        /// Index of the parameter.
        parameter: usize,
    },
    /// A number is not finite, or a standard uncertainty is not positive.
    #[error("input must be finite, with positive standard uncertainties")]
    NotFinite,
    /// The iteration did not settle.
    #[error("no minimum found in {iterations} iterations")]
    NoConvergence {
        /// Iterations done.
        iterations: usize,
    },
}

/// A least-squares fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Estimates.
    pub parameters: Vec<f64>,
    /// `(XᵀWX)⁻¹` for known standard uncertainties, times the residual variance otherwise.
    pub covariance: Vec<Vec<f64>>,
    /// Residuals, observed minus fitted, in the unit of the observations.
    pub residuals: Vec<f64>,
    /// Sum of (weighted) squared residuals; χ² when the standard uncertainties are known.
    pub residual_sum_of_squares: f64,
    /// Observations minus parameters.
    pub degrees_of_freedom: usize,
    /// True when `covariance` rests on given standard uncertainties, not on the residuals.
    pub uncertainties_known: bool,
}

impl Fit {
    /// Standard uncertainty of a parameter.
    pub fn standard_uncertainty(&self, parameter: usize) -> f64 {
        self.covariance[parameter][parameter].sqrt()
    }

    /// Correlation between two parameters.
    pub fn correlation(&self, a: usize, b: usize) -> f64 {
        self.covariance[a][b] / (self.standard_uncertainty(a) * self.standard_uncertainty(b))
    }

    /// Residual standard deviation; `None` without degrees of freedom.
    pub fn residual_standard_deviation(&self) -> Option<f64> {
        (self.degrees_of_freedom > 0)
            .then(|| (self.residual_sum_of_squares / self.degrees_of_freedom as f64).sqrt())
    }

    /// The linear model at a `row`: value and standard uncertainty of the fitted line.
    pub fn predict(&self, row: &[f64]) -> (f64, f64) {
        let value = row.iter().zip(&self.parameters).map(|(a, b)| a * b).sum();
        let mut variance = 0.0;
        for (i, a) in row.iter().enumerate() {
            for (j, b) in row.iter().enumerate() {
                variance += a * b * self.covariance[i][j];
            }
        }
        (value, variance.sqrt())
    }

    /// Half-width of the confidence interval of a parameter (Student t at the residual degrees of
    /// freedom, normal when the uncertainties are known).
    pub fn half_width(&self, parameter: usize, probability: f64) -> f64 {
        let dof =
            if self.uncertainties_known { f64::INFINITY } else { self.degrees_of_freedom as f64 };
        t_quantile(0.5 * (1.0 + probability), dof) * self.standard_uncertainty(parameter)
    }

    /// Akaike's criterion for comparing models of the same observations; smaller is better.
    ///
    /// Known standard uncertainties: `χ² + 2k` (exact for linear models, no small-sample correction
    /// is due). Otherwise `n·ln(RSS/n) + 2k + 2k(k+1)/(n−k−1)` with `k` counting the variance too
    /// (Hurvich & Tsai 1989, Biometrika 76:297–307); `None` where that has no meaning (`n ≤ k + 1`).
    pub fn akaike(&self) -> Option<f64> {
        let n = self.residuals.len() as f64;
        let k = self.parameters.len() as f64;
        if self.uncertainties_known {
            return Some(self.residual_sum_of_squares + 2.0 * k);
        }
        let k = k + 1.0;
        (n - k - 1.0 > 0.0).then(|| {
            n * libm::log(self.residual_sum_of_squares / n)
                + 2.0 * k
                + 2.0 * k * (k + 1.0) / (n - k - 1.0)
        })
    }
}

/// Column below this share of its own length after orthogonalisation counts as dependent. Filip's
/// polynomial of degree 10, the hardest of the NIST linear sets, needs 1e-14 to pass.
const DEPENDENT: f64 = 1e-14;

/// Ordinary linear least squares of `observations` on `rows` (one row of the design per observation).
///
/// Columns are scaled to unit length, then reduced by Householder reflections; the normal equations
/// are never formed. The estimates are refined once with the residuals. Digits reached on the NIST
/// sets are in `tests/outside_nist.rs`.
///
/// # Errors
/// Shapes that do not fit, too few observations, numbers that are not finite, dependent columns.
///
/// Source: Golub 1965, Numerische Mathematik 7:206–216.
pub fn linear_fit(rows: &[Vec<f64>], observations: &[f64]) -> Result<Fit, FitError> {
    least_squares(rows, observations, None)
}

/// Weighted linear least squares with known `standard_uncertainties` of the observations.
///
/// # Errors
/// As [`linear_fit`].
pub fn weighted_fit(
    rows: &[Vec<f64>],
    observations: &[f64],
    standard_uncertainties: &[f64],
) -> Result<Fit, FitError> {
    least_squares(rows, observations, Some(standard_uncertainties))
}

fn least_squares(
    rows: &[Vec<f64>],
    observations: &[f64],
    standard_uncertainties: Option<&[f64]>,
) -> Result<Fit, FitError> {
    let n = rows.len();
    let p = rows.first().map_or(0, Vec::len);
    let shape = FitError::Shape { rows: n, observations: observations.len() };
    if n != observations.len() || rows.iter().any(|r| r.len() != p) {
        return Err(shape);
    }
    if standard_uncertainties.is_some_and(|u| u.len() != n) {
        return Err(shape);
    }
    if p == 0 || n < p {
        return Err(FitError::TooFew { parameters: p, observations: n });
    }
    let weight = |i: usize| standard_uncertainties.map_or(1.0, |u| 1.0 / u[i]);
    let finite = rows.iter().flatten().chain(observations).all(|v| v.is_finite());
    if !finite || (0..n).any(|i| !(weight(i).is_finite() && weight(i) > 0.0)) {
        return Err(FitError::NotFinite);
    }
    // Column-major, weighted, each column scaled to unit length.
    let mut columns: Vec<Vec<f64>> =
        (0..p).map(|j| (0..n).map(|i| rows[i][j] * weight(i)).collect()).collect();
    let scales: Vec<f64> = columns.iter().map(|c| norm(c)).collect();
    for (j, column) in columns.iter_mut().enumerate() {
        if scales[j] == 0.0 {
            return Err(FitError::Singular { parameter: j });
        }
        for v in column.iter_mut() {
            *v /= scales[j];
        }
    }
    let qr = Qr::new(columns)?;
    let mut parameters = qr.solve((0..n).map(|i| observations[i] * weight(i)).collect());
    let residual = |parameters: &[f64], i: usize| {
        let mut sum = crate::univariate::CompensatedSum::new();
        sum.add(observations[i]);
        for j in 0..p {
            sum.add(-rows[i][j] * (parameters[j] / scales[j]));
        }
        sum.total()
    };
    let correction = qr.solve((0..n).map(|i| residual(&parameters, i) * weight(i)).collect());
    for (b, c) in parameters.iter_mut().zip(correction) {
        *b += c;
    }
    let residuals: Vec<f64> = (0..n).map(|i| residual(&parameters, i)).collect();
    let residual_sum_of_squares =
        residuals.iter().enumerate().map(|(i, r)| (r * weight(i)) * (r * weight(i))).sum::<f64>();
    let degrees_of_freedom = n - p;
    let uncertainties_known = standard_uncertainties.is_some();
    let factor = if uncertainties_known {
        1.0
    } else if degrees_of_freedom > 0 {
        residual_sum_of_squares / degrees_of_freedom as f64
    } else {
        f64::INFINITY
    };
    let mut covariance = qr.inverse_gram();
    for (j, row) in covariance.iter_mut().enumerate() {
        for (k, value) in row.iter_mut().enumerate() {
            *value *= factor / (scales[j] * scales[k]);
        }
    }
    for (b, s) in parameters.iter_mut().zip(&scales) {
        *b /= s;
    }
    Ok(Fit {
        parameters,
        covariance,
        residuals,
        residual_sum_of_squares,
        degrees_of_freedom,
        uncertainties_known,
    })
}

fn norm(v: &[f64]) -> f64 {
    v.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// Householder factors of a tall matrix.
struct Qr {
    /// Reflection vectors, one per column, of length n − j.
    reflections: Vec<Vec<f64>>,
    /// Upper triangle by column: `r[j][i]` is `R[i][j]`, i ≤ j.
    r: Vec<Vec<f64>>,
}

impl Qr {
    fn new(mut columns: Vec<Vec<f64>>) -> Result<Self, FitError> {
        let p = columns.len();
        let mut reflections: Vec<Vec<f64>> = Vec::with_capacity(p);
        let mut r = Vec::with_capacity(p);
        for j in 0..p {
            let length = norm(&columns[j][j..]);
            if length.is_nan() || length <= DEPENDENT {
                return Err(FitError::Singular { parameter: j });
            }
            let mut v = columns[j][j..].to_vec();
            let pivot = if v[0] > 0.0 { -length } else { length };
            v[0] -= pivot;
            let scale = norm(&v);
            for x in &mut v {
                *x /= scale;
            }
            for column in &mut columns[j + 1..] {
                reflect(&v, &mut column[j..]);
            }
            let mut upper = columns[j][..j].to_vec();
            upper.push(pivot);
            r.push(upper);
            reflections.push(v);
        }
        Ok(Self { reflections, r })
    }

    fn solve(&self, mut y: Vec<f64>) -> Vec<f64> {
        for (j, v) in self.reflections.iter().enumerate() {
            reflect(v, &mut y[j..]);
        }
        let p = self.r.len();
        let mut x = vec![0.0; p];
        for i in (0..p).rev() {
            let sum: f64 = (i + 1..p).map(|j| self.r[j][i] * x[j]).sum();
            x[i] = (y[i] - sum) / self.r[i][i];
        }
        x
    }

    /// `(RᵀR)⁻¹ = R⁻¹R⁻ᵀ`.
    fn inverse_gram(&self) -> Vec<Vec<f64>> {
        let p = self.r.len();
        let mut inverse = vec![vec![0.0; p]; p];
        // Column k of R⁻¹, by back substitution.
        for (k, column) in inverse.iter_mut().enumerate() {
            column[k] = 1.0 / self.r[k][k];
            for i in (0..k).rev() {
                let sum: f64 = (i + 1..=k).map(|j| self.r[j][i] * column[j]).sum();
                column[i] = -sum / self.r[i][i];
            }
        }
        let product = |i: usize, j: usize| inverse[i.max(j)..].iter().map(|c| c[i] * c[j]).sum();
        (0..p).map(|i| (0..p).map(|j| product(i, j)).collect()).collect()
    }
}

/// Applies `1 − 2vvᵀ`.
fn reflect(v: &[f64], y: &mut [f64]) {
    let dot: f64 = v.iter().zip(y.iter()).map(|(a, b)| a * b).sum();
    for (a, b) in v.iter().zip(y.iter_mut()) {
        *b -= 2.0 * dot * a;
    }
}

/// Small nonlinear least squares (Levenberg–Marquardt) of `observations` on `model(parameters, i)`.
///
/// The Jacobian is taken by central differences with steps of 6e-6 of each parameter's `scale`.
/// `standard_uncertainties`, where known, weight the residuals. Converged when a step improves the
/// sum of squares by less than 1e-12 of it and moves every parameter by less than 1e-9 of its scale.
///
/// # Errors
/// As [`linear_fit`], and [`FitError::NoConvergence`] after 200 iterations.
///
/// Source: Marquardt 1963, J. SIAM 11:431–441; steps solved by QR of the augmented Jacobian.
pub fn nonlinear_fit(
    model: impl Fn(&[f64], usize) -> f64,
    observations: &[f64],
    standard_uncertainties: Option<&[f64]>,
    start: &[f64],
    scales: &[f64],
) -> Result<Fit, FitError> {
    const ITERATIONS: usize = 200;
    let (n, p) = (observations.len(), start.len());
    if scales.len() != p || standard_uncertainties.is_some_and(|u| u.len() != n) {
        return Err(FitError::Shape { rows: n, observations: n });
    }
    if p == 0 || n < p {
        return Err(FitError::TooFew { parameters: p, observations: n });
    }
    let unit = |i: usize| standard_uncertainties.map_or(1.0, |u| u[i]);
    let residuals = |b: &[f64]| -> Vec<f64> {
        (0..n).map(|i| (observations[i] - model(b, i)) / unit(i)).collect()
    };
    let squares = |r: &[f64]| r.iter().map(|v| v * v).sum::<f64>();
    let jacobian = |b: &[f64]| -> Vec<Vec<f64>> {
        let mut rows = vec![vec![0.0; p]; n];
        let mut moved = b.to_vec();
        for j in 0..p {
            let step = 6e-6 * scales[j].abs().max(b[j].abs() * 1e-3).max(f64::MIN_POSITIVE);
            moved[j] = b[j] + step;
            let up: Vec<f64> = (0..n).map(|i| model(&moved, i)).collect();
            moved[j] = b[j] - step;
            for (i, row) in rows.iter_mut().enumerate() {
                row[j] = (up[i] - model(&moved, i)) / (2.0 * step);
            }
            moved[j] = b[j];
        }
        rows
    };
    let mut b = start.to_vec();
    let mut r = residuals(&b);
    let mut sum = squares(&r);
    if !sum.is_finite() {
        return Err(FitError::NotFinite);
    }
    let mut damping = 1e-3;
    for _ in 0..ITERATIONS {
        let rows = jacobian(&b);
        let mut improved = false;
        let mut settled = false;
        for _ in 0..30 {
            let mut augmented: Vec<Vec<f64>> = rows
                .iter()
                .enumerate()
                .map(|(i, row)| row.iter().map(|v| v / unit(i)).collect())
                .collect();
            let mut target = r.clone();
            for j in 0..p {
                let length = (0..n)
                    .map(|i| augmented[i][j] * augmented[i][j])
                    .sum::<f64>()
                    .sqrt()
                    .max(1e-30);
                let mut row = vec![0.0; p];
                row[j] = f64::sqrt(damping) * length;
                augmented.push(row);
                target.push(0.0);
            }
            let step = linear_fit(&augmented, &target)?.parameters;
            let next: Vec<f64> = b.iter().zip(&step).map(|(x, d)| x + d).collect();
            let next_r = residuals(&next);
            let next_sum = squares(&next_r);
            let small = step.iter().zip(scales).all(|(d, s)| d.abs() <= 1e-9 * s.abs());
            if next_sum <= sum {
                settled = small && sum - next_sum <= 1e-12 * sum;
                (b, r, sum) = (next, next_r, next_sum);
                damping = (damping * 0.2).max(1e-12);
                improved = true;
                break;
            }
            if small {
                settled = true;
                break;
            }
            damping *= 5.0;
        }
        if settled || sum == 0.0 {
            let rows = jacobian(&b);
            let plain: Vec<f64> = (0..n).map(|i| observations[i] - model(&b, i)).collect();
            // The linear problem at the minimum carries the covariance.
            let mut fit = least_squares(&rows, &plain, standard_uncertainties)?;
            fit.parameters = b;
            fit.residuals = plain;
            return Ok(fit);
        }
        if !improved {
            break;
        }
    }
    Err(FitError::NoConvergence { iterations: ITERATIONS })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dependent_columns_are_refused() {
        let rows: Vec<Vec<f64>> =
            (0..5).map(|i| vec![1.0, f64::from(i), 2.0 * f64::from(i)]).collect();
        let y = [1.0, 2.0, 3.0, 4.0, 5.5];
        assert_eq!(linear_fit(&rows, &y), Err(FitError::Singular { parameter: 2 }));
        assert!(matches!(linear_fit(&rows[..2], &y[..2]), Err(FitError::TooFew { .. })));
    }

    #[test]
    fn exponential_without_noise_is_recovered() {
        let t: Vec<f64> = (0..12).map(|i| f64::from(i) * 5.0).collect();
        let y: Vec<f64> = t.iter().map(|t| 12.0 + 3.0 * libm::exp(-t / 17.0)).collect();
        let fit = nonlinear_fit(
            |b, i| b[0] + b[1] * libm::exp(-t[i] / b[2]),
            &y,
            None,
            &[11.0, 1.0, 30.0],
            &[10.0, 1.0, 30.0],
        )
        .unwrap();
        for (got, want) in fit.parameters.iter().zip([12.0, 3.0, 17.0]) {
            assert!((got / want - 1.0).abs() < 1e-8, "{fit:?}");
        }
    }
}
