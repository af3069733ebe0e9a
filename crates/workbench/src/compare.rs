//! Two boards side by side: which outlasts the other, and by how much.

use overwinter_documents::types::board::Board;
use overwinter_documents::types::project::Project;
use serde::Serialize;

use crate::bench::Bench;
use crate::question::{QuestionError, cell_of, question};
use crate::ranking::{Tie, chance_outlasts, quantile, tie};
use crate::report::SCHEMA_VERSION;
use crate::resolve::{ResolveError, case};
use crate::sampling::{SampleOptions, sample};

/// By how much the first board outlasts the second, draw by draw under common draws.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Outlasting {
    /// P(first outlasts second); draws in which both live equally long count half.
    pub chance: f64,
    /// 10 % of the draws gain less than this by the first, s; negative where it dies earlier.
    pub gained_p10_s: f64,
    /// Median gain, s.
    pub gained_p50_s: f64,
    /// 90 % gain less than this, s.
    pub gained_p90_s: f64,
    /// Share of the draws in which both are still alive at the horizon: their difference is not seen.
    pub both_at_limit: f64,
    /// Why the two cannot be told apart, if they cannot.
    pub tie: Option<Tie>,
}

/// Two boards in one project.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct CompareReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The project.
    pub project: String,
    /// The first board.
    pub first: String,
    /// Specimen whose figures were used.
    pub first_specimen: Option<String>,
    /// The second board.
    pub second: String,
    /// Specimen whose figures were used.
    pub second_specimen: Option<String>,
    /// The measured specimens.
    pub these_specimens: Outlasting,
    /// Two that one might buy.
    pub bought: Outlasting,
    /// Draws.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
}

/// Compares two boards under the same weather, load and cell: the difference of their lives is taken draw by draw, so what both
/// share falls out of it. Quantiles are type 7 of Hyndman & Fan (1996).
///
/// # Errors
/// A name that does not exist, or a board without electrical figures.
pub fn compare(
    bench: &Bench,
    project: &Project,
    boards: (&Board, &Board),
    options: SampleOptions,
) -> Result<CompareReport, QuestionError> {
    let cell = cell_of(bench, project)?;
    let care_s = question(project, cell).care_s;
    let cases =
        [case(bench, project, cell, boards.0, None)?, case(bench, project, cell, boards.1, None)?];
    let sampled = sample(&cases, options)
        .map_err(|(k, error)| ResolveError::Engine { subject: cases[k].board.clone(), error })?;
    let horizon_s = cases[0].scenario.horizon_s.min(cases[1].scenario.horizon_s);
    let between = |a: &[f64], b: &[f64]| outlasting(a, b, care_s, horizon_s);
    let [a, b] = &sampled[..] else { unreachable!("two cases were sampled") };
    let [first, second] = cases;
    Ok(CompareReport {
        schema_version: SCHEMA_VERSION,
        project: project.name.clone(),
        first: first.board,
        first_specimen: first.specimen,
        second: second.board,
        second_specimen: second.specimen,
        these_specimens: between(&a.specimen_s, &b.specimen_s),
        bought: between(&a.bought_s, &b.bought_s),
        draws: options.draws,
        seed: options.seed,
    })
}

fn sorted(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_unstable_by(f64::total_cmp);
    values
}

fn outlasting(a_s: &[f64], b_s: &[f64], care_s: Option<f64>, horizon_s: f64) -> Outlasting {
    let gained = sorted(a_s.iter().zip(b_s).map(|(a, b)| a - b));
    let median = |lives: &[f64]| quantile(&sorted(lives.iter().copied()), 0.5);
    let chance = chance_outlasts(a_s, b_s);
    let alive = a_s.iter().zip(b_s).filter(|(a, b)| **a >= horizon_s && **b >= horizon_s).count();
    Outlasting {
        chance,
        gained_p10_s: quantile(&gained, 0.1),
        gained_p50_s: quantile(&gained, 0.5),
        gained_p90_s: quantile(&gained, 0.9),
        both_at_limit: alive as f64 / a_s.len() as f64,
        tie: tie(chance, median(a_s), median(b_s), care_s),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::choice;
    use crate::demo::FILES;

    #[test]
    fn the_difference_is_antisymmetric_and_agrees_with_the_matrix_of_the_choice() {
        let (bench, _) = Bench::read(FILES.iter().copied());
        let project = bench.project("footbridges").unwrap();
        let board = |name| bench.board(name).unwrap();
        let options = SampleOptions { draws: 400, seed: 1 };
        let of = |a, b| compare(&bench, project, (board(a), board(b)), options).unwrap();
        let there = of("BOWLINE", "SLIPKNOT").these_specimens;
        let back = of("SLIPKNOT", "BOWLINE").these_specimens;
        assert!((there.chance + back.chance - 1.0).abs() < 1e-12);
        assert!((there.gained_p50_s + back.gained_p50_s).abs() < 1e-3, "{there:?} {back:?}");
        assert!((there.gained_p10_s + back.gained_p90_s).abs() < 1e-3, "{there:?} {back:?}");
        // The choice draws for all boards together, in other dimensions of the sequence: equal within its scatter.
        let whole = choice(&bench, project, options).unwrap();
        let place = |name: &str| whole.pair_boards.iter().position(|b| b == name).unwrap();
        let known = whole.pairs[place("BOWLINE")][place("SLIPKNOT")];
        let scatter = 3.0 * (2.0 * 0.25 / 400.0_f64).sqrt();
        assert!((there.chance - known).abs() < scatter, "{} {known}", there.chance);
    }

    #[test]
    fn a_board_beside_itself_differs_by_nothing() {
        let (bench, _) = Bench::read(FILES.iter().copied());
        let project = bench.project("footbridges").unwrap();
        let own = bench.board("BOWLINE").unwrap();
        let options = SampleOptions { draws: 64, seed: 3 };
        let report = compare(&bench, project, (own, own), options).unwrap();
        let these = report.these_specimens;
        assert!((these.chance - 0.5).abs() < 1e-12 && these.gained_p90_s.abs() < 1e-9);
        assert_eq!(these.tie, Some(Tie::NotTold));
    }

    #[test]
    fn lives_of_a_hand_made_sample() {
        // Ten draws, A 1 d longer in nine of them and 2 d shorter in one; the horizon cuts none.
        let day = 86_400.0;
        let b: Vec<f64> = (1..=10).map(|k| 100.0 * day + f64::from(k) * day).collect();
        let a: Vec<f64> =
            b.iter().enumerate().map(|(k, b)| b + if k == 4 { -2.0 } else { 1.0 } * day).collect();
        let found = outlasting(&a, &b, Some(14.0 * day), 1e12);
        assert!((found.chance - 0.9).abs() < 1e-12);
        assert!((found.gained_p50_s - day).abs() < 1e-6);
        // Type 7: position 0.9 between the lowest, −2 d, and the next, 1 d.
        assert!((found.gained_p10_s - 0.7 * day).abs() < 1e-6, "{}", found.gained_p10_s / day);
        assert_eq!(found.tie, Some(Tie::BelowCare));
        assert!((outlasting(&a, &b, None, 1.0).both_at_limit - 1.0).abs() < 1e-12);
    }
}
