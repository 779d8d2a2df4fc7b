"""Captures around an event (1.2): a window arms, at most one event follows, and what lies around it is kept."""

import bisect
import math
import struct

TRIGGERED = 3                 # the capture kind
THROUGHOUT, ASKED, THRESHOLD, RISING = 1, 2, 4, 8   # options of a plan
MOST_BEFORE = 10_000          # conversions kept before an event
ROOM = 440                    # bytes of samples in a block


def volts(pieces, tick):
    """What a sense sees at a tick. `pieces` are the player's: [begin, end, first, last, exponential, its time constant]."""
    begin, end, first, last, exponential, constant = pieces[bisect.bisect_right(pieces, tick, key=lambda piece: piece[0]) - 1]
    return first + (last - first) * (tick - begin) / (end - begin) + exponential * math.exp((begin - tick) / constant)


class Armed:
    """One window of a track."""

    def __init__(self, begin, end, track):
        self.begin, self.end, self._track = begin, end, track
        self.event, self._before = None, None   # the tick of the event; the code before
        self.waiting = []                       # (tick, code) that an event may still want
        self.kept = []                          # (tick, code) that it wanted
        self.stop = math.inf                    # a later window takes over from here
        self.over = False

    def take(self, tick, code):
        track = self._track
        self.over = tick >= self.stop or self.event is not None and tick >= self.event + track.after
        if self.over or tick < self.begin - track.before:
            return
        if self.event is None and self.begin <= tick < self.end:
            if track.threshold is None or self._before is not None and track.crosses(self._before, code):
                self.event = tick
                self.kept += [sample for sample in self.waiting if sample[0] >= tick - track.before]
                self.waiting = []
            self._before = code
        if self.event is None:
            self.waiting = [*self.waiting, (tick, code)][-track.most_waiting:]
        elif tick < self.event + track.after:
            self.kept.append((tick, code))


class Windows(list):
    """What the player fills as a segment begins and clears as it ends. An event that has come outlives its segment."""

    def __init__(self, track):
        super().__init__()
        self._track = track

    def append(self, window):
        begin, end = window
        for earlier in self:
            earlier.stop = min(earlier.stop, begin - self._track.before)
        super().append(Armed(begin, end, self._track))

    def clear(self):
        self[:] = [armed for armed in self if armed.event is not None]


class Track:
    """As recording.Track is for envelopes and edges."""

    throughout = False

    def __init__(self, number, plan, port):
        self.number, self.port, self.kind, self.period = number, plan["port"], TRIGGERED, plan["period"]
        self.scale = port["resolution"] or 1.0
        self.before, self.after = plan["before"], plan["after"]
        self.threshold = plan["threshold"] / 1e6 if plan["options"] & THRESHOLD else None
        self.most_waiting = self.before // self.period + 1
        self.windows = Windows(self)
        self._rising = bool(plan["options"] & RISING)
        self._block = 0

    def crosses(self, before, code):
        """Is a code at or past the threshold, and the one before it short of it?"""
        low, high = (before, code) if self._rising else (code, before)
        if self._rising:
            return low * self.scale < self.threshold <= high * self.scale
        return low * self.scale <= self.threshold < high * self.scale

    def take_pieces(self, pieces, begin, end):
        for armed in self.windows:
            first = begin + (armed.begin - begin) % self.period
            for tick in range(first, end, self.period):
                armed.take(tick, math.floor(volts(pieces, tick) / self.scale + 0.5))

    def flush(self, base):
        """The blocks that have gathered, as bytes of a `blocks` message; one for each event, or more."""
        out = []
        for armed in self.windows:
            while armed.kept:
                wide = any(not -32768 <= code <= 32767 for _, code in armed.kept)
                part = armed.kept[:ROOM // (4 if wide else 2)]
                armed.kept = armed.kept[len(part):]
                out.append(struct.pack("<HHiHBB", self.number, self._block, part[0][0] - base, len(part), 4 if wide else 2, 0)
                           + b"".join(struct.pack("<i" if wide else "<h", code) for _, code in part))
                self._block = self._block + 1 & 0xFFFF
        self.windows[:] = [armed for armed in self.windows if not armed.over]
        return out
