from typing import Any, TypeAlias

_Buffer: TypeAlias = Any

def parse_candump(
    text: _Buffer,
    start: int,
    stop: int,
    time_us: _Buffer,
    ident: _Buffer,
    flags: _Buffer,
    channel: _Buffer,
    length: _Buffer,
    word: _Buffer,
    channels: list[bytes],
    first_row: int,
    /,
) -> tuple[int, int, bytes]: ...
def group_mark(
    ident: _Buffer, flags: _Buffer, channel: _Buffer, index: _Buffer, /
) -> tuple[bytes, bytes]: ...
def group_move(
    index: _Buffer,
    starts: _Buffer,
    time_us: _Buffer,
    word: _Buffer,
    order: _Buffer,
    time_out: _Buffer,
    word_out: _Buffer,
    /,
) -> None: ...
def decode(
    word: _Buffer,
    whole: _Buffer,
    real: _Buffer,
    value: _Buffer,
    status: _Buffer,
    counts: _Buffer,
    low: _Buffer,
    high: _Buffer,
    nan: float,
    /,
) -> None: ...
