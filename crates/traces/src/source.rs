//! Where the bytes come from: files, standard input, compressed and growing files; and their cutting into whole lines.

use crate::arrow::{self, Arrow};
use crate::error::TraceError;
use crate::number::PAD;
use flate2::read::MultiGzDecoder;
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// A line longer than this is passed over and counted as a refused row.
pub(crate) const LONGEST_LINE: usize = 1 << 20;
/// Bytes looked at to find the layout.
pub(crate) const HEAD: usize = 128 * 1024;

/// How the input is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compression {
    /// Not at all.
    None,
    /// gzip.
    Gzip,
    /// Zstandard.
    Zstandard,
}

/// An opened input.
pub struct Source {
    pub(crate) name: String,
    pub(crate) reader: Box<dyn Read + Send>,
    pub(crate) head: Vec<u8>,
    head_complete: bool,
    /// Why there is no more of the head.
    head_failure: Option<String>,
    pub(crate) total_bytes: Option<u64>,
    pub(crate) consumed: Arc<AtomicU64>,
    pub(crate) parquet: Option<PathBuf>,
    /// A file on the disk, not packed: it can be read at any place.
    place: Option<PathBuf>,
    /// Arrow, once it was looked into.
    arrow: Option<Box<Arrow>>,
    pub(crate) compression: Compression,
    /// Bytes already taken off the front.
    pub(crate) skipped: u64,
    /// SHA-256 of the bytes as they come, where asked for.
    pub(crate) hash: Arc<Mutex<Option<Sha256>>>,
}

impl std::fmt::Debug for Source {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Source")
            .field("name", &self.name)
            .field("compression", &self.compression)
            .finish_non_exhaustive()
    }
}

impl Source {
    /// Opens a file; `-` is standard input. gzip, Zstandard, Parquet and Arrow are recognised by their first bytes.
    ///
    /// # Errors
    /// [`TraceError::Io`], [`TraceError::Directory`], [`TraceError::Empty`].
    pub fn open(path: &Path) -> Result<Self, TraceError> {
        Self::open_with(path, None)
    }

    /// The same, with a checksum of all bytes taken on the way, for [`crate::store_source`].
    ///
    /// # Errors
    /// As [`Source::open`].
    pub fn open_hashed(path: &Path) -> Result<Self, TraceError> {
        Self::open_with(path, Some(Sha256::new()))
    }

    fn open_with(path: &Path, hash: Option<Sha256>) -> Result<Self, TraceError> {
        if path.as_os_str() == "-" {
            return Self::reader_with("standard input", Box::new(io::stdin()), hash);
        }
        let name = path.display().to_string();
        let meta = std::fs::metadata(path).map_err(|e| TraceError::io(&name, e))?;
        if meta.is_dir() {
            return Err(TraceError::Directory { name });
        }
        let file = File::open(path).map_err(|e| TraceError::io(&name, e))?;
        if meta.is_file() && meta.len() == 0 {
            return Err(TraceError::Empty { name });
        }
        let mut source = Self::reader_with(&name, Box::new(file), hash)?;
        if meta.is_file() {
            source.total_bytes = Some(meta.len());
        }
        if meta.is_file() && source.compression == Compression::None {
            source.place = Some(path.to_owned());
            source.parquet = source.head.starts_with(b"PAR1").then(|| path.to_owned());
        }
        Ok(source)
    }

    /// Reads on when the file grows, until `cancel` is set or nothing came for `idle` (for ever, if `None`).
    ///
    /// # Errors
    /// As [`Source::open`]; an empty file is waited for.
    pub fn follow(
        path: &Path,
        cancel: Arc<AtomicBool>,
        idle: Option<Duration>,
    ) -> Result<Self, TraceError> {
        let name = path.display().to_string();
        let meta = std::fs::metadata(path).map_err(|e| TraceError::io(&name, e))?;
        if meta.is_dir() {
            return Err(TraceError::Directory { name });
        }
        let file = File::open(path).map_err(|e| TraceError::io(&name, e))?;
        Self::from_reader(&name, Box::new(Growing { file, cancel, idle, last: Instant::now() }))
    }

    /// Any reader.
    ///
    /// # Errors
    /// [`TraceError::Io`] when the first bytes cannot be read, [`TraceError::Empty`] when there are none.
    pub fn from_reader(name: &str, reader: Box<dyn Read + Send>) -> Result<Self, TraceError> {
        Self::reader_with(name, reader, None)
    }

    fn reader_with(
        name: &str,
        reader: Box<dyn Read + Send>,
        hash: Option<Sha256>,
    ) -> Result<Self, TraceError> {
        let consumed = Arc::new(AtomicU64::new(0));
        let wanted = hash.is_some();
        let hash = Arc::new(Mutex::new(hash));
        let mut counted = Counted {
            inner: reader,
            count: Arc::clone(&consumed),
            hash: wanted.then(|| Arc::clone(&hash)),
        };
        let mut magic = Vec::new();
        read_up_to(&mut counted, &mut magic, 4).map_err(|e| TraceError::io(name, e))?;
        if magic.is_empty() {
            return Err(TraceError::Empty { name: name.to_owned() });
        }
        let (compression, reader, head): (_, Box<dyn Read + Send>, _) =
            if magic.starts_with(&[0x1f, 0x8b]) {
                let whole = io::Cursor::new(magic).chain(counted);
                (
                    Compression::Gzip,
                    Box::new(MultiGzDecoder::new(BufReader::with_capacity(1 << 16, whole))),
                    Vec::new(),
                )
            } else if magic == [0x28, 0xb5, 0x2f, 0xfd] {
                let whole = io::Cursor::new(magic).chain(counted);
                let decoder =
                    zstd::stream::read::Decoder::new(whole).map_err(|e| TraceError::io(name, e))?;
                (Compression::Zstandard, Box::new(decoder), Vec::new())
            } else {
                (Compression::None, Box::new(counted), magic)
            };
        Ok(Self {
            name: name.to_owned(),
            reader,
            head,
            head_complete: false,
            head_failure: None,
            total_bytes: None,
            consumed,
            parquet: None,
            place: None,
            arrow: None,
            compression,
            skipped: 0,
            hash,
        })
    }

    /// Is it Arrow, by its first bytes?
    pub(crate) fn is_arrow(&mut self) -> bool {
        self.arrow.is_some() || arrow::is_arrow(self.fill_head())
    }

    /// The reader of its record batches, which takes over from here; the same one each time.
    pub(crate) fn arrow(&mut self) -> Result<&mut Arrow, TraceError> {
        if self.arrow.is_none() {
            if !arrow::is_arrow(self.fill_head()) {
                let reason = "it does not start as Arrow does".to_owned();
                return Err(TraceError::Arrow { name: self.name.clone(), reason });
            }
            let opened = match &self.place {
                Some(path) => Arrow::file(path),
                None => {
                    let head = io::Cursor::new(std::mem::take(&mut self.head));
                    let rest = std::mem::replace(&mut self.reader, Box::new(io::empty()));
                    Arrow::stream(Box::new(head.chain(rest)))
                }
            };
            let failed = |reason| TraceError::Arrow { name: self.name.clone(), reason };
            self.arrow = Some(Box::new(opened.map_err(failed)?));
        }
        self.arrow.as_deref_mut().ok_or_else(|| TraceError::Arrow {
            name: self.name.clone(),
            reason: "it is not open".to_owned(),
        })
    }

    /// Hands that reader on.
    pub(crate) fn into_arrow(mut self) -> Option<Box<Arrow>> {
        self.arrow.take()
    }

    /// The file, where the pass reads at places of its own choice, so that the bytes do not come by one after the other.
    pub(crate) fn read_in_place(&mut self) -> Option<PathBuf> {
        let place = self.parquet.clone().or_else(|| self.place.clone())?;
        (self.parquet.is_some() || self.is_arrow()).then_some(place)
    }

    /// A packed file of which nothing can be unpacked.
    pub(crate) fn check_head(&mut self) -> Result<(), TraceError> {
        self.fill_head();
        let broken = self.head_failure.is_some() && !self.head.contains(&b'\n');
        if !self.head.is_empty() && !broken {
            return Ok(());
        }
        let kind = match self.compression {
            Compression::None => return Ok(()),
            Compression::Gzip => "gzip",
            Compression::Zstandard => "Zstandard",
        };
        let reason = match &self.head_failure {
            Some(e) => format!(
                "only {} of it can be unpacked ({e}): it is cut or damaged at its start, copy it again",
                crate::error::counted(self.head.len() as u64, "byte")
            ),
            None => "it unpacks to nothing".to_owned(),
        };
        Err(TraceError::Packed { name: self.name.clone(), kind, reason })
    }

    /// What it is called in messages.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How it is packed.
    pub fn compression(&self) -> Compression {
        self.compression
    }

    /// Reads the first bytes, once; they are handed on to the pass later. A read error is kept for the pass to meet again.
    pub(crate) fn fill_head(&mut self) -> &[u8] {
        if !self.head_complete {
            self.head_complete = true;
            let want = HEAD.saturating_sub(self.head.len());
            // Lines arrive one by one from a live source: 64 of them say enough.
            let mut chunk = [0u8; 8192];
            let mut got = 0;
            while got < want {
                let most = chunk.len().min(want - got);
                match self.reader.read(&mut chunk[..most]) {
                    Ok(0) => break,
                    Ok(n) => {
                        self.head.extend_from_slice(&chunk[..n]);
                        got += n;
                        if n < most && memchr::memchr_iter(b'\n', &self.head).count() >= 64 {
                            break;
                        }
                    }
                    Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                    Err(e) => {
                        self.head_failure = Some(e.to_string());
                        let failed = Failed(Some(e));
                        self.reader = Box::new(failed);
                        break;
                    }
                }
            }
        }
        &self.head
    }
}

/// Gives the error that came while the head was read.
struct Failed(Option<io::Error>);

impl Read for Failed {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        match self.0.take() {
            Some(e) => Err(e),
            None => Ok(0),
        }
    }
}

struct Counted {
    inner: Box<dyn Read + Send>,
    count: Arc<AtomicU64>,
    hash: Option<Arc<Mutex<Option<Sha256>>>>,
}

impl Read for Counted {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(out)?;
        self.count.fetch_add(n as u64, Ordering::Relaxed);
        if let Some(hash) = &self.hash
            && let Some(h) = hash.lock().unwrap_or_else(std::sync::PoisonError::into_inner).as_mut()
        {
            h.update(&out[..n]);
        }
        Ok(n)
    }
}

struct Growing {
    file: File,
    cancel: Arc<AtomicBool>,
    idle: Option<Duration>,
    last: Instant,
}

impl Read for Growing {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        loop {
            let n = self.file.read(out)?;
            if n > 0 {
                self.last = Instant::now();
                return Ok(n);
            }
            if self.cancel.load(Ordering::Relaxed)
                || self.idle.is_some_and(|d| self.last.elapsed() >= d)
            {
                return Ok(0);
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

pub(crate) fn read_up_to(reader: &mut dyn Read, out: &mut Vec<u8>, most: usize) -> io::Result<()> {
    let start = out.len();
    out.resize(start + most, 0);
    let mut got = 0;
    while got < most {
        match reader.read(&mut out[start + got..]) {
            Ok(0) => break,
            Ok(n) => got += n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => {
                out.truncate(start + got);
                return Err(e);
            }
        }
    }
    out.truncate(start + got);
    Ok(())
}

/// What one call of [`Chunker::next`] put into the buffer.
#[derive(Debug, Clone, Default)]
pub(crate) struct Piece {
    /// Number of the piece.
    pub(crate) number: u64,
    /// Whole lines (or whole frames) lie in `buffer[PAD..end]`.
    pub(crate) end: usize,
    /// The input's byte at `buffer[PAD]`.
    pub(crate) offset: u64,
    /// A line of this many bytes was passed over at this byte, after the piece's own lines.
    pub(crate) long_line: Option<(u64, u64)>,
    /// The input's last line has no line end.
    pub(crate) open_end: bool,
    /// Bytes left over at the end that are no whole frame.
    pub(crate) left_over: usize,
}

/// How the input may be cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cut {
    Lines,
    Frames(usize),
}

/// Cuts the input into pieces of whole lines or frames.
pub(crate) struct Chunker {
    reader: Box<dyn Read + Send>,
    head: io::Cursor<Vec<u8>>,
    carry: Vec<u8>,
    offset: u64,
    cut: Cut,
    chunk_bytes: usize,
    number: u64,
    done: bool,
    /// Line ends are lone carriage returns.
    old_line_ends: bool,
    /// Start of the line that is being passed over.
    passing: Option<u64>,
    pub(crate) failure: Option<String>,
    /// Wait for full chunks (files), or hand on what came (pipes, growing files).
    live: bool,
}

impl Chunker {
    pub(crate) fn new(source: Source, cut: Cut, chunk_bytes: usize) -> Self {
        let old_line_ends =
            cut == Cut::Lines && !source.head.contains(&b'\n') && source.head.contains(&b'\r');
        Self {
            live: source.total_bytes.is_none(),
            reader: source.reader,
            head: io::Cursor::new(source.head),
            carry: Vec::new(),
            offset: source.skipped,
            cut,
            chunk_bytes: chunk_bytes.clamp(64, 64 << 20),
            number: 0,
            done: false,
            old_line_ends,
            passing: None,
            failure: None,
        }
    }

    /// The input's byte up to which pieces were handed out.
    pub(crate) fn offset(&self) -> u64 {
        self.offset
    }

    fn fill(&mut self, buffer: &mut Vec<u8>, most: usize) {
        let start = buffer.len();
        buffer.resize(start + most, 0);
        let mut got = 0;
        while got < most {
            let from_head = self.head.read(&mut buffer[start + got..]).unwrap_or(0);
            if from_head > 0 {
                got += from_head;
                continue;
            }
            match self.reader.read(&mut buffer[start + got..]) {
                Ok(0) => {
                    self.done = true;
                    break;
                }
                Ok(n) => {
                    got += n;
                    if self.live {
                        break;
                    }
                }
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => {
                    self.failure = Some(e.to_string());
                    self.done = true;
                    break;
                }
            }
        }
        buffer.truncate(start + got);
        if self.old_line_ends {
            for b in &mut buffer[start..] {
                if *b == b'\r' {
                    *b = b'\n';
                }
            }
        }
    }

    /// The next piece; `None` at the end.
    pub(crate) fn next(&mut self, buffer: &mut Vec<u8>) -> Option<Piece> {
        if self.done && self.carry.is_empty() && self.passing.is_none() {
            return None;
        }
        buffer.clear();
        buffer.resize(PAD, b' ');
        buffer.extend_from_slice(&self.carry);
        self.carry.clear();
        let mut piece =
            Piece { number: self.number, end: PAD, offset: self.offset, ..Piece::default() };
        self.number += 1;
        let mut searched = PAD;
        loop {
            if !self.done {
                self.fill(buffer, self.chunk_bytes);
            }
            if let Some(start) = self.passing {
                // Inside a line that is too long: everything up to its end is dropped.
                match memchr::memchr(b'\n', &buffer[PAD..]) {
                    Some(k) => {
                        self.offset += k as u64 + 1;
                        piece.long_line = Some((start, self.offset - start));
                        self.passing = None;
                        self.carry.extend_from_slice(&buffer[PAD + k + 1..]);
                    }
                    None => {
                        self.offset += (buffer.len() - PAD) as u64;
                        buffer.truncate(PAD);
                        if !self.done {
                            continue;
                        }
                        piece.long_line = Some((start, self.offset - start));
                        self.passing = None;
                    }
                }
                piece.offset = start;
                return Some(piece);
            }
            let end = match self.cut {
                Cut::Lines => memchr::memrchr(b'\n', &buffer[searched..]).map(|k| searched + k + 1),
                Cut::Frames(n) => Some(PAD + (buffer.len() - PAD) / n * n).filter(|e| *e > PAD),
            };
            if self.done && self.failure.is_none() && self.cut == Cut::Lines {
                piece.end = buffer.len();
                piece.open_end = piece.end > PAD && buffer[piece.end - 1] != b'\n';
            } else if let Some(end) = end {
                piece.end = end;
                self.carry.extend_from_slice(&buffer[end..]);
            } else if self.done {
                piece.left_over = buffer.len() - PAD;
                self.offset += piece.left_over as u64;
                return (piece.left_over > 0).then_some(piece);
            } else if buffer.len() - PAD > LONGEST_LINE {
                self.passing = Some(self.offset);
                self.offset += (buffer.len() - PAD) as u64;
                buffer.truncate(PAD);
                searched = PAD;
                continue;
            } else {
                searched = buffer.len();
                continue;
            }
            self.offset += (piece.end - PAD) as u64;
            if self.done && self.carry.len() < LONGEST_LINE {
                piece.left_over = self.carry.len();
                if self.cut != Cut::Lines || self.failure.is_some() {
                    self.offset += self.carry.len() as u64;
                    self.carry.clear();
                }
            }
            return Some(piece);
        }
    }
}
