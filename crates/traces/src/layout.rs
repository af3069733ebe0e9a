//! How a trace file is laid out: what [`crate::detect`] finds, a person overrides, and a bench folder remembers.

use crate::error::TraceError;
use serde::{Deserialize, Serialize};
use std::fmt::Write as _;

/// The whole layout. Columns count from 0 here and from 1 in [`Layout::describe`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Layout {
    /// Text, raw numbers, Parquet or Arrow.
    pub format: Format,
    /// Where the time of a sample comes from.
    pub time: TimeSource,
    /// Where the current comes from.
    pub current: CurrentSource,
    /// A voltage recorded beside it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voltage: Option<VoltageSource>,
    /// Subtracted from every current (A): the zero that was read with the input open.
    #[serde(default)]
    pub offset_a: f64,
    /// The names of all columns, as the file has them; for the description only.
    #[serde(default)]
    pub column_names: Vec<String>,
    /// What detection had to guess, in words.
    #[serde(default)]
    pub doubts: Vec<String>,
}

/// The kind of file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Format {
    /// Rows of delimited text.
    Text(TextFormat),
    /// Numbers back to back, no header.
    Raw(RawFormat),
    /// Apache Parquet; columns by position.
    Parquet,
    /// Apache Arrow record batches, a file or a stream; columns by position.
    Arrow,
}

/// Delimited text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TextFormat {
    /// Between fields.
    pub delimiter: Delimiter,
    /// `1,5` is one and a half.
    pub decimal_comma: bool,
    /// Lines before the first row of numbers (preamble, header, unit row).
    pub skip_lines: u64,
}

/// What stands between two fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Delimiter {
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// Tab.
    Tab,
    /// `|`
    Pipe,
    /// One or more spaces or tabs.
    Spaces,
}

impl Delimiter {
    /// The delimiter's byte; a space for [`Delimiter::Spaces`].
    pub fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
            Self::Pipe => b'|',
            Self::Spaces => b' ',
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Comma => "commas",
            Self::Semicolon => "semicolons",
            Self::Tab => "tabs",
            Self::Pipe => "bars",
            Self::Spaces => "spaces",
        }
    }
}

/// Raw numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawFormat {
    /// Width.
    pub kind: RawKind,
    /// Most significant byte first.
    #[serde(default)]
    pub big_endian: bool,
    /// Interleaved channels.
    pub channels: usize,
    /// Bytes before the first sample.
    #[serde(default)]
    pub skip_bytes: u64,
}

/// IEEE 754 width of raw numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RawKind {
    /// 4 bytes.
    F32,
    /// 8 bytes.
    F64,
}

/// Where the time of a sample comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// A column of numbers.
    Column {
        /// Which.
        column: usize,
        /// Its unit in seconds.
        seconds_per_unit: f64,
    },
    /// A column that holds a date and time, or a time of day, as text.
    Stamp {
        /// Which.
        column: usize,
        /// How a date is written.
        order: DateOrder,
    },
    /// Date and time of day in two columns, fractions of a second perhaps in a third.
    Split {
        /// The date, if there is one.
        date: Option<usize>,
        /// The time of day.
        time: usize,
        /// The fraction, if it has a column of its own.
        fraction: Option<usize>,
        /// The fraction's unit in seconds (0.001 for milliseconds; 1 for `.25`).
        fraction_seconds_per_unit: f64,
        /// How a date is written.
        order: DateOrder,
    },
    /// Samples at a fixed interval; no time column.
    Interval {
        /// The interval (s).
        interval_s: f64,
    },
    /// A running number times a fixed interval.
    Index {
        /// Which column counts.
        column: usize,
        /// The interval (s).
        interval_s: f64,
    },
}

/// The order of a date's parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DateOrder {
    /// 2026-03-31
    YearMonthDay,
    /// 31.03.2026
    DayMonthYear,
    /// 03/31/2026
    MonthDayYear,
}

/// Where the current comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CurrentSource {
    /// A column of currents.
    Column {
        /// Which.
        column: usize,
        /// Its unit in amperes (negative to turn the sign round).
        amperes_per_unit: f64,
    },
    /// A voltage over a known shunt.
    Shunt {
        /// Which column.
        column: usize,
        /// Its unit in volts.
        volts_per_unit: f64,
        /// The shunt (Ω).
        shunt_ohm: f64,
    },
    /// The difference of two channels over a resistor.
    Difference {
        /// The side towards the source.
        plus: usize,
        /// The side towards the load.
        minus: usize,
        /// Unit of both in volts.
        volts_per_unit: f64,
        /// The resistor (Ω).
        resistor_ohm: f64,
    },
}

/// A voltage recorded beside the current.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VoltageSource {
    /// Which column.
    pub column: usize,
    /// Its unit in volts.
    pub volts_per_unit: f64,
}

impl CurrentSource {
    /// First column, second column of a difference, and amperes per unit of what stands there.
    pub(crate) fn columns(&self) -> (usize, Option<usize>, f64) {
        match *self {
            Self::Column { column, amperes_per_unit } => (column, None, amperes_per_unit),
            Self::Shunt { column, volts_per_unit, shunt_ohm } => {
                (column, None, volts_per_unit / shunt_ohm)
            }
            Self::Difference { plus, minus, volts_per_unit, resistor_ohm } => {
                (plus, Some(minus), volts_per_unit / resistor_ohm)
            }
        }
    }
}

impl TimeSource {
    /// The column that holds the time as numbers and seconds per unit of it; `None` where only the interval is known.
    ///
    /// # Errors
    /// [`TraceError::Layout`] for stamps as text, which a file of `format` does not hold.
    pub(crate) fn number_column(&self, format: &str) -> Result<Option<(usize, f64)>, TraceError> {
        match *self {
            Self::Column { column, seconds_per_unit } => Ok(Some((column, seconds_per_unit))),
            Self::Index { column, interval_s } => Ok(Some((column, interval_s))),
            Self::Interval { .. } => Ok(None),
            Self::Stamp { .. } | Self::Split { .. } => Err(TraceError::Layout {
                reason: format!("stamps as text are not read from {format}"),
            }),
        }
    }
}

impl Layout {
    /// The layout of raw numbers of one channel at `rate_hz`, in amperes.
    pub fn raw(kind: RawKind, rate_hz: f64) -> Self {
        Self {
            format: Format::Raw(RawFormat { kind, big_endian: false, channels: 1, skip_bytes: 0 }),
            time: TimeSource::Interval { interval_s: 1.0 / rate_hz },
            current: CurrentSource::Column { column: 0, amperes_per_unit: 1.0 },
            voltage: None,
            offset_a: 0.0,
            column_names: Vec::new(),
            doubts: Vec::new(),
        }
    }

    /// Are all numbers usable?
    ///
    /// # Errors
    /// [`TraceError::Layout`] for a zero or non-finite unit, interval, shunt or channel count.
    pub fn check(&self) -> Result<(), TraceError> {
        let wrong = |reason: String| Err(TraceError::Layout { reason });
        let scale = self.current.columns().2;
        if !scale.is_finite() || scale == 0.0 {
            return wrong(format!("the current's unit or shunt gives {scale} A per unit"));
        }
        if !self.offset_a.is_finite() {
            return wrong(format!("the offset is {} A", self.offset_a));
        }
        let interval = match self.time {
            TimeSource::Column { seconds_per_unit, .. } => seconds_per_unit,
            TimeSource::Split { fraction_seconds_per_unit, .. } => fraction_seconds_per_unit,
            TimeSource::Interval { interval_s } | TimeSource::Index { interval_s, .. } => {
                interval_s
            }
            TimeSource::Stamp { .. } => 1.0,
        };
        if !(interval.is_finite() && interval > 0.0) {
            return wrong(format!("the time's unit or interval is {interval} s"));
        }
        if let Some(v) = self.voltage
            && !(v.volts_per_unit.is_finite() && v.volts_per_unit != 0.0)
        {
            return wrong(format!("the voltage's unit is {} V", v.volts_per_unit));
        }
        if let Format::Raw(raw) = self.format {
            if raw.channels == 0 || raw.channels > 4096 {
                return wrong(format!("{} interleaved channels", raw.channels));
            }
            if self.last_column() >= raw.channels {
                return wrong(format!(
                    "channel {} is named, but a sample has {}",
                    self.last_column() + 1,
                    raw.channels
                ));
            }
        }
        if self.last_column() > 4096 {
            return wrong(format!("column {} is beyond the limit of 4096", self.last_column() + 1));
        }
        Ok(())
    }

    /// The highest column that is read.
    pub(crate) fn last_column(&self) -> usize {
        let (a, b, _) = self.current.columns();
        let t = match self.time {
            TimeSource::Column { column, .. }
            | TimeSource::Stamp { column, .. }
            | TimeSource::Index { column, .. } => column,
            TimeSource::Split { date, time, fraction, .. } => {
                time.max(date.unwrap_or(0)).max(fraction.unwrap_or(0))
            }
            TimeSource::Interval { .. } => 0,
        };
        a.max(b.unwrap_or(0)).max(t).max(self.voltage.map_or(0, |v| v.column))
    }

    /// The interval that the layout itself states.
    pub(crate) fn stated_interval_s(&self) -> Option<f64> {
        match self.time {
            TimeSource::Interval { interval_s } | TimeSource::Index { interval_s, .. } => {
                Some(interval_s)
            }
            _ => None,
        }
    }

    /// "I read this as …": one sentence a person can check.
    pub fn describe(&self) -> String {
        let mut s = String::from("I read this as ");
        match &self.format {
            Format::Text(t) => {
                let _ = write!(s, "text with {} between fields", t.delimiter.word());
                if t.decimal_comma {
                    s.push_str(" and decimal commas");
                }
                match t.skip_lines {
                    0 => s.push_str(", numbers from the first line on"),
                    1 => s.push_str(", one line before the numbers"),
                    n => {
                        let _ = write!(s, ", {n} lines before the numbers");
                    }
                }
            }
            Format::Raw(r) => {
                let width = match r.kind {
                    RawKind::F32 => "f32",
                    RawKind::F64 => "f64",
                };
                let end = if r.big_endian { "big-endian" } else { "little-endian" };
                let _ = write!(s, "raw {end} {width}, {} channel(s)", r.channels);
            }
            Format::Parquet => s.push_str("Parquet"),
            Format::Arrow => s.push_str("Arrow"),
        }
        s.push_str("; time: ");
        match &self.time {
            TimeSource::Column { column, seconds_per_unit } => {
                let _ =
                    write!(s, "{} in {}", self.column(*column), unit_of_time(*seconds_per_unit));
            }
            TimeSource::Stamp { column, order } => {
                let _ = write!(s, "{} as date and time ({})", self.column(*column), order.word());
            }
            TimeSource::Split { date, time, fraction, fraction_seconds_per_unit, order } => {
                if let Some(d) = date {
                    let _ = write!(s, "date in {} ({}), ", self.column(*d), order.word());
                }
                let _ = write!(s, "time of day in {}", self.column(*time));
                if let Some(f) = fraction {
                    let unit = unit_of_time(*fraction_seconds_per_unit);
                    let _ = write!(s, ", fraction in {} in {unit}", self.column(*f));
                }
            }
            TimeSource::Interval { interval_s } => {
                let _ = write!(s, "one sample every {} s", short(*interval_s));
            }
            TimeSource::Index { column, interval_s } => {
                let _ = write!(
                    s,
                    "running number in {}, {} s each",
                    self.column(*column),
                    short(*interval_s)
                );
            }
        }
        s.push_str("; current: ");
        match &self.current {
            CurrentSource::Column { column, amperes_per_unit } => {
                let _ =
                    write!(s, "{} in {}", self.column(*column), unit_of_current(*amperes_per_unit));
            }
            CurrentSource::Shunt { column, volts_per_unit, shunt_ohm } => {
                let unit = unit_of_voltage(*volts_per_unit);
                let _ =
                    write!(s, "{} in {unit} over {} Ω", self.column(*column), short(*shunt_ohm));
            }
            CurrentSource::Difference { plus, minus, volts_per_unit, resistor_ohm } => {
                let unit = unit_of_voltage(*volts_per_unit);
                let (a, b) = (self.column(*plus), self.column(*minus));
                let _ = write!(s, "{a} less {b}, in {unit}, over {} Ω", short(*resistor_ohm));
            }
        }
        if let Some(v) = &self.voltage {
            let _ = write!(
                s,
                "; voltage: {} in {}",
                self.column(v.column),
                unit_of_voltage(v.volts_per_unit)
            );
        }
        if self.offset_a != 0.0 {
            let _ = write!(s, "; {} A taken off as the zero", short(self.offset_a));
        }
        s.push('.');
        for doubt in &self.doubts {
            let _ = write!(s, " Not sure: {doubt}.");
        }
        s
    }

    fn column(&self, column: usize) -> String {
        match self.column_names.get(column).map(|n| n.trim()) {
            Some(name) if !name.is_empty() => format!("column {} \"{name}\"", column + 1),
            _ => format!("column {}", column + 1),
        }
    }
}

impl DateOrder {
    fn word(self) -> &'static str {
        match self {
            Self::YearMonthDay => "year, month, day",
            Self::DayMonthYear => "day, month, year",
            Self::MonthDayYear => "month, day, year",
        }
    }
}

/// A number without a tail of noise digits.
pub(crate) fn short(x: f64) -> String {
    let text = format!("{x:.6e}");
    let rounded: f64 = text.parse().unwrap_or(x);
    format!("{rounded}")
}

fn unit_of_time(s: f64) -> String {
    named(
        s,
        &[(1.0, "s"), (1e-3, "ms"), (1e-6, "µs"), (1e-9, "ns"), (60.0, "min"), (3600.0, "h")],
        "s",
    )
}

fn unit_of_current(a: f64) -> String {
    named(a, &[(1.0, "A"), (1e-3, "mA"), (1e-6, "µA"), (1e-9, "nA"), (-1.0, "A, sign turned")], "A")
}

fn unit_of_voltage(v: f64) -> String {
    named(v, &[(1.0, "V"), (1e-3, "mV"), (1e-6, "µV")], "V")
}

fn named(value: f64, names: &[(f64, &str)], base: &str) -> String {
    for (v, name) in names {
        if (value / v - 1.0).abs() < 1e-9 {
            return (*name).to_owned();
        }
    }
    format!("units of {} {base}", short(value))
}
