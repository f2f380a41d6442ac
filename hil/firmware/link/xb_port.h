/* What the link asks of a board: a serial line, a count of cycles, a restart.
 *
 * The board implements these; the link calls them from xb_link_start and xb_link_poll only, never
 * from an interrupt. */
#ifndef XB_PORT_H
#define XB_PORT_H

#include <stdint.h>

#include "lasting.h"

/* Take up to `room` octets that were received; return how many, 0 when there are none. */
uint32_t xb_port_read(uint8_t *buffer, uint32_t room);

/* Hand `count` octets over to the line; returns when all are handed over. */
void xb_port_write(const uint8_t *octets, uint32_t count);

/* Octets lost because the receive ring was full, since start; stays at its maximum. */
uint32_t xb_port_overruns(void);

/* Framing, noise and parity errors of the line since start; stays at its maximum. */
uint32_t xb_port_errors(void);

/* Octets the receive ring holds: the host never has more on the way. At least 512. */
uint32_t xb_port_ring(void);

/* Free-running count of instructions or cycles; 0 where there is none. */
uint32_t xb_port_cycles(void);

/* Memory for what is kept over a restart (lasting.h): the same after every restart but a power-on,
 * which may leave anything in it. */
xb_lasting *xb_port_lasting(void);

/* Restart the board as a reset does. Never returns. */
void xb_port_restart(void);

#endif
