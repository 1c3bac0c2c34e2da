"""Makes the MDF 4 files beside this script, and `expected.csv`, which says what is in them.

sorted.mf4, deflate.mf4 and transposed.mf4 are written by python-can 4.6.1 through asammdf 8.8.28 (both from
PyPI); unsorted.mf4, lists.mf4 and unfinished.mf4 by the lines below from the block layout that asammdf documents,
and read back with asammdf as a check. All hold the same traffic.

    python -m venv venv && venv/bin/pip install asammdf==8.8.28 python-can==4.6.1
    venv/bin/python make.py
"""

import struct
import zlib
from datetime import datetime, timezone
from pathlib import Path

import can
from asammdf import MDF
from can.io.mf4 import MF4Writer

HERE = Path(__file__).parent
START = 1767600000  # 2026-01-05T08:00:00Z
FD_LENGTHS = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64]


def traffic():
    """Stamps are multiples of 1/64 s, which a double holds exactly."""
    for k in range(48):
        base = dict(timestamp=START + k / 64, channel=1 + k % 3 // 2, is_rx=True)
        data = bytes((7 * k + i) % 256 for i in range(64))
        if k == 20:
            yield can.Message(arbitration_id=0, is_error_frame=True, dlc=0, **base)
        elif k == 30:
            yield can.Message(arbitration_id=0x123, is_remote_frame=True, dlc=4, is_extended_id=False, **base)
        elif k % 5 == 0:
            size = FD_LENGTHS[k % 16]
            yield can.Message(arbitration_id=0x200 + k, data=data[:size], is_fd=True, bitrate_switch=True,
                              is_extended_id=False, **base)
        elif k % 4 == 1:
            yield can.Message(arbitration_id=0x18FE0000 + k, data=data[:8], is_extended_id=True, **base)
        else:
            yield can.Message(arbitration_id=0x100 + k % 4, data=data[:k % 9], is_extended_id=False, **base)


def expected():
    lines = ["time,bus,id,extended,dlc,data,fd,remote,error"]
    flag = lambda value: "true" if value else "false"
    for m in traffic():
        if m.is_error_frame:
            row = [m.timestamp, f"can{m.channel}", "00000088", "false", 8, "00" * 8, "false", "false", "true"]
        else:
            digits = 8 if m.is_extended_id else 3
            row = [m.timestamp, f"can{m.channel}", f"{m.arbitration_id:0{digits}X}", flag(m.is_extended_id),
                   m.dlc, m.data.hex().upper(), flag(m.is_fd), flag(m.is_remote_frame), "false"]
        lines.append(",".join(str(cell) for cell in row))
    (HERE / "expected.csv").write_text("\n".join(lines) + "\n")


def by_library(name, compression):
    writer = MF4Writer(HERE / name, compression_level=compression)
    writer._mdf.header.start_time = datetime.fromtimestamp(START, timezone.utc)
    writer._start_time = writer.last_timestamp = START
    for message in traffic():
        writer.on_message_received(message)
    writer.stop()


class File:
    """Blocks are laid down one after another; links are set when it is known where they point."""

    def __init__(self, flags=0):
        name = b"UnFinMF " if flags else b"MDF     "
        self.bytes = bytearray(name + b"4.10    " + b"own     " + bytes(4) + struct.pack("<H", 410) + bytes(30)
                               + struct.pack("<HH", flags, 0))

    def block(self, kind, links, data):
        self.bytes += bytes(-len(self.bytes) % 8)
        at = len(self.bytes)
        self.bytes += b"##" + kind + bytes(4) + struct.pack("<QQ", 24 + 8 * len(links) + len(data), len(links))
        self.bytes += struct.pack(f"<{len(links)}Q", *links) + data
        return at

    def link(self, block, place, to):
        struct.pack_into("<Q", self.bytes, block + 24 + 8 * place, to)

    def text(self, words):
        return self.block(b"TX", [], words.encode() + b"\0")

    def channel(self, name, byte, bit, bits, kind=0, sync=0, form=0, data=0, conversion=0):
        body = struct.pack("<BBBBIIIIBBH6d", kind, sync, form, bit, byte, bits, 0x400, 0, 0, 0, 0, *[0.0] * 6)
        return self.block(b"CN", [0, 0, self.text(name), 0, conversion, data, 0, 0], body)

    def chain(self, blocks, place=0):
        for one, after in zip(blocks, blocks[1:]):
            self.link(one, place, after)
        return blocks[0]

    def group(self, number, channels, flags, size, count):
        body = struct.pack("<QQHHIII", number, count, flags, ord("."), 0, size, 0)
        return self.block(b"CG", [0, self.chain(channels) if channels else 0, 0, 0, 0, 0], body)


def nanos(message):
    return round((message.timestamp - START) * 1e9)


def channels(file, prefix, data):
    """Bit-packed: time u64 ns; then identifier 29 bits, IDE, EDL, BRS; code 4 bits, Dir 1; length; bus; data."""
    scale = file.block(b"CC", [0, 0, 0, 0], struct.pack("<BBHHHdddd", 1, 0, 0, 0, 2, 0.0, 0.0, 0.0, 1e-9))
    name = lambda part: f"{prefix}.{part}"
    found = [
        file.channel("Timestamp", 0, 0, 64, kind=2, sync=1, conversion=scale),
        file.channel(name("ID"), 8, 0, 29),
        file.channel(name("IDE"), 11, 5, 1),
        file.channel(name("EDL"), 11, 6, 1),
        file.channel(name("BRS"), 11, 7, 1),
        file.channel(name("DLC"), 12, 0, 4),
        file.channel(name("Dir"), 12, 4, 1),
        file.channel(name("DataLength"), 13, 0, 8),
        file.channel(name("BusChannel"), 14, 0, 8),
    ]
    if data is not None:
        kind, bits, link = data
        found.append(file.channel(name("DataBytes"), 15, 0, bits, kind=kind, form=10, data=link))
    return found


def packed(message):
    word = message.arbitration_id | message.is_extended_id << 29 | message.is_fd << 30
    code = can.util.len2dlc(message.dlc)
    length = 0 if message.is_remote_frame else message.dlc
    return struct.pack("<QIBBB", nanos(message), word, code, length, message.channel)


def header(file, first):
    body = struct.pack("<QhhBBBBdd", START * 10**9, 0, 0, 0, 0, 0, 0, 0.0, 0.0)
    history = file.block(b"FH", [0, file.block(b"MD", [], b"<FHcomment><TX>own</TX></FHcomment>\0")],
                         struct.pack("<QhhBBBB", START * 10**9, 0, 0, 0, 0, 0, 0))
    at = file.bytes.index(b"##HD")
    file.link(at, 0, first)
    file.link(at, 1, history)
    file.bytes[at + 24 + 48:at + 24 + 48 + len(body)] = body


def unsorted(name, flags=0):
    """Three kinds of records in one stream, data bytes as values among the records."""
    file = File(flags)
    file.block(b"HD", [0] * 6, bytes(32))
    of = {"data": [], "error": [], "remote": []}
    stream, offset = b"", 0
    for m in traffic():
        if m.is_error_frame:
            of["error"].append(m)
            stream += b"\x02" + packed(m)
        elif m.is_remote_frame:
            of["remote"].append(m)
            stream += b"\x03" + packed(m)
        else:
            of["data"].append(m)
            value = b"\x04" + struct.pack("<I", len(m.data)) + m.data
            record = b"\x01" + packed(m) + struct.pack("<Q", offset)
            # Some values stand before the record that points to them, some behind it.
            stream += value + record if len(of["data"]) % 2 else record + value
            offset += len(value) - 1
    values = file.group(4, [], 1, offset, 0 if flags else len(of["data"]))
    counts = [0 if flags else len(of[kind]) for kind in ("data", "error", "remote")]
    groups = [
        file.group(1, channels(file, "CAN_DataFrame", (1, 64, values)), 6, 23, counts[0]),
        file.group(2, channels(file, "CAN_ErrorFrame", None), 6, 15, counts[1]),
        file.group(3, channels(file, "CAN_RemoteFrame", None), 6, 15, counts[2]),
        values,
    ]
    first = file.chain(groups)
    group = file.block(b"DG", [0, first, 0, 0], struct.pack("<B7x", 1))
    header(file, group)
    data = file.block(b"DT", [], stream)
    file.link(group, 2, data)
    if flags:
        # The logger lost power: the last block's length was never written, nor the last record finished.
        struct.pack_into("<Q", file.bytes, data + 8, 24)
        file.bytes += b"\x01" + bytes(5)
    (HERE / name).write_bytes(file.bytes)


def lists(name):
    """Sorted groups; a head and two lists of packed and plain blocks that cut records; values in packed SD."""
    file = File()
    file.block(b"HD", [0] * 6, bytes(32))

    def packed_block(kind, raw, columns=0):
        if columns:
            rows = len(raw) // columns
            body = b"".join(raw[c:rows * columns:columns] for c in range(columns)) + raw[rows * columns:]
        else:
            body = raw
        small = zlib.compress(body)
        return file.block(b"DZ", [], kind + struct.pack("<BBIQQ", int(columns > 0), 0, columns, len(raw), len(small))
                          + small)

    def listed(kind, raw, step, columns):
        parts = [raw[i:i + step] for i in range(0, len(raw), step)]
        blocks = [packed_block(kind, part, columns) if i % 3 else file.block(kind, [], part)
                  for i, part in enumerate(parts)]
        heads = []
        for first in range(0, len(blocks), 2):
            some = blocks[first:first + 2]
            offsets = [step * (first + i) for i in range(len(some))]
            heads.append(file.block(b"DL", [0] + some, struct.pack(f"<B3xI{len(some)}Q", 0, len(some), *offsets)))
        return file.block(b"HL", [file.chain(heads)], struct.pack("<HBB4x", 0, 1, 0))

    frames = [m for m in traffic() if not m.is_error_frame and not m.is_remote_frame]
    records, values = b"", b""
    for m in frames:
        records += packed(m) + struct.pack("<Q", len(values))
        values += struct.pack("<I", len(m.data)) + m.data
    values_at = listed(b"SD", values, 100, 0)
    data_group = [file.group(0, channels(file, "CAN_DataFrame", (1, 64, values_at)), 6, 23, len(frames))]
    groups = [file.block(b"DG", [0, data_group[0], listed(b"DT", records, 150, 23), 0], struct.pack("<B7x", 0))]
    for kind, wanted in [("CAN_ErrorFrame", lambda m: m.is_error_frame), ("CAN_RemoteFrame", lambda m: m.is_remote_frame)]:
        some = [m for m in traffic() if wanted(m)]
        group = file.group(0, channels(file, kind, None), 6, 15, len(some))
        data = file.block(b"DT", [], b"".join(packed(m) for m in some))
        groups.append(file.block(b"DG", [0, group, data, 0], struct.pack("<B7x", 0)))
    header(file, file.chain(groups))
    (HERE / name).write_bytes(file.bytes)


def check(name):
    """What asammdf reads of a file written here."""
    found = MDF(HERE / name)
    wanted = [m for m in traffic() if not m.is_error_frame and not m.is_remote_frame]
    ids = found.get("CAN_DataFrame.ID")
    assert [int(i) for i in ids.samples] == [m.arbitration_id for m in wanted], name
    assert all(abs(t - (m.timestamp - START)) < 1e-9 for t, m in zip(ids.timestamps, wanted)), name
    data = found.get("CAN_DataFrame.DataBytes").samples
    for row, message in zip(data, wanted):
        assert bytes(row)[:len(message.data)] == bytes(message.data), name
    print(name, "read back by asammdf:", len(ids.samples), "data frames")


if __name__ == "__main__":
    expected()
    for name, compression in [("sorted.mf4", 0), ("deflate.mf4", 1), ("transposed.mf4", 2)]:
        by_library(name, compression)
    unsorted("unsorted.mf4")
    lists("lists.mf4")
    unsorted("unfinished.mf4", flags=0x25)
    check("unsorted.mf4")
    check("lists.mf4")
