//! What is read: a recording of the folder, a bare file, or standard input.

use std::io::{self, Read};
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use overwinter_documents::Folder;
use overwinter_documents::types::recording::{LayoutNote, Recording, Shows};
use overwinter_traces::{Layout, NamingRule, Options, Source};

use crate::RecordingError;
use crate::layout::complete;

/// What is read.
#[derive(Debug, Clone, PartialEq)]
pub enum Subject {
    /// A recording of the folder.
    Recording {
        /// Its document.
        document: Box<Recording>,
        /// The document's file, relative to the folder.
        path: String,
        /// The folder.
        root: PathBuf,
    },
    /// A file.
    File(PathBuf),
    /// Standard input.
    Standard,
}

/// What a person states for this reading, over what the recording's document remembers.
#[derive(Debug, Clone, Default)]
pub struct Stated {
    /// Parts of the layout.
    pub layout: LayoutNote,
    /// The shunt (Ω).
    pub shunt_ohm: Option<f64>,
    /// Taken off every current (A).
    pub offset_a: Option<f64>,
    /// Read the voltage of a rail instead of a current.
    pub rail: bool,
    /// Read on while the file grows, until cancelled or nothing came for so long.
    pub follow: Option<Option<Duration>>,
    /// Set from outside to stop.
    pub cancel: Arc<AtomicBool>,
    /// Read the kept form where there is one: no checksum of the source is needed.
    pub kept: bool,
}

/// Ready for a pass.
#[derive(Debug)]
pub struct Opened {
    /// Name for reports.
    pub name: String,
    /// The source.
    pub source: Source,
    /// How it is read.
    pub layout: Layout,
    /// Options of the pass: the person's names of phases.
    pub options: Options,
}

impl Subject {
    /// The recording of that name; else the file; `-` is standard input.
    ///
    /// # Errors
    /// [`RecordingError::NoSuch`].
    pub fn find(folder: &Folder, root: &Path, text: &str) -> Result<Self, RecordingError> {
        if text == "-" {
            return Ok(Self::Standard);
        }
        if let Some(entry) = folder.recordings.get(text) {
            let recording = &entry.document;
            stays(&recording.trace)?;
            recording.kept.as_deref().map_or(Ok(()), stays)?;
            return Ok(Self::Recording {
                document: entry.document.clone(),
                path: entry.path.clone(),
                root: root.to_owned(),
            });
        }
        let mut path = PathBuf::from(text);
        if !path.exists() && stays(text).is_ok() && root.join(text).exists() {
            path = root.join(text);
        }
        if path.exists() {
            // A file that a recording describes is read as the recording says.
            let same = |trace: &str| {
                if stays(trace).is_err() {
                    return false;
                }
                let there = std::fs::canonicalize(root.join(trace));
                there.is_ok_and(|there| std::fs::canonicalize(&path).is_ok_and(|p| p == there))
            };
            let found = folder.recordings.iter().find(|entry| same(&entry.document.trace));
            return Ok(found.map_or(Self::File(path), |entry| Self::Recording {
                document: entry.document.clone(),
                path: entry.path.clone(),
                root: root.to_owned(),
            }));
        }
        Err(RecordingError::NoSuch {
            name: text.to_owned(),
            known: folder.recordings.names().map(str::to_owned).collect(),
        })
    }

    /// Its document, where it has one.
    pub fn document(&self) -> Option<&Recording> {
        match self {
            Self::Recording { document, .. } => Some(document),
            Self::File(_) | Self::Standard => None,
        }
    }

    /// Name for reports.
    pub fn name(&self) -> String {
        match self {
            Self::Recording { document, .. } => document.name.clone(),
            Self::File(path) => path.display().to_string(),
            Self::Standard => "standard input".to_owned(),
        }
    }

    /// Whether it shows a rail.
    pub fn shows_rail(&self) -> bool {
        self.document().is_some_and(|d| d.shows == Some(Shows::Rail))
    }

    /// The file that is read: the source, or the kept form where it is asked for or the source is gone.
    pub fn file(&self, prefer_kept: bool) -> Option<(PathBuf, bool)> {
        match self {
            Self::Recording { document, root, .. } => {
                let source = root.join(&document.trace);
                let kept = document.kept.as_ref().map(|kept| root.join(kept));
                match kept.filter(|kept| kept.is_file()) {
                    Some(kept) if prefer_kept || !source.exists() => Some((kept, true)),
                    _ => Some((source, false)),
                }
            }
            Self::File(path) => Some((path.clone(), false)),
            Self::Standard => None,
        }
    }

    /// Opens it and completes its layout.
    ///
    /// # Errors
    /// [`RecordingError::Trace`] where it cannot be opened or its layout cannot be told.
    pub fn open(&self, stated: &Stated) -> Result<Opened, RecordingError> {
        let (mut source, kept) = match self.file(stated.kept) {
            None => {
                let reader = Interruptible::standard(Arc::clone(&stated.cancel));
                (Source::from_reader("standard input", Box::new(reader))?, false)
            }
            Some((path, kept)) => match stated.follow {
                Some(idle) => (Source::follow(&path, Arc::clone(&stated.cancel), idle)?, kept),
                None => (Source::open_hashed(&path)?, kept),
            },
        };
        let document = self.document();
        let rail = stated.rail || self.shows_rail();
        // The kept form is SI and its offset is off already.
        let layout = if kept {
            complete(&mut source, &LayoutNote::default(), None, 0.0, rail)?
        } else {
            let note = document.map_or_else(
                || stated.layout.clone(),
                |document| over(&stated.layout, &document.layout),
            );
            let shunt = document.and_then(|d| d.shunt.as_ref()).map(|r| r.si());
            let offset = document.and_then(|d| d.offset.as_ref()).map_or(0.0, |o| o.si());
            complete(
                &mut source,
                &note,
                stated.shunt_ohm.or(shunt),
                stated.offset_a.unwrap_or(offset),
                rail,
            )?
        };
        let options =
            Options { naming: document.map_or_else(Vec::new, rules), ..Options::default() };
        Ok(Opened { name: self.name(), source, layout, options })
    }
}

/// A document's path must not lead out of the folder.
pub(crate) fn stays(path: &str) -> Result<(), RecordingError> {
    let plain = |part: Component<'_>| matches!(part, Component::Normal(_));
    if !path.is_empty() && Path::new(path).components().all(plain) {
        return Ok(());
    }
    Err(RecordingError::missing(
        format!("the path “{path}” does not lie in the folder"),
        "write it from the folder on, such as \"traces/before.csv\"",
    ))
}

/// A document's names of phases.
pub(crate) fn rules(document: &Recording) -> Vec<NamingRule> {
    let rule = |p: &overwinter_documents::types::recording::PhaseName| NamingRule {
        name: p.name.clone(),
        min_a: p.current_from.as_ref().map(|q| q.si()),
        max_a: p.current_below.as_ref().map(|q| q.si()),
        min_s: p.lasts_from.as_ref().map(|q| q.si()),
        max_s: p.lasts_below.as_ref().map(|q| q.si()),
    };
    document.phases.iter().map(rule).collect()
}

/// What was stated now over what is remembered.
pub(crate) fn over(now: &LayoutNote, remembered: &LayoutNote) -> LayoutNote {
    macro_rules! each {
        ($($field:ident)*) => {
            LayoutNote { $($field: now.$field.clone().or_else(|| remembered.$field.clone()),)* }
        };
    }
    let mut note = each!(
        samples between decimal_comma skip_lines big_endian channels skip_bytes rate interval
        time_column time_unit stamp_column clock_column date_column fraction_column fraction_unit date current_column current_unit shunt_unit less_column
        voltage_column voltage_unit
    );
    // The newer of two ways to state the same thing.
    if now.time_column.is_some() || now.stamp_column.is_some() || now.clock_column.is_some() {
        note.time_column = now.time_column;
        note.stamp_column = now.stamp_column;
        note.clock_column = now.clock_column;
    }
    if now.rate.is_some() {
        note.interval = None;
    } else if now.interval.is_some() {
        note.rate = None;
    }
    note
}

/// Standard input that ends when somebody asks for it: a pipe that says nothing must not hold the work for ever.
struct Interruptible {
    pieces: Receiver<io::Result<Vec<u8>>>,
    cancel: Arc<AtomicBool>,
    piece: Vec<u8>,
    at: usize,
}

impl Interruptible {
    fn standard(cancel: Arc<AtomicBool>) -> Self {
        let (send, pieces) = sync_channel(4);
        std::thread::spawn(move || {
            let mut input = io::stdin().lock();
            loop {
                let mut piece = vec![0_u8; 1 << 18];
                match input.read(&mut piece) {
                    Ok(0) => return,
                    Ok(n) => {
                        piece.truncate(n);
                        if send.send(Ok(piece)).is_err() {
                            return;
                        }
                    }
                    Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                    Err(error) => {
                        let _ = send.send(Err(error));
                        return;
                    }
                }
            }
        });
        Self { pieces, cancel, piece: Vec::new(), at: 0 }
    }
}

impl Read for Interruptible {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        while self.at == self.piece.len() {
            match self.pieces.recv_timeout(Duration::from_millis(50)) {
                Ok(Ok(piece)) => {
                    self.piece = piece;
                    self.at = 0;
                }
                Ok(Err(error)) => return Err(error),
                Err(RecvTimeoutError::Disconnected) => return Ok(0),
                Err(RecvTimeoutError::Timeout) if self.cancel.load(Ordering::Relaxed) => {
                    return Ok(0);
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
        }
        let n = buffer.len().min(self.piece.len() - self.at);
        buffer[..n].copy_from_slice(&self.piece[self.at..self.at + n]);
        self.at += n;
        Ok(n)
    }
}
