/* Times of the core's functions; see profile.c. */
#ifndef XB_PROFILE_H
#define XB_PROFILE_H

#include <stdint.h>

#define XB_PROFILE_NUMBERS 5u /* in a row */

void xb_profile_start(void);
void xb_profile_clear(void);
uint32_t xb_profile_rows(void);
const uint32_t *xb_profile_row_at(uint32_t row);

#endif
