//! The forecast of one board as text.

use overwinter_workbench::report::{ForecastReport, LifeAnswer};
use overwinter_workbench::text::{Kind, life, percent, significant};

use super::columns::Columns;
use super::{DIM, HEADING, list, styled, width, wrap};
use crate::chart::{bar, line};

/// The forecast.
pub(crate) fn forecast(report: &ForecastReport) -> String {
    let limit = if report.life_is_limit { "more than " } else { "" };
    let place = report.ending_activity.as_ref().map_or(String::new(), |a| format!(" in “{a}”"));
    let specimen = report.specimen.as_ref().map_or(String::new(), |s| format!(" ({s})"));
    let headline = format!(
        "{}{specimen} on {}: {limit}{}, ended by {}{place}",
        report.board,
        report.cell,
        life(report.life_s),
        report.ending
    );
    let mut text = format!("{}\n\n", styled(HEADING, &wrap(&headline, 0)));
    text.push_str(&lives(report));
    text.push_str(&curve(report));
    text.push_str(&ledger(report));
    text.push_str(&sensitivities(report));
    text.push_str(&allowances(report));
    text.push_str(&reworks(report));
    text.push_str(&list("What has to be said beside it", &report.flags));
    text.push_str(&list("Cautions", &report.cautions));
    text.push_str(&styled(DIM, &format!("{} draws, seed {}\n", report.draws, report.seed)));
    text
}

fn lives(report: &ForecastReport) -> String {
    let mut table = Columns::new(&[
        "",
        "10 %",
        "50 %",
        "90 %",
        if report.target_s.is_some() { "chance of target" } else { "" },
        "ends by",
    ]);
    for (name, answer) in
        [("this specimen", &report.this_specimen), ("one you might buy", &report.one_you_might_buy)]
    {
        let s = &answer.summary;
        table.row(vec![
            name.to_owned(),
            life(s.p10_s),
            life(s.p50_s),
            life(s.p90_s),
            s.chance_of_target.map_or(String::new(), percent),
            endings(answer),
        ]);
    }
    let mut text = table.text(width());
    if let Some(target) = report.target_s {
        text.push_str(&format!("target {}; ", life(target)));
    }
    text.push_str(&format!("spread between specimens: {}\n", wrap(&report.spread_statement, 0)));
    if !report.margins.is_empty() {
        let margins: Vec<String> =
            report.margins.iter().map(|m| format!("{} {}", m.limit, m.margin)).collect();
        text.push_str(&format!(
            "margins of the other limits then: {}\n",
            wrap(&margins.join("; "), 2)
        ));
    }
    text
}

fn endings(answer: &LifeAnswer) -> String {
    let parts: Vec<String> = answer
        .endings
        .iter()
        .take(3)
        .map(|e| format!("{} {}", e.ending, percent(e.share)))
        .collect();
    parts.join("; ")
}

fn curve(report: &ForecastReport) -> String {
    let points: Vec<(f64, f64)> =
        report.moments.iter().map(|m| (m.time_s, m.state_of_charge[1])).collect();
    let Some(last) = report.moments.last() else { return String::new() };
    let width = (super::width() - 12).min(84);
    let rows = line(&points, (0.0, 1.0), width, 7, |y| format!("{:.0} %", y * 100.0));
    let mut text = format!("\n{}\n", styled(HEADING, "State of charge, median"));
    for row in rows {
        text.push_str(&format!("  {row}\n"));
    }
    let end = life(last.time_s);
    text.push_str(&format!(
        "        {}{end}\n",
        " ".repeat(width.saturating_sub(end.chars().count()))
    ));
    let rail: Vec<f64> = report.moments.iter().filter_map(|m| m.lowest_rail_v).collect();
    if let (Some(first), Some(last)) = (rail.first(), rail.last()) {
        text.push_str(&format!(
            "  lowest rail at the peak: {} V at the start, {} V at the end\n",
            significant(*first, 3),
            significant(*last, 3)
        ));
    }
    text
}

fn ledger(report: &ForecastReport) -> String {
    let mut text = format!("\n{}\n", styled(HEADING, "Where the charge goes"));
    let mut table = Columns::new(&[]).right(&[1, 2]);
    for entry in &report.ledger {
        table.row(vec![
            format!("  {}", entry.name),
            Kind::CellCharge.text(entry.charge_c, None),
            format!("{:.1} %", entry.share * 100.0),
            bar(entry.share, 30),
        ]);
    }
    let total: f64 = report.ledger.iter().map(|l| l.charge_c).sum();
    table.row(vec!["  all".to_owned(), Kind::CellCharge.text(total, None), "100.0 %".to_owned()]);
    text.push_str(&table.text(width()));
    text
}

fn sensitivities(report: &ForecastReport) -> String {
    let mut table =
        Columns::new(&["input", "value", "days gained", "days its uncertainty is worth"]);
    for s in &report.sensitivities {
        if s.days_per_unit == 0.0 && s.days_per_standard_uncertainty == 0.0 {
            continue;
        }
        table.row(vec![
            s.input.clone(),
            s.value.clone(),
            format!("{} {}", significant(s.days_per_unit, 3), s.unit),
            significant(s.days_per_standard_uncertainty, 2),
        ]);
    }
    format!("\n{}\n{}", styled(HEADING, "What each input is worth"), table.text(width()))
}

fn allowances(report: &ForecastReport) -> String {
    let Some(target) = report.target_s.filter(|_| !report.allowances.is_empty()) else {
        return String::new();
    };
    let mut table = Columns::new(&["", "now", "allowed", ""]);
    for a in &report.allowances {
        table.row(vec![
            a.quantity.clone(),
            a.now.clone(),
            a.allowed.clone().unwrap_or_else(|| "–".into()),
            a.remark.clone(),
        ]);
    }
    format!(
        "\n{}\n{}",
        styled(HEADING, &format!("What a life of {} allows, one at a time", life(target))),
        table.text(width())
    )
}

fn reworks(report: &ForecastReport) -> String {
    if report.reworks.is_empty() {
        return String::new();
    }
    let mut table = Columns::new(&["rework", "work", "gain", "per minute", "chance", "risk"]);
    for r in &report.reworks {
        table.row(vec![
            r.rework.clone(),
            format!("{:.0} min", r.minutes),
            format!("{:+.0} d", r.days_gained),
            format!("{:.1} d", r.days_per_minute),
            r.chance_of_target.map_or(String::new(), percent),
            r.risk.clone().unwrap_or_default(),
        ]);
    }
    format!("\n{}\n{}", styled(HEADING, "Reworks"), table.text(width()))
}
