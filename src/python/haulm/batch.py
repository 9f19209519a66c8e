"""Many fields on a cluster: the work of ``haulm batch`` shared out by Dask.

    python -m haulm.batch FARM.toml --scheduler tcp://node:8786

Every worker reads the farm file and writes the maps of its fields itself, so farm folder and output folder lie on storage that all of them reach by the same
path. Nothing is kept but what is stored there: a run that was killed goes on where it was, on a cluster or by ``haulm batch``, with the same bytes.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import json
import os
import pathlib
import shutil
import sys
import threading
import uuid
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field as with_default
from typing import TYPE_CHECKING, Any

from haulm import Farm, Refused

if TYPE_CHECKING:
    from distributed import Client, Future

__all__ = ["Ran", "submit"]

DEATHS = 3
"""So many processes a field may take with it before it is given up."""

TOGETHER = 8
"""So many fields are handed over at once while there are many: to hand one over takes half as long as to make a small one."""

RETURNS = 10
"""So many times a field may come back that others took down, before the engine itself is at fault."""


@dataclass
class Ran:
    """What a run over a farm did."""

    index: pathlib.Path
    """The index page."""
    files: list[pathlib.Path]
    """Files of the whole farm."""
    states: dict[str, int]
    """Fields by state, those that were done before among them."""
    made: int = 0
    """Fields made in this run."""
    skipped: int = 0
    """Fields whose work was done before."""
    busy: list[str] = with_default(default_factory=list)
    """Fields whose folders another run had."""


class _Marks:
    """Who is at work on which field, as files: what a dead process leaves behind is counted, and nobody has to be alive to know it."""

    def __init__(self, folder: str) -> None:
        self.folder = pathlib.Path(folder)
        # Apart, since the others are listed for each field.
        self.finished = self.folder / "finished"

    def begin(self) -> None:
        self.finished.mkdir(parents=True)

    def of(self, field: int) -> list[pathlib.Path]:
        return list(self.folder.glob(f"{field}.*"))

    def set(self, field: int) -> pathlib.Path | None:
        """Marks a field; ``None`` when the run is over, and nobody waits for it any more."""
        mark = self.folder / f"{field}.{uuid.uuid4().hex}"
        try:
            mark.touch()
        except FileNotFoundError:
            return None
        return mark

    def finish(self, field: int, mark: pathlib.Path) -> None:
        """A field is made: whoever is given it again passes over it."""
        with contextlib.suppress(FileNotFoundError):
            mark.rename(self.finished / str(field))

    def is_finished(self, field: int) -> bool:
        return (self.finished / str(field)).exists()

    def clear(self) -> None:
        # A worker that is still at a field may leave its mark meanwhile; the folder says so, and harms nobody.
        shutil.rmtree(self.folder, ignore_errors=True)


_lock = threading.Lock()
_opened: dict[str, Farm] = {}


def _farm(path: str, how: dict[str, Any], run: str) -> Farm:
    """The farm of one run, read once a process; that of an earlier run is let go."""
    with _lock:
        if run not in _opened:
            _opened.clear()
            _opened[run] = Farm.open(path, **how)
        return _opened[run]


def _make(path: str, how: dict[str, Any], marks: str, fields: list[int]) -> list[dict[str, Any]]:
    """Some fields one after another, on a worker; ``how`` are the options of :meth:`haulm.Farm.open`."""
    farm, kept = _farm(path, how, marks), _Marks(marks)
    rows = []
    for field in fields:
        if (row := _known(farm, kept, field)) is None:
            mark = kept.set(field)
            if mark is None:
                break
            row = _short(farm.run_field(field))
            if row["state"] in ("busy", "cancelled"):
                # Another run's row is stored by that one, if at all.
                mark.unlink(missing_ok=True)
            else:
                kept.finish(field, mark)
        rows.append(row)
    return rows


def _known(farm: Farm, kept: _Marks, field: int) -> dict[str, Any] | None:
    """The row of a field that this run has made or given up; ``None`` where it is still to be made."""
    if kept.is_finished(field) and (row := farm.row(field)) is not None:
        return _short(row)
    return _given_up(farm, field) if len(kept.of(field)) >= DEATHS else None


def _given_up(farm: Farm, field: int) -> dict[str, Any]:
    return _short(farm.mark_crashed(field, f"the process that worked on it died {DEATHS} times"))


def _short(row: dict[str, Any]) -> dict[str, Any]:
    return {key: row[key] for key in ("field", "state", "code", "reason", "map_id", "n_kg", "area_ha")}


def _answers(client: Client, task: Callable[[list[int]], Future], due: deque[list[int]], window: int) -> Iterator[tuple[list[int], Future]]:
    """Futures as they finish, never more than ``window`` of them; each is let go at once, so that the loss of its worker brings nothing back."""
    from distributed import as_completed

    fields: dict[Future, list[int]] = {}

    def sent() -> Iterator[Future]:
        while due and len(fields) < window:
            together = due.popleft()
            future = task(together)
            fields[future] = together
            yield future

    running = as_completed(list(sent()), loop=client.loop)
    try:
        for future in running:
            together = fields.pop(future)
            yield together, future
            future.release()
            for more in list(sent()):
                running.add(more)
    finally:
        client.cancel(list(fields), force=True)


def _together(fields: list[int], threads: int) -> deque[list[int]]:
    """Fields by ``TOGETHER``, fewer towards the end, so that no thread waits long for another's last ones."""
    parts: deque[list[int]] = deque()
    at = 0
    while at < len(fields):
        size = max(1, min(TOGETHER, (len(fields) - at) // (4 * threads)))
        parts.append(fields[at : at + size])
        at += size
    return parts


def submit(
    client: Client,
    farm: str | os.PathLike[str],
    *,
    redo: bool = False,
    tables: bool = False,
    window: int | None = None,
    memory_mib: int | None = None,
    progress: Callable[[int, int, dict[str, Any]], object] | None = None,
) -> Ran:
    """Makes every field of a farm file that is due, on the workers of a Dask client, and puts all rows together.

    ``redo``: whether work that is done is done again. ``tables``: the farm's tables alone, without maps. ``window``: fields that are handed over at once, each by
    itself; by default two parcels of up to eight a thread, of which a thread has one field under way. ``memory_mib``: memory that a worker may use [MiB].
    ``progress`` is called after each field with fields finished, fields due, and the field's row in short.

    A field that is refused or stopped is a row with its reason. A worker that is lost is made up for by another; a field that takes three with it becomes a row in
    the state ``crashed``.

    Raises ``haulm.Refused`` when the farm file is at fault, here or on a worker.
    """
    from distributed import KilledWorker

    path = str(pathlib.Path(farm).resolve())
    how: dict[str, Any] = {"tables": tables, "memory_mib": memory_mib}
    here = Farm.open(path, **how)
    fields = [field for field in range(len(here)) if redo or here.due(field) is not None]
    count, skipped = len(fields), len(here) - len(fields)
    marks = _Marks(str(here.output / f".under_way_{uuid.uuid4().hex[:12]}"))
    marks.begin()
    returned: dict[int, int] = {}
    made, busy = 0, []

    def task(together: list[int]) -> Future:
        # Never the same twice: what was made before this run is not to be taken for this run's.
        return client.submit(_make, path, how, str(marks.folder), together, pure=False, retries=0, key=f"haulm-{together[0]}-{uuid.uuid4().hex}")

    def after_loss(together: list[int]) -> Iterator[dict[str, Any]]:
        """Rows of fields that are made or given up; the others are due again, each by itself."""
        for field in together:
            row = _known(here, marks, field)
            if row is None:
                returned[field] = returned.get(field, 0) + 1
                if returned[field] < RETURNS:
                    # It lay beside the one that took the worker down.
                    due.append([field])
                    continue
                row = _given_up(here, field)
            yield row

    threads = max(1, sum(client.nthreads().values()))
    due = _together(fields, threads) if window is None else deque([field] for field in fields)
    try:
        for together, future in _answers(client, task, due, window or 2 * threads):
            if future.status == "finished":
                rows = future.result()
            else:
                error = future.exception() if future.status == "error" else None
                if error is not None and not isinstance(error, KilledWorker):
                    raise error
                rows = after_loss(together)
            for row in rows:
                made += 1
                if row["state"] == "busy":
                    busy.append(row["field"])
                if progress is not None:
                    progress(made, count, row)
    finally:
        marks.clear()
    collected = here.collect()
    return Ran(collected["index"], collected["files"], collected["states"], made, skipped, busy)


def main(arguments: list[str] | None = None) -> int:
    """``python -m haulm.batch``: 0 when every field has its map, 1 when one has none or the farm file is refused, 3 when another run has the folder of a field."""
    parser = argparse.ArgumentParser(prog="python -m haulm.batch", description="Make the maps of many fields on a Dask cluster.")
    parser.add_argument("farm", metavar="FARM", help="the farm file")
    parser.add_argument("--scheduler", metavar="ADDRESS", required=True, help="address of the scheduler, tcp://HOST:PORT; on one machine use haulm batch")
    parser.add_argument("--redo", action="store_true", help="make again what is done")
    parser.add_argument("--tables", action="store_true", help="the farm's tables alone, without maps")
    parser.add_argument("--window", type=int, metavar="N", help="fields handed over at once (default: two parcels of up to eight a thread)")
    parser.add_argument("--memory", type=int, metavar="MIB", help="memory that a worker may use (default: 2048)")
    parser.add_argument("--json", action="store_true", help="one line of JSON a field, and the sums as the last")
    asked = parser.parse_args(arguments)
    try:
        from distributed import Client
    except ImportError:
        print("Dask's distributed is not installed: pip install distributed", file=sys.stderr)
        return 2

    def told(done: int, due: int, row: dict[str, Any]) -> None:
        if asked.json:
            print(json.dumps(row), flush=True)
        else:
            reason = f": {row['reason']}" if row["reason"] else ""
            print(f"{done} of {due}  {row['field']}  {row['state']}{reason}", file=sys.stderr, flush=True)

    try:
        with Client(asked.scheduler) as client:
            ran = submit(client, asked.farm, redo=asked.redo, tables=asked.tables, window=asked.window, memory_mib=asked.memory, progress=told)
    except Refused as refused:
        print(f"error{refused}", file=sys.stderr)
        return 1
    if asked.json:
        print(json.dumps({"made": ran.made, "skipped": ran.skipped, "states": ran.states, "index": str(ran.index)}))
    else:
        states = ", ".join(f"{count} {state}" for state, count in ran.states.items() if count)
        print(f"{states}; made now {ran.made}, done before {ran.skipped}\nLook at the index page: {ran.index}")
    if ran.busy:
        return 3
    return 0 if ran.states["done"] == sum(ran.states.values()) else 1


if __name__ == "__main__":
    # Workers look for tasks in the module: in a program they would not find them.
    sys.exit(importlib.import_module("haulm.batch").main())
