//! Recordings: a trace of a current or of a rail, with what is needed to believe it and how its file is read.

use overwinter_quantity::{Current, Duration, Frequency, Resistance, Temperature, Voltage};

use crate::choice::{Kind, YesNo, choices};
use crate::date::Date;
use crate::layer::{record, sparse};
use crate::types::session::{Doing, Edge, Firmware, Source, SourceEvent};

choices! {
    /// What a recording shows.
    pub enum Shows: "what a recording shows" {
        /// The current of a board.
        Current = "current",
        /// The voltage of its rail while the source comes or goes.
        Rail = "rail",
    }

    /// What stands between two fields of a text file.
    pub enum Between: "what stands between fields" {
        /// Commas.
        Comma = "comma",
        /// Semicolons.
        Semicolon = "semicolon",
        /// Tabs.
        Tab = "tab",
        /// Bars.
        Bar = "bar",
        /// Spaces.
        Spaces = "spaces",
    }

    /// How the samples are written.
    pub enum Samples: "a format of samples" {
        /// Rows of text.
        Text = "text",
        /// Raw numbers of four bytes.
        F32 = "f32",
        /// Raw numbers of eight bytes.
        F64 = "f64",
        /// Parquet.
        Parquet = "Parquet",
        /// Arrow record batches, a file or a stream.
        Arrow = "Arrow",
    }

    /// The order of a date's parts.
    pub enum DateParts: "an order of a date" {
        /// 2026-03-31
        YearMonthDay = "year, month, day",
        /// 31.03.2026
        DayMonthYear = "day, month, year",
        /// 03/31/2026
        MonthDayYear = "month, day, year",
    }
}

record! {
    /// A recording of one specimen.
    pub struct Recording {
        /// Name, unique among recordings.
        pub name: String,
        /// The specimen recorded.
        pub specimen: Option<String>,
        /// When.
        pub date: Date,
        /// Who.
        pub who: Option<String>,
        /// A current unless stated otherwise.
        pub shows: Option<Shows>,
        /// The instrument: a name of `instruments/`.
        pub instrument: Option<String>,
        /// The range in use, by its name.
        pub range: Option<String>,
        /// The shunt, where a voltage over one was recorded.
        pub shunt: Option<Resistance>,
        /// What fed the board.
        pub source: Option<Source>,
        /// Supply voltage at the board.
        pub supply: Option<Voltage>,
        /// Temperature of the board.
        pub temperature: Option<Temperature>,
        /// The firmware that ran.
        pub firmware: Option<Firmware>,
        /// Kind of the figures: measured, unless they are invented for the demo.
        pub kind: Option<Kind>,
        /// A remark.
        pub note: Option<String>,
        /// The source file, as a path in the folder.
        pub trace: String,
        /// SHA-256 of the source file, hexadecimal.
        pub sha256: Option<String>,
        /// The kept form, as a path in the folder.
        pub kept: Option<String>,
        /// The zero that was read with the input open; taken off every current.
        pub offset: Option<Current>,
        /// How the file is read; what is left out is found in the file.
        #[serde(default)]
        pub layout: LayoutNote,
        /// Names of phases: the first whose limits hold names a phase.
        #[serde(default)]
        pub phases: Vec<PhaseName>,
        /// Of a rail capture: what happened to the source.
        pub event: Option<SourceEvent>,
        /// Of a rail capture: what the board was doing.
        pub doing: Option<Doing>,
        /// Of a rail capture: how the source came or went.
        pub edge: Option<Edge>,
        /// Of a rail capture: the voltage of the cell.
        pub cell_voltage: Option<Voltage>,
    }

    /// A name for phases within a band of current and a band of duration.
    pub struct PhaseName {
        /// The name.
        pub name: String,
        /// Mean current at least.
        pub current_from: Option<Current>,
        /// Mean current below.
        pub current_below: Option<Current>,
        /// Duration at least.
        pub lasts_from: Option<Duration>,
        /// Duration below.
        pub lasts_below: Option<Duration>,
    }
}

sparse! {
    /// How a trace file is read. Columns count from 1. What is left out is found in the file.
    pub struct LayoutNote {
        /// Text, raw numbers, Parquet or Arrow.
        pub samples: Option<Samples>,
        /// Between fields.
        pub between: Option<Between>,
        /// `1,5` is one and a half.
        pub decimal_comma: Option<YesNo>,
        /// Lines before the numbers.
        pub skip_lines: Option<u32>,
        /// Raw numbers: most significant byte first.
        pub big_endian: Option<YesNo>,
        /// Raw numbers: interleaved channels.
        pub channels: Option<u32>,
        /// Raw numbers: bytes before the first sample.
        pub skip_bytes: Option<u32>,
        /// Samples a second, where no column holds the time.
        pub rate: Option<Frequency>,
        /// Time from sample to sample, instead of the rate.
        pub interval: Option<Duration>,
        /// Column with the time as a number.
        pub time_column: Option<u32>,
        /// Its unit.
        pub time_unit: Option<Duration>,
        /// Column with date and time as text.
        pub stamp_column: Option<u32>,
        /// Column with the time of day as text, where it stands apart from the date.
        pub clock_column: Option<u32>,
        /// Column with the date beside it; 0: there is none.
        pub date_column: Option<u32>,
        /// Column with the fraction of a second beside it; 0: there is none.
        pub fraction_column: Option<u32>,
        /// Unit of that fraction, such as "1 ms"; "1 s" for .25.
        pub fraction_unit: Option<Duration>,
        /// Order of a date's parts.
        pub date: Option<DateParts>,
        /// Column with the current, or with the voltage over the shunt.
        pub current_column: Option<u32>,
        /// Unit of the current in it; negative turns the sign round.
        pub current_unit: Option<Current>,
        /// Unit of the voltage over the shunt.
        pub shunt_unit: Option<Voltage>,
        /// Column taken off the voltage column, where two channels were recorded over a resistor.
        pub less_column: Option<u32>,
        /// Column with a voltage recorded beside the current, or with the rail.
        pub voltage_column: Option<u32>,
        /// Its unit.
        pub voltage_unit: Option<Voltage>,
    }
}
