// A board's sheet: traits, specimens, readings with where they come from, bill, sweep, ride-through, socket, reworks, disputes.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { Socket, type Side } from "../charts/socket";
import { Sweep, type SweepPoint } from "../charts/sweep";
import { Refused } from "../engine";
import { percent } from "../format";
import { documents, get, type Table } from "../project";
import { board as ask, engine, go, message, project, ranked, revision } from "../state";
import type { BillReport, BoardReport, Diagnostic } from "../types";
import { EditNotes, EditTraits } from "./edit-board";
import { cellText, Faults, OriginNote, truthText, Unknown, Verdict, Waiting } from "./parts";
import { lines } from "./table";
import { parse } from "smol-toml";

interface Reading {
  what: string;
  value: string | null;
  repeats?: string[];
  instrument?: string | null;
  range?: string | null;
  supply?: string | null;
  source?: string | null;
  temperature?: string | null;
  settled_for?: string | null;
  window?: string | null;
  zero_before?: string | null;
  zero_after?: string | null;
  part?: string | null;
  note?: string | null;
  retracted?: unknown;
}

interface Trial {
  event: string;
  doing?: string | null;
  edge?: string | null;
  cell_voltage: string;
  resets: number;
  trials: number;
}

interface Session {
  name: string;
  specimen?: string | null;
  date: string;
  who?: string | null;
  instrument?: string | null;
  supply?: string | null;
  source?: string | null;
  temperature?: string | null;
  kind?: string | null;
  note?: string | null;
  firmware?: { version?: string | null; hash?: string | null; state?: string | null } | null;
  readings: Reading[];
  ride_through: Trial[];
  retracted?: unknown;
  polarity?: Record<string, string | null> | null;
}

interface Claim {
  name: string;
  who?: string | null;
  date?: string | null;
  found?: string | null;
  instrument?: string | null;
  revision?: string | null;
  temperature?: string | null;
  note?: string | null;
  readings: Reading[];
}

interface Specimen {
  id: string;
  revision?: string | null;
  bought?: string | null;
  price?: string | null;
  dead?: { since: string; step?: string; cause?: string; cost?: string | null; lesson?: string | null } | null;
}

const shown = signal<{ report?: BoardReport; of?: string; faults: Diagnostic[]; trouble?: string }>({ faults: [] });

/** What a report answers: the board in the documents as they were read last. */
const keyOf = (name: string) => `${revision.value} ${name}`;

async function load(name: string): Promise<void> {
  const of = keyOf(name);
  try {
    const report = await ask(name);
    shown.value = { report, of, faults: [] };
  } catch (error) {
    shown.value = { of, faults: error instanceof Refused ? error.diagnostics : [], trouble: error instanceof Refused ? undefined : message(error) };
  }
}

export function BoardView({ board }: { board: string }) {
  const key = keyOf(board);
  useEffect(() => {
    if (engine.value && shown.peek().of !== key) void load(board);
  }, [key, engine.value]);
  const { report, faults, trouble, of } = shown.value;
  // While the documents are read again the old sheet stays.
  const current = of === key || (report?.document as { name?: string } | undefined)?.name === board ? report : undefined;
  const verdict = ranked.value.choice?.boards.find((b) => b.board === board);
  return (
    <article class="sheet">
      <header class="sheet-head">
        <h1><bdi>{board}</bdi></h1>
        {verdict ? <Verdict of={verdict.verdict} /> : null}
        <label class="inline">board <select aria-label="board" value={board} onChange={(e) => go({ view: "board", board: e.currentTarget.value })}>{lines.value.map((l) => <option key={l.name} value={l.name}>{l.name}</option>)}</select></label>
        <button type="button" class="quiet-button" disabled={!verdict?.this_specimen} onClick={() => go({ view: "forecast", board })}>Forecast</button>
        <button type="button" class="quiet-button" onClick={() => go({ view: "compare", board, other: "" })}>Compare</button>
        <button type="button" class="quiet-button" onClick={() => print()}>Print</button>
      </header>
      {trouble && of === key ? <p class="warn" role="alert">{trouble}</p> : null}
      {of === key ? <Faults of={faults} title="This board cannot be shown" /> : null}
      {!current && of !== key ? <Waiting>Reading the board…</Waiting> : null}
      {current ? <Body report={current} /> : null}
    </article>
  );
}

function Body({ report }: { report: BoardReport }) {
  const document = report.document as { about?: string; price?: string; module?: string; specimens?: Specimen[]; reworks?: Table[]; always_on?: Table[] };
  const sessions = report.sessions as unknown as Session[];
  const claims = report.claims as unknown as Claim[];
  const choice = ranked.value.choice?.boards.find((b) => b.board === report.table.rows[0]?.board || b.specimen === report.table.rows[0]?.specimen);
  const bill = "Ok" in report.bill ? report.bill.Ok : undefined;
  return (
    <>
      <p class="lead">{document.about ?? ""}</p>
      {choice ? <p>For “{ranked.value.choice?.project}”: {choice.reason}</p> : null}
      <section>
        <h2>Which contact is +</h2>
        <Sockets report={report} />
      </section>
      <section>
        <h2>Where the sleep current goes</h2>
        {bill ? <Bill bill={bill} /> : <p><Unknown>no bill</Unknown> {"Err" in report.bill ? report.bill.Err : ""}</p>}
      </section>
      <Supplies sessions={sessions} />
      <RideThrough sessions={sessions} />
      <section>
        <h2>Traits and figures</h2>
        <EditTraits board={String((report.document as { name?: string }).name ?? "")} />
        <Traits report={report} />
      </section>
      <div class="columns">
        <section>
          <h2>Specimens</h2>
          <ul class="plain">
            {(document.specimens ?? []).map((s) => (
              <li key={s.id}>
                <strong><bdi>{s.id}</bdi></strong>{s.revision ? `, revision ${s.revision}` : ""}{s.bought ? `, bought ${s.bought}` : ""}{s.price ? ` for ${s.price}` : ""}
                {s.dead ? <p class="dead">† dead since {s.dead.since}{s.dead.step ? ` at “${s.dead.step}”` : ""}: {s.dead.cause ?? "cause unknown"}{s.dead.cost ? `; cost ${s.dead.cost}` : ""}{s.dead.lesson ? `. Lesson: ${s.dead.lesson}` : ""}. Its electrical figures stay empty.</p> : null}
              </li>
            ))}
          </ul>
          {(document.specimens ?? []).length === 0 ? <p class="quiet">None in the drawer.</p> : null}
        </section>
        <section>
          <h2>Reworks</h2>
          <ul class="plain">{(document.reworks ?? []).map((r, i) => <li key={i}><strong>{String(r.name)}</strong>{r.work ? `, ${String(r.work)}` : ""}{r.risk ? `, risk ${String(r.risk)}` : ""}{r.loses ? `; loses ${String(r.loses)}` : ""}</li>)}</ul>
          {(document.reworks ?? []).length === 0 ? <p class="quiet">None is written down.</p> : <p class="quiet">What each gains for the project stands in the forecast.</p>}
        </section>
      </div>
      {claims.length > 0 ? <section><h2>Other people's figures</h2>{claims.map((c) => <ClaimNote key={c.name} claim={c} />)}</section> : null}
      <section>
        <h2>Sessions at the bench</h2>
        {sessions.length === 0 ? <p class="quiet">No session yet: <Unknown>never measured</Unknown></p> : null}
        {[...sessions].sort((a, b) => String(b.date).localeCompare(String(a.date))).map((s) => <SessionNote key={s.name} session={s} />)}
      </section>
    </>
  );
}

function sideOf(text: string): Side {
  const word = text.toLowerCase();
  if (word.startsWith("left")) return "left";
  if (word.startsWith("right")) return "right";
  return "unknown";
}

/** The cell's document of the project, for its lead. */
function leadSide(): { cell: string; side: Side } {
  const cell = String(get(project.value, "cell") ?? "");
  const found = documents(engine.value?.content.files ?? [], "cells", "cell").find((c) => c.name === cell);
  if (!found) return { cell, side: "unknown" };
  const lead = get(parse(found.text) as Table, "cell", "lead", "positive_side");
  return { cell, side: typeof lead === "string" ? sideOf(lead) : "unknown" };
}

function Sockets({ report }: { report: BoardReport }) {
  const index = report.table.columns.findIndex((c) => c.key === "plus");
  const kind = report.table.columns.findIndex((c) => c.key === "connector");
  const lead = leadSide();
  return (
    <div class="sockets">
      {report.table.rows.map((row) => {
        const value = row.cells[index];
        const connector = row.cells[kind] ? cellText(row.cells[kind]) : "unknown";
        const none = value === "not_applicable" || connector === "none";
        return <Socket key={row.specimen ?? row.board} specimen={row.specimen ?? row.board} side={none ? "none" : value ? sideOf(cellText(value)) : "unknown"} lead={lead.side} cell={lead.cell} dead={row.dead !== null} />;
      })}
      <p class="quiet">Seen with the socket's opening towards you and the board's parts up. Polarity is not standard: measure both wires of this specimen and of this cell before you plug them.</p>
    </div>
  );
}

function Bill({ bill }: { bill: BillReport }) {
  const total = bill.total.current_a;
  let left = 0;
  const all = [...bill.lines, bill.unexplained];
  const most = Math.max(total, bill.lines.reduce((sum, l) => sum + l.current_a, 0));
  return (
    <>
      <ol class="waterfall" aria-label={`Bill of ${bill.total.text}`}>
        <li class="whole"><span class="label">{bill.total.name}, at {bill.supply_v} V</span><span class="track" aria-hidden="true"><i style={{ left: "0%", width: `${(100 * total) / most}%` }} /></span><span class="value">{bill.total.text}</span></li>
        {all.map((line) => {
          const rest = line === bill.unexplained;
          const share = line.current_a / most;
          const from = rest && share < 0 ? left + share : left;
          if (!rest) left += share;
          return (
            <li key={line.name} class={rest ? "stranded" : ""}>
              <span class="label">{line.name}{line.origin ? <OriginNote origin={line.origin} /> : null}</span>
              <span class="track" aria-hidden="true"><i style={{ left: `${100 * Math.max(from, 0)}%`, width: `${Math.max(100 * Math.abs(share), 0.3)}%` }} /></span>
              <span class="value">{line.text} <span class="quiet">{line.share < 0 ? `−${percent(-line.share)}` : percent(line.share)}</span></span>
            </li>
          );
        })}
      </ol>
      <p>{bill.closure.charAt(0).toUpperCase() + bill.closure.slice(1)}.{bill.beyond_module ? ` Beyond the module: ${bill.beyond_module}.` : ""}</p>
      {bill.notes.length > 0 ? <ul class="flags">{bill.notes.map((n) => <li key={n}>{n}</li>)}</ul> : null}
    </>
  );
}

const SCALE: Record<string, number> = { n: 1e-9, "µ": 1e-6, "μ": 1e-6, u: 1e-6, m: 1e-3, "": 1 };

/** The plain number at the head of a figure's text in its SI unit; only used to place a point in a drawing. */
function si(text: string | null | undefined, unit: string): number | undefined {
  const found = new RegExp(`^\\s*([0-9.]+).*?\\s(n|µ|μ|u|m|)${unit}\\b`, "u").exec(text ?? "");
  return found ? Number(found[1]) * (SCALE[found[2] ?? ""] ?? 1) : undefined;
}

function Supplies({ sessions }: { sessions: Session[] }) {
  const points: SweepPoint[] = [];
  for (const s of sessions) {
    if (s.retracted) continue;
    for (const r of s.readings) {
      if (r.what !== "sleep current" || r.retracted) continue;
      const source = r.source ?? s.source;
      if (source && source !== "battery contacts") continue;
      const volts = si(r.supply ?? s.supply, "V");
      const repeats = (r.repeats ?? []).map((t) => si(t, "A")).filter((v) => v !== undefined);
      const current = si(r.value, "A") ?? (repeats.length > 0 ? repeats.reduce((a, b) => a + b, 0) / repeats.length : undefined);
      if (volts !== undefined && current !== undefined) points.push({ volts, current, specimen: s.specimen ?? "", text: r.value ?? `${(current * 1e6).toPrecision(4)} µA, mean of ${repeats.length}`, session: s.name });
    }
  }
  if (new Set(points.map((p) => p.volts)).size < 2) return null;
  return <section><h2>Sleep current over the supply</h2><Sweep points={points} /></section>;
}

function RideThrough({ sessions }: { sessions: Session[] }) {
  const trials = sessions.filter((s) => !s.retracted).flatMap((s) => s.ride_through.map((t) => ({ ...t, specimen: s.specimen ?? "" })));
  if (trials.length === 0) return null;
  const volts = [...new Set(trials.map((t) => t.cell_voltage))].sort((a, b) => Number.parseFloat(b) - Number.parseFloat(a));
  const kind = (t: (typeof trials)[number]) => JSON.stringify([t.specimen, t.event, t.doing ?? "", t.edge ?? ""]);
  const kinds = [...new Set(trials.map(kind))].sort();
  return (
    <section>
      <h2>Ride-through when a source comes or goes</h2>
      <p class="quiet">Resets of trials, by the cell's voltage. A full cell hides the drop of the hand-over: what was not tried on a low cell is unknown.</p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Ride-through trials">
        <table>
          <thead><tr><th scope="col">specimen</th><th scope="col">source</th><th scope="col">doing</th><th scope="col">edge</th>{volts.map((v) => <th key={v} scope="col" class="number">{v}</th>)}</tr></thead>
          <tbody>
            {kinds.map((k) => {
              const [specimen, event, doing, edge] = JSON.parse(k) as string[];
              return (
                <tr key={k}>
                  <th scope="row" class="trial">{specimen}</th><td>{event}</td><td class="trial">{doing}</td><td class="trial">{edge}</td>
                  {volts.map((v) => {
                    const own = trials.filter((t) => kind(t) === k && t.cell_voltage === v);
                    if (own.length === 0) return <td key={v} class="number"><Unknown>not tried</Unknown></td>;
                    const resets = own.reduce((sum, t) => sum + t.resets, 0);
                    return <td key={v} class={`number trial ${resets > 0 ? "resets" : ""}`}>{resets > 0 ? "resets " : ""}{resets} of {own.reduce((sum, t) => sum + t.trials, 0)}</td>;
                  })}
                </tr>
              );
            })}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Traits({ report }: { report: BoardReport }) {
  const { columns, rows } = report.table;
  const groups = [...new Set(columns.map((c) => c.group))];
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Traits and figures of each specimen">
      <table class="traits">
        <thead><tr><td />{rows.map((r) => <th key={r.specimen ?? r.board} scope="col"><bdi>{r.specimen ?? r.board}</bdi>{r.dead ? " †" : ""}</th>)}</tr></thead>
        {groups.map((group) => (
          <tbody key={group}>
            <tr class="groups"><th scope="rowgroup" colSpan={rows.length + 1}>{group}</th></tr>
            {columns.map((c, i) => c.group !== group ? null : (
              <tr key={c.key}>
                <th scope="row">{c.title}</th>
                {rows.map((r) => {
                  const value = r.cells[i] ?? "unknown";
                  if (value === "unknown" || (typeof value === "object" && "trait" in value && value.trait === "unknown")) return <td key={r.specimen ?? r.board} class="is-unknown"><Unknown /></td>;
                  if (value === "not_applicable") return <td key={r.specimen ?? r.board} class="none">–</td>;
                  if ("figure" in value) return <td key={r.specimen ?? r.board}>{value.figure.text} <OriginNote origin={value.figure.origin} /></td>;
                  if ("trait" in value) return <td key={r.specimen ?? r.board}><span class={`truth ${truthText(value.trait).state}`}>{truthText(value.trait).text}</span></td>;
                  return <td key={r.specimen ?? r.board}>{cellText(value)}</td>;
                })}
              </tr>
            ))}
          </tbody>
        ))}
      </table>
    </div>
  );
}

function conditions(r: Reading): string {
  const told: [string, string | null | undefined][] = [["at", r.supply], ["fed from", r.source], ["range", r.range], ["meter", r.instrument], ["temperature", r.temperature], ["settled", r.settled_for], ["window", r.window], ["zero before", r.zero_before], ["zero after", r.zero_after], ["part", r.part]];
  return told.filter(([, v]) => v).map(([k, v]) => `${k} ${v}`).join(" · ");
}

function Readings({ of }: { of: Reading[] }) {
  if (of.length === 0) return null;
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Readings">
      <table>
        <thead><tr><th scope="col">what</th><th scope="col">read</th><th scope="col">under which conditions</th></tr></thead>
        <tbody>{of.map((r, i) => <tr key={i} class={r.retracted ? "retracted" : ""}><th scope="row">{r.what}</th><td>{r.value ?? (r.repeats ?? []).join(", ")}{r.retracted ? " (retracted)" : ""}</td><td>{conditions(r)}{r.note ? <span class="quiet"> {r.note}</span> : null}</td></tr>)}</tbody>
      </table>
    </div>
  );
}

function SessionNote({ session: s }: { session: Session }) {
  const head = [s.date, s.specimen].filter(Boolean).join(" · ");
  const told = [s.instrument, s.supply && `at ${s.supply}`, s.source && `fed from ${s.source}`, s.temperature, s.firmware?.version && `firmware ${s.firmware.version}${s.firmware.hash ? ` (${s.firmware.hash})` : ""}`, s.firmware?.state, s.who && `by ${s.who}`, s.kind].filter(Boolean).join(" · ");
  return (
    <details class="session">
      <summary><span>{head}</span> <span class="quiet">{[...new Set(s.readings.map((r) => r.what))].join(", ")}{s.polarity ? ", polarity" : ""}{s.ride_through.length > 0 ? ", ride-through" : ""}{s.retracted ? " – retracted" : ""}</span></summary>
      <p class="quiet">{told}</p>
      {s.note ? <p>{s.note}</p> : null}
      {s.polarity ? <p>Polarity: {Object.entries(s.polarity).filter(([, v]) => v).map(([k, v]) => `${k.replace("_", " ")} ${v}`).join(", ")}</p> : null}
      <Readings of={s.readings} />
      <EditNotes session={s.name} />
    </details>
  );
}

function ClaimNote({ claim: c }: { claim: Claim }) {
  return (
    <div class="claim">
      <p><strong>{c.name}</strong> <span class="quiet">{[c.date, c.revision && `revision ${c.revision}`, c.instrument, c.temperature].filter(Boolean).join(" · ")}</span></p>
      {c.note ? <p>{c.note}</p> : null}
      <Readings of={c.readings} />
    </div>
  );
}
