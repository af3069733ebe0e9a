// Ledger as a waterfall and contributions as bars: rows of text with a drawn share, so that they read at any width.
import { milliampereHours, percent, significant } from "../format";
import type { LedgerLine } from "../types";

export function Waterfall({ initial, lines }: { initial: number; lines: LedgerLine[] }) {
  let left = 1;
  return (
    <ol class="waterfall" aria-label={`Initial charge ${milliampereHours(initial)}, taken by ${lines.length} accounts`}>
      <li class="whole"><span class="label">initial charge</span><span class="track"><i style={{ left: "0%", width: "100%" }} /></span><span class="value">{milliampereHours(initial)}</span></li>
      {lines.map((line) => {
        const share = Math.max(0, line.share);
        const from = Math.max(0, left - share);
        left = from;
        const stranded = line.name.startsWith("stranded");
        return (
          <li key={line.name} class={stranded ? "stranded" : ""}>
            <span class="label">{line.name}</span>
            <span class="track" aria-hidden="true"><i style={{ left: `${100 * from}%`, width: `${Math.max(100 * share, 0.3)}%` }} /></span>
            <span class="value">{milliampereHours(line.charge_c)} <span class="quiet">{percent(line.share)}</span></span>
          </li>
        );
      })}
    </ol>
  );
}

export function Contributions({ lines, unit }: { lines: { name: string; value: number; note: string }[]; unit: string }) {
  const most = Math.max(...lines.map((l) => l.value), 1e-12);
  return (
    <ol class="waterfall">
      {lines.map((line) => (
        <li key={line.name}>
          <span class="label">{line.name}<span class="quiet"> {line.note}</span></span>
          <span class="track" aria-hidden="true"><i style={{ left: "0%", width: `${Math.max((100 * line.value) / most, 0.3)}%` }} /></span>
          <span class="value">± {significant(line.value, 2)} {unit}</span>
        </li>
      ))}
    </ol>
  );
}
