"""The end-of-line scenario in real time over a pseudo-terminal, against what physics asks for.

    /usr/bin/python3 tests/speed/real_time.py [RUNS]

Prints, for each of five runs (or RUNS), the bound, the bench's time and the host's, and splits the excess: detection (bench time
over the bound), link and host (host time over bench time), start and disk (wall time over host time). Median and
worst at the end. Takes about a minute a run.
"""

import pathlib
import re
import statistics
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "system"))
import stand  # noqa: E402


def main():
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    told = subprocess.run([str(stand.BUILD / "run_speed")], capture_output=True, text=True, check=True).stdout
    bound = float(re.search(r"bound_s ([\d.]+)", told)[1])
    rows = []
    for _ in range(runs):
        with tempfile.TemporaryDirectory() as folder, stand.board(folder, pace="real") as (link, _server):
            start = time.monotonic()
            code, report, said = stand.run(folder, bench=stand.BOARD, more=("--device", str(link)))
            wall = time.monotonic() - start
            assert code == 0, said
            bench, host = report["bench_s"], report["host_s"]
            rows.append((wall, bench - bound, host - bench, wall - host))
            print(f"bound {bound:.2f} s  bench {bench:.2f} s  host {host:.2f} s  wall {wall:.2f} s  wall/bound {wall / bound:.4f}", flush=True)
    for name, pick in (("median", statistics.median), ("worst", max)):
        wall, detection, link, disk = (pick(column) for column in zip(*rows))
        print(f"{name}: wall/bound {wall / bound:.4f}; excess: detection {detection:+.2f} s, link and host {link:+.2f} s, start and disk {disk:+.2f} s")


if __name__ == "__main__":
    main()
