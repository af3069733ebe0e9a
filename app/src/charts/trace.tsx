// A trace drawn on a canvas: envelope from least to most with the mean in it, on a logarithmic axis, phases and wakes beside it.
import { effect } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { engineering } from "../format";
import { after, type Stretch } from "../traces";
import type { TracePhase, TraceWindow } from "../types";
import type { Viewer } from "./viewer";

const LEFT = 62;
const RIGHT = 10;
const TOP = 24;
const BOTTOM = 50;
/** Pixels over which a restless mean is taken. */
const MEAN_PX = 6;

/** Lowest and highest current of the axis: whole recording, so that a zoom never moves it. */
export function currentAxis(of: TraceWindow): { low: number; high: number } {
  const positive = of.columns.min_a.concat(of.columns.mean_a).filter((a) => a > 0);
  const high = of.columns.max_a.reduce((a, b) => Math.max(a, b), 0) || 1e-3;
  const least = positive.reduce((a, b) => Math.min(a, b), high / 10);
  // One noisy sample near zero must not take half of the drawing.
  const floor = of.floor_a && of.floor_a > 0 ? of.floor_a : undefined;
  const low = Math.max(least / 1.4, floor ? floor / 12 : high / 1e6);
  return { low: Math.min(low, high / 10, floor ? floor / 2.5 : low), high: high * 1.4 };
}

/** What the person's rules call a phase, else what can be said of it. */
export function phaseName(phase: TracePhase, threshold: number | null): string {
  return phase.name ?? (threshold !== null && phase.mean_a < threshold ? "asleep" : phase.bursts ? "bursts" : "");
}

interface Ink {
  paper: string;
  sunk: string;
  ink: string;
  soft: string;
  hair: string;
  line: string;
  accent: string;
  band: string;
  amber: string;
}
const PRINTED: Ink = { paper: "#fff", sunk: "#f0f0ec", ink: "#000", soft: "#444", hair: "#ccc", line: "#888", accent: "#0d5f70", band: "#bcd6da", amber: "#7d5200" };

function inks(of: Element): Ink {
  const style = getComputedStyle(of);
  const colour = (name: string) => style.getPropertyValue(`--${name}`).trim();
  return { paper: colour("paper"), sunk: colour("sunk"), ink: colour("ink"), soft: colour("soft"), hair: colour("hair"), line: colour("line"), accent: colour("accent"), band: colour("accent-soft"), amber: colour("amber") };
}

/** Instants on the time axis with the digits that tell them apart; deep inside a long recording they count from the first. */
export function instants(view: Stretch, room: number): { base: string | undefined; ticks: { at: number; name: string }[] } {
  const raw = (view.to - view.from) / Math.max(2, Math.floor(room / 92));
  const power = 10 ** Math.floor(Math.log10(raw));
  let step = ([1, 2, 5, 10].find((m) => m * power >= raw) ?? 10) * power;
  if (raw > 30) step = [60, 120, 300, 600, 1800, 3600, 7200, 21_600, 43_200, 86_400, 172_800, 604_800].find((s) => s >= raw) ?? Math.ceil(raw / 604_800) * 604_800;
  const first = Math.ceil(view.from / step);
  const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const offset = digits > 0 && Math.max(Math.abs(view.from), Math.abs(view.to)) / step > 99_999;
  const ticks: { at: number; name: string }[] = [];
  for (let k = 0; (first + k) * step <= view.to && k < 60; k++) {
    const at = (first + k) * step;
    ticks.push({ at, name: offset ? (k === 0 ? "0" : `+${engineering(k * step, "s")}`) : clock(at, digits) });
  }
  return { base: offset && ticks[0] ? `0 is ${clock(ticks[0].at, digits)}` : undefined, ticks };
}

/** An instant of a recording: seconds, then minutes and hours as a clock writes them. */
export function clock(seconds: number, digits: number): string {
  if (Math.abs(seconds) < 600) return `${seconds.toFixed(digits)} s`;
  const whole = Math.floor(Math.abs(seconds));
  const part = digits > 0 ? (Math.abs(seconds) - whole).toFixed(digits).slice(1) : "";
  const two = (n: number) => String(n).padStart(2, "0");
  const days = Math.floor(whole / 86_400);
  return `${seconds < 0 ? "−" : ""}${days ? `${days} d ` : ""}${two(Math.floor(whole / 3600) % 24)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}${part}`;
}

class Drawing {
  private wanted = 0;
  printing = false;

  constructor(
    private readonly canvas: HTMLCanvasElement,
    private readonly viewer: Viewer,
    private readonly axis: { low: number; high: number },
    private readonly places: number[],
  ) {}

  /** Draws once in the next frame, however often it is asked. */
  later(): void {
    this.wanted ||= requestAnimationFrame(() => this.now());
  }

  stop(): void {
    cancelAnimationFrame(this.wanted);
  }

  now(): void {
    this.wanted = 0;
    const { canvas, viewer } = this;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (width < 40) return;
    const scale = this.printing ? 2 : devicePixelRatio || 1;
    if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
      canvas.width = Math.round(width * scale);
      canvas.height = Math.round(height * scale);
    }
    const context = canvas.getContext("2d");
    if (!context) return;
    context.setTransform(scale, 0, 0, scale, 0, 0);
    this.paint(context, width, height, this.printing ? PRINTED : inks(canvas));
    if (viewer.since !== undefined) {
      // From the reader's hand to the finished drawing, for who measures.
      if (performance.getEntriesByName("trace zoom").length > 500) performance.clearMeasures("trace zoom");
      performance.measure("trace zoom", { start: viewer.since, end: performance.now() });
      viewer.since = undefined;
    }
  }

  private paint(c: CanvasRenderingContext2D, width: number, height: number, ink: Ink): void {
    const { viewer, axis } = this;
    const view = viewer.view.peek();
    const right = width - RIGHT;
    const bottom = height - BOTTOM;
    const x = (t: number) => LEFT + ((right - LEFT) * (t - view.from)) / (view.to - view.from);
    const decades = Math.log(axis.high / axis.low);
    const y = (a: number) => (a <= axis.low ? bottom : Math.max(TOP, bottom - ((bottom - TOP) * Math.log(a / axis.low)) / decades));
    c.fillStyle = ink.paper;
    c.fillRect(0, 0, width, height);
    c.font = `12px ${getComputedStyle(this.canvas).fontFamily}`;
    c.lineWidth = 1;
    const fine = viewer.fine.peek();
    const known = fine && fine.to_s > view.from && fine.from_s < view.to ? fine : viewer.coarse;
    this.phases(c, known, x, right, bottom, ink);
    // Grid: decades with their names, and the twos and fives where there is room.
    c.textBaseline = "middle";
    c.textAlign = "right";
    const roomy = (bottom - TOP) / (decades / Math.LN10) > 46;
    for (let e = Math.floor(Math.log10(axis.low)); e <= Math.log10(axis.high); e++) {
      for (const m of roomy ? [1, 2, 5] : [1]) {
        const a = m * 10 ** e;
        if (a < axis.low || a > axis.high) continue;
        c.strokeStyle = ink.hair;
        line(c, LEFT, crisp(y(a)), right, crisp(y(a)));
        if (m === 1) {
          c.fillStyle = ink.soft;
          c.fillText(engineering(a, "A", 1), LEFT - 6, y(a));
        }
      }
    }
    const { base, ticks } = instants(view, right - LEFT);
    c.textAlign = "center";
    for (const tick of ticks) {
      c.strokeStyle = ink.hair;
      line(c, crisp(x(tick.at)), TOP, crisp(x(tick.at)), bottom);
      c.fillStyle = ink.soft;
      const half = c.measureText(tick.name).width / 2;
      if (x(tick.at) + half < width && x(tick.at) - half > LEFT - 30) c.fillText(tick.name, x(tick.at), bottom + 29);
    }
    if (base) {
      c.textAlign = "right";
      c.fillText(base, right, bottom + 43);
    }
    c.save();
    c.beginPath();
    c.rect(LEFT, TOP, right - LEFT, bottom - TOP);
    c.clip();
    if (!fine || fine.from_s > view.from || fine.to_s < view.to) this.trace(c, viewer.coarse, view, x, y, ink, fine ? { from: fine.from_s, to: fine.to_s } : undefined);
    if (fine) this.trace(c, fine, view, x, y, ink);
    for (const [level, name] of [[known.floor_a, "sleep floor"], [known.threshold_a, "awake above"]] as const) {
      if (level === null || level <= axis.low) continue;
      c.strokeStyle = ink.soft;
      c.setLineDash([2, 4]);
      line(c, LEFT, crisp(y(level)), right, crisp(y(level)));
      c.setLineDash([]);
      // Labels keep off the curve's busiest part: at the right edge, each on its own side of its line.
      this.label(c, name, right - 4, y(level) + (name === "awake above" ? -8 : 9), "right", ink);
    }
    c.restore();
    this.wakes(c, known, view, x, right, bottom, ink);
    for (const place of this.places) {
      if (place < view.from || place > view.to) continue;
      c.fillStyle = ink.amber;
      c.beginPath();
      c.moveTo(x(place) - 5, TOP);
      c.lineTo(x(place) + 5, TOP);
      c.lineTo(x(place), TOP + 8);
      c.fill();
    }
    c.strokeStyle = ink.line;
    c.strokeRect(LEFT - 0.5, TOP + 0.5, right - LEFT + 1, bottom - TOP);
    const cursors = viewer.cursors.peek();
    if (!cursors) return;
    const [a, b] = cursors.map(x) as [number, number];
    c.globalAlpha = 0.1;
    c.fillStyle = ink.accent;
    const [l, r] = [Math.max(Math.min(a, b), LEFT), Math.min(Math.max(a, b), right)];
    if (r > l) c.fillRect(l, TOP, r - l, bottom - TOP);
    c.globalAlpha = 1;
    c.strokeStyle = ink.ink;
    for (const at of [a, b]) if (at >= LEFT && at <= right) line(c, crisp(at), TOP, crisp(at), bottom);
  }

  private label(c: CanvasRenderingContext2D, text: string, x: number, y: number, side: CanvasTextAlign, ink: Ink): void {
    c.textAlign = side;
    c.textBaseline = "middle";
    c.lineWidth = 3;
    c.strokeStyle = ink.paper;
    c.strokeText(text, x, y);
    c.lineWidth = 1;
    c.fillStyle = ink.ink;
    c.fillText(text, x, y);
  }

  /** Every second phase is shaded; the name stands above where it has room. */
  private phases(c: CanvasRenderingContext2D, of: TraceWindow, x: (t: number) => number, right: number, bottom: number, ink: Ink): void {
    c.textBaseline = "middle";
    c.textAlign = "center";
    let free = LEFT;
    const seen = of.phases.filter((p) => x(p.end_s) > LEFT && x(p.start_s) < right && x(p.end_s) - x(p.start_s) >= 3).sort((a, b) => a.start_s - b.start_s);
    seen.forEach((phase, i) => {
      const [a, b] = [Math.max(x(phase.start_s), LEFT), Math.min(x(phase.end_s), right)];
      if (i % 2 === 0) {
        c.fillStyle = ink.sunk;
        c.fillRect(a, TOP, b - a, bottom - TOP);
      }
      c.strokeStyle = ink.line;
      line(c, crisp(a), TOP - 6, crisp(a), TOP);
      line(c, a, TOP - 0.5, b, TOP - 0.5);
      const text = phaseName(phase, of.threshold_a);
      const wide = c.measureText(text).width;
      if (!text || a < free || wide + 6 > b - a) return;
      c.fillStyle = ink.ink;
      c.fillText(text, (a + b) / 2, 10);
      free = b;
    });
  }

  /** Columns between two instants; joined where several fall on one pixel. */
  private trace(c: CanvasRenderingContext2D, of: TraceWindow, view: Stretch, x: (t: number) => number, y: (a: number) => number, ink: Ink, without?: Stretch): void {
    const { start_s, min_a, mean_a, max_a } = of.columns;
    const from = Math.max(0, after(start_s, view.from) - 1);
    const end = after(start_s, view.to);
    const single = of.samples_per_column <= 1;
    const gap = 3 * of.resolution_s;
    c.fillStyle = ink.band;
    /** Pixel, its width, mean; a new list after each gap. */
    const mean: [number, number, number][][] = [[]];
    let [pixel, low, high, sum, n] = [-1, 0, 0, 0, 0];
    const flush = (until: number) => {
      if (n === 0) return;
      const [a, b] = [y(high), y(low)];
      const wide = Math.max(until - pixel, 1);
      if (!single || b - a > 1) c.fillRect(pixel, a - 0.5, wide, Math.max(b - a, 0) + 1);
      (mean[mean.length - 1] as [number, number, number][]).push([pixel, wide, sum / n]);
      n = 0;
    };
    for (let i = from; i < end; i++) {
      const start = start_s[i] as number;
      if (without && start >= without.from && start < without.to) {
        flush(x(without.from));
        if ((mean[mean.length - 1] as unknown[]).length > 0) mean.push([]);
        continue;
      }
      const next = start_s[i + 1] ?? of.to_s;
      const at = single ? x(start) : Math.floor(x(start));
      if (n > 0 && (at > pixel || single)) flush(at);
      if (n === 0) {
        [pixel, low, high, sum] = [at, Infinity, -Infinity, 0];
      }
      low = Math.min(low, min_a[i] as number);
      high = Math.max(high, max_a[i] as number);
      sum += mean_a[i] as number;
      n++;
      if (next - start > gap) {
        // Nothing was recorded here: neither envelope nor line goes on.
        flush(Math.ceil(x(start + of.resolution_s)));
        mean.push([]);
      }
    }
    flush(Math.ceil(x(Math.min(of.to_s, of.last_s))));
    c.strokeStyle = ink.accent;
    c.lineWidth = 1.4;
    c.lineJoin = "bevel";
    c.beginPath();
    for (const path of mean) {
      calm(path).forEach(([px, wide, value], i) => {
        if (i === 0) c.moveTo(px, y(value));
        else c.lineTo(px, y(value));
        if (!single && wide > 3) c.lineTo(px + wide, y(value));
      });
    }
    c.stroke();
    const apart = (view.to - view.from) / of.resolution_s;
    if (single && apart < 120) {
      c.fillStyle = ink.accent;
      for (const path of mean) for (const [px, , value] of path) c.fillRect(px - 2, y(value) - 2, 4, 4);
    }
    c.lineWidth = 1;
  }

  /** Under the drawing: where each wake starts, its number where there is room, ▲ before one unlike the others, brackets round a cut one. */
  private wakes(c: CanvasRenderingContext2D, of: TraceWindow, view: Stretch, x: (t: number) => number, right: number, bottom: number, ink: Ink): void {
    c.textBaseline = "middle";
    c.textAlign = "left";
    let free = LEFT;
    for (const wake of of.wakes) {
      const a = Math.max(x(wake.start_s), LEFT);
      const b = Math.min(x(wake.start_s + wake.duration_s), right);
      if (b < LEFT || a > right || wake.start_s > view.to) continue;
      c.fillStyle = wake.outlier ? ink.amber : ink.line;
      c.fillRect(a, bottom + 3, Math.max(b - a, 1.5), 4);
      const text = wake.outlier ? `▲${wake.number}` : wake.cut ? `(${wake.number})` : String(wake.number);
      const wide = c.measureText(text).width;
      if (a < free || a + wide > right) continue;
      c.fillStyle = wake.outlier ? ink.amber : ink.soft;
      c.fillText(text, a, bottom + 15);
      free = a + wide + 8;
    }
  }
}

/** A mean that jumps from pixel to pixel is a blot: it is then taken over a few pixels. */
function calm(path: [number, number, number][]): [number, number, number][] {
  const jumps = path.filter(([, , value], i) => i > 0 && Math.abs(Math.log(Math.max(value, 1e-12) / Math.max(path[i - 1]?.[2] ?? 1, 1e-12))) > 0.7).length;
  if (jumps < path.length / 6) return path;
  const joined: [number, number, number][] = [];
  for (let i = 0; i < path.length; i += MEAN_PX) {
    const group = path.slice(i, i + MEAN_PX);
    joined.push([group[group.length >> 1]?.[0] ?? 0, 1, group.reduce((sum, p) => sum + p[2], 0) / group.length]);
  }
  return joined;
}

function line(c: CanvasRenderingContext2D, x0: number, y0: number, x1: number, y1: number): void {
  c.beginPath();
  c.moveTo(x0, y0);
  c.lineTo(x1, y1);
  c.stroke();
}

const crisp = (v: number) => Math.round(v) + 0.5;

export function TracePlot({ viewer, places, label, onPoint }: { viewer: Viewer; places: number[]; label: string; onPoint: (at: number | undefined) => void }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const box = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const [at, around] = [canvas.current, box.current];
    if (!at || !around) return;
    const drawing = new Drawing(at, viewer, currentAxis(viewer.coarse), places);
    const stop = effect(() => {
      void [viewer.view.value, viewer.fine.value, viewer.cursors.value];
      drawing.later();
    });
    const sized = new ResizeObserver(() => {
      viewer.columns = Math.max(100, Math.min(4000, Math.round((at.clientWidth - LEFT - RIGHT) * (devicePixelRatio || 1))));
      drawing.later();
      void viewer.sharpen();
    });
    sized.observe(at);
    const dark = matchMedia("(prefers-color-scheme: dark)");
    const redraw = () => drawing.later();
    dark.addEventListener("change", redraw);
    const paper = matchMedia("print");
    const printed = () => { drawing.printing = paper.matches; drawing.now(); };
    paper.addEventListener("change", printed);
    const before = () => { drawing.printing = true; drawing.now(); };
    addEventListener("beforeprint", before);
    addEventListener("afterprint", printed);
    const release = listen(around, at, viewer, onPoint);
    return () => {
      stop();
      release();
      drawing.stop();
      sized.disconnect();
      dark.removeEventListener("change", redraw);
      paper.removeEventListener("change", printed);
      removeEventListener("beforeprint", before);
      removeEventListener("afterprint", printed);
    };
  }, [viewer, places]);
  return (
    <div class="trace-plot" ref={box}>
      <div class="trace-face" tabIndex={0} role="group" aria-label={`${label}. Arrows move, plus and minus zoom, Home shows all, comma and full stop step from wake to wake.`} onKeyDown={(e) => keys(e, viewer)}>
        <canvas ref={canvas} role="img" aria-label={label} />
      </div>
      <Handles viewer={viewer} />
    </div>
  );
}

function keys(event: KeyboardEvent, viewer: Viewer): void {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const far = event.shiftKey ? 0.5 : 0.1;
  const since = event.timeStamp;
  const done: Record<string, () => void> = {
    ArrowLeft: () => viewer.pan(-far, since),
    ArrowRight: () => viewer.pan(far, since),
    PageUp: () => viewer.pan(-1, since),
    PageDown: () => viewer.pan(1, since),
    "+": () => viewer.zoom(2, undefined, since),
    "=": () => viewer.zoom(2, undefined, since),
    "-": () => viewer.zoom(0.5, undefined, since),
    Home: () => viewer.home(),
    ",": () => void viewer.step(-1),
    ".": () => void viewer.step(1),
  };
  const act = done[event.key];
  if (!act) return;
  event.preventDefault();
  act();
}


/** Wheel, drag, two fingers, click. */
function listen(box: HTMLElement, canvas: HTMLCanvasElement, viewer: Viewer, onPoint: (at: number | undefined) => void): () => void {
  const time = (clientX: number) => {
    const { left, width } = canvas.getBoundingClientRect();
    const { from, to } = viewer.view.peek();
    return from + ((clientX - left - LEFT) / Math.max(width - LEFT - RIGHT, 1)) * (to - from);
  };
  const fingers = new Map<number, number>();
  let moved = 0;
  const wheel = (e: WheelEvent) => {
    const { from, to } = viewer.view.peek();
    // Nothing is left to zoom out of: the page scrolls on.
    if (e.deltaY > Math.abs(e.deltaX) && from === viewer.whole.from && to === viewer.whole.to) return;
    if (e.ctrlKey === false && Math.abs(e.deltaX) > Math.abs(e.deltaY)) viewer.pan(e.deltaX / 600, e.timeStamp);
    else viewer.zoom(Math.exp(-e.deltaY * (e.deltaMode === 1 ? 0.06 : e.ctrlKey ? 0.01 : 0.002)), time(e.clientX), e.timeStamp);
    e.preventDefault();
  };
  const down = (e: PointerEvent) => {
    if (e.button !== 0) return;
    canvas.setPointerCapture(e.pointerId);
    fingers.set(e.pointerId, e.clientX);
    moved = 0;
  };
  const move = (e: PointerEvent) => {
    const before = fingers.get(e.pointerId);
    if (before === undefined) {
      onPoint(time(e.clientX));
      return;
    }
    moved += Math.abs(e.clientX - before);
    const { width } = canvas.getBoundingClientRect();
    if (fingers.size === 1) {
      if (moved > 3) viewer.pan((before - e.clientX) / Math.max(width - LEFT - RIGHT, 1), e.timeStamp);
    } else {
      const other = [...fingers].find(([id]) => id !== e.pointerId)?.[1] ?? e.clientX;
      const [old, now] = [Math.max(Math.abs(before - other), 12), Math.max(Math.abs(e.clientX - other), 12)];
      viewer.zoom(now / old, time(other), e.timeStamp);
    }
    fingers.set(e.pointerId, e.clientX);
  };
  const up = (e: PointerEvent) => {
    if (!fingers.delete(e.pointerId) || moved > 3 || e.type === "pointercancel") return;
    const at = time(e.clientX);
    const cursors = viewer.cursors.peek();
    // The nearer cursor comes; the first click sets both round the place.
    if (cursors) viewer.set(Math.abs(cursors[0] - at) <= Math.abs(cursors[1] - at) ? 0 : 1, at);
    else viewer.set(0, at);
  };
  const leave = () => onPoint(undefined);
  box.addEventListener("wheel", wheel, { passive: false });
  canvas.addEventListener("pointerdown", down);
  canvas.addEventListener("pointermove", move);
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("pointerleave", leave);
  return () => {
    box.removeEventListener("wheel", wheel);
    for (const [name, heard] of [["pointerdown", down], ["pointermove", move], ["pointerup", up], ["pointercancel", up], ["pointerleave", leave]] as const) canvas.removeEventListener(name, heard as EventListener);
  };
}

/** The two cursors as sliders over the drawing: dragged, or moved with the arrows. */
function Handles({ viewer }: { viewer: Viewer }) {
  const cursors = viewer.cursors.value;
  const { from, to } = viewer.view.value;
  if (!cursors) return null;
  return (
    <div class="trace-cursors" style={{ left: `${LEFT}px`, right: `${RIGHT}px` }}>
      {cursors.map((at, i) => {
        const which = i as 0 | 1;
        const share = (at - from) / (to - from);
        const outside = share < 0 ? "off left" : share > 1 ? "off right" : "";
        return (
          <div
            key={i}
            class={`cursor ${outside}`}
            style={{ left: `${100 * Math.min(Math.max(share, 0), 1)}%` }}
            tabIndex={0}
            role="slider"
            aria-label={`Cursor ${i === 0 ? "A" : "B"}`}
            aria-valuemin={viewer.whole.from}
            aria-valuemax={viewer.whole.to}
            aria-valuenow={at}
            aria-valuetext={`${clock(at, 6)}${outside ? ", outside of the view" : ""}`}
            onKeyDown={(e) => {
              const pixel = (to - from) / Math.max(viewer.columns / (devicePixelRatio || 1), 100);
              const by = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageUp: 20, PageDown: -20 }[e.key];
              if (by === undefined) return;
              e.preventDefault();
              // A cursor outside of the view comes into it first.
              viewer.set(which, outside ? (share < 0 ? from : to) : at + by * pixel * (e.shiftKey ? 20 : 1));
            }}
            onPointerDown={(e) => { e.currentTarget.setPointerCapture(e.pointerId); e.preventDefault(); e.currentTarget.focus(); }}
            onPointerMove={(e) => {
              if (!e.currentTarget.hasPointerCapture(e.pointerId)) return;
              const area = e.currentTarget.parentElement?.getBoundingClientRect();
              if (area) viewer.set(which, from + ((e.clientX - area.left) / area.width) * (to - from));
            }}
          >
            {share < 0 ? "◂" : ""}{i === 0 ? "A" : "B"}{share > 1 ? "▸" : ""}
          </div>
        );
      })}
    </div>
  );
}
