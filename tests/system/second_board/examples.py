"""Holds this board's own codec to every example and speed vector of drivers/board/PROTOCOL.md.

    examples.py PROTOCOL.md

The last line is `N passed, N failed`.
"""

import re
import sys

import frames
import messages
import wheel

DEGREE = 1 << 32
WHEELS = {
    "half": [0, 360 * DEGREE],
    "crank": [(turn + 6 * tooth + half) * DEGREE for turn in (0, 360) for tooth in range(58) for half in (0, 3)],
    "cam": [int(angle * DEGREE) for angle in (100, 140, 270.5, 330, 460, 480, 650, 719.75)],
}


def check_example(name, data):
    """What is wrong with an example, in words; None: nothing. Bytes are read to fields and written again."""
    if data[0] != 0 or data[-1] != 0 or 0 in data[1:-1]:
        return "it is not one frame between two delimiters"
    frame = frames.take_apart(data[1:-1])
    if frame is None:
        return "the frame is bad"
    session, sequence, message, payload = frame
    if messages.NUMBERS.get(name) != message:
        return f"message {message:#x} is not {name}"
    fields = messages.read(message, payload)
    if name == "queue":
        for entry in fields["entries"]:
            entry["body"] = messages.write_entry(entry["kind"], messages.read_entry(entry["kind"], entry["body"])[1])
    if frames.build(session, sequence, message, messages.write(name, **fields)) != data:
        return "written again, it is something else"
    return None


def examples(text):
    """(name, bytes) of each example of section 11."""
    for name, lines in re.findall(r"^(\w+):\n\n((?:    [0-9A-F ]+\n)+)", text, re.M):
        yield name, bytes.fromhex("".join(lines.split()))


def check_vector(row):
    _, name, pieces, number, tick, level = row
    turning, edges = wheel.Wheel(WHEELS[name], 1, 10_000_000), []
    for piece in pieces.split(";"):
        start, rest = piece.split(":")
        speed, rate, length = rest.split()
        edges += turning.edges(int(start))
        turning.piece(int(start), int(speed), int(rate), wheel.OPEN if length == "open" else int(length))
    edges += turning.edges(int(tick) + 2)
    found = edges[int(number) - 1] if len(edges) >= int(number) else None
    return None if found == (int(tick), int(level == "rising")) else f"edge {number} came at {found}"


def main():
    with open(sys.argv[1], encoding="utf-8") as page:
        text = page.read()
    wrong = []
    seen = {}
    for name, data in examples(text):
        seen[name] = check_example(name, data)
        if seen[name]:
            wrong.append(f"example {name}: {seen[name]}")
    for name in messages.NUMBERS:
        if name not in seen:
            wrong.append(f"{name} has no example")
    vectors = re.findall(r"^\| (\d+) \| (half|crank|cam) \| (.*?) \| (\d+) \| (\d+) \| (\w+) \|$", text, re.M)
    if len(vectors) != 20:
        wrong.append(f"{len(vectors)} speed vectors were found, not 20")
    for row in vectors:
        said = check_vector(row)
        if said:
            wrong.append(f"vector {row[0]}: {said}")
    if frames.crc32c(b"123456789") != 0xE3069283:
        wrong.append("the check value of the CRC")
    for text in wrong:
        print(text)
    total = len(messages.NUMBERS) + 20 + 1
    print(f"{total - len(wrong)} passed, {len(wrong)} failed")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
