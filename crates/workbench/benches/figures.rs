//! Budget and bill of 1 000 readings, and which test next for ten boards: `cargo xtask bench figures`.
//!
//! Ends with `figures: bill_ms=… next_test_s=…`, the least of several runs; the second is the whole question from the folder's
//! files to the answer at the command's default draws. Above it: the ranking alone, and the whole at 10 000 draws.
#![allow(clippy::print_stdout)] // a benchmark's result is what it prints
#![allow(clippy::disallowed_methods)] // nothing here is a result that must be bit-identical

use overwinter_documents::types::project::Needs;
use overwinter_figures::bill::{Conversion, Part, PartBasis, reconcile, waste};
use overwinter_figures::next_test::{Candidate, next_test};
use overwinter_figures::reading::{Influence, InstrumentRange, QuantityKind, Reading, evaluate};
use overwinter_statistics::{Distribution, Draws};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::measure::next::next;
use overwinter_workbench::sampling::SampleOptions;
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

/// The ranking alone: 20 columns of 10 000 draws against the lives of ten boards.
fn ranking_s() -> f64 {
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
    minimum_of(5, || {
        let candidates: Vec<Candidate<'_>> = inputs
            .iter()
            .map(|d| Candidate { name: "quantity", minutes: Some(10.0), draws: d })
            .collect();
        next_test(&candidates, &lives).expect("columns that fit").perfect_days
    })
}

/// CPU time of this process, s, in ticks of 10 ms; NaN where the system does not tell.
fn cpu_s() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = text.rsplit(')').next().unwrap_or_default();
    let ticks = |at: usize| after_name.split_whitespace().nth(at)?.parse::<f64>().ok();
    ticks(11).zip(ticks(12)).map_or(f64::NAN, |(user, system)| (user + system) / 100.0)
}

/// The whole question on the demo's ten boards: the folder's files read, the lives sampled, the tests ranked. No need shuts a
/// board out, so that all ten are in it.
fn whole(options: SampleOptions) -> f64 {
    let (bench, _) = Bench::read(overwinter_workbench::demo::FILES.iter().copied());
    let mut project = bench.project("footbridges").expect("the demo has it").clone();
    project.needs = Needs::default();
    let report = next(&bench, &project, options, None).expect("an answer");
    assert!(report.tests.len() >= 20, "twenty quantities, got {}", report.tests.len());
    let mut boards: Vec<&String> = report.tests.iter().flat_map(|t| &t.boards).collect();
    boards.sort();
    boards.dedup();
    assert_eq!(boards.len(), 10, "ten boards");
    report.tests.len() as f64
}

fn main() {
    let readings = readings();
    let bill_s = minimum_of(7, || bill_of(&readings));
    println!("the ranking alone, 10 boards x 20 quantities x 10 000 draws: {:.3} s", ranking_s());
    let mut next_s = f64::NAN;
    for draws in [10_000, SampleOptions::default().draws] {
        let options = SampleOptions { draws, seed: 1 };
        let (mut quantities, runs) = (0.0, 5);
        let before_s = cpu_s();
        next_s = minimum_of(runs, || {
            quantities = whole(options);
            quantities
        });
        let each_s = (cpu_s() - before_s) / runs as f64;
        println!(
            "the whole question, 10 boards x {quantities} quantities x {draws} draws: {next_s:.3} s, CPU {each_s:.2} s"
        );
    }
    println!("figures: bill_ms={:.2} next_test_s={next_s:.3}", bill_s * 1e3);
}
