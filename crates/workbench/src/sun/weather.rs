//! The site's hourly file: its text read by its layout, put on the panel, cut into years from midsummer to midsummer.

use overwinter_documents::types::sun::{
    DateOrder as WrittenOrder, LightUnit as WrittenUnit, Site as Documented, StampAt, WeatherForm,
    WeatherLayout,
};
use overwinter_documents::{Diagnostic, Entry, KeyPath, YesNo};
use overwinter_sun::balance::map::midsummer;
use overwinter_sun::plane::Site;
use overwinter_sun::position::Observer;
use overwinter_sun::resource::csv::{Column, Layout, LightUnit, Stamp, TimeColumns, Zone, read};
use overwinter_sun::resource::on_plane::{
    GapFill, OnPlaneError, PanelWeather, complete_global, panel_weather,
};
use overwinter_sun::resource::text_time::DateOrder;
use overwinter_sun::resource::tmy::{read_tmy2, read_tmy3};
use overwinter_sun::resource::{Resource, ResourceError, ResourceNote};
use overwinter_sun::synthetic::climate::{Climate, ClimateInput};
use overwinter_sun::synthetic::geometry::YearGeometry;
use overwinter_sun::time::Civil;
use overwinter_sun::transposition::Plane;

use super::known::{Assumptions, Basis};
use super::place::{Place, month_name};
use crate::text::{kelvin, percent, significant};

/// Measured weather on the panel.
pub(crate) struct Measured {
    /// Years from midsummer to midsummer; each is run from a full cell.
    pub(crate) years: Vec<PanelWeather>,
    /// Monthly means of the file: kWh/m² a day, °C.
    pub(crate) months: [(Option<f64>, Option<f64>); 12],
    /// The climate that goes on where the file ends; `None` where its figures make none.
    pub(crate) continued: Option<Climate>,
    pub(crate) text: String,
    pub(crate) notes: Vec<String>,
}

/// A weather file read and looked at, before any panel.
pub(crate) struct Loaded {
    resource: Resource,
    site: Site,
    fill: GapFill,
    file: String,
    notes: Vec<String>,
}

fn name(entry: &Entry<Documented>) -> String {
    entry.document.hourly.clone().unwrap_or_else(|| "the weather file".to_owned())
}

fn at_site(entry: &Entry<Documented>, key: &str, diagnostic: Diagnostic) -> Vec<Diagnostic> {
    vec![entry.place(diagnostic, &KeyPath::root().key("site").key(key))]
}

/// Reads the text of a site's weather file.
///
/// # Errors
/// Diagnostics that name file, line and column, or the key of the site that is missing.
pub(crate) fn load(
    entry: &Entry<Documented>,
    place: &Place,
    text: &str,
    known: &mut Assumptions,
) -> Result<Loaded, Vec<Diagnostic>> {
    let layout = entry.document.hourly_layout.clone().unwrap_or_default();
    let mut notes = Vec::new();
    let mut resource = resource(entry, &layout, text, known, &mut notes)?;
    let mut site = place.site.clone();
    if let (None, Some(place)) = (&entry.document.longitude, resource.place) {
        // The file says where it was measured; the document does not.
        if let Ok(observer) =
            Observer::at(site.observer.latitude_deg, place.longitude_deg, site.observer.height_m)
        {
            site.observer = observer;
        }
    } else if entry.document.longitude.is_none() {
        let help = "without it the sun's noon of the file cannot be told from its clock";
        let message = "an hourly file needs the site's longitude";
        return Err(at_site(entry, "name", Diagnostic::error("no-longitude", message).help(help)));
    }
    if let Some(place) = resource.place {
        let off = (place.latitude_deg - site.observer.latitude_deg).abs();
        if off > 1.0 {
            notes.push(format!(
                "the file was measured at latitude {}°, the site lies {}° away from it",
                significant(place.latitude_deg, 4),
                significant(off, 3)
            ));
        }
    }
    complete_global(&mut resource, &site);
    resource.check(&site.observer);
    if resource.records.iter().all(|r| r.air_c.is_none()) {
        season_into(&mut resource, place);
        known.take(
            "temperature in the file",
            "the site's monthly means with their daily swing",
            Basis::Assumed,
            "name the column as `air` of `hourly_layout`",
        );
    }
    let fill = match layout.fill_gaps {
        Some(YesNo::Yes) => GapFill::SameTimeNearestDay,
        _ => GapFill::Refuse,
    };
    Ok(Loaded { resource, site, fill, file: name(entry), notes })
}

impl Loaded {
    /// On a plane.
    ///
    /// # Errors
    /// A diagnostic of gaps that are not to be filled, or of a step that does not divide a day.
    pub(crate) fn on(&self, plane: &Plane) -> Result<PanelWeather, Vec<Diagnostic>> {
        panel_weather(&self.resource, &self.site, plane, self.fill).map_err(|error| {
            let help = match error {
                OnPlaneError::Gaps { .. } => {
                    "write `hourly_layout = { fill_gaps = \"yes\" }` to fill them with the same hour of the nearest day"
                }
                OnPlaneError::Nothing { .. } => "name the column in `hourly_layout`",
                OnPlaneError::Step { .. } => "write the file in steps that divide a day, such as 15 min or 1 h",
            };
            vec![Diagnostic::error("weather-gaps", error.to_string()).in_file(&self.file).help(help)]
        })
    }

    /// Monthly means on a plane, kWh/m² a day; `None` for a month that is not in the file.
    ///
    /// # Errors
    /// As [`Self::on`].
    pub(crate) fn months_on(&self, plane: &Plane) -> Result<[Option<f64>; 12], Vec<Diagnostic>> {
        let light = self.on(plane)?;
        let mut sums = [(0.0, 0.0); 12];
        for (i, &g) in light.irradiance_w_m2.iter().enumerate() {
            let sum = &mut sums[usize::from(self.resource.civil(i).month - 1)];
            sum.0 += f64::from(g);
            sum.1 += 1.0;
        }
        // A few days are no month.
        let least = 20.0 * 86400.0 / light.step_s;
        Ok(sums.map(|(sum, n)| (n >= least).then(|| sum / n * 24.0 / 1000.0)))
    }

    /// What was found, in words.
    pub(crate) fn notes(&self) -> Vec<String> {
        let mut notes = self.notes.clone();
        notes.extend(self.resource.notes.iter().map(|note| note_text(note, &self.resource)));
        notes
    }

    /// What is probably wrong with the file, in words.
    #[cfg(feature = "findings")]
    pub(crate) fn doubts(&self) -> Vec<String> {
        let of = |note: &ResourceNote| is_doubtful(note).then(|| note_text(note, &self.resource));
        let mut doubts =
            self.notes.iter().filter(|n| n.contains("away from it")).cloned().collect::<Vec<_>>();
        doubts.extend(self.resource.notes.iter().filter_map(of));
        let days = self.resource.records.len() as f64 * self.resource.step_s / 86400.0;
        if days < 360.0 {
            doubts.push(format!(
                "the file holds {days:.0} days only: less than a year says little about winter"
            ));
        }
        doubts
    }

    /// The file and its span, in words.
    pub(crate) fn span(&self) -> String {
        let first = self.resource.civil(0);
        let last = self.resource.civil(self.resource.records.len().saturating_sub(1));
        format!(
            "{} from {} to {} in steps of {}",
            self.file,
            date_text(first),
            date_text(last),
            crate::text::duration(self.resource.step_s)
        )
    }
}

/// What the file tells better than what was taken for want of it.
const TOLD_BY_FILE: [&str; 4] = [
    "how one day's weather goes with the next's",
    "how far a day's mean temperature departs from the season",
    "how one day's temperature goes with the next's",
    "how a day's temperature goes with its light",
];
/// The one of them that needs years.
const TOLD_BY_YEARS: &str = "how much a month differs from year to year";

/// The weather of a site's file on the project's panel.
///
/// # Errors
/// As [`load`], and gaps that are not to be filled.
pub(crate) fn measured(
    entry: &Entry<Documented>,
    place: &Place,
    text: &str,
    known: &mut Assumptions,
) -> Result<Measured, Vec<Diagnostic>> {
    let loaded = load(entry, place, text, known)?;
    let whole = loaded.on(&place.plane)?;
    let mut notes = Vec::new();
    if whole.filled != (0, 0) {
        notes.push(format!(
            "filled with the same hour of the nearest day: {} intervals of light, {} of temperature",
            whole.filled.0, whole.filled.1
        ));
    }
    notes.extend(loaded.notes());
    let months = loaded.resource.monthly_means();
    let latitude_deg = loaded.site.observer.latitude_deg;
    let (years, whole_years) = cut(&loaded.resource, &whole, latitude_deg, &mut notes);
    let text = format!(
        "{}, {} {} from midsummer to midsummer{}",
        loaded.span(),
        years.len(),
        if years.len() == 1 { "year" } else { "years" },
        if whole_years { "" } else { " (its end joined to its beginning)" }
    );
    let continued = continued(&loaded.resource, place, latitude_deg, known, &mut notes);
    Ok(Measured { years, months, continued, text, notes })
}

/// The climate of the file's own figures, for the years that it does not hold.
fn continued(
    resource: &Resource,
    place: &Place,
    latitude_deg: f64,
    known: &mut Assumptions,
    notes: &mut Vec<String>,
) -> Option<Climate> {
    let of = resource.day_statistics(latitude_deg);
    let typed = place.irradiation.map(|months| months.map(Some)).unwrap_or_default();
    let mut from_site = 0;
    let irradiation_kwh_m2 = core::array::from_fn(|m| {
        of.irradiation_kwh_m2[m].or_else(|| {
            from_site += 1;
            typed[m]
        })
    });
    let temperature = of.temperature.unwrap_or(place.temperature);
    let climate = Climate::new(ClimateInput {
        latitude_deg,
        irradiation_kwh_m2,
        day_correlation: of.day_correlation.unwrap_or(place.day_correlation),
        between_year_cv: of.between_year_cv.unwrap_or(place.between_year_cv),
        temperature,
    })
    .ok();
    let Some(climate) = climate else {
        notes.push(
            "the file's figures make no synthetic years: less than a year, or light that cannot be"
                .to_owned(),
        );
        return None;
    };
    if of.day_correlation.is_some() && of.temperature.is_some() {
        known.0.retain(|a| !TOLD_BY_FILE.contains(&a.unknown.as_str()));
    }
    if of.between_year_cv.is_some() {
        known.0.retain(|a| a.unknown != TOLD_BY_YEARS);
    }
    let input = climate.input();
    notes.push(format!(
        "synthetic years go on where the file ends, with its own figures: days correlated {}, temperature {} about the season, correlated {} from day to day and {} in winter, {} in summer with clearness; months {} from year to year, {}{}",
        significant(input.day_correlation, 2),
        kelvin(temperature.spread_k),
        significant(temperature.day_correlation, 2),
        significant(temperature.weather_correlation[0], 2),
        significant(temperature.weather_correlation[1], 2),
        percent(input.between_year_cv),
        if of.between_year_cv.is_some() { "of its years" } else { "which a file of fewer than five years does not tell" },
        if from_site > 0 { format!("; {from_site} months from the site's figures") } else { String::new() }
    ));
    Some(climate)
}

fn date_text(civil: Civil) -> String {
    format!("{:04}-{:02}-{:02}", civil.year, civil.month, civil.day)
}

/// The site's own season into a file without temperature.
fn season_into(resource: &mut Resource, place: &Place) {
    for index in 0..resource.records.len() {
        let civil = resource.civil(index);
        let day = overwinter_sun::synthetic::climate::Day {
            clearness: 0.0,
            mean_c: place.temperature.season.mean_c(civil.day_of_year().min(365)),
            range_k: place.temperature.daily_range_k,
            chance: 1.0,
        };
        let hour = (civil.second_of_day / 3600).min(23) as usize;
        resource.records[index].air_c = Some(YearGeometry::air_c(&day, hour));
    }
}

/// Years from midsummer to midsummer; a file of one year is joined end to beginning. The flag tells whether they are whole as they stand.
fn cut(
    resource: &Resource,
    whole: &PanelWeather,
    latitude_deg: f64,
    notes: &mut Vec<String>,
) -> (Vec<PanelWeather>, bool) {
    let per_day = (86400.0 / whole.step_s) as usize;
    let start_day = midsummer(latitude_deg);
    let n = whole.irradiance_w_m2.len();
    let starts: Vec<usize> = (0..n)
        .filter(|&i| {
            let civil = resource.civil(i);
            civil.day_of_year() == start_day
                && (i == 0 || resource.civil(i - 1).day_of_year() != start_day)
        })
        .collect();
    let part = |range: std::ops::Range<usize>| PanelWeather {
        first_day: resource.civil(range.start).day_of_year().min(365),
        irradiance_w_m2: whole.irradiance_w_m2[range.clone()].to_vec(),
        air_c: whole.air_c[range].to_vec(),
        ..whole.clone()
    };
    // Whole days only, so that a clock that starts at half past does not count a day twice.
    let years: Vec<PanelWeather> = starts
        .windows(2)
        .filter(|w| (365 * per_day..=366 * per_day).contains(&(w[1] - w[0])))
        .map(|w| part(w[0]..w[1]))
        .collect();
    if !years.is_empty() {
        return (years, true);
    }
    if n < 360 * per_day {
        notes.push(format!(
            "the file holds {} days only: less than a year says little about winter",
            n / per_day
        ));
        return (vec![part(0..n)], true);
    }
    // One year: from midsummer to its end, then from its beginning to midsummer.
    let from = starts.first().copied().unwrap_or(0);
    let days = (n.min(366 * per_day) / per_day) * per_day;
    let order = |values: &[f32]| -> Vec<f32> {
        values[from..days.max(from)].iter().chain(&values[..from.min(days)]).copied().collect()
    };
    let joined = PanelWeather {
        first_day: resource.civil(from).day_of_year().min(365),
        irradiance_w_m2: order(&whole.irradiance_w_m2),
        air_c: order(&whole.air_c),
        ..whole.clone()
    };
    (vec![joined], false)
}

fn resource(
    entry: &Entry<Documented>,
    layout: &WeatherLayout,
    text: &str,
    known: &mut Assumptions,
    notes: &mut Vec<String>,
) -> Result<Resource, Vec<Diagnostic>> {
    let form = layout.form.unwrap_or_else(|| form_of(text));
    let read = match form {
        WeatherForm::Tmy2 => read_tmy2(text),
        WeatherForm::Tmy3 => read_tmy3(text),
        WeatherForm::Table => {
            let table = table_layout(entry, layout, text, known, notes)?;
            read(text, &table)
        }
    };
    read.map_err(|error| {
        let help = match &error {
            ResourceError::NoColumn { .. } => "name its columns in `hourly_layout` of the site: time, global, air, …",
            ResourceError::NotATime { .. } => "say how dates are written: `hourly_layout = { date_order = \"day month year\" }`",
            ResourceError::NotANumber { .. } => "a decimal comma? `decimal_comma = \"yes\"`; a mark of a missing value? `missing = [\"…\"]`",
            ResourceError::NotLight { .. } => "say the unit, such as `unit = \"kJ/m²\"`, or the mark of a missing value, `missing = [\"…\"]`",
            ResourceError::ClockGoesBack { .. } => "a clock with daylight saving? `daylight_saving = \"yes\"`",
            ResourceError::UnequalSteps { .. } => "write the file in equal steps; missing records may be left out",
            ResourceError::Empty { .. } | ResourceError::Malformed { .. } | ResourceError::TooLong { .. } => {
                "is it the right file, and the right form (`form = \"table\"`, \"TMY2\", \"TMY3\")?"
            }
        };
        let told = Diagnostic::error("weather-file", error.to_string()).help(help);
        vec![match line_of(&error).and_then(|line| span_of(text, line)) {
            Some(span) => told.at(&name(entry), text, span),
            None => told.in_file(&name(entry)),
        }]
    })
}

/// The line that an error names, from 1.
fn line_of(error: &ResourceError) -> Option<usize> {
    match error {
        ResourceError::NoColumn { line, .. }
        | ResourceError::NotANumber { line, .. }
        | ResourceError::NotATime { line, .. }
        | ResourceError::NotLight { line, .. }
        | ResourceError::ClockGoesBack { line, .. }
        | ResourceError::UnequalSteps { line, .. }
        | ResourceError::Malformed { line, .. } => Some(*line),
        ResourceError::Empty { .. } | ResourceError::TooLong { .. } => None,
    }
}

/// The bytes of a line, from 1.
fn span_of(text: &str, line: usize) -> Option<std::ops::Range<usize>> {
    let found = text.lines().nth(line.checked_sub(1)?)?;
    let start = found.as_ptr() as usize - text.as_ptr() as usize;
    Some(start..start + found.len())
}

/// The form by the first lines: the two public layouts of typical years have headers of their own.
fn form_of(text: &str) -> WeatherForm {
    let mut lines = text.lines().filter(|line| !line.trim().is_empty());
    let first = lines.next().unwrap_or_default();
    let second = lines.next().unwrap_or_default();
    if second.to_lowercase().starts_with("date (mm/dd/yyyy)") {
        return WeatherForm::Tmy3;
    }
    let words: Vec<&str> = first.split_whitespace().collect();
    let side = |word: &&str, sides: [&str; 2]| sides.contains(word);
    let n = words.len();
    if n >= 10
        && words.get(n - 7).is_some_and(|w| side(w, ["N", "S"]))
        && words.get(n - 4).is_some_and(|w| side(w, ["E", "W"]))
    {
        return WeatherForm::Tmy2;
    }
    WeatherForm::Table
}

/// Words by which a column is recognised, the surest first; lower case.
const GLOBAL: &[&str] =
    &["ghi", "g(h)", "global", "irradiance", "solar radiation", "radiation", "glob", "light"];
const BEAM: &[&str] = &["dni", "gb(n)", "beam", "direct normal"];
const DIFFUSE: &[&str] = &["dhi", "gd(h)", "diffuse"];
const AIR: &[&str] = &["t2m", "air temp", "air_temp", "temp", "tair", "t_air", "dry-bulb", "air"];
const TIME: &[&str] = &["timestamp", "datetime", "date and time", "time", "date", "utc"];

fn table_layout(
    entry: &Entry<Documented>,
    layout: &WeatherLayout,
    text: &str,
    known: &mut Assumptions,
    notes: &mut Vec<String>,
) -> Result<Layout, Vec<Diagnostic>> {
    let skip = layout.skip_lines.unwrap_or(0) as usize;
    let header = text
        .trim_start_matches('\u{feff}')
        .lines()
        .skip(skip)
        .find(|line| !line.trim().is_empty() && !line.trim_start().starts_with('#'))
        .unwrap_or_default();
    let separator = layout
        .separator
        .as_ref()
        .and_then(|s| if s == "tab" { Some('\t') } else { s.chars().next() });
    let split = separator.unwrap_or_else(|| {
        [';', '\t', ','].into_iter().max_by_key(|&s| header.matches(s).count()).unwrap_or(',')
    });
    let columns: Vec<String> =
        header.split(split).map(|c| c.trim().trim_matches('"').trim().to_owned()).collect();
    let mut guessed = Vec::new();
    let mut column = |stated: &Option<String>, words: &[&str], what: &str| -> Option<Column> {
        if let Some(stated) = stated {
            return Some(Column::Named(stated.clone()));
        }
        let found = words.iter().find_map(|word| {
            columns.iter().find(|c| {
                let lower = c.to_lowercase();
                // A beam column must not pass for the global one.
                lower.contains(word)
                    && !(what == "light"
                        && (lower.contains("diff")
                            || lower.contains("direct")
                            || lower.contains("beam")))
            })
        })?;
        guessed.push(format!("{what} from “{found}”"));
        Some(Column::Named(found.clone()))
    };
    let date = layout.date.clone().map(Column::Named);
    let time = column(&layout.time, TIME, "time");
    let global = column(&layout.global, GLOBAL, "light");
    let beam_normal = column(&layout.beam, BEAM, "beam");
    let diffuse = column(&layout.diffuse, DIFFUSE, "diffuse light");
    let air = column(&layout.air, AIR, "temperature");
    if !guessed.is_empty() {
        notes.push(format!("columns told by their names: {}", guessed.join(", ")));
    }
    let missing = |what: &str, key: &str| {
        let message =
            format!("no column of the {what} is recognised; the file has: {}", columns.join(", "));
        let help = format!("name it: `hourly_layout = {{ {key} = \"…\" }}`");
        vec![Diagnostic::error("weather-column", message).in_file(&name(entry)).help(help)]
    };
    let counted = layout.counted_from.as_ref().map(|first| TimeColumns::Counted {
        start: Civil {
            year: i32::from(first.year),
            month: first.month,
            day: first.day,
            second_of_day: 0,
        },
        step_s: layout
            .step
            .as_ref()
            .map_or(3600.0, overwinter_quantity::Duration::si)
            .clamp(1.0, 86400.0) as u32,
    });
    let time = match (counted, date, time) {
        (Some(counted), ..) => counted,
        (None, Some(date), Some(time)) => TimeColumns::DateAndTime(date, time),
        (None, Some(one), None) | (None, None, Some(one)) => TimeColumns::One(one),
        (None, None, None) => return Err(missing("time", "time")),
    };
    if global.is_none() && !(beam_normal.is_some() && diffuse.is_some()) {
        return Err(missing("light", "global"));
    }
    let offset_s = if let Some(text) = &layout.clock {
        clock(text).ok_or_else(|| {
            let message = format!("“{text}” is no clock");
            let help =
                "write the hours ahead of universal time in winter, such as \"+01:00\" or \"UTC\"";
            at_site(entry, "hourly_layout", Diagnostic::error("clock", message).help(help))
        })?
    } else {
        known.take(
            "the clock of the weather file",
            "universal time, unless its stamps say otherwise",
            Basis::Assumed,
            "enter `clock` of `hourly_layout`; a clock that is off shows in the notes",
        );
        0.0
    };
    if layout.stamp.is_none() {
        known.take(
            "which instant of its interval a stamp of the weather file names",
            "its start",
            Basis::Assumed,
            "enter `stamp` of `hourly_layout`: start, middle or end",
        );
    }
    let mut table = Layout::plain("", "");
    table.separator = separator;
    table.decimal_comma = layout.decimal_comma == Some(YesNo::Yes);
    table.skip_lines = skip;
    table.time = time;
    table.date_order = match layout.date_order {
        Some(WrittenOrder::DayMonthYear) => DateOrder::DayMonthYear,
        Some(WrittenOrder::MonthDayYear) => DateOrder::MonthDayYear,
        Some(WrittenOrder::YearMonthDay) | None => DateOrder::YearMonthDay,
    };
    table.zone = if layout.daylight_saving == Some(YesNo::Yes) {
        Zone::WallClock { standard_offset_s: offset_s }
    } else {
        Zone::Fixed { offset_s }
    };
    table.stamp = match layout.stamp {
        Some(StampAt::Middle) => Stamp::Middle,
        Some(StampAt::End) => Stamp::End,
        Some(StampAt::Start) | None => Stamp::Start,
    };
    table.global = global;
    table.beam_normal = beam_normal;
    table.diffuse = diffuse;
    table.air = air;
    table.unit = match layout.unit {
        Some(WrittenUnit::WattHourPerSquareMetre) => LightUnit::WattHourPerSquareMetre,
        Some(WrittenUnit::KilowattHourPerSquareMetre) => LightUnit::KilowattHourPerSquareMetre,
        Some(WrittenUnit::JoulePerSquareCentimetre) => LightUnit::JoulePerSquareCentimetre,
        Some(WrittenUnit::KilojoulePerSquareMetre) => LightUnit::KilojoulePerSquareMetre,
        Some(WrittenUnit::MegajoulePerSquareMetre) => LightUnit::MegajoulePerSquareMetre,
        Some(WrittenUnit::WattPerSquareMetre) | None => LightUnit::WattPerSquareMetre,
    };
    table.missing.extend(layout.missing.iter().cloned());
    Ok(table)
}

/// Seconds ahead of universal time: `UTC`, `Z`, `+01:00`, `-5`, `UTC+2`.
fn clock(text: &str) -> Option<f64> {
    let rest = text.trim().trim_start_matches("UTC").trim();
    if rest.is_empty() || rest == "Z" {
        return Some(0.0);
    }
    let (sign, rest) = match rest.strip_prefix('-').or_else(|| rest.strip_prefix('−')) {
        Some(rest) => (-1.0, rest),
        None => (1.0, rest.strip_prefix('+').unwrap_or(rest)),
    };
    let (hours, minutes) = rest.split_once(':').unwrap_or((rest, "0"));
    let (hours, minutes) = (hours.trim().parse::<f64>().ok()?, minutes.trim().parse::<f64>().ok()?);
    ((0.0..=14.0).contains(&hours) && (0.0..60.0).contains(&minutes))
        .then_some(sign * (hours * 3600.0 + minutes * 60.0))
}

/// Whether a note says that the data are probably not what they should be.
#[cfg(feature = "findings")]
fn is_doubtful(note: &ResourceNote) -> bool {
    !matches!(
        note,
        ResourceNote::LeapYear { .. }
            | ResourceNote::TypicalYear { .. }
            | ResourceNote::NegativeTakenAsZero { .. }
            | ResourceNote::DaylightSavingRemoved { .. }
            | ResourceNote::GlobalFromComponents { .. }
    )
}

fn note_text(note: &ResourceNote, resource: &Resource) -> String {
    let at = |instant: f64| {
        let civil = Civil::at(instant, resource.clock_offset_s);
        format!(
            "{} {:02}:{:02}",
            date_text(civil),
            civil.second_of_day / 3600,
            civil.second_of_day % 3600 / 60
        )
    };
    match note {
        ResourceNote::LeapYear { year } => {
            format!("{year} is a leap year of 8784 hours: its 29 February is run like any other day")
        }
        ResourceNote::TypicalYear { .. } => {
            "a typical year: its months come from different years, so it holds no spread between years".to_owned()
        }
        ResourceNote::Gaps { intervals, longest, first } => format!(
            "{intervals} intervals have no light, the longest run {longest}, the first at {}",
            at(*first)
        ),
        ResourceNote::MonthIncomplete { month, share } => {
            format!("{} holds only {} of its hours", month_name(*month), percent(*share))
        }
        ResourceNote::NegativeTakenAsZero { count, lowest } => format!(
            "{count} readings below zero, down to {} W/m² (the instrument at night), taken as zero",
            significant(*lowest, 2)
        ),
        ResourceNote::AboveExtraterrestrial { count, of, worst, at: when } => format!(
            "{count} of {of} intervals of daylight hold more light than outside the atmosphere, {} times at {}: wrong unit, place or clock",
            significant(*worst, 3),
            at(*when)
        ),
        ResourceNote::LightAtNight { count, at: when } => format!(
            "{count} intervals have light while the sun is well below the horizon, the first at {}: wrong clock or place",
            at(*when)
        ),
        ResourceNote::ClockOff { late_min } => format!(
            "the light's noon comes {} min {} than the sun's: wrong clock, stamp or longitude",
            significant(late_min.abs(), 2),
            if *late_min > 0.0 { "later" } else { "earlier" }
        ),
        ResourceNote::DaylightSavingRemoved { spring, autumn } => format!(
            "daylight saving taken out{}{}",
            spring.map_or_else(String::new, |t| format!(", spring {}", at(t))),
            autumn.map_or_else(String::new, |t| format!(", autumn {}", at(t)))
        ),
        ResourceNote::ComponentsDisagree { count, of } => format!(
            "in {count} of {of} intervals beam and diffuse do not add up to the light on the horizontal"
        ),
        ResourceNote::GlobalFromComponents { count } => {
            format!("light on the horizontal made from beam and diffuse in {count} intervals")
        }
        ResourceNote::Repeated { count } => {
            format!("{count} records stand twice or out of order: the first of each was kept")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_are_read() {
        assert_eq!(clock("UTC"), Some(0.0));
        assert_eq!(clock("+01:00"), Some(3600.0));
        assert_eq!(clock("UTC-3:30"), Some(-12600.0));
        assert_eq!(clock("noon"), None);
        assert_eq!(clock("+15"), None);
    }

    #[test]
    fn forms_are_told_by_their_first_lines() {
        assert_eq!(form_of("time,ghi\n2025-01-01 00:00,0\n"), WeatherForm::Table);
        let tmy3 = "723170,\"PLACE\",NC,-5.0,36.1,-79.95,273\nDate (MM/DD/YYYY),Time (HH:MM),ETR\n";
        assert_eq!(form_of(tmy3), WeatherForm::Tmy3);
        let tmy2 = " 13723 PLACE NAME           NC  -5 N 36  5 W  79 57   270\n 81010100000\n";
        assert_eq!(form_of(tmy2), WeatherForm::Tmy2);
    }
}
