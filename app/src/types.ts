// Made from the Rust types by `cargo run --package overwinter-workbench --features typescript --example typescript`.
// Do not edit: change the Rust types and run it again.

export type Request = { "table": { 
/**
 * Columns by key; empty for the usual ones, `["all"]` for all.
 */
columns: Array<string>, 
/**
 * Key to sort by, `-` in front reverses.
 */
sort: string | null, 
/**
 * Conditions such as `antenna=yes` or `sleep<20 µA`.
 */
filter: Array<string>, 
/**
 * Every specimen instead of one a board.
 */
specimens: boolean, } } | "columns" | { "choose": { 
/**
 * A project's name, or the whole text of a project document.
 */
project: string, 
/**
 * Number of draws.
 */
draws: number, 
/**
 * Seed.
 */
seed: number, } } | { "forecast": { 
/**
 * The board.
 */
board: string, 
/**
 * The specimen, where it matters.
 */
specimen: string | null, 
/**
 * A project's name, or the whole text of a project document.
 */
project: string, 
/**
 * Number of draws.
 */
draws: number, 
/**
 * Seed.
 */
seed: number, } } | { "board": { 
/**
 * The board.
 */
board: string, } } | "check" | "names";

export type Reply = { "table": TableReport } | { "columns": Array<Column> } | { "choice": ChoiceReport } | { "forecast": ForecastReport } | { "board": BoardReport } | { "check": Array<Diagnostic> } | { "names": Names } | { "error": Array<Diagnostic> };

export type Names = { 
/**
 * Projects.
 */
projects: Array<string>, 
/**
 * Cells.
 */
cells: Array<string>, 
/**
 * Boards.
 */
boards: Array<string>, };

export type BoardReport = { 
/**
 * Its document.
 */
document: Record<string, unknown>, 
/**
 * All columns of the table for each specimen.
 */
table: TableReport, 
/**
 * Its bill, or why there is none.
 */
bill: { Ok : BillReport } | { Err : string }, 
/**
 * Sessions of its specimens.
 */
sessions: Array<Record<string, unknown>>, 
/**
 * Other people's figures of it.
 */
claims: Array<Record<string, unknown>>, };

export type Diagnostic = { 
/**
 * A stable word, such as `unknown-key`.
 */
code: string, 
/**
 * How bad it is.
 */
severity: Severity, 
/**
 * What is wrong.
 */
message: string, 
/**
 * The file, relative to the folder, with `/`.
 */
file: string | null, 
/**
 * Where in the file.
 */
span: Place | null, 
/**
 * What to do.
 */
help: string | null, };

export type Place = { 
/**
 * Start, in bytes.
 */
start: number, 
/**
 * End, in bytes, exclusive.
 */
end: number, 
/**
 * Line of the start, from 1.
 */
line: number, 
/**
 * Column of the start in characters, from 1.
 */
column: number, };

export type Severity = "note" | "warning" | "danger" | "error";

export type Truth = "yes" | "no" | "unknown" | { "inferred_yes": number } | { "inferred_no": number };

export type Origin = { 
/**
 * Measured, data sheet typical, …, in words.
 */
kind: string, 
/**
 * Session, document or publication.
 */
source: string, };

export type FigureValue = { 
/**
 * Best value in the SI unit of its column.
 */
value: number, 
/**
 * Standard uncertainty, SI; `None` where none is stated.
 */
standard_uncertainty: number | null, 
/**
 * As the trade prints it.
 */
text: string, 
/**
 * Where it comes from.
 */
origin: Origin, };

export type CellValue = "unknown" | "not_applicable" | { "text": string } | { "trait": Truth } | { "number": { 
/**
 * The value, SI.
 */
value: number, 
/**
 * As read.
 */
text: string, } } | { "figure": FigureValue };

export type Column = { 
/**
 * Stable key, used on the command line.
 */
key: string, 
/**
 * Heading.
 */
title: string, 
/**
 * Group of columns.
 */
group: string, 
/**
 * Unit the numbers are shown in, e.g. `µA`; `None` for words and traits.
 */
unit: string | null, 
/**
 * Factor from SI to that unit.
 */
per_si: number, 
/**
 * Whether this column holds a current that belongs on a logarithmic axis.
 */
logarithmic: boolean, };

export type Row = { 
/**
 * Board, with its revision where there are several.
 */
board: string, 
/**
 * The specimen whose figures are shown.
 */
specimen: string | null, 
/**
 * If the specimen is dead: since when and why.
 */
dead: string | null, 
/**
 * One value per column.
 */
cells: Array<CellValue>, };

export type TableReport = { 
/**
 * See [`SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * Columns in order.
 */
columns: Array<Column>, 
/**
 * Boards in order.
 */
rows: Array<Row>, 
/**
 * Boards left out by the filter because the trait asked for is unknown: they may fit.
 */
undecided: Array<string>, };

export type NeedResult = { 
/**
 * The need in words.
 */
need: string, 
/**
 * What was found.
 */
verdict: NeedVerdict, 
/**
 * Why, in words; for an unknown: the test that settles it.
 */
reason: string, 
/**
 * Minutes of bench work of that test.
 */
test_minutes: number | null, };

export type NeedVerdict = "fits" | "undecided" | "does_not";

export type EndingShare = { 
/**
 * The ending in words.
 */
ending: string, 
/**
 * The ending in two or three words, for a column.
 */
short: string, 
/**
 * The activity in which it happens.
 */
activity: string | null, 
/**
 * Share of the draws.
 */
share: number, };

export type LifeAnswer = { 
/**
 * What ends it, most frequent first.
 */
endings: Array<EndingShare>, 
/**
 * 10 % of the draws live shorter than this, s.
 */
p10_s: number, 
/**
 * Median, s.
 */
p50_s: number, 
/**
 * 90 % of the draws live shorter than this, s.
 */
p90_s: number, 
/**
 * Arithmetic mean, s.
 */
mean_s: number, 
/**
 * Share of draws that reach the target; `None` without a target.
 */
chance_of_target: number | null, 
/**
 * Share of draws still alive at the horizon.
 */
censored: number, 
/**
 * Number of draws.
 */
draws: number, };

export type ReworkGain = { 
/**
 * What is done, in words.
 */
rework: string, 
/**
 * Minutes of work.
 */
minutes: number, 
/**
 * Median days gained.
 */
days_gained: number, 
/**
 * Median days gained per minute.
 */
days_per_minute: number, 
/**
 * Chance of the target afterwards.
 */
chance_of_target: number | null, 
/**
 * The risk in words.
 */
risk: string | null, };

export type BoardVerdict = { 
/**
 * Board.
 */
board: string, 
/**
 * Specimen whose figures were used.
 */
specimen: string | null, 
/**
 * Over all needs: the worst one.
 */
verdict: NeedVerdict, 
/**
 * Every need.
 */
needs: Array<NeedResult>, 
/**
 * Forecast for the measured specimen; `None` if its electrical figures are unknown.
 */
this_specimen: LifeAnswer | null, 
/**
 * Forecast for one you might buy.
 */
one_you_might_buy: LifeAnswer | null, 
/**
 * On the Pareto front of the wishes, among the boards that fit or may fit.
 */
on_front: boolean, 
/**
 * Wishes' values in words, in the project's order.
 */
wishes: Array<CellValue>, 
/**
 * P(outlasts the leading board), common draws.
 */
chance_outlasts_leader: number | null, 
/**
 * Ties with the leading board, and why.
 */
tie: Tie | null, 
/**
 * The reason for its place, in one sentence.
 */
reason: string, 
/**
 * The cheapest rework that would bring it in.
 */
rework: ReworkGain | null, 
/**
 * What is missing or outside validity, in words.
 */
flags: Array<string>, };

export type ChoiceReport = { 
/**
 * See [`SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * Project.
 */
project: string, 
/**
 * Cell.
 */
cell: string, 
/**
 * Load in words.
 */
load: string, 
/**
 * Draws and seed.
 */
draws: number, 
/**
 * Seed of the draws.
 */
seed: number, 
/**
 * Target life, s.
 */
target_s: number | null, 
/**
 * Chance asked for.
 */
target_chance: number | null, 
/**
 * Smallest difference the person cares about, s.
 */
care_s: number | null, 
/**
 * Wishes' headings.
 */
wishes: Array<string>, 
/**
 * Boards, best first; those that do not fit last.
 */
boards: Array<BoardVerdict>, 
/**
 * P(row outlasts column) for the boards with a forecast, in the order of `pair_boards`.
 */
pairs: Array<Array<number>>, 
/**
 * Boards of the matrix.
 */
pair_boards: Array<string>, 
/**
 * The answer in one or two sentences.
 */
answer: string, 
/**
 * Warnings about the whole choice.
 */
warnings: Array<string>, 
/**
 * Cautions that always apply.
 */
cautions: Array<string>, };

export type LedgerLine = { 
/**
 * What took the charge.
 */
name: string, 
/**
 * How much, C.
 */
charge_c: number, 
/**
 * Share of the initial charge.
 */
share: number, };

export type Moment = { 
/**
 * Since the start, s.
 */
time_s: number, 
/**
 * State of charge, 10, 50, 90 %.
 */
state_of_charge: [number, number, number], 
/**
 * Lowest rail voltage at the worst peak, nominal; `None` where there is no peak or no threshold.
 */
lowest_rail_v: number | null, };

export type MarginLine = { 
/**
 * Which limit.
 */
limit: string, 
/**
 * How far away, in words with its unit.
 */
margin: string, };

export type SensitivityLine = { 
/**
 * The input in words.
 */
input: string, 
/**
 * Its value with uncertainty, in words.
 */
value: string, 
/**
 * Days of life gained per unit below.
 */
days_per_unit: number, 
/**
 * That unit, e.g. `per µA less`.
 */
unit: string, 
/**
 * Days that one standard uncertainty of this input is worth (its part in the spread).
 */
days_per_standard_uncertainty: number, 
/**
 * Where its value comes from.
 */
origin: Origin, };

export type Allowance = { 
/**
 * The quantity: largest sleep current, largest charge per wake, shortest interval, smallest cell.
 */
quantity: string, 
/**
 * What it is now.
 */
now: string, 
/**
 * What the target allows, in words; `None` if no value does.
 */
allowed: string | null, 
/**
 * SI value of it.
 */
allowed_si: number | null, 
/**
 * A remark: already met, out of reach and why.
 */
remark: string, };

export type ForecastReport = { 
/**
 * See [`SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * Board.
 */
board: string, 
/**
 * Specimen.
 */
specimen: string | null, 
/**
 * Project.
 */
project: string, 
/**
 * Cell.
 */
cell: string, 
/**
 * Draws.
 */
draws: number, 
/**
 * Seed.
 */
seed: number, 
/**
 * Target life, s.
 */
target_s: number | null, 
/**
 * Best-value forecast, s.
 */
life_s: number, 
/**
 * Whether `life_s` is only a lower limit (alive at the horizon).
 */
life_is_limit: boolean, 
/**
 * What ends it, in words.
 */
ending: string, 
/**
 * In which activity.
 */
ending_activity: string | null, 
/**
 * Margins of every other limit at that moment.
 */
margins: Array<MarginLine>, 
/**
 * Charge left in the cell, C.
 */
stranded_c: number, 
/**
 * Where all the charge went; adds up to the initial charge.
 */
ledger: Array<LedgerLine>, 
/**
 * Initial charge, C.
 */
initial_charge_c: number, 
/**
 * Forecast for the measured specimen.
 */
this_specimen: LifeAnswer, 
/**
 * Forecast for one you might buy.
 */
one_you_might_buy: LifeAnswer, 
/**
 * How "one you might buy" was made: spread from n specimens, or the stated prior.
 */
spread_statement: string, 
/**
 * State of charge and rail over time.
 */
moments: Array<Moment>, 
/**
 * What each input is worth, ranked.
 */
sensitivities: Array<SensitivityLine>, 
/**
 * What the target allows.
 */
allowances: Array<Allowance>, 
/**
 * Reworks, ranked by days per minute.
 */
reworks: Array<ReworkGain>, 
/**
 * What is missing or outside validity.
 */
flags: Array<string>, 
/**
 * Cautions that always apply.
 */
cautions: Array<string>, };

export type BillLine = { 
/**
 * The part.
 */
name: string, 
/**
 * Its current at the battery contacts, A.
 */
current_a: number, 
/**
 * Standard uncertainty, A.
 */
standard_uncertainty_a: number, 
/**
 * As the trade prints it.
 */
text: string, 
/**
 * Share of the whole reading.
 */
share: number, 
/**
 * Where the figure comes from; the residual has none.
 */
origin: Origin | null, };

export type BillReport = { 
/**
 * See [`SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * Board.
 */
board: string, 
/**
 * Specimen.
 */
specimen: string | null, 
/**
 * Supply voltage that the bill is for, V.
 */
supply_v: number, 
/**
 * The reading to be explained.
 */
total: BillLine, 
/**
 * Parts, largest first.
 */
lines: Array<BillLine>, 
/**
 * What is left.
 */
unexplained: BillLine, 
/**
 * What that means.
 */
closure: string, 
/**
 * Whole board minus bare module, or "not resolved, below …".
 */
beyond_module: string | null, 
/**
 * What could not be counted.
 */
notes: Array<string>, };

export type LifeSummary = { 
/**
 * 10 % of the draws live shorter than this, s.
 */
p10_s: number, 
/**
 * Median, s.
 */
p50_s: number, 
/**
 * 90 % of the draws live shorter than this, s.
 */
p90_s: number, 
/**
 * Arithmetic mean, s.
 */
mean_s: number, 
/**
 * Share of draws that reach the target; `None` without a target.
 */
chance_of_target: number | null, 
/**
 * Share of draws still alive at the horizon.
 */
censored: number, 
/**
 * Number of draws.
 */
draws: number, };

export type Tie = "not_told" | "below_care";
