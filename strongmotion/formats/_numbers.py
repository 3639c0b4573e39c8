"""A block of printed numbers turned into floats, compiled.

The value of digits with a point and an exponent is m 10^e, with m a whole number. Where m is below 2^53 and e within
±22 both m and 10^|e| are floats without error, so one division or multiplication gives the float nearest to the decimal
(Clinger 1990, "How to read floating point numbers accurately"). Other numbers are left to Python.
"""

from __future__ import annotations

import numba
import numpy as np

WHOLE, FRACTION, HARD = 0, 1, 2
"""Kinds of numbers: without point and exponent, with one of them, and left to Python."""

TENS = 10.0 ** np.arange(23)


@numba.njit(cache=True, nogil=True)
def block(text, begins, ends, edges, delimiter, point, exponent, tens, values, kinds, places, counts):
    """Read the numbers of some lines.

    Parameters
    ----------
    text : ndarray of uint8
    begins, ends : ndarray of int64, shape (lines,)
        Each line's first byte, and the byte after its last.
    edges : ndarray of int64
        Columns at which the numbers of a line begin, and the one after the last; empty where delimiters part them.
    delimiter : int
        Between numbers; 0 for any blanks.
    point, exponent : int
        The decimal point, and a letter besides e and E that begins an exponent.
    tens : ndarray of float64, shape (23,)
    values : ndarray of float64
        Filled with the numbers, m for hard ones.
    kinds : ndarray of uint8
        Filled with `WHOLE`, `FRACTION` or `HARD`.
    places : ndarray of int64, shape (numbers, 2)
        Filled with where each hard number begins and ends.
    counts : ndarray of int64, shape (lines,)
        Filled with how many numbers are on each line.

    Returns
    -------
    int
        How many numbers there are, or -1 if something is no number or there is no room.
    """
    n = 0
    for line in range(begins.size):
        at, end = begins[line], ends[line]
        while end > at and (text[end - 1] == 32 or text[end - 1] == 9):
            end -= 1
        first, start, cell = n, at, 0
        while True:
            # The cell [a, b) of the line.
            if edges.size:
                if cell + 1 >= edges.size or start + edges[cell] >= end:
                    if cell + 1 >= edges.size and start + edges[-1] < end:
                        return -1
                    break
                a, b = start + edges[cell], min(start + edges[cell + 1], end)
                cell += 1
            elif delimiter:
                if at > end or (at == end and cell == 0):
                    break
                a = b = at
                while b < end and text[b] != delimiter:
                    b += 1
                at = b + 1
                cell += 1
            else:
                while at < end and (text[at] == 32 or text[at] == 9):
                    at += 1
                if at >= end:
                    break
                a = b = at
                while b < end and text[b] != 32 and text[b] != 9:
                    b += 1
                at = b
            while a < b and (text[a] == 32 or text[a] == 9):
                a += 1
            while b > a and (text[b - 1] == 32 or text[b - 1] == 9):
                b -= 1
            if n >= values.size:
                return -1
            # Sign, digits, point, digits, exponent.
            i, negative, m, digits, behind, e = a, False, np.int64(0), 0, 0, 0
            kind = WHOLE
            if i < b and (text[i] == 43 or text[i] == 45):
                negative = text[i] == 45
                i += 1
            seen = False
            while i < b:
                c = text[i]
                if 48 <= c <= 57:
                    seen = True
                    if digits or c != 48:
                        digits += 1
                    if digits <= 18:
                        m = 10 * m + (c - 48)
                    if kind == FRACTION:
                        behind += 1
                elif c == point and kind == WHOLE:
                    kind = FRACTION
                else:
                    break
                i += 1
            if not seen:
                return -1
            if i < b:
                if text[i] != 69 and text[i] != 101 and text[i] != exponent:
                    return -1
                i += 1
                kind = FRACTION
                down = False
                if i < b and (text[i] == 43 or text[i] == 45):
                    down = text[i] == 45
                    i += 1
                if i == b:
                    return -1
                while i < b:
                    if not 48 <= text[i] <= 57:
                        return -1
                    e = min(10 * e + (text[i] - 48), 100000)
                    i += 1
                if down:
                    e = -e
            e -= behind
            value = float(m)
            if digits > 18 or m > 9007199254740992 or e < -22 or e > 22:
                kind = HARD
                places[n, 0], places[n, 1] = a, b
            elif e < 0:
                value /= tens[-e]
            else:
                value *= tens[e]
            values[n] = -value if negative else value
            kinds[n] = kind
            n += 1
        counts[line] = n - first
    return n
