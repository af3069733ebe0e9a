//! From a reading to a figure with its uncertainty budget.
//!
//! Model of an instrument: `x = (indicated − zero)·(1 + g) + o + …`, with the gain error `g` and the
//! offset `o` of the range *in use* shared by every reading on that range of that instrument
//! (rectangular within the maker's limits, JCGM 100:2008, 4.3.7), and the rest belonging to the
//! reading alone.

use overwinter_statistics::univariate::summary;
use overwinter_statistics::{Distribution, Figure, Source};

/// What is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum QuantityKind {
    /// Current, A.
    Current,
    /// Voltage, V.
    Voltage,
    /// Resistance, Ω.
    Resistance,
    /// Charge, C.
    Charge,
    /// Temperature, °C.
    Temperature,
    /// Time, s.
    Time,
}

/// A range of an instrument, with the maker's accuracy: ± (fraction of reading + limit).
#[derive(Clone, Debug, PartialEq)]
pub struct InstrumentRange {
    /// Name of the instrument: the same instrument shares gain and offset per range.
    pub instrument: String,
    /// Name of the range.
    pub range: String,
    /// Largest value the range can show, in the unit of the reading.
    pub full_scale: f64,
    /// Value of one count (the last digit).
    pub resolution: f64,
    /// Limit of the gain error, as a fraction of the reading (1 % is 0.01).
    pub gain_limit: f64,
    /// Limit of the offset error, in the unit of the reading (counts times resolution).
    pub offset_limit: f64,
    /// Resistance the instrument puts in series when it measures current, Ω; 0 for a voltmeter.
    pub series_resistance_ohm: f64,
}

/// What to do with zeros recorded before and after.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ZeroPolicy {
    /// Subtract their mean, keep the maker's offset limit as well: careful, the default.
    #[default]
    CorrectAndKeepLimit,
    /// Subtract their mean; their drift and resolution replace the maker's offset limit.
    CorrectInstead,
    /// Leave the reading alone; the maker's limit covers the zero.
    Ignore,
}

/// What else acts on the reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Influence {
    /// What it is, for the budget.
    pub name: String,
    /// Deviation of the influence, centred on zero, in its own unit.
    pub deviation: Distribution,
    /// Change of the figure per unit of the influence.
    pub sensitivity: f64,
    /// True when all readings of the session share the deviation (air temperature, supply).
    pub shared_in_session: bool,
}

impl Influence {
    /// A standard uncertainty in the unit of the reading.
    pub fn standard(name: &str, u: f64) -> Self {
        Self {
            name: name.to_owned(),
            deviation: Distribution::Normal { mean: 0.0, sd: u },
            sensitivity: 1.0,
            shared_in_session: false,
        }
    }

    /// Board temperature known within ± `half_width_k`, acting on a current that doubles every
    /// `doubling_k` (about 10 K for semiconductor leakage): `∂I/∂T = leakage·ln 2/doubling`.
    pub fn temperature(leakage_a: f64, doubling_k: f64, half_width_k: f64) -> Self {
        Self {
            name: "temperature".to_owned(),
            deviation: Distribution::Uniform { centre: 0.0, half_width: half_width_k },
            sensitivity: leakage_a * core::f64::consts::LN_2 / doubling_k,
            shared_in_session: true,
        }
    }

    /// Supply voltage known within standard uncertainty `u_v`, acting with `slope_a_per_v`.
    pub fn supply_voltage(slope_a_per_v: f64, u_v: f64) -> Self {
        Self {
            name: "supply voltage".to_owned(),
            deviation: Distribution::Normal { mean: 0.0, sd: u_v },
            sensitivity: slope_a_per_v,
            shared_in_session: true,
        }
    }

    /// What is left of the settling: at most `residual` on either side, taken as rectangular.
    pub fn settling(residual: f64) -> Self {
        Self {
            name: "settling".to_owned(),
            deviation: Distribution::Uniform { centre: 0.0, half_width: residual.abs() },
            sensitivity: 1.0,
            shared_in_session: false,
        }
    }
}

/// How the board answers to the voltage the meter takes away.
#[derive(Clone, Debug, PartialEq)]
pub enum BurdenPolicy {
    /// Not known: the reading is flagged when the drop matters, not corrected.
    Flag,
    /// The board's slope `∂I/∂V` (resistive: `I/V`; constant: 0; converter: `−I/V`) with its standard
    /// uncertainty, A/V: corrected by `slope·I·R`.
    Correct {
        /// Slope, A/V.
        slope_a_per_v: f64,
        /// Its standard uncertainty, A/V.
        u_a_per_v: f64,
    },
    /// The slope from the board's own readings at several voltages, with their sources, and the series
    /// resistance with its own: corrected, and what the readings share stays shared.
    CorrectBy {
        /// Slope, A/V.
        slope_a_per_v: Figure,
        /// Resistance in series, Ω.
        resistance_ohm: Figure,
    },
    /// Nothing known but a limit of the slope's size: not corrected, `± limit·I·R` (rectangular, JCGM
    /// 100:2008, 4.3.7) goes into the budget, and a drop that matters is flagged.
    Bounded {
        /// Limit of the slope on either side, A/V.
        limit_a_per_v: f64,
    },
}

/// A reading as typed, in SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Name, unique: names the sources that belong to this reading alone.
    pub id: String,
    /// Session it belongs to.
    pub session: String,
    /// What is read.
    pub kind: QuantityKind,
    /// The repeats (one or more).
    pub repeats: Vec<f64>,
    /// Instrument and range in use; `None` when it was not written down.
    pub instrument: Option<InstrumentRange>,
    /// Zero before, in the unit of the reading.
    pub zero_before: Option<f64>,
    /// Zero after.
    pub zero_after: Option<f64>,
    /// What to do with the zeros.
    pub zero_policy: ZeroPolicy,
    /// Supply voltage at the board, V.
    pub supply_v: Option<f64>,
    /// What to do about the burden.
    pub burden: BurdenPolicy,
    /// Everything else.
    pub influences: Vec<Influence>,
    /// Day it was taken (any day count), if known.
    pub taken_on_day: Option<i64>,
    /// Day the board came in (same count), if known.
    pub board_since_day: Option<i64>,
}

impl Reading {
    /// A reading of `kind` with nothing but its repeats.
    pub fn new(id: &str, session: &str, kind: QuantityKind, repeats: Vec<f64>) -> Self {
        Self {
            id: id.to_owned(),
            session: session.to_owned(),
            kind,
            repeats,
            instrument: None,
            zero_before: None,
            zero_after: None,
            zero_policy: ZeroPolicy::default(),
            supply_v: None,
            burden: BurdenPolicy::Flag,
            influences: Vec::new(),
            taken_on_day: None,
            board_since_day: None,
        }
    }
}

/// What is wrong or remarkable about a reading. It is told, and the reading is kept.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReadingFault {
    /// No value at all.
    #[error("no value was entered")]
    NoValue,
    /// A value that is not a finite number.
    #[error("repeat {repeat} is not a finite number")]
    NotFinite {
        /// Which repeat, from 1.
        repeat: usize,
    },
    /// Beyond the end of the range.
    #[error("{got} is beyond the end of the range, {full_scale}: the meter was overloaded")]
    AboveRange {
        /// The value.
        got: f64,
        /// End of the range.
        full_scale: f64,
    },
    /// A resistance, time or absolute temperature that cannot be.
    #[error("{got} is physically impossible for this quantity")]
    Impossible {
        /// The value.
        got: f64,
    },
    /// A current with the wrong sign, beyond what the zero explains: leads swapped, or charging.
    #[error("{got} A is negative beyond its uncertainty: leads swapped, or the board was charging")]
    NegativeCurrent {
        /// The value.
        got: f64,
    },
    /// No instrument: the uncertainty is unknown, not zero.
    #[error("no instrument and range: the figure has no defensible uncertainty")]
    NoInstrument,
    /// The range itself is impossible.
    #[error("range \"{range}\": {parameter} is {got}")]
    BadRange {
        /// The range.
        range: String,
        /// Which parameter.
        parameter: &'static str,
        /// Its value.
        got: f64,
    },
    /// An influence with impossible parameters.
    #[error("influence \"{name}\" has impossible parameters")]
    BadInfluence {
        /// The influence.
        name: String,
    },
    /// A zero or the slope for the burden correction is not a finite number.
    #[error("{what} is not a finite number")]
    BadCorrection {
        /// Which.
        what: &'static str,
    },
    /// The numbers are too large to compute with.
    #[error("the figure is not finite: the numbers entered are too large")]
    Overflow,
    /// All repeats equal: the meter's last digit hides the spread.
    #[error("{n} equal repeats: the spread is hidden by the resolution, which is used instead")]
    ZeroSpread {
        /// How many repeats.
        n: usize,
    },
    /// Fewer than a twentieth of the range in use.
    #[error("reading is {share:.4} of the range: take a lower range if the burden allows")]
    LowOnRange {
        /// Share of full scale.
        share: f64,
    },
    /// The meter takes more than 2 % of the board's supply and the reading is not corrected for it.
    #[error("the meter drops {drop_v} V: the board saw {board_v} V")]
    BurdenNotCorrected {
        /// Voltage across the meter.
        drop_v: f64,
        /// What is left for the board.
        board_v: f64,
    },
    /// The zero moved by more than the maker's offset limit.
    #[error("the zero moved by {moved}, beyond the offset limit {limit}")]
    ZeroDrift {
        /// After minus before.
        moved: f64,
        /// The limit.
        limit: f64,
    },
    /// Taken while it still moved.
    #[error("taken before it settled: off by up to {half_width}")]
    NotSettled {
        /// How far off at most, on either side.
        half_width: f64,
    },
    /// A value in the unit of something else.
    #[error("a value is {got}, but what was read is {want}")]
    WrongUnit {
        /// What the value is, with its article.
        got: &'static str,
        /// What it should be, with its article.
        want: &'static str,
    },
    /// Taken before the board existed here.
    #[error("taken on day {taken}, before the board came in on day {since}")]
    BeforeBoard {
        /// Day of the reading.
        taken: i64,
        /// Day of the board.
        since: i64,
    },
}

impl ReadingFault {
    /// True when the reading cannot carry a figure; otherwise it is a caution.
    pub fn is_fatal(&self) -> bool {
        matches!(
            self,
            Self::NoValue
                | Self::NotFinite { .. }
                | Self::AboveRange { .. }
                | Self::Impossible { .. }
                | Self::BadRange { .. }
                | Self::BadInfluence { .. }
                | Self::BadCorrection { .. }
                | Self::Overflow
                | Self::WrongUnit { .. }
        )
    }
}

/// A reading with what follows from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Evaluated {
    /// The figure; `None` when a fault forbids it.
    pub figure: Option<Figure>,
    /// True when the uncertainty is complete (instrument known).
    pub uncertainty_known: bool,
    /// Everything remarkable.
    pub faults: Vec<ReadingFault>,
}

/// A drop across the meter above this share of the supply is worth a flag. Common practice, no source.
const BURDEN_SHARE_FLAGGED: f64 = 0.02;
/// Below this share of full scale a lower range is advised. Common practice, no source.
const LOW_SHARE_OF_RANGE: f64 = 0.05;

/// Turns a reading into a figure with its sources.
///
/// Sources: repeats (Type A, `s/√n`, Student t), resolution (± half a count), gain and offset of the
/// range (shared), zero drift, burden correction, influences. Equal repeats
/// do not give `u = 0`: the resolution stands in for the spread they hide.
pub fn evaluate(reading: &Reading) -> Evaluated {
    let mut faults = Vec::new();
    check_values(reading, &mut faults);
    check_range(reading, &mut faults);
    for influence in &reading.influences {
        if influence.deviation.check().is_err() || !influence.sensitivity.is_finite() {
            faults.push(ReadingFault::BadInfluence { name: influence.name.clone() });
        }
    }
    check_corrections(reading, &mut faults);
    if let (Some(taken), Some(since)) = (reading.taken_on_day, reading.board_since_day)
        && taken < since
    {
        faults.push(ReadingFault::BeforeBoard { taken, since });
    }
    let uncertainty_known = reading.instrument.is_some();
    if !uncertainty_known {
        faults.push(ReadingFault::NoInstrument);
    }
    if faults.iter().any(ReadingFault::is_fatal) {
        return Evaluated { figure: None, uncertainty_known, faults };
    }
    let Some(repeats) = summary(&reading.repeats) else {
        return Evaluated { figure: None, uncertainty_known, faults };
    };
    let mut figure = Figure::exact(repeats.mean);
    match repeats.standard_error() {
        Some(u) if u > 0.0 => {
            let name = format!("{} / repeats", reading.id);
            figure = figure.plus_source(Source::type_a(&name, u, (repeats.n - 1) as f64), 1.0);
        }
        Some(_) => faults.push(ReadingFault::ZeroSpread { n: repeats.n }),
        None => {}
    }
    if let Some(range) = &reading.instrument {
        figure = with_instrument(figure, reading, range, &mut faults);
    }
    for influence in &reading.influences {
        let owner = if influence.shared_in_session { &reading.session } else { &reading.id };
        let name = format!("{owner} / {}", influence.name);
        let source = match influence.deviation {
            Distribution::StudentT { scale, degrees_of_freedom, .. } => {
                Source::type_a(&name, scale, degrees_of_freedom)
            }
            _ => Source::from_distribution(&name, influence.deviation.clone()),
        };
        figure = figure.plus_source(source, influence.sensitivity);
    }
    if !(figure.value().is_finite() && figure.variance().is_finite()) {
        faults.push(ReadingFault::Overflow);
        return Evaluated { figure: None, uncertainty_known, faults };
    }
    if reading.kind == QuantityKind::Current && figure.value() < 0.0 {
        let limit = 2.0 * figure.standard_uncertainty();
        if uncertainty_known && -figure.value() > limit {
            faults.push(ReadingFault::NegativeCurrent { got: figure.value() });
        }
    }
    Evaluated { figure: Some(figure), uncertainty_known, faults }
}

fn check_values(reading: &Reading, faults: &mut Vec<ReadingFault>) {
    if reading.repeats.is_empty() {
        faults.push(ReadingFault::NoValue);
    }
    for (i, value) in reading.repeats.iter().enumerate() {
        let lowest = match reading.kind {
            QuantityKind::Resistance | QuantityKind::Time => 0.0,
            QuantityKind::Temperature => -273.15,
            QuantityKind::Current | QuantityKind::Voltage | QuantityKind::Charge => {
                f64::NEG_INFINITY
            }
        };
        if !value.is_finite() {
            faults.push(ReadingFault::NotFinite { repeat: i + 1 });
        } else if *value < lowest {
            faults.push(ReadingFault::Impossible { got: *value });
        } else if let Some(range) = &reading.instrument
            && value.abs() > range.full_scale
        {
            faults.push(ReadingFault::AboveRange { got: *value, full_scale: range.full_scale });
        }
    }
}

fn check_corrections(reading: &Reading, faults: &mut Vec<ReadingFault>) {
    let slope = match &reading.burden {
        BurdenPolicy::Flag => None,
        BurdenPolicy::Correct { slope_a_per_v, u_a_per_v } => Some(slope_a_per_v + u_a_per_v),
        BurdenPolicy::CorrectBy { slope_a_per_v: slope, resistance_ohm: ohm } => {
            Some(slope.value() + slope.variance() + ohm.value() + ohm.variance())
        }
        BurdenPolicy::Bounded { limit_a_per_v } => Some(*limit_a_per_v),
    };
    for (what, number) in [
        ("the zero before", reading.zero_before),
        ("the zero after", reading.zero_after),
        ("the slope for the burden correction", slope),
    ] {
        if number.is_some_and(|x| !x.is_finite()) {
            faults.push(ReadingFault::BadCorrection { what });
        }
    }
}

fn check_range(reading: &Reading, faults: &mut Vec<ReadingFault>) {
    let Some(range) = &reading.instrument else { return };
    for (parameter, got) in [
        ("full scale", range.full_scale),
        ("resolution", range.resolution),
        ("gain limit", range.gain_limit),
        ("offset limit", range.offset_limit),
        ("series resistance", range.series_resistance_ohm),
    ] {
        let infinite_scale = parameter == "full scale" && got == f64::INFINITY;
        if !(got >= 0.0 && (got.is_finite() || infinite_scale)) {
            faults.push(ReadingFault::BadRange { range: range.range.clone(), parameter, got });
        }
    }
}

/// Zero, gain, offset, resolution and burden of the range in use.
fn with_instrument(
    indicated: Figure,
    reading: &Reading,
    range: &InstrumentRange,
    faults: &mut Vec<ReadingFault>,
) -> Figure {
    let place = format!("{} / {}", range.instrument, range.range);
    let mut figure = indicated;
    let share = figure.value().abs() / range.full_scale;
    if share < LOW_SHARE_OF_RANGE && range.full_scale.is_finite() {
        faults.push(ReadingFault::LowOnRange { share });
    }
    let zeros = [reading.zero_before, reading.zero_after];
    let known: Vec<f64> = zeros.iter().flatten().copied().collect();
    let correct = !known.is_empty() && reading.zero_policy != ZeroPolicy::Ignore;
    let session = format!("{} / {place} / zero", reading.session);
    if correct {
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        figure = &figure - mean;
    }
    if let (Some(before), Some(after)) = (reading.zero_before, reading.zero_after) {
        let moved = after - before;
        if moved.abs() > range.offset_limit {
            faults.push(ReadingFault::ZeroDrift { moved, limit: range.offset_limit });
        }
        if correct && moved != 0.0 {
            // The zero was somewhere between the two when this reading was taken; another reading of
            // the session met another zero, so the source is this reading's own.
            let drift = format!("{} / zero drift", reading.id);
            figure = figure.plus_source(Source::rectangular(&drift, 0.5 * moved.abs()), 1.0);
        }
    }
    if range.gain_limit > 0.0 {
        let gain = Source::rectangular(&format!("{place} / gain"), range.gain_limit);
        let value = figure.value();
        figure = figure.plus_source(gain, value);
    }
    let offset_limit = if correct && reading.zero_policy == ZeroPolicy::CorrectInstead {
        0.5 * range.resolution
    } else {
        range.offset_limit
    };
    if offset_limit > 0.0 {
        let name = if offset_limit == range.offset_limit {
            format!("{place} / offset")
        } else {
            format!("{session} resolution")
        };
        figure = figure.plus_source(Source::rectangular(&name, offset_limit), 1.0);
    }
    if range.resolution > 0.0 {
        let name = format!("{} / resolution", reading.id);
        figure = figure.plus_source(Source::rectangular(&name, 0.5 * range.resolution), 1.0);
    }
    if reading.kind == QuantityKind::Current && range.series_resistance_ohm > 0.0 {
        figure = with_burden(figure, reading, range, faults);
    }
    figure
}

/// `I_true = I + slope·I·R`: what the board would draw with the drop given back.
fn with_burden(
    figure: Figure,
    reading: &Reading,
    range: &InstrumentRange,
    faults: &mut Vec<ReadingFault>,
) -> Figure {
    let drop_v = figure.value() * range.series_resistance_ohm;
    let mut flag_if_it_matters = || {
        if let Some(supply_v) = reading.supply_v
            && drop_v.abs() > BURDEN_SHARE_FLAGGED * supply_v.abs()
        {
            faults.push(ReadingFault::BurdenNotCorrected { drop_v, board_v: supply_v - drop_v });
        }
    };
    match &reading.burden {
        BurdenPolicy::Flag => {
            flag_if_it_matters();
            figure
        }
        BurdenPolicy::Correct { slope_a_per_v, u_a_per_v } => {
            let slope = Figure::with_source(
                *slope_a_per_v,
                Source::normal(&format!("{} / burden slope", reading.id), u_a_per_v.abs()),
            );
            &figure + &(&(&figure * &slope) * range.series_resistance_ohm)
        }
        BurdenPolicy::CorrectBy { slope_a_per_v, resistance_ohm } => {
            &figure + &(&(&figure * slope_a_per_v) * resistance_ohm)
        }
        BurdenPolicy::Bounded { limit_a_per_v } => {
            flag_if_it_matters();
            let name = format!("{} / burden", reading.id);
            figure.plus_source(Source::rectangular(&name, limit_a_per_v.abs()), drop_v)
        }
    }
}
