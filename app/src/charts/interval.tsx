// Intervals on a shared logarithmic axis, drawn with positioned boxes so that they stretch, print and stay crisp.
import { life } from "../format";

export interface Axis {
  low: number;
  high: number;
}

/** Where a value lies on a logarithmic axis, in percent; outside it is held at the edge and told by `beyond`. */
export function at(axis: Axis, value: number): number {
  if (value <= axis.low) return 0;
  if (value >= axis.high) return 100;
  return (100 * Math.log(value / axis.low)) / Math.log(axis.high / axis.low);
}

/** An axis that holds all positive values with a margin, at least a factor 10 wide. */
export function axisOf(values: number[], factor = 10): Axis | undefined {
  const positive = values.filter((v) => v > 0 && Number.isFinite(v));
  if (positive.length === 0) return undefined;
  let low = Math.min(...positive) / 1.12;
  let high = Math.max(...positive) * 1.12;
  if (high / low < factor) {
    const middle = Math.sqrt(low * high);
    low = middle / Math.sqrt(factor);
    high = middle * Math.sqrt(factor);
  }
  return { low, high };
}

const H = 3600;
const D = 86400;
const TICKS: [number, string][] = [
  [60, "1 min"], [600, "10 min"], [H, "1 h"], [6 * H, "6 h"], [D, "1 d"], [7 * D, "1 wk"], [30.4375 * D, "1 mo"],
  [3 * 30.4375 * D, "3 mo"], [6 * 30.4375 * D, "6 mo"], [365.25 * D, "1 yr"], [2 * 365.25 * D, "2 yr"], [5 * 365.25 * D, "5 yr"], [10 * 365.25 * D, "10 yr"], [20 * 365.25 * D, "20 yr"],
];

/** Ticks of a time axis that keep their distance. */
export function timeTicks(axis: Axis): [number, string][] {
  const shown: [number, string][] = [];
  let last = -100;
  const inside = TICKS.filter(([value]) => value > axis.low && value < axis.high);
  // From the right: the long lives are the interesting ones.
  for (const tick of inside.reverse()) {
    const place = at(axis, tick[0]);
    if (Math.abs(last - place) >= 17 && place > 3 && place < 97) {
      shown.push(tick);
      last = place;
    }
  }
  return shown.reverse();
}

export interface IntervalProps {
  axis: Axis;
  low: number;
  middle: number;
  high: number;
  target?: number | null;
  tone?: string;
  /** What a screen reader says. */
  label: string;
}

export function Interval({ axis, low, middle, high, target, tone = "", label }: IntervalProps) {
  const [a, b] = [at(axis, low), at(axis, high)];
  // Far below everything that matters: an arrow at the edge instead of a stretched axis.
  if (high <= axis.low) {
    return <span class={`interval ${tone}`} role="img" aria-label={`${label}; left of the axis`}>{target ? <i class="target" style={{ left: `${at(axis, target)}%` }} /> : null}<i class="beyond">◂</i></span>;
  }
  return (
    <span class={`interval ${tone}`} role="img" aria-label={label}>
      {target ? <i class="target" style={{ left: `${at(axis, target)}%` }} /> : null}
      <i class="bar" style={{ left: `${a}%`, width: `${Math.max(b - a, 0.4)}%` }} />
      <i class="middle" style={{ left: `${at(axis, middle)}%` }} />
    </span>
  );
}

export function TimeScale({ axis, target }: { axis: Axis; target?: number | null }) {
  return (
    <span class="scale" aria-hidden="true">
      {timeTicks(axis).map(([value, name]) => (
        <i key={name} style={{ left: `${at(axis, value)}%` }}>{name}</i>
      ))}
      {target ? <b style={{ left: `${at(axis, target)}%` }} title={`target ${life(target)}`} /> : null}
    </span>
  );
}
