//! What can be asked about the sun.

use serde::Deserialize;

/// The balance of sun and load of a project's boards, hour by hour over many years.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(deny_unknown_fields)]
pub struct SunRequest {
    /// A project's name, or the whole text of a project document.
    pub project: String,
    /// Another site than the project's: a name, or the whole text of a site document.
    #[serde(default)]
    pub site: Option<String>,
    /// Another panel than the project's: a name, or the whole text of a panel document.
    #[serde(default)]
    pub panel: Option<String>,
    /// Text of the site's hourly file; without it that which is attached to the bench, else the twelve monthly figures are used.
    #[serde(default)]
    pub hourly: Option<String>,
    /// Boards; empty for those of the project.
    #[serde(default)]
    pub boards: Vec<String>,
    /// Synthetic years, 1 to [`MOST_YEARS`]. With an hourly file its own years are run, and beside them as many synthetic ones with its figures.
    pub years: usize,
    /// Seed of the weather; the same seed is the same weather for every board.
    pub seed: u64,
}

/// The map of panel and cell sizes for one board. It can be asked for in pieces: the next piece takes the counts of the last reply.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(deny_unknown_fields)]
pub struct SunMapRequest {
    /// A project's name, or the whole text of a project document.
    pub project: String,
    /// Another site than the project's: a name, or the whole text of a site document.
    #[serde(default)]
    pub site: Option<String>,
    /// Another panel than the project's, to be scaled: a name, or the whole text of a panel document.
    #[serde(default)]
    pub panel: Option<String>,
    /// The board; the first of the project that can be charged if left out.
    #[serde(default)]
    pub board: Option<String>,
    /// Rated powers of the panels, W, rising; empty for sizes round the project's own.
    #[serde(default)]
    pub panels_w: Vec<f64>,
    /// Capacities of the cells, C, rising; empty for sizes round the project's own.
    #[serde(default)]
    pub cells_c: Vec<f64>,
    /// Years of this piece.
    pub years: usize,
    /// Seed of the weather.
    pub seed: u64,
    /// `counts` of the last reply, to go on from there; `None` to begin.
    #[serde(default)]
    pub before: Option<SunMapCounts>,
}

/// What the years so far have shown, to be handed into the next piece.
#[derive(Debug, Clone, PartialEq, Default, Deserialize, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(deny_unknown_fields)]
pub struct SunMapCounts {
    /// Years run.
    pub years: u32,
    /// Years with an outage, panel by panel, all cells of the first panel first.
    pub years_with_outage: Vec<u32>,
    /// Outage days of the first 40 years, in the same order.
    pub outage_days: Vec<u32>,
    /// Of the site's weather file: its own years with an outage, in the same order; empty without a file.
    #[serde(default)]
    pub measured: Vec<u32>,
}

/// The tilt that is best in the worst month.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(deny_unknown_fields)]
pub struct TiltRequest {
    /// A project's name, or the whole text of a project document.
    pub project: String,
    /// Another site than the project's: a name, or the whole text of a site document.
    #[serde(default)]
    pub site: Option<String>,
    /// Bearing that the panel faces, degrees clockwise from north; the project's, else the equator.
    #[serde(default)]
    pub azimuth_deg: Option<f64>,
}

/// May these boards charge these cells, and how long does it take?
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(deny_unknown_fields)]
pub struct ChargeRequest {
    /// A project's name or text: its cells where none are named, and its load while charging.
    #[serde(default)]
    pub project: Option<String>,
    /// Boards; empty for all that the project considers, or all of the folder.
    #[serde(default)]
    pub boards: Vec<String>,
    /// Cells; empty for the project's, or all of the folder.
    #[serde(default)]
    pub cells: Vec<String>,
    /// State of charge at the start, 0 to 1.
    #[serde(default)]
    pub from_state: f64,
}

/// Most years that a request may ask for.
pub const MOST_YEARS: usize = 20_000;
/// Most sizes on one side of a map.
pub const MOST_SIZES: usize = 40;
