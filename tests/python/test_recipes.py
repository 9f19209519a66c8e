"""The guide's Kubernetes recipe: its shell text makes the shares of a farm, and its last words let a share end well whose fields have no map."""

import os
import pathlib
import shutil
import subprocess

import yaml

import farm as made
from conftest import HAULM, ROOT

FIELDS, SPOILT = 4, (2,)


def recipe():
    text = (ROOT / "docs/guide/beyond-one-machine.md").read_text(encoding="utf-8").split("## Kubernetes")[1]
    return yaml.safe_load("\n".join(line[4:] for line in text.splitlines() if line.startswith("    ")))


def test_the_indexed_job_makes_all_shares(tmp_path, haulm_command):
    job = recipe()
    spec = job["spec"]
    assert (job["apiVersion"], job["kind"], spec["completionMode"]) == ("batch/v1", "Job", "Indexed")
    # backoffLimitPerIndex is for pods that are never started again in place.
    assert spec["template"]["spec"]["restartPolicy"] == "Never" and spec["backoffLimitPerIndex"] > 0
    container = spec["template"]["spec"]["containers"][0]
    (words,) = container["args"]
    assert words.count(f"/{spec['completions']}\"") == 1, "the number of shares is that of completions"
    alone, shared = tmp_path / "alone", tmp_path / "shared"
    for folder in (alone, shared):
        folder.mkdir()
        made.make(folder, FIELDS, SPOILT)
    assert haulm_command("batch", alone / "farm.toml", "--quiet").returncode == 1
    programs = tmp_path / "bin"
    programs.mkdir()
    shutil.copy(pathlib.Path(HAULM).resolve(), programs / "haulm")
    words = words.replace("/maps/farm.toml", str(shared / "farm.toml")).replace(f"/{spec['completions']}\"", '/2"')

    def status(share, words):
        environment = os.environ | {"PATH": f"{programs}:{os.environ['PATH']}", "JOB_COMPLETION_INDEX": str(share)}
        return subprocess.run([*container["command"], words], env=environment, stdout=subprocess.DEVNULL).returncode

    assert [status(share, words) for share in (0, 1)] == [0, 0]
    assert made.hashes(shared / "season") == made.hashes(alone / "season")
    # What cannot be a share is a failed pod.
    assert status(2, words) != 0
