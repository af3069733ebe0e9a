// Two recordings beside each other: what changed, by how much, and whether that is more than chance.
import { signal } from "@preact/signals";
import { useEffect, useState } from "preact/hooks";
import { engineering, percent, significant } from "../format";
import { answer, asked, changed, message, started, text } from "../state";
import { part } from "../engine";
import { faultOf, type Recordings } from "../traces";
import type { Mean, RecordingLine, TraceChange, TraceComparison, TraceDays, TraceFigure, TraceSummary, TraceWorth } from "../types";
import { Unknown, Waiting } from "./parts";
import { Bulleted, Figures, Select, Sheet, Told } from "./sheet";

const pair = signal<{ before: string; after: string } | undefined>(undefined);

export function Compare({ lines, of }: { lines: RecordingLine[]; of: Recordings }) {
  const known = (name: string | undefined) => lines.find((l) => l.name === name);
  const before = known(pair.value?.before) ?? (lines[0] as RecordingLine);
  const after = known(pair.value?.after) ?? (lines[1] as RecordingLine);
  const [shown, setShown] = useState<{ of: string; found?: TraceComparison; faults?: ReturnType<typeof faultOf> } | undefined>();
  const project = started.value || null;
  const key = `${before.name}\n${after.name}\n${project ?? ""}`;
  useEffect(() => {
    let live = true;
    if (before.name !== after.name && of.deep) of.compare(before.name, after.name, project).then((found) => { if (live) setShown({ of: key, found }); }, (error: unknown) => { if (live) setShown({ of: key, faults: faultOf(error) }); });
    return () => { live = false; };
  }, [key]);
  const current = shown?.of === key ? shown : undefined;
  return (
    <section class="compare">
      <h2>Two recordings compared</h2>
      <div class="trace-tools">
        <Select label="before" value={before.name} names={lines.map((l) => l.name)} onPick={(name) => { pair.value = { before: name, after: after.name }; }} />
        <Select label="after" value={after.name} names={lines.map((l) => l.name)} onPick={(name) => { pair.value = { before: before.name, after: name }; }} />
      </div>
      {before.name === after.name ? <p class="quiet">Choose two different recordings.</p> : !of.deep ? <FromSummaries before={before} after={after} /> : (
        <>
          <Told of={current?.faults} title="These two cannot be compared" />
          {current?.found ? <Found of={current.found} /> : current ? null : <Waiting>Comparing…</Waiting>}
        </>
      )}
    </section>
  );
}

interface Row {
  what: string;
  unit: string;
  change: TraceChange | null;
  note?: string;
}

function signed(value: number, unit: string): string {
  return Math.abs(value) < 1e-12 ? `0 ${unit}` : `${value > 0 ? "+" : ""}${engineering(value, unit)}`;
}

function Table({ rows, tested }: { rows: Row[]; tested: boolean }) {
  return (
    <Sheet
      label="What changed"
      caption={`Difference: after less before, ± two standard uncertainties.${tested ? " Chance: how often a difference as large would come without any change." : ""}`}
      head={["what", "#before", "#after", "#difference", ...(tested ? ["#chance", "changed?"] : [])]}
      rows={rows.map(({ what, unit, change, note }) => ({
        wide: !change,
        cells: [
          <bdi>{what}</bdi>,
          ...(change
            ? [
                engineering(change.before.value, unit),
                engineering(change.after.value, unit),
                `${signed(change.difference, unit)}${change.standard_uncertainty === null ? "" : ` ± ${engineering(2 * change.standard_uncertainty, unit, 2)}`}`,
                ...(tested ? [change.p_value === null ? "–" : change.p_value < 1e-4 ? "< 0.01 %" : `${significant(100 * change.p_value, 2)} %`, change.significant === null ? <Unknown>cannot tell</Unknown> : change.significant ? <b>● yes</b> : "○ within chance"] : []),
              ]
            : [note]),
        ],
      }))}
    />
  );
}

function Found({ of }: { of: TraceComparison }) {
  const rows: Row[] = [{ what: "sleep floor", unit: "A", change: of.sleep_a, note: "one of the two has no sleep floor" }];
  for (const w of of.wakes) {
    const name = w.before === w.after ? w.before : `${w.before} → ${w.after}`;
    rows.push({ what: `${name}: charge`, unit: "C", change: w.charge_c });
    if (w.interval_s) rows.push({ what: `${name}: interval`, unit: "s", change: w.interval_s });
  }
  for (const p of of.phases) {
    const name = `${p.activity}, ${p.phase}`;
    if (p.new || p.gone) {
      rows.push({ what: name, unit: "C", change: null, note: `only ${p.new ? "after" : "before"}: ${signed(p.charge_difference_c, "C")} a wake` });
      continue;
    }
    rows.push({ what: `${name}: duration`, unit: "s", change: p.duration_s, note: "not known" });
    rows.push({ what: `${name}: current`, unit: "A", change: p.current_a, note: "not known" });
  }
  const days = of.days;
  return (
    <>
      {of.verdict.map((v, i) => <p key={i} class={i === 0 ? "lead" : ""}>{v}</p>)}
      {days ? <Days of={days} /> : null}
      <Table rows={rows} tested />
      {days ? <p class="quiet sentence">{days.basis.replaceAll("`", "")}.{changed.value ? " The project is taken as its file says, without your changes." : ""}</p> : null}
      <Bulleted of={of.cautions} as="flags" />
    </>
  );
}

function Days({ of }: { of: TraceDays }) {
  const u = of.standard_uncertainty_days;
  return (
    <Figures
      as="between"
      of={[
        ["project", <><bdi>{of.project}</bdi>, <bdi>{of.cell}</bdi></>],
        ["before", `${significant(of.before_days, 3)} d`],
        ["after", `${significant(of.after_days, 3)} d`],
        ["gained", <><b>{of.gained_days > 0 ? "+" : ""}{significant(of.gained_days, 3).replace("-", "−")} d</b>{u === null ? "" : ` ± ${significant(2 * u, 2)} d`}</>],
        ["after outlasts before", of.chance_after_outlasts === null ? <Unknown>cannot tell</Unknown> : <b>{percent(of.chance_after_outlasts)}</b>],
      ]}
    />
  );
}

/** Difference of two means; whether it is more than chance is the engine's to say. */
function change(before: TraceFigure, after: TraceFigure): TraceChange {
  const [a, b] = [before.standard_uncertainty, after.standard_uncertainty];
  return { before, after, difference: after.value - before.value, standard_uncertainty: a === null || b === null ? null : Math.hypot(a, b), p_value: null, significant: null };
}

const meanOf = (f: TraceFigure, scatter = false): Mean => ({ value: f.value, count: f.count, standard_uncertainty: scatter ? (f.standard_deviation === null ? null : f.standard_deviation / Math.sqrt(f.count)) : f.standard_uncertainty });
const meansOf = (s: TraceSummary) => ({ floor_a: s.floor_a && meanOf(s.floor_a), charge_c: s.activities[0] ? meanOf(s.activities[0].charge_c) : null });

/** From the summaries in the page; chance and days are the engine's, for the project as the reader has it. */
function FromSummaries({ before, after }: { before: RecordingLine; after: RecordingLine }) {
  const [a, b] = [before.summary, after.summary];
  const [worth, setWorth] = useState<{ found?: TraceWorth; why?: string }>({});
  const rows: Row[] = [];
  const pairs: [Mean, Mean][] = [];
  const of: Row[] = [];
  // What a sample's length hides of a duration is in its figure, but not in the scatter that a chance is told from.
  const compared = (what: string, unit: string, x: TraceFigure, y: TraceFigure) => {
    const row = { what, unit, change: change(x, y) };
    rows.push(row);
    of.push(row);
    pairs.push([meanOf(x, unit === "s"), meanOf(y, unit === "s")]);
  };
  if (a?.floor_a && b?.floor_a) compared("sleep floor", "A", a.floor_a, b.floor_a);
  else rows.push({ what: "sleep floor", unit: "A", change: null, note: "one of the two has no sleep floor" });
  for (const one of a?.activities ?? []) {
    const other = b?.activities.find((x) => x.name === one.name);
    if (!other) {
      rows.push({ what: one.name, unit: "C", change: null, note: "only before" });
      continue;
    }
    compared(`${one.name}: charge`, "C", one.charge_c, other.charge_c);
    one.phases.forEach((p, i) => {
      const q = other.phases[i]?.name === p.name ? other.phases[i] : other.phases.find((x) => x.name === p.name);
      if (!q) rows.push({ what: `${one.name}, ${p.name}`, unit: "C", change: null, note: `only before: ${engineering(p.charge_c, "C")} a wake` });
      else {
        compared(`${one.name}, ${p.name}: duration`, "s", p.duration_s, q.duration_s);
        compared(`${one.name}, ${p.name}: current`, "A", p.current_a, q.current_a);
      }
    });
  }
  const key = `${before.name}\n${after.name}\n${text.value}`;
  useEffect(() => {
    let live = true;
    if (a && b) answer({ trace_worth: { pairs, before: meansOf(a), after: meansOf(b), project: asked() || null } }).then((reply) => { if (live) setWorth({ found: part(reply, "trace_worth") }); }).catch((error: unknown) => { if (live) setWorth({ why: message(error) }); });
    return () => { live = false; };
  }, [key]);
  if (!a || !b) return null;
  const { found, why } = worth;
  of.forEach((row, i) => {
    const p = found?.p_values[i] ?? null;
    if (row.change) row.change = { ...row.change, p_value: p, significant: found && p !== null ? p < found.level : null };
  });
  return (
    <>
      {found?.days ? <Days of={found.days} /> : null}
      {found?.no_days ? <p class="quiet">{found.no_days}</p> : null}
      {why ? <p class="warn" role="status">Chance and days cannot be told: {why}</p> : null}
      <Table rows={rows} tested={found !== undefined} />
      {found?.days ? <p class="quiet sentence">{found.days.basis.replaceAll("`", "")}.</p> : null}
      <p class="quiet">From the summaries in this page, where wakes are paired by their names; <code>overwinter trace compare</code> pairs them by likeness.</p>
    </>
  );
}
