/* The main loop: the link works on what arrived, then the core sleeps until an interrupt. */
#include "board.h"
#include "registers.h"
#include "xb_link.h"

int main(void)
{
    xb_clock_start();
    xb_time_start();
    xb_uart_start();
    xb_watchdog_start();
    XB_ALLOW_INTERRUPTS();
    xb_link_start(xb_restart_cause(), xb_restart_boots());
    for (;;) {
        int busy = xb_link_poll();

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
