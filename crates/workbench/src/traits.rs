//! Traits by name: one list that the table, the needs and the check share.

use overwinter_documents::types::board::{Board, Specimen, Traits};
use overwinter_documents::types::session::{PolarityVerdict, SourceEvent};
use overwinter_documents::{Choice, Layer, Seen, Trait, YesNo};
use overwinter_figures::ride_through::{Trials, assess};

use crate::bench::Bench;
use crate::report::{CellValue, NeedResult, NeedVerdict, Truth};
use crate::resolve::module_of;
use crate::text::{percent, voltage};

/// A trait's value as a word with how sure it is; the word of a yes-or-no trait is `yes` or `no`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Word {
    /// The word; `None` is unknown.
    pub word: Option<&'static str>,
    /// How sure, below 1 where it is inferred.
    pub sure: f64,
}

impl Word {
    fn of<T: Choice>(seen: &Seen<T>) -> Self {
        match seen {
            Seen::Unknown | Seen::SaidUnknown => Self { word: None, sure: 0.0 },
            Seen::Known(value) => Self { word: Some(value.word()), sure: 1.0 },
            Seen::Inferred { value, sure } => Self { word: Some(value.word()), sure: *sure },
        }
    }

    /// As a cell of the table.
    pub fn cell(self) -> CellValue {
        match (self.word, self.sure < 1.0) {
            (None, _) => CellValue::Unknown,
            (Some("yes"), false) => CellValue::Trait(Truth::Yes),
            (Some("no"), false) => CellValue::Trait(Truth::No),
            (Some("yes"), true) => CellValue::Trait(Truth::InferredYes(self.sure)),
            (Some("no"), true) => CellValue::Trait(Truth::InferredNo(self.sure)),
            (Some(word), false) => CellValue::Text(word.to_owned()),
            (Some(word), true) => {
                CellValue::Text(format!("{word} (inferred, {})", percent(self.sure)))
            }
        }
    }
}

/// A trait that can be asked for by name.
pub struct TraitColumn {
    /// Key on the command line and in the table.
    pub key: &'static str,
    /// Heading.
    pub title: &'static str,
    /// The value.
    pub get: fn(&Traits) -> Word,
    /// The test that settles it when unknown.
    pub test: &'static str,
    /// Minutes of that test. Common practice, no source.
    pub minutes: f64,
}

macro_rules! trait_columns {
    ($($field:ident, $key:literal, $title:literal, $test:literal, $minutes:literal;)*) => {
        /// All traits with words, in the table's order.
        pub const TRAITS: &[TraitColumn] = &[$(TraitColumn {
            key: $key, title: $title, get: |t| Word::of(&t.$field), test: $test, minutes: $minutes,
        }),*];
    };
}

trait_columns! {
    radio_part, "radio", "radio part", "look at the radio part with a loupe", 2.0;
    certification_mark, "certified", "certification mark", "look for a mark on the radio part", 2.0;
    external_antenna, "antenna", "external antenna", "look for an antenna connector", 1.0;
    label_side, "labels", "label side", "look at both sides", 1.0;
    battery_switch, "switch", "battery switch", "look for a switch and try it", 1.0;
    battery_connector, "connector", "battery connector", "look at the connector", 1.0;
    positive_side, "plus", "+ side", "measure polarity twice: ohms to the shield with USB out, volts with USB in and no cell", 5.0;
    usb_bridge, "bridge", "USB-serial bridge", "look for a second chip by the USB socket", 2.0;
    usb_bridge_feed, "bridge-feed", "bridge fed from", "measure the bridge's supply pin on battery", 5.0;
    charger, "charger", "charger", "look for a charger chip; measure the contacts with USB in and no cell", 3.0;
    deep_discharge_protection, "protection", "deep-discharge protection", "step the supply down with a tiny load and note where it cuts off", 15.0;
    resets_on_source_removed, "resets-removed", "resets on removal", "ten removals each at 4.1, 3.7 and 3.5 V of a real cell, with a counter that survives resets", 20.0;
    resets_on_source_attached, "resets-attached", "resets on attaching", "ten attachments each at 4.1, 3.7 and 3.5 V of a real cell, with a counter that survives resets", 20.0;
    led_in_sleep, "led", "LED in sleep", "look at the sleeping board in the dark", 1.0;
}

/// A board or specimen with its traits as far as they are known from all documents together.
pub struct Sighted<'a> {
    /// The board.
    pub board: &'a Board,
    /// The specimen.
    pub specimen: Option<&'a Specimen>,
    /// Traits: the specimen's over its revision's over the board's over the module's, completed by sessions.
    pub traits: Traits,
    /// What sessions added, in words.
    pub notes: Vec<String>,
}

/// Collects the traits of a board's specimen.
pub fn sight<'a>(bench: &Bench, board: &'a Board, specimen: Option<&'a Specimen>) -> Sighted<'a> {
    let own = specimen.map_or_else(|| board.traits.clone(), |s| board.traits_of(s));
    let mut traits = match module_of(bench, board) {
        Some(module) => own.over(&module.traits),
        None => own,
    };
    let mut notes = Vec::new();
    if let Some(specimen) = specimen {
        for event in [SourceEvent::Removed, SourceEvent::Attached] {
            let trials = ride_through(bench, &specimen.id, event);
            let slot = match event {
                SourceEvent::Removed => &mut traits.resets_on_source_removed,
                SourceEvent::Attached => &mut traits.resets_on_source_attached,
            };
            if let Some((seen, note)) = verdict_of_trials(&trials) {
                if slot.is_unknown() {
                    *slot = seen;
                }
                notes.push(format!("source {event}: {note}"));
            }
        }
        if traits.positive_side.is_unknown()
            && let Some(side) = positive_side(bench, &specimen.id)
        {
            traits.positive_side = Seen::Known(side);
        }
    }
    Sighted { board, specimen, traits, notes }
}

/// The + side of a specimen from its own polarity observations, if both agree.
pub fn positive_side(
    bench: &Bench,
    specimen: &str,
) -> Option<overwinter_documents::types::board::ContactSide> {
    polarity_verdicts(bench, specimen).find_map(|verdict| match verdict {
        PolarityVerdict::Positive(side) => Some(side),
        _ => None,
    })
}

/// All polarity verdicts of a specimen.
pub fn polarity_verdicts<'a>(
    bench: &'a Bench,
    specimen: &'a str,
) -> impl Iterator<Item = PolarityVerdict> + 'a {
    bench
        .sessions()
        .filter(move |s| s.specimen.as_deref() == Some(specimen) && s.retracted.is_none())
        .filter_map(|s| s.polarity.as_ref())
        .map(overwinter_documents::types::session::Polarity::verdict)
}

/// Trials at one cell voltage, V.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialsAt {
    /// Voltage of the cell.
    pub cell_v: f64,
    /// Outcome.
    pub trials: Trials,
}

/// All trials of one kind of a specimen, added up per cell voltage, highest voltage first.
pub fn ride_through(bench: &Bench, specimen: &str, event: SourceEvent) -> Vec<TrialsAt> {
    let mut all: Vec<TrialsAt> = Vec::new();
    for session in bench
        .sessions()
        .filter(|s| s.specimen.as_deref() == Some(specimen) && s.retracted.is_none())
    {
        for trial in session.ride_through.iter().filter(|t| t.event == event) {
            let cell_v = trial.cell_voltage.si();
            match all.iter_mut().find(|t| (t.cell_v - cell_v).abs() < 0.01) {
                Some(known) => {
                    known.trials.resets += trial.resets;
                    known.trials.tried += trial.trials;
                }
                None => all.push(TrialsAt {
                    cell_v,
                    trials: Trials { resets: trial.resets, tried: trial.trials },
                }),
            }
        }
    }
    all.sort_by(|a, b| b.cell_v.total_cmp(&a.cell_v));
    all
}

/// Cell voltage down to which a board has to be tried before "does not reset" is known, V. Common practice, no source:
/// a full cell hides the drop of the hand-over.
pub const LOW_CELL_V: f64 = 3.55;

/// What trials say: a reset anywhere is "yes"; none down to a low cell is "no"; none on a full cell only is unknown.
fn verdict_of_trials(trials: &[TrialsAt]) -> Option<(Trait, String)> {
    let tried: u32 = trials.iter().map(|t| t.trials.tried).sum();
    if tried == 0 {
        return None;
    }
    let resets: u32 = trials.iter().map(|t| t.trials.resets).sum();
    let lowest = trials.last().map_or(f64::INFINITY, |t| t.cell_v);
    if resets > 0 {
        let at: Vec<String> = trials
            .iter()
            .filter(|t| t.trials.resets > 0)
            .map(|t| format!("{} of {} at {}", t.trials.resets, t.trials.tried, voltage(t.cell_v)))
            .collect();
        return Some((Seen::Known(YesNo::Yes), format!("resets {}", at.join(", "))));
    }
    let bound = assess(Trials { resets, tried }, 0.95).map_or(1.0, |a| a.at_most);
    let note = format!(
        "0 of {tried} resets down to {}: below {} at 95 %",
        voltage(lowest),
        percent(bound)
    );
    if lowest <= LOW_CELL_V {
        Some((Seen::Known(YesNo::No), note))
    } else {
        Some((Seen::Unknown, format!("{note}; not tried on a low cell")))
    }
}

/// Checks every trait that a project needs.
pub fn trait_needs(wanted: &Traits, sighted: &Sighted<'_>) -> Vec<NeedResult> {
    let mut results = Vec::new();
    for column in TRAITS {
        let want = (column.get)(wanted);
        let Some(word) = want.word else { continue };
        let have = (column.get)(&sighted.traits);
        let need = format!("{}: {word}", column.title);
        let result = match have.word {
            None => NeedResult {
                need,
                verdict: NeedVerdict::Undecided,
                reason: format!("unknown; {} ({:.0} min)", column.test, column.minutes),
                test_minutes: Some(column.minutes),
            },
            Some(found) if have.sure < 1.0 => NeedResult {
                need,
                verdict: NeedVerdict::Undecided,
                reason: format!(
                    "only inferred {found}, {}; {} ({:.0} min)",
                    percent(have.sure),
                    column.test,
                    column.minutes
                ),
                test_minutes: Some(column.minutes),
            },
            Some(found) => {
                let fits = found == word;
                NeedResult {
                    need,
                    verdict: if fits { NeedVerdict::Fits } else { NeedVerdict::DoesNot },
                    reason: found.to_owned(),
                    test_minutes: None,
                }
            }
        };
        results.push(result);
    }
    results
}
