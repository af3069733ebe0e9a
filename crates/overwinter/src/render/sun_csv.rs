//! The reports of sun and charging as rows for spreadsheets: units in the headings, unknown as an empty field.

use overwinter_workbench::report::NeedVerdict;
use overwinter_workbench::sun::report::{
    ChargeReport, ShareOfYears, SunMapReport, SunReport, TiltReport,
};

type Rows = Vec<Vec<String>>;

fn head(names: &[&str]) -> Rows {
    vec![names.iter().map(|n| (*n).to_owned()).collect()]
}

fn number(x: f64) -> String {
    format!("{x}")
}

fn maybe(x: Option<f64>) -> String {
    x.map_or_else(String::new, number)
}

fn share(s: Option<&ShareOfYears>) -> [String; 3] {
    [maybe(s.map(|s| s.share)), maybe(s.map(|s| s.low)), maybe(s.map(|s| s.high))]
}

fn verdict(verdict: Option<NeedVerdict>) -> String {
    match verdict {
        None => "",
        Some(NeedVerdict::Fits) => "fits",
        Some(NeedVerdict::Undecided) => "undecided",
        Some(NeedVerdict::DoesNot) => "does not",
    }
    .to_owned()
}

/// One row a board and month; the year's figures repeat on each.
pub(crate) fn sun(report: &SunReport) -> Rows {
    let mut rows = head(&[
        "board",
        "specimen",
        "need",
        "may charge the cell",
        "years",
        "share of years dark",
        "low (95 %)",
        "high (95 %)",
        "share of synthetic years after the file's",
        "low (95 %)",
        "high (95 %)",
        "share with uncertain inputs",
        "low (95 %)",
        "high (95 %)",
        "outage days a year",
        "longest dark [h]",
        "days without sun",
        "share of time full",
        "frost charge [h/yr]",
        "resets a year, least",
        "resets a year, most",
        "month",
        "load [mAh/d]",
        "could be charged [mAh/d]",
        "charged [mAh/d]",
        "outage days in month",
        "not run because",
    ]);
    for board in &report.boards {
        let o = board.outcome.as_ref();
        let mut front = vec![
            board.board.clone(),
            board.specimen.clone().unwrap_or_default(),
            verdict(board.need),
            verdict(board.charge.as_ref().map(|c| c.allowed)),
            o.map_or_else(String::new, |o| o.years_with_outage.years.to_string()),
        ];
        front.extend(share(o.map(|o| &o.years_with_outage)));
        front.extend(share(o.and_then(|o| o.continued.as_ref()).map(|c| &c.years_with_outage)));
        front.extend(share(o.and_then(|o| o.uncertain.as_ref()).map(|u| &u.years_with_outage)));
        front.extend([
            maybe(o.map(|o| o.outage_days_per_year)),
            maybe(o.map(|o| o.longest_dark_s / 3600.0)),
            maybe(o.map(|o| o.autonomy_days)),
            maybe(o.map(|o| o.share_full)),
            maybe(o.map(|o| o.frost_charge_hours_per_year)),
            maybe(o.map(|o| o.resets_per_year_least)),
            maybe(o.map(|o| o.resets_per_year_most)),
        ]);
        let why = board.refused.clone().unwrap_or_default();
        let Some(o) = o else {
            front.extend(std::iter::repeat_n(String::new(), 5));
            front.push(why);
            rows.push(front);
            continue;
        };
        for m in &o.months {
            let mut row = front.clone();
            row.extend([
                m.month.to_string(),
                number(m.load_c / 3.6),
                number(m.could_c / 3.6),
                number(m.taken_c / 3.6),
                number(m.outage_days),
                why.clone(),
            ]);
            rows.push(row);
        }
    }
    rows
}

/// One row a pair.
pub(crate) fn map(report: &SunMapReport) -> Rows {
    let mut rows = head(&[
        "panel [W]",
        "cell [mAh]",
        "years",
        "share of years dark",
        "low (95 %)",
        "high (95 %)",
        "outage days a year",
        "meets target",
    ]);
    for p in &report.points {
        let s = &p.years_with_outage;
        rows.push(vec![
            number(report.panels_w[p.panel]),
            number(report.cells_c[p.cell] / 3.6),
            s.years.to_string(),
            number(s.share),
            number(s.low),
            number(s.high),
            number(p.outage_days_per_year),
            if s.high <= report.target_share { "yes" } else { "no" }.to_owned(),
        ]);
    }
    rows
}

/// One row a tilt.
pub(crate) fn tilt(report: &TiltReport) -> Rows {
    let mut rows = head(&[
        "tilt [°]",
        "worst month",
        "worst [kWh/m²/d]",
        "year [kWh/m²/d]",
        "Jan",
        "Feb",
        "Mar",
        "Apr",
        "May",
        "Jun",
        "Jul",
        "Aug",
        "Sep",
        "Oct",
        "Nov",
        "Dec",
    ]);
    let all = std::iter::once(&report.best).chain(&report.now).chain(&report.tilts);
    for line in all {
        let mut row = vec![
            number(line.tilt_deg),
            line.worst_month.to_string(),
            number(line.worst_kwh_m2),
            number(line.year_kwh_m2),
        ];
        row.extend(line.months_kwh_m2.iter().map(|h| number(*h)));
        rows.push(row);
    }
    rows
}

/// One row a board and cell.
pub(crate) fn charge(report: &ChargeReport) -> Rows {
    let mut rows = head(&[
        "board",
        "cell",
        "may charge",
        "current [A]",
        "takes [s]",
        "ends at state",
        "ends",
        "reasons",
    ]);
    for line in &report.lines {
        rows.push(vec![
            line.board.clone(),
            line.cell.clone(),
            verdict(Some(line.verdict.allowed)),
            maybe(line.set_current_a),
            maybe(line.span.as_ref().map(|s| s.total_s)),
            maybe(line.span.as_ref().map(|s| s.end_state)),
            line.span.as_ref().map_or_else(String::new, |s| s.end.clone()),
            line.verdict.reasons.join("; "),
        ]);
    }
    rows
}
