// The legend is the histogram: area by value, in the colours of the map; a part of it can be chosen, and the cells of it light up.
import { fill, h, s } from "./dom";
import { fixed, short } from "./figures";
import { ticks } from "./charts";

export interface Bin { from: number; to: number; label: string; colour: string; area: number }
export interface LegendData { title: string; unit: string; areaUnit: string; bins: Bin[]; classes: boolean; note?: string; part?: number[] | null }

const W = 440;
const H = 92;

export class LegendView {
  readonly element = h("section", { class: "legend", "aria-label": "Legend: area by value" });
  private data: LegendData | null = null;
  private chosen: [number, number] | null = null;
  onBrush: (range: [number, number] | null) => void = () => undefined;

  show(data: LegendData | null): void {
    if (data?.title !== this.data?.title) this.chosen = null;
    this.data = data;
    this.draw();
  }
  range(): [number, number] | null { return this.chosen; }
  clear(): void { if (this.chosen) { this.chosen = null; this.draw(); this.onBrush(null); } }

  private choose(from: number, to: number): void {
    const { bins } = this.data ?? { bins: [] };
    const [a, b] = [Math.min(from, to), Math.max(from, to)];
    this.chosen = [bins[a].from, bins[b].to];
    this.draw();
    this.onBrush(this.chosen);
  }

  private draw(): void {
    const { data } = this;
    if (!data || !data.bins.length) { fill(this.element); return; }
    const { bins } = data;
    const most = Math.max(...bins.map((bin) => bin.area)) || 1;
    const total = bins.reduce((sum, bin) => sum + bin.area, 0);
    const wide = W / bins.length;
    const isIn = (bin: Bin): boolean => !this.chosen || (bin.from >= this.chosen[0] - 1e-9 && bin.to <= this.chosen[1] + 1e-9);
    const bars = bins.flatMap((bin, k) => {
      const tall = bin.area > 0 ? Math.max(2, (bin.area / most) * (H - 30)) : 0;
      const gap = data.classes ? 2 : 0.5;
      return [
        s("rect", { x: k * wide + gap / 2, y: H - 18 - tall, width: wide - gap, height: tall, fill: bin.colour, class: isIn(bin) ? "bar in" : "bar out" }),
        data.part && data.part[k] > 0 ? s("rect", { x: k * wide + wide / 4, y: H - 18 - Math.max(2, (data.part[k] / most) * (H - 30)), width: wide / 2, height: Math.max(2, (data.part[k] / most) * (H - 30)), class: "part" }) : null,
        data.classes && bin.area > 0 ? s("text", { x: (k + 0.5) * wide, y: H - 22 - tall, "text-anchor": "middle", class: "soft" }, fixed(bin.area, bin.area < 9.95 ? 1 : 0)) : null,
      ];
    });
    const labels: (SVGElement | null)[] = [];
    if (data.classes) bins.forEach((bin, k) => labels.push(s("text", { x: (k + 0.5) * wide, y: H - 4, "text-anchor": "middle" }, bin.label)));
    else {
      const [low, high] = [bins[0].from, bins[bins.length - 1].to];
      const marks = ticks(low, high, 5);
      const digits = marks.length > 1 ? Math.max(0, Math.min(3, -Math.floor(Math.log10(marks[1] - marks[0]) + 1e-9))) : 2;
      for (const mark of marks) { const x = ((mark - low) / (high - low)) * W; if (x > 8 && x < W - 8) labels.push(s("text", { x, y: H - 4, "text-anchor": "middle" }, mark.toFixed(digits))); }
    }
    const svg = s("svg", { viewBox: `0 0 ${W} ${H}`, class: "chart", "aria-hidden": "true" }, ...bars, ...labels, s("line", { x1: 0, x2: W, y1: H - 18, y2: H - 18, class: "rule" }));
    let from: number | null = null;
    const at = (event: Event): number => { const box = svg.getBoundingClientRect(); return Math.max(0, Math.min(bins.length - 1, Math.floor((((event as PointerEvent).clientX - box.left) / box.width) * bins.length))); };
    svg.addEventListener("pointerdown", (event) => {
      from = at(event);
      const start = from;
      let moved = false;
      const whole = this.chosen && bins[start].from >= this.chosen[0] - 1e-9 && bins[start].to <= this.chosen[1] + 1e-9;
      const move = (e: PointerEvent): void => { const now = at(e); if (now !== start || moved) { moved = true; this.choose(start, now); } };
      const up = (): void => {
        removeEventListener("pointermove", move); removeEventListener("pointerup", up);
        if (!moved) { if (whole) this.clear(); else this.choose(start, start); }
      };
      addEventListener("pointermove", move);
      addEventListener("pointerup", up);
    });
    const inside = bins.filter(isIn).reduce((sum, bin) => sum + bin.area, 0);
    const choice = h("select", { id: "legend-choice", class: "quiet", "aria-label": "Light up cells by value", onchange: (event: Event) => { const value = (event.target as HTMLSelectElement).value; if (value === "") this.clear(); else if (value !== "part") this.choose(Number(value), Number(value)); } },
      h("option", { value: "" }, "all values"), ...(this.chosen ? [h("option", { value: "part", selected: true }, `${short(this.chosen[0], 2)} to ${short(this.chosen[1], 2)}`)] : []),
      ...bins.map((bin, k) => (bin.area > 0 ? h("option", { value: k }, `${bin.label} ${data.unit}: ${fixed(bin.area, 1)} ${data.areaUnit}`) : null)));
    fill(this.element,
      h("div", { class: "legend-head" }, h("h2", null, data.title, h("small", null, ` ${data.unit}`)), h("span", { class: "soft" }, this.chosen ? `${fixed(inside, 1)} of ${fixed(total, 1)} ${data.areaUnit}` : `area, ${data.areaUnit}`), choice),
      svg, data.note ? h("p", { class: "help" }, data.note) : null);
  }
}
