// Sleep current over the supply voltage on a logarithmic current axis.
import { Behind } from "../views/parts";

export interface SweepPoint {
  volts: number;
  current: number;
  specimen: string;
  text: string;
  session: string;
}

const NARROW = matchMedia("(max-width: 40rem)");
const HEIGHT = 210;
const BOX = { left: 64, right: 16, top: 12, bottom: 34 };
const SHAPES = ["circle", "square", "triangle"] as const;

function Mark({ shape, x, y }: { shape: (typeof SHAPES)[number]; x: number; y: number }) {
  if (shape === "circle") return <circle cx={x} cy={y} r="4.5" class="point" />;
  if (shape === "square") return <rect x={x - 4} y={y - 4} width="8" height="8" class="point" />;
  return <path d={`M${x} ${y - 5}l5 9h-10z`} class="point" />;
}

function microampere(current: number): string {
  const value = current * 1e6;
  return value >= 1000 ? `${Number((value / 1000).toPrecision(3))} mA` : `${Number(value.toPrecision(3))} µA`;
}

export function Sweep({ points }: { points: SweepPoint[] }) {
  const WIDTH = NARROW.matches ? 380 : 520;
  const specimens = [...new Set(points.map((p) => p.specimen))];
  const [v0, v1] = [Math.min(...points.map((p) => p.volts)) - 0.08, Math.max(...points.map((p) => p.volts)) + 0.08];
  const [c0, c1] = [Math.min(...points.map((p) => p.current)) / 1.35, Math.max(...points.map((p) => p.current)) * 1.35];
  const x = (v: number) => BOX.left + ((WIDTH - BOX.left - BOX.right) * (v - v0)) / (v1 - v0);
  const y = (c: number) => HEIGHT - BOX.bottom - ((HEIGHT - BOX.top - BOX.bottom) * Math.log(c / c0)) / Math.log(c1 / c0);
  const decades: number[] = [];
  for (let e = -9; e <= 0; e++) for (const m of c1 / c0 > 30 ? [1] : [1, 2, 5]) if (m * 10 ** e > c0 && m * 10 ** e < c1) decades.push(m * 10 ** e);
  const volts = [...new Set(points.map((p) => p.volts))].sort((a, b) => a - b).filter((v, i, all) => i === 0 || v - (all[i - 1] ?? 0) > 0.06);
  return (
    <figure>
      <svg class="chart narrow" viewBox={`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label={`Sleep current between ${v0.toFixed(2)} and ${v1.toFixed(2)} V, ${microampere(Math.min(...points.map((p) => p.current)))} to ${microampere(Math.max(...points.map((p) => p.current)))}`}>
        {decades.map((c) => <g key={c}><line class="grid" x1={BOX.left} x2={WIDTH - BOX.right} y1={y(c)} y2={y(c)} /><text class="tick" x={BOX.left - 6} y={y(c) + 4} text-anchor="end">{microampere(c)}</text></g>)}
        {volts.map((v) => <g key={v}><line class="grid" x1={x(v)} x2={x(v)} y1={BOX.top} y2={HEIGHT - BOX.bottom} /><text class="tick" x={x(v)} y={HEIGHT - BOX.bottom + 16} text-anchor="middle">{v.toFixed(2)}</text></g>)}
        <text class="tick" x={WIDTH - BOX.right} y={HEIGHT - 2} text-anchor="end">V at the battery contacts</text>
        {specimens.map((s, i) => {
          const own = points.filter((p) => p.specimen === s).sort((a, b) => a.volts - b.volts);
          return (
            <g key={s} class={`series s${i % 3}`}>
              <path class="median" d={own.map((p, j) => `${j === 0 ? "M" : "L"}${x(p.volts).toFixed(1)} ${y(p.current).toFixed(1)}`).join("")} />
              {own.map((p, j) => <Mark key={j} shape={SHAPES[i % 3] ?? "circle"} x={x(p.volts)} y={y(p.current)} />)}
            </g>
          );
        })}
      </svg>
      {specimens.length > 1 ? <p class="legend">{specimens.map((s, i) => <span key={s} class={`series s${i % 3}`}><svg viewBox="0 0 12 12" aria-hidden="true"><Mark shape={SHAPES[i % 3] ?? "circle"} x={6} y={6} /></svg> <bdi>{s}</bdi></span>)}</p> : null}
      <Behind caption="Sleep current over the supply" head={["specimen", "supply", "read", "session"]} rows={points.map((p) => [p.specimen, `${p.volts} V`, p.text, p.session])} />
    </figure>
  );
}
