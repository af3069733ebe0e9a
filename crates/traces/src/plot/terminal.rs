//! The terminal: two rows of half blocks to a line, so that plain text shows the envelope.

use super::Plot;

impl Plot {
    /// The plot in so many columns and lines of text (at least 24 by 6), no colours.
    ///
    /// `█`: the envelope fills the place; `▀`, `▄`: its upper or lower half.
    pub fn terminal(&self, columns: usize, lines: usize) -> String {
        let (columns, lines) = (columns.clamp(24, 1000), lines.clamp(6, 200));
        let frame = self.frame();
        let ticks = frame.current_ticks();
        let label = ticks.iter().map(|(_, l)| l.chars().count()).max().unwrap_or(0);
        let width = columns.saturating_sub(label + 2).max(8);
        let height = lines - 2;
        let halves = height * 2;
        let mut grid = vec![false; width * halves];
        let cells = self.columns(width);
        let place = |t: f64| ((frame.x(t) * (width - 1) as f64).round() as usize).min(width - 1);
        let level =
            |a: f64| (((1.0 - frame.y(a)) * (halves - 1) as f64).round() as usize).min(halves - 1);
        for (k, c) in cells.iter().enumerate() {
            let from = place(c.start_s);
            let to =
                cells.get(k + 1).map_or(place(c.end_s) + 1, |n| place(n.start_s)).max(from + 1);
            for x in from..to.min(width) {
                for y in level(c.max_a)..=level(c.min_a) {
                    grid[y * width + x] = true;
                }
            }
        }
        let mut out = String::new();
        for line in 0..height {
            let name = ticks
                .iter()
                .find(|(at, _)| ((1.0 - at) * (height - 1) as f64).round() as usize == line)
                .map_or("", |(_, l)| l.as_str());
            out.push_str(&" ".repeat(label - name.chars().count()));
            out.push_str(name);
            out.push_str(if name.is_empty() { " │" } else { " ┤" });
            let text: String = (0..width)
                .map(|x| match (grid[2 * line * width + x], grid[(2 * line + 1) * width + x]) {
                    (true, true) => '█',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (false, false) => ' ',
                })
                .collect();
            out.push_str(text.trim_end());
            out.push('\n');
        }
        out.push_str(&" ".repeat(label + 1));
        out.push('└');
        out.push_str(&"─".repeat(width));
        out.push('\n');
        let mut times: Vec<char> = vec![' '; label + 2 + width];
        let mut free = 0;
        for (at, text) in frame.time_ticks(width / 14) {
            let x = label + 2 + (at * (width - 1) as f64).round() as usize;
            let n = text.chars().count();
            let start = x.saturating_sub(n / 2).min((label + 2 + width).saturating_sub(n));
            if start >= free && start + n <= times.len() {
                times.splice(start..start + n, text.chars());
                free = start + n + 1;
            }
        }
        out.push_str(times.iter().collect::<String>().trim_end());
        out.push('\n');
        out
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample_plot;

    #[test]
    fn absurd_stamps_keep_the_size_too() {
        // Found by damaging files: labels of 90 digits.
        let mut plot = sample_plot();
        plot.cells[99].end_s = 1e90;
        assert!(plot.terminal(40, 8).lines().all(|l| l.chars().count() <= 40));
    }

    #[test]
    fn text_keeps_its_size() {
        let t = sample_plot().terminal(60, 14);
        assert_eq!(t.lines().count(), 14);
        assert!(t.lines().all(|l| l.chars().count() <= 60), "{t}");
        insta::assert_snapshot!(t);
    }
}
