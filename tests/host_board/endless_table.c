/* A table of the line whose patterns have lost their end: whatever is written leads on for ever. */
#include "wire.h"

static char endless[4096];

const char *wire_pattern(uint8_t kind)
{
    (void)kind;
    for (uint16_t at = 0; at + 1u < sizeof endless; at++) {
        endless[at] = 'a';
    }
    endless[sizeof endless - 1u] = '\n';
    return endless;
}

const char *wire_words(char type)
{
    (void)type;
    return endless;
}

const char *wire_end(const char *text, char end)
{
    (void)end;
    return text;
}

uint32_t wire_most(char type)
{
    (void)type;
    return 0xFFFFFFFFu;
}
