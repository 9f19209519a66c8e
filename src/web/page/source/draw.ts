// Drawing a strip, a boundary, ground to leave out or whose rate is set, or a guidance line: by pointer, and by the same form in numbers.
import { fill, h } from "./dom";
import { fixed, short, type Units } from "./figures";
import { inside, type FieldMap, type Tool } from "./map";
import type { Ground, Ring, Zone } from "./api";

const TITLES: Record<Tool, string> = { strips: "Draw a reference strip", boundary: "Draw the boundary", exclude: "Leave ground out", set: "Set a rate by hand", line: "Draw a guidance line" };
const HINTS: Record<Tool, string> = {
  strips: "Two clicks along the middle of the strip; its width comes from the field below. Or give start, heading, length and width.",
  boundary: "Click corner by corner, and double-click the last. Or type the corners.",
  exclude: "Click corner by corner around the ground that must get nothing, and double-click the last. Or type the corners.",
  set: "Choose a zone, or click corner by corner and double-click the last. Ground without a full stand is lowered only; exclusions stay at nothing.",
  line: "Click along the line that is driven, and double-click its end. Or type its points.",
};

/** How a rate can be set, by the keys of the job. */
const WAYS: [string, string][] = [["rate", "set to"], ["add", "add (or −)"], ["at_most", "at most"]];

export interface Finished { layer: Tool; shapes: Ring[]; polygons?: Ring[][]; position?: number; buffer?: string; reason?: string; set?: string; amount?: string; zone?: number; decided?: number }

/** What a tool is begun with. */
export interface Begun {
  tool: Tool; map: FieldMap; ground: Ground; width: number; heading: number;
  /** Strips of the job, which stay. */
  kept: Ring[];
  zones: () => Zone[]; decided: () => number; units: Units;
  /** The zone that a rate is set for. */
  zone: number | null;
  done: (finished: Finished) => void; end: () => void;
}

/** The corners of a strip from its middle line and width. */
export function strip(from: [number, number], to: [number, number], width: number): Ring {
  const [dx, dy] = [to[0] - from[0], to[1] - from[1]];
  const length = Math.hypot(dx, dy) || 1;
  const [nx, ny] = [(-dy / length) * (width / 2), (dx / length) * (width / 2)];
  return [[from[0] + nx, from[1] + ny], [from[0] - nx, from[1] - ny], [to[0] - nx, to[1] - ny], [to[0] + nx, to[1] + ny]];
}

/** Rings as polygons: a ring within another one is its hole. */
export function polygonsOf(rings: Ring[]): Ring[][] {
  const holders = rings.map((ring, k) => rings.flatMap((other, m) => (m !== k && ring.every(([x, y]) => inside([[other]], x, y)) ? [m] : [])));
  const outer = rings.map((_, k) => holders[k].length % 2 === 0);
  return rings.flatMap((ring, k) => (outer[k] ? [[ring, ...rings.filter((_, m) => !outer[m] && holders[m].includes(k) && holders[m].length === holders[k].length + 1)]] : []));
}

const written = (rings: Ring[]): string => rings.map((ring) => ring.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("\n")).join("\n\n");
/** Points as they are typed, ring by ring; nothing where a row is no point. */
function read(text: string): Ring[] | null {
  const rings = text.split(/\n\s*\n/).map((part) => part.split(/[\n;]+/).map((row) => row.trim()).filter(Boolean).map((row) => row.split(/[\s,]+/).map(Number))).filter((ring) => ring.length);
  return rings.flat().some((row) => row.length !== 2 || !row.every(Number.isFinite)) ? null : (rings as Ring[]);
}

/** The corners of shapes that stand in the job: pulled on the map, or typed. */
export function corners({ tool, map, done, end }: Pick<Begun, "tool" | "map" | "done" | "end">, name: string, first: Ring[], position: number | null): HTMLElement {
  const closed = tool !== "line";
  let rings = first;
  let said = "";
  const element = h("section", { class: "drawing", "aria-label": `Move corners: ${name}` });
  const box = h("textarea", { id: "draw-points", rows: 7, value: written(rings), onchange: () => {
    const found = read(box.value);
    if (!found) { said = "one point a line: x and y in metres; an empty line before the next ring"; draw(); return; }
    said = "";
    rings = found;
    map.previewAll(rings, closed);
    draw();
  } });
  const wrong = h("p", { class: "error", role: "alert" });
  const draw = (): void => { fill(wrong, said || null); wrong.hidden = !said; };
  fill(element, h("h3", null, `Move corners: ${name}`),
    h("p", { class: "help" }, "Pull a corner; click on a line for a new one; Alt and click takes one away. Or change, add and delete the points below."),
    h("div", { class: "field" }, h("label", { for: "draw-points" }, "points, x and y a line; an empty line between rings"), box), wrong,
    h("p", { class: "actions" },
      h("button", { class: "main", id: "draw-use", onclick: () => {
        const least = closed ? 3 : 2;
        if (!rings.length || rings.some((ring) => ring.length < least)) { said = closed ? "a ring has three points at least" : "a line has two points at least"; draw(); return; }
        done({ layer: tool, shapes: closed ? [] : rings, ...(closed ? { polygons: polygonsOf(rings) } : {}), ...(position !== null ? { position } : {}) });
      } }, "Use it"), h("button", { id: "draw-end", onclick: end }, "Leave it")));
  map.edit(tool, rings, closed, (moved) => { rings = moved; box.value = written(rings); });
  draw();
  return element;
}

export function drawing({ tool, map, ground, width, heading, kept, zones, decided, units, zone, done, end }: Begun): HTMLElement {
  const element = h("section", { class: "drawing", "aria-label": TITLES[tool] });
  let points: Ring = [];
  let strips = [...kept];
  let wide = width;
  const [x0, y0, x1, y1] = ground.bounds;
  const azimuth = (heading - ground.plane.convergence_deg + 360) % 360;
  const length = Math.min(200, Math.round(Math.hypot(x1 - x0, y1 - y0) / 3));
  const middle: [number, number] = [(x0 + x1) / 2, (y0 + y1) / 2];
  const start = { x: middle[0] - (Math.sin((azimuth * Math.PI) / 180) * length) / 2, y: middle[1] - (Math.cos((azimuth * Math.PI) / 180) * length) / 2 };
  const form = { x: start.x.toFixed(1), y: start.y.toFixed(1), heading: heading.toFixed(1), length: String(length), width: String(width), points: "", buffer: "", reason: "", amount: "" };
  let way = WAYS[0][0];
  let chosen = zone === null ? undefined : zones().find((each) => each.zone === zone);
  const shape = (): Ring => (tool === "strips" && points.length > 1 ? strip(points[0], points[1], wide) : points);
  // A zone that has changed under its number is none that was chosen.
  const still = (): Zone | undefined => { const now = chosen && zones().find((each) => each.zone === chosen?.zone); return now && chosen && JSON.stringify(now.rings) === JSON.stringify(chosen.rings) ? now : undefined; };
  const choose = (number: number | null): void => { chosen = number === null ? undefined : zones().find((each) => each.zone === number); points = []; form.points = ""; map.preview([], true); map.mark(chosen?.rings ?? null, chosen !== undefined); draw(); };
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
      const rings = read(form.points);
      if (!rings) { said = "one point a line: x and y in metres"; draw(); return; }
      if (rings.length) { chosen = undefined; map.mark(null); }
      points = rings[0] ?? [];
    }
    said = "";
    preview();
    draw();
  };
  let said = "";
  const usable = (): boolean => still() !== undefined || points.length >= (tool === "strips" || tool === "line" ? 2 : 3);
  const words = new Set(["reason", "buffer", "amount"]);
  // Letter by letter: an answer that comes in between redraws the form, and the browser may then never tell of a change.
  const input = (name: keyof typeof form, label: string, unit: string): HTMLElement =>
    h("div", { class: "field small" }, h("label", { for: `draw-${name}` }, label), h("input", { id: `draw-${name}`, value: form[name], autocomplete: "off", inputmode: words.has(name) ? "text" : "decimal", oninput: (event: Event) => { form[name] = (event.target as HTMLInputElement).value; }, onchange: (event: Event) => { form[name] = (event.target as HTMLInputElement).value; if (!words.has(name)) fromForm(); } }), h("span", { class: "soft" }, unit));
  const zoneList = h("select", { id: "draw-zone", class: "wide", onchange: () => choose(zoneList.value === "" ? null : Number(zoneList.value)) });
  const listZones = (): void => {
    zoneList.replaceChildren(h("option", { value: "" }, "the shape drawn or typed"),
      ...[...zones()].sort((a, b) => b.area_m2 - a.area_m2).slice(0, 500).map((each) => h("option", { value: each.zone }, `zone ${each.zone}: ${short(units.rate(each.n_kg_ha))} ${units.rateUnit}, ${fixed(units.area(each.area_m2), 2)} ${units.areaUnit}`)));
    zoneList.value = still() ? String(chosen?.zone) : "";
  };
  const wayList = h("select", { id: "draw-way", onchange: () => { way = wayList.value; } }, ...WAYS.map(([key, name]) => h("option", { value: key }, name)));
  const finished = (): Finished => {
    const taken = still();
    if (tool === "set") return { layer: tool, shapes: taken ? [] : [points], reason: form.reason, set: way, amount: form.amount, ...(taken ? { zone: taken.zone, decided: decided() } : {}) };
    return { layer: tool, shapes: tool === "strips" ? [...strips, shape()] : [points], buffer: form.buffer, reason: form.reason };
  };
  // What can be clicked on stays the same element: a value that is taken by the very click on "Use it" must not take the button away under it.
  const stay = h("p", { class: "soft" });
  const wrong = h("p", { class: "error", role: "alert" });
  const area = h("textarea", { id: "draw-points", rows: 4, value: form.points, oninput: () => { form.points = area.value; }, onchange: () => { form.points = area.value; fromForm(); } });
  fill(element,
    h("h3", null, TITLES[tool]), h("p", { class: "help" }, HINTS[tool]),
    tool === "set" ? h("div", { class: "field" }, h("label", { for: "draw-zone" }, "ground"), zoneList) : null,
    tool === "strips"
      ? h("div", { class: "row" }, input("x", "start, east", "m"), input("y", "start, north", "m"), input("heading", "heading", "° true"), input("length", "length", "m"), input("width", "width", "m"))
      : h("div", { class: "field" }, h("label", { for: "draw-points" }, "points, x and y a line"), area),
    tool === "set" ? h("div", { class: "row" }, h("div", { class: "field small" }, h("label", { for: "draw-way" }, "rate"), wayList), input("amount", "amount", `as ${short(units.rate(40))} ${units.rateUnit}`), input("reason", "reason", "")) : null,
    tool === "exclude" ? h("div", { class: "row" }, input("buffer", "buffer", "as 10 m"), input("reason", "reason", "")) : null,
    stay, wrong,
    h("p", { class: "actions" },
      h("button", { class: "main", id: "draw-use", onclick: () => { if (!usable()) { fromForm(); } if (usable()) done(finished()); else if (tool === "set") { said = chosen ? "the map has changed: choose the zone again" : "choose a zone, or give three points"; draw(); } } }, "Use it"),
      h("button", { id: "draw-end", onclick: end }, "Leave it")));
  const draw = (): void => {
    for (const name of Object.keys(form) as (keyof typeof form)[]) {
      const box = element.querySelector<HTMLInputElement | HTMLTextAreaElement>(`#draw-${name}`);
      if (box && box.value !== form[name]) box.value = form[name];
    }
    if (tool === "set") listZones();
    fill(stay, strips.length && tool === "strips" ? h("span", null, `${strips.length} strip${strips.length > 1 ? "s" : ""} in the job stay; the new one joins.`, " ", h("button", { class: "quiet", onclick: () => { strips = []; draw(); } }, "Replace instead")) : null);
    stay.hidden = !stay.childElementCount;
    fill(wrong, said || null);
    wrong.hidden = !said;
  };
  map.draw(tool, (drawn) => {
    points = tool === "strips" && drawn.length === 4 ? points : drawn;
    if (chosen) { chosen = undefined; map.mark(null); }
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
  if (chosen) map.mark(chosen.rings, true);
  draw();
  return element;
}
