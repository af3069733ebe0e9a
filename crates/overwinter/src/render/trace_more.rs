//! Comparisons, rail captures and loads for people.

use overwinter_quantity::{
    ChargeDimension, CurrentDimension, Dimension, DurationDimension, Quantity,
};
use overwinter_workbench::text::{charge, current, duration, significant, voltage};
use overwinter_workbench::trace_report::{
    RailAnswer, RailCapture, TraceChange, TraceComparison, TraceFloorReading, TraceLoad,
};

use super::columns::{Cell, Columns};
use super::trace::{bare, grouped, heading};
use super::{CARE, DIM, HEADING, list, styled, width, wrap};

fn difference_cell<D: Dimension>(change: &TraceChange) -> Cell {
    // What is left of equal numbers after rounding is no difference.
    let least = 1e-9 * change.before.value.abs().max(change.after.value.abs());
    if change.difference.abs() <= least {
        return Cell::styled(DIM, "none");
    }
    let sign = if change.difference > 0.0 { "+" } else { "" };
    let text = format!("{sign}{}", Quantity::<D>::from_si(change.difference).value_text(3));
    match change.significant {
        Some(true) => Cell::styled(HEADING, format!("{text} *")),
        Some(false) => Cell::styled(DIM, text),
        None => Cell::styled(DIM, format!("{text} ?")),
    }
}

fn row<D: Dimension>(table: &mut Columns, name: String, change: &TraceChange) {
    table.row([
        Cell::from(name),
        bare(&change.before.text).into(),
        bare(&change.after.text).into(),
        difference_cell::<D>(change),
    ]);
}

/// Two recordings side by side.
pub(crate) fn compare(c: &TraceComparison) -> String {
    let mut out = format!("{}  →  {}\n", styled(HEADING, &c.before), styled(HEADING, &c.after));
    for line in &c.verdict {
        out.push_str(&format!("  · {}\n", wrap(line, 4)));
    }
    let mut table = Columns::new(&["", "before (k = 2)", "after", "difference"]);
    if let Some(sleep) = &c.sleep_a {
        row::<CurrentDimension>(&mut table, "asleep".to_owned(), sleep);
    }
    for wake in &c.wakes {
        let name = if wake.before == wake.after {
            wake.before.clone()
        } else {
            format!("{} / {}", wake.before, wake.after)
        };
        row::<ChargeDimension>(&mut table, format!("{name}: charge"), &wake.charge_c);
        if let Some(every) = &wake.interval_s {
            row::<DurationDimension>(&mut table, format!("{name}: interval"), every);
        }
    }
    for phase in &c.phases {
        let name = format!("  {} ({})", phase.phase, phase.activity);
        if phase.new || phase.gone {
            let word = if phase.new { "new" } else { "gone" };
            let sign = if phase.charge_difference_c > 0.0 { "+" } else { "" };
            table.row([
                Cell::from(name),
                (if phase.new { "–" } else { "there" }).into(),
                Cell::styled(CARE, word),
                format!("{sign}{}", charge(phase.charge_difference_c)).into(),
            ]);
            continue;
        }
        if let Some(lasts) = &phase.duration_s {
            row::<DurationDimension>(&mut table, format!("{name}, long"), lasts);
        }
        if let Some(level) = &phase.current_a {
            row::<CurrentDimension>(&mut table, format!("{name}, current"), level);
        }
    }
    out.push('\n');
    out.push_str(&table.text(width()));
    out.push_str(&format!(
        "{}\n",
        styled(DIM, "* more than chance (1 %, Welch's test); ? too few repetitions to tell")
    ));
    if let Some(days) = &c.days {
        out.push_str(&heading("In the project"));
        out.push_str(&format!(
            "  {} on {}: {} d before, {} d after\n  {}\n",
            days.project,
            days.cell,
            significant(days.before_days, 4),
            significant(days.after_days, 4),
            styled(DIM, &wrap(&days.basis, 2))
        ));
    }
    out.push_str(&list("Mind", &c.cautions));
    out
}

/// A rail capture judged.
pub(crate) fn rail(r: &RailCapture) -> String {
    let style = if r.answer == RailAnswer::RidesThrough { HEADING } else { CARE };
    let mut out = format!(
        "{}\n{}\n\n{}\n",
        styled(HEADING, &r.name),
        wrap(&r.read_as, 0),
        styled(style, &wrap(&r.verdict, 0))
    );
    let mut table = Columns::new(&[]);
    let mut line = |name: &str, text: String| table.row([format!("  {name}"), text]);
    line(
        "reset threshold",
        format!("{} ± {}, {}", voltage(r.threshold_v), voltage(r.tolerance_v), r.threshold_source),
    );
    line("rail before and after", format!("{}, {}", voltage(r.before_v), voltage(r.after_v)));
    line(
        "lowest",
        format!(
            "{} at {}, {} deep",
            voltage(r.lowest_v),
            duration(r.lowest_at_s),
            voltage(r.dip_v)
        ),
    );
    if r.filter_s > 0.0 {
        let how =
            if r.filter_derived { "from the noise; --filter states another" } else { "as stated" };
        line("averaged over", format!("{}, {how}", duration(r.filter_s)));
        line("lowest sample", voltage(r.lowest_sample_v));
    }
    line("dip lasts", duration(r.dip_duration_s));
    line(
        "under the threshold",
        match r.times_under {
            0 => "never".to_owned(),
            1 => format!("{}, once", duration(r.under_threshold_s)),
            n => format!("{}, {n} times", duration(r.under_threshold_s)),
        },
    );
    line("highest", voltage(r.highest_v));
    line("noise", format!("{}, {} samples", voltage(r.noise_v), grouped(r.samples)));
    out.push_str(&table.text(width()));
    out.push_str(&list("Mind", &r.cautions));
    match &r.written {
        Some(path) => out.push_str(&format!("\nThe trial stands in {path}; `ride` counts it.\n")),
        None if matches!(r.answer, RailAnswer::RidesThrough | RailAnswer::Resets) => {
            out.push_str(&format!(
                "\n{}\n",
                styled(DIM, "--write makes it a trial of the specimen")
            ));
        }
        None => {}
    }
    out
}

/// A load that went into a project.
pub(crate) fn load(l: &TraceLoad) -> String {
    let what = match (l.written, l.new) {
        (true, true) => "is new in",
        (true, false) => "now has this load in",
        (false, true) => "would be new in",
        (false, false) => "would have this load in",
    };
    let mut out = format!("Activity “{}” {what} {} ({}):\n", l.activity, l.project, l.file);
    let mut table = Columns::new(&[]);
    let mut line = |name: &str, text: String| table.row([format!("  {name}"), text]);
    line("charge each time", l.charge_c.text.clone());
    line("long", l.duration_s.text.clone());
    line("peak", format!("{} for {}", current(l.peak_a), duration(l.peak_s)));
    let recorded = l
        .recorded_interval_s
        .filter(|s| (s / l.every_s - 1.0).abs() > 0.01)
        .map_or_else(String::new, |s| {
            format!("   (recorded every {}; --take-interval takes that)", duration(s))
        });
    line("every", format!("{}{recorded}", duration(l.every_s)));
    out.push_str(&table.text(width()));
    out.push_str(&list("Mind", &l.cautions));
    if l.written {
        out.push_str(&format!("\nNext:  overwinter choose \"{}\"\n", l.project));
    }
    out
}

/// A floor that went into a session.
pub(crate) fn floor(f: &TraceFloorReading) -> String {
    let what = match (f.written, f.new) {
        (true, true) => "is a new reading of",
        (true, false) => "takes the place of its earlier reading of",
        (false, true) => "would be a new reading of",
        (false, false) => "would take the place of its earlier reading of",
    };
    let mut out = wrap(
        &format!(
            "The sleep floor of “{}” {what} {}, session “{}” ({}):",
            f.recording, f.specimen, f.session, f.file
        ),
        0,
    );
    out.push('\n');
    let mut table = Columns::new(&[]);
    let mut line = |name: &str, text: String| table.row([format!("  {name}"), text]);
    line("sleep current", format!("{}, by its own scatter", f.current_a.text));
    if let Some(limit) = f.limit_a {
        line("instrument", format!("adds ± {} (limits) in the reading's budget", current(limit)));
    }
    if f.zero_a != 0.0 {
        line("zero", format!("{}, taken off", current(f.zero_a)));
    }
    line("averaged", format!("{} windows, {} asleep", grouped(f.windows), duration(f.asleep_s)));
    out.push_str(&table.text(width()));
    out.push_str(&list("Mind", &f.cautions));
    if f.written {
        out.push_str(&format!("\nNext:  overwinter figure {}\n", f.specimen));
    }
    out
}

/// The lines of a document that would change.
pub(crate) fn difference(before: &str, after: &str) -> String {
    let (a, b): (Vec<&str>, Vec<&str>) = (before.lines().collect(), after.lines().collect());
    let same = a.iter().zip(&b).take_while(|(x, y)| x == y).count();
    let room = a.len().min(b.len()) - same;
    let end = a.iter().rev().zip(b.iter().rev()).take(room).take_while(|(x, y)| x == y).count();
    let mut out = String::new();
    for line in &a[same..a.len() - end] {
        out.push_str(&format!("- {line}\n"));
    }
    for line in &b[same..b.len() - end] {
        out.push_str(&format!("+ {line}\n"));
    }
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::difference;

    #[test]
    fn only_what_changes_is_shown() {
        assert_eq!(difference("a\nb\nc\n", "a\nx\ny\nc\n"), "- b\n+ x\n+ y\n\n");
        assert_eq!(difference("a\n", "a\n"), "\n");
        assert_eq!(difference("a\na\n", "a\na\na\n"), "+ a\n\n");
    }
}
