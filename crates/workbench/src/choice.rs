//! The choice: hard needs in three values, lives with common draws, wishes as a Pareto front, ties said as ties.

use overwinter_engine::{Ending, InputError};

use crate::case::Case;
use crate::ranking::{LifeSummary, WishValue, chance_outlasts, pareto_front, tie};
use crate::report::{
    BoardVerdict, CellValue, ChoiceReport, EndingShare, LifeAnswer, NeedResult, NeedVerdict,
    ReworkGain, SCHEMA_VERSION,
};
use crate::sampling::{SampleOptions, SampledLives, sample};
use crate::text::{days, life, percent};

/// A rework of a board as a case of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct Variant {
    /// What is done, in words.
    pub rework: String,
    /// Minutes of work.
    pub minutes: f64,
    /// The risk, in words.
    pub risk: Option<String>,
    /// The board afterwards.
    pub case: Case,
}

/// A board as it enters the choice.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Board.
    pub board: String,
    /// Specimen whose readings are used.
    pub specimen: Option<String>,
    /// The board on the project's cell with its load; `None`, with the reason, where its figures are unknown.
    pub case: Result<Case, String>,
    /// The needs other than the life.
    pub needs: Vec<NeedResult>,
    /// Wishes, each turned so that more is better; `None` is unknown. A wish for the life is `None` here and filled in.
    pub wishes: Vec<WishValue>,
    /// The same in words.
    pub wish_cells: Vec<CellValue>,
    /// Reworks that can be done to it.
    pub variants: Vec<Variant>,
}

/// What the project asks.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Project.
    pub project: String,
    /// Cell in words.
    pub cell: String,
    /// Load in words.
    pub load: String,
    /// Target life, s.
    pub target_s: Option<f64>,
    /// Chance with which the target has to be met.
    pub target_chance: f64,
    /// Whether the target is a hard need; else it only gives the chance of reaching it.
    pub life_is_need: bool,
    /// Smallest difference of life the person cares about, s.
    pub care_s: Option<f64>,
    /// Headings of the wishes.
    pub wishes: Vec<String>,
    /// Which wish is the life, if one is.
    pub life_wish: Option<usize>,
    /// Smallest difference that matters, per wish.
    pub wish_differences: Vec<f64>,
    /// Warnings about the whole choice.
    pub warnings: Vec<String>,
    /// Cautions that always apply.
    pub cautions: Vec<String>,
}

/// Draws behind the rework suggestions.
const VARIANT_DRAWS: usize = 512;

/// Answers the question for all candidates.
///
/// # Errors
/// [`InputError`] of a case that cannot be forecast, with the board's name.
pub fn choose(
    question: &Question,
    candidates: &[Candidate],
    options: SampleOptions,
) -> Result<ChoiceReport, (String, InputError)> {
    let with_case: Vec<usize> =
        (0..candidates.len()).filter(|&i| candidates[i].case.is_ok()).collect();
    let cases: Vec<Case> = candidates.iter().filter_map(|c| c.case.clone().ok()).collect();
    let sampled = sample(&cases, options).map_err(|(k, error)| (cases[k].board.clone(), error))?;
    let lives_of = |i: usize| with_case.binary_search(&i).ok().map(|k| (&cases[k], &sampled[k]));

    let mut boards = Vec::with_capacity(candidates.len());
    for (i, candidate) in candidates.iter().enumerate() {
        boards.push(verdict_of(question, candidate, lives_of(i)));
    }
    suggest_reworks(question, candidates, &mut boards, options)?;
    mark_front(question, candidates, &mut boards);

    let mut order: Vec<usize> = (0..boards.len()).collect();
    let medians: Vec<f64> =
        boards.iter().map(|b| b.this_specimen.as_ref().map_or(-1.0, |a| a.summary.p50_s)).collect();
    let median = |i: usize| medians[i];
    order.sort_by(|&a, &b| {
        boards[a]
            .verdict
            .cmp(&boards[b].verdict)
            .then_with(|| median(b).total_cmp(&median(a)))
            .then_with(|| boards[a].board.cmp(&boards[b].board))
    });
    let paired: Vec<usize> = order.iter().copied().filter(|&i| lives_of(i).is_some()).collect();
    let pairs: Vec<Vec<f64>> = paired
        .iter()
        .map(|&a| {
            let own = &lives_of(a).expect("paired").1.specimen_s;
            paired
                .iter()
                .map(|&b| chance_outlasts(own, &lives_of(b).expect("paired").1.specimen_s))
                .collect()
        })
        .collect();
    if let Some(&leader) = paired.first() {
        let (leader_median, leader_lives) =
            (median(leader), &lives_of(leader).expect("paired").1.specimen_s);
        for &i in &paired[1..] {
            let chance = chance_outlasts(&lives_of(i).expect("paired").1.specimen_s, leader_lives);
            let tied = tie(chance, median(i), leader_median, question.care_s);
            boards[i].chance_outlasts_leader = Some(chance);
            boards[i].tie = tied;
        }
    }
    let pair_boards = paired.iter().map(|&i| boards[i].board.clone()).collect();
    let mut slots: Vec<Option<BoardVerdict>> = boards.into_iter().map(Some).collect();
    let boards: Vec<BoardVerdict> =
        order.iter().map(|&i| slots[i].take().expect("each board once")).collect();
    Ok(ChoiceReport {
        schema_version: SCHEMA_VERSION,
        answer: answer(question, &boards),
        project: question.project.clone(),
        cell: question.cell.clone(),
        load: question.load.clone(),
        draws: options.draws,
        seed: options.seed,
        target_s: question.target_s,
        target_chance: question.target_s.map(|_| question.target_chance),
        care_s: question.care_s,
        wishes: question.wishes.clone(),
        boards,
        pairs,
        pair_boards,
        warnings: question.warnings.clone(),
        cautions: question.cautions.clone(),
    })
}

fn verdict_of(
    question: &Question,
    candidate: &Candidate,
    lives: Option<(&Case, &SampledLives)>,
) -> BoardVerdict {
    let mut needs = candidate.needs.clone();
    let (mut this_specimen, mut one_you_might_buy, mut flags) = (None, None, Vec::new());
    if let Some((case, sampled)) = lives {
        this_specimen =
            life_answer(case, &sampled.specimen_s, &sampled.specimen_endings, question.target_s);
        one_you_might_buy =
            life_answer(case, &sampled.bought_s, &sampled.bought_endings, question.target_s);
        flags.extend(case.gaps.iter().cloned());
        flags.extend(sampled.flags.iter().map(|flag| flag_text(flag).to_owned()));
        if let Some(difference) = sampled.quick {
            flags.push(quick_text(difference));
        }
        // A handful in thousands is the tail of an assumed spread; more would bend the answer and is said.
        if sampled.bounded * 200 > sampled.specimen_s.len() {
            flags.push(format!(
                "{} of the values drawn fell below zero and were set to zero: an input's spread is too wide for its value",
                sampled.bounded
            ));
        }
    }
    if let Some(target_s) = question.target_s.filter(|_| question.life_is_need) {
        needs.push(life_need(question, candidate, this_specimen.as_ref(), target_s));
    }
    let verdict = needs.iter().map(|need| need.verdict).max().unwrap_or(NeedVerdict::Fits);
    let reason = reason(verdict, &needs, this_specimen.as_ref());
    BoardVerdict {
        board: candidate.board.clone(),
        specimen: candidate.specimen.clone(),
        verdict,
        needs,
        this_specimen,
        one_you_might_buy,
        on_front: false,
        wishes: candidate.wish_cells.clone(),
        chance_outlasts_leader: None,
        tie: None,
        reason,
        rework: None,
        flags,
    }
}

fn life_need(
    question: &Question,
    candidate: &Candidate,
    answer: Option<&LifeAnswer>,
    target_s: f64,
) -> NeedResult {
    let need = format!("lasts {} with {} chance", life(target_s), percent(question.target_chance));
    match (answer, &candidate.case) {
        (Some(answer), _) => {
            let chance = answer.summary.chance_of_target.unwrap_or(0.0);
            let fits = chance >= question.target_chance;
            NeedResult {
                need,
                verdict: if fits { NeedVerdict::Fits } else { NeedVerdict::DoesNot },
                reason: format!(
                    "{} chance to last {}, median {}",
                    percent(chance),
                    life(target_s),
                    life(answer.summary.p50_s)
                ),
                test_minutes: None,
            }
        }
        (None, case) => NeedResult {
            need,
            verdict: NeedVerdict::Undecided,
            reason: case.as_ref().err().cloned().unwrap_or_default(),
            test_minutes: None,
        },
    }
}

fn reason(verdict: NeedVerdict, needs: &[NeedResult], answer: Option<&LifeAnswer>) -> String {
    let of = |wanted: NeedVerdict| {
        let texts: Vec<String> = needs
            .iter()
            .filter(|n| n.verdict == wanted)
            .map(|n| format!("{}: {}", n.need, n.reason))
            .collect();
        texts.join("; ")
    };
    match verdict {
        NeedVerdict::DoesNot | NeedVerdict::Undecided => of(verdict),
        NeedVerdict::Fits => answer.map_or_else(String::new, |answer| {
            let end = answer
                .endings
                .first()
                .map_or(String::new(), |e| format!(", ended by {}", ending_words(e)));
            format!(
                "{} (10–90 %: {} to {}){end}",
                life(answer.summary.p50_s),
                life(answer.summary.p10_s),
                life(answer.summary.p90_s)
            )
        }),
    }
}

fn ending_words(share: &EndingShare) -> String {
    match &share.activity {
        Some(activity) => format!("{} in “{activity}”", share.ending),
        None => share.ending.clone(),
    }
}

/// How the draws were made quick, in words.
pub(crate) fn quick_text(largest_difference: f64) -> String {
    format!(
        "draws taken with currents constant over voltage, calibrated on the full forecast; largest difference to it where checked {:.2} %",
        largest_difference * 100.0
    )
}

/// The summary of sampled lives with what ends them.
pub fn life_answer(
    case: &Case,
    lives_s: &[f64],
    endings: &[(Ending, Option<usize>, usize)],
    target_s: Option<f64>,
) -> Option<LifeAnswer> {
    let summary = LifeSummary::of(lives_s, target_s, case.scenario.horizon_s)?;
    let total = lives_s.len() as f64;
    let endings = endings
        .iter()
        .map(|&(ending, activity, count)| EndingShare {
            ending: ending_text(ending).to_owned(),
            short: ending_short(ending).to_owned(),
            activity: activity.map(|k| case.scenario.load.activities[k].name.clone()),
            share: count as f64 / total,
        })
        .collect();
    Some(LifeAnswer { summary, endings })
}

/// An ending in words.
pub fn ending_text(ending: Ending) -> &'static str {
    match ending {
        Ending::RailBelowReset => "rail below the reset threshold",
        Ending::RegulatorOutOfReach => "input below what the regulator needs",
        Ending::CellCutoff => "cell at its cut-off voltage",
        Ending::ProtectionCutoff => "protection opens",
        Ending::ChargeExhausted => "charge exhausted",
        Ending::ShelfLife => "shelf life over",
        Ending::AliveAtHorizon => "still alive at the horizon",
    }
}

/// An ending in two or three words, for a column.
pub fn ending_short(ending: Ending) -> &'static str {
    match ending {
        Ending::RailBelowReset => "rail too low",
        Ending::RegulatorOutOfReach => "input too low",
        Ending::CellCutoff => "cell cut-off",
        Ending::ProtectionCutoff => "protection",
        Ending::ChargeExhausted => "charge gone",
        Ending::ShelfLife => "shelf life",
        Ending::AliveAtHorizon => "still alive",
    }
}

/// A flag of the engine in words: what it means for the figure beside it.
pub fn flag_text(flag: overwinter_engine::Flag) -> &'static str {
    use overwinter_engine::Flag;
    match flag {
        Flag::ResistanceUnknown => {
            "cell resistance unknown, taken as nothing: the life is an upper estimate"
        }
        Flag::ResistanceTemperatureUnknown => {
            "cell resistance over temperature unknown: cold peaks look better than they are"
        }
        Flag::CapacityTemperatureUnknown => "capacity over temperature unknown, taken as nominal",
        Flag::SelfDischargeUnknown => {
            "self-discharge unknown, taken as nothing: the life is an upper estimate"
        }
        Flag::AgeingUnknown => "calendar ageing unknown, taken as nothing",
        Flag::ProtectionCurrentUnknown => {
            "the protection's own current is unknown, taken as nothing"
        }
        Flag::CutoffUnknown => "neither cell nor protection cut-off is known: not checked",
        Flag::GroundCurrentUnknown => "the regulator's ground current is unknown, taken as nothing",
        Flag::DropoutUnknown => {
            "dropout unknown, taken as nothing: the rail looks better than it is"
        }
        Flag::GroundInDropoutUnknown => "in dropout, and the ground current there is unknown",
        Flag::ResetThresholdUnknown => "the reset threshold is unknown: the rail was not checked",
        Flag::BulkLeakageUnknown => "the bulk capacitor's leakage is unknown, taken as nothing",
        Flag::SleepTemperatureUnknown => {
            "sleep current measured at one temperature only, used as read"
        }
        Flag::BulkNotRecharged => "the bulk capacitor is not recharged before the next burst",
        Flag::ActivitiesOverlap => "activities can overlap; their currents then add",
        Flag::OutsideCapacityTable => "temperature outside the capacity table",
        Flag::OutsideDischargeTemperature => "temperature outside what the cell is specified for",
        Flag::AboveCellCurrent => "current above what the cell is specified for",
        Flag::OutsideCurrentTable => {
            "cell voltage outside the measured sleep currents; the end value was used"
        }
        Flag::OutsideEfficiencyTable => {
            "operating point outside the efficiency table; the edge value was used"
        }
        Flag::Passivation => {
            "the cell builds a passivation film; the dip of the first peaks is not computed"
        }
        Flag::BillExceedsReading => "the always-on parts together exceed the sleep reading",
        Flag::SlowWells => {
            "the wells relax too slowly for the averaging of a voltage-dependent load"
        }
        Flag::OutsideChargeTable => "state of charge outside the open-circuit or resistance table",
        Flag::AgeingBeyondHalf => {
            "ageing has taken half of the capacity: outside what the law is good for"
        }
        Flag::FewCycles => "a life of few cycles: the averaging may be off by part of a cycle",
    }
}

/// For every board that fails by its life: the least work that would bring it in, or else the best gain per minute.
fn suggest_reworks(
    question: &Question,
    candidates: &[Candidate],
    boards: &mut [BoardVerdict],
    options: SampleOptions,
) -> Result<(), (String, InputError)> {
    let wanted: Vec<(usize, &Variant)> = candidates
        .iter()
        .enumerate()
        .filter(|(i, _)| boards[*i].verdict == NeedVerdict::DoesNot)
        .flat_map(|(i, c)| c.variants.iter().map(move |v| (i, v)))
        .collect();
    if wanted.is_empty() {
        return Ok(());
    }
    let options = SampleOptions { draws: options.draws.min(VARIANT_DRAWS), ..options };
    let gains = rework_gains(question.target_s, candidates, &wanted, options)?;
    for (i, gain) in gains {
        let meets =
            |g: &ReworkGain| g.chance_of_target.is_some_and(|c| c >= question.target_chance);
        let slot = &mut boards[i].rework;
        let better = match slot.as_ref() {
            None => gain.days_gained > 0.0,
            Some(old) => match (meets(&gain), meets(old)) {
                (true, true) => gain.minutes < old.minutes,
                (new, old_meets) if new != old_meets => new,
                _ => gain.days_per_minute > old.days_per_minute,
            },
        };
        if better {
            *slot = Some(gain);
        }
    }
    Ok(())
}

/// Median days gained by each variant against its own board, common draws.
fn rework_gains(
    target_s: Option<f64>,
    candidates: &[Candidate],
    wanted: &[(usize, &Variant)],
    options: SampleOptions,
) -> Result<Vec<(usize, ReworkGain)>, (String, InputError)> {
    let mut cases: Vec<Case> = Vec::new();
    for (i, variant) in wanted {
        match &candidates[*i].case {
            Ok(case) => cases.push(case.clone()),
            Err(_) => return Err((candidates[*i].board.clone(), NO_CASE)),
        }
        cases.push(variant.case.clone());
    }
    let sampled = sample(&cases, options).map_err(|(k, error)| (cases[k].board.clone(), error))?;
    Ok(wanted
        .iter()
        .zip(sampled.chunks_exact(2))
        .filter_map(|((i, variant), pair)| {
            let horizon_s = variant.case.scenario.horizon_s;
            let before = LifeSummary::of(&pair[0].specimen_s, target_s, horizon_s)?;
            let after = LifeSummary::of(&pair[1].specimen_s, target_s, horizon_s)?;
            let days_gained = days(after.p50_s - before.p50_s);
            let gain = ReworkGain {
                rework: variant.rework.clone(),
                minutes: variant.minutes,
                days_gained,
                days_per_minute: days_gained / variant.minutes,
                chance_of_target: after.chance_of_target,
                risk: variant.risk.clone(),
            };
            Some((*i, gain))
        })
        .collect())
}

const NO_CASE: InputError = InputError::NoSolution { what: "a rework of a board without figures" };

/// All reworks of one board, best days per minute first.
///
/// # Errors
/// [`InputError`] of a case that cannot be forecast, with the board's name.
pub fn reworks(
    candidate: &Candidate,
    target_s: Option<f64>,
    options: SampleOptions,
) -> Result<Vec<ReworkGain>, (String, InputError)> {
    let wanted: Vec<(usize, &Variant)> = candidate.variants.iter().map(|v| (0, v)).collect();
    if wanted.is_empty() || candidate.case.is_err() {
        return Ok(Vec::new());
    }
    let options = SampleOptions { draws: options.draws.min(VARIANT_DRAWS), ..options };
    let gains = rework_gains(target_s, std::slice::from_ref(candidate), &wanted, options)?;
    let mut gains: Vec<ReworkGain> = gains.into_iter().map(|(_, gain)| gain).collect();
    gains.sort_by(|a, b| b.days_per_minute.total_cmp(&a.days_per_minute));
    Ok(gains)
}

fn mark_front(question: &Question, candidates: &[Candidate], boards: &mut [BoardVerdict]) {
    if question.wishes.is_empty() {
        return;
    }
    let members: Vec<usize> =
        (0..boards.len()).filter(|&i| boards[i].verdict != NeedVerdict::DoesNot).collect();
    let values: Vec<Vec<WishValue>> = members
        .iter()
        .map(|&i| {
            let mut wishes = candidates[i].wishes.clone();
            if let Some(at) = question.life_wish {
                wishes[at] = boards[i].this_specimen.as_ref().map(|a| a.summary.p50_s);
            }
            wishes
        })
        .collect();
    for (&i, front) in members.iter().zip(pareto_front(&values, &question.wish_differences)) {
        boards[i].on_front = front;
    }
    for (board, candidate) in boards.iter_mut().zip(candidates) {
        if let Some(at) = question.life_wish
            && let Some(answer) = &board.this_specimen
        {
            board.wishes = candidate.wish_cells.clone();
            board.wishes[at] =
                CellValue::Number { value: answer.summary.p50_s, text: life(answer.summary.p50_s) };
        }
    }
}

fn answer(question: &Question, boards: &[BoardVerdict]) -> String {
    let fit: Vec<&BoardVerdict> =
        boards.iter().filter(|b| b.verdict == NeedVerdict::Fits).collect();
    let open: Vec<&str> = boards
        .iter()
        .filter(|b| b.verdict == NeedVerdict::Undecided)
        .map(|b| b.board.as_str())
        .collect();
    let mut text = match fit.split_first() {
        None => {
            let target =
                question.target_s.map_or(String::new(), |t| format!(" that lasts {}", life(t)));
            format!("No board{target} meets every need.")
        }
        Some((leader, rest)) => {
            let alike: Vec<&str> =
                rest.iter().filter(|b| b.tie.is_some()).map(|b| b.board.as_str()).collect();
            let median = leader
                .this_specimen
                .as_ref()
                .map_or(String::new(), |a| format!(" ({})", life(a.summary.p50_s)));
            let mut text = format!("{}{median}", leader.board);
            if alike.is_empty() {
                text.push_str(" lives longest of those that meet every need");
            } else {
                text = format!(
                    "{text} and {} meet every need and cannot be told apart by life",
                    alike.join(", ")
                );
            }
            let others: Vec<&str> =
                rest.iter().filter(|b| b.tie.is_none()).map(|b| b.board.as_str()).collect();
            if !others.is_empty() {
                text = format!("{text}; {} fit too", others.join(", "));
            }
            text + "."
        }
    };
    if !open.is_empty() {
        text = format!("{text} Undecided: {}.", open.join(", "));
    }
    text
}
