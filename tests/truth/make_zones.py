"""Outlines of label grids, and validity and overlay of small shapes, by GEOS: numbers that haulm did not make.

    python tests/truth/make_zones.py > tests/truth/zones.json

Needs shapely 2. Grids are seeded; a digit is a label, a point a cell of none. The shapes follow the kinds of cases that the test suites of JTS and GEOS hold (validity: general/TestValid.xml,
overlay: general/TestFunctionAA.xml and its neighbours; kinds from memory, coordinates our own); what GEOS says of each is stored beside it.
"""

import json
import random
import sys

import shapely

LENGTH, WIDTH = 6.0, 8.0  # of a cell along x and along y [m]
PLACE = (500_000.0, 5_400_000.0)

VALIDITY = {
    "square": "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))",
    "bow tie": "POLYGON ((0 0, 10 10, 10 0, 0 10, 0 0))",
    "hole inside": "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0), (2 2, 2 4, 4 4, 4 2, 2 2))",
    "hole outside": "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0), (12 2, 12 4, 14 4, 14 2, 12 2))",
    "hole touches the shell at a point": "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0), (0 5, 4 7, 4 3, 0 5))",
    "hole touches the shell at two points": "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0), (0 5, 5 7, 10 5, 5 3, 0 5))",
    "hole shares an edge with the shell": "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0), (0 3, 4 3, 4 7, 0 7, 0 3))",
    "hole crosses the shell": "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0), (8 3, 14 3, 14 7, 8 7, 8 3))",
    "two holes touch at a point": "POLYGON ((0 0, 12 0, 12 10, 0 10, 0 0), (2 2, 2 6, 6 6, 6 2, 2 2), (6 6, 6 8, 10 8, 10 6, 6 6))",
    "two holes overlap": "POLYGON ((0 0, 12 0, 12 10, 0 10, 0 0), (2 2, 2 6, 6 6, 6 2, 2 2), (4 4, 4 8, 9 8, 9 4, 4 4))",
    "a hole in a hole": "POLYGON ((0 0, 12 0, 12 10, 0 10, 0 0), (2 2, 2 8, 9 8, 9 2, 2 2), (4 4, 4 6, 6 6, 6 4, 4 4))",
    "shell touches itself at a point": "POLYGON ((0 0, 10 0, 10 10, 5 0, 0 10, 0 0))",
    "spike": "POLYGON ((0 0, 10 0, 10 10, 10 14, 10 10, 0 10, 0 0))",
    "parts touch at a point": "MULTIPOLYGON (((0 0, 5 0, 5 5, 0 5, 0 0)), ((5 5, 9 5, 9 9, 5 9, 5 5)))",
    "parts share an edge": "MULTIPOLYGON (((0 0, 5 0, 5 5, 0 5, 0 0)), ((5 0, 9 0, 9 5, 5 5, 5 0)))",
    "parts overlap": "MULTIPOLYGON (((0 0, 5 0, 5 5, 0 5, 0 0)), ((3 3, 9 3, 9 9, 3 9, 3 3)))",
    "part in the hole of another": "MULTIPOLYGON (((0 0, 12 0, 12 10, 0 10, 0 0), (2 2, 2 8, 9 8, 9 2, 2 2)), ((4 4, 6 4, 6 6, 4 6, 4 4)))",
}
OVERLAY = {
    "boxes that overlap": ("POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))", "POLYGON ((5 5, 15 5, 15 15, 5 15, 5 5))"),
    "boxes that share an edge": ("POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))", "POLYGON ((10 0, 20 0, 20 10, 10 10, 10 0))"),
    "boxes that touch at a point": ("POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))", "POLYGON ((10 10, 20 10, 20 20, 10 20, 10 10))"),
    "box inside": ("POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))", "POLYGON ((3 3, 7 3, 7 7, 3 7, 3 3))"),
    "the same": ("POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))", "POLYGON ((10 10, 0 10, 0 0, 10 0, 10 10))"),
    "a comb and a bar": (
        "POLYGON ((0 0, 11 0, 11 10, 9 10, 9 2, 7 2, 7 10, 5 10, 5 2, 3 2, 3 10, 1 10, 1 2, 0 2, 0 0))",
        "POLYGON ((-1 4, 12 4, 12 6, -1 6, -1 4))",
    ),
    "edges that run together in part": ("POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))", "POLYGON ((2 0, 8 0, 8 -5, 2 -5, 2 0))"),
    "through a hole": ("POLYGON ((0 0, 12 0, 12 10, 0 10, 0 0), (2 2, 2 8, 9 8, 9 2, 2 2))", "POLYGON ((-1 4, 13 4, 13 5, -1 5, -1 4))"),
    "needle": ("POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))", "POLYGON ((-5 4.9999, 15 5, -5 5.0001, -5 4.9999))"),
}


def grid(seed, rows, columns, labels, block, missing):
    """Rows of digits; blocks of one label, with single cells of another and cells of none."""
    chance = random.Random(seed)
    blocks = {}
    lines = []
    for r in range(rows):
        line = ""
        for c in range(columns):
            label = blocks.setdefault((r // block, c // block), chance.randint(1, labels))
            if chance.random() < 0.15:
                label = chance.randint(1, labels)
            line += "." if chance.random() < missing else str(label)
        lines.append(line)
    return lines


def outlines(lines, labels):
    """What GEOS makes of the cells of each label."""
    found = []
    for label in range(1, labels + 1):
        boxes = [
            shapely.box(PLACE[0] + r * LENGTH, PLACE[1] + c * WIDTH, PLACE[0] + (r + 1) * LENGTH, PLACE[1] + (c + 1) * WIDTH)
            for r, line in enumerate(lines)
            for c, letter in enumerate(line)
            if letter == str(label)
        ]
        whole = shapely.union_all(boxes)
        parts = shapely.get_parts(whole)
        found.append({"area": whole.area, "perimeter": whole.length, "parts": len(parts), "holes": int(sum(shapely.get_num_interior_rings(parts)))})
    return found


def main():
    grids = []
    for seed, rows, columns, labels, block, missing in [(1, 12, 9, 2, 3, 0.0), (2, 20, 31, 4, 4, 0.08), (3, 60, 45, 5, 6, 0.02), (4, 40, 40, 2, 1, 0.25), (5, 1, 30, 3, 2, 0.1)]:
        lines = grid(seed, rows, columns, labels, block, missing)
        grids.append({"cells": lines, "outlines": outlines(lines, labels)})
    validity = [{"name": name, "wkt": wkt, "valid": bool(shapely.is_valid(shapely.from_wkt(wkt))), "why": shapely.is_valid_reason(shapely.from_wkt(wkt))} for name, wkt in VALIDITY.items()]
    overlay = []
    for name, (a, b) in OVERLAY.items():
        p, q = shapely.from_wkt(a), shapely.from_wkt(b)
        overlay.append({"name": name, "a": a, "b": b, "union": p.union(q).area, "difference": p.difference(q).area, "intersection": p.intersection(q).area})
    made_by = f"shapely {shapely.__version__}, GEOS {shapely.geos_version_string}"
    json.dump({"made_by": made_by, "length": LENGTH, "width": WIDTH, "place": PLACE, "grids": grids, "validity": validity, "overlay": overlay}, sys.stdout, indent=1)
    print()


if __name__ == "__main__":
    main()
