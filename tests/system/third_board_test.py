"""Proves units, and talks to a module, on a third rig board: the second one, taught versions 1.1 and 1.2 of the protocol from its page.

Its bench, products and scenarios are its own, so that it stays as it is when the shipped ones grow. Started by
tests/system/run. Needs Debian's python3-yaml.
"""

import contextlib
import os
import pathlib
import subprocess
import sys
import tempfile

import stand

HERE = stand.SOURCE / "tests/system/third_board"
FILES = HERE / "files"
BENCH = FILES / "benches/board.yaml"
UNIT_BOARD = stand.BUILD / "unit_board"


@contextlib.contextmanager
def board(folder, *options, product="two-pressure.yaml"):
    """The board on a pseudo-terminal; it must still be well when it is told to end."""
    path = pathlib.Path(folder) / "wire"
    with open(pathlib.Path(folder) / "board.err", "w+b") as said:
        child = subprocess.Popen(["/usr/bin/python3", str(HERE / "board.py"), "--bench", str(BENCH), "--link", str(path), "--product",
                                  str(FILES / "products" / product), *options], stdout=subprocess.PIPE, stderr=said, text=True)
        try:
            line = child.stdout.readline()
            assert line == f"ready: {path}\n", (line, open(said.name, encoding="utf-8").read()[-2000:])
            yield path
        finally:
            child.terminate()
            child.wait(timeout=10)
            child.stdout.close()
        said.seek(0)
        words = said.read().decode("utf-8", "replace")
        assert not words, words[-2000:]


def prove(serial, scenario, product, *options):
    """Exit status, report and talk of a run on the board."""
    with tempfile.TemporaryDirectory() as folder, board(folder, *options, product=product) as path:
        return stand.run(folder, unit=serial, scenario=FILES / scenario, bench=BENCH, more=("--device", str(path)))


def host_side(tag, *options):
    """The host's own tests against this board: those that are hidden in unit_board."""
    assert UNIT_BOARD.exists(), f"{UNIT_BOARD} is not built"
    with tempfile.TemporaryDirectory() as folder, board(folder, *options) as path:
        done = subprocess.run([str(UNIT_BOARD), f"[.independent][{tag}]"], capture_output=True, text=True, timeout=60, check=False,
                              env={**os.environ, "PROOFSTAND_DEVICE": str(path)})
    assert done.returncode == 0 and "All tests passed" in done.stdout, done.stdout[-3000:] + done.stderr[-1000:]


def the_page_and_this_board_agree():
    """every example of the page is what this board's codec reads and writes"""
    done = subprocess.run(["/usr/bin/python3", str(HERE / "examples.py"), str(stand.SOURCE / "drivers/board/PROTOCOL.md")],
                          capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]


def a_good_unit():
    """a good unit passes on a board of version 1.1"""
    code, report, said = prove("T00001", "end-of-line.yaml", "two-pressure.yaml")
    assert code == 0 and report["verdict"] == "pass", (said, report and report["reason"])


def one_frame_in_ten_lost():
    """one frame in ten lost, each way, on a board that must be told to advance: a good unit passes, or the rig says void"""
    told = []
    for _ in range(4):  # a void says nothing of the unit, so the run may be repeated; a fail would be a wrong verdict
        code, report, said = prove("S00001", "end-of-line-one-pressure.yaml", "one-pressure.yaml", "--loss", "10")
        told.append((code, said))
        assert code in (0, 3) and report and report["verdict"] in ("pass", "void"), told
        if code == 0:
            return
    raise AssertionError(told)


def conversations():
    """a module answers over the board's service port, byte for byte, at its baud rates"""
    host_side("answers")


def a_stammer():
    """an answer cut short is asked for again"""
    host_side("stammer", "--stammer")


def around_events():
    """what lies around an event is captured by a threshold either way, across a segment's end, and at a window's start"""
    host_side("triggered")


def less_than_promised():
    """a board that leaks more than the bench file promises is refused in words"""
    host_side("promise", "--promise", "ground_sense:leakage=2e-6")


if __name__ == "__main__":
    sys.exit(stand.verdicts([the_page_and_this_board_agree, conversations, a_stammer, around_events, less_than_promised, a_good_unit,
                             one_frame_in_ten_lost]))
