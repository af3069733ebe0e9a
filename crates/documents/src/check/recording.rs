//! Recordings: references, paths, and parts of the layout that contradict each other. The files themselves are looked at elsewhere.

use crate::check::Checker;
use crate::document::DocumentKind;
use crate::folder::Entry;
use crate::locate::KeyPath;
use crate::types::recording::{Recording, Shows};

pub(super) fn recording(checker: &mut Checker<'_>, entry: &Entry<Recording>) {
    let root = KeyPath::root().key("recording");
    let recording = &entry.document;
    if let Some(id) = &recording.specimen
        && checker.folder.specimen(id).is_none()
    {
        let folder = checker.folder;
        let names: Vec<&str> =
            folder.specimens().map(|(_, specimen)| specimen.id.as_str()).collect();
        checker.inner_reference(entry, &root.key("specimen"), "specimen", id, &names);
    }
    instrument(checker, entry, &root);
    for (key, path) in [("trace", Some(&recording.trace)), ("kept", recording.kept.as_ref())] {
        let leads_out = |path: &String| {
            path.is_empty()
                || path.starts_with('/')
                || path.contains('\\')
                || path.split('/').any(|part| part.is_empty() || part == ".." || part == ".")
        };
        if path.is_some_and(leads_out) {
            checker.error(
                entry,
                &root.key(key),
                "recording-path",
                "this path does not lie in the folder",
                "write it from the folder on, with /, such as \"traces/before.csv\"",
            );
        }
    }
    if let Some(sum) = &recording.sha256
        && (sum.len() != 64 || !sum.bytes().all(|b| b.is_ascii_hexdigit()))
    {
        checker.error(
            entry,
            &root.key("sha256"),
            "recording-checksum",
            "a SHA-256 has 64 hexadecimal digits",
            "copy it whole, or remove the line: `trace keep` writes it",
        );
    }
    layout(checker, entry, &root.key("layout"));
    phases(checker, entry, &root.key("phases"));
    let rail = recording.shows == Some(Shows::Rail);
    if !rail && (recording.event.is_some() || recording.cell_voltage.is_some()) {
        checker.warning(
            entry,
            &root,
            "recording-shows",
            "`event` and `cell_voltage` belong to a capture of the rail, but this shows a current",
            "write `shows = \"rail\"`, or remove them",
        );
    }
}

fn instrument(checker: &mut Checker<'_>, entry: &Entry<Recording>, root: &KeyPath) {
    let folder = checker.folder;
    let recording = &entry.document;
    checker.reference(
        entry,
        &root.key("instrument"),
        DocumentKind::Instrument,
        recording.instrument.as_deref(),
    );
    let Some(range) = &recording.range else { return };
    let Some(instrument) = &recording.instrument else {
        checker.warning(
            entry,
            &root.key("range"),
            "range-without-instrument",
            "a range without its instrument tells nothing of its accuracy",
            "name the instrument too",
        );
        return;
    };
    if let Some(found) = folder.instruments.get(instrument) {
        let names: Vec<&str> =
            folder.ranges(&found.document).iter().map(|range| range.name.as_str()).collect();
        checker.inner_reference(entry, &root.key("range"), "range", range, &names);
    }
}

fn layout(checker: &mut Checker<'_>, entry: &Entry<Recording>, root: &KeyPath) {
    let layout = &entry.document.layout;
    if layout.rate.is_some() && layout.interval.is_some() {
        checker.error(
            entry,
            &root.key("interval"),
            "layout",
            "rate and interval both state the time from sample to sample",
            "keep one of them",
        );
    }
    let times = [
        ("time_column", layout.time_column),
        ("stamp_column", layout.stamp_column),
        ("clock_column", layout.clock_column),
    ];
    let mut stated = times.iter().filter(|(_, column)| column.is_some());
    if let (Some(_), Some((second, _))) = (stated.next(), stated.next()) {
        checker.error(
            entry,
            &root.key(second),
            "layout",
            "the time is stated in two ways",
            "keep one of `time_column`, `stamp_column`, `clock_column`",
        );
    }
    let zero = [
        ("time_column", layout.time_column),
        ("stamp_column", layout.stamp_column),
        ("clock_column", layout.clock_column),
        ("current_column", layout.current_column),
        ("less_column", layout.less_column),
        ("voltage_column", layout.voltage_column),
        ("channels", layout.channels),
    ];
    for (key, column) in zero {
        if column == Some(0) {
            checker.error(
                entry,
                &root.key(key),
                "layout",
                "columns and channels count from 1",
                "write 1 for the first",
            );
        }
    }
    if layout.less_column.is_some() && entry.document.shunt.is_none() {
        checker.error(
            entry,
            &root.key("less_column"),
            "layout",
            "a difference of two channels needs the resistor between them",
            "write `shunt = \"0.1 Ω\"` above",
        );
    }
}

fn phases(checker: &mut Checker<'_>, entry: &Entry<Recording>, root: &KeyPath) {
    for (index, rule) in entry.document.phases.iter().enumerate() {
        let place = root.index(index);
        let limits = [&rule.current_from, &rule.current_below].iter().any(|l| l.is_some())
            || rule.lasts_from.is_some()
            || rule.lasts_below.is_some();
        if !limits {
            checker.warning(
                entry,
                &place,
                "phase-without-limits",
                format!("\"{}\" has no limits and names every phase that reaches it", rule.name),
                "write `current_from`, `current_below`, `lasts_from` or `lasts_below`",
            );
        }
        let current = (&rule.current_from, &rule.current_below);
        let lasts = (&rule.lasts_from, &rule.lasts_below);
        let empty = matches!(current, (Some(a), Some(b)) if a.si() >= b.si())
            || matches!(lasts, (Some(a), Some(b)) if a.si() >= b.si());
        if empty {
            checker.error(
                entry,
                &place,
                "phase-empty",
                format!(
                    "no phase can be \"{}\": its upper limit is not above its lower",
                    rule.name
                ),
                "turn the limits round",
            );
        }
    }
}
