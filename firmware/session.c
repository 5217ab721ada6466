#include "session.h"

#define NEWEST 0x7FFFu /* a newer `q` is at most so far ahead */

/* Odd and near to 65536 divided by the golden ratio: starts lie as far apart as can be. */
#define START_APART 40503u

/* Odd, so that challenges return after 2^32 questions; the same ratio of 2^32. */
#define CHALLENGE_APART 0x9E3779B9u

void session_start(struct session *session, uint16_t boot, uint32_t noise)
{
    *session = (struct session){0};
    session->challenge = noise + ((uint32_t)boot << 16);
}

uint16_t session_open(struct session *session, uint16_t boot, uint16_t q)
{
    session->opened++;
    session->token = (uint16_t)(boot * START_APART + session->opened);
    if (session->token == 0u) { /* says that there is no session */
        session->opened++;
        session->token = 1u;
    }
    session->last_q = q;
    session_end_challenge(session);
    return session->token;
}

void session_close(struct session *session)
{
    session->token = 0;
    session_end_challenge(session);
}

enum session_refusal session_check(struct session *session, uint16_t token, uint16_t q)
{
    const uint16_t ahead = (uint16_t)(q - session->last_q);
    if (token == 0u || token != session->token) {
        return SESSION_TOKEN;
    }
    if (ahead == 0u || ahead > NEWEST) {
        return SESSION_OLD;
    }
    session->last_q = q;
    return SESSION_OK;
}

uint32_t session_ask(struct session *session, uint32_t noise, uint32_t now_ms)
{
    session->challenge += CHALLENGE_APART + noise;
    session->asked_ms = (uint16_t)now_ms;
    session->pending = true;
    session->answered = false;
    return session->challenge;
}

bool session_answer(struct session *session, uint32_t given, uint32_t expected)
{
    const bool right = session->pending && !session->answered && given == expected;
    session->pending = right;
    session->answered = right;
    return right;
}

void session_end_challenge(struct session *session)
{
    session->pending = false;
    session->answered = false;
}

bool session_expires(struct session *session, uint32_t now_ms)
{
    const bool over = session->pending &&
                      (uint16_t)((uint16_t)now_ms - session->asked_ms) >= SESSION_CHALLENGE_MS;
    if (over) {
        session_end_challenge(session);
    }
    return over;
}
