"""The nitrogen raster, the record and the card."""

import math
import re
import subprocess

import numpy as np
import rasterio
import shapely

from outputs import near, need, system_python, within_share
from registry import check


@check("geotiff: GDAL's validator takes it for a cloud-optimised GeoTIFF")
def tif_validator(out):
    command = [system_python(), "-m", "osgeo_utils.samples.validate_cloud_optimized_geotiff", "--full-check=yes", str(out.office / "nitrogen.tif")]
    done = subprocess.run(command, capture_output=True, text=True)
    need(done.returncode == 0, f"the validator ends with {done.returncode}: {(done.stdout + done.stderr)[-600:]}")


@check("geotiff: tiled 32-bit floats in the working plane, pixels a quarter of a cell, nodata −9999, named and with its unit")
def tif_form(out):
    with rasterio.open(out.office / "nitrogen.tif") as file:
        # The validator lets strips pass in small files; a tile of one width with fewer rows is a strip.
        need(file.profile["tiled"] and file.block_shapes[0][0] == file.block_shapes[0][1], f"blocks of {file.block_shapes[0]}")
        need(file.count == 1 and file.dtypes[0] == "float32" and file.nodata == -9999, f"{file.count} bands, {file.dtypes}, nodata {file.nodata}")
        need(file.crs.to_epsg() == 32633, f"reference system {file.crs}")
        transform = file.transform
        need(transform.b == transform.d == 0 and transform.a == 6 and transform.e == -6, f"pixels of {transform.a} by {transform.e} m; a quarter of 24 m is due")
        need(transform.c % 6 == 0 and transform.f % 6 == 0, f"the corner {transform.c}, {transform.f} is no multiple of the pixel")
        need(file.scales == (1.0,) and file.offsets == (0.0,), f"scale {file.scales}, offset {file.offsets}")
        words = " ".join([file.descriptions[0] or "", file.units[0] or "", *map(str, file.tags().values()), *map(str, file.tags(1).values())])
        need("kg N/ha" in words, f"neither unit nor description says kg N/ha: {words!r}")


@check("geotiff: 20 points show the rates of the zones")
def tif_points(out):
    with rasterio.open(out.office / "nitrogen.tif") as file:
        for point, zone, _, nitrogen in out.points:
            (value,) = next(file.sample([(point.x, point.y)]))
            near(f"nitrogen in zone {zone} [kg/ha]", float(value), nitrogen, 1e-4)


@check("geotiff: nodata outside the field, the zone's rate at each pixel's centre inside, total as recorded")
def tif_total(out):
    with rasterio.open(out.office / "nitrogen.tif") as file:
        values = file.read(1)
        rows, columns = np.indices(values.shape)
        x, y = file.transform.c + (columns + 0.5) * 6, file.transform.f - (rows + 0.5) * 6
    # Centres within a centimetre of the field's edge may fall either way.
    inside = shapely.contains_xy(out.field.buffer(-0.01), x, y)
    beyond = ~shapely.contains_xy(out.field.buffer(0.01), x, y)
    need(bool(np.all(values[beyond] == -9999)), f"{int(np.sum(values[beyond] != -9999))} pixels outside the field hold a rate")
    need(bool(np.all(values[inside] != -9999)), f"{int(np.sum(values[inside] == -9999))} pixels inside the field hold none")
    tree = shapely.STRtree(out.zones.geometry)
    pixels, zones = tree.query(shapely.points(x[inside], y[inside]), predicate="within")
    differ = np.abs(values[inside][pixels] - out.zones["n_kg_ha"][zones]) > 1e-4
    need(int(np.sum(differ)) == 0, f"{int(np.sum(differ))} pixels do not hold their zone's rate")
    # Pixels are whole or not at all, so the edge adds chance: some 350 edge pixels of 6,000, half a pixel each.
    within_share("nitrogen [kg]", float(np.sum(values[values != -9999], dtype=float)) * 36 / 1e4, out.recorded("totals.n_kg"), 0.005)


@check("record: keys that scripts rely on are there and make sense for the demo")
def record_keys(out):
    keys = ["index", "beside", "ratio", "ratio_low", "ratio_high", "place", "strips"]
    for key in keys:
        out.recorded(f"reference.{key}")
    for key in ("n_kg", "n_kg_from_cells", "n_kg_exact", "n_kg_seen", "n_kg_by_ratio", "product", "product_unit", "capped_share", "unseen_share", "bare_share", "thin_share"):
        out.recorded(f"totals.{key}")
    identity = out.recorded("map_id")
    need(len(identity) == 6 and set(identity) <= set("0123456789abcdef"), f"map_id {identity!r}")
    for strip in out.recorded("reference.strips"):
        need({"index", "beside", "estimator", "pixels", "segments_dropped"} <= set(strip), f"strip {strip}")
        need(strip["estimator"] == "fine", f"1 m pixels in strips of 24 m, yet the estimator is {strip['estimator']}")
    need(len(out.recorded("reference.strips")) == 2, "the demo has two strips")
    for finding in out.recorded("findings"):
        need({"code", "severity", "message"} <= set(finding) and finding["severity"] in ("note", "caution", "stop"), f"finding {finding}")
    # Counted from the demo's weather file by the rule of the job file's page, apart from haulm.
    days = 0
    for line in (out.demo / "field" / "weather.csv").read_text().splitlines()[1:]:
        date, low, high = line.split(",")
        days += "2025-10-06" <= date < "2026-04-14" and round(float(low) * 1000) + round(float(high) * 1000) > 8800
    need(out.recorded("season.growing_days") == days, f"{out.recorded('season.growing_days')} growing days; the weather file has {days}")
    near("response index", out.recorded("reference.ratio"), out.recorded("reference.index") / out.recorded("reference.beside"), 1e-9)
    need(out.recorded("reference.ratio_low") < out.recorded("reference.ratio") < out.recorded("reference.ratio_high"), "the interval does not hold the response index")
    need(1.1 < out.recorded("reference.ratio") < 1.25, f"response index {out.recorded('reference.ratio')}; the demo was made with some 1.17")
    for key in ("capped_share", "unseen_share", "bare_share", "thin_share"):
        share = out.recorded(f"totals.{key}")
        need(0 < share < 0.2 and math.isfinite(share), f"{key} is {share}; the demo has a cloud, a bare patch, drowned crop and a low maximum yield")


@check("card: names map, product, column and unit, and rates that the map has")
def card_words(out):
    card = (out.machine / "CARD.txt").read_text(encoding="utf-8")
    for word in (out.recorded("map_id"), "Long Ley", "UAN 28", "L_HA", "L/ha"):
        need(word in card, f"CARD.txt does not say {word}")
    greatest = max(out.zones["product_rate"])
    need(f"{greatest:.2f}" in card or f"{greatest:.1f}" in card, f"CARD.txt does not say the greatest rate, {greatest:.2f} L/ha")


@check("card: three check points show on the map what the card says")
def card_points(out):
    card = (out.machine / "CARD.txt").read_text(encoding="utf-8")
    points = re.findall(r"^\d+ +(-?\d+\.\d+) +(-?\d+\.\d+) +(\d+\.\d+) L/ha", card, flags=re.MULTILINE)
    need(len(points) == 3, f"{len(points)} check points; 3 are due")
    for latitude, longitude, rate in points:
        point = shapely.Point(float(longitude), float(latitude))
        shown = [row[1] for polygon, row in zip(out.shape_polygons, out.shapes[2]) if polygon.covers(point)]
        need(len(shown) == 1, f"{len(shown)} records of the shapefile hold the point {longitude}, {latitude}")
        near(f"rate at {longitude}, {latitude} [L/ha]", shown[0], float(rate), 0.00501)
        near(f"rate of the task at {longitude}, {latitude} [L/ha]", out.grid.values[out.grid.position(point)] / 10_000, float(rate), 0.0101)


@check("machine: the folder holds product only, and nothing that does not belong there")
def machine_folder(out):
    from outputs import MACHINE_PARTS

    stem = out.shapefile_path.stem
    due = {"CARD.html", "CARD.txt", "TASKDATA/TASKDATA.XML", "TASKDATA/" + out.grid.file.name, *(f"{stem}.{part}" for part in MACHINE_PARTS)}
    there = {path.relative_to(out.machine).as_posix() for path in out.machine.rglob("*") if path.is_file()}
    need(there == due, f"missing {sorted(due - there)}, too many {sorted(there - due)}")
