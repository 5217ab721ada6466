/* One host at a time: token, sequence, the challenge for arming. PROTOCOL.md sections 2 and 6.2. */
#ifndef SESSION_H
#define SESSION_H

#include <stdbool.h>
#include <stdint.h>

#define SESSION_CHALLENGE_MS 10000u

enum session_refusal { SESSION_OK, SESSION_TOKEN, SESSION_OLD };

struct session {
    uint32_t challenge; /* the last one given; the next is made from it */
    uint16_t asked_ms;  /* when it was given, modulo 65536 */
    uint16_t token;     /* 0: no session */
    uint16_t last_q;
    uint16_t opened; /* sessions since the start */
    bool pending;    /* a challenge is out */
    bool answered;   /* and was answered rightly: a press of ARM is awaited */
};

/* `boot` makes tokens of different starts differ, `noise` challenges. */
void session_start(struct session *session, uint16_t boot, uint32_t noise);

/* Begins a session and returns its token. */
uint16_t session_open(struct session *session, uint16_t boot, uint16_t q);

void session_close(struct session *session);

/* Checks token and sequence of a request; a right one moves the sequence on. */
enum session_refusal session_check(struct session *session, uint16_t token, uint16_t q);

/* Gives a new challenge; an older one ends. */
uint32_t session_ask(struct session *session, uint32_t noise, uint32_t now_ms);

/* Takes an answer, with what is expected; a wrong one ends the challenge. */
bool session_answer(struct session *session, uint32_t given, uint32_t expected);

/* Ends the challenge. */
void session_end_challenge(struct session *session);

/* Returns whether the challenge's 10 s have just run out; it then has ended. Call it at least
 * once a minute: the time is kept in 16 bits. */
bool session_expires(struct session *session, uint32_t now_ms);

#endif
