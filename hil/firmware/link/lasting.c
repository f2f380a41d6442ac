/* Kept memory over a restart of the board: two copies in memory that no start clears. */
#include "lasting.h"

#include "xlate_bridge.h"

/* Return the number of the newer copy, whatever stands in its place. */
static uint8_t newer_of(const xb_lasting *lasting)
{
    return lasting->newer & 1u;
}

/* Store the core's kept memory over the older copy. */
void xb_lasting_store(xb_lasting *lasting)
{
    uint8_t older = newer_of(lasting) ^ 1u;

    (void)xb_kept(lasting->copies[older]);
    lasting->newer = older;
}

/* Return the newest copy that is whole; without one the newer, which xb_reset refuses. */
const uint8_t *xb_lasting_find(const xb_lasting *lasting)
{
    const uint8_t *newer = lasting->copies[newer_of(lasting)];
    const uint8_t *older = lasting->copies[newer_of(lasting) ^ 1u];

    return (xb_kept_is_whole(newer) == 0u && xb_kept_is_whole(older) != 0u) ? older : newer;
}
