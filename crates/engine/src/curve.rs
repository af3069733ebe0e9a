//! Piecewise curves through measured points: linear, or monotone cubic.

use crate::error::InputError;

/// How a [`Curve`] runs between its points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interpolation {
    /// Straight lines.
    Linear,
    /// Monotone cubic Hermite (PCHIP): smooth slope, never overshoots the points.
    Monotone,
}

/// A function given by points, with its knots known, so that a quadrature can be aligned to them.
///
/// Outside its first and last point a curve is *not* silently extended: [`Curve::at`] holds the end
/// value and [`Curve::covers`] says that it did; the forecast raises a flag from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
    interpolation: Interpolation,
}

impl Curve {
    /// A curve through `points` (x strictly rising).
    ///
    /// # Errors
    /// [`InputError::Curve`] when there are no points, one is not finite, or x does not rise.
    ///
    /// # Source
    /// Slopes of [`Interpolation::Monotone`]: Fritsch & Butland (1984), SIAM J. Sci. Stat. Comput. 5:300,
    /// the weighted harmonic mean; end slopes by the one-sided three-point formula, limited.
    pub fn new(points: &[(f64, f64)], interpolation: Interpolation) -> Result<Self, InputError> {
        if points.is_empty() {
            return Err(InputError::Curve { problem: "has no points", index: 0 });
        }
        for (index, &(x, y)) in points.iter().enumerate() {
            if !x.is_finite() || !y.is_finite() {
                return Err(InputError::Curve { problem: "has a value that is not finite", index });
            }
            if index > 0 && x <= points[index - 1].0 {
                return Err(InputError::Curve {
                    problem: "does not rise in its first column",
                    index,
                });
            }
        }
        let x: Vec<f64> = points.iter().map(|p| p.0).collect();
        let y: Vec<f64> = points.iter().map(|p| p.1).collect();
        let slope = match interpolation {
            Interpolation::Linear => Vec::new(),
            Interpolation::Monotone => monotone_slopes(&x, &y),
        };
        Ok(Self { x, y, slope, interpolation })
    }

    /// A straight-line curve; see [`Curve::new`].
    ///
    /// # Errors
    /// As [`Curve::new`].
    pub fn linear(points: &[(f64, f64)]) -> Result<Self, InputError> {
        Self::new(points, Interpolation::Linear)
    }

    /// A monotone cubic curve; see [`Curve::new`].
    ///
    /// # Errors
    /// As [`Curve::new`].
    pub fn monotone(points: &[(f64, f64)]) -> Result<Self, InputError> {
        Self::new(points, Interpolation::Monotone)
    }

    /// The value at `x`; the end value outside the points (see [`Curve::covers`]).
    #[inline]
    pub fn at(&self, x: f64) -> f64 {
        let last = self.x.len() - 1;
        if x <= self.x[0] {
            return self.y[0];
        }
        if x >= self.x[last] {
            return self.y[last];
        }
        let i = self.interval(x);
        let (x0, x1, y0, y1) = (self.x[i], self.x[i + 1], self.y[i], self.y[i + 1]);
        let h = x1 - x0;
        let u = (x - x0) / h;
        match self.interpolation {
            Interpolation::Linear => y0 + (y1 - y0) * u,
            Interpolation::Monotone => {
                let (m0, m1) = (self.slope[i] * h, self.slope[i + 1] * h);
                let d = y1 - y0;
                y0 + u * (m0 + u * ((3.0 * d - 2.0 * m0 - m1) + u * (m0 + m1 - 2.0 * d)))
            }
        }
    }

    /// Whether `x` lies inside the points.
    #[inline]
    pub fn covers(&self, x: f64) -> bool {
        x >= self.x[0] && x <= self.x[self.x.len() - 1]
    }

    /// The points' first column.
    pub fn knots(&self) -> &[f64] {
        &self.x
    }

    /// The points' second column.
    pub fn values(&self) -> &[f64] {
        &self.y
    }

    /// Whether the values never fall from point to point.
    pub fn never_falls(&self) -> bool {
        self.y.windows(2).all(|w| w[1] >= w[0])
    }

    /// Scales every value by `factor` in place, without allocating (for draws of an uncertain curve).
    pub fn scale(&mut self, factor: f64) {
        for v in self.y.iter_mut().chain(self.slope.iter_mut()) {
            *v *= factor;
        }
    }

    /// Index `i` of the interval with `x[i] <= x < x[i + 1]`, for an `x` inside the points.
    #[inline]
    fn interval(&self, x: f64) -> usize {
        let n = self.x.len();
        if n <= 16 {
            let mut i = 0;
            while i + 2 < n && x >= self.x[i + 1] {
                i += 1;
            }
            i
        } else {
            self.x.partition_point(|&k| k <= x).saturating_sub(1).min(n - 2)
        }
    }
}

fn monotone_slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    if n == 1 {
        return vec![0.0];
    }
    let h: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
    let d: Vec<f64> = y.windows(2).zip(&h).map(|(w, h)| (w[1] - w[0]) / h).collect();
    if n == 2 {
        return vec![d[0], d[0]];
    }
    let mut m = vec![0.0; n];
    for i in 1..n - 1 {
        if d[i - 1] * d[i] > 0.0 {
            let w1 = 2.0 * h[i] + h[i - 1];
            let w2 = h[i] + 2.0 * h[i - 1];
            m[i] = (w1 + w2) / (w1 / d[i - 1] + w2 / d[i]);
        }
    }
    m[0] = end_slope(h[0], h[1], d[0], d[1]);
    m[n - 1] = end_slope(h[n - 2], h[n - 3], d[n - 2], d[n - 3]);
    m
}

fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    let m = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if m * d0 <= 0.0 {
        0.0
    } else if d0 * d1 < 0.0 && m.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn monotone_curve_keeps_points_and_order() {
        let points = [(0.0, 3.0), (0.05, 3.42), (0.1, 3.55), (0.5, 3.77), (1.0, 4.18)];
        let c = Curve::monotone(&points).unwrap();
        for (x, y) in points {
            assert!((c.at(x) - y).abs() < 1e-14);
        }
        let mut last = c.at(0.0);
        for i in 1..=1000 {
            let v = c.at(f64::from(i) / 1000.0);
            assert!(v >= last, "falls at {i}");
            last = v;
        }
    }

    #[test]
    fn holds_the_end_value_and_says_so() {
        let c = Curve::linear(&[(1.0, 2.0), (2.0, 4.0)]).unwrap();
        assert_eq!(c.at(0.0), 2.0);
        assert!(!c.covers(0.0));
        assert!((c.at(1.5) - 3.0).abs() < 1e-15);
    }

    #[test]
    fn bad_points_are_told() {
        assert!(Curve::linear(&[]).is_err());
        assert!(Curve::linear(&[(0.0, f64::NAN)]).is_err());
        assert!(Curve::linear(&[(0.0, 1.0), (0.0, 2.0)]).is_err());
    }
}
