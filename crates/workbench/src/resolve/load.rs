//! A project's activities and climate for the engine.

use overwinter_documents::types::project::{
    Activity, Climate, Month, MonthlyTemperature, Peak, Project,
};
use overwinter_engine::climate as engine_climate;
use overwinter_engine::load as engine;
use overwinter_statistics::Figure;

use super::ResolveError;
use super::input::{Face, Fallback, assumed, input};
use crate::bench::Bench;
use crate::case::{Input, Target};
use crate::priors;
use crate::text::Kind;

/// The activities with their inputs.
pub(crate) fn activities(
    project: &Project,
    inputs: &mut Vec<Input>,
) -> Result<Vec<engine::Activity>, ResolveError> {
    let document = format!("project {}", project.name);
    let fallback =
        Fallback { kind: project.kind, source: project.source.as_deref(), document: &document };
    project
        .activities
        .iter()
        .enumerate()
        .map(|(index, a)| activity(project, index, a, &fallback, inputs))
        .collect()
}

fn activity(
    project: &Project,
    index: usize,
    activity: &Activity,
    fallback: &Fallback<'_>,
    inputs: &mut Vec<Input>,
) -> Result<engine::Activity, ResolveError> {
    let key = |what: &str| format!("project {} / {} / {what}", project.name, activity.name);
    let missing = |what: &str, help: &str| ResolveError::Missing {
        subject: format!("activity “{}” of project {}", activity.name, project.name),
        what: what.into(),
        help: help.into(),
    };
    let retries = activity.retries.as_ref().map_or(1.0, |r| r.si());
    let peak_input = |segment: usize, peak: &Peak, inputs: &mut Vec<Input>| {
        inputs.push(input(
            &key(&format!("peak {segment}")),
            Target::Peak { activity: index, segment },
            &peak.current,
            priors::PEAK_CURRENT,
            fallback,
            Face {
                label: format!("radio peak in “{}”", activity.name),
                kind: Kind::PeakCurrent,
                less_is_better: true,
            },
        ));
        engine::Peak {
            current_a: peak.current.si(),
            // A peak of unknown length counts as long: half a second leaves no help from any usual capacitor.
            duration_s: peak.duration.as_ref().map_or(0.5, |d| d.si()),
        }
    };
    let charge_face = || Face {
        label: format!("charge per “{}”", activity.name),
        kind: Kind::WakeCharge,
        less_is_better: true,
    };
    let segments = if activity.segments.is_empty() {
        let charge = activity.charge.as_ref().ok_or_else(|| {
            missing(
                "a charge with a duration, or segments",
                "write `charge = \"190 mC\"` and `duration = \"2 s\"`",
            )
        })?;
        let duration_s =
            activity.duration.as_ref().map(|d| d.si()).filter(|d| *d > 0.0).ok_or_else(|| {
                missing("a duration above zero", "write `duration = \"2 s\"` beside `charge`")
            })?;
        let mut charge_input = input(
            &key("charge"),
            Target::ActivityCharge(index),
            charge,
            priors::ACTIVITY_CHARGE,
            fallback,
            charge_face(),
        );
        charge_input.figure = &charge_input.figure * &Figure::exact(retries);
        if let Some(factor) = &activity.retries
            && let Some(u) = factor.value.standard_uncertainty()
        {
            let source = overwinter_statistics::Source::normal(&key("retries"), u);
            charge_input.figure = charge_input.figure.plus_source(source, charge.si());
        }
        inputs.push(charge_input);
        vec![engine::Segment {
            name: activity.name.clone(),
            duration_s,
            demand: engine::Demand::Current { current_a: charge.si() * retries / duration_s },
            peak: activity.peak.as_ref().map(|peak| peak_input(0, peak, inputs)),
        }]
    } else {
        let mut total = Figure::exact(0.0);
        let mut segments = Vec::new();
        for (at, segment) in activity.segments.iter().enumerate() {
            let current = input(
                &key(&format!("current {at}")),
                Target::ActivityCharge(index),
                &segment.current,
                priors::ACTIVITY_CHARGE,
                fallback,
                charge_face(),
            );
            total = &total + &(&current.figure * &Figure::exact(segment.duration.si() * retries));
            let peak = segment
                .peak
                .as_ref()
                .or(activity.peak.as_ref().filter(|_| at + 1 == activity.segments.len()));
            segments.push(engine::Segment {
                name: segment.name.clone().unwrap_or_else(|| format!("segment {}", at + 1)),
                duration_s: segment.duration.si(),
                demand: engine::Demand::Current { current_a: segment.current.si() * retries },
                peak: peak.map(|peak| peak_input(at, peak, inputs)),
            });
        }
        let mut charge = input(
            &key("charge"),
            Target::ActivityCharge(index),
            &activity.segments[0].current,
            priors::ACTIVITY_CHARGE,
            fallback,
            charge_face(),
        );
        charge.figure = total;
        inputs.push(charge);
        segments
    };
    Ok(engine::Activity {
        name: activity.name.clone(),
        interval_s: activity.every.si(),
        first_s: None,
        segments,
    })
}

/// Climate from the project, else from its site, else 20 °C, which is said.
pub(crate) fn climate(
    bench: &Bench,
    project: &Project,
    inputs: &mut Vec<Input>,
    gaps: &mut Vec<String>,
) -> Result<engine_climate::Climate, ResolveError> {
    inputs.push(assumed(
        &format!("project {} / temperature", project.name),
        Target::TemperatureShift,
        0.0,
        priors::TEMPERATURE_K,
        "how well the temperatures as a whole are known",
        Face { label: "temperatures as a whole".into(), kind: Kind::Kelvin, less_is_better: true },
    ));
    let site = project.site.as_deref().and_then(|name| bench.site(name));
    let monthly = match (&project.temperature, site.and_then(|s| s.temperature.as_ref())) {
        (Some(Climate::Constant(t)), _) => {
            return Ok(engine_climate::Climate::Constant { celsius: t.celsius() });
        }
        (Some(Climate::Monthly(m)), _) | (None, Some(m)) => m,
        (None, None) => {
            gaps.push("no temperature stated: 20 °C all year assumed".into());
            return Ok(engine_climate::Climate::Constant { celsius: 20.0 });
        }
    };
    Ok(engine_climate::Climate::Monthly(engine_climate::Monthly {
        mean_celsius: means(project, monthly)?,
        daily_amplitude_kelvin: [monthly.daily_swing.as_ref().map_or(0.0, |k| k.si() / 2.0); 12],
        start_day: start_day(project, gaps),
    }))
}

fn means(project: &Project, monthly: &MonthlyTemperature) -> Result<[f64; 12], ResolveError> {
    let values: Vec<f64> =
        monthly.mean.iter().map(overwinter_quantity::Temperature::celsius).collect();
    <[f64; 12]>::try_from(values).map_err(|values| ResolveError::Missing {
        subject: format!("temperatures of project {}", project.name),
        what: format!("twelve monthly means, not {},", values.len()),
        help: "write January to December".into(),
    })
}

fn start_day(project: &Project, gaps: &mut Vec<String>) -> u16 {
    if let Some(date) = project.start {
        return (date.day_of_year() - 1).min(364);
    }
    if let Some(month) = project.start_month {
        let index = MONTHS.iter().position(|m| *m == month).unwrap_or(0);
        return engine_climate::MONTH_DAYS[..index].iter().sum();
    }
    gaps.push("no start stated: 1 January assumed".into());
    0
}

const MONTHS: [Month; 12] = [
    Month::January,
    Month::February,
    Month::March,
    Month::April,
    Month::May,
    Month::June,
    Month::July,
    Month::August,
    Month::September,
    Month::October,
    Month::November,
    Month::December,
];
