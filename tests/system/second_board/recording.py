"""Tracks: pieces of voltage become bins of codes, edges become deltas, both become blocks and data frames."""

import math
import struct

import messages

ENVELOPE, EDGES = 1, 2
OFFERED = ENVELOPE, EDGES
ROOM = 500 - 17          # of a blocks payload, after epoch, number, base and count
ALL = (1 << 64) - 1


class Track:
    """One stream of readings. `windows` are the stretches it is wanted in, as [begin, end) ticks since start."""

    def __init__(self, number, plan, port):
        self.number, self.port, self.kind = number, plan["port"], plan["kind"]
        self.throughout = bool(plan["options"] & 1)
        self.period = plan["period"]
        self.scale = port["resolution"] or 1.0
        self.windows = []
        self._block = 0
        self._first = None
        self._count = 0
        self._values = []
        self._last = 0

    def wanted(self, tick):
        return self.throughout or any(begin <= tick < end for begin, end in self.windows)

    def take_pieces(self, pieces, begin, end):
        """Bins from `begin` to `end`, which are multiples of the period."""
        period, at = self.period, 0
        tick = begin
        while tick < end:
            while pieces[at][1] <= tick:
                at += 1
            piece = pieces[at]
            if piece[0] <= tick and piece[2] == piece[3] and not piece[4] and piece[1] >= tick + period:
                bins = (min(piece[1], end) - tick) // period
                self._put_bins(tick, bins, self._packed(piece[2], piece[2], piece[2]))
                tick += bins * period
                continue
            lowest, highest, area, number = math.inf, -math.inf, 0.0, at
            while number < len(pieces) and pieces[number][0] < tick + period:
                ends, integral = _part(pieces[number], tick, tick + period)
                lowest, highest, area = min(lowest, *ends), max(highest, *ends), area + integral
                number += 1
            self._put_bins(tick, 1, self._packed(lowest, highest, area / period))
            tick += period

    def _packed(self, lowest, highest, mean):
        low, high = (min(max(math.floor(v / self.scale + 0.5), -32768), 32767) for v in (lowest, highest))
        middle = min(max(math.floor(mean / self.scale * 16 + 0.5), -(1 << 23)), (1 << 23) - 1)
        return struct.pack("<hhi", low, high, middle)[:7]

    def _put_bins(self, tick, bins, packed):
        for number in range(bins):
            start = tick + number * self.period
            if not self.throughout and not self.wanted(start):
                continue
            if self._first is None:
                self._first = start
            elif start != self._next_bin:
                raise AssertionError("a block holds bins without a hole")
            self._next_bin = start + self.period
            self._values.append(packed)
            self._count += 1

    def take_edges(self, edges):
        for tick, level in edges:
            if not self.wanted(tick):
                continue
            if self._first is None:
                self._first = self._last = tick
            self._values.append(messages.write_leb128(tick - self._last << 1 | level))
            self._last = tick
            self._count += 1

    def flush(self, base):
        """The blocks that have gathered, as bytes of a `blocks` message."""
        form = 5 if self.kind == ENVELOPE else 7
        out = []
        while self._count:
            taken = self._fitting()
            out.append(struct.pack("<HHiHBB", self.number, self._block, self._first - base, taken, form, 0)
                       + b"".join(self._values[:taken]))
            self._block = self._block + 1 & 0xFFFF
            rest = self._values[taken:]
            if rest and form == 5:
                self._first += taken * self.period
            elif rest:
                self._restart_edges(taken, rest)
            self._values, self._count = rest, len(rest)
        self._first = None
        return out

    def _fitting(self):
        size = taken = 0
        for value in self._values:
            if size + len(value) > ROOM - 12:
                break
            size, taken = size + len(value), taken + 1
        return taken

    def _restart_edges(self, taken, rest):
        """The rest becomes a block of its own: its first edge counts from the block's first tick, which is its own."""
        def delta(packed):
            return sum((byte & 127) << 7 * place for place, byte in enumerate(packed)) >> 1
        self._first += sum(delta(value) for value in self._values[:taken + 1])
        rest[0] = messages.write_leb128(rest[0][0] & 1)


def _part(piece, begin, end):
    """((lowest, highest), integral) of a piece within [begin, end)."""
    start, stop, first, last, exponential, constant = piece
    begin, end = max(begin, start), min(end, stop)
    slope = (last - first) / (stop - start)
    a, b = first + slope * (begin - start), first + slope * (end - start)
    integral = (a + b) / 2 * (end - begin)
    if exponential:
        at_begin = exponential * math.exp((start - begin) / constant)
        at_end = exponential * math.exp((start - end) / constant)
        integral += (at_begin - at_end) * constant
        a, b = a + at_begin, b + at_end
    return (min(a, b), max(a, b)), integral


class Data:
    """Data frames of one epoch, kept until the host has them. Each is (message, payload)."""

    KEPT = 1 << 20

    def __init__(self, epoch, send):
        self.epoch, self.next = epoch, 0
        self._send = send
        self._kept = {}
        self._oldest = 0
        self._bytes = 0

    def _put(self, message, payload):
        self._kept[self.next] = (message, payload)
        self._bytes += len(payload)
        self.next += 1
        self._send(message, payload)
        for number in list(self._kept) if self._bytes > self.KEPT else ():
            if self._bytes <= self.KEPT:
                break
            if self._kept[number][0] == 0xC1:  # records and flags are kept for the host whatever comes
                self._bytes -= len(self._kept.pop(number)[1])

    def put_blocks(self, base, blocks):
        at = 0
        while at < len(blocks):
            size, stop = 0, at
            while stop < len(blocks) and stop - at < 255 and size + len(blocks[stop]) <= ROOM:
                size, stop = size + len(blocks[stop]), stop + 1
            head = struct.pack("<IIQB", self.epoch, self.next, base, stop - at)
            self._put(0xC1, head + b"".join(blocks[at:stop]))
            at = stop

    def put_record(self, segment, start, end, reason, conditions):
        self._put(0xC2, messages.write("record", epoch=self.epoch, number=self.next, segment=segment, start=start, end=end,
                                       reason=reason, conditions=[{"settled": -1}] * conditions))

    def put_flag(self, kind, at, port, text):
        self._put(0xC3, messages.write("flag", epoch=self.epoch, number=self.next, kind=kind, at=at, port=port, text=text))

    def arrived(self, wanted):
        """The host has all before `wanted`."""
        while self._oldest < min(wanted, self.next):
            gone = self._kept.pop(self._oldest, None)
            self._bytes -= len(gone[1]) if gone else 0
            self._oldest += 1

    def resend(self, first, count):
        """[(message, payload)] again, with `gone` for what is no longer there."""
        out = []
        number, end = first, min(first + count, self.next)
        while number < end:
            if number in self._kept:
                out.append(self._kept[number])
                number += 1
                continue
            start = number
            while number < end and number not in self._kept:
                number += 1
            out.append((0xC5, messages.write("gone", epoch=self.epoch, first=start, count=number - start)))
        return out
