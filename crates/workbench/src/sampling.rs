//! Lives by the thousand: common quasi-random draws for all boards.
//!
//! Every independent source of uncertainty (a meter range's gain, the cell's capacity, a board's own repeats, the spread
//! between specimens) has one dimension of a scrambled Sobol sequence, whatever the number of boards that it touches. So
//! draw `k` is the same cell, weather and load for every board, and a gain error shared by two boards moves both.
//! Work is split by draws; results stand at their draw's index, so the number of threads cannot change the answer.

use std::collections::BTreeMap;

use overwinter_engine::{Ending, Engine, Flags, InputError, Life, Place, Scenario};
use overwinter_statistics::{Distribution, Draws, Sampler, Tables};

use crate::case::Case;
use crate::twin::Twin;

/// Draws a task takes at a time.
const CHUNK: usize = 512;

/// How to sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SampleOptions {
    /// Number of draws; powers of two keep the sequence balanced.
    pub draws: usize,
    /// Seed of the scrambling.
    pub seed: u64,
}

impl Default for SampleOptions {
    fn default() -> Self {
        Self { draws: 2048, seed: 1 }
    }
}

/// The sampled lives of one case.
#[derive(Debug, Clone, PartialEq)]
pub struct SampledLives {
    /// Life of this specimen in each draw, s.
    pub specimen_s: Vec<f64>,
    /// Life of one you might buy in each draw, s.
    pub bought_s: Vec<f64>,
    /// Endings of this specimen with the activity's index, and how many draws ended so.
    pub specimen_endings: Vec<(Ending, Option<usize>, usize)>,
    /// The same for one you might buy.
    pub bought_endings: Vec<(Ending, Option<usize>, usize)>,
    /// Flags met in any draw.
    pub flags: Flags,
    /// Draws of an input that fell below what is possible and were set to the lowest possible value.
    pub bounded: usize,
    /// If the draws were taken with currents constant over voltage: the largest relative difference to the full forecast
    /// among the draws that were checked.
    pub quick: Option<f64>,
}

/// What is kept of one life.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Drawn {
    /// The life, s.
    pub(crate) life_s: f64,
    /// What ended it.
    pub(crate) ending: Ending,
    /// The activity in which it ended.
    pub(crate) activity: Option<usize>,
    /// What has to be said of it.
    pub(crate) flags: Flags,
}

impl From<Life> for Drawn {
    fn from(life: Life) -> Self {
        let activity = match life.place {
            Place::Sleep => None,
            Place::Segment { activity, .. } | Place::Peak { activity, .. } => Some(activity),
        };
        Self { life_s: life.life_s, ending: life.ending, activity, flags: life.flags }
    }
}

/// Draws from which on a quick twin is worth its calibration and check.
pub(crate) const QUICK_FROM: usize = 256;

/// Draws that are forecast in full to check a twin.
const CHECKED: usize = 32;

/// Samples the lives of all `cases` with common draws.
///
/// # Errors
/// [`InputError`] of the first case that cannot be forecast in some draw, with the case's index.
pub fn sample(
    cases: &[Case],
    options: SampleOptions,
) -> Result<Vec<SampledLives>, (usize, InputError)> {
    sample_prepared(cases, &prepare(cases, options), options)
}

/// The same with the specimens at hand alone, `bought_s` being those of the specimen. A case that stands in the list several
/// times has its part in the order of the draws as often, but is forecast once.
///
/// # Errors
/// As [`sample`].
pub fn sample_specimens(
    cases: &[Case],
    options: SampleOptions,
) -> Result<Vec<SampledLives>, (usize, InputError)> {
    let (first, distinct) = distinct(cases);
    let prepared = prepare_specimens(cases, options);
    let prepared: Vec<CaseColumns> = distinct.iter().map(|&c| prepared[c].clone()).collect();
    let some: Vec<Case> = distinct.iter().map(|&c| cases[c].clone()).collect();
    let sampled =
        sample_prepared(&some, &prepared, options).map_err(|(k, error)| (distinct[k], error))?;
    Ok(first.into_iter().map(|k| sampled[k].clone()).collect())
}

/// For each case the place of its like among the distinct ones, and the indices of those.
pub(crate) fn distinct(cases: &[Case]) -> (Vec<usize>, Vec<usize>) {
    let mut distinct: Vec<usize> = Vec::new();
    let first = cases
        .iter()
        .enumerate()
        .map(|(c, case)| {
            distinct.iter().position(|&known| cases[known] == *case).unwrap_or_else(|| {
                distinct.push(c);
                distinct.len() - 1
            })
        })
        .collect();
    (first, distinct)
}

/// One input over all draws, with the cases that it is an input of.
#[derive(Debug, Clone, PartialEq)]
pub struct InputColumn {
    /// Key of the input: the same key in two cases is the same quantity.
    pub key: String,
    /// Where it stands first: index of the case and of the input in it.
    pub first: (usize, usize),
    /// Cases that have it.
    pub cases: Vec<usize>,
    /// Its value in each draw, SI.
    pub values: Vec<f64>,
}

/// The same as [`sample`], with the draws of every input that moves: what the value of information is computed from.
///
/// # Errors
/// As [`sample`].
pub fn sample_with_inputs(
    cases: &[Case],
    options: SampleOptions,
) -> Result<(Vec<SampledLives>, Vec<InputColumn>), (usize, InputError)> {
    let prepared = prepare(cases, options);
    let lives = sample_prepared(cases, &prepared, options)?;
    let mut columns: Vec<InputColumn> = Vec::new();
    for (c, (case, own)) in cases.iter().zip(prepared).enumerate() {
        for (i, (input, values)) in case.inputs.iter().zip(own.specimen).enumerate() {
            let Some(values) = values else { continue };
            match columns.iter_mut().find(|column| column.key == input.key) {
                Some(known) => known.cases.push(c),
                None => columns.push(InputColumn {
                    key: input.key.clone(),
                    first: (c, i),
                    cases: vec![c],
                    values,
                }),
            }
        }
    }
    Ok((lives, columns))
}

/// The value of every input of every case in each draw for one you might buy (the specimen's times what specimens differ by): common draws, `None` for
/// an input that never moves.
pub(crate) fn bought_values(cases: &[Case], options: SampleOptions) -> Vec<Vec<Option<Vec<f64>>>> {
    let of = |columns: CaseColumns| {
        columns.bought.into_iter().zip(columns.specimen).map(|(b, s)| b.or(s)).collect()
    };
    prepare(cases, options).into_iter().map(of).collect()
}

pub(crate) fn prepare(cases: &[Case], options: SampleOptions) -> Vec<CaseColumns> {
    let table = DrawTable::new(cases, options);
    map_cases(cases, |case| CaseColumns::new(case, &table))
}

/// The same without the values of one you might buy.
pub(crate) fn prepare_specimens(cases: &[Case], options: SampleOptions) -> Vec<CaseColumns> {
    let mut prepared = prepare(cases, options);
    for columns in &mut prepared {
        columns.bought.fill(None);
    }
    prepared
}

fn sample_prepared(
    cases: &[Case],
    prepared: &[CaseColumns],
    options: SampleOptions,
) -> Result<Vec<SampledLives>, (usize, InputError)> {
    let chunks = options.draws.div_ceil(CHUNK);
    let tasks: Vec<(usize, usize)> =
        (0..cases.len()).flat_map(|c| (0..chunks).map(move |k| (c, k))).collect();
    let indices: Vec<usize> = (0..cases.len()).collect();
    let quick = map_cases(&indices, |&c| {
        if options.draws < QUICK_FROM {
            return Ok(None);
        }
        quick_twin(&cases[c], &prepared[c], options.draws).map_err(|error| (c, error))
    });
    let quick: Vec<Option<Quick>> = quick.into_iter().collect::<Result<_, _>>()?;
    let parts = map_tasks(&tasks, |&(c, k)| {
        let range = k * CHUNK..((k + 1) * CHUNK).min(options.draws);
        let twin = quick[c].as_ref().map(|q| &q.twin);
        prepared[c].run(&cases[c], twin, range).map_err(|error| (c, error))
    });
    let mut parts = parts.into_iter();
    (0..cases.len())
        .map(|c| {
            let mut drawn = Vec::with_capacity(options.draws);
            for _ in 0..chunks {
                drawn.extend(parts.next().expect("one part per task")?);
            }
            Ok(SampledLives::of(
                drawn.into_iter().map(|(own, bought)| (own.into(), bought.into())),
                quick[c].as_ref(),
                prepared[c].bounded,
            ))
        })
        .collect()
}

impl SampledLives {
    /// The lives in the order of their draws.
    pub(crate) fn of(
        drawn: impl Iterator<Item = (Drawn, Drawn)>,
        quick: Option<&Quick>,
        bounded: usize,
    ) -> Self {
        let mut lives = Self {
            specimen_s: Vec::new(),
            bought_s: Vec::new(),
            specimen_endings: Vec::new(),
            bought_endings: Vec::new(),
            flags: quick.map_or_else(Flags::default, |q| q.flags),
            bounded,
            quick: quick.map(|q| q.largest_difference),
        };
        for (specimen, bought) in drawn {
            // A twin does not meet what depends on voltage: its checks in full said what has to be said.
            if quick.is_none() {
                lives.flags.extend(specimen.flags);
                lives.flags.extend(bought.flags);
            }
            count(&mut lives.specimen_endings, &specimen);
            count(&mut lives.bought_endings, &bought);
            lives.specimen_s.push(specimen.life_s);
            lives.bought_s.push(bought.life_s);
        }
        for endings in [&mut lives.specimen_endings, &mut lives.bought_endings] {
            endings.sort_by_key(|e| std::cmp::Reverse(e.2));
        }
        lives
    }
}

/// A twin that was checked.
#[derive(Debug)]
pub(crate) struct Quick {
    pub(crate) twin: Twin,
    largest_difference: f64,
    flags: Flags,
}

/// The quick twin of a case if it has one and agrees with the full forecast on draws spread over all of them.
pub(crate) fn quick_twin(
    case: &Case,
    columns: &CaseColumns,
    draws: usize,
) -> Result<Option<Quick>, InputError> {
    let Some(twin) = Twin::of(case) else { return Ok(None) };
    let checked = || (0..CHECKED).map(|k| k * draws / CHECKED);
    let full = columns.run(case, None, checked())?;
    let Ok(own) = columns.run(case, Some(&twin), checked()) else { return Ok(None) };
    let mut flags = Flags::default();
    for (specimen, bought) in &full {
        flags.extend(specimen.flags);
        flags.extend(bought.flags);
    }
    Ok(Twin::agrees(&own, &full).map(|largest_difference| Quick {
        twin,
        largest_difference,
        flags,
    }))
}

fn count(endings: &mut Vec<(Ending, Option<usize>, usize)>, life: &Drawn) {
    match endings.iter_mut().find(|e| e.0 == life.ending && e.1 == life.activity) {
        Some(entry) => entry.2 += 1,
        None => endings.push((life.ending, life.activity, 1)),
    }
}

/// One column of draws per independent source.
struct DrawTable {
    columns: BTreeMap<String, Vec<f64>>,
    draws: usize,
}

impl DrawTable {
    fn new(cases: &[Case], options: SampleOptions) -> Self {
        // Sources that several cases share come first: they get the best dimensions of the sequence.
        let mut wanted: BTreeMap<String, (usize, Distribution)> = BTreeMap::new();
        for case in cases {
            for input in &case.inputs {
                for (source, _) in input.figure.sources() {
                    let name = source.id.name().to_owned();
                    wanted.entry(name).or_insert_with(|| (0, source.distribution.clone())).0 += 1;
                }
                if let Some(spread) = &input.spread {
                    let factor = Distribution::log_normal_cv(1.0, spread.coefficient_of_variation);
                    wanted.entry(spread_name(case, &input.key)).or_insert((1, factor));
                }
            }
        }
        let mut order: Vec<(String, (usize, Distribution))> = wanted.into_iter().collect();
        order.sort_by(|a, b| b.1.0.cmp(&a.1.0).then_with(|| a.0.cmp(&b.0)));
        let draws = Draws::new(options.seed);
        let mut tables = Tables::default();
        let sources: Vec<(usize, String, Sampler)> = order
            .into_iter()
            .enumerate()
            .map(|(k, (name, (_, law)))| (k, name, Sampler::sharing(&law, &mut tables)))
            .collect();
        let columns = map_cases(&sources, |(dimension, name, law)| {
            let column = draws.column(*dimension);
            let values = (0..options.draws).map(|k| law.quantile(column.unit(k as u32))).collect();
            (name.clone(), values)
        });
        Self { columns: columns.into_iter().collect(), draws: options.draws }
    }
}

fn spread_name(case: &Case, key: &str) -> String {
    format!("spread between specimens / {} / {key}", case.board)
}

/// The values of one case's inputs in all draws.
#[derive(Debug, Clone)]
pub(crate) struct CaseColumns {
    /// Per input: the value in each draw, or nothing if it never moves.
    specimen: Vec<Option<Vec<f64>>>,
    /// Per input: the value of one you might buy where it differs.
    bought: Vec<Option<Vec<f64>>>,
    pub(crate) bounded: usize,
}

impl CaseColumns {
    fn new(case: &Case, table: &DrawTable) -> Self {
        let mut bounded = 0;
        let mut columns = Self { specimen: Vec::new(), bought: Vec::new(), bounded: 0 };
        for input in &case.inputs {
            let mut values = vec![input.figure.value(); table.draws];
            let mut moved = false;
            for (source, sensitivity) in input.figure.sources() {
                moved = true;
                for (value, deviation) in values.iter_mut().zip(&table.columns[source.id.name()]) {
                    *value += sensitivity * deviation;
                }
            }
            let lowest = Case::lowest(input.target);
            for value in &mut values {
                if *value < lowest {
                    *value = lowest;
                    bounded += 1;
                }
            }
            columns.bought.push(input.spread.as_ref().map(|_| {
                let ratios = &table.columns[&spread_name(case, &input.key)];
                values.iter().zip(ratios).map(|(value, ratio)| value * ratio).collect()
            }));
            columns.specimen.push(moved.then_some(values));
        }
        columns.bounded = bounded;
        columns
    }

    /// Lives of this specimen and of one you might buy in the draws of `range`, of the case or of its twin.
    pub(crate) fn run(
        &self,
        case: &Case,
        twin: Option<&Twin>,
        range: impl Iterator<Item = usize>,
    ) -> Result<Vec<(Life, Life)>, InputError> {
        let shown = twin.map_or(case, |twin| &twin.case);
        let set = |work: &mut Scenario, i: usize, value: f64| {
            // The twin's scenario holds the scaled number itself; the case's own holds curves, which `set` scales.
            if let Some(factor) = twin.map_or(Some(1.0), |twin| twin.scale[i]) {
                shown.set(work, &case.inputs[i], value * factor);
            }
        };
        let mut engine = Engine::new();
        let mut work = shown.scenario.clone();
        let spread = self.bought.iter().any(Option::is_some);
        range
            .map(|k| {
                for (i, (input, column)) in case.inputs.iter().zip(&self.specimen).enumerate() {
                    if let Some(values) = column {
                        set(&mut work, i, values[k]);
                    } else if self.bought[i].is_some() {
                        // The bought specimen of the draw before moved it: put the best value back.
                        set(&mut work, i, input.figure.value());
                    }
                }
                let specimen = engine.life(&work)?;
                if !spread {
                    return Ok((specimen, specimen));
                }
                for (i, column) in self.bought.iter().enumerate() {
                    if let Some(values) = column {
                        set(&mut work, i, values[k]);
                    }
                }
                Ok((specimen, engine.life(&work)?))
            })
            .collect()
    }
}

/// State of charge over time, `(s, 1)`, of this specimen in each draw.
///
/// # Errors
/// [`InputError`] if the case cannot be forecast in some draw.
pub fn paths(
    case: &Case,
    options: SampleOptions,
    points: usize,
) -> Result<Vec<Vec<(f64, f64)>>, InputError> {
    let table = DrawTable::new(std::slice::from_ref(case), options);
    let columns = CaseColumns::new(case, &table);
    let mut engine = Engine::new();
    let mut work = case.scenario.clone();
    (0..options.draws)
        .map(|k| {
            for (input, column) in case.inputs.iter().zip(&columns.specimen) {
                if let Some(values) = column {
                    case.set(&mut work, input, values[k]);
                }
            }
            let forecast = engine.forecast(&work, points)?;
            Ok(forecast.samples.iter().map(|s| (s.time_s, s.state_of_charge)).collect())
        })
        .collect()
}

#[cfg(feature = "parallel")]
pub(crate) fn map_cases<T: Sync, R: Send>(
    items: &[T],
    f: impl Fn(&T) -> R + Sync + Send,
) -> Vec<R> {
    use rayon::prelude::*;
    items.par_iter().map(f).collect()
}

#[cfg(not(feature = "parallel"))]
pub(crate) fn map_cases<T, R>(items: &[T], f: impl Fn(&T) -> R) -> Vec<R> {
    items.iter().map(f).collect()
}

use map_cases as map_tasks;
