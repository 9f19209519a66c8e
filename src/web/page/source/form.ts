// A field of the form for every key of the job, out of the key table.
import { h, unique } from "./dom";
import type { Change, Fault, Key, Keys, Tree } from "./api";

export interface FormHost {
  keys: Keys;
  job: Tree;
  faults: Fault[];
  /** What was refused just now, by key. */
  refused: Map<string, string>;
  write: boolean;
  change: (changes: Change[], joined?: boolean) => void;
  /** Changes an entry of a list, or adds one. */
  entry: (list: string, position: number | null, values: { key: string; value: string | null }[]) => void;
  remove: (list: string, position: number) => void;
  /** Entries that are being typed, by list: they join the job when they are whole. */
  drafts: Map<string, Record<string, string>>;
}

const at = (tree: Tree, path: string): Tree => path.split(".").reduce((node: Tree, part) => (node && typeof node === "object" ? node[part] : undefined), tree);

/** The value of a key as it stands in the job. */
export const valueOf = (job: Tree, key: Key): Tree => at(job, key.key);

const simple = (value: Tree): boolean => value === undefined || value === null || typeof value !== "object" || (Array.isArray(value) && value.every((each) => typeof each !== "object"));

/** A value as it stands in the job file. */
export function literal(key: Key, text: string): string | null {
  const trimmed = text.trim();
  if (trimmed === "") return null;
  if (key.type === "date" || key.type === "true or false") return trimmed;
  const numeric = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(trimmed);
  const takesNumber = /\b(number|share)\b/.test(key.type);
  if (numeric && takesNumber) return trimmed.startsWith(".") ? `0${trimmed}` : trimmed;
  if (trimmed.startsWith("[") && key.type.includes("list")) return trimmed;
  return JSON.stringify(trimmed);
}

/** A default as people read it: without the quotes of the file. */
const plain = (value: string): string => value.replace(/^"(.*)"$/s, "$1");

function namesOf(keys: Keys, key: Key): string[] {
  const lists = keys.lists as Record<string, Tree>;
  const names = (list: Tree, field: string): string[] => (Array.isArray(list?.[field]) ? (list[field] as Tree[]).map((row) => String(row.name ?? row.method ?? "")).filter(Boolean) : []);
  const which = /`haulm (\w+)`/.exec(key.type)?.[1] ?? (key.key === "imagery.index" ? "indices" : "");
  if (!which) return [];
  return names(lists[which], which);
}

/** What a key is, in a few words: its noun, or its name where the noun is a sentence. */
function labelOf(key: Key): string {
  const noun = key.noun.replace(/^(the|a|an) /, "").replace(/ \(.*\)$/, "");
  return noun && noun.length <= 28 ? noun : key.name.replaceAll("_", " ");
}

/** One key: label, field, unit or choice, help, and what is wrong with it. */
export function field(host: FormHost, key: Key, options: { label?: string; name?: string; value?: Tree; commit?: (value: string | null, text: string) => void } = {}): HTMLElement {
  const name = options.name ?? key.key;
  const id = `key-${name}`;
  const help = unique("help");
  const value = options.commit ? options.value : valueOf(host.job, key);
  const faults = host.faults.filter((fault) => fault.key === name);
  const wrong = host.refused.get(name) ?? faults[0]?.message;
  const shown = value === undefined || value === null ? "" : String(value);
  const label = options.label ?? labelOf(key);
  const common = { id, "aria-describedby": help, "aria-invalid": wrong ? "true" : null, disabled: false };
  const commit = (text: string): void => {
    const next = literal(key, text);
    if (next === null && value === undefined) return;
    if (text.trim() === shown) return;
    if (options.commit) { options.commit(next, text); return; }
    host.change([{ section: key.section, key: key.name, value: next }]);
  };
  let control: HTMLElement;
  if (!simple(value) || /^(table|list of tables)/.test(key.type)) {
    control = h("output", { ...common, class: "fixed" }, JSON.stringify(value ?? "–"));
  } else if (Array.isArray(value)) {
    control = h("input", { ...common, type: "text", value: JSON.stringify(value), onchange: (event: Event) => commit((event.target as HTMLInputElement).value) });
  } else if (key.words && /^"/.test(key.type) && !/,|number|share|rate|amount/.test(key.type.replace(/"[^"]*"/g, ""))) {
    const select = h("select", { ...common, onchange: (event: Event) => commit((event.target as HTMLSelectElement).value) });
    if (!key.required) select.append(h("option", { value: "" }, key.default ? `${plain(key.default)} (default)` : key.default_text ? `default: ${key.default_text}` : "not given"));
    for (const word of key.words) select.append(h("option", { value: word }, word));
    select.value = shown;
    control = select;
  } else if (key.type === "true or false") {
    const select = h("select", { ...common, onchange: (event: Event) => commit((event.target as HTMLSelectElement).value) }, h("option", { value: "" }, `${key.default ?? "not given"} (default)`), h("option", { value: "true" }, "true"), h("option", { value: "false" }, "false"));
    select.value = shown;
    control = select;
  } else {
    const names = namesOf(host.keys, key);
    const list = names.length || key.words ? unique("names") : null;
    const input = h("input", {
      ...common, type: key.type === "date" ? "date" : "text", value: shown, autocomplete: "off", spellcheck: "false", list,
      placeholder: key.default ? plain(key.default) : /^required( for a map)?$/.test(key.required) ? `e.g. ${plain(key.example.replace(/^[^=]+= */, ""))}` : "", class: /text|path|name|formula/.test(key.type) ? "wide" : null,
      onchange: (event: Event) => commit((event.target as HTMLInputElement).value),
      onkeydown: (event: KeyboardEvent) => {
        const step = event.key === "ArrowUp" ? 1 : event.key === "ArrowDown" ? -1 : 0;
        const box = event.target as HTMLInputElement;
        const found = /^([+-]?\d+\.?\d*)(.*)$/s.exec(box.value.trim());
        if (!step || !found || key.type === "date" || list) return;
        event.preventDefault();
        const digits = found[1].includes(".") ? found[1].split(".")[1].length : 0;
        const by = digits ? 10 ** -Math.min(digits, key.type.startsWith("share") ? 2 : 1) : Math.abs(Number(found[1])) >= 20 ? 5 : 1;
        box.value = `${(Number(found[1]) + step * (event.shiftKey ? 10 : 1) * by).toFixed(digits)}${found[2]}`;
        commit(box.value);
      },
    });
    control = list ? h("span", { class: "with-list" }, input, h("datalist", { id: list }, ...[...names, ...(key.words ?? [])].map((name) => h("option", { value: name })))) : input;
  }
  const bounds = key.bounds ? `${key.bounds.low} to ${key.bounds.high}` : key.above_zero ? "above 0" : "";
  const unit = key.units ? `as ${plain(key.example.replace(/^[^=]+= */, ""))}` : "";
  const note = [key.about, [key.default_text && !key.required ? `Default: ${plain(key.default_text)}` : "", bounds, unit].filter(Boolean).join("; ")].filter(Boolean).join(" ");
  return h("div", { class: `field${wrong ? " wrong" : ""}`, "data-key": name },
    h("label", { for: id }, label, key.required === "required" || key.required === "required for a map" ? h("span", { class: "need" }, shown ? "" : " needed") : null),
    control,
    wrong ? h("p", { class: "error", role: "alert" }, h("span", { "aria-hidden": "true" }, "✕ "), wrong) : null,
    h("p", { class: "help", id: help }, note));
}

/** The keys of a section that belong to the job's method. */
export function keysOf(host: FormHost, section: string): Key[] {
  const method = (at(host.job, "response.method") as string | undefined) ?? "yield response";
  const seen = new Set<string>();
  return host.keys.keys.filter((key) => {
    if (key.section !== section || seen.has(key.name)) return false;
    if (key.methods.length && !key.methods.includes(method)) return false;
    if (key.key === "output.folder") return false;
    seen.add(key.name);
    return true;
  });
}

export function find(host: FormHost, name: string): Key | null {
  const dot = name.lastIndexOf(".");
  return keysOf(host, name.slice(0, dot)).find((key) => key.name === name.slice(dot + 1)) ?? null;
}

const entryValues = (job: Tree, section: string): Tree[] => { const found = at(job, section); return Array.isArray(found) ? found : found && typeof found === "object" ? [found] : []; };

/** A list of tables: each entry with its keys, and one more to be typed. */
function list(host: FormHost, section: string): HTMLElement {
  const keys = keysOf(host, section);
  const entries = entryValues(host.job, section);
  const draft = host.drafts.get(section);
  const begin = (): void => { host.drafts.set(section, {}); redraw(); };
  const element = h("div", { class: "entries" });
  const title = (entry: Tree): string => String(entry.reason ?? entry.name ?? entry.code ?? entry.path ?? Object.values(entry)[0] ?? "");
  const redraw = (): void => {
    const now = host.drafts.get(section);
    element.replaceChildren(
      ...entries.map((entry, k) => h("fieldset", { class: "fields entry" }, h("legend", null, `${k + 1}: ${title(entry)}`),
        ...keys.map((key) => field(host, key, { name: `${section}[${k + 1}].${key.name}`, value: entry[key.name], commit: (value) => host.entry(section, k, [{ key: key.name, value }]) })),
        host.write ? h("p", { class: "actions" }, h("button", { class: "quiet", id: `take-${section}-${k + 1}`, onclick: () => host.remove(section, k) }, "Take out")) : null)),
      ...(now ? [h("fieldset", { class: "fields entry" }, h("legend", null, "New"),
        ...keys.map((key) => field(host, key, { name: `${section}[${entries.length + 1}].${key.name}`, value: now[key.name], commit: (_, text) => { now[key.name] = text; } })),
        h("p", { class: "actions" }, h("button", { id: `put-${section}`, onclick: () => { const values = keys.flatMap((key) => { const value = literal(key, now[key.name] ?? ""); return value === null ? [] : [{ key: key.name, value }]; }); host.entry(section, null, values); } }, "Put it into the job"), h("button", { class: "quiet", onclick: () => { host.drafts.delete(section); redraw(); } }, "Leave it")))] : [h("p", { class: "actions" }, h("button", { id: `add-${section}`, onclick: begin }, "Add one"))]));
  };
  void draft;
  redraw();
  return element;
}

/** The sections that lists of tables of the job have. */
const listed = (host: FormHost): Set<string> => new Set(host.keys.keys.filter((key) => key.type.includes("list of tables")).map((key) => key.key));

/** All further keys of a question, by section, folded. */
export function further(host: FormHost, question: number, first: string[], open: Set<string>): HTMLElement {
  const sections = host.keys.sections.filter((section) => section.question === question);
  const lists = listed(host);
  const parts = sections.flatMap((section) => {
    const keys = keysOf(host, section.section).filter((key) => !first.includes(key.key) && !/^list of tables/.test(key.type));
    // A table that the job does not have is opened by the key that stands for it.
    const isList = lists.has(section.section);
    const parent = !isList && section.section.includes(".") && at(host.job, section.section) === undefined;
    if (!keys.length || parent) return [];
    const given = keys.filter((key) => valueOf(host.job, key) !== undefined).length;
    const entries = isList ? entryValues(host.job, section.section).length : 0;
    const count = isList ? ` ${entries || "none"} given` : ` ${keys.length} more${given ? `, ${given} given` : ""}`;
    const details = h("details", { class: "section", open: open.has(section.section) }, h("summary", null, h("span", { class: "mono" }, section.heading), count), h("p", { class: "help" }, section.about));
    const put = (): void => { if (details.childElementCount === 2) details.append(isList ? list(host, section.section) : h("div", { class: "fields" }, ...keys.map((key) => field(host, key)))); };
    if (open.has(section.section)) put();
    details.addEventListener("toggle", () => { if (details.open) { open.add(section.section); put(); } else open.delete(section.section); });
    return [details];
  });
  return h("div", { class: "further" }, ...parts);
}
