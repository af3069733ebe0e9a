//! The summary that stands in a published page before any script runs, and remains where none may.

use std::fmt::Write;

use overwinter_workbench::report::{CellValue, ChoiceReport, NeedVerdict, TableReport, Truth};
use overwinter_workbench::text::{life, percent};

use crate::template::escape;

fn verdict(of: NeedVerdict) -> &'static str {
    match of {
        NeedVerdict::Fits => "fits",
        NeedVerdict::Undecided => "undecided",
        NeedVerdict::DoesNot => "out",
    }
}

fn cell(value: &CellValue) -> String {
    match value {
        CellValue::Unknown | CellValue::Trait(Truth::Unknown) => {
            r#"<span class="unknown">unknown</span>"#.to_owned()
        }
        CellValue::NotApplicable => "–".to_owned(),
        CellValue::Text(text) | CellValue::Number { text, .. } => escape(text),
        CellValue::Figure(figure) => escape(&figure.text),
        CellValue::Trait(Truth::Yes) => "yes".to_owned(),
        CellValue::Trait(Truth::No) => "no".to_owned(),
        CellValue::Trait(Truth::InferredYes(sure)) => format!("yes? {}", percent(*sure)),
        CellValue::Trait(Truth::InferredNo(sure)) => format!("no? {}", percent(*sure)),
    }
}

/// A choice as a table in HTML.
fn choice_html(out: &mut String, choice: &ChoiceReport) {
    let _ = write!(
        out,
        "<section><h2>{}</h2><p>{}</p><p>{} · {}</p><table><thead><tr><th>board</th><th>verdict</th><th>median</th>\
         <th>10 to 90 %</th><th>chance</th><th>why</th></tr></thead><tbody>",
        escape(&choice.project),
        escape(&choice.answer),
        escape(&choice.load),
        escape(&choice.cell)
    );
    for board in &choice.boards {
        let (median, interval, chance) = board.this_specimen.as_ref().map_or_else(
            || {
                (
                    r#"<span class="unknown">no forecast</span>"#.to_owned(),
                    String::new(),
                    String::new(),
                )
            },
            |l| {
                let l = &l.summary;
                (
                    life(l.p50_s),
                    format!("{} … {}", life(l.p10_s), life(l.p90_s)),
                    l.chance_of_target.map_or_else(String::new, percent),
                )
            },
        );
        let _ = write!(
            out,
            "<tr><th>{}</th><td>{}</td><td>{median}</td><td>{interval}</td><td>{chance}</td><td>{}</td></tr>",
            escape(&board.board),
            verdict(board.verdict),
            escape(&board.reason)
        );
    }
    out.push_str("</tbody></table></section>");
}

/// The whole summary.
pub(crate) fn summary(
    title: &str,
    table: &TableReport,
    choices: &[ChoiceReport],
    foot: &str,
    cautions: &[&str],
) -> String {
    let mut out = String::new();
    let _ = write!(out, r#"<div class="published"><h1>{}</h1>"#, escape(title));
    for choice in choices {
        choice_html(&mut out, choice);
    }
    out.push_str("<section><h2>Boards</h2><table><thead><tr><th>board</th>");
    for column in &table.columns {
        let _ = write!(out, "<th>{}</th>", escape(&column.title));
    }
    out.push_str("</tr></thead><tbody>");
    for row in &table.rows {
        let _ = write!(
            out,
            "<tr><th>{}{}</th>",
            escape(&row.board),
            if row.dead.is_some() { " †" } else { "" }
        );
        for value in &row.cells {
            let _ = write!(out, "<td>{}</td>", cell(value));
        }
        out.push_str("</tr>");
    }
    out.push_str("</tbody></table></section>");
    for caution in cautions {
        let _ = write!(out, "<p>{}</p>", escape(caution));
    }
    let _ = write!(out, "<p>{}</p></div>", escape(foot));
    out
}
