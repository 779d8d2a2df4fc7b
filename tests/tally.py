#!/usr/bin/python3
"""Runs test programs, a few at a time, and counts what passed and what failed.

  tests/tally.py [--jobs N] [--limit SECONDS] --log FOLDER --count FILE NAME=COMMAND...

One line is printed for each program; the whole output only of those that failed. Counted are the test cases that the
program itself reports (Catch2, unittest, or a last line `N passed, N failed`), else the program as one test by its exit
status. A program that dies, runs over its limit, or says "no failure" with a non-zero exit counts as one failure more.
`N N` (passed, failed) is appended to FILE. Exit: 0 when nothing failed, else 1.
"""

import argparse
import concurrent.futures
import os
import re
import shlex
import signal
import subprocess
import sys
import time


def counted(output, status):
    """(passed, failed) as the output reports them."""
    passed = failed = 0
    found = False
    if m := re.search(r"^All tests passed \(.*? in (\d+) test cases?\)", output, re.M):
        found, passed = True, int(m.group(1))
    elif m := re.search(r"^test cases:.*$", output, re.M):
        found = True
        passed = sum(int(n) for n in re.findall(r"(\d+) (?:passed|failed as expected)", m.group(0)))
        failed = sum(int(n) for n in re.findall(r"(\d+) failed(?! as)", m.group(0)))
    elif m := re.search(r"^Ran (\d+) tests? in ", output, re.M):
        found = True
        bad = sum(int(n) for n in re.findall(r"(?:failures|errors|unexpected successes)=(\d+)", output[m.end():]))
        skipped = sum(int(n) for n in re.findall(r"skipped=(\d+)", output[m.end():]))
        passed, failed = int(m.group(1)) - bad - skipped, bad
    elif m := re.search(r"^(\d+) passed, (\d+) failed", output.rstrip().rsplit("\n", 1)[-1]):
        found, passed, failed = True, int(m.group(1)), int(m.group(2))
    if not found:
        return (1, 0) if status == 0 else (0, 1)
    if status != 0 and failed == 0:
        failed = 1
    if status == 0 and passed + failed == 0:
        failed = 1  # a test program without a test proves nothing
    return passed, failed


def run(name, command, limit, log):
    start = time.monotonic()
    path = os.path.join(log, re.sub(r"[^\w.-]+", "_", name) + ".log")
    with open(path, "wb") as out:
        # A session of its own, so that a program over its limit goes with everything it started.
        child = subprocess.Popen(shlex.split(command), stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT,
                                 start_new_session=True)
        try:
            status = child.wait(timeout=limit)
        except subprocess.TimeoutExpired:
            os.killpg(child.pid, signal.SIGKILL)
            child.wait()
            status = None
    with open(path, encoding="utf-8", errors="replace") as text:
        output = text.read()
    passed, failed = counted(output, 1 if status is None else status)
    note = ""
    if status is None:
        note = f", stopped after {limit:.0f} s"
    elif status < 0:
        note = f", ended by signal {-status}"
    return name, passed, failed, note, time.monotonic() - start, output


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--jobs", type=int, default=2)
    arguments.add_argument("--limit", type=float, default=600)
    arguments.add_argument("--log", required=True)
    arguments.add_argument("--count", required=True)
    arguments.add_argument("programs", nargs="*")
    given = arguments.parse_args()
    os.makedirs(given.log, exist_ok=True)
    totals = [0, 0]
    with concurrent.futures.ThreadPoolExecutor(given.jobs) as pool:
        runs = [pool.submit(run, *program.split("=", 1), given.limit, given.log) for program in given.programs]
        for done in concurrent.futures.as_completed(runs):
            name, passed, failed, note, took, output = done.result()
            totals[0] += passed
            totals[1] += failed
            if failed:
                print(output.rstrip()[-20000:])
            print(f"  {'FAIL' if failed else 'ok  '} {name}: {passed} passed, {failed} failed{note} ({took:.1f} s)", flush=True)
    with open(given.count, "a") as count:
        count.write(f"{totals[0]} {totals[1]}\n")
    return 1 if totals[1] else 0


if __name__ == "__main__":
    sys.exit(main())
