//! The tilt that is best in the worst month, by the classical monthly method.

use overwinter_documents::{Diagnostic, KeyPath};
use overwinter_sun::plane::{best_tilt, monthly_on_plane};
use overwinter_sun::time::DAYS_IN_MONTH;
use overwinter_sun::transposition::Plane;

use super::known::{Assumptions, project, site};
use super::place::{Place, climate_notes, place};
use super::report::{TiltLine, TiltReport};
use super::request::TiltRequest;
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
    let place = place(&entry, &project.document, &mut known, &mut Assumptions::default())?;
    let climate = place.climate(&entry)?;
    let irradiation = place.irradiation.unwrap_or_default();
    let azimuth_deg = request.azimuth_deg.unwrap_or(place.plane.azimuth_deg);
    if !(0.0..=360.0).contains(&azimuth_deg) {
        let help = "a bearing lies between 0° and 360°, clockwise from north";
        return Err(vec![entry.place(
            Diagnostic::error("azimuth", format!("a bearing of {azimuth_deg}°")).help(help),
            &KeyPath::root().key("site").key("name"),
        )]);
    }
    let line = |tilt_deg: f64| line(&place, tilt_deg, azimuth_deg, &irradiation);
    let best = best_tilt(&place.site, azimuth_deg, &irradiation, &[1.0; 12]);
    let stated = project.document.mounting.is_some();
    // A tilt that was not stated is the best itself; it would only repeat it.
    known.0.retain(|a| stated || a.unknown != "the panel's tilt");
    let mut notes = place.notes.clone();
    notes.extend(climate_notes(&climate));
    notes.push("a steep panel sheds snow and leaves; a monthly mean knows neither voltages nor a full cell: `overwinter sun` does".to_owned());
    Ok(TiltReport {
        schema_version: SCHEMA_VERSION,
        project: project.document.name.clone(),
        site: entry.document.name.clone(),
        azimuth_deg,
        best: line(best.tilt_deg),
        now: stated.then(|| line(place.plane.tilt_deg)),
        tilts: (0..=18).map(|k| line(5.0 * f64::from(k))).collect(),
        assumptions: known.0,
        notes,
    })
}

fn line(place: &Place, tilt_deg: f64, azimuth_deg: f64, irradiation: &[f64; 12]) -> TiltLine {
    let months = monthly_on_plane(&place.site, &Plane { tilt_deg, azimuth_deg }, irradiation);
    let light = months.map(|m| m.on_plane_kwh_m2);
    let worst = (0..12).min_by(|&a, &b| light[a].total_cmp(&light[b])).unwrap_or(0);
    let year: f64 = light.iter().zip(DAYS_IN_MONTH).map(|(h, d)| h * f64::from(d)).sum();
    TiltLine {
        tilt_deg,
        worst_month: worst as u8 + 1,
        worst_kwh_m2: light[worst],
        year_kwh_m2: year / 365.0,
        months_kwh_m2: light.to_vec(),
    }
}
