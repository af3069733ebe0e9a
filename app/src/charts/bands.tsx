// State of charge with its band and the lowest rail at the peak, over calendar time.
import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { life, SECONDS } from "../format";
import type { ForecastReport } from "../types";
import { Behind } from "../views/parts";

/** Drawn for the width it is shown in, so that the lettering keeps its size on a phone. */
const NARROW = matchMedia("(max-width: 40rem)");
const LEFT = 46;
const RIGHT = 14;
const TOP = 14;
const CHARGE = 190;
const GAP = 30;
const RAIL = 92;

function path(points: [number, number][]): string {
  return points.map(([x, y], i) => `${i === 0 ? "M" : "L"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
}

/** Days on which a label stands: months where a start is told, round numbers otherwise. */
function ticks(until: number, start: Date | undefined, most: number): { at: number; name: string }[] {
  const found: { at: number; name: string }[] = [];
  const daysLong = until / SECONDS.DAY;
  if (start && daysLong > 45) {
    const step = [1, 2, 3, 6, 12, 24, 60].find((months) => daysLong / 30.4 / months <= most) ?? 120;
    const date = new Date(Date.UTC(start.getUTCFullYear(), start.getUTCMonth() + 1, 1));
    while ((date.getTime() - start.getTime()) / 1000 < until && found.length < 60) {
      const month = date.getUTCMonth();
      if ((12 * date.getUTCFullYear() + month) % step === 0) {
        const name = month === 0 ? String(date.getUTCFullYear()) : date.toLocaleString("en", { month: "short", timeZone: "UTC" });
        found.push({ at: (date.getTime() - start.getTime()) / 1000, name });
      }
      date.setUTCMonth(month + 1);
    }
    return found;
  }
  const unit = daysLong > 3 ? SECONDS.DAY : SECONDS.HOUR;
  const raw = until / unit / 6;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = ([1, 2, 5, 10].find((m) => m * power >= raw) ?? 10) * power;
  for (let v = step; v * unit < until; v += step) found.push({ at: v * unit, name: `${Number(v.toPrecision(6))} ${unit === SECONDS.DAY ? "d" : "h"}` });
  return found;
}

/** The target as a line to take hold of: by mouse, finger or arrow keys; let go, the question is asked anew. */
function TargetLine({ target, until, x, left, right, top, bottom, move }: { target: number; until: number; x: (t: number) => number; left: number; right: number; top: number; bottom: number; move: (days: number) => void }) {
  const held = useSignal<number | undefined>(undefined);
  // The new target stands until its answer is there.
  useEffect(() => { held.value = undefined; }, [target]);
  const days = held.value ?? target / SECONDS.DAY;
  const at = x(days * SECONDS.DAY);
  const most = until / SECONDS.DAY;
  const within = (d: number) => Math.max(1, Math.min(Math.round(d), Math.floor(most)));
  const pointed = (e: PointerEvent) => {
    const svg = (e.currentTarget as SVGElement).ownerSVGElement;
    const box = svg?.getBoundingClientRect();
    if (!svg || !box || box.width === 0) return days;
    const inside = ((e.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
    return within(((inside - left) / (right - left)) * most);
  };
  const key = (e: KeyboardEvent) => {
    const step = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -30, PageUp: 30 }[e.key];
    if (step === undefined) return;
    e.preventDefault();
    held.value = within(days + step * (e.shiftKey ? 7 : 1));
    move(held.value);
  };
  return (
    <g
      class={held.value === undefined ? "target-handle" : "target-handle held"}
      role="slider"
      // An attribute of SVG keeps its letters: only in small ones can the line be focused.
      tabindex={0}
      aria-label="target life"
      aria-valuemin={1}
      aria-valuemax={Math.floor(most)}
      aria-valuenow={Math.round(days)}
      aria-valuetext={life(days * SECONDS.DAY)}
      onKeyDown={key}
      onPointerDown={(e) => { e.currentTarget.setPointerCapture(e.pointerId); held.value = pointed(e); }}
      onPointerMove={(e) => { if (e.currentTarget.hasPointerCapture(e.pointerId)) held.value = pointed(e); }}
      onPointerUp={(e) => { if (held.value !== undefined && e.currentTarget.hasPointerCapture(e.pointerId)) move(held.value); }}
      onPointerCancel={() => { held.value = undefined; }}
    >
      <rect class="grip" x={at - 14} width="28" y={top} height={bottom - top} />
      <line class="target" x1={at} x2={at} y1={top} y2={bottom} />
      <path class="knob" d={`M${at - 6} ${top - 9}h12v7l-6 6l-6 -6z`} />
      <text class="mark" x={at < left + 120 ? at + 18 : at - 18} y={top + 12} text-anchor={at < left + 120 ? "start" : "end"}>target {life(days * SECONDS.DAY)}</text>
    </g>
  );
}

export function Bands({ report, start, move }: { report: ForecastReport; start: Date | undefined; move: (days: number) => void }) {
  const moments = report.moments;
  const narrow = NARROW.matches;
  const WIDTH = narrow ? 390 : 760;
  const target = report.target_s;
  const until = Math.max(moments[moments.length - 1]?.time_s ?? 1, target && target < 1.6 * report.life_s ? target * 1.02 : 0, 1);
  const x = (t: number) => LEFT + ((WIDTH - LEFT - RIGHT) * t) / until;
  const y = (share: number) => TOP + CHARGE * (1 - share);
  const rails = moments.filter((m) => m.lowest_rail_v !== null && m.time_s <= report.life_s).map((m) => [m.time_s, m.lowest_rail_v as number] as [number, number]);
  const railLow = Math.min(...rails.map(([, v]) => v));
  const railHigh = Math.max(...rails.map(([, v]) => v));
  const low = Math.floor((railLow - 0.06) * 5) / 5;
  const high = Math.ceil((railHigh + 0.06) * 5) / 5;
  const railTop = TOP + CHARGE + GAP;
  const yRail = (v: number) => railTop + (RAIL * (high - v)) / (high - low);
  const hasRail = rails.length > 1;
  const height = TOP + CHARGE + (hasRail ? GAP + RAIL : 0) + 26;
  const band = moments.map((m) => [x(m.time_s), y(m.state_of_charge[2])] as [number, number]).concat([...moments].reverse().map((m) => [x(m.time_s), y(m.state_of_charge[0])] as [number, number]));
  const marks = ticks(until, start, narrow ? 6 : 14);
  const summary = `State of charge falls from ${(100 * (moments[0]?.state_of_charge[1] ?? 1)).toFixed(0)} % and the life ends after ${life(report.life_s)} by ${report.ending}.${hasRail ? ` The lowest rail at the peak is ${railLow.toFixed(2)} V.` : ""}`;
  return (
    <figure>
      <svg class="chart" viewBox={`0 0 ${WIDTH} ${height}`} role={target ? "group" : "img"} aria-label={summary}>
        {[0, 0.25, 0.5, 0.75, 1].map((s) => (
          <g key={s}><line class="grid" x1={LEFT} x2={WIDTH - RIGHT} y1={y(s)} y2={y(s)} /><text class="tick" x={LEFT - 6} y={y(s) + 4} text-anchor="end">{100 * s} %</text></g>
        ))}
        {marks.map((m) => (
          <g key={m.name + String(m.at)}>
            <line class="grid" x1={x(m.at)} x2={x(m.at)} y1={TOP} y2={height - 24} />
            <text class="tick" x={x(m.at)} y={height - 8} text-anchor="middle">{m.name}</text>
          </g>
        ))}
        <path class="band" d={`${path(band)}Z`} />
        <path class="median" d={path(moments.map((m) => [x(m.time_s), y(m.state_of_charge[1])]))} />
        {target && target <= until ? <TargetLine target={target} until={until} x={x} left={LEFT} right={WIDTH - RIGHT} top={TOP} bottom={height - 24} move={move} /> : null}
        <g><line class="end" x1={x(report.life_s)} x2={x(report.life_s)} y1={TOP} y2={height - 24} /><text class="mark" x={x(report.life_s) - 5} y={TOP + 28} text-anchor="end">best value {life(report.life_s)}</text></g>
        <text class="name" x={LEFT + 8} y={y(0) - 8}>state of charge, 10 · 50 · 90 %</text>
        {hasRail ? (
          <g>
            {[low, (low + high) / 2, high].map((v) => (
              <g key={v}><line class="grid" x1={LEFT} x2={WIDTH - RIGHT} y1={yRail(v)} y2={yRail(v)} /><text class="tick" x={LEFT - 6} y={yRail(v) + 4} text-anchor="end">{v.toFixed(1)} V</text></g>
            ))}
            <path class="rail" d={path(rails.map(([t, v]) => [x(t), yRail(v)]))} />
            <text class="name" x={LEFT + 8} y={railTop + RAIL - 8}>lowest rail at the peak, best values</text>
          </g>
        ) : null}
      </svg>
      <Behind
        caption="State of charge and lowest rail over time"
        head={["after", "10 %", "median", "90 %", "lowest rail"]}
        rows={moments.filter((_, i) => i % 6 === 0).map((m) => [life(m.time_s), ...m.state_of_charge.map((s) => `${(100 * s).toFixed(1)} %`), m.lowest_rail_v === null ? "–" : `${m.lowest_rail_v.toFixed(3)} V`])}
      />
    </figure>
  );
}
