// Filters in three values: what is unknown is a state of its own, shown or hidden on its own.
import { signal } from "@preact/signals";
import type { Column, CellValue, Row, TableReport } from "../types";
import { cellNumber, truthText } from "./parts";

type Hidden = Record<string, string[]>;
interface Range {
  low?: number;
  high?: number;
}

const hidden = signal<Hidden>({});
const ranges = signal<Record<string, Range>>({});

/** The states of a cell that a filter can show or hide. */
function state(value: CellValue): string {
  if (value === "unknown") return "unknown";
  if (value === "not_applicable") return "does not apply";
  if ("trait" in value) {
    const { state: own, text } = truthText(value.trait);
    return own === "inferred" ? `${text.startsWith("yes") ? "yes" : "no"}, inferred` : own;
  }
  if ("text" in value) return value.text.replace(/ \(inferred.*\)$/, ", inferred");
  return "known";
}

const ORDER = ["yes", "yes, inferred", "no, inferred", "no", "known", "unknown", "does not apply"];

// Counts do not change while a report is shown; a thousand boards are counted once.
const counted = new WeakMap<TableReport, [string, number][][]>();

function states(report: TableReport, index: number): [string, number][] {
  let all = counted.get(report);
  if (!all) {
    all = report.columns.map((_, i) => count(report, i));
    counted.set(report, all);
  }
  return all[index] ?? [];
}

function count(report: TableReport, index: number): [string, number][] {
  const counts = new Map<string, number>();
  for (const row of report.rows) {
    const own = state(row.cells[index] ?? "unknown");
    counts.set(own, (counts.get(own) ?? 0) + 1);
  }
  const rank = (word: string) => (ORDER.includes(word) ? ORDER.indexOf(word) : 2.5);
  return [...counts].sort((a, b) => rank(a[0]) - rank(b[0]) || a[0].localeCompare(b[0]));
}

/** The test of all filters that are set, for every row of a report. */
export function filter(report: TableReport): (row: Row) => boolean {
  const active = report.columns
    .map((column, index) => ({ column, index, off: hidden.value[column.key] ?? [], range: ranges.value[column.key] }))
    .filter(({ off, range }) => off.length > 0 || range !== undefined);
  return (row) => active.every(({ column, index, off, range }) => {
    const value = row.cells[index] ?? "unknown";
    if (off.length > 0 && off.includes(state(value))) return false;
    const number = cellNumber(value);
    if (!range || number === undefined) return true;
    const shown = number * column.per_si;
    return !(range.low !== undefined && shown < range.low) && !(range.high !== undefined && shown > range.high);
  });
}

function Facet({ report, column }: { report: TableReport; column: Column }) {
  const index = report.columns.indexOf(column);
  const own = states(report, index);
  const numeric = own.some(([word]) => word === "known");
  const off = hidden.value[column.key] ?? [];
  const toggle = (word: string) => {
    const next = off.includes(word) ? off.filter((w) => w !== word) : [...off, word];
    hidden.value = { ...hidden.value, [column.key]: next };
  };
  const bound = (which: "low" | "high", text: string) => {
    const value = text.trim() === "" ? undefined : Number(text.replace(",", "."));
    ranges.value = { ...ranges.value, [column.key]: { ...ranges.value[column.key], [which]: Number.isFinite(value) ? value : undefined } };
  };
  return (
    <fieldset class="facet">
      <legend>{column.title}{column.unit ? <span class="unit"> {column.unit}</span> : null}</legend>
      {numeric ? (
        <span class="range">
          <label>from <input inputMode="decimal" size={6} onInput={(e) => bound("low", e.currentTarget.value)} /></label>
          <label>to <input inputMode="decimal" size={6} onInput={(e) => bound("high", e.currentTarget.value)} /></label>
        </span>
      ) : null}
      <span class="states">
        {own.filter(([word]) => word !== "known").map(([word, count]) => (
          <label key={word} class={`state ${word === "unknown" ? "is-unknown" : ""} ${off.includes(word) ? "off" : ""}`}>
            <input type="checkbox" checked={!off.includes(word)} onChange={() => toggle(word)} />
            {word} <span class="count">{count}</span>
          </label>
        ))}
      </span>
    </fieldset>
  );
}

export function Facets({ report, shown, total }: { report: TableReport; shown: number; total: number }) {
  const groups = [...new Set(report.columns.map((c) => c.group))];
  const active = Object.values(hidden.value).filter((w) => w.length > 0).length + Object.values(ranges.value).filter((r) => r.low !== undefined || r.high !== undefined).length;
  const useful = (column: Column) => states(report, report.columns.indexOf(column)).length > 1 || states(report, report.columns.indexOf(column))[0]?.[0] === "known";
  return (
    <details class="chooser">
      <summary>Filters {active > 0 ? <b>{active}</b> : null} <span class="quiet">{shown} of {total} boards</span></summary>
      <div class="chooser-body">
        <p class="quiet">Take a state's tick away to hide the boards in it. “Unknown” is neither yes nor no: it stays until you hide it.</p>
        {groups.map((group) => {
          const own = report.columns.filter((c) => c.group === group && useful(c));
          return own.length > 0 ? (
            <section key={group}><h3>{group}</h3><div class="facets">{own.map((c) => <Facet key={c.key} report={report} column={c} />)}</div></section>
          ) : null;
        })}
        <button type="button" disabled={active === 0} onClick={() => { hidden.value = {}; ranges.value = {}; }}>Take all filters back</button>
      </div>
    </details>
  );
}
