"""The stubs say what is there, and programs that keep to them pass a type checker."""

import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]

PROGRAM = '''
from datetime import date

import haulm

job = haulm.Job.open("job.toml").with_(rate={"maximum": "80 kg N/ha"}, application={"date": date(2026, 4, 18)}, accept=[{"code": "image.age"}])
prepared = job.prepare(progress=lambda stage, done, total: print(stage, done, total))
decision = prepared.decide(draws=False, response={"yield_curve": {"a": "590 kg/ha"}})
total: float = decision.n_kg
names: list[str] = [name for name, _ in decision.cells.columns]
try:
    job.run()
except haulm.Refused as refused:
    text: str = refused.code + (refused.hint or "") + (refused.place or "")
'''


def check(*arguments, **options):
    ran = subprocess.run([sys.executable, "-m", *arguments], capture_output=True, text=True, **options)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout


def test_stubs_are_those_of_the_module(tmp_path):
    assert "Success" in check("mypy.stubtest", "haulm", "--ignore-missing-stub", cwd=tmp_path)


def test_a_program_passes_the_type_checker(tmp_path):
    (tmp_path / "program.py").write_text(PROGRAM)
    assert "Success" in check("mypy", "--strict", "program.py", "--cache-dir", str(tmp_path / "cache"), cwd=tmp_path)
    (tmp_path / "slip.py").write_text("import haulm\nhaulm.Job.open(1).desice()\n")
    ran = subprocess.run([sys.executable, "-m", "mypy", "slip.py"], cwd=tmp_path, capture_output=True, text=True)
    assert "desice" in ran.stdout and ran.returncode == 1


def test_docstrings_say_what_each_thing_is():
    import haulm

    for name in ("Job", "Prepared", "Decision", "Table", "Raster", "Finding", "Refused"):
        thing = getattr(haulm, name)
        assert thing.__doc__ and len(thing.__doc__) > 20, name
        for member in vars(thing):
            if not member.startswith("_"):
                assert getattr(thing, member).__doc__, f"{name}.{member}"
