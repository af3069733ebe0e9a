//! A board's supply path and sleep current, as measured on one specimen.

use overwinter_documents::types::board::{AlwaysOnPart, Board, Feed, Specimen};
use overwinter_documents::types::parts::{Behaviour, Module, Part};
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_documents::types::supply::{
    RegulatorFigures, RegulatorKind, ReverseProtection, Supply,
};
use overwinter_engine::curve::Curve;
use overwinter_engine::load::{ExponentialTemperature, Sleep, SleepCurrent};
use overwinter_engine::path as engine;

use super::ResolveError;
use super::input::{Face, Fallback, assumed, input, measured};
use crate::bench::Bench;
use crate::case::{Input, Target};
use crate::priors;
use crate::readings::{self, Measured};
use crate::spread::sleep_spread;
use crate::text::Kind;

/// Supply voltage at which the trade compares sleep currents, V.
pub(crate) const REFERENCE_V: f64 = 3.8;

/// A board as changed by a rework: what differs from the documents.
#[derive(Debug, Clone, Default)]
pub(crate) struct Changed {
    pub(crate) removed: Vec<String>,
    pub(crate) currents: Vec<(String, f64)>,
    pub(crate) regulator: Option<String>,
    pub(crate) bulk: Option<overwinter_documents::types::supply::Bulk>,
}

/// What the path is made from.
pub(crate) struct Subject<'a> {
    pub(crate) bench: &'a Bench,
    pub(crate) board: &'a Board,
    pub(crate) specimen: Option<&'a Specimen>,
    pub(crate) module: Option<&'a Module>,
    pub(crate) changed: &'a Changed,
}

impl<'a> Subject<'a> {
    pub(crate) fn supply(&self) -> Supply {
        self.specimen.map_or_else(|| self.board.supply.clone(), |s| self.board.supply_of(s))
    }

    fn fallback(&self) -> Fallback<'a> {
        Fallback {
            kind: self.board.kind,
            source: self.board.source.as_deref(),
            document: &self.board.name,
        }
    }

    fn key(&self, what: &str) -> String {
        match self.specimen {
            Some(specimen) => format!("board {} / {what}", specimen.id),
            None => format!("board {} / {what}", self.board.name),
        }
    }

    /// Kind and figures of the regulator, the board's own over its class's, or of the one that a rework puts in.
    fn regulator(&self, supply: &Supply) -> Option<(Option<RegulatorKind>, RegulatorFigures)> {
        let own = self.bench.folder().regulator(supply);
        let Some(name) = &self.changed.regulator else { return own };
        let class = self.bench.regulator(name)?;
        let mut figures = class.figures.clone();
        // The new part regulates to what the board needs.
        if let Some((_, old)) = own {
            figures.output = old.output.or(figures.output);
        }
        Some((Some(class.works), figures))
    }
}

/// The supply path with its inputs.
pub(crate) fn supply_path(
    subject: &Subject<'_>,
    inputs: &mut Vec<Input>,
    gaps: &mut Vec<String>,
) -> Result<engine::SupplyPath, ResolveError> {
    let supply = subject.supply();
    let fallback = subject.fallback();
    let regulator = match subject.regulator(&supply) {
        Some((Some(kind), figures)) => regulator(subject, kind, &figures, inputs, gaps)?,
        _ => {
            gaps.push(
                "the regulator is unknown: taken as linear with unknown ground current and dropout"
                    .into(),
            );
            engine::Regulator::Linear(engine::LinearRegulator {
                set_v: 3.3,
                ground_current_a: None,
                ground_per_load: 0.0,
                dropout: None,
                ground_in_dropout_a: None,
            })
        }
    };
    let reset =
        supply.reset_threshold.as_ref().or(subject.module.and_then(|m| m.reset_threshold.as_ref()));
    if let Some(threshold) = reset {
        inputs.push(input(
            &subject.key("reset threshold"),
            Target::ResetThreshold,
            threshold,
            priors::RESET_THRESHOLD,
            &fallback,
            Face { label: "reset threshold".into(), kind: Kind::Voltage, less_is_better: true },
        ));
    }
    let bulk = subject.changed.bulk.as_ref().or(supply.bulk.as_ref());
    let series_ohm = supply.series_resistance.as_ref().map(|r| r.si());
    if series_ohm.is_none() {
        gaps.push("series resistance of connector and tracks unknown, taken as nothing".into());
    }
    Ok(engine::SupplyPath {
        regulator,
        series_ohm: series_ohm.unwrap_or(0.0),
        reverse: match &supply.reverse_protection {
            Some(ReverseProtection::Diode(diode)) => {
                engine::ReverseProtection::Diode { forward_v: diode.forward.si(), slope_ohm: 0.0 }
            }
            Some(ReverseProtection::Transistor(t)) => {
                engine::ReverseProtection::Transistor { resistance_ohm: t.resistance.si() }
            }
            Some(ReverseProtection::None) | None => engine::ReverseProtection::Nothing,
        },
        bulk: bulk.map(|b| engine::Bulk {
            capacitance_f: b.capacitance.si(),
            esr_ohm: b.esr.as_ref().map_or(0.0, |r| r.si()),
            leakage_a: b.leakage.as_ref().map(|i| i.si()),
        }),
        always_on: always_on(subject, inputs, gaps),
        reset_v: reset.map(|v| v.si()),
    })
}

fn regulator(
    subject: &Subject<'_>,
    kind: RegulatorKind,
    figures: &RegulatorFigures,
    inputs: &mut Vec<Input>,
    gaps: &mut Vec<String>,
) -> Result<engine::Regulator, ResolveError> {
    let fallback = subject.fallback();
    if kind == RegulatorKind::Direct {
        return Ok(engine::Regulator::Direct);
    }
    let set_v = figures.output.as_ref().map_or_else(
        || {
            gaps.push("the regulator's output voltage is not stated: 3.3 V assumed".into());
            3.3
        },
        |v| v.si(),
    );
    let ground_input = ground_current(subject);
    let ground = ground_input.as_ref().map(|input| input.figure.value());
    inputs.extend(ground_input);
    if kind == RegulatorKind::Linear {
        let dropout = dropout(figures);
        if let (Some(dropout), Some(point)) = (dropout, figures.dropout.last()) {
            let value = dropout.fixed_v + dropout.resistance_ohm * point.current.si();
            let mut face_input = input(
                &subject.key("dropout"),
                Target::Dropout,
                &point.drop,
                priors::DROPOUT,
                &fallback,
                Face {
                    label: format!("dropout at {}", point.current),
                    kind: Kind::Voltage,
                    less_is_better: true,
                },
            );
            if point.drop.si() > 0.0 {
                face_input.figure = &face_input.figure
                    * &overwinter_statistics::Figure::exact(value / point.drop.si());
                inputs.push(face_input);
            }
        }
        if let Some(current) = &figures.ground_in_dropout {
            inputs.push(input(
                &subject.key("ground current in dropout"),
                Target::GroundInDropout,
                current,
                priors::GROUND_IN_DROPOUT,
                &fallback,
                Face {
                    label: "ground current in dropout".into(),
                    kind: Kind::SmallCurrent,
                    less_is_better: true,
                },
            ));
        }
        return Ok(engine::Regulator::Linear(engine::LinearRegulator {
            set_v,
            ground_current_a: ground,
            ground_per_load: figures.ground_share.as_ref().map_or(0.0, |share| share.si()),
            dropout,
            ground_in_dropout_a: figures.ground_in_dropout.as_ref().map(|i| i.si()),
        }));
    }
    let switching = engine::Switching {
        set_v,
        quiescent_a: ground,
        conversion: conversion(subject, figures, gaps)?,
        min_input_v: figures.minimum_input.as_ref().map(|v| v.si()),
        switch_limit_a: figures.maximum_current.as_ref().map(|i| i.si()),
        pass_ohm: dropout(figures).map_or_else(
            || figures.loss_resistance.as_ref().map_or(0.0, |r| r.si()),
            |d| d.resistance_ohm,
        ),
    };
    Ok(match kind {
        RegulatorKind::StepDown => engine::Regulator::StepDown(switching),
        RegulatorKind::StepUp => engine::Regulator::StepUp(switching),
        RegulatorKind::BuckBoost => engine::Regulator::BuckBoost(switching),
        RegulatorKind::Linear | RegulatorKind::Direct => unreachable!("handled above"),
    })
}

/// Dropout from one point (resistive) or several (straight line by least squares, never falling).
fn dropout(figures: &RegulatorFigures) -> Option<engine::Dropout> {
    let points: Vec<(f64, f64)> =
        figures.dropout.iter().map(|p| (p.current.si(), p.drop.si())).collect();
    match points.as_slice() {
        [] => None,
        [(current, drop)] if *current > 0.0 => Some(engine::Dropout::resistive(*drop, *current)),
        [(_, drop)] => Some(engine::Dropout::fixed(*drop)),
        many => {
            let n = many.len() as f64;
            let (mx, my) = (
                many.iter().map(|p| p.0).sum::<f64>() / n,
                many.iter().map(|p| p.1).sum::<f64>() / n,
            );
            let sxx: f64 = many.iter().map(|p| (p.0 - mx) * (p.0 - mx)).sum();
            let sxy: f64 = many.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
            let slope = if sxx > 0.0 { (sxy / sxx).max(0.0) } else { 0.0 };
            Some(engine::Dropout { fixed_v: (my - slope * mx).max(0.0), resistance_ohm: slope })
        }
    }
}

fn conversion(
    subject: &Subject<'_>,
    figures: &RegulatorFigures,
    gaps: &mut Vec<String>,
) -> Result<engine::Conversion, ResolveError> {
    if figures.efficiency.is_empty() {
        if figures.loss_share.is_none() {
            gaps.push(
                "the converter's losses are not stated: 10 % of the output power assumed".into(),
            );
        }
        return Ok(engine::Conversion::Loss {
            proportional: figures.loss_share.as_ref().map_or(0.10, |a| a.si()),
            resistance_ohm: figures.loss_resistance.as_ref().map_or(0.0, |r| r.si()),
        });
    }
    let rising = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    };
    let input_v = rising(figures.efficiency.iter().map(|p| p.input.si()).collect());
    let output_a = rising(figures.efficiency.iter().map(|p| p.current.si()).collect());
    let at = |v: f64, a: f64| {
        figures
            .efficiency
            .iter()
            .find(|p| p.input.si() == v && p.current.si() == a)
            .map(|p| p.efficiency.si())
    };
    let efficiency: Option<Vec<f64>> =
        input_v.iter().flat_map(|v| output_a.iter().map(|a| at(*v, *a))).collect();
    match efficiency {
        Some(efficiency) => {
            Ok(engine::Conversion::Table(engine::EfficiencyTable { input_v, output_a, efficiency }))
        }
        None => Err(ResolveError::Missing {
            subject: format!("regulator of board {}", subject.board.name),
            what: "an efficiency at every pair of input voltage and load current".into(),
            help: "complete the grid, or give `loss_share` and `loss_resistance` instead".into(),
        }),
    }
}

/// The ground current of the board's regulator as an input, where it is known.
pub(crate) fn ground_current(subject: &Subject<'_>) -> Option<Input> {
    let (_, figures) = subject.regulator(&subject.supply())?;
    figures.ground_current.as_ref().map(|current| {
        input(
            &subject.key("ground current"),
            Target::GroundCurrent,
            current,
            priors::GROUND_CURRENT,
            &subject.fallback(),
            Face {
                label: "regulator's ground current".into(),
                kind: Kind::SmallCurrent,
                less_is_better: true,
            },
        )
    })
}

/// Always-on parts that draw on battery, and the charger's back-leakage.
pub(crate) fn always_on(
    subject: &Subject<'_>,
    inputs: &mut Vec<Input>,
    gaps: &mut Vec<String>,
) -> Vec<engine::AlwaysOn> {
    let mut drains = Vec::new();
    for part in &subject.board.always_on {
        if subject.changed.removed.contains(&part.name) {
            continue;
        }
        if part.feed.value() == Some(Feed::Usb) {
            continue;
        }
        let index = drains.len();
        let changed =
            subject.changed.currents.iter().find(|(name, _)| *name == part.name).map(|(_, a)| *a);
        if let Some(drain) = drain(subject, part, changed, index, inputs) {
            drains.push(engine::AlwaysOn {
                name: part.name.clone(),
                drain,
                in_sleep_reading: true,
            });
        } else {
            gaps.push(format!(
                "what “{}” draws is unknown; the sleep reading holds it, the bill does not name it",
                part.name
            ));
        }
    }
    let leakage = subject.board.charger.as_ref().and_then(|c| c.back_leakage.as_ref());
    if let Some(current) =
        leakage.filter(|_| !subject.board.always_on.iter().any(|p| p.name == "charger"))
    {
        inputs.push(input(
            &subject.key("charger back-leakage"),
            Target::AlwaysOn(drains.len()),
            current,
            priors::ALWAYS_ON,
            &subject.fallback(),
            Face {
                label: "charger, from the cell".into(),
                kind: Kind::SmallCurrent,
                less_is_better: true,
            },
        ));
        drains.push(engine::AlwaysOn {
            name: "charger".to_owned(),
            drain: engine::Drain::Constant { current_a: current.si() },
            in_sleep_reading: true,
        });
    }
    drains
}

/// What a part draws: its own figure, else its class's; `None` where neither says.
pub(crate) fn drain(
    subject: &Subject<'_>,
    part: &AlwaysOnPart,
    changed: Option<f64>,
    index: usize,
    inputs: &mut Vec<Input>,
) -> Option<engine::Drain> {
    let class = part.class.as_deref().and_then(|name| subject.bench.part(name));
    let label = format!("{} on {}", part.name, subject.board.name);
    let face = || Face { label: label.clone(), kind: Kind::SmallCurrent, less_is_better: true };
    let key = subject.key(&part.name);
    let own = subject.fallback();
    let class_document = class.map_or_else(String::new, |c| format!("part class {}", c.name));
    let class_fallback = class.map(|c| Fallback {
        kind: c.kind,
        source: c.source.as_deref(),
        document: &class_document,
    });
    if let Some(current_a) = changed {
        return Some(engine::Drain::Constant { current_a });
    }
    if let Some(current) = &part.current {
        inputs.push(input(&key, Target::AlwaysOn(index), current, priors::ALWAYS_ON, &own, face()));
        return Some(engine::Drain::Constant { current_a: current.si() });
    }
    if let Some(ohm) = &part.resistance {
        let current = REFERENCE_V / ohm.si();
        let u = ohm.value.standard_uncertainty().map_or(priors::ALWAYS_ON * 0.1, |u| u / ohm.si());
        let origin = own.origin(ohm);
        let figure = overwinter_statistics::Figure::with_source(
            current,
            overwinter_statistics::Source::normal(&key, u * current),
        );
        inputs.push(measured(&key, Target::AlwaysOn(index), figure, None, origin, face()));
        return Some(engine::Drain::Ohmic { resistance_ohm: ohm.si() });
    }
    let class = class?;
    drain_of_class(class, class_fallback?, &key, index, inputs, face())
}

fn drain_of_class(
    class: &Part,
    fallback: Fallback<'_>,
    key: &str,
    index: usize,
    inputs: &mut Vec<Input>,
    face: Face,
) -> Option<engine::Drain> {
    match (class.behaviour, &class.current, &class.resistance) {
        (Behaviour::Ohmic, _, Some(ohm)) => {
            let current = REFERENCE_V / ohm.si();
            inputs.push(assumed(
                key,
                Target::AlwaysOn(index),
                current,
                priors::ALWAYS_ON * current,
                fallback.document,
                face,
            ));
            Some(engine::Drain::Ohmic { resistance_ohm: ohm.si() })
        }
        (Behaviour::Led, _, Some(ohm)) if class.forward.is_some() => {
            let forward = class.forward.as_ref().map_or(0.0, |v| v.si());
            let points: Vec<(f64, f64)> = (0..=10)
                .map(|k| forward.max(0.1) + 0.3 * f64::from(k))
                .map(|v| (v, (v - forward).max(0.0) / ohm.si()))
                .collect();
            let current = (REFERENCE_V - forward).max(0.0) / ohm.si();
            inputs.push(assumed(
                key,
                Target::AlwaysOn(index),
                current,
                priors::ALWAYS_ON * current,
                fallback.document,
                face,
            ));
            Curve::linear(&points).ok().map(engine::Drain::ByVoltage)
        }
        (_, Some(current), _) => {
            inputs.push(input(
                key,
                Target::AlwaysOn(index),
                current,
                priors::ALWAYS_ON,
                &fallback,
                face,
            ));
            Some(engine::Drain::Constant { current_a: current.si() })
        }
        _ => None,
    }
}

/// The sleep current of a specimen: read at the battery contacts if a session has it, else added up from the module, the
/// regulator and the always-on parts.
pub(crate) fn sleep(
    subject: &Subject<'_>,
    path: &engine::SupplyPath,
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
        let saved = saved(subject, path, gaps);
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
    let spread =
        subject.specimen.map(|s| sleep_spread(subject.bench, subject.board, s, figure.value()));
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

/// The reading nearest to the reference voltage and room temperature in the newest session that has one.
pub(crate) fn reference<'a, 'b>(read: &'b [Measured<'a>]) -> Option<&'b Measured<'a>> {
    let newest = read.first()?.session.name.as_str();
    let off = |m: &Measured<'_>| {
        let volts = (m.supply_v.unwrap_or(REFERENCE_V) - REFERENCE_V).abs();
        let kelvin = (m.celsius.unwrap_or(22.0) - 22.0).abs();
        // A volt off counts as much as 30 K.
        volts + kelvin / 30.0
    };
    read.iter().filter(|m| m.session.name == newest).min_by(|a, b| off(a).total_cmp(&off(b)))
}

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
fn saved(
    subject: &Subject<'_>,
    _path: &engine::SupplyPath,
    gaps: &mut Vec<String>,
) -> impl Fn(f64) -> f64 + use<> {
    let unchanged = Changed::default();
    let before = Subject {
        bench: subject.bench,
        board: subject.board,
        specimen: subject.specimen,
        module: subject.module,
        changed: &unchanged,
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
