// A made-up recording that answers every question about itself: 500 million samples (5 000 s at 100 kS/s), a wake every 10 s.
// Currents are piecewise constant with a ripple of a tenth, so that any column of any length is known without adding samples up.
import type { PublishedTrace, RailCapture, RecordingLine, TraceActivity, TraceBetween, TraceComparison, TraceFigure, TraceOverlay, TracePhase, TraceReply, TraceRequest, TraceWake, TraceWindow } from "../src/types";

export const RATE = 100_000;
export const LENGTH = 5000;
const EVERY = 10;
const FLOOR = 12e-6;
const PHASES: { name: string; from: number; to: number; level: number }[] = [
  { name: "start", from: 0, to: 0.08, level: 32e-3 },
  { name: "measure", from: 0.08, to: 0.35, level: 6e-3 },
  { name: "radio", from: 0.35, to: 0.62, level: 110e-3 },
];
const AWAKE = 0.62;
/** Radio of every 50th wake is sent twice as strong. */
const strong = (wake: number) => wake % 50 === 17;
const level = (wake: number, phase: (typeof PHASES)[number]) => phase.level * (phase.name === "radio" && strong(wake) ? 1.8 : 1);
/** Wakes start half an interval after the beginning. */
const start = (wake: number) => wake * EVERY + EVERY / 2;
const WAKES = LENGTH / EVERY;

function above(t: number): number {
  const wake = Math.floor((t - EVERY / 2) / EVERY);
  let sum = 0;
  const one = (n: number, until: number) => PHASES.reduce((all, p) => all + Math.max(0, Math.min(until, p.to) - p.from) * (level(n, p) - FLOOR), 0);
  for (let n = 0; n < Math.min(wake, WAKES); n++) sum += one(n, AWAKE);
  if (wake >= 0 && wake < WAKES) sum += one(wake, t - start(wake));
  return sum;
}
const charge = (t: number) => above(t) + FLOOR * t;

function at(t: number): number {
  const wake = Math.floor((t - EVERY / 2) / EVERY);
  const phase = wake < 0 ? undefined : PHASES.find((p) => t - start(wake) >= p.from && t - start(wake) < p.to);
  return phase ? level(wake, phase) : FLOOR;
}

const figure = (value: number, unit: string, count = 500): TraceFigure => ({ value, standard_uncertainty: value * 1e-3, standard_deviation: value * 0.02, count, text: `${Number((value * (unit === "s" ? 1 : 1e3)).toPrecision(4))}(10) ${unit === "s" ? "s" : `m${unit}`} (k = 2)` });

function wake(n: number): TraceWake {
  return { number: n + 1, start_s: start(n), duration_s: AWAKE, charge_c: above(start(n) + 1) - above(start(n)), peak_a: level(n, PHASES[2] as (typeof PHASES)[number]) * 1.1, activity: 0, cut: false, outlier: strong(n) };
}

function phasesIn(from: number, to: number): TracePhase[] {
  const found: TracePhase[] = [];
  const one = (name: string | null, a: number, b: number, mean: number) => {
    if (b > from && a < to) found.push({ name, start_s: a, end_s: b, mean_a: mean, min_a: mean * 0.9, max_a: mean * 1.1, charge_c: mean * (b - a), bursts: false });
  };
  for (let n = Math.max(0, Math.floor(from / EVERY) - 1); n < Math.min(WAKES, to / EVERY + 1); n++) {
    one("sleep", n === 0 ? 0 : start(n - 1) + AWAKE, start(n), FLOOR);
    for (const p of PHASES) one(p.name, start(n) + p.from, start(n) + p.to, level(n, p));
  }
  return found.sort((a, b) => b.end_s - b.start_s - a.end_s + a.start_s).slice(0, 400);
}

export function windowOf(recording: string, from_s: number | null, to_s: number | null, wanted: number | null): TraceWindow {
  const [from, to] = [Math.max(0, from_s ?? 0), Math.min(LENGTH, to_s ?? LENGTH)];
  const samples = Math.max(1, Math.round((to - from) * RATE));
  const per = Math.max(1, Math.ceil(samples / (wanted ?? 1000)));
  const columns: TraceWindow["columns"] = { start_s: [], min_a: [], mean_a: [], max_a: [] };
  for (let i = Math.floor(from * RATE / per); i * per < to * RATE; i++) {
    const [a, b] = [(i * per) / RATE, ((i + 1) * per) / RATE];
    columns.start_s.push(a);
    if (per === 1) {
      const x = at(a) * (1 + 0.1 * Math.sin(i * 12.9898));
      columns.min_a.push(x);
      columns.mean_a.push(x);
      columns.max_a.push(x);
      continue;
    }
    const seen = [at(a), at(b - 1e-9)];
    for (let n = Math.max(0, Math.floor((a - EVERY) / EVERY)); n < Math.min(WAKES, b / EVERY + 1); n++) {
      for (const p of PHASES) if (start(n) + p.to > a && start(n) + p.from < b) seen.push(level(n, p));
      if (start(n) + AWAKE > a && start(n) + AWAKE < b) seen.push(FLOOR);
    }
    columns.min_a.push(Math.min(...seen) * 0.9);
    columns.max_a.push(Math.max(...seen) * 1.1);
    columns.mean_a.push((charge(b) - charge(a)) / (b - a));
  }
  const wakes = Array.from({ length: WAKES }, (_, n) => wake(n)).filter((w) => w.start_s < to && w.start_s + w.duration_s > from).slice(0, 400);
  return { recording, from_s: from, to_s: to, first_s: 0, last_s: LENGTH, samples_per_column: per, resolution_s: per / RATE, columns, phases: phasesIn(from, to), wakes, floor_a: FLOOR, threshold_a: 1e-3 };
}

export function betweenOf(recording: string, from_s: number, to_s: number): TraceBetween {
  const q = charge(to_s) - charge(from_s);
  return { recording, from_s, to_s, duration_s: to_s - from_s, charge_c: q, above_floor_c: q - FLOOR * (to_s - from_s), mean_a: q / (to_s - from_s), min_a: FLOOR * 0.9, max_a: 0.121, samples_per_column: 1, text: "" };
}

const activity: TraceActivity = {
  name: "wake A", wakes: WAKES, interval_s: figure(EVERY, "s"), jitter_s: 0.01, duration_s: figure(AWAKE, "s"), charge_c: figure(wake(0).charge_c, "C"), charge_min_c: wake(0).charge_c, charge_max_c: wake(17).charge_c, peak_a: 0.218,
  phases: PHASES.map((p) => ({ name: p.name, duration_s: figure(p.to - p.from, "s"), current_a: figure(p.level, "A"), charge_c: p.level * (p.to - p.from), share: (p.level * (p.to - p.from)) / (wake(0).charge_c + FLOOR * AWAKE), peak_a: p.level * 1.1, peak_s: 0.01, seen_in: 1, bursts: false })),
};

export function lineOf(name: string, more: Partial<RecordingLine> = {}): RecordingLine {
  return {
    name, path: `recordings/${name}.toml`, shows: "current", specimen: "BOWLINE-1", board: "BOWLINE", date: "2026-06-06", who: "a volunteer", instrument: "current logger, 0.5 A", supply_v: 3.8, temperature_c: 22, firmware: "report 1.4", note: null, trace: `traces/${name}.csv`, kept: `traces/${name}.parquet`, problem: null,
    summary: {
      samples: RATE * LENGTH, first_s: 0, last_s: LENGTH, rate_hz: RATE, mean: charge(LENGTH) / LENGTH, floor_a: figure(FLOOR, "A"), wakes: WAKES, activities: [activity],
      defects: [{ kind: "gap", count: 2, seconds: 0.4, message: "samples are missing: charge in them is not counted", places: [{ time_s: 1234.5, row: 123_450_001, byte: null, value: null }, { time_s: 4321, row: 432_100_001, byte: null, value: null }] }],
    },
    ...more,
  };
}

export function overlayOf(recording: string, most = 12): TraceOverlay {
  const time_s = Array.from({ length: 240 }, (_, k) => -0.03 + k * 0.003);
  const numbers = Array.from({ length: most }, (_, k) => k * 2 + 1);
  const of = (n: number) => time_s.map((t) => at(start(n) + t) * (1 + 0.05 * Math.sin(n * 78.233 + t * 90)));
  return { recording, activity: "wake A", time_s, wakes: numbers.map((n) => ({ number: n + 1, start_s: start(n), charge_c: wake(n).charge_c, outlier: strong(n), mean_a: of(n) })), median_a: of(0) };
}

export function railOf(name: string): RailCapture {
  const start_s = Array.from({ length: 600 }, (_, k) => k * 1e-5);
  const volts = start_s.map((t) => (t < 2e-3 ? 3.3 : 3.3 - 0.55 * Math.exp(-(((t - 2.6e-3) / 4e-4) ** 2))));
  return {
    schema_version: 1, name, read_as: "I read this as text, comma between, time in s, voltage in V.", samples: 60_000, threshold_v: 2.7, tolerance_v: 0.06, threshold_source: "a maker's data sheet", before_v: 3.3, after_v: 3.3, lowest_v: 2.75, lowest_sample_v: 2.74, filter_s: 2e-5, filter_derived: true, noise_left_v: 2e-3, lowest_at_s: 2.6e-3, dip_v: 0.55, highest_v: 3.31, start_s: 2e-3, dip_duration_s: 8e-4, under_threshold_s: 0, times_under: 0, margin_v: 0.05, noise_v: 0.004,
    answer: "marginal", verdict: "The rail stays above 2.70 V by 0.05 V, less than threshold and probe are known to.", cautions: ["one capture: repeat it ten times"], columns: { start_s, min_v: volts.map((v) => v - 0.01), max_v: volts.map((v) => v + 0.01) }, written: null,
  };
}

const changed = (a: number, b: number, unit: string) => ({ before: figure(a, unit), after: figure(b, unit), difference: b - a, standard_uncertainty: Math.hypot(a, b) * 1e-3, p_value: a === b ? 0.8 : 1e-9, significant: a !== b });

function compareOf(before: string, after: string, project: string | null): TraceComparison {
  return {
    schema_version: 1, before, after, sleep_a: changed(FLOOR, FLOOR, "A"), wakes: [{ before: "wake A", after: "wake A", charge_c: changed(34e-3, 29e-3, "C"), interval_s: null }],
    phases: [{ activity: "wake A", phase: "radio", duration_s: changed(0.27, 0.22, "s"), current_a: changed(0.11, 0.11, "A"), new: false, gone: false, charge_difference_c: -5.5e-3 }, { activity: "wake A", phase: "settle", duration_s: null, current_a: null, new: true, gone: false, charge_difference_c: 2e-4 }],
    mean_before_a: 3.4e-3, mean_after_a: 2.9e-3, days: { project: project ?? "footbridges", cell: "2500 mAh pouch", capacity_c: 9000, every_s: 900, before_days: 610, after_days: 655, gained_days: 45, chance_after_outlasts: 0.98, standard_uncertainty_days: 2, basis: "charge over mean current; no self-discharge" }, verdict: ["The radio became 50 ms shorter: 5.5 mC less a wake, worth 45 days."], cautions: ["both on one specimen"],
  };
}

/** Two recordings and a rail capture. */
export const LINES = [lineOf("build 1.4"), lineOf("build 1.5"), lineOf("USB removed", { shows: "rail", specimen: "SLIPKNOT-1", board: "SLIPKNOT" })];

/** What the tool would reply. */
export function reply(request: TraceRequest, lines = LINES): TraceReply {
  if ("recordings" in request) return { recordings: lines };
  if ("window" in request) return { window: windowOf(request.window.recording, request.window.from_s, request.window.to_s, request.window.columns) };
  if ("between" in request) return { between: betweenOf(request.between.recording, request.between.from_s, request.between.to_s) };
  if ("wakes" in request) return { wakes: overlayOf(request.wakes.recording, 24) };
  if ("rail" in request) return { rail: railOf(request.rail.recording) };
  if ("compare" in request) return { compare: compareOf(request.compare.before, request.compare.after, request.compare.project) };
  return { error: [{ code: "no-report", severity: "error", message: "no report here", file: null, span: null, help: null } as never] };
}

/** What a published page would carry. */
export function published(lines = LINES): PublishedTrace[] {
  return lines.map((recording) => (recording.shows === "rail" ? { recording, overview: null, overlay: null, rail: railOf(recording.name) } : { recording, overview: windowOf(recording.name, null, null, 2000), overlay: overlayOf(recording.name), rail: null }));
}
