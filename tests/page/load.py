"""What the page's server bears, over real sockets: many clients at once, slow ones, large files, those that go away, forged hosts.

    python load.py HAULM [REQUESTS]     (4 000)

Starts haulm page on copies of the demo and ends with "N passed, N failed". Only the standard library.
"""

import asyncio
import hashlib
import http.client
import json
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parents[2]
passed = failed = 0


def check(name: str, holds: bool, said: str = "") -> None:
    global passed, failed
    passed, failed = passed + bool(holds), failed + (not holds)
    print(f"{'ok     ' if holds else 'FAILED '} {name}{f': {said}' if said else ''}", flush=True)


class Served:
    """haulm page, let in as a browser would be."""

    def __init__(self, haulm: str, *arguments: str, cwd: Path) -> None:
        self.child = subprocess.Popen([haulm, "page", *arguments], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=cwd)
        self.address = next(found[0] for line in self.child.stdout if (found := re.search(r"https?://\S+/#\S+", line)))
        parts = urlsplit(self.address)
        self.host, self.port = parts.netloc, parts.port
        self.cookie = self.token = ""
        answer = self.ask("POST", "enter", {"token": parts.fragment})
        self.cookie = answer.getheader("set-cookie").split(";")[0]
        self.token = json.loads(self.ask("GET", "session").read())["token"]

    def headers(self) -> dict[str, str]:
        return {"cookie": self.cookie, "x-haulm-token": self.token, "content-type": "application/json"}

    def ask(self, method: str, path: str, body: object = None) -> http.client.HTTPResponse:
        wire = http.client.HTTPConnection(self.host, timeout=120)
        wire.request(method, f"/api/v1/{path}", None if body is None else json.dumps(body), self.headers())
        return wire.getresponse()

    def memory(self, row: str) -> int:
        """VmHWM or VmRSS. [KiB]"""
        return int(re.search(rf"{row}:\s+(\d+)", Path(f"/proc/{self.child.pid}/status").read_text())[1])

    def close(self) -> None:
        self.child.terminate()
        self.child.wait(30)


async def wire(served: Served, method: str, path: str, body: bytes = b"", headers: dict[str, str] | None = None) -> tuple[int, dict[str, str], bytes]:
    reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
    lines = [f"{method} {path} HTTP/1.1", f"host: {served.host}", "connection: close", f"content-length: {len(body)}"]
    lines += [f"{name}: {value}" for name, value in (served.headers() if headers is None else headers).items()]
    writer.write("\r\n".join(lines).encode() + b"\r\n\r\n" + body)
    await writer.drain()
    answer = await reader.read()
    writer.close()
    head, _, content = answer.partition(b"\r\n\r\n")
    rows = head.decode("latin-1").split("\r\n")
    return int(rows[0].split()[1]), dict(row.lower().split(": ", 1) for row in rows[1:]), content


async def many(served: Served, jobs: int) -> None:
    """64 clients at once on four jobs: pages, cells, changes."""
    known: dict[tuple[int, str], set[str]] = {}
    statuses: dict[int, int] = {}
    without_retry = 0
    times: list[float] = []
    gate = asyncio.Semaphore(64)
    total = int(sys.argv[2]) if len(sys.argv) > 2 else 4_000

    async def one(k: int) -> None:
        nonlocal without_retry
        job = k // 4 % jobs
        async with gate:
            if k % 50 == 7:
                change = {"changes": [{"section": "rate", "key": "usual", "value": f'"{20 + job} kg N/ha"'}]}
                status, headers, _ = await wire(served, "POST", f"/api/v1/jobs/{job}/change", json.dumps(change).encode())
            elif k % 4 == 0:
                began = time.monotonic()
                status, headers, content = await wire(served, "GET", ["/page.js", "/page.css", "/"][k % 3])
                times.append(time.monotonic() - began)
            else:
                what = ["row,col,area", "n,zone", "index"][k % 3]
                status, headers, content = await wire(served, "GET", f"/api/v1/jobs/{job}/cells?columns={what}")
                if status == 200:
                    known.setdefault((job, what), set()).add(hashlib.sha256(content).hexdigest())
            statuses[status] = statuses.get(status, 0) + 1
            without_retry += status == 503 and "retry-after" not in headers

    await asyncio.gather(*(one(k) for k in range(total)))
    times.sort()
    check(f"64 clients, {total} requests on {jobs} jobs: only 200, or 503 that says when to come back", set(statuses) <= {200, 503} and not without_retry, str(statuses))
    # The usual rate is for comparison only, so every answer of a job is one and the same.
    check("no answer is another job's", all(len(found) == 1 for found in known.values()) and len({next(iter(found)) for (_, what), found in known.items() if what == "n,zone"}) == jobs, f"{len(known)} columns")
    print(f"        page files: median {1000 * times[len(times) // 2]:.0f} ms, 99 of 100 within {1000 * times[int(0.99 * len(times))]:.0f} ms, the clients on the same machine")


async def slow(served: Served) -> None:
    """200 connections that drip and 800 that say nothing: others are answered."""
    held = []
    for k in range(1_000):
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
        except OSError as error:
            print(f"        connection {k}: {error}")
            break
        if k % 5 == 0:
            writer.write(b"GET / HTTP/1.1\r\nhost:")
        held.append(writer)
    worst = 0.0
    for _ in range(20):
        for writer in held[::5]:
            writer.write(b" ")
        began = time.monotonic()
        status, _, _ = await asyncio.wait_for(wire(served, "GET", "/page.css"), 10)
        worst = max(worst, time.monotonic() - began)
        if status != 200:
            worst = 99
    check(f"with {len(held)} slow and silent connections others are answered within a second", worst < 1 and len(held) == 1_000, f"{1000 * worst:.0f} ms at most")
    for writer in held:
        writer.close()


def hosts(served: Served) -> None:
    """Forged hosts on the wire; the good ones in every spelling."""
    port = served.port

    def status(lines: list[str], target: str = "/") -> int:
        with socket.create_connection(("127.0.0.1", port), timeout=10) as wire:
            wire.sendall("\r\n".join([f"GET {target} HTTP/1.1", *lines, "connection: close", "", ""]).encode())
            answer = b""
            while piece := wire.recv(4096):
                answer += piece
        return int(answer.split()[1]) if answer else 0

    forged = [
        f"evil.example:{port}", "evil.example", "localhost", "127.0.0.1", f"127.0.0.1:{port + 1}", f"127.0.0.1.evil.example:{port}", f"localhost.evil.example:{port}",
        f"evil.example@127.0.0.1:{port}", f"user:pass@localhost:{port}", f"2130706433:{port}", f"0x7f000001:{port}", f"0177.0.0.1:{port}", f"127.1:{port}", f"0.0.0.0:{port}",
        f"[::]:{port}", f"[::ffff:127.0.0.1]:{port}", f"127.0.0.2:{port}", f"localhost:{port}/", f"localhost:{port}#", f"localhost:0{port}", f"localhost:+{port}", f"xn--localhost:{port}",
        f"localhost%00:{port}", f"local host:{port}", "", ":", f":{port}",
    ]
    wrong = [host for host in forged if status([f"host: {host}"]) not in (400, 403)]
    wrong += [name for name, got in [
        ("no host", status([])), ("two hosts", status([f"host: localhost:{port}", f"host: 127.0.0.1:{port}"])), ("absolute target", status([f"host: 127.0.0.1:{port}"], "http://evil.example/")),
    ] if got not in (400, 403)]
    check(f"{len(forged) + 3} forged hosts are refused", not wrong, ", ".join(wrong))
    good = [f"localhost:{port}", f"LOCALHOST:{port}", f"localhost.:{port}", f"127.0.0.1:{port}"]
    wrong = [host for host in good if status([f"host: {host}"]) != 200]
    check(f"{len(good)} spellings of this machine are taken", not wrong, ", ".join(wrong))


def upload(haulm: str, folder: Path) -> None:
    """A large file is streamed: memory does not follow its size; one that breaks off leaves nothing."""
    served = Served(haulm, cwd=folder)
    piece, pieces = b"\0" * (1 << 20), 300
    before = served.memory("VmRSS")

    def send(count: int, promised: int) -> int | None:
        wire = http.client.HTTPConnection(served.host, timeout=120)
        wire.putrequest("POST", "/api/v1/files?kind=image&set=7&name=large.tif")
        for name, value in {**served.headers(), "content-type": "application/octet-stream", "content-length": str(promised)}.items():
            wire.putheader(name, value)
        wire.endheaders()
        for _ in range(count):
            wire.send(piece)
        if count * len(piece) < promised:
            wire.sock.close()
            return None
        return wire.getresponse().status

    status = send(pieces, pieces * len(piece))
    grown = (served.memory("VmHWM") - before) / 1024
    check("a file of 300 MiB is taken in less than 64 MiB of memory", status == 200 and grown < 64, f"{status}, {grown:.0f} MiB")
    send(20, pieces * len(piece))
    for _ in range(50):
        left = [path.name for path in folder.rglob("*.part")]
        if not left:
            break
        time.sleep(0.1)
    check("a file that breaks off leaves nothing, and the one before it stands", not left and any(path.stat().st_size == pieces * len(piece) for path in folder.rglob("image.tif")), ", ".join(left))
    large = http.client.HTTPConnection(served.host, timeout=30)
    large.putrequest("POST", "/api/v1/jobs/0/change")
    for name, value in {**served.headers(), "content-length": str(64 << 20)}.items():
        large.putheader(name, value)
    large.endheaders()
    try:
        for _ in range(64):
            large.send(piece)
    except OSError:
        pass
    try:
        answer = large.getresponse()
        said = answer.status, answer.read()
    except (OSError, http.client.HTTPException):
        said = 0, b"closed"
    check("a body of 64 MiB where 2 MiB are taken is refused", said[0] in (0, 404, 413), str(said[0]))
    served.close()


def main() -> int:
    haulm = str(Path(sys.argv[1]).resolve())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        text = (ROOT / "demo/job.toml").read_text()
        for k in range(4):
            own = folder / f"field_{k}"
            shutil.copytree(ROOT / "demo/field", own / "field")
            (own / "job.toml").write_text(re.sub(r"maximum_yield\s*=\s*\"[^\"]*\"", f'maximum_yield = "{3.4 + k / 5:.1f} t/ha"', text))
        served = Served(haulm, str(folder), "--write", cwd=folder)
        for k in range(4):
            served.ask("GET", f"jobs/{k}").read()
        asyncio.run(many(served, 4))
        asyncio.run(slow(served))
        hosts(served)
        check("after all that the jobs are whole", all(served.ask("GET", f"jobs/{k}").status == 200 for k in range(4)))
        served.close()
        (folder / "empty").mkdir()
        upload(haulm, folder / "empty")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


sys.exit(main())
