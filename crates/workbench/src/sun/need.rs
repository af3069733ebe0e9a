//! The need "dark in at most so many years" within a choice: the fewest years that can decide it, every board under the same weather.

use overwinter_documents::types::board::Board;
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::project::Project;
use overwinter_documents::{Diagnostic, Entry, Origin};
use overwinter_sun::balance::for_each_year;
use overwinter_sun::balance::map::{hourly_year, midsummer};
use overwinter_sun::balance::step::{Detail, Weather as Steps, run};
use overwinter_sun::resource::on_plane::PanelWeather;
use overwinter_sun::synthetic::geometry::YearGeometry;

use super::balance::{judge, judge_both, share};
use super::known::{self, Assumptions};
use super::node::{Prepared, Refused, Shared, prepare};
use super::place::place;
use super::setting::Weather;
use super::source::labelled;
use crate::bench::Bench;
use crate::report::{NeedResult, NeedVerdict};
use crate::text::percent;

/// Seed of the weather in a choice: the choice's own seed is that of its draws.
const SEED: u64 = 1;
/// Most years within a choice; a sharper need is for the command that answers it in full.
const MOST: usize = 400;
/// Years after which boards that are dark in nearly all of them are let go.
const FIRST: usize = 8;

/// The outage need of each board, in their order; `None` where the project has none.
pub(crate) fn outage_needs(
    bench: &Bench,
    project: &Project,
    cell: &Cell,
    boards: &[&Board],
) -> Option<Vec<NeedResult>> {
    let target = project.needs.outage.as_ref()?.years_at_most.fraction();
    let need = format!("dark in at most {} of years", percent(target));
    let command = format!("see `overwinter sun \"{}\"`", project.name);
    let undecided = |reason: String| NeedResult {
        need: need.clone(),
        verdict: NeedVerdict::Undecided,
        reason: format!("{reason}; {command}"),
        test_minutes: None,
    };
    let results = judged(bench, project, cell, boards, target);
    Some(match results {
        Err(found) => {
            let why =
                found.first().map_or_else(|| "it cannot be run".to_owned(), |d| d.message.clone());
            boards.iter().map(|_| undecided(why.clone())).collect()
        }
        Ok(results) => results
            .into_iter()
            .map(|result| match result {
                Ok((verdict, reason)) => NeedResult {
                    need: need.clone(),
                    verdict,
                    reason: format!("{reason}; {command}"),
                    test_minutes: None,
                },
                Err((why, true)) => NeedResult {
                    need: need.clone(),
                    verdict: NeedVerdict::DoesNot,
                    reason: why,
                    test_minutes: None,
                },
                Err((why, false)) => undecided(why),
            })
            .collect(),
    })
}

/// A verdict with its reason, or why there is none and whether that is a plain no.
type Judged = Result<(NeedVerdict, String), (String, bool)>;

fn judged(
    bench: &Bench,
    project: &Project,
    cell: &Cell,
    boards: &[&Board],
    target: f64,
) -> Result<Vec<Judged>, Vec<Diagnostic>> {
    // A project edited in a page has no file of its own; its place in a text is not needed here.
    let entry = Entry {
        document: Box::new(project.clone()),
        path: String::new(),
        origin: Origin::Folder,
        text: std::sync::Arc::from(""),
    };
    let site = known::site(bench, &entry, None)?;
    let panel = known::panel(bench, &entry, None)?;
    let mut known = Assumptions::default();
    let place = place(&site, Some(project), &mut known, &mut Assumptions::default())?;
    let labelled = labelled(&panel, &mut known)?;
    let weather = Weather::of(bench, None, &site, &place, &mut known)?;
    let shared = Shared { bench, project, cell, place: &place, labelled: &labelled };
    let ready: Vec<_> = boards.iter().map(|board| prepare(&shared, board)).collect();
    // So many years without an outage are needed before 95 % confidence speaks: (1 − target)^n = 5 %.
    let fewest = libm::ceil(libm::log(0.05) / libm::log1p(-target));
    let years = (fewest.clamp(1.0, MOST as f64)) as usize;
    let geometry = YearGeometry::new(&place.site, &place.plane);
    let first_day = midsummer(place.site.observer.latitude_deg);
    let is_dark = |prepared: &Result<Prepared, Box<Refused>>, steps: &Steps<'_>| {
        let Ok(prepared) = prepared else { return false };
        let node = prepared.node(&prepared.tables, &prepared.source);
        run(&node, steps, Detail::Outages).outage_days > 0
    };
    let (of_file, climate): (&[PanelWeather], _) = match &weather {
        Weather::Climate(climate) => (&[], Some(&**climate)),
        Weather::Measured(measured) => (&measured.years, measured.continued.as_ref()),
    };
    let own = for_each_year(of_file.len(), |year| {
        let steps = of_file[year as usize].steps();
        ready.iter().map(|prepared| is_dark(prepared, &steps)).collect::<Vec<bool>>()
    });
    let own: Vec<usize> =
        (0..ready.len()).map(|at| own.iter().filter(|year| year[at]).count()).collect();
    let years = if climate.is_some() { years } else { 0 };
    // How many of the years from `from` on each board is dark, for those still in question.
    let count = |from: u64, years: usize, asked: &[bool]| -> Vec<usize> {
        let per_year = for_each_year(years, |index| {
            let Some(climate) = climate else { return Vec::new() };
            let weather = hourly_year(climate, &geometry, SEED, from + index, first_day);
            let steps = Steps {
                step_s: 3600.0,
                first_day,
                irradiance_w_m2: &weather.irradiance_w_m2,
                air_c: &weather.air_c,
                thermal: None,
            };
            let dark = |(prepared, asked): (_, &bool)| *asked && is_dark(prepared, &steps);
            ready.iter().zip(asked).map(dark).collect::<Vec<bool>>()
        });
        (0..ready.len()).map(|at| per_year.iter().filter(|year| year[at]).count()).collect()
    };
    // A few years settle the boards that are dark in nearly all of them; the rest need them all.
    let few = FIRST.min(years);
    let first = count(0, few, &vec![true; ready.len()]);
    let asked: Vec<bool> = first
        .iter()
        .map(|dark| judge(&share(*dark, few), Some(target)).0 != Some(NeedVerdict::DoesNot))
        .collect();
    let rest = count(few as u64, years - few, &asked);
    Ok(ready
        .iter()
        .enumerate()
        .map(|(at, prepared)| {
            if let Err(no) = prepared {
                return Err((no.why.clone(), no.is_no));
            }
            let seen =
                if asked[at] { share(first[at] + rest[at], years) } else { share(first[at], few) };
            let (verdict, reason) = match (of_file.len(), years) {
                (0, _) => judge(&seen, Some(target)),
                (n, 0) => judge(&share(own[at], n), Some(target)),
                (n, _) => judge_both(&share(own[at], n), Some(&seen), Some(target)),
            };
            Ok((verdict.unwrap_or(NeedVerdict::Undecided), reason))
        })
        .collect())
}
