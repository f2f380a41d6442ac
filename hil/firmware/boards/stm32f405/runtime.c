/* The four memory functions a C compiler may call by itself. */
#include <stddef.h>
#include <stdint.h>

void *memcpy(void *to, const void *from, size_t count);
void *memmove(void *to, const void *from, size_t count);
void *memset(void *to, int value, size_t count);
int memcmp(const void *left, const void *right, size_t count);

/* Copy octets; a word at a time while both sides lie on words. */
void *memcpy(void *to, const void *from, size_t count)
{
    uint8_t *target = to;
    const uint8_t *source = from;
    size_t left = count;

    if ((((uintptr_t)to | (uintptr_t)from) & 3u) == 0u) {
        uint32_t *target_word = to;
        const uint32_t *source_word = from;

        for (; left >= 4u; left -= 4u) {
            *target_word = *source_word;
            target_word++;
            source_word++;
        }
        target = (uint8_t *)target_word;
        source = (const uint8_t *)source_word;
    }
    for (; left > 0u; left--) {
        *target = *source;
        target++;
        source++;
    }
    return to;
}

/* Copy octets between places that may overlap. */
void *memmove(void *to, const void *from, size_t count)
{
    uint8_t *target = to;
    const uint8_t *source = from;

    if ((uintptr_t)target <= (uintptr_t)source) {
        for (size_t i = 0u; i < count; i++) {
            target[i] = source[i];
        }
    } else {
        for (size_t i = count; i > 0u; i--) {
            target[i - 1u] = source[i - 1u];
        }
    }
    return to;
}

/* Fill octets; a word at a time when they lie on words. */
void *memset(void *to, int value, size_t count)
{
    uint8_t octet = (uint8_t)value;
    uint8_t *target = to;
    size_t left = count;

    if (((uintptr_t)to & 3u) == 0u) {
        uint32_t *target_word = to;

        for (; left >= 4u; left -= 4u) {
            *target_word = octet * 0x01010101u;
            target_word++;
        }
        target = (uint8_t *)target_word;
    }
    for (; left > 0u; left--) {
        *target = octet;
        target++;
    }
    return to;
}

/* Compare octets. */
int memcmp(const void *left, const void *right, size_t count)
{
    const uint8_t *one = left;
    const uint8_t *other = right;

    for (size_t i = 0u; i < count; i++) {
        if (one[i] != other[i]) {
            return one[i] < other[i] ? -1 : 1;
        }
    }
    return 0;
}
