//! Sessions and claims: who was measured, on which range, and whether the readings can be true together with the traits.

use overwinter_quantity::AnyQuantity;

use crate::check::Checker;
use crate::choice::YesNo;
use crate::date::Date;
use crate::diagnostic::{Diagnostic, Severity};
use crate::document::DocumentKind;
use crate::folder::Entry;
use crate::locate::KeyPath;
use crate::seen::Seen;
use crate::types::board::{Board, Specimen};
use crate::types::session::{Claim, PolarityVerdict, Reading, Session, SourceEvent, What};

pub(super) fn session(checker: &mut Checker<'_>, entry: &Entry<Session>) {
    let root = KeyPath::root().key("session");
    let session = &entry.document;
    let subjects =
        [&session.specimen, &session.module, &session.cell].into_iter().flatten().count();
    if subjects != 1 {
        checker.error(
            entry,
            &root,
            "session-subject",
            format!("a session is about one thing, here are {subjects}"),
            "write one of `specimen`, `module` or `cell`",
        );
    }
    checker.reference(entry, &root.key("module"), DocumentKind::Module, session.module.as_deref());
    checker.reference(entry, &root.key("cell"), DocumentKind::Cell, session.cell.as_deref());
    checker.reference(
        entry,
        &root.key("instrument"),
        DocumentKind::Instrument,
        session.instrument.as_deref(),
    );
    for (index, reading) in session.readings.iter().enumerate() {
        let place = root.key("readings").index(index);
        self::reading(checker, entry, &place, reading, session.instrument.as_deref());
        let name = reading.recording.as_deref();
        checker.reference(entry, &place.key("recording"), DocumentKind::Recording, name);
    }
    let superseded =
        session.retracted.as_ref().and_then(|retracted| retracted.superseded_by.as_deref());
    let place = root.key("retracted").key("superseded_by");
    checker.reference(entry, &place, DocumentKind::Session, superseded);
    for (index, trial) in session.ride_through.iter().enumerate() {
        let place = root.key("ride_through").index(index).key("recording");
        let name = trial.recording.as_deref();
        checker.reference(entry, &place, DocumentKind::Recording, name);
    }
    trials(checker, entry, &root);
    let polarity = session.polarity.as_ref().map(crate::types::session::Polarity::verdict);
    polarity_alone(checker, entry, &root, polarity);
    if let Some(id) = &session.specimen {
        let folder = checker.folder;
        let found = folder.specimen(id);
        let Some((board, specimen)) = found else {
            let names: Vec<&str> =
                folder.specimens().map(|(_, specimen)| specimen.id.as_str()).collect();
            checker.inner_reference(entry, &root.key("specimen"), "specimen", id, &names);
            return;
        };
        against_specimen(checker, entry, &root, &board.document, specimen, polarity);
    }
}

/// What the specimen's own document says against the session.
fn against_specimen(
    checker: &mut Checker<'_>,
    entry: &Entry<Session>,
    root: &KeyPath,
    board: &Board,
    specimen: &Specimen,
    polarity: Option<PolarityVerdict>,
) {
    let session = &entry.document;
    if let Some(bought) = specimen.bought {
        early(checker, entry, root, session.date, bought, &specimen.id);
    }
    if let Some(dead) = &specimen.dead
        && session.date > dead.since
        && !session.readings.is_empty()
    {
        checker.error(
            entry,
            &root.key("readings"),
            "reading-of-a-dead-specimen",
            format!("{} died on {}; it has readings of {}", specimen.id, dead.since, session.date),
            "correct the date or the specimen; the electrical fields of a dead specimen stay empty",
        );
    }
    let traits = board.traits_of(specimen);
    if let (Some(PolarityVerdict::Positive(side)), Seen::Known(written)) =
        (polarity, traits.positive_side)
        && side != written
    {
        let diagnostic = Diagnostic::new(
            "polarity-contradiction",
            Severity::Error,
            format!(
                "the observations put + on the {side}, but {} is entered with + on the {written}",
                specimen.id
            ),
        )
        .help(
            "do not connect a cell; measure both contacts again and correct the one that is wrong",
        );
        checker.tell(entry, &root.key("polarity"), diagnostic);
    }
    for (index, trial) in session.ride_through.iter().enumerate() {
        let claimed = match trial.event {
            SourceEvent::Removed => traits.resets_on_source_removed,
            SourceEvent::Attached => traits.resets_on_source_attached,
        };
        if claimed == Seen::Known(YesNo::No) && trial.resets > 0 {
            checker.error(
                entry,
                &root.key("ride_through").index(index).key("resets"),
                "trait-contradiction",
                format!(
                    "{} resets of {} trials were seen, but the trait of {} says it does not reset when the source is {}",
                    trial.resets, trial.trials, specimen.id, trial.event
                ),
                "correct the trait: leave it out, or write \"yes\"; the trials tell at which cell voltage",
            );
        }
    }
    for (index, reading) in session.readings.iter().enumerate() {
        let of_charger = matches!(
            reading.what,
            What::ChargeCurrent
                | What::ChargeCurrentHot
                | What::FloatVoltage
                | What::TerminationCurrent
        );
        if of_charger && traits.charger == Seen::Known(YesNo::No) {
            checker.error(
                entry,
                &root.key("readings").index(index).key("what"),
                "trait-contradiction",
                format!(
                    "a {} was read, but the trait of {} says charger = \"no\"",
                    reading.what, specimen.id
                ),
                "correct the trait, or the reading",
            );
        }
    }
}

fn early(
    checker: &mut Checker<'_>,
    entry: &Entry<Session>,
    root: &KeyPath,
    date: Date,
    bought: Date,
    id: &str,
) {
    if date < bought {
        checker.error(
            entry,
            &root.key("date"),
            "date-order",
            format!("{id} was bought on {bought}, the session is of {date}"),
            "correct one of the two dates",
        );
    }
}

fn polarity_alone(
    checker: &mut Checker<'_>,
    entry: &Entry<Session>,
    root: &KeyPath,
    polarity: Option<PolarityVerdict>,
) {
    let (message, help) = match polarity {
        Some(PolarityVerdict::BothNearZero) => (
            "both battery contacts read near zero ohms against the shield",
            "USB was probably left in: take it out and measure again",
        ),
        Some(PolarityVerdict::NoneNearZero) => (
            "no battery contact reads near zero ohms against the shield",
            "stop: the negative lead may be switched; trace the board before any cell is connected",
        ),
        Some(PolarityVerdict::Contradict) => (
            "the two polarity observations contradict each other",
            "do not connect a cell; measure both contacts again, first without USB, then with USB and no cell",
        ),
        _ => return,
    };
    let diagnostic = Diagnostic::new("polarity", Severity::Danger, message).help(help);
    checker.tell(entry, &root.key("polarity"), diagnostic);
}

fn trials(checker: &mut Checker<'_>, entry: &Entry<Session>, root: &KeyPath) {
    for (index, trial) in entry.document.ride_through.iter().enumerate() {
        let place = root.key("ride_through").index(index);
        if trial.trials == 0 {
            let help = "write how many times the source was removed or attached";
            checker.error(entry, &place.key("trials"), "trials", "no trial was made", help);
        } else if trial.resets > trial.trials {
            checker.error(
                entry,
                &place.key("resets"),
                "trials",
                format!("{} resets in {} trials cannot be", trial.resets, trial.trials),
                "correct one of the two numbers",
            );
        }
    }
}

pub(super) fn claim(checker: &mut Checker<'_>, entry: &Entry<Claim>) {
    let root = KeyPath::root().key("claim");
    let claim = &entry.document;
    checker.reference(entry, &root.key("board"), DocumentKind::Board, Some(&claim.board));
    let folder = checker.folder;
    if let (Some(board), Some(revision)) = (folder.boards.get(&claim.board), &claim.revision) {
        let names: Vec<&str> =
            board.document.revisions.iter().map(|revision| revision.name.as_str()).collect();
        checker.inner_reference(
            entry,
            &root.key("revision"),
            "revision of that board",
            revision,
            &names,
        );
    }
    for (index, reading) in claim.readings.iter().enumerate() {
        let place = root.key("readings").index(index);
        value_and_dimension(checker, entry, &place, reading);
    }
}

fn reading(
    checker: &mut Checker<'_>,
    entry: &Entry<Session>,
    place: &KeyPath,
    reading: &Reading,
    session_instrument: Option<&str>,
) {
    value_and_dimension(checker, entry, place, reading);
    checker.reference(
        entry,
        &place.key("instrument"),
        DocumentKind::Instrument,
        reading.instrument.as_deref(),
    );
    let instrument = reading.instrument.as_deref().or(session_instrument);
    let Some(instrument) = instrument else {
        checker.warning(
            entry,
            &place.key("what"),
            "reading-without-instrument",
            format!(
                "nobody knows with what this {} was read: its uncertainty stays unknown",
                reading.what
            ),
            "write `instrument` in the reading or in [session]",
        );
        return;
    };
    let folder = checker.folder;
    let Some(known) = folder.instruments.get(instrument) else { return };
    let Some(range) = &reading.range else { return };
    let ranges = folder.ranges(&known.document);
    let names: Vec<&str> = ranges.iter().map(|range| range.name.as_str()).collect();
    let what = format!("range of \"{instrument}\"");
    checker.inner_reference(entry, &place.key("range"), &what, range, &names);
    let Some(range) = ranges.iter().find(|known| &known.name == range) else { return };
    if range.limit.dimension() != reading.what.dimension() {
        checker.warning(
            entry,
            &place.key("range"),
            "range-dimension",
            format!("the range \"{}\" measures {}, the reading is of {}", range.name, range.limit.dimension().name, reading.what),
            "write the range that was in use, or leave it out for a figure that was computed from others",
        );
        return;
    }
    let values = reading.value.iter().map(|value| (value, place.key("value")));
    let repeats = reading.repeats.iter().enumerate();
    let repeats = repeats.map(|(index, value)| (value, place.key("repeats").index(index)));
    for (value, key) in values.chain(repeats) {
        if value.dimension() == range.limit.dimension()
            && value.si().abs() > range.limit.si() * (1.0 + 1e-9)
        {
            checker.warning(
                entry,
                &key,
                "above-range",
                format!("{} is above the limit of the range \"{}\"", value.text(), range.name),
                "check value, unit and range; the reading is kept, but its uncertainty cannot be told",
            );
        }
    }
}

/// A reading has a value of the right dimension, repeats and zeros of the same.
fn value_and_dimension<T>(
    checker: &mut Checker<'_>,
    entry: &Entry<T>,
    place: &KeyPath,
    reading: &Reading,
) {
    let needed = reading.what.dimension();
    if reading.value.is_none() && reading.repeats.is_empty() && reading.settling.is_empty() {
        checker.warning(
            entry,
            &place.key("what"),
            "reading-without-value",
            format!("this {} has no value yet: it counts for nothing", reading.what),
            format!("write `value = \"{}\"` or `repeats = [\"{0}\", …]`", needed.examples[0]),
        );
    }
    let mut values: Vec<(&AnyQuantity, KeyPath)> = Vec::new();
    values.extend(reading.value.iter().map(|value| (value, place.key("value"))));
    values.extend(reading.type_a.iter().map(|value| (value, place.key("type_a"))));
    values.extend(reading.zero_before.iter().map(|value| (value, place.key("zero_before"))));
    values.extend(reading.zero_after.iter().map(|value| (value, place.key("zero_after"))));
    for (index, point) in reading.settling.iter().enumerate() {
        values.push((&point.value, place.key("settling").index(index).key("value")));
        let before = index.checked_sub(1).and_then(|k| reading.settling.get(k));
        if before.is_some_and(|before| before.after.si() >= point.after.si()) {
            checker.error(
                entry,
                &place.key("settling").index(index).key("after"),
                "settling-order",
                "the times of a settling record must advance",
                "put the points in order of time, counted from one moment",
            );
        }
    }
    let repeats = reading.repeats.iter().enumerate();
    values.extend(repeats.map(|(index, value)| (value, place.key("repeats").index(index))));
    for (value, key) in values {
        if value.dimension() != needed {
            checker.error(
                entry,
                &key,
                "reading-dimension",
                format!(
                    "{} is {}, but a {} is {}",
                    value.text(),
                    value.dimension().name,
                    reading.what,
                    needed.name
                ),
                format!("units that fit: {}", needed.fits),
            );
        }
    }
    let first = reading.repeats.first().map(AnyQuantity::si);
    if reading.repeats.len() >= 3 && reading.repeats.iter().all(|value| Some(value.si()) == first) {
        let diagnostic = Diagnostic::new(
            "repeats-of-zero-spread",
            Severity::Note,
            format!("{} repeats are all {}", reading.repeats.len(), reading.repeats[0].text()),
        )
        .help("the meter's resolution hides the spread; it stands in for it in the budget");
        checker.tell(entry, &place.key("repeats").index(0), diagnostic);
    }
    if let (Some(value), Some(low), Some(high)) =
        (&reading.value, minimum(&reading.repeats), maximum(&reading.repeats))
        && (value.si() < low || value.si() > high)
    {
        checker.warning(
            entry,
            &place.key("value"),
            "value-outside-repeats",
            format!("the value {} lies outside its own repeats", value.text()),
            "leave `value` out: the mean of the repeats holds; or correct one of them",
        );
    }
}

fn minimum(values: &[AnyQuantity]) -> Option<f64> {
    values.iter().map(AnyQuantity::si).reduce(f64::min)
}

fn maximum(values: &[AnyQuantity]) -> Option<f64> {
    values.iter().map(AnyQuantity::si).reduce(f64::max)
}
