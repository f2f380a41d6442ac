/* Why the module started, how often, and restarting it on purpose.
 *
 * A few words of memory that nothing clears survive a warm reset; a check word tells them from the
 * noise after power-on. What software did stands there, what the hardware did in RCC_CSR.
 *
 * The module's kept memory lies beside them. The SRAM holds its contents over a reset by software,
 * by the watchdog and by the pin. After a power-on it is noise and not looked at; after a dip of the
 * supply (brown-out), and after the firmware was replaced, its seal says whether it is whole. To
 * last over a power-on it would have to lie in the backup SRAM, with a battery at VBAT; the emulator
 * has none, so that is left. */
#include "board.h"
#include "registers.h"
#include "xb_port.h"
#include "xlate_bridge.h"

#define CHECK 0x58423035u
#define MARK_NONE 0u
#define MARK_COMMANDED 0x434F4D44u
#define MARK_FAULT 0x4641554Cu

/* The memory that survives: starts, their check, and who asked for the restart. */
typedef struct {
    uint32_t boots;
    uint32_t check; /* boots ^ CHECK */
    uint32_t mark;
} xb_survivor;

static xb_survivor survivor __attribute__((section(".noinit")));
static xb_lasting lasting __attribute__((section(".noinit")));
static uint32_t cause;

/* Return the reset cause from what the hardware says and whether memory survived. */
static xb_reset_cause hardware_cause(uint32_t flags, uint8_t survived)
{
    if ((flags & (XB_RCC_CSR_IWDG | XB_RCC_CSR_WWDG)) != 0u) {
        return XB_RESET_WATCHDOG;
    }
    if ((flags & XB_RCC_CSR_POR) != 0u || survived == 0u) {
        return XB_RESET_POWER_ON;
    }
    if ((flags & XB_RCC_CSR_BOR) != 0u) {
        return XB_RESET_BROWN_OUT;
    }
    return XB_RESET_EXTERNAL;
}

/* Work out why the module started, and count the start. */
void xb_restart_look(void)
{
    uint32_t flags = XB_RCC_CSR;
    uint8_t survived = survivor.check == (survivor.boots ^ CHECK);

    if (survived != 0u && survivor.mark == MARK_COMMANDED) {
        cause = (uint32_t)XB_RESET_COMMANDED;
    } else if (survived != 0u && survivor.mark == MARK_FAULT) {
        cause = (uint32_t)XB_RESET_WATCHDOG;
    } else {
        cause = (uint32_t)hardware_cause(flags, survived);
    }
    if (survived == 0u || cause == (uint32_t)XB_RESET_POWER_ON) {
        survivor.boots = 0u;
    }
    if (survivor.boots < UINT32_MAX) {
        survivor.boots += 1u;
    }
    survivor.check = survivor.boots ^ CHECK;
    survivor.mark = MARK_NONE;
    XB_RCC_CSR |= XB_RCC_CSR_RMVF;
}

/* Return the reset cause. */
uint32_t xb_restart_cause(void)
{
    return cause;
}

/* Return the starts since the supply came on. */
uint32_t xb_restart_boots(void)
{
    return survivor.boots;
}

/* Return the memory that survives every restart but a power-on. */
xb_lasting *xb_port_lasting(void)
{
    return &lasting;
}

/* Restart the core; whatever happens, it does not come back from here. */
static void restart(uint32_t mark)
{
    survivor.mark = mark;
    XB_BARRIER();
    XB_SCB_AIRCR = XB_SCB_AIRCR_RESET;
    XB_BARRIER();
    for (;;) {
        /* the reset takes a few cycles; if it never came, the watchdog would */
    }
}

/* Restart by software after a fault. */
void xb_restart_after_fault(void)
{
    restart(MARK_FAULT);
}

/* Restart because the host asked for it. */
void xb_port_restart(void)
{
    restart(MARK_COMMANDED);
}
