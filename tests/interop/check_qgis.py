#!/usr/bin/env python3
"""Opens a demo run's maps in QGIS itself, without a screen: check_qgis.py OUTPUT_FOLDER [PICTURES_FOLDER]

Run by hand, since the program is too large an install for every change: `apt-get install --no-install-recommends qgis python3-qgis`, then with Debian's own
`/usr/bin/python3`. Each map must be drawn by the style that haulm wrote for it, with no click: classes, colours and labels as in the `.qml` text, a symbol for every
feature that it means, the same from the SLD. Pictures are for looking at."""

import os
import re
import sqlite3
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np  # noqa: E402
from qgis.core import (  # noqa: E402
    Qgis,
    QgsApplication,
    QgsLayerTree,
    QgsLayerTreeModel,
    QgsLegendRenderer,
    QgsLegendSettings,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsRasterLayer,
    QgsRenderContext,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize, QSizeF  # noqa: E402
from qgis.PyQt.QtGui import QColor, QImage, QPainter  # noqa: E402

# What the style files hold, read as XML by the script that compares QML with SLD.
RULE = re.compile(r'"\w+" >= (\S+) AND "\w+" <=? (\S+)')
LAYERS = ("zones", "cells", "strips", "field")


class Wrong(Exception):
    """A check that did not hold."""


def need(holds, message):
    if not holds:
        raise Wrong(message)


def written(qml):
    """(label, filter, colour) of each rule of a `.qml` text, as XML alone."""
    root = ElementTree.fromstring(qml)
    colours = {}
    for symbol in root.iter("symbol"):
        channels = next(p.attrib["v"] for p in symbol.iter("prop") if p.attrib["k"] == "color").split(",")
        colours[symbol.attrib["name"]] = "#" + "".join(f"{int(channel):02x}" for channel in channels[:3])
    return [(rule.attrib["label"], rule.attrib.get("filter", ""), colours[rule.attrib["symbol"]]) for rule in root.iter("rule") if "symbol" in rule.attrib]


def drawn(layer):
    """The same of a layer as QGIS holds it."""
    need(layer.isValid(), f"{layer.source()} is not valid")
    renderer = layer.renderer()
    need(renderer.type() == "RuleRenderer", f"{layer.name()} is drawn by {renderer.type()}, a style of the program's own")
    leaves = [rule for rule in renderer.rootRule().descendants() if rule.symbol() is not None]
    return [(rule.label(), rule.filterExpression(), rule.symbol().color().name()) for rule in leaves]


def symbols(layer):
    """How many features have how many symbols; every class must be in use."""
    renderer, context = layer.renderer(), QgsRenderContext()
    renderer.startRender(context, layer.fields())
    counts, used = {}, set()
    for feature in layer.getFeatures():
        context.expressionContext().setFeature(feature)
        keys = renderer.legendKeysForFeature(feature, context)
        used |= set(keys)
        counts[len(keys)] = counts.get(len(keys), 0) + 1
    renderer.stopRender(context)
    return counts, used


def picture(layers, folder, name, size=900):
    """Map and legend, one below the other."""
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setDestinationCrs(layers[0].crs())
    extent = layers[0].extent()
    extent.scale(1.05)
    settings.setExtent(extent)
    settings.setOutputSize(QSize(size, size))
    settings.setBackgroundColor(QColor("white"))
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage()
    tree = QgsLayerTree()
    for layer in layers:
        tree.addLayer(layer)
    model, look = QgsLayerTreeModel(tree), QgsLegendSettings()
    legend = QgsLegendRenderer(model, look)
    wanted = legend.minimumSize()
    page = QImage(size + int(wanted.width() * 4) + 40, max(size, int(wanted.height() * 4) + 20), QImage.Format_ARGB32)
    page.fill(QColor("white"))
    painter = QPainter(page)
    painter.drawImage(0, 0, image)
    painter.translate(size + 10, 10)
    painter.scale(4, 4)
    context = QgsRenderContext.fromQPainter(painter)
    context.setScaleFactor(1)
    legend.setLegendSize(QSizeF(wanted))
    legend.drawLegend(context)
    painter.end()
    if folder:
        page.save(str(folder / f"{name}.png"))
    colours = {image.pixelColor(x, y).name() for x in range(0, size, 3) for y in range(0, size, 3)}
    return colours, job.errors()


def database(out):
    with sqlite3.connect(out / "office" / "prescription.gpkg") as base:
        return {layer: (qml, sld) for layer, qml, sld in base.execute("select f_table_name, styleQML, styleSLD from layer_styles")}


def check_geopackage(out, folder):
    stored = database(out)
    layers = {name: QgsVectorLayer(f"{out}/office/prescription.gpkg|layername={name}", name, "ogr") for name in LAYERS}
    for name, layer in layers.items():
        need(drawn(layer) == written(stored[name][0]), f"{name}: drawn {drawn(layer)}, written {written(stored[name][0])}")
        counts, used = symbols(layer)
        need(0 not in counts, f"{name}: {counts.get(0)} features have no symbol")
    for name in ("zones", "cells"):
        counts, used = symbols(layers[name])
        classes = [rule for rule in written(stored[name][0]) if RULE.fullmatch(rule[1])]
        need(len(used) >= len(classes), f"{name}: {len(used)} of {len(classes)} classes in use")
        colours, errors = picture([layers[name]], folder, f"geopackage-{name}")
        need(not errors, f"{name}: {errors}")
        missing = [colour for _, _, colour in classes if colour not in colours]
        need(len(missing) * 4 <= len(classes), f"{name}: the picture lacks {missing}")
    picture([layers["field"], layers["strips"], layers["zones"]], folder, "geopackage-all")


def check_sld(out, folder):
    stored = database(out)
    for name in ("zones", "cells"):
        layer = QgsVectorLayer(f"{out}/office/prescription.gpkg|layername={name}", name, "ogr")
        with tempfile.NamedTemporaryFile("w", suffix=".sld", encoding="utf-8") as file:
            file.write(stored[name][1])
            file.flush()
            said, good = layer.loadSldStyle(file.name)
            need(good, f"{name}: {said}")
        ours, theirs = [rule for rule in written(stored[name][0])], drawn(layer)
        need([r[0] for r in ours] == [r[0] for r in theirs], f"{name}: labels {theirs}")
        need([r[2] for r in ours if RULE.fullmatch(r[1])] == [r[2] for r in theirs][: sum(1 for r in ours if RULE.fullmatch(r[1]))], f"{name}: colours {theirs}")
        counts, _ = symbols(layer)
        need(0 not in counts, f"{name}: {counts.get(0)} features have no symbol by SLD")
        for rule in layer.renderer().rootRule().descendants():
            brush = rule.symbol().symbolLayer(0).properties().get("style") if rule.symbol() else "no"
            need(brush != "no", f"{name}: {rule.label()} is drawn as nothing")
        picture([layer], folder, f"sld-{name}")


def beside(path, folder, name):
    """A vector file with a `.qml` beside it."""
    layer = QgsVectorLayer(str(path), name, "ogr")
    need(drawn(layer) == written(path.with_suffix(".qml").read_text(encoding="utf-8")), f"{path.name}: drawn {drawn(layer)}")
    counts, _ = symbols(layer)
    need(0 not in counts, f"{path.name}: {counts.get(0)} features have no symbol")
    _, errors = picture([layer], folder, name)
    need(not errors, f"{path.name}: {errors}")


def check_geojson(out, folder):
    beside(out / "office" / "prescription.geojson", folder, "geojson")


def check_shapefile(out, folder):
    beside(next((out / "machine").glob("*.shp")), folder, "shapefile")


def check_flatgeobuf(out, folder):
    beside(converted(out, "flatgeobuf", "fgb"), folder, "flatgeobuf")


def check_converted_geopackage(out, folder):
    path = converted(out, "geopackage", "gpkg")
    with sqlite3.connect(path) as base:
        ((name, qml),) = base.execute("select f_table_name, styleQML from layer_styles").fetchall()
    layer = QgsVectorLayer(f"{path}|layername={name}", name, "ogr")
    need(drawn(layer) == written(qml), f"drawn {drawn(layer)}")
    picture([layer], folder, "converted-geopackage")


def raster(path, folder, name):
    layer = QgsRasterLayer(str(path), name)
    need(layer.isValid(), f"{path} is not valid")
    renderer = layer.renderer()
    need(renderer.type() == "singlebandpseudocolor", f"drawn by {renderer.type()}, a style of the program's own")
    items = [(item.label, item.color.name()) for item in renderer.shader().rasterShaderFunction().colorRampItemList()]
    root = ElementTree.fromstring(path.with_suffix(".qml").read_text(encoding="utf-8"))
    due = [(item.attrib["label"], item.attrib["color"]) for item in root.iter("item")]
    need(items == due and len(due) >= 3, f"classes {items}, written {due}")
    colours, errors = picture([layer], folder, name)
    need(not errors, f"{errors}")
    missing = [colour for _, colour in due if colour not in colours]
    need(len(missing) * 4 <= len(due), f"the picture lacks {missing}")
    need("nitrogen" in layer.bandName(1) or "product rate" in layer.bandName(1), f"the band is called {layer.bandName(1)}")


def check_raster(out, folder):
    raster(out / "office" / "nitrogen.tif", folder, "geotiff")


def check_converted_raster(out, folder):
    raster(converted(out, "geotiff", "tif"), folder, "converted-geotiff")


def check_kml(out, folder):
    layer = QgsVectorLayer(str(converted(out, "kml", "kml")), "kml", "ogr")
    need(layer.isValid() and layer.featureCount() > 3, "the KML file shows no zones")
    colours, errors = picture([layer], folder, "kml")
    need(not errors and layer.renderer().type() == "embeddedSymbol", f"drawn by {layer.renderer().type()}, not by the file's own colours")
    # Three quarters of a colour over white paper, give or take a step of rounding.
    seen = np.array([[int(colour[k : k + 2], 16) for k in (1, 3, 5)] for colour in colours])
    due = [colour for _, rule, colour in written(database(out)["zones"][0]) if RULE.fullmatch(rule)]
    for colour in due:
        light = np.array([int(colour[k : k + 2], 16) * 0.749 + 255 * 0.251 for k in (1, 3, 5)])
        need(np.abs(seen - light).max(axis=1).min() <= 2, f"the picture lacks {colour}")


def converted(out, to, ending):
    """The zones in another format, by the haulm named in the variable HAULM."""
    path = out / "qgis" / f"{to}.{ending}"
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        haulm = os.environ.get("HAULM", "target/debug/haulm")
        source = str(out / "office" / "prescription.geojson")
        done = subprocess.run([haulm, "convert", source, "--to", to, "--output", str(path), "--quiet"], capture_output=True, text=True)
        need(done.returncode == 0, done.stderr + done.stdout)
    return path


def main():
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    out, folder = Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None
    if folder:
        folder.mkdir(parents=True, exist_ok=True)
    program = QgsApplication([], True)
    program.initQgis()
    print(f"QGIS {Qgis.QGIS_VERSION}")
    checks = [check for name, check in globals().items() if name.startswith("check_")]
    failed = 0
    for check in checks:
        try:
            check(out, folder)
            why = None
        except Wrong as wrong:
            why = str(wrong)
        except Exception as error:  # What the program refuses is a failed check, whatever it throws.
            why = repr(error)
        failed += why is not None
        print(f"{'ok  ' if why is None else 'FAIL'}  {check.__name__[6:].replace('_', ' ')}" + (f"\n      {why[:1500]}" if why else ""), flush=True)
    print(f"qgis: {len(checks) - failed} passed, {failed} failed")
    sys.stdout.flush()
    # Its own clean-up is known to crash when layers outlive it.
    os._exit(1 if failed else 0)


if __name__ == "__main__":
    main()
