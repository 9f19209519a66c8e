"""The zones as `haulm convert` writes them into every other format (folder `formats` of the outputs), by validators and readers that are not haulm's."""

import json
import re
import subprocess
import sysconfig
import xml.etree.ElementTree as ElementTree
from functools import cache
from pathlib import Path

import geojson_validator
import numpy as np
import rasterio
import shapefile
import shapely

from check_style import of_qml
from check_vector import overlap
from outputs import HERE, Layer, near, need, system_python, table, within_share
from registry import check

KML = "{http://www.opengis.net/kml/2.2}"
HUNDREDTH = 0.00501
# Half a step of the seventh decimal, about 0.6 cm, on either side of a border.
ROUNDING = 0.012


def made(out, name):
    path = out.folder / "formats" / name
    need(path.is_file(), f"there is no {name}")
    return path


def partition(out, what, shapes, share, ground=0.0):
    """Valid, one beside the other, and together the field, but for a share of it or for the ground along borders that rounding takes."""
    invalid = [str(shapely.is_valid_reason(shape)) for shape in shapes if not shapely.is_valid(shape)]
    need(not invalid, f"{what}: {invalid[:3]}")
    limit = share * out.field.area + ground
    near(f"{what}: ground in two zones [m2]", overlap(np.array(shapes)), 0, limit)
    union = shapely.union_all(shapes)
    near(f"{what}: zones and field differ by [m2]", union.symmetric_difference(out.field).area, 0, limit)
    near(f"{what}: area of all zones [m2]", float(shapely.area(shapes).sum()), out.field.area, limit)
    if ground == 0.0:
        near(f"{what}: length around the zones [m]", float(shapely.length(shapes).sum()), float(shapely.length(out.zones.geometry).sum()), 1e-6)


def rates_at(out, what, shapes, rates, points):
    for (_, zone, product, _), point in zip(out.points, points):
        hits = [rate for shape, rate in zip(shapes, rates) if shape.covers(point)]
        need(len(hits) == 1, f"{what}: {len(hits)} zones hold the point in zone {zone}")
        near(f"{what}: rate in zone {zone} [L/ha]", float(hits[0]), product, HUNDREDTH)


def total(what, shapes, rates, out):
    within_share(f"{what}: product [L]", float(np.sum(shapely.area(shapes) * np.array(rates, dtype=float))) / 1e4, out.recorded("totals.product"), 1e-3)


@cache
def node(mode, path, changed):
    done = subprocess.run(["node", str(HERE / "check_formats.mjs"), mode, path], capture_output=True, text=True)
    need(done.returncode == 0, f"node ends with {done.returncode}: {done.stderr[-600:]}")
    return json.loads(done.stdout)


def read_by_node(mode, path):
    return node(mode, str(path), path.stat().st_mtime_ns)


@check("formats: GeoPackage: the validator of GDAL is content; the zones are the field, to a billionth")
def format_geopackage(out):
    path = made(out, "zones.gpkg")
    done = subprocess.run([system_python(), "-m", "osgeo_utils.samples.validate_gpkg", "-k", "-v", "--extra", str(path)], capture_output=True, text=True)
    need(done.returncode == 0, f"validate_gpkg ends with {done.returncode}: {(done.stdout + done.stderr)[-600:]}")
    layer = Layer(path, None)
    partition(out, "GeoPackage", layer.geometry, 1e-9)
    rates_at(out, "GeoPackage", layer.geometry, layer["product_rate"], [point for point, *_ in out.points])
    total("GeoPackage", layer.geometry, layer["product_rate"], out)
    # On the ellipsoid, some 0.08 % more than on this plane near its middle.
    share = layer["area_m2"] / shapely.area(layer.geometry)
    need(bool(np.all(np.abs(share / np.median(share) - 1) < 1e-4)) and abs(np.median(share) - 1) < 1e-3, f"areas {share.min():.6f} to {share.max():.6f} of those on the plane")


@check("formats: FlatGeobuf: its makers' own reader for JavaScript and GDAL see the same zones, which are the field, to a billionth")
def format_flatgeobuf(out):
    path = made(out, "zones.fgb")
    layer = Layer(path, None)
    partition(out, "FlatGeobuf", layer.geometry, 1e-9)
    rates_at(out, "FlatGeobuf", layer.geometry, layer["product_rate"], [point for point, *_ in out.points])
    read = read_by_node("flatgeobuf", path)
    need(read["code"] == 32633, f"the reader sees the system {read['code']}")
    need(len(read["features"]) == len(layer), f"it reads {len(read['features'])} zones, GDAL {len(layer)}")
    theirs = {feature["properties"]["zone"]: feature for feature in read["features"]}
    for position, zone in enumerate(layer["zone"]):
        feature = theirs[int(zone)]
        need(shapely.from_geojson(json.dumps(feature["geometry"])).equals(layer.geometry[position]), f"zone {zone} has another shape")
        near(f"rate of zone {zone} [L/ha]", feature["properties"]["product_rate"], float(layer["product_rate"][position]), 1e-12)


@check("formats: KML: the schema of KML 2.2 takes it; rates and colours are those of the zones")
def format_kml(out):
    path = made(out, "zones.kml")
    schema = Path(sysconfig.get_paths()["purelib"]) / "pykml" / "schemas" / "ogckml22.xsd"
    done = subprocess.run(["xmllint", "--noout", "--nonet", "--schema", str(schema), str(path)], capture_output=True, text=True)
    need(done.returncode == 0, f"the schema refuses it: {done.stderr[-600:]}")
    root = ElementTree.parse(path).getroot()
    styles = {"#" + style.attrib["id"]: style.findtext(f"{KML}PolyStyle/{KML}color") for style in root.iter(KML + "Style")}
    shapes, rates, colours = [], [], {}
    for placemark in root.iter(KML + "Placemark"):
        rings = lambda polygon, side: [[tuple(map(float, c.split(",")[:2])) for c in ring.text.split()] for ring in polygon.iterfind(f"{KML}{side}/{KML}LinearRing/{KML}coordinates")]
        parts = [shapely.Polygon(rings(polygon, "outerBoundaryIs")[0], rings(polygon, "innerBoundaryIs")) for polygon in placemark.iter(KML + "Polygon")]
        data = {item.attrib["name"]: (item.findtext(KML + "value") if item.find(KML + "value") is not None else item.text) for kind in ("Data", "SimpleData") for item in placemark.iter(KML + kind)}
        shapes.append(shapely.MultiPolygon(parts))
        rates.append(float(data["product_rate"]))
        colours.setdefault(styles[placemark.findtext(KML + "styleUrl")], set()).add(rates[-1])
    rates_at(out, "KML", shapes, rates, out.points_in_degrees)
    planes = np.array([out.to_plane(shape) for shape in shapes])
    partition(out, "KML", planes, 0, ROUNDING * float(shapely.length(out.zones.geometry).sum()))
    total("KML", planes, rates, out)
    with table(made(out, "zones.gpkg")) as base:
        classes = of_qml(base.execute("select styleQML from layer_styles").fetchone()[0])
    for colour, seen in colours.items():
        # Opacity, blue, green, red.
        shown = "#" + colour[6:8] + colour[4:6] + colour[2:4]
        for rate in seen:
            due = next(c[2] for c in classes if c[0] <= rate < c[1] or rate == c[1] == classes[-1][1])
            need(shown == due, f"{rate} L/ha is {shown}; in the GeoPackage it is {due}")


@check("formats: GeoJSON: two validators say nothing, of the converted file and of the office's")
def format_geojson(out):
    for path in (made(out, "zones.geojson"), out.office / "prescription.geojson"):
        structure, geometries = geojson_validator.validate_structure(str(path)), geojson_validator.validate_geometries(str(path))
        problems = {key: value for key, value in geometries["problematic"].items() if key not in ("holes", "excessive_coordinate_precision", "excessive_vertices")}
        need(not structure and not geometries["invalid"] and not problems, f"{path.name}: {structure} {geometries['invalid']} {problems}")
        told = read_by_node("geojson", path)["issues"]
        need(told == [], f"{path.name}: {told[:3]}")
        read = json.loads(path.read_text(encoding="utf-8"))
        shapes = [shapely.from_geojson(json.dumps(feature["geometry"])) for feature in read["features"]]
        rates = [feature["properties"]["product_rate"] for feature in read["features"]]
        rates_at(out, path.name, shapes, rates, out.points_in_degrees)
        planes = np.array([out.to_plane(shape) for shape in shapes])
        partition(out, path.name, planes, 0, ROUNDING * float(shapely.length(out.zones.geometry).sum()))


@check("formats: shapefile: pyshp reads one polygon a record, turned as it must be, and all are the field")
def format_shapefile(out):
    path = made(out, "ZONES.shp")
    with shapefile.Reader(str(path)) as reader:
        names = [str(field[0]) for field in reader.fields if field[0] != "DeletionFlag"]
        shapes, records = reader.shapes(), [list(record) for record in reader.records()]
    need(names == ["ZONE", "L_HA"], f"columns {names}")
    for number, shape in enumerate(shapes):
        starts = [*shape.parts, len(shape.points)]
        turns = [shapefile.signed_area(shape.points[a:b]) for a, b in zip(starts, starts[1:])]
        need(shape.shapeType == shapefile.POLYGON and turns[0] < 0 and all(turn > 0 for turn in turns[1:]), f"record {number} turns {turns}")
    polygons = [shapely.from_geojson(json.dumps(shape.__geo_interface__)) for shape in shapes]
    rates = [record[-1] for record in records]
    rates_at(out, "shapefile", polygons, rates, out.points_in_degrees)
    planes = np.array([out.to_plane(polygon) for polygon in polygons])
    # Coordinates are whole doubles of degrees, but an edge that is straight there bends on the plane: a millimetre on 300 m.
    partition(out, "shapefile", planes, 0, 0.001 * float(shapely.length(out.zones.geometry).sum()))
    total("shapefile", planes, rates, out)


@check("formats: GeoTIFF: the validator of GDAL is content; rates are those of the zones, named with their unit")
def format_geotiff(out):
    path = made(out, "zones.tif")
    command = [system_python(), "-m", "osgeo_utils.samples.validate_cloud_optimized_geotiff", "--full-check=yes", str(path)]
    done = subprocess.run(command, capture_output=True, text=True)
    need(done.returncode == 0, f"the validator ends with {done.returncode}: {(done.stdout + done.stderr)[-600:]}")
    with rasterio.open(path) as file:
        need(file.units[0] == "L/ha" and bool(file.descriptions[0]), f"band {file.descriptions}, unit {file.units}")
        for point, zone, product, _ in out.points:
            (value,) = next(file.sample([(point.x, point.y)]))
            near(f"GeoTIFF: rate in zone {zone} [L/ha]", float(value), product, HUNDREDTH)
        values, size = file.read(1, masked=True), abs(file.transform.a * file.transform.e)
    within_share("GeoTIFF: product [L]", float(values.sum(dtype=float)) * size / 1e4, out.recorded("totals.product"), 0.005)


@check("formats: the statement of what was lost names columns, borders and rounding")
def format_lost(out):
    due = {
        "zones.gpkg": ["index", "rounded to 0.01"],
        "zones.fgb": ["index", "rounded to 0.01"],
        "zones.kml": ["index", "7 decimals", "WGS 84"],
        "zones.geojson": ["index", "7 decimals", "WGS 84"],
        "ZONES.shp": ["n_kg_ha", "WGS 84", "rounded to 0.01"],
        "zones.tif": ["n_kg_ha", "square pixels"],
    }
    for name, words in due.items():
        said = json.loads((out.folder / "formats" / f"{name}.json").read_text(encoding="utf-8"))["result"]
        lost = " ".join(said["lost"])
        for word in words:
            need(re.search(re.escape(word), lost) is not None, f"{name}: {word!r} is not in what was lost: {lost}")
        share = said["written"]["total"] / said["source"]["total"]
        need(abs(share - 1) < 0.005 and said["written"]["total"] > 0, f"{name}: total {share}")
