// Unpacks LZMA ("alone" format, written by `xz --format=lzma`): a quarter smaller than gzip for WebAssembly, and browsers
// only have gzip built in. After the description in I. Pavlov's LZMA specification (public domain, 2015).

/** Adaptive probabilities are 11 bits wide and start at one half. */
const HALF = 1024;

class RangeDecoder {
  private range = 0xffffffff;
  private code = 0;

  constructor(
    private readonly bytes: Uint8Array,
    private at: number,
  ) {
    if (this.next() !== 0) throw new Error("spoilt LZMA data");
    for (let i = 0; i < 4; i++) this.code = ((this.code << 8) | this.next()) >>> 0;
  }

  private next(): number {
    const byte = this.bytes[this.at++];
    if (byte === undefined) throw new Error("LZMA data was cut off");
    return byte;
  }

  bit(probabilities: Uint16Array, index: number): number {
    const p = probabilities[index] as number;
    const bound = (this.range >>> 11) * p;
    let bit: number;
    if (this.code < bound) {
      this.range = bound;
      probabilities[index] = p + ((2048 - p) >>> 5);
      bit = 0;
    } else {
      this.code -= bound;
      this.range -= bound;
      probabilities[index] = p - (p >>> 5);
      bit = 1;
    }
    if (this.range < 0x1000000) {
      this.range = (this.range << 8) >>> 0;
      this.code = ((this.code << 8) | this.next()) >>> 0;
    }
    return bit;
  }

  direct(count: number): number {
    let value = 0;
    for (let i = 0; i < count; i++) {
      this.range >>>= 1;
      const one = this.code >= this.range;
      if (one) this.code -= this.range;
      value = value * 2 + (one ? 1 : 0);
      if (this.range < 0x1000000) {
        this.range = (this.range << 8) >>> 0;
        this.code = ((this.code << 8) | this.next()) >>> 0;
      }
    }
    return value;
  }

  /** Bits from the highest down, in a tree of probabilities that begins at `from`. */
  tree(probabilities: Uint16Array, from: number, bits: number): number {
    let node = 1;
    for (let i = 0; i < bits; i++) node = (node << 1) | this.bit(probabilities, from + node);
    return node - (1 << bits);
  }

  /** Bits from the lowest up. */
  reverse(probabilities: Uint16Array, from: number, bits: number): number {
    let [node, value] = [1, 0];
    for (let i = 0; i < bits; i++) {
      const bit = this.bit(probabilities, from + node);
      node = (node << 1) | bit;
      value |= bit << i;
    }
    return value;
  }
}

function halves(count: number): Uint16Array {
  return new Uint16Array(count).fill(HALF);
}

/** Lengths of 2 and more: short, middle and long ones, the first two by position. */
class Lengths {
  private readonly choice = halves(2);
  private readonly short = halves(16 << 3);
  private readonly middle = halves(16 << 3);
  private readonly long = halves(256);

  read(from: RangeDecoder, position: number): number {
    if (from.bit(this.choice, 0) === 0) return from.tree(this.short, position << 3, 3);
    if (from.bit(this.choice, 1) === 0) return 8 + from.tree(this.middle, position << 3, 3);
    return 16 + from.tree(this.long, 0, 8);
  }
}

export function unpackLzma(packed: Uint8Array): Uint8Array<ArrayBuffer> {
  const head = new DataView(packed.buffer, packed.byteOffset, packed.byteLength);
  const properties = head.getUint8(0);
  const [lc, lp, pb] = [properties % 9, Math.floor(properties / 9) % 5, Math.floor(properties / 45)];
  const told = head.getUint32(5, true);
  // The size may be left open; the data then end with a mark.
  const open = told === 0xffffffff && head.getUint32(9, true) === 0xffffffff;
  let out = new Uint8Array(open ? 4 * packed.length : told);
  let at = 0;
  const from = new RangeDecoder(packed, 13);

  const literals = halves(0x300 << (lc + lp));
  const isMatch = halves(12 << 4);
  const isRepeat = halves(12);
  const isRepeat0 = halves(12);
  const isRepeat0Long = halves(12 << 4);
  const isRepeat1 = halves(12);
  const isRepeat2 = halves(12);
  const slots = halves(4 << 6);
  const near = halves(128);
  const align = halves(16);
  const lengths = new Lengths();
  const repeatLengths = new Lengths();

  let [state, d0, d1, d2, d3] = [0, 0, 0, 0, 0];
  for (;;) {
    if (!open && at >= told) break;
    const position = at & ((1 << pb) - 1);
    if (at + 300 > out.length && open) {
      const larger = new Uint8Array(2 * out.length + 300);
      larger.set(out);
      out = larger;
    }
    if (from.bit(isMatch, (state << 4) + position) === 0) {
      const before = at > 0 ? (out[at - 1] as number) : 0;
      const base = 0x300 * (((at & ((1 << lp) - 1)) << lc) + (before >> (8 - lc)));
      let symbol = 1;
      if (state >= 7) {
        let match = out[at - d0 - 1] as number;
        while (symbol < 0x100) {
          const bit = (match >> 7) & 1;
          match <<= 1;
          const read = from.bit(literals, base + ((1 + bit) << 8) + symbol);
          symbol = (symbol << 1) | read;
          if (bit !== read) break;
        }
      }
      while (symbol < 0x100) symbol = (symbol << 1) | from.bit(literals, base + symbol);
      out[at++] = symbol & 0xff;
      state = state < 4 ? 0 : state < 10 ? state - 3 : state - 6;
      continue;
    }
    let length: number;
    if (from.bit(isRepeat, state) !== 0) {
      if (from.bit(isRepeat0, state) === 0) {
        if (from.bit(isRepeat0Long, (state << 4) + position) === 0) {
          state = state < 7 ? 9 : 11;
          out[at] = out[at - d0 - 1] as number;
          at++;
          continue;
        }
      } else {
        let distance: number;
        if (from.bit(isRepeat1, state) === 0) distance = d1;
        else {
          if (from.bit(isRepeat2, state) === 0) distance = d2;
          else {
            distance = d3;
            d3 = d2;
          }
          d2 = d1;
        }
        d1 = d0;
        d0 = distance;
      }
      length = repeatLengths.read(from, position);
      state = state < 7 ? 8 : 11;
    } else {
      [d3, d2, d1] = [d2, d1, d0];
      length = lengths.read(from, position);
      state = state < 7 ? 7 : 10;
      const slot = from.tree(slots, Math.min(length, 3) << 6, 6);
      if (slot < 4) d0 = slot;
      else {
        const bits = (slot >> 1) - 1;
        d0 = ((2 | (slot & 1)) << bits) >>> 0;
        if (slot < 14) d0 += from.reverse(near, d0 - slot, bits);
        else {
          d0 = (d0 + from.direct(bits - 4) * 16) >>> 0;
          d0 = (d0 + from.reverse(align, 0, 4)) >>> 0;
          if (d0 === 0xffffffff) break;
        }
      }
    }
    if (d0 >= at) throw new Error("spoilt LZMA data");
    for (let left = length + 2; left > 0; left--) {
      out[at] = out[at - d0 - 1] as number;
      at++;
    }
  }
  return out.slice(0, at);
}
