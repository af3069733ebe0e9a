//! Panel × cell: the chance of an outage for every pair, under the same weather; the smallest pair that meets a target; one size up.

use super::for_each_year;
use super::node::Node;
use super::step::{Detail, Weather, run};
use super::tables::NodeTables;
use crate::charger::{Coupling, Source};
use crate::interval::{Share, share_with_interval};
use crate::panel::{Thermal, cell_temperature_c};
use crate::resource::on_plane::PanelWeather;
use crate::synthetic::climate::Climate;
use crate::synthetic::geometry::YearGeometry;

/// A synthetic year's weather on the panel, in hours.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HourlyYear {
    /// On the panel, W/m².
    pub irradiance_w_m2: Vec<f32>,
    /// Of the air, °C.
    pub air_c: Vec<f32>,
}

/// Makes a synthetic year, daily to hourly: 8 760 hours from `first_day` on.
pub fn hourly_year(
    climate: &Climate,
    geometry: &YearGeometry,
    seed: u64,
    year: u64,
    first_day: u16,
) -> HourlyYear {
    let days = climate.year(seed, year, first_day);
    let mut irradiance_w_m2 = vec![0.0_f32; days.len() * 24];
    let mut air_c = Vec::with_capacity(days.len() * 24);
    let mut hours = [0.0_f32; 24];
    for (i, day) in days.iter().enumerate() {
        let index = (usize::from(first_day) - 1 + i) % 365;
        geometry.plane_day(index, day, &mut hours);
        irradiance_w_m2[i * 24..i * 24 + 24].copy_from_slice(&hours);
        air_c.extend((0..24).map(|h| YearGeometry::air_c(day, h) as f32));
    }
    HourlyYear { irradiance_w_m2, air_c }
}

/// The day a run starts: midsummer, so that a winter lies whole inside it. 1 July in the northern hemisphere, 1 January in the southern.
pub fn midsummer(latitude_deg: f64) -> u16 {
    if latitude_deg >= 0.0 { 182 } else { 1 }
}

/// One pair of the map.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct MapPoint {
    /// Index of the panel.
    pub panel: usize,
    /// Index of the cell.
    pub cell: usize,
    /// Share of years with an outage.
    pub years_with_outage: Share,
    /// Outage days in a mean year, of the first [`DAYS_YEARS`].
    pub outage_days_per_year: f64,
}

/// The map, row by row: all cells for the first panel, then the second.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct OutageMap {
    /// Panels.
    pub panels: usize,
    /// Cells.
    pub cells: usize,
    /// Pairs.
    pub points: Vec<MapPoint>,
}

/// The years a map is run over.
#[derive(Debug, Clone, Copy)]
pub struct Years<'a> {
    /// Climate.
    pub climate: &'a Climate,
    /// Plane and site.
    pub geometry: &'a YearGeometry,
    /// Seed of the weather.
    pub seed: u64,
    /// The first one's number: years 0…99 and 100…199 are different weather, and a run may be done in pieces.
    pub first_year: u64,
    /// How many.
    pub years: usize,
    /// Day on which each starts, 1…365 (see [`midsummer`]).
    pub first_day: u16,
}

/// What the years have shown for one pair; counts of separate stretches of years add up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct PairCount {
    /// Years with any outage.
    pub years_with_outage: u32,
    /// Outage days of those years that are among the first [`DAYS_YEARS`].
    pub outage_days: u32,
}

/// Years whose outage days are counted; of later ones the map asks only whether they are dark, and a run ends with the first dark day. A share
/// of years needs many of them, a mean of days does not.
pub const DAYS_YEARS: u32 = 40;

/// A pair whose state of charge never comes nearer than this to the lowest usable one in a year is not dark in it with a larger panel or a
/// larger cell either. More panel or cell means more charge but for one thing: a charger that has ended does not start again before the
/// voltage has fallen a little, which can leave a well-fed cell up to [`MOST_HELD_BACK`] below one that is still being filled.
const SAFE_MARGIN: f64 = 0.25;
/// What the restart threshold may hold back of the state of charge, for [`SAFE_MARGIN`] to cover it twice.
const MOST_HELD_BACK: f64 = 0.12;

/// Whether panels and cells are of one kind each and rise in size, so that pairs beyond a safe one need not be run.
fn is_rising(sources: &[Source], cells: &[NodeTables]) -> bool {
    let panels = sources.windows(2).all(|w| {
        w[1].panel.light_current_a >= w[0].panel.light_current_a
            && w[1].charger == w[0].charger
            && w[1].coupling == w[0].coupling
            && w[1].night_leak == w[0].night_leak
    });
    let banks = cells
        .windows(2)
        .all(|w| w[1].capacity_c >= w[0].capacity_c && w[1].open_circuit_v == w[0].open_circuit_v);
    let held_back = |tables: &NodeTables, source: &Source| {
        let charger = &source.charger;
        tables.state_at(charger.hold_v) - tables.state_at(charger.hold_v - charger.restart_drop_v)
    };
    let small = match (cells.first(), sources.first()) {
        (Some(tables), Some(source)) => held_back(tables, source) <= MOST_HELD_BACK,
        _ => false,
    };
    panels && banks && small
}

/// Runs every panel with every cell through the same synthetic years.
///
/// The counts stand row by row: all cells for the first panel, then the second. Where panels and cells are of one kind and rise in size, a
/// pair beyond one that was never near dark in a year is not run for that year (see the constants above); the counts are those of running all,
/// which the tests check.
pub fn outage_counts(
    years: &Years<'_>,
    sources: &[Source],
    cells: &[NodeTables],
    habits: &Node<'_>,
) -> Vec<PairCount> {
    let pairs = Pairs::new(sources, cells, habits);
    let per_year = for_each_year(years.years, |index| {
        let year = years.first_year + index;
        let weather = hourly_year(years.climate, years.geometry, years.seed, year, years.first_day);
        let steps = Weather {
            step_s: 3600.0,
            first_day: years.first_day,
            irradiance_w_m2: &weather.irradiance_w_m2,
            air_c: &weather.air_c,
            thermal: None,
        };
        pairs.outage_days(&steps, detail(year))
    });
    pairs.count(years.first_year, &per_year)
}

/// Of a year by its number.
fn detail(year: u64) -> Detail {
    if year < u64::from(DAYS_YEARS) { Detail::Outages } else { Detail::FirstOutage }
}

/// The same through years of measured weather, each from a full cell.
pub fn measured_counts(
    years: &[PanelWeather],
    sources: &[Source],
    cells: &[NodeTables],
    habits: &Node<'_>,
) -> Vec<PairCount> {
    let pairs = Pairs::new(sources, cells, habits);
    let per_year = for_each_year(years.len(), |year| {
        pairs.outage_days(&years[year as usize].steps(), detail(year))
    });
    pairs.count(0, &per_year)
}

/// Every panel with every cell.
struct Pairs<'a> {
    sources: &'a [Source],
    cells: &'a [NodeTables],
    habits: &'a Node<'a>,
    /// Panels of one make warm alike: their temperature terms are worked out once for all of them.
    heating: Option<f64>,
    rising: bool,
}

impl<'a> Pairs<'a> {
    fn new(sources: &'a [Source], cells: &'a [NodeTables], habits: &'a Node<'a>) -> Self {
        let heating = sources
            .first()
            .map(|s| s.heating_k_m2_per_w)
            .filter(|k| sources.iter().all(|s| s.heating_k_m2_per_w == *k));
        Self { sources, cells, habits, heating, rising: is_rising(sources, cells) }
    }

    /// Outage days of every pair in one year; of [`Detail::FirstOutage`] 1 where it goes dark.
    fn outage_days(&self, weather: &Weather<'_>, detail: Detail) -> Vec<u32> {
        let Self { sources, cells, .. } = *self;
        let thermal = self.heating.map(|k| {
            let hours = weather.irradiance_w_m2.iter().zip(weather.air_c);
            hours
                .map(|(&g, &t)| Thermal::at(cell_temperature_c(f64::from(t), f64::from(g), k)))
                .collect::<Vec<_>>()
        });
        let steps = Weather { thermal: thermal.as_deref(), ..*weather };
        let light = (detail == Detail::FirstOutage).then(|| DaysOfLight::of(weather, self.habits));
        let mut outage_days = vec![0; sources.len() * cells.len()];
        let mut safe_from = sources.len();
        // Cells outside: one cell's tables stay in the processor's cache for all panels.
        for (c, tables) in cells.iter().enumerate() {
            for (s, source) in sources.iter().enumerate().take(safe_from) {
                let node = Node { tables, source, ..self.habits.clone() };
                if light.as_ref().is_some_and(|light| light.leave_dark(&node)) {
                    outage_days[s * cells.len() + c] = 1;
                    continue;
                }
                let result = run(&node, &steps, detail);
                outage_days[s * cells.len() + c] = result.outage_days;
                if self.rising && result.least_margin > SAFE_MARGIN {
                    safe_from = s;
                    break;
                }
            }
        }
        outage_days
    }

    fn count(&self, first_year: u64, per_year: &[Vec<u32>]) -> Vec<PairCount> {
        let mut counts = vec![PairCount::default(); self.sources.len() * self.cells.len()];
        for (number, year) in (first_year..).zip(per_year) {
            let in_days = detail(number) == Detail::Outages;
            for (count, &days) in counts.iter_mut().zip(year) {
                count.years_with_outage += u32::from(days > 0);
                count.outage_days += if in_days { days } else { 0 };
            }
        }
        counts
    }
}

/// The most that a year's days can bring, for pairs that are dark whatever happens within the hours.
struct DaysOfLight {
    /// Of each day `Σ G/1000·Δt`, s, and the same times the panel's departure from 25 °C for the heating of one panel: short-circuit charge of a panel.
    full_sun: Vec<[f64; 2]>,
    heating: f64,
    coldest_c: f64,
    warmest_c: f64,
}

impl DaysOfLight {
    fn of(weather: &Weather<'_>, habits: &Node<'_>) -> Self {
        let per_day = libm::round(86400.0 / weather.step_s).max(1.0) as usize;
        let heating = habits.source.heating_k_m2_per_w;
        let days = weather.irradiance_w_m2.chunks(per_day).zip(weather.air_c.chunks(per_day));
        let full_sun = days
            .map(|(light, air)| {
                let mut sums = [0.0; 2];
                for (&g, &t) in light.iter().zip(air) {
                    let (g, t) = (f64::from(g), f64::from(t));
                    let sun_s = g * 1e-3 * weather.step_s;
                    sums[0] += sun_s;
                    sums[1] += sun_s * (cell_temperature_c(t, g, heating) - 25.0);
                }
                sums
            })
            .collect();
        let air = || weather.air_c.iter().map(|&t| f64::from(t) + habits.cell_above_air_k);
        Self {
            full_sun,
            heating,
            coldest_c: air().fold(f64::INFINITY, f64::min),
            warmest_c: air().fold(f64::NEG_INFINITY, f64::max),
        }
    }

    /// Whether the pair goes dark for certain.
    ///
    /// Straight or through a diode no more goes into the cell than the light makes in the panel, and while the board runs it draws at least its
    /// least current: at the end of a day `q ≤ min(Q, q − L + H)`. A day with `H < L` that begins so low that even all its light leaves `q`
    /// below the charge at which the board stops has a moment in which the board draws more than comes in, below that charge: dark.
    fn leave_dark(&self, node: &Node<'_>) -> bool {
        let (tables, panel) = (node.tables, &node.source.panel);
        if !matches!(node.source.coupling, Coupling::Straight | Coupling::Diode { .. })
            || node.source.heating_k_m2_per_w != self.heating
        {
            return false;
        }
        let (least_a, floor_c) = tables.least_load_and_floor(self.coldest_c, self.warmest_c);
        let load_c = least_a * 86400.0;
        let full_c = tables.capacity_c;
        // A hair on the careful side of what rounding could do.
        let floor_c = floor_c - 1e-6 * full_c;
        let mut most_c = full_c * node.start_state.clamp(0.0, 1.0);
        self.full_sun.iter().any(|[sun_s, warm]| {
            let harvest_c =
                panel.light_current_a * sun_s + panel.current_coefficient_a_per_k * warm;
            let dark = harvest_c < load_c && most_c + harvest_c < floor_c;
            most_c = (most_c - load_c + harvest_c).min(full_c);
            dark
        })
    }
}

/// The map of [`outage_counts`]. `None` when there is nothing to run.
pub fn outage_map(
    years: &Years<'_>,
    sources: &[Source],
    cells: &[NodeTables],
    habits: &Node<'_>,
) -> Option<OutageMap> {
    let counts = outage_counts(years, sources, cells, habits);
    OutageMap::of(sources.len(), cells.len(), years.years as u32, &counts)
}

/// A choice from the map, with what one size up buys.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Smallest {
    /// For each panel (smallest first) the smallest cell that meets the target; `None` where none does.
    pub cell_for_panel: Vec<Option<usize>>,
    /// The pair with the smallest panel that meets the target at all, and with it the smallest cell.
    pub choice: Option<MapPoint>,
    /// The same cell with the next larger panel: what a careful person fits. `None` at the map's edge.
    pub one_panel_up: Option<MapPoint>,
    /// The same panel with the next larger cell. `None` at the map's edge.
    pub one_cell_up: Option<MapPoint>,
}

impl OutageMap {
    /// The map of counts over so many years, row by row. `None` without pairs or years, or if the counts are not one for each pair.
    pub fn of(panels: usize, cells: usize, years: u32, counts: &[PairCount]) -> Option<Self> {
        if counts.is_empty() || counts.len() != panels * cells {
            return None;
        }
        let points = counts
            .iter()
            .enumerate()
            .map(|(at, count)| {
                Some(MapPoint {
                    panel: at / cells,
                    cell: at % cells,
                    years_with_outage: share_with_interval(count.years_with_outage, years)?,
                    outage_days_per_year: f64::from(count.outage_days)
                        / f64::from(years.min(DAYS_YEARS)),
                })
            })
            .collect::<Option<_>>()?;
        Some(Self { panels, cells, points })
    }

    /// A pair.
    pub fn point(&self, panel: usize, cell: usize) -> Option<&MapPoint> {
        (panel < self.panels && cell < self.cells).then(|| &self.points[panel * self.cells + cell])
    }

    /// The smallest pairs whose *upper* end of the interval meets a target share of years with an outage. Sizes must rise with the index.
    ///
    /// The upper end, because "not seen in 200 years" is no promise below 1.5 %: more years allow smaller targets.
    pub fn smallest(&self, target: f64) -> Smallest {
        let meets = |p: &MapPoint| p.years_with_outage.high <= target;
        let cell_for_panel: Vec<Option<usize>> = (0..self.panels)
            .map(|panel| (0..self.cells).find(|&cell| self.point(panel, cell).is_some_and(meets)))
            .collect();
        let choice = cell_for_panel
            .iter()
            .enumerate()
            .find_map(|(panel, cell)| cell.and_then(|cell| self.point(panel, cell)))
            .copied();
        Smallest {
            one_panel_up: choice.and_then(|c| self.point(c.panel + 1, c.cell)).copied(),
            one_cell_up: choice.and_then(|c| self.point(c.panel, c.cell + 1)).copied(),
            cell_for_panel,
            choice,
        }
    }
}
