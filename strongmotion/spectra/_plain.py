"""The steps of `_vector` as plain loops, for where those instructions cannot be compiled: slower, equal to rounding.

Multiplications and additions are left apart here, and fused there where the machine can.
"""

# Numba infers the types from the arrays it is given.
# mypy: disallow-untyped-defs=False

from __future__ import annotations

from ..foundation.compiling import compiled

__all__ = ["LANES", "STEPS", "step_all", "step_displacement", "step_pair"]

LANES, STEPS = 8, 8


def _steps(width, steps):
    """Return the three kinds of step, of `width` oscillators and `steps` samples."""

    @compiled
    def displacement(inputs, k, fixed, state, tops, j):
        for at in range(j, j + width):
            d, c, p, q, top = fixed[0, at], fixed[1, at], state[0, at], state[1, at], tops[0, at]
            for i in range(k, k + steps):
                top = max(top, abs(p))
                q = d * q - c * p + inputs[0, i]
                p += q
            state[0, at], state[1, at], tops[0, at] = p, q, top

    @compiled
    def everything(inputs, k, fixed, state, tops, j):
        for at in range(j, j + width):
            p, q = state[0, at], state[1, at]
            for i in range(k, k + steps):
                a = inputs[0, i]
                tops[0, at] = max(tops[0, at], abs(p))
                for row in range(2):
                    met = fixed[2 + 3 * row, at] * p + fixed[3 + 3 * row, at] * q + fixed[4 + 3 * row, at] * a
                    tops[1 + row, at] = max(tops[1 + row, at], abs(met))
                q = fixed[0, at] * q - fixed[1, at] * p + a
                p += q
            state[0, at], state[1, at] = p, q

    @compiled
    def pair(inputs, k, fixed, state, tops, j):
        for at in range(j, j + width):
            d, c = fixed[0, at], fixed[1, at]
            p, q, r, s = state[0, at], state[1, at], state[2, at], state[3, at]
            for i in range(k, k + steps):
                tops[0, at] = max(tops[0, at], abs(p))
                tops[1, at] = max(tops[1, at], abs(p + r))
                tops[2, at] = max(tops[2, at], abs(r))
                tops[3, at] = max(tops[3, at], abs(r - p))
                q = d * q - c * p + inputs[0, i]
                p += q
                s = d * s - c * r + inputs[1, i]
                r += s
            state[0, at], state[1, at], state[2, at], state[3, at] = p, q, r, s

    return displacement, everything, pair


_MANY, _ONE = _steps(LANES, STEPS), _steps(LANES, 1)

step_displacement = _steps(2 * LANES, STEPS)[0], _MANY[0], _ONE[0]
step_all = _MANY[1], _MANY[1], _ONE[1]
step_pair = _MANY[2], _MANY[2], _ONE[2]
