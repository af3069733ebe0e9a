//! Activities whose intervals are not nested: the first failing peak against a plain event-by-event run
//! with the exact cell state. This is the case in which occurrences cannot be ordered in classes and the
//! branch and bound has to find the first one.

mod common;

use common::{Random, direct_path, plain_cell, scenario, segment};
use overwinter_engine::cell::{RcPair, TwoWell};
use overwinter_engine::load::{Activity, Demand, Peak};
use overwinter_engine::{CellState, Curve, Engine, Flag, Place, Scenario};

/// One occurrence after another; currents above sleep add where activities meet. Checks: segment ends,
/// peaks, starts. Returns the time of the first failing check.
fn by_events(sc: &Scenario) -> f64 {
    let sleep = 2e-5;
    let cut = sc.cell.cutoff_v.unwrap();
    // (start of every segment relative to its activity, duration, current, peak)
    let mut offset = 0.0;
    let mut trains = Vec::new();
    for a in &sc.load.activities {
        trains.push((offset, a));
        offset += a.duration_s();
    }
    let ns = |s: f64| libm::round(s * 1e9) as i64;
    let mut state = CellState::rested(&sc.cell, 1.0);
    let mut t = 0_i64;
    let current = |t: i64| {
        let mut i = sleep;
        for (first, a) in &trains {
            let mut phase = t - ns(*first);
            if phase < 0 {
                continue;
            }
            phase = phase.rem_euclid(ns(a.interval_s));
            for s in &a.segments {
                if phase < ns(s.duration_s) {
                    if let Demand::Current { current_a } = s.demand {
                        i += current_a - sleep;
                    }
                    break;
                }
                phase -= ns(s.duration_s);
            }
        }
        i
    };
    loop {
        // The next boundary of any segment.
        let mut next = i64::MAX;
        for (first, a) in &trains {
            let span = ns(a.interval_s);
            let count = (t - ns(*first)).div_euclid(span).max(0);
            for k in count..=count + 1 {
                let mut at = ns(*first) + k * span;
                if at > t {
                    next = next.min(at);
                }
                for s in &a.segments {
                    at += ns(s.duration_s);
                    if at > t {
                        next = next.min(at);
                    }
                }
            }
        }
        let i = current(t);
        state.advance(&sc.cell, 25.0, i, (next - t) as f64 * 1e-9);
        t = next;
        if state.terminal_v(&sc.cell, 25.0, i) < cut || state.state_of_charge(&sc.cell, 25.0) < 0.0
        {
            return t as f64 * 1e-9;
        }
        for (first, a) in &trains {
            let phase = t - ns(*first);
            if phase <= 0 {
                continue;
            }
            let phase = phase.rem_euclid(ns(a.interval_s));
            let mut end = 0;
            for s in &a.segments {
                end += ns(s.duration_s);
                if phase == end
                    && let Some(peak) = s.peak
                    && let Demand::Current { current_a } = s.demand
                {
                    let with = i + peak.current_a - current_a;
                    let mut v = state.terminal_v(&sc.cell, 25.0, with);
                    for pair in &sc.cell.rc {
                        v -= pair.resistance_ohm
                            * (peak.current_a - current_a)
                            * -libm::expm1(-peak.duration_s / pair.time_constant_s);
                    }
                    if v < cut {
                        return t as f64 * 1e-9;
                    }
                }
            }
        }
    }
}

#[test]
fn first_failing_peak_of_interleaved_activities() {
    let mut r = Random(5);
    let mut engine = Engine::new();
    let mut apart = 0;
    let (mut worst, mut count) = (0.0_f64, 0);
    while count < 400 {
        let ocv = Curve::linear(&common::LI_ION).unwrap();
        let mut cell = plain_cell(r.log_between(30.0, 300.0), ocv, r.between(0.1, 0.6));
        for _ in 0..r.index(3) {
            cell.rc.push(RcPair {
                resistance_ohm: r.between(0.05, 0.5),
                time_constant_s: r.log_between(2.0, 200.0),
            });
        }
        if r.unit() < 0.5 {
            cell.two_well = Some(TwoWell {
                available_share: r.between(0.3, 0.8),
                rate_per_s: r.log_between(1e-3, 1e-1),
            });
        }
        cell.cutoff_v = Some(r.between(3.1, 3.65));
        let mut activities = Vec::new();
        for j in 0..2 + r.index(2) {
            let interval_s = (r.log_between(15.0, 400.0) * 1e3).round() / 1e3;
            let mut part = segment("part", r.between(0.1, 1.5), r.log_between(0.005, 0.25));
            part.duration_s = (part.duration_s * 1e3).round() / 1e3;
            if r.unit() < 0.5 {
                let Demand::Current { current_a } = part.demand else { unreachable!() };
                part.peak = Some(Peak { current_a: 1.5 * current_a, duration_s: 0.01 });
            }
            activities.push(Activity {
                name: format!("activity {j}"),
                interval_s,
                first_s: None,
                segments: vec![part],
            });
        }
        let sc = scenario(common::load(2e-5, activities), direct_path(), cell);
        let life = engine.life(&sc).unwrap();
        // Overlap of a third activity's peak is bounded, not computed: leave three out where they meet.
        let truth = by_events(&sc);
        let longest = sc.load.activities.iter().map(Activity::duration_s).fold(0.0, f64::max);
        count += 1;
        if life.flags.contains(Flag::ActivitiesOverlap) {
            apart += 1;
        }
        // The engine gives the instant inside the segment, the event run its end.
        let off = truth - life.life_s;
        assert!(
            off > -1e-6 && (off <= longest + 1e-6 || life.place == Place::Sleep),
            "engine {life:?} events {truth}"
        );
        worst = worst.max(off.abs() / truth);
    }
    println!(
        "400 interleaved loads, {apart} of them can overlap; largest distance {worst:.1e} of the life"
    );
}
