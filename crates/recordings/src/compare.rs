//! Two recordings side by side, and what the difference is worth in a project.

use overwinter_documents::types::project::Project;
use overwinter_quantity::{
    ChargeDimension, CurrentDimension, Dimension, DurationDimension, Notation, Quantity, Spread,
};
use overwinter_traces::{Analysis, Change, Estimate};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::report::SCHEMA_VERSION;
use overwinter_workbench::text::significant;
use overwinter_workbench::trace_report::{
    TraceChange, TraceComparison, TraceDays, TracePhaseChange, TraceWakeChange,
};
use overwinter_workbench::trace_worth::{self, Mean, TraceMeans};

use crate::report::floor_estimate;
use crate::text::{charge, current, duration, figure, lasts};

pub use overwinter_workbench::trace_worth::LEVEL;

fn change<D: Dimension>(change: &Change) -> TraceChange {
    TraceChange {
        before: figure::<D>(&change.before),
        after: figure::<D>(&change.after),
        difference: change.difference,
        standard_uncertainty: change.standard_uncertainty,
        p_value: change.p_value,
        significant: change.significant(LEVEL),
    }
}

/// A change of a time: what the sampling hides is in its figures, too.
fn change_of_time(found: &Change, (before_s, after_s): (f64, f64)) -> TraceChange {
    let mut out = change::<DurationDimension>(found);
    out.before = lasts(&found.before, before_s);
    out.after = lasts(&found.after, after_s);
    out
}

/// Compares two analyses; with a project, in days.
pub fn compare(
    names: (&str, &str),
    before: &Analysis,
    after: &Analysis,
    project: Option<(&Bench, &Project)>,
) -> TraceComparison {
    let found = overwinter_traces::compare(before, after);
    let steps_s = (before.sampling.interval_s, after.sampling.interval_s);
    let mut cautions = found.cautions.clone();
    let days = project.and_then(|(bench, project)| {
        days(bench, project, before, after).map_err(|why| cautions.push(why)).ok()
    });
    let wakes: Vec<TraceWakeChange> = found
        .wake_charge_c
        .iter()
        .map(|(a, b, c)| TraceWakeChange {
            before: a.clone(),
            after: b.clone(),
            charge_c: change::<ChargeDimension>(c),
            interval_s: found
                .interval_s
                .iter()
                .find(|(x, ..)| x == a)
                .map(|(_, _, c)| change_of_time(c, steps_s)),
        })
        .collect();
    let phases: Vec<TracePhaseChange> = found
        .phases
        .iter()
        .map(|p| TracePhaseChange {
            activity: p.activity.clone(),
            phase: p.phase.clone(),
            duration_s: p.duration_s.as_ref().map(|c| change_of_time(c, steps_s)),
            current_a: p.current_a.as_ref().map(change::<CurrentDimension>),
            new: p.new,
            gone: p.gone,
            charge_difference_c: p.charge_difference_c,
        })
        .collect();
    let sleep_a = found.sleep_a.as_ref().map(change::<CurrentDimension>);
    let verdict = verdict(sleep_a.as_ref(), &wakes, &phases, days.as_ref());
    TraceComparison {
        schema_version: SCHEMA_VERSION,
        before: names.0.to_owned(),
        after: names.1.to_owned(),
        sleep_a,
        wakes,
        phases,
        mean_before_a: found.mean_before_a,
        mean_after_a: found.mean_after_a,
        days,
        verdict,
        cautions,
    }
}

/// `190.1 mC to 171.3 mC, −18.8 ± 0.4 mC (k = 2)`.
fn step<D: Dimension>(change: &TraceChange) -> String {
    let difference = Quantity::<D>::from_si(change.difference);
    let difference = match change.standard_uncertainty.filter(|u| *u > 0.0) {
        Some(u) => difference
            .with_spread(Spread::Standard { u })
            .in_notation(Notation::Expanded { k: 2.0 }),
        None => difference.value_text(3),
    };
    let sign = if change.difference > 0.0 { "+" } else { "" };
    let chance = match change.significant {
        Some(true) => "more than chance",
        Some(false) => "may be chance",
        None => "too few to tell it from chance",
    };
    let value = |v: f64| Quantity::<D>::from_si(v).value_text(4);
    format!(
        "{} to {}, {sign}{difference}: {chance}",
        value(change.before.value),
        value(change.after.value)
    )
}

fn verdict(
    sleep: Option<&TraceChange>,
    wakes: &[TraceWakeChange],
    phases: &[TracePhaseChange],
    days: Option<&TraceDays>,
) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(sleep) = sleep {
        out.push(format!("sleep floor: {}", step::<CurrentDimension>(sleep)));
    }
    for wake in wakes {
        out.push(format!(
            "charge per wake ({}): {}",
            wake.before,
            step::<ChargeDimension>(&wake.charge_c)
        ));
    }
    let whole: f64 = phases.iter().map(|p| p.charge_difference_c).sum();
    if let Some(first) = phases.first().filter(|p| p.charge_difference_c != 0.0) {
        let mut text = format!("the phase that changed most: {}", first.phase);
        if first.new {
            text.push_str(", which is new");
        } else if first.gone {
            text.push_str(", which is gone");
        } else {
            if let Some(d) = first.duration_s.as_ref().filter(|d| d.significant == Some(true)) {
                text.push_str(&format!(
                    ", {} to {} long",
                    duration(d.before.value),
                    duration(d.after.value)
                ));
            }
            if let Some(c) = first.current_a.as_ref().filter(|c| c.significant == Some(true)) {
                text.push_str(&format!(
                    ", {} to {}",
                    current(c.before.value),
                    current(c.after.value)
                ));
            }
        }
        let sign = if first.charge_difference_c > 0.0 { "+" } else { "" };
        text.push_str(&format!("; {sign}{} a wake", charge(first.charge_difference_c)));
        if (whole / first.charge_difference_c - 1.0).abs() > 0.02 {
            text.push_str(&format!(" of {} in all", charge(whole)));
        }
        out.push(text);
    }
    if let Some(days) = days {
        let sign = if days.gained_days > 0.0 { "gained" } else { "lost" };
        let u = days.standard_uncertainty_days.filter(|u| *u > 0.0);
        let gained = days.gained_days.abs();
        let text = u.map_or_else(
            || format!("{} d", significant(gained, 3)),
            |u| {
                let (value, width) = overwinter_quantity::round_to_uncertainty(gained, 2.0 * u, 2);
                format!("{value} ± {width} d (k = 2)")
            },
        );
        out.push(format!("{sign} {text} in “{}” on {}", days.project, days.cell));
    }
    out
}

fn days(
    bench: &Bench,
    project: &Project,
    before: &Analysis,
    after: &Analysis,
) -> Result<TraceDays, String> {
    let mean = |e: Estimate| Mean {
        value: e.value,
        standard_uncertainty: e.standard_uncertainty,
        count: e.count,
    };
    let means = |of: &Analysis| TraceMeans {
        floor_a: floor_estimate(of).map(mean),
        charge_c: of.load.activities.first().map(|a| mean(a.charge_c)),
    };
    trace_worth::days(bench, project, means(before), means(after))
}
