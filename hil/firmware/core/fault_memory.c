/* Fault memory: one entry a fault, with when, how often and under which circumstances (rule 9). */
#include "fault_memory.h"

#include "arithmetic.h"

/* Let one control tick pass. */
void xb_pass_time(xb_operation_state *state)
{
    state->ticks = xb_add_one(state->ticks);
}

/* Forget an entry. */
static void erase(const xb_entry_spec *spec, xb_entry_state *entry, xb_snapshot_state *snapshot)
{
    entry->stored = 0u;
    entry->active = 0u;
    entry->count = 0u;
    entry->first = 0u;
    entry->last = 0u;
    entry->aged = 0u;
    for (uint32_t i = 0u; i < spec->snapshot_count; i++) {
        snapshot[i] = xb_snapshot_reset_state;
    }
}

/* Age an entry at the start of an ignition cycle: judged and not once matured in the last. */
void xb_entry_begin_cycle(const xb_entry_spec *spec, xb_entry_state *entry,
                          xb_snapshot_state *snapshot)
{
    if (entry->stored != 0u && entry->judged != 0u && entry->seen == 0u) {
        entry->aged = xb_count(entry->aged);
        if (spec->aging != 0u && entry->aged >= spec->aging) {
            erase(spec, entry, snapshot);
        }
    }
    entry->seen = 0u;
    entry->judged = 0u;
}

/* Note what a fault is in this control tick; `judged` says that it was looked at. */
void xb_entry_note(const xb_entry_spec *spec, xb_entry_state *entry, xb_snapshot_state *snapshot,
                   uint8_t matured, uint8_t judged, uint32_t now, const xb_store *store)
{
    if (judged != 0u) {
        entry->judged = 1u;
    }
    if (matured != 0u) {
        if (entry->active == 0u) {
            if (entry->stored == 0u) {
                entry->stored = 1u;
                entry->first = now;
                for (uint32_t i = 0u; i < spec->snapshot_count; i++) {
                    snapshot[i].value = store->states[spec->snapshot[i]].value;
                    snapshot[i].status = store->states[spec->snapshot[i]].status;
                }
            }
            entry->count = xb_count(entry->count);
        }
        entry->last = now;
        entry->seen = 1u;
        entry->aged = 0u;
    }
    entry->active = matured;
}

/* Judge an entry that survived a reset; return whether its fault is still matured.
 *
 * Only a latched fault is; any other is judged anew, and counted anew when it matures again. */
uint8_t xb_entry_recall(xb_entry_state *entry, uint8_t latch)
{
    if (latch == 0u) {
        entry->active = 0u;
    }
    return entry->active;
}
