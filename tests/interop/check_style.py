"""Styles and descriptions: breaks, colours and words that GIS programs show."""

import re
import xml.etree.ElementTree as ElementTree

from outputs import need, table
from registry import check

SE, OGC = "{http://www.opengis.net/se}", "{http://www.opengis.net/ogc}"
LAYERS = ("zones", "cells", "strips", "field")


def of_qml(text):
    """(from, to, colour, label) of each class."""
    root = ElementTree.fromstring(text)
    colours = {}
    for symbol in root.iter("symbol"):
        channels = next(p.attrib["v"] for p in symbol.iter("prop") if p.attrib["k"] == "color").split(",")
        colours[symbol.attrib["name"]] = "#" + "".join(f"{int(channel):02x}" for channel in channels[:3])
    classes = []
    for rule in root.iter("rule"):
        found = re.fullmatch(r'"\w+" >= (\S+) AND "\w+" <=? (\S+)', rule.attrib.get("filter", ""))
        if found:
            classes.append((float(found[1]), float(found[2]), colours[rule.attrib["symbol"]], rule.attrib["label"]))
    return classes


def of_sld(text):
    classes = []
    for rule in ElementTree.fromstring(text.encode()).iter(SE + "Rule"):
        if rule.find(f"{OGC}Filter/{OGC}And") is None:
            continue
        low, high = (float(literal.text) for literal in rule.iter(OGC + "Literal"))
        colour = next(p.text for p in rule.iter(SE + "SvgParameter") if p.attrib["name"] == "fill")
        classes.append((low, high, colour, rule.find(f"{SE}Description/{SE}Title").text))
    return classes


def styles(out):
    with table(out.gpkg) as base:
        return {layer: (qml, sld, default) for layer, qml, sld, default in base.execute("select f_table_name, styleQML, styleSLD, useAsDefault from layer_styles")}


@check("styles: every layer of the GeoPackage has one that is loaded by itself")
def default_styles(out):
    found = styles(out)
    need(set(found) == set(LAYERS), f"styles for {sorted(found)}")
    need(all(default == 1 for _, _, default in found.values()), "a style that is not loaded by itself")


@check("styles: QML, SLD and sidecars have the same breaks, colours and labels, with the unit in each")
def same_styles(out):
    found = styles(out)
    for layer in ("zones", "cells"):
        qml, sld, _ = found[layer]
        need(len(of_qml(qml)) >= 3 and of_qml(qml) == of_sld(sld), f"{layer}: {of_qml(qml)} in QML, {of_sld(sld)} in SLD")
    beside = of_qml((out.office / "prescription.qml").read_text(encoding="utf-8"))
    need(beside == of_qml(found["zones"][0]), f"prescription.qml has {beside}, the GeoPackage {of_qml(found['zones'][0])}")
    need(all(label.endswith(" L/ha") for *_, label in beside), f"labels {[label for *_, label in beside]}")
    # The raster's classes are the same ground in nitrogen: colour by colour.
    items = [item.attrib for item in ElementTree.fromstring((out.office / "nitrogen.qml").read_text(encoding="utf-8")).iter("item")]
    need([item["color"] for item in items] == [colour for _, _, colour, _ in beside], f"nitrogen.qml has {items}")
    need(all(item["label"].endswith(" kg N/ha") for item in items), "labels of the raster without their unit")


@check("styles: every rate of zones and shapefile falls into exactly one class, which names it")
def rates_have_classes(out):
    machine = of_qml(out.shapefile_path.with_suffix(".qml").read_text(encoding="utf-8"))
    for classes, rates in ((of_qml(styles(out)["zones"][0]), out.zones["product_rate"]), (machine, [record[-1] for record in out.shapes[2]])):
        last = len(classes) - 1
        for rate in map(float, rates):
            hits = [c for i, c in enumerate(classes) if c[0] <= rate < c[1] or (i == last and rate == c[1])]
            need(len(hits) == 1, f"{rate} falls into {len(hits)} of {classes}")
            numbers = [float(number) for number in re.findall(r"\d+(?:\.\d+)?", hits[0][3])]
            need(numbers[0] - 0.006 <= rate <= numbers[-1] + 0.006, f"{rate} stands in the class {hits[0][3]!r}")


@check("geopackage: every column is described, numbers with their unit")
def described(out):
    with table(out.gpkg) as base:
        told = {(layer, column): text for layer, column, text in base.execute("select table_name, column_name, description from gpkg_data_columns")}
        for layer in LAYERS:
            for _, column, kind, *_ in base.execute(f'pragma table_info("{layer}")'):
                need(told.get((layer, column)), f"nothing says what {column} of {layer} is")
                if kind in ("REAL", "DOUBLE") and column != "product_rate":
                    need("[" in told[layer, column], f"no unit for {column} of {layer}: {told[layer, column]}")
        extensions = base.execute("select count(*) from gpkg_extensions where extension_name = 'gpkg_schema'").fetchone()[0]
        need(extensions == 2, f"{extensions} entries of the schema extension; 2 are due")
