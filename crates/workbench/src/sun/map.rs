//! Panel × cell: how often each pair goes dark, the smallest that meets a target, what one size up buys.

use overwinter_documents::types::cell::Cell;
use overwinter_documents::{Diagnostic, YesNo};
use overwinter_sun::balance::NodeTables;
use overwinter_sun::balance::engine::EngineNode;
use overwinter_sun::balance::map::{
    DAYS_YEARS, MapPoint, OutageMap, PairCount, Years, measured_counts, midsummer, outage_counts,
};
use overwinter_sun::charger::Source;
use overwinter_sun::synthetic::geometry::YearGeometry;

use super::balance::years;
use super::node::{Prepared, Shared, prepare};
use super::report::{ShareOfYears, SunMapPoint, SunMapReport, SunSmallest};
use super::request::{MOST_SIZES, SunMapCounts, SunMapRequest};
use super::setting::{Setting, Wanted, Weather};
use crate::bench::Bench;
use crate::question::CAUTIONS;
use crate::report::SCHEMA_VERSION;
use crate::text::{Kind, percent, significant};

/// Target where the project states none: one year in twenty.
const USUAL_TARGET: f64 = 0.05;
/// Sizes round the project's own where none are asked for, as factors.
const USUAL_FACTORS: [f64; 8] = [0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0];

/// Answers the question, or a piece of it.
///
/// # Errors
/// Diagnostics of what is missing or cannot be.
pub fn sun_map(bench: &Bench, request: &SunMapRequest) -> Result<SunMapReport, Vec<Diagnostic>> {
    let piece = years(request.years)?;
    let wanted = Wanted {
        project: &request.project,
        site: request.site.as_deref(),
        panel: request.panel.as_deref(),
        hourly: None,
    };
    let mut setting = Setting::new(bench, &wanted)?;
    let cell = setting.cell(bench)?;
    let prepared = board(bench, &setting, cell, request.board.as_deref())?;
    let panels_w = sizes("panels", &request.panels_w, setting.labelled.rated_w)?;
    let own_c = prepared.case.scenario.cell.capacity_c;
    let cells_c = sizes("cells", &request.cells_c, own_c)?;
    let before = request.before.clone().unwrap_or_default();
    let pairs = panels_w.len() * cells_c.len();
    let fits = |counts: &[u32]| counts.len() == pairs;
    if before.years > 0 && !(fits(&before.years_with_outage) && fits(&before.outage_days)) {
        let help = "hand in the `counts` of the last reply, with the same panels and cells";
        return Err(vec![
            Diagnostic::error("counts", "the counts so far do not belong to this map").help(help),
        ]);
    }
    years((before.years as usize).saturating_add(piece))?;
    let sources: Vec<Source> = panels_w
        .iter()
        .map(|w| Source {
            panel: prepared.source.panel.scaled(w / setting.labelled.rated_w),
            ..prepared.source.clone()
        })
        .collect();
    let cells =
        cells_c.iter().map(|c| tables(&prepared, c / own_c)).collect::<Result<Vec<_>, _>>()?;
    let (climate, of_file) = match &setting.weather {
        Weather::Climate(climate) => (Some(&**climate), [].as_slice()),
        Weather::Measured(measured) => (measured.continued.as_ref(), measured.years.as_slice()),
    };
    let Some(climate) = climate else {
        let help = "a file of a year or more, or the twelve monthly figures (`--monthly`)";
        let message = "the weather file makes no synthetic years, and a map needs many";
        return Err(vec![Diagnostic::error("weather", message).help(help)]);
    };
    let geometry = YearGeometry::new(&setting.place.site, &setting.place.plane);
    let run = Years {
        climate,
        geometry: &geometry,
        seed: request.seed,
        first_year: u64::from(before.years),
        years: piece,
        first_day: midsummer(setting.place.site.observer.latitude_deg),
    };
    let habits = prepared.node(&prepared.tables, &prepared.source);
    let mut counts = outage_counts(&run, &sources, &cells, &habits);
    // The file's own years are the same in every piece: the first one runs them.
    let measured: Vec<u32> = if before.years > 0 && fits(&before.measured) {
        before.measured.clone()
    } else {
        measured_counts(of_file, &sources, &cells, &habits)
            .iter()
            .map(|count| count.years_with_outage)
            .collect()
    };
    if before.years > 0 {
        let old = before.years_with_outage.iter().zip(&before.outage_days);
        for (count, (years_with_outage, outage_days)) in counts.iter_mut().zip(old) {
            count.years_with_outage += years_with_outage;
            count.outage_days += outage_days;
        }
    }
    let total = before.years + piece as u32;
    let map = OutageMap::of(panels_w.len(), cells_c.len(), total, &counts)
        .ok_or_else(|| vec![Diagnostic::error("map", "there is nothing to run")])?;
    let stated = setting.project.needs.outage.as_ref().map(|need| need.years_at_most.fraction());
    let target_share = stated.unwrap_or(USUAL_TARGET);
    let mut smallest = smallest(&map, target_share, &panels_w, &cells_c);
    let mut flags = prepared.flags.clone();
    if !of_file.is_empty() {
        let years = of_file.len();
        let word = if years == 1 { "year" } else { "years" };
        if let Some(choice) = &smallest.choice {
            let dark = measured[choice.panel * cells_c.len() + choice.cell];
            smallest
                .text
                .push_str(&format!(". In the file's own {years} {word} it is dark in {dark}"));
        }
        flags.push(format!(
            "the shares are of synthetic years with the weather file's figures: its own {years} {word} cannot tell a rare outage (never dark in them is still up to {} of years)",
            percent(1.0 - libm::pow(0.05, 1.0 / years as f64))
        ));
    }
    flags.push("a larger panel is more of the same panel side by side (same voltage), a larger cell more of the same cell (less resistance)".into());
    if total > DAYS_YEARS {
        flags.push(format!(
            "outage days a year are the mean of the first {DAYS_YEARS} years, the shares are of all {total}"
        ));
    }
    let mut assumptions = std::mem::take(&mut setting.known.0);
    assumptions.extend(prepared.assumptions.iter().cloned());
    Ok(SunMapReport {
        schema_version: SCHEMA_VERSION,
        project: setting.project.name.clone(),
        board: prepared.board.clone(),
        setting: setting.report(total as usize, request.seed),
        panels_w,
        cells_c,
        points: map.points.iter().map(point).collect(),
        counts: of_counts(total, &counts, measured),
        measured_years: of_file.len() as u32,
        seed: request.seed,
        target_share,
        target_is_assumed: stated.is_none(),
        smallest,
        assumptions,
        flags,
        cautions: CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
    })
}

fn of_counts(years: u32, counts: &[PairCount], measured: Vec<u32>) -> SunMapCounts {
    SunMapCounts {
        years,
        measured,
        years_with_outage: counts.iter().map(|c| c.years_with_outage).collect(),
        outage_days: counts.iter().map(|c| c.outage_days).collect(),
    }
}

fn point(point: &MapPoint) -> SunMapPoint {
    let s = &point.years_with_outage;
    SunMapPoint {
        panel: point.panel,
        cell: point.cell,
        years_with_outage: ShareOfYears {
            share: s.share,
            low: s.low,
            high: s.high,
            years: s.trials,
        },
        outage_days_per_year: point.outage_days_per_year,
    }
}

/// The sizes asked for, or those round the project's own.
fn sizes(what: &'static str, asked: &[f64], own: f64) -> Result<Vec<f64>, Vec<Diagnostic>> {
    if asked.is_empty() {
        return Ok(USUAL_FACTORS.iter().map(|f| f * own).collect());
    }
    let rising = asked.windows(2).all(|w| w[1] > w[0]);
    if asked.len() > MOST_SIZES || !rising || asked.iter().any(|s| !(*s > 0.0 && s.is_finite())) {
        return Err(vec![
            Diagnostic::error("sizes", format!("these sizes of {what} cannot be mapped"))
                .help(format!("give at most {MOST_SIZES} sizes above zero, rising, each once")),
        ]);
    }
    Ok(asked.to_vec())
}

/// The cell and load for a cell so many times as large.
fn tables(prepared: &Prepared, times: f64) -> Result<NodeTables, Vec<Diagnostic>> {
    let refuse = |error: String| {
        vec![
            Diagnostic::error("cell-size", error)
                .help("the smallest cells of the map may not carry the radio peak; begin larger"),
        ]
    };
    let mut scenario = prepared.scenario.clone();
    scenario.cell.capacity_c *= times;
    if let Some(resistance) = &mut scenario.cell.resistance {
        use overwinter_engine::cell::ResistanceCurve;
        match &mut resistance.at_25 {
            ResistanceCurve::Constant { ohm } | ResistanceCurve::Rising { ohm, .. } => {
                *ohm /= times;
            }
            ResistanceCurve::Depth { ohm } => {
                for coefficient in ohm {
                    *coefficient /= times;
                }
            }
            ResistanceCurve::Table(curve) => curve.scale(1.0 / times),
        }
    }
    for pair in &mut scenario.cell.rc {
        pair.resistance_ohm /= times;
    }
    let engine = EngineNode::new(&scenario).map_err(|e| refuse(e.to_string()))?;
    NodeTables::new(&engine, &engine).map_err(|e| refuse(e.to_string()))
}

/// The board asked for, else the first of the project that the panel can charge.
fn board(
    bench: &Bench,
    setting: &Setting,
    cell: &Cell,
    wanted: Option<&str>,
) -> Result<Prepared, Vec<Diagnostic>> {
    let shared = Shared {
        bench,
        project: &setting.project,
        cell,
        place: &setting.place,
        labelled: &setting.labelled,
    };
    let named: Vec<String> = wanted.map(str::to_owned).into_iter().collect();
    let mut boards = setting.boards(bench, &named)?;
    if wanted.is_none() {
        // Boards whose charger is known to be there come first, in the order of the project.
        boards.sort_by_key(|b| b.traits.charger.known() != Some(YesNo::Yes));
    }
    let mut first = None;
    for board in boards {
        match prepare(&shared, board) {
            Ok(prepared) => return Ok(prepared),
            Err(no) => first = first.or(Some(no)),
        }
    }
    Err(vec![first.map_or_else(
        || Diagnostic::error("no-board", "the project considers no board"),
        |no| Diagnostic::error("no-charge", no.why).help(no.help),
    )])
}

fn smallest(map: &OutageMap, target: f64, panels_w: &[f64], cells_c: &[f64]) -> SunSmallest {
    let found = map.smallest(target);
    let watt = |p: usize| format!("{} W", significant(panels_w[p], 3));
    let size = |c: usize| Kind::CellCharge.text(cells_c[c], None);
    let text = match &found.choice {
        None => {
            let least =
                map.points.iter().map(|p| p.years_with_outage.high).fold(f64::INFINITY, f64::min);
            format!(
                "no pair of this map is dark in at most {} of years with 95 % confidence; the best comes to {}: more years, or larger sizes",
                percent(target),
                percent(least)
            )
        }
        Some(choice) => {
            let mut text = format!(
                "{} with {}: dark in {} of years, at most {} (95 %)",
                watt(choice.panel),
                size(choice.cell),
                percent(choice.years_with_outage.share),
                percent(choice.years_with_outage.high)
            );
            if let Some(up) = &found.one_panel_up {
                text.push_str(&format!(
                    "; one panel up, {}: at most {}",
                    watt(up.panel),
                    percent(up.years_with_outage.high)
                ));
            }
            if let Some(up) = &found.one_cell_up {
                text.push_str(&format!(
                    "; one cell up, {}: at most {}",
                    size(up.cell),
                    percent(up.years_with_outage.high)
                ));
            }
            text.push_str(". A careful person fits one size up");
            text
        }
    };
    SunSmallest {
        choice: found.choice.as_ref().map(point),
        one_panel_up: found.one_panel_up.as_ref().map(point),
        one_cell_up: found.one_cell_up.as_ref().map(point),
        cell_for_panel: found.cell_for_panel,
        text,
    }
}
