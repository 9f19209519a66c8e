"""Every flavour of task data, made by `haulm convert` into the folder `flavours` of the outputs, read by isoxml for Python."""

import subprocess
from pathlib import Path

import isoxml_writer
import numpy as np
import shapely
from isoxml.converter.np_grid import to_numpy_array
from isoxml.util.isoxml_io import isoxml_from_path

from outputs import need, near
from registry import check

FLAVOURS = [(version, kind) for version in ("3.3", "4.3") for kind in ("grid", "zones", "polygons")]
# Setpoint volume per area in 0.01 mm3/m2: 10,000 for 1 L/ha (ISO 11783-11).
PER_LITRE = 10_000
TOLERANCE = 0.0101


def folder(out, version, kind):
    path = out.folder / "flavours" / f"{version}-{kind}" / "TASKDATA"
    need(path.is_dir(), f"no task data of version {version} with {kind}")
    return path


@check("flavours: the schema of version 4.3 takes all of them, and each says its version")
def flavour_schema(out):
    schema = Path(isoxml_writer.__file__).parent / "ISOXML_schema" / "ISO11783_TaskFile_V4-3.xsd"
    for version, kind in FLAVOURS:
        main = folder(out, version, kind) / "TASKDATA.XML"
        done = subprocess.run(["xmllint", "--noout", "--nonet", "--schema", str(schema), str(main)], capture_output=True, text=True)
        need(done.returncode == 0, f"{version} {kind}: {done.stderr[-400:]}")
        major, minor = version.split(".")
        need(f'VersionMajor="{major}" VersionMinor="{minor}"' in main.read_text(encoding="utf-8"), f"{version} {kind} says another version")


def value_of(zone):
    return int(zone.process_data_variables[0].process_data_value) / PER_LITRE


def ring(line):
    return [(float(point.east), float(point.north)) for point in line.points]


def outlines(zone):
    """Each polygon with an exterior and its holes; version 3 may hold several exteriors in one."""
    shape = shapely.Polygon()
    for polygon in zone.polygons:
        for line in polygon.line_strings:
            points = ring(line)
            need(points[0] == points[-1], "an open ring")
            part = shapely.Polygon(points)
            shape = shape.union(part) if str(line.type.value) == "1" else shape.difference(part)
    return shape


def reader(path, kind):
    """A function from a point in degrees to litres per hectare."""
    data, files = isoxml_from_path(path)
    task = data.tasks[0]
    zones = {int(zone.code): zone for zone in task.treatment_zones}
    for code, zone in zones.items():
        need(zone.process_data_variables[0].process_data_ddi == bytes.fromhex("0001"), f"zone {code} sets {zone.process_data_variables[0].process_data_ddi}")
    if kind == "polygons":
        shapes = [(outlines(zone), value_of(zone)) for zone in zones.values() if zone.polygons]

        def at(point):
            hits = [value for shape, value in shapes if shape.covers(point)]
            need(len(hits) == 1, f"{len(hits)} zones hold the point {point.x:.6f}, {point.y:.6f}")
            return hits[0]

        return at
    grid = task.grids[0]
    values = to_numpy_array(files[grid.filename], grid, scale=False)

    def at(point):
        row = int((point.y - float(grid.minimum_north_position)) // float(grid.cell_north_size))
        column = int((point.x - float(grid.minimum_east_position)) // float(grid.cell_east_size))
        value = values[row, column]
        return value_of(zones[int(value)]) if kind == "zones" else float(np.ravel(value)[0]) / PER_LITRE

    return at


@check("flavours: 20 points show the rates of the zones in each of them")
def flavour_points(out):
    for version, kind in FLAVOURS:
        at = reader(folder(out, version, kind), kind)
        for (_, zone, product, _), point in zip(out.points, out.points_in_degrees):
            near(f"{version} {kind}: rate in zone {zone} [L/ha]", at(point), product, TOLERANCE)
