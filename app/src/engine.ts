// One interface, two homes: the engine inside the page (a worker) or behind the server on loopback.
import { unpackLzma } from "./lzma";
import EngineWorker from "./worker?worker&inline";
import type { ChoiceReport, Diagnostic, PublishedTrace, Reply, Request } from "./types";
import type { Outcome } from "./edit";
import type { Answered, Message } from "./worker";

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
  /** The choice for a project, shown from few draws first and then sharper; a newer one ends it with `Stopped`. */
  choose(project: string, draws: number, seed: number, show: (choice: ChoiceReport) => void): Promise<void>;
  /** Gives up the choice that is being computed. */
  stop(): void;
  /** Makes the engine ready before the first question. */
  warm(project: string): Promise<void>;
}

/** The payload of a reply of the wanted kind; an error reply is thrown. */
export function part<K extends string>(reply: Reply, kind: K): Extract<Reply, Record<K, unknown>>[K & keyof Extract<Reply, Record<K, unknown>>] {
  if (typeof reply === "object" && reply !== null && kind in reply) return (reply as never)[kind];
  if (typeof reply === "object" && reply !== null && "error" in reply) throw new Refused(reply.error);
  throw new Error(`the engine answered something else than ${kind}`);
}

function bytes(base64: string): Uint8Array<ArrayBuffer> {
  return Uint8Array.from(atob(base64.trim()), (c) => c.charCodeAt(0));
}

function embedded(id: string): string {
  return document.getElementById(id)?.textContent ?? "";
}

export function facts(): Facts {
  const text = embedded("facts");
  if (text.startsWith("/*")) throw new Error("This is the empty template: the tool has not filled it.");
  return JSON.parse(text) as Facts;
}

/** A worker with the engine and the documents in it; calls are answered in their order. */
class Seat {
  private readonly worker = new EngineWorker();
  private readonly waiting = new Map<number, { done: (answered: Answered) => void; fail: (error: Error) => void }>();
  private next = 0;
  private since = 0;
  /** It has read the documents: from now on no call should take long. */
  opened = false;
  /** Milliseconds that a draw of the boards and of the reworks took lately. */
  readonly pace = { boards: 2, reworks: 2 };

  constructor() {
    this.worker.onmessage = (event: MessageEvent<Answered>) => {
      const asked = this.waiting.get(event.data.id);
      this.waiting.delete(event.data.id);
      this.since = performance.now();
      if (event.data.error === undefined) asked?.done(event.data);
      else asked?.fail(new Error(event.data.error));
    };
    this.worker.onerror = (event) => this.close(new Error(event.message || "the engine could not be started"));
  }

  private send(message: Omit<Message, "id">): Promise<Answered> {
    const id = this.next++;
    if (this.waiting.size === 0) this.since = performance.now();
    return new Promise((done, fail) => {
      this.waiting.set(id, { done, fail });
      this.worker.postMessage({ id, ...message });
    });
  }

  /** Loads the engine; what was packed comes back compiled, for the next seat. */
  async load(engine: { packed: Uint8Array } | { module: WebAssembly.Module }): Promise<WebAssembly.Module> {
    const { module } = await this.send(engine);
    if (module) return module;
    if ("module" in engine) return engine.module;
    throw new Error("the engine did not load");
  }

  /** The answer as it came, to be read or handed on. */
  async raw(call: string): Promise<string> {
    return (await this.send({ json: call })).json ?? "null";
  }

  async call<T>(call: unknown): Promise<T> {
    const answer = JSON.parse(await this.raw(JSON.stringify(call))) as T & { fault?: string };
    if (answer.fault !== undefined) throw new Error(answer.fault);
    return answer;
  }

  /** Takes draws and learns how long one takes. */
  async draw(task: Task, handOut: boolean): Promise<string> {
    const start = performance.now();
    const answer = await this.raw(JSON.stringify({ draw: { reworks: task.reworks, from: task.from, to: task.to, hand_out: handOut } }));
    const kind = task.reworks ? "reworks" : "boards";
    this.pace[kind] = 0.5 * (this.pace[kind] + (performance.now() - start) / Math.max(task.to - task.from, 1));
    return answer;
  }

  /** Whether it has been at one call for longer than a step should take. */
  get stuck(): boolean {
    return this.opened && this.waiting.size > 0 && performance.now() - this.since > 250;
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

/** A stretch of draws: of the boards, or of the reworks of those named. */
interface Task {
  reworks: string[] | null;
  from: number;
  to: number;
}

/** A step of a refinement in the worker, ms: short, so that a newer question is heard. */
const STEP_MS = 20;
/** Two workers at boards and reworks take about as long as one at the boards: less than this is waited for, ms. */
const SOON_MS = 600;
/** Reworks are drawn less often than boards; the engine knows the same number. */
const REWORK_DRAWS = 512;

/**
 * The engine in two workers. A ranking is shown from few draws first; both then take the draws that are missing, in short
 * steps, and the first one reports. The second also answers what takes long.
 */
export class PageEngine implements Engine {
  private module?: WebAssembly.Module;
  private opened: [Promise<Seat> | undefined, Promise<Seat> | undefined] = [undefined, undefined];
  private seats: [Seat | undefined, Seat | undefined] = [undefined, undefined];
  private turn = 0;

  constructor(readonly content: Content) {}

  /** The seat, made ready where it is not. */
  private seat(index: 0 | 1): Promise<Seat> {
    return (this.opened[index] ??= this.make(index));
  }

  private async make(index: 0 | 1): Promise<Seat> {
    // The first unpacks and compiles; the second takes over what it made.
    if (index === 1 && !this.module) await this.seat(0);
    const seat = new Seat();
    this.seats[index] = seat;
    try {
      this.module = await seat.load(this.module ? { module: this.module } : { packed: bytes(embedded("engine")) });
      await seat.call({ open: this.content.files });
      seat.opened = true;
      return seat;
    } catch (error) {
      if (error instanceof Stopped) throw error;
      throw new Error(`The engine of this page could not be started (${message(error)}). What was computed when the page was made is still shown.`);
    }
  }

  private leave(index: 0 | 1): void {
    this.seats[index]?.close(new Stopped());
    this.seats[index] = undefined;
    this.opened[index] = undefined;
  }

  /** Starts both workers before they are needed, and lets them practise: a browser makes code fast that has run. */
  async warm(project: string): Promise<void> {
    const own = this.turn;
    const practise = async (seat: Seat, handOut: boolean) => {
      if (own !== this.turn) return;
      for (let n = 0; n < 8 && own === this.turn; n++) {
        await seat.call({ begin: { project, draws: 1000, seed: n } });
        await seat.call({ glance: { draws: 8 } });
      }
      for (let from = 0; from < 96 && own === this.turn; from += 16) await seat.draw({ reworks: null, from, to: from + 16 }, handOut);
      for (let n = 0; n < 3 && own === this.turn; n++) await seat.call({ report: { draws: 8 } });
    };
    const first = await this.seat(0);
    const second = await this.seat(1);
    await Promise.all([practise(first, false), practise(second, true)]);
  }

  async ask(request: Request): Promise<Reply> {
    const first = await this.seat(0);
    // What draws samples in one go must not hold up a ranking.
    const second = isLong(request) || first.busy ? await this.seat(1) : first;
    return replied(await second.call({ ask: request }));
  }

  async choose(project: string, draws: number, seed: number, show: (choice: ChoiceReport) => void): Promise<void> {
    const own = ++this.turn;
    const fresh = () => {
      if (own !== this.turn) throw new Stopped();
    };
    this.unstick();
    const first = await this.seat(0);
    fresh();
    const shown = async (reply: Promise<unknown>) => {
      const choice = part(replied(await reply), "choice");
      fresh();
      show(choice);
      return choice;
    };
    // Each report costs drawing time, too: few of them.
    const steps = [8, 128, draws].filter((n, i) => i === 2 || n < draws);
    if (steps.length === 1) {
      await shown(first.call({ ask: { choose: { project, draws, seed } } }));
      return;
    }
    const begin = { begin: { project, draws, seed } };
    // The second helps if it is there and free; it is never waited for.
    let helper = this.seats[1]?.opened && !this.seats[1].busy ? this.seats[1] : undefined;
    const helped = helper?.call(begin);
    helped?.catch(() => { helper = undefined; });
    const { begun } = (await first.call(begin)) as { begun: { Ok: number } | { Err: Diagnostic[] } };
    if ("Err" in begun) throw new Refused(begun.Err);
    // Where only what is wanted has changed, all draws of the boards are still there.
    const known = begun.Ok;
    let choice = await shown(first.call(known < draws ? { glance: { draws: steps[0] } } : { report: { draws: steps[1] } }));
    await helped?.catch(() => undefined);
    fresh();
    for (let i = 0; i < steps.length; i++) {
      const [from, to] = [i === 0 ? 0 : (steps[i - 1] as number), steps[i] as number];
      const failing = choice.boards.filter((b) => b.verdict === "does_not").map((b) => b.board);
      const left: Task[] = to > known ? [{ reworks: null, from, to }] : [];
      if (failing.length > 0 && from < REWORK_DRAWS) left.push({ reworks: failing, from, to: Math.min(to, REWORK_DRAWS) });
      const takes: Promise<unknown>[] = [];
      const pull = async (seat: Seat, handOut: boolean) => {
        for (let task = cut(left, seat, handOut); task; task = cut(left, seat, handOut)) {
          fresh();
          const drawn = await seat.draw(task, handOut);
          if (handOut && drawn.startsWith('{"drawn"')) takes.push(first.raw(`{"take":${drawn}}`));
        }
      };
      await Promise.all([pull(first, false), helper ? pull(helper, true) : undefined]);
      await Promise.all(takes);
      fresh();
      if (i === 0) continue;
      const report = first.call({ report: { draws: to } });
      // A table that is sharper in a moment need not be drawn in between; only which boards fail is taken from it.
      const soon = to < draws && (draws - to) * first.pace.boards < SOON_MS;
      choice = soon ? part(replied(await report), "choice") : await shown(report);
      fresh();
    }
  }

  stop(): void {
    this.turn++;
    this.unstick();
  }

  /** Ends a worker that is at one call for long, so that the next question is heard; the other takes its place. */
  private unstick(): void {
    if (this.seats[1]?.stuck) this.leave(1);
    if (this.seats[0]?.stuck && this.module) {
      this.leave(0);
      if (this.seats[1]?.opened && !this.seats[1].busy) {
        this.seats = [this.seats[1], undefined];
        this.opened = [this.opened[1], undefined];
      }
      void this.seat(1).catch(() => undefined);
    }
  }
}

/** The next stretch of draws for a seat: about a step long; the helper begins at the end of the list. */
function cut(left: Task[], seat: Seat, fromEnd: boolean): Task | undefined {
  const task = fromEnd ? left[left.length - 1] : left[0];
  if (!task) return undefined;
  const draws = Math.max(1, Math.min(256, Math.round(STEP_MS / seat.pace[task.reworks ? "reworks" : "boards"])));
  const own = fromEnd ? { ...task, from: Math.max(task.from, task.to - draws) } : { ...task, to: Math.min(task.to, task.from + draws) };
  if (fromEnd) task.to = own.from;
  else task.from = own.to;
  if (task.from >= task.to) left.splice(left.indexOf(task), 1);
  return own;
}

function replied(answer: unknown): Reply {
  const reply = (answer as { reply?: Reply }).reply;
  if (reply === undefined) throw new Error("the engine gave no reply");
  return reply;
}

/** Questions that draw samples or run years take long. */
function isLong(request: Request): boolean {
  return typeof request === "object" && ["choose", "compare", "forecast", "sun", "sun_map"].some((kind) => kind in request);
}

/** The engine behind the server on loopback. */
export class BenchEngine implements Engine {
  /** Called when the folder on disk is no longer what this page read. */
  onChange?: () => void;
  private abort = new AbortController();
  private turn = 0;

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

  async choose(project: string, draws: number, seed: number, show: (choice: ChoiceReport) => void): Promise<void> {
    const own = ++this.turn;
    for (const step of [16, 128, draws].filter((n, i) => i === 2 || n < draws)) {
      const choice = part(await this.ask({ choose: { project, draws: step, seed } }), "choice");
      if (own !== this.turn) throw new Stopped();
      show(choice);
    }
  }

  /** Saves a document; what stood in the way comes back. */
  async save(path: string, was: string | null, text: string, merge: boolean): Promise<Outcome> {
    let response: Response;
    try {
      response = await fetch("api/save", {
        method: "POST",
        headers: { "content-type": "application/json", "x-overwinter-token": this.token },
        body: JSON.stringify({ path, text, was, merge }),
      });
    } catch {
      return { kind: "failed", why: "The tool does not answer: start it again in the bench folder. Nothing you typed here is lost." };
    }
    if (response.status === 409) {
      const { changed } = (await response.json()) as { changed: { now: string | null; yours: string } };
      return { kind: "conflict", path, was, now: changed.now, mine: changed.yours };
    }
    if (response.status === 422) return { kind: "refused", faults: ((await response.json()) as { error: Diagnostic[] }).error };
    if (!response.ok) return { kind: "failed", why: await response.text() };
    const saved = (await response.json()) as { checksum: string; text: string; notes: Diagnostic[] };
    return { kind: "saved", path, text: saved.text, notes: saved.notes };
  }

  /** Reads the folder again; the files that are not as they were. */
  async reread(): Promise<string[]> {
    const response = await fetch("api/bench");
    if (!response.ok) throw new Error(await response.text());
    const now = (await response.json()) as Content;
    const before = new Map(this.content.files);
    const after = new Map(now.files);
    const other = [...new Set([...before.keys(), ...after.keys()])].filter((path) => before.get(path) !== after.get(path));
    this.content.files = now.files;
    this.content.checksum = now.checksum;
    return other;
  }

  /** Asks whether the folder is still as it was read. */
  async look(): Promise<void> {
    const response = await fetch("api/state").catch(() => undefined);
    if (!response?.ok) return;
    const { checksum } = (await response.json()) as { checksum: string };
    if (checksum !== this.content.checksum) this.onChange?.();
  }

  warm(): Promise<void> {
    return Promise.resolve();
  }

  stop(): void {
    this.turn++;
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
  const content = JSON.parse(new TextDecoder().decode(unpackLzma(bytes(embedded("bench"))))) as Content;
  return new PageEngine(content);
}
