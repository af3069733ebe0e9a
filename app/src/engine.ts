// One interface, two homes: the engine inside the page (a worker) or behind the server on loopback.
import EngineWorker from "./worker?worker&inline";
import type { Diagnostic, PublishedTrace, Reply, Request } from "./types";

/** What the tool wrote into the page. */
export interface Facts {
  home: "page" | "bench";
  title: string;
  version: string;
  date: string;
  licence: string;
  checksum: string;
  /** Draws of the sharpest ranking. */
  draws: number;
  /** Token for writes; only in the app that the tool serves. */
  token?: string;
}

export type Files = [path: string, text: string][];

/** Documents and the answers that were computed when the page was made. */
export interface Content {
  files: Files;
  /** Of the files; only in the app that the tool serves. */
  checksum?: string;
  prepared: { request: Request; reply: Reply }[];
  /** Overviews of the recordings; only in a published page that has some. */
  traces?: PublishedTrace[];
}

/** An answer that is an error, with what to do. */
export class Refused extends Error {
  constructor(readonly diagnostics: Diagnostic[]) {
    super(diagnostics.map((d) => d.message).join("; "));
  }
}

/** The question was given up because a newer one replaced it. */
export class Stopped extends Error {}

export function message(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}

export interface Engine {
  /** Documents, for lists and for the texts of projects. */
  readonly content: Content;
  ask(request: Request): Promise<Reply>;
  /** Gives up the long questions that are being computed. */
  stop(): void;
  /** Makes the engine ready before the first question. */
  warm(): Promise<void>;
}

/** The payload of a reply of the wanted kind; an error reply is thrown. */
export function part<K extends string>(reply: Reply, kind: K): Extract<Reply, Record<K, unknown>>[K & keyof Extract<Reply, Record<K, unknown>>] {
  if (typeof reply === "object" && reply !== null && kind in reply) return (reply as never)[kind];
  if (typeof reply === "object" && reply !== null && "error" in reply) throw new Refused(reply.error);
  throw new Error(`the engine answered something else than ${kind}`);
}

export async function unpack(base64: string): Promise<Uint8Array<ArrayBuffer>> {
  const packed = Uint8Array.from(atob(base64.trim()), (c) => c.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

function embedded(id: string): string {
  return document.getElementById(id)?.textContent ?? "";
}

export function facts(): Facts {
  const text = embedded("facts");
  if (text.startsWith("/*")) throw new Error("This is the empty template: the tool has not filled it.");
  return JSON.parse(text) as Facts;
}

class Seat {
  private readonly worker = new EngineWorker();
  private readonly waiting = new Map<number, { done: (json: string) => void; fail: (error: Error) => void }>();
  private next = 0;
  ready: Promise<unknown>;

  constructor(module: WebAssembly.Module, files: Files) {
    this.worker.onmessage = (event: MessageEvent<{ id: number; json?: string; error?: string }>) => {
      const { id, json, error } = event.data;
      const asked = this.waiting.get(id);
      this.waiting.delete(id);
      if (json !== undefined) asked?.done(json);
      else asked?.fail(new Error(error ?? "the engine stopped"));
    };
    this.worker.onerror = (event) => this.close(new Error(event.message || "the engine could not be started"));
    this.ready = this.send({ module }).then(() => this.send({ json: JSON.stringify({ open: files }) }));
    this.ready.catch(() => undefined);
  }

  send(message: { module?: WebAssembly.Module; json?: string }): Promise<string> {
    const id = this.next++;
    return new Promise((done, fail) => {
      this.waiting.set(id, { done, fail });
      this.worker.postMessage({ id, ...message });
    });
  }

  get busy(): boolean {
    return this.waiting.size > 0;
  }

  close(error: Error): void {
    this.worker.terminate();
    for (const { fail } of this.waiting.values()) fail(error);
    this.waiting.clear();
  }
}

/** Questions that draw samples or run years are long: they have a worker of their own that may be stopped at any time. */
function isLong(request: Request): boolean {
  return typeof request === "object" && ["choose", "forecast", "sun", "sun_map"].some((kind) => kind in request);
}

/** The engine in two workers: one for long questions, one for quick ones that also takes over when the first is stopped. */
export class PageEngine implements Engine {
  private module?: Promise<WebAssembly.Module>;
  private long?: Seat;
  private quick?: Seat;

  constructor(readonly content: Content) {}

  private async compiled(): Promise<WebAssembly.Module> {
    this.module ??= unpack(embedded("engine")).then((bytes) => WebAssembly.compile(bytes));
    try {
      return await this.module;
    } catch (error) {
      throw new Error(`The engine of this page could not be started (${message(error)}). What was computed when the page was made is still shown.`);
    }
  }

  /** Starts the engine before it is needed, so that the first change is answered at once. */
  async warm(): Promise<void> {
    const module = await this.compiled();
    this.long ??= new Seat(module, this.content.files);
    await this.long.ready;
    this.quick ??= new Seat(module, this.content.files);
  }

  async ask(request: Request): Promise<Reply> {
    const module = await this.compiled();
    let seat: Seat;
    if (isLong(request)) seat = this.long ??= new Seat(module, this.content.files);
    else seat = this.quick ??= new Seat(module, this.content.files);
    await seat.ready;
    const answer = JSON.parse(await seat.send({ json: JSON.stringify({ ask: request }) })) as { reply?: Reply; fault?: string };
    if (answer.reply === undefined) throw new Error(answer.fault ?? "the engine gave no reply");
    return answer.reply;
  }

  stop(): void {
    if (!this.long?.busy) return;
    this.long.close(new Stopped());
    this.long = undefined;
    if (this.quick && !this.quick.busy) {
      this.long = this.quick;
      this.quick = undefined;
    }
  }
}

/** The engine behind the server on loopback. */
export class BenchEngine implements Engine {
  /** Called when the folder on disk is no longer what this page read. */
  onChange?: () => void;
  private abort = new AbortController();

  constructor(
    readonly content: Content,
    private readonly token: string,
  ) {}

  async ask(request: Request): Promise<Reply> {
    let response: Response;
    try {
      response = await fetch("api/ask", {
        method: "POST",
        headers: { "content-type": "application/json", "x-overwinter-token": this.token },
        body: JSON.stringify(request),
        signal: isLong(request) ? this.abort.signal : undefined,
      });
    } catch (error) {
      if (this.abort.signal.aborted || (error instanceof DOMException && error.name === "AbortError")) throw new Stopped();
      throw new Error("The tool does not answer: start it again in the bench folder. Nothing you typed here is lost.");
    }
    if (!response.ok) throw new Error(await response.text());
    const now = response.headers.get("x-overwinter-checksum");
    if (now && now !== this.content.checksum) this.onChange?.();
    return (await response.json()) as Reply;
  }

  /** Saves a new document; what stood in the way comes back, `undefined` when it is written. */
  async save(path: string, text: string): Promise<{ text: string; faults: Diagnostic[] } | undefined> {
    const response = await fetch("api/save", {
      method: "POST",
      headers: { "content-type": "application/json", "x-overwinter-token": this.token },
      body: JSON.stringify({ path, text, was: null }),
    });
    if (response.status === 409) return { text: `${path} is already there and was left as it is: give the project another name.`, faults: [] };
    if (response.status === 422) return { text: "The project has a fault and was not saved.", faults: ((await response.json()) as { error: Diagnostic[] }).error };
    if (!response.ok) return { text: await response.text(), faults: [] };
    this.content.checksum = ((await response.json()) as { checksum: string }).checksum;
    return undefined;
  }

  warm(): Promise<void> {
    return Promise.resolve();
  }

  stop(): void {
    this.abort.abort();
    this.abort = new AbortController();
  }
}

export async function open(told: Facts): Promise<Engine> {
  if (told.home === "bench") {
    const response = await fetch("api/bench");
    if (!response.ok) throw new Error(await response.text());
    return new BenchEngine((await response.json()) as Content, told.token ?? "");
  }
  const content = JSON.parse(new TextDecoder().decode(await unpack(embedded("bench")))) as Content;
  return new PageEngine(content);
}
