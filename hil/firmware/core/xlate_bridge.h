/* The bridge on a board: the manual of the firmware core.
 *
 * The core is one engine with static memory. It has no clock, no interrupt, no heap and no port of
 * its own: the board calls it from one thread of control, once a tick, like this:
 *
 *     xb_reset(XB_RESET_POWER_ON, kept);
 *     for every tick of XB_TICK_MS milliseconds:
 *         xb_receive(&frame);         for each frame since the last tick, in order of arrival
 *         xb_tick(&inputs, &outputs); then hand over outputs.frames and set the pins
 *
 * Which car it serves stands in the generated xb_tables.c; a second pairing needs no new C. The
 * results are, tick by tick and bit by bit, those of the reference engine with the same XB_RULES.
 *
 * Ownership: every pointer is the caller's and is used only during the call. Nothing here may be
 * called from an interrupt while another call runs. Cost: every call is bounded by the pairing's
 * counts; xb_tick looks at every unit, quantity, function and message once, whatever happened.
 *
 * Caution: what passes on the bench is no approval. Work on a raised, unpowered vehicle with pump
 * and starter disarmed until the bench vectors pass. Road use needs the checks of local regulations
 * and a licensed or accredited person. */
#ifndef XLATE_BRIDGE_H
#define XLATE_BRIDGE_H

#include <stdint.h>

#include "buses.h"
#include "frames.h"
#include "xb_tables.h"

/* Why the module starts (rule 1). */
typedef enum {
    XB_RESET_POWER_ON = 0,
    XB_RESET_EXTERNAL = 1,
    XB_RESET_BROWN_OUT = 2,
    XB_RESET_WATCHDOG = 3,
    XB_RESET_COMMANDED = 4
} xb_reset_cause;

/* What a tick sees; pins in the order of the pairing.
 *
 * - supply_mv: supply in millivolt;
 * - levels: electrical, 1 = high;
 * - counts: analogue-to-digital counts 0..65535;
 * - buses: per bus what its controller tells since the previous tick, see buses.h. */
typedef struct {
    uint32_t supply_mv;
    uint16_t counts[XB_ANALOGUE_SLOTS];
    uint8_t levels[XB_LEVEL_SLOTS];
    xb_bus_input buses[XB_BUSES];
} xb_inputs;

/* What a tick does.
 *
 * - frames: per bus, frame_counts[bus] frames in order of hand-over, length 0..8;
 * - frequency in mHz 0..2147483647, duty 0..10000 (hundredths of a percent), levels electrical,
 *   1 = high, each in the order of the output pins of its kind;
 * - commands: per bus an xb_bus_command; power_hold 1 = keep the supply on. */
typedef struct {
    xb_frame frames[XB_BUSES][XB_FRAME_SLOTS];
    uint32_t frame_counts[XB_BUSES];
    uint32_t frequency[XB_FREQUENCY_SLOTS];
    uint16_t duty[XB_DUTY_SLOTS];
    uint8_t levels[XB_LEVEL_OUTPUT_SLOTS];
    uint8_t commands[XB_BUSES];
    uint8_t power_hold;
} xb_outputs;

/* Put every field to its reset value, then take up the memory that survived (rule 1). To be called
 * before anything else.
 *
 * `kept` points to XB_KEPT_OCTETS octets that xb_kept wrote before the reset, or is NULL when there
 * are none. They may hold anything: what is not whole, or of another pairing, is refused. */
void xb_reset(xb_reset_cause cause, const uint8_t *kept);

/* Take one frame that arrived since the previous tick; accept or reject it (rule 5).
 *
 * `length` is the controller's raw length code 0..15, of which 9..15 mean 8; data has 8 octets,
 * those behind the length are not looked at. A bus above 1 is ignored. */
void xb_receive(const xb_frame *frame);

/* Run one tick in the one order of rule 3 and write all of `outputs`. */
void xb_tick(const xb_inputs *inputs, xb_outputs *outputs);

/* Write the state image, XB_IMAGE_OCTETS octets, between a tick and the next frame; return its
 * length. */
uint32_t xb_image(uint8_t *buffer);

/* Write the memory that survives a reset, XB_KEPT_OCTETS octets, between ticks; return its length.
 * The board stores it where it survives what the board's supply does: memory that is not cleared at
 * start, or non-volatile memory before power_hold ends. */
uint32_t xb_kept(uint8_t *buffer);

/* Return 1 when the last tick may have changed what xb_kept writes: after a control tick of a
 * pairing that keeps something. Else storing it again is spared. */
uint8_t xb_kept_moved(void);

/* Return 1 when XB_KEPT_OCTETS octets are what xb_kept writes, whole and of this pairing, which
 * xb_reset takes up; else 0. */
uint8_t xb_kept_is_whole(const uint8_t *kept);

/* Write `count` octets of the state image from place `first` on, for a buffer that cannot hold it
 * all. */
void xb_image_part(uint8_t *buffer, uint32_t first, uint32_t count);

/* Take up a snapshot of the same pairing, between a tick and the next frame: `count` octets of an
 * image from place `first` on (rule 15). Parts are cut between fields; of a field that is cut
 * nothing is taken. Values are taken as they are: only an image that xb_image or the reference
 * wrote may be given. */
void xb_restore(const uint8_t *image, uint32_t first, uint32_t count);

/* Return the CRC-32/ISO-HDLC of the state image (rule 15). Takes far longer than a tick may leave
 * on a board: only at checkpoints. */
uint32_t xb_digest(void);

/* Return the number of the rule set. */
uint32_t xb_rules(void);

/* Return the 32 octets of the pairing digest; constant memory. */
const uint8_t *xb_pairing(void);

#endif
