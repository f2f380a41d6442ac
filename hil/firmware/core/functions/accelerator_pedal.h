/* Accelerator pedal: two tracks to one request, limp on one track, brake override.
 *
 * The request is 0 (released) up to the range of the output, in the steps the two tracks share.
 * With both tracks good the lower one counts, so a drifting track never asks for more than the
 * other.
 *
 * - One track alone: limp. The request is limited and rises slowly; it falls at once.
 * - Both tracks good but too far apart for a set time: released, or limp on the lower one, as the
 *   pairing says with its reason. They must agree for a set time before that ends.
 * - Both tracks lost: released (rule 11). Ignition off: released.
 * - Brake with more than a set pedal for a set time: idle until the pedal is nearly released,
 *   whatever the brake does. Lost brake data count as pressed or as released, as the pairing says.
 *
 * After limp, loss and reset the request rises slowly until it has caught up with the pedal. A time
 * seen to begin in control tick t is over in control tick t + time. */
#ifndef XB_ACCELERATOR_PEDAL_H
#define XB_ACCELERATOR_PEDAL_H

#include "arithmetic.h"
#include "power.h"
#include "quantities.h"

/* What the request comes from; published to mode_output. */
typedef enum {
    XB_PEDAL_NORMAL = 0,
    XB_PEDAL_LIMP = 1,
    XB_PEDAL_DISAGREEMENT = 2,
    XB_PEDAL_LOST = 3,
    XB_PEDAL_OVERRIDDEN = 4,
    XB_PEDAL_OFF = 5
} xb_pedal_mode;

/* An output track of its own slope: a curve from steps of the request to steps of `output`. */
typedef struct {
    xb_curve curve;
    uint16_t output;
} xb_pedal_track_spec;

/* Quantity indices (XB_NONE = absent); positions in steps of the tracks; times in control ticks.
 *
 * `tolerance` is a curve from track 1 to the largest allowed distance of the tracks. `rise` is in
 * steps per second. lower_when_apart and brake_lost_pressed are the choices of the pairing. */
typedef struct {
    xb_curve tolerance;
    const xb_pedal_track_spec *tracks;
    uint32_t track_count;
    uint32_t disagreement;
    uint32_t agreement;
    uint32_t rise;
    uint32_t elapsed_ms;
    uint32_t override_after;
    int32_t limp_limit;
    int32_t override_above;
    int32_t override_below;
    int32_t brake;
    int32_t mode_output;
    uint16_t track_1;
    uint16_t track_2;
    uint16_t output;
    uint8_t lower_when_apart;
    uint8_t brake_releases_limp;
    uint8_t brake_lost_pressed;
} xb_accelerator_pedal_spec;

void xb_accelerator_pedal_step(const xb_accelerator_pedal_spec *spec,
                               xb_accelerator_pedal_state *state, const xb_store *store,
                               const xb_power_state *power);

#endif
