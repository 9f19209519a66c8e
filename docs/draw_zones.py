#!/usr/bin/env python3
"""Draws how borders can be drawn, far and near: draw_zones.py HAULM

HAULM is the program. It maps the demo field three times, into a scratch folder: borders as the cells have them, simplified, simplified and rounded. Needs matplotlib beside what
tests/interop/requirements.txt lists. Writes docs/zones_far.png and docs/zones_near.png."""

import subprocess
import sys
import tempfile
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import numpy as np  # noqa: E402
import shapely  # noqa: E402
from matplotlib import pyplot  # noqa: E402
from matplotlib.patches import PathPatch  # noqa: E402
from matplotlib.path import Path as Outline  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "interop"))
from outputs import Layer  # noqa: E402

INK = "#1a1a1a"
# Even in lightness and told apart with any kind of colour vision; pale is little, dark is much.
RAMP = matplotlib.colormaps["viridis_r"]
WAYS = [("as the cells have them", ""), ('simplify = "6 m"', 'simplify = "6 m"'), ('simplify = "6 m", round_corners = "4 m"', 'simplify = "6 m"\nround_corners = "4 m"')]
NEAR = 150.0  # side of the piece that is shown near by [m]


def zones(program, more):
    """Outlines and rates of the demo's zones, with sections of 6 m and these lines in [zones]."""
    with tempfile.TemporaryDirectory() as scratch:
        job = (ROOT / "demo" / "job.toml").read_text(encoding="utf-8")
        job = job.replace('working_width = "24 m"', 'working_width = "24 m"\nsections = 4').replace('cell_length   = "24 m"', 'cell_length   = "6 m"')
        job = job.replace('by           = "cells"', f'by           = "cells"\n{more}').replace('"field/', f'"{ROOT.as_posix()}/demo/field/')
        path = Path(scratch) / "job.toml"
        path.write_text(job, encoding="utf-8")
        subprocess.run([program, "map", path, "--quiet"], check=True)
        layer = Layer(Path(scratch) / "out" / "office" / "prescription.gpkg", "zones")
        return list(layer.geometry), [float(rate) for rate in layer["n_kg_ha"]]


def patch(shape, **style):
    rings = [ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)]
    return PathPatch(Outline.make_compound_path(*(Outline(np.asarray(ring.coords), closed=True) for ring in rings)), **style)


def draw(axes, shapes, rates, box, vertices):
    greatest = max(rates) or 1.0
    for shape, rate in zip(shapes, rates):
        axes.add_patch(patch(shape, facecolor=RAMP(rate / greatest), edgecolor="white", linewidth=1.2 if vertices else 0.5))
        if vertices:
            points = shapely.get_coordinates(shape)
            axes.plot(points[:, 0], points[:, 1], ".", color=INK, markersize=4)
    axes.set_xlim(box[0], box[2])
    axes.set_ylim(box[1], box[3])
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])


def bar(axes, box, metres):
    right, bottom = box[2] - 0.05 * (box[2] - box[0]), box[1] + 0.05 * (box[3] - box[1])
    axes.text(right - metres / 2, bottom + 0.02 * (box[3] - box[1]), f"{metres:.0f} m", ha="center", va="bottom", fontsize=8, color=INK, bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5})
    axes.plot([right - metres, right], [bottom, bottom], color="white", linewidth=6, solid_capstyle="butt")
    axes.plot([right - metres, right], [bottom, bottom], color=INK, linewidth=3, solid_capstyle="butt")


def most_changed(before, after, whole):
    """The square in which simplification took most vertices away."""
    west, south, east, north = whole.bounds
    corners = [(x, y) for x in np.arange(west, east - NEAR, 20.0) for y in np.arange(south, north - NEAR, 20.0)]

    def inside(shapes, x, y):
        points = shapely.get_coordinates(shapely.geometrycollections(shapes))
        return np.sum((points[:, 0] > x) & (points[:, 0] < x + NEAR) & (points[:, 1] > y) & (points[:, 1] < y + NEAR))

    x, y = max(corners, key=lambda corner: inside(before, *corner) - inside(after, *corner))
    return (x, y, x + NEAR, y + NEAR)


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    made = [(name, *zones(sys.argv[1], more)) for name, more in WAYS]
    whole = shapely.union_all(made[0][1])
    box = most_changed(made[0][1], made[1][1], whole)
    west, south, east, north = whole.buffer(15).bounds
    for picture, frame, vertices, metres, size in [("zones_far.png", (west, south, east, north), False, 100.0, (13.5, 4.6)), ("zones_near.png", box, True, 20.0, (13.5, 5.0))]:
        figure, parts = pyplot.subplots(1, 3, figsize=size, dpi=100)
        figure.subplots_adjust(left=0.01, right=0.99, top=0.92, bottom=0.01, wspace=0.03)
        for axes, (name, shapes, rates) in zip(parts, made):
            draw(axes, shapes, rates, frame, vertices)
            bar(axes, frame, metres)
            count = sum(len(shapely.get_coordinates(shape)) for shape in shapes)
            axes.set_title(f"{name}: {count} vertices", fontsize=9, color=INK)
            if not vertices:
                axes.add_patch(pyplot.Rectangle(box[:2], NEAR, NEAR, fill=False, edgecolor="#b2182b", linewidth=1.2))
        # No date and no version of the library in the file: the same map gives the same picture.
        figure.savefig(ROOT / "docs" / picture, metadata={"Software": None})


if __name__ == "__main__":
    main()
