#!/usr/bin/env python3
"""Commands that serve more than one job in one process, `page` and `stick`, and those that read without a job, under strace: they stand behind walls like any other.

servers.py HAULM [WAY...]: ways out of the job's folder, of those in ways.py, tried on a page; files that are put in the place of inputs while the page is open;
a stick. Held are: the process raises its walls before it opens an input, a job is read behind walls of its own, no call leaves the process, no file outside is
opened, and the outcome is a refusal or the very map of the field without the trick. Ends with "N passed, N failed".
"""

import http.client
import json
import os
import pathlib
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time

import ways
from field import make, ring

# One in so many of the ways; all of them are tried on `map`.
EVERY = 6
# A field map is made in two seconds; under strace, and on a busy machine, in more.
LONGEST = 180


class Page:
    """A page under strace, spoken to as a browser would."""

    def __init__(self, place, *arguments):
        self.place = place
        temporary = place.root / "temporary"
        temporary.mkdir(exist_ok=True)
        self.log, self.said = place.root / "trace", place.root / "said"
        environment = {"PATH": os.environ["PATH"], "HOME": str(place.root), "TMPDIR": str(temporary)}
        trace = "trace=network,open,openat,openat2,creat,landlock_restrict_self,seccomp"
        command = ["strace", "-f", "-qq", "-s", "400", "-e", trace, "-o", str(self.log), ways.HAULM, "page", *arguments]
        self.out = open(self.said, "wb")
        self.child = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=self.out, stderr=self.out, env=environment, cwd=place.home)
        self.address = None
        for _ in range(LONGEST * 10):
            found = re.search(r"http://(127\.0\.0\.1:\d+)/#(\w+)", self.said.read_text(errors="replace"))
            if found:
                self.address, self.token = found[1], found[2]
                break
            if self.child.poll() is not None:
                break
            time.sleep(0.1)

    def ask(self, method, path, body=None, headers=None):
        link = http.client.HTTPConnection(self.address, timeout=LONGEST)
        text = None if body is None else json.dumps(body)
        kind = {} if body is None else {"Content-Type": "application/json"}
        link.request(method, "/api/v1" + path, text, {**kind, **(headers or {})})
        answer = link.getresponse()
        whole = answer.read()
        link.close()
        return answer, whole

    def enter(self):
        answer, _ = self.ask("POST", "/enter", {"token": self.token})
        cookie = {"Cookie": answer.getheader("Set-Cookie").split(";")[0]}
        _, session = self.ask("GET", "/session", headers=cookie)
        self.let_in = {**cookie, "x-haulm-token": json.loads(session)["token"]}

    def view(self):
        answer, whole = self.ask("GET", "/jobs/0", headers=self.let_in)
        return answer.status, json.loads(whole)

    def haulm(self):
        """The number of the process itself, below strace."""
        children = pathlib.Path(f"/proc/{self.child.pid}/task/{self.child.pid}/children").read_text().split()
        return int(children[0]) if children else None

    def close(self):
        if self.child.poll() is None:
            os.kill(self.haulm() or self.child.pid, signal.SIGINT)
        self.child.wait(timeout=LONGEST)
        self.out.close()
        return ways.calls(self.log)


# The one call to a network that a page makes is to listen, before it opens anything.
LISTENS = re.compile(r"^\d+ +(socket\(AF_INET, SOCK_STREAM|bind\(\d+, \{sa_family=AF_INET, sin_port=htons\(0\), sin_addr=inet_addr\(\"127\.0\.0\.1\"\)|accept4?\(|listen\()")


def walls(trace, place):
    """What is wrong with the walls of a page, by its trace."""
    found = []
    raised = [at for at, line in enumerate(trace.splitlines()) if re.match(r"^\d+ +landlock_restrict_self\(.*= 0", line)]
    filtered = [at for at, line in enumerate(trace.splitlines()) if re.match(r"^\d+ +seccomp\(SECCOMP_SET_MODE_FILTER.*= 0", line)]
    # Without O_CLOEXEC it is a library that opens; haulm's own reader looks at names and first bytes before.
    opened = [at for at, line in enumerate(trace.splitlines()) if re.match(r"^\d+ +openat\(.*/(image|boundary|strips)\.\w+\", O_RDONLY\) += \d", line)]
    if not raised or not filtered:
        return ["no walls were raised"]
    if opened and (opened[0] < raised[0] or opened[0] < filtered[0]):
        found.append(f"opened before the walls stood: {trace.splitlines()[opened[0]]}")
    # What opens inputs is a thread that has given up more than the process has.
    readers = {line.split()[0] for at, line in enumerate(trace.splitlines()) if at in raised[1:]}
    if opened and not readers:
        found.append("the job was read behind the walls of the process alone")
    lines = [line for line in trace.splitlines() if not LISTENS.match(line)]
    return found + ways.broken(place, "\n".join(lines), str(place.home))


def on_page(name, good, bait, address, root):
    """A way, tried on a page that may write: what is wrong, what was said, the map."""
    place = ways.Place(root, good, bait, address)
    ways.WAYS[name](place)
    page = Page(place, "job.toml", "--write")
    if not page.address:
        page.close()
        said = page.said.read_text(errors="replace")
        return place, [] if "error[" in said else [f"did not open: {said}"], said, None
    page.enter()
    wrong = []
    status, view = page.view()
    said = json.dumps(view.get("error") or view["state"]) if status == 200 else f"{status} {view}"
    if status == 200 and view["state"] == "ready":
        answer, whole = page.ask("POST", "/jobs/0/map", {}, page.let_in)
        if answer.status != 200:
            wrong.append(f"no map: {answer.status} {whole[:300]}")
        page.ask("GET", "/jobs/0/photo", headers=page.let_in)
    elif status != 200 or not (view["error"] or view["state"] in ("stopped", "unfinished")):
        wrong.append(f"neither shown nor refused: {said}")
    kept = pathlib.Path(f"/proc/{page.haulm()}/status").read_text()
    if "\nSeccomp:\t2\n" not in kept:
        wrong.append("its calls are not filtered")
    return place, wrong + walls(page.close(), place), said, ways.rates(place)


def swapped_while_open(good, bait, address, root, change, expected):
    """A page whose input is put elsewhere after it was opened: the walls stand since the start."""
    place = ways.Place(root, good, bait, address)
    page = Page(place, "job.toml")
    page.enter()
    change(place)
    status, view = page.view()
    trace = page.close()
    said = json.dumps(view)
    found = [] if expected in said and not view.get("record") else [f"{status} {said[-1500:]}"]
    return found + ways.broken(place, "\n".join(line for line in trace.splitlines() if not LISTENS.match(line)), str(place.home))


def linked(file):
    def change(place):
        place.at(file).unlink(missing_ok=True)
        place.at(file).symlink_to(place.bait / "image.tif")

    return change


def renamed(place):
    place.job('"image.tif"', f'"{place.bait}/image.tif"')


def on_stick(good, bait, address, root):
    place = ways.Place(root, good, bait, address)
    temporary = place.root / "temporary"
    temporary.mkdir()
    environment = {"PATH": os.environ["PATH"], "HOME": str(place.root), "TMPDIR": str(temporary)}
    made = subprocess.run([ways.HAULM, *place.arguments], capture_output=True, text=True, env=environment, cwd=place.home)
    assert made.returncode == 0, made.stderr
    wrong = []
    log = place.root / "trace"
    for arguments in (["stick", "job.toml", "--to", "stick"], ["check", "stick", "--against", "job.toml"], ["stick", "out", "--to", "stick"]):
        command = ["strace", "-f", "-qq", "-s", "400", "-e", "trace=network,open,openat,openat2,creat,landlock_restrict_self", "-o", str(log), ways.HAULM, *arguments]
        done = subprocess.run(command, capture_output=True, text=True, env=environment, cwd=place.home)
        trace = ways.calls(log)
        if done.returncode:
            wrong.append(f"{arguments}: exit {done.returncode}: {done.stderr}{done.stdout}")
        if not re.search(r"landlock_restrict_self\(.*= 0", trace):
            wrong.append(f"{arguments}: no walls were raised")
        wrong += ways.broken(place, trace, str(place.home))
    # A record that names a file of others as an input has it neither read nor compared.
    record = place.at("out/office/record.json")
    whole = json.loads(record.read_text())
    whole["inputs"].append({"path": f"{place.bait}/name.txt", "bytes": (place.bait / "name.txt").stat().st_size, "sha256": "0" * 64})
    record.write_text(json.dumps(whole))
    command = ["strace", "-f", "-qq", "-s", "400", "-e", "trace=network,open,openat,openat2,creat,landlock_restrict_self", "-o", str(log), ways.HAULM, "stick", "job.toml", "--to", "stick"]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, cwd=place.home)
    if done.returncode != 1 or "error[" not in done.stderr:
        wrong.append(f"a record that names another file: exit {done.returncode}: {done.stderr}")
    return wrong + ways.broken(place, ways.calls(log), str(place.home))


RAMP = """[field]
name = "Middle Piece"
boundary = "boundary.geojson"

[imagery]
path = "image.tif"
date = 2026-04-14
index = "NDVI"

[reference]
ramp = { path = "ramp.geojson", rate = "n", unit = "kg N/ha" }
ramp_index = "NDVI"

[rate]
maximum = "150 kg N/ha"
"""


def ramp(place):
    steps = ",".join(
        f'{{"type":"Feature","properties":{{"n":{20 * k}}},"geometry":{{"type":"Polygon","coordinates":[[{ring(24, 48 * k, 72, 48 * k + 48)}]]}}}}' for k in range(6)
    )
    place.at("ramp.geojson").write_text(f'{{"type":"FeatureCollection","features":[{steps}]}}')
    place.at("ramp.toml").write_text(RAMP)


# Commands that read what others have made and keep no page open: arguments, what is made for them, and inputs that have to be seen opened.
READING = (
    (("new", "boundary.geojson", "image.tif", "--strips", "strips.geojson", "--output", "new.toml"), lambda place: None, ("boundary.geojson", "image.tif", "strips.geojson")),
    (("new", "boundary.geojson", "image.tif", "--all", "--output", "jobs"), lambda place: None, ("boundary.geojson", "image.tif")),
    (("check", "strips.geojson", "--boundary", "boundary.geojson", "--faults", "faults.geojson"), lambda place: None, ("strips.geojson", "boundary.geojson")),
    (("rate", "ramp.toml"), ramp, ("image.tif", "ramp.geojson", "boundary.geojson")),
)


def on_a_reader(good, bait, address, root, arguments, change, inputs):
    """A command whose inputs are opened by threads that have given up more than the process has, and by no other once the walls stand."""
    place = ways.Place(root, good, bait, address)
    change(place)
    temporary = place.root / "temporary"
    temporary.mkdir()
    environment = {"PATH": os.environ["PATH"], "HOME": str(place.root), "TMPDIR": str(temporary)}
    log = place.root / "trace"
    command = ["strace", "-f", "-qq", "-s", "400", "-e", "trace=network,open,openat,openat2,creat,landlock_restrict_self", "-o", str(log), ways.HAULM, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, cwd=place.home)
    trace = ways.calls(log)
    lines = trace.splitlines()
    raised = [at for at, line in enumerate(lines) if re.match(r"^\d+ +landlock_restrict_self\(.*= 0", line)]
    if len(raised) < 2:
        return [f"{len(raised)} walls were raised: {done.stderr}"]
    readers = {lines[at].split()[0] for at in raised[1:]}
    wrong = [] if done.returncode in (0, 1) else [f"exit {done.returncode}: {done.stderr}"]
    for name in inputs:
        opened = [line for line in lines[raised[0] :] if re.match(rf'^\d+ +openat\(.*"([^"]*/)?{re.escape(name)}", O_RDONLY.*\) += \d', line)]
        if not opened:
            wrong.append(f"{name} was not opened: {done.stderr}")
        wrong += [f"behind the walls of the process alone: {line}" for line in opened if line.split()[0] not in readers]
    return wrong + ways.broken(place, trace, str(place.home))


def main():
    usual = [name for k, name in enumerate(ways.WAYS) if k % EVERY == 0]
    passed = failed = 0

    def count(name, wrong, said=""):
        nonlocal passed, failed
        failed, passed = failed + bool(wrong), passed + (not wrong)
        print(f"failed: {name}" if wrong else f"ok: {name}: {said[:160]}", *wrong[:6], sep="\n    ", flush=True)

    with tempfile.TemporaryDirectory(prefix="haulm-servers-") as scratch:
        scratch = pathlib.Path(scratch)
        good, bait = make(scratch / "good"), make(scratch / "bait")
        ways.bait_of(bait)
        listener = socket.create_server(("127.0.0.1", 0))
        listener.setblocking(False)
        address = "http://127.0.0.1:{}".format(listener.getsockname()[1])
        ways.WAYS["(the good field)"] = lambda place: None
        _, wrong, said, plain = on_page("(the good field)", good, bait, address, scratch / "plain")
        count("a page", wrong + ([] if plain else [f"no map: {said}"]), said)
        for number, name in enumerate(sys.argv[2:] or usual):
            place = ways.Place(scratch / f"look{number}", good, bait, address)
            ways.WAYS[name](place)
            if place.arguments[0] != "map" or place.variables:
                continue
            _, wrong, said, found = on_page(name, good, bait, address, scratch / str(number))
            if found and found != plain:
                wrong.append("another map than without the trick")
            count(f"a page: {name}", wrong, said)
        for name, change, expected in (
            ("the image becomes a link to another file", linked("image.tif"), "rights.outside"),
            ("a reduced copy becomes a link to another file", linked("image.tif.ovr"), "rights.outside"),
            ("the job names another file", renamed, "rights.outside"),
        ):
            count(f"while the page is open, {name}", swapped_while_open(good, bait, address, scratch / name.replace(" ", "-"), change, expected))
        for k, (arguments, change, inputs) in enumerate(READING):
            count(" ".join(arguments), on_a_reader(good, bait, address, scratch / f"reading{k}", arguments, change, inputs))
        count("a stick", on_stick(good, bait, address, scratch / "stick"))
        try:
            count("the listener", [f"called: {listener.accept()}"])
        except BlockingIOError:
            count("the listener", [], "nobody called")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
