//! The stream of random numbers behind the synthetic years: the same seed and year give the same weather on every machine.
//!
//! `overwinter-statistics` draws from quasi-random sequences, which fill a space of a few dimensions evenly; a year of weather takes some
//! 1 100 numbers one after the other and wants them independent, so it has a generator of its own.

/// xoshiro256++ of D. Blackman and S. Vigna (ACM TOMS 47(4), 2021; public domain), seeded by SplitMix64.
#[derive(Debug, Clone)]
pub struct Random {
    state: [u64; 4],
    spare_normal: Option<f64>,
}

impl Random {
    /// A stream of its own for each `(seed, stream)`: years can be made in any order, on any number of threads.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut x = seed ^ stream.wrapping_mul(0xD1B5_4A32_D192_ED03).rotate_left(17);
        let mut next = || {
            x = x.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut z = x;
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            z ^ (z >> 31)
        };
        Self { state: [next(), next(), next(), next()], spare_normal: None }
    }

    fn next_u64(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// Uniform in the open interval 0…1.
    pub fn uniform(&mut self) -> f64 {
        ((self.next_u64() >> 12) as f64 + 0.5) / 4503599627370496.0
    }

    /// Standard normal (G. Box and M. Muller 1958).
    pub fn normal(&mut self) -> f64 {
        if let Some(z) = self.spare_normal.take() {
            return z;
        }
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        let (s, c) = libm::sincos(core::f64::consts::TAU * self.uniform());
        self.spare_normal = Some(radius * s);
        radius * c
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_and_streams() {
        let mut random = Random::new(1, 2);
        let n = 200_000;
        let (mut sum, mut squares, mut uniform) = (0.0, 0.0, 0.0);
        for _ in 0..n {
            let z = random.normal();
            sum += z;
            squares += z * z;
            uniform += random.uniform();
        }
        let n = f64::from(n);
        assert!((sum / n).abs() < 5.0 / n.sqrt());
        assert!((squares / n - 1.0).abs() < 5.0 * (2.0 / n).sqrt());
        assert!((uniform / n - 0.5).abs() < 5.0 * (1.0 / 12.0 / n).sqrt());
        assert_ne!(Random::new(1, 2).next_u64(), Random::new(1, 3).next_u64());
        assert_ne!(Random::new(1, 2).next_u64(), Random::new(2, 2).next_u64());
    }
}
