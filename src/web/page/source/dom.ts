// Elements without a framework. Text goes in as text, never as markup.

export type Child = Node | string | number | null | undefined | false;
type Props = Record<string, unknown>;

type Typed = HTMLInputElement | HTMLTextAreaElement;
/** What fields held when they were drawn. */
const rendered = new WeakMap<Element, string>();
const writes = (element: Element): element is Typed => element instanceof HTMLTextAreaElement || (element instanceof HTMLInputElement && !/^(radio|checkbox|range|file|button)$/.test(element.type));

function put(element: Element, props: Props | null, children: Child[]): void {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on") && typeof value === "function") element.addEventListener(name.slice(2), value as EventListener);
    else if (name === "class") element.setAttribute("class", String(value));
    else if (name === "value" && "value" in element) { (element as HTMLInputElement).value = String(value); rendered.set(element, String(value)); }
    else if (name === "colour") (element as HTMLElement).style.setProperty("--colour", String(value));
    else if (name === "share") (element as HTMLElement).style.setProperty("--share", String(value));
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children) if (child !== null && child !== undefined && child !== false) element.append(child instanceof Node ? child : String(child));
}

export function h<K extends keyof HTMLElementTagNameMap>(tag: K, props: Props | null = null, ...children: Child[]): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  put(element, props, children);
  return element;
}

export function s(tag: string, props: Props | null = null, ...children: Child[]): SVGElement {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  put(element, props, children);
  return element;
}

/** Children that stand already stay untouched; only where the list is another one is it put in. */
export function settle(parent: Element, ...children: (Element | null)[]): void {
  const wanted = children.filter((child): child is Element => child !== null);
  if (wanted.length !== parent.children.length || wanted.some((child, at) => parent.children[at] !== child)) fill(parent, ...wanted);
}

/** Puts new children in. The focus goes back to the element with the same id, what is typed and not yet taken stays in its field, and what was opened stays open. */
export function fill(parent: Element, ...children: Child[]): void {
  const active = document.activeElement;
  const id = active && parent.contains(active) ? active.id : "";
  const scroll = parent.scrollTop;
  const typed = [...parent.querySelectorAll("input, textarea")].filter(writes).filter((field) => field.id && field.value !== (rendered.get(field) ?? "")).map((field) => ({ id: field.id, was: rendered.get(field) ?? "", value: field.value, from: field.selectionStart, to: field.selectionEnd }));
  const opened = [...parent.querySelectorAll("details[id]")].map((each) => [each.id, (each as HTMLDetailsElement).open] as const);
  // A field that is taken away while it is typed in tells of a change: nobody has finished it.
  const unfinished = (event: Event): void => event.stopImmediatePropagation();
  parent.addEventListener("change", unfinished, true);
  parent.replaceChildren(...children.filter((child): child is Node | string | number => child !== null && child !== undefined && child !== false).map((child) => (child instanceof Node ? child : String(child))));
  parent.removeEventListener("change", unfinished, true);
  parent.scrollTop = scroll;
  for (const [name, open] of opened) { const now = document.getElementById(name); if (now instanceof HTMLDetailsElement && parent.contains(now)) now.open = open; }
  if (id) document.getElementById(id)?.focus({ preventScroll: true });
  for (const each of typed) {
    const field = document.getElementById(each.id);
    // A field whose value has changed meanwhile was answered, or is another's.
    if (!field || !parent.contains(field) || !writes(field) || (rendered.get(field) ?? "") !== each.was) continue;
    field.value = each.value;
    if (field.id !== id) continue;
    try { if (each.from !== null) field.setSelectionRange(each.from, each.to); } catch { /* a date has no place in its text */ }
    // The browser tells of a change only where keys were pressed since the focus came.
    let told = false;
    const tell = (): void => { if (!told && field.isConnected && field.value !== each.was) { told = true; field.dispatchEvent(new Event("change", { bubbles: true })); } };
    field.addEventListener("change", () => { told = true; });
    field.addEventListener("keydown", (event) => { if ((event as KeyboardEvent).key === "Enter" && field instanceof HTMLInputElement) setTimeout(tell, 0); });
    field.addEventListener("blur", tell);
  }
}

let last = 0;
/** A name that no other element has. */
export const unique = (prefix: string): string => `${prefix}-${(last += 1)}`;
