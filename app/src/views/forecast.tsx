// The forecast of one board: state of charge and rail over calendar time, the ledger, what inputs are worth, what a target allows.
import { signal } from "@preact/signals";
import { useEffect, useMemo } from "preact/hooks";
import { Bands } from "../charts/bands";
import { Contributions, Waterfall } from "../charts/bars";
import { Pairs } from "../charts/pairs";
import { days, life, milliampereHours, percent, SECONDS, significant } from "../format";
import { engine, finest, forecast, go, message, project, ranked, text } from "../state";
import { Refused, Stopped } from "../engine";
import { get } from "../project";
import type { Diagnostic, ForecastReport } from "../types";
import { Behind, Faults, OriginNote, Waiting } from "./parts";
import { setTarget } from "./project";
import { lines } from "./table";

interface Shown {
  report?: ForecastReport;
  /** The board and text that the report answers. */
  of?: string;
  faults: Diagnostic[];
  trouble?: string;
  waiting: boolean;
}
const shown = signal<Shown>({ faults: [], waiting: false });
let turn = 0;

async function load(board: string, of: string): Promise<void> {
  const own = ++turn;
  shown.value = { ...shown.value, waiting: true, faults: [], trouble: undefined };
  // A rough forecast first: the drawing stands at once, its edges sharpen afterwards.
  const [rough, fine] = [16, finest()];
  for (const draws of rough >= fine ? [fine] : [rough, fine]) {
    try {
      const report = await forecast(board, draws);
      if (own !== turn) return;
      shown.value = { report, of, faults: [], waiting: draws !== fine };
    } catch (error) {
      if (own !== turn) return;
      // A newer ranking took the engine: this forecast is asked for again when that is done.
      if (error instanceof Stopped) { shown.value = { ...shown.value, of: undefined, waiting: false }; return; }
      shown.value = { faults: error instanceof Refused ? error.diagnostics : [], trouble: error instanceof Refused ? undefined : message(error), waiting: false };
      return;
    }
  }
}

/** The calendar day the project starts, where it tells one. */
function start(): Date | undefined {
  const value = get(project.value, "start");
  const date = value instanceof Date ? value : undefined;
  return date && !Number.isNaN(date.getTime()) ? date : undefined;
}

export function ForecastView({ board }: { board: string }) {
  const rankedOf = ranked.value;
  // The ranking goes first: both use the same engine, and the newest question wins.
  const idle = rankedOf.computing === undefined && engine.value !== undefined;
  useEffect(() => {
    const of = `${board}\n${text.value}`;
    if (idle && shown.peek().of !== of) void load(board, of);
  }, [board, text.value, idle]);
  const { report, faults, trouble, waiting, of } = shown.value;
  const current = report && report.board === board ? report : undefined;
  const stale = of !== `${board}\n${text.value}`;
  const choice = rankedOf.choice;
  const names = useMemo(() => lines.value.filter((l) => l.verdict?.this_specimen).map((l) => l.name), [lines.value]);
  return (
    <article class={`sheet ${stale && current ? "stale" : ""}`}>
      <header class="sheet-head">
        <h1>Forecast: <bdi>{board}</bdi></h1>
        <label class="inline">board <select aria-label="board" value={board} onChange={(e) => go({ view: "forecast", board: e.currentTarget.value })}>{names.includes(board) ? null : <option value={board}>{board}</option>}{names.map((n) => <option key={n} value={n}>{n}</option>)}</select></label>
        <button type="button" class="quiet-button" onClick={() => go({ view: "board", board })}>Board sheet</button>
        <button type="button" class="quiet-button" onClick={() => print()}>Print</button>
      </header>
      {trouble ? <p class="warn" role="alert">{trouble}</p> : null}
      <Faults of={faults} title="No forecast for this board and project" />
      {!current && (waiting || !idle) ? <Waiting>{idle ? "Forecasting…" : "The ranking is computed first…"}</Waiting> : null}
      {current ? <Body report={current} rough={waiting} /> : null}
      {choice && choice.pair_boards.length > 1 ? (
        <section>
          <h2>Which outlasts which</h2>
          <Pairs boards={choice.pair_boards} pairs={choice.pairs} mine={board} />
        </section>
      ) : null}
    </article>
  );
}

function Body({ report, rough }: { report: ForecastReport; rough: boolean }) {
  const own = report.this_specimen;
  const bought = report.one_you_might_buy;
  const from = start();
  return (
    <>
      <p class="lead">
        {report.life_is_limit ? "Still alive after " : "Lasts "}<b>{life(own.p50_s)}</b> in the median, {life(own.p10_s)} to {life(own.p90_s)} in eight of ten draws
        {own.chance_of_target !== null && report.target_s ? <>; <b>{percent(own.chance_of_target)}</b> reach {life(report.target_s)}</> : null}.
        {" "}It ends by {report.ending}{report.ending_activity ? ` in “${report.ending_activity}”` : ""}.
      </p>
      <p class="quiet">{report.project} · {report.cell} · {report.draws} draws{rough ? ", refining…" : ""} · one you might buy: {life(bought.p50_s)} ({life(bought.p10_s)} … {life(bought.p90_s)}); {report.spread_statement}</p>
      {report.flags.length > 0 ? <ul class="flags">{report.flags.map((f) => <li key={f}>{f}</li>)}</ul> : null}
      <section>
        <h2>State of charge and rail</h2>
        <Bands report={report} start={from} move={(d) => setTarget(`${d} d`)} />
      </section>
      <div class="columns">
        <section>
          <h2>Where the charge goes</h2>
          <Waterfall initial={report.initial_charge_c} lines={report.ledger} />
          <Behind caption="Ledger: adds up to the initial charge" head={["what", "charge", "share"]} rows={report.ledger.map((l) => [l.name, milliampereHours(l.charge_c), percent(l.share)])} />
        </section>
        <section>
          <h2>What each input is worth</h2>
          <p class="quiet">Days of life that one standard uncertainty of the input moves.</p>
          <Contributions lines={report.sensitivities.slice(0, 9).map((s) => ({ name: s.input, value: Math.abs(s.days_per_standard_uncertainty), note: `${significant(Math.abs(s.days_per_unit), 2)} d ${s.unit}` }))} unit="d" />
          <details class="behind">
            <summary>All inputs with their sources</summary>
            <div class="scroll" tabIndex={0} role="region" aria-label="All inputs">
              <table>
                <thead><tr><th scope="col">input</th><th scope="col">value</th><th scope="col">worth</th><th scope="col">moves</th><th scope="col">source</th></tr></thead>
                <tbody>{report.sensitivities.map((s) => <tr key={s.input}><th scope="row">{s.input}</th><td>{s.value}</td><td>{significant(s.days_per_unit, 2)} d {s.unit}</td><td>{significant(s.days_per_standard_uncertainty, 2)} d</td><td><OriginNote origin={s.origin} /></td></tr>)}</tbody>
              </table>
            </div>
          </details>
        </section>
      </div>
      <Target report={report} />
      <div class="columns">
        <section>
          <h2>Reworks</h2>
          {report.reworks.length === 0 ? <p class="quiet">None is written down for this board.</p> : (
            <div class="scroll" tabIndex={0} role="region" aria-label="Reworks">
              <table>
                <thead><tr><th scope="col">rework</th><th scope="col" class="number">work</th><th scope="col" class="number">gains</th><th scope="col" class="number">a minute</th><th scope="col" class="number">then reach target</th><th scope="col">risk</th></tr></thead>
                <tbody>{report.reworks.map((r) => <tr key={r.rework}><th scope="row">{r.rework}</th><td class="number">{r.minutes.toFixed(0)} min</td><td class="number">{significant(r.days_gained, 2)} d</td><td class="number">{significant(r.days_per_minute, 2)} d</td><td class="number">{r.chance_of_target === null ? "–" : percent(r.chance_of_target)}</td><td>{r.risk ?? ""}</td></tr>)}</tbody>
              </table>
            </div>
          )}
        </section>
        <section>
          <h2>What was near when it ended</h2>
          <dl class="pairs-list">{report.margins.map((m) => <div key={m.limit}><dt>{m.limit}</dt><dd>{m.margin} away</dd></div>)}<div><dt>stranded in the cell</dt><dd>{milliampereHours(report.stranded_c)}</dd></div></dl>
        </section>
      </div>
      <ul class="cautions">{report.cautions.map((c) => <li key={c}>{c}</li>)}</ul>
    </>
  );
}

const STOPS = [7, 14, 30, 60, 90, 120, 150, 180, 210, 240, 274, 304, 335, 365, 456, 548, 730, 1096, 1461, 1826, 2557, 3652];

function Target({ report }: { report: ForecastReport }) {
  const now = report.target_s ?? 0;
  const near = STOPS.reduce((best, d, i) => (Math.abs(Math.log((d * SECONDS.DAY) / Math.max(now, 1))) < Math.abs(Math.log(((STOPS[best] ?? 1) * SECONDS.DAY) / Math.max(now, 1))) ? i : best), 0);
  return (
    <section>
      <h2>What a target allows</h2>
      <p class="target-field">
        <label for="target">target</label>
        <input id="target" type="range" min="0" max={STOPS.length - 1} step="1" value={near} aria-valuetext={life((STOPS[near] ?? 0) * SECONDS.DAY)} onChange={(e) => setTarget(`${STOPS[Number(e.currentTarget.value)] ?? 365} d`)} />
        <output for="target">{now ? life(now) : "none"}</output>
      </p>
      {report.allowances.length === 0 ? <p class="quiet">Move the target to see which sleep current, wake charge, interval and cell it allows.</p> : (
        <div class="scroll" tabIndex={0} role="region" aria-label="What the target allows">
          <table>
            <thead><tr><th scope="col">quantity</th><th scope="col">now</th><th scope="col">allowed for {life(now)}</th><th scope="col">remark</th></tr></thead>
            <tbody>{report.allowances.map((a) => <tr key={a.quantity}><th scope="row">{a.quantity}</th><td>{a.now}</td><td>{a.allowed ?? <span class="none">nothing does</span>}</td><td>{a.remark}</td></tr>)}</tbody>
          </table>
        </div>
      )}
      <p class="quiet">{days(now) ? "The target is part of the project: moving it ranks the table again." : ""}</p>
    </section>
  );
}
