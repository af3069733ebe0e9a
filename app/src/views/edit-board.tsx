// Editing a board's traits and a session's notes in the app that the tool serves; comments in the files stay.
import { signal } from "@preact/signals";
import { useId } from "preact/hooks";
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

/** A typed text as the document holds it: whole numbers stay numbers where they were, lists stay lists. */
function valueOf(text: string, before: Value | undefined): Value | undefined {
  const trimmed = text.trim();
  if (trimmed === "") return undefined;
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
    // Whole numbers of a board that are not there yet.
    const whole = before === undefined && (last === "pins" || last === "buttons") ? 0 : before;
    document = set(document, valueOf(text, whole), ...place);
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
}

function Form({ path, text, places, open }: { path: string; text: string; places: (document: Table) => Place[]; open: string }) {
  const id = useId();
  const now = editing.value[path];
  if (!canWrite()) return null;
  if (!now) return <p class="actions"><button type="button" class="quiet-button" onClick={() => begin(path, text)}>{open}</button></p>;
  const document = parse(now.was) as Table;
  const typed = Object.keys(now.values).length > 0;
  return (
    <form class="entry-form" onSubmit={(e) => { e.preventDefault(); void send(path); }}>
      <div class="entry-grid">
        {places(document).map(({ label, place, words }, i) => {
          const word = joined(place);
          const value = now.values[word] ?? figure(get(document, ...place));
          const input = (typedText: string) => change(path, { values: { ...now.values, [word]: typedText }, outcome: undefined });
          return (
            <p class="field" key={word}>
              <label for={`${id}${i}`}>{label}</label>
              {words ? (
                <select id={`${id}${i}`} value={value} onChange={(e) => input(e.currentTarget.value)}>
                  {words.includes(value) ? null : <option value={value}>{value || "not told"}</option>}
                  {words.map((w) => <option key={w} value={w}>{w}</option>)}
                </select>
              ) : <input id={`${id}${i}`} value={value} spellcheck={false} autocomplete="off" placeholder="not told" onInput={(e) => input(e.currentTarget.value)} />}
            </p>
          );
        })}
      </div>
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

/** The model's traits: those of yes and no always, whatever else the document tells. */
export function EditTraits({ board }: { board: string }) {
  const found = documentOf("boards", "board", board);
  if (!found) return null;
  const places = (document: Table): Place[] => {
    const traits = (get(document, "board", "traits") ?? {}) as Table;
    const told = Object.keys(traits).filter((k) => !TRAITS.some(([key]) => key === k) && figure(traits[k]) !== "");
    const names = Object.fromEntries(TRAITS) as Record<string, string>;
    return [...TRAITS.map(([k]) => k), ...told].map((k) => ({ label: names[k] ?? k.replaceAll("_", " "), place: ["board", "traits", k], words: k in names ? YES_NO : undefined }));
  };
  return <Form path={found.path} text={found.text} places={places} open="Edit the traits" />;
}

/** The notes of a session and of its readings. */
export function EditNotes({ session }: { session: string }) {
  const found = documentOf("sessions", "session", session);
  if (!found) return null;
  const places = (document: Table): Place[] => {
    const readings = (get(document, "session", "readings") ?? []) as Table[];
    return [
      { label: "note of the session", place: ["session", "note"] },
      ...readings.map((r, i) => ({ label: `note of ${figure(r.what)} ${figure(r.value) || (Array.isArray(r.repeats) ? (r.repeats as string[]).join(", ") : "")}`, place: ["session", "readings", i, "note"] })),
    ];
  };
  return <Form path={found.path} text={found.text} places={places} open="Edit the notes" />;
}
