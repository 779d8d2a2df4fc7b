#!/usr/bin/python3
"""A rig board behind a pseudo-terminal, with an invented module fitted: written from drivers/board/PROTOCOL.md alone.

    board.py --bench scenarios/benches/board.yaml --product scenarios/products/two-pressure.yaml --link PATH
             [--fault no_bypass|offset] [--ahead STRETCHES] [--lose NTH]

Prints `ready: PATH` and serves until SIGTERM. It shares no code with the program, so that the page is proved and not a
codec held to itself. Its time is not paced: it passes as fast as the host takes the readings.
"""

import argparse
import array
import collections
import fcntl
import os
import select
import signal
import struct
import sys
import termios
import time
import tty

import frames
import ports
import session
import signals

import yaml

UNREAD = 2048      # bytes that may wait at the host before bench time stands still
BREATH = 0.0015    # seconds that a host is given to say `advance`, after each stretch of a segment that waits for it


class Wire:
    """The pseudo-terminal: replies go ahead of data, and nothing is sent into a full line."""

    def __init__(self, link, lose=0):
        self._lose, self._commands = lose, 0   # every so many replies one is lost
        self._lost = None
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        tty.setraw(self.master)
        os.set_blocking(self.master, False)
        if os.path.islink(link):
            os.unlink(link)
        os.symlink(os.ttyname(self._slave), link)
        self.splitter = frames.Splitter()
        self._replies, self._data = collections.deque(), collections.deque()
        self._numbers = collections.deque()   # of the data frames that wait
        self._going = b""

    def send(self, session_number, sequence, message, payload, is_data):
        if self._lose and sequence and sequence != self._lost:
            self._commands += 1
            if self._commands % self._lose == 0:
                self._lost = sequence
                return
        (self._data if is_data else self._replies).append(frames.build(session_number, sequence, message, payload))
        if is_data:
            self._numbers.append(struct.unpack_from("<I", payload, 4)[0])

    def first_waiting(self):
        """The number of the first data frame that was not sent yet."""
        return min(self._numbers, default=session.NOBODY)

    def read(self):
        """Every good frame that has arrived."""
        try:
            return self.splitter.feed(os.read(self.master, 65536))
        except BlockingIOError:
            return []

    def flush(self):
        """Sends what can be sent now. True: nothing is left."""
        while True:
            if not self._going:
                while self._replies:
                    self._going += self._replies.popleft()
                if not self._going and self._data:
                    self._going = self._data.popleft()
                    self._numbers.popleft()
            if not self._going:
                return True
            try:
                self._going = self._going[os.write(self.master, self._going):]
            except BlockingIOError:
                return False

    def unread(self):
        """Bytes that the host has not read yet."""
        count = array.array("i", [0])
        fcntl.ioctl(self._slave, termios.FIONREAD, count)
        return count[0]

    def wait(self, seconds, writable):
        select.select([self.master], [self.master] if writable else [], [], seconds)


def serve(wire, board, ahead):
    """Runs for ever. Of a segment that waits for `advance`, the first `ahead` stretches go out in one piece."""
    while True:
        now = time.monotonic()
        for frame in wire.read():
            board.receive(frame, now)
        board.tick(now)
        sent = wire.flush()
        if board.state != session.PLAYING:
            wire.wait(0.02, not sent)
            continue
        waits = board.waits_for_advance()
        unread = wire.unread() if sent else UNREAD
        if not sent or unread > (0 if waits else UNREAD) or not board.play(now):
            wire.wait(0.0003, not sent)
            continue
        for _ in range(ahead - 1 if board.waits_for_advance() and board.begins_segment() else 0):
            board.play(now)
        wire.flush()
        if waits:
            wire.wait(BREATH, False)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--bench", required=True)
    parser.add_argument("--product", required=True)
    parser.add_argument("--link", required=True)
    parser.add_argument("--fault", choices=["no_bypass", "offset"])
    parser.add_argument("--ahead", type=int, default=1)
    parser.add_argument("--lose", type=int, default=0)
    given = parser.parse_args()
    with open(given.bench, encoding="utf-8") as bench_file, open(given.product, encoding="utf-8") as product_file:
        bench, product = yaml.safe_load(bench_file), yaml.safe_load(product_file)
    descriptions = ports.describe(bench)
    rig = signals.Rig(bench, product, descriptions, session.RATE, given.fault)
    wire = Wire(given.link, given.lose)
    board = session.Board(rig, descriptions, bench["board"]["baud"] // 10, wire.send, time.monotonic())
    board.bad_frames = lambda: wire.splitter.bad
    board.first_waiting = wire.first_waiting
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    print(f"ready: {given.link}", flush=True)
    try:
        serve(wire, board, given.ahead)
    finally:
        os.unlink(given.link)


if __name__ == "__main__":
    main()
