// What this page is, what it does not contain, how it was computed.
import { engine, table, told } from "../state";

export function AboutView() {
  const facts = told.value;
  const files = engine.value?.content.files ?? [];
  const count = (folder: string) => files.filter(([path]) => path.startsWith(`${folder}/`)).length;
  return (
    <article class="sheet prose">
      <h1>About this {facts?.home === "bench" ? "bench" : "page"}</h1>
      <p>{facts?.title}: {table.value?.rows.length ?? 0} boards, {count("sessions")} sessions at the bench, {count("projects")} projects, {count("claims")} figures of other people.</p>
      <h2>Method</h2>
      <p>Every life is a forecast: the load's cycles are leapt over exactly, the cell is a charge with resistance and, where its data give them, two wells and relaxations; the life ends by the first limit that is crossed. Uncertainty goes through quasi-random draws that all boards share, so that differences between boards are sharper than each board alone. Intervals hold 10 to 90 % of the draws. Figures are given with two standard uncertainties (k = 2).</p>
      <p>“This specimen” is the board that was measured; “one you might buy” adds the spread between specimens, from several of them or from a stated prior.</p>
      <p>Unknown is neither zero nor no. A need that rests on an unknown leaves a board undecided and names the test that settles it.</p>
      <h2>What it does not contain</h2>
      <ul>
        <li>No trace: figures of traces stand in the readings, the samples do not.</li>
        <li>No sun: a project with a panel is ranked here as if the panel were covered; the year with the sun is computed by the tool.</li>
        <li>No photographs, and no judgement of anything nobody measured.</li>
        <li>No connection: the page sends nothing, loads nothing and keeps only your columns in this browser.</li>
      </ul>
      <h2>Facts</h2>
      <dl class="pairs-list">
        <div><dt>made with</dt><dd>overwinter {facts?.version}</dd></div>
        <div><dt>date</dt><dd>{facts?.date}</dd></div>
        <div><dt>licence of the data</dt><dd>{facts?.licence}</dd></div>
        <div><dt>checksum of the documents</dt><dd><code class="break">{facts?.checksum}</code></dd></div>
      </dl>
      <p class="quiet">Estimate; not a safety function. Where this page and a cell's data sheet, a local code or a licensed person differ, they win.</p>
    </article>
  );
}
