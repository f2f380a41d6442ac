/* What the parts of the engine share. */
#include "interface.h"

/* Return whether a condition holds; having none always holds. */
uint8_t xb_holds(const xb_engine *engine, int32_t condition)
{
    return condition == XB_NONE || engine->conditions[condition].holds != 0u;
}
