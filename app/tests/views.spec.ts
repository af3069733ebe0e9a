// The views of traces and sun in the published page, opened from its file.
import AxeBuilder from "axe-core";
import { expect, test, type Page } from "@playwright/test";
import { altered, fitsWidth, open } from "./page";
import { lineOf, LINES, published } from "./recording";

const AXE = AxeBuilder.source;
const MAST = "&s=weather%20mast";
let file = "";
test.beforeAll(() => { file = altered("views", (content) => { content.traces = published(); }); });

/** Nothing is being run any more. */
export async function rested(page: Page): Promise<void> {
  await expect(page.locator(".sun .status")).toContainText(/^\d+ years, seed/, { timeout: 180_000 });
}

/** Few years, so that the tests end soon. */
async function sun(page: Page, hash = "", board = "SLIPKNOT") {
  const seen = await open(page, `#v=sun&b=${board}${MAST}${hash}`, file);
  await page.getByLabel("years", { exact: true }).selectOption("100");
  return seen;
}

const shown = (page: Page) => page.locator(".trace-tools output");

async function tabTo(page: Page, matches: (name: string) => boolean, most = 120): Promise<void> {
  for (let i = 0; i < most; i++) {
    await page.keyboard.press("Tab");
    const name = await page.evaluate(() => document.activeElement?.getAttribute("aria-label") ?? document.activeElement?.textContent ?? "");
    if (matches(name)) return;
  }
  throw new Error("not reached by Tab");
}

test("traces: list, drawing, wakes, defects and where they come from, without any request", async ({ page }) => {
  const seen = await open(page, "#v=traces", file);
  await expect(page.getByRole("heading", { level: 1 })).toHaveText("Traces: build 1.4");
  await expect(page.locator("table.recordings tbody tr")).toHaveCount(3);
  await expect(page.locator("svg.overlay path.wake")).toHaveCount(12);
  await expect(page.locator(".legend")).toContainText("unlike the others: 18");
  await expect(page.locator(".defects")).toContainText("gap, 2 ×, 400 ms");
  await expect(page.locator("main")).toContainText("traces/build 1.4.csv");
  await expect(page.locator("main")).toContainText("overwinter trace compare");
  // The drawing is not empty: envelope and line have their colours in it.
  const colours = await page.locator("canvas").evaluate((c: HTMLCanvasElement) => new Set(new Uint32Array(c.getContext("2d")?.getImageData(0, 0, c.width, c.height).data.buffer ?? new ArrayBuffer(0))).size);
  expect(colours).toBeGreaterThan(10);
  await page.locator(".places button").first().click();
  await expect(shown(page)).toContainText("00:18:37.5 to 00:22:31.5");
  await page.locator("table.recordings .name", { hasText: "build 1.5" }).click();
  await expect(page.getByRole("heading", { level: 1 })).toHaveText("Traces: build 1.5");
  await expect.poll(() => page.url()).toContain("r=build%201.5");
  await page.goBack();
  await expect(page.getByRole("heading", { level: 1 })).toHaveText("Traces: build 1.4");
  expect(seen.requests.filter((url) => !/^(file:|blob:|data:)/.test(url))).toEqual([]);
  expect(seen.requests.filter((url) => url.startsWith("file:")).length).toBe(1);
  expect(seen.errors).toEqual([]);
});

test("traces: keyboard only, from the drawing to the cursors", async ({ page }) => {
  const seen = await open(page, "#v=traces", file);
  await expect(page.locator("canvas")).toBeVisible();
  await tabTo(page, (name) => name.startsWith("Current of build 1.4"));
  await expect(shown(page)).toHaveText("0 s to 01:23:20 · 1.39 h");
  await page.keyboard.press("+");
  await expect(shown(page)).toContainText("00:20:50 to 01:02:30");
  await page.keyboard.press("ArrowRight");
  await expect(shown(page)).toContainText("00:25:00 to 01:06:40");
  await page.keyboard.press("-");
  await page.keyboard.press("Home");
  await expect(shown(page)).toHaveText("0 s to 01:23:20 · 1.39 h");
  // Deeper than the page holds: it says so and stops.
  for (let i = 0; i < 20; i++) await page.keyboard.press("+");
  await expect(page.locator(".trace-note")).toContainText("This page holds nothing finer than 2.5 s");
  await expect(shown(page)).toContainText("30 s");
  await page.keyboard.press("Home");
  await page.keyboard.press("Shift+Tab");
  await expect(page.getByRole("button", { name: "Cursors" })).toBeFocused();
  await page.keyboard.press("Enter");
  await tabTo(page, (name) => name === "Cursor A");
  const slider = page.getByRole("slider", { name: "Cursor A" });
  const before = Number(await slider.getAttribute("aria-valuenow"));
  await page.keyboard.press("ArrowLeft");
  await page.keyboard.press("Shift+ArrowLeft");
  expect(Number(await slider.getAttribute("aria-valuenow"))).toBeLessThan(before);
  // 500 wakes of 33.9 mC and 12 µA between them: mean 3.4 mA.
  await expect(page.locator("dl.between").first()).toContainText(/mean≈ 3\.\d+ mA/);
  expect(seen.errors).toEqual([]);
});

test("traces: wheel, drag and click", async ({ page }) => {
  await open(page, "#v=traces", file);
  const canvas = page.locator("canvas");
  await expect(canvas).toBeVisible();
  await canvas.scrollIntoViewIfNeeded();
  const box = await canvas.boundingBox();
  if (!box) throw new Error("no drawing");
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.wheel(0, -400);
  await expect(shown(page)).not.toContainText("1.39 h");
  const first = await shown(page).textContent();
  await page.mouse.down();
  await page.mouse.move(x - 120, y, { steps: 4 });
  await page.mouse.up();
  await expect(shown(page)).not.toHaveText(first ?? "");
  await expect(page.getByRole("slider")).toHaveCount(0);
  await page.mouse.click(x, y);
  await expect(page.getByRole("slider")).toHaveCount(2);
  await page.getByRole("button", { name: "Cursors off" }).click();
  await expect(page.getByRole("slider")).toHaveCount(0);
  await page.getByRole("button", { name: "Whole" }).click();
  await expect(shown(page)).toContainText("1.39 h");
});

test("traces: a capture of the rail shows threshold and verdict", async ({ page }) => {
  await open(page, "#v=traces&r=USB%20removed", file);
  await expect(page.locator(".verdict-word")).toHaveText("too close to tell");
  await expect(page.locator("svg.rail-chart")).toContainText("reset threshold 2.70 V ± 0.06 V");
  await page.locator(".behind summary").first().click();
  await expect(page.locator(".behind table")).toContainText("0.050 V");
});

test("traces: two summaries compared in the page, with chance and days of the reader's own project", async ({ page }) => {
  const better = lineOf("build 1.6");
  const activity = better.summary?.activities[0];
  if (!better.summary || !activity) throw new Error("no summary");
  const charge = activity.charge_c;
  better.summary = { ...better.summary, activities: [{ ...activity, charge_c: { ...charge, value: 0.8 * charge.value, standard_uncertainty: 0.01 * charge.value, count: 12 } }] };
  const pair = altered("pair", (content) => { content.traces = published([lineOf("build 1.5"), better]); });
  const seen = await open(page, "#v=traces", pair);
  const days = page.locator(".compare dl.between");
  await expect(days).toContainText("after outlasts before");
  await expect(days).toContainText(/> 99 %|100 %/);
  const figures = async () => (await days.textContent())?.match(/before([\d.]+) dafter([\d.]+) dgained\+([\d.]+) d ± ([\d.]+) d/)?.slice(1).map(Number) ?? [];
  const [before = NaN, after = NaN, gained = NaN, width = NaN] = await figures();
  // By hand: 2500 mAh over floor and charge, a wake every 15 min; the record's own scatter alone.
  const q = charge.value;
  const life = (share: number) => 9000 / (12e-6 + (share * q) / 900) / 86400;
  expect(before).toBeCloseTo(life(1), -1);
  expect(after).toBeCloseTo(life(0.8), -1);
  expect(Math.abs(gained - (life(0.8) - life(1)))).toBeLessThan(0.01 * gained);
  const u = Math.hypot(life(0.8) * (Math.hypot((0.01 * q) / 900, 12e-9) / (12e-6 + (0.8 * q) / 900)), life(1) * (Math.hypot((1e-3 * q) / 900, 12e-9) / (12e-6 + q / 900)));
  expect(Math.abs(width - 2 * u)).toBeLessThan(0.1 * 2 * u);
  const row = (name: string) => page.locator(".compare tbody tr", { has: page.getByRole("rowheader", { name, exact: true }) });
  await expect(row("wake A: charge")).toContainText("● yes");
  await expect(row("wake A: charge")).toContainText("< 0.01 %");
  await expect(row("sleep floor")).toContainText("○ within chance");
  await expect(row("wake A, radio: duration")).toContainText("100 %");
  // The reader reports half as often: the days are those of that project.
  await page.getByRole("button", { name: "Table", exact: true }).click();
  await page.getByLabel("every", { exact: true }).fill("30 min");
  await page.getByRole("button", { name: "Traces", exact: true }).click();
  await expect.poll(async () => ((await figures())[0] ?? 0) > 1.5 * before).toBe(true);
  expect(seen.errors).toEqual([]);
});

test("traces: a list of phases that is not whole says so and shows the rest of what it has", async ({ page }) => {
  await open(page, "#v=traces", file);
  await page.locator("summary", { hasText: "Figures as a table" }).first().click();
  const list = page.getByRole("region", { name: "Phases in view" });
  await expect(list.locator("caption")).toContainText("Not all: the longest 400 phases of the recording");
  await expect(list.locator("tbody tr")).toHaveCount(60);
  await expect(page.locator("main")).toContainText("60 of 400 shown");
  await expect(page.locator("main")).toContainText("The tool in the bench folder lists them all");
  await page.getByRole("button", { name: "Show more" }).click();
  await expect(list.locator("tbody tr")).toHaveCount(400);
});

test("traces: none in the page, and none of that name", async ({ page }) => {
  const bare = altered("bare", (content) => { content.traces = []; });
  await open(page, "#v=traces", bare);
  await expect(page.locator(".empty")).toContainText("published without recordings");
  await open(page, "#v=traces&r=nonsense", file);
  await expect(page.getByRole("alert")).toContainText("There is no recording “nonsense”");
});

test("sun: the answer in steps, with everything beside it", async ({ page }) => {
  const seen = await sun(page);
  await expect(page.locator(".lead")).toContainText("years");
  await rested(page);
  const main = page.locator("main");
  for (const heading of ["Outages", "Harvest against load", "State of charge over the year", "Into the cell and out of it, a year", "Boards beside each other", "Skyline", "Tilt for the worst month", "Not known, and what was taken"]) await expect(page.getByRole("heading", { name: heading })).toBeVisible();
  await expect(main).toContainText("Rule of thumb");
  await expect(main).toContainText("days of autonomy");
  await expect(page.locator("svg.fan .band")).toBeVisible();
  // What comes in and what goes out add up to nothing.
  await page.locator("details.behind", { hasText: "Charge into the cell and out of it in a year" }).locator("summary").click();
  await expect(main).toContainText("add up to zero");
  await page.getByRole("button", { name: "BOWLINE", exact: true }).click();
  await expect(page.getByRole("heading", { level: 1 })).toHaveText("Sun: BOWLINE");
  await rested(page);
  expect(seen.requests.filter((url) => !/^(file:|blob:|data:)/.test(url))).toEqual([]);
  expect(seen.errors).toEqual([]);
});

test("sun: running years can be stopped and taken up again", async ({ page }) => {
  await open(page, `#v=sun&b=SLIPKNOT${MAST}`, file);
  await page.getByLabel("years", { exact: true }).selectOption("1000");
  await expect(page.locator(".status")).toContainText("running 1000");
  await page.getByRole("button", { name: "Stop" }).click();
  await expect(page.locator(".status")).toContainText("Stopped at 300 years");
  await expect(page.locator("svg.fan .band")).toBeVisible();
  await page.getByRole("button", { name: "Go on" }).click();
  await expect(page.locator(".status")).toContainText("running");
});

test("sun: the map runs in pieces, stops, goes on; what cannot be told is marked", async ({ page }) => {
  await sun(page);
  await rested(page);
  await page.getByRole("button", { name: "Run the map" }).click();
  await expect(page.locator(".sun-map td.tied").first()).toContainText("?");
  await page.getByRole("button", { name: "Stop" }).click();
  const done = async () => Number(await page.locator("progress").getAttribute("value"));
  const stopped = await done();
  expect(stopped).toBeGreaterThan(0);
  expect(stopped).toBeLessThan(200);
  await page.getByRole("button", { name: "Go on" }).click();
  await expect.poll(done).toBeGreaterThan(stopped);
});

test("sun: the skyline moved by keyboard, by drag and typed recomputes the answer", async ({ page }) => {
  await sun(page);
  await rested(page);
  const share = page.locator("#main");
  const south = page.getByRole("slider", { name: "Skyline at bearing 180°" });
  await expect(south).toHaveAttribute("aria-valuetext", "bearing 180°, elevation 10°");
  const sky = async () => /sees (\d+) % of the sky/.exec((await share.textContent()) ?? "")?.[1];
  const before = Number(await sky());
  await south.focus();
  for (let i = 0; i < 6; i++) await page.keyboard.press("Shift+ArrowUp");
  await expect(south).toHaveAttribute("aria-valuetext", "bearing 180°, elevation 40°");
  await rested(page);
  await expect.poll(async () => Number(await sky())).toBeLessThan(before);
  await page.locator("summary", { hasText: "Lines for the site's document" }).click();
  await expect(page.locator(".sun pre")).toContainText('{ bearing = "180°", elevation = "40°" }');
  const box = await south.locator("circle").last().boundingBox();
  if (!box) throw new Error("no point");
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2 + 80, { steps: 4 });
  await page.mouse.up();
  await expect(south).not.toHaveAttribute("aria-valuetext", "bearing 180°, elevation 40°");
  await page.locator("summary", { hasText: "Points as a table" }).click();
  await page.getByLabel("elevation of point 1, degrees").fill("33");
  await page.keyboard.press("Tab");
  await expect(page.getByRole("slider", { name: "Skyline at bearing 0°" })).toHaveAttribute("aria-valuenow", "33");
  await page.getByRole("button", { name: "Back to the site's skyline" }).click();
  await expect(south).toHaveAttribute("aria-valuetext", "bearing 180°, elevation 10°");
  await expect.poll(async () => Number(await sky())).toBe(before);
});

test("sun: a drawn skyline is in the address with the project, and comes back from it", async ({ page }) => {
  await sun(page);
  await rested(page);
  const south = page.getByRole("slider", { name: "Skyline at bearing 180°" });
  await south.focus();
  for (let i = 0; i < 4; i++) await page.keyboard.press("Shift+ArrowUp");
  await expect(south).toHaveAttribute("aria-valuetext", "bearing 180°, elevation 30°");
  await expect(page.locator("main")).toContainText("The drawn skyline is in this page's address");
  await expect.poll(() => page.url()).toContain("180_30");
  await page.getByLabel("panel", { exact: true }).selectOption("1 W panel");
  await expect.poll(() => page.url()).toContain("l=1%20W%20panel");
  const address = page.url();
  await page.goto("about:blank");
  await page.goto(address);
  await expect(page.getByRole("slider", { name: "Skyline at bearing 180°" })).toHaveAttribute("aria-valuetext", "bearing 180°, elevation 30°");
  await expect(page.getByLabel("panel", { exact: true })).toHaveValue("1 W panel");
  await expect(page.locator(".sun")).toContainText("skyline as drawn");
  // Changed on the way: told, and the site's own is shown.
  await page.goto("about:blank");
  await page.goto(address.replace("180_30", "180_3e9"));
  await expect(page.getByRole("alert")).toContainText("skyline in this address could not be read");
  await expect(page.getByRole("slider", { name: "Skyline at bearing 180°" })).toHaveAttribute("aria-valuetext", "bearing 180°, elevation 10°");
  await page.goto("about:blank");
});

test("sun: an hourly file that the site names is not in the page, and the page says so", async ({ page }) => {
  const hourly = altered("hourly", (content) => {
    content.files = content.files.map(([path, text]) => (path === "sites/gorge.toml" ? [path, text.replace("ground_reflection", 'hourly = "weather/hut.csv"\nground_reflection')] : [path, text]));
  });
  await open(page, `#v=sun&b=SLIPKNOT${MAST}`, hourly);
  await expect(page.locator(".sun")).toContainText("This page does not contain weather/hut.csv");
  await page.getByLabel("years", { exact: true }).selectOption("100");
  await rested(page);
  await expect(page.locator(".sun .status")).toContainText("100 years");
});

test("sun: a project without a site says what to add, and one can be tried", async ({ page }) => {
  const seen = await open(page, "#v=sun&s=footbridges", file);
  await expect(page.locator(".empty")).toContainText("no site and no panel yet");
  await expect(page.locator(".empty")).toContainText('panel = "…"');
  await page.getByLabel("site", { exact: true }).selectOption("gorge");
  await page.getByLabel("panel", { exact: true }).selectOption("1 W panel");
  await page.getByLabel("years", { exact: true }).selectOption("100");
  await expect(page.locator(".lead")).toContainText(/\d+ of \d+ years|no charger|may not/);
  expect(seen.errors).toEqual([]);
});

for (const [name, hash, sign] of [["traces", "#v=traces", "Where it comes from"], ["rail", "#v=traces&r=USB%20removed", "too close to tell"], ["sun", `#v=sun&b=SLIPKNOT${MAST}`, "Harvest against load"]] as const) {
  test(`${name}: 360 pixels, dark, axe`, async ({ page }) => {
    await page.setViewportSize({ width: 360, height: 760 });
    await page.emulateMedia({ colorScheme: "dark" });
    const seen = await open(page, hash, file);
    await expect(page.locator("main")).toContainText(sign);
    if (name === "traces") await page.getByRole("button", { name: "Cursors" }).click();
    if (name === "sun") {
      await page.getByLabel("years", { exact: true }).selectOption("100");
      await rested(page);
      await page.getByRole("button", { name: "Run the map" }).click();
      await expect(page.locator(".sun-map td").first()).toBeVisible();
      await page.getByRole("button", { name: "Stop" }).click();
    }
    await fitsWidth(page);
    for (const [width, colorScheme] of [[360, "dark"], [1280, "light"], [3840, "light"]] as const) {
      await page.setViewportSize({ width, height: 760 });
      await page.emulateMedia({ colorScheme });
      await page.evaluate(AXE);
      const found = await page.evaluate(async () => {
        const result = await (window as unknown as { axe: { run(): Promise<{ violations: { id: string; impact: string; nodes: { html: string }[] }[] }> } }).axe.run();
        return result.violations.filter((v) => v.impact === "serious" || v.impact === "critical").map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 160)).join(" | ")}`);
      });
      expect(found, `${colorScheme} at ${width}`).toEqual([]);
      await fitsWidth(page);
    }
    expect(seen.errors).toEqual([]);
  });

  test(`${name} prints on A4`, async ({ page }) => {
    await open(page, hash, file);
    await expect(page.locator("main")).toContainText(sign);
    await page.emulateMedia({ media: "print" });
    await expect(page.locator("nav")).toBeHidden();
    await expect(page.locator("main")).toBeVisible();
    if (name === "traces") {
      // Dark on the screen is still dark on white on paper.
      const paper = await page.locator("canvas").evaluate((c: HTMLCanvasElement) => [...(c.getContext("2d")?.getImageData(2, 2, 1, 1).data ?? [])]);
      expect(paper).toEqual([255, 255, 255, 255]);
    }
    const pdf = (await page.pdf({ preferCSSPageSize: true })).toString("latin1");
    const box = /\/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]/.exec(pdf);
    const sides = [Number(box?.[1]), Number(box?.[2])].map(Math.round).sort((a, b) => a - b);
    expect(sides).toEqual([595, 842]);
  });
}

test("hostile names of recordings, sites and boards stay inert", async ({ page }) => {
  const nasty = `<img src=x onerror="window.hit=1"></script><script>window.hit=1</script>"'\u202e${"A".repeat(10_000)}`;
  const hostile = altered("hostile-views", (content) => {
    const line = lineOf(nasty, { note: nasty, firmware: nasty, specimen: nasty, instrument: nasty, who: nasty });
    const defect = line.summary?.defects[0];
    if (defect) defect.message = nasty;
    content.traces = published([line, ...LINES]);
    content.prepared = [];
    const toml = JSON.stringify(nasty);
    content.files = content.files.map(([path, text]) => [path, path.endsWith("sites/gorge.toml") ? text.replace(/^name = .*$/m, `name = ${toml}`) : path.endsWith("weather-mast.toml") ? text.replace(/^site = .*$/m, `site = ${toml}`).replace(/^about = .*$/m, `about = ${toml}`) : text]);
  });
  const seen = await open(page, "#v=traces", hostile);
  await expect(page.locator("canvas")).toBeVisible();
  await expect(page.locator("table.recordings tbody tr")).toHaveCount(4);
  await fitsWidth(page);
  await open(page, `#v=sun&b=SLIPKNOT${MAST}`, hostile);
  await expect(page.getByRole("heading", { name: "Outages" })).toBeVisible();
  await fitsWidth(page);
  expect(await page.evaluate(() => (window as unknown as { hit?: number }).hit)).toBeUndefined();
  expect(await page.locator("main img").count()).toBe(0);
  expect(seen.errors).toEqual([]);
});
