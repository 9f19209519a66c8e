#!/usr/bin/env python3
"""Inputs that are large where a reader would wait or swell: each is mapped in time and memory, or refused by the part that is too large, with its number.

bounds.py HAULM [NAME...]: HAULM should be a release build; with `short` for a name, those alone that any build refuses in a moment. For each: at most 60 s of the processor, at
most the memory that is allowed and 200 MiB, exit 0 or 1, and where it is refused the words that are expected of it. Ends with "N passed, N failed".
"""

import json
import math
import os
import pathlib
import random
import resource
import struct
import subprocess
import sys
import tempfile
import time
import zipfile
import zlib

import field as made_field
from osgeo import gdal

HAULM = os.path.abspath(sys.argv[1])
MEMORY = 512
LONGEST = 60
CASES = {}


def case(name, *said, within=LONGEST, arguments=("map", "job.toml"), mapped=False, memory=MEMORY):
    """An input; `said` are words of which a refusal must have each, and none where it is to be mapped."""

    def keep(function):
        CASES[name] = (function, said, within, list(arguments), mapped, memory)
        return function

    return keep


def job(folder, old, new):
    text = (folder / "job.toml").read_text()
    assert old in text, old
    (folder / "job.toml").write_text(text.replace(old, new, 1))


def lonlat():
    """From metres in the field to longitude and latitude, linearly: near enough for shapes of a test."""
    from osgeo import osr

    way = osr.CoordinateTransformation(made_field.system(), made_field.system(4326))
    at = lambda x, y: way.TransformPoint(560000.0 + x, 5560000.0 + y)[:2]
    (x0, y0), (x1, y1), (x2, y2) = at(0, 0), at(240, 0), at(0, 288)
    return lambda x, y: (x0 + (x1 - x0) * x / 240 + (x2 - x0) * y / 288, y0 + (y1 - y0) * x / 240 + (y2 - y0) * y / 288)


def layer(path, polygons):
    """Polygons, each a list of rings of places, as GeoJSON."""
    with open(path, "w") as out:
        out.write('{"type":"FeatureCollection","features":[')
        for k, rings in enumerate(polygons):
            out.write(("," if k else "") + '{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[')
            out.write(",".join("[" + ",".join(f"[{x:.9f},{y:.9f}]" for x, y in ring) + "]" for ring in rings))
            out.write("]}}")
        out.write("]}")


def wavy(count, way, wave=0.01):
    """A field whose edge has so many vertices."""
    ring = []
    sides = [(0, 0, 240, 0), (240, 0, 240, 288), (240, 288, 0, 288), (0, 288, 0, 0)]
    for x0, y0, x1, y1 in sides:
        length = math.hypot(x1 - x0, y1 - y0)
        nx, ny = (y0 - y1) / length, (x1 - x0) / length
        for k in range(count // 4):
            t = k / (count // 4)
            out = wave * (k % 2) * (k > 0)
            ring.append(way(x0 + t * (x1 - x0) - nx * out, y0 + t * (y1 - y0) - ny * out))
    return ring + ring[:1]


def squares(count, way, side):
    """So many small squares within the field, none touching another."""
    across = math.ceil(math.sqrt(count * 240 / 288))
    down = math.ceil(count / across)
    for k in range(count):
        x, y = (k % across + 0.5) * 236 / across + 2, (k // across + 0.5) * 284 / down + 2
        yield [way(x - side, y - side), way(x - side, y + side), way(x + side, y + side), way(x + side, y - side), way(x - side, y - side)]


@case("a boundary of 1 000 000 vertices in 512 MiB", "vertices", "MiB")
@case("a boundary of 1 000 000 vertices", mapped=True, within=10, memory=1_024)
def _(folder):
    layer(folder / "boundary.geojson", [[wavy(1_000_000, lonlat())]])


@case("a boundary with 100 000 holes in 512 MiB", "rings", "MiB")
@case("a boundary with 100 000 holes", mapped=True, within=10, memory=1_024)
def _(folder):
    way = lonlat()
    frame = [way(x, y) for x, y in ((0, 0), (240, 0), (240, 288), (0, 288), (0, 0))]
    layer(folder / "boundary.geojson", [[frame, *squares(100_000, way, 0.05)]])


@case("a boundary with a corner 300 km away", "image.unseen", within=30)
def _(folder):
    way = lonlat()
    layer(folder / "boundary.geojson", [[[way(x, y) for x, y in ((0, 0), (240, 0), (240, 288), (120, 300_000), (0, 0))]]])


@case("100 000 exclusions in 512 MiB", "exclusions", "rings", "MiB", within=30)
@case("100 000 exclusions", mapped=True, within=30, memory=2_048)
def _(folder):
    layer(folder / "ponds.geojson", [[ring] for ring in squares(100_000, lonlat(), 0.05)])
    job(folder, "\n[imagery]", '\n[[field.exclude]]\npath = "ponds.geojson"\n\n[imagery]')


@case("a boundary of 100 000 parts", "100000 features")
def _(folder):
    layer(folder / "boundary.geojson", [[ring] for ring in squares(100_000, lonlat(), 0.3)])


@case("100 000 strips", "strips.geojson", "100000", "500")
def _(folder):
    layer(folder / "strips.geojson", [[ring] for ring in squares(100_000, lonlat(), 0.3)])


@case("a boundary as a saw of 1 000 000 teeth", "times as long")
def _(folder):
    layer(folder / "boundary.geojson", [[wavy(1_000_000, lonlat(), 0.4)]])


@case("a boundary as a comb of 20 000 teeth", "times as long")
def _(folder):
    way = lonlat()
    ring = [way(0, 0)]
    for k in range(20_000):
        x = 240 * (k + 1) / 20_001
        ring += [way(x - 0.004, 1), way(x, 286), way(x + 0.004, 1)]
    layer(folder / "boundary.geojson", [[[*ring, way(240, 0), way(240, 288), way(0, 288), way(0, 0)]]])


@case("a star whose edges all cross", "times as long")
def _(folder):
    way = lonlat()
    count = 4_001
    ring = [way(120 + 110 * math.cos(2 * math.pi * (k * (count // 2)) / count), 144 + 110 * math.sin(2 * math.pi * (k * (count // 2)) / count)) for k in range(count)]
    layer(folder / "boundary.geojson", [[ring + ring[:1]]])


@case("a GeoJSON of brackets", "boundary.geojson")
def _(folder):
    (folder / "boundary.geojson").write_text("[" * 20_000_000)


@case("a GeoJSON whose one text is long", "boundary.geojson")
def _(folder):
    text = (folder / "boundary.geojson").read_text()
    (folder / "boundary.geojson").write_text(text.replace('"properties":{', '"properties":{"a":"' + "x" * 90_000_000 + '",', 1)[:-1])


@case("a GeoJSON of a million empty features", "feature 1")
def _(folder):
    one = '{"type":"Feature","properties":{"a":1},"geometry":null}'
    (folder / "boundary.geojson").write_text('{"type":"FeatureCollection","features":[' + ",".join([one] * 1_000_000) + "]}")


def markup_of(places):
    return f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><Polygon><outerBoundaryIs><LinearRing><coordinates>{places}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>'


def as_kml(folder, text):
    (folder / "boundary.kml").write_text(text)
    job(folder, '"boundary.geojson"', '"boundary.kml"')


@case("KML of a million vertices", "vertices", "MiB", within=30)
def _(folder):
    as_kml(folder, markup_of(" ".join(f"{x:.9f},{y:.9f}" for x, y in wavy(1_000_000, lonlat()))))


@case("KML 1 000 folders deep", "deep")
def _(folder):
    as_kml(folder, '<kml xmlns="http://www.opengis.net/kml/2.2">' + "<Folder>" * 1_000 + "</Folder>" * 1_000 + "</kml>")


@case("KML with 100 000 attributes", "attributes")
def _(folder):
    as_kml(folder, '<kml xmlns="http://www.opengis.net/kml/2.2"><Document ' + " ".join(f'a{k}="1"' for k in range(100_000)) + "/></kml>")


@case("KML with 100 000 name spaces", "name spaces")
def _(folder):
    as_kml(folder, '<kml xmlns="http://www.opengis.net/kml/2.2">' + "".join(f'<a xmlns:b{k}="c{k}"/>' for k in range(100_000)) + "</kml>")


@case("KML of 25 000 000 elements", "elements")
def _(folder):
    as_kml(folder, '<kml xmlns="http://www.opengis.net/kml/2.2">' + "<a/>" * 24_000_000 + "</kml>")


@case("KML with entities in entities", "boundary.kml")
def _(folder):
    entities = '<!ENTITY a0 "aaaaaaaaaa">' + "".join(f'<!ENTITY a{k} "{("&a%d;" % (k - 1)) * 10}">' for k in range(1, 10))
    as_kml(folder, f"<!DOCTYPE kml [{entities}]><kml>&a9;</kml>")


# Images.
def image(folder, options, cols, rows, text="image.tif"):
    drawn = gdal.GetDriverByName("GTiff").Create(str(folder / text), cols, rows, 2, gdal.GDT_Float32, options)
    drawn.SetGeoTransform((559976.0, 0.5, 0, 5560312.0, 0, -0.5))
    drawn.SetProjection(made_field.system().ExportToWkt())
    for k, name in ((1, "red"), (2, "nir")):
        drawn.GetRasterBand(k).SetDescription(name)
    drawn = None


@case("an image in one strip of 30 000 x 30 000 pixels", "30000", "MiB")
def _(folder):
    image(folder, ["SPARSE_OK=TRUE", "BLOCKYSIZE=30000", "BIGTIFF=YES", "INTERLEAVE=BAND"], 30_000, 30_000)


@case("an image that states 2 000 000 x 2 000 000 pixels", "2000000", "bytes")
def _(folder):
    image(folder, ["SPARSE_OK=TRUE", "TILED=YES", "BLOCKXSIZE=16384", "BLOCKYSIZE=16384", "BIGTIFF=YES"], 2_000_000, 2_000_000)


@case("an image whose tiles inflate a thousandfold", "nothing of the field is seen")
def _(folder):
    image(folder, ["COMPRESS=DEFLATE", "TILED=YES", "BLOCKXSIZE=4096", "BLOCKYSIZE=4096", "ZLEVEL=9"], 40_000, 40_000)


@case("a raw image whose header states more pixels than the file holds", "image.img", "bytes")
def _(folder):
    tool = gdal.Translate(str(folder / "image.img"), str(folder / "image.tif"), format="ENVI")
    tool = None
    header = (folder / "image.hdr").read_text()
    (folder / "image.hdr").write_text(header.replace("lines   = 168", "lines   = 16800000"))
    job(folder, '"image.tif"', '"image.img"')
    job(folder, 'index = "NDVI"', 'index = "NDVI"\nbands = { red = 1, nir = 2 }')


@case("a virtual raster of 30 000 sources", "sources")
def _(folder):
    source = '<SimpleSource><SourceFilename relativeToVRT="1">{}.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource>'
    for k in range(30_000):
        os.link(folder / "image.tif", folder / f"{k}.tif")
    virtual(folder, "".join(source.format(k) for k in range(30_000)))


@case("a virtual raster that names one source 500 000 times", "20000 ways")
def _(folder):
    source = '<SimpleSource><SourceFilename relativeToVRT="1">image.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource>'
    virtual(folder, source * 500_000)


@case("virtual rasters 40 deep", "deep")
def _(folder):
    for k in range(40):
        inner = "image.tif" if k == 0 else f"{k - 1}.vrt"
        (folder / f"{k}.vrt").write_text(virtual_text(f'<SimpleSource><SourceFilename relativeToVRT="1">{inner}</SourceFilename><SourceBand>1</SourceBand></SimpleSource>'))
    job(folder, '"image.tif"', '"39.vrt"')


@case("virtual rasters that name each other four times, 15 deep", "ways", within=60)
def _(folder):
    for k in range(15):
        inner = "image.tif" if k == 0 else f"{k - 1}.vrt"
        source = f'<SimpleSource><SourceFilename relativeToVRT="1">{inner}</SourceFilename><SourceBand>1</SourceBand></SimpleSource>'
        (folder / f"{k}.vrt").write_text(virtual_text(source * 4))
    job(folder, '"image.tif"', '"14.vrt"')


def virtual_text(source):
    transform = ",".join(str(v) for v in made_field.TRANSFORM)
    bands = "".join(f'<VRTRasterBand dataType="Float32" band="{k}"><Description>{name}</Description>{source}</VRTRasterBand>' for k, name in ((1, "red"), (2, "nir")))
    return f'<VRTDataset rasterXSize="{made_field.COLS}" rasterYSize="{made_field.ROWS}"><SRS>EPSG:32633</SRS><GeoTransform>{transform}</GeoTransform>{bands}</VRTDataset>'


def virtual(folder, source):
    (folder / "image.vrt").write_text(virtual_text(source))
    job(folder, '"image.tif"', '"image.vrt"')


@case("a world file of 90 MB", "MiB")
def _(folder):
    (folder / "image.tfw").write_text("1\n" * 45_000_000)


@case("an auxiliary file of 90 MB", "MiB")
def _(folder):
    (folder / "image.tif.aux.xml").write_text("<PAMDataset>" + "<a/>" * 22_000_000 + "</PAMDataset>")


# Texts.
@case("a job of 20 MiB", "job.toml", "MiB")
def _(folder):
    with open(folder / "job.toml", "a") as out:
        out.write("# nothing\n" * 2_100_000)


@case("a job of 4 MB of unknown keys", "job.toml")
def _(folder):
    with open(folder / "job.toml", "a") as out:
        out.writelines(f"[section{k}]\nsome_key_{k} = {k}\n" for k in range(90_000))


@case("a job of 4 MB of brackets", "job.toml")
def _(folder):
    with open(folder / "job.toml", "a") as out:
        out.write("a = " + "[" * 4_000_000)


@case("a job with 40 000 acceptances", "accept")
def _(folder):
    with open(folder / "job.toml", "a") as out:
        out.writelines(f'\n[[accept]]\ncode = "image.age"\nfigure = "{k} d"\nby = "a"\nreason = "b"\n' for k in range(40_000))


@case("a job with 100 000 exclusions", "job.toml")
def _(folder):
    with open(folder / "job.toml", "a") as out:
        out.writelines('\n[[field.exclude]]\npath = "boundary.geojson"\n' for _ in range(100_000))


@case("an amount of 1 MB", "working_width")
def _(folder):
    job(folder, 'working_width = "24 m"', 'working_width = "24 ' + "m n " * 250_000 + '"')


@case("a choice of 1 MB", "method")
def _(folder):
    job(folder, 'method = "yield response"', 'method = "' + "yield " * 170_000 + '"')


@case("a key of 1 MB", "job.toml")
def _(folder):
    job(folder, "[rate]", "[rate]\n" + "maximum_" * 125_000 + " = 3")


@case("a crop of 1 MB", "crop")
def _(folder):
    job(folder, 'crop = "winter wheat"', 'crop = "' + "winter " * 140_000 + '"')


@case("a formula of 1 MB", "index")
def _(folder):
    job(folder, 'index = "NDVI"', 'index = "' + "+".join(["nir"] * 250_000) + '"')


@case("a formula of 100 000 brackets", "index")
def _(folder):
    job(folder, 'index = "NDVI"', 'index = "' + "(" * 100_000 + "nir" + ")" * 100_000 + '"')


@case("weather of 90 MB", "w.csv", "a second time")
def _(folder):
    with open(folder / "w.csv", "w") as out:
        out.write("date,tmin_c,tmax_c\n")
        out.writelines(f"2026-01-{k % 28 + 1:02d},1.5,9.0\n" for k in range(4_300_000))
    job(folder, "growing_days = 100", 'weather = "w.csv"')


@case("weather of one line of 90 MB", "w.csv", "90000000 bytes")
def _(folder):
    (folder / "w.csv").write_text("date,tmin_c,tmax_c\n" + "1," * 45_000_000)
    job(folder, "growing_days = 100", 'weather = "w.csv"')


@case("weather for every day of ten thousand years", mapped=True)
def _(folder):
    import datetime

    day = datetime.date(1, 1, 1)
    with open(folder / "w.csv", "w") as out:
        out.write("date,tmin_c,tmax_c\n")
        out.writelines(f"{day + datetime.timedelta(days=k)},1.5,9.0\n" for k in range(3_652_000))
    job(folder, "growing_days = 100", 'weather = "w.csv"')


@case("2 000 000 readings", within=60, mapped=True, memory=2_048)
def _(folder):
    dice = random.Random(3)
    with open(folder / "points.csv", "w") as out:
        out.write("x,y,ndvi\n")
        for _ in range(2_000_000):
            x, y = dice.uniform(0, 240), dice.uniform(0, 288)
            out.write(f"{560000 + x:.2f},{5560000 + y:.2f},{made_field.ndvi(x, y):.4f}\n")
    job(folder, '[imagery]\npath = "image.tif"', '[points]\npath = "points.csv"\ncolumn = "ndvi"\ncrs = "EPSG:32633"')


# Tables, databases, archives, task data.
@case("a shapefile whose table states 2 000 000 000 records", "records")
def _(folder):
    gdal.VectorTranslate(str(folder / "boundary.shp"), str(folder / "boundary.geojson"), format="ESRI Shapefile")
    table = bytearray((folder / "boundary.dbf").read_bytes())
    table[4:8] = struct.pack("<I", 2_000_000_000)
    (folder / "boundary.dbf").write_bytes(table)
    job(folder, '"boundary.geojson"', '"boundary.shp"')


@case("a shapefile whose index has 11 000 000 shapes", "boundary.shx", "shapes")
def _(folder):
    gdal.VectorTranslate(str(folder / "boundary.shp"), str(folder / "boundary.geojson"), format="ESRI Shapefile")
    index = bytearray((folder / "boundary.shx").read_bytes()) + bytes(88_000_000)
    index[24:28] = struct.pack(">I", len(index) // 2)
    (folder / "boundary.shx").write_bytes(index)
    job(folder, '"boundary.geojson"', '"boundary.shp"')


@case("a shapefile with a system of 90 MB", "reference system")
def _(folder):
    gdal.VectorTranslate(str(folder / "boundary.shp"), str(folder / "boundary.geojson"), format="ESRI Shapefile")
    (folder / "boundary.prj").write_text("PROJCS[" * 12_000_000)
    job(folder, '"boundary.geojson"', '"boundary.shp"')


def database(folder, statement):
    import sqlite3

    gdal.VectorTranslate(str(folder / "boundary.gpkg"), str(folder / "boundary.geojson"), format="GPKG", layerName="field")
    opened = sqlite3.connect(folder / "boundary.gpkg")
    opened.executescript(statement)
    opened.close()
    job(folder, '"boundary.geojson"', '"boundary.gpkg"')


@case("a database with a view without end", "view", within=45)
def _(folder):
    database(folder, "CREATE VIEW v AS WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x FROM c;")


@case("a database with a view in place of a table of the format", "gpkg_geometry_columns", "view")
def _(folder):
    database(
        folder,
        "CREATE TABLE kept AS SELECT * FROM gpkg_geometry_columns; PRAGMA foreign_keys = OFF; DROP TABLE gpkg_geometry_columns;"
        "CREATE VIEW gpkg_geometry_columns AS SELECT * FROM kept;",
    )


@case("a database with a hundred views without end", "view", within=45)
def _(folder):
    database(folder, "".join(f"CREATE VIEW v{k} AS WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x FROM c;" for k in range(100)))


@case("a database with a view that takes memory", within=45)
def _(folder):
    database(folder, "CREATE VIEW v AS WITH RECURSIVE c(x, t) AS (SELECT 1, zeroblob(1000000) UNION ALL SELECT x + 1, zeroblob(1000000 + x) FROM c WHERE x < 100000) SELECT x, t FROM c ORDER BY t;")


@case("a database whose view takes ten seconds, forty times", "40 views", within=60)
def _(folder):
    slow = "WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c WHERE x < 20000000) SELECT x FROM c"
    database(folder, "".join(f"CREATE VIEW v{k} AS {slow};" for k in range(40)))


def packed(folder, entries):
    with zipfile.ZipFile(folder / "a.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for name, bytes_ in entries:
            archive.writestr(name, bytes_)


CHECK = ("check", "a.zip")


@case("an archive whose sum is 3 GB", "256 MiB", arguments=CHECK)
def _(folder):
    # Stored letters pack 1 : 150, which each entry may.
    block = zlib.compress(b"")
    packed(folder, ((f"a{k}", (b"ab" * 64 + bytes([k % 251])) * 120_000) for k in range(200)))
    del block


@case("an archive of 20 000 entries", "entries", arguments=CHECK)
def _(folder):
    packed(folder, ((f"a{k}", b"") for k in range(20_000)))


@case("an archive with an entry of zeros", "unpacks", arguments=CHECK)
def _(folder):
    packed(folder, [("TASKDATA/TASKDATA.XML", bytes(900_000_000))])


def task(folder, body):
    (folder / "TASKDATA").mkdir()
    (folder / "TASKDATA/TASKDATA.XML").write_text(f'<?xml version="1.0"?><ISO11783_TaskData VersionMajor="4" VersionMinor="3" DataTransferOrigin="1" ManagementSoftwareManufacturer="a" ManagementSoftwareVersion="1" TaskControllerManufacturer="" TaskControllerVersion="">{body}</ISO11783_TaskData>')


CHECK_TASK = ("check", "TASKDATA")


@case("task data whose grid states 60 000 x 60 000 cells", "GRD00000", arguments=CHECK_TASK)
def _(folder):
    task(folder, '<TSK A="TSK1" G="1"><TZN A="1"><PDV A="0006" B="0"/></TZN><GRD A="50" B="15" C="0.0001" D="0.0001" E="60000" F="60000" G="GRD00000" I="2" J="1"/></TSK>')
    (folder / "TASKDATA/GRD00000.bin").write_bytes(bytes(1000))


@case("task data with a grid of 25 000 000 cells", "5000 × 5000 cells", arguments=CHECK_TASK)
def _(folder):
    task(folder, '<TSK A="TSK1" G="1"><TZN A="1"><PDV A="0006" B="0"/></TZN><GRD A="50" B="15" C="0.00001" D="0.00001" E="5000" F="5000" G="GRD00000" I="2" J="1"/></TSK>')
    (folder / "TASKDATA/GRD00000.bin").write_bytes(bytes(100_000_000))


@case("task data with 1 500 000 points", arguments=CHECK_TASK)
def _(folder):
    points = "".join(f'<PNT A="2" C="50.{k:07d}" D="15.{k:07d}"/>' for k in range(1_500_000))
    task(folder, f'<PFD A="PFD1" C="a" D="1"><PLN A="1"><LSG A="1">{points}</LSG></PLN></PFD>')


# What is no file.
for name, old, new in (
    ("boundary", '"boundary.geojson"', '"pipe.geojson"'),
    ("strips", '"strips.geojson"', '"pipe.geojson"'),
    ("image", '"image.tif"', '"pipe.tif"'),
    ("weather record", "growing_days = 100", 'weather = "pipe.csv"'),
    ("table of crops", "[season]", '[season]\ncrops = "pipe.toml"'),
):
    @case(f"a pipe as {name}", "pipe")
    def _(folder, old=old, new=new):
        os.mkfifo(folder / new.split('"')[-2 if new.endswith('"') else 1])
        job(folder, old, new)


@case("a pipe as job", "pipe", arguments=("map", "pipe.toml"))
def _(folder):
    os.mkfifo(folder / "pipe.toml")


@case("a pipe as index of a shapefile", "pipe")
def _(folder):
    gdal.VectorTranslate(str(folder / "boundary.shp"), str(folder / "boundary.geojson"), format="ESRI Shapefile")
    (folder / "boundary.shx").unlink()
    os.mkfifo(folder / "boundary.shx")
    job(folder, '"boundary.geojson"', '"boundary.shp"')


@case("a pipe as grid of task data", "GRD00000.bin", arguments=CHECK_TASK)
def _(folder):
    task(folder, '<TSK A="TSK1" G="1"><TZN A="1"><PDV A="0006" B="0"/></TZN><GRD A="50" B="15" C="0.0001" D="0.0001" E="5" F="5" G="GRD00000" I="2" J="1"/></TSK>')
    os.mkfifo(folder / "TASKDATA/GRD00000.bin")


@case("a pipe as source of a virtual raster", "pipe")
def _(folder):
    os.mkfifo(folder / "pipe.tif")
    virtual(folder, '<SimpleSource><SourceFilename relativeToVRT="1">pipe.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource>')


@case("a device as boundary", "device")
def _(folder):
    job(folder, '"boundary.geojson"', '"/dev/zero"')


@case("a field of 2 000 ha with 200 MiB", "cells", "MiB", memory=200)
def _(folder):
    large(folder)
    job(folder, 'working_width = "24 m"', 'working_width = "3 m"\ncell_length = "3 m"')


def large(folder):
    """The field, stretched to 2000 ha."""
    way = lonlat()
    frame = [way(x, y) for x, y in ((0, 0), (4400, 0), (4400, 4600), (0, 4600), (0, 0))]
    layer(folder / "boundary.geojson", [[frame]])
    drawn = gdal.GetDriverByName("GTiff").Create(str(folder / "image.tif"), 2300, 2400, 2, gdal.GDT_Float32, ["TILED=YES"])
    drawn.SetGeoTransform((559976.0, 2.0, 0, 5560000.0 + 4700, 0, -2.0))
    drawn.SetProjection(made_field.system().ExportToWkt())
    for k, name, value in ((1, "red", 0.1), (2, "nir", 0.4)):
        drawn.GetRasterBand(k).SetDescription(name)
        drawn.GetRasterBand(k).Fill(value)


# Beginnings of the names of those that are refused before much is read.
SHORT = (
    "a pipe",
    "a device",
    "a boundary as a comb",
    "KML 1 000 folders",
    "KML with",
    "virtual rasters 40",
    "virtual rasters that name",
    "an image in one strip",
    "an image that states",
    "a world file",
    "a job of 20",
    "a job with 40 000 acceptances",
    "a formula",
    "an amount",
    "a choice",
    "a crop",
    "a shapefile whose table",
    "a shapefile whose index",
    "a raw image",
    "a database with a view in place",
    "an archive of 20 000",
    "an archive with an entry",
    "task data whose grid states",
    "a field of 2 000 ha with 200 MiB",
)


def tried(name, scratch):
    function, said, within, arguments, mapped, memory = CASES[name]
    folder = made_field.make(scratch / "field")
    function(folder)
    command = [HAULM, *arguments, "--quiet", "--memory", str(memory), "--threads", "2"]
    with open(scratch / "out", "wb") as out, open(scratch / "err", "wb") as err:
        # What goes wrong here must not take the machine with it.
        most = (4 << 30) + (memory << 20)
        limit = lambda: resource.setrlimit(resource.RLIMIT_AS, (most, most))
        child = subprocess.Popen(command, cwd=folder, stdin=subprocess.DEVNULL, stdout=out, stderr=err, preexec_fn=limit)
        end = time.monotonic() + 10 * LONGEST
        while True:
            found, status, usage = os.wait4(child.pid, os.WNOHANG)
            if found:
                break
            if time.monotonic() > end:
                child.kill()
            time.sleep(0.02)
    code = os.waitstatus_to_exitcode(status)
    child.returncode = code
    text = (scratch / "err").read_text(errors="replace") + (scratch / "out").read_text(errors="replace")
    used = usage.ru_utime + usage.ru_stime
    plain = " ".join(text.split())
    wrong = []
    if code not in (0, 1):
        wrong.append(f"exit {code}: {text[-500:]}")
    if used > within:
        wrong.append(f"{used:.1f} s of the processor, {within} are allowed")
    if usage.ru_maxrss > (memory + 200) * 1024:
        wrong.append(f"{usage.ru_maxrss >> 10} MiB, {memory + 200} are allowed")
    if mapped and code:
        wrong.append(f"not mapped: {text[:500]}")
    if said and (code != 1 or not all(word in plain for word in said)):
        wrong.append(f"exit {code}, and not in the words {said}: {text[:500]}")
    return wrong, f"exit {code}, {used:.1f} s, {usage.ru_maxrss >> 10} MiB: {plain[:110]}"


def main():
    names = sys.argv[2:] or list(CASES)
    if names == ["short"]:
        names = [name for name in CASES if name.startswith(SHORT)]
    passed = failed = 0
    for name in names:
        with tempfile.TemporaryDirectory(prefix="haulm-bounds-") as scratch:
            wrong, said = tried(name, pathlib.Path(scratch))
        passed, failed = passed + (not wrong), failed + bool(wrong)
        print(f"failed: {name}" if wrong else f"ok: {name}: {said}", *wrong, sep="\n    ", flush=True)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
