/* The serial port of the link: received by interrupt into a ring, sent by polling.
 *
 * - `head` is written by the interrupt only, `tail` by the main loop only; both only count up;
 * - octets in the ring = head - tail <= RING; a full ring drops what arrives and counts it;
 * - USART1 on PA9 (out) and PA10 (in), 921600 baud, 8N1. */
#include "board.h"
#include "registers.h"
#include "xb_port.h"

#define RING 2048u /* a power of two */
#define BAUD 921600u
#define ALTERNATE_7 7u
#define SEND_TURNS 20000u /* an octet takes 11 us, under 2000 cycles */

void xb_on_usart1(void);

static volatile uint8_t ring[RING];
static volatile uint32_t head;
static volatile uint32_t tail;
static volatile uint32_t overruns;
static volatile uint32_t errors;

/* Return a counter plus one, saturated. */
static uint32_t counted(uint32_t count)
{
    return count < UINT32_MAX ? count + 1u : count;
}

/* Open the serial port. */
void xb_uart_start(void)
{
    uint32_t bus_hertz = xb_clock_hertz() > 84000000u ? xb_clock_hertz() / 2u : xb_clock_hertz();

    XB_RCC_APB2ENR |= XB_RCC_APB2ENR_USART1;
    (void)XB_RCC_APB2ENR;
    XB_GPIO_PUPDR(XB_PORT_A) |= 1u << 20; /* an open input reads as idle */
    XB_GPIO_AFRH(XB_PORT_A) =
        (XB_GPIO_AFRH(XB_PORT_A) & ~0x00000FF0u) | (ALTERNATE_7 << 4) | (ALTERNATE_7 << 8);
    XB_GPIO_MODER(XB_PORT_A) = (XB_GPIO_MODER(XB_PORT_A) & ~(0xFu << 18)) | (0xAu << 18);
    XB_USART_BRR = (bus_hertz + (BAUD / 2u)) / BAUD;
    XB_USART_CR1 = XB_USART_CR1_ENABLE | XB_USART_CR1_TRANSMIT | XB_USART_CR1_RECEIVE
                   | XB_USART_CR1_RXNEIE;
    XB_NVIC_ISER(XB_USART1_INTERRUPT / 32u) = 1u << (XB_USART1_INTERRUPT % 32u);
}

/* One octet came, or was lost. Reading status, then data, clears all flags. */
void xb_on_usart1(void)
{
    uint32_t status = XB_USART_SR;
    uint8_t octet = (uint8_t)(XB_USART_DR & 0xFFu);

    if ((status & XB_USART_SR_ORE) != 0u) {
        overruns = counted(overruns);
    }
    if ((status & XB_USART_SR_ERRORS) != 0u) {
        errors = counted(errors);
    }
    if ((status & XB_USART_SR_RXNE) != 0u) {
        if (head - tail < RING) {
            ring[head % RING] = octet;
            head = head + 1u;
        } else {
            overruns = counted(overruns);
        }
    }
}

/* Return the octets waiting in the receive ring. */
uint32_t xb_uart_waiting(void)
{
    return head - tail;
}

/* Take what was received, at most `room` octets. */
uint32_t xb_port_read(uint8_t *buffer, uint32_t room)
{
    uint32_t from = tail;
    uint32_t count = head - from;

    if (count > room) {
        count = room;
    }
    for (uint32_t i = 0u; i < count; i++) {
        buffer[i] = ring[(from + i) % RING];
    }
    tail = from + count;
    return count;
}

/* Send octets. A transmitter that never gets ready costs a bounded time and is counted. */
void xb_port_write(const uint8_t *octets, uint32_t count)
{
    for (uint32_t i = 0u; i < count; i++) {
        uint32_t turns = 0u;

        while ((XB_USART_SR & XB_USART_SR_TXE) == 0u && turns < SEND_TURNS) {
            turns += 1u;
        }
        if (turns == SEND_TURNS) {
            errors = counted(errors);
        }
        XB_USART_DR = octets[i];
    }
}

/* Return how many octets were lost, saturated. */
uint32_t xb_port_overruns(void)
{
    return overruns;
}

/* Return how many octets came damaged or could not leave, saturated. */
uint32_t xb_port_errors(void)
{
    return errors;
}

/* Return how many octets the receive ring holds. */
uint32_t xb_port_ring(void)
{
    return RING;
}
