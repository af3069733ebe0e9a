// Edits of documents in the app that the tool serves: saved with their comments, never over what somebody else wrote.
import { parse, stringify } from "smol-toml";
import { signal } from "@preact/signals";
import { BenchEngine, message } from "./engine";
import { isTable, type Table, type Value } from "./project";
import { engine, reread } from "./state";
import type { Diagnostic } from "./types";

/** What became of a save. */
export type Outcome =
  | { kind: "saved"; path: string; text: string; notes: Diagnostic[] }
  | { kind: "refused"; faults: Diagnostic[] }
  | { kind: "conflict"; path: string; was: string | null; now: string | null; mine: string }
  | { kind: "failed"; why: string };

/** Whether documents can be written from here: only in the app that the tool serves. */
export function canWrite(): boolean {
  return engine.value instanceof BenchEngine;
}

/**
 * Saves a document that said `was` when it was read (`null` for a new one). With `merge` the values of `text` go into what
 * the file says and its comments stay; without, `text` is written as it is.
 */
export async function save(path: string, was: string | null, text: string, merge: boolean): Promise<Outcome> {
  const at = engine.value;
  if (!(at instanceof BenchEngine)) return { kind: "failed", why: "A published page cannot write documents." };
  try {
    const outcome = await at.save(path, was, text, merge);
    if (outcome.kind === "saved") await reread();
    return outcome;
  } catch (error) {
    return { kind: "failed", why: message(error) };
  }
}

/** The document of that name with its file. */
export function documentOf(folder: string, table: string, name: string): { path: string; text: string } | undefined {
  for (const [path, text] of engine.value?.content.files ?? []) {
    if (!path.startsWith(`${folder}/`)) continue;
    try {
      if (((parse(text) as Table)[table] as Table | undefined)?.name === name) return { path, text };
    } catch {
      // The engine tells what is wrong with this file.
    }
  }
  return undefined;
}

/** One place at which two texts differ. */
export interface Difference {
  place: string;
  was: string;
  now: string;
  mine: string;
}

const spelt = (value: unknown): string => (value === undefined ? "" : typeof value === "string" ? value : isTable(value) || Array.isArray(value) ? JSON.stringify(value, (_, v: unknown) => (typeof v === "bigint" ? Number(v) : v)) : String(value));
const same = (a: unknown, b: unknown) => spelt(a) === spelt(b) && typeof a === typeof b;

function walk(a: unknown, b: unknown, place: (string | number)[], tell: (place: (string | number)[], a: unknown, b: unknown) => void): void {
  if (isTable(a) && isTable(b)) {
    for (const key of new Set([...Object.keys(a), ...Object.keys(b)])) walk(a[key], b[key], [...place, key], tell);
  } else if (Array.isArray(a) && Array.isArray(b) && [...a, ...b].every(isTable)) {
    for (let i = 0; i < Math.max(a.length, b.length); i++) walk(a[i], b[i], [...place, i], tell);
  } else if (!same(a, b)) tell(place, a, b);
}

function at(root: unknown, place: (string | number)[]): unknown {
  return place.reduce<unknown>((value, key) => (value !== null && typeof value === "object" ? (value as Record<string | number, unknown>)[key] : undefined), root);
}

/** Where the file on disk and mine differ, beside what both came from. */
export function differences(was: string | null, now: string | null, mine: string): Difference[] {
  const [a, b, c] = [parse(was ?? ""), parse(now ?? ""), parse(mine)];
  const found: Difference[] = [];
  walk(b, c, [], (place, there, here) => found.push({ place: place.slice(1).join(" › "), was: spelt(at(a, place)), now: spelt(there), mine: spelt(here) }));
  return found;
}

/** The text on disk with what I changed: my changed values, and what I added to lists at their end. */
export function onto(was: string | null, now: string | null, mine: string): string {
  const [a, result, c] = [parse(was ?? "") as Table, parse(now ?? "") as Table, parse(mine) as Table];
  walk(a, c, [], (place, before, after) => {
    const last = place[place.length - 1];
    let parent: unknown = result;
    for (const key of place.slice(0, -1)) {
      if (parent === null || typeof parent !== "object") return;
      const holder = parent as Record<string | number, unknown>;
      if (holder[key] === undefined) holder[key] = {};
      parent = holder[key];
    }
    if (parent === null || typeof parent !== "object" || last === undefined) return;
    if (Array.isArray(parent)) {
      if (before === undefined) parent.push(after);
      else if (after === undefined) parent.splice(Number(last), 1);
      else parent[Number(last)] = after;
    } else if (after === undefined) delete (parent as Table)[last];
    else (parent as Table)[last] = after as Value;
  });
  return stringify(result);
}

/** Whether this browser keeps what is typed until it is saved. */
export const storage = signal<"kept" | "refused">("kept");

/** What was typed and not saved yet, kept in this browser over a reload. */
export function draft<T>(key: string): T | undefined {
  try {
    const text = localStorage.getItem(`overwinter draft ${key}`);
    return text === null ? undefined : (JSON.parse(text) as T);
  } catch {
    storage.value = "refused";
    return undefined;
  }
}

export function keep(key: string, value: unknown): void {
  try {
    if (value === undefined) localStorage.removeItem(`overwinter draft ${key}`);
    else localStorage.setItem(`overwinter draft ${key}`, JSON.stringify(value));
    storage.value = "kept";
  } catch {
    storage.value = "refused";
  }
}
