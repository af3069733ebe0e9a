//! The bench reports for people: figures, burden, settling and the guide. The others stand in `measure_more`.

use overwinter_workbench::measure::burden::BurdenReport;
use overwinter_workbench::measure::figure::{FigureReport, ReadingReport, Standing};
use overwinter_workbench::measure::guide::{GuideReport, StepLine, StepStatus};
use overwinter_workbench::measure::lost::{LostReport, PostMortem};
use overwinter_workbench::measure::printed::{FaultLine, Printed};
use overwinter_workbench::measure::settle::SettleReport;
use overwinter_workbench::text::{current, duration, percent, resistance, significant, voltage};

use super::columns::{Cell, Columns};
use super::{CARE, DIM, HEADING, list, styled, width, wrap};

pub(crate) use super::measure_more::{dispute, next, ride, specimens, sweep};

/// `12.6 ± 0.7 µA (k = 2)   12.6(4) µA`
pub(super) fn both(figure: &Printed) -> String {
    if figure.standard_uncertainty.is_none() {
        return format!("{}, uncertainty not known", figure.text);
    }
    format!("{}   {}", figure.text, styled(DIM, &figure.concise))
}

/// A paragraph, broken to the width.
pub(super) fn paragraph(text: &str) -> String {
    format!("{}\n", wrap(text, 0))
}

pub(super) fn heading(text: &str) -> String {
    format!("{}\n", styled(HEADING, text))
}

/// Readings with everything behind them.
pub(crate) fn figure(report: &FigureReport) -> String {
    let mut text = String::new();
    for reading in &report.readings {
        text.push_str(&one(reading));
        text.push('\n');
    }
    if !report.history.is_empty() {
        text.push_str(&heading("History"));
        let mut table = Columns::new(&[]);
        for line in &report.history {
            let became = Cell::from(line.became.clone());
            table.row([
                format!("  {}", line.date).into(),
                Cell::from(line.text.clone()),
                became,
                Cell::styled(DIM, line.session.clone()),
            ]);
        }
        text.push_str(&table.text(width()));
    }
    if let Some(d) = &report.difference {
        text.push_str(&heading(&format!("{} minus {}", report.subjects[0], report.subjects[1])));
        text.push_str(&format!("  {}\n", d.text));
        let correlation = d.correlation.map_or_else(
            || "correlation not defined (one has no uncertainty)".to_owned(),
            |r| format!("correlation {}", significant(r, 2)),
        );
        text.push_str(&format!("  {correlation}"));
        if d.shared.is_empty() {
            text.push_str("; nothing shared\n");
        } else {
            text.push_str(&format!("; shared: {}\n", d.shared.join(", ")));
        }
    }
    text.push_str(&list("Notes", &report.notes));
    text
}

fn one(reading: &ReadingReport) -> String {
    let mark = match (&reading.standing, reading.stands) {
        (_, true) => "  ← stands for it",
        (Standing::Counts, false) => "",
        (Standing::Superseded { .. }, _) => "  superseded",
        (Standing::Retracted { .. }, _) => "  retracted",
    };
    let mut text = heading(&format!("{}: {}{mark}", reading.key, reading.what));
    match &reading.figure {
        Some(figure) => {
            text.push_str(&format!("  {}\n", both(figure)));
            if let Some(c) = &figure.at_95 {
                let dof = c
                    .degrees_of_freedom
                    .filter(|d| *d < 1000.0)
                    .map_or("uncertainties taken as known".to_owned(), |d| {
                        format!("{} degrees of freedom", significant(d, 3))
                    });
                text.push_str(&format!(
                    "  95 %: k = {} ({}; {dof})\n",
                    significant(c.factor, 3),
                    c.rule
                ));
            }
        }
        None => text.push_str(&format!("  {}\n", styled(CARE, "no figure"))),
    }
    text.push_str(&format!("  typed: {}\n", reading.typed.join(", ")));
    let instrument = reading.instrument.as_deref().unwrap_or("instrument not written down");
    let mut conditions = vec![instrument.to_owned()];
    conditions.extend(reading.conditions.iter().cloned());
    text.push_str(&format!("  {}\n", wrap(&conditions.join(" · "), 2)));
    if !reading.not_written.is_empty() {
        let line = format!("not written down: {}", reading.not_written.join(", "));
        text.push_str(&format!("  {}\n", styled(DIM, &wrap(&line, 2))));
    }
    match &reading.standing {
        Standing::Counts => {}
        Standing::Superseded { since, why, by } => {
            let by = by.as_ref().map_or(String::new(), |by| format!(" (by {by})"));
            text.push_str(&format!("  superseded {since}: {}{by}\n", wrap(why, 4)));
        }
        Standing::Retracted { since, why } => {
            text.push_str(&format!("  retracted {since}: {}\n", wrap(why, 4)));
        }
    }
    let mut table = Columns::new(&["    contribution", "", "share", "ν", "kind"]).right(&[1, 2, 3]);
    for line in &reading.budget {
        let shared = if line.shared { ", shared" } else { "" };
        table.row([
            format!("    {}", short(&line.source, &reading.key)).into(),
            Cell::from(line.text.clone()),
            Cell::from(percent(line.share)),
            Cell::from(line.degrees_of_freedom.map_or("∞".to_owned(), |d| significant(d, 3))),
            Cell::styled(DIM, format!("{}{shared}", line.kind)),
        ]);
    }
    if !reading.budget.is_empty() {
        text.push_str(&table.text(width()));
    }
    for fault in &reading.faults {
        text.push_str(&fault_text(fault));
    }
    text
}

/// A source without the name of the session and reading that the heading says already.
fn short(source: &str, key: &str) -> String {
    let session = key.rsplit_once('#').map_or(key, |(session, _)| session);
    match source.strip_prefix(session).and_then(|rest| rest.split_once(" / ")) {
        Some((own, rest)) if own.is_empty() || key.ends_with(&own.replace(" reading ", "#")) => {
            rest.to_owned()
        }
        Some((other, rest)) if other.starts_with(" reading ") => {
            format!("{rest} of {}", other.replace(" reading ", "#"))
        }
        _ => source.to_owned(),
    }
}

fn fault_text(fault: &FaultLine) -> String {
    let kind = if fault.fatal { "impossible" } else { "note" };
    format!(
        "  {}: {}\n",
        styled(CARE, kind),
        wrap(&format!("{}; {}", fault.message, fault.advice), 4)
    )
}

/// Ranges of a meter with a board.
pub(crate) fn burden(report: &BurdenReport) -> String {
    let mut text = heading(&format!("{} with {}", report.meter, report.board));
    let mut table =
        Columns::new(&["range", "series", "asleep", "at the peak", "rail", "u asleep", ""])
            .right(&[1, 2, 3, 4, 5])
            .fixed_below_heading(&[0, 1, 2, 3, 4, 5]);
    let volts = |v: Option<f64>| v.map_or("?".to_owned(), |v| voltage(rounded(v)));
    for line in &report.ranges {
        let bad = line.boots == Some(false) || line.transmits == Some(false);
        let verdict = if bad {
            Cell::styled(CARE, line.verdict.clone())
        } else {
            Cell::from(line.verdict.clone())
        };
        table.row([
            Cell::from(line.range.clone()),
            line.series_ohm.map_or("?".to_owned(), resistance).into(),
            volts(line.drop_asleep_v).into(),
            volts(line.drop_peak_v).into(),
            volts(line.rail_peak_v).into(),
            line.relative_u_asleep
                .map_or("–".to_owned(), |u| format!("{} %", significant(100.0 * u, 2)))
                .into(),
            verdict,
        ]);
    }
    text.push_str(&table.text(width()));
    let largest = if report.largest_meter_ohm < 0.0 {
        "none at all".to_owned()
    } else {
        resistance(report.largest_meter_ohm)
    };
    text.push_str(&format!(
        "\nLargest resistance of meter and leads for the radio peak: {largest}\n"
    ));
    text.push_str(&paragraph(&format!("Asleep: {}.", report.hook_up)));
    match &report.peak_range {
        Some(range) => text.push_str(&format!("Radio peak: range “{range}”.\n")),
        None => {
            text.push_str("Radio peak: no range of this meter; a shunt of 0.1 Ω and a scope.\n");
        }
    }
    if let Some(droop) = &report.droop {
        text.push_str(&paragraph(&format!(
            "Without any burden: {} µF feeds the board; it falls by {} in {}, which gives {} ({} %).",
            significant(droop.capacitance_f * 1e6, 3),
            voltage(droop.fall_v),
            duration(significant(droop.duration_s, 3).parse().unwrap_or(droop.duration_s)),
            droop.expected.text,
            significant(100.0 * droop.relative_u, 2)
        )));
        text.push_str(&list("That rests on", &droop.basis));
    }
    text.push_str(&list("Mind", &report.advice));
    text.push_str(&list("Computed for", &report.basis));
    text
}

fn rounded(x: f64) -> f64 {
    significant(x, 3).parse().unwrap_or(x)
}

/// What became of the readings.
pub(crate) fn settle(report: &SettleReport) -> String {
    let mut text = String::new();
    match &report.figure {
        Some(figure) => text.push_str(&format!("{}\n", both(figure))),
        None => text.push_str(&format!("{}\n", styled(CARE, &report.advice))),
    }
    text.push_str(&list("Its uncertainty", &report.basis));
    let refused: Vec<String> = report
        .refused
        .iter()
        .map(|r| format!("line {}: “{}”: {}", r.line, r.typed, r.why))
        .collect();
    text.push_str(&list("Not taken", &refused));
    if (5..=60).contains(&report.readings.len()) {
        let points: Vec<String> = report
            .readings
            .iter()
            .map(|r| {
                let after = significant(r.time_s, 6);
                format!("    {{ after = \"{after} s\", value = \"{}\" }},\n", r.text)
            })
            .collect();
        text.push_str(&format!(
            "\nFor the reading in the session's document:\nsettling = [\n{}]\n",
            points.concat()
        ));
    }
    text
}

fn mark(status: StepStatus) -> &'static str {
    match status {
        StepStatus::Done => "[x]",
        StepStatus::Partly => "[~]",
        StepStatus::AgainstTheGate => "[!]",
        StepStatus::Open => "[ ]",
        StepStatus::Blocked => "[-]",
        StepStatus::DoesNotApply | StepStatus::Never => "   ",
    }
}

/// The guide for a specimen.
pub(crate) fn guide(report: &GuideReport) -> String {
    let mut title = format!("{} ({})", report.specimen, report.board);
    if let Some(project) = &report.project {
        title.push_str(&format!(" for {project}"));
    }
    let mut text = heading(&title);
    if let Some(lost) = &report.lost {
        text.push_str(&post_mortem(lost));
        text.push('\n');
    }
    let polarity = wrap(&report.polarity.statement, 10);
    let polarity = if report.danger { styled(CARE, &polarity) } else { polarity };
    text.push_str(&format!("Polarity: {polarity}\n"));
    if let Some(drawing) = &report.polarity.drawing {
        text.push_str(drawing);
    }
    text.push('\n');
    for step in &report.steps {
        let needed = if step.needed { " *" } else { "" };
        let line = format!("{} {:>2}. {}{needed}", mark(step.status), step.number, step.title);
        match step.status {
            StepStatus::AgainstTheGate => text.push_str(&format!("{}\n", styled(CARE, &line))),
            StepStatus::DoesNotApply => {
                text.push_str(&format!("{}\n", styled(DIM, &format!("{line}: does not apply"))));
            }
            StepStatus::Never => text
                .push_str(&format!("{}\n", styled(DIM, &format!("{line}: stays empty for ever")))),
            _ => text.push_str(&format!("{line}\n")),
        }
        if !matches!(step.status, StepStatus::Never | StepStatus::DoesNotApply) {
            for way in step.in_the_way.iter().chain(&step.missing) {
                let word = if step.status == StepStatus::Partly { "missing: " } else { "" };
                text.push_str(&format!("        {word}{}\n", wrap(way, 8)));
            }
        }
    }
    text.push_str(&format!("{}\n", styled(DIM, "[x] done  [~] something missing  [ ] can be done now  [-] something comes first  [!] not trusted  * needed")));
    if report.lost.is_some() {
        return text;
    }
    if let Some(step) = report.next.and_then(|n| report.steps.iter().find(|s| s.number == n)) {
        text.push_str(&next_step(step));
    } else {
        let words = if report.to_do.is_empty() {
            "Nothing is left to do now."
        } else {
            "No step can be done now: what is in the way stands at the steps still to do."
        };
        text.push_str(&format!("\n{words}\n"));
    }
    if !report.to_do.is_empty() {
        let numbers: Vec<String> = report.to_do.iter().map(ToString::to_string).collect();
        text.push_str(&format!(
            "\nStill to do: steps {}; about {} min (common practice, no source)\n",
            numbers.join(", "),
            report.minutes
        ));
    }
    if let Some(write) = &report.write_down {
        text.push_str(&format!("\nWrite it down in {}:\n\n", write.file));
        for line in write.text.lines() {
            text.push_str(&format!("    {line}\n"));
        }
    }
    text
}

fn next_step(step: &StepLine) -> String {
    let mut text = format!(
        "\n{}",
        heading(&format!("Next: {}. {} ({} min)", step.number, step.title, step.minutes))
    );
    for (name, words) in [
        ("Wiring", step.wiring),
        ("Do", step.set),
        ("Expect", step.expect),
        ("Unlocks", step.unlocks),
    ] {
        text.push_str(&format!("  {name:<8} {}\n", wrap(words, 11)));
    }
    for danger in &step.dangers {
        text.push_str(&format!("  {}   {}\n", styled(CARE, "Danger"), wrap(danger, 11)));
    }
    text
}

fn post_mortem(lost: &PostMortem) -> String {
    let mut text = heading(&format!("† {} ({}), {}", lost.specimen, lost.board, lost.since));
    let mut say = |name: &str, words: &str| {
        text.push_str(&format!("  {name:<8} {}\n", wrap(words, 11)));
    };
    let number = lost.step_number.map_or(String::new(), |n| format!(" (step {n})"));
    say("Step", &format!("{}{number}", lost.step.as_deref().unwrap_or("not written down")));
    say("Cause", &lost.cause);
    say("Cost", lost.cost.as_deref().unwrap_or("not written down"));
    say("Lesson", lost.lesson.as_deref().unwrap_or("not written down"));
    if !lost.sessions.is_empty() {
        say("Sessions", &lost.sessions.join(", "));
    }
    if !lost.sisters.is_empty() {
        say("Living", &format!("{} (their figures are theirs alone)", lost.sisters.join(", ")));
    }
    text
}

/// The ledger of the dead.
pub(crate) fn lost(report: &LostReport) -> String {
    if report.lost.is_empty() {
        return format!("None of {} specimens is dead.\n", report.specimens);
    }
    let mut text = String::new();
    for lost in &report.lost {
        text.push_str(&post_mortem(lost));
        text.push('\n');
    }
    text.push_str(&format!(
        "{} of {} specimens, {}\n{}",
        report.lost.len(),
        report.specimens,
        if report.cost.is_empty() {
            "cost not written down".to_owned()
        } else {
            report.cost.join(" + ")
        },
        paragraph(report.rule)
    ));
    text
}

/// A current for reading, three figures.
pub(super) fn amperes(a: f64) -> String {
    current(rounded(a))
}
