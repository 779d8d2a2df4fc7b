"""Holds this board's codec to every example of drivers/board/PROTOCOL.md, as the second board's is to those of 1.0.

    examples.py PROTOCOL.md
"""

import pathlib
import struct
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "second_board"))

import examples as second
import frames
import messages

import conversations
import promises

_check_1_0 = second.check_example


def check_example(name, data):
    if name not in ("ports", "queue"):
        return _check_1_0(name, data)
    frame = frames.take_apart(data[1:-1])
    if frame is None:
        return "the frame is bad"
    number, sequence, message, payload = frame
    if name == "ports":
        fields = promises.read_page(payload)
        again = promises.write_page(fields["total"], fields["first"], fields["ports"])
    else:
        fields = messages.read(message, payload)
        for entry in fields["entries"]:
            body = messages.write_entry(entry["kind"], messages.read_entry(entry["kind"], entry["body"])[1])
            if entry["kind"] == 7:
                body += struct.pack("<I", conversations.split(entry["body"])[3])
            entry["body"] = body
        again = messages.write("queue", **fields)
    return None if frames.build(number, sequence, message, again) == data else "written again, it is something else"


if __name__ == "__main__":
    second.check_example = check_example
    sys.exit(second.main())
