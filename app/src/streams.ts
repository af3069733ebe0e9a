// WebAssembly taken apart into streams of one kind each: instructions, numbers of locals, constants and so on. Apart they pack
// a tenth smaller than mixed, because each repeats itself in its own way. `walk` follows a module byte by byte and says which
// stream each belongs to; it is the same for taking apart (pack.mjs, when the engine is built) and for joining (the worker).
// After the binary format of the WebAssembly core specification 2.0, chapter 5; only the instructions that the engine has.
import { unpackLzma } from "./lzma";

/** How many streams there are. */
export const STREAMS = 13;
const [REST, HEAD, CODE, BRANCH, GET, SET, CALL, CONSTANT, LOAD, STORE, FAR, LONG, FLOAT] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12];

/** One side of the way: where the bytes come from and where they go. */
export interface Side {
  /** Copies the next byte, which belongs to this stream. */
  copy(stream: number): number;
  /** Follows the body of a function, before which stands its length: taken away with the streams, found again by joining. */
  sized(body: () => void): void;
  /** Whether there is another byte. */
  more(): boolean;
}

/** Follows a module in its order. */
export function walk({ copy, sized, more }: Side): void {
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
      else if (code === 0x0c || code === 0x0d) number(BRANCH);
      else if (code === 0x0e) for (let labels = number(BRANCH); labels >= 0; labels--) number(BRANCH);
      else if (code === 0x10) number(CALL);
      else if (code === 0x11) {
        number(CODE);
        number(CODE);
      } else if (code === 0x20) number(GET);
      else if (code === 0x21 || code === 0x22) number(SET);
      else if (code === 0x23 || code === 0x24) number(CODE);
      else if (code >= 0x28 && code <= 0x3e) {
        number(CODE);
        if (code < 0x36) number(LOAD, FAR);
        else number(STORE, FAR);
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
    if (section === 10) for (let bodies = number(REST); bodies > 0; bodies--) sized(body);
    else several(REST, length);
  }
}

/** Joins what pack.mjs packed: the module's length, that of each stream, and all streams one after the other in LZMA. */
export function unpack(packed: Uint8Array): Uint8Array<ArrayBuffer> {
  const head = new DataView(packed.buffer, packed.byteOffset, 4 * (STREAMS + 1));
  const apart = unpackLzma(packed.subarray(head.byteLength));
  const module = new Uint8Array(head.getUint32(0, true));
  const places = new Uint32Array(STREAMS);
  for (let i = 1; i < STREAMS; i++) places[i] = (places[i - 1] as number) + head.getUint32(4 * i, true);
  let at = 0;
  walk({
    copy: (stream) => (module[at++] = apart[places[stream]!++]!),
    sized: (body) => {
      const from = at;
      body();
      let left = at - from;
      const length: number[] = [];
      for (; left > 127; left >>>= 7) length.push((left & 127) | 128);
      length.push(left);
      module.copyWithin(from + length.length, from, at);
      module.set(length, from);
      at += length.length;
    },
    more: () => at < module.length,
  });
  return module;
}
