//! The bench protocol as a guide: steps, gates, what is missing for the project at hand.

use crate::cautions::Caution;
use crate::polarity::{PolarityCheck, PolarityFault, may_connect, positive_contact};
use core::fmt::Write as _;

/// A step of the protocol, in its order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum StepId {
    /// Photos, identity, traits.
    Arrival,
    /// Polarity.
    Polarity,
    /// First power from a current-limited supply.
    FirstPower,
    /// Reference firmware and idle current.
    IdleCurrent,
    /// Sleep current on the battery contacts, with voltage sweep.
    SleepCurrent,
    /// The same on USB.
    UsbCurrent,
    /// Ride-through.
    RideThrough,
    /// Charger.
    Charger,
    /// Lowest surviving voltage.
    LowestVoltage,
    /// Protection cut-off of the cell.
    ProtectionCutOff,
    /// Backflow at night.
    NightBackflow,
    /// Zero again, close the session.
    Close,
}

/// One step as shown and printed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Identity.
    pub id: StepId,
    /// Title.
    pub title: &'static str,
    /// Wiring.
    pub wiring: &'static str,
    /// What to set and do.
    pub set: &'static str,
    /// What to expect.
    pub expect: &'static str,
    /// What is dangerous.
    pub cautions: &'static [Caution],
    /// Steps that must be done before.
    pub needs: &'static [StepId],
    /// True when a cell is connected in it: the polarity gate applies.
    pub connects_cell: bool,
    /// True when it makes sense only with a charger on the board.
    pub needs_charger: bool,
    /// What it unlocks.
    pub unlocks: &'static str,
    /// Usual time, min (common practice, no source).
    pub minutes: u32,
}

/// The protocol. Common practice; change a step here, everything else follows.
pub const STEPS: [Step; 12] = [
    Step {
        id: StepId::Arrival,
        title: "Photos, identity, traits",
        wiring: "Nothing connected.",
        set: "Photograph both sides and the revision marks; label the specimen; enter the traits, unknown where you cannot tell.",
        expect: "A label on the specimen, a trait sheet with its unknowns.",
        cautions: &[],
        needs: &[],
        connects_cell: false,
        needs_charger: false,
        unlocks: "The specimen exists; readings can be entered.",
        minutes: 10,
    },
    Step {
        id: StepId::Polarity,
        title: "Polarity of this specimen",
        wiring: "No cell. Ohmmeter, then voltmeter, between USB shield and each battery contact.",
        set: "USB out: ohms from the shield to both contacts. USB in, no cell: volts of both contacts. Then both wires of the cell's lead.",
        expect: "Near zero ohms on one contact (negative), about 4.2 V on the other (may hunt). Near zero on both: USB was left in.",
        cautions: &[Caution::Polarity],
        needs: &[StepId::Arrival],
        connects_cell: false,
        needs_charger: false,
        unlocks: "A cell may be connected.",
        minutes: 5,
    },
    Step {
        id: StepId::FirstPower,
        title: "First power from a limited supply",
        wiring: "Supply at the battery contacts, + where step 2 found it. USB out, no cell.",
        set: "3.80 V, limit 50 mA, then 600 mA.",
        expect: "A few tens of mA; nothing warm. At the 50 mA limit for more than a second: switch off.",
        cautions: &[Caution::Polarity],
        needs: &[StepId::Polarity],
        connects_cell: false,
        needs_charger: false,
        unlocks: "Firmware can be loaded.",
        minutes: 5,
    },
    Step {
        id: StepId::IdleCurrent,
        title: "Reference firmware, idle current",
        wiring: "Supply 3.80 V at the battery contacts through the meter, mA range locked. USB out after loading.",
        set: "Load the reference firmware; idle at 80 MHz, radio off, 60 s.",
        expect: "A steady reading; a few tens of mA.",
        cautions: &[],
        needs: &[StepId::FirstPower],
        connects_cell: false,
        needs_charger: false,
        unlocks: "Idle current; readings comparable by firmware.",
        minutes: 10,
    },
    Step {
        id: StepId::SleepCurrent,
        title: "Sleep current and voltage sweep",
        wiring: "Supply at the battery contacts through the µA range, with a switch across the meter: closed while starting, open asleep. Voltmeter at the board.",
        set: "Record the open-input zero. Wait for the settling fit; five repeats at 3.80 V, then 4.15, 3.50 and 3.25 V. Note the board's temperature.",
        expect: "Settled within 10 to 60 s, up to 30 min with electrolytic capacitors. A rise at the lowest voltage: dropout.",
        cautions: &[],
        needs: &[StepId::IdleCurrent],
        connects_cell: false,
        needs_charger: false,
        unlocks: "Sleep current, bill of parts, forecast.",
        minutes: 20,
    },
    Step {
        id: StepId::UsbCurrent,
        title: "Idle and sleep current on USB",
        wiring: "USB 5.00 V through the meter; first with a full cell, then without a cell.",
        set: "As the two steps before.",
        expect: "More than on battery where the bridge is fed from USB.",
        cautions: &[Caution::Polarity, Caution::CellSafety],
        needs: &[StepId::SleepCurrent],
        connects_cell: true,
        needs_charger: false,
        unlocks: "Battery against USB: which parts are fed from where.",
        minutes: 15,
    },
    Step {
        id: StepId::RideThrough,
        title: "Ride-through",
        wiring: "A real cell at that voltage; source through a clean plug, then a slow ramp (0 to 5 V in 60 s).",
        set: "Counter in memory that survives a reset, and the reset cause. Ten times attach, ten times detach, awake with the radio on and asleep, at 4.1, 3.7 and 3.5 V.",
        expect: "Resets of 20. None of 20 still only means below 14 % at 95 %.",
        cautions: &[Caution::SupplyLifted, Caution::CellSafety],
        needs: &[StepId::FirstPower],
        connects_cell: true,
        needs_charger: false,
        unlocks: "Resets a year under a panel; lowest safe cell voltage.",
        minutes: 30,
    },
    Step {
        id: StepId::Charger,
        title: "Charger",
        wiring: "Shunt of 0.1 ohm in the cell's lead; USB 5.00 V.",
        set: "Current at 3.3, 3.7 and 4.0 V; case temperature after 10 min; float voltage; current at termination, then with the board awake.",
        expect: "The set current within 10 %, less when hot; 4.20 V within 1 %; end at a tenth of the set current.",
        cautions: &[
            Caution::ChargeCurrent,
            Caution::Chemistry,
            Caution::ChargeTemperature,
            Caution::CellSafety,
        ],
        needs: &[StepId::FirstPower],
        connects_cell: true,
        needs_charger: true,
        unlocks: "Which cells this board may charge; solar sizing.",
        minutes: 45,
    },
    Step {
        id: StepId::LowestVoltage,
        title: "Lowest surviving voltage",
        wiring: "Supply at the battery contacts, stiff, sensed at the board.",
        set: "Down in steps of 20 mV, ten radio bursts each; note a reset, not merely the rail.",
        expect: "Brown-out plus dropout at the peak.",
        cautions: &[],
        needs: &[StepId::IdleCurrent],
        connects_cell: false,
        needs_charger: false,
        unlocks: "Usable capacity; the end of the forecast.",
        minutes: 15,
    },
    Step {
        id: StepId::ProtectionCutOff,
        title: "Cut-off of the cell's protection",
        wiring: "The cell with a tiny load, voltmeter at the cell.",
        set: "Let it run down; note the voltage of the cut-off and how it recovers.",
        expect: "2.4 to 3.0 V.",
        cautions: &[Caution::CellSafety],
        needs: &[StepId::Polarity],
        connects_cell: true,
        needs_charger: false,
        unlocks: "Deep-discharge protection: yes, no, at which voltage.",
        minutes: 20,
    },
    Step {
        id: StepId::NightBackflow,
        title: "Backflow at night",
        wiring: "Cell only, USB input open; then the input shorted through 100 ohm; then a covered panel.",
        set: "Voltage on the USB input; current into the short and into the panel, at 25 and 50 °C.",
        expect: "Below 0.3 V on the input; 0.1 to 6 µA through a charger, 5 to 50 µA through a diode.",
        cautions: &[Caution::Polarity, Caution::CellSafety],
        needs: &[StepId::FirstPower],
        connects_cell: true,
        needs_charger: false,
        unlocks: "What a panel costs at night.",
        minutes: 20,
    },
    Step {
        id: StepId::Close,
        title: "Zero again, close the session",
        wiring: "Meter input open.",
        set: "Record the zero on every range used.",
        expect: "The zero of the start, within the offset limit.",
        cautions: &[Caution::Forecast],
        needs: &[StepId::SleepCurrent],
        connects_cell: false,
        needs_charger: false,
        unlocks: "Figures of this session can be published.",
        minutes: 5,
    },
];

/// What a project asks of a board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// How long it runs from a cell.
    RunTime,
    /// Charging from USB or a panel.
    Charging,
    /// Running on while the source comes and goes.
    SourceComesAndGoes,
    /// A panel over night.
    Panel,
    /// A cell that can be run down.
    DeepDischarge,
    /// A figure that can be published.
    Publication,
}

/// Steps that a need rests on.
pub fn steps_for(need: Need) -> &'static [StepId] {
    match need {
        Need::RunTime => &[StepId::Polarity, StepId::SleepCurrent, StepId::LowestVoltage],
        Need::Charging => &[StepId::Polarity, StepId::Charger],
        Need::SourceComesAndGoes => &[StepId::Polarity, StepId::RideThrough],
        Need::Panel => {
            &[StepId::Polarity, StepId::Charger, StepId::RideThrough, StepId::NightBackflow]
        }
        Need::DeepDischarge => &[StepId::ProtectionCutOff],
        Need::Publication => {
            &[StepId::Arrival, StepId::Polarity, StepId::SleepCurrent, StepId::Close]
        }
    }
}

/// What is recorded for a specimen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    /// Steps with a result.
    pub done: Vec<StepId>,
    /// Polarity observations.
    pub polarity: PolarityCheck,
    /// Step at which the specimen died.
    pub died_at: Option<StepId>,
}

/// Why a step cannot be done now.
#[derive(Clone, Debug, PartialEq)]
pub enum Blocker {
    /// Another step comes first.
    Step(StepId),
    /// The polarity gate is shut.
    Polarity(PolarityFault),
}

/// State of a step.
#[derive(Clone, Debug, PartialEq)]
pub enum State {
    /// Has a result.
    Done,
    /// Recorded, although its gate is shut: told, kept, not trusted.
    DoneAgainstTheGate(PolarityFault),
    /// Can be done now.
    Open,
    /// Something comes first.
    Blocked(Vec<Blocker>),
    /// Does not apply: no charger on the board.
    DoesNotApply,
    /// The specimen is dead: stays empty for ever.
    Never,
}

/// A step with its state.
#[derive(Clone, Debug, PartialEq)]
pub struct StepState {
    /// The step.
    pub step: &'static Step,
    /// Its state.
    pub state: State,
    /// A need of the project rests on it.
    pub needed: bool,
}

/// The guide for one specimen and one project.
#[derive(Clone, Debug, PartialEq)]
pub struct Guide {
    /// All steps, in order.
    pub steps: Vec<StepState>,
    /// The step to do next: the first open one that leads to something needed, else the first open one.
    pub next: Option<StepId>,
    /// Steps still to do for the needs, those in between included, in order.
    pub missing: Vec<StepId>,
    /// Usual time for them, min.
    pub minutes: u32,
    /// Where the polarity stands.
    pub polarity: Result<crate::polarity::Contact, PolarityFault>,
}

fn step(id: StepId) -> &'static Step {
    // STEPS holds every StepId once, in order (tested).
    &STEPS[id as usize]
}

/// The guide: what is done, what can be done, what is in the way, what the project needs.
pub fn guide(record: &Record, needs: &[Need]) -> Guide {
    let done = |id: StepId| record.done.contains(&id);
    let no_charger = record.polarity.has_charger == Some(false);
    let gate = may_connect(&record.polarity);
    let polarity = positive_contact(&record.polarity);
    let mut wanted: Vec<StepId> = needs.iter().flat_map(|n| steps_for(*n)).copied().collect();
    // What leads to a wanted step is wanted too.
    let mut i = 0;
    while i < wanted.len() {
        for before in step(wanted[i]).needs {
            if !wanted.contains(before) {
                wanted.push(*before);
            }
        }
        i += 1;
    }
    let steps: Vec<StepState> = STEPS
        .iter()
        .map(|s| {
            let shut = if s.connects_cell {
                gate.as_ref().err()
            } else if s.id == StepId::FirstPower || s.id == StepId::Polarity {
                polarity.as_ref().err()
            } else {
                None
            };
            let state = if done(s.id) {
                match shut {
                    Some(fault) => State::DoneAgainstTheGate(fault.clone()),
                    None => State::Done,
                }
            } else if record.died_at.is_some() && s.id != StepId::Arrival {
                State::Never
            } else if s.needs_charger && no_charger {
                State::DoesNotApply
            } else {
                let mut blockers: Vec<Blocker> =
                    s.needs.iter().filter(|n| !done(**n)).map(|n| Blocker::Step(*n)).collect();
                if s.id != StepId::Polarity {
                    blockers.extend(shut.map(|fault| Blocker::Polarity(fault.clone())));
                }
                if blockers.is_empty() { State::Open } else { State::Blocked(blockers) }
            };
            StepState { step: s, state, needed: wanted.contains(&s.id) }
        })
        .collect();
    let open = |s: &&StepState| s.state == State::Open;
    let next = steps
        .iter()
        .filter(open)
        .find(|s| s.needed)
        .or_else(|| steps.iter().find(open))
        .map(|s| s.step.id);
    let missing: Vec<StepId> = steps
        .iter()
        .filter(|s| s.needed && matches!(s.state, State::Open | State::Blocked(_)))
        .map(|s| s.step.id)
        .collect();
    let minutes = missing.iter().map(|id| step(*id).minutes).sum();
    Guide { steps, next, missing, minutes, polarity }
}

/// The guide as plain text for paper: a box to tick per step, wiring, settings, dangers.
pub fn printable(specimen: &str, guide: &Guide) -> String {
    let mut text = format!("Bench protocol, specimen {specimen}\n");
    for (number, s) in guide.steps.iter().enumerate() {
        let (mark, note) = match &s.state {
            State::Done => ("[x]", String::new()),
            State::DoneAgainstTheGate(fault) => ("[!]", format!("recorded, but: {fault}")),
            State::Open => ("[ ]", String::new()),
            State::Blocked(blockers) => ("[-]", blockers_text(blockers)),
            State::DoesNotApply => ("   ", "does not apply: no charger".to_owned()),
            State::Never => ("   ", "specimen is dead: stays empty".to_owned()),
        };
        let needed = if s.needed { " (needed)" } else { "" };
        // Writing to a String cannot fail.
        let _ = writeln!(text, "\n{mark} {}. {}{needed}", number + 1, s.step.title);
        if !note.is_empty() {
            let _ = writeln!(text, "    {note}");
        }
        let _ = writeln!(text, "    Wiring: {}", s.step.wiring);
        let _ = writeln!(text, "    Do: {}", s.step.set);
        let _ = writeln!(text, "    Expect: {}", s.step.expect);
        for caution in s.step.cautions {
            let _ = writeln!(text, "    Danger: {}", caution.text());
        }
    }
    text
}

fn blockers_text(blockers: &[Blocker]) -> String {
    let each: Vec<String> = blockers
        .iter()
        .map(|b| match b {
            Blocker::Step(id) => format!("first: {}", step(*id).title),
            Blocker::Polarity(fault) => format!("polarity: {fault}"),
        })
        .collect();
    each.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_step_stands_at_its_own_place_and_needs_only_earlier_ones() {
        for (i, s) in STEPS.iter().enumerate() {
            assert_eq!(s.id as usize, i);
            assert!(s.needs.iter().all(|n| (*n as usize) < i), "{:?}", s.id);
        }
    }
}
