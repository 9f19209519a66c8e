"""The guide's blocks of Python run as they stand, one after another."""

import pathlib
import re

ROOT = pathlib.Path(__file__).resolve().parents[2]


def test_the_guide_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    text = (ROOT / "docs/guide/python.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    assert len(blocks) >= 4
    names = {}
    for block in blocks:
        exec(compile(block, "docs/guide/python.md", "exec"), names)
    printed = capsys.readouterr().out
    assert "job.unknown_key" in printed and "EPSG:32633" in printed
    assert re.search(r"^80 515 kg N$", printed, re.MULTILINE)
