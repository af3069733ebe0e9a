// Lists of figures and tables as the views of traces and sun write them.
import type { ComponentChildren } from "preact";
import { Faults } from "./parts";
import type { faultOf } from "../traces";

type Line = [name: ComponentChildren, value: ComponentChildren];

/** Names and values; what is left out by `&&` stays out. */
export function Figures({ of, as = "pairs-list", busy }: { of: (Line | false | null | undefined | "")[]; as?: string; busy?: boolean }) {
  return <dl class={as} aria-live={busy === undefined ? undefined : "polite"} aria-busy={busy}>{of.map((line, i) => (line ? <div key={i}><dt>{line[0]}</dt><dd>{line[1]}</dd></div> : null))}</dl>;
}

/** A row: the first cell names it. */
export interface Row {
  cells: ComponentChildren[];
  /** The one that is looked at. */
  current?: boolean;
  /** The second cell takes all columns. */
  wide?: boolean;
  as?: string;
}

/** A table that scrolls sideways where it must. A head that begins with # stands over figures, with ~ over running text. */
export function Sheet({ label, caption, head, rows, as }: { label: string; caption?: ComponentChildren; head: string[]; rows: Row[]; as?: string }) {
  const kind = (i: number) => (head[i]?.startsWith("#") ? "number" : head[i]?.startsWith("~") ? "words-wide" : undefined);
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label={label}>
      <table class={as}>
        {caption ? <caption>{caption}</caption> : null}
        <thead><tr>{head.map((h, i) => <th key={i} scope="col" class={kind(i) === "number" ? "number" : undefined}>{h.replace(/^[#~]/, "")}</th>)}</tr></thead>
        <tbody>{rows.map(({ cells, current, wide, as: own }, i) => <tr key={i} class={own} aria-current={current ? "true" : undefined}>{cells.map((cell, j) => (j === 0 ? <th key={j} scope="row">{cell}</th> : <td key={j} class={wide ? "quiet" : kind(j)} colSpan={wide ? head.length - 1 : undefined}>{cell}</td>))}</tr>)}</tbody>
      </table>
    </div>
  );
}

/** A choice at the top of a view; a value that is not among the names is shown as it is. */
export function Select({ label, value, names, none = "none", onPick }: { label: string; value: string | undefined; names: string[]; none?: string; onPick: (name: string) => void }) {
  return (
    <label class="inline left">{label} <select aria-label={label} value={value ?? ""} onChange={(e) => onPick(e.currentTarget.value)}>
      {value !== undefined && names.includes(value) ? null : <option value={value ?? ""}>{value ?? none}</option>}
      {names.map((n) => <option key={n} value={n}>{n}</option>)}
    </select></label>
  );
}

/** Faults of any origin. */
export function Told({ of, title }: { of: ReturnType<typeof faultOf> | undefined; title: string }) {
  return of ? <Faults title={title} of={of.map((f) => ({ code: "", severity: "error", file: null, span: null, help: null, ...f }) as never)} /> : null;
}

export function Bulleted({ of, as }: { of: string[]; as: string }) {
  return of.length > 0 ? <ul class={as}>{of.map((line, i) => <li key={i}>{line}</li>)}</ul> : null;
}

/** What arrives later: nothing yet, an answer, or why there is none. */
export interface Awaited<T> {
  of: string;
  found?: T;
  faults?: ReturnType<typeof faultOf>;
}
