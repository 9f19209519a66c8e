// The jobs of a folder: map, total, state, age, findings; one after the other is opened to be looked at.
import { fill, h, s } from "./dom";
import { get, Refusal, type Listed, type View, type Zone } from "./api";

function thumb(zones: Zone[], colourOf: (zone: Zone) => string): SVGElement {
  let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const zone of zones) for (const polygon of zone.rings) for (const [x, y] of polygon[0]) { x0 = Math.min(x0, x); y0 = Math.min(y0, y); x1 = Math.max(x1, x); y1 = Math.max(y1, y); }
  const path = (zone: Zone): string => zone.rings.map((polygon) => polygon.map((ring) => `M${ring.map(([x, y]) => `${(x - x0).toFixed(0)} ${(y1 - y).toFixed(0)}`).join("L")}Z`).join("")).join("");
  const wide = Math.max(x1 - x0, 1);
  const tall = Math.max(y1 - y0, 1);
  return s("svg", { viewBox: `${-0.03 * wide} ${-0.03 * tall} ${1.06 * wide} ${1.06 * tall}`, class: "thumb", "aria-hidden": "true", preserveAspectRatio: "xMidYMid meet" }, ...zones.map((zone) => s("path", { d: path(zone), fill: colourOf(zone), "fill-rule": "evenodd" })));
}

const days = (date: string): number => Math.round((Date.now() - Date.parse(`${date}T00:00:00Z`)) / 86_400_000);

export function folder(title: string, listed: Listed[], open: (id: number) => void): HTMLElement {
  const element = h("main", { class: "folder", id: "main" });
  const body = h("tbody");
  const rows = new Map<number, HTMLElement>();
  const row = (job: Listed, view: View | null, refused: string): HTMLElement => {
    const colours = view?.legend?.classes ?? [];
    const colourOf = (zone: Zone): string => colours.find((each) => zone.n_kg_ha >= each.least - 1e-9 && zone.n_kg_ha <= each.greatest + 1e-9)?.colour ?? "#bdbdbd";
    const count = (severity: string): number => view?.findings.filter((finding) => finding.severity === severity && !finding.accepted).length ?? 0;
    const state = refused ? "refused" : view ? { ready: "ready", stopped: "stopped", unfinished: "unfinished", refused: "refused" }[view.state] : "waiting …";
    const sign = { ready: "✓", stopped: "✕", refused: "✕", unfinished: "○" }[state] ?? "";
    return h("tr", null,
      h("td", { class: "thumb-cell" }, view && view.zones.length ? thumb(view.zones, colourOf) : null),
      h("th", { scope: "row" }, h("a", { href: `#job=${job.id}`, onclick: (event: Event) => { event.preventDefault(); open(job.id); } }, job.name ?? job.file), h("small", null, job.file)),
      h("td", { class: "number" }, view?.record ? view.answers[2].figure : "–", h("small", null, view?.record ? view.answers[2].lines[0] ?? "" : "")),
      h("td", { class: `state ${view?.state ?? ""}` }, h("span", { "aria-hidden": "true" }, `${sign} `), state, h("small", null, refused || view?.error?.headline || "")),
      h("td", null, job.date ?? "–", job.date ? h("small", null, `${days(job.date)} days ago`) : null),
      h("td", null, view?.record ? [["stop", "stops"], ["caution", "cautions"]].map(([one, many]) => (count(one) ? `${count(one)} ${count(one) === 1 ? one : many}` : "")).filter(Boolean).join(", ") || "nothing" : "–"));
  };
  for (const job of listed) { const made = row(job, null, ""); rows.set(job.id, made); body.append(made); }
  const status = h("p", { class: "soft", role: "status" }, `0 of ${listed.length} fields decided`);
  fill(element, h("h1", null, title), status, h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Fields" }, h("table", null, h("thead", null, h("tr", null, ...["Map", "Field", "How much", "State", "Image", "Look at"].map((name) => h("th", { scope: "col" }, name)))), body)));
  void (async () => {
    let done = 0;
    // Not before the list itself stands on the page.
    await new Promise((ready) => setTimeout(ready, 0));
    for (const job of listed) {
      if (!element.isConnected) return;
      let made: HTMLElement;
      try { made = row(job, await get<View>(`jobs/${job.id}`), ""); } catch (error) { made = row(job, null, error instanceof Refusal ? error.refused.headline : String(error)); }
      rows.get(job.id)?.replaceWith(made);
      done += 1;
      status.textContent = done < listed.length ? `${done} of ${listed.length} fields decided` : `${listed.length} fields`;
    }
  })();
  return element;
}
