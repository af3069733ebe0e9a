// The state of one trace on the screen: where it is looked at, what is known of that stretch, one question in flight.
import { signal } from "@preact/signals";
import { faultOf, type Recordings, reckon, type Stretch } from "../traces";
import type { TraceBetween, TraceWake, TraceWindow } from "../types";

/** Columns asked for beyond the stretch in view, on each side, so that a short pan shows them at once. */
const MARGIN = 0.5;
/** The narrowest view, in samples or in columns of the overview. */
const NARROWEST = 12;

export class Viewer {
  readonly whole: Stretch;
  readonly view = signal<Stretch>({ from: 0, to: 1 });
  /** The finest that is known around the view; drawn over the overview. */
  readonly fine = signal<TraceWindow | undefined>(undefined);
  readonly cursors = signal<[number, number] | undefined>(undefined);
  readonly between = signal<{ figures: TraceBetween; exact: boolean } | undefined>(undefined);
  readonly trouble = signal<string | undefined>(undefined);
  readonly waiting = signal(false);
  /** Columns on the screen. */
  columns = 1000;
  /** When the reader asked for the view that is not drawn yet; read and cleared by who draws. */
  since: number | undefined;
  readonly narrowest: number;
  private flying = false;
  private stale = false;
  private pause: ReturnType<typeof setTimeout> | undefined;
  private turn = 0;

  constructor(
    private readonly source: Recordings,
    /** The whole recording, coarse: always there, so that any zoom shows something at once. */
    readonly coarse: TraceWindow,
  ) {
    this.whole = { from: coarse.first_s, to: Math.max(coarse.last_s, coarse.first_s + 1e-9) };
    const sample = coarse.resolution_s / Math.max(coarse.samples_per_column, 1);
    this.narrowest = Math.min(NARROWEST * (source.deep ? sample : coarse.resolution_s), this.whole.to - this.whole.from);
    this.view.value = this.whole;
  }

  /** Whether the page holds nothing finer than what is drawn. */
  get atLimit(): boolean {
    return !this.source.deep && this.columns * this.coarse.resolution_s > 4 * (this.view.value.to - this.view.value.from);
  }

  /** Looks at another stretch, held inside the recording. */
  show(from: number, to: number, since = performance.now()): void {
    const all = this.whole.to - this.whole.from;
    const width = Math.min(Math.max(to - from, this.narrowest), all);
    const middle = 0.5 * (from + to);
    const start = Math.min(Math.max(width >= all ? this.whole.from : middle - width / 2, this.whole.from), this.whole.to - width);
    const now = this.view.peek();
    if (start === now.from && start + width === now.to) return;
    this.since ??= since;
    this.view.value = { from: start, to: start + width };
    void this.sharpen();
  }

  /** Zooms by a factor round an instant that stays where it is. */
  zoom(factor: number, around?: number, since?: number): void {
    const { from, to } = this.view.peek();
    const at = around ?? 0.5 * (from + to);
    const width = Math.min(Math.max((to - from) / factor, this.narrowest), this.whole.to - this.whole.from);
    const start = at - ((at - from) / (to - from)) * width;
    this.show(start, start + width, since);
  }

  /** Moves by a share of the view. */
  pan(share: number, since?: number): void {
    const { from, to } = this.view.peek();
    const by = Math.min(Math.max(share * (to - from), this.whole.from - from), this.whole.to - to);
    this.show(from + by, to + by, since);
  }

  home(): void {
    this.show(this.whole.from, this.whole.to);
  }

  /** The stretch with room round it. */
  frame(from: number, to: number): void {
    const room = 0.15 * Math.max(to - from, this.narrowest);
    this.show(from - room, to + room);
  }

  /** Shows the wake after or before the middle of the view. */
  async step(way: 1 | -1): Promise<void> {
    const { from, to } = this.view.peek();
    // Seen from the whole, the first or the last one is next.
    const middle = from === this.whole.from && to === this.whole.to ? (way > 0 ? from : to) : 0.5 * (from + to);
    const centre = (w: TraceWake) => w.start_s + w.duration_s / 2;
    const beyond = (w: TraceWake) => way * (centre(w) - middle) > 1e-3 * w.duration_s;
    const nearest = (wakes: TraceWake[]) => wakes.filter(beyond).reduce<TraceWake | undefined>((a, b) => (a && way * (centre(a) - centre(b)) < 0 ? a : b), undefined);
    let found = this.source.deep ? undefined : nearest(this.coarse.wakes);
    // The overview lists only the first wakes: the tool is asked for longer and longer stretches ahead.
    for (let reach = 20 * (to - from); this.source.deep && !found; reach *= 20) {
      const end = Math.min(Math.max(middle + way * reach, this.whole.from), this.whole.to);
      try {
        found = nearest((await this.source.window(this.coarse.recording, Math.min(middle, end), Math.max(middle, end), 16)).wakes);
      } catch (error) {
        this.trouble.value = faultOf(error).map((f) => f.message).join("; ");
        return;
      }
      if (end === this.whole.from || end === this.whole.to) break;
    }
    if (found) this.frame(found.start_s, found.start_s + found.duration_s);
  }

  private get wanted(): Stretch {
    const { from, to } = this.view.peek();
    const room = MARGIN * (to - from);
    return { from: Math.max(this.whole.from, from - room), to: Math.min(this.whole.to, to + room) };
  }

  private sharp(): boolean {
    const fine = this.fine.peek();
    const { from, to } = this.view.peek();
    if (!fine || fine.from_s > from || fine.to_s < to) return false;
    return fine.samples_per_column <= 1 || fine.resolution_s <= (1.6 * (to - from)) / this.columns;
  }

  /** Asks for the view as it is now. While one question is out no second one leaves; the last view wins. */
  async sharpen(): Promise<void> {
    if (this.flying) {
      this.stale = true;
      return;
    }
    this.flying = true;
    this.waiting.value = true;
    try {
      do {
        this.stale = false;
        if (this.sharp()) continue;
        const { from, to } = this.wanted;
        const { from: a, to: b } = this.view.peek();
        const columns = Math.min(8192, Math.ceil((this.columns * (to - from)) / (b - a)));
        this.fine.value = await this.source.window(this.coarse.recording, from, to, columns);
        this.trouble.value = undefined;
      } while (this.stale);
    } catch (error) {
      this.trouble.value = faultOf(error).map((f) => f.message).join("; ");
    } finally {
      this.flying = false;
      this.waiting.value = false;
    }
  }

  /** Sets a cursor; the figures between both come from what is drawn at once and from the samples shortly after. */
  set(which: 0 | 1, at: number): void {
    const { from, to } = this.view.peek();
    const held = Math.min(Math.max(at, this.whole.from), this.whole.to);
    const old = this.cursors.peek() ?? [from + 0.4 * (to - from), from + 0.6 * (to - from)];
    this.place(which === 0 ? held : old[0], which === 1 ? held : old[1]);
  }

  place(a: number, b: number): void {
    this.cursors.value = [a, b];
    const fine = this.fine.peek();
    const covers = fine && fine.from_s <= Math.min(a, b) && fine.to_s >= Math.max(a, b);
    this.between.value = { figures: reckon(covers ? fine : this.coarse, a, b), exact: false };
    clearTimeout(this.pause);
    const own = ++this.turn;
    this.pause = setTimeout(() => {
      this.source.between(this.coarse.recording, Math.min(a, b), Math.max(a, b)).then(
        (figures) => { if (figures && own === this.turn) this.between.value = { figures, exact: true }; },
        (error: unknown) => { if (own === this.turn) this.trouble.value = faultOf(error).map((f) => f.message).join("; "); },
      );
    }, 60);
  }

  clear(): void {
    clearTimeout(this.pause);
    this.turn++;
    this.cursors.value = undefined;
    this.between.value = undefined;
  }
}
