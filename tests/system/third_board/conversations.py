"""Conversations on the service port: what is asked is answered from a list, at its baud rate, by a module that is powered."""

import struct

import messages
import signals

# What the invented module knows of itself.
ANSWERS = {
    b"?serial\r": b"serial T00001\r\n", b"?hardware\r": b"hardware C\r\n", b"?firmware\r": b"firmware 5f1d22c09a37\r\n",
    b"?table\r": b"table 83b9d014c6ee\r\n", b"?faults\r": b"faults none\r\n", b"\x01\x00\xff": b"\x00\xff\x00\x01",
}
THINKS = 0.002            # seconds before it answers
LEAST_BATTERY = 5.0       # volts that it takes to talk
BYTES = 4                 # the capture kind
AMBIENT, FIXTURE = 23.4, 24.1   # degrees Celsius
GROUND = 0.03             # ohm between the module's ground and zero


def split(entry_body):
    """(fields, out, terminator, baud) of an exchange's body."""
    name, fields = messages.read_entry(7, entry_body)
    assert name == "exchange"
    out, rest = fields["tail"][:fields["out"]], fields["tail"][fields["out"]:]
    used = 8 + 2 + 4 + 8 + 3 + len(fields["tail"])
    baud = struct.unpack_from("<I", entry_body, used)[0] if len(entry_body) >= used + 4 else 115200
    return fields, out, rest, baud


class Rig(signals.Rig):
    """The second board's bench with a service port, two temperatures and the ground's shift."""

    def __init__(self, bench, product, descriptions, rate, stammer):
        self._heard, self._stammer, self._asked = [], stammer, set()
        names = {port["name"]: number for number, port in enumerate(descriptions)}
        self._service, self._ground = names["service"], names["ground_sense"]
        self._steady = {names["ambient"]: AMBIENT, names["fixture"]: FIXTURE}
        super().__init__(bench, product, descriptions, rate)

    def make_safe(self):
        super().make_safe()
        self._heard = []

    def apply(self, name, event, now):
        if name == "exchange":
            self._converse(event, now)
        else:
            super().apply(name, event, now)

    def _converse(self, event, now):
        """Lays down every byte that will come in, with its tick."""
        byte = 10 * self.rate / event["baud"]
        begin, self._heard = now, [(tick, value) for tick, value in self._heard if tick < now]
        for _ in range(event["retries"] + 1):
            sent = begin + byte * len(event["send"])
            reply = self._reply(event["send"])
            for number, value in enumerate(reply, 1):
                self._heard.append((round(sent + THINKS * self.rate + number * byte), value))
            if event["until"] and reply.endswith(event["until"]) or not event["until"] and len(reply) >= event["length"]:
                return
            begin = sent + event["time_out"]

    def _reply(self, question):
        powered = self._outputs[self._battery["source"]].value >= LEAST_BATTERY and self._relays[self._isolator]
        answer = ANSWERS.get(bytes(question), b"") if powered else b""
        if answer and self._stammer and question not in self._asked:
            self._asked.add(question)
            return answer[:-1]
        return answer

    def play(self, begin, end):
        pieces, seen = super().play(begin, end)
        seen[self._service] = [heard for heard in self._heard if heard[0] < end]
        self._heard = [heard for heard in self._heard if heard[0] >= end]
        for port, value in self._steady.items():
            self._put(pieces, port, begin, end, value, value, 0.0)
        shift = GROUND * (self.module.current if self._relays[self._isolator] else 0.0)
        self._put(pieces, self._ground, begin, end, shift, shift, 0.0)
        return pieces, seen


class Track:
    """The bytes of a service port, as recording.Track is for voltages and edges."""

    def __init__(self, number, plan):
        self.number, self.port, self.kind = number, plan["port"], BYTES
        self.throughout = bool(plan["options"] & 1)
        self.windows, self.scale = [], 1.0
        self._block, self._values = 0, []

    def take_edges(self, heard):
        """(tick, byte) pairs, under the name that the player calls."""
        for tick, value in heard:
            if self.throughout or any(begin <= tick < end for begin, end in self.windows):
                self._values.append((tick, value))

    def flush(self, base):
        out = []
        for at in range(0, len(self._values), 400):
            part = self._values[at:at + 400]
            out.append(struct.pack("<HHiHBB", self.number, self._block, part[0][0] - base, len(part), 1, 0)
                       + bytes(value for _, value in part))
            self._block = self._block + 1 & 0xFFFF
        self._values = []
        return out
