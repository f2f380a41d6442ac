/* Cruise buttons: one code of a resistor ladder or of the bus, single contacts, or both.
 *
 * What the engine controller gets is the button that counts, or "cancel". Cancel dominates: the
 * button itself, brake, clutch, stability control, speed outside its window, or any of these data
 * lost.
 *
 * - A button counts when it is seen unchanged for the debounce time: seen first in control tick t,
 *   in t + debounce.
 * - One that is held for the stuck time, or is pressed already when the ignition comes on, is
 *   ignored until it is released. Only a stuck cancel goes on cancelling.
 * - Resume needs a speed that was set since the system was switched on. */
#ifndef XB_CRUISE_BUTTONS_H
#define XB_CRUISE_BUTTONS_H

#include "power.h"
#include "quantities.h"

/* The buttons; published as the request to the engine controller. */
typedef enum {
    XB_BUTTON_NONE = 0,
    XB_BUTTON_ON_OFF = 1,
    XB_BUTTON_SET = 2,
    XB_BUTTON_RESUME = 3,
    XB_BUTTON_CANCEL = 4
} xb_cruise_button;

typedef enum { XB_CRUISE_OFF = 0, XB_CRUISE_STANDBY = 1, XB_CRUISE_ACTIVE = 2 } xb_cruise_status;

/* A value of the code, or a contact's quantity, and the button it means. */
typedef struct {
    int32_t given;
    uint8_t button;
} xb_button_code_spec;

/* Quantity indices (XB_NONE = absent); times in control ticks; speeds in steps of the speed.
 *
 * `cancels` are quantities that cancel while they are not 0; `needed` are all whose loss
 * cancels. */
typedef struct {
    const xb_button_code_spec *codes;
    const xb_button_code_spec *contacts;
    const uint16_t *cancels;
    const uint16_t *needed;
    uint32_t code_count;
    uint32_t contact_count;
    uint32_t cancel_count;
    uint32_t needed_count;
    uint32_t debounce;
    uint32_t stuck;
    uint32_t feedback_after;
    int32_t code;
    int32_t speed_low;
    int32_t speed_high;
    int32_t feedback;
    int32_t status_output;
    uint16_t speed;
    uint16_t request;
} xb_cruise_buttons_spec;

void xb_cruise_buttons_step(const xb_cruise_buttons_spec *spec, xb_cruise_buttons_state *state,
                            const xb_store *store, const xb_power_state *power);

#endif
