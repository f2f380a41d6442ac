/* Lamp panel: warning lamps with bulb check, delays, and on when their data is lost.
 *
 * Rule 11: a lamp whose data is lost is lit at once, unless the pairing says otherwise with a
 * reason. With the ignition off every lamp is dark. All lamps of a panel share the bulb check, which
 * starts whenever the ignition comes on, and the time after the start in which an oil pressure may
 * build up. */
#ifndef XB_LAMPS_H
#define XB_LAMPS_H

#include "power.h"
#include "quantities.h"

/* What a lamp does with the ignition on before the engine runs. */
typedef enum {
    XB_LAMP_JUDGED = 0, /* its causes count, as they do while the engine runs */
    XB_LAMP_LIT = 1,
    XB_LAMP_DARK = 2
} xb_lamp_standing;

/* One cause, in steps: begins at or above `on`, ends at or below `off`. With `on` less than `off`
 * it is the other way round: at or below `on`, at or above `off`. */
typedef struct {
    int32_t on;
    int32_t off;
    uint16_t quantity;
} xb_lamp_cause_spec;

/* One lamp, 0/1 to output: 1 to 8 causes, delays in control ticks. */
typedef struct {
    const xb_lamp_cause_spec *causes;
    uint32_t cause_count;
    uint32_t on_delay;
    uint32_t off_delay;
    uint16_t output;
    uint8_t standing;
    uint8_t in_bulb_check;
    uint8_t lit_on_loss;
} xb_lamp_spec;

/* Lamps, and times in control ticks. `first_lamp` is the place of its first lamp among the lamps
 * of all panels. */
typedef struct {
    const xb_lamp_spec *lamps;
    uint32_t lamp_count;
    uint32_t first_lamp;
    uint32_t bulb_check;
    uint32_t after_start;
} xb_lamp_panel_spec;

void xb_lamp_panel_step(const xb_lamp_panel_spec *spec, xb_lamp_panel_state *state,
                        xb_lamp_state *lamps, const xb_store *store, const xb_power_state *power);

#endif
