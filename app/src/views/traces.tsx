// Recordings of current: zoom and pan through any length, cursors, wakes laid over each other, two compared, rail captures.
import { signal } from "@preact/signals";
import type { ComponentChildren } from "preact";
import { useEffect, useState } from "preact/hooks";
import { clock, phaseName, TracePlot } from "../charts/trace";
import { Viewer } from "../charts/viewer";
import { Rail, railWord, Wakes } from "../charts/wakes";
import { engineering, percent, significant, stretch } from "../format";
import { engine, go, told } from "../state";
import { after, faultOf, giveUp, type Recordings, recordings } from "../traces";
import type { RailCapture, RecordingLine, TraceActivity, TraceDefect, TraceOverlay, TracePhase, TraceReport, TraceSummary, TraceWindow } from "../types";
import { Compare } from "./compare";
import { Unknown, Waiting } from "./parts";
import { Bulleted, Figures, Select, Sheet, Told } from "./sheet";

type Fault = ReturnType<typeof faultOf>;

const list = signal<{ lines?: RecordingLine[]; faults?: Fault; of?: Recordings }>({});

async function load(): Promise<void> {
  const of = recordings();
  list.value = { of };
  try {
    list.value = { of, lines: await of.list() };
  } catch (error) {
    list.value = { of, faults: faultOf(error) };
  }
}

export function TracesView({ name }: { name: string }) {
  const ready = engine.value !== undefined;
  useEffect(() => {
    if (ready && (!list.peek().lines || told.peek()?.home === "bench")) void load();
  }, [ready]);
  const { lines, faults, of } = list.value;
  const chosen = lines?.find((l) => l.name === name) ?? lines?.find((l) => l.shows === "current" && l.summary) ?? lines?.[0];
  return (
    <article class="sheet traces">
      <header class="sheet-head">
        <h1>Traces{chosen ? <>: <bdi>{chosen.name}</bdi></> : null}</h1>
        <span class="spacer" />
        {chosen && lines ? <Select label="recording" value={chosen.name} names={lines.map((l) => l.name)} onPick={(recording) => go({ view: "traces", recording })} /> : null}
        {chosen ? <button type="button" class="quiet-button" onClick={() => print()}>Print</button> : null}
      </header>
      {name && lines && lines.length > 0 && chosen?.name !== name ? <p class="warn" role="alert">There is no recording “<bdi>{name}</bdi>” here: another one is shown.</p> : null}
      <Told of={faults} title="The recordings could not be read" />
      {!lines && !faults ? <Reading>Reading the recordings…</Reading> : null}
      {lines?.length === 0 ? <Empty /> : null}
      {chosen && of ? (chosen.shows === "rail" ? <RailSheet key={chosen.name} line={chosen} of={of} /> : <TraceSheet key={chosen.name} line={chosen} of={of} />) : null}
      {lines && lines.length > 0 ? <List lines={lines} chosen={chosen?.name} /> : null}
      {of && lines && lines.filter((l) => l.shows === "current" && l.summary).length > 1 ? <Compare lines={lines.filter((l) => l.shows === "current" && l.summary)} of={of} /> : null}
    </article>
  );
}

/** Waiting that may be given up. */
function Reading({ children }: { children: string }) {
  return <div class="status"><Waiting>{children}</Waiting>{told.value?.home === "bench" ? <button type="button" onClick={giveUp}>Stop</button> : null}</div>;
}

function Empty() {
  if (told.value?.home !== "bench") return <p class="empty">This page was published without recordings of current. A bench folder that has some (in <code>recordings/</code>) publishes their overviews with the table.</p>;
  return (
    <section class="empty">
      <p class="lead">There is no recording in this folder yet.</p>
      <p>Record a board's current with any logger, oscilloscope or bench meter that writes a text file, from before one wake until after several. Put the file into the folder and run</p>
      <p><code>overwinter trace keep FILE --specimen NAME</code></p>
      <p>It says how it read the file, keeps the samples compressed with what zooming needs, and writes a document in <code>recordings/</code>. Then reload this page. A look without keeping anything: <code>overwinter trace read FILE</code>.</p>
    </section>
  );
}

function List({ lines, chosen }: { lines: RecordingLine[]; chosen: string | undefined }) {
  return (
    <section>
      <h2>Recordings</h2>
      <Sheet
        as="recordings"
        label="Recordings"
        head={["recording", "specimen", "date", "#length", "#samples", "#sleep floor", "#wakes", "#charge a wake", "found"]}
        rows={lines.map((l) => {
          const s = l.summary;
          const current = l.shows === "current";
          return {
            current: l.name === chosen,
            cells: [
              <button type="button" class="name" onClick={() => go({ view: "traces", recording: l.name })}><bdi>{l.name}</bdi></button>,
              l.specimen ? <bdi>{l.specimen}</bdi> : <Unknown />,
              <span class="nowrap">{l.date}</span>,
              s ? stretch(s.last_s - s.first_s) : "–",
              s ? s.samples.toLocaleString("en").replace(/,/g, "\u202f") : "–",
              current ? (s?.floor_a ? brief(s.floor_a.text) : <Unknown />) : "a supply rail",
              s && current ? s.wakes : "–",
              current && s?.activities[0] ? brief(s.activities[0].charge_c.text) : "–",
              l.problem ? <span class="warn">{l.problem}</span> : s && s.defects.length > 0 ? s.defects.map((d) => d.kind).join(", ") : "nothing wrong",
            ],
          };
        })}
      />
    </section>
  );
}

/** "(k = 2)" is said once, under the tables. */
function brief(text: string): string {
  return text.replace(/ \(k = 2\)$/, "");
}

function TraceSheet({ line, of }: { line: RecordingLine; of: Recordings }) {
  const [viewer, setViewer] = useState<Viewer | undefined>();
  const [faults, setFaults] = useState<Fault | undefined>();
  const [report, setReport] = useState<TraceReport | undefined>();
  useEffect(() => {
    let live = true;
    of.window(line.name, null, null, 2000).then((w) => { if (live) setViewer(new Viewer(of, w)); }, (error: unknown) => { if (live) setFaults(faultOf(error)); });
    of.report(line.name).then((r) => { if (live) setReport(r); }, () => undefined);
    return () => { live = false; viewer?.clear(); };
  }, [line.name]);
  const summary = line.summary;
  return (
    <>
      {summary ? <Said of={summary} /> : null}
      {faults ? <><Told of={faults} title="This recording cannot be drawn" />{of.deep && !line.kept ? <p>Zooming needs the kept form: run <code>overwinter trace keep "{line.name}"</code> in the bench folder.</p> : null}</> : null}
      {!viewer && !faults ? <Reading>Reading the recording…</Reading> : null}
      {viewer ? <Looking viewer={viewer} line={line} defects={summary?.defects ?? []} of={of} /> : null}
      {summary && summary.activities.length > 0 && viewer ? <Overlays line={line} of={of} activities={summary.activities} /> : null}
      {summary ? <Activities of={summary.activities} /> : null}
      <div class="columns">
        {summary ? <Defects of={summary.defects} viewer={viewer} /> : null}
        <Provenance line={line} report={report} />
      </div>
      {report ? <Deep of={report} /> : null}
    </>
  );
}

function Said({ of }: { of: TraceSummary }) {
  const first = of.activities[0];
  return (
    <p class="lead">
      {stretch(of.last_s - of.first_s)} at {engineering(of.rate_hz, "S/s")}, mean <b>{engineering(of.mean, "A")}</b>
      {of.floor_a ? <>; asleep it draws <b>{brief(of.floor_a.text)}</b></> : "; no sleep floor stands out"}
      {first ? <>; {first.name} takes <b>{brief(first.charge_c.text)}</b> each{first.interval_s ? ` every ${brief(first.interval_s.text)}` : ""}</> : null}.
    </p>
  );
}

function Looking({ viewer, line, defects, of }: { viewer: Viewer; line: RecordingLine; defects: TraceDefect[]; of: Recordings }) {
  const { deep } = of;
  const [point, setPoint] = useState<number | undefined>();
  const [places] = useState(() => defects.flatMap((d) => d.places.map((p) => p.time_s)).filter((t): t is number => t !== null));
  const { from, to } = viewer.view.value;
  const fine = viewer.fine.value ?? viewer.coarse;
  const digits = Math.max(0, Math.min(9, 3 - Math.floor(Math.log10(to - from))));
  const whole = viewer.whole;
  return (
    <section>
      <div class="trace-tools">
        <button type="button" onClick={() => viewer.zoom(2)} aria-label="Zoom in">+</button>
        <button type="button" onClick={() => viewer.zoom(0.5)} aria-label="Zoom out">−</button>
        <button type="button" onClick={() => viewer.home()}>Whole</button>
        <button type="button" onClick={() => void viewer.step(-1)}>◂ wake</button>
        <button type="button" onClick={() => void viewer.step(1)}>wake ▸</button>
        {viewer.cursors.value ? <button type="button" onClick={() => viewer.clear()}>Cursors off</button> : <button type="button" onClick={() => viewer.place(from + 0.4 * (to - from), from + 0.6 * (to - from))}>Cursors</button>}
        <output class="quiet nowrap">{clock(from, digits)} to {clock(to, digits)} · {stretch(to - from)}</output>
      </div>
      <TracePlot viewer={viewer} places={places} onPoint={setPoint} label={`Current of ${line.name} on a logarithmic axis, ${clock(from, digits)} to ${clock(to, digits)}`} />
      <p class="trace-note quiet">
        {point !== undefined && point >= whole.from && point <= whole.to ? <At viewer={viewer} at={point} digits={digits} /> : fine.samples_per_column <= 1 ? "Every sample is drawn." : `Envelope from least to most, line: mean. A column holds ${significant(fine.samples_per_column, 3)} samples, ${stretch(fine.resolution_s)}.`}
        {deep ? (fine.wakes.length >= LISTED.deep ? ` Only the first ${fine.wakes.length} wakes of this stretch are numbered.` : "") : viewer.coarse.wakes.length >= LISTED.page ? ` Only the first ${viewer.coarse.wakes.length} wakes of the recording are numbered.` : ""}
        {viewer.atLimit ? <strong> This page holds nothing finer than {stretch(viewer.coarse.resolution_s)}; the tool in the bench folder shows every sample.</strong> : deep && viewer.waiting.value ? " Reading…" : ""}
      </p>
      {viewer.trouble.value ? <p class="warn" role="alert">{viewer.trouble.value}</p> : null}
      <Cursors viewer={viewer} deep={deep} />
      <Phases viewer={viewer} of={of} fine={fine} digits={digits} />
    </section>
  );
}

/** Most phases that one answer lists: the tool's, and those that a page carries. */
const LISTED = { deep: 400, page: 200 };
const PAGE = 60;

/** The phases in view; where an answer does not list them all it is said, and the rest are fetched in their order. */
function Phases({ viewer, of, fine, digits }: { viewer: Viewer; of: Recordings; fine: TraceWindow; digits: number }) {
  const { from, to } = viewer.view.value;
  const key = `${from} ${to} ${fine.from_s} ${fine.to_s}`;
  const [rows, setRows] = useState(PAGE);
  /** Every phase from the left edge of the view up to `until`. */
  const [whole, setWhole] = useState<{ of: string; phases: TracePhase[]; until: number; width?: number; waiting?: boolean; why?: string } | undefined>();
  const fetched = whole?.of === key ? whole : undefined;
  const cut = of.deep ? fine.phases.length >= LISTED.deep : viewer.coarse.phases.length >= LISTED.page;
  const inView = (phases: TracePhase[]) => phases.filter((p) => p.end_s > from && p.start_s < to).sort((a, b) => a.start_s - b.start_s);
  const all = fetched?.phases ?? inView(fine.phases);
  const shown = all.slice(0, rows);
  const more = async () => {
    const known = fetched?.phases ?? [];
    const start = fetched?.until ?? from;
    setWhole({ of: key, phases: known, until: start, width: fetched?.width, waiting: true });
    try {
      // An answer that is cut lists the longest: half the stretch until it lists all.
      let end = Math.min(to, fetched?.width ? start + 1.4 * fetched.width : to);
      let found = await of.window(viewer.coarse.recording, start, end, 16);
      while (found.phases.length >= LISTED.deep && end - start > viewer.narrowest) {
        end = start + (end - start) / 2;
        found = await of.window(viewer.coarse.recording, start, end, 16);
      }
      const last = known[known.length - 1];
      const fresh = inView(found.phases).filter((p) => p.start_s < end && (!last || p.start_s > last.start_s));
      setWhole({ of: key, phases: [...known, ...fresh], until: end, width: end - start });
      setRows(Math.max(rows, known.length + fresh.length));
    } catch (error) {
      setWhole({ of: key, phases: known, until: start, why: faultOf(error).map((f) => f.message).join("; ") });
    }
  };
  const left = fetched ? fetched.until < to : cut;
  return (
    <details class="behind">
      <summary>Figures as a table</summary>
      <Sheet
        label="Phases in view"
        caption={fetched ? `Every phase from ${clock(from, digits)} to ${clock(fetched.until, digits)}` : cut ? `Not all: the longest ${of.deep ? `${fine.phases.length} phases round this view` : `${viewer.coarse.phases.length} phases of the recording`}, as far as they are in view` : "Phases in view"}
        head={["phase", "#from", "#lasts", "#mean", "#highest", "#charge"]}
        rows={shown.map((p) => ({ cells: [phaseName(p, fine.threshold_a) || "unnamed", clock(p.start_s, digits), stretch(p.end_s - p.start_s), engineering(p.mean_a, "A"), engineering(p.max_a, "A"), engineering(p.charge_c, "C")] }))}
      />
      {fetched?.why ? <p class="warn" role="alert">{fetched.why}</p> : null}
      <p class="status" role="status">
        {shown.length < all.length ? <><span>{shown.length} of {all.length} shown</span><button type="button" onClick={() => setRows(rows + 500)}>Show more</button></> : null}
        {left && of.deep ? <button type="button" disabled={fetched?.waiting} onClick={() => void more()}>{fetched ? "The next ones" : "List them all, in their order"}</button> : null}
        {left && !of.deep ? <span>The tool in the bench folder lists them all.</span> : null}
      </p>
    </details>
  );
}

function At({ viewer, at, digits }: { viewer: Viewer; at: number; digits: number }) {
  const fine = viewer.fine.value;
  const of = fine && fine.from_s <= at && fine.to_s >= at ? fine : viewer.coarse;
  const i = Math.max(0, after(of.columns.start_s, at) - 1);
  const [min, mean, max] = [of.columns.min_a[i], of.columns.mean_a[i], of.columns.max_a[i]];
  const phase = of.phases.find((p) => p.start_s <= at && p.end_s > at);
  if (min === undefined || mean === undefined || max === undefined) return null;
  return <>At {clock(at, digits)}: {of.samples_per_column <= 1 ? engineering(mean, "A", 4) : `${engineering(min, "A")} … ${engineering(max, "A")}, mean ${engineering(mean, "A")}`}{phase ? `, ${phaseName(phase, of.threshold_a)}` : ""}.</>;
}

function Cursors({ viewer, deep }: { viewer: Viewer; deep: boolean }) {
  const found = viewer.between.value;
  if (!viewer.cursors.value || !found) return <p class="quiet no-print">Two cursors tell charge, mean and duration of any stretch: click into the drawing, then drag A and B or move them with the arrow keys.</p>;
  const f = found.figures;
  const about = found.exact ? "" : "≈ ";
  return (
    <Figures
      as="between"
      busy={deep && !found.exact}
      of={[
        ["between A and B", stretch(f.duration_s)],
        ["charge", about + engineering(f.charge_c, "C", 4)],
        ["above the floor", f.above_floor_c === null ? <Unknown /> : about + engineering(f.above_floor_c, "C", 4)],
        ["mean", about + engineering(f.mean_a, "A", 4)],
        ["least … most", `${engineering(f.min_a, "A")} … ${engineering(f.max_a, "A")}`],
        ["from", f.samples_per_column <= 1 ? "the samples" : `columns of ${significant(f.samples_per_column, 3)} samples`],
      ]}
    />
  );
}

function Overlays({ line, of, activities }: { line: RecordingLine; of: Recordings; activities: TraceActivity[] }) {
  const [which, setWhich] = useState(0);
  const [shown, setShown] = useState<{ overlay?: TraceOverlay; faults?: Fault } | undefined>();
  useEffect(() => {
    let live = true;
    of.overlay(line.name, which).then((overlay) => { if (live) setShown({ overlay }); }, (error: unknown) => { if (live) setShown({ faults: faultOf(error) }); });
    return () => { live = false; };
  }, [which]);
  return (
    <section>
      <h2>Wakes over each other</h2>
      {of.deep && activities.length > 1 ? <Select label="activity" value={activities[which]?.name} names={activities.map((a) => a.name)} onPick={(name) => setWhich(activities.findIndex((a) => a.name === name))} /> : null}
      <Told of={shown?.faults} title="These wakes cannot be drawn" />
      {shown?.overlay ? <Wakes of={shown.overlay} /> : shown ? null : <Reading>Laying the wakes over each other…</Reading>}
    </section>
  );
}

function Activities({ of }: { of: TraceActivity[] }) {
  if (of.length === 0) return <section><h2>What it does awake</h2><p class="quiet">No whole wake was found: record from before one wake until after several.</p></section>;
  return (
    <section>
      <h2>What it does awake</h2>
      <Sheet
        label="What it does awake"
        caption="Charge of a wake is that above the sleep floor; charge of a phase includes it. Intervals with k = 2."
        head={["activity, phase", "#lasts", "#mean", "#charge", "#share", "#highest", "#seen in"]}
        rows={of.flatMap((a) => [
          { as: "activity-row", cells: [<><bdi>{a.name}</bdi> <span class="quiet">{a.wakes} ×{a.interval_s ? `, every ${brief(a.interval_s.text)}` : ""}</span></>, brief(a.duration_s.text), "", brief(a.charge_c.text), "", engineering(a.peak_a, "A"), ""] },
          ...a.phases.map((p) => ({ as: "phase", cells: [<><bdi>{p.name}</bdi>{p.bursts ? " in bursts" : ""}</>, brief(p.duration_s.text), brief(p.current_a.text), engineering(p.charge_c, "C"), percent(p.share), engineering(p.peak_a, "A"), percent(p.seen_in)] })),
        ])}
      />
    </section>
  );
}

function Defects({ of, viewer }: { of: TraceDefect[]; viewer: Viewer | undefined }) {
  return (
    <section>
      <h2>What is wrong with it</h2>
      {of.length === 0 ? <p class="quiet">Nothing was found: no gap, no clipping, no backward clock, no negative current.</p> : (
        <ul class="defects">
          {of.map((d) => {
            const room = Math.max(3 * (viewer?.narrowest ?? 0), (2 * d.seconds) / d.count);
            return (
            <li key={d.kind}>
              <strong>▼ {d.kind}</strong>, {d.count} ×{d.seconds > 0 ? `, ${stretch(d.seconds)}` : ""}: {d.message}
              {d.places.length > 0 ? (
                <span class="places"> {d.places.slice(0, 8).map((p, i) => {
                  const said = [p.time_s === null ? "" : clock(p.time_s, 3), p.row === null ? "" : `row ${p.row}`, p.byte === null || p.row !== null ? "" : `byte ${p.byte}`].filter(Boolean).join(", ");
                  const at = p.time_s;
                  return at === null || !viewer ? <span key={i}>{said}</span> : <button key={i} type="button" class="quiet-button" onClick={() => { viewer.frame(at - room, at + room); document.querySelector(".trace-plot")?.scrollIntoView({ block: "center" }); }}>{said}</button>;
                })}{d.places.length > 8 ? ` and ${d.places.length - 8} more` : ""}</span>
              ) : null}
            </li>
            );
          })}
        </ul>
      )}
    </section>
  );
}

function Provenance({ line, report }: { line: RecordingLine; report?: TraceReport }) {
  const rows: [string, string | null | undefined][] = [
    ["document", line.path], ["source file", line.trace], ["kept form", line.kept ?? "not kept"], ["recorded", line.who ? `${line.date}, ${line.who}` : line.date], ["instrument", line.instrument], ["supply", line.supply_v === null ? null : `${line.supply_v.toFixed(2)} V`],
    ["temperature", line.temperature_c === null ? null : `${significant(line.temperature_c, 3)} °C`], ["firmware", line.firmware], ["read as", report?.read_as], ["remark", line.note],
  ];
  return (
    <section>
      <h2>Where it comes from</h2>
      <Figures of={[
        ["specimen", <>{line.specimen ? <bdi>{line.specimen}</bdi> : <Unknown />}{line.board ? <> <button type="button" class="quiet-button" onClick={() => go({ view: "board", board: line.board ?? "" })}>board sheet</button></> : null}</>],
        ...rows.map(([name, value]) => value !== undefined && (value !== null || name !== "remark") && ([name, value === null ? <Unknown /> : <bdi>{value}</bdi>] as [string, ComponentChildren])),
      ]} />
    </section>
  );
}

/** What only the tool knows: quantiles, the floor and its drift, wakes unlike the others. */
function Deep({ of }: { of: TraceReport }) {
  const floor = of.floor;
  return (
    <details class="behind deep">
      <summary>Everything that one pass found</summary>
      <div class="columns">
        <Figures of={[
          ["charge", engineering(of.charge_c, "C", 5)],
          ["root mean square", engineering(of.rms_a, "A", 4)],
          ["least", `${engineering(of.min_a, "A")} at ${clock(of.min_at_s, 3)}`],
          ["most", `${engineering(of.max_a, "A")} at ${clock(of.max_at_s, 3)}`],
          ...of.quantiles.map((q) => [`${significant(100 * q.probability, 4)} % lie below`, engineering(q.current_a, "A")] as [string, string]),
        ]} />
        <Figures of={[
          floor && ["sleep floor", floor.current_a.text],
          floor && ["asleep", stretch(floor.asleep_s)],
          floor && ["regulator bursts asleep", floor.bursts],
          of.drift_a_per_s !== null && ["drift of the floor", engineering(of.drift_a_per_s * 3600, "A/h", 2)],
          ...of.drift.map((d) => [`Allan deviation over ${stretch(d.tau_s)}`, engineering(d.deviation_a, "A", 2)] as [string, string]),
          ...of.outliers.map((w) => [`▲ wake ${w.number} at ${clock(w.start_s, 1)}`, `${engineering(w.charge_c, "C")}, ${stretch(w.duration_s)}`] as [string, string]),
        ]} />
      </div>
      <Bulleted of={of.remarks} as="cautions" />
    </details>
  );
}

function RailSheet({ line, of }: { line: RecordingLine; of: Recordings }) {
  const [shown, setShown] = useState<{ rail?: RailCapture; faults?: Fault } | undefined>();
  useEffect(() => {
    let live = true;
    of.rail(line.name).then((rail) => { if (live) setShown({ rail }); }, (error: unknown) => { if (live) setShown({ faults: faultOf(error) }); });
    return () => { live = false; };
  }, [line.name]);
  const rail = shown?.rail;
  const [word, tone] = rail ? railWord(rail.answer) : ["", ""];
  return (
    <>
      <Told of={shown?.faults} title="This capture cannot be judged" />
      {shown ? null : <Reading>Judging the capture…</Reading>}
      {rail ? (
        <section>
          <p class="lead"><span class={`verdict-word ${tone}`}>{word}</span> {rail.verdict.replace(new RegExp(`^${word}: `), "")}</p>
          <Rail of={rail} />
          <p class="quiet">Threshold from: <bdi>{rail.threshold_source}</bdi>. {rail.filter_s > 0 ? `Averaged over ${stretch(rail.filter_s)}, ${rail.filter_derived ? "as long as the noise asks for" : "as stated"}. ` : ""}{rail.read_as}</p>
          <Bulleted of={rail.cautions} as="flags" />
        </section>
      ) : null}
      <Provenance line={line} />
    </>
  );
}
