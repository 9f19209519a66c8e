#!/usr/bin/env python3
"""Licences of all crates that are built, and crates that are there in two versions, by cargo's own list. Advisories are not looked up: their database lies on a network.

dependencies.py: ends with "N passed, N failed", a crate counting as one.
"""

import collections
import json
import re
import subprocess
import sys

# Licences under which haulm may be given on; an expression passes when one of its choices is made of these alone.
LICENCES = {
    "MIT", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "ISC", "Zlib", "Unlicense", "0BSD", "CC0-1.0", "Unicode-3.0",
    "BSL-1.0", "MIT-0", "NCSA",
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


def main():
    assert passes("MIT OR GPL-3.0") and not passes("MIT AND GPL-3.0") and passes("(MIT OR Apache-2.0) AND Unicode-3.0") and passes("Unlicense/MIT")
    said = subprocess.run(["cargo", "metadata", "--locked", "--format-version", "1", "--filter-platform", "x86_64-unknown-linux-gnu"], check=True, capture_output=True)
    whole = json.loads(said.stdout)
    built = {node["id"] for node in whole["resolve"]["nodes"]}
    passed = failed = 0
    versions = collections.defaultdict(set)
    for crate in whole["packages"]:
        if crate["id"] not in built:
            continue
        versions[crate["name"]].add(crate["version"])
        if crate["license"] and passes(crate["license"]):
            passed += 1
        else:
            failed += 1
            print(f"failed: {crate['name']} {crate['version']}: licence {crate['license']!r}")
    doubles = sorted(f"{name} {', '.join(sorted(found))}" for name, found in versions.items() if len(found) > 1)
    print(f"{len(versions)} crates; in two versions: {'; '.join(doubles) or 'none'}")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
