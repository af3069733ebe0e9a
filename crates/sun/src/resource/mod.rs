//! Measured or typical weather: readers for text of any layout, and what is wrong with the data, told.
//!
//! Nothing here opens a file: the caller hands over the text. Every reader gives a [`Resource`]: equal steps in universal time, each record at the
//! *middle* of its interval, with everything found on the way as typed [`ResourceNote`]s.

pub mod csv;
pub mod on_plane;
pub mod statistics;
pub mod text_time;
pub mod tmy;

use crate::extraterrestrial::{SOLAR_CONSTANT_W_M2, spencer_w_m2};
use crate::position::Observer;
use crate::position::fast::{Ephemeris, Station};
use crate::time::{Civil, Instant, USUAL_DELTA_T_S, is_leap_year};

/// Weather of one interval. What the file does not give is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Record {
    /// Mean global irradiance on the horizontal, W/m².
    pub global_w_m2: Option<f64>,
    /// Mean beam irradiance, normal, W/m².
    pub beam_normal_w_m2: Option<f64>,
    /// Mean diffuse irradiance on the horizontal, W/m².
    pub diffuse_w_m2: Option<f64>,
    /// Air temperature, °C.
    pub air_c: Option<f64>,
}

/// Where a file says it was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub height_m: f64,
}

/// A stretch of weather in equal steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Resource {
    /// Middle of the first interval.
    pub first_middle: Instant,
    /// Length of an interval, s.
    pub step_s: f64,
    /// Offset of the data's clock from universal time, s (days and months are counted on it).
    pub clock_offset_s: f64,
    /// The intervals; a gap is a record of `None`s.
    pub records: Vec<Record>,
    /// Where, if the file says it.
    pub place: Option<Place>,
    /// What was found.
    pub notes: Vec<ResourceNote>,
}

/// Something about the data that the person should know.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub enum ResourceNote {
    /// The data hold a 29 February: a year of 8 784 hours.
    LeapYear {
        /// The year.
        year: i32,
    },
    /// A typical year: its months come from different years and were set into one year of 365 days.
    TypicalYear {
        /// The year they were set into.
        set_into: i32,
    },
    /// Intervals without a record or without global irradiance.
    Gaps {
        /// How many intervals.
        intervals: usize,
        /// Longest run of them.
        longest: usize,
        /// Where the first lies.
        first: Instant,
    },
    /// Calendar months of which less than 90 % is there.
    MonthIncomplete {
        /// 1…12.
        month: u8,
        /// Share that is there, 0…1.
        share: f64,
    },
    /// Small negative readings (thermal offset of the instrument, −20…0 W/m²) taken as zero.
    NegativeTakenAsZero {
        /// How many.
        count: usize,
        /// The lowest, W/m².
        lowest: f64,
    },
    /// More light than outside the atmosphere: possible for minutes at a cloud's edge, not for an hour.
    AboveExtraterrestrial {
        /// How many intervals.
        count: usize,
        /// Intervals of daylight looked at.
        of: usize,
        /// The largest quotient.
        worst: f64,
        /// Where.
        at: Instant,
    },
    /// Light (above 10 W/m²) while the sun is more than 3° below the horizon for the whole interval: the clock or the place is wrong.
    LightAtNight {
        /// How many intervals.
        count: usize,
        /// Where the first lies.
        at: Instant,
    },
    /// The light's centre of the day lies off the sun's: the time zone, the stamp (start or end of the interval) or the place is wrong.
    ClockOff {
        /// Minutes by which the data are late.
        late_min: f64,
    },
    /// Daylight saving time was found in the stamps and taken out.
    DaylightSavingRemoved {
        /// Instant of the spring change.
        spring: Option<Instant>,
        /// Instant of the autumn change.
        autumn: Option<Instant>,
    },
    /// Global differs from beam·cos z + diffuse by more than 15 % and 50 W/m².
    ComponentsDisagree {
        /// How many intervals.
        count: usize,
        /// Intervals looked at.
        of: usize,
    },
    /// Global irradiance was made from beam and diffuse.
    GlobalFromComponents {
        /// How many intervals.
        count: usize,
    },
    /// Records out of order or given twice; the first of each was kept.
    Repeated {
        /// How many.
        count: usize,
    },
}

/// Text that cannot be read as weather.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ResourceError {
    /// Nothing but headers.
    #[error("no records found{}", hint.map(|h| format!(": {h}")).unwrap_or_default())]
    Empty {
        /// What may help.
        hint: Option<&'static str>,
    },
    /// A named column that is not in the header.
    #[error("no column {column:?} in the header on line {line}; it has: {have}")]
    NoColumn {
        /// What was looked for.
        column: String,
        /// The header's line, from 1.
        line: usize,
        /// The header's columns.
        have: String,
    },
    /// A field that is no number.
    #[error("line {line}, column {column:?}: {text:?} is not a number")]
    NotANumber {
        /// From 1.
        line: usize,
        /// Which column.
        column: String,
        /// What stands there.
        text: String,
    },
    /// A stamp that is no time.
    #[error("line {line}: {text:?} is not a time ({why})")]
    NotATime {
        /// From 1.
        line: usize,
        /// What stands there.
        text: String,
        /// What is wrong with it.
        why: &'static str,
    },
    /// Steps that are not equal (beyond gaps).
    #[error("line {line}: the step to this record is {got_s} s, not a multiple of {step_s} s")]
    UnequalSteps {
        /// From 1.
        line: usize,
        /// The step found, s.
        got_s: f64,
        /// The usual step, s.
        step_s: f64,
    },
    /// A line too short for its fixed columns, or a header that cannot be read.
    #[error("line {line}: {what}")]
    Malformed {
        /// From 1.
        line: usize,
        /// What is wrong.
        what: &'static str,
    },
    /// Irradiance far outside anything possible.
    #[error("line {line}: irradiance {got} W/m2 is not possible (unit? missing-value mark?)")]
    NotLight {
        /// From 1.
        line: usize,
        /// The value.
        got: f64,
    },
    /// The clock springs in a way no daylight saving explains.
    #[error("line {line}: the clock goes back by {by_s} s")]
    ClockGoesBack {
        /// From 1.
        line: usize,
        /// By how much, s.
        by_s: f64,
    },
    /// More intervals than a hundred years of minutes.
    #[error("the stamps span {intervals} intervals: more than can be meant")]
    TooLong {
        /// How many.
        intervals: f64,
    },
}

/// A record with the line it came from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stamped {
    pub(crate) line: usize,
    pub(crate) middle: Instant,
    pub(crate) record: Record,
}

/// Puts stamped records into equal steps. The usual step is the most frequent difference of neighbours.
pub(crate) fn into_steps(
    mut stamped: Vec<Stamped>,
    clock_offset_s: f64,
    place: Option<Place>,
    mut notes: Vec<ResourceNote>,
    known_step_s: Option<f64>,
) -> Result<Resource, ResourceError> {
    if stamped.is_empty() {
        return Err(ResourceError::Empty { hint: None });
    }
    stamped.sort_by(|a, b| a.middle.total_cmp(&b.middle));
    let before = stamped.len();
    stamped.dedup_by(|later, earlier| later.middle - earlier.middle < 1.0);
    if stamped.len() < before {
        notes.push(ResourceNote::Repeated { count: before - stamped.len() });
    }
    let step_s = known_step_s
        .or_else(|| usual_step(&stamped))
        .ok_or(ResourceError::Empty { hint: Some("a single record has no step") })?;
    let first_middle = stamped[0].middle;
    let intervals = libm::round((stamped[stamped.len() - 1].middle - first_middle) / step_s) + 1.0;
    if intervals > 60_000_000.0 {
        return Err(ResourceError::TooLong { intervals });
    }
    let mut records = vec![Record::default(); intervals as usize];
    for s in &stamped {
        let at = (s.middle - first_middle) / step_s;
        let index = libm::round(at);
        if (at - index).abs() * step_s > 1.5 {
            return Err(ResourceError::UnequalSteps {
                line: s.line,
                got_s: (at - libm::floor(at)) * step_s,
                step_s,
            });
        }
        records[index as usize] = s.record;
    }
    let mut resource = Resource { first_middle, step_s, clock_offset_s, records, place, notes };
    resource.note_calendar();
    Ok(resource)
}

fn usual_step(stamped: &[Stamped]) -> Option<f64> {
    let mut differences: Vec<i64> =
        stamped.windows(2).map(|w| libm::round(w[1].middle - w[0].middle) as i64).collect();
    differences.sort_unstable();
    let mut best = (0, None);
    for group in differences.chunk_by(|a, b| a == b) {
        if group.len() > best.0 {
            best = (group.len(), Some(group[0] as f64));
        }
    }
    best.1
}

impl Resource {
    /// Middle of an interval.
    pub fn middle(&self, index: usize) -> Instant {
        self.first_middle + self.step_s * index as f64
    }

    /// The calendar on the data's clock at an interval's middle.
    pub fn civil(&self, index: usize) -> Civil {
        Civil::at(self.middle(index), self.clock_offset_s)
    }

    fn note_calendar(&mut self) {
        let mut missing = 0;
        let mut run = 0;
        let mut longest = 0;
        let mut first = None;
        let mut years = Vec::new();
        for i in 0..self.records.len() {
            if self.records[i].global_w_m2.is_none() {
                missing += 1;
                run += 1;
                longest = longest.max(run);
                first.get_or_insert(i);
            } else {
                run = 0;
            }
            let c = self.civil(i);
            if c.month == 2 && c.day == 29 && is_leap_year(c.year) && years.last() != Some(&c.year)
            {
                years.push(c.year);
            }
        }
        self.notes.extend(years.into_iter().map(|year| ResourceNote::LeapYear { year }));
        if let Some(first) = first {
            self.notes.push(ResourceNote::Gaps {
                intervals: missing,
                longest,
                first: self.middle(first),
            });
        }
    }

    /// Looks at the light with the sun over the place: too much of it, at night, off the sun's noon, components that disagree; months that are incomplete.
    ///
    /// Adds to [`Resource::notes`] and returns what was added. The extraterrestrial limit is the interval's middle plus 20 W/m².
    pub fn check(&mut self, observer: &Observer) -> Vec<ResourceNote> {
        let station = Station::new(observer);
        let half = 0.5 * self.step_s;
        let end = self.middle(self.records.len());
        let ephemeris = Ephemeris::new(self.first_middle - half, end + half, USUAL_DELTA_T_S);
        let mut found = Vec::new();
        let (mut above, mut daylight, mut worst) = (0, 0, (0.0, 0.0));
        let (mut night, mut night_at) = (0, 0.0);
        let (mut disagree, mut compared) = (0, 0);
        let mut have = [0usize; 12];
        let mut all = [0usize; 12];
        // Centres of the light and of the sun, summed over days: Σ weight·hour angle.
        let (mut light_sum, mut light_weight, mut sun_sum, mut sun_weight) = (0.0, 0.0, 0.0, 0.0);
        for i in 0..self.records.len() {
            let record = self.records[i];
            let civil = self.civil(i);
            let month = usize::from(civil.month - 1);
            all[month] += 1;
            let Some(global) = record.global_w_m2 else { continue };
            have[month] += 1;
            let at = self.middle(i);
            let Ok(direction) = ephemeris.direction(at, &station) else { continue };
            let e0 = spencer_w_m2(civil.day_of_year(), SOLAR_CONSTANT_W_M2);
            let horizontal = e0 * direction.up.max(0.0);
            if direction.up > 0.05 {
                daylight += 1;
                if global > horizontal + 20.0 {
                    above += 1;
                    if global / horizontal > worst.0 {
                        worst = (global / horizontal, at);
                    }
                }
                if let (Some(beam), Some(diffuse)) = (record.beam_normal_w_m2, record.diffuse_w_m2)
                {
                    compared += 1;
                    let sum = beam * direction.up + diffuse;
                    if (sum - global).abs() > 50.0 && (sum - global).abs() > 0.15 * global.max(sum)
                    {
                        disagree += 1;
                    }
                }
            } else if global > 10.0 {
                let dark = [at - half, at + half]
                    .iter()
                    .all(|&t| ephemeris.direction(t, &station).is_ok_and(|d| d.up < -0.0523));
                if dark {
                    if night == 0 {
                        night_at = at;
                    }
                    night += 1;
                }
            }
            // Seconds since local solar noon, by longitude alone on both sides, so that it cancels.
            let solar = (at + observer.longitude_deg * 240.0).rem_euclid(86400.0) - 43200.0;
            light_sum += global * solar;
            light_weight += global;
            sun_sum += horizontal * solar;
            sun_weight += horizontal;
        }
        for m in 0..12u8 {
            let month = usize::from(m);
            if all[month] > 0 {
                let share = have[month] as f64 / all[month] as f64;
                if share < 0.9 {
                    found.push(ResourceNote::MonthIncomplete { month: m + 1, share });
                }
            }
        }
        if above > 0 {
            found.push(ResourceNote::AboveExtraterrestrial {
                count: above,
                of: daylight,
                worst: worst.0,
                at: worst.1,
            });
        }
        if night > 0 {
            found.push(ResourceNote::LightAtNight { count: night, at: night_at });
        }
        if disagree > 0 {
            found.push(ResourceNote::ComponentsDisagree { count: disagree, of: compared });
        }
        if light_weight > 0.0 && sun_weight > 0.0 {
            let late_min = (light_sum / light_weight - sun_sum / sun_weight) / 60.0;
            // Morning fog or afternoon clouds move the centre by up to about 20 min.
            if late_min.abs() > 25.0 {
                found.push(ResourceNote::ClockOff { late_min });
            }
        }
        self.notes.extend(found.iter().copied());
        found
    }

    /// Monthly means on the data's own calendar: daily irradiation (kWh/m²) and temperature (°C); `None` for a month of which less than 90 % is there.
    pub fn monthly_means(&self) -> [(Option<f64>, Option<f64>); 12] {
        let mut sums = [(0.0, 0usize, 0.0, 0usize, 0usize); 12];
        for (i, record) in self.records.iter().enumerate() {
            let s = &mut sums[usize::from(self.civil(i).month - 1)];
            s.4 += 1;
            if let Some(g) = record.global_w_m2 {
                s.0 += g;
                s.1 += 1;
            }
            if let Some(t) = record.air_c {
                s.2 += t;
                s.3 += 1;
            }
        }
        sums.map(|(g, ng, t, nt, n)| {
            let enough = |k: usize| k > 0 && k as f64 >= 0.9 * n as f64;
            (enough(ng).then(|| g / ng as f64 * 24.0 / 1000.0), enough(nt).then(|| t / nt as f64))
        })
    }
}
