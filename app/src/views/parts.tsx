// Small pieces that several views use.
import type { ComponentChildren } from "preact";
import { percent } from "../format";
import type { CellValue, Diagnostic, NeedVerdict, Origin, Truth } from "../types";

export const VERDICTS: Record<NeedVerdict, { word: string; tone: string }> = {
  fits: { word: "fits", tone: "fits" },
  undecided: { word: "undecided", tone: "undecided" },
  does_not: { word: "out", tone: "out" },
};

/** The verdict as a shape and a word: filled, half, hollow. */
export function Verdict({ of }: { of: NeedVerdict }) {
  const { word, tone } = VERDICTS[of];
  return (
    <span class={`verdict ${tone}`}>
      <svg viewBox="0 0 12 12" aria-hidden="true">
        <circle cx="6" cy="6" r="4.6" class="ring" />
        {of === "fits" ? <circle cx="6" cy="6" r="4.6" class="fill" /> : null}
        {of === "undecided" ? <path d="M6 1.4a4.6 4.6 0 0 0 0 9.2z" class="fill" /> : null}
        {of === "does_not" ? <path d="M3 9l6-6" class="stroke" /> : null}
      </svg>
      {word}
    </span>
  );
}

export function truthText(truth: Truth): { text: string; state: "yes" | "no" | "unknown" | "inferred" } {
  if (truth === "yes" || truth === "no" || truth === "unknown") return { text: truth, state: truth };
  if ("inferred_yes" in truth) return { text: `yes? ${percent(truth.inferred_yes)}`, state: "inferred" };
  return { text: `no? ${percent(truth.inferred_no)}`, state: "inferred" };
}

/** A cell's value as plain text, for downloads and filters. */
export function cellText(value: CellValue): string {
  if (value === "unknown") return "unknown";
  if (value === "not_applicable") return "";
  if ("text" in value) return value.text;
  if ("trait" in value) return truthText(value.trait).text;
  if ("number" in value) return value.number.text;
  return value.figure.text;
}

export function cellNumber(value: CellValue): number | undefined {
  if (typeof value === "string") return undefined;
  if ("number" in value) return value.number.value;
  if ("figure" in value) return value.figure.value;
  return undefined;
}

export function Unknown({ children = "unknown" }: { children?: ComponentChildren }) {
  return <span class="unknown">{children}</span>;
}

export function OriginNote({ origin }: { origin: Origin | null }) {
  if (!origin) return null;
  const same = origin.kind === origin.source;
  return <span class="origin">{same ? origin.kind : `${origin.kind} · ${origin.source}`}</span>;
}

/** Figures with "(k = 2)" read better without it in narrow columns; the column's foot says it once. */
export function short(text: string): string {
  return text.replace(/ \(k = 2\)$/, "");
}

export function Faults({ of, title }: { of: Diagnostic[]; title?: string }) {
  if (of.length === 0) return null;
  return (
    <div class="faults" role="alert">
      {title ? <p class="faults-title">{title}</p> : null}
      <ul>
        {of.map((d, i) => (
          <li key={i}>
            <strong>{d.message}</strong>
            {d.span ? <span class="where"> line {d.span.line}, column {d.span.column}</span> : null}
            {d.help ? <span class="help">{d.help}</span> : null}
          </li>
        ))}
      </ul>
    </div>
  );
}

/** The table behind a chart, for everybody who cannot or does not want to read the drawing. */
export function Behind({ caption, head, rows }: { caption: string; head: string[]; rows: (string | number)[][] }) {
  return (
    <details class="behind">
      <summary>Figures as a table</summary>
      <div class="scroll" tabIndex={0} role="region" aria-label={caption}>
        <table>
          <caption>{caption}</caption>
          <thead><tr>{head.map((h) => <th key={h} scope="col">{h}</th>)}</tr></thead>
          <tbody>{rows.map((row, i) => <tr key={i}>{row.map((cell, j) => (j === 0 ? <th key={j} scope="row">{cell}</th> : <td key={j}>{cell}</td>))}</tr>)}</tbody>
        </table>
      </div>
    </details>
  );
}

export function Waiting({ children }: { children: ComponentChildren }) {
  return <p class="waiting" role="status"><span class="pulse" aria-hidden="true" />{children}</p>;
}

export function save(name: string, kind: string, content: string): void {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([content], { type: kind }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
