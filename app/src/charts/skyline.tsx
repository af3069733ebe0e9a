// The skyline as seen from the spot, with the sun's paths behind it: points are dragged, moved with the arrows, or typed.
import { useRef, useState } from "preact/hooks";
import type { Point } from "../state";
import { Sheet } from "../views/sheet";
import { Levels, NARROW, path } from "./axes";

const [LEFT, RIGHT, TOP, HEIGHT] = [36, 10, 10, 210];
const HIGHEST = 75;
const RAD = Math.PI / 180;

/** Where the sun stands, for the drawing only: declination of the day, no refraction, good to a degree. */
function sunPath(latitude: number, declination: number): Point[] {
  const found: Point[] = [];
  const [sl, cl, sd, cd] = [Math.sin(latitude * RAD), Math.cos(latitude * RAD), Math.sin(declination * RAD), Math.cos(declination * RAD)];
  for (let hour = -180; hour <= 180; hour += 3) {
    const h = hour * RAD;
    const elevation = Math.asin(sl * sd + cl * cd * Math.cos(h)) / RAD;
    if (elevation < -2) continue;
    found.push([(Math.atan2(cd * Math.sin(h), cd * Math.cos(h) * sl - sd * cl) / RAD + 180 + 360) % 360, elevation]);
  }
  return found;
}

const hold = (v: number, low: number, high: number) => Math.min(Math.max(v, low), high);
const sorted = (points: Point[]) => [...points].sort((a, b) => a[0] - b[0]);

export function Skyline({ points, latitude, facing, onChange }: { points: Point[]; latitude: number; facing: number; onChange: (points: Point[]) => void }) {
  const WIDTH = NARROW.matches ? 380 : 760;
  const [live, setLive] = useState<Point[] | undefined>();
  const dragged = useRef<{ index: number } | undefined>(undefined);
  const svg = useRef<SVGSVGElement>(null);
  const shown = live ?? points;
  // The half of the sky that the sun crosses stands in the middle.
  const shift = latitude < 0 ? 180 : 0;
  const place = (bearing: number) => (bearing + shift) % 360;
  const x = (bearing: number) => LEFT + ((WIDTH - LEFT - RIGHT) * place(bearing)) / 360;
  const y = (elevation: number) => TOP + HEIGHT * (1 - hold(elevation, 0, HIGHEST) / HIGHEST);
  const ring = shown.map(([b, e]) => [place(b), e] as Point).sort((a, b) => a[0] - b[0]);
  const [first, last] = [ring[0], ring[ring.length - 1]];
  // Between the last and the first point the line goes on across the edge.
  let edge = first?.[1] ?? 0;
  if (first && last && ring.length > 1) edge = last[1] + ((first[1] - last[1]) * (360 - last[0])) / Math.max(first[0] + 360 - last[0], 1e-9);
  const outline: Point[] = first ? [[0, edge], ...ring, [360, edge]] : [];
  const px = (p: number) => LEFT + ((WIDTH - LEFT - RIGHT) * p) / 360;
  const at = (e: PointerEvent): Point => {
    const box = svg.current?.getBoundingClientRect();
    if (!box) return [0, 0];
    const sx = ((e.clientX - box.left) / box.width) * WIDTH;
    const sy = ((e.clientY - box.top) / box.height) * (TOP + HEIGHT + 24);
    const across = hold(((sx - LEFT) / (WIDTH - LEFT - RIGHT)) * 360, 0, 359);
    return [Math.round((across + shift) % 360), Math.round(hold((1 - (sy - TOP) / HEIGHT) * HIGHEST, 0, HIGHEST))];
  };
  const moved = (index: number, to: Point): Point[] => shown.map((p, i) => (i === index ? to : p));
  const key = (e: KeyboardEvent, index: number) => {
    const [b, el] = shown[index] as Point;
    const far = e.shiftKey ? 5 : 1;
    const to: Record<string, Point> = { ArrowUp: [b, Math.min(el + far, 90)], ArrowDown: [b, Math.max(el - far, 0)], ArrowLeft: [(b - far + 360) % 360, el], ArrowRight: [(b + far) % 360, el] };
    const next = to[e.key];
    if (next) onChange(moved(index, next));
    else if (e.key === "Delete") onChange(shown.filter((_, i) => i !== index));
    else return;
    e.preventDefault();
  };
  const paths: [string, number][] = latitude < 0 ? [["Jun", 23.44], ["Mar, Sep", 0], ["Dec", -23.44]] : [["Dec", -23.44], ["Mar, Sep", 0], ["Jun", 23.44]];
  const compass: [number, string][] = [[0, "N"], [45, "NE"], [90, "E"], [135, "SE"], [180, "S"], [225, "SW"], [270, "W"], [315, "NW"]];
  return (
    <div class="skyline">
      <svg
        ref={svg}
        class="chart"
        viewBox={`0 0 ${WIDTH} ${TOP + HEIGHT + 24}`}
        role="group"
        aria-label={`Skyline of ${shown.length} points over the bearing, with the sun's paths. Arrow keys move a point, Delete takes it away.`}
        onPointerDown={(e) => {
          const found = (e.target as Element).closest("[data-point]");
          if (!found) return;
          dragged.current = { index: Number(found.getAttribute("data-point")) };
          e.currentTarget.setPointerCapture(e.pointerId);
          (found as SVGElement).focus();
          e.preventDefault();
        }}
        onPointerMove={(e) => { if (dragged.current) setLive(moved(dragged.current.index, at(e))); }}
        onPointerUp={() => {
          dragged.current = undefined;
          if (live) onChange(live);
          setLive(undefined);
        }}
        onDblClick={(e) => onChange([...shown, at(e as unknown as PointerEvent)])}
      >
        <Levels of={[0, 15, 30, 45, 60, 75].map((e) => [y(e), `${e}°`])} left={LEFT} right={WIDTH - RIGHT} />
        {compass.map(([b, name]) => <text key={name} class="tick" x={Math.max(x(b), LEFT + 4)} y={TOP + HEIGHT + 16} text-anchor="middle">{name}</text>)}
        {paths.map(([name, declination], i) => {
          const line = sunPath(latitude, declination).map(([b, e]) => [place(b), e] as Point).sort((a, b) => a[0] - b[0]);
          const top = line.reduce((a, b) => (b[1] > a[1] ? b : a), line[0] ?? [0, 0]);
          if (line.length < 2) return null;
          return <g key={name}><path class={`sun-path p${i}`} d={path(line.map(([p, e]) => [px(p), y(e)]))} />{top[1] > 3 && top[1] < HIGHEST ? <text class="tick" x={px(top[0])} y={y(top[1]) - 5} text-anchor="middle">{name}</text> : null}</g>;
        })}
        {outline.length ? <path class="ground" d={`${path([[0, 0] as Point, ...outline, [360, 0] as Point].map(([p, e]) => [px(p), y(e)]))}Z`} /> : null}
        <path class="facing" d={`M${x(facing)} ${TOP + HEIGHT}v-9m-5 0l5 -7l5 7z`}><title>panel faces {facing.toFixed(0)}°</title></path>
        <text class="tick" x={x(facing) + 9} y={TOP + HEIGHT - 5}>panel</text>
        {shown.map(([b, e], i) => (
          <g key={i} class="knob" data-point={i} tabindex={0} role="slider" aria-label={`Skyline at bearing ${b.toFixed(0)}°`} aria-valuemin={0} aria-valuemax={90} aria-valuenow={e} aria-valuetext={`bearing ${b.toFixed(0)}°, elevation ${e.toFixed(0)}°`} onKeyDown={(event) => key(event, i)}>
            <circle cx={x(b)} cy={y(e)} r="15" class="grip" />
            <circle cx={x(b)} cy={y(e)} r="5" class="point" />
          </g>
        ))}
      </svg>
      <details class="behind">
        <summary>Points as a table</summary>
        <Typed points={points} onChange={onChange} />
      </details>
    </div>
  );
}

/** Bearings and elevations typed in; what is no angle is left as it was. */
function Typed({ points, onChange }: { points: Point[]; onChange: (points: Point[]) => void }) {
  const field = (index: number, part: 0 | 1, high: number) => (
    <input
      type="number"
      min="0"
      max={high}
      step="1"
      aria-label={`${part === 0 ? "bearing" : "elevation"} of point ${index + 1}, degrees`}
      value={points[index]?.[part] ?? 0}
      onChange={(e) => {
        const value = Number(e.currentTarget.value);
        if (e.currentTarget.value === "" || !(value >= 0 && value <= high)) return;
        onChange(points.map((p, i) => (i === index ? (part === 0 ? [value % 360, p[1]] : [p[0], value]) : p) as Point));
      }}
    />
  );
  return (
    <>
      <Sheet as="typed" label="Points of the skyline" caption="Bearing clockwise from north, and how high the skyline stands there, in degrees" head={["point", "bearing", "elevation", "take away"]} rows={points.map((_, i) => ({ cells: [i + 1, field(i, 0, 360), field(i, 1, 90), <button type="button" class="quiet-button" aria-label={`Take point ${i + 1} away`} onClick={() => onChange(points.filter((__, j) => j !== i))}>−</button>] }))} />
      <button type="button" class="quiet-button" onClick={() => onChange(sorted([...points, [largestGap(points), 10]]))}>Add a point</button>
    </>
  );
}

/** The middle of the widest stretch without a point. */
function largestGap(points: Point[]): number {
  const bearings = sorted(points).map((p) => p[0]);
  let [best, middle] = [0, 180];
  bearings.forEach((b, i) => {
    const next = bearings[i + 1] ?? (bearings[0] as number) + 360;
    if (next - b > best) [best, middle] = [next - b, ((b + next) / 2) % 360];
  });
  return Math.round(middle);
}

