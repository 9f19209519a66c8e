// Numbers as people read them, in the job's own units.
import type { Tree, View } from "./api";

const thin = "\u202f";
const KG_PER_LB = 0.45359237;
const HA_PER_AC = 0.40468564224;

export function fixed(value: number | null | undefined, digits = 0): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = Math.abs(value).toFixed(digits);
  const [whole, part] = text.split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, thin);
  return (value < 0 && Number(text) !== 0 ? "\u2212" : "") + grouped + (part ? `.${part}` : "");
}
/** With its sign. */
export const moved = (value: number, digits = 0): string => (Number(value.toFixed(digits)) > 0 ? "+" : "") + (Number(value.toFixed(digits)) === 0 ? "±0" : fixed(value, digits));
/** No zeros that say nothing. */
export const short = (value: number | null | undefined, digits = 1): string => fixed(value, digits).replace(/\.0+$/, "");

/** Units of one job. */
export class Units {
  readonly us: boolean;
  private readonly bushel: number | null;
  constructor(record: Tree | null) {
    this.us = record?.settings?.output?.us_units === true;
    this.bushel = record?.settings?.season?.crop?.bushel_lb ?? null;
  }
  get rateUnit(): string { return this.us ? "lb N/ac" : "kg N/ha"; }
  rate(kgHa: number | null | undefined): number { return kgHa === null || kgHa === undefined ? NaN : this.us ? (kgHa / KG_PER_LB) * HA_PER_AC : kgHa; }
  /** Back from the unit on the screen. */
  kgHa(rate: number): number { return this.us ? (rate * KG_PER_LB) / HA_PER_AC : rate; }
  get massUnit(): string { return this.us ? "lb N" : "kg N"; }
  mass(kg: number): number { return this.us ? kg / KG_PER_LB : kg; }
  get areaUnit(): string { return this.us ? "ac" : "ha"; }
  area(m2: number): number { return m2 / 10_000 / (this.us ? HA_PER_AC : 1); }
  get yieldUnit(): string { return this.us && this.bushel ? "bu/ac" : this.us ? "lb/ac" : "t/ha"; }
  grain(kgHa: number | null | undefined): number {
    if (kgHa === null || kgHa === undefined) return NaN;
    const lbAc = (kgHa / KG_PER_LB) * HA_PER_AC;
    return this.us ? (this.bushel ? lbAc / this.bushel : lbAc) : kgHa / 1000;
  }
  /** An amount of grain as a job has it. */
  grainText(kgHa: number): string { return `${this.grain(kgHa).toFixed(this.us ? 0 : 2)} ${this.yieldUnit}`; }
  get yieldDigits(): number { return this.us ? 0 : 2; }
}

export const unitsOf = (view: View | null): Units => new Units(view?.record ?? null);

/** A text with a capital, unless it begins with a name that must stay as it is: a file, a key. */
export function sentence(text: string): string {
  return /^\p{Ll}\p{L}*[\s,]/u.test(text) ? text.charAt(0).toUpperCase() + text.slice(1) : text;
}
