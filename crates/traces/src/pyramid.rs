//! Pages of minimum, mean and maximum over 64, 256, 1024 … samples, and the index of them.

use crate::window::{ColumnPlace, GroupPlace};

/// Samples in a cell of the finest level.
pub(crate) const FINEST: u64 = 64;
const FAN: u64 = 4;
/// Cells in a page.
const PAGE: usize = 4096;
const LEVELS: usize = 20;

/// Where a page lies.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Place {
    pub(crate) offset: u64,
    pub(crate) length: u32,
    pub(crate) cells: u32,
    pub(crate) start_s: f64,
}

/// All pages, and what a zoom must know of the trace.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Index {
    pub(crate) samples: u64,
    pub(crate) first_s: f64,
    pub(crate) last_s: f64,
    /// Interval of evenly spaced stamps; 0: uneven.
    pub(crate) step_s: f64,
    pub(crate) levels: Vec<Vec<Place>>,
    pub(crate) provenance: String,
    /// Where the samples lie; empty in files of the first form, which have it in their footer only.
    pub(crate) groups: Vec<GroupPlace>,
}

impl Index {
    pub(crate) fn to_bytes(&self) -> Vec<u8> {
        let mut out = Vec::new();
        out.extend_from_slice(&self.samples.to_le_bytes());
        for x in [self.first_s, self.last_s, self.step_s] {
            out.extend_from_slice(&x.to_le_bytes());
        }
        out.extend_from_slice(&(self.provenance.len() as u64).to_le_bytes());
        out.extend_from_slice(self.provenance.as_bytes());
        out.extend_from_slice(&(self.levels.len() as u64).to_le_bytes());
        for level in &self.levels {
            out.extend_from_slice(&(level.len() as u64).to_le_bytes());
            for p in level {
                out.extend_from_slice(&p.offset.to_le_bytes());
                out.extend_from_slice(&p.length.to_le_bytes());
                out.extend_from_slice(&p.cells.to_le_bytes());
                out.extend_from_slice(&p.start_s.to_le_bytes());
            }
        }
        out.extend_from_slice(&(self.groups.len() as u64).to_le_bytes());
        for g in &self.groups {
            out.extend_from_slice(&g.rows.to_le_bytes());
            for c in [&g.time, &g.current] {
                out.extend_from_slice(&c.start.to_le_bytes());
                out.extend_from_slice(&c.length.to_le_bytes());
                out.extend_from_slice(&c.dictionary.to_le_bytes());
                out.push(u8::from(c.zstandard));
            }
        }
        out
    }

    pub(crate) fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let rest = std::cell::Cell::new(bytes);
        let take = |n: usize| -> Option<&[u8]> {
            let (a, b) = rest.get().split_at_checked(n)?;
            rest.set(b);
            Some(a)
        };
        let whole = |b: &[u8]| b.try_into().ok().map(u64::from_le_bytes);
        let real = |b: &[u8]| b.try_into().ok().map(f64::from_le_bytes);
        let samples = whole(take(8)?)?;
        let (first_s, last_s, step_s) = (real(take(8)?)?, real(take(8)?)?, real(take(8)?)?);
        let length = usize::try_from(whole(take(8)?)?).ok()?;
        let provenance = String::from_utf8(take(length)?.to_vec()).ok()?;
        let count = whole(take(8)?)?;
        let mut levels = Vec::new();
        for _ in 0..count.min(LEVELS as u64) {
            let pages = whole(take(8)?)?;
            let mut level = Vec::new();
            for _ in 0..pages {
                let p = take(24)?;
                level.push(Place {
                    offset: whole(&p[..8])?,
                    length: u32::from_le_bytes(p[8..12].try_into().ok()?),
                    cells: u32::from_le_bytes(p[12..16].try_into().ok()?),
                    start_s: real(&p[16..24])?,
                });
            }
            levels.push(level);
        }
        let mut groups = Vec::new();
        let many = if rest.get().is_empty() { 0 } else { whole(take(8)?)? };
        for _ in 0..many {
            let g = take(4 + 2 * 17)?;
            let column = |c: &[u8]| {
                Some(ColumnPlace {
                    start: whole(&c[..8])?,
                    length: u32::from_le_bytes(c[8..12].try_into().ok()?),
                    dictionary: u32::from_le_bytes(c[12..16].try_into().ok()?),
                    zstandard: c[16] != 0,
                })
            };
            groups.push(GroupPlace {
                rows: u32::from_le_bytes(g[..4].try_into().ok()?),
                time: column(&g[4..21])?,
                current: column(&g[21..38])?,
            });
        }
        Some(Self { samples, first_s, last_s, step_s, levels, provenance, groups })
    }
}

/// A page's cells.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Page {
    pub(crate) start_s: Vec<f64>,
    pub(crate) min_a: Vec<f32>,
    pub(crate) mean_a: Vec<f32>,
    pub(crate) max_a: Vec<f32>,
}

/// A page ready to be written.
pub(crate) struct Packed {
    level: usize,
    cells: u32,
    start_s: f64,
    pub(crate) bytes: Vec<u8>,
}

impl Page {
    fn push(&mut self, c: &Open) {
        self.start_s.push(c.start_s);
        // Rounded outwards: a sample never lies outside its cell.
        let (low, high) = (c.min_a as f32, c.max_a as f32);
        self.min_a.push(if f64::from(low) > c.min_a { low.next_down() } else { low });
        self.max_a.push(if f64::from(high) < c.max_a { high.next_up() } else { high });
        self.mean_a.push((c.sum_a / c.samples as f64) as f32);
    }

    /// Byte planes, then Zstandard: the upper bytes of neighbours are alike.
    fn to_bytes(&self) -> Vec<u8> {
        let n = self.start_s.len();
        let mut planes = vec![0u8; n * 20];
        for (k, t) in self.start_s.iter().enumerate() {
            for (b, byte) in t.to_le_bytes().into_iter().enumerate() {
                planes[b * n + k] = byte;
            }
        }
        for (c, column) in [&self.min_a, &self.mean_a, &self.max_a].into_iter().enumerate() {
            for (k, x) in column.iter().enumerate() {
                for (b, byte) in x.to_le_bytes().into_iter().enumerate() {
                    planes[(8 + 4 * c + b) * n + k] = byte;
                }
            }
        }
        zstd::bulk::compress(&planes, 1).unwrap_or_default()
    }

    pub(crate) fn from_bytes(bytes: &[u8], n: usize) -> Option<Self> {
        if n > PAGE {
            return None;
        }
        let planes = zstd::bulk::decompress(bytes, n * 20).ok()?;
        if planes.len() != n * 20 {
            return None;
        }
        let start_s = (0..n)
            .map(|k| f64::from_le_bytes(std::array::from_fn(|b| planes[b * n + k])))
            .collect();
        let column = |c: usize| -> Vec<f32> {
            (0..n)
                .map(|k| {
                    f32::from_le_bytes(std::array::from_fn(|b| planes[(8 + 4 * c + b) * n + k]))
                })
                .collect()
        };
        Some(Self { start_s, min_a: column(0), mean_a: column(1), max_a: column(2) })
    }
}

/// A cell that is being filled.
#[derive(Debug, Clone, Copy)]
struct Open {
    start_s: f64,
    min_a: f64,
    max_a: f64,
    sum_a: f64,
    samples: u64,
}

#[derive(Default)]
struct Level {
    open: Option<Open>,
    page: Page,
    places: Vec<Place>,
}

/// Builds all levels as the samples pass.
pub(crate) struct Builder {
    levels: Vec<Level>,
    full: Vec<Packed>,
}

impl Builder {
    pub(crate) fn new() -> Self {
        Self { levels: Vec::new(), full: Vec::new() }
    }

    #[inline]
    pub(crate) fn sample(&mut self, _number: u64, time_s: f64, current_a: f64) {
        if self.levels.is_empty() {
            self.levels.push(Level::default());
        }
        let cell = Open {
            start_s: time_s,
            min_a: current_a,
            max_a: current_a,
            sum_a: current_a,
            samples: 1,
        };
        self.add(0, cell, FINEST);
    }

    fn add(&mut self, level: usize, cell: Open, width: u64) {
        let l = &mut self.levels[level];
        let open = match &mut l.open {
            None => l.open.insert(cell),
            Some(o) => {
                if cell.min_a < o.min_a {
                    o.min_a = cell.min_a;
                }
                if cell.max_a > o.max_a {
                    o.max_a = cell.max_a;
                }
                o.sum_a += cell.sum_a;
                o.samples += cell.samples;
                o
            }
        };
        if open.samples >= width {
            self.close(level, width);
        }
    }

    fn close(&mut self, level: usize, width: u64) {
        let Some(done) = self.levels[level].open.take() else { return };
        self.levels[level].page.push(&done);
        if self.levels[level].page.start_s.len() == PAGE {
            self.pack(level);
        }
        if level + 1 < LEVELS {
            if self.levels.len() == level + 1 {
                self.levels.push(Level::default());
            }
            self.add(level + 1, done, width * FAN);
        }
    }

    fn pack(&mut self, level: usize) {
        let page = std::mem::take(&mut self.levels[level].page);
        if page.start_s.is_empty() {
            return;
        }
        self.full.push(Packed {
            level,
            cells: page.start_s.len() as u32,
            start_s: page.start_s[0],
            bytes: page.to_bytes(),
        });
    }

    pub(crate) fn take_pages(&mut self) -> Vec<Packed> {
        std::mem::take(&mut self.full)
    }

    pub(crate) fn placed(&mut self, page: &Packed, offset: u64) {
        self.levels[page.level].places.push(Place {
            offset,
            length: page.bytes.len() as u32,
            cells: page.cells,
            start_s: page.start_s,
        });
    }

    /// The end: unfinished cells and pages are closed, finest first. A level of a single cell ends the pyramid.
    pub(crate) fn flush(&mut self) {
        let mut level = 0;
        let mut width = FINEST;
        while level < self.levels.len() && level < LEVELS {
            let only_one =
                self.levels[level].page.start_s.is_empty() && self.levels[level].places.is_empty();
            if let Some(done) = self.levels[level].open.take() {
                self.levels[level].page.push(&done);
                if level + 1 < self.levels.len() {
                    self.add(level + 1, done, width * FAN);
                } else if !only_one && level + 1 < LEVELS {
                    self.levels.push(Level { open: Some(done), ..Level::default() });
                }
            }
            self.pack(level);
            level += 1;
            width *= FAN;
        }
    }

    pub(crate) fn into_index(self) -> Index {
        Index { levels: self.levels.into_iter().map(|l| l.places).collect(), ..Index::default() }
    }
}
