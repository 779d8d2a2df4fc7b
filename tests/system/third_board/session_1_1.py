"""The second board's sessions with what 1.1 added and made plain."""

import conversations
import messages
import promises
import queue_of_entries
import session
from queue_of_entries import Refused


class Queue(queue_of_entries.Queue):
    """Takes conversations, which need no limits."""

    def take(self, kind, body):
        self._body = body
        super().take(kind, body)

    def _exchange(self, name, fields):
        number = fields["port"]
        if number >= len(self._ports):
            raise Refused("no_such_port", number)
        if self._ports[number]["kind"] != promises.SERVICE:
            raise Refused("wrong_kind", number)
        _, fields["send"], fields["until"], fields["baud"] = conversations.split(self._body)
        if not fields["until"] and not fields["length"] or not fields["baud"]:
            raise Refused("out_of_range", number, "a conversation without an end or a speed")
        segment = self._inside()
        if segment.events and fields["at"] < segment.events[-1][1]["at"]:
            raise Refused("grammar", text="events are not in order of time")
        segment.events.append((name, fields))


class Board(session.Board):
    """A board of version 1.1."""

    def _empty(self):
        super()._empty()
        self._queue = Queue(self._ports, self._limits, self._tracks, session.RATE, session.GRID)
        self._ids = set()   # of all segments of the epoch

    def _send(self, message, payload, sequence=0):
        if message == messages.NUMBERS["hello_ack"]:
            payload = payload[:5] + b"\1" + payload[6:]   # the minor version
        super()._send(message, payload, sequence)

    def send_status(self):
        """Once safe it counts every data frame, also those that wait."""
        waiting = self.first_waiting
        if self.state == session.SAFE:
            self.first_waiting = lambda: session.NOBODY
        super().send_status()
        self.first_waiting = waiting

    def _take(self, given):
        for entry in given["entries"]:
            if entry["kind"] == 32:
                self._ids.add(messages.read_entry(32, entry["body"])[1]["id"])
        super()._take(given)

    def _on_get_ports(self, given, _):
        return promises.page(self._ports, given["first"])

    def _on_plan(self, given, payload):
        """Tracks of bytes are this board's; all others the second board's, one at a time, as their numbers are."""
        acks = []
        for number, plan in enumerate(given["tracks"], given["first"]):
            port = self._port(plan["port"])
            if plan["kind"] == conversations.BYTES and port["kind"] == promises.SERVICE:
                self._require_epoch(given, session.LOADED)
                self._tracks[number] = conversations.Track(number, plan)
                acks.append({"scale": 1.0, "offset": 0.0, "clock": 0, "resolution_ns": 10**9 // session.RATE, "skew_ns": 0,
                             "uncertainty_ns": 10**9 // session.RATE})
            else:
                one = {**given, "first": number, "tracks": [plan]}
                acks += messages.read(messages.NUMBERS["plan_ack"], super()._on_plan(one, b""))["tracks"]
        self._digested += payload
        return messages.write("plan_ack", first=given["first"], tracks=acks)

    def _on_advance(self, given, payload):
        self._require_epoch(given, session.PLAYING)
        waiting = {segment.id for segment in self._queue.segments}
        if given["segment"] in self._ids - waiting:
            return  # it has ended: said twice, or too late
        super()._on_advance(given, payload)

    def _on_acknowledge(self, given, _):
        self._require(session.SAFE)
        if self._latch and given["reason"] != self._latch:
            raise Refused("still_active", self._latch, "another latch is set")
        self._latch = session.NONE
