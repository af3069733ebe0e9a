//! Where traces outgrow one machine: plain partitioned Parquet that any engine queries, `board=…/day=…/part.parquet`.
//!
//! Columns: `time` (time stamp in nanoseconds, no time zone: the instrument's own clock), `current_a` (FLOAT: 24 bits of each sample, as in the
//! stored form) and, where recorded, `voltage_v` (FLOAT). Board and day stand in the folders' names alone, as the engines' "hive" reading
//! expects; the day is the stamp's own. Row groups carry their extremes, so that an engine passes over what a question does not touch.

use crate::analysis::Analysis;
use crate::error::TraceError;
use crate::files::unfinished_in;
use crate::layout::Layout;
use crate::options::{Control, Options, Progress};
use crate::pipeline::analyse_with;
use crate::reduce::Tap;
use crate::source::Source;
use parquet::basic::{Compression, ZstdLevel};
use parquet::data_type::{FloatType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tempfile::{NamedTempFile, TempPath};

const GROUP: usize = 262_144;
const DAY_NS: i64 = 86_400 * 1_000_000_000;
/// What nanoseconds in 64 bits reach to either side of 1970 (s).
const MOST_S: f64 = 9.2e9;
/// A century: a damaged clock must not fill the disk with folders.
const MOST_DAYS: usize = 36_525;
/// Stamps before this second (2000-01-01) are an instrument's uptime, not a date.
const EARLIEST_DATE_S: f64 = 946_684_800.0;

/// Where the parts go, and what they are called.
#[derive(Debug, Clone, PartialEq)]
pub struct Partition {
    /// The folder that holds `board=…`.
    pub folder: PathBuf,
    /// The board's name; characters other than letters, digits, `.`, `_` and `-` are written as `%` and two hexadecimal digits.
    pub board: String,
    /// Name of the part files without `.parquet`; several traces of one board and day need several names.
    pub part: String,
    /// When the trace's own zero was, in seconds since 1970-01-01: for traces without dated stamps. Refused for dated ones.
    pub start_unix_s: Option<f64>,
}

/// Analyses `source` and writes its samples by day, in the same pass. All parts appear at the end, or none.
///
/// # Errors
/// As [`crate::analyse`]; [`TraceError::Partition`] for an undated trace without a start, a part that is there already, a clock that goes
/// back over midnight; [`TraceError::Cancelled`] when the callback stops the work; [`TraceError::Io`].
pub fn partition(
    source: Source,
    layout: Option<Layout>,
    options: &Options,
    to: &Partition,
    progress: &mut dyn FnMut(&Progress) -> Control,
) -> Result<(Analysis, Vec<PathBuf>), TraceError> {
    let fail = |reason: &str| {
        Err(TraceError::Partition { board: to.board.clone(), reason: reason.to_owned() })
    };
    if to.board.is_empty() || to.part.is_empty() {
        return fail("board and part need a name");
    }
    if to.start_unix_s.is_some_and(|s| s.is_nan() || s.abs() > MOST_S) {
        return fail("the start lies outside the years 1678 to 2261");
    }
    let mut parts = Parts::new(to);
    let mut stopped = false;
    let analysis = analyse_with(
        source,
        layout,
        options,
        &mut |p| {
            let answer = progress(p);
            stopped |= answer == Control::Stop;
            answer
        },
        Some(&mut parts),
    )?;
    if stopped {
        return Err(TraceError::Cancelled);
    }
    let placed = parts.finish()?;
    Ok((analysis, placed))
}

/// A part that is being written.
struct Open {
    day: i64,
    writer: SerializedFileWriter<File>,
    temp: NamedTempFile,
    target: PathBuf,
}

struct Parts<'a> {
    to: &'a Partition,
    start_ns: i64,
    open: Option<Open>,
    /// Closed, not yet in their places.
    whole: Vec<(TempPath, PathBuf)>,
    /// Folders made here, the innermost last: taken away again where nothing comes of it.
    made: Vec<PathBuf>,
    time_ns: Vec<i64>,
    current_a: Vec<f32>,
    voltage_v: Vec<f32>,
    failure: Option<TraceError>,
}

impl<'a> Parts<'a> {
    fn new(to: &'a Partition) -> Self {
        Self {
            to,
            start_ns: 0,
            open: None,
            whole: Vec::new(),
            made: Vec::new(),
            time_ns: Vec::new(),
            current_a: Vec::new(),
            voltage_v: Vec::new(),
            failure: None,
        }
    }

    fn error(&self, reason: impl std::fmt::Display) -> TraceError {
        TraceError::Partition { board: self.to.board.clone(), reason: reason.to_string() }
    }

    fn take(
        &mut self,
        first: u64,
        time_s: &[f64],
        current: &[f64],
        volts: &[f64],
    ) -> Result<(), TraceError> {
        for (k, (t, i)) in time_s.iter().zip(current).enumerate() {
            let ns = self.start_ns.saturating_add((t * 1e9).round() as i64);
            let day = ns.div_euclid(DAY_NS);
            if self.open.as_ref().is_none_or(|o| o.day != day) {
                self.new_day(day, first + k as u64, !volts.is_empty())?;
            }
            self.time_ns.push(ns);
            self.current_a.push(*i as f32);
            if let Some(v) = volts.get(k) {
                self.voltage_v.push(*v as f32);
            }
            if self.time_ns.len() == GROUP {
                self.write_group()?;
            }
        }
        Ok(())
    }

    fn new_day(&mut self, day: i64, sample: u64, volts: bool) -> Result<(), TraceError> {
        if let Some(before) = self.open.as_ref().map(|o| o.day).filter(|d| *d > day) {
            return Err(self.error(format!(
                "the clock goes back from {} to {} at sample {sample}; repair the stamps first",
                date(before),
                date(day)
            )));
        }
        self.close_day()?;
        let board = folder_name(&self.to.board);
        let folder =
            self.to.folder.join(format!("board={board}")).join(format!("day={}", date(day)));
        let target = folder.join(format!("{}.parquet", folder_name(&self.to.part)));
        if target.exists() {
            return Err(self.error(format!("{} is there already", target.display())));
        }
        let name = folder.display().to_string();
        let io = |e| TraceError::io(&name, e);
        let missing: Vec<PathBuf> =
            folder.ancestors().take_while(|a| !a.exists()).map(Path::to_path_buf).collect();
        std::fs::create_dir_all(&folder).map_err(io)?;
        self.made.extend(missing.into_iter().rev());
        // Its name is one that no engine takes for a part.
        let temp = unfinished_in(&folder).map_err(io)?;
        let writer =
            temp.reopen().map_err(io).and_then(|f| writer(f, volts).map_err(|e| self.error(e)))?;
        self.open = Some(Open { day, writer, temp, target });
        Ok(())
    }

    fn write_group(&mut self) -> Result<(), TraceError> {
        let Some(open) = self.open.as_mut().filter(|_| !self.time_ns.is_empty()) else {
            return Ok(());
        };
        let written =
            write_group(&mut open.writer, &self.time_ns, &self.current_a, &self.voltage_v);
        self.time_ns.clear();
        self.current_a.clear();
        self.voltage_v.clear();
        written.map_err(|e| self.error(e))
    }

    fn close_day(&mut self) -> Result<(), TraceError> {
        self.write_group()?;
        if let Some(Open { writer, temp, target, .. }) = self.open.take() {
            writer.close().map_err(|e| self.error(e))?;
            temp.as_file()
                .sync_all()
                .map_err(|e| TraceError::io(&target.display().to_string(), e))?;
            if self.whole.len() >= MOST_DAYS {
                return Err(self.error(format!(
                    "more than {MOST_DAYS} days; are these stamps to be believed?"
                )));
            }
            self.whole.push((temp.into_temp_path(), target));
        }
        Ok(())
    }

    fn finish(mut self) -> Result<Vec<PathBuf>, TraceError> {
        if let Some(e) = self.failure.take() {
            return Err(e);
        }
        self.close_day()?;
        let mut placed = Vec::new();
        for (temp, target) in self.whole.drain(..) {
            let name = target.display().to_string();
            temp.persist_noclobber(&target).map_err(|e| TraceError::io(&name, e.error))?;
            placed.push(target);
        }
        Ok(placed)
    }
}

impl Drop for Parts<'_> {
    fn drop(&mut self) {
        self.open = None;
        self.whole.clear();
        for folder in self.made.drain(..).rev() {
            // Only empty ones go.
            let _ = std::fs::remove_dir(folder);
        }
    }
}

impl Tap for Parts<'_> {
    fn begin(&mut self, origin_s: f64) {
        let dated = origin_s >= EARLIEST_DATE_S;
        let start = match (dated, self.to.start_unix_s) {
            (true, None) => origin_s,
            (false, Some(s)) => s,
            (true, Some(_)) => {
                self.failure =
                    Some(self.error("the stamps carry a date of their own; leave the start out"));
                return;
            }
            (false, None) => {
                self.failure = Some(self.error(
                    "the stamps carry no date; say when the trace's zero was (seconds since 1970)",
                ));
                return;
            }
        };
        if start.abs() > MOST_S {
            self.failure = Some(self.error("the first stamp lies outside the years 1678 to 2261"));
            return;
        }
        // Whole seconds and the rest apart: an f64 of today's seconds has no nanoseconds.
        self.start_ns =
            start.floor() as i64 * 1_000_000_000 + ((start - start.floor()) * 1e9).round() as i64;
    }

    fn block(&mut self, first: u64, time_s: &[f64], current_a: &[f64], voltage_v: &[f64]) {
        if self.failure.is_none() {
            self.failure = self.take(first, time_s, current_a, voltage_v).err();
        }
    }
}

fn writer(file: File, volts: bool) -> Result<SerializedFileWriter<File>, ParquetError> {
    let voltage = if volts { "REQUIRED FLOAT voltage_v;" } else { "" };
    let schema = parse_message_type(&format!(
        "message part {{ REQUIRED INT64 time (TIMESTAMP(NANOS, false)); REQUIRED FLOAT current_a; {voltage} }}"
    ))?;
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(1)?))
        .set_column_dictionary_enabled("time".into(), false)
        .set_column_encoding("time".into(), parquet::basic::Encoding::DELTA_BINARY_PACKED)
        .set_statistics_enabled(EnabledStatistics::Chunk)
        .set_max_row_group_row_count(Some(GROUP))
        .set_created_by("overwinter".to_owned())
        .build();
    SerializedFileWriter::new(file, Arc::new(schema), Arc::new(properties))
}

fn write_group(
    writer: &mut SerializedFileWriter<File>,
    time_ns: &[i64],
    current_a: &[f32],
    voltage_v: &[f32],
) -> Result<(), ParquetError> {
    let gone = || ParquetError::General("a column is missing".to_owned());
    let mut group = writer.next_row_group()?;
    let mut column = group.next_column()?.ok_or_else(gone)?;
    column.typed::<Int64Type>().write_batch(time_ns, None, None)?;
    column.close()?;
    let mut column = group.next_column()?.ok_or_else(gone)?;
    column.typed::<FloatType>().write_batch(current_a, None, None)?;
    column.close()?;
    if let Some(mut column) = group.next_column()? {
        column.typed::<FloatType>().write_batch(voltage_v, None, None)?;
        column.close()?;
    }
    group.close().map(|_| ())
}

/// A name as a folder's value: what engines decode again.
fn folder_name(name: &str) -> String {
    name.bytes().fold(String::new(), |mut s, b| {
        if b.is_ascii_alphanumeric() || b"._-".contains(&b) {
            s.push(char::from(b));
        } else {
            s.push_str(&format!("%{b:02X}"));
        }
        s
    })
}

/// `YYYY-MM-DD` of a day since 1970-01-01 (Gregorian; the inverse of the readers' day count, tested against it).
fn date(day: i64) -> String {
    let z = day + 719_468;
    let (era, of_era) = (z.div_euclid(146_097), z.rem_euclid(146_097));
    let year_of_era = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * of_year + 2) / 153;
    let d = of_year - (153 * month_from_march + 2) / 5 + 1;
    let m = if month_from_march < 10 { month_from_march + 3 } else { month_from_march - 9 };
    let y = year_of_era + era * 400 + i64::from(m <= 2);
    format!("{y:04}-{m:02}-{d:02}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::DateOrder;

    #[test]
    fn dates_and_day_counts_agree() {
        for day in (-40_000..60_000).step_by(7) {
            let text = date(day);
            assert_eq!(crate::rows::days(text.as_bytes(), DateOrder::YearMonthDay), Some(day));
        }
        assert_eq!(date(0), "1970-01-01");
        assert_eq!(date(19_782), "2024-02-29");
    }

    #[test]
    fn names_become_folders() {
        assert_eq!(folder_name("north-2_b.1"), "north-2_b.1");
        assert_eq!(folder_name("a/b c"), "a%2Fb%20c");
    }
}
