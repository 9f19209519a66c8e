"""A farm of small invented fields on one tile, made with rasterio."""

import json

import numpy
import rasterio
from rasterio.transform import from_origin

CORNER = (500_000.0, 5_500_000.0)
SIDE, GAP, PIXEL = 240.0, 20.0, 5.0

FARM = """name = "Test farm"
output = "season"

[fields]
path = "fields.geojson"
name = "name"
[fields.columns]
response.maximum_yield = { column = "yield", unit = "t/ha" }

[strips]
path = "strips.geojson"

[[images]]
path = "tile.tif"
date = 2026-04-14

[common.imagery]
index = "NDVI"
[common.season]
crop = "winter wheat"
planted = 2025-10-06
growing_days = 100
[common.response]
method = "yield response"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "test" }
[common.rate]
minimum = "0 kg N/ha"
maximum = "140 kg N/ha"
step = "5 kg N/ha"
[common.machine]
working_width = "24 m"
cell_length = "24 m"
heading = "0 grid"
[common.uncertainty]
draws = 20
[common.output]
formats = ["geojson", "geopackage", "flatgeobuf"]
"""


def square(west, south, width, height):
    x, y = CORNER[0] + west, CORNER[1] + south
    return [[[x, y], [x + width, y], [x + width, y + height], [x, y + height], [x, y]]]


def layer(shapes):
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    features = [{"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": ring}} for properties, ring in shapes]
    return json.dumps({"type": "FeatureCollection", "crs": crs, "features": features})


def make(folder, count, spoilt=()):
    """``count`` fields side by side, each with a strip; of those in ``spoilt`` the yield is none that can be."""
    random = numpy.random.default_rng(20260414)
    step = SIDE + GAP
    columns, rows = int(count * step / PIXEL), int(SIDE / PIXEL)
    ground = 0.45 + 0.1 * random.random((rows, columns))
    for number in range(count):
        first = int(number * step / PIXEL)
        ground[:, first + 12 : first + 18] = 0.72 + 0.01 * random.random((rows, 6))
    red = 0.2 * (1 - ground) / (1 + ground)
    bands = {"red": red, "nir": numpy.full_like(red, 0.2)}
    profile = dict(driver="GTiff", width=columns, height=rows, count=2, dtype="float32", crs="EPSG:32633", tiled=True, blockxsize=128, blockysize=128)
    with rasterio.open(folder / "tile.tif", "w", transform=from_origin(CORNER[0], CORNER[1] + SIDE, PIXEL, PIXEL), **profile) as file:
        for number, (name, band) in enumerate(bands.items(), 1):
            file.write(band.astype("float32"), number)
            file.set_band_description(number, name)
    names = [f"Piece {number + 1}" for number in range(count)]
    fields = [({"name": name, "yield": 700.0 if at in spoilt else 7.5}, square(at * step, 0, SIDE, SIDE)) for at, name in enumerate(names)]
    strips = [({}, square(at * step + 60, 10, 30, SIDE - 20)) for at in range(count)]
    (folder / "fields.geojson").write_text(layer(fields))
    (folder / "strips.geojson").write_text(layer(strips))
    (folder / "farm.toml").write_text(FARM)
    return folder / "farm.toml"


def hashes(folder):
    """All files of an output folder but records, which hold the time, and rows, which name them."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and path.name != "record.json" and path.suffix in (".geojson", ".gpkg", ".csv", ".txt", ".html", ".pdf"):
            # The reason of a refusal names its job file with its folder.
            found[str(path.relative_to(folder))] = path.read_bytes().replace(str(folder.parent).encode(), b"FARM")
    return found
