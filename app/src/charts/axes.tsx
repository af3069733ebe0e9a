// Grid lines with their names, as every chart of these views draws them.
export const NARROW = matchMedia("(max-width: 40rem)");

export type Tick = [place: number, name: string];

/** Horizontal lines named on the left. */
export function Levels({ of, left, right }: { of: Tick[]; left: number; right: number }) {
  return <>{of.map(([y, name]) => <g key={y}><line class="grid" x1={left} x2={right} y1={y} y2={y} /><text class="tick" x={left - 6} y={y + 4} text-anchor="end">{name}</text></g>)}</>;
}

/** Vertical lines named below; a name may be left out. */
export function Uprights({ of, top, bottom }: { of: Tick[]; top: number; bottom: number }) {
  return <>{of.map(([x, name]) => <g key={x}><line class="grid" x1={x} x2={x} y1={top} y2={bottom} /><text class="tick" x={x} y={bottom + 16} text-anchor="middle">{name}</text></g>)}</>;
}

/** Round numbers from low to high, about as many as wanted. */
export function round(low: number, high: number, most: number): number[] {
  const raw = (high - low) / most;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = ([1, 2, 5, 10].find((m) => m * power >= raw) ?? 10) * power;
  const found: number[] = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step && found.length < 99; k++) found.push(k * step);
  return found;
}

/** A line through points; `undefined` lifts the pen. */
export function path(points: ([number, number] | undefined)[]): string {
  let pen = false;
  return points.map((p) => {
    const text = p ? `${pen ? "L" : "M"}${p[0].toFixed(1)} ${p[1].toFixed(1)}` : "";
    pen = p !== undefined;
    return text;
  }).join("");
}

/** The keys of a chart: a sample of each mark beside what it means. */
export function Legend({ of }: { of: ([mark: string, text: string] | false)[] }) {
  return <p class="legend">{of.map((one) => (one ? <span key={one[0]}>{one[0] ? <i class={`swatch ${one[0]}`} aria-hidden="true" /> : null} {one[1]}</span> : null))}</p>;
}
