"""What a run left in its folder, opened by readers that are not haulm's."""

import json
import random
import sqlite3
import subprocess
import xml.etree.ElementTree as ElementTree
import zipfile
from functools import cached_property
from pathlib import Path

import numpy as np
import pyogrio.raw
import rasterio
import rasterio.warp
import shapefile
import shapely

# pyshp otherwise tells of every odd ring that a check then counts.
shapefile.VERBOSE = False

HERE = Path(__file__).resolve().parent
# Points that are compared in every format.
POINTS = 20
# Distance of a point from its zone's border: no grid cell that holds the point can reach beyond. [m]
CLEAR = 18.0
SEED = 20260414
# UAN 28: 28 % nitrogen by mass, 10.67 lb in a US gallon or 1.2785 kg/L (handbook figures, from memory), so kg N in a litre.
NITROGEN_PER_LITRE = 0.28 * 1.2785
MACHINE_PARTS = ("shp", "shx", "dbf", "prj", "cpg", "qml")


class Wrong(Exception):
    """A check that did not hold, with numbers."""


def need(holds, message):
    if not holds:
        raise Wrong(message)


def near(what, got, wanted, tolerance):
    need(abs(got - wanted) <= tolerance, f"{what}: {got!r} where {wanted!r} ± {tolerance:g} is due")


def within_share(what, got, wanted, share):
    need(wanted > 0 and abs(got / wanted - 1) <= share, f"{what}: {got:.3f} where {wanted:.3f} ± {share:.2%} is due")


class Layer:
    """A vector layer: columns by name, geometries, reference system."""

    def __init__(self, path, layer):
        # Without a name the first, which is the map.
        meta, _, geometry, columns = pyogrio.raw.read(path, layer=0 if layer is None else layer)
        self.crs = meta["crs"]
        self.geometry = shapely.from_wkb(geometry)
        self.names = list(meta["fields"])
        self.columns = dict(zip(self.names, columns))

    def __getitem__(self, name):
        need(name in self.columns, f"no column {name}; there are {self.names}")
        return self.columns[name]

    def __len__(self):
        return len(self.geometry)


class Outputs:
    """One output folder and the demo's inputs beside it."""

    def __init__(self, folder, demo):
        self.folder, self.demo = Path(folder), Path(demo)
        self.office, self.machine = self.folder / "office", self.folder / "machine"
        self.gpkg = self.office / "prescription.gpkg"
        self.task_folder = self.machine / "TASKDATA"

    @cached_property
    def record(self):
        return json.loads((self.office / "record.json").read_text(encoding="utf-8"))

    def recorded(self, dotted):
        value = self.record
        for key in dotted.split("."):
            need(isinstance(value, dict) and key in value, f"record.json lacks {dotted}")
            value = value[key]
        return value

    def by_file(self, name):
        """What the record says that a file puts on the field."""
        found = [total["in_field"] for total in self.recorded("totals.product_by_file") if total["file"] == name]
        need(len(found) == 1, f"{len(found)} totals of {name}; 1 is due")
        return found[0]

    @cached_property
    def zones(self):
        return Layer(self.gpkg, "zones")

    @cached_property
    def cells(self):
        return Layer(self.gpkg, "cells")

    @cached_property
    def field(self):
        return shapely.union_all(Layer(self.gpkg, "field").geometry)

    def to_plane(self, geometry):
        """From longitude and latitude to the working plane, by rasterio's own PROJ."""
        return self._carried(geometry, "EPSG:4326", self.zones.crs)

    def to_degrees(self, geometry):
        return self._carried(geometry, self.zones.crs, "EPSG:4326")

    @staticmethod
    def _carried(geometry, source, target):
        def carry(points):
            x, y = rasterio.warp.transform(source, target, points[:, 0], points[:, 1])
            return np.column_stack([x, y])

        return shapely.transform(geometry, carry)

    @cached_property
    def exclusion(self):
        """Boundary as the demo's file draws it, less the field: what the exclusions took."""
        boundary = shapely.union_all(self.to_plane(Layer(self.demo / "field" / "boundary.geojson", None).geometry))
        return shapely.union_all([part for part in shapely.get_parts(boundary.difference(self.field)) if part.area > 1])

    @cached_property
    def pond(self):
        """Holes of the boundary as the demo's file draws them."""
        boundary = self.to_plane(Layer(self.demo / "field" / "boundary.geojson", None).geometry)
        return shapely.union_all([shapely.Polygon(hole) for part in shapely.get_parts(boundary) for hole in part.interiors])

    @cached_property
    def points(self):
        """(point on the plane, zone, product rate, nitrogen rate) in whole cells clear of their zone's border; the zones take turns."""
        by_zone = {}
        rates = {int(zone): position for position, zone in enumerate(self.zones["zone"])}
        full = max(self.cells["area_m2"])
        for position in range(len(self.cells)):
            if self.cells["area_m2"][position] < full * (1 - 1e-6) or self.cells["state"][position] == "sliver":
                continue
            zone = int(self.cells["zone"][position])
            centre = self.cells.geometry[position].centroid
            need(zone in rates, f"cell {position} belongs to zone {zone}, which the layer zones lacks")
            outline = self.zones.geometry[rates[zone]]
            if outline.covers(centre) and outline.boundary.distance(centre) > CLEAR:
                by_zone.setdefault(zone, []).append(centre)
        chance = random.Random(SEED)
        for centres in by_zone.values():
            chance.shuffle(centres)
        turns = sorted(by_zone)
        chance.shuffle(turns)
        chosen = []
        while len(chosen) < POINTS and any(by_zone.values()):
            for zone in turns:
                if by_zone[zone] and len(chosen) < POINTS:
                    at = rates[zone]
                    chosen.append((by_zone[zone].pop(), zone, float(self.zones["product_rate"][at]), float(self.zones["n_kg_ha"][at])))
        need(len(chosen) == POINTS, f"only {len(chosen)} cells lie {CLEAR} m clear of their zone's border; {POINTS} are due")
        need(len({rate for _, _, rate, _ in chosen}) >= 3, "the points show fewer than 3 different rates and so prove little")
        return chosen

    @cached_property
    def points_in_degrees(self):
        return [self.to_degrees(point) for point, *_ in self.points]

    @cached_property
    def shapefile_path(self):
        found = sorted(self.machine.glob("*.shp"))
        need(len(found) == 1, f"{len(found)} files *.shp in machine; 1 is due")
        return found[0]

    @cached_property
    def shapes(self):
        """(fields, shapes, records) as pyshp reads them."""
        with shapefile.Reader(str(self.shapefile_path)) as reader:
            need(len(reader) > 0, "the shapefile is empty")
            return reader.fields[-2:] if reader.fields[0][0] == "DeletionFlag" else reader.fields, reader.shapes(), [list(r) for r in reader.records()]

    @cached_property
    def shape_polygons(self):
        return [shapely.from_geojson(json.dumps(shape.__geo_interface__)) for shape in self.shapes[1]]

    @cached_property
    def geojson(self):
        return json.loads((self.office / "prescription.geojson").read_text(encoding="utf-8"))

    @cached_property
    def geojson_polygons(self):
        return [shapely.from_geojson(json.dumps(feature["geometry"])) for feature in self.geojson["features"]]

    @cached_property
    def task_root(self):
        return ElementTree.fromstring((self.task_folder / "TASKDATA.XML").read_bytes())

    def one(self, path):
        found = self.task_root.findall(path)
        need(len(found) == 1, f"{len(found)} elements {path} in TASKDATA.XML; 1 is due")
        return found[0]

    @cached_property
    def grid(self):
        return Grid(self.one("TSK/GRD").attrib, self.task_folder)


class Grid:
    """The type 2 grid as its attributes say; values by the reading of the standard: rows from the south, columns from the west."""

    def __init__(self, attributes, folder):
        self.attributes = attributes
        self.south, self.west = float(attributes["A"]), float(attributes["B"])
        self.height, self.width = float(attributes["C"]), float(attributes["D"])
        self.columns, self.rows = int(attributes["E"]), int(attributes["F"])
        self.file = folder / (attributes["G"] + ".bin")

    def position(self, point):
        """Row and column that hold a point in degrees."""
        row, column = int((point.y - self.south) // self.height), int((point.x - self.west) // self.width)
        need(0 <= row < self.rows and 0 <= column < self.columns, f"the point {point.x:.6f}, {point.y:.6f} lies outside the grid (row {row}, column {column})")
        return row, column

    @cached_property
    def values(self):
        return np.frombuffer(self.file.read_bytes(), dtype="<i4").reshape(self.rows, self.columns)

    def boxes(self):
        """All cells in degrees, in the order of the file."""
        rows, columns = np.divmod(np.arange(self.rows * self.columns), self.columns)
        west, south = self.west + columns * self.width, self.south + rows * self.height
        return shapely.box(west, south, west + self.width, south + self.height)


def system_python():
    """Debian's own Python, which has GDAL's validators; the first python3 in PATH may be another one."""
    for candidate in ("/usr/bin/python3", "python3"):
        try:
            if subprocess.run([candidate, "-c", "import osgeo_utils.samples.validate_gpkg"], capture_output=True).returncode == 0:
                return candidate
        except FileNotFoundError:
            continue
    raise Wrong("no Python with osgeo_utils: install python3-gdal")


def table(path):
    """The GeoPackage as plain SQLite."""
    return sqlite3.connect(path)


def zip_members(path):
    with zipfile.ZipFile(path) as archive:
        return {info.filename: (info.compress_type, archive.read(info)) for info in archive.infolist()}
