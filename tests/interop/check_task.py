"""ISO 11783-10 task data."""

import json
import math
import re
import subprocess
import xml.etree.ElementTree as ElementTree
import zipfile
from functools import cache
from pathlib import Path

import isoxml_writer
import numpy as np
import shapely
from isoxml.converter.np_grid import to_numpy_array
from isoxml.util.isoxml_io import isoxml_from_path

from outputs import HERE, near, need, within_share, zip_members
from registry import check

# Attributes that refer to an element with an id, by element (ISO 11783-10, schema of version 3.3).
REFERENCES = {"FRM": "I", "PFD": "EFGI", "TSK": "CDEF", "PDV": "CDE", "PDT": "CDF", "VPN": "F", "DLT": "H"}
# Names that people see: 32 characters at most.
NAMES = {"CTR": "BC", "FRM": "B", "PFD": "C", "PDT": "B", "TSK": "B", "TZN": "B", "VPN": "E"}
# Setpoint volume per area in 0.01 mm3/m2: 10,000 for 1 L/ha (ISO 11783-11).
DDI, PER_LITRE = "0001", 10_000
# What a controller takes at least, and so what may be asked of it (ISO 11783-10, TC-GEO).
MOST_CELLS = 350
TOLERANCE = 0.0101


@check("task data: the schema takes it")
def task_schema(out):
    schema = Path(isoxml_writer.__file__).parent / "ISOXML_schema" / "ISO11783_TaskFile_V4-3.xsd"
    done = subprocess.run(["xmllint", "--noout", "--nonet", "--schema", str(schema), str(out.task_folder / "TASKDATA.XML")], capture_output=True, text=True)
    need(done.returncode == 0, done.stderr[-600:])


@check("task data: version 3.3 from an office program, plain text that old terminals read")
def task_header(out):
    text = (out.task_folder / "TASKDATA.XML").read_bytes()
    need(text.startswith(b'<?xml version="1.0" encoding="UTF-8"?>'), f"begins with {text[:40]!r}")
    root = out.task_root.attrib
    need((root["VersionMajor"], root["VersionMinor"], root["DataTransferOrigin"]) == ("3", "3", "1"), f"header {root}")
    need(set(root) == {"VersionMajor", "VersionMinor", "ManagementSoftwareManufacturer", "ManagementSoftwareVersion", "DataTransferOrigin"}, f"attributes {sorted(root)}")
    for element in out.task_root.iter():
        need(not (element.text or "").strip(), f"text inside {element.tag}")
        need("{" not in element.tag and not any("{" in name for name in element.attrib), f"a namespace at {element.tag}")
        for letter in NAMES.get(element.tag, ""):
            need(len(element.attrib.get(letter, "")) <= 32, f"{element.tag} {letter} has more than 32 characters: {element.attrib.get(letter)}")
        if element.tag in ("GRD", "PNT"):
            for letter in "ABCD" if element.tag == "GRD" else "CD":
                need(re.fullmatch(r"-?\d+(\.\d+)?", element.attrib[letter]) is not None, f"{element.tag} {letter} is {element.attrib[letter]}: a plain decimal is due")


@check("task data: ids are an office program's, unique, and every reference finds its element")
def task_ids(out):
    ids = {}
    for element in out.task_root:
        identity = element.attrib.get("A", "")
        need(re.fullmatch(element.tag + r"[1-9]\d{0,10}", identity) is not None, f"id {identity!r} of a {element.tag}")
        need(identity not in ids, f"id {identity} twice")
        ids[identity] = element
    for element in out.task_root.iter():
        for letter in REFERENCES.get(element.tag, ""):
            target = element.attrib.get(letter)
            need(target is None or target in ids, f"{element.tag} {letter} refers to {target}, which is not there")
    task = out.one("TSK").attrib
    need(all(task.get(letter) for letter in "CDE"), "the task does not name customer, farm and field: some terminals list it only under them")
    need(task["G"] == "1", f"the task's status is {task['G']}; 1 is planned")
    need(out.recorded("map_id") in task["B"], f"the task is called {task['B']}, which lacks the map id")
    need([trigger.attrib.get("A") for trigger in out.task_root.findall("TSK/DLT")] == ["DFFF"], "no default log is asked for")


@check("task data: both readers list customer and farm as the job names them")
def task_filed(out):
    client, farm = out.recorded("settings.record.client"), out.recorded("settings.record.farm")
    need(client and farm, "the demo names neither client nor farm")
    data, _ = isoxml_from_path(out.task_folder)
    names = [data.customers[0].designator, data.farms[0].designator]
    need(names == [client, farm], f"isoxml for Python lists {names}")
    need(data.farms[0].customer_id_ref == data.customers[0].id, "the farm is not the customer's")
    read = node(out)
    need(read["customers"] == [client] and read["farms"] == [farm], f"isoxml for JavaScript lists {read['customers']} and {read['farms']}")


@check("task data: zones for start, lost position and outside exist and set the same quantity of the same product as the grid")
def task_fallbacks(out):
    zones = {zone.attrib["A"]: zone for zone in out.task_root.findall("TSK/TZN")}
    need(len(zones) == len(out.task_root.findall("TSK/TZN")), "two treatment zones bear one code")
    channels = lambda code: [(value.attrib["A"], value.attrib.get("C")) for value in zones[code].findall("PDV")]
    task, grid = out.one("TSK").attrib, out.one("TSK/GRD").attrib
    need(grid.get("I") == "2" and grid.get("J") in zones, f"grid of type {grid.get('I')} with zone {grid.get('J')}; zones are {sorted(zones)}")
    need([ddi for ddi, _ in channels(grid["J"])] == [DDI], f"the grid sets {channels(grid['J'])}; DDI {DDI} is due")
    for letter, what in (("H", "start"), ("I", "lost position"), ("J", "outside")):
        need(task.get(letter) in zones, f"zone {task.get(letter)} for {what} is not there; zones are {sorted(zones)}")
        need(channels(task[letter]) == channels(grid["J"]), f"the zone for {what} sets {channels(task[letter])}, the grid {channels(grid['J'])}")
    rate = lambda letter: int(zones[task[letter]].find("PDV").attrib["B"]) / PER_LITRE
    need(rate("J") == 0, f"outside the field {rate('J')} L/ha")
    need(rate("I") == 0, f"with position lost {rate('I')} L/ha although there are an exclusion and a pond")
    mean = out.recorded("totals.product") / (out.recorded("field.area_m2") / 1e4)
    # The field rate is rounded to steps of 10 kg N/ha (27.9 L/ha), and bare ground counts in the mean only.
    need(abs(rate("H") - mean) < 28, f"on start {rate('H')} L/ha; the field's mean is {mean:.1f}")


@check("task data: grid of 350 by 350 square cells at most, its file as long as it says, round the whole field")
def task_grid(out):
    grid = out.grid
    need(1 <= grid.rows <= MOST_CELLS and 1 <= grid.columns <= MOST_CELLS, f"{grid.rows} rows and {grid.columns} columns")
    length = grid.file.stat().st_size
    need(length == grid.rows * grid.columns * 4, f"{grid.file.name} has {length} bytes; {grid.rows} x {grid.columns} x 4 are due")
    need(int(grid.attributes.get("H", length)) == length, f"the grid says {grid.attributes.get('H')} bytes, the file has {length}")
    need(re.fullmatch(r"GRD\d{5}", grid.attributes["G"]) is not None, f"the grid's file is called {grid.attributes['G']}")
    # Radii of WGS 84 in the middle latitude.
    phi = math.radians(grid.south + grid.rows * grid.height / 2)
    flat = 1 - 0.00669437999014 * math.sin(phi) ** 2
    north = math.radians(grid.height) * 6_378_137 * (1 - 0.00669437999014) / flat**1.5
    east = math.radians(grid.width) * 6_378_137 / math.sqrt(flat) * math.cos(phi)
    need(abs(north / east - 1) < 0.01 and north >= 2.99, f"cells of {north:.2f} m to the north by {east:.2f} m to the east")
    whole = shapely.box(grid.west, grid.south, grid.west + grid.columns * grid.width, grid.south + grid.rows * grid.height)
    need(whole.covers(out.to_degrees(out.field)), "the field sticks out of the grid")
    greatest = max(out.zones["product_rate"]) * PER_LITRE
    need(grid.values.min() >= 0 and grid.values.max() <= greatest + 101, f"values {grid.values.min()} to {grid.values.max()}; zones reach {greatest:.0f}")


@check("task data: the field's boundary is drawn, latitude first, with its area")
def task_boundary(out):
    field = out.one("PFD")
    polygon = [p for p in field.findall("PLN") if p.attrib["A"] == "1"]
    need(len(polygon) == 1, f"{len(polygon)} boundaries")
    rings = {"1": [], "2": []}
    for ring in polygon[0].findall("LSG"):
        points = [(float(p.attrib["D"]), float(p.attrib["C"])) for p in ring.findall("PNT")]
        need(points[0] == points[-1], "an open ring")
        rings[ring.attrib["A"]].append(points)
    need(len(rings["1"]) == 1, f"{len(rings['1'])} outer rings")
    drawn = out.to_plane(shapely.Polygon(rings["1"][0], rings["2"]))
    need(drawn.is_valid, "the boundary is not valid")
    off = drawn.symmetric_difference(out.field.union(out.exclusion)).area
    need(off < 5, f"the boundary differs from the field's by {off:.1f} m2")
    need(re.fullmatch(r"\d+", field.attrib["D"]) is not None and abs(int(field.attrib["D"]) / drawn.area - 1) < 0.02, f"area {field.attrib['D']} m2; the boundary has {drawn.area:.0f}")
    need(field.attrib["C"] == "Long Ley", f"the field is called {field.attrib['C']}")


@check("task data: 20 points show the rates of the zones, read by isoxml for Python")
def task_points_python(out):
    data, files = isoxml_from_path(out.task_folder)
    task = data.tasks[0]
    grid = task.grids[0]
    # Row 0 is the south (the package's own convention); it reads the machine's byte order, little-endian here.
    values = to_numpy_array(files[grid.filename], grid, scale=False)
    for (_, zone, product, _), point in zip(out.points, out.points_in_degrees):
        row = int((point.y - float(grid.minimum_north_position)) // float(grid.cell_north_size))
        column = int((point.x - float(grid.minimum_east_position)) // float(grid.cell_east_size))
        need(0 <= row < grid.maximum_row and 0 <= column < grid.maximum_column, f"zone {zone} lies outside the grid")
        near(f"rate in zone {zone}, row {row}, column {column} [L/ha]", values[row, column] / PER_LITRE, product, TOLERANCE)


@cache
def read_by_node(path, changed):
    done = subprocess.run(["node", str(HERE / "check.mjs"), path], capture_output=True, text=True)
    need(done.returncode == 0, f"node ends with {done.returncode}: {done.stderr[-600:]}")
    return json.loads(done.stdout)


def node(out):
    path = out.office / "TASKDATA.zip"
    return read_by_node(str(path), path.stat().st_mtime_ns)


@check("task data: isoxml for JavaScript reads the zip without a warning and knows quantity and unit")
def task_node(out):
    read = node(out)
    need(read["warnings"] == [], f"warnings {read['warnings']}")
    need(read["tasks"] == 1 and read["field"] == "Long Ley", f"{read['tasks']} tasks, field {read['field']}")
    need([channel["DDINumber"] for channel in read["channels"]] == [int(DDI, 16)], f"channels {read['channels']}")


@check("task data: 20 points show the rates of the zones, read by isoxml for JavaScript from the zip")
def task_points_node(out):
    read = node(out)
    grid, values = read["grid"], read["values"]
    scale = read["channels"][0]["scale"]
    unit = read["channels"][0]["unit"].replace(" ", "").lower()
    # With a value presentation the package gives L/ha, without one the dictionary's mm3/m2.
    litres = scale if unit in ("l/ha", "liter/ha") else 1 / PER_LITRE
    for (_, zone, product, _), point in zip(out.points, out.points_in_degrees):
        row = int((point.y - grid["GridMinimumNorthPosition"]) // grid["GridCellNorthSize"])
        column = int((point.x - grid["GridMinimumEastPosition"]) // grid["GridCellEastSize"])
        need(0 <= row < grid["GridMaximumRow"] and 0 <= column < grid["GridMaximumColumn"], f"zone {zone} lies outside the grid")
        near(f"rate in zone {zone}, row {row}, column {column} [L/ha]", values[row * grid["GridMaximumColumn"] + column] * litres, product, TOLERANCE)


def cells_on_plane(out):
    """Grid cells on the plane that meet the field's surroundings: position in the file, polygon."""
    boxes = out.to_plane(shapely.segmentize(out.grid.boxes(), out.grid.width))
    near_by = np.flatnonzero(shapely.intersects(boxes, shapely.union_all([out.field, out.exclusion]).buffer(40)))
    return near_by, boxes[near_by]


@check("task data: no grid cell that touches the exclusion gets anything")
def task_exclusion(out):
    need(out.exclusion.area > 1000, f"the exclusion covers {out.exclusion.area:.0f} m2; the demo's wet corner is larger")
    positions, boxes = cells_on_plane(out)
    touching = shapely.area(shapely.intersection(boxes, out.exclusion)) > 1e-3
    fed = out.grid.values.ravel()[positions[touching]] > 0
    need(touching.any() and not fed.any(), f"{int(fed.sum())} of {int(touching.sum())} cells that touch the exclusion have a rate")


@check("task data: no grid cell that meets the pond in the boundary gets anything")
def task_pond(out):
    need(out.pond.area > 1000, f"the pond covers {out.pond.area:.0f} m2; the demo's is larger")
    positions, boxes = cells_on_plane(out)
    shared = shapely.area(shapely.intersection(boxes, out.pond))
    fed = out.grid.values.ravel()[positions] > 0
    need((shared > 1e-3).any() and not (fed & (shared > 1e-3)).any(), f"{float(shared[fed].sum()):.1f} m2 of the pond get product")


@check("task data: every cell shows the rate of a zone, none a rate between")
def task_zone_rates(out):
    rates = {0.0, *(float(rate) for _, rate in out.shapes[2])}
    odd = [value / PER_LITRE for value in np.unique(out.grid.values) if min(abs(value / PER_LITRE - rate) for rate in rates) > TOLERANCE]
    need(not odd, f"{len(odd)} rates that no zone has, {odd[:5]} among them")


@check("task data: product of each cell in the field is the record's for this file")
def task_own_total(out):
    positions, boxes = cells_on_plane(out)
    inside = shapely.area(shapely.intersection(boxes, out.field))
    litres = float(np.sum(inside * out.grid.values.ravel()[positions] / PER_LITRE)) / 1e4
    within_share("product [L]", litres, out.by_file("task data, grid"), 0.0005)


@check("task data: product inside the field is the record's total, less what stays away from exclusion and pond")
def task_total(out):
    positions, boxes = cells_on_plane(out)
    inside = shapely.area(shapely.intersection(boxes, out.field))
    litres = float(np.sum(inside * out.grid.values.ravel()[positions] / PER_LITRE)) / 1e4
    kept_clear = out.exclusion.union(out.pond)
    kept_away = shapely.union_all(boxes[shapely.area(shapely.intersection(boxes, kept_clear)) > 1e-3]).intersection(out.field)
    held_back = float(np.sum(shapely.area(shapely.intersection(out.zones.geometry, kept_away)) * out.zones["product_rate"])) / 1e4
    within_share("product [L]", litres + held_back, out.recorded("totals.product"), 0.005)


@check("task data: rates run on beyond the field's edge, so that pass ends do not starve")
def task_overrun(out):
    positions, boxes = cells_on_plane(out)
    outer = shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(out.field.union(out.exclusion))])
    centres = shapely.centroid(boxes)
    apart = shapely.distance(centres, outer)
    tree = shapely.STRtree(out.zones.geometry)
    # Half the working width is 12 m; cells on the very rim of it may go either way, and so may those near the exclusion.
    due = (apart > 0) & (apart < 6) & (shapely.distance(boxes, out.exclusion) > 15)
    nearest = np.array([out.zones["product_rate"][tree.nearest(centre)] for centre in centres[due]])
    starved = (nearest > 0) & (out.grid.values.ravel()[positions[due]] == 0)
    need(due.sum() > 20 and starved.mean() < 0.02, f"{int(starved.sum())} of {int(due.sum())} grid cells just outside the field have no rate")


@check("task data: the zip holds the same files in their folder")
def task_zip(out):
    members = zip_members(out.office / "TASKDATA.zip")
    files = {name: content for name, (_, content) in members.items() if not name.endswith("/")}
    due = {"TASKDATA/" + path.name: path.read_bytes() for path in out.task_folder.iterdir()}
    need(set(files) == set(due), f"the zip holds {sorted(files)}; {sorted(due)} are due")
    need(files == due, "the zip's files differ from those of the folder")
    need(all(kind in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) for kind, _ in members.values()), "a compression that terminals do not know")
    ElementTree.fromstring(files["TASKDATA/TASKDATA.XML"])
