//! CPU time of one sampled forecast in full, without quick twins: the demo's boards for its project, one thread.
//!
//! `cargo bench -p overwinter-workbench --bench draws`. `us_linear`: one sleep current, constant temperature, no ageing;
//! `us_seasons`: the demo's months, daily swing, ageing, sleep current over voltage. Draws, setting the inputs and both
//! answers are in it. It counts the CPU time of this thread, so that other work on the machine matters less; least of
//! several rounds.
#![allow(clippy::print_stdout, reason = "a benchmark prints its figures")]

use overwinter_engine::climate::Climate;
use overwinter_engine::load::SleepCurrent;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::case::Case;
use overwinter_workbench::question::{boards_of, candidate, cell_of};
use overwinter_workbench::sampling::{SampleOptions, sample};

/// Too few for a quick twin: every one is forecast in full.
const DRAWS: usize = 255;

/// CPU time of a round, ns.
const ROUND_NS: f64 = 2e8;

fn main() {
    let (bench, _) = Bench::read(overwinter_workbench::demo::FILES.iter().copied());
    let project = bench.project("footbridges").expect("the demo has it");
    let cell = cell_of(&bench, project).expect("the demo has its cell");
    let cases: Vec<Case> = boards_of(&bench, project)
        .expect("the demo has its boards")
        .into_iter()
        .filter_map(|board| candidate(&bench, project, cell, board, None).case.ok())
        .take(10)
        .collect();
    assert_eq!(cases.len(), 10, "ten boards with figures");
    let linear: Vec<Case> = cases.iter().cloned().map(made_linear).collect();
    for (case, flat) in cases.iter().zip(&linear) {
        let one = std::slice::from_ref(case);
        let lives = &sample(one, SampleOptions { draws: 255, seed: 1 }).expect("forecasts")[0];
        let mean_d = lives.specimen_s.iter().sum::<f64>() / 255.0 / 86_400.0;
        println!(
            "{}: {:.1} µs, linear {:.2} µs, mean life {mean_d:.6} d",
            case.board,
            us_of(one),
            us_of(std::slice::from_ref(flat))
        );
    }
    println!("draws: us_linear={:.2} us_seasons={:.1}", us_of(&linear), us_of(&cases));
}

/// The linear case: no dependence on voltage, temperature or age.
fn made_linear(mut case: Case) -> Case {
    let best =
        case.inputs.iter().find(|i| i.label.starts_with("sleep current")).map(|i| i.figure.value());
    if let (SleepCurrent::BatteryByVoltage(_), Some(current_a)) =
        (&case.scenario.load.sleep.current, best)
    {
        case.scenario.load.sleep.current = SleepCurrent::Battery { current_a };
    }
    case.scenario.load.sleep.temperature = None;
    case.scenario.climate = Climate::Constant { celsius: 20.0 };
    case.scenario.cell.ageing = None;
    case
}

/// Least CPU time of a forecast, µs; two forecasts a draw. Sampled again and again for [`ROUND_NS`]: the system counts
/// CPU time in ticks of some milliseconds.
fn us_of(cases: &[Case]) -> f64 {
    let options = SampleOptions { draws: DRAWS, seed: 1 };
    (0..5)
        .map(|_| {
            let begun_ns = cpu_ns();
            let mut forecasts = 0;
            loop {
                std::hint::black_box(sample(cases, options).expect("forecasts"));
                forecasts += 2 * DRAWS * cases.len();
                let took_ns = cpu_ns() - begun_ns;
                if took_ns.is_nan() || took_ns >= ROUND_NS {
                    break took_ns / 1e3 / forecasts as f64;
                }
            }
        })
        .fold(f64::INFINITY, f64::min)
}

/// CPU time of this thread, ns; NaN where the system does not tell.
fn cpu_ns() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    text.split_whitespace().next().and_then(|ns| ns.parse().ok()).unwrap_or(f64::NAN)
}
