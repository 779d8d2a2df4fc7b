"""The speed signal: edges of a wheel that turns by speed pieces, in whole ticks and exact integers."""

import math

CYCLE = 720 << 32
OPEN = (1 << 64) - 1


class Wheel:
    """Angles are integers of 2^-32 crank degree, counted from the start."""

    def __init__(self, angles, rising, rate):
        self._angles = angles
        self._rising = rising
        self._rate = rate
        self._next = 1 if angles and angles[0] == 0 else 0  # an edge at angle 0 itself has already passed
        self._start, self._angle = 0, 0                     # of the piece
        self._v = self._a = 0                               # millirpm, and per second
        self._end = None                                    # the tick at which a piece of stated length gives way

    def level(self):
        """The level before the next edge."""
        return 1 - self._level_after(self._next)

    def _level_after(self, number):
        return (self._rising ^ number & 1) & 1  # a wheel has as many edges of one kind as of the other

    def turned(self, ticks):
        """The angle that the present piece covers in so many ticks."""
        f = self._rate
        if self._a < 0:  # a piece that would pass through zero stops there
            ticks = min(ticks, self._v * f // -self._a)
        return (6 << 32) * (2 * self._v * ticks * f + self._a * ticks * ticks) // (2000 * f * f)

    def piece(self, tick, millirpm, millirpm_per_second=0, ticks=OPEN):
        """A new piece from `tick` on. REQUIRES: edges before `tick` have been taken."""
        self._angle += self.turned(tick - self._start)
        self._start, self._v, self._a = tick, millirpm, millirpm_per_second
        self._end = None if ticks == OPEN else tick + ticks

    def _tick_of(self, theta):
        """Ticks from the piece's start to an angle, to the nearest, ties up; None: never. Not before the piece itself."""
        f, v, a = self._rate, self._v, self._a
        if theta <= 0:
            return 0
        if a == 0:
            per_tick = v * (6 << 32)
            return None if v == 0 else (2 * theta * 1000 * f + per_tick) // (2 * per_tick)
        w = v * 6 / 1000 * 2.0**32
        alpha = a * 6 / 1000 * 2.0**32
        square = w * w + 2 * alpha * theta
        if square < 0 or w + math.sqrt(square) == 0:
            return None
        guess = max(0, round(2 * theta / (w + math.sqrt(square)) * f))

        def reached(half_ticks):
            return (6 << 32) * (4 * v * half_ticks * f + a * half_ticks * half_ticks) <= theta * 8000 * f * f

        while guess > 0 and not reached(2 * guess - 1):
            guess -= 1
        while reached(2 * guess + 1) and guess < 1 << 62:
            guess += 1
        return guess

    def edges(self, until):
        """[(tick, level after)] of every edge before `until` that was not taken yet."""
        found = []
        if not self._angles:
            return found
        while True:
            limit = until if self._end is None else min(until, self._end)
            while True:
                turn, number = divmod(self._next, len(self._angles))
                after = self._tick_of(turn * CYCLE + self._angles[number] - self._angle)
                if after is None or self._start + after >= limit:
                    break
                found.append((self._start + after, self._level_after(number)))
                self._next += 1
            if limit == until and (self._end is None or self._end > until):
                return found
            if self._end is None:
                return found
            # The speed stays where it arrived: a piece of its own, at whole millirpm.
            arrived = self._v + self._a * (self._end - self._start) // self._rate
            self.piece(self._end, max(0, arrived))
            if limit == until:
                return found
