//! Which test next: what each uncertain figure and each unknown trait is worth for this choice, in days of run time, per minute
//! at the bench, with the chance that it flips the choice; load figures are among them.

use overwinter_documents::types::project::Project;
use overwinter_figures::next_test::{Candidate as Test, next_test};
use overwinter_statistics::Draws;
use serde::Serialize;

use crate::bench::Bench;
use crate::case::{Case, Target};
use crate::choice::Candidate;
use crate::question::{QuestionError, boards_of, candidate, cell_of, question};
use crate::report::{NeedVerdict, SCHEMA_VERSION};
use crate::resolve::ResolveError;
use crate::sampling::{SampleOptions, sample_with_inputs};
use crate::text::days;

/// What a test is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TestKind {
    /// A figure of a board.
    Board,
    /// A figure of the load: charge of a wake, a radio peak.
    Load,
    /// A figure of the cell or of the place.
    Cell,
    /// A trait or need that is not known.
    Trait,
}

/// One test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestLine {
    /// The quantity.
    pub name: String,
    /// What it is of.
    pub kind: TestKind,
    /// Its value now.
    pub now: String,
    /// Boards it touches.
    pub boards: Vec<String>,
    /// How it is tested.
    pub how: String,
    /// Minutes at the bench, common practice without a source; `None`: no bench test settles it.
    pub minutes: Option<f64>,
    /// Expected gain in days of run time, if the test settled the quantity completely.
    pub gain_days: f64,
    /// Standard error of that from the number of draws.
    pub standard_error_days: f64,
    /// Gain per minute.
    pub days_per_minute: Option<f64>,
    /// Chance that the result changes the choice.
    pub flip_chance: f64,
    /// The board then chosen most often.
    pub flips_to: Option<String>,
    /// The gain stands out of the noise of the estimate.
    pub matters: bool,
    /// Boards that meet the project's target when the quantity comes out at its better end and fail it at its worse end
    /// (the best and the worst tenth of the draws).
    pub hinges: Vec<String>,
    /// Those two ends in words.
    pub ends: Option<[String; 2]>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NextReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Project.
    pub project: String,
    /// Draws.
    pub draws: usize,
    /// Seed.
    pub seed: u64,
    /// The board that would be chosen now, by expected run time.
    pub choice: String,
    /// Its expected run time, days; a hard need that may not be met counts as none.
    pub expected_days: f64,
    /// Gain if everything were known, days: no test is worth more.
    pub perfect_days: f64,
    /// Gain that the estimate gives to numbers that have nothing to do with the choice.
    pub noise_floor_days: f64,
    /// Tests, the best first.
    pub tests: Vec<TestLine>,
    /// What to do, in order, within the minutes there are.
    pub plan: Vec<String>,
    /// Minutes there are.
    pub minutes: Option<f64>,
    /// Boards left out: a need is not met whatever a test says.
    pub left_out: Vec<String>,
    /// The answer in one or two sentences.
    pub answer: String,
    /// What it rests on.
    pub notes: Vec<String>,
}

/// How sure an unknown trait is taken to be "as needed" before anybody looked. Common practice, no source: nothing is known.
const COIN: f64 = 0.5;

/// Ranks the tests for a project.
///
/// # Errors
/// No cell, no board that can be forecast, or a figure outside what the engine takes.
pub fn next(
    bench: &Bench,
    project: &Project,
    options: SampleOptions,
    minutes: Option<f64>,
) -> Result<NextReport, QuestionError> {
    let cell = cell_of(bench, project)?;
    let asked = question(project, cell);
    let mut left_out = Vec::new();
    let mut kept: Vec<(Candidate, Case)> = Vec::new();
    for board in boards_of(bench, project)? {
        let found = candidate(bench, project, cell, board, None);
        let out = found.needs.iter().find(|n| n.verdict == NeedVerdict::DoesNot);
        match (&found.case, out) {
            (_, Some(need)) => {
                left_out.push(format!("{}: {}: {}", board.name, need.need, need.reason));
            }
            (Err(why), None) => left_out.push(format!("{}: {why}", board.name)),
            (Ok(case), None) => {
                let case = case.clone();
                kept.push((found, case));
            }
        }
    }
    if kept.is_empty() {
        return Err(QuestionError::Resolve(ResolveError::Missing {
            subject: format!("project {}", project.name),
            what: "a board that can be forecast and fails no need".to_owned(),
            help: "see: choose".to_owned(),
        }));
    }
    let mut cases: Vec<Case> = kept.iter().map(|(_, case)| case.clone()).collect();
    for input in cases.iter_mut().flat_map(|case| &mut case.inputs) {
        // Tests are of the specimens at hand: the lives of those one might buy are not asked for.
        input.spread = None;
    }
    let (lives, columns) = sample_with_inputs(&cases, options).map_err(|(c, error)| {
        QuestionError::Resolve(ResolveError::engine(&cases[c].board, error))
    })?;
    let unknowns = unknowns(&kept, options);
    let plain: Vec<Vec<f64>> =
        lives.iter().map(|l| l.specimen_s.iter().map(|s| days(*s)).collect()).collect();
    let mut outcomes = plain.clone();
    for unknown in &unknowns {
        for (life, met) in outcomes[unknown.board].iter_mut().zip(&unknown.draws) {
            *life *= met;
        }
    }
    let names: Vec<String> = columns.iter().map(|c| c.key.clone()).collect();
    let mut tests: Vec<Test<'_>> = columns
        .iter()
        .zip(&names)
        .map(|(c, name)| Test {
            name,
            minutes: bench_test(cases[c.first.0].inputs[c.first.1].target).1,
            draws: &c.values,
        })
        .collect();
    tests.extend(unknowns.iter().map(|u| Test {
        name: &u.key,
        minutes: u.minutes,
        draws: &u.draws,
    }));
    let borrowed: Vec<&[f64]> = outcomes.iter().map(Vec::as_slice).collect();
    let found = next_test(&tests, &borrowed).map_err(|e| {
        QuestionError::Resolve(ResolveError::Missing {
            subject: format!("project {}", project.name),
            what: format!("draws that can be compared ({e})"),
            help: "report this".to_owned(),
        })
    })?;
    let target = asked.target_s.map(days);
    let lines: Vec<TestLine> = found
        .tests
        .iter()
        .filter_map(|t| {
            let mut line = if let Some(column) = columns.iter().find(|c| c.key == t.name) {
                let input = &cases[column.first.0].inputs[column.first.1];
                let (how, _) = bench_test(input.target);
                let mut line = blank(&input.label, kind_of(input.target), how);
                line.now = input.kind.figure(&input.figure);
                line.boards = column.cases.iter().map(|c| cases[*c].board.clone()).collect();
                if line.boards.len() == 1 && !input.label.contains(&line.boards[0]) {
                    line.name = format!("{} of {}", input.label, line.boards[0]);
                }
                if let Some(target) = target {
                    let hinge =
                        hinges(&column.values, &plain, &column.cases, target, asked.target_chance);
                    line.hinges = hinge.boards.iter().map(|b| cases[*b].board.clone()).collect();
                    line.ends = Some([hinge.low, hinge.high].map(|v| input.kind.text(v, None)));
                }
                line
            } else {
                let unknown = unknowns.iter().find(|u| u.key == t.name)?;
                let mut line = blank(&unknown.name, TestKind::Trait, &unknown.how);
                line.now.clone_from(&unknown.now);
                line.boards = vec![cases[unknown.board].board.clone()];
                line
            };
            line.minutes = t.minutes;
            line.gain_days = t.gain_days;
            line.standard_error_days = t.standard_error_days;
            line.days_per_minute = t.days_per_minute;
            line.flip_chance = t.flip_chance;
            line.flips_to = t.flips_to.map(|b| cases[b].board.clone());
            line.matters = t.matters;
            Some(line)
        })
        .collect();
    let plan = plan(&lines, minutes);
    let choice = cases[found.choice].board.clone();
    Ok(NextReport {
        schema_version: SCHEMA_VERSION,
        project: project.name.clone(),
        draws: options.draws,
        seed: options.seed,
        answer: answer(&lines, &choice, minutes) + &rests_on(&unknowns, found.choice),
        choice,
        expected_days: found.expected_days,
        perfect_days: found.perfect_days,
        noise_floor_days: found.noise_floor_days,
        tests: lines,
        plan,
        minutes,
        left_out,
        notes: vec![
            "the gain is an upper limit: of a test that settles the quantity completely, for the specimens at hand".to_owned(),
            "minutes: common practice, no source".to_owned(),
            format!("a need nobody has looked at is taken as met with {} % chance; a draw in which it is not met counts as no run time", COIN * 100.0),
        ],
    })
}

fn blank(name: &str, kind: TestKind, how: &str) -> TestLine {
    TestLine {
        name: name.to_owned(),
        kind,
        now: String::new(),
        boards: Vec::new(),
        how: how.to_owned(),
        minutes: None,
        gain_days: 0.0,
        standard_error_days: 0.0,
        days_per_minute: None,
        flip_chance: 0.0,
        flips_to: None,
        matters: false,
        hinges: Vec::new(),
        ends: None,
    }
}

/// How a quantity is tested and the minutes at the bench that takes. Common practice, no source; waiting alone is not counted.
pub fn bench_test(target: Target) -> (&'static str, Option<f64>) {
    match target {
        Target::ActivityCharge(_) => {
            ("profile the real sketch over the worst link, 20 wakes", Some(15.0))
        }
        Target::Peak { .. } => ("capture 20 radio bursts across 0.1 Ω", Some(15.0)),
        Target::SleepCurrent => {
            ("five repeats on the lowest range, zero before and after, settled", Some(20.0))
        }
        Target::AlwaysOn(_) => ("lift the part's feed and read the difference", Some(15.0)),
        Target::GroundCurrent => ("lift the regulator's load and read its input", Some(20.0)),
        Target::GroundInDropout => ("read the sleep current at 3.25 V", Some(5.0)),
        Target::Dropout => {
            ("step the supply down under radio bursts and read the rail", Some(10.0))
        }
        Target::ResetThreshold => ("step the rail down in 20 mV and note the reset", Some(15.0)),
        Target::CellResistance => {
            ("step of the radio's current on the cell, half charged", Some(10.0))
        }
        Target::CellCapacity => {
            ("discharge at 0.1 A to the cut-off (a day, hands on for 20 min)", Some(20.0))
        }
        Target::ProtectionCurrent => ("µA range in the cell's lead inside the wrap", Some(10.0)),
        Target::TemperatureShift => {
            ("a logger at the place for a week (hands on for 15 min)", Some(15.0))
        }
        Target::SelfDischarge => ("months of rest: no bench test", None),
        Target::AgeingLoss => ("years: no bench test", None),
    }
}

fn kind_of(target: Target) -> TestKind {
    match target {
        Target::ActivityCharge(_) | Target::Peak { .. } => TestKind::Load,
        Target::CellCapacity
        | Target::CellResistance
        | Target::SelfDischarge
        | Target::ProtectionCurrent
        | Target::AgeingLoss
        | Target::TemperatureShift => TestKind::Cell,
        _ => TestKind::Board,
    }
}

/// A need that nobody can tell yet, as draws of met (1) and not met (0).
struct Unknown {
    board: usize,
    key: String,
    name: String,
    now: String,
    how: String,
    minutes: Option<f64>,
    draws: Vec<f64>,
}

/// What the choice rests on that nobody has looked at; empty where there is nothing.
fn rests_on(unknowns: &[Unknown], choice: usize) -> String {
    let names: Vec<&str> =
        unknowns.iter().filter(|u| u.board == choice).map(|u| u.name.as_str()).collect();
    match names.as_slice() {
        [] => String::new(),
        names => format!(" It rests on what nobody has looked at: {}.", names.join(", ")),
    }
}

/// Far beyond the dimensions of the inputs, so that an unknown trait is unrelated to them.
const TRAIT_DIMENSION: usize = 500_000;

fn unknowns(kept: &[(Candidate, Case)], options: SampleOptions) -> Vec<Unknown> {
    let mut found = Vec::new();
    for (board, (candidate, _)) in kept.iter().enumerate() {
        for need in candidate.needs.iter().filter(|n| n.verdict == NeedVerdict::Undecided) {
            let (sure, now) = belief(&need.need, &need.reason);
            let mut draws = vec![0.0; options.draws];
            Draws::new(options.seed).fill(TRAIT_DIMENSION + found.len(), 0, &mut draws);
            for draw in &mut draws {
                *draw = f64::from(u8::from(*draw < sure));
            }
            found.push(Unknown {
                board,
                key: format!("need / {} / {}", candidate.board, need.need),
                name: format!("{} of {}", need.need, candidate.board),
                now,
                how: need
                    .reason
                    .split_once("; ")
                    .map_or(&need.reason[..], |(_, how)| how)
                    .to_owned(),
                minutes: need.test_minutes,
                draws,
            });
        }
    }
    found
}

/// How sure a need is met, from its own words: `only inferred no, 80 %; …`.
fn belief(need: &str, reason: &str) -> (f64, String) {
    let wanted = need.rsplit(": ").next().unwrap_or_default();
    let inferred = reason.strip_prefix("only inferred ").and_then(|rest| {
        let (word, rest) = rest.split_once(", ")?;
        let percent: f64 = rest.split_once(" %")?.0.trim().parse().ok()?;
        Some((word.to_owned(), percent / 100.0))
    });
    match inferred {
        Some((word, sure)) => {
            let met = if word == wanted { sure } else { 1.0 - sure };
            (met, format!("inferred {word}, {:.0} %", sure * 100.0))
        }
        None => (COIN, "unknown".to_owned()),
    }
}

struct Hinge {
    boards: Vec<usize>,
    low: f64,
    high: f64,
}

/// Boards whose verdict on the target turns between the lowest and the highest tenth of an input's draws.
fn hinges(values: &[f64], lives: &[Vec<f64>], boards: &[usize], target: f64, chance: f64) -> Hinge {
    let n = values.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]).then_with(|| a.cmp(b)));
    let tenth = (n / 10).max(1);
    let (low, high) = (&order[..tenth], &order[n - tenth..]);
    let median = |of: &[usize]| values[of[of.len() / 2]];
    let fits = |of: &[usize], life: &[f64]| {
        let lasting = of.iter().filter(|i| life[**i] >= target).count();
        lasting as f64 >= chance * of.len() as f64
    };
    Hinge {
        boards: boards
            .iter()
            .copied()
            .filter(|b| fits(low, &lives[*b]) != fits(high, &lives[*b]))
            .collect(),
        low: median(low),
        high: median(high),
    }
}

/// The tests worth doing, best first, as far as the minutes reach.
fn plan(lines: &[TestLine], minutes: Option<f64>) -> Vec<String> {
    let mut left = minutes.unwrap_or(f64::INFINITY);
    let mut plan = Vec::new();
    for line in lines.iter().filter(|l| l.matters || !l.hinges.is_empty()) {
        let Some(needed) = line.minutes else { continue };
        if needed <= left {
            left -= needed;
            plan.push(format!("{} ({needed:.0} min): {}", line.name, line.how));
        }
    }
    plan
}

fn answer(lines: &[TestLine], choice: &str, minutes: Option<f64>) -> String {
    let fits = |l: &&TestLine| l.minutes.is_some_and(|m| minutes.is_none_or(|left| m <= left));
    let best = lines.iter().filter(fits).find(|l| l.matters);
    let hinge = lines.iter().filter(fits).filter(|l| !l.hinges.is_empty()).max_by(|a, b| {
        let minutes = |l: &TestLine| l.minutes.unwrap_or(f64::INFINITY);
        a.hinges.len().cmp(&b.hinges.len()).then(minutes(b).total_cmp(&minutes(a)))
    });
    let hinge_words = |l: &TestLine| {
        let [low, high] = l.ends.clone().unwrap_or_default();
        format!(
            "{}, {:.0} min: between {low} and {high} the target turns for {}",
            l.name,
            l.minutes.unwrap_or_default(),
            l.hinges.join(", ")
        )
    };
    match (best, hinge) {
        (Some(l), hinge) => {
            let mut text = format!(
                "{}, {:.0} min: worth {} d, flips the choice from {choice} with {} chance.",
                l.name,
                l.minutes.unwrap_or_default(),
                crate::text::significant(l.gain_days, 2),
                crate::text::percent(l.flip_chance)
            );
            if let Some(h) = hinge.filter(|h| h.name != l.name) {
                text.push_str(&format!(" Whether the target is met hinges on {}.", hinge_words(h)));
            }
            text
        }
        (None, Some(h)) => format!(
            "No test changes the choice of {choice} by more than a tenth of a day. Whether the target is met hinges on {}.",
            hinge_words(h)
        ),
        (None, None) => format!(
            "No test on this list changes the choice of {choice} by more than a tenth of a day."
        ),
    }
}
