//! What the sessions of one specimen say about the bench protocol: which steps have a result, and what is missing in them.

use overwinter_documents::types::board::{Board, ContactSide, Specimen};
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::project::Project;
use overwinter_documents::types::session::{
    Edge, Polarity, Session, Source as Fed, SourceEvent, What,
};
use overwinter_figures::polarity::{Contact, PolarityCheck, positive_contact};
use overwinter_figures::protocol::{Need, Record, STEPS, StepId};
use overwinter_quantity::{AnyQuantity, Spread};

use crate::bench::Bench;
use crate::traits::{LOW_CELL_V, TRAITS, sight};

/// A step's state as the sessions tell it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Seen {
    /// Sessions that hold a result.
    pub sessions: Vec<String>,
    /// What is still missing in it although there is a result.
    pub missing: Vec<String>,
    /// The result is the cell's own: this specimen had no part in it.
    pub of_the_cell_alone: bool,
}

/// The record of a specimen with the remarks per step.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// For the guide.
    pub record: Record,
    /// Per step, in the protocol's order.
    pub steps: Vec<Seen>,
    /// Traits by eye that nobody knows yet.
    pub unknown_traits: Vec<&'static str>,
}

/// Traits that later steps of the protocol find out; the eye cannot.
const BY_LATER_STEPS: [&str; 5] =
    ["plus", "bridge-feed", "protection", "resets-removed", "resets-attached"];

/// Reads the record of a specimen; `cell` is the one meant to be connected.
pub fn record(bench: &Bench, board: &Board, specimen: &Specimen, cell: Option<&Cell>) -> Found {
    let sessions: Vec<&Session> = bench
        .sessions()
        .filter(|s| s.specimen.as_deref() == Some(specimen.id.as_str()) && s.retracted.is_none())
        .collect();
    let sighted = sight(bench, board, Some(specimen));
    let unknown_traits: Vec<&'static str> = TRAITS
        .iter()
        .filter(|t| !BY_LATER_STEPS.contains(&t.key))
        .filter(|t| (t.get)(&sighted.traits).word.is_none())
        .map(|t| t.title)
        .collect();
    let has_charger = match sighted.traits.charger.probability_of_yes() {
        Some(p) => Some(p >= 0.5),
        None => board.charger.as_ref().map(|_| true),
    };
    let steps: Vec<Seen> = STEPS
        .iter()
        .map(|step| match step.id {
            StepId::Arrival => arrival(specimen, &unknown_traits),
            StepId::Polarity => with(&sessions, |s| s.polarity.is_some()),
            StepId::FirstPower => with(&sessions, |s| {
                s.readings.iter().any(|r| {
                    matches!(r.what, What::IdleCurrent | What::SleepCurrent)
                        && fed(s, r) == Some(Fed::Battery)
                })
            }),
            StepId::IdleCurrent => read(&sessions, What::IdleCurrent, &[Fed::Battery]),
            StepId::SleepCurrent => sleep(&sessions),
            StepId::UsbCurrent => on_usb(&sessions),
            StepId::RideThrough => ride_through(&sessions),
            StepId::Charger => charger(&sessions),
            StepId::LowestVoltage => any(&sessions, What::LowestSurviving),
            StepId::ProtectionCutOff => cut_off(bench, &sessions, cell),
            StepId::NightBackflow => backflow(&sessions),
            StepId::Close => close(&sessions),
        })
        .collect();
    let mut polarity = PolarityCheck { has_charger, ..PolarityCheck::default() };
    for seen in sessions.iter().filter_map(|s| s.polarity.as_ref()) {
        take_polarity(&mut polarity, seen);
    }
    if has_charger == Some(false) {
        // Nothing gives 4.2 V: the trace to the regulator's input is what the specimen's own + side stands for.
        polarity.regulator_input_at = specimen.traits.positive_side.known().map(contact);
    }
    let lead = cell.and_then(|c| specimen.lead.as_ref().or(c.lead.as_ref()));
    if let Some(side) = lead.and_then(|l| l.positive_side.known()) {
        // The document of the cell, or of the specimen for a lead of its own, states which contact of its plug was measured positive, seen as the socket is.
        let volts = cell_volts(bench, cell);
        let (a, b) = match side {
            ContactSide::Left => (volts, -volts),
            ContactSide::Right => (-volts, volts),
        };
        (polarity.lead_at_a_v, polarity.lead_at_b_v) = (Some(a), Some(b));
    }
    let done = STEPS
        .iter()
        .zip(&steps)
        .filter(|(_, seen)| !seen.sessions.is_empty())
        .map(|(step, _)| step.id)
        // Observations that are incomplete or contradict each other are to be made again.
        .filter(|id| *id != StepId::Polarity || positive_contact(&polarity).is_ok())
        .collect();
    let died_at = specimen.dead.as_ref().map(|d| step_named(d.step.as_deref()));
    Found { record: Record { done, polarity, died_at }, steps, unknown_traits }
}

/// The step that words mean; unknown words count as first power, before which nothing electrical exists.
pub fn step_named(words: Option<&str>) -> StepId {
    let Some(words) = words.map(str::to_lowercase) else { return StepId::FirstPower };
    let keys = [
        ("polarity", StepId::Polarity),
        ("first power", StepId::FirstPower),
        ("idle", StepId::IdleCurrent),
        ("firmware", StepId::IdleCurrent),
        ("sleep", StepId::SleepCurrent),
        ("usb", StepId::UsbCurrent),
        ("ride", StepId::RideThrough),
        ("charg", StepId::Charger),
        ("lowest", StepId::LowestVoltage),
        ("cut-off", StepId::ProtectionCutOff),
        ("protection", StepId::ProtectionCutOff),
        ("backflow", StepId::NightBackflow),
    ];
    keys.iter().find(|(key, _)| words.contains(key)).map_or(StepId::FirstPower, |(_, id)| *id)
}

/// What a project asks of the protocol; without one, everything that can be published.
///
/// A board with a charger on a project's cell must suit it whether the project says so or not: the choice asks the same.
pub fn needs(project: Option<&Project>, has_charger: Option<bool>) -> Vec<Need> {
    let mut needs = vec![Need::RunTime, Need::Publication];
    if let Some(project) = project {
        let wanted = |seen: &overwinter_documents::Trait| seen.probability_of_yes() == Some(1.0);
        let traits = &project.needs.traits;
        if project.panel.is_some() {
            needs.push(Need::Panel);
        }
        if wanted(&traits.charger) || project.panel.is_some() || has_charger == Some(true) {
            needs.push(Need::Charging);
        }
        let resets = [&traits.resets_on_source_removed, &traits.resets_on_source_attached];
        if project.panel.is_some() || resets.iter().any(|seen| !seen.is_unknown()) {
            needs.push(Need::SourceComesAndGoes);
        }
        if wanted(&traits.deep_discharge_protection) {
            needs.push(Need::DeepDischarge);
        }
    }
    needs
}

/// The contact of the gate: A is the left one, seen into the socket's mouth with the component side up.
pub fn contact(side: ContactSide) -> Contact {
    match side {
        ContactSide::Left => Contact::A,
        ContactSide::Right => Contact::B,
    }
}

fn cell_volts(bench: &Bench, cell: Option<&Cell>) -> f64 {
    let figures = cell.map(|c| bench.cell_figures(c));
    let highest = figures.and_then(|f| f.ocv).and_then(|t| t.voltage.last().map(|v| v.si()));
    highest.unwrap_or(3.7)
}

fn take_polarity(check: &mut PolarityCheck, seen: &Polarity) {
    let ohms = |typed: &Option<AnyQuantity>| {
        typed.as_ref().map(|r| match r.spread() {
            Spread::AtLeast => f64::INFINITY,
            _ => r.si(),
        })
    };
    let volts = |typed: &Option<overwinter_quantity::Voltage>| typed.as_ref().map(|v| v.volts());
    // A later session only replaces what it measured.
    check.shield_to_a_ohm = ohms(&seen.ohms_left).or(check.shield_to_a_ohm);
    check.shield_to_b_ohm = ohms(&seen.ohms_right).or(check.shield_to_b_ohm);
    check.usb_in_a_v = volts(&seen.volts_left).or(check.usb_in_a_v);
    check.usb_in_b_v = volts(&seen.volts_right).or(check.usb_in_b_v);
}

type Reading = overwinter_documents::types::session::Reading;

fn fed(session: &Session, reading: &Reading) -> Option<Fed> {
    reading.source.or(session.source)
}

fn with(sessions: &[&Session], has: impl Fn(&Session) -> bool) -> Seen {
    let sessions = sessions.iter().filter(|s| has(s)).map(|s| s.name.clone()).collect();
    Seen { sessions, ..Seen::default() }
}

fn readings<'a>(sessions: &[&'a Session], what: What) -> Vec<(&'a Session, &'a Reading)> {
    sessions
        .iter()
        .flat_map(|s| s.readings.iter().map(|r| (*s, r)))
        .filter(|(_, r)| r.what == what && r.retracted.is_none())
        .collect()
}

fn any(sessions: &[&Session], what: What) -> Seen {
    with(sessions, |s| s.readings.iter().any(|r| r.what == what && r.retracted.is_none()))
}

fn read(sessions: &[&Session], what: What, sources: &[Fed]) -> Seen {
    with(sessions, |s| {
        s.readings.iter().any(|r| {
            r.what == what
                && r.retracted.is_none()
                && fed(s, r).is_none_or(|f| sources.contains(&f))
        })
    })
}

fn arrival(specimen: &Specimen, unknown: &[&'static str]) -> Seen {
    let mut seen = Seen { sessions: vec!["the board's document".to_owned()], ..Seen::default() };
    if unknown.len() + BY_LATER_STEPS.len() == TRAITS.len() {
        // A specimen with no trait at all was entered, not looked at.
        seen.sessions.clear();
    }
    if specimen.photo.is_none() {
        seen.missing.push("a photo (`photo` of the specimen)".to_owned());
    }
    if specimen.revision.is_none() {
        seen.missing.push("the revision mark".to_owned());
    }
    if !unknown.is_empty() {
        seen.missing.push(format!("traits still unknown: {}", unknown.join(", ")));
    }
    seen
}

fn sleep(sessions: &[&Session]) -> Seen {
    let mut seen = read(sessions, What::SleepCurrent, &[Fed::Battery]);
    let all: Vec<_> = readings(sessions, What::SleepCurrent)
        .into_iter()
        .filter(|(s, r)| fed(s, r).is_none_or(|f| f == Fed::Battery))
        .collect();
    if all.is_empty() {
        return seen;
    }
    let mut volts: Vec<i64> = all
        .iter()
        .filter_map(|(s, r)| r.supply.as_ref().or(s.supply.as_ref()))
        .map(|v| (v.si() * 20.0).round() as i64)
        .collect();
    volts.sort_unstable();
    volts.dedup();
    if volts.len() < 4 {
        seen.missing.push(format!(
            "the sweep: read at {} supply voltage{}, four are wanted (4.15, 3.80, 3.50, 3.25 V)",
            volts.len(),
            if volts.len() == 1 { "" } else { "s" }
        ));
    }
    if all.iter().all(|(_, r)| r.repeats.len() < 5) {
        seen.missing.push("five repeats at 3.80 V".to_owned());
    }
    if all.iter().all(|(_, r)| r.zero_before.is_none()) {
        seen.missing.push("the open-input zero before".to_owned());
    }
    if all.iter().any(|(s, r)| r.temperature.is_none() && s.temperature.is_none()) {
        seen.missing.push("the board's temperature".to_owned());
    }
    if all
        .iter()
        .any(|(s, r)| r.range.is_none() || r.instrument.is_none() && s.instrument.is_none())
    {
        seen.missing.push("instrument and range of every reading".to_owned());
    }
    seen
}

fn on_usb(sessions: &[&Session]) -> Seen {
    let usb = [Fed::Usb, Fed::UsbFullCell];
    let at = |what| {
        with(sessions, |s| {
            s.readings.iter().any(|r| r.what == what && fed(s, r).is_some_and(|f| usb.contains(&f)))
        })
    };
    let (idle, mut sleep) = (at(What::IdleCurrent), at(What::SleepCurrent));
    if sleep.sessions.is_empty() && !idle.sessions.is_empty() {
        return Seen {
            sessions: idle.sessions,
            missing: vec!["the sleep current on USB".to_owned()],
            ..Seen::default()
        };
    }
    if !sleep.sessions.is_empty() && idle.sessions.is_empty() {
        sleep.missing.push("the idle current on USB".to_owned());
    }
    sleep
}

fn ride_through(sessions: &[&Session]) -> Seen {
    let mut seen = with(sessions, |s| !s.ride_through.is_empty());
    if seen.sessions.is_empty() {
        return seen;
    }
    let trials = || sessions.iter().flat_map(|s| &s.ride_through);
    let lowest = trials().map(|t| t.cell_voltage.si()).fold(f64::INFINITY, f64::min);
    if lowest > LOW_CELL_V {
        seen.missing.push(format!(
            "a low cell: tried down to {} only; a full cell hides the drop of the hand-over",
            crate::text::voltage(lowest)
        ));
    }
    for event in [SourceEvent::Removed, SourceEvent::Attached] {
        if trials().all(|t| t.event != event) {
            seen.missing.push(format!("trials with the source {event}"));
        }
    }
    if trials().all(|t| t.edge != Some(Edge::SlowRamp)) {
        seen.missing.push("the slow ramp of a panel at dawn".to_owned());
    }
    seen
}

fn charger(sessions: &[&Session]) -> Seen {
    let mut seen = any(sessions, What::ChargeCurrent);
    if seen.sessions.is_empty() {
        return seen;
    }
    for (what, name) in [
        (What::FloatVoltage, "the float voltage"),
        (What::TerminationCurrent, "the current at which it ends"),
    ] {
        if any(sessions, what).sessions.is_empty() {
            seen.missing.push(name.to_owned());
        }
    }
    seen
}

fn cut_off(bench: &Bench, sessions: &[&Session], cell: Option<&Cell>) -> Seen {
    let mut seen = any(sessions, What::ProtectionCutOff);
    if let Some(cell) = cell {
        let of_cell: Vec<&Session> =
            bench.sessions().filter(|s| s.cell.as_deref() == Some(cell.name.as_str())).collect();
        let own = any(&of_cell, What::ProtectionCutOff).sessions;
        seen.of_the_cell_alone = seen.sessions.is_empty() && !own.is_empty();
        seen.sessions.extend(own);
    }
    seen
}

fn backflow(sessions: &[&Session]) -> Seen {
    let mut seen = any(sessions, What::BackLeakage);
    let panel =
        readings(sessions, What::BackLeakage).iter().any(|(s, r)| fed(s, r) == Some(Fed::Panel));
    if !seen.sessions.is_empty() && !panel {
        seen.missing.push("into a covered panel".to_owned());
    }
    seen
}

fn close(sessions: &[&Session]) -> Seen {
    let mut seen = with(sessions, |s| {
        s.readings.iter().any(|r| r.what == What::SleepCurrent && r.zero_after.is_some())
    });
    let open = readings(sessions, What::SleepCurrent)
        .iter()
        .filter(|(_, r)| r.zero_before.is_some() && r.zero_after.is_none())
        .count();
    if !seen.sessions.is_empty() && open > 0 {
        seen.missing.push(format!("the zero after of {open} sleep readings"));
    }
    seen
}
