/* Values of cells that follow the controls: the length of five numbers, each a sum over a state's shares. */
const liveColours = (() => {
  "use strict";
  const { numbers } = liveModel, NUMBERS = 5, HIGHEST = 0.99, MOST_BYTE = 254;

  class Field {
    constructor({ cells, values, rows }) {
      this.cells = numbers(cells, Int32Array);
      this.values = numbers(values, Int8Array);
      this.rows = numbers(rows, Float64Array);
      this.shares = this.values.length / this.cells.length / NUMBERS;
      this.row_of = new Map(Array.from(this.cells, (cell, row) => [cell, row]));
    }
    /* Value of each cell in a state, with the metals as the study has them. */
    levels(state) {
      const { values, shares } = this, size = state.length, own = new Float32Array(shares), found = new Float32Array(this.cells.length);
      for (let k = 0; k < shares; k++) for (let i = 0; i < size; i++) own[k] += this.rows[k * size + i] * state[i];
      for (let c = 0, at = 0; c < found.length; c++) {
        let square = 0;
        for (let j = 0; j < NUMBERS; j++) {
          let total = 0;
          for (let k = 0; k < shares; k++, at++) total += values[at] * own[k];
          square += total * total;
        }
        found[c] = Math.sqrt(square);
      }
      return found;
    }
  }
  /* The upper end of the colours of some values: one hundredth lies above it. */
  function top_of(every) {
    const sorted = Float32Array.from(every).sort();
    return sorted[Math.max(0, Math.ceil(HIGHEST * sorted.length) - 1)] || 1;
  }
  /* What the rows of cells at the points of a surface are drawn with: a byte each, `top` the range's end. */
  function painted(rows, levels, range, top) {
    return Uint8Array.from(rows, row => Math.min(MOST_BYTE, Math.round(top * levels[row] / range)));
  }
  return { Field, painted, top_of };
})();
