//! A board on the project's cell as a node of the balance: the forecast's own load, supply path and cell.

use overwinter_documents::YesNo;
use overwinter_documents::types::board::Board;
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::project::Project;
use overwinter_engine::{Flag, Scenario};
use overwinter_sun::balance::engine::{EngineNode, mean_current_a};
use overwinter_sun::balance::tables::lowest_states;
use overwinter_sun::balance::{Node, NodeTables, RideThrough};
use overwinter_sun::charger::permission::{ChargeLimits, Permission, Reason, may_charge};
use overwinter_sun::charger::{Charger, Source};

use super::known::{Assumptions, Basis};
use super::place::Place;
use super::report::{ChargeVerdict, SunAssumption};
use super::source::{
    Between, Labelled, between, charge_window, coupling_text, ride_through, source,
};
use crate::bench::Bench;
use crate::case::{Case, Target};
use crate::choice::{ending_text, flag_text};
use crate::facts::Shown;
use crate::question::charger_need;
use crate::report::NeedVerdict;
use crate::resolve;
use crate::text::{percent, voltage};
use crate::traits::sight;

/// Voltage and temperature at which loads are compared.
pub(crate) const REFERENCE: (f64, f64) = (3.8, 10.0);

/// A board ready to be run through years.
pub(crate) struct Prepared {
    pub(crate) board: String,
    pub(crate) case: Case,
    /// The case's scenario with the cell as old as the project plans for.
    pub(crate) scenario: Scenario,
    /// Share of the capacity that ageing has taken from it.
    pub(crate) lost: f64,
    pub(crate) tables: NodeTables,
    pub(crate) source: Source,
    pub(crate) between: Between,
    pub(crate) ride_through: RideThrough,
    pub(crate) attach: RideThrough,
    pub(crate) window_c: (f64, f64),
    pub(crate) cell_above_air_k: f64,
    pub(crate) charge: Option<ChargeVerdict>,
    pub(crate) assumptions: Vec<SunAssumption>,
    pub(crate) flags: Vec<String>,
}

/// A board that cannot be run.
pub(crate) struct Refused {
    pub(crate) board: String,
    pub(crate) specimen: Option<String>,
    pub(crate) why: String,
    pub(crate) help: String,
    pub(crate) charge: Option<ChargeVerdict>,
    /// A plain no, or an unknown.
    pub(crate) is_no: bool,
    pub(crate) assumptions: Vec<SunAssumption>,
}

/// What every board of a question shares.
pub(crate) struct Shared<'a> {
    pub(crate) bench: &'a Bench,
    pub(crate) project: &'a Project,
    pub(crate) cell: &'a Cell,
    pub(crate) place: &'a Place,
    pub(crate) labelled: &'a Labelled,
}

impl Prepared {
    /// The node of the balance with these tables and this source.
    pub(crate) fn node<'a>(&self, tables: &'a NodeTables, source: &'a Source) -> Node<'a> {
        Node {
            ride_through: self.ride_through,
            attach: self.attach,
            cell_above_air_k: self.cell_above_air_k,
            cell_window_c: self.window_c,
            ..Node::new(tables, source)
        }
    }
}

/// Makes a board ready.
///
/// # Errors
/// [`Refused`]: no charger, a dead specimen, a cell that must not be charged so.
pub(crate) fn prepare(shared: &Shared<'_>, board: &Board) -> Result<Prepared, Box<Refused>> {
    let Shared { bench, project, cell, place, labelled } = *shared;
    let mut known = Assumptions::default();
    let shown = Shown::new(bench, board, None);
    let sighted = sight(bench, board, shown.specimen);
    let refuse = |why: String, help: &str, is_no, charge, known: Assumptions| {
        Box::new(Refused {
            board: board.name.clone(),
            specimen: shown.specimen.map(|s| s.id.clone()),
            why,
            help: help.to_owned(),
            charge,
            is_no,
            assumptions: known.0,
        })
    };
    let case = match resolve::case(bench, project, cell, board, None) {
        Ok(case) => case,
        Err(error) => {
            return Err(refuse(error.to_string(), error.help(), false, None, known));
        }
    };
    let figures = bench.cell_figures(cell);
    let window_c = charge_window(&figures, &mut known);
    let between =
        match between(bench, Some(project), cell, &shown, &sighted.traits, window_c, &mut known) {
            Ok(between) => between,
            Err(no) => return Err(refuse(no.why, &no.help, no.is_no, None, known)),
        };
    let (charge, permission) = verdict(bench, cell, &shown, &between.charger, window_c);
    if permission
        .reasons
        .iter()
        .any(|r| matches!(r, Reason::PrimaryCell | Reason::VoltageTooHigh { .. }))
    {
        let why = format!(
            "{} must not charge the {}: {}",
            board.name,
            cell.name,
            charge.reasons.first().cloned().unwrap_or_default()
        );
        let help = "take a rechargeable cell of the charger's voltage, or another board";
        return Err(refuse(why, help, true, Some(charge), known));
    }
    let (scenario, lost) = aged(&case.scenario, project, place, &mut known);
    let engine = match EngineNode::new(&scenario) {
        Ok(engine) => engine,
        Err(error) => {
            let help = "correct the value in the document";
            return Err(refuse(error.to_string(), help, false, Some(charge), known));
        }
    };
    let tables = match NodeTables::new(&engine, &engine) {
        Ok(tables) => tables,
        Err(error) => {
            let help = "correct the cell's or the board's figures";
            return Err(refuse(error.to_string(), help, false, Some(charge), known));
        }
    };
    let mut flags = between.flags.clone();
    let source = source(labelled, &between);
    flags.push(format!("the panel works {}", coupling_text(&source)));
    flags.push(format!("at 0 °C it goes dark by: {}", ending_text(engine.ending(0.0))));
    let (removed, attached) = ride_through(bench, &shown, &sighted.traits, &mut flags);
    flags.extend(case.gaps.iter().cloned());
    // The engine was asked without what the balance does itself: those flags are its question's, not the board's.
    let ours = |flag: &Flag| match flag {
        Flag::SelfDischargeUnknown => case.scenario.cell.self_discharge.is_none(),
        Flag::AgeingUnknown | Flag::SlowWells | Flag::FewCycles => false,
        _ => true,
    };
    flags.extend(engine.flags().iter().filter(ours).map(|flag| flag_text(flag).to_owned()));
    Ok(Prepared {
        board: board.name.clone(),
        case,
        scenario,
        lost,
        tables,
        source,
        between,
        ride_through: removed,
        attach: attached,
        window_c,
        cell_above_air_k: place.cell_above_air_k,
        charge: Some(charge),
        assumptions: known.0,
        flags,
    })
}

/// The cell as it is after the years that the project plans for.
fn aged(
    scenario: &Scenario,
    project: &Project,
    place: &Place,
    known: &mut Assumptions,
) -> (Scenario, f64) {
    let mut scenario = scenario.clone();
    let Some(age) = &project.cell_age else {
        known.take(
            "how old the cell is",
            "new",
            Basis::Assumed,
            "enter `cell_age`: the last winter counts, not the first",
        );
        return (scenario, 0.0);
    };
    let years = age.si() / overwinter_engine::climate::YEAR_S;
    let Some(law) = scenario.cell.ageing else {
        known.take(
            "how the cell ages",
            "not at all",
            Basis::Assumed,
            "enter `ageing` of the cell or its chemistry",
        );
        return (scenario, 0.0);
    };
    // Ageing runs with the year's mean temperature: the warm half ages more, which this leaves out.
    let mean_c = place.season_c().iter().sum::<f64>() / 12.0 + place.cell_above_air_k;
    let arrhenius = libm::exp(
        -law.activation_j_per_mol / 8.314462618 * (1.0 / (mean_c + 273.15) - 1.0 / 298.15),
    );
    let lost = (law.capacity_loss_per_sqrt_year * years.max(0.0).sqrt() * arrhenius).min(0.95);
    scenario.cell.capacity_c *= 1.0 - lost;
    known.take(
        "how much the cell ages in this time",
        format!("{} of its capacity lost, resistance unchanged", percent(lost)),
        Basis::Assumed,
        "measure capacity and resistance at a visit",
    );
    (scenario, lost)
}

/// May this charger charge this cell? The verdict is that of `choose`; frost and voltage are told besides.
pub(crate) fn verdict(
    bench: &Bench,
    cell: &Cell,
    shown: &Shown<'_>,
    charger: &Charger,
    window_c: (f64, f64),
) -> (ChargeVerdict, Permission) {
    let figures = bench.cell_figures(cell);
    let capacity_c = cell.capacity.si() * f64::from(cell.in_parallel.unwrap_or(1));
    let by_rate = figures.charge_rate.as_ref().map(|r| r.si() * capacity_c / 3600.0);
    let permission = may_charge(
        charger,
        &ChargeLimits {
            rechargeable: bench.chemistry(&cell.chemistry).map(|c| c.rechargeable == YesNo::Yes),
            charge_voltage_v: figures
                .charge_voltage
                .as_ref()
                .map(|v| v.si() * f64::from(cell.in_series.unwrap_or(1))),
            highest_charge_a: figures.charge_current.as_ref().map(|i| i.si()).or(by_rate),
            capacity_c: Some(capacity_c),
            charge_window_c: Some(window_c),
        },
    );
    let sighted = sight(bench, shown.board, shown.specimen);
    let need = charger_need(bench, cell, shown, &sighted.traits);
    let (allowed, first) = need.map_or(
        (NeedVerdict::Undecided, "whether it has a charger is not known".to_owned()),
        |need| (need.verdict, need.reason),
    );
    let mut reasons = vec![first];
    for reason in &permission.reasons {
        let told = match reason {
            Reason::PrimaryCell => {
                "a primary cell: never charge it, and keep it apart from any charger input or panel"
                    .to_owned()
            }
            Reason::VoltageTooHigh { charger_v, cell_v } => format!(
                "the charger's {} is above the cell's {}",
                voltage(*charger_v),
                voltage(*cell_v)
            ),
            Reason::VoltageLow { charger_v, cell_v } => format!(
                "charged to {} instead of {}: not quite full, which it likes",
                voltage(*charger_v),
                voltage(*cell_v)
            ),
            Reason::NothingPreventsFrost { below_c } => format!(
                "nothing prevents charging below {below_c:.0} °C: the charger does not know the cell's temperature"
            ),
            Reason::VoltageUnknown => "the cell's charge voltage is not known".to_owned(),
            Reason::RechargeableUnknown => {
                "whether the cell may be charged at all is not known".to_owned()
            }
            // The first reason says it with figures.
            Reason::CurrentTooHigh { .. }
            | Reason::CurrentAboveUsual { .. }
            | Reason::CurrentUnknown => continue,
        };
        reasons.push(told);
    }
    (ChargeVerdict { allowed, reasons }, permission)
}

/// How far the lowest usable state moves with each input, per SI unit of it at each temperature of the tables; only what moves it.
pub(crate) fn state_slopes(prepared: &Prepared) -> Vec<(usize, Vec<f64>)> {
    let case = &prepared.case;
    let Ok(best) = EngineNode::new(&prepared.scenario) else { return Vec::new() };
    let best = lowest_states(&best);
    let mut work = prepared.scenario.clone();
    let mut slopes = Vec::new();
    for (index, input) in case.inputs.iter().enumerate() {
        let decides = matches!(
            input.target,
            Target::CellResistance
                | Target::Peak { .. }
                | Target::Dropout
                | Target::ResetThreshold
                | Target::GroundInDropout
        );
        let u = input.figure.standard_uncertainty();
        if !decides || u <= 0.0 {
            continue;
        }
        let value = input.figure.value();
        case.set(&mut work, input, value + u);
        if let Ok(moved) = EngineNode::new(&work) {
            let slope: Vec<f64> =
                lowest_states(&moved).iter().zip(&best).map(|(m, b)| (m - b) / u).collect();
            if slope.iter().any(|s| *s != 0.0) {
                slopes.push((index, slope));
            }
        }
        case.set(&mut work, input, value);
    }
    slopes
}

/// How far the mean load moves with each input, A per SI unit of the input, at the reference point; only what moves it.
pub(crate) fn load_slopes(case: &Case) -> Vec<(usize, f64)> {
    let (volts, celsius) = REFERENCE;
    let best = mean_current_a(&case.scenario, volts, celsius);
    let mut work = case.scenario.clone();
    let mut slopes = Vec::new();
    for (index, input) in case.inputs.iter().enumerate() {
        let draws = matches!(
            input.target,
            Target::ActivityCharge(_)
                | Target::SleepCurrent
                | Target::AlwaysOn(_)
                | Target::GroundCurrent
                | Target::ProtectionCurrent
        );
        let u = input.figure.standard_uncertainty();
        if !draws || u <= 0.0 {
            continue;
        }
        let value = input.figure.value();
        case.set(&mut work, input, value + u);
        let slope = (mean_current_a(&work, volts, celsius) - best) / u;
        case.set(&mut work, input, value);
        if slope != 0.0 {
            slopes.push((index, slope));
        }
    }
    slopes
}
