//! What is typed: the arguments, with an example for every command.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

/// The workbench of people who choose, measure and field battery-powered microcontroller boards.
#[derive(Debug, Parser)]
#[command(name = "overwinter", version, about, propagate_version = true)]
#[command(
    after_help = "Start:  overwinter demo my-bench && cd my-bench && overwinter choose footbridges\n\
Exit status: 0 fine, 1 the answer is no (nothing fits, a danger was found), 2 bad input."
)]
pub(crate) struct Arguments {
    #[command(flatten)]
    pub(crate) common: Common,
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// Options that every command knows.
#[derive(Debug, Args)]
pub(crate) struct Common {
    /// The bench folder
    #[arg(long, short = 'C', global = true, value_name = "FOLDER", default_value = ".")]
    pub(crate) folder: PathBuf,
    /// How the answer is written
    #[arg(long, global = true, value_enum, default_value_t = Format::Human)]
    pub(crate) format: Format,
}

/// How an answer is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people
    Human,
    /// For programs: everything, with `schema_version`, warnings and sources
    Json,
    /// For spreadsheets
    Csv,
}

/// Draws of uncertain inputs.
#[derive(Debug, Clone, Copy, Args)]
pub(crate) struct Draws {
    /// Number of draws of the uncertain inputs
    #[arg(long, default_value_t = 2048, value_name = "N")]
    pub(crate) draws: usize,
    /// Seed of the draws; the same seed gives the same answer on every machine
    #[arg(long, default_value_t = 1, value_name = "N")]
    pub(crate) seed: u64,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Write the demo bench folder: invented boards, readings, cells and projects
    #[command(after_help = "Example:  overwinter demo my-bench")]
    Demo {
        /// A folder that does not exist yet, or is empty
        folder: PathBuf,
    },
    /// Write a bench folder to fill in, with one commented example of each document
    #[command(after_help = "Example:  overwinter new my-bench")]
    New {
        /// A folder that does not exist yet, or is empty
        folder: PathBuf,
    },
    /// Compare the boards in a table
    #[command(
        after_help = "Examples:\n  overwinter table\n  overwinter table --columns sleep,idle,antenna,price --sort sleep\n  \
overwinter table --where antenna=yes --where 'sleep<100 µA'\n  overwinter table --columns all --format csv > boards.csv"
    )]
    Table {
        /// Columns by key, separated by commas; `all` for all, `?` to list them
        #[arg(long, value_delimiter = ',', value_name = "KEYS")]
        columns: Vec<String>,
        /// Sort by this column; a `-` in front reverses
        #[arg(long, value_name = "KEY", allow_hyphen_values = true)]
        sort: Option<String>,
        /// Only boards that meet a condition: `antenna=yes`, `radio!=bare chip`, `sleep<100 µA`; may be repeated
        #[arg(long = "where", value_name = "CONDITION")]
        conditions: Vec<String>,
        /// Every specimen on a row of its own
        #[arg(long)]
        specimens: bool,
    },
    /// Choose a board for a project, with the reason for every board
    #[command(
        after_help = "Examples:\n  overwinter choose footbridges\n  overwinter choose footbridges --draws 16384 --format json"
    )]
    Choose {
        /// The project
        project: String,
        #[command(flatten)]
        draws: Draws,
    },
    /// Forecast one board in full: life, ending, ledger, what each input is worth, what the target allows
    #[command(after_help = "Example:  overwinter forecast BOWLINE --project footbridges")]
    Forecast {
        /// The board
        board: String,
        /// The project; may be left out if the folder has one only
        #[arg(long, short)]
        project: Option<String>,
        /// The specimen, if not the usual one
        #[arg(long)]
        specimen: Option<String>,
        #[command(flatten)]
        draws: Draws,
    },
    /// Say where a board's sleep current goes
    #[command(after_help = "Example:  overwinter bill REEF")]
    Bill {
        /// The board
        board: String,
        /// The specimen, if not the usual one
        #[arg(long)]
        specimen: Option<String>,
    },
    #[command(flatten)]
    Measure(crate::measure::Measure),
    /// Current traces: from a logger's file to charge per wake, phases and a load
    #[command(after_help = "\
What is read: text of any layout (a preamble, units in the header, decimal commas, date and time in one to three columns), raw f32 and f64, \
Parquet, Arrow files and streams; packed with gzip or Zstandard, too; a file, a recording's name, or - for standard input. Each command says \
\"I read this as …\"; every part of that can be stated otherwise (`overwinter trace read --help`) and is remembered in `recordings/`. \
What is damaged is told with row and byte, and what could be read is kept with its extent. A last row without a line end whose last number is \
shorter than others may be cut: it is left out and told.

Examples:
  overwinter trace read capture.csv                                   what does it hold?
  overwinter trace keep traces/before.csv --specimen REEF-1           compressed, with its document
  overwinter trace floor before --settled-for \"10 min\"               its sleep floor, as a reading for `figure` and `bill`
  overwinter trace load before --project footbridges                  its charge per wake, for `choose` and `forecast`
  overwinter trace compare \"BOWLINE-1 build 1.4\" \"BOWLINE-1 build 1.5\"
  overwinter trace rail \"SLIPKNOT-1 USB removed\"                      does it live through the change of source?
  overwinter trace plot before --from \"7 s\" --to \"10 s\" --output wake.svg")]
    Trace {
        #[command(subcommand)]
        command: Box<crate::trace::Trace>,
    },
    #[command(flatten)]
    Sun(crate::sun::Sun),
    /// Check the whole folder for errors, contradictions and dangers
    #[command(after_help = "Example:  overwinter check")]
    Check,
    /// Publish the folder as one HTML file that readers open and recompute for their own project
    #[command(
        after_help = "Example:  overwinter publish boards.html --title \"My drawer\" --licence \"CC BY 4.0\""
    )]
    Publish {
        /// The file to write
        file: PathBuf,
        /// Heading of the page
        #[arg(long, default_value = "Boards compared")]
        title: String,
        /// Licence of your data, in words
        #[arg(long, default_value = "not stated")]
        licence: String,
        /// Date on the page, such as 2026-07-01; today if left out
        #[arg(long)]
        date: Option<overwinter_documents::Date>,
    },
    /// Show the folder in the browser, on this machine only
    #[command(after_help = "Example:  overwinter serve")]
    Serve {
        /// Port on 127.0.0.1; 0 for any free one
        #[arg(long, default_value_t = 0)]
        port: u16,
        /// Heading of the page
        #[arg(long, default_value = "My bench")]
        title: String,
    },
    /// Write the table of all specimens as CSV that a spreadsheet can edit and `import` reads back
    #[command(
        after_help = "Examples:\n  overwinter export > boards.csv\n  overwinter export --european > boards.csv"
    )]
    Export {
        /// Semicolons, decimal commas and a byte order mark, as spreadsheets of much of Europe want it
        #[arg(long)]
        european: bool,
    },
    /// Show what an edited table would change in the folder; with --apply, change it and keep the comments
    #[command(
        after_help = "Examples:\n  overwinter import boards.csv\n  overwinter import boards.csv --apply"
    )]
    Import {
        /// The CSV file
        table: PathBuf,
        /// Write the changes
        #[arg(long)]
        apply: bool,
    },
    /// Write the JSON Schemas of the documents, for editors
    #[command(after_help = "Example:  overwinter schemas my-bench/schemas")]
    Schemas {
        /// Folder to write them to
        folder: PathBuf,
    },
    /// Print completions for a shell
    #[command(
        after_help = "Example:  overwinter completions bash > ~/.local/share/bash-completion/completions/overwinter"
    )]
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Print the manual page
    #[command(after_help = "Example:  overwinter man | man -l -")]
    Man,
}
