//! Entry of readings at the bench: what a step of the protocol asks to be written down, and reading back what was typed.

use overwinter_documents::Choice;
use overwinter_documents::types::session::What;
use overwinter_documents::{Diagnostic, Severity};
use overwinter_figures::protocol::{STEPS, StepId};
use overwinter_quantity::{AnyQuantity, DimensionInfo, Duration, Temperature};
use serde::Serialize;

use super::guide::{StepLine, StepStatus};
use super::printed;

/// Where a figure goes in the session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum EntryPlace {
    /// A reading of its own.
    Reading,
    /// The polarity table, under `key`.
    Polarity,
    /// A row of the ride-through trials; the resets are counted.
    RideThrough,
}

/// One figure to be typed.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct EntryField {
    /// What it is, for people.
    pub label: String,
    /// Where it goes.
    pub place: EntryPlace,
    /// What the reading is of, in the documents' words; it decides which units fit.
    pub what: &'static str,
    /// Key in the polarity table.
    pub key: Option<&'static str>,
    /// What it may look like.
    pub example: &'static str,
    /// Supply voltage, where it is not the session's; the cell's voltage of a trial.
    pub supply: Option<&'static str>,
    /// Source, where it is not the session's.
    pub source: Option<&'static str>,
    /// How many times it is read.
    pub repeats: usize,
    /// The source came or went.
    pub event: Option<&'static str>,
    /// What the board was doing.
    pub doing: Option<&'static str>,
    /// A remark that belongs to it.
    pub note: Option<&'static str>,
}

/// What a step asks to be written down.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct EntryForm {
    /// Number of the step, from 1.
    pub step: usize,
    /// Tag of the session's name.
    pub tag: &'static str,
    /// Supply voltage of the session.
    pub supply: Option<&'static str>,
    /// Source of the session.
    pub source: Option<&'static str>,
    /// State of the firmware.
    pub state: Option<&'static str>,
    /// The zero of the range is noted before and after.
    pub zero: bool,
    /// The figures.
    pub fields: Vec<EntryField>,
}

/// What was typed, as it was understood.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ReadBack {
    /// The value as the workbench prints it.
    pub text: String,
    /// Its value in SI.
    pub si: f64,
}

fn reading(label: &str, what: What, example: &'static str) -> EntryField {
    EntryField {
        label: label.to_owned(),
        place: EntryPlace::Reading,
        what: what.word(),
        key: None,
        example,
        supply: None,
        source: None,
        repeats: 1,
        event: None,
        doing: None,
        note: None,
    }
}

fn polarity(label: &str, what: What, key: &'static str, example: &'static str) -> EntryField {
    EntryField { place: EntryPlace::Polarity, key: Some(key), ..reading(label, what, example) }
}

fn trials() -> Vec<EntryField> {
    let mut all = Vec::new();
    for supply in ["4.1 V", "3.7 V", "3.5 V"] {
        for event in ["removed", "attached"] {
            for doing in ["radio on", "asleep"] {
                all.push(EntryField {
                    place: EntryPlace::RideThrough,
                    what: "resets of 10",
                    supply: Some(supply),
                    event: Some(event),
                    doing: Some(doing),
                    ..reading(
                        &format!("source {event}, {doing}, cell at {supply}"),
                        What::Voltage,
                        "0",
                    )
                });
            }
        }
    }
    all
}

/// The form of a step; `None` where nothing is read (the first step is seen, the last closes the session).
pub fn form(step: usize) -> Option<EntryForm> {
    let id = STEPS.get(step.checked_sub(1)?)?.id;
    let at = |supply, field| EntryField { supply: Some(supply), ..field };
    let from = |source, field| EntryField { source: Some(source), ..field };
    let noted = |note, field| EntryField { note: Some(note), ..field };
    let (tag, supply, source, fields) = match id {
        StepId::Arrival | StepId::Close => return None,
        StepId::Polarity => (
            "polarity",
            None,
            None,
            vec![
                polarity("USB out: shield to left contact", What::Resistance, "ohms_left", "0.2 Ω"),
                polarity(
                    "USB out: shield to right contact",
                    What::Resistance,
                    "ohms_right",
                    "> 1 MΩ",
                ),
                polarity("USB in, no cell: left contact", What::Voltage, "volts_left", "0.00 V"),
                polarity("USB in, no cell: right contact", What::Voltage, "volts_right", "4.19 V"),
            ],
        ),
        StepId::FirstPower | StepId::IdleCurrent => (
            "first power",
            Some("3.80 V"),
            Some("battery contacts"),
            vec![reading("idle current, radio off", What::IdleCurrent, "28.3 mA")],
        ),
        StepId::SleepCurrent => (
            "sleep",
            Some("3.80 V"),
            Some("battery contacts"),
            vec![
                EntryField {
                    repeats: 5,
                    ..reading("sleep current at 3.80 V", What::SleepCurrent, "12.6 µA")
                },
                at("4.15 V", reading("sleep current at 4.15 V", What::SleepCurrent, "12.6 µA")),
                at("3.50 V", reading("sleep current at 3.50 V", What::SleepCurrent, "12.6 µA")),
                at("3.25 V", reading("sleep current at 3.25 V", What::SleepCurrent, "12.6 µA")),
            ],
        ),
        StepId::UsbCurrent => (
            "on USB",
            Some("5.00 V"),
            None,
            vec![
                from(
                    "USB and full cell",
                    reading("idle current, full cell", What::IdleCurrent, "28.3 mA"),
                ),
                from(
                    "USB and full cell",
                    reading("sleep current, full cell", What::SleepCurrent, "150 µA"),
                ),
                from("USB", reading("idle current, no cell", What::IdleCurrent, "28.3 mA")),
                from("USB", reading("sleep current, no cell", What::SleepCurrent, "150 µA")),
            ],
        ),
        StepId::RideThrough => ("ride-through", None, None, trials()),
        StepId::Charger => (
            "charger",
            None,
            Some("USB"),
            vec![
                at("3.3 V", reading("charge current, cell at 3.3 V", What::ChargeCurrent, "98 mA")),
                at("3.7 V", reading("charge current, cell at 3.7 V", What::ChargeCurrent, "98 mA")),
                at("4.0 V", reading("charge current, cell at 4.0 V", What::ChargeCurrent, "98 mA")),
                reading("charge current after 10 min, hot", What::ChargeCurrentHot, "92 mA"),
                reading("float voltage", What::FloatVoltage, "4.19 V"),
                reading("current at which it ends", What::TerminationCurrent, "9.8 mA"),
            ],
        ),
        StepId::LowestVoltage => (
            "limits",
            None,
            Some("battery contacts"),
            vec![noted(
                "steps of 20 mV, ten bursts each",
                reading("lowest voltage that survives", What::LowestSurviving, "3.02 V"),
            )],
        ),
        StepId::ProtectionCutOff => (
            "protection",
            None,
            None,
            vec![reading("voltage of the cut-off", What::ProtectionCutOff, "2.52 V")],
        ),
        StepId::NightBackflow => (
            "night",
            Some("3.80 V"),
            None,
            vec![
                noted(
                    "out of the cell, input open",
                    reading("out of the cell, input open", What::BackLeakage, "1.2 µA"),
                ),
                noted(
                    "covered panel connected",
                    from(
                        "panel",
                        reading("out of the cell, covered panel", What::BackLeakage, "8 µA"),
                    ),
                ),
            ],
        ),
    };
    let state = match id {
        StepId::SleepCurrent => Some("deep sleep"),
        StepId::FirstPower | StepId::IdleCurrent => Some("awake, radio off, for 60 s"),
        _ => None,
    };
    let zero = matches!(id, StepId::SleepCurrent | StepId::NightBackflow);
    Some(EntryForm { step, tag, supply, source, state, zero, fields })
}

/// The protocol as it stands, for nobody in particular: every step open.
pub fn protocol() -> Vec<StepLine> {
    STEPS
        .iter()
        .enumerate()
        .map(|(at, step)| StepLine {
            number: at + 1,
            title: step.title,
            status: StepStatus::Open,
            needed: true,
            wiring: step.wiring,
            set: step.set,
            expect: step.expect,
            dangers: step.cautions.iter().map(|c| c.text()).collect(),
            in_the_way: Vec::new(),
            missing: Vec::new(),
            sessions: Vec::new(),
            unlocks: step.unlocks,
            minutes: step.minutes,
        })
        .collect()
}

/// Reads what was typed as a value of `what`: a reading's kind, `"temperature"` or `"duration"`.
///
/// # Errors
/// What is wrong with the text, with how to mend it.
pub fn read_back(what: &str, text: &str) -> Result<ReadBack, Box<Diagnostic>> {
    let fault = |error: overwinter_quantity::ParseError| {
        Box::new(Diagnostic::new("value", Severity::Error, error.to_string()).help(error.help()))
    };
    match what {
        "temperature" => {
            let value = Temperature::parse(text).map_err(fault)?;
            Ok(ReadBack { text: value.to_string(), si: value.si() })
        }
        "duration" => {
            let value = Duration::parse(text).map_err(fault)?;
            Ok(ReadBack { text: value.to_string(), si: value.si() })
        }
        _ => {
            let Some(what) = What::from_word(what) else {
                let message = format!("\"{what}\" is nothing that is read");
                let fault = Diagnostic::error("what", message);
                return Err(Box::new(fault.help(format!("one of {}", What::list()))));
            };
            let value = AnyQuantity::parse(text).map_err(fault)?;
            let wanted: &DimensionInfo = what.dimension();
            if value.dimension().name != wanted.name {
                let found = value.dimension().name;
                let message = format!("this is {found}, {} is {}", what.word(), wanted.name);
                let example = format!("write for example \"{}\"", wanted.examples[0]);
                return Err(Box::new(Diagnostic::error("value", message).help(example)));
            }
            Ok(ReadBack { text: printed::value(what, value.si()), si: value.si() })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_step_but_the_first_and_the_last_is_written_down_with_examples_that_read() {
        assert!(form(1).is_none() && form(12).is_none() && form(0).is_none() && form(13).is_none());
        for step in 2..=11 {
            let form = form(step).unwrap();
            assert!(!form.fields.is_empty());
            for field in form.fields.iter().filter(|f| f.place != EntryPlace::RideThrough) {
                assert!(read_back(field.what, field.example).is_ok(), "{field:?}");
            }
        }
    }

    #[test]
    fn what_was_typed_is_read_back_or_told() {
        let back = read_back("sleep current", "12.6 uA").unwrap();
        assert!(back.text.starts_with("12.6") && back.text.ends_with("µA"), "{}", back.text);
        assert!((back.si - 12.6e-6).abs() < 1e-18);
        let unit = read_back("sleep current", "12.6").unwrap_err();
        assert!(unit.help.is_some(), "{unit:?}");
        let wrong = read_back("sleep current", "3.80 V").unwrap_err();
        assert!(wrong.message.contains("this is a voltage"), "{}", wrong.message);
        assert!(read_back("temperature", "22 °C").is_ok());
        assert_eq!(read_back("colour", "red").unwrap_err().code, "what");
    }
}
