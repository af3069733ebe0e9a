//! PNG, drawn pixel by pixel: rectangles, vertical spans, and a 5×7 letter set for the axes.

use super::Plot;
use crate::error::TraceError;

const LEFT: usize = 58;
const RIGHT: usize = 8;
const TOP: usize = 10;
const BOTTOM: usize = 22;
const WHITE: [u8; 3] = [255, 255, 255];
const GRID: [u8; 3] = [215, 215, 215];
const SHADE: [u8; 3] = [232, 238, 247];
const BAND: [u8; 3] = [122, 166, 214];
const MEAN: [u8; 3] = [18, 61, 107];
const FLOOR: [u8; 3] = [179, 38, 30];
const INK: [u8; 3] = [60, 60, 60];

struct Canvas {
    width: usize,
    height: usize,
    pixels: Vec<u8>,
}

impl Canvas {
    fn new(width: usize, height: usize) -> Self {
        Self { width, height, pixels: vec![255; width * height * 3] }
    }

    fn dot(&mut self, x: usize, y: usize, colour: [u8; 3]) {
        if x < self.width && y < self.height {
            let at = (y * self.width + x) * 3;
            self.pixels[at..at + 3].copy_from_slice(&colour);
        }
    }

    fn span(&mut self, x: usize, from: usize, to: usize, colour: [u8; 3]) {
        for y in from.min(to)..=from.max(to) {
            self.dot(x, y, colour);
        }
    }

    fn row(&mut self, y: usize, from: usize, to: usize, colour: [u8; 3]) {
        for x in from..to {
            self.dot(x, y, colour);
        }
    }

    /// Text with its upper left corner at (x, y).
    fn text(&mut self, mut x: usize, y: usize, text: &str, colour: [u8; 3]) {
        for c in text.chars() {
            for (r, bits) in glyph(c).into_iter().enumerate() {
                for b in 0..5 {
                    if bits & (0x10 >> b) != 0 {
                        self.dot(x + b, y + r, colour);
                    }
                }
            }
            x += 6;
        }
    }
}

impl Plot {
    /// The plot as a PNG file's bytes. Sizes outside 160…8192 by 120…8192 pixels are taken to the nearest of these.
    ///
    /// # Errors
    /// [`TraceError::Io`] with the encoder's words; it writes to memory, so none is expected.
    pub fn png(&self, width: u32, height: u32) -> Result<Vec<u8>, TraceError> {
        let (w, h) = (width.clamp(160, 8192) as usize, height.clamp(120, 8192) as usize);
        let (pw, ph) = (w - LEFT - RIGHT, h - TOP - BOTTOM);
        let frame = self.frame();
        let mut canvas = Canvas::new(w, h);
        let x = |t: f64| LEFT + (frame.x(t) * (pw - 1) as f64).round() as usize;
        let y = |a: f64| TOP + ((1.0 - frame.y(a)) * (ph - 1) as f64).round() as usize;
        for p in self.phases.iter().skip(1).step_by(2) {
            for xx in x(p.start_s)..=x(p.end_s) {
                canvas.span(xx, TOP, TOP + ph - 1, SHADE);
            }
        }
        for (at, label) in frame.current_ticks() {
            let yy = TOP + ((1.0 - at) * (ph - 1) as f64).round() as usize;
            canvas.row(yy, LEFT, LEFT + pw, GRID);
            let length = label.chars().count() * 6;
            canvas.text(LEFT.saturating_sub(length + 4), yy.saturating_sub(3), &label, INK);
        }
        for (at, label) in frame.time_ticks(pw / 90) {
            let xx = LEFT + (at * (pw - 1) as f64).round() as usize;
            canvas.span(xx, TOP + ph, TOP + ph + 3, INK);
            let length = label.chars().count() * 6;
            canvas.text(
                xx.saturating_sub(length / 2).min(w.saturating_sub(length)),
                TOP + ph + 7,
                &label,
                INK,
            );
        }
        let cells = self.columns(pw);
        for (k, c) in cells.iter().enumerate() {
            let from = x(c.start_s);
            let to = cells.get(k + 1).map_or_else(|| x(c.end_s), |n| x(n.start_s)).max(from + 1);
            for xx in from..to.min(LEFT + pw) {
                canvas.span(xx, y(c.max_a), y(c.min_a), BAND);
            }
        }
        let mut last: Option<usize> = None;
        for (k, c) in cells.iter().enumerate() {
            let here = y(c.mean_a());
            let from = x(c.start_s);
            let to = cells.get(k + 1).map_or_else(|| x(c.end_s), |n| x(n.start_s)).max(from + 1);
            canvas.span(from, last.unwrap_or(here), here, MEAN);
            canvas.row(here, from, to.min(LEFT + pw), MEAN);
            last = Some(here);
        }
        if let Some(f) = self.floor_a {
            let yy = y(f);
            for xx in (LEFT..LEFT + pw).filter(|x| x % 8 < 5) {
                canvas.dot(xx, yy, FLOOR);
            }
        }
        canvas.row(TOP, LEFT, LEFT + pw, INK);
        canvas.row(TOP + ph - 1, LEFT, LEFT + pw, INK);
        canvas.span(LEFT, TOP, TOP + ph - 1, INK);
        canvas.span(LEFT + pw - 1, TOP, TOP + ph - 1, INK);
        let failed = |e: png::EncodingError| TraceError::Io {
            name: "the plot".to_owned(),
            cause: std::io::Error::other(e.to_string()),
        };
        let mut out = Vec::new();
        let mut encoder = png::Encoder::new(&mut out, w as u32, h as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().map_err(failed)?;
        writer.write_image_data(&canvas.pixels).map_err(failed)?;
        writer.finish().map_err(failed)?;
        debug_assert_ne!(canvas.pixels[..3], [0, 0, 0], "the corner is {WHITE:?}");
        Ok(out)
    }
}

/// Five columns in the low bits of seven rows: what axis labels need, nothing more.
fn glyph(c: char) -> [u8; 7] {
    match c {
        '0' => [14, 17, 19, 21, 25, 17, 14],
        '1' => [4, 12, 4, 4, 4, 4, 14],
        '2' => [14, 17, 1, 2, 4, 8, 31],
        '3' => [31, 2, 4, 2, 1, 17, 14],
        '4' => [2, 6, 10, 18, 31, 2, 2],
        '5' => [31, 16, 30, 1, 1, 17, 14],
        '6' => [6, 8, 16, 30, 17, 17, 14],
        '7' => [31, 1, 2, 4, 8, 8, 8],
        '8' => [14, 17, 17, 14, 17, 17, 14],
        '9' => [14, 17, 17, 15, 1, 2, 12],
        '.' => [0, 0, 0, 0, 0, 12, 12],
        '-' => [0, 0, 0, 31, 0, 0, 0],
        'A' => [14, 17, 17, 31, 17, 17, 17],
        'm' => [0, 0, 26, 21, 21, 21, 21],
        'n' => [0, 0, 22, 25, 17, 17, 17],
        'p' => [0, 0, 30, 17, 30, 16, 16],
        'µ' => [0, 0, 18, 18, 18, 29, 16],
        's' => [0, 0, 15, 16, 14, 1, 30],
        'h' => [16, 16, 22, 25, 17, 17, 17],
        ' ' => [0; 7],
        _ => [31, 17, 17, 17, 17, 17, 31],
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample_plot;
    use super::*;

    #[test]
    fn the_png_decodes_and_shows_band_mean_and_floor() {
        let bytes = sample_plot().png(640, 320).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut pixels).unwrap();
        assert_eq!((info.width, info.height), (640, 320));
        for colour in [BAND, MEAN, FLOOR, SHADE] {
            assert!(pixels.chunks_exact(3).any(|p| p == colour), "{colour:?}");
        }
    }
}
