//! The choice as text: the answer first, then every board with its reason.

use overwinter_workbench::ranking::Tie;
use overwinter_workbench::report::{BoardVerdict, ChoiceReport, NeedVerdict};
use overwinter_workbench::text::{life, percent};

use super::columns::{Cell, Columns};
use super::{CARE, DIM, HEADING, cell_text, list, styled, width, wrap};
use crate::chart::Axis;

/// The choice.
pub(crate) fn choice(report: &ChoiceReport) -> String {
    let mut text = format!("{}\n", styled(HEADING, &wrap(&report.answer, 0)));
    text.push_str(&format!(
        "  project  {}\n  load     {}\n  cell     {}\n",
        report.project,
        wrap(&report.load, 11),
        report.cell
    ));
    if let (Some(target), Some(chance)) = (report.target_s, report.target_chance) {
        text.push_str(&format!("  target   {} with {} chance\n", life(target), percent(chance)));
    }
    text.push('\n');
    text.push_str(&lives(report));
    text.push('\n');
    for (heading, verdict) in [
        ("Fits", NeedVerdict::Fits),
        ("Undecided", NeedVerdict::Undecided),
        ("Does not fit", NeedVerdict::DoesNot),
    ] {
        let group: Vec<&BoardVerdict> =
            report.boards.iter().filter(|b| b.verdict == verdict).collect();
        if group.is_empty() {
            continue;
        }
        text.push_str(&format!("{}\n", styled(HEADING, heading)));
        for board in group {
            text.push_str(&board_lines(report, board));
        }
    }
    text.push_str(&pairs(report));
    text.push_str(&list("Warnings", &report.warnings));
    text.push_str(&list("Cautions", &report.cautions));
    text.push_str(&styled(DIM, &format!("{} draws, seed {}\n", report.draws, report.seed)));
    text
}

fn lives(report: &ChoiceReport) -> String {
    let summaries =
        || report.boards.iter().filter_map(|b| b.this_specimen.as_ref().map(|a| &a.summary));
    let bought =
        || report.boards.iter().filter_map(|b| b.one_you_might_buy.as_ref().map(|a| &a.summary));
    let day = 86_400.0;
    let values = summaries()
        .chain(bought())
        .flat_map(|s| [s.p10_s / day, s.p90_s / day])
        .chain(report.target_s.map(|t| t / day));
    let values: Vec<f64> = values.collect();
    // Boards that live a twentieth of the longest or less would squeeze all others: they stand off the axis, marked.
    let longest = values.iter().copied().fold(0.0, f64::max);
    let values = values.into_iter().filter(|v| *v > longest / 20.0);
    let Some(axis) = Axis::logarithmic(values, 23) else { return String::new() };
    let chance_heading = if report.target_s.is_some() { "chance" } else { "" };
    let mut table = Columns::new(&[
        "",
        "board",
        "this specimen, 10–90 %",
        "median",
        chance_heading,
        "one you might buy",
        chance_heading,
        "ends by (share)",
    ])
    .fixed_below_heading(&[2]);
    for board in &report.boards {
        let mark = match board.verdict {
            NeedVerdict::Fits if board.on_front => "◆",
            NeedVerdict::Fits => "◇",
            NeedVerdict::Undecided => "?",
            NeedVerdict::DoesNot => "–",
        };
        let Some(own) = &board.this_specimen else {
            table.row([Cell::from(mark), board.board.clone().into(), Cell::styled(DIM, "unknown")]);
            continue;
        };
        let s = &own.summary;
        let limit = if s.median_is_limit() { "> " } else { "" };
        let chance = |c: Option<f64>| c.map_or(String::new(), percent);
        let buy = board.one_you_might_buy.as_ref().map(|a| &a.summary);
        let ends = own.endings.first().map_or(String::new(), |e| {
            let sure = e.share > 0.99;
            let share = if sure { String::new() } else { format!(" {}", percent(e.share)) };
            format!("{}{share}", e.short)
        });
        let drawn = if s.p90_s > 0.0 {
            axis.interval(s.p10_s / day, s.p50_s / day, s.p90_s / day)
        } else {
            "fails at once".into()
        };
        table.row(vec![
            mark.to_owned(),
            board.board.clone(),
            drawn,
            format!("{limit}{}", life(s.p50_s)),
            chance(s.chance_of_target),
            buy.map_or(String::new(), |b| format!("{}–{}", life(b.p10_s), life(b.p90_s))),
            buy.map_or(String::new(), |b| chance(b.chance_of_target)),
            ends,
        ]);
    }
    table.row([
        Cell::default(),
        Cell::default(),
        Cell::styled(DIM, axis.ticks(|v| format!("{v} d"))),
    ]);
    let mut text = table.text(width());
    text.push_str(&styled(
        DIM,
        "◆ fits, on the front of the wishes  ◇ fits  ? undecided  – does not fit\n",
    ));
    text
}

fn board_lines(report: &ChoiceReport, board: &BoardVerdict) -> String {
    let mut text = format!("  {}", board.board);
    if let Some(tie) = board.tie {
        let chance = board.chance_outlasts_leader.map_or(String::new(), percent);
        let leader = report.pair_boards.first().map_or("the first", String::as_str);
        let why = match tie {
            Tie::NotTold => {
                format!("ties with {leader}: outlasts it with {chance}, the data cannot tell")
            }
            Tie::BelowCare => {
                format!("ties with {leader}: the difference is less than you care about")
            }
        };
        text.push_str(&format!("  {}", styled(CARE, &why)));
    }
    text.push('\n');
    if !board.reason.is_empty() {
        text.push_str(&format!("      {}\n", wrap(&board.reason, 6)));
    }
    if board.verdict != NeedVerdict::DoesNot && !board.wishes.is_empty() {
        let wishes: Vec<String> = report
            .wishes
            .iter()
            .zip(&board.wishes)
            .map(|(heading, cell)| {
                format!("{}: {}", heading.split(',').next().unwrap_or(heading), cell_text(cell))
            })
            .collect();
        text.push_str(&format!("      wishes  {}\n", wrap(&wishes.join(" · "), 14)));
    }
    if let Some(rework) = &board.rework {
        let risk = rework.risk.as_ref().map_or(String::new(), |r| format!(" ({r})"));
        let chance =
            rework.chance_of_target.map_or(String::new(), |c| format!(", chance {}", percent(c)));
        let line = format!(
            "rework  {} in {:.0} min: {:+.0} d, {:.1} d per minute{chance}{risk}",
            rework.rework, rework.minutes, rework.days_gained, rework.days_per_minute
        );
        text.push_str(&format!("      {}\n", wrap(&line, 14)));
    }
    for flag in &board.flags {
        text.push_str(&format!("      {}\n", styled(DIM, &format!("note  {}", wrap(flag, 12)))));
    }
    text
}

fn pairs(report: &ChoiceReport) -> String {
    if report.pair_boards.len() < 2 {
        return String::new();
    }
    let mut headings = vec!["outlasts"];
    let short: Vec<String> =
        report.pair_boards.iter().map(|b| b.chars().take(6).collect()).collect();
    headings.extend(short.iter().map(String::as_str));
    let mut table = Columns::new(&headings);
    for (row, name) in report.pairs.iter().zip(&report.pair_boards) {
        let mut cells = vec![name.clone()];
        cells.extend(row.iter().enumerate().map(|(k, p)| {
            if report.pair_boards[k] == *name { "·".to_owned() } else { percent(*p) }
        }));
        table.row(cells);
    }
    format!(
        "{}\n{}",
        styled(
            HEADING,
            "Chance that the row outlasts the column (same cell, load and weather for both)"
        ),
        table.text(width())
    )
}
