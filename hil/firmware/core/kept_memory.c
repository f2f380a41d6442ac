/* The memory that survives a reset: every field declared kept, sealed (rule 1). */
#include "kept_memory.h"

#include "arithmetic.h"
#include "fields.h"
#include "state_image.h"
#include "xlate_bridge.h"

#define MARK_OCTETS 4u

/* Note this start, after the kept fields were taken up. */
void xb_note_start(xb_start_state *state, uint8_t cause, uint8_t given, uint8_t taken)
{
    if (taken != 0u) {
        state->before = state->cause;
        state->starts = xb_count(state->starts);
        state->memory = (uint8_t)XB_MEMORY_TAKEN;
    } else if (given != 0u) {
        state->memory = (uint8_t)XB_MEMORY_REFUSED;
    }
    state->cause = cause;
}

/* Write the kept memory, XB_KEPT_OCTETS octets; return its length. */
uint32_t xb_kept_write(xb_engine *engine, uint8_t *buffer)
{
    xb_writer writer = xb_new_writer(buffer, NULL, 1u);

    (void)xb_put_field(&writer, XB_KEPT_LAYOUT, MARK_OCTETS, 1u);
    xb_image_write(engine, &writer);
    (void)xb_put_field(&writer, writer.crc ^ UINT32_MAX, MARK_OCTETS, 1u);
    return writer.length;
}

/* Return whether kept memory is whole and ours. */
uint8_t xb_kept_is_whole(const uint8_t *kept)
{
    xb_writer reader = xb_new_writer(NULL, kept, 1u);
    uint64_t layout = xb_put_field(&reader, 0u, MARK_OCTETS, 1u);
    uint32_t crc;

    while (reader.length < XB_KEPT_OCTETS - MARK_OCTETS) {
        (void)xb_put_field(&reader, 0u, 1u, 1u);
    }
    crc = reader.crc ^ UINT32_MAX;
    if (layout != XB_KEPT_LAYOUT || xb_put_field(&reader, 0u, MARK_OCTETS, 1u) != crc) {
        return 0u;
    }
    return 1u;
}

/* Take up kept memory; return 0 and change nothing when it is not whole or not ours. */
uint8_t xb_kept_read(xb_engine *engine, const uint8_t *kept)
{
    xb_writer reader = xb_new_writer(NULL, kept, 1u);

    if (xb_kept_is_whole(kept) == 0u) {
        return 0u;
    }
    (void)xb_put_field(&reader, 0u, MARK_OCTETS, 1u);
    xb_image_write(engine, &reader);
    return 1u;
}
