//! What is typed after `trace`.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use overwinter_documents::types::recording::{Between, DateParts, LayoutNote, Samples};
use overwinter_documents::types::session::{Doing, Edge, SourceEvent};
use overwinter_documents::{Choice, Date, YesNo};
use overwinter_quantity::{Current, Duration, Frequency, Resistance, Temperature, Voltage};

/// One of the words of a choice.
fn word<T: Choice>(text: &str) -> Result<T, String> {
    T::from_word(text).ok_or_else(|| {
        let words = T::WORDS.iter().map(|(_, word)| *word);
        match overwinter_documents::did_you_mean(text, words) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("one of {}", T::list()),
        }
    })
}

/// Current traces: from a logger's file to charge per wake, phases and a load
#[derive(Debug, Subcommand)]
pub(crate) enum Trace {
    /// Say how a trace is read and what it holds: sleep floor, wakes, phases, drift, defects
    #[command(
        after_help = "Examples:\n  overwinter trace read capture.csv\n  overwinter trace read \"BOWLINE-1 build 1.4\"\n  \
zcat capture.csv.gz | overwinter trace read - --rate \"10 kHz\" --shunt \"0.1 Ω\"\n  \
overwinter trace read logger.txt --date-column 2 --clock-column 3 --fraction-column 4 --fraction-unit \"1 ms\"\n  \
overwinter trace read export.arrow --current-column 3 --current-unit \"1 µA\"\n  \
overwinter trace read growing.csv --follow      (Ctrl-C ends it and shows the result)"
    )]
    Read {
        #[command(flatten)]
        input: Input,
        /// Read on while the file grows; Ctrl-C ends it and shows the result
        #[arg(long)]
        follow: bool,
        /// With --follow: end when nothing came for so long
        #[arg(long, requires = "follow", value_name = "TIME")]
        quiet: Option<Duration>,
    },
    /// Keep a trace in the bench folder: compressed, with a pyramid for zooming and a document
    #[command(
        after_help = "Examples:\n  overwinter trace keep traces/before.csv --specimen REEF-1 --instrument \"current logger\" --range \"0.5 A\"\n  \
overwinter trace keep \"BOWLINE-1 build 1.4\"      (again, from its source)"
    )]
    Keep {
        #[command(flatten)]
        input: Input,
        #[command(flatten)]
        facts: Facts,
    },
    /// Draw a trace: SVG, PNG, or in the terminal
    #[command(
        after_help = "Examples:\n  overwinter trace plot capture.csv\n  overwinter trace plot \"BOWLINE-1 build 1.4\" --from \"7 s\" --to \"10 s\" --output wake.svg"
    )]
    Plot {
        #[command(flatten)]
        input: Input,
        /// Begin here
        #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
        from: Option<Duration>,
        /// End here
        #[arg(long, value_name = "TIME")]
        to: Option<Duration>,
        /// The file to write, ending in .svg or .png; the terminal if left out
        #[arg(long, short, value_name = "FILE")]
        output: Option<PathBuf>,
        /// Width in points
        #[arg(long, default_value_t = 1000, value_name = "N")]
        width: u32,
        /// Height in points
        #[arg(long, default_value_t = 400, value_name = "N")]
        height: u32,
    },
    /// Compare two traces: which phase changed, charge per wake, days gained
    #[command(
        after_help = "Example:  overwinter trace compare \"BOWLINE-1 build 1.4\" \"BOWLINE-1 build 1.5\" --project footbridges"
    )]
    Compare {
        /// The first: a recording or a file
        before: String,
        /// The second
        after: String,
        /// The project whose days are gained; may be left out if the folder has one only
        #[arg(long, short)]
        project: Option<String>,
        #[command(flatten)]
        stated: Stating,
    },
    /// Judge a capture of the rail while USB or the panel comes or goes: does the processor live through it
    #[command(after_help = "Examples:\n  overwinter trace rail \"SLIPKNOT-1 USB removed\"\n  \
overwinter trace rail \"SLIPKNOT-1 USB removed\" --write      (as a trial that `ride` counts)\n  \
overwinter trace rail scope.csv --threshold \"2.80 V\" --filter \"10 µs\"\n\
Exit status: 0 rides through, 1 it resets or cannot be told.")]
    Rail {
        #[command(flatten)]
        input: Input,
        /// Reset threshold; the board's if left out
        #[arg(long, value_name = "VOLTAGE")]
        threshold: Option<Voltage>,
        /// ± of the threshold and the probe together
        #[arg(long, value_name = "VOLTAGE")]
        tolerance: Option<Voltage>,
        /// Average the rail over this before it is judged; shorter than this under the threshold does no harm. Derived from the noise if left
        /// out; "0 s" judges every sample
        #[arg(long, value_name = "TIME")]
        filter: Option<Duration>,
        /// Write the trial into a session of the specimen
        #[arg(long)]
        write: bool,
        /// What happened to the source: removed or attached
        #[arg(long, value_name = "WORD", value_parser = word::<SourceEvent>)]
        event: Option<SourceEvent>,
        /// What the board was doing: asleep, awake, radio on
        #[arg(long, value_name = "WORDS", value_parser = word::<Doing>)]
        doing: Option<Doing>,
        /// How the source came or went: plug, slow ramp
        #[arg(long, value_name = "WORDS", value_parser = word::<Edge>)]
        edge: Option<Edge>,
        /// Voltage of the cell
        #[arg(long, value_name = "VOLTAGE")]
        cell_voltage: Option<Voltage>,
        /// The session to write into; one of its own if left out
        #[arg(long, value_name = "NAME")]
        session: Option<String>,
    },
    /// Put a trace's load into a project, with its uncertainties; comments of the project stay
    #[command(
        after_help = "Examples:\n  overwinter trace load \"BOWLINE-1 build 1.4\" --project footbridges\n  \
overwinter trace load capture.csv --project footbridges --activity report --dry-run"
    )]
    Load {
        #[command(flatten)]
        input: Input,
        /// The project; may be left out if the folder has one only
        #[arg(long, short)]
        project: Option<String>,
        /// The project's activity that it becomes
        #[arg(long, value_name = "NAME")]
        activity: Option<String>,
        /// Which of the trace's wakes: A is the most frequent
        #[arg(long, default_value = "A", value_name = "LETTER")]
        wake: String,
        /// The project takes the trace's interval, too
        #[arg(long)]
        take_interval: bool,
        /// Phase by phase instead of one charge
        #[arg(long)]
        segments: bool,
        /// Show what would be written, and write nothing
        #[arg(long)]
        dry_run: bool,
    },
    /// Write a trace's sleep floor as a reading of its specimen, with its scatter and instrument; comments of the session stay
    #[command(
        after_help = "Examples:\n  overwinter trace floor \"BOWLINE-1 build 1.4\" --dry-run\n  \
overwinter trace floor \"BOWLINE-1 build 1.4\" --settled-for \"10 min\"\n  \
overwinter trace floor \"BOWLINE-1 build 1.4\" --session \"2026-05-30 sleep\"\n\
`figure` and `bill` then count it like any other reading. Written again, it takes the place of what stood there."
    )]
    Floor {
        #[command(flatten)]
        input: Input,
        /// The session to write into; one of its own if left out
        #[arg(long, value_name = "NAME")]
        session: Option<String>,
        /// How long the board had been left to settle
        #[arg(long, value_name = "TIME")]
        settled_for: Option<Duration>,
        /// Show what would be written, and write nothing
        #[arg(long)]
        dry_run: bool,
    },
    /// List the recordings of the folder
    #[command(after_help = "Example:  overwinter trace list")]
    List,
}

/// A trace with what is stated of it.
#[derive(Debug, Args)]
pub(crate) struct Input {
    /// A recording of the folder, a file, or - for standard input
    pub(crate) trace: String,
    #[command(flatten)]
    pub(crate) stated: Stating,
}

/// How the file is read, where it does not tell, and progress.
#[derive(Debug, Args)]
pub(crate) struct Stating {
    /// Samples a second, where no column holds the time
    #[arg(long, value_name = "FREQUENCY", help_heading = "How the file is read")]
    rate: Option<Frequency>,
    /// Time from sample to sample, instead of the rate
    #[arg(
        long,
        value_name = "TIME",
        conflicts_with = "rate",
        help_heading = "How the file is read"
    )]
    interval: Option<Duration>,
    /// The shunt, where a voltage over one was recorded
    #[arg(long, value_name = "RESISTANCE", help_heading = "How the file is read")]
    shunt: Option<Resistance>,
    /// The zero read with the input open; taken off
    #[arg(
        long,
        value_name = "CURRENT",
        allow_hyphen_values = true,
        help_heading = "How the file is read"
    )]
    offset: Option<Current>,
    /// text, f32, f64, Parquet or Arrow
    #[arg(long, value_name = "WORD", value_parser = word::<Samples>, help_heading = "How the file is read")]
    samples: Option<Samples>,
    /// What stands between fields: comma, semicolon, tab, bar, spaces
    #[arg(long, value_name = "WORD", value_parser = word::<Between>, help_heading = "How the file is read")]
    between: Option<Between>,
    /// 1,5 is one and a half
    #[arg(long, help_heading = "How the file is read")]
    decimal_comma: bool,
    /// Lines before the numbers
    #[arg(long, value_name = "N", help_heading = "How the file is read")]
    skip_lines: Option<u32>,
    /// Column with the time, from 1
    #[arg(long, value_name = "N", help_heading = "How the file is read")]
    time_column: Option<u32>,
    /// Its unit, such as "1 ms"
    #[arg(long, value_name = "TIME", help_heading = "How the file is read")]
    time_unit: Option<Duration>,
    /// Column with date and time as text, from 1
    #[arg(
        long,
        value_name = "N",
        conflicts_with = "time_column",
        help_heading = "How the file is read"
    )]
    stamp_column: Option<u32>,
    /// Column with the time of day as text, where the date stands apart
    #[arg(long, value_name = "N", conflicts_with_all = ["time_column", "stamp_column"], help_heading = "How the file is read")]
    clock_column: Option<u32>,
    /// Column with the date beside it; 0: there is none
    #[arg(long, value_name = "N", help_heading = "How the file is read")]
    date_column: Option<u32>,
    /// Column with the fraction of a second beside it; 0: there is none
    #[arg(long, value_name = "N", help_heading = "How the file is read")]
    fraction_column: Option<u32>,
    /// Unit of that fraction, such as "1 ms"; "1 s" for .25
    #[arg(long, value_name = "TIME", help_heading = "How the file is read")]
    fraction_unit: Option<Duration>,
    /// Order of a date: "year, month, day", "day, month, year" or "month, day, year"
    #[arg(long, value_name = "WORDS", value_parser = word::<DateParts>, help_heading = "How the file is read")]
    date_order: Option<DateParts>,
    /// Column with the current, or with the voltage over the shunt
    #[arg(long, value_name = "N", help_heading = "How the file is read")]
    current_column: Option<u32>,
    /// Its unit, such as "1 µA"; negative turns the sign round
    #[arg(
        long,
        value_name = "CURRENT",
        allow_hyphen_values = true,
        help_heading = "How the file is read"
    )]
    current_unit: Option<Current>,
    /// Unit of the voltage over the shunt, such as "1 mV"
    #[arg(
        long,
        value_name = "VOLTAGE",
        allow_hyphen_values = true,
        help_heading = "How the file is read"
    )]
    shunt_unit: Option<Voltage>,
    /// Column taken off, where two channels were recorded over a resistor
    #[arg(long, value_name = "N", help_heading = "How the file is read")]
    less_column: Option<u32>,
    /// Column with a voltage recorded beside the current, or with the rail
    #[arg(long, value_name = "N", help_heading = "How the file is read")]
    voltage_column: Option<u32>,
    /// Its unit, such as "1 mV"
    #[arg(long, value_name = "VOLTAGE", help_heading = "How the file is read")]
    voltage_unit: Option<Voltage>,
    /// Raw numbers: interleaved channels
    #[arg(long, value_name = "N", help_heading = "How the file is read")]
    channels: Option<u32>,
    /// Show progress on standard error also where it is no terminal
    #[arg(long)]
    pub(crate) progress: bool,
}

impl Stating {
    /// As the recordings crate takes it.
    pub(crate) fn stated(&self) -> overwinter_recordings::Stated {
        overwinter_recordings::Stated {
            layout: LayoutNote {
                samples: self.samples,
                between: self.between,
                decimal_comma: self.decimal_comma.then_some(YesNo::Yes),
                skip_lines: self.skip_lines,
                channels: self.channels,
                rate: self.rate.clone(),
                interval: self.interval.clone(),
                time_column: self.time_column,
                time_unit: self.time_unit.clone(),
                stamp_column: self.stamp_column,
                clock_column: self.clock_column,
                date_column: self.date_column,
                fraction_column: self.fraction_column,
                fraction_unit: self.fraction_unit.clone(),
                date: self.date_order,
                current_column: self.current_column,
                current_unit: self.current_unit.clone(),
                shunt_unit: self.shunt_unit.clone(),
                less_column: self.less_column,
                voltage_column: self.voltage_column,
                voltage_unit: self.voltage_unit.clone(),
                ..LayoutNote::default()
            },
            shunt_ohm: self.shunt.as_ref().map(|q| q.si()),
            offset_a: self.offset.as_ref().map(|q| q.si()),
            ..overwinter_recordings::Stated::default()
        }
    }
}

/// What is known of a new recording.
#[derive(Debug, Args)]
pub(crate) struct Facts {
    /// Name of the recording; the file's if left out
    #[arg(long)]
    pub(crate) name: Option<String>,
    /// The specimen
    #[arg(long)]
    specimen: Option<String>,
    /// When, such as 2026-06-06; today if left out
    #[arg(long)]
    pub(crate) date: Option<Date>,
    /// Who
    #[arg(long)]
    who: Option<String>,
    /// The instrument: a name of `instruments/`
    #[arg(long)]
    instrument: Option<String>,
    /// Its range
    #[arg(long)]
    range: Option<String>,
    /// Supply voltage at the board
    #[arg(long, value_name = "VOLTAGE")]
    supply: Option<Voltage>,
    /// Temperature of the board
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    temperature: Option<Temperature>,
    /// A remark
    #[arg(long)]
    note: Option<String>,
    /// It shows the voltage of a rail, not a current
    #[arg(long)]
    pub(crate) rail: bool,
}

impl Facts {
    /// Keys and texts of the document.
    pub(crate) fn texts(&self) -> Vec<(&'static str, String)> {
        let quantity = |text: Option<&str>| text.map(str::to_owned);
        [
            ("specimen", self.specimen.clone()),
            ("who", self.who.clone()),
            ("instrument", self.instrument.clone()),
            ("range", self.range.clone()),
            ("supply", quantity(self.supply.as_ref().and_then(|q| q.text()))),
            ("temperature", quantity(self.temperature.as_ref().and_then(|q| q.text()))),
            ("note", self.note.clone()),
        ]
        .into_iter()
        .filter_map(|(key, text)| Some((key, text?)))
        .collect()
    }
}
