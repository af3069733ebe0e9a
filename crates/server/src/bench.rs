//! The documents behind the server: where they come from is the caller's affair.

use std::sync::{Arc, Mutex};

use overwinter_documents::Diagnostic;
use overwinter_workbench::ask::{Request, Waiting};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::sun::hourly_file;
use overwinter_workbench::trace_report::{TraceReply, TraceRequest};

use crate::publish::checksum;

/// The folder that is served. The binary puts its store behind this; a test puts a map behind it.
pub trait Documents: Send + Sync + 'static {
    /// All documents, `(path relative to the folder with /, text)` each.
    ///
    /// # Errors
    /// Why the folder cannot be read.
    fn read(&self) -> Result<Vec<(String, String)>, String>;

    /// Writes a document whose text was `was` when it was read; `None` where there was none.
    ///
    /// `path` has been checked: it is `folder/name.toml` of a known folder, without any way out.
    ///
    /// # Errors
    /// [`SaveFault::Changed`] when the file is no longer what it was: it is then left as it is.
    fn save(&self, path: &str, was: Option<&str>, text: &str) -> Result<(), SaveFault>;

    /// The text of another file of the folder that a document names, such as a site's hourly weather.
    ///
    /// # Errors
    /// Why it cannot be read, with how to mend it.
    fn beside(&self, path: &str) -> Result<String, Box<Diagnostic>> {
        let message = format!("{path} is not at hand here");
        Err(Box::new(Diagnostic::error("no-file", message)))
    }

    /// Answers a question about recordings, whose traces are files that only the folder's owner can read, as long as somebody waits.
    fn trace(&self, bench: &Bench, request: &TraceRequest, waiting: Waiting<'_>) -> TraceReply {
        let _ = (bench, request, waiting);
        TraceReply::Error(vec![Diagnostic::error("no-traces", "there are no traces here")])
    }
}

/// Why a document was not written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SaveFault {
    /// Somebody else wrote it meanwhile.
    #[error("{path} was changed meanwhile; it was left as it is")]
    Changed {
        /// The file.
        path: String,
        /// What it says now; `None` if it is gone.
        now: Option<String>,
    },
    /// It cannot be written.
    #[error("{0}")]
    Failed(String),
}

/// The bench as it was last read, with the checksum of its documents.
pub(crate) struct Read {
    pub(crate) bench: Bench,
    pub(crate) files: Vec<(String, String)>,
    pub(crate) checksum: String,
}

/// Keeps the read bench as long as the documents stay the same.
pub(crate) struct Shelf {
    documents: Box<dyn Documents>,
    last: Mutex<Option<Arc<Read>>>,
}

impl Shelf {
    pub(crate) fn new(documents: Box<dyn Documents>) -> Self {
        Self { documents, last: Mutex::new(None) }
    }

    /// The bench of the documents as they are now.
    pub(crate) fn now(&self) -> Result<Arc<Read>, String> {
        let files = self.documents.read()?;
        let checksum = checksum(&files);
        let mut last = self.last.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(read) = last.as_ref().filter(|read| read.checksum == checksum) {
            return Ok(Arc::clone(read));
        }
        let (mut bench, _) = Bench::read(files.clone());
        let named = bench.folder().sites.documents().filter_map(|site| site.hourly.clone());
        for file in named.collect::<Vec<_>>() {
            // One that cannot be read is told where the sun is asked.
            if let Ok(text) = self.documents.beside(&file) {
                bench.attach_weather(&file, text);
            }
        }
        let read = Arc::new(Read { bench, files, checksum });
        *last = Some(Arc::clone(&read));
        Ok(read)
    }

    /// Puts what a question needs beside the documents into it: the hourly file that its site names.
    pub(crate) fn complete(
        &self,
        bench: &Bench,
        question: &mut Request,
    ) -> Result<(), Box<Diagnostic>> {
        let Request::Sun(sun) = question else { return Ok(()) };
        if sun.hourly.is_none()
            && let Some(file) = hourly_file(bench, &sun.project, sun.site.as_deref())
        {
            sun.hourly = Some(self.documents.beside(&file)?);
        }
        Ok(())
    }

    pub(crate) fn trace(
        &self,
        bench: &Bench,
        request: &TraceRequest,
        waiting: Waiting<'_>,
    ) -> TraceReply {
        self.documents.trace(bench, request, waiting)
    }

    pub(crate) fn save(&self, path: &str, was: Option<&str>, text: &str) -> Result<(), SaveFault> {
        self.documents.save(path, was, text)
    }
}
