// Reads the page's facts, opens the engine, shows the views.
import "./style.css";
import "./charts.css";
import { render } from "preact";
import { BenchEngine, facts, open, part, type Facts } from "./engine";
import { answer, asked, engine, follow, go, message, place, reread, restore, table, told, trouble, type Place } from "./state";
import { AboutView } from "./views/about";
import { BenchView } from "./views/bench";
import { CompareView } from "./views/beside";
import { BoardView } from "./views/board";
import { ForecastView } from "./views/forecast";
import { SunView } from "./views/sun";
import { TracesView } from "./views/traces";
import { ProjectPanel } from "./views/project";
import { lines, TableView } from "./views/table";

function Nav() {
  const now = place.value;
  const first = "board" in now && now.board ? now.board : (lines.value[0]?.name ?? "");
  const views: [string, Place][] = [
    ["Table", { view: "table" }],
    ["Board", { view: "board", board: first }],
    ["Compare", { view: "compare", board: "board" in now ? now.board : "", other: "other" in now ? now.other : "" }],
    ["Traces", { view: "traces", recording: "" }],
    ["Forecast", { view: "forecast", board: "board" in now && now.board ? now.board : (lines.value.find((l) => l.verdict?.this_specimen)?.name ?? first) }],
    ["Sun", { view: "sun", board: "board" in now ? now.board : "" }],
    ["Bench", { view: "bench" }],
    ["About", { view: "about" }],
  ];
  return (
    <nav aria-label="Views">
      {views.map(([name, to]) => <button key={name} type="button" aria-current={to.view === now.view ? "page" : undefined} onClick={() => go(to)}>{name}</button>)}
    </nav>
  );
}

function App() {
  const now = place.value;
  return (
    <>
      <a class="skip" href="#main" onClick={(e) => { e.preventDefault(); document.getElementById("main")?.focus(); }}>Skip to the content</a>
      <header class="top">
        <p class="title"><svg viewBox="0 0 22 12" aria-hidden="true"><rect x="1" y="1.5" width="17" height="9" rx="1.6" /><path d="M20.6 4.2v3.6" /><path class="level" d="M3.6 8.4h4.6" /></svg> {told.value?.title ?? "overwinter"}</p>
        <Nav />
      </header>
      {trouble.value ? <div class="banner" role="alert"><p>{trouble.value}</p><button type="button" onClick={() => { trouble.value = undefined; }}>Close</button></div> : null}
      <div class={`body ${now.view === "table" ? "with-panel" : ""}`}>
        {now.view === "table" && engine.value ? <ProjectPanel /> : null}
        <main id="main" tabIndex={-1}>
          {now.view === "table" ? <TableView /> : null}
          {now.view === "board" ? <BoardView board={now.board} /> : null}
          {now.view === "compare" ? <CompareView board={now.board} other={now.other} /> : null}
          {now.view === "forecast" ? <ForecastView board={now.board} /> : null}
          {now.view === "sun" ? <SunView board={now.board} /> : null}
          {now.view === "traces" ? <TracesView name={now.recording} /> : null}
          {now.view === "bench" ? <BenchView /> : null}
          {now.view === "about" ? <AboutView /> : null}
        </main>
      </div>
      <footer class="foot"><p>Estimate; not a safety function. {told.value ? `overwinter ${told.value.version} · ${told.value.date} · ${told.value.licence}` : ""}</p></footer>
    </>
  );
}

async function begin(): Promise<void> {
  const root = document.getElementById("app");
  if (!root) return;
  let found: Facts;
  try {
    found = facts();
    told.value = found;
    document.title = found.title;
    engine.value = await open(found);
  } catch (error) {
    // The summary that was written into the page stays readable.
    const note = document.createElement("p");
    note.className = "banner";
    note.setAttribute("role", "alert");
    note.textContent = `The page could not be started: ${message(error)}`;
    root.prepend(note);
    return;
  }
  await restore();
  root.textContent = "";
  render(<App />, root);
  follow();
  addEventListener("popstate", () => void restore());
  addEventListener("hashchange", () => void restore());
  try {
    table.value = part(await answer({ table: { columns: ["all"], sort: null, filter: [], specimens: false } }), "table");
  } catch (error) {
    trouble.value = message(error);
  }
  const ready = engine.value;
  if (ready instanceof BenchEngine) {
    let reading = false;
    ready.onChange = () => {
      if (reading) return;
      reading = true;
      reread()
        .then((files) => { if (files.length > 0) trouble.value = `${files.slice(0, 4).join(", ")}${files.length > 4 ? ` and ${files.length - 4} more` : ""} changed on disk and ${files.length === 1 ? "was" : "were"} read again. What you typed here is as you left it.`; })
        .catch((error: unknown) => { trouble.value = message(error); })
        .finally(() => { reading = false; });
    };
    const look = () => { if (document.visibilityState === "visible") void ready.look(); };
    addEventListener("focus", look);
    document.addEventListener("visibilitychange", look);
    setInterval(look, 10_000);
  }
  // After the first picture: a fault shows with the first question that needs the engine.
  setTimeout(() => void ready?.warm(asked()).catch(() => undefined), 200);
}

void begin();
