//! Reading a table back: what differs from the folder becomes proposed edits.

use overwinter_quantity::AnyQuantity;

use crate::choice::did_you_mean;
use crate::diagnostic::Diagnostic;
use crate::sheet::csv_text::{Dialect, shown, unguarded};
use crate::sheet::{Address, Column, Content, Edit, EditValue, Form, Sheet, SheetCell};

/// What a table proposes.
#[derive(Clone, Debug, Default)]
pub struct Import {
    /// The changes.
    pub edits: Vec<Edit>,
    /// What could not be understood or applied; it changes nothing.
    pub diagnostics: Vec<Diagnostic>,
}

/// Compares a CSV text with the folder's table of now and proposes edits for the cells that differ. `file` is the CSV's
/// name for messages.
pub fn propose(sheet: &Sheet, file: &str, text: &str) -> Import {
    let mut import = Import::default();
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let dialect = detect(text);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(dialect.delimiter)
        .has_headers(true)
        .flexible(true)
        .from_reader(text.as_bytes());
    let headers = match reader.headers() {
        Ok(headers) => headers.clone(),
        Err(error) => {
            import.tell(
                file,
                text,
                None,
                "csv",
                format!("the table's header cannot be read: {error}"),
                "save it again as CSV in UTF-8",
            );
            return import;
        }
    };
    let columns = import.columns(sheet, file, text, &headers);
    if columns.iter().flatten().all(|(column, _)| *column != 0) {
        let key = sheet.columns.first().map(Column::header).unwrap_or_default();
        let message = format!("the column \"{key}\" is missing: nobody knows which row is which");
        import.tell(
            file,
            text,
            Some(1),
            "csv",
            message,
            "keep the first column as it was exported",
        );
        return import;
    }
    for record in reader.records() {
        match record {
            Ok(record) => import.row(sheet, file, text, &columns, &record, dialect),
            Err(error) => {
                let line = error.position().map(csv::Position::line);
                import.tell(
                    file,
                    text,
                    line,
                    "csv",
                    "this line cannot be read as CSV".to_owned(),
                    "check its quotes",
                );
            }
        }
    }
    import
}

/// Delimiter and decimal point, from the header line: the delimiter most met outside quotes; a semicolon or a tab goes with
/// either decimal point.
fn detect(text: &str) -> Dialect {
    let header = text.lines().next().unwrap_or("");
    let mut counts = [(b',', 0_usize), (b';', 0), (b'\t', 0)];
    let mut quoted = false;
    for byte in header.bytes() {
        quoted ^= byte == b'"';
        if let Some(count) = counts.iter_mut().find(|(delimiter, _)| !quoted && *delimiter == byte)
        {
            count.1 += 1;
        }
    }
    let delimiter = counts
        .iter()
        .rev()
        .max_by_key(|(_, count)| *count)
        .map_or(b',', |(delimiter, _)| *delimiter);
    Dialect { delimiter, decimal_comma: delimiter != b',', ..Dialect::PLAIN }
}

/// Column of the sheet and the factor from the CSV's unit to the sheet's.
type Match = Option<(usize, f64)>;

impl Import {
    fn tell(
        &mut self,
        file: &str,
        text: &str,
        line: Option<u64>,
        code: &'static str,
        message: String,
        help: &str,
    ) {
        let diagnostic = Diagnostic::warning(code, message).help(help);
        let diagnostic = match line {
            Some(line) => {
                let before: usize = text
                    .split_inclusive('\n')
                    .take(line.saturating_sub(1) as usize)
                    .map(str::len)
                    .sum();
                let length = text[before..].lines().next().map_or(0, str::len);
                diagnostic.at(file, text, before..before + length)
            }
            None => diagnostic.in_file(file),
        };
        self.diagnostics.push(diagnostic);
    }

    fn columns(
        &mut self,
        sheet: &Sheet,
        file: &str,
        text: &str,
        headers: &csv::StringRecord,
    ) -> Vec<Match> {
        let mut columns: Vec<Match> = Vec::new();
        for header in headers {
            let header = unguarded(header.trim());
            let (name, unit) = match header.strip_suffix(']').and_then(|rest| rest.rsplit_once('['))
            {
                Some((name, unit)) => (name.trim(), Some(unit.trim())),
                None => (header, None),
            };
            let found = sheet.columns.iter().position(|column| column.name == name);
            let Some(index) = found else {
                let known = sheet.columns.iter().map(|column| column.name.as_str());
                let help = match did_you_mean(name, known) {
                    Some(meant) => format!("did you mean \"{meant}\"? The column changes nothing"),
                    None => "a column of your own changes nothing".to_owned(),
                };
                self.tell(
                    file,
                    text,
                    Some(1),
                    "csv-column",
                    format!("the column \"{header}\" is not known"),
                    &help,
                );
                columns.push(None);
                continue;
            };
            if columns.iter().flatten().any(|(other, _)| *other == index) {
                let message = format!("the column \"{header}\" stands twice");
                self.tell(file, text, Some(1), "csv-column", message, "the first one counts");
                columns.push(None);
                continue;
            }
            let factor = factor(unit, sheet.columns[index].unit.as_deref());
            if factor.is_none() {
                let wanted = sheet.columns[index].header();
                let message = format!("the unit of the column \"{header}\" does not fit");
                self.tell(
                    file,
                    text,
                    Some(1),
                    "csv-column",
                    message,
                    &format!("write \"{wanted}\"; the column changes nothing"),
                );
            }
            columns.push(factor.map(|factor| (index, factor)));
        }
        columns
    }

    fn row(
        &mut self,
        sheet: &Sheet,
        file: &str,
        text: &str,
        columns: &[Match],
        record: &csv::StringRecord,
        dialect: Dialect,
    ) {
        let line = record.position().map(csv::Position::line);
        let key_at = columns.iter().position(|column| matches!(column, Some((0, _))));
        let key = key_at.and_then(|at| record.get(at)).map(str::trim).unwrap_or_default();
        if key.is_empty() && record.iter().all(|cell| cell.trim().is_empty()) {
            return;
        }
        let row = sheet.rows.iter().find(|row| {
            row.first().is_some_and(
                |cell| matches!(&cell.content, Content::Text(text) if text == unguarded(key)),
            )
        });
        let Some(row) = row else {
            let message = format!("there is no row \"{key}\" in the folder");
            self.tell(
                file,
                text,
                line,
                "csv-row",
                message,
                "a new board needs a document of its own; the row changes nothing",
            );
            return;
        };
        for (cell, column) in record.iter().zip(columns) {
            let Some((index, factor)) = column else { continue };
            if *index == 0 {
                continue;
            }
            let new = cell.trim();
            if same(&row[*index].content, new, *factor, dialect) {
                continue;
            }
            let column = &sheet.columns[*index];
            match edit(&row[*index], column, new, *factor, dialect) {
                Ok(edit) => self.edit(edit, file, text, line, key),
                Err((message, help)) => {
                    let message = format!("{key}, {}: {message}", column.name);
                    self.tell(file, text, line, "csv-cell", message, &help);
                }
            }
        }
    }

    /// Two rows of one board may propose the same edit; two that differ contradict each other.
    fn edit(&mut self, edit: Edit, file: &str, text: &str, line: Option<u64>, key: &str) {
        let other =
            self.edits.iter().find(|other| other.file == edit.file && other.key == edit.key);
        match other {
            None => self.edits.push(edit),
            Some(other) if other.value == edit.value => {}
            Some(other) => {
                let message =
                    format!("{key}: \"{}\" here, but another row says \"{}\"", edit.now, other.now);
                self.tell(
                    file,
                    text,
                    line,
                    "csv-cell",
                    message,
                    "make the rows agree; the first one counts",
                );
            }
        }
    }
}

/// Factor from the CSV's unit to the sheet's; `None` where they do not fit.
fn factor(from: Option<&str>, to: Option<&str>) -> Option<f64> {
    match (from, to) {
        (None, None) => Some(1.0),
        (Some(from), Some(to)) if from == to => Some(1.0),
        (Some(from), Some(to)) => {
            let one = |unit: &str| AnyQuantity::parse(&format!("1 {unit}")).ok();
            let (from, to) = (one(from)?, one(to)?);
            // Temperatures have an offset, not a factor.
            let fits =
                from.dimension() == to.dimension() && from.dimension().name != "a temperature";
            fits.then(|| from.si() / to.si())
        }
        _ => None,
    }
}

fn read_number(text: &str, dialect: Dialect) -> Option<f64> {
    let text = if dialect.decimal_comma { text.replace(',', ".") } else { text.to_owned() };
    text.parse().ok().filter(|number: &f64| number.is_finite())
}

/// Whether a cell shows what the folder tells.
fn same(content: &Content, new: &str, factor: f64, dialect: Dialect) -> bool {
    match content {
        Content::Number(number) => read_number(new, dialect).is_some_and(|read| {
            // Export rounds to ten figures.
            (read * factor - number).abs() <= 1e-9 * number.abs()
        }),
        Content::Text(text) => unguarded(new) == text.trim(),
        Content::Unknown | Content::Empty => new.eq_ignore_ascii_case(&shown(content, dialect)),
    }
}

type Refusal = (String, String);

fn edit(
    cell: &SheetCell,
    column: &Column,
    new: &str,
    factor: f64,
    dialect: Dialect,
) -> Result<Edit, Refusal> {
    let Some(address) = &cell.address else {
        let message = match cell.content {
            Content::Empty => "this does not apply to the board".to_owned(),
            _ => "this is computed from the documents".to_owned(),
        };
        return Err((
            message,
            "change the reading or the trait it comes from; the cell changes nothing".to_owned(),
        ));
    };
    if new.is_empty() {
        let help = "write unknown if nobody knows it, no if it is not so; the cell changes nothing";
        return Err(("an empty cell means that it does not apply".to_owned(), help.to_owned()));
    }
    let value = if new.eq_ignore_ascii_case("unknown") {
        if !address.removable {
            let help = "the model or revision tells it for every specimen: change it there";
            return Err((
                "it cannot be made unknown for this specimen alone".to_owned(),
                help.to_owned(),
            ));
        }
        None
    } else {
        Some(value(address, column, new, factor, dialect)?)
    };
    Ok(Edit {
        file: address.file.clone(),
        key: address.key.clone(),
        value,
        was: shown(&cell.content, Dialect::PLAIN),
        now: new.to_owned(),
    })
}

fn value(
    address: &Address,
    column: &Column,
    new: &str,
    factor: f64,
    dialect: Dialect,
) -> Result<EditValue, Refusal> {
    let no_number = || {
        (
            format!("\"{new}\" is no number"),
            "write a number, or unknown; the cell changes nothing".to_owned(),
        )
    };
    Ok(match address.form {
        Form::Text => EditValue::Text(unguarded(new).to_owned()),
        Form::List if new == "none" => EditValue::List(Vec::new()),
        Form::List => {
            EditValue::List(unguarded(new).split('|').map(|part| part.trim().to_owned()).collect())
        }
        Form::Whole => {
            let number = read_number(new, dialect)
                .filter(|number| number.fract() == 0.0 && (0.0..1e9).contains(number));
            EditValue::Whole(number.ok_or_else(no_number)? as i64)
        }
        Form::Quantity => {
            let number = read_number(new, dialect).ok_or_else(no_number)?;
            let unit = column.unit.as_deref().unwrap_or("");
            let number = shown(&Content::Number(number * factor), Dialect::PLAIN);
            EditValue::Text(format!("{number} {unit}"))
        }
    })
}
