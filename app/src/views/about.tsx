// What this page is, what it does not contain, how it was computed.
import { engine, table, told } from "../state";

export function AboutView() {
  const facts = told.value;
  const files = engine.value?.content.files ?? [];
  const count = (folder: string) => files.filter(([path]) => path.startsWith(`${folder}/`)).length;
  const home = facts?.home === "bench";
  const recorded = engine.value?.content.traces?.length ?? 0;
  return (
    <article class="sheet prose">
      <h1>About this {home ? "bench" : "page"}</h1>
      <p>{facts?.title}: {table.value?.rows.length ?? 0} boards, {count("sessions")} sessions at the bench, {count("projects")} projects, {count("claims")} figures of other people.</p>
      <h2>Method</h2>
      <p>Every life is a forecast: the load's cycles are leapt over exactly, the cell is a charge with resistance and, where its data give them, two wells and relaxations; the life ends by the first limit that is crossed. Uncertainty goes through quasi-random draws that all boards share, so that differences between boards are sharper than each board alone. Intervals hold 10 to 90 % of the draws. Figures are given with two standard uncertainties (k = 2).</p>
      <p>“This specimen” is the board that was measured; “one you might buy” adds the spread between specimens, from several of them or from a stated prior.</p>
      <p>Unknown is neither zero nor no. A need that rests on an unknown leaves a board undecided and names the test that settles it.</p>
      <h2>What it does not contain</h2>
      <ul>
        {home ? null : <li>No samples: of {recorded > 0 ? `its ${recorded} recordings` : "recordings"} a page holds overviews at most; the tool in the bench folder shows every sample.</li>}
        {home ? null : <li>No hourly weather: the years under the sun are made from twelve monthly figures of the place.</li>}
        <li>No sun in the table: its lives are those with the panel covered. The view Sun balances panel and load through the years.</li>
        <li>No photographs, and no judgement of anything nobody measured.</li>
        <li>{home ? "No connection but to the tool on this machine." : "No connection: the page sends nothing and loads nothing."} This browser keeps your columns, order and specimen{home ? ", and what was typed and not saved yet" : ""}.</li>
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
