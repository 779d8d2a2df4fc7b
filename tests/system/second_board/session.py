"""Sessions, commands and states of a board. Pure: it is handed frames and the time, and answers with payloads to send.

The host's time (seconds, monotonic) carries the lease and whatever else guards against a host that is gone. Bench time
passes only while playing, as fast as the host takes the readings; the board's clock follows it then.
"""

import random
import struct

import frames
import messages
import playing
import ports
import queue_of_entries
import recording
from queue_of_entries import Refused

RATE = 10_000_000
GRID = RATE // 1000
TRACKS = 64
LEASE, HOLD, TAKEN_OVER = 0.25, 5.0, 1.0   # seconds
NOBODY = (1 << 32) - 1

SAFE, LOADED, ARMED, PLAYING = range(4)
NONE, COMPLETED, HAS_STOPPED, WATCHDOG, INTERLOCK, UNDERRUN, BOARD_ERROR, HOLD_EXPIRED, SESSION_ENDED = range(9)


class Board:
    """`send(session, sequence, message, payload, is_data)` puts a frame on its way."""

    def __init__(self, rig, descriptions, link_bytes_per_second, send, now):
        self._rig, self._ports, self._put = rig, descriptions, send
        self._link = link_bytes_per_second
        self._boot = random.getrandbits(32)
        self._session = self._host = None
        self._hello_ack = b""
        self._last_valid = -TAKEN_OVER
        self._expected, self._replies = 1, {}
        self.state, self._latch, self._last_end = SAFE, NONE, NONE
        self._epoch = 0
        self._board_time, self._time_seen = 0, now
        self.bad_frames = lambda: 0
        self.first_waiting = lambda: NOBODY   # the number of the first data frame that is not on its way yet
        self._empty()
        self._data = recording.Data(0, self._send_data)

    # Sending.

    def _send(self, message, payload, sequence=0):
        self._put(self._session or 0, sequence, message, payload, False)

    def _send_data(self, message, payload):
        self._put(self._session or 0, 0, message, payload, True)

    def _error(self, message, refused, sequence=0):
        payload = self._error_payload(message, refused)
        self._send(messages.NUMBERS["error"], payload, sequence)

    def _error_payload(self, message, refused):
        return messages.write("error", message=message, code=messages.CODES[refused.name], state=self.state,
                              detail=refused.detail & 0xFFFF, text=refused.text or refused.name.replace("_", " "))

    def send_status(self):
        queue, player = self._queue, self._player
        playing_entry = player.segment.entry if player and player.segment else NOBODY
        supply = self._rig.highest_supply()
        self._send(messages.NUMBERS["status"], messages.write(
            "status", state=self.state, latch=self._latch, last_end=self._last_end,
            options=int(self.state == SAFE) | 2 | (4 if player and player.holding else 0),
            epoch=self._epoch, boot=self._boot, board_time=self._now(), next=queue.next, playing=playing_entry,
            free_entries=queue.free_entries, free_bytes=queue.free_bytes, data=min(self._data.next, self.first_waiting()),
            supply=-(1 << 31) if supply is None else round(supply * 1e6),
            segment_start=player.segment_start if player else 0, now=player.now if player else 0,
            bad_frames=self.bad_frames() & 0xFFFF))

    # Time.

    def _now(self):
        """The board's ticks: while playing they are those of the bench's time, else they go with the host's."""
        return self._started_at + self._player.now if self.state == PLAYING else self._board_time

    def tick(self, now):
        """Looks at the time: the lease, a hold that takes too long."""
        if self.state != PLAYING:
            self._board_time += round((now - self._time_seen) * RATE)
        self._time_seen = now
        if self.state in (ARMED, PLAYING) and now - self._renewed > LEASE:
            self._end_epoch(WATCHDOG, latch=True)
        elif self.state == PLAYING and self._player.holding and now - self._holding_since > HOLD:
            self._end_epoch(HOLD_EXPIRED, latch=True)
        elif self.state == PLAYING and self._waiting_since is not None and now - self._waiting_since > LEASE:
            self._end_epoch(UNDERRUN, latch=True)

    # Ends.

    def _empty(self):
        self._limits, self._wheels, self._tracks, self._starts, self._plan_acks = {}, {}, {}, {}, []
        self._queue = queue_of_entries.Queue(self._ports, self._limits, self._tracks, RATE, GRID)
        self._player = None
        self._digested = bytearray()
        self._waiting_since = self._holding_since = None

    def _end_epoch(self, reason, latch=False):
        """Outputs safe, queue flushed, epoch over. What was recorded is kept until the next load."""
        self._board_time = self._now()
        if self._player:
            self._player.cut_short()
        self._rig.make_safe()
        self.state, self._last_end = SAFE, reason
        if latch:
            self._latch = reason
        self._empty()
        self.send_status()

    # Frames from the host.

    def receive(self, frame, now):
        session, sequence, message, payload = frame
        name = messages.LAYOUTS.get(message, ("", ""))[0] if message < 0x80 else ""
        try:
            if name == "hello":
                return self._on_hello(messages.read(message, payload), now)
            if name == "stop":
                return self._on_stop(payload, session, now)
            if self._session is None or session != self._session:
                refused = Refused("no_session", text="session unknown: say hello")
                return self._put(session, sequence, messages.NUMBERS["error"], self._error_payload(message, refused), False)
            self._last_valid = now
            if 0x02 <= message <= 0x3F:
                return self._command(sequence, message, name, payload)
            if not name:
                return self._send(messages.NUMBERS["unsupported"], bytes([message]))
            return getattr(self, "_on_" + name)(messages.read(message, payload), now)
        except messages.Malformed:
            self._error(message, Refused("malformed"))

    def _on_hello(self, given, now):
        if given["host"] == self._host:
            self._last_valid = now
            return self._send(messages.NUMBERS["hello_ack"], self._hello_ack)
        if self._session is not None and (self.state in (ARMED, PLAYING) or now - self._last_valid < TAKEN_OVER):
            return self._refuse_hello(Refused("busy", text="another host has the session"))
        if not given["lowest_major"] <= 1 <= given["highest_major"]:
            return self._refuse_hello(Refused("version", text="this board speaks version 1"))
        if self.state == LOADED:
            self._end_epoch(SESSION_ENDED)
        self._session, self._host = random.randint(1, 65535), given["host"]
        self._expected, self._replies, self._last_valid = 1, {}, now
        set_points = captures = 0
        for port in self._ports:
            set_points, captures = set_points | port["set_points"], captures | port["captures"]
        self._hello_ack = messages.write(
            "hello_ack", host=self._host, major=1, minor=0, state=self.state, latch=self._latch, features=0,
            boot=self._boot, board_time=self._now(), tick_rate=RATE, tolerance_ppb=20000,
            queue_entries=queue_of_entries.ENTRIES, queue_bytes=queue_of_entries.BYTES, resend_bytes=recording.Data.KEPT,
            link_bytes_per_second=self._link, grid=GRID, append_lead=GRID, set_points=set_points, captures=captures,
            ports=len(self._ports), tracks=TRACKS, identity="second board, written from the page")
        self._send(messages.NUMBERS["hello_ack"], self._hello_ack)

    def _refuse_hello(self, refused):
        self._put(0, 0, messages.NUMBERS["error"], self._error_payload(0x01, refused), False)

    def _on_stop(self, _, session, now):
        if session == self._session:
            self._last_valid = now
        if self.state != SAFE:
            self._end_epoch(HAS_STOPPED)
        else:
            self._rig.make_safe()
            self.send_status()

    def _on_heartbeat(self, given, now):
        if given["epoch"] == self._epoch:
            self._renewed = now
            self._data.arrived(given["wanted"])
        self.send_status()

    def _on_resend(self, given, _):
        if given["epoch"] == self._data.epoch:
            for message, payload in self._data.resend(given["first"], given["count"]):
                self._send_data(message, payload)

    def _on_clock(self, given, _):
        self._send(messages.NUMBERS["clock_ack"], messages.write("clock_ack", t1=given["t1"], t2=self._now(), t3=self._now()))

    def _on_queue(self, given, _):
        if given["epoch"] == self._epoch and self.state != SAFE:
            self._take(given)
        self.send_status()

    def _take(self, given):
        first = given["first"]
        for offset, entry in enumerate(given["entries"]):
            number = first + offset
            if number > self._queue.next:
                return  # a hole: the host sends again from there
            if number < self._queue.next:
                continue
            try:
                self._queue.take(entry["kind"], entry["body"])
            except Refused as refused:
                self._error(0x40, Refused(refused.name, number, refused.text))
                return self._end_epoch(BOARD_ERROR, latch=True)

    # Commands.

    def _command(self, sequence, message, name, payload):
        if sequence in self._replies:
            reply, body = self._replies[sequence]
            return self._send(reply, body, sequence)
        if sequence != self._expected:
            return self._error(message, Refused("out_of_order", self._expected))
        self._expected = sequence % 65535 + 1
        before = self.state
        try:
            if not name:
                reply, body = messages.NUMBERS["unsupported"], bytes([message])
            else:
                body = getattr(self, "_on_" + name)(messages.read(message, payload), payload) or b""
                reply = message | 0x80
        except Refused as refused:
            reply, body = messages.NUMBERS["error"], self._error_payload(message, refused)
        except messages.Malformed:
            reply, body = messages.NUMBERS["error"], self._error_payload(message, Refused("malformed"))
        self._replies[sequence] = reply, body
        while len(self._replies) > 8:
            self._replies.pop(next(iter(self._replies)))
        self._send(reply, body, sequence)
        if name == "bye" and reply == message | 0x80:
            self._session = self._host = None
        elif self.state != before:
            self.send_status()

    def _require(self, *states):
        if self.state not in states:
            raise Refused("wrong_state")

    def _require_epoch(self, given, *states):
        self._require(*states)
        if given["epoch"] != self._epoch:
            raise Refused("wrong_epoch")

    def _port(self, number):
        if number >= len(self._ports):
            raise Refused("no_such_port", number)
        return self._ports[number]

    def _on_get_ports(self, given, _):
        some, size = [], 5
        for port in self._ports[given["first"]:]:
            size += messages.port_size(port)
            if size > frames.PAYLOAD:
                break
            some.append(port)
        return messages.write("ports", total=len(self._ports), first=given["first"], ports=some)

    def _on_load(self, *_):
        self._require(SAFE, LOADED)
        if self._latch:
            raise Refused("latched", self._latch)
        self._empty()
        self._epoch = self._epoch % 0xFFFFFFFF + 1
        self._data = recording.Data(self._epoch, self._send_data)
        self.state = LOADED
        return messages.write("load_ack", epoch=self._epoch)

    def _on_limits(self, given, payload):
        self._require_epoch(given, LOADED)
        for limit in given["limits"]:
            port = self._port(limit["port"])
            if port["safe"] == ports.NO_OUTPUT:
                raise Refused("wrong_kind", limit["port"])
            low, high = ports.range_of(port)
            if not low <= limit["low"] <= limit["high"] <= high:
                raise Refused("out_of_range", limit["port"], f"limits of {port['name']}")
        for limit in given["limits"]:
            self._limits[limit["port"]] = limit["low"], limit["high"]
        self._digested += payload

    def _on_wheel(self, given, payload):
        self._require_epoch(given, LOADED)
        if self._port(given["port"])["kind"] != ports.PULSES:
            raise Refused("wrong_kind", given["port"])
        angles = self._wheels.get(given["port"], (0, 0, []))[2] if given["first"] else []
        if given["first"] != len(angles) or given["total"] % 2 or given["first"] + len(given["edges"]) > given["total"]:
            raise Refused("bad_wheel", text="edges that do not follow on, or an odd number")
        angles = angles + [edge["angle"] for edge in given["edges"]]
        if any(a >= b for a, b in zip(angles, angles[1:])) or angles and not (0 <= angles[0] and angles[-1] < 720 << 32):
            raise Refused("bad_wheel", text="edges that are not in order, or beyond the cycle")
        self._wheels[given["port"]] = given["total"], given["rising"], angles
        self._digested += payload

    def _on_plan(self, given, payload):
        self._require_epoch(given, LOADED)
        acks = []
        for number, plan in enumerate(given["tracks"], given["first"]):
            port = self._port(plan["port"])
            if number >= TRACKS:
                raise Refused("too_many", number)
            if plan["kind"] > 4:
                raise Refused("malformed")
            if not port["captures"]:
                raise Refused("wrong_kind", plan["port"])
            if not port["captures"] >> plan["kind"] & 1 or plan["kind"] not in recording.OFFERED or plan["options"] & ~1:
                raise Refused("capture_refused", number, f"{port['name']} does not offer that")
            period = plan["period"]
            if plan["kind"] == recording.ENVELOPE and (
                    not period or GRID % period or period * 1000 < port["shortest_period_ns"] * RATE // 1_000_000):
                raise Refused("capture_refused", number, "bins that do not divide the grid")
            self._tracks[number] = recording.Track(number, plan, port)
            acks.append({"scale": self._tracks[number].scale, "offset": 0.0, "clock": 0, "resolution_ns": 10**9 // RATE,
                         "skew_ns": port["skew_ns"], "uncertainty_ns": 10**9 // RATE})
        self._digested += payload
        return messages.write("plan_ack", first=given["first"], tracks=acks)

    def _on_starts_from(self, given, payload):
        self._require_epoch(given, LOADED)
        for output in given["outputs"]:
            if self._port(output["port"])["safe"] == ports.NO_OUTPUT:
                raise Refused("wrong_kind", output["port"])
            self._starts[output["port"]] = output["kind"], output["value"]
        self._digested += payload

    def _on_arm(self, given, _):
        self._require_epoch(given, LOADED)
        for number, (total, _, angles) in self._wheels.items():
            if len(angles) != total:
                raise Refused("bad_wheel", number, "the wheel is not complete")
        for number, stated in self._starts.items():
            safe = {ports.SAFE_OPEN: (3, None), ports.SAFE_GROUNDED: (4, None), ports.SAFE_OFF: (0, 0),
                    ports.SAFE_RELAY_OPEN: (0, 0), ports.SAFE_RELAY_CLOSED: (0, 1)}[self._ports[number]["safe"]]
            if stated[0] != safe[0] or safe[1] is not None and stated[1] != safe[1]:
                raise Refused("wrong_start", number, f"{self._ports[number]['name']} is in its safe state")
        self._rig.new_start({number: (angles, rising) for number, (_, rising, angles) in self._wheels.items()})
        self.state, self._renewed = ARMED, self._time_seen
        return messages.write("arm_ack", epoch=self._epoch, entries=self._queue.next,
                              digest=frames.crc32c(self._digested + self._queue.taken))

    def _on_start(self, given, _):
        self._require_epoch(given, ARMED)
        if not self._queue.whole():
            raise Refused("queue_empty")
        if given["at"] and given["at"] < self._board_time:
            raise Refused("late_start")
        self._started_at = given["at"] or self._board_time
        self._player = playing.Player(self._rig, self._queue, self._tracks, self._data, GRID, RATE)
        self.state = PLAYING
        self._player.begin_next()
        return struct.pack("<IQ", self._epoch, self._started_at)

    def _on_advance(self, given, _):
        self._require_epoch(given, PLAYING)
        if not self._player.advance(given["segment"]):
            raise Refused("no_such_segment")

    def _on_acknowledge(self, given, _):
        self._require(SAFE)
        if given["reason"] != self._latch:
            raise Refused("wrong_state", self._latch, "that is not the latch")
        self._latch = NONE

    def _on_bye(self, *_):
        if self.state in (ARMED, PLAYING, LOADED):
            self._end_epoch(SESSION_ENDED)

    # Playing.

    def waits_for_advance(self):
        return self._player is not None and self._player.waits_for_advance()

    def begins_segment(self):
        return self._player.now == self._player.segment_start

    def play(self, now):
        """Lets a little bench time pass. False: it cannot, until the host sends something."""
        player = self._player
        if player.must_wait():
            self._waiting_since = now if self._waiting_since is None else self._waiting_since
            return False
        self._waiting_since = None
        if player.segment is None:
            if not player.begin_next():
                return False
            if player.completed:
                self._end_epoch(COMPLETED)
                return True
            if player.holding:
                self._holding_since = now
            self.send_status()
            return not player.holding
        if player.play():
            if not player.begin_next():
                return True
            if player.completed:
                self._end_epoch(COMPLETED)
                return True
            if player.holding:
                self._holding_since = now
            self.send_status()
        return True
