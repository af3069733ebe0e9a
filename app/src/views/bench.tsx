// The bench: gates before power, cautions, what to test next for this project and why, findings of the whole folder.
import { signal, useSignalEffect } from "@preact/signals";
import { part } from "../engine";
import { answer, engine, go, message, ranked } from "../state";
import type { Diagnostic } from "../types";
import { Waiting } from "./parts";

const findings = signal<Diagnostic[] | undefined>(undefined);
const trouble = signal<string | undefined>(undefined);
let started = false;

async function load(): Promise<void> {
  try {
    findings.value = part(await answer("check"), "check");
  } catch (error) {
    started = false;
    trouble.value = message(error);
  }
}

// The order in which a board is taken in; common practice of the trade.
const STEPS: { title: string; gate?: string; lines: string[] }[] = [
  { title: "Label and look", lines: ["Give the specimen a label; photograph both sides and the revision marks.", "Note traits by eye and caliper. What you cannot see stays unknown."] },
  { title: "Polarity, twice", gate: "No cell before two polarity readings agree.", lines: ["USB out: ohms from each battery contact to the shield. The contact near 0 Ω is −.", "USB in, no cell: volts on each contact. The contact near the float voltage is +.", "Measure the cell's own lead as well. Never trust colour."] },
  { title: "First power from a limited supply", gate: "Limit at 50 mA first, then at the radio's peak.", lines: ["Note idle current on battery and on USB.", "A specimen that dies is a state with step and cause, not an empty cell."] },
  { title: "Sleep current", gate: "Range low enough, zero noted, settled.", lines: ["Bypass the meter while it boots; then open the bypass asleep.", "At 4.15, 3.80, 3.50 and 3.25 V; window long enough for 100 bursts of the regulator.", "Five repeats at 3.80 V, with the temperature of the board."] },
  { title: "Limits", lines: ["Lowest supply that survives a burst, in steps of 20 mV.", "Charge current against the cell's data sheet; float voltage; back-leakage at night."] },
  { title: "Ride-through", lines: ["Ten removals and ten attachments each at 4.1, 3.7 and 3.5 V, with a counter that survives resets. A full cell hides the fault."] },
];

export function BenchView() {
  useSignalEffect(() => {
    if (engine.value && !started) {
      started = true;
      void load();
    }
  });
  const choice = ranked.value.choice;
  const tests = (choice?.boards ?? [])
    .flatMap((b) => b.needs.filter((n) => n.verdict === "undecided").map((n) => ({ board: b.board, need: n.need, reason: n.reason, minutes: n.test_minutes, out: b.verdict === "does_not" })))
    .sort((a, b) => Number(a.out) - Number(b.out) || (a.minutes ?? 1e9) - (b.minutes ?? 1e9));
  const open = tests.filter((t) => !t.out);
  const by = (severity: string) => (findings.value ?? []).filter((f) => f.severity === severity);
  return (
    <article class="sheet">
      <header class="sheet-head"><h1>At the bench</h1><button type="button" class="quiet-button" onClick={() => print()}>Print</button></header>
      <section>
        <h2>What to test next{choice ? ` for “${choice.project}”` : ""}</h2>
        {!choice ? <Waiting>The ranking is computed first…</Waiting> : open.length === 0 ? <p>Nothing unknown keeps a board of this project undecided.</p> : (
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
        <p class="quiet specimen-line">specimen <span class="blank" /> date <span class="blank" /> who <span class="blank" /></p>
        <ol class="steps">
          {STEPS.map((s) => (
            <li key={s.title}>
              <h3><span class="box" aria-hidden="true" /> {s.title}</h3>
              {s.gate ? <p class="gate">{s.gate}</p> : null}
              <ul>{s.lines.map((l) => <li key={l}>{l}</li>)}</ul>
            </li>
          ))}
        </ol>
      </section>
      <section>
        <h2>Findings of the whole folder</h2>
        {trouble.value ? <p class="warn" role="alert">{trouble.value}</p> : findings.value === undefined ? <Waiting>Checking…</Waiting> : findings.value.length === 0 ? <p>Nothing dangerous or contradictory was found.</p> : null}
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
