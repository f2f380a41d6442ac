/* How much memory the link takes; a board with more may ask for more on the compiler's line.
 *
 * Both directions have XB_LINK_SLOTS packets of XB_LINK_PACKET octets. */
#ifndef XB_MEMORY_H
#define XB_MEMORY_H

#include "xb_packets.h"
#include "xb_tables.h"

#ifndef XB_LINK_PACKET
#define XB_LINK_PACKET 128u /* octets of the longest packet, header and check included */
#endif
#ifndef XB_LINK_SLOTS
#define XB_LINK_SLOTS 16u /* packets waiting in each direction; a power of two */
#endif
#ifndef XB_LINK_BURST
#define XB_LINK_BURST 32u /* ticks run before the line is looked at again */
#endif
#ifndef XB_BOARD_NAME
#define XB_BOARD_NAME "board" /* at most 16 octets */
#endif

#define XB_PAYLOAD_ROOM (XB_LINK_PACKET - XB_HEADER_OCTETS - XB_CHECK_OCTETS)
#define XB_LONGEST_RECORD 15u /* a frame of 8 octets with an extended identifier, and to spare */

/* What one tick can have to tell: every frame slot used, every pin changed. In a free run there has
 * to be room for all of it at once, in lockstep the rest waits for the host. */
#define XB_TICK_OCTETS                                                                             \
    ((2u * XB_FRAME_SLOTS * XB_LONGEST_RECORD) +                                                   \
     (XB_LEVEL_OUTPUT_SLOTS * XB_LEVEL_RECORD_OCTETS) + (XB_DUTY_SLOTS * XB_DUTY_RECORD_OCTETS) +  \
     (XB_FREQUENCY_SLOTS * XB_FREQUENCY_RECORD_OCTETS) + (2u * XB_COMMAND_RECORD_OCTETS) +         \
     XB_HOLD_RECORD_OCTETS + (2u * XB_TICKS_RECORD_OCTETS) + XB_DIGEST_RECORD_OCTETS)
#define XB_TICK_PACKETS ((XB_TICK_OCTETS / (XB_PAYLOAD_ROOM - XB_LONGEST_RECORD)) + 1u)

#if (XB_LINK_SLOTS & (XB_LINK_SLOTS - 1u)) != 0u
#error "XB_LINK_SLOTS must be a power of two"
#endif
#if XB_TICK_PACKETS + 2u > XB_LINK_SLOTS
#error "one tick of this pairing may tell more than the link can hold: raise XB_LINK_SLOTS"
#endif
#if XB_LINK_PACKET < 128u || XB_LINK_PACKET > 32768u
#error "XB_LINK_PACKET must be 128..32768"
#endif

#endif
