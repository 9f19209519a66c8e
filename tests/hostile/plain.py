#!/usr/bin/env python3
"""Files as GDAL writes them by itself, with all that it puts beside them: none is a trick, so each is mapped, and its cells have the index of the field's own image.

plain.py HAULM [NAME...]. Ends with "N passed, N failed".
"""

import array
import concurrent.futures
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

import field as made_field
import said
from osgeo import gdal, ogr

HAULM = os.path.abspath(sys.argv[1])
CASES = {}
# Two bands of 16 bits in place of floats: what rounding to a 10 000th of reflectance makes of an index.
ROUNDED = 1e-3
# Pixels that were laid anew by their nearest neighbour.
LAID_ANEW = 2e-2
BANDS = 'index = "NDVI"\nbands = { red = 1, nir = 2 }'


def case(name, near=0.0, image=None, index=BANDS, boundary=None):
    """A way to write the field's image or boundary; `near` is how far the index of a cell may lie from the image's own."""

    def keep(function):
        CASES[name] = (function, near, image, index, boundary)
        return function

    return keep


def tool(*words, **options):
    environment = {**os.environ, **{key: str(value) for key, value in options.items()}}
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, env=environment)
    assert done.returncode == 0, f"{words}: {done.stderr}"


def translated(name, label, *words, near=0.0, index=BANDS, then=(), **options):
    """A case made by gdal_translate alone, and by what is run `then` on its file."""

    @case(label, near, name, index)
    def _(folder):
        tool("gdal_translate", "-q", *words, folder / "image.tif", folder / name, **options)
        for line in then:
            tool(*[folder / name if word == "@" else word for word in line], **options)


STATISTICS = ("gdalinfo", "-stats", "-hist", "@")
SMALLER = ("gdaladdo", "-q", "-ro", "@", "2", "4")
SHORT = ("-ot", "UInt16", "-scale", "0", "1", "0", "10000")
# One band: the index itself.
ALONE = 'index = "band 1"\nbare_below = 0.25'

translated("a.tif", "GeoTIFF, facts in sidecars", "-co", "PROFILE=BASELINE", "-co", "TFW=YES", then=[STATISTICS])
translated("a.tif", "GeoTIFF with statistics and reduced copies beside it", then=[STATISTICS, SMALLER])
translated("a.tif", "GeoTIFF with an ESRI auxiliary file", then=[STATISTICS], ESRI_XML_PAM="TRUE")
translated("a.tif", "GeoTIFF with scale, offset, unit and remarks", "-a_scale", "1", "-a_offset", "0", "-a_nodata", "-9999", "-mo", "TIFFTAG_SOFTWARE=a", "-mo", "FLOWN=yes", then=[STATISTICS])
translated("a.tif", "cloud-optimised GeoTIFF", "-of", "COG", "-co", "BLOCKSIZE=128", then=[STATISTICS])
translated("a.img", "ENVI", "-of", "ENVI", then=[STATISTICS])
translated("a.img", "ENVI by pixels, its header's name added", "-of", "ENVI", "-co", "INTERLEAVE=BIP", "-co", "SUFFIX=ADD", "-a_nodata", "-1", "-stats")
translated("a.img", "ENVI with reduced copies", "-of", "ENVI", then=[STATISTICS, SMALLER])
translated("a.ers", "ERS", "-of", "ERS", then=[STATISTICS])
translated("a.ers", "ERS with missing values and reduced copies", "-of", "ERS", "-a_nodata", "-1", "-stats", then=[SMALLER])
translated("a.img", "HFA", "-of", "HFA", then=[STATISTICS])
translated("a.img", "HFA with pixels in a file of their own", "-of", "HFA", "-co", "USE_SPILL=YES", then=[STATISTICS, SMALLER], HFA_USE_RRD="YES")
translated("a.vrt", "virtual raster by gdal_translate", "-of", "VRT", "-a_nodata", "-1", "-stats", then=[SMALLER])
translated("a.vrt", "virtual raster by gdal_translate, scaled", "-of", "VRT", "-scale", "0", "1", "0", "1", "-r", "bilinear", then=[STATISTICS])
translated("a.png", "PNG with world file", "-of", "PNG", *SHORT, "-b", "1", "-b", "2", "-b", "1", "-co", "WORLDFILE=YES", "-stats", near=ROUNDED)
translated("a.jp2", "JPEG 2000", "-of", "JP2OpenJPEG", *SHORT, "-co", "QUALITY=100", "-co", "REVERSIBLE=YES", near=ROUNDED, then=[STATISTICS])
translated("a.jp2", "JPEG 2000 without facts of its own", "-of", "JP2OpenJPEG", *SHORT, "-co", "QUALITY=100", "-co", "REVERSIBLE=YES", "-co", "GMLJP2=NO", "-co", "GeoJP2=NO", near=ROUNDED, then=[STATISTICS])


def index_image(folder):
    """The index itself as an image of one band."""
    opened = gdal.Open(str(folder / "image.tif"))
    red, nir = (opened.GetRasterBand(k).ReadRaster(buf_type=gdal.GDT_Float64) for k in (1, 2))
    values = array.array("f", ((n - r) / (n + r) for r, n in zip(array.array("d", red), array.array("d", nir))))
    made = gdal.GetDriverByName("GTiff").Create(str(folder / "index.tif"), made_field.COLS, made_field.ROWS, 1, gdal.GDT_Float32)
    made.SetGeoTransform(made_field.TRANSFORM)
    made.SetProjection(made_field.system().ExportToWkt())
    made.GetRasterBand(1).WriteRaster(0, 0, made_field.COLS, made_field.ROWS, values.tobytes(), buf_type=gdal.GDT_Float32)


for label, name, words, then in (
    ("grid of letters", "a.asc", ("-of", "AAIGrid"), [STATISTICS]),
    ("GeoPackage of TIFF tiles", "a.gpkg", ("-of", "GPKG", "-co", "TILE_FORMAT=TIFF"), [STATISTICS]),
    ("GeoTIFF with categories and colours", "a.tif", (), [STATISTICS, SMALLER]),
):

    @case(f"{label}, one band", 1e-6, name, ALONE)
    def _(folder, name=name, words=words, then=then):
        index_image(folder)
        tool("gdal_translate", "-q", *words, folder / "index.tif", folder / name)
        for line in then:
            tool(*[folder / name if word == "@" else word for word in line])


@case("GeoTIFF with a mask beside it", 0.0, "a.tif")
def _(folder):
    shutil.copy(folder / "image.tif", folder / "a.tif")
    gdal.SetConfigOption("GDAL_TIFF_INTERNAL_MASK", "NO")
    opened = gdal.Open(str(folder / "a.tif"), gdal.GA_Update)
    opened.CreateMaskBand(gdal.GMF_PER_DATASET)
    opened.GetRasterBand(1).GetMaskBand().Fill(255)
    opened = None
    assert (folder / "a.tif.msk").exists()
    tool("gdalinfo", "-stats", folder / "a.tif")


@case("virtual raster by gdalbuildvrt", 0.0, "a.vrt")
def _(folder):
    tool("gdal_translate", "-q", "-srcwin", "0", "0", "80", "168", folder / "image.tif", folder / "west.tif")
    tool("gdal_translate", "-q", "-srcwin", "80", "0", "64", "168", folder / "image.tif", folder / "east.tif")
    tool("gdalbuildvrt", "-q", "-srcnodata", "-1", "-vrtnodata", "-1", "-r", "bilinear", folder / "a.vrt", folder / "west.tif", folder / "east.tif")
    tool("gdalinfo", "-stats", "-hist", folder / "a.vrt")


@case("virtual raster by gdalbuildvrt, a file a band", 0.0, "a.vrt")
def _(folder):
    for band in (1, 2):
        tool("gdal_translate", "-q", "-b", band, folder / "image.tif", folder / f"band{band}.tif")
    tool("gdalbuildvrt", "-q", "-separate", folder / "a.vrt", folder / "band1.tif", folder / "band2.tif")


@case("virtual raster by gdalbuildvrt with reduced copies of its own", 0.0, "a.vrt")
def _(folder):
    tool("gdalbuildvrt", "-q", folder / "a.vrt", folder / "image.tif")
    tool("gdaladdo", "-q", "--config", "VRT_VIRTUAL_OVERVIEWS", "YES", folder / "a.vrt", "2")


@case("virtual raster by gdalwarp", 0.0, "a.vrt")
def _(folder):
    tool("gdalwarp", "-q", "-of", "VRT", "-te", "559980", "5559990", "560250", "5560300", "-tr", "2", "2", folder / "image.tif", folder / "a.vrt")


@case("virtual raster by gdalwarp, from degrees and with missing values", LAID_ANEW, "a.vrt")
def _(folder):
    tool("gdalwarp", "-q", "-t_srs", "EPSG:4326", folder / "image.tif", folder / "degrees.tif")
    tool("gdalwarp", "-q", "-of", "VRT", "-t_srs", "EPSG:32633", "-srcnodata", "0", "-dstnodata", "-1", "-multi", folder / "degrees.tif", folder / "a.vrt")


for ending, driver in (("ers", "ERS"), ("img", "ENVI"), ("img", "HFA"), ("tif", "GTiff"), ("vrt", "VRT")):

    @case(f"{driver} in degrees", LAID_ANEW, f"a.{ending}")
    def _(folder, ending=ending, driver=driver):
        tool("gdalwarp", "-q", "-t_srs", "EPSG:4326", folder / "image.tif", folder / "degrees.tif")
        tool("gdal_translate", "-q", "-of", driver, folder / "degrees.tif", folder / f"a.{ending}")
        tool("gdalinfo", "-stats", folder / f"a.{ending}")


for ending, driver, options in (
    ("shp", "ESRI Shapefile", ["SPATIAL_INDEX=YES"]),
    ("tab", "MapInfo File", []),
    ("mif", "MapInfo File", ["FORMAT=MIF"]),
    ("gml", "GML", ["FORMAT=GML3.2"]),
    ("gml", "GML", ["FORMAT=GML2", "XSISCHEMA=EXTERNAL"]),
    ("kml", "LIBKML", []),
    ("kml", "KML", []),
    ("gpkg", "GPKG", []),
    ("fgb", "FlatGeobuf", []),
    ("geojson", "GeoJSON", ["RFC7946=YES", "WRITE_BBOX=YES"]),
):

    @case(f"boundary as {driver} {' '.join(options)}".strip(), boundary=f"a.{ending}")
    def _(folder, ending=ending, driver=driver, options=options):
        words = [word for option in options for word in ("-dsco" if option.startswith(("FORMAT", "XSI")) else "-lco", option)]
        tool("ogr2ogr", "-f", driver, *words, folder / f"a.{ending}", folder / "boundary.geojson")
        # Reading it makes its own index of classes.
        tool("ogrinfo", "-al", "-q", folder / f"a.{ending}")


def mapped(folder):
    """What the map says of itself; or what was said instead."""
    done = subprocess.run([HAULM, "map", "job.toml", "--quiet", "--json", "--threads", "1"], capture_output=True, text=True, cwd=folder)
    if done.returncode:
        return None, " ".join((done.stderr + done.stdout).split())[:500]
    return json.loads(done.stdout), None


def cells(folder):
    """Index of each cell by row and column."""
    opened = ogr.Open(str(folder / "out/office/prescription.gpkg"))
    return {(cell["row"], cell["col"]): cell["index"] for cell in opened.GetLayer("cells")}


def tried(name, folder, own):
    function, near, image, index, boundary = CASES[name]
    made_field.make(folder)
    try:
        function(folder)
    except AssertionError as error:
        return f"not made: {error}"
    text = (folder / "job.toml").read_text()
    if image:
        text = text.replace('"image.tif"', f'"{image}"').replace('index = "NDVI"', index, 1)
        # A curve holds for the index that it was fitted with.
        text = text.replace('index = "NDVI", source', 'index = "band 1", source') if index == ALONE else text
    if boundary:
        text = text.replace('"boundary.geojson"', f'"{boundary}"')
    (folder / "job.toml").write_text(text)
    if image and not image.endswith(".vrt"):
        # Only virtual rasters go back to it.
        for path in folder.glob("image.tif*"):
            path.unlink()
    whole, refusal = mapped(folder)
    if refusal:
        return refusal
    if boundary:
        # Formats keep so many digits: cells at the edge differ by less than a hair, the ground does not.
        wrong = said.boundary(folder, whole)
        ground = whole["result"]["field"]["boundary_m2"]
        return wrong[0] if wrong else None if abs(ground - 240 * 288) < 10 else f"{ground} m², and the field has {240 * 288}"
    found = cells(folder)
    if found.keys() != own.keys():
        return f"{len(found)} cells, and the field has {len(own)}"
    worst = max(abs(found[place] - own[place]) for place in own)
    return f"an index lies {worst:.1e} beside the image's own, {near:.0e} is allowed" if worst > near else None


def main():
    passed = failed = 0
    with tempfile.TemporaryDirectory(prefix="haulm-plain-") as scratch:
        scratch = pathlib.Path(scratch)
        _, refusal = mapped(made_field.make(scratch / "own"))
        assert not refusal, refusal
        own = cells(scratch / "own")
        names = sys.argv[2:] or list(CASES)
        with concurrent.futures.ThreadPoolExecutor(max_workers=2) as pool:
            for name, wrong in zip(names, pool.map(lambda k: tried(names[k], scratch / str(k), own), range(len(names)))):
                passed, failed = passed + (not wrong), failed + bool(wrong)
                print(f"failed: {name}: {wrong}" if wrong else f"ok: {name}", flush=True)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
