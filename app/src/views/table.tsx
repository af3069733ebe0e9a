// The table with the project beside it: one row a board, ranked for the project, with chosen columns of traits and figures.
import { computed, signal } from "@preact/signals";
import { useEffect, useRef, useState } from "preact/hooks";
import { at, axisOf, Interval, TimeScale, type Axis } from "../charts/interval";
import { csv } from "../csv";
import { life, percent } from "../format";
import { get } from "../project";
import { finest, go, halt, project, ranked, remembered, table, text } from "../state";
import type { BoardVerdict, CellValue, Column, LifeAnswer, Row } from "../types";
import { Facets, filter } from "./facets";
import { cellNumber, cellText, Faults, save, short, truthText, Unknown, Verdict, Waiting } from "./parts";

const USUAL = ["sleep", "beyond-module", "certified", "plus", "charge-current", "resets-removed", "led", "price"];
export const columns = remembered<string[]>("columns", USUAL);
const sort = remembered<{ by: string; down: boolean }>("sort", { by: "choice", down: false });
const opened = signal<string | undefined>(undefined);
/** Rows of a piece of the table. Only pieces near the window are drawn, the others hold their place: a thousand boards scroll and filter as ten do. */
const PIECE = 8;
/** Pieces at the top that are always drawn: a short table is whole. */
const FIRST = 3;
/** Height of a piece that was never drawn, px. */
const GUESS = PIECE * 56;
/** On paper all pieces are drawn. */
const printing = signal(false);
addEventListener("beforeprint", () => { printing.value = true; });
addEventListener("afterprint", () => { printing.value = false; });

export interface Line {
  name: string;
  row?: Row;
  verdict?: BoardVerdict;
}

/** Boards of the choice in its order, then those that the project leaves out. */
export const lines = computed<Line[]>(() => {
  const rows = table.value?.rows ?? [];
  const left = new Set(rows);
  // A row may carry its revision behind the board's name.
  const named = new Map([...rows.map((r) => [r.board.replace(/ \S+$/, ""), r] as const), ...rows.map((r) => [r.board, r] as const)]);
  const all: Line[] = [];
  for (const verdict of ranked.value.choice?.boards ?? []) {
    const row = named.get(verdict.board) ?? rows.find((r) => r.board.startsWith(`${verdict.board} `));
    if (row) left.delete(row);
    all.push({ name: verdict.board, row, verdict });
  }
  for (const row of rows) if (left.has(row)) all.push({ name: row.board, row });
  return all;
});

export function lifeOf(verdict: BoardVerdict | undefined): LifeAnswer | undefined {
  return verdict?.this_specimen ?? verdict?.one_you_might_buy ?? undefined;
}

const axis = computed<Axis | undefined>(() => {
  const values = lines.value.flatMap((line) => {
    const found = lifeOf(line.verdict);
    return found ? [Math.max(found.p10_s, 60), found.p90_s] : [];
  });
  const target = ranked.value.choice?.target_s;
  if (target) values.push(target);
  const whole = axisOf(values);
  // What lives less than a fortieth of the longest is out whatever the axis shows: it gets an arrow, the others room.
  return whole ? { low: Math.max(whole.low, whole.high / 40), high: whole.high } : undefined;
});

const axes = computed(() => {
  const found = new Map<string, Axis>();
  table.value?.columns.forEach((column, index) => {
    if (!column.logarithmic) return;
    const values = table.value?.rows.flatMap((row) => cellNumber(row.cells[index] ?? "unknown") ?? []) ?? [];
    const one = axisOf(values);
    if (one) found.set(column.key, one);
  });
  return found;
});

function order(value: CellValue | undefined): number | string | undefined {
  if (value === undefined || value === "unknown" || value === "not_applicable") return undefined;
  if ("trait" in value) {
    const { state, text: word } = truthText(value.trait);
    return state === "unknown" ? undefined : word.startsWith("yes") ? (state === "yes" ? 0 : 1) : state === "inferred" ? 2 : 3;
  }
  return cellNumber(value) ?? cellText(value);
}

const sorted = computed<Line[]>(() => {
  const report = table.value;
  const { by, down } = sort.value;
  const passes = report ? filter(report) : () => true;
  const kept = lines.value.filter((line) => !line.row || passes(line.row));
  if (by === "choice") return down ? [...kept].reverse() : kept;
  const index = report?.columns.findIndex((c) => c.key === by) ?? -1;
  const key = (line: Line) =>
    by === "board" ? line.name
    : by === "life" ? lifeOf(line.verdict)?.p50_s
    : by === "chance" ? (lifeOf(line.verdict)?.chance_of_target ?? undefined)
    : order(line.row?.cells[index]);
  return [...kept].sort((a, b) => {
    const [x, y] = [key(a), key(b)];
    // What is not known comes last whichever way is asked for.
    if (x === undefined || y === undefined) return Number(x === undefined) - Number(y === undefined);
    const way = typeof x === "string" || typeof y === "string" ? String(x).localeCompare(String(y)) : x - y;
    return down ? -way : way;
  });
});

function Heading({ by, title, unit, first = false }: { by: string; title: string; unit?: string | null; first?: boolean }) {
  const active = sort.value.by === by;
  const turn = () => {
    sort.value = active ? { by, down: !sort.value.down } : { by, down: first };
  };
  return (
    <th scope="col" aria-sort={active ? (sort.value.down ? "descending" : "ascending") : undefined} class={`c-${by}`}>
      <button type="button" class="sort" onClick={turn}>
        {title}
        {unit ? <span class="unit"> {unit}</span> : null}
        <span class="way" aria-hidden="true">{active ? (sort.value.down ? "▾" : "▴") : ""}</span>
      </button>
    </th>
  );
}

function Cell({ column, value }: { column: Column; value: CellValue }) {
  if (value === "unknown") return <td class="extra is-unknown" data-title={column.title}><Unknown /></td>;
  if (value === "not_applicable") return <td class="extra none" data-title={column.title} title="does not apply">–</td>;
  if ("trait" in value) {
    const { text: word, state } = truthText(value.trait);
    return state === "unknown" ? <td class="extra is-unknown" data-title={column.title}><Unknown /></td> : <td class="extra" data-title={column.title}><span class={`truth ${state}`}>{word}</span></td>;
  }
  if ("text" in value) return <td class="extra words" data-title={column.title}>{value.text}</td>;
  if ("number" in value) return <td class="extra number" data-title={column.title}>{value.number.text}</td>;
  const { figure } = value;
  const own = axes.value.get(column.key);
  const u = figure.standard_uncertainty ?? 0;
  const bare = column.unit ? short(figure.text).replace(new RegExp(` ${column.unit}$`), "") : short(figure.text);
  return (
    <td class="extra number" data-title={column.unit ? `${column.title}, ${column.unit}` : column.title} title={`${figure.text} – ${figure.origin.kind}, ${figure.origin.source}`}>
      {bare}
      {own && figure.value > 0 ? (
        <span class="track" aria-hidden="true">
          <i class="bar" style={{ left: `${at(own, Math.max(figure.value - 2 * u, own.low))}%`, width: `${Math.max(at(own, figure.value + 2 * u) - at(own, Math.max(figure.value - 2 * u, own.low)), 1)}%` }} />
          <i class="middle" style={{ left: `${at(own, figure.value)}%` }} />
        </span>
      ) : null}
    </td>
  );
}

function lifeLabel(name: string, found: LifeAnswer): string {
  return `${name}: median ${life(found.p50_s)}, 10 to 90 % ${life(found.p10_s)} to ${life(found.p90_s)}`;
}

function Detail({ line, span }: { line: Line; span: number }) {
  const { verdict, row } = line;
  const shared = axis.value;
  const target = ranked.value.choice?.target_s;
  return (
    <tr class="detail" id={`detail-${line.name}`}>
      <td colSpan={span}>
        <div class="detail-grid">
          <section>
            <h3>Needs</h3>
            {verdict ? (
              <ul class="needs">
                {verdict.needs.map((need) => (
                  <li key={need.need}><Verdict of={need.verdict} /><span><strong>{need.need}</strong> {need.reason}</span></li>
                ))}
              </ul>
            ) : <p>This project does not ask about {line.name}.</p>}
          </section>
          <section>
            <h3>Life</h3>
            {verdict && shared && (["this_specimen", "one_you_might_buy"] as const).map((which) => {
              const found = verdict[which];
              const title = which === "this_specimen" ? `this specimen${verdict.specimen ? `, ${verdict.specimen}` : ""}` : "one you might buy";
              return found ? (
                <div key={which} class="life-line">
                  <p>{title}: <b>{life(found.p50_s)}</b> ({life(found.p10_s)} … {life(found.p90_s)}){found.chance_of_target !== null ? `, ${percent(found.chance_of_target)} reach the target` : ""}</p>
                  <Interval axis={shared} low={found.p10_s} middle={found.p50_s} high={found.p90_s} target={target} tone={verdict.verdict} label={lifeLabel(title, found)} />
                  <p class="quiet">{found.endings.map((e) => `${percent(e.share)} ${e.ending}${e.activity ? ` in “${e.activity}”` : ""}`).join(" · ")}</p>
                </div>
              ) : <p key={which}>{title}: <Unknown>no forecast</Unknown></p>;
            })}
            {verdict?.tie ? <p class="quiet">{verdict.tie === "not_told" ? "The data cannot tell it from the leading board." : "Its difference to the leading board is smaller than what you care about."}</p> : null}
          </section>
          <section>
            {verdict?.rework ? (
              <>
                <h3>Cheapest rework</h3>
                <p><b>{verdict.rework.rework}</b>: {verdict.rework.minutes.toFixed(0)} min, {verdict.rework.days_gained >= 0.5 ? `+${verdict.rework.days_gained.toFixed(0)} d` : "gains no day"}{verdict.rework.chance_of_target !== null ? `, then ${percent(verdict.rework.chance_of_target)} reach the target` : ""}{verdict.rework.risk ? `; ${verdict.rework.risk}` : ""}.</p>
              </>
            ) : null}
            {row?.dead ? <p class="dead">† {row.specimen}: {row.dead}</p> : null}
            {verdict && verdict.flags.length > 0 ? <><h3>What is missing or outside its range</h3><ul class="plain">{verdict.flags.map((flag) => <li key={flag}>{flag}</li>)}</ul></> : null}
            <p class="actions">
              <button type="button" onClick={() => go({ view: "board", board: line.name })}>Board sheet</button>
              <button type="button" disabled={!lifeOf(verdict)} onClick={() => go({ view: "forecast", board: line.name })}>Forecast</button>
            </p>
          </section>
        </div>
      </td>
    </tr>
  );
}

function Columns() {
  const report = table.value;
  if (!report) return null;
  const groups = [...new Set(report.columns.map((c) => c.group))];
  const toggle = (key: string) => {
    columns.value = columns.value.includes(key) ? columns.value.filter((k) => k !== key) : [...columns.value, key];
  };
  return (
    <details class="chooser">
      <summary>Columns <span class="quiet">{columns.value.length}</span></summary>
      <div class="chooser-body">
        {groups.map((group) => (
          <fieldset key={group}>
            <legend>{group}</legend>
            {report.columns.filter((c) => c.group === group).map((c) => (
              <label key={c.key}><input type="checkbox" checked={columns.value.includes(c.key)} onChange={() => toggle(c.key)} /> {c.title}</label>
            ))}
          </fieldset>
        ))}
        <button type="button" onClick={() => { columns.value = USUAL; }}>The usual columns</button>
      </div>
    </details>
  );
}

function Status() {
  const { choice, computing, halted, of, faults, trouble } = ranked.value;
  const last = finest();
  return (
    <div class="status">
      <p role="status" aria-live="polite">
        {computing !== undefined ? <span class="pulse" aria-hidden="true" /> : null}
        {computing !== undefined
          ? choice ? `Refining with ${computing} draws…` : "First ranking…"
          : halted ? `Stopped at ${choice?.draws ?? 0} of ${last} draws: the intervals are rough.`
          : choice ? `${choice.draws} draws, seed ${choice.seed}` : ""}
        {choice && of !== text.value ? " The ranking below is for the project before this change." : ""}
      </p>
      {computing !== undefined && choice ? <button type="button" class="quiet-button" onClick={halt}>Stop</button> : null}
      {faults.length > 0 && choice ? <p class="warn">The project has a fault, told beside it; the last ranking stays below.</p> : null}
      {trouble ? <p class="warn" role="alert">{trouble}</p> : null}
    </div>
  );
}

function Piece({ index }: { index: number }) {
  const body = useRef<HTMLTableSectionElement>(null);
  const [near, setNear] = useState(index < FIRST);
  const height = useRef(GUESS);
  useEffect(() => {
    const own = body.current;
    if (!own || index < FIRST) return;
    const watch = new IntersectionObserver((seen) => {
      const inside = seen[seen.length - 1]?.isIntersecting ?? true;
      // What has the focus stays.
      if (inside || !own.contains(document.activeElement)) {
        if (!inside && own.offsetHeight > 0) height.current = own.offsetHeight;
        setNear(inside);
      }
    }, { rootMargin: "350px" });
    watch.observe(own);
    return () => watch.disconnect();
  }, []);
  return <tbody ref={body}>{near || printing.value ? <Lines from={index * PIECE} /> : <tr class="gap"><td colSpan={5} style={{ height: `${height.current}px` }} /></tr>}</tbody>;
}

function Lines({ from }: { from: number }) {
  const report = table.value;
  const choice = ranked.value.choice;
  if (!report) return null;
  const shown = report.columns.filter((c) => columns.value.includes(c.key));
  return (
    <>
      {sorted.value.slice(from, from + PIECE).map((line, i) => {
        const found = lifeOf(line.verdict);
        const open = opened.value === line.name;
        const toggle = () => { opened.value = open ? undefined : line.name; };
        return [
          <tr key={line.name} aria-rowindex={from + i + 3} class={`line ${line.verdict?.verdict ?? ""} ${open ? "open" : ""}`}>
            <td class="c-open">
              <button type="button" class="twist" aria-expanded={open} aria-controls={`detail-${line.name}`} aria-label={`Details of ${line.name.slice(0, 80)}`} onClick={toggle}><span aria-hidden="true">{open ? "−" : "+"}</span></button>
            </td>
            <th scope="row" class="c-board">
              <button type="button" class="name" onClick={() => go({ view: "board", board: line.name })} title="open the board sheet"><bdi>{line.name}</bdi>{line.row?.dead ? <span class="dead" title={line.row.dead}> †</span> : null}</button>
              {line.verdict ? <Verdict of={line.verdict.verdict} /> : <span class="quiet">not in question</span>}
            </th>
            <td class="c-life">
              {found && axis.value ? (
                <>
                  <span class="life-text"><b>{found.censored >= 0.5 ? "> " : ""}{life(found.p50_s)}</b> <span class="quiet">{life(found.p10_s)} … {life(found.p90_s)}</span></span>
                  <Interval axis={axis.value} low={found.p10_s} middle={found.p50_s} high={found.p90_s} target={choice?.target_s} tone={line.verdict?.verdict} label={lifeLabel(line.name, found)} />
                </>
              ) : line.verdict ? <Unknown>no forecast</Unknown> : null}
            </td>
            <td class="number c-chance">{found && found.chance_of_target !== null ? percent(found.chance_of_target) : "–"}</td>
            <td class="c-why"><Why verdict={line.verdict} /></td>
            {shown.map((c) => <Cell key={c.key} column={c} value={line.row?.cells[report.columns.indexOf(c)] ?? "unknown"} />)}
          </tr>,
          open ? <Detail key={`${line.name} detail`} line={line} span={5 + shown.length} /> : null,
        ];
      })}
    </>
  );
}

export function TableView() {
  const report = table.value;
  const { choice, of, faults } = ranked.value;
  const shown = (report?.columns ?? []).filter((c) => columns.value.includes(c.key));
  const all = sorted.value;
  const groups: { name: string; width: number }[] = [];
  for (const column of shown) {
    const last = groups[groups.length - 1];
    if (last?.name === column.group) last.width += 1;
    else groups.push({ name: column.group, width: 1 });
  }
  const stale = choice !== undefined && of !== text.value;
  return (
    <div class="table-view">
      <div class="answer">
        <h1>{choice ? choice.project : "Boards"}</h1>
        {choice ? <p class="lead">{choice.answer}</p> : faults.length > 0 ? <Faults of={faults} title="This project cannot be ranked" /> : text.value ? <Waiting>Reading the bench…</Waiting> : <p class="lead">Nothing is ranked yet: there is no project. Begin one in the panel, or write one in <code>projects/</code>.</p>}
        {choice ? <p class="quiet">{choice.load} · {choice.cell}{choice.target_s ? ` · target ${life(choice.target_s)}${choice.target_chance !== null ? ` with ${percent(choice.target_chance)}` : ""}` : ""}</p> : null}
        {choice && get(project.value, "panel") ? <p class="warn">The panel of this project is not counted here: these lives are those in the dark. <button type="button" class="quiet-button" onClick={() => go({ view: "sun", board: "" })}>The years with the sun</button></p> : null}
        {choice?.warnings.map((w) => <p key={w} class="warn">{w}</p>)}
        <Status />
      </div>
      <div class="tools">
        <Columns />
        {report ? <Facets report={report} shown={all.length} total={lines.value.length} /> : null}
        <span class="spacer" />
        <button type="button" class="quiet-button" disabled={!report} onClick={() => report && save("boards.csv", "text/csv", csv(report, choice))}>CSV</button>
        <button type="button" class="quiet-button" disabled={!report} onClick={() => save("boards.json", "application/json", JSON.stringify({ table: report, choice }, null, 1))}>JSON</button>
        <button type="button" class="quiet-button" onClick={() => print()}>Print</button>
      </div>
      {report ? (
        <div class={`scroll main-table ${stale ? "stale" : ""}`} tabIndex={0} role="region" aria-label="Boards, ranked for the project">
          <table aria-busy={ranked.value.computing !== undefined} aria-rowcount={all.length + 2}>
            <caption class="visually-hidden">Boards with verdict, life and chosen columns. Figures in brackets of two standard uncertainties (k = 2).</caption>
            <thead>
              <tr class="groups">
                <td colSpan={2} /><th scope="colgroup" colSpan={3}>for this project</th>
                {groups.map((g, i) => <th key={i} scope="colgroup" colSpan={g.width}>{g.name}</th>)}
              </tr>
              <tr>
                <th scope="col"><span class="visually-hidden">Open</span></th>
                <Heading by="choice" title="board" />
                <th scope="col" aria-sort={sort.value.by === "life" ? (sort.value.down ? "descending" : "ascending") : undefined} class="c-life">
                  <button type="button" class="sort" onClick={() => { sort.value = { by: "life", down: sort.value.by === "life" ? !sort.value.down : true }; }}>
                    life, 10 · 50 · 90 %<span class="way" aria-hidden="true">{sort.value.by === "life" ? (sort.value.down ? "▾" : "▴") : ""}</span>
                  </button>
                  {axis.value ? <TimeScale axis={axis.value} target={choice?.target_s} /> : null}
                </th>
                <Heading by="chance" title="chance" first />
                <th scope="col" class="c-why">why</th>
                {shown.map((c) => <Heading key={c.key} by={c.key} title={c.title} unit={c.unit} />)}
              </tr>
            </thead>
            {Array.from({ length: Math.ceil(all.length / PIECE) }, (_, i) => <Piece key={i} index={i} />)}
          </table>
          {all.length === 0 && lines.value.length === 0 ? <p class="empty">There is no board here yet. A board is a document in <code>boards/</code>: <code>overwinter new FOLDER</code> writes a commented example of every kind to begin with.</p> : all.length === 0 ? <p class="empty">No board passes these filters. Unknown counts as its own state: show it again, or take a filter back.</p> : null}
        </div>
      ) : null}
      {choice ? <ul class="cautions">{choice.cautions.map((c) => <li key={c}>{c}</li>)}</ul> : null}
    </div>
  );
}

function Why({ verdict }: { verdict?: BoardVerdict }) {
  if (!verdict) return null;
  const found = lifeOf(verdict);
  const decisive = verdict.needs.filter((n) => n.verdict === verdict.verdict && n.verdict !== "fits");
  const ending = found?.endings[0];
  const rework = verdict.rework;
  return (
    <span class="why">
      {decisive.length > 0
        ? <span>{decisive[0]?.need.startsWith("lasts ") ? "" : `${decisive[0]?.need} – `}{decisive[0]?.reason}{decisive.length > 1 ? <span class="quiet"> and {decisive.length - 1} more</span> : null}</span>
        : ending ? <span>ends by {ending.ending}</span> : null}
      {rework && verdict.verdict !== "fits" && rework.days_gained >= 0.5 ? <span class="rework">{rework.rework}, {rework.minutes.toFixed(0)} min: +{rework.days_gained.toFixed(0)} d</span> : null}
    </span>
  );
}
