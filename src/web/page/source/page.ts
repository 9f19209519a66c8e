// The page: the field, and five answers beside it.
import * as api from "./api";
import { card } from "./card";
import type { Along } from "./charts";
import { corners, drawing, type Finished } from "./draw";
import { fill, h, s, settle, type Child } from "./dom";
import { fixed, moved, sentence, short, Units, unitsOf } from "./figures";
import { folder } from "./folder";
import { LegendView, type Bin } from "./legend";
import { FieldMap, type Layer, type Paint, type Rgba, type Tool } from "./map";
import { FIRST, panel, type PanelHost } from "./panels";
import { start } from "./start";
import type { Cell, Change, Ground, Keys, LegendClass, Made, Ring, Session, Tree, View, Zone } from "./api";

const LAYERS: [Layer, string][] = [["photo", "Photo"], ["index", "Index"], ["ratio", "Ratio"], ["uncertainty", "Uncertainty"], ["rate", "Cells"], ["zones", "Zones"]];
const NO_ZONES: Zone[] = [];
const SIGNS = { good: "✓", doubt: "!", bad: "✕", open: "○", wait: "·" };
const rgba = (hex: string, alpha = 255): Rgba => [parseInt(hex.slice(1, 3), 16), parseInt(hex.slice(3, 5), 16), parseInt(hex.slice(5, 7), 16), alpha];

interface Early { n: Float32Array; ofZone: Float32Array; classes: LegendClass[] }
interface Kept { view: View; n: Float32Array; ground: Ground | null }

class Page {
  private session!: Session;
  private keys!: Keys;
  private view: View | null = null;
  private ground: Ground | null = null;
  private columns: Record<string, Float32Array> = {};
  private curve: [number, number][] = [];
  private cell: Cell | null = null;
  private kept: Kept | null = null;
  private peek = false;
  private layer: Layer = "zones";
  private photoUnder = false;
  private question = 3;
  private made: Made | null = null;
  private making = false;
  private working: { stage: string; share: number | null } | null = null;
  private refused = new Map<string, string>();
  private refusal: api.Refused | null = null;
  private readonly open = new Set<string>();
  private readonly drafts = new Map<string, Record<string, string>>();
  private ceiling: number | null = null;
  private queue: { changes: Change[]; joined: boolean }[] = [];
  private busy = 0;
  private tool: { tool: Tool; element: HTMLElement; question: number } | null = null;
  private map: FieldMap | null = null;
  private readonly legend = new LegendView();
  private id: number | null = null;
  private listed: api.Listed[] = [];
  private samples: Float32Array | null = null;
  /** Rates of a decision whose sums are still being made. */
  private early: Early | null = null;

  // The parts that stay while their content changes.
  private readonly head = h("header", { class: "head" });
  private readonly mapBox = h("div", { class: "map", tabindex: "0", role: "application", "aria-label": "Map of the field. Enter chooses the cell in the middle, arrow keys move, plus and minus zoom." });
  private readonly layerBar = h("div", { class: "layers", role: "radiogroup", "aria-label": "What the map shows" });
  private readonly layerOptions = new Map<string, { input: HTMLInputElement; label: HTMLLabelElement; element: HTMLElement; taken: (on: boolean) => void }>();
  private readonly layerSpace = h("span", { class: "grow" });
  private readonly foot = h("div", { class: "foot" });
  private readonly below = h("div", { class: "below" });
  private readonly bar = h("div", { class: "work", role: "progressbar", "aria-label": "Work" });
  private readonly answers = h("div", { class: "answers" });
  private readonly live = h("p", { class: "hidden", role: "status", "aria-live": "polite" });
  private readonly place = h("span", { class: "place" });
  private readonly scale = h("span", { class: "scale" });

  constructor(private readonly root: HTMLElement) {}

  async begin(): Promise<void> {
    const given = /^#([0-9a-z]{12,64})$/.exec(location.hash)?.[1];
    if (given) {
      history.replaceState(null, "", location.pathname);
      try { await api.enter(given); } catch (error) { this.closed(error); return; }
    }
    try {
      this.session = await api.session();
      this.keys = await api.get<Keys>("keys");
    } catch (error) { this.closed(error); return; }
    api.listen((event) => this.heard(event));
    addEventListener("keydown", (event) => this.key(event));
    addEventListener("pointerdown", (event) => { this.pressed = (event.target as Element).closest("button,summary,a,label") !== null; }, true);
    for (const name of ["pointerup", "pointercancel"]) addEventListener(name, () => { this.pressed = false; }, true);
    addEventListener("keyup", (event) => { if (event.key.toLowerCase() === "c" && this.peek) { this.peek = false; this.paint(); } });
    addEventListener("hashchange", () => void this.route());
    addEventListener("resize", () => this.map?.resized());
    addEventListener("beforeunload", (event) => { if (this.map?.isDrawing() && this.tool) event.preventDefault(); });
    await this.route();
  }

  pixel(x: number, y: number): [number, number] | null { return this.map?.pixel(x, y) ?? null; }
  private closed(error: unknown): void {
    const refused = error instanceof api.Refusal ? error.refused : null;
    fill(this.root, h("main", { class: "start" }, h("h1", null, "This page is closed"), h("p", { class: "lead" }, refused?.headline ?? String(error)), h("p", null, refused?.hint ?? "Open it by the address that haulm page printed in the terminal.")));
  }

  private async route(): Promise<void> {
    this.listed = await api.get<api.Listed[]>("jobs");
    const asked = /job=(\d+)/.exec(location.hash)?.[1];
    const layer = /layer=(\w+)/.exec(location.hash)?.[1] as Layer | undefined;
    const question = /question=([0-5])/.exec(location.hash)?.[1];
    if (question !== undefined) this.question = Number(question);
    if (layer && LAYERS.some(([name]) => name === layer)) this.layer = layer;
    if (asked !== undefined || this.listed.length === 1) { await this.openJob(asked !== undefined ? Number(asked) : this.listed[0].id); return; }
    document.title = "haulm";
    this.map = null;
    this.id = null;
    if (this.listed.length === 0) fill(this.root, this.skip(), start((view) => { void this.show(view); }));
    else fill(this.root, this.skip(), folder(`Fields in ${this.session.folder}`, this.listed, (id) => { location.hash = `job=${id}`; }));
  }
  private skip(): HTMLElement { return h("a", { class: "skip", href: "#main", onclick: (event: Event) => { event.preventDefault(); document.getElementById("main")?.focus(); } }, "To the content"); }

  private async openJob(id: number): Promise<void> {
    if (this.id !== id) { this.forget(); this.id = id; }
    this.lay();
    this.work("opening the field");
    try { await this.show(await api.get<View>(`jobs/${id}`)); } catch (error) { this.failed(error); }
  }
  private forget(): void { this.queue = []; this.early = null; this.view = null; this.ground = null; this.columns = {}; this.cell = null; this.kept = null; this.made = null; this.refused.clear(); this.refusal = null; this.tool = null; this.map = null; this.samples = null; this.stretch = null; this.mask = null; this.drafts.clear(); }

  /** Puts the parts of a job's page where they belong. */
  private lay(): void {
    if (this.map && this.root.contains(this.mapBox)) return;
    this.mapBox.replaceChildren();
    fill(this.root,
      h("a", { class: "skip", href: "#answers", onclick: (event: Event) => { event.preventDefault(); this.answers.querySelector<HTMLElement>("button")?.focus(); } }, "To the answers"),
      this.head, this.bar,
      h("main", { class: "field-page", id: "main", tabindex: "-1" },
        h("div", { class: "map-side" }, this.layerBar, h("div", { class: "map-frame" }, this.mapBox), this.foot, this.below),
        h("section", { class: "answer-side", id: "answers", "aria-label": "Five answers" }, this.answers)), this.live);
    this.map = new FieldMap(this.mapBox);
    this.map.onChoose = (cell) => void this.choose(cell);
    this.map.onTile = async (layer, z, x, y) => {
      const answer = await api.raw(`jobs/${this.id}/tiles/${layer}/${z}/${x}/${y}`);
      const number = (name: string): number => Number(answer.headers.get(name));
      const place = { corner: [number("x-corner-x"), number("x-corner-y")] as [number, number], step: number("x-step"), cols: number("x-cols") };
      return layer === "photo" ? { ...place, picture: await createImageBitmap(await answer.blob()), values: null } : { ...place, picture: null, values: new Float32Array(await answer.arrayBuffer()) };
    };
    this.map.onHover = (place) => this.hover(place);
    this.map.onMove = () => this.drawFoot();
    this.legend.onBrush = () => { this.paint(); if (this.question === 2) this.drawAnswers(); };
    new ResizeObserver(() => this.map?.resized()).observe(this.mapBox);
  }

  /** Waits while something that can be clicked on is pressed: an answer that comes then must not take it away under the finger. */
  private released(): Promise<void> {
    if (!this.pressed) return Promise.resolve();
    return new Promise((ready) => { const up = (): void => { removeEventListener("pointerup", up, true); removeEventListener("pointercancel", up, true); setTimeout(ready, 0); }; addEventListener("pointerup", up, true); addEventListener("pointercancel", up, true); });
  }
  private pressed = false;

  /** Shows a view: what is new is fetched, what is old stays. */
  private async show(view: View): Promise<void> {
    if (this.id !== view.id || !this.root.contains(this.mapBox)) { if (this.id !== view.id) this.forget(); this.id = view.id; history.replaceState(null, "", `#job=${view.id}`); this.lay(); }
    if (this.view && this.view.id === view.id && view.revision < this.view.revision) return;
    this.view = view;
    this.working = null;
    const id = view.id;
    if (!this.ground || this.ground.reading !== view.reading) await this.newGround(id);
    if (this.view !== view) return;
    if (view.record) {
      const names = ["n", "n_exact", "ratio", "zone", "spread"];
      const [buffer, curve] = await Promise.all([api.bytes(`jobs/${id}/cells?columns=${names.join(",")}`), this.question === 3 ? api.get<[number, number][]>(`jobs/${id}/curve`) : Promise.resolve(this.curve)]);
      if (this.view !== view) return;
      this.spread(names, buffer);
      this.curve = curve;
    } else for (const name of ["n", "n_exact", "ratio", "zone", "spread"]) delete this.columns[name];
    document.title = `${view.record?.field?.name ?? view.job?.field?.name ?? view.file} – haulm`;
    await this.released();
    if (this.view !== view) return;
    this.early = null;
    if (this.cell && view.record) { try { this.cell = await api.get<Cell>(`jobs/${id}/cells/${this.cell.cell}`); } catch { this.cell = null; } } else if (!view.record) this.cell = null;
    this.draw();
    // For measuring: from an input to the map on the screen.
    this.map?.onceDrawn(() => { performance.clearMarks("haulm-drawn"); performance.mark("haulm-drawn", { detail: view.revision }); });
    this.live.textContent = view.answers.map((answer) => `${answer.question} ${answer.figure}`).join(". ");
  }
  private spread(names: string[], buffer: ArrayBuffer): void {
    const count = buffer.byteLength / 4 / names.length;
    names.forEach((name, k) => { this.columns[name] = new Float32Array(buffer, k * count * 4, count); });
  }
  private async newGround(id: number): Promise<void> {
    const ground = await api.get<Ground | null>(`jobs/${id}/ground`);
    // The same cells keep the one that was chosen.
    const grid = (of: Ground | null): string => JSON.stringify(of && [of.plane.code, of.cells, of.parts.map((part) => [part.first, part.after, part.origin, part.along, part.length, part.width])]);
    if (grid(ground) !== grid(this.ground)) { this.cell = null; this.stretch = null; this.mask = null; }
    if (!ground) { this.ground = null; this.map?.setGround(null, new Float32Array(), new Float32Array()); return; }
    let [rows, cols] = [new Float32Array(), new Float32Array()];
    if (this.view?.record) {
      const names = ["row", "col", "area", "index", "state"];
      this.spread(names, await api.bytes(`jobs/${id}/cells?columns=${names.join(",")}`));
      rows = this.columns.row as Float32Array<ArrayBuffer>;
      cols = this.columns.col as Float32Array<ArrayBuffer>;
    }
    const first = this.ground === null;
    this.ground = ground;
    this.map?.setGround(ground, rows, cols);
    this.samples = null;
    if (ground.index) void api.bytes(`jobs/${id}/index`).then((buffer) => { this.samples = new Float32Array(buffer); this.map?.setSamples(this.samples); this.paint(); });
    void this.fetchPhoto(id);
    if (first && !this.view?.record) this.layer = ground.index ? "index" : "photo";
  }
  private async fetchPhoto(id: number): Promise<void> {
    try {
      const answer = await api.raw(`jobs/${id}/photo`);
      const number = (name: string): number => Number(answer.headers.get(name));
      const image = await createImageBitmap(await answer.blob());
      if (this.id === id) { this.map?.setPhoto({ image, corner: [number("x-corner-x"), number("x-corner-y")], step: number("x-step") }); this.drawLayers(); }
    } catch { /* an image without colours has no photo, and the layer says so */ this.drawLayers(); }
  }

  private heard(event: { job: number; kind: string; stage: string; done: number; total: number; revision: number }): void {
    if (event.job !== this.id && event.job < 1e9) return;
    if (event.kind === "stage") {
      if (this.busy || !this.view) this.work(event.stage, event.total ? event.done / event.total : null);
    } else if (event.kind === "rates") {
      if (this.busy && this.id !== null) void this.showEarly(this.id);
    } else if (!this.busy && this.id !== null && (!this.view || event.revision > this.view.revision)) {
      void api.get<View>(`jobs/${this.id}`).then((view) => this.show(view)).catch((error) => this.failed(error));
    }
  }
  /** Colours the cells by rates that are known before zones, sums and findings are. */
  private async showEarly(id: number): Promise<void> {
    const before = this.view;
    try {
      const answer = await api.raw(`jobs/${id}/early`);
      const { classes } = JSON.parse(answer.headers.get("x-legend") ?? "{}") as { classes: LegendClass[] };
      const both = await answer.arrayBuffer();
      const count = both.byteLength / 8;
      // What came in the meantime is newer, and knows all of it.
      if (this.id !== id || this.view !== before || !this.busy || count !== this.ground?.cells) return;
      this.early = { n: new Float32Array(both, 0, count), ofZone: new Float32Array(both, 4 * count, count), classes };
    } catch { return; /* the whole answer was quicker */ }
    this.paint();
    this.map?.onceDrawn(() => { performance.clearMarks("haulm-early"); performance.mark("haulm-early"); });
  }
  private work(stage: string | null, share: number | null = null): void { this.working = stage === null ? null : { stage, share }; this.drawBar(); }
  private failed(error: unknown): void {
    if (error instanceof DOMException && error.name === "AbortError") return;
    this.early = null;
    this.work(null);
    this.refusal = error instanceof api.Refusal ? error.refused : { code: "page", headline: String(error), facts: [], hint: null, causes: [] };
    this.draw();
  }

  /** Sends changes in the order in which they were made; of several to the same keys that wait (a dragged value) only the newest is sent. */
  private change(changes: Change[], joined = false): void {
    const keys = (of: Change[]): string => of.map((change) => `${change.section}.${change.key}`).join();
    const last = this.queue.at(-1);
    if (last && keys(last.changes) === keys(changes)) this.queue[this.queue.length - 1] = { changes, joined: last.joined && joined };
    else this.queue.push({ changes, joined });
    if (!this.busy) void this.flush();
  }
  private async flush(): Promise<void> {
    for (let next = this.queue.shift(); next && this.id !== null; next = this.queue.shift()) {
      const { changes, joined } = next;
      this.busy += 1;
      const slow = setTimeout(() => { this.work("deciding"); this.answers.classList.add("stale"); }, 100);
      try {
        const view = await api.post<View>(`jobs/${this.id}/change`, { changes, joined });
        for (const change of changes) this.refused.delete(`${change.section}.${change.key}`);
        this.refusal = null;
        this.made = null;
        await this.show(view);
      } catch (error) {
        if (error instanceof api.Refusal) {
          const { refused } = error;
          const words = [refused.headline, refused.hint].filter(Boolean).join(" – ");
          for (const change of changes) this.refused.set(`${change.section}.${change.key}`, words);
          this.keepTyped(changes);
          this.ceiling = null;
          this.early = null;
          this.draw();
        } else this.failed(error);
      } finally { clearTimeout(slow); this.answers.classList.remove("stale"); this.busy -= 1; this.work(null); }
    }
  }
  /** What was refused stays in its field, so that it can be corrected. */
  private keepTyped(changes: Change[]): void {
    const typed = changes.map((change) => [`key-${change.section}.${change.key}`, (document.getElementById(`key-${change.section}.${change.key}`) as HTMLInputElement | null)?.value] as const);
    queueMicrotask(() => { for (const [id, value] of typed) { const box = document.getElementById(id) as HTMLInputElement | null; if (box && value !== undefined && "value" in box) box.value = value; } });
  }
  private async act(path: string, body: unknown = {}): Promise<boolean> {
    if (this.id === null) return false;
    this.busy += 1;
    const slow = setTimeout(() => this.work("working"), 100);
    try { const view = await api.post<View>(`jobs/${this.id}/${path}`, body); this.refusal = null; this.refused.clear(); this.made = null; await this.show(view); return true; } catch (error) { this.failed(error); return false; } finally { clearTimeout(slow); this.busy -= 1; this.work(null); if (!this.busy) void this.flush(); }
  }
  private async makeMap(): Promise<void> {
    if (this.id === null || this.making) return;
    this.making = true;
    this.draw();
    try { this.made = await api.post<Made>(`jobs/${this.id}/map`); this.refusal = null; this.live.textContent = `Map ${this.made.map_id} is written.`; } catch (error) { this.failed(error); }
    this.making = false;
    this.draw();
  }

  private async choose(cell: number | null): Promise<void> {
    if (cell === null || this.id === null || !this.view?.record) { this.cell = null; this.map?.mark(null); this.drawBelow(); return; }
    this.cell = await api.get<Cell>(`jobs/${this.id}/cells/${cell}`);
    this.map?.mark(this.cell.rings);
    this.drawBelow();
    this.live.textContent = `Cell in row ${this.cell.row}, column ${this.cell.col}: ${short(unitsOf(this.view).rate(this.cell.zone_n))} ${unitsOf(this.view).rateUnit}`;
  }

  private startDrawing(tool: Tool, zone: number | null = null): void {
    if (!this.map || !this.ground) return;
    const width = parseFloat(String(this.view?.job?.machine?.working_width ?? "24")) || 24;
    const heading = Number(this.view?.record?.field?.heading_true_deg ?? 0);
    const kept = tool === "strips" ? this.ground.strips.map((strip) => strip.rings[0][0].slice(0, -1) as Ring) : [];
    this.takeUp(tool, drawing({ tool, map: this.map, ground: this.ground, width, heading, kept, zones: () => this.view?.zones ?? NO_ZONES, decided: () => this.view?.decided ?? 0, units: unitsOf(this.view), zone, ...this.ends(tool, `tool-${tool}`) }));
  }
  private moveCorners(tool: Tool, name: string, rings: Ring[], position: number | null): void {
    if (!this.map) return;
    this.takeUp(tool, corners({ tool, map: this.map, ...this.ends(tool, position === null ? `corners-${tool}` : `corners-${tool}-${position}`) }, name, rings, position));
  }
  private ends(tool: Tool, back: string): { done: (finished: Finished) => void; end: () => void } {
    const end = (): void => { this.map?.stopDrawing(); this.map?.mark(this.cell?.rings ?? null); this.tool = null; this.draw(); document.getElementById(back)?.focus(); };
    return { end, done: (finished) => { void this.act("shapes", finished).then((ok) => { if (ok && this.tool?.tool === tool) end(); }); } };
  }
  private takeUp(tool: Tool, element: HTMLElement): void {
    const question = { boundary: 1, exclude: 1, strips: 2, set: 3, line: 5 }[tool];
    this.tool = { tool, question, element };
    this.question = question;
    this.draw();
    element.scrollIntoView({ block: "nearest" });
    element.querySelector<HTMLElement>("input,select,textarea")?.focus();
  }

  private drag(kgHa: number, done: boolean): void {
    this.ceiling = kgHa;
    const units = unitsOf(this.view);
    this.change([{ section: "response", key: "maximum_yield", value: JSON.stringify(units.grainText(kgHa)) }], !done || this.dragged);
    this.dragged = !done;
    if (done) this.ceiling = null;
    else this.drawAnswers();
  }
  private dragged = false;

  // ---- drawing ---------------------------------------------------------------------------------------------------------------------------------------------
  private draw(): void { this.drawHead(); this.drawBar(); this.drawLayers(); this.paint(); this.drawAnswers(); this.drawFoot(); }

  private drawHead(): void {
    const { view } = this;
    const name = view?.record?.field?.name ?? view?.job?.field?.name ?? view?.file ?? "";
    const write = this.session.write;
    const saved = !view ? "" : !write ? (view.saved ? "for looking" : "tried, not saved") : view.saved ? "saved" : "not saved";
    const others = this.listed.length > 1;
    fill(this.head,
      others ? h("a", { href: "#", class: "back", onclick: (event: Event) => { event.preventDefault(); location.hash = "list"; } }, "‹ Fields") : null,
      h("h1", null, name), h("span", { class: "soft" }, view ? `${view.file} · ${saved}` : ""),
      h("span", { class: "grow" }),
      this.kept ? h("span", { class: "soft kept" }, "hold C for the kept one") : null,
      h("button", { class: "quiet", id: "undo", disabled: !view?.can_undo, onclick: () => void this.act("undo"), title: "Undo (Z)" }, "Undo"),
      h("button", { class: "quiet", id: "redo", disabled: !view?.can_redo, onclick: () => void this.act("redo"), title: "Redo (Shift Z)" }, "Redo"),
      h("button", { class: "quiet", id: "keep", disabled: !view?.record, onclick: () => this.keep(), title: "Keep this decision to compare with (K)", "aria-pressed": this.kept ? "true" : "false" }, this.kept ? "Let go" : "Keep"),
      h("button", { class: "quiet", id: "help", onclick: () => this.help(), title: "Keys (?)", "aria-haspopup": "dialog" }, "?"));
  }
  private drawBar(): void {
    const { working } = this;
    this.bar.classList.toggle("on", working !== null);
    if (!working) { this.bar.removeAttribute("aria-valuenow"); this.bar.setAttribute("aria-hidden", "true"); fill(this.bar); return; }
    this.bar.removeAttribute("aria-hidden");
    this.bar.setAttribute("aria-valuetext", working.stage);
    if (working.share !== null) this.bar.setAttribute("aria-valuenow", String(Math.round(100 * working.share)));
    fill(this.bar, h("span", { class: working.share === null ? "run" : "run known", share: working.share ?? 0.3 }), h("span", { class: "stage" }, working.stage, working.share === null ? "" : ` ${Math.round(100 * working.share)} %`, " ", this.id !== null ? h("button", { class: "quiet", onclick: () => void api.post(`jobs/${this.id}/cancel`) }, "Stop") : null));
  }
  private usable(layer: Layer): boolean {
    const record = this.view?.record;
    if (layer === "photo") return this.map?.hasPhoto() === true;
    if (layer === "index") return this.ground?.index != null || !!record;
    if (layer === "uncertainty") return !!record?.uncertainty?.drawn;
    if (layer === "ratio") return !!this.columns.ratio && this.columns.ratio.some((value) => Number.isFinite(value));
    if (layer === "difference") return this.comparable();
    return !!record;
  }
  private comparable(): boolean { return !!this.kept && !!this.columns.n && this.kept.n.length === this.columns.n.length; }
  private setLayer(layer: Layer): void { this.layer = layer; this.legend.clear(); this.drawLayers(); this.paint(); history.replaceState(null, "", `#job=${this.id}&layer=${layer}`); }
  private drawLayers(): void {
    const list: [Layer, string][] = this.kept ? [...LAYERS, ["difference", "Difference"]] : LAYERS;
    const name = this.view?.record?.image?.index ?? this.ground?.index_name ?? "Index";
    if (!this.usable(this.layer) && this.view) { const next = (["zones", "index", "photo"] as Layer[]).find((layer) => this.usable(layer)); if (next && this.layer !== "uncertainty") this.layer = next; }
    settle(this.layerBar,
      ...list.map(([layer, label]) => this.layerOption("radio", `layer-${layer}`, layer === "index" ? name : label, { checked: this.layer === layer, disabled: !this.usable(layer) }, () => this.setLayer(layer))),
      this.layerSpace,
      this.layerOption("checkbox", "photo-under", "photo under", { checked: this.photoUnder, disabled: !this.map?.hasPhoto() || this.layer === "photo" }, (on) => { this.photoUnder = on; this.paint(); }),
      this.ground?.strips.some((strip) => strip.placebo.length) ? this.layerOption("checkbox", "placebo-on", "placebo strips", { checked: this.map?.showsKind("placebo") === true, disabled: false }, (on) => this.map?.showKind("placebo", on)) : null);
    // With nothing to choose the row can still be scrolled on a small screen.
    if (list.some(([layer]) => this.usable(layer))) this.layerBar.removeAttribute("tabindex");
    else this.layerBar.tabIndex = 0;
  }
  /** A choice of the row over the map. Its elements stay while answers come in: a finger may lie on one, or the focus. */
  private layerOption(type: "radio" | "checkbox", id: string, text: string, now: { checked: boolean; disabled: boolean }, taken: (on: boolean) => void): HTMLElement {
    let found = this.layerOptions.get(id);
    if (!found) {
      const input = h("input", { type, id, name: type === "radio" ? "layer" : null, onchange: () => this.layerOptions.get(id)?.taken(input.checked) });
      const label = h("label", { for: id });
      found = { input, label, element: h("span", { class: type === "radio" ? "option" : "option check" }, input, label), taken };
      this.layerOptions.set(id, found);
    }
    found.taken = taken;
    found.input.checked = now.checked;
    found.input.disabled = now.disabled;
    if (found.label.textContent !== text) found.label.textContent = text;
    return found.element;
  }

  /** Colours of the layer, its legend and its histogram, from the same numbers. */
  private paint(): void {
    const { map, ground } = this;
    if (!map) return;
    const view = this.peek && this.kept ? this.kept.view : this.view;
    const units = unitsOf(view);
    const colours = this.session.colours.map((colour) => rgba(colour));
    const dim = (colour: Rgba, on: boolean): Rgba => (on ? colour : [colour[0], colour[1], colour[2], 28]);
    const range = this.legend.range();
    const lit = (value: number): boolean => !range || (value >= range[0] - 1e-9 && value <= range[1] + 1e-9);
    const legend = view?.legend;
    const classOf = (n: number): string | null => legend?.classes.find((each) => n >= each.from - 1e-9 && n <= each.to + 1e-9)?.colour ?? null;
    const area = this.columns.area;
    const mask = this.mask;
    const shown = (at: number): boolean => !mask || mask[at] === 1;
    /** Areas by value of the stretch that is chosen along a strip. */
    const part = (values: ArrayLike<number> | null | undefined, bin: (value: number) => number, count: number): number[] | null => {
      if (!mask || !values || !area) return null;
      const sums = Array.from({ length: count }, () => 0);
      for (let at = 0; at < mask.length; at++) if (mask[at] && Number.isFinite(values[at])) sums[Math.max(0, Math.min(count - 1, bin(values[at])))] += units.area(area[at]);
      return sums;
    };
    const n = this.peek && this.kept ? this.kept.n : this.columns.n;
    let paint: Paint = {};
    if (view?.record && (this.layer === "zones" || this.layer === "rate")) {
      const byZone = this.layer === "zones";
      const early = this.peek ? null : this.early;
      const classes = early?.classes ?? legend?.classes ?? [];
      const rates = early ? (byZone ? early.ofZone : early.n) : n;
      // Cells may have rates that no zone has: the class of the nearest zone rate shows them.
      const known = new Map<number, number>();
      const near = (value: number): number => {
        let found = known.get(value);
        if (found === undefined) { found = classes.reduce((best, each, k) => (distance(each, value) < distance(classes[best], value) ? k : best), 0); known.set(value, found); }
        return found;
      };
      const distance = (each: { least: number; greatest: number } | undefined, value: number): number => (!each ? Infinity : value < each.least ? each.least - value : value > each.greatest ? value - each.greatest : 0);
      const sums = classes.map(() => 0);
      if (classes.length && byZone && !early) for (const zone of view.zones) sums[near(zone.n_kg_ha)] += zone.area_m2;
      else if (classes.length && rates && area) for (let at = 0; at < rates.length; at++) if (!Number.isNaN(rates[at])) sums[near(rates[at])] += area[at];
      const label = (each: { least: number; greatest: number }): string => (short(units.rate(each.least)) === short(units.rate(each.greatest)) ? short(units.rate(each.least)) : `${short(units.rate(each.least))}–${short(units.rate(each.greatest))}`);
      this.legend.show({ title: byZone ? "Rate by zone" : "Rate by cell", unit: units.rateUnit, areaUnit: units.areaUnit, classes: true, bins: classes.map((each, k) => ({ from: each.from, to: each.to, label: label(each), colour: each.colour, area: units.area(sums[k]) })), part: classes.length ? part(rates, near, classes.length) : null });
      const chosen = this.legend.range();
      const on = (value: number): boolean => !chosen || (value >= chosen[0] - 1e-9 && value <= chosen[1] + 1e-9);
      const inks = classes.map((each) => rgba(each.colour));
      paint = { cell: (at) => { const value = rates?.[at]; if (value === undefined || Number.isNaN(value)) return null; const ink = inks[near(value)]; return ink ? dim(ink, on(value) && shown(at)) : null; } };
      // Their borders are not known yet: cells stand for the zones.
      if (early) map.setZones(NO_ZONES, () => null, () => "");
      else map.setZones(view.zones, (zone) => (on(zone.n_kg_ha) ? classOf(zone.n_kg_ha) : null), (zone) => short(units.rate(zone.n_kg_ha)));
    } else if (this.layer === "difference" && this.kept && this.view?.record && this.comparable()) {
      const before = this.kept.n;
      const now = this.columns.n;
      const change = Array.from(now, (value, k) => value - before[k]);
      // As a list of arguments a million numbers would be too many.
      const most = change.reduce((found, value) => (Number.isFinite(value) ? Math.max(found, Math.abs(value)) : found), 1);
      const colour = (value: number): Rgba => { const t = Math.min(1, Math.abs(value) / most); const end = value < 0 ? rgba("#b5762f") : rgba("#41487f"); const mid = [240, 240, 240]; return [0, 1, 2].map((k) => Math.round(mid[k] + (end[k] - mid[k]) * t)).concat(255) as Rgba; };
      this.legend.show({ title: "Change since kept", unit: units.rateUnit, areaUnit: units.areaUnit, classes: false, bins: this.bins(change, area, colour, 25, [-most, most], units, units.rate(1)), part: part(change, (value) => Math.floor(((value + most) / (2 * most)) * 25), 25) });
      paint = { cell: (at) => (Number.isNaN(change[at]) ? null : dim(colour(change[at]), lit(units.rate(change[at])) && shown(at))) };
      map.setZones(this.view.zones, () => null, () => "");
    } else if (this.layer === "ratio" || this.layer === "uncertainty" || this.layer === "index") {
      const cells = this.layer === "ratio" ? this.columns.ratio : this.layer === "uncertainty" ? this.columns.spread : this.columns.index;
      const scale = this.layer === "uncertainty" ? units.rate(1) : 1;
      const raw = this.layer === "index" && this.samples ? this.samples : cells;
      const [low, high] = this.middle(raw);
      const any = raw !== undefined && raw !== null && Number.isFinite(low) && low <= high;
      const span = high > low ? high - low : 1;
      const colour = (value: number): Rgba => colours[Math.max(0, Math.min(63, Math.round(((value - low) / span) * 63)))];
      const each = this.layer === "index" && this.samples && ground?.index ? ground.index.step ** 2 : null;
      const name = this.view?.record?.image?.index ?? ground?.index_name ?? "Index";
      this.legend.show({ title: this.layer === "ratio" ? "Response index of the cells" : this.layer === "uncertainty" ? "Width of the 80 % range" : `${name} as taken`, unit: this.layer === "uncertainty" ? units.rateUnit : "", areaUnit: units.areaUnit, classes: false, bins: any ? this.bins(raw ?? [], each === null ? area : null, colour, 32, [low, high > low ? high : low + 1], units, scale, each ?? 0) : [], part: any ? part(cells, (value) => Math.floor(((value - low) / ((high > low ? high : low + 1) - low)) * 32), 32) : null });
      const chosen = this.legend.range();
      const on = (value: number): boolean => !chosen || (value * scale >= chosen[0] - 1e-9 && value * scale <= chosen[1] + 1e-9);
      paint = { cell: (at) => { const value = cells?.[at]; return value === undefined || Number.isNaN(value) ? null : dim(colour(value), on(value) && shown(at)); }, sample: (value) => dim(colour(value), on(value)) };
      map.setZones(NO_ZONES, () => null, () => "");
    } else { this.legend.show(null); map.setZones(NO_ZONES, () => null, () => ""); }
    map.show(this.early && this.layer === "zones" && !this.peek ? "rate" : this.layer, paint, this.photoUnder);
    this.drawBelow();
  }

  // ---- one stretch of a strip: drawing, map and histogram follow one another -----------------------------------------------------------------------------------
  private stretch: { strip: number; from: number; to: number } | null = null;
  /** Cells that lie in it. */
  private mask: Uint8Array | null = null;
  private along(number: number): Along {
    const strip = this.ground?.strips.find((each) => each.strip === number);
    const range = this.legend.range();
    const place = (along: number): [number, number] | null => {
      if (!strip?.axis) return null;
      const { from, to } = strip.axis;
      const length = Math.hypot(to[0] - from[0], to[1] - from[1]) || 1;
      return [from[0] + ((to[0] - from[0]) * along) / length, from[1] + ((to[1] - from[1]) * along) / length];
    };
    return {
      chosen: this.stretch?.strip === number ? [this.stretch.from, this.stretch.to] : null,
      choose: (from, to) => this.chooseStretch(number, from, to),
      clear: () => this.chooseStretch(null, 0, 0),
      lit: (along) => {
        const at = range ? place(along) : null;
        const cell = at && this.map ? this.map.cellAt(at[0], at[1]) : null;
        const value = cell === null || cell === undefined ? undefined : this.valueOf(cell);
        return !range || value === undefined ? null : value >= range[0] - 1e-9 && value <= range[1] + 1e-9;
      },
    };
  }
  /** What the layer shows of a cell, in the legend's unit. */
  private valueOf(cell: number): number | undefined {
    const units = unitsOf(this.view);
    const { columns } = this;
    if (this.layer === "zones") return this.view?.zones[columns.zone?.[cell] - 1]?.n_kg_ha;
    if (this.layer === "rate") return columns.n?.[cell];
    if (this.layer === "ratio") return columns.ratio?.[cell];
    if (this.layer === "uncertainty") return columns.spread && columns.spread[cell] * units.rate(1);
    if (this.layer === "difference" && this.kept) return (columns.n[cell] - this.kept.n[cell]) * units.rate(1);
    return columns.index?.[cell];
  }
  private chooseStretch(number: number | null, from: number, to: number): void {
    const strip = number === null ? undefined : this.ground?.strips.find((each) => each.strip === number);
    if (!strip?.axis) { this.stretch = null; this.mask = null; this.map?.mark(this.cell?.rings ?? null); } else {
      const { from: [x, y], to: end, width } = strip.axis;
      const length = Math.hypot(end[0] - x, end[1] - y) || 1;
      const [ux, uy] = [(end[0] - x) / length, (end[1] - y) / length];
      const corner = (along: number, across: number): [number, number] => [x + ux * along - uy * across, y + uy * along + ux * across];
      const ring: Ring = [corner(from, -width / 2), corner(to, -width / 2), corner(to, width / 2), corner(from, width / 2)];
      this.stretch = { strip: strip.strip, from, to };
      this.mask = this.map?.cellsIn([ring]) ?? null;
      this.map?.mark([[[...ring, ring[0]]]]);
    }
    this.paint();
    this.drawAnswers();
  }
  /** Values between which 96 of 100 lie; kept, for the same numbers are painted many times. */
  private middle(values: Float32Array | null | undefined): [number, number] {
    if (!values) return [0, 1];
    const kept = this.middles.get(values);
    if (kept) return kept;
    const list = values.filter((value) => Number.isFinite(value)).sort();
    const found: [number, number] = list.length ? [list[Math.floor(0.02 * (list.length - 1))], list[Math.floor(0.98 * (list.length - 1))]] : [NaN, NaN];
    this.middles.set(values, found);
    return found;
  }
  private readonly middles = new WeakMap<Float32Array, [number, number]>();

  /** Areas by value; what lies beyond the ends counts to them. */
  private bins(values: ArrayLike<number>, area: ArrayLike<number> | null | undefined, colour: (value: number) => Rgba, count: number, [low, high]: [number, number], units: Units, scale: number, each = 0): Bin[] {
    const sums = new Float64Array(count);
    for (let k = 0; k < values.length; k++) { const value = values[k]; if (!Number.isFinite(value)) continue; sums[Math.max(0, Math.min(count - 1, Math.floor(((value - low) / (high - low)) * count)))] += area ? area[k] : each; }
    const step = (high - low) / count;
    return Array.from(sums, (sum, k) => { const mid = low + (k + 0.5) * step; const [r, g, b] = colour(mid); return { from: (low + k * step) * scale, to: (low + (k + 1) * step) * scale, label: `${((low + k * step) * scale).toFixed(2)} to ${((low + (k + 1) * step) * scale).toFixed(2)}`, colour: `rgb(${r} ${g} ${b})`, area: units.area(sum) }; });
  }

  private drawBelow(): void {
    const parts: Child[] = [this.legend.element];
    if (this.cell && this.view?.record) {
      const { zone } = this.cell;
      parts.push(card(this.cell, this.view, unitsOf(this.view), () => { void this.choose(null); this.mapBox.focus(); }, this.session.write ? () => this.startDrawing("set", zone) : null));
    }
    fill(this.below, ...parts);
  }

  private drawFoot(): void {
    const { map, ground } = this;
    if (!map || !ground) { fill(this.foot); return; }
    const { resolution } = map.place();
    const metres = resolution / Math.sqrt(ground.plane.areal_scale || 1);
    const us = unitsOf(this.view).us;
    const unit = us ? 0.3048 : 1;
    const want = (90 * metres) / unit;
    const power = 10 ** Math.floor(Math.log10(want));
    const nice = [5, 2, 1].map((k) => k * power).find((k) => k <= want) ?? power;
    const px = (nice * unit) / metres;
    const label = us ? (nice >= 5280 ? `${nice / 5280} mi` : `${nice} ft`) : nice >= 1000 ? `${nice / 1000} km` : `${nice} m`;
    fill(this.scale, s("svg", { width: px + 2, height: 10, "aria-hidden": "true", class: "scalebar" }, s("path", { d: `M1 1V8H${(px + 1).toFixed(1)}V1` })), h("span", { "data-metres": nice * unit, "data-pixels": px.toFixed(3) }, label));
    fill(this.foot, s("svg", { viewBox: "-10 -10 20 20", class: "north", role: "img", "aria-label": "North is up" }, s("path", { d: "M0 -9 5 8 0 4 -5 8Z", transform: `rotate(${(-ground.plane.convergence_deg).toFixed(2)})` })), h("span", null, "N"), this.scale, this.place, h("span", { class: "grow" }), h("span", { class: "soft plane" }, ground.plane.name), "geolocation" in navigator && isSecureContext ? h("button", { class: "quiet", id: "where", onclick: () => this.whereAmI(), title: "Where am I", "aria-label": "Where am I" }, "◎") : null, h("button", { class: "quiet", onclick: () => map.zoom(1), "aria-label": "Nearer" }, "+"), h("button", { class: "quiet", onclick: () => map.zoom(-1), "aria-label": "Farther" }, "−"), h("button", { class: "quiet", id: "fit", onclick: () => map.fit(), "aria-label": "Whole field" }, s("svg", { viewBox: "0 0 16 16", class: "icon", "aria-hidden": "true" }, s("path", { d: "M2 6V2h4M10 2h4v4M14 10v4h-4M6 14H2v-4" }))));
  }
  private hover(place: [number, number] | null): void {
    const { ground } = this;
    if (!place || !ground) { this.place.textContent = ""; return; }
    const [x0, y0, x1, y1] = ground.bounds;
    const [u, v] = [((place[0] - x0) / (x1 - x0)) * 2, ((place[1] - y0) / (y1 - y0)) * 2];
    const basis = (t: number): number[] => [((t - 1) * (t - 2)) / 2, t * (2 - t), (t * (t - 1)) / 2];
    const [bu, bv] = [basis(u), basis(v)];
    const at = (k: 0 | 1): number => ground.globe.reduce((sum, corner, i) => sum + corner[k] * bu[i % 3] * bv[Math.floor(i / 3)], 0);
    this.place.textContent = `${at(1).toFixed(5)}° ${at(0).toFixed(5)}° · ${place[0].toFixed(0)} ${place[1].toFixed(0)} m${this.under(place)}`;
  }
  /** What the map holds under the pointer: from the numbers that are here already. */
  private under([x, y]: [number, number]): string {
    const { view, columns } = this;
    const cell = view?.record ? this.map?.cellAt(x, y) ?? null : null;
    const zone = cell === null ? undefined : view?.zones[columns.zone?.[cell] - 1];
    if (cell === null || !zone) return "";
    const units = unitsOf(view);
    const index = columns.index?.[cell];
    return ` · ${Number.isFinite(index) ? `${view?.record?.image?.index} ${index.toFixed(2)}, ` : ""}${short(units.rate(zone.n_kg_ha))} ${units.rateUnit}`;
  }

  /** Longitude and latitude on the plane: the foot's own numbers, turned round. */
  private planeOf(longitude: number, latitude: number): [number, number] | null {
    const { ground } = this;
    if (!ground) return null;
    const basis = (t: number): number[] => [((t - 1) * (t - 2)) / 2, t * (2 - t), (t * (t - 1)) / 2];
    const at = (u: number, v: number, k: 0 | 1): number => { const [bu, bv] = [basis(u), basis(v)]; return ground.globe.reduce((sum, corner, i) => sum + corner[k] * bu[i % 3] * bv[Math.floor(i / 3)], 0); };
    let [u, v] = [1, 1];
    const d = 1e-3;
    for (let round = 0; round < 8; round++) {
      const [lon, lat] = [at(u, v, 0) - longitude, at(u, v, 1) - latitude];
      const [a, b] = [(at(u + d, v, 0) - at(u - d, v, 0)) / (2 * d), (at(u, v + d, 0) - at(u, v - d, 0)) / (2 * d)];
      const [c, e] = [(at(u + d, v, 1) - at(u - d, v, 1)) / (2 * d), (at(u, v + d, 1) - at(u, v - d, 1)) / (2 * d)];
      const det = a * e - b * c;
      if (!det) return null;
      u -= (lon * e - lat * b) / det;
      v -= (lat * a - lon * c) / det;
    }
    const [x0, y0, x1, y1] = ground.bounds;
    return Number.isFinite(u + v) ? [x0 + (u / 2) * (x1 - x0), y0 + (v / 2) * (y1 - y0)] : null;
  }
  private whereAmI(): void {
    const say = (text: string): void => { this.place.textContent = text; this.live.textContent = text; };
    say("asking the device …");
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        const at = this.planeOf(coords.longitude, coords.latitude);
        if (!at || !this.ground) return;
        const [x0, y0, x1, y1] = this.ground.bounds;
        const far = Math.hypot(Math.max(x0 - at[0], 0, at[0] - x1), Math.max(y0 - at[1], 0, at[1] - y1));
        this.map?.here(at, coords.accuracy, far < 5_000);
        say(far > 5_000 ? `you are ${fixed(far / 1000)} km from the field` : `you are here, ± ${fixed(coords.accuracy)} m${this.under(at)}`);
      },
      (error) => say(error.code === error.PERMISSION_DENIED ? "the device does not say where you are" : "no place from the device"),
      { enableHighAccuracy: true, timeout: 20_000, maximumAge: 5_000 });
  }

  private host(): PanelHost {
    const view = this.view as View;
    return {
      keys: this.keys, job: view.job, faults: view.faults, refused: this.refused, write: this.session.write, change: (changes, joined) => this.change(changes, joined),
      view, ground: this.ground, units: unitsOf(view), curve: this.curve, ceiling: this.ceiling, drag: (kgHa, done) => this.drag(kgHa, done), open: this.open,
      draw: (tool) => this.startDrawing(tool), drawing: this.tool?.element ?? null, drawingFor: this.tool?.question ?? 0,
      goZone: (zone) => this.goZone(zone), accept: (finding, reason, by) => void this.act("accept", { code: finding.code, figure: finding.figure, reason, by }),
      remove: (list, position) => void this.act("remove", { list, position }),
      entry: (list, position, values) => void this.act("entry", { list, position, values }).then((ok) => { if (ok && position === null) { this.drafts.delete(list); this.draw(); } }), drafts: this.drafts,
      along: (strip) => this.along(strip),
      goPlace: (latitude, longitude) => { const at = this.planeOf(longitude, latitude); if (at) { this.map?.here(at, 12, true); this.live.textContent = "The place is shown on the map."; this.mapBox.scrollIntoView({ block: "nearest" }); } },
      corners: (tool, name, rings, position) => this.moveCorners(tool, name, rings, position),
      jump: (question, key) => this.jump(question, key), makeMap: () => void this.makeMap(), made: this.made, making: this.making, select: () => undefined,
    };
  }
  private goZone(zone: Zone): void { this.map?.mark(zone.rings, true); this.live.textContent = `Zone ${zone.zone} is shown on the map.`; }

  private drawAnswers(): void {
    const { view } = this;
    if (!view) {
      fill(this.answers, this.refusal ? this.refusalBox(this.refusal) : h("p", { class: "loading" }, "Reading the field …"));
      return;
    }
    const before = this.kept?.view;
    const cards = view.answers.map((answer, k) => {
      const number = k + 1;
      const open = this.question === number;
      const difference = before ? this.difference(number, before, view) : "";
      const head = h("button", { class: `answer ${answer.state}`, id: `question-${number}`, "aria-expanded": open ? "true" : "false", "aria-controls": `panel-${number}`, onclick: () => this.openQuestion(open ? 0 : number) },
        h("span", { class: "question" }, h("span", { class: "number", "aria-hidden": "true" }, String(number)), answer.question, h("span", { class: "state-word" }, h("span", { "aria-hidden": "true" }, `${SIGNS[answer.state]} `), answer.word)),
        h("span", { class: "figure" }, ...this.figure(answer.figure), difference ? h("small", { class: "difference" }, difference) : null),
        ...answer.lines.slice(0, view.record ? 3 : 2).map((line) => h("span", { class: "line" }, line)));
      return h("section", { class: `question-card${open ? " open" : ""}` }, h("h2", { class: "plain" }, head), h("div", { id: `panel-${number}`, class: "panel", hidden: !open }, open ? panel(number, this.host()) : null));
    });
    fill(this.answers, this.refusal ? this.refusalBox(this.refusal) : null, view.error && !view.faults.length ? this.refusalBox(view.error) : null, ...cards);
    if (this.cell && !this.stretch) this.map?.mark(this.cell.rings);
  }
  /** Figures large, units small. */
  private figure(text: string): Node[] {
    return text.split(/((?:kg N|lb N|ha|ac|L|gal|lb|kg)(?= |$).*)/).filter(Boolean).map((part, k) => (k === 0 ? h("span", null, part.trimEnd()) : h("small", { class: "unit" }, ` ${part}`)));
  }
  private difference(question: number, before: View, now: View): string {
    const units = unitsOf(now);
    const [a, b] = [before.record as Tree, now.record as Tree];
    if (!a || !b) return "";
    const change = (path: (record: Tree) => number | undefined, digits: number, scale = 1): string => { const [x, y] = [path(a), path(b)]; return x === undefined || y === undefined || x === null || y === null ? "" : moved((y - x) * scale, digits); };
    if (question === 1) return change((r) => r.field.area_m2, 2, units.area(1));
    if (question === 2) return change((r) => r.reference.ratio, 2);
    if (question === 3) return change((r) => r.totals.n_kg, 0, units.mass(1));
    if (question === 4) { const low = change((r) => r.uncertainty?.drawn?.n_kg_p10, 0, units.mass(1)); const high = change((r) => r.uncertainty?.drawn?.n_kg_p90, 0, units.mass(1)); return low && high ? `${low}, ${high}` : ""; }
    return change((r) => r.totals.product ?? r.totals.n_kg, 0);
  }
  private refusalBox(refused: api.Refused): HTMLElement {
    return h("div", { class: "refusal", role: "alert" }, h("h2", null, h("span", { "aria-hidden": "true" }, "✕ "), sentence(refused.headline)), refused.facts.length ? h("ul", null, ...refused.facts.map((fact) => h("li", null, h("code", null, fact.place), ` ${fact.text}`))) : null, refused.hint ? h("p", null, refused.hint) : null,
      h("p", { class: "actions" }, h("button", { onclick: () => void this.act("reload") }, "Load the job again"), this.refusal === refused ? h("button", { class: "quiet", onclick: () => { this.refusal = null; this.draw(); } }, "Close") : null));
  }
  private openQuestion(number: number): void {
    this.question = number;
    if (number === 3 && this.view?.record && this.id !== null && !this.curve.length) void api.get<[number, number][]>(`jobs/${this.id}/curve`).then((curve) => { this.curve = curve; this.drawAnswers(); });
    this.drawAnswers();
    document.getElementById(`question-${Math.max(1, number)}`)?.closest("section")?.scrollIntoView({ block: "nearest" });
  }
  private jump(question: number, key?: string): void {
    const known = key ? this.keys.keys.find((each) => each.key === key) : undefined;
    if (known && !FIRST[known.question - 1].includes(known.key)) this.open.add(/list of tables/.test(known.type) ? known.key : known.section);
    this.openQuestion(question);
    const target = (key ? document.getElementById(`key-${key}`) ?? document.getElementById(`add-${key}`) : null) ?? document.getElementById(`question-${question}`);
    target?.scrollIntoView({ block: "center" });
    target?.focus();
  }
  private keep(): void {
    this.kept = this.kept ? null : this.view?.record ? { view: this.view, n: this.columns.n, ground: this.ground } : null;
    if (!this.kept && this.layer === "difference") this.layer = "zones";
    this.draw();
  }

  // ---- keys ------------------------------------------------------------------------------------------------------------------------------------------------
  private key(event: KeyboardEvent): void {
    const target = event.target as HTMLElement;
    const typing = /^(INPUT|TEXTAREA|SELECT)$/.test(target.tagName) && !/^(radio|checkbox|range|button)$/.test((target as HTMLInputElement).type ?? "");
    if (document.querySelector("dialog[open]") || !this.view) return;
    const onMap = target === this.mapBox;
    if (onMap && event.key === "Enter") { event.preventDefault(); void this.choose(this.cell?.cell ?? this.map?.centreCell() ?? null); return; }
    if (onMap && this.cell && event.key.startsWith("Arrow")) {
      const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key] ?? [0, 0];
      const next = this.map?.neighbour(this.cell, dx, dy) ?? null;
      if (next !== null) void this.choose(next);
      event.preventDefault();
      return;
    }
    if (event.key === "Escape") { if (this.map?.isDrawing()) document.getElementById("draw-end")?.click(); else if (this.cell) void this.choose(null); return; }
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z" && !typing) { event.preventDefault(); void this.act(event.shiftKey ? "redo" : "undo"); return; }
    if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
    const key = event.key.toLowerCase();
    if (/^[1-5]$/.test(key)) { this.openQuestion(this.question === Number(key) ? 0 : Number(key)); document.getElementById(`question-${key}`)?.focus(); }
    else if (key === "m") { const list = [...LAYERS.map(([layer]) => layer), ...(this.kept ? (["difference"] as Layer[]) : [])].filter((layer) => this.usable(layer)); this.setLayer(list[(list.indexOf(this.layer) + (event.shiftKey ? list.length - 1 : 1)) % list.length]); }
    else if (key === "k") this.keep();
    else if (key === "c" && this.kept && !event.repeat) { this.peek = true; this.paint(); }
    else if (key === "z") void this.act(event.shiftKey ? "redo" : "undo");
    else if (key === "g") this.mapBox.focus();
    else if (key === "/") this.finder();
    else if (key === "?") this.help();
    else return;
    event.preventDefault();
  }
  private dialog(title: string, ...children: Child[]): HTMLDialogElement {
    const before = document.activeElement as HTMLElement | null;
    const dialog = h("dialog", { "aria-label": title }, h("div", { class: "legend-head" }, h("h2", null, title), h("button", { class: "quiet", onclick: () => dialog.close(), "aria-label": "Close" }, "✕")), ...children);
    dialog.addEventListener("close", () => { dialog.remove(); if (document.activeElement === document.body) before?.focus(); });
    document.body.append(dialog);
    dialog.showModal();
    return dialog;
  }
  private help(): void {
    const rows: [string, string][] = [["1 to 5", "open or close a question"], ["M", "next layer of the map; Shift M the one before"], ["K", "keep this decision to compare with, or let it go"], ["hold C", "look at the kept decision"], ["Z", "undo; Shift Z redo"], ["/", "find a key or a finding"], ["G", "go to the map: Enter chooses a cell, arrows move, + and − zoom"], ["↑ ↓", "in a number: a step more or less; with Shift ten"], ["Esc", "close a cell, end drawing"]];
    this.dialog("Keys", h("dl", { class: "facts" }, ...rows.map(([key, what]) => h("div", null, h("dt", null, h("kbd", null, key)), h("dd", null, what)))), h("p", { class: "help" }, `haulm ${this.session.version}. Labels, local codes and a licensed adviser come before any map.`));
  }
  private finder(): void {
    const list = h("ul", { class: "found" });
    const input = h("input", { class: "wide", "aria-label": "Find a key or a finding", placeholder: "maximum, strips, image.age …", autocomplete: "off" });
    const dialog = this.dialog("Find", input, list);
    const look = (): void => {
      const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
      const hit = (text: string): boolean => words.every((word) => text.toLowerCase().includes(word));
      const entry = (name: string, about: string, go: () => void): HTMLElement => h("li", null, h("button", { class: "quiet", onclick: () => { dialog.close(); go(); } }, h("strong", null, name), ` ${about}`));
      // A key that is called so comes before one that speaks of it.
      const rank = (key: api.Key): number => (words.every((word) => key.key.replaceAll("_", " ").includes(word)) ? 0 : words.every((word) => key.noun.includes(word)) ? 1 : 2);
      const keys = words.length ? this.keys.keys.filter((key) => hit(`${key.key.replaceAll("_", " ")} ${key.key} ${key.noun} ${key.about}`)).sort((a, b) => rank(a) - rank(b)).slice(0, 12) : [];
      const findings = words.length ? (this.view?.findings ?? []).filter((finding) => hit(`${finding.code} ${finding.message}`)).slice(0, 8) : [];
      fill(list, ...keys.map((key) => entry(key.key, key.about, () => { if (!FIRST[key.question - 1].includes(key.key)) this.open.add(key.section); this.jump(key.question, key.key); })), ...findings.map((finding) => entry(finding.code, finding.message, () => { this.openQuestion(4); const found = [...document.querySelectorAll(".findings code")].find((code) => code.textContent === finding.code); const details = found?.closest("details"); if (details) { details.open = true; details.scrollIntoView({ block: "center" }); details.querySelector("summary")?.focus(); } })));
    };
    input.addEventListener("input", look);
    input.focus();
  }
}

class HaulmPage extends HTMLElement {
  private readonly inner = new Page(this);
  /** Where a place of the plane lies on the map's element, for tests against known coordinates. \[m to px\] */
  pixel(x: number, y: number): [number, number] | null { return this.inner.pixel(x, y); }
  connectedCallback(): void { void this.inner.begin().catch((error) => { this.textContent = String(error); }); }
}
customElements.define("haulm-page", HaulmPage);
export { fixed };
