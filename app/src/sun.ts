// What the view of the sun asks, step by step: few years of every board first, then more of the chosen one; the map in pieces.
import { computed, signal } from "@preact/signals";
import { parse, stringify } from "smol-toml";
import { part, Refused, Stopped } from "./engine";
import { documents, get, type Table } from "./project";
import { answer, asked, engine, message, type Point, project, revision, SEED, text, tried } from "./state";
import type { ChargeReport, Diagnostic, SunMapCounts, SunMapReport, SunReport, TiltReport } from "./types";

export const sites = computed(() => (revision.value >= 0 && engine.value ? documents(engine.value.content.files, "sites", "site") : []));
export const panels = computed(() => (revision.value >= 0 && engine.value ? documents(engine.value.content.files, "panels", "panel") : []));

/** The site that is looked at: the tried one, else the project's. */
export const siteName = computed(() => {
  const own = get(project.value, "site");
  return tried.value.site ?? (typeof own === "string" ? own : undefined);
});
export const panelName = computed(() => {
  const own = get(project.value, "panel");
  return tried.value.panel ?? (typeof own === "string" ? own : undefined);
});

/** An angle in degrees as it is written down: a hundredth tells nothing any more. */
const degrees = (angle: number) => `${Number(angle.toFixed(2))}°`;
const ordered = (points: Point[]) => [...points].sort((a, b) => a[0] - b[0]);

/** A site's document with another skyline; shares guessed by month stand in for a skyline and go. */
export function withSkyline(text: string, skyline: Point[]): string {
  const document = parse(text) as Table;
  const site = document.site as Table;
  delete site.beam_share;
  delete site.sky_view;
  site.skyline = ordered(skyline).map(([bearing, elevation]) => ({ bearing: degrees(bearing), elevation: degrees(elevation) }));
  return stringify(document);
}

const siteDocument = computed(() => sites.value.find((s) => s.name === siteName.value)?.text);

/** The hourly weather file that the site names. */
export const hourlyFile = computed<string | undefined>(() => {
  const found = siteDocument.value;
  return found === undefined ? undefined : (get(parse(found) as Table, "site", "hourly") as string | undefined);
});

/** The site as it is tried: with the drawn skyline, without its hourly file. */
const siteText = computed<string | undefined>(() => {
  const { skyline, monthly } = tried.value;
  const found = siteDocument.value;
  if (found === undefined || (!skyline && !(monthly && hourlyFile.value))) return undefined;
  const text = skyline ? withSkyline(found, skyline) : found;
  if (!monthly) return text;
  const document = parse(text) as Table;
  delete (document.site as Table).hourly;
  delete (document.site as Table).hourly_layout;
  return stringify(document);
});

/** The lines of a skyline as the site's document has them. */
export function skylineText(points: Point[]): string {
  return `skyline = [\n${ordered(points).map(([b, e]) => `    { bearing = "${degrees(b)}", elevation = "${degrees(e)}" },\n`).join("")}]`;
}

/** Everything the answer depends on but board and years. */
export const question = computed(() => ({ text: text.value, site: siteText.value ?? tried.value.site ?? null, panel: tried.value.panel ?? null, of: siteDocument.value }));

export function keyOf(): string {
  const { text: of, site, panel, of: document } = question.value;
  return `${of}\n${site}\n${panel}\n${site?.includes("\n") ? "" : document}`;
}

export interface Balance {
  /** What it answers. */
  of?: string;
  /** Few years of all boards, and what they answer. */
  all?: SunReport;
  allOf?: string;
  /** Many years of the chosen board. */
  one?: SunReport;
  faults: Diagnostic[];
  trouble?: string;
  /** Years being run. */
  running?: number;
  halted?: boolean;
}
export const balance = signal<Balance>({ faults: [] });

export const FIRST_YEARS = 20;
export const YEARS = [100, 300, 1000];
export const years = signal(300);

let turn = 0;

function failed(error: unknown): Pick<Balance, "faults" | "trouble"> {
  return error instanceof Refused ? { faults: error.diagnostics, trouble: undefined } : { faults: [], trouble: message(error) };
}

/**
 * Runs the years: few of the board that is looked at, then more of it, then few of all. Without a name all come first, and
 * the first that can be charged is looked at.
 */
export async function runBalance(board: string): Promise<void> {
  const own = ++turn;
  const of = keyOf();
  const now = balance.peek();
  if (now.running) engine.value?.stop();
  if (map.peek().running && !map.peek().of?.startsWith(`${of}\n`)) stopMap();
  const { site, panel } = question.peek();
  const ask = async (boards: string[], n: number) => part(await answer({ sun: { project: asked(), site, panel, hourly: null, boards, years: n, seed: SEED } }), "sun");
  const everyBoard = async () => {
    const all = await ask([], FIRST_YEARS);
    if (own !== turn) throw new Stopped();
    balance.value = { ...balance.peek(), all, allOf: of };
    return all;
  };
  // The old answer stays in view, marked as old, until the new one stands.
  balance.value = { ...now, running: FIRST_YEARS, faults: [], trouble: undefined, halted: false };
  try {
    let wanted = board;
    if (!wanted) {
      const all = now.allOf === of && now.all ? now.all : await everyBoard();
      wanted = (all.boards.find((b) => b.outcome) ?? all.boards[0])?.board ?? "";
      if (wanted === "") return;
    }
    const steps = [FIRST_YEARS, ...YEARS].filter((n) => n <= years.peek());
    for (const n of steps) {
      balance.value = { ...balance.peek(), running: n };
      const one = await ask([wanted], n);
      if (own !== turn) return;
      balance.value = { ...balance.peek(), of, one };
      // What cannot be run for few years cannot be run for many; an hourly file has so many years and no more.
      if (!one.boards[0]?.outcome || one.years < n) break;
    }
    if (balance.peek().allOf !== of) {
      balance.value = { ...balance.peek(), running: FIRST_YEARS };
      await everyBoard();
    }
    balance.value = { ...balance.peek(), running: undefined };
  } catch (error) {
    if (own !== turn) return;
    if (error instanceof Stopped) balance.value = { ...balance.peek(), of, running: undefined, halted: true };
    else balance.value = { ...balance.peek(), of, one: undefined, running: undefined, ...failed(error) };
  }
}

/** Gives up the years that are being run; those that ran stay in view. */
export function stopBalance(): void {
  turn++;
  engine.value?.stop();
  balance.value = { ...balance.peek(), running: undefined, halted: true };
}

export interface Map {
  of?: string;
  report?: SunMapReport;
  faults: Diagnostic[];
  trouble?: string;
  running?: boolean;
}
export const map = signal<Map>({ faults: [] });
export const MAP_YEARS = 200;
/** A piece of the map should take about this long, so that progress moves and a stop is heard. */
const PIECE_MS = 700;
let mapTurn = 0;

export function stopMap(): void {
  mapTurn++;
  map.value = { ...map.peek(), running: false };
}

/** Runs the map in pieces of years until there are enough; goes on where it was stopped. */
export async function runMap(board: string): Promise<void> {
  const own = ++mapTurn;
  const of = `${keyOf()}\n${board}`;
  const { site, panel } = question.peek();
  const going = map.peek().of === of ? map.peek().report : undefined;
  map.value = { of, report: going, faults: [], running: true };
  let counts: SunMapCounts | null = going?.counts ?? null;
  let [panels_w, cells_c]: [number[], number[]] = [going?.panels_w ?? [], going?.cells_c ?? []];
  let piece = 1;
  try {
    while (!counts || counts.years < MAP_YEARS) {
      const start = performance.now();
      const n = Math.min(piece, MAP_YEARS - (counts?.years ?? 0));
      const report: SunMapReport = part(await answer({ sun_map: { project: asked(), site, panel, board, panels_w, cells_c, years: n, seed: SEED, before: counts } }), "sun_map");
      if (own !== mapTurn) return;
      ({ counts, panels_w, cells_c } = report);
      piece = Math.max(1, Math.min(50, Math.round((n * PIECE_MS) / Math.max(performance.now() - start, 1))));
      map.value = { of, report, faults: [], running: counts.years < MAP_YEARS };
    }
  } catch (error) {
    if (own !== mapTurn) return;
    if (error instanceof Stopped) map.value = { ...map.peek(), running: false };
    else map.value = { of, report: map.peek().report, running: false, ...failed(error) };
  }
}

export const tilt = signal<{ of?: string; report?: TiltReport; trouble?: string }>({});
export const charge = signal<{ of?: string; report?: ChargeReport; trouble?: string }>({});

/** The two quick answers. */
export async function runQuick(): Promise<void> {
  const of = keyOf();
  const { site } = question.peek();
  try {
    tilt.value = { of, report: part(await answer({ tilt: { project: asked(), site, azimuth_deg: null } }), "tilt") };
  } catch (error) {
    tilt.value = { of, trouble: message(error) };
  }
  try {
    charge.value = { of, report: part(await answer({ charge: { project: asked(), boards: [], cells: [], from_state: 0 } }), "charge") };
  } catch (error) {
    charge.value = { of, trouble: message(error) };
  }
}
