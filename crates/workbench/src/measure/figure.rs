//! A figure with everything behind it: every reading of a quantity with its budget, faults and history, and the difference
//! of two readings with what they share.

use overwinter_documents::Choice;
use overwinter_documents::types::session::{Reading, Session, Source as Fed, What};
use overwinter_figures::bill::{Resolution, resolution};
use overwinter_figures::history::Status;
use overwinter_quantity::AnyQuantity;
use overwinter_statistics::Figure;
use serde::Serialize;

use super::printed::{BudgetLine, FaultLine, Printed, budget, fault, printed, value};
use crate::bench::Bench;
use crate::question::QuestionError;
use crate::readings::{Measured, measure};
use crate::report::SCHEMA_VERSION;
use crate::resolve::reference;

/// One reading with what follows from it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingReport {
    /// `SESSION#N`, the name it is asked for by.
    pub key: String,
    /// What it is of.
    pub what: String,
    /// Date.
    pub date: String,
    /// Who.
    pub who: Option<String>,
    /// Kind: measured, or invented for the demo.
    pub kind: String,
    /// As typed.
    pub typed: Vec<String>,
    /// Instrument and range.
    pub instrument: Option<String>,
    /// Conditions in words; what was not written down is missing here.
    pub conditions: Vec<String>,
    /// Conditions that were not written down.
    pub not_written: Vec<&'static str>,
    /// Whether it counts.
    pub standing: Standing,
    /// The reading that stands for its subject in the table.
    pub stands: bool,
    /// The figure; `None` where a fault forbids one.
    pub figure: Option<Printed>,
    /// Who contributes what.
    pub budget: Vec<BudgetLine>,
    /// What is remarkable.
    pub faults: Vec<FaultLine>,
}

/// Whether a figure counts.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// It counts.
    Counts,
    /// Replaced by a later session.
    Superseded {
        /// Since when.
        since: String,
        /// Why.
        why: String,
        /// The session that replaces it.
        by: Option<String>,
    },
    /// Taken back.
    Retracted {
        /// Since when.
        since: String,
        /// Why.
        why: String,
    },
}

/// One step of a figure's history.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HistoryLine {
    /// Date.
    pub date: String,
    /// Session.
    pub session: String,
    /// The figure then.
    pub text: String,
    /// What became of it.
    pub became: String,
}

/// Two readings held against each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DifferenceReport {
    /// First minus second.
    pub figure: Printed,
    /// As it may be printed: a figure, or "not resolved, below …".
    pub text: String,
    /// Correlation of the two; `None` where one has no uncertainty.
    pub correlation: Option<f64>,
    /// What both share, by name.
    pub shared: Vec<String>,
    /// Uncertainty if they had been taken as independent, SI.
    pub if_independent: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FigureReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Specimen, module, cell, session or reading asked for, one or two.
    pub subjects: Vec<String>,
    /// What was asked for; `None` for everything.
    pub what: Option<String>,
    /// Readings, newest first.
    pub readings: Vec<ReadingReport>,
    /// History, oldest first; only for one quantity of one subject.
    pub history: Vec<HistoryLine>,
    /// Where two were named.
    pub difference: Option<DifferenceReport>,
    /// What could not be done.
    pub notes: Vec<String>,
}

/// All readings that a name means: of a specimen, module or cell, of a session, or one reading `SESSION#N`.
fn readings_of<'a>(bench: &'a Bench, name: &str) -> Result<Vec<Measured<'a>>, QuestionError> {
    let all = |session: &'a Session| -> Vec<Measured<'a>> {
        session.readings.iter().map(|r| measure(bench, session, r)).collect()
    };
    if let Some(session) = bench.session(name) {
        return Ok(all(session));
    }
    if let Some((session, number)) = name.rsplit_once('#')
        && let Some(session) = bench.session(session.trim())
    {
        let number: usize = number.trim().parse().unwrap_or(0);
        let reading = number.checked_sub(1).and_then(|at| session.readings.get(at));
        return reading.map(|r| vec![measure(bench, session, r)]).ok_or_else(|| {
            QuestionError::NoSuch {
                kind: "reading",
                name: name.to_owned(),
                help: format!("the session has readings #1 to #{}", session.readings.len()),
            }
        });
    }
    let mut sessions: Vec<&Session> = bench
        .sessions()
        .filter(|s| {
            [&s.specimen, &s.module, &s.cell].into_iter().any(|n| n.as_deref() == Some(name))
        })
        .collect();
    sessions.sort_by(|a, b| b.date.cmp(&a.date).then_with(|| a.name.cmp(&b.name)));
    if sessions.is_empty() {
        let folder = bench.folder();
        if let Some((board, specimen)) = bench.specimen(name) {
            let help = match &specimen.dead {
                Some(death) => format!(
                    "{name} is dead since {}: its electrical figures stay empty (see `lost`)",
                    death.since
                ),
                None => format!("nothing was read of it yet; begin with: guide {name}"),
            };
            let _ = board;
            return Err(QuestionError::NoSuch { kind: "reading of", name: name.to_owned(), help });
        }
        if let Some(board) = bench.board(name) {
            let ids: Vec<&str> = board.specimens.iter().map(|s| s.id.as_str()).collect();
            return Err(QuestionError::NoSuch {
                kind: "specimen",
                name: name.to_owned(),
                help: format!("that is a board; its specimens are: {}", ids.join(", ")),
            });
        }
        let known = folder
            .specimens()
            .map(|(_, s)| s.id.as_str())
            .chain(folder.modules.names())
            .chain(folder.sessions.names());
        return Err(QuestionError::no_such("specimen, module, cell or session", name, known));
    }
    Ok(sessions.into_iter().flat_map(all).collect())
}

fn counts(m: &Measured<'_>) -> bool {
    m.session.retracted.is_none() && m.reading.retracted.is_none()
}

fn standing(m: &Measured<'_>) -> Standing {
    match m.reading.retracted.as_ref().or(m.session.retracted.as_ref()) {
        None => Standing::Counts,
        Some(r) if r.superseded_by.is_some() => Standing::Superseded {
            since: r.date.to_string(),
            why: r.why.clone(),
            by: r.superseded_by.clone(),
        },
        Some(r) => Standing::Retracted { since: r.date.to_string(), why: r.why.clone() },
    }
}

/// The number of a reading in its session, from 1.
fn number(m: &Measured<'_>) -> usize {
    m.session
        .readings
        .iter()
        .position(|r| std::ptr::eq::<Reading>(r, m.reading))
        .map_or(0, |at| at + 1)
}

/// The reading that stands for its subject: fed from the battery contacts (or not stated), near 3.8 V and room temperature.
fn standing_reading<'a, 'b>(read: &'b [Measured<'a>]) -> Option<&'b Measured<'a>> {
    let good = |m: &&Measured<'_>| counts(m) && m.figure.is_some();
    let battery: Vec<Measured<'a>> = read
        .iter()
        .filter(good)
        .filter(|m| m.fed.is_none_or(|f| f == Fed::Battery))
        .cloned()
        .collect();
    let pool =
        if battery.is_empty() { read.iter().filter(good).cloned().collect() } else { battery };
    let found = reference(&pool)?;
    let (session, number) = (found.session.name.clone(), number(found));
    read.iter().find(|m| m.session.name == session && self::number(m) == number)
}

fn report(m: &Measured<'_>, stands: bool) -> ReadingReport {
    let what = m.reading.what;
    let typed: Vec<String> = if m.reading.repeats.is_empty() {
        m.reading.value.iter().map(|v| v.text().to_owned()).collect()
    } else {
        m.reading.repeats.iter().map(|v| v.text().to_owned()).collect()
    };
    let instrument = m.reading.instrument.as_ref().or(m.session.instrument.as_ref());
    let mut conditions = Vec::new();
    let mut not_written = Vec::new();
    let mut condition = |name: &'static str, text: Option<String>| match text {
        Some(text) => conditions.push(text),
        None => not_written.push(name),
    };
    condition("supply voltage", m.supply_v.map(crate::text::voltage));
    condition("source", m.fed.map(|f| f.word().to_owned()));
    condition("temperature", m.celsius.map(|c| format!("{} °C", crate::text::significant(c, 3))));
    condition("settling time", m.reading.settled_for.as_ref().map(|d| format!("settled for {d}")));
    condition("averaging window", m.reading.window.as_ref().map(|d| format!("window {d}")));
    condition(
        "firmware",
        m.session.firmware.as_ref().map(|f| {
            let parts = [&f.version, &f.hash, &f.state];
            parts.into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join(", ")
        }),
    );
    let zeros = [("zero before", &m.reading.zero_before), ("zero after", &m.reading.zero_after)];
    for (name, zero) in zeros {
        condition(name, zero.as_ref().map(|z: &AnyQuantity| format!("{name} {}", z.text())));
    }
    let mut notes: Vec<String> = Vec::new();
    notes.extend(m.reading.part.as_ref().map(|p| format!("part: {p}")));
    notes.extend(m.reading.load.as_ref().map(|l| format!("load {}", l.text())));
    notes.extend(m.reading.photo.as_ref().map(|p| format!("photo {p}")));
    notes.extend(m.reading.note.clone());
    conditions.extend(notes);
    ReadingReport {
        key: format!("{}#{}", m.session.name, number(m)),
        what: what.word().to_owned(),
        date: m.session.date.to_string(),
        who: m.session.who.clone(),
        kind: m.origin().kind,
        typed,
        instrument: instrument.map(|name| match &m.reading.range {
            Some(range) => format!("{name}, range {range}"),
            None => format!("{name}, range not written down"),
        }),
        conditions,
        not_written,
        standing: standing(m),
        stands,
        figure: m.figure.as_ref().map(|f| printed(what, f)),
        budget: m.figure.as_ref().map_or_else(Vec::new, |f| budget(what, f, &m.rests_on)),
        faults: m.faults.iter().map(|f| fault(what, f)).collect(),
    }
}

/// One entry per session, oldest first: what was published and what became of it.
fn history(read: &[Measured<'_>]) -> Vec<HistoryLine> {
    let mut by_session: Vec<Vec<&Measured<'_>>> = Vec::new();
    for m in read {
        match by_session.iter_mut().find(|s| s[0].session.name == m.session.name) {
            Some(known) => known.push(m),
            None => by_session.push(vec![m]),
        }
    }
    by_session.sort_by(|a, b| {
        let key = |s: &[&Measured<'_>]| (s[0].session.date, s[0].session.name.clone());
        key(a).cmp(&key(b))
    });
    let chosen: Vec<&Measured<'_>> = by_session
        .iter()
        .filter_map(|s| {
            let battery = |m: &&&Measured<'_>| m.fed.is_none_or(|f| f == Fed::Battery);
            s.iter()
                .filter(battery)
                .min_by(|a, b| {
                    let off = |m: &Measured<'_>| (m.supply_v.unwrap_or(3.8) - 3.8).abs();
                    off(a).total_cmp(&off(b))
                })
                .or(s.first())
                .copied()
        })
        .collect();
    // What stands is the newest under the usual conditions; a warm reading does not replace a cool one.
    let usual = |m: &&Measured<'_>| counts(m) && m.celsius.is_none_or(|c| (c - 22.0).abs() < 10.0);
    let last = chosen.iter().rposition(usual).or_else(|| chosen.iter().rposition(|m| counts(m)));
    chosen
        .iter()
        .enumerate()
        .map(|(at, m)| {
            let status = match standing(m) {
                Standing::Superseded { why, .. } => Status::Superseded { why },
                Standing::Retracted { why, .. } => Status::Retracted { why },
                Standing::Counts
                    if Some(at) == last || other_conditions(m, last.map(|l| chosen[l])) =>
                {
                    Status::Current
                }
                Standing::Counts => Status::Superseded { why: "read again later".to_owned() },
            };
            let what = m.reading.what;
            HistoryLine {
                date: m.session.date.to_string(),
                session: m.session.name.clone(),
                text: m.figure.as_ref().map_or_else(
                    || "no figure: see its faults".to_owned(),
                    |f| printed(what, f).text,
                ),
                became: match status {
                    Status::Current if Some(at) == last => "stands".to_owned(),
                    Status::Current => "counts, under other conditions".to_owned(),
                    Status::Superseded { why } => format!("superseded: {why}"),
                    Status::Retracted { why } => format!("retracted: {why}"),
                },
            }
        })
        .collect()
}

/// Another temperature or supply than the reading that stands: neither replaces the other.
fn other_conditions(m: &Measured<'_>, standing: Option<&Measured<'_>>) -> bool {
    let Some(standing) = standing else { return false };
    let differ =
        |a: Option<f64>, b: Option<f64>, by: f64| a.zip(b).is_some_and(|(a, b)| (a - b).abs() > by);
    differ(m.celsius, standing.celsius, 5.0) || differ(m.supply_v, standing.supply_v, 0.1)
}

/// The difference of two figures, first minus second; a difference from itself is exactly zero.
pub fn difference(what: What, first: &Figure, second: &Figure) -> DifferenceReport {
    let figure = first - second;
    let names =
        |f: &Figure| -> Vec<String> { f.sources().map(|(s, _)| s.id.name().to_owned()).collect() };
    let other = names(second);
    let text = match resolution(&if figure.value() < 0.0 { &figure * -1.0 } else { figure.clone() })
    {
        Resolution::BelowLimit { limit } if figure.standard_uncertainty() > 0.0 => {
            format!("not resolved, below {}", value(what, limit))
        }
        _ => printed(what, &figure).text,
    };
    DifferenceReport {
        text,
        correlation: first.correlation(second),
        shared: names(first).into_iter().filter(|n| other.contains(n)).collect(),
        if_independent: libm::hypot(first.standard_uncertainty(), second.standard_uncertainty()),
        figure: printed(what, &figure),
    }
}

/// Readings with their budgets; with two subjects also the difference of the readings that stand for them.
///
/// # Errors
/// A name that means nothing here, or nothing read of it.
pub fn figure(
    bench: &Bench,
    subjects: &[String],
    what: Option<What>,
) -> Result<FigureReport, QuestionError> {
    let mut notes = Vec::new();
    let mut reports = Vec::new();
    let mut standing = Vec::new();
    let mut lines = Vec::new();
    for subject in subjects {
        let mut read = readings_of(bench, subject)?;
        if let Some(what) = what {
            read.retain(|m| m.reading.what == what);
            if read.is_empty() {
                notes.push(format!("{subject}: no {} was read", what.word()));
            }
        }
        // The reading that stands, per quantity.
        let mut quantities: Vec<What> = Vec::new();
        for m in &read {
            if !quantities.contains(&m.reading.what) {
                quantities.push(m.reading.what);
            }
        }
        let mut stands: Vec<(String, usize)> = Vec::new();
        for quantity in &quantities {
            let of: Vec<Measured<'_>> =
                read.iter().filter(|m| m.reading.what == *quantity).cloned().collect();
            if let Some(found) = standing_reading(&of) {
                stands.push((found.session.name.clone(), number(found)));
                standing.push((subject.clone(), *quantity, found.figure.clone()));
            }
        }
        if let ([_], [_]) = (subjects, quantities.as_slice()) {
            lines = history(&read);
        }
        reports.extend(
            read.iter().map(|m| report(m, stands.contains(&(m.session.name.clone(), number(m))))),
        );
    }
    let difference = match subjects {
        [first, second] => {
            let pick = |name: &String| {
                let of = standing.iter().filter(|(s, ..)| s == name);
                let mut quantities: Vec<_> = of.collect();
                quantities.sort_by_key(|(_, w, _)| *w != What::SleepCurrent);
                quantities.first().map(|(_, w, f)| (*w, f.clone()))
            };
            match (pick(first), pick(second)) {
                (Some((a, Some(x))), Some((b, Some(y)))) if a.dimension() == b.dimension() => {
                    Some(self::difference(a, &x, &y))
                }
                (Some((a, _)), Some((b, _))) => {
                    notes.push(format!(
                        "no difference: {} and {} cannot be subtracted",
                        a.word(),
                        b.word()
                    ));
                    None
                }
                _ => {
                    notes.push("no difference: one of the two has no figure".to_owned());
                    None
                }
            }
        }
        _ => None,
    };
    Ok(FigureReport {
        schema_version: SCHEMA_VERSION,
        subjects: subjects.to_vec(),
        what: what.map(|w| w.word().to_owned()),
        readings: reports,
        history: lines,
        difference,
        notes,
    })
}
