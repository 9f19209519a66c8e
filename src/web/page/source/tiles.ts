// Parts of the image in as many pixels as the screen shows, fetched when they are looked at.
import type { Ground } from "./api";

export type TileLayer = "photo" | "index";
/** A tile as it came: a picture, or values of the index that are painted here. */
export interface Tile { corner: [number, number]; step: number; cols: number; picture: CanvasImageSource | null; values: Float32Array | null; painted?: { by: unknown; canvas: HTMLCanvasElement } }

/** Tiles that are kept, and those that are fetched at once. */
const KEPT = 240;
const AT_ONCE = 4;

export class Tiles {
  private readonly kept = new Map<string, Tile | null>();
  private readonly asked = new Set<string>();
  private generation = 0;

  constructor(private readonly fetchTile: (layer: TileLayer, z: number, x: number, y: number) => Promise<Tile | null>, private readonly come: () => void) {}

  clear(): void { this.kept.clear(); this.asked.clear(); this.generation += 1; }

  /** The tiles of an extent that are here, at the level that this many metres a pixel need; those that are not are asked for. Nothing where the picture that stands there is as fine. */
  over(ground: Ground, layer: TileLayer, extent: number[], metres: number, standing: number): Tile[] {
    const { tiles } = ground;
    if (!tiles || metres > 0.75 * standing) return [];
    const z = Math.min(tiles.finest, Math.ceil(Math.log2(tiles.side / (256 * metres))));
    if (z < 1 || tiles.side / (256 * 2 ** z) > 0.75 * standing) return [];
    const own = tiles.side / 2 ** z;
    const clamp = (value: number): number => Math.max(0, Math.min(2 ** z - 1, Math.floor(value)));
    const [x0, x1] = [clamp((extent[0] - tiles.corner[0]) / own), clamp((extent[2] - tiles.corner[0]) / own)];
    const [y0, y1] = [clamp((tiles.corner[1] - extent[3]) / own), clamp((tiles.corner[1] - extent[1]) / own)];
    const found: Tile[] = [];
    for (let y = y0; y <= y1; y++) for (let x = x0; x <= x1; x++) {
      const name = `${layer}/${z}/${x}/${y}`;
      const tile = this.kept.get(name);
      if (tile) { this.kept.delete(name); this.kept.set(name, tile); found.push(tile); }
      else if (tile === undefined) this.ask(name, layer, z, x, y);
    }
    return found;
  }

  private ask(name: string, layer: TileLayer, z: number, x: number, y: number): void {
    if (this.asked.has(name) || this.asked.size >= AT_ONCE) return;
    const { generation } = this;
    this.asked.add(name);
    // One that cannot be had is not asked for again: what stands below it is shown.
    void this.fetchTile(layer, z, x, y).catch(() => null).then((tile) => {
      if (generation !== this.generation) return;
      this.asked.delete(name);
      this.kept.set(name, tile);
      for (const old of this.kept.keys()) { if (this.kept.size <= KEPT) break; this.kept.delete(old); }
      this.come();
    });
  }
}
