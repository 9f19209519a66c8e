"""Refusals, threads, progress and what the package leaves alone."""

import datetime
import decimal
import os
import pathlib
import pickle
import signal
import socket
import subprocess
import sys
import threading
import time

import numpy
import pytest

import haulm


def refused(call, *arguments, **keywords):
    with pytest.raises(haulm.Refused) as caught:
        call(*arguments, **keywords)
    return caught.value


def test_refusals_are_those_of_the_job_file(job):
    slip = refused(job.with_, rate={"maximun": "80 kg N/ha"})
    assert slip.code == "job.unknown_key" and "maximum" in slip.hint and "job.toml" in slip.place
    bare = refused(job.with_, rate={"maximum": 80})
    assert bare.code == "job.bare_number" and "kg N/ha" in bare.hint
    wrong = refused(job.with_, rate={"maximum": "80 kg/ha"})
    assert wrong.code == "job.nitrogen_or_product"
    section = refused(job.with_, rates={"maximum": "80 kg N/ha"})
    assert section.code == "job.unknown_key" and "rate" in str(section)
    both = refused(job.with_, rate={"maximun": "80 kg N/ha"}, machine={"working_width": "wide"})
    assert both.code == "job.faults" and len(both.facts) >= 2
    # As the command says it.
    path = job.path
    assert refused(haulm.Job.open, pathlib.Path(path).parent / "none.toml").code == "job.unreadable"


def test_the_command_says_the_same(job, demo, haulm_command):
    path = demo / "slip.toml"
    path.write_text(job.text.replace("maximum = \"80 kg N/ha\"", "maximun = \"80 kg N/ha\""))
    error = refused(haulm.Job.open(path).prepare)
    printed = haulm_command("map", path).stderr
    assert error.code in printed and error.hint in " ".join(printed.split())
    for place, _ in error.facts:
        assert place in printed


def test_inputs_are_refused_with_place_and_hint(job):
    missing = refused(job.with_(imagery={"path": "no_such.tif"}).prepare)
    assert missing.code == "file.missing" and "no_such.tif" in str(missing) and missing.hint
    again = refused(job.prepare().decide, machine={"cell_length": "12 m"})
    assert again.code == "decide.prepare" and "machine.cell_length" in again.headline


def test_refusals_travel(job):
    error = refused(job.with_, rate={"maximun": "80 kg N/ha"})
    other = pickle.loads(pickle.dumps(error))
    assert (other.code, other.facts, other.hint, str(other)) == (error.code, error.facts, error.hint, str(error))
    assert str(error).startswith("[job.unknown_key]") and "hint: " in str(error)


@pytest.mark.parametrize("value", [object(), {1: 2}, b"80", decimal.Decimal, float])
def test_what_is_no_value_is_a_type_error(job, value):
    with pytest.raises(TypeError, match="rate"):
        job.with_(rate={"maximum": value})


def test_values_of_python_stand_as_a_job_has_them(job):
    tried = job.with_(
        application={"date": datetime.date(2026, 4, 19)},
        machine={"heading": numpy.float32(62.5)},
        uncertainty={"seed": numpy.int64(3)},
        output={"formats": ("geojson",), "folder": pathlib.Path("elsewhere")},
        field={"name": 'A "quoted" name'},
    )
    assert tried.changes["application.date"] == "2026-04-19" and tried.changes["machine.heading"] == "62.5"
    assert tried.settings["field"]["name"] == 'A "quoted" name' and job.settings["field"]["name"] == "Long Ley"
    assert "# paths are relative" in job.text.lower() and "# degrees clockwise" in tried.text
    assert job.with_(rate={"usual": None}).changes == {"uncertainty.draws": "40", "rate.usual": None}


def test_settings_hold_their_units(job):
    settings = job.with_(rate={"maximum": "71.4 lb N/ac"}).settings
    assert settings["rate"]["maximum_kg_n_ha"] == pytest.approx(71.4 * 0.45359237 / 0.40468564224)


def test_threads_share_what_was_read(prepared):
    expected = prepared.decide(draws=False, rate={"maximum": "60 kg N/ha"}).n_kg
    found, failed = [], []

    def work():
        try:
            found.append(prepared.decide(draws=False, rate={"maximum": "60 kg N/ha"}).n_kg)
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failed and found == [expected] * 6


def test_jobs_run_side_by_side(job):
    expected = job.run(threads=1).n_kg
    found = []
    threads = [threading.Thread(target=lambda: found.append(job.run(threads=1).n_kg)) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [expected] * 3


def test_others_go_on_while_it_works(job):
    turns, done = [0], threading.Event()

    def count():
        while not done.is_set():
            turns[0] += 1
            time.sleep(0.001)

    counter = threading.Thread(target=count)
    counter.start()
    job.prepare()
    done.set()
    counter.join()
    assert turns[0] > 20


def test_progress_is_told_on_the_calling_thread(job):
    told, here = [], threading.get_ident()
    job.run(progress=lambda *said: told.append((*said, threading.get_ident())))
    stages = [stage for stage, done, _, _ in told if done == 0]
    assert stages[0] == "reading the job" and "reading the image" in stages
    assert {thread for *_, thread in told} == {here}
    last = [said for said in told if said[0] == "reading the image"][-1]
    assert 0 < last[1] <= last[2]


def test_a_callback_that_fails_ends_the_run(job):
    def fails(*_):
        raise RuntimeError("enough")

    with pytest.raises(RuntimeError, match="enough"):
        job.run(progress=fails)
    assert job.run().n_kg > 0


def test_ctrl_c_ends_the_work(prepared):
    timer = threading.Timer(0.1, os.kill, (os.getpid(), signal.SIGINT))
    begun = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        timer.start()
        # Anew until the signal comes, however fast the machine is: it must not come to another test.
        while time.monotonic() - begun < 20:
            prepared.decide(uncertainty={"draws": 20_000})
    # Drawing does not listen: after two seconds it is left to itself.
    assert time.monotonic() - begun < 20
    assert prepared.decide(draws=False).n_kg > 0


def test_the_process_keeps_its_rights(job, tmp_path):
    """The command walls itself in before it opens an input; a program that calls the package goes on afterwards."""
    job.prepare()
    (tmp_path / "elsewhere.txt").write_text("still writable")
    assert pathlib.Path("/etc/hostname").exists() and os.listdir("/")
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))


def test_nothing_else_is_needed_to_import_it():
    code = "import sys, haulm; print([name for name in ('numpy', 'pandas', 'pyarrow', 'geopandas', 'dask', 'distributed') if name in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"


def test_reading_comes_before_judging(demo):
    open_job = demo / "open.toml"
    open_job.write_text((demo / "job.toml").read_text().replace('"80 kg N/ha"', '"TODO"'))
    job = haulm.Job.open(open_job)
    assert refused(job.run).code == "job.open"
    assert job.with_(rate={"maximum": "80 kg N/ha"}).settings["rate"]["maximum_kg_n_ha"] == 80


def test_findings_are_whole(decision):
    weights = [finding.severity for finding in decision.findings]
    assert weights == sorted(weights, key=["stop", "caution", "note"].index)
    changed = next(finding for finding in decision.findings if finding.code == "settings.changed")
    assert "uncertainty.draws = 40" in changed.message and not changed.stops and changed.accepted is None
    assert changed == changed and "settings.changed" in repr(changed)
