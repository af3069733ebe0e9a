// Wakes of one activity laid over each other, and a capture of the supply rail with its threshold.
import { engineering, stretch } from "../format";
import type { RailCapture, TraceOverlay } from "../types";
import { Behind } from "../views/parts";
import { Legend, Levels, NARROW, path, round, Uprights } from "./axes";

const BOX = { left: 62, right: 14, top: 12, bottom: 28 };

export function Wakes({ of }: { of: TraceOverlay }) {
  const WIDTH = NARROW.matches ? 380 : 760;
  const HEIGHT = NARROW.matches ? 230 : 260;
  const times = of.time_s;
  const values = of.wakes.flatMap((w) => w.mean_a).filter((a): a is number => a !== null && a > 0);
  if (values.length === 0 || times.length < 2) return <p class="quiet">Nothing above zero was recorded in these wakes.</p>;
  const high = values.reduce((a, b) => Math.max(a, b)) * 1.3;
  const low = Math.max(values.reduce((a, b) => Math.min(a, b)) / 1.3, high / 1e6);
  const [t0, t1] = [times[0] as number, times[times.length - 1] as number];
  const x = (t: number) => BOX.left + ((WIDTH - BOX.left - BOX.right) * (t - t0)) / (t1 - t0);
  const y = (a: number) => HEIGHT - BOX.bottom - ((HEIGHT - BOX.top - BOX.bottom) * Math.log(Math.max(a, low) / low)) / Math.log(high / low);
  const curve = (mean: (number | null)[]) => path(mean.map((a, i) => (a === null ? undefined : [x(times[i] as number), y(a)])));
  const decades: number[] = [];
  for (let e = Math.ceil(Math.log10(low)); e <= Math.log10(high); e++) decades.push(10 ** e);
  const charges = of.wakes.map((w) => w.charge_c);
  const odd = of.wakes.filter((w) => w.outlier);
  return (
    <figure>
      <svg class="chart overlay" viewBox={`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label={`${of.wakes.length} wakes of ${of.activity} over each other, ${stretch(t1)} long, charge ${engineering(Math.min(...charges), "C")} to ${engineering(Math.max(...charges), "C")}${odd.length ? `, ${odd.length} unlike the others` : ""}.`}>
        <Levels of={decades.map((a) => [y(a), engineering(a, "A", 1)])} left={BOX.left} right={WIDTH - BOX.right} />
        <Uprights of={round(t0, t1, NARROW.matches ? 4 : 8).map((t) => [x(t), engineering(t, "s")])} top={BOX.top} bottom={HEIGHT - BOX.bottom} />
        {of.wakes.filter((w) => !w.outlier).map((w) => <path key={w.number} class="wake" d={curve(w.mean_a)} />)}
        {odd.map((w) => <path key={w.number} class="wake odd" d={curve(w.mean_a)} />)}
        <path class="median" d={curve(of.median_a)} />
      </svg>
      <Legend of={[["median", `middle one of ${of.wakes.length}`], ["wake", "each wake"], odd.length > 0 && ["odd", `unlike the others: ${odd.map((w) => w.number).join(", ")}`]]} />
      <Behind caption={`Wakes of ${of.activity}`} head={["wake", "starts at", "charge above the floor", ""]} rows={of.wakes.map((w) => [w.number, stretch(w.start_s), engineering(w.charge_c, "C", 4), w.outlier ? "▲ unlike the others" : ""])} />
    </figure>
  );
}

const RAIL_WORDS = { rides_through: ["rides through", "fits"], marginal: ["too close to tell", "undecided"], resets: ["resets", "out"], no_event: ["no event found", "undecided"] } as const;

export function railWord(answer: RailCapture["answer"]): readonly [string, string] {
  return RAIL_WORDS[answer];
}

export function Rail({ of }: { of: RailCapture }) {
  const WIDTH = NARROW.matches ? 380 : 760;
  const HEIGHT = NARROW.matches ? 230 : 280;
  const { start_s, min_v, max_v } = of.columns;
  if (start_s.length < 2) return null;
  const [t0, t1] = [start_s[0] as number, start_s[start_s.length - 1] as number];
  const least = Math.min(of.lowest_v, of.threshold_v - of.tolerance_v);
  const most = Math.max(of.highest_v, of.threshold_v + of.tolerance_v);
  const room = 0.08 * Math.max(most - least, 0.05);
  const [low, high] = [least - room, most + room];
  const x = (t: number) => BOX.left + ((WIDTH - BOX.left - BOX.right) * (t - t0)) / (t1 - t0);
  const y = (v: number) => HEIGHT - BOX.bottom - ((HEIGHT - BOX.top - BOX.bottom) * (v - low)) / (high - low);
  const outline = start_s.map((t, i) => [x(t), y(max_v[i] as number)] as [number, number]).concat(start_s.map((t, i) => [x(t), y(min_v[i] as number)] as [number, number]).reverse());
  const lowRight = x(of.lowest_at_s) > WIDTH * 0.6;
  return (
    <figure>
      <svg class="chart rail-chart" viewBox={`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label={`Supply rail: ${of.before_v.toFixed(2)} V before, lowest ${of.lowest_v.toFixed(3)} V, threshold ${of.threshold_v.toFixed(2)} ± ${of.tolerance_v.toFixed(2)} V. ${of.verdict}`}>
        <Levels of={round(low, high, 5).map((v) => [y(v), `${v.toFixed(high - low < 1 ? 2 : 1)} V`])} left={BOX.left} right={WIDTH - BOX.right} />
        <Uprights of={round(t0, t1, NARROW.matches ? 4 : 8).map((t) => [x(t), engineering(t, "s")])} top={BOX.top} bottom={HEIGHT - BOX.bottom} />
        <rect class="tolerance" x={BOX.left} width={WIDTH - BOX.left - BOX.right} y={y(of.threshold_v + of.tolerance_v)} height={Math.max(y(of.threshold_v - of.tolerance_v) - y(of.threshold_v + of.tolerance_v), 1)} />
        <line class="target" x1={BOX.left} x2={WIDTH - BOX.right} y1={y(of.threshold_v)} y2={y(of.threshold_v)} />
        <path class="rail-band" d={`${path(outline)}Z`} />
        {of.start_s === null ? null : <g><line class="end" x1={x(of.start_s)} x2={x(of.start_s)} y1={BOX.top} y2={HEIGHT - BOX.bottom} /><text class="mark" x={x(of.start_s) + 5} y={BOX.top + 12}>event</text></g>}
        <circle class="point" cx={x(of.lowest_at_s)} cy={y(of.lowest_v)} r="4.5" />
        <text class="mark" x={x(of.lowest_at_s) + (lowRight ? -9 : 9)} y={y(of.lowest_v) + 4} text-anchor={lowRight ? "end" : "start"}>lowest {of.lowest_v.toFixed(3)} V</text>
        <text class="mark" x={WIDTH - BOX.right - 5} y={y(of.threshold_v) - 6} text-anchor="end">reset threshold {of.threshold_v.toFixed(2)} V ± {of.tolerance_v.toFixed(2)} V</text>
      </svg>
      <Behind
        caption="The capture in figures"
        head={["figure", "value"]}
        rows={[
          ["before", `${of.before_v.toFixed(3)} V`], ["after", `${of.after_v.toFixed(3)} V`], ["lowest", `${of.lowest_v.toFixed(3)} V at ${engineering(of.lowest_at_s, "s")}`], ["dip", `${of.dip_v.toFixed(3)} V for ${engineering(of.dip_duration_s, "s")}`],
          ["margin to the threshold", `${of.margin_v.toFixed(3).replace("-", "−")} V`], ["under the threshold", `${engineering(of.under_threshold_s, "s")}, ${of.times_under} times`], ["highest", `${of.highest_v.toFixed(3)} V`], ["noise before", `${engineering(of.noise_v, "V")}`], ["samples", of.samples],
        ]}
      />
    </figure>
  );
}
