// The bench: what to test next and why, the protocol for a specimen with its gates, entry of readings, findings of the folder.
import { signal, useSignalEffect } from "@preact/signals";
import { part } from "../engine";
import { answer, asked, engine, go, message, ranked, remembered, revision, text } from "../state";
import type { Diagnostic, GuideReport, Names, StepLine, StepStatus } from "../types";
import { Entry } from "./entry";
import { Waiting } from "./parts";

const findings = signal<Diagnostic[] | undefined>(undefined);
const names = signal<Names | undefined>(undefined);
const protocol = signal<StepLine[] | undefined>(undefined);
const guide = signal<GuideReport | undefined>(undefined);
const specimen = remembered<string>("specimen", "");
/** The step that is opened by hand; the next one otherwise. */
const opened = signal<number | undefined>(undefined);
const trouble = signal<string | undefined>(undefined);
let turn = 0;

async function load(): Promise<void> {
  const own = ++turn;
  try {
    trouble.value = undefined;
    // The findings came with a published page: they stand even where its engine does not start.
    findings.value = part(await answer("check"), "check");
    names.value = part(await answer("names"), "names");
    protocol.value = part(await answer("protocol"), "protocol");
    if (specimen.value && !names.value.specimens.includes(specimen.value)) specimen.value = "";
    const of = specimen.value;
    const found = of ? part(await answer({ guide: { specimen: of, project: asked() || null } }), "guide") : undefined;
    if (own !== turn) return;
    guide.value = found;
  } catch (error) {
    if (own === turn) trouble.value = message(error);
  }
}

const STATUS: Record<StepStatus, string> = {
  done: "done",
  partly: "partly done",
  against_the_gate: "recorded against its gate",
  open: "to do",
  blocked: "not yet",
  does_not_apply: "does not apply",
  never: "never: the specimen is dead",
};

function Step({ line, next, entry }: { line: StepLine; next: boolean; entry: boolean }) {
  const chosen = guide.value !== undefined;
  const open = chosen && (opened.value ?? (next ? line.number : 0)) === line.number;
  const done = chosen && line.status === "done";
  return (
    <li class={open ? "step open-step" : "step"}>
      <h3>
        <span class={done ? "box ticked" : "box"} aria-hidden="true" />
        {chosen && entry ? <button type="button" class="name" aria-expanded={open} onClick={() => { opened.value = open ? 0 : line.number; }}>{line.number}. {line.title}</button> : <span>{line.number}. {line.title}</span>}
        {chosen ? <span class={`step-state ${line.status}`}>{next ? "next" : STATUS[line.status]}{line.needed && line.status !== "done" && line.status !== "never" ? ", needed" : ""}</span> : <span class="quiet">{line.minutes} min</span>}
      </h3>
      {line.in_the_way.length > 0 ? <p class="gate">{line.in_the_way.join("; ")}</p> : null}
      {line.missing.length > 0 ? <p class="warn">still missing: {line.missing.join("; ")}</p> : null}
      <dl class="step-text">
        <dt>wiring</dt><dd>{line.wiring}</dd>
        <dt>do</dt><dd>{line.set}</dd>
        <dt>expect</dt><dd>{line.expect}</dd>
        <dt class="on-paper">read</dt><dd class="on-paper write-here" />
      </dl>
      {line.dangers.length > 0 ? <ul class="cautions">{line.dangers.map((d) => <li key={d}>{d}</li>)}</ul> : null}
      {open && guide.value ? <Entry specimen={guide.value.specimen} step={line.number} line={line} /> : null}
    </li>
  );
}

export function BenchView() {
  useSignalEffect(() => {
    // Read again with another specimen, another project, or when files changed.
    if (engine.value && revision.value >= 0 && specimen.value !== undefined && text.value !== undefined) void load();
  });
  const choice = ranked.value.choice;
  const tests = (choice?.boards ?? [])
    .flatMap((b) => b.needs.filter((n) => n.verdict === "undecided").map((n) => ({ board: b.board, need: n.need, reason: n.reason, minutes: n.test_minutes, out: b.verdict === "does_not" })))
    .sort((a, b) => Number(a.out) - Number(b.out) || (a.minutes ?? 1e9) - (b.minutes ?? 1e9));
  const open = tests.filter((t) => !t.out);
  const by = (severity: string) => (findings.value ?? []).filter((f) => f.severity === severity);
  const now = specimen.value ? guide.value : undefined;
  const steps = now?.steps ?? (specimen.value ? undefined : protocol.value);
  return (
    <article class="sheet">
      <header class="sheet-head"><h1>At the bench</h1><button type="button" class="quiet-button" onClick={() => print()}>Print</button></header>
      {trouble.value ? <p class="warn" role="alert">{trouble.value}</p> : null}
      <section>
        <h2>What to test next{choice ? ` for “${choice.project}”` : ""}</h2>
        {!choice ? ranked.value.computing !== undefined ? <Waiting>The ranking is computed first…</Waiting> : <p class="quiet">{text.value ? "There is no ranking: the table says why." : "There is no project yet, so nothing is asked of a board."}</p> : open.length === 0 ? <p>Nothing unknown keeps a board of this project undecided.</p> : (
          <ol class="tests">
            {open.map((t) => (
              <li key={t.board + t.need}>
                <span class="box" aria-hidden="true" />
                <span><button type="button" class="name" onClick={() => go({ view: "board", board: t.board })}><bdi>{t.board}</bdi></button> – <strong>{t.need}</strong>: {t.reason}{t.minutes !== null && !t.reason.includes(" min)") ? ` (${t.minutes.toFixed(0)} min)` : ""}</span>
              </li>
            ))}
          </ol>
        )}
      </section>
      <section>
        <h2>Checklist for a specimen</h2>
        <p class="field specimen-choice">
          <label for="specimen">specimen</label>
          <select id="specimen" value={specimen.value} onChange={(e) => { opened.value = undefined; specimen.value = e.currentTarget.value; }}>
            <option value="">none: the protocol to print</option>
            {(names.value?.specimens ?? []).map((s) => <option key={s} value={s}>{s}</option>)}
          </select>
        </p>
        {now ? (
          <div class={now.danger ? "faults" : "guide-head"}>
            <p><strong>Polarity:</strong> {now.polarity.statement}</p>
            {now.lost ? <p class="dead">† dead since {now.lost.since}: {now.lost.cause}{now.lost.lesson ? `. Lesson: ${now.lost.lesson}` : ""}</p> : null}
            {now.to_do.length > 0 && !now.lost ? <p class="quiet">{now.to_do.length} {now.to_do.length === 1 ? "step" : "steps"} still to do for “{now.project}”, about {now.minutes} min.</p> : null}
          </div>
        ) : <p class="quiet specimen-line">specimen <span class="blank" /> date <span class="blank" /> who <span class="blank" /></p>}
        {steps ? <ol class={now ? "steps guided" : "steps"}>{steps.map((line) => <Step key={line.number} line={line} next={now?.next === line.number} entry={now !== undefined} />)}</ol> : <Waiting>Reading the protocol…</Waiting>}
      </section>
      <section>
        <h2>Findings of the whole folder</h2>
        {findings.value === undefined ? <Waiting>Checking…</Waiting> : findings.value.length === 0 ? <p>Nothing dangerous or contradictory was found.</p> : null}
        {(["danger", "error", "warning", "note"] as const).map((severity) => by(severity).length === 0 ? null : (
          <details key={severity} open={severity === "danger" && by(severity).length <= 8} class={`findings ${severity}`}>
            <summary>{severity === "danger" ? "dangers" : `${severity}s`} <span class="quiet">{by(severity).length}</span></summary>
            <ul>{by(severity).map((f, i) => <li key={i}><strong>{f.message}</strong>{f.help ? <span class="help">{f.help}</span> : null}{f.file ? <span class="where">{f.file}{f.span ? `, line ${f.span.line}` : ""}</span> : null}</li>)}</ul>
          </details>
        ))}
      </section>
      {choice ? <ul class="cautions">{choice.cautions.map((c) => <li key={c}>{c}</li>)}</ul> : null}
    </article>
  );
}
