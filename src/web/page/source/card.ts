// One cell's whole computation, each step with its formula and the numbers in it.
import { h } from "./dom";
import { fixed, short, type Units } from "./figures";
import type { Cell, Tree, View } from "./api";

/** Kinds of ground as people call them. */
export const GROUND: Record<string, string> = { canopy: "crop", thin: "poor stand", bare: "bare soil", unseen: "no image", sliver: "sliver" };

function step(name: string, value: string, unit: string, formula: string): HTMLElement {
  return h("li", null, h("span", { class: "what" }, name), h("strong", null, value, unit ? h("small", null, ` ${unit}`) : null), h("span", { class: "formula" }, formula));
}

/** The chain of a cell; `close` puts it away. */
export function card(cell: Cell, view: View, units: Units, close: () => void, set: (() => void) | null): HTMLElement {
  const record = view.record as Tree;
  const settings = record.settings;
  const name = record.image.index as string;
  const steps: HTMLElement[] = [];
  const ratio = (value: number | null): string => fixed(value, 2);
  const grain = (value: number | null): string => (value === null ? "–" : units.grain(value).toFixed(units.yieldDigits));
  if (cell.index === null) steps.push(step(name, "–", "", `${fixed(100 * cell.seen)} % seen: too little for an index`));
  else steps.push(step(name, cell.index.toFixed(3), "", `${record.image.formula}, mean of the cell; ${fixed(100 * cell.seen)} % seen`));
  if (cell.ratio !== null) {
    const share = settings.response.nitrogen_share as number | string;
    const reference = cell.reference === null ? "strip" : cell.reference.toFixed(3);
    steps.push(step("response index", ratio(cell.ratio), "", share === 1 ? `strip ÷ cell = ${reference} ÷ ${fixed(cell.index, 3)} = ${ratio(cell.ratio_raw)}${cell.ratio !== cell.ratio_raw ? `, limited to ${ratio(cell.ratio)}` : ""}` : `strip ÷ cell = ${ratio(cell.ratio_raw)}, at a nitrogen share of ${share}`));
  }
  if (cell.yield_without !== null) {
    const curve = settings.response.yield_curve;
    const cap = cell.capped === "without" ? `; limited to the maximum yield` : "";
    steps.push(step("yield without more N", grain(cell.yield_without), units.yieldUnit, curve ? `a · exp(b · ${name} ÷ days) = ${fixed(curve.a_kg_ha)} · exp(${curve.b_d} · ${fixed(cell.index, 3)} ÷ ${fixed(record.season.growing_days)}) kg/ha${cap}` : "by the method's curve"));
    steps.push(step("yield with more N", grain(cell.yield_with), units.yieldUnit, `yield without × ${ratio(cell.ratio)}${cell.capped !== "none" ? `, at most ${grain(settings.response.maximum_yield_kg_ha)}` : ""}`));
  }
  if (cell.n_raw !== null) {
    const { grain_nitrogen_share: g, use_efficiency_share: e, applied_since_sensing_kg_n_ha: gone } = settings.response;
    steps.push(step("nitrogen asked for", short(units.rate(cell.n_raw)), units.rateUnit, g !== undefined && cell.yield_with !== null ? `(with − without) · ${g} ÷ ${e}${gone ? ` − ${short(units.rate(gone))}` : ""}` : "by the method"));
  }
  const limits = settings.rate;
  steps.push(step("cell's rate", short(units.rate(cell.n)), units.rateUnit, cell.state === "canopy" ? `within ${short(units.rate(limits.minimum_kg_n_ha))} to ${short(units.rate(limits.maximum_kg_n_ha))}, in steps of ${short(units.rate(limits.step_kg_n_ha))}` : `${GROUND[cell.state] ?? cell.state}: as the job states for it`));
  steps.push(step(`zone ${cell.zone}`, short(units.rate(cell.zone_n)), units.rateUnit, cell.zone_n === cell.n ? (cell.set ? "set by hand" : "as its neighbours") : "joined to its zone, the field's total kept"));
  if (cell.set) steps.push(step("by hand", short(units.rate(cell.zone_n)), units.rateUnit, `${cell.set.what}: ${cell.set.reason}`));
  if (cell.zone_product !== null) steps.push(step("on the terminal", fixed(cell.zone_product, 1), view.legend?.unit ?? "", `÷ ${settings.product.nitrogen_share} N in ${settings.product.name}`));
  const range = cell.p10 !== null ? ` · 80 % range of the rate: ${short(units.rate(cell.p10))} to ${short(units.rate(cell.p90))} ${units.rateUnit}` : "";
  return h("section", { class: "card", id: "cell-card", "aria-label": `Cell in row ${cell.row}, column ${cell.col}` },
    h("div", { class: "legend-head" }, h("h2", null, `Cell ${cell.row}·${cell.col}`, h("small", null, ` ${fixed(cell.area_m2)} m²`)), h("span", { class: "soft" }, "arrow keys: the next cell", range), set ? h("button", { class: "quiet", id: "set-zone", onclick: set }, "Set this zone's rate") : null, h("button", { class: "quiet", onclick: close, "aria-label": "Close the cell" }, "✕")),
    h("ol", { class: "chain" }, ...steps));
}
