// The table with the ranking as CSV, readable by spreadsheets without running anything.
import type { ChoiceReport, TableReport } from "./types";
import { cellText, cellNumber, VERDICTS } from "./views/parts";

function quoted(value: string | number): string {
  let text = String(value);
  // A leading sign of a formula would be run by a spreadsheet.
  if (typeof value === "string" && /^[=+\-@\t\r]/.test(text)) text = `'${text}`;
  return /[",\n\r]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
}

export function csv(table: TableReport, choice: ChoiceReport | undefined): string {
  const days = (seconds: number) => Number((seconds / 86400).toPrecision(6));
  const head = ["board", "specimen", "verdict", "reason", "median_d", "p10_d", "p90_d", "chance_of_target"];
  for (const column of table.columns) {
    head.push(column.unit ? `${column.key}_${column.unit}` : column.key);
    if (table.rows.some((row) => typeof row.cells[table.columns.indexOf(column)] === "object" && "figure" in (row.cells[table.columns.indexOf(column)] as object))) head.push(`${column.key}_u`);
  }
  const lines = [head.map(quoted).join(",")];
  for (const row of table.rows) {
    const verdict = choice?.boards.find((b) => b.board === row.board || row.board.startsWith(`${b.board} `));
    const life = verdict?.this_specimen;
    const line: (string | number)[] = [
      row.board, row.specimen ?? "", verdict ? VERDICTS[verdict.verdict].word : "", verdict?.reason ?? "",
      life ? days(life.p50_s) : "", life ? days(life.p10_s) : "", life ? days(life.p90_s) : "", life?.chance_of_target ?? "",
    ];
    table.columns.forEach((column, at) => {
      const cell = row.cells[at] ?? "unknown";
      const number = cellNumber(cell);
      line.push(number === undefined ? cellText(cell) : Number((number * column.per_si).toPrecision(8)));
      if (head.includes(`${column.key}_u`)) {
        const u = typeof cell === "object" && "figure" in cell ? cell.figure.standard_uncertainty : null;
        line.push(u === null ? "" : Number((u * column.per_si).toPrecision(4)));
      }
    });
    lines.push(line.map(quoted).join(","));
  }
  return `${lines.join("\r\n")}\r\n`;
}
