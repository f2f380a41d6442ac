/* How code over the tables of a pairing becomes code for this one pairing.
 *
 * On the board engine and tables are compiled as one piece (XB_WHOLE). There a loop marked
 * XB_UNROLLED is written out, so that what a table says of an entry is a constant in its code: no
 * table is read, and what an entry does not ask for is left out. Such a loop has a number of passes
 * that is constant once its function is inlined: what is called for more than one table is
 * XB_INSIDE, inlined wherever it is called. What is too large or too rare to be written out stays
 * XB_APART. Elsewhere the three say nothing, and the loops are loops. */
#ifndef XB_UNROLLING_H
#define XB_UNROLLING_H

#ifdef XB_WHOLE
#define XB_UNROLLED _Pragma("GCC unroll 256")
#define XB_INSIDE __attribute__((always_inline)) inline
#define XB_APART __attribute__((noinline))
#else
#define XB_UNROLLED
#define XB_INSIDE
#define XB_APART
#endif

#endif
