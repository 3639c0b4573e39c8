"""Compiled parser that turns a block of printed numbers into floats.

The value of digits with a point and an exponent is m 10^e, with m a whole number. Where m is up to 2^53 and e within
±22 both m and 10^|e| are floats without error, so one division or multiplication gives the float nearest to the decimal
(Clinger 1990, "How to read floating point numbers accurately"). Else, for m of up to 19 digits, the nearest float is
found from the product of m with the leading 128 bits of 5^e (Lemire 2021, "Number parsing at a gigabyte per second",
Software: Practice and Experience 51). Numbers that this does not decide, and longer ones, are left to Python.
"""

from __future__ import annotations

import numba
import numpy as np

WHOLE, FRACTION, HARD = 0, 1, 2
"""Kinds of numbers: without point and exponent, with one of them, and left to Python."""

_LEAST, _MOST = -65, 65
"""Powers of ten in the table; no instrument's numbers exceed it."""

TENS = 10.0 ** np.arange(23)


def _leading_bits(power: int) -> int:
    """Return the leading 128 bits of 5^power, cut off; those of a fraction are rounded up (Lemire 2021, sec. 5)."""
    if power >= 0:
        five = 5**power
        shift = five.bit_length() - 128
        return five >> shift if shift > 0 else five << -shift
    five = 5**-power
    return (1 << (five.bit_length() + 127)) // five + 1


_BITS = [_leading_bits(power) for power in range(_LEAST, _MOST + 1)]
FIVES = np.array([[bits >> 64, bits & (2**64 - 1)] for bits in _BITS], dtype=np.uint64)

_U = np.uint64
_LOW = _U(0xFFFFFFFF)
_ONE, _2, _4, _8, _9, _16 = _U(1), _U(2), _U(4), _U(8), _U(9), _U(16)
_32, _52, _63, _64 = _U(32), _U(52), _U(63), _U(64)


@numba.njit(cache=True, nogil=True)
def product(a, b):
    """Return the high and the low 64 bits of the product of two uint64."""
    a1, a0, b1, b0 = a >> _32, a & _LOW, b >> _32, b & _LOW
    low = a0 * b0
    middle = a1 * b0 + (low >> _32)
    other = a0 * b1 + (middle & _LOW)
    return a1 * b1 + (middle >> _32) + (other >> _32), (other << _32) | (low & _LOW)


@numba.njit(cache=True, nogil=True)
def nearest(m, e, fives):
    """Return the bits of the float nearest to m 10^e, without sign; 0 if undecided.

    m is a uint64 above 0, e within the table `fives`. Lemire (2021), algorithm 1.
    """
    w, shift = m, _U(0)
    for step in (_32, _16, _8, _4, _2, _ONE):
        if not w >> (_64 - step):
            w <<= step
            shift += step
    row = fives[e - _LEAST]
    high, low = product(w, row[0])
    if high & _U(0x1FF) == _U(0x1FF):
        more, _ = product(w, row[1])
        low += more
        if low < more:
            high += _ONE
    if low == _U(0xFFFFFFFFFFFFFFFF) and not -27 <= e <= 55:
        return _U(0)
    upper = high >> _63
    mantissa = high >> (upper + _9)
    exponent = ((217706 * e) >> 16) + 63 + np.int64(upper) - np.int64(shift) + 1023
    if exponent <= 0 or exponent >= 2046:
        return _U(0)
    if low <= _ONE and -4 <= e <= 23 and mantissa & _U(3) == _ONE and mantissa << (upper + _9) == high:
        mantissa &= ~_ONE  # half-way: to even
    mantissa = (mantissa + (mantissa & _ONE)) >> _ONE
    if mantissa >> _U(53):
        mantissa >>= _ONE
        exponent += 1
    return (mantissa & ~(_ONE << _52)) | (_U(exponent) << _52)


@numba.njit(cache=True, nogil=True)
def block(text, begins, ends, edges, delimiter, point, exponent, tens, fives, values, kinds, places, counts):
    """Read the numbers of some lines.

    Parameters
    ----------
    text : ndarray of uint8
    begins, ends : ndarray of int32, shape (lines,)
        Each line's first byte, and the byte after its last.
    edges : ndarray of int64
        Columns at which the numbers of a line begin, and the column after the last; empty if delimiters separate them.
    delimiter : int
        Separator between numbers; 0 for blanks.
    point, exponent : int
        The decimal point, and a letter besides e and E that begins an exponent.
    tens, fives : ndarray
        `TENS` and `FIVES`.
    values : ndarray of float64
        Filled with the numbers.
    kinds : ndarray of uint8
        Filled with `WHOLE`, `FRACTION` or `HARD`.
    places : ndarray of int32, shape (numbers, 2)
        Filled with the begin and end of each hard number.
    counts : ndarray of int32, shape (lines,)
        Filled with the count of numbers on each line.

    Returns
    -------
    int
        Count of numbers; or -1 - line for the first line that holds anything but a number, or does not fit.
    """
    # Indices are cast to unsigned ones, which spares a test for negative ones at every byte.
    n = 0
    as_bits = values.view(np.uint64)
    fixed = edges.size > 0
    for line in range(begins.size):
        at, end = np.int64(begins[line]), np.int64(ends[line])
        while end > at and (text[np.uintp(end - 1)] == 32 or text[np.uintp(end - 1)] == 9):
            end -= 1
        first, start, cell, more = n, at, 0, at < end
        while more:
            # Where the number stands: at a, and before b.
            b = end
            if fixed:
                if cell + 1 >= edges.size:
                    return -1 - line
                at, b = start + edges[cell], min(start + edges[cell + 1], end)
                cell += 1
                more = start + edges[cell] < end
            while at < b and (text[np.uintp(at)] == 32 or text[np.uintp(at)] == 9):
                at += 1
            if n >= values.size:
                return -1 - line
            # Sign, digits, point, digits, exponent.
            a = i = at
            negative, kind, m, behind, e = False, WHOLE, _U(0), 0, 0
            if i < b and (text[np.uintp(i)] == 43 or text[np.uintp(i)] == 45):
                negative = text[np.uintp(i)] == 45
                i += 1
            begun = i
            while i < b and 48 <= text[np.uintp(i)] <= 57:
                m = _U(10) * m + _U(text[np.uintp(i)] - 48)
                i += 1
            digits = i - begun
            if i < b and text[np.uintp(i)] == point:
                kind = FRACTION
                i += 1
                begun_behind = i
                while i < b and 48 <= text[np.uintp(i)] <= 57:
                    m = _U(10) * m + _U(text[np.uintp(i)] - 48)
                    i += 1
                behind = i - begun_behind
                digits += behind
            if digits == 0:
                return -1 - line
            if digits > 19:  # leading zeros do not count
                for j in range(begun, i):
                    if text[j] != 48 and text[j] != point:
                        break
                    digits -= text[j] == 48
            mark = text[np.uintp(i)] if i < b else np.uint8(0)
            if mark == 69 or mark == 101 or (exponent and mark == exponent):
                i += 1
                kind = FRACTION
                down = False
                if i < b and (text[np.uintp(i)] == 43 or text[np.uintp(i)] == 45):
                    down = text[np.uintp(i)] == 45
                    i += 1
                begun = i
                while i < b and 48 <= text[np.uintp(i)] <= 57:
                    e = min(10 * e + (text[np.uintp(i)] - 48), 100000)
                    i += 1
                if i == begun:
                    return -1 - line
                if down:
                    e = -e
            e -= behind
            # What comes after it.
            at = i
            while at < b and (text[np.uintp(at)] == 32 or text[np.uintp(at)] == 9):
                at += 1
            if fixed:
                if at < b:
                    return -1 - line
            elif delimiter:
                more = at < end
                if more and text[np.uintp(at)] != delimiter:
                    return -1 - line
                at += 1
            else:
                more = at < end
                if more and at == i:
                    return -1 - line
            value = float(m)
            if digits <= 19 and m <= _U(9007199254740992) and -22 <= e <= 22:
                values[n] = value / tens[-e] if e < 0 else value * tens[e]
            elif digits <= 19 and m and kind == FRACTION and _LEAST <= e <= _MOST:
                as_bits[n] = nearest(m, e, fives)
                if not as_bits[n]:
                    kind = HARD
            else:
                kind = HARD
            if kind == HARD:
                places[n, 0], places[n, 1] = a, i
            elif negative:
                values[n] = -values[n]
            kinds[n] = kind
            n += 1
        counts[line] = n - first
    return n
