/* From reset to main: outputs first, then memory; and the vector table. */
#include "board.h"
#include "registers.h"

#define STACK_PAINT 0xA5A5A5A5u
#define GUARD_WORDS 8u
#define FRAME_MARGIN 64u /* octets of our own frame that are not painted over */

/* Places the linker script gives. */
extern uint32_t xb_stack_low[];
extern uint32_t xb_stack_high[];
extern uint32_t xb_data_low[];
extern uint32_t xb_data_high[];
extern const uint32_t xb_data_load[];
extern uint32_t xb_bss_low[];
extern uint32_t xb_bss_high[];

typedef void (*xb_handler)(void);

/* What the core finds at address 0: the stack's top, then handlers 1 to 15 and the interrupts. */
typedef struct {
    uint32_t *stack;
    xb_handler core[15];
    xb_handler interrupts[82];
} xb_vector_table;

void xb_start(void);
void xb_on_fault(void);
void xb_on_systick(void);
void xb_on_usart1(void);

/* Paint the stack below us, so that what was used can be seen. */
static void paint_stack(void)
{
    volatile uint32_t here = 0u;
    uint32_t room = (uint32_t)(uintptr_t)&here - (uint32_t)(uintptr_t)xb_stack_low;

    for (uint32_t i = here; i < (room - FRAME_MARGIN) / 4u; i++) {
        xb_stack_low[i] = STACK_PAINT;
    }
}

/* Give static memory its first values. */
static void fill_memory(void)
{
    uint32_t first = ((uint32_t)(uintptr_t)xb_data_high - (uint32_t)(uintptr_t)xb_data_low) / 4u;
    uint32_t empty = ((uint32_t)(uintptr_t)xb_bss_high - (uint32_t)(uintptr_t)xb_bss_low) / 4u;

    for (uint32_t i = 0u; i < first; i++) {
        xb_data_low[i] = xb_data_load[i];
    }
    for (uint32_t i = 0u; i < empty; i++) {
        xb_bss_low[i] = 0u;
    }
}

/* The first instruction after reset. */
void xb_start(void)
{
    xb_outputs_to_reset_state();
    paint_stack();
    fill_memory();
    xb_restart_look();
    (void)main();
    xb_restart_after_fault(); /* main never returns */
}

/* Any fault and any interrupt nobody asked for: outputs to their reset state, then restart. */
void xb_on_fault(void)
{
    XB_MASK_INTERRUPTS();
    xb_outputs_to_reset_state();
    xb_restart_after_fault();
}

/* Return the octets of stack used so far. */
uint32_t xb_stack_used(void)
{
    uint32_t octets = (uint32_t)(uintptr_t)xb_stack_high - (uint32_t)(uintptr_t)xb_stack_low;
    uint32_t whole = 0u;

    while (whole < octets / 4u && xb_stack_low[whole] == STACK_PAINT) {
        whole++;
    }
    return octets - (4u * whole);
}

/* Return 1 while the words at the stack's end are still painted. */
uint8_t xb_stack_is_whole(void)
{
    for (uint32_t i = 0u; i < GUARD_WORDS; i++) {
        if (xb_stack_low[i] != STACK_PAINT) {
            return 0u;
        }
    }
    return 1u;
}

#define XB_FAULT_4 xb_on_fault, xb_on_fault, xb_on_fault, xb_on_fault
#define XB_FAULT_16 XB_FAULT_4, XB_FAULT_4, XB_FAULT_4, XB_FAULT_4

/* Interrupt 37 is USART1. */
const xb_vector_table xb_vectors __attribute__((section(".vectors"), used)) = {
    xb_stack_high,
    {xb_start, XB_FAULT_4, XB_FAULT_4, XB_FAULT_4, xb_on_fault, xb_on_systick},
    {XB_FAULT_16, XB_FAULT_16, XB_FAULT_4, xb_on_fault, xb_on_usart1, XB_FAULT_16, XB_FAULT_16,
     XB_FAULT_4, XB_FAULT_4, XB_FAULT_4},
};
