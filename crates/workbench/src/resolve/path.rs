//! A board's supply path and sleep current, as measured on one specimen.

use overwinter_documents::types::board::{AlwaysOnPart, Board, Feed, Specimen};
use overwinter_documents::types::parts::{Behaviour, Module, Part};
use overwinter_documents::types::supply::{
    RegulatorFigures, RegulatorKind, ReverseProtection, Supply,
};
use overwinter_engine::curve::Curve;
use overwinter_engine::path as engine;

use super::ResolveError;
use super::input::{Face, Fallback, assumed, input, measured};
use crate::bench::Bench;
use crate::case::{Input, Target};
use crate::priors;
use crate::spread::StatedPrior;
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
    /// What is believed of the spread between specimens.
    pub(crate) prior: &'a StatedPrior,
}

impl<'a> Subject<'a> {
    pub(crate) fn supply(&self) -> Supply {
        self.specimen.map_or_else(|| self.board.supply.clone(), |s| self.board.supply_of(s))
    }

    pub(crate) fn fallback(&self) -> Fallback<'a> {
        Fallback {
            kind: self.board.kind,
            source: self.board.source.as_deref(),
            document: &self.board.name,
        }
    }

    pub(crate) fn key(&self, what: &str) -> String {
        match self.specimen {
            Some(specimen) => format!("board {} / {what}", specimen.id),
            None => format!("board {} / {what}", self.board.name),
        }
    }

    /// Kind and figures of the regulator, the board's own over its class's, or of the one that a rework puts in.
    pub(crate) fn regulator(
        &self,
        supply: &Supply,
    ) -> Option<(Option<RegulatorKind>, RegulatorFigures)> {
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
    let regulator = if let Some((Some(kind), figures)) = subject.regulator(&supply) {
        regulator(subject, kind, &figures, inputs, gaps)?
    } else {
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
