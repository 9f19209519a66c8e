"""Throws requests at the page's API, made by schemathesis out of its own OpenAPI description: none may be answered by a fault of the server.

    python thrown.py HAULM [SECONDS] [SEED]

Starts haulm page on a copy of the demo, lets itself in as a browser would, and ends with "N passed, N failed": one for each check that holds of all answers, one for the
server still being there with the job file whole. 30 seconds unless told otherwise; ten minutes before a release.
"""

import http.client
import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parents[2]
CHECKS = ["not_a_server_error", "content_type_conformance"]


def served(haulm: str, folder: Path) -> tuple[subprocess.Popen, str]:
    """The server and its address with the token."""
    child = subprocess.Popen(
        [haulm, "page", str(folder / "job.toml"), "--write"], stdout=subprocess.PIPE, stderr=(folder / "stderr").open("w"), text=True, cwd=folder
    )
    for line in child.stdout:
        if found := re.search(r"https?://\S+/#\S+", line):
            return child, found[0]
    raise SystemExit("haulm page did not start")


class Browser:
    """What a browser holds: the cookie and the token of the page."""

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        self.host = parts.netloc
        answer = self.ask("POST", "enter", {"token": parts.fragment})
        self.cookie = answer.getheader("set-cookie").split(";")[0]
        self.token = json.loads(self.ask("GET", "session").read())["token"]

    def ask(self, method: str, path: str, body: object = None) -> http.client.HTTPResponse:
        headers = {"content-type": "application/json"}
        if hasattr(self, "cookie"):
            headers["cookie"] = self.cookie
        if hasattr(self, "token"):
            headers["x-haulm-token"] = self.token
        wire = http.client.HTTPConnection(self.host, timeout=120)
        wire.request(method, f"/api/v1/{path}", None if body is None else json.dumps(body), headers)
        return wire.getresponse()


def main() -> int:
    haulm, seconds, seed = str(Path(sys.argv[1]).resolve()), (sys.argv[2:3] or ["30"])[0], (sys.argv[3:4] or ["1"])[0]
    passed = failed = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copytree(ROOT / "demo/field", folder / "field")
        shutil.copy(ROOT / "demo/job.toml", folder / "job.toml")
        child, address = served(haulm, folder)
        try:
            browser = Browser(address)
            browser.ask("GET", "jobs/0").read()
            api = browser.ask("GET", "openapi.json").read()
            (folder / "openapi.json").write_bytes(api)
            command = [
                sys.executable, "-m", "schemathesis.cli", "run", str(folder / "openapi.json"), "--url", f"http://{browser.host}",
                "-H", f"cookie: {browser.cookie}", "-H", f"x-haulm-token: {browser.token}", "--checks", ",".join(CHECKS), "--max-time", seconds, "--seed", seed,
                # Events never end; to enter is to change the cookie; uploads are tried by the browser tests.
                "--exclude-path", "/api/v1/events", "--exclude-path", "/api/v1/enter", "--request-timeout", "60", "--continue-on-failure", "--output-sanitize", "true",
                "--suppress-health-check", "all", "--warnings", "off",
            ]
            run = subprocess.run(command, cwd=folder, capture_output=True, text=True)
            print(run.stdout[-20000:], run.stderr[-2000:])
            ok = run.returncode == 0
            passed, failed = (passed + len(CHECKS), failed) if ok else (passed, failed + len(CHECKS))
            after = browser.ask("GET", "jobs/0")
            there = after.status == 200 and json.loads(after.read())["id"] == 0
            whole = subprocess.run([haulm, "check", str(folder / "job.toml"), "--quiet"], capture_output=True).returncode == 0
            calm = "panicked" not in (folder / "stderr").read_text()
            for what, holds in [("the server answers", there), ("the job file is whole", whole), ("nothing panicked", calm)]:
                print(f"{'ok     ' if holds else 'FAILED '} {what}")
                passed, failed = passed + holds, failed + (not holds)
        finally:
            child.terminate()
            child.wait(30)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


sys.exit(main())
