"""The demo field in a folder of its own, and the command to compare with: HAULM names it, else target/debug/haulm."""

import os
import pathlib
import shutil
import subprocess

import pytest

import haulm

ROOT = pathlib.Path(__file__).resolve().parents[2]
HAULM = os.environ.get("HAULM", str(ROOT / "target/debug/haulm"))


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    shutil.copytree(ROOT / "demo/field", folder / "field")
    shutil.copy(ROOT / "demo/job.toml", folder / "job.toml")
    return folder


@pytest.fixture(scope="session")
def job(demo):
    """The demo's job with few draws, which changes no rate."""
    return haulm.Job.open(demo / "job.toml").with_(uncertainty={"draws": 40})


@pytest.fixture(scope="session")
def prepared(job):
    return job.prepare()


@pytest.fixture(scope="session")
def decision(prepared):
    return prepared.decide()


def command(*arguments):
    return subprocess.run([HAULM, *map(str, arguments)], capture_output=True, text=True)


@pytest.fixture(scope="session")
def haulm_command():
    return command


def pytest_terminal_summary(terminalreporter):
    """The closing line that tests/run counts by."""
    counts = {word: len(terminalreporter.stats.get(word, [])) for word in ("passed", "failed", "error", "skipped")}
    # A test that did not run has shown nothing.
    terminalreporter.write_line(f"{counts['passed']} passed, {counts['failed'] + counts['error'] + counts['skipped']} failed")
