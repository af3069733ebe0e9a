// A reader's project in the address: gzip, then base64 for addresses, behind "#p=".
function toAddress(bytes: Uint8Array): string {
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
}

async function through(bytes: Uint8Array<ArrayBuffer>, stream: CompressionStream | DecompressionStream): Promise<Uint8Array<ArrayBuffer>> {
  return new Uint8Array(await new Response(new Blob([bytes]).stream().pipeThrough(stream)).arrayBuffer());
}

/** Longest project that is put into an address or read from one, in characters. */
export const LONGEST = 20_000;

export async function encode(text: string): Promise<string> {
  return toAddress(await through(new TextEncoder().encode(text), new CompressionStream("gzip")));
}

export async function decode(address: string): Promise<string> {
  if (address.length > LONGEST) throw new Error("too long");
  const bytes = Uint8Array.from(atob(address.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
  const text = new TextDecoder("utf-8", { fatal: true }).decode(await through(bytes, new DecompressionStream("gzip")));
  if (text.length > LONGEST || !text.includes("\n")) throw new Error("not a project");
  return text;
}
