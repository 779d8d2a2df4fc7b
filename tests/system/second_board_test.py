"""Proves units on a second rig board, written from the protocol's page alone: the page, not the code, is the wire.

The board in second_board/ shares nothing with the program but that page. It speaks version 1.0 and stays as it is for
ever, with the page of 1.0 and the bench, products and scenarios of its day: a board that was good then is good now. It
does not end `until` segments itself, so that these runs also prove the host's `advance`. Started by tests/system/run. Needs Debian's python3-yaml.
"""

import contextlib
import json
import os
import pathlib
import signal
import subprocess
import sys
import tempfile
import threading

PROGRAM = os.environ.get("PROOFSTAND", "build/proofstand")
ROOT = pathlib.Path(os.environ.get("PROOFSTAND_SOURCE", pathlib.Path(__file__).resolve().parents[2])).resolve()
HERE = ROOT / "tests/system/second_board"
FILES = HERE / "files"
BENCH = FILES / "benches/board.yaml"

counts = {"passed": 0, "failed": 0}


def expect(holds, text):
    counts["passed" if holds else "failed"] += 1
    if not holds:
        print(f"not so: {text}", flush=True)


@contextlib.contextmanager
def board(folder, product, *options):
    """The board on a pseudo-terminal: (process, path). It must still be well, and end, when it is told to."""
    path = folder / "wire"
    with open(folder / "board.err", "w+b") as said:
        command = ["/usr/bin/python3", str(HERE / "board.py"), "--bench", str(BENCH), "--link", str(path),
                   "--product", str(FILES / "products" / product), *options]
        child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=said, text=True)
        try:
            line = child.stdout.readline()
            expect(line == f"ready: {path}\n", f"the board says {line!r}")
            yield child, path
        finally:
            if child.poll() is None:
                child.terminate()
            try:
                child.wait(timeout=10)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()
            child.stdout.close()
        said.seek(0)
        words = said.read().decode("utf-8", "replace")
        expect(not words, f"the board complains: {words[-2000:]}")


def prove(folder, path, serial, scenario="end-of-line"):
    """(exit status, report) of a run on the board."""
    done = subprocess.run([PROGRAM, "run", str(FILES / f"{scenario}.yaml"), "--bench", str(BENCH), "--device",
                           str(path), "--unit", serial, "--store", str(folder / "store.sqlite"), "--json"],
                          capture_output=True, text=True, timeout=300)
    try:
        return done.returncode, json.loads(done.stdout)
    except json.JSONDecodeError:
        print(done.stdout[-2000:], done.stderr[-2000:])
        return done.returncode, {"verdict": None, "reason": "", "counts": {}, "findings": []}


def described(report):
    return f"{report['verdict']}, {report['counts']}: {report['reason'][:600]}"


def the_page_and_this_board_agree():
    done = subprocess.run(["/usr/bin/python3", str(HERE / "examples.py"), str(HERE / "PROTOCOL-1.0.md")],
                          capture_output=True, text=True, timeout=60)
    expect(done.returncode == 0, f"examples and vectors of the page: {done.stdout[-2000:]}{done.stderr[-2000:]}")


def a_good_unit_passes(folder):
    with board(folder, "two-pressure.yaml") as (_, path):
        status, report = prove(folder, path, "T00001")
    expect((status, report["verdict"]) == (0, "pass"), f"a good unit: exit {status}, {described(report)}")
    expect(len(report["findings"]) > 1000, f"a good unit: {len(report['findings'])} findings only")


def a_good_unit_of_the_other_product_passes(folder):
    with board(folder, "one-pressure.yaml") as (_, path):
        status, report = prove(folder, path, "S00001", "end-of-line-one-pressure")
    expect((status, report["verdict"]) == (0, "pass"), f"the other product: exit {status}, {described(report)}")


def a_board_that_runs_ahead_of_the_host_is_no_trouble(folder):
    with board(folder, "two-pressure.yaml", "--ahead", "8") as (_, path):
        status, report = prove(folder, path, "T00004")
    expect((status, report["verdict"]) == (0, "pass"), f"a board that runs ahead: exit {status}, {described(report)}")


def a_missing_bypass_is_found(folder):
    with board(folder, "two-pressure.yaml", "--fault", "no_bypass") as (_, path):
        status, report = prove(folder, path, "T00002")
    expect((status, report["verdict"]) == (1, "fail"), f"no bypass: exit {status}, {described(report)}")
    expect("bypass" in report["reason"], f"no bypass: the reason is {report['reason']!r}")
    failed = {finding["id"].split("/")[0] for finding in report["findings"] if finding["verdict"] == "fail"}
    expect("pass_through" in failed and "sweep" not in failed, f"no bypass: failed are {sorted(failed)}")


def a_board_that_dies_voids_the_run(folder):
    with board(folder, "two-pressure.yaml") as (child, path):
        killer = threading.Timer(3.0, child.send_signal, [signal.SIGKILL])
        killer.start()
        status, report = prove(folder, path, "T00003")
        killer.cancel()
        expect(child.wait(timeout=10) == -signal.SIGKILL, "the board was not killed in mid-run: the run was too short")
    expect((status, report["verdict"]) == (3, "void"), f"a dead board: exit {status}, {described(report)}")
    expect(report["reason"], "a dead board: void without a reason")


def main():
    the_page_and_this_board_agree()
    for case in (a_good_unit_passes, a_good_unit_of_the_other_product_passes,
                 a_board_that_runs_ahead_of_the_host_is_no_trouble, a_missing_bypass_is_found, a_board_that_dies_voids_the_run):
        with tempfile.TemporaryDirectory() as scratch:
            print(case.__name__.replace("_", " "), flush=True)
            case(pathlib.Path(scratch))
    print(f"{counts['passed']} passed, {counts['failed']} failed")
    return 1 if counts["failed"] else 0


if __name__ == "__main__":
    sys.exit(main())
