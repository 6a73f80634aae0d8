"""The compiled inner loop of a sequential JPEG scan: bits to coefficients.

ITU-T T.81, Annex F.2 (decoding procedures) and Annex C (code tables).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

ZIGZAG = np.array(
    [
        0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5,
        12, 19, 26, 33, 40, 48, 41, 34, 27, 20, 13, 6, 7, 14, 21, 28,
        35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51,
        58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63,
    ],
    dtype=np.int64,
)  # fmt: skip
"""Place in the block (row × 8 + column) of each coefficient: T.81 figure A.6."""

CodeTable = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]
"""Smallest code, largest code (-1: none) and first index for each length 0 to 16; symbols."""


def code_table(counts: bytes, symbols: bytes) -> CodeTable:
    """The tables by which a code is recognized (T.81 Annex C and figure F.15)."""
    smallest, largest = np.zeros(17, np.int64), np.full(17, -1, np.int64)
    first = np.zeros(17, np.int64)
    code = index = 0
    for length in range(1, 17):
        count = counts[length - 1]
        if count:
            smallest[length], first[length] = code, index
            code += count
            index += count
            largest[length] = code - 1
        code <<= 1
    return smallest, largest, first, np.frombuffer(symbols, np.uint8).astype(np.int64)


POSITION, BITS, COUNT, PREDICTED = 0, 1, 2, 3
"""What the reader remembers: next byte, the byte being read, its unread bits, last DC value."""

NOTHING = -1
"""No bit, code or value: the data breaks off or makes no sense."""

LARGEST_SIZE = 15
"""Bits of a coefficient in the 12-bit process (T.81 tables F.6 and F.7)."""


@njit(cache=True)
def _bit(data: NDArray[np.uint8], state: NDArray[np.int64]) -> int:
    if state[COUNT] == 0:
        position = state[POSITION]
        if position >= data.size:
            return NOTHING
        state[BITS] = data[position]
        position += 1
        if state[BITS] == 0xFF:  # a marker, unless a zero byte follows
            if position >= data.size or data[position] != 0:
                return NOTHING
            position += 1
        state[POSITION] = position
        state[COUNT] = 8
    state[COUNT] -= 1
    return (state[BITS] >> state[COUNT]) & 1


@njit(cache=True)
def _symbol(data: NDArray[np.uint8], state: NDArray[np.int64], table: CodeTable) -> int:
    smallest, largest, first, symbols = table
    code = 0
    for length in range(1, 17):
        bit = _bit(data, state)
        if bit == NOTHING:
            return NOTHING
        code = (code << 1) | bit
        if code <= largest[length]:
            return int(symbols[first[length] + code - smallest[length]])
    return NOTHING


@njit(cache=True)
def _value(data: NDArray[np.uint8], state: NDArray[np.int64], size: int) -> tuple[int, bool]:
    """A signed value of that many bits (T.81 figures F.12 and F.17), and whether it was whole."""
    value = 0
    for _ in range(size):
        bit = _bit(data, state)
        if bit == NOTHING:
            return 0, False
        value = (value << 1) | bit
    if size > 0 and value < (1 << (size - 1)):
        value -= (1 << size) - 1
    return value, True


@njit(cache=True)
def _block(
    data: NDArray[np.uint8],
    state: NDArray[np.int64],
    dc: CodeTable,
    ac: CodeTable,
    zigzag: NDArray[np.int64],
    result: NDArray[np.int32],
) -> bool:
    """Decode one block into ``result``; whether it was whole."""
    size = _symbol(data, state, dc)
    if size == NOTHING or size > LARGEST_SIZE:
        return False
    value, whole = _value(data, state, size)
    state[PREDICTED] += value
    result[0] = state[PREDICTED]
    place = 1
    while whole and place < 64:
        symbol = _symbol(data, state, ac)
        run, size = symbol >> 4, symbol & 15
        if symbol == NOTHING or (size == 0 and run not in (0, 15)):
            return False
        if symbol == 0:
            return True  # the rest of the block is zero
        place += run
        if place > 63:
            return False
        if size > 0:
            value, whole = _value(data, state, size)
            result[zigzag[place]] = value
        place += 1
    return whole


@njit(cache=True)
def _after_restart(data: NDArray[np.uint8], state: NDArray[np.int64]) -> None:
    position = state[POSITION]
    while position + 1 < data.size and not (
        data[position] == 0xFF and 0xD0 <= data[position + 1] <= 0xD7
    ):
        position += 1
    state[POSITION] = position + 2
    state[BITS] = state[COUNT] = state[PREDICTED] = 0


@njit(cache=True)
def decode_scan(
    data: NDArray[np.uint8],
    blocks: int,
    restart: int,
    dc: CodeTable,
    ac: CodeTable,
    zigzag: NDArray[np.int64],
) -> tuple[NDArray[np.int32], int]:
    """Decode the blocks of a scan of one component.

    Parameters
    ----------
    data
        Entropy-coded bytes, restart markers in them, from the first one on.
    blocks
        How many blocks of 8 × 8 there are.
    restart
        Blocks between restart markers; 0 for none.

    Returns
    -------
    tuple
        Coefficients (blocks, 64) in row order, and how many blocks were read:
        fewer where the data breaks off or makes no sense.
    """
    result = np.zeros((blocks, 64), np.int32)
    state = np.zeros(4, np.int64)
    for block in range(blocks):
        if restart > 0 and block > 0 and block % restart == 0:
            _after_restart(data, state)
        if not _block(data, state, dc, ac, zigzag, result[block]):
            return result, block
    return result, blocks
