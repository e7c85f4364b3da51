// SPDX-License-Identifier: MIT
/* wire: the contract between the poller and the ways in which instruments speak. Pure: bytes and times in, values
 * or errors out; no descriptor, no clock. A poller works through a wire's table only.
 *
 * An exchange is one request and its reply. A wire that asks builds a request, is given what comes back, and says
 * when that is the reply, and what is wrong if it is not. A free-running wire builds nothing; its exchange goes on
 * for ever, and each WIRE_DONE is a line that the instrument printed by itself.
 */
#ifndef SOAKLEDGER_WIRE_H
#define SOAKLEDGER_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/channel.h"
#include "soakledger/modbus.h"
#include "soakledger/text.h"

enum {
    WIRE_REQUEST_BYTES = 80,
    WIRE_TEXT_BYTES = 520, // longer than any Modbus ASCII frame (513) and any line of text that is believed
    WIRE_END_BYTES = 3,
    WIRE_WORDS = 8,
    WIRE_WORD_BYTES = 16,
};

enum wire_status {
    WIRE_MORE,           // not complete yet
    WIRE_DONE,           // values are there
    WIRE_REFUSED,        // the instrument said no; see `refusal`
    WIRE_BAD_CHECK,      // complete, but its check does not hold or it holds bytes that cannot be
    WIRE_WRONG_ADDRESS,  // a good reply of another instrument
    WIRE_WRONG_FUNCTION, // a good reply to another function
    WIRE_SHORT,          // less than was asked for, or broken off
    WIRE_LONG,           // more than was asked for
    WIRE_SPLICED,        // a whole reply with the beginning of another behind it
    WIRE_UNREADABLE,     // text in which a value that was asked for is not found
};
enum { WIRE_STATUS_COUNT = 10 };

/* How an instrument speaks, as configured. */
struct wire_setting {
    enum wire_kind kind;
    int address; // 0: none
    // Of text:
    char query_end[WIRE_END_BYTES], text_end[WIRE_END_BYTES]; // terminated
    enum text_check check;
    unsigned fields; // how many a line must have; 0: any number
    size_t word_count;
    struct wire_word {
        char word[WIRE_WORD_BYTES]; // in place of a number
        enum quality quality;       // what it means
    } words[WIRE_WORDS];
};

/* What is asked for at once. */
struct wire_request {
    const struct wire_setting *setting;
    const struct channel_fitting *const *wanted; // the channels
    size_t wanted_count;
    uint8_t function; // of Modbus
    uint16_t first, count;
};

struct wire_exchange {
    struct wire_request request;
    size_t sent_length;
    uint8_t sent[WIRE_REQUEST_BYTES];
    size_t length;                       // of what has come, an echo apart; 0: nothing yet
    int64_t first_byte_us, last_byte_us; // valid if length > 0
    bool echoed;                         // the own request came back first and was passed over
    uint8_t refusal;                     // the exception's code, after WIRE_REFUSED
    // The wire's own:
    struct modbus_reply reply;
    bool in_step, ended;
    uint8_t bytes[WIRE_TEXT_BYTES];
    size_t used; // of `bytes`, by the frame or line that is being collected
    struct text_piece line;
};

struct wire {
    bool asks;   // or else it is free-running
    bool halves; // a request for several channels can be divided

    /* Begins a request with one channel. */
    void (*begin)(struct wire_request *request, const struct channel_fitting *fitting);
    /* Takes a further channel into the request where one reply can serve both; channels come in ascending order of
     * function, register and query. `wanted` and its count are the caller's. */
    bool (*join)(struct wire_request *request, const struct channel_fitting *fitting);
    /* Begins an exchange: builds the bytes to send into `sent`, or none. Everything else is reset. */
    void (*start)(struct wire_exchange *exchange, const struct wire_request *request);
    /* Takes bytes that came at `now_us`; `*used` says how many, all unless a free-running line ended before.
     * Anything but WIRE_MORE ends the exchange, except on a free-running wire. */
    enum wire_status (*take)(struct wire_exchange *exchange, const uint8_t *bytes, size_t length, int64_t now_us,
                             size_t *used);
    /* Nothing more has come until `now_us`: WIRE_MORE while that may be. */
    enum wire_status (*wait)(struct wire_exchange *exchange, int64_t pause_us, int64_t now_us);
    /* After WIRE_DONE: the channel's value or what the instrument says in its place; false if this reply holds
     * nothing for it. */
    bool (*read)(const struct wire_exchange *exchange, const struct channel_fitting *fitting,
                 struct reading *reading);
    /* After a failure: whether what came was the reply to this request, spoilt. */
    bool (*was_reply)(const struct wire_exchange *exchange);
    /* Whether a reply tells whose it is, so that it is never taken for another instrument's. */
    bool (*names_itself)(const struct wire_request *request);
    /* How long the line must be silent between two frames, and how long a frame may pause without being broken. */
    int64_t (*gap_us)(int baud);
    int64_t (*pause_us)(int baud);
};

const struct wire *wire_of_kind(enum wire_kind kind);

/* "reply", "check does not hold" ... */
const char *wire_status_name(enum wire_status status);

/* What an adapter may keep bytes for before it hands them over: USB adapters collect for up to 16 ms (common
 * practice, no source), and a reader needs time too. */
enum { WIRE_CHUNK_US = 20000 };

#endif
