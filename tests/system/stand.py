"""What the tests of the whole program share: the program, an emulated board behind a pseudo-terminal, one run."""

import contextlib
import json
import os
import pathlib
import subprocess
import time

SOURCE = pathlib.Path(os.environ.get("PROOFSTAND_SOURCE", ".")).resolve()
PROGRAM = str(pathlib.Path(os.environ.get("PROOFSTAND", SOURCE / "build/proofstand")).resolve())
BUILD = pathlib.Path(os.environ.get("PROOFSTAND_BUILD", pathlib.Path(PROGRAM).parent)).resolve()
SCENARIOS = SOURCE / "scenarios"
END_OF_LINE = SCENARIOS / "end-of-line.yaml"
TWO_PRESSURE = SCENARIOS / "products/two-pressure.yaml"
EMULATED = SCENARIOS / "benches/emulated.yaml"
BOARD = SCENARIOS / "benches/board.yaml"
WITHOUT_SHIFT_START = ("--without-shift-start", "a test: the board is emulated")


@contextlib.contextmanager
def board(folder, *, unit="T00001", pace="max", product=TWO_PRESSURE, more=(), program=PROGRAM):
    """An emulated board that listens; yields the link to its pseudo-terminal, and its process."""
    link = pathlib.Path(folder) / "board"
    server = subprocess.Popen(
        [program, "emulate", str(BOARD), "--product", str(product), "--unit", unit, "--link", str(link), "--pace", pace, *more],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        line = server.stdout.readline()
        assert line == f"ready: {link}\n", (line, server.poll() is not None and server.stderr.read())
        yield link, server
    finally:
        server.terminate()
        try:
            server.wait(timeout=10)
        except subprocess.TimeoutExpired:
            server.kill()
            raise


def run(folder, *, unit="T00001", scenario=END_OF_LINE, bench=EMULATED, more=(), program=PROGRAM, env=None, store="store.sqlite"):
    """One run; its exit code, its JSON (or None) and what it said."""
    done = subprocess.run(
        [program, "run", str(scenario), "--bench", str(bench), "--unit", unit, "--store", str(pathlib.Path(folder) / store), "--json",
         *(WITHOUT_SHIFT_START if bench == BOARD else ()), *more],
        capture_output=True, text=True, timeout=300, env={**os.environ, **(env or {})}, check=False)
    report = json.loads(done.stdout) if done.stdout.strip() else None
    return done.returncode, report, done.stderr


def wait_for(condition, seconds, what):
    """Waits for the outside world; the time-out only guards against a hang."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, f"waited {seconds} s in vain: {what}"
        time.sleep(0.01)


def verdicts(tests):
    """Runs functions that assert; prints each, and the count as the last line. Returns the exit status."""
    failed = 0
    for test in tests:
        try:
            test()
            print(f"ok    {test.__doc__}")
        except Exception as error:  # noqa: BLE001 - the report of a test program
            failed += 1
            print(f"FAIL  {test.__doc__}: {type(error).__name__}: {error}")
    print(f"{len(tests) - failed} passed, {failed} failed")
    return 1 if failed else 0
