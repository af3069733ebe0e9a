//! Reading the check tables: comma-separated, comment lines start with `#`, the first other line names the columns.
#![allow(dead_code, reason = "each test binary uses its own part")]

use std::collections::BTreeMap;

/// Rows of a check table by column name.
pub(crate) fn table(text: &str) -> Vec<BTreeMap<String, String>> {
    let mut lines = text.lines().filter(|l| !l.starts_with('#') && !l.trim().is_empty());
    let names: Vec<&str> = lines.next().expect("a header").split(',').collect();
    lines
        .map(|l| {
            names
                .iter()
                .map(|n| n.trim().to_string())
                .zip(l.split(',').map(|f| f.trim().to_string()))
                .collect()
        })
        .collect()
}

/// A number of a row.
pub(crate) fn number(row: &BTreeMap<String, String>, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{column} is {:?}", row[column]))
}

/// `2024-06-21 13:30:00` as seconds since 1970.
pub(crate) fn instant(text: &str) -> f64 {
    let digits: Vec<i64> =
        text.split(['-', ' ', ':', 'T']).map(|p| p.parse().expect("digits")).collect();
    overwinter_sun::time::days_from_civil(digits[0] as i32, digits[1] as u8, digits[2] as u8) as f64
        * 86400.0
        + (digits[3] * 3600 + digits[4] * 60 + digits[5]) as f64
}

/// Smallest difference of two bearings, degrees.
pub(crate) fn bearing_difference(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(360.0);
    d.min(360.0 - d)
}

/// The quantile `p` of absolute values.
pub(crate) fn quantile(values: &mut [f64], p: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * p).round() as usize]
}
