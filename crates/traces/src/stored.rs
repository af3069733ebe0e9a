//! The stored form: one Parquet file that any engine reads, with the pyramid's pages between its row groups.
//!
//! Columns `time_ns` (INT64, from the trace's own zero), `current_a` (FLOAT) and, where recorded, `voltage_v` (FLOAT). Parquet finds its parts
//! by the offsets in its footer, so other bytes may lie in between: there lie pages of minimum, mean and maximum over 64, 256, 1024 …
//! samples, and an index of them. Bytes 4 to 43 of the file say where the index is, so a zoom needs neither the footer nor the samples:
//! it reads the index (tens of kilobytes) and at most a few pages of 48 kB. Only a window of fewer than 64 samples to a column reads samples.

use crate::analysis::Analysis;
use crate::cells::Cell;
use crate::columnar::{self, EVEN_KEY, WHOLE_GROUP};
use crate::error::TraceError;
use crate::files::unfinished_in;
use crate::layout::Layout;
use crate::options::{Control, Options, Progress};
use crate::pipeline::analyse_with;
use crate::pyramid::{Builder, FINEST, Index, Page};
use crate::reduce::Tap;
use crate::source::Source;
use crate::window::{GroupPlace, read_window, schema};
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::data_type::{FloatType, Int64Type};
use parquet::file::metadata::{KeyValue, RowGroupMetaData};
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::reader::FileReader;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::ColumnPath;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

const GROUP: usize = WHOLE_GROUP as usize;
/// Rows in a page.
pub(crate) const PAGE_ROWS: usize = 32_768;
const MAGIC: &[u8; 8] = b"OWTRACE1";
/// Behind Parquet's own four bytes: magic, offset, length, first 16 bytes of the index's SHA-256.
const HEADER: usize = 40;

/// Where a trace comes from; kept with it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Provenance {
    /// The instrument.
    pub instrument: Option<String>,
    /// Its range.
    pub range: Option<String>,
    /// The shunt (Ω).
    pub shunt_ohm: Option<f64>,
    /// Taken off every current (A).
    pub offset_removed_a: Option<f64>,
    /// Anything else.
    pub note: Option<String>,
    /// The source file's name; filled in.
    pub source_name: String,
    /// Its size (bytes); filled in.
    pub source_bytes: u64,
    /// SHA-256 of its bytes as they lay on disk, hexadecimal; filled in.
    pub source_sha256: String,
    /// How it was read; filled in.
    pub read_as: String,
    /// Where the analysis lies that was made while it was stored; filled in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub analysis: Option<KeptAnalysis>,
}

/// Where the stored file holds its analysis: JSON, packed with Zstandard.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptAnalysis {
    offset: u64,
    length: u64,
    /// SHA-256 of these bytes, hexadecimal.
    sha256: String,
}

/// The analysis with the rules it was made by.
#[derive(Serialize)]
struct Made<'a> {
    options: &'a Options,
    analysis: &'a Analysis,
}

/// The same, read back.
#[derive(Deserialize)]
struct MadeBack {
    options: Options,
    analysis: Analysis,
}

/// Longer ones are not believed, packed or unpacked.
const LONGEST_ANALYSIS: usize = 256 << 20;

/// Analyses `source` and stores it at `target` in the same pass. The file appears whole or not at all.
///
/// # Errors
/// As [`crate::analyse`]; [`TraceError::Cancelled`] when the callback stops the work; [`TraceError::Io`].
pub fn store(
    source_path: &Path,
    layout: Option<Layout>,
    options: &Options,
    provenance: Provenance,
    target: &Path,
    progress: &mut dyn FnMut(&Progress) -> Control,
) -> Result<Analysis, TraceError> {
    store_source(Source::open_hashed(source_path)?, layout, options, provenance, target, progress)
}

/// The same from an opened source. The checksum is filled in where the source was opened by [`Source::open_hashed`].
///
/// # Errors
/// As [`store`].
pub fn store_source(
    mut source: Source,
    layout: Option<Layout>,
    options: &Options,
    mut provenance: Provenance,
    target: &Path,
    progress: &mut dyn FnMut(&Progress) -> Control,
) -> Result<Analysis, TraceError> {
    let name = target.display().to_string();
    let io = |e: std::io::Error| TraceError::io(&name, e);
    let layout = match layout {
        Some(l) => l,
        None => crate::detect(&mut source)?,
    };
    provenance.source_name = Path::new(&source.name)
        .file_name()
        .map_or_else(|| source.name.clone(), |n| n.to_string_lossy().into_owned());
    provenance.read_as = layout.describe();
    if layout.offset_a != 0.0 {
        provenance.offset_removed_a = Some(layout.offset_a);
    }
    let hash = Arc::clone(&source.hash);
    let consumed = Arc::clone(&source.consumed);
    let in_place = source.read_in_place();
    let folder =
        target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    let temp = unfinished_in(folder).map_err(io)?;
    let file = temp.reopen().map_err(io)?;
    let mut tap = StoreTap::new(file, layout.voltage.is_some()).map_err(|e| stored(&name, e))?;
    let mut stopped = false;
    let analysis = analyse_with(
        source,
        Some(layout),
        options,
        &mut |p| {
            let answer = progress(p);
            stopped |= answer == Control::Stop;
            answer
        },
        Some(&mut tap),
    )?;
    if stopped {
        return Err(TraceError::Cancelled);
    }
    (provenance.source_sha256, provenance.source_bytes) = match in_place {
        Some(path) => hash_file(&path)?,
        None => {
            let mut guard = hash.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            let bytes = consumed.load(std::sync::atomic::Ordering::Relaxed);
            (guard.take().map_or_else(String::new, |h| hex(&h.finalize())), bytes)
        }
    };
    tap.finish(provenance, &Made { options, analysis: &analysis }).map_err(|e| stored(&name, e))?;
    temp.as_file().sync_all().map_err(io)?;
    temp.persist(target).map_err(|e| io(e.error))?;
    Ok(analysis)
}

/// Where the samples lie; `None`: not as this crate writes them.
fn places(groups: &[RowGroupMetaData]) -> Option<Vec<GroupPlace>> {
    groups.iter().map(GroupPlace::of).collect()
}

fn stored(name: &str, reason: String) -> TraceError {
    TraceError::Stored { name: name.to_owned(), reason }
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut s, b| {
        let _ = write!(s, "{b:02x}");
        s
    })
}

fn hash_file(path: &Path) -> Result<(String, u64), TraceError> {
    let name = path.display().to_string();
    let mut file = File::open(path).map_err(|e| TraceError::io(&name, e))?;
    let mut hash = Sha256::new();
    let mut buffer = vec![0u8; 1 << 16];
    let mut total = 0u64;
    loop {
        let n = file.read(&mut buffer).map_err(|e| TraceError::io(&name, e))?;
        if n == 0 {
            return Ok((hex(&hash.finalize()), total));
        }
        hash.update(&buffer[..n]);
        total += n as u64;
    }
}

/// Takes the blocks of the pass and writes them.
struct StoreTap {
    writer: Option<SerializedFileWriter<File>>,
    time_ns: Vec<i64>,
    current_a: Vec<f32>,
    voltage_v: Vec<f32>,
    has_voltage: bool,
    origin_s: f64,
    first_ns: Option<i64>,
    last_ns: i64,
    step_ns: Option<i64>,
    even: bool,
    samples: u64,
    pyramid: Builder,
    failure: Option<String>,
}

impl StoreTap {
    fn new(file: File, has_voltage: bool) -> Result<Self, String> {
        let schema = Arc::new(schema(has_voltage).map_err(|e| e.to_string())?);
        let time = ColumnPath::from("time_ns");
        // Decoding speed before the last per cent of size: instruments have few distinct readings, so a dictionary does most of the work.
        let properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::try_new(1).map_err(|e| e.to_string())?))
            .set_column_dictionary_enabled(time.clone(), false)
            .set_column_encoding(time, Encoding::DELTA_BINARY_PACKED)
            .set_column_compression(ColumnPath::from("current_a"), Compression::UNCOMPRESSED)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_data_page_row_count_limit(PAGE_ROWS)
            .set_max_row_group_row_count(Some(GROUP))
            .set_created_by("overwinter".to_owned())
            .build();
        let mut writer = SerializedFileWriter::new(file, schema, Arc::new(properties))
            .map_err(|e| e.to_string())?;
        writer.write_all(&[0u8; HEADER]).map_err(|e| e.to_string())?;
        Ok(Self {
            writer: Some(writer),
            time_ns: Vec::with_capacity(GROUP),
            current_a: Vec::with_capacity(GROUP),
            voltage_v: Vec::new(),
            has_voltage,
            origin_s: 0.0,
            first_ns: None,
            last_ns: 0,
            step_ns: None,
            even: true,
            samples: 0,
            pyramid: Builder::new(),
            failure: None,
        })
    }

    fn write_group(&mut self) -> Result<(), String> {
        let Some(writer) = &mut self.writer else { return Ok(()) };
        if self.current_a.is_empty() {
            return Ok(());
        }
        let text = |e: parquet::errors::ParquetError| e.to_string();
        let mut group = writer.next_row_group().map_err(text)?;
        let mut column = group.next_column().map_err(text)?.ok_or("no time column")?;
        column.typed::<Int64Type>().write_batch(&self.time_ns, None, None).map_err(text)?;
        column.close().map_err(text)?;
        let mut column = group.next_column().map_err(text)?.ok_or("no current column")?;
        column.typed::<FloatType>().write_batch(&self.current_a, None, None).map_err(text)?;
        column.close().map_err(text)?;
        if self.has_voltage {
            self.voltage_v.resize(self.current_a.len(), f32::NAN);
            let mut column = group.next_column().map_err(text)?.ok_or("no voltage column")?;
            column.typed::<FloatType>().write_batch(&self.voltage_v, None, None).map_err(text)?;
            column.close().map_err(text)?;
        }
        group.close().map_err(text)?;
        self.time_ns.clear();
        self.current_a.clear();
        self.voltage_v.clear();
        self.write_pages()
    }

    /// Full pages go between the row groups.
    fn write_pages(&mut self) -> Result<(), String> {
        let Some(writer) = &mut self.writer else { return Ok(()) };
        for page in self.pyramid.take_pages() {
            let offset = writer.bytes_written() as u64;
            writer.write_all(&page.bytes).map_err(|e| e.to_string())?;
            self.pyramid.placed(&page, offset);
        }
        Ok(())
    }

    fn finish(mut self, mut provenance: Provenance, made: &Made<'_>) -> Result<(), String> {
        if let Some(f) = self.failure.take() {
            return Err(f);
        }
        self.write_group()?;
        self.pyramid.flush();
        self.write_pages()?;
        let even = self.even && self.step_ns.is_some_and(|s| s > 0);
        let mut index = std::mem::replace(&mut self.pyramid, Builder::new()).into_index();
        index.samples = self.samples;
        index.first_s = self.first_ns.unwrap_or(0) as f64 * 1e-9;
        index.step_s = if even { self.step_ns.unwrap_or(0) as f64 * 1e-9 } else { 0.0 };
        index.last_s = self.last_ns as f64 * 1e-9;
        let mut writer = self.writer.take().ok_or("written twice")?;
        let made = serde_json::to_vec(made).map_err(|e| e.to_string())?;
        let made = zstd::bulk::compress(&made, 3).map_err(|e| e.to_string())?;
        provenance.analysis = Some(KeptAnalysis {
            offset: writer.bytes_written() as u64,
            length: made.len() as u64,
            sha256: hex(&Sha256::digest(&made)),
        });
        writer.write_all(&made).map_err(|e| e.to_string())?;
        index.provenance = serde_json::to_string(&provenance).map_err(|e| e.to_string())?;
        index.groups = places(writer.flushed_row_groups()).unwrap_or_default();
        let bytes = index.to_bytes();
        let offset = writer.bytes_written() as u64;
        writer.write_all(&bytes).map_err(|e| e.to_string())?;
        writer.append_key_value_metadata(KeyValue::new(
            "overwinter.provenance".to_owned(),
            index.provenance.clone(),
        ));
        writer.append_key_value_metadata(KeyValue::new(
            columnar::ORIGIN_KEY.to_owned(),
            self.origin_s.to_string(),
        ));
        if let (true, Some(first), Some(step)) = (even, self.first_ns, self.step_ns) {
            writer.append_key_value_metadata(KeyValue::new(
                EVEN_KEY.to_owned(),
                format!("{first} {step}"),
            ));
        }
        let mut file = writer.into_inner().map_err(|e| e.to_string())?;
        let mut header = Vec::with_capacity(HEADER);
        header.extend_from_slice(MAGIC);
        header.extend_from_slice(&offset.to_le_bytes());
        header.extend_from_slice(&(bytes.len() as u64).to_le_bytes());
        header.extend_from_slice(&Sha256::digest(&bytes)[..16]);
        let io = |e: std::io::Error| e.to_string();
        file.seek(SeekFrom::Start(4)).map_err(io)?;
        file.write_all(&header).map_err(io)?;
        file.flush().map_err(io)
    }
}

impl Tap for StoreTap {
    fn begin(&mut self, origin_s: f64) {
        self.origin_s = origin_s;
    }

    fn block(&mut self, first_sample: u64, time_s: &[f64], current_a: &[f64], voltage_v: &[f64]) {
        if self.failure.is_some() {
            return;
        }
        for (k, (&t, &i)) in time_s.iter().zip(current_a).enumerate() {
            let ns = (t * 1e9).round() as i64;
            if self.first_ns.is_none() {
                self.first_ns = Some(ns);
            } else {
                let step = ns.wrapping_sub(self.last_ns);
                if *self.step_ns.get_or_insert(step) != step {
                    self.even = false;
                }
            }
            self.last_ns = ns;
            self.time_ns.push(ns);
            self.current_a.push(i as f32);
            self.pyramid.sample(first_sample + k as u64, t, i);
        }
        if self.has_voltage {
            self.voltage_v.extend(voltage_v.iter().map(|v| *v as f32));
        }
        self.samples = first_sample + time_s.len() as u64;
        if self.current_a.len() + crate::reduce::BLOCK > GROUP
            && let Err(e) = self.write_group()
        {
            self.failure = Some(e);
        }
    }
}

/// One column of a zoomed window.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ZoomCell {
    /// First sample's time (s).
    pub start_s: f64,
    /// Lowest (A).
    pub min_a: f64,
    /// Mean (A).
    pub mean_a: f64,
    /// Highest (A).
    pub max_a: f64,
}

/// A window.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Zoom {
    /// Samples in a cell; 1: the samples themselves.
    pub samples_per_cell: u64,
    /// In order: at least the columns asked for where there are as many samples, at most about four times as many.
    pub cells: Vec<ZoomCell>,
    /// Read from disk for it, the index included.
    pub bytes_read: u64,
}

/// A stored trace, opened for zooming.
#[derive(Debug)]
pub struct StoredTrace {
    path: PathBuf,
    file: File,
    index: Index,
    index_bytes: u64,
}

impl StoredTrace {
    /// Opens the file and reads its index.
    ///
    /// # Errors
    /// [`TraceError::Io`]; [`TraceError::Stored`] for a file without a pyramid, or with a damaged one.
    pub fn open(path: &Path) -> Result<Self, TraceError> {
        let name = path.display().to_string();
        let io = |e: std::io::Error| TraceError::io(&name, e);
        let mut file = File::open(path).map_err(io)?;
        let length = file.metadata().map_err(io)?.len();
        let mut header = [0u8; 4 + HEADER];
        if length < header.len() as u64 {
            return Err(stored(&name, format!("{length} bytes are no stored trace")));
        }
        file.read_exact(&mut header).map_err(io)?;
        if &header[..4] != b"PAR1" || &header[4..12] != MAGIC {
            return Err(stored(&name, "it has no pyramid; store it first".to_owned()));
        }
        let number =
            |at: usize| u64::from_le_bytes(header[at..at + 8].try_into().expect("eight bytes"));
        let (offset, size) = (number(12), number(20));
        if offset.checked_add(size).is_none_or(|end| end > length) || size > 256 << 20 {
            return Err(stored(
                &name,
                format!("the index at byte {offset} reaches beyond the file"),
            ));
        }
        let mut bytes = vec![0u8; size as usize];
        file.seek(SeekFrom::Start(offset)).map_err(io)?;
        file.read_exact(&mut bytes).map_err(io)?;
        if Sha256::digest(&bytes)[..16] != header[28..44] {
            return Err(stored(
                &name,
                "the index does not match its checksum: the file is damaged".to_owned(),
            ));
        }
        let index = Index::from_bytes(&bytes)
            .ok_or_else(|| stored(&name, "the index is not readable".to_owned()))?;
        Ok(Self { path: path.to_owned(), file, index, index_bytes: size + header.len() as u64 })
    }

    /// Where it came from.
    ///
    /// # Errors
    /// [`TraceError::Stored`] where it is not readable.
    pub fn provenance(&self) -> Result<Provenance, TraceError> {
        serde_json::from_str(&self.index.provenance)
            .map_err(|e| stored(&self.path.display().to_string(), format!("provenance: {e}")))
    }

    /// The analysis that was made while the trace was stored, so that a long one needs no second pass. `None` where there is none, it was
    /// made by other `options`, or it is damaged: then the samples tell it again.
    pub fn analysis(&mut self, options: &Options) -> Option<Analysis> {
        let place = self.provenance().ok()?.analysis?;
        let length = usize::try_from(place.length).ok().filter(|n| *n <= LONGEST_ANALYSIS)?;
        let size = self.file.metadata().ok()?.len();
        place.offset.checked_add(place.length).filter(|end| *end <= size)?;
        let mut bytes = vec![0u8; length];
        self.file.seek(SeekFrom::Start(place.offset)).ok()?;
        self.file.read_exact(&mut bytes).ok()?;
        if hex(&Sha256::digest(&bytes)) != place.sha256 {
            return None;
        }
        let text = zstd::bulk::decompress(&bytes, LONGEST_ANALYSIS).ok()?;
        let made: MadeBack = serde_json::from_slice(&text).ok()?;
        // How the work was cut up does not change the result.
        let cut = |o: &Options| Options { threads: 0, chunk_bytes: 0, ..o.clone() };
        (cut(&made.options) == cut(options)).then_some(made.analysis)
    }

    /// Samples.
    pub fn samples(&self) -> u64 {
        self.index.samples
    }

    /// First and last time (s).
    pub fn span_s(&self) -> (f64, f64) {
        (self.index.first_s, self.index.last_s)
    }

    /// The window from `from_s` to `to_s` in about `columns` cells: every sample of the window is inside a cell's extremes.
    ///
    /// # Errors
    /// [`TraceError::Io`], [`TraceError::Stored`], [`TraceError::Parquet`].
    pub fn zoom(&mut self, from_s: f64, to_s: f64, columns: usize) -> Result<Zoom, TraceError> {
        let columns = columns.clamp(1, 65_536) as u64;
        let mut read = self.index_bytes;
        if self.index.samples == 0 || to_s.is_nan() || from_s.is_nan() || to_s < from_s {
            return Ok(Zoom { samples_per_cell: 1, cells: Vec::new(), bytes_read: read });
        }
        let (first, end) = self.window(from_s, to_s, &mut read)?;
        if first >= end {
            return Ok(Zoom { samples_per_cell: 1, cells: Vec::new(), bytes_read: read });
        }
        let mut level = None;
        for k in 0..self.index.levels.len() {
            let width = FINEST << (2 * k);
            if (end - first) / width >= columns {
                level = Some(k);
            }
        }
        match level {
            Some(k) => self.read_level(k, first, end, read),
            None => self.read_samples(first, end, read),
        }
    }

    /// Sample numbers of a window, by arithmetic or by the start times of the finest cells.
    fn window(&mut self, from_s: f64, to_s: f64, read: &mut u64) -> Result<(u64, u64), TraceError> {
        let n = self.index.samples;
        if self.index.step_s > 0.0 {
            let at = |t: f64| ((t - self.index.first_s) / self.index.step_s).max(0.0);
            return Ok((
                (at(from_s) - 1e-6).ceil().max(0.0) as u64,
                ((at(to_s) + 1e-6).floor() as u64).saturating_add(1).min(n),
            ));
        }
        let mut edge = |t: f64, up: bool| -> Result<u64, TraceError> {
            let Some(pages) = self.index.levels.first() else { return Ok(if up { n } else { 0 }) };
            let p = pages.partition_point(|p| p.start_s <= t).saturating_sub(1);
            let page = self.page(0, p, read)?;
            let c = page.start_s.partition_point(|s| *s <= t).saturating_sub(1) as u64;
            let before: u64 = self.index.levels[0][..p].iter().map(|p| u64::from(p.cells)).sum();
            Ok((before + c + u64::from(up)).saturating_mul(FINEST).min(n))
        };
        let first = edge(from_s, false)?;
        Ok((first, edge(to_s, true)?))
    }

    fn page(&mut self, level: usize, page: usize, read: &mut u64) -> Result<Page, TraceError> {
        let name = self.path.display().to_string();
        let broken = || stored(&name, format!("page {page} of level {level} is not readable"));
        let place = *self.index.levels.get(level).and_then(|l| l.get(page)).ok_or_else(broken)?;
        if place.length > 1 << 20 {
            return Err(broken());
        }
        let mut bytes = vec![0u8; place.length as usize];
        self.file.seek(SeekFrom::Start(place.offset)).map_err(|e| TraceError::io(&name, e))?;
        self.file.read_exact(&mut bytes).map_err(|e| TraceError::io(&name, e))?;
        *read += bytes.len() as u64;
        Page::from_bytes(&bytes, place.cells as usize).ok_or_else(broken)
    }

    fn read_level(
        &mut self,
        level: usize,
        first: u64,
        end: u64,
        mut read: u64,
    ) -> Result<Zoom, TraceError> {
        let width = FINEST << (2 * level);
        let (from, to) = (first / width, end.div_ceil(width));
        let mut cells = Vec::with_capacity((to - from).min(1 << 20) as usize);
        let mut before = 0u64;
        for p in 0..self.index.levels[level].len() {
            let here = u64::from(self.index.levels[level][p].cells);
            if before + here > from && before < to {
                let page = self.page(level, p, &mut read)?;
                let a = from.saturating_sub(before) as usize;
                let b = (to - before).min(here) as usize;
                for k in a..b {
                    cells.push(ZoomCell {
                        start_s: page.start_s[k],
                        min_a: f64::from(page.min_a[k]),
                        mean_a: f64::from(page.mean_a[k]),
                        max_a: f64::from(page.max_a[k]),
                    });
                }
            }
            before += here;
        }
        Ok(Zoom { samples_per_cell: width, cells, bytes_read: read })
    }

    fn read_samples(&mut self, first: u64, end: u64, read: u64) -> Result<Zoom, TraceError> {
        if self.index.groups.is_empty() {
            // A file of the first form: the footer says where the samples lie, read once.
            let opened = columnar::open(&self.path)?;
            self.index.groups = places(opened.reader.metadata().row_groups()).unwrap_or_default();
        }
        let even = self.even();
        let window =
            columnar::guarded(|| read_window(&self.file, &self.index.groups, first, end, even))
                .map_err(|e| stored(&self.path.display().to_string(), format!("samples: {e}")))?;
        let cells = window
            .time_s
            .iter()
            .zip(&window.current_a)
            .map(|(t, i)| ZoomCell { start_s: *t, min_a: *i, mean_a: *i, max_a: *i })
            .collect();
        Ok(Zoom { samples_per_cell: 1, cells, bytes_read: read + window.bytes })
    }

    fn even(&self) -> Option<(f64, f64)> {
        (self.index.step_s > 0.0).then_some((self.index.first_s, self.index.step_s))
    }
}

impl Zoom {
    /// The cells joined to at most `columns`, for a plot of so many pixels.
    pub fn reduced(&self, columns: usize) -> Vec<Cell> {
        let every = self.cells.len().div_ceil(columns.max(1)).max(1);
        self.cells
            .chunks(every)
            .enumerate()
            .map(|(k, g)| Cell {
                first_sample: (k * every) as u64 * self.samples_per_cell,
                samples: g.len() as u64 * self.samples_per_cell,
                start_s: g[0].start_s,
                end_s: g[g.len() - 1].start_s,
                min_a: g.iter().map(|c| c.min_a).fold(f64::INFINITY, f64::min),
                max_a: g.iter().map(|c| c.max_a).fold(f64::NEG_INFINITY, f64::max),
                sum_a: g.iter().map(|c| c.mean_a).sum::<f64>() * self.samples_per_cell as f64,
                charge_c: 0.0,
                covered_s: 0.0,
            })
            .collect()
    }
}
