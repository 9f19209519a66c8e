#!/usr/bin/env python3
"""The JSON Schema of the job file, judged by a validator that others made: check_keys.py SCHEMA ROOT

The schema that `haulm keys --schema` prints is a valid one of draft-07 and, with that draft's name in its head, of draft-04, which some language servers for
TOML still read. The demo's job and tests/jobs/good are taken by it, every job of tests/jobs/wrong is refused.
"""

import json
import pathlib
import sys
import tomllib

import jsonschema


def job(path):
    """A job as a validator sees it: TOML's dates are text in JSON."""
    with open(path, "rb") as file:
        return json.loads(json.dumps(tomllib.load(file), default=str))


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    root = pathlib.Path(sys.argv[2])
    schema = json.loads(pathlib.Path(sys.argv[1]).read_text())
    good = [root / "demo/job.toml", *sorted((root / "tests/jobs/good").glob("*.toml"))]
    wrong = sorted((root / "tests/jobs/wrong").glob("*.toml"))
    failed, passed = 0, 0

    def told(name, why):
        nonlocal failed, passed
        failed, passed = failed + (why is not None), passed + (why is None)
        print(f"{'ok  ' if why is None else 'FAIL'}  {name}" + (f"\n      {why}" if why else ""), flush=True)

    for draft, validator in (("07", jsonschema.Draft7Validator), ("04", jsonschema.Draft4Validator)):
        head = dict(schema, **{"$schema": f"http://json-schema.org/draft-{draft}/schema#"})
        try:
            validator.check_schema(head)
        except jsonschema.SchemaError as error:
            told(f"draft-{draft}: the schema is one", error.message)
            continue
        told(f"draft-{draft}: the schema is one", None)
        check = validator(head)
        for path in good:
            faults = [f"{'.'.join(map(str, fault.path))}: {fault.message[:200]}" for fault in check.iter_errors(job(path))]
            told(f"draft-{draft}: {path.name} is taken", "; ".join(faults) or None)
        for path in wrong:
            told(f"draft-{draft}: {path.name} is refused", "it was taken" if check.is_valid(job(path)) else None)
    print(f"checks: {passed} passed, {failed} failed")
    sys.exit(1 if failed or len(good) < 10 or len(wrong) < 20 else 0)


if __name__ == "__main__":
    main()
