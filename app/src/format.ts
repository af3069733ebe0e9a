// Numbers as the trade writes them; the same rules as the engine's texts.
const HOUR = 3600;
const DAY = 86400;
const YEAR = 365.25 * DAY;

/** A number to at most `figures` significant figures, without trailing zeros. */
export function significant(value: number, figures: number): string {
  if (!Number.isFinite(value) || value === 0) return String(value);
  const text = value.toPrecision(figures);
  const plain = text.includes("e") ? String(Number(text)) : text;
  return plain.includes(".") ? plain.replace(/0+$/, "").replace(/\.$/, "") : plain;
}

/** A life: `31.9 h`, `196 d`, `2.64 yr`. */
export function life(seconds: number): string {
  if (seconds <= 0) return "0 d";
  if (seconds < HOUR) return `${significant(seconds / 60, 3)} min`;
  if (seconds < 3 * DAY) return `${significant(seconds / HOUR, 3)} h`;
  if (seconds < 1000 * DAY) return `${significant(seconds / DAY, 3)} d`;
  return `${significant(seconds / YEAR, 3)} yr`;
}

/** A share as a whole percentage; what is not quite 0 or 1 never reads as such. */
export function percent(share: number): string {
  const p = share * 100;
  if (p <= 0) return "0 %";
  if (p < 1) return "< 1 %";
  if (p >= 100) return "100 %";
  if (p > 99) return "> 99 %";
  return `${p.toFixed(0)} %`;
}

export function days(seconds: number): number {
  return seconds / DAY;
}

/** Days gained or lost, signed. */
export function signedDays(value: number): string {
  const text = Math.abs(value) >= 0.95 ? Math.abs(value).toFixed(0) : significant(Math.abs(value), 1);
  return `${value < 0 ? "−" : "+"}${text} d`;
}

export function milliampereHours(coulombs: number): string {
  const mAh = coulombs / 3.6;
  return `${mAh >= 100 ? mAh.toFixed(0) : significant(mAh, 3)} mAh`;
}

export const SECONDS = { HOUR, DAY, YEAR, MONTH: YEAR / 12 };

const PREFIXES: [number, string][] = [[1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"], [1e-9, "n"], [1e-12, "p"]];

/** A figure with the prefix of its size: `12.3 µA`, `4.5 mC`, `−3 nA`. */
export function engineering(value: number, unit: string, figures = 3): string {
  if (!Number.isFinite(value)) return "–";
  if (value === 0) return `0 ${unit}`;
  const size = Math.abs(Number(value.toPrecision(figures)));
  const [scale, prefix] = PREFIXES.find(([s]) => size >= s) ?? [1e-12, "p"];
  return `${significant(value / scale, figures).replace("-", "−")} ${prefix}${unit}`;
}

/** A stretch of time from nanoseconds to years. */
export function stretch(seconds: number): string {
  return Math.abs(seconds) < 60 ? engineering(seconds, "s", 4) : life(seconds);
}

export const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
