"""Frames on the wire: length, session, sequence, message, flags, payload, CRC-32C, all in COBS between zeros."""

import struct

import cobs

LARGEST = 512
PAYLOAD = 500


def _crc_table():
    table = []
    for value in range(256):
        for _ in range(8):
            value = (value >> 1) ^ (0x82F63B78 if value & 1 else 0)  # 0x1EDC6F41 reflected
        table.append(value)
    return table


_TABLE = _crc_table()


def crc32c(data, crc=0):
    """CRC-32C of `data`; `crc` is that of what came before it."""
    crc ^= 0xFFFFFFFF
    table = _TABLE
    for byte in data:
        crc = table[(crc ^ byte) & 255] ^ (crc >> 8)
    return crc ^ 0xFFFFFFFF


def build(session, sequence, message, payload):
    """A whole frame, delimiters included."""
    body = struct.pack("<HHHBB", 12 + len(payload), session, sequence, message, 0) + payload
    assert len(body) + 4 <= LARGEST
    return b"\0" + cobs.encode(body + struct.pack("<I", crc32c(body))) + b"\0"


def take_apart(coded):
    """(session, sequence, message, payload) of what stood between two delimiters, or None when it is bad."""
    body = cobs.decode(coded)
    if body is None or not 12 <= len(body) <= LARGEST:
        return None
    length, session, sequence, message, _ = struct.unpack_from("<HHHBB", body)
    if length != len(body) or struct.unpack_from("<I", body, length - 4)[0] != crc32c(body[:-4]):
        return None
    return session, sequence, message, body[8:-4]


class Splitter:
    """Cuts a stream of bytes into frames and counts the bad ones."""

    def __init__(self):
        self._rest = b""
        self._too_long = False
        self.bad = 0

    def feed(self, data):
        """Every good frame that `data` completes."""
        good = []
        pieces = (self._rest + data).split(b"\0")
        self._rest = pieces.pop()
        for coded in pieces:
            if self._too_long:
                self._too_long = False
                self.bad += 1
            elif coded:
                frame = take_apart(coded)
                if frame is None:
                    self.bad += 1
                else:
                    good.append(frame)
        if len(self._rest) > 2 * LARGEST:
            self._rest, self._too_long = b"", True
        return good
