//! Folders, weather files and figures of the tests about the sun.
#![allow(clippy::disallowed_methods, reason = "checks may use the standard elementary functions")]

use std::f64::consts::PI;
use std::process::Output;

use super::Folder;

pub(crate) struct Bench(pub(crate) Folder);

impl Bench {
    pub(crate) fn empty(name: &str) -> Self {
        Self(Folder::empty(&format!("sun-{name}")))
    }

    pub(crate) fn demo(name: &str) -> Self {
        Self(Folder::demo(&format!("sun-{name}")))
    }

    pub(crate) fn write(&self, path: &str, text: &str) {
        let path = self.0.0.join(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }

    /// Changes a file of the folder; the part to replace must be there.
    pub(crate) fn change(&self, path: &str, from: &str, to: &str) {
        let text = std::fs::read_to_string(self.0.0.join(path)).unwrap();
        assert!(text.contains(from), "{from} is not in {path}");
        self.write(path, &text.replacen(from, to, 1));
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        self.0.run(arguments)
    }

    pub(crate) fn text(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let text = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
        // Blanks that do not break, and breaks of lines, read as plain blanks.
        let text = String::from_utf8_lossy(&text).replace('\u{a0}', " ");
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    pub(crate) fn json(&self, arguments: &[&str]) -> serde_json::Value {
        super::json(&self.run(&[arguments, &["--format", "json"]].concat()))
    }
}

pub(crate) fn number(value: &serde_json::Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

pub(crate) fn board<'a>(report: &'a serde_json::Value, name: &str) -> &'a serde_json::Value {
    let boards = report["boards"].as_array().unwrap();
    boards.iter().find(|b| b["board"] == name).unwrap()
}

pub(crate) const MAST: &str = "weather mast";

/// Hours of a clear sky over a place as a weather file: `clock_h` hours ahead of universal time, stamps at the start of each hour.
pub(crate) fn clear_hours(
    latitude: f64,
    longitude: f64,
    days: u32,
    clock_h: f64,
) -> Vec<(u32, u32, f64, f64)> {
    (0..days * 24)
        .map(|hour| {
            let (day, of_day) = (hour / 24, hour % 24);
            let n = f64::from(day) + 1.0;
            let declination = (23.45_f64).to_radians() * (2.0 * PI * (284.0 + n) / 365.0).sin();
            let solar = f64::from(of_day) + 0.5 - clock_h + longitude / 15.0;
            let angle = (15.0 * (solar - 12.0)).to_radians();
            let phi = latitude.to_radians();
            let up = phi.sin() * declination.sin() + phi.cos() * declination.cos() * angle.cos();
            let air = 7.0 - 9.0 * (2.0 * PI * (n - 15.0) / 365.0).cos();
            (day, of_day, (700.0 * up).max(0.0), air)
        })
        .collect()
}

/// A date of 2023 or 2024 from the days since 1 January.
pub(crate) fn date(leap: bool, day: u32) -> String {
    let lengths = [31, if leap { 29 } else { 28 }, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut left = day;
    for (month, length) in lengths.iter().enumerate() {
        if left < *length {
            return format!("{}-{:02}-{:02}", if leap { 2024 } else { 2023 }, month + 1, left + 1);
        }
        left -= length;
    }
    format!("{}-01-{:02}", if leap { 2025 } else { 2024 }, left + 1)
}

pub(crate) fn csv_of(hours: &[(u32, u32, f64, f64)], leap: bool) -> String {
    let mut text = "time,ghi,temp\n".to_owned();
    for (day, hour, light, air) in hours {
        text.push_str(&format!("{} {hour:02}:00,{light:.1},{air:.1}\n", date(leap, *day)));
    }
    text
}

/// The demo with a weather file at its gorge.
pub(crate) fn with_file(name: &str, text: &str, layout: &str) -> Bench {
    let bench = Bench::demo(name);
    bench.write("weather/hut.csv", text);
    bench.change(
        "sites/gorge.toml",
        "ground_reflection",
        &format!("hourly = \"weather/hut.csv\"\nhourly_layout = {{ {layout} }}\nground_reflection"),
    );
    bench
}

pub(crate) const ONE: [&str; 4] = ["sun", MAST, "--board", "SLIPKNOT"];
