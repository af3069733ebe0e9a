//! The whole chain on one small folder written by hand: documents in, choice and forecast out.

use overwinter_workbench::answers;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::sampling::SampleOptions;

const FILES: &[(&str, &str)] = &[
    (
        "chemistries/pouch.toml",
        r#"
[chemistry]
name = "pouch"
rechargeable = "yes"
[chemistry.figures]
self_discharge = "2 %/month"
self_discharge_doubling = "10 K"
cut_off = "3.0 V"
[chemistry.figures.ocv]
charge = ["0 %", "5 %", "10 %", "20 %", "30 %", "40 %", "50 %", "60 %", "70 %", "80 %", "90 %", "100 %"]
voltage = ["3.00 V", "3.42 V", "3.55 V", "3.64 V", "3.69 V", "3.73 V", "3.77 V", "3.82 V", "3.89 V", "3.97 V", "4.06 V", "4.18 V"]
"#,
    ),
    (
        "cells/pouch.toml",
        "[cell]\nname = \"pouch 2500\"\nchemistry = \"pouch\"\ncapacity = \"2500 mAh\"\n[cell.figures]\nresistance = \"0.18 Ω\"\nprotection_current = \"4 µA\"\n",
    ),
    (
        "boards/one.toml",
        r#"
[board]
name = "ONE"
[board.supply]
series_resistance = "0.05 Ω"
reset_threshold = "2.80 V"
[board.supply.regulator]
kind = "linear"
[board.supply.regulator.figures]
output = "3.3 V"
ground_current = "1.5 µA"
dropout = [{ current = "340 mA", drop = "0.17 V" }]
[[board.specimens]]
id = "ONE-1"
"#,
    ),
    (
        "sessions/one.toml",
        "[session]\nname = \"one\"\nspecimen = \"ONE-1\"\ndate = 2026-05-01\nsupply = \"3.80 V\"\nsource = \"battery contacts\"\ntemperature = \"22 °C\"\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"61.0(7) µA\"\n",
    ),
    (
        "projects/p.toml",
        "[project]\nname = \"p\"\ncell = \"pouch 2500\"\ntarget_life = \"200 d\"\n[project.temperature]\nconstant = \"20 °C\"\n[[project.activities]]\nname = \"report\"\nevery = \"10 min\"\ncharge = \"209 mC\"\nduration = \"2.2 s\"\npeak = { current = \"340 mA\", duration = \"5 ms\" }\n",
    ),
];

fn bench() -> Bench {
    let (bench, diagnostics) = Bench::read(FILES.iter().copied());
    assert!(diagnostics.iter().all(|d| !d.is_error()), "{diagnostics:?}");
    bench
}

#[test]
fn a_forecast_answers_in_full() {
    let bench = bench();
    let options = SampleOptions { draws: 256, seed: 7 };
    let report = answers::forecast(
        &bench,
        bench.project("p").unwrap(),
        bench.board("ONE").unwrap(),
        None,
        options,
    )
    .unwrap();
    let total: f64 = report.ledger.iter().map(|line| line.charge_c).sum();
    assert!((total / report.initial_charge_c - 1.0).abs() < 1e-9, "the ledger adds up");
    // Trap 1 (2500 mAh, 409.1 µA + 4 µA, 2 %/month) lives 195.8 d down to 15 %; this one goes on to its voltage limit.
    let days = report.life_s / 86_400.0;
    assert!((195.8..235.0).contains(&days), "{days}");
    assert!(report.this_specimen.summary.p10_s < report.this_specimen.summary.p90_s);
}
