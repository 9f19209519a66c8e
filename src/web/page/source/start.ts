// The empty start: one place to drop an image and a boundary on, and the demo field beside it.
import { fill, h } from "./dom";
import { post, Refusal, send, type View } from "./api";

const kindOf = (name: string): "image" | "boundary" | "weather" | null => {
  const ending = name.toLowerCase().split(".").pop() ?? "";
  if (["tif", "tiff", "jp2", "img", "vrt", "png"].includes(ending)) return "image";
  if (ending === "csv" || ending === "txt") return "weather";
  if (["geojson", "json", "gpkg", "shp", "shx", "dbf", "prj", "cpg", "kml", "kmz", "fgb"].includes(ending)) return "boundary";
  return null;
};
/** Of a shapefile the part that is named in the job. */
const leads = (name: string): boolean => !/\.(shx|dbf|prj|cpg|tfw|wld|aux|ovr)$/i.test(name);

export function start(opened: (view: View) => void): HTMLElement {
  const element = h("main", { class: "start", id: "main" });
  let files: { kind: "image" | "boundary" | "strips" | "weather"; file: File }[] = [];
  let said = "";
  let busy = "";
  let name = "";
  let date = "";
  const take = (list: FileList | null): void => {
    for (const file of list ?? []) {
      let kind: "image" | "boundary" | "strips" | "weather" | null = kindOf(file.name);
      if (!kind) { said = `${file.name}: files of this kind are not taken`; continue; }
      if (kind === "boundary" && /strip/i.test(file.name)) kind = "strips";
      files = files.filter((known) => known.kind !== kind || !leads(file.name) || known.file.name.split(".")[0] === file.name.split(".")[0]);
      files.push({ kind, file });
      said = "";
    }
    draw();
  };
  const begin = async (demo: boolean): Promise<void> => {
    busy = demo ? "Opening the demo field …" : "Reading the files …";
    said = "";
    draw();
    try {
      if (demo) { opened(await post<View>("start", { demo: true })); return; }
      const set = Math.floor(Math.random() * 1e8);
      const names: Record<string, string> = {};
      for (const { kind, file } of files) { const stored = await send(file, kind, set); if (leads(file.name)) names[kind] = stored; }
      opened(await post<View>("start", { ...names, name: name || null, date: date || null }));
    } catch (error) {
      busy = "";
      said = error instanceof Refusal ? [error.refused.headline, ...error.refused.facts.map((fact) => `${fact.place}: ${fact.text}`), error.refused.hint ?? ""].filter(Boolean).join(" · ") : String(error);
      draw();
    }
  };
  const draw = (): void => {
    const has = (kind: string): boolean => files.some((each) => each.kind === kind);
    const input = h("input", { type: "file", id: "files", multiple: true, onchange: (event: Event) => take((event.target as HTMLInputElement).files) });
    const line = (kind: string, what: string, need: boolean): HTMLElement => {
      const own = files.filter((each) => each.kind === kind);
      return h("li", { class: own.length ? "has" : need ? "needs" : "may" }, h("span", { "aria-hidden": "true" }, own.length ? "✓ " : need ? "○ " : "· "), own.length ? `${what}: ${own.map((each) => each.file.name).join(", ")}` : `${what}${need ? "" : " (may come later)"}`);
    };
    fill(element,
      h("h1", null, "How much nitrogen does the crop still need, and where?"),
      h("p", { class: "lead" }, "Put an image of the field and its boundary here. Everything stays on this machine."),
      h("div", { class: "drop" }, h("label", { for: "files" }, h("strong", null, "Drop image and boundary here"), h("span", null, "or choose files: .tif, .jp2 · .geojson, .gpkg, .kml, or .shp with .shx, .dbf and .prj")), input),
      h("ul", { class: "given" }, line("image", "Image", true), line("boundary", "Boundary", true), line("strips", "Reference strips", false), line("weather", "Weather", false)),
      has("image") && has("boundary") ? h("div", { class: "fields" },
        h("div", { class: "field" }, h("label", { for: "start-name" }, "name of the field"), h("input", { id: "start-name", value: name, autocomplete: "off", onchange: (event: Event) => { name = (event.target as HTMLInputElement).value; } })),
        h("div", { class: "field" }, h("label", { for: "start-date" }, "day of the image"), h("input", { id: "start-date", type: "date", value: date, onchange: (event: Event) => { date = (event.target as HTMLInputElement).value; } }))) : null,
      said ? h("p", { class: "error", role: "alert" }, h("span", { "aria-hidden": "true" }, "✕ "), said) : null,
      busy ? h("p", { class: "loading", role: "status" }, busy) : h("p", { class: "actions" },
        h("button", { class: "main", id: "begin", disabled: !(has("image") && has("boundary")), onclick: () => void begin(false) }, "Look at the field"),
        h("button", { id: "demo", onclick: () => void begin(true) }, "Open the demo field")),
      h("p", { class: "help" }, "The demo is an invented field with image, strips and weather; changes to it stay in this page's own folder. Labels, local codes and a licensed adviser come before any map."));
  };
  element.addEventListener("dragover", (event) => { event.preventDefault(); element.classList.add("over"); });
  element.addEventListener("dragleave", () => element.classList.remove("over"));
  element.addEventListener("drop", (event) => { event.preventDefault(); element.classList.remove("over"); take(event.dataTransfer?.files ?? null); });
  draw();
  return element;
}
