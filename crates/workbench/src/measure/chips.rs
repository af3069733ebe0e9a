//! Likely class of a regulator or charger that nobody can read, from how the board behaves and what the library says of the
//! classes.

use overwinter_documents::types::parts::Regulator;
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_documents::types::supply::RegulatorKind;
use overwinter_figures::identify::{Behaviour, ChipClass, Observation, identify};
use overwinter_quantity::Spread;
use overwinter_statistics::Distribution;
use serde::Serialize;

use super::sweep::Point;
use crate::facts::Shown;
use crate::text::{current, significant, voltage};

/// A class with its probability.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClassLine {
    /// The class, a name of `regulators/` or `chargers/`.
    pub class: String,
    /// Probability among the classes of the library.
    pub probability: f64,
    /// Observed quantities that its document says nothing about.
    pub silent_about: Vec<String>,
}

/// What the behaviour says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChipReport {
    /// The marking, as far as it can be read.
    pub marking: Option<String>,
    /// What the document names, where it names a class.
    pub entered: Option<String>,
    /// What was seen, in words.
    pub observed: Vec<String>,
    /// Classes, likeliest first; those below 1 % left out.
    pub classes: Vec<ClassLine>,
    /// Even the best class makes this unlikely: perhaps none of them.
    pub perhaps_none: bool,
    /// What it rests on.
    pub basis: &'static str,
}

const BASIS: &str = "all classes of the folder and the library as likely beforehand; the ground current is at most what the board draws beyond its module, so it is taken as known to within a factor of two";

const GROUND: &str = "ground current";
const IN_DROPOUT: &str = "ground current in dropout";
const DROPOUT: &str = "dropout resistance";

/// The likely class of a board's regulator; `None` where nothing that tells was observed.
pub(super) fn chip(shown: &Shown<'_>, points: &[Point]) -> Option<ChipReport> {
    let supply =
        shown.specimen.map_or_else(|| shown.board.supply.clone(), |s| shown.board.supply_of(s));
    let (kind, figures) = shown.bench.folder().regulator(&supply).unwrap_or_default();
    let mut observations = Vec::new();
    let mut observed = Vec::new();
    if let Some(beyond) = shown.beyond_module().filter(|f| f.figure.value() > 0.0) {
        // Charger, dividers and what else is on the board are in it: half of it either way.
        let value = 0.75 * beyond.figure.value();
        let u = libm::hypot(beyond.figure.standard_uncertainty(), 0.25 * value);
        observations.push(Observation { quantity: GROUND.into(), value, standard_uncertainty: u });
        observed.push(format!("{} beyond the module at 3.8 V", current(beyond.figure.value())));
    }
    let set_v = figures.output.as_ref().map_or(3.3, |v| v.si());
    let low =
        points.iter().filter(|p| p.volts < set_v + 0.02).min_by(|a, b| a.volts.total_cmp(&b.volts));
    if let Some(p) = low
        && let Some(bare) = shown.module_sleep()
    {
        let value = (p.figure.value() - bare.figure.value()).max(0.0);
        let standard_uncertainty = (0.3 * value).max(1e-9);
        observations.push(Observation { quantity: IN_DROPOUT.into(), value, standard_uncertainty });
        observed.push(format!(
            "{} beyond the module at {}, in dropout",
            current(value),
            voltage(p.volts)
        ));
    }
    let peak_a = shown.reading(What::RadioPeak, &[Fed::Battery]).map_or(0.34, |f| f.figure.value());
    if matches!(kind, None | Some(RegulatorKind::Linear))
        && let Some((drop, source)) = super::burden::dropout_v(shown, peak_a)
    {
        let load = figures.dropout.last().map_or(peak_a, |p| p.current.si());
        let value = drop.value() / load;
        let standard_uncertainty = (drop.standard_uncertainty() / load).max(0.05 * value);
        if value > 0.0 {
            observations.push(Observation {
                quantity: DROPOUT.into(),
                value,
                standard_uncertainty,
            });
            observed.push(format!(
                "dropout {} at {} ({source})",
                voltage(drop.value()),
                current(load)
            ));
        }
    }
    if observations.is_empty() {
        return None;
    }
    let classes: Vec<ChipClass> = shown
        .bench
        .folder()
        .regulators
        .documents()
        .filter(|r| r.works != RegulatorKind::Direct && kind.is_none_or(|k| k == r.works))
        .map(class_of)
        .collect();
    let verdict = identify(&classes, &observations).ok()?;
    let traits = crate::traits::sight(shown.bench, shown.board, shown.specimen).traits;
    Some(ChipReport {
        marking: traits.regulator_marking,
        entered: supply.regulator.as_ref().and_then(|r| r.class.clone()),
        observed,
        classes: lines(verdict.candidates),
        perhaps_none: verdict.perhaps_none,
        basis: BASIS,
    })
}

const FLOAT: &str = "float voltage";

const CHARGER_BASIS: &str = "all classes of the folder and the library as likely beforehand; only the voltage at which the charger ends tells them apart";

/// The likely class of a board's charger, from the voltage at which it ends; `None` where that was not read.
pub(super) fn charger(shown: &Shown<'_>) -> Option<ChipReport> {
    let fed = [Fed::Battery, Fed::Usb, Fed::UsbFullCell, Fed::Panel];
    let read = shown.reading(What::FloatVoltage, &fed)?;
    let value = read.figure.value();
    let standard_uncertainty = read.figure.standard_uncertainty().max(1e-4);
    let classes: Vec<ChipClass> = shown
        .bench
        .folder()
        .chargers
        .documents()
        .filter_map(|class| {
            let float = class.figures.float_voltage.as_ref()?;
            Some(ChipClass {
                name: class.name.clone(),
                prior: 1.0,
                behaviours: vec![Behaviour {
                    quantity: FLOAT.to_owned(),
                    distribution: match float.value.spread() {
                        // A voltage without a spread is that of a charger within 1 %, not a factor of two.
                        Spread::Unstated | Spread::AtMost | Spread::AtLeast => {
                            Distribution::Uniform {
                                centre: float.si(),
                                half_width: 0.01 * float.si(),
                            }
                        }
                        spread => distribution(float.si(), spread, 1.0),
                    },
                }],
            })
        })
        .collect();
    let seen = Observation { quantity: FLOAT.to_owned(), value, standard_uncertainty };
    let verdict = identify(&classes, &[seen]).ok()?;
    let traits = crate::traits::sight(shown.bench, shown.board, shown.specimen).traits;
    let stated = shown.board.charger.as_ref().and_then(|c| c.float_voltage.as_ref());
    Some(ChipReport {
        marking: traits.charger_marking,
        entered: stated.map(|v| format!("float voltage {}", voltage(v.si()))),
        observed: vec![format!("it ends at {} ({})", significant_volts(value), read.origin.source)],
        classes: lines(verdict.candidates),
        perhaps_none: verdict.perhaps_none,
        basis: CHARGER_BASIS,
    })
}

fn significant_volts(v: f64) -> String {
    format!("{} V", significant(v, 4))
}

/// Classes of 1 % and more.
fn lines(candidates: Vec<overwinter_figures::identify::Candidate>) -> Vec<ClassLine> {
    candidates
        .into_iter()
        .filter(|c| c.probability >= 0.01)
        .map(|c| ClassLine {
            class: c.class,
            probability: c.probability,
            silent_about: c.silent_about,
        })
        .collect()
}

fn class_of(regulator: &Regulator) -> ChipClass {
    let figures = &regulator.figures;
    let mut behaviours = Vec::new();
    let mut say = |quantity: &str, value: f64, spread: Spread, per: f64| {
        if value > 0.0 && per > 0.0 {
            behaviours.push(Behaviour {
                quantity: quantity.to_owned(),
                distribution: distribution(value / per, spread, per),
            });
        }
    };
    if let Some(i) = &figures.ground_current {
        say(GROUND, i.si(), i.value.spread(), 1.0);
    }
    if let Some(i) = &figures.ground_in_dropout {
        say(IN_DROPOUT, i.si(), i.value.spread(), 1.0);
    }
    if let Some(point) = figures.dropout.last() {
        say(DROPOUT, point.drop.si(), point.drop.value.spread(), point.current.si());
    }
    ChipClass { name: regulator.name.clone(), prior: 1.0, behaviours }
}

/// What a class's figure says: a range is a rectangle, no spread means a factor of about two either way.
fn distribution(value: f64, spread: Spread, per: f64) -> Distribution {
    match spread {
        Spread::Limits { half_width } => {
            Distribution::Uniform { centre: value, half_width: half_width / per }
        }
        Spread::Standard { u } => Distribution::Normal { mean: value, sd: u / per },
        Spread::Expanded { half_width, k } => {
            Distribution::Normal { mean: value, sd: half_width / k / per }
        }
        Spread::Unstated | Spread::AtMost | Spread::AtLeast => {
            Distribution::log_normal_cv(value, 0.7)
        }
    }
}

/// A probability for reading.
pub fn probability_text(p: f64) -> String {
    format!("{} %", significant(100.0 * p, 2))
}
