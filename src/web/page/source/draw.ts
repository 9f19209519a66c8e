// Drawing a strip, a boundary, ground to leave out or a guidance line: by pointer, and by the same form in numbers.
import { fill, h } from "./dom";
import type { FieldMap, Tool } from "./map";
import type { Ground, Ring } from "./api";

const TITLES: Record<Tool, string> = { strips: "Draw a reference strip", boundary: "Draw the boundary", exclude: "Leave ground out", line: "Draw a guidance line" };
const HINTS: Record<Tool, string> = {
  strips: "Two clicks along the middle of the strip; its width comes from the field below. Or give start, heading, length and width.",
  boundary: "Click corner by corner, and double-click the last. Or type the corners.",
  exclude: "Click corner by corner around the ground that must get nothing, and double-click the last. Or type the corners.",
  line: "Click along the line that is driven, and double-click its end. Or type its points.",
};

export interface Finished { layer: Tool; shapes: Ring[]; buffer?: string; reason?: string }

/** The corners of a strip from its middle line and width. */
export function strip(from: [number, number], to: [number, number], width: number): Ring {
  const [dx, dy] = [to[0] - from[0], to[1] - from[1]];
  const length = Math.hypot(dx, dy) || 1;
  const [nx, ny] = [(-dy / length) * (width / 2), (dx / length) * (width / 2)];
  return [[from[0] + nx, from[1] + ny], [from[0] - nx, from[1] - ny], [to[0] - nx, to[1] - ny], [to[0] + nx, to[1] + ny]];
}

export function drawing(tool: Tool, map: FieldMap, ground: Ground, width: number, heading: number, kept: Ring[], done: (finished: Finished) => void, end: () => void): HTMLElement {
  const element = h("section", { class: "drawing", "aria-label": TITLES[tool] });
  let points: Ring = [];
  let strips = [...kept];
  let wide = width;
  const [x0, y0, x1, y1] = ground.bounds;
  const azimuth = (heading - ground.plane.convergence_deg + 360) % 360;
  const length = Math.min(200, Math.round(Math.hypot(x1 - x0, y1 - y0) / 3));
  const middle: [number, number] = [(x0 + x1) / 2, (y0 + y1) / 2];
  const start = { x: middle[0] - (Math.sin((azimuth * Math.PI) / 180) * length) / 2, y: middle[1] - (Math.cos((azimuth * Math.PI) / 180) * length) / 2 };
  const form = { x: start.x.toFixed(1), y: start.y.toFixed(1), heading: heading.toFixed(1), length: String(length), width: String(width), points: "", buffer: "", reason: "" };
  const shape = (): Ring => (tool === "strips" && points.length > 1 ? strip(points[0], points[1], wide) : points);
  const preview = (): void => { if (tool === "strips") map.preview(shape(), true); else map.preview(points, tool !== "line"); };
  const fromForm = (): void => {
    const number = (text: string): number => Number(text.replace(",", "."));
    if (tool === "strips") {
      const [x, y, a, l, w] = [form.x, form.y, form.heading, form.length, form.width].map(number);
      if (![x, y, a, l, w].every(Number.isFinite) || l <= 0 || w <= 0) { said = "give numbers: metres, and degrees from true north"; draw(); return; }
      const turn = ((a - ground.plane.convergence_deg) * Math.PI) / 180;
      points = [[x, y], [x + Math.sin(turn) * l, y + Math.cos(turn) * l]];
      wide = w;
    } else {
      const rows = form.points.split(/[\n;]+/).map((row) => row.trim()).filter(Boolean).map((row) => row.split(/[\s,]+/).map(Number));
      if (rows.some((row) => row.length !== 2 || !row.every(Number.isFinite))) { said = "one point a line: x and y in metres"; draw(); return; }
      points = rows as Ring;
    }
    said = "";
    preview();
    draw();
  };
  let said = "";
  const usable = (): boolean => points.length >= (tool === "strips" || tool === "line" ? 2 : 3);
  const input = (name: keyof typeof form, label: string, unit: string): HTMLElement =>
    h("div", { class: "field small" }, h("label", { for: `draw-${name}` }, label), h("input", { id: `draw-${name}`, value: form[name], autocomplete: "off", inputmode: name === "reason" || name === "buffer" ? "text" : "decimal", onchange: (event: Event) => { form[name] = (event.target as HTMLInputElement).value; if (name !== "reason" && name !== "buffer") fromForm(); } }), h("span", { class: "soft" }, unit));
  const draw = (): void => {
    fill(element,
      h("h3", null, TITLES[tool]), h("p", { class: "help" }, HINTS[tool]),
      tool === "strips"
        ? h("div", { class: "row" }, input("x", "start, east", "m"), input("y", "start, north", "m"), input("heading", "heading", "° true"), input("length", "length", "m"), input("width", "width", "m"))
        : h("div", { class: "field" }, h("label", { for: "draw-points" }, "points, x and y a line"), h("textarea", { id: "draw-points", rows: 4, value: form.points, onchange: (event: Event) => { form.points = (event.target as HTMLTextAreaElement).value; fromForm(); } })),
      tool === "exclude" ? h("div", { class: "row" }, input("buffer", "buffer", "as 10 m"), input("reason", "reason", "")) : null,
      strips.length && tool === "strips" ? h("p", { class: "soft" }, `${strips.length} strip${strips.length > 1 ? "s" : ""} in the job stay; the new one joins.`, " ", h("button", { class: "quiet", onclick: () => { strips = []; draw(); } }, "Replace instead")) : null,
      said ? h("p", { class: "error", role: "alert" }, said) : null,
      h("p", { class: "actions" },
        h("button", { class: "main", id: "draw-use", onclick: () => { if (!usable()) { fromForm(); } if (usable()) done({ layer: tool, shapes: tool === "strips" ? [...strips, shape()] : [points], buffer: form.buffer, reason: form.reason }); } }, "Use it"),
        h("button", { id: "draw-end", onclick: end }, "Leave it")));
  };
  map.draw(tool, (drawn) => {
    points = tool === "strips" && drawn.length === 4 ? points : drawn;
    if (tool === "strips" && points.length > 1) {
      const [dx, dy] = [points[1][0] - points[0][0], points[1][1] - points[0][1]];
      form.x = points[0][0].toFixed(1); form.y = points[0][1].toFixed(1);
      form.length = Math.hypot(dx, dy).toFixed(1);
      form.heading = (((Math.atan2(dx, dy) * 180) / Math.PI + ground.plane.convergence_deg + 360) % 360).toFixed(1);
      // The strip is shown as it will be: with its width.
      setTimeout(preview, 0);
    } else form.points = points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("\n");
    draw();
  });
  draw();
  return element;
}
