#!/usr/bin/env python3
"""Long runs of `haulm batch` by one command: thousands of made fields, spoilt ones among them, killed at random, with processor time and memory.

    tests/python/.venv/bin/python tests/bench/many_fields.py target/release/haulm [spoilt] [kills] [speed] [engine] [--fields N] [--folder FOLDER] [--seed S]

spoilt  10 000 small fields, every twentieth with a yield that cannot be: 9 500 maps, 500 rows with code, reason and hint
kills   20 times `kill -9` at a random moment of one run, then the rest: no finished field is lost or made twice, and all files are those of a run never killed
speed   processor time a field and peak memory, of everything without the PDF, of the machine's files, of the least that maps need, and of tables alone
engine  only when it is named: a Dask cluster of two workers beside one process of two threads, by turns; then 20 workers killed at random moments

Needs numpy and rasterio, which `tests/python/requirements.txt` has; `engine` also distributed and the Python package, built as the program was. Figures are printed, never judged; what is wrong ends with 1. Closes with "N passed, N failed".
"""

import argparse
import hashlib
import json
import os
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy
import rasterio
from rasterio.transform import from_origin

CORNER = (400_000.0, 5_500_000.0)
SIDE, GAP, PIXEL = 240.0, 20.0, 5.0
STEP = SIDE + GAP
SPOILT_EVERY = 20

FARM = """name = "Many made fields"
output = "season"

[fields]
path = "fields.geojson"
name = "name"
[fields.columns]
response.maximum_yield = { column = "yield", unit = "t/ha" }

[strips]
path = "strips.geojson"

[[images]]
path = "tile.tif"
date = 2026-04-14

[common.imagery]
index = "NDVI"
scale = 0.0001
[common.season]
crop = "winter wheat"
planted = 2025-10-06
growing_days = 100
[common.response]
method = "yield response"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "test" }
[common.rate]
minimum = "0 kg N/ha"
maximum = "140 kg N/ha"
step = "5 kg N/ha"
[common.machine]
working_width = "24 m"
cell_length = "24 m"
heading = "0 grid"
[common.report]
pdf = false
"""

MACHINE = '[common.output]\nformats = ["shapefile", "iso11783"]\n'
LEAST = '[common.output]\nformats = ["geojson"]\n[common.uncertainty]\ndraws = 0\n'

passed = failed = 0


def check(name, held, notice=""):
    global passed, failed
    passed, failed = passed + bool(held), failed + (not held)
    print(f"{'ok    ' if held else 'FAILED'} {name}{'' if held else f': {notice}'}", flush=True)


def square(west, south, width, height):
    x, y = CORNER[0] + west, CORNER[1] + south
    return [[[x, y], [x + width, y], [x + width, y + height], [x, y + height], [x, y]]]


def layer(shapes):
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    features = [{"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": ring}} for properties, ring in shapes]
    return json.dumps({"type": "FeatureCollection", "crs": crs, "features": features})


def make(folder, count, seed, spoilt=True):
    """`count` fields in a square on one tile, each with a strip along its middle."""
    chance = numpy.random.default_rng(seed)
    across = int(numpy.ceil(count**0.5))
    size = int(across * STEP / PIXEL)
    ground = 0.45 + 0.02 * chance.standard_normal((size, size))
    pixels = int(STEP / PIXEL)
    # Poorer and better ground of fields, and within each from south to north.
    level = numpy.kron(0.02 * chance.standard_normal((across, across)), numpy.ones((pixels, pixels)))
    ground += level + numpy.tile(numpy.linspace(-0.04, 0.04, pixels), across)[:, None]
    for row in range(across):
        for column in range(across):
            rich = 0.72 + 0.01 * chance.standard_normal((pixels, 8))
            ground[row * pixels : (row + 1) * pixels, column * pixels + 12 : column * pixels + 20] = rich
    red = 0.2 * (1 - ground) / (1 + ground)
    profile = dict(driver="GTiff", width=size, height=size, count=2, dtype="uint16", crs="EPSG:32633", nodata=0, tiled=True, blockxsize=512, blockysize=512, compress="deflate")
    with rasterio.open(folder / "tile.tif", "w", transform=from_origin(CORNER[0], CORNER[1] + across * STEP, PIXEL, PIXEL), **profile) as file:
        for number, (name, band) in enumerate({"red": red, "nir": numpy.full_like(red, 0.2)}.items(), 1):
            file.write((band * 10_000).round().astype("uint16"), number)
            file.set_band_description(number, name)
    fields, strips = [], []
    for at in range(count):
        west, south = at % across * STEP, at // across * STEP
        bad = spoilt and at % SPOILT_EVERY == 0
        fields.append(({"name": f"Piece {at + 1}", "yield": 700.0 if bad else 7.5}, square(west, south, SIDE, SIDE)))
        strips.append(({}, square(west + 60, south + 10, 40, SIDE - 20)))
    (folder / "fields.geojson").write_text(layer(fields))
    (folder / "strips.geojson").write_text(layer(strips))
    (folder / "farm.toml").write_text(FARM)


def high_water(process):
    """Most memory that a process has held so far. [MiB]"""
    try:
        lines = Path(f"/proc/{process}/status").read_text().splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM:")), 0)


def run(haulm, folder, *more):
    """Rows, sums, and what the run took: processor seconds, wall seconds, peak MiB."""
    with tempfile.TemporaryFile("w+") as out:
        began = time.monotonic()
        child = subprocess.Popen([haulm, "batch", "farm.toml", "--json", "--quiet", *more], cwd=folder, stdout=out)
        peak, done = 0, 0
        # The system's own figure counts what this process held when it started the other.
        while not done:
            peak = max(peak, high_water(child.pid))
            time.sleep(0.1)
            done, status, used = os.wait4(child.pid, os.WNOHANG)
        took = {"processor_s": used.ru_utime + used.ru_stime, "wall_s": time.monotonic() - began, "peak_mib": peak}
        out.seek(0)
        lines = [json.loads(line) for line in out]
    return os.waitstatus_to_exitcode(status), lines[:-1], lines[-1]["result"], took


def told(name, took, count):
    print(f"{name}: {1000 * took['processor_s'] / count:.1f} ms of processor time a field, {took['wall_s']:.0f} s in all, peak {took['peak_mib']:.0f} MiB, {count} fields", flush=True)


def hashes(folder):
    """Every file of the output folder but rows; of records all but the time."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if not path.is_file() or name.startswith(("rows/", "staged/")):
            continue
        bytes_ = path.read_bytes()
        if path.name == "record.json":
            record = json.loads(bytes_)
            record.pop("made_at", None)
            # What an interrupted run left behind is told, and says nothing of the map.
            record["findings"] = [finding for finding in record["findings"] if finding["code"] != "output.interrupted"]
            bytes_ = json.dumps(record).encode()
        found[name] = hashlib.sha256(bytes_).hexdigest()
    return found


def spoilt(haulm, folder, count, seed):
    make(folder, count, seed)
    status, rows, sums, took = run(haulm, folder)
    told("everything but the PDF", took, count)
    bad = len(range(0, count, SPOILT_EVERY))
    refused = [row for row in rows if row["state"] == "refused"]
    check(f"{count - bad} fields have their maps", sums["done"] == count - bad, sums)
    check(f"{bad} are refused, and no other", {row["field"] for row in refused} == {f"Piece {at + 1}" for at in range(0, count, SPOILT_EVERY)}, sums)
    check("each with code, reason and hint", all(row["code"] and "700" in json.dumps(row) and row["hint"] for row in refused), refused[:1])
    check("the exit status says that some have none", status == 1, status)
    check("blocks decoded / different ones <= 1.2", sums["blocks_decoded"] <= 1.2 * sums["blocks"], sums)
    folders = [path for path in (folder / "season").iterdir() if (path / "office/record.json").is_file()]
    check("a folder each", len(folders) == count - bad, len(folders))


def kills(haulm, folder, count, seed):
    make(folder, count, seed)
    _, _, whole, took = run(haulm, folder)
    output = folder / "season"
    expected = hashes(output)
    shutil.rmtree(output)
    chance, stored, killed, threads = random.Random(seed), {}, 0, os.cpu_count() or 1
    rows = lambda: {path.name: path.stat().st_mtime_ns for path in (output / "rows").glob("*.json")} if output.is_dir() else {}
    lost = again = begun = 0
    while killed < 20:
        child = subprocess.Popen([haulm, "batch", "farm.toml", "--quiet"], cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        # From the first file read on, so that twenty runs get a little beyond the half.
        time.sleep(chance.uniform(0.05, 0.05 + took["wall_s"] / 20))
        child.kill()
        if child.wait() != -9:
            print("the run ended before it was killed; more fields, please", flush=True)
            break
        killed += 1
        now = rows()
        lost += len(stored.keys() - now.keys())
        again += sum(now[name] != written for name, written in stored.items() if name in now)
        begun += len([path for path in output.iterdir() if path.name.startswith(".")]) if output.is_dir() else 0
        stored = now
    _, _, sums, _ = run(haulm, folder)
    now = rows()
    again += sum(now[name] != written for name, written in stored.items() if name in now)
    check("killed 20 times", killed == 20, killed)
    check("no finished field was lost", lost == 0, lost)
    check("no finished field was made twice", again == 0 and sums["skipped"] == len(stored), (again, sums["skipped"], len(stored)))
    check("the sums are those of a run never killed", sums["done"] == whole["done"] and sums["n_kg"] == whole["n_kg"], sums)
    found = hashes(output)
    differing = [name for name in expected.keys() | found.keys() if expected.get(name) != found.get(name)]
    check("every file is that of a run never killed", not differing, differing[:5])
    print(f"{len(stored)} of {count} fields were finished by the killed runs, on {threads} threads", flush=True)


def speed(haulm, folder, count, seed):
    make(folder, count, seed, spoilt=False)
    for name, more, options in (("everything but the PDF", "", ()), ("machine's files", MACHINE, ()), ("least", LEAST, ()), ("tables alone", LEAST, ("--tables",))):
        (folder / "farm.toml").write_text(FARM + more)
        shutil.rmtree(folder / "season", ignore_errors=True)
        _, _, sums, took = run(haulm, folder, *options)
        told(name, took, count)
        check(f"{name}: all are done", sums["done"] == count, sums)


def counted(path):
    """A worker on which each field that is begun leaves a line."""
    from distributed import WorkerPlugin

    class Counted(WorkerPlugin):
        name = "counted"

        def setup(self, worker):
            import haulm.batch

            plain = haulm.batch._Marks.set

            def counted(marks, field):
                with open(path, "a") as lines:
                    lines.write(f"{field}\n")
                return plain(marks, field)

            haulm.batch._Marks.set = counted

    return Counted()


def engine(haulm, folder, count, seed):
    from distributed import Client, LocalCluster
    from haulm.batch import submit

    make(folder, count, seed, spoilt=False)
    farm, season = folder / "farm.toml", folder / "season"
    ratios, alone = [], None
    for _ in range(3):
        shutil.rmtree(season, ignore_errors=True)
        _, _, _, took = run(haulm, folder, "--threads", "2")
        alone = hashes(season)
        shutil.rmtree(season)
        with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
            began = time.monotonic()
            submit(client, farm)
            wall = time.monotonic() - began
        ratios.append(wall / took["wall_s"])
        check("the same files", hashes(season) == alone)
    print(f"wall, two Dask workers / one process of two threads: {statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f}), {count} fields", flush=True)

    shutil.rmtree(season)
    begun, killed, chance = folder / "begun.txt", [], random.Random(seed)
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
        client.register_plugin(counted(str(begun)))
        over = threading.Event()

        def kill():
            while len(killed) < 20 and not over.wait(chance.uniform(0, 1)):
                pids = [pid for pid in client.run(os.getpid, on_error="ignore").values() if isinstance(pid, int)]
                if pids:
                    killed.append(chance.choice(pids))
                    os.kill(killed[-1], signal.SIGKILL)

        killer = threading.Thread(target=kill)
        killer.start()
        ran = submit(client, farm)
        over.set()
        killer.join()
    lines = begun.read_text().splitlines()
    print(f"{len(killed)} workers killed, {len(lines) - count} fields begun twice", flush=True)
    check("twenty were killed", len(killed) == 20, len(killed))
    check("no field is lost", ran.states["done"] == count, ran.states)
    check("no more is made again than was being made", len(set(lines)) == count and len(lines) - count <= len(killed), len(lines))
    check("the same files as of workers that were never killed", hashes(season) == alone)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("haulm", type=Path)
    parser.add_argument("what", nargs="*", default=["spoilt", "kills", "speed"])
    parser.add_argument("--fields", type=int, help="how many, instead of 10 000, 300, 1 000 and 600")
    parser.add_argument("--folder", type=Path, help="where to work; removed afterwards unless it is given")
    parser.add_argument("--seed", type=int, default=7)
    asked = parser.parse_args()
    todo = {"spoilt": (spoilt, 10_000), "kills": (kills, 300), "speed": (speed, 1_000), "engine": (engine, 600)}
    unknown = [name for name in asked.what if name not in todo]
    if unknown:
        parser.error(f"there is no {unknown[0]}: {', '.join(todo)}")
    with tempfile.TemporaryDirectory() as scratch:
        for name in asked.what:
            make_and_check, count = todo[name]
            folder = (asked.folder or Path(scratch)) / name
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir(parents=True)
            make_and_check(asked.haulm.resolve(), folder, asked.fields or count, asked.seed)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
