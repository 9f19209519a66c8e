"""The report: PDF by poppler, HTML by html5lib, GPX by an XML reader; every number against the record."""

import re
import subprocess
import tempfile
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import html5lib
import shapely

from outputs import need
from registry import check

# A4, in points.
A4 = (595.28, 841.89)


def poppler(tool, *arguments):
    done = subprocess.run([tool, *map(str, arguments)], capture_output=True)
    # Poppler 22 takes a stated "no suspects" for a fault of type; the standard has it so.
    said = [line for line in done.stderr.decode(errors="replace").splitlines() if "Suspects object" not in line]
    need(done.returncode == 0 and not said, f"{tool}: {said or done.returncode}")
    return done.stdout


def report_pdf(out):
    return out.office / "report.pdf"


def words(text):
    return " ".join(text.split())


def due(out):
    """Numbers of the record as the report writes them."""
    recorded = out.recorded
    yield recorded("map_id")
    for key in ("ratio", "ratio_low", "ratio_high"):
        yield f"{recorded('reference.' + key):.3f}"
    yield f"{recorded('field.area_m2') / 10_000:.2f} ha"
    yield f"{recorded('totals.n_kg'):.1f} kg N"
    yield f"{recorded('totals.product'):.1f} L"
    # Over flat rates the report promises what may be expected, not the plain difference.
    for key in ("gain_over_none", "expected.gain_over_flat", "expected.gain_over_best_flat", "expected.gain_over_usual"):
        yield f"{recorded('money.' + key):+.0f} EUR"
    for finding in recorded("findings"):
        yield finding["code"]


def all_there(text, out):
    missing = [what for what in due(out) if what not in text]
    need(not missing, f"not in the report: {missing}")


@check("report: the PDF's text holds the record's numbers and codes")
def pdf_text(out):
    all_there(words(poppler("pdftotext", "-layout", report_pdf(out), "-").decode()), out)


@check("report: the PDF is tagged, small, on A4, titled and in a language")
def pdf_facts(out):
    facts = dict(line.split(":", 1) for line in poppler("pdfinfo", report_pdf(out)).decode().splitlines() if ":" in line)
    need(facts["Tagged"].strip() == "yes", f"tagged: {facts['Tagged'].strip()}")
    need("Long Ley" in facts["Title"], f"title {facts['Title'].strip()!r}")
    need(int(facts["File size"].split()[0]) <= 2_000_000, f"{facts['File size'].strip()}; at most 2 MB")
    size = [float(part) for part in re.findall(r"[\d.]+", facts["Page size"])[:2]]
    need(all(abs(a - b) < 0.5 for a, b in zip(size, A4)), f"page size {size}")
    tree = poppler("pdfinfo", "-struct-text", report_pdf(out)).decode()
    for tag in ("H1", "H2", "H3", "Table", "TH", "TD", "Figure", "L (block)", "LI"):
        need(re.search(rf"^\s*{re.escape(tag)}\b|^\s*{re.escape(tag)}", tree, flags=re.MULTILINE), f"no {tag} in the structure")


@check("report: every font of the PDF is embedded")
def pdf_fonts(out):
    lines = poppler("pdffonts", report_pdf(out)).decode().splitlines()[2:]
    need(lines, "no font at all")
    for line in lines:
        # name, type (of words), encoding, emb, sub, uni, object, generation
        need(line.split()[-5] == "yes", f"not embedded: {line}")


def grey(path):
    """Columns, rows and pixels of a PGM."""
    data = path.read_bytes()
    kind, columns, rows, most = re.match(rb"(P5)\s+(\d+)\s+(\d+)\s+(\d+)\s", data).groups()
    need(kind == b"P5" and most == b"255", f"{path.name} is no plain PGM")
    columns, rows = int(columns), int(rows)
    return columns, rows, data[-columns * rows :]


@check("report: poppler paints every page of the PDF, and each of the five is half full at least")
def pdf_pages(out):
    with tempfile.TemporaryDirectory() as folder:
        poppler("pdftoppm", "-r", "40", "-gray", report_pdf(out), Path(folder) / "page")
        pages = sorted(Path(folder).glob("page*.pgm"))
        need(len(pages) == 5, f"{len(pages)} pages; the report has five")
        for page in pages:
            columns, rows, pixels = grey(page)
            ink = sum(value < 128 for value in pixels)
            need(ink > 300, f"{page.name} has {ink} dark pixels")
            # The foot stands in the last 14 mm; the last line above it says how far the page is filled.
            body = int(rows * (1 - 24 / 297))
            inked = [row for row in range(body) if min(pixels[row * columns : (row + 1) * columns]) < 128]
            filled = inked[-1] / body
            need(filled >= 0.5, f"{page.name} is filled to {filled:.0%}")


@check("report: page one of the PDF says all that a map must say")
def pdf_page_one(out):
    text = words(poppler("pdftotext", "-l", "1", "-layout", report_pdf(out), "-").decode())
    # Title, field, date of the image, unit, scale bar, north, reference system with its code, source, version, what to look at, label and law, map id.
    for what in ("Nitrogen map", "Long Ley", "2026-04-14", "L/ha", "100 m", "true north", "driving direction", "° N", "° E", "EPSG:32633", "mosaic.tif", "haulm ", "Look at this before you drive", "label", out.recorded("map_id")):
        need(what in text, f"page one does not say {what!r}")
    need("The decision" in text and "The evidence" not in text, "page one and page two are not apart")


def parsed(out, path):
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return parser.parse((out.folder / path).read_text(encoding="utf-8"))


@check("report: the HTML files have no fault of syntax and hold the record's numbers")
def html_text(out):
    tree = parsed(out, "office/report.html")
    all_there(words("".join(tree.find("body").itertext())), out)
    card = words("".join(parsed(out, "machine/CARD.html").find("body").itertext()))
    for what in (out.recorded("map_id"), "UAN 28", "L_HA", "Position lost"):
        need(what in card, f"the card does not say {what!r}")


@check("report: the HTML files fetch nothing and run nothing")
def html_alone(out):
    for path in ("office/report.html", "machine/CARD.html"):
        tree = parsed(out, path)
        for element in tree.iter():
            tag = element.tag if isinstance(element.tag, str) else ""
            need(tag not in ("script", "link", "iframe", "object", "embed", "base", "form"), f"{path} holds <{tag}>")
            for name, value in element.attrib.items():
                name = str(name).lower()
                need(not name.startswith("on"), f"{path}: <{tag} {name}>")
                if name.endswith(("href", "src")):
                    need(value.startswith(("#", "geo:", "data:image/png;base64,")), f"{path}: <{tag} {name}={value[:60]!r}>")


@check("walk: the GPX has places inside the field, each with a name and what to look for")
def walk(out):
    space = "{http://www.topografix.com/GPX/1/1}"
    root = ElementTree.parse(out.office / "scouting.gpx").getroot()
    need(root.tag == space + "gpx" and root.get("version") == "1.1", f"{root.tag} {root.get('version')}")
    points = root.findall(space + "wpt")
    need(len(points) >= 8, f"{len(points)} places")
    grown = shapely.buffer(out.to_degrees(out.field), 2e-4)
    for point in points:
        place = shapely.Point(float(point.get("lon")), float(point.get("lat")))
        need(grown.covers(place), f"{place} lies outside the field")
        need(point.findtext(space + "name") and point.findtext(space + "desc"), f"{place} has no name or no words")
