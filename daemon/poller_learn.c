// SPDX-License-Identifier: MIT
/* Long requests that a controller does not take: how that is noticed, and told from one that has no power or has
 * been refused once for another reason. */
#include "poller_state.h"

enum {
    ILLEGAL_ADDRESS = 2, // MODBUS Application Protocol V1.1b3, section 7
    ILLEGAL_VALUE = 3,
    REFUSED_TWICE = 2,
    UNANSWERED_THRICE = 3,
};

bool poller_note_refusal(struct poller *poller, struct poller_block *block, uint8_t code, int64_t now_us) {
    if (code != ILLEGAL_ADDRESS && code != ILLEGAL_VALUE)
        return false;
    return ++block->refused >= REFUSED_TWICE && poller_halve_block(poller, block, now_us);
}

bool poller_note_silence(struct poller *poller, struct poller_block *block, int64_t now_us) {
    block->unanswered++;
    return block->unanswered >= UNANSWERED_THRICE && block->shorter_answered &&
           poller_halve_block(poller, block, now_us);
}

void poller_note_answer(struct poller *poller, const struct poller_line *line, struct poller_block *block,
                        size_t channels) {
    if (channels == block->end - block->begin) {
        block->unanswered = 0;
        block->shorter_answered = false;
    }
    if (line->exchange.refusal == 0)
        block->refused = 0;
    for (size_t i = line->begin; i < line->end; i = poller->blocks[i].end) {
        struct poller_block *other = &poller->blocks[i];

        if (other->instrument == block->instrument && other->unanswered > 0 && other->end - other->begin > channels)
            other->shorter_answered = true;
    }
}
