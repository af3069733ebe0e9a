//! Small terminal charts: bars, intervals on a shared axis, a line over time. Plain text, no colour needed to read them.

/// A horizontal bar of `width` cells for `share` in 0…1, to an eighth of a cell. A share above 1 ends in `▶`.
pub(crate) fn bar(share: f64, width: usize) -> String {
    const EIGHTHS: [char; 8] = [' ', '▏', '▎', '▍', '▌', '▋', '▊', '▉'];
    if !share.is_finite() || share <= 0.0 || width == 0 {
        return String::new();
    }
    if share > 1.0 {
        return format!("{}▶", "█".repeat(width - 1));
    }
    let eighths = (share * (width * 8) as f64).round() as usize;
    let mut text = "█".repeat(eighths / 8);
    if !eighths.is_multiple_of(8) {
        text.push(EIGHTHS[eighths % 8]);
    }
    if text.is_empty() {
        text.push('▏');
    }
    text
}

/// An axis that maps a positive value to a column.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Axis {
    low: f64,
    high: f64,
    logarithmic: bool,
    width: usize,
}

impl Axis {
    /// A logarithmic axis that holds all `values`, widened a little; `None` if none of them is positive and finite.
    pub(crate) fn logarithmic(values: impl Iterator<Item = f64>, width: usize) -> Option<Self> {
        let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
        for value in values.filter(|v| v.is_finite() && *v > 0.0) {
            low = low.min(value);
            high = high.max(value);
        }
        (high > 0.0).then(|| Self { low: low / 1.1, high: high * 1.1, logarithmic: true, width })
    }

    fn column(&self, value: f64) -> usize {
        let share = if self.logarithmic {
            libm::log(value / self.low) / libm::log(self.high / self.low)
        } else {
            (value - self.low) / (self.high - self.low)
        };
        (share.clamp(0.0, 1.0) * (self.width - 1) as f64).round() as usize
    }

    /// An interval drawn as an interval: `├───●──┤`. A non-positive end is drawn at the left edge as `◂`.
    pub(crate) fn interval(&self, low: f64, middle: f64, high: f64) -> String {
        if middle < self.low {
            // Off the axis: too short-lived to share it with the others.
            return "◂".to_owned();
        }
        let mut cells = vec![' '; self.width];
        let (a, m, b) = (self.column(low), self.column(middle), self.column(high));
        cells[a..=b].fill('─');
        cells[a] = if low < self.low { '◂' } else { '├' };
        cells[b] = if high > self.high { '▸' } else { '┤' };
        cells[m] = '●';
        cells.into_iter().collect::<String>().trim_end().to_owned()
    }

    /// The axis itself, with decade ticks named by `name` (a value to a short text).
    pub(crate) fn ticks(&self, name: impl Fn(f64) -> String) -> String {
        let mut cells = vec![' '; self.width];
        let first = libm::pow(10.0, libm::log10(self.low).floor());
        // Decades first: they keep their place where a 2 or a 5 would crowd them.
        for step in [1.0, 5.0, 2.0] {
            let mut decade = first;
            while decade <= self.high {
                let value = decade * step;
                decade *= 10.0;
                if value < self.low || value > self.high {
                    continue;
                }
                let text: Vec<char> = format!("╵{}", name(value)).chars().collect();
                let (from, to) = (self.column(value), self.column(value) + text.len());
                let margin = from.saturating_sub(1)..(to + 1).min(self.width);
                if to <= self.width && cells[margin].iter().all(|c| *c == ' ') {
                    cells[from..to].copy_from_slice(&text);
                }
            }
        }
        cells.into_iter().collect::<String>().trim_end().to_owned()
    }
}

/// A line over time in braille dots: `points` are (x, y) with rising x. Rows top to bottom, each with its y label.
pub(crate) fn line(
    points: &[(f64, f64)],
    y_range: (f64, f64),
    width: usize,
    height: usize,
    label: impl Fn(f64) -> String,
) -> Vec<String> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Vec::new() };
    let (columns, rows) = (width * 2, height * 4);
    let mut dots = vec![0_u8; width * height];
    let mut previous: Option<usize> = None;
    let mut index = 0;
    for column in 0..columns {
        let x = first.0 + (last.0 - first.0) * column as f64 / (columns - 1).max(1) as f64;
        while index + 2 < points.len() && points[index + 1].0 < x {
            index += 1;
        }
        let (a, b) = (points[index], points[(index + 1).min(points.len() - 1)]);
        let y = if b.0 > a.0 {
            a.1 + (b.1 - a.1) * ((x - a.0) / (b.0 - a.0)).clamp(0.0, 1.0)
        } else {
            a.1
        };
        if !y.is_finite() {
            previous = None;
            continue;
        }
        let share = ((y - y_range.0) / (y_range.1 - y_range.0)).clamp(0.0, 1.0);
        let row = ((1.0 - share) * (rows - 1) as f64).round() as usize;
        let from = previous.unwrap_or(row);
        for r in from.min(row)..=from.max(row) {
            let bit = match (column % 2, r % 4) {
                (0, 3) => 6,
                (0, n) => n,
                (_, 3) => 7,
                (_, n) => n + 3,
            };
            dots[(r / 4) * width + column / 2] |= 1 << bit;
        }
        previous = Some(row);
    }
    let labels: Vec<String> = (0..height)
        .map(|row| {
            let shown = row == 0 || row == height - 1 || (height >= 5 && row == height / 2);
            let y = y_range.1 - (y_range.1 - y_range.0) * row as f64 / (height - 1).max(1) as f64;
            if shown { label(y) } else { String::new() }
        })
        .collect();
    let margin = labels.iter().map(|l| l.chars().count()).max().unwrap_or(0);
    labels
        .iter()
        .enumerate()
        .map(|(row, text)| {
            let cells: String = dots[row * width..(row + 1) * width]
                .iter()
                .map(|&bits| char::from_u32(0x2800 + u32::from(bits)).unwrap_or(' '))
                .collect();
            format!("{text:>margin$} ┤{}", cells.trim_end_matches('\u{2800}'))
        })
        .collect()
}

/// Three lines of a fan, each a share 0…1 for one column: the band between low and high as `░`, the middle as `─`, the lowest as `·`.
pub(crate) fn fan(columns: &[[f64; 4]], height: usize) -> Vec<String> {
    let row = |share: f64| ((1.0 - share.clamp(0.0, 1.0)) * (height - 1) as f64).round() as usize;
    let mut cells = vec![vec![' '; columns.len()]; height];
    for (at, [lowest, low, middle, high]) in columns.iter().enumerate() {
        cells[row(*lowest)][at] = '·';
        for line in &mut cells[row(*high)..=row(*low)] {
            line[at] = '░';
        }
        cells[row(*middle)][at] = '━';
    }
    cells
        .into_iter()
        .enumerate()
        .map(|(at, line)| {
            let share = 1.0 - at as f64 / (height - 1) as f64;
            let label = if at == 0 || at == height - 1 || at == height / 2 {
                format!("{:.0} %", share * 100.0)
            } else {
                String::new()
            };
            format!("{label:>5} ┤{}", line.into_iter().collect::<String>().trim_end())
        })
        .collect()
}

/// A bar of what is taken (`█`) and what more could be had (`░`) with a mark where the need lies (`│`), `most` filling the width.
pub(crate) fn harvest(taken: f64, could: f64, need: f64, most: f64, width: usize) -> String {
    let column = |value: f64| {
        ((value / most.max(1e-300)).clamp(0.0, 1.0) * (width - 1) as f64).round() as usize
    };
    let mut cells = vec![' '; width];
    cells[..column(could)].fill('░');
    cells[..column(taken)].fill('█');
    cells[column(need)] = '│';
    cells.into_iter().collect::<String>().trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_keep_small_shares_visible_and_flag_overflow() {
        assert_eq!(bar(0.5, 4), "██");
        assert_eq!(bar(1e-6, 10), "▏");
        assert_eq!(bar(0.0, 10), "");
        assert_eq!(bar(1.2, 3), "██▶");
    }

    #[test]
    fn intervals_are_drawn_in_order() {
        let axis = Axis::logarithmic([10.0, 1000.0].into_iter(), 21).unwrap();
        let text = axis.interval(30.0, 100.0, 300.0);
        let at = |c: char| text.chars().position(|x| x == c).unwrap();
        assert!(at('├') < at('●') && at('●') < at('┤'), "{text}");
        assert_eq!(at('●'), 10);
        assert!(axis.ticks(|v| format!("{v}")).contains("╵100"));
    }

    #[test]
    fn a_fan_and_a_harvest_keep_their_order() {
        let rows = fan(&[[0.0, 0.25, 0.5, 1.0]], 5);
        let column: String = rows.iter().map(|r| r.chars().nth(7).unwrap_or(' ')).collect();
        assert_eq!(column, "░░━░·");
        assert_eq!(harvest(2.0, 4.0, 3.0, 10.0, 11), "██░│");
        assert_eq!(harvest(0.0, 0.0, 10.0, 10.0, 5), "    │");
    }

    #[test]
    fn a_falling_line_falls() {
        let rows = line(&[(0.0, 1.0), (1.0, 0.0)], (0.0, 1.0), 4, 4, |y| format!("{y:.0}"));
        assert_eq!(rows.len(), 4);
        assert!(
            rows[0].starts_with("1 ┤") && rows[0].chars().count() < rows[3].chars().count(),
            "{rows:?}"
        );
        assert!(rows[3].starts_with("0 ┤"));
    }
}
