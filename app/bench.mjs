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
const all = { render: [], first: [], refined: [], filter: [] };
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
      if (window.seen.changed && document.querySelector(".answer")?.textContent.includes("target 300 d")) {
        window.seen.first ??= now;
        if (/\d draws, seed/.test(text)) window.seen.refined ??= now;
      }
    }).observe(document, { subtree: true, childList: true, characterData: true });
  });
  await page.goto(`file://${file}`);
  await page.waitForFunction(() => window.seen.render);
  // The engine gets ready after the first picture; a reader needs longer than this to find the field.
  await page.waitForTimeout(2500);
  await page.evaluate(() => {
    const field = [...document.querySelectorAll(".project label")].find((l) => l.textContent === "lasts at least").parentElement.querySelector("input");
    window.seen.changed = performance.now();
    field.value = "300 d";
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
  await page.waitForFunction(() => window.seen.refined, undefined, { timeout: 300_000 });
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
  all.first.push(seen.first - seen.changed);
  all.refined.push(seen.refined - seen.changed);
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
console.log(`fastest of ${runs} runs; a filter of the table takes ${least(all.filter)} ms; zoom: quietest of 3 runs, the longest of ${zoomed?.turns ?? 0} turns of the wheel, the middle one ${zoomed?.middle.toFixed(0) ?? "-"} ms, from the turn to the frame after the drawing`);
console.log(`table of ${table.boards} boards: a filter ${table.filter.toFixed(0)} ms, an order ${table.sort.toFixed(0)} ms, a step of scrolling ${table.scroll.toFixed(0)} ms; each turn at its quietest of 5 runs, the longest of them, from the event to the frame after the drawing`);
console.log(`page: first_render_ms=${least(all.render)} first_rank_ms=${least(all.first)} refined_ms=${least(all.refined)} zoom_ms=${zoomed ? zoomed.most.toFixed(0) : "-"} kb=${(bytes.length / 1000).toFixed(0)} kb_gz=${(gzipSync(bytes, { level: 9 }).length / 1000).toFixed(0)}`);
