//! Sums and extremes of a cell in four lanes side by side, two to a register. The order of additions is fixed by the sample's number, hence
//! the same everywhere.

use super::CELL;
use pair::Pair;

/// Two numbers in one register. `min` and `max` give the second operand where either is NaN, as the instructions do.
#[cfg(target_arch = "x86_64")]
mod pair {
    use safe_arch::{
        add_m128d, load_unaligned_m128d, m128d, max_m128d, min_m128d, mul_m128d, set_splat_m128d,
        sub_m128d,
    };

    #[derive(Clone, Copy)]
    pub(super) struct Pair(m128d);

    impl Pair {
        pub(super) fn of(x: f64) -> Self {
            Self(set_splat_m128d(x))
        }
        #[inline]
        pub(super) fn low(x: &[f64; 4]) -> Self {
            Self(load_unaligned_m128d(x.first_chunk().expect("two of four")))
        }
        #[inline]
        pub(super) fn high(x: &[f64; 4]) -> Self {
            Self(load_unaligned_m128d(x.last_chunk().expect("two of four")))
        }
        #[inline]
        pub(super) fn add(self, b: Self) -> Self {
            Self(add_m128d(self.0, b.0))
        }
        #[inline]
        pub(super) fn sub(self, b: Self) -> Self {
            Self(sub_m128d(self.0, b.0))
        }
        #[inline]
        pub(super) fn mul(self, b: Self) -> Self {
            Self(mul_m128d(self.0, b.0))
        }
        #[inline]
        pub(super) fn min(self, b: Self) -> Self {
            Self(min_m128d(self.0, b.0))
        }
        #[inline]
        pub(super) fn max(self, b: Self) -> Self {
            Self(max_m128d(self.0, b.0))
        }
        pub(super) fn both(self) -> [f64; 2] {
            self.0.to_array()
        }
    }
}

#[cfg(not(target_arch = "x86_64"))]
mod pair {
    #[derive(Clone, Copy)]
    pub(super) struct Pair([f64; 2]);

    impl Pair {
        fn zip(self, b: Self, f: impl Fn(f64, f64) -> f64) -> Self {
            Self([f(self.0[0], b.0[0]), f(self.0[1], b.0[1])])
        }
        pub(super) fn of(x: f64) -> Self {
            Self([x, x])
        }
        pub(super) fn low(x: &[f64; 4]) -> Self {
            Self([x[0], x[1]])
        }
        pub(super) fn high(x: &[f64; 4]) -> Self {
            Self([x[2], x[3]])
        }
        pub(super) fn add(self, b: Self) -> Self {
            self.zip(b, |a, b| a + b)
        }
        pub(super) fn sub(self, b: Self) -> Self {
            self.zip(b, |a, b| a - b)
        }
        pub(super) fn mul(self, b: Self) -> Self {
            self.zip(b, |a, b| a * b)
        }
        pub(super) fn min(self, b: Self) -> Self {
            self.zip(b, |a, b| if a < b { a } else { b })
        }
        pub(super) fn max(self, b: Self) -> Self {
            self.zip(b, |a, b| if a > b { a } else { b })
        }
        pub(super) fn both(self) -> [f64; 2] {
            self.0
        }
    }
}

/// Of the samples alone: worker threads may take it before the cell's turn comes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CellSums {
    pub(crate) sum: f64,
    pub(crate) squares: f64,
    pub(crate) min: f64,
    pub(crate) max: f64,
    pub(crate) last: f64,
}

impl CellSums {
    #[inline]
    pub(crate) fn of(i: &[f64]) -> Self {
        i.first_chunk::<CELL>()
            .filter(|_| i.len() == CELL)
            .map_or_else(|| Self::part(i), Self::whole)
    }

    #[inline]
    fn whole(i: &[f64; CELL]) -> Self {
        let (mut sum, mut squares) = ([Pair::of(0.0); 2], [Pair::of(0.0); 2]);
        let (mut min, mut max) = ([Pair::of(f64::INFINITY); 2], [Pair::of(f64::NEG_INFINITY); 2]);
        for four in i.as_chunks::<4>().0 {
            for (l, x) in [Pair::low(four), Pair::high(four)].into_iter().enumerate() {
                sum[l] = sum[l].add(x);
                squares[l] = squares[l].add(x.mul(x));
                min[l] = x.min(min[l]);
                max[l] = x.max(max[l]);
            }
        }
        Self {
            sum: total(sum),
            squares: total(squares),
            min: least(min),
            max: most(max),
            last: i[CELL - 1],
        }
    }

    fn part(i: &[f64]) -> Self {
        let mut s = Self {
            sum: 0.0,
            squares: 0.0,
            min: f64::INFINITY,
            max: f64::NEG_INFINITY,
            last: i.last().copied().unwrap_or(f64::NAN),
        };
        for &x in i {
            s.sum += x;
            s.squares += x * x;
            s.min = s.min.min(x);
            s.max = s.max.max(x);
        }
        s
    }
}

/// Of the intervals between neighbours.
#[derive(Debug, Clone, Copy)]
pub(super) struct Intervals {
    pub(super) twice_charge: f64,
    pub(super) shortest: f64,
    pub(super) longest: f64,
}

impl Intervals {
    /// Times and samples, the ones before the cell in front.
    #[inline]
    pub(super) fn of(tt: &[f64], ii: &[f64]) -> Self {
        match (tt.first_chunk(), ii.first_chunk()) {
            (Some(tt), Some(ii)) => Self::whole(tt, ii),
            _ => Self::part(tt, ii),
        }
    }

    #[inline]
    fn whole(tt: &[f64; CELL + 1], ii: &[f64; CELL + 1]) -> Self {
        let mut charge = [Pair::of(0.0); 2];
        let (mut shortest, mut longest) =
            ([Pair::of(f64::INFINITY); 2], [Pair::of(f64::NEG_INFINITY); 2]);
        let before = tt.as_chunks::<4>().0.iter().zip(ii.as_chunks::<4>().0);
        let after = tt[1..].as_chunks::<4>().0.iter().zip(ii[1..].as_chunks::<4>().0);
        for ((t0, i0), (t1, i1)) in before.zip(after) {
            for l in 0..2 {
                let half = if l == 0 { Pair::low } else { Pair::high };
                let dt = half(t1).sub(half(t0));
                charge[l] = charge[l].add(half(i0).add(half(i1)).mul(dt));
                shortest[l] = dt.min(shortest[l]);
                longest[l] = dt.max(longest[l]);
            }
        }
        Self { twice_charge: total(charge), shortest: least(shortest), longest: most(longest) }
    }

    fn part(tt: &[f64], ii: &[f64]) -> Self {
        let mut s = Self { twice_charge: 0.0, shortest: f64::INFINITY, longest: f64::NEG_INFINITY };
        for k in 1..tt.len() {
            let dt = tt[k] - tt[k - 1];
            s.twice_charge += (ii[k - 1] + ii[k]) * dt;
            s.shortest = s.shortest.min(dt);
            s.longest = s.longest.max(dt);
        }
        s
    }

    /// Steps all alike: the trapezoid is the sum with half the ends put right.
    #[inline]
    pub(super) fn even(step_s: f64, before_a: f64, sums: &CellSums) -> Self {
        Self {
            twice_charge: step_s * (2.0 * sums.sum + (before_a - sums.last)),
            shortest: step_s,
            longest: step_s,
        }
    }
}

/// Sum of any run of values.
pub(crate) fn sum(values: &[f64]) -> f64 {
    let (fours, rest) = values.as_chunks::<4>();
    let mut s = [Pair::of(0.0); 2];
    for four in fours {
        s = [s[0].add(Pair::low(four)), s[1].add(Pair::high(four))];
    }
    total(s) + rest.iter().sum::<f64>()
}

/// Highest of any run of values.
pub(crate) fn highest(values: &[f64]) -> f64 {
    let (fours, rest) = values.as_chunks::<4>();
    let mut m = [Pair::of(f64::NEG_INFINITY); 2];
    for four in fours {
        m = [Pair::low(four).max(m[0]), Pair::high(four).max(m[1])];
    }
    rest.iter().copied().fold(most(m), f64::max)
}

fn total([a, b]: [Pair; 2]) -> f64 {
    let (a, b) = (a.both(), b.both());
    (a[0] + a[1]) + (b[0] + b[1])
}

fn least([a, b]: [Pair; 2]) -> f64 {
    let (a, b) = (a.both(), b.both());
    a[0].min(a[1]).min(b[0].min(b[1]))
}

fn most([a, b]: [Pair; 2]) -> f64 {
    let (a, b) = (a.both(), b.both());
    a[0].max(a[1]).max(b[0].max(b[1]))
}
