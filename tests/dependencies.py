#!/usr/bin/env python3
"""Licences of all crates that are built, where they come from, crates that are there in two versions, and known faults of them, by cargo's own list.

dependencies.py [ADVISORIES]: a checkout of github.com/rustsec/advisory-db; without it known faults are not looked up, and the last line but one says so, for
the list of them lies on a network. Those who have one: `cargo install cargo-deny && cargo deny check`, which goes by `deny.toml`. Ends with
"N passed, N failed", a crate counting as one.
"""

import collections
import json
import pathlib
import re
import subprocess
import sys
import tomllib

# Licences under which haulm may be given on; an expression passes when one of its choices is made of these alone.
LICENCES = {
    "MIT", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "ISC", "Zlib", "Unlicense", "0BSD", "CC0-1.0", "Unicode-3.0",
    "BSL-1.0", "MIT-0", "NCSA",
}


# Known faults that stay, each with why.
BORNE = {
    # All three come with the generator of bindings that proj-sys runs while it is built, which paints nothing and asks no terminal; no line of them is in haulm.
    "RUSTSEC-2021-0139": "ansi_term is no longer kept",
    "RUSTSEC-2021-0145": "atty reads unaligned on Windows",
    "RUSTSEC-2024-0375": "atty is no longer kept",
}


def passes(expression):
    """Whether an SPDX expression holds with these licences: OR needs one side, AND both."""
    words = re.findall(r"\(|\)|[^\s()/]+(?: WITH [^\s()]+)?|/", expression)
    words = ["OR" if word == "/" else word for word in words]

    def choice(at):
        value, at = both(at)
        while at < len(words) and words[at] == "OR":
            other, at = both(at + 1)
            value = value or other
        return value, at

    def both(at):
        value, at = single(at)
        while at < len(words) and words[at] == "AND":
            other, at = single(at + 1)
            value = value and other
        return value, at

    def single(at):
        if words[at] == "(":
            value, at = choice(at + 1)
            return value, at + 1
        return words[at] in LICENCES, at + 1

    return choice(0)[0]


def number(text):
    """A version as numbers; one before a release comes before it."""
    plain, _, before = text.split("+")[0].partition("-")
    parts = [int(part) for part in plain.split(".")]
    return (parts + [0, 0])[:3], not before, before


def meets(version, requirement):
    """Whether a version meets a requirement as cargo reads it: parts with a comma between must all hold, a caret is meant where nothing stands."""
    for part in requirement.split(","):
        sign, text = re.fullmatch(r"\s*(>=|<=|>|<|=|\^|~)?\s*([^\s]+)\s*", part).groups()
        given, found = number(text), number(version)
        if sign in (None, "^", "~"):
            parts = given[0]
            keep = text.split("-")[0].count(".") + 1
            fixed = 2 if sign == "~" and keep > 1 else 1 if sign == "~" else next((k + 1 for k, part in enumerate(parts) if part), keep)
            if not (found >= given and found[0][:fixed] == parts[:fixed]):
                return False
        elif not {">=": found >= given, "<=": found <= given, ">": found > given, "<": found < given, "=": found == given}[sign]:
            return False
    return True


def advisories(folder, crate, version):
    """Known faults of a version, by the numbers of their advisories; those that only say that nobody keeps a crate any more count too."""
    found = []
    for path in sorted((folder / "crates" / crate).glob("RUSTSEC-*.md")):
        head = tomllib.loads(path.read_text().split("```toml")[1].split("```")[0])
        versions = head.get("versions", {})
        mended = [*versions.get("patched", []), *versions.get("unaffected", [])]
        if head["advisory"]["id"] not in BORNE and "withdrawn" not in head["advisory"] and not any(meets(version, requirement) for requirement in mended):
            found.append(head["advisory"]["id"])
    return found


def main():
    assert meets("1.2.3", ">=1.2, <2") and not meets("1.2.3", "^1.3") and meets("0.4.46", ">= 0.4.16") and not meets("2.0.0-rc1", ">=2.0.0") and meets("1.2.9", "~1.2.3")
    assert passes("MIT OR GPL-3.0") and not passes("MIT AND GPL-3.0") and passes("(MIT OR Apache-2.0) AND Unicode-3.0") and passes("Unlicense/MIT")
    said = subprocess.run(["cargo", "metadata", "--locked", "--format-version", "1", "--filter-platform", "x86_64-unknown-linux-gnu"], check=True, capture_output=True)
    whole = json.loads(said.stdout)
    built = {node["id"] for node in whole["resolve"]["nodes"]}
    passed = failed = 0
    known = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else None
    versions = collections.defaultdict(set)
    for crate in whole["packages"]:
        if crate["id"] not in built:
            continue
        versions[crate["name"]].add(crate["version"])
        wrong = []
        # Crates of our own have no place that they come from.
        if crate["source"] and not crate["source"].startswith("registry+"):
            wrong.append(f"comes from {crate['source']}")
        if not (crate["license"] and passes(crate["license"])) and crate["source"]:
            wrong.append(f"licence {crate['license']!r}")
        if known:
            wrong += advisories(known, crate["name"], crate["version"])
        passed, failed = passed + (not wrong), failed + bool(wrong)
        if wrong:
            print(f"failed: {crate['name']} {crate['version']}: {', '.join(wrong)}")
    doubles = sorted(f"{name} {', '.join(sorted(found))}" for name, found in versions.items() if len(found) > 1)
    print(f"{len(versions)} crates; in two versions: {'; '.join(doubles) or 'none'}")
    print("known faults looked up" if known else "known faults not looked up: no list of them is at hand")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
