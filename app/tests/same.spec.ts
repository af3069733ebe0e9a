// The engine in the page and the native one give the same answers to the last bit: random projects from a fixed seed.
import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { expect, test } from "@playwright/test";
import { unpackLzma } from "../src/lzma";
import { unpack } from "../src/streams";
import { FILE } from "./page";

const COUNT = Number(process.env.PROJECTS ?? 60);

/** A small generator, so that the projects are the same in every run. */
function generator(seed: number): () => number {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

function project(next: () => number, n: number): string {
  const between = (low: number, high: number) => (low * (high / low) ** next()).toPrecision(4);
  const cell = ["2500 mAh pouch", "400 mAh pouch", "three alkaline AA"][Math.floor(3 * next())];
  return [
    "[project]", `name = "random ${n}"`, `cell = "${cell}"`, `temperature = { constant = "${(40 * next() - 5).toFixed(1)} °C" }`, `target_life = "${between(5, 900)} d"`,
    "[[project.activities]]", 'name = "wake"', `every = "${between(30, 90_000)} s"`, `charge = "${between(1, 400)} mC ± 10 %"`, `duration = "${between(0.1, 5)} s"`, `peak = { current = "${between(20, 400)} mA ± 3 %", duration = "3 ms" }`, "",
  ].join("\n");
}

test(`${COUNT} random projects: the same to the last bit in the page and natively`, async () => {
  const next = generator(20261125);
  const questions = Array.from({ length: COUNT }, (_, n) => ({ choose: { project: project(next, n), draws: 8, seed: n + 1 } }));
  const native = execFileSync("cargo", ["run", "--quiet", "--package", "overwinter-server", "--example", "answer_demo"], {
    cwd: "..", input: questions.map((q) => JSON.stringify(q)).join("\n"), maxBuffer: 1 << 28,
  }).toString().trim().split("\n");

  const html = readFileSync(FILE, "utf8");
  const inside = (id: string) => Buffer.from(new RegExp(`id="${id}">([^<]*)<`).exec(html)?.[1] ?? "", "base64");
  const files = (JSON.parse(new TextDecoder().decode(unpackLzma(inside("bench")))) as { files: unknown }).files;
  const module = await WebAssembly.compile(unpack(inside("engine")));
  const [own, other] = [await caller(module), await caller(module)];
  expect(own(JSON.stringify({ open: files }))).toBe('{"opened":[]}');
  let ranked = 0;
  questions.forEach((question, n) => {
    expect(own(JSON.stringify({ ask: question })), `project ${n}`).toBe(`{"reply":${native[n]}}`);
    if (native[n]?.includes('"choice"')) ranked += 1;
  });
  // Most of the random projects must really be ranked: two equal refusals would prove little.
  expect(ranked).toBeGreaterThan(0.9 * COUNT);

  // In steps and shared between two instances, as the page does it, the ranking is that of one instance at once.
  other(JSON.stringify({ open: files }));
  for (const { choose } of questions.slice(0, 4)) {
    const [project, draws, seed] = [choose.project, 300, choose.seed];
    const begin = JSON.stringify({ begin: { project, draws, seed } });
    expect(own(begin)).toBe('{"begun":{"Ok":0}}');
    other(begin);
    own(`{"take":${other(JSON.stringify({ draw: { reworks: null, from: 150, to: 300, hand_out: true } }))}}`);
    own(JSON.stringify({ draw: { reworks: null, from: 8, to: 70, hand_out: false } }));
    own('{"report":{"draws":64}}');
    expect(own('{"report":{"draws":300}}')).toBe(own(JSON.stringify({ ask: { choose: { project, draws, seed } } })));
  }
});

/** An instance of the engine as a function from call to answer, both in JSON. */
async function caller(module: WebAssembly.Module): Promise<(json: string) => string> {
  const instance = await WebAssembly.instantiate(module, {});
  const engine = instance.exports as unknown as { memory: WebAssembly.Memory; alloc(n: number): number; dealloc(at: number, n: number): void; call(at: number, n: number): bigint };
  return (json) => {
    const bytes = new TextEncoder().encode(json);
    const at = engine.alloc(bytes.length);
    new Uint8Array(engine.memory.buffer, at, bytes.length).set(bytes);
    const packed = engine.call(at, bytes.length);
    const [start, length] = [Number(packed >> 32n), Number(packed & 0xffffffffn)];
    const text = new TextDecoder().decode(new Uint8Array(engine.memory.buffer, start, length));
    engine.dealloc(start, length);
    return text;
  };
}
