//! The bench commands: arguments in, reports of `overwinter_workbench::measure` out.

use std::io::{BufRead, IsTerminal, Write};

use anyhow::Result;
use clap::Subcommand;
use overwinter_documents::types::project::Project;
use overwinter_documents::types::session::What;
use overwinter_documents::{Choice, Diagnostic};
use overwinter_quantity::{AnyQuantity, Duration, Ratio, Resistance, Voltage};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::measure::{
    burden, dispute, figure, guide, lost, next, ride, settle, specimens, sweep,
};
use overwinter_workbench::question::QuestionError;
use overwinter_workbench::sampling::SampleOptions;
use overwinter_workbench::spread::StatedPrior;

use crate::args::{Common, Draws, Format};
use crate::bench::{Refusal, read, read_all, render_all};
use crate::{ANSWER_IS_NO, FINE, json, render, say, spreadsheet};

/// From a reading to a defended number.
#[derive(Debug, Subcommand)]
pub(crate) enum Measure {
    /// Show readings with their uncertainty budgets, faults and history; with two names, their difference
    #[command(
        after_help = "Examples:\n  overwinter figure BOWLINE-1 --what \"sleep current\"\n  overwinter figure \"2026-05-03 REEF-1 sleep#1\"\n  \
overwinter figure BOWLINE-1 STRAND      (difference: what both share cancels)"
    )]
    Figure {
        /// A specimen, module, cell, session, or one reading as SESSION#N; two for their difference
        #[arg(required = true, num_args = 1..=2, value_name = "NAME")]
        names: Vec<String>,
        /// Only readings of this quantity, such as "sleep current"
        #[arg(long, value_name = "QUANTITY", value_parser = what)]
        what: Option<What>,
    },
    /// Say before measuring what each range of a meter does to a board, and how to hook it up instead
    #[command(
        after_help = "Examples:\n  overwinter burden \"hand-held meter\" --board BOWLINE\n  \
overwinter burden \"hand-held meter\" --board CARRICK --supply \"3.70 V\" --source-resistance \"0.15 Ω\""
    )]
    Burden {
        /// An instrument of the folder, or a class of meters
        meter: String,
        /// The board
        #[arg(long, short)]
        board: String,
        /// The project: its cell and its load
        #[arg(long, short)]
        project: Option<String>,
        /// Voltage of the source without load
        #[arg(long, value_name = "VOLTAGE")]
        supply: Option<Voltage>,
        /// Resistance of the source
        #[arg(long, value_name = "RESISTANCE")]
        source_resistance: Option<Resistance>,
        /// Resistance of leads and contacts, where the meter's burden does not hold them
        #[arg(long, value_name = "RESISTANCE")]
        leads: Option<Resistance>,
    },
    /// While measuring: say after each reading whether to wait or to take it
    #[command(
        after_help = "Readings come as arguments, or line by line on standard input: a value, or a time and a value.\n\n\
Examples:\n  overwinter settle \"14.1 µA\" \"13.2 µA\" \"12.9 µA\" \"12.7 µA\" \"12.65 µA\" \"12.62 µA\" --every \"10 s\"\n  \
overwinter settle --instrument \"bench meter\" --range \"100 µA\" < readings.txt\n\
Exit status: 0 take it, 1 not settled."
    )]
    Settle {
        /// Readings with their units, or \"time value\"
        readings: Vec<String>,
        /// Time between readings that come without a time
        #[arg(long, default_value = "5 s", value_name = "TIME")]
        every: Duration,
        /// Standard uncertainty of a settled reading
        #[arg(long, value_name = "VALUE")]
        u: Option<AnyQuantity>,
        /// The instrument, whose range gives the uncertainty instead
        #[arg(long, requires = "range")]
        instrument: Option<String>,
        /// Its range
        #[arg(long, requires = "instrument")]
        range: Option<String>,
        /// Slowest transient to allow for; say 10 min with electrolytic capacitors
        #[arg(long, default_value = "60 s", value_name = "TIME")]
        slowest: Duration,
    },
    /// The bench protocol for a specimen: what is done, missing, dangerous, and what comes next
    #[command(
        after_help = "Examples:\n  overwinter guide BOWLINE-1 --project footbridges\n  overwinter guide BOWLINE-1 --print | lp\n\
Exit status: 0 fine, 1 a danger was found."
    )]
    Guide {
        /// The specimen
        specimen: String,
        /// The project: what it needs is asked for, and its cell is the one to be connected
        #[arg(long, short)]
        project: Option<String>,
        /// The checklist as plain text for paper
        #[arg(long)]
        print: bool,
    },
    /// Take a voltage sweep of the sleep current apart, and name the likely class of an unreadable regulator
    #[command(after_help = "Example:  overwinter sweep TURKSHEAD")]
    Sweep {
        /// The board
        board: String,
        /// The specimen, if not the usual one
        #[arg(long)]
        specimen: Option<String>,
    },
    /// Say whether a board runs on when its source comes and goes, and down to which cell voltage
    #[command(
        after_help = "Examples:\n  overwinter ride SLIPKNOT\n  overwinter ride SLIPKNOT --events 400\n\
Exit status: 0 fine, 1 trials and prediction contradict each other."
    )]
    Ride {
        /// The board
        board: String,
        /// The specimen, if not the usual one
        #[arg(long)]
        specimen: Option<String>,
        /// Times a year that the source goes and comes; 365 for a panel without chatter at dawn
        #[arg(long, value_name = "N")]
        events: Option<f64>,
    },
    /// Say which test to do next for a project: days of run time per minute at the bench
    #[command(
        after_help = "Examples:\n  overwinter next footbridges\n  overwinter next footbridges --minutes 30"
    )]
    Next {
        /// The project
        project: String,
        /// Minutes there are
        #[arg(long, value_name = "N")]
        minutes: Option<f64>,
        #[command(flatten)]
        draws: Draws,
    },
    /// Compare the specimens of a board: this one, and one you might buy
    #[command(
        after_help = "Examples:\n  overwinter specimens BOWLINE\n  overwinter specimens REEF --prior 15%"
    )]
    Specimens {
        /// The board
        board: String,
        /// The quantity
        #[arg(long, default_value = "sleep current", value_name = "QUANTITY", value_parser = what)]
        what: What,
        /// Project whose [project.prior] holds; without one, that of the folder's projects if they agree
        #[arg(long, value_name = "PROJECT")]
        project: Option<String>,
        /// Spread to assume between specimens before they are compared, for this answer only
        #[arg(long, value_name = "PERCENT")]
        prior: Option<Ratio>,
    },
    /// Hold somebody else's figure against yours: does it disagree, and why would it
    #[command(after_help = "Example:  overwinter dispute \"a reader on REEF\"")]
    Dispute {
        /// The claim, or its board where there is one claim on it
        claim: String,
    },
    /// Show the post-mortems of dead specimens: step, cause, cost, lesson
    #[command(after_help = "Example:  overwinter lost")]
    Lost {
        /// One specimen; all if left out
        specimen: Option<String>,
    },
}

fn what(text: &str) -> Result<What, String> {
    What::from_word(text).ok_or_else(|| {
        let words = What::WORDS.iter().map(|(_, word)| *word);
        match overwinter_documents::did_you_mean(text, words) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("one of {}", What::list()),
        }
    })
}

/// Reads a folder and goes on in spite of errors: a reading with an impossible date or value is told and kept.
fn read_all_the_same(common: &Common) -> Result<Bench> {
    let (bench, found) = read_all(&common.folder)?;
    let errors: Vec<Diagnostic> = found.into_iter().filter(Diagnostic::is_error).collect();
    if !errors.is_empty() {
        anstream::eprint!("{}", render_all(&errors));
    }
    Ok(bench)
}

#[allow(clippy::needless_pass_by_value, reason = "it is what map_err hands over")]
fn refuse(error: QuestionError) -> anyhow::Error {
    Refusal::question(&error).into()
}

fn project<'a>(bench: &'a Bench, name: Option<&str>) -> Result<Option<&'a Project>> {
    let Some(name) = name else { return Ok(None) };
    bench.project(name).map(Some).ok_or_else(|| {
        let known = bench.projects().map(|p| p.name.as_str());
        refuse(QuestionError::no_such("project", name, known))
    })
}

/// Writes a report in the format asked for.
pub(crate) fn write<T: serde::Serialize>(
    common: &Common,
    report: &T,
    human: impl Fn(&T) -> String,
    csv: impl Fn(&T) -> Vec<Vec<String>>,
) -> Result<()> {
    match common.format {
        Format::Human => say(&human(report)),
        Format::Json => json(report),
        Format::Csv => say(&spreadsheet::write(&csv(report))?),
    }
}

/// Runs a bench command; gives the exit status.
pub(crate) fn run(common: &Common, command: &Measure) -> Result<u8> {
    use render::measure as human;
    use render::measure_csv as csv;
    match command {
        Measure::Figure { names, what } => {
            let bench = read_all_the_same(common)?;
            let report = figure::figure(&bench, names, *what).map_err(refuse)?;
            write(common, &report, human::figure, csv::figure)?;
            Ok(FINE)
        }
        Measure::Burden { meter, board, project: name, supply, source_resistance, leads } => {
            let bench = read(&common.folder, common.format)?;
            let found = project(&bench, name.as_deref())?;
            let feeding = burden::Feeding {
                source_v: supply.as_ref().map(Voltage::si),
                source_ohm: source_resistance.as_ref().map(Resistance::si),
                leads_ohm: leads.as_ref().map_or(0.0, Resistance::si),
            };
            let report = burden::burden(&bench, meter, board, found, feeding).map_err(refuse)?;
            write(common, &report, human::burden, csv::burden)?;
            Ok(FINE)
        }
        Measure::Settle { readings, every, u, instrument, range, slowest } => {
            let u = match (u, instrument, range) {
                (Some(u), ..) => Some(u.si()),
                (None, Some(instrument), Some(range)) => {
                    Some(uncertainty_of(common, instrument, range)?)
                }
                _ => None,
            };
            let taking = settle::Taking {
                every_s: every.si(),
                standard_uncertainty: u,
                slowest_s: slowest.si(),
            };
            settle_live(common, settle::Live::new(taking), readings)
        }
        Measure::Guide { specimen, project: name, print } => {
            let bench = read_all_the_same(common)?;
            let found = project(&bench, name.as_deref())?;
            let report = guide::guide(&bench, specimen, found).map_err(refuse)?;
            if *print && common.format == Format::Human {
                say(&report.printable)?;
            } else {
                write(common, &report, human::guide, csv::guide)?;
            }
            Ok(if report.danger { ANSWER_IS_NO } else { FINE })
        }
        Measure::Sweep { board, specimen } => {
            let bench = read(&common.folder, common.format)?;
            let report = sweep::sweep(&bench, board, specimen.as_deref()).map_err(refuse)?;
            write(common, &report, human::sweep, csv::sweep)?;
            Ok(FINE)
        }
        Measure::Ride { board, specimen, events } => {
            let bench = read(&common.folder, common.format)?;
            let report = ride::ride(&bench, board, specimen.as_deref(), *events).map_err(refuse)?;
            write(common, &report, human::ride, csv::ride)?;
            Ok(if report.contradiction { ANSWER_IS_NO } else { FINE })
        }
        Measure::Next { project: name, minutes, draws } => {
            let bench = read(&common.folder, common.format)?;
            let Some(found) = project(&bench, Some(name))? else { return Ok(FINE) };
            let Draws { draws, seed } = *draws;
            let options = SampleOptions { draws: draws.clamp(64, 1 << 20), seed };
            let report = next::next(&bench, found, options, *minutes).map_err(refuse)?;
            write(common, &report, human::next, csv::next)?;
            Ok(FINE)
        }
        Measure::Specimens { board, what, project, prior } => {
            let bench = read(&common.folder, common.format)?;
            let mut stated = match project {
                Some(name) => StatedPrior::of(self::project(&bench, Some(name))?),
                None => StatedPrior::of_folder(&bench),
            };
            if let Some(prior) = prior {
                stated.prior.coefficient_of_variation = prior.si();
                "as you say, for this answer".clone_into(&mut stated.whose);
            }
            let report = specimens::specimens(&bench, board, *what, &stated).map_err(refuse)?;
            write(common, &report, human::specimens, csv::specimens)?;
            Ok(FINE)
        }
        Measure::Dispute { claim } => {
            let bench = read(&common.folder, common.format)?;
            let report = dispute::dispute(&bench, claim).map_err(refuse)?;
            write(common, &report, human::dispute, csv::dispute)?;
            Ok(FINE)
        }
        Measure::Lost { specimen } => {
            let bench = read(&common.folder, common.format)?;
            let report = lost::lost(&bench, specimen.as_deref()).map_err(refuse)?;
            write(common, &report, human::lost, csv::lost)?;
            Ok(FINE)
        }
    }
}

/// Standard uncertainty of a reading on a range, from its offset and last digit: what repeats and settling compare with.
fn uncertainty_of(common: &Common, instrument: &str, range: &str) -> Result<f64> {
    let bench = read(&common.folder, common.format)?;
    let ranges = bench.ranges(instrument);
    let found = ranges.iter().find(|r| r.name == range).ok_or_else(|| {
        let known = ranges.iter().map(|r| r.name.as_str());
        refuse(QuestionError::no_such("range", range, known))
    })?;
    let resolution = found.resolution.as_ref().map(AnyQuantity::si);
    let limit = found
        .accuracy
        .as_ref()
        .and_then(|a| a.limit(0.0, resolution, Some(found.limit.si())))
        .or(resolution)
        .ok_or_else(|| anyhow::anyhow!("range “{range}” states neither accuracy nor resolution"))?;
    Ok(limit / 3.0_f64.sqrt())
}

fn settle_live(common: &Common, mut live: settle::Live, readings: &[String]) -> Result<u8> {
    // Advice after each reading goes to standard error, so that the result alone stands on standard output.
    let talk = common.format == Format::Human;
    let told = |line: &str, said: Option<String>| -> Result<()> {
        if let Some(said) = said.filter(|_| talk) {
            let mut out = anstream::stderr().lock();
            writeln!(out, "{:>14}  {said}", line.trim())?;
        }
        Ok(())
    };
    if readings.is_empty() {
        let input = std::io::stdin();
        if input.is_terminal() {
            anstream::eprintln!("Type a reading and its unit, one a line; end with Ctrl-D.");
        }
        for line in input.lock().lines() {
            let line = line?;
            let said = live.line(&line);
            told(&line, said)?;
        }
    } else {
        for reading in readings {
            let said = live.line(reading);
            told(reading, said)?;
        }
    }
    let report = live.report();
    write(common, &report, render::measure::settle, render::measure_csv::settle)?;
    Ok(if report.outcome == settle::Outcome::Take { FINE } else { ANSWER_IS_NO })
}
