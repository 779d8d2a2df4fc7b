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
            payload = payload[:5] + bytes([self._minor()]) + payload[6:]
        super()._send(message, payload, sequence)

    def _minor(self):
        return 1

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

    def _track(self, number, plan, port, given):
        """A track of this board's own; nothing: it is one of the second board's."""
        if plan["kind"] != conversations.BYTES or port["kind"] != promises.SERVICE:
            return None
        self._require_epoch(given, session.LOADED)
        return conversations.Track(number, plan)

    def _on_plan(self, given, payload):
        """One track at a time, as their numbers are."""
        acks = []
        for number, plan in enumerate(given["tracks"], given["first"]):
            port = self._port(plan["port"])
            track = self._track(number, plan, port, given)
            if track:
                self._tracks[number] = track
                acks.append({"scale": track.scale, "offset": 0.0, "clock": 0, "resolution_ns": 10**9 // session.RATE,
                             "skew_ns": port["skew_ns"], "uncertainty_ns": 10**9 // session.RATE})
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
