//! Budget and bill of 1 000 readings, and which test next for 10 boards × 20 quantities × 10 000 draws.
//!
//! Prints one line of figures, minimum of several runs: `figures: bill_ms=… next_test_s=…`.
#![allow(clippy::print_stdout)] // a benchmark's result is what it prints
#![allow(clippy::disallowed_methods)] // nothing here is a result that must be bit-identical

use overwinter_figures::bill::{Conversion, Part, PartBasis, reconcile, waste};
use overwinter_figures::next_test::{Candidate, next_test};
use overwinter_figures::reading::{Influence, InstrumentRange, QuantityKind, Reading, evaluate};
use overwinter_statistics::{Distribution, Draws};
use std::hint::black_box;
use std::time::Instant;

fn readings() -> Vec<Reading> {
    (0..1000)
        .map(|i| {
            let value = 12e-6 + 1e-7 * f64::from(i);
            let mut reading = Reading::new(
                &format!("reading {i}"),
                &format!("session {}", i / 20),
                QuantityKind::Current,
                (0..5).map(|k| value * (1.0 + 0.002 * f64::from(k % 3))).collect(),
            );
            reading.instrument = Some(InstrumentRange {
                instrument: format!("meter {}", i % 3),
                range: "200 µA".to_owned(),
                full_scale: 200e-6,
                resolution: 0.1e-6,
                gain_limit: 0.01,
                offset_limit: 0.2e-6,
                series_resistance_ohm: 100.0,
            });
            reading.zero_before = Some(0.1e-6);
            reading.zero_after = Some(0.15e-6);
            reading.supply_v = Some(3.8);
            reading.influences = vec![
                Influence::temperature(5e-6, 10.0, 1.0),
                Influence::settling(0.2e-6),
                Influence::supply_voltage(2e-6, 0.01),
            ];
            reading
        })
        .collect()
}

/// Every reading evaluated, its budget made, its waste and its bill of four parts reconciled.
fn bill_of(readings: &[Reading]) -> f64 {
    let module = evaluate(&readings[0]).figure.expect("a figure");
    let mut sum = 0.0;
    for reading in readings {
        let board = evaluate(reading).figure.expect("a figure");
        sum += board.budget().rows.len() as f64;
        let w = waste(&reading.id, &board, &module, &Conversion::Linear, 0.08).expect("a ratio");
        let parts = ["regulator", "bridge", "divider", "charger"]
            .iter()
            .map(|name| Part::from_range(&reading.id, name, 1e-6, 4e-6, PartBasis::Typical))
            .collect();
        let bill = reconcile(w.figure, parts);
        sum += bill.unexplained_a.budget().standard_uncertainty;
    }
    sum
}

fn minimum_of(runs: usize, mut f: impl FnMut() -> f64) -> f64 {
    (0..runs)
        .map(|_| {
            let start = Instant::now();
            black_box(f());
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn main() {
    let readings = readings();
    let bill_s = minimum_of(7, || bill_of(&readings));

    let n = 10_000_usize;
    let draws = Draws::new(1);
    let inputs: Vec<Vec<f64>> = (0..20)
        .map(|q| {
            let d = if q % 5 == 4 {
                Distribution::Bernoulli { probability: 0.3 }
            } else {
                Distribution::LogNormal { median: 1.0, factor: 1.3 }
            };
            let column = draws.column(q);
            (0..n).map(|i| d.quantile(column.unit(i as u32))).collect()
        })
        .collect();
    let lives: Vec<Vec<f64>> = (0..10)
        .map(|b| {
            (0..n)
                .map(|i| {
                    let own = inputs[b][i] + 0.3 * inputs[b + 10][i];
                    400.0 / (1.0 + 0.2 * own + 0.5 * inputs[19][i] * (b % 2) as f64)
                })
                .collect()
        })
        .collect();
    let lives: Vec<&[f64]> = lives.iter().map(Vec::as_slice).collect();
    let next_s = minimum_of(5, || {
        let candidates: Vec<Candidate<'_>> = inputs
            .iter()
            .map(|d| Candidate { name: "quantity", minutes: Some(10.0), draws: d })
            .collect();
        next_test(&candidates, &lives).expect("columns that fit").perfect_days
    });
    println!("figures: bill_ms={:.2} next_test_s={next_s:.3}", bill_s * 1e3);
}
