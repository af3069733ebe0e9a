//! While measuring: is the reading settled, or how long to wait.
//!
//! Fits `I(t) = I∞ + A·exp(−t/τ)` to repeated readings and accepts when what is left,
//! `|A·exp(−t/τ)|`, is below half the standard uncertainty.

use overwinter_statistics::fit::{Fit, linear_fit, nonlinear_fit};
use overwinter_statistics::univariate::summary;

/// Advice after each reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Advice {
    /// Too few readings to say anything.
    MoreReadings {
        /// Readings so far.
        have: usize,
        /// Readings needed.
        need: usize,
    },
    /// Not settled: wait this long from the last reading.
    Wait {
        /// Time to wait, s.
        seconds: f64,
        /// Where it is going, A (or whatever is read).
        limit: f64,
        /// Standard uncertainty of that limit from the fit; `None` without degrees of freedom.
        u_limit: Option<f64>,
    },
    /// The readings still run away and no end can be told yet (time constant beyond the record).
    NoEndInSight {
        /// Change over the record.
        change: f64,
    },
    /// Settled: take it.
    Take {
        /// Mean of the readings since it settled.
        value: f64,
        /// What is left of the transient at the last reading, signed.
        residual: f64,
    },
}

/// A fit of the transient.
#[derive(Clone, Debug, PartialEq)]
pub struct Transient {
    /// `I∞`.
    pub limit: f64,
    /// `A`, at `t = 0`.
    pub amplitude: f64,
    /// `τ`, s.
    pub time_constant_s: f64,
    /// The fit with its covariance, parameters in the order above.
    pub fit: Fit,
}

/// Repeated readings of one quantity, taken live.
#[derive(Clone, Debug, PartialEq)]
pub struct Settling {
    times_s: Vec<f64>,
    values: Vec<f64>,
    standard_uncertainty: f64,
    slowest_time_constant_s: f64,
}

/// Slowest time constant allowed for unless told otherwise: bulk and ceramic capacitors settle in 10
/// to 60 s (common practice, no source). Electrolytic capacitors that form again take 5 to 30 min.
pub const SLOWEST_TIME_CONSTANT_S: f64 = 60.0;

/// What is wrong with one more reading.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum SettlingError {
    /// Not a finite number.
    #[error("time and value must be finite numbers")]
    NotFinite,
    /// The clock does not advance.
    #[error("time must advance: {got} s after {last} s")]
    Order {
        /// Time of the last reading.
        last: f64,
        /// Time of this one.
        got: f64,
    },
}

/// What a record of settling leaves in the budget of the figure taken at its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LeftOver {
    /// Settled: the end value is known this well.
    Settled {
        /// Its standard uncertainty: of `I∞` from the fit, or of the mean of the settled part (Type A).
        u: f64,
        /// Degrees of freedom of that.
        degrees_of_freedom: f64,
    },
    /// Taken before it settled: the figure may be off by this much on either side.
    NotSettled {
        /// Distance to where the fit goes with twice its uncertainty, or the change over the record.
        half_width: f64,
    },
}

const NEED: usize = 5;

impl Settling {
    /// No readings yet; `standard_uncertainty` is that of a reading without settling.
    pub fn new(standard_uncertainty: f64) -> Self {
        Self {
            times_s: Vec::new(),
            values: Vec::new(),
            standard_uncertainty,
            slowest_time_constant_s: SLOWEST_TIME_CONSTANT_S,
        }
    }

    /// The same, allowing for a transient as slow as this (electrolytic capacitors: 600 s and more).
    #[must_use]
    pub fn with_slowest_time_constant_s(mut self, seconds: f64) -> Self {
        self.slowest_time_constant_s = seconds;
        self
    }

    /// One more reading; says what to do.
    ///
    /// # Errors
    /// A time that does not advance, or a number that is not finite; the reading is not taken.
    pub fn push(&mut self, time_s: f64, value: f64) -> Result<Advice, SettlingError> {
        if !(time_s.is_finite() && value.is_finite()) {
            return Err(SettlingError::NotFinite);
        }
        if let Some(last) = self.times_s.last()
            && time_s <= *last
        {
            return Err(SettlingError::Order { last: *last, got: time_s });
        }
        self.times_s.push(time_s);
        self.values.push(value);
        Ok(self.advice())
    }

    /// Number of readings.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// True without readings.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// The fit of the transient from `t = 0` at the first reading; `None` when there are fewer than
    /// five readings or the data do not hold one.
    ///
    /// The time constant is searched on a logarithmic grid from a third of the shortest step to
    /// three times the record (for each the rest is linear), then refined by least squares.
    pub fn transient(&self) -> Option<Transient> {
        if self.values.len() < NEED {
            return None;
        }
        let first = self.times_s[0];
        let t: Vec<f64> = self.times_s.iter().map(|t| t - first).collect();
        let span = *t.last()?;
        let shortest = t.windows(2).map(|w| w[1] - w[0]).fold(f64::INFINITY, f64::min);
        let (low, high) = (shortest / 3.0, 3.0 * span);
        let mut best: Option<(f64, f64, Vec<f64>)> = None;
        for step in 0..48 {
            let tau = low * libm::pow(high / low, f64::from(step) / 47.0);
            let rows: Vec<Vec<f64>> = t.iter().map(|t| vec![1.0, libm::exp(-t / tau)]).collect();
            if let Ok(fit) = linear_fit(&rows, &self.values)
                && best.as_ref().is_none_or(|b| fit.residual_sum_of_squares < b.0)
            {
                best = Some((fit.residual_sum_of_squares, tau, fit.parameters));
            }
        }
        let (_, tau, linear) = best?;
        let start = [linear[0], linear[1], tau];
        let scale = self.values.iter().map(|v| v.abs()).fold(0.0, f64::max);
        let scales = [scale, linear[1].abs().max(1e-6 * scale), tau];
        let fit = nonlinear_fit(
            |b, i| b[0] + b[1] * libm::exp(-t[i] / b[2]),
            &self.values,
            None,
            &start,
            &scales,
        )
        .ok()?;
        let [limit, amplitude, time_constant_s] = [0, 1, 2].map(|i| fit.parameters[i]);
        (time_constant_s > 0.0).then_some(Transient { limit, amplitude, time_constant_s, fit })
    }

    /// What to do now.
    ///
    /// A reading is taken when the fit says so and no second, slower transient can be hidden in the
    /// record, or when no trend is left that could grow beyond
    /// half the standard uncertainty at the slowest time constant allowed for.
    pub fn advice(&self) -> Advice {
        let n = self.values.len();
        if n < NEED {
            return Advice::MoreReadings { have: n, need: NEED };
        }
        let accept = 0.5 * self.standard_uncertainty;
        let elapsed = self.times_s[n - 1] - self.times_s[0];
        let flat = self.trend_is_negligible(accept);
        let Some(transient) = self.transient() else {
            return if flat {
                Advice::Take { value: self.tail_mean(n / 2), residual: 0.0 }
            } else {
                Advice::NoEndInSight { change: self.values[n - 1] - self.values[0] }
            };
        };
        let tau = transient.time_constant_s;
        let residual = transient.amplitude * libm::exp(-elapsed / tau);
        let u_limit = (transient.fit.degrees_of_freedom > 0)
            .then(|| transient.fit.standard_uncertainty(0))
            .filter(|u| u.is_finite());
        // A time constant beyond the record is extrapolation: its end cannot be trusted.
        let told = tau < elapsed
            && u_limit.is_none_or(|u| u <= residual.abs().max(accept))
            && self.beats_a_line(&transient)
            && leaves_no_pattern(&transient.fit);
        let alone = || self.nothing_slower_is_left(&transient, accept);
        if residual.abs() < accept && (flat || told && alone()) {
            let settled_at = if transient.amplitude.abs() > accept {
                tau * libm::log(transient.amplitude.abs() / accept)
            } else {
                0.0
            };
            let since = self
                .times_s
                .iter()
                .position(|t| t - self.times_s[0] >= settled_at)
                .unwrap_or(n - 1);
            Advice::Take { value: self.tail_mean(since.min(n - 1)), residual }
        } else if flat {
            Advice::Take { value: self.tail_mean(n / 2), residual: 0.0 }
        } else if told {
            // A residual below `accept` already: what is waited for is a slower transient ruled out.
            let seconds = if residual.abs() < accept {
                0.25 * self.slowest_time_constant_s
            } else {
                tau * libm::log(residual.abs() / accept)
            };
            Advice::Wait { seconds, limit: transient.limit, u_limit }
        } else {
            Advice::NoEndInSight { change: self.values[n - 1] - self.values[0] }
        }
    }

    /// What is left in the budget of `value`, taken at the end of this record; `None` with fewer than
    /// five readings.
    ///
    /// Settled: `u(I∞)` of the fit with `n − 3` degrees of freedom where the fit is told apart from a
    /// line, else the standard error of the last half (JCGM 100:2008, 4.2.3). Not settled: a limit,
    /// taken as rectangular (4.3.7).
    pub fn left_over(&self, value: f64) -> Option<LeftOver> {
        match self.advice() {
            Advice::MoreReadings { .. } => None,
            Advice::Wait { limit, u_limit, .. } => Some(LeftOver::NotSettled {
                half_width: (value - limit).abs() + 2.0 * u_limit.unwrap_or(0.0),
            }),
            Advice::NoEndInSight { change } => {
                Some(LeftOver::NotSettled { half_width: change.abs() })
            }
            Advice::Take { .. } => {
                let tail = summary(&self.values[self.values.len() / 2..]);
                let of_tail = tail.and_then(|s| Some((s.standard_error()?, (s.n - 1) as f64)));
                let of_fit = self
                    .transient()
                    .filter(|t| t.fit.degrees_of_freedom > 0 && self.beats_a_line(t))
                    .map(|t| (t.fit.standard_uncertainty(0), t.fit.degrees_of_freedom as f64))
                    .filter(|(u, _)| u.is_finite());
                let (u, degrees_of_freedom) = of_fit.or(of_tail)?;
                Some(LeftOver::Settled { u, degrees_of_freedom })
            }
        }
    }

    fn tail_mean(&self, from: usize) -> f64 {
        let tail = &self.values[from..];
        tail.iter().sum::<f64>() / tail.len() as f64
    }

    /// True when the exponential explains the record decisively better than a straight line: a fit to
    /// the noise of a slow drift does not.
    fn beats_a_line(&self, transient: &Transient) -> bool {
        const DECISIVE: f64 = 10.0; // difference of Akaike's criterion; Burnham & Anderson 2002, 2.6
        let rows: Vec<Vec<f64>> =
            self.times_s.iter().map(|t| vec![1.0, t - self.times_s[0]]).collect();
        let n = self.values.len() as f64;
        linear_fit(&rows, &self.values).is_ok_and(|line| {
            let ratio = line.residual_sum_of_squares / transient.fit.residual_sum_of_squares;
            n * libm::log(ratio) > DECISIVE
        })
    }

    /// True when a second transient at the slowest time constant allowed for, fitted beside the first,
    /// can have no more than `accept` left: `(|B| + 2·u(B))·e^(−t/τ_slowest)`.
    ///
    /// A first transient of half that time constant or more is itself the slow one.
    fn nothing_slower_is_left(&self, first: &Transient, accept: f64) -> bool {
        let (tau, slowest) = (first.time_constant_s, self.slowest_time_constant_s);
        if tau >= 0.5 * slowest {
            return true;
        }
        let since = |t: &f64| t - self.times_s[0];
        let row = |t: f64| {
            let fast = libm::exp(-t / tau);
            // The third column lets the first time constant move.
            vec![1.0, fast, fast * t / tau, libm::exp(-t / slowest)]
        };
        let rows: Vec<Vec<f64>> = self.times_s.iter().map(|t| row(since(t))).collect();
        let elapsed = self.times_s.last().map_or(0.0, since);
        linear_fit(&rows, &self.values).is_ok_and(|fit| {
            let possible = fit.parameters[3].abs() + 2.0 * fit.standard_uncertainty(3);
            fit.degrees_of_freedom > 0 && possible * libm::exp(-elapsed / slowest) < accept
        })
    }

    /// True when what a straight line through the last half (five readings at least) leaves possible,
    /// `(|slope| + 2·u(slope))·τ_slowest`, is below `accept`, over at least a quarter of that time.
    fn trend_is_negligible(&self, accept: f64) -> bool {
        let n = self.values.len();
        let from = (n / 2).min(n - NEED);
        let (t, y) = (&self.times_s[from..], &self.values[from..]);
        if self.times_s[n - 1] - self.times_s[0] < 0.25 * self.slowest_time_constant_s {
            return false;
        }
        let rows: Vec<Vec<f64>> = t.iter().map(|x| vec![1.0, x - t[0]]).collect();
        linear_fit(&rows, y).is_ok_and(|fit| {
            let slope = fit.parameters[1].abs() + 2.0 * fit.standard_uncertainty(1);
            slope * self.slowest_time_constant_s < accept
        })
    }
}

/// True when the residuals of the fit look random: lag-1 autocorrelation below 2/√n.
fn leaves_no_pattern(fit: &Fit) -> bool {
    let n = fit.residuals.len() as f64;
    summary(&fit.residuals).and_then(|s| s.lag_1_autocorrelation).is_none_or(|r| r < 2.0 / n.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(amplitude: f64, tau_s: f64, every_s: f64, n: usize) -> Settling {
        let mut s = Settling::new(0.1);
        for i in 0..n {
            let t = every_s * i as f64;
            // A small saw of noise with mean zero, so that the fit has residuals.
            let noise = 0.02 * ((i % 3) as f64 - 1.0);
            s.push(t, 12.0 + amplitude * libm::exp(-t / tau_s) + noise).unwrap();
        }
        s
    }

    #[test]
    fn what_is_left_over_is_the_fits_end_value_or_a_limit() {
        let Some(LeftOver::Settled { u, degrees_of_freedom }) =
            record(20.0, 20.0, 5.0, 40).left_over(12.0)
        else {
            panic!("settled after ten time constants")
        };
        assert!(u > 0.0 && u < 0.01 && degrees_of_freedom == 37.0, "{u} {degrees_of_freedom}");
        // Cut after two time constants: 20·e^−2.4 = 1.81 is still to go.
        let cut = record(20.0, 20.0, 4.0, 13);
        let last = 12.0 + 20.0 * libm::exp(-2.4);
        let Some(LeftOver::NotSettled { half_width }) = cut.left_over(last) else {
            panic!("not settled")
        };
        assert!((half_width - 1.81).abs() < 0.2, "{half_width}");
        assert_eq!(record(20.0, 20.0, 5.0, 4).left_over(12.0), None);
    }
}
