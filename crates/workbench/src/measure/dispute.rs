//! Somebody else's figure against ours: does it disagree, and what would explain it.

use overwinter_documents::Choice;
use overwinter_documents::types::session::{Claim as ClaimDocument, Reading, Source as Fed, What};
use overwinter_figures::disagreement::{
    BoardKnowledge, Cause, Claim, Conditions, Disagreement, Estimate, Feed, Standing, Verdict,
    compare,
};
use overwinter_figures::specimens::SpreadPrior;
use overwinter_figures::temperature::split;
use overwinter_statistics::Figure;
use serde::Serialize;

use super::printed::{Printed, printed, value};
use super::sweep::points_of;
use crate::bench::Bench;
use crate::bill::bill;
use crate::facts::Shown;
use crate::question::QuestionError;
use crate::readings::{self, Measured};
use crate::report::SCHEMA_VERSION;
use crate::resolve::{ResolveError, reference};
use crate::text::{percent, significant, voltage};

/// A reason for the difference.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReasonLine {
    /// What.
    pub cause: String,
    /// How firm.
    pub standing: Firmness,
    /// What it adds to theirs minus ours, SI; `None` where it cannot be computed.
    pub effect: Option<f64>,
    /// Its standard uncertainty, SI.
    pub effect_u: Option<f64>,
    /// Share of the gap it explains.
    pub share: Option<f64>,
    /// In words, with the question to ask where a condition is unknown.
    pub text: String,
}

/// How firm a reason is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Firmness {
    /// Both conditions are known and differ.
    Differs,
    /// A condition is unknown on one side: ask.
    IfDifferent,
    /// Differs, but no number can be put on it.
    NotQuantified,
}

/// What follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// They agree as they stand.
    Agree,
    /// Both right under their own conditions.
    BothRight,
    /// Both right if the conditions asked about differ.
    BothRightIf,
    /// Nothing computed explains it.
    Unexplained,
}

/// One figure of the claim against ours.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DisputeLine {
    /// What.
    pub what: String,
    /// Ours.
    pub ours: Printed,
    /// The reading that ours is.
    pub our_session: String,
    /// Theirs.
    pub theirs: Printed,
    /// Theirs minus ours, SI.
    pub gap: f64,
    /// Normalised error; `None` when neither has an uncertainty.
    pub normalised_error: Option<f64>,
    /// Reasons, the best explanation first.
    pub reasons: Vec<ReasonLine>,
    /// What follows.
    pub outcome: Outcome,
    /// The same in words, ready for a reply.
    pub verdict: String,
    /// Conditions they did not tell.
    pub not_told: Vec<&'static str>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DisputeReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The claim.
    pub claim: String,
    /// Who.
    pub who: Option<String>,
    /// Board.
    pub board: String,
    /// Our specimen.
    pub specimen: String,
    /// Each figure of the claim that we have read as well.
    pub figures: Vec<DisputeLine>,
    /// What could not be compared.
    pub notes: Vec<String>,
}

/// Holds a claim against what was read here.
///
/// # Errors
/// No such claim or board; nothing read of it here.
pub fn dispute(bench: &Bench, claim: &str) -> Result<DisputeReport, QuestionError> {
    let found = bench.claims().find(|c| c.name == claim).ok_or_else(|| {
        // A board's name is enough where there is one claim on it.
        let of_board: Vec<&str> =
            bench.claims().filter(|c| c.board == claim).map(|c| c.name.as_str()).collect();
        match of_board.as_slice() {
            [] => QuestionError::no_such("claim", claim, bench.claims().map(|c| c.name.as_str())),
            names => QuestionError::NoSuch {
                kind: "claim",
                name: claim.to_owned(),
                help: format!("claims on that board: {}", names.join(", ")),
            },
        }
    });
    let found = match found {
        Ok(found) => found,
        Err(error) => {
            let mut of_board = bench.claims().filter(|c| c.board == claim);
            match (of_board.next(), of_board.next()) {
                (Some(only), None) => only,
                _ => return Err(error),
            }
        }
    };
    let board = bench.board(&found.board).ok_or_else(|| {
        QuestionError::no_such("board", &found.board, bench.boards().map(|b| b.name.as_str()))
    })?;
    let shown = Shown::new(bench, board, None);
    let specimen = super::sweep::living(&shown, &board.name)?;
    let mut notes = Vec::new();
    let mut figures = Vec::new();
    for reading in &found.readings {
        match line(&shown, found, reading) {
            Some(line) => figures.push(line),
            None => notes.push(format!(
                "{}: not read here, or without a value there; nothing to compare",
                reading.what.word()
            )),
        }
    }
    if figures.is_empty() {
        return Err(QuestionError::Resolve(ResolveError::Missing {
            subject: format!("claim {}", found.name),
            what: "a figure that was read here as well".to_owned(),
            help: format!("read it on {} (see: guide {})", specimen.id, specimen.id),
        }));
    }
    Ok(DisputeReport {
        schema_version: SCHEMA_VERSION,
        claim: found.name.clone(),
        who: found.who.clone(),
        board: board.name.clone(),
        specimen: specimen.id.clone(),
        figures,
        notes,
    })
}

fn line(shown: &Shown<'_>, claim: &ClaimDocument, theirs: &Reading) -> Option<DisputeLine> {
    let what = theirs.what;
    let specimen = shown.specimen?;
    let read: Vec<Measured<'_>> = readings::of_specimen(shown.bench, &specimen.id, what)
        .into_iter()
        .filter(|m| m.figure.is_some())
        .filter(|m| match theirs.source {
            Some(fed) => m.fed.is_none_or(|f| f == fed),
            None => true,
        })
        .collect();
    let all: Vec<Measured<'_>> = if read.is_empty() {
        readings::of_specimen(shown.bench, &specimen.id, what)
            .into_iter()
            .filter(|m| m.figure.is_some())
            .collect()
    } else {
        read
    };
    let ours = reference(&all)?;
    let our_figure = ours.figure.clone()?;
    let their_figure = claimed(shown, claim, theirs)?;
    let first = Claim {
        value_a: our_figure.value(),
        standard_uncertainty_a: our_figure.standard_uncertainty(),
        conditions: our_conditions(shown, ours),
    };
    let second = Claim {
        value_a: their_figure.value(),
        standard_uncertainty_a: their_figure.standard_uncertainty(),
        conditions: their_conditions(shown, claim, theirs),
    };
    let (knowledge, names) = knowledge(shown, what, ours);
    let verdict = compare(&first, &second, &knowledge);
    let reasons = verdict
        .reasons
        .iter()
        .map(|r| {
            let cause = cause_words(r.cause, &names);
            let text = reason_text(r, &cause, what, &first.conditions, &second.conditions);
            ReasonLine {
                standing: match r.standing {
                    Standing::Differs => Firmness::Differs,
                    Standing::IfDifferent => Firmness::IfDifferent,
                    Standing::NotQuantified => Firmness::NotQuantified,
                },
                effect: r.effect_a.map(|e| e.value),
                effect_u: r.effect_a.map(|e| e.u),
                share: r.share,
                cause,
                text,
            }
        })
        .collect();
    let (outcome, words) = verdict_words(&verdict, &names, shown);
    Some(DisputeLine {
        what: what.word().to_owned(),
        ours: printed(what, &our_figure),
        our_session: ours.session.name.clone(),
        theirs: printed(what, &their_figure),
        gap: verdict.gap_a,
        normalised_error: verdict.normalised_error,
        reasons,
        outcome,
        verdict: words,
        not_told: not_told(claim, theirs),
    })
}

/// Their figure: the spread they state, else their instrument's where it is one of the folder, else nothing.
fn claimed(shown: &Shown<'_>, claim: &ClaimDocument, reading: &Reading) -> Option<Figure> {
    let mean = if reading.repeats.is_empty() {
        reading.value.as_ref()?.si()
    } else {
        let n = reading.repeats.len() as f64;
        reading.repeats.iter().map(overwinter_quantity::AnyQuantity::si).sum::<f64>() / n
    };
    let name = format!("claim {}", claim.name);
    let stated = reading.value.as_ref().and_then(|v| readings::spread_source(&name, v.spread()));
    if let Some(source) = stated {
        return Some(Figure::with_source(mean, source));
    }
    let range = reading.range.as_deref();
    let instrument = reading.instrument.as_deref().or(claim.instrument.as_deref());
    let found = instrument
        .map(|i| shown.bench.ranges(i))
        .unwrap_or_default()
        .iter()
        .find(|r| Some(r.name.as_str()) == range);
    let limit = found.and_then(|r| {
        let resolution = r.resolution.as_ref().map(overwinter_quantity::AnyQuantity::si);
        r.accuracy.as_ref()?.limit(mean, resolution, Some(r.limit.si()))
    });
    Some(match limit {
        Some(limit) => {
            Figure::with_source(mean, overwinter_statistics::Source::rectangular(&name, limit))
        }
        None => Figure::exact(mean),
    })
}

fn feed(fed: Option<Fed>) -> Option<Feed> {
    fed.map(|f| match f {
        Fed::Usb | Fed::UsbFullCell => Feed::Usb,
        Fed::Battery | Fed::Panel | Fed::Rail => Feed::Battery,
    })
}

fn our_conditions(shown: &Shown<'_>, m: &Measured<'_>) -> Conditions {
    let instrument = m.reading.instrument.as_deref().or(m.session.instrument.as_deref());
    Conditions {
        voltage_v: m.supply_v,
        temperature_c: m.celsius,
        feed: feed(m.fed),
        led_lit: None,
        settled_for_s: m.reading.settled_for.as_ref().map(|d| d.si()),
        meter_ohm: meter_ohm(shown.bench, instrument, m.reading.range.as_deref()),
        revision: shown.specimen.and_then(|s| s.revision.clone()),
        firmware: m.session.firmware.as_ref().and_then(|f| f.hash.clone().or(f.version.clone())),
        specimen: shown.specimen.map(|s| s.id.clone()),
    }
}

fn their_conditions(shown: &Shown<'_>, claim: &ClaimDocument, reading: &Reading) -> Conditions {
    let instrument = reading.instrument.as_deref().or(claim.instrument.as_deref());
    let celsius = reading.temperature.as_ref().or(claim.temperature.as_ref());
    Conditions {
        voltage_v: reading.supply.as_ref().map(|v| v.si()),
        temperature_c: celsius.map(overwinter_quantity::Temperature::celsius),
        feed: feed(reading.source),
        led_lit: None,
        settled_for_s: reading.settled_for.as_ref().map(|d| d.si()),
        meter_ohm: meter_ohm(shown.bench, instrument, reading.range.as_deref()),
        revision: claim.revision.clone(),
        firmware: claim.firmware.as_ref().and_then(|f| f.hash.clone().or(f.version.clone())),
        specimen: None,
    }
}

fn meter_ohm(bench: &Bench, instrument: Option<&str>, range: Option<&str>) -> Option<f64> {
    let found = bench.ranges(instrument?).iter().find(|r| Some(r.name.as_str()) == range)?;
    match (&found.burden, &found.burden_voltage) {
        (Some(ohm), _) => Some(ohm.si()),
        (None, Some(volts)) => Some(volts.si() / found.limit.si()),
        (None, None) => None,
    }
}

/// What is known of the board and bears on the difference, with the names of its parts.
fn knowledge(shown: &Shown<'_>, what: What, ours: &Measured<'_>) -> (BoardKnowledge, Vec<String>) {
    let mut known = BoardKnowledge {
        specimen_cv: SpreadPrior::default().coefficient_of_variation,
        ..BoardKnowledge::default()
    };
    let mut names = Vec::new();
    let Some(specimen) = shown.specimen.filter(|_| what == What::SleepCurrent) else {
        return (known, names);
    };
    if let Some(points) = points_of(shown.bench, &specimen.id) {
        // Between the two voltages round the reference, above any dropout.
        let high: Vec<_> = points.iter().filter(|p| p.volts >= 3.45).collect();
        if let (Some(first), Some(last)) = (high.first(), high.last())
            && first.volts > last.volts
        {
            let rise = &first.figure - &last.figure;
            let span = first.volts - last.volts;
            known.slope_a_per_v = Some(Estimate {
                value: rise.value() / span,
                u: rise.standard_uncertainty() / span,
            });
        }
    }
    let all: Vec<Measured<'_>> = readings::of_specimen(shown.bench, &specimen.id, what)
        .into_iter()
        .filter(|m| m.figure.is_some() && m.fed.is_none_or(|f| f == Fed::Battery))
        .collect();
    let v0 = ours.supply_v.unwrap_or(3.8);
    let other = all.iter().filter(|m| (m.supply_v.unwrap_or(v0) - v0).abs() < 0.06).find_map(|m| {
        let (a, b) = (ours.celsius?, m.celsius?);
        split(ours.figure.as_ref()?, a, m.figure.as_ref()?, b, 10.0)
    });
    if let Some(found) = other {
        known.leakage_a = Some(Estimate {
            value: found.leakage_a.value(),
            u: found.leakage_a.standard_uncertainty(),
        });
    }
    let on_usb = shown.reading(What::SleepCurrent, &[Fed::Usb, Fed::UsbFullCell]);
    if let (Some(usb), Some(own)) =
        (on_usb.filter(|_| ours.fed == Some(Fed::Battery)), &ours.figure)
    {
        let d = own - &usb.figure;
        known.battery_more_than_usb_a =
            Some(Estimate { value: d.value(), u: d.standard_uncertainty() });
    }
    if let Ok(bill) = bill(shown.bench, shown.board, Some(&specimen.id)) {
        for line in &bill.lines {
            // What every revision has is no reason.
            if line.name == "regulator" || line.name.starts_with("module ") {
                continue;
            }
            names.push(line.name.clone());
            known.parts_a.push(Estimate { value: line.current_a, u: line.standard_uncertainty_a });
        }
    }
    (known, names)
}

fn cause_words(cause: Cause, parts: &[String]) -> String {
    match cause {
        Cause::Voltage => "supply voltage".to_owned(),
        Cause::Temperature => "temperature of the leakage".to_owned(),
        Cause::Feed => "fed from USB or from the battery".to_owned(),
        Cause::Led => "an LED lit".to_owned(),
        Cause::Settling => "not settled".to_owned(),
        Cause::Burden => "voltage lost in the meter".to_owned(),
        Cause::Specimen => "spread between specimens".to_owned(),
        Cause::Part(i) => format!(
            "the {}: missing, suspended or fed from elsewhere on the other revision",
            parts.get(i).map_or("part", String::as_str)
        ),
        Cause::Revision => "another revision".to_owned(),
        Cause::Firmware => "another firmware or sleep mode".to_owned(),
    }
}

fn reason_text(
    r: &overwinter_figures::disagreement::Reason,
    cause: &str,
    what: What,
    ours: &Conditions,
    theirs: &Conditions,
) -> String {
    let pair = match r.cause {
        Cause::Voltage => ours
            .voltage_v
            .zip(theirs.voltage_v)
            .map(|(a, b)| format!(" ({} here, {} there)", voltage(a), voltage(b))),
        Cause::Temperature => ours.temperature_c.zip(theirs.temperature_c).map(|(a, b)| {
            format!(" ({} °C here, {} °C there)", significant(a, 3), significant(b, 3))
        }),
        Cause::Revision | Cause::Part(_) => Some(format!(
            " ({} here, {} there)",
            ours.revision.as_deref().unwrap_or("not written down"),
            theirs.revision.as_deref().unwrap_or("not told")
        )),
        Cause::Firmware => Some(format!(
            " ({} here, {} there)",
            ours.firmware.as_deref().unwrap_or("not written down"),
            theirs.firmware.as_deref().unwrap_or("not told")
        )),
        _ => None,
    }
    .unwrap_or_default();
    let effect = match (r.effect_a, r.cause) {
        (Some(e), Cause::Specimen) => {
            format!("two specimens differ by ± {} (k = 2)", value(what, 2.0 * e.u))
        }
        (Some(e), _) => super::printed::text(
            what,
            e.value,
            Some(e.u),
            overwinter_quantity::Notation::Expanded { k: 2.0 },
        ),
        (None, _) => "no number can be put on it".to_owned(),
    };
    let share = r.share.map_or(String::new(), |s| match s {
        s if s < 0.0 => ", makes the gap larger".to_owned(),
        s => format!(", {} of the gap", percent_of(s)),
    });
    let ask = match r.standing {
        Standing::IfDifferent => "; ask",
        Standing::Differs | Standing::NotQuantified => "",
    };
    format!("{cause}{pair}: {effect}{share}{ask}")
}

/// Shares above 1 are told as they are.
fn percent_of(share: f64) -> String {
    if share > 1.0 { format!("{:.0} %", 100.0 * share) } else { percent(share) }
}

fn verdict_words(d: &Disagreement, parts: &[String], shown: &Shown<'_>) -> (Outcome, String) {
    let en = d.normalised_error.map_or_else(
        || "neither states an uncertainty, so no E_n".to_owned(),
        |e| format!("E_n = {}", significant(e, 2)),
    );
    let list = |causes: &[Cause]| {
        causes.iter().map(|c| cause_words(*c, parts)).collect::<Vec<_>>().join("; and ")
    };
    match &d.verdict {
        Verdict::Agree => (Outcome::Agree, format!("The two agree: {en} (≤ 1 agrees).")),
        Verdict::BothRight { causes, remaining } => (
            Outcome::BothRight,
            format!(
                "The disagreement is real ({en}, ≤ 1 agrees) and explained: you are both right. {}. Allowing for it leaves E_n = {}.",
                list(causes),
                significant(*remaining, 2)
            ),
        ),
        Verdict::BothRightIf { causes, remaining } => {
            let mut words = format!(
                "The disagreement is real: {en} (≤ 1 agrees). You are both right if this differs: {}. That would leave E_n = {}. Ask.",
                list(causes),
                significant(*remaining, 2)
            );
            if causes.iter().any(|c| matches!(c, Cause::Part(_))) {
                words.push_str(&revisions(shown));
            }
            (Outcome::BothRightIf, words)
        }
        Verdict::Unexplained { remaining } => (
            Outcome::Unexplained,
            format!(
                "The disagreement is real: {en} (≤ 1 agrees), and nothing computed explains it; allowing for the known differences leaves E_n = {}.",
                significant(*remaining, 2)
            ),
        ),
    }
}

/// What the board's document says of its revisions.
fn revisions(shown: &Shown<'_>) -> String {
    let known: Vec<String> = shown
        .board
        .revisions
        .iter()
        .filter_map(|r| r.about.as_ref().map(|about| format!("{}: {about}", r.name)))
        .collect();
    if known.is_empty() {
        String::new()
    } else {
        format!(" Known revisions: {}.", known.join("; "))
    }
}

fn not_told(claim: &ClaimDocument, reading: &Reading) -> Vec<&'static str> {
    let mut missing = Vec::new();
    let mut ask = |there: bool, what| {
        if !there {
            missing.push(what);
        }
    };
    ask(claim.revision.is_some(), "revision");
    ask(
        claim.firmware.as_ref().is_some_and(|f| f.hash.is_some() || f.version.is_some()),
        "firmware version",
    );
    ask(claim.temperature.is_some() || reading.temperature.is_some(), "temperature");
    ask(reading.supply.is_some(), "supply voltage at the board");
    ask(reading.source.is_some(), "what fed it");
    ask(reading.settled_for.is_some(), "settling time");
    ask(reading.range.is_some(), "range in use");
    ask(reading.window.is_some(), "averaging window");
    ask(reading.zero_before.is_some(), "zero");
    missing
}
