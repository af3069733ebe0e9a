//! Every reader fed with damaged files: an error or a sound result, no panic, no hang.
//!
//! Deterministic: the same damage on every machine. `OVERWINTER_FUZZ_ROUNDS` sets how often each file of the corpus is damaged (default 60),
//! `OVERWINTER_FUZZ_SEED` another series of damage. A hang is found by counting steps, not seconds: a reader may be asked for bytes only
//! so often, and a file of a few kilobytes may not claim samples without end.

mod corpus;
mod damage;

use corpus::{Seed, Way};
use damage::{Dice, damage};
use overwinter_traces::{
    Analysis, Control, Options, Partition, RailOptions, Source, StoredTrace, TraceError, analyse,
    analyse_rail, partition, read_series,
};
use sha2::{Digest, Sha256};
use std::io::Read;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

/// Reads from memory, so many times at most.
struct Budget {
    bytes: std::io::Cursor<Vec<u8>>,
    steps: usize,
}

impl Read for Budget {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        assert!(self.steps > 0, "asked for bytes again and again: a hang");
        self.steps -= 1;
        // A few bytes at a time now and then, as pipes do.
        let most = if self.steps.is_multiple_of(3) { out.len().min(7) } else { out.len() };
        self.bytes.read(&mut out[..most])
    }
}

fn stream(bytes: &[u8]) -> Result<Source, TraceError> {
    let steps = 2000 + 2 * bytes.len();
    Source::from_reader(
        "stream",
        Box::new(Budget { bytes: std::io::Cursor::new(bytes.to_vec()), steps }),
    )
}

/// A sound result agrees with itself.
fn check(a: &Analysis) {
    let n = a.extent.samples;
    assert!(n > 0 && n <= a.extent.rows, "{n} samples of {} rows", a.extent.rows);
    assert!(a.current.min.value <= a.current.max.value);
    assert_eq!(a.histogram.bins.iter().map(|b| b.count).sum::<u64>(), n, "histogram");
    assert_eq!(a.envelope.cells.iter().map(|c| c.samples).sum::<u64>(), n, "envelope");
    assert_eq!(n + a.extent.refused_rows, a.extent.rows, "rows");
    let p = overwinter_traces::plot::Plot::of(a);
    assert!(!p.svg(300, 200).is_empty() && !p.terminal(40, 8).is_empty());
}

fn options(dice: &mut Dice) -> Options {
    Options {
        threads: 1 + dice.below(2),
        chunk_bytes: [64, 500, 1 << 18][dice.below(3)],
        ..Options::default()
    }
}

/// More samples than this are not read from a damaged file of kilobytes; asked every 100 ms.
const MOST: u64 = 20_000_000;

fn feed(seed: &Seed, bytes: &[u8], file: &Path, dice: &mut Dice) {
    let o = options(dice);
    let go = &mut |p: &overwinter_traces::Progress| {
        if p.samples > MOST { Control::Stop } else { Control::Continue }
    };
    match &seed.way {
        Way::Stream | Way::As(_) => {
            let layout = if let Way::As(l) = &seed.way { Some(l.clone()) } else { None };
            if let Ok(a) = stream(bytes).and_then(|s| analyse(s, layout.clone(), &o, go)) {
                check(&a);
            }
            // Any bytes as any other form, too.
            if dice.below(4) == 0
                && let Ok(series) =
                    stream(bytes).and_then(|s| read_series(s, layout.clone(), 10_000))
            {
                let rail = RailOptions {
                    reset_threshold_v: 1.8,
                    tolerance_v: 0.05,
                    filter_s: if dice.below(2) == 0 { None } else { Some(1e-3) },
                };
                let _ = analyse_rail(&series.time_s, &series.current_a, &rail);
            }
            if dice.below(8) == 0 {
                let to = Partition {
                    folder: file.with_extension("fleet"),
                    board: "damaged".to_owned(),
                    part: "part".to_owned(),
                    start_unix_s: (dice.below(2) == 0).then_some(1.7e9),
                };
                let _ = stream(bytes).and_then(|s| partition(s, layout, &o, &to, go));
                let _ = std::fs::remove_dir_all(&to.folder);
            }
        }
        Way::File | Way::Stored => {
            std::fs::write(file, bytes).expect("room in the temporary folder");
            if let Ok(a) = Source::open(file).and_then(|s| analyse(s, None, &o, go)) {
                check(&a);
            }
            if let Ok(mut s) = StoredTrace::open(file) {
                let _ = s.provenance();
                let (from, to) = s.span_s();
                for (a, b, columns) in [
                    (from, to, 10),
                    (0.5, 0.6, 1000),
                    (f64::NEG_INFINITY, f64::INFINITY, 100_000),
                    (to, from, 0),
                ] {
                    let _ = s.zoom(a, b, columns);
                }
            }
        }
    }
}

/// Damage behind a checksum is met only by those who make a fitting one.
fn mend_checksum(bytes: &mut [u8]) {
    let number =
        |at: usize| bytes.get(at..at + 8).and_then(|b| b.try_into().ok()).map(u64::from_le_bytes);
    let (Some(offset), Some(size)) = (number(12), number(20)) else { return };
    let range = usize::try_from(offset)
        .ok()
        .zip(offset.checked_add(size))
        .and_then(|(a, b)| Some(a..usize::try_from(b).ok()?));
    let Some(sum) = range.and_then(|r| bytes.get(r)).map(Sha256::digest) else { return };
    if let Some(place) = bytes.get_mut(28..44) {
        place.copy_from_slice(&sum[..16]);
    }
}

/// Damage inside the index itself.
fn damage_index(bytes: &mut [u8], dice: &mut Dice) {
    let number =
        |at: usize| bytes.get(at..at + 8).and_then(|b| b.try_into().ok()).map(u64::from_le_bytes);
    let (Some(offset), Some(size)) = (number(12), number(20)) else { return };
    for _ in 0..=dice.below(4) {
        let at = (offset as usize).saturating_add(dice.below(size as usize));
        if let Some(b) = bytes.get_mut(at) {
            *b = [0, 1, 0x7f, 0x80, 0xff, dice.next() as u8][dice.below(6)];
        }
    }
}

fn setting(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(default)
}

#[test]
fn damaged_files_of_every_form() {
    let seeds = corpus::all();
    let rounds = setting("OVERWINTER_FUZZ_ROUNDS", 60);
    let series = setting("OVERWINTER_FUZZ_SEED", 1);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("damaged");
    // The sound ones first: the corpus reaches the readers.
    let mut dice = Dice(series.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    for s in &seeds {
        feed(s, &s.bytes, &file, &mut dice);
    }
    let mut cases = 0u64;
    for round in 0..rounds {
        for (k, s) in seeds.iter().enumerate() {
            let other = &seeds[dice.below(seeds.len())].bytes;
            let mut bytes = s.bytes.clone();
            if matches!(s.way, Way::Stored) && dice.below(2) == 0 {
                damage_index(&mut bytes, &mut dice);
                mend_checksum(&mut bytes);
            } else {
                damage(&mut bytes, other, &mut dice);
                if matches!(s.way, Way::Stored) {
                    mend_checksum(&mut bytes);
                }
            }
            let before = dice.0;
            if catch_unwind(AssertUnwindSafe(|| feed(s, &bytes, &file, &mut dice))).is_err() {
                let kept = std::env::temp_dir().join(format!("damaged-{series}-{round}-{k}"));
                std::fs::write(&kept, &bytes).expect("room in the temporary folder");
                panic!(
                    "{}: round {round} of series {series} (state {before:#x}), kept as {}",
                    s.name,
                    kept.display()
                );
            }
            cases += 1;
        }
    }
    println!("{cases} damaged files of {} forms", seeds.len());
    assert_eq!(cases, rounds * seeds.len() as u64);
}

#[test]
fn every_sound_file_of_the_corpus_is_read() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("sound");
    for s in corpus::all() {
        std::fs::write(&file, &s.bytes).expect("room");
        let layout = if let Way::As(l) = &s.way { Some(l.clone()) } else { None };
        let a = Source::open(&file)
            .and_then(|src| analyse(src, layout, &Options::default(), &mut |_| Control::Continue))
            .unwrap_or_else(|e| panic!("{}: {e}", s.name));
        check(&a);
    }
}
