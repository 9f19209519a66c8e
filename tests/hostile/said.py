"""Whether the numbers of a map are those that the bytes of its inputs say, found with other readers: GDAL's bindings for pixels and layers, Python's own for texts.

Each check gets the folder of a run that went well and what it said, and returns what is wrong.
"""

import array
import csv
import datetime
import math
import re
import tomllib

import field as made_field
from osgeo import gdal, ogr, osr

# What a float of 32 bits and another order of adding make of an index.
NEAR = 2e-6


def image_of(folder):
    job = tomllib.loads((folder / "job.toml").read_text())
    return gdal.Open(str(folder / job["imagery"]["path"])), job


def bands_of(opened, job):
    named = {opened.GetRasterBand(k + 1).GetDescription(): k + 1 for k in range(opened.RasterCount)}
    return [opened.GetRasterBand(job["imagery"].get("bands", named)[name]) for name in ("red", "nir")]


def shares(low, high, count):
    """Pixels along one axis between two places in pixels, each with the share of it that lies between."""
    for k in range(max(0, math.floor(low)), min(count, math.ceil(high))):
        share = min(high, k + 1) - max(low, k)
        if share > 1e-9:
            yield k, share


def weights(cell, transform, cols, rows):
    """Pixels below a cell, as (row, column, share of the pixel that the cell covers): along both axes for a whole cell, by the common ground for one that is cut."""
    shape = cell.GetGeometryRef()
    west, east, south, north = shape.GetEnvelope()
    x = sorted(((west - transform[0]) / transform[1], (east - transform[0]) / transform[1]))
    y = sorted(((north - transform[3]) / transform[5], (south - transform[3]) / transform[5]))
    whole = abs(shape.GetArea() - (east - west) * (north - south)) <= 1e-6
    for row, across in shares(*y, rows):
        for col, along in shares(*x, cols):
            if whole:
                yield row, col, across * along
                continue
            left, top = transform[0] + col * transform[1], transform[3] + row * transform[5]
            right, bottom = left + transform[1], top + transform[5]
            pixel = ogr.CreateGeometryFromWkt(f"POLYGON(({left} {top},{right} {top},{right} {bottom},{left} {bottom},{left} {top}))")
            common = shape.Intersection(pixel)
            # Two that only touch have a line in common.
            share = common.GetArea() / pixel.GetArea() if common.GetDimension() == 2 else 0.0
            if share > 1e-12:
                yield row, col, share


def cells(folder, said):
    """Share that is seen and mean index of every cell, whole or cut, by the pixels below it."""
    opened, job = image_of(folder)
    transform = opened.GetGeoTransform()
    if transform[2] or transform[4]:
        return []
    red, nir = bands_of(opened, job)
    cols, rows = opened.RasterXSize, opened.RasterYSize
    values = []
    for band in (red, nir):
        plain = array.array("d", band.ReadRaster(buf_type=gdal.GDT_Float64))
        mask = band.GetMaskBand().ReadRaster(buf_type=gdal.GDT_Byte)
        scale, offset = band.GetScale() or 1.0, band.GetOffset() or 0.0
        values.append([v * scale + offset if m else math.nan for v, m in zip(plain, mask)])
    # As an object: a name that is no text in UTF-8 would not come over.
    system = opened.GetSpatialRef()
    if not system.IsSame(made_field.system()):
        return []
    imagery = said["result"]["settings"]["imagery"]
    enough, bare = imagery["pixel_inside_share"], imagery["bare_below"]
    # The limit of NDVI, as the list of indices says it.
    bare = 0.25 if bare == "of the index" else bare
    map_ = ogr.Open(str(folder / "out/office/prescription.gpkg"))
    covered = [(cell, list(weights(cell, transform, cols, rows))) for cell in map_.GetLayer("cells")]
    # A pixel that the field's edge cuts counts if enough of it lies inside.
    inside = {}
    for _, pixels in covered:
        for row, col, share in pixels:
            inside[row, col] = inside.get((row, col), 0.0) + share
    wrong = []
    for cell, pixels in covered:
        total = weight = seen = doubtful = 0.0
        for row, col, share in pixels:
            r, n = values[0][row * cols + col], values[1][row * cols + col]
            # A sum that is not above 0 has no index, as the method says.
            index = (n - r) / (n + r) if n + r > 0 else math.nan
            if abs(inside[row, col] - enough) < 1e-6 < share or abs(index - bare) < 1e-6:
                doubtful += share
            # Beyond its range there is no index.
            if not -1.0 <= index <= 1.0 or inside[row, col] < enough:
                continue
            seen += share
            if index >= bare:
                total, weight = total + index * share, weight + share
        if doubtful or cell["area_m2"] < 0.01:
            # Which side of a limit such a pixel falls on is a question of the last digit; a hair of ground has no number worth comparing.
            continue
        share = seen * abs(transform[1] * transform[5]) / cell["area_m2"]
        if abs(share - cell["seen"]) > 1e-5:
            wrong.append(f"cell {cell['row']}, {cell['col']}: {cell['seen']} of it seen, by the pixels {share}")
        if cell["index"] is not None and (not weight or abs(total / weight - cell["index"]) > NEAR):
            wrong.append(f"cell {cell['row']}, {cell['col']}: index {cell['index']}, by the pixels {total / weight if weight else None}")
    return wrong


def area_of_ring(places):
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(places, places[1:]))) / 2


def boundary(folder, said):
    """Area of the boundary on the plane, by its vertices as OGR reads them."""
    # A repaired polygon is told, with the change of its area.
    if any(finding["code"].startswith("boundary.") for finding in said["findings"]):
        return []
    job = tomllib.loads((folder / "job.toml").read_text())
    opened = ogr.Open(str(folder / job["field"]["boundary"]))
    layer = opened.GetLayer(0)
    system = layer.GetSpatialRef()
    if system is None:
        return ["mapped without a reference system"]
    system.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    plane = osr.SpatialReference()
    plane.SetFromUserInput(said["result"]["field"]["plane"])
    plane.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    way = osr.CoordinateTransformation(system, plane)
    whole = 0.0
    for feature in layer:
        shape = feature.GetGeometryRef()
        parts = [shape] if ogr.GT_Flatten(shape.GetGeometryType()) == ogr.wkbPolygon else [shape.GetGeometryRef(k) for k in range(shape.GetGeometryCount())]
        for part in parts:
            for k in range(part.GetGeometryCount()):
                ring = part.GetGeometryRef(k)
                own = area_of_ring([way.TransformPoint(*ring.GetPoint_2D(at))[:2] for at in range(ring.GetPointCount())])
                whole += own if k == 0 else -own
    stated = said["result"]["field"]["boundary_m2"]
    wrong = [] if abs(stated - whole) <= 1e-6 * whole else [f"area {stated} m², by the bytes {whole} m²"]
    # A boundary that was moved cuts cells: their pixels are weighed by what is left of them.
    return wrong + cells(folder, said)


def strips(folder, said):
    """Pieces of ground: one that crosses itself falls into several, and haulm says that it was repaired."""
    opened = ogr.Open(str(folder / "strips.geojson"))
    layer = opened.GetLayer(0)
    # A geometry dies with its feature: copies.
    shapes = [feature.GetGeometryRef().Clone() for feature in layer if feature.GetGeometryRef() is not None]
    repaired = any(finding["code"] == "boundary.repaired" for finding in said["result"]["findings"])
    pieces = lambda shape: max(1, shape.MakeValid().GetGeometryCount()) if repaired and not shape.IsValid() else 1
    count = sum(pieces(shape) for shape in shapes)
    stated = len(said["result"]["reference"]["strips"])
    return [] if stated <= count else [f"{stated} strips, by the bytes {count}"]


def first_number(text):
    return float(re.match(r"\s*([-+]?[\d.]+(?:[eE][-+]?\d+)?)", text)[1])


def job(folder, said):
    """Amounts of the job in the units that it is always mutated from: a unit that was changed is left out."""
    written = tomllib.loads((folder / "job.toml").read_text())
    settings = said["result"]["settings"]
    wrong = []
    for text, unit, factor, stated in (
        (written["response"].get("maximum_yield", ""), "t/ha", 1000.0, settings["response"]["maximum_yield_kg_ha"]),
        (written["rate"].get("maximum", ""), "kg N/ha", 1.0, settings["rate"]["maximum_written_kg_n_ha"]),
        (written["rate"].get("step", ""), "kg N/ha", 1.0, settings["rate"]["step_kg_n_ha"]),
        (written["machine"].get("working_width", ""), "m", 1.0, settings["machine"]["working_width_m"]),
        (written["response"]["yield_curve"].get("a", ""), "kg/ha", 1.0, settings["response"]["yield_curve"]["a_kg_ha"]),
    ):
        number = re.fullmatch(r"([-+]?\d+(?:\.\d+)?) " + re.escape(unit), str(text))
        if number and abs(float(number[1]) * factor - stated) > 1e-9 * abs(stated):
            wrong.append(f"{stated}, and the job says {text}")
    for value, stated in (
        (written["response"]["yield_curve"].get("b"), settings["response"]["yield_curve"]["b_d"]),
        (written["season"].get("growing_days"), said["result"]["season"]["growing_days"]),
    ):
        if isinstance(value, (int, float)) and value != stated:
            wrong.append(f"{stated}, and the job says {value}")
    return wrong + cells(folder, said)


def weather(folder, said):
    """Days whose mean lies above the crop's base temperature, from planting up to the day before the image."""
    base = said["result"]["settings"]["season"]["crop"]["base_temperature_c"]
    count, seen = 0, set()
    with open(folder / "w.csv", newline="", encoding="utf-8-sig") as opened:
        rows = csv.reader(opened)
        head = [name.strip().lower() for name in next(rows)]
        at = [head.index(name) for name in ("date", "tmin_c", "tmax_c")]
        for row in rows:
            if not row:
                continue
            day = datetime.date.fromisoformat(row[at[0]].strip())
            if datetime.date(2025, 10, 6) <= day < datetime.date(2026, 4, 14) and day not in seen:
                seen.add(day)
                count += (float(row[at[1]]) + float(row[at[2]])) / 2 > base
    stated = said["result"]["season"]["growing_days"]
    return [] if stated == count else [f"{stated} growing days, by the record {count}"]


def task(folder, said):
    """Cells and total of task data, of every task with a grid that our own reader knows."""
    from corpora import by_own_reader

    grids = by_own_reader(folder / "TASKDATA")
    wrong = []
    for one in said["result"].get("tasks") or [said["result"]]:
        found = one["map"]
        own = grids.get(found["task"])
        # A cell that the boundary cuts counts by its part, and rates go on beyond it: the whole grid holds more than the field.
        if own and not (found["cells"] == own[0] and 0.5 * own[2] <= found["total"] <= own[2] * (1 + 1e-3) + 1e-9):
            wrong.append(f"{found['task']}: {found['cells']} cells, {found['total']}; by the bytes {own}")
    return wrong


# What is compared for the formats of mutated.py, by their names.
CHECKS = {
    **{name: cells for name in ("tif", "tif-deflate", "tif-big", "vrt", "envi")},
    **{name: boundary for name in ("geojson", "shapefile-shp", "shapefile-dbf", "shapefile-shx", "shapefile-prj", "gpkg", "flatgeobuf", "kml", "gml", "mif")},
    "strips": strips,
    "job": job,
    "weather": weather,
    "task-xml": task,
    "task-grid": task,
}
