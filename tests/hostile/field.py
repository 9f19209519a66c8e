"""A tiny field for hostile tests: two bands of reflectance, a boundary, a strip and a job, in a folder of its own. Needs the bindings of GDAL alone."""

import array
import math
import pathlib

from osgeo import gdal, osr

gdal.UseExceptions()
osr.UseExceptions()

COLS, ROWS = 144, 168
TRANSFORM = (559976.0, 2.0, 0.0, 5560312.0, 0.0, -2.0)

JOB = """[field]
name = "Middle Piece"
boundary = "boundary.geojson"

[imagery]
path = "image.tif"
date = 2026-04-14
index = "NDVI"

[reference]
strips = "strips.geojson"

[season]
crop = "winter wheat"
planted = 2025-10-06
growing_days = 100

[response]
method = "yield response"
maximum_yield = "7 t/ha"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "common practice" }

[rate]
maximum = "150 kg N/ha"
step = "5 kg N/ha"

[product]
name = "UAN 28"

[machine]
working_width = "24 m"
heading = "0 grid"

[output]
folder = "out"
"""


def system(code=32633):
    made = osr.SpatialReference()
    made.ImportFromEPSG(code)
    made.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return made


def ndvi(x, y):
    uneven = 0.008 * math.sin(x / 7.3) + 0.006 * math.sin(y / 11.9 + x / 23.0)
    if 120 <= x < 144 and 24 <= y < 264:
        return 0.74 + uneven
    if 24 <= x < 72 and 48 <= y < 120:
        return 0.52 + uneven
    return 0.62 + uneven


def image(path, driver="GTiff", options=(), named=True):
    bands = [array.array("f"), array.array("f")]
    for row in range(ROWS):
        for col in range(COLS):
            value = ndvi(2 * col + 1 - 24.0, 312 - (2 * row + 1) - 0.0)
            bands[0].append(0.225 * (1 - value))
            bands[1].append(0.225 * (1 + value))
    made = gdal.GetDriverByName(driver).Create(str(path), COLS, ROWS, 2, gdal.GDT_Float32, list(options))
    made.SetGeoTransform(TRANSFORM)
    made.SetProjection(system().ExportToWkt())
    for number, values in enumerate(bands):
        band = made.GetRasterBand(number + 1)
        if named:
            band.SetDescription(("red", "nir")[number])
        band.WriteRaster(0, 0, COLS, ROWS, values.tobytes(), buf_type=gdal.GDT_Float32)
    made = None


def places(corners):
    """Corners in metres from the field's own, as a ring of longitudes and latitudes."""
    way = osr.CoordinateTransformation(system(), system(4326))
    found = [way.TransformPoint(560000.0 + x, 5560000.0 + y)[:2] for x, y in (*corners, corners[0])]
    return ",".join(f"[{x!r},{y!r}]" for x, y in found)


def ring(west, south, east, north):
    return places([(west, south), (east, south), (east, north), (west, north)])


def layer(*rings):
    return (
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"id":1},'
        f'"geometry":{{"type":"Polygon","coordinates":[{",".join(f"[{one}]" for one in rings)}]}}}}]}}'
    )


def polygon(*extent):
    return layer(ring(*extent))


def make(folder):
    """Writes the field and returns its folder."""
    folder = pathlib.Path(folder)
    folder.mkdir(parents=True)
    image(folder / "image.tif")
    (folder / "boundary.geojson").write_text(polygon(0, 0, 240, 288))
    (folder / "strips.geojson").write_text(polygon(120, 24, 144, 264))
    (folder / "job.toml").write_text(JOB)
    return folder
