// Small drawings of our own: each says in words what it shows, and carries its numbers.
import { s } from "./dom";
import { fixed, short, type Units } from "./figures";
import type { Strip, Tree } from "./api";

const W = 400;

function frame(height: number, label: string, ...children: Node[]): SVGElement {
  return s("svg", { viewBox: `0 0 ${W} ${height}`, role: "img", "aria-label": label, class: "chart" }, ...children);
}
const text = (x: number, y: number, what: string, anchor = "start", more: Record<string, unknown> = {}): SVGElement => s("text", { x, y, "text-anchor": anchor, ...more }, what);

/** Round steps that cut a range into a few parts. */
export function ticks(low: number, high: number, wanted = 4): number[] {
  const span = high - low;
  if (!(span > 0)) return [low];
  const raw = span / wanted;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 2.5, 5, 10].map((k) => k * power).find((k) => k >= raw) ?? raw;
  const out: number[] = [];
  for (let at = Math.ceil(low / step - 1e-9) * step; at <= high + 1e-9 * step; at += step) out.push(Math.abs(at) < 1e-12 ? 0 : at);
  return out;
}
const digitsOf = (step: number): number => Math.max(0, Math.min(4, -Math.floor(Math.log10(step) + 1e-9)));

/** Ratios of the ground where no strip lies, as dots, with the strips' own ratios on them. */
export function placebo(strips: Strip[], record: Tree): SVGElement | null {
  const dots = strips.flatMap((strip) => strip.placebo.map((place) => place.ratio)).filter((ratio) => Number.isFinite(ratio));
  const own = strips.flatMap((strip) => (strip.ratio !== null && Number.isFinite(strip.ratio) ? [{ n: strip.strip, ratio: strip.ratio }] : []));
  if (dots.length < 5) return null;
  const values = [...dots, ...own.map((each) => each.ratio), 1];
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const [x0, x1] = [14, W - 14];
  const x = (value: number): number => x0 + ((value - low) / (high - low)) * (x1 - x0);
  const bins = new Map<number, number>();
  const size = 7;
  const marks = dots.sort((a, b) => a - b).map((ratio) => {
    const bin = Math.round(x(ratio) / size);
    const level = bins.get(bin) ?? 0;
    bins.set(bin, level + 1);
    return { bin, level };
  });
  const tall = Math.max(...bins.values());
  const pitch = Math.min(size, 84 / tall);
  const base = 34 + Math.max(40, tall * pitch);
  const children: Node[] = marks.map(({ bin, level }) => s("circle", { cx: bin * size, cy: base - pitch / 2 - level * pitch, r: Math.min(3, pitch / 2), class: "dot" }));
  children.push(s("line", { x1: x(1), x2: x(1), y1: 22, y2: base, class: "rule dashed" }), s("line", { x1: x0, x2: x1, y1: base, y2: base, class: "rule" }));
  own.forEach(({ n, ratio }, k) => {
    const at = x(ratio);
    const anchor = at > W - 50 ? "end" : "middle";
    children.push(s("line", { x1: at, x2: at, y1: 20 + (k % 2) * 12, y2: base, class: "own" }), text(at + (anchor === "end" ? 4 : 0), 14 + (k % 2) * 12, `S${n} ${ratio.toFixed(2)}`, anchor, { class: "strong" }));
  });
  for (const tick of ticks(low, high)) children.push(s("line", { x1: x(tick), x2: x(tick), y1: base, y2: base + 4, class: "rule" }), text(x(tick), base + 16, tick.toFixed(digitsOf(ticks(low, high)[1] - ticks(low, high)[0])), "middle"));
  children.push(text(W / 2, base + 32, "ratio to the ground beside · dots: placebo strips, where nothing was applied", "middle", { class: "soft" }));
  const p = record?.reference?.placebo?.probability;
  return frame(base + 38, `Ratios at ${dots.length} placebo strips from ${Math.min(...dots).toFixed(2)} to ${Math.max(...dots).toFixed(2)}; the strips' own: ${own.map((each) => each.ratio.toFixed(2)).join(", ")}. ${p === undefined || p === null ? "" : `Ground alone gives as much in ${(100 * p).toFixed(1)} %.`}`, ...children);
}

/** What joins the drawing along a strip with map and histogram. */
export interface Along {
  /** The stretch that is chosen. [m] */
  chosen: [number, number] | null;
  choose: (from: number, to: number) => void;
  clear: () => void;
  /** Whether the cell at this place along the strip is lit; nothing where no part of the histogram is chosen. */
  lit: (along: number) => boolean | null;
}

/** The index along a strip and beside it, piece by piece. */
export function profile(strip: Strip, name: string, units: Units, along: Along | null = null): SVGElement | null {
  const pieces = strip.profile.filter((piece) => piece.strip !== null || piece.beside !== null);
  if (pieces.length < 2) return null;
  const values = pieces.flatMap((piece) => [piece.strip, piece.beside]).filter((value): value is number => value !== null && Number.isFinite(value));
  const pad = 0.08 * (Math.max(...values) - Math.min(...values) || 0.1);
  const [low, high] = [Math.min(...values) - pad, Math.max(...values) + pad];
  const length = Math.max(...pieces.map((piece) => piece.to));
  const [x0, x1, y0, y1] = [36, W - 8, 12, 108];
  const x = (value: number): number => x0 + (value / length) * (x1 - x0);
  const y = (value: number): number => y1 - ((value - low) / (high - low)) * (y1 - y0);
  const children: Node[] = [];
  for (const tick of ticks(low, high, 3)) children.push(s("line", { x1: x0, x2: x1, y1: y(tick), y2: y(tick), class: "grid" }), text(x0 - 4, y(tick) + 4, tick.toFixed(2), "end"));
  for (const which of ["beside", "strip"] as const) {
    const dropped = which === "strip" ? "strip_dropped" : "beside_dropped";
    let path = "";
    let open = false;
    for (const piece of strip.profile) {
      const value = piece[which];
      if (value === null || !Number.isFinite(value) || piece[dropped]) { open = false; continue; }
      path += `${open ? "L" : "M"}${x(piece.from).toFixed(1)} ${y(value).toFixed(1)}L${x(piece.to).toFixed(1)} ${y(value).toFixed(1)}`;
      open = true;
    }
    children.push(s("path", { d: path, class: which === "strip" ? "line strong" : "line weak" }));
    for (const piece of strip.profile) {
      const value = piece[which];
      if (value !== null && piece[dropped]) children.push(text(x((piece.from + piece.to) / 2), y(value) + 4, "×", "middle"));
    }
  }
  if (along) {
    const { chosen } = along;
    if (chosen) children.unshift(s("rect", { x: x(chosen[0]), y: y0, width: Math.max(1, x(chosen[1]) - x(chosen[0])), height: y1 - y0, class: "stretch" }));
    for (const piece of strip.profile) if (along.lit((piece.from + piece.to) / 2)) children.push(s("rect", { x: x(piece.from), y: y1 - 3, width: Math.max(1, x(piece.to) - x(piece.from)), height: 6, class: "lit" }));
  }
  const long = units.us ? length / 0.3048 : length;
  children.push(s("line", { x1: x0, x2: x1, y1, y2: y1, class: "rule" }), text(x0, y1 + 14, "0"), text(x1, y1 + 14, `${fixed(long)} ${units.us ? "ft" : "m"}`, "end"));
  children.push(text(W / 2, y1 + 14, `${name} along S${strip.strip}: — strip, – – beside it${strip.profile.some((piece) => piece.strip_dropped || piece.beside_dropped) ? ", × left out" : ""}`, "middle", { class: "soft" }));
  const mean = (which: "strip" | "beside"): number => { const all = pieces.map((piece) => piece[which]).filter((value): value is number => value !== null); return all.reduce((a, b) => a + b, 0) / all.length; };
  const chart = frame(y1 + 20, `${name} along strip ${strip.strip}: mean ${mean("strip").toFixed(2)} in the strip, ${mean("beside").toFixed(2)} beside it.`, ...children);
  if (along) {
    chart.classList.add("brush");
    const at = (event: PointerEvent): number => { const box = chart.getBoundingClientRect(); return Math.max(0, Math.min(length, ((((event.clientX - box.left) / box.width) * W - x0) / (x1 - x0)) * length)); };
    chart.addEventListener("pointerdown", (event) => {
      const first = at(event as PointerEvent);
      let last = first;
      // The drawing is made anew while it is brushed, so the window listens.
      const move = (m: PointerEvent): void => { last = at(m); if (Math.abs(last - first) > 0.005 * length) along.choose(Math.min(first, last), Math.max(first, last)); };
      const up = (): void => { removeEventListener("pointermove", move); removeEventListener("pointerup", up); if (Math.abs(last - first) <= 0.005 * length) along.clear(); };
      addEventListener("pointermove", move);
      addEventListener("pointerup", up);
    });
  }
  return chart;
}

/** What flat rates bring on the mean of the canopy, with the ceiling that can be dragged. */
export function response(curve: [number, number][], record: Tree, units: Units, ceiling: number | null, drag: ((kgHa: number, done: boolean) => void) | null): SVGElement | null {
  if (curve.length < 2) return null;
  const most = Math.max(ceiling ?? 0, ...curve.map(([, grain]) => grain));
  const least = Math.min(...curve.map(([, grain]) => grain));
  const low = Math.max(0, least - 0.25 * (most - least) - 1);
  const high = most + 0.25 * (most - least) + 1;
  const rate = Math.max(...curve.map(([n]) => n)) || 1;
  const [x0, x1, y0, y1] = [40, W - 10, 12, 150];
  const x = (value: number): number => x0 + (value / rate) * (x1 - x0);
  const y = (value: number): number => y1 - ((value - low) / (high - low)) * (y1 - y0);
  const children: Node[] = [];
  const step = ticks(units.grain(low), units.grain(high), 4);
  for (const tick of step) {
    const at = y1 - ((tick - units.grain(low)) / (units.grain(high) - units.grain(low))) * (y1 - y0);
    children.push(s("line", { x1: x0, x2: x1, y1: at, y2: at, class: "grid" }), text(x0 - 4, at + 4, tick.toFixed(digitsOf(step[1] - step[0] || 1)), "end"));
  }
  children.push(s("path", { d: curve.map(([n, grain], k) => `${k ? "L" : "M"}${x(n).toFixed(1)} ${y(grain).toFixed(1)}`).join(""), class: "line strong" }));
  const mean = record?.totals?.mean_n_kg_ha as number | undefined;
  const mark = (n: number, label: string, up: boolean): void => {
    const at = x(n);
    children.push(s("line", { x1: at, x2: at, y1: y0, y2: y1, class: "rule dashed" }), text(at + 3, up ? y1 - 6 : y1 - 20, label, at > W - 110 ? "end" : "start"));
  };
  if (mean !== undefined) mark(mean, `map's mean ${short(units.rate(mean))}`, true);
  const usual = record?.settings?.rate?.usual_kg_n_ha as number | null | undefined;
  if (usual) mark(usual, `usual ${short(units.rate(usual))}`, false);
  for (const tick of ticks(0, units.rate(rate), 4)) { const at = x0 + (tick / units.rate(rate)) * (x1 - x0); children.push(text(at, y1 + 14, short(tick), "middle")); }
  children.push(text(W / 2, y1 + 30, `one flat rate, ${units.rateUnit} · mean yield of the canopy, ${units.yieldUnit}`, "middle", { class: "soft" }));
  if (ceiling !== null) {
    const handle = s("g", { class: drag ? "ceiling drag" : "ceiling" },
      s("line", { x1: x0, x2: x1, y1: y(ceiling), y2: y(ceiling), class: "limit" }),
      s("rect", { x: x0, y: y(ceiling) - 14, width: x1 - x0, height: 28, class: "grip" }),
      text(x1, y(ceiling) - 5, `maximum yield ${units.grain(ceiling).toFixed(units.yieldDigits)}${drag ? " ↕" : ""}`, "end", { class: "strong" }));
    children.push(handle);
    if (drag) {
      const value = (event: PointerEvent): number => {
        const box = chart.getBoundingClientRect();
        const at = ((event.clientY - box.top) / box.height) * (y1 + 36);
        return Math.max(100, low + ((y1 - at) / (y1 - y0)) * (high - low));
      };
      handle.addEventListener("pointerdown", (event) => {
        const e = event as PointerEvent;
        e.preventDefault();
        let now = ceiling;
        // The chart is drawn anew while it is dragged, so the window listens.
        const move = (m: PointerEvent): void => { now = value(m); drag(now, false); };
        const up = (): void => { removeEventListener("pointermove", move); removeEventListener("pointerup", up); drag(now, true); };
        addEventListener("pointermove", move);
        addEventListener("pointerup", up);
      });
    }
  }
  const chart = frame(y1 + 36, `Mean yield of the canopy at flat rates: ${units.grain(curve[0][1]).toFixed(units.yieldDigits)} ${units.yieldUnit} without nitrogen, ${units.grain(curve[curve.length - 1][1]).toFixed(units.yieldDigits)} at ${short(units.rate(rate))} ${units.rateUnit}.`, ...children);
  return chart;
}

/** What the uncertainty comes from, as bars. */
export function causes(record: Tree): SVGElement | null {
  const parts = (record?.uncertainty?.drawn?.alone ?? []) as { uncertainty: string; variance_share: number; sd_n_kg: number }[];
  const shown = parts.filter((part) => part.variance_share >= 0.005);
  if (!shown.length) return null;
  const most = Math.max(...shown.map((part) => part.variance_share));
  const children: Node[] = [];
  shown.forEach((part, k) => {
    const y = 6 + k * 24;
    children.push(text(150, y + 13, part.uncertainty, "end"), s("rect", { x: 158, y, width: Math.max(1, (part.variance_share / most) * 180), height: 18, class: "cause" }), text(164 + (part.variance_share / most) * 180, y + 13, `${(100 * part.variance_share).toFixed(0)} %`));
  });
  return frame(12 + shown.length * 24, `Shares of the variance: ${shown.map((part) => `${part.uncertainty} ${(100 * part.variance_share).toFixed(0)} %`).join(", ")}.`, ...children);
}
