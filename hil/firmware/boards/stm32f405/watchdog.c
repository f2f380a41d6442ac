/* The independent watchdog: 2 s by its own oscillator, kicked only by a healthy main loop. */
#include "board.h"
#include "registers.h"

#define PRESCALER_64 4u
#define RELOAD 1000u /* 32 kHz / 64 = 500 Hz, so 2 s; the oscillator is good to +-50 % */

static uint32_t last_ms;

/* Start the watchdog. */
void xb_watchdog_start(void)
{
    last_ms = xb_time_ms();
    XB_IWDG_KR = XB_IWDG_KEY_START;
    XB_IWDG_KR = XB_IWDG_KEY_WRITE;
    XB_IWDG_PR = PRESCALER_64;
    XB_IWDG_RLR = RELOAD;
    XB_IWDG_KR = XB_IWDG_KEY_KICK;
}

/* Kick the watchdog, if the stack is whole and the time has moved on since the last kick. */
void xb_watchdog_look(void)
{
    uint32_t now = xb_time_ms();

    if (now != last_ms && xb_stack_is_whole() != 0u) {
        last_ms = now;
        XB_IWDG_KR = XB_IWDG_KEY_KICK;
    }
}
