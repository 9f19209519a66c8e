#!/usr/bin/env python3
"""Forty maps on one stick, read by readers that are not haulm's: check_stick.py OUTPUT_FOLDER HAULM

The demo's output folder is drawn forty times, each with its own field, map id, customer and rates; `haulm stick` puts them on one stick. Both readers of task data
and the schema then read the stick, and what they understood is compared with the forty folders; a spoilt stick has to be noticed by them and by `haulm check --against`.
"""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree
import zipfile
from pathlib import Path

import isoxml_writer
import numpy as np
import shapefile
from isoxml.converter.np_grid import to_numpy_array
from isoxml.util.isoxml_io import isoxml_from_path

from outputs import HERE, Wrong, need

COUNT = 40
NAMES = ["Große Wiese", "Grosse Wiese", "Überfahrt", "Žďár 12", "Ågård", "поле", "Miller North 40", "Miller North 80", "Long Piece", "Long Piece"]
shapefile.VERBOSE = False


def draw(model, to, number):
    """The model's machine files and record as those of another field; returns its name and map id."""
    field = NAMES[number] if number < len(NAMES) else f"Ambermere Field {number}"
    map_id, client = f"b{number:05}", "Grower" if number % 2 else "Hill Farm"
    record = json.loads((model / "office" / "record.json").read_text(encoding="utf-8"))
    own, name = record["map_id"], record["field"]["name"]
    record["map_id"], record["field"]["name"] = map_id, field
    outputs = []
    for path in sorted((model / "machine").rglob("*")):
        if path.is_dir():
            continue
        data = path.read_bytes()
        if path.name == "TASKDATA.XML":
            text = data.decode().replace(f"{name} {own}", f"{field} {map_id}").replace(f'"{name}"', f'"{field}"')
            data = re.sub(r'(<CTR A="CTR1" B=")[^"]*', rf"\g<1>{client}", text).encode()
        elif path.suffix == ".bin":
            values = np.frombuffer(data, dtype="<i4")
            data = np.where(values > 0, values + 100 * number, values).astype("<i4").tobytes()
        place = to / path.relative_to(model)
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(data)
        outputs.append({"path": place.relative_to(to).as_posix(), "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()})
    record["outputs"] = outputs
    (to / "office").mkdir()
    (to / "office" / "record.json").write_text(json.dumps(record), encoding="utf-8")
    return field, map_id


def grid_of(folder):
    """Values of the office's own grid, rows from the south."""
    task = ElementTree.parse(folder / "machine" / "TASKDATA" / "TASKDATA.XML").getroot().find("TSK")
    grid = task.find("GRD").attrib
    data = (folder / "machine" / "TASKDATA" / (grid["G"] + ".bin")).read_bytes()
    return grid, np.frombuffer(data, dtype="<i4").reshape(int(grid["F"]), int(grid["E"]))


class Stick:
    def __init__(self, folder, maps):
        self.folder, self.maps = folder, maps
        self.tasks = folder / "TASKDATA"


def by_schema(stick):
    schema = Path(isoxml_writer.__file__).parent / "ISOXML_schema" / "ISO11783_TaskFile_V4-3.xsd"
    done = subprocess.run(["xmllint", "--noout", "--nonet", "--schema", str(schema), str(stick.tasks / "TASKDATA.XML")], capture_output=True, text=True)
    need(done.returncode == 0, done.stderr[-600:])


def by_python(stick):
    data, files = isoxml_from_path(stick.tasks)
    need(len(data.tasks) == COUNT, f"{len(data.tasks)} tasks; {COUNT} are due")
    tasks = {task.designator.rsplit(" ", 1)[1]: task for task in data.tasks}
    fields = {field.id: field for field in data.partfields}
    customers = {customer.id: customer for customer in data.customers}
    need(sorted(c.designator for c in customers.values()) == ["Grower", "Hill Farm"], f"customers {[c.designator for c in customers.values()]}")
    for (field, map_id), folder in stick.maps.items():
        need(map_id in tasks, f"no task of {field} {map_id}")
        task = tasks[map_id]
        need(fields[task.partfield_id_ref].designator == field, f"{map_id} is of {fields[task.partfield_id_ref].designator!r}")
        grid, due = grid_of(folder)
        found = task.grids[0]
        values = to_numpy_array(files[found.filename], found, scale=False) if found.filename in files else None
        need(values is not None, f"the reader has no file {found.filename}")
        need(np.array_equal(np.squeeze(np.asarray(values)), due), f"{field} {map_id}: the grid's values differ")
        need(float(found.minimum_north_position) == float(grid["A"]) and float(found.minimum_east_position) == float(grid["B"]), f"{map_id}: position")


def by_javascript(stick):
    with tempfile.TemporaryDirectory() as scratch:
        archive = Path(scratch) / "stick.zip"
        with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as zipped:
            for path in sorted(stick.tasks.iterdir()):
                zipped.write(path, "TASKDATA/" + path.name)
        done = subprocess.run(["node", str(HERE / "check_stick.mjs"), str(archive)], capture_output=True, text=True, cwd=HERE)
    need(done.returncode == 0, done.stderr[-600:])
    said = json.loads(done.stdout)
    need(said["warnings"] == [], f"{len(said['warnings'])} warnings: {said['warnings'][:2]}")
    need(len(said["tasks"]) == COUNT, f"{len(said['tasks'])} tasks; {COUNT} are due")
    tasks = {task["name"].rsplit(" ", 1)[1]: task for task in said["tasks"]}
    for (field, map_id), folder in stick.maps.items():
        need(map_id in tasks, f"no task of {field} {map_id}")
        task, (_, due) = tasks[map_id], grid_of(folder)
        need(task["field"] == field, f"{map_id} is of {task['field']!r}")
        need(task["farm"] and task["client"] in ("Grower", "Hill Farm"), f"{map_id}: customer {task['client']!r}, farm {task['farm']!r}")
        need(hashlib.sha256(due.tobytes()).hexdigest() == task["sha256"], f"{field} {map_id}: the grid's values differ")
        need([channel["DDINumber"] for channel in task["channels"]] == [1], f"{map_id}: {task['channels']}")


def shapefiles(stick):
    names = sorted(path.stem for path in (stick.folder / "SHAPES").glob("*.shp"))
    need(len({name.upper()[:8] for name in names}) == COUNT, f"{len(names)} shapefiles, some of them the same in 8 capitals: {names}")
    need(all(len(name) <= 8 and name.isascii() and name == name.upper() for name in names), f"{names}")
    for name in names:
        with shapefile.Reader(str(stick.folder / "SHAPES" / name)) as reader:
            need(len(reader) > 0, f"{name} is empty")


CHECKS = {
    "one stick: the schema takes forty tasks": by_schema,
    "one stick: the Python reader lists forty tasks with their fields, positions and values": by_python,
    "one stick: the JavaScript reader lists forty tasks with their fields and values": by_javascript,
    "one stick: forty shapefiles with names apart": shapefiles,
}


def mirrored(stick):
    path = stick.tasks / "GRD00007.bin"
    task = next(task for task in ElementTree.parse(stick.tasks / "TASKDATA.XML").getroot().iter("TSK") if task.find("GRD").attrib["G"] == "GRD00007")
    columns = int(task.find("GRD").attrib["E"])
    path.write_bytes(np.frombuffer(path.read_bytes(), dtype="<i4").reshape(-1, columns)[:, ::-1].tobytes())


def a_task_less(stick):
    path = stick.tasks / "TASKDATA.XML"
    text = path.read_text(encoding="utf-8")
    start = text.index("<TSK")
    path.write_text(text[:start] + text[text.index("</TSK>") + 6 :], encoding="utf-8")


def prove_there(prove, folder):
    done = prove(folder)
    need(done.returncode == 0, done.stdout[-300:] + done.stderr[-300:])


def returned(haulm, office, stick, back, maps):
    """A stick that a machine has worked from: refused until what it brought lies in the office, then written anew with nothing lost."""
    log, main = stick / "TASKDATA" / "TLG00001.BIN", stick / "TASKDATA" / "TASKDATA.XML"
    log.write_bytes(bytes(range(256)) * 40)
    (stick / "TASKDATA" / "TLG00001.XML").write_text('<TIM A="" D="4"/>', encoding="utf-8")
    main.write_text(re.sub(r'(<TSK [^>]*?)G="1"', r'\1G="4"', main.read_text(encoding="utf-8"), count=1), encoding="utf-8")
    before = {path.name: path.read_bytes() for path in (stick / "TASKDATA").iterdir()}
    write = [haulm, "stick", str(office), "--to", str(stick), "--quiet"]
    refused = subprocess.run(write, capture_output=True, text=True)
    need(refused.returncode == 1 and "stick.came_back" in refused.stderr, f"not refused: {refused.returncode} {refused.stderr[-300:]}")
    need(before == {path.name: path.read_bytes() for path in (stick / "TASKDATA").iterdir()}, "the refused stick is changed")
    done = subprocess.run([*write, "--bring-back", str(back)], capture_output=True, text=True)
    need(done.returncode == 0, done.stderr[-600:])
    for name, content in before.items():
        need((back / "TASKDATA" / name).read_bytes() == content, f"{name} is not in the office as it came")
    need(not log.exists(), "the old log is still on the stick")
    again = Stick(stick, maps)
    by_python(again)
    by_javascript(again)


def on_fat(stick, scratch):
    """Through a FAT32 disk and back, by tools that are not haulm's: names in 8.3 and long, capitals and contents survive."""
    image, back = scratch / "fat.img", scratch / "from-fat"
    back.mkdir()
    image.write_bytes(b"")
    with image.open("r+b") as file:
        file.truncate(64 << 20)
    tools = {**os.environ, "MTOOLS_SKIP_CHECK": "1", "LC_ALL": "C.UTF-8"}
    for command in ([shutil.which("mkfs.vfat") or "/usr/sbin/mkfs.vfat", "-F", "32", str(image)], ["mcopy", "-i", str(image), "-s", *map(str, sorted(stick.iterdir())), "::"], ["mcopy", "-i", str(image), "-s", "::*", str(back)]):
        done = subprocess.run(command, capture_output=True, text=True, env=tools)
        need(done.returncode == 0, f"{command[0]}: {done.stderr[-300:]}")
    return back


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    model, haulm = Path(sys.argv[1]), str(Path(sys.argv[2]).resolve())
    passed = failed = 0

    def tell(name, why):
        nonlocal passed, failed
        passed, failed = passed + (why is None), failed + (why is not None)
        print(f"{'ok  ' if why is None else 'FAIL'}  {name}" + (f"\n      {why}" if why else ""), flush=True)

    def run(check, stick):
        try:
            check(stick)
        except Wrong as wrong:
            return str(wrong) or "no reason given"
        except Exception as error:  # A reader that cannot read is a failed check, whatever it throws.
            return f"{type(error).__name__}: {error}"
        return None

    with tempfile.TemporaryDirectory() as scratch:
        office, folder = Path(scratch) / "office", Path(scratch) / "stick"
        maps = {}
        for number in range(COUNT):
            to = office / f"{number:02}"
            maps[draw(model, to, number)] = to
        done = subprocess.run([haulm, "stick", str(office), "--to", str(folder), "--quiet"], capture_output=True, text=True)
        tell("one stick: haulm writes it", None if done.returncode == 0 else done.stderr[-600:])
        for name, check in CHECKS.items():
            tell(name, run(check, Stick(folder, maps)))

        def prove(stick):
            return subprocess.run([haulm, "check", str(stick), "--against", str(office), "--quiet"], capture_output=True, text=True)

        done = prove(folder)
        tell("one stick: haulm proves it", None if done.returncode == 0 else done.stdout[-600:] + done.stderr[-600:])
        done = subprocess.run([haulm, "check", str(folder), "--json", "--quiet"], capture_output=True, text=True)
        tasks = json.loads(done.stdout)["result"]["tasks"]
        named = {task["map"]["name"].split()[-1] for task in tasks}
        tell("one stick: haulm checks every task by itself", None if done.returncode == 0 and named == {map_id for _, map_id in maps} else f"{len(tasks)} tasks, status {done.returncode}")
        copy = Path(scratch) / "returned"
        shutil.copytree(folder, copy)
        tell("one stick: it comes back with logs, and nothing is lost", run(lambda stick: returned(haulm, office, stick.folder, Path(scratch) / "back", maps), Stick(copy, maps)))
        why = run(lambda stick: prove_there(prove, on_fat(stick.folder, Path(scratch))), Stick(folder, maps))
        tell("one stick: through a FAT32 disk and back", why)
        for spoil, check, words in ((mirrored, by_python, "east and west"), (a_task_less, by_javascript, "is not on the stick")):
            copy = Path(scratch) / spoil.__name__
            shutil.copytree(folder, copy)
            stick = Stick(copy, maps)
            spoil(stick)
            noticed = run(check, stick) is not None
            said = prove(copy)
            text = " ".join((said.stdout + said.stderr).split())
            told = said.returncode == 1 and words in text
            tell(f"one stick, spoilt: {spoil.__name__} is noticed", None if noticed and told else f"reader noticed: {noticed}, haulm: {said.returncode} {text[-300:]}")
    print(f"checks: {passed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
