// What the server is asked, and what it answers.

export interface Answer { question: string; figure: string; lines: string[]; state: "good" | "doubt" | "bad" | "open" | "wait"; word: string }
export interface Finding { code: string; severity: "note" | "caution" | "stop"; message: string; why: string; question: number; figure: string | null; accepted: string | null; acceptable: boolean }
export interface Fault { key: string; line: number; message: string; hint: string; question: number }
export interface Refused { code: string; headline: string; facts: { place: string; text: string }[]; hint: string | null; causes: string[] }
export type Ring = [number, number][];
export type Rings = Ring[][];
export interface Zone { zone: number; n_kg_ha: number; p10: number | null; p90: number | null; product: number | null; area_m2: number; index: number | null; cells: number; state: string; rings: Rings }
export interface LegendClass { from: number; to: number; least: number; greatest: number; colour: string }
// The record is as `haulm map` writes it: its keys are read where they are used.
// eslint-disable-next-line
export type Tree = any;
export interface View {
  id: number; file: string; revision: number; decided: number; reading: number; state: "ready" | "stopped" | "unfinished" | "refused"; saved: boolean; can_undo: boolean; can_redo: boolean; drawing: boolean;
  job: Tree; text: string; answers: Answer[]; findings: Finding[]; faults: Fault[]; error: Refused | null; record: Tree | null; zones: Zone[];
  legend: { unit: string; total_unit: string; classes: LegendClass[] } | null; check_points: { longitude: number; latitude: number; rate: number }[];
}
export interface Part { first: number; after: number; curved: boolean; origin: [number, number]; along: [number, number]; across: [number, number]; length: number; width: number; region: Rings | null }
export interface Strip {
  strip: number; rings: Rings; ratio: number | null; placebo: { ratio: number; ring: Ring }[];
  profile: { from: number; to: number; strip: number | null; beside: number | null; strip_dropped: boolean; beside_dropped: boolean }[];
  axis: { from: [number, number]; to: [number, number]; width: number; azimuth: number } | null;
}
export interface Ground {
  reading: number; name: string; plane: { code: string; name: string; convergence_deg: number; areal_scale: number }; bounds: [number, number, number, number]; globe: [number, number][];
  boundary: Rings; field: Rings; exclusions: Rings; excluded: Rings[]; set: Rings[]; guidance: Ring[]; area_m2: number; cells: number; parts: Part[]; outlines: Record<string, Rings>; strips: Strip[];
  index: { corner: [number, number]; step: number; cols: number; rows: number } | null; tiles: { corner: [number, number]; side: number; finest: number } | null; index_name: string; pixel: number; may_write: boolean;
}
export interface Key {
  key: string; section: string; name: string; type: string; units: string | null; words: string[] | null; default: string | null; default_text: string; required: string;
  bounds: { low: string; high: string; why: string } | null; above_zero: boolean; methods: string[]; about: string; example: string; question: number; noun: string;
}
export interface Keys { keys: Key[]; sections: { section: string; heading: string; about: string; question: number }[]; lists: Tree }
export interface Session { token: string; version: string; write: boolean; takes_files: boolean; folder: string; jobs: number; colours: string[]; questions: string[] }
export interface Listed { id: number; file: string; name: string | null; date: string | null; opened: boolean }
export interface Cell {
  cell: number; row: number; col: number; area_m2: number; seen: number; bare: number; state: string; index: number | null; reference: number | null; ratio_raw: number | null; ratio: number | null;
  yield_without: number | null; yield_with: number | null; n_raw: number | null; n_exact: number | null; n: number; p10: number | null; p90: number | null; capped: string; beyond: boolean;
  zone: number; zone_n: number; zone_product: number | null; rings: Rings; set: { table: number; what: string; reason: string } | null;
}
export interface Change { section: string; key: string; value: string | null }
export interface Made { map_id: string; title: string; stopped: boolean; files: { path: string; bytes: number }[]; totals: Tree }

/** A refusal of the server, in its own words. */
export class Refusal extends Error {
  constructor(readonly status: number, readonly refused: Refused) { super(refused.headline); }
}

let token = "";

async function answered(answer: Response): Promise<Response> {
  if (answer.ok) return answer;
  let refused: Refused = { code: "page.server", headline: `the server answers ${answer.status}`, facts: [], hint: null, causes: [] };
  try { refused = ((await answer.json()) as { error: Refused }).error; } catch { /* an answer without words keeps its number */ }
  throw new Refusal(answer.status, refused);
}

async function asked(path: string, init: RequestInit): Promise<Response> {
  let answer: Response;
  try { answer = await fetch(`/api/v1/${path}`, init); } catch (error) {
    if (error instanceof DOMException && error.name === "AbortError") throw error;
    throw new Refusal(0, { code: "page.gone", headline: "haulm no longer answers: it was closed in the terminal", facts: [], hint: "start haulm page again; what was saved is in the job file", causes: [] });
  }
  return answered(answer);
}

export const get = async <T>(path: string): Promise<T> => (await asked(path, {})).json() as Promise<T>;
export const bytes = async (path: string): Promise<ArrayBuffer> => (await asked(path, {})).arrayBuffer();
export const raw = (path: string): Promise<Response> => asked(path, {});

export async function post<T>(path: string, body: unknown = {}, signal?: AbortSignal): Promise<T> {
  const answer = await asked(path, { method: "POST", headers: { "content-type": "application/json", "x-haulm-token": token }, body: JSON.stringify(body), signal: signal ?? null });
  return (answer.status === 204 ? undefined : await answer.json()) as T;
}

export async function send(file: File, kind: string, set: number): Promise<string> {
  const query = new URLSearchParams({ kind, set: String(set), name: file.name });
  const answer = await asked(`files?${query}`, { method: "POST", headers: { "content-type": "application/octet-stream", "x-haulm-token": token }, body: file });
  return ((await answer.json()) as { file: string }).file;
}

/** Lets this browser in by the token of the address, which then leaves the address line. */
export async function enter(given: string): Promise<void> {
  await post("enter", { token: given });
}

export async function session(): Promise<Session> {
  const found = await get<Session>("session");
  token = found.token;
  return found;
}

export function listen(heard: (event: { job: number; kind: string; stage: string; done: number; total: number; revision: number }) => void): EventSource {
  const source = new EventSource("/api/v1/events");
  source.onmessage = (message) => heard(JSON.parse(message.data as string));
  return source;
}
