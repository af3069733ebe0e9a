//! Sums and extremes of a cell in four lanes side by side, so that the compiler can use vector registers. The order of additions is fixed
//! by the sample's number, hence the same everywhere.

use super::CELL;

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
        let mut sum = [0.0f64; 4];
        let mut squares = [0.0f64; 4];
        let mut min = [f64::INFINITY; 4];
        let mut max = [f64::NEG_INFINITY; 4];
        for four in i.as_chunks::<4>().0 {
            for l in 0..4 {
                let x = four[l];
                sum[l] += x;
                squares[l] += x * x;
                min[l] = if x < min[l] { x } else { min[l] };
                max[l] = if x > max[l] { x } else { max[l] };
            }
        }
        Self {
            sum: (sum[0] + sum[1]) + (sum[2] + sum[3]),
            squares: (squares[0] + squares[1]) + (squares[2] + squares[3]),
            min: min[0].min(min[1]).min(min[2].min(min[3])),
            max: max[0].max(max[1]).max(max[2].max(max[3])),
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
        let mut charge = [0.0f64; 4];
        let mut shortest = [f64::INFINITY; 4];
        let mut longest = [f64::NEG_INFINITY; 4];
        for k in 0..CELL / 4 {
            for l in 0..4 {
                let j = 4 * k + l;
                let dt = tt[j + 1] - tt[j];
                charge[l] += (ii[j] + ii[j + 1]) * dt;
                shortest[l] = if dt < shortest[l] { dt } else { shortest[l] };
                longest[l] = if dt > longest[l] { dt } else { longest[l] };
            }
        }
        Self {
            twice_charge: (charge[0] + charge[1]) + (charge[2] + charge[3]),
            shortest: shortest[0].min(shortest[1]).min(shortest[2].min(shortest[3])),
            longest: longest[0].max(longest[1]).max(longest[2].max(longest[3])),
        }
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
    let mut s = [0.0f64; 4];
    for four in fours {
        for l in 0..4 {
            s[l] += four[l];
        }
    }
    (s[0] + s[1]) + (s[2] + s[3]) + rest.iter().sum::<f64>()
}

/// Highest of any run of values.
pub(crate) fn highest(values: &[f64]) -> f64 {
    let (fours, rest) = values.as_chunks::<4>();
    let mut m = [f64::NEG_INFINITY; 4];
    for four in fours {
        for l in 0..4 {
            m[l] = if four[l] > m[l] { four[l] } else { m[l] };
        }
    }
    rest.iter().copied().fold(m[0].max(m[1]).max(m[2].max(m[3])), f64::max)
}
