//! What the questions about the sun are answered with. SI unless the name says otherwise; a day's figures are means.

use serde::Serialize;

use super::request::SunMapCounts;
use crate::report::NeedVerdict;

/// A share of years with its exact 95 % interval (Clopper–Pearson; one-sided where it was never or always seen).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ShareOfYears {
    /// Share seen.
    pub share: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Years run.
    pub years: u32,
}

/// Something that was not known, and what was taken in its place.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunAssumption {
    /// What is not known.
    pub unknown: String,
    /// What was taken.
    pub taken: String,
    /// Kind of the figure: assumed, from memory, common practice.
    pub kind: String,
    /// What would settle it.
    pub settle: String,
}

/// One month of the place, mean of the years run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunMonth {
    /// 1 to 12.
    pub month: u8,
    /// On the horizontal, kWh/m² a day; `None` where nobody knows.
    pub horizontal_kwh_m2: Option<f64>,
    /// On the panel after skyline, snow and dirt, by the classical monthly method, kWh/m² a day.
    pub on_panel_kwh_m2: Option<f64>,
    /// Clearness: horizontal light over that outside the atmosphere; `None` in the polar night.
    pub clearness: Option<f64>,
    /// Mean air temperature, °C.
    pub air_c: f64,
    /// Share of the beam that clears skyline and shade; `None` where no beam falls on the panel at all.
    pub beam_share: Option<f64>,
}

/// Where, with what panel, and what weather.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunSetting {
    /// The site.
    pub site: String,
    /// Latitude, degrees, north positive.
    pub latitude_deg: f64,
    /// The panel.
    pub panel: String,
    /// Its rated power, W.
    pub panel_w: f64,
    /// Tilt from the horizontal, degrees.
    pub tilt_deg: f64,
    /// Bearing that it faces, degrees clockwise from north.
    pub azimuth_deg: f64,
    /// Share of the sky that it sees of what it would see without the skyline.
    pub sky_view: f64,
    /// Points of the skyline: bearing and elevation, degrees.
    pub skyline_deg: Vec<[f64; 2]>,
    /// The weather in words: monthly figures and synthetic years, or the file and its years.
    pub weather: String,
    /// January to December.
    pub months: Vec<SunMonth>,
    /// Remarks on the data: gaps, clocks, months outside a fit.
    pub notes: Vec<String>,
}

/// Light turned into charge against the load in one month, mean of the years.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunBalanceMonth {
    /// 1 to 12.
    pub month: u8,
    /// What panel and charger could give, C a day: taken, and refused because the cell was full.
    pub could_c: f64,
    /// Of that, what was taken, C a day.
    pub taken_c: f64,
    /// What the board asks for, C a day: served and, while dark, unserved.
    pub load_c: f64,
    /// Days with an outage in a mean year.
    pub outage_days: f64,
}

/// State of charge on one day, over the years.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunFanDay {
    /// Day of the year, 1 to 365; the fan begins at midsummer.
    pub day_of_year: u16,
    /// Lowest of all years.
    pub lowest: f64,
    /// 10 % of the years lie below.
    pub p10: f64,
    /// Median.
    pub p50: f64,
    /// 90 % of the years lie below.
    pub p90: f64,
}

/// A line of a ledger, mean year.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunLedgerLine {
    /// What.
    pub name: String,
    /// C a year; what comes in is positive, what goes out is negative. The lines add up to zero.
    pub charge_c: f64,
}

/// The trade's rule of thumb, to be shown beside and named as such.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunRuleOfThumb {
    /// Harvest over load in the worst month, panel current times hours of full sun.
    pub worst_month_ratio: f64,
    /// That month.
    pub worst_month: u8,
    /// The usual advice for the ratio.
    pub ratio_wanted: f64,
    /// Days from full to dark without sun.
    pub autonomy_days: f64,
    /// The usual advice for the days.
    pub autonomy_wanted: f64,
    /// Whether both are met.
    pub met: bool,
}

/// The classical daily bank beside the hourly balance: one step a day, label current, no voltages.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunDailyBank {
    /// Years with an outage if nothing is charged on days on which the cell is colder than its window.
    pub frost_kept_out: ShareOfYears,
    /// Share of days with an outage then.
    pub days_frost_kept_out: f64,
    /// Years with an outage if it is charged in the frost as well.
    pub frost_charged: ShareOfYears,
}

/// What one uncertain input does to the outage days.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunContribution {
    /// The input.
    pub name: String,
    /// Outage days a year that one standard uncertainty more of it adds (negative: takes away), to first order.
    pub days: f64,
    /// Share of the variance that all inputs together give the outage days, 0 to 1.
    pub share: f64,
}

/// The same years with the uncertain inputs drawn anew for each year, as of a board you might buy.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunUncertain {
    /// Share of years with an outage over weather and inputs together.
    pub years_with_outage: ShareOfYears,
    /// Outage days in a mean year.
    pub outage_days_per_year: f64,
    /// What was drawn, by the names of the forecast.
    pub drawn: Vec<String>,
    /// What moves the outage days most, the largest first; only what so many draws can tell from nothing.
    pub budget: Vec<SunContribution>,
}

/// Synthetic years that go on where a weather file ends, with its own figures: probabilities of rare outages cannot come from its few years.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunContinued {
    /// Share of years with any outage.
    pub years_with_outage: ShareOfYears,
    /// Outage days in a mean year.
    pub outage_days_per_year: f64,
}

/// What many years say about one board.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunOutcome {
    /// Mean current of the board at 10 °C and half charge, A.
    pub mean_load_a: f64,
    /// Share of years with any outage, inputs at their best values: weather and spread between years alone.
    pub years_with_outage: ShareOfYears,
    /// With an hourly file: the synthetic years beside its own; `None` without a file, or where its figures make none.
    pub continued: Option<SunContinued>,
    /// With uncertain inputs as well.
    pub uncertain: Option<SunUncertain>,
    /// Outage days in a mean year.
    pub outage_days_per_year: f64,
    /// Its standard error; `None` for one year.
    pub outage_days_standard_error: Option<f64>,
    /// Longest dark stretch of all years, s.
    pub longest_dark_s: f64,
    /// Month with the most outage days; `None` if there are none.
    pub worst_month: Option<u8>,
    /// Lowest state of charge of all years, 0 to 1.
    pub lowest_state: f64,
    /// Days from full to dark without sun, at 0 °C.
    pub autonomy_days: f64,
    /// Share of the time with the cell full.
    pub share_full: f64,
    /// Hours a year with the cell full.
    pub full_hours_per_year: f64,
    /// Of those, with the cell above 30 °C, where it ages fastest.
    pub hot_full_hours_per_year: f64,
    /// Hours a year in which charge goes into a cell outside its window.
    pub frost_charge_hours_per_year: f64,
    /// Times a year the source goes away; hourly weather makes it a lower bound.
    pub source_lost_per_year: f64,
    /// Of those, in chatter at dawn and dusk.
    pub chatter_per_year: f64,
    /// Resets a year for certain.
    pub resets_per_year_least: f64,
    /// Resets a year at most; differs from the least where ride-through is not known.
    pub resets_per_year_most: f64,
    /// January to December.
    pub months: Vec<SunBalanceMonth>,
    /// Every five days from midsummer.
    pub fan: Vec<SunFanDay>,
    /// Charge in and out of the cell; adds up to zero.
    pub ledger: Vec<SunLedgerLine>,
    /// What the lit panel offered at the working voltage and where that went; adds up to zero.
    pub offered: Vec<SunLedgerLine>,
    /// The rule of thumb; `None` without monthly figures.
    pub rule_of_thumb: Option<SunRuleOfThumb>,
    /// The daily bank; `None` with an hourly file.
    pub daily_bank: Option<SunDailyBank>,
}

/// One board under the sun.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunBoard {
    /// The board.
    pub board: String,
    /// The specimen whose readings are used.
    pub specimen: Option<String>,
    /// Against the project's need on outages; `None` where it has none.
    pub need: Option<NeedVerdict>,
    /// The verdict in words.
    pub verdict: String,
    /// May its charger charge the cell?
    pub charge: Option<ChargeVerdict>,
    /// What the years say; `None` where they could not be run.
    pub outcome: Option<SunOutcome>,
    /// Why they could not be run.
    pub refused: Option<String>,
    /// What to do about it.
    pub help: Option<String>,
    /// Unknowns met on this board, and what was taken.
    pub assumptions: Vec<SunAssumption>,
    /// What has to be said beside it.
    pub flags: Vec<String>,
    /// Cautions, the most pressing first.
    pub cautions: Vec<String>,
}

/// The boards of a project under the sun.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunReport {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The project.
    pub project: String,
    /// Its load in words.
    pub load: String,
    /// Its cell in words.
    pub cell: String,
    /// Place, panel, weather.
    pub setting: SunSetting,
    /// Years run for each board.
    pub years: u32,
    /// Seed.
    pub seed: u64,
    /// Largest share of years with an outage that the project allows; `None` if it does not say.
    pub target_share: Option<f64>,
    /// Boards, fewest years with an outage first, those that could not be run last.
    pub boards: Vec<SunBoard>,
    /// Unknowns of place, weather and panel, and what was taken.
    pub assumptions: Vec<SunAssumption>,
    /// What the intervals hold and what they do not.
    pub interval_of: String,
    /// What belongs beside every forecast.
    pub cautions: Vec<String>,
}

/// One pair of the map.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunMapPoint {
    /// Index of the panel.
    pub panel: usize,
    /// Index of the cell.
    pub cell: usize,
    /// Share of years with an outage.
    pub years_with_outage: ShareOfYears,
    /// Outage days in a mean year, of the first 40 years.
    pub outage_days_per_year: f64,
}

/// The smallest pair that meets the target, and what one size up buys.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunSmallest {
    /// The pair: smallest panel that meets it at all, with its smallest cell.
    pub choice: Option<SunMapPoint>,
    /// The same cell with the next panel.
    pub one_panel_up: Option<SunMapPoint>,
    /// The same panel with the next cell.
    pub one_cell_up: Option<SunMapPoint>,
    /// For each panel its smallest cell that meets the target.
    pub cell_for_panel: Vec<Option<usize>>,
    /// In words.
    pub text: String,
}

/// The map of panel and cell sizes.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct SunMapReport {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The project.
    pub project: String,
    /// The board.
    pub board: String,
    /// Place, panel, weather.
    pub setting: SunSetting,
    /// Rated powers of the panels, W, rising.
    pub panels_w: Vec<f64>,
    /// Capacities of the cells, C, rising.
    pub cells_c: Vec<f64>,
    /// All cells of the first panel, then of the second.
    pub points: Vec<SunMapPoint>,
    /// Hand this into the next piece to go on.
    pub counts: SunMapCounts,
    /// Years of the site's weather file, counted apart; 0 without a file.
    pub measured_years: u32,
    /// Seed.
    pub seed: u64,
    /// Share of years with an outage that is aimed at.
    pub target_share: f64,
    /// Whether the project says so, or it was assumed.
    pub target_is_assumed: bool,
    /// The smallest pair.
    pub smallest: SunSmallest,
    /// Unknowns, and what was taken.
    pub assumptions: Vec<SunAssumption>,
    /// What has to be said beside it.
    pub flags: Vec<String>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// A tilt and its light.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TiltLine {
    /// Degrees from the horizontal.
    pub tilt_deg: f64,
    /// Month with the least light, 1 to 12.
    pub worst_month: u8,
    /// Light on the panel in that month, kWh/m² a day.
    pub worst_kwh_m2: f64,
    /// Mean of the year, kWh/m² a day.
    pub year_kwh_m2: f64,
    /// January to December, kWh/m² a day.
    pub months_kwh_m2: Vec<f64>,
}

/// The tilt that is best in the worst month.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TiltReport {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The project.
    pub project: String,
    /// The site.
    pub site: String,
    /// Bearing that the panel faces.
    pub azimuth_deg: f64,
    /// The best.
    pub best: TiltLine,
    /// The project's own; `None` where it has none.
    pub now: Option<TiltLine>,
    /// From flat to upright.
    pub tilts: Vec<TiltLine>,
    /// Unknowns, and what was taken.
    pub assumptions: Vec<SunAssumption>,
    /// What has to be said beside it.
    pub notes: Vec<String>,
}

/// May a charger charge a cell?
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ChargeVerdict {
    /// Yes, no, or not known.
    pub allowed: NeedVerdict,
    /// Every reason and caution.
    pub reasons: Vec<String>,
}

/// How long a charge takes.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ChargeSpan {
    /// All of it, s; a lower bound where the charge never ends.
    pub total_s: f64,
    /// Precondition, s.
    pub precondition_s: f64,
    /// Constant current, s.
    pub constant_current_s: f64,
    /// Constant voltage, s.
    pub constant_voltage_s: f64,
    /// State of charge at the end, 0 to 1.
    pub end_state: f64,
    /// How it ends, in words.
    pub end: String,
}

/// A board with a cell.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ChargeLine {
    /// The board.
    pub board: String,
    /// The cell.
    pub cell: String,
    /// The charge current set, A; `None` where unknown or without a charger.
    pub set_current_a: Option<f64>,
    /// May it?
    pub verdict: ChargeVerdict,
    /// How long; `None` where it may not or cannot be told.
    pub span: Option<ChargeSpan>,
    /// Unknowns, and what was taken.
    pub assumptions: Vec<SunAssumption>,
}

/// Boards against cells.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct ChargeReport {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The project whose load is on while charging.
    pub project: Option<String>,
    /// State of charge at the start.
    pub from_state: f64,
    /// Every pair.
    pub lines: Vec<ChargeLine>,
    /// Cautions.
    pub cautions: Vec<String>,
}
