/* The main loop: the link works on what arrived, then the core sleeps until an interrupt. In a free
 * run the ticks are SysTick's. */
#include "board.h"
#include "registers.h"
#include "xb_link.h"
#include "xlate_bridge.h"

/* Run a tick when one is due, at most one a turn of the main loop: a core that cannot keep up falls
 * behind its clock, but goes on listening. Outside a free run no tick is ever due. */
static void run_by_clock(uint32_t *told_ms)
{
    uint32_t now = xb_time_ms();

    if (xb_link_in_free_run() == 0) {
        *told_ms = now;
    } else if ((now - *told_ms) >= XB_TICK_MS) {
        *told_ms += XB_TICK_MS;
        xb_link_clock();
    } else {
        /* the next tick is not due yet */
    }
}

int main(void)
{
    uint32_t told_ms = 0u;

    xb_clock_start();
    xb_time_start();
    xb_uart_start();
    xb_watchdog_start();
    XB_ALLOW_INTERRUPTS();
    xb_link_start(xb_restart_cause(), xb_restart_boots());
    for (;;) {
        int busy = xb_link_poll();

        run_by_clock(&told_ms);
        xb_watchdog_look();
        if (busy == 0) {
            /* Masked, so that an octet cannot arrive between the look and the sleep: a pending
             * interrupt ends the sleep even so. */
            XB_MASK_INTERRUPTS();
            if (xb_uart_waiting() == 0u) {
                XB_WAIT_FOR_INTERRUPT();
            }
            XB_ALLOW_INTERRUPTS();
        }
    }
}
