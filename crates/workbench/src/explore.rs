//! What the inputs are worth and what a target allows: sensitivities, allowances and bands over time for one case.

use overwinter_engine::{Engine, InputError, Scenario};
use overwinter_statistics::Figure;

use crate::case::{Case, Target};
use crate::ranking::quantile;
use crate::report::{Allowance, Moment, SensitivityLine};
use crate::sampling::{SampleOptions, sample};
use crate::text::{days, duration};

/// Days of life gained per unit of each input and per standard uncertainty, the most uncertain first.
///
/// Central difference of the best-value life with a step of one standard uncertainty, at least 0.5 % of the value.
///
/// # Errors
/// [`InputError`] if the case cannot be forecast.
pub fn sensitivities(case: &Case) -> Result<Vec<SensitivityLine>, InputError> {
    let mut engine = Engine::new();
    let mut work = case.scenario.clone();
    let mut lines = Vec::new();
    for input in &case.inputs {
        let best = input.figure.value();
        let u = input.figure.standard_uncertainty();
        let step = u.max(0.005 * best.abs());
        if step <= 0.0 {
            continue;
        }
        let low = (best - step).max(Case::lowest(input.target));
        let high = best + step;
        case.set(&mut work, input, high);
        let above = engine.life(&work)?.life_s;
        case.set(&mut work, input, low);
        let below = engine.life(&work)?.life_s;
        case.set(&mut work, input, best);
        let slope = (above - below) / (high - low);
        let (sign, direction) = if input.less_is_better { (-1.0, "less") } else { (1.0, "more") };
        lines.push(SensitivityLine {
            input: input.label.clone(),
            value: input.kind.figure(&input.figure),
            days_per_unit: days(sign * slope * input.kind.step().1),
            unit: format!("per {} {direction}", input.kind.step().0),
            days_per_standard_uncertainty: days((slope * u).abs()),
            origin: input.origin.clone(),
        });
    }
    lines.sort_by(|a, b| {
        b.days_per_standard_uncertainty.total_cmp(&a.days_per_standard_uncertainty)
    });
    Ok(lines)
}

impl Case {
    /// The same case with one input (and what it moves in the scenario) multiplied by `factor`.
    #[must_use]
    pub fn with_scaled(&self, target: Target, factor: f64) -> Self {
        let mut case = self.clone();
        if let Some(index) = self.inputs.iter().position(|input| input.target == target) {
            let input = &self.inputs[index];
            self.set(&mut case.scenario, input, input.figure.value() * factor);
            case.inputs[index].figure = &input.figure * &Figure::exact(factor);
        }
        case
    }

    /// The same case with the interval of one activity multiplied by `factor`.
    #[must_use]
    pub fn with_interval(&self, activity: usize, factor: f64) -> Self {
        let mut case = self.clone();
        case.scenario.load.activities[activity].interval_s *= factor;
        case
    }
}

/// Draws behind "with the asked chance" of an allowance.
const ALLOWANCE_DRAWS: usize = 256;

/// Largest and smallest factor looked at when an input is turned.
const FACTOR_RANGE: (f64, f64) = (1e-3, 1e3);

/// What a target life allows: largest sleep current, largest charge per run of each activity, shortest interval of the
/// heaviest activity, smallest cell. Each is found by bisection on the logarithm of a factor to 0.1 %, everything else at
/// its value; once for the best values, once so that the target is reached with the asked chance.
///
/// # Errors
/// [`InputError`] if the case cannot be forecast.
pub fn allowances(
    case: &Case,
    target_s: f64,
    chance: f64,
    seed: u64,
) -> Result<Vec<Allowance>, InputError> {
    let activities = &case.scenario.load.activities;
    let mut lines = Vec::new();
    let mut turned: Vec<(String, Turn)> =
        vec![("largest sleep current".into(), Turn::Input(Target::SleepCurrent))];
    for (k, activity) in activities.iter().enumerate() {
        turned.push((
            format!("largest charge per “{}”", activity.name),
            Turn::Input(Target::ActivityCharge(k)),
        ));
    }
    if let Some(heaviest) = heaviest_activity(&case.scenario) {
        let name = &activities[heaviest].name;
        turned.push((format!("shortest interval of “{name}”"), Turn::Interval(heaviest)));
    }
    turned.push(("smallest cell".into(), Turn::Input(Target::CellCapacity)));
    for (quantity, turn) in turned {
        let Some((now_si, text)) = turn.now(case) else { continue };
        let best = bisect(turn, FACTOR_RANGE, |factor| {
            let life = Engine::new().life(&turn.apply(case, factor).scenario)?.life_s;
            Ok(life >= target_s)
        })?;
        // The edge with the asked chance lies near the edge of the best values: look there first.
        let near = match best {
            Found::Factor(factor) => (factor / 4.0, factor * 4.0),
            _ => FACTOR_RANGE,
        };
        let holds = |factor: f64| {
            let options = SampleOptions { draws: ALLOWANCE_DRAWS, seed };
            let mut turned = turn.apply(case, factor);
            // Only this specimen is asked for: without spreads the other half of the work falls away.
            turned.inputs.iter_mut().for_each(|input| input.spread = None);
            let lives = sample(&[turned], options).map_err(|(_, error)| error)?;
            let reached = lives[0].specimen_s.iter().filter(|life| **life >= target_s).count();
            Ok(reached as f64 >= chance * ALLOWANCE_DRAWS as f64)
        };
        let sure = match bisect(turn, near, holds)? {
            Found::Factor(factor) => Found::Factor(factor),
            _ if near != FACTOR_RANGE => bisect(turn, FACTOR_RANGE, holds)?,
            other => other,
        };
        let percent = (chance * 100.0).round();
        let (allowed_si, allowed, remark) = match (best, sure) {
            (Found::Nothing, _) => (None, None, "out of reach by this alone".to_owned()),
            (Found::Everything, Found::Everything) => (
                None,
                None,
                "does not decide: the target is met whatever it is, within a factor of 1000"
                    .to_owned(),
            ),
            (_, Found::Factor(sure)) => {
                let at_best = match best {
                    Found::Factor(factor) => format!("{} at best values", text(now_si * factor)),
                    _ => "no limit at best values".to_owned(),
                };
                (
                    Some(now_si * sure),
                    Some(text(now_si * sure)),
                    format!("with {percent} % chance; {at_best}"),
                )
            }
            (Found::Factor(factor), _) => (
                Some(now_si * factor),
                Some(text(now_si * factor)),
                format!(
                    "at best values only; a chance of {percent} % is out of reach by this alone"
                ),
            ),
            (Found::Everything, Found::Nothing) => (
                None,
                None,
                format!("does not decide; a chance of {percent} % is out of reach by this alone"),
            ),
        };
        lines.push(Allowance { quantity, now: text(now_si), allowed, allowed_si, remark });
    }
    Ok(lines)
}

/// The activity with the largest mean rail demand.
fn heaviest_activity(scenario: &Scenario) -> Option<usize> {
    use overwinter_engine::load::Demand;
    let mean = |k: usize| -> f64 {
        let activity = &scenario.load.activities[k];
        let sum: f64 = activity
            .segments
            .iter()
            .map(|s| match s.demand {
                Demand::Current { current_a } => current_a * s.duration_s,
                Demand::Power { power_w } => power_w * s.duration_s,
            })
            .sum();
        sum / activity.interval_s
    };
    (0..scenario.load.activities.len()).max_by(|a, b| mean(*a).total_cmp(&mean(*b)))
}

#[derive(Clone, Copy)]
enum Turn {
    Input(Target),
    Interval(usize),
}

type Wording = Box<dyn Fn(f64) -> String>;

impl Turn {
    fn now(self, case: &Case) -> Option<(f64, Wording)> {
        match self {
            Self::Input(target) => {
                let input = case.input(target)?;
                let kind = input.kind;
                Some((input.figure.value(), Box::new(move |si| kind.text(si, None))))
            }
            Self::Interval(k) => {
                Some((case.scenario.load.activities[k].interval_s, Box::new(duration)))
            }
        }
    }

    fn apply(self, case: &Case, factor: f64) -> Case {
        match self {
            Self::Input(target) => case.with_scaled(target, factor),
            Self::Interval(k) => case.with_interval(k, factor),
        }
    }

    /// Whether a larger factor lives longer.
    fn more_is_longer(self) -> bool {
        matches!(self, Self::Interval(_) | Self::Input(Target::CellCapacity))
    }
}

#[derive(Clone, Copy)]
enum Found {
    Nothing,
    Everything,
    Factor(f64),
}

/// Finds the edge of `holds` over the logarithm of the factor; an input that the engine refuses (an activity longer than
/// its interval) counts as not holding.
fn bisect(
    turn: Turn,
    (low, high): (f64, f64),
    holds: impl Fn(f64) -> Result<bool, InputError>,
) -> Result<Found, InputError> {
    let holds = |factor: f64| match holds(factor) {
        Err(InputError::ActivityTooLong { .. }) => Ok(false),
        other => other,
    };
    let (mut good, mut bad) = if turn.more_is_longer() { (high, low) } else { (low, high) };
    if !holds(good)? {
        return Ok(Found::Nothing);
    }
    if holds(bad)? {
        return Ok(Found::Everything);
    }
    while (good / bad).max(bad / good) > 1.001 {
        let middle = (good * bad).sqrt();
        if holds(middle)? { good = middle } else { bad = middle }
    }
    Ok(Found::Factor(good))
}

/// State of charge over time with bands, and the lowest rail at best values, at `points` moments.
///
/// Bands are the 10, 50 and 90 % quantiles over a small set of draws of this specimen; a draw that has ended keeps the
/// charge that was stranded.
///
/// # Errors
/// [`InputError`] if the case cannot be forecast.
pub fn moments(
    case: &Case,
    until_s: f64,
    points: usize,
    seed: u64,
) -> Result<Vec<Moment>, InputError> {
    const DRAWS: usize = 64;
    let paths = crate::sampling::paths(case, SampleOptions { draws: DRAWS, seed }, points)?;
    let nominal = Engine::new().forecast(&case.scenario, points)?;
    let at = |samples: &[(f64, f64)], time_s: f64| -> f64 {
        let k = samples.partition_point(|s| s.0 <= time_s);
        if k == 0 {
            return samples.first().map_or(f64::NAN, |s| s.1);
        }
        if k == samples.len() {
            return samples[k - 1].1;
        }
        let (a, b) = (samples[k - 1], samples[k]);
        a.1 + (b.1 - a.1) * (time_s - a.0) / (b.0 - a.0)
    };
    Ok((0..points)
        .map(|k| {
            let time_s = until_s * k as f64 / (points - 1) as f64;
            let mut charge: Vec<f64> = paths.iter().map(|path| at(path, time_s)).collect();
            charge.sort_unstable_by(f64::total_cmp);
            let lowest_rail_v = (time_s <= nominal.life.life_s)
                .then(|| {
                    let next = nominal
                        .samples
                        .partition_point(|s| s.time_s < time_s)
                        .min(nominal.samples.len() - 1);
                    nominal.samples[next].lowest_rail_v
                })
                .flatten();
            Moment {
                time_s,
                state_of_charge: [
                    quantile(&charge, 0.1),
                    quantile(&charge, 0.5),
                    quantile(&charge, 0.9),
                ],
                lowest_rail_v,
            }
        })
        .collect())
}
