// SPDX-License-Identifier: MIT
/* Lines of text as wires: asked for, or printed by the instrument by itself. A line is believed whole or not at
 * all: printable bytes only, as many fields as stated, and its check if it has one.
 */
#include <string.h>

#include "wires.h"

enum {
    CR = '\r',
    LF = '\n',
    TAB = '\t',
    FIRST_PRINTABLE = 0x20,
    DELETE = 0x7f,
    POLLED_PAUSE_US =
        250000, // longer than an instrument thinks in the middle of an answer: common practice, no source
    FREE_PAUSE_US = 1000000,
    LONGEST_LINE_US = 5000000, // so that what is never ended holds up nobody
};

static void begin(struct wire_request *request, const struct channel_fitting *fitting) {
    (void)fitting;
    request->function = 0;
    request->first = request->count = 0;
}

/* One answer may hold several values. */
static bool join(struct wire_request *request, const struct channel_fitting *fitting) {
    return strcmp(request->wanted[0]->query, fitting->query) == 0;
}

static void start(struct wire_exchange *exchange, const struct wire_request *request) {
    exchange->request = *request;
    exchange->length = exchange->used = exchange->sent_length = 0;
    exchange->echoed = exchange->in_step = exchange->ended = false;
    exchange->refusal = 0;
    exchange->line = (struct text_piece){NULL, 0};
}

static void start_polled(struct wire_exchange *exchange, const struct wire_request *request) {
    const struct wire_setting *setting = request->setting;
    const size_t end = strlen(setting->query_end);

    start(exchange, request);
    exchange->in_step = true;
    exchange->sent_length =
        text_build_query(request->wanted[0]->query, setting->address, exchange->sent, WIRE_REQUEST_BYTES - end);
    memcpy(exchange->sent + exchange->sent_length, setting->query_end, end);
    exchange->sent_length += end;
}

static bool is_printable(struct text_piece line) {
    for (size_t i = 0; i < line.length; i++) {
        const uint8_t byte = (uint8_t)line.text[i];

        if ((byte < FIRST_PRINTABLE && byte != TAB) || byte == DELETE)
            return false; // bytes above may be a degree sign in whatever character set
    }
    return line.length > 0;
}

/* What stands where a number is wanted. */
static bool read_piece(const struct wire_setting *setting, const struct channel_fitting *fitting,
                       struct text_piece piece, struct reading *reading) {
    struct channel_decimal decimal;

    reading->value = 0;
    for (size_t i = 0; i < setting->word_count; i++) {
        const struct wire_word *word = &setting->words[i];

        if (strlen(word->word) != piece.length || memcmp(word->word, piece.text, piece.length) != 0)
            continue;
        reading->quality = word->quality;
        return true;
    }
    switch (text_read_number(piece, &decimal)) {
    case TEXT_NUMBER: channel_decode_decimal(fitting, &decimal, reading); return true;
    case TEXT_OVER: reading->quality = QUALITY_OVER_RANGE; return true;
    case TEXT_UNDER: reading->quality = QUALITY_UNDER_RANGE; return true;
    case TEXT_NAN: reading->quality = QUALITY_OPEN_SENSOR; return true;
    case TEXT_NONE: break;
    }
    return false;
}

static bool read_value(const struct wire_exchange *exchange, const struct channel_fitting *fitting,
                       struct reading *reading) {
    const struct wire_setting *setting = exchange->request.setting;
    struct text_piece piece = {NULL, 0};

    if (setting->fields > 0 && text_count_fields(exchange->line, fitting->separator) != setting->fields)
        return false;
    if (fitting->field > 0 ? !text_find_field(exchange->line, fitting->separator, fitting->field, &piece)
                           : !text_match(fitting->pattern, setting->address, exchange->line, &piece))
        return false;
    return read_piece(setting, fitting, piece, reading);
}

/* The line that has come to its end is `used` bytes without it. */
static enum wire_status judge(struct wire_exchange *exchange) {
    exchange->line = (struct text_piece){(const char *)exchange->bytes, exchange->used};
    if (!is_printable(exchange->line) || !text_take_check(exchange->request.setting->check, &exchange->line))
        return WIRE_BAD_CHECK;
    return WIRE_DONE;
}

static bool has_ended(const struct wire_exchange *exchange) {
    const char *end = exchange->request.setting->text_end;
    const size_t length = strlen(end);

    return exchange->used >= length && memcmp(exchange->bytes + exchange->used - length, end, length) == 0;
}

static bool is_echo(const struct wire_exchange *exchange) {
    return !exchange->echoed && exchange->used == exchange->sent_length &&
           memcmp(exchange->bytes, exchange->sent, exchange->used) == 0;
}

static enum wire_status take_answer_byte(struct wire_exchange *exchange, uint8_t byte, int64_t now_us) {
    if (exchange->used == 0 && (byte == CR || byte == LF))
        return WIRE_MORE; // what is left of an echo, or an empty line in front
    if (exchange->used == sizeof exchange->bytes)
        return WIRE_LONG;
    if (exchange->used == 0)
        exchange->first_byte_us = now_us;
    exchange->bytes[exchange->used++] = byte;
    exchange->length = exchange->used;
    exchange->last_byte_us = now_us;
    if (is_echo(exchange)) {
        exchange->echoed = true;
        exchange->length = exchange->used = 0;
        return WIRE_MORE;
    }
    if (!has_ended(exchange))
        return WIRE_MORE;
    exchange->ended = true;
    exchange->used -= strlen(exchange->request.setting->text_end);
    return judge(exchange);
}

static bool is_rest_of_end(const uint8_t *bytes, size_t length) {
    for (size_t i = 0; i < length; i++)
        if (bytes[i] != CR && bytes[i] != LF)
            return false;
    return true;
}

/* An answer must hold every value that is wanted: half of one is none. */
static enum wire_status take_answer(struct wire_exchange *exchange, const uint8_t *bytes, size_t length,
                                    int64_t now_us, size_t *used) {
    const struct wire_request *request = &exchange->request;
    enum wire_status status = WIRE_MORE;
    struct reading reading;
    size_t i = 0;

    *used = length;
    while (i < length && status == WIRE_MORE)
        status = take_answer_byte(exchange, bytes[i++], now_us);
    if (status == WIRE_DONE && !is_rest_of_end(bytes + i, length - i))
        return WIRE_SPLICED;
    for (size_t wanted = 0; wanted < request->wanted_count && status == WIRE_DONE; wanted++)
        if (!read_value(exchange, request->wanted[wanted], &reading))
            status = WIRE_UNREADABLE;
    return status;
}

static enum wire_status wait_for_answer(struct wire_exchange *exchange, int64_t pause_us, int64_t now_us) {
    return exchange->length > 0 && now_us - exchange->last_byte_us > pause_us ? WIRE_SHORT : WIRE_MORE;
}

/* Out of step, only the end of a line is looked for: what was before it may have begun anywhere. */
static void look_for_end(struct wire_exchange *exchange, uint8_t byte) {
    exchange->bytes[exchange->used++] = byte;
    if (has_ended(exchange)) {
        exchange->in_step = true;
        exchange->used = 0;
    } else if (exchange->used == 2) {
        exchange->bytes[0] = exchange->bytes[1];
        exchange->used = 1;
    }
}

static void fall_out_of_step(struct wire_exchange *exchange) {
    exchange->in_step = false;
    exchange->length = exchange->used = 0;
}

static enum wire_status take_line(struct wire_exchange *exchange, const uint8_t *bytes, size_t length,
                                  int64_t now_us, size_t *used) {
    if (exchange->ended)
        exchange->length = exchange->used = 0;
    exchange->ended = false;
    for (*used = 0; *used < length;) {
        const uint8_t byte = bytes[(*used)++];
        enum wire_status status;

        if (!exchange->in_step) {
            look_for_end(exchange, byte);
            continue;
        }
        status = take_answer_byte(exchange, byte, now_us);
        if (status == WIRE_LONG) { // in the middle of the line's end, perhaps
            const uint8_t before = exchange->bytes[exchange->used - 1];

            fall_out_of_step(exchange);
            look_for_end(exchange, before);
            look_for_end(exchange, byte);
        }
        if (exchange->ended)
            exchange->length = 0; // of the next line nothing has come
        if (status != WIRE_MORE)
            return status;
    }
    return WIRE_MORE;
}

static enum wire_status wait_for_line(struct wire_exchange *exchange, int64_t pause_us, int64_t now_us) {
    if (exchange->length == 0 ||
        (now_us - exchange->last_byte_us <= pause_us && now_us - exchange->first_byte_us <= LONGEST_LINE_US))
        return WIRE_MORE;
    fall_out_of_step(exchange);
    return WIRE_SHORT;
}

/* Nothing in a spoilt line tells what it was the answer to: the one to this request may still come. */
static bool was_reply(const struct wire_exchange *exchange) {
    (void)exchange;
    return false;
}

/* Only if the address is in every pattern: then an answer of another instrument matches none. */
static bool names_itself(const struct wire_request *request) {
    for (size_t i = 0; i < request->wanted_count; i++)
        if (!text_names_address(request->wanted[i]->pattern))
            return false;
    return true;
}

static int64_t polled_pause_us(int baud) {
    (void)baud;
    return POLLED_PAUSE_US;
}

static int64_t free_pause_us(int baud) {
    (void)baud;
    return FREE_PAUSE_US;
}

const struct wire *wire_polled(void) {
    static const struct wire wire = {.asks = true,
                                     .halves = false,
                                     .begin = begin,
                                     .join = join,
                                     .start = start_polled,
                                     .take = take_answer,
                                     .wait = wait_for_answer,
                                     .read = read_value,
                                     .was_reply = was_reply,
                                     .names_itself = names_itself,
                                     .gap_us = modbus_t35_us,
                                     .pause_us = polled_pause_us};

    return &wire;
}

const struct wire *wire_free(void) {
    static const struct wire wire = {.asks = false,
                                     .halves = false,
                                     .begin = begin,
                                     .join = join,
                                     .start = start,
                                     .take = take_line,
                                     .wait = wait_for_line,
                                     .read = read_value,
                                     .was_reply = was_reply,
                                     .names_itself = names_itself,
                                     .gap_us = modbus_t35_us,
                                     .pause_us = free_pause_us};

    return &wire;
}
