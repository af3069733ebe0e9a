//! Comma-, semicolon- or tab-separated weather of any layout.

use super::text_time::{DateOrder, parse};
use super::{Record, Resource, ResourceError, ResourceNote, Stamped, into_steps};
use crate::time::{Civil, days_from_civil};

/// Which column something stands in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Column {
    /// By its name in the header (capitals and blanks around it do not matter).
    Named(String),
    /// By its number, from 0.
    Number(usize),
}

/// Where the time stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TimeColumns {
    /// Date and time in one column.
    One(Column),
    /// A date column and a time column.
    DateAndTime(Column, Column),
    /// Year, month, day, hour and, if there is one, minute, each a number.
    Parts {
        /// Year, month, day, hour.
        of: [Column; 4],
        /// Minute.
        minute: Option<Column>,
    },
    /// None: the records follow each other in equal steps from a start.
    Counted {
        /// The first record's stamp.
        start: Civil,
        /// The step, s.
        step_s: u32,
    },
}

/// What clock wrote the stamps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Zone {
    /// A fixed offset from universal time, s (standard time all year). An offset written in the stamp itself wins.
    Fixed {
        /// Seconds ahead of universal time.
        offset_s: f64,
    },
    /// A wall clock that goes an hour ahead in summer; the offset is the winter's. The changes are found in the data.
    WallClock {
        /// Winter's seconds ahead of universal time.
        standard_offset_s: f64,
    },
}

/// Which instant of its interval a stamp names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Stamp {
    /// The interval's start.
    #[default]
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// What the irradiance columns hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LightUnit {
    /// Mean W/m².
    #[default]
    WattPerSquareMetre,
    /// Wh/m² in the interval.
    WattHourPerSquareMetre,
    /// kWh/m² in the interval.
    KilowattHourPerSquareMetre,
    /// J/cm² in the interval.
    JoulePerSquareCentimetre,
    /// kJ/m² in the interval.
    KilojoulePerSquareMetre,
    /// MJ/m² in the interval.
    MegajoulePerSquareMetre,
}

impl LightUnit {
    fn to_w_m2(self, step_s: f64) -> f64 {
        match self {
            LightUnit::WattPerSquareMetre => 1.0,
            LightUnit::WattHourPerSquareMetre => 3600.0 / step_s,
            LightUnit::KilowattHourPerSquareMetre => 3.6e6 / step_s,
            LightUnit::JoulePerSquareCentimetre => 1e4 / step_s,
            LightUnit::KilojoulePerSquareMetre => 1e3 / step_s,
            LightUnit::MegajoulePerSquareMetre => 1e6 / step_s,
        }
    }
}

/// The layout of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// Field separator; `None`: the one of `;`, tab and `,` that the header has most of.
    pub separator: Option<char>,
    /// Decimal comma instead of point.
    pub decimal_comma: bool,
    /// Lines before the header (or before the data, if nothing is named).
    pub skip_lines: usize,
    /// Is there a header line?
    pub header: bool,
    /// Where the time stands.
    pub time: TimeColumns,
    /// How dates are written.
    pub date_order: DateOrder,
    /// What clock wrote them.
    pub zone: Zone,
    /// Which instant they name.
    pub stamp: Stamp,
    /// Global irradiance; `None` if it shall be made from beam and diffuse.
    pub global: Option<Column>,
    /// Normal beam irradiance.
    pub beam_normal: Option<Column>,
    /// Diffuse irradiance.
    pub diffuse: Option<Column>,
    /// Air temperature, °C.
    pub air: Option<Column>,
    /// Unit of the irradiance columns.
    pub unit: LightUnit,
    /// Marks of a missing value besides the empty field and NaN.
    pub missing: Vec<String>,
}

impl Layout {
    /// A plain layout: header, one time column, `W/m²`, stamps at the start of the interval, universal time.
    pub fn plain(time: &str, global: &str) -> Self {
        Self {
            separator: None,
            decimal_comma: false,
            skip_lines: 0,
            header: true,
            time: TimeColumns::One(Column::Named(time.to_string())),
            date_order: DateOrder::YearMonthDay,
            zone: Zone::Fixed { offset_s: 0.0 },
            stamp: Stamp::Start,
            global: Some(Column::Named(global.to_string())),
            beam_normal: None,
            diffuse: None,
            air: None,
            unit: LightUnit::WattPerSquareMetre,
            missing: ["-999", "-9999", "-99.9", "-999.0", "9999", "NA", "n/a", "null", "-"]
                .map(String::from)
                .to_vec(),
        }
    }
}

/// Reads weather. Comment lines (starting with `#`) and blank lines are passed over.
///
/// # Errors
/// [`ResourceError`] names line and column of the first thing that cannot be read.
pub fn read(text: &str, layout: &Layout) -> Result<Resource, ResourceError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut lines = text
        .lines()
        .enumerate()
        .skip(layout.skip_lines)
        .map(|(i, l)| (i + 1, l))
        .filter(|(_, l)| !l.trim().is_empty() && !l.trim_start().starts_with('#'))
        .peekable();
    let (first_line, first) =
        *lines.peek().ok_or(ResourceError::Empty { hint: Some("the text is empty") })?;
    let separator = layout.separator.unwrap_or_else(|| {
        [';', '\t', ','].into_iter().max_by_key(|&s| first.matches(s).count()).unwrap_or(',')
    });
    let header: Option<(usize, Vec<String>)> = layout.header.then(|| {
        lines.next();
        (first_line, fields(first, separator).map(str::to_lowercase).collect())
    });
    let index = |column: &Column| -> Result<usize, ResourceError> {
        match (column, &header) {
            (Column::Number(n), _) => Ok(*n),
            (Column::Named(name), Some((line, names))) => {
                let wanted = name.trim().to_lowercase();
                names.iter().position(|n| *n == wanted).ok_or_else(|| ResourceError::NoColumn {
                    column: name.clone(),
                    line: *line,
                    have: names.join(", "),
                })
            }
            (Column::Named(name), None) => Err(ResourceError::NoColumn {
                column: name.clone(),
                line: first_line,
                have: "no header".to_string(),
            }),
        }
    };
    let optional = |column: &Option<Column>| column.as_ref().map(&index).transpose();
    let light =
        [optional(&layout.global)?, optional(&layout.beam_normal)?, optional(&layout.diffuse)?];
    let air = optional(&layout.air)?;
    let time = match &layout.time {
        TimeColumns::One(c) => vec![index(c)?],
        TimeColumns::DateAndTime(d, t) => vec![index(d)?, index(t)?],
        TimeColumns::Parts { of, minute } => {
            let mut all = of.iter().map(&index).collect::<Result<Vec<_>, _>>()?;
            all.extend(optional(minute)?);
            all
        }
        TimeColumns::Counted { .. } => Vec::new(),
    };
    let mut stamps: Vec<(usize, Civil, Option<f64>)> = Vec::new();
    let mut raw: Vec<[Option<f64>; 4]> = Vec::new();
    for (line, content) in lines {
        let parts: Vec<&str> = fields(content, separator).collect();
        let get = |i: usize| parts.get(i).copied().unwrap_or("");
        let number = |i: usize| -> Result<Option<f64>, ResourceError> {
            let field = get(i);
            if field.is_empty()
                || field.eq_ignore_ascii_case("nan")
                || layout.missing.iter().any(|m| m == field)
            {
                return Ok(None);
            }
            let normal =
                if layout.decimal_comma { field.replace(',', ".") } else { field.to_string() };
            let column =
                header.as_ref().and_then(|h| h.1.get(i).cloned()).unwrap_or_else(|| i.to_string());
            match normal.parse::<f64>() {
                Ok(v) if v.is_finite() => Ok(Some(v)),
                _ => Err(ResourceError::NotANumber { line, column, text: field.to_string() }),
            }
        };
        let (civil, offset) =
            match &layout.time {
                TimeColumns::Counted { start, step_s } => {
                    let seconds =
                        u64::from(start.second_of_day) + u64::from(*step_s) * stamps.len() as u64;
                    let days = days_from_civil(start.year, start.month, start.day)
                        + (seconds / 86400).cast_signed();
                    let (year, month, day) = crate::time::civil_from_days(days);
                    (Civil { year, month, day, second_of_day: (seconds % 86400) as u32 }, None)
                }
                TimeColumns::Parts { .. } => {
                    let mut values = [0.0; 5];
                    for (value, &i) in values.iter_mut().zip(&time) {
                        *value = number(i)?.ok_or(ResourceError::Malformed {
                            line,
                            what: "a part of the time is missing",
                        })?;
                    }
                    let [year, month, day, hour, minute] = values;
                    let text =
                        format!("{year:04.0}-{month:02.0}-{day:02.0} {hour:02.0}:{minute:02.0}");
                    let w = parse(&text, DateOrder::YearMonthDay)
                        .map_err(|why| ResourceError::NotATime { line, text, why })?;
                    (w.civil, None)
                }
                TimeColumns::One(_) | TimeColumns::DateAndTime(..) => {
                    let text = time.iter().map(|&i| get(i)).collect::<Vec<_>>().join(" ");
                    let w = parse(&text, layout.date_order)
                        .map_err(|why| ResourceError::NotATime { line, text, why })?;
                    (w.civil, w.offset_s)
                }
            };
        stamps.push((line, civil, offset));
        let mut values = [None; 4];
        for (value, i) in values.iter_mut().zip(light.into_iter().chain([air])) {
            if let Some(i) = i {
                *value = number(i)?;
            }
        }
        raw.push(values);
    }
    if stamps.is_empty() {
        return Err(ResourceError::Empty { hint: Some("there is a header but no data") });
    }
    let mut notes = Vec::new();
    let (instants, clock_offset_s) = instants(&stamps, layout.zone, &mut notes)?;
    let step_s = median_step(&instants)
        .ok_or(ResourceError::Empty { hint: Some("a single record has no step") })?;
    let shift = match layout.stamp {
        Stamp::Start => 0.5 * step_s,
        Stamp::Middle => 0.0,
        Stamp::End => -0.5 * step_s,
    };
    let factor = layout.unit.to_w_m2(step_s);
    let mut cleaner = Cleaner::default();
    let mut stamped = Vec::with_capacity(raw.len());
    for ((&(line, ..), &at), values) in stamps.iter().zip(&instants).zip(raw) {
        let [g, b, d, air_c] = values;
        let record = Record {
            global_w_m2: cleaner.light(g.map(|v| v * factor), line)?,
            beam_normal_w_m2: cleaner.light(b.map(|v| v * factor), line)?,
            diffuse_w_m2: cleaner.light(d.map(|v| v * factor), line)?,
            air_c,
        };
        stamped.push(Stamped { line, middle: at + shift, record });
    }
    notes.extend(cleaner.note());
    into_steps(stamped, clock_offset_s, None, notes, Some(step_s))
}

fn fields(line: &str, separator: char) -> impl Iterator<Item = &str> {
    line.split(separator).map(|f| f.trim().trim_matches('"').trim())
}

/// Takes small negatives as zero and refuses the impossible.
#[derive(Debug, Default)]
pub(super) struct Cleaner {
    count: usize,
    lowest: f64,
}

/// No irradiance on Earth exceeds this, W/m² (cloud-edge peaks of seconds reach about 1800).
const HIGHEST_W_M2: f64 = 2000.0;
/// Thermal offsets of pyranometers lie above this, W/m².
const LOWEST_W_M2: f64 = -20.0;

impl Cleaner {
    pub(super) fn light(
        &mut self,
        value: Option<f64>,
        line: usize,
    ) -> Result<Option<f64>, ResourceError> {
        match value {
            Some(v) if !(LOWEST_W_M2..=HIGHEST_W_M2).contains(&v) => {
                Err(ResourceError::NotLight { line, got: v })
            }
            Some(v) if v < 0.0 => {
                self.count += 1;
                self.lowest = self.lowest.min(v);
                Ok(Some(0.0))
            }
            other => Ok(other),
        }
    }

    pub(super) fn note(&self) -> Option<ResourceNote> {
        (self.count > 0)
            .then_some(ResourceNote::NegativeTakenAsZero { count: self.count, lowest: self.lowest })
    }
}

fn median_step(instants: &[f64]) -> Option<f64> {
    let mut steps: Vec<f64> =
        instants.windows(2).map(|w| w[1] - w[0]).filter(|s| *s > 0.0).collect();
    if steps.is_empty() {
        return None;
    }
    steps.sort_by(f64::total_cmp);
    Some(steps[(steps.len() - 1) / 2])
}

/// Stamps to universal time; on a wall clock the jumps of an hour are followed.
fn instants(
    stamps: &[(usize, Civil, Option<f64>)],
    zone: Zone,
    notes: &mut Vec<ResourceNote>,
) -> Result<(Vec<f64>, f64), ResourceError> {
    let standard = match zone {
        Zone::Fixed { offset_s } | Zone::WallClock { standard_offset_s: offset_s } => offset_s,
    };
    let local: Vec<f64> = stamps.iter().map(|(_, c, _)| c.instant(0.0)).collect();
    let wall = matches!(zone, Zone::WallClock { .. });
    let step = median_step(&local).unwrap_or(3600.0);
    let mut out = Vec::with_capacity(stamps.len());
    // On a wall clock: is it summer time at the start? Decided by which change comes first.
    let change = |i: usize| -> i32 {
        let d = local[i] - local[i - 1];
        if (d - (step + 3600.0)).abs() < 1.0 {
            1
        } else if (d - (step - 3600.0)).abs() < 1.0 && step <= 3600.0 {
            -1
        } else {
            0
        }
    };
    let mut summer = wall && (1..local.len()).map(change).find(|&c| c != 0) == Some(-1);
    let (mut spring, mut autumn) = (None, None);
    for (i, &(line, _, written)) in stamps.iter().enumerate() {
        if i > 0 && wall {
            match change(i) {
                1 if !summer => {
                    summer = true;
                    spring.get_or_insert(local[i] - standard - 3600.0);
                }
                -1 if summer => {
                    summer = false;
                    autumn.get_or_insert(local[i] - standard);
                }
                _ => {}
            }
        }
        let offset = written.unwrap_or(standard + if summer { 3600.0 } else { 0.0 });
        let at = local[i] - offset;
        if let Some(&before) = out.last()
            && at < before - 1.0
            && written.is_none()
        {
            return Err(ResourceError::ClockGoesBack { line, by_s: before - at });
        }
        out.push(at);
    }
    if spring.is_some() || autumn.is_some() {
        notes.push(ResourceNote::DaylightSavingRemoved { spring, autumn });
    }
    let clock = stamps[0].2.unwrap_or(standard);
    Ok((out, clock))
}
