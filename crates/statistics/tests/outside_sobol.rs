//! Sobol points against scipy 1.17.1 (`scipy.stats.qmc.Sobol`, unscrambled, 32 bits);
//! data and how they were made: `data/README.md`.
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_statistics::{Draws, Scramble};

#[test]
fn unscrambled_points_equal_the_reference_bit_for_bit() {
    let draws = Draws::with_scramble(0, Scramble::None);
    let mut compared = 0;
    for line in include_str!("data/sobol_scipy.csv").lines().skip(1) {
        let fields: Vec<u32> = line.split(',').map(|f| f.parse().unwrap()).collect();
        assert_eq!(draws.column(fields[1] as usize).bits(fields[0]), fields[2], "{line}");
        compared += 1;
    }
    assert_eq!(compared, 108);
}
