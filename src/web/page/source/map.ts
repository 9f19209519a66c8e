// The map: one raster of cells, index or photo, zones and outlines above it, all on the field's own plane.
import Collection from "ol/Collection";
import Feature from "ol/Feature";
import OlMap from "ol/Map";
import OlView from "ol/View";
import ImageLayer from "ol/layer/Image";
import VectorLayer from "ol/layer/Vector";
import ImageCanvasSource from "ol/source/ImageCanvas";
import VectorSource from "ol/source/Vector";
import Draw from "ol/interaction/Draw";
import Modify from "ol/interaction/Modify";
import Snap from "ol/interaction/Snap";
import DragPan from "ol/interaction/DragPan";
import DoubleClickZoom from "ol/interaction/DoubleClickZoom";
import MouseWheelZoom from "ol/interaction/MouseWheelZoom";
import PinchZoom from "ol/interaction/PinchZoom";
import KeyboardPan from "ol/interaction/KeyboardPan";
import KeyboardZoom from "ol/interaction/KeyboardZoom";
import Projection from "ol/proj/Projection";
import LineString from "ol/geom/LineString";
import MultiPolygon from "ol/geom/MultiPolygon";
import Point from "ol/geom/Point";
import Polygon from "ol/geom/Polygon";
import type Geometry from "ol/geom/Geometry";
import type { FeatureLike } from "ol/Feature";
import Fill from "ol/style/Fill";
import Stroke from "ol/style/Stroke";
import Style from "ol/style/Style";
import Text from "ol/style/Text";
import CircleStyle from "ol/style/Circle";
import { Tiles, type Tile, type TileLayer } from "./tiles";
import type { Cell, Ground, Part, Ring, Rings, Zone } from "./api";

export type Layer = "photo" | "index" | "ratio" | "rate" | "uncertainty" | "zones" | "difference";
export type Rgba = [number, number, number, number];
/** Colours of what is shown: of a cell by its position, of a sample of the index by its value. */
export interface Paint { cell?: (at: number) => Rgba | null; sample?: (value: number) => Rgba | null }
export type Tool = "strips" | "boundary" | "exclude" | "set" | "line";

const INK = "#1a1a1a";
const PAPER = "#ffffff";

function outlined(ink: string, width: number, dash?: number[], fill?: string): Style[] {
  const line = dash ? { lineDash: dash } : {};
  return [
    new Style({ stroke: new Stroke({ color: PAPER, width: width + 2, ...line }) }),
    new Style({ stroke: new Stroke({ color: ink, width, ...line }), ...(fill ? { fill: new Fill({ color: fill }) } : {}) }),
  ];
}

/** Lines that rise to the right, as on paper: ground that is left out. */
function hatch(): CanvasPattern | string {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const pen = tile.getContext("2d");
  if (!pen) return "rgba(240,240,240,.6)";
  pen.fillStyle = "rgba(240,240,240,.72)";
  pen.fillRect(0, 0, 8, 8);
  pen.strokeStyle = "rgba(26,26,26,.55)";
  pen.lineWidth = 1;
  for (const shift of [-8, 0, 8]) { pen.beginPath(); pen.moveTo(shift, 8); pen.lineTo(shift + 8, 0); pen.stroke(); }
  return pen.createPattern(tile, "repeat") ?? "rgba(240,240,240,.6)";
}

/** Cells of a part by row and column, one number a place: a million of them are found at once. */
interface Lookup { row: number; col: number; rows: number; cols: number; at: Int32Array }

function lookedUp(part: Part, rows: Float32Array, cols: Float32Array): Lookup {
  let [rowFrom, rowTo, colFrom, colTo] = [Infinity, -Infinity, Infinity, -Infinity];
  const after = Math.min(part.after, rows.length);
  for (let at = part.first; at < after; at++) {
    if (rows[at] < rowFrom) rowFrom = rows[at];
    if (rows[at] > rowTo) rowTo = rows[at];
    if (cols[at] < colFrom) colFrom = cols[at];
    if (cols[at] > colTo) colTo = cols[at];
  }
  const [high, wide] = [Math.max(0, rowTo - rowFrom + 1), Math.max(0, colTo - colFrom + 1)];
  const found = new Int32Array(Number.isFinite(high * wide) ? high * wide : 0).fill(-1);
  for (let at = part.first; at < after; at++) found[(rows[at] - rowFrom) * wide + (cols[at] - colFrom)] = at;
  return { row: rowFrom, col: colFrom, rows: high, cols: wide, at: found };
}

function cellIn(lookup: Lookup, row: number, col: number): number | null {
  const [r, c] = [row - lookup.row, col - lookup.col];
  if (!(r >= 0 && c >= 0 && r < lookup.rows && c < lookup.cols)) return null;
  const at = lookup.at[r * lookup.cols + c];
  return at < 0 ? null : at;
}

interface Sheet { canvas: HTMLCanvasElement; part: Part; rowFrom: number; colFrom: number }

export class FieldMap {
  private readonly map: OlMap;
  private view: OlView;
  private ground: Ground | null = null;
  private rows: Float32Array = new Float32Array();
  private cols: Float32Array = new Float32Array();
  private lookup: Lookup[] = [];
  private sheets: Sheet[] = [];
  private paint: Paint = {};
  private samples: Float32Array | null = null;
  private sampleSheet: HTMLCanvasElement | null = null;
  private photo: { image: ImageBitmap; corner: [number, number]; step: number } | null = null;
  private withPhoto = false;
  private layer: Layer = "zones";
  private readonly raster: ImageCanvasSource;
  private readonly rasterLayer: ImageLayer<ImageCanvasSource>;
  private readonly zones = new VectorSource();
  private readonly outlines = new VectorSource();
  private readonly chosen = new VectorSource();
  private readonly drawn = new VectorSource<Feature<Geometry>>();
  private readonly zoneLayer: VectorLayer<VectorSource>;
  /** Whether the whole field is shown, and stays so when the room for it changes. */
  private whole = true;
  private drawing: (Draw | Modify | Snap)[] = [];
  private colourOf: (zone: Zone) => string | null = () => null;
  private labelOf: (zone: Zone) => string = () => "";
  private zonesShown: Zone[] | null = null;
  private shownKinds = new Set(["boundary", "exclusion", "strip", "set", "here"]);
  /** Fetches a tile of the image. */
  onTile: (layer: TileLayer, z: number, x: number, y: number) => Promise<Tile | null> = () => Promise.resolve(null);
  private readonly tiles = new Tiles((layer, z, x, y) => this.onTile(layer, z, x, y), () => this.raster.changed());
  onChoose: (cell: number | null) => void = () => undefined;
  onHover: (place: [number, number] | null) => void = () => undefined;
  onMove: () => void = () => undefined;

  constructor(target: HTMLElement) {
    const canvas = document.createElement("canvas");
    this.raster = new ImageCanvasSource({ ratio: 1, canvasFunction: (extent, resolution, pixelRatio, size) => this.drawRaster(canvas, extent, resolution, pixelRatio, size) });
    this.rasterLayer = new ImageLayer({ source: this.raster });
    this.zoneLayer = new VectorLayer({ source: this.zones, style: (feature, resolution) => this.zoneStyle(feature, resolution), updateWhileInteracting: false, declutter: true });
    const pattern = hatch();
    const outlineLayer = new VectorLayer({ source: this.outlines, style: (feature) => this.outlineStyle(feature, pattern) });
    const chosenLayer = new VectorLayer({ source: this.chosen, style: [new Style({ stroke: new Stroke({ color: PAPER, width: 6 }) }), new Style({ stroke: new Stroke({ color: INK, width: 3 }) })] });
    const drawnLayer = new VectorLayer({ source: this.drawn, style: [...outlined("#0b4f8a", 2.5, undefined, "rgba(11,79,138,.15)"), new Style({ image: new CircleStyle({ radius: 5, fill: new Fill({ color: PAPER }), stroke: new Stroke({ color: "#0b4f8a", width: 2 }) }), geometry: (feature) => { const shape = feature.getGeometry(); return shape instanceof Point ? shape : undefined; } })] });
    this.view = new OlView({ center: [0, 0], resolution: 1 });
    this.map = new OlMap({
      target, controls: [], view: this.view,
      layers: [this.rasterLayer, this.zoneLayer, outlineLayer, chosenLayer, drawnLayer],
      interactions: [new DragPan(), new DoubleClickZoom(), new MouseWheelZoom(), new PinchZoom(), new KeyboardPan({ condition: (event) => this.chosen.getFeatures().length === 0 && event.originalEvent.target === target }), new KeyboardZoom()],
    });
    this.map.on("singleclick", (event) => {
      if (this.drawing.length) return;
      this.onChoose(this.cellAt(event.coordinate[0], event.coordinate[1]));
    });
    this.map.on("pointermove", (event) => this.onHover(event.dragging ? null : [event.coordinate[0], event.coordinate[1]]));
    this.map.on("moveend", () => this.onMove());
    this.map.on("pointerdrag", () => { this.whole = false; });
    target.addEventListener("wheel", () => { this.whole = false; }, { passive: true });
  }

  /** New ground: the plane, the outlines, the grid. The view stays where the field is the same. */
  setGround(ground: Ground | null, rows: Float32Array, cols: Float32Array): void {
    const before = this.ground;
    this.ground = ground;
    this.rows = rows;
    this.cols = cols;
    this.lookup = ground ? ground.parts.map((part) => lookedUp(part, rows, cols)) : [];
    this.sheets = [];
    this.samples = null;
    this.sampleSheet = null;
    this.tiles.clear();
    this.outlines.clear();
    this.zones.clear();
    this.zonesShown = null;
    this.chosen.clear();
    if (!ground) { this.photo = null; this.raster.changed(); return; }
    const same = before && before.bounds.every((edge, k) => Math.abs(edge - ground.bounds[k]) < 0.5) && before.plane.code === ground.plane.code;
    if (!same) {
      this.photo = null;
      const [x0, y0, x1, y1] = ground.bounds;
      const room = Math.max(x1 - x0, y1 - y0) * 3;
      const projection = new Projection({ code: "plane", units: "m", extent: [x0 - room, y0 - room, x1 + room, y1 + room], metersPerUnit: 1 });
      this.view = new OlView({ projection, center: [(x0 + x1) / 2, (y0 + y1) / 2], resolution: 1, enableRotation: false, minResolution: 0.02, maxResolution: room / 100, showFullExtent: true });
      this.map.setView(this.view);
      this.fit();
    }
    const add = (kind: string, rings: Rings, more: Record<string, unknown> = {}): void => {
      const feature = new Feature(new MultiPolygon(rings));
      feature.setProperties({ kind, ...more });
      this.outlines.addFeature(feature);
    };
    add("exclusion", ground.exclusions);
    add("boundary", ground.boundary);
    for (const shape of ground.set) add("set", shape);
    for (const strip of ground.strips) {
      for (const place of strip.placebo) add("placebo", [[place.ring]]);
      add("strip", strip.rings, { label: `S${strip.strip}`, end: strip.axis?.from ?? strip.rings[0]?.[0]?.[0] });
    }
    this.raster.changed();
  }

  /** Tells when what was shown last stands on the screen. */
  onceDrawn(done: () => void): void { this.map.once("rendercomplete", done); this.map.render(); }

  fit(padding = 24): void {
    if (!this.ground) return;
    this.whole = true;
    this.map.updateSize();
    this.view.fit(this.ground.bounds, { padding: [padding, padding, padding, padding], ...(this.map.getSize() ? { size: this.map.getSize()! } : {}) });
  }
  resized(): void { this.map.updateSize(); if (this.whole) this.fit(); }
  place(): { center: number[]; resolution: number } { return { center: this.view.getCenter() ?? [0, 0], resolution: this.view.getResolution() ?? 1 }; }
  restore(place: { center: number[]; resolution: number }): void { this.whole = false; this.view.setCenter(place.center); this.view.setResolution(place.resolution); }
  zoom(by: number): void { this.whole = false; this.view.animate({ zoom: (this.view.getZoom() ?? 0) + by, duration: matchMedia("(prefers-reduced-motion: reduce)").matches ? 0 : 120 }); }
  /** Where a place of the plane lies on the screen. */
  pixel(x: number, y: number): [number, number] | null { const at = this.map.getPixelFromCoordinate([x, y]); return at ? [at[0], at[1]] : null; }

  setPhoto(photo: FieldMap["photo"]): void { this.photo = photo; this.raster.changed(); }
  hasPhoto(): boolean { return this.photo !== null; }
  setSamples(samples: Float32Array): void { this.samples = samples; this.sampleSheet = null; }
  showKind(kind: string, on: boolean): void { if (on) this.shownKinds.add(kind); else this.shownKinds.delete(kind); this.outlines.changed(); }
  showsKind(kind: string): boolean { return this.shownKinds.has(kind); }

  /** What is shown and in which colours; one pixel a cell, drawn again at once. */
  show(layer: Layer, paint: Paint, withPhoto: boolean): void {
    this.layer = layer;
    this.paint = paint;
    this.withPhoto = withPhoto;
    this.sampleSheet = null;
    this.rasterLayer.setOpacity(1);
    this.paintCells();
    this.raster.changed();
    this.zones.changed();
  }
  setZones(zones: Zone[], colourOf: (zone: Zone) => string | null, labelOf: (zone: Zone) => string): void {
    this.colourOf = colourOf;
    this.labelOf = labelOf;
    // The same zones in other colours need no new shapes.
    if (zones === this.zonesShown) { this.zones.changed(); return; }
    this.zonesShown = zones;
    this.zones.clear(true);
    this.zones.addFeatures(zones.map((zone) => { const feature = new Feature(new MultiPolygon(zone.rings)); feature.set("zone", zone, true); const points = (feature.getGeometry() as MultiPolygon).getInteriorPoints().getCoordinates(); feature.set("at", points.reduce((best, point) => (point[2] > best[2] ? point : best)).slice(0, 2), true); return feature; }));
  }

  private paintCells(): void {
    this.sheets = [];
    const { ground } = this;
    const paint = this.paint.cell;
    if (!ground || !paint || this.layer === "index" || this.layer === "photo" || this.layer === "zones") return;
    ground.parts.forEach((part, p) => {
      if (part.curved || part.after <= part.first) return;
      const { row: rowFrom, col: colFrom, rows: high, cols: wide } = this.lookup[p];
      if (!high || !wide) return;
      const canvas = document.createElement("canvas");
      canvas.width = high;
      canvas.height = wide;
      const pen = canvas.getContext("2d");
      if (!pen) return;
      const image = pen.createImageData(canvas.width, canvas.height);
      const { data } = image;
      for (let at = part.first; at < part.after; at++) {
        const colour = paint(at);
        if (!colour) continue;
        const k = 4 * ((this.cols[at] - colFrom) * canvas.width + (this.rows[at] - rowFrom));
        data[k] = colour[0]; data[k + 1] = colour[1]; data[k + 2] = colour[2]; data[k + 3] = colour[3];
      }
      pen.putImageData(image, 0, 0);
      this.sheets.push({ canvas, part, rowFrom, colFrom });
    });
  }

  private sampled(): HTMLCanvasElement | null {
    const { ground, samples } = this;
    const paint = this.paint.sample;
    if (!ground?.index || !samples || !paint) return null;
    if (this.sampleSheet) return this.sampleSheet;
    const canvas = document.createElement("canvas");
    canvas.width = ground.index.cols;
    canvas.height = ground.index.rows;
    const pen = canvas.getContext("2d");
    if (!pen) return null;
    const image = pen.createImageData(canvas.width, canvas.height);
    samples.forEach((value, at) => { const colour = Number.isFinite(value) ? paint(value) : null; if (colour) image.data.set(colour, 4 * at); });
    pen.putImageData(image, 0, 0);
    this.sampleSheet = canvas;
    return canvas;
  }

  private paintedTile(tile: Tile): HTMLCanvasElement | null {
    const paint = this.paint.sample;
    const { values, cols } = tile;
    if (!paint || !values || !cols) return null;
    if (tile.painted?.by === paint) return tile.painted.canvas;
    const canvas = document.createElement("canvas");
    canvas.width = cols;
    canvas.height = Math.max(1, Math.floor(values.length / cols));
    const pen = canvas.getContext("2d");
    if (!pen) return null;
    const image = pen.createImageData(canvas.width, canvas.height);
    values.forEach((value, at) => { const colour = Number.isFinite(value) ? paint(value) : null; if (colour) image.data.set(colour, 4 * at); });
    pen.putImageData(image, 0, 0);
    tile.painted = { by: paint, canvas };
    return canvas;
  }

  private drawRaster(canvas: HTMLCanvasElement, extent: number[], resolution: number, pixelRatio: number, size: number[]): HTMLCanvasElement {
    canvas.width = Math.round(size[0]);
    canvas.height = Math.round(size[1]);
    const pen = canvas.getContext("2d");
    if (!pen || !this.ground) return canvas;
    const scale = pixelRatio / resolution;
    const x = (value: number): number => (value - extent[0]) * scale;
    const y = (value: number): number => (extent[3] - value) * scale;
    const trace = (rings: Rings): void => {
      pen.beginPath();
      for (const polygon of rings) for (const ring of polygon) { ring.forEach(([px, py], k) => (k ? pen.lineTo(x(px), y(py)) : pen.moveTo(x(px), y(py)))); pen.closePath(); }
    };
    const upright = (image: CanvasImageSource, corner: [number, number], step: number): void => {
      pen.save();
      pen.setTransform(step * scale, 0, 0, step * scale, x(corner[0]), y(corner[1]));
      // A sample that covers several pixels of the screen keeps its edges.
      pen.imageSmoothingEnabled = step * scale < 1;
      pen.drawImage(image, 0, 0);
      pen.restore();
    };
    const { ground } = this;
    const tiled = (layer: TileLayer, standing: number): void => { for (const tile of this.tiles.over(ground, layer, extent, 1 / scale, standing)) { const image = layer === "photo" ? tile.picture : this.paintedTile(tile); if (image) upright(image, tile.corner, tile.step); } };
    if (this.photo && (this.withPhoto || this.layer === "photo")) { upright(this.photo.image, this.photo.corner, this.photo.step); tiled("photo", this.photo.step); }
    const under = this.withPhoto && this.layer !== "photo";
    pen.globalAlpha = under ? 0.62 : 1;
    if (this.layer === "index" && this.ground.index) {
      const sheet = this.sampled();
      if (sheet) {
        pen.save();
        // Beyond the boundary lies nobody's decision.
        trace(ground.boundary);
        pen.clip("evenodd");
        upright(sheet, this.ground.index.corner, this.ground.index.step);
        tiled("index", this.ground.index.step);
        pen.restore();
      }
    }
    for (const { canvas: sheet, part, rowFrom, colFrom } of this.sheets) {
      pen.save();
      trace(part.region && part.region.length ? part.region : this.ground.field);
      pen.clip("evenodd");
      const [l, w] = [part.length * scale, part.width * scale];
      const ox = x(part.origin[0] + part.along[0] * rowFrom * part.length + part.across[0] * colFrom * part.width);
      const oy = y(part.origin[1] + part.along[1] * rowFrom * part.length + part.across[1] * colFrom * part.width);
      pen.setTransform(part.along[0] * l, -part.along[1] * l, part.across[0] * w, -part.across[1] * w, ox, oy);
      pen.imageSmoothingEnabled = false;
      pen.drawImage(sheet, 0, 0);
      pen.restore();
    }
    const paint = this.paint.cell;
    if (paint && this.sheets.length + Object.keys(this.ground.outlines).length && this.layer !== "index" && this.layer !== "photo" && this.layer !== "zones") {
      for (const [at, rings] of Object.entries(this.ground.outlines)) {
        const colour = paint(Number(at));
        if (!colour) continue;
        trace(rings);
        pen.fillStyle = `rgba(${colour[0]},${colour[1]},${colour[2]},${colour[3] / 255})`;
        pen.fill("evenodd");
      }
    }
    pen.globalAlpha = 1;
    return canvas;
  }

  private zoneStyle(feature: FeatureLike, resolution: number): Style | Style[] {
    const zone = feature.get("zone") as Zone;
    if (this.layer !== "zones") {
      if (this.layer !== "rate" && this.layer !== "difference") return [];
      return new Style({ stroke: new Stroke({ color: "rgba(26,26,26,.5)", width: 0.75 }) });
    }
    const colour = this.colourOf(zone);
    const alpha = this.withPhoto ? "a6" : "";
    const shape = new Style({ stroke: new Stroke({ color: "rgba(26,26,26,.65)", width: 0.75 }), fill: new Fill({ color: colour ? colour + alpha : "rgba(120,120,120,.12)" }) });
    if (!colour || zone.area_m2 < 2600 * resolution * resolution) return shape;
    const label = new Style({
      geometry: new Point(feature.get("at") as [number, number]),
      text: new Text({ text: this.labelOf(zone), font: "600 12px system-ui, sans-serif", fill: new Fill({ color: INK }), stroke: new Stroke({ color: "rgba(255,255,255,.85)", width: 3 }) }),
    });
    return [shape, label];
  }

  private outlineStyle(feature: FeatureLike, pattern: CanvasPattern | string): Style | Style[] {
    const kind = feature.get("kind") as string;
    if (!this.shownKinds.has(kind)) return [];
    if (kind === "exclusion") return new Style({ fill: new Fill({ color: pattern }), stroke: new Stroke({ color: INK, width: 1 }) });
    if (kind === "placebo") return new Style({ stroke: new Stroke({ color: "rgba(26,26,26,.4)", width: 1, lineDash: [3, 3] }) });
    if (kind === "here") return new Style({ stroke: new Stroke({ color: "#0b4f8a", width: 1.5 }), fill: new Fill({ color: "rgba(11,79,138,.12)" }), image: new CircleStyle({ radius: 6, fill: new Fill({ color: "#0b4f8a" }), stroke: new Stroke({ color: PAPER, width: 2 }) }) });
    if (kind === "set") return outlined(INK, 2.25, [2, 5]);
    if (kind === "strip") return [...outlined(INK, 1.75, [7, 4]), new Style({ geometry: () => new Point(feature.get("end") as [number, number]), text: new Text({ text: String(feature.get("label")), font: "600 12px system-ui, sans-serif", fill: new Fill({ color: INK }), stroke: new Stroke({ color: PAPER, width: 4 }), offsetX: -12, offsetY: 6 }) })];
    return outlined(INK, 1.5);
  }

  cellAt(x: number, y: number): number | null {
    const { ground } = this;
    if (!ground) return null;
    for (const [p, part] of ground.parts.entries()) {
      if (part.curved) {
        for (const [at, rings] of Object.entries(ground.outlines)) if (inside(rings, x, y)) return Number(at);
        continue;
      }
      const [dx, dy] = [x - part.origin[0], y - part.origin[1]];
      const row = Math.floor((dx * part.along[0] + dy * part.along[1]) / part.length);
      const col = Math.floor((dx * part.across[0] + dy * part.across[1]) / part.width);
      const found = cellIn(this.lookup[p], row, col);
      if (found !== null && (!part.region || part.region.length === 0 || ground.parts.length === 1 || inside(part.region, x, y))) return inside(ground.field, x, y) ? found : null;
    }
    return null;
  }
  /** Cells whose middle lies in a polygon: 1 for those. Cells along a curve have no grid and are left out. */
  cellsIn(polygon: Ring[]): Uint8Array {
    const mask = new Uint8Array(this.rows.length);
    for (const part of this.ground?.parts ?? []) {
      if (part.curved) continue;
      for (let at = part.first; at < part.after && at < mask.length; at++) {
        const [u, v] = [(this.rows[at] + 0.5) * part.length, (this.cols[at] + 0.5) * part.width];
        if (inside([polygon], part.origin[0] + part.along[0] * u + part.across[0] * v, part.origin[1] + part.along[1] * u + part.across[1] * v)) mask[at] = 1;
      }
    }
    return mask;
  }
  /** Shows where the device is, as exactly as it knows. */
  here(at: [number, number], accuracy: number, go: boolean): void {
    this.outlines.getFeatures().filter((feature) => feature.get("kind") === "here").forEach((feature) => this.outlines.removeFeature(feature));
    const ring: Ring = Array.from({ length: 49 }, (_, k) => [at[0] + Math.cos((k * Math.PI) / 24) * accuracy, at[1] + Math.sin((k * Math.PI) / 24) * accuracy]);
    for (const geometry of [new Polygon([ring]), new Point(at)]) { const feature = new Feature<Geometry>(geometry); feature.set("kind", "here"); this.outlines.addFeature(feature as Feature<MultiPolygon>); }
    if (go) { this.whole = false; this.view.animate({ center: at, duration: matchMedia("(prefers-reduced-motion: reduce)").matches ? 0 : 150 }); }
  }

  /** The cell beside another one, on the screen's side. */
  neighbour(cell: Cell, dx: number, dy: number): number | null {
    const { ground } = this;
    if (!ground) return null;
    const part = ground.parts.find((each) => cell.cell >= each.first && cell.cell < each.after);
    if (!part) return null;
    const p = ground.parts.indexOf(part);
    // The step of the grid that points most to where the arrow does.
    const steps: [number, number][] = [[1, 0], [-1, 0], [0, 1], [0, -1]];
    const toward = ([r, c]: [number, number]): number => (r * part.along[0] + c * part.across[0]) * dx + (r * part.along[1] + c * part.across[1]) * dy;
    const [r, c] = steps.reduce((best, step) => (toward(step) > toward(best) ? step : best));
    return cellIn(this.lookup[p], cell.row + r, cell.col + c);
  }
  centreCell(): number | null {
    const centre = this.view.getCenter() ?? [0, 0];
    return this.cellAt(centre[0], centre[1]) ?? (this.rows.length ? Math.floor(this.rows.length / 2) : null);
  }

  /** Marks a cell or a zone; `go` moves the map there. */
  mark(rings: Rings | null, go = false): void {
    this.chosen.clear();
    if (!rings) return;
    const shape = new MultiPolygon(rings);
    this.chosen.addFeature(new Feature(shape));
    if (go) {
      this.whole = false;
      const extent = shape.getExtent();
      // A small zone is shown with what lies around it, a large one as it is.
      const size = Math.max(60, (extent[2] - extent[0]) / 4, (extent[3] - extent[1]) / 4);
      this.view.fit([extent[0] - size, extent[1] - size, extent[2] + size, extent[3] + size], { duration: matchMedia("(prefers-reduced-motion: reduce)").matches ? 0 : 150, minResolution: 0.2 });
    }
  }

  /** Rings that stand in the job, to be pulled at their corners: a click on a line adds one, Alt and a click takes one away. */
  edit(tool: Tool, rings: Ring[], closed: boolean, moved: (rings: Ring[]) => void): void {
    this.stopDrawing();
    this.previewAll(rings, closed);
    const modify = new Modify({ source: this.drawn, pixelTolerance: 12 });
    modify.on("modifyend", () => moved(this.drawn.getFeatures().map(pointsOf)));
    // To everything but where it lay itself.
    const own = tool === "exclude" ? "exclusion" : tool === "strips" ? "strip" : tool;
    const snap = new Snap({ features: new Collection(this.outlines.getFeatures().filter((feature) => feature.get("kind") !== own)) });
    this.drawing = [modify, snap];
    this.drawing.forEach((interaction) => this.map.addInteraction(interaction));
  }
  previewAll(rings: Ring[], closed: boolean): void {
    this.drawn.clear();
    this.drawn.addFeatures(rings.filter((ring) => ring.length > 1).map((ring) => new Feature<Geometry>(closed ? new Polygon([[...ring, ring[0]]]) : new LineString(ring))));
  }

  /** Draws by pointer; each finished shape is handed over. A strip is a line here, its width comes from the form. */
  draw(tool: Tool, done: (points: Ring) => void): void {
    this.stopDrawing();
    const type = tool === "strips" || tool === "line" ? "LineString" : "Polygon";
    const draw = new Draw({ source: this.drawn, type, ...(tool === "strips" ? { maxPoints: 2 } : {}) });
    draw.on("drawstart", () => this.drawn.clear());
    draw.on("drawend", (event) => done(pointsOf(event.feature)));
    const modify = new Modify({ source: this.drawn });
    modify.on("modifyend", (event) => { const [feature] = event.features.getArray(); if (feature) done(pointsOf(feature)); });
    const snap = new Snap({ source: this.outlines });
    this.drawing = [draw, modify, snap];
    this.drawing.forEach((interaction) => this.map.addInteraction(interaction));
  }
  /** Shows a shape that the form describes. */
  preview(points: Ring, closed: boolean): void {
    this.drawn.clear();
    if (points.length > 1) this.drawn.addFeature(new Feature<Geometry>(closed ? new Polygon([[...points, points[0]]]) : new LineString(points)));
  }
  stopDrawing(): void {
    this.drawing.forEach((interaction) => this.map.removeInteraction(interaction));
    this.drawing = [];
    this.drawn.clear();
  }
  isDrawing(): boolean { return this.drawing.length > 0; }
}

function pointsOf(feature: FeatureLike): Ring {
  const shape = feature.getGeometry();
  if (shape instanceof LineString) return shape.getCoordinates() as Ring;
  if (shape instanceof Polygon) return (shape.getCoordinates()[0] as Ring).slice(0, -1);
  return [];
}

export function inside(rings: Rings, x: number, y: number): boolean {
  let within = false;
  for (const polygon of rings) for (const ring of polygon)
    for (let k = 0, j = ring.length - 1; k < ring.length; j = k++) {
      const [xk, yk] = ring[k];
      const [xj, yj] = ring[j];
      if (yk > y !== yj > y && x < ((xj - xk) * (y - yk)) / (yj - yk) + xk) within = !within;
    }
  return within;
}
