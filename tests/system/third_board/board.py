#!/usr/bin/python3
"""The second board, taught versions 1.1 and 1.2 of the protocol: what a port promises, conversations with a canned module,
captures around an event.

    board.py --bench files/benches/board.yaml --product files/products/two-pressure.yaml --link PATH
             [--stammer] [--loss PERCENT] [--promise PORT:KEY=VALUE]

Like the second board it is written from drivers/board/PROTOCOL.md alone. What 1.1 leaves as it was is the second
board's, which stays as it is; only what was added is here.
"""

import argparse
import pathlib
import random
import signal
import struct
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "second_board"))

import board as second
import session

import yaml

import conversations
import promises
import session_1_2


class LossyWire(second.Wire):
    """Loses so many in a hundred of the frames, each way."""

    def __init__(self, link, percent):
        super().__init__(link)
        self._percent, self._dice = percent, random.Random(1)

    def _is_lost(self):
        return self._percent and self._dice.randrange(100) < self._percent

    def send(self, session_number, sequence, message, payload, is_data):
        if not is_data and self._is_lost():
            return
        if is_data and self._is_lost():  # its number has been given all the same
            self._data.append(b"")
            self._numbers.append(struct.unpack_from("<I", payload, 4)[0])
            return
        super().send(session_number, sequence, message, payload, is_data)

    def read(self):
        return [frame for frame in super().read() if not self._is_lost()]

    def flush(self):
        while self._data and not self._data[0] and not self._going and not self._replies:
            self._data.popleft()
            self._numbers.popleft()
        return super().flush()


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--bench", required=True)
    parser.add_argument("--product", required=True)
    parser.add_argument("--link", required=True)
    parser.add_argument("--stammer", action="store_true", help="the module's first answer to a question is cut short")
    parser.add_argument("--loss", type=int, default=0)
    parser.add_argument("--promise", action="append", default=[], help="another figure of a port, in the board's own unit")
    given = parser.parse_args()
    with open(given.bench, encoding="utf-8") as bench_file, open(given.product, encoding="utf-8") as product_file:
        bench, product = yaml.safe_load(bench_file), yaml.safe_load(product_file)
    descriptions = promises.describe(bench, given.promise)
    rig = conversations.Rig(bench, product, descriptions, session.RATE, given.stammer)
    wire = LossyWire(given.link, given.loss)
    board = session_1_2.Board(rig, descriptions, bench["board"]["baud"] // 10, wire.send, time.monotonic())
    board.bad_frames = lambda: wire.splitter.bad
    board.first_waiting = wire.first_waiting
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    print(f"ready: {given.link}", flush=True)
    try:
        second.serve(wire, board, 1)
    finally:
        pathlib.Path(given.link).unlink()


if __name__ == "__main__":
    main()
