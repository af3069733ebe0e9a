// The engine in a worker: bytes of WebAssembly in, then calls in JSON, answered in order.
interface Exports {
  memory: WebAssembly.Memory;
  alloc(length: number): number;
  dealloc(at: number, length: number): void;
  call(at: number, length: number): bigint;
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

self.onmessage = (event: MessageEvent<{ id: number; module?: WebAssembly.Module; json?: string }>) => {
  const { id, module, json } = event.data;
  if (module) {
    engine = WebAssembly.instantiate(module, {}).then((instance) => instance.exports as unknown as Exports);
  }
  (engine ?? Promise.reject(new Error("the engine was not loaded")))
    .then((exports) => self.postMessage({ id, json: json === undefined ? "null" : call(exports, json) }))
    .catch((error: unknown) => self.postMessage({ id, error: String(error) }));
};
