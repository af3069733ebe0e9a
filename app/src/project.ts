// A project as the form sees it: the TOML text is the truth, the form reads and writes it.
import { parse, stringify } from "smol-toml";

export type Table = { [key: string]: Value };
export type Value = string | number | boolean | bigint | object | Value[] | Table;

export interface Activity extends Table {
  name: string;
  every: string;
}

/** Reads a project's text; `undefined` while it cannot be read, which the engine then explains. */
export function read(text: string): Table | undefined {
  try {
    const project = (parse(text) as Table).project;
    return typeof project === "object" && !Array.isArray(project) ? (project as Table) : undefined;
  } catch {
    return undefined;
  }
}

export function write(project: Table): string {
  return stringify({ project });
}

/** A figure may be a text or a table with its source; the form shows the value. */
export function figure(value: Value | undefined): string {
  if (typeof value === "string") return value;
  if (typeof value === "number") return String(value);
  if (value && typeof value === "object" && "value" in value) return String((value as Table).value);
  return "";
}

/** The value at a path of keys. */
export function get(table: Table | undefined, ...path: (string | number)[]): Value | undefined {
  let at: unknown = table;
  for (const key of path) {
    if (at === null || typeof at !== "object") return undefined;
    at = (at as Record<string | number, unknown>)[key];
  }
  return at as Value | undefined;
}

/** A copy with the value at a path changed; an empty text takes the key away. */
export function set(table: Table, value: Value | undefined, ...path: (string | number)[]): Table {
  const copy = structuredCloneToml(table) as Table;
  let at = copy as Record<string | number, unknown>;
  for (const key of path.slice(0, -1)) {
    const next = at[key];
    if (next === null || typeof next !== "object") at[key] = {};
    at = at[key] as Record<string | number, unknown>;
  }
  const last = path[path.length - 1];
  if (last === undefined) return copy;
  if (value === undefined || value === "") delete at[last];
  else at[last] = value;
  return copy;
}

/** Whether a value is a table: the reader makes them without a prototype; dates are objects of a class. */
export function isTable(value: unknown): value is Table {
  if (value === null || typeof value !== "object" || Array.isArray(value)) return false;
  const prototype: unknown = Object.getPrototypeOf(value);
  return prototype === null || prototype === Object.prototype;
}

// Dates of the document are objects of a class: they are kept as they are.
function structuredCloneToml(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(structuredCloneToml);
  if (isTable(value)) {
    return Object.fromEntries(Object.entries(value).map(([k, v]) => [k, structuredCloneToml(v)]));
  }
  return value;
}

/** Names of the documents in one folder of the bench, with their texts. */
export function documents(files: [string, string][], folder: string, table: string): { name: string; text: string }[] {
  const found: { name: string; text: string }[] = [];
  for (const [path, text] of files) {
    if (!path.startsWith(`${folder}/`)) continue;
    try {
      const name = ((parse(text) as Table)[table] as Table | undefined)?.name;
      if (typeof name === "string") found.push({ name, text });
    } catch {
      // The engine tells what is wrong with this file; it has no name to offer here.
    }
  }
  return found.sort((a, b) => a.name.localeCompare(b.name));
}
