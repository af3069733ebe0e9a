//! A voltage sweep of the sleep current taken apart, and what it says of a chip that nobody can read.

use overwinter_documents::YesNo;
use overwinter_documents::types::board::Specimen;
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_documents::types::supply::RegulatorKind;
use overwinter_figures::sweep::{
    PartKind, SweepError, SweepPoint, chance_that_it_rose, take_apart,
};
use overwinter_statistics::Figure;
use serde::Serialize;

use super::chips::{ChipReport, charger, chip};
use super::printed::{Printed, printed, text};
use crate::bench::Bench;
use crate::facts::Shown;
use crate::question::QuestionError;
use crate::readings::{self, Measured};
use crate::report::SCHEMA_VERSION;
use crate::resolve::ResolveError;
use crate::resolve::path::REFERENCE_V;
use crate::text::{percent, voltage};
use crate::traits::sight;

/// One point of the sweep.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PointLine {
    /// Supply voltage at the board, V.
    pub voltage_v: f64,
    /// The reading.
    pub figure: Printed,
    /// Standard uncertainty against the other points, A: what they share is left out.
    pub against_others_a: f64,
    /// Range in use.
    pub range: Option<String>,
}

/// A part of the current.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartLine {
    /// How it goes with the voltage.
    pub kind: &'static str,
    /// What it usually is.
    pub usually: &'static str,
    /// Current at the reference (dropout: at the lowest voltage), A.
    pub current_a: f64,
    /// Standard uncertainty, A.
    pub standard_uncertainty_a: f64,
    /// In words.
    pub text: String,
    /// How surely it is there, 0 to 1.
    pub presence: f64,
}

/// One way to explain the sweep.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExplanationLine {
    /// Its parts in words.
    pub parts: Vec<String>,
    /// χ².
    pub chi_squared: f64,
    /// Degrees of freedom left; 0 fits anything and proves nothing.
    pub degrees_of_freedom: usize,
    /// Weight among the explanations.
    pub weight: f64,
}

/// The sweep.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SweepReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Board.
    pub board: String,
    /// Specimen.
    pub specimen: String,
    /// Session.
    pub session: String,
    /// Voltage the parts are quoted at, V.
    pub reference_v: f64,
    /// Points, highest voltage first.
    pub points: Vec<PointLine>,
    /// Parts averaged over the explanations.
    pub parts: Vec<PartLine>,
    /// Explanations, likeliest first.
    pub explanations: Vec<ExplanationLine>,
    /// What cannot be told apart, in words.
    pub cannot_separate: Vec<String>,
    /// How much the current grows from 3.8 V to the lowest voltage, and whether that is real.
    pub at_the_low_end: Option<String>,
    /// Likely class of the regulator, from behaviour.
    pub regulator: Option<ChipReport>,
    /// Likely class of the charger, from the voltage at which it ends.
    pub charger: Option<ChipReport>,
    /// What the uncertainties hold and what not.
    pub notes: Vec<String>,
}

/// The slope of the supply voltage's own error: a bench supply read at the board is good to 5 mV. Common practice, no source.
const SUPPLY_U_V: f64 = 0.005;

/// Takes the newest sweep of a board's specimen apart.
///
/// # Errors
/// A dead specimen, or fewer than two voltages read in one session.
pub fn sweep(
    bench: &Bench,
    board: &str,
    wanted: Option<&str>,
) -> Result<SweepReport, QuestionError> {
    let found = bench.board(board).ok_or_else(|| {
        QuestionError::no_such("board", board, bench.boards().map(|b| b.name.as_str()))
    })?;
    let shown = Shown::new(bench, found, wanted);
    let specimen = living(&shown, board)?;
    let missing = |what: &str| {
        QuestionError::Resolve(ResolveError::Missing {
            subject: specimen.id.clone(),
            what: what.to_owned(),
            help: "read the sleep current at 4.15, 3.80, 3.50 and 3.25 V in one session (20 min)"
                .to_owned(),
        })
    };
    let points = points_of(bench, &specimen.id)
        .ok_or_else(|| missing("a sleep current at two or more supply voltages in one session"))?;
    let own = own_uncertainties(&points);
    let given: Vec<SweepPoint> = points
        .iter()
        .zip(&own)
        .map(|(p, u)| SweepPoint {
            voltage_v: p.volts,
            current_a: p.figure.value(),
            standard_uncertainty_a: *u,
        })
        .collect();
    let allowed = allowed(&shown);
    let taken = take_apart(&given, REFERENCE_V, &allowed).map_err(|e| match e {
        SweepError::TooFew { .. } => missing("a sleep current at two or more supply voltages"),
        other => missing(&format!("a sweep that can be taken apart ({other})")),
    })?;
    let presence = |kind| taken.presence.iter().find(|(k, _)| *k == kind).map_or(0.0, |(_, w)| *w);
    let parts = taken
        .averaged
        .iter()
        .map(|(kind, a, u)| {
            let (name, usually) = words(*kind);
            PartLine {
                kind: name,
                usually,
                current_a: *a,
                standard_uncertainty_a: *u,
                text: text(
                    What::SleepCurrent,
                    *a,
                    Some(*u),
                    overwinter_quantity::Notation::Expanded { k: 2.0 },
                ),
                presence: presence(*kind),
            }
        })
        .collect();
    let explanations = taken
        .explanations
        .iter()
        .map(|e| ExplanationLine {
            parts: e
                .parts
                .iter()
                .map(|p| {
                    let knee = p.knee_v.map_or(String::new(), |v| match p.kind {
                        PartKind::Dropout => {
                            format!(" below {}", voltage((v * 100.0).round() / 100.0))
                        }
                        _ => format!(" above {}", voltage(v)),
                    });
                    format!("{} {}{knee}", words(p.kind).0, crate::text::current(p.current_a))
                })
                .collect(),
            chi_squared: e.chi_squared,
            degrees_of_freedom: e.degrees_of_freedom,
            weight: e.weight,
        })
        .collect();
    let mut notes = vec![
        format!(
            "uncertainties are those of the points against each other, the supply's ± {} among them; a gain error shared by the sweep scales every part alike",
            voltage(SUPPLY_U_V)
        ),
        format!(
            "parts allowed on this board: {}",
            allowed.iter().map(|k| words(*k).0).collect::<Vec<_>>().join(", ")
        ),
    ];
    if points.len() < 4 {
        notes.push(format!(
            "{} voltages only: four are wanted (4.15, 3.80, 3.50, 3.25 V)",
            points.len()
        ));
    }
    if taken.explanations.first().is_some_and(|e| e.degrees_of_freedom == 0) {
        notes.push("the likeliest explanation has as many parameters as there are points: it fits anything".to_owned());
    }
    Ok(SweepReport {
        schema_version: SCHEMA_VERSION,
        board: found.name.clone(),
        specimen: specimen.id.clone(),
        session: points[0].session.clone(),
        reference_v: REFERENCE_V,
        at_the_low_end: low_end(&points),
        points: points
            .iter()
            .zip(&own)
            .map(|(p, u)| PointLine {
                voltage_v: p.volts,
                figure: printed(What::SleepCurrent, &p.figure),
                against_others_a: *u,
                range: p.range.clone(),
            })
            .collect(),
        parts,
        explanations,
        cannot_separate: taken
            .cannot_separate
            .iter()
            .map(|(a, b)| format!("{} from {}", words(*a).0, words(*b).0))
            .collect(),
        regulator: chip(&shown, &points),
        charger: charger(&shown),
        notes,
    })
}

/// A specimen with electrical figures.
pub(super) fn living<'a>(shown: &Shown<'a>, board: &str) -> Result<&'a Specimen, QuestionError> {
    let specimen = shown.specimen.ok_or_else(|| {
        QuestionError::Resolve(ResolveError::Missing {
            subject: format!("board {board}"),
            what: "a specimen".to_owned(),
            help: "label one and write it into the board's document".to_owned(),
        })
    })?;
    match &specimen.dead {
        Some(death) => Err(QuestionError::Resolve(ResolveError::Dead {
            specimen: specimen.id.clone(),
            since: death.since.to_string(),
        })),
        None => Ok(specimen),
    }
}

/// A point with its sources.
pub(super) struct Point {
    pub(super) volts: f64,
    pub(super) figure: Figure,
    pub(super) session: String,
    pub(super) range: Option<String>,
}

/// The newest session's sleep currents over voltage, highest first; `None` with fewer than two voltages.
pub(super) fn points_of(bench: &Bench, specimen: &str) -> Option<Vec<Point>> {
    let read: Vec<Measured<'_>> = readings::of_specimen(bench, specimen, What::SleepCurrent)
        .into_iter()
        .filter(|m| m.fed.is_none_or(|f| f == Fed::Battery) && m.figure.is_some())
        .collect();
    let mut sessions: Vec<&str> = Vec::new();
    for m in &read {
        if !sessions.contains(&m.session.name.as_str()) {
            sessions.push(&m.session.name);
        }
    }
    sessions.into_iter().find_map(|session| {
        let mut points: Vec<Point> = Vec::new();
        for m in read.iter().filter(|m| m.session.name == session) {
            let (Some(volts), Some(figure)) = (m.supply_v, &m.figure) else { continue };
            if points.iter().all(|p| (p.volts - volts).abs() > 1e-6) {
                points.push(Point {
                    volts,
                    figure: figure.clone(),
                    session: session.to_owned(),
                    range: m.reading.range.clone(),
                });
            }
        }
        points.sort_by(|a, b| b.volts.total_cmp(&a.volts));
        (points.len() >= 2).then_some(points)
    })
}

/// Standard uncertainty of each point without the sources that all of them share, the supply's error included.
fn own_uncertainties(points: &[Point]) -> Vec<f64> {
    let shared_by_all =
        |name: &str| points.iter().all(|p| p.figure.sources().any(|(s, _)| s.id.name() == name));
    points
        .iter()
        .enumerate()
        .map(|(i, p)| {
            let own: f64 = p
                .figure
                .sources()
                .filter(|(s, _)| !shared_by_all(s.id.name()))
                .map(|(s, c)| (c * s.standard_uncertainty) * (c * s.standard_uncertainty))
                .sum();
            // Slope to the nearest point times the supply's error.
            let other = &points[if i == 0 { 1 } else { i - 1 }];
            let slope = (p.figure.value() - other.figure.value()) / (p.volts - other.volts);
            let supply = slope * SUPPLY_U_V;
            (own + supply * supply).sqrt().max(1e-4 * p.figure.value().abs()).max(1e-12)
        })
        .collect()
}

/// Kinds of parts this board can have: what is known not to be there is left out, which sharpens the rest.
fn allowed(shown: &Shown<'_>) -> Vec<PartKind> {
    let supply =
        shown.specimen.map_or_else(|| shown.board.supply.clone(), |s| shown.board.supply_of(s));
    let kind = shown.bench.folder().regulator(&supply).and_then(|(kind, _)| kind);
    let lit = sight(shown.bench, shown.board, shown.specimen).traits.led_in_sleep;
    let switching = matches!(
        kind,
        Some(RegulatorKind::StepDown | RegulatorKind::StepUp | RegulatorKind::BuckBoost)
    );
    let mut allowed = vec![PartKind::Constant, PartKind::Ohmic];
    if switching || kind.is_none() {
        allowed.push(PartKind::Converter);
    }
    if lit.known() != Some(YesNo::No) {
        allowed.push(PartKind::Diode);
    }
    if !switching {
        allowed.push(PartKind::Dropout);
    }
    allowed
}

fn words(kind: PartKind) -> (&'static str, &'static str) {
    match kind {
        PartKind::Constant => {
            ("constant", "regulator's ground current, module behind a linear regulator, clock chip")
        }
        PartKind::Ohmic => ("ohmic", "divider, pull-up held low"),
        PartKind::Converter => ("converter-like", "what runs behind a switching regulator"),
        PartKind::Diode => ("diode-like", "an LED behind its resistor"),
        PartKind::Dropout => ("dropout", "a linear regulator that runs out of voltage"),
    }
}

fn low_end(points: &[Point]) -> Option<String> {
    let lowest = points.last()?;
    let reference = points
        .iter()
        .min_by(|a, b| (a.volts - REFERENCE_V).abs().total_cmp(&(b.volts - REFERENCE_V).abs()))?;
    if (lowest.volts - reference.volts).abs() < 0.1 || reference.figure.value() <= 0.0 {
        return None;
    }
    let rose = chance_that_it_rose(&reference.figure, &lowest.figure)?;
    let factor = lowest.figure.value() / reference.figure.value();
    Some(format!(
        "at {} it draws {} times what it draws at {} (chance that it rises: {})",
        voltage(lowest.volts),
        crate::text::significant(factor, 3),
        voltage(reference.volts),
        percent(rose)
    ))
}
