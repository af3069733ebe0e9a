//! Before measuring: what each range of a meter does to a board, which one to use, and what to do where none will.

use overwinter_documents::Choice;
use overwinter_documents::types::meter::MeterRange;
use overwinter_documents::types::project::Project;
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_documents::types::supply::RegulatorKind;
use overwinter_figures::burden::{self, BoardUnderTest, HookUp, advise};
use overwinter_figures::sampling::averaging_window_s;
use overwinter_statistics::{Figure, Source};
use serde::Serialize;

use super::printed::{Printed, printed};
use crate::bench::Bench;
use crate::facts::Shown;
use crate::question::QuestionError;
use crate::report::SCHEMA_VERSION;
use crate::resolve::module_of;
use crate::resolve::path::REFERENCE_V;
use crate::text::{current, duration, percent, resistance, voltage};

/// What one range does to the board.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RangeLine {
    /// Name of the range.
    pub range: String,
    /// Series resistance, Ω; `None` where the document does not state it: no verdict then.
    pub series_ohm: Option<f64>,
    /// Drop asleep, V.
    pub drop_asleep_v: Option<f64>,
    /// Drop at the radio peak, V.
    pub drop_peak_v: Option<f64>,
    /// Rail at the radio peak, V.
    pub rail_peak_v: Option<f64>,
    /// The board starts behind this range.
    pub boots: Option<bool>,
    /// It survives the radio peak behind this range.
    pub transmits: Option<bool>,
    /// The peak is within the range.
    pub peak_in_range: bool,
    /// Relative standard uncertainty of the sleep current on this range; `None` beyond its end or without an accuracy.
    pub relative_u_asleep: Option<f64>,
    /// In one word or two.
    pub verdict: String,
}

/// The capacitor-droop method for this board.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DroopAdvice {
    /// Capacitance, F.
    pub capacitance_f: f64,
    /// Fall of the voltage to wait for, V.
    pub fall_v: f64,
    /// Time that takes, s.
    pub duration_s: f64,
    /// The figure it would give, with its uncertainty.
    pub expected: Printed,
    /// Relative standard uncertainty.
    pub relative_u: f64,
    /// What the uncertainty rests on.
    pub basis: Vec<String>,
}

/// The advice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BurdenReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Instrument or class of meters.
    pub meter: String,
    /// Board.
    pub board: String,
    /// Source without load, V.
    pub source_v: f64,
    /// Resistance of source and path without the meter, Ω.
    pub source_ohm: f64,
    /// Dropout at the peak, V.
    pub dropout_v: f64,
    /// Reset threshold, V.
    pub reset_v: f64,
    /// Expected sleep current, A.
    pub sleep_a: f64,
    /// Current while starting, A.
    pub start_a: f64,
    /// Radio peak, A.
    pub peak_a: f64,
    /// Where those come from, assumptions among them.
    pub basis: Vec<String>,
    /// Largest resistance of meter and leads that survives the peak, Ω; negative: none does.
    pub largest_meter_ohm: f64,
    /// Ranges of current, as in the meter's document.
    pub ranges: Vec<RangeLine>,
    /// How to read the sleep current.
    pub hook_up: String,
    /// The range for the radio peak.
    pub peak_range: Option<String>,
    /// Without burden.
    pub droop: Option<DroopAdvice>,
    /// Locking ranges, windows, leads.
    pub advice: Vec<String>,
}

/// What the person says about the source, over what the documents say.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Feeding {
    /// Voltage without load, V.
    pub source_v: Option<f64>,
    /// Resistance, Ω.
    pub source_ohm: Option<f64>,
    /// Resistance of the leads where the burden does not hold them, Ω.
    pub leads_ohm: f64,
}

struct Known {
    value: f64,
    basis: String,
}

fn known(what: &str, value: f64, text: impl std::fmt::Display, source: &str) -> Known {
    Known { value, basis: format!("{what} {text}: {source}") }
}

/// Every range of a meter with a board.
///
/// # Errors
/// No such meter or board, or a meter without current ranges.
pub fn burden(
    bench: &Bench,
    meter: &str,
    board: &str,
    project: Option<&Project>,
    feeding: Feeding,
) -> Result<BurdenReport, QuestionError> {
    let found = bench.board(board).ok_or_else(|| {
        QuestionError::no_such("board", board, bench.boards().map(|b| b.name.as_str()))
    })?;
    let folder = bench.folder();
    if folder.instruments.get(meter).is_none() && folder.meters.get(meter).is_none() {
        let names = folder.instruments.names().chain(folder.meters.names());
        return Err(QuestionError::no_such("instrument or class of meters", meter, names));
    }
    let ranges: Vec<&MeterRange> =
        bench.ranges(meter).iter().filter(|r| r.limit.dimension().name == "a current").collect();
    if ranges.is_empty() {
        return Err(QuestionError::NoSuch {
            kind: "current range of",
            name: meter.to_owned(),
            help: "its document has no range whose limit is a current".to_owned(),
        });
    }
    let shown = Shown::new(bench, found, None);
    let mut basis = Vec::new();
    let mut take = |k: Known| {
        basis.push(k.basis);
        k.value
    };
    let peak_a = take(peak(&shown, project));
    let start_a = take(start(&shown));
    let sleep = sleep(&shown);
    let sleep_a = take(sleep);
    let reset_v = take(reset(&shown));
    let dropout_v = take(dropout(&shown, peak_a));
    let source_v = take(match (feeding.source_v, project.and_then(|p| half_full_v(bench, p))) {
        (Some(v), _) => known("source", v, voltage(v), "as you say"),
        (None, Some(v)) => known("source", v, voltage(v), "the project's cell, half full"),
        (None, None) => known(
            "source",
            REFERENCE_V,
            voltage(REFERENCE_V),
            "the supply that the bench protocol sets",
        ),
    });
    let cell_ohm = project.and_then(|p| bench.cell(&p.cell)).and_then(|cell| {
        let per = f64::from(cell.in_series.unwrap_or(1)) / f64::from(cell.in_parallel.unwrap_or(1));
        bench.cell_figures(cell).resistance.map(|r| r.si() * per)
    });
    let own_ohm = supply_of(&shown).series_resistance.as_ref().map_or(0.0, |r| r.si());
    let source_ohm = take(match (feeding.source_ohm, cell_ohm) {
        (Some(r), _) => known(
            "source resistance",
            r + own_ohm,
            resistance(r + own_ohm),
            "as you say, with the board's own path",
        ),
        (None, Some(r)) => known(
            "source resistance",
            r + own_ohm,
            resistance(r + own_ohm),
            "the cell at 25 °C and the board's own path",
        ),
        (None, None) => known(
            "source resistance",
            own_ohm,
            resistance(own_ohm),
            "a stiff supply; the board's own path only",
        ),
    });
    let under_test = BoardUnderTest {
        source_v,
        source_ohm,
        dropout_v,
        brown_out_v: reset_v,
        sleep_a,
        boot_a: start_a,
        peak_a,
    };
    let series: Vec<Option<f64>> = ranges.iter().map(|r| series_ohm(r)).collect();
    let judged: Vec<burden::MeterRange> = ranges
        .iter()
        .zip(&series)
        .filter_map(|(r, ohm)| ohm.map(|ohm| as_range(r, ohm, feeding.leads_ohm)))
        .collect();
    let advice = advise(&under_test, &judged);
    let lines = ranges
        .iter()
        .zip(&series)
        .map(|(r, ohm)| {
            let verdict = advice.ranges.iter().find(|v| v.range == r.name);
            line(r, *ohm, verdict, sleep_a, peak_a)
        })
        .collect();
    let hook_up = match &advice.sleep {
        HookUp::Range { range } => {
            format!("range “{range}” for everything: the board starts, transmits and is read asleep behind it")
        }
        HookUp::BypassSwitch { range } => format!(
            "range “{range}” asleep, with a switch across the meter: closed while the board starts and transmits, opened asleep"
        ),
        HookUp::CapacitorDroop => {
            "no range reads this sleep current well: let a capacitor feed the board (below)".to_owned()
        }
        HookUp::StifferSourceSensedAtBoard => {
            "the board does not survive its own peak on this source, meter or not: take a stiffer source and sense the voltage at the board".to_owned()
        }
    };
    Ok(BurdenReport {
        schema_version: SCHEMA_VERSION,
        meter: meter.to_owned(),
        board: found.name.clone(),
        source_v,
        source_ohm,
        dropout_v,
        reset_v,
        sleep_a,
        start_a,
        peak_a,
        largest_meter_ohm: advice.largest_meter_ohm,
        ranges: lines,
        hook_up,
        peak_range: advice.peak_range,
        droop: droop(bench, meter, sleep_a),
        advice: words(&shown, &ranges, &series, project),
        basis,
    })
}

/// Series resistance of a range, from its burden or the voltage it takes at full scale.
fn series_ohm(range: &MeterRange) -> Option<f64> {
    match (&range.burden, &range.burden_voltage) {
        (Some(ohm), _) => Some(ohm.si()),
        (None, Some(volts)) => Some(volts.si() / range.limit.si()),
        (None, None) => None,
    }
}

fn as_range(range: &MeterRange, shunt_ohm: f64, leads_ohm: f64) -> burden::MeterRange {
    let full_scale_a = range.limit.si();
    let resolution = range.resolution.as_ref().map(overwinter_quantity::AnyQuantity::si);
    let accuracy = range.accuracy.as_ref();
    let offset = accuracy.and_then(|a| a.limit(0.0, resolution, Some(full_scale_a)));
    burden::MeterRange {
        name: range.name.clone(),
        full_scale_a,
        shunt_ohm,
        leads_ohm,
        gain_limit: accuracy.map_or(f64::INFINITY, |a| a.of_reading),
        offset_limit_a: offset.unwrap_or(f64::INFINITY),
    }
}

fn line(
    range: &MeterRange,
    series_ohm: Option<f64>,
    verdict: Option<&burden::RangeVerdict>,
    sleep_a: f64,
    peak_a: f64,
) -> RangeLine {
    let words = match verdict {
        None => "its series resistance is not stated: no verdict".to_owned(),
        Some(v) if !v.boots => "does not start".to_owned(),
        Some(v) if !v.transmits => {
            "resets at the radio peak: a plausible average of reboots is what you would read"
                .to_owned()
        }
        Some(v) if !v.peak_in_range => {
            "starts and transmits, but the peak is beyond the range (fuse)".to_owned()
        }
        Some(v) if v.relative_u_asleep > 0.05 => {
            "starts and transmits; too coarse asleep".to_owned()
        }
        Some(_) => "starts, transmits, reads asleep".to_owned(),
    };
    RangeLine {
        range: range.name.clone(),
        series_ohm,
        drop_asleep_v: verdict.map(|v| v.drop_asleep_v),
        drop_peak_v: verdict.map(|v| v.drop_peak_v),
        rail_peak_v: verdict.map(|v| v.rail_peak_v),
        boots: verdict.map(|v| v.boots),
        transmits: verdict.map(|v| v.transmits),
        peak_in_range: peak_a <= range.limit.si(),
        relative_u_asleep: verdict
            .map(|v| v.relative_u_asleep)
            .filter(|u| u.is_finite() && sleep_a <= range.limit.si()),
        verdict: words,
    }
}

fn supply_of(shown: &Shown<'_>) -> overwinter_documents::types::supply::Supply {
    shown.specimen.map_or_else(|| shown.board.supply.clone(), |s| shown.board.supply_of(s))
}

fn peak(shown: &Shown<'_>, project: Option<&Project>) -> Known {
    if let Some(fact) = shown.reading(What::RadioPeak, &[Fed::Battery]) {
        let a = fact.figure.value();
        return known("radio peak", a, current(a), &fact.origin.source);
    }
    let of_project = project.and_then(|p| {
        let peaks = p
            .activities
            .iter()
            .flat_map(|a| a.segments.iter().filter_map(|s| s.peak.as_ref()).chain(a.peak.as_ref()));
        peaks.map(|p| p.current.si()).max_by(f64::total_cmp)
    });
    if let Some(a) = of_project {
        return known("radio peak", a, current(a), "the project's load");
    }
    let module = module_of(shown.bench, shown.board);
    match module.and_then(|m| m.radio_peak.as_ref().map(|p| (m, p.si()))) {
        Some((m, a)) => known("radio peak", a, current(a), &format!("module {}", m.name)),
        None => known("radio peak", 0.35, current(0.35), "assumed, from memory: read it first"),
    }
}

fn start(shown: &Shown<'_>) -> Known {
    // Memory is read and the clock raised while starting: half as much again as the idle current.
    const MORE: f64 = 1.5;
    if let Some(fact) = shown.reading(What::IdleCurrent, &[Fed::Battery]) {
        let a = MORE * fact.figure.value();
        let source = format!(
            "1.5 times the idle current (common practice, no source), {}",
            fact.origin.source
        );
        return known("current while starting", a, current(a), &source);
    }
    known("current while starting", 0.08, current(0.08), "assumed, from memory")
}

fn sleep(shown: &Shown<'_>) -> Known {
    if let Some(fact) = shown.sleep() {
        let a = fact.figure.value();
        return known("sleep current", a, current(a), &fact.origin.source);
    }
    match shown.module_sleep() {
        Some(fact) => {
            let a = fact.figure.value();
            known(
                "sleep current",
                a,
                current(a),
                &format!(
                    "not read yet; the bare module's as the least to expect, {}",
                    fact.origin.source
                ),
            )
        }
        None => known(
            "sleep current",
            10e-6,
            current(10e-6),
            "not read yet; 10 µA assumed, from memory",
        ),
    }
}

fn reset(shown: &Shown<'_>) -> Known {
    let supply = supply_of(shown);
    if let Some(v) = &supply.reset_threshold {
        return known("reset below", v.si(), voltage(v.si()), "the board's document");
    }
    let module = module_of(shown.bench, shown.board);
    match module.and_then(|m| m.reset_threshold.as_ref().map(|v| (m, v.si()))) {
        Some((m, v)) => known("reset below", v, voltage(v), &format!("module {}", m.name)),
        None => known("reset below", 2.8, voltage(2.8), "assumed, from memory"),
    }
}

/// Dropout at a load: read, else the regulator's nearest point scaled by the current.
pub(super) fn dropout_v(shown: &Shown<'_>, load_a: f64) -> Option<(Figure, String)> {
    if let Some(fact) = shown.reading(What::Dropout, &[Fed::Battery]) {
        return Some((fact.figure, fact.origin.source));
    }
    let (kind, figures) = shown.bench.folder().regulator(&supply_of(shown))?;
    if !matches!(kind, None | Some(RegulatorKind::Linear)) {
        return Some((Figure::exact(0.0), "no dropout behind a switching regulator".to_owned()));
    }
    let point = figures.dropout.last()?;
    let share = if point.current.si() > 0.0 { load_a / point.current.si() } else { 1.0 };
    let name = format!("board {} / dropout", shown.board.name);
    let drop = point.drop.si();
    let u = point.drop.value.standard_uncertainty().unwrap_or(crate::priors::DROPOUT * drop);
    let figure = Figure::with_source(drop * share, Source::normal(&name, u * share));
    Some((figure, "the regulator's dropout".to_owned()))
}

fn dropout(shown: &Shown<'_>, peak_a: f64) -> Known {
    match dropout_v(shown, peak_a) {
        Some((f, source)) => known("dropout at the peak", f.value(), voltage(f.value()), &source),
        None => {
            known("dropout at the peak", 0.3, voltage(0.3), "unknown; 0.3 V assumed, from memory")
        }
    }
}

fn half_full_v(bench: &Bench, project: &Project) -> Option<f64> {
    let cell = bench.cell(&project.cell)?;
    let table = bench.cell_figures(cell).ocv?;
    let points: Vec<(f64, f64)> = table
        .charge
        .iter()
        .map(overwinter_quantity::Ratio::si)
        .zip(table.voltage.iter().map(overwinter_quantity::Voltage::si))
        .collect();
    let pair = points.windows(2).find(|w| w[0].0 <= 0.5 && 0.5 <= w[1].0)?;
    let share = (0.5 - pair[0].0) / (pair[1].0 - pair[0].0);
    Some((pair[0].1 + share * (pair[1].1 - pair[0].1)) * f64::from(cell.in_series.unwrap_or(1)))
}

/// The droop method as it would come out: 4700 µF calibrated to 5 %, the meter's own volt range, a stopwatch.
fn droop(bench: &Bench, meter: &str, sleep_a: f64) -> Option<DroopAdvice> {
    const CAPACITANCE_F: f64 = 4700e-6;
    const FALL_V: f64 = 0.2;
    const CALIBRATION: f64 = 0.05;
    const LEAKAGE_A: f64 = 0.5e-6;
    const STOPWATCH_S: f64 = 0.5;
    if !(sleep_a > 0.0 && sleep_a.is_finite()) {
        return None;
    }
    let total_a = sleep_a + LEAKAGE_A;
    let duration_s = CAPACITANCE_F * FALL_V / total_a;
    let range = bench
        .ranges(meter)
        .iter()
        .filter(|r| r.limit.dimension().name == "a voltage" && r.limit.si() >= 4.2)
        .min_by(|a, b| a.limit.si().total_cmp(&b.limit.si()));
    let resolution = range.and_then(|r| r.resolution.as_ref()).map_or(1e-3, |r| r.si());
    let gain = range.and_then(|r| r.accuracy.as_ref()).map_or(0.005, |a| a.of_reading);
    let volts = |value: f64, which: &str| {
        // Offset cancels between two readings on one range, gain does not.
        Figure::with_source(value, Source::rectangular(which, 0.5 * resolution))
            .plus_source(Source::rectangular("voltmeter / gain", gain), value)
    };
    let capacitance = burden::with_tolerance("capacitor", CAPACITANCE_F, CALIBRATION);
    let time = Figure::with_source(duration_s, Source::rectangular("stopwatch", STOPWATCH_S));
    let leakage = Figure::with_source(LEAKAGE_A, Source::rectangular("leakage", LEAKAGE_A));
    let expected = burden::capacitor_droop(
        &capacitance,
        &volts(REFERENCE_V, "voltage before"),
        &volts(REFERENCE_V - FALL_V, "voltage after"),
        &time,
        &leakage,
    )?;
    Some(DroopAdvice {
        capacitance_f: CAPACITANCE_F,
        fall_v: FALL_V,
        duration_s,
        relative_u: expected.standard_uncertainty() / expected.value(),
        expected: printed(What::SleepCurrent, &expected),
        basis: vec![
            "4700 µF calibrated to ± 5 % by its fall through a known resistor (1 MΩ)".to_owned(),
            format!(
                "voltmeter {}, last digit {}",
                range.map_or("assumed, 0.5 %".to_owned(), |r| format!("on its {} range", r.name)),
                voltage(resolution)
            ),
            format!(
                "capacitor leakage {} ± {} (measure yours without the board)",
                current(LEAKAGE_A),
                current(LEAKAGE_A)
            ),
            format!("stopwatch ± {}", duration(STOPWATCH_S)),
            "the figure belongs to the mean of the two voltages".to_owned(),
        ],
    })
}

fn words(
    shown: &Shown<'_>,
    ranges: &[&MeterRange],
    series: &[Option<f64>],
    project: Option<&Project>,
) -> Vec<String> {
    let mut advice = Vec::new();
    if let Some(hold) = ranges.iter().find_map(|r| r.hold_off.as_ref()) {
        advice.push(format!(
            "Lock the range: left to itself the meter waits {} before it changes range, and a wake shorter than that is read on the wrong one.",
            duration(hold.si())
        ));
    } else {
        advice.push(
            "Lock the range; how long this meter takes to change it is not in its document."
                .to_owned(),
        );
    }
    let supply = supply_of(shown);
    let kind = shown.bench.folder().regulator(&supply).and_then(|(kind, _)| kind);
    let bursts = !matches!(kind, Some(RegulatorKind::Linear | RegulatorKind::Direct));
    if bursts {
        let window = averaging_window_s(2.0, 0.01).unwrap_or(200.0);
        advice.push(format!(
            "{} may draw bursts asleep, every 1 ms to 2 s: average over 100 of them (up to {} for 1 %), or put a filter of ten burst periods before the meter. Point samples can miss every burst.",
            kind.map_or("A regulator of unknown kind".to_owned(), |k| format!("A {} regulator", k.word())),
            format_args!("{window:.0} s")
        ));
    }
    if let Some(project) = project {
        for activity in &project.activities {
            advice.push(format!(
                "“{}” wakes every {}: begin and end the window asleep, between two wakes.",
                activity.name,
                duration(activity.every.si())
            ));
        }
    }
    if series.iter().any(Option::is_none) {
        advice.push(
            "Ranges without `burden` or `burden_voltage` in their document get no verdict."
                .to_owned(),
        );
    }
    advice.push("Leads and contacts add 0.1 to 0.3 Ω on ampere ranges (common practice, no source); say --leads where the burden does not hold them.".to_owned());
    advice.push(format!(
        "A range is refused for sleep where it takes more than {} of the supply.",
        percent(0.02)
    ));
    advice
}
