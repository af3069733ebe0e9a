// Editing a folder on disk through the app: comments stay, both versions are shown on a conflict, gates hold, nothing typed is lost.
import { spawn, type ChildProcess } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import AxeBuilder from "axe-core";
import { parse } from "smol-toml";
import { expect, test, type Page } from "@playwright/test";
import { fitsWidth, row } from "./page";

let server: ChildProcess;
let address = "";
let folder = "";

function start(port = 0): Promise<void> {
  server = spawn("cargo", ["run", "--quiet", "--package", "overwinter-server", "--example", "serve_demo", "--", String(port), folder], { cwd: "..", stdio: ["ignore", "pipe", "inherit"], detached: true });
  return new Promise((done, fail) => {
    server.stdout?.on("data", (chunk: Buffer) => { address = chunk.toString().trim(); done(); });
    server.on("exit", () => fail(new Error("the server ended")));
  });
}

function stop(): void {
  if (server.pid) process.kill(-server.pid);
  server = { pid: undefined } as ChildProcess;
}

test.beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), "overwinter-edit-"));
  await start();
});

test.afterEach(() => {
  stop();
  rmSync(folder, { recursive: true, force: true });
});

/** What an accessibility scan finds serious. */
async function serious(page: Page): Promise<string[]> {
  // As page content: this page's policy lets nothing be fetched, and nothing is.
  await page.evaluate(AxeBuilder.source);
  return page.evaluate(async () => {
    const axe = (window as unknown as { axe: { run(): Promise<{ violations: { id: string; impact: string; nodes: { html: string }[] }[] }> } }).axe;
    const result = await axe.run();
    return result.violations.filter((v) => v.impact === "serious" || v.impact === "critical").map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 160)).join(" | ")}`);
  });
}

const file = (path: string) => readFileSync(join(folder, path), "utf8");
const ready = (page: Page) => expect(row(page, "BOWLINE")).toContainText("fits");

async function board(page: Page, name: string): Promise<void> {
  await page.goto(`${address}#v=board&b=${name}`);
  await expect(page.getByRole("heading", { name: "Traits and figures" })).toBeVisible();
}

test("a trait is edited by keyboard and the file keeps its comments", async ({ page }) => {
  const before = file("boards/turkshead.toml");
  await board(page, "TURKSHEAD");
  await page.getByRole("button", { name: "Edit the traits" }).focus();
  await page.keyboard.press("Enter");
  const trait = page.getByLabel("battery switch", { exact: true });
  const old = await trait.inputValue();
  const wanted = old === "yes" ? "no" : "yes";
  await trait.focus();
  await trait.selectOption(wanted);
  await page.getByRole("button", { name: "Save in boards/turkshead.toml" }).focus();
  await page.keyboard.press("Enter");
  await expect(page.locator(".saved")).toContainText("Saved in boards/turkshead.toml");
  const after = file("boards/turkshead.toml");
  expect(after).toContain(`battery_switch = "${wanted}"`);
  const comments = (text: string) => text.split("\n").filter((line) => line.includes("#")).map((line) => line.slice(line.indexOf("#")));
  expect(comments(after)).toEqual(comments(before));
  // One line is another, and none beside it.
  const [a, b] = [before.split("\n"), after.split("\n")];
  expect(b.filter((line) => !a.includes(line))).toEqual([expect.stringContaining("battery_switch")]);
});

test("a value that the command line would refuse is told and not written", async ({ page }) => {
  const before = file("boards/bowline.toml");
  await board(page, "BOWLINE");
  await page.getByRole("button", { name: "Edit the traits" }).click();
  expect(await serious(page)).toEqual([]);
  await page.getByLabel("width", { exact: true }).fill("twenty");
  await page.getByRole("button", { name: "Save in boards/bowline.toml" }).click();
  await expect(page.locator(".entry-form .faults")).toContainText("Not saved");
  await expect(page.getByLabel("width", { exact: true })).toHaveValue("twenty");
  expect(file("boards/bowline.toml")).toBe(before);
});

test("traits of a specimen and of a revision: inherited ones shown, saved in their own place, every word of the schema offered", async ({ page }) => {
  const before = file("boards/carrick.toml");
  await board(page, "CARRICK");
  await page.getByRole("button", { name: "Edit the traits" }).click();
  await page.locator("summary", { hasText: "specimen CARRICK-1" }).click();
  const specimen = page.getByRole("group", { name: "specimen CARRICK-1" });
  await expect(specimen.getByLabel("+ side")).toHaveValue("left");
  // What the model says holds until the specimen says something else.
  await expect(specimen.getByLabel("charger", { exact: true }).locator("option").first()).toHaveText("as the model: yes");
  await specimen.getByLabel("+ side").selectOption("unknown");
  await specimen.getByLabel("LED on in sleep").selectOption("yes");
  await page.locator("summary", { hasText: "revision 2" }).click();
  const revision = page.getByRole("group", { name: "revision 2" });
  await revision.getByLabel("buttons").fill("reset, boot, user");
  await revision.getByLabel("pins", { exact: true }).fill("26");
  await revision.getByLabel("width", { exact: true }).fill("22.5 mm");
  expect(await serious(page)).toEqual([]);
  await page.getByRole("button", { name: "Save in boards/carrick.toml" }).click();
  await expect(page.locator(".saved")).toContainText("Saved in boards/carrick.toml");
  const after = file("boards/carrick.toml");
  const comments = (text: string) => text.split("\n").filter((line) => line.includes("#")).map((line) => line.slice(line.indexOf("#")));
  expect(comments(after)).toEqual(comments(before));
  const saved = parse(after) as { board: { traits: object; revisions: { name: string; traits: object }[]; specimens: { id: string; traits: object }[] } };
  const old = parse(before) as typeof saved;
  expect(saved.board.traits).toEqual(old.board.traits);
  expect(saved.board.specimens.find((s) => s.id === "CARRICK-1")?.traits).toEqual({ positive_side: "unknown", led_in_sleep: "yes" });
  expect(saved.board.specimens.find((s) => s.id === "CARRICK-2")).toEqual(old.board.specimens.find((s) => s.id === "CARRICK-2"));
  expect(saved.board.revisions.find((r) => r.name === "2")?.traits).toMatchObject({ buttons: ["reset", "boot", "user"], pins: 26, width: "22.5 mm" });
  // The sheet is read again; the + side stays known, since a session measured it.
  await expect(page.locator("table.traits tr", { has: page.getByRole("rowheader", { name: "LED in sleep" }) }).locator("td").first()).toHaveText("yes");
  await expect(page.locator(".socket", { hasText: "CARRICK-1" })).toContainText("Do not plug in");
  // The page offers what a document may say, no more and no less.
  const schema = JSON.parse(readFileSync("../schemas/board.schema.json", "utf8")) as { $defs: Record<string, { properties?: Record<string, { $ref?: string }>; anyOf?: { enum?: string[] }[] }> };
  const traits = schema.$defs.Traits?.properties ?? {};
  const offered = await page.getByRole("group", { name: "the model" }).locator("input, select").evaluateAll((fields) => fields.map((f) => (f instanceof HTMLSelectElement ? [...f.options].map((o) => o.value).filter(Boolean).sort().join("|") : "")));
  const allowed = Object.values(traits).map((t) => [...(schema.$defs[(t.$ref ?? "").replace("#/$defs/", "")]?.anyOf?.[0]?.enum ?? [])].sort().join("|"));
  expect(offered.map((o) => (o.includes("inferred") ? o.replace(/inferred [^|]*\|?/, "") : o)).sort()).toEqual(allowed.sort());
});

test("a specimen's trait changed in another tab is a conflict with its place named", async ({ page, context }) => {
  const other = await context.newPage();
  for (const tab of [page, other]) {
    await board(tab, "CARRICK");
    await tab.getByRole("button", { name: "Edit the traits" }).click();
    await tab.locator("summary", { hasText: "specimen CARRICK-2" }).click();
  }
  const specimen = (tab: Page) => tab.getByRole("group", { name: "specimen CARRICK-2" });
  await specimen(page).getByLabel("battery switch").selectOption("yes");
  await page.getByRole("button", { name: "Save in boards/carrick.toml" }).click();
  await expect(page.locator(".saved")).toBeVisible();
  await specimen(other).getByLabel("battery switch").selectOption("no");
  await other.getByRole("button", { name: "Save in boards/carrick.toml" }).click();
  await expect(other.locator(".conflict")).toContainText("specimens › 1 › traits › battery_switch");
  await specimen(other).getByLabel("width", { exact: true }).fill("a finger");
  await other.locator(".conflict").waitFor({ state: "detached" });
  expect(parse(file("boards/carrick.toml"))).toMatchObject({ board: { specimens: [{}, { traits: { battery_switch: "yes" } }] } });
});

test("a reading's note is written beside its reading", async ({ page }) => {
  await board(page, "BOWLINE");
  const session = page.locator("details.session", { hasText: "28.30 mA" });
  await session.locator("summary").click();
  await session.getByRole("button", { name: "Edit the notes" }).click();
  await session.getByLabel("note of idle current 28.30 mA").fill("the door was open");
  await session.getByRole("button", { name: /^Save in sessions/ }).click();
  await expect(page.locator(".saved")).toContainText("Saved in sessions/");
  const text = readdirSync(join(folder, "sessions")).map((name) => file(`sessions/${name}`)).find((t) => t.includes("the door was open")) ?? "";
  expect(text).toContain("# Awake, radio off: the state that a faulty sleep falls back to.");
  expect(text.indexOf("the door was open")).toBeGreaterThan(text.indexOf("28.30 mA"));
  expect(text.indexOf("the door was open")).toBeLessThan(text.indexOf("28.50 mA"));
});

test("a project's load, cell, place and needs are saved in its own file with its comments", async ({ page }) => {
  await page.goto(address);
  await ready(page);
  await page.getByLabel("lasts at least").fill("300 d");
  await page.getByLabel("every", { exact: true }).fill("20 min");
  await page.getByLabel("daily swing").fill("9 K");
  await page.getByRole("button", { name: "Save in projects/footbridges.toml" }).click();
  await expect(page.locator(".saved")).toContainText("Saved in projects/footbridges.toml");
  const text = file("projects/footbridges.toml");
  for (const part of ['at_least = "300 d"', 'every = "20 min"', 'daily_swing = "9 K"', "# READ THIS PROJECT FIRST", "# Nine months: from October", "#:schema", "# A public bridge"]) expect(text).toContain(part);
  // It is the published project now: nothing of it is "yours" any more.
  await expect(page.locator(".project .tag")).toHaveCount(0);
});

test("two tabs: the second sees both versions and puts its change into the first's", async ({ page, context }) => {
  const other = await context.newPage();
  await page.goto(address);
  await ready(page);
  await other.goto(address);
  await ready(other);
  await page.getByLabel("smallest that matters").fill("21 d");
  await other.getByLabel("lasts at least").fill("8 months");
  await page.getByRole("button", { name: "Save in projects/footbridges.toml" }).click();
  await expect(page.locator(".saved")).toBeVisible();
  await other.getByRole("button", { name: "Save in projects/footbridges.toml" }).click();
  const conflict = other.locator(".conflict");
  await expect(conflict).toContainText("was changed on disk since you opened it");
  await expect(conflict).toContainText("21 d");
  await expect(conflict).toContainText("8 months");
  expect(file("projects/footbridges.toml")).not.toContain("8 months");
  await conflict.getByRole("button", { name: "Put my changes into it" }).click();
  await expect(other.locator(".saved")).toBeVisible();
  const text = file("projects/footbridges.toml");
  expect(text).toContain('smallest_difference = "21 d"');
  expect(text).toContain('at_least = "8 months"');
  expect(text).toContain("# Nine months: from October");
});

test("a file changed outside is read again and told; a draft stays and is never put over it", async ({ page }) => {
  await board(page, "BOWLINE");
  await page.getByRole("button", { name: "Edit the traits" }).click();
  await page.getByLabel("battery switch", { exact: true }).selectOption("yes");
  const path = join(folder, "boards/bowline.toml");
  writeFileSync(path, `${readFileSync(path, "utf8")}\n# written in an editor\n`);
  await page.evaluate(() => dispatchEvent(new Event("focus")));
  await expect(page.locator(".banner")).toContainText("boards/bowline.toml changed on disk");
  await expect(page.getByLabel("battery switch", { exact: true })).toHaveValue("yes");
  await page.getByRole("button", { name: "Save in boards/bowline.toml" }).click();
  await expect(page.locator(".conflict")).toContainText("changed on disk");
  expect(file("boards/bowline.toml")).toContain("# written in an editor");
  await page.locator(".conflict").getByRole("button", { name: "Put my changes into it" }).click();
  await expect(page.locator(".saved")).toBeVisible();
  expect(file("boards/bowline.toml")).toContain("# written in an editor");
  expect(file("boards/bowline.toml")).toContain('battery_switch = "yes"');
});

async function bench(page: Page, specimen: string): Promise<void> {
  await page.goto(`${address}#v=bench`);
  await page.getByLabel("specimen", { exact: true }).selectOption(specimen);
  await expect(page.locator(".guide-head, .faults").first()).toContainText("Polarity:");
}

test("readings are typed on a phone, read back, kept over a reload and appended to the session", async ({ page }) => {
  await page.setViewportSize({ width: 360, height: 740 });
  await bench(page, "BOWLINE-1");
  await page.getByRole("button", { name: /^5\. / }).click();
  const first = page.getByLabel("sleep current at 3.80 V, reading 1");
  await first.fill("9.31 V");
  await expect(page.locator(".entry-form")).toContainText("this is a voltage");
  await expect(page.getByRole("button", { name: "Save these readings" })).toBeDisabled();
  await first.fill("9.31 uA");
  await expect(page.locator(".entry-form")).toContainText(/= 9\.31\d? µA/);
  await page.getByLabel("who").fill("a volunteer");
  await fitsWidth(page);
  expect(await serious(page)).toEqual([]);
  await page.reload();
  await page.getByRole("button", { name: /^5\. / }).click();
  await expect(page.getByLabel("sleep current at 3.80 V, reading 1")).toHaveValue("9.31 uA");
  await expect(page.getByLabel("who")).toHaveValue("a volunteer");
  await page.getByLabel("sleep current at 3.80 V, reading 2").fill("9.35 µA");
  await page.getByLabel("date", { exact: true }).fill("2026-08-01");
  await page.getByLabel("meter", { exact: true }).fill("hand-held meter");
  await page.getByLabel("range, locked").fill("600 µA");
  await page.getByLabel("temperature of the board").fill("21 °C");
  await page.getByRole("button", { name: "Save these readings" }).click();
  await expect(page.locator(".saved")).toContainText("Saved in sessions/2026-08-01-bowline-1-sleep.toml");
  const path = "sessions/2026-08-01-bowline-1-sleep.toml";
  expect(file(path)).toContain('specimen = "BOWLINE-1"');
  expect(file(path)).toContain("date = 2026-08-01");
  // The next figure goes into the same document.
  writeFileSync(join(folder, path), `# my own remark\n${file(path)}`);
  await page.evaluate(() => dispatchEvent(new Event("focus")));
  await expect(page.locator(".banner")).toContainText("changed on disk");
  await page.getByLabel("sleep current at 3.50 V").fill("9.1 µA");
  await page.getByLabel("range, locked").fill("600 µA");
  await page.getByRole("button", { name: "Save these readings" }).click();
  await expect(page.locator(".saved")).toBeVisible();
  const text = file(path);
  expect(text).toContain("# my own remark");
  expect(text.match(/\[\[session\.readings\]\]/g)).toHaveLength(2);
  expect(text).toContain("3.50 V");
});

test("ride-through: what was done is entered, edge, number of trials and source included", async ({ page }) => {
  await bench(page, "SLIPKNOT-1");
  await page.getByRole("button", { name: /^7\. / }).click();
  const form = page.locator(".entry-form");
  const save = page.getByRole("button", { name: "Save these readings" });
  await page.getByLabel("date", { exact: true }).fill("2026-08-02");
  await form.getByLabel("it came and went over").selectOption("slow ramp");
  await form.getByLabel("source", { exact: true }).selectOption("panel");
  await form.getByLabel("source removed, asleep, cell at 3.7 V").fill("12");
  await expect(form).toContainText("a whole number, 0 to 10");
  await expect(save).toBeDisabled();
  await form.getByLabel("trials of each kind").fill("25");
  await expect(save).toBeEnabled();
  await form.getByRole("button", { name: "Other trials" }).click();
  const more = page.getByRole("group", { name: "other trials 1" });
  await more.getByLabel("the source was").selectOption("attached");
  await more.getByLabel("over").selectOption("plug");
  await more.getByLabel("while").selectOption("awake");
  await more.getByLabel("resets among them").fill("0");
  await expect(form).toContainText("the cell's voltage of the other trials is missing");
  await more.getByLabel("cell at").fill("3.4");
  await expect(save).toBeDisabled();
  await more.getByLabel("cell at").fill("3.40 V");
  await more.getByLabel("trials", { exact: true }).fill("40");
  await more.getByLabel("note").fill("hand on the plug");
  expect(await serious(page)).toEqual([]);
  // The words are those of the documents.
  const schema = JSON.parse(readFileSync("../schemas/session.schema.json", "utf8")) as { $defs: Record<string, { enum?: string[] }> };
  for (const [label, name] of [["the source was", "SourceEvent"], ["over", "Edge"], ["while", "Doing"]] as const) {
    const offered = await more.getByLabel(label).locator("option").evaluateAll((all) => all.map((o) => (o as HTMLOptionElement).value));
    expect(offered.sort()).toEqual([...(schema.$defs[name]?.enum ?? [])].sort());
  }
  await page.reload();
  await page.getByRole("button", { name: /^7\. / }).click();
  await expect(page.getByRole("group", { name: "other trials 1" }).getByLabel("note")).toHaveValue("hand on the plug");
  await save.click();
  await expect(page.locator(".saved")).toContainText("Saved in sessions/2026-08-02-slipknot-1-ride-through-panel.toml");
  expect(parse(file("sessions/2026-08-02-slipknot-1-ride-through-panel.toml"))).toMatchObject({
    session: {
      specimen: "SLIPKNOT-1", source: "panel",
      ride_through: [
        { event: "removed", doing: "asleep", edge: "slow ramp", cell_voltage: "3.7 V", resets: 12, trials: 25 },
        { event: "attached", doing: "awake", edge: "plug", cell_voltage: "3.40 V", resets: 0, trials: 40, note: "hand on the plug" },
      ],
    },
  });
  await board(page, "SLIPKNOT");
  await expect(page.getByRole("region", { name: "Ride-through trials" })).toContainText("resets 12 of 25");
});

test("a skyline drawn by keyboard is saved in the site's file with its comments; a change from outside is shown", async ({ page }) => {
  const before = file("sites/gorge.toml");
  await page.goto(`${address}#v=sun&b=SLIPKNOT&s=weather%20mast`);
  await page.getByLabel("years", { exact: true }).selectOption("100");
  const south = page.getByRole("slider", { name: "Skyline at bearing 180°" });
  await south.focus();
  for (let i = 0; i < 3; i++) await page.keyboard.press("Shift+ArrowUp");
  await page.getByRole("button", { name: "Save in sites/gorge.toml" }).click();
  await expect(page.locator(".saved")).toContainText("Saved in sites/gorge.toml");
  const after = file("sites/gorge.toml");
  const [a, b] = [before.split("\n"), after.split("\n")];
  // One point is another, every comment and line beside it stays.
  expect(b.filter((line) => !a.includes(line))).toEqual([expect.stringMatching(/^ {4}\{ bearing = "180°", elevation = "25°" \},$/)]);
  expect(b.length).toBe(a.length);
  await expect(south).toHaveAttribute("aria-valuetext", "bearing 180°, elevation 25°");
  await expect.poll(() => page.url()).not.toContain("k=");
  // Drawn on, while somebody else moves another point in an editor.
  await south.focus();
  await page.keyboard.press("Shift+ArrowDown");
  writeFileSync(join(folder, "sites/gorge.toml"), after.replace('bearing = "270°", elevation = "38°"', 'bearing = "270°", elevation = "55°"'));
  await page.getByRole("button", { name: "Save in sites/gorge.toml" }).click();
  const conflict = page.locator(".conflict");
  await expect(conflict).toContainText("was changed on disk since you opened it");
  await expect(conflict).toContainText("55°");
  expect(file("sites/gorge.toml")).toContain('bearing = "180°", elevation = "25°"');
  await conflict.getByRole("button", { name: "Put my changes into it" }).click();
  await expect(page.locator(".saved")).toBeVisible();
  const both = file("sites/gorge.toml");
  for (const part of ['bearing = "180°", elevation = "20°"', 'bearing = "270°", elevation = "55°"', "# Bearing clockwise from north"]) expect(both).toContain(part);
});

test("the hourly file that a site names is used by the tool, or left for the monthly figures; one that is gone is told", async ({ page }) => {
  const text = ["time,ghi,temp"];
  for (let day = 0; day < 365; day++) for (let hour = 0; hour < 24; hour++) text.push(`${new Date(Date.UTC(2023, 0, 1 + day)).toISOString().slice(0, 10)} ${String(hour).padStart(2, "0")}:00,${hour > 6 && hour < 18 ? 300 : 0},8.0`);
  mkdirSync(join(folder, "weather"));
  writeFileSync(join(folder, "weather/hut.csv"), text.join("\n"));
  const site = file("sites/gorge.toml");
  const named = (name: string) => site.replace("ground_reflection", `hourly = "weather/${name}"\nhourly_layout = { clock = "UTC", stamp = "start" }\nground_reflection`);
  writeFileSync(join(folder, "sites/gorge.toml"), named("hut.csv"));
  await page.goto(`${address}#v=sun&b=SLIPKNOT&s=weather%20mast`);
  await expect(page.locator(".sun")).toContainText("weather/hut.csv from 2023-01-01 to 2023-12-31");
  await page.getByLabel("years", { exact: true }).selectOption("100");
  await expect(page.locator(".sun .status")).toContainText("1 years, seed");
  await page.getByLabel("run the years of weather/hut.csv").uncheck();
  await expect(page.locator(".sun .status")).toContainText("100 years, seed");
  await expect(page.locator(".sun")).not.toContainText("from 2023-01-01");
  await page.getByLabel("run the years of weather/hut.csv").check();
  await expect(page.locator(".sun")).toContainText("from 2023-01-01");
  writeFileSync(join(folder, "sites/gorge.toml"), named("gone.csv"));
  await page.evaluate(() => dispatchEvent(new Event("focus")));
  await expect(page.locator(".sun .faults")).toContainText("weather/gone.csv");
  await page.getByLabel("run the years of weather/gone.csv").uncheck();
  await expect(page.locator(".sun .status")).toContainText("100 years, seed");
});

test("what is stopped in the page is given up by the tool: both its seats are free again", async ({ page }) => {
  await page.goto(address);
  await ready(page);
  const answered = await page.evaluate(async () => {
    const { token } = JSON.parse(document.getElementById("facts")?.textContent ?? "{}") as { token: string };
    const ask = (question: unknown, signal?: AbortSignal) => fetch("api/ask", { method: "POST", headers: { "content-type": "application/json", "x-overwinter-token": token }, body: JSON.stringify(question), signal });
    const stop = new AbortController();
    // Minutes of work each.
    const long = [1, 2].map((seed) => ask({ choose: { project: "footbridges", draws: 100_000, seed } }, stop.signal).catch(() => undefined));
    await new Promise((done) => setTimeout(done, 1500));
    stop.abort();
    await Promise.all(long);
    return (await ask("names", AbortSignal.timeout(20_000))).status;
  });
  expect(answered).toBe(200);
});

test("a folder with nothing in it says what is missing in every view; a project begun in the page is saved", async ({ page }) => {
  for (const kind of readdirSync(folder)) rmSync(join(folder, kind), { recursive: true });
  // Not quite empty, or the example would fill it again.
  writeFileSync(join(folder, "README.md"), "nothing yet\n");
  const errors: string[] = [];
  page.on("pageerror", (error) => errors.push(error.message));
  await page.goto(address);
  await expect(page.locator(".table-view")).toContainText("there is no project");
  await expect(page.locator(".table-view")).toContainText("There is no board here yet");
  for (const [view, sign] of [["Board", "there is no board"], ["Compare", "Two boards are needed"], ["Traces", "no traces here"], ["Sun", "There is no project yet"], ["Bench", "nothing is asked of a board"], ["About", "overwinter"]] as const) {
    await page.getByRole("navigation").getByRole("button", { name: view, exact: true }).click();
    await expect(page.locator("main")).toContainText(sign);
    await expect(page.locator("main .waiting")).toHaveCount(0);
    expect(await serious(page)).toEqual([]);
  }
  await page.getByRole("button", { name: "Table", exact: true }).click();
  await page.getByRole("button", { name: "Begin a project" }).click();
  await expect(page.locator("main")).toContainText("there is no cell “my cell”");
  await page.getByLabel("name", { exact: true }).fill("first try");
  await page.getByRole("button", { name: "Save as a new project" }).click();
  await expect(page.locator(".project")).toContainText(/Saved in projects\/first-try.toml|no cell/);
  expect(errors).toEqual([]);
});

test("a gate that is shut takes no readings, in the page and at the server", async ({ page }) => {
  // A specimen that nobody has looked at yet.
  const path = join(folder, "boards/bowline.toml");
  writeFileSync(path, `${readFileSync(path, "utf8")}\n[[board.specimens]]\nid = "BOWLINE-NEW"\n`);
  await bench(page, "BOWLINE-NEW");
  await page.getByRole("button", { name: /^6\. / }).click();
  await expect(page.locator(".open-step .gate").last()).toContainText("Nothing is entered here yet");
  await expect(page.locator(".open-step").getByRole("button", { name: "Save these readings" })).toHaveCount(0);
  const reply = await page.evaluate(async () => {
    const facts = JSON.parse(document.getElementById("facts")?.textContent ?? "{}") as { token: string };
    const text = '[session]\nname = "too early"\nspecimen = "BOWLINE-NEW"\ndate = 2026-08-01\nsupply = "5.00 V"\n[[session.readings]]\nwhat = "sleep current"\nvalue = "150 µA"\nsource = "USB and full cell"\n';
    const body = JSON.stringify({ path: "sessions/too-early.toml", text, was: null });
    const response = await fetch("api/save", { method: "POST", headers: { "content-type": "application/json", "x-overwinter-token": facts.token }, body });
    return { status: response.status, text: await response.text() };
  });
  expect(reply.status).toBe(422);
  expect(reply.text).toContain('"gate"');
  expect(readdirSync(join(folder, "sessions"))).not.toContain("too-early.toml");
});

test("the server goes away while readings are typed: told, kept, saved when it is back", async ({ page }) => {
  await bench(page, "BOWLINE-1");
  await page.getByRole("button", { name: /^5\. / }).click();
  await page.getByLabel("sleep current at 3.80 V, reading 1").fill("9.31 µA");
  await expect(page.locator(".entry-form")).toContainText(/= 9\.31\d? µA/);
  stop();
  await page.getByRole("button", { name: "Save these readings" }).click();
  await expect(page.locator(".entry-form")).toContainText("The tool does not answer");
  await expect(page.getByLabel("sleep current at 3.80 V, reading 1")).toHaveValue("9.31 µA");
  // Another run has another token: the page is opened anew, and the draft is still there.
  await start(Number(new URL(address).port));
  await page.reload();
  await page.getByRole("button", { name: /^5\. / }).click();
  await expect(page.getByLabel("sleep current at 3.80 V, reading 1")).toHaveValue("9.31 µA");
  await page.getByRole("button", { name: "Save these readings" }).click();
  await expect(page.locator(".saved")).toContainText("Saved in sessions/");
});

test("a browser that keeps nothing is told of", async ({ page }) => {
  await page.addInitScript(() => { Storage.prototype.setItem = () => { throw new DOMException("refused", "QuotaExceededError"); }; });
  await bench(page, "BOWLINE-1");
  await page.getByRole("button", { name: /^5\. / }).click();
  await page.getByLabel("sleep current at 3.80 V, reading 1").fill("9.31 µA");
  await expect(page.locator(".entry-form")).toContainText("This browser refuses to keep anything");
});
