//! One door for the local server: a question about recordings in, a reply out. Analyses are kept in memory as long as
//! document and files stay the same.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::SystemTime;

use overwinter_documents::types::recording::{Recording, Shows};
use overwinter_documents::{Entry, Origin};
use overwinter_traces::{Analysis, Control, StoredTrace, TraceError, analyse};
use overwinter_workbench::ask::Waiting;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::trace_report::{RecordingLine, TraceReply, TraceRequest, TraceShows};

use crate::RecordingError;
use crate::compare::compare;
use crate::rail::{Threshold, judge};
use crate::report::{report, summary};
use crate::subject::{Stated, Subject, rules, stays};
use crate::view;

/// Wakes of an overlay where nobody says how many.
const WAKES: usize = 24;
/// Points of an overlay where nobody says how many.
const POINTS: usize = 400;

/// The recordings of a folder on disk.
#[derive(Debug)]
pub struct Recordings {
    root: PathBuf,
    known: Mutex<BTreeMap<String, Known>>,
}

/// An analysis with what it was made from.
#[derive(Debug, Clone)]
struct Known {
    document: Recording,
    file: PathBuf,
    stamp: Option<(u64, SystemTime)>,
    analysis: Arc<Analysis>,
}

fn stamp(path: &Path) -> Option<(u64, SystemTime)> {
    let metadata = std::fs::metadata(path).ok()?;
    Some((metadata.len(), metadata.modified().ok()?))
}

impl Recordings {
    /// The recordings of the folder `root`.
    pub fn new(root: &Path) -> Self {
        Self { root: root.to_owned(), known: Mutex::new(BTreeMap::new()) }
    }

    /// Answers a question as long as somebody waits for the answer; a pass over a recording is given up within tenths of a second.
    pub fn answer(
        &self,
        bench: &Bench,
        request: &TraceRequest,
        waiting: Waiting<'_>,
    ) -> TraceReply {
        self.try_answer(bench, request, waiting)
            .unwrap_or_else(|error| TraceReply::Error(vec![error.diagnostic()]))
    }

    fn try_answer(
        &self,
        bench: &Bench,
        request: &TraceRequest,
        waiting: Waiting<'_>,
    ) -> Result<TraceReply, RecordingError> {
        Ok(match request {
            TraceRequest::Recordings {} => TraceReply::Recordings(self.list(bench, waiting)),
            TraceRequest::Read { recording } => {
                let subject = self.subject(bench, recording)?;
                let analysis = self.analysis(&subject, waiting)?;
                let found = report(recording, &analysis, subject.document(), bench.folder());
                TraceReply::Read(Box::new(found))
            }
            TraceRequest::Window { recording, from_s, to_s, columns } => {
                let (subject, mut trace, analysis) = self.kept(bench, recording, waiting)?;
                let naming = subject.document().map_or_else(Vec::new, rules);
                let columns = columns.unwrap_or(view::COLUMNS);
                let window = view::window(
                    recording, &mut trace, &analysis, &naming, *from_s, *to_s, columns,
                )?;
                TraceReply::Window(Box::new(window))
            }
            TraceRequest::Wakes { recording, activity, most, points } => {
                let (_, mut trace, analysis) = self.kept(bench, recording, waiting)?;
                let overlay = view::overlay(
                    recording,
                    &mut trace,
                    &analysis,
                    activity.unwrap_or(0),
                    most.unwrap_or(WAKES),
                    points.unwrap_or(POINTS),
                )?;
                TraceReply::Wakes(Box::new(overlay))
            }
            TraceRequest::Between { recording, from_s, to_s } => {
                let (_, mut trace, analysis) = self.kept(bench, recording, waiting)?;
                TraceReply::Between(view::between(
                    recording, &mut trace, &analysis, *from_s, *to_s,
                )?)
            }
            TraceRequest::Compare { before, after, project } => {
                let (a, b) = (self.subject(bench, before)?, self.subject(bench, after)?);
                for subject in [&a, &b] {
                    current_only(subject)?;
                }
                let project = project_of(bench, project.as_deref())?;
                let found = compare(
                    (before, after),
                    &*self.analysis(&a, waiting)?,
                    &*self.analysis(&b, waiting)?,
                    project.map(|project| (bench, project)),
                );
                TraceReply::Compare(Box::new(found))
            }
            TraceRequest::Rail { recording } => {
                let subject = self.subject(bench, recording)?;
                let found = judge(bench, &subject, &Stated::default(), &Threshold::default())?;
                TraceReply::Rail(Box::new(found))
            }
        })
    }

    /// A recording of the folder by name; no other file can be asked for.
    fn subject(&self, bench: &Bench, name: &str) -> Result<Subject, RecordingError> {
        let folder = bench.folder();
        if folder.recordings.get(name).is_none() {
            return Err(RecordingError::NoSuch {
                name: name.to_owned(),
                known: folder.recordings.names().map(str::to_owned).collect(),
            });
        }
        Subject::find(folder, &self.root, name)
    }

    /// The analysis of a recording's kept form, else of its source.
    pub(crate) fn analysis(
        &self,
        subject: &Subject,
        waiting: Waiting<'_>,
    ) -> Result<Arc<Analysis>, RecordingError> {
        let (Some((file, _)), Some(document)) = (subject.file(true), subject.document()) else {
            return Err(RecordingError::missing("not a recording of the folder", "name one"));
        };
        let now = stamp(&file);
        let name = subject.name();
        {
            let known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
            if let Some(found) = known.get(&name)
                && found.file == file
                && found.stamp == now
                && found.document == *document
            {
                return Ok(Arc::clone(&found.analysis));
            }
        }
        let analysis = if let Some(made) = kept_analysis(subject) {
            Arc::new(made)
        } else {
            let opened = subject.open(&Stated { kept: true, ..Stated::default() })?;
            let mut given_up = !waiting();
            let go = &mut |_: &overwinter_traces::Progress| {
                given_up |= !waiting();
                if given_up { Control::Stop } else { Control::Continue }
            };
            let made = analyse(opened.source, Some(opened.layout), &opened.options, go)?;
            // What covers a part of the recording only is nobody's answer.
            if given_up {
                return Err(TraceError::Cancelled.into());
            }
            Arc::new(made)
        };
        let made =
            Known { document: document.clone(), file, stamp: now, analysis: Arc::clone(&analysis) };
        self.known.lock().unwrap_or_else(PoisonError::into_inner).insert(name, made);
        Ok(analysis)
    }

    pub(crate) fn kept(
        &self,
        bench: &Bench,
        name: &str,
        waiting: Waiting<'_>,
    ) -> Result<(Subject, StoredTrace, Arc<Analysis>), RecordingError> {
        let subject = self.subject(bench, name)?;
        current_only(&subject)?;
        let Some((file, true)) = subject.file(true) else {
            return Err(RecordingError::missing(
                format!("“{name}” is not kept yet, so there is no zoom"),
                format!("run:  overwinter trace keep \"{name}\""),
            ));
        };
        let trace = StoredTrace::open(&file)?;
        let analysis = self.analysis(&subject, waiting)?;
        Ok((subject, trace, analysis))
    }

    /// All recordings with their summaries.
    pub fn list(&self, bench: &Bench, waiting: Waiting<'_>) -> Vec<RecordingLine> {
        let own = bench.folder().recordings.iter().filter(|e| e.origin == Origin::Folder);
        own.map(|entry| self.line(bench, entry, waiting)).collect()
    }

    pub(crate) fn line(
        &self,
        bench: &Bench,
        entry: &Entry<Recording>,
        waiting: Waiting<'_>,
    ) -> RecordingLine {
        let d = &entry.document;
        let specimen = d.specimen.as_deref().and_then(|id| bench.specimen(id));
        let firmware = d.firmware.as_ref().map(|f| {
            [&f.version, &f.hash, &f.state]
                .into_iter()
                .flatten()
                .cloned()
                .collect::<Vec<_>>()
                .join(", ")
        });
        let instrument = [d.instrument.clone(), d.range.clone()];
        let instrument: Vec<String> = instrument
            .into_iter()
            .flatten()
            .chain(d.shunt.as_ref().map(|ohm| format!("{ohm} shunt")))
            .collect();
        let missing = |path: &str| stays(path).is_err() || !self.root.join(path).is_file();
        let mut problem = match &d.kept {
            None => Some("not kept yet: no zoom".to_owned()),
            Some(kept) if missing(kept) => Some(format!("{kept} is not there: no zoom")),
            Some(_) => None,
        };
        let found =
            self.subject(bench, &d.name).and_then(|subject| self.analysis(&subject, waiting));
        let summary = match found {
            Ok(analysis) => {
                let mut short = summary(&analysis);
                if d.shows == Some(Shows::Rail) {
                    // Floor, wakes and units are questions to a current.
                    short.floor_a = None;
                    short.wakes = 0;
                    short.activities.clear();
                    let of_rows = ["gap", "clock backwards", "unreadable row", "not a number"];
                    short.defects.retain(|defect| of_rows.contains(&defect.kind.as_str()));
                    problem = None;
                }
                Some(short)
            }
            Err(error) => {
                problem = Some(error.to_string());
                None
            }
        };
        RecordingLine {
            name: d.name.clone(),
            path: entry.path.clone(),
            shows: if d.shows == Some(Shows::Rail) {
                TraceShows::Rail
            } else {
                TraceShows::Current
            },
            specimen: d.specimen.clone(),
            board: specimen.map(|(board, _)| board.name.clone()),
            date: d.date.to_string(),
            who: d.who.clone(),
            instrument: (!instrument.is_empty()).then(|| instrument.join(", ")),
            supply_v: d.supply.as_ref().map(|v| v.si()),
            temperature_c: d.temperature.as_ref().map(overwinter_quantity::Temperature::celsius),
            firmware: firmware.filter(|text| !text.is_empty()),
            note: d.note.clone(),
            trace: d.trace.clone(),
            kept: d.kept.clone(),
            summary,
            problem,
        }
    }
}

/// The analysis that the kept form holds since it was made: a look at a long recording needs no pass over it. `None` where it is not
/// kept, names of phases have changed since, or it was kept by an older version.
fn kept_analysis(subject: &Subject) -> Option<Analysis> {
    let (file, true) = subject.file(true)? else { return None };
    let naming = subject.document().map_or_else(Vec::new, rules);
    let options = overwinter_traces::Options { naming, ..overwinter_traces::Options::default() };
    let mut made = StoredTrace::open(&file).ok()?.analysis(&options)?;
    made.name = subject.name();
    Some(made)
}

fn current_only(subject: &Subject) -> Result<(), RecordingError> {
    if subject.shows_rail() {
        return Err(RecordingError::missing(
            format!("“{}” shows a rail, not a current", subject.name()),
            "ask for its verdict: `trace rail`",
        ));
    }
    Ok(())
}

/// The project of that name; the only one, or none, where no name is given.
///
/// # Errors
/// There is no such project.
pub fn project_of<'a>(
    bench: &'a Bench,
    name: Option<&str>,
) -> Result<Option<&'a overwinter_documents::types::project::Project>, RecordingError> {
    let Some(name) = name else {
        let mut all = bench.projects();
        let first = all.next();
        return Ok(first.filter(|_| all.next().is_none()));
    };
    bench.project(name).map(Some).ok_or_else(|| {
        let known: Vec<&str> = bench.projects().map(|p| p.name.as_str()).collect();
        let help = match overwinter_documents::did_you_mean(name, known.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("one of: {}", known.join(", ")),
        };
        RecordingError::missing(format!("there is no project “{name}”"), help)
    })
}
