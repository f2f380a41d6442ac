/* The board `native`: the core and the link as a process on TCP.
 *
 *     xlate_native [PORT]
 *
 * listens on 127.0.0.1 (port 0 or none: a free one), prints `port N` and serves one connection
 * after the other; each begins with a power-on, as a board does when it is plugged in. Kept memory
 * lasts over the host's restart, in the memory of this process; no file holds it. In a free run the
 * clock is this machine's. It ends when its standard input is closed, so that it never outlives
 * whoever started it. */
#define _POSIX_C_SOURCE 200112L
#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "xb_link.h"
#include "xb_port.h"
#include "xlate_bridge.h"

#ifndef NATIVE_RING
#define NATIVE_RING 65536u
#endif
#define OUT_ROOM 65536u
#define NANOSECONDS 1000000000LL

static int line = -1;
static uint8_t in[NATIVE_RING];
static size_t in_length;
static size_t in_at;
static uint8_t out[OUT_ROOM];
static size_t out_length;
static int gone; /* the host has closed the connection */
static jmp_buf restart;

/* Send everything that was written. */
static void flush(void)
{
    size_t sent = 0u;

    while (sent < out_length && gone == 0) {
        ssize_t done = send(line, &out[sent], out_length - sent, MSG_NOSIGNAL);

        if (done > 0) {
            sent += (size_t)done;
        } else if (done < 0 && errno == EINTR) {
            continue;
        } else {
            gone = 1;
        }
    }
    out_length = 0u;
}

uint32_t xb_port_read(uint8_t *buffer, uint32_t room)
{
    uint32_t count = 0u;

    if (in_at == in_length && gone == 0) {
        ssize_t got = recv(line, in, sizeof in, MSG_DONTWAIT);

        in_at = 0u;
        in_length = (got > 0) ? (size_t)got : 0u;
        if (got == 0 || (got < 0 && errno != EAGAIN && errno != EWOULDBLOCK && errno != EINTR)) {
            gone = 1;
        }
    }
    while (count < room && in_at < in_length) {
        buffer[count] = in[in_at];
        count++;
        in_at++;
    }
    return count;
}

void xb_port_write(const uint8_t *octets, uint32_t count)
{
    for (uint32_t i = 0u; i < count; i++) {
        out[out_length] = octets[i];
        out_length++;
        if (out_length == OUT_ROOM) {
            flush();
        }
    }
}

uint32_t xb_port_overruns(void)
{
    return 0u; /* TCP keeps what does not fit */
}

uint32_t xb_port_errors(void)
{
    return 0u;
}

uint32_t xb_port_ring(void)
{
    return NATIVE_RING;
}

uint32_t xb_port_cycles(void)
{
    return 0u;
}

xb_lasting *xb_port_lasting(void)
{
    static xb_lasting lasting;

    return &lasting;
}

void xb_port_restart(void)
{
    flush();
    longjmp(restart, 1);
}

/* Nanoseconds of a clock that only goes forward. */
static long long now(void)
{
    struct timespec time;

    (void)clock_gettime(CLOCK_MONOTONIC, &time);
    return ((long long)time.tv_sec * NANOSECONDS) + time.tv_nsec;
}

/* Sleep until an octet, in a free run the next tick, or the end of standard input. */
static void wait_for(long long until)
{
    struct pollfd waits[2] = {{.fd = line, .events = POLLIN}, {.fd = STDIN_FILENO, .events = 0}};
    long long left = until - now();
    int milliseconds = (left > 0) ? (int)(left / 1000000) : 0;

    if (xb_link_in_free_run() == 0) {
        milliseconds = -1;
    }

    if (poll(waits, 2u, milliseconds) > 0 && (waits[1].revents & (POLLHUP | POLLERR)) != 0) {
        exit(0);
    }
}

/* Be a board until the host goes. */
static void serve(volatile uint32_t *boots)
{
    const long long tick = (long long)XB_TICK_MS * 1000000;
    long long next;

    in_at = in_length = out_length = 0u;
    gone = 0;
    if (setjmp(restart) == 0) {
        *boots += 1u;
        xb_link_start((uint32_t)XB_RESET_POWER_ON, *boots);
    } else {
        *boots += 1u;
        xb_link_start((uint32_t)XB_RESET_COMMANDED, *boots);
    }
    next = now() + tick;
    while (gone == 0) {
        int busy = xb_link_poll();

        if (xb_link_in_free_run() == 0) {
            next = now() + tick;
        }
        while (now() >= next) {
            xb_link_clock();
            next += tick;
        }
        if (busy == 0) {
            flush();
            wait_for(next);
        }
    }
}

/* Listen, print the port, serve. */
int main(int argc, char **argv)
{
    static volatile uint32_t boots;
    struct sockaddr_in address;
    socklen_t length = sizeof address;
    int yes = 1;
    int listener = socket(AF_INET, SOCK_STREAM, 0);

    memset(&address, 0, sizeof address);
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    address.sin_port = htons((uint16_t)((argc > 1) ? strtoul(argv[1], NULL, 10) : 0u));
    if (listener < 0 || setsockopt(listener, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) != 0 ||
        bind(listener, (struct sockaddr *)&address, sizeof address) != 0 ||
        listen(listener, 1) != 0 ||
        getsockname(listener, (struct sockaddr *)&address, &length) != 0) {
        perror("xlate_native");
        return 1;
    }
    printf("port %u\n", (unsigned)ntohs(address.sin_port));
    (void)fflush(stdout);
    for (;;) {
        struct pollfd waits[2] = {{.fd = listener, .events = POLLIN},
                                  {.fd = STDIN_FILENO, .events = 0}};

        if (poll(waits, 2u, -1) > 0 && (waits[1].revents & (POLLHUP | POLLERR)) != 0) {
            return 0;
        }
        if ((waits[0].revents & POLLIN) == 0) {
            continue;
        }
        line = accept(listener, NULL, NULL);
        if (line < 0) {
            continue;
        }
        (void)setsockopt(line, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
        serve(&boots);
        (void)close(line);
    }
}
