// Packs the engine for the page: node pack.mjs MODULE.wasm OUT. Takes it apart into streams, which xz packs, in base64.
import { execFileSync } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { build } from "vite";

// What the worker joins is checked here by the same code, made from TypeScript on the way.
const built = await build({
  logLevel: "silent",
  configFile: false,
  build: { write: false, lib: { entry: "src/streams.ts", formats: ["es"] } },
});
const script = built[0].output[0].code;
const { STREAMS, unpack, walk } = await import(`data:text/javascript,${encodeURIComponent(script)}`);

const [from, to] = process.argv.slice(2);
const module = readFileSync(from);
const streams = Array.from({ length: STREAMS }, () => []);
let at = 0;
walk({
  copy: (stream) => {
    streams[stream].push(module[at]);
    return module[at++];
  },
  sized: (body) => {
    while (module[at++] > 127);
    body();
  },
  more: () => at < module.length,
});
const head = Buffer.alloc(4 * (STREAMS + 1));
[module.length, ...streams.map((stream) => stream.length)].forEach((length, i) => head.writeUInt32LE(length, 4 * i));
let lzma;
try {
  // Of the bytes before, one bit is what these streams are best packed with.
  const options = ["--format=lzma", "--lzma1=preset=9e,lc=1,lp=0,pb=0,nice=273", "--stdout"];
  lzma = execFileSync("xz", options, { input: Buffer.from(streams.flat()), maxBuffer: 1 << 28 });
} catch (error) {
  if (error.code !== "ENOENT") throw error;
  console.error("No xz, which packs the engine: install xz-utils (Debian) or xz.");
  process.exit(1);
}
const packed = Buffer.concat([head, lzma]);
if (Buffer.compare(Buffer.from(unpack(new Uint8Array(packed))), module) !== 0) throw new Error("the packed engine does not join to what it was");
writeFileSync(to, packed.toString("base64"));
console.log(`${to}: ${module.length} bytes of WebAssembly, ${packed.length} packed`);
