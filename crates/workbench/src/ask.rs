//! One door for programs: a request in, a reply out, both plain data. The command line, a server and a page use the same.

use overwinter_documents::{Diagnostic, Document, Severity, parse_document};
use serde::{Deserialize, Serialize};

use overwinter_documents::types::project::Project;

use crate::answers;
use crate::bench::Bench;
use crate::bill;
use crate::compare::{CompareReport, compare};
use crate::measure::entry::{self, EntryForm, ReadBack};
use crate::measure::guide::{GuideReport, StepLine, guide};
use crate::question::QuestionError;
use crate::report::{BillReport, ChoiceReport, Column, ForecastReport, NeedVerdict, TableReport};
use crate::sampling::SampleOptions;
use crate::stepwise::Stepwise;
use crate::sun;
use crate::sun::report::{ChargeReport, SunMapReport, SunReport, TiltReport};
use crate::sun::request::{ChargeRequest, SunMapRequest, SunRequest, TiltRequest};
use crate::table::{TableQuery, all_columns, table};
use crate::trace_worth::{TraceWorth, TraceWorthRequest, worth};

/// A question.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Request {
    /// The comparison table.
    Table {
        /// Columns by key; empty for the usual ones, `["all"]` for all.
        #[serde(default)]
        columns: Vec<String>,
        /// Key to sort by, `-` in front reverses.
        #[serde(default)]
        sort: Option<String>,
        /// Conditions such as `antenna=yes` or `sleep<20 µA`.
        #[serde(default)]
        filter: Vec<String>,
        /// Every specimen instead of one a board.
        #[serde(default)]
        specimens: bool,
    },
    /// The columns there are.
    Columns,
    /// The choice for a project.
    Choose {
        /// A project's name, or the whole text of a project document.
        project: String,
        /// Number of draws.
        draws: usize,
        /// Seed.
        seed: u64,
    },
    /// The forecast of one board.
    Forecast {
        /// The board.
        board: String,
        /// The specimen, where it matters.
        #[serde(default)]
        specimen: Option<String>,
        /// A project's name, or the whole text of a project document.
        project: String,
        /// Number of draws.
        draws: usize,
        /// Seed.
        seed: u64,
    },
    /// Two boards side by side: which outlasts the other, by how much.
    Compare {
        /// The first board.
        first: String,
        /// The second.
        second: String,
        /// A project's name, or the whole text of a project document.
        project: String,
        /// Number of draws.
        draws: usize,
        /// Seed.
        seed: u64,
    },
    /// What the difference between two recordings is worth.
    TraceWorth(TraceWorthRequest),
    /// A board's document, traits and bill.
    Board {
        /// The board.
        board: String,
    },
    /// The balance of sun and load over the year.
    Sun(SunRequest),
    /// The map of panel and cell sizes; may be asked for in pieces of years.
    SunMap(SunMapRequest),
    /// The tilt that is best in the worst month.
    Tilt(TiltRequest),
    /// May these boards charge these cells, and how long does it take?
    Charge(ChargeRequest),
    /// All findings.
    Check,
    /// Names of all projects, cells, boards and specimens.
    Names,
    /// The bench protocol as it stands.
    Protocol,
    /// The bench protocol for a specimen: what is done, what is in the way, what comes next.
    Guide {
        /// The specimen's label.
        specimen: String,
        /// A project's name, or the whole text of a project document.
        #[serde(default)]
        project: Option<String>,
    },
    /// What a step of the protocol asks to be written down.
    Entry {
        /// Number of the step, from 1.
        step: usize,
    },
    /// Reads what was typed at the bench.
    ReadBack {
        /// What the reading is of, `"temperature"` or `"duration"`.
        what: String,
        /// What was typed.
        text: String,
    },
}

/// An answer.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum Reply {
    /// The comparison table.
    Table(TableReport),
    /// The columns there are.
    Columns(Vec<Column>),
    /// The choice.
    Choice(Box<ChoiceReport>),
    /// The forecast.
    Forecast(Box<ForecastReport>),
    /// Two boards side by side.
    Compare(CompareReport),
    /// What the difference between two recordings is worth.
    TraceWorth(TraceWorth),
    /// A board.
    Board(Box<BoardReport>),
    /// The balance of sun and load.
    Sun(Box<SunReport>),
    /// The map of panel and cell sizes.
    SunMap(Box<SunMapReport>),
    /// The best tilt.
    Tilt(Box<TiltReport>),
    /// Charging.
    Charge(Box<ChargeReport>),
    /// Findings.
    Check(Vec<Diagnostic>),
    /// Names.
    Names(Names),
    /// The steps of the protocol.
    Protocol(Vec<StepLine>),
    /// The guide of a specimen.
    Guide(Box<GuideReport>),
    /// What to write down; nothing where nothing is read.
    Entry(Option<EntryForm>),
    /// What was typed, as it was understood.
    ReadBack(ReadBack),
    /// The question could not be answered.
    Error(Vec<Diagnostic>),
}

/// Names of a bench.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Names {
    /// Projects.
    pub projects: Vec<String>,
    /// Cells.
    pub cells: Vec<String>,
    /// Boards.
    pub boards: Vec<String>,
    /// Labels of the specimens.
    pub specimens: Vec<String>,
    /// Sites.
    pub sites: Vec<String>,
    /// Panels.
    pub panels: Vec<String>,
}

/// A board with what is known of it.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct BoardReport {
    /// Its document.
    #[cfg_attr(feature = "typescript", ts(type = "Record<string, unknown>"))]
    pub document: overwinter_documents::types::board::Board,
    /// All columns of the table for each specimen.
    pub table: TableReport,
    /// Its bill, or why there is none.
    pub bill: Result<BillReport, String>,
    /// Sessions of its specimens.
    #[cfg_attr(feature = "typescript", ts(type = "Array<Record<string, unknown>>"))]
    pub sessions: Vec<overwinter_documents::types::session::Session>,
    /// Other people's figures of it.
    #[cfg_attr(feature = "typescript", ts(type = "Array<Record<string, unknown>>"))]
    pub claims: Vec<overwinter_documents::types::session::Claim>,
}

/// Most draws that a request may ask for: beyond it nothing gets sharper that is not limited by the inputs.
pub const MOST_DRAWS: usize = 1 << 20;

/// Answers a request.
pub fn ask(bench: &Bench, request: Request) -> Reply {
    answer(bench, request).unwrap_or_else(Reply::Error)
}

/// Asked now and then while an answer is computed: whether anybody still waits for it.
pub type Waiting<'a> = &'a (dyn Fn() -> bool + Sync);

/// Draws of a choice between two such questions.
const STEP: usize = 16;

/// Answers a request as long as somebody waits for the answer; `None` once nobody does. What draws samples or runs years asks
/// every few milliseconds to tenths of a second, the rest only at its beginning. The answer is that of [`ask`], bit for bit.
pub fn ask_while(bench: &Bench, request: Request, waiting: Waiting<'_>) -> Option<Reply> {
    let answered = match request {
        _ if !waiting() => return None,
        Request::Choose { project, draws, seed } => {
            choose_while(bench, &project, draws, seed, waiting)
        }
        Request::Sun(request) => sun::sun_while(bench, &request, waiting)
            .map(|report| report.map(|report| Reply::Sun(Box::new(report)))),
        other => Ok(Some(ask(bench, other))),
    };
    answered.unwrap_or_else(|faults| Some(Reply::Error(faults)))
}

/// The choice in steps: the boards' draws, then those of the reworks of the boards that fail, then the report.
fn choose_while(
    bench: &Bench,
    project: &str,
    draws: usize,
    seed: u64,
    waiting: Waiting<'_>,
) -> Result<Option<Reply>, Vec<Diagnostic>> {
    let fault = |error: QuestionError| vec![diagnostic(&error)];
    let mut choice = stepwise(bench, project, draws, seed)?;
    for from in (0..draws).step_by(STEP) {
        if !waiting() {
            return Ok(None);
        }
        choice.draw(from..from + STEP).map_err(fault)?;
    }
    // A few draws tell which boards fail; what changes with more of them is drawn by the report.
    let few = choice.report(bench, draws.saturating_sub(1).clamp(1, 8)).map_err(fault)?;
    let fails = few.boards.into_iter().filter(|b| b.verdict == NeedVerdict::DoesNot);
    let failing: Vec<String> = fails.map(|b| b.board).collect();
    for from in (0..draws).step_by(STEP) {
        if !waiting() {
            return Ok(None);
        }
        choice.draw_reworks(&failing, from..from + STEP).map_err(fault)?;
    }
    if !waiting() {
        return Ok(None);
    }
    choice.report(bench, draws).map(|report| Some(Reply::Choice(Box::new(report)))).map_err(fault)
}

fn answer(bench: &Bench, request: Request) -> Result<Reply, Vec<Diagnostic>> {
    match request {
        Request::Table { columns, sort, filter, specimens } => {
            let query = TableQuery { columns, sort, conditions: filter, specimens };
            table(bench, &query).map(Reply::Table).map_err(|e| vec![diagnostic(&e)])
        }
        Request::Columns => Ok(Reply::Columns(all_columns())),
        Request::Choose { project, draws, seed } => {
            let project = project_of(bench, &project)?;
            let options = options(draws, seed)?;
            let choice =
                answers::choice(bench, &project, options).map_err(|e| vec![diagnostic(&e)])?;
            Ok(Reply::Choice(Box::new(choice)))
        }
        Request::Forecast { board, specimen, project, draws, seed } => {
            let project = project_of(bench, &project)?;
            let options = options(draws, seed)?;
            let board = board_of(bench, &board)?;
            let forecast = answers::forecast(bench, &project, board, specimen.as_deref(), options)
                .map_err(|e| vec![diagnostic(&e)])?;
            Ok(Reply::Forecast(Box::new(forecast)))
        }
        Request::Compare { first, second, project, draws, seed } => {
            let project = project_of(bench, &project)?;
            let boards = (board_of(bench, &first)?, board_of(bench, &second)?);
            compare(bench, &project, boards, options(draws, seed)?)
                .map(Reply::Compare)
                .map_err(|e| vec![diagnostic(&e)])
        }
        Request::TraceWorth(request) => {
            let project = request.project.as_deref().map(|p| project_of(bench, p)).transpose()?;
            Ok(Reply::TraceWorth(worth(bench, &request, project.as_ref())))
        }
        Request::Board { board } => {
            let board = board_of(bench, &board)?;
            let query = TableQuery {
                columns: vec!["all".into()],
                specimens: true,
                ..TableQuery::default()
            };
            let mut table = table(bench, &query).map_err(|e| vec![diagnostic(&e)])?;
            let ids: Vec<&str> = board.specimens.iter().map(|s| s.id.as_str()).collect();
            table.rows.retain(|row| {
                row.specimen.as_deref().map_or(row.board == board.name, |id| ids.contains(&id))
            });
            Ok(Reply::Board(Box::new(BoardReport {
                bill: bill::bill(bench, board, None).map_err(|e| format!("{e}; {}", e.help())),
                sessions: bench
                    .sessions()
                    .filter(|s| s.specimen.as_deref().is_some_and(|id| ids.contains(&id)))
                    .cloned()
                    .collect(),
                claims: bench.claims().filter(|c| c.board == board.name).cloned().collect(),
                document: board.clone(),
                table,
            })))
        }
        #[cfg(feature = "findings")]
        Request::Check => Ok(Reply::Check(crate::check::check(bench))),
        #[cfg(not(feature = "findings"))]
        Request::Check => Err(vec![
            Diagnostic::error("no-findings", "findings are not computed here")
                .help("ask the command line: overwinter check"),
        ]),
        Request::Sun(request) => Ok(Reply::Sun(Box::new(sun::sun(bench, &request)?))),
        Request::SunMap(request) => Ok(Reply::SunMap(Box::new(sun::sun_map(bench, &request)?))),
        Request::Tilt(request) => Ok(Reply::Tilt(Box::new(sun::tilt(bench, &request)?))),
        Request::Charge(request) => Ok(Reply::Charge(Box::new(sun::charge(bench, &request)?))),
        Request::Names => Ok(Reply::Names(Names {
            projects: bench.projects().map(|p| p.name.clone()).collect(),
            cells: bench.cells().map(|c| c.name.clone()).collect(),
            boards: bench.boards().map(|b| b.name.clone()).collect(),
            specimens: bench.folder().specimens().map(|(_, s)| s.id.clone()).collect(),
            sites: bench.folder().sites.names().map(str::to_owned).collect(),
            panels: bench.folder().panels.names().map(str::to_owned).collect(),
        })),
        Request::Protocol => Ok(Reply::Protocol(entry::protocol())),
        Request::Guide { specimen, project } => {
            let project = project.map(|text| project_of(bench, &text)).transpose()?;
            guide(bench, &specimen, project.as_ref())
                .map(|report| Reply::Guide(Box::new(report)))
                .map_err(|e| vec![diagnostic(&e)])
        }
        Request::Entry { step } => Ok(Reply::Entry(entry::form(step))),
        Request::ReadBack { what, text } => {
            entry::read_back(&what, &text).map(Reply::ReadBack).map_err(|e| vec![*e])
        }
    }
}

/// The choice for a project, by its name or the text of a whole document, to be computed in steps.
///
/// # Errors
/// The project cannot be read, or a name does not exist.
pub fn stepwise(
    bench: &Bench,
    project: &str,
    draws: usize,
    seed: u64,
) -> Result<Stepwise, Vec<Diagnostic>> {
    let project = project_of(bench, project)?;
    let options = options(draws, seed)?;
    Stepwise::new(bench, &project, options).map_err(|e| vec![diagnostic(&e)])
}

fn options(draws: usize, seed: u64) -> Result<SampleOptions, Vec<Diagnostic>> {
    if (1..=MOST_DRAWS).contains(&draws) {
        return Ok(SampleOptions { draws, seed });
    }
    Err(vec![
        Diagnostic::error("draws", format!("{draws} draws"))
            .help(format!("ask for 1 to {MOST_DRAWS} draws")),
    ])
}

/// A project by name, or read from the text of a whole document (which then contains a line break).
fn project_of(bench: &Bench, project: &str) -> Result<Project, Vec<Diagnostic>> {
    if project.contains('\n') {
        return match parse_document("projects/yours.toml", project)? {
            Document::Project(project) => Ok(*project),
            _ => Err(vec![
                Diagnostic::error("not-a-project", "this is not a project")
                    .help("begin it with [project]"),
            ]),
        };
    }
    bench.project(project).cloned().ok_or_else(|| {
        let error =
            QuestionError::no_such("project", project, bench.projects().map(|p| p.name.as_str()));
        vec![diagnostic(&error)]
    })
}

fn board_of<'a>(
    bench: &'a Bench,
    board: &str,
) -> Result<&'a overwinter_documents::types::board::Board, Vec<Diagnostic>> {
    bench.board(board).ok_or_else(|| {
        let error = QuestionError::no_such("board", board, bench.boards().map(|b| b.name.as_str()));
        vec![diagnostic(&error)]
    })
}

/// A question's fault as a diagnostic.
pub fn diagnostic(error: &QuestionError) -> Diagnostic {
    let code = match error {
        QuestionError::NoSuch { .. } => "no-such",
        QuestionError::Resolve(_) => "cannot-forecast",
    };
    Diagnostic::new(code, Severity::Error, error.to_string()).help(error.help())
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;
    use crate::demo::FILES;

    fn choose(project: &str) -> Request {
        Request::Choose { project: project.into(), draws: 40, seed: 3 }
    }

    #[test]
    fn an_answer_that_is_awaited_is_the_answer() {
        let (bench, _) = Bench::read(FILES.iter().copied());
        for project in ["footbridges", "weather mast"] {
            let awaited = ask_while(&bench, choose(project), &|| true).unwrap();
            assert_eq!(format!("{awaited:?}"), format!("{:?}", ask(&bench, choose(project))));
        }
    }

    #[test]
    fn one_that_nobody_awaits_any_more_is_given_up_on_the_way() {
        let (bench, _) = Bench::read(FILES.iter().copied());
        let sun = |years| {
            Request::Sun(SunRequest {
                project: "weather mast".into(),
                site: None,
                panel: None,
                hourly: None,
                boards: vec!["SLIPKNOT".into()],
                years,
                seed: 1,
            })
        };
        // Asked a third time, nobody is there any more: of 20 000 years hardly one is run.
        for request in [choose("footbridges"), sun(20_000)] {
            let asked = AtomicUsize::new(0);
            let there = || asked.fetch_add(1, Ordering::Relaxed) < 2;
            assert!(ask_while(&bench, request, &there).is_none());
            assert!(asked.load(Ordering::Relaxed) >= 3);
        }
        assert!(ask_while(&bench, sun(2), &|| true).is_some());
    }
}
