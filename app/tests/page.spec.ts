// The published page in a real browser, opened from its file.
import { readFileSync, writeFileSync } from "node:fs";
import { resolve } from "node:path";
import AxeBuilder from "axe-core";
import { expect, test } from "@playwright/test";
import { many } from "../many.mjs";
import { altered, FILE, fitsWidth, open, row, settled } from "./page";

const AXE = AxeBuilder.source;
const VIEWS: [name: string, hash: string, sign: string][] = [
  ["table", "", "footbridges"],
  ["board", "#v=board&b=CARRICK", "Where the sleep current goes"],
  ["compare", "#v=compare&b=BOWLINE&o=SLIPKNOT", "draws of weather"],
  ["forecast", "#v=forecast&b=BOWLINE", "Where the charge goes"],
  ["bench", "#v=bench", "Findings of the whole folder"],
  ["about", "#v=about", "What it does not contain"],
];

test("opens from a file, ranks at once, asks nobody", async ({ page }) => {
  const seen = await open(page);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await expect(row(page, "MARLIN")).toContainText("out");
  await expect(row(page, "MARLIN")).toContainText("remove LED");
  await expect(row(page, "GRANNY")).toContainText("undecided");
  await expect(page.locator(".main-table tr.line")).toHaveCount(11);
  expect(seen.requests.filter((url) => !/^(file:|blob:|data:)/.test(url))).toEqual([]);
  expect(seen.requests.filter((url) => url.startsWith("file:")).length).toBe(1);
  expect(seen.errors).toEqual([]);
});

test("a change of the project ranks again, is kept in the address and can be taken back", async ({ page }) => {
  const seen = await open(page);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await page.getByLabel("lasts at least").fill("3 yr");
  await expect(page.locator(".tag", { hasText: "yours" })).toBeVisible();
  await expect(row(page, "BOWLINE")).toContainText("out");
  await expect(page.locator(".answer")).toContainText("target 3 yr");
  await expect.poll(() => page.url()).toContain("p=");
  await settled(page);
  await page.reload();
  await expect(page.getByLabel("lasts at least")).toHaveValue("3 yr");
  await expect(row(page, "BOWLINE")).toContainText("out");
  await page.getByRole("button", { name: "Undo changes" }).click();
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await expect.poll(() => page.url()).not.toContain("p=");
  expect(seen.errors).toEqual([]);
});

test("refining can be stopped; the rough ranking stays", async ({ page }) => {
  // Many draws, so that there is time to stop them.
  const file = altered("long", (content) => { content.prepared = []; }, (html) => html.replace(/"draws":\d+/, '"draws":50000'));
  await open(page, "", file);
  await page.getByRole("button", { name: "Stop" }).click();
  await expect(page.locator(".status")).toContainText(/Stopped at \d+ of 50000 draws/);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await page.getByLabel("lasts at least").fill("3 yr");
  await expect(row(page, "BOWLINE")).toContainText("out");
});

test("another cell changes the lives", async ({ page }) => {
  await open(page);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await page.getByLabel("cell", { exact: true }).selectOption("400 mAh pouch");
  await expect(page.locator(".answer")).toContainText("400 mAh pouch, 400 mAh");
  await expect(row(page, "BOWLINE")).toContainText("out");
});

test("a fault in the project is told where it stands and loses nothing", async ({ page }) => {
  await open(page);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  const field = page.getByLabel("lasts at least");
  await field.fill("9 moons");
  const fault = page.locator(".project .faults");
  await expect(fault).toContainText("line");
  await expect(field).toHaveValue("9 moons");
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await field.fill("9 months");
  await expect(fault).toHaveCount(0);
});

test("a project with a panel says that the sun is not counted", async ({ page }) => {
  await open(page);
  await page.getByLabel("start from").selectOption("weather mast");
  await expect(page.locator(".answer")).toContainText("lives are those in the dark");
});

test("the project can be written as text", async ({ page }) => {
  await open(page);
  await page.getByRole("button", { name: "As text" }).click();
  const text = page.getByLabel("project as text");
  await expect(text).toHaveValue(/\[project\]/);
  await text.fill("[project]\nname = \"mine\"\ncell = \"2500 mAh pouch\"\ntemperature = { constant = \"20 °C\" }\ntarget_life = \"1 yr\"\n\n[[project.activities]]\nname = \"wake\"\nevery = \"1 h\"\ncharge = \"50 mC\"\nduration = \"1 s\"\n");
  await expect(page.locator(".answer h1")).toHaveText("mine");
  await text.fill("[project]\nname = ");
  await expect(page.locator(".project .faults")).toBeVisible();
  await expect(text).toHaveValue("[project]\nname = ");
});

test("filters have three values", async ({ page }) => {
  await open(page);
  await expect(page.locator(".main-table tr.line")).toHaveCount(11);
  await page.locator("summary", { hasText: "Filters" }).click();
  const facet = page.locator("fieldset.facet", { has: page.locator("legend", { hasText: "resets on removal" }) });
  await expect(facet.locator("label.is-unknown")).toContainText("3");
  await facet.getByLabel("yes").uncheck();
  await expect(page.locator(".main-table tr.line")).toHaveCount(9);
  await expect(row(page, "TURKSHEAD")).toHaveCount(1);
  await facet.getByLabel("unknown").uncheck();
  await expect(page.locator(".main-table tr.line")).toHaveCount(6);
  await expect(row(page, "TURKSHEAD")).toHaveCount(0);
  await page.getByRole("button", { name: "Take all filters back" }).click();
  await expect(page.locator(".main-table tr.line")).toHaveCount(11);
});

test("sort by a figure, unknown last both ways; columns are remembered", async ({ page }) => {
  await open(page);
  const names = () => page.locator(".main-table tr.line .name").allTextContents();
  await page.locator("th.c-sleep button").click();
  await expect.poll(async () => (await names())[0]).toBe("STRAND");
  expect((await names()).at(-1)).toContain("GRANNY");
  await page.locator("th.c-sleep button").click();
  await expect.poll(async () => (await names())[0]).toBe("MONKEYFIST");
  expect((await names()).at(-1)).toContain("GRANNY");
  await page.locator("summary", { hasText: "Columns" }).click();
  await page.getByLabel("row spacing").check();
  await page.reload();
  await expect(page.locator("th.c-rows")).toBeVisible();
  await expect(page.locator("th.c-sleep")).toHaveAttribute("aria-sort", "descending");
});

test("everything is reached with the keyboard", async ({ page }) => {
  await open(page);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  const until = async (matches: (name: string) => boolean, most = 120) => {
    for (let i = 0; i < most; i++) {
      await page.keyboard.press("Tab");
      const name = await page.evaluate(() => document.activeElement?.getAttribute("aria-label") ?? document.activeElement?.textContent ?? "");
      if (matches(name)) return;
    }
    throw new Error("not reached by Tab");
  };
  await until((name) => name === "Skip to the content", 1);
  await until((name) => name === "Details of REEF");
  await page.keyboard.press("Enter");
  await expect(page.locator(".detail")).toContainText("Cheapest rework");
  await until((name) => name === "Board sheet");
  await page.keyboard.press("Enter");
  await expect(page.getByRole("heading", { name: "REEF", level: 1 })).toBeVisible();
  await expect(page.locator("main")).toBeFocused();
  await page.goBack();
  await expect(row(page, "REEF")).toBeVisible();
});

test("the board sheet shows bill, socket, sweep, trials, sessions", async ({ page }) => {
  await open(page, "#v=board&b=CARRICK");
  await expect(page.locator(".socket.mirrored")).toHaveCount(2);
  await expect(page.locator(".socket.mirrored").first()).toContainText("Do not plug in");
  await expect(page.locator(".waterfall").first()).toContainText("unexplained");
  await expect(page.getByRole("heading", { name: "Sleep current over the supply" })).toBeVisible();
  await page.locator("details.session summary").first().click();
  await expect(page.locator("details.session[open]")).toContainText("under which conditions");
  await page.getByLabel("board", { exact: true }).selectOption("GRANNY");
  await expect(page.locator("main")).toContainText("dead since 2026-04-18");
  await expect(page.locator("main")).toContainText("no bill");
  await page.getByLabel("board", { exact: true }).selectOption("REEF");
  await expect(page.locator(".claim")).toContainText("a reader on REEF");
});

test("the forecast shows bands, a ledger that adds up and what the target allows", async ({ page }) => {
  await open(page, "#v=forecast&b=BOWLINE");
  await expect(page.locator("svg.chart .band")).toBeVisible();
  const shares = await page.locator(".waterfall").first().locator("li:not(.whole) .value").allTextContents();
  const sum = shares.reduce((all, text) => all + Number.parseFloat(text), 0);
  expect(Math.abs(sum - 2500)).toBeLessThan(5);
  await expect(page.locator("table.pairs tbody tr")).toHaveCount(10);
  await page.locator("#target").focus();
  await page.keyboard.press("ArrowRight");
  await expect(page.locator("output")).toHaveText("304 d");
  await expect(page.locator("main")).toContainText("allowed for 304 d");
});

test("the target line of the forecast is moved by keys and by dragging, and the answers follow", async ({ page }) => {
  await open(page, "#v=forecast&b=BOWLINE");
  const line = page.getByRole("slider", { name: "target life" });
  await expect(page.locator("main")).toContainText("allowed for 274 d");
  const before = Number(await line.getAttribute("aria-valuenow"));
  await line.focus();
  await page.keyboard.press("PageDown");
  await page.keyboard.press("ArrowRight");
  await expect(line).toHaveAttribute("aria-valuenow", String(before - 29));
  await expect(page.locator("main")).toContainText(`allowed for ${before - 29} d`);
  const knob = await line.locator(".knob").boundingBox();
  const chart = await page.locator("svg.chart").first().boundingBox();
  if (!knob || !chart) throw new Error("the line is not drawn");
  await page.mouse.move(knob.x + knob.width / 2, knob.y + 4);
  await page.mouse.down();
  await page.mouse.move(chart.x + 0.4 * chart.width, knob.y + 30, { steps: 4 });
  await page.mouse.up();
  const after = Number(await line.getAttribute("aria-valuenow"));
  expect(after).toBeLessThan(before - 60);
  await expect(page.locator("main")).toContainText(`allowed for ${after} d`);
  await expect(page).toHaveURL(/p=/);
});

test("two boards beside each other: chance, days gained with their interval, what differs; by keyboard", async ({ page }) => {
  const seen = await open(page, "#v=compare&b=BOWLINE&o=MARLIN");
  const lead = page.locator(".beside .lead");
  await expect(lead).toContainText(/BOWLINE outlasts MARLIN with (> 99|\d+|100) %, \+\d+ d in the median \(\+\d+ d … \+\d+ d in eight of ten draws\)/);
  await expect(page.locator(".beside")).toContainText("64 draws of weather");
  // The same pair stands in the forecast's matrix; drawn with all boards there, so within the scatter of 64 draws.
  const chance = async () => /with (?:[><] )?(\d+) %/.exec((await lead.textContent()) ?? "")?.[1];
  expect(Number(await chance())).toBeGreaterThan(90);
  await page.getByLabel("second board").focus();
  await page.getByLabel("second board").selectOption("SLIPKNOT");
  await expect(page.getByRole("heading", { level: 1 })).toHaveText("BOWLINE beside SLIPKNOT");
  await expect.poll(() => page.url()).toContain("b=BOWLINE&o=SLIPKNOT");
  await expect(lead).toContainText("SLIPKNOT");
  const rows = page.locator(".beside table.traits tbody tr");
  const all = await rows.count();
  await page.getByLabel("only what differs").check();
  expect(await rows.count()).toBeLessThan(all);
  const said = (await lead.textContent()) ?? "";
  await page.getByRole("button", { name: "Swap" }).click();
  await expect(page.getByRole("heading", { level: 1 })).toHaveText("SLIPKNOT beside BOWLINE");
  // The sentence says the same of both whichever comes first.
  await expect(lead).toHaveText(said);
  // A board without figures is told, and what is known of it still stands beside.
  await page.getByLabel("second board").selectOption("GRANNY");
  await expect(page.locator(".beside .faults")).toContainText("Which one lasts longer cannot be told");
  await expect(rows.first()).toBeVisible();
  // Another project is another answer.
  await page.getByLabel("second board").selectOption("MARLIN");
  const before = (await lead.textContent()) ?? "";
  await page.getByRole("button", { name: "Table", exact: true }).click();
  await page.getByLabel("every", { exact: true }).fill("5 min");
  await settled(page);
  await page.getByRole("button", { name: "Compare", exact: true }).click();
  await page.getByLabel("first board").selectOption("SLIPKNOT");
  await page.getByLabel("second board").selectOption("MARLIN");
  await expect(lead).toContainText("SLIPKNOT outlasts MARLIN");
  await expect(lead).not.toHaveText(before);
  expect(seen.errors).toEqual([]);
});

test("a thousand boards: drawn as they come near, filtered, by keyboard to the last, whole on paper", async ({ page }) => {
  const big = resolve("dist/many-test.html");
  many(FILE, big);
  const seen = await open(page, "", big);
  const table = page.locator(".main-table table");
  await expect(table).toHaveAttribute("aria-rowcount", "1003");
  const drawn = () => page.locator(".main-table tr.line").count();
  expect(await drawn()).toBeLessThan(100);
  await page.locator("summary", { hasText: "Filters" }).click();
  await expect(page.locator("summary", { hasText: "Filters" })).toContainText("1001 of 1001 boards");
  await page.locator(".facet", { hasText: "certification mark" }).getByLabel("no", { exact: false }).first().uncheck();
  await expect(page.locator("summary", { hasText: "Filters" })).not.toContainText("1001 of 1001");
  await page.getByRole("button", { name: "Take all filters back" }).click();
  await page.locator("summary", { hasText: "Filters" }).click();
  for (let i = 0; i < 30 && !(await page.getByRole("button", { name: "MONKEYFIST-90", exact: true }).isVisible()); i++) {
    await page.keyboard.press("End");
    await page.waitForTimeout(150);
  }
  await expect(page.locator("tr.line").last()).toHaveAttribute("aria-rowindex", "1003");
  expect(await drawn()).toBeLessThan(200);
  await page.keyboard.press("Home");
  await expect(row(page, "BOWLINE")).toBeVisible();
  // Every board on paper: eleven boards fill a page of A4, more or less.
  const pdf = (await page.pdf({ preferCSSPageSize: true })).toString("latin1");
  expect((pdf.match(/\/Type\s*\/Page\b/g) ?? []).length).toBeGreaterThan(40);
  expect(seen.errors).toEqual([]);
});

test("letters typed quickly: the last one is answered, by all draws", async ({ page }) => {
  await open(page);
  const field = page.getByLabel("lasts at least");
  await field.fill("");
  await field.pressSequentially("123 d", { delay: 15 });
  await expect(page.locator(".answer")).toContainText("target 123 d");
  await settled(page);
  await expect(page.locator(".answer")).toContainText("target 123 d");
  await expect(page.locator(".status")).toContainText("64 draws, seed");
});

test("the protocol and a specimen's guide are the engine's own, gates and all", async ({ page }) => {
  await open(page, "#v=bench");
  await expect(page.locator(".steps > li")).toHaveCount(12);
  await expect(page.locator(".steps")).toContainText("ohms from the shield to both contacts");
  await page.getByLabel("specimen", { exact: true }).selectOption({ label: "GRANNY-1" });
  await expect(page.locator(".dead")).toContainText("dead since");
  await page.getByLabel("specimen", { exact: true }).selectOption({ label: "BOWLINE-1" });
  await expect(page.locator(".guide-head")).toContainText("+ is the");
  // A published page takes no readings.
  await expect(page.getByRole("button", { name: "Save these readings" })).toHaveCount(0);
});

test("the bench shows what to test next and the dangers", async ({ page }) => {
  await open(page, "#v=bench");
  await expect(page.locator(".tests")).toContainText("GRANNY");
  await page.locator(".findings.danger summary").click();
  await expect(page.locator(".findings.danger")).toContainText("CARRICK");
});

for (const [name, hash, sign] of VIEWS) {
  test(`${name}: 360 pixels, dark, axe`, async ({ page }) => {
    await page.setViewportSize({ width: 360, height: 760 });
    await page.emulateMedia({ colorScheme: "dark" });
    const seen = await open(page, hash);
    await expect(page.locator("main")).toContainText(sign);
    if (name === "forecast") await expect(page.locator("svg.chart .band")).toBeVisible();
    await fitsWidth(page);
    const dark = await page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor);
    expect(dark).toBe("rgb(21, 26, 27)");
    for (const [width, colorScheme] of [[360, "dark"], [1280, "light"]] as const) {
      await page.setViewportSize({ width, height: 760 });
      await page.emulateMedia({ colorScheme });
      await page.evaluate(AXE);
      const found = await page.evaluate(async () => {
        const result = await (window as unknown as { axe: { run(): Promise<{ violations: { id: string; impact: string; nodes: { html: string }[] }[] }> } }).axe.run();
        return result.violations.filter((v) => v.impact === "serious" || v.impact === "critical").map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 160)).join(" | ")}`);
      });
      expect(found, `${colorScheme} at ${width}`).toEqual([]);
    }
    expect(seen.errors).toEqual([]);
  });

  test(`${name} prints on A4`, async ({ page }) => {
    await open(page, hash);
    await expect(page.locator("main")).toContainText(sign);
    await page.emulateMedia({ media: "print" });
    await expect(page.locator("nav")).toBeHidden();
    const pdf = (await page.pdf({ preferCSSPageSize: true })).toString("latin1");
    const box = /\/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]/.exec(pdf);
    const sides = [Number(box?.[1]), Number(box?.[2])].map(Math.round).sort((a, b) => a - b);
    expect(sides).toEqual([595, 842]);
  });
}

test("hostile names stay inert", async ({ page }) => {
  const nasty = `<img src=x onerror="window.hit=1"></script><script>window.hit=1</script>"'\u202e${"A".repeat(10_000)}`;
  const file = altered("hostile", (content) => {
    content.prepared = [];
    const toml = (text: string) => JSON.stringify(text);
    content.files = content.files.filter(([path]) => !path.startsWith("boards/") || path.endsWith("bowline.toml"));
    content.files = content.files.map(([path, text]) => (path.endsWith("bowline.toml") ? [path, text.replace(/^name = "BOWLINE"$/m, `name = ${toml(nasty)}`).replace(/^about = .*$/m, `about = ${toml(nasty)}`)] : [path, text]));
    content.files = content.files.map(([path, text]) => (path.endsWith("footbridges.toml") ? [path, text.replace(/^name = "footbridges"$/m, `name = ${toml(nasty)}`)] : [path, text]));
  });
  const seen = await open(page, "", file);
  await expect(page.locator(".main-table tr.line")).toHaveCount(1);
  await page.locator(".twist").click();
  await page.getByRole("button", { name: "Board sheet" }).click();
  await expect(page.getByRole("heading", { name: "Where the sleep current goes" })).toBeVisible();
  await fitsWidth(page);
  expect(await page.evaluate(() => (window as unknown as { hit?: number }).hit)).toBeUndefined();
  expect(await page.locator("main img").count()).toBe(0);
  expect(seen.errors).toEqual([]);
});

test("hostile names of two boards stay inert beside each other", async ({ page }) => {
  const nasty = (n: number) => `${n}<img src=x onerror="window.hit=1"></script><script>window.hit=1</script>"'\u202e${"A".repeat(10_000)}`;
  const file = altered("hostile-pair", (content) => {
    content.prepared = [];
    content.files = content.files.filter(([path]) => !path.startsWith("boards/") || /bowline|slipknot/.test(path));
    content.files = content.files.map(([path, text]) => [path, path.startsWith("boards/") ? text.replace(/^name = .*$/m, `name = ${JSON.stringify(nasty(path.length))}`).replace(/^about = .*$/m, `about = ${JSON.stringify(nasty(0))}`) : text]);
  });
  await page.setViewportSize({ width: 360, height: 760 });
  const seen = await open(page, "#v=compare", file);
  await expect(page.locator(".beside .lead")).toContainText("outlasts");
  await fitsWidth(page);
  expect(await page.evaluate(() => (window as unknown as { hit?: number }).hit)).toBeUndefined();
  expect(await page.locator("main img").count()).toBe(0);
  expect(seen.errors).toEqual([]);
});

test("without JavaScript there is a summary", async ({ browser }) => {
  const context = await browser.newContext({ javaScriptEnabled: false, offline: true });
  const page = await context.newPage();
  await open(page);
  await expect(page.locator(".published")).toContainText("footbridges");
  await expect(page.locator(".published")).toContainText("BOWLINE");
  await expect(page.locator(".published .unknown").first()).toBeVisible();
  await expect(page.locator(".noscript")).toBeVisible();
  await context.close();
});

test("without WebAssembly the prepared ranking stays and the page says why", async ({ page }) => {
  // The worker's script comes from a Blob: it is born without WebAssembly.
  await page.addInitScript(() => {
    const Whole = Blob;
    window.Blob = class extends Whole {
      constructor(parts: BlobPart[] = [], options?: BlobPropertyBag) {
        super(options?.type?.includes("javascript") ? ["delete self.WebAssembly;", ...parts] : parts, options);
      }
    };
  });
  await open(page);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await page.getByLabel("lasts at least").fill("3 yr");
  await expect(page.locator(".status")).toContainText("could not be started");
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await expect(page.getByLabel("lasts at least")).toHaveValue("3 yr");
  // What needs no engine stands in the other views, and they say what is missing.
  await page.getByRole("button", { name: "Compare", exact: true }).click();
  await expect(page.locator("main").getByRole("alert")).toContainText("could not be started");
  await expect(page.locator(".beside table.traits")).toContainText("sleep current");
});

test("an engine that was cut off on the way is told and the prepared ranking stays", async ({ page }) => {
  const file = altered("cut-engine", () => undefined, (html) => html);
  const html = readFileSync(file, "utf8").replace(/(id="engine">[^<]{4000})[^<]*</, "$1<");
  writeFileSync(file, html);
  await open(page, "", file);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await page.getByLabel("lasts at least").fill("3 yr");
  await expect(page.locator(".status")).toContainText("could not be started");
  await expect(row(page, "BOWLINE")).toContainText("fits");
});

test("a spoilt address is told and the published project shown", async ({ page }) => {
  await open(page, "#v=table&s=footbridges&p=H4sIAAAAAAAAspoilt");
  await expect(page.getByRole("alert")).toContainText("could not be read");
  await expect(row(page, "BOWLINE")).toContainText("fits");
});

test("a browser that refuses storage loses nothing else", async ({ page }) => {
  await page.addInitScript(() => {
    Object.defineProperty(window, "localStorage", { get() { throw new DOMException("refused", "SecurityError"); } });
  });
  const seen = await open(page);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  expect(seen.errors).toEqual([]);
});

test("the table is handed out as CSV and JSON", async ({ page }) => {
  await open(page);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  const [csv] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "CSV" }).click()]);
  const text = readFileSync(await csv.path(), "utf8");
  expect(text).toMatch(/^board,specimen,verdict,reason,median_d,/);
  expect(text.trim().split("\r\n")).toHaveLength(12);
  const [json] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "JSON" }).click()]);
  const both = JSON.parse(readFileSync(await json.path(), "utf8")) as { table: { rows: unknown[] }; choice: { boards: unknown[] } };
  expect(both.table.rows).toHaveLength(11);
  expect(both.choice.boards).toHaveLength(11);
});

test("the page states what it is", async ({ page }) => {
  await open(page, "#v=about");
  const main = page.locator("main");
  await expect(main).toContainText("What it does not contain");
  await expect(main).toContainText("No hourly weather");
  await expect(main).toContainText("sha256:");
  await expect(main).toContainText("demo data, free of rights");
  await expect(main).toContainText("2026-07-01");
});
