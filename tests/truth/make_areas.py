"""Areas of shapes, of their buffers and on the ground, by GEOS and PROJ: numbers that haulm did not make.

    python tests/truth/make_areas.py > tests/truth/areas.json

Needs shapely 2 and pyproj. Buffers have round joins of 16 chords a quadrant. Areas on the ground are geodesic, on WGS 84, of outlines densified to 5 m.
Shapes are invented, in metres from a place of the plane.
"""

import json
import sys

import shapely
from pyproj import Geod, Transformer
from pyproj import __version__ as pyproj_version
from pyproj import proj_version_str
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Polygon

CONCAVE = [(0, 0), (310, -25), (355, 140), (210, 118), (190, 260), (240, 395), (95, 420), (60, 210), (-35, 150)]
SHAPES = {
    # Name: EPSG code, place, shape.
    "turned rectangle": (32633, (560_000, 5_560_000), Polygon([(0, 0), (346.41, 200), (246.41, 373.2), (-100, 173.2)])),
    "concave": (32632, (712_300, 5_311_000), Polygon(CONCAVE)),
    "with pond and island of scrub": (
        32755,
        (288_400, 6_100_250),
        Polygon(CONCAVE, [[(60, 40), (120, 30), (150, 80), (90, 100)], [(100, 250), (140, 240), (150, 300), (120, 330)]]),
    ),
    "two parts that grow together": (
        3035,
        (4_380_000, 2_900_000),
        MultiPolygon([Polygon([(0, 0), (200, 10), (190, 150), (-5, 140)]), Polygon([(208, 20), (420, 60), (400, 180), (203, 160)])]),
    ),
    "needle": (32614, (640_000, 4_350_000), Polygon([(0, 0), (402, 9), (800, 40), (395, 52), (180, 33)])),
}
EXCLUSION = Polygon([(70, 60), (170, 75), (160, 140), (80, 130)])


def points(polygon):
    """Parts, rings, points."""
    parts = polygon.geoms if isinstance(polygon, MultiPolygon) else [polygon]
    return [[list(ring.coords) for ring in [part.exterior, *part.interiors]] for part in parts]


def main():
    ellipsoid = Geod(ellps="WGS84")
    out = {"made_by": f"python tests/truth/make_areas.py; shapely {shapely.__version__}, GEOS {shapely.geos_version_string}, pyproj {pyproj_version}, PROJ {proj_version_str}"}
    shapes = []
    for name, (epsg, place, shape) in SHAPES.items():
        shape = translate(shape, *place)
        exclusion = translate(EXCLUSION, *place)
        assert shape.is_valid
        degrees = Transformer.from_crs(f"EPSG:{epsg}", "EPSG:4326", always_xy=True)
        lonlat = shapely.transform(shapely.segmentize(shape, 5.0), degrees.transform, interleaved=False)
        geodesic = abs(ellipsoid.geometry_area_perimeter(shapely.orient_polygons(lonlat))[0])
        less = shape.difference(exclusion.buffer(10, quad_segs=16))
        shapes.append(
            {
                "name": name,
                "epsg": epsg,
                "parts": points(shape),
                "exclusion": points(exclusion),
                "area": shape.area,
                "grown": {str(d): shape.buffer(d, quad_segs=16).area for d in (10, -3)},
                "less_grown_exclusion": less.area,
                "geodesic": geodesic,
            }
        )
    out["shapes"] = shapes
    json.dump(out, sys.stdout, separators=(",", ":"))
    print()


if __name__ == "__main__":
    main()
