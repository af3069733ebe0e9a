//! The bench protocol as a guide for one specimen: what is done, what is missing, what is dangerous, what comes next and what
//! to write down for it.

use overwinter_documents::Choice;
use overwinter_documents::types::board::{Board, ContactSide, Specimen};
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::project::Project;
use overwinter_figures::polarity::{
    Contact, Missing, PolarityFault, may_connect, positive_contact,
};
use overwinter_figures::protocol::{self, Blocker, STEPS, State, StepId};
use serde::Serialize;

use super::lost::{PostMortem, lost};
use super::record::{Found, needs, record};
use crate::bench::Bench;
use crate::question::QuestionError;
use crate::report::SCHEMA_VERSION;

/// State of a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum StepStatus {
    /// Has a result.
    Done,
    /// Has a result, but something in it is missing.
    Partly,
    /// Recorded although its gate is shut: told, kept, not trusted.
    AgainstTheGate,
    /// Can be done now.
    Open,
    /// Something comes first.
    Blocked,
    /// Does not apply to this board.
    DoesNotApply,
    /// The specimen is dead: stays empty for ever.
    Never,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct StepLine {
    /// Number, from 1.
    pub number: usize,
    /// Title.
    pub title: &'static str,
    /// State.
    pub status: StepStatus,
    /// The project rests on it.
    pub needed: bool,
    /// Wiring.
    pub wiring: &'static str,
    /// What to set and do.
    pub set: &'static str,
    /// What to expect.
    pub expect: &'static str,
    /// What is dangerous.
    pub dangers: Vec<&'static str>,
    /// What comes first, or why it is not trusted.
    pub in_the_way: Vec<String>,
    /// What is missing in a result that is there.
    pub missing: Vec<String>,
    /// Sessions that hold the result.
    pub sessions: Vec<String>,
    /// What it unlocks.
    pub unlocks: &'static str,
    /// Usual time, min; common practice, no source.
    pub minutes: u32,
}

/// Where the polarity of this specimen stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct PolarityLine {
    /// The contact that is +, when both observations agree: `left` or `right`, seen into the socket's mouth with the
    /// component side up.
    pub positive: Option<&'static str>,
    /// A cell may be connected: board and lead are measured and fit.
    pub may_connect: bool,
    /// In words: what was found or what stands in the way.
    pub statement: String,
    /// A drawing for paper.
    pub drawing: Option<String>,
}

/// The guide.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct GuideReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Specimen.
    pub specimen: String,
    /// Board.
    pub board: String,
    /// Project.
    pub project: Option<String>,
    /// Cell meant to be connected.
    pub cell: Option<String>,
    /// Polarity.
    pub polarity: PolarityLine,
    /// Steps in order.
    pub steps: Vec<StepLine>,
    /// Number of the step to do next.
    pub next: Option<usize>,
    /// Numbers of the steps still to do for the project.
    pub to_do: Vec<usize>,
    /// Usual time for them, min.
    pub minutes: u32,
    /// What to write down for the next step: a document to save in the folder.
    pub write_down: Option<WriteDown>,
    /// If it is dead.
    pub lost: Option<PostMortem>,
    /// Danger: something was recorded against the gate, or an observation contradicts.
    pub danger: bool,
    /// The checklist as plain text, for paper.
    pub printable: String,
}

/// A document to fill in.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct WriteDown {
    /// Where to save it, in the folder.
    pub file: String,
    /// Its text, figures to fill in marked with `…`.
    pub text: String,
}

/// The guide for a specimen and, where one is named, a project.
///
/// # Errors
/// No such specimen.
pub fn guide(
    bench: &Bench,
    specimen: &str,
    project: Option<&Project>,
) -> Result<GuideReport, QuestionError> {
    let (board, found_specimen) = bench.specimen(specimen).ok_or_else(|| match bench.board(specimen) {
        Some(board) if board.specimens.is_empty() => QuestionError::NoSuch {
            kind: "specimen",
            name: specimen.to_owned(),
            help: format!(
                "that is a board without a specimen; label yours and write it into its document: [[board.specimens]] with id = \"{}-1\"",
                board.name
            ),
        },
        Some(board) => QuestionError::NoSuch {
            kind: "specimen",
            name: specimen.to_owned(),
            help: format!(
                "that is a board; its specimens are: {}",
                board.specimens.iter().map(|s| s.id.as_str()).collect::<Vec<_>>().join(", ")
            ),
        },
        None => QuestionError::no_such(
            "specimen",
            specimen,
            bench.folder().specimens().map(|(_, s)| s.id.as_str()),
        ),
    })?;
    let cell = project.and_then(|p| bench.cell(&p.cell));
    let found = record(bench, board, found_specimen, cell);
    let guide = protocol::guide(&found.record, &needs(project, found.record.polarity.has_charger));
    let steps: Vec<StepLine> = guide
        .steps
        .iter()
        .zip(&found.steps)
        .enumerate()
        .map(|(at, (state, seen))| {
            let mut line = line(at, state, seen);
            if state.step.id == StepId::Polarity {
                polarity_step(&mut line, &found);
            }
            line
        })
        .collect();
    let polarity = polarity_line(&found, cell.map(|c| c.name.as_str()));
    let danger = steps.iter().any(|s| s.status == StepStatus::AgainstTheGate)
        || matches!(
            guide.polarity,
            Err(PolarityFault::UsbWasLeftIn
                | PolarityFault::NegativeSwitched
                | PolarityFault::Contradiction
                | PolarityFault::NoChargingVoltage { .. }
                | PolarityFault::Impossible { .. })
        )
        || matches!(may_connect(&found.record.polarity), Err(PolarityFault::LeadMirrored));
    let post_mortem = found_specimen
        .dead
        .as_ref()
        .and_then(|_| lost(bench, Some(specimen)).ok())
        .and_then(|report| report.lost.into_iter().next());
    let mut printable = protocol::printable(specimen, &guide);
    printable.push_str(&format!("\nPolarity: {}\n", polarity.statement));
    if let Some(drawing) = &polarity.drawing {
        printable.push_str(drawing);
    }
    let number = |id: StepId| id as usize + 1;
    Ok(GuideReport {
        schema_version: SCHEMA_VERSION,
        specimen: specimen.to_owned(),
        board: board.name.clone(),
        project: project.map(|p| p.name.clone()),
        cell: cell.map(|c| c.name.clone()),
        polarity,
        steps,
        next: guide.next.map(number),
        to_do: guide.missing.iter().map(|id| number(*id)).collect(),
        minutes: guide.minutes,
        write_down: match guide
            .next
            .filter(|id| guide.missing.is_empty() || guide.missing.contains(id))
        {
            Some(id) => Some(write_down(bench, id, board, found_specimen)),
            None => lead(bench, &found, cell)
                .or_else(|| guide.next.map(|id| write_down(bench, id, board, found_specimen))),
        },
        lost: post_mortem,
        danger,
        printable,
    })
}

fn line(at: usize, state: &protocol::StepState, seen: &super::record::Seen) -> StepLine {
    let step = state.step;
    let (status, in_the_way) = match &state.state {
        State::Done if seen.missing.is_empty() => (StepStatus::Done, Vec::new()),
        State::Done => (StepStatus::Partly, Vec::new()),
        State::DoneAgainstTheGate(_) if seen.of_the_cell_alone => (StepStatus::Done, Vec::new()),
        State::DoneAgainstTheGate(fault) => (StepStatus::AgainstTheGate, vec![fault_words(fault)]),
        State::Open => (StepStatus::Open, Vec::new()),
        State::Blocked(blockers) => {
            (StepStatus::Blocked, blockers.iter().map(blocker_words).collect())
        }
        State::DoesNotApply => (StepStatus::DoesNotApply, Vec::new()),
        State::Never => (StepStatus::Never, Vec::new()),
    };
    StepLine {
        number: at + 1,
        title: step.title,
        status,
        needed: state.needed,
        wiring: step.wiring,
        set: step.set,
        expect: step.expect,
        dangers: step.cautions.iter().map(|c| c.text()).collect(),
        in_the_way,
        missing: seen.missing.clone(),
        sessions: seen.sessions.clone(),
        unlocks: step.unlocks,
        minutes: step.minutes,
    }
}

/// Observations of polarity that are there, but do not make a verdict yet or contradict each other.
fn polarity_step(line: &mut StepLine, found: &Found) {
    if line.sessions.is_empty() || found.record.died_at.is_some() {
        return;
    }
    match positive_contact(&found.record.polarity) {
        Ok(_) => {}
        Err(fault @ PolarityFault::Incomplete { .. }) => {
            line.status = StepStatus::Partly;
            line.missing.push(fault_words(&fault));
        }
        Err(fault) => {
            line.status = StepStatus::AgainstTheGate;
            line.in_the_way.push(fault_words(&fault));
        }
    }
}

fn blocker_words(blocker: &Blocker) -> String {
    match blocker {
        Blocker::Step(id) => {
            format!("first step {}: {}", *id as usize + 1, STEPS[*id as usize].title)
        }
        // The whole story stands at step 2 and on top.
        Blocker::Polarity(PolarityFault::Incomplete { missing })
            if *missing == [Missing::BothWiresOfTheLead] =>
        {
            format!(
                "polarity: {}",
                fault_words(&PolarityFault::Incomplete { missing: missing.clone() })
            )
        }
        Blocker::Polarity(PolarityFault::Incomplete { .. }) => {
            "polarity is not measured: step 2".to_owned()
        }
        Blocker::Polarity(fault) => format!("polarity: {}", fault_words(fault)),
    }
}

fn fault_words(fault: &PolarityFault) -> String {
    let PolarityFault::Incomplete { missing } = fault else { return fault.to_string() };
    let each: Vec<&str> = missing
        .iter()
        .map(|m| match m {
            Missing::OhmsWithUsbOut => "ohms from the USB shield to both contacts, USB out",
            Missing::VoltsWithUsbIn => "volts of both contacts, USB in, no cell",
            Missing::TraceToRegulator => {
                "no charger: trace a contact to the regulator's input and enter it as `positive_side` of the specimen"
            }
            Missing::BothWiresOfTheLead => {
                "both wires of the lead of the cell to be connected (`lead` of its document, measured, never by colour)"
            }
        })
        .collect();
    format!("not measured yet: {}", each.join("; "))
}

fn polarity_line(found: &Found, cell: Option<&str>) -> PolarityLine {
    let check = &found.record.polarity;
    let side = |c: Contact| match c {
        Contact::A => ContactSide::Left.word(),
        Contact::B => ContactSide::Right.word(),
    };
    match positive_contact(check) {
        Err(fault) => PolarityLine {
            positive: None,
            may_connect: false,
            statement: fault_words(&fault),
            drawing: None,
        },
        Ok(positive) => {
            let word = side(positive);
            let gate = may_connect(check);
            let rest = match (&gate, cell) {
                (Ok(_), Some(cell)) => format!("the lead of {cell} fits"),
                (Ok(_), None) => "the lead fits".to_owned(),
                (Err(PolarityFault::Incomplete { .. }), None) => {
                    "which cell is to be connected is not said: name the project".to_owned()
                }
                (Err(fault), Some(cell)) => format!("{cell}: {}", fault_words(fault)),
                (Err(fault), None) => fault_words(fault),
            };
            PolarityLine {
                positive: Some(word),
                may_connect: gate.is_ok(),
                statement: format!(
                    "+ is the {word} contact, by two observations that agree; {rest}"
                ),
                drawing: Some(drawing(positive)),
            }
        }
    }
}

/// The socket as drawn on paper.
fn drawing(positive: Contact) -> String {
    let (left, right) = if positive == Contact::A { ('+', '–') } else { ('–', '+') };
    format!(
        "    into the socket's mouth, component side up:\n      ┌─────────┐\n      │  {left}   {right}  │\n      └─────────┘\n      left  right\n"
    )
}

/// The lead of the cell, where it is all that keeps the gate shut.
fn lead(bench: &Bench, found: &Found, cell: Option<&Cell>) -> Option<WriteDown> {
    let fault = may_connect(&found.record.polarity).err()?;
    let only_the_lead =
        fault == PolarityFault::Incomplete { missing: vec![Missing::BothWiresOfTheLead] };
    let entry = bench.folder().cells.get(&cell?.name).filter(|_| only_the_lead)?;
    Some(WriteDown {
        file: entry.path.clone(),
        text: "# measure both wires of the lead with a voltmeter; + seen as the socket is, never by colour\n[cell.lead]\npositive_side = \"…\"    # left or right\n".to_owned(),
    })
}

/// A session to fill in for a step.
fn write_down(bench: &Bench, id: StepId, board: &Board, specimen: &Specimen) -> WriteDown {
    let name = &specimen.id;
    if id == StepId::Arrival {
        return WriteDown {
            file: bench
                .folder()
                .boards
                .get(&board.name)
                .map_or_else(|| "boards/".to_owned(), |entry| entry.path.clone()),
            text: "# in the board's document; leave out what you cannot tell\n[board.traits]\nradio_part = \"shielded certified module\"   # or \"bare chip\"\ncertification_mark = \"yes\"\npins = …\nbattery_connector = \"two-pin socket\"\nusb_bridge = \"no\"\ncharger = \"yes\"\nled_in_sleep = \"unknown\"\n".to_owned(),
        };
    }
    let (tag, body) = match id {
        StepId::Polarity => (
            "polarity",
            "\n# USB out, no cell: ohms from the metal shield to each contact, seen into the socket's mouth, component side up.\n# USB in, no cell: volts of each contact against the shield.\n[session.polarity]\nohms_left = \"… Ω\"\nohms_right = \"> 1 MΩ\"\nvolts_left = \"… V\"\nvolts_right = \"… V\"\n",
        ),
        StepId::FirstPower | StepId::IdleCurrent => (
            "first power",
            "firmware = { version = \"…\", hash = \"…\", state = \"awake, radio off, for 60 s\" }\nsupply = \"3.80 V\"\nsource = \"battery contacts\"\n\n[[session.readings]]\nwhat = \"idle current\"\nvalue = \"… mA\"\nrange = \"…\"\nsettled_for = \"60 s\"\n",
        ),
        StepId::SleepCurrent => (
            "sleep",
            "firmware = { version = \"…\", hash = \"…\", state = \"deep sleep\" }\nsupply = \"3.80 V\"\nsource = \"battery contacts\"\n\n[[session.readings]]\nwhat = \"sleep current\"\nrepeats = [\"… µA\", \"… µA\", \"… µA\", \"… µA\", \"… µA\"]\nrange = \"…\"\nzero_before = \"… µA\"\nzero_after = \"… µA\"\nsettled_for = \"…\"\n\n# and the same at 4.15, 3.50 and 3.25 V: value and supply\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"… µA\"\nsupply = \"4.15 V\"\nrange = \"…\"\n",
        ),
        StepId::UsbCurrent => (
            "on USB",
            "supply = \"5.00 V\"\n\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"… µA\"\nsource = \"USB and full cell\"\nrange = \"…\"\n",
        ),
        StepId::RideThrough => (
            "ride-through",
            "\n[[session.ride_through]]\nevent = \"removed\"        # and \"attached\"\ndoing = \"radio on\"       # and \"asleep\"\nedge = \"plug\"            # and \"slow ramp\"\ncell_voltage = \"3.5 V\"   # and 3.7 V, 4.1 V\nresets = …\ntrials = 20\n",
        ),
        StepId::Charger => (
            "charger",
            "source = \"USB\"\n\n[[session.readings]]\nwhat = \"charge current\"\nvalue = \"… mA\"\nrange = \"…\"\nsupply = \"3.7 V\"\n\n[[session.readings]]\nwhat = \"float voltage\"\nvalue = \"… V\"\nrange = \"…\"\n\n[[session.readings]]\nwhat = \"termination current\"\nvalue = \"… mA\"\nrange = \"…\"\n",
        ),
        StepId::LowestVoltage => (
            "limits",
            "source = \"battery contacts\"\n\n[[session.readings]]\nwhat = \"lowest surviving voltage\"\nvalue = \"… V\"\nrange = \"…\"\nnote = \"steps of 20 mV, ten bursts each\"\n",
        ),
        StepId::ProtectionCutOff => (
            "protection",
            "\n[[session.readings]]\nwhat = \"protection cut-off\"\nvalue = \"… V\"\nrange = \"…\"\n",
        ),
        StepId::NightBackflow => (
            "night",
            "\n[[session.readings]]\nwhat = \"back-leakage\"\nvalue = \"… µA\"\nrange = \"…\"\nsupply = \"3.80 V\"\nnote = \"out of the cell, input open\"\n\n[[session.readings]]\nwhat = \"back-leakage\"\nvalue = \"… µA\"\nrange = \"…\"\nsource = \"panel\"\nnote = \"covered panel connected\"\n",
        ),
        StepId::Arrival | StepId::Close => (
            "zero",
            "\n# in the session that is open: the zero of every range used\n# zero_after = \"… µA\"\n",
        ),
    };
    let meters: Vec<&str> = bench
        .folder()
        .instruments
        .iter()
        .filter(|entry| entry.origin == overwinter_documents::Origin::Folder)
        .map(|entry| entry.document.name.as_str())
        .collect();
    let (instrument, ranges) = match meters.as_slice() {
        [] => ("…".to_owned(), "write yours into instruments/ first".to_owned()),
        [one] => {
            let names: Vec<&str> = bench.ranges(one).iter().map(|r| r.name.as_str()).collect();
            ((*one).to_owned(), format!("its ranges: {}", names.join(", ")))
        }
        many => ("…".to_owned(), many.join(", ")),
    };
    let head = format!(
        "#:schema ../schemas/session.schema.json\n[session]\nname = \"{name} {tag}\"\nspecimen = \"{name}\"\ndate = …            # 2026-05-30\nwho = \"…\"\ninstrument = \"{instrument}\"    # {ranges}\ntemperature = \"… °C\"\n"
    );
    WriteDown {
        file: format!("sessions/{name}-{tag}.toml").replace(' ', "-").to_lowercase(),
        text: format!("{head}{body}"),
    }
}
