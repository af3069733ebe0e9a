//! Meters: names of ranges, units of their figures.

use overwinter_quantity::{Accuracy, Floor};

use crate::check::Checker;
use crate::document::DocumentKind;
use crate::folder::Entry;
use crate::locate::KeyPath;
use crate::types::meter::{Instrument, Meter, MeterRange};

pub(super) fn meter(checker: &mut Checker<'_>, entry: &Entry<Meter>) {
    ranges(checker, entry, &KeyPath::parse("meter.ranges"), &entry.document.ranges);
}

pub(super) fn instrument(checker: &mut Checker<'_>, entry: &Entry<Instrument>) {
    let root = KeyPath::root().key("instrument");
    let instrument = &entry.document;
    checker.reference(entry, &root.key("class"), DocumentKind::Meter, instrument.class.as_deref());
    ranges(checker, entry, &root.key("ranges"), &instrument.ranges);
    if instrument.class.is_none() && instrument.ranges.is_empty() {
        checker.warning(
            entry,
            &root.key("name"),
            "instrument-without-ranges",
            "the instrument has neither class nor ranges: the uncertainty of its readings stays unknown",
            "write `class` (a name of meters/) or [[instrument.ranges]]",
        );
    }
}

fn ranges<T>(checker: &mut Checker<'_>, entry: &Entry<T>, place: &KeyPath, ranges: &[MeterRange]) {
    let names: Vec<&str> = ranges.iter().map(|range| range.name.as_str()).collect();
    checker.unique(entry, place, "name", "ranges", &names);
    for (index, range) in ranges.iter().enumerate() {
        let place = place.index(index);
        let needed = range.limit.dimension();
        if let Some(resolution) = &range.resolution
            && resolution.dimension() != needed
        {
            checker.error(
                entry,
                &place.key("resolution"),
                "range-dimension",
                format!(
                    "the resolution is {}, the range's limit {}",
                    resolution.dimension().name,
                    needed.name
                ),
                format!("units that fit: {}", needed.fits),
            );
        }
        let floor = range.accuracy.as_ref().and_then(|accuracy: &Accuracy| accuracy.floor.as_ref());
        match floor {
            Some(Floor::Absolute(value)) if value.dimension() != needed => checker.error(
                entry,
                &place.key("accuracy"),
                "range-dimension",
                format!(
                    "the floor of the accuracy is {}, the range's limit {}",
                    value.dimension().name,
                    needed.name
                ),
                format!("units that fit: {}", needed.fits),
            ),
            Some(Floor::Counts(_)) if range.resolution.is_none() => checker.warning(
                entry,
                &place.key("accuracy"),
                "range-without-resolution",
                "the accuracy is stated in counts, but the value of a count is unknown",
                "write `resolution`, such as \"0.1 µA\"",
            ),
            _ => {}
        }
    }
}
