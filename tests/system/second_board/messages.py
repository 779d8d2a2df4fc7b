"""What stands in each message: layouts written as the protocol's page has them, and one codec for all.

`name:type` is a field; `name:[...]` is a count (u8) and that many groups of fields.
"""

import struct

PORT = ("name:text kind:u8 options:u8 safe:u8 order:u8 low:f64 high:f64 resolution:f64 accuracy_offset:f64 "
        "accuracy_gain:f64 resistance:f64 current_limit:f64 slew:f64 captures:u32 set_points:u32 "
        "shortest_period_ns:u32 settling_ns:u32 skew_ns:i32 travel_ns:u32")

LAYOUTS = {
    0x01: ("hello", "host:u32 lowest_major:u8 highest_major:u8 features:u32"),
    0x02: ("get_ports", "first:u16"),
    0x03: ("load", ""),
    0x04: ("limits", "epoch:u32 limits:[port:u16 low:i32 high:i32 current:u32 slew:f64]"),
    0x05: ("wheel", "epoch:u32 port:u16 total:u16 first:u16 rising:u8 edges:[angle:i64]"),
    0x06: ("plan", "epoch:u32 first:u16 tracks:[port:u16 kind:u8 options:u8 period:u64 threshold:i32 before:u64 after:u64]"),
    0x07: ("starts_from", "epoch:u32 outputs:[port:u16 kind:u8 value:i32]"),
    0x08: ("arm", "epoch:u32"),
    0x09: ("start", "epoch:u32 at:u64"),
    0x0A: ("advance", "epoch:u32 segment:u32"),
    0x0B: ("acknowledge", "reason:u8"),
    0x0C: ("bye", ""),
    0x40: ("queue", "epoch:u32 first:u32 entries:[kind:u8 body:bytes]"),
    0x41: ("heartbeat", "epoch:u32 wanted:u32"),
    0x42: ("stop", "why:text"),
    0x43: ("resend", "epoch:u32 first:u32 count:u16"),
    0x44: ("clock", "t1:u64"),
    0x81: ("hello_ack", "host:u32 major:u8 minor:u8 state:u8 latch:u8 features:u32 boot:u32 board_time:u64 tick_rate:u32 "
                        "tolerance_ppb:u32 queue_entries:u32 queue_bytes:u32 resend_bytes:u32 link_bytes_per_second:u32 "
                        "grid:u32 append_lead:u32 set_points:u32 captures:u32 ports:u16 tracks:u16 identity:text"),
    0x82: ("ports", f"total:u16 first:u16 ports:[{PORT}]"),
    0x83: ("load_ack", "epoch:u32"),
    0x84: ("limits_ack", ""),
    0x85: ("wheel_ack", ""),
    0x86: ("plan_ack", "first:u16 tracks:[scale:f64 offset:f64 clock:u16 resolution_ns:u32 skew_ns:i32 uncertainty_ns:u32]"),
    0x87: ("starts_from_ack", ""),
    0x88: ("arm_ack", "epoch:u32 digest:u32 entries:u32"),
    0x89: ("start_ack", "epoch:u32 at:u64"),
    0x8A: ("advance_ack", ""),
    0x8B: ("acknowledge_ack", ""),
    0x8C: ("bye_ack", ""),
    0xC0: ("status", "state:u8 latch:u8 last_end:u8 options:u8 epoch:u32 boot:u32 board_time:u64 next:u32 playing:u32 "
                     "free_entries:u32 free_bytes:u32 data:u32 supply:i32 segment_start:u64 now:u64 bad_frames:u16"),
    0xC1: ("blocks", "epoch:u32 number:u32 base:u64 blocks:[track:u16 block:u16 first:i32 values:readings]"),
    0xC2: ("record", "epoch:u32 number:u32 segment:u32 start:u64 end:u64 reason:u8 conditions:[settled:i64]"),
    0xC3: ("flag", "epoch:u32 number:u32 kind:u8 at:u64 port:u16 text:text"),
    0xC4: ("clock_ack", "t1:u64 t2:u64 t3:u64"),
    0xC5: ("gone", "epoch:u32 first:u32 count:u16"),
    0xC6: ("error", "message:u8 code:u16 state:u8 detail:u16 text:text"),
    0xC7: ("unsupported", "message:u8"),
}
NUMBERS = {name: number for number, (name, _) in LAYOUTS.items()}

# Bodies of queue entries. An event's `at` and `port` come first.
EVENTS = {
    0: ("step", "at:u64 port:u16 value:i32"),
    1: ("ramp", "at:u64 port:u16 value:i32 duration:u64"),
    2: ("speed_piece", "at:u64 port:u16 millirpm:i32 millirpm_per_second:i32 ticks:u64"),
    3: ("open", "at:u64 port:u16"),
    4: ("grounded", "at:u64 port:u16"),
    5: ("relay", "at:u64 port:u16 closed:u8"),
    6: ("current_limit", "at:u64 port:u16 microamperes:u32"),
    7: ("exchange", "at:u64 port:u16 length:u32 time_out:u64 retries:u8 out:u8 terminator:u8"),
}
ENTRIES = EVENTS | {
    32: ("segment_begin", "id:u32 until:u8 length:u64 not_before:u64"),
    33: ("window", "track:u16 from:u64 length:u64"),
    34: ("until_condition", "track:u16 window:u64 slowest:u64 span:u32 module_output:u8"),
    35: ("segment_end", "id:u32"),
    36: ("end_of_timeline", "hold:u8"),
}

CODES = {"version": 1, "busy": 2, "no_session": 3, "out_of_order": 4, "wrong_state": 5, "latched": 6, "malformed": 7,
         "no_such_port": 8, "no_such_track": 9, "out_of_range": 10, "beyond_limit": 11, "wrong_kind": 12,
         "capture_refused": 13, "too_many": 14, "wrong_start": 15, "wrong_epoch": 16, "late_start": 17,
         "queue_empty": 18, "no_such_segment": 19, "still_active": 20, "grammar": 21, "bad_wheel": 22, "board_fault": 23}

_NUMBER = {"u8": "<B", "u16": "<H", "u32": "<I", "u64": "<Q", "i16": "<h", "i32": "<i", "i64": "<q", "f64": "<d"}
_NUMBER = {kind: struct.Struct(shape) for kind, shape in _NUMBER.items()}


class Malformed(Exception):
    """A payload that is shorter than its layout."""


def _fields(layout):
    """[(name, type)] of a layout; the type of a counted group is such a list itself."""
    words, stack = layout.replace("[", "[ ").replace("]", " ]").split(), [[]]
    for word in words:
        if word == "]":
            group = stack.pop()
            stack[-1][-1] = (stack[-1][-1][0], group)
            continue
        name, kind = word.split(":")
        stack[-1].append((name, kind))
        if kind == "[":
            stack.append([])
    return stack[0]


_PARSED = {number: _fields(layout) for number, (_, layout) in LAYOUTS.items()}
_PARSED_ENTRIES = {number: _fields(layout) for number, (_, layout) in ENTRIES.items()}


def _cut(data, at, length):
    if at + length > len(data):
        raise Malformed
    return data[at:at + length]


def _signed(data):
    return int.from_bytes(data, "little", signed=True)


def _read_leb128(data, at):
    value = shift = 0
    while True:
        byte = _cut(data, at, 1)[0]
        value |= (byte & 127) << shift
        at, shift = at + 1, shift + 7
        if byte < 128:
            return value, at


def write_leb128(value):
    out = bytearray()
    while value > 127:
        out.append(value & 127 | 128)
        value >>= 7
    out.append(value)
    return bytes(out)


def _read_readings(data, at):
    """count u16, format u8, dropped u8, (dropped_before u32), then the values by their format."""
    count, form, dropped = struct.unpack("<HBB", _cut(data, at, 4))
    at += 4
    before = None
    if dropped == 1:
        before, at = struct.unpack("<I", _cut(data, at, 4))[0], at + 4
    sizes = {1: (1,), 2: (2,), 3: (3,), 4: (4,), 5: (2, 2, 3), 6: (4, 4, 4)}
    values = []
    for _ in range(count):
        if form == 7:
            value, at = _read_leb128(data, at)
            values.append((value >> 1, value & 1))
        elif form in sizes:
            parts = []
            for size in sizes[form]:
                part = _cut(data, at, size)
                parts.append(part[0] if form == 1 else _signed(part))
                at += size
            values.append(tuple(parts) if len(parts) > 1 else parts[0])
        else:
            raise Malformed
    return {"format": form, "dropped_before": before, "values": values}, at


def _write_readings(readings):
    form, before, values = readings["format"], readings["dropped_before"], readings["values"]
    out = [struct.pack("<HBB", len(values), form, 0 if before is None else 1)]
    if before is not None:
        out.append(struct.pack("<I", before))
    sizes = {1: (1,), 2: (2,), 3: (3,), 4: (4,), 5: (2, 2, 3), 6: (4, 4, 4)}
    for value in values:
        if form == 7:
            out.append(write_leb128(value[0] << 1 | value[1]))
        else:
            parts = value if isinstance(value, tuple) else (value,)
            out += [part.to_bytes(size, "little", signed=form != 1) for part, size in zip(parts, sizes[form])]
    return b"".join(out)


def _read(fields, data, at):
    found = {}
    for name, kind in fields:
        if isinstance(kind, list):
            count, at = _cut(data, at, 1)[0], at + 1
            found[name] = []
            for _ in range(count):
                item, at = _read(kind, data, at)
                found[name].append(item)
        elif kind in ("text", "bytes"):
            length = _cut(data, at, 1)[0]
            value, at = _cut(data, at + 1, length), at + 1 + length
            found[name] = bytes(value) if kind == "bytes" else value.decode("utf-8", "replace")
        elif kind == "readings":
            found[name], at = _read_readings(data, at)
        else:
            shape = _NUMBER[kind]
            if at + shape.size > len(data):
                raise Malformed
            found[name], at = shape.unpack_from(data, at)[0], at + shape.size
    return found, at


def _write(fields, values):
    out = []
    for name, kind in fields:
        value = values[name]
        if isinstance(kind, list):
            out.append(bytes([len(value)]))
            out += [_write(kind, item) for item in value]
        elif kind in ("text", "bytes"):
            data = value if kind == "bytes" else value.encode()[:255]
            out.append(bytes([len(data)]) + data)
        elif kind == "readings":
            out.append(_write_readings(value))
        else:
            out.append(_NUMBER[kind].pack(value))
    return b"".join(out)


def read(message, payload):
    """The fields of a payload; what is longer than the layout is left alone."""
    return _read(_PARSED[message], payload, 0)[0]


def write(name, **values):
    """The payload of a message."""
    return _write(_PARSED[NUMBERS[name]], values)


def read_entry(kind, body):
    """(name, fields) of a queue entry, with what follows an exchange's head in `tail`."""
    if kind not in ENTRIES:
        raise Malformed
    found, used = _read(_PARSED_ENTRIES[kind], body, 0)
    if kind == 7:
        found["tail"] = _cut(body, used, found["out"] + found["terminator"])
    return ENTRIES[kind][0], found


def write_entry(kind, fields):
    """The body of a queue entry: what read_entry was given."""
    return _write(_PARSED_ENTRIES[kind], fields) + fields.get("tail", b"")


def port_size(port):
    """How many bytes a port description takes."""
    return len(_write(_fields(PORT), port))
