//! What the conditions written down with a reading put into its budget: settling, temperature, supply voltage, burden.
//!
//! Each comes from the subject's own readings where there are any (a settling record, two temperatures, a voltage sweep), else
//! from a prior of [`overwinter_figures::conditions`], and the budget line says which. They apply where an instrument carries
//! the uncertainty; a spread that was typed with the value is taken to hold everything.

use overwinter_documents::types::meter::MeterRange;
use overwinter_documents::types::session::{Reading, Session, Source as Fed, SupplyAt, What};
use overwinter_figures::conditions::{
    COEFFICIENT_PER_KELVIN, LEAKING_UP_TO_A, NO_THERMOMETER_WITHIN_K, SERIES_RESISTANCE_WITHIN,
    SETTLING_NOT_WRITTEN_S, SUPPLY_WITHIN_V, THERMOMETER_WITHIN_K, local_slope, slope_limit,
    supply, temperature, unrecorded_settling,
};
use overwinter_figures::reading as evaluation;
use overwinter_figures::reading::{BurdenPolicy, Influence, ReadingFault};
use overwinter_figures::settling::{LeftOver, Settling};
use overwinter_quantity::Spread;
use overwinter_statistics::{Distribution, Figure, Source};

use crate::bench::Bench;
use crate::readings::{plain, spread_source};
use crate::resolve::path::REFERENCE_V;
use crate::text::{duration, percent, significant, voltage};

/// A reading with its conditions in it.
pub(crate) struct Conditioned {
    /// To be evaluated.
    pub(crate) reading: evaluation::Reading,
    /// What the lines rest on, by the source's name.
    pub(crate) rests_on: Vec<(String, String)>,
    /// What the conditions give to remark.
    pub(crate) faults: Vec<ReadingFault>,
}

/// Currents of sleeping silicon: they leak with temperature and settle for minutes.
fn is_small(what: What) -> bool {
    matches!(what, What::SleepCurrent | What::GroundCurrent | What::PartCurrent | What::BackLeakage)
}

/// Currents that the board draws through the meter from its supply.
fn is_drawn(what: What) -> bool {
    is_small(what) || matches!(what, What::IdleCurrent | What::RadioPeak)
}

/// Puts the conditions of a reading into it.
pub(crate) fn apply(
    bench: &Bench,
    session: &Session,
    reading: &Reading,
    mut plain: evaluation::Reading,
) -> Conditioned {
    let mut rests_on = Vec::new();
    let mut faults = Vec::new();
    let bare = evaluation::evaluate(&plain).figure.filter(|_| plain.instrument.is_some());
    let Some(bare) = bare else { return Conditioned { reading: plain, rests_on, faults } };
    let value = bare.value();
    let siblings = siblings(bench, session, reading);
    let (id, owner) = (plain.id.clone(), plain.session.clone());

    if let Some((influence, basis)) =
        settling(reading, value, bare.standard_uncertainty(), &mut faults)
    {
        rests_on.push((format!("{id} / settling"), basis));
        plain.influences.push(influence);
    }
    let slope = if is_drawn(reading.what) {
        burden(bench, session, reading, &siblings, &mut plain, value, &mut rests_on)
    } else {
        None
    };
    if is_small(reading.what) || reading.what == What::IdleCurrent {
        let supply_v = plain.supply_v.unwrap_or(REFERENCE_V);
        let stated = reading.supply.as_ref().or(session.supply.as_ref()).map(|v| v.spread());
        let stated = match stated.and_then(|s| spread_source("supply", s)) {
            Some(source) => Some(3.0_f64.sqrt() * source.standard_uncertainty),
            // An unwritten supply: anything a cell can be.
            None if plain.supply_v.is_none() => Some(0.4),
            None => None,
        };
        let mut influence = supply(value, supply_v, stated, slope.as_ref().map(Figure::value));
        influence.shared_in_session = reading.supply.is_none();
        let known = match (plain.supply_v, stated) {
            (None, _) => format!("supply not written down: {} ± 0.4 V assumed", voltage(supply_v)),
            (_, Some(v)) => format!("supply within ± {} as written", voltage(v)),
            (_, None) => format!("supply within ± {} assumed", voltage(SUPPLY_WITHIN_V)),
        };
        let by = if slope.is_some() {
            "slope from its own sweep"
        } else {
            "not swept: slope up to I/V assumed"
        };
        let whose = if influence.shared_in_session { &owner } else { &id };
        rests_on.push((format!("{whose} / supply voltage"), format!("{known}; {by}")));
        plain.influences.push(influence);
    }
    if is_small(reading.what) {
        let celsius = celsius(session, reading);
        let per_kelvin = coefficient(session, reading, &plain, value, &siblings);
        let mut influence = temperature(value, celsius, per_kelvin);
        influence.shared_in_session = reading.temperature.is_none();
        let known = match celsius {
            Some(t) => format!(
                "{} °C, thermometer within {} K",
                significant(t, 3),
                significant(THERMOMETER_WITHIN_K, 1)
            ),
            None => format!(
                "not written down: room within {} K assumed",
                significant(NO_THERMOMETER_WITHIN_K, 1)
            ),
        };
        let by = match per_kelvin {
            Some(a) => format!(
                "{} %/K from its own readings at two temperatures",
                significant(100.0 * a, 2)
            ),
            None if value.abs() <= LEAKING_UP_TO_A => format!(
                "{}/K assumed: read at one temperature only",
                percent(COEFFICIENT_PER_KELVIN)
            ),
            None => format!(
                "{}/K of 20 µA, 0.3 %/K of the rest assumed: read at one temperature only",
                percent(COEFFICIENT_PER_KELVIN)
            ),
        };
        let whose = if influence.shared_in_session { &owner } else { &id };
        rests_on.push((format!("{whose} / temperature"), format!("{known}; {by}")));
        plain.influences.push(influence);
    }
    if let Some((influence, basis)) = meter_temperature(bench, session, reading, value) {
        rests_on.push((format!("{owner} / {}", influence.name), basis));
        plain.influences.push(influence);
    }
    Conditioned { reading: plain, rests_on, faults }
}

fn celsius(session: &Session, reading: &Reading) -> Option<f64> {
    let temperature = reading.temperature.as_ref().or(session.temperature.as_ref());
    temperature.map(overwinter_quantity::Temperature::celsius)
}

fn fed(session: &Session, reading: &Reading) -> Option<Fed> {
    reading.source.or(session.source)
}

/// All readings of the same quantity of the same subject, fed the same way, this one among them.
fn siblings<'a>(
    bench: &'a Bench,
    session: &'a Session,
    reading: &Reading,
) -> Vec<(&'a Session, &'a Reading)> {
    let subject = |s: &Session| (s.specimen.clone(), s.module.clone(), s.cell.clone());
    let own = subject(session);
    bench
        .sessions()
        .filter(|s| s.retracted.is_none() && subject(s) == own || std::ptr::eq(*s, session))
        .flat_map(|s| s.readings.iter().map(move |r| (s, r)))
        .filter(|(s, r)| {
            let alike = r.what == reading.what && r.part == reading.part && r.load == reading.load;
            std::ptr::eq(*r, reading)
                || alike && r.retracted.is_none() && fed(s, r) == fed(session, reading)
        })
        .collect()
}

/// What is left of the transient: from the record, or from the settling time and the prior.
fn settling(
    reading: &Reading,
    value: f64,
    u: f64,
    faults: &mut Vec<ReadingFault>,
) -> Option<(Influence, String)> {
    let recorded = (!reading.settling.is_empty()).then(|| {
        let mut record = Settling::new(u);
        for point in &reading.settling {
            // A time that does not advance is told by the check; the rest still counts.
            let _ = record.push(point.after.si(), point.value.si());
        }
        record
    });
    match recorded.and_then(|record| Some((record.left_over(value)?, record.len()))) {
        Some((LeftOver::Settled { u, degrees_of_freedom }, n)) => {
            let mut influence = Influence::standard("settling", u);
            influence.deviation =
                Distribution::StudentT { location: 0.0, scale: u, degrees_of_freedom };
            Some((influence, format!("end value of the settling record, {n} values")))
        }
        Some((LeftOver::NotSettled { half_width }, n)) => {
            faults.push(ReadingFault::NotSettled { half_width });
            let basis = format!("taken before it settled; bound from the record, {n} values");
            Some((Influence::settling(half_width), basis))
        }
        None if is_small(reading.what) => {
            let written = reading.settled_for.as_ref().map(|d| d.si());
            let known = match written {
                Some(s) => format!("settled for {}", duration(s)),
                None => format!(
                    "settling time not written down, {} assumed",
                    duration(SETTLING_NOT_WRITTEN_S)
                ),
            };
            let basis = format!(
                "{known}; a fifth (at most 4 µA) transient at first, dying with 1 min, assumed"
            );
            Some((unrecorded_settling(value, written), basis))
        }
        None => None,
    }
}

/// Gives the drop of the meter back: by the board's own slope where a sweep tells it, else as a bound. Returns the slope.
fn burden(
    bench: &Bench,
    session: &Session,
    reading: &Reading,
    siblings: &[(&Session, &Reading)],
    plain: &mut evaluation::Reading,
    value: f64,
    rests_on: &mut Vec<(String, String)>,
) -> Option<Figure> {
    let supply_v = plain.supply_v.unwrap_or(REFERENCE_V);
    let sensed = reading.supply_at.or(session.supply_at) == Some(SupplyAt::Board);
    let range = plain.instrument.clone()?;
    let ohm = if sensed { 0.0 } else { range.series_resistance_ohm };
    let board_v = supply_v - value * ohm;
    let slope = sweep(bench, session, reading, siblings).and_then(|points| {
        local_slope(&format!("{} / bend of the sweep", plain.id), &points, board_v)
    });
    if slope.is_some() {
        rests_on.push((
            format!("{} / bend of the sweep", plain.id),
            "slope between two supply voltages; its neighbour bounds the bend".to_owned(),
        ));
    }
    if sensed {
        // Read past the meter: what the board saw is what was written down.
        plain.burden = BurdenPolicy::CorrectBy {
            slope_a_per_v: Figure::exact(0.0),
            resistance_ohm: Figure::exact(0.0),
        };
        return slope;
    }
    if ohm <= 0.0 {
        return slope;
    }
    if let Some(slope) = &slope {
        let name = format!("{} / {} / series resistance", range.instrument, range.range);
        let found = bench.range(&range.instrument, &range.range);
        let (source, basis) = series_source(&name, found, ohm);
        rests_on.push((name, basis));
        plain.burden = BurdenPolicy::CorrectBy {
            slope_a_per_v: slope.clone(),
            resistance_ohm: Figure::with_source(ohm, source),
        };
    } else {
        rests_on.push((
            format!("{} / burden", plain.id),
            format!(
                "the meter took {}; not swept: not corrected, slope up to I/V assumed",
                voltage(value * ohm)
            ),
        ));
        plain.burden = BurdenPolicy::Bounded { limit_a_per_v: slope_limit(value, board_v) };
    }
    slope
}

fn series_source(name: &str, range: Option<&MeterRange>, ohm: f64) -> (Source, String) {
    let stated = range.and_then(|r| r.burden.as_ref()).map(|b| b.value.spread());
    match stated.and_then(|s: Spread| spread_source(name, s)) {
        Some(source) => (source, "as the instrument's document states it".to_owned()),
        None => (
            Source::rectangular(name, SERIES_RESISTANCE_WITHIN * ohm),
            format!("within ± {} assumed", percent(SERIES_RESISTANCE_WITHIN)),
        ),
    }
}

/// The sweep that a reading belongs to, as the board saw it: at about its temperature, of its own session if that has
/// several voltages, else of all sessions.
fn sweep(
    bench: &Bench,
    session: &Session,
    reading: &Reading,
    siblings: &[(&Session, &Reading)],
) -> Option<Vec<(f64, Figure)>> {
    let own_c = celsius(session, reading);
    let point = |(s, r): &(&Session, &Reading)| -> Option<(f64, Figure)> {
        let near = match (own_c, celsius(s, r)) {
            (Some(a), Some(b)) => (a - b).abs() < 3.0,
            _ => true,
        };
        let plain = plain(bench, s, r).ok().filter(|_| near)?;
        let supply_v = plain.supply_v?;
        let figure = evaluation::evaluate(&plain).figure?;
        let sensed = r.supply_at.or(s.supply_at) == Some(SupplyAt::Board);
        let ohm = plain.instrument.as_ref().map_or(0.0, |i| i.series_resistance_ohm);
        let drop_v = if sensed { 0.0 } else { figure.value() * ohm };
        Some((supply_v - drop_v, figure))
    };
    let several = |points: &[(f64, Figure)]| {
        points.iter().any(|p| points.iter().any(|q| (p.0 - q.0).abs() > 0.05))
    };
    let here: Vec<(f64, Figure)> =
        siblings.iter().filter(|(s, _)| std::ptr::eq(*s, session)).filter_map(point).collect();
    if several(&here) {
        return Some(here);
    }
    let all: Vec<(f64, Figure)> = siblings.iter().filter_map(point).collect();
    several(&all).then_some(all)
}

/// `ln(I₂/I₁)/(T₂ − T₁)` to the reading farthest in temperature, 5 K at least, at about the same supply.
fn coefficient(
    session: &Session,
    reading: &Reading,
    plain: &evaluation::Reading,
    value: f64,
    siblings: &[(&Session, &Reading)],
) -> Option<f64> {
    let own_c = celsius(session, reading)?;
    let own_v = plain.supply_v.unwrap_or(REFERENCE_V);
    let (celsius, other) = siblings
        .iter()
        .filter(|(s, r)| {
            let v = r.supply.as_ref().or(s.supply.as_ref()).map_or(own_v, |v| v.si());
            (v - own_v).abs() < 0.06
        })
        .filter_map(|(s, r)| {
            let values: Vec<f64> = if r.repeats.is_empty() {
                r.value.iter().map(overwinter_quantity::AnyQuantity::si).collect()
            } else {
                r.repeats.iter().map(overwinter_quantity::AnyQuantity::si).collect()
            };
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            Some((celsius(s, r)?, mean))
        })
        .filter(|(t, i)| (t - own_c).abs() >= 5.0 && *i > 0.0)
        .max_by(|a, b| (a.0 - own_c).abs().total_cmp(&(b.0 - own_c).abs()))?;
    let per_kelvin = libm::log(other / value) / (celsius - own_c);
    (value > 0.0 && per_kelvin.is_finite()).then_some(per_kelvin)
}

/// The meter outside the temperatures of its accuracy: what its document adds for each kelvin, or a tenth of the accuracy.
fn meter_temperature(
    bench: &Bench,
    session: &Session,
    reading: &Reading,
    value: f64,
) -> Option<(Influence, String)> {
    let instrument = reading.instrument.as_deref().or(session.instrument.as_deref())?;
    let range = bench.range(instrument, reading.range.as_deref()?)?;
    let t = celsius(session, reading)?;
    let below = range.accurate_from.as_ref().map_or(0.0, |from| from.celsius() - t);
    let above = range.accurate_to.as_ref().map_or(0.0, |to| t - to.celsius());
    let outside_k = below.max(above);
    if outside_k <= 0.0 {
        return None;
    }
    let resolution = range.resolution.as_ref().map(overwinter_quantity::AnyQuantity::si);
    let full_scale = Some(range.limit.si());
    let (limit, by) = match (&range.accuracy_per_kelvin, &range.accuracy) {
        (Some(each), _) => (each.limit(value, resolution, full_scale)?, "as its document states"),
        (None, Some(whole)) => {
            (0.1 * whole.limit(value, resolution, full_scale)?, "a tenth of its accuracy assumed")
        }
        (None, None) => return None,
    };
    Some((
        Influence {
            name: format!("{instrument} outside its temperatures"),
            deviation: Distribution::Uniform { centre: 0.0, half_width: outside_k },
            sensitivity: limit.abs(),
            shared_in_session: true,
        },
        format!("{} K outside, {by} for each", significant(outside_k, 2)),
    ))
}
