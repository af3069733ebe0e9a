//! The comparison table: any columns, sorted, filtered in three values.

use crate::bench::Bench;
use crate::facts::Shown;
use crate::question::QuestionError;
use crate::report::{CellValue, Column, NeedVerdict, Row, SCHEMA_VERSION, TableReport, Truth};
use crate::text::{Kind, significant};
use crate::traits::{Sighted, TRAITS, sight};

use overwinter_documents::types::session::{Source as Fed, What};

/// What is asked of the table.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TableQuery {
    /// Columns by key, in order; empty means the usual ones.
    pub columns: Vec<String>,
    /// Key to sort by; a leading `-` reverses.
    pub sort: Option<String>,
    /// Conditions `key=word`, `key<=number unit`, all of which must hold.
    pub conditions: Vec<String>,
    /// Show every specimen instead of one a board.
    pub specimens: bool,
}

struct Definition {
    key: &'static str,
    title: &'static str,
    group: &'static str,
    unit: Option<(&'static str, f64)>,
    logarithmic: bool,
    get: fn(&Shown<'_>, &Sighted<'_>) -> CellValue,
}

const MICROAMPERE: Option<(&str, f64)> = Some(("µA", 1e6));
const MILLIAMPERE: Option<(&str, f64)> = Some(("mA", 1e3));
const MILLIMETRE: Option<(&str, f64)> = Some(("mm", 1e3));
const VOLT: Option<(&str, f64)> = Some(("V", 1.0));

fn figure(fact: Option<crate::facts::Fact>, shown: &Shown<'_>, kind: Kind) -> CellValue {
    match fact {
        Some(fact) => CellValue::Figure(fact.value(kind)),
        // A dead specimen's electrical fields stay empty for ever: that is not an unknown that a test could settle.
        None if shown.is_dead() => CellValue::NotApplicable,
        None => CellValue::Unknown,
    }
}

/// Whole board minus bare module; below what the readings resolve it says so instead of a bare number.
fn beyond_module(shown: &Shown<'_>) -> CellValue {
    let mut cell = figure(shown.beyond_module(), shown, Kind::SmallCurrent);
    if let (CellValue::Figure(value), Some(text)) = (&mut cell, shown.beyond_module_text()) {
        value.text = text;
    }
    cell
}

fn count(value: Option<u32>) -> CellValue {
    value.map_or(CellValue::Unknown, |n| CellValue::Number {
        value: f64::from(n),
        text: n.to_string(),
    })
}

fn length(value: Option<&overwinter_quantity::Length>) -> CellValue {
    value.map_or(CellValue::Unknown, |l| CellValue::Number {
        value: l.si(),
        text: format!("{} mm", significant(l.si() * 1e3, 4)),
    })
}

fn text(value: Option<String>) -> CellValue {
    value.map_or(CellValue::Unknown, CellValue::Text)
}

const FIGURES: &[Definition] = &[
    Definition {
        key: "sleep",
        title: "sleep current",
        group: "on battery",
        unit: MICROAMPERE,
        logarithmic: true,
        get: |s, _| figure(s.sleep(), s, Kind::SmallCurrent),
    },
    Definition {
        key: "beyond-module",
        title: "beyond the module",
        group: "on battery",
        unit: MICROAMPERE,
        logarithmic: true,
        get: |s, _| beyond_module(s),
    },
    Definition {
        key: "idle",
        title: "idle current",
        group: "on battery",
        unit: MILLIAMPERE,
        logarithmic: true,
        get: |s, _| figure(s.reading(What::IdleCurrent, &[Fed::Battery]), s, Kind::PeakCurrent),
    },
    Definition {
        key: "lowest-supply",
        title: "lowest supply for a burst",
        group: "on battery",
        unit: VOLT,
        logarithmic: false,
        get: |s, _| figure(s.lowest_surviving(), s, Kind::Voltage),
    },
    Definition {
        key: "sleep-usb",
        title: "sleep current, USB",
        group: "on USB",
        unit: MICROAMPERE,
        logarithmic: true,
        get: |s, _| {
            figure(
                s.reading(What::SleepCurrent, &[Fed::Usb, Fed::UsbFullCell]),
                s,
                Kind::SmallCurrent,
            )
        },
    },
    Definition {
        key: "idle-usb",
        title: "idle current, USB",
        group: "on USB",
        unit: MILLIAMPERE,
        logarithmic: true,
        get: |s, _| {
            figure(
                s.reading(What::IdleCurrent, &[Fed::Usb, Fed::UsbFullCell]),
                s,
                Kind::PeakCurrent,
            )
        },
    },
    Definition {
        key: "charge-current",
        title: "charge current",
        group: "charging",
        unit: MILLIAMPERE,
        logarithmic: false,
        get: |s, t| {
            if t.traits.charger.probability_of_yes() == Some(0.0) {
                CellValue::NotApplicable
            } else {
                s.charge_current()
                    .map_or(CellValue::Unknown, |f| CellValue::Figure(f.value(Kind::PeakCurrent)))
            }
        },
    },
];

const SHAPE: &[Definition] = &[
    Definition {
        key: "pins",
        title: "pins",
        group: "shape",
        unit: None,
        logarithmic: false,
        get: |_, t| count(t.traits.pins),
    },
    Definition {
        key: "rows",
        title: "row spacing",
        group: "shape",
        unit: MILLIMETRE,
        logarithmic: false,
        get: |_, t| length(t.traits.row_spacing.as_ref()),
    },
    Definition {
        key: "free-holes",
        title: "free breadboard holes",
        group: "shape",
        unit: None,
        logarithmic: false,
        get: |_, t| count(t.traits.free_breadboard_holes()),
    },
    Definition {
        key: "buttons",
        title: "buttons",
        group: "shape",
        unit: None,
        logarithmic: false,
        get: |_, t| {
            text(
                t.traits
                    .buttons
                    .as_ref()
                    .map(|b| if b.is_empty() { "none".into() } else { b.join(", ") }),
            )
        },
    },
    Definition {
        key: "pitch",
        title: "connector pitch",
        group: "shape",
        unit: MILLIMETRE,
        logarithmic: false,
        get: |_, t| length(t.traits.battery_pitch.as_ref()),
    },
    Definition {
        key: "length",
        title: "length",
        group: "shape",
        unit: MILLIMETRE,
        logarithmic: false,
        get: |_, t| length(t.traits.length.as_ref()),
    },
    Definition {
        key: "width",
        title: "width",
        group: "shape",
        unit: MILLIMETRE,
        logarithmic: false,
        get: |_, t| length(t.traits.width.as_ref()),
    },
    Definition {
        key: "price",
        title: "price",
        group: "shape",
        unit: None,
        logarithmic: false,
        get: |s, _| {
            s.board.price.as_ref().map_or(CellValue::Unknown, |p| CellValue::Number {
                value: p.amount,
                text: p.to_string(),
            })
        },
    },
    Definition {
        key: "regulator",
        title: "regulator",
        group: "parts",
        unit: None,
        logarithmic: false,
        get: |s, t| {
            let class = s
                .board
                .supply
                .regulator
                .as_ref()
                .and_then(|r| r.class.clone().or(r.kind.map(|k| k.to_string())));
            text(class.or_else(|| t.traits.regulator_marking.clone()))
        },
    },
    Definition {
        key: "charger-marking",
        title: "charger marking",
        group: "parts",
        unit: None,
        logarithmic: false,
        get: |_, t| {
            if t.traits.charger.probability_of_yes() == Some(0.0) {
                CellValue::NotApplicable
            } else {
                text(t.traits.charger_marking.clone())
            }
        },
    },
];

/// Columns shown when none are asked for.
const USUAL: &[&str] = &[
    "sleep",
    "beyond-module",
    "idle",
    "certified",
    "antenna",
    "free-holes",
    "plus",
    "charge-current",
    "resets-removed",
    "led",
    "price",
];

fn columns() -> Vec<(Column, Getter)> {
    let mut all = Vec::new();
    let own = |d: &'static Definition| {
        let (unit, per_si) =
            d.unit.map_or((None, 1.0), |(unit, per_si)| (Some(unit.to_owned()), per_si));
        let column = Column {
            key: d.key.into(),
            title: d.title.into(),
            group: d.group.into(),
            unit,
            per_si,
            logarithmic: d.logarithmic,
        };
        (column, Getter::Own(d.get))
    };
    all.extend(FIGURES.iter().map(own));
    all.extend(TRAITS.iter().map(|t| {
        let column = Column {
            key: t.key.into(),
            title: t.title.into(),
            group: "traits".into(),
            unit: None,
            per_si: 1.0,
            logarithmic: false,
        };
        (column, Getter::Trait(t.get))
    }));
    all.extend(SHAPE.iter().map(own));
    all
}

type OwnGetter = fn(&Shown<'_>, &Sighted<'_>) -> CellValue;
type TraitGetter = fn(&overwinter_documents::types::board::Traits) -> crate::traits::Word;

#[derive(Clone, Copy)]
enum Getter {
    Own(OwnGetter),
    Trait(TraitGetter),
}

impl Getter {
    fn cell(self, shown: &Shown<'_>, sighted: &Sighted<'_>) -> CellValue {
        match self {
            Self::Own(get) => get(shown, sighted),
            Self::Trait(get) => get(&sighted.traits).cell(),
        }
    }
}

/// All columns there are, for help and for a page.
pub fn all_columns() -> Vec<Column> {
    columns().into_iter().map(|(column, _)| column).collect()
}

/// A condition on a column.
struct Condition {
    at: usize,
    test: Test,
}

enum Test {
    Word { word: String, wanted: bool },
    Number { operator: Operator, limit: f64 },
}

#[derive(Clone, Copy)]
enum Operator {
    Below,
    AtMost,
    Above,
    AtLeast,
}

/// Makes the table.
///
/// # Errors
/// A column or condition that does not exist, with what does.
pub fn table(bench: &Bench, query: &TableQuery) -> Result<TableReport, QuestionError> {
    let known = columns();
    let find = |key: &str| {
        known.iter().position(|(c, _)| c.key == key).ok_or_else(|| {
            QuestionError::no_such("column", key, known.iter().map(|(c, _)| c.key.as_str()))
        })
    };
    let wanted: Vec<usize> = if query.columns.is_empty() {
        USUAL.iter().map(|key| find(key)).collect::<Result<_, _>>()?
    } else if query.columns.iter().any(|c| c == "all") {
        (0..known.len()).collect()
    } else {
        query.columns.iter().map(|key| find(key.trim())).collect::<Result<_, _>>()?
    };
    let conditions: Vec<Condition> =
        query.conditions.iter().map(|text| condition(text, &known)).collect::<Result<_, _>>()?;
    let sort = match &query.sort {
        None => None,
        Some(text) => {
            let (key, reverse) =
                text.strip_prefix('-').map_or((text.as_str(), false), |key| (key, true));
            let at = if key == "board" { None } else { Some(find(key)?) };
            Some((at, reverse))
        }
    };
    let mut rows: Vec<(Row, CellValue)> = Vec::new();
    let mut undecided = Vec::new();
    for board in bench.boards() {
        let specimens: Vec<Option<&str>> = if query.specimens && !board.specimens.is_empty() {
            board.specimens.iter().map(|s| Some(s.id.as_str())).collect()
        } else {
            vec![None]
        };
        for specimen in specimens {
            let shown = Shown::new(bench, board, specimen);
            let sighted = sight(bench, board, shown.specimen);
            let verdict = conditions
                .iter()
                .map(|c| holds(&c.test, &known[c.at].1.cell(&shown, &sighted)))
                .max()
                .unwrap_or(NeedVerdict::Fits);
            let name = match shown.specimen.and_then(|s| s.revision.as_ref()) {
                Some(revision) if board.revisions.len() > 1 => format!("{} {revision}", board.name),
                _ => board.name.clone(),
            };
            match verdict {
                NeedVerdict::DoesNot => continue,
                NeedVerdict::Undecided => undecided.push(name.clone()),
                NeedVerdict::Fits => {}
            }
            let dead = shown
                .specimen
                .and_then(|s| s.dead.as_ref())
                .map(|d| format!("dead since {}: {}", d.since, d.cause));
            let cells = wanted.iter().map(|&at| known[at].1.cell(&shown, &sighted)).collect();
            let by = sort
                .and_then(|(at, _)| at)
                .map_or(CellValue::Text(name.clone()), |at| known[at].1.cell(&shown, &sighted));
            rows.push((
                Row { board: name, specimen: shown.specimen.map(|s| s.id.clone()), dead, cells },
                by,
            ));
        }
    }
    if let Some((_, reverse)) = sort {
        rows.sort_by(|a, b| compare(&a.1, &b.1, reverse));
    }
    Ok(TableReport {
        schema_version: SCHEMA_VERSION,
        columns: wanted.iter().map(|&at| known[at].0.clone()).collect(),
        rows: rows.into_iter().map(|(row, _)| row).collect(),
        undecided,
    })
}

/// Orders two cells; unknown and not applicable come last whichever way is asked for.
fn compare(a: &CellValue, b: &CellValue, reverse: bool) -> std::cmp::Ordering {
    use std::cmp::Ordering;
    let rank = |c: &CellValue| match c {
        CellValue::Unknown => 1,
        CellValue::NotApplicable => 2,
        _ => 0,
    };
    let by_value = match (a, b) {
        (CellValue::Text(a), CellValue::Text(b)) => a.cmp(b),
        _ => match (number(a), number(b)) {
            (Some(a), Some(b)) => a.total_cmp(&b),
            _ => Ordering::Equal,
        },
    };
    rank(a).cmp(&rank(b)).then(if reverse { by_value.reverse() } else { by_value })
}

fn number(cell: &CellValue) -> Option<f64> {
    match cell {
        CellValue::Number { value, .. } => Some(*value),
        CellValue::Figure(figure) => Some(figure.value),
        CellValue::Trait(Truth::Yes) => Some(0.0),
        CellValue::Trait(Truth::InferredYes(sure)) => Some(1.0 - sure),
        CellValue::Trait(Truth::InferredNo(sure)) => Some(1.0 + sure),
        CellValue::Trait(Truth::No) => Some(3.0),
        CellValue::Unknown
        | CellValue::NotApplicable
        | CellValue::Text(_)
        | CellValue::Trait(Truth::Unknown) => None,
    }
}

fn condition(text: &str, known: &[(Column, Getter)]) -> Result<Condition, QuestionError> {
    let refuse =
        |help: String| QuestionError::NoSuch { kind: "condition", name: text.to_owned(), help };
    let at = text.find(['=', '<', '>', '!']).ok_or_else(|| {
        refuse(
            "write `column=word`, `column!=word`, `column<number unit` or `column>=number unit`"
                .into(),
        )
    })?;
    let (key, rest) = text.split_at(at);
    let column = known.iter().position(|(c, _)| c.key == key.trim()).ok_or_else(|| {
        QuestionError::no_such("column", key.trim(), known.iter().map(|(c, _)| c.key.as_str()))
    })?;
    let (operator, value) = match rest {
        r if r.starts_with("<=") => (Some(Operator::AtMost), &r[2..]),
        r if r.starts_with(">=") => (Some(Operator::AtLeast), &r[2..]),
        r if r.starts_with("!=") => (None, &r[2..]),
        r if r.starts_with('<') => (Some(Operator::Below), &r[1..]),
        r if r.starts_with('>') => (Some(Operator::Above), &r[1..]),
        r => (None, r.trim_start_matches(['=', '!'])),
    };
    let value = value.trim();
    let test = match operator {
        None => Test::Word { word: value.to_lowercase(), wanted: !rest.starts_with("!=") },
        Some(operator) => {
            let limit = match (&known[column].0.unit, value.parse::<f64>()) {
                (None, Ok(number)) => number,
                (Some(unit), Ok(_)) => {
                    return Err(refuse(format!(
                        "write the unit with the number, such as “{value} {unit}”"
                    )));
                }
                (unit, Err(_)) => {
                    let read = overwinter_quantity::AnyQuantity::parse(value)
                        .map_err(|e| refuse(e.to_line()))?;
                    let fitting = unit.as_ref().and_then(|u| {
                        overwinter_quantity::AnyQuantity::parse(&format!("1 {u}")).ok()
                    });
                    if let (Some(fitting), Some(unit)) = (fitting, unit)
                        && fitting.dimension().name != read.dimension().name
                    {
                        let help = format!(
                            "“{}” is {}, this column is {}: write it in {unit}",
                            value,
                            read.dimension().name,
                            fitting.dimension().name
                        );
                        return Err(refuse(help));
                    }
                    read.si()
                }
            };
            Test::Number { operator, limit }
        }
    };
    Ok(Condition { at: column, test })
}

/// Whether a cell meets a condition; unknown and inferred are undecided.
fn holds(test: &Test, cell: &CellValue) -> NeedVerdict {
    let decided = |yes: bool| if yes { NeedVerdict::Fits } else { NeedVerdict::DoesNot };
    match (test, cell) {
        (Test::Word { word, wanted }, cell) => {
            let (found, sure) = match cell {
                CellValue::Unknown | CellValue::Trait(Truth::Unknown) => (None, false),
                CellValue::NotApplicable => (Some("not applicable".to_owned()), true),
                CellValue::Trait(Truth::Yes) => (Some("yes".to_owned()), true),
                CellValue::Trait(Truth::No) => (Some("no".to_owned()), true),
                CellValue::Trait(Truth::InferredYes(_)) => (Some("yes".to_owned()), false),
                CellValue::Trait(Truth::InferredNo(_)) => (Some("no".to_owned()), false),
                CellValue::Text(text) | CellValue::Number { text, .. } => {
                    (Some(text.to_lowercase()), true)
                }
                CellValue::Figure(figure) => (Some(figure.text.to_lowercase()), true),
            };
            if word == "unknown" {
                return decided(found.is_none() == *wanted);
            }
            match (found, sure) {
                (Some(found), true) => decided((found == *word) == *wanted),
                _ => NeedVerdict::Undecided,
            }
        }
        (Test::Number { operator, limit }, cell) => match number(cell) {
            Some(value) => decided(match operator {
                Operator::Below => value < *limit,
                Operator::AtMost => value <= *limit,
                Operator::Above => value > *limit,
                Operator::AtLeast => value >= *limit,
            }),
            None if matches!(cell, CellValue::NotApplicable) => NeedVerdict::DoesNot,
            None => NeedVerdict::Undecided,
        },
    }
}
