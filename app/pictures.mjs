// Draws the pictures kept as documentation: node pictures.mjs FILE, a published page of the demo.
import { resolve } from "node:path";
import { chromium } from "@playwright/test";

const file = resolve(process.argv[2] ?? "dist/bench.html");
const PICTURES = [
  ["table", "", 1440, 900, "light", ".status:has-text('draws, seed')"],
  ["table-dark", "", 1440, 900, "dark", ".status:has-text('draws, seed')"],
  ["compare", "#v=compare&b=BOWLINE&o=SLIPKNOT", 1100, 860, "light", "text=1000 draws of weather"],
  ["forecast", "#v=forecast&b=BOWLINE", 1200, 1350, "light", "text=1000 draws ·"],
  ["traces", "#v=traces", 1100, 860, "light", "svg.overlay path.wake"],
  ["sun", "#v=sun&b=SLIPKNOT&s=weather%20mast", 1100, 860, "light", ".sun .status:has-text('300 years, seed')"],
];
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
for (const [name, hash, width, height, colorScheme, sign] of PICTURES) {
  const page = await browser.newPage({ viewport: { width, height }, colorScheme });
  await page.goto(`file://${file}${hash}`);
  await page.waitForSelector(sign, { timeout: 120_000 });
  await page.waitForTimeout(500);
  await page.screenshot({ path: `pictures/${name}.png` });
  await page.close();
}
await browser.close();
