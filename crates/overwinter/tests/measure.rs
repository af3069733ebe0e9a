//! The measurement side from the command line: real binary, demo folder, figures checked against what the trade gets by hand.

mod common;

use std::io::Write;
use std::process::{Command, Output, Stdio};

use common::Folder;

struct Demo(Folder);

impl Demo {
    fn new(name: &str) -> Self {
        Self(Folder::demo(&format!("measure-{name}")))
    }

    fn run(&self, arguments: &[&str]) -> Output {
        self.0.run(arguments)
    }

    fn text(&self, arguments: &[&str]) -> String {
        plain(&self.run(arguments))
    }

    fn json(&self, arguments: &[&str]) -> serde_json::Value {
        common::json(&self.run(arguments))
    }
}

/// Both streams as text, blanks that do not break as plain ones.
fn plain(output: &Output) -> String {
    let text = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    String::from_utf8_lossy(&text).replace('\u{a0}', " ")
}

fn assert_has(text: &str, wanted: &[&str]) {
    for part in wanted {
        assert!(text.contains(part), "“{part}” is missing:\n{text}");
    }
}

#[test]
fn a_difference_with_itself_is_exactly_zero_and_shared_errors_cancel() {
    let demo = Demo::new("figure");
    let reading = "2026-04-12 BOWLINE-1 sleep#1";
    let same = demo.text(&["figure", reading, reading]);
    assert_has(&same, &["  0 A\n", "correlation 1;"]);
    let budget = demo.text(&["figure", "BOWLINE-1", "--what", "sleep current"]);
    // Mean of the five typed repeats 9.40 9.39 9.37 9.41 9.43 less the mean zero 0.005 µA: 9.395 µA. Its u: the meter's and
    // repeats' 0.018 µA, and 1 K of a coefficient ln(13.1/9.395)/23 K = 1.4 %/K: 9.395·0.01445/√3 = 0.078 µA.
    assert_has(
        &budget,
        &[
            "9.40 ± 0.16 µA (k = 2)",
            "9.40(8) µA",
            "type A: scatter of the repeats",
            "from its own readings at two",
            "repeats",
            "bench meter / 100 µA / gain",
        ],
    );
}

#[test]
fn a_retracted_session_is_told_with_the_reason_and_does_not_count() {
    let demo = Demo::new("retracted");
    let text = demo.text(&["figure", "BOWLINE-1"]);
    assert_has(&text, &["60 mA range: one count is 10 µA"]);
    let bill = demo.json(&["bill", "BOWLINE", "--format", "json"]);
    let total = bill["total"]["current_a"].as_f64().unwrap();
    assert!((total - 9.395e-6).abs() < 1e-9, "{total}: the retracted 30 µA must not count");
}

#[test]
fn the_burden_of_a_milliampere_range_resets_the_board() {
    // Job check, trap 3: 3.70 V, cell 0.15 Ω, dropout 0.28 V, reset 2.80 V, 340 mA: the limit is 1.67 Ω. Here the board's
    // own 0.06 Ω and a peak of 341 mA are counted too: (3.70 − 0.2808 − 2.80)/0.341 − 0.21 = 1.606 Ω.
    let demo = Demo::new("burden");
    let text = demo.text(&[
        "burden",
        "hand-held meter",
        "--board",
        "CARRICK",
        "--supply",
        "3.70 V",
        "--source-resistance",
        "0.15 Ω",
    ]);
    assert_has(
        &text,
        &["1.61 Ω", "60 mA", "resets at the radio peak", "Lock the range", "4700 µF"],
    );
}

#[test]
fn settling_says_wait_then_take_it() {
    let demo = Demo::new("settle");
    // 12.6 + 8·exp(−t/15 s) µA, a point every 10 s for 5 min, with 0.01 µA of scatter in turn.
    let mut input = String::new();
    for k in 0..30 {
        let t = f64::from(k) * 10.0;
        let scatter = [0.01, -0.01, 0.0][k as usize % 3];
        input.push_str(&format!("{t} s {:.3} µA\n", 12.6 + 8.0 * libm::exp(-t / 15.0) + scatter));
    }
    let mut child = Command::new(env!("CARGO_BIN_EXE_overwinter"))
        .arg("settle")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let text = plain(&output);
    assert_has(&text, &["go on", "take", "12.6"]);
    drop(demo);
}

#[test]
fn ride_through_is_predicted_and_bounded() {
    let demo = Demo::new("ride");
    let text = demo.text(&["ride", "SLIPKNOT"]);
    // Job check, trap R: reset 2.80 + body diode 0.7 + dropout 0.15 = 3.65 V; 0 of 20 means at most 17 % (two-sided 95 %,
    // Clopper & Pearson 1934).
    assert_has(&text, &["3.65", "0 % to 17 %", "0.7 V hand-over", "0.15 V dropout"]);
}

#[test]
fn the_sweep_and_the_bill_explain_themselves() {
    let demo = Demo::new("sweep");
    assert_has(
        &demo.text(&["sweep", "TURKSHEAD"]),
        &["constant", "ohmic", "dropout", "Regulator by behaviour"],
    );
    let bill = demo.json(&["bill", "REEF", "--format", "json"]);
    let rest = &bill["unexplained"];
    // Job example: "unexplained 2 ± 29" µA (the demo's own uncertainties give 28).
    let (value, u) = (
        rest["current_a"].as_f64().unwrap() * 1e6,
        rest["standard_uncertainty_a"].as_f64().unwrap() * 2e6,
    );
    assert!((value - 2.0).abs() < 1.0 && (u - 29.0).abs() < 2.0, "{value} ± {u}");
}

#[test]
fn a_dispute_is_answered_with_reasons() {
    let demo = Demo::new("dispute");
    let text = demo.text(&["dispute", "a reader on REEF"]);
    assert_has(
        &text,
        &["The disagreement is real", "both right", "bridge", "supply voltage", "Not told, so ask"],
    );
    let agrees = demo.text(&["dispute", "another bench on BOWLINE"]);
    assert!(!agrees.contains("The disagreement is real"), "{agrees}");
}

#[test]
fn the_guide_gates_the_cell_behind_polarity_and_the_dead_stay_empty() {
    let demo = Demo::new("guide");
    assert_has(
        &demo.text(&["guide", "GRANNY-1"]),
        &["Polarity", "not measured yet", "stays empty for ever"],
    );
    assert_has(
        &demo.text(&["lost", "GRANNY-1"]),
        &["Cause", "mirrored", "Lesson", "never taken from its sisters"],
    );
    let carrick = demo.text(&["guide", "CARRICK-1", "--project", "footbridges"]);
    assert_has(&carrick, &["Polarity"]);
}

#[test]
fn the_next_test_and_the_spread_are_told() {
    let demo = Demo::new("next");
    let next = demo.text(&["next", "footbridges", "--draws", "256"]);
    assert_has(&next, &["charge per “report”", "flips"]);
    assert_has(
        &demo.text(&["next", "ford gauge", "--draws", "256"]),
        &["SLIPKNOT: resets on removal", "common practice, no source"],
    );
    // Three specimens: t(0.975, 2)·√(1 + 1/3) = 4.97.
    assert_has(&demo.text(&["specimens", "BOWLINE"]), &["4.97 · s from 3 specimens", "--prior"]);
}

#[test]
fn bad_readings_are_told_and_kept() {
    let demo = Demo::new("bad");
    let session = "[session]\nname = \"odd\"\nspecimen = \"REEF-1\"\ndate = 2026-06-01\nkind = \"invented for the demo\"\nsupply = \"3.80 V\"\nsource = \"battery contacts\"\n[[session.readings]]\nwhat = \"sleep current\"\nrepeats = [\"900 µA\", \"900 µA\", \"900 µA\"]\ninstrument = \"hand-held meter\"\nrange = \"600 µA\"\n";
    std::fs::write(demo.0.0.join("sessions/odd.toml"), session).unwrap();
    let output = demo.run(&["figure", "odd"]);
    let text = plain(&output);
    assert_has(&text, &["900 µA", "range"]);
    std::fs::write(demo.0.0.join("sessions/odd.toml"), session.replace("900 µA", "-3 Ω")).unwrap();
    let output = demo.run(&["table"]);
    assert_eq!(output.status.code(), Some(2));
    assert_has(
        &plain(&output),
        &["sessions/odd.toml:10", "-3 Ω is a resistance, but a sleep current is a current"],
    );
    assert_has(&demo.text(&["figure", "odd"]), &["typed: -3 Ω", "sessions/odd.toml"]);
}
