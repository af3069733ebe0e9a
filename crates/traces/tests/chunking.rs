//! The result does not depend on the size of the chunks or the number of threads.

mod common;

use common::Lehmer;
use overwinter_traces::{Layout, Options, RawKind};
use proptest::prelude::*;
use std::fmt::Write as _;

fn text(seed: u64, rows: usize, ragged: bool) -> String {
    let mut g = Lehmer(seed % 2_147_483_646 + 1);
    let mut s = String::from("time_s,current_a\n");
    let mut t = 0.0;
    for k in 0..rows {
        t += if ragged && g.u() < 0.002 { 0.3 } else { 1e-3 };
        let a = if k % 700 > 600 { 0.02 } else { 1.2e-5 } * (1.0 + 0.1 * g.z());
        match (ragged, (g.u() * 300.0) as u32) {
            (true, 0) => s.push_str("broken row\n"),
            (true, 1) => s.push_str("\r\n"),
            (true, 2) => {
                let _ = writeln!(s, "{t:.4},NaN");
            }
            (true, 3) => {
                let _ = write!(s, "{t:.4},{a:e}\r\n");
            }
            _ => {
                let _ = writeln!(s, "{t:.4},{a:.9}");
            }
        }
    }
    s
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn of_text(seed in any::<u32>(), rows in 20usize..4000, ragged in any::<bool>(), chunk in 64usize..20_000, threads in 1usize..5) {
        let input = text(u64::from(seed), rows, ragged);
        let whole = Options { threads: 1, chunk_bytes: 1 << 22, ..Options::default() };
        let parts = Options { threads, chunk_bytes: chunk, ..Options::default() };
        let a = serde_json::to_string(&common::read(input.as_str(), None, &whole).unwrap()).unwrap();
        let b = serde_json::to_string(&common::read(input.as_str(), None, &parts).unwrap()).unwrap();
        prop_assert_eq!(a, b);
    }

    #[test]
    fn of_raw_numbers(seed in any::<u32>(), n in 1usize..5000, chunk in 64usize..5000, threads in 1usize..4) {
        let mut g = Lehmer(u64::from(seed) % 2_147_483_646 + 1);
        let bytes: Vec<u8> = (0..n)
            .flat_map(|_| (if g.u() < 0.001 { f32::NAN } else { 1e-5 + g.u() as f32 }).to_le_bytes())
            .collect();
        let layout = Layout::raw(RawKind::F32, 1000.0);
        let of = |o: &Options| common::read(bytes.clone(), Some(layout.clone()), o).map(|a| serde_json::to_string(&a).unwrap()).map_err(|e| e.to_string());
        let a = of(&Options { threads: 1, ..Options::default() });
        let b = of(&Options { threads, chunk_bytes: chunk, ..Options::default() });
        prop_assert_eq!(a, b);
    }

    /// The envelope brackets every sample, and nothing is lost in it.
    #[test]
    fn the_envelope_holds_all_samples(seed in any::<u32>(), rows in 2usize..3000) {
        let input = text(u64::from(seed), rows, false);
        let a = common::read(input.as_str(), None, &Options::default()).unwrap();
        let samples: u64 = a.envelope.cells.iter().map(|c| c.samples).sum();
        let charge: f64 = a.envelope.cells.iter().map(|c| c.charge_c).sum();
        let low = a.envelope.cells.iter().map(|c| c.min_a).fold(f64::INFINITY, f64::min);
        let high = a.envelope.cells.iter().map(|c| c.max_a).fold(f64::NEG_INFINITY, f64::max);
        prop_assert_eq!(samples, a.extent.samples);
        prop_assert!((charge - a.current.charge_c).abs() <= 1e-12 * a.current.charge_c.abs());
        prop_assert_eq!((low, high), (a.current.min.value, a.current.max.value));
    }
}
