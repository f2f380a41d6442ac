/* The pins of the pairing's outputs, and their reset state (rule 11).
 *
 * Level output n stands on the n-th place of the table below. Duty and frequency outputs stand on
 * the places behind the level outputs and are low, which is no duty and no frequency, or high for
 * an active-low one. */
#include "board.h"
#include "interface.h"
#include "registers.h"

#define OUTPUT_MODE 1u

/* A pin of the package. */
typedef struct {
    uint8_t port;
    uint8_t pin;
} xb_place;

/* Free pins of the 64-pin package, none of them the debugger's, the serial port's or a CAN's. */
static const xb_place places[] = {
    {XB_PORT_C, 0u}, {XB_PORT_C, 1u}, {XB_PORT_C, 2u},  {XB_PORT_C, 3u},  {XB_PORT_C, 4u},
    {XB_PORT_C, 5u}, {XB_PORT_C, 6u}, {XB_PORT_C, 7u},  {XB_PORT_C, 8u},  {XB_PORT_C, 9u},
    {XB_PORT_B, 0u}, {XB_PORT_B, 1u}, {XB_PORT_B, 2u},  {XB_PORT_B, 10u}, {XB_PORT_B, 11u},
    {XB_PORT_B, 14u}, {XB_PORT_B, 15u}, {XB_PORT_A, 4u}, {XB_PORT_A, 5u},  {XB_PORT_A, 6u},
    {XB_PORT_A, 7u}, {XB_PORT_A, 8u}, {XB_PORT_C, 10u}, {XB_PORT_C, 11u}, {XB_PORT_C, 12u},
};
#define PLACES (sizeof places / sizeof places[0])

/* Drive one pin: the level first, then the direction, so that it never shows the other level. */
static void drive(const xb_place *place, uint8_t high)
{
    uint32_t port = place->port;
    uint32_t pin = place->pin;

    XB_GPIO_BSRR(port) = 1u << (high != 0u ? pin : pin + 16u);
    XB_GPIO_MODER(port) =
        (XB_GPIO_MODER(port) & ~(3u << (2u * pin))) | (OUTPUT_MODE << (2u * pin));
}

/* Put every output pin into its reset state. */
void xb_outputs_to_reset_state(void)
{
    uint32_t behind = XB_LEVEL_OUTPUT_SLOTS;

    XB_RCC_AHB1ENR |= XB_RCC_AHB1ENR_PORTS;
    (void)XB_RCC_AHB1ENR; /* the clock reaches the ports two cycles later */
    for (uint32_t i = 0u; i < xb_output_pin_count; i++) {
        const xb_output_pin_spec *pin = &xb_output_pin_specs[i];
        uint32_t place = pin->place;

        if (pin->kind != (uint8_t)XB_PIN_LEVEL) {
            place = behind;
            behind += 1u;
        }
        if (place < PLACES) {
            uint8_t high = pin->kind == (uint8_t)XB_PIN_LEVEL
                               ? (uint8_t)xb_drive(pin, pin->reset_value)
                               : pin->active_high == 0u;

            drive(&places[place], high);
        }
    }
}
