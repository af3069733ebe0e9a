//! The speed of a whole pass beside two general engines doing a fifth of it on the same file in the same run.
//!
//! `cargo bench -p overwinter-traces` (or `cargo xtask bench traces`). Makes 50 million samples of `time_s,current_a` (about 1 GB) and a stored
//! trace of 500 million under `target/trace-bench`, warms the text, then runs every contender several times in shuffled order, each in a process
//! of its own, and takes each one's best. The peers need Python 3; they are installed into a virtual environment there.
//! `OVERWINTER_BENCH_SAMPLES` and `OVERWINTER_BENCH_ZOOM_SAMPLES` change the sizes, `OVERWINTER_BENCH_ROUNDS` the rounds. The files it makes (about
//! 3.8 GB) are deleted at the end, after a failure too; `OVERWINTER_BENCH_KEEP=1` keeps them for the next run. The peers' environment stays.
#![allow(clippy::print_stdout, reason = "a benchmark prints")]

use overwinter_traces::{
    Control, Layout, Options, Provenance, RawKind, Source, StoredTrace, analyse, parse_only, store,
    store_source, unpack_only,
};
use std::fs::File;
use std::io::{BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Instant;

fn setting(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(default)
}

/// A pseudo-random stream that is the same everywhere.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    /// About a Gaussian: the sum of four uniforms, unit variance.
    fn z(&mut self) -> f64 {
        let x = self.next();
        let sum = (0..4).map(|k| (x >> (16 * k) & 0xffff) as f64).sum::<f64>() / 65_536.0;
        (sum - 2.0) * 1.732_050_8
    }
}

/// A board at 100 kS/s: asleep at 12 µA with a regulator's burst every 20 ms, awake for 150 ms every 4 s in four phases.
fn current_a(k: u64, noise: &mut Noise) -> f64 {
    let in_cycle = k % 400_000;
    let level = match in_cycle {
        0..=1_999 => 0.008,
        2_000..=7_999 => 0.025,
        8_000..=10_999 => 0.12,
        11_000..=14_999 => 0.018,
        _ if in_cycle % 2_000 < 4 => 0.0009,
        _ => 12e-6,
    };
    level * (1.0 + 0.04 * noise.z())
}

/// `jitter_us`: stamps to the microsecond that keep their step only to so many; 0: exactly every 10 µs.
fn write_text(path: &Path, samples: u64, jitter_us: u64) {
    let mut out =
        BufWriter::with_capacity(1 << 20, File::create(path).expect("target folder is writable"));
    let mut noise = Noise(0x2545_f491_4f6c_dd1d);
    out.write_all(b"time_s,current_a\n").expect("disk has room");
    let mut row = Vec::with_capacity(64);
    for k in 0..samples {
        row.clear();
        let nano = (current_a(k, &mut noise) * 1e9).round() as u64;
        let (whole, part) = (nano / 1_000_000_000, nano % 1_000_000_000);
        if jitter_us == 0 {
            writeln!(row, "{}.{:05},{whole}.{part:09}", k / 100_000, k % 100_000)
        } else {
            let us = 10 * (k + 1) + noise.next() % (2 * jitter_us + 1) - jitter_us;
            writeln!(row, "{}.{:06},{whole}.{part:09}", us / 1_000_000, us % 1_000_000)
        }
        .expect("memory");
        out.write_all(&row).expect("disk has room");
    }
    out.flush().expect("disk has room");
}

/// The same board as raw numbers, made on the way.
struct Board {
    k: u64,
    samples: u64,
    noise: Noise,
}

impl Read for Board {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let n = (out.len() / 4).min((self.samples - self.k) as usize);
        for bytes in out[..4 * n].chunks_exact_mut(4) {
            // A 14-bit instrument: few distinct readings, as instruments have.
            let a = current_a(self.k, &mut self.noise) as f32;
            let step = f32::from_bits((a.to_bits() & 0x7f80_0000) - (13 << 23));
            bytes.copy_from_slice(&((a / step).round() * step).to_le_bytes());
            self.k += 1;
        }
        Ok(4 * n)
    }
}

fn warm(path: &Path) {
    let mut file = File::open(path).expect("made above");
    let mut buffer = vec![0u8; 1 << 20];
    while file.read(&mut buffer).expect("readable") > 0 {}
}

fn peak_rss_mib() -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    text.lines()
        .find_map(|l| l.strip_prefix("VmHWM:"))
        .and_then(|l| l.trim().trim_end_matches(" kB").parse::<f64>().ok())
        .map_or(f64::NAN, |k| k / 1024.0)
}

/// What the child prints: seconds, peak resident MiB, then the five figures.
fn child(what: &str, path: &Path) {
    let options = Options::default();
    let started = Instant::now();
    if what == "parse" {
        parse_only(Source::open(path).expect("made above"), &options).expect("plain text");
        println!("{} {}", started.elapsed().as_secs_f64(), peak_rss_mib());
        return;
    }
    if what == "unpack" {
        unpack_only(path).expect("Parquet");
        println!("{} {}", started.elapsed().as_secs_f64(), peak_rss_mib());
        return;
    }
    let a = analyse(Source::open(path).expect("made above"), None, &options, &mut |_| {
        Control::Continue
    })
    .expect("a trace");
    let seconds = started.elapsed().as_secs_f64();
    let c = &a.current;
    println!(
        "{seconds} {} {:e} {:e} {:e} {:e} {:e}",
        peak_rss_mib(),
        c.charge_c,
        c.sample_mean_a,
        c.min.value,
        c.max.value,
        c.rms_a
    );
}

fn numbers(command: &mut Command) -> Option<Vec<f64>> {
    let out = command.output().ok().filter(|o| o.status.success())?;
    let text = String::from_utf8_lossy(&out.stdout);
    let line = text.lines().last()?;
    line.split_whitespace().map(|w| w.parse().ok()).collect()
}

fn peers(folder: &Path) -> Option<PathBuf> {
    let python = folder.join("venv/bin/python");
    let works = |p: &Path| {
        Command::new(p)
            .args(["-c", "import polars, duckdb, pyarrow"])
            .output()
            .is_ok_and(|o| o.status.success())
    };
    if !works(&python) {
        Command::new("python3").args(["-m", "venv"]).arg(folder.join("venv")).status().ok()?;
        Command::new(&python)
            .args(["-m", "pip", "-q", "install", "polars", "duckdb", "pyarrow"])
            .status()
            .ok()?;
    }
    works(&python).then_some(python)
}

/// The traces made for the measurement; deleted with it.
struct Made<'a> {
    folder: &'a Path,
}

impl Drop for Made<'_> {
    fn drop(&mut self) {
        if setting("OVERWINTER_BENCH_KEEP", 0) != 0 {
            return;
        }
        let files = std::fs::read_dir(self.folder).into_iter().flatten().flatten();
        for path in files.map(|f| f.path()) {
            if path.extension().is_some_and(|e| e == "csv" || e == "parquet") {
                // What cannot be deleted is left; the figures are printed already.
                let _ = std::fs::remove_file(path);
            }
        }
    }
}

/// Who writes Parquet, as `foreign.py` knows them.
const WRITERS: [&str; 4] = ["pyarrow", "polars", "duckdb", "stamps"];

/// How many times the text's rate each other writer's Parquet is read, and what it would be if only its pages were unpacked: below 1 the text
/// is the faster one, and unpacking is what no reader is spared.
fn foreign(folder: &Path, python: &Path, text: &Path, samples: u64, rounds: u64, full_s: f64) {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/foreign.py");
    let own = std::env::current_exe().expect("known");
    let mut line =
        "from other writers' Parquet, times the text's rate (unpacking alone):".to_owned();
    for writer in WRITERS {
        let file = folder.join(format!("{samples}-{writer}.parquet"));
        if !file.exists()
            && !Command::new(python)
                .arg(&script)
                .arg(writer)
                .arg(text)
                .arg(&file)
                .status()
                .is_ok_and(|s| s.success())
        {
            line.push_str(&format!(" {writer}=unmeasured"));
            continue;
        }
        warm(&file);
        let mut best = [f64::INFINITY; 2];
        for _ in 0..rounds {
            for (k, what) in ["full", "unpack"].into_iter().enumerate() {
                if let Some(found) = numbers(Command::new(&own).args(["--child", what]).arg(&file))
                {
                    best[k] = best[k].min(found[0]);
                }
            }
        }
        line.push_str(&format!(" {writer}={:.2} ({:.2})", full_s / best[0], full_s / best[1]));
    }
    println!("{line}");
}

/// The same for our own kept form where stamps are uneven, so that they have to be read.
fn uneven(folder: &Path, samples: u64, rounds: u64) {
    let (text, kept) = (
        folder.join(format!("{samples}-uneven.csv")),
        folder.join(format!("{samples}-uneven.parquet")),
    );
    if !text.exists() {
        write_text(&text, samples, 1);
    }
    if !kept.exists() {
        let go = &mut |_: &_| Control::Continue;
        store(&text, None, &Options::default(), Provenance::default(), &kept, go).expect("a trace");
    }
    warm(&text);
    warm(&kept);
    let own = std::env::current_exe().expect("known");
    let mut best = [f64::INFINITY; 2];
    for _ in 0..rounds {
        for (k, file) in [&text, &kept].into_iter().enumerate() {
            if let Some(found) = numbers(Command::new(&own).args(["--child", "full"]).arg(file)) {
                best[k] = best[k].min(found[0]);
            }
        }
    }
    println!(
        "kept with uneven stamps ({samples} samples), times the text's rate: {:.2}",
        best[0] / best[1]
    );
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(at) = arguments.iter().position(|a| a == "--child") {
        child(&arguments[at + 1], Path::new(&arguments[at + 2]));
        return ExitCode::SUCCESS;
    }
    if arguments.iter().any(|a| a == "--list") {
        return ExitCode::SUCCESS;
    }
    let target = std::env::var_os("CARGO_TARGET_DIR")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("../../target"), PathBuf::from);
    let folder = target.join("trace-bench");
    std::fs::create_dir_all(&folder).expect("target folder is writable");
    let _made = Made { folder: &folder };
    let samples = setting("OVERWINTER_BENCH_SAMPLES", 50_000_000);
    let zoom_samples = setting("OVERWINTER_BENCH_ZOOM_SAMPLES", 500_000_000);
    let rounds = setting("OVERWINTER_BENCH_ROUNDS", 5);
    let text = folder.join(format!("{samples}.csv"));
    let parquet = folder.join(format!("{samples}.parquet"));
    if !text.exists() {
        write_text(&text, samples, 0);
    }
    let options = Options::default();
    if !parquet.exists() {
        let go = &mut |_: &_| Control::Continue;
        store(&text, None, &options, Provenance::default(), &parquet, go).expect("a trace");
    }
    let python = peers(&folder);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/peers.py");
    let size = std::fs::metadata(&text).map_or(0, |m| m.len());
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    println!(
        "{samples} samples, {:.2} GB of text; load before: {}",
        size as f64 / 1e9,
        load.trim()
    );
    if load.split(' ').next().and_then(|l| l.parse::<f64>().ok()).is_some_and(|l| l > 0.7) {
        println!("the machine is not idle: these figures are preliminary");
    }
    warm(&text);
    warm(&parquet);
    let own = std::env::current_exe().expect("known");
    let mut names = vec!["full", "parse", "parquet"];
    if python.is_some() {
        names.extend(["polars", "duckdb"]);
    }
    let mut best: Vec<Option<Vec<f64>>> = vec![None; names.len()];
    let mut noise = Noise(std::process::id().into());
    for round in 0..rounds {
        let mut order: Vec<usize> = (0..names.len()).collect();
        for k in (1..order.len()).rev() {
            order.swap(k, (noise.next() % (k as u64 + 1)) as usize);
        }
        for k in order {
            let result = match (names[k], &python) {
                (name @ ("polars" | "duckdb"), Some(p)) => {
                    numbers(Command::new(p).arg(&script).arg(name).arg(&text))
                }
                ("parquet", _) => {
                    numbers(Command::new(&own).args(["--child", "full"]).arg(&parquet))
                }
                (name, _) => numbers(Command::new(&own).args(["--child", name]).arg(&text)),
            };
            let Some(result) = result else {
                println!("round {round}: {} failed", names[k]);
                continue;
            };
            println!("round {round}: {} {:.3} s", names[k], result[0]);
            if best[k].as_ref().is_none_or(|b| result[0] < b[0]) {
                best[k] = Some(result);
            }
        }
    }
    let of = |name: &str| names.iter().position(|n| *n == name).and_then(|k| best[k].clone());
    let (Some(full), Some(parse), Some(stored)) = (of("full"), of("parse"), of("parquet")) else {
        println!("a run failed; nothing to report");
        return ExitCode::FAILURE;
    };
    let mut peer = f64::INFINITY;
    for name in ["polars", "duckdb"] {
        if let Some(p) = of(name) {
            // The same figures, or the comparison is worth nothing.
            for (ours, theirs) in full[2..].iter().zip(&p[1..]) {
                assert!((ours / theirs - 1.0).abs() < 1e-8, "{name}: {theirs:e}, here {ours:e}");
            }
            peer = peer.min(p[0]);
        }
    }
    if let Some(python) = &python {
        foreign(&folder, python, &text, samples, rounds, full[0]);
    }
    uneven(&folder, samples / 5 * 2, rounds);
    let zoom_ms = zoom(&folder, zoom_samples, &options);
    println!(
        "traces: ratio_to_best_peer={} share_of_parse={:.2} rss_mib={:.1} parquet_ratio={:.2} zoom_ms={zoom_ms:.2}",
        if peer.is_finite() { format!("{:.2}", peer / full[0]) } else { "unmeasured".to_owned() },
        parse[0] / full[0],
        full[1].max(stored[1]),
        full[0] / stored[0],
    );
    ExitCode::SUCCESS
}

/// The slowest of 300 windows, opening the file included (ms). Each window is asked for three times and its best counts: a process that was
/// put aside for another tells nothing of the work. The slowest single one is printed beside.
fn zoom(folder: &Path, samples: u64, options: &Options) -> f64 {
    let path = folder.join(format!("zoom-{samples}.parquet"));
    if !path.exists() {
        let board = Board { k: 0, samples, noise: Noise(88_172_645_463_325_252) };
        let source = Source::from_reader("made on the way", Box::new(board)).expect("never empty");
        let layout = Layout::raw(RawKind::F32, 100_000.0);
        store_source(source, Some(layout), options, Provenance::default(), &path, &mut |_| {
            Control::Continue
        })
        .expect("a trace");
    }
    let (from, to) = StoredTrace::open(&path).expect("made above").span_s();
    let mut noise = Noise(0x9e37_79b9_7f4a_7c15);
    let mut unit = || (noise.next() >> 11) as f64 / (1u64 << 53) as f64;
    let mut times = Vec::new();
    let (mut most_bytes, mut single) = (0, 0.0f64);
    for k in 0..300 {
        let decades = if k < 10 { 0.0 } else { -6.0 * unit() };
        let width = (to - from) * libm::pow(10.0, decades);
        let start = from + (to - from - width) * unit();
        let mut best = f64::INFINITY;
        for _ in 0..3 {
            let started = Instant::now();
            let mut trace = StoredTrace::open(&path).expect("made above");
            let z = trace.zoom(start, start + width, 1920).expect("readable");
            let ms = started.elapsed().as_secs_f64() * 1e3;
            best = best.min(ms);
            single = single.max(ms);
            most_bytes = most_bytes.max(z.bytes_read);
            assert!(!z.cells.is_empty());
        }
        times.push(best);
    }
    times.sort_by(f64::total_cmp);
    let size = std::fs::metadata(&path).map_or(0, |m| m.len());
    println!(
        "zoom into {samples} samples ({:.2} GB): median {:.2} ms, 99 % {:.2} ms, slowest {:.2} ms (single: {single:.2} ms); at most {} kB read",
        size as f64 / 1e9,
        times[times.len() / 2],
        times[times.len() * 99 / 100],
        times[times.len() - 1],
        most_bytes / 1000
    );
    times[times.len() - 1]
}
