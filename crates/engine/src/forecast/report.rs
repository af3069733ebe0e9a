//! The full forecast: ledger, margins at the end, points over the life.

use super::march::March;
use super::profile::charge_state;
use super::record::{Recorder, Waypoint};
use super::search::{Leap, Search};
use crate::outcome::{Account, Ending, Flag, Forecast, Margin, Sample};
use crate::scenario::Scenario;

pub(crate) fn full(march: &mut March, sc: &Scenario, samples: usize) -> Forecast {
    let mut recorder = Recorder::new(sc);
    let end = march.run(sc, Some(&mut recorder));
    let mut life = end.life;
    life.flags.extend(recorder.flags);
    let t = life.life_s;
    let mut end_ripple = Vec::with_capacity(march.frame.trains.len());
    for (j, train) in march.frame.trains.iter().enumerate() {
        let phase = (super::frame::to_ns(t) - train.offset_ns).rem_euclid(train.interval_ns);
        end_ripple.push(march.profile.response(&march.frame, j, phase).1);
    }
    let stranded_c = end.leap.charge(t) + end_ripple.iter().sum::<f64>();
    let ledger = recorder.entries(sc, &end_ripple, stranded_c);
    let drawn: f64 = ledger
        .iter()
        .filter(|e| {
            !matches!(e.account, Account::SelfDischarge | Account::Ageing | Account::Stranded)
        })
        .map(|e| e.charge_c)
        .sum();
    let search =
        Search { sc, frame: &march.frame, profile: &march.profile, leap: end.leap, near_c: None };
    let margins = search.margins(t, stranded_c);
    if search.bulk_not_recharged() {
        life.flags.insert(Flag::BulkNotRecharged);
    }
    let samples = sampled(march, sc, &recorder.points, t, samples);
    Forecast {
        life,
        margins,
        ledger,
        initial_charge_c: sc.cell.capacity_c * sc.cell.initial_charge,
        stranded_c,
        mean_current_a: if t > 0.0 { drawn / t } else { march.profile.mean_a },
        samples,
        warnings: life.flags.iter().collect(),
    }
}

fn sampled(
    march: &mut March,
    sc: &Scenario,
    points: &[Waypoint],
    end_s: f64,
    count: usize,
) -> Vec<Sample> {
    let mut samples = Vec::with_capacity(count);
    if points.is_empty() || count == 0 {
        return samples;
    }
    let mut at = 0;
    for i in 0..count {
        let t = if count == 1 { end_s } else { end_s * i as f64 / (count - 1) as f64 };
        while at + 1 < points.len() && points[at + 1].time_s < t {
            at += 1;
        }
        let a = &points[at];
        let b = &points[(at + 1).min(points.len() - 1)];
        let span = b.time_s - a.time_s;
        let u = if span > 0.0 { ((t - a.time_s) / span).clamp(0.0, 1.0) } else { 0.0 };
        let charge = a.charge_c + (b.charge_c - a.charge_c) * u;
        let around = b.around;
        march.profile.build(sc, &march.frame, &around, charge, 2);
        march.profile.fill_checks(&march.frame);
        let leap = Leap {
            around,
            t0_s: t,
            q0_c: charge,
            mean_a: march.profile.mean_a,
            lambda: 0.0,
            lambda_age: 0.0,
        };
        let search =
            Search { sc, frame: &march.frame, profile: &march.profile, leap, near_c: None };
        let (rail, cell) = search.lowest(t);
        samples.push(Sample {
            time_s: t,
            state_of_charge: charge_state(charge, around.capacity_c, around.conditions.cold_share),
            lowest_rail_v: rail,
            lowest_cell_v: cell,
        });
    }
    samples
}

impl Search<'_> {
    /// Distance of every known limit at a time, each where it is closest.
    fn margins(&self, t_s: f64, stranded_c: f64) -> Vec<Margin> {
        let limits = self.frame.limits();
        let mut found: Vec<Margin> = Vec::new();
        let mut note = |limit: Ending, place, margin: f64| {
            if margin.is_infinite() {
                return;
            }
            match found.iter_mut().find(|m| m.limit == limit) {
                Some(m) if margin < m.margin => *m = Margin { limit, place, margin },
                Some(_) => {}
                None => found.push(Margin { limit, place, margin }),
            }
        };
        for (c, check) in self.frame.checks.iter().enumerate() {
            let (point, s) = self.point_at(c, t_s);
            let place = self.place(check);
            note(Ending::RailBelowReset, place, point.rail_v - limits.reset_v);
            note(Ending::RegulatorOutOfReach, place, point.reach_v);
            note(Ending::CellCutoff, place, point.cell_v - limits.cell_v);
            note(Ending::ProtectionCutoff, place, point.cell_v - limits.protection_v);
            let _ = s;
        }
        let locked = self.leap.capacity(t_s) * (1.0 - self.leap.around.conditions.cold_share);
        note(Ending::ChargeExhausted, crate::outcome::Place::Sleep, stranded_c - locked);
        if let Some(shelf) = self.sc.cell.shelf_life_s {
            note(Ending::ShelfLife, crate::outcome::Place::Sleep, shelf - t_s);
        }
        found
    }

    /// Operating point of a check's bound at a time.
    fn point_at(&self, c: usize, t_s: f64) -> (crate::supply::Point, f64) {
        let state = &self.profile.checks[c];
        let s = self.state(t_s, state.worst_ripple_c, &state.worst);
        let point = self.profile.point(
            self.sc,
            self.frame,
            &self.leap.around,
            &self.frame.checks[c],
            s,
            &state.worst,
            state.worst_extra_a,
        );
        (point, s)
    }

    /// Lowest rail and cell voltage over all checks at a time.
    fn lowest(&self, t_s: f64) -> (Option<f64>, f64) {
        let (mut rail, mut cell) = (f64::INFINITY, f64::INFINITY);
        for c in 0..self.frame.checks.len() {
            let (point, _) = self.point_at(c, t_s);
            rail = rail.min(point.rail_v);
            cell = cell.min(point.cell_v);
        }
        (if rail > 0.0 { Some(rail) } else { None }, cell)
    }

    /// Whether five time constants of the bulk capacitor do not fit between two bursts.
    fn bulk_not_recharged(&self) -> bool {
        let Some(bulk) = self.sc.path.bulk else { return false };
        let around = &self.leap.around;
        let ohm = super::frame::resistance_at(self.sc.cell.resistance.as_ref(), 0.0_f64.max(0.2))
            * around.conditions.cold_ohm_factor
            * around.growth;
        let source = self.sc.path.feed_ohm(ohm, &self.frame.awake);
        let need = crate::relations::recharge_s(source, bulk.capacitance_f, bulk.esr_ohm);
        self.frame.trains.iter().any(|t| t.interval_s - t.duration_s < need)
    }
}
