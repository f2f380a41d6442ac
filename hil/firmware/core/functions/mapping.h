/* Plain mapping: words of one side to words of the other by table, or a straight line.
 *
 * The output carries the status of its input (rule 8). */
#ifndef XB_MAPPING_H
#define XB_MAPPING_H

#include "arithmetic.h"
#include "quantities.h"

/* Table of (input, output) pairs, `otherwise` for the rest; without table (a*x + b) / d. */
typedef struct {
    const xb_point *table;
    uint32_t table_count;
    int64_t a;
    int64_t b;
    int64_t d;
    int32_t otherwise;
    int32_t on_loss;
    uint16_t input;
    uint16_t output;
} xb_mapping_spec;

void xb_mapping_step(const xb_mapping_spec *spec, xb_mapping_state *state, const xb_store *store);

#endif
