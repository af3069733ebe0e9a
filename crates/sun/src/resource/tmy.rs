//! Typical meteorological years in the two public layouts of the US national laboratory: TMY2 (fixed columns) and TMY3 (comma-separated).
//!
//! Both give hours 1 to 24 in local standard time, each stamp the *end* of its hour. The months come from different years; they are set into one
//! year of 365 days.
//!
//! Sources: W. Marion and K. Urban, "User's Manual for TMY2s", NREL/SP-463-7668, 1995, tables 3-1 and 3-2; S. Wilcox and W. Marion, "Users Manual
//! for TMY3 Data Sets", NREL/TP-581-43156, 2008, tables 1-1 and 1-3.

use super::csv::Cleaner;
use super::{Place, Record, Resource, ResourceError, ResourceNote, Stamped, into_steps};
use crate::time::{Civil, days_in_month};

/// The common year into which typical months are set.
pub const TYPICAL_YEAR: i32 = 2001;

/// Reads the fixed-column layout.
///
/// # Errors
/// [`ResourceError`] with the line.
pub fn read_tmy2(text: &str) -> Result<Resource, ResourceError> {
    let mut lines =
        text.lines().enumerate().map(|(i, l)| (i + 1, l)).filter(|(_, l)| !l.trim().is_empty());
    let (_, header) =
        lines.next().ok_or(ResourceError::Empty { hint: Some("the text is empty") })?;
    let bad = |what| ResourceError::Malformed { line: 1, what };
    // Station number, city (may hold blanks), state, zone, N/S degrees minutes, E/W degrees minutes, height.
    let words: Vec<&str> = header.split_whitespace().collect();
    let n = words.len();
    if n < 10 {
        return Err(bad(
            "the header needs station, city, state, time zone, latitude, longitude and height",
        ));
    }
    let number = |word: &str, what| word.parse::<f64>().ok().ok_or_else(|| bad(what));
    let tail = &words[n - 8..];
    let zone_h = number(tail[0], "the time zone is no number")?;
    let angle = |side: &str, degrees: &str, minutes: &str, negative: &str, positive: &str| {
        let value = number(degrees, "an angle is no number")?
            + number(minutes, "an angle is no number")? / 60.0;
        if side == positive {
            Ok(value)
        } else if side == negative {
            Ok(-value)
        } else {
            Err(bad("an angle has no N, S, E or W"))
        }
    };
    let place = Place {
        latitude_deg: angle(tail[1], tail[2], tail[3], "S", "N")?,
        longitude_deg: angle(tail[4], tail[5], tail[6], "W", "E")?,
        height_m: number(tail[7], "the height is no number")?,
    };
    let mut cleaner = Cleaner::default();
    let mut stamped = Vec::with_capacity(8760);
    for (line, row) in lines {
        if row.len() < 71 || !row.is_ascii() {
            return Err(ResourceError::Malformed {
                line,
                what: "the line is shorter than the 71 columns up to the temperature",
            });
        }
        // Columns as printed in the manual, from 1.
        let field = |from: usize, to: usize, what: &str| -> Result<f64, ResourceError> {
            let text = row[from - 1..to].trim();
            text.parse().ok().ok_or_else(|| ResourceError::NotANumber {
                line,
                column: what.to_string(),
                text: text.to_string(),
            })
        };
        let missing = |v: f64, mark: f64| (v != mark).then_some(v);
        let (month, day, hour) = (field(4, 5, "month")?, field(6, 7, "day")?, field(8, 9, "hour")?);
        let middle = hour_middle(line, month, day, hour, zone_h)?;
        let record = Record {
            global_w_m2: cleaner.light(missing(field(18, 21, "global")?, 9999.0), line)?,
            beam_normal_w_m2: cleaner.light(missing(field(24, 27, "beam")?, 9999.0), line)?,
            diffuse_w_m2: cleaner.light(missing(field(30, 33, "diffuse")?, 9999.0), line)?,
            air_c: missing(field(68, 71, "dry bulb")?, 9999.0).map(|t| t / 10.0),
        };
        stamped.push(Stamped { line, middle, record });
    }
    finish(stamped, place, zone_h, &cleaner)
}

/// Reads the comma-separated layout.
///
/// # Errors
/// [`ResourceError`] with the line.
pub fn read_tmy3(text: &str) -> Result<Resource, ResourceError> {
    let mut lines =
        text.lines().enumerate().map(|(i, l)| (i + 1, l)).filter(|(_, l)| !l.trim().is_empty());
    let (_, first) =
        lines.next().ok_or(ResourceError::Empty { hint: Some("the text is empty") })?;
    let bad = |what| ResourceError::Malformed { line: 1, what };
    // Code, name (quoted, may hold a comma), state, zone, latitude, longitude, height.
    let words: Vec<&str> = first.split(',').collect();
    if words.len() < 7 {
        return Err(bad(
            "the first line needs code, name, state, time zone, latitude, longitude and height",
        ));
    }
    let tail = &words[words.len() - 4..];
    let mut values = [0.0; 4];
    for (value, word) in values.iter_mut().zip(tail) {
        *value = word.trim().parse().ok().ok_or_else(|| {
            bad("time zone, latitude, longitude and height at the end of the first line must be numbers")
        })?;
    }
    let [zone_h, latitude_deg, longitude_deg, height_m] = values;
    let (header_line, header) =
        lines.next().ok_or(ResourceError::Empty { hint: Some("there is no header line") })?;
    let names: Vec<String> = header.split(',').map(|n| n.trim().to_lowercase()).collect();
    let column = |name: &str| {
        names.iter().position(|n| n.starts_with(name)).ok_or_else(|| ResourceError::NoColumn {
            column: name.to_string(),
            line: header_line,
            have: names.join(", "),
        })
    };
    let [date, time, global, beam, diffuse, air] = [
        column("date (")?,
        column("time (")?,
        column("ghi (w")?,
        column("dni (w")?,
        column("dhi (w")?,
        column("dry-bulb (")?,
    ];
    let mut cleaner = Cleaner::default();
    let mut stamped = Vec::with_capacity(8760);
    for (line, row) in lines {
        let fields: Vec<&str> = row.split(',').map(str::trim).collect();
        let get = |i: usize| fields.get(i).copied().unwrap_or("");
        let number = |i: usize| -> Result<Option<f64>, ResourceError> {
            let text = get(i);
            let value: f64 = text.parse().ok().ok_or_else(|| ResourceError::NotANumber {
                line,
                column: names[i].clone(),
                text: text.to_string(),
            })?;
            // The manual's mark of a missing value is −9900.
            Ok((value > -9000.0).then_some(value))
        };
        let parts = |text: &str, mark: char| -> Option<Vec<f64>> {
            text.split(mark).map(|p| p.parse().ok()).collect()
        };
        let stamp = (parts(get(date), '/'), parts(get(time), ':'));
        let (Some(d), Some(t)) = stamp else {
            return Err(ResourceError::NotATime {
                line,
                text: format!("{} {}", get(date), get(time)),
                why: "need MM/DD/YYYY and HH:MM",
            });
        };
        if d.len() != 3 || t.is_empty() {
            return Err(ResourceError::NotATime {
                line,
                text: format!("{} {}", get(date), get(time)),
                why: "need MM/DD/YYYY and HH:MM",
            });
        }
        let middle = hour_middle(line, d[0], d[1], t[0], zone_h)?;
        let record = Record {
            global_w_m2: cleaner.light(number(global)?, line)?,
            beam_normal_w_m2: cleaner.light(number(beam)?, line)?,
            diffuse_w_m2: cleaner.light(number(diffuse)?, line)?,
            air_c: number(air)?,
        };
        stamped.push(Stamped { line, middle, record });
    }
    finish(stamped, Place { latitude_deg, longitude_deg, height_m }, zone_h, &cleaner)
}

fn hour_middle(
    line: usize,
    month: f64,
    day: f64,
    hour: f64,
    zone_h: f64,
) -> Result<f64, ResourceError> {
    let ok = (1.0..=12.0).contains(&month)
        && (1.0..=24.0).contains(&hour)
        && (1.0..=f64::from(days_in_month(TYPICAL_YEAR, month as u8))).contains(&day);
    if !ok {
        return Err(ResourceError::NotATime {
            line,
            text: format!("month {month}, day {day}, hour {hour}"),
            why: "need a day of a common year and an hour 1 to 24",
        });
    }
    let end = Civil {
        year: TYPICAL_YEAR,
        month: month as u8,
        day: day as u8,
        second_of_day: hour as u32 * 3600,
    };
    Ok(end.instant(zone_h * 3600.0) - 1800.0)
}

fn finish(
    stamped: Vec<Stamped>,
    place: Place,
    zone_h: f64,
    cleaner: &Cleaner,
) -> Result<Resource, ResourceError> {
    let mut notes = vec![ResourceNote::TypicalYear { set_into: TYPICAL_YEAR }];
    notes.extend(cleaner.note());
    into_steps(stamped, zone_h * 3600.0, Some(place), notes, Some(3600.0))
}
