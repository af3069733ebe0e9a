//! A cell of the folder as the engine's cell.

use overwinter_documents::types::cell::{Cell, CellFigures};
use overwinter_engine::cell as engine;
use overwinter_engine::curve::{Curve, Interpolation};

use super::ResolveError;
use super::input::{Face, Fallback, input};
use crate::bench::Bench;
use crate::case::{Input, Target};
use crate::priors;
use crate::text::Kind;

/// The cell and what is uncertain in it. `gaps` receives what had to be assumed.
pub(crate) fn cell(
    bench: &Bench,
    cell: &Cell,
    inputs: &mut Vec<Input>,
    gaps: &mut Vec<String>,
) -> Result<engine::Cell, ResolveError> {
    let figures = bench.cell_figures(cell);
    let chemistry = bench.chemistry(&cell.chemistry);
    let series = f64::from(cell.in_series.unwrap_or(1));
    let parallel = f64::from(cell.in_parallel.unwrap_or(1));
    let document = format!("cell {}", cell.name);
    let own = Fallback { kind: cell.kind, source: cell.source.as_deref(), document: &document };
    let class = chemistry.map_or(own, |c| Fallback {
        kind: c.kind,
        source: c.source.as_deref(),
        document: &c.name,
    });
    // A figure that the cell does not state is the chemistry's, and so is its source.
    let from = |stated: bool| if stated { own } else { class };
    let key = |what: &str| format!("cell {} / {what}", cell.name);

    let mut capacity = input(
        &key("capacity"),
        Target::CellCapacity,
        &cell.capacity,
        priors::CELL_CAPACITY,
        &own,
        Face { label: "cell capacity".into(), kind: Kind::CellCharge, less_is_better: false },
    );
    if parallel > 1.0 {
        capacity.figure = &capacity.figure * &overwinter_statistics::Figure::exact(parallel);
    }
    let capacity_c = capacity.figure.value();
    inputs.push(capacity);

    let resistance = figures.resistance.as_ref().map(|ohm| {
        let mut input = input(
            &key("resistance"),
            Target::CellResistance,
            ohm,
            priors::CELL_RESISTANCE,
            &from(cell.figures.resistance.is_some()),
            Face { label: "cell resistance".into(), kind: Kind::Resistance, less_is_better: true },
        );
        input.figure = &input.figure * &overwinter_statistics::Figure::exact(series / parallel);
        let ohm = input.figure.value();
        inputs.push(input);
        let at_25 = match &figures.resistance_rise {
            Some(rise) => engine::ResistanceCurve::Rising {
                ohm,
                rise: rise.amount.si(),
                scale: rise.span.si(),
            },
            None => engine::ResistanceCurve::Constant { ohm },
        };
        engine::Resistance { at_25, b_kelvin: figures.resistance_b.as_ref().map(|b| b.si()) }
    });
    let self_discharge = figures.self_discharge.as_ref().map(|rate| {
        inputs.push(input(
            &key("self-discharge"),
            Target::SelfDischarge,
            rate,
            priors::SELF_DISCHARGE,
            &from(cell.figures.self_discharge.is_some()),
            Face {
                label: "self-discharge at 20 °C".into(),
                kind: Kind::SelfDischarge,
                less_is_better: true,
            },
        ));
        let doubling = figures.self_discharge_doubling.as_ref().map(|k| k.si());
        if doubling.is_none() {
            gaps.push(
                "self-discharge over temperature not stated: doubling for every 10 K assumed"
                    .into(),
            );
        }
        engine::SelfDischarge {
            rate_at_20_per_s: rate.si(),
            doubling_kelvin: doubling.unwrap_or(10.0),
        }
    });
    if let Some(current) = &figures.protection_current {
        inputs.push(input(
            &key("protection current"),
            Target::ProtectionCurrent,
            current,
            priors::PROTECTION_CURRENT,
            &from(cell.figures.protection_current.is_some()),
            Face {
                label: "protection's own current".into(),
                kind: Kind::SmallCurrent,
                less_is_better: true,
            },
        ));
    }
    let protection = (figures.protection_current.is_some() || figures.protection_cut_off.is_some())
        .then(|| engine::Protection {
            own_current_a: figures.protection_current.as_ref().map(|i| i.si()),
            cutoff_v: figures.protection_cut_off.as_ref().map(|v| v.si() * series),
        });
    let ageing = figures.ageing.as_ref().map(|law| {
        inputs.push(input(
            &key("ageing"),
            Target::AgeingLoss,
            &law.loss_in_first_year,
            priors::AGEING_LOSS,
            &from(cell.figures.ageing.is_some()),
            Face {
                label: "calendar loss in the first year".into(),
                kind: Kind::Share,
                less_is_better: true,
            },
        ));
        if law.activation_energy.is_none() {
            gaps.push("ageing over temperature not stated: 50 kJ/mol assumed".into());
        }
        engine::Ageing {
            capacity_loss_per_sqrt_year: law.loss_in_first_year.si(),
            activation_j_per_mol: law.activation_energy.as_ref().map_or(50e3, |e| e.si()),
            resistance_rise_per_sqrt_year: None,
        }
    });
    if let Some(passivation) = &figures.passivation {
        gaps.push(format!(
            "passivation film ({} after a day at rest): the dip of the first peak is not computed",
            passivation.value
        ));
    }
    Ok(engine::Cell {
        capacity_c,
        capacity_by_temperature: capacity_curve(cell, &figures)?,
        open_circuit_v: open_circuit(cell, &figures, series)?,
        resistance,
        rc: figures
            .rc
            .iter()
            .map(|pair| engine::RcPair {
                resistance_ohm: pair.resistance.si() * series / parallel,
                time_constant_s: pair.time_constant.si(),
            })
            .collect(),
        two_well: figures.two_well.as_ref().map(|wells| engine::TwoWell {
            available_share: wells.available_share.si(),
            rate_per_s: 1.0 / wells.time_constant.si(),
        }),
        self_discharge,
        protection,
        cutoff_v: figures.cut_off.as_ref().map(|v| v.si() * series),
        ageing,
        passivating: figures.passivation.is_some(),
        initial_charge: cell.start_charge.as_ref().map_or(1.0, |s| s.si()),
        shelf_life_s: figures.shelf_life.as_ref().map(overwinter_quantity::Duration::si),
        discharge_celsius: figures
            .discharge_temperature
            .as_ref()
            .map(|w| (w.from.celsius(), w.to.celsius())),
        max_current_a: figures.maximum_current.as_ref().map(|i| i.si() * parallel),
    })
}

fn open_circuit(cell: &Cell, figures: &CellFigures, series: f64) -> Result<Curve, ResolveError> {
    let table = figures.ocv.as_ref().ok_or_else(|| ResolveError::Missing {
        subject: format!("cell {}", cell.name),
        what: "open-circuit voltage".into(),
        help: format!(
            "give the cell an `ocv` table, or a chemistry that has one (it names “{}”)",
            cell.chemistry
        ),
    })?;
    if table.charge.len() != table.voltage.len() {
        return Err(ResolveError::Missing {
            subject: format!("cell {}", cell.name),
            what: format!(
                "as many voltages ({}) as charges ({}) in `ocv`",
                table.voltage.len(),
                table.charge.len()
            ),
            help: "write one voltage for each state of charge".into(),
        });
    }
    let points: Vec<(f64, f64)> =
        table.charge.iter().zip(&table.voltage).map(|(s, v)| (s.si(), v.si() * series)).collect();
    Curve::new(&points, Interpolation::Linear)
        .map_err(|error| ResolveError::engine(&format!("cell {}", cell.name), error))
}

fn capacity_curve(cell: &Cell, figures: &CellFigures) -> Result<Option<Curve>, ResolveError> {
    if figures.capacity_at.is_empty() {
        return Ok(None);
    }
    let mut points: Vec<(f64, f64)> =
        figures.capacity_at.iter().map(|c| (c.temperature.celsius(), c.share.si())).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    Curve::linear(&points).map(Some).map_err(|error| {
        ResolveError::engine(&format!("capacity over temperature of cell {}", cell.name), error)
    })
}
