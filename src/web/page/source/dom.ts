// Elements without a framework. Text goes in as text, never as markup.

export type Child = Node | string | number | null | undefined | false;
type Props = Record<string, unknown>;

function put(element: Element, props: Props | null, children: Child[]): void {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on") && typeof value === "function") element.addEventListener(name.slice(2), value as EventListener);
    else if (name === "class") element.setAttribute("class", String(value));
    else if (name === "value" && "value" in element) (element as HTMLInputElement).value = String(value);
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

/** Puts new children in, and the focus back to the element with the same id. */
export function fill(parent: Element, ...children: Child[]): void {
  const active = document.activeElement;
  const id = active && parent.contains(active) ? active.id : "";
  const scroll = parent.scrollTop;
  parent.replaceChildren(...children.filter((child): child is Node | string | number => child !== null && child !== undefined && child !== false).map((child) => (child instanceof Node ? child : String(child))));
  parent.scrollTop = scroll;
  if (id) document.getElementById(id)?.focus({ preventScroll: true });
}

let last = 0;
/** A name that no other element has. */
export const unique = (prefix: string): string => `${prefix}-${(last += 1)}`;
