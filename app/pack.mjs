// Packs the engine for the page: node pack.mjs MODULE.wasm OUT. Takes it apart into streams, each packed by xz, all in base64.
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
const streams = STREAMS.map(() => []);
let at = 0;
walk(
  (stream) => {
    streams[stream].push(module[at]);
    return module[at++];
  },
  () => at < module.length,
);
const xz = (bytes, bits) => {
  try {
    return execFileSync("xz", ["--format=lzma", `--lzma1=preset=9e,lc=${bits},lp=0,pb=0,nice=273`, "--stdout"], { input: bytes, maxBuffer: 1 << 28 });
  } catch (error) {
    if (error.code !== "ENOENT") throw error;
    throw new Error("No xz, which packs the engine: install xz-utils (Debian) or xz.");
  }
};
const parts = streams.flatMap((stream, i) => {
  const packed = xz(Buffer.from(stream), STREAMS[i]);
  if (process.env.V) console.log(i, stream.length, packed.length);
  const length = Buffer.alloc(4);
  length.writeUInt32LE(packed.length);
  return [length, packed];
});
const packed = Buffer.concat(parts);
if (Buffer.compare(Buffer.from(unpack(new Uint8Array(packed))), module) !== 0) throw new Error("the packed engine does not join to what it was");
writeFileSync(to, packed.toString("base64"));
console.log(`${to}: ${module.length} bytes of WebAssembly, ${packed.length} packed`);
