/* The parts of the board STM32F405, in the order in which they come to life.
 *
 * One thread of control (main) and two interrupts: SysTick counts milliseconds, USART1 fills the
 * receive ring. The link (xb_port.h) is the only way in and out; the pins of the pairing's outputs
 * stay in their reset state, since on the bench a tick is a number the host sends. */
#ifndef XB_BOARD_H
#define XB_BOARD_H

#include <stdint.h>

/* Put every output pin into its reset state. Needs no memory but stack: runs before all else. */
void xb_outputs_to_reset_state(void);

/* Run the core at 168 MHz. Every wait is bounded; without a crystal the internal oscillator feeds
 * the PLL (1 %), and without a PLL the board stays at 16 MHz. */
void xb_clock_start(void);

/* Return the core's frequency in Hz: 168000000, or 16000000 when the PLL never locked. */
uint32_t xb_clock_hertz(void);

/* Return 1 where the chip is emulated, by a register that only silicon has. */
uint8_t xb_clock_is_emulated(void);

/* Count milliseconds by SysTick, and cycles by the core's counter or timer 2. */
void xb_time_start(void);

/* Return milliseconds since start, modulo 2^32. */
uint32_t xb_time_ms(void);

/* Open the serial port at 921600 baud, 8 data bits, no parity, 1 stop bit, with interrupts. */
void xb_uart_start(void);

/* Return the octets waiting in the receive ring; safe while interrupts are masked. */
uint32_t xb_uart_waiting(void);

/* Start the watchdog; from then on it wants xb_watchdog_look every 2 s. It cannot be stopped. */
void xb_watchdog_start(void);

/* Kick the watchdog, if the stack's guard is whole and SysTick has moved since the last kick. To
 * be called once a turn of the main loop. */
void xb_watchdog_look(void);

/* Work out why the module started, and count the start; once, after .bss is clear. */
void xb_restart_look(void);

/* Return the reset cause, an xb_reset_cause. */
uint32_t xb_restart_cause(void);

/* Return the starts since the supply came on, 1 for the first; saturating. */
uint32_t xb_restart_boots(void);

/* Restart by software after a fault; the next start reports the watchdog as its cause. */
void xb_restart_after_fault(void);

/* Return the octets of stack used so far, by the paint that is gone. */
uint32_t xb_stack_used(void);

/* Return 1 while the words at the stack's end are still painted. */
uint8_t xb_stack_is_whole(void);

int main(void);

#endif
