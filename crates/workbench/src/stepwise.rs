//! A choice in steps: a first report from a few draws, sharper ones from more, work shared with another instance.
//!
//! A draw is computed from its index alone, so the first 64 draws of a choice with 1 000 are its first 64 whenever they are
//! taken and whoever takes them. A [`Stepwise`] keeps what it has drawn and computes only what is missing; with all draws its
//! report is [`crate::answers::choice`] of as many draws, bit for bit (tested). Where the platform has no threads, a second
//! instance with the same question takes part of the draws and hands them over as a [`Part`]. A question that differs only in
//! what is wanted (target, needs, wishes) takes over the draws of the one before.

use std::ops::Range;

use overwinter_documents::types::project::Project;
use overwinter_engine::outcome::Flag;
use overwinter_engine::{Ending, Flags, InputError};
use serde::{Deserialize, Serialize};

use crate::answers::{add_outage, asked, outage};
use crate::bench::Bench;
use crate::case::Case;
use crate::choice::{Candidate, Question, VARIANT_DRAWS, Variant, assemble, rework_cases};
use crate::question::QuestionError;
use crate::report::{ChoiceReport, NeedResult, NeedVerdict};
use crate::resolve::ResolveError;
use crate::sampling::{
    CaseColumns, Drawn, QUICK_FROM, Quick, SampleOptions, SampledLives, distinct, map_cases,
    prepare, prepare_specimens, quick_twin,
};

/// Draws that one instance hands to another with the same question.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// The boards whose reworks these are; `None` for the boards themselves.
    pub reworks: Option<Vec<String>>,
    /// The first draw.
    pub from: usize,
    /// Per distinct case, four words a draw: bits of the life in seconds, then ending, activity and flags; of this specimen and of
    /// one you might buy.
    pub lives: Vec<Vec<u64>>,
}

/// A choice whose draws are taken little by little.
#[derive(Debug)]
pub struct Stepwise {
    question: Question,
    candidates: Vec<Candidate>,
    options: SampleOptions,
    boards: Drawing,
    /// The candidates whose reworks are drawn, and those draws.
    reworks: Option<(Vec<usize>, Drawing)>,
    /// The project whose outage need is still to be run: that takes longer than the draws and waits for the last report.
    outage: Option<Project>,
}

impl Stepwise {
    /// Asks the question of a project; nothing is drawn yet.
    ///
    /// # Errors
    /// A name that does not exist.
    pub fn new(
        bench: &Bench,
        project: &Project,
        options: SampleOptions,
    ) -> Result<Self, QuestionError> {
        let (question, mut candidates) = asked(bench, project)?;
        let outage = project.needs.outage.as_ref().map(|_| project.clone());
        if outage.is_some() {
            for candidate in &mut candidates {
                candidate.needs.push(not_run_yet());
            }
        }
        let boards = Drawing::of_boards(&candidates, options);
        Ok(Self { question, candidates, options, boards, reworks: None, outage })
    }

    /// Takes over the draws of an earlier choice where they are the same: the same boards with the same load, cell and weather,
    /// drawn as often from the same seed.
    pub fn take_over(&mut self, earlier: Self) {
        if self.options == earlier.options && self.boards.is_of(&earlier.boards) {
            self.boards = earlier.boards;
            self.reworks = earlier.reworks;
        }
    }

    /// How many draws of the boards are there, from the first on.
    pub fn drawn(&self) -> usize {
        let known = |lives: &Vec<Option<(Drawn, Drawn)>>| {
            lives.iter().position(Option::is_none).unwrap_or(lives.len())
        };
        self.boards.drawn.iter().map(known).min().unwrap_or(self.options.draws)
    }

    /// A first look: the report from `draws` draws of their own, in full and without waiting for what takes long.
    ///
    /// # Errors
    /// A case that cannot be forecast.
    pub fn glance(&self, bench: &Bench, draws: usize) -> Result<ChoiceReport, QuestionError> {
        // One draw more is asked than looked at: its report is not the last, so it does not wait for an outage need.
        let options = SampleOptions { draws: draws + 1, ..self.options };
        let mut few = Self {
            question: self.question.clone(),
            candidates: self.candidates.clone(),
            options,
            boards: Drawing::of_boards(&self.candidates, options),
            reworks: None,
            outage: None,
        };
        few.report(bench, draws)
    }

    /// Takes the draws of `range` for the boards, as far as they are missing.
    ///
    /// # Errors
    /// A case that cannot be forecast.
    pub fn draw(&mut self, range: Range<usize>) -> Result<(), QuestionError> {
        self.boards.draw(range).map_err(engine_fault)
    }

    /// Takes the draws of `range` for the reworks of these boards, as far as they are missing.
    ///
    /// # Errors
    /// A case that cannot be forecast.
    pub fn draw_reworks(
        &mut self,
        boards: &[String],
        range: Range<usize>,
    ) -> Result<(), QuestionError> {
        self.rework_drawing(boards)?.draw(range).map_err(engine_fault)
    }

    /// The draws of `range`, taken where they are missing, for another instance.
    ///
    /// # Errors
    /// A case that cannot be forecast.
    pub fn part(
        &mut self,
        reworks: Option<Vec<String>>,
        range: Range<usize>,
    ) -> Result<Part, QuestionError> {
        let from = range.start;
        let drawing = match &reworks {
            Some(boards) => self.rework_drawing(boards)?,
            None => &mut self.boards,
        };
        drawing.draw(range.clone()).map_err(engine_fault)?;
        let lives = drawing.words(range);
        Ok(Part { reworks, from, lives })
    }

    /// Takes over what another instance has drawn; what does not fit this question is left.
    ///
    /// # Errors
    /// A board without figures has no reworks.
    pub fn take(&mut self, part: &Part) -> Result<(), QuestionError> {
        let drawing = match &part.reworks {
            Some(boards) => self.rework_drawing(boards)?,
            None => &mut self.boards,
        };
        drawing.take(part.from, &part.lives);
        Ok(())
    }

    /// The report from the first `draws` draws; what is missing of them is taken. The one from all draws runs the years of an
    /// outage need too; until then that need is undecided. `bench` is the one that was asked.
    ///
    /// # Errors
    /// A case that cannot be forecast.
    pub fn report(&mut self, bench: &Bench, draws: usize) -> Result<ChoiceReport, QuestionError> {
        let draws = draws.clamp(1, self.options.draws.max(1));
        let whole = draws == self.options.draws;
        if whole && let Some(project) = self.outage.take() {
            for candidate in &mut self.candidates {
                candidate.needs.pop();
            }
            add_outage(&mut self.candidates, outage(bench, &project)?);
        }
        let sampled = self.boards.lives(draws, whole).map_err(engine_fault)?;
        let options = SampleOptions { draws, ..self.options };
        let Self { question, candidates, reworks, options: all, .. } = self;
        assemble(question, candidates, &sampled, options, |cases, some| {
            let mut kept = reworks.take().filter(|(_, drawing)| drawing.asked == cases);
            let (_, drawing) = kept.get_or_insert_with(|| {
                (failing(candidates, cases), Drawing::of_reworks(cases.to_vec(), *all))
            });
            let lives = drawing.lives(some.draws, whole);
            *reworks = kept;
            lives.map_err(|(k, error, _)| (k, error))
        })
        .map_err(|(subject, error)| ResolveError::Engine { subject, error }.into())
    }

    /// The draws of the reworks of these boards; others are forgotten.
    fn rework_drawing(&mut self, boards: &[String]) -> Result<&mut Drawing, QuestionError> {
        let wanted: Vec<usize> = (0..self.candidates.len())
            .filter(|&i| {
                let candidate = &self.candidates[i];
                !candidate.variants.is_empty()
                    && candidate.case.is_ok()
                    && boards.contains(&candidate.board)
            })
            .collect();
        let known = self.reworks.take().filter(|(known, _)| *known == wanted);
        let (wanted, drawing) = if let Some(known) = known {
            known
        } else {
            let variants: Vec<(usize, &Variant)> = wanted
                .iter()
                .flat_map(|&i| self.candidates[i].variants.iter().map(move |v| (i, v)))
                .collect();
            let cases = rework_cases(&self.candidates, &variants)
                .map_err(|(subject, error)| ResolveError::Engine { subject, error })?;
            (wanted, Drawing::of_reworks(cases, self.options))
        };
        Ok(&mut self.reworks.insert((wanted, drawing)).1)
    }
}

/// The outage need before its years were run.
fn not_run_yet() -> NeedResult {
    NeedResult {
        need: "dark in few enough years".to_owned(),
        verdict: NeedVerdict::Undecided,
        reason: "the years with sun are still being run".to_owned(),
        test_minutes: None,
    }
}

/// The candidates to which these cases belong, each rework standing after its board.
fn failing(candidates: &[Candidate], cases: &[Case]) -> Vec<usize> {
    (0..candidates.len())
        .filter(|&i| {
            !candidates[i].variants.is_empty()
                && candidates[i]
                    .case
                    .as_ref()
                    .is_ok_and(|own| cases.iter().step_by(2).any(|c| c == own))
        })
        .collect()
}

type Fault = (usize, InputError, String);

fn engine_fault((_, error, subject): Fault) -> QuestionError {
    ResolveError::Engine { subject, error }.into()
}

/// Draws of a list of cases, taken where they are wanted.
#[derive(Debug)]
struct Drawing {
    asked: Vec<Case>,
    /// Which of those are distinct, and for each that was asked its place among them.
    distinct: Vec<usize>,
    place: Vec<usize>,
    options: SampleOptions,
    prepare: fn(&[Case], SampleOptions) -> Vec<CaseColumns>,
    /// What the draws need, of the distinct cases; once one is wanted.
    prepared: Option<Prepared>,
    drawn: Vec<Vec<Option<(Drawn, Drawn)>>>,
}

#[derive(Debug)]
struct Prepared {
    columns: Vec<CaseColumns>,
    /// Quick twins, where a case has one.
    quick: Vec<Option<Quick>>,
}

impl Drawing {
    fn new(
        asked: Vec<Case>,
        options: SampleOptions,
        prepare: fn(&[Case], SampleOptions) -> Vec<CaseColumns>,
    ) -> Self {
        let (place, distinct) = distinct(&asked);
        Self {
            place,
            drawn: vec![vec![None; options.draws]; distinct.len()],
            prepared: None,
            asked,
            distinct,
            options,
            prepare,
        }
    }

    fn of_boards(candidates: &[Candidate], options: SampleOptions) -> Self {
        let cases = candidates.iter().filter_map(|c| c.case.clone().ok()).collect();
        Self::new(cases, options, prepare)
    }

    fn of_reworks(cases: Vec<Case>, options: SampleOptions) -> Self {
        let options = SampleOptions { draws: options.draws.min(VARIANT_DRAWS), ..options };
        Self::new(cases, options, prepare_specimens)
    }

    /// Whether it draws the same.
    fn is_of(&self, other: &Self) -> bool {
        self.options == other.options && self.asked == other.asked
    }

    /// A distinct case.
    fn case(&self, c: usize) -> &Case {
        &self.asked[self.distinct[c]]
    }

    fn fault(&self, c: usize, error: InputError) -> Fault {
        (self.distinct[c], error, self.case(c).board.clone())
    }

    fn prepared(&self) -> Result<Prepared, Fault> {
        let all = (self.prepare)(&self.asked, self.options);
        let columns: Vec<CaseColumns> = self.distinct.iter().map(|&k| all[k].clone()).collect();
        let draws = self.options.draws;
        let indices: Vec<usize> = (0..columns.len()).collect();
        let quick = map_cases(&indices, |&c| {
            if draws < QUICK_FROM {
                return Ok(None);
            }
            quick_twin(self.case(c), &columns[c], draws).map_err(|error| self.fault(c, error))
        });
        let quick = quick.into_iter().collect::<Result<_, _>>()?;
        Ok(Prepared { columns, quick })
    }

    fn draw(&mut self, range: Range<usize>) -> Result<(), Fault> {
        let range = range.start.min(self.options.draws)..range.end.min(self.options.draws);
        let prepared = match self.prepared.take() {
            Some(prepared) => prepared,
            None => self.prepared()?,
        };
        let prepared = self.prepared.insert(prepared);
        let tasks: Vec<(usize, Vec<usize>)> = (0..self.distinct.len())
            .map(|c| (c, range.clone().filter(|&k| self.drawn[c][k].is_none()).collect()))
            .filter(|(_, missing): &(usize, Vec<usize>)| !missing.is_empty())
            .collect();
        let (asked, distinct) = (&self.asked, &self.distinct);
        let drawn = map_cases(&tasks, |(c, missing)| {
            let case = &asked[distinct[*c]];
            let twin = prepared.quick[*c].as_ref().map(|q| &q.twin);
            prepared.columns[*c]
                .run(case, twin, missing.iter().copied())
                .map_err(|error| (distinct[*c], error, case.board.clone()))
        });
        for ((c, missing), lives) in tasks.into_iter().zip(drawn) {
            for (k, (own, bought)) in missing.into_iter().zip(lives?) {
                self.drawn[c][k] = Some((own.into(), bought.into()));
            }
        }
        Ok(())
    }

    /// The lives of all asked cases in the first draws; how many values were bounded is only known of all draws.
    fn lives(&mut self, draws: usize, whole: bool) -> Result<Vec<SampledLives>, Fault> {
        let draws = draws.min(self.options.draws);
        self.draw(0..draws)?;
        let prepared = self.prepared.as_ref();
        Ok(self
            .place
            .iter()
            .map(|&k| {
                let quick = prepared.and_then(|p| p.quick[k].as_ref());
                let bounded = prepared.filter(|_| whole).map_or(0, |p| p.columns[k].bounded);
                SampledLives::of(self.drawn[k][..draws].iter().copied().flatten(), quick, bounded)
            })
            .collect())
    }

    fn words(&self, range: Range<usize>) -> Vec<Vec<u64>> {
        let range = range.start.min(self.options.draws)..range.end.min(self.options.draws);
        self.drawn
            .iter()
            .map(|lives| {
                lives[range.clone()]
                    .iter()
                    .flatten()
                    .flat_map(|(own, bought)| [word(own), word(bought)].concat())
                    .collect()
            })
            .collect()
    }

    fn take(&mut self, from: usize, lives: &[Vec<u64>]) {
        if lives.len() != self.drawn.len() {
            return;
        }
        for (drawn, words) in self.drawn.iter_mut().zip(lives) {
            for (slot, four) in drawn.iter_mut().skip(from).zip(words.chunks_exact(4)) {
                if let (Some(own), Some(bought)) = (drawn_of(&four[..2]), drawn_of(&four[2..])) {
                    *slot = Some((own, bought));
                }
            }
        }
    }
}

const ENDINGS: [Ending; 7] = [
    Ending::RailBelowReset,
    Ending::RegulatorOutOfReach,
    Ending::CellCutoff,
    Ending::ProtectionCutoff,
    Ending::ChargeExhausted,
    Ending::ShelfLife,
    Ending::AliveAtHorizon,
];

/// A life in two words: bits of the seconds; ending in 8 bits, activity + 1 in 24, flags in 32.
fn word(life: &Drawn) -> Vec<u64> {
    let ending = ENDINGS.iter().position(|&e| e == life.ending).unwrap_or(0) as u64;
    let activity = life.activity.map_or(0, |k| k as u64 + 1);
    let flags = Flag::ALL
        .iter()
        .enumerate()
        .filter(|(_, flag)| life.flags.contains(**flag))
        .fold(0, |all, (bit, _)| all | 1_u64 << bit);
    vec![life.life_s.to_bits(), ending | activity << 8 | flags << 32]
}

fn drawn_of(words: &[u64]) -> Option<Drawn> {
    let &[life, rest] = words else { return None };
    let mut flags = Flags::default();
    for (bit, flag) in Flag::ALL.iter().enumerate() {
        if rest >> (32 + bit) & 1 == 1 {
            flags.insert(*flag);
        }
    }
    Some(Drawn {
        life_s: f64::from_bits(life),
        ending: *ENDINGS.get((rest & 0xff) as usize)?,
        activity: ((rest >> 8 & 0xff_ffff) as usize).checked_sub(1),
        flags,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::choice;
    use crate::demo::FILES;

    fn json(report: &ChoiceReport) -> String {
        format!("{report:?}")
    }

    /// In steps, shared with a second instance, or at once: the same report, for a project with seasons and one with
    /// constant climate (quick twins).
    #[test]
    fn in_steps_shared_or_at_once_the_report_is_the_same() {
        let (bench, _) = Bench::read(FILES.iter().copied());
        for name in bench.projects().map(|p| p.name.clone()).collect::<Vec<_>>() {
            let project = bench.project(&name).unwrap();
            let options = SampleOptions { draws: 300, seed: 7 };
            let at_once = choice(&bench, project, options).unwrap();

            let mut own = Stepwise::new(&bench, project, options).unwrap();
            let first = own.report(&bench, 8).unwrap();
            assert_eq!(first.draws, 8);
            let failing: Vec<String> = first
                .boards
                .iter()
                .filter(|b| b.verdict == crate::report::NeedVerdict::DoesNot)
                .map(|b| b.board.clone())
                .collect();

            let mut other = Stepwise::new(&bench, project, options).unwrap();
            let part = other.part(None, 150..300).unwrap();
            let told = serde_json::to_string(&part).unwrap();
            own.take(&serde_json::from_str(&told).unwrap()).unwrap();
            own.take(&other.part(Some(failing), 0..300).unwrap()).unwrap();
            own.draw(8..40).unwrap();
            assert_eq!(own.report(&bench, 40).unwrap().draws, 40);
            assert_eq!(json(&own.report(&bench, 300).unwrap()), json(&at_once), "{name}");
        }
    }

    /// Another target and other needs take over the draws and give what a fresh choice gives; another load does not.
    #[test]
    fn a_question_that_only_wants_otherwise_takes_over_the_draws() {
        let (bench, _) = Bench::read(FILES.iter().copied());
        let options = SampleOptions { draws: 300, seed: 7 };
        let mut before =
            Stepwise::new(&bench, bench.project("footbridges").unwrap(), options).unwrap();
        assert_eq!(before.drawn(), 0);
        before.report(&bench, 300).unwrap();
        let text = FILES.iter().find(|f| f.0 == "projects/footbridges.toml").unwrap().1;
        let read = |from: &str, to: &str| {
            let changed = text.replacen(from, to, 1);
            assert_ne!(changed, text);
            let (bench, _) = Bench::read(
                FILES.iter().map(|f| (f.0, if f.1 == text { changed.as_str() } else { f.1 })),
            );
            bench.project("footbridges").unwrap().clone()
        };
        let wants = read("at_least = \"9 months\"", "at_least = \"13 months\"");
        let mut after = Stepwise::new(&bench, &wants, options).unwrap();
        after.take_over(before);
        assert_eq!(after.drawn(), 300);
        let fresh = choice(&bench, &wants, options).unwrap();
        assert_eq!(json(&after.report(&bench, 300).unwrap()), json(&fresh));
        let loaded = read("charge = \"190 mC", "charge = \"191 mC");
        let mut other = Stepwise::new(&bench, &loaded, options).unwrap();
        other.take_over(after);
        assert_eq!(other.drawn(), 0);
    }

    #[test]
    fn a_part_of_another_question_is_left() {
        let (bench, _) = Bench::read(FILES.iter().copied());
        let project = bench.projects().next().unwrap();
        let options = SampleOptions { draws: 8, seed: 1 };
        let mut own = Stepwise::new(&bench, project, options).unwrap();
        let whole = json(&own.report(&bench, 8).unwrap());
        own.take(&Part { reworks: None, from: 0, lives: vec![vec![1, 2, 3, 4]] }).unwrap();
        assert_eq!(json(&own.report(&bench, 8).unwrap()), whole);
    }
}
