"""Plays the queue: segments on the grid, events, windows, records. Bench time passes only when `play` is called."""

STRETCH = 5   # a block is flushed at most this many milliseconds after its first sample

ELAPSED, SETTLED, TIMED_OUT, ADVANCED, STOPPED = range(5)
ALL = (1 << 64) - 1


class Player:
    """One epoch from `start` to its end."""

    def __init__(self, rig, queue, tracks, data, grid, rate):
        self._rig, self._queue, self._tracks, self._data = rig, queue, tracks, data
        self._grid, self._stretch = grid, STRETCH * rate // 1000
        self.now = 0             # ticks since start
        self.segment = None
        self.segment_start = 0
        self.holding = False
        self.completed = False
        self._advanced = False
        self._event = 0

    def waits_for_advance(self):
        return self.segment is not None and self.segment.until == 1

    def must_wait(self):
        """Going on would need entries that are on their way: the rest of a segment of which the beginning is here."""
        queue = self._queue
        rest = queue.segments[1:] if self.segment else queue.segments
        return bool(rest) and not rest[0].whole and (self.segment is None or self.now + self._stretch >= self._end())

    def begin_next(self):
        """Takes the next segment if there is one. True: something changed."""
        queue = self._queue
        if queue.whole():
            self.segment, self.segment_start, self.holding = queue.segments[0], self.now, False
            self._event, self._advanced = 0, False
            for track, start, length in self.segment.windows:
                begin = self.now + start
                end = self._end() if length == ALL else min(self._end(), begin + length)
                self._tracks[track].windows.append((begin, end))
            return True
        if queue.end and not queue.segments:
            self.completed = True
            return True
        changed, self.holding = not self.holding, not queue.segments
        return changed

    def advance(self, segment):
        """False: that is not the one that plays."""
        if self.segment is None or self.segment.id != segment:
            return False
        self._advanced = True
        return True

    def _end(self):
        end = self.segment_start + self.segment.length
        if self._advanced:
            end = min(end, max(-(-self.now // self._grid), self.segment_start // self._grid + 1) * self._grid)
        return end

    def play(self):
        """A stretch of the present segment, to its end at most. True: it ended."""
        end = self._end()
        stop = min(end, self.now - self.now % self._stretch + self._stretch)
        begin = self.now
        pieces, edges = {}, {}
        while self.now < stop:
            until = min(stop, self._events(stop))
            some, seen = self._rig.play(self.now, until)
            for port, rows in some.items():
                pieces.setdefault(port, []).extend(rows)
            for port, rows in seen.items():
                edges.setdefault(port, []).extend(rows)
            self.now = until
        for track in self._tracks.values():
            if not track.throughout and not track.windows:
                continue
            if track.port in edges:
                track.take_edges(edges[track.port])
            elif begin < stop:
                track.take_pieces(pieces[track.port], begin, stop)
        self._flush(begin)
        if self.now < end:
            return False
        self._finish(ADVANCED if self._advanced and end < self.segment_start + self.segment.length
                     else TIMED_OUT if self.segment.until else ELAPSED)
        return True

    def _events(self, stop):
        """Carries out what is due now; tells when the next event comes."""
        events = self.segment.events
        while self._event < len(events):
            name, event = events[self._event]
            at = self.segment_start + event["at"]
            if at > self.now:
                return at
            self._rig.apply(name, event, self.now)
            self._event += 1
        return stop

    def _flush(self, base):
        blocks = [block for track in self._tracks.values() for block in track.flush(base)]
        if blocks:
            self._data.put_blocks(base, blocks)

    def _finish(self, reason):
        segment = self.segment
        self._data.put_record(segment.id, self.segment_start, self.now, reason, segment.conditions)
        for track in self._tracks.values():
            track.windows.clear()
        self._queue.drop_first()
        self.segment = None

    def cut_short(self):
        """Playing ends at this tick."""
        if self.segment:
            self._finish(STOPPED)
