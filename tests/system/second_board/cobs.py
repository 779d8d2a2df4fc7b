"""Consistent overhead byte stuffing: bytes without a zero among them."""


def encode(data):
    """`data` without zeros. A full last group needs nothing after it."""
    out = []
    parts = bytes(data).split(b"\0")
    for number, part in enumerate(parts):
        full = 0
        while len(part) - full >= 254:
            out.append(b"\xff" + part[full:full + 254])
            full += 254
        rest = part[full:]
        if rest or full == 0 or number + 1 < len(parts):
            out.append(bytes([len(rest) + 1]) + rest)
    return b"".join(out)


def decode(coded):
    """The bytes that were coded, or None when no sender can have meant this."""
    out = []
    at, end = 0, len(coded)
    if end == 0 or 0 in coded:
        return None
    while at < end:
        code = coded[at]
        if at + code > end:
            return None
        out.append(coded[at + 1:at + code])
        at += code
        if at < end and code != 255:
            out.append(b"\0")
        elif at == end - 1 and code == 255 and coded[at] == 1:
            break  # a last, empty group after a full one
    return b"".join(out)
