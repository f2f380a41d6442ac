/* Fault memory: one entry a fault, with when, how often and under which circumstances (rule 9).
 *
 * An entry is stored when its fault matures. It ages: when its fault was judged and not once matured
 * in so many ignition cycles, the entry is erased. All of it survives a reset; times count control
 * ticks of operation over all resets. */
#ifndef XB_FAULT_MEMORY_H
#define XB_FAULT_MEMORY_H

#include <stdint.h>

#include "quantities.h"
#include "xb_state.h"

/* What is stored of a fault: its trouble code (two octets) and failure type (one octet), the
 * ignition cycles that erase it (0 = never), the quantities stored when it matures for the first
 * time, and the place of the first of them among all snapshots. */
typedef struct {
    const uint16_t *snapshot;
    uint32_t snapshot_count;
    uint32_t first;
    uint32_t code;
    uint16_t aging;
    uint16_t fault;
} xb_entry_spec;

void xb_pass_time(xb_operation_state *state);
void xb_entry_begin_cycle(const xb_entry_spec *spec, xb_entry_state *entry,
                          xb_snapshot_state *snapshot);
void xb_entry_note(const xb_entry_spec *spec, xb_entry_state *entry, xb_snapshot_state *snapshot,
                   uint8_t matured, uint8_t judged, uint32_t now, const xb_store *store);
uint8_t xb_entry_recall(xb_entry_state *entry, uint8_t latch);

#endif
