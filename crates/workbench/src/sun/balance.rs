//! The question of the year: every board through the same years of weather, and what they say.

use overwinter_documents::Diagnostic;
use overwinter_sun::balance::daily::{DailyBank, DailyGeometry, daily_year};
use overwinter_sun::balance::map::{HourlyYear, hourly_year, midsummer};
use overwinter_sun::balance::step::{Detail, Weather as Steps, run};
use overwinter_sun::balance::summary::{Summary, fan, rule_of_thumb, summarise};
use overwinter_sun::balance::{YearResult, for_each_year};
use overwinter_sun::cautions::{Caution, cautions};
use overwinter_sun::charger::{ChargerCaution, Coupling, Reach, Source};
use overwinter_sun::interval::{Share, share_with_interval};
use overwinter_sun::panel::{Thermal, cell_temperature_c};
use overwinter_sun::resource::on_plane::PanelWeather;
use overwinter_sun::synthetic::climate::Climate;
use overwinter_sun::synthetic::geometry::YearGeometry;

use super::draws::draw;
use super::known::{Assumptions, Basis};
use super::node::{Prepared, Refused, Shared, prepare};
use super::place::month_name;
use super::report::{
    ShareOfYears, SunBalanceMonth, SunBoard, SunContinued, SunContribution, SunDailyBank,
    SunFanDay, SunLedgerLine, SunOutcome, SunReport, SunRuleOfThumb, SunUncertain,
};
use super::request::{MOST_YEARS, SunRequest};
use super::setting::{Setting, Wanted, Weather};
use crate::ask::Waiting;
use crate::bench::Bench;
use crate::question::{CAUTIONS, question};
use crate::report::{NeedVerdict, SCHEMA_VERSION};
use crate::text::{current, percent, significant, voltage};

/// The fan keeps every fifth day: a line on a screen shows no more.
const FAN_EVERY_DAYS: u16 = 5;

/// A number of years that can be run.
pub(crate) fn years(wanted: usize) -> Result<usize, Vec<Diagnostic>> {
    if (1..=MOST_YEARS).contains(&wanted) {
        return Ok(wanted);
    }
    Err(vec![
        Diagnostic::error("years", format!("{wanted} years"))
            .help(format!("ask for 1 to {MOST_YEARS} years")),
    ])
}

/// Answers the question.
///
/// # Errors
/// Diagnostics of what is missing or cannot be. A board that cannot be run is in the report with its reason.
pub fn sun(bench: &Bench, request: &SunRequest) -> Result<SunReport, Vec<Diagnostic>> {
    sun_while(bench, request, &|| true).map(|report| report.expect("somebody waited all the time"))
}

/// The same as long as somebody waits for it, asked before every year; `None` once nobody does.
///
/// # Errors
/// As [`sun`].
pub fn sun_while(
    bench: &Bench,
    request: &SunRequest,
    waiting: Waiting<'_>,
) -> Result<Option<SunReport>, Vec<Diagnostic>> {
    let wanted_years = years(request.years)?;
    let wanted = Wanted {
        project: &request.project,
        site: request.site.as_deref(),
        panel: request.panel.as_deref(),
        hourly: request.hourly.as_deref(),
    };
    let setting = Setting::new(bench, &wanted)?;
    let cell = setting.cell(bench)?;
    let boards = setting.boards(bench, &request.boards)?;
    let shared = Shared {
        bench,
        project: &setting.project,
        cell,
        place: &setting.place,
        labelled: &setting.labelled,
    };
    let (mut ready, mut refused) = (Vec::new(), Vec::new());
    for board in boards {
        match prepare(&shared, board) {
            Ok(prepared) => ready.push(prepared),
            Err(no) => refused.push(*no),
        }
    }
    let target = setting.project.needs.outage.as_ref().map(|need| need.years_at_most.fraction());
    let asked = question(&setting.project, cell);
    let Some(runs) = run_years(&setting, &ready, wanted_years, request.seed, waiting) else {
        return Ok(None);
    };
    let ran = runs.first().map_or(0, |run| run.years.len());
    let mut boards: Vec<SunBoard> = ready
        .iter()
        .zip(&runs)
        .map(|(prepared, run)| board(&setting, prepared, run, target, request.seed))
        .collect();
    boards.sort_by(|a, b| {
        let key = |board: &SunBoard| {
            board.outcome.as_ref().map_or(f64::INFINITY, |o| match &o.continued {
                Some(many) => many.years_with_outage.share * 1e6 + many.outage_days_per_year,
                None => o.years_with_outage.share * 1e6 + o.outage_days_per_year,
            })
        };
        key(a).total_cmp(&key(b)).then_with(|| a.board.cmp(&b.board))
    });
    boards.extend(refused.into_iter().map(|no| refused_board(no, target.is_some())));
    let interval_of = match &setting.weather {
        Weather::Climate(_) => {
            "The intervals are exact 95 % bounds for the share of years, of the weather as it is modelled: days, months and years. They do not hold how well the twelve figures, the skyline and the dirt are known."
        }
        Weather::Measured(measured) if measured.continued.is_some() => {
            "The file's own years are few: their exact 95 % bounds are wide, and a rare outage cannot be told from them. The synthetic years go on with the file's figures; their bounds hold the weather as it is modelled, not how well so few years know the place."
        }
        Weather::Measured(_) => {
            "The intervals are exact 95 % bounds for the share of years of which the file holds so few; one year says little."
        }
    };
    let mut general: Vec<String> = [
        Caution::InputsLostLowerBound,
        Caution::Enclosure,
        Caution::HeightsAndWater,
        Caution::LocalRules,
    ]
    .iter()
    .map(ToString::to_string)
    .collect();
    general.extend(CAUTIONS.iter().map(|c| (*c).to_owned()));
    Ok(Some(SunReport {
        schema_version: SCHEMA_VERSION,
        project: setting.project.name.clone(),
        load: asked.load,
        cell: asked.cell,
        setting: setting.report(wanted_years, request.seed),
        years: ran as u32,
        seed: request.seed,
        target_share: target,
        boards,
        assumptions: setting.known.0.clone(),
        interval_of: interval_of.to_owned(),
        cautions: general,
    }))
}

/// One board's years.
struct Run {
    /// Inputs at their best values: synthetic years, or those of the file.
    years: Vec<YearResult>,
    /// State of charge at the end of every fifth day.
    states: Vec<Vec<f32>>,
    /// Outage days of each synthetic year, inputs at their best values and drawn anew.
    synthetic: Vec<(u32, u32)>,
    /// Of them, years dark if the charger held its input instead of starting and stopping.
    dark_if_held: usize,
    /// What was drawn.
    drawn_of: Vec<String>,
    /// What of it moves the outage days most.
    budget: Vec<SunContribution>,
}

fn run_years(
    setting: &Setting,
    ready: &[Prepared],
    years: usize,
    seed: u64,
    waiting: Waiting<'_>,
) -> Option<Vec<Run>> {
    let first_day = midsummer(setting.place.site.observer.latitude_deg);
    let drawn = draw(setting, ready, years, seed);
    let geometry = YearGeometry::new(&setting.place.site, &setting.place.plane);
    let heating = setting.labelled.heating_k_m2_per_w;
    let (of_file, climate, detail): (&[PanelWeather], _, _) = match &setting.weather {
        Weather::Climate(climate) => (&[], Some(&**climate), Detail::Full),
        Weather::Measured(measured) => {
            (&measured.years, measured.continued.as_ref(), Detail::Outages)
        }
    };
    let best = |prepared: &Prepared, steps: &Steps<'_>, detail: Detail| {
        let node = prepared.node(&prepared.tables, &prepared.source);
        let mut result = run(&node, steps, detail);
        let states = std::mem::take(&mut result.daily_state);
        (result, states.into_iter().step_by(usize::from(FAN_EVERY_DAYS)).collect::<Vec<f32>>())
    };
    let measured = for_each_year(of_file.len(), |year| {
        if !waiting() {
            return None;
        }
        let own = &of_file[year as usize];
        let thermal = thermal(&own.irradiance_w_m2, &own.air_c, heating);
        let steps = Steps { thermal: Some(&thermal), ..own.steps() };
        Some(ready.iter().map(|prepared| best(prepared, &steps, Detail::Full)).collect::<Vec<_>>())
    });
    let made = for_each_year(if climate.is_some() { years } else { 0 }, |year| {
        let climate = climate.filter(|_| waiting())?;
        let HourlyYear { irradiance_w_m2, air_c } =
            hourly_year(climate, &geometry, seed, year, first_day);
        let thermal = thermal(&irradiance_w_m2, &air_c, heating);
        let steps = Steps {
            step_s: 3600.0,
            first_day,
            irradiance_w_m2: &irradiance_w_m2,
            air_c: &air_c,
            thermal: Some(&thermal),
        };
        let ran = ready
            .iter()
            .zip(&drawn)
            .map(|(prepared, drawn)| {
                let k = year as usize;
                let (tables, source) =
                    (drawn.tables(&prepared.tables, k), drawn.source(&prepared.source, k));
                let mut node = prepared.node(&tables, &source);
                node.cell_above_air_k += drawn.warmer_k[k];
                let other = run(&node, &steps, Detail::Outages);
                let (best, states) = best(prepared, &steps, detail);
                // A year without chatter is the same with an input that is held.
                let dark_if_held = if best.chatter_events > 0.0 {
                    let held = holding(&prepared.source);
                    let node = prepared.node(&prepared.tables, &held);
                    run(&node, &steps, Detail::FirstOutage).outage_days > 0
                } else {
                    best.outage_days > 0
                };
                ((best, states), other.outage_days, dark_if_held)
            })
            .collect::<Vec<_>>();
        Some(ran)
    });
    let mut runs: Vec<Run> = drawn
        .iter()
        .map(|_| Run {
            years: Vec::new(),
            states: Vec::new(),
            synthetic: Vec::new(),
            dark_if_held: 0,
            drawn_of: Vec::new(),
            budget: Vec::new(),
        })
        .collect();
    for year in measured {
        for (run, (year, states)) in runs.iter_mut().zip(year?) {
            run.years.push(year);
            run.states.push(states);
        }
    }
    for year in made {
        for (run, ((best, states), drawn, dark_if_held)) in runs.iter_mut().zip(year?) {
            run.synthetic.push((best.outage_days, drawn));
            run.dark_if_held += usize::from(dark_if_held);
            if detail == Detail::Full {
                run.years.push(best);
                run.states.push(states);
            }
        }
    }
    for (run, drawn) in runs.iter_mut().zip(drawn) {
        let days: Vec<f64> = run
            .synthetic
            .iter()
            .map(|(best, other)| f64::from(*other) - f64::from(*best))
            .collect();
        run.budget = drawn.budget(&days);
        run.drawn_of = drawn.columns.into_iter().map(|(name, _)| name).collect();
    }
    Some(runs)
}

/// The source with a charger that holds its input just above the voltage at which it would switch off.
fn holding(source: &Source) -> Source {
    let mut held = source.clone();
    held.charger.input_regulation_v = Some(source.charger.input_fall_v + 0.05);
    held
}

/// Chatter in one plain line: why, how often, what it costs, what mends it.
fn chatter_line(prepared: &Prepared, run: &Run, summary: &Summary) -> Option<String> {
    // Two a day would be dusk and one cloud.
    if summary.chatter_events_per_year <= 730.0 {
        return None;
    }
    let charger = &prepared.source.charger;
    let kind = if prepared.between.pace_known { "" } else { ", from memory" };
    let mends = if run.synthetic.is_empty() {
        String::new()
    } else {
        format!(
            " With a charger that holds its input, or a converter, it is dark in {} of {} years.",
            run.dark_if_held,
            run.synthetic.len()
        )
    };
    Some(format!(
        "Its charger starts and stops: it wants {}, in full sun the panel gives {} and in weaker light less, so its input sags to the cell's voltage; below {} it switches off, and tries again after {} s{kind}. {} of what the panel offers is lost so.{mends} A lower charge current helps in bright light only.",
        current(charger.set_current_a),
        current((prepared.source.panel.light_current_a * 1e3).round() / 1e3),
        voltage(charger.input_fall_v),
        significant(charger.retry_s, 2),
        percent(summary.ledger.refused_chatter_c / summary.ledger.offered_c.max(1e-12)),
    ))
}

/// The panel is the same for every board: its temperature terms are worked out once.
fn thermal(irradiance_w_m2: &[f32], air_c: &[f32], heating: f64) -> Vec<Thermal> {
    let hours = irradiance_w_m2.iter().zip(air_c);
    hours
        .map(|(&g, &t)| Thermal::at(cell_temperature_c(f64::from(t), f64::from(g), heating)))
        .collect()
}

fn share_of(share: Share) -> ShareOfYears {
    ShareOfYears { share: share.share, low: share.low, high: share.high, years: share.trials }
}

pub(crate) fn share(events: usize, years: usize) -> ShareOfYears {
    share_with_interval(events as u32, years as u32)
        .map_or(ShareOfYears { share: 0.0, low: 0.0, high: 1.0, years: 0 }, share_of)
}

fn board(
    setting: &Setting,
    prepared: &Prepared,
    run: &Run,
    target: Option<f64>,
    seed: u64,
) -> SunBoard {
    let node = prepared.node(&prepared.tables, &prepared.source);
    let first_day = midsummer(setting.place.site.observer.latitude_deg);
    let flags = prepared.flags.clone();
    let Some(summary) = summarise(&node, first_day, &run.years) else {
        return refused_board(
            Refused {
                board: prepared.board.clone(),
                specimen: prepared.case.specimen.clone(),
                why: "no year was run".into(),
                help: "ask for one year or more".into(),
                charge: prepared.charge.clone(),
                is_no: false,
                assumptions: prepared.assumptions.clone(),
            },
            target.is_some(),
        );
    };
    let mean_load_a = prepared.tables.load_a(10.0);
    let told = cautions(&prepared.source, mean_load_a, &summary);
    let never = told.iter().any(|c| matches!(c, Caution::Reach(Reach::Never { .. })));
    let mut cautions: Vec<String> = told
        .iter()
        .filter(|c| {
            !matches!(
                c,
                Caution::Estimate
                    | Caution::Charger(ChargerCaution::Chatters)
                    | Caution::InputsLostLowerBound
                    | Caution::Enclosure
                    | Caution::HeightsAndWater
                    | Caution::LocalRules
            )
        })
        .map(ToString::to_string)
        .collect();
    if let Some(line) = chatter_line(prepared, run, &summary) {
        cautions.insert(0, line);
    }
    let mut assumptions = Assumptions(prepared.assumptions.clone());
    if summary.chatter_events_per_year > 0.0 && !prepared.between.pace_known {
        // It decides how much a panel weaker than the charger brings: nearly nothing with a long wait, nearly all with none.
        assumptions.take(
            "how fast the charger starts again after its input sagged",
            "0.1 s with 10 µF at its input; what is lost in chatter hangs on it",
            Basis::FromMemory,
            "a scope at its input at dawn; enter `retry` and `input_capacitance`, or `input_held` for a charger that holds its input",
        );
    }
    let outcome = outcome(setting, prepared, run, &summary, seed);
    let continued = outcome.continued.as_ref().map(|c| &c.years_with_outage);
    let (need, mut verdict) = judge_both(&outcome.years_with_outage, continued, target);
    if never {
        verdict = format!("the panel never reaches the charger's minimum; {verdict}");
    }
    SunBoard {
        board: prepared.board.clone(),
        specimen: prepared.case.specimen.clone(),
        need,
        verdict,
        charge: prepared.charge.clone(),
        outcome: Some(outcome),
        refused: None,
        help: None,
        assumptions: assumptions.0,
        flags,
        cautions,
    }
}

fn refused_board(no: Refused, has_target: bool) -> SunBoard {
    let need = if no.is_no { NeedVerdict::DoesNot } else { NeedVerdict::Undecided };
    SunBoard {
        board: no.board,
        specimen: no.specimen,
        need: has_target.then_some(need),
        verdict: no.why.clone(),
        charge: no.charge,
        outcome: None,
        refused: Some(no.why),
        help: Some(no.help),
        assumptions: no.assumptions,
        flags: Vec::new(),
        cautions: Vec::new(),
    }
}

/// The verdict on a need, by the interval: met if its upper end is, not met if its lower end is above.
pub(crate) fn judge(seen: &ShareOfYears, target: Option<f64>) -> (Option<NeedVerdict>, String) {
    let events = (seen.share * f64::from(seen.years)).round();
    let counted = format!(
        "dark in {events:.0} of {} years (95 %: {} to {})",
        seen.years,
        percent(seen.low),
        percent(seen.high)
    );
    let Some(target) = target else { return (None, counted) };
    let wanted = percent(target);
    if seen.high <= target {
        (Some(NeedVerdict::Fits), format!("{counted}: meets at most {wanted}"))
    } else if seen.low > target {
        (Some(NeedVerdict::DoesNot), format!("{counted}: more than {wanted}"))
    } else {
        (
            Some(NeedVerdict::Undecided),
            format!("{counted}: {wanted} is not decided, run more years"),
        )
    }
}

/// The verdict where a file's own years stand beside synthetic ones that go on with its figures: the many decide; the file's own overrule them
/// only where they contradict a yes, which then is undecided.
pub(crate) fn judge_both(
    own: &ShareOfYears,
    continued: Option<&ShareOfYears>,
    target: Option<f64>,
) -> (Option<NeedVerdict>, String) {
    let Some(continued) = continued else { return judge(own, target) };
    let (need, text) = judge(continued, target);
    let (of_file, _) = judge(own, target);
    let years = if own.years == 1 { "year" } else { "years" };
    let dark = (own.share * f64::from(own.years)).round();
    let text = format!(
        "{text}, synthetic with the file's figures; its own {} {years}: dark in {dark:.0}",
        own.years
    );
    match (need, of_file) {
        (Some(NeedVerdict::Fits), Some(NeedVerdict::DoesNot)) => (
            Some(NeedVerdict::Undecided),
            format!("{text}: more than the synthetic years allow for"),
        ),
        _ => (need, text),
    }
}

fn outcome(
    setting: &Setting,
    prepared: &Prepared,
    run: &Run,
    summary: &Summary,
    seed: u64,
) -> SunOutcome {
    let years = f64::from(summary.years);
    let months = summary
        .months
        .iter()
        .enumerate()
        .map(|(m, flow)| {
            let days = f64::from(flow.days).max(1.0);
            SunBalanceMonth {
                month: m as u8 + 1,
                could_c: (flow.charged_c + flow.refused_full_c) / days,
                taken_c: flow.charged_c / days,
                load_c: flow.asked_c / days,
                outage_days: summary.outage_days_by_month[m],
            }
        })
        .collect();
    let states: Vec<&[f32]> = run.states.iter().map(Vec::as_slice).collect();
    let first_day = match &setting.weather {
        Weather::Measured(measured) => measured.years.first().map_or(1, |y| y.first_day),
        Weather::Climate(_) => midsummer(setting.place.site.observer.latitude_deg),
    };
    let fan = fan(first_day, FAN_EVERY_DAYS, &states)
        .iter()
        .map(|day| SunFanDay {
            day_of_year: day.day_of_year,
            lowest: f64::from(day.lowest),
            p10: f64::from(day.p10),
            p50: f64::from(day.p50),
            p90: f64::from(day.p90),
        })
        .collect();
    let l = &summary.ledger;
    let line = |name: &str, charge_c: f64| SunLedgerLine {
        name: name.to_owned(),
        charge_c: charge_c / years,
    };
    let ledger = vec![
        line("from the panel", l.charged_c),
        line("out of the cell's store, start to end of the year", l.start_c - l.end_c),
        line("the board while it runs", -l.load_c),
        line("drains while it is dark", -l.dark_drain_c),
        line("self-discharge", -l.self_discharge_c),
        line("back through the charger at night", -l.night_leak_c),
        line("the converter itself", -l.converter_c),
    ];
    let offered = vec![
        line("offered by the lit panel", l.offered_c),
        line("taken", -l.charged_c),
        line("cell full", -l.refused_full_c),
        line("charge current set, or folded back", -l.refused_limit_c),
        line("outside the charger's temperature window", -l.refused_temperature_c),
        line("safety timer", -l.refused_timer_c),
        line("lost in chatter at dawn and dusk", -l.refused_chatter_c),
    ];
    let drawn = || run.synthetic.iter().map(|(_, drawn)| *drawn);
    let synthetic = run.synthetic.len();
    let uncertain = (!run.drawn_of.is_empty() && synthetic > 0).then(|| SunUncertain {
        years_with_outage: share(drawn().filter(|days| *days > 0).count(), synthetic),
        outage_days_per_year: drawn().map(f64::from).sum::<f64>() / synthetic as f64,
        drawn: run.drawn_of.clone(),
        budget: run.budget.clone(),
    });
    let measured = matches!(setting.weather, Weather::Measured(_));
    let continued = (measured && synthetic > 0).then(|| SunContinued {
        years_with_outage: share(
            run.synthetic.iter().filter(|(best, _)| *best > 0).count(),
            synthetic,
        ),
        outage_days_per_year: run.synthetic.iter().map(|(best, _)| f64::from(*best)).sum::<f64>()
            / synthetic as f64,
    });
    let (rule, daily) = match &setting.weather {
        Weather::Climate(climate) => {
            (rule(setting, prepared), daily(setting, prepared, climate, run.years.len(), seed))
        }
        Weather::Measured(_) => (None, None),
    };
    SunOutcome {
        mean_load_a: prepared.tables.load_a(10.0),
        years_with_outage: share_of(summary.years_with_outage),
        continued,
        uncertain,
        outage_days_per_year: summary.outage_days_per_year,
        outage_days_standard_error: summary.outage_days_standard_error,
        longest_dark_s: summary.longest_dark_h * 3600.0,
        worst_month: summary.worst_month,
        lowest_state: summary.lowest_state,
        autonomy_days: summary.autonomy_days_at_0_c,
        share_full: summary.share_full,
        full_hours_per_year: summary.full_hours_per_year,
        hot_full_hours_per_year: summary.hot_full_hours_per_year,
        frost_charge_hours_per_year: summary.frost_charge_hours_per_year,
        source_lost_per_year: summary.inputs_lost_per_year,
        chatter_per_year: summary.chatter_events_per_year,
        resets_per_year_least: summary.resets_per_year_least,
        resets_per_year_most: summary.resets_per_year_most,
        months,
        fan,
        ledger,
        offered,
        rule_of_thumb: rule,
        daily_bank: daily,
    }
}

/// Current in full sun as the rule of thumb counts it: the label's, at most the charger's.
fn panel_current_a(setting: &Setting, prepared: &Prepared) -> f64 {
    match prepared.source.coupling {
        Coupling::MaximumPower { efficiency, .. } => {
            (setting.labelled.rated_w * efficiency / 3.8).min(prepared.source.charger.set_current_a)
        }
        _ => setting.labelled.maximum_power_a.min(prepared.source.charger.set_current_a),
    }
}

fn rule(setting: &Setting, prepared: &Prepared) -> Option<SunRuleOfThumb> {
    let months = setting.place.irradiation?;
    let on_panel = setting.place.months(&months.map(Some), &setting.place.season_c());
    let light: [f64; 12] = core::array::from_fn(|m| on_panel[m].on_panel_kwh_m2.unwrap_or(0.0));
    let site = &setting.place.site;
    let hard = !site.skyline.is_open() || site.observer.latitude_deg.abs() > 55.0;
    let rule = rule_of_thumb(
        panel_current_a(setting, prepared),
        &light,
        prepared.tables.load_a(10.0),
        prepared.tables.autonomy_days(0.0),
        hard,
    );
    Some(SunRuleOfThumb {
        worst_month_ratio: rule.worst_month_ratio,
        worst_month: rule.worst_month,
        ratio_wanted: 1.5,
        autonomy_days: rule.autonomy_days,
        autonomy_wanted: if hard { 15.0 } else { 7.0 },
        met: rule.ratio_ok && rule.autonomy_ok,
    })
}

/// The classical daily bank. It knows planes towards the equator only.
fn daily(
    setting: &Setting,
    prepared: &Prepared,
    climate: &Climate,
    years: usize,
    seed: u64,
) -> Option<SunDailyBank> {
    let place = &setting.place;
    let equator = if place.site.observer.latitude_deg >= 0.0 { 180.0 } else { 0.0 };
    if (place.plane.azimuth_deg % 360.0 - equator).abs() > 1.0 {
        return None;
    }
    let geometry = DailyGeometry::new(&place.site, place.plane.tilt_deg);
    let bank = |least_charge_c| DailyBank {
        panel_current_a: panel_current_a(setting, prepared),
        usable_c: prepared.tables.usable_c(20.0),
        load_c_per_day: prepared.tables.load_a(10.0) * 86400.0,
        self_discharge_per_day: prepared
            .case
            .scenario
            .cell
            .self_discharge
            .map_or(0.0, |law| law.rate_per_s(20.0) * 86400.0),
        least_charge_c,
        cell_above_air_k: place.cell_above_air_k,
    };
    let first_day = midsummer(place.site.observer.latitude_deg);
    let runs = |bank: DailyBank| {
        let results = for_each_year(years, |year| {
            daily_year(&bank, &geometry, climate, seed, year, first_day).outage_days
        });
        let with_outage = results.iter().filter(|days| **days > 0).count();
        let days: u32 = results.iter().sum();
        (share(with_outage, years), f64::from(days) / (365.0 * years as f64))
    };
    let (frost_kept_out, days_frost_kept_out) = runs(bank(Some(prepared.window_c.0)));
    let (frost_charged, _) = runs(bank(None));
    Some(SunDailyBank { frost_kept_out, days_frost_kept_out, frost_charged })
}

/// A year in a line: for tables and for `choose`.
pub fn headline(board: &SunBoard) -> String {
    match &board.outcome {
        None => board.verdict.clone(),
        Some(o) => {
            let worst =
                o.worst_month.map_or_else(String::new, |m| format!(", most in {}", month_name(m)));
            format!(
                "{}; {} days a year{worst}",
                board.verdict,
                significant(o.outage_days_per_year, 2)
            )
        }
    }
}
