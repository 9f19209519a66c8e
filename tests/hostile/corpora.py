#!/usr/bin/env python3
"""Public collections of files, some built to break readers, each given to haulm in place of a boundary, a job or a map.

corpora.py HAULM FOLDER: the folder holds, as checked out, any of JSONTestSuite (github.com/nst/JSONTestSuite, `test_parsing`, commit 1ef36fa), geojsonhint
(github.com/mapbox/geojsonhint, `test/data`, 7d72009), toml-test (github.com/toml-lang/toml-test, `tests`, d168c2a) and, below `task`, sets of task data: those
that libraries for them test themselves with (github.com/dev4Agriculture/isoxml-js 2c0994d and isoxml-dotnet f7a832d, Josephinum-Research/isoxml-py 8ae036d,
Dudlileif/isoxml_dart 031011f, ADAPT/ISOv4Plugin 2365cad, Incentergy-GmbH/geo-tools-iso-11783-part-10 4d0d856 and jaxb-iso-11783-part-10 f69b19c,
axelande/pyAgriculture11783 1f2c68d). None of the first three is a field or a job, so every one has to be refused clearly: exit 1, a code, the file's name, no fault. A
set of task data is read, and then has the cells and the total that a reader of our own finds in the same bytes, or is refused by the name of a file or task.
Ends with "N passed, N failed".
"""

import concurrent.futures
import json
import math
import os
import pathlib
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as tree
import zipfile

import field as made_field

HAULM = os.path.abspath(sys.argv[1])


def tried(good, scratch, number, path, kind):
    place = scratch / str(number)
    shutil.copytree(good, place)
    name = "job.toml" if kind == "toml" else "boundary.geojson"
    shutil.copy(path, place / name)
    try:
        done = subprocess.run([HAULM, "check", "job.toml", "--quiet"], capture_output=True, cwd=place, timeout=120)
    except subprocess.TimeoutExpired:
        return "more than 120 s"
    finally:
        shutil.rmtree(place, ignore_errors=True)
    text = done.stderr.decode(errors="replace")
    if done.returncode != 1:
        return f"exit {done.returncode}: {text[-300:]}"
    named = name in text.replace("\n", " ")
    return None if "error[" in text and named else f"no code or no name of the file: {text[:300]}"


# Data dictionary of ISO 11783-11, from memory: what one whole number of an element means, in the unit that haulm states.
STEPS = {"0001": ("L/ha", 1e-4), "0006": ("kg/ha", 1e-2)}


def cell_m2(south, height, width):
    """Area of a cell of latitude and longitude on the ellipsoid WGS 84, by the integral of the area below a latitude."""
    a, e2 = 6378137.0, 0.0066943799901413165
    e = math.sqrt(e2)

    def below(degrees):
        s = math.sin(math.radians(degrees))
        return a * a * (1 - e2) / 2 * (s / (1 - e2 * s * s) + math.atanh(e * s) / e)

    return math.radians(width) * (below(south + height) - below(south))


def by_own_reader(folder):
    """Cells, unit and total of each grid of a set, by its task, read with Python's own means; a task is left out where it has several grids or elements that this reader does not know."""
    main = next(path for path in folder.iterdir() if path.name.lower() == "taskdata.xml")
    root = tree.parse(main).getroot()
    found = {}
    for task in root.iter("TSK"):
        grids = task.findall("GRD")
        own = of_grid(folder, task, grids[0]) if len(grids) == 1 else None
        if own:
            found[task.get("A")] = own
    return found


def of_grid(folder, task, grid):
    rows, cols, kind = int(grid.get("F")), int(grid.get("E")), grid.get("I")
    zones = {int(zone.get("A")): zone.findall("PDV") for zone in task.findall("TZN")}
    binary = next((path for path in folder.iterdir() if path.name.lower() == grid.get("G").lower() + ".bin"), None)
    if binary is None:
        return None
    data = binary.read_bytes()
    if kind == "2":
        template = zones.get(int(grid.get("J", -1)), [])
        if len(template) != 1 or template[0].get("A") not in STEPS or len(data) != 4 * rows * cols:
            return None
        numbers = struct.unpack(f"<{rows * cols}i", data)
        step = STEPS[template[0].get("A")]
    else:
        if any(len(values) != 1 or values[0].get("A") not in STEPS for values in zones.values()) or len(data) != rows * cols:
            return None
        if any(code not in zones for code in data):
            return None
        numbers = [int(zones[code][0].get("B")) for code in data]
        step = STEPS[next(iter(zones.values()))[0].get("A")]
    south, height, width = float(grid.get("A")), float(grid.get("C")), float(grid.get("D"))
    total = sum(number * step[1] * cell_m2(south + (k // cols) * height, height, width) / 1e4 for k, number in enumerate(numbers))
    return rows * cols, step[0], total


def tried_set(good, scratch, number, path, kind):
    place = scratch / f"set{number}"
    place.mkdir()
    try:
        unpacked = named = place / "TASKDATA"
        if path.suffix == ".zip":
            named = place / "a.zip"
            shutil.copy(path, named)
            with zipfile.ZipFile(named) as archive:
                archive.extractall(place / "unpacked")
            main = [found for found in sorted((place / "unpacked").rglob("*")) if found.name.lower() == "taskdata.xml" and "__MACOSX" not in found.parts]
            unpacked = main[0].parent if main else None
        else:
            shutil.copytree(path.parent, named)
        done = subprocess.run([HAULM, "check", named.name, "--quiet", "--json"], capture_output=True, cwd=place, timeout=120)
        text = done.stdout.decode(errors="replace") + done.stderr.decode(errors="replace")
        if done.returncode not in (0, 1):
            return f"exit {done.returncode}: {text[-300:]}"
        whole = json.loads(done.stdout)
        if whole.get("status") == "refused" or not whole.get("result"):
            names = r"\.zip|\.xml|TASKDATA|GRD|TSK"
            return None if re.search(names, text, re.I) else f"refused without a name: {text[:300]}"
        result = whole["result"]
        own = by_own_reader(unpacked) if unpacked else {}
        outcome = None
        for task in result.get("tasks") or [result]:
            found = task["map"]
            if found["task"] not in own:
                continue
            cells, unit, total = own[found["task"]]
            # A cell that a boundary cuts counts by its part: then the grid holds at least what the field gets; and more than that where it goes on beyond it, which is told.
            main = next(path for path in unpacked.iterdir() if path.name.lower() == "taskdata.xml")
            beyond = any(fault["code"] in ("field.outside", "hole.rate") for fault in task["faults"])
            cut = (beyond or found["total"] > 0.5 * total) and "<PLN" in main.read_text(errors="replace")
            near = abs(found["total"] - total) <= 1e-3 * max(total, 1e-9) or cut and found["total"] < total
            if found["unit"] != unit or found["cells"] != cells or not near:
                return f"{found['task']}: {found['cells']} cells, {found['total']} {found['unit']}; by our own reader {cells}, {total} {unit}"
            outcome = COMPARED
        return outcome
    except subprocess.TimeoutExpired:
        return "more than 120 s"
    finally:
        shutil.rmtree(place, ignore_errors=True)


# Not only without a fault, but with numbers that were compared.
COMPARED = ""


def main():
    folder = pathlib.Path(sys.argv[2])
    found = []
    for name, part, endings, kind in (
        ("JSONTestSuite", "test_parsing", (".json",), "json"),
        ("geojsonhint", "test/data", (".geojson", ".json"), "json"),
        ("toml-test", "tests", (".toml",), "toml"),
    ):
        files = [path for path in sorted((folder / name / part).rglob("*")) if path.suffix in endings and path.is_file()]
        # What is expected of an error in geojsonhint lies beside the file that has it.
        files = [path for path in files if not path.name.endswith(".result-object")]
        print(f"{name}: {len(files)} files")
        found += [(name, path, kind) for path in files]
    sets = sorted(path for path in (folder / "task").rglob("*") if path.name.lower() == "taskdata.xml" or path.suffix == ".zip")
    print(f"task data: {len(sets)} sets")
    found += [("task", path, "task") for path in sets]
    passed = failed = compared = 0
    with tempfile.TemporaryDirectory(prefix="haulm-corpora-") as scratch:
        scratch = pathlib.Path(scratch)
        good = made_field.make(scratch / "good")
        with concurrent.futures.ThreadPoolExecutor(max_workers=2) as pool:
            jobs = [(name, path, pool.submit(tried_set if kind == "task" else tried, good, scratch, k, path, kind)) for k, (name, path, kind) in enumerate(found)]
            for name, path, job in jobs:
                wrong = job.result()
                compared += wrong == COMPARED
                passed, failed = passed + (not wrong), failed + bool(wrong)
                if wrong:
                    print(f"failed: {name} {path.relative_to(folder)}: {wrong}", flush=True)
    print(f"{compared} sets of task data have the cells and the total of our own reader")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not found else 0


if __name__ == "__main__":
    sys.exit(main())
