//! The ledger's accounts while a march runs, and the points of its trajectory.

use super::frame::Frame;
use super::profile::{Profile, Surroundings};
use super::search::Leap;
use crate::load::SleepCurrent;
use crate::outcome::{Account, Flag, Flags, LedgerEntry};
use crate::path::Regulator;
use crate::relations::decayed_time;
use crate::scenario::Scenario;
use crate::supply::{Point, drain_current_a};

/// A point of the trajectory.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Waypoint {
    pub(crate) time_s: f64,
    pub(crate) charge_c: f64,
    pub(crate) around: Surroundings,
}

/// Charges by account.
#[derive(Debug, Clone, Default)]
pub(crate) struct Accounts {
    activities: Vec<f64>,
    always_on: Vec<f64>,
    sleep: f64,
    protection: f64,
    bulk: f64,
    regulator: f64,
    self_discharge: f64,
    ageing: f64,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct Recorder {
    pub(crate) accounts: Accounts,
    pub(crate) points: Vec<Waypoint>,
    start_ripple: Vec<f64>,
    pub(crate) flags: Flags,
}

impl Recorder {
    pub(crate) fn new(sc: &Scenario) -> Self {
        Self {
            accounts: Accounts {
                activities: vec![0.0; sc.load.activities.len()],
                always_on: vec![0.0; sc.path.always_on.len()],
                ..Accounts::default()
            },
            points: Vec::new(),
            start_ripple: vec![0.0; sc.load.activities.len()],
            flags: Flags::NONE,
        }
    }

    pub(crate) fn mark(&self) -> (Accounts, usize) {
        (self.accounts.clone(), self.points.len())
    }

    pub(crate) fn rewind(&mut self, mark: (Accounts, usize)) {
        self.accounts = mark.0;
        self.points.truncate(mark.1);
    }

    pub(crate) fn start_ripple(&mut self, j: usize, ripple_c: f64) {
        self.start_ripple[j] = ripple_c;
    }

    pub(crate) fn point(&mut self, time_s: f64, charge_c: f64, around: &Surroundings) {
        self.points.push(Waypoint { time_s, charge_c, around: *around });
    }

    /// A leap with constant currents from its anchor until `until_s` (also backwards).
    pub(crate) fn linear(
        &mut self,
        sc: &Scenario,
        frame: &Frame,
        profile: &Profile,
        leap: &Leap,
        until_s: f64,
    ) {
        let dt = until_s - leap.t0_s;
        self.constant(sc, frame, profile, leap, dt);
        if dt > 0.0 {
            for i in 1..=8 {
                let t = leap.t0_s + dt * f64::from(i) / 8.0;
                self.point(t, leap.charge(t), &leap.around);
            }
        }
    }

    /// The charges of a leap with constant currents over `dt` from its anchor, without points.
    pub(crate) fn constant(
        &mut self,
        sc: &Scenario,
        frame: &Frame,
        profile: &Profile,
        leap: &Leap,
        dt: f64,
    ) {
        let rate = leap.lambda + leap.lambda_age;
        self.draw(sc, frame, profile, dt);
        // ∫Q dt = Q0·φ − I·(t − φ)/Λ with φ = (1 − e^(−Λt))/Λ; the last factor by its series near 0.
        let phi = decayed_time(rate, dt);
        let x = rate * dt;
        let lag = if x.abs() < 1e-3 {
            dt * dt * (0.5 - x * (1.0 / 6.0 - x * (1.0 / 24.0 - x / 120.0)))
        } else {
            (dt - phi) / rate
        };
        let held = leap.q0_c * phi - leap.mean_a * lag;
        self.accounts.self_discharge += leap.lambda * held;
        self.accounts.ageing += leap.lambda_age * held;
    }

    /// A quadrature node that stands for `share_s` seconds at charge `at_c`.
    #[allow(clippy::too_many_arguments)] // the node's whole state, once
    pub(crate) fn node(
        &mut self,
        sc: &Scenario,
        frame: &Frame,
        profile: &Profile,
        at_c: f64,
        share_s: f64,
        lambda: f64,
        lambda_age: f64,
    ) {
        self.draw(sc, frame, profile, share_s);
        self.accounts.self_discharge += lambda * at_c * share_s;
        self.accounts.ageing += lambda_age * at_c * share_s;
    }

    fn draw(&mut self, sc: &Scenario, frame: &Frame, profile: &Profile, dt: f64) {
        let mut awake_share = 0.0;
        for (k, seg) in frame.segs.iter().enumerate() {
            let share = seg.duration_s / frame.trains[seg.train].interval_s;
            awake_share += share;
            let point = &profile.segs[k].point;
            self.accounts.activities[seg.train] += point.rail_a * share * dt;
            self.accounts.regulator += (point.input_a - point.rail_a) * share * dt;
            let rest = point.cell_a - point.input_a;
            self.drains(sc, point, share * dt, rest * share * dt, false);
        }
        let share = (1.0 - awake_share) * dt;
        let point = &profile.sleep;
        if matches!(sc.load.sleep.current, SleepCurrent::Rail { .. }) {
            self.accounts.sleep += point.rail_a * share;
            self.accounts.regulator += (point.input_a - point.rail_a) * share;
            self.drains(sc, point, share, (point.cell_a - point.input_a) * share, false);
            return;
        }
        // A reading at the contacts: name what it holds.
        let mut named = 0.0;
        for (i, part) in sc.path.always_on.iter().enumerate() {
            if part.in_sleep_reading {
                let a = drain_current_a(&part.drain, point.cell_v);
                self.accounts.always_on[i] += a * share;
                named += a;
            }
        }
        if named > point.input_a * (1.0 + 1e-9) {
            self.flags.insert(Flag::BillExceedsReading);
        }
        let ground = match &sc.path.regulator {
            Regulator::Direct => 0.0,
            Regulator::Linear(r) if point.dropout => {
                r.ground_in_dropout_a.or(r.ground_current_a).unwrap_or(0.0)
            }
            Regulator::Linear(r) => r.ground_current_a.unwrap_or(0.0),
            Regulator::StepDown(r) | Regulator::StepUp(r) | Regulator::BuckBoost(r) => {
                r.quiescent_a.unwrap_or(0.0)
            }
        };
        let ground = ground.min((point.input_a - named).max(0.0));
        self.accounts.regulator += ground * share;
        self.accounts.sleep += (point.input_a - named - ground) * share;
        self.drains(sc, point, share, (point.cell_a - point.input_a) * share, true);
    }

    /// Splits `total_c` of the battery-side drains among their owners; what is rounded goes to the last.
    fn drains(&mut self, sc: &Scenario, point: &Point, dt: f64, total_c: f64, battery: bool) {
        let mut left = total_c;
        for (i, part) in sc.path.always_on.iter().enumerate() {
            if battery && part.in_sleep_reading {
                continue;
            }
            let c = drain_current_a(&part.drain, point.cell_v) * dt;
            self.accounts.always_on[i] += c;
            left -= c;
        }
        let protection = sc.cell.protection.and_then(|p| p.own_current_a).unwrap_or(0.0) * dt;
        self.accounts.protection += protection;
        left -= protection;
        // Leakage, and — with a bulk capacitor or tables — the last bits of the solver.
        self.accounts.bulk += left;
    }

    /// The accounts as entries, the last cycle corrected by its ripple.
    pub(crate) fn entries(
        &self,
        sc: &Scenario,
        end_ripple: &[f64],
        stranded_c: f64,
    ) -> Vec<LedgerEntry> {
        let a = &self.accounts;
        let mut entries = Vec::new();
        for (j, &charge_c) in a.activities.iter().enumerate() {
            let charge_c = charge_c - (end_ripple[j] - self.start_ripple[j]);
            entries.push(LedgerEntry { account: Account::Activity(j), charge_c });
        }
        entries.push(LedgerEntry { account: Account::Sleep, charge_c: a.sleep });
        for (i, &charge_c) in a.always_on.iter().enumerate() {
            entries.push(LedgerEntry { account: Account::AlwaysOn(i), charge_c });
        }
        let mut rest = vec![
            (Account::Protection, a.protection, sc.cell.protection.is_some()),
            (Account::BulkLeakage, a.bulk, sc.path.bulk.is_some()),
            (Account::Regulator, a.regulator, !matches!(sc.path.regulator, Regulator::Direct)),
            (Account::SelfDischarge, a.self_discharge, sc.cell.self_discharge.is_some()),
            (Account::Ageing, a.ageing, sc.cell.ageing.is_some()),
        ];
        rest.retain(|(_, charge, known)| *known || charge.abs() > 0.0);
        // The solver's last bits are no leakage: without a capacitor they go to the regulator.
        if sc.path.bulk.is_none()
            && let Some(i) = rest.iter().position(|r| r.0 == Account::BulkLeakage)
        {
            let bits = rest.remove(i).1;
            match rest.iter_mut().find(|r| r.0 == Account::Regulator) {
                Some(r) => r.1 += bits,
                None => {
                    if let Some(e) = entries.iter_mut().find(|e| e.account == Account::Sleep) {
                        e.charge_c += bits;
                    }
                }
            }
        }
        entries.extend(
            rest.into_iter().map(|(account, charge_c, _)| LedgerEntry { account, charge_c }),
        );
        entries.push(LedgerEntry { account: Account::Stranded, charge_c: stranded_c });
        entries
    }
}
