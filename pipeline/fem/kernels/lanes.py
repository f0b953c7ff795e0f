"""One row of a block matrix times a block vector, in the compiler's vector types.

A block vector is an array (n, 3, LANES): eight loads side by side, so that one pass over the matrix
serves them all and a load's components fill one vector register. What numba makes of plain loops takes
a number at a time. Most of a pass is waiting for memory: matrix and vector are asked for well before
they are needed, which alone makes it twice as fast.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from pipeline.fem.kernels.arrays import Array, Rows

LANES = 8
BLOCKS_AT_ONCE = 2  # each with sums of its own, since an addition waits for the one before
BLOCKS_AHEAD = 128  # whose places in the block vector are asked for
BYTES_AHEAD = 4096  # of the matrix
LINE = 64  # bytes that memory hands over together

I8, I32, I64 = ir.IntType(8), ir.IntType(32), ir.IntType(64)


def plain_row_differences(matrix: Rows, i: int, x: Array, out: Array, k: int) -> None:
    """Write the product of row i with x less x[i] into out[k]: the same if the row adds up to nil.

    A shift does not strain what a stiffness stands for. So where bodies move far as a whole, their
    forces have the digits of their strain, not those of their movement.
    """
    indptr, indices, values = matrix
    out[k] = 0.0
    for p in range(indptr[i], indptr[i + 1]):
        for r in range(3):
            for c in range(3):
                out[k, r] += values[p, 3 * r + c] * (x[indices[p], c] - x[i, c])


def plain_row_times(matrix: Rows, i: int, x: Array, out: Array, k: int) -> None:
    """Write the product of row i of a matrix of 3 by 3 blocks with x into out[k].

    Parameters
    ----------
    matrix : Rows
        With values (blocks, 9).
    i, k : int
        Row of the matrix, and of `out`.
    x, out : Array
        Block vectors.
    """
    indptr, indices, values = matrix
    out[k] = 0.0
    for p in range(indptr[i], indptr[i + 1]):
        for r in range(3):
            for c in range(3):
                out[k, r] += values[p, 3 * r + c] * x[indices[p], c]


class _Row:
    """Instructions of one product of a row."""

    own: tuple[Any, ...] = ()  # what is taken off each component of x

    def __init__(self, builder: Any, indices: Any, values: Any, x: Any, count: Any) -> None:
        self.builder, self.indices, self.values = builder, indices, values
        self.number, self.last = values.type.pointee, builder.sub(count, ir.Constant(I64, 1))
        self.vector = ir.VectorType(self.number, LANES)
        self.narrow = ir.VectorType(x.type.pointee, LANES)
        self.x = builder.bitcast(x, self.narrow.as_pointer())
        self.bytes, self.x_bytes = (8 if one == ir.DoubleType() else 4
                                    for one in (self.number, x.type.pointee))  # fmt: skip

    def at(self, pointer: Any, place: Any, more: int = 0) -> Any:
        return self.builder.gep(pointer, [self.builder.add(place, ir.Constant(I64, more))])

    def start_of(self, p: Any) -> Any:
        """Place in x, in vectors, of the node that a block stands for."""
        column = self.builder.sext(self.builder.load(self.at(self.indices, p)), I64)
        return self.builder.mul(column, ir.Constant(I64, 3))

    def ask_for(self, pointer: Any, size: int, ahead: int = 0) -> None:
        """Have some bytes brought near."""
        fetch = self.builder.module.declare_intrinsic(
            "llvm.prefetch", (), ir.FunctionType(ir.VoidType(), [I8.as_pointer(), I32, I32, I32])
        )
        start = self.builder.bitcast(pointer, I8.as_pointer())
        how = [ir.Constant(I32, 0), ir.Constant(I32, 3), ir.Constant(I32, 1)]  # to read, to keep, data
        for offset in range(ahead, ahead + size, LINE):
            self.builder.call(fetch, [self.at(start, ir.Constant(I64, offset)), *how])

    def component(self, start: Any, c: int) -> Any:
        """One component of x for all lanes, less the row's own."""
        b = self.builder
        found = b.load(self.at(self.x, start, c))
        found.align = 4
        if self.narrow != self.vector:
            found = b.fpext(found, self.vector)
        return b.fsub(found, self.own[c]) if self.own else found

    def look_ahead(self, p: Any) -> None:
        b = self.builder
        self.ask_for(
            self.at(self.values, b.mul(p, ir.Constant(I64, 9))),
            9 * self.bytes * BLOCKS_AT_ONCE, BYTES_AHEAD,
        )  # fmt: skip
        for more in range(BLOCKS_AT_ONCE):
            ahead = b.add(p, ir.Constant(I64, BLOCKS_AHEAD + more))
            ahead = b.select(b.icmp_signed("<", ahead, self.last), ahead, self.last)
            self.ask_for(self.at(self.x, self.start_of(ahead)), 3 * LANES * self.x_bytes)

    def add_block(self, p: Any, sums: list[Any]) -> list[Any]:
        """Three sums with block p times its part of x added."""
        b, sums = self.builder, list(sums)
        undefined = ir.Constant(self.vector, ir.Undefined)
        first = ir.Constant(ir.VectorType(I32, LANES), [0] * LANES)
        x_start, v_start = self.start_of(p), b.mul(p, ir.Constant(I64, 9))
        for c in range(3):
            component = self.component(x_start, c)
            for r in range(3):
                entry = b.load(self.at(self.values, v_start, 3 * r + c))
                lane = b.insert_element(undefined, entry, ir.Constant(I32, 0))
                lanes = b.shuffle_vector(lane, undefined, first)
                product = b.fmul(lanes, component, flags=["contract"])
                sums[r] = b.fadd(product, sums[r], flags=["contract"])
        return sums

    def loop(self, start: Any, stop: Any, sums: list[Any], at_once: int) -> tuple[Any, list[Any]]:
        """Add blocks, some at once, as long as so many are left; the next block and the sums."""
        b, before = self.builder, self.builder.block
        head, body, end = (b.append_basic_block(name) for name in ("head", "body", "end"))
        b.branch(head)
        b.position_at_end(head)
        p, totals = b.phi(I64), [b.phi(self.vector) for _ in sums]
        following = b.add(p, ir.Constant(I64, at_once))
        b.cbranch(b.icmp_signed("<=", following, stop), body, end)
        b.position_at_end(body)
        if at_once > 1:
            self.look_ahead(p)
        fresh = list(totals)
        for one in range(at_once):
            own = slice(3 * one, 3 * one + 3)
            fresh[own] = self.add_block(b.add(p, ir.Constant(I64, one)), totals[own])
        b.branch(head)
        for phi, first, again in zip([p, *totals], [start, *sums], [following, *fresh], strict=True):
            phi.add_incoming(first, before)
            phi.add_incoming(again, body)
        b.position_at_end(end)
        return p, totals


def _vectors(differences: bool) -> Callable[..., tuple[Any, Any]]:
    """Instructions of a product with x, or with its differences from the row's own."""

    def codegen(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        def array(kind: Any, value: Any) -> Any:
            return context.make_array(kind)(context, builder, value)

        indptr, indices, values = (
            array(kind, builder.extract_value(args[0], place))
            for place, kind in enumerate(signature.args[0].types)
        )
        x, out = (array(signature.args[place], args[place]) for place in (2, 3))
        blocks = builder.extract_value(indices.shape, 0)
        row = _Row(builder, indices.data, values.data, x.data, blocks)
        if differences:
            own = builder.mul(args[1], ir.Constant(I64, 3))
            row.own = tuple(row.component(own, c) for c in range(3))
        start, stop = (
            builder.sext(builder.load(row.at(indptr.data, args[1], more)), I64) for more in (0, 1)
        )
        zero = ir.Constant(row.vector, [ir.Constant(row.number, 0.0)] * LANES)
        p, sums = row.loop(start, stop, [zero] * (3 * BLOCKS_AT_ONCE), BLOCKS_AT_ONCE)
        for more in range(3, len(sums)):
            sums[more % 3] = builder.fadd(sums[more % 3], sums[more])
        _, sums = row.loop(p, stop, sums[:3], 1)
        vectors = builder.bitcast(out.data, row.vector.as_pointer())
        place = builder.mul(args[4], ir.Constant(I64, 3))
        for r in range(3):
            builder.store(sums[r], row.at(vectors, place, r)).align = 4
        return context.get_dummy_value()

    def typed(
        _context: Any, matrix: Any, i: Any, x: Any, out: Any, k: Any
    ) -> tuple[Any, Callable[..., Any]]:
        return types.void(matrix, i, x, out, k), codegen

    return typed


_COMPILED = not vars(numba.config)["DISABLE_JIT"]
row_times: Any = intrinsic(_vectors(differences=False)) if _COMPILED else plain_row_times
row_differences: Any = intrinsic(_vectors(differences=True)) if _COMPILED else plain_row_differences
