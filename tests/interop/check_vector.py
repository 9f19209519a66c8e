"""GeoPackage, GeoJSON and shapefile."""

import math
import struct
import subprocess

import fudgeo
import geojson_validator
import numpy as np
import shapely
from loguru import logger

from outputs import NITROGEN_PER_LITRE, near, need, system_python, table, within_share
from registry import check

# The GeoJSON validator tells its log what it returns anyway.
logger.disable("geojson_validator")

# Names and order as the job file's page promises them.
ZONE_COLUMNS = ["zone", "product_rate", "product_unit", "n_kg_ha", "area_m2", "index", "cells", "state", "n_p10_kg_ha", "n_p90_kg_ha"]
CELL_COLUMNS = [
    *("row", "col", "area_m2", "seen", "bare", "index", "index_se", "ratio_raw", "ratio", "yield_without_n_kg_ha", "yield_with_n_kg_ha"),
    *("n_raw_kg_ha", "n_exact_kg_ha", "n_kg_ha", "capped", "beyond", "state", "zone", "n_p10_kg_ha", "n_p90_kg_ha", "area"),
]
STATES = {"canopy", "thin", "bare", "unseen", "sliver"}
# Half of the last digit that is written, and a hair.
HUNDREDTH = 0.00501


@check("geopackage: GDAL's validator finds no fault")
def gpkg_validator(out):
    command = [system_python(), "-m", "osgeo_utils.samples.validate_gpkg", "-k", "-v", "--extra", str(out.gpkg)]
    done = subprocess.run(command, capture_output=True, text=True)
    need(done.returncode == 0, f"validate_gpkg ends with {done.returncode}: {(done.stdout + done.stderr)[-600:]}")


@check("geopackage: SQLite finds it whole, by id a GeoPackage")
def gpkg_sqlite(out):
    with table(out.gpkg) as base:
        pragma = lambda name: base.execute(f"pragma {name}").fetchall()
        need(pragma("application_id") == [(0x47504B47,)], f"application_id is {pragma('application_id')}")
        need(pragma("user_version")[0][0] >= 10200, f"user_version is {pragma('user_version')}")
        need(pragma("integrity_check") == [("ok",)] and pragma("foreign_key_check") == [], "SQLite's own checks fail")
        for layer in ("zones", "cells", "strips", "field"):
            (geometry,) = base.execute("select column_name from gpkg_geometry_columns where table_name = ?", (layer,)).fetchone() or (None,)
            need(geometry is not None, f"no layer {layer}")
            rows = base.execute(f'select count(*) from "{layer}"').fetchone()[0]
            # Cells come in row and column order, strips and field are a handful of rows: none of them has an index.
            boxes = rows if layer != "zones" else base.execute(f'select count(*) from "rtree_{layer}_{geometry}"').fetchone()[0]
            need(rows == boxes > 0, f"layer {layer} has {rows} rows and {boxes} boxes in its spatial index")


@check("geopackage: layers and columns bear the promised names, in the working plane")
def gpkg_columns(out):
    for layer, wanted in ((out.zones, ZONE_COLUMNS), (out.cells, CELL_COLUMNS)):
        need(layer.names == wanted, f"columns {layer.names} where {wanted} are due")
        need(layer.crs == "EPSG:32633", f"reference system {layer.crs}; the demo's image has EPSG:32633")
    need(set(out.cells["state"]) | set(out.zones["state"]) <= STATES, f"states {set(out.cells['state'])}")
    need(set(out.cells["capped"]) <= {"none", "without", "with"}, f"capped {set(out.cells['capped'])}")
    blank = [s in ("unseen", "bare") for s in out.cells["state"]]
    measured = [position for position, index in enumerate(out.cells["index"]) if blank[position] and not math.isnan(index)]
    unseen = [position for position in measured if out.cells["state"][position] == "unseen" and out.cells["seen"][position] == 0]
    need(not unseen, f"cells {unseen[:5]} were never seen and yet have an index")


@check("geopackage: fudgeo reads the same zones and rates as GDAL")
def gpkg_fudgeo(out):
    classes = fudgeo.GeoPackage(str(out.gpkg)).feature_classes
    need({"zones", "cells", "strips", "field"} <= set(classes), f"fudgeo sees {sorted(classes)}")
    zones = classes["zones"]
    need(zones.spatial_reference_system.srs_id == 32633, "fudgeo sees another reference system")
    rows = zones.select(fields=["zone", "product_rate", "n_kg_ha"]).fetchall()
    need(len(rows) == len(out.zones), f"fudgeo reads {len(rows)} zones, GDAL {len(out.zones)}")
    by_number = {row[1]: row for row in rows}
    for position, number in enumerate(out.zones["zone"]):
        shape, _, product, nitrogen = by_number[int(number)]
        near(f"product rate of zone {number}", product, float(out.zones["product_rate"][position]), 1e-9)
        near(f"nitrogen of zone {number}", nitrogen, float(out.zones["n_kg_ha"][position]), 1e-9)
        parts = [[[(x, y) for x, y in ring.coordinates] for ring in polygon.rings] for polygon in shape]
        area = sum(shapely.Polygon(rings[0], rings[1:]).area for rings in parts)
        near(f"area of zone {number} by fudgeo [m2]", area, float(out.zones["area_m2"][position]), 1e-3)
    for layer in ("zones", "cells"):
        west, south, east, north = classes[layer].extent
        bounds = shapely.total_bounds((out.zones if layer == "zones" else out.cells).geometry)
        need(np.allclose([west, south, east, north], bounds, atol=1e-3), f"the extent of {layer} is {classes[layer].extent}, its geometries lie in {bounds}")


def overlap(shapes):
    """Ground that two of them share, in all."""
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    pairs = first < second
    return float(shapely.area(shapely.intersection(shapes[first[pairs]], shapes[second[pairs]])).sum())


@check("geopackage: zones are valid, do not overlap, and make up the field; so do the cells")
def gpkg_partition(out):
    field = out.field
    near("area of the field [m2]", field.area, out.recorded("field.area_m2"), field.area * 1e-9 + 1e-3)
    for name, layer in (("zones", out.zones), ("cells", out.cells)):
        need(all(shapely.is_valid(layer.geometry)), f"layer {name} holds invalid polygons: {shapely.is_valid_reason(layer.geometry[~shapely.is_valid(layer.geometry)][0]) if not all(shapely.is_valid(layer.geometry)) else ''}")
        near(f"sum of the areas of the {name} [m2]", sum(shapely.area(layer.geometry)), field.area, field.area * 1e-9)
        near(f"{name} and field differ by [m2]", shapely.union_all(layer.geometry).symmetric_difference(field).area, 0, field.area * 1e-9)
        near(f"ground in two {name} [m2]", overlap(layer.geometry), 0, field.area * 1e-9)
        near(f"column area_m2 of {name} against its shapes [m2]", float(np.max(np.abs(layer["area_m2"] - shapely.area(layer.geometry)))), 0, 0.01)
    need(len(set(out.zones["zone"])) == len(out.zones), "two zones bear one number")
    at = {int(zone): position for position, zone in enumerate(out.zones["zone"])}
    counted = dict.fromkeys(at, 0)
    for position, zone in enumerate(out.cells["zone"]):
        need(int(zone) in at, f"cell {position} names zone {zone}, which is not there")
        counted[int(zone)] += 1
        outside = out.cells.geometry[position].difference(out.zones.geometry[at[int(zone)]]).area
        need(outside < 0.05, f"{outside:.2f} m2 of cell {position} lie outside its zone {zone}")
    need(counted == {int(zone): int(cells) for zone, cells in zip(out.zones["zone"], out.zones["cells"])}, "column cells does not count the cells")


@check("geopackage: product rate is nitrogen over content, within the job's range and step")
def gpkg_rates(out):
    need(set(out.zones["product_unit"]) == {"L/ha"}, f"units {set(out.zones['product_unit'])}; the job asks for L/ha")
    for zone, product, nitrogen in zip(out.zones["zone"], out.zones["product_rate"], out.zones["n_kg_ha"]):
        near(f"product rate of zone {zone} at {nitrogen} kg N/ha [L/ha]", product, nitrogen / NITROGEN_PER_LITRE, HUNDREDTH)
        need(0 <= nitrogen <= 80, f"zone {zone} gets {nitrogen} kg N/ha; the job allows 0 to 80")
        near(f"nitrogen of zone {zone} in steps of 10 kg N/ha", nitrogen / 10, round(nitrogen / 10), 1e-9)
    canopy = [n for n, state in zip(out.zones["n_kg_ha"], out.zones["state"]) if state == "canopy"]
    need(len(set(canopy)) >= 3, f"rates {sorted(set(canopy))}: the demo's pale patches get what its green ones get")
    bare = [n for n, state in zip(out.zones["n_kg_ha"], out.zones["state"]) if state == "bare"]
    need(all(n == 0 for n in bare), f"bare ground gets {bare} kg N/ha")


@check("geopackage: totals of zones and cells are those of the record")
def gpkg_totals(out):
    zones = float(np.sum(out.zones["n_kg_ha"] * out.zones["area_m2"])) / 1e4
    cells = float(np.sum(out.cells["n_kg_ha"] * out.cells["area_m2"])) / 1e4
    product = float(np.sum(out.zones["product_rate"] * out.zones["area_m2"])) / 1e4
    within_share("nitrogen of the zones [kg]", zones, out.recorded("totals.n_kg"), 1e-6)
    within_share("nitrogen of the cells [kg]", cells, out.recorded("totals.n_kg_from_cells"), 1e-6)
    within_share("product of the zones [L]", product, out.recorded("totals.product"), 0.005)
    need(out.recorded("totals.product_unit") == "L", f"totals.product_unit is {out.recorded('totals.product_unit')}")


@check("geojson: structure and rings as RFC 7946 wants them")
def geojson_structure(out):
    path = str(out.office / "prescription.geojson")
    structure, geometries = geojson_validator.validate_structure(path), geojson_validator.validate_geometries(path)
    need(not structure, f"structure: {structure}")
    need(not geometries["invalid"], f"geometries: {geometries['invalid']}")
    crossing = {key: value for key, value in geometries["problematic"].items() if key not in ("holes", "excessive_coordinate_precision", "excessive_vertices")}
    need(not crossing, f"geometries: {crossing}")


@check("geojson: no crs member, a true bbox, properties in order with product before nitrogen")
def geojson_members(out):
    need("crs" not in out.geojson, "a crs member is there; RFC 7946 dropped it, and readers obey it")
    bounds = shapely.total_bounds(out.geojson_polygons)
    need(np.allclose(out.geojson["bbox"], bounds, atol=1e-9), f"bbox {out.geojson['bbox']}, geometries lie in {bounds.tolist()}")
    for feature in out.geojson["features"]:
        need(list(feature["properties"]) == ZONE_COLUMNS, f"properties {list(feature['properties'])}")
    need(out.geojson.get("map_id", out.recorded("map_id")) == out.recorded("map_id"), "map_id is not the record's")


def found_at(polygons, point):
    return [position for position, polygon in enumerate(polygons) if polygon.covers(point)]


@check("geojson: 20 points show the rates of the zones")
def geojson_points(out):
    for (_, zone, product, nitrogen), point in zip(out.points, out.points_in_degrees):
        hits = found_at(out.geojson_polygons, point)
        need(len(hits) == 1, f"{len(hits)} features hold the point in zone {zone}")
        properties = out.geojson["features"][hits[0]]["properties"]
        need(properties["zone"] == zone, f"zone {properties['zone']} where zone {zone} is due")
        near(f"product rate in zone {zone} [L/ha]", properties["product_rate"], product, HUNDREDTH)
        near(f"nitrogen in zone {zone} [kg/ha]", properties["n_kg_ha"], nitrogen, 1e-6)


@check("geojson: product inside the field is the record's total")
def geojson_total(out):
    litres = 0.0
    for polygon, feature in zip(out.geojson_polygons, out.geojson["features"]):
        litres += out.to_plane(polygon).intersection(out.field).area / 1e4 * feature["properties"]["product_rate"]
    within_share("product [L]", litres, out.recorded("totals.product"), 0.005)


@check("shapefile: parts, header, columns and reference system are what controllers expect")
def shp_parts(out):
    from outputs import MACHINE_PARTS

    stem = out.shapefile_path.stem
    need(stem.isascii() and len(stem) <= 8 and " " not in stem, f"the name {stem} is not 8.3-safe")
    for part in MACHINE_PARTS:
        need(out.shapefile_path.with_suffix("." + part).is_file(), f"{stem}.{part} is missing")
    header = out.shapefile_path.read_bytes()[:100]
    need(struct.unpack(">i", header[:4]) == (9994,), "file code is not 9994")
    need(struct.unpack("<2i", header[28:36]) == (1000, 5), "version and shape type are not 1000 and 5 (polygon)")
    need(struct.unpack(">i", header[24:28])[0] * 2 == out.shapefile_path.stat().st_size, "the header's length is not the file's")
    box = struct.unpack("<4d", header[36:68])
    need(np.allclose(box, shapely.total_bounds(out.shape_polygons), atol=1e-9), f"header's box {box} is not that of the shapes")
    need(-180 <= box[0] < box[2] <= 180 and -90 <= box[1] < box[3] <= 90, f"header's box {box} is not in degrees")
    fields = [tuple(field)[:4] for field in out.shapes[0]]
    columns = [(str(name), str(getattr(kind, "value", kind)), size, digits) for name, kind, size, digits in fields]
    need(columns == [("ZONE", "N", 6, 0), ("L_HA", "N", 10, 2)], f"columns {columns}")
    projection = out.shapefile_path.with_suffix(".prj").read_text(encoding="ascii")
    need(projection.startswith('GEOGCS["GCS_WGS_1984"'), f".prj says {projection[:60]}")
    need(out.shapefile_path.with_suffix(".cpg").read_text(encoding="ascii").strip() == "UTF-8", ".cpg does not say UTF-8")


@check("shapefile: single polygons, exteriors clockwise, holes the other way, no null shapes, no slivers")
def shp_rings(out):
    import shapefile

    for number, shape in enumerate(out.shapes[1]):
        need(shape.shapeType == shapefile.POLYGON, f"record {number} is no polygon")
        starts = [*shape.parts, len(shape.points)]
        rings = [shape.points[a:b] for a, b in zip(starts, starts[1:])]
        turns = [shapefile.signed_area(ring) for ring in rings]
        need(turns[0] < 0 and all(turn > 0 for turn in turns[1:]), f"rings of record {number} turn {['clockwise' if t < 0 else 'counter-clockwise' for t in turns]}")
        need(all(ring[0] == ring[-1] and len(ring) >= 4 for ring in rings), f"record {number} has an open ring")
        polygon = out.shape_polygons[number]
        need(polygon.geom_type == "Polygon" and polygon.is_valid, f"record {number}: {polygon.geom_type}, {shapely.is_valid_reason(polygon)}")
        need(out.to_plane(polygon).area >= 1, f"record {number} is smaller than 1 m2")


@check("shapefile: no overlaps, and the whole field is covered")
def shp_cover(out):
    planes = [out.to_plane(polygon) for polygon in out.shape_polygons]
    tree = shapely.STRtree(planes)
    for a, polygon in enumerate(planes):
        for b in tree.query(polygon, predicate="intersects"):
            if a < b:
                need(polygon.intersection(planes[b]).area < 1, f"records {a} and {b} overlap by {polygon.intersection(planes[b]).area:.1f} m2")
    bare = out.field.difference(shapely.union_all(planes)).area
    need(bare < 1, f"{bare:.1f} m2 of the field lie in no record")
    wet = out.exclusion.intersection(shapely.union_all([p for p, row in zip(planes, out.shapes[2]) if row[1] > 0])).area
    need(wet < 1, f"{wet:.1f} m2 of the exclusion get product")


@check("shapefile: exclusion and pond are zones of nothing, not gaps")
def shp_kept_clear(out):
    nothing = shapely.union_all([out.to_plane(polygon) for polygon, row in zip(out.shape_polygons, out.shapes[2]) if row[1] == 0])
    fed = shapely.union_all([out.to_plane(polygon) for polygon, row in zip(out.shape_polygons, out.shapes[2]) if row[1] > 0])
    for name, ground in (("exclusion", out.exclusion), ("pond", out.pond)):
        gap, wet = ground.difference(nothing).area, ground.intersection(fed).area
        need(gap < 1 and wet < 1, f"{gap:.1f} m2 of the {name} lie in no zone of 0, {wet:.1f} m2 get product")


@check("shapefile: 20 points show the rates of the zones")
def shp_points(out):
    for (_, zone, product, _), point in zip(out.points, out.points_in_degrees):
        hits = found_at(out.shape_polygons, point)
        need(len(hits) == 1, f"{len(hits)} records hold the point in zone {zone}")
        number, rate = out.shapes[2][hits[0]]
        need(number == zone, f"zone {number} where zone {zone} is due")
        need(isinstance(rate, (int, float)), f"the rate is {rate!r}, not a number")
        near(f"rate in zone {zone} [L/ha]", rate, product, HUNDREDTH)


@check("shapefile: product inside the field is the record's total")
def shp_total(out):
    litres = 0.0
    for polygon, (_, rate) in zip(out.shape_polygons, out.shapes[2]):
        litres += out.to_plane(polygon).intersection(out.field).area / 1e4 * rate
    within_share("product [L]", litres, out.recorded("totals.product"), 0.005)
    within_share("product by file [L]", litres, out.by_file("shapefile"), 0.0005)
