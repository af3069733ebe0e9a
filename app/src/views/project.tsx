// The project beside the table: the form writes the same text that the command line reads; every change ranks again.
import { signal } from "@preact/signals";
import { useId } from "preact/hooks";
import { figure, get, read, set, write, type Table, type Value } from "../project";
import { canWrite, documentOf, save, type Outcome } from "../edit";
import { cells, changed, choose, link, message, project, projects, ranked, revision, started, text, told } from "../state";
import { Faults } from "./parts";
import { Saved } from "./saving";

const asText = signal(false);
const copied = signal<string | undefined>(undefined);
// On a narrow screen the ranking comes first.
const panelOpen = signal(matchMedia("(min-width: 60rem)").matches);

function change(value: Value | undefined, ...path: (string | number)[]): void {
  const now = project.value;
  if (now) text.value = write(set(now, value, ...path));
}

interface FieldProps {
  label: string;
  path: (string | number)[];
  placeholder?: string;
  /** Shown under the field. */
  hint?: string;
  /** Takes the whole width where fields stand in pairs. */
  wide?: boolean;
}

/** A field of one figure: what is typed goes into the project as it is, so that a fault is told where it stands. */
function Field({ label, path, placeholder, hint, wide }: FieldProps) {
  const id = useId();
  const value = get(project.value, ...path);
  const input = (typed: string) => {
    const trimmed = typed.trim();
    // A figure with its source keeps the source.
    if (value && typeof value === "object" && !Array.isArray(value) && "value" in value && trimmed) change(typed, ...path, "value");
    else change(trimmed === "" ? undefined : typed, ...path);
  };
  return (
    <p class={wide ? "field whole-width" : "field"}>
      <label for={id}>{label}</label>
      <input id={id} value={figure(value)} placeholder={placeholder} spellcheck={false} autocomplete="off" onInput={(e) => input(e.currentTarget.value)} aria-describedby={hint ? `${id}h` : undefined} />
      {hint ? <span id={`${id}h`} class="hint">{hint}</span> : null}
    </p>
  );
}

function WholeNumber({ label, path }: FieldProps) {
  const id = useId();
  return (
    <p class="field">
      <label for={id}>{label}</label>
      <input id={id} type="number" min="0" step="1" value={figure(get(project.value, ...path))} onInput={(e) => {
        const typed = e.currentTarget.value;
        change(typed === "" ? undefined : BigInt(Math.max(0, Math.trunc(Number(typed)))), ...path);
      }} />
    </p>
  );
}

function Select({ label, path, options }: FieldProps & { options: [value: string, text: string][] }) {
  const id = useId();
  const value = figure(get(project.value, ...path));
  const known = options.some(([v]) => v === value);
  return (
    <p class="field">
      <label for={id}>{label}</label>
      <select id={id} value={value} onChange={(e) => change(e.currentTarget.value || undefined, ...path)}>
        {known ? null : <option value={value}>{value || "–"}</option>}
        {options.map(([v, name]) => <option key={v} value={v}>{name}</option>)}
      </select>
    </p>
  );
}

const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

function Place() {
  const now = project.value as Table;
  const climate = get(now, "temperature");
  const kind = climate === undefined ? (get(now, "site") ? "site" : "none") : get(now, "temperature", "monthly") ? "monthly" : "constant";
  const means = get(now, "temperature", "monthly", "mean");
  const id = useId();
  const turn = (to: string) => {
    if (to === "constant") change({ constant: "20 °C" }, "temperature");
    else if (to === "monthly") change({ monthly: { mean: Array<string>(12).fill("10 °C"), daily_swing: "8 K" } }, "temperature");
    else change(undefined, "temperature");
  };
  return (
    <fieldset>
      <legend>Place</legend>
      <p class="field">
        <label for={id}>temperature of the cell</label>
        <select id={id} value={kind} onChange={(e) => turn(e.currentTarget.value)}>
          <option value="constant">the same all year</option>
          <option value="monthly">by month</option>
          {get(now, "site") ? <option value="site">the site's: {figure(get(now, "site"))}</option> : <option value="none">not told</option>}
        </select>
      </p>
      {kind === "constant" ? <Field label="temperature" path={["temperature", "constant"]} placeholder="20 °C" /> : null}
      {kind === "monthly" && Array.isArray(means) ? (
        <>
          <details>
            <summary>Means by month</summary>
            <div class="months">
              {MONTHS.map((month, i) => (
                <label key={month}>{month}<input value={figure(means[i])} spellcheck={false} onInput={(e) => change(e.currentTarget.value, "temperature", "monthly", "mean", i)} /></label>
              ))}
            </div>
          </details>
          <Field label="daily swing" path={["temperature", "monthly", "daily_swing"]} placeholder="8 K" />
        </>
      ) : null}
    </fieldset>
  );
}

function Load() {
  const activities = get(project.value, "activities");
  const list = Array.isArray(activities) ? (activities as Table[]) : [];
  const add = () => change([...list, { name: `activity ${list.length + 1}`, every: "1 h", charge: "100 mC ± 10 %", duration: "1 s" }], "activities");
  return (
    <fieldset>
      <legend>Load</legend>
      {list.map((activity, i) => {
        const segments = Array.isArray(activity.segments) ? activity.segments.length : 0;
        return (
          <div class="activity" key={i} role="group" aria-label={`activity ${figure(activity.name)}`}>
            <Field label="activity" path={["activities", i, "name"]} />
            <Field label="every" path={["activities", i, "every"]} placeholder="15 min" />
            {segments > 0 ? <p class="hint">{segments} {segments === 1 ? "segment" : "segments"}: edit them in the text below.</p> : (
              <>
                <Field label="duration each time" path={["activities", i, "duration"]} placeholder="2 s" />
                <Field label="charge each time" path={["activities", i, "charge"]} placeholder="190 mC ± 10 %" wide />
                <Field label="highest current" path={["activities", i, "peak", "current"]} placeholder="340 mA" wide />
              </>
            )}
            {list.length > 1 ? <button type="button" class="quiet-button" onClick={() => change(list.filter((_, j) => j !== i), "activities")}>Remove this activity</button> : null}
          </div>
        );
      })}
      <button type="button" class="quiet-button" onClick={add}>Add an activity</button>
    </fieldset>
  );
}

/** Traits of yes and no, with the words of the trade. */
export const TRAITS: [key: string, name: string][] = [
  ["certification_mark", "certification mark"],
  ["charger", "charger"],
  ["external_antenna", "external antenna"],
  ["battery_switch", "battery switch"],
  ["usb_bridge", "USB-serial bridge"],
  ["deep_discharge_protection", "deep-discharge protection"],
  ["led_in_sleep", "LED on in sleep"],
  ["resets_on_source_removed", "resets on removal of the source"],
  ["resets_on_source_attached", "resets on attaching a source"],
];

function Needs() {
  const given = (key: string) => figure(get(project.value, "needs", "traits", key));
  const count = TRAITS.filter(([key]) => given(key)).length;
  const life = get(project.value, "needs", "life");
  return (
    <fieldset>
      <legend>Needs</legend>
      {life === undefined
        ? <button type="button" class="quiet-button" onClick={() => change({ at_least: figure(get(project.value, "target_life")) || "1 yr", probability: "90 %" }, "needs", "life")}>Ask for a life</button>
        : (
          <div class="pair">
            <Field label="lasts at least" path={["needs", "life", "at_least"]} placeholder="9 months" />
            <Field label="with a chance of" path={["needs", "life", "probability"]} placeholder="90 %" />
          </div>
        )}
      <details open={count > 0}>
        <summary>Traits <span class="quiet">{count}</span></summary>
        {TRAITS.map(([key, name]) => <Select key={key} label={name} path={["needs", "traits", key]} options={[["", "does not matter"], ["yes", "must be: yes"], ["no", "must be: no"]]} />)}
      </details>
      <details>
        <summary>Limits</summary>
        <Field label="sleep current at most" path={["needs", "sleep_current_at_most"]} placeholder="20 µA" />
        <Field label="charge current at most" path={["needs", "charger_current_at_most"]} placeholder="500 mA" />
        <Field label="price at most" path={["needs", "price_at_most"]} placeholder="8 EUR" />
        <Field label="length at most" path={["needs", "length_at_most"]} placeholder="60 mm" />
        <Field label="width at most" path={["needs", "width_at_most"]} placeholder="30 mm" />
        <WholeNumber label="free breadboard holes" path={["needs", "free_holes_at_least"]} />
        <WholeNumber label="pins" path={["needs", "pins_at_least"]} />
      </details>
    </fieldset>
  );
}

const saved = signal<Outcome | undefined>(undefined);

/** Saves the text as a new document of the bench; a file that is already there is never written over. */
async function saveNew(): Promise<void> {
  const name = figure(get(project.value, "name"));
  const stem = name.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-+|-+$/g, "") || "project";
  const outcome = await save(`projects/${stem}.toml`, null, text.value, false);
  saved.value = outcome;
  if (outcome.kind === "saved") started.value = name;
}

/** Saves the changes into the project's own file; its comments stay. */
async function saveInto(file: { path: string; text: string }): Promise<void> {
  took(await save(file.path, file.text, text.value, !asText.value));
}

function took(outcome: Outcome | undefined): void {
  saved.value = outcome;
  if (outcome?.kind === "saved") text.value = outcome.text;
}

/** The file of the project that this one started from; kept from the moment the first change was typed. */
let from: { name: string; path: string; text: string } | undefined;
function origin(): { path: string; text: string } | undefined {
  if (!changed.value || from?.name !== started.value) {
    const found = documentOf("projects", "project", started.value);
    from = found ? { name: started.value, ...found } : undefined;
  }
  return from;
}

async function copy(): Promise<void> {
  const address = await link();
  try {
    await navigator.clipboard.writeText(address);
    copied.value = "The link is on the clipboard; the project is in it.";
  } catch (error) {
    copied.value = `This browser does not hand out its clipboard (${message(error)}); the address bar holds the same link.`;
  }
}

/** A first project, to be filled with the reader's own figures. */
function begin(): void {
  text.value = write({
    name: "my project",
    cell: cells.value[0]?.name ?? "my cell",
    target_life: "1 yr",
    temperature: { constant: "15 °C" },
    activities: [{ name: "report", every: "15 min", charge: "150 mC ± 10 %", duration: "2 s", peak: { current: "320 mA", duration: "5 ms" } }],
  });
}

export function ProjectPanel() {
  const textId = useId();
  const { faults } = ranked.value;
  const file = revision.value >= 0 ? origin() : undefined;
  const readable = project.value !== undefined;
  return (
    <aside class="project" aria-label="Project">
      <details class="panel" open={panelOpen.value} onToggle={(e) => { panelOpen.value = e.currentTarget.open; }}>
        <summary><h2>Project</h2>{changed.value ? <span class="tag">yours</span> : null}</summary>
        <form onSubmit={(e) => e.preventDefault()}>
          <p class="field">
            <label for="start">start from</label>
            <select id="start" value={started.value} onChange={(e) => choose(e.currentTarget.value)}>
              {projects.value.map((p) => <option key={p.name} value={p.name}>{p.name}</option>)}
            </select>
          </p>
          {readable && !asText.value ? (
            <>
              {changed.value || started.value === "" ? <Field label="name" path={["name"]} /> : null}
              <fieldset>
                <legend>Cell</legend>
                <Select label="cell" path={["cell"]} options={cells.value.map((c) => [c.name, c.name])} />
              </fieldset>
              <Needs />
              <Load />
              <Place />
              <fieldset>
                <legend>Differences</legend>
                <Field label="smallest that matters" path={["smallest_difference"]} placeholder="14 d" hint="Boards closer than this count as equal." />
              </fieldset>
            </>
          ) : null}
          {text.value === "" ? <p class="actions"><button type="button" onClick={begin}>Begin a project</button></p> : null}
          {readable || asText.value || text.value === "" ? null : <p class="warn">The form cannot show this text until it can be read; what you typed is kept.</p>}
          {asText.value || (!readable && text.value !== "") ? (
            <p class="field">
              <label for={textId}>project as text</label>
              <textarea id={textId} rows={24} spellcheck={false} value={text.value} onInput={(e) => { text.value = e.currentTarget.value; }} />
            </p>
          ) : null}
          <Faults of={faults} title={ranked.value.choice ? "Not ranked yet" : undefined} />
          <p class="actions">
            <button type="button" aria-pressed={asText.value} disabled={!readable} onClick={() => { asText.value = !asText.value; }}>As text</button>
            <button type="button" onClick={() => void copy()}>Copy link</button>
            <button type="button" disabled={!changed.value} onClick={() => choose(started.value)}>Undo changes</button>
            {canWrite() && file && figure(get(project.value, "name")) === started.value ? <button type="button" disabled={!changed.value || !readable} onClick={() => void saveInto(file)}>Save in {file.path}</button> : null}
            {canWrite() ? <button type="button" disabled={!(changed.value || started.value === "") || !readable} onClick={() => void saveNew()}>Save as a new project</button> : null}
          </p>
          <Saved outcome={saved.value} turn={took} />
          {copied.value ? <p class="quiet" role="status">{copied.value}</p> : null}
          <p class="quiet">{told.value?.home === "bench" ? "What you enter goes to the tool on this machine and nowhere else." : "Nothing you enter leaves this page."} The text is a project document: saved as a file in <code>projects/</code>, the command line answers the same.</p>
        </form>
      </details>
    </aside>
  );
}

/** Reads a project's target in the form, for the forecast's slider. */
export function targetPath(): (string | number)[] {
  return get(read(text.value), "needs", "life", "at_least") !== undefined ? ["needs", "life", "at_least"] : ["target_life"];
}

export function setTarget(value: string): void {
  change(value, ...targetPath());
}
