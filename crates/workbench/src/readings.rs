//! From sessions to figures: which reading of a specimen counts, and with which uncertainty.

use std::ops::Deref;
use std::sync::Arc;

use overwinter_documents::types::meter::MeterRange;
use overwinter_documents::types::session::{Reading, Session, Source as Fed, What};
use overwinter_figures::reading as evaluation;
use overwinter_figures::reading::{Evaluated, Influence, InstrumentRange, QuantityKind};
use overwinter_quantity::{AnyQuantity, Floor, Spread};
use overwinter_statistics::{Distribution, Figure, Source};

use crate::bench::Bench;
use crate::conditions;
use crate::priors;
use crate::report::Origin;

/// What follows from a reading, its conditions and the instrument.
#[derive(Debug)]
pub struct Taken {
    /// Its figure with sources; `None` where a fault forbids one.
    pub figure: Option<Figure>,
    /// What is remarkable about it.
    pub faults: Vec<evaluation::ReadingFault>,
    /// What the budget lines of its conditions rest on, by the source's name.
    pub rests_on: Vec<(String, String)>,
}

/// A reading of a session with the figure that follows from it.
#[derive(Debug, Clone)]
pub struct Measured<'a> {
    /// The session.
    pub session: &'a Session,
    /// The reading.
    pub reading: &'a Reading,
    /// What follows from it.
    taken: Arc<Taken>,
    /// Supply voltage at the board, V.
    pub supply_v: Option<f64>,
    /// Temperature, °C.
    pub celsius: Option<f64>,
    /// What fed the board.
    pub fed: Option<Fed>,
}

impl Deref for Measured<'_> {
    type Target = Taken;

    fn deref(&self) -> &Taken {
        &self.taken
    }
}

impl Measured<'_> {
    /// Where the figure comes from, in words.
    pub fn origin(&self) -> Origin {
        let kind = self.session.kind.map_or_else(|| "measured".to_owned(), |kind| kind.to_string());
        Origin { kind, source: format!("session {}, {}", self.session.name, self.session.date) }
    }
}

/// All readings of `what` of a specimen that still count, newest session first.
pub fn of_specimen<'a>(bench: &'a Bench, specimen: &str, what: What) -> Vec<Measured<'a>> {
    collect(bench, what, |session| session.specimen.as_deref() == Some(specimen))
}

/// The same of a bare module.
pub fn of_module<'a>(bench: &'a Bench, module: &str, what: What) -> Vec<Measured<'a>> {
    collect(bench, what, |session| session.module.as_deref() == Some(module))
}

/// The same of a cell.
pub fn of_cell<'a>(bench: &'a Bench, cell: &str, what: What) -> Vec<Measured<'a>> {
    collect(bench, what, |session| session.cell.as_deref() == Some(cell))
}

fn collect<'a>(
    bench: &'a Bench,
    what: What,
    belongs: impl Fn(&Session) -> bool,
) -> Vec<Measured<'a>> {
    let mut found: Vec<Measured<'a>> = bench
        .sessions()
        .filter(|session| belongs(session) && session.retracted.is_none())
        .flat_map(|session| session.readings.iter().map(move |reading| (session, reading)))
        .filter(|(_, reading)| reading.what == what && reading.retracted.is_none())
        .map(|(session, reading)| measure(bench, session, reading))
        .collect();
    found.sort_by(|a, b| {
        b.session.date.cmp(&a.session.date).then_with(|| a.session.name.cmp(&b.session.name))
    });
    found
}

/// Evaluates one reading.
pub fn measure<'a>(bench: &'a Bench, session: &'a Session, reading: &'a Reading) -> Measured<'a> {
    let supply_v =
        reading.supply.as_ref().or(session.supply.as_ref()).map(overwinter_quantity::Voltage::si);
    let celsius = reading
        .temperature
        .as_ref()
        .or(session.temperature.as_ref())
        .map(overwinter_quantity::Temperature::celsius);
    let place = place(session, reading);
    Measured {
        session,
        reading,
        taken: bench.taken(session, place, || take(bench, session, reading)),
        supply_v,
        celsius,
        fed: reading.source.or(session.source),
    }
}

fn place(session: &Session, reading: &Reading) -> usize {
    session.readings.iter().position(|r| std::ptr::eq(r, reading)).unwrap_or_default()
}

fn take(bench: &Bench, session: &Session, reading: &Reading) -> Taken {
    match plain(bench, session, reading) {
        Ok(plain) => {
            let under = conditions::apply(bench, session, reading, plain);
            let Evaluated { figure, mut faults, .. } = evaluation::evaluate(&under.reading);
            faults.extend(under.faults);
            Taken { figure, faults, rests_on: under.rests_on }
        }
        // Told and kept, and no figure made of it.
        Err(fault) => Taken { figure: None, faults: vec![fault], rests_on: Vec::new() },
    }
}

/// The reading with its instrument and zeros, before its conditions.
pub(crate) fn plain(
    bench: &Bench,
    session: &Session,
    reading: &Reading,
) -> Result<evaluation::Reading, evaluation::ReadingFault> {
    let mut repeats: Vec<f64> = if reading.repeats.is_empty() {
        reading.value.iter().map(AnyQuantity::si).collect()
    } else {
        reading.repeats.iter().map(AnyQuantity::si).collect()
    };
    if let Some(fault) = wrong_unit(reading) {
        return Err(fault);
    }
    if repeats.is_empty() {
        // Only the way there was written down: its last value is the reading.
        repeats.extend(reading.settling.last().map(|p| p.value.si()));
    }
    let id = format!("{} reading {}", session.name, place(session, reading) + 1);
    let mut plain =
        evaluation::Reading::new(&id, &session.name, quantity_kind(reading.what), repeats);
    let instrument = reading.instrument.as_deref().or(session.instrument.as_deref());
    let range = reading.range.as_deref();
    if let (Some(instrument), Some(range)) = (instrument, range) {
        // A range of something else says nothing of this reading.
        plain.instrument = bench
            .range(instrument, range)
            .filter(|found| found.limit.dimension() == reading.what.dimension())
            .and_then(|found| instrument_range(instrument, found));
    }
    plain.zero_before = reading.zero_before.as_ref().map(AnyQuantity::si);
    plain.zero_after = reading.zero_after.as_ref().map(AnyQuantity::si);
    plain.supply_v =
        reading.supply.as_ref().or(session.supply.as_ref()).map(overwinter_quantity::Voltage::si);
    plain.taken_on_day = Some(session.date.days_since_epoch());
    plain.board_since_day = session
        .specimen
        .as_deref()
        .and_then(|id| bench.specimen(id))
        .and_then(|(_, s)| s.bought)
        .map(|d| d.days_since_epoch());
    // A spread typed with the value stands beside the instrument's only where no instrument says better.
    let typed = reading.value.as_ref().filter(|_| plain.instrument.is_none());
    if let Some(source) = typed.and_then(|value| typed_source(&id, value)) {
        plain.influences.push(Influence {
            name: "stated spread".to_owned(),
            deviation: source.distribution,
            sensitivity: 1.0,
            shared_in_session: false,
        });
    } else if plain.instrument.is_none() {
        let value = plain.repeats.first().copied().unwrap_or_default();
        plain.influences.push(Influence::standard(
            "assumed: no instrument written down",
            priors::SLEEP_CURRENT * value.abs(),
        ));
    }
    if let Some(scatter) = &reading.type_a {
        plain.influences.push(Influence::standard("scatter within the record", scatter.si().abs()));
    }
    Ok(plain)
}

/// A value, repeat or zero in the unit of something else than what was read.
fn wrong_unit(reading: &Reading) -> Option<evaluation::ReadingFault> {
    let want = reading.what.dimension();
    reading
        .value
        .iter()
        .chain(&reading.repeats)
        .chain(&reading.type_a)
        .chain(&reading.zero_before)
        .chain(&reading.zero_after)
        .chain(reading.settling.iter().map(|p| &p.value))
        .map(AnyQuantity::dimension)
        .find(|got| *got != want)
        .map(|got| evaluation::ReadingFault::WrongUnit { got: got.name, want: want.name })
}

fn quantity_kind(what: What) -> QuantityKind {
    match what.dimension().name {
        "a current" => QuantityKind::Current,
        "a voltage" => QuantityKind::Voltage,
        "a resistance" => QuantityKind::Resistance,
        "a charge" => QuantityKind::Charge,
        _ => QuantityKind::Time,
    }
}

/// The deviation that a typed spread means; `None` where nothing was stated.
pub fn spread_source(name: &str, spread: Spread) -> Option<Source> {
    match spread {
        Spread::Standard { u } => Some(Source::normal(name, u)),
        Spread::Expanded { half_width, k } => Some(Source::normal(name, half_width / k)),
        Spread::Limits { half_width } => {
            Some(Source::from_distribution(name, Distribution::Uniform { centre: 0.0, half_width }))
        }
        Spread::Unstated | Spread::AtMost | Spread::AtLeast => None,
    }
}

fn typed_source(name: &str, value: &AnyQuantity) -> Option<Source> {
    spread_source(name, value.spread())
}

/// A range of a document as the evaluation needs it; `None` where its accuracy is not stated in full.
fn instrument_range(instrument: &str, range: &MeterRange) -> Option<InstrumentRange> {
    let accuracy = range.accuracy.as_ref()?;
    let full_scale = range.limit.si();
    let resolution = range.resolution.as_ref().map(AnyQuantity::si);
    let offset_limit = accuracy.limit(0.0, resolution, Some(full_scale))?;
    let series_resistance_ohm = match (&range.burden, &range.burden_voltage) {
        (Some(ohm), _) => ohm.si(),
        (None, Some(volts)) => volts.si() / full_scale,
        (None, None) => 0.0,
    };
    // Without a stated resolution the floor of the accuracy hides at least one count.
    let resolution = resolution.unwrap_or(match accuracy.floor {
        Some(Floor::Counts(counts)) if counts > 0.0 => offset_limit / counts,
        _ => 0.0,
    });
    Some(InstrumentRange {
        instrument: instrument.to_owned(),
        range: range.name.clone(),
        full_scale,
        resolution,
        gain_limit: accuracy.of_reading,
        offset_limit,
        series_resistance_ohm,
    })
}
