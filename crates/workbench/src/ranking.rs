//! What a matrix of sampled lives says: quantiles, chances, who outlasts whom, ties and the Pareto front.
//!
//! All functions are pure arithmetic over samples made with *common draws*: column `k` of every board used the same
//! cell, the same weather and the same load, so differences between boards are sharp (common random numbers).

use serde::Serialize;

/// Quantiles of a sampled life and the chance to reach a target.
///
/// Seconds. A life that outlives the horizon counts with the horizon; `censored` is the share of such draws, and a
/// quantile that falls among them is a lower limit ([`LifeSummary::median_is_limit`]).
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct LifeSummary {
    /// 10 % of the draws live shorter than this, s.
    pub p10_s: f64,
    /// Median, s.
    pub p50_s: f64,
    /// 90 % of the draws live shorter than this, s.
    pub p90_s: f64,
    /// Arithmetic mean, s.
    pub mean_s: f64,
    /// Share of draws that reach the target; `None` without a target.
    pub chance_of_target: Option<f64>,
    /// Share of draws still alive at the horizon.
    pub censored: f64,
    /// Number of draws.
    pub draws: usize,
}

impl LifeSummary {
    /// Summarises sampled lives. Quantiles are type 7 of Hyndman & Fan 1996 (linear between order statistics).
    ///
    /// Returns `None` for an empty sample: there is nothing to say, which is not a life of zero.
    pub fn of(lives_s: &[f64], target_s: Option<f64>, horizon_s: f64) -> Option<Self> {
        if lives_s.is_empty() {
            return None;
        }
        let mut sorted = lives_s.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        let count = sorted.len() as f64;
        // Summing the sorted sample keeps the mean independent of the order in which threads delivered it.
        let mean_s = sorted.iter().sum::<f64>() / count;
        let reached = |limit: f64| sorted.len() - sorted.partition_point(|&life| life < limit);
        Some(Self {
            p10_s: quantile(&sorted, 0.1),
            p50_s: quantile(&sorted, 0.5),
            p90_s: quantile(&sorted, 0.9),
            mean_s,
            chance_of_target: target_s.map(|target| reached(target) as f64 / count),
            censored: reached(horizon_s) as f64 / count,
            draws: sorted.len(),
        })
    }

    /// Whether the median is only a lower limit because half of the draws outlive the horizon.
    pub fn median_is_limit(&self) -> bool {
        self.censored >= 0.5
    }
}

/// Type-7 quantile of a sorted, non-empty sample (Hyndman & Fan 1996).
pub fn quantile(sorted: &[f64], p: f64) -> f64 {
    let position = p.clamp(0.0, 1.0) * (sorted.len() - 1) as f64;
    let below = position.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (position - below as f64) * (sorted[above] - sorted[below])
}

/// Chance that A outlasts B under common draws; draws in which both live equally long (to the second) count half.
///
/// # Panics
/// If the samples differ in length: they were then not made with common draws.
pub fn chance_outlasts(a_s: &[f64], b_s: &[f64]) -> f64 {
    assert_eq!(a_s.len(), b_s.len(), "common draws have the same length");
    let halves: usize = a_s
        .iter()
        .zip(b_s)
        .map(|(a, b)| if (a - b).abs() < 1.0 { 1 } else { 2 * usize::from(a > b) })
        .sum();
    halves as f64 / (2 * a_s.len()) as f64
}

/// Whether two boards tie, and why.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum Tie {
    /// The data cannot tell them apart: P(A outlasts B) lies between 0.2 and 0.8.
    NotTold,
    /// The medians differ by less than the person said they care about.
    BelowCare,
}

/// Decides whether two boards tie: P in 0.2…0.8, or medians closer than `care_s` (job practice, no source).
pub fn tie(chance: f64, median_a_s: f64, median_b_s: f64, care_s: Option<f64>) -> Option<Tie> {
    if (0.2..=0.8).contains(&chance) {
        Some(Tie::NotTold)
    } else if care_s.is_some_and(|care| (median_a_s - median_b_s).abs() < care) {
        Some(Tie::BelowCare)
    } else {
        None
    }
}

/// One wish's value for one board, already turned so that more is better; `None` is unknown.
pub type WishValue = Option<f64>;

/// Marks the Pareto front: a board is dominated if another is at least as good in every wish and better in one, by more
/// than the wish's own smallest difference. Unknown values neither dominate nor are dominated in that wish: a board
/// with an unknown can leave the front only through … nothing, since the unknown might be the best there is.
pub fn pareto_front(boards: &[Vec<WishValue>], smallest_difference: &[f64]) -> Vec<bool> {
    let dominates = |a: &[WishValue], b: &[WishValue]| {
        let mut better = false;
        for ((x, y), &least) in a.iter().zip(b).zip(smallest_difference) {
            match (x, y) {
                (Some(x), Some(y)) => {
                    if *x < *y - least {
                        return false;
                    }
                    better |= *x > *y + least;
                }
                _ => return false,
            }
        }
        better
    };
    boards
        .iter()
        .enumerate()
        .map(|(i, own)| {
            !boards.iter().enumerate().any(|(j, other)| i != j && dominates(other, own))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_type_seven() {
        // Source: Hyndman & Fan 1996, definition 7; numpy.quantile([1, 2, 3, 4], 0.1) = 1.3 (numpy's default is type 7).
        assert!((quantile(&[1.0, 2.0, 3.0, 4.0], 0.1) - 1.3).abs() < 1e-15);
        assert!((quantile(&[1.0, 2.0, 3.0, 4.0], 0.5) - 2.5).abs() < 1e-15);
        assert!((quantile(&[7.0], 0.9) - 7.0).abs() < 1e-15);
    }

    #[test]
    fn summary_counts_target_and_horizon() {
        let summary = LifeSummary::of(&[1.0, 2.0, 3.0, 4.0], Some(3.0), 4.0).unwrap();
        assert_eq!(summary.chance_of_target, Some(0.5));
        assert!((summary.censored - 0.25).abs() < 1e-15);
        assert!(!summary.median_is_limit());
        assert_eq!(LifeSummary::of(&[], None, 1.0), None);
    }

    #[test]
    fn outlasting_is_antisymmetric_with_ties_shared() {
        let (a, b) = ([10.0, 20.0, 30.0, 40.0], [5.0, 20.5, 35.0, 30.0]);
        let ab = chance_outlasts(&a, &b);
        assert!((ab - 0.625).abs() < 1e-15);
        assert!((ab + chance_outlasts(&b, &a) - 1.0).abs() < 1e-15);
    }

    #[test]
    fn ties_need_a_reason() {
        assert_eq!(tie(0.5, 1.0, 2.0, None), Some(Tie::NotTold));
        assert_eq!(tie(0.97, 100.0, 107.0, Some(14.0)), Some(Tie::BelowCare));
        assert_eq!(tie(0.97, 100.0, 107.0, Some(5.0)), None);
    }

    #[test]
    fn an_unknown_stays_on_the_front() {
        let boards =
            [vec![Some(3.0), Some(3.0)], vec![Some(2.0), Some(2.0)], vec![Some(1.0), None]];
        assert_eq!(pareto_front(&boards, &[0.0, 0.0]), [true, false, true]);
        // A difference below the smallest one that matters does not dominate.
        assert_eq!(pareto_front(&boards, &[5.0, 5.0]), [true, true, true]);
    }
}
