//! Constant memory, shown by counting what is allocated, not by time: eight times the samples, the same peak.
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

fn peak_of(samples: u64) -> (usize, u64, u64) {
    PEAK.store(NOW.load(Ordering::Relaxed), Ordering::Relaxed);
    let before = NOW.load(Ordering::Relaxed);
    let source = Source::from_reader("stream", Box::new(Stream { left: samples, k: 0 })).unwrap();
    let options = Options { threads: 2, ..Options::default() };
    let a = analyse(source, Some(Layout::raw(RawKind::F32, 20_000.0)), &options, &mut |_| {
        Control::Continue
    })
    .unwrap();
    let w = a.wakes.unwrap();
    (PEAK.load(Ordering::Relaxed) - before, a.extent.samples, w.count)
}

#[test]
fn eight_times_the_samples_need_no_more_memory() {
    // Both fill every buffer of fixed size, and leave the envelope, which halves when it is full, equally full.
    let (short, n, wakes) = peak_of(10_000_000);
    assert_eq!((n, wakes), (10_000_000, 500));
    let (long, n, wakes) = peak_of(80_000_000);
    assert_eq!((n, wakes), (80_000_000, 4000));
    println!("peak {short} B for 10 M samples, {long} B for 80 M");
    // The input grows by 280 MB. What still grows: listed wakes up to `Options::listed_wakes` (under 1 kB each).
    assert!(long < short + (7 << 19), "{short} {long}");
    assert!(long < 48 << 20, "{long}");
}
