/* The core's clock: crystal or internal oscillator, PLL, 168 MHz. Every wait is bounded, because an
 * oscillator may be broken, and because an emulator may never set the ready bits. */
#include "board.h"
#include "registers.h"

#ifndef XB_CRYSTAL_MHZ
#define XB_CRYSTAL_MHZ 8u
#endif
#define INTERNAL_MHZ 16u
#define FULL_HERTZ 168000000u
#define START_HERTZ 16000000u
#define WAIT_TURNS 100000u /* at least 20 ms at 16 MHz; a crystal takes 2 to 5 ms */

static uint32_t hertz = START_HERTZ;
static uint8_t emulated;

/* Wait until the masked bits of a clock register have the value; return 0 when they never do. */
static uint8_t wait_for(volatile const uint32_t *bits, uint32_t mask, uint32_t value)
{
    for (uint32_t i = 0u; i < WAIT_TURNS; i++) {
        if ((*bits & mask) == value) {
            return 1u;
        }
    }
    return 0u;
}

/* Run the core at 168 MHz: 1 MHz into the PLL, 336 MHz inside it, half of that out. */
void xb_clock_start(void)
{
    uint32_t source = XB_RCC_PLLCFGR_HSE | XB_CRYSTAL_MHZ;

    XB_RCC_APB1ENR |= XB_RCC_APB1ENR_PWR | XB_RCC_APB1ENR_CAN1 | XB_RCC_APB1ENR_TIM2;
    (void)XB_RCC_APB1ENR;
    if (XB_CAN1_MCR == 0u) {
        emulated = 1u; /* clock control is not modelled; the core runs at its full speed */
        hertz = FULL_HERTZ;
        return;
    }
    XB_PWR_CR |= XB_PWR_CR_VOS;
    XB_RCC_CR |= XB_RCC_CR_HSEON;
    if (wait_for(&XB_RCC_CR, XB_RCC_CR_HSERDY, XB_RCC_CR_HSERDY) == 0u) {
        source = INTERNAL_MHZ;
    }
    XB_RCC_PLLCFGR = source | (336u << 6) | (7u << 24);
    XB_RCC_CR |= XB_RCC_CR_PLLON;
    if (wait_for(&XB_RCC_CR, XB_RCC_CR_PLLRDY, XB_RCC_CR_PLLRDY) == 0u) {
        return;
    }
    XB_FLASH_ACR = XB_FLASH_ACR_168_MHZ;
    XB_RCC_CFGR = XB_RCC_CFGR_APB1_DIV4 | XB_RCC_CFGR_APB2_DIV2 | XB_RCC_CFGR_SW_PLL;
    if (wait_for(&XB_RCC_CFGR, XB_RCC_CFGR_SWS_MASK, XB_RCC_CFGR_SWS_PLL) != 0u) {
        hertz = FULL_HERTZ;
    }
}

/* Return the core's frequency in Hz. */
uint32_t xb_clock_hertz(void)
{
    return hertz;
}

/* Return 1 where the chip is emulated. */
uint8_t xb_clock_is_emulated(void)
{
    return emulated;
}
