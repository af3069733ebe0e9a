// Recordings: asked of the tool where it serves the page, else answered from the overviews that were published with it.
import { type Content, message, Refused } from "./engine";
import { engine, told } from "./state";
import type { PublishedTrace, RailCapture, RecordingLine, TraceBetween, TraceColumns, TraceComparison, TraceOverlay, TraceReply, TraceReport, TraceRequest, TraceWindow } from "./types";

/** A stretch of time, seconds from the recording's own zero. */
export interface Stretch {
  from: number;
  to: number;
}

export interface Recordings {
  /** Whether any zoom comes from the samples; otherwise only from the overview in the page. */
  readonly deep: boolean;
  list(): Promise<RecordingLine[]>;
  window(name: string, from: number | null, to: number | null, columns: number): Promise<TraceWindow>;
  overlay(name: string, activity: number): Promise<TraceOverlay | undefined>;
  rail(name: string): Promise<RailCapture>;
  between(name: string, from: number, to: number): Promise<TraceBetween | undefined>;
  report(name: string): Promise<TraceReport | undefined>;
  compare(before: string, after: string, project: string | null): Promise<TraceComparison | undefined>;
}

type Part<K extends string> = Extract<TraceReply, Record<K, unknown>>[K & keyof Extract<TraceReply, Record<K, unknown>>];

let leaving = new AbortController();

/** Gives up every question that is out: a long recording takes its time to be read. */
export function giveUp(): void {
  leaving.abort();
  leaving = new AbortController();
}

async function ask<K extends string>(request: TraceRequest, kind: K): Promise<Part<K>> {
  const { signal } = leaving;
  let response: Response;
  try {
    response = await fetch("api/trace", {
      method: "POST",
      headers: { "content-type": "application/json", "x-overwinter-token": told.value?.token ?? "" },
      body: JSON.stringify(request),
      signal,
    });
  } catch {
    if (signal.aborted) throw new Error("Stopped. Reload the page to ask again.");
    throw new Error("The tool does not answer: start it again in the bench folder.");
  }
  if (!response.ok) throw new Error(response.status === 404 ? "This tool answers no questions about recordings: a newer one does." : await response.text());
  const reply = (await response.json()) as TraceReply;
  if ("error" in reply) throw new Refused(reply.error);
  if (kind in reply) return (reply as never)[kind];
  throw new Error(`the tool answered something else than ${kind}`);
}

const served: Recordings = {
  deep: true,
  list: () => ask({ recordings: {} }, "recordings"),
  window: (recording, from_s, to_s, columns) => ask({ window: { recording, from_s, to_s, columns } }, "window"),
  overlay: (recording, activity) => ask({ wakes: { recording, activity, most: 24, points: 400 } }, "wakes"),
  rail: (recording) => ask({ rail: { recording } }, "rail"),
  between: (recording, from_s, to_s) => ask({ between: { recording, from_s, to_s } }, "between"),
  report: (recording) => ask({ read: { recording } }, "read"),
  compare: (before, after, project) => ask({ compare: { before, after, project } }, "compare"),
};

/** What lies in a stretch of an overview, with one column more on the left. */
export function cut(whole: TraceWindow, from: number, to: number): TraceWindow {
  const { start_s, min_a, mean_a, max_a } = whole.columns;
  const first = Math.max(0, after(start_s, from) - 1);
  const end = after(start_s, to);
  const columns: TraceColumns = { start_s: start_s.slice(first, end), min_a: min_a.slice(first, end), mean_a: mean_a.slice(first, end), max_a: max_a.slice(first, end) };
  return {
    ...whole,
    from_s: from,
    to_s: to,
    columns,
    phases: whole.phases.filter((p) => p.end_s > from && p.start_s < to),
    wakes: whole.wakes.filter((w) => w.start_s < to && w.start_s + w.duration_s > from),
  };
}

/** How many of the rising numbers lie at or before a value. */
export function after(rising: number[], value: number): number {
  let [low, high] = [0, rising.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((rising[middle] as number) <= value) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** Charge, mean and extremes between two instants, from columns: good to a column at both ends. */
export function reckon(of: TraceWindow, from: number, to: number): TraceBetween {
  const { start_s, min_a, mean_a, max_a } = of.columns;
  const [a, b] = [Math.min(from, to), Math.max(from, to)];
  let [charge, time, least, most] = [0, 0, Infinity, -Infinity];
  for (let i = Math.max(0, after(start_s, a) - 1); i < start_s.length; i++) {
    const start = start_s[i] as number;
    if (start >= b) break;
    const next = start_s[i + 1] ?? of.last_s;
    // A column with a gap behind it counts for its own time.
    const end = next - start > 3 * of.resolution_s ? start + of.resolution_s : next;
    const part = Math.min(end, b) - Math.max(start, a);
    if (part <= 0) continue;
    charge += (mean_a[i] as number) * part;
    time += part;
    least = Math.min(least, min_a[i] as number);
    most = Math.max(most, max_a[i] as number);
  }
  return { recording: of.recording, from_s: a, to_s: b, duration_s: b - a, charge_c: charge, above_floor_c: of.floor_a === null ? null : charge - of.floor_a * time, mean_a: time > 0 ? charge / time : NaN, min_a: least, max_a: most, samples_per_column: of.samples_per_column, text: "" };
}

function published(traces: PublishedTrace[]): Recordings {
  const of = (name: string) => {
    const found = traces.find((t) => t.recording.name === name);
    if (!found) throw new Error("This recording is not in the page.");
    return found;
  };
  return {
    deep: false,
    list: () => Promise.resolve(traces.map((t) => t.recording)),
    window: async (name, from, to) => {
      const { overview, recording } = of(name);
      if (!overview) throw new Error(recording.problem ?? "The page holds no drawing of this recording.");
      return from === null || to === null ? overview : cut(overview, from, to);
    },
    overlay: async (name) => of(name).overlay ?? undefined,
    rail: async (name) => {
      const { rail, recording } = of(name);
      if (!rail) throw new Error(recording.problem ?? "The page holds no verdict on this capture.");
      return rail;
    },
    between: () => Promise.resolve(undefined),
    report: () => Promise.resolve(undefined),
    compare: () => Promise.resolve(undefined),
  };
}

/** Where this page gets its recordings from. */
export function recordings(): Recordings {
  return told.value?.home === "bench" ? served : published((engine.value?.content as Content | undefined)?.traces ?? []);
}

/** An error as the views show it. */
export function faultOf(error: unknown): { message: string; help?: string | null }[] {
  return error instanceof Refused ? error.diagnostics : [{ message: message(error) }];
}
