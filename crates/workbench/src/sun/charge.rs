//! May these boards charge these cells, and how long does it take?

use overwinter_documents::types::board::Board;
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::project::Project;
use overwinter_documents::{Diagnostic, YesNo};
use overwinter_sun::balance::engine::{CellBank, mean_current_a};
use overwinter_sun::balance::tables::Bank;
use overwinter_sun::charger::charge_time::{ChargeCell, ChargeEnd, ChargeTime, charge_time};

use super::known::{Assumptions, project};
use super::node::{REFERENCE, verdict};
use super::report::{ChargeLine, ChargeReport, ChargeSpan, ChargeVerdict};
use super::request::ChargeRequest;
use super::source::{Between, between, charge_window};
use crate::bench::Bench;
use crate::facts::Shown;
use crate::question::{CAUTIONS, QuestionError, boards_of, cell_of};
use crate::report::{NeedVerdict, SCHEMA_VERSION};
use crate::resolve;
use crate::text::{current, significant};
use crate::traits::sight;

/// Temperature of the bench at which a charge is timed, °C.
const BENCH_C: f64 = 22.0;

/// Answers the question.
///
/// # Errors
/// A name that does not exist, or a state of charge outside 0 to 1.
pub fn charge(bench: &Bench, request: &ChargeRequest) -> Result<ChargeReport, Vec<Diagnostic>> {
    if !(0.0..1.0).contains(&request.from_state) {
        return Err(vec![
            Diagnostic::error("state", format!("a state of charge of {}", request.from_state))
                .help("0 is empty; it must be below 1"),
        ]);
    }
    let told = |error: QuestionError| vec![crate::ask::diagnostic(&error)];
    let project = request.project.as_deref().map(|name| project(bench, name)).transpose()?;
    let project = project.as_ref().map(|entry| &*entry.document);
    let boards: Vec<&Board> = if !request.boards.is_empty() {
        let named = request.boards.iter().map(|name| {
            bench.board(name).ok_or_else(|| {
                told(QuestionError::no_such("board", name, bench.boards().map(|b| b.name.as_str())))
            })
        });
        named.collect::<Result<_, _>>()?
    } else if let Some(project) = project {
        boards_of(bench, project).map_err(told)?
    } else {
        bench.boards().collect()
    };
    let cells: Vec<&Cell> = if !request.cells.is_empty() {
        let named = request.cells.iter().map(|name| {
            bench.cell(name).ok_or_else(|| {
                told(QuestionError::no_such("cell", name, bench.cells().map(|c| c.name.as_str())))
            })
        });
        named.collect::<Result<_, _>>()?
    } else if let Some(project) = project {
        let others = project.other_cells.iter().filter_map(|name| bench.cell(name));
        let mut cells = vec![cell_of(bench, project).map_err(told)?];
        cells.extend(others);
        cells
    } else {
        bench.cells().collect()
    };
    let lines = boards
        .iter()
        .flat_map(|board| cells.iter().map(move |cell| (*board, *cell)))
        .map(|(board, cell)| line(bench, project, board, cell, request.from_state))
        .collect();
    let mut cautions: Vec<String> = CAUTIONS.iter().map(|c| (*c).to_owned()).collect();
    let cold: Vec<&str> = boards
        .iter()
        .filter(|b| {
            b.charger.as_ref().is_some_and(|c| c.senses_temperature.known() == Some(YesNo::Yes))
        })
        .map(|b| b.name.as_str())
        .collect();
    cautions.push(if cold.is_empty() {
        "None of these chargers is known to sense the cell's temperature: nothing prevents charging in the frost, which ruins a lithium-ion cell.".to_owned()
    } else {
        format!(
            "Only {} senses the cell's temperature: nothing prevents the others from charging in the frost, which ruins a lithium-ion cell.",
            cold.join(", ")
        )
    });
    cautions.push(
        "Do not leave a first charge unattended; charge on a surface that does not burn.".into(),
    );
    Ok(ChargeReport {
        schema_version: SCHEMA_VERSION,
        project: project.map(|p| p.name.clone()),
        from_state: request.from_state,
        lines,
        cautions,
    })
}

fn line(
    bench: &Bench,
    project: Option<&Project>,
    board: &Board,
    cell: &Cell,
    from_state: f64,
) -> ChargeLine {
    let mut known = Assumptions::default();
    let shown = Shown::new(bench, board, None);
    let traits = sight(bench, board, shown.specimen).traits;
    let window_c = charge_window(&bench.cell_figures(cell), &mut known);
    // At the bench the plug is what charges: what lies between panel and board is left out.
    let between = between(bench, None, cell, &shown, &traits, window_c, &mut known);
    let mut result = ChargeLine {
        board: board.name.clone(),
        cell: cell.name.clone(),
        set_current_a: None,
        verdict: ChargeVerdict { allowed: NeedVerdict::Undecided, reasons: Vec::new() },
        span: None,
        assumptions: Vec::new(),
    };
    let between = match between {
        Ok(between) => between,
        Err(no) => {
            result.verdict = ChargeVerdict {
                allowed: if no.is_no { NeedVerdict::DoesNot } else { NeedVerdict::Undecided },
                reasons: vec![no.why, no.help],
            };
            return result;
        }
    };
    result.set_current_a = between.current_known.then_some(between.charger.set_current_a);
    result.verdict = verdict(bench, cell, &shown, &between.charger, window_c).0;
    // How long a forbidden charge takes is nobody's business.
    if result.verdict.allowed != NeedVerdict::DoesNot {
        match span(bench, project, board, cell, &between, from_state) {
            Ok(span) => result.span = Some(span),
            Err(why) => {
                result.verdict.reasons.push(format!("how long it takes cannot be told: {why}"));
            }
        }
    }
    result.assumptions = known.0;
    result
}

fn span(
    bench: &Bench,
    project: Option<&Project>,
    board: &Board,
    cell: &Cell,
    between: &Between,
    from_state: f64,
) -> Result<ChargeSpan, String> {
    let (engine_cell, load_a) = match project.map(|p| resolve::case(bench, p, cell, board, None)) {
        Some(Ok(case)) => {
            let load = mean_current_a(&case.scenario, REFERENCE.0, BENCH_C);
            (case.scenario.cell, load)
        }
        Some(Err(error)) => return Err(error.to_string()),
        None => {
            let cell = resolve::cell::cell(bench, cell, &mut Vec::new(), &mut Vec::new());
            (cell.map_err(|e| e.to_string())?, 0.0)
        }
    };
    let bank = CellBank(&engine_cell);
    let knots: Vec<(f64, f64)> = (0..=20)
        .map(|k| f64::from(k) / 20.0)
        .map(|s| (s, bank.open_circuit_v(s)))
        .fold(Vec::new(), |mut knots: Vec<(f64, f64)>, (s, v)| {
            // A level stretch is given a hair of slope: the closed form needs a rising curve.
            let v = knots.last().map_or(v, |(_, before)| v.max(before + 1e-6));
            knots.push((s, v));
            knots
        });
    let charge_cell = ChargeCell {
        open_circuit: &knots,
        resistance_ohm: bank.resistance_ohm(0.5, BENCH_C).max(1e-3),
        capacity_c: engine_cell.capacity_c,
    };
    let time = charge_time(&charge_cell, &between.charger, f64::INFINITY, load_a, from_state)
        .map_err(|error| error.to_string())?;
    Ok(ChargeSpan {
        total_s: time.total_s(),
        precondition_s: time.precondition_s,
        constant_current_s: time.constant_current_s,
        constant_voltage_s: time.constant_voltage_s,
        end_state: time.end_state,
        end: end_text(&time, between, load_a),
    })
}

fn end_text(time: &ChargeTime, between: &Between, load_a: f64) -> String {
    let charger = &between.charger;
    match time.end {
        ChargeEnd::Terminated => {
            format!("ends at {}", current(charger.termination_a()))
        }
        ChargeEnd::Full => "ends with the cell full by its curve".to_owned(),
        ChargeEnd::SafetyTimer => {
            format!("the safety timer ends it at {} %", significant(100.0 * time.end_state, 2))
        }
        ChargeEnd::HeldForever => format!(
            "never ends: the load of {} keeps the charger above {}, and the cell is held full",
            current(load_a),
            current(charger.termination_a())
        ),
        ChargeEnd::LoadTakesAll => {
            format!("the load of {} takes everything the charger gives", current(load_a))
        }
    }
}
