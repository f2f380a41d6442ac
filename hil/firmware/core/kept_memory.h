/* The memory that survives a reset: every field declared kept, sealed (rule 1).
 *
 *     layout (4 octets) | kept fields in image order, little-endian | CRC-32/ISO-HDLC (4 octets)
 *
 * The layout (XB_KEPT_LAYOUT) is a number over the names and widths of the kept fields: memory of
 * another pairing does not fit and is refused as a whole. So is memory whose CRC is wrong: after a
 * supply loss it may hold anything. */
#ifndef XB_KEPT_MEMORY_H
#define XB_KEPT_MEMORY_H

#include "interface.h"

/* What became of the kept memory at the last reset. */
typedef enum { XB_MEMORY_NONE = 0, XB_MEMORY_TAKEN = 1, XB_MEMORY_REFUSED = 2 } xb_memory;

void xb_note_start(xb_start_state *state, uint8_t cause, uint8_t given, uint8_t taken);
uint32_t xb_kept_write(xb_engine *engine, uint8_t *buffer);
uint8_t xb_kept_read(xb_engine *engine, const uint8_t *kept);

#endif
