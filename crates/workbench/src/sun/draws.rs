//! The uncertain inputs of the balance, one draw for each synthetic year: those of the forecast by the same names and sources, the spread between
//! specimens, and the panel's and charger's own.

use overwinter_statistics::Draws;
use overwinter_statistics::special::normal_quantile;
use overwinter_sun::balance::NodeTables;
use overwinter_sun::balance::engine::mean_current_a;
use overwinter_sun::balance::tables::Variation;
use overwinter_sun::charger::{Coupling, Source};

use super::node::{Prepared, REFERENCE, load_slopes, state_slopes};
use super::report::SunContribution;
use super::setting::Setting;
use crate::case::{Case, Target};
use crate::sampling::{SampleOptions, bought_values};

/// Dimensions that the charger of a board takes.
const OWN: usize = 7;
/// Dimensions of the sequence that are kept apart for chargers; beyond them boards share.
const MOST: usize = 480;

/// What is drawn for one board: a value for each year.
pub(super) struct Drawn {
    capacity: Vec<f64>,
    load: Vec<f64>,
    resistance: Vec<f64>,
    self_discharge: Vec<f64>,
    /// Departure of an input from its best value in each draw, and what one unit of it adds to the lowest usable state at each temperature.
    lowest: Vec<(Vec<f64>, Vec<f64>)>,
    /// Added to all temperatures of the cell, K.
    pub(super) warmer_k: Vec<f64>,
    panel: Vec<f64>,
    charge: Vec<f64>,
    input_v: Vec<f64>,
    hold_v: Vec<f64>,
    termination: Vec<f64>,
    dropout: Vec<f64>,
    retry: Vec<f64>,
    efficiency: Vec<f64>,
    /// Name of what was drawn, and its draws.
    pub(super) columns: Vec<(String, Vec<f64>)>,
}

impl Drawn {
    /// The node's tables in a draw.
    pub(super) fn tables(&self, best: &NodeTables, k: usize) -> NodeTables {
        let mut lowest_state = Vec::new();
        for (departures, slope) in &self.lowest {
            lowest_state.resize(slope.len(), 0.0);
            for (sum, slope) in lowest_state.iter_mut().zip(slope) {
                *sum += slope * departures[k];
            }
        }
        best.varied(&Variation {
            capacity: self.capacity[k].max(0.01),
            load: self.load[k].max(0.01),
            resistance: self.resistance[k].max(0.01),
            self_discharge: self.self_discharge[k].max(0.0),
            lowest_state,
        })
    }

    /// Panel and charger in a draw.
    pub(super) fn source(&self, best: &Source, k: usize) -> Source {
        let mut source = best.clone();
        source.panel = best.panel.scaled(self.panel[k].max(0.05));
        let charger = &mut source.charger;
        charger.set_current_a *= self.charge[k].max(0.05);
        charger.input_rise_v += self.input_v[k];
        charger.input_fall_v += self.input_v[k];
        charger.hold_v += self.hold_v[k];
        charger.dropout_v = (charger.dropout_v * self.dropout[k]).max(0.0);
        charger.retry_s *= self.retry[k];
        if let Some(share) = &mut charger.termination_share {
            *share *= self.termination[k].max(0.05);
        }
        if let Coupling::StepDown { efficiency, .. } | Coupling::MaximumPower { efficiency, .. } =
            &mut source.coupling
        {
            *efficiency = (*efficiency + self.efficiency[k]).clamp(0.05, 1.0);
        }
        source
    }

    /// What moves the outage days most: each input's correlation with what the draw changed in its own year of weather, which is the same for both. Inputs
    /// are drawn independently, so their squares add up; what is below twice the scatter of a correlation, `2/√n`, is left out.
    pub(super) fn budget(&self, days: &[f64]) -> Vec<SunContribution> {
        let n = days.len() as f64;
        let mean = days.iter().sum::<f64>() / n.max(1.0);
        let total = days.iter().map(|d| (d - mean) * (d - mean)).sum::<f64>();
        if days.len() < 30 || total <= 0.0 {
            return Vec::new();
        }
        let mut found: Vec<SunContribution> = self
            .columns
            .iter()
            .filter_map(|(name, values)| {
                let middle = values.iter().sum::<f64>() / n;
                let own = values.iter().map(|x| (x - middle) * (x - middle)).sum::<f64>();
                if own <= 0.0 {
                    return None;
                }
                let both: f64 =
                    values.iter().zip(days).map(|(x, d)| (x - middle) * (d - mean)).sum();
                let r = both / (own * total).sqrt();
                (r.abs() > 2.0 / n.sqrt()).then(|| SunContribution {
                    name: name.clone(),
                    days: r * (total / n).sqrt(),
                    share: r * r,
                })
            })
            .collect();
        found.sort_by(|a, b| b.share.total_cmp(&a.share));
        found
    }
}

/// One draw of the uncertain inputs for each year, the same for every board where the input is the same.
pub(super) fn draw(setting: &Setting, ready: &[Prepared], count: usize, seed: u64) -> Vec<Drawn> {
    let cases: Vec<Case> = ready.iter().map(|p| p.case.clone()).collect();
    let values = bought_values(&cases, SampleOptions { draws: count.max(1), seed });
    // Panel and chargers have dimensions of their own, apart from those of the cases' inputs.
    let own = Draws::new(seed ^ 0x5355_4e21);
    let normal = |dimension: usize| -> Vec<f64> {
        let column = own.column(dimension);
        (0..count).map(|k| normal_quantile(column.unit(k as u32))).collect()
    };
    let panel = normal(0);
    ready
        .iter()
        .zip(values)
        .enumerate()
        .map(|(index, (prepared, values))| {
            let mut drawn = of_inputs(prepared, &values, count);
            let spreads = prepared.between.spreads;
            let first = 1 + (OWN * index) % MOST;
            let mut take = |name: &str, u: f64, column: Vec<f64>| -> Vec<f64> {
                let values: Vec<f64> = column.iter().map(|z| u * z).collect();
                if u > 0.0 {
                    drawn.columns.push((name.to_owned(), column));
                }
                values
            };
            let one_plus = |values: Vec<f64>| values.into_iter().map(|x| 1.0 + x).collect();
            drawn.panel =
                one_plus(take("panel current", setting.labelled.current_u, panel.clone()));
            drawn.charge =
                one_plus(take("charge current", prepared.between.current_u, normal(first)));
            drawn.input_v = take("charger's input thresholds", spreads.input_v, normal(first + 1));
            drawn.hold_v = take("voltage that is charged to", spreads.hold_v, normal(first + 2));
            drawn.termination = one_plus(take(
                "current at which the charge ends",
                spreads.termination,
                normal(first + 3),
            ));
            drawn.dropout = one_plus(take(
                "what the charger needs above the cell",
                spreads.dropout,
                normal(first + 4),
            ));
            drawn.retry =
                take("wait between the charger's tries", spreads.retry, normal(first + 5))
                    .into_iter()
                    .map(libm::exp)
                    .collect();
            drawn.efficiency =
                take("the converter's efficiency", spreads.efficiency, normal(first + 6));
            drawn
        })
        .collect()
}

/// The inputs that the forecast draws, as factors and departures of the balance.
fn of_inputs(prepared: &Prepared, values: &[Option<Vec<f64>>], count: usize) -> Drawn {
    let case = &prepared.case;
    let ones = || vec![1.0; count];
    let zeros = || vec![0.0; count];
    let mut drawn = Drawn {
        capacity: ones(),
        load: ones(),
        resistance: ones(),
        self_discharge: ones(),
        lowest: Vec::new(),
        warmer_k: zeros(),
        panel: ones(),
        charge: ones(),
        input_v: zeros(),
        hold_v: zeros(),
        termination: ones(),
        dropout: ones(),
        retry: ones(),
        efficiency: zeros(),
        columns: Vec::new(),
    };
    let (volts, celsius) = REFERENCE;
    let mean = mean_current_a(&case.scenario, volts, celsius);
    let loads = load_slopes(case);
    let states = state_slopes(prepared);
    for (index, (input, values)) in case.inputs.iter().zip(values).enumerate() {
        let Some(values) = values else { continue };
        let best = input.figure.value();
        let mut moves = true;
        let by_share = |factors: &mut Vec<f64>| {
            for (factor, value) in factors.iter_mut().zip(values) {
                *factor *= value / best;
            }
        };
        match input.target {
            Target::CellCapacity => by_share(&mut drawn.capacity),
            Target::CellResistance => by_share(&mut drawn.resistance),
            Target::SelfDischarge if best > 0.0 => by_share(&mut drawn.self_discharge),
            Target::AgeingLoss if prepared.lost > 0.0 && best > 0.0 => {
                for (factor, value) in drawn.capacity.iter_mut().zip(values) {
                    let lost = (prepared.lost * value / best).min(0.95);
                    *factor *= (1.0 - lost) / (1.0 - prepared.lost);
                }
            }
            Target::TemperatureShift => {
                for (warmer, value) in drawn.warmer_k.iter_mut().zip(values) {
                    *warmer += value - best;
                }
            }
            _ => moves = false,
        }
        if let Some((_, slope)) = loads.iter().find(|(at, _)| *at == index) {
            moves = true;
            for (factor, value) in drawn.load.iter_mut().zip(values) {
                *factor += slope * (value - best) / mean.max(1e-12);
            }
        }
        if let Some((_, slope)) = states.iter().find(|(at, _)| *at == index) {
            moves = true;
            let departures = values.iter().map(|value| value - best).collect();
            drawn.lowest.push((departures, slope.clone()));
        }
        if moves {
            let spread =
                if input.spread.is_some() { ", with the spread between specimens" } else { "" };
            drawn.columns.push((format!("{}{spread}", input.label), values.clone()));
        }
    }
    drawn
}
