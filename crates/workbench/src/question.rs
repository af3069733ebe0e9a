//! A project's needs and wishes asked of every board: documents to the question and its candidates.

use overwinter_documents::types::board::Board;
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::project::{Aspect, Project, Wish};
use overwinter_documents::{YesNo, did_you_mean};

use crate::bench::Bench;
use crate::choice::{Candidate, Question};
use crate::facts::Shown;
use crate::measure::ride::resets_in;
use crate::report::{CellValue, NeedResult, NeedVerdict};
use crate::resolve::{self, ResolveError};
use crate::spread::StatedPrior;
use crate::text::{Kind, charge, current, duration, life, significant};
use crate::traits::{sight, trait_needs};

/// Cautions that stand under every forecast and choice.
pub const CAUTIONS: &[&str] = &[
    "Estimate; not a safety function. Where this and a cell's data sheet, a local code or a licensed person differ, they win.",
    "Polarity is not standard: measure both wires of every specimen and every cell; never trust colour.",
    "Charge current and temperature must stay inside the cell's data sheet; most boards' chargers do not know the cell's temperature.",
];

/// Why a question cannot be asked.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum QuestionError {
    /// A name that is not in the folder.
    #[error("there is no {kind} “{name}”")]
    NoSuch {
        /// Kind of document.
        kind: &'static str,
        /// The name.
        name: String,
        /// What to do.
        help: String,
    },
    /// The project cannot be made into cases at all.
    #[error(transparent)]
    Resolve(#[from] ResolveError),
}

impl QuestionError {
    /// A missing name with the nearest known one.
    pub fn no_such<'a>(
        kind: &'static str,
        name: &str,
        known: impl Iterator<Item = &'a str>,
    ) -> Self {
        let known: Vec<&str> = known.collect();
        let help = match did_you_mean(name, known.iter().copied()) {
            Some(near) => format!("did you mean “{near}”?"),
            None if known.is_empty() => format!("the folder has no {kind} yet"),
            None => format!("there are: {}", known[..known.len().min(12)].join(", ")),
        };
        Self::NoSuch { kind, name: name.to_owned(), help }
    }

    /// What to do about it.
    pub fn help(&self) -> &str {
        match self {
            Self::NoSuch { help, .. } => help,
            Self::Resolve(error) => error.help(),
        }
    }
}

/// The boards that a project considers.
///
/// # Errors
/// A board that the project names and the folder does not have.
pub fn boards_of<'a>(bench: &'a Bench, project: &Project) -> Result<Vec<&'a Board>, QuestionError> {
    match &project.boards {
        None => Ok(bench.boards().collect()),
        Some(names) => names
            .iter()
            .map(|name| {
                bench.board(name).ok_or_else(|| {
                    QuestionError::no_such("board", name, bench.boards().map(|b| b.name.as_str()))
                })
            })
            .collect(),
    }
}

/// The project's cell.
///
/// # Errors
/// A cell that the folder does not have.
pub fn cell_of<'a>(bench: &'a Bench, project: &Project) -> Result<&'a Cell, QuestionError> {
    bench.cell(&project.cell).ok_or_else(|| {
        QuestionError::no_such("cell", &project.cell, bench.cells().map(|c| c.name.as_str()))
    })
}

/// The question a project asks.
pub fn question(project: &Project, cell: &Cell) -> Question {
    let life_need = project.needs.life.as_ref();
    let target_s =
        life_need.map(|n| n.at_least.si()).or(project.target_life.as_ref().map(|t| t.si()));
    Question {
        project: project.name.clone(),
        cell: format!(
            "{}, {}",
            cell.name,
            charge(cell.capacity.si() * f64::from(cell.in_parallel.unwrap_or(1)))
        ),
        load: load_text(project),
        target_s,
        target_chance: life_need.map_or(0.9, |n| n.probability.si()),
        life_is_need: life_need.is_some(),
        care_s: project.smallest_difference.as_ref().map(|d| d.si()),
        wishes: project.wishes.iter().copied().map(wish_text).collect(),
        life_wish: project.wishes.iter().position(|w| matches!(w, Wish::Maximise(Aspect::Life))),
        wish_differences: project
            .wishes
            .iter()
            .map(|w| match w {
                Wish::Maximise(Aspect::Life) => {
                    project.smallest_difference.as_ref().map_or(0.0, |d| d.si())
                }
                _ => 0.0,
            })
            .collect(),
        spread_prior: StatedPrior::of(Some(project)).text(),
        warnings: Vec::new(),
        cautions: CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
    }
}

fn load_text(project: &Project) -> String {
    let parts: Vec<String> = project
        .activities
        .iter()
        .map(|a| {
            let charge_text = match (&a.charge, a.segments.as_slice()) {
                (Some(q), _) => Kind::WakeCharge.text(q.si(), None),
                (None, segments) => Kind::WakeCharge
                    .text(segments.iter().map(|s| s.duration.si() * s.current.si()).sum(), None),
            };
            format!("{} every {}: {charge_text}", a.name, duration(a.every.si()))
        })
        .collect();
    parts.join("; ")
}

fn wish_text(wish: Wish) -> String {
    match wish {
        Wish::Minimise(aspect) => format!("{aspect}, little"),
        Wish::Maximise(aspect) => format!("{aspect}, much"),
    }
}

/// A board as a candidate of the project.
pub fn candidate(
    bench: &Bench,
    project: &Project,
    cell: &Cell,
    board: &Board,
    wanted: Option<&str>,
) -> Candidate {
    let shown = Shown::new(bench, board, wanted);
    let sighted = sight(bench, board, shown.specimen);
    let mut needs = trait_needs(&project.needs.traits, &sighted);
    needs.extend(charger_need(bench, cell, &shown, &sighted.traits));
    needs.extend(number_needs(project, &shown, &sighted.traits));
    if shown.is_dead() {
        of_the_living_only(&mut needs, &shown);
    }
    let case = resolve::case(bench, project, cell, board, wanted)
        .map_err(|error| format!("{error}; {}", error.help()));
    let mut left_out = Vec::new();
    let variants = if case.is_ok() {
        resolve::variants(bench, project, cell, board, wanted, &mut left_out)
    } else {
        Vec::new()
    };
    let case = case.map(|mut case| {
        case.gaps.extend(left_out);
        case
    });
    let (wishes, wish_cells) =
        project.wishes.iter().map(|w| wish_value(*w, project, &shown, &sighted.traits)).unzip();
    Candidate {
        board: board.name.clone(),
        specimen: shown.specimen.map(|s| s.id.clone()),
        case,
        needs,
        wishes,
        wish_cells,
        variants,
    }
}

/// A dead specimen answers to the eye and the caliper only: what needs power needs another specimen.
fn of_the_living_only(needs: &mut [NeedResult], shown: &Shown<'_>) {
    let name = shown.specimen.map_or(shown.board.name.as_str(), |s| s.id.as_str());
    let by_eye = |reason: &str| {
        let test = reason.rsplit_once("; ").map_or(reason, |(_, test)| test);
        let looks = ["look at the radio", "look for", "look at both", "look at the connector"];
        let other =
            ["measure the row", "measure the board", "count", "look up", "read its data sheet"];
        looks.iter().chain(&other).any(|begin| test.starts_with(begin))
    };
    for need in needs.iter_mut().filter(|n| n.verdict == NeedVerdict::Undecided) {
        if !by_eye(&need.reason) {
            need.reason = format!("unknown, and {name} is dead: another specimen is needed");
            need.test_minutes = None;
        }
    }
}

/// The charger and the cell: a danger is a need whether the project states it or not.
pub(crate) fn charger_need(
    bench: &Bench,
    cell: &Cell,
    shown: &Shown<'_>,
    traits: &overwinter_documents::types::board::Traits,
) -> Option<NeedResult> {
    let need = "charger suits the cell".to_owned();
    let chemistry = bench.chemistry(&cell.chemistry);
    let has = traits.charger.probability_of_yes().or(shown.board.charger.as_ref().map(|_| 1.0));
    let result = |verdict, reason: String, test_minutes| {
        Some(NeedResult { need: need.clone(), verdict, reason, test_minutes })
    };
    match has {
        Some(p) if p <= 0.0 => return None,
        None => {
            return result(
                NeedVerdict::Undecided,
                "whether there is a charger is unknown; look for a charger chip (3 min)".into(),
                Some(3.0),
            );
        }
        Some(_) => {}
    }
    if chemistry.is_some_and(|c| c.rechargeable == YesNo::No) {
        return result(
            NeedVerdict::DoesNot,
            format!("{} must never be charged, and this board charges", cell.name),
            None,
        );
    }
    let figures = bench.cell_figures(cell);
    // What nobody stated is the usual charger for one lithium-ion cell: the careful side, and it is said.
    let stated =
        shown.board.charger.as_ref().and_then(|c| c.float_voltage.as_ref()).map(|v| v.si());
    let float = stated.unwrap_or(4.2);
    if let Some(limit) =
        figures.charge_voltage.as_ref().map(|v| v.si() * f64::from(cell.in_series.unwrap_or(1)))
        && float > limit + 0.05
    {
        let reason = format!(
            "it charges to {}{}, the cell must not go above {}",
            crate::text::voltage(float),
            if stated.is_some() { "" } else { " (not stated; usual for a charger)" },
            crate::text::voltage(limit)
        );
        return result(NeedVerdict::DoesNot, reason, None);
    }
    let capacity_c = cell.capacity.si() * f64::from(cell.in_parallel.unwrap_or(1));
    let by_rate = figures.charge_rate.as_ref().map(|r| r.si() * capacity_c / 3600.0);
    let limit = figures.charge_current.as_ref().map(|i| i.si()).or(by_rate);
    match (shown.charge_current(), limit) {
        (Some(set), Some(limit)) => {
            let amperes = set.figure.value();
            let rate = significant(amperes * 3600.0 / capacity_c, 2);
            if amperes > limit {
                result(
                    NeedVerdict::DoesNot,
                    format!(
                        "it charges with {} ({rate} C), the cell takes at most {}",
                        current(amperes),
                        current(limit)
                    ),
                    None,
                )
            } else {
                result(
                    NeedVerdict::Fits,
                    format!("{} of at most {}", current(amperes), current(limit)),
                    None,
                )
            }
        }
        (None, _) => result(
            NeedVerdict::Undecided,
            "charge current unknown; measure it with a 0.1 Ω shunt in the cell's lead (10 min)"
                .into(),
            Some(10.0),
        ),
        (Some(_), None) => result(
            NeedVerdict::Undecided,
            "the cell's charge limit is unknown; read its data sheet (5 min)".into(),
            Some(5.0),
        ),
    }
}

fn number_needs(
    project: &Project,
    shown: &Shown<'_>,
    traits: &overwinter_documents::types::board::Traits,
) -> Vec<NeedResult> {
    let needs = &project.needs;
    let mut results = Vec::new();
    let mut check = |need: String,
                     value: Option<f64>,
                     fits: &dyn Fn(f64) -> bool,
                     text: &dyn Fn(f64) -> String,
                     test: &str,
                     minutes: f64| {
        results.push(match value {
            None => NeedResult {
                need,
                verdict: NeedVerdict::Undecided,
                reason: format!("unknown; {test} ({minutes:.0} min)"),
                test_minutes: Some(minutes),
            },
            Some(value) => NeedResult {
                need,
                verdict: if fits(value) { NeedVerdict::Fits } else { NeedVerdict::DoesNot },
                reason: text(value),
                test_minutes: None,
            },
        });
    };
    let count = |v: f64| format!("{v:.0}");
    let millimetres = |v: f64| format!("{} mm", significant(v * 1e3, 4));
    if let Some(least) = needs.free_holes_at_least {
        let value = traits.free_breadboard_holes().map(f64::from);
        check(
            format!("at least {least} free breadboard holes"),
            value,
            &|v| v >= f64::from(least),
            &count,
            "measure the row spacing",
            1.0,
        );
    }
    if let Some(least) = needs.pins_at_least {
        check(
            format!("at least {least} pins"),
            traits.pins.map(f64::from),
            &|v| v >= f64::from(least),
            &count,
            "count the pins",
            1.0,
        );
    }
    if let Some(most) = &needs.price_at_most {
        let price =
            shown.board.price.as_ref().filter(|p| p.currency == most.currency).map(|p| p.amount);
        let currency = most.currency.clone();
        check(
            format!("price at most {most}"),
            price,
            &|v| v <= most.amount,
            &|v| format!("{v:.2} {currency}"),
            "look up the price in that currency",
            5.0,
        );
    }
    if let Some(most) = &needs.length_at_most {
        check(
            format!("length at most {most}"),
            traits.length.as_ref().map(|l| l.si()),
            &|v| v <= most.si(),
            &millimetres,
            "measure the board",
            1.0,
        );
    }
    if let Some(most) = &needs.width_at_most {
        check(
            format!("width at most {most}"),
            traits.width.as_ref().map(|l| l.si()),
            &|v| v <= most.si(),
            &millimetres,
            "measure the board",
            1.0,
        );
    }
    if let Some(most) = &needs.charger_current_at_most
        && traits.charger.probability_of_yes() != Some(0.0)
    {
        let value = shown.charge_current().map(|f| f.figure.value());
        check(
            format!("charge current at most {most}"),
            value,
            &|v| v <= most.si(),
            &current,
            "measure it with a 0.1 Ω shunt in the cell's lead",
            10.0,
        );
    }
    if let Some(most) = &needs.sleep_current_at_most {
        let need = format!("sleep current at most {most}");
        results.push(match shown.sleep() {
            None => NeedResult {
                need,
                verdict: NeedVerdict::Undecided,
                reason: "never measured; measure it at the battery contacts (15 min)".into(),
                test_minutes: Some(15.0),
            },
            Some(fact) => {
                let (value, u) = (fact.figure.value(), fact.figure.standard_uncertainty());
                let text = Kind::SmallCurrent.figure(&fact.figure);
                // Within two standard uncertainties of the limit the reading cannot tell.
                let (verdict, reason, test_minutes) = if (value - most.si()).abs() < 2.0 * u {
                    (NeedVerdict::Undecided, format!("{text} cannot be told from the limit; take more repeats on a lower range (10 min)"), Some(10.0))
                } else if value < most.si() {
                    (NeedVerdict::Fits, text, None)
                } else {
                    (NeedVerdict::DoesNot, text, None)
                };
                NeedResult { need, verdict, reason, test_minutes }
            }
        });
    }
    results
}

fn wish_value(
    wish: Wish,
    project: &Project,
    shown: &Shown<'_>,
    traits: &overwinter_documents::types::board::Traits,
) -> (Option<f64>, CellValue) {
    let (aspect, sign) = match wish {
        Wish::Minimise(aspect) => (aspect, -1.0),
        Wish::Maximise(aspect) => (aspect, 1.0),
    };
    let number = |value: Option<f64>, text: &dyn Fn(f64) -> String| match value {
        Some(value) => (Some(sign * value), CellValue::Number { value, text: text(value) }),
        None => (None, CellValue::Unknown),
    };
    match aspect {
        Aspect::Life => (None, CellValue::Unknown),
        Aspect::Resets => match resets_in(shown, project, traits) {
            Some((a_year, text)) => {
                (Some(sign * a_year), CellValue::Number { value: a_year, text })
            }
            None => (None, CellValue::Unknown),
        },
        Aspect::SleepCurrent => match shown.sleep() {
            Some(fact) => (
                Some(sign * fact.figure.value()),
                CellValue::Figure(fact.value(Kind::SmallCurrent)),
            ),
            None => (None, CellValue::Unknown),
        },
        Aspect::Price => {
            let currency = shown.board.price.as_ref().map_or(String::new(), |p| p.currency.clone());
            number(shown.board.price.as_ref().map(|p| p.amount), &|v| format!("{v:.2} {currency}"))
        }
        Aspect::Size => number(traits.area_mm2(), &|v| format!("{v:.0} mm²")),
        Aspect::Mass => number(traits.mass.as_ref().map(|m| m.si()), &|v| {
            format!("{} g", significant(v * 1e3, 3))
        }),
        Aspect::FreeHoles => {
            number(traits.free_breadboard_holes().map(f64::from), &|v| format!("{v:.0}"))
        }
        Aspect::Pins => number(traits.pins.map(f64::from), &|v| format!("{v:.0}")),
        Aspect::Work => number(Some(0.0), &|_| "none".into()),
        Aspect::ChargerCurrent => match shown.charge_current() {
            Some(fact) => {
                (Some(sign * fact.figure.value()), CellValue::Figure(fact.value(Kind::PeakCurrent)))
            }
            None => (None, CellValue::Unknown),
        },
    }
}

/// A life's target in words.
pub fn target_text(question: &Question) -> Option<String> {
    question.target_s.map(life)
}
