/* Kept memory (rule 1) over a restart of the board: two copies in memory that no start clears.
 *
 * - The older copy is written, then it is the newer one: a restart in the middle leaves the other
 *   copy whole, at most one control tick older.
 * - What the copies hold is sealed (kept_memory.h): noise, and a copy half written, are no memory.
 *
 * Which restarts the memory survives is the board's to say (xb_port_lasting). */
#ifndef XB_LASTING_H
#define XB_LASTING_H

#include <stdint.h>

#include "xb_tables.h"

#define XB_LASTING_COPIES 2u

/* The copies, and which of them is the newer, 0 or 1. After a power-on both may be anything. */
typedef struct {
    uint8_t copies[XB_LASTING_COPIES][XB_KEPT_OCTETS];
    uint8_t newer;
} xb_lasting;

/* Store the core's kept memory over the older copy. To be called between ticks. */
void xb_lasting_store(xb_lasting *lasting);

/* Return the newest copy that is whole; without one the newer, which xb_reset refuses. */
const uint8_t *xb_lasting_find(const xb_lasting *lasting);

#endif
