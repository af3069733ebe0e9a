//! The comparison table as text.

use overwinter_workbench::report::{CellValue, TableReport};

use super::columns::{Cell, Columns};
use super::{DIM, cell_text, width};
use crate::chart::Axis;

/// Cells of the drawn interval.
const DRAWN: usize = 24;

/// The table; the first column of currents is drawn as intervals on a shared logarithmic axis beside its numbers.
pub(crate) fn table(report: &TableReport) -> String {
    let drawn = report.columns.iter().position(|c| c.logarithmic);
    let axis = drawn.and_then(|at| {
        let values = report
            .rows
            .iter()
            .filter_map(|row| interval(&row.cells[at]))
            .flat_map(|(a, _, b)| [a, b]);
        Axis::logarithmic(values, DRAWN)
    });
    let mut headings = vec!["board".to_owned()];
    for (at, column) in report.columns.iter().enumerate() {
        let unit =
            column.unit.as_ref().filter(|_| false).map_or(String::new(), |u| format!(" [{u}]"));
        headings.push(format!("{}{unit}", column.title));
        if Some(at) == drawn && axis.is_some() {
            headings.push(String::new());
        }
    }
    let headings: Vec<&str> = headings.iter().map(String::as_str).collect();
    let place = |at: usize| at + 1 + usize::from(axis.is_some() && drawn.is_some_and(|d| at > d));
    let right: Vec<usize> = report
        .columns
        .iter()
        .enumerate()
        .filter(|(_, c)| c.unit.is_some())
        .map(|(at, _)| place(at))
        .collect();
    let figures: Vec<usize> = right.iter().copied().chain(drawn.map(|d| d + 2)).collect();
    let mut table = Columns::new(&headings).right(&right).fixed_below_heading(&figures);
    for row in &report.rows {
        let name =
            if row.dead.is_some() { format!("{} †", row.board) } else { row.board.clone() };
        let mut line: Vec<Cell> = vec![name.into()];
        for (at, cell) in row.cells.iter().enumerate() {
            let text = cell_text(cell);
            line.push(if text == "unknown" { Cell::styled(DIM, "unknown") } else { text.into() });
            if Some(at) == drawn
                && let Some(axis) = &axis
            {
                line.push(
                    interval(cell).map_or(String::new(), |(a, m, b)| axis.interval(a, m, b)).into(),
                );
            }
        }
        table.row(line);
    }
    if let (Some(axis), Some(at)) = (&axis, drawn) {
        let per_si = report.columns[at].per_si;
        let unit = report.columns[at].unit.as_deref().unwrap_or_default();
        let mut line = vec![Cell::default(); at + 2];
        line[at + 1] = Cell::styled(DIM, unit);
        line.push(Cell::styled(DIM, axis.ticks(|v| short(v * per_si))));
        table.row(line);
    }
    let mut text = table.text(width());
    for row in report.rows.iter().filter(|r| r.dead.is_some()) {
        text.push_str(&format!("† {}: {}\n", row.board, row.dead.as_deref().unwrap_or_default()));
    }
    if !report.undecided.is_empty() {
        text.push_str(&format!(
            "Undecided, since what is asked for is unknown: {}\n",
            report.undecided.join(", ")
        ));
    }
    text
}

fn short(value: f64) -> String {
    if value >= 1000.0 {
        format!("{}k", value / 1000.0)
    } else {
        format!("{}", (value * 1000.0).round() / 1000.0)
    }
}

/// Value with its interval, k = 2.
fn interval(cell: &CellValue) -> Option<(f64, f64, f64)> {
    match cell {
        CellValue::Figure(figure) => {
            let u = figure.standard_uncertainty.unwrap_or(0.0);
            // An interval that reaches zero has no place on a logarithmic axis: it is drawn from a tenth of the value on.
            Some((
                (figure.value - 2.0 * u).max(0.1 * figure.value),
                figure.value,
                figure.value + 2.0 * u,
            ))
            .filter(|_| figure.value > 0.0)
        }
        _ => None,
    }
}
