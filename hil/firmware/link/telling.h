/* Telling: what a tick put out, as records, as far as it is news and there is room.
 *
 * What is told stands before the ticks record of its tick; ticks with nothing to tell are counted
 * together in xb_work.quiet. A tick whose news finds no room is gone on with later. */
#ifndef XB_TELLING_H
#define XB_TELLING_H

#include <stdint.h>

#include "session.h"
#include "work.h"

void xb_flush_ticks(xb_work *work, xb_session *session);
uint8_t *xb_tell(xb_work *work, xb_session *session, uint32_t op, uint32_t octets);
void xb_go_on_telling(xb_work *work, xb_session *session);

#endif
