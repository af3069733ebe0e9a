//! What the workbench answers: plain serialisable reports, rendered by the command line as text, JSON or CSV and by a
//! page as views. Values are SI unless the name says otherwise; a text stands beside a number where a person reads it.

use serde::Serialize;

use crate::ranking::{LifeSummary, Tie};

/// Version of the reports' shape; raised whenever a field changes its meaning or goes away.
pub const SCHEMA_VERSION: u32 = 1;

/// A trait's value: unknown is its own state.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum Truth {
    /// Seen: yes.
    Yes,
    /// Seen: no.
    No,
    /// Not known; neither yes nor no.
    Unknown,
    /// Concluded, not seen; the number says how sure, 0…1.
    InferredYes(f64),
    /// Concluded, not seen; the number says how sure, 0…1.
    InferredNo(f64),
}

/// Where a figure comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Origin {
    /// Measured, data sheet typical, …, in words.
    pub kind: String,
    /// Session, document or publication.
    pub source: String,
}

/// A figure for reading: value, interval and text.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct FigureValue {
    /// Best value in the SI unit of its column.
    pub value: f64,
    /// Standard uncertainty, SI; `None` where none is stated.
    pub standard_uncertainty: Option<f64>,
    /// As the trade prints it.
    pub text: String,
    /// Where it comes from.
    pub origin: Origin,
}

/// One cell of the comparison table.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum CellValue {
    /// Not known.
    Unknown,
    /// Makes no sense for this board (the charge current of a board without a charger).
    NotApplicable,
    /// Words.
    Text(String),
    /// A trait.
    Trait(Truth),
    /// A plain number without uncertainty, SI.
    Number {
        /// The value, SI.
        value: f64,
        /// As read.
        text: String,
    },
    /// A figure with its uncertainty.
    Figure(FigureValue),
}

/// A column of the comparison table.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Column {
    /// Stable key, used on the command line.
    pub key: String,
    /// Heading.
    pub title: String,
    /// Group of columns.
    pub group: String,
    /// Unit the numbers are shown in, e.g. `µA`; `None` for words and traits.
    pub unit: Option<String>,
    /// Factor from SI to that unit.
    pub per_si: f64,
    /// Whether this column holds a current that belongs on a logarithmic axis.
    pub logarithmic: bool,
}

/// One board in the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Row {
    /// Board, with its revision where there are several.
    pub board: String,
    /// The specimen whose figures are shown.
    pub specimen: Option<String>,
    /// If the specimen is dead: since when and why.
    pub dead: Option<String>,
    /// One value per column.
    pub cells: Vec<CellValue>,
}

/// The comparison table.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TableReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Columns in order.
    pub columns: Vec<Column>,
    /// Boards in order.
    pub rows: Vec<Row>,
    /// Boards left out by the filter because the trait asked for is unknown: they may fit.
    pub undecided: Vec<String>,
}

/// The result of one hard need for one board.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct NeedResult {
    /// The need in words.
    pub need: String,
    /// What was found.
    pub verdict: NeedVerdict,
    /// Why, in words; for an unknown: the test that settles it.
    pub reason: String,
    /// Minutes of bench work of that test.
    pub test_minutes: Option<f64>,
}

/// Three-valued verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum NeedVerdict {
    /// Met.
    Fits,
    /// Rests on an unknown.
    Undecided,
    /// Not met.
    DoesNot,
}

/// What ends lives and how often.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct EndingShare {
    /// The ending in words.
    pub ending: String,
    /// The ending in two or three words, for a column.
    pub short: String,
    /// The activity in which it happens.
    pub activity: Option<String>,
    /// Share of the draws.
    pub share: f64,
}

/// A sampled life with what ends it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct LifeAnswer {
    /// Quantiles and chance of the target.
    #[serde(flatten)]
    pub summary: LifeSummary,
    /// What ends it, most frequent first.
    pub endings: Vec<EndingShare>,
}

/// One rework that would change a verdict or a life.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ReworkGain {
    /// What is done, in words.
    pub rework: String,
    /// Minutes of work.
    pub minutes: f64,
    /// Median days gained.
    pub days_gained: f64,
    /// Median days gained per minute.
    pub days_per_minute: f64,
    /// Chance of the target afterwards.
    pub chance_of_target: Option<f64>,
    /// The risk in words.
    pub risk: Option<String>,
}

/// One board's place in the choice.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct BoardVerdict {
    /// Board.
    pub board: String,
    /// Specimen whose figures were used.
    pub specimen: Option<String>,
    /// Over all needs: the worst one.
    pub verdict: NeedVerdict,
    /// Every need.
    pub needs: Vec<NeedResult>,
    /// Forecast for the measured specimen; `None` if its electrical figures are unknown.
    pub this_specimen: Option<LifeAnswer>,
    /// Forecast for one you might buy.
    pub one_you_might_buy: Option<LifeAnswer>,
    /// On the Pareto front of the wishes, among the boards that fit or may fit.
    pub on_front: bool,
    /// Wishes' values in words, in the project's order.
    pub wishes: Vec<CellValue>,
    /// P(outlasts the leading board), common draws.
    pub chance_outlasts_leader: Option<f64>,
    /// Ties with the leading board, and why.
    pub tie: Option<Tie>,
    /// The reason for its place, in one sentence.
    pub reason: String,
    /// The cheapest rework that would bring it in.
    pub rework: Option<ReworkGain>,
    /// What is missing or outside validity, in words.
    pub flags: Vec<String>,
}

/// The choice for a project.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ChoiceReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Project.
    pub project: String,
    /// Cell.
    pub cell: String,
    /// Load in words.
    pub load: String,
    /// Draws and seed.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Target life, s.
    pub target_s: Option<f64>,
    /// Chance asked for.
    pub target_chance: Option<f64>,
    /// Smallest difference the person cares about, s.
    pub care_s: Option<f64>,
    /// Wishes' headings.
    pub wishes: Vec<String>,
    /// Boards, best first; those that do not fit last.
    pub boards: Vec<BoardVerdict>,
    /// P(row outlasts column) for the boards with a forecast, in the order of `pair_boards`.
    pub pairs: Vec<Vec<f64>>,
    /// Boards of the matrix.
    pub pair_boards: Vec<String>,
    /// The answer in one or two sentences.
    pub answer: String,
    /// Warnings about the whole choice.
    pub warnings: Vec<String>,
    /// Cautions that always apply.
    pub cautions: Vec<String>,
}

/// A line of the ledger.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct LedgerLine {
    /// What took the charge.
    pub name: String,
    /// How much, C.
    pub charge_c: f64,
    /// Share of the initial charge.
    pub share: f64,
}

/// One moment of a forecast.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Moment {
    /// Since the start, s.
    pub time_s: f64,
    /// State of charge, 10, 50, 90 %.
    pub state_of_charge: [f64; 3],
    /// Lowest rail voltage at the worst peak, nominal; `None` where there is no peak or no threshold.
    pub lowest_rail_v: Option<f64>,
}

/// How far another limit was when the life ended.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct MarginLine {
    /// Which limit.
    pub limit: String,
    /// How far away, in words with its unit.
    pub margin: String,
}

/// What one input is worth.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SensitivityLine {
    /// The input in words.
    pub input: String,
    /// Its value with uncertainty, in words.
    pub value: String,
    /// Days of life gained per unit below.
    pub days_per_unit: f64,
    /// That unit, e.g. `per µA less`.
    pub unit: String,
    /// Days that one standard uncertainty of this input is worth (its part in the spread).
    pub days_per_standard_uncertainty: f64,
    /// Where its value comes from.
    pub origin: Origin,
}

/// What a target life allows.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Allowance {
    /// The quantity: largest sleep current, largest charge per wake, shortest interval, smallest cell.
    pub quantity: String,
    /// What it is now.
    pub now: String,
    /// What the target allows, in words; `None` if no value does.
    pub allowed: Option<String>,
    /// SI value of it.
    pub allowed_si: Option<f64>,
    /// A remark: already met, out of reach and why.
    pub remark: String,
}

/// The forecast of one board in full.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ForecastReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Board.
    pub board: String,
    /// Specimen.
    pub specimen: Option<String>,
    /// Project.
    pub project: String,
    /// Cell.
    pub cell: String,
    /// Draws.
    pub draws: usize,
    /// Seed.
    pub seed: u64,
    /// Target life, s.
    pub target_s: Option<f64>,
    /// Best-value forecast, s.
    pub life_s: f64,
    /// Whether `life_s` is only a lower limit (alive at the horizon).
    pub life_is_limit: bool,
    /// What ends it, in words.
    pub ending: String,
    /// In which activity.
    pub ending_activity: Option<String>,
    /// Margins of every other limit at that moment.
    pub margins: Vec<MarginLine>,
    /// Charge left in the cell, C.
    pub stranded_c: f64,
    /// Where all the charge went; adds up to the initial charge.
    pub ledger: Vec<LedgerLine>,
    /// Initial charge, C.
    pub initial_charge_c: f64,
    /// Forecast for the measured specimen.
    pub this_specimen: LifeAnswer,
    /// Forecast for one you might buy.
    pub one_you_might_buy: LifeAnswer,
    /// How "one you might buy" was made: spread from n specimens, or the stated prior.
    pub spread_statement: String,
    /// State of charge and rail over time.
    pub moments: Vec<Moment>,
    /// What each input is worth, ranked.
    pub sensitivities: Vec<SensitivityLine>,
    /// What the target allows.
    pub allowances: Vec<Allowance>,
    /// Reworks, ranked by days per minute.
    pub reworks: Vec<ReworkGain>,
    /// What is missing or outside validity.
    pub flags: Vec<String>,
    /// Cautions that always apply.
    pub cautions: Vec<String>,
}

/// One line of a sleep-current bill.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct BillLine {
    /// The part.
    pub name: String,
    /// Its current at the battery contacts, A.
    pub current_a: f64,
    /// Standard uncertainty, A.
    pub standard_uncertainty_a: f64,
    /// As the trade prints it.
    pub text: String,
    /// Share of the whole reading.
    pub share: f64,
    /// Where the figure comes from; the residual has none.
    pub origin: Option<Origin>,
}

/// Where the sleep current goes.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct BillReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Board.
    pub board: String,
    /// Specimen.
    pub specimen: Option<String>,
    /// Supply voltage that the bill is for, V.
    pub supply_v: f64,
    /// The reading to be explained.
    pub total: BillLine,
    /// Parts, largest first.
    pub lines: Vec<BillLine>,
    /// What is left.
    pub unexplained: BillLine,
    /// What that means.
    pub closure: String,
    /// Whole board minus bare module, or "not resolved, below …".
    pub beyond_module: Option<String>,
    /// What could not be counted.
    pub notes: Vec<String>,
}
