"""Messages longer than a word, cut so that the kernel decodes them like single frames."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from shearbolt.model.frames import U64


def payload_words(payloads: Sequence[bytes], first_byte: int) -> U64:
    """Pack eight bytes of each payload from `first_byte` (counted from 0), as Frames.word does.

    Returns shape (n,): lowest byte first, bytes beyond a payload's end FF.
    """
    end = first_byte + 8
    cut = b"".join([one[first_byte:end].ljust(8, b"\xff") for one in payloads])
    return np.frombuffer(cut, "<u8").astype(np.uint64, copy=False)


def windows(fields: Sequence[tuple[int, int]]) -> list[tuple[int, list[int]]]:
    """Share out fields (first bit, bits) to as few words as their order allows.

    Returns each word's first byte and the indices of the fields that lie wholly in it. A field
    that no word holds, being wider than 64 bits with its shift, is in none.
    """
    found: list[tuple[int, list[int]]] = []
    for i in sorted(range(len(fields)), key=lambda at: fields[at]):
        first, bits = fields[i]
        if first % 8 + bits > 64:
            continue
        if found and first + bits <= found[-1][0] * 8 + 64:
            found[-1][1].append(i)
        else:
            found.append((first // 8, [i]))
    return found
