// Measures the published page in a real Chromium: node bench.mjs FILE. The last line is for machines.
import { readFileSync } from "node:fs";
import { gzipSync } from "node:zlib";
import { resolve } from "node:path";
import { chromium } from "@playwright/test";
import { handle, many } from "./many.mjs";
import { zoom } from "./zoom.mjs";

const file = resolve(process.argv[2] ?? "dist/demo.html");
const runs = 5;
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
const all = { render: [], first: [], refined: [], wanted: [], filter: [] };
/** Types into a field of the project and waits for the refined answer that shows it. */
async function change(page, label, value, shown) {
  await page.evaluate(([label, value, shown]) => {
    const field = [...document.querySelectorAll(".project label")].find((l) => l.textContent === label).parentElement.querySelector("input");
    window.seen = { ...window.seen, wanted: shown, changed: performance.now(), first: undefined, refined: undefined };
    field.value = value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }, [label, value, shown]);
  await page.waitForFunction(() => window.seen.refined, undefined, { timeout: 300_000 });
  const seen = await page.evaluate(() => window.seen);
  return { first: seen.first - seen.changed, refined: seen.refined - seen.changed };
}
for (let run = 0; run < runs; run++) {
  const context = await browser.newContext({ offline: true, viewport: { width: 1280, height: 860 } });
  const page = await context.newPage();
  // Watches from inside the page, so that no driver's delay is counted.
  await page.addInitScript(() => {
    window.seen = {};
    new MutationObserver(() => {
      const now = performance.now();
      const text = document.querySelector(".status")?.textContent ?? "";
      if (!window.seen.render && document.querySelectorAll(".main-table tr.line").length > 0 && text.includes("draws, seed")) window.seen.render = now;
      if (window.seen.changed && document.querySelector(".answer")?.textContent.includes(window.seen.wanted)) {
        window.seen.first ??= now;
        if (/\d draws, seed/.test(text)) window.seen.refined ??= now;
      }
    }).observe(document, { subtree: true, childList: true, characterData: true });
  });
  await page.goto(`file://${file}`);
  await page.waitForFunction(() => window.seen.render);
  // The engine gets ready after the first picture; a reader needs longer than this to find the field.
  await page.waitForTimeout(2500);
  // The load: every life is drawn anew. Then the target: the lives are the same.
  const load = await change(page, "charge each time", "200 mC ± 10 %", "200 mC");
  const target = await change(page, "lasts at least", "300 d", "target 300 d");
  const filter = await page.evaluate(async () => {
    document.querySelectorAll(".chooser")[1].open = true;
    await new Promise((done) => requestAnimationFrame(done));
    const box = document.querySelector(".facet .state input");
    const start = performance.now();
    box.click();
    await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
    return performance.now() - start;
  });
  const seen = await page.evaluate(() => window.seen);
  all.render.push(seen.render);
  all.first.push(load.first);
  all.refined.push(load.refined);
  all.wanted.push(target.refined);
  all.filter.push(filter);
  await context.close();
}
const zoomed = await zoom(browser, `file://${file}`);
const big = resolve("dist/many.html");
many(file, big);
const table = await handle(browser, `file://${big}`);
await browser.close();
const least = (values) => Math.min(...values).toFixed(0);
const bytes = readFileSync(file);
console.log(`fastest of ${runs} runs, a change of the load; a change of the target alone is refined in ${least(all.wanted)} ms, a filter of the table takes ${least(all.filter)} ms; zoom: quietest of 3 runs, the longest of ${zoomed?.turns ?? 0} turns of the wheel, the middle one ${zoomed?.middle.toFixed(0) ?? "-"} ms, from the turn to the frame after the drawing`);
console.log(`table of ${table.boards} boards: a filter ${table.filter.toFixed(0)} ms, an order ${table.sort.toFixed(0)} ms, a step of scrolling ${table.middle.toFixed(0)} ms, the longest ${table.scroll.toFixed(0)}; each turn at its quietest of 5 runs, the longest of filters and orders, from the event to the frame after the drawing`);
console.log(`page: first_render_ms=${least(all.render)} first_rank_ms=${least(all.first)} refined_ms=${least(all.refined)} zoom_ms=${zoomed ? zoomed.most.toFixed(0) : "-"} kb=${(bytes.length / 1000).toFixed(0)} kb_gz=${(gzipSync(bytes, { level: 9 }).length / 1000).toFixed(0)}`);
