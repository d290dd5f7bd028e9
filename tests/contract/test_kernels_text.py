"""candump text: one suite over every kernel, and the kernels against one another."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.kernels import (
    Columns,
    Kernel,
    Layout,
    Parsed,
    available,
    layout_table,
    room_for,
)
from shearbolt.model.frames import (
    EXTENDED,
    SENT,
)

KERNELS = available()


@pytest.fixture(params=sorted(KERNELS))
def kernel(request: pytest.FixtureRequest) -> Kernel:
    return KERNELS[request.param]


Row = tuple[int, int, int, int, bytes]
"""time_us, identifier, flags, channel, data."""


def rows_of(columns: Columns, parsed: Parsed, first: int = 0) -> list[Row | None]:
    odd = set(parsed.odd[:, 2].tolist())
    found: list[Row | None] = []
    for i in range(first, first + parsed.rows):
        size = int(columns.length[i])
        word = int(columns.word[i]).to_bytes(8, "little")
        if i in odd:
            found.append(None)
            continue
        assert word[size:] == b"\xff" * (8 - size)
        found.append(
            (
                int(columns.time_us[i]),
                int(columns.ident[i]),
                int(columns.flags[i]),
                int(columns.channel[i]),
                word[:size],
            )
        )
    return found


def read(
    kernel: Kernel, text: bytes, names: Sequence[bytes] = ()
) -> tuple[list[Row | None], list[bytes]]:
    columns, channels = room_for(text.count(b"\n") + 1), list(names)
    parsed = kernel.parse_candump(text, 0, len(text), columns, channels)
    assert parsed.used == text.rfind(b"\n") + 1
    return rows_of(columns, parsed), channels


def test_log_form(kernel: Kernel) -> None:
    rows, channels = read(
        kernel,
        b"(1436509052.249713) can0 18FEF100#FFFFFF0102030405\n"
        b"(1436509052.249714) can1 0cf00400#11 T\n"
        b"(0.000001) vcan12 7FF# R\r\n"
        b"(1436509053.000000) can0 000#AbCd\n",
    )
    assert channels == [b"can0", b"can1", b"vcan12"]
    assert rows == [
        (1436509052249713, 0x18FEF100, EXTENDED, 0, bytes.fromhex("FFFFFF0102030405")),
        (1436509052249714, 0x0CF00400, EXTENDED | SENT, 1, b"\x11"),
        (1, 0x7FF, 0, 2, b""),
        (1436509053000000, 0, 0, 0, b"\xab\xcd"),
    ]


def test_console_form(kernel: Kernel) -> None:
    rows, _ = read(
        kernel,
        b" (000.005001)  can0  18FCF200   [8]  E1 FF FF FF 0a FF FF 7F\n"
        b" (1436509052.249713)  can0  123   [3]  01 02 03\n"
        b" (000.000000)  can0  00000123   [1]  FE  \r\n"
        b" (000.000000)  can0  123   [0] \n"
        b" (000.000000)  can0  123   [0]\n",
    )
    assert rows == [
        (5001, 0x18FCF200, EXTENDED, 0, bytes.fromhex("E1FFFFFF0AFFFF7F")),
        (1436509052249713, 0x123, 0, 0, b"\x01\x02\x03"),
        (0, 0x123, EXTENDED, 0, b"\xfe"),
        (0, 0x123, 0, 0, b""),
        (0, 0x123, 0, 0, b""),
    ]


@pytest.mark.parametrize("size", range(9))
@pytest.mark.parametrize("digits", range(1, 13))
def test_every_length_and_time_width(kernel: Kernel, size: int, digits: int) -> None:
    data = bytes(range(0xA0, 0xA0 + size))
    seconds = int("987654321098"[:digits])
    log = b"(%d.000007) c 18FEF1%02X#%s\n" % (seconds, size, data.hex().encode())
    console = b" (%d.000007)  c  18FEF1%02X   [%d]  %s\n" % (
        seconds,
        size,
        size,
        data.hex(" ").upper().encode(),
    )
    wanted = (seconds * 1_000_000 + 7, 0x18FEF100 + size, EXTENDED, 0, data)
    assert read(kernel, log + console)[0] == [wanted, wanted]


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"# comment",
        b"garbage",
        b"(1.000000) can0 18FEF100##1AABB",  # CAN FD
        b"(1.000000) can0 18FEF100#R",
        b"(1.000000) can0 123#R8",
        b"(1.000000) can0 20000004#0001000000000000",  # error frame
        b"(1.000000) can0 FFFFFFFF#00",
        b"(1.000000) can0 800#00",
        b"(1.000000) can0 1234#00",
        b"(1.000000) can0 18FEF10#00",
        b"(1.000000) can0 18FEF1000#00",
        b"(1.000000) can0 18FEF1G0#00",
        b"(1.000000) can0 18FEF100#0",
        b"(1.000000) can0 18FEF100#0G",
        b"(1.000000) can0 18FEF100#001122334455667",
        b"(1.000000) can0 18FEF100#00112233445566778",
        b"(1.000000) can0 18FEF100#001122334455667788",
        b"(1.000000) can0 18FEF100#00 X",
        b"(1.000000) can0 18FEF100#00 ",
        b"(1.00000) can0 18FEF100#00",
        b"(1.0000000) can0 18FEF100#00",
        b"(1.00000:) can0 18FEF100#00",
        b"(.000000) can0 18FEF100#00",
        b"(1234567890123.000000) can0 18FEF100#00",
        b"(-1.000000) can0 18FEF100#00",
        b"(1,000000) can0 18FEF100#00",
        b"1.000000 can0 18FEF100#00",
        b"(1.000000) a-name-far-too-long 18FEF100#00",
        b"(1.000000) c\x80 18FEF100#00",
        b"(1.000000)can0 18FEF100#00",
        b"(1.000000) can018FEF100#00",
        b"(1.000000) can0 18FEF100",
        b"(1.000000) can0 18FEF100#\x00\x00",
        b"(2026-05-14 06:12:09.413022)  can0  123   [1]  00",
        b" (1.000000)  can0  123   [9]  00 00 00 00 00 00 00 00 00",
        b" (1.000000)  can0  123   [2]  00",
        b" (1.000000)  can0  123   [1]  00 00",
        b" (1.000000)  can0  123   [0]  00",
        b" (1.000000)  can0  123   [2]  00-00",
        b" (1.000000)  can0  123   [8]  00 00 00 00 00 00 00 0",
        b" (1.000000)  can0  123   [8]  00 00 00 00 00 00 00-00",
        b" (1.000000)  can0  123   [2]  0000",
        b" (1.000000)  can0  123   [1]00",
        b" (1.000000)  can0  123   [08]  00 00 00 00 00 00 00 00",
        b" (1.000000)  can0  123   [3]  41 42 43   'ABC'",
        b" (1.000000)  can0  123   [2]  remote request",
        b" (1.000000)  can0  20000004   [8]  00 01 00 00 00 00 00 00   ERRORFRAME",
        b"  can0  123   [1]  00",
    ],
)
def test_odd_lines_come_back_with_their_place(kernel: Kernel, line: bytes) -> None:
    good = b"(1.000000) can0 18FEF100#00\n"
    text = good + line + b"\n" + good
    columns, channels = room_for(5), [b"other"]
    parsed = kernel.parse_candump(text, 0, len(text), columns, channels, 1)
    assert parsed.odd.tolist() == [[len(good), len(good) + len(line), 2]]
    assert (parsed.rows, parsed.used) == (3, len(text))
    rows = rows_of(columns, parsed, 1)
    assert rows[0] == rows[2] == (1_000_000, 0x18FEF100, EXTENDED, 1, b"\0")
    assert channels == [b"other", b"can0"]
    assert (columns.time_us[2], columns.ident[2], columns.word[2], columns.length[2]) == (
        0,
        0,
        0,
        0,
    )


def test_unended_line_stays_for_the_next_text(kernel: Kernel) -> None:
    text = b"(1.000000) can0 123#00\n(1.000000) can0 123#00"
    columns = room_for(9)
    parsed = kernel.parse_candump(text, 0, len(text), columns, [])
    assert (parsed.rows, parsed.used, len(parsed.odd)) == (1, 23, 0)
    again = kernel.parse_candump(text, parsed.used, len(text), columns, [])
    assert (again.rows, again.used, len(again.odd)) == (0, 23, 0)


def test_stops_when_columns_are_full(kernel: Kernel) -> None:
    text = b"(1.000000) can0 123#00\n" * 5
    columns = room_for(3)
    parsed = kernel.parse_candump(text, 0, len(text), columns, [], 1)
    assert (parsed.rows, parsed.used) == (2, 46)
    assert kernel.parse_candump(text, 46, len(text), columns, [], 3).rows == 0


def test_bounds_are_checked(kernel: Kernel) -> None:
    columns = room_for(3)
    for start, stop, row in ((-1, 2, 0), (2, 1, 0), (0, 99, 0), (0, 5, 4), (0, 5, -1)):
        with pytest.raises(ValueError, match=r"is outside|rows"):
            kernel.parse_candump(b"12345", start, stop, columns, [], row)


def test_names_beyond_256_are_left(kernel: Kernel) -> None:
    text = b"".join(b"(1.000000) c%d 123#00\n" % i for i in [*range(260), 3])
    columns = room_for(300)
    channels: list[bytes] = []
    parsed = kernel.parse_candump(text, 0, len(text), columns, channels)
    assert len(channels) == 256
    assert parsed.odd[:, 2].tolist() == [256, 257, 258, 259]
    assert columns.channel[260] == 3


PIECES = st.sampled_from(
    [
        b"(1436509052.249713) can0 18FEF100#FFFFFF0102030405\n",
        b"(1436509052.249714) can1 123#FF T\n",
        b"(12.249714) can1 00FEF100#FFAA R\r\n",
        b" (000.005001)  can0  18FCF200   [8]  E1 FF FF FF FF FF FF FF\n",
        b" (000.005001)  can0  18FCF200   [3]  E1 FF FF\n",
        b" (000.005001)  c1  7FF   [0] \r\n",
        b"(1.0) can0 123##100\n",
        b"\n",
        b"#R(",
        b"\0",
    ]
)


@st.composite
def candump_like(draw: st.DrawFn) -> bytes:
    """Lines, with single bytes changed, added and lost."""
    text = bytearray(b"".join(draw(st.lists(PIECES, max_size=12))))
    for _ in range(draw(st.integers(0, 4))):
        if not text:
            break
        at = draw(st.integers(0, len(text) - 1))
        byte = draw(
            st.sampled_from(b"\n\r ()#[].0189AFGTRafg\0\xff\x80'`@/:") | st.integers(0, 255)
        )
        match draw(st.sampled_from("cad")):
            case "c":
                text[at] = byte
            case "a":
                text.insert(at, byte)
            case _:
                del text[at]
    return bytes(text)


def same_parse(text: bytes) -> None:
    results = []
    for one in KERNELS.values():
        columns, channels = room_for(16), [b"c1"]
        parsed = one.parse_candump(text, 0, len(text), columns, channels, 2)
        n = 2 + parsed.rows
        results.append(
            (
                parsed.rows,
                parsed.used,
                parsed.odd.tolist(),
                channels,
                columns.time_us[2:n].tolist(),
                columns.ident[2:n].tolist(),
                columns.flags[2:n].tolist(),
                columns.channel[2:n].tolist(),
                columns.length[2:n].tolist(),
                columns.word[2:n].tolist(),
            )
        )
    assert all(result == results[0] for result in results)


@pytest.mark.parametrize("name", [b"can0", b"c", b"a-long-name-13"])
@pytest.mark.parametrize("seconds", [b"1436509052", b"1436509", b"143650", b"143650905212"])
def test_a_line_like_the_one_before_but_for_one_character(name: bytes, seconds: bytes) -> None:
    good = b"(%s.249713) %s 18FEF100#FFFFFF0102030405\n" % (seconds, name)
    for at in range(len(good)):
        for byte in b"\n\r ()#.019:@AFGafg\0\xff":
            like = good[:at] + bytes([byte]) + good[at + 1 :]
            # Enough behind it to be read as in the middle of a text.
            same_parse(good + like + good * 6)
            same_parse(good + good[:at] + bytes([byte]) + good[at:] + good * 6)


def test_kernels_need_no_lock_to_themselves() -> None:
    """Two threads parse, group and decode at once with the results of one."""
    text = b"".join(
        b"(%d.%06d) can%d 18FEF1%02X#%016X\n" % (i // 9, i, i % 3, i % 7, i) for i in range(4000)
    )

    def work(kernel: Kernel) -> list[list[int]]:
        columns, channels = room_for(4000), list[bytes]()
        kernel.parse_candump(text, 0, len(text), columns, channels)
        groups = kernel.group(columns)
        table = layout_table([Layout(0, 16, 0.5, -3, 64255, 65024, 65279, 65280)] * 4)
        decoded = kernel.decode(groups.word, table)
        return [groups.order.tolist(), decoded.counts.ravel().tolist(), decoded.value[0].tolist()]

    for kernel in KERNELS.values():
        wanted = work(kernel)
        with ThreadPoolExecutor(2) as pool:
            assert all(one == wanted for one in pool.map(work, [kernel] * 20))


@given(candump_like())
def test_kernels_parse_alike(text: bytes) -> None:
    same_parse(text)


@given(st.binary(max_size=400))
def test_kernels_parse_bytes_alike(text: bytes) -> None:
    same_parse(text)
