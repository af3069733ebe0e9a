//! The sleep current of a specimen: which reading stands for it, what a rework takes off it, how it goes with temperature.

use overwinter_documents::types::board::Feed;
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_engine::curve::Curve;
use overwinter_engine::load::{ExponentialTemperature, Sleep, SleepCurrent};
use overwinter_engine::path as engine;

use super::ResolveError;
use super::input::{Face, Fallback, input, measured};
use super::path::{Changed, REFERENCE_V, Subject, drain};
use crate::case::{Input, Target};
use crate::priors;
use crate::readings::{self, Measured};
use crate::spread::sleep_spread;
use crate::text::Kind;

/// The sleep current of a specimen: read at the battery contacts if a session has it, else added up from the module, the
/// regulator and the always-on parts.
pub(crate) fn sleep(
    subject: &Subject<'_>,
    inputs: &mut Vec<Input>,
    gaps: &mut Vec<String>,
) -> Result<Sleep, ResolveError> {
    let changed = subject.changed;
    let reworked =
        !changed.removed.is_empty() || !changed.currents.is_empty() || changed.regulator.is_some();
    let read: Vec<Measured<'_>> = subject
        .specimen
        .map(|s| readings::of_specimen(subject.bench, &s.id, What::SleepCurrent))
        .unwrap_or_default()
        .into_iter()
        .filter(|m| m.fed.is_none_or(|fed| fed == Fed::Battery) && m.figure.is_some())
        .collect();
    let Some(reference) = reference(&read) else {
        return from_parts(subject, inputs, gaps);
    };
    let figure = reference.figure.clone().ok_or_else(|| never_measured(subject))?;
    let mut sweep: Vec<(f64, f64)> = Vec::new();
    for m in &read {
        if let (Some(v), Some(f)) = (m.supply_v, &m.figure)
            && m.session.name == reference.session.name
            && close(m.celsius, reference.celsius)
            && !sweep.iter().any(|(known, _)| (known - v).abs() < 1e-6)
        {
            sweep.push((v, f.value()));
        }
    }
    sweep.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut best = figure.value();
    let mut figure = figure;
    if reworked {
        let saved = saved(subject, gaps);
        for point in &mut sweep {
            point.1 -= saved(point.0);
        }
        let at_reference = saved(reference.supply_v.unwrap_or(REFERENCE_V));
        best -= at_reference;
        figure = &figure - &overwinter_statistics::Figure::exact(at_reference);
        if best <= 0.0 {
            return Err(ResolveError::Missing {
                subject: format!("rework of {}", subject.board.name),
                what: "a sleep reading above what is taken away".into(),
                help: "the part draws less than its figure says, or the reading is too low: measure the part".into(),
            });
        }
        for point in &mut sweep {
            point.1 = point.1.max(0.0);
        }
    }
    let spread = subject
        .specimen
        .map(|s| sleep_spread(subject.bench, subject.board, s, figure.value(), subject.prior));
    inputs.push(measured(
        &subject.key("sleep current"),
        Target::SleepCurrent,
        figure,
        spread,
        reference.origin(),
        Face {
            label: format!("sleep current of {}", subject.board.name),
            kind: Kind::SmallCurrent,
            less_is_better: true,
        },
    ));
    let current = if sweep.len() >= 2 {
        // The sweep gives the shape; the reference reading gives the level.
        let curve = Curve::linear(&sweep).map_err(|error| {
            ResolveError::engine(&format!("sleep currents of {}", subject.board.name), error)
        })?;
        SleepCurrent::BatteryByVoltage(curve)
    } else {
        gaps.push(
            "sleep current read at one supply voltage only: taken as the same at every voltage"
                .into(),
        );
        SleepCurrent::Battery { current_a: best }
    };
    Ok(Sleep { current, temperature: temperature_law(&read, reference) })
}

fn never_measured(subject: &Subject<'_>) -> ResolveError {
    ResolveError::Missing {
        subject: format!("board {}", subject.board.name),
        what: "a sleep current".into(),
        help: "measure it at the battery contacts (about 15 min), or state module, regulator and always-on parts".into(),
    }
}

/// The reading that stands for a specimen: of the newest session that was read near the reference voltage and room
/// temperature, the nearest; where no session was, the nearest of all.
pub(crate) fn reference<'a, 'b>(read: &'b [Measured<'a>]) -> Option<&'b Measured<'a>> {
    // A volt off counts as much as 30 K.
    let off = |m: &Measured<'_>| {
        let volts = (m.supply_v.unwrap_or(REFERENCE_V) - REFERENCE_V).abs();
        let kelvin = (m.celsius.unwrap_or(ROOM_CELSIUS) - ROOM_CELSIUS).abs();
        volts + kelvin / 30.0
    };
    let nearest = |all: &mut dyn Iterator<Item = &'b Measured<'a>>| {
        all.min_by(|a, b| off(a).total_cmp(&off(b)))
    };
    // Readings come newest session first.
    match read.iter().find(|m| off(m) < NEAR) {
        Some(usual) => nearest(&mut read.iter().filter(|m| m.session.name == usual.session.name)),
        None => nearest(&mut read.iter()),
    }
}

/// Room temperature, °C.
const ROOM_CELSIUS: f64 = 22.0;
/// How far a reading may be off the reference to stand for it: 0.2 V, or 6 K.
const NEAR: f64 = 0.2;

fn close(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() < 3.0,
        _ => true,
    }
}

/// `ln(I2/I1)/(T2 − T1)` from the reference and the reading farthest in temperature (at least 5 K) at about its voltage.
fn temperature_law(
    read: &[Measured<'_>],
    reference: &Measured<'_>,
) -> Option<ExponentialTemperature> {
    let (t0, i0) = (reference.celsius?, reference.figure.as_ref()?.value());
    let v0 = reference.supply_v.unwrap_or(REFERENCE_V);
    let other = read
        .iter()
        .filter(|m| (m.supply_v.unwrap_or(v0) - v0).abs() < 0.06)
        .filter_map(|m| Some((m.celsius?, m.figure.as_ref()?.value())))
        .filter(|(t, i)| (t - t0).abs() >= 5.0 && *i > 0.0)
        .max_by(|a, b| (a.0 - t0).abs().total_cmp(&(b.0 - t0).abs()))?;
    (i0 > 0.0).then(|| ExponentialTemperature {
        per_kelvin: libm::log(other.1 / i0) / (other.0 - t0),
        reference_celsius: t0,
    })
}

/// What a rework takes off the sleep current, A over supply voltage.
fn saved(subject: &Subject<'_>, gaps: &mut Vec<String>) -> impl Fn(f64) -> f64 + use<> {
    let unchanged = Changed::default();
    let before = Subject {
        bench: subject.bench,
        board: subject.board,
        specimen: subject.specimen,
        module: subject.module,
        changed: &unchanged,
        prior: subject.prior,
    };
    let mut drains: Vec<(engine::Drain, f64)> = Vec::new();
    for part in &subject.board.always_on {
        let removed = subject.changed.removed.contains(&part.name);
        let current =
            subject.changed.currents.iter().find(|(name, _)| *name == part.name).map(|(_, a)| *a);
        if !removed && current.is_none() || part.feed.value() == Some(Feed::Usb) {
            continue;
        }
        match drain(&before, part, None, 0, &mut Vec::new()) {
            Some(drain) => drains.push((drain, current.unwrap_or(0.0))),
            None => gaps
                .push(format!("what “{}” draws is unknown: its removal is not counted", part.name)),
        }
    }
    let supply = subject.supply();
    let ground = |s: &Subject<'_>| {
        s.regulator(&supply).and_then(|(_, figures)| figures.ground_current).map(|i| i.si())
    };
    let regulator = match (&subject.changed.regulator, ground(&before), ground(subject)) {
        (Some(_), Some(old), Some(new)) => old - new,
        (Some(_), ..) => {
            gaps.push("ground current of the old or the new regulator is unknown: its change is not counted".into());
            0.0
        }
        (None, ..) => 0.0,
    };
    move |volts| {
        let parts: f64 = drains
            .iter()
            .map(|(drain, after)| {
                let before = match drain {
                    engine::Drain::Constant { current_a } => *current_a,
                    engine::Drain::Ohmic { resistance_ohm } => volts / resistance_ohm,
                    engine::Drain::ByVoltage(curve) => curve.at(volts),
                };
                before - after
            })
            .sum();
        parts + regulator
    }
}

/// No reading: the module's sleep current at the rail; ground current and always-on parts come on top in the engine.
fn from_parts(
    subject: &Subject<'_>,
    inputs: &mut Vec<Input>,
    gaps: &mut Vec<String>,
) -> Result<Sleep, ResolveError> {
    let module = subject.module.and_then(|m| m.sleep_current.as_ref().map(|i| (m, i)));
    let Some((module, current)) = module else {
        return Err(never_measured(subject));
    };
    gaps.push(
        "sleep current never read on this board: added up from module, regulator and parts".into(),
    );
    let document = format!("module {}", module.name);
    let fallback =
        Fallback { kind: module.kind, source: module.source.as_deref(), document: &document };
    let mut input = input(
        &format!("module {} / sleep current", module.name),
        Target::SleepCurrent,
        current,
        priors::SLEEP_CURRENT,
        &fallback,
        Face {
            label: format!("sleep current of module {}", module.name),
            kind: Kind::SmallCurrent,
            less_is_better: true,
        },
    );
    input.spread = Some(crate::case::Spread {
        coefficient_of_variation: module
            .specimen_spread
            .as_ref()
            .map_or(priors::SPECIMEN_SPREAD, |s| s.si()),
        statement: "spread of the module from its document, or the stated prior".into(),
    });
    inputs.push(input);
    Ok(Sleep { current: SleepCurrent::Rail { current_a: current.si() }, temperature: None })
}
