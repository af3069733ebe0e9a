// The sun: does it get through the dark season, what decides it, which sizes would, where the skyline stands.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { Skyline } from "../charts/skyline";
import { Fan, Months, Signed, TiltCurve } from "../charts/sun";
import { engineering, MONTHS, percent, significant, stretch } from "../format";
import { canWrite, documentOf, save, type Outcome as Saving } from "../edit";
import { choose, engine, go, type Point, project, projects, ranked, started, told, tried } from "../state";
import { balance, charge, FIRST_YEARS, hourlyFile, keyOf, map, MAP_YEARS, panelName, panels, runBalance, runMap, runQuick, siteName, sites, skylineText, stopBalance, stopMap, tilt, withSkyline, YEARS, years } from "../sun";
import type { ChargeLine, SunAssumption, SunBoard, SunLedgerLine, SunMapReport, SunOutcome, SunReport, ShareOfYears } from "../types";
import { Behind, Faults, Unknown, Verdict, Waiting } from "./parts";
import { Saved } from "./saving";
import { Bulleted, Figures, Select, Sheet } from "./sheet";

let pause: ReturnType<typeof setTimeout> | undefined;

export function SunView({ board }: { board: string }) {
  const state = balance.value;
  const key = keyOf();
  const complete = siteName.value !== undefined && panelName.value !== undefined;
  // The ranking goes first: both use the same engine.
  const idle = engine.value !== undefined && project.value !== undefined && ranked.value.computing === undefined;
  useEffect(() => {
    if (!idle || !complete) return;
    clearTimeout(pause);
    // A drag sends many skylines: the last one counts.
    pause = setTimeout(() => {
      void runBalance(board);
      if (tilt.peek().of !== key || charge.peek().of !== key) void runQuick();
    }, 60);
    return () => clearTimeout(pause);
  }, [key, board, years.value, idle, complete]);
  const report = state.one ?? (state.trouble || state.faults.length > 0 ? undefined : state.all);
  const boards = state.all?.boards.map((b) => b.board).sort() ?? [];
  const chosen = state.one?.boards[0] ?? state.all?.boards.find((b) => (board ? b.board === board : b.outcome)) ?? state.all?.boards[0];
  const stale = state.of !== key;
  return (
    <article class={`sheet sun ${stale && report ? "stale" : ""}`}>
      <header class="sheet-head">
        <h1>Sun{chosen ? <>: <bdi>{chosen.board}</bdi></> : null}</h1>
        <span class="spacer" />
        <button type="button" class="quiet-button" onClick={() => print()}>Print</button>
      </header>
      <div class="trace-tools">
        <Select label="project" value={started.value} names={projects.value.map((p) => p.name)} none="your own" onPick={choose} />
        <Select label="board" value={chosen?.board ?? (board || undefined)} names={boards} none="–" onPick={(name) => go({ view: "sun", board: name })} />
        <Select label="site" value={siteName.value} names={sites.value.map((s) => s.name)} onPick={(name) => { tried.value = { ...tried.value, site: name || undefined, skyline: undefined }; drawn.value = undefined; }} />
        <Select label="panel" value={panelName.value} names={panels.value.map((p) => p.name)} onPick={(name) => { tried.value = { ...tried.value, panel: name || undefined }; }} />
        <Select label="years" value={String(years.value)} names={YEARS.map(String)} none="" onPick={(n) => { years.value = Number(n); }} />
      </div>
      {complete ? <Progress board={board} /> : <Missing />}
      {complete ? <Hourly /> : null}
      {state.trouble ? <p class="warn" role="alert">{state.trouble}</p> : null}
      <Faults of={state.faults} title="No balance for this project and place" />
      {complete && !report && !state.trouble && state.faults.length === 0 && !state.halted ? <Waiting>{idle ? `Running ${FIRST_YEARS} years of every board…` : "The ranking is computed first…"}</Waiting> : null}
      {report && chosen && complete ? <Body report={report} board={chosen} all={state.all} /> : null}
    </article>
  );
}

function Progress({ board }: { board: string }) {
  const { running, one, all, halted } = balance.value;
  const shown = one?.years ?? all?.years;
  const rest = running !== undefined && shown !== undefined && running < shown ? "every board" : "";
  return (
    <p class="status" role="status">
      <span>{running ? `${shown ? `${shown} years shown; ` : ""}running ${running}${rest ? ` of ${rest}` : ""}…` : halted ? `Stopped${shown ? ` at ${shown} years` : ""}.` : shown ? `${shown} years, seed ${(one ?? all)?.seed ?? 1}` : ""}</span>
      {running ? <button type="button" onClick={() => stopBalance()}>Stop</button> : halted ? <button type="button" onClick={() => void runBalance(board)}>Go on</button> : null}
    </p>
  );
}

/** Where the site names an hourly file: in the app it is used unless the monthly figures are wanted, a page does not contain it. */
function Hourly() {
  const file = hourlyFile.value;
  if (!file) return null;
  if (told.value?.home !== "bench") return <p class="quiet">This page does not contain <code>{file}</code>, the hourly file that the site names: its twelve monthly figures stand in. The tool in the bench folder runs the file's own years.</p>;
  return (
    <p class="quiet">
      <label><input type="checkbox" checked={!tried.value.monthly} onChange={(e) => { tried.value = { ...tried.value, monthly: !e.currentTarget.checked }; }} /> run the years of <code>{file}</code>, the site's hourly file, instead of the twelve monthly figures</label>
      {" "}(the map of sizes and a need in the table always run the monthly figures).
    </p>
  );
}

function Missing() {
  const [site, panel] = [siteName.value, panelName.value];
  if (!project.value) return <p class="empty lead">There is no project yet: begin one beside the table.</p>;
  return (
    <section class="empty">
      <p class="lead">This project has no {site === undefined ? (panel === undefined ? "site and no panel" : "site") : "panel"} yet.</p>
      {site === undefined ? (
        <>
          <p>{sites.value.length > 0 ? "Choose a site above to try one, or write" : "Write a document in sites/ with the place, twelve monthly figures of a public table and the skyline, then"} <code>site = "…"</code> into the project.</p>
          <details class="behind"><summary>A site's document</summary><pre><code>{'[site]\nname = "my place"\nlatitude = "47° N"\nlongitude = "8° E"\naltitude = "640 m"\n# monthly means on the horizontal, January first\nirradiation = ["1.15 kWh/m²/d", "2.0 kWh/m²/d", … ]\nskyline = [{ bearing = "90°", elevation = "20°" }, … ]'}</code></pre></details>
        </>
      ) : null}
      {panel === undefined ? (
        <>
          <p>{panels.value.length > 0 ? "Choose a panel above to try one, or write" : "Write a document in panels/ with the figures of the panel's label, then"} <code>panel = "…"</code> and <code>mounting = {"{ tilt = \"60°\", azimuth = \"180°\" }"}</code> into the project.</p>
        </>
      ) : null}
    </section>
  );
}

export function shareText(s: ShareOfYears): string {
  return `${percent(s.share)} (${percent(s.low)} … ${percent(s.high)})`;
}

function Body({ report, board, all }: { report: SunReport; board: SunBoard; all: SunReport | undefined }) {
  const outcome = board.outcome;
  // What keeps the panel from charging is no small print: the engine says it first among the cautions.
  const starting = outcome && outcome.chatter_per_year > 730 ? board.cautions.slice(0, 1) : [];
  return (
    <>
      <p class="lead sentence">
        {board.need ? <Verdict of={board.need} /> : null} {board.verdict}
      </p>
      <p class="quiet"><b><bdi>{report.project}</bdi></b> at <bdi>{report.setting.site}</bdi>{tried.value.skyline ? ", skyline as drawn" : ""} · <bdi>{report.load}</bdi> · <bdi>{report.cell}</bdi> · <bdi>{report.setting.panel}</bdi>, {engineering(report.setting.panel_w, "W")}, tilt {report.setting.tilt_deg.toFixed(0)}°, facing {report.setting.azimuth_deg.toFixed(0)}° · {report.setting.weather}</p>
      {board.refused ? <p class="warn">{board.refused === board.verdict ? "" : `${board.refused}; `}{board.help}</p> : null}
      <Bulleted of={[...starting, ...board.flags]} as="flags" />
      {outcome ? <Outcome of={outcome} report={report} /> : null}
      {all && all.boards.length > 1 ? <Boards of={all} chosen={board.board} stale={balance.value.allOf !== balance.value.of} /> : null}
      <SkylineSection report={report} />
      {outcome ? <MapSection board={board.board} said={board.flags} /> : null}
      <TiltSection />
      <ChargeSection board={board.board} />
      <Assumptions of={[...report.assumptions, ...board.assumptions]} notes={report.setting.notes} />
      <Bulleted of={[...board.cautions.slice(starting.length), ...report.cautions, report.interval_of]} as="cautions" />
    </>
  );
}

function Outcome({ of, report }: { of: SunOutcome; report: SunReport }) {
  const rule = of.rule_of_thumb;
  const resets = of.resets_per_year_least === of.resets_per_year_most ? many(of.resets_per_year_least) : `${many(of.resets_per_year_least)} to ${many(of.resets_per_year_most)}`;
  return (
    <>
      <div class="columns">
        <section>
          <h2>Outages</h2>
          <Figures of={[
            [of.continued ? "the file's own years with an outage" : "years with an outage, by the weather", <b>{shareText(of.years_with_outage)}</b>],
            of.continued && ["years that go on from the file", <b>{shareText(of.continued.years_with_outage)}</b>],
            of.uncertain && ["one you might buy, inputs uncertain as well", shareText(of.uncertain.years_with_outage)],
            report.target_share !== null && ["the project allows", `at most ${percent(report.target_share)}`],
            ["outage days in a mean year", `${significant(of.outage_days_per_year, 3)}${of.outage_days_standard_error === null || of.outage_days_per_year === 0 ? "" : ` ± ${significant(2 * of.outage_days_standard_error, 2)}`}`],
            ["longest dark run of all years", of.longest_dark_s > 0 ? stretch(of.longest_dark_s) : "none"],
            ["worst month", of.worst_month === null ? "none" : MONTHS[of.worst_month - 1]],
            ["lowest state of charge", `${(100 * of.lowest_state).toFixed(0)} %`],
            of.daily_bank && ["the same by a daily bank; charged in the frost / not", `${percent(of.daily_bank.frost_charged.share)} / ${percent(of.daily_bank.frost_kept_out.share)}`],
          ]} />
        </section>
        <section>
          <h2>What the cell and the board go through</h2>
          <Figures of={[
            ["days of autonomy at 0 °C", `${significant(of.autonomy_days, 3)} d`],
            ["mean load", engineering(of.mean_load_a, "A")],
            ["resets a year", <>{resets}{of.resets_per_year_least === of.resets_per_year_most ? "" : <> <Unknown>ride-through not known</Unknown></>}</>],
            ["source goes away, at least", `${many(of.source_lost_per_year)} a year, ${many(of.chatter_per_year)} of them in chatter`],
            ["cell full", `${percent(of.share_full)} of the time`],
            ["full and above 30 °C", `${significant(of.hot_full_hours_per_year, 3)} h a year`],
            ["charged outside of its window", `${significant(of.frost_charge_hours_per_year, 3)} h a year`],
          ]} />
          {rule ? (
            <p class="thumb"><b>Rule of thumb, beside it:</b> worst month ({MONTHS[rule.worst_month - 1]}) harvest over load {significant(rule.worst_month_ratio, 3)}, usual advice {significant(rule.ratio_wanted, 2)}; autonomy {significant(rule.autonomy_days, 3)} d, usual advice {significant(rule.autonomy_wanted, 2)} d: {rule.met ? "met" : "not met"}. It knows neither rows of dark days nor the charger; the years above do.</p>
          ) : null}
        </section>
      </div>
      <section><h2>Harvest against load</h2><Months of={of.months} /></section>
      <section><h2>State of charge over the year</h2><Fan of={of.fan} years={report.years} /></section>
      <div class="columns">
        <section><h2>Into the cell and out of it, a year</h2><Ledger lines={of.ledger} label="Charge into the cell and out of it in a year" /></section>
        <section><h2>What the lit panel offered</h2><Ledger lines={of.offered} label="Charge that the lit panel offered in a year and where it went" /></section>
      </div>
      {of.uncertain && of.uncertain.budget.length > 0 ? (
        <section>
          <h2>What uncertain inputs do to the outage days</h2>
          <Sheet
            label="Uncertain inputs and outage days"
            caption="One standard uncertainty more of each, to first order; the share is of what all of them together do."
            head={["one standard uncertainty more of", "#days a year", "#share"]}
            rows={of.uncertain.budget.map((b) => ({ cells: [b.name, `${b.days < 0 ? "−" : "+"}${significant(Math.abs(b.days), 2)}`, percent(b.share)] }))}
          />
        </section>
      ) : null}
    </>
  );
}

function Ledger({ lines, label }: { lines: SunLedgerLine[]; label: string }) {
  const sum = lines.reduce((all, l) => all + l.charge_c, 0);
  const size = lines.reduce((all, l) => all + Math.abs(l.charge_c), 0);
  return (
    <>
      <Signed lines={lines} label={label} />
      <Behind caption={`${label}; the lines add up to ${Math.abs(sum) < 1e-6 * size ? "zero" : engineering(sum, "C")}`} head={["what", "a year"]} rows={lines.map((l) => [l.name, engineering(l.charge_c / 3600, "Ah", 4)])} />
    </>
  );
}

function Boards({ of, chosen, stale }: { of: SunReport; chosen: string; stale: boolean }) {
  return (
    <section class={stale ? "old" : ""}>
      <h2>Boards beside each other</h2>
      <Sheet
        label="Boards beside each other"
        caption={`The same ${of.years} years for every board: a first look. The chosen board is run for more.`}
        head={["board", "verdict", "#years with an outage", "#outage days a year", "#resets a year", "~why"]}
        rows={of.boards.map((b) => {
          const o = b.outcome;
          return {
            current: b.board === chosen,
            cells: [
              <button type="button" class="name" onClick={() => go({ view: "sun", board: b.board })}><bdi>{b.board}</bdi></button>,
              b.need ? <Verdict of={b.need} /> : "–",
              ...(o ? [shareText(o.years_with_outage), significant(o.outage_days_per_year, 2), o.resets_per_year_least === o.resets_per_year_most ? many(o.resets_per_year_least) : <Unknown>{`${many(o.resets_per_year_least)} … ${many(o.resets_per_year_most)}`}</Unknown>] : ["–", "–", "–"]),
              b.refused ?? b.verdict,
            ],
          };
        })}
      />
    </section>
  );
}

/** What became of saving the drawn skyline, and the document that it was drawn over. */
const drawn = signal<Saving | undefined>(undefined);
let from: { path: string; text: string } | undefined;

function draw(skyline: Point[]): void {
  if (!tried.value.skyline || !from) from = documentOf("sites", "site", siteName.value ?? "");
  drawn.value = undefined;
  tried.value = { ...tried.value, skyline };
}

function kept(outcome: Saving | undefined): void {
  drawn.value = outcome;
  if (outcome?.kind !== "saved") return;
  from = undefined;
  tried.value = { ...tried.value, skyline: undefined };
}

/** The drawn skyline: into the site's document where the tool serves the page, else it stays in the address. */
function Drawn({ points }: { points: Point[] }) {
  const file = canWrite() ? (from ?? documentOf("sites", "site", siteName.value ?? "")) : undefined;
  const shares = file && /^\s*(beam_share|sky_view)\s*=/m.test(file.text);
  return (
    <>
      <div class="actions">
        {file ? <button type="button" disabled={points.length === 0} onClick={() => void save(file.path, file.text, withSkyline(file.text, points), true).then(kept)}>Save in {file.path}</button> : null}
        <button type="button" onClick={() => { from = undefined; drawn.value = undefined; tried.value = { ...tried.value, skyline: undefined }; }}>Back to the site's skyline</button>
        <details class="behind"><summary>Lines for the site's document</summary><pre tabIndex={0}><code>{skylineText(points)}</code></pre></details>
      </div>
      {shares ? <p class="quiet">Saving takes the shares of beam and sky out of the document: the drawn skyline stands in their place.</p> : null}
      {file ? null : <p class="quiet no-print">The drawn skyline is in this page's address with your project: a copied link brings it along.</p>}
    </>
  );
}

function SkylineSection({ report }: { report: SunReport }) {
  const own = report.setting.skyline_deg;
  const points = tried.value.skyline ?? own;
  return (
    <section>
      <h2>Skyline</h2>
      <p class="quiet">Seen from the spot. <span class="no-print">Drag a point, or move it with the arrow keys; a double click adds one. The years are run again each time. </span>The panel sees {percent(report.setting.sky_view)} of the sky it would see without.</p>
      <Skyline points={points} latitude={report.setting.latitude_deg} facing={report.setting.azimuth_deg} onChange={draw} />
      {tried.value.skyline ? <Drawn points={points} /> : null}
      <Saved outcome={drawn.value} turn={kept} />
      <Behind caption="The place by month" head={["month", "on the horizontal", "on the panel", "beam that clears the skyline", "air"]} rows={report.setting.months.map((m) => [MONTHS[m.month - 1] ?? "", m.horizontal_kwh_m2 === null ? "unknown" : `${significant(m.horizontal_kwh_m2, 3)} kWh/m²`, m.on_panel_kwh_m2 === null ? "unknown" : `${significant(m.on_panel_kwh_m2, 3)} kWh/m²`, m.beam_share === null ? "no beam" : percent(m.beam_share), `${significant(m.air_c, 2).replace("-", "−")} °C`])} />
    </section>
  );
}

/** A count that may be large. */
function many(n: number): string {
  if (n >= 1e6) return `${significant(n / 1e6, 3)} million`;
  return n >= 1e4 ? `${significant(n / 1e3, 3)} thousand` : significant(n, 3);
}

function capacity(coulombs: number): string {
  return `${significant(coulombs / 3.6, 3)} mAh`;
}

function MapSection({ board, said }: { board: string; said: string[] }) {
  const state = map.value;
  const current = state.of === `${keyOf()}\n${board}`;
  const report = current ? state.report : undefined;
  const done = report?.counts.years ?? 0;
  const running = current && state.running;
  return (
    <section>
      <h2>Which sizes would get through</h2>
      <div class="trace-tools">
        {running ? <button type="button" onClick={() => stopMap()}>Stop</button> : done >= MAP_YEARS ? null : <button type="button" onClick={() => void runMap(board)}>{done > 0 ? "Go on" : "Run the map of panel and cell"}</button>}
        {running || (done > 0 && done < MAP_YEARS) ? <><progress max={MAP_YEARS} value={done} aria-label="Years of the map" /><span class="quiet">{done} of {MAP_YEARS} years</span></> : done > 0 ? <span class="quiet">{done} years of every pair</span> : <span class="quiet">{MAP_YEARS} years of every pair of panel and cell, in pieces that may be stopped.</span>}
      </div>
      {current && state.trouble ? <p class="warn" role="alert">{state.trouble}</p> : null}
      <Faults of={current ? state.faults : []} title="No map for this project and place" />
      {report ? <Grid of={report} said={said} /> : null}
    </section>
  );
}

function Grid({ of, said }: { of: SunMapReport; said: string[] }) {
  const flags = of.flags.filter((f) => !said.includes(f));
  const { choice } = of.smallest;
  const at = (panel: number, cell: number) => of.points.find((p) => p.panel === panel && p.cell === cell);
  const up = (point: SunMapReport["smallest"]["choice"], what: string): [string, string] | null => point && [`${what}: ${engineering(of.panels_w[point.panel] ?? NaN, "W")} with ${capacity(of.cells_c[point.cell] ?? NaN)}`, `${shareText(point.years_with_outage)}, ${significant(point.outage_days_per_year, 2)} d a year`];
  return (
    <>
      <div class="scroll" tabIndex={0} role="region" aria-label="Chance of an outage in a year by panel and cell">
        <table class="pairs sun-map">
          <caption>Share of years with an outage, panel in rows, cell in columns, {of.counts.years} years. ✓ meets {percent(of.target_share)} with 95 % confidence, ? cannot tell yet{of.target_is_assumed ? "; the project states no limit, this one is assumed" : ""}. ◆ the smallest.</caption>
          <thead><tr><td />{of.cells_c.map((c) => <th key={c} scope="col">{capacity(c)}</th>)}</tr></thead>
          <tbody>
            {of.panels_w.map((w, p) => (
              <tr key={w}>
                <th scope="row">{engineering(w, "W")}</th>
                {of.cells_c.map((c, k) => {
                  const point = at(p, k);
                  if (!point || point.years_with_outage.years === 0) return <td key={c} class="state is-unknown">unknown</td>;
                  const s = point.years_with_outage;
                  const meets = s.high <= of.target_share;
                  const tells = meets || s.low > of.target_share;
                  const smallest = choice?.panel === p && choice.cell === k;
                  return <td key={c} class={`${meets ? "meets" : tells ? "" : "tied"} ${smallest ? "smallest" : ""}`} style={{ "--share": String(s.share) }} title={`${shareText(s)}; ${significant(point.outage_days_per_year, 2)} outage days a year`}>{smallest ? "◆ " : meets ? "✓ " : tells ? "" : "? "}{percent(s.share)}</td>;
                })}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <p class="sentence"><b>{of.smallest.text}</b></p>
      {choice ? <Figures of={[up(of.smallest.one_panel_up, "one panel up"), up(of.smallest.one_cell_up, "one cell up")]} /> : null}
      <Bulleted of={flags} as="flags" />
    </>
  );
}

function TiltSection() {
  const { report, trouble } = tilt.value;
  return (
    <section>
      <h2>Tilt for the worst month</h2>
      {trouble ? <p class="quiet">{trouble}</p> : null}
      {report ? (
        <>
          <p>Best at <b>{report.best.tilt_deg.toFixed(0)}°</b>: {significant(report.best.worst_kwh_m2, 3)} kWh/m² a day in {MONTHS[report.best.worst_month - 1]}{report.now ? `; the project's ${report.now.tilt_deg.toFixed(0)}° brings ${significant(report.now.worst_kwh_m2, 3)} in ${MONTHS[report.now.worst_month - 1]}` : ""}.</p>
          <TiltCurve tilts={report.tilts} best={report.best} now={report.now} />
          <Bulleted of={report.notes} as="cautions" />
        </>
      ) : trouble ? null : <Waiting>Turning the panel…</Waiting>}
    </section>
  );
}

function ends(line: ChargeLine): string {
  const s = line.span;
  if (!s) return "";
  const steps = [[s.precondition_s, "precondition"], [s.constant_current_s, "constant current"], [s.constant_voltage_s, "constant voltage"]] as const;
  return `${steps.filter(([t]) => t > 0).map(([t, name]) => `${stretch(t)} ${name}`).join(", ")}; ${s.end}`;
}

function ChargeSection({ board }: { board: string }) {
  const { report, trouble } = charge.value;
  const lines = report ? [...report.lines].sort((a, b) => Number(b.board === board) - Number(a.board === board)) : [];
  return (
    <section>
      <h2>May it charge this cell, and how long from empty</h2>
      {trouble ? <p class="quiet">{trouble}</p> : null}
      {report ? (
        <Sheet
          label="Charging"
          caption={`On USB, the project's load running, from ${percent(report.from_state)}`}
          head={["board", "cell", "may it", "#set to", "#takes", "~why"]}
          rows={lines.map((l) => ({
            current: l.board === board,
            cells: [
              <bdi>{l.board}</bdi>, <bdi>{l.cell}</bdi>, <Verdict of={l.verdict.allowed} />, l.set_current_a === null ? "–" : engineering(l.set_current_a, "A"), l.span ? stretch(l.span.total_s) : "–",
              (l.board === board ? [...l.verdict.reasons, ends(l)] : l.verdict.reasons.slice(0, 1)).filter(Boolean).join("; "),
            ],
          }))}
        />
      ) : trouble ? null : <Waiting>Charging…</Waiting>}
    </section>
  );
}

function Assumptions({ of, notes }: { of: SunAssumption[]; notes: string[] }) {
  const seen = of.filter((a, i) => of.findIndex((b) => b.unknown === a.unknown && b.taken === a.taken) === i);
  return (
    <section>
      <h2>Not known, and what was taken</h2>
      {seen.length === 0 ? <p class="quiet">Nothing had to be assumed.</p> : (
        <Sheet label="Not known, and what was taken" head={["not known", "taken", "kind", "what would settle it"]} rows={seen.map((a) => ({ cells: [<span class="unknown">{a.unknown}</span>, a.taken, a.kind, a.settle] }))} />
      )}
      <Bulleted of={notes} as="cautions" />
    </section>
  );
}
