"""Steps of the oscillator recursion, eight oscillators to a vector, as instructions that Numba functions may call.

A step waits for the one before it, so a processor is kept busy only by several vectors in flight, with their states in
registers for several steps. A compiler left to itself keeps one; here the instructions are written out as LLVM's own,
for vectors of eight numbers, which it fits to whatever registers the machine has. Multiplications and additions are
fused where the machine can, always in the same way: the same input gives the same bits.

The recursion is that at the head of `_kernels`; the arrays are laid out by rows of oscillators:

    fixed   d, c, then for velocity and acceleration the three factors each of p, q and a, where they are kept
    state   p, q of each component
    tops    what is kept: the largest |p|; or |p|, |u'| and |u'' + a|; or |p1|, |p1 + p2|, |p2| and |p2 - p1| of a pair
"""

# The intrinsics build instructions in llvmlite's own untyped terms.
# mypy: disallow-untyped-defs=False

from __future__ import annotations

import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from ..foundation.compiling import compiled

__all__ = ["LANES", "STEPS", "step_all", "step_displacement", "step_pair", "works"]

LANES = 8
"""Oscillators in a vector: one register of 512 bits, or two of 256, or four of 128."""

STEPS = 8
"""Steps taken in registers before they go back to memory."""

VECTOR = ir.VectorType(ir.DoubleType(), LANES)


class _Row:
    """One row of a two-dimensional array of float64, from a given column on."""

    def __init__(self, context, builder, array_type, value, column):
        array = context.make_array(array_type)(context, builder, value)
        self.builder, self.data = builder, array.data
        self.columns, self.column = builder.extract_value(array.shape, 1), column

    def pointer(self, row, vector=0):
        index = self.builder.mul(self.columns, self.columns.type(row))
        index = self.builder.add(index, self.builder.add(self.column, self.column.type(LANES * vector)))
        return self.builder.gep(self.data, [index])

    def load(self, row, vector):
        return self.builder.load(self.builder.bitcast(self.pointer(row, vector), VECTOR.as_pointer()), align=8)

    def store(self, value, row, vector):
        self.builder.store(value, self.builder.bitcast(self.pointer(row, vector), VECTOR.as_pointer()), align=8)


def _emit(context, builder, signature, args, components, everything, vectors, steps):
    """Write out `steps` steps of `vectors` vectors, all states in registers."""
    kinds = signature.args
    inputs = _Row(context, builder, kinds[0], args[0], args[1])
    fixed, state, tops = (_Row(context, builder, kinds[i], args[i], args[5]) for i in (2, 3, 4))
    fused = cgutils.get_or_insert_function(
        builder.module, ir.FunctionType(VECTOR, [VECTOR] * 3), f"llvm.fmuladd.v{LANES}f64"
    )
    size = cgutils.get_or_insert_function(builder.module, ir.FunctionType(VECTOR, [VECTOR]), f"llvm.fabs.v{LANES}f64")
    lanes, each = range(vectors), range(components)
    rows = 8 if everything else 2
    factor = [[fixed.load(row, v) for v in lanes] for row in range(rows)]
    p = [[state.load(2 * i, v) for v in lanes] for i in each]
    q = [[state.load(2 * i + 1, v) for v in lanes] for i in each]
    kept = range(4 if components == 2 else 3 if everything else 1)
    top = [[tops.load(row, v) for v in lanes] for row in kept]
    minus_c = [builder.fneg(factor[1][v]) for v in lanes]
    anything = ir.Constant(VECTOR, ir.Undefined)
    first = ir.Constant(ir.IntType(32), 0)
    spread = ir.Constant(ir.VectorType(ir.IntType(32), LANES), [0] * LANES)

    def larger(one, other):
        return builder.select(builder.fcmp_ordered(">", one, other), one, other)

    for step in range(steps):
        a = []
        for i in each:
            number = builder.load(builder.gep(inputs.pointer(i), [inputs.column.type(step)]))
            a.append(builder.shuffle_vector(builder.insert_element(anything, number, first), anything, spread))
        for v in lanes:
            met = [p[0][v]]
            if components == 2:
                met += [builder.fadd(p[0][v], p[1][v]), p[1][v], builder.fsub(p[1][v], p[0][v])]
            if everything:
                for start in (2, 5):
                    of_p, of_q, of_a = (factor[start + i][v] for i in range(3))
                    value = builder.call(fused, [of_q, q[0][v], builder.fmul(of_a, a[0])])
                    met.append(builder.call(fused, [of_p, p[0][v], value]))
            for row in kept:
                top[row][v] = larger(builder.call(size, [met[row]]), top[row][v])
            for i in each:
                driven = builder.call(fused, [factor[0][v], q[i][v], a[i]])
                q[i][v] = builder.call(fused, [minus_c[v], p[i][v], driven])
                p[i][v] = builder.fadd(p[i][v], q[i][v])
    for v in lanes:
        for i in each:
            state.store(p[i][v], 2 * i, v)
            state.store(q[i][v], 2 * i + 1, v)
        for row in kept:
            tops.store(top[row][v], row, v)
    return context.get_dummy_value()


def _instruction(components, everything, vectors, steps):
    @intrinsic
    def step(typing_context, inputs, k, fixed, state, tops, j):
        def code(context, builder, signature, args):
            return _emit(context, builder, signature, args, components, everything, vectors, steps)

        return types.void(inputs, types.intp, fixed, state, tops, types.intp), code

    return step


def _instructions(components, everything, vectors):
    """Return the instruction for many vectors and steps, for one vector and many steps, and for one of each."""
    return (
        _instruction(components, everything, vectors, STEPS),
        _instruction(components, everything, 1, STEPS),
        _instruction(components, everything, 1, 1),
    )


step_displacement = _instructions(1, False, 2)
step_all = _instructions(1, True, 1)
step_pair = _instructions(2, False, 1)


_single = step_displacement[2]


@compiled
def _one_step(inputs, fixed, state, tops):
    _single(inputs, 0, fixed, state, tops, 0)


def works():
    """Return whether the instructions can be compiled here, and take a step as they should."""
    fixed, state, tops = np.full((8, LANES), 0.5), np.ones((2, LANES)), np.zeros((1, LANES))
    _one_step(np.full((1, 1), 2.0), fixed, state, tops)
    # q = 0.5 + 2 - 0.5 = 2, p = 1 + 2, and the largest |p| before the step was 1.
    return bool((state[0] == 3.0).all() and (state[1] == 2.0).all() and (tops == 1.0).all())
