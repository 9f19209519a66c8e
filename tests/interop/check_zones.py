#!/usr/bin/env python3
"""Judges drawn zones with GEOS: `cargo run --example zone_shapes | check_zones.py`

Every zone valid, no two of one field overlapping, all of them together the field (relative 1e-9), areas within their stated bound, outer edges untouched. One spoilt copy of each kind must be noticed."""

import json
import sys

import numpy as np
import shapely

EXACT = 1e-9


def faults(field, areas, rule, zones):
    """What is wrong with the zones of one field."""
    found = []
    invalid = [k for k, zone in enumerate(zones) if not shapely.is_valid(zone)]
    if invalid:
        return [f"invalid: zone {invalid[0] + 1}, {shapely.is_valid_reason(zones[invalid[0]])}"]
    tree = shapely.STRtree(zones)
    first, second = tree.query(zones, predicate="intersects")
    pairs = first < second
    overlap = shapely.area(shapely.intersection(zones[first[pairs]], zones[second[pairs]])).sum()
    if overlap > EXACT * field.area:
        found.append(f"overlap of {overlap} m2")
    whole = shapely.union_all(zones)
    if whole.symmetric_difference(field).area > EXACT * field.area:
        found.append(f"union differs from the field by {whole.symmetric_difference(field).area} m2")
    if abs(shapely.area(zones).sum() / field.area - 1) > EXACT:
        found.append(f"areas add up to {shapely.area(zones).sum()}, the field is {field.area} m2")
    beyond = int(np.sum(np.abs(shapely.area(zones) - areas) > rule["area_within"] * areas * (1 + EXACT)))
    if beyond != rule["beyond"]:
        found.append(f"{beyond} zones beyond their area, {rule['beyond']} told")
    return found


def main():
    fields = json.load(sys.stdin)
    passed, failed = 0, 0

    def tell(name, holds, why=""):
        nonlocal passed, failed
        passed, failed = passed + holds, failed + (not holds)
        print(f"{'ok  ' if holds else 'FAIL'}  {name}" + (f"\n      {why}" if why and not holds else ""))

    for number, field in enumerate(fields, 1):
        outline, areas = shapely.from_wkt(field["field"]), np.array(field["areas"])
        for rule in field["drawn"]:
            zones = shapely.from_wkt(np.array(rule["zones"]))
            found = faults(outline, areas, rule, zones)
            name = f"field {number}, {len(zones)} zones, simplified by {rule['simplify']} m, rounded by {rule['round']} m, {rule['held']} held"
            tell(name, not found, "; ".join(found))
    # The checks themselves: a copy with one fault each.
    field, rule = fields[0], fields[0]["drawn"][1]
    outline, areas, zones = shapely.from_wkt(field["field"]), np.array(field["areas"]), shapely.from_wkt(np.array(rule["zones"]))
    largest = int(np.argmax(areas))
    spoilt = {"a zone moved by a centimetre": shapely.transform(zones[largest], lambda p: p + 0.01), "a zone lost": shapely.MultiPolygon()}
    spoilt["a zone that crosses itself"] = shapely.from_wkt("MULTIPOLYGON (((0 0, 1 1, 1 0, 0 1, 0 0)))")
    spoilt["a zone grown by a millimetre"] = zones[largest].buffer(0.001)
    for name, shape in spoilt.items():
        copy = zones.copy()
        copy[largest] = shape
        tell(f"noticed: {name}", bool(faults(outline, areas, rule, copy)))
    print(f"zones: {passed} passed, {failed} failed")
    sys.exit(1 if failed or not passed else 0)


if __name__ == "__main__":
    main()
