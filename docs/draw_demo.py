#!/usr/bin/env python3
"""Draws the demo map for the README: draw_demo.py [OUTPUT_FOLDER [DEMO_FOLDER [PICTURE]]]

Run it after `haulm map demo/job.toml`, with matplotlib beside what tests/interop/requirements.txt lists."""

import math
import sys
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import numpy as np  # noqa: E402
import shapely  # noqa: E402
from matplotlib import pyplot  # noqa: E402
from matplotlib.lines import Line2D  # noqa: E402
from matplotlib.patches import Patch, PathPatch, Rectangle  # noqa: E402
from matplotlib.path import Path as Outline  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "interop"))
from outputs import Layer, Outputs  # noqa: E402

INK, WATER, OUT = "#1a1a1a", "#9ecae1", "#d9d9d9"
# Even in lightness and told apart with any kind of colour vision; pale is little, dark is much.
RAMP = matplotlib.colormaps["viridis_r"]
SCALE_BAR = 100.0  # [m]
MARGIN = 25.0  # [m]


def patch(shape, **style):
    """One patch for a polygon with its holes, or for several polygons."""
    rings = [ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)]
    return PathPatch(Outline.make_compound_path(*(Outline(np.asarray(ring.coords), closed=True) for ring in rings)), **style)


def colours(rates):
    """A colour for each rate, spaced as the rates are."""
    greatest = max(rates) or 1.0
    return {rate: RAMP(rate / greatest) for rate in sorted(set(rates))}


def draw_map(axes, out, colour):
    rates = [float(rate) for rate in out.zones["product_rate"]]
    for shape, rate in zip(out.zones.geometry, rates):
        axes.add_patch(patch(shape, facecolor=colour[rate], edgecolor="white", linewidth=0.6))
    axes.add_patch(patch(out.exclusion, facecolor=OUT, edgecolor=INK, hatch="////", linewidth=0.8))
    whole = out.field.union(out.exclusion)
    for part in shapely.get_parts(whole):
        for hole in part.interiors:
            axes.add_patch(patch(shapely.Polygon(hole), facecolor=WATER, edgecolor=INK, linewidth=1.0))
    axes.add_patch(patch(whole, facecolor="none", edgecolor=INK, linewidth=1.6))
    for strip in Layer(out.gpkg, "strips").geometry:
        axes.add_patch(patch(strip, facecolor="none", edgecolor="white", linewidth=3.2))
        axes.add_patch(patch(strip, facecolor="none", edgecolor="#b2182b", linewidth=1.6, linestyle=(0, (4, 2))))
    west, south, east, north = whole.bounds
    axes.set_xlim(west - MARGIN, east + MARGIN)
    axes.set_ylim(south - MARGIN, north + MARGIN)
    axes.set_aspect("equal")
    axes.set_axis_off()


def draw_scale_bar(axes):
    right, bottom = axes.get_xlim()[1] - MARGIN, axes.get_ylim()[0] + MARGIN
    for half in (0, 1):
        left = right - SCALE_BAR + half * SCALE_BAR / 2
        axes.add_patch(Rectangle((left, bottom), SCALE_BAR / 2, 6, facecolor=INK if half == 0 else "white", edgecolor=INK, linewidth=1))
    for metres in (0, SCALE_BAR / 2, SCALE_BAR):
        axes.text(right - SCALE_BAR + metres, bottom + 10, f"{metres:.0f}" + (" m" if metres == SCALE_BAR else ""), ha="center", va="bottom", fontsize=9, color=INK)


def draw_north(axes, convergence):
    """An arrow to true north, which lies `convergence` degrees anticlockwise of the plane's own."""
    x, y = axes.get_xlim()[0] + MARGIN + 10, axes.get_ylim()[1] - MARGIN - 10
    east, north = math.sin(math.radians(-convergence)), math.cos(math.radians(-convergence))
    axes.annotate("", (x, y), (x - 45 * east, y - 45 * north), arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.6, "mutation_scale": 18})
    axes.text(x, y + 4, "N", ha="center", va="bottom", fontsize=12, fontweight="bold", color=INK)


def draw_legend(axes, out, colour):
    hectares = {rate: float(np.sum(out.zones["area_m2"][out.zones["product_rate"] == rate])) / 1e4 for rate in colour}
    nitrogen = dict(zip(map(float, out.zones["product_rate"]), map(float, out.zones["n_kg_ha"])))
    product, unit = out.recorded("settings.product.name"), out.zones["product_unit"][0]
    keys = [
        Patch(facecolor=shade, edgecolor=INK, linewidth=0.5, label=f"{rate:6.2f} {unit}   {nitrogen[rate]:2.0f} kg N/ha   {hectares[rate]:5.2f} ha")
        for rate, shade in reversed(colour.items())
    ]
    rates = axes.legend(handles=keys, title=f"Rate of {product}", loc="upper left", bbox_to_anchor=(1.0, 0.90), frameon=False, alignment="left")
    pyplot.setp(rates.get_texts(), family="monospace", fontsize=9)
    axes.add_artist(rates)
    ground = [
        Line2D([], [], color=INK, linewidth=1.6, label="field boundary"),
        Line2D([], [], color="#b2182b", linewidth=1.6, linestyle=(0, (4, 2)), label="reference strip"),
        Patch(facecolor=WATER, edgecolor=INK, label="pond"),
        Patch(facecolor=OUT, edgecolor=INK, hatch="////", label="wet corner and buffer, excluded"),
    ]
    axes.legend(handles=ground, loc="upper left", bbox_to_anchor=(1.0, 0.42), frameon=False, fontsize=9)


def main():
    given = [Path(word) for word in sys.argv[1:4]]
    folder, demo, picture = given + [ROOT / "demo" / "out", ROOT / "demo", ROOT / "docs" / "demo.png"][len(given) :]
    out = Outputs(folder, demo)
    colour = colours([float(rate) for rate in out.zones["product_rate"]])
    figure, axes = pyplot.subplots(figsize=(9.6, 5.8), dpi=100)
    figure.subplots_adjust(left=0.01, right=0.66, top=0.93, bottom=0.02)
    draw_map(axes, out, colour)
    draw_scale_bar(axes)
    draw_north(axes, out.recorded("field.convergence_deg"))
    draw_legend(axes, out, colour)
    totals = f"{out.recorded('field.area_m2') / 1e4:.2f} ha, {out.recorded('totals.product'):.0f} {out.recorded('totals.product_unit')} of {out.recorded('settings.product.name')}"
    figure.suptitle(f"{out.recorded('field.name')} (invented field), {totals}", x=0.02, ha="left", fontsize=12, color=INK)
    # No date and no version of the library in the file: the same map gives the same picture.
    figure.savefig(picture, metadata={"Software": None})


if __name__ == "__main__":
    main()
