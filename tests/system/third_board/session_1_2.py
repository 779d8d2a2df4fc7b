"""The third board's sessions with what 1.2 added: captures around an event."""

import struct

import messages
import promises
import ports
import session
import session_1_1
import triggered
from queue_of_entries import Refused

FEATURE = 1 << 7   # `triggered`


class Queue(session_1_1.Queue):
    def _window(self, name, fields):
        super()._window(name, fields)
        if fields["from"] < getattr(self._tracks[fields["track"]], "before", 0):
            raise Refused("grammar", text="a window that reaches back beyond its segment")


class Board(session_1_1.Board):
    """A board of version 1.2."""

    def _empty(self):
        super()._empty()
        self._queue = Queue(self._ports, self._limits, self._tracks, session.RATE, session.GRID)

    def _send(self, message, payload, sequence=0):
        if message == messages.NUMBERS["hello_ack"]:
            features, = struct.unpack_from("<I", payload, 8)
            payload = payload[:8] + struct.pack("<I", features | FEATURE) + payload[12:]
        super()._send(message, payload, sequence)

    def _minor(self):
        return 2

    def _track(self, number, plan, port, given):
        if plan["kind"] != triggered.TRIGGERED or port["kind"] not in (ports.VOLTAGE, ports.CURRENT, promises.TEMPERATURE):
            return super()._track(number, plan, port, given)
        self._require_epoch(given, session.LOADED)
        period, around = plan["period"], plan["before"] + plan["after"]
        sound = plan["options"] & triggered.ASKED and not plan["options"] & triggered.THROUGHOUT and period and around >= period
        if (not sound or period * 10**9 < port["shortest_period_ns"] * session.RATE
                or plan["before"] // period > triggered.MOST_BEFORE):
            raise Refused("capture_refused", number, f"{port['name']} cannot be triggered like that")
        return triggered.Track(number, plan, port)
