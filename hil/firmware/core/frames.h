/* Frames: bus, identifier format, identifier, data; compared by value, time is outside. */
#ifndef XB_FRAMES_H
#define XB_FRAMES_H

#include <stdint.h>

#define XB_BUSES 2u
#define XB_BODY 0u
#define XB_ENGINE 1u
#define XB_MAX_DATA_LENGTH 8u

/* One data frame of classic CAN.
 *
 * bus 0 body, 1 engine; extended 1 = 29-bit identifier; length 0..8 octets are used. As received,
 * `length` may be the raw length code 0..15: 9..15 mean 8 (rule 6, ISO 11898-1). */
typedef struct {
    uint32_t identifier;
    uint8_t bus;
    uint8_t extended;
    uint8_t length;
    uint8_t data[XB_MAX_DATA_LENGTH];
} xb_frame;

/* What tells one message from another on the wire: 0x100 standard is not 0x100 extended. */
typedef struct {
    uint32_t identifier;
    uint8_t bus;
    uint8_t extended;
} xb_frame_key;

#endif
