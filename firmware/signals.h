/* Call lamp and buzzer patterns. PROTOCOL.md section 6.9. */
#ifndef SIGNALS_H
#define SIGNALS_H

#include <stdbool.h>
#include <stdint.h>

/* What the page leaves open. Multiples of the 50 ms in which pins follow; short and long stay apart
 * by ear. */
#define SIGNALS_SHORT_MS 150u
#define SIGNALS_LONG_MS 1000u
#define SIGNALS_BLINK_MS 1000u /* half of it on, half off */

/* What the page gives. */
#define SIGNALS_BREATHE_MS 3000u /* two short, each */
#define SIGNALS_TOPUP_MS 5000u   /* one long, each */
#define SIGNALS_ALARM_MS 1000u   /* half a second on and off */

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
    uint16_t sound_ms; /* when the pattern, or its last repeat, began */
    uint16_t lamp_ms;
    enum signals_lamp lamp;
    enum signals_sound asked; /* by the host */
    enum signals_sound playing;
    bool played; /* what the host asked for is a pattern that sounds once, and has */
};

void signals_start(struct signals *signals, uint32_t now_ms);

/* Takes what the host asks for. The word that it asked for last goes on as it was. */
void signals_ask(struct signals *signals, enum signals_lamp lamp, enum signals_sound sound,
                 uint32_t now_ms);

/* Lamp off and the host's pattern ended. */
void signals_hush(struct signals *signals, uint32_t now_ms);

/* Chooses the pattern: the board's own alarm goes before the host's, which begins anew after it.
 * Call it at least once a second. */
void signals_update(struct signals *signals, bool alarm, uint32_t now_ms);

bool signals_buzzer_is_on(const struct signals *signals, uint32_t now_ms);
bool signals_lamp_is_on(const struct signals *signals, uint32_t now_ms);

#endif
