//! The tilt that is best in the worst month: from the site's weather file hour by hour, else by the classical monthly method.

use overwinter_documents::{Diagnostic, KeyPath};
use overwinter_sun::plane::{best_tilt, monthly_on_plane};
use overwinter_sun::time::DAYS_IN_MONTH;
use overwinter_sun::transposition::Plane;

use super::known::{Assumptions, project, site};
use super::place::{Place, climate_notes, month_name, place};
use super::report::{TiltLine, TiltReport};
use super::request::TiltRequest;
use super::weather::{Loaded, load};
use crate::bench::Bench;
use crate::report::SCHEMA_VERSION;

/// Answers the question.
///
/// # Errors
/// Diagnostics of what is missing or cannot be.
pub fn tilt(bench: &Bench, request: &TiltRequest) -> Result<TiltReport, Vec<Diagnostic>> {
    let project = project(bench, &request.project)?;
    let entry = site(bench, &project, request.site.as_deref())?;
    let mut known = Assumptions::default();
    let place = place(&entry, Some(&project.document), &mut known, &mut Assumptions::default())?;
    let attached = || bench.weather(entry.document.hourly.as_deref()?);
    let mut notes = place.notes.clone();
    let light = if let Some(text) = attached() {
        let loaded = load(&entry, &place, text, &mut known)?;
        notes.push(format!("light hour by hour from {}", loaded.span()));
        notes.extend(loaded.notes());
        Light::Measured(Box::new(loaded))
    } else {
        notes.extend(climate_notes(&place.climate(&entry)?));
        notes.extend(entry.document.hourly.as_ref().map(|file| {
            format!("the site's weather file {file} is not used here: the twelve monthly figures are, by the monthly method")
        }));
        Light::Monthly(place.irradiation.unwrap_or_default())
    };
    let azimuth_deg = request.azimuth_deg.unwrap_or(place.plane.azimuth_deg);
    if !(0.0..=360.0).contains(&azimuth_deg) {
        let help = "a bearing lies between 0° and 360°, clockwise from north";
        return Err(vec![entry.place(
            Diagnostic::error("azimuth", format!("a bearing of {azimuth_deg}°")).help(help),
            &KeyPath::root().key("site").key("name"),
        )]);
    }
    let line = |tilt_deg: f64| light.line(&place, tilt_deg, azimuth_deg);
    let tilts = (0..=18).map(|k| line(5.0 * f64::from(k))).collect::<Result<Vec<_>, _>>()?;
    let best = match &light {
        Light::Monthly(months) => {
            line(best_tilt(&place.site, azimuth_deg, months, &[1.0; 12]).tilt_deg)?
        }
        Light::Measured(_) => {
            // Whole degrees round the best of every fifth: the worst month's light has one hump.
            let worst = |l: &TiltLine| l.worst_kwh_m2;
            let coarse = tilts.iter().max_by(|a, b| worst(a).total_cmp(&worst(b)));
            let coarse = coarse.map_or(0.0, |l| l.tilt_deg);
            let mut best = line(coarse)?;
            for step in (-4..=4).filter(|s| *s != 0).map(f64::from) {
                if (0.0..=90.0).contains(&(coarse + step)) {
                    let other = line(coarse + step)?;
                    if worst(&other) > worst(&best) {
                        best = other;
                    }
                }
            }
            best
        }
    };
    let stated = project.document.mounting.is_some();
    // A tilt that was not stated is the best itself; it would only repeat it.
    known.0.retain(|a| stated || a.unknown != "the panel's tilt");
    notes.push("a steep panel sheds snow and leaves; a month's light knows neither voltages nor a full cell: `overwinter sun` does".to_owned());
    Ok(TiltReport {
        schema_version: SCHEMA_VERSION,
        project: project.document.name.clone(),
        site: entry.document.name.clone(),
        azimuth_deg,
        best,
        now: if stated { Some(line(place.plane.tilt_deg)?) } else { None },
        tilts,
        assumptions: known.0,
        notes,
    })
}

/// Where the light on a tilt comes from.
enum Light {
    /// Twelve monthly figures, by the classical monthly method.
    Monthly([f64; 12]),
    /// The site's weather file, hour by hour with the skyline.
    Measured(Box<Loaded>),
}

impl Light {
    fn line(
        &self,
        place: &Place,
        tilt_deg: f64,
        azimuth_deg: f64,
    ) -> Result<TiltLine, Vec<Diagnostic>> {
        let plane = Plane { tilt_deg, azimuth_deg };
        let light = match self {
            Self::Monthly(months) => {
                monthly_on_plane(&place.site, &plane, months).map(|m| m.on_plane_kwh_m2)
            }
            Self::Measured(loaded) => {
                let months = loaded.months_on(&plane)?;
                let missing: Vec<&str> = (1..=12u8)
                    .filter(|m| months[usize::from(m - 1)].is_none())
                    .map(month_name)
                    .collect();
                if !missing.is_empty() {
                    let help =
                        "a file of a whole year, or the twelve monthly figures (`--monthly`)";
                    let message = format!("the weather file lacks {}", missing.join(", "));
                    return Err(vec![Diagnostic::error("weather-months", message).help(help)]);
                }
                months.map(Option::unwrap_or_default)
            }
        };
        let worst = (0..12).min_by(|&a, &b| light[a].total_cmp(&light[b])).unwrap_or(0);
        let year: f64 = light.iter().zip(DAYS_IN_MONTH).map(|(h, d)| h * f64::from(d)).sum();
        Ok(TiltLine {
            tilt_deg,
            worst_month: worst as u8 + 1,
            worst_kwh_m2: light[worst],
            year_kwh_m2: year / 365.0,
            months_kwh_m2: light.to_vec(),
        })
    }
}
