//! Parquet behind a few functions: reading any file's number columns, and what detection needs. The `parquet` library's frequent
//! major versions end here.

use crate::convert::Convert;
use crate::detect::Cell as Found;
use crate::error::TraceError;
use crate::histogram::Counter;
use crate::layout::Layout;
use crate::pages::{self, Held, Pages};
use crate::rows::{Parsed, State};
use crate::steps::{Spare, Steps};
use parquet::basic::{ConvertedType, LogicalType, TimeUnit, Type};
use parquet::column::page::PageReader;
use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::DataType;
use parquet::file::reader::{FileReader, RowGroupReader, SerializedFileReader};
use parquet::file::serialized_reader::SerializedPageReader;
use std::cell::Cell;
use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::{Arc, Once};

/// Row groups up to this many rows are decoded whole, each by one thread; larger ones in parts.
pub(crate) const WHOLE_GROUP: i64 = 262_144;
/// Rows of such a part.
pub(crate) const BATCH: usize = 65_536;
/// Key under which a stored trace says that its stamps are evenly spaced: "first_ns step_ns".
pub(crate) const EVEN_KEY: &str = "overwinter.even_ns";
/// Key under which a stored trace keeps what was taken off all its times (s).
pub(crate) const ORIGIN_KEY: &str = "overwinter.origin_s";

/// An opened file: its footer, and what its number columns are read with.
pub(crate) struct Opened {
    pub(crate) reader: SerializedFileReader<File>,
    file: Arc<File>,
    length: u64,
    spare: Spare,
}

impl Opened {
    /// The pages of one column of one row group.
    fn pages(&self, group: &dyn RowGroupReader, c: usize) -> Result<Box<dyn PageReader>, String> {
        let meta = group.metadata().column(c);
        let (start, length) = meta.byte_range();
        // A damaged footer may tell of more than there is: no room is made for that.
        let chunk = start..start.saturating_add(length).min(self.length);
        let rows = group.metadata().num_rows().max(0) as usize;
        let steps = Steps::new(Arc::clone(&self.file), chunk, Arc::clone(&self.spare));
        let pages = SerializedPageReader::new(Arc::new(steps), meta, rows, None);
        Ok(Box::new(pages.map_err(|e| e.to_string())?))
    }
}

pub(crate) fn open(path: &Path) -> Result<Opened, TraceError> {
    let name = path.display().to_string();
    let file = Arc::new(File::open(path).map_err(|e| TraceError::io(&name, e))?);
    let own = file.try_clone().map_err(|e| TraceError::io(&name, e))?;
    let length = file.metadata().map_err(|e| TraceError::io(&name, e))?.len();
    guarded(|| {
        let reader = SerializedFileReader::new(own).map_err(|e| e.to_string())?;
        let sound = reader.metadata().row_groups().iter().flat_map(|g| g.columns()).all(|c| {
            c.data_page_offset() >= 0
                && c.dictionary_page_offset().is_none_or(|at| at >= 0)
                && c.compressed_size() >= 0
        });
        if sound {
            Ok(Opened { reader, file, length, spare: Spare::default() })
        } else {
            Err("its footer names negative places".to_owned())
        }
    })
    .map_err(|reason| TraceError::Parquet { name, reason })
}

/// On some damaged files the library panics (it takes for granted that a page's header fits its kind, for one).
/// A damaged file is an error like any other. What `work` has half done must not be used after an error.
pub(crate) fn guarded<T>(work: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    // The panic is told as an error, not as the library's own line on standard error. Of this thread only: any other panic is a bug and is shown.
    static HOOK: Once = Once::new();
    thread_local! {
        static QUIET: Cell<bool> = const { Cell::new(false) };
    }
    HOOK.call_once(|| {
        let shown = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            if !QUIET.get() {
                shown(panic);
            }
        }));
    });
    let before = QUIET.replace(true);
    let found = catch_unwind(AssertUnwindSafe(work));
    QUIET.set(before);
    found.unwrap_or_else(|_| Err("its pages or footer are damaged".to_owned()))
}

fn failed(path: &Path, reason: impl std::fmt::Display) -> TraceError {
    TraceError::Parquet { name: path.display().to_string(), reason: reason.to_string() }
}

/// Seconds per unit of a time-stamp column, by its type.
fn stamp_unit(reader: &SerializedFileReader<File>, column: usize) -> Option<f64> {
    let schema = reader.metadata().file_metadata().schema_descr_ptr();
    let descr = schema.column(column);
    if let Some(LogicalType::Timestamp(t)) = descr.logical_type_ref() {
        return Some(match t.unit {
            TimeUnit::MILLIS => 1e-3,
            TimeUnit::MICROS => 1e-6,
            TimeUnit::NANOS => 1e-9,
        });
    }
    match descr.converted_type() {
        ConvertedType::TIMESTAMP_MILLIS => Some(1e-3),
        ConvertedType::TIMESTAMP_MICROS => Some(1e-6),
        _ => None,
    }
}

/// Column names (a stamp's unit in brackets) and the first rows.
pub(crate) fn look(path: &Path) -> Result<(Vec<String>, Vec<Vec<Found>>), TraceError> {
    let reader = open(path)?.reader;
    guarded(|| look_into(&reader)).map_err(|e| failed(path, e))
}

fn look_into(
    reader: &SerializedFileReader<File>,
) -> Result<(Vec<String>, Vec<Vec<Found>>), String> {
    let schema = reader.metadata().file_metadata().schema_descr_ptr();
    let columns = schema.num_columns();
    let mut names = Vec::new();
    let mut table: Vec<Vec<f64>> = Vec::new();
    for c in 0..columns {
        let mut name = schema.column(c).name().to_owned();
        if let Some(unit) = stamp_unit(reader, c) {
            let word = if unit > 5e-4 {
                "ms"
            } else if unit > 5e-7 {
                "us"
            } else {
                "ns"
            };
            name = format!("{name} [{word}]");
        }
        names.push(name);
        let mut values = Vec::new();
        if reader.num_row_groups() > 0 && is_number(schema.column(c).physical_type()) {
            let group = reader.get_row_group(0).map_err(|e| e.to_string())?;
            let mut column =
                Column::new(group.get_column_reader(c).map_err(|e| e.to_string())?, Convert::NONE);
            column.read(200, &mut values)?;
        }
        table.push(values);
    }
    let rows = table.iter().map(Vec::len).max().unwrap_or(0);
    let cells = (0..rows)
        .map(|r| {
            table.iter().map(|c| c.get(r).map_or(Found::Text, |x| Found::Number(*x))).collect()
        })
        .collect();
    Ok((names, cells))
}

fn is_number(kind: Type) -> bool {
    matches!(kind, Type::DOUBLE | Type::FLOAT | Type::INT32 | Type::INT64)
}

/// One column of one row group, read on and on as f64; nulls are NaN.
pub(crate) struct Column {
    reader: ColumnReader,
    convert: Convert,
    levels: Vec<i16>,
    i64s: Vec<i64>,
    i32s: Vec<i32>,
    f32s: Vec<f32>,
}

impl Column {
    pub(crate) fn new(reader: ColumnReader, convert: Convert) -> Self {
        Self {
            reader,
            convert,
            levels: Vec::new(),
            i64s: Vec::new(),
            i32s: Vec::new(),
            f32s: Vec::new(),
        }
    }

    pub(crate) fn skip(&mut self, records: usize) -> Result<(), String> {
        match &mut self.reader {
            ColumnReader::DoubleColumnReader(r) => r.skip_records(records),
            ColumnReader::FloatColumnReader(r) => r.skip_records(records),
            ColumnReader::Int64ColumnReader(r) => r.skip_records(records),
            ColumnReader::Int32ColumnReader(r) => r.skip_records(records),
            _ => return Err("the column holds no numbers".to_owned()),
        }
        .map(|_| ())
        .map_err(|e| e.to_string())
    }

    /// Appends up to `most` values; returns how many.
    pub(crate) fn read(&mut self, most: usize, out: &mut Vec<f64>) -> Result<usize, String> {
        let before = out.len();
        self.levels.clear();
        let c = self.convert;
        match &mut self.reader {
            ColumnReader::DoubleColumnReader(r) => {
                read_into(r, most, &mut self.levels, out)?;
                for x in &mut out[before..] {
                    *x = c.real(*x);
                }
            }
            ColumnReader::FloatColumnReader(r) => {
                self.f32s.clear();
                read_into(r, most, &mut self.levels, &mut self.f32s)?;
                out.extend(self.f32s.iter().map(|x| c.real(f64::from(*x))));
            }
            ColumnReader::Int64ColumnReader(r) => {
                self.i64s.clear();
                read_into(r, most, &mut self.levels, &mut self.i64s)?;
                out.extend(self.i64s.iter().map(|x| c.whole(*x)));
            }
            ColumnReader::Int32ColumnReader(r) => {
                self.i32s.clear();
                read_into(r, most, &mut self.levels, &mut self.i32s)?;
                out.extend(self.i32s.iter().map(|x| c.whole(i64::from(*x))));
            }
            _ => return Err("the column holds no numbers".to_owned()),
        }
        let values = out.len() - before;
        let records = if self.levels.is_empty() { values } else { self.levels.len() };
        if records != values {
            // Nulls: values move back to their records, the rest is NaN.
            let top = self.levels.iter().copied().max().unwrap_or(0).max(1);
            out.resize(before + records, f64::NAN);
            let mut from = before + values;
            for k in (0..records).rev() {
                if self.levels[k] == top && from > before {
                    from -= 1;
                    out[before + k] = out[from];
                } else {
                    out[before + k] = f64::NAN;
                }
            }
        }
        Ok(records)
    }
}

fn read_into<T: DataType>(
    reader: &mut ColumnReaderImpl<T>,
    most: usize,
    levels: &mut Vec<i16>,
    out: &mut Vec<T::T>,
) -> Result<(), String> {
    reader.read_records(most, Some(levels), None, out).map(|_| ()).map_err(|e| e.to_string())
}

/// A column by the straight road or the library's.
#[allow(clippy::large_enum_variant, reason = "there are at most four of them at a time")]
enum Numbers {
    Pages(Pages),
    Library(Column),
}

impl Numbers {
    fn of(
        opened: &Opened,
        group: &dyn RowGroupReader,
        c: usize,
        convert: Convert,
    ) -> Result<Self, String> {
        let meta = group.metadata().column(c);
        let deepest = meta.column_descr().max_def_level();
        if pages::readable(meta.column_type(), deepest, meta.encodings()) {
            let pages = opened.pages(group, c)?;
            return Ok(Self::Pages(Pages::new(pages, meta.column_type(), deepest > 0, convert)));
        }
        let reader = group.get_column_reader(c).map_err(|e| e.to_string())?;
        Ok(Self::Library(Column::new(reader, convert)))
    }

    fn read(&mut self, most: usize, out: &mut Vec<f64>) -> Result<usize, String> {
        match self {
            Self::Pages(p) => p.read(most, out),
            Self::Library(c) => c.read(most, out),
        }
    }

    fn skip(&mut self, rows: usize) -> Result<(), String> {
        match self {
            Self::Pages(p) => p.skip(rows),
            Self::Library(c) => c.skip(rows),
        }
    }

    /// Something may be missing in what was read.
    fn missing(&self) -> bool {
        match self {
            Self::Pages(p) => p.missing,
            Self::Library(_) => true,
        }
    }
}

/// Which columns a pass reads, and how.
#[derive(Debug, Clone)]
pub(crate) struct Plan {
    time: Option<(usize, f64)>,
    first: usize,
    second: Option<usize>,
    scale: f64,
    offset_a: f64,
    voltage: Option<(usize, f64)>,
    origin: i64,
    stored_origin_s: f64,
    /// First stamp and step of evenly spaced stamps (s).
    pub(crate) even: Option<(f64, f64)>,
    pub(crate) rows: u64,
    /// Number of each group's first row, and of its rows.
    groups: Vec<(u64, usize)>,
}

/// Rows of a group that one thread decodes at a time.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Part {
    /// In the order of the file.
    pub(crate) number: u64,
    pub(crate) group: usize,
    first: usize,
    rows: usize,
}

/// Where the next part begins.
#[derive(Debug, Default)]
pub(crate) struct Next {
    number: u64,
    group: usize,
    row: usize,
}

impl Next {
    /// The next part; `None` at the end. Groups up to [`WHOLE_GROUP`] rows are one part, larger ones are cut, so that memory stays constant.
    pub(crate) fn take(&mut self, plan: &Plan) -> Option<Part> {
        let (group, first) = (self.group, self.row);
        let all = plan.groups.get(group)?.1;
        let left = all - first;
        let rows = if all <= WHOLE_GROUP as usize { left } else { left.min(BATCH) };
        self.row += rows;
        if self.row == all {
            (self.group, self.row) = (group + 1, 0);
        }
        self.number += 1;
        Some(Part { number: self.number - 1, group, first, rows })
    }
}

impl Plan {
    pub(crate) fn new(path: &Path, opened: &Opened, layout: &Layout) -> Result<Self, TraceError> {
        let reader = &opened.reader;
        let schema = reader.metadata().file_metadata().schema_descr_ptr();
        let (first, second, scale) = layout.current.columns();
        let time = layout.time.number_column("Parquet")?;
        for c in [Some(first), second, time.map(|t| t.0), layout.voltage.map(|v| v.column)]
            .into_iter()
            .flatten()
        {
            if c >= schema.num_columns() || !is_number(schema.column(c).physical_type()) {
                return Err(TraceError::Layout {
                    reason: format!("column {} of {} holds no numbers", c + 1, path.display()),
                });
            }
            if schema.column(c).max_rep_level() > 0 {
                return Err(TraceError::Layout { reason: format!("column {} holds lists", c + 1) });
            }
        }
        let meta = reader.metadata();
        let noted = |key: &str| {
            let notes = meta.file_metadata().key_value_metadata()?;
            notes.iter().find(|k| k.key == key)?.value.as_deref()
        };
        let stored_origin_s = noted(ORIGIN_KEY)
            .and_then(|v| v.parse::<f64>().ok())
            .filter(|s| s.is_finite())
            .unwrap_or(0.0);
        let even = noted(EVEN_KEY).filter(|_| time.is_some()).and_then(|v| {
            let (a, b) = v.split_once(' ')?;
            Some((a.parse::<i64>().ok()? as f64 * 1e-9, b.parse::<i64>().ok()? as f64 * 1e-9))
        });
        let mut origin = 0;
        if let (Some((c, unit)), None, true) = (time, even, reader.num_row_groups() > 0) {
            let first_stamp = || {
                let group = reader.get_row_group(0).map_err(|e| e.to_string())?;
                let mut one = Vec::new();
                Numbers::of(opened, group.as_ref(), c, Convert::NONE)?
                    .read(1, &mut one)
                    .map(|_| one)
            };
            origin = guarded(first_stamp)
                .map_err(|e| failed(path, e))?
                .first()
                .copied()
                .filter(|x| (x * unit).abs() >= 1.0e6)
                .map_or(0, |x| x.floor() as i64);
        }
        let mut before = 0u64;
        let groups = (0..meta.num_row_groups())
            .map(|g| {
                let first = before;
                let rows = meta.row_group(g).num_rows().max(0);
                before = before.saturating_add(rows as u64);
                (first, rows as usize)
            })
            .collect();
        Ok(Self {
            time,
            first,
            second,
            scale,
            offset_a: layout.offset_a,
            voltage: layout.voltage.map(|v| (v.column, v.volts_per_unit)),
            origin,
            stored_origin_s,
            even,
            rows: meta.file_metadata().num_rows().max(0) as u64,
            groups,
        })
    }
}

impl Plan {
    /// What is taken off every time (s).
    pub(crate) fn origin_s(&self) -> f64 {
        self.stored_origin_s + self.time.map_or(0.0, |(_, unit)| self.origin as f64 * unit)
    }

    /// Is there a time column?
    pub(crate) fn has_time(&self) -> bool {
        self.time.is_some()
    }
}

/// The open columns of one row group.
pub(crate) struct Group {
    time: Option<Numbers>,
    first: Numbers,
    second: Option<Numbers>,
    voltage: Option<Numbers>,
    scratch: Vec<f64>,
    /// Which group it is, its first row's number, how many of its rows are passed and left.
    number: usize,
    first_row: u64,
    passed: usize,
    left: usize,
}

impl Group {
    pub(crate) fn open(plan: &Plan, opened: &Opened, group: usize) -> Result<Self, String> {
        let rg = opened.reader.get_row_group(group).map_err(|e| e.to_string())?;
        let column = |c: usize, convert: Convert| Numbers::of(opened, rg.as_ref(), c, convert);
        let current = Convert { origin: 0, scale: plan.scale, offset: plan.offset_a };
        Ok(Self {
            time: match plan.time {
                Some((c, scale)) if plan.even.is_none() => {
                    Some(column(c, Convert { origin: plan.origin, scale, offset: 0.0 })?)
                }
                _ => None,
            },
            // A difference of two columns is taken before the unit is applied.
            first: column(plan.first, if plan.second.is_some() { Convert::NONE } else { current })?,
            second: plan.second.map(|c| column(c, Convert::NONE)).transpose()?,
            voltage: plan
                .voltage
                .map(|(c, scale)| column(c, Convert { scale, ..Convert::NONE }))
                .transpose()?,
            scratch: Vec::new(),
            number: group,
            first_row: plan.groups.get(group).map_or(0, |g| g.0),
            passed: 0,
            left: rg.metadata().num_rows().max(0) as usize,
        })
    }

    /// Reads a part: with what is open, where that lies in the same group and before it, else from the group's start. Pages that belong to other
    /// threads' parts are passed over unread.
    pub(crate) fn part(
        open: &mut Option<Self>,
        plan: &Plan,
        opened: &Opened,
        part: Part,
        out: &mut Parsed,
        counter: &mut Counter,
    ) -> Result<(), String> {
        let mut group = match open.take() {
            Some(g) if g.number == part.group && g.passed <= part.first => g,
            _ => Self::open(plan, opened, part.group)?,
        };
        let ahead = part.first - group.passed;
        if ahead > 0 {
            for column in group.columns() {
                column.skip(ahead)?;
            }
            group.passed += ahead;
            group.left -= ahead.min(group.left);
        }
        if part.first == 0 && part.rows == group.left {
            group.read_whole(plan, out, counter)?;
            return Ok(());
        }
        group.read(plan, part.rows, out)?;
        if out.rows != part.rows as u64 {
            return Err(format!("{} rows are missing", part.rows as u64 - out.rows));
        }
        *open = Some(group);
        Ok(())
    }

    fn columns(&mut self) -> impl Iterator<Item = &mut Numbers> {
        let others = [&mut self.time, &mut self.second, &mut self.voltage];
        std::iter::once(&mut self.first).chain(others.into_iter().flatten())
    }

    /// All rows; the current page by page, while each is in cache, and counted by its dictionary.
    fn read_whole(
        &mut self,
        plan: &Plan,
        out: &mut Parsed,
        counter: &mut Counter,
    ) -> Result<bool, String> {
        let (None, Numbers::Pages(pages)) = (&self.second, &mut self.first) else {
            let more = self.read(plan, self.left, out)?;
            return Ok(more);
        };
        let n = self.left;
        out.first_sample = Some(self.first_row);
        out.current.reserve(n);
        let mut plain = Vec::new();
        loop {
            let before = out.current.len();
            match pages.page(&mut out.current)? {
                Held::Nothing => break,
                Held::Plain => plain.push(before..out.current.len()),
                Held::Counted => {}
            }
            out.take_sums();
            if out.current.len() > n {
                return Err(format!("{} rows too many", out.current.len() - n));
            }
        }
        if out.current.len() < n {
            return Err(format!("{} rows are missing", n - out.current.len()));
        }
        self.left = 0;
        self.read_beside(n, out)?;
        self.told(n, out);
        if self.columns().any(|c| c.missing()) {
            drop_missing(out);
        }
        // Nothing is counted before the whole group is known to be sound; where rows were left out, what is left is counted afterwards.
        if out.current.len() == n {
            pages_counted(&mut self.first, plain, out, counter);
        }
        Ok(n > 0)
    }

    /// The stamps and the voltage of as many rows.
    fn read_beside(&mut self, n: usize, out: &mut Parsed) -> Result<(), String> {
        for (column, values, name) in [
            (&mut self.time, &mut out.time, "time"),
            (&mut self.voltage, &mut out.voltage, "voltage"),
        ] {
            if let Some(column) = column
                && column.read(n, values)? != n
            {
                return Err(format!("the {name} column is shorter than the current"));
            }
        }
        Ok(())
    }

    /// The next rows; `false` at the group's end.
    fn read(&mut self, plan: &Plan, most: usize, out: &mut Parsed) -> Result<bool, String> {
        let most = self.left.min(most);
        if most == 0 {
            return Ok(false);
        }
        let n = self.first.read(most, &mut out.current)?;
        if n == 0 {
            return Err(format!("{} rows are missing", self.left));
        }
        out.first_sample = Some(self.first_row.saturating_add(self.passed as u64));
        self.left -= n.min(self.left);
        self.passed += n;
        if let Some(second) = &mut self.second {
            self.scratch.clear();
            let m = second.read(n, &mut self.scratch)?;
            if m != n {
                return Err("the second channel is shorter than the first".to_owned());
            }
            for (a, b) in out.current.iter_mut().zip(&self.scratch) {
                *a = (*a - b) * plan.scale - plan.offset_a;
            }
        }
        self.read_beside(n, out)?;
        self.told(n, out);
        if self.columns().any(|c| c.missing()) {
            drop_missing(out);
        }
        if !out.has_nan {
            out.take_sums();
        }
        Ok(true)
    }

    fn told(&self, n: usize, out: &mut Parsed) {
        out.rows = n as u64;
        out.lines = n as u64;
        out.bytes = n as u64 * 8 * (1 + u64::from(self.time.is_some()));
    }
}

/// Unpacks the pages of all columns and looks at no value, on as many threads as a pass has: what a pass over the file cannot be faster than. Bytes.
///
/// # Errors
/// [`TraceError::Parquet`].
#[doc(hidden)]
pub fn unpack_only(path: &Path) -> Result<u64, TraceError> {
    let next = std::sync::atomic::AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(8);
    let work = || -> Result<u64, TraceError> {
        let opened = open(path)?;
        let reader = &opened.reader;
        let mut bytes = 0;
        loop {
            let at = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            let columns = reader.metadata().file_metadata().schema_descr().num_columns();
            if at >= reader.num_row_groups() * columns {
                return Ok(bytes);
            }
            let fail = |e: parquet::errors::ParquetError| failed(path, e);
            let group = reader.get_row_group(at / columns).map_err(fail)?;
            let mut pages =
                opened.pages(group.as_ref(), at % columns).map_err(|e| failed(path, e))?;
            while let Some(page) = pages.get_next_page().map_err(fail)? {
                bytes += page.buffer().len() as u64;
            }
        }
    };
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        workers.into_iter().map(|w| w.join().unwrap_or(Ok(0))).sum()
    })
}

fn pages_counted(
    column: &mut Numbers,
    plain: Vec<std::ops::Range<usize>>,
    out: &mut Parsed,
    counter: &mut Counter,
) {
    let Numbers::Pages(pages) = column else { return };
    pages.finish_counts(counter);
    for range in plain {
        counter.add(&out.current[range]);
    }
    out.state = State::Counted;
}

/// Nulls and non-finite values: left out where stamps tell the time, kept as NaN where the number does.
pub(crate) fn drop_missing(out: &mut Parsed) {
    let bad = out.current.iter().chain(&out.time).any(|x| !x.is_finite());
    if !bad {
        return;
    }
    let n = out.current.len();
    let volts = out.voltage.len() == n;
    let mut kept = 0;
    for k in 0..n {
        let t = out.time.get(k).copied().unwrap_or(0.0);
        if out.current[k].is_finite() && t.is_finite() {
            if !out.regular {
                out.time[kept] = out.time[k];
                out.current[kept] = out.current[k];
                if volts {
                    out.voltage[kept] = out.voltage[k];
                }
                kept += 1;
            }
            continue;
        }
        out.refused += 1;
        out.not_numbers += 1;
        if out.issues.len() < 16 {
            out.issues.push(crate::rows::RowIssue {
                line_in_chunk: k as u64,
                samples_before: if out.regular { k } else { kept },
                byte: 0,
                not_a_number: true,
                reason: "null or not a finite number".to_owned(),
            });
        }
        out.current[k] = f64::NAN;
    }
    if out.regular {
        out.has_nan = true;
    } else {
        // From here on the row's number is not the sample's.
        out.first_sample = None;
        out.time.truncate(kept);
        out.current.truncate(kept);
        if volts {
            out.voltage.truncate(kept);
        }
    }
}
