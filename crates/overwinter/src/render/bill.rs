//! A sleep-current bill as bars.

use overwinter_workbench::report::{BillLine, BillReport};
use overwinter_workbench::text::voltage;

use super::columns::{Cell, Columns};
use super::{DIM, HEADING, list, styled, width};
use crate::chart::bar;

/// The bill.
pub(crate) fn bill(report: &BillReport) -> String {
    let specimen = report.specimen.as_deref().unwrap_or(&report.board);
    let mut text = format!(
        "{}\n",
        styled(
            HEADING,
            &format!(
                "{specimen} asleep at about {}: {}",
                voltage(report.supply_v),
                report.total.text
            )
        )
    );
    let mut table = Columns::new(&[]).right(&[1]);
    let row = |line: &BillLine| -> Vec<Cell> {
        let origin =
            line.origin.as_ref().map_or(String::new(), |o| format!("{}: {}", o.kind, o.source));
        vec![
            format!("  {}", line.name).into(),
            line.text.replace(" (k = 2)", "").into(),
            bar(line.share, 20).into(),
            Cell::styled(DIM, origin),
        ]
    };
    for line in &report.lines {
        table.row(row(line));
    }
    table.row(row(&report.unexplained));
    text.push_str(&table.text(width()));
    text.push_str(&format!("{}.\n", report.closure));
    if let Some(beyond) = &report.beyond_module {
        text.push_str(&format!("Whole board minus bare module: {beyond}.\n"));
    }
    text.push_str(&list("Not counted", &report.notes));
    text
}
