//! Ride-through: what the trials prove, what the path predicts for a low cell, and how many resets a year follow.

use overwinter_documents::Choice;
use overwinter_documents::types::session::{Doing, RideThrough, SourceEvent};
use overwinter_documents::types::supply::LoadSharing;
use overwinter_figures::ride_through::{
    Consistency, HandOver, Trials, assess, compare, resets_a_year,
};
use overwinter_statistics::{Figure, Source};
use serde::Serialize;

use super::printed::{Printed, printed};
use super::sweep::living;
use crate::bench::Bench;
use crate::facts::Shown;
use crate::priors;
use crate::question::QuestionError;
use crate::report::SCHEMA_VERSION;
use crate::resolve::module_of;
use crate::text::{percent, significant};

/// Trials of one kind at one cell voltage.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrialLine {
    /// Removed or attached.
    pub event: &'static str,
    /// What the board was doing.
    pub doing: Option<&'static str>,
    /// Plug or slow ramp.
    pub edge: Option<&'static str>,
    /// Cell voltage, V.
    pub cell_v: f64,
    /// Resets.
    pub resets: u32,
    /// Trials.
    pub tried: u32,
    /// Exact two-sided 95 % bounds (Clopper–Pearson).
    pub bounds: Option<[f64; 2]>,
    /// One-sided 95 % upper bound.
    pub at_most: Option<f64>,
    /// Chance of a reset that the path predicts; `None` where it predicts nothing.
    pub predicted: Option<f64>,
    /// Whether trials and prediction agree, in words.
    pub agrees: Option<&'static str>,
    /// Resets a year at this cell voltage: expected, lowest, highest.
    pub resets_a_year: Option<[f64; 3]>,
}

/// The lowest safe cell voltage as the path predicts it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Prediction {
    /// What the board does.
    pub doing: &'static str,
    /// Lowest cell voltage at which the rail stays above the reset threshold.
    pub lowest_safe: Printed,
    /// 95 % chance of no reset needs this cell voltage, V.
    pub safe_with_95_v: f64,
    /// The sum in words.
    pub sum: String,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RideReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Board.
    pub board: String,
    /// Specimen.
    pub specimen: String,
    /// Trials, by event and falling voltage.
    pub trials: Vec<TrialLine>,
    /// Predictions for the moment the source goes away.
    pub predictions: Vec<Prediction>,
    /// Source events a year.
    pub events_a_year: Option<f64>,
    /// The verdict in words.
    pub verdict: Vec<String>,
    /// Trials and prediction contradict each other somewhere.
    pub contradiction: bool,
    /// What the prediction rests on, assumptions among it.
    pub basis: Vec<String>,
}

/// Trials and prediction of a board's specimen; `events_a_year` comes and goes of the source a year.
///
/// # Errors
/// No such board; a dead specimen.
pub fn ride(
    bench: &Bench,
    board: &str,
    wanted: Option<&str>,
    events_a_year: Option<f64>,
) -> Result<RideReport, QuestionError> {
    let found = bench.board(board).ok_or_else(|| {
        QuestionError::no_such("board", board, bench.boards().map(|b| b.name.as_str()))
    })?;
    let shown = Shown::new(bench, found, wanted);
    let specimen = living(&shown, board)?;
    let mut basis = Vec::new();
    let asleep = hand_over(&shown, false, &mut basis);
    let awake = hand_over(&shown, true, &mut Vec::new());
    let mut all: Vec<&RideThrough> = bench
        .sessions()
        .filter(|s| s.specimen.as_deref() == Some(specimen.id.as_str()) && s.retracted.is_none())
        .flat_map(|s| &s.ride_through)
        .collect();
    all.sort_by(|a, b| {
        let event = |t: &RideThrough| t.event != SourceEvent::Removed;
        event(a)
            .cmp(&event(b))
            .then_with(|| b.cell_voltage.si().total_cmp(&a.cell_voltage.si()))
            .then_with(|| a.doing.map(Choice::word).cmp(&b.doing.map(Choice::word)))
    });
    let trials: Vec<TrialLine> = all
        .iter()
        .map(|t| {
            let path = match (t.event, t.doing) {
                (SourceEvent::Attached, _) => None,
                (SourceEvent::Removed, Some(Doing::Asleep)) => asleep.as_ref(),
                (SourceEvent::Removed, _) => awake.as_ref(),
            };
            line(t, path, events_a_year)
        })
        .collect();
    let predictions = [("asleep", &asleep), ("radio on", &awake)]
        .into_iter()
        .filter_map(|(doing, path)| path.as_ref().map(|p| prediction(doing, p)))
        .collect::<Vec<_>>();
    let verdict = verdict(&trials, &predictions);
    Ok(RideReport {
        schema_version: SCHEMA_VERSION,
        board: found.name.clone(),
        specimen: specimen.id.clone(),
        contradiction: trials.iter().any(|t| t.agrees.is_some_and(|a| a != AGREES)),
        trials,
        predictions,
        events_a_year,
        verdict,
        basis,
    })
}

/// A voltage to the millivolt; nothing is 0 V, not 0 nV.
fn voltage(v: f64) -> String {
    let millivolts = (v * 1e3).round();
    if millivolts == 0.0 {
        "0 V".to_owned()
    } else {
        format!("{} V", significant(millivolts / 1e3, 4))
    }
}

const AGREES: &str = "agrees";

fn line(t: &RideThrough, path: Option<&HandOver>, events: Option<f64>) -> TrialLine {
    let trials = Trials { resets: t.resets, tried: t.trials };
    let cell_v = t.cell_voltage.si();
    let cell = Figure::with_source(cell_v, Source::rectangular("cell voltage", 0.01));
    let bounds = assess(trials, 0.95);
    TrialLine {
        event: t.event.word(),
        doing: t.doing.map(Choice::word),
        edge: t.edge.map(Choice::word),
        cell_v,
        resets: t.resets,
        tried: t.trials,
        bounds: bounds.map(|b| [b.low, b.high]),
        at_most: bounds.map(|b| b.at_most),
        predicted: path.map(|p| p.reset_probability(&cell)),
        agrees: path.and_then(|p| compare(p, &cell, trials)).map(|c| match c {
            Consistency::Agrees => AGREES,
            Consistency::BetterThanPredicted => {
                "better than predicted: something helps that is not in the path"
            }
            Consistency::WorseThanPredicted => {
                "worse than predicted: something is lost that is not in the path"
            }
        }),
        resets_a_year: bounds
            .zip(events)
            .and_then(|(b, n)| resets_a_year(&b, n))
            .map(|r| [r.expected.unwrap_or(f64::NAN), r.low, r.high])
            .filter(|r| r[0].is_finite()),
    }
}

/// The path while the source goes away; `None` where the hand-over is unknown.
fn hand_over(shown: &Shown<'_>, radio: bool, basis: &mut Vec<String>) -> Option<HandOver> {
    let supply =
        shown.specimen.map_or_else(|| shown.board.supply.clone(), |s| shown.board.supply_of(s));
    let owner = shown.specimen.map_or(shown.board.name.as_str(), |s| s.id.as_str());
    let normal = |what: &str, value: f64, u: f64| {
        Figure::with_source(value, Source::normal(&format!("{owner} / {what}"), u))
    };
    let diode_v = match (&supply.hand_over_drop, supply.load_sharing) {
        (Some(drop), _) => {
            // A silicon junction moves by about 2 mV/K and with its current: 30 mV where nothing is stated.
            let u = drop.value.standard_uncertainty();
            basis.push(format!(
                "drop at the hand-over {}{}",
                voltage(drop.si()),
                if u.is_none() { ", ± 30 mV assumed" } else { "" }
            ));
            normal("hand-over", drop.si(), u.unwrap_or(0.03))
        }
        (None, Some(LoadSharing::DiodeAndTransistor)) => {
            basis.push("drop at the hand-over not measured: 0.70 V of a body diode assumed, ± 50 mV (from memory)".into());
            normal("hand-over", 0.7, 0.05)
        }
        (None, Some(LoadSharing::OnCell)) => {
            basis.push("the load hangs on the cell: nothing is lost when the source goes".into());
            Figure::exact(0.0)
        }
        (None, Some(LoadSharing::PowerPath)) => {
            basis.push("a power path without a stated drop: none assumed".into());
            Figure::exact(0.0)
        }
        (None, None) => {
            basis.push("how load and charger share the cell is unknown: no prediction (trace it, or read the drop with a scope at the moment the source goes)".into());
            return None;
        }
    };
    let module = module_of(shown.bench, shown.board);
    let reset = supply.reset_threshold.as_ref().or(module.and_then(|m| m.reset_threshold.as_ref()));
    let Some(reset) = reset else {
        basis.push("the reset threshold is unknown: no prediction".into());
        return None;
    };
    let threshold_u =
        reset.value.standard_uncertainty().unwrap_or(priors::RESET_THRESHOLD * reset.si());
    let load_a = if radio { peak_a(shown) } else { 0.0 };
    let dropout_v = if radio {
        if let Some((figure, source)) = super::burden::dropout_v(shown, load_a) {
            basis.push(format!("dropout at the radio peak {} ({source})", voltage(figure.value())));
            figure
        } else {
            basis.push("the dropout is unknown: no prediction for the radio".into());
            return None;
        }
    } else {
        basis.push("asleep the regulator loses next to nothing".into());
        Figure::exact(0.0)
    };
    let path = supply.series_resistance.as_ref();
    let path_ohm = path.map_or(0.0, |r| r.si());
    basis.push(format!("reset below {}, path {} Ω", voltage(reset.si()), significant(path_ohm, 3)));
    basis.push("slow decay of the source: no help from the bulk capacitor is counted".into());
    Some(HandOver {
        diode_v,
        dropout_v,
        load_a: Figure::exact(load_a),
        path_ohm: normal("path", path_ohm, 0.2 * path_ohm),
        bulk_help_v: Figure::exact(0.0),
        brown_out_v: normal("reset threshold", reset.si(), threshold_u),
    })
}

fn peak_a(shown: &Shown<'_>) -> f64 {
    use overwinter_documents::types::session::{Source as Fed, What};
    let figures = {
        let supply =
            shown.specimen.map_or_else(|| shown.board.supply.clone(), |s| shown.board.supply_of(s));
        shown.bench.folder().regulator(&supply).map(|(_, f)| f)
    };
    // The load at which the dropout is stated, so that the two belong together; else the peak as read.
    figures
        .and_then(|f| f.dropout.last().map(|p| p.current.si()))
        .or_else(|| shown.reading(What::RadioPeak, &[Fed::Battery]).map(|f| f.figure.value()))
        .or_else(|| {
            module_of(shown.bench, shown.board).and_then(|m| m.radio_peak.as_ref().map(|p| p.si()))
        })
        .unwrap_or(0.35)
}

/// Source events a year behind a panel: it goes once a day and comes once a day. Chatter at dawn comes on top and is not counted.
const DAYS_A_YEAR: f64 = 365.25;

/// Resets a year that the source's coming and going costs in a project, with what that rests on; `None` where it is not known.
///
/// Trials say the share at the worst cell voltage tried, provided a low cell was among them or a reset was seen; else a trait
/// that says "no"; else, for a source that goes, the path's prediction asleep with the cell at the bench's 3.80 V. A project
/// without a panel has no source that comes and goes: nothing is claimed for it.
pub(crate) fn resets_in(
    shown: &Shown<'_>,
    project: &overwinter_documents::types::project::Project,
    traits: &overwinter_documents::types::board::Traits,
) -> Option<(f64, String)> {
    project.panel.as_ref()?;
    let specimen = shown.specimen.filter(|s| s.dead.is_none())?;
    let mut total = 0.0;
    let mut basis = Vec::new();
    for (event, says) in [
        (SourceEvent::Removed, traits.resets_on_source_removed),
        (SourceEvent::Attached, traits.resets_on_source_attached),
    ] {
        let trials = crate::traits::ride_through(shown.bench, &specimen.id, event);
        let low = trials.last().is_some_and(|t| t.cell_v <= crate::traits::LOW_CELL_V);
        let worst = trials
            .iter()
            .filter_map(|t| assess(t.trials, 0.95)?.observed)
            .reduce(f64::max)
            .filter(|share| low || *share > 0.0);
        let predicted = || {
            let path = hand_over(shown, false, &mut Vec::new())?;
            let cell = Figure::with_source(
                crate::resolve::path::REFERENCE_V,
                Source::rectangular("cell voltage", 0.01),
            );
            Some(path.reset_probability(&cell))
        };
        let (share, by) = match (worst, says.probability_of_yes()) {
            (Some(share), _) => (share, "tried"),
            (None, Some(p)) if p <= 0.0 => (0.0, "as entered"),
            (None, _) if event == SourceEvent::Removed => (predicted()?, "predicted"),
            (None, _) => return None,
        };
        total += share * DAYS_A_YEAR;
        basis.push(format!("{event} {} {by}", percent(share)));
    }
    let text = format!("{} a year ({})", significant(total, 2), basis.join(", "));
    Some((total, text))
}

fn prediction(doing: &'static str, path: &HandOver) -> Prediction {
    let lowest = path.lowest_safe_cell_v();
    let loss = &path.load_a * &path.path_ohm;
    Prediction {
        doing,
        safe_with_95_v: lowest.value() + 1.645 * lowest.standard_uncertainty(),
        sum: format!(
            "{} reset + {} hand-over + {} dropout + {} path",
            voltage(path.brown_out_v.value()),
            voltage(path.diode_v.value()),
            voltage(path.dropout_v.value()),
            voltage(loss.value())
        ),
        lowest_safe: printed(overwinter_documents::types::session::What::Voltage, &lowest),
    }
}

fn verdict(trials: &[TrialLine], predictions: &[Prediction]) -> Vec<String> {
    let mut verdict = Vec::new();
    if let Some(worst) =
        predictions.iter().max_by(|a, b| a.lowest_safe.value.total_cmp(&b.lowest_safe.value))
    {
        verdict.push(format!(
            "predicted safe above {} ({}); with 95 % chance above {}",
            voltage((worst.lowest_safe.value * 1000.0).round() / 1000.0),
            worst.doing,
            voltage((worst.safe_with_95_v * 100.0).ceil() / 100.0)
        ));
    }
    for event in [SourceEvent::Removed, SourceEvent::Attached] {
        let of: Vec<&TrialLine> = trials.iter().filter(|t| t.event == event.word()).collect();
        if of.is_empty() {
            verdict.push(format!(
                "never tried with the source {event}: unknown, not “does not reset”"
            ));
            continue;
        }
        let tried: u32 = of.iter().map(|t| t.tried).sum();
        let resets: u32 = of.iter().map(|t| t.resets).sum();
        let lowest = of.iter().map(|t| t.cell_v).fold(f64::INFINITY, f64::min);
        if resets == 0 {
            let most = assess(Trials { resets, tried }, 0.95).map_or(1.0, |a| a.at_most);
            let low = predictions.iter().map(|p| p.lowest_safe.value).fold(0.0, f64::max);
            let warning = if event == SourceEvent::Removed && low > 0.0 && lowest > low {
                ", all above the voltage where the path predicts a reset: this proves nothing for a low cell"
            } else if lowest > crate::traits::LOW_CELL_V {
                ", never on a low cell: this proves nothing for one"
            } else {
                ""
            };
            verdict.push(format!(
                "source {event}: 0 of {tried} down to {}, so below {} at 95 %{warning}",
                voltage(lowest),
                percent(most)
            ));
        } else {
            let highest = of
                .iter()
                .filter(|t| t.resets > 0)
                .map(|t| t.cell_v)
                .fold(f64::NEG_INFINITY, f64::max);
            verdict.push(format!(
                "source {event}: {resets} resets of {tried}, the highest at {}",
                voltage(highest)
            ));
        }
    }
    if let Some(worst) = trials
        .iter()
        .filter_map(|t| t.resets_a_year.map(|r| (t, r)))
        .max_by(|a, b| a.1[0].total_cmp(&b.1[0]).then(a.1[2].total_cmp(&b.1[2])))
    {
        let (t, [expected, low, high]) = worst;
        verdict.push(format!(
            "resets a year if every event met the cell at {} ({}): {} (95 %: {} to {})",
            voltage(t.cell_v),
            t.event,
            significant(expected, 3),
            significant(low, 3),
            significant(high, 3)
        ));
    }
    verdict
}
