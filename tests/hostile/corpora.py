#!/usr/bin/env python3
"""Public collections of files that are built to break readers, each given to haulm in place of a boundary or a job.

corpora.py HAULM FOLDER: the folder holds, as checked out, any of JSONTestSuite (github.com/nst/JSONTestSuite, `test_parsing`, commit 1ef36fa), geojsonhint
(github.com/mapbox/geojsonhint, `test/data`, 7d72009) and toml-test (github.com/toml-lang/toml-test, `tests`, d168c2a). None of them is a field or a job, so
every one has to be refused clearly: exit 1, a code, the file's name, no fault. Ends with "N passed, N failed".
"""

import concurrent.futures
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

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
    passed = failed = 0
    with tempfile.TemporaryDirectory(prefix="haulm-corpora-") as scratch:
        scratch = pathlib.Path(scratch)
        good = made_field.make(scratch / "good")
        with concurrent.futures.ThreadPoolExecutor(max_workers=2) as pool:
            jobs = [(name, path, pool.submit(tried, good, scratch, k, path, kind)) for k, (name, path, kind) in enumerate(found)]
            for name, path, job in jobs:
                wrong = job.result()
                passed, failed = passed + (not wrong), failed + bool(wrong)
                if wrong:
                    print(f"failed: {name} {path.name}: {wrong}", flush=True)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not found else 0


if __name__ == "__main__":
    sys.exit(main())
