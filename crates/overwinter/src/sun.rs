//! The commands of sun and charging: arguments in, reports of `overwinter_workbench::sun` out.

use std::io::{IsTerminal, Write};
use std::path::Path;

use anyhow::Result;
use clap::{Args, Subcommand};
use overwinter_documents::types::project::Project;
use overwinter_documents::{Diagnostic, KeyPath};
use overwinter_quantity::{Angle, Charge, Power, Ratio};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::question::QuestionError;
use overwinter_workbench::report::NeedVerdict;
use overwinter_workbench::sun;
use overwinter_workbench::sun::report::{SunMapReport, SunReport};
use overwinter_workbench::sun::request::{
    ChargeRequest, MOST_YEARS, SunMapCounts, SunMapRequest, SunRequest, TiltRequest,
};

use crate::args::{Common, Format};
use crate::bench::{Refusal, read};
use crate::render::sun as human;
use crate::render::sun_csv as csv;
use crate::{ANSWER_IS_NO, FINE, json, say, spreadsheet};

/// Years of a map that are run between two signs of progress.
const PIECE: usize = 20;

/// Other documents than the project's own, and how much weather.
#[derive(Debug, Args)]
pub(crate) struct Weather {
    /// Another site than the project's
    #[arg(long, value_name = "SITE")]
    site: Option<String>,
    /// Another panel than the project's
    #[arg(long, value_name = "PANEL")]
    panel: Option<String>,
    /// Years of weather
    #[arg(long, default_value_t = 200, value_name = "N")]
    years: usize,
    /// Seed of the weather; the same seed gives the same years on every machine
    #[arg(long, default_value_t = 1, value_name = "N")]
    seed: u64,
    /// Use the twelve monthly figures though the site has an hourly file
    #[arg(long)]
    monthly: bool,
}

/// Sun, charging and the dark season.
#[derive(Debug, Subcommand)]
pub(crate) enum Sun {
    /// Balance sun and load over many years: how often it goes dark, when, and how many resets
    #[command(
        name = "sun",
        after_help = "Examples:\n  overwinter sun \"weather mast\"\n  overwinter sun \"weather mast\" --board BOWLINE --years 1000\n  \
overwinter sun \"weather mast\" --panel \"1 W panel\" --format json"
    )]
    Year {
        /// The project: its site, panel, mounting, cell, load
        project: String,
        /// The board, in full; may be repeated; all of the project in a table if left out
        #[arg(long = "board", short, value_name = "BOARD")]
        boards: Vec<String>,
        #[command(flatten)]
        weather: Weather,
    },
    /// Map panel and cell sizes: how often each pair goes dark, the smallest that will do, what one size up buys
    #[command(
        name = "sun-map",
        after_help = "Examples:\n  overwinter sun-map \"weather mast\" --board BOWLINE\n  \
overwinter sun-map \"weather mast\" --panels \"0.2 W,0.3 W,0.5 W,1 W\" --cells \"200 mAh,400 mAh,800 mAh\""
    )]
    Map {
        /// The project
        project: String,
        /// The board; the first of the project that can be charged if left out
        #[arg(long, short)]
        board: Option<String>,
        /// Rated powers of the panels, rising, separated by commas; sizes round the project's own if left out
        #[arg(long, value_delimiter = ',', value_name = "POWERS")]
        panels: Vec<Power>,
        /// Capacities of the cells, rising, separated by commas; sizes round the project's own if left out
        #[arg(long, value_delimiter = ',', value_name = "CHARGES")]
        cells: Vec<Charge>,
        #[command(flatten)]
        weather: Weather,
    },
    /// Find the tilt that is best in the worst month
    #[command(
        after_help = "Examples:\n  overwinter tilt \"weather mast\"\n  overwinter tilt \"weather mast\" --azimuth \"150°\" --monthly"
    )]
    Tilt {
        /// The project
        project: String,
        /// Another site than the project's
        #[arg(long, value_name = "SITE")]
        site: Option<String>,
        /// Bearing that the panel faces, clockwise from north; the project's own if left out
        #[arg(long, value_name = "ANGLE")]
        azimuth: Option<Angle>,
        /// Use the twelve monthly figures though the site has an hourly file
        #[arg(long)]
        monthly: bool,
    },
    /// Say which cells which boards may charge, and how long it takes
    #[command(
        after_help = "Examples:\n  overwinter charge --board BOWLINE\n  overwinter charge --project \"weather mast\" --from \"20 %\""
    )]
    Charge {
        /// The board; may be repeated; all if left out
        #[arg(long = "board", short, value_name = "BOARD")]
        boards: Vec<String>,
        /// The cell; may be repeated; the project's, or all
        #[arg(long = "cell", value_name = "CELL")]
        cells: Vec<String>,
        /// The project: its boards, its cells, and its load while charging
        #[arg(long, short)]
        project: Option<String>,
        /// State of charge at the start
        #[arg(long, default_value = "0 %", value_name = "SHARE")]
        from: Ratio,
    },
}

fn refuse(diagnostics: Vec<Diagnostic>) -> anyhow::Error {
    Refusal(diagnostics).into()
}

/// Runs a command of the sun; gives the exit status.
pub(crate) fn run(common: &Common, command: &Sun) -> Result<u8> {
    match command {
        Sun::Year { project, boards, weather } => {
            let bench = read_with(common, project, weather.site.as_deref(), weather.monthly)?;
            let request = SunRequest {
                project: project.clone(),
                site: weather.site.clone(),
                panel: weather.panel.clone(),
                hourly: None,
                boards: boards.clone(),
                years: weather.years,
                seed: weather.seed,
            };
            let report = sun::sun(&bench, &request).map_err(refuse)?;
            let in_full = !boards.is_empty() || report.boards.len() == 1;
            match common.format {
                Format::Human => say(&human::sun(&report, in_full))?,
                Format::Json => json(&report)?,
                Format::Csv => say(&spreadsheet::write(&csv::sun(&report))?)?,
            }
            Ok(status(&report))
        }
        Sun::Map { project, board, panels, cells, weather } => {
            let bench = read_with(common, project, weather.site.as_deref(), weather.monthly)?;
            let request = SunMapRequest {
                project: project.clone(),
                site: weather.site.clone(),
                panel: weather.panel.clone(),
                board: board.clone(),
                panels_w: panels.iter().map(Power::si).collect(),
                cells_c: cells.iter().map(Charge::si).collect(),
                years: weather.years,
                seed: weather.seed,
                before: None,
            };
            let report = in_pieces(&bench, &request)?;
            match common.format {
                Format::Human => say(&human::map(&report))?,
                Format::Json => json(&report)?,
                Format::Csv => say(&spreadsheet::write(&csv::map(&report))?)?,
            }
            Ok(if report.smallest.choice.is_none() { ANSWER_IS_NO } else { FINE })
        }
        Sun::Tilt { project, site, azimuth, monthly } => {
            let bench = read_with(common, project, site.as_deref(), *monthly)?;
            let request = TiltRequest {
                project: project.clone(),
                site: site.clone(),
                azimuth_deg: azimuth.as_ref().map(Angle::degrees),
            };
            let report = sun::tilt(&bench, &request).map_err(refuse)?;
            match common.format {
                Format::Human => say(&human::tilt(&report))?,
                Format::Json => json(&report)?,
                Format::Csv => say(&spreadsheet::write(&csv::tilt(&report))?)?,
            }
            Ok(FINE)
        }
        Sun::Charge { boards, cells, project, from } => {
            let bench = read(&common.folder, common.format)?;
            let request = ChargeRequest {
                project: project.clone(),
                boards: boards.clone(),
                cells: cells.clone(),
                from_state: from.fraction(),
            };
            let report = sun::charge(&bench, &request).map_err(refuse)?;
            match common.format {
                Format::Human => say(&human::charge(&report))?,
                Format::Json => json(&report)?,
                Format::Csv => say(&spreadsheet::write(&csv::charge(&report))?)?,
            }
            let no = report.lines.iter().all(|l| l.verdict.allowed == NeedVerdict::DoesNot);
            Ok(if no { ANSWER_IS_NO } else { FINE })
        }
    }
}

/// The answer is no where the project has a need and no board meets it.
fn status(report: &SunReport) -> u8 {
    let no = |b: &sun::report::SunBoard| {
        b.need == Some(NeedVerdict::DoesNot) || (b.need.is_none() && b.refused.is_some())
    };
    if report.boards.iter().all(no) { ANSWER_IS_NO } else { FINE }
}

/// The folder, with the weather file of the project's site where it names one.
fn read_with(common: &Common, project: &str, site: Option<&str>, monthly: bool) -> Result<Bench> {
    let mut bench = read(&common.folder, common.format)?;
    if !monthly {
        let project: &Project = bench.project(project).ok_or_else(|| {
            let known = bench.projects().map(|p| p.name.as_str());
            Refusal::question(&QuestionError::no_such("project", project, known))
        })?;
        let site = site.or(project.site.as_deref()).map(str::to_owned);
        attach_weather(&mut bench, common, site.as_deref())?;
    }
    Ok(bench)
}

/// Reads the weather file that a site names and puts it beside the documents.
pub(crate) fn attach_weather(bench: &mut Bench, common: &Common, site: Option<&str>) -> Result<()> {
    let file = site.and_then(|name| bench.site(name)).and_then(|site| site.hourly.clone());
    let Some(file) = file else { return Ok(()) };
    let text = overwinter_store::read_beside(&common.folder, &file)
        .map_err(|error| refuse(vec![error.diagnostic()]))?;
    bench.attach_weather(&file, text);
    Ok(())
}

/// Puts the weather files of all sites beside the documents; those that cannot be read are told at the key that names them.
pub(crate) fn attach_all_weather(bench: &mut Bench, folder: &Path) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    let mut read = Vec::new();
    for entry in bench.folder().sites.iter() {
        let Some(file) = &entry.document.hourly else { continue };
        match overwinter_store::read_beside(folder, file) {
            Ok(text) => read.push((file.clone(), text)),
            Err(error) => {
                let key = KeyPath::root().key("site").key("hourly");
                found.push(entry.place(error.diagnostic(), &key));
            }
        }
    }
    for (file, text) in read {
        bench.attach_weather(&file, text);
    }
    found
}

/// A map in pieces, so that whoever waits sees how far it is; Ctrl-C ends it between any two years.
fn in_pieces(bench: &Bench, request: &SunMapRequest) -> Result<SunMapReport> {
    let shown = std::io::stderr().is_terminal();
    let mut done: Option<SunMapCounts> = None;
    loop {
        let before = done.as_ref().map_or(0, |counts| counts.years as usize);
        // A number of years that cannot be is refused by the first piece.
        let whole = request.years <= PIECE || request.years > MOST_YEARS;
        let years = if whole { request.years } else { PIECE.min(request.years - before) };
        let piece = SunMapRequest { years, before: done, ..request.clone() };
        let report = sun::sun_map(bench, &piece).map_err(refuse)?;
        let so_far = report.counts.years as usize;
        if shown {
            let mut out = anstream::stderr().lock();
            write!(out, "\r{so_far} of {} years", request.years)?;
            if so_far >= request.years {
                write!(out, "\r{}\r", " ".repeat(40))?;
            }
            out.flush()?;
        }
        if so_far >= request.years {
            return Ok(report);
        }
        done = Some(report.counts);
    }
}
