// How long the table of 1 000 boards takes to filter, to sort and to scroll, in milliseconds: the published page with its rows
// and verdicts taken 91 times under other names.
import { readFileSync, writeFileSync } from "node:fs";
import { execFileSync } from "node:child_process";

const TIMES = 91;

const xz = (input, ...options) => execFileSync("xz", ["--format=lzma", "--stdout", ...options], { input, maxBuffer: 1 << 28 });

/** The page with a thousand boards in what was computed when it was published. */
export function many(file, out) {
  const html = readFileSync(file, "utf8");
  const found = /(<script type="text\/plain" id="bench">)([^<]*)(<\/script>)/.exec(html);
  const content = JSON.parse(xz(Buffer.from(found[2], "base64"), "--decompress").toString());
  // The number stands behind the name, before a revision.
  const copies = (list) => Array.from({ length: TIMES * list.length }, (_, i) => ({ ...list[i % list.length], board: list[i % list.length].board.replace(/^\S+/, (name) => (i < list.length ? name : `${name}-${Math.floor(i / list.length)}`)) }));
  for (const { reply } of content.prepared) {
    if (reply.table) reply.table.rows = copies(reply.table.rows);
    if (reply.choice) reply.choice.boards = copies(reply.choice.boards);
  }
  const packed = xz(JSON.stringify(content)).toString("base64");
  writeFileSync(out, html.slice(0, found.index) + found[1] + packed + found[3] + html.slice(found.index + found[0].length));
}

/** Each turn at its quietest of five runs; of filters, orders and steps of scrolling the longest. */
export async function handle(browser, address) {
  const runs = [];
  for (let run = 0; run < 5; run++) {
    const page = await browser.newPage({ viewport: { width: 1280, height: 860 } });
    await page.goto(address);
    await page.waitForSelector(".main-table tr.line");
    await page.waitForTimeout(1500);
    runs.push(await page.evaluate(turns));
    await page.close();
  }
  const longest = (kind) => Math.max(...runs[0][kind].map((_, i) => Math.min(...runs.map((r) => r[kind][i] ?? Infinity))));
  const steps = runs[0].scroll.map((_, i) => Math.min(...runs.map((r) => r.scroll[i] ?? Infinity))).sort((a, b) => a - b);
  return { boards: runs[0].boards, middle: steps[steps.length >> 1], filter: longest("filter"), sort: longest("sort"), scroll: longest("scroll"), steps: runs[0].scroll.length };
}

/** Runs in the page: each figure is from the event to the frame after it was drawn. */
async function turns() {
  const frame = () => new Promise((done) => requestAnimationFrame(done));
  const timed = async (act) => {
    await frame();
    const start = performance.now();
    act();
    await frame();
    await frame();
    return performance.now() - start;
  };
  const each = async (acts) => {
    const took = [];
    for (const act of acts) took.push(await timed(act));
    return took;
  };
  const boards = Number(document.querySelector(".main-table table").getAttribute("aria-rowcount")) - 2;
  document.querySelectorAll(".chooser")[1].open = true;
  await frame();
  const boxes = [...document.querySelectorAll(".facet .state input")].slice(0, 6);
  const filter = await each(boxes.flatMap((box) => [() => box.click(), () => box.click()]));
  const sort = await each([...document.querySelectorAll(".main-table .sort")].slice(0, 5).map((head) => () => head.click()));
  // Down as a reader goes: what comes near the window is drawn.
  const scroll = await each(Array.from({ length: 60 }, () => () => scrollBy(0, 700)));
  return { boards, filter, sort, scroll };
}
