// Editing the traits of a board, its revisions and specimens, and a session's notes in the app that the tool serves; comments in the files stay.
import { signal } from "@preact/signals";
import type { ComponentChildren } from "preact";
import { useId, useState } from "preact/hooks";
import { parse, stringify } from "smol-toml";
import { canWrite, documentOf, draft, keep, save, type Outcome } from "../edit";
import { figure, get, set, type Table, type Value } from "../project";
import { TRAITS } from "./project";
import { Saved, StorageNote } from "./saving";

/** What is being typed, by file; the text it began from stays with it, so that a change from outside is seen. */
interface Editing {
  path: string;
  was: string;
  values: Record<string, string>;
  outcome?: Outcome;
}
const editing = signal<Record<string, Editing>>({});

function change(path: string, next: Partial<Editing>): void {
  const now = editing.value[path];
  if (!now) return;
  const after = { ...now, ...next };
  editing.value = { ...editing.value, [path]: after };
  keep(`edit ${path}`, Object.keys(after.values).length > 0 ? { was: after.was, values: after.values } : undefined);
}

function begin(path: string, text: string): void {
  const kept = draft<{ was: string; values: Record<string, string> }>(`edit ${path}`);
  editing.value = { ...editing.value, [path]: { path, was: kept?.was ?? text, values: kept?.values ?? {} } };
}

function end(path: string): void {
  const { [path]: _, ...rest } = editing.value;
  editing.value = rest;
  keep(`edit ${path}`, undefined);
}

/** A place in a document as one word, and back. */
const joined = (place: (string | number)[]) => JSON.stringify(place);

/** What stands in a field: a list as its words. */
function shown(value: Value | undefined): string {
  return Array.isArray(value) ? (value.length === 0 ? "none" : value.map(figure).join(", ")) : figure(value);
}

/** A typed text as the document holds it: whole numbers stay numbers where they were, lists stay lists. */
function valueOf(text: string, before: Value | undefined): Value | undefined {
  const trimmed = text.trim();
  if (trimmed === "") return undefined;
  if (Array.isArray(before)) return trimmed.toLowerCase() === "none" ? [] : trimmed.split(",").map((word) => word.trim()).filter(Boolean);
  if ((typeof before === "number" || typeof before === "bigint") && /^\d+$/.test(trimmed)) return BigInt(trimmed);
  if (before !== null && typeof before === "object" && !Array.isArray(before) && "value" in before) return { ...(before as Table), value: trimmed };
  return trimmed;
}

async function send(path: string): Promise<void> {
  const now = editing.value[path];
  if (!now) return;
  let document = parse(now.was) as Table;
  for (const [word, text] of Object.entries(now.values)) {
    const place = JSON.parse(word) as (string | number)[];
    const before = get(document, ...place);
    const last = place[place.length - 1];
    // A whole number and a list that are not there yet.
    const like = before ?? (last === "pins" ? 0 : last === "buttons" ? [] : undefined);
    document = set(document, valueOf(text, like), ...place);
  }
  turned(path, await save(path, now.was, stringify(document), true));
}

function turned(path: string, outcome: Outcome | undefined): void {
  if (outcome?.kind === "saved") change(path, { was: outcome.text, values: {}, outcome });
  else change(path, { outcome });
}

interface Place {
  label: string;
  place: (string | number)[];
  /** Words to choose from; free text otherwise. */
  words?: string[];
  /** What holds as long as nothing is told here. */
  otherwise?: string;
}

/** Fields that belong together; with a title they can be folded away. */
interface Group {
  title?: string;
  open?: boolean;
  places: Place[];
}

function Fields({ path, places, document, now }: { path: string; places: Place[]; document: Table; now: Editing }) {
  const id = useId();
  return (
    <div class="entry-grid">
      {places.map(({ label, place, words, otherwise = "not told" }, i) => {
        const word = joined(place);
        const value = now.values[word] ?? shown(get(document, ...place));
        const input = (typedText: string) => change(path, { values: { ...now.values, [word]: typedText }, outcome: undefined });
        return (
          <p class="field" key={word}>
            <label for={`${id}${i}`}>{label}</label>
            {words ? (
              <select id={`${id}${i}`} value={value} onChange={(e) => input(e.currentTarget.value)}>
                <option value="">{otherwise}</option>
                {value === "" || words.includes(value) ? null : <option value={value}>{value}</option>}
                {words.map((w) => <option key={w} value={w}>{w}</option>)}
              </select>
            ) : <input id={`${id}${i}`} value={value} spellcheck={false} autocomplete="off" placeholder={otherwise} onInput={(e) => input(e.currentTarget.value)} />}
          </p>
        );
      })}
    </div>
  );
}

function Fold({ title, open: first, children, told }: { title: string; open: boolean; told: number; children: () => ComponentChildren }) {
  const [open, setOpen] = useState(first);
  return (
    <details open={open} onToggle={(e) => setOpen(e.currentTarget.open)}>
      <summary><bdi>{title}</bdi> <span class="quiet">{told} told</span></summary>
      {open ? <div role="group" aria-label={title}>{children()}</div> : null}
    </details>
  );
}

function Form({ path, text, groups, open }: { path: string; text: string; groups: (document: Table) => Group[]; open: string }) {
  const now = editing.value[path];
  if (!canWrite()) return null;
  if (!now) return <p class="actions"><button type="button" class="quiet-button" onClick={() => begin(path, text)}>{open}</button></p>;
  const document = parse(now.was) as Table;
  const typed = Object.keys(now.values).length > 0;
  return (
    <form class="entry-form" onSubmit={(e) => { e.preventDefault(); void send(path); }}>
      {groups(document).map(({ title, places, open: first }) => {
        const fields = () => <Fields path={path} places={places} document={document} now={now} />;
        const mine = places.some(({ place }) => joined(place) in now.values);
        return title ? <Fold key={title} title={title} open={first || mine} told={places.filter(({ place }) => get(document, ...place) !== undefined).length}>{fields}</Fold> : fields();
      })}
      <p class="actions">
        <button type="submit" disabled={!typed}>Save in {path}</button>
        <button type="button" class="quiet-button" onClick={() => end(path)}>{typed ? "Throw the changes away" : "Close"}</button>
      </p>
      <Saved outcome={now.outcome} turn={(to) => turned(path, to)} />
      <StorageNote />
    </form>
  );
}

const YES_NO = ["yes", "no", "unknown"];

/** All traits that a document can tell, with their words; tested against the schema of a board. */
const FIELDS: [key: string, label: string, words?: string[]][] = [
  ["positive_side", "+ side", ["left", "right", "unknown"]],
  ["battery_connector", "battery connector", ["two-pin socket", "solder pads", "header pins", "screw terminal", "cell holder", "none", "unknown"]],
  ["battery_pitch", "pitch of the battery connector"],
  ["radio_part", "radio part", ["shielded certified module", "bare chip", "flash in package", "unknown"]],
  ...TRAITS.map(([key, name]) => [key, name, YES_NO] as [string, string, string[]]),
  ["usb_bridge_feed", "bridge fed from", ["battery", "rail", "USB", "unknown"]],
  ["charger_marking", "marking of the charger"],
  ["regulator_marking", "marking of the regulator"],
  ["label_side", "pin labels", ["top", "bottom", "both", "none", "unknown"]],
  ["pins", "pins"],
  ["row_spacing", "row spacing"],
  ["buttons", "buttons"],
  ["length", "length"],
  ["width", "width"],
  ["mass", "mass"],
];

/** Traits of the model, of its revisions and of its specimens, each over those above it. */
export function EditTraits({ board }: { board: string }) {
  const found = documentOf("boards", "board", board);
  if (!found) return null;
  const groups = (document: Table): Group[] => {
    const list = (key: string) => (get(document, "board", key) ?? []) as Table[];
    const fields = (place: (string | number)[], below: [name: string, traits: Value | undefined][]) =>
      FIELDS.map(([key, label, words]): Place => {
        const known = below.find(([, traits]) => get(traits as Table | undefined, key) !== undefined);
        return { label, place: [...place, "traits", key], words, otherwise: known ? `as the ${known[0]}: ${shown(get(known[1] as Table, key))}` : undefined };
      });
    const model: [string, Value | undefined] = ["model", get(document, "board", "traits")];
    return [
      { title: "the model", open: true, places: fields(["board"], []) },
      ...list("revisions").map((r, i) => ({ title: `revision ${figure(r.name)}`, places: fields(["board", "revisions", i], [model]) })),
      ...list("specimens").map((s, i) => {
        const own = list("revisions").find((r) => r.name === s.revision);
        return { title: `specimen ${figure(s.id)}`, places: fields(["board", "specimens", i], [...(own ? [["revision", own.traits] as [string, Value | undefined]] : []), model]) };
      }),
    ];
  };
  return <Form path={found.path} text={found.text} groups={groups} open="Edit the traits" />;
}

/** The notes of a session and of its readings. */
export function EditNotes({ session }: { session: string }) {
  const found = documentOf("sessions", "session", session);
  if (!found) return null;
  const groups = (document: Table): Group[] => {
    const readings = (get(document, "session", "readings") ?? []) as Table[];
    return [{ places: [
      { label: "note of the session", place: ["session", "note"] },
      ...readings.map((r, i) => ({ label: `note of ${figure(r.what)} ${figure(r.value) || (Array.isArray(r.repeats) ? (r.repeats as string[]).join(", ") : "")}`, place: ["session", "readings", i, "note"] })),
    ] }];
  };
  return <Form path={found.path} text={found.text} groups={groups} open="Edit the notes" />;
}
