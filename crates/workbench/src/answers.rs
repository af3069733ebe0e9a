//! The questions as whole answers: the choice for a project, the forecast of one board.

use overwinter_documents::types::board::Board;
use overwinter_documents::types::project::Project;
use overwinter_engine::{Account, Ending, Engine};

use crate::bench::Bench;
use crate::case::{Case, Target, ending_activity};
use crate::choice::{Candidate, Question, choose, ending_text, flag_text, life_answer, reworks};
use crate::explore::{allowances, moments, sensitivities};
use crate::question::{CAUTIONS, QuestionError, boards_of, candidate, cell_of, question};
use crate::report::{
    ChoiceReport, ForecastReport, LedgerLine, MarginLine, NeedResult, SCHEMA_VERSION,
};
use crate::resolve::ResolveError;
use crate::sampling::{SampleOptions, sample};
use crate::text::{charge, duration, voltage};

/// The choice for a project.
///
/// # Errors
/// A name that does not exist, or a case that cannot be forecast, with the board's name.
pub fn choice(
    bench: &Bench,
    project: &Project,
    options: SampleOptions,
) -> Result<ChoiceReport, QuestionError> {
    let (question, mut candidates) = asked(bench, project)?;
    add_outage(&mut candidates, outage(bench, project)?);
    choose(&question, &candidates, options)
        .map_err(|(subject, error)| ResolveError::Engine { subject, error }.into())
}

/// A project's question and its candidates; the outage need, which takes long, is [`outage`]'s.
pub(crate) fn asked(
    bench: &Bench,
    project: &Project,
) -> Result<(Question, Vec<Candidate>), QuestionError> {
    let cell = cell_of(bench, project)?;
    let boards = boards_of(bench, project)?;
    let candidates =
        boards.iter().map(|board| candidate(bench, project, cell, board, None)).collect();
    let mut question = question(project, cell);
    if project.site.is_some() && project.panel.is_some() {
        question.warnings.push(format!(
            "these lives are without sun: `overwinter sun \"{}\"` balances them with the panel",
            project.name
        ));
    }
    Ok((question, candidates))
}

/// The outage need of each board of a project, from years of sun and load; `None` where the project has no such need.
pub(crate) fn outage(
    bench: &Bench,
    project: &Project,
) -> Result<Option<Vec<NeedResult>>, QuestionError> {
    let (cell, boards) = (cell_of(bench, project)?, boards_of(bench, project)?);
    Ok(crate::sun::outage_needs(bench, project, cell, &boards))
}

/// Puts the outage need under the others.
pub(crate) fn add_outage(candidates: &mut [Candidate], needs: Option<Vec<NeedResult>>) {
    for (candidate, need) in candidates.iter_mut().zip(needs.into_iter().flatten()) {
        candidate.needs.push(need);
    }
}

/// Points of a forecast's curve.
const MOMENTS: usize = 121;

/// The forecast of one board in full.
///
/// # Errors
/// A name that does not exist, or a case that cannot be forecast.
pub fn forecast(
    bench: &Bench,
    project: &Project,
    board: &Board,
    specimen: Option<&str>,
    options: SampleOptions,
) -> Result<ForecastReport, QuestionError> {
    let cell = cell_of(bench, project)?;
    let asked = question(project, cell);
    let case = crate::resolve::case(bench, project, cell, board, specimen)?;
    let engine_error = |error| ResolveError::Engine { subject: board.name.clone(), error };
    let best = Engine::new().forecast(&case.scenario, MOMENTS).map_err(engine_error)?;
    let sampled =
        sample(std::slice::from_ref(&case), options).map_err(|(_, error)| engine_error(error))?;
    let lives = &sampled[0];
    let answer = |lives_s: &[f64], endings: &[(Ending, Option<usize>, usize)]| {
        life_answer(&case, lives_s, endings, asked.target_s).ok_or_else(|| ResolveError::Missing {
            subject: "forecast".into(),
            what: "at least one draw".into(),
            help: "ask for more draws".into(),
        })
    };
    let this_specimen = answer(&lives.specimen_s, &lives.specimen_endings)?;
    let one_you_might_buy = answer(&lives.bought_s, &lives.bought_endings)?;
    let until_s = this_specimen.summary.p90_s.max(best.life.life_s).max(3600.0);
    let mut flags = case.gaps.clone();
    flags.extend(lives.flags.iter().map(|flag| flag_text(flag).to_owned()));
    flags.extend(lives.quick.map(crate::choice::quick_text));
    let target_s = asked.target_s;
    let allowed = match target_s {
        Some(target) => {
            allowances(&case, target, asked.target_chance, options.seed).map_err(engine_error)?
        }
        None => Vec::new(),
    };
    let whole = candidate(bench, project, cell, board, specimen);
    let gains = reworks(&whole, target_s, options)
        .map_err(|(subject, error)| ResolveError::Engine { subject, error })?;
    Ok(ForecastReport {
        schema_version: SCHEMA_VERSION,
        board: board.name.clone(),
        specimen: case.specimen.clone(),
        project: project.name.clone(),
        cell: asked.cell.clone(),
        draws: options.draws,
        seed: options.seed,
        target_s,
        life_s: best.life.life_s,
        life_is_limit: best.life.ending == Ending::AliveAtHorizon,
        ending: ending_text(best.life.ending).to_owned(),
        ending_activity: ending_activity(&case.scenario, &best.life).map(str::to_owned),
        margins: best
            .margins
            .iter()
            .filter(|m| m.limit != best.life.ending)
            .map(margin_line)
            .collect(),
        stranded_c: best.stranded_c,
        ledger: ledger(&case, &best),
        initial_charge_c: best.initial_charge_c,
        this_specimen,
        one_you_might_buy,
        spread_statement: case
            .input(Target::SleepCurrent)
            .and_then(|i| i.spread.as_ref())
            .map_or_else(
                || "no spread between specimens applied".to_owned(),
                |s| s.statement.clone(),
            ),
        moments: moments(&case, until_s, MOMENTS, options.seed).map_err(engine_error)?,
        sensitivities: sensitivities(&case).map_err(engine_error)?,
        allowances: allowed,
        reworks: gains,
        flags,
        cautions: CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
    })
}

fn margin_line(margin: &overwinter_engine::outcome::Margin) -> MarginLine {
    let text = match margin.limit {
        Ending::ChargeExhausted => charge(margin.margin),
        Ending::ShelfLife => duration(margin.margin),
        _ => voltage(margin.margin),
    };
    MarginLine { limit: ending_text(margin.limit).to_owned(), margin: text }
}

/// The ledger in words, largest first, what is stranded last.
pub fn ledger(case: &Case, forecast: &overwinter_engine::Forecast) -> Vec<LedgerLine> {
    let scenario = &case.scenario;
    let mut lines: Vec<LedgerLine> = forecast
        .ledger
        .iter()
        .filter(|entry| entry.charge_c != 0.0)
        .map(|entry| LedgerLine {
            name: match &entry.account {
                Account::Activity(k) => scenario.load.activities[*k].name.clone(),
                Account::Sleep => "sleep, rest of the board".to_owned(),
                Account::AlwaysOn(k) => scenario.path.always_on[*k].name.clone(),
                Account::Protection => "cell protection".to_owned(),
                Account::BulkLeakage => "bulk capacitor's leakage".to_owned(),
                Account::Regulator => "regulator".to_owned(),
                Account::SelfDischarge => "self-discharge".to_owned(),
                Account::Ageing => "ageing".to_owned(),
                Account::Stranded => "stranded in the cell".to_owned(),
            },
            charge_c: entry.charge_c,
            share: entry.charge_c / forecast.initial_charge_c,
        })
        .collect();
    let stranded = |line: &LedgerLine| line.name == "stranded in the cell";
    lines.sort_by(|a, b| {
        stranded(a).cmp(&stranded(b)).then_with(|| b.charge_c.total_cmp(&a.charge_c))
    });
    lines
}
