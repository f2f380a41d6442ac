/* The link: the core behind a serial line, as hil/PROTOCOL.md says byte for byte.
 *
 * The board's main loop is
 *
 *     xb_link_start(reset_cause, boots);
 *     for (;;) {
 *         if (xb_link_poll() == 0) {
 *             sleep until an octet or a tick arrives
 *         }
 *     }
 *
 * All memory is static; nothing here may be called from an interrupt. Whatever arrives on the line
 * is counted or answered, never trusted. */
#ifndef XB_LINK_H
#define XB_LINK_H

#include <stdint.h>

/* Start the link and the core, and send the boot banner.
 *
 * reset_cause is an xb_reset_cause; boots counts the starts of this board, from 1 on, as far as it
 * can remember them. After any cause but power-on the core takes up what xb_port_lasting holds. */
void xb_link_start(uint32_t reset_cause, uint32_t boots);

/* Work on what arrived and on what was asked for, for a bounded time (XB_LINK_BURST ticks at most).
 * Returns 1 when it did something, 0 when there was nothing to do and the board may sleep. */
int xb_link_poll(void);

/* One tick of the board's own clock has passed. To be called once every XB_TICK_MS milliseconds,
 * from the main loop: it runs a tick in a free run and does nothing in lockstep. A board that never
 * calls it has no free run. */
void xb_link_clock(void);

/* Return 1 while a free run goes on, else 0: a board that can do so sleeps longer without one. */
int xb_link_in_free_run(void);

#endif
