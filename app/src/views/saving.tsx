// What became of a save: where it was written, what stood in the way, or both versions where somebody else wrote meanwhile.
import { differences, onto, save, storage, type Outcome } from "../edit";
import { Faults } from "./parts";

export function Saved({ outcome, turn }: { outcome: Outcome | undefined; turn: (outcome: Outcome | undefined) => void }) {
  if (!outcome) return null;
  if (outcome.kind === "saved") {
    return (
      <div role="status" class="saved">
        <p>Saved in <code>{outcome.path}</code>.</p>
        {outcome.notes.length > 0 ? <ul class="flags">{outcome.notes.map((n, i) => <li key={i}>{n.message}{n.help ? ` – ${n.help}` : ""}</li>)}</ul> : null}
      </div>
    );
  }
  if (outcome.kind === "refused") return <Faults of={outcome.faults} title="Not saved; what you typed is kept" />;
  if (outcome.kind === "failed") return <p class="warn" role="alert">{outcome.why}</p>;
  return <Conflict outcome={outcome} turn={turn} />;
}

function Conflict({ outcome, turn }: { outcome: Extract<Outcome, { kind: "conflict" }>; turn: (outcome: Outcome | undefined) => void }) {
  const { path, was, now, mine } = outcome;
  if (was === null) {
    return <p class="warn" role="alert">{path} is already there and was left as it is: give it another name.</p>;
  }
  let rows: ReturnType<typeof differences> = [];
  try {
    rows = differences(was, now, mine);
  } catch {
    // One of them is no document just now: the texts are shown whole.
  }
  const put = async () => {
    try {
      turn(await save(path, now, onto(was, now, mine), now !== null));
    } catch (error) {
      turn({ kind: "failed", why: `What is on disk cannot be read: ${String(error)}` });
    }
  };
  return (
    <div class="conflict" role="alert">
      <p><strong>{path} {now === null ? "is gone from the disk" : "was changed on disk"} since you opened it.</strong> Nothing was written and nothing you typed is lost.</p>
      {rows.length > 0 ? (
        <div class="scroll" tabIndex={0} role="region" aria-label="Both versions">
          <table>
            <thead><tr><th scope="col">where</th><th scope="col">you began from</th><th scope="col">on disk now</th><th scope="col">yours</th></tr></thead>
            <tbody>{rows.map((r) => <tr key={r.place}><th scope="row">{r.place}</th><td>{r.was || "–"}</td><td>{r.now || "–"}</td><td>{r.mine || "–"}</td></tr>)}</tbody>
          </table>
        </div>
      ) : <div class="columns"><pre>{now ?? "(gone)"}</pre><pre>{mine}</pre></div>}
      <p class="actions">
        <button type="button" onClick={() => void put()}>Put my changes into it</button>
        <button type="button" onClick={() => turn(undefined)}>Leave it as it is on disk</button>
      </p>
    </div>
  );
}

/** Told only where it matters: something was typed and the browser keeps nothing. */
export function StorageNote() {
  return storage.value === "refused" ? <p class="warn" role="status">This browser refuses to keep anything: what you type is lost when the page is closed or reloaded before it is saved.</p> : null;
}
