"""Every shipped end-of-line scenario passes good units on the shipped emulated bench, within three minutes of bench time.

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
        [PROGRAM, "run", str(scenario), "--bench", str(SCENARIOS / "benches/emulated.yaml"), "--unit", serial, "--store", str(store), "--json"],
        capture_output=True, text=True, timeout=120)
    return done.returncode, json.loads(done.stdout or "{}")


def main():
    wrong = []
    scenarios = sorted(SCENARIOS.glob("end-of-line*.yaml"))
    if len(scenarios) < 2:
        wrong.append("fewer than two end-of-line scenarios")
    with tempfile.TemporaryDirectory() as scratch:
        for scenario in scenarios:
            for serial in ("T00001", "T00002", "T00003"):
                code, report = run(scenario, serial, pathlib.Path(scratch) / "store.sqlite")
                bad = [f["id"] for f in report.get("findings", []) if f["verdict"] != "pass"]
                if code != 0 or report.get("verdict") != "pass" or bad:
                    wrong.append(f"{scenario.name}, unit {serial}: exit {code}, {report.get('verdict')}, {report.get('reason')}, {bad[:5]}")
                if len(report.get("findings", [])) < 500:
                    wrong.append(f"{scenario.name}: only {len(report.get('findings', []))} characteristics were judged")
                if not 10 < report.get("bench_s", 0) < 180:
                    wrong.append(f"{scenario.name}: {report.get('bench_s')} s of bench time; three minutes are allowed")
    print("\n".join(wrong) or "all good units pass")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
