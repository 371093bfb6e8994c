/* How weights lie. Several rows of a matrix are read together, so that an input is
 * loaded once for all of them; their weights lie column by column:
 *  - two rows (NET_TWO_ROWS)
 *      int4   four bytes per four columns; bits 0, 4, 8, 12 of a 32-bit word hold row 0
 *             of columns 0 and 2, row 1 of columns 0 and 2, bits 16 and up columns 1 and 3
 *      int8   a 16-bit number for each column, row 0 + 256 * row 1, low byte first
 *      int16  two columns of row 0, then of row 1
 *  - else three rows
 *      int4   a byte per row and two columns, the first in the low half
 *      int8, int16  row 0, 1, 2 of each column
 * A last odd column, and the last one to three of int4 with NET_TWO_ROWS, follow row by row.
 * Where several rows are read together, int4 weights are stored raised by 8, and int8 weights
 * of three rows by 128. The sum of the inputs takes that off again.
 * Rows that are left at the end lie one after the other, not raised. */
