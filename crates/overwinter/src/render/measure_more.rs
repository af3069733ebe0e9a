//! The bench reports for people: sweep, ride-through, next test, specimens and dispute.

use overwinter_workbench::measure::chips::{ChipReport, probability_text};
use overwinter_workbench::measure::dispute::DisputeReport;
use overwinter_workbench::measure::next::NextReport;
use overwinter_workbench::measure::ride::RideReport;
use overwinter_workbench::measure::specimens::SpecimensReport;
use overwinter_workbench::measure::sweep::SweepReport;
use overwinter_workbench::text::{percent, significant, voltage};

use super::columns::{Cell, Columns};
use super::measure::{amperes, both, heading, paragraph};
use super::{CARE, DIM, list, styled, width};
use crate::chart::bar;

/// A sweep taken apart.
pub(crate) fn sweep(report: &SweepReport) -> String {
    let mut text =
        heading(&format!("{} asleep over voltage ({})", report.specimen, report.session));
    let mut table = Columns::new(&[]).right(&[0, 1]);
    for p in &report.points {
        table.row([
            format!("  {}", voltage(p.voltage_v)).into(),
            Cell::from(p.figure.text.replace(" (k = 2)", "")),
            Cell::styled(DIM, p.range.as_ref().map_or(String::new(), |r| format!("range {r}"))),
        ]);
    }
    text.push_str(&table.text(width()));
    text.push_str(&format!(
        "\n{}",
        heading(&format!("Taken apart at {}", voltage(report.reference_v)))
    ));
    let mut table = Columns::new(&["part", "current", "there?", "usually"]).right(&[1, 2]);
    for p in &report.parts {
        table.row([
            Cell::from(p.kind),
            p.text.replace(" (k = 2)", "").into(),
            percent(p.presence).into(),
            Cell::styled(DIM, p.usually),
        ]);
    }
    text.push_str(&table.text(width()));
    if report.cannot_separate.is_empty() {
        text.push_str("No pair of parts stands for one another in these data.\n");
    } else {
        text.push_str(&paragraph(&format!(
            "These data cannot tell {}.",
            report.cannot_separate.join(", nor ")
        )));
    }
    text.push_str(&format!("\n{}", heading("Explanations")));
    let mut table = Columns::new(&[]).right(&[0]);
    for e in report.explanations.iter().take(6) {
        table.row([
            Cell::from(format!("  {}", percent(e.weight))),
            e.parts.join(" + ").into(),
            Cell::styled(
                DIM,
                format!("χ² {}, {} left", significant(e.chi_squared, 2), e.degrees_of_freedom),
            ),
        ]);
    }
    text.push_str(&table.text(width()));
    if let Some(low) = &report.at_the_low_end {
        text.push_str(&paragraph(&format!("Low end: {low}.")));
    }
    if let Some(chip) = &report.regulator {
        text.push_str(&by_behaviour("Regulator", chip));
    }
    if let Some(chip) = &report.charger {
        text.push_str(&by_behaviour("Charger", chip));
    }
    text.push_str(&list("Notes", &report.notes));
    text
}

fn by_behaviour(what: &str, chip: &ChipReport) -> String {
    let marking = chip.marking.as_deref().unwrap_or("marking not written down");
    let mut text = format!("\n{}", heading(&format!("{what} by behaviour ({marking})")));
    let mut table = Columns::new(&[]).right(&[1]);
    for c in &chip.classes {
        let silent = if c.silent_about.is_empty() {
            String::new()
        } else {
            format!("silent about {}", c.silent_about.join(", "))
        };
        table.row([
            Cell::from(format!("  {}", c.class)),
            probability_text(c.probability).into(),
            bar(c.probability, 16).into(),
            Cell::styled(DIM, silent),
        ]);
    }
    text.push_str(&table.text(width()));
    if chip.perhaps_none {
        text.push_str(&format!(
            "{}\n",
            styled(
                CARE,
                "Even the best of them makes this unlikely: perhaps none of these classes."
            )
        ));
    }
    text.push_str(&paragraph(&format!("Seen: {}.", chip.observed.join("; "))));
    if let Some(entered) = &chip.entered {
        text.push_str(&format!("The board's document says: {entered}.\n"));
    }
    text.push_str(&paragraph(&format!("Beforehand: {}.", chip.basis)));
    text
}

/// Trials and prediction.
pub(crate) fn ride(report: &RideReport) -> String {
    let mut text =
        heading(&format!("{}: does it run on when the source comes and goes?", report.specimen));
    let mut table =
        Columns::new(&["source", "doing", "edge", "cell", "resets", "95 %", "predicted", ""])
            .right(&[3, 4, 5, 6])
            .fixed_below_heading(&[3, 4, 5, 6]);
    for t in &report.trials {
        let [low, high] = t.bounds.unwrap_or([0.0, 1.0]);
        let agrees = t.agrees.unwrap_or("");
        let agrees = if t.agrees.is_some_and(|a| a != "agrees") {
            Cell::styled(CARE, agrees)
        } else {
            Cell::styled(DIM, agrees)
        };
        table.row([
            Cell::from(t.event),
            t.doing.unwrap_or("").into(),
            t.edge.unwrap_or("").into(),
            voltage(t.cell_v).into(),
            format!("{} of {}", t.resets, t.tried).into(),
            format!("{} to {}", percent(low), percent(high)).into(),
            t.predicted.map_or(String::new(), percent).into(),
            agrees,
        ]);
    }
    if report.trials.is_empty() {
        text.push_str("Nothing was tried.\n");
    } else {
        text.push_str(&table.text(width()));
    }
    for p in &report.predictions {
        text.push_str(&format!(
            "\nLowest safe cell voltage, {}: {}\n  {}\n",
            p.doing,
            both(&p.lowest_safe),
            p.sum
        ));
    }
    text.push_str(&list("Verdict", &report.verdict));
    text.push_str(&list("The prediction rests on", &report.basis));
    text
}

/// Tests, best first.
pub(crate) fn next(report: &NextReport) -> String {
    let mut text = paragraph(&report.answer);
    text.push_str(&format!(
        "{}\n\n",
        styled(
            DIM,
            &format!(
                "chosen now: {}, {} d expected; everything known would be worth {} d; noise of the estimate {} d",
                report.choice,
                significant(report.expected_days, 3),
                significant(report.perfect_days, 2),
                significant(report.noise_floor_days, 1)
            )
        )
    ));
    let mut table = Columns::new(&[
        "test",
        "now",
        "min",
        "worth d",
        "d per min",
        "flips",
        "to",
        "target hinges for",
    ])
    .right(&[2, 3, 4, 5])
    .fixed_below_heading(&[2, 3, 4, 5]);
    let shown =
        report.tests.iter().filter(|t| t.matters || !t.hinges.is_empty() || t.flip_chance > 0.0);
    let mut count = 0;
    for t in shown.take(20) {
        count += 1;
        let days = |d: f64| if d < 0.005 { "–".to_owned() } else { significant(d, 2) };
        let name = if t.matters || !t.hinges.is_empty() {
            Cell::from(t.name.clone())
        } else {
            Cell::styled(DIM, t.name.clone())
        };
        table.row([
            name,
            t.now.replace(" (k = 2)", "").into(),
            t.minutes.map_or("–".to_owned(), |m| format!("{m:.0}")).into(),
            days(t.gain_days).into(),
            t.days_per_minute.map_or("–".to_owned(), days).into(),
            percent(t.flip_chance).into(),
            t.flips_to.clone().unwrap_or_default().into(),
            t.hinges.join(", ").into(),
        ]);
    }
    if count > 0 {
        text.push_str(&table.text(width()));
    }
    let rest = report.tests.len() - count;
    if rest > 0 {
        text.push_str(&format!(
            "{}\n",
            styled(DIM, &format!("{rest} more change nothing (--format json lists them)"))
        ));
    }
    let heading = match report.minutes {
        Some(m) => format!("Within {m:.0} min"),
        None => "In this order".to_owned(),
    };
    text.push_str(&list(&heading, &report.plan));
    text.push_str(&list("Left out", &report.left_out));
    text.push_str(&list("Notes", &report.notes));
    text
}

/// The specimens of a board.
pub(crate) fn specimens(report: &SpecimensReport) -> String {
    let mut text = heading(&format!(
        "{}: {} of {} specimens",
        report.board,
        report.what,
        report.specimens.len()
    ));
    let mut table = Columns::new(&[]);
    for s in &report.specimens {
        let figure = match (&s.figure, &s.dead) {
            (_, Some(since)) => format!("dead since {since}"),
            (Some(f), None) => f.text.clone(),
            (None, None) => "not read".to_owned(),
        };
        let revision = s.revision.as_ref().map_or(String::new(), |r| format!("revision {r}"));
        table.row([
            Cell::from(format!("  {}", s.specimen)),
            figure.into(),
            revision.into(),
            Cell::styled(DIM, s.session.clone().unwrap_or_default()),
        ]);
    }
    text.push_str(&table.text(width()));
    if let (Some(mean), Some(sd)) = (report.mean, report.standard_deviation) {
        text.push_str(&format!(
            "\nMean {}, standard deviation between them {}\n",
            amperes(mean),
            amperes(sd)
        ));
    }
    text.push_str(&format!("Assumed beforehand: {} (change it with --prior)\n", report.prior));
    for (name, next) in [
        ("One you might buy, 95 %, from the specimens alone", &report.next),
        (
            "One you might buy, 95 %, with the prior pooled in (forecasts use this)",
            &report.next_pooled,
        ),
    ] {
        if let Some(next) = next {
            text.push_str(&format!("\n{name}: {}\n  {}\n", next.text, styled(DIM, &next.basis)));
        }
    }
    text.push_str(&list("Notes", &report.notes));
    text
}

/// A claim against ours.
pub(crate) fn dispute(report: &DisputeReport) -> String {
    let who = report.who.as_deref().unwrap_or(&report.claim);
    let mut text = String::new();
    for d in &report.figures {
        text.push_str(&heading(&format!("{}, {}", report.board, d.what)));
        text.push_str(&format!(
            "  {:<12} {}   {}\n",
            report.specimen,
            d.ours.text,
            styled(DIM, &d.our_session)
        ));
        let theirs = if d.theirs.standard_uncertainty.is_none() {
            format!("{} (no uncertainty stated)", d.theirs.text)
        } else {
            d.theirs.text.clone()
        };
        text.push_str(&format!("  {who:<12} {theirs}\n\n"));
        text.push_str(&paragraph(&d.verdict));
        let reasons: Vec<String> = d.reasons.iter().map(|r| r.text.clone()).collect();
        text.push_str(&list("Reasons, the best first", &reasons));
        if !d.not_told.is_empty() {
            text.push_str(&format!("\nNot told, so ask: {}\n", d.not_told.join(", ")));
        }
    }
    text.push_str(&list("Notes", &report.notes));
    text
}
