"""The program killed at any instant of a run: nothing it told anyone is lost, and the run is closed as void."""

import json
import os
import pathlib
import random
import sqlite3
import subprocess
import sys
import tempfile
import time

import stand

SEED = int(os.environ.get("PROOFSTAND_SEED", random.SystemRandom().randrange(1 << 32)))
TRIES = 200 if os.environ.get("PROOFSTAND_SOAK") == "1" else 60


def start(folder, unit, printed):
    """A run that prints to a file: a pipe that nobody reads would hold it up."""
    return subprocess.Popen(
        [stand.PROGRAM, "run", str(stand.END_OF_LINE), "--bench", str(stand.EMULATED), "--unit", unit, "--store",
         str(pathlib.Path(folder) / "store.sqlite"), "--json"], stdout=printed, stderr=subprocess.DEVNULL)


def ask(folder, *what):
    done = subprocess.run([stand.PROGRAM, *what, "--store", str(pathlib.Path(folder) / "store.sqlite"), "--json"],
                          capture_output=True, text=True, timeout=120, check=False)
    return done.returncode, json.loads(done.stdout) if done.stdout.strip() else None


def whole(printed):
    """What was printed, if the kill let it be printed to the end."""
    try:
        return json.loads(printed)
    except ValueError:
        return None


def killed_anywhere():
    """kill -9 at any instant of a run loses no verdict that was printed; the run is closed as void at the next start"""
    chance = random.Random(SEED)
    with tempfile.TemporaryDirectory() as folder:
        begun = time.monotonic()
        code, _, said = stand.run(folder, unit="T90000")
        assert code == 0, said
        usual = time.monotonic() - begun
        told, cut = {}, 0
        for i in range(TRIES):
            with open(pathlib.Path(folder) / "printed", "w+b") as printed:
                process = start(folder, f"T{i:05}", printed)
                time.sleep(chance.uniform(0, 2 * usual))
                process.kill()
                process.wait()
                printed.seek(0)
                report = whole(printed.read())
            if report:
                told[report["run"]] = report
            else:
                cut += 1
        code, _, said = stand.run(folder, unit="T90001")  # the next start closes what was cut off
        assert code == 0, (SEED, said)
        _, listed = ask(folder, "list", "--limit", str(TRIES + 10))
        runs = {run["run"]: run for run in listed["runs"]}
        assert len([run for run in runs.values() if run["verdict"] == "void"]) <= cut, SEED
        for run in runs.values():
            assert run["verdict"] in ("pass", "void"), (SEED, run)
        for number, report in told.items():
            _, stored = ask(folder, "show", str(number))
            assert stored["verdict"] == report["verdict"] == "pass", (SEED, number)
            assert stored["findings"] == report["findings"], (SEED, number)
        code, verified = ask(folder, "verify")
        assert code == 0 and verified["sound"], (SEED, verified)
        with sqlite3.connect(pathlib.Path(folder) / "store.sqlite") as store:
            assert store.execute("PRAGMA integrity_check").fetchone() == ("ok",), SEED
            left_open = store.execute("SELECT count(*) FROM run_opened WHERE id NOT IN (SELECT id FROM run_closed)").fetchone()
            assert left_open == (0,), SEED
            interrupted = store.execute("SELECT count(*) FROM run_closed WHERE ended = 'interrupted'").fetchone()[0]
        print(f"      {TRIES} kills, seed {SEED}: {len(told)} verdicts told, {interrupted} runs closed as void")
        assert told and interrupted > TRIES // 20, "the kills came too early or too late to prove anything"


if __name__ == "__main__":
    sys.exit(stand.verdicts([killed_anywhere]))
