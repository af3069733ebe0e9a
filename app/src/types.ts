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
board: string, } } | { "sun": SunRequest } | { "sun_map": SunMapRequest } | { "tilt": TiltRequest } | { "charge": ChargeRequest } | "check" | "names" | "protocol" | { "guide": { 
/**
 * The specimen's label.
 */
specimen: string, 
/**
 * A project's name, or the whole text of a project document.
 */
project: string | null, } } | { "entry": { 
/**
 * Number of the step, from 1.
 */
step: number, } } | { "read_back": { 
/**
 * What the reading is of, `"temperature"` or `"duration"`.
 */
what: string, 
/**
 * What was typed.
 */
text: string, } };

export type Reply = { "table": TableReport } | { "columns": Array<Column> } | { "choice": ChoiceReport } | { "forecast": ForecastReport } | { "board": BoardReport } | { "sun": SunReport } | { "sun_map": SunMapReport } | { "tilt": TiltReport } | { "charge": ChargeReport } | { "check": Array<Diagnostic> } | { "names": Names } | { "protocol": Array<StepLine> } | { "guide": GuideReport } | { "entry": EntryForm | null } | { "read_back": ReadBack } | { "error": Array<Diagnostic> };

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
boards: Array<string>, 
/**
 * Labels of the specimens.
 */
specimens: Array<string>, 
/**
 * Sites.
 */
sites: Array<string>, 
/**
 * Panels.
 */
panels: Array<string>, };

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
 * The prior on the spread between specimens behind "one you might buy", in words.
 */
spread_prior: string, 
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

export type TraceRequest = { "recordings": Record<symbol, never> } | { "read": { 
/**
 * Which.
 */
recording: string, } } | { "window": { 
/**
 * Which.
 */
recording: string, 
/**
 * From (s); the beginning if left out.
 */
from_s: number | null, 
/**
 * To (s); the end if left out.
 */
to_s: number | null, 
/**
 * Columns on the screen; 1000 if left out, at most 8192.
 */
columns: number | null, } } | { "wakes": { 
/**
 * Which.
 */
recording: string, 
/**
 * Which activity, as numbered in [`TraceReport::activities`]; the most frequent if left out.
 */
activity: number | null, 
/**
 * Most wakes; 24 if left out.
 */
most: number | null, 
/**
 * Points on the common time base; 400 if left out.
 */
points: number | null, } } | { "between": { 
/**
 * Which.
 */
recording: string, 
/**
 * One cursor (s).
 */
from_s: number, 
/**
 * The other (s).
 */
to_s: number, } } | { "compare": { 
/**
 * The first.
 */
before: string, 
/**
 * The second.
 */
after: string, 
/**
 * The project whose days are gained; the only one of the folder if left out.
 */
project: string | null, } } | { "rail": { 
/**
 * Which.
 */
recording: string, } };

export type TraceReply = { "recordings": Array<RecordingLine> } | { "read": TraceReport } | { "window": TraceWindow } | { "wakes": TraceOverlay } | { "between": TraceBetween } | { "compare": TraceComparison } | { "rail": RailCapture } | { "error": Array<Diagnostic> };

export type TraceShows = "current" | "rail";

export type TraceFigure = { 
/**
 * Mean.
 */
value: number, 
/**
 * Standard uncertainty of the mean from the record; `None` for a single repetition.
 */
standard_uncertainty: number | null, 
/**
 * Standard deviation of one repetition.
 */
standard_deviation: number | null, 
/**
 * Repetitions.
 */
count: number, 
/**
 * As the trade prints it, k = 2.
 */
text: string, };

export type RecordingLine = { 
/**
 * Name.
 */
name: string, 
/**
 * Its document, relative to the folder.
 */
path: string, 
/**
 * Current or rail.
 */
shows: TraceShows, 
/**
 * The specimen.
 */
specimen: string | null, 
/**
 * The specimen's board.
 */
board: string | null, 
/**
 * When, as 2026-05-12.
 */
date: string, 
/**
 * Who.
 */
who: string | null, 
/**
 * Instrument and range or shunt, in words.
 */
instrument: string | null, 
/**
 * Supply voltage at the board (V).
 */
supply_v: number | null, 
/**
 * Temperature (°C).
 */
temperature_c: number | null, 
/**
 * Firmware, in words.
 */
firmware: string | null, 
/**
 * A remark.
 */
note: string | null, 
/**
 * The source file, relative to the folder.
 */
trace: string, 
/**
 * The kept form, relative to the folder, where there is one.
 */
kept: string | null, 
/**
 * The summary; `None` where it could not be read.
 */
summary: TraceSummary | null, 
/**
 * Why there is no summary, or what is wrong with the files.
 */
problem: string | null, };

export type TraceSummary = { 
/**
 * Samples.
 */
samples: number, 
/**
 * First time (s).
 */
first_s: number, 
/**
 * Last time (s).
 */
last_s: number, 
/**
 * Sampling rate (Hz).
 */
rate_hz: number, 
/**
 * Mean current (A); of a rail capture: the mean voltage (V).
 */
mean: number, 
/**
 * The sleep floor (A).
 */
floor_a: TraceFigure | null, 
/**
 * Wakes, cut ones included.
 */
wakes: number, 
/**
 * What the board does awake, most frequent first.
 */
activities: Array<TraceActivity>, 
/**
 * What is wrong with the trace.
 */
defects: Array<TraceDefect>, };

export type TraceActivity = { 
/**
 * "wake A", "wake B", … in order of frequency.
 */
name: string, 
/**
 * Whole wakes of it.
 */
wakes: number, 
/**
 * Start to start (s).
 */
interval_s: TraceFigure | null, 
/**
 * Standard deviation of that time (s).
 */
jitter_s: number | null, 
/**
 * Duration (s).
 */
duration_s: TraceFigure, 
/**
 * Charge above the floor (C).
 */
charge_c: TraceFigure, 
/**
 * Least of one wake (C).
 */
charge_min_c: number, 
/**
 * Most of one wake (C).
 */
charge_max_c: number, 
/**
 * Highest current (A).
 */
peak_a: number, 
/**
 * Its phases, in order.
 */
phases: Array<TraceActivityPhase>, };

export type TraceActivityPhase = { 
/**
 * Named by the person's rules, or by order and level.
 */
name: string, 
/**
 * Duration (s).
 */
duration_s: TraceFigure, 
/**
 * Mean current, floor included (A).
 */
current_a: TraceFigure, 
/**
 * Charge of a wake in it, floor included (C).
 */
charge_c: number, 
/**
 * Share of the activity's charge, 0…1.
 */
share: number, 
/**
 * Highest current (A).
 */
peak_a: number, 
/**
 * The longest such peak (s).
 */
peak_s: number, 
/**
 * Share of the wakes in which it was recognised, 0…1.
 */
seen_in: number, 
/**
 * Alternates between two levels.
 */
bursts: boolean, };

export type TraceFloor = { 
/**
 * Mean asleep, regulator bursts included (A).
 */
current_a: TraceFigure, 
/**
 * The lowest dense level (A).
 */
mode_a: number, 
/**
 * Above this the board counts as awake (A).
 */
threshold_a: number, 
/**
 * Time asleep (s).
 */
asleep_s: number, 
/**
 * Windows averaged.
 */
windows: number, 
/**
 * Length of a window (s).
 */
window_s: number, 
/**
 * Regulator bursts found asleep.
 */
bursts: number, 
/**
 * From burst to burst (s).
 */
burst_period_s: number | null, 
/**
 * Charge of a burst above the floor (C).
 */
burst_charge_c: number | null, };

export type TraceDrift = { 
/**
 * Averaging time (s).
 */
tau_s: number, 
/**
 * Overlapping Allan deviation (A).
 */
deviation_a: number, };

export type TracePhase = { 
/**
 * Named by the person's rules; `None` where none holds.
 */
name: string | null, 
/**
 * From (s).
 */
start_s: number, 
/**
 * To (s).
 */
end_s: number, 
/**
 * Mean current (A).
 */
mean_a: number, 
/**
 * Lowest (A).
 */
min_a: number, 
/**
 * Highest (A).
 */
max_a: number, 
/**
 * Charge (C).
 */
charge_c: number, 
/**
 * Alternates between two levels.
 */
bursts: boolean, };

export type TraceWake = { 
/**
 * Number, from 1, over the whole trace.
 */
number: number, 
/**
 * Start (s).
 */
start_s: number, 
/**
 * Duration (s).
 */
duration_s: number, 
/**
 * Charge above the floor (C).
 */
charge_c: number, 
/**
 * Highest current (A).
 */
peak_a: number, 
/**
 * Which activity.
 */
activity: number | null, 
/**
 * Cut by an end of the trace or by a gap: not in the statistics.
 */
cut: boolean, 
/**
 * Far from the others of its activity.
 */
outlier: boolean, };

export type TraceDefect = { 
/**
 * In words: "gap", "clipping", ….
 */
kind: string, 
/**
 * How many samples, intervals or rows.
 */
count: number, 
/**
 * Seconds concerned; 0 where that has no meaning.
 */
seconds: number, 
/**
 * What it means and what to do.
 */
message: string, 
/**
 * The first places.
 */
places: Array<TracePlace>, };

export type TracePlace = { 
/**
 * Time (s), where it has one.
 */
time_s: number | null, 
/**
 * Row of the file, where it is one (1 is the first line).
 */
row: number | null, 
/**
 * Byte of the (decompressed) file, from 0.
 */
byte: number | null, 
/**
 * The value that shows it; its unit depends on the kind.
 */
value: number | null, };

export type TraceStop = { 
/**
 * Row.
 */
row: number, 
/**
 * Byte.
 */
byte: number, 
/**
 * Why.
 */
reason: string, };

export type TraceQuantile = { 
/**
 * Probability.
 */
probability: number, 
/**
 * Current (A).
 */
current_a: number, 
/**
 * Half-width of the bin it was read from (A).
 */
half_width_a: number, };

export type TraceVoltage = { 
/**
 * Mean (V).
 */
mean_v: number, 
/**
 * Lowest (V).
 */
min_v: number, 
/**
 * Highest (V).
 */
max_v: number, 
/**
 * ∫ v·i dt (J).
 */
energy_j: number, };

export type TraceReport = { 
/**
 * See [`crate::report::SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * The recording, or the file.
 */
name: string, 
/**
 * "I read this as …".
 */
read_as: string, 
/**
 * Samples.
 */
samples: number, 
/**
 * Rows seen.
 */
rows: number, 
/**
 * Rows that gave no sample.
 */
refused_rows: number, 
/**
 * First time (s).
 */
first_s: number, 
/**
 * Last time (s).
 */
last_s: number, 
/**
 * Time that counts: gaps and backward steps excluded (s).
 */
covered_s: number, 
/**
 * Why reading ended before the end, if it did.
 */
stopped: TraceStop | null, 
/**
 * Nominal interval (s).
 */
interval_s: number, 
/**
 * Rate (Hz).
 */
rate_hz: number, 
/**
 * All intervals alike.
 */
even: boolean, 
/**
 * Charge (C).
 */
charge_c: number, 
/**
 * Mean current (A).
 */
mean_a: number, 
/**
 * Root mean square (A).
 */
rms_a: number, 
/**
 * Lowest sample (A).
 */
min_a: number, 
/**
 * When (s).
 */
min_at_s: number, 
/**
 * Highest sample (A).
 */
max_a: number, 
/**
 * When (s).
 */
max_at_s: number, 
/**
 * Quantiles of the samples.
 */
quantiles: Array<TraceQuantile>, 
/**
 * A voltage recorded beside it.
 */
voltage: TraceVoltage | null, 
/**
 * The sleep floor; `None` where none stands out.
 */
floor: TraceFloor | null, 
/**
 * Stability of the floor; empty with too little sleep.
 */
drift: Array<TraceDrift>, 
/**
 * Slope of the floor (A/s).
 */
drift_a_per_s: number | null, 
/**
 * Wakes, cut ones included.
 */
wakes: number, 
/**
 * Wakes cut by an end of the trace or a gap.
 */
cut_wakes: number, 
/**
 * What the board does awake.
 */
activities: Array<TraceActivity>, 
/**
 * Wakes one by one, at most 4096 of them.
 */
wake_list: Array<TraceWake>, 
/**
 * Wakes unlike the others.
 */
outliers: Array<TraceWake>, 
/**
 * The whole trace in phases, the longest 2000 of them.
 */
phases: Array<TracePhase>, 
/**
 * Mean current of the load by floor, charges and intervals (A).
 */
load_mean_a: number | null, 
/**
 * What is wrong with the trace.
 */
defects: Array<TraceDefect>, 
/**
 * The instrument's own limits where instrument and range are known, and what is not in the uncertainties.
 */
remarks: Array<string>, };

export type TraceColumns = { 
/**
 * Starts (s).
 */
start_s: Array<number>, 
/**
 * Lowest (A).
 */
min_a: Array<number>, 
/**
 * Mean (A).
 */
mean_a: Array<number>, 
/**
 * Highest (A).
 */
max_a: Array<number>, };

export type TraceWindow = { 
/**
 * The recording.
 */
recording: string, 
/**
 * From (s).
 */
from_s: number, 
/**
 * To (s).
 */
to_s: number, 
/**
 * First time of the whole recording (s).
 */
first_s: number, 
/**
 * Last time of the whole recording (s).
 */
last_s: number, 
/**
 * Samples in a column; 1: the samples themselves.
 */
samples_per_column: number, 
/**
 * The finest that can be seen here (s): a column's width.
 */
resolution_s: number, 
/**
 * The columns.
 */
columns: TraceColumns, 
/**
 * Phases in view, the longest 400.
 */
phases: Array<TracePhase>, 
/**
 * Wakes in view, at most 400.
 */
wakes: Array<TraceWake>, 
/**
 * The sleep floor (A).
 */
floor_a: number | null, 
/**
 * Above this the board counts as awake (A).
 */
threshold_a: number | null, };

export type TraceOverlay = { 
/**
 * The recording.
 */
recording: string, 
/**
 * The activity's name.
 */
activity: string, 
/**
 * Common time base, 0 where a wake starts (s).
 */
time_s: Array<number>, 
/**
 * The wakes, each a mean current per point; `null` where the recording has nothing.
 */
wakes: Array<TraceOverlayWake>, 
/**
 * The middle one of the wakes shown, point by point (A).
 */
median_a: Array<number | null>, };

export type TraceOverlayWake = { 
/**
 * Number, from 1.
 */
number: number, 
/**
 * Start in the recording (s).
 */
start_s: number, 
/**
 * Charge above the floor (C).
 */
charge_c: number, 
/**
 * Far from the others.
 */
outlier: boolean, 
/**
 * Mean current at each point (A).
 */
mean_a: Array<number | null>, };

export type TraceBetween = { 
/**
 * The recording.
 */
recording: string, 
/**
 * From (s), the earlier cursor, inside the recording.
 */
from_s: number, 
/**
 * To (s).
 */
to_s: number, 
/**
 * Time between them (s).
 */
duration_s: number, 
/**
 * Charge (C); gaps hold none.
 */
charge_c: number, 
/**
 * Charge above the sleep floor (C).
 */
above_floor_c: number | null, 
/**
 * Mean current (A).
 */
mean_a: number, 
/**
 * Lowest (A).
 */
min_a: number, 
/**
 * Highest (A).
 */
max_a: number, 
/**
 * Samples in a column that it was computed from; 1: from the samples.
 */
samples_per_column: number, 
/**
 * In words.
 */
text: string, };

export type TraceChange = { 
/**
 * In the first.
 */
before: TraceFigure, 
/**
 * In the second.
 */
after: TraceFigure, 
/**
 * After less before.
 */
difference: number, 
/**
 * Standard uncertainty of the difference.
 */
standard_uncertainty: number | null, 
/**
 * Probability of a difference as large by chance (Welch's test).
 */
p_value: number | null, 
/**
 * More than chance at 1 %; `None` where too few repetitions tell.
 */
significant: boolean | null, };

export type TraceWakeChange = { 
/**
 * Its name in the first.
 */
before: string, 
/**
 * Its name in the second.
 */
after: string, 
/**
 * Charge per wake (C).
 */
charge_c: TraceChange, 
/**
 * Interval (s).
 */
interval_s: TraceChange | null, };

export type TracePhaseChange = { 
/**
 * The activity.
 */
activity: string, 
/**
 * The phase.
 */
phase: string, 
/**
 * Duration (s); `None` where it is in one recording only.
 */
duration_s: TraceChange | null, 
/**
 * Mean current (A).
 */
current_a: TraceChange | null, 
/**
 * In the second only.
 */
new: boolean, 
/**
 * In the first only.
 */
gone: boolean, 
/**
 * Difference of charge per wake (C).
 */
charge_difference_c: number, };

export type TraceDays = { 
/**
 * The project.
 */
project: string, 
/**
 * The cell.
 */
cell: string, 
/**
 * Charge it was reckoned with (C).
 */
capacity_c: number, 
/**
 * From wake to wake in the project (s).
 */
every_s: number, 
/**
 * Days with the first recording's load.
 */
before_days: number, 
/**
 * Days with the second's.
 */
after_days: number, 
/**
 * Difference.
 */
gained_days: number, 
/**
 * Its standard uncertainty, from the records' alone.
 */
standard_uncertainty_days: number | null, 
/**
 * What this leaves out.
 */
basis: string, };

export type TraceComparison = { 
/**
 * See [`crate::report::SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * The first.
 */
before: string, 
/**
 * The second.
 */
after: string, 
/**
 * The sleep floor (A).
 */
sleep_a: TraceChange | null, 
/**
 * Activity by activity.
 */
wakes: Array<TraceWakeChange>, 
/**
 * Phases, the largest change of charge first.
 */
phases: Array<TracePhaseChange>, 
/**
 * Mean current of the load as recorded (A).
 */
mean_before_a: number | null, 
/**
 * After.
 */
mean_after_a: number | null, 
/**
 * What it is worth in a project.
 */
days: TraceDays | null, 
/**
 * The answer in words.
 */
verdict: Array<string>, 
/**
 * What stands in the way of the comparison.
 */
cautions: Array<string>, };

export type RailAnswer = "rides_through" | "marginal" | "resets" | "no_event";

export type RailCapture = { 
/**
 * See [`crate::report::SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * The recording, or the file.
 */
name: string, 
/**
 * "I read this as …".
 */
read_as: string, 
/**
 * Samples.
 */
samples: number, 
/**
 * The reset threshold (V).
 */
threshold_v: number, 
/**
 * ± of threshold and probe together (V).
 */
tolerance_v: number, 
/**
 * Where the threshold comes from.
 */
threshold_source: string, 
/**
 * Median before the event (V).
 */
before_v: number, 
/**
 * Median at the end (V).
 */
after_v: number, 
/**
 * Lowest (V).
 */
lowest_v: number, 
/**
 * When (s).
 */
lowest_at_s: number, 
/**
 * Depth of the dip (V).
 */
dip_v: number, 
/**
 * Highest (V).
 */
highest_v: number, 
/**
 * Start of the event (s).
 */
start_s: number | null, 
/**
 * Length of the dip at a tenth of its depth (s).
 */
dip_duration_s: number, 
/**
 * Time under the threshold (s).
 */
under_threshold_s: number, 
/**
 * How often it went under.
 */
times_under: number, 
/**
 * Lowest less threshold (V).
 */
margin_v: number, 
/**
 * Noise before the event (V).
 */
noise_v: number, 
/**
 * The answer.
 */
answer: RailAnswer, 
/**
 * The same in words.
 */
verdict: string, 
/**
 * Why it might not be trusted.
 */
cautions: Array<string>, 
/**
 * The capture in at most 1000 columns, in volts.
 */
columns: RailColumns, 
/**
 * The document the trial was written to, where it was.
 */
written: string | null, };

export type RailColumns = { 
/**
 * Starts (s).
 */
start_s: Array<number>, 
/**
 * Lowest (V).
 */
min_v: Array<number>, 
/**
 * Highest (V).
 */
max_v: Array<number>, };

export type PublishedTrace = { 
/**
 * The recording with its summary.
 */
recording: RecordingLine, 
/**
 * The whole trace in at most about 1200 columns; its `resolution_s` is the finest the page can show.
 */
overview: TraceWindow | null, 
/**
 * Wakes of the most frequent activity.
 */
overlay: TraceOverlay | null, 
/**
 * The rail's verdict, of a rail capture.
 */
rail: RailCapture | null, };

export type StepStatus = "done" | "partly" | "against_the_gate" | "open" | "blocked" | "does_not_apply" | "never";

export type StepLine = { 
/**
 * Number, from 1.
 */
number: number, 
/**
 * Title.
 */
title: string, 
/**
 * State.
 */
status: StepStatus, 
/**
 * The project rests on it.
 */
needed: boolean, 
/**
 * Wiring.
 */
wiring: string, 
/**
 * What to set and do.
 */
set: string, 
/**
 * What to expect.
 */
expect: string, 
/**
 * What is dangerous.
 */
dangers: Array<string>, 
/**
 * What comes first, or why it is not trusted.
 */
in_the_way: Array<string>, 
/**
 * What is missing in a result that is there.
 */
missing: Array<string>, 
/**
 * Sessions that hold the result.
 */
sessions: Array<string>, 
/**
 * What it unlocks.
 */
unlocks: string, 
/**
 * Usual time, min; common practice, no source.
 */
minutes: number, };

export type PolarityLine = { 
/**
 * The contact that is +, when both observations agree: `left` or `right`, seen into the socket's mouth with the
 * component side up.
 */
positive: string | null, 
/**
 * A cell may be connected: board and lead are measured and fit.
 */
may_connect: boolean, 
/**
 * In words: what was found or what stands in the way.
 */
statement: string, 
/**
 * A drawing for paper.
 */
drawing: string | null, };

export type GuideReport = { 
/**
 * See [`SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * Specimen.
 */
specimen: string, 
/**
 * Board.
 */
board: string, 
/**
 * Project.
 */
project: string | null, 
/**
 * Cell meant to be connected.
 */
cell: string | null, 
/**
 * Polarity.
 */
polarity: PolarityLine, 
/**
 * Steps in order.
 */
steps: Array<StepLine>, 
/**
 * Number of the step to do next.
 */
next: number | null, 
/**
 * Numbers of the steps still to do for the project.
 */
to_do: Array<number>, 
/**
 * Usual time for them, min.
 */
minutes: number, 
/**
 * What to write down for the next step: a document to save in the folder.
 */
write_down: WriteDown | null, 
/**
 * If it is dead.
 */
lost: PostMortem | null, 
/**
 * Danger: something was recorded against the gate, or an observation contradicts.
 */
danger: boolean, 
/**
 * The checklist as plain text, for paper.
 */
printable: string, };

export type WriteDown = { 
/**
 * Where to save it, in the folder.
 */
file: string, 
/**
 * Its text, valid at once: `"?"` marks what is not filled in yet.
 */
text: string, };

export type PostMortem = { 
/**
 * Specimen.
 */
specimen: string, 
/**
 * Board.
 */
board: string, 
/**
 * Since when.
 */
since: string, 
/**
 * At which step of the protocol, as written.
 */
step: string | null, 
/**
 * Its number in the protocol, from 1; `None` where the step is not written down (in the field).
 */
step_number: number | null, 
/**
 * Why.
 */
cause: string, 
/**
 * What it cost.
 */
cost: string | null, 
/**
 * What was learnt.
 */
lesson: string | null, 
/**
 * Sessions that were held on it, the post-mortem among them.
 */
sessions: Array<string>, 
/**
 * Living specimens of the same board; their figures are theirs alone.
 */
sisters: Array<string>, };

export type EntryPlace = "reading" | "polarity" | "ride_through";

export type EntryField = { 
/**
 * What it is, for people.
 */
label: string, 
/**
 * Where it goes.
 */
place: EntryPlace, 
/**
 * What the reading is of, in the documents' words; it decides which units fit.
 */
what: string, 
/**
 * Key in the polarity table.
 */
key: string | null, 
/**
 * What it may look like.
 */
example: string, 
/**
 * Supply voltage, where it is not the session's; the cell's voltage of a trial.
 */
supply: string | null, 
/**
 * Source, where it is not the session's.
 */
source: string | null, 
/**
 * How many times it is read.
 */
repeats: number, 
/**
 * The source came or went.
 */
event: string | null, 
/**
 * What the board was doing.
 */
doing: string | null, 
/**
 * A remark that belongs to it.
 */
note: string | null, };

export type EntryForm = { 
/**
 * Number of the step, from 1.
 */
step: number, 
/**
 * Tag of the session's name.
 */
tag: string, 
/**
 * Supply voltage of the session.
 */
supply: string | null, 
/**
 * Source of the session.
 */
source: string | null, 
/**
 * State of the firmware.
 */
state: string | null, 
/**
 * The zero of the range is noted before and after.
 */
zero: boolean, 
/**
 * The figures.
 */
fields: Array<EntryField>, };

export type ReadBack = { 
/**
 * The value as the workbench prints it.
 */
text: string, 
/**
 * Its value in SI.
 */
si: number, };

export type SunRequest = { 
/**
 * A project's name, or the whole text of a project document.
 */
project: string, 
/**
 * Another site than the project's: a name, or the whole text of a site document.
 */
site: string | null, 
/**
 * Another panel than the project's: a name, or the whole text of a panel document.
 */
panel: string | null, 
/**
 * Text of the site's hourly file; without it that which is attached to the bench, else the twelve monthly figures are used.
 */
hourly: string | null, 
/**
 * Boards; empty for those of the project.
 */
boards: Array<string>, 
/**
 * Synthetic years, 1 to [`MOST_YEARS`]. With an hourly file its own years are run, and beside them as many synthetic ones with its figures.
 */
years: number, 
/**
 * Seed of the weather; the same seed is the same weather for every board.
 */
seed: number, };

export type SunMapRequest = { 
/**
 * A project's name, or the whole text of a project document.
 */
project: string, 
/**
 * Another site than the project's: a name, or the whole text of a site document.
 */
site: string | null, 
/**
 * Another panel than the project's, to be scaled: a name, or the whole text of a panel document.
 */
panel: string | null, 
/**
 * The board; the first of the project that can be charged if left out.
 */
board: string | null, 
/**
 * Rated powers of the panels, W, rising; empty for sizes round the project's own.
 */
panels_w: Array<number>, 
/**
 * Capacities of the cells, C, rising; empty for sizes round the project's own.
 */
cells_c: Array<number>, 
/**
 * Years of this piece.
 */
years: number, 
/**
 * Seed of the weather.
 */
seed: number, 
/**
 * `counts` of the last reply, to go on from there; `None` to begin.
 */
before: SunMapCounts | null, };

export type SunMapCounts = { 
/**
 * Years run.
 */
years: number, 
/**
 * Years with an outage, panel by panel, all cells of the first panel first.
 */
years_with_outage: Array<number>, 
/**
 * Outage days of the first 40 years, in the same order.
 */
outage_days: Array<number>, 
/**
 * Of the site's weather file: its own years with an outage, in the same order; empty without a file.
 */
measured: Array<number>, };

export type TiltRequest = { 
/**
 * A project's name, or the whole text of a project document.
 */
project: string, 
/**
 * Another site than the project's: a name, or the whole text of a site document.
 */
site: string | null, 
/**
 * Bearing that the panel faces, degrees clockwise from north; the project's, else the equator.
 */
azimuth_deg: number | null, };

export type ChargeRequest = { 
/**
 * A project's name or text: its cells where none are named, and its load while charging.
 */
project: string | null, 
/**
 * Boards; empty for all that the project considers, or all of the folder.
 */
boards: Array<string>, 
/**
 * Cells; empty for the project's, or all of the folder.
 */
cells: Array<string>, 
/**
 * State of charge at the start, 0 to 1.
 */
from_state: number, };

export type ShareOfYears = { 
/**
 * Share seen.
 */
share: number, 
/**
 * Lower end.
 */
low: number, 
/**
 * Upper end.
 */
high: number, 
/**
 * Years run.
 */
years: number, };

export type SunAssumption = { 
/**
 * What is not known.
 */
unknown: string, 
/**
 * What was taken.
 */
taken: string, 
/**
 * Kind of the figure: assumed, from memory, common practice.
 */
kind: string, 
/**
 * What would settle it.
 */
settle: string, };

export type SunMonth = { 
/**
 * 1 to 12.
 */
month: number, 
/**
 * On the horizontal, kWh/m² a day; `None` where nobody knows.
 */
horizontal_kwh_m2: number | null, 
/**
 * On the panel after skyline, snow and dirt, by the classical monthly method, kWh/m² a day.
 */
on_panel_kwh_m2: number | null, 
/**
 * Clearness: horizontal light over that outside the atmosphere; `None` in the polar night.
 */
clearness: number | null, 
/**
 * Mean air temperature, °C.
 */
air_c: number, 
/**
 * Share of the beam that clears skyline and shade; `None` where no beam falls on the panel at all.
 */
beam_share: number | null, };

export type SunSetting = { 
/**
 * The site.
 */
site: string, 
/**
 * Latitude, degrees, north positive.
 */
latitude_deg: number, 
/**
 * The panel.
 */
panel: string, 
/**
 * Its rated power, W.
 */
panel_w: number, 
/**
 * Tilt from the horizontal, degrees.
 */
tilt_deg: number, 
/**
 * Bearing that it faces, degrees clockwise from north.
 */
azimuth_deg: number, 
/**
 * Share of the sky that it sees of what it would see without the skyline.
 */
sky_view: number, 
/**
 * Points of the skyline: bearing and elevation, degrees.
 */
skyline_deg: Array<[number, number]>, 
/**
 * The weather in words: monthly figures and synthetic years, or the file and its years.
 */
weather: string, 
/**
 * January to December.
 */
months: Array<SunMonth>, 
/**
 * Remarks on the data: gaps, clocks, months outside a fit.
 */
notes: Array<string>, };

export type SunBalanceMonth = { 
/**
 * 1 to 12.
 */
month: number, 
/**
 * What panel and charger could give, C a day: taken, and refused because the cell was full.
 */
could_c: number, 
/**
 * Of that, what was taken, C a day.
 */
taken_c: number, 
/**
 * What the board asks for, C a day: served and, while dark, unserved.
 */
load_c: number, 
/**
 * Days with an outage in a mean year.
 */
outage_days: number, };

export type SunFanDay = { 
/**
 * Day of the year, 1 to 365; the fan begins at midsummer.
 */
day_of_year: number, 
/**
 * Lowest of all years.
 */
lowest: number, 
/**
 * 10 % of the years lie below.
 */
p10: number, 
/**
 * Median.
 */
p50: number, 
/**
 * 90 % of the years lie below.
 */
p90: number, };

export type SunLedgerLine = { 
/**
 * What.
 */
name: string, 
/**
 * C a year; what comes in is positive, what goes out is negative. The lines add up to zero.
 */
charge_c: number, };

export type SunRuleOfThumb = { 
/**
 * Harvest over load in the worst month, panel current times hours of full sun.
 */
worst_month_ratio: number, 
/**
 * That month.
 */
worst_month: number, 
/**
 * The usual advice for the ratio.
 */
ratio_wanted: number, 
/**
 * Days from full to dark without sun.
 */
autonomy_days: number, 
/**
 * The usual advice for the days.
 */
autonomy_wanted: number, 
/**
 * Whether both are met.
 */
met: boolean, };

export type SunDailyBank = { 
/**
 * Years with an outage if nothing is charged on days on which the cell is colder than its window.
 */
frost_kept_out: ShareOfYears, 
/**
 * Share of days with an outage then.
 */
days_frost_kept_out: number, 
/**
 * Years with an outage if it is charged in the frost as well.
 */
frost_charged: ShareOfYears, };

export type SunContribution = { 
/**
 * The input.
 */
name: string, 
/**
 * Outage days a year that one standard uncertainty more of it adds (negative: takes away), to first order.
 */
days: number, 
/**
 * Share of the variance that all inputs together give the outage days, 0 to 1.
 */
share: number, };

export type SunContinued = { 
/**
 * Share of years with any outage.
 */
years_with_outage: ShareOfYears, 
/**
 * Outage days in a mean year.
 */
outage_days_per_year: number, };

export type SunUncertain = { 
/**
 * Share of years with an outage over weather and inputs together.
 */
years_with_outage: ShareOfYears, 
/**
 * Outage days in a mean year.
 */
outage_days_per_year: number, 
/**
 * What was drawn, by the names of the forecast.
 */
drawn: Array<string>, 
/**
 * What moves the outage days most, the largest first; only what so many draws can tell from nothing.
 */
budget: Array<SunContribution>, };

export type SunOutcome = { 
/**
 * Mean current of the board at 10 °C and half charge, A.
 */
mean_load_a: number, 
/**
 * Share of years with any outage, inputs at their best values: weather and spread between years alone.
 */
years_with_outage: ShareOfYears, 
/**
 * With an hourly file: the synthetic years beside its own; `None` without a file, or where its figures make none.
 */
continued: SunContinued | null, 
/**
 * With uncertain inputs as well.
 */
uncertain: SunUncertain | null, 
/**
 * Outage days in a mean year.
 */
outage_days_per_year: number, 
/**
 * Its standard error; `None` for one year.
 */
outage_days_standard_error: number | null, 
/**
 * Longest dark stretch of all years, s.
 */
longest_dark_s: number, 
/**
 * Month with the most outage days; `None` if there are none.
 */
worst_month: number | null, 
/**
 * Lowest state of charge of all years, 0 to 1.
 */
lowest_state: number, 
/**
 * Days from full to dark without sun, at 0 °C.
 */
autonomy_days: number, 
/**
 * Share of the time with the cell full.
 */
share_full: number, 
/**
 * Hours a year with the cell full.
 */
full_hours_per_year: number, 
/**
 * Of those, with the cell above 30 °C, where it ages fastest.
 */
hot_full_hours_per_year: number, 
/**
 * Hours a year in which charge goes into a cell outside its window.
 */
frost_charge_hours_per_year: number, 
/**
 * Times a year the source goes away; hourly weather makes it a lower bound.
 */
source_lost_per_year: number, 
/**
 * Of those, in chatter at dawn and dusk.
 */
chatter_per_year: number, 
/**
 * Resets a year for certain.
 */
resets_per_year_least: number, 
/**
 * Resets a year at most; differs from the least where ride-through is not known.
 */
resets_per_year_most: number, 
/**
 * January to December.
 */
months: Array<SunBalanceMonth>, 
/**
 * Every five days from midsummer.
 */
fan: Array<SunFanDay>, 
/**
 * Charge in and out of the cell; adds up to zero.
 */
ledger: Array<SunLedgerLine>, 
/**
 * What the lit panel offered at the working voltage and where that went; adds up to zero.
 */
offered: Array<SunLedgerLine>, 
/**
 * The rule of thumb; `None` without monthly figures.
 */
rule_of_thumb: SunRuleOfThumb | null, 
/**
 * The daily bank; `None` with an hourly file.
 */
daily_bank: SunDailyBank | null, };

export type SunBoard = { 
/**
 * The board.
 */
board: string, 
/**
 * The specimen whose readings are used.
 */
specimen: string | null, 
/**
 * Against the project's need on outages; `None` where it has none.
 */
need: NeedVerdict | null, 
/**
 * The verdict in words.
 */
verdict: string, 
/**
 * May its charger charge the cell?
 */
charge: ChargeVerdict | null, 
/**
 * What the years say; `None` where they could not be run.
 */
outcome: SunOutcome | null, 
/**
 * Why they could not be run.
 */
refused: string | null, 
/**
 * What to do about it.
 */
help: string | null, 
/**
 * Unknowns met on this board, and what was taken.
 */
assumptions: Array<SunAssumption>, 
/**
 * What has to be said beside it.
 */
flags: Array<string>, 
/**
 * Cautions, the most pressing first.
 */
cautions: Array<string>, };

export type SunReport = { 
/**
 * See [`crate::report::SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * The project.
 */
project: string, 
/**
 * Its load in words.
 */
load: string, 
/**
 * Its cell in words.
 */
cell: string, 
/**
 * Place, panel, weather.
 */
setting: SunSetting, 
/**
 * Years run for each board.
 */
years: number, 
/**
 * Seed.
 */
seed: number, 
/**
 * Largest share of years with an outage that the project allows; `None` if it does not say.
 */
target_share: number | null, 
/**
 * Boards, fewest years with an outage first, those that could not be run last.
 */
boards: Array<SunBoard>, 
/**
 * Unknowns of place, weather and panel, and what was taken.
 */
assumptions: Array<SunAssumption>, 
/**
 * What the intervals hold and what they do not.
 */
interval_of: string, 
/**
 * What belongs beside every forecast.
 */
cautions: Array<string>, };

export type SunMapPoint = { 
/**
 * Index of the panel.
 */
panel: number, 
/**
 * Index of the cell.
 */
cell: number, 
/**
 * Share of years with an outage.
 */
years_with_outage: ShareOfYears, 
/**
 * Outage days in a mean year, of the first 40 years.
 */
outage_days_per_year: number, };

export type SunSmallest = { 
/**
 * The pair: smallest panel that meets it at all, with its smallest cell.
 */
choice: SunMapPoint | null, 
/**
 * The same cell with the next panel.
 */
one_panel_up: SunMapPoint | null, 
/**
 * The same panel with the next cell.
 */
one_cell_up: SunMapPoint | null, 
/**
 * For each panel its smallest cell that meets the target.
 */
cell_for_panel: Array<number | null>, 
/**
 * In words.
 */
text: string, };

export type SunMapReport = { 
/**
 * See [`crate::report::SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * The project.
 */
project: string, 
/**
 * The board.
 */
board: string, 
/**
 * Place, panel, weather.
 */
setting: SunSetting, 
/**
 * Rated powers of the panels, W, rising.
 */
panels_w: Array<number>, 
/**
 * Capacities of the cells, C, rising.
 */
cells_c: Array<number>, 
/**
 * All cells of the first panel, then of the second.
 */
points: Array<SunMapPoint>, 
/**
 * Hand this into the next piece to go on.
 */
counts: SunMapCounts, 
/**
 * Years of the site's weather file, counted apart; 0 without a file.
 */
measured_years: number, 
/**
 * Seed.
 */
seed: number, 
/**
 * Share of years with an outage that is aimed at.
 */
target_share: number, 
/**
 * Whether the project says so, or it was assumed.
 */
target_is_assumed: boolean, 
/**
 * The smallest pair.
 */
smallest: SunSmallest, 
/**
 * Unknowns, and what was taken.
 */
assumptions: Array<SunAssumption>, 
/**
 * What has to be said beside it.
 */
flags: Array<string>, 
/**
 * Cautions.
 */
cautions: Array<string>, };

export type TiltLine = { 
/**
 * Degrees from the horizontal.
 */
tilt_deg: number, 
/**
 * Month with the least light, 1 to 12.
 */
worst_month: number, 
/**
 * Light on the panel in that month, kWh/m² a day.
 */
worst_kwh_m2: number, 
/**
 * Mean of the year, kWh/m² a day.
 */
year_kwh_m2: number, 
/**
 * January to December, kWh/m² a day.
 */
months_kwh_m2: Array<number>, };

export type TiltReport = { 
/**
 * See [`crate::report::SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * The project.
 */
project: string, 
/**
 * The site.
 */
site: string, 
/**
 * Bearing that the panel faces.
 */
azimuth_deg: number, 
/**
 * The best.
 */
best: TiltLine, 
/**
 * The project's own; `None` where it has none.
 */
now: TiltLine | null, 
/**
 * From flat to upright.
 */
tilts: Array<TiltLine>, 
/**
 * Unknowns, and what was taken.
 */
assumptions: Array<SunAssumption>, 
/**
 * What has to be said beside it.
 */
notes: Array<string>, };

export type ChargeVerdict = { 
/**
 * Yes, no, or not known.
 */
allowed: NeedVerdict, 
/**
 * Every reason and caution.
 */
reasons: Array<string>, };

export type ChargeSpan = { 
/**
 * All of it, s; a lower bound where the charge never ends.
 */
total_s: number, 
/**
 * Precondition, s.
 */
precondition_s: number, 
/**
 * Constant current, s.
 */
constant_current_s: number, 
/**
 * Constant voltage, s.
 */
constant_voltage_s: number, 
/**
 * State of charge at the end, 0 to 1.
 */
end_state: number, 
/**
 * How it ends, in words.
 */
end: string, };

export type ChargeLine = { 
/**
 * The board.
 */
board: string, 
/**
 * The cell.
 */
cell: string, 
/**
 * The charge current set, A; `None` where unknown or without a charger.
 */
set_current_a: number | null, 
/**
 * May it?
 */
verdict: ChargeVerdict, 
/**
 * How long; `None` where it may not or cannot be told.
 */
span: ChargeSpan | null, 
/**
 * Unknowns, and what was taken.
 */
assumptions: Array<SunAssumption>, };

export type ChargeReport = { 
/**
 * See [`crate::report::SCHEMA_VERSION`].
 */
schema_version: number, 
/**
 * The project whose load is on while charging.
 */
project: string | null, 
/**
 * State of charge at the start.
 */
from_state: number, 
/**
 * Every pair.
 */
lines: Array<ChargeLine>, 
/**
 * Cautions.
 */
cautions: Array<string>, };
