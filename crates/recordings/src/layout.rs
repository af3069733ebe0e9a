//! From what a person states of a file's layout, over what is found in the file, to the reader's layout.

use overwinter_documents::YesNo;
use overwinter_documents::types::recording::{Between, DateParts, LayoutNote, Samples};
use overwinter_traces::{
    CurrentSource, DateOrder, Delimiter, Format, Layout, RawKind, Source, TimeSource, TraceError,
    VoltageSource, detect_stated,
};

use crate::RecordingError;

/// The layout of an opened source: what `note` states, and for the rest what the file tells.
///
/// `shunt_ohm` belongs to the recording, not to its file. `rail` reads the voltage column as the quantity recorded.
///
/// # Errors
/// [`RecordingError::Trace`] where the file tells too little, or what was stated cannot be.
pub fn complete(
    source: &mut Source,
    note: &LayoutNote,
    shunt_ohm: Option<f64>,
    offset_a: f64,
    rail: bool,
) -> Result<Layout, RecordingError> {
    let interval_s = match (&note.interval, &note.rate) {
        (Some(interval), _) => Some(interval.si()),
        (None, Some(rate)) => Some(1.0 / rate.si()),
        (None, None) => None,
    };
    let mut layout = if let Some(kind @ (Samples::F32 | Samples::F64)) = note.samples {
        let Some(interval_s) = interval_s else {
            return Err(TraceError::Undecided {
                what: "raw numbers do not tell their sampling rate".to_owned(),
                advice: "state it".to_owned(),
            }
            .into());
        };
        let width = if kind == Samples::F32 { RawKind::F32 } else { RawKind::F64 };
        Layout::raw(width, 1.0 / interval_s)
    } else {
        // A stated column of time is put in below: the file need not tell one.
        let stated = [note.time_column, note.stamp_column, note.clock_column];
        let some = stated.iter().any(Option::is_some).then_some(1.0);
        // A voltage read as if over 1 Ω is a number of volts.
        detect_stated(source, interval_s.or(some), if rail { Some(1.0) } else { shunt_ohm })?
    };
    over(&mut layout, note, interval_s);
    if rail {
        rail_column(&mut layout, note);
    } else {
        current_column(&mut layout, note, shunt_ohm)?;
    }
    if offset_a != 0.0 {
        layout.offset_a = offset_a;
    }
    layout.check()?;
    Ok(layout)
}

fn column(number: u32) -> usize {
    number.saturating_sub(1) as usize
}

/// Format and time.
fn over(layout: &mut Layout, note: &LayoutNote, interval_s: Option<f64>) {
    match &mut layout.format {
        Format::Text(text) => {
            if let Some(between) = note.between {
                text.delimiter = match between {
                    Between::Comma => Delimiter::Comma,
                    Between::Semicolon => Delimiter::Semicolon,
                    Between::Tab => Delimiter::Tab,
                    Between::Bar => Delimiter::Pipe,
                    Between::Spaces => Delimiter::Spaces,
                };
            }
            if let Some(answer) = note.decimal_comma {
                text.decimal_comma = answer == YesNo::Yes;
            }
            if let Some(lines) = note.skip_lines {
                text.skip_lines = u64::from(lines);
            }
        }
        Format::Raw(raw) => {
            raw.big_endian = note.big_endian == Some(YesNo::Yes);
            raw.channels = note.channels.unwrap_or(1) as usize;
            raw.skip_bytes = u64::from(note.skip_bytes.unwrap_or(0));
        }
        Format::Parquet | Format::Arrow => {}
    }
    let stated = [note.time_column, note.stamp_column, note.clock_column];
    let stated = stated.iter().any(Option::is_some);
    if let Some(interval_s) = interval_s
        && !stated
    {
        // A person's word stands over a column.
        layout.time = match layout.time {
            TimeSource::Index { column, .. } => TimeSource::Index { column, interval_s },
            _ => TimeSource::Interval { interval_s },
        };
    }
    let found_order = match layout.time {
        TimeSource::Stamp { order, .. } | TimeSource::Split { order, .. } => Some(order),
        _ => None,
    };
    let order = note.date.map(|parts| match parts {
        DateParts::YearMonthDay => DateOrder::YearMonthDay,
        DateParts::DayMonthYear => DateOrder::DayMonthYear,
        DateParts::MonthDayYear => DateOrder::MonthDayYear,
    });
    if let Some(number) = note.time_column {
        let found = match layout.time {
            TimeSource::Column { seconds_per_unit, .. } => seconds_per_unit,
            _ => 1.0,
        };
        let seconds_per_unit = note.time_unit.as_ref().map_or(found, |unit| unit.si());
        layout.time = TimeSource::Column { column: column(number), seconds_per_unit };
    } else if let Some(number) = note.stamp_column {
        let order = order.or(found_order).unwrap_or(DateOrder::YearMonthDay);
        layout.time = TimeSource::Stamp { column: column(number), order };
    } else if split_is_stated(note) {
        split(layout, note, order);
    } else {
        match (&mut layout.time, &note.time_unit) {
            (TimeSource::Column { seconds_per_unit, .. }, Some(unit)) => {
                *seconds_per_unit = unit.si();
            }
            (TimeSource::Stamp { order: o, .. } | TimeSource::Split { order: o, .. }, None) => {
                *o = order.unwrap_or(*o);
            }
            _ => {}
        }
    }
}

fn split_is_stated(note: &LayoutNote) -> bool {
    note.clock_column.is_some()
        || note.date_column.is_some()
        || note.fraction_column.is_some()
        || note.fraction_unit.is_some()
}

/// Date, time of day and fraction in columns of their own: what is stated over what was found.
fn split(layout: &mut Layout, note: &LayoutNote, order: Option<DateOrder>) {
    let (mut date, mut time, mut fraction, mut unit, mut found_order) = match layout.time {
        TimeSource::Split { date, time, fraction, fraction_seconds_per_unit, order } => {
            (date, Some(time), fraction, fraction_seconds_per_unit, order)
        }
        TimeSource::Stamp { order, .. } => (None, None, None, 1.0, order),
        _ => (None, None, None, 1.0, DateOrder::YearMonthDay),
    };
    // Counted from 1; 0 says that there is none.
    let over = |found: &mut Option<usize>, stated: Option<u32>| match stated {
        Some(0) => *found = None,
        Some(number) => *found = Some(column(number)),
        None => {}
    };
    over(&mut time, note.clock_column);
    over(&mut date, note.date_column);
    over(&mut fraction, note.fraction_column);
    if note.fraction_column.is_some() || note.fraction_unit.is_some() {
        layout.doubts.retain(|doubt| !doubt.contains("fraction"));
    }
    unit = note.fraction_unit.as_ref().map_or(unit, |unit| unit.si());
    found_order = order.unwrap_or(found_order);
    if let Some(time) = time {
        layout.time = TimeSource::Split {
            date,
            time,
            fraction,
            fraction_seconds_per_unit: unit,
            order: found_order,
        };
    }
}

fn current_column(
    layout: &mut Layout,
    note: &LayoutNote,
    shunt_ohm: Option<f64>,
) -> Result<(), RecordingError> {
    let (found, found_unit) = match layout.current {
        CurrentSource::Column { column, amperes_per_unit } => (column, amperes_per_unit),
        CurrentSource::Shunt { column, volts_per_unit, .. } => (column, volts_per_unit),
        CurrentSource::Difference { plus, volts_per_unit, .. } => (plus, volts_per_unit),
    };
    let number = note.current_column.map_or(found, column);
    if let Some(less) = note.less_column {
        let Some(resistor_ohm) = shunt_ohm else {
            return Err(RecordingError::missing(
                "a difference of two channels needs the resistor between them",
                "say --shunt \"0.1 Ω\"",
            ));
        };
        let volts_per_unit = note.shunt_unit.as_ref().map_or(1.0, |unit| unit.si());
        let minus = column(less);
        layout.current =
            CurrentSource::Difference { plus: number, minus, volts_per_unit, resistor_ohm };
    } else if let Some(unit) = &note.shunt_unit {
        let Some(shunt_ohm) = shunt_ohm else {
            return Err(RecordingError::missing(
                "a voltage over a shunt needs the shunt",
                "say --shunt \"0.1 Ω\"",
            ));
        };
        layout.current =
            CurrentSource::Shunt { column: number, volts_per_unit: unit.si(), shunt_ohm };
    } else if note.current_column.is_some() || note.current_unit.is_some() {
        let is_current = matches!(layout.current, CurrentSource::Column { .. });
        let amperes_per_unit = match &note.current_unit {
            Some(unit) => unit.si(),
            None if is_current => found_unit,
            None => 1.0,
        };
        layout.current = CurrentSource::Column { column: number, amperes_per_unit };
    } else if let (CurrentSource::Shunt { shunt_ohm: ohm, .. }, Some(stated)) =
        (&mut layout.current, shunt_ohm)
    {
        *ohm = stated;
    }
    if let Some(number) = note.voltage_column {
        let found = layout.voltage.map_or(1.0, |v| v.volts_per_unit);
        let volts_per_unit = note.voltage_unit.as_ref().map_or(found, |unit| unit.si());
        layout.voltage = Some(VoltageSource { column: column(number), volts_per_unit });
    } else if let (Some(voltage), Some(unit)) = (&mut layout.voltage, &note.voltage_unit) {
        voltage.volts_per_unit = unit.si();
    }
    Ok(())
}

/// The rail's voltage as the quantity that is read.
fn rail_column(layout: &mut Layout, note: &LayoutNote) {
    let (found, found_unit) = match (layout.voltage, &layout.current) {
        (_, CurrentSource::Shunt { column, volts_per_unit, .. }) => (*column, *volts_per_unit),
        (_, CurrentSource::Difference { plus, volts_per_unit, .. }) => (*plus, *volts_per_unit),
        (Some(v), _) => (v.column, v.volts_per_unit),
        (None, CurrentSource::Column { column, amperes_per_unit }) => (*column, *amperes_per_unit),
    };
    let number = note.voltage_column.or(note.current_column).map_or(found, column);
    let volts = note.voltage_unit.as_ref().map_or(found_unit, |unit| unit.si());
    layout.current = CurrentSource::Column { column: number, amperes_per_unit: volts };
    layout.voltage = None;
    layout.doubts.retain(|doubt| !doubt.contains("resistor") && !doubt.contains("current"));
}
