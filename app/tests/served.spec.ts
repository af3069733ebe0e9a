// Traces in the app that the tool serves: every zoom comes from the samples, one question at a time.
import { execFileSync, spawn, type ChildProcess } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test, type Page, type Route } from "@playwright/test";
import type { RecordingLine, TraceRequest } from "../src/types";
import { betweenOf, LINES, reply } from "./recording";

const CARGO = ["run", "--quiet", "--package", "overwinter", "--"];
let folder = "";
let server: ChildProcess;
let address = "";

test.beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), "overwinter-"));
  execFileSync("cargo", [...CARGO, "demo", join(folder, "bench")], { cwd: "..", stdio: ["ignore", "ignore", "inherit"] });
  server = spawn("cargo", [...CARGO, "-C", join(folder, "bench"), "serve", "--port", "0"], { cwd: "..", stdio: ["ignore", "pipe", "inherit"], detached: true });
  address = await new Promise<string>((done, fail) => {
    server.stdout?.on("data", (chunk: Buffer) => {
      const found = /http:\/\/127\.0\.0\.1:\d+\S*/.exec(chunk.toString());
      if (found) done(found[0]);
    });
    server.on("exit", () => fail(new Error("the server ended")));
  });
});

test.afterAll(() => {
  // The whole group: cargo and the program it started.
  if (server.pid) process.kill(-server.pid);
  rmSync(folder, { recursive: true, force: true });
});

const at = (hash: string) => address.replace(/\/?$/, "/") + hash;
const shown = (page: Page) => page.locator(".trace-tools output");

/** Answers for the tool, from the made-up recording of 500 million samples. */
async function pretend(page: Page, lines: RecordingLine[] = LINES, slow: (request: TraceRequest) => number = () => 0): Promise<{ asked: TraceRequest[]; most: number }> {
  const seen = { asked: [] as TraceRequest[], most: 0, out: 0 };
  await page.route("**/api/trace", async (route: Route) => {
    const request = route.request().postDataJSON() as TraceRequest;
    seen.asked.push(request);
    const window = "window" in request;
    if (window) seen.most = Math.max(seen.most, ++seen.out);
    await new Promise((done) => setTimeout(done, slow(request)));
    if (window) seen.out--;
    await route.fulfill({ json: reply(request, lines) });
  });
  return seen;
}

test("two recordings of the demo: the published page says what the tool says", async ({ page }) => {
  const out = join(folder, "page.html");
  execFileSync("cargo", [...CARGO, "-C", join(folder, "bench"), "publish", out], { cwd: "..", stdio: ["ignore", "ignore", "inherit"] });
  const days = page.locator(".compare dl.between");
  const charge = page.locator(".compare tbody tr", { has: page.getByRole("rowheader", { name: "wake A: charge" }) });
  const read = async (where: string) => {
    await page.goto(where);
    await expect(days).toContainText("after outlasts before");
    return [await days.textContent(), await charge.textContent()];
  };
  const [own, told] = [await read(`file://${out}#v=traces&s=footbridges`), await read(at("#v=traces&s=footbridges"))];
  expect(own[0]).toMatch(/footbridges.*gained/);
  // The page carries three significant figures of each mean.
  expect(own[0]).toBe(told[0]);
  expect(own[1]).toBe(told[1]);
});

test("a list of phases that is cut says so; the rest is fetched in its order", async ({ page }) => {
  await pretend(page);
  await page.goto(at("#v=traces&r=build%201.4"));
  await page.locator("summary", { hasText: "Figures as a table" }).first().click();
  const list = page.getByRole("region", { name: "Phases in view" });
  await expect(list.locator("caption")).toContainText("Not all: the longest 400 phases");
  await page.getByRole("button", { name: "List them all, in their order" }).click();
  // 500 wakes in 5000 s of four phases each: an eighth of it is the first part that is listed whole, up to the sleep before wake 63.
  await expect(list.locator("caption")).toContainText("Every phase from 0 s to 00:10:25");
  await expect(list.locator("tbody tr")).toHaveCount(249);
  const starts = await list.locator("tbody td:nth-child(2)").allTextContents();
  expect(starts.slice(0, 3)).toEqual(["0 s", "5.000 s", "5.080 s"].map((s) => expect.stringContaining(s.split(".")[0] as string)));
  const next = page.getByRole("button", { name: "The next ones" });
  for (let clicks = 0; clicks < 12 && (await next.count()) > 0; clicks++) {
    const before = await list.locator("tbody tr").count();
    await next.click();
    await expect.poll(() => list.locator("tbody tr").count()).toBeGreaterThan(before);
  }
  await expect(next).toHaveCount(0);
  await expect(list.locator("caption")).toContainText("Every phase from 0 s to 01:23:20");
  await expect(list.locator("tbody tr")).toHaveCount(2000);
});

test("the demo's own recordings: drawn, zoomed to samples, overlaid, compared, judged", async ({ page }) => {
  const errors: string[] = [];
  page.on("console", (m) => { if (m.type() === "error") errors.push(m.text()); });
  await page.goto(at("#v=traces&r=BOWLINE-1%20build%201.4"));
  await expect(page.locator("table.recordings tbody tr")).toHaveCount(3);
  await expect(page.locator(".lead").first()).toContainText("asleep it draws");
  await expect(page.locator("svg.overlay path.wake").first()).toBeVisible();
  await page.getByRole("button", { name: "wake ▸" }).click();
  await expect(shown(page)).not.toHaveText(/^0 s to/);
  await page.locator(".trace-face").focus();
  for (let i = 0; i < 12; i++) await page.keyboard.press("+");
  await expect(page.locator(".trace-note")).toContainText("Every sample is drawn");
  await page.getByRole("button", { name: "Cursors", exact: true }).click();
  await expect(page.locator("dl.between").first()).toContainText("the samples");
  await expect(page.locator("dl.between").first()).not.toContainText("≈");
  await expect(page.locator(".compare .lead")).toBeVisible();
  await expect(page.locator(".compare table")).toContainText("● yes");
  await page.locator("details.deep summary").click();
  await expect(page.locator("details.deep")).toContainText("root mean square");
  await page.getByLabel("recording", { exact: true }).selectOption("SLIPKNOT-1 USB removed");
  await expect(page.locator(".verdict-word")).toBeVisible();
  await expect(page.locator("svg.rail-chart")).toContainText("reset threshold");
  expect(errors).toEqual([]);
});

test("500 million samples: down to single ones, charge between cursors from the samples", async ({ page }) => {
  const seen = await pretend(page);
  await page.goto(at("#v=traces"));
  await expect(shown(page)).toHaveText("0 s to 01:23:20 · 1.39 h");
  await page.locator(".trace-face").focus();
  for (let i = 0; i < 24; i++) await page.keyboard.press("+");
  await expect(page.locator(".trace-note")).toContainText("Every sample is drawn");
  // The view that is shown was asked for, with a column or more for each pixel.
  const last = seen.asked.filter((r) => "window" in r).at(-1);
  expect(last && "window" in last && last.window.columns).toBeGreaterThan(500);
  await page.keyboard.press("Home");
  await page.getByRole("button", { name: "wake ▸" }).click();
  await expect(shown(page)).toContainText(/· 80[67] ms|· 806\.\d ms/);
  await page.keyboard.press("Shift+Tab");
  await page.getByRole("button", { name: "Cursors", exact: true }).click();
  const value = async (name: string) => Number(await page.getByRole("slider", { name }).getAttribute("aria-valuenow"));
  const truth = betweenOf("", await value("Cursor A"), await value("Cursor B")).charge_c;
  const figures = page.locator("dl.between").first();
  await expect(figures).not.toContainText("≈");
  const said = /charge([\d.]+) mC/.exec((await figures.textContent()) ?? "")?.[1];
  expect(Math.abs(Number(said) - truth * 1e3)).toBeLessThan(2e-3 * truth * 1e3);
});

test("a zoom shows the coarse data at once and asks one question at a time, the last view wins", async ({ page }) => {
  const seen = await pretend(page, LINES, (request) => ("window" in request && request.window.from_s !== null ? 700 : 0));
  await page.goto(at("#v=traces"));
  await expect(shown(page)).toHaveText("0 s to 01:23:20 · 1.39 h");
  await expect(page.locator("svg.overlay")).toBeVisible();
  const picture = () => page.locator("canvas").evaluate((c: HTMLCanvasElement) => c.toDataURL());
  const whole = await picture();
  const before = seen.asked.filter((r) => "window" in r).length;
  await page.locator(".trace-face").focus();
  // In one go, as a wheel sends them.
  await page.locator(".trace-face").evaluate((face) => {
    for (let i = 0; i < 30; i++) face.dispatchEvent(new KeyboardEvent("keydown", { key: i < 10 ? "+" : "ArrowRight", bubbles: true }));
  });
  await expect.poll(picture, { intervals: [20] }).not.toBe(whole);
  // The picture changed although no answer to the zoom has arrived yet.
  const coarse = await picture();
  expect(await page.evaluate(() => performance.getEntriesByName("trace zoom").length)).toBeGreaterThan(0);
  await expect.poll(picture).not.toBe(coarse);
  await expect(page.locator(".trace-note")).toContainText(/A column holds \d+ samples|Every sample/);
  const windows = seen.asked.filter((r) => "window" in r).slice(before);
  expect(seen.most).toBe(1);
  expect(windows.length).toBeLessThanOrEqual(3);
  const last = windows.at(-1);
  if (!last || !("window" in last)) throw new Error("nothing was asked");
  const view = await page.evaluate(() => document.querySelector(".trace-tools output")?.textContent ?? "");
  expect(view).toContain("· 4.883 s");
  expect((last.window.to_s ?? 0) - (last.window.from_s ?? 0)).toBeLessThan(10);
});

test("no recordings: says how to make one; a fault is told; an older tool is told", async ({ page }) => {
  await pretend(page, []);
  await page.goto(at("#v=traces"));
  await expect(page.locator(".empty")).toContainText("overwinter trace keep FILE");
  await page.unroute("**/api/trace");
  await page.route("**/api/trace", (route) => route.fulfill({ json: { error: [{ code: "damaged", severity: "error", message: "the kept form is damaged", file: null, span: null, help: "keep it again" }] } }));
  await page.reload();
  await expect(page.getByRole("alert")).toContainText("the kept form is damaged");
  await expect(page.getByRole("alert")).toContainText("keep it again");
  await page.unroute("**/api/trace");
  await page.route("**/api/trace", (route) => route.fulfill({ status: 404, body: "" }));
  await page.reload();
  await expect(page.getByRole("alert")).toContainText("a newer one does");
});

test("reading a long recording can be stopped", async ({ page }) => {
  await pretend(page, LINES, (request) => ("recordings" in request ? 60_000 : 0));
  await page.goto(at("#v=traces"));
  await page.getByRole("button", { name: "Stop" }).click();
  await expect(page.getByRole("alert")).toContainText("Stopped. Reload the page to ask again.");
});

test("sun in the served app", async ({ page }) => {
  await page.goto(at("#v=sun&b=SLIPKNOT&s=weather%20mast"));
  await page.getByLabel("years", { exact: true }).selectOption("100");
  await expect(page.locator("svg.fan .band")).toBeVisible({ timeout: 120_000 });
  await expect(page.getByRole("heading", { name: "Tilt for the worst month" })).toBeVisible();
});
