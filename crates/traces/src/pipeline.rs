//! The pass: threads parse pieces, the reduction takes them in order.
//!
//! Every thread takes the next piece of the input (under a lock: reading is cheap beside parsing), parses it, counts its histogram and
//! lays the samples down. Whoever finds the next piece in line lying there reduces it. A fixed number of sample buffers bounds the
//! memory; a thread waits for a free one before it takes a piece, so the piece in line can always be finished.

use crate::analysis::{Analysis, Quantile, Stopped};
use crate::arrow::Arrow;
use crate::binary::{frame_bytes, parse_frames};
use crate::cells::Envelope;
use crate::columnar::{self, BATCH, Group, Next, Opened, Part, Plan, guarded};
use crate::defects::Defect;
use crate::detect::detect;
use crate::error::TraceError;
use crate::histogram::Counter;
use crate::layout::{Format, Layout, TextFormat};
use crate::number::PAD;
use crate::options::{Control, Options, Progress};
use crate::reduce::{Reduced, Reducer, Tap};
use crate::rows::{Parsed, RowReader, State};
use crate::segment::segment_log_current;
use crate::source::{Chunker, Cut, LONGEST_LINE, Source};
use crate::text::parse_lines;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Between two calls of the progress callback.
const TICK: Duration = Duration::from_millis(100);
/// Probabilities of the reported quantiles.
const QUANTILES: [f64; 11] = [0.0, 0.001, 0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99, 0.999, 1.0];
/// Cells of the envelope that a result carries.
const DRAWN: usize = 4096;

/// Reads the whole source in one pass of constant memory.
///
/// `layout: None` detects it. `progress` is called about ten times a second and may stop the pass: the result then covers what was
/// read and says so in [`crate::Extent::stopped`]. The result does not depend on the chunk size or the number of threads.
///
/// # Errors
/// What [`detect`] and [`Layout::check`] say; [`TraceError::NoSamples`] where no row gave a sample. A source that
/// breaks off, or damaged rows, are no errors: the result states extent and defects.
pub fn analyse(
    source: Source,
    layout: Option<Layout>,
    options: &Options,
    progress: &mut dyn FnMut(&Progress) -> Control,
) -> Result<Analysis, TraceError> {
    analyse_with(source, layout, options, progress, None)
}

/// How pieces come.
#[allow(clippy::large_enum_variant, reason = "there is one of it in a pass")]
enum Feed {
    Text { chunker: Mutex<Chunker>, rows: RowReader },
    Raw { chunker: Mutex<Chunker>, layout: Layout, raw: crate::layout::RawFormat },
    Groups { plan: Plan, path: PathBuf, next: Mutex<Next>, failure: Failure },
    Arrow { regular: bool, state: Mutex<ArrowState>, failure: Mutex<Option<String>> },
}

struct ArrowState {
    arrow: Box<Arrow>,
    number: u64,
}

/// What lies between parsing and reduction.
#[allow(clippy::vec_box, reason = "the boxes move between the list, the map and the threads")]
struct Line {
    waiting: BTreeMap<u64, Box<Parsed>>,
    free: Vec<Box<Parsed>>,
    next: u64,
    busy: bool,
    /// A piece could not be read: what lies behind it is not part of the result.
    ended: bool,
}

/// Why reading ended, and at which piece.
type Failure = Mutex<Option<(u64, String)>>;

struct Shared<'a> {
    feed: Feed,
    line: Mutex<Line>,
    freed: Condvar,
    reducer: Mutex<Reducer<'a>>,
    stop: AtomicBool,
    samples: AtomicU64,
}

fn lock<T>(m: &Mutex<T>) -> MutexGuard<'_, T> {
    // A thread that panicked while it held the lock has already taken the whole pass down with it.
    m.lock().unwrap_or_else(PoisonError::into_inner)
}

pub(crate) fn analyse_with(
    mut source: Source,
    layout: Option<Layout>,
    options: &Options,
    progress: &mut dyn FnMut(&Progress) -> Control,
    mut tap: Option<&mut (dyn Tap + Send)>,
) -> Result<Analysis, TraceError> {
    let layout = match layout {
        Some(l) => l,
        None => detect(&mut source)?,
    };
    layout.check()?;
    let name = source.name.clone();
    let total_bytes = source.total_bytes;
    let consumed = std::sync::Arc::clone(&source.consumed);
    let mut stated_interval_s = layout.stated_interval_s();
    let mut base_s = 0.0;
    let mut origin_s = 0.0;
    let mut lines_before = 0;
    let mut wraps = false;
    let feed = match &layout.format {
        Format::Text(text) => {
            source.fill_head();
            let rows = prepare_text(&mut source, &layout, text);
            lines_before = text.skip_lines;
            wraps = rows.wraps_daily();
            origin_s = rows.origin_s();
            Feed::Text {
                chunker: Mutex::new(Chunker::new(source, Cut::Lines, options.chunk_bytes)),
                rows,
            }
        }
        Format::Raw(raw) => {
            source.fill_head();
            skip_bytes(&mut source, raw.skip_bytes);
            let frame = frame_bytes(*raw);
            let chunk = options.chunk_bytes.max(frame);
            let chunker = Mutex::new(Chunker::new(source, Cut::Frames(frame), chunk));
            Feed::Raw { chunker, layout: layout.clone(), raw: *raw }
        }
        Format::Parquet => {
            let path = source.parquet.clone().ok_or_else(|| TraceError::Parquet {
                name: name.clone(),
                reason: "it does not start as Parquet does, or is no file on disk".to_owned(),
            })?;
            let plan = Plan::new(&path, &columnar::open(&path)?, &layout)?;
            if let Some((first, step)) = plan.even {
                stated_interval_s = Some(step);
                base_s = first;
            }
            origin_s = plan.origin_s();
            let next = Mutex::new(Next::default());
            Feed::Groups { plan, path, next, failure: Mutex::new(None) }
        }
        Format::Arrow => {
            let arrow = source.arrow()?;
            let failed = |reason| TraceError::Arrow { name: name.clone(), reason };
            let planned = guarded(|| Ok(arrow.plan(&name, &layout)));
            origin_s = planned.map_err(failed)??;
            let regular = !arrow.has_time();
            let Some(arrow) = source.into_arrow() else {
                return Err(failed("it is not open".to_owned()));
            };
            let state = Mutex::new(ArrowState { arrow, number: 0 });
            Feed::Arrow { regular, state, failure: Mutex::new(None) }
        }
    };
    if let Some(tap) = &mut tap {
        tap.begin(origin_s);
    }
    let mut reducer = Reducer::new(options, stated_interval_s, layout.voltage.is_some(), tap);
    reducer.begin(lines_before, wraps, base_s);
    let threads = match options.threads {
        0 => std::thread::available_parallelism().map_or(1, usize::from).min(8),
        n => n.min(64),
    };
    let shared = Shared {
        feed,
        line: Mutex::new(Line {
            waiting: BTreeMap::new(),
            free: (0..threads + 2).map(|_| Box::default()).collect(),
            next: 0,
            busy: false,
            ended: false,
        }),
        freed: Condvar::new(),
        reducer: Mutex::new(reducer),
        stop: AtomicBool::new(false),
        samples: AtomicU64::new(0),
    };
    let started = Instant::now();
    let mut stopped_by_person = false;
    let counters: Vec<Counter> = std::thread::scope(|scope| {
        let (done, finished) = std::sync::mpsc::channel::<()>();
        let workers: Vec<_> = (0..threads)
            .map(|_| {
                let done = done.clone();
                let shared = &shared;
                scope.spawn(move || {
                    let counter = work(shared);
                    let _ = done.send(());
                    counter
                })
            })
            .collect();
        drop(done);
        let mut left = threads;
        while left > 0 {
            match finished.recv_timeout(TICK) {
                Ok(()) => left -= 1,
                Err(std::sync::mpsc::RecvTimeoutError::Disconnected) => break,
                Err(std::sync::mpsc::RecvTimeoutError::Timeout) => {
                    let report = report(&shared, started, &consumed, total_bytes);
                    if progress(&report) == Control::Stop {
                        stopped_by_person = true;
                        shared.stop.store(true, Ordering::Relaxed);
                    }
                }
            }
        }
        workers
            .into_iter()
            .filter_map(|w| match w.join() {
                Ok(c) => Some(c),
                Err(panic) => std::panic::resume_unwind(panic),
            })
            .collect()
    });
    progress(&report(&shared, started, &consumed, total_bytes));
    let stopped = why_stopped(&shared, stopped_by_person);
    let reducer = shared.reducer.into_inner().unwrap_or_else(PoisonError::into_inner);
    let rows = reducer.rows;
    let refusal = reducer.first_refusal.clone();
    let Some(mut reduced) = reducer.finish() else {
        return Err(match stopped {
            Some(s) => TraceError::NoSamples { name, rows, first: s.reason },
            None => TraceError::NoSamples {
                name,
                rows,
                first: refusal.unwrap_or_else(|| "there are no rows below the header".to_owned()),
            },
        });
    };
    reduced.extent.stopped = stopped;
    reduced.extent.origin_s = origin_s;
    Ok(assemble(name, layout, options, reduced, &counters))
}

fn report(
    shared: &Shared<'_>,
    started: Instant,
    consumed: &AtomicU64,
    total_bytes: Option<u64>,
) -> Progress {
    let reducer = lock(&shared.reducer);
    let (charge_c, newest_a, bytes) =
        (reducer.totals.charge.value(), reducer.newest_a(), reducer.bytes);
    drop(reducer);
    let elapsed_s = started.elapsed().as_secs_f64();
    let done_bytes = match &shared.feed {
        Feed::Groups { plan, .. } => {
            let share = shared.samples.load(Ordering::Relaxed) as f64 / plan.rows.max(1) as f64;
            total_bytes.map_or(bytes, |t| (t as f64 * share.min(1.0)) as u64)
        }
        Feed::Arrow { state, .. } => {
            // A thread that is decoding holds the reader: what was handed out so far will do.
            state.try_lock().map_or_else(
                |_| consumed.load(Ordering::Relaxed),
                |mut s| {
                    let at = s.arrow.progress();
                    consumed.fetch_max(at, Ordering::Relaxed).max(at)
                },
            )
        }
        _ => consumed.load(Ordering::Relaxed),
    };
    let rate = if elapsed_s > 0.0 { done_bytes as f64 / elapsed_s } else { 0.0 };
    Progress {
        done_bytes,
        total_bytes,
        samples: shared.samples.load(Ordering::Relaxed),
        elapsed_s,
        rate_bytes_per_s: rate,
        left_s: total_bytes
            .filter(|_| rate > 0.0)
            .map(|t| t.saturating_sub(done_bytes) as f64 / rate),
        charge_c,
        newest_a,
    }
}

fn why_stopped(shared: &Shared<'_>, by_person: bool) -> Option<Stopped> {
    let lines = lock(&shared.reducer).lines;
    let (failure, byte) = match &shared.feed {
        Feed::Text { chunker, .. } | Feed::Raw { chunker, .. } => {
            let c = lock(chunker);
            (c.failure.clone().map(|f| format!("the input broke off: {f}")), c.offset())
        }
        Feed::Groups { failure, .. } => (lock(failure).clone().map(|f| f.1), 0),
        Feed::Arrow { state, failure, .. } => (lock(failure).clone(), lock(state).arrow.position()),
    };
    match failure {
        Some(reason) => Some(Stopped { row: lines, byte, reason }),
        None if by_person => {
            Some(Stopped { row: lines, byte, reason: "stopped on request".to_owned() })
        }
        None => None,
    }
}

/// Takes the lines before the rows off the head, and finds the origin of the stamps.
fn prepare_text(source: &mut Source, layout: &Layout, text: &TextFormat) -> RowReader {
    let mut rows = RowReader::new(layout, *text);
    if source.head.starts_with(b"\xef\xbb\xbf") {
        source.head.drain(..3);
    }
    let old = !source.head.contains(&b'\n') && source.head.contains(&b'\r');
    let end_byte = if old { b'\r' } else { b'\n' };
    let mut at = 0;
    for _ in 0..text.skip_lines {
        match memchr::memchr(end_byte, &source.head[at..]) {
            Some(k) => at += k + 1,
            None => break,
        }
    }
    source.skipped = at as u64;
    source.head.drain(..at);
    let first = source
        .head
        .split(|b| *b == end_byte)
        .map(|l| l.strip_suffix(b"\r").unwrap_or(l))
        .find(|l| !l.trim_ascii().is_empty() && l.trim_ascii()[0] != b'#')
        .map(<[u8]>::to_vec);
    if let Some(line) = first {
        rows.find_origin(&line);
    }
    let whole = memchr::memrchr(end_byte, &source.head).map_or(0, |k| k + 1);
    rows.learn(&source.head[..whole]);
    rows
}

fn skip_bytes(source: &mut Source, bytes: u64) {
    let from_head = (bytes as usize).min(source.head.len());
    source.head.drain(..from_head);
    let mut left = bytes - from_head as u64;
    let mut sink = [0u8; 4096];
    while left > 0 {
        let most = sink.len().min(left as usize);
        match std::io::Read::read(&mut source.reader, &mut sink[..most]) {
            Ok(0) | Err(_) => return,
            Ok(n) => left -= n as u64,
        }
    }
    source.skipped = bytes;
}

/// What a thread keeps from piece to piece.
#[derive(Default)]
struct Scratch {
    buffer: Vec<u8>,
    positions: Vec<u32>,
    opened: Option<Opened>,
    group: Option<Group>,
}

/// One thread's share.
fn work(shared: &Shared<'_>) -> Counter {
    let mut counter = Counter::new();
    let mut scratch = Scratch::default();
    loop {
        let mut parsed = {
            let mut line = lock(&shared.line);
            loop {
                if let Some(p) = line.free.pop() {
                    break p;
                }
                line = shared.freed.wait(line).unwrap_or_else(PoisonError::into_inner);
            }
        };
        let number = if shared.stop.load(Ordering::Relaxed) {
            None
        } else {
            take_piece(shared, &mut scratch, &mut counter, &mut parsed)
        };
        let Some(number) = number else {
            lock(&shared.line).free.push(parsed);
            shared.freed.notify_all();
            return counter;
        };
        if parsed.state == State::Parsed {
            counter.add(&parsed.current);
        }
        shared.samples.fetch_add(parsed.current.len() as u64, Ordering::Relaxed);
        lay_down(shared, number, parsed, &mut counter);
    }
}

/// Lays a parsed piece down; reduces what is next in line. Pieces behind one that could not be read were counted in good faith: that is taken back.
fn lay_down(shared: &Shared<'_>, number: u64, parsed: Box<Parsed>, counter: &mut Counter) {
    let mut line = lock(&shared.line);
    line.waiting.insert(number, parsed);
    while !line.busy {
        let next = line.next;
        let Some(mut piece) = line.waiting.remove(&next) else { break };
        line.busy = true;
        line.ended |= piece.state == State::Unreadable;
        let ended = line.ended;
        drop(line);
        if ended {
            counter.take_back(&piece.current);
        } else {
            lock(&shared.reducer).chunk(&mut piece);
        }
        line = lock(&shared.line);
        line.busy = false;
        line.next += 1;
        line.free.push(piece);
        shared.freed.notify_one();
    }
}

fn take_piece(
    shared: &Shared<'_>,
    scratch: &mut Scratch,
    counter: &mut Counter,
    parsed: &mut Parsed,
) -> Option<u64> {
    let Scratch { buffer, positions, opened, group } = scratch;
    match &shared.feed {
        Feed::Text { chunker, rows } => {
            let piece = lock(chunker).next(buffer)?;
            parsed.clear(rows.regular());
            let mut end = piece.end;
            if piece.open_end {
                let start = memchr::memrchr(b'\n', &buffer[PAD..end]).map_or(PAD, |k| PAD + k + 1);
                if rows.may_be_cut(&buffer[start..end]) {
                    end = start;
                }
            }
            parse_lines(rows, buffer, PAD, end, piece.offset, positions, parsed);
            if end < piece.end {
                let row = &buffer[end..piece.end];
                parsed.rows += 1;
                parsed.bytes += row.len() as u64;
                parsed.refuse(piece.offset + (end - PAD) as u64, false, || {
                    format!(
                        "the last row \"{}\" has no line end and a shorter last number than others: it may be cut, and is left out",
                        crate::rows::show(row)
                    )
                });
                rows.pad_voltage(parsed);
                parsed.lines += 1;
            }
            if let Some((byte, length)) = piece.long_line {
                parsed.rows += 1;
                parsed.bytes += length;
                parsed.refuse(byte, false, || {
                    format!("a line of {length} bytes, the longest read is {LONGEST_LINE}")
                });
                parsed.lines += 1;
            }
            Some(piece.number)
        }
        Feed::Raw { chunker, layout, raw } => {
            let piece = lock(chunker).next(buffer)?;
            parsed.clear(true);
            parse_frames(layout, *raw, &buffer[PAD..piece.end], piece.offset, parsed);
            let frame = frame_bytes(*raw) as u64;
            parsed.first_sample = Some(piece.offset.saturating_sub(raw.skip_bytes) / frame);
            parsed.take_sums();
            if piece.left_over > 0 {
                let byte = piece.offset + (piece.end - PAD) as u64;
                parsed.regular = false;
                parsed.rows += 1;
                parsed.refuse(byte, false, || {
                    format!("{} bytes left over, not a whole sample", piece.left_over)
                });
                parsed.regular = true;
            }
            Some(piece.number)
        }
        Feed::Groups { plan, path, next, failure } => {
            if lock(failure).is_some() {
                return None;
            }
            let part = lock(next).take(plan)?;
            parsed.clear(plan.even.is_some() || !plan.has_time());
            let read = read_part(path, plan, part, opened, group, parsed, counter);
            if let Err(reason) = read {
                parsed.clear(parsed.regular);
                parsed.state = State::Unreadable;
                let mut f = lock(failure);
                // The first in the file's order is the one that is told.
                if f.as_ref().is_none_or(|(earlier, _)| part.number < *earlier) {
                    *f = Some((part.number, reason));
                }
            }
            Some(part.number)
        }
        Feed::Arrow { regular, state, failure } => {
            let mut s = lock(state);
            parsed.clear(*regular);
            if lock(failure).is_some() {
                return None;
            }
            match guarded(|| s.arrow.read(BATCH, parsed)) {
                Ok(true) => {
                    s.number += 1;
                    Some(s.number - 1)
                }
                Ok(false) => None,
                Err(e) => {
                    parsed.clear(*regular);
                    *lock(failure) = Some(s.arrow.told(&e));
                    None
                }
            }
        }
    }
}

fn read_part(
    path: &Path,
    plan: &Plan,
    part: Part,
    opened: &mut Option<Opened>,
    group: &mut Option<Group>,
    parsed: &mut Parsed,
    counter: &mut Counter,
) -> Result<(), String> {
    let opened = match opened {
        Some(o) => o,
        None => opened.insert(columnar::open(path).map_err(|e| e.to_string())?),
    };
    guarded(|| Group::part(group, plan, opened, part, parsed, counter))
        .map_err(|e| format!("{}: row group {}: {e}", path.display(), part.group + 1))
}

/// Parses and throws away, on as many threads as [`analyse`]: the yardstick that the benchmark measures the whole pass by.
///
/// # Errors
/// As [`analyse`].
#[doc(hidden)]
pub fn parse_only(mut source: Source, options: &Options) -> Result<(u64, f64), TraceError> {
    let layout = detect(&mut source)?;
    let Format::Text(text) = &layout.format else {
        return Err(TraceError::Layout { reason: "text only".to_owned() });
    };
    let rows = prepare_text(&mut source, &layout, text);
    let chunker = Mutex::new(Chunker::new(source, Cut::Lines, options.chunk_bytes));
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(8);
    let results: Vec<(u64, f64)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads)
            .map(|_| {
                scope.spawn(|| {
                    let (mut buffer, mut positions, mut parsed) =
                        (Vec::new(), Vec::new(), Parsed::default());
                    let (mut samples, mut sum) = (0u64, 0.0);
                    loop {
                        let piece = lock(&chunker).next(&mut buffer);
                        let Some(piece) = piece else { return (samples, sum) };
                        parsed.clear(rows.regular());
                        parse_lines(
                            &rows,
                            &buffer,
                            PAD,
                            piece.end,
                            piece.offset,
                            &mut positions,
                            &mut parsed,
                        );
                        samples += parsed.current.len() as u64;
                        sum += parsed.current.last().copied().unwrap_or(0.0)
                            + parsed.time.last().copied().unwrap_or(0.0);
                    }
                })
            })
            .collect();
        workers.into_iter().filter_map(|w| w.join().ok()).collect()
    });
    Ok(results.into_iter().fold((0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1)))
}

fn assemble(
    name: String,
    layout: Layout,
    options: &Options,
    reduced: Reduced,
    counters: &[Counter],
) -> Analysis {
    let histogram = Counter::sparse(counters.iter());
    let Reduced {
        extent,
        sampling,
        current,
        voltage,
        cells,
        samples_per_cell,
        machine,
        tallies,
        ..
    } = reduced;
    let mut quantiles: Vec<Quantile> =
        QUANTILES.iter().filter_map(|p| histogram.quantile(*p)).collect();
    // The extremes are known exactly.
    for (q, exact) in [(0.0, current.min.value), (1.0, current.max.value)] {
        if let Some(found) = quantiles.iter_mut().find(|x| x.probability == q) {
            (found.current_a, found.half_width_a) = (exact, 0.0);
        }
    }
    let phases = segment_log_current(&cells);
    let envelope = Envelope { samples_per_cell, cells }.reduced(DRAWN);
    let (mut floor, mut drift, mut wakes, mut range_switch) = (None, None, None, None);
    let mut load = crate::load::LoadProfile::default();
    if let Some(machine) = machine {
        floor = machine.floor();
        drift = machine.floor.drift();
        load = machine.kinds.load();
        load.sleep_a = floor.as_ref().map(|f| crate::load::Estimate {
            value: f.mean_a,
            standard_uncertainty: f.standard_uncertainty_a,
            standard_deviation: None,
            count: f.windows.max(1),
        });
        range_switch = Some(machine.range_switch.clone());
        wakes = Some(machine.report());
    }
    let defects: Vec<Defect> = crate::defects::judge(
        tallies,
        range_switch,
        &histogram,
        &current,
        &sampling,
        floor.as_ref(),
        options,
        &extent,
    );
    let read_as = layout.describe();
    Analysis {
        name,
        layout,
        read_as,
        extent,
        sampling,
        current,
        voltage,
        histogram,
        quantiles,
        floor,
        drift,
        envelope,
        phases,
        wakes,
        load,
        defects,
    }
}
