//! Documents of a question put together: place, panel, weather, boards made ready.

use overwinter_documents::types::board::Board;
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::project::Project;
use overwinter_documents::types::sun::Site as DocumentedSite;
use overwinter_documents::{Diagnostic, Entry};
use overwinter_sun::synthetic::climate::Climate;

use super::known::{self, Assumptions};
use super::place::{Place, climate_notes, place, weather_text};
use super::report::SunSetting;
use super::source::{Labelled, labelled};
use super::weather::{Measured, measured};
use crate::bench::Bench;
use crate::question::{boards_of, cell_of};

/// What the documents say, before any year is run.
pub(crate) struct Setting {
    pub(crate) project: Project,
    pub(crate) site: Entry<DocumentedSite>,
    pub(crate) panel_name: String,
    pub(crate) place: Place,
    pub(crate) labelled: Labelled,
    pub(crate) weather: Weather,
    pub(crate) known: Assumptions,
}

/// What the years are made of.
pub(crate) enum Weather {
    /// Synthetic years from monthly figures.
    Climate(Box<Climate>),
    /// The person's own data.
    Measured(Box<Measured>),
}

impl Weather {
    /// The weather file handed in, else the one attached to the bench, else the twelve monthly figures.
    pub(crate) fn of(
        bench: &Bench,
        hourly: Option<&str>,
        site: &Entry<DocumentedSite>,
        place: &Place,
        known: &mut Assumptions,
    ) -> Result<Self, Vec<Diagnostic>> {
        let attached = || bench.weather(site.document.hourly.as_deref()?);
        Ok(match hourly.or_else(attached) {
            Some(text) => Self::Measured(Box::new(measured(site, place, text, known)?)),
            None => Self::Climate(Box::new(place.climate(site)?)),
        })
    }
}

/// Names or texts of the documents.
pub(crate) struct Wanted<'a> {
    pub(crate) project: &'a str,
    pub(crate) site: Option<&'a str>,
    pub(crate) panel: Option<&'a str>,
    pub(crate) hourly: Option<&'a str>,
}

impl Setting {
    /// Reads the documents of a question.
    ///
    /// # Errors
    /// Diagnostics of what is missing or cannot be, with its place.
    pub(crate) fn new(bench: &Bench, wanted: &Wanted<'_>) -> Result<Self, Vec<Diagnostic>> {
        let project = known::project(bench, wanted.project)?;
        let site = known::site(bench, &project, wanted.site)?;
        let panel = known::panel(bench, &project, wanted.panel)?;
        let mut known = Assumptions::default();
        let mut of_weather = Assumptions::default();
        let place = place(&site, Some(&project.document), &mut known, &mut of_weather)?;
        let labelled = labelled(&panel, &mut known)?;
        known.0.append(&mut of_weather.0);
        let weather = Weather::of(bench, wanted.hourly, &site, &place, &mut known)?;
        Ok(Self {
            project: *project.document,
            site,
            panel_name: panel.document.name.clone(),
            place,
            labelled,
            weather,
            known,
        })
    }

    /// For the report.
    pub(crate) fn report(&self, years: usize, seed: u64) -> SunSetting {
        let mut notes = self.place.notes.clone();
        let (weather, months) = match &self.weather {
            Weather::Climate(climate) => {
                notes.extend(climate_notes(climate));
                if let Some(file) = &self.site.document.hourly {
                    notes.push(format!(
                        "the site's weather file {file} is not used here: the twelve monthly figures are"
                    ));
                }
                let irradiation = climate.input().irradiation_kwh_m2;
                let months = self.place.months(&irradiation, &self.place.season_c());
                (weather_text(climate, years, seed), months)
            }
            Weather::Measured(measured) => {
                notes.extend(measured.notes.iter().cloned());
                let season = self.place.season_c();
                let air = core::array::from_fn(|m| measured.months[m].1.unwrap_or(season[m]));
                let months = self.place.months(&measured.months.map(|m| m.0), &air);
                (measured.text.clone(), months)
            }
        };
        SunSetting {
            site: self.site.document.name.clone(),
            latitude_deg: self.place.site.observer.latitude_deg,
            panel: self.panel_name.clone(),
            panel_w: self.labelled.rated_w,
            tilt_deg: self.place.plane.tilt_deg,
            azimuth_deg: self.place.plane.azimuth_deg,
            sky_view: self.place.site.sky_view_on(&self.place.plane),
            skyline_deg: self.place.skyline_deg.clone(),
            weather,
            months,
            notes,
        }
    }

    /// The project's cell.
    pub(crate) fn cell<'a>(&self, bench: &'a Bench) -> Result<&'a Cell, Vec<Diagnostic>> {
        cell_of(bench, &self.project).map_err(|error| vec![crate::ask::diagnostic(&error)])
    }

    /// The boards asked for, else the project's.
    pub(crate) fn boards<'a>(
        &self,
        bench: &'a Bench,
        named: &[String],
    ) -> Result<Vec<&'a Board>, Vec<Diagnostic>> {
        let project = Project {
            boards: if named.is_empty() {
                self.project.boards.clone()
            } else {
                Some(named.to_vec())
            },
            ..self.project.clone()
        };
        boards_of(bench, &project).map_err(|error| vec![crate::ask::diagnostic(&error)])
    }
}
