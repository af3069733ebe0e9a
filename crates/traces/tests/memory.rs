//! Constant memory, shown by counting what is allocated, not by time: many times the samples, the same peak.
#![allow(
    unsafe_code,
    reason = "a counting allocator can only be written with GlobalAlloc, an unsafe trait"
)]

use overwinter_traces::{Control, Layout, Options, RawKind, Source, analyse};
use std::alloc::{GlobalAlloc, Layout as Block, System};
use std::io::Read;
use std::sync::atomic::{AtomicUsize, Ordering};

struct Counting;

static NOW: AtomicUsize = AtomicUsize::new(0);
static PEAK: AtomicUsize = AtomicUsize::new(0);

// SAFETY: every call is handed to the system's allocator unchanged; the counters are atomics.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, block: Block) -> *mut u8 {
        let now = NOW.fetch_add(block.size(), Ordering::Relaxed) + block.size();
        PEAK.fetch_max(now, Ordering::Relaxed);
        // SAFETY: the caller keeps GlobalAlloc's contract, which is the system's.
        unsafe { System.alloc(block) }
    }

    unsafe fn dealloc(&self, at: *mut u8, block: Block) {
        NOW.fetch_sub(block.size(), Ordering::Relaxed);
        // SAFETY: as above.
        unsafe { System.dealloc(at, block) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// A board that wakes every 20 000 samples, without end; nothing is stored.
struct Stream {
    left: u64,
    k: u64,
}

impl Read for Stream {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let n = (out.len() / 4).min(self.left as usize);
        for chunk in out[..4 * n].chunks_exact_mut(4) {
            self.k += 1;
            let noise =
                1.0 + 0.05 * ((self.k.wrapping_mul(2_654_435_761) >> 16 & 0xff) as f32 / 255.0);
            let a = if self.k % 20_000 > 19_000 { 0.05 * noise } else { 1e-5 * noise };
            chunk.copy_from_slice(&a.to_le_bytes());
        }
        self.left -= n as u64;
        Ok(4 * n)
    }
}

/// The same as text, a row to a sample; rows are cut wherever the reader's buffer ends.
struct Rows {
    left: u64,
    k: u64,
    row: Vec<u8>,
}

impl Read for Rows {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let mut done = 0;
        while done < out.len() {
            if self.row.is_empty() {
                if self.left == 0 {
                    break;
                }
                self.left -= 1;
                self.k += 1;
                let a = if self.k % 20_000 > 19_000 { 50_000 } else { 10 } + self.k % 3;
                let row = format!("{}.{:05},0.{a:06}\n", self.k / 20_000, self.k % 20_000 * 5);
                self.row.extend(row.bytes().rev());
            }
            while let Some(b) = self.row.pop_if(|_| done < out.len()) {
                out[done] = b;
                done += 1;
            }
        }
        Ok(done)
    }
}

fn peak_of(reader: Box<dyn Read + Send>, layout: Option<Layout>) -> (usize, u64, u64) {
    PEAK.store(NOW.load(Ordering::Relaxed), Ordering::Relaxed);
    let before = NOW.load(Ordering::Relaxed);
    let source = Source::from_reader("stream", reader).unwrap();
    let options = Options { threads: 2, ..Options::default() };
    let a = analyse(source, layout, &options, &mut |_| Control::Continue).unwrap();
    let w = a.wakes.unwrap();
    (PEAK.load(Ordering::Relaxed) - before, a.extent.samples, w.count)
}

fn raw(samples: u64) -> (usize, u64, u64) {
    let layout = Layout::raw(RawKind::F32, 20_000.0);
    peak_of(Box::new(Stream { left: samples, k: 0 }), Some(layout))
}

fn text(samples: u64) -> (usize, u64, u64) {
    peak_of(Box::new(Rows { left: samples, k: 0, row: Vec::new() }), None)
}

/// One test, so that nothing else allocates beside what is counted.
#[test]
fn a_longer_stream_needs_no_more_memory() {
    // Both lengths fill every buffer of fixed size, and leave the envelope, which halves when it is full, equally full.
    let (short, n, wakes) = raw(10_000_000);
    assert_eq!((n, wakes), (10_000_000, 500));
    let (long, n, wakes) = raw(80_000_000);
    assert_eq!((n, wakes), (80_000_000, 4000));
    println!("raw: peak {short} B for 10 M samples, {long} B for 80 M");
    // The input grows by 280 MB. What still grows: listed wakes up to `Options::listed_wakes` (under 1 kB each).
    assert!(long < short + (7 << 19), "{short} {long}");
    assert!(long < 48 << 20, "{long}");

    let (short, n, wakes) = text(2_500_000);
    assert_eq!((n, wakes), (2_500_000, 125));
    let (long, n, wakes) = text(10_000_000);
    assert_eq!((n, wakes), (10_000_000, 500));
    println!("text: peak {short} B for 2.5 M rows, {long} B for 10 M");
    // Four times the rows (180 MB more), the same memory up to what the list of wakes takes.
    assert!(long as f64 <= 1.1 * short as f64, "{short} {long}");
}
