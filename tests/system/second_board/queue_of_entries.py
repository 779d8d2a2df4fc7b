"""What a host has queued: entries taken in order, held to grammar, ranges and limits, grouped into segments."""

import messages
import ports

ENTRIES, BYTES = 1024, 32768   # the least that a board may have
OPEN = (1 << 64) - 1
HIGHEST_SPEED = 100_000_000    # millirpm
HIGHEST_RATE = 1_000_000_000   # millirpm a second


class Refused(Exception):
    """Why an entry or a command is not taken: an error's name, its detail, and words."""

    def __init__(self, name, detail=0, text=""):
        super().__init__(name)
        self.name, self.detail, self.text = name, detail, text


class Segment:
    def __init__(self, entry, fields):
        self.entry, self.id, self.until = entry, fields["id"], fields["until"]
        self.length = fields["length"]
        self.windows, self.events, self.conditions = [], [], 0
        self.entries = self.bytes = 0
        self.whole = False


class Queue:
    """REQUIRES: limits, tracks and ports outlive it; `rate` and `grid` in ticks."""

    def __init__(self, descriptions, limits, tracks, rate, grid):
        self._ports, self._limits, self._tracks, self._rate, self._grid = descriptions, limits, tracks, rate, grid
        self.next = 0
        self.free_entries, self.free_bytes = ENTRIES, BYTES
        self.taken = bytearray()     # all entries as they came, for the digest
        self.segments = []           # in order; the last may not be whole yet
        self.end = False             # the end of the timeline is here

    def whole(self):
        return bool(self.segments) and self.segments[0].whole

    def take(self, kind, body):
        """One entry, the next. Raises Refused."""
        size = 2 + len(body)
        if self.free_entries < 1 or self.free_bytes < size:
            raise Refused("too_many", text="more than was free")
        try:
            name, fields = messages.read_entry(kind, body)
        except messages.Malformed:
            raise Refused("malformed", text="an entry that is too short, or of no known kind") from None
        getattr(self, "_" + name, self._event)(name, fields)
        self.taken += bytes([kind, len(body)]) + body
        self.next += 1
        self.free_entries -= 1
        self.free_bytes -= size
        if self.segments:
            self.segments[-1].entries += 1
            self.segments[-1].bytes += size

    def drop_first(self):
        """The first segment has ended; its space is free."""
        segment = self.segments.pop(0)
        self.free_entries += segment.entries
        self.free_bytes += segment.bytes

    def _inside(self):
        if not self.segments or self.segments[-1].whole:
            raise Refused("grammar", text="it belongs inside a segment")
        return self.segments[-1]

    def _segment_begin(self, _, fields):
        if self.end or self.segments and not self.segments[-1].whole:
            raise Refused("grammar", text="a segment begins where none can")
        if fields["until"] > 1 or fields["length"] == 0 or fields["length"] % self._grid:
            raise Refused("grammar", text="a segment's length is whole steps of the grid")
        self.segments.append(Segment(self.next, fields))

    def _until_condition(self, _, fields):
        segment = self._inside()
        if segment.windows or segment.events or not segment.until:
            raise Refused("grammar", text="a condition out of place")
        self._check_track(fields["track"])
        segment.conditions += 1

    def _window(self, _, fields):
        segment = self._inside()
        if segment.events:
            raise Refused("grammar", text="a window after an event")
        self._check_track(fields["track"])
        segment.windows.append((fields["track"], fields["from"], fields["length"]))

    def _segment_end(self, _, fields):
        segment = self._inside()
        if fields["id"] != segment.id:
            raise Refused("grammar", text="a segment ends under another id")
        segment.whole = True

    def _end_of_timeline(self, _, fields):
        if self.end or self.segments and not self.segments[-1].whole:
            raise Refused("grammar", text="the end of the timeline inside a segment")
        if fields["hold"]:
            raise Refused("grammar", text="this board does not offer to hold at the end")
        self.end = True

    def _check_track(self, track):
        if track not in self._tracks:
            raise Refused("no_such_track", track)

    def _event(self, name, fields):
        segment = self._inside()
        if segment.events and fields["at"] < segment.events[-1][1]["at"]:
            raise Refused("grammar", text="events are not in order of time")
        number = fields["port"]
        if number >= len(self._ports):
            raise Refused("no_such_port", number)
        port = self._ports[number]
        kind = next(kind for kind, (known, _) in messages.EVENTS.items() if known == name)
        if not port["set_points"] >> kind & 1:
            raise Refused("wrong_kind", number, f"{port['name']} takes no {name}")
        if number not in self._limits:
            raise Refused("beyond_limit", number, f"{port['name']} has no limits")
        values = {"step": "value", "ramp": "value", "relay": "closed", "speed_piece": "millirpm"}
        if name in values:
            self._check(number, fields[values[name]])
        if name == "speed_piece":
            self._check_piece(number, fields)
        segment.events.append((name, fields))

    def _check(self, number, value):
        low, high = ports.range_of(self._ports[number])
        if not low <= value <= high:
            raise Refused("out_of_range", number, f"{self._ports[number]['name']} cannot be {value}")
        low, high = self._limits[number]
        if not low <= value <= high:
            raise Refused("beyond_limit", number, f"{self._ports[number]['name']} must not be {value}")

    def _check_piece(self, number, fields):
        rate, ticks = fields["millirpm_per_second"], fields["ticks"]
        if abs(rate) > HIGHEST_RATE or ticks == OPEN and rate or ticks != OPEN and rate and ticks > 1000 * self._rate:
            raise Refused("out_of_range", number, "a ramp of speed that is too steep, too long or open")
        if ticks != OPEN and rate:
            self._check(number, max(0, fields["millirpm"] + rate * ticks // self._rate))
