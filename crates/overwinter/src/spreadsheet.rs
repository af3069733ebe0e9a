//! Reports as CSV: units in the header, unknown kept apart from empty and from no.

use anyhow::Result;
use overwinter_documents::sheet::{Column, Content, Dialect, Edit, Sheet, boards_sheet, write_csv};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::facts::{Fact, Shown};
use overwinter_workbench::report::{
    BillReport, CellValue, ChoiceReport, ForecastReport, NeedVerdict, TableReport,
};

use crate::render::cell_text;

/// Rows as text, quoted where needed.
pub(crate) fn write(rows: &[Vec<String>]) -> Result<String> {
    let mut writer =
        csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(Vec::new());
    for row in rows {
        writer.write_record(row.iter().map(|cell| harmless(cell)))?;
    }
    Ok(String::from_utf8(writer.into_inner()?)?)
}

/// A text that a spreadsheet would run as a formula is marked as text; numbers stay as they are.
fn harmless(cell: &str) -> String {
    let formula =
        cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err();
    if formula { format!("'{cell}") } else { cell.to_owned() }
}

/// The comparison table: one row a board, a figure as its number with its standard uncertainty beside it.
pub(crate) fn table(report: &TableReport) -> Result<String> {
    let mut header = vec!["board".to_owned(), "specimen".to_owned(), "dead".to_owned()];
    for column in &report.columns {
        match &column.unit {
            Some(unit) => {
                header.push(format!("{} [{unit}]", column.title));
                header.push(format!("u({}) [{unit}]", column.title));
            }
            None => header.push(column.title.clone()),
        }
    }
    let mut rows = vec![header];
    for row in &report.rows {
        let mut line = vec![
            row.board.clone(),
            row.specimen.clone().unwrap_or_default(),
            row.dead.clone().unwrap_or_default(),
        ];
        for (column, cell) in report.columns.iter().zip(&row.cells) {
            if column.unit.is_none() {
                line.push(if *cell == CellValue::NotApplicable {
                    String::new()
                } else {
                    cell_text(cell)
                });
                continue;
            }
            let number = |value: f64| format!("{}", round(value * column.per_si));
            match cell {
                CellValue::Unknown => line.extend(["unknown".to_owned(), String::new()]),
                CellValue::Number { value, .. } => line.extend([number(*value), String::new()]),
                CellValue::Figure(figure) => {
                    line.push(number(figure.value));
                    line.push(figure.standard_uncertainty.map_or("unknown".to_owned(), number));
                }
                _ => line.extend([String::new(), String::new()]),
            }
        }
        rows.push(line);
    }
    write(&rows)
}

/// Twelve significant figures: what a spreadsheet keeps, without the noise of the last bits.
fn round(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

fn days(seconds: f64) -> String {
    format!("{:.3}", seconds / 86_400.0)
}

/// The choice: one row a board.
pub(crate) fn choice(report: &ChoiceReport) -> Result<String> {
    let header = [
        "board",
        "specimen",
        "verdict",
        "on front",
        "10 % [d]",
        "50 % [d]",
        "90 % [d]",
        "chance of target",
        "bought 10 % [d]",
        "bought 50 % [d]",
        "bought 90 % [d]",
        "bought chance of target",
        "ends by",
        "reason",
    ];
    let mut rows = vec![header.iter().map(|h| (*h).to_owned()).collect::<Vec<_>>()];
    for board in &report.boards {
        let verdict = match board.verdict {
            NeedVerdict::Fits => "fits",
            NeedVerdict::Undecided => "undecided",
            NeedVerdict::DoesNot => "does not fit",
        };
        let mut row = vec![
            board.board.clone(),
            board.specimen.clone().unwrap_or_default(),
            verdict.to_owned(),
            if board.on_front { "yes" } else { "no" }.to_owned(),
        ];
        for answer in [&board.this_specimen, &board.one_you_might_buy] {
            match answer {
                Some(a) => {
                    row.extend([
                        days(a.summary.p10_s),
                        days(a.summary.p50_s),
                        days(a.summary.p90_s),
                    ]);
                    row.push(
                        a.summary.chance_of_target.map_or(String::new(), |c| format!("{c:.4}")),
                    );
                }
                None => row.extend([
                    "unknown".into(),
                    "unknown".into(),
                    "unknown".into(),
                    "unknown".into(),
                ]),
            }
        }
        row.push(
            board
                .this_specimen
                .as_ref()
                .and_then(|a| a.endings.first())
                .map_or(String::new(), |e| e.ending.clone()),
        );
        row.push(board.reason.clone());
        rows.push(row);
    }
    write(&rows)
}

/// The forecast's curve: one row a moment.
pub(crate) fn forecast(report: &ForecastReport) -> Result<String> {
    let mut rows = vec![
        [
            "time [d]",
            "state of charge 10 %",
            "state of charge 50 %",
            "state of charge 90 %",
            "lowest rail [V]",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    for m in &report.moments {
        let mut row = vec![days(m.time_s)];
        row.extend(m.state_of_charge.iter().map(|s| format!("{s:.6}")));
        row.push(m.lowest_rail_v.map_or(String::new(), |v| format!("{v:.4}")));
        rows.push(row);
    }
    write(&rows)
}

/// The bill: one row a part.
pub(crate) fn bill(report: &BillReport) -> Result<String> {
    let mut rows = vec![
        ["part", "current [µA]", "u(current) [µA]", "kind", "source"].map(str::to_owned).to_vec(),
    ];
    for line in std::iter::once(&report.total)
        .chain(&report.lines)
        .chain(std::iter::once(&report.unexplained))
    {
        let (kind, source) = line
            .origin
            .as_ref()
            .map_or_else(Default::default, |o| (o.kind.clone(), o.source.clone()));
        rows.push(vec![
            line.name.clone(),
            format!("{}", round(line.current_a * 1e6)),
            format!("{}", round(line.standard_uncertainty_a * 1e6)),
            kind,
            source,
        ]);
    }
    write(&rows)
}

/// The table of all specimens: traits with their places, figures computed beside them.
pub(crate) fn sheet(bench: &Bench) -> Sheet {
    type Get = fn(&Shown<'_>) -> Option<Fact>;
    const FIGURES: [(&str, &str, f64, Get); 3] = [
        ("sleep current", "µA", 1e6, |s| s.sleep()),
        ("beyond the module", "µA", 1e6, |s| s.beyond_module()),
        ("charge current", "mA", 1e3, |s| s.charge_current()),
    ];
    let mut sheet = boards_sheet(bench.folder());
    for (name, unit, per_si, get) in FIGURES {
        let shown = |label: &str| match bench.specimen(label) {
            Some((board, specimen)) => Some(Shown { bench, board, specimen: Some(specimen) }),
            None => bench.board(label).map(|board| Shown { bench, board, specimen: None }),
        };
        let content = |label: &str, value: &dyn Fn(&Fact) -> f64| match shown(label) {
            // The electrical fields of a dead specimen stay empty; what nobody measured is unknown.
            Some(shown) if shown.is_dead() => Content::Empty,
            Some(shown) => {
                get(&shown).map_or(Content::Unknown, |fact| Content::Number(value(&fact) * per_si))
            }
            None => Content::Unknown,
        };
        sheet.push_computed(Column::with_unit(name, unit), |label| {
            content(label, &|f| f.figure.value())
        });
        sheet.push_computed(Column::with_unit(&format!("u({name})"), unit), |label| {
            content(label, &|f| f.figure.standard_uncertainty())
        });
    }
    sheet
}

/// The table for a spreadsheet.
pub(crate) fn export(bench: &Bench, european: bool) -> String {
    write_csv(&sheet(bench), if european { Dialect::EUROPEAN } else { Dialect::PLAIN })
}

/// Proposed changes, one a line.
pub(crate) fn edits(edits: &[Edit]) -> String {
    if edits.is_empty() {
        return "The table says the same as the folder.\n".to_owned();
    }
    let mut columns = crate::render::columns::Columns::new(&["file", "key", "was", "becomes"]);
    for edit in edits {
        columns.row([edit.file.clone(), edit.key.to_string(), edit.was.clone(), edit.now.clone()]);
    }
    columns.text(crate::render::width())
}
