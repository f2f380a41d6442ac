/* Milliseconds by SysTick; cycles by the core's own counter, or timer 2 where that stands still. */
#include "board.h"
#include "registers.h"
#include "xb_port.h"

#define SYSTICK_ON 7u /* counts core cycles, with interrupt */

void xb_on_systick(void);

static volatile uint32_t milliseconds;
static uint8_t counter_runs;

/* Count milliseconds and cycles. */
void xb_time_start(void)
{
    uint32_t before;

    XB_SYST_RVR = (xb_clock_hertz() / 1000u) - 1u;
    XB_SYST_CVR = 0u;
    XB_SYST_CSR = SYSTICK_ON;

    XB_DEMCR |= XB_DEMCR_TRCENA;
    XB_DWT_CYCCNT = 0u;
    XB_DWT_CTRL |= 1u;
    before = XB_DWT_CYCCNT;
    XB_BARRIER();
    counter_runs = XB_DWT_CYCCNT != before;

    XB_TIM2_PSC = 0u;
    XB_TIM2_ARR = 0xFFFFFFFFu;
    XB_TIM2_EGR = 1u;
    XB_TIM2_CR1 = 1u;
}

void xb_on_systick(void)
{
    milliseconds += 1u;
}

/* Return milliseconds since start, modulo 2^32. */
uint32_t xb_time_ms(void)
{
    return milliseconds;
}

/* Return the free-running count: cycles on silicon, instructions under instruction counting. */
uint32_t xb_port_cycles(void)
{
    return counter_runs != 0u ? XB_DWT_CYCCNT : XB_TIM2_CNT;
}
