// What each question opens to.
import { h, type Child } from "./dom";
import { field, find, further, type FormHost } from "./form";
import { fixed, sentence, short, type Units } from "./figures";
import { causes, placebo, profile, response, type Along } from "./charts";
import type { Finding, Ground, Made, Ring, Rings, Tree, View, Zone } from "./api";
import { GROUND } from "./card";
import type { Tool } from "./map";

export interface PanelHost extends FormHost {
  view: View;
  ground: Ground | null;
  units: Units;
  curve: [number, number][];
  /** The ceiling while it is dragged. */
  ceiling: number | null;
  drag: (kgHa: number, done: boolean) => void;
  open: Set<string>;
  draw: (tool: Tool) => void;
  drawing: Node | null;
  drawingFor: number;
  goZone: (zone: Zone) => void;
  accept: (finding: Finding, reason: string, by: string) => void;
  goPlace: (latitude: number, longitude: number) => void;
  along: (strip: number) => Along;
  corners: (tool: Tool, name: string, rings: Ring[], position: number | null) => void;
  jump: (question: number, key?: string) => void;
  makeMap: () => void;
  made: Made | null;
  making: boolean;
  select: (zone: number | null) => void;
}

/** The keys that matter first, by question. */
export const FIRST: string[][] = [
  ["field.name", "imagery.date", "imagery.index", "imagery.bare_below", "imagery.minimum_seen"],
  ["season.crop", "season.planted", "season.growing_days", "reference.strips_use"],
  ["response.maximum_yield", "rate.maximum", "rate.minimum", "rate.step", "rate.usual", "response.use_efficiency", "response.nitrogen_share", "rate.thin", "rate.unseen"],
  ["uncertainty.draws", "application.date"],
  ["product.name", "machine.working_width", "machine.heading", "machine.cell_length", "machine.minimum_rate", "machine.maximum_rate", "zones.minimum_area", "output.unit"],
];

function fields(host: PanelHost, question: number): HTMLElement {
  const keys = FIRST[question - 1].map((name) => find(host, name)).filter((key) => key !== null);
  // A key that is missing or wrong stands with the first ones.
  const wanted = host.faults.filter((fault) => fault.question === question && !FIRST[question - 1].includes(fault.key)).map((fault) => find(host, fault.key)).filter((key) => key !== null);
  return h("fieldset", { class: "fields", disabled: false }, h("legend", { class: "hidden" }, "Settings"), ...[...wanted, ...keys].filter((key, k, all) => all.findIndex((other) => other.key === key.key) === k).map((key) => field(host, key)));
}

const facts = (...rows: [string, Child][]): HTMLElement => h("dl", { class: "facts" }, ...rows.filter(([, value]) => value !== "" && value !== null).map(([name, value]) => h("div", null, h("dt", null, name), h("dd", null, value))));
const tools = (host: PanelHost, list: [Tool, string][]): HTMLElement | null => (host.write && host.ground ? h("p", { class: "actions" }, ...list.map(([tool, name]) => h("button", { id: `tool-${tool}`, onclick: () => host.draw(tool) }, name))) : null);

/** A list of the job, each entry of which can go. */
function entries(host: PanelHost, title: string, list: string, all: Tree, name: (each: Tree) => string, shapes?: { tool: Tool; of: Rings[] | undefined }): HTMLElement | null {
  if (!Array.isArray(all) || !all.length) return null;
  const move = (each: Tree, k: number): HTMLElement | null => { const rings = shapes?.of?.[k]?.flat().map(open); return shapes && rings?.length && host.write ? h("button", { class: "quiet", id: `corners-${shapes.tool}-${k}`, onclick: () => host.corners(shapes.tool, name(each), rings, k), "aria-label": `Move corners: ${name(each)}` }, "Corners") : null; };
  return h("div", null, h("h3", null, title), h("ul", { class: "entries" }, ...all.map((each: Tree, k: number) => h("li", null, name(each), h("span", { class: "actions" }, move(each, k), host.write ? h("button", { class: "quiet", id: `${list}-${k}`, onclick: () => host.remove(list, k), "aria-label": `Take out: ${name(each)}` }, "Take out") : null)))));
}
/** A ring without its closing point. */
const open = (ring: Ring): Ring => ring.slice(0, -1);
const move = (host: PanelHost, tool: Tool, label: string, name: string, rings: Ring[] | undefined): HTMLElement | null => (host.write && rings?.length ? h("p", { class: "actions" }, h("button", { class: "quiet", id: `corners-${tool}`, onclick: () => host.corners(tool, name, rings, null) }, label)) : null);

function seen(host: PanelHost): Child[] {
  const { view, units } = host;
  const record = view.record as Tree | null;
  return [
    record ? facts(
      ["Field", `${fixed(units.area(record.field.area_m2), 1)} ${units.areaUnit}, left out ${fixed(units.area(record.field.exclusions_m2), 1)} ${units.areaUnit}`],
      ["Image", `${record.settings.imagery?.date ?? "–"}, ${record.image.index}, pixel ${short(record.image.pixel_m, 2)} m`],
      ["Pixels in the field", `${fixed(record.image.pixels_in_field)}, without a value ${fixed(record.image.pixels_missing)}`],
      ["Plane", `${record.field.plane} (${record.field.plane_name})`]) : null,
    entries(host, "Left out", "field.exclude", host.job?.field?.exclude, (each) => [each.reason ?? each.path, each.buffer ? `buffer ${each.buffer}` : ""].filter(Boolean).join(", "), { tool: "exclude", of: host.ground?.excluded }),
    tools(host, [["boundary", "Draw the boundary"], ["exclude", "Leave ground out"]]),
    move(host, "boundary", "Move the boundary's corners", "boundary", host.ground?.boundary.flat().map(open)),
    host.drawingFor === 1 ? host.drawing : null,
  ];
}

/** The same choice in numbers as brushing the drawing along a strip. */
function stretch(strip: number, along: Along, units: Units): HTMLElement {
  const unit = units.us ? 0.3048 : 1;
  const box = (end: 0 | 1, label: string): HTMLInputElement => h("input", { id: `stretch-${strip}-${end}`, "aria-label": `${label} along S${strip}, ${units.us ? "ft" : "m"}`, inputmode: "decimal", autocomplete: "off", value: along.chosen ? fixed(along.chosen[end] / unit) : "", onchange: () => { const [from, to] = [Number(first.value), Number(last.value)]; if (first.value !== "" && last.value !== "" && from < to) along.choose(from * unit, to * unit); else if (first.value === "" && last.value === "") along.clear(); } });
  const first = box(0, "from");
  const last = box(1, "to");
  return h("p", { class: "stretch-row soft" }, "light up", first, "to", last, units.us ? "ft" : "m");
}

function nitrogen(host: PanelHost): Child[] {
  const { view, ground, units } = host;
  const record = view.record as Tree | null;
  const strips = ground?.strips ?? [];
  const share = record?.reference?.nitrogen_share;
  return [
    record && strips.length ? placebo(strips, record) : null,
    ...strips.map((strip) => { const along = host.along(strip.strip); const chart = profile(strip, record?.image?.index ?? ground?.index_name ?? "index", units, record ? along : null); return chart && record ? h("div", null, chart, stretch(strip.strip, along, units)) : chart; }),
    record ? facts(
      ["Reference index", record.reference.index?.toFixed(3) ?? "–"], ["Beside it", record.reference.beside?.toFixed(3) ?? "–"],
      ["Index deficit that is nitrogen", share ? `${fixed(100 * share.share)} %, 80 % range ${fixed(100 * share.low)} to ${fixed(100 * share.high)} %` : "not known"],
      ["Place", record.reference.place ? `ground beside the strips at ${record.reference.place.toFixed(3)} of the field's mean` : ""],
      ["Growing days", record.season?.growing_days !== undefined ? `${fixed(record.season.growing_days)}` : ""]) : null,
    tools(host, [["strips", strips.length ? "Draw another strip" : "Draw the reference strip"]]),
    move(host, "strips", strips.length === 1 ? "Move the strip's corners" : "Move the strips' corners", "strips", strips.flatMap((strip) => strip.rings.flat().map(open))),
    host.drawingFor === 2 ? host.drawing : null,
  ];
}

function much(host: PanelHost): Child[] {
  const { view, units } = host;
  const record = view.record as Tree | null;
  const yields = record?.settings?.response?.maximum_yield_kg_ha as number | undefined;
  const ceiling = host.ceiling ?? yields ?? null;
  const money = record?.money;
  return [
    record ? response(host.curve, record, units, ceiling, yields !== undefined ? host.drag : null) : null,
    yields !== undefined ? h("div", { class: "slide" }, h("label", { for: "slide-yield" }, `Maximum yield ${units.grain(ceiling).toFixed(units.yieldDigits)} ${units.yieldUnit}`), h("input", { type: "range", id: "slide-yield", min: units.us ? 10 : 0.5, max: units.us ? 300 : 16, step: units.us ? 1 : 0.05, value: units.grain(ceiling).toFixed(units.yieldDigits), oninput: (event: Event) => host.drag(back(units, Number((event.target as HTMLInputElement).value)), false), onchange: (event: Event) => host.drag(back(units, Number((event.target as HTMLInputElement).value)), true) })) : null,
    entries(host, "Set by hand", "rate.set", host.job?.rate?.set, (each) => [each.rate ?? (each.add ? `${/^[-−]/.test(each.add) ? "" : "+"}${each.add}` : `at most ${each.at_most}`), each.reason].filter(Boolean).join(": "), { tool: "set", of: host.ground?.set }),
    record ? tools(host, [["set", "Set a rate by hand"]]) : null,
    host.drawingFor === 3 ? host.drawing : null,
    record ? facts(
      ["Yield in reach", record.totals.yield_without_n_kg_ha ? `${units.grain(record.totals.yield_without_n_kg_ha).toFixed(units.yieldDigits)} without, ${units.grain(record.totals.yield_with_n_kg_ha).toFixed(units.yieldDigits)} ${units.yieldUnit} with nitrogen` : ""],
      ["At the maximum yield", `${fixed(100 * record.totals.capped_share, 1)} % of the canopy`],
      ["Gain over no nitrogen", money ? `at most ${fixed(money.gain_over_none)} ${money.currency}` : "no prices in the job"],
      ["Gain over the best flat rate", money?.expected ? `${fixed(money.expected.gain_over_best_flat)} ${money.currency} expected, at ${short(units.rate(money.expected.best_flat_n_kg_ha))} ${units.rateUnit}` : ""],
      ["Gain over the usual rate", money?.expected?.gain_over_usual !== undefined && money?.expected?.gain_over_usual !== null ? `${fixed(money.expected.gain_over_usual)} ${money.currency} expected` : ""]) : null,
  ];
}
const back = (units: Units, shown: number): number => (units.us ? shown / units.grain(1) : shown * 1000);

/** The key that a finding names, if it names one that the form has. */
function placeOf(host: PanelHost, finding: Finding): string | undefined {
  const text = `${finding.message} ${finding.why}`;
  const named = host.keys.keys.filter((key) => key.question === finding.question && text.includes(key.key)).sort((a, b) => text.indexOf(a.key) - text.indexOf(b.key) || b.key.length - a.key.length);
  return named[0]?.key;
}

function one(host: PanelHost, finding: Finding, k: number): HTMLElement {
  const place = /latitude (-?\d+\.\d+),? (?:and )?longitude (-?\d+\.\d+)/.exec(finding.message);
  const sign = { stop: "✕", caution: "!", note: "i" }[finding.severity];
  const reason = h("input", { id: `reason-${finding.code}`, "aria-label": "reason", placeholder: "why the map is right all the same", class: "wide" });
  const by = h("input", { id: `by-${finding.code}`, "aria-label": "name", placeholder: "who accepts it" });
  return h("li", { class: finding.severity },
    h("details", { id: `finding-${finding.code}-${k}`, open: finding.severity === "stop" && !finding.accepted },
      h("summary", null, h("span", { class: "sign", "aria-hidden": "true" }, sign), h("span", { class: "hidden" }, `${finding.severity}: `), sentence(finding.message)),
      h("p", null, finding.why), finding.accepted ? h("p", null, `Accepted by ${finding.accepted}`) : null,
      h("p", { class: "soft" }, h("code", null, finding.code), " ", finding.question !== 4 ? h("button", { class: "quiet", onclick: () => host.jump(finding.question, placeOf(host, finding)) }, `Question ${finding.question}`) : null, " ", place ? h("button", { class: "quiet", onclick: () => host.goPlace(Number(place[1]), Number(place[2])) }, "On the map") : null),
      finding.acceptable ? h("div", { class: "accept" }, h("p", null, "An adviser can go past it, by name and with a reason; both stand in the job and on the report."), reason, by, h("button", { onclick: () => host.accept(finding, reason.value, by.value) }, "Accept this stop")) : null));
}

function sure(host: PanelHost): Child[] {
  const { view, units } = host;
  const record = view.record as Tree | null;
  const drawn = record?.uncertainty?.drawn;
  return [
    record ? causes(record) : null,
    drawn ? facts(["Median", `${fixed(units.mass(drawn.n_kg_p50))} ${units.massUnit}`], ["Draws", `${fixed(drawn.draws)}, Monte Carlo`]) : view.drawing ? h("p", { class: "loading", role: "status" }, "Drawing the uncertainty …") : null,
    entries(host, "Accepted stops", "accept", host.job?.accept, (each) => [each.code, each.figure, `by ${each.by ?? "?"}`].filter(Boolean).join(", ")),
    h("h3", { id: "findings" }, "Findings"),
    view.findings.length ? h("ul", { class: "findings" }, ...view.findings.map((finding, k) => one(host, finding, k))) : h("p", { class: "soft" }, "None."),
  ];
}

function machine(host: PanelHost): { top: Child[]; rest: Child[] } {
  const { view, units } = host;
  const record = view.record as Tree | null;
  const locked = view.state !== "ready";
  const unit = view.legend?.unit ?? units.rateUnit;
  const stop = view.findings.find((finding) => finding.severity === "stop" && !finding.accepted);
  const rows = [...view.zones].sort((a, b) => b.area_m2 - a.area_m2);
  const file = (path: string, bytes: number, k: number): HTMLElement => h("li", null, h("a", { href: `/api/v1/jobs/${view.id}/written/${k}`, download: path.split("/").pop() }, path), h("span", { class: "soft" }, ` ${bytes < 1024 ? `${bytes} B` : `${fixed(bytes / 1024)} KiB`}`));
  const files = host.made?.files.map((each) => ({ ...each })).sort((a, b) => (a.path < b.path ? -1 : 1)) ?? [];
  const top = [
    h("p", { class: "actions" }, h("button", { class: "main", id: "make", disabled: locked || !host.write || host.making || !view.saved, onclick: host.makeMap }, host.making ? "Writing …" : "Write the map")),
    !host.write ? h("p", { class: "help" }, "This page was opened for looking. Start it with --write to write files.") : null,
    locked ? h("p", { class: "error" }, h("span", { "aria-hidden": "true" }, "✕ "), stop ? `Locked: ${stop.message}` : view.faults.length ? `Locked: ${view.faults.length} entries are missing or wrong` : view.error ? `Locked: ${view.error.headline}` : "Locked") : null,
    host.made ? h("div", { class: "made", role: "status" }, h("p", null, h("strong", null, `Map ${host.made.map_id}`), host.made.stopped ? ": NOT FOR USE" : " is written. ", h("a", { href: `/api/v1/jobs/${view.id}/written/all.zip`, download: `map-${host.made.map_id}.zip` }, "All files as one (.zip)")), h("ul", { class: "files" }, ...files.map((each, k) => file(each.path, each.bytes, k)))) : null,
    tools(host, [["line", "Draw a guidance line"]]),
    move(host, "line", "Move the guidance line's points", "guidance line", host.ground?.guidance),
    host.drawingFor === 5 ? host.drawing : null,
  ];
  const rest = [
    view.check_points.length ? h("div", null, h("h3", null, "Check points: what the screen must show"), h("table", null, h("thead", null, h("tr", null, h("th", { scope: "col" }, "Latitude, longitude"), h("th", { scope: "col", class: "number" }, unit))), h("tbody", null, ...view.check_points.map((point) => h("tr", null, h("td", null, `${point.latitude.toFixed(6)}, ${point.longitude.toFixed(6)}`), h("td", { class: "number" }, fixed(point.rate, 1))))))) : null,
    rows.length ? h("div", null, h("h3", null, `Zones, largest first`),
      h("div", { class: "scroll tall", tabindex: "0", role: "region", "aria-label": "Zones" }, h("table", { id: "zones" }, h("thead", null, h("tr", null, ...["Zone", units.rateUnit, ...(rows[0].product !== null ? [unit] : []), units.areaUnit, record?.image?.index ?? "index", "Ground"].map((name, k) => h("th", { scope: "col", class: k && k < 5 ? "number" : null }, name)))),
        h("tbody", null, ...rows.slice(0, 1000).map((zone) => h("tr", null,
          h("th", { scope: "row" }, h("button", { class: "quiet", onclick: () => host.goZone(zone), "aria-label": `Zone ${zone.zone}: show it on the map` }, String(zone.zone))),
          h("td", { class: "number" }, short(units.rate(zone.n_kg_ha))), zone.product !== null ? h("td", { class: "number" }, fixed(zone.product, 1)) : null,
          h("td", { class: "number" }, fixed(units.area(zone.area_m2), 2)), h("td", { class: "number" }, zone.index === null ? "–" : zone.index.toFixed(2)), h("td", null, GROUND[zone.state] ?? zone.state))))))) : null,
  ];
  return { top, rest };
}

export function panel(question: number, host: PanelHost): Node {
  const split = question === 5 ? machine(host) : null;
  const parts = split ? split.top : [seen, nitrogen, much, sure][question - 1](host);
  const wanted = host.faults.filter((fault) => fault.question === question && !find(host, fault.key));
  const missing = wanted.length ? h("ul", { class: "findings" }, ...wanted.map((fault) => h("li", { class: "stop" }, h("span", { class: "sign", "aria-hidden": "true" }, "○"), ` ${fault.message}. ${fault.hint}`))) : null;
  const early = question !== 1;
  return h("div", { class: "panel-body" }, missing, ...(early ? parts : []), fields(host, question), ...(early ? [] : parts), ...(split?.rest ?? []), further(host, question, FIRST[question - 1], host.open));
}
