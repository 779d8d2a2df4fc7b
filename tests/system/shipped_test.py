"""Every shipped end-of-line scenario passes good units on the shipped emulated bench, within three minutes of bench time;
the plugs pass at shift start and bring-up; the regression passes a good unit.

Started by tests/system/run.
"""

import json
import os
import pathlib
import subprocess
import sys
import tempfile

PROGRAM = os.environ.get("PROOFSTAND", "build/proofstand")
SCENARIOS = pathlib.Path(os.environ.get("PROOFSTAND_SOURCE", ".")).resolve() / "scenarios"


def run(scenario, serial, store):
    done = subprocess.run(
        [PROGRAM, "run", str(scenario), "--bench", str(SCENARIOS / "benches/emulated.yaml"), "--unit", serial, "--store", str(store), "--stress", "--json"],
        capture_output=True, text=True, timeout=120)
    return done.returncode, json.loads(done.stdout or "{}")


def complaint(scenario, serial, store, least, longest):
    """What is wrong with a run that should pass, or nothing."""
    code, report = run(scenario, serial, store)
    findings = report.get("findings", [])
    bad = [f["id"] for f in findings if f["verdict"] != "pass"]
    what = f"{scenario.name}, unit {serial}: "
    if code != 0 or report.get("verdict") != "pass" or bad:
        return what + f"exit {code}, {report.get('verdict')}, {report.get('reason')}, {bad[:5]}"
    if len(findings) < least:
        return what + f"only {len(findings)} characteristics were judged"
    if not 10 < report.get("bench_s", 0) < longest:
        return what + f"{report.get('bench_s')} s of bench time; {longest} s are allowed"
    return None


def main():
    wrong = []
    scenarios = sorted(SCENARIOS.glob("end-of-line*.yaml"))
    if len(scenarios) < 2:
        wrong.append("fewer than two end-of-line scenarios")
    with tempfile.TemporaryDirectory() as scratch:
        store = pathlib.Path(scratch) / "store.sqlite"
        for scenario in scenarios:
            letter = "S" if "one-pressure" in scenario.name else "T"
            for number in (1, 2, 3):
                wrong.append(complaint(scenario, f"{letter}{number:05}", store, 500, 180))
        for name, serial in (("shift-start", "PLUG-1"), ("shift-start-one-pressure", "PLUG-2"), ("bring-up", "PLUG-1")):
            wrong.append(complaint(SCENARIOS / f"{name}.yaml", serial, store, 80, 420))
        wrong.append(complaint(SCENARIOS / "regression.yaml", "T00001", store, 2000, 1200))
    wrong = [text for text in wrong if text]
    print("\n".join(wrong) or "all good units pass")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
