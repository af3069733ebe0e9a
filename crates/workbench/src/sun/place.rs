//! Site and mounting of the documents as place, plane and climate of the balance.

use overwinter_documents::types::project::{Climate as Stated, MonthlyTemperature, Project};
use overwinter_documents::types::sun::Site as Documented;
use overwinter_documents::{Diagnostic, Entry, KeyPath};
use overwinter_quantity::Temperature as Celsius;
use overwinter_sun::plane::{Site, best_tilt, monthly_on_plane};
use overwinter_sun::position::Observer;
use overwinter_sun::skyline::Skyline;
use overwinter_sun::synthetic::climate::{
    Climate, ClimateError, ClimateInput, ClimateNote, Season, Temperature,
};
use overwinter_sun::time::{DAYS_BEFORE_MONTH, DAYS_IN_MONTH};
use overwinter_sun::transposition::Plane;

use super::known::{Assumptions, Basis};
use super::report::SunMonth;
use crate::text::{kelvin, percent, significant};

/// Where the panel stands, how it looks, and what weather it meets.
pub(crate) struct Place {
    pub(crate) site: Site,
    pub(crate) plane: Plane,
    pub(crate) temperature: Temperature,
    /// Twelve monthly figures, kWh/m² a day, where the document has them.
    pub(crate) irradiation: Option<[f64; 12]>,
    pub(crate) day_correlation: f64,
    pub(crate) between_year_cv: f64,
    pub(crate) cell_above_air_k: f64,
    pub(crate) skyline_deg: Vec<[f64; 2]>,
    pub(crate) notes: Vec<String>,
}

/// Names of the months, January first.
pub const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// A month's name from its number, 1 to 12.
pub fn month_name(month: u8) -> &'static str {
    MONTHS.get(usize::from(month).wrapping_sub(1)).copied().unwrap_or("?")
}

fn key(name: &str) -> KeyPath {
    KeyPath::root().key("site").key(name)
}

fn twelve<T>(
    entry: &Entry<Documented>,
    name: &str,
    values: &[T],
    value: impl Fn(&T) -> f64,
) -> Result<[f64; 12], Vec<Diagnostic>> {
    let all: Vec<f64> = values.iter().map(value).collect();
    <[f64; 12]>::try_from(all).map_err(|all| {
        let message = format!("{} months stand here", all.len());
        let help = "write twelve, January first";
        vec![entry.place(Diagnostic::error("months", message).help(help), &key(name))]
    })
}

/// The place of a project, or of a site alone. `known` receives what was taken of the place, `of_weather` what of its weather.
///
/// # Errors
/// Diagnostics at the key that cannot be.
pub(crate) fn place(
    entry: &Entry<Documented>,
    project: Option<&Project>,
    known: &mut Assumptions,
    of_weather: &mut Assumptions,
) -> Result<Place, Vec<Diagnostic>> {
    let document = &entry.document;
    let latitude = document.latitude.degrees();
    let mut notes = Vec::new();
    let observer = Observer::at(
        latitude,
        document.longitude.as_ref().map_or(0.0, overwinter_quantity::Angle::degrees),
        document.altitude.as_ref().map_or(0.0, |h| h.si()),
    )
    .map_err(|error| {
        let help = "write for example latitude = \"47.1° N\", longitude = \"8.5° E\", altitude = \"640 m\"";
        vec![entry.place(Diagnostic::error("place", error.to_string()).help(help), &key("latitude"))]
    })?;
    let mut site = Site::open(observer);
    let points: Vec<(f64, f64)> =
        document.skyline.iter().map(|p| (p.bearing.degrees(), p.elevation.degrees())).collect();
    site.skyline = Skyline::from_points(&points).map_err(|error| {
        let help = "bearings run clockwise from north, 0° to 360°; elevations from −10° to 90°";
        vec![
            entry
                .place(Diagnostic::error("skyline", error.to_string()).help(help), &key("skyline")),
        ]
    })?;
    if let Some(shares) = &document.beam_share {
        site.beam_share = twelve(entry, "beam_share", shares, |s| s.si())?;
        if !points.is_empty() {
            notes.push("skyline and beam_share both stand in the site: both are counted".into());
        }
    }
    site.sky_view = document.sky_view.as_ref().map(|s| s.si());
    if points.is_empty() && document.beam_share.is_none() {
        known.take(
            "what stands round the panel",
            "nothing: an open horizon",
            Basis::Assumed,
            "a photograph all round from the spot; enter `skyline` as bearings and elevations",
        );
    } else if points.is_empty() && document.sky_view.is_none() {
        known.take(
            "share of the sky that is seen",
            "all of it",
            Basis::Assumed,
            "enter `sky_view`, or the skyline itself",
        );
    }
    site.albedo = known.or(
        document.ground_reflection.as_ref().map(|r| r.si()),
        "light thrown back by the ground",
        0.2,
        "20 %, as grass",
        Basis::CommonPractice,
        "enter `ground_reflection` (snow 60 to 80 %)",
    );
    if let Some(days) = &document.snow_days {
        site.snow_days = twelve(entry, "snow_days", days, |d| f64::from(*d))?;
    } else {
        known.take(
            "days with snow on the panel",
            "none",
            Basis::Assumed,
            "ask a neighbour; enter `snow_days`, January first (a steep panel sheds snow)",
        );
    }
    let plane = mounting(&mut site, document, project, known, &mut notes)?;
    site.check().map_err(|error| {
        vec![entry.place(Diagnostic::error("site", error.to_string()), &key("name"))]
    })?;
    let irradiation = if document.irradiation.is_empty() {
        None
    } else {
        Some(twelve(entry, "irradiation", &document.irradiation, |h| h.si() * 86.4 / 3600.0)?)
    };
    let temperature = temperature(entry, project, of_weather)?;
    let day_correlation = of_weather.or(
        document.day_to_day.as_ref().map(|r| r.si()),
        "how one day's weather goes with the next's",
        0.3,
        "a correlation of 0.3",
        Basis::CommonPractice,
        "enter `day_to_day` (0.15 to 0.45 is usual; try 0.6 for coast and fog)",
    );
    let between_year_cv = of_weather.or(
        document.between_years.as_ref().map(|r| r.si()),
        "how much a month differs from year to year",
        0.15,
        "15 % of its mean",
        Basis::CommonPractice,
        "enter `between_years` (10 to 20 % is usual; a weather service has the years)",
    );
    let cell_above_air = project.and_then(|p| p.mounting.as_ref()?.cell_above_air.as_ref());
    let cell_above_air_k = of_weather.or(
        cell_above_air.map(|k| k.si()),
        "how much warmer the cell is than the air",
        0.0,
        "not at all",
        Basis::CarefulSide,
        "a thermometer in the box for a week; enter `cell_above_air` under `mounting`",
    );
    let skyline_deg = points.iter().map(|p| [p.0, p.1]).collect();
    Ok(Place {
        site,
        plane,
        temperature,
        irradiation,
        day_correlation,
        between_year_cv,
        cell_above_air_k,
        skyline_deg,
        notes,
    })
}

fn mounting(
    site: &mut Site,
    document: &Documented,
    project: Option<&Project>,
    known: &mut Assumptions,
    notes: &mut Vec<String>,
) -> Result<Plane, Vec<Diagnostic>> {
    let latitude = site.observer.latitude_deg;
    let mounting = project.and_then(|p| p.mounting.as_ref());
    site.soiling = known.or(
        mounting.and_then(|m| m.soiling.as_ref()).map(|s| s.si()),
        "dirt on the panel",
        0.92,
        "92 % of the light gets through",
        Basis::CommonPractice,
        "enter `soiling` under `mounting` (85 to 97 % is usual; trees and birds are worse)",
    );
    if let Some(months) = mounting.and_then(|m| m.one_cell_shade.as_ref()) {
        for (shade, month) in site.one_cell_shade.iter_mut().zip(months) {
            *shade = month.si();
        }
    }
    let equator = if latitude >= 0.0 { 180.0 } else { 0.0 };
    let stated = mounting.and_then(|m| m.azimuth.as_ref()).map(|a| a.degrees());
    let azimuth = known.or(
        stated,
        "where the panel looks",
        equator,
        if latitude >= 0.0 { "south" } else { "north" },
        Basis::Assumed,
        "enter `azimuth` under `mounting`, clockwise from north",
    );
    let tilt = if let Some(mounting) = mounting {
        mounting.tilt.degrees()
    } else {
        let typed: Vec<f64> = document.irradiation.iter().map(|h| h.si() * 86.4 / 3600.0).collect();
        let tilt = match <[f64; 12]>::try_from(typed) {
            Ok(months) => best_tilt(site, azimuth, &months, &[1.0; 12]).tilt_deg,
            Err(_) => (latitude.abs() + 15.0).min(90.0),
        };
        known.take(
            "the panel's tilt",
            format!("{tilt:.0}°, the best for the worst month"),
            Basis::Assumed,
            "enter `mounting = { tilt = \"…\" }` (`overwinter tilt` shows what each tilt gives)",
        );
        tilt
    };
    if tilt > 90.0 {
        notes.push(format!(
            "a tilt of {}° looks at the ground: it lives on what the ground throws back",
            significant(tilt, 3)
        ));
    }
    Plane::new(tilt, azimuth).map_err(|error| {
        let help = "a tilt lies between 0° (flat) and 180°, a bearing between 0° and 360°";
        vec![Diagnostic::error("mounting", error.to_string()).help(help)]
    })
}

fn temperature(
    entry: &Entry<Documented>,
    project: Option<&Project>,
    known: &mut Assumptions,
) -> Result<Temperature, Vec<Diagnostic>> {
    let monthly =
        match (project.and_then(|p| p.temperature.as_ref()), entry.document.temperature.as_ref()) {
            (Some(Stated::Constant(t)), _) => return Ok(constant(t.celsius())),
            (Some(Stated::Monthly(monthly)), _) | (None, Some(monthly)) => monthly,
            (None, None) => {
                known.take(
                    "temperature",
                    "20 °C all year: no frost, no cold cell",
                    Basis::Assumed,
                    "enter `temperature` of the site, twelve monthly means",
                );
                return Ok(constant(20.0));
            }
        };
    let means: Vec<f64> = monthly.mean.iter().map(Celsius::celsius).collect();
    let means = <[f64; 12]>::try_from(means).map_err(|means| {
        let message = format!("{} monthly temperatures stand here", means.len());
        let help = "write twelve, January first";
        vec![entry.place(Diagnostic::error("months", message).help(help), &key("temperature"))]
    })?;
    Ok(with_spread(monthly, means, known))
}

fn with_spread(
    monthly: &MonthlyTemperature,
    means: [f64; 12],
    known: &mut Assumptions,
) -> Temperature {
    let spread_k = known.or(
        monthly.day_spread.as_ref().map(|k| k.si()),
        "how far a day's mean temperature departs from the season",
        4.0,
        "4 K (standard deviation)",
        Basis::Assumed,
        "enter `day_spread` of the temperature",
    );
    let day_correlation = monthly.day_to_day.as_ref().map_or(0.7, |r| r.si());
    if monthly.day_to_day.is_none() && spread_k > 0.0 {
        known.take(
            "how one day's temperature goes with the next's",
            "a correlation of 0.7",
            Basis::Assumed,
            "enter `day_to_day` of the temperature",
        );
    }
    let with = monthly.clearness_correlation.as_ref();
    let weather_correlation = with.map_or([0.0, 0.0], |with| [with.winter.si(), with.summer.si()]);
    if with.is_none() && spread_k > 0.0 {
        known.take(
            "how a day's temperature goes with its light",
            "not at all",
            Basis::Assumed,
            "enter `clearness_correlation = { winter = -0.3, summer = 0.4 }` of the temperature; a weather file of a year tells",
        );
    }
    let daily_range_k = known.or(
        monthly.daily_swing.as_ref().map(|k| k.si()),
        "highest minus lowest temperature of a day",
        8.0,
        "8 K",
        Basis::Assumed,
        "enter `daily_swing` of the temperature",
    );
    Temperature {
        season: Season::of_monthly_means(means),
        spread_k,
        day_correlation,
        weather_correlation,
        daily_range_k,
    }
}

fn constant(celsius: f64) -> Temperature {
    Temperature {
        season: Season::Monthly([celsius; 12]),
        spread_k: 0.0,
        day_correlation: 0.0,
        weather_correlation: [0.0, 0.0],
        daily_range_k: 0.0,
    }
}

impl Place {
    /// The climate of the twelve monthly figures.
    ///
    /// # Errors
    /// Diagnostics at the month that cannot be, or at the site that has no figures.
    pub(crate) fn climate(&self, entry: &Entry<Documented>) -> Result<Climate, Vec<Diagnostic>> {
        let Some(months) = self.irradiation else {
            let message = format!("the site “{}” has no monthly irradiation", entry.document.name);
            let help = "enter `irradiation`, twelve monthly means on the horizontal in kWh/m²/d, January first; public tables have them for any place";
            return Err(vec![
                entry.place(Diagnostic::error("no-irradiation", message).help(help), &key("name")),
            ]);
        };
        Climate::new(ClimateInput {
            latitude_deg: self.site.observer.latitude_deg,
            irradiation_kwh_m2: months.map(Some),
            day_correlation: self.day_correlation,
            between_year_cv: self.between_year_cv,
            temperature: self.temperature,
        })
        .map_err(|error| vec![climate_diagnostic(entry, &error)])
    }

    /// The months of a table of irradiation, by the classical monthly method.
    pub(crate) fn months(
        &self,
        irradiation: &[Option<f64>; 12],
        air_c: &[f64; 12],
    ) -> Vec<SunMonth> {
        let filled = irradiation.map(|h| h.unwrap_or(0.0));
        let shares = self.site.monthly_beam_share(&self.plane);
        monthly_on_plane(&self.site, &self.plane, &filled)
            .iter()
            .enumerate()
            .map(|(m, month)| SunMonth {
                month: month.month,
                horizontal_kwh_m2: irradiation[m],
                on_panel_kwh_m2: irradiation[m].map(|_| month.on_plane_kwh_m2),
                clearness: irradiation[m].and(month.clearness),
                air_c: air_c[m],
                beam_share: shares[m],
            })
            .collect()
    }

    /// Monthly mean temperatures of the season, °C.
    pub(crate) fn season_c(&self) -> [f64; 12] {
        core::array::from_fn(|m| {
            let first = DAYS_BEFORE_MONTH[m] + 1;
            let days = u16::from(DAYS_IN_MONTH[m]);
            let season = &self.temperature.season;
            (first..first + days).map(|day| season.mean_c(day)).sum::<f64>() / f64::from(days)
        })
    }
}

fn climate_diagnostic(entry: &Entry<Documented>, error: &ClimateError) -> Diagnostic {
    let (code, key, help) = match error {
        ClimateError::Latitude { .. } => {
            ("latitude", key("latitude"), "write for example \"47.1° N\"")
        }
        ClimateError::MonthsMissing { .. } => {
            ("months-missing", key("irradiation"), "write twelve figures, January first")
        }
        ClimateError::AboveExtraterrestrial { month, .. } => (
            "above-extraterrestrial",
            key("irradiation").index(usize::from(month - 1)),
            "kWh/m² a day, not a month; the months of the southern hemisphere begin with January's summer; the latitude is north positive",
        ),
        ClimateError::NotLight { month, .. } => (
            "irradiation",
            key("irradiation").index(usize::from(month - 1)),
            "write for example \"1.15 kWh/m²/d\"",
        ),
        ClimateError::Range { .. } => {
            ("climate", key("name"), "correct the site's or the temperature's figure")
        }
    };
    entry.place(Diagnostic::error(code, error.to_string()).help(help), &key)
}

/// Remarks on the monthly figures in words; neighbouring months are told together.
pub(crate) fn climate_notes(climate: &Climate) -> Vec<String> {
    climate_notes_of(climate, |_| true)
}

/// Those of one sort.
pub(crate) fn climate_notes_of(climate: &Climate, wanted: fn(&ClimateNote) -> bool) -> Vec<String> {
    let (mut dark, mut odd, mut notes) = (Vec::new(), Vec::new(), Vec::new());
    for note in climate.notes().iter().filter(|note| wanted(note)) {
        match note {
            ClimateNote::PolarNight { month } => dark.push(month_name(*month)),
            ClimateNote::OutsideFit { month, .. } => odd.push(month_name(*month)),
            ClimateNote::UnusualCorrelation { got } => notes.push(format!(
                "a day-to-day correlation of {} lies outside the usual 0.15 to 0.45: a trial",
                significant(*got, 2)
            )),
            ClimateNote::CorrelationOutOfReach { got, limit } => notes.push(format!(
                "a correlation of {} between temperature and clearness is more than their day-to-day correlations allow: run at {}",
                significant(*got, 2),
                significant(*limit, 2)
            )),
        }
    }
    if !odd.is_empty() {
        notes.insert(
            0,
            format!(
                "clearness outside the 0.3 to 0.7 to which the spread of days was fitted: {}",
                odd.join(", ")
            ),
        );
    }
    if !dark.is_empty() {
        notes.insert(0, format!("the sun does not rise, or hardly so: {}", dark.join(", ")));
    }
    notes
}

/// What the synthetic weather rests on, in words.
pub(crate) fn weather_text(climate: &Climate, years: usize, seed: u64) -> String {
    let input = climate.input();
    format!(
        "{years} synthetic years from twelve monthly figures (seed {seed}): days correlated {}, months {} from year to year, days {} from the season",
        significant(input.day_correlation, 2),
        percent(input.between_year_cv),
        kelvin(input.temperature.spread_k)
    )
}
