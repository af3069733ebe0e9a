//! SVG.

use super::Plot;
use std::fmt::Write as _;

const LEFT: f64 = 64.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 28.0;
const BOTTOM: f64 = 30.0;

impl Plot {
    /// The plot as an SVG document of so many pixels.
    pub fn svg(&self, width: u32, height: u32) -> String {
        let (w, h) = (f64::from(width.max(160)), f64::from(height.max(120)));
        let (pw, ph) = (w - LEFT - RIGHT, h - TOP - BOTTOM);
        let frame = self.frame();
        let x = |t: f64| LEFT + pw * frame.x(t);
        let y = |a: f64| TOP + ph * (1.0 - frame.y(a));
        let mut s = String::new();
        let _ = write!(
            s,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\" \
             font-family=\"sans-serif\" font-size=\"11\" role=\"img\"><title>{0}</title>\
             <rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/><text x=\"{LEFT}\" y=\"18\" font-size=\"13\">{0}</text>",
            escape(&self.title)
        );
        for (k, p) in self.phases.iter().enumerate().filter(|(k, _)| k % 2 == 1) {
            let _ = write!(
                s,
                "<rect class=\"phase\" data-phase=\"{k}\" x=\"{:.2}\" y=\"{TOP}\" width=\"{:.2}\" height=\"{ph:.2}\" fill=\"#e8eef7\"/>",
                x(p.start_s),
                (x(p.end_s) - x(p.start_s)).max(0.5)
            );
        }
        for (at, label) in frame.current_ticks() {
            let yy = TOP + ph * (1.0 - at);
            let _ = write!(
                s,
                "<path d=\"M{LEFT} {yy:.2}h{pw:.2}\" stroke=\"#ccc\" fill=\"none\"/><text x=\"{:.2}\" y=\"{:.2}\" text-anchor=\"end\">{label}</text>",
                LEFT - 6.0,
                yy + 4.0
            );
        }
        for (at, label) in frame.time_ticks((pw / 90.0) as usize) {
            let xx = LEFT + pw * at;
            let _ = write!(
                s,
                "<path d=\"M{xx:.2} {:.2}v4\" stroke=\"#666\" fill=\"none\"/><text x=\"{xx:.2}\" y=\"{:.2}\" text-anchor=\"middle\">{label}</text>",
                TOP + ph,
                TOP + ph + 17.0
            );
        }
        let cells = self.columns(pw as usize);
        let mut area = String::new();
        let mut line = String::new();
        for (k, c) in cells.iter().enumerate() {
            let _ = write!(
                area,
                "{}{:.2} {:.2}",
                if k == 0 { 'M' } else { 'L' },
                x(c.start_s),
                y(c.max_a)
            );
            let _ = write!(
                line,
                "{}{:.2} {:.2}",
                if k == 0 { 'M' } else { 'L' },
                x(c.start_s),
                y(c.mean_a())
            );
        }
        for c in cells.iter().rev() {
            let _ = write!(area, "L{:.2} {:.2}", x(c.start_s), y(c.min_a));
        }
        if !cells.is_empty() {
            let _ = write!(
                s,
                "<path class=\"envelope\" d=\"{area}Z\" fill=\"#7aa6d6\" stroke=\"#7aa6d6\" stroke-width=\"0.6\"/>\
                 <path class=\"mean\" d=\"{line}\" fill=\"none\" stroke=\"#123d6b\" stroke-width=\"1\"/>"
            );
        }
        if let Some(f) = self.floor_a {
            let _ = write!(
                s,
                "<path class=\"floor\" d=\"M{LEFT} {:.2}h{pw:.2}\" stroke=\"#b3261e\" stroke-dasharray=\"5 3\" fill=\"none\"/>\
                 <text x=\"{:.2}\" y=\"{:.2}\" text-anchor=\"end\" fill=\"#b3261e\">sleep {}</text>",
                y(f),
                w - RIGHT - 2.0,
                y(f) - 4.0,
                crate::load::ampere_text(f)
            );
        }
        let _ = write!(
            s,
            "<rect x=\"{LEFT}\" y=\"{TOP}\" width=\"{pw:.2}\" height=\"{ph:.2}\" fill=\"none\" stroke=\"#666\"/></svg>"
        );
        s
    }
}

fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::sample_plot;

    #[test]
    fn the_envelope_reaches_the_extremes_and_text_is_escaped() {
        let s = sample_plot().svg(640, 320);
        assert!(s.starts_with("<svg") && s.ends_with("</svg>"));
        assert!(s.contains("a &lt;test&gt; &amp; more"));
        assert!(
            s.contains("class=\"envelope\"")
                && s.contains("class=\"phase\"")
                && s.contains("sleep 12.0 µA")
        );
        assert!(s.contains(">10 µA<") && s.contains(">100 mA<"), "{s}");
    }

    #[test]
    fn an_empty_plot_is_still_a_document() {
        let s = super::Plot::of_cells("nothing", Vec::new()).svg(10, 10);
        assert!(s.starts_with("<svg") && s.ends_with("</svg>") && !s.contains("NaN"));
    }
}
