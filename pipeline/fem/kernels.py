"""Compiled loops over block rows. The only module that imports numba.

A block vector is an array (n, 3, 8): eight loads side by side, so that one pass over the matrix
serves them all and a load's components fill one vector register. Results do not depend on the number
of threads: each row and each scalar product is summed in one order.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
from llvmlite import ir
from numba import types
from numba.extending import intrinsic
from threadpoolctl import threadpool_limits

from pipeline.fem.space import Array, Ints

Number = float | np.floating[Any]

LANES = 8
SHARES = 64


def _row_product(
    _context: Any, indices: Any, start: Any, stop: Any, values: Any, x: Any
) -> tuple[Any, Any]:
    """Sum over a row's blocks p of values[p] (3, 3) times x[indices[p]] (3, LANES).

    Returned as a tuple of 3 * LANES numbers. Written in the compiler's vector types, since the loop
    that numba would make of the same lines runs one number at a time, seven times slower.
    """
    result: Any = types.UniTuple
    signature = result(x.dtype, 3 * LANES)(indices, start, stop, values, x)

    def codegen(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        def data(position: int) -> Any:
            kind = signature.args[position]
            return context.make_array(kind)(context, builder, args[position]).data

        index_data, value_data, x_data = data(0), data(3), data(4)
        number, i64, i32 = value_data.type.pointee, ir.IntType(64), ir.IntType(32)
        vector = ir.VectorType(number, LANES)
        x_vectors = builder.bitcast(x_data, vector.as_pointer())
        zero = ir.Constant(vector, [ir.Constant(number, 0.0)] * LANES)
        undefined = ir.Constant(vector, ir.Undefined)
        first_lane = ir.Constant(ir.VectorType(i32, LANES), [ir.Constant(i32, 0)] * LANES)

        before = builder.block
        head, body, end = (builder.append_basic_block(name) for name in ("head", "body", "end"))
        builder.branch(head)

        builder.position_at_end(head)
        p = builder.phi(i64)
        sums = [builder.phi(vector) for _ in range(3)]
        p.add_incoming(args[1], before)
        for total in sums:
            total.add_incoming(zero, before)
        builder.cbranch(builder.icmp_signed("<", p, args[2]), body, end)

        builder.position_at_end(body)
        column = builder.sext(builder.load(builder.gep(index_data, [p])), i64)
        x_start = builder.mul(column, ir.Constant(i64, 3))
        value_start = builder.mul(p, ir.Constant(i64, 9))
        fresh = list(sums)
        for j in range(3):
            place = builder.gep(x_vectors, [builder.add(x_start, ir.Constant(i64, j))])
            component = builder.load(place)
            component.align = 4
            for i in range(3):
                offset = builder.add(value_start, ir.Constant(i64, 3 * i + j))
                entry = builder.load(builder.gep(value_data, [offset]))
                lane = builder.insert_element(undefined, entry, ir.Constant(i32, 0))
                spread = builder.shuffle_vector(lane, undefined, first_lane)
                product = builder.fmul(spread, component, flags=["contract"])
                fresh[i] = builder.fadd(product, fresh[i], flags=["contract"])
        p.add_incoming(builder.add(p, ir.Constant(i64, 1)), builder.block)
        for total, value in zip(sums, fresh, strict=True):
            total.add_incoming(value, builder.block)
        builder.branch(head)

        builder.position_at_end(end)
        numbers = [
            builder.extract_element(total, ir.Constant(i32, lane))
            for total in sums
            for lane in range(LANES)
        ]
        return context.make_tuple(builder, signature.return_type, numbers)

    return signature, codegen


_row_times: Any = intrinsic(_row_product)


@numba.njit(parallel=True, cache=True)
def locate(indptr: Ints, indices: Ints, cells: Ints) -> Ints:
    """Position (m, k, k) of the block of each pair of a cell's nodes; cells are (m, k)."""
    m, k = cells.shape
    slots = np.empty((m, k, k), np.int32)
    for e in numba.prange(m):
        for a in range(k):
            start, stop = indptr[cells[e, a]], indptr[cells[e, a] + 1]
            for b in range(k):
                slots[e, a, b] = start + np.searchsorted(indices[start:stop], cells[e, b])
    return slots


@numba.njit(cache=True)
def scatter(slots: Ints, blocks: Array, total: Array) -> None:
    """Add element blocks (m, k, k, 3, 3) to a matrix's blocks (n, 3, 3), in one order."""
    m, k, _ = slots.shape
    for e in range(m):
        for a in range(k):
            for b in range(k):
                for i in range(3):
                    for j in range(3):
                        total[slots[e, a, b], i, j] += blocks[e, a, b, i, j]


@numba.njit(cache=True)
def _first_row(indptr: Ints, share: int) -> int:
    """First row of a share of the matrix; shares have equal numbers of blocks, not of rows."""
    return np.searchsorted(indptr, indptr[-1] * share // SHARES)


@numba.njit(parallel=True, cache=True)
def multiply(indptr: Ints, indices: Ints, values: Array, x: Array, y: Array) -> None:
    """Write the matrix product into y (n, 3, LANES)."""
    for share in numba.prange(SHARES):
        for i in range(_first_row(indptr, share), _first_row(indptr, share + 1)):
            row = _row_times(indices, np.int64(indptr[i]), np.int64(indptr[i + 1]), values, x)
            out = y[i].reshape(3 * LANES)
            for k in range(3 * LANES):
                out[k] = row[k]


@numba.njit(parallel=True, cache=True)
def smooth(
    matrix: tuple[Ints, Ints, Array, Array],
    b: Array,
    x: Array,
    step: Array,
    factors: tuple[Number, Number],
    fresh: Array,
) -> None:
    """One Chebyshev step: step = f0 step + f1 D (b - A x) and fresh = x + step.

    Parameters
    ----------
    matrix : tuple
        indptr, indices, values (blocks, 9) of A and the inverse diagonal blocks D (n, 9).
    b, x, step, fresh : Array
        Block vectors; `step` and `fresh` are written.
    factors : (float, float)
        f0 and f1.
    """
    indptr, indices, values, inverse = matrix
    for share in numba.prange(SHARES):
        for i in range(_first_row(indptr, share), _first_row(indptr, share + 1)):
            row = _row_times(indices, np.int64(indptr[i]), np.int64(indptr[i + 1]), values, x)
            d = inverse[i]
            right = b[i].reshape(3 * LANES)
            for c in range(LANES):
                r0 = right[c] - row[c]
                r1 = right[LANES + c] - row[LANES + c]
                r2 = right[2 * LANES + c] - row[2 * LANES + c]
                for k in range(3):
                    move = factors[0] * step[i, k, c] + factors[1] * (
                        d[3 * k] * r0 + d[3 * k + 1] * r1 + d[3 * k + 2] * r2
                    )
                    step[i, k, c] = move
                    fresh[i, k, c] = x[i, k, c] + move


@numba.njit(parallel=True, cache=True)
def subtract_product(matrix: tuple[Ints, Ints, Array], b: Array, x: Array, out: Array) -> None:
    """Write b - A x into out; the matrix is indptr, indices, values (blocks, 9)."""
    indptr, indices, values = matrix
    for share in numba.prange(SHARES):
        for i in range(_first_row(indptr, share), _first_row(indptr, share + 1)):
            row = _row_times(indices, np.int64(indptr[i]), np.int64(indptr[i + 1]), values, x)
            left, right = out[i].reshape(3 * LANES), b[i].reshape(3 * LANES)
            for k in range(3 * LANES):
                left[k] = right[k] - row[k]


@numba.njit(parallel=True, cache=True)
def substitute(matrix: tuple[Ints, Ints, Array, Array], first: Ints, second: Ints, x: Array) -> None:
    """Solve with a triangular matrix, row after row: x[i] = D[i] (x[i] - A[i] x).

    The matrix is indptr, indices, values (blocks, 9) of A and the inverse diagonal blocks D (n, 9).
    The two chains of rows run side by side, so neither may use a row of the other.
    """
    indptr, indices, values, inverse = matrix
    for chain in numba.prange(2):
        for i in first if chain == 0 else second:
            row = _row_times(indices, np.int64(indptr[i]), np.int64(indptr[i + 1]), values, x)
            d = inverse[i]
            for c in range(LANES):
                r0, r1, r2 = (
                    x[i, 0, c] - row[c],
                    x[i, 1, c] - row[LANES + c],
                    x[i, 2, c] - row[2 * LANES + c],
                )
                for k in range(3):
                    x[i, k, c] = d[3 * k] * r0 + d[3 * k + 1] * r1 + d[3 * k + 2] * r2


@numba.njit(parallel=True, cache=True)
def interpolate(
    transfer: tuple[Ints, Ints, Array], x: Array, free: Array, base: Array, out: Array
) -> None:
    """Write base + free * (transfer times x) into out.

    Parameters
    ----------
    transfer : tuple
        indptr, indices and weights of a scalar matrix in compressed rows.
    x, base, out : Array
        Block vectors; `base` and `out` have the transfer's rows, `x` its columns.
    free : Array
        1 for a free component, 0 for a held one (rows, 3).
    """
    indptr, indices, weights = transfer
    for share in numba.prange(SHARES):
        for i in range(_first_row(indptr, share), _first_row(indptr, share + 1)):
            for k in range(3):
                for c in range(LANES):
                    total = 0.0
                    for p in range(indptr[i], indptr[i + 1]):
                        total += weights[p] * x[indices[p], k, c]
                    out[i, k, c] = base[i, k, c] + free[i, k] * total


@numba.njit(parallel=True, cache=True)
def scale_blocks(inverse: Array, b: Array, factor: Number, step: Array, x: Array) -> None:
    """Write factor D b into step and x."""
    for i in numba.prange(b.shape[0]):
        d = inverse[i]
        for c in range(LANES):
            for k in range(3):
                move = factor * (
                    d[3 * k] * b[i, 0, c] + d[3 * k + 1] * b[i, 1, c] + d[3 * k + 2] * b[i, 2, c]
                )
                step[i, k, c] = move
                x[i, k, c] = move


@numba.njit(cache=True)
def dots(x: Array, y: Array) -> Array:
    """Scalar products of the loads (LANES,), summed in double precision and in one order."""
    total = np.zeros(LANES)
    for i in range(x.shape[0]):
        for k in range(3):
            for c in range(LANES):
                total[c] += np.float64(x[i, k, c]) * np.float64(y[i, k, c])
    return total


@numba.njit(parallel=True, cache=True)
def advance(along: Array, p: Array, q: Array, x: Array, r: Array) -> None:
    """X += along p and r -= along q, lane by lane; along is (LANES,)."""
    for i in numba.prange(p.shape[0]):
        for k in range(3):
            for c in range(LANES):
                x[i, k, c] += along[c] * p[i, k, c]
                r[i, k, c] -= along[c] * q[i, k, c]


@numba.njit(parallel=True, cache=True)
def turn(z: Array, back: Array, p: Array) -> None:
    """P = z + back p, lane by lane; back is (LANES,)."""
    for i in numba.prange(p.shape[0]):
        for k in range(3):
            for c in range(LANES):
                p[i, k, c] = z[i, k, c] + back[c] * p[i, k, c]


def use_threads(count: int) -> None:
    """Let the compiled loops of this process use a number of threads, and BLAS one.

    A later call may lower or raise the number; its bound is what numba launched, by default one for
    each core.
    """
    threadpool_limits(1, user_api="blas")
    launched: int = vars(numba.config)["NUMBA_NUM_THREADS"]
    numba.set_num_threads(min(count, launched))
