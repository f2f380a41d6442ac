/* Times every function of the core, in the measuring firmware that is built for it.
 *
 * The compiler calls the two functions below at the start and the end of every function of the
 * core. What they take themselves is kept out: `lost` collects it, and what lies between their
 * readings of the counter and the function is measured once at the start. Interrupts are masked
 * all the while, and the core has no recursion. */
#include "profile.h"

#include "xb_port.h"

#define FUNCTIONS 256u
#define DEPTH 24u
#define SILENT __attribute__((no_instrument_function))

/* One function: calls, the sum of its time with all it calls, the longest, and its own part. */
typedef struct {
    uint32_t function;
    uint32_t calls;
    uint32_t total;
    uint32_t longest;
    uint32_t own;
} xb_profile_row;

/* A call that is not over. */
typedef struct {
    uint32_t row;
    uint32_t start;
    uint32_t lost;
    uint32_t below; /* time of what it called */
} xb_profile_call;

void __cyg_profile_func_enter(void *function, void *caller) SILENT;
void __cyg_profile_func_exit(void *function, void *caller) SILENT;

static xb_profile_row rows[FUNCTIONS];
static xb_profile_call calls[DEPTH];
static uint32_t used;
static uint32_t depth;
static uint32_t lost;
static uint32_t edge;  /* counts of one pair of calls outside its readings */
static uint32_t inner; /* the part of them that lies inside the function */

/* Return the row of a function, a new one where it has none. */
SILENT static uint32_t row_of(uint32_t function)
{
    uint32_t row = 0u;

    while (row < used && rows[row].function != function) {
        row++;
    }
    if (row == used && used < FUNCTIONS - 1u) {
        rows[row].function = function;
        used += 1u;
    }
    return row;
}

void __cyg_profile_func_enter(void *function, void *caller)
{
    uint32_t first = xb_port_cycles();

    (void)caller;
    if (depth < DEPTH) {
        calls[depth].row = row_of((uint32_t)(uintptr_t)function);
        calls[depth].below = 0u;
    }
    depth += 1u;
    if (depth <= DEPTH) {
        uint32_t last = xb_port_cycles();

        lost += last - first;
        calls[depth - 1u].lost = lost;
        calls[depth - 1u].start = last;
    }
}

void __cyg_profile_func_exit(void *function, void *caller)
{
    uint32_t first = xb_port_cycles();

    (void)function;
    (void)caller;
    depth -= 1u;
    if (depth < DEPTH) {
        xb_profile_row *row = &rows[calls[depth].row];
        uint32_t taken = first - calls[depth].start - (lost - calls[depth].lost);

        taken = taken > inner ? taken - inner : 0u;

        row->calls += 1u;
        row->total += taken;
        row->own += taken - calls[depth].below;
        row->longest = taken > row->longest ? taken : row->longest;
        if (depth > 0u) {
            calls[depth - 1u].below += taken;
        }
    }
    lost += (xb_port_cycles() - first) + edge;
}

/* Measure what a pair of calls takes outside its own readings. */
void xb_profile_start(void)
{
    uint32_t before = xb_port_cycles();
    uint32_t empty = xb_port_cycles() - before;
    uint32_t lost_before = lost;
    uint32_t whole;

    before = xb_port_cycles();
    __cyg_profile_func_enter((void *)0, (void *)0);
    __cyg_profile_func_exit((void *)0, (void *)0);
    whole = xb_port_cycles() - before;
    edge = whole - empty - (lost - lost_before);
    inner = rows[0].total;
    xb_profile_clear();
}

/* Forget all rows. */
void xb_profile_clear(void)
{
    used = 0u;
    for (uint32_t i = 0u; i < FUNCTIONS; i++) {
        rows[i] = (xb_profile_row){0u, 0u, 0u, 0u, 0u};
    }
}

/* Return how many rows there are. */
uint32_t xb_profile_rows(void)
{
    return used;
}

/* Return a row as five numbers: function, calls, total, longest, own. */
const uint32_t *xb_profile_row_at(uint32_t row)
{
    return &rows[row].function;
}
