// Two boards beside each other: which outlasts the other and by how much, and where they differ.
import { signal } from "@preact/signals";
import type { ComponentChildren } from "preact";
import { useEffect } from "preact/hooks";
import { part, Refused, Stopped } from "../engine";
import { life, percent, signedDays } from "../format";
import { answer, asked, engine, finest, go, message, ranked, remembered, SEED, table, text } from "../state";
import type { CellValue, CompareReport, Diagnostic, Outlasting } from "../types";
import { cellText, Faults, OriginNote, truthText, Unknown, Verdict, VERDICTS, Waiting } from "./parts";
import { Bulleted, Select } from "./sheet";
import { lifeOf, lines, type Line } from "./table";

interface Shown {
  of?: string;
  report?: CompareReport;
  faults: Diagnostic[];
  trouble?: string;
  waiting?: boolean;
}
const shown = signal<Shown>({ faults: [] });
const onlyDifferent = remembered("only what differs", false);
let turn = 0;

async function load(first: string, second: string, of: string): Promise<void> {
  const own = ++turn;
  shown.value = { ...shown.value, waiting: true, faults: [], trouble: undefined };
  const fine = finest();
  for (const draws of fine > 64 ? [64, fine] : [fine]) {
    try {
      const report = part(await answer({ compare: { first, second, project: asked(), draws, seed: SEED } }), "compare");
      if (own !== turn) return;
      shown.value = { of, report, faults: [], waiting: draws !== fine };
    } catch (error) {
      if (own !== turn) return;
      // A newer ranking took the engine: asked again when that is done.
      if (error instanceof Stopped) shown.value = { ...shown.value, of: undefined, waiting: false };
      else shown.value = { of, faults: error instanceof Refused ? error.diagnostics : [], trouble: error instanceof Refused ? undefined : message(error) };
      return;
    }
  }
}

const days = (seconds: number) => signedDays(seconds / 86400);

export function CompareView({ board, other }: { board: string; other: string }) {
  const all = lines.value;
  const names = all.map((l) => l.name);
  const first = board || (names[0] ?? "");
  const second = other && other !== first ? other : (all.find((l) => l.name !== first && lifeOf(l.verdict))?.name ?? names.find((n) => n !== first) ?? "");
  const idle = engine.value !== undefined && ranked.value.computing === undefined;
  const key = `${first}\n${second}\n${text.value}`;
  useEffect(() => {
    if (idle && first && second && shown.peek().of !== key) void load(first, second, key);
  }, [key, idle]);
  const { report, faults, trouble, waiting, of } = shown.value;
  const current = report?.first === first && report.second === second ? report : undefined;
  const [a, b] = [all.find((l) => l.name === first), all.find((l) => l.name === second)];
  const pick = (x: string, y: string) => go({ view: "compare", board: x, other: y });
  return (
    <article class={`sheet beside ${of !== key && current ? "stale" : ""}`}>
      <header class="sheet-head">
        <h1>{second ? <><bdi>{first}</bdi> beside <bdi>{second}</bdi></> : "Compare"}</h1>
        <span class="spacer" />
        <button type="button" class="quiet-button" onClick={() => print()}>Print</button>
      </header>
      <div class="trace-tools">
        <Select label="first board" value={first} names={names} onPick={(n) => pick(n, n === second ? first : second)} />
        <Select label="second board" value={second} names={names} onPick={(n) => pick(n === first ? second : first, n)} />
        <button type="button" disabled={!second} onClick={() => pick(second, first)}>Swap</button>
      </div>
      {names.length < 2 ? <p class="empty">Two boards are needed: this folder has {names.length === 0 ? "none yet" : "one"}.</p> : null}
      {trouble ? <p class="warn" role="alert">{trouble}</p> : null}
      <Faults of={of === key ? faults : []} title="Which one lasts longer cannot be told" />
      {!current && !trouble && faults.length === 0 && second ? <Waiting>{idle ? "Comparing…" : "The ranking is computed first…"}</Waiting> : null}
      {current ? <Found of={current} refining={waiting === true} /> : null}
      {a && b ? <Beside of={[a, b]} /> : null}
      {ranked.value.choice ? <Bulleted of={ranked.value.choice.cautions} as="cautions" /> : null}
    </article>
  );
}

function Found({ of, refining }: { of: CompareReport; refining: boolean }) {
  const it = of.these_specimens;
  const [more, less, gain, low, high, chance] = it.chance >= 0.5
    ? [of.first, of.second, it.gained_p50_s, it.gained_p10_s, it.gained_p90_s, it.chance]
    : [of.second, of.first, -it.gained_p50_s, -it.gained_p90_s, -it.gained_p10_s, 1 - it.chance];
  return (
    <section>
      <p class="lead">
        {it.tie === "not_told" ? <>The data cannot tell which lasts longer: <bdi>{more}</bdi> outlasts <bdi>{less}</bdi> with <b>{percent(chance)}</b></> : <><bdi>{more}</bdi> outlasts <bdi>{less}</bdi> with <b>{percent(chance)}</b></>}
        , <b>{days(gain)}</b> in the median ({days(low)} … {days(high)} in eight of ten draws).
        {it.tie === "below_care" ? " That is less than the project cares about." : ""}
      </p>
      <p class="quiet">{of.project} · {of.draws} draws of weather, load and cell that both share, each difference taken within its draw{refining ? ", refining…" : ""}. {of.first_specimen ?? of.first} and {of.second_specimen ?? of.second}; two you might buy below.</p>
      {it.both_at_limit > 0 ? <p class="warn">In {percent(it.both_at_limit)} of the draws both are still alive at the end of the forecast: their difference is not seen there.</p> : null}
      <Gains of={of} />
    </section>
  );
}

/** Days that the first gains over the second, on one axis with zero. */
function Gains({ of }: { of: CompareReport }) {
  const rows: [string, Outlasting][] = [[`${of.first_specimen ?? of.first} over ${of.second_specimen ?? of.second}`, of.these_specimens], ["one you might buy of each", of.bought]];
  const ends = rows.flatMap(([, o]) => [o.gained_p10_s, o.gained_p90_s, 0]);
  const [low, high] = [Math.min(...ends), Math.max(...ends)];
  const room = 0.06 * Math.max(high - low, 86400);
  const at = (s: number) => (100 * (s - low + room)) / (high - low + 2 * room);
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Days gained">
      <table class="gains">
        <thead><tr><th scope="col">days that <bdi>{of.first}</bdi> gains</th><th scope="col">10 · 50 · 90 %, dashed: none</th><th scope="col" class="number">median</th><th scope="col" class="number">10 … 90 %</th><th scope="col" class="number">outlasts with</th></tr></thead>
        <tbody>
          {rows.map(([name, o]) => (
            <tr key={name}>
              <th scope="row"><bdi>{name}</bdi></th>
              <td class="gain-bar">
                <span class="interval" role="img" aria-label={`${name}: median ${days(o.gained_p50_s)}, 10 to 90 % ${days(o.gained_p10_s)} to ${days(o.gained_p90_s)}`}>
                  <i class="target" style={{ left: `${at(0)}%` }} />
                  <i class="bar" style={{ left: `${at(o.gained_p10_s)}%`, width: `${Math.max(at(o.gained_p90_s) - at(o.gained_p10_s), 0.4)}%` }} />
                  <i class="middle" style={{ left: `${at(o.gained_p50_s)}%` }} />
                </span>
              </td>
              <td class="number">{days(o.gained_p50_s)}</td>
              <td class="number">{days(o.gained_p10_s)} … {days(o.gained_p90_s)}</td>
              <td class="number">{percent(o.chance)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Cell({ value }: { value: CellValue | undefined }) {
  if (value === undefined || value === "unknown" || (typeof value === "object" && "trait" in value && value.trait === "unknown")) return <td class="is-unknown"><Unknown /></td>;
  if (value === "not_applicable") return <td class="none">–</td>;
  if ("trait" in value) return <td><span class={`truth ${truthText(value.trait).state}`}>{truthText(value.trait).text}</span></td>;
  if ("figure" in value) return <td>{value.figure.text} <OriginNote origin={value.figure.origin} /></td>;
  return <td>{cellText(value)}</td>;
}

/** Two figures whose intervals (k = 2) do not reach each other, two words that differ; unknown differs from nothing. */
function differ(a: CellValue | undefined, b: CellValue | undefined): boolean {
  if (a === undefined || b === undefined || a === "unknown" || b === "unknown") return false;
  if (typeof a === "object" && typeof b === "object" && "figure" in a && "figure" in b) {
    const u = Math.hypot(a.figure.standard_uncertainty ?? 0, b.figure.standard_uncertainty ?? 0);
    return Math.abs(a.figure.value - b.figure.value) > 2 * u;
  }
  return cellText(a) !== cellText(b);
}

function Beside({ of }: { of: [Line, Line] }) {
  const columns = table.value?.columns ?? [];
  const [a, b] = of;
  const needs = [...new Set(of.flatMap((l) => l.verdict?.needs.map((n) => n.need) ?? []))];
  const target = ranked.value.choice?.target_s;
  const row = (name: string, cell: (line: Line) => ComponentChildren) => <tr key={name}><th scope="row">{name}</th>{of.map((l) => <td key={l.name}>{cell(l)}</td>)}<td /></tr>;
  const groups = [...new Set(columns.map((c) => c.group))];
  return (
    <section>
      <h2>Side by side</h2>
      <p class="no-print"><label><input type="checkbox" checked={onlyDifferent.value} onChange={(e) => { onlyDifferent.value = e.currentTarget.checked; }} /> only what differs</label></p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Both boards, row by row">
        <table class="traits">
          <caption>≠: the two differ; of figures, by more than their uncertainties (k = 2). What is unknown of one differs from nothing.</caption>
          <thead><tr><td />{of.map((l) => <th key={l.name} scope="col"><button type="button" class="name" onClick={() => go({ view: "board", board: l.name })}><bdi>{l.name}</bdi>{l.row?.dead ? " †" : ""}</button></th>)}<th scope="col"><span class="visually-hidden">differs</span></th></tr></thead>
          <tbody>
            <tr class="groups"><th colSpan={4} scope="rowgroup">for this project</th></tr>
            {row("verdict", (l) => (l.verdict ? <Verdict of={l.verdict.verdict} /> : <span class="quiet">not in question</span>))}
            {row("life, median (10 … 90 %)", (l) => { const f = lifeOf(l.verdict); return f ? <><b>{life(f.p50_s)}</b> ({life(f.p10_s)} … {life(f.p90_s)})</> : <Unknown>no forecast</Unknown>; })}
            {target ? row(`reaches ${life(target)}`, (l) => { const c = lifeOf(l.verdict)?.chance_of_target; return c === null || c === undefined ? <Unknown /> : percent(c); }) : null}
            {row("ends by", (l) => { const e = lifeOf(l.verdict)?.endings[0]; return e ? `${e.ending}${e.activity ? ` in “${e.activity}”` : ""}` : <Unknown />; })}
            {needs.map((need) => row(need, (l) => { const n = l.verdict?.needs.find((x) => x.need === need); return n ? <>{VERDICTS[n.verdict].word}: {n.reason}</> : "–"; }))}
            {row("cheapest rework", (l) => { const r = l.verdict?.rework; return r ? `${r.rework}, ${r.minutes.toFixed(0)} min: ${signedDays(r.days_gained)}` : "–"; })}
          </tbody>
          {groups.map((group) => {
            const rows = columns.map((c, i) => ({ c, x: a.row?.cells[i], y: b.row?.cells[i] })).filter(({ c, x, y }) => c.group === group && (!onlyDifferent.value || differ(x, y)));
            return rows.length === 0 ? null : (
              <tbody key={group}>
                <tr class="groups"><th colSpan={4} scope="rowgroup">{group}</th></tr>
                {rows.map(({ c, x, y }) => <tr key={c.key}><th scope="row">{c.title}</th><Cell value={x} /><Cell value={y} /><td>{differ(x, y) ? <span title="differs">≠<span class="visually-hidden"> differs</span></span> : null}</td></tr>)}
              </tbody>
            );
          })}
        </table>
      </div>
    </section>
  );
}
