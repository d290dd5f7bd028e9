"""Which records an MDF 4 file holds and where their fields stand, as far as its blocks survive.

Layouts of the blocks DG, CG, CN and CC after ASAM MDF 4.1; names after ASAM MDF bus logging.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field

from shearbolt.recordings.gather import Unread
from shearbolt.recordings.mdf4_blocks import FIRST_BLOCK, Block, Blocks
from shearbolt.recordings.mdf4_frames import KINDS

_CG = struct.Struct("<QQHH4xLL")
_CN = struct.Struct("<BBBBLL")
_CC = struct.Struct("<BBHHHdd")
_LARGEST_RECORD = 1 << 16
_MASTER, _VIRTUAL_MASTER, _TIME = 2, 3, 1
VARIABLE = 1
"""Channel type of data of variable length, kept elsewhere."""
_VLSD_GROUP = 1
_MOST_CHANNELS = 4096


@dataclass(frozen=True, slots=True)
class Field:
    """Where one channel stands in a record."""

    byte: int
    bit: int
    bits: int
    data_type: int
    """0 to 3 whole numbers, 4 and 5 floating point (odd: highest byte first), 6 to 9 text,
    10 bytes."""
    stored: int = 0
    """Channel type; VARIABLE means that the record has only the place of the data."""
    data_link: int = 0
    """Block with the data of a VARIABLE channel."""
    factor: float = 1.0
    offset: float = 0.0
    """Physical value = offset + factor * raw."""

    @property
    def end(self) -> int:
        """Byte of the record behind the field."""
        return self.byte + (self.bit + self.bits + 7) // 8


@dataclass(frozen=True, slots=True)
class Group:
    """One kind of record."""

    at: int
    """Position of its CG block."""
    name: str
    """Key of KINDS, or '' where it holds no frames that can be read."""
    record_id: int
    cycles: int
    """Records by the file's own count."""
    size: int
    """Bytes of a record without its identifier."""
    variable: bool = False
    """A group of data of variable length (4 bytes length, then the data)."""
    variable_bytes: int = 0
    """All data of such a group, by the file's own count."""
    time: Field | None = None
    fields: dict[str, Field] = field(default_factory=dict)


@dataclass(slots=True)
class DataGroup:
    """Groups that share one stream of data."""

    at: int
    id_size: int
    """Bytes of a record's identifier: 0 where the stream has one kind of record."""
    data_link: int
    groups: tuple[Group, ...]
    broken: bool = False
    """Some of its data blocks cannot be reached."""

    @property
    def expected_bytes(self) -> int | None:
        """Bytes of its stream by its own counts; None where it counts nothing."""
        total = sum(
            one.cycles * (self.id_size + (4 if one.variable else one.size)) + one.variable_bytes
            for one in self.groups
        )
        return total or None

    @property
    def frames(self) -> bool:
        """Tell whether a group of it holds frames."""
        return any(one.name for one in self.groups)


def data_groups(blocks: Blocks, unread: Unread, *, search: bool) -> list[DataGroup]:
    """Find the data groups; with `search` also those to which no sound link leads."""
    header = blocks.header(FIRST_BLOCK, b"HD")
    out: list[DataGroup] = []
    whole = header is not None
    if header is None:
        unread.add("block that is damaged", byte=FIRST_BLOCK)
    reached: set[int] = set()
    for one in blocks.chain(header.link(0) if header else 0, b"DG"):
        if isinstance(one, int):
            unread.add("list of blocks that breaks off", byte=one)
            whole = False
            continue
        out.append(_data_group(blocks, one, unread, reached))
    if search and not whole:
        known = {one.at for one in out}
        for at in blocks.found(b"DG"):
            if at not in known and (block := blocks.header(at, b"DG")):
                out.append(_data_group(blocks, block, unread, reached))
    if search:
        out += _strays(blocks, out, reached)
    return out


def _data_group(blocks: Blocks, block: Block, unread: Unread, reached: set[int]) -> DataGroup:
    """Read a DG block and its groups; positions of the groups go to `reached`."""
    groups = []
    for one in blocks.chain(block.link(1), b"CG"):
        if isinstance(one, int):
            unread.add("list of blocks that breaks off", byte=one)
            continue
        reached.add(one.at)
        if found := _group(blocks, one, unread):
            groups.append(found)
    raw = blocks.body(block, 1)
    size = raw[0] if raw and raw[0] in (0, 1, 2, 4, 8) else 0
    return DataGroup(block.at, size, block.link(2), tuple(groups), broken=block.link(2) == 0)


def _strays(blocks: Blocks, known: list[DataGroup], reached: set[int]) -> list[DataGroup]:
    """Give the groups that lost their data group one each, without data so far.

    A group that is the only one missing from a broken list joins that list's data group.
    """
    out = []
    for at in blocks.found(b"CG"):
        block = blocks.header(at, b"CG")
        if at in reached or block is None:
            continue
        group = _group(blocks, block, Unread())
        if group is None:
            continue
        empty = [one for one in known if not one.groups and one.data_link]
        if len(empty) == 1:
            empty[0].groups = (group,)
        elif group.name:
            out.append(DataGroup(0, 0, 0, (group,), broken=True))
    return out


def _group(blocks: Blocks, block: Block, unread: Unread) -> Group | None:
    """Read a CG block and its channels; None where it cannot be used at all."""
    raw = blocks.body(block, _CG.size)
    if len(raw) < _CG.size:
        return None
    record_id, cycles, flags, _, data, invalid = _CG.unpack(raw)
    if flags & _VLSD_GROUP:
        total = data + (invalid << 32)
        return Group(block.at, "", record_id, cycles, 0, variable=True, variable_bytes=total)
    size = data + invalid
    if not 0 < size <= _LARGEST_RECORD:
        return None
    fields: dict[str, Field] = {}
    time = _channels(blocks, block.link(1), fields, unread)
    return group_of(block.at, record_id, cycles, size, time, fields)


def groups_by_channels(blocks: Blocks, known: list[DataGroup]) -> list[Group]:
    """Give the groups whose own block is lost, by the lists of channels that survive.

    Their records are taken to end with the last channel.
    """
    heads = [blocks.header(group.at, b"CG") for one in known for group in one.groups]
    taken = {one.link(1) for one in heads if one is not None}
    out = []
    for at in blocks.found(b"CN"):
        block = blocks.header(at, b"CN")
        if at in taken or block is None or blocks.body(block, 1) != bytes((_MASTER,)):
            continue
        fields: dict[str, Field] = {}
        breaks = Unread()
        time = _channels(blocks, at, fields, breaks)
        size = max([one.end for one in fields.values()], default=0)
        if (
            time is not None
            and not breaks.list()
            and (found := group_of(at, 0, 0, size, time, fields)).name
        ):
            out.append(found)
    return out


def group_of(
    at: int, record_id: int, cycles: int, size: int, time: Field | None, fields: dict[str, Field]
) -> Group:
    """Make a group of its fields; one without name where they are not those of frames."""
    for name in KINDS:
        own = {
            one.removeprefix(name + "."): it for one, it in fields.items() if one.startswith(name)
        }
        own = {one: it for one, it in own.items() if it.end <= size}
        needed = {"ID", "DataBytes"} if name == "CAN_DataFrame" else set()
        if own and needed <= own.keys() and time is not None and time.end <= size:
            return Group(at, name, record_id, cycles, size, time=time, fields=own)
    return Group(at, "", record_id, cycles, size)


def _channels(blocks: Blocks, at: int, out: dict[str, Field], unread: Unread) -> Field | None:
    """Gather the channels of a list and of their compositions; return the time."""
    time: Field | None = None
    waiting = [at]
    count = 0
    seen: set[int] = set()
    while waiting:
        for one in blocks.chain(waiting.pop(), b"CN"):
            if isinstance(one, int):
                unread.add("list of blocks that breaks off", byte=one)
                continue
            count += 1
            if one.at in seen or count > _MOST_CHANNELS:
                break
            seen.add(one.at)
            raw = blocks.body(one, _CN.size)
            if len(raw) < _CN.size:
                continue
            stored, sync, data_type, bit, byte, bits = _CN.unpack(raw)
            found = Field(byte, bit, bits, data_type, stored, one.link(5))
            if stored == _MASTER and sync == _TIME:
                time = _scaled(blocks, one.link(4), found)
            elif name := blocks.text(one.link(2)):
                out[name] = found
            if blocks.header(one.link(1), b"CN"):
                waiting.append(one.link(1))
            elif one.link(1) and not blocks.header(one.link(1), b"CA"):
                unread.add("list of blocks that breaks off", byte=one.link(1))
    return time


def _scaled(blocks: Blocks, at: int, raw: Field) -> Field | None:
    """Give the time its conversion; None where it is none that is read here."""
    if not at:
        return raw
    block = blocks.header(at, b"CC")
    body = blocks.body(block, _CC.size + 16) if block else b""
    if len(body) < _CC.size:
        return None
    kind = body[0]
    if kind == 0:
        return raw
    if kind != 1 or len(body) < _CC.size + 16:
        return None
    offset, factor = struct.unpack_from("<dd", body, _CC.size)
    return Field(raw.byte, raw.bit, raw.bits, raw.data_type, factor=factor, offset=offset)
