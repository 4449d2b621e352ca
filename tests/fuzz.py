# SPDX-License-Identifier: GPL-3.0-or-later
"""Random cuts for a while: ``python3 build.py fuzz --minutes N``.

Every case is made from its number alone, so a run goes on where the last one stopped and any failure can be had again.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import time
import traceback
from pathlib import Path

sys.path.append(str(Path(__file__).parent / "outside"))

import pytest
from fuzz_cases import check_case, limb_case, make_case
from fuzz_plans import check_plan, plan_case

STATE = Path(__file__).resolve().parent.parent / ".cache" / "fuzz.json"

LONGEST = 300
"""Seconds of processor time after which a case counts as hung: thousands of times what one takes."""


def main() -> int:
    """Run cases until the time is up; exit code 1 if one failed."""
    parser = argparse.ArgumentParser(prog="fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--first", type=int, help="number of the first case; left out: go on from the last run")
    parser.add_argument("--count", type=int, default=10**9, help="most cases")
    options = parser.parse_args()
    signal.signal(signal.SIGPROF, _hung)
    state = {"next": 0, "failed": [], "cuts": 0} | (json.loads(STATE.read_text()) if STATE.exists() else {})
    number = state["next"] if options.first is None else options.first
    begin, start, failed, cuts = time.monotonic(), number, [], 0
    missing: list[str] = []
    while number < start + options.count and time.monotonic() - begin < 60.0 * options.minutes:
        try:
            signal.setitimer(signal.ITIMER_PROF, LONGEST)
            case = make_case(number)
            check_case(case)
            cuts += len(case.joints)
            if number % 3 == 0:
                limbs = limb_case(number)
                check_case(limbs)
                cuts += len(limbs.joints)
            if number % 3 == 1:
                plan = plan_case(number)
                check_plan(plan)
                cuts += len(plan.joints)
        except pytest.skip.Exception as without:
            missing.append(str(without))
        except Exception:
            failed.append(number)
            sys.stderr.write(f"case {number} failed\n{traceback.format_exc(limit=-2)}\n")
        number += 1
        if options.first is None and number % 20 == 0:
            _save(number, state["failed"] + failed, state["cuts"] + cuts)
    if options.first is None:
        _save(number, state["failed"] + failed, state["cuts"] + cuts)
    for reason in sorted(set(missing)):
        sys.stdout.write(f"{missing.count(reason)} cases left out: {reason}\n")
    cases = f"{number - start} cases ({start} to {number - 1}) with {cuts} cuts"
    sys.stdout.write(f"{cases}, {len(failed)} failed {failed or ''}\n")
    return 1 if failed else 0


def _hung(*_: object) -> None:
    raise TimeoutError(f"not done after {LONGEST} s")


def _save(number: int, failed: list[int], cuts: int) -> None:
    STATE.parent.mkdir(exist_ok=True)
    STATE.write_text(json.dumps({"next": number, "failed": failed, "cuts": cuts}))


if __name__ == "__main__":
    raise SystemExit(main())
