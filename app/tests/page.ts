// What the tests share: opening the page from its file with every connection watched, and changing what is in it.
import { execFileSync } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { resolve } from "node:path";
import { expect, type Page } from "@playwright/test";
import { unpackLzma } from "../src/lzma";

export const FILE = process.env.PAGE ?? resolve("dist/demo.html");

/** Opens the page and fails on any error it logs and on any request beyond the file itself. */
export async function open(page: Page, hash = "", file = FILE): Promise<{ errors: string[]; requests: string[] }> {
  const seen = { errors: [] as string[], requests: [] as string[] };
  page.on("console", (message) => { if (message.type() === "error") seen.errors.push(message.text()); });
  page.on("pageerror", (error) => seen.errors.push(error.message));
  page.on("request", (request) => seen.requests.push(request.url()));
  await page.context().setOffline(true);
  await page.goto(`file://${file}${hash}`);
  return seen;
}

export const row = (page: Page, board: string) => page.locator(".main-table tr.line", { has: page.locator("bdi", { hasText: new RegExp(`^${board}$`) }) });

/** The ranking has come to rest: nothing is being computed any more. */
export async function settled(page: Page): Promise<void> {
  await expect(page.locator("table[aria-busy=false]")).toHaveCount(1);
}

interface Content {
  files: [string, string][];
  prepared: unknown[];
  traces?: unknown[];
}

/** Writes a copy of the page with other documents in it. */
export function altered(name: string, change: (content: Content) => void, rewrite = (html: string) => html): string {
  const html = readFileSync(FILE, "utf8");
  const found = /(<script type="text\/plain" id="bench">)([^<]*)(<\/script>)/.exec(html);
  if (!found?.[2]) throw new Error("the page holds no documents");
  const content = JSON.parse(new TextDecoder().decode(unpackLzma(Buffer.from(found[2], "base64")))) as Content;
  change(content);
  const packed = execFileSync("xz", ["--format=lzma", "--stdout"], { input: JSON.stringify(content), maxBuffer: 1 << 28 }).toString("base64");
  const file = resolve(`dist/${name}.html`);
  writeFileSync(file, rewrite(html.slice(0, found.index)) + found[1] + packed + found[3] + html.slice(found.index + found[0].length));
  return file;
}

/** No part of the page is wider than the window. */
export async function fitsWidth(page: Page): Promise<void> {
  const [wide, window] = await page.evaluate(() => [document.documentElement.scrollWidth, innerWidth]);
  expect(wide, "the page scrolls sideways").toBeLessThanOrEqual(window ?? 0);
}
