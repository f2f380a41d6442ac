/* Mode selector: short, long and held presses of up to eight buttons and their combinations.
 *
 * A press begins with the first button and ends when all are released; its combination is every
 * button that was down meanwhile. Its time counts from the last button that joined.
 *
 * - Short and long act at the release: long when that is `long` control ticks after the beginning
 *   or later. Held acts once, while still pressed, `held` ticks after the beginning; the release
 *   then does nothing. What they choose stays (latched).
 * - Switches, or buttons used like them, show their mode as long as they are on (momentary); the
 *   first of the list counts.
 * - A press longer than `stuck`, and one that is there when the ignition comes on or data return,
 *   is ignored until all buttons are released.
 * - Data of a button or switch lost: the mode goes to `on_loss` or stays, as the pairing says, and
 *   is kept after the return; lost switches count as off. Without permission presses change
 *   nothing. */
#ifndef XB_MODE_SELECTOR_H
#define XB_MODE_SELECTOR_H

#include "power.h"
#include "quantities.h"

/* How buttons are pressed. */
typedef enum { XB_PRESS_SHORT = 0, XB_PRESS_LONG = 1, XB_PRESS_HELD = 2 } xb_press;

/* What a press does to the mode; next and previous go round. */
typedef enum { XB_EFFECT_SET = 0, XB_EFFECT_NEXT = 1, XB_EFFECT_PREVIOUS = 2 } xb_effect;

/* Buttons as bits (bit 0 the first), how they are pressed, and what that does. */
typedef struct {
    int32_t mode;
    uint8_t buttons;
    uint8_t press;
    uint8_t effect;
} xb_mode_action_spec;

/* A quantity that shows `mode` while it is not 0. */
typedef struct {
    int32_t mode;
    uint16_t quantity;
} xb_mode_switch_spec;

/* Quantity indices (XB_NONE = absent); times in control ticks; modes lowest..highest.
 *
 * keep_on_loss keeps the mode when button data are lost; every_cycle begins every ignition cycle
 * with `start`. */
typedef struct {
    const uint16_t *buttons;
    const xb_mode_action_spec *actions;
    const xb_mode_switch_spec *switches;
    uint32_t button_count;
    uint32_t action_count;
    uint32_t switch_count;
    uint32_t long_;
    uint32_t held;
    uint32_t stuck;
    int32_t lowest;
    int32_t highest;
    int32_t start;
    int32_t on_loss;
    int32_t permit;
    int32_t feedback;
    int32_t unconfirmed;
    int32_t shown;
    uint16_t output;
    uint8_t keep_on_loss;
    uint8_t every_cycle;
} xb_mode_selector_spec;

void xb_mode_selector_step(const xb_mode_selector_spec *spec, xb_mode_selector_state *state,
                           const xb_store *store, const xb_power_state *power);

#endif
