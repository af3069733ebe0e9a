//! The reports of sun and charging as text.

use overwinter_workbench::report::NeedVerdict;
use overwinter_workbench::sun::place::{MONTHS, month_name};
use overwinter_workbench::sun::report::{
    ChargeReport, ShareOfYears, SunAssumption, SunBoard, SunMapReport, SunOutcome, SunReport,
    SunSetting, TiltLine, TiltReport,
};
use overwinter_workbench::text::{Kind, current, life, percent, significant};

use super::columns::Columns;
use super::{DIM, HEADING, list, styled, width, wrap};
use crate::chart::{bar, fan, harvest};

fn verdict_word(verdict: Option<NeedVerdict>) -> &'static str {
    match verdict {
        None => "",
        Some(NeedVerdict::Fits) => "meets the need",
        Some(NeedVerdict::Undecided) => "undecided",
        Some(NeedVerdict::DoesNot) => "does not meet it",
    }
}

fn heading(text: &str) -> String {
    format!("\n{}\n", styled(HEADING, text))
}

fn milliampere_hours(coulombs: f64) -> String {
    significant(coulombs / 3.6, 3)
}

/// The boards of a project under the sun: a table, or every board in full.
pub(crate) fn sun(report: &SunReport, in_full: bool) -> String {
    let mut text = String::new();
    let target = report
        .target_share
        .map_or_else(String::new, |t| format!("; wanted: dark in at most {} of years", percent(t)));
    let head = format!("{} on {}: {}{target}", report.project, report.cell, report.load);
    text.push_str(&format!("{}\n", styled(HEADING, &wrap(&head, 0))));
    text.push_str(&place(&report.setting));
    if in_full {
        for board in &report.boards {
            text.push_str(&one(board));
        }
    } else {
        text.push_str(&table(report));
    }
    text.push_str(&assumptions("Not known of place, weather and panel", &report.assumptions));
    if !in_full {
        text.push_str(&format!(
            "\nA board in full, with months, fan and ledger:  overwinter sun \"{}\" --board {}\n",
            report.project,
            report.boards.first().map_or("BOARD", |b| b.board.as_str())
        ));
    }
    text.push_str(&format!("\n{}\n", wrap(&report.interval_of, 0)));
    text.push_str(&list("Cautions", &report.cautions));
    text.push_str(&styled(DIM, &format!("{} years, seed {}\n", report.years, report.seed)));
    text
}

fn place(setting: &SunSetting) -> String {
    let side = if setting.latitude_deg < 0.0 { "S" } else { "N" };
    let line = format!(
        "{} at {}° {side}; {}, {} W, tilted {}°, facing {}°, sees {} of its sky; {}",
        setting.site,
        significant(setting.latitude_deg.abs(), 4),
        setting.panel,
        significant(setting.panel_w, 2),
        significant(setting.tilt_deg, 3),
        significant(setting.azimuth_deg, 3),
        percent(setting.sky_view),
        setting.weather
    );
    let mut text = format!("{}\n", wrap(&line, 0));
    for note in &setting.notes {
        text.push_str(&format!("  ! {}\n", wrap(note, 4)));
    }
    text
}

fn share(s: &ShareOfYears) -> String {
    format!("{} ({} to {})", percent(s.share), percent(s.low), percent(s.high))
}

/// Days from full to dark; a board that cannot start at all has none.
fn days(days: f64) -> String {
    if days < 0.1 { "< 0.1".to_owned() } else { significant(days, 2) }
}

/// A count of events for reading: `1340`, `74 million`.
fn count(events: f64) -> String {
    if events >= 1e6 {
        format!("{} million", significant(events / 1e6, 2))
    } else {
        significant(events.round(), 3)
    }
}

fn resets(o: &SunOutcome) -> String {
    let (least, most) = (o.resets_per_year_least, o.resets_per_year_most);
    if most - least < 0.5 { count(most) } else { format!("{} to {}", count(least), count(most)) }
}

fn table(report: &SunReport) -> String {
    let mut headings = vec![
        "board",
        "years dark (95 %)",
        "dark days a year",
        "worst month",
        "days without sun",
        "resets a year",
        "charges the cell?",
    ];
    if report.target_share.is_some() {
        headings.push("need");
    }
    let mut columns = Columns::new(&headings).right(&[2, 4]);
    for board in &report.boards {
        let Some(o) = &board.outcome else { continue };
        let mut row = vec![
            board.board.clone(),
            share(o.continued.as_ref().map_or(&o.years_with_outage, |c| &c.years_with_outage)),
            significant(o.continued.map_or(o.outage_days_per_year, |c| c.outage_days_per_year), 2),
            o.worst_month.map_or_else(|| "–".to_owned(), |m| month_name(m).to_owned()),
            days(o.autonomy_days),
            resets(o),
            board.charge.as_ref().map_or_else(String::new, |c| charge_word(c.allowed).to_owned()),
        ];
        if report.target_share.is_some() {
            row.push(verdict_word(board.need).to_owned());
        }
        columns.row(row);
    }
    let mut text = format!("\n{}", columns.text(width()));
    let starting: Vec<String> = report
        .boards
        .iter()
        .filter(|b| b.outcome.as_ref().is_some_and(|o| o.chatter_per_year > 730.0))
        .filter_map(|b| Some(format!("{}: {}", b.board, b.cautions.first()?)))
        .collect();
    text.push_str(&list("What keeps the panel from charging", &starting));
    let refused: Vec<String> = report
        .boards
        .iter()
        .filter_map(|b| {
            let why = b.refused.as_ref()?;
            Some(format!("{}: {why}; {}", b.board, b.help.as_deref().unwrap_or_default()))
        })
        .collect();
    text.push_str(&list("Could not be run", &refused));
    text
}

fn charge_word(allowed: NeedVerdict) -> &'static str {
    match allowed {
        NeedVerdict::Fits => "yes",
        NeedVerdict::Undecided => "not known",
        NeedVerdict::DoesNot => "NO",
    }
}

fn one(board: &SunBoard) -> String {
    let specimen = board.specimen.as_ref().map_or_else(String::new, |s| format!(" ({s})"));
    let mut text = heading(&wrap(&format!("{}{specimen}: {}", board.board, board.verdict), 0));
    if let Some(need) = board.need {
        text.push_str(&format!("  {}\n", verdict_word(Some(need))));
    }
    if let Some(charge) = &board.charge {
        let line = format!(
            "charges the cell? {}: {}",
            charge_word(charge.allowed),
            charge.reasons.join("; ")
        );
        text.push_str(&format!("  {}\n", wrap(&line, 2)));
    }
    if let Some(help) = &board.help {
        text.push_str(&format!("  {}\n", wrap(help, 2)));
    }
    if let Some(o) = &board.outcome {
        text.push_str(&figures(o));
        text.push_str(&months(o));
        text.push_str(&states(o));
        text.push_str(&budget(o));
        text.push_str(&ledgers(o));
        text.push_str(&beside(o));
    }
    text.push_str(&list("What to mind with this board", &board.cautions));
    text.push_str(&list("What has to be said beside it", &board.flags));
    text.push_str(&assumptions("Not known of this board", &board.assumptions));
    text
}

fn figures(o: &SunOutcome) -> String {
    let mut columns = Columns::new(&[]);
    let mut row = |name: &str, value: String| columns.row(vec![format!("  {name}"), value]);
    match &o.continued {
        None => row("years with an outage", share(&o.years_with_outage)),
        Some(many) => {
            let (own, years) = (&o.years_with_outage, &many.years_with_outage);
            row(
                "the file's own years",
                format!(
                    "{} of {} with an outage: {}",
                    (own.share * f64::from(own.years)).round(),
                    own.years,
                    share(own)
                ),
            );
            row(
                "years that go on from it",
                format!(
                    "{} synthetic ones with its figures: {} with an outage, {} days a year",
                    years.years,
                    share(years),
                    significant(many.outage_days_per_year, 2)
                ),
            );
        }
    }
    if let Some(uncertain) = &o.uncertain {
        row(
            "the same with inputs uncertain",
            format!(
                "{}, one you might buy: {} inputs drawn anew each year",
                share(&uncertain.years_with_outage),
                uncertain.drawn.len()
            ),
        );
    }
    let error = o
        .outage_days_standard_error
        .filter(|e| *e > 0.0)
        .map_or_else(String::new, |e| format!(" ± {}", significant(2.0 * e, 2)));
    row("outage days a year", format!("{}{error}", significant(o.outage_days_per_year, 3)));
    row("longest dark", if o.longest_dark_s > 0.0 { life(o.longest_dark_s) } else { "–".into() });
    row("worst month", o.worst_month.map_or_else(|| "–".into(), |m| month_name(m).to_owned()));
    row("lowest state of charge", percent(o.lowest_state));
    row("days without sun, at 0 °C", days(o.autonomy_days));
    row(
        "cell full",
        format!(
            "{} of the time, {} h a year, {} h of them above 30 °C",
            percent(o.share_full),
            significant(o.full_hours_per_year.round(), 4),
            significant(o.hot_full_hours_per_year.round(), 3)
        ),
    );
    row(
        "charged outside its window",
        format!("{} h a year", significant(o.frost_charge_hours_per_year.round(), 3)),
    );
    row(
        "source lost",
        format!(
            "{} times a year at least, {} of them in chatter",
            count(o.source_lost_per_year),
            count(o.chatter_per_year)
        ),
    );
    row("resets a year", resets(o));
    row(
        "load",
        format!(
            "{}, {} mAh a day",
            current(o.mean_load_a),
            milliampere_hours(o.mean_load_a * 86400.0)
        ),
    );
    columns.text(width())
}

fn months(o: &SunOutcome) -> String {
    let room = width().saturating_sub(46).clamp(16, 60);
    // A summer of plenty must not press the winter flat: the bars end at four times the largest load.
    let largest = o.months.iter().map(|m| m.load_c).fold(0.0, f64::max);
    let most = o.months.iter().map(|m| m.could_c.max(m.load_c)).fold(0.0, f64::max);
    let most = if largest > 0.0 { most.min(4.0 * largest) } else { most };
    let mut columns =
        Columns::new(&["", "load", "could", "dark days", "█ taken  ░ cell full  │ load"])
            .right(&[1, 2, 3])
            .fixed_below_heading(&[4]);
    for m in &o.months {
        columns.row(vec![
            format!("  {}", month_name(m.month)),
            milliampere_hours(m.load_c),
            milliampere_hours(m.could_c),
            if m.outage_days > 0.0 { significant(m.outage_days, 2) } else { "–".to_owned() },
            harvest(m.taken_c, m.could_c, m.load_c, most, room),
        ]);
    }
    format!("{}{}", heading("Harvest against load, mAh a day"), columns.text(width()))
}

fn states(o: &SunOutcome) -> String {
    if o.fan.is_empty() {
        return String::new();
    }
    let columns: Vec<[f64; 4]> = o.fan.iter().map(|d| [d.lowest, d.p10, d.p50, d.p90]).collect();
    let mut text =
        heading("State of charge over the year: ━ median, ░ 10 to 90 % of years, · lowest");
    for row in fan(&columns, 11) {
        text.push_str(&format!("  {row}\n"));
    }
    // The first letters of the months under their first days.
    let mut letters = vec![' '; o.fan.len() + 3];
    let mut before = 0;
    for (at, day) in o.fan.iter().enumerate() {
        let month = month_of(day.day_of_year);
        if month != before {
            before = month;
            for (k, c) in month_name(month).chars().take(3).enumerate() {
                if at + k < letters.len() {
                    letters[at + k] = c;
                }
            }
        }
    }
    text.push_str(&format!("         {}\n", letters.into_iter().collect::<String>().trim_end()));
    text
}

fn month_of(day_of_year: u16) -> u8 {
    const LAST: [u16; 12] = [31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 366];
    LAST.iter().position(|last| day_of_year <= *last).map_or(12, |m| m as u8 + 1)
}

/// What of the uncertain moves the outage days, and the names of all that was drawn.
fn budget(o: &SunOutcome) -> String {
    let Some(uncertain) = &o.uncertain else { return String::new() };
    let mut text = heading("What uncertain inputs do to the outage days");
    let mut columns = Columns::new(&[
        "  one standard uncertainty more of",
        "days a year",
        "share of scatter",
        "",
    ])
    .right(&[1, 2]);
    for part in &uncertain.budget {
        columns.row(vec![
            format!("  {}", part.name),
            format!(
                "{}{}",
                if part.days > 0.0 { "+" } else { "−" },
                significant(part.days.abs(), 2)
            ),
            percent(part.share),
            bar(part.share, 24),
        ]);
    }
    let drawn = format!("drawn: {}", uncertain.drawn.join(", "));
    if uncertain.budget.is_empty() {
        let none = "  none of them can be told from nothing in so few years, or it is never dark\n";
        text.push_str(none);
    } else {
        text.push_str(&columns.text(width()));
    }
    text.push_str(&format!("  {}\n", wrap(&drawn, 2)));
    text
}

fn ledgers(o: &SunOutcome) -> String {
    let mut text = String::new();
    for (title, lines) in [
        ("Charge in and out of the cell, mean year", &o.ledger),
        ("What the lit panel offered, and what became of it", &o.offered),
    ] {
        let all: f64 = lines.iter().map(|l| l.charge_c.max(0.0)).sum();
        let mut columns = Columns::new(&[]).right(&[1, 2]);
        for line in lines.iter().filter(|l| l.charge_c.abs() > 1e-9 * all.max(1e-9)) {
            let share = line.charge_c.abs() / all.max(1e-300);
            columns.row(vec![
                format!("  {}", line.name),
                format!("{:+.1} Ah", line.charge_c / 3600.0),
                percent(share),
                bar(share, 24),
            ]);
        }
        text.push_str(&heading(title));
        text.push_str(&columns.text(width()));
    }
    text
}

fn beside(o: &SunOutcome) -> String {
    let mut items = Vec::new();
    if let Some(rule) = &o.rule_of_thumb {
        items.push(format!(
            "rule of thumb: {} brings {} times the load (wanted {}), and {} days last without sun (wanted {}): {}",
            month_name(rule.worst_month),
            significant(rule.worst_month_ratio, 2),
            significant(rule.ratio_wanted, 2),
            significant(rule.autonomy_days, 2),
            significant(rule.autonomy_wanted, 2),
            if rule.met { "met" } else { "not met" }
        ));
    }
    if let Some(daily) = &o.daily_bank {
        items.push(format!(
            "daily bank (label current, one step a day): dark in {} of years and {:.1} % of days if nothing is charged in the frost, in {} if it is",
            share(&daily.frost_kept_out),
            100.0 * daily.days_frost_kept_out,
            share(&daily.frost_charged)
        ));
    }
    list("Beside it, not instead of it", &items)
}

fn assumptions(title: &str, assumptions: &[SunAssumption]) -> String {
    if assumptions.is_empty() {
        return String::new();
    }
    let mut columns = Columns::new(&["not known", "taken", "kind", "what settles it"]);
    for a in assumptions {
        columns.row(vec![a.unknown.clone(), a.taken.clone(), a.kind.clone(), a.settle.clone()]);
    }
    format!("{}{}", heading(title), columns.text(width()))
}

/// The map: panels down, cells across.
pub(crate) fn map(report: &SunMapReport) -> String {
    let head = format!(
        "{} with {}: share of years in which it goes dark, {} years",
        report.project, report.board, report.counts.years
    );
    let mut text = format!("{}\n", styled(HEADING, &wrap(&head, 0)));
    text.push_str(&place(&report.setting));
    let cells: Vec<String> =
        report.cells_c.iter().map(|c| Kind::CellCharge.text(*c, None)).collect();
    let mut headings = vec!["panel \\ cell"];
    headings.extend(cells.iter().map(String::as_str));
    let right: Vec<usize> = (1..=cells.len()).collect();
    let mut columns = Columns::new(&headings).right(&right);
    let chosen = report.smallest.choice.as_ref().map(|c| (c.panel, c.cell));
    for (p, watts) in report.panels_w.iter().enumerate() {
        let mut row = vec![format!("  {} W", significant(*watts, 3))];
        for c in 0..report.cells_c.len() {
            let point = &report.points[p * report.cells_c.len() + c];
            let share = percent(point.years_with_outage.share);
            row.push(if chosen == Some((p, c)) {
                format!("▶ {share} ✓")
            } else if point.years_with_outage.high <= report.target_share {
                format!("{share} ✓")
            } else {
                share
            });
        }
        columns.row(row);
    }
    text.push_str(&format!("\n{}", columns.text(width())));
    text.push_str(&format!(
        "  ✓ at most {} of years with 95 % confidence{}; ▶ the smallest\n",
        percent(report.target_share),
        if report.target_is_assumed { " (assumed; state `outage` among the needs)" } else { "" }
    ));
    text.push_str(&format!("\n{}\n", wrap(&report.smallest.text, 0)));
    text.push_str(&list("What has to be said beside it", &report.flags));
    text.push_str(&assumptions("Not known", &report.assumptions));
    text.push_str(&list("Cautions", &report.cautions));
    text.push_str(&styled(DIM, &format!("{} years, seed {}\n", report.counts.years, report.seed)));
    text
}

/// Tilts and their light.
pub(crate) fn tilt(report: &TiltReport) -> String {
    let line = |l: &TiltLine| {
        format!(
            "{}°: {} kWh/m² a day in {}, {} over the year",
            significant(l.tilt_deg, 3),
            significant(l.worst_kwh_m2, 3),
            month_name(l.worst_month),
            significant(l.year_kwh_m2, 3)
        )
    };
    let mut text = format!(
        "{}\n",
        styled(
            HEADING,
            &wrap(
                &format!(
                    "{} at {}, facing {}°: best in the worst month at {}",
                    report.project,
                    report.site,
                    significant(report.azimuth_deg, 3),
                    line(&report.best)
                ),
                0
            )
        )
    );
    if let Some(now) = &report.now {
        text.push_str(&format!("the project's own {}\n", line(now)));
    }
    let most = report.tilts.iter().map(|l| l.worst_kwh_m2).fold(0.0, f64::max);
    let mut columns = Columns::new(&["tilt", "worst month", "kWh/m² a day", "year", ""])
        .right(&[0, 2, 3])
        .fixed_below_heading(&[4]);
    for l in &report.tilts {
        columns.row(vec![
            format!("{}°", significant(l.tilt_deg, 3)),
            month_name(l.worst_month).to_owned(),
            format!("{:.3}", l.worst_kwh_m2),
            format!("{:.2}", l.year_kwh_m2),
            bar(l.worst_kwh_m2 / most.max(1e-300), 30),
        ]);
    }
    text.push_str(&format!("\n{}", columns.text(width())));
    let mut months = Columns::new(&["month", "best tilt", "project's own"]).right(&[1, 2]);
    for (m, name) in MONTHS.iter().enumerate() {
        months.row(vec![
            format!("  {name}"),
            format!("{:.2}", report.best.months_kwh_m2[m]),
            report
                .now
                .as_ref()
                .map_or_else(String::new, |now| format!("{:.2}", now.months_kwh_m2[m])),
        ]);
    }
    text.push_str(&heading("On the panel, kWh/m² a day"));
    text.push_str(&months.text(width()));
    text.push_str(&list("What has to be said beside it", &report.notes));
    text.push_str(&assumptions("Not known", &report.assumptions));
    text
}

/// Boards against cells.
pub(crate) fn charge(report: &ChargeReport) -> String {
    let mut columns = Columns::new(&[
        "board",
        "cell",
        "may it?",
        "current",
        "takes",
        "ends at",
        "why, and what to mind",
    ]);
    for line in &report.lines {
        // What is so of nearly every charger stands once, among the cautions.
        let said_below = |r: &&String| !r.starts_with("nothing prevents charging");
        let mut why: Vec<String> =
            line.verdict.reasons.iter().filter(said_below).cloned().collect();
        if let Some(span) = &line.span {
            why.push(span.end.clone());
        }
        columns.row(vec![
            line.board.clone(),
            line.cell.clone(),
            charge_word(line.verdict.allowed).to_owned(),
            line.set_current_a.map_or_else(|| "unknown".to_owned(), current),
            line.span.as_ref().map_or_else(|| "–".to_owned(), |s| life(s.total_s)),
            line.span.as_ref().map_or_else(|| "–".to_owned(), |s| percent(s.end_state)),
            why.join("; "),
        ]);
    }
    let from = percent(report.from_state);
    let load = report.project.as_ref().map_or_else(
        || "nothing else on".to_owned(),
        |project| format!("with the load of “{project}” on"),
    );
    let mut text = format!(
        "{}\n\n{}",
        styled(HEADING, &format!("Charging at the bench from {from}, {load}")),
        columns.text(width())
    );
    let mut known: Vec<SunAssumption> = Vec::new();
    for line in &report.lines {
        for a in &line.assumptions {
            let unknown = format!("{}: {}", line.board, a.unknown);
            if !known.iter().any(|k| k.unknown == unknown) {
                known.push(SunAssumption { unknown, ..a.clone() });
            }
        }
    }
    // What is the same for every board is said once.
    text.push_str(&assumptions("Not known", &known));
    text.push_str(&list("Cautions", &report.cautions));
    text
}
