"""How many frames a whole run exchanges with a board: a relay between the two counts them.

    /usr/bin/python3 tests/speed/round_trips.py

A frame ends with a zero byte (drivers/board/PROTOCOL.md). A round trip is a stretch of the host's frames followed by the board's:
what a run that waited for every answer would have one of for each command.
"""

import os
import pathlib
import select
import sys
import tempfile
import threading
import tty

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "system"))
import stand  # noqa: E402


class Relay:
    """Passes bytes between a board's port and a port of its own."""

    def __init__(self, board):
        self.board = os.open(board, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self.board)
        self.host, port = os.openpty()
        tty.setraw(port)
        self.keep, self.name = port, os.ttyname(port)
        self.frames = {"host": 0, "board": 0}
        self.bytes = {"host": 0, "board": 0}
        self.done = False
        self.thread = threading.Thread(target=self.pass_on, daemon=True)
        self.thread.start()

    def pass_on(self):
        while not self.done:
            ready, _, _ = select.select([self.board, self.host], [], [], 0.2)
            for source in ready:
                data = os.read(source, 65536)
                who, to = ("host", self.board) if source == self.host else ("board", self.host)
                self.frames[who] += data.count(0)
                self.bytes[who] += len(data)
                while data:
                    data = data[os.write(to, data):]


def main():
    with tempfile.TemporaryDirectory() as folder, stand.board(folder, pace="real") as (link, _server):
        relay = Relay(str(link))
        code, report, said = stand.run(folder, bench=stand.BOARD, more=("--device", relay.name))
        relay.done = True
        assert code == 0, said
    points = len({f["id"].split("@")[1] for f in report["findings"] if f["id"].startswith(("sweep/manifold_pressure@", "derate/manifold_pressure@"))})
    print(f"bench time {report['bench_s']:.1f} s, {points} sweep points")
    print(f"host to board: {relay.frames['host']} frames, {relay.bytes['host']} bytes; {relay.frames['host'] / points:.2f} frames a point")
    print(f"board to host: {relay.frames['board']} frames, {relay.bytes['board'] / report['bench_s'] / 1e3:.1f} kB/s")


if __name__ == "__main__":
    main()
