// WebAssembly taken apart into streams of one kind each: instructions, numbers of locals, constants and so on. Apart they pack
// a tenth smaller than mixed, because each repeats itself in its own way. `walk` follows a module byte by byte and says which
// stream each belongs to; it is the same for taking apart (pack.mjs, when the engine is built) and for joining (the worker).
// After the binary format of the WebAssembly core specification 2.0, chapter 5; only the instructions that the engine has.
import { unpackLzma } from "./lzma";

/** For each stream the bits of the byte before that its packing looks at (LZMA's `lc`). */
export const STREAMS = [4, 0, 3, 0, 1, 1, 1, 1, 1, 1, 2];
const [REST, HEAD, CODE, LOCAL, CALL, CONSTANT, LOAD, LOAD_ON, STORE, LONG, FLOAT] = [...STREAMS.keys()] as [number, number, number, number, number, number, number, number, number, number, number];
type Copy = (stream: number) => number;

/** Copies a module byte by byte, in its order, telling each byte's stream; `more` is whether there is another byte. */
export function walk(copy: Copy, more: () => boolean): void {
  const several = (stream: number, count: number) => {
    for (let i = 0; i < count; i++) copy(stream);
  };
  /** A number in LEB128; its later bytes may go elsewhere. */
  const number = (stream: number, on = stream) => {
    let byte = copy(stream);
    let value = byte & 127;
    for (let factor = 128; byte & 128; factor *= 128) value += factor * ((byte = copy(on)) & 127);
    return value;
  };
  const body = () => {
    number(HEAD);
    for (let groups = number(HEAD); groups > 0; groups--) {
      number(HEAD);
      copy(HEAD);
    }
    for (let depth = 1; depth > 0; ) {
      const code = copy(CODE);
      if (code >= 0x02 && code <= 0x04) {
        depth++;
        number(CODE);
      } else if (code === 0x0b) depth--;
      else if (code === 0x0c || code === 0x0d) number(CODE);
      else if (code === 0x0e) for (let labels = number(HEAD); labels >= 0; labels--) number(HEAD);
      else if (code === 0x10) number(CALL);
      else if (code === 0x11) {
        number(CODE);
        number(CODE);
      } else if (code >= 0x20 && code <= 0x22) number(LOCAL);
      else if (code === 0x23 || code === 0x24) number(CODE);
      else if (code >= 0x28 && code <= 0x3e) {
        number(CODE);
        if (code < 0x36) number(LOAD, LOAD_ON);
        else number(STORE);
      } else if (code === 0x3f || code === 0x40) copy(REST);
      else if (code === 0x41) number(CONSTANT);
      else if (code === 0x42) number(LONG);
      else if (code === 0x43) several(FLOAT, 4);
      else if (code === 0x44) several(FLOAT, 8);
      else if (code === 0xfc) {
        // Saturating conversions have no operand; of memory's own instructions, copy has two and fill one.
        const kind = number(CODE);
        if (kind === 10) several(CODE, 2);
        else if (kind === 11) copy(CODE);
        else if (kind > 7) throw new Error(`no stream for instruction 0xfc ${kind}`);
      } else if ((code > 0x1b && code < 0x45) || code > 0xc4 || (code > 0x04 && code < 0x0b)) {
        throw new Error(`no stream for instruction 0x${code.toString(16)}`);
      }
    }
  };
  several(REST, 8);
  while (more()) {
    const section = copy(REST);
    const length = number(REST);
    if (section === 10) for (let bodies = number(REST); bodies > 0; bodies--) body();
    else several(REST, length);
  }
}

/** Joins what pack.mjs packed: for each stream the length of its LZMA data in four bytes, and these. */
export function unpack(packed: Uint8Array): Uint8Array<ArrayBuffer> {
  const head = new DataView(packed.buffer, packed.byteOffset, packed.byteLength);
  let at = 0;
  const streams = STREAMS.map(() => {
    const end = at + 4 + head.getUint32(at, true);
    const stream = unpackLzma(packed.subarray(at + 4, end));
    at = end;
    return stream;
  });
  const module = new Uint8Array(streams.reduce((sum, stream) => sum + stream.length, 0));
  const next = streams.map((stream) => {
    let place = 0;
    return () => stream[place++] as number;
  });
  at = 0;
  walk(
    (stream) => (module[at++] = (next[stream] as () => number)()),
    () => at < module.length,
  );
  return module;
}
