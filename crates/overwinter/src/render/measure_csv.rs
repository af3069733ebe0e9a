//! The bench reports as rows for spreadsheets: SI units in the headings, unknown as an empty field.

use overwinter_workbench::measure::burden::BurdenReport;
use overwinter_workbench::measure::dispute::DisputeReport;
use overwinter_workbench::measure::figure::FigureReport;
use overwinter_workbench::measure::guide::GuideReport;
use overwinter_workbench::measure::lost::LostReport;
use overwinter_workbench::measure::next::NextReport;
use overwinter_workbench::measure::ride::RideReport;
use overwinter_workbench::measure::settle::SettleReport;
use overwinter_workbench::measure::specimens::SpecimensReport;
use overwinter_workbench::measure::sweep::SweepReport;

type Rows = Vec<Vec<String>>;

fn head(names: &[&str]) -> Rows {
    vec![names.iter().map(|n| (*n).to_owned()).collect()]
}

fn number(x: f64) -> String {
    format!("{x:e}")
}

fn maybe(x: Option<f64>) -> String {
    x.map_or_else(String::new, number)
}

fn word<T: serde::Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        Ok(serde_json::Value::Object(map)) => map.keys().next().cloned().unwrap_or_default(),
        _ => String::new(),
    }
}

/// One row a budget line; a reading without a budget has one row.
pub(crate) fn figure(report: &FigureReport) -> Rows {
    let mut rows = head(&[
        "reading",
        "quantity",
        "date",
        "standing",
        "value [SI]",
        "u [SI]",
        "k at 95 %",
        "contribution of",
        "contribution [SI]",
        "share",
        "degrees of freedom",
        "kind",
        "faults",
    ]);
    for r in &report.readings {
        let faults: Vec<&str> = r.faults.iter().map(|f| f.message.as_str()).collect();
        let k = r.figure.as_ref().and_then(|f| f.at_95.as_ref()).map(|c| c.factor);
        let front = [
            r.key.clone(),
            r.what.clone(),
            r.date.clone(),
            word(&r.standing),
            maybe(r.figure.as_ref().map(|f| f.value)),
            maybe(r.figure.as_ref().and_then(|f| f.standard_uncertainty)),
            maybe(k),
        ];
        let back = faults.join("; ");
        if r.budget.is_empty() {
            let mut row = front.to_vec();
            row.extend([(); 5].map(|()| String::new()));
            row.push(back);
            rows.push(row);
            continue;
        }
        for line in &r.budget {
            let mut row = front.to_vec();
            row.extend([
                line.source.clone(),
                number(line.contribution),
                number(line.share),
                maybe(line.degrees_of_freedom),
                line.kind.clone(),
                back.clone(),
            ]);
            rows.push(row);
        }
    }
    rows
}

/// One row a range.
pub(crate) fn burden(report: &BurdenReport) -> Rows {
    let mut rows = head(&[
        "range",
        "series [Ω]",
        "drop asleep [V]",
        "drop at peak [V]",
        "rail at peak [V]",
        "starts",
        "transmits",
        "peak in range",
        "u asleep (relative)",
        "verdict",
    ]);
    let truth =
        |b: Option<bool>| b.map_or_else(String::new, |b| if b { "yes" } else { "no" }.to_owned());
    for r in &report.ranges {
        rows.push(vec![
            r.range.clone(),
            maybe(r.series_ohm),
            maybe(r.drop_asleep_v),
            maybe(r.drop_peak_v),
            maybe(r.rail_peak_v),
            truth(r.boots),
            truth(r.transmits),
            truth(Some(r.peak_in_range)),
            maybe(r.relative_u_asleep),
            r.verdict.clone(),
        ]);
    }
    rows
}

/// One row a reading.
pub(crate) fn settle(report: &SettleReport) -> Rows {
    let mut rows = head(&["time [s]", "value [SI]", "advice"]);
    for r in &report.readings {
        rows.push(vec![number(r.time_s), number(r.value), r.advice.clone()]);
    }
    for r in &report.refused {
        rows.push(vec![
            String::new(),
            String::new(),
            format!("line {} not taken: {}", r.line, r.why),
        ]);
    }
    rows
}

/// One row a step.
pub(crate) fn guide(report: &GuideReport) -> Rows {
    let mut rows =
        head(&["step", "title", "state", "needed", "minutes", "in the way", "missing", "sessions"]);
    for s in &report.steps {
        rows.push(vec![
            s.number.to_string(),
            s.title.to_owned(),
            word(&s.status),
            if s.needed { "yes" } else { "no" }.to_owned(),
            s.minutes.to_string(),
            s.in_the_way.join("; "),
            s.missing.join("; "),
            s.sessions.join("; "),
        ]);
    }
    rows
}

/// One row a part.
pub(crate) fn sweep(report: &SweepReport) -> Rows {
    let mut rows = head(&["part", "current [A]", "u [A]", "presence"]);
    for p in &report.parts {
        rows.push(vec![
            p.kind.to_owned(),
            number(p.current_a),
            number(p.standard_uncertainty_a),
            number(p.presence),
        ]);
    }
    rows
}

/// One row a kind of trial.
pub(crate) fn ride(report: &RideReport) -> Rows {
    let mut rows = head(&[
        "source",
        "doing",
        "edge",
        "cell [V]",
        "resets",
        "trials",
        "low 95 %",
        "high 95 %",
        "predicted",
        "agreement",
    ]);
    for t in &report.trials {
        rows.push(vec![
            t.event.to_owned(),
            t.doing.unwrap_or_default().to_owned(),
            t.edge.unwrap_or_default().to_owned(),
            number(t.cell_v),
            t.resets.to_string(),
            t.tried.to_string(),
            maybe(t.bounds.map(|b| b[0])),
            maybe(t.bounds.map(|b| b[1])),
            maybe(t.predicted),
            t.agrees.unwrap_or_default().to_owned(),
        ]);
    }
    rows
}

/// One row a test.
pub(crate) fn next(report: &NextReport) -> Rows {
    let mut rows = head(&[
        "test",
        "kind",
        "now",
        "boards",
        "minutes",
        "gain [d]",
        "u(gain) [d]",
        "gain per minute [d]",
        "flip chance",
        "flips to",
        "matters",
        "target hinges for",
        "how",
    ]);
    for t in &report.tests {
        rows.push(vec![
            t.name.clone(),
            word(&t.kind),
            t.now.clone(),
            t.boards.join("; "),
            maybe(t.minutes),
            number(t.gain_days),
            number(t.standard_error_days),
            maybe(t.days_per_minute),
            number(t.flip_chance),
            t.flips_to.clone().unwrap_or_default(),
            if t.matters { "yes" } else { "no" }.to_owned(),
            t.hinges.join("; "),
            t.how.clone(),
        ]);
    }
    rows
}

/// One row a specimen.
pub(crate) fn specimens(report: &SpecimensReport) -> Rows {
    let mut rows = head(&["specimen", "revision", "dead since", "value [SI]", "u [SI]", "session"]);
    for s in &report.specimens {
        rows.push(vec![
            s.specimen.clone(),
            s.revision.clone().unwrap_or_default(),
            s.dead.clone().unwrap_or_default(),
            maybe(s.figure.as_ref().map(|f| f.value)),
            maybe(s.figure.as_ref().and_then(|f| f.standard_uncertainty)),
            s.session.clone().unwrap_or_default(),
        ]);
    }
    rows
}

/// One row a reason.
pub(crate) fn dispute(report: &DisputeReport) -> Rows {
    let mut rows = head(&[
        "quantity",
        "ours [SI]",
        "u(ours) [SI]",
        "theirs [SI]",
        "u(theirs) [SI]",
        "E_n",
        "outcome",
        "reason",
        "standing",
        "effect [SI]",
        "u(effect) [SI]",
        "share",
    ]);
    for d in &report.figures {
        for r in &d.reasons {
            rows.push(vec![
                d.what.clone(),
                number(d.ours.value),
                maybe(d.ours.standard_uncertainty),
                number(d.theirs.value),
                maybe(d.theirs.standard_uncertainty),
                maybe(d.normalised_error),
                word(&d.outcome),
                r.cause.clone(),
                word(&r.standing),
                maybe(r.effect),
                maybe(r.effect_u),
                maybe(r.share),
            ]);
        }
    }
    rows
}

/// One row a dead specimen.
pub(crate) fn lost(report: &LostReport) -> Rows {
    let mut rows = head(&["specimen", "board", "since", "step", "cause", "cost", "lesson"]);
    for l in &report.lost {
        rows.push(vec![
            l.specimen.clone(),
            l.board.clone(),
            l.since.clone(),
            l.step.clone().unwrap_or_default(),
            l.cause.clone(),
            l.cost.clone().unwrap_or_default(),
            l.lesson.clone().unwrap_or_default(),
        ]);
    }
    rows
}
