//! The whole folder checked for dangers that only show when board, cell and project are seen together.
//!
//! Contradictions within and between documents are found by `overwinter-documents` when a folder is read; these findings
//! come on top and have the same shape.

use overwinter_documents::types::board::Specimen;
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::project::Project;
use overwinter_documents::{Diagnostic, Entry, KeyPath, Severity, YesNo};
use overwinter_engine::{Ending, Engine};

use crate::bench::Bench;
use crate::facts::Shown;
use crate::question::{boards_of, cell_of, charger_need};
use crate::report::NeedVerdict;
use crate::text::voltage;
use crate::traits::sight;

/// Dangers and gaps of every project's boards with its cells.
pub fn check(bench: &Bench) -> Vec<Diagnostic> {
    let mut findings = Vec::new();
    for entry in bench.folder().projects.iter() {
        let project = &entry.document;
        let Ok(boards) = boards_of(bench, project) else { continue };
        let cells = project.other_cells.iter().filter_map(|name| bench.cell(name));
        for cell in cell_of(bench, project).ok().into_iter().chain(cells) {
            for board in &boards {
                let Some(board) = bench.folder().boards.get(&board.name) else { continue };
                pair(bench, project, cell, board, &mut findings);
            }
        }
    }
    findings.extend(crate::sun::findings(bench));
    // The same board and cell may stand in several projects: say it once.
    let mut seen: Vec<(String, String)> = Vec::new();
    findings.retain(|f| {
        let key = (f.code.to_owned(), f.message.clone());
        let new = !seen.contains(&key);
        if new {
            seen.push(key);
        }
        new
    });
    findings.sort_by(|a, b| b.severity.cmp(&a.severity).then_with(|| a.file.cmp(&b.file)));
    findings
}

fn pair(
    bench: &Bench,
    project: &Project,
    cell: &Cell,
    entry: &Entry<overwinter_documents::types::board::Board>,
    findings: &mut Vec<Diagnostic>,
) {
    let board = &entry.document;
    let shown = Shown::new(bench, board, None);
    let sighted = sight(bench, board, shown.specimen);
    let root = KeyPath::root().key("board");
    let mut tell = |severity, code, message: String, help: &str, key: &KeyPath| {
        findings.push(entry.place(Diagnostic::new(code, severity, message).help(help), key));
    };
    if let Some(need) = charger_need(bench, cell, &shown, &sighted.traits) {
        let key = if board.charger.is_some() { root.key("charger") } else { root.key("name") };
        match need.verdict {
            NeedVerdict::DoesNot => tell(
                Severity::Danger,
                "charger-and-cell",
                format!("{} with {}: {}", board.name, cell.name, need.reason),
                "do not connect them; change the charge current (programming resistor), the cell, or the board",
                &key,
            ),
            NeedVerdict::Undecided => tell(
                Severity::Warning,
                "charger-unknown",
                format!("{} with {}: {}", board.name, cell.name, need.reason),
                "settle it before this cell is connected to this board",
                &key,
            ),
            NeedVerdict::Fits => {}
        }
    }
    let figures = bench.folder().regulator(&board.supply).map(|(_, figures)| figures);
    let full_v = bench
        .cell_figures(cell)
        .ocv
        .and_then(|t| t.voltage.last().map(overwinter_quantity::Voltage::si));
    if let (Some(most), Some(full)) =
        (figures.and_then(|f| f.maximum_input).map(|v| v.si()), full_v)
    {
        let full = full * f64::from(cell.in_series.unwrap_or(1));
        if full > most {
            tell(
                Severity::Danger,
                "supply-too-high",
                format!(
                    "{} with {}: a full cell gives {}, the board takes at most {}",
                    board.name,
                    cell.name,
                    voltage(full),
                    voltage(most)
                ),
                "put a regulator between them, or take another cell",
                &root.key("supply"),
            );
        }
    }
    let protected_cell = bench.cell_figures(cell).protection_cut_off.is_some();
    let rechargeable =
        bench.chemistry(&cell.chemistry).is_some_and(|c| c.rechargeable == YesNo::Yes);
    if rechargeable && !protected_cell {
        match sighted.traits.deep_discharge_protection.probability_of_yes() {
            Some(p) if p >= 0.5 => {}
            Some(_) => tell(
                Severity::Danger,
                "no-discharge-protection",
                format!(
                    "{} with {}: nothing ends the discharge before the cell is harmed",
                    board.name, cell.name
                ),
                "use a cell with a protection circuit, or a board that cuts off; state `protection_cut_off` if the cell has one",
                &root.key("traits"),
            ),
            None => tell(
                Severity::Warning,
                "discharge-protection-unknown",
                format!(
                    "{} with {}: whether anything ends the discharge is unknown",
                    board.name, cell.name
                ),
                "step the supply down with a tiny load and note where the board cuts off (15 min)",
                &root.key("traits"),
            ),
        }
    }
    for (at, specimen) in board.specimens.iter().enumerate().filter(|(_, s)| s.dead.is_none()) {
        polarity(bench, cell, entry, specimen, &root.key("specimens").index(at), findings);
    }
    if let Ok(case) = crate::resolve::case(bench, project, cell, board, None)
        && let Ok(life) = Engine::new().life(&case.scenario)
        && life.life_s <= 0.0
    {
        let message = match life.ending {
            Ending::RailBelowReset => format!(
                "{} with {} in project {}: the rail does not survive the first burst, {} are missing",
                board.name,
                cell.name,
                project.name,
                voltage(life.shortfall_v)
            ),
            ending => format!(
                "{} with {} in project {}: fails at the start ({})",
                board.name,
                cell.name,
                project.name,
                crate::choice::ending_text(ending)
            ),
        };
        findings.push(entry.place(
            Diagnostic::new("burst-not-survived", Severity::Warning, message).help(
                "take a cell with less resistance, add a bulk capacitor, or take another board",
            ),
            &root.key("name"),
        ));
    }
}

fn polarity(
    bench: &Bench,
    cell: &Cell,
    entry: &Entry<overwinter_documents::types::board::Board>,
    specimen: &Specimen,
    key: &KeyPath,
    findings: &mut Vec<Diagnostic>,
) {
    let measured = crate::traits::positive_side(bench, &specimen.id);
    let lead = specimen.lead.as_ref().or(cell.lead.as_ref());
    let lead = lead.and_then(|lead| lead.positive_side.known());
    let diagnostic = match (measured, lead) {
        (None, _) => Diagnostic::new(
            "polarity-not-measured",
            Severity::Warning,
            format!("{}: the + side of this specimen is not measured", specimen.id),
        )
        .help(
            "before any cell: ohms from the USB shield to each contact with USB out (near zero is −), then volts with USB in \
             and no cell (about 4.2 V on the other is +); enter both as `polarity` of a session",
        ),
        (Some(board), Some(lead)) if board != lead => Diagnostic::new(
            "polarity-opposite",
            Severity::Danger,
            format!("{} with {}: + is on the {board} contact of the board, the cell's lead has it on the {lead}", specimen.id, cell.name),
        )
        .help("do not plug it in; swap the contacts in a plug kept for this specimen, measure both wires at its end, and enter it as the specimen's own `lead`"),
        (Some(_), None) => Diagnostic::new(
            "lead-not-measured",
            Severity::Note,
            format!("{}: which wire of its lead is + is not measured", cell.name),
        )
        .help("measure the lead of every cell, colours prove nothing; enter `lead.positive_side`"),
        (Some(_), Some(_)) => return,
    };
    findings.push(entry.place(diagnostic, key));
}
