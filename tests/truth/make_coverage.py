"""Covered shares and cell means by exactextract, and cells cut by shapely: numbers that haulm did not make.

    python tests/truth/make_coverage.py > tests/truth/coverage.json

Needs exactextract 0.3.0, numpy, rasterio and shapely 2. An invented field with a pond, a corner of which lies beyond the image, is cut by a grid that is
turned against the pixels. Index values are whole-number arithmetic, so that the test can make the same image without reading one.
"""

import json
import sys

import numpy
from exactextract import __version__ as exactextract_version
from exactextract import exact_extract
from rasterio.io import MemoryFile
from rasterio.transform import Affine
from shapely import __version__ as shapely_version
from shapely import geos_version_string
from shapely.geometry import Polygon, mapping

COLS, ROWS, PIXEL = 60, 50, 2.5
LEFT, TOP = 500_000.0, 5_400_000.0
AZIMUTH, LENGTH, WIDTH = 27.0, 21.0, 17.5
OUTLINE = [(8.3, -12.1), (71.0, -4.4), (139.6, -17.9), (158.2, -52.5), (128.8, -76.0), (141.1, -117.7), (60.4, -109.2), (21.7, -88.8), (33.3, -50.1)]
POND = [(60.0, -40.0), (66.7, -58.3), (85.2, -66.1), (98.8, -49.4), (81.3, -33.0)]
RULES = [0.0, 0.5, 0.999]
TIE = 1e-6


def value(col, row):
    """Index of a pixel; NaN where there is none. Neighbours differ a lot, so that a wrong share shows."""
    if (7 * col + 3 * row) % 41 == 0:
        return float("nan")
    return 0.2 + ((37 * col + 91 * row + col * row) % 1000) / 2000.0


def image(keep=None):
    """The image as an open raster, less the pixels that `keep` turns down."""
    data = numpy.array([[value(col, row) for col in range(COLS)] for row in range(ROWS)])
    if keep is not None:
        data = numpy.where(keep, data, numpy.nan)
    memory = MemoryFile()
    profile = {"driver": "GTiff", "width": COLS, "height": ROWS, "count": 1, "dtype": "float64", "nodata": float("nan"), "crs": "EPSG:32633"}
    with memory.open(transform=Affine(PIXEL, 0, LEFT, 0, -PIXEL, TOP), **profile) as raster:
        raster.write(data, 1)
    return memory.open()


def features(shapes):
    return [{"type": "Feature", "properties": {"id": k}, "geometry": mapping(shape)} for k, shape in enumerate(shapes)]


def cells_of(field):
    """Row, column and shape of each cell of the turned grid, in row, column order."""
    angle = numpy.radians(AZIMUTH)
    sin, cos = numpy.sin(angle), numpy.cos(angle)
    corners = numpy.array(field.exterior.coords)
    u, v = corners[:, 0] * sin + corners[:, 1] * cos, -corners[:, 0] * cos + corners[:, 1] * sin
    u0, v0 = u.min(), v.min()
    cells = []
    for row in range(int((u.max() - u0) // LENGTH) + 1):
        for col in range(int((v.max() - v0) // WIDTH) + 1):
            a, b = (u0 + row * LENGTH, u0 + (row + 1) * LENGTH), (v0 + col * WIDTH, v0 + (col + 1) * WIDTH)
            turned = [(a[0], b[0]), (a[1], b[0]), (a[1], b[1]), (a[0], b[1])]
            shape = Polygon([(s * sin - t * cos, s * cos + t * sin) for s, t in turned]).intersection(field)
            if shape.area >= 1e-6:
                cells.append((row, col, shape))
    return cells


def main():
    place = lambda ring: [(LEFT + x, TOP + y) for x, y in ring]
    field = Polygon(place(OUTLINE), [place(POND)])
    assert field.is_valid
    cells = cells_of(field)

    ones = MemoryFile()
    with ones.open(driver="GTiff", width=COLS, height=ROWS, count=1, dtype="uint8", crs="EPSG:32633", transform=Affine(PIXEL, 0, LEFT, 0, -PIXEL, TOP)) as raster:
        raster.write(numpy.ones((ROWS, COLS), "uint8"), 1)
    plain = ones.open()
    shares = numpy.zeros(ROWS * COLS)
    found = exact_extract(plain, features([field]), ["coverage", "cell_id"])[0]["properties"]
    shares[numpy.array(found["cell_id"], int)] = found["coverage"]
    covered = exact_extract(plain, features([shape for _, _, shape in cells]), ["count", "coverage", "cell_id"])

    out = {
        "made_by": f"python tests/truth/make_coverage.py; exactextract {exactextract_version}, shapely {shapely_version}, GEOS {geos_version_string}",
        "cols": COLS,
        "rows": ROWS,
        "pixel": PIXEL,
        "left": LEFT,
        "top": TOP,
        "azimuth": AZIMUTH,
        "length": LENGTH,
        "width": WIDTH,
        "outline": place(OUTLINE),
        "pond": place(POND),
        "field_area": field.area,
        "rules": [],
        "cells": [],
    }
    for (row, col, shape), feature in zip(cells, covered):
        found = feature["properties"]
        out["cells"].append({"row": row, "col": col, "area": shape.area, "covered": found["count"]})
    # Pixel by pixel where it is hardest: the cell with most pixels cut by its border, one at the pond, one beyond the image.
    partly = [sum(0.0 < share < 1.0 for share in feature["properties"]["coverage"]) for feature in covered]
    pond = Polygon(place(POND))
    frame = Polygon(place([(0, 0), (COLS * PIXEL, 0), (COLS * PIXEL, -ROWS * PIXEL), (0, -ROWS * PIXEL)]))
    chosen = [
        max(range(len(cells)), key=lambda k: partly[k]),
        max(range(len(cells)), key=lambda k: partly[k] if cells[k][2].distance(pond) == 0 else -1),
        max(range(len(cells)), key=lambda k: partly[k] if not frame.contains(cells[k][2]) else -1),
    ]
    for k in sorted(set(chosen)):
        found = covered[k]["properties"]
        out["cells"][k]["pixels"] = [[int(i) // COLS, int(i) % COLS, float(s)] for i, s in zip(found["cell_id"], found["coverage"])]
    for rule in RULES:
        keep = shares.reshape(ROWS, COLS) >= rule - TIE
        results = exact_extract(image(keep), features([shape for _, _, shape in cells]), ["count", "mean"])
        means = [[f["properties"]["count"], None if f["properties"]["count"] == 0 else f["properties"]["mean"]] for f in results]
        out["rules"].append({"pixel_inside": rule, "cells": means})
    json.dump(out, sys.stdout, indent=None, separators=(",", ":"))
    print()


if __name__ == "__main__":
    main()
