#!/usr/bin/env python3
"""Checks a demo run's outputs with independent readers: check.py OUTPUT_FOLDER DEMO_FOLDER [WORD_OF_A_CHECK]"""

import sys
import traceback

import check_flavours  # noqa: F401  (registers its checks)
import check_formats  # noqa: F401
import check_raster  # noqa: F401
import check_report  # noqa: F401
import check_style  # noqa: F401
import check_task  # noqa: F401
import check_vector  # noqa: F401
from outputs import Outputs, Wrong
from registry import CHECKS


def run(name, out):
    """None when the check holds, else why not."""
    try:
        CHECKS[name](out)
    except Wrong as wrong:
        return str(wrong) or "no reason given"
    except Exception as error:  # A reader that cannot read is a failed check, whatever it throws.
        return "".join(traceback.format_exception_only(error)).strip()
    return None


def main():
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    out, word = Outputs(sys.argv[1], sys.argv[2]), (sys.argv[3] if len(sys.argv) > 3 else "")
    failed = 0
    names = [name for name in CHECKS if word in name]
    for name in names:
        why = run(name, out)
        failed += why is not None
        print(f"{'ok  ' if why is None else 'FAIL'}  {name}" + (f"\n      {why}" if why else ""), flush=True)
    print(f"checks: {len(names) - failed} passed, {failed} failed")
    sys.exit(1 if failed or not names else 0)


if __name__ == "__main__":
    main()
