// The engine in a worker: unpacked and compiled here, then calls in JSON, answered in order.
import { unpack } from "./streams";

interface Exports {
  memory: WebAssembly.Memory;
  alloc(length: number): number;
  dealloc(at: number, length: number): void;
  call(at: number, length: number): bigint;
}

/** What the page sends: the engine, packed or compiled, or a call. */
export interface Message {
  id: number;
  packed?: Uint8Array;
  module?: WebAssembly.Module;
  json?: string;
}

export interface Answered {
  id: number;
  module?: WebAssembly.Module;
  json?: string;
  error?: string;
}

let engine: Promise<Exports> | undefined;

function call(exports: Exports, json: string): string {
  const bytes = new TextEncoder().encode(json);
  const at = exports.alloc(bytes.length);
  new Uint8Array(exports.memory.buffer, at, bytes.length).set(bytes);
  const packed = exports.call(at, bytes.length);
  const [start, length] = [Number(packed >> 32n), Number(packed & 0xffffffffn)];
  const text = new TextDecoder().decode(new Uint8Array(exports.memory.buffer, start, length));
  exports.dealloc(start, length);
  return text;
}

function started(module: WebAssembly.Module): Promise<Exports> {
  return WebAssembly.instantiate(module, {}).then((instance) => instance.exports as unknown as Exports);
}

async function answer({ id, packed, module, json }: Message): Promise<Answered> {
  if (packed) {
    const compiled = WebAssembly.compile(unpack(packed));
    engine = compiled.then(started);
    await engine;
    return { id, module: await compiled };
  }
  if (module) engine = started(module);
  const exports = await (engine ?? Promise.reject(new Error("the engine was not loaded")));
  return { id, json: json === undefined ? "null" : call(exports, json) };
}

self.onmessage = (event: MessageEvent<Message>) => {
  answer(event.data).then(
    (answered) => self.postMessage(answered),
    (error: unknown) => self.postMessage({ id: event.data.id, error: String(error) } satisfies Answered),
  );
};
