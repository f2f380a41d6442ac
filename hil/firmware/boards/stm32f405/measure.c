/* Measures the core on the board: how long every xb_receive and xb_tick takes.
 *
 * The host sends a batch: its length (2 octets, little-endian, at most ROOM), then records:
 * 'F' frame: identifier (4), bus, extended, raw length code, 8 octets; answered by its time (4);
 * 'T' tick: supply in mV (4), one octet a level input, two an analogue input, four a
 *     bus (state, acknowledged, unacknowledged, errors); answered by its time (4);
 * 'I' so many (2) more ticks with the inputs of the last one; answered by the time (4) of each;
 * 'M' the same, answered by the longest (4) alone;
 * 'R' reset by command; answered by its time (4);
 * 'K' writing kept memory, as after every control tick; answered by its time (4);
 * 'D' digest (4); 'S' octets of stack used so far (4);
 * in the firmware built for profiles: 'Z' forget all profiles, answered by 0 (4); 'P' profiles: how
 *     many (4), then of each function address, calls, total, longest, own (4 each).
 * The whole batch is there before the first record runs, and interrupts are masked round what is
 * counted: nothing else is in the figures. A length of 0 or over ROOM, or an unknown record,
 * restarts the board. At the start it sends "measure", a line feed, the counts per second (4) and
 * the 32 octets of the pairing digest. */
#include "board.h"
#include "interface.h"
#include "registers.h"
#include "xb_port.h"
#include "xlate_bridge.h"

#ifdef XB_PROFILE
#include "profile.h"
#endif

#define ROOM 1536u

static uint8_t batch[ROOM];
static uint32_t place;
static uint32_t length;
static uint32_t overhead; /* what reading the counter twice takes */

/* Wait for octets; sleeps in between. */
static void take(uint8_t *buffer, uint32_t count)
{
    uint32_t taken = 0u;

    while (taken < count) {
        taken += xb_port_read(&buffer[taken], count - taken);
        XB_MASK_INTERRUPTS();
        if (taken < count && xb_uart_waiting() == 0u) {
            XB_WAIT_FOR_INTERRUPT();
        }
        XB_ALLOW_INTERRUPTS();
        xb_watchdog_look();
    }
}

static uint8_t octet(void)
{
    uint8_t value = place < length ? batch[place] : 0u;

    place += 1u;
    return value;
}

static uint32_t number(uint32_t octets)
{
    uint32_t value = 0u;

    for (uint32_t i = 0u; i < octets; i++) {
        value |= (uint32_t)octet() << (8u * i);
    }
    return value;
}

static void answer(uint32_t value)
{
    uint8_t octets[4];

    for (uint32_t i = 0u; i < 4u; i++) {
        octets[i] = (uint8_t)((value >> (8u * i)) & 0xFFu);
    }
    xb_port_write(octets, 4u);
}

/* Return the time since `before`, without that of reading the counter. */
static uint32_t since(uint32_t before)
{
    uint32_t counts = xb_port_cycles() - before;

    XB_ALLOW_INTERRUPTS();
    return counts > overhead ? counts - overhead : 0u;
}

static uint32_t run_frame(void)
{
    xb_frame frame;
    uint32_t before;

    frame.identifier = number(4u);
    frame.bus = octet();
    frame.extended = octet();
    frame.length = octet();
    for (uint32_t i = 0u; i < 8u; i++) {
        frame.data[i] = octet();
    }
    XB_MASK_INTERRUPTS();
    before = xb_port_cycles();
    xb_receive(&frame);
    return since(before);
}

static xb_inputs inputs;

/* Run one tick and return its time. */
static uint32_t time_tick(void)
{
    static xb_outputs outputs;
    uint32_t before;

    XB_MASK_INTERRUPTS();
    before = xb_port_cycles();
    xb_tick(&inputs, &outputs);
    return since(before);
}

static uint32_t run_tick(void)
{
    inputs.supply_mv = number(4u);
    for (uint32_t i = 0u; i < xb_spec.level_count; i++) {
        inputs.levels[i] = octet();
    }
    for (uint32_t i = 0u; i < xb_spec.analogue_count; i++) {
        inputs.counts[i] = (uint16_t)number(2u);
    }
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        inputs.buses[i].state = octet();
        inputs.buses[i].acknowledged = octet();
        inputs.buses[i].unacknowledged = octet();
        inputs.buses[i].errors = octet();
    }
    return time_tick();
}

/* Run ticks with the inputs as they are; return the longest time. */
static uint32_t run_idle(uint32_t ticks, uint8_t answer_each)
{
    uint32_t longest = 0u;

    for (uint32_t i = 0u; i < ticks; i++) {
        uint32_t counts = time_tick();

        longest = counts > longest ? counts : longest;
        if (answer_each != 0u) {
            answer(counts);
        }
        xb_watchdog_look();
    }
    return longest;
}

static uint32_t run_reset(void)
{
    uint32_t before;

    XB_MASK_INTERRUPTS();
    before = xb_port_cycles();
    xb_reset(XB_RESET_COMMANDED, NULL);
    return since(before);
}

static uint32_t run_keep(void)
{
    static uint8_t kept[XB_KEPT_OCTETS];
    uint32_t before;

    XB_MASK_INTERRUPTS();
    before = xb_port_cycles();
    (void)xb_kept(kept);
    return since(before);
}

#ifdef XB_PROFILE
static void answer_profiles(void)
{
    uint32_t count = xb_profile_rows();

    answer(count);
    for (uint32_t i = 0u; i < count; i++) {
        for (uint32_t k = 0u; k < XB_PROFILE_NUMBERS; k++) {
            answer(xb_profile_row_at(i)[k]);
        }
    }
}
#endif

static void run_record(void)
{
    switch (octet()) {
    case 'F':
        answer(run_frame());
        break;
    case 'T':
        answer(run_tick());
        break;
    case 'I':
        (void)run_idle(number(2u), 1u);
        break;
    case 'M':
        answer(run_idle(number(2u), 0u));
        break;
    case 'R':
        answer(run_reset());
        break;
    case 'K':
        answer(run_keep());
        break;
    case 'D':
        answer(xb_digest());
        break;
    case 'S':
        answer(xb_stack_used());
        break;
#ifdef XB_PROFILE
    case 'Z':
        xb_profile_clear();
        answer(0u);
        break;
    case 'P':
        answer_profiles();
        break;
#endif
    default:
        xb_port_restart();
        break;
    }
}

int main(void)
{
    static const uint8_t banner[] = {'m', 'e', 'a', 's', 'u', 'r', 'e', '\n'};
    uint32_t before;

    xb_clock_start();
    xb_time_start();
    xb_uart_start();
    xb_watchdog_start();
#ifdef XB_PROFILE
    xb_profile_start();
#endif
    xb_reset(XB_RESET_POWER_ON, NULL);
    before = xb_port_cycles();
    overhead = xb_port_cycles() - before;
    XB_ALLOW_INTERRUPTS();
    xb_port_write(banner, sizeof banner);
    answer(xb_clock_hertz());
    xb_port_write(xb_pairing(), 32u);
    for (;;) {
        uint8_t head[2];

        take(head, 2u);
        length = (uint32_t)head[0] | ((uint32_t)head[1] << 8);
        if (length == 0u || length > ROOM) {
            xb_port_restart();
        }
        take(batch, length);
        place = 0u;
        while (place < length) {
            run_record();
        }
    }
}
