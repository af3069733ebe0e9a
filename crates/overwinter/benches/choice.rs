//! How fast the choice is: `cargo xtask bench choice`.
//!
//! 10 000 draws, both answers (this specimen, one you might buy: 200 000 forecasts) and everything that follows from them.
//! `s_10k_x10`: the demo's ten boards and specimens with a linear regulator, in the linear case (one sleep current, constant
//! temperature, no ageing). `s_seasons`: the same with the demo's months, daily swing, ageing and the measured sleep currents
//! over voltage. `demo_s`: the demo's own ten boards, two of them with switching regulators, as they are. Start-up and the
//! table of 5 000 boards are timed on the real binary.
#![allow(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use overwinter_engine::climate::Climate;
use overwinter_engine::load::SleepCurrent;
use overwinter_engine::path::Regulator;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::choice::{Candidate, choose};
use overwinter_workbench::question::{boards_of, candidate, cell_of, question};
use overwinter_workbench::sampling::SampleOptions;

fn main() {
    let (bench, _) = Bench::read(overwinter_workbench::demo::FILES.iter().copied());
    let project = bench.project("footbridges").expect("the demo has it");
    let cell = cell_of(&bench, project).expect("the demo has its cell");
    let demo: Vec<Candidate> = boards_of(&bench, project)
        .expect("the demo has its boards")
        .into_iter()
        .map(|board| candidate(&bench, project, cell, board, None))
        .filter(|c| c.case.is_ok())
        .collect();
    assert_eq!(demo.len(), 10, "ten boards with figures");
    let is_linear = |c: &Candidate| {
        c.case
            .as_ref()
            .is_ok_and(|case| matches!(case.scenario.path.regulator, Regulator::Linear(_)))
    };
    let mut candidates: Vec<Candidate> = demo.iter().filter(|c| is_linear(c)).cloned().collect();
    for (board, specimen) in
        [("BOWLINE", "BOWLINE-2"), ("BOWLINE", "BOWLINE-3"), ("CARRICK", "CARRICK-2")]
    {
        let mut more = candidate(
            &bench,
            project,
            cell,
            bench.board(board).expect("in the demo"),
            Some(specimen),
        );
        specimen.clone_into(&mut more.board);
        candidates.push(more);
    }
    candidates.truncate(10);
    assert_eq!(candidates.len(), 10, "ten boards and specimens with a linear regulator");
    let question = question(project, cell);
    let options = SampleOptions { draws: 10_000, seed: 1 };
    let linear: Vec<Candidate> = candidates.iter().cloned().map(made_linear).collect();

    let before_mib = peak_mib();
    let s_10k_x10 = best_of(7, || drop(choose(&question, &linear, options).expect("forecasts")));
    let rss_mib = peak_mib();
    let s_seasons =
        best_of(3, || drop(choose(&question, &candidates, options).expect("forecasts")));
    let demo_s = best_of(3, || drop(choose(&question, &demo, options).expect("forecasts")));
    println!("peak before sampling {before_mib:.0} MiB");

    let folder = std::env::temp_dir().join(format!("overwinter-bench-{}", std::process::id()));
    let demo = folder.join("demo");
    let many = folder.join("many");
    write(
        &demo,
        overwinter_workbench::demo::FILES.iter().map(|(p, t)| ((*p).to_owned(), (*t).to_owned())),
    );
    write(&many, (0..5000).map(many_board));
    let startup_ms = 1e3 * best_of(20, || run(&demo));
    let table5000_ms = 1e3 * best_of(5, || run(&many));
    std::fs::remove_dir_all(&folder).expect("the folder is ours");

    println!(
        "choice: s_10k_x10={s_10k_x10:.3} s_seasons={s_seasons:.3} demo_s={demo_s:.3} rss_mib={rss_mib:.0} startup_ms={startup_ms:.1} table5000_ms={table5000_ms:.0}"
    );
}

/// The linear case: no dependence on voltage, temperature or age.
fn made_linear(mut candidate: Candidate) -> Candidate {
    candidate.variants.clear();
    if let Ok(case) = &mut candidate.case {
        let best = case
            .inputs
            .iter()
            .find(|i| i.label.starts_with("sleep current"))
            .map(|i| i.figure.value());
        if let (SleepCurrent::BatteryByVoltage(_), Some(current_a)) =
            (&case.scenario.load.sleep.current, best)
        {
            case.scenario.load.sleep.current = SleepCurrent::Battery { current_a };
        }
        case.scenario.load.sleep.temperature = None;
        case.scenario.climate = Climate::Constant { celsius: 20.0 };
        case.scenario.cell.ageing = None;
    }
    candidate
}

fn many_board(k: usize) -> (String, String) {
    let mut text = String::new();
    let _ = write!(
        text,
        "[board]\nname = \"B{k:04}\"\nkind = \"invented for the demo\"\nprice = \"{}.50 EUR\"\n[board.traits]\npins = {}\nexternal_antenna = \"{}\"\nrow_spacing = \"22.86 mm\"\n[[board.specimens]]\nid = \"B{k:04}-1\"\n",
        3 + k % 9,
        16 + k % 20,
        if k.is_multiple_of(3) { "yes" } else { "unknown" },
    );
    (format!("boards/b{k:04}.toml"), text)
}

fn write(folder: &Path, files: impl Iterator<Item = (String, String)>) {
    for (name, text) in files {
        let path = folder.join(name);
        std::fs::create_dir_all(path.parent().expect("in a folder")).expect("writable");
        std::fs::write(path, text).expect("writable");
    }
}

fn run(folder: &Path) {
    let status = Command::new(env!("CARGO_BIN_EXE_overwinter"))
        .args(["table", "--folder"])
        .arg(folder)
        .stdout(Stdio::null())
        .status()
        .expect("the binary starts");
    assert!(status.success());
}

fn best_of(times: usize, mut work: impl FnMut()) -> f64 {
    (0..times)
        .map(|_| {
            let started = Instant::now();
            work();
            started.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

/// Highest resident memory of this process so far, MiB; NaN where the system does not tell.
fn peak_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM:"));
    line.and_then(|l| l.split_whitespace().nth(1))
        .and_then(|kib| kib.parse::<f64>().ok())
        .map_or(f64::NAN, |kib| kib / 1024.0)
}
