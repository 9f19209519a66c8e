"""Many fields on a Dask cluster of this machine: the bytes of ``haulm batch``, whatever dies on the way."""

import collections
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time

import pytest
from distributed import Client, LocalCluster, WorkerPlugin

import farm as made
import haulm
import haulm.batch

FIELDS, SPOILT = 8, (5,)


@pytest.fixture(scope="module")
def by_command(tmp_path_factory, haulm_command):
    folder = tmp_path_factory.mktemp("command")
    ran = haulm_command("batch", made.make(folder, FIELDS, SPOILT), "--quiet")
    # 1, since one field is refused.
    assert ran.returncode == 1, ran.stderr
    return made.hashes(folder / "season")


@pytest.fixture
def cluster():
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, processes=True) as cluster, Client(cluster) as client:
        yield client


@pytest.fixture(params=[1, 4])
def together(request, monkeypatch):
    """Fields by so many: of as few as these the engine would hand over each by itself."""
    size = request.param
    monkeypatch.setattr(haulm.batch, "_together", lambda fields, _threads: collections.deque(fields[at : at + size] for at in range(0, len(fields), size)))


def rows(farm):
    return {row["field"]: row for row in map(farm.row, range(len(farm))) if row is not None}


def test_a_farm_is_run_field_by_field(tmp_path, by_command):
    farm = haulm.Farm.open(made.make(tmp_path, FIELDS, SPOILT))
    assert len(farm) == FIELDS and farm.name == "Test farm" and farm.fields[0] == "Piece 1"
    assert farm.due(0) == "not made yet" and farm.row(0) is None
    done = [farm.run_field(field) for field in range(len(farm))]
    assert [row["state"] for row in done] == ["refused" if at in SPOILT else "done" for at in range(FIELDS)]
    assert done[5]["code"] == "job.out_of_range" and done[0]["n_kg"] > 0
    assert farm.due(0) is None and farm.row(0)["map_id"] == done[0]["map_id"]
    collected = farm.collect()
    assert collected["states"]["done"] == FIELDS - 1 and collected["states"]["refused"] == 1 and collected["index"].exists()
    assert made.hashes(tmp_path / "season") == by_command
    with pytest.raises(haulm.Refused):
        haulm.Farm.open(tmp_path / "none.toml")
    # The tables alone: the same numbers, in a folder of their own.
    tables = haulm.Farm.open(tmp_path / "farm.toml", tables=True)
    assert tables.output == farm.output / "tables"
    first = tables.run_field(0)
    assert (first["n_kg"], first["ratio_low"]) == (done[0]["n_kg"], done[0]["ratio_low"]) and first["map_id"] is None and not first["files"]


def test_the_cluster_makes_the_same_bytes(tmp_path, cluster, by_command):
    path, told = made.make(tmp_path, FIELDS, SPOILT), []
    ran = haulm.batch.submit(cluster, path, progress=lambda *said: told.append(said))
    assert (ran.made, ran.skipped) == (FIELDS, 0) and ran.states["done"] == FIELDS - 1 and ran.states["refused"] == 1
    assert made.hashes(tmp_path / "season") == by_command
    assert sorted(row["field"] for _, _, row in told) == sorted(f"Piece {at + 1}" for at in range(FIELDS))
    # Again: nothing is due, and a changed field alone is made.
    assert haulm.batch.submit(cluster, path).made == 0
    path.write_text(path.read_text() + '\n[[exception]]\nfield = "Piece 2"\nreason = "thin"\njob.rate.maximum = "90 kg N/ha"\n')
    assert haulm.batch.submit(cluster, path).made == 1
    assert not list((tmp_path / "season").glob(".under_way*"))


def test_many_fields_go_by_eight_and_the_last_ones_singly():
    sizes = [len(part) for part in haulm.batch._together(list(range(200)), 2)]
    assert sum(sizes) == 200 and sizes[0] == 8 and sizes[-1] == 1 and sizes == sorted(sizes, reverse=True)
    assert [list(part) for part in haulm.batch._together([4, 7], 2)] == [[4], [7]] and not haulm.batch._together([], 2)


def test_workers_that_are_killed_lose_nothing(tmp_path, cluster, by_command, together):
    path = made.make(tmp_path, FIELDS, SPOILT)
    killed, ended, due, done = [], threading.Event(), threading.Event(), threading.Event()
    chance = random.Random(7)

    def kill():
        """Kills a worker each time that it is due: by fields that have ended, not by the clock, so that a fast machine kills as many as a slow one."""
        while not ended.is_set():
            if not due.wait(0.05):
                continue
            try:
                pids = list(cluster.run(os.getpid, on_error="ignore").values())
                pid = chance.choice([pid for pid in pids if isinstance(pid, int)])
                os.kill(pid, signal.SIGKILL)
                killed.append(pid)
            except (IndexError, OSError, ValueError):
                continue
            due.clear()
            done.set()

    killer = threading.Thread(target=kill)
    killer.start()
    finished = []

    def progress(_done, _due, row):
        finished.append(row["field"])
        # Twice: a field that takes three workers with it is given up, also when it was not its own fault.
        if len(finished) in (1, 3):
            done.clear()
            due.set()
            done.wait(20)

    ran = haulm.batch.submit(cluster, path, progress=progress)
    ended.set()
    killer.join()
    assert len(killed) == 2, killed
    assert sorted(finished) == sorted(set(finished)), "no finished field came back"
    assert ran.states["done"] == FIELDS - 1 and ran.states["crashed"] == 0
    assert made.hashes(tmp_path / "season") == by_command


def test_a_run_that_is_stopped_stops_its_workers(tmp_path, cluster, by_command, together):
    path = made.make(tmp_path, FIELDS, SPOILT)

    def stop(*_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        haulm.batch.submit(cluster, path, progress=stop)
    ran = haulm.batch.submit(cluster, path)
    assert ran.states["done"] == FIELDS - 1 and not ran.busy
    assert made.hashes(tmp_path / "season") == by_command
    assert not list((tmp_path / "season").glob(".under_way*"))


class Dies(WorkerPlugin):
    """A worker on which one field is fatal, as a fault of a library would be."""

    name = "dies"

    def setup(self, worker):
        import haulm.batch

        plain = haulm.batch._Marks.set

        def deadly(marks, field):
            mark = plain(marks, field)
            if field == 3:
                os.kill(os.getpid(), signal.SIGKILL)
            return mark

        haulm.batch._Marks.set = deadly


def test_a_field_that_kills_three_workers_is_a_row(tmp_path, cluster, by_command, together):
    cluster.register_plugin(Dies())
    path = made.make(tmp_path, FIELDS, SPOILT)
    ran = haulm.batch.submit(cluster, path)
    assert ran.states == {"done": FIELDS - 2, "stopped": 0, "refused": 1, "crashed": 1, "cancelled": 0}
    row = rows(haulm.Farm.open(path))["Piece 4"]
    assert row["state"] == "crashed" and "died 3 times" in row["reason"]
    # The rest is whole, and on sound workers the same command makes the field.
    assert haulm.Farm.open(path).due(3).startswith("ended last time")
    cluster.unregister_worker_plugin("dies")
    cluster.restart()
    ran = haulm.batch.submit(cluster, path)
    assert ran.made == 1 and ran.states["done"] == FIELDS - 1
    assert made.hashes(tmp_path / "season") == by_command


def test_the_command_line_says_what_was_made(tmp_path, cluster):
    path = made.make(tmp_path, 2)
    run = [sys.executable, "-m", "haulm.batch", str(path), "--scheduler", cluster.scheduler.address]
    ran = subprocess.run([*run, "--json"], capture_output=True, text=True)
    lines = [json.loads(line) for line in ran.stdout.splitlines()]
    assert ran.returncode == 0 and len(lines) == 3 and lines[-1]["states"]["done"] == 2, ran.stderr
    ran = subprocess.run([*run, "--tables"], capture_output=True, text=True)
    assert ran.returncode == 0 and (tmp_path / "season/tables/fields.csv").is_file(), ran.stderr
    path.write_text(path.read_text().replace("[common.rate]", "[common.rates]"))
    ran = subprocess.run(run, capture_output=True, text=True)
    assert ran.returncode == 1 and "error[" in ran.stderr
