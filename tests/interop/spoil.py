#!/usr/bin/env python3
"""Spoils copies of a demo run's outputs on purpose, each in one way, and sees that the check for it fails: spoil.py OUTPUT_FOLDER DEMO_FOLDER

A check that cannot fail is worth nothing; here each one has to, at least once.
"""

import json
import re
import shutil
import sys
import tempfile
import zipfile
from pathlib import Path

import numpy as np
import rasterio
import shapefile
import shapely

from check import run
from outputs import Outputs, table
from registry import CHECKS

SPOILS = []


def spoil(*claims):
    """Registers a spoiler of the copy `out`, and words of the checks that must fail by it."""

    def keep(function):
        SPOILS.append((function, claims))
        return function

    return keep


def rewrite(path, change):
    text = path.read_text(encoding="utf-8")
    changed = change(text)
    if changed == text:
        raise RuntimeError(f"nothing to spoil in {path.name}")
    path.write_text(changed, encoding="utf-8")


def task(out, pattern, replacement, count=1):
    """Changes the task's XML, and the zip with it."""
    rewrite(out.task_folder / "TASKDATA.XML", lambda text: re.sub(pattern, replacement, text, count=count))
    rezip(out)


def rezip(out, prefix="TASKDATA/", compression=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(out.office / "TASKDATA.zip", "w", compression) as archive:
        for path in sorted(out.task_folder.iterdir()):
            archive.write(path, prefix + path.name)


def grid_values(out, change):
    """Changes the grid's values (rows from the south), and the zip with them."""
    grid = out.grid
    values = change(grid.values.copy())
    grid.file.write_bytes(values.tobytes())
    rezip(out)


def sql(out, *statements):
    """Changes the GeoPackage below its triggers, which call functions that plain SQLite lacks."""
    with table(out.gpkg) as base:
        triggers = base.execute("select name, sql from sqlite_master where type = 'trigger'").fetchall()
        for name, _ in triggers:
            base.execute(f'drop trigger "{name}"')
        for statement in statements:
            base.execute(*(statement if isinstance(statement, tuple) else (statement,)))
        for _, text in triggers:
            base.execute(text)
    base.close()


def feature_table(out, layer="zones"):
    with table(out.gpkg) as base:
        (geometry,) = base.execute("select column_name from gpkg_geometry_columns where table_name = ?", (layer,)).fetchone()
        key = next(row[1] for row in base.execute(f'pragma table_info("{layer}")') if row[5])
    return geometry, key


def blob(shape):
    """A GeoPackage geometry: header with the envelope, then WKB."""
    west, south, east, north = shape.bounds
    multi = shape if shape.geom_type == "MultiPolygon" else shapely.MultiPolygon([shape])
    return b"GP\x00\x03" + np.array([32633], "<i4").tobytes() + np.array([west, east, south, north], "<f8").tobytes() + shapely.to_wkb(multi, byte_order=1, flavor="iso")


def geojson(out, change):
    path = out.office / "prescription.geojson"
    document = json.loads(path.read_text(encoding="utf-8"))
    change(document)
    path.write_text(json.dumps(document), encoding="utf-8")


def rings(feature):
    shape = feature["geometry"]
    return [ring for part in ([shape["coordinates"]] if shape["type"] == "Polygon" else shape["coordinates"]) for ring in part]


def record(out, change):
    path = out.office / "record.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    change(document)
    path.write_text(json.dumps(document), encoding="utf-8")


def raster(out, change_profile=lambda profile: None, change=lambda values: values, **more):
    """Writes the raster anew; by default as it was, but as a plain tiled file."""
    path = out.office / "nitrogen.tif"
    with rasterio.open(path) as file:
        profile, values, description, units, tags = dict(file.profile), file.read(1), file.descriptions[0], file.units, file.tags()
    profile.update(blockxsize=256, blockysize=256, tiled=True)
    change_profile(profile)
    profile.update(more)
    values = change(values)
    with rasterio.open(path, "w", **profile) as file:
        file.write(values, 1)
        if description:
            file.set_band_description(1, description)
        file.units = units
        file.update_tags(**{key: value for key, value in tags.items() if key != "AREA_OR_POINT"})


def shapes(out, columns=(("ZONE", "N", 6, 0), ("L_HA", "N", 10, 2)), polygon=lambda rings: [rings], row=lambda values: values, limit=None):
    """Writes the shapefile anew; `polygon` turns the rings of a record into those of one or more records."""
    path = out.shapefile_path
    with shapefile.Reader(str(path)) as reader:
        entries = [(shape, list(values)) for shape, values in zip(reader.shapes(), reader.records())]
    with shapefile.Writer(str(path), shapeType=shapefile.POLYGON) as writer:
        for column in columns:
            writer.field(*column)
        for shape, values in entries[:limit]:
            starts = [*shape.parts, len(shape.points)]
            for one in polygon([shape.points[a:b] for a, b in zip(starts, starts[1:])]):
                writer.poly(one) if one else writer.null()
                writer.record(*row(values))


# ---- GeoPackage

@spoil("GDAL's validator finds no fault", "SQLite finds it whole")
def geopackage_with_another_application_id(out):
    sql(out, "pragma application_id = 1")


@spoil("GDAL's validator finds no fault")
def geopackage_whose_contents_name_no_reference_system(out):
    sql(out, "update gpkg_contents set srs_id = 4326 where table_name = 'zones'")


@spoil("SQLite finds it whole")
def geopackage_without_a_row_of_its_spatial_index(out):
    geometry, _ = feature_table(out)
    sql(out, f'delete from "rtree_zones_{geometry}" where id = (select min(id) from "rtree_zones_{geometry}")')


@spoil("layers and columns", "fudgeo")
def geopackage_with_a_renamed_column(out):
    sql(out, "alter table zones rename column product_rate to rate")


@spoil("make up the field")
def geopackage_with_a_zone_less(out):
    _, key = feature_table(out)
    sql(out, f'delete from zones where "{key}" = (select max("{key}") from zones)')


@spoil("fudgeo")
def geopackage_whose_extent_is_wrong(out):
    sql(out, "update gpkg_contents set min_x = min_x - 100 where table_name = 'zones'")


@spoil("make up the field")
def geopackage_with_overlapping_zones(out):
    geometry, key = feature_table(out)
    first = int(np.argmin(out.zones["zone"]))
    wider = out.zones.geometry[first].buffer(1).intersection(out.field)
    sql(out, (f'update zones set "{geometry}" = ? where zone = ?', (blob(wider), int(out.zones["zone"][first]))))


@spoil("make up the field")
def geopackage_whose_cells_name_another_zone(out):
    sql(out, "update cells set zone = 1 where zone = 2")


@spoil("within the job's range")
def geopackage_with_nitrogen_for_product(out):
    sql(out, "update zones set product_rate = n_kg_ha")


@spoil("within the job's range")
def geopackage_with_urea_for_solution(out):
    sql(out, "update zones set product_rate = n_kg_ha / 0.46, product_unit = 'kg/ha'")


@spoil("totals of zones and cells", "nodata outside the field")
def geopackage_with_a_zone_off_by_one_step(out):
    largest = int(out.zones["zone"][int(np.argmax(out.zones["area_m2"]))])
    sql(out, f"update zones set n_kg_ha = n_kg_ha + 10, product_rate = product_rate + {10 / 0.358!r} where zone = {largest}")


# ---- GeoJSON

@spoil("structure and rings")
def geojson_with_reversed_rings(out):
    geojson(out, lambda document: [ring.reverse() for feature in document["features"] for ring in rings(feature)])


@spoil("structure and rings")
def geojson_with_an_open_ring(out):
    geojson(out, lambda document: rings(document["features"][0])[0].pop())


@spoil("no crs member")
def geojson_with_a_crs_member(out):
    geojson(out, lambda document: document.update(crs={"type": "name", "properties": {"name": "EPSG:32633"}}))


@spoil("no crs member")
def geojson_with_a_swapped_bbox(out):
    geojson(out, lambda document: document.update(bbox=[document["bbox"][i] for i in (1, 0, 3, 2)]))


@spoil("no crs member")
def geojson_with_nitrogen_before_product(out):
    geojson(out, lambda document: [feature.update(properties=dict(reversed(feature["properties"].items()))) for feature in document["features"]])


@spoil("geojson: 20 points", "geojson: product inside")
def geojson_with_latitude_first(out):
    geojson(out, lambda document: [point.reverse() for feature in document["features"] for ring in rings(feature) for point in ring])


@spoil("geojson: 20 points", "geojson: product inside")
def geojson_with_nitrogen_for_product(out):
    geojson(out, lambda document: [f["properties"].update(product_rate=f["properties"]["n_kg_ha"]) for f in document["features"]])


@spoil("geojson: 20 points")
def geojson_with_overlapping_zones(out):
    geojson(out, lambda document: document["features"].append(json.loads(json.dumps(max(document["features"], key=lambda f: f["properties"]["area_m2"])))))


# ---- shapefile

@spoil("parts, header, columns")
def shapefile_without_its_reference_system(out):
    out.shapefile_path.with_suffix(".prj").unlink()


@spoil("parts, header, columns")
def shapefile_with_a_renamed_column(out):
    shapes(out, columns=(("ZONE", "N", 6, 0), ("RATE", "N", 10, 2)))


@spoil("parts, header, columns", "shapefile: 20 points")
def shapefile_with_a_text_column(out):
    shapes(out, columns=(("ZONE", "N", 6, 0), ("L_HA", "C", 10, 0)), row=lambda values: [values[0], f"{values[1]:.2f}"])


@spoil("parts, header, columns")
def shapefile_with_a_wrong_box(out):
    path = out.shapefile_path
    content = bytearray(path.read_bytes())
    content[36:68] = np.array([0.0, 0.0, 1.0, 1.0], "<f8").tobytes()
    path.write_bytes(content)


@spoil("single polygons")
def shapefile_with_reversed_rings(out):
    path = out.shapefile_path
    with shapefile.Reader(str(path)) as reader:
        entries = [[shape.points[a:b] for a, b in zip([*shape.parts], [*shape.parts[1:], len(shape.points)])] for shape in reader.shapes()]
    content = bytearray(path.read_bytes())
    # The writer would turn them back: points are turned in the bytes. A record: header 8, type 4, box 32, counts 8, parts 4 each, points 16 each.
    at = 100
    for ring_list in entries:
        start = at + 8 + 44 + 4 * len(ring_list)
        for ring in ring_list:
            content[start : start + 16 * len(ring)] = np.array(ring[::-1], "<f8").tobytes()
            start += 16 * len(ring)
        at = start
    path.write_bytes(content)


@spoil("single polygons")
def shapefile_with_a_null_shape(out):
    blanked = []
    shapes(out, polygon=lambda parts: [parts] if blanked else (blanked.append(1) or [None]))


@spoil("single polygons")
def shapefile_with_two_parts_in_a_record(out):
    with shapefile.Reader(str(out.shapefile_path)) as reader:
        west, south, east, north = reader.bbox
    away = [(west, north + 0.001), (west + 0.001, north + 0.002), (west + 0.001, north + 0.001), (west, north + 0.001)]
    shapes(out, polygon=lambda parts: [[*parts, away]])


@spoil("no overlaps", "shapefile: 20 points", "shapefile: product inside")
def shapefile_with_every_zone_twice(out):
    shapes(out, polygon=lambda parts: [parts, parts])


@spoil("no overlaps", "shapefile: product inside")
def shapefile_with_half_of_its_zones(out):
    shapes(out, limit=len(out.zones) // 2)


@spoil("shapefile: 20 points", "shapefile: product inside", "no overlaps")
def shapefile_with_latitude_first(out):
    shapes(out, polygon=lambda parts: [[[(point[1], point[0]) for point in ring] for ring in parts]])


@spoil("zones of nothing, not gaps")
def shapefile_with_gaps_for_zones_of_nothing(out):
    kept = []
    with shapefile.Reader(str(out.shapefile_path)) as reader:
        rates = [record[1] for record in reader.records()]
    shapes(out, polygon=lambda parts: [parts] if (kept.append(1) or rates[len(kept) - 1]) else [])


@spoil("zones of nothing, not gaps", "no overlaps")
def shapefile_with_a_rate_on_the_pond(out):
    shapes(out, row=lambda values: [values[0], values[1] or 50.0])


@spoil("shapefile: 20 points", "shapefile: product inside")
def shapefile_with_gallons_for_litres(out):
    shapes(out, row=lambda values: [values[0], round(values[1] / 9.354, 2)])


@spoil("shapefile: 20 points")
def shapefile_with_a_zone_off_by_one_step(out):
    zone = out.points[0][1]
    shapes(out, row=lambda values: [values[0], values[1] + 27.9 * (values[0] == zone)])


# ---- GeoTIFF

@spoil("tiled 32-bit floats")
def geotiff_in_strips(out):
    raster(out, lambda profile: [profile.pop("blockxsize"), profile.pop("blockysize"), profile.update(tiled=False)])


@spoil("GDAL's validator takes it")
def geotiff_with_overviews_at_its_end(out):
    raster(out)
    with rasterio.open(out.office / "nitrogen.tif", "r+") as file:
        file.write(np.where(file.read(1) >= 0, 1.0, -9999).astype("float32"), 1)
        file.build_overviews([2, 4], rasterio.enums.Resampling.nearest)
        file.write(file.read(1) + np.random.default_rng(1).random(file.shape, dtype="float32"), 1)


@spoil("nodata outside the field")
def geotiff_cut_short(out):
    path = out.office / "nitrogen.tif"
    path.write_bytes(path.read_bytes()[:-200])


@spoil("tiled 32-bit floats", "nodata outside the field")
def geotiff_with_nodata_zero(out):
    raster(out, nodata=0.0, change=lambda values: np.where(values == -9999, 0, values))


@spoil("tiled 32-bit floats")
def geotiff_in_whole_numbers(out):
    raster(out, dtype="int16", predictor=2, change=lambda values: values.astype("int16"))


@spoil("tiled 32-bit floats")
def geotiff_in_another_zone(out):
    raster(out, crs="EPSG:32632")


@spoil("geotiff: 20 points", "nodata outside the field")
def geotiff_with_flipped_rows(out):
    raster(out, change=lambda values: values[::-1])


@spoil("geotiff: 20 points", "nodata outside the field")
def geotiff_with_product_for_nitrogen(out):
    raster(out, change=lambda values: np.where(values > 0, values / 0.358, values).astype("float32"))


@spoil("nodata outside the field")
def geotiff_half_a_pixel_off(out):
    raster(out, lambda profile: profile.update(transform=profile["transform"] @ rasterio.Affine.translation(0.5, 0.5)))


# ---- record, card, folder

@spoil("keys that scripts rely on")
def record_without_a_key(out):
    record(out, lambda document: document["totals"].pop("n_kg_by_ratio"))


@spoil("keys that scripts rely on")
def record_with_another_count_of_growing_days(out):
    record(out, lambda document: document["season"].update(growing_days=document["season"]["growing_days"] + 1))


@spoil("totals of zones and cells", "geojson: product inside", "shapefile: product inside", "task data: product inside", "nodata outside the field")
def record_with_totals_a_hundredth_off(out):
    record(out, lambda document: document["totals"].update({key: document["totals"][key] * 1.01 for key in ("n_kg", "n_kg_from_cells", "product")}))


@spoil("card: names")
def card_of_another_map(out):
    rewrite(out.machine / "CARD.txt", lambda text: text.replace(out.recorded("map_id"), "ffffff"))


@spoil("card: names")
def card_with_another_unit(out):
    rewrite(out.machine / "CARD.txt", lambda text: text.replace("L/ha", "gal/ac"))


@spoil("three check points")
def card_with_the_check_points_of_another_rate(out):
    rewrite(out.machine / "CARD.txt", lambda text: re.sub(r"(?m)^(1 .* )(\d+\.\d+)( L/ha)", lambda m: f"{m[1]}{float(m[2]) + 27.9:.2f}{m[3]}", text))


@spoil("three check points")
def card_with_latitude_first(out):
    rewrite(out.machine / "CARD.txt", lambda text: re.sub(r"(?m)^(\d +)(\d+\.\d+)( +)(\d+\.\d+)( .*L/ha)", r"\1\4\3\2\5", text))


@spoil("the folder holds product only")
def machine_folder_with_nitrogen_in_it(out):
    shutil.copy(out.office / "nitrogen.tif", out.machine / "nitrogen.tif")


@spoil("the folder holds product only")
def machine_folder_without_its_card(out):
    (out.machine / "CARD.txt").unlink()


# ---- task data

@spoil("the schema takes it")
def task_without_a_required_attribute(out):
    task(out, r'(<PFD [^>]*?) D="\d+"', r"\1")


@spoil("the schema takes it", "version 3.3")
def task_with_an_exponent(out):
    task(out, r'(<GRD A=")[^"]*"', r'\g<1>5.0e1"')


@spoil("version 3.3")
def task_from_a_machine(out):
    task(out, 'DataTransferOrigin="1"', 'DataTransferOrigin="2"')


@spoil("version 3.3")
def task_of_version_4(out):
    task(out, 'VersionMajor="3"', 'VersionMajor="4"')


@spoil("version 3.3")
def task_with_a_byte_order_mark(out):
    path = out.task_folder / "TASKDATA.XML"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())


@spoil("ids are an office program's")
def task_with_ids_of_a_machine(out):
    task(out, '"PFD1"', '"PFD-1"', count=0)


@spoil("ids are an office program's")
def task_that_refers_to_nothing(out):
    task(out, r'(<TSK [^>]*?E=")PFD\d+"', r'\1PFD77"')


@spoil("ids are an office program's")
def task_without_a_log(out):
    task(out, r"<DLT[^>]*/>|<DLT[^>]*>\s*</DLT>", "")


@spoil("zones for start")
def task_whose_outside_zone_is_missing(out):
    task(out, r'(<TSK [^>]*?J=")\d+"', r'\g<1>9"')


@spoil("zones for start")
def task_that_does_not_say_what_to_do_outside(out):
    task(out, r'(<TSK [^>]*?) J="\d+"', r"\1")


@spoil("zones for start", "knows quantity and unit")
def task_with_the_actual_rate_for_the_setpoint(out):
    task(out, r'(<PDV [^>]*?A=")0001"', r'\g<1>0002"', count=0)


@spoil("zones for start")
def task_whose_start_zone_sets_mass(out):
    code = out.one("TSK").attrib["H"]
    task(out, rf'(<TZN A="{code}"[^>]*>\s*<PDV A=")0001"', r'\g<1>0006"')


@spoil("zones for start")
def task_that_goes_on_when_position_is_lost(out):
    code = out.one("TSK").attrib["I"]
    task(out, rf'(<TZN A="{code}"[^>]*>\s*<PDV [^>]*?B=")0"', r'\g<1>837054"')


@spoil("grid of 350", "isoxml for Python")
def task_with_a_cut_grid(out):
    out.grid.file.write_bytes(out.grid.file.read_bytes()[:-4])
    rezip(out)


@spoil("grid of 350")
def task_without_its_grid(out):
    out.grid.file.unlink()
    rezip(out)


@spoil("grid of 350")
def task_with_too_many_columns(out):
    columns = 351
    values = np.zeros((out.grid.rows, columns), "<i4")
    values[:, : out.grid.columns] = out.grid.values
    out.grid.file.write_bytes(values.tobytes())
    task(out, r'(<GRD [^>]*?E=")\d+"', rf'\g<1>{columns}"')


@spoil("list customer and farm")
def task_of_another_customer(out):
    task(out, r'(<CTR [^>]*?B=")[^"]*"', r'\g<1>Somebody else"')


@spoil("isoxml for Python", "isoxml for JavaScript from the zip", "task data: product inside", "no grid cell that touches")
def task_with_flipped_rows(out):
    grid_values(out, lambda values: values[::-1])


@spoil("isoxml for Python", "isoxml for JavaScript from the zip")
def task_with_columns_from_the_east(out):
    grid_values(out, lambda values: values[:, ::-1])


@spoil("isoxml for Python", "isoxml for JavaScript from the zip", "grid of 350")
def task_with_big_endian_values(out):
    grid_values(out, lambda values: values.byteswap())


@spoil("isoxml for Python", "isoxml for JavaScript from the zip", "grid of 350", "task data: product inside")
def task_with_rates_ten_times_too_high(out):
    grid_values(out, lambda values: values * 10)


@spoil("isoxml for Python", "isoxml for JavaScript from the zip", "task data: product inside")
def task_with_milligrams_for_hundredths(out):
    grid_values(out, lambda values: values // 100)


@spoil("isoxml for Python", "isoxml for JavaScript from the zip")
def task_with_a_zone_off_by_one_step(out):
    zone = out.points[0][1]
    outline = out.to_degrees(out.zones.geometry[int(np.flatnonzero(out.zones["zone"] == zone)[0])])
    hit = shapely.intersects(out.grid.boxes(), outline).reshape(out.grid.rows, out.grid.columns)
    grid_values(out, lambda values: values + (hit * 279018).astype("<i4"))


@spoil("isoxml for Python", "isoxml for JavaScript from the zip", "grid of 350")
def task_with_its_origin_in_the_north_west(out):
    north = out.grid.south + out.grid.rows * out.grid.height
    task(out, r'(<GRD A=")[^"]*"', rf'\g<1>{north:.9f}"')


@spoil("grid of 350")
def task_with_swapped_cell_sizes(out):
    task(out, r'(<GRD [^>]*?) C="([^"]*)" D="([^"]*)"', r'\1 C="\3" D="\2"')


@spoil("boundary is drawn")
def task_whose_boundary_has_longitude_first(out):
    task(out, r'(<PNT [^>]*?)C="([^"]*)" D="([^"]*)"', r'\1C="\3" D="\2"', count=0)


@spoil("boundary is drawn")
def task_without_a_boundary(out):
    task(out, r"(?s)<PLN .*?</PLN>", "")


@spoil("boundary is drawn")
def task_whose_field_is_measured_in_hectares(out):
    task(out, r'(<PFD [^>]*?D=")\d+"', r'\g<1>22"')


@spoil("knows quantity and unit", "isoxml for JavaScript from the zip")
def task_whose_zip_lacks_the_grid(out):
    with zipfile.ZipFile(out.office / "TASKDATA.zip", "w") as archive:
        archive.write(out.task_folder / "TASKDATA.XML", "TASKDATA/TASKDATA.XML")


@spoil("no grid cell that touches")
def task_with_a_rate_on_the_exclusion(out):
    position = out.grid.position(out.to_degrees(out.exclusion.representative_point()))

    def feed(values):
        values[position] = 837_054
        return values

    grid_values(out, feed)


@spoil("no grid cell that meets the pond")
def task_with_a_rate_on_the_pond(out):
    position = out.grid.position(out.to_degrees(out.pond.representative_point()))

    def feed(values):
        values[position] = 837_054
        return values

    grid_values(out, feed)


@spoil("every cell shows the rate of a zone")
def task_with_rates_between_zones(out):
    def blend(values):
        values[1:] = (values[1:] + values[:-1]) // 2
        return values

    grid_values(out, blend)


@spoil("product of each cell")
def task_with_one_per_cent_less(out):
    grid_values(out, lambda values: (values * 0.99).astype("<i4"))


@spoil("rates run on")
def task_that_stops_at_the_edge(out):
    inside = shapely.contains_xy(out.field, *shapely.get_coordinates(shapely.centroid(out.to_plane(out.grid.boxes()))).T)
    grid_values(out, lambda values: np.where(inside.reshape(values.shape), values, 0).astype("<i4"))


@spoil("product of each cell")
def task_diluted_at_the_edge(out):
    boxes = out.to_plane(out.grid.boxes())
    share = shapely.area(shapely.intersection(boxes, out.field)) / shapely.area(boxes)
    grid_values(out, lambda values: (values * share.reshape(values.shape)).astype("<i4"))


@spoil("the zip holds the same files")
def zip_without_its_folder(out):
    rezip(out, prefix="")


@spoil("the zip holds the same files")
def zip_of_another_run(out):
    rewrite(out.task_folder / "TASKDATA.XML", lambda text: text.replace("Long Ley", "Long Lea"))


@spoil("the zip holds the same files")
def zip_that_terminals_cannot_unpack(out):
    rezip(out, compression=zipfile.ZIP_BZIP2)


def printed(out, html):
    """The report's PDF replaced by what another program makes of a page."""
    surface = out.office / "report.pdf"
    page = html.encode("latin-1")
    # A bare page with one line in a font that is not embedded, without tags: the least that a reader opens.
    stream = b"BT /F1 12 Tf 72 720 Td (" + page + b") Tj ET"
    parts = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 612 792] /Resources << /Font << /F1 4 0 R >> >> /Contents 5 0 R >>",
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
        b"<< /Length %d >>\nstream\n" % len(stream) + stream + b"\nendstream",
    ]
    body, offsets = b"%PDF-1.4\n", []
    for number, part in enumerate(parts, 1):
        offsets.append(len(body))
        body += b"%d 0 obj\n" % number + part + b"\nendobj\n"
    start = len(body)
    body += b"xref\n0 %d\n0000000000 65535 f \n" % (len(parts) + 1) + b"".join(b"%010d 00000 n \n" % offset for offset in offsets)
    body += b"trailer << /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(parts) + 1, start)
    surface.write_bytes(body)


@spoil("the PDF's text holds", "the PDF is tagged", "every font of the PDF is embedded", "poppler paints every page", "page one of the PDF says")
def report_of_another_program(out):
    printed(out, "Nitrogen map for Long Ley")


@spoil("have no fault of syntax")
def report_with_another_total(out):
    rewrite(out.office / "report.html", lambda text: text.replace(f"{out.recorded('totals.n_kg'):.1f}", "999.9"))


@spoil("have no fault of syntax")
def report_with_an_open_tag(out):
    rewrite(out.office / "report.html", lambda text: text.replace("</table>", "", 1))


@spoil("fetch nothing and run nothing")
def report_with_a_script(out):
    rewrite(out.office / "report.html", lambda text: text.replace("</body>", "<script>alert(1)</script></body>"))


@spoil("fetch nothing and run nothing")
def card_with_a_link_outside(out):
    rewrite(out.machine / "CARD.html", lambda text: text.replace("href=\"geo:", "href=\"//example.invalid/", 1))


@spoil("the GPX has places inside")
def walk_in_another_county(out):
    rewrite(out.office / "scouting.gpx", lambda text: re.sub(r'lat="(\d+)', lambda m: f'lat="{int(m[1]) + 1}', text, count=1))


def matching(word):
    found = [name for name in CHECKS if word in name]
    if len(found) != 1:
        raise SystemExit(f"{len(found)} checks match {word!r}: {found}")
    return found[0]


def base(out, statement):
    with table(out.gpkg) as opened:
        if opened.execute(statement).rowcount < 1:
            raise RuntimeError("nothing to spoil")


@spoil("loaded by itself")
def geopackage_without_a_default_style(out):
    base(out, "update layer_styles set useAsDefault = 0 where f_table_name = 'cells'")


@spoil("same breaks")
def style_of_another_colour(out):
    base(out, "update layer_styles set styleSLD = replace(styleSLD, '#fdf97b', '#fdf97c') where f_table_name = 'zones'")


@spoil("same breaks")
def sidecar_with_another_break(out):
    rewrite(out.office / "prescription.qml", lambda text: re.sub(r"(&lt; \d+)", r"\g<1>1", text, count=1))


@spoil("exactly one class")
def style_that_leaves_the_greatest_rate_out(out):
    rewrite(out.shapefile_path.with_suffix(".qml"), lambda text: re.sub(r"&lt;= (\d+)", "&lt;= 1", text, count=1))


@spoil("every column is described")
def geopackage_with_a_column_that_nobody_describes(out):
    base(out, "delete from gpkg_data_columns where table_name = 'zones' and column_name = 'n_kg_ha'")


@spoil("schema of version 4.3 takes all")
def flavour_of_another_version(out):
    rewrite(out.folder / "flavours" / "4.3-zones" / "TASKDATA" / "TASKDATA.XML", lambda text: text.replace('VersionMajor="4"', 'VersionMajor="3"'))


@spoil("in each of them")
def flavour_of_zones_upside_down(out):
    path = next((out.folder / "flavours" / "3.3-zones" / "TASKDATA").glob("*.bin"))
    columns = int(re.search(r' E="(\d+)"', (path.parent / "TASKDATA.XML").read_text(encoding="utf-8").split("<GRD")[1])[1])
    path.write_bytes(np.flipud(np.frombuffer(path.read_bytes(), dtype="u1").reshape(-1, columns)).tobytes())


@spoil("in each of them")
def flavour_of_polygons_with_a_rate_ten_times_too_small(out):
    rewrite(out.folder / "flavours" / "4.3-polygons" / "TASKDATA" / "TASKDATA.XML", lambda text: re.sub(r'(<PDV A="0001" B="\d{5,})\d"', r'\g<1>"', text))


def formatted(out, name):
    return out.folder / "formats" / name


def moved(path, by):
    """Moves the first zone of a GeoPackage to the east."""
    with table(path) as opened:
        # The triggers of the spatial index ask for these.
        for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            opened.create_function(name, 1, lambda _: 0)
        fid, blob = opened.execute("select fid, geom from zones order by fid").fetchone()
        head = 8 + {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[blob[3] >> 1 & 7]
        shape = shapely.transform(shapely.from_wkb(blob[head:]), lambda points: points + [by, 0])
        opened.execute("update zones set geom = ? where fid = ?", (blob[:head] + shapely.to_wkb(shape, byte_order=1), fid))


@spoil("formats: GeoPackage")
def converted_geopackage_with_a_zone_moved_by_a_centimetre(out):
    moved(formatted(out, "zones.gpkg"), 0.01)


@spoil("formats: GeoPackage")
def converted_geopackage_of_another_id(out):
    with table(formatted(out, "zones.gpkg")) as base:
        base.execute("pragma application_id = 7")


@spoil("formats: FlatGeobuf")
def flatgeobuf_with_a_number_turned(out):
    path = formatted(out, "zones.fgb")
    content = bytearray(path.read_bytes())
    # The last double of the file is a coordinate or a value of the last zone.
    at = content.rindex(b"L/ha")
    content[at - 40 : at] = content[at - 40 : at].replace(b"\x40", b"\x41")
    path.write_bytes(bytes(content))


@spoil("formats: KML")
def kml_with_a_word_that_the_schema_does_not_know(out):
    rewrite(formatted(out, "zones.kml"), lambda text: text.replace("<PolyStyle>", "<PolyStyle><shade>1</shade>", 1))


@spoil("formats: KML")
def kml_with_two_colours_exchanged(out):
    rewrite(formatted(out, "zones.kml"), lambda text: text.replace("#class-1<", "#x<").replace("#class-4<", "#class-1<").replace("#x<", "#class-4<"))


@spoil("formats: GeoJSON")
def converted_geojson_with_a_ring_turned(out):
    def turn(text):
        read = json.loads(text)
        read["features"][0]["geometry"]["coordinates"][0][0].reverse() if read["features"][0]["geometry"]["type"] == "MultiPolygon" else read["features"][0]["geometry"]["coordinates"][0].reverse()
        return json.dumps(read)

    rewrite(formatted(out, "zones.geojson"), turn)


@spoil("formats: GeoJSON")
def geojson_with_a_foreign_type(out):
    rewrite(out.office / "prescription.geojson", lambda text: text.replace('"type":"Feature"', '"type":"feature"', 1) if '"type":"Feature"' in text else text.replace('"type": "Feature"', '"type": "feature"', 1))


@spoil("formats: shapefile")
def converted_shapefile_with_a_rate_changed(out):
    path = formatted(out, "ZONES.dbf")
    content = path.read_bytes()
    path.write_bytes(content.replace(b"83.80", b"38.80"))


@spoil("formats: GeoTIFF")
def converted_raster_upside_down(out):
    path = formatted(out, "zones.tif")
    with rasterio.open(path) as file:
        profile, values, unit, name = file.profile, np.flipud(file.read(1)), file.units[0], file.descriptions[0]
    with rasterio.open(path, "w", **profile) as file:
        file.write(values, 1)
        file.units, file.descriptions = (unit,), (name,)


@spoil("formats: the statement")
def statement_without_the_columns(out):
    rewrite(formatted(out, "zones.kml") .with_name("zones.kml.json"), lambda text: text.replace("index", "idx"))


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    folder, demo = Path(sys.argv[1]), Path(sys.argv[2])
    bitten, failed, total = set(), 0, 0
    for function, words in SPOILS:
        with tempfile.TemporaryDirectory(prefix="haulm-spoilt-") as scratch:
            copy = Path(scratch) / "out"
            shutil.copytree(folder, copy)
            good = Outputs(copy, demo)
            # What a spoiler and its check compare with is read before anything is spoilt.
            good.points, good.field, good.exclusion, good.zones, good.grid.values
            try:
                function(good)
            except Exception as error:
                total += 1
                failed += 1
                print(f"FAIL  {function.__name__.replace('_', ' ')}: cannot be made: {error}", flush=True)
                continue
            for name in map(matching, words):
                total += 1
                why = run(name, Outputs(copy, demo))
                if why is None:
                    failed += 1
                    print(f"FAIL  {function.__name__.replace('_', ' ')}: goes unnoticed by\n      {name}", flush=True)
                else:
                    bitten.add(name)
                    print(f"ok    {function.__name__.replace('_', ' ')}: {why.splitlines()[0].replace(scratch, '')[:110]}", flush=True)
    for name in CHECKS:
        total += 1
        if name not in bitten:
            failed += 1
            print(f"FAIL  no spoilt copy makes this check fail: {name}")
    print(f"spoilt copies: {total - failed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
