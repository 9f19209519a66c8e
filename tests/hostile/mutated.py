#!/usr/bin/env python3
"""Files of every format with bytes changed, each given to haulm: a clear answer, in time and in memory, and no number that the bytes do not say.

mutated.py HAULM [COUNT [SEED]] (300, 1). For each: no signal, no fault of its own (exit 2), at most 30 s of the processor, at most the memory allowed and 200 MiB. What is
still taken is compared with what other readers find in the same bytes (`said.py`): indices of cells, areas, amounts, growing days, cells and totals of task data. Ends with
"N passed, N failed"; the failed files are kept and named. 10 000 files: mutated.py target/release/haulm 10000
"""

import concurrent.futures
import json
import os
import pathlib
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import zipfile

import field as made_field
import said
from osgeo import gdal

HAULM = os.path.abspath(sys.argv[1])
COUNT = int(sys.argv[2]) if len(sys.argv) > 2 else 300
SEED = int(sys.argv[3]) if len(sys.argv) > 3 else 1
MEMORY = 512
PIECES = [b"\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"-1", b"1e999", b"NaN", b"9" * 20, b'"', b"<", b"/>", b"]]", b"{", b",", b"\r\n", b"&#0;", b"\xef\xbb\xbf"]


def formats(root):
    """Fields whose image or boundary is of each format, by name: the folder, the file to be mutated, and the arguments."""
    made = {}

    def keep(name, file, change, arguments=("map", "job.toml")):
        folder = made_field.make(root / name)
        # Along no axis of image or cells, and with a hole: many cells are cut.
        outer, hole = [(3, 5), (231, 17), (237, 271), (130, 283.3), (11, 240)], [(180, 100), (190, 70), (160, 60)]
        (folder / "boundary.geojson").write_text(made_field.layer(made_field.places(outer), made_field.places(hole)))
        change(folder)
        made[name] = (folder, file, list(arguments))

    def job(folder, old, new):
        text = (folder / "job.toml").read_text()
        assert old in text
        (folder / "job.toml").write_text(text.replace(old, new, 1))

    def raster(name, driver, options=()):
        def change(folder):
            gdal.Translate(str(folder / name), str(folder / "image.tif"), format=driver, creationOptions=list(options)) if driver != "VRT" else gdal.BuildVRT(str(folder / name), [str(folder / "image.tif")])
            job(folder, '"image.tif"', f'"{name}"')
            if driver in ("VRT", "JP2OpenJPEG", "ENVI"):
                job(folder, 'index = "NDVI"', 'index = "NDVI"\nbands = { red = 1, nir = 2 }')

        return change

    def vector(name, driver):
        def change(folder):
            gdal.VectorTranslate(str(folder / name), str(folder / "boundary.geojson"), format=driver)
            job(folder, '"boundary.geojson"', f'"{name}"')

        return change

    keep("tif", "image.tif", lambda folder: None)
    keep("tif-deflate", "a.tif", raster("a.tif", "GTiff", ["COMPRESS=DEFLATE", "TILED=YES", "BLOCKXSIZE=64", "BLOCKYSIZE=64"]))
    keep("tif-big", "a.tif", raster("a.tif", "GTiff", ["BIGTIFF=YES", "COMPRESS=LZW", "PREDICTOR=3"]))
    keep("vrt", "a.vrt", raster("a.vrt", "VRT"))
    keep("envi", "a.hdr", raster("a.img", "ENVI"))
    keep("geojson", "boundary.geojson", lambda folder: None)
    keep("strips", "strips.geojson", lambda folder: None)
    for ending in ("shp", "dbf", "shx", "prj"):
        keep(f"shapefile-{ending}", f"a.{ending}", vector("a.shp", "ESRI Shapefile"))
    keep("gpkg", "a.gpkg", vector("a.gpkg", "GPKG"))
    keep("flatgeobuf", "a.fgb", vector("a.fgb", "FlatGeobuf"))
    keep("kml", "a.kml", vector("a.kml", "KML"))
    keep("gml", "a.gml", vector("a.gml", "GML"))
    keep("mif", "a.mif", vector("a.mif", "MapInfo File"))
    keep("job", "job.toml", lambda folder: None)

    def weather(folder):
        rows = [f"2025-{m:02d}-{d:02d},{m}.5,{m + 9}.0" for m in (10, 11, 12) for d in range(1, 29 + (m != 11) * 3 + (m == 11) * 2)]
        rows += [f"2026-{m:02d}-{d:02d},{m}.5,{m + 9}.0" for m, last in ((1, 31), (2, 28), (3, 31), (4, 30)) for d in range(1, last + 1)]
        (folder / "w.csv").write_text("date,tmin_c,tmax_c\n" + "\n".join(rows) + "\n")
        job(folder, "growing_days = 100", 'weather = "w.csv"')

    keep("weather", "w.csv", weather)

    def task(folder):
        done = subprocess.run([HAULM, "map", str(folder / "job.toml"), "--quiet"], capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        shutil.copytree(folder / "out/machine/TASKDATA", folder / "TASKDATA")
        shutil.copy(folder / "out/office/TASKDATA.zip", folder / "a.zip")
        shutil.rmtree(folder / "out")

    keep("task-xml", "TASKDATA/TASKDATA.XML", task, ("check", "TASKDATA"))
    keep("task-grid", "TASKDATA/GRD00000.bin", task, ("check", "TASKDATA"))
    keep("task-zip", "a.zip", task, ("check", "a.zip"))
    return made


def mutate(dice, data):
    data = bytearray(data)
    for _ in range(dice.choice((1, 1, 2, 4))):
        at = dice.randrange(len(data) + 1)
        until = min(len(data), at + dice.randrange(40))
        kind = dice.randrange(7)
        if kind < 2 and data:
            data[min(at, len(data) - 1)] ^= 1 << dice.randrange(8)
        elif kind == 2 and data:
            data[min(at, len(data) - 1)] = dice.randrange(256)
        elif kind == 6 and any(48 <= byte < 58 for byte in data):
            # Another digit for a digit: the likeliest to be taken.
            places = [k for k, byte in enumerate(data) if 48 <= byte < 58]
            data[dice.choice(places)] = dice.randrange(48, 58)
        elif kind == 3:
            del data[at:until]
        elif kind == 4:
            data[at:at] = data[at:until] * dice.randrange(1, 20)
        elif kind == 5:
            data[at:at] = dice.choice(PIECES)
        elif dice.randrange(4) == 0:
            del data[at:]
        else:
            data[at:until] = dice.choice(PIECES)
    return bytes(data)


def tried(number, name, made, root):
    folder, file, arguments = made
    place = root / str(number)
    shutil.copytree(folder, place)
    dice = random.Random(f"{SEED} {number} {name}")
    data = mutate(dice, (place / file).read_bytes())
    (place / file).write_bytes(data)
    command = [HAULM, *arguments, "--quiet", "--json", "--memory", str(MEMORY), "--threads", "2"]
    wrong = []
    start = time.monotonic()
    with open(place / "stdout", "wb") as out, open(place / "stderr", "wb") as err:
        child = subprocess.Popen(command, cwd=place, stdin=subprocess.DEVNULL, stdout=out, stderr=err)
    # The clock of the processor counts: the machine may be at work on other things.
    ending = threading.Timer(300, os.kill, (child.pid, signal.SIGKILL))
    ending.start()
    _, status, usage = os.wait4(child.pid, 0)
    ending.cancel()
    took = time.monotonic() - start
    code, kilobytes = os.waitstatus_to_exitcode(status), usage.ru_maxrss
    child.returncode = code
    used = usage.ru_utime + usage.ru_stime
    if used >= 30 or took >= 300:
        return place, [f"{used:.0f} s of the processor, {took:.0f} s in all"], None
    said_out, said_err = ((place / name).read_text(errors="replace") for name in ("stdout", "stderr"))
    if code not in (0, 1):
        wrong.append(f"exit {code}: {said_err[-400:]}{said_out[-400:]}")
    if kilobytes > (MEMORY + 200) * 1024:
        wrong.append(f"{kilobytes >> 10} MiB")
    if code == 0 and name in said.CHECKS:
        try:
            wrong += said.CHECKS[name](place, json.loads(said_out))[:5]
        except Exception as error:
            wrong.append(f"taken, but another reader does not take it: {type(error).__name__}: {error}")
    return place, wrong, (code, used, kilobytes)


def main():
    passed = failed = 0
    codes, slowest, largest = {}, 0.0, 0
    kept = pathlib.Path(tempfile.gettempdir()) / "haulm-mutated"
    with tempfile.TemporaryDirectory(prefix="haulm-mutated-") as scratch:
        scratch = pathlib.Path(scratch)
        made = formats(scratch / "good")
        names = list(made)
        for name in names:
            folder, _, arguments = made[name]
            done = subprocess.run([HAULM, *arguments, "--quiet"], capture_output=True, text=True, cwd=folder)
            assert done.returncode == 0, f"the good {name}: {done.stderr}{done.stdout}"
            shutil.rmtree(folder / "out", ignore_errors=True)
        (scratch / "work").mkdir()
        with concurrent.futures.ThreadPoolExecutor(max_workers=2) as pool:
            for name, job in jobs_in_turn(pool, names, made, scratch / "work"):
                place, wrong, used = job.result()
                if used:
                    codes[used[0]] = codes.get(used[0], 0) + 1
                    slowest, largest = max(slowest, used[1]), max(largest, used[2])
                if wrong:
                    failed += 1
                    kept.mkdir(exist_ok=True)
                    shutil.copytree(place, kept / f"{SEED}-{place.name}-{name}", dirs_exist_ok=True)
                    print(f"failed: {name} {place.name}", *wrong, sep="\n    ")
                else:
                    passed += 1
                shutil.rmtree(place, ignore_errors=True)
    print(f"exits {dict(sorted(codes.items()))}, slowest {slowest:.1f} s, largest {largest >> 10} MiB")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


def jobs_in_turn(pool, names, made, work):
    """A few at a time, so that thousands of folders do not lie there at once."""
    for start in range(0, COUNT, 200):
        batch = [(names[k % len(names)], pool.submit(tried, k, names[k % len(names)], made[names[k % len(names)]], work)) for k in range(start, min(start + 200, COUNT))]
        yield from batch


if __name__ == "__main__":
    sys.exit(main())
