/* Call lamp, buzzer patterns and the code on the HOT lamp. PROTOCOL.md section 6.9. */
#ifndef SIGNALS_H
#define SIGNALS_H

#include <stdbool.h>
#include <stdint.h>

enum signals_lamp { SIGNALS_LAMP_OFF, SIGNALS_LAMP_ON, SIGNALS_LAMP_BLINK, SIGNALS_LAMPS };

/* In the order in which PROTOCOL.md lists the words of `snd`. */
enum signals_sound {
    SIGNALS_QUIET,
    SIGNALS_BREATHE,
    SIGNALS_TOPUP,
    SIGNALS_SOON,
    SIGNALS_ALARM,
    SIGNALS_SOUNDS
};

struct signals {
    uint32_t sound_ms; /* when the pattern began */
    uint32_t lamp_ms;
    enum signals_lamp lamp;
    enum signals_sound asked; /* by the host */
    enum signals_sound playing;
};

void signals_start(struct signals *signals, uint32_t now_ms);

/* Takes what the host asks for. */
void signals_ask(struct signals *signals, enum signals_lamp lamp, enum signals_sound sound,
                 uint32_t now_ms);

/* Lamp off and the host's pattern ended. */
void signals_hush(struct signals *signals, uint32_t now_ms);

/* Chooses the pattern: the board's own alarm goes before the host's. */
void signals_update(struct signals *signals, bool alarm, uint32_t now_ms);

bool signals_buzzer_is_on(const struct signals *signals, uint32_t now_ms);
bool signals_lamp_is_on(const struct signals *signals, uint32_t now_ms);

#endif
