//! A sleep-current bill as bars.

use overwinter_workbench::report::{BillLine, BillReport};
use overwinter_workbench::text::voltage;

use super::{DIM, HEADING, columns, lines, list, styled};
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
    let mut table = columns(&[]);
    let row = |line: &BillLine| {
        let origin = line
            .origin
            .as_ref()
            .map_or(String::new(), |o| styled(DIM, &format!("{}: {}", o.kind, o.source)));
        vec![
            format!("  {}", line.name),
            line.text.replace(" (k = 2)", ""),
            bar(line.share, 24),
            origin,
        ]
    };
    for line in &report.lines {
        table.add_row(row(line));
    }
    table.add_row(row(&report.unexplained));
    if let Some(column) = table.column_mut(1) {
        column.set_cell_alignment(comfy_table::CellAlignment::Right);
    }
    text.push_str(&lines(&table));
    text.push_str(&format!("{}.\n", report.closure));
    if let Some(beyond) = &report.beyond_module {
        text.push_str(&format!("Whole board minus bare module: {beyond}.\n"));
    }
    text.push_str(&list("Not counted", &report.notes));
    text
}
