/* Faults mature and heal in steps, or latch until the next ignition cycle (rule 9). */
#include "faults.h"

#include "arithmetic.h"

/* Move the fault by `worse` steps up and `better` steps down.
 *
 * While its condition does not hold, the level stays. A latched fault heals only at the start of a
 * new ignition cycle, and then at once. */
void xb_fault_step(const xb_fault_spec *spec, xb_fault_state *state, uint16_t worse,
                   uint16_t better, uint8_t enabled, uint8_t new_cycle)
{
    int64_t level;

    if (new_cycle != 0u && spec->latch != 0u) {
        state->level = 0u;
        state->matured = 0u;
    }
    if (enabled == 0u) {
        return;
    }
    level = state->level + (int64_t)worse * spec->up - (int64_t)better * spec->down;
    state->level = (uint16_t)xb_saturate(level, 0, spec->limit);
    if (state->level >= spec->limit) {
        state->matured = 1u;
    } else if (state->level == 0u && spec->latch == 0u) {
        state->matured = 0u;
    }
}
