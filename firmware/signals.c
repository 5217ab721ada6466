#include "signals.h"

struct shape {
    uint16_t on_ms; /* of each beep; between two of them a pause of a short one */
    uint16_t repeat_ms;
    uint8_t beeps;
};

static const IN_FLASH struct shape shapes[SIGNALS_SOUNDS] = {
    [SIGNALS_QUIET] = {0u, SIGNALS_ALARM_MS, 0u},
    [SIGNALS_BREATHE] = {SIGNALS_SHORT_MS, SIGNALS_BREATHE_MS, 2u},
    [SIGNALS_TOPUP] = {SIGNALS_LONG_MS, SIGNALS_TOPUP_MS, 1u},
    [SIGNALS_SOON] = {SIGNALS_SHORT_MS, 5u * SIGNALS_SHORT_MS, 3u},
    [SIGNALS_ALARM] = {SIGNALS_ALARM_MS / 2u, SIGNALS_ALARM_MS, 1u},
};

static uint16_t age_ms(uint16_t since_ms, uint32_t now_ms)
{
    return (uint16_t)((uint16_t)now_ms - since_ms);
}

/* Takes another word of the host's; the board's own alarm sounds on. */
static void change(struct signals *signals, enum signals_sound sound)
{
    signals->asked = sound;
    signals->played = false;
    if (signals->playing != SIGNALS_ALARM) {
        signals->playing = SIGNALS_QUIET;
    }
}

void signals_start(struct signals *signals, uint32_t now_ms)
{
    *signals = (struct signals){.sound_ms = (uint16_t)now_ms, .lamp_ms = (uint16_t)now_ms};
}

void signals_ask(struct signals *signals, enum signals_lamp lamp, enum signals_sound sound,
                 uint32_t now_ms)
{
    if (lamp != signals->lamp) {
        signals->lamp = lamp;
        signals->lamp_ms = (uint16_t)now_ms;
    }
    if (sound != signals->asked) {
        change(signals, sound);
    }
}

void signals_hush(struct signals *signals, uint32_t now_ms)
{
    signals_ask(signals, SIGNALS_LAMP_OFF, SIGNALS_QUIET, now_ms);
}

void signals_update(struct signals *signals, bool alarm, uint32_t now_ms)
{
    const enum signals_sound wanted = alarm ? SIGNALS_ALARM : signals->asked;
    const uint16_t repeat_ms = shapes[signals->playing].repeat_ms;
    if (wanted != signals->playing) {
        signals->playing = wanted;
        signals->sound_ms = (uint16_t)now_ms;
    } else if (age_ms(signals->sound_ms, now_ms) >= repeat_ms) {
        signals->sound_ms = (uint16_t)(signals->sound_ms + repeat_ms);
        signals->played = signals->played || wanted == SIGNALS_SOON;
    }
    if (age_ms(signals->lamp_ms, now_ms) >= SIGNALS_BLINK_MS) {
        signals->lamp_ms = (uint16_t)(signals->lamp_ms + SIGNALS_BLINK_MS);
    }
}

bool signals_buzzer_is_on(const struct signals *signals, uint32_t now_ms)
{
    const uint16_t on_ms = shapes[signals->playing].on_ms;
    const uint16_t repeat_ms = shapes[signals->playing].repeat_ms;
    uint16_t into_ms = age_ms(signals->sound_ms, now_ms);
    if (signals->playing == SIGNALS_SOON && (signals->played || into_ms >= repeat_ms)) {
        return false;
    }
    into_ms = into_ms % repeat_ms;
    for (uint8_t beep = 0u; beep < shapes[signals->playing].beeps; beep++) {
        if (into_ms < on_ms + SIGNALS_SHORT_MS) {
            return into_ms < on_ms;
        }
        into_ms = (uint16_t)(into_ms - (on_ms + SIGNALS_SHORT_MS));
    }
    return false;
}

bool signals_lamp_is_on(const struct signals *signals, uint32_t now_ms)
{
    const uint16_t into_ms = age_ms(signals->lamp_ms, now_ms) % SIGNALS_BLINK_MS;
    return signals->lamp == SIGNALS_LAMP_ON ||
           (signals->lamp == SIGNALS_LAMP_BLINK && into_ms < SIGNALS_BLINK_MS / 2u);
}
