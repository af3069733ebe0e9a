//! What is wrong with the sun of a folder before anyone asks: months that cannot be, weather files, panels that do not reach their chargers, frost.

use overwinter_documents::types::project::Project;
use overwinter_documents::types::sun::Site;
use overwinter_documents::{Diagnostic, Entry, KeyPath, Origin, Severity};
use overwinter_sun::charger::{Coupling, Reach};
use overwinter_sun::synthetic::climate::ClimateNote;
use overwinter_sun::transposition::Plane;

use super::known::{Assumptions, panel, site};
use super::place::{MONTHS, Place, climate_notes_of, place};
use super::source::{between, charge_window, labelled, source};
use super::weather::load;
use crate::bench::Bench;
use crate::facts::Shown;
use crate::question::{boards_of, cell_of};
use crate::text::{significant, voltage};
use crate::traits::sight;

/// Findings on every site of the folder, and on every project with a site and a panel.
pub(crate) fn findings(bench: &Bench) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for entry in bench.folder().sites.iter().filter(|entry| entry.origin == Origin::Folder) {
        if let Err(errors) = of_site(bench, entry, &mut found) {
            found.extend(errors);
        }
    }
    for entry in bench.folder().projects.iter() {
        if entry.document.site.is_some() && entry.document.panel.is_some() {
            // What keeps a project's sun from being looked at stands at its own document.
            if let Err(errors) = of_project(bench, entry, &mut found) {
                found.extend(errors);
            }
        }
    }
    found
}

fn of_site(
    bench: &Bench,
    entry: &Entry<Site>,
    found: &mut Vec<Diagnostic>,
) -> Result<(), Vec<Diagnostic>> {
    let root = KeyPath::root().key("site");
    let mut nothing = Assumptions::default();
    let place = place(entry, None, &mut nothing, &mut Assumptions::default())?;
    let mut tell = |severity, code, message: String, help: &str, key: &KeyPath| {
        found.push(entry.place(Diagnostic::new(code, severity, message).help(help), key));
    };
    for note in &place.notes {
        let help = "leave one of them out if they mean the same hills";
        tell(Severity::Warning, "site", note.clone(), help, &root.key("beam_share"));
    }
    if place.irradiation.is_some() {
        let climate = place.climate(entry)?;
        let told =
            |wanted: fn(&ClimateNote) -> bool| climate_notes_of(&climate, wanted).into_iter();
        let key = root.key("irradiation");
        for message in told(|n| matches!(n, ClimateNote::PolarNight { .. })) {
            let help = "no panel brings anything then: the cell carries those months alone";
            tell(Severity::Note, "polar-night", message, help, &key);
        }
        for message in told(|n| matches!(n, ClimateNote::OutsideFit { .. })) {
            let help = "compare the figure with the table it is from; if it is right, single days are less certain there";
            tell(Severity::Note, "clearness", message, help, &key);
        }
        for message in told(|n| matches!(n, ClimateNote::UnusualCorrelation { .. })) {
            let help = "fine as a trial: 0.6 for coast and fog";
            tell(Severity::Note, "correlation", message, help, &root.key("day_to_day"));
        }
        for message in told(|n| matches!(n, ClimateNote::CorrelationOutOfReach { .. })) {
            let help = "write less, or lower day-to-day correlations";
            let key = root.key("temperature").key("clearness_correlation");
            tell(Severity::Warning, "correlation", message, help, &key);
        }
    } else if entry.document.hourly.is_none() {
        let message = format!(
            "the site “{}” has neither monthly figures nor a weather file",
            entry.document.name
        );
        let help = "enter `irradiation`, twelve monthly means on the horizontal in kWh/m²/d, January first; public tables have them for any place";
        tell(Severity::Warning, "no-irradiation", message, help, &root.key("name"));
    }
    let Some(file) = &entry.document.hourly else { return Ok(()) };
    let Some(text) = bench.weather(file) else { return Ok(()) };
    let loaded = load(entry, &place, text, &mut Assumptions::default())?;
    for doubt in loaded.doubts() {
        let help = "compare place, clock, stamp and unit of `hourly_layout` with what the file's source says of them; missing hours can be filled with `fill_gaps`";
        tell(
            Severity::Warning,
            "weather-file",
            format!("{file}: {doubt}"),
            help,
            &root.key("hourly"),
        );
    }
    // Gaps that nothing fills keep every question about the sun from being answered.
    loaded.on(&Plane { tilt_deg: 0.0, azimuth_deg: 180.0 })?;
    Ok(())
}

fn celsius(celsius: f64) -> String {
    format!("{} °C", significant((celsius * 10.0).round() / 10.0, 2))
}

fn of_project(
    bench: &Bench,
    entry: &Entry<Project>,
    found: &mut Vec<Diagnostic>,
) -> Result<(), Vec<Diagnostic>> {
    let project = &entry.document;
    let mut nothing = Assumptions::default();
    // A name that is not there, and a site's own faults, are told elsewhere.
    let (Ok(site), Ok(panel)) = (site(bench, entry, None), panel(bench, entry, None)) else {
        return Ok(());
    };
    let place: Result<Place, _> =
        place(&site, Some(project), &mut nothing, &mut Assumptions::default());
    let labelled = labelled(&panel, &mut nothing)?;
    let (Ok(place), Ok(cell), Ok(boards)) =
        (place, cell_of(bench, project), boards_of(bench, project))
    else {
        return Ok(());
    };
    let figures = bench.cell_figures(cell);
    let window_c = charge_window(&figures, &mut nothing);
    let (mut unreached, mut not_full, mut in_frost) = (Vec::new(), Vec::new(), Vec::new());
    for board in boards {
        let shown = Shown::new(bench, board, None);
        if shown.specimen.is_some_and(|specimen| specimen.dead.is_some()) {
            continue;
        }
        let traits = sight(bench, board, shown.specimen).traits;
        let Ok(between) =
            between(bench, Some(project), cell, &shown, &traits, window_c, &mut nothing)
        else {
            continue;
        };
        let source = source(&labelled, &between);
        match source.reach(-10.0, 60.0) {
            Reach::Never { have_v, need_v } => {
                unreached.push((board.name.as_str(), have_v, need_v));
            }
            Reach::NotFullWhenHot { have_v, need_v } => {
                not_full.push((board.name.as_str(), have_v, need_v));
            }
            Reach::Fills => {}
        }
        if between.charger.temperature_window_c.is_none() {
            // Past the board's charger it is the converter that does not know.
            let by = if matches!(between.coupling, Coupling::MaximumPower { .. }) {
                "the converter"
            } else {
                board.name.as_str()
            };
            if !in_frost.contains(&by) {
                in_frost.push(by);
            }
        }
    }
    let key = KeyPath::root().key("project");
    let mut tell = |severity, code, message: String, help: &str, key: &KeyPath| {
        found.push(entry.place(Diagnostic::new(code, severity, message).help(help), key));
    };
    for (boards, code, what, help) in [
        (
            unreached,
            "panel-too-low",
            "never reaches the charger's minimum: it will not charge",
            "a panel of more voltage, or a converter between (`through` under `mounting`)",
        ),
        (
            not_full,
            "panel-low-when-hot",
            "cannot fill the cell when the panel is hot",
            "a panel of a higher voltage at maximum power, or less drop between",
        ),
    ] {
        if let Some((_, have_v, need_v)) = boards.first().copied() {
            let names: Vec<&str> = boards.iter().map(|b| b.0).collect();
            let message = format!(
                "{} with {}: the panel {what} ({} where {} are needed)",
                panel.document.name,
                names.join(", "),
                voltage((have_v * 100.0).round() / 100.0),
                voltage((need_v * 100.0).round() / 100.0)
            );
            tell(Severity::Warning, code, message, help, &key.key("panel"));
        }
    }
    let season = place.season_c();
    let coldest = (0..12).min_by(|&a, &b| season[a].total_cmp(&season[b])).unwrap_or(0);
    let coldest_c = season[coldest] + place.cell_above_air_k;
    if coldest_c < window_c.0 && !in_frost.is_empty() {
        let message = format!(
            "{} has a mean of {} at the cell, and nothing keeps {} from charging it below {}",
            MONTHS[coldest],
            celsius(coldest_c),
            in_frost.join(", "),
            celsius(window_c.0)
        );
        let help = "a charger that knows the cell's temperature (`senses_temperature`), or a cell whose maker allows it (`charge_temperature`); frost ruins a lithium-ion cell that is charged";
        tell(Severity::Warning, "charging-in-frost", message, help, &key.key("site"));
    }
    Ok(())
}
