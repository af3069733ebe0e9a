//! Arrow record batches, as a file or as a stream, batch by batch in constant memory.
//!
//! A file holds between its first and last bytes what a stream holds, so both are read from the front: a file whose end is missing
//! gives what came before, and a pipe is read like a file. Columns of one batch lie one behind the other; each is unpacked as it is read, so even a
//! table that was written as a single batch takes no more memory than a few rows.
//! Written by hand, because a few hundred lines do what is needed here; the general library for it costs half as much build time as the whole tool.
//!
//! Source: the Apache Arrow columnar format, "IPC Streaming Format", "IPC File Format", "Compression".

mod body;
mod column;
mod flat;
mod message;

use crate::columnar::drop_missing;
use crate::convert::Convert;
use crate::detect::Cell;
use crate::error::TraceError;
use crate::layout::Layout;
use crate::rows::Parsed;
use body::Body;
use column::{Cursor, Entries};
use message::{Batch, Field, Header, Kind};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::Arc;

/// A file's first bytes; two empty ones follow.
const MAGIC: &[u8; 6] = b"ARROW1";
/// Before every message.
const MARK: [u8; 4] = [0xff; 4];
/// Longer metadata are not believed.
const MOST_METADATA: u32 = 64 << 20;
/// Nor a schema without a length.
const LONGEST_BARE: usize = 1 << 20;
/// A dictionary of more values than this neither.
const MOST_ENTRIES: usize = 1 << 24;
/// Rows that detection looks at; a whole number of bytes of the validity map.
const LOOK: usize = 200;

/// Do these bytes start a file or a stream?
pub(crate) fn is_arrow(head: &[u8]) -> bool {
    // A stream's first message is a schema: its metadata are a few hundred bytes.
    let length = head.get(4..8).and_then(|b| b.try_into().ok()).map(u32::from_le_bytes);
    head.starts_with(MAGIC)
        || (head.starts_with(&MARK) && length.is_some_and(|n| n > 0 && n < MOST_METADATA))
}

/// Where the bytes come from.
enum Input {
    Stream { reader: Box<dyn Read + Send>, at: u64 },
    Disk { file: Arc<File>, at: u64, size: u64 },
}

impl Input {
    /// Reads as much as there is, up to the whole of `out`.
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let mut got = 0;
        while got < out.len() {
            let n = match self {
                Self::Stream { reader, .. } => reader.read(&mut out[got..]),
                Self::Disk { file, at, .. } => {
                    let mut file: &File = file;
                    file.seek(SeekFrom::Start(*at)).and_then(|_| file.read(&mut out[got..]))
                }
            };
            match n {
                Ok(0) => break,
                Ok(n) => {
                    got += n;
                    *self.at() += n as u64;
                }
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
        Ok(got)
    }

    fn at(&mut self) -> &mut u64 {
        match self {
            Self::Stream { at, .. } | Self::Disk { at, .. } => at,
        }
    }

    fn body(&mut self, length: u64) -> Result<Body, String> {
        let cut = |there: u64| format!("the input ends {there} bytes into a body of {length}");
        match self {
            Self::Stream { reader, at } => {
                let body = Body::take(reader, length).map_err(|e| e.to_string())?;
                *at += body.len();
                if body.len() < length { Err(cut(body.len())) } else { Ok(body) }
            }
            Self::Disk { file, at, size } => {
                let there = size.saturating_sub(*at);
                if there < length {
                    return Err(cut(there));
                }
                let body = Body::Disk { file: Arc::clone(file), from: *at, length };
                *at += length;
                Ok(body)
            }
        }
    }
}

/// The batch that is being read.
struct Open {
    body: Arc<Body>,
    batch: Batch,
    left: usize,
    /// Of the columns that the plan names, in its order.
    cursors: Vec<Cursor>,
}

/// Which columns a pass reads, and how.
#[derive(Debug, Clone)]
struct Plan {
    time: Option<(usize, f64)>,
    first: usize,
    second: Option<usize>,
    voltage: Option<(usize, f64)>,
    scale: f64,
    offset_a: f64,
    origin: i64,
}

/// Reads record batches from the front to the end.
pub(crate) struct Arrow {
    input: Input,
    is_file: bool,
    fields: Vec<Field>,
    dictionaries: BTreeMap<i64, Arc<Entries>>,
    open: Option<Open>,
    /// The mark of the next message is read already.
    marked: bool,
    ended: bool,
    /// Batches begun.
    batches: u64,
    plan: Option<Plan>,
    first_row: u64,
}

impl Arrow {
    /// A file on the disk.
    pub(crate) fn file(path: &Path) -> Result<Self, String> {
        let file = File::open(path).map_err(|e| e.to_string())?;
        let size = file.metadata().map_err(|e| e.to_string())?.len();
        Self::new(Input::Disk { file: Arc::new(file), at: 0, size })
    }

    /// Anything else.
    pub(crate) fn stream(reader: Box<dyn Read + Send>) -> Result<Self, String> {
        Self::new(Input::Stream { reader, at: 0 })
    }

    fn new(mut input: Input) -> Result<Self, String> {
        let mut head = [0u8; 8];
        let got = input.read(&mut head[..4]).map_err(|e| e.to_string())?;
        let is_file = head[..got] == MAGIC[..4];
        if is_file {
            input.read(&mut head[4..]).map_err(|e| e.to_string())?;
        }
        let mut arrow = Self {
            input,
            is_file,
            fields: Vec::new(),
            dictionaries: BTreeMap::new(),
            open: None,
            marked: !is_file && head[..got] == MARK,
            ended: false,
            batches: 0,
            plan: None,
            first_row: 0,
        };
        let metadata = match if is_file { arrow.bare_schema()? } else { None } {
            Some(bare) => bare,
            None => arrow.metadata()?.ok_or("it ends before its schema")?,
        };
        let (Header::Schema(schema), length) = message::message(&metadata)? else {
            return Err("it does not start with a schema".to_owned());
        };
        arrow.fields = message::columns(schema)?;
        arrow.input.body(length)?;
        Ok(arrow)
    }

    /// The input's byte up to which was read.
    pub(crate) fn position(&mut self) -> u64 {
        *self.input.at()
    }

    /// The same, with the open batch counted by its share of rows.
    pub(crate) fn progress(&mut self) -> u64 {
        let ahead = self
            .open
            .as_ref()
            .map_or(0.0, |o| o.body.len() as f64 * (o.left as f64 / o.batch.rows.max(1) as f64));
        self.position().saturating_sub(ahead as u64)
    }

    /// A file's schema without mark and length, as one writer leaves it, who counts on the copy in the footer: it reaches to the next mark.
    fn bare_schema(&mut self) -> Result<Option<Vec<u8>>, String> {
        let mut bytes = Vec::new();
        let mut word = [0u8; 4];
        while self.input.read(&mut word).map_err(|e| e.to_string())? == 4 {
            if word == MARK && bytes.len() % 8 == 0 {
                self.marked = true;
                return Ok((!bytes.is_empty()).then_some(bytes));
            }
            bytes.extend_from_slice(&word);
            if bytes.len() > LONGEST_BARE {
                return Err("no schema within its first bytes".to_owned());
            }
        }
        Err("the input ends inside its schema".to_owned())
    }

    /// The next message's metadata; `None` at the end.
    fn metadata(&mut self) -> Result<Option<Vec<u8>>, String> {
        let io = |e: io::Error| e.to_string();
        if !std::mem::take(&mut self.marked) {
            let at = *self.input.at();
            let mut mark = [0u8; 4];
            match self.input.read(&mut mark).map_err(io)? {
                // A stream may simply end; a file has more behind its batches.
                0 if !self.is_file => return Ok(None),
                4 if mark == MARK => {}
                4 => return Err(format!("no message starts at byte {at}")),
                _ => return Err("the input ends before its last mark: it was cut".to_owned()),
            }
        }
        let at = *self.input.at() - 4;
        let mut length = [0u8; 4];
        if self.input.read(&mut length).map_err(io)? < 4 {
            return Err("the input ends inside a message".to_owned());
        }
        let length = u32::from_le_bytes(length);
        if length == 0 {
            return Ok(None);
        }
        if length > MOST_METADATA {
            return Err(format!("the message at byte {at} announces {length} bytes of metadata"));
        }
        let mut bytes = Vec::new();
        // Grown as the bytes come: a length is no promise.
        while bytes.len() < length as usize {
            let before = bytes.len();
            bytes.resize((before + 65_536).min(length as usize), 0);
            if self.input.read(&mut bytes[before..]).map_err(io)? < bytes.len() - before {
                return Err("the input ends inside a message".to_owned());
            }
        }
        Ok(Some(bytes))
    }

    /// Goes on to a batch with rows; `false` at the end.
    fn advance(&mut self) -> Result<bool, String> {
        while self.open.as_ref().is_none_or(|o| o.left == 0) {
            self.open = None;
            if self.ended {
                return Ok(false);
            }
            let Some(metadata) = self.metadata()? else {
                self.ended = true;
                if let Input::Stream { reader, .. } = &mut self.input {
                    // The rest (a file's footer) counts for the checksum, and whoever writes is not cut off.
                    io::copy(reader, &mut io::sink()).map_err(|e| e.to_string())?;
                }
                return Ok(false);
            };
            let (header, length) = message::message(&metadata)?;
            match header {
                Header::Batch(table) => {
                    self.batches += 1;
                    let batch = message::batch(table, &self.fields)?;
                    let body = Arc::new(self.input.body(length)?);
                    let left = batch.rows;
                    let mut open = Open { body, batch, left, cursors: Vec::new() };
                    if left > 0 {
                        open.cursors = self.cursors(&open)?;
                    }
                    self.open = Some(open);
                }
                Header::Dictionary(table) => {
                    let body = Arc::new(self.input.body(length)?);
                    self.dictionary(table, &body)?;
                }
                Header::Schema(_) => return Err("a second schema".to_owned()),
                Header::Other => {
                    self.input.body(length)?;
                }
            }
        }
        Ok(true)
    }

    /// What goes before a message of damage: which batch.
    pub(crate) fn told(&self, reason: &str) -> String {
        format!("record batch {}: {reason}", self.batches.max(1))
    }

    fn dictionary(&mut self, table: flat::Table<'_>, body: &Arc<Body>) -> Result<(), String> {
        let id = table.i64(0).unwrap_or(0);
        let more = table.byte(2).unwrap_or(0) != 0;
        let of = |f: &&Field| f.dictionary.is_some_and(|(own, _)| own == id);
        let Some(kind) = self.fields.iter().find(of).map(|f| f.kind).filter(|k| *k != Kind::Other)
        else {
            return Ok(());
        };
        let data = table.table(1).ok_or("a dictionary without values")?;
        let batch = message::batch(data, &[])?;
        if batch.rows > MOST_ENTRIES {
            return Err(format!("a dictionary of {} values", batch.rows));
        }
        let mut cursor = Cursor::open(body, &batch, (0, 0), kind, None)?;
        let mut entries = cursor.entries(batch.rows)?;
        if let (true, Some(old)) = (more, self.dictionaries.get(&id)) {
            entries = match (old.as_ref().clone(), entries) {
                (Entries::Whole(mut a), Entries::Whole(b)) => {
                    a.extend(b);
                    Entries::Whole(a)
                }
                (a, b) => Entries::Real([a.reals(), b.reals()].concat()),
            };
        }
        if entries.len() > MOST_ENTRIES {
            return Err(format!("a dictionary of {} values", entries.len()));
        }
        self.dictionaries.insert(id, Arc::new(entries));
        Ok(())
    }

    fn cursor(&self, open: &Open, column: usize) -> Result<Cursor, String> {
        let field = self.fields.get(column).ok_or("a column that is not there")?;
        let (kind, entries) = match field.dictionary {
            None => (field.kind, None),
            Some((id, index)) => {
                let entries = self.dictionaries.get(&id);
                (index, Some(Arc::clone(entries.ok_or("a dictionary is used before it comes")?)))
            }
        };
        Cursor::open(&open.body, &open.batch, open.batch.places[column], kind, entries)
    }

    fn cursors(&self, open: &Open) -> Result<Vec<Cursor>, String> {
        let Some(p) = &self.plan else { return Ok(Vec::new()) };
        let columns = [p.time.map(|t| t.0), Some(p.first), p.second, p.voltage.map(|v| v.0)];
        columns.into_iter().flatten().map(|c| self.cursor(open, c)).collect()
    }

    fn is_number(&self, column: usize) -> bool {
        self.fields.get(column).is_some_and(|f| f.kind != Kind::Other)
    }

    /// Column names (a time's unit in brackets) and the first rows.
    pub(crate) fn look(&mut self) -> Result<(Vec<String>, Vec<Vec<Cell>>), String> {
        self.advance()?;
        let names = self.fields.iter().map(|f| f.name.clone()).collect();
        let Some(open) = &self.open else { return Err("it holds no rows".to_owned()) };
        let rows = open.batch.rows.min(LOOK);
        let mut cells = vec![vec![Cell::Text; self.fields.len()]; rows];
        for c in (0..self.fields.len()).filter(|c| self.is_number(*c)) {
            let mut values = Vec::new();
            self.cursor(open, c)?.read(rows, Convert::NONE, &mut values)?;
            for (row, x) in cells.iter_mut().zip(values) {
                row[c] = Cell::Number(x);
            }
        }
        Ok((names, cells))
    }

    /// Takes a layout; gives what is taken off every time (s).
    pub(crate) fn plan(&mut self, name: &str, layout: &Layout) -> Result<f64, TraceError> {
        let wrong = |reason: String| TraceError::Layout { reason };
        let (first, second, scale) = layout.current.columns();
        let time = layout.time.number_column("Arrow")?;
        let voltage = layout.voltage.map(|v| (v.column, v.volts_per_unit));
        let named = [Some(first), second, time.map(|t| t.0), voltage.map(|v| v.0)];
        if let Some(c) = named.into_iter().flatten().find(|c| !self.is_number(*c)) {
            return Err(wrong(format!("column {} of {name} holds no numbers", c + 1)));
        }
        let mut plan =
            Plan { time, first, second, voltage, scale, offset_a: layout.offset_a, origin: 0 };
        let failed = |reason: String| TraceError::Arrow { name: name.to_owned(), reason };
        if self.advance().map_err(failed)?
            && let Some(mut open) = self.open.take()
        {
            if let Some((c, unit)) = time {
                let mut values = Vec::new();
                let mut cursor = self.cursor(&open, c).map_err(failed)?;
                cursor.read(1, Convert::NONE, &mut values).map_err(failed)?;
                let stamp = values.first().filter(|x| (*x * unit).abs() >= 1.0e6);
                plan.origin = stamp.map_or(0, |x| x.floor() as i64);
            }
            self.plan = Some(plan.clone());
            open.cursors = self.cursors(&open).map_err(failed)?;
            self.open = Some(open);
        }
        let origin_s = time.map_or(0.0, |(_, unit)| plan.origin as f64 * unit);
        self.plan = Some(plan);
        Ok(origin_s)
    }

    /// Is there a time column?
    pub(crate) fn has_time(&self) -> bool {
        self.plan.as_ref().is_some_and(|p| p.time.is_some())
    }

    /// The next rows, at most `most` (a multiple of eight); `false` at the end.
    pub(crate) fn read(&mut self, most: usize, out: &mut Parsed) -> Result<bool, String> {
        if !self.advance()? {
            return Ok(false);
        }
        let (Some(open), Some(plan)) = (&mut self.open, &self.plan) else { return Ok(false) };
        let n = open.left.min(most);
        let current = Convert { origin: 0, scale: plan.scale, offset: plan.offset_a };
        let mut cursors = open.cursors.iter_mut();
        let mut next = || cursors.next().ok_or("a column that is not there");
        if let Some((_, scale)) = plan.time {
            let convert = Convert { origin: plan.origin, scale, offset: 0.0 };
            next()?.read(n, convert, &mut out.time)?;
        }
        if plan.second.is_some() {
            // A difference of two columns is taken before the unit is applied.
            let mut other = Vec::new();
            next()?.read(n, Convert::NONE, &mut out.current)?;
            next()?.read(n, Convert::NONE, &mut other)?;
            for (a, b) in out.current.iter_mut().zip(&other) {
                *a = (*a - b) * plan.scale - plan.offset_a;
            }
        } else {
            next()?.read(n, current, &mut out.current)?;
        }
        if let Some((_, scale)) = plan.voltage {
            next()?.read(n, Convert { scale, ..Convert::NONE }, &mut out.voltage)?;
        }
        open.left -= n;
        out.first_sample = plan.time.is_none().then_some(self.first_row);
        self.first_row += n as u64;
        (out.rows, out.lines) = (n as u64, n as u64);
        out.bytes = n as u64 * 8 * (1 + u64::from(plan.time.is_some()));
        drop_missing(out);
        if !out.has_nan {
            out.take_sums();
        }
        Ok(true)
    }
}
