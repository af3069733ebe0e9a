// Entry of readings at the bench, for a phone beside the board: one step's figures, each read back as it is typed.
import { signal } from "@preact/signals";
import { useEffect, useId } from "preact/hooks";
import { parse, stringify, TomlDate } from "smol-toml";
import { canWrite, documentOf, draft, keep, save, type Outcome } from "../edit";
import { part, Refused } from "../engine";
import { documents, figure, get, type Table } from "../project";
import { answer, engine, message, revision } from "../state";
import type { EntryField, EntryForm, StepLine } from "../types";
import { Saved, StorageNote } from "./saving";

type Typed = Record<string, string>;
type Said = { text: string; wrong?: string } | undefined;

const form = signal<EntryForm | undefined>(undefined);
const typed = signal<Typed>({});
const said = signal<Record<string, Said>>({});
const outcome = signal<Outcome | undefined>(undefined);
let shown = "";

const HEAD = ["date", "who", "instrument", "range", "temperature", "settled_for", "zero_before", "zero_after"] as const;

function today(): string {
  const now = new Date();
  return new Date(now.getTime() - 60_000 * now.getTimezoneOffset()).toISOString().slice(0, 10);
}

/** Trials of attaching and removing the source, in the documents' words; tested against the schema of a session. */
const EVENTS: [word: string, text: string][] = [["removed", "unplugged, or dark (removed)"], ["attached", "plugged in, or light (attached)"]];
const DOING = ["asleep", "awake", "radio on"];
const EDGES: [word: string, text: string][] = [["plug", "a plug"], ["slow ramp", "a slow ramp, as from a panel at dawn"]];
const SOURCES = ["USB", "USB and full cell", "panel"];

/** Rows of trials that the protocol does not name: `more 0 event`, `more 0 resets` … */
const MORE = ["event", "doing", "edge", "cell_voltage", "trials", "resets", "note"] as const;
const told = (name: string) => (typed.value[name] ?? "").trim();
const trialsOf = (name: string) => (name.startsWith("more") ? told(`${name.split(" ").slice(0, 2).join(" ")} trials`) : "") || told("trials") || "10";
const rowsOfMore = () => Number(told("more")) || 0;

const key = (specimen: string, step: number) => `entry ${specimen} ${step}`;

/** What is read in a field, in the engine's words; nothing where it is plain text. */
function kindOf(name: string): string | undefined {
  if (name.endsWith(" cell_voltage")) return "voltage";
  if (name === "temperature") return "temperature";
  if (name === "settled_for") return "duration";
  const of = form.value;
  if (name === "zero_before" || name === "zero_after") return of?.fields[0]?.what;
  const field = of?.fields[Number(name.split(" ")[0])];
  return field && field.place !== "ride_through" ? field.what : undefined;
}

const asked = new Map<string, string>();

/** Asks the engine what it understands; an answer to older letters is dropped. */
async function check(name: string, text: string): Promise<void> {
  asked.set(name, text);
  const tell = (value: Said) => { if (asked.get(name) === text) said.value = { ...said.value, [name]: value }; };
  const what = kindOf(name);
  if (text.trim() === "") return tell(undefined);
  if (!what) {
    const counted = name.endsWith(" resets") || form.value?.fields[Number(name.split(" ")[0])]?.place === "ride_through";
    if (counted) {
      const trials = Number(trialsOf(name));
      return tell(/^\d{1,6}$/.test(text.trim()) && Number(text) <= trials ? undefined : { text: "", wrong: `a whole number, 0 to ${trials}, the trials that were made` });
    }
    return tell(/(^|\s)trials$/.test(name) && !/^[1-9]\d{0,5}$/.test(text.trim()) ? { text: "", wrong: "a whole number from 1" } : undefined);
  }
  try {
    const back = part(await answer({ read_back: { what, text } }), "read_back");
    tell({ text: back.text });
  } catch (error) {
    const first = error instanceof Refused ? error.diagnostics[0] : undefined;
    // The server may be gone for a moment: what is typed stays, and is checked again when it is saved.
    tell(first ? { text: "", wrong: `${first.message}${first.help ? `; ${first.help}` : ""}` } : { text: `not checked: ${message(error)}` });
  }
}

function put(specimen: string, step: number, name: string, text: string): void {
  typed.value = { ...typed.value, [name]: text };
  keep(key(specimen, step), typed.value);
  if (outcome.value?.kind === "saved") outcome.value = undefined;
  void check(name, text);
  // A count of resets is held against the trials that were made.
  if (name.endsWith("trials")) for (const [other, value] of Object.entries(typed.value)) if (other.endsWith(" resets") || /^\d+ 0$/.test(other)) void check(other, value);
}

async function load(specimen: string, step: number): Promise<void> {
  shown = key(specimen, step);
  const own = shown;
  form.value = undefined;
  outcome.value = undefined;
  said.value = {};
  typed.value = { date: today(), ...draft<Typed>("entry head"), ...draft<Typed>(own) };
  try {
    const found = part(await answer({ entry: { step } }), "entry");
    if (own !== shown) return;
    form.value = found ?? undefined;
    for (const [name, text] of Object.entries(typed.value)) void check(name, text);
  } catch (error) {
    outcome.value = { kind: "failed", why: message(error) };
  }
}

/** The session's document with what was typed: the one of the same name continued, or a new one. */
function written(specimen: string, of: EntryForm): { path: string; was: string | null; text: string } {
  // Trials have no source of their own: those from another source go into a session of their own.
  const source = of.tag === "ride-through" ? told("source") || "USB" : of.source;
  const name = `${told("date")} ${specimen} ${of.tag}${of.tag === "ride-through" && source !== "USB" ? `, ${source}` : ""}`;
  const known = documentOf("sessions", "session", name);
  const session: Table = known ? ((parse(known.text) as Table).session as Table) : { name, specimen, date: new TomlDate(told("date")) };
  const head: [string, string | null | undefined][] = [["who", told("who")], ["instrument", told("instrument")], ["temperature", told("temperature")], ["supply", of.supply], ["source", source]];
  for (const [k, v] of head) if (v && session[k] === undefined) session[k] = v;
  if (of.state && session.firmware === undefined) session.firmware = { state: of.state };
  const readings = Array.isArray(session.readings) ? (session.readings as Table[]) : [];
  const trials = Array.isArray(session.ride_through) ? (session.ride_through as Table[]) : [];
  of.fields.forEach((field, i) => {
    const values = Array.from({ length: field.repeats }, (_, k) => told(`${i} ${k}`)).filter(Boolean);
    if (values.length === 0) return;
    if (field.place === "polarity" && field.key) {
      session.polarity = { ...(session.polarity as Table | undefined), [field.key]: values[0] as string };
    } else if (field.place === "ride_through") {
      trials.push({ event: field.event ?? "removed", doing: field.doing ?? "asleep", edge: told("edge") || "plug", cell_voltage: field.supply ?? "", resets: BigInt(values[0] as string), trials: BigInt(trialsOf("")) });
    } else {
      const reading: Table = { what: field.what };
      if (values.length > 1) reading.repeats = values;
      else reading.value = values[0] as string;
      const optional: [string, string | null][] = [["range", told("range")], ["supply", field.supply], ["source", field.source], ["settled_for", told("settled_for")], ["note", field.note]];
      for (const [k, v] of optional) if (v) reading[k] = v;
      if (of.zero) for (const k of ["zero_before", "zero_after"]) if (told(k)) reading[k] = told(k);
      readings.push(reading);
    }
  });
  for (let k = 0; k < rowsOfMore(); k++) {
    const own = (part: (typeof MORE)[number]) => told(`more ${k} ${part}`);
    if (!own("resets")) continue;
    const row: Table = { event: own("event") || "removed", doing: own("doing") || "asleep", edge: own("edge") || told("edge") || "plug", cell_voltage: own("cell_voltage"), resets: BigInt(own("resets")), trials: BigInt(trialsOf(`more ${k} `)) };
    if (own("note")) row.note = own("note");
    trials.push(row);
  }
  if (readings.length > 0) session.readings = readings;
  if (trials.length > 0) session.ride_through = trials;
  const stem = name.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-+|-+$/g, "");
  return { path: known?.path ?? `sessions/${stem}.toml`, was: known?.text ?? null, text: stringify({ session }) };
}

async function send(specimen: string, step: number, of: EntryForm): Promise<void> {
  const { path, was, text } = written(specimen, of);
  turn(specimen, step, await save(path, was, text, was !== null));
}

function turn(specimen: string, step: number, to: Outcome | undefined): void {
  outcome.value = to;
  if (to?.kind !== "saved") return;
  // What holds for the whole sitting is kept for the next step; the figures are in the file now.
  const head = Object.fromEntries(["who", "instrument", "temperature"].map((k) => [k, typed.value[k] ?? ""]));
  keep("entry head", head);
  keep(key(specimen, step), undefined);
  typed.value = { date: typed.value.date ?? today(), ...head };
  said.value = {};
}

function Choice({ specimen, step, name, label, words, otherwise }: { specimen: string; step: number; name: string; label: string; words: [word: string, text: string][]; otherwise: string }) {
  const id = useId();
  return (
    <p class="field entry">
      <label for={id}>{label}</label>
      <select id={id} value={told(name) || otherwise} onChange={(e) => put(specimen, step, name, e.currentTarget.value)}>{words.map(([word, text]) => <option key={word} value={word}>{text}</option>)}</select>
    </p>
  );
}

function less(specimen: string, step: number, row: number): void {
  const without = <T,>(of: Record<string, T>) => Object.fromEntries(Object.entries(of).filter(([name]) => !name.startsWith(`more ${row} `)));
  typed.value = without(typed.value);
  said.value = without(said.value);
  put(specimen, step, "more", String(row));
}

/** Trials at other voltages, in another state, over another edge, as often as they were made. */
function MoreTrials({ specimen, step }: { specimen: string; step: number }) {
  const rows = rowsOfMore();
  return (
    <>
      {Array.from({ length: rows }, (_, k) => (
        <div key={k} class="entry-grid more-trials" role="group" aria-label={`other trials ${k + 1}`}>
          <Choice specimen={specimen} step={step} name={`more ${k} event`} label="the source was" words={EVENTS} otherwise="removed" />
          <Choice specimen={specimen} step={step} name={`more ${k} edge`} label="over" words={EDGES} otherwise={told("edge") || "plug"} />
          <Choice specimen={specimen} step={step} name={`more ${k} doing`} label="while" words={DOING.map((d) => [d, d])} otherwise="asleep" />
          <Input specimen={specimen} step={step} name={`more ${k} cell_voltage`} label="cell at" example="3.4 V" />
          <Input specimen={specimen} step={step} name={`more ${k} trials`} label="trials" example={told("trials") || "10"} />
          <Input specimen={specimen} step={step} name={`more ${k} resets`} label="resets among them" />
          <Input specimen={specimen} step={step} name={`more ${k} note`} label="note" />
        </div>
      ))}
      <p class="actions"><button type="button" class="quiet-button" onClick={() => put(specimen, step, "more", String(rows + 1))}>Other trials</button>{rows > 0 ? <button type="button" class="quiet-button" onClick={() => less(specimen, step, rows - 1)}>One row less</button> : null}</p>
    </>
  );
}

function Input({ specimen, step, name, label, example, list }: { specimen: string; step: number; name: string; label: string; example?: string; list?: string[] }) {
  const id = useId();
  const back = said.value[name];
  return (
    <p class="field entry">
      <label for={id}>{label}</label>
      <input id={id} type={name === "date" ? "date" : "text"} list={list ? `${id}l` : undefined} value={typed.value[name] ?? ""} placeholder={example} spellcheck={false} autocomplete="off" autocapitalize="off" enterkeyhint="next" aria-invalid={back?.wrong ? "true" : undefined} aria-describedby={`${id}s`} onInput={(e) => put(specimen, step, name, e.currentTarget.value)} />
      {list ? <datalist id={`${id}l`}>{list.map((v) => <option key={v} value={v} />)}</datalist> : null}
      <span id={`${id}s`} class={back?.wrong ? "warn" : "hint"} aria-live="polite">{back?.wrong ?? (back?.text ? `= ${back.text}` : "")}</span>
    </p>
  );
}

/** Meters of the folder, and the ranges that were named so far. */
function meters(): { names: string[]; ranges: string[] } {
  const files = engine.value?.content.files ?? [];
  const names = documents(files, "instruments", "instrument").map((d) => d.name);
  const ranges = new Set<string>();
  for (const [path, text] of files) {
    if (!path.startsWith("sessions/") && !path.startsWith("instruments/")) continue;
    try {
      const all = parse(text) as Table;
      const rows = (get(all, "session", "readings") ?? get(all, "instrument", "ranges")) as Table[] | undefined;
      for (const row of rows ?? []) {
        const name = figure(row.range ?? row.name);
        if (name) ranges.add(name);
      }
    } catch {
      // The engine tells what is wrong with this file.
    }
  }
  return { names, ranges: [...ranges].sort() };
}

const LABELS: Record<(typeof HEAD)[number], [label: string, example: string]> = {
  date: ["date", ""],
  who: ["who", ""],
  instrument: ["meter", "hand-held meter"],
  range: ["range, locked", "60 µA"],
  temperature: ["temperature of the board", "22 °C"],
  settled_for: ["left to settle for", "60 s"],
  zero_before: ["zero before, input open", "0.02 µA"],
  zero_after: ["zero after", "0.02 µA"],
};

function labelOf(field: EntryField, k: number): string {
  return field.repeats > 1 ? `${field.label}, reading ${k + 1}` : field.label;
}

export function Entry({ specimen, step, line }: { specimen: string; step: number; line: StepLine }) {
  useEffect(() => { void load(specimen, step); }, [specimen, step]);
  const of = form.value;
  if (!canWrite() || !of || of.step !== step) return null;
  if (line.status === "blocked" || line.status === "never" || line.status === "does_not_apply") {
    return <p class="gate">{line.status === "never" ? "This specimen is dead: nothing more is measured on it." : line.status === "does_not_apply" ? "This step does not apply to this board." : `Nothing is entered here yet. ${line.in_the_way.join("; ")}.`}</p>;
  }
  const { names, ranges } = revision.value >= 0 ? meters() : { names: [], ranges: [] };
  const head = HEAD.filter((name) => of.zero || !name.startsWith("zero_")).filter((name) => of.tag !== "ride-through" || !["range", "settled_for"].includes(name)).filter((name) => of.tag !== "polarity" || !["range", "settled_for", "temperature"].includes(name));
  const wrong = Object.values(said.value).some((s) => s?.wrong);
  const ride = of.tag === "ride-through";
  const counted = Array.from({ length: ride ? rowsOfMore() : 0 }, (_, k) => k).filter((k) => told(`more ${k} resets`));
  const missing = counted.some((k) => !told(`more ${k} cell_voltage`));
  const any = counted.length > 0 || Object.entries(typed.value).some(([name, value]) => /^\d/.test(name) && value.trim() !== "");
  return (
    <form class="entry-form" onSubmit={(e) => { e.preventDefault(); if (any && !wrong && !missing) void send(specimen, step, of); }}>
      {ride ? (
        <>
          <div class="entry-grid">
            <Choice specimen={specimen} step={step} name="source" label="source" words={SOURCES.map((s) => [s, s])} otherwise="USB" />
            <Choice specimen={specimen} step={step} name="edge" label="it came and went over" words={EDGES} otherwise="plug" />
            <Input specimen={specimen} step={step} name="trials" label="trials of each kind" example="10" />
          </div>
          <p class="quiet">How often the processor reset among those trials; leave empty what was not tried.</p>
        </>
      ) : null}
      <div class="entry-grid">
        {of.fields.flatMap((field, i) => Array.from({ length: field.repeats }, (_, k) => <Input key={`${i} ${k}`} specimen={specimen} step={step} name={`${i} ${k}`} label={labelOf(field, k)} example={field.place === "ride_through" ? "not tried" : field.example} />))}
      </div>
      {ride ? <MoreTrials specimen={specimen} step={step} /> : null}
      <details open>
        <summary>Conditions</summary>
        <div class="entry-grid">
          {head.map((name) => <Input key={name} specimen={specimen} step={step} name={name} label={LABELS[name][0]} example={LABELS[name][1]} list={name === "instrument" ? names : name === "range" ? ranges : undefined} />)}
        </div>
      </details>
      <p class="actions"><button type="submit" disabled={!any || wrong || missing}>Save these readings</button>{wrong ? <span class="quiet">a figure above cannot be read yet</span> : missing ? <span class="quiet">the cell's voltage of the other trials is missing</span> : null}</p>
      <Saved outcome={outcome.value} turn={(to) => turn(specimen, step, to)} />
      <StorageNote />
    </form>
  );
}
