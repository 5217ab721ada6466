#include "wire.h"

static const IN_FLASH char END[] = " crc8\n";

/* Every kind in the order of `enum wire_kind`. */
static const IN_FLASH char REQUESTS[] = "hello qW vB id8\n"
                                        "limits s4 qW\n"
                                        "mould s4 qW kB\n"
                                        "use s4 qW kB\n"
                                        "store s4 qW kB hH rW lagW upW\n"
                                        "duty s4 qW uD usS lD lsS eW xW\n"
                                        "arm s4 qW\n"
                                        "answer s4 qW a8\n"
                                        "disarm s4 qW\n"
                                        "charge s4 qW\n"
                                        "trip s4 qW cT\n"
                                        "heat s4 qW hH dD eW xW\n"
                                        "log s4 qW iW\n"
                                        "signal s4 qW lampL sndP\n"
                                        "bye s4 qW\n";

static const IN_FLASH char ANSWERS[] =
    "boot bootW causeC build8 latchF\n"
    "here qW vB mvB build8 board88 bootW causeC latchF s4\n"
    "limits qW ceilT tripT setT capW winW outO zonesB fit3\n"
    "mould qW kB inB urW ulW uhW lrW llW lhW\n"
    "challenge qW c8\n"
    "entry qW iW bootW msQ codeE valT lastW\n"
    "done qW\n"
    "refused qW whyR\n"
    "tele nW msQ uT ur8 unW uoW lT lr8 lnW loW stM foF in3 kB fN\n"
    "stat msQ whyK ucT lcT opsQ badW unkW passW idB chB plW\n"
    "event iW bootW msQ codeE valT\n";

/* The decimal types: 2, 1 and 4 bytes, duty, setpoint, force; and what each holds at most. */
static const IN_FLASH char DECIMALS[] = "WBQDSN";
static const IN_FLASH uint32_t MOST[] = {0xFFFFu, 0xFFu, 0xFFFFFFFFu, 1000u, 2000u, 1023u};

/* The types that have words, each with its words in the page's order; those of telemetry first,
 * since a list is looked for from the top. */
static const IN_FLASH char WORDS[] =
    "M boot selftest locked ready armed tripped\n"
    "F none overtemp sensor disagree norise risefast fallfast welded stuck mirror chain selftest\n"
    "T bad none\n"
    "H upper lower\n"
    "L off on blink\n"
    "P off breathe topup soon alarm\n"
    "C power button brownout watchdog unknown\n"
    "O ssr relay\n"
    "K none session sensor mains button thermostat mould mirror selftest latched\n"
    "R version busy token old echo slot range limit state hand rate wrong empty\n"
    "E boot armed disarmed silence released trip reset charge openoff fall full presence mains "
    "tripset stored used comm refarm\n";

const IN_FLASH char *wire_end(const IN_FLASH char *text, char last)
{
    const IN_FLASH char *end = text;
    while (*end > last) {
        end++;
    }
    return end;
}

const IN_FLASH char *wire_pattern(uint8_t kind)
{
    const IN_FLASH char *pattern = REQUESTS;
    uint8_t left = kind;
    if (kind == WIRE_END) {
        return END;
    }
    if (kind >= (uint8_t)WIRE_BOOT) {
        pattern = ANSWERS;
        left = (uint8_t)(kind - (uint8_t)WIRE_BOOT);
    }
    while (left > 0u) {
        pattern = &wire_end(pattern, '\n')[1];
        left--;
    }
    return pattern;
}

const IN_FLASH char *wire_words(char type)
{
    const IN_FLASH char *words = WORDS;
    while ((*words != type) && (*words != '\0')) {
        words++;
    }
    return (*words == type) ? &words[1] : words;
}

uint32_t wire_most(char type)
{
    for (uint8_t i = 0u; DECIMALS[i] != '\0'; i++) {
        if (DECIMALS[i] == type) {
            return MOST[i];
        }
    }
    return 0u;
}
