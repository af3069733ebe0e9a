// What the views share. The project's text is the truth; everything else follows from it.
import { batch, computed, effect, signal, untracked } from "@preact/signals";
import { BenchEngine, type Engine, type Facts, message, Refused, Stopped, part } from "./engine";
import { decode, encode } from "./fragment";
import { documents, read, type Table } from "./project";
import type { BoardReport, ChoiceReport, Diagnostic, ForecastReport, Reply, Request, TableReport } from "./types";

export const engine = signal<Engine | undefined>(undefined);
export const told = signal<Facts | undefined>(undefined);
/** Something went wrong with the whole page, in words. */
export const trouble = signal<string | undefined>(undefined);

export type Place = { view: "table" } | { view: "board"; board: string } | { view: "forecast"; board: string } | { view: "compare"; board: string; other: string } | { view: "traces"; recording: string } | { view: "sun"; board: string } | { view: "bench" } | { view: "about" };
export const place = signal<Place>({ view: "table" });

export type Point = [bearing: number, elevation: number];

/** What the reader tries in the view of the sun instead of what the project and its site say; it goes into the address. */
export const tried = signal<{ site?: string; panel?: string; skyline?: Point[]; monthly?: boolean }>({});

export const table = signal<TableReport | undefined>(undefined);

/** The text of the project that is shown. */
export const text = signal("");
/** The name of the published project it started from. */
export const started = signal("");
export const project = computed<Table | undefined>(() => read(text.value));

/** Counts how often the documents were read anew. */
export const revision = signal(0);

export const projects = computed(() => (revision.value >= 0 && engine.value ? documents(engine.value.content.files, "projects", "project") : []));
export const cells = computed(() => (revision.value >= 0 && engine.value ? documents(engine.value.content.files, "cells", "cell") : []));
export const changed = computed(() => {
  const published = projects.value.find((p) => p.name === started.value);
  return published !== undefined && published.text !== text.value;
});

export interface Ranked {
  choice?: ChoiceReport;
  /** The text that the choice answers. */
  of?: string;
  faults: Diagnostic[];
  /** Draws being computed now. */
  computing?: number;
  /** Given up by the reader before the last step. */
  halted?: boolean;
  trouble?: string;
}
export const ranked = signal<Ranked>({ faults: [] });

/** Draws of the sharpest ranking. */
export function finest(): number {
  return told.value?.draws ?? 1000;
}
export const SEED = 1;

/** A request without what is left at its default, keys in order: two ways to ask the same compare equal. */
function canonical(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(canonical);
  if (value === null || typeof value !== "object") return value;
  const kept = Object.entries(value).filter(([, v]) => v !== null && v !== false && !(Array.isArray(v) && v.length === 0));
  return Object.fromEntries(kept.sort(([a], [b]) => (a < b ? -1 : 1)).map(([k, v]) => [k, canonical(v)]));
}

function same(a: Request, b: Request): boolean {
  return JSON.stringify(canonical(a)) === JSON.stringify(canonical(b));
}

/** An answer from what came with the page, or from the engine. */
export async function answer(request: Request): Promise<Reply> {
  const at = engine.value;
  if (!at) throw new Error("the page is still being read");
  return prepared(request) ?? at.ask(request);
}

/** The published project's name where the text is unchanged, so that prepared answers are found; else the text. */
export function asked(): string {
  return changed.value || !started.value ? text.value : started.value;
}

function prepared(request: Request): Reply | undefined {
  return engine.value?.content.prepared.find((p) => same(p.request, request))?.reply;
}

let turn = 0;

async function rank(of: string): Promise<void> {
  const own = ++turn;
  const at = engine.value;
  at?.stop();
  const draws = finest();
  const wanted = asked();
  const whole = prepared({ choose: { project: wanted, draws, seed: SEED } });
  if (whole) {
    ranked.value = { choice: part(whole, "choice"), of, faults: [] };
    return;
  }
  ranked.value = { ...ranked.value, computing: draws, halted: false, trouble: undefined };
  try {
    await at?.choose(wanted, draws, SEED, (choice) => {
      if (own === turn) ranked.value = { choice, of, faults: [], computing: choice.draws < draws ? draws : undefined };
    });
  } catch (error) {
    if (own !== turn) return;
    if (error instanceof Stopped) {
      ranked.value = { ...ranked.value, computing: undefined, halted: true };
      return;
    }
    const faults = error instanceof Refused ? error.diagnostics : [];
    ranked.value = { ...ranked.value, faults, computing: undefined, trouble: error instanceof Refused ? undefined : message(error) };
  }
}

/** Gives up refining; the last ranking stays. */
export function halt(): void {
  engine.value?.stop();
}

export { message };

/** Ranks again whenever the project's text changes. */
export function follow(): void {
  effect(() => {
    const of = text.value;
    if (engine.value && of) untracked(() => void rank(of));
  });
  effect(() => {
    const [own, start, at] = [changed.value ? text.value : "", started.value, place.value];
    if (!engine.value || !tried.value) return;
    void address(at, start, own).then((hash) => history.replaceState(null, "", hash));
  });
}

/** Goes to a view and remembers the way back. */
export function go(to: Place): void {
  history.pushState(null, "", location.hash);
  place.value = to;
  document.getElementById("main")?.focus({ preventScroll: true });
  scrollTo(0, 0);
}

async function address(at: Place, start: string, own: string): Promise<string> {
  const parts = [`v=${at.view}`];
  if ("board" in at && at.board) parts.push(`b=${encodeURIComponent(at.board)}`);
  if ("other" in at && at.other) parts.push(`o=${encodeURIComponent(at.other)}`);
  if ("recording" in at && at.recording) parts.push(`r=${encodeURIComponent(at.recording)}`);
  if (start) parts.push(`s=${encodeURIComponent(start)}`);
  const { site, panel, skyline } = tried.value;
  if (site) parts.push(`w=${encodeURIComponent(site)}`);
  if (panel) parts.push(`l=${encodeURIComponent(panel)}`);
  if (skyline) parts.push(`k=${skyline.map((p) => p.map((angle) => Number(angle.toFixed(2))).join("_")).join("~")}`);
  if (own) parts.push(`p=${await encode(own)}`);
  return `#${parts.join("&")}`;
}

/** The address of this page with the reader's project in it. */
export async function link(): Promise<string> {
  const hash = await address(place.value, started.value, changed.value ? text.value : "");
  return location.href.replace(/#.*$/, "") + hash;
}

/** Reads view and project from the address; tells what could not be read and goes on with the published project. */
export async function restore(): Promise<void> {
  const given = new Map<string, string>();
  for (const pair of location.hash.slice(1).split("&")) {
    const at = pair.indexOf("=");
    if (at > 0) given.set(pair.slice(0, at), pair.slice(at + 1));
  }
  const word = (key: string) => {
    try {
      return decodeURIComponent(given.get(key) ?? "");
    } catch {
      return "";
    }
  };
  const start = projects.value.find((p) => p.name === word("s")) ?? projects.value.find((p) => p.name === "footbridges") ?? projects.value[0];
  let own: string | undefined;
  const packed = given.get("p");
  if (packed) {
    try {
      own = await decode(packed);
    } catch {
      trouble.value = "The project in this address could not be read: it was cut off or changed on the way. The published project is shown instead.";
    }
  }
  const view = word("v");
  const board = word("b");
  let skyline: Point[] | undefined;
  if (given.has("k")) {
    skyline = word("k").split("~").map((pair) => pair.split("_").map(Number) as Point);
    if (!skyline.every((p) => p.length === 2 && p[0] >= 0 && p[0] < 360 && p[1] >= 0 && p[1] <= 90)) {
      skyline = undefined;
      trouble.value = "The skyline in this address could not be read: it was cut off or changed on the way. The site's own is shown instead.";
    }
  }
  batch(() => {
    started.value = start?.name ?? "";
    text.value = own ?? start?.text ?? "";
    tried.value = { ...(word("w") && { site: word("w") }), ...(word("l") && { panel: word("l") }), ...(skyline && { skyline }) };
    if ((view === "board" || view === "forecast") && board) place.value = { view, board };
    else if (view === "compare") place.value = { view, board, other: word("o") };
    else if (view === "sun") place.value = { view, board };
    else if (view === "traces") place.value = { view, recording: word("r") };
    else if (view === "bench" || view === "about") place.value = { view };
    else place.value = { view: "table" };
  });
}

export function choose(name: string): void {
  const found = projects.value.find((p) => p.name === name);
  if (!found) return;
  batch(() => {
    if (started.value !== name) tried.value = {};
    started.value = name;
    text.value = found.text;
  });
}

/** Reads table and documents of the served folder anew; a project that was not changed here follows its file. */
export async function reread(): Promise<string[]> {
  const at = engine.value;
  if (!(at instanceof BenchEngine)) return [];
  const own = changed.value;
  const other = await at.reread();
  if (other.length === 0) return other;
  forecasts.clear();
  boards.clear();
  batch(() => {
    revision.value += 1;
    const published = projects.value.find((p) => p.name === started.value);
    if (!own && published && published.text !== text.value) text.value = published.text;
    else void rank(text.value);
  });
  table.value = part(await answer({ table: { columns: ["all"], sort: null, filter: [], specimens: false } }), "table");
  return other;
}

const forecasts = new Map<string, ForecastReport>();

export async function forecast(board: string, draws: number): Promise<ForecastReport> {
  const request: Request = { forecast: { board, specimen: null, project: asked(), draws, seed: SEED } };
  const key = JSON.stringify(request);
  const known = forecasts.get(key);
  if (known) return known;
  const found = part(await answer(request), "forecast");
  forecasts.set(key, found);
  return found;
}

const boards = new Map<string, BoardReport>();

export async function board(name: string): Promise<BoardReport> {
  const known = boards.get(name);
  if (known) return known;
  const found = part(await answer({ board: { board: name } }), "board");
  boards.set(name, found);
  return found;
}

/** Something the reader chose, kept in this browser where it allows that. */
export function remembered<T>(key: string, otherwise: T): { value: T } {
  let start = otherwise;
  try {
    const kept = localStorage.getItem(`overwinter ${key}`);
    if (kept !== null) start = JSON.parse(kept) as T;
  } catch {
    // Storage refused or spoilt: the choice lasts as long as the page is open.
  }
  const kept = signal(start);
  effect(() => {
    const value = JSON.stringify(kept.value);
    try {
      localStorage.setItem(`overwinter ${key}`, value);
    } catch {
      // As above.
    }
  });
  return kept;
}
