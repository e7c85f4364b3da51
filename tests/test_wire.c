// SPDX-License-Identifier: MIT
/* The wires through their contract: what they send, what they take for a reply, and what they call everything else.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <string.h>

#include "soakledger/wire.h"

enum { ADDRESS = 0x11, BAUD = 9600, BITS = 8, LINE_BYTES = 256 };
#define COUNT(array) (sizeof(array) / sizeof *(array))
#define SECOND_US    INT64_C(1000000)

/* An exchange with everything behind it. */
struct talk {
    const struct wire *wire;
    struct wire_setting setting;
    struct channel_fitting fittings[2];
    const struct channel_fitting *wanted[2];
    struct wire_request request;
    struct wire_exchange exchange;
    int64_t now_us;
};

static void begin_talk(struct talk *talk, enum wire_kind kind, size_t channels) {
    talk->wire = wire_of_kind(kind);
    talk->setting.kind = kind;
    talk->setting.address = ADDRESS;
    talk->now_us = SECOND_US;
    for (size_t i = 0; i < channels; i++) {
        talk->fittings[i].wire = kind;
        talk->fittings[i].low = INT64_MIN;
        talk->fittings[i].high = INT64_MAX;
        talk->wanted[i] = &talk->fittings[i];
    }
    talk->request = (struct wire_request){.setting = &talk->setting, .wanted = talk->wanted, .wanted_count = 1};
    talk->wire->begin(&talk->request, talk->wanted[0]);
    for (size_t i = 1; i < channels; i++, talk->request.wanted_count++)
        assert_true(talk->wire->join(&talk->request, talk->wanted[i]));
    talk->wire->start(&talk->exchange, &talk->request);
}

static enum wire_status hear(struct talk *talk, const char *bytes, size_t length) {
    size_t used = 0;
    const enum wire_status status =
        talk->wire->take(&talk->exchange, (const uint8_t *)bytes, length, talk->now_us, &used);

    if (talk->wire->asks)
        assert_int_equal(used, length);
    return status;
}

static enum wire_status hear_text(struct talk *talk, const char *text) {
    return hear(talk, text, strlen(text));
}

/* A fresh exchange that gets `text` as its reply. */
static enum wire_status reply(struct talk *talk, const char *text) {
    talk->wire->start(&talk->exchange, &talk->request);
    return hear_text(talk, text);
}

static void demand_value(const struct talk *talk, size_t channel, enum quality quality, int64_t value) {
    struct reading reading = {.value = -1, .quality = QUALITY_STALE};

    assert_true(talk->wire->read(&talk->exchange, talk->wanted[channel], &reading));
    assert_string_equal(quality_name(reading.quality), quality_name(quality));
    assert_int_equal(reading.value, value);
}

static void expect_sent(const struct talk *talk, const char *text) {
    assert_int_equal(talk->exchange.sent_length, strlen(text));
    assert_memory_equal(talk->exchange.sent, text, strlen(text));
}

/* ---- Modbus ASCII ---- */

/* The frame of that name, with its end. */
static const char *frame(const char *id) {
    static char frames[4][LINE_BYTES];
    static int next;
    char *const out = frames[next = (next + 1) % (int)COUNT(frames)];
    FILE *file = fopen("tests/reference/modbus_ascii_frames.csv", "r");
    char row[LINE_BYTES];

    assert_non_null(file);
    while (fgets(row, sizeof row, file) != NULL) {
        char *comma = strchr(row, ',');

        if (comma == NULL || (size_t)(comma - row) != strlen(id) || strncmp(row, id, strlen(id)) != 0)
            continue;
        snprintf(out, LINE_BYTES, "%.*s\r\n", (int)strcspn(comma + 1, "\n"), comma + 1);
        fclose(file);
        return out;
    }
    fail_msg("no frame %s", id);
    return NULL;
}

/* Three holding registers from 6Bh: two channels of one and two registers. */
static void begin_ascii(struct talk *talk) {
    memset(talk, 0, sizeof *talk);
    talk->fittings[0] = (struct channel_fitting){.function = 3, .first_register = 0x6b};
    talk->fittings[1] =
        (struct channel_fitting){.function = 3, .first_register = 0x6c, .encoding = ENCODING_UINT32};
    begin_talk(talk, WIRE_MODBUS_ASCII, 2);
}

static void ascii_asks_and_reads_as_published(void **state) {
    struct talk talk;

    (void)state;
    begin_ascii(&talk);
    expect_sent(&talk, frame("fc03_req"));
    assert_int_equal(hear_text(&talk, frame("fc03_resp")), WIRE_DONE);
    demand_value(&talk, 0, QUALITY_GOOD, 0x022b * INT64_C(1000));
    demand_value(&talk, 1, QUALITY_GOOD, 0x64 * INT64_C(1000));
    assert_int_equal(reply(&talk, frame("fc03_resp_alt")), WIRE_DONE);
    demand_value(&talk, 1, QUALITY_GOOD, INT64_C(0x56524340) * 1000);
    memset(&talk, 0, sizeof talk);
    talk.fittings[0] = (struct channel_fitting){.function = 4, .first_register = 8};
    begin_talk(&talk, WIRE_MODBUS_ASCII, 1);
    expect_sent(&talk, frame("fc04_req"));
    assert_int_equal(hear_text(&talk, frame("fc04_resp")), WIRE_DONE);
    demand_value(&talk, 0, QUALITY_GOOD, 10000);
}

static void ascii_calls_the_wrong_by_name(void **state) {
    static const struct {
        const char *text;
        enum wire_status status;
    } replies[] = {
        {":1183026A\r\n", WIRE_REFUSED},
        {":120306022B0000006454\r\n", WIRE_WRONG_ADDRESS},
        {":110402000ADF\r\n", WIRE_WRONG_FUNCTION},
        {":110600010003E5\r\n", WIRE_WRONG_FUNCTION},
        {":110304022B0000BB\r\n", WIRE_SHORT}, // a register less
        {":110308022B000000640000"
         "53\r\n",
         WIRE_LONG}, // a register more
        {":110306022B0000006456\r\n", WIRE_BAD_CHECK},
        {":110306022b0000006455\r\n", WIRE_BAD_CHECK}, // the guide knows capital letters only
        {":11030G022B0000006455\r\n", WIRE_BAD_CHECK},
        {":110306022B000000645\r\n", WIRE_SHORT}, // half a byte
        {":\r\n", WIRE_SHORT},
        {":110306022B0000006455\n", WIRE_BAD_CHECK},
        {"110306022B0000006455\r\n", WIRE_BAD_CHECK}, // its colon was lost
        {":110306022B0000006455\r\n:11", WIRE_SPLICED},
        {":110306022B0000006455\r\nx", WIRE_LONG},
        {":110306022B00:110306022B0000006455\r\n", WIRE_DONE}, // a colon begins again
        {":110306022B0000006455", WIRE_MORE},
        {"", WIRE_MORE},
    };
    struct talk talk;

    (void)state;
    begin_ascii(&talk);
    for (size_t i = 0; i < COUNT(replies); i++) {
        const enum wire_status status = reply(&talk, replies[i].text);

        if (status != replies[i].status)
            fail_msg("'%s': %s", replies[i].text, wire_status_name(status));
    }
    assert_int_equal(reply(&talk, frame("exc_83_02")), WIRE_REFUSED);
    assert_int_equal(talk.exchange.refusal, 2);
    talk.wire->start(&talk.exchange, &talk.request);
    assert_int_equal(hear(&talk, "\xff\0", 2), WIRE_MORE);
    assert_int_equal(hear_text(&talk, frame("fc03_resp")), WIRE_DONE);
}

static void ascii_lets_a_second_pass_within_a_frame(void **state) {
    struct talk talk;
    const char *text = frame("fc03_resp");
    int64_t pause_us;

    (void)state;
    begin_ascii(&talk);
    pause_us = talk.wire->pause_us(BAUD);
    for (size_t i = 0; text[i] != '\0'; i++) {
        talk.now_us += SECOND_US;
        assert_int_equal(talk.wire->wait(&talk.exchange, pause_us, talk.now_us), WIRE_MORE);
        assert_int_equal(hear(&talk, &text[i], 1), text[i + 1] == '\0' ? WIRE_DONE : WIRE_MORE);
    }
    assert_int_equal(talk.exchange.first_byte_us, 2 * SECOND_US);
    talk.wire->start(&talk.exchange, &talk.request);
    assert_int_equal(hear(&talk, text, 5), WIRE_MORE);
    talk.now_us += pause_us + 1;
    assert_int_equal(talk.wire->wait(&talk.exchange, pause_us, talk.now_us), WIRE_SHORT);
}

static void ascii_passes_over_one_echo(void **state) {
    struct talk talk;

    (void)state;
    begin_ascii(&talk);
    assert_int_equal(hear_text(&talk, frame("fc03_req")), WIRE_MORE);
    assert_true(talk.exchange.echoed);
    assert_int_equal(talk.exchange.length, 0); // nothing of a reply yet
    assert_int_equal(hear_text(&talk, frame("fc03_resp")), WIRE_DONE);
    talk.wire->start(&talk.exchange, &talk.request);
    assert_int_equal(hear_text(&talk, frame("fc03_req")), WIRE_MORE);
    assert_int_not_equal(hear_text(&talk, frame("fc03_req")), WIRE_MORE);
    assert_int_not_equal(hear_text(&talk, frame("fc03_req")), WIRE_DONE);
}

/* Every single bit, every lost byte and every doubled one of a text. */
static void expect_no_damage_taken(struct talk *talk, const char *good, int64_t value) {
    const size_t length = strlen(good);

    for (size_t at = 0; at < length; at++) {
        for (int how = 0; how < BITS + 2; how++) {
            char text[LINE_BYTES];
            size_t used = length;
            struct reading reading = {0};

            memcpy(text, good, length);
            if (how < BITS)
                text[at] = (char)(text[at] ^ 1 << how);
            else if (how == BITS)
                memmove(text + at, text + at + 1, --used - at);
            else
                memmove(text + at + 1, text + at, used++ - at);
            talk->wire->start(&talk->exchange, &talk->request);
            if (hear(talk, text, used) == WIRE_DONE) {
                assert_true(talk->wire->read(&talk->exchange, talk->wanted[0], &reading));
                if (reading.quality == QUALITY_GOOD)
                    assert_int_equal(reading.value, value);
            }
        }
    }
}

static void ascii_takes_no_damage(void **state) {
    struct talk talk;

    (void)state;
    begin_ascii(&talk);
    expect_no_damage_taken(&talk, frame("fc03_resp"), 0x022b * INT64_C(1000));
}

/* ---- Modbus RTU: what its lengths say ---- */

static void rtu_tells_lengths_apart(void **state) {
    static const uint8_t replies[][16] = {
        {7, 0x11, 0x04, 0x02, 0x00, 0x0a, 0xf8, 0xf4},
        {8, 0x11, 0x04, 0x02, 0x00, 0x0a, 0xf8, 0xf4, 0x00},
        {10, 0x11, 0x04, 0x02, 0x00, 0x0a, 0xf8, 0xf4, 0x11, 0x04, 0x02},
        {5, 0x11, 0x84, 0x02, 0xc3, 0x04},
    };
    struct talk talk = {.fittings = {{.function = 4, .first_register = 8}}};

    (void)state;
    begin_talk(&talk, WIRE_MODBUS_RTU, 1);
    assert_int_equal(talk.exchange.sent_length, MODBUS_REQUEST_BYTES);
    assert_int_equal(hear(&talk, (const char *)replies[0] + 1, replies[0][0]), WIRE_DONE);
    demand_value(&talk, 0, QUALITY_GOOD, 10000);
    talk.wire->start(&talk.exchange, &talk.request);
    assert_int_equal(hear(&talk, (const char *)replies[1] + 1, replies[1][0]), WIRE_LONG);
    talk.wire->start(&talk.exchange, &talk.request);
    assert_int_equal(hear(&talk, (const char *)replies[2] + 1, replies[2][0]), WIRE_SPLICED);
    talk.wire->start(&talk.exchange, &talk.request);
    assert_int_equal(hear(&talk, (const char *)replies[3] + 1, replies[3][0]), WIRE_REFUSED);
    assert_int_equal(talk.exchange.refusal, 2);
    // A register more than was asked for, or none at all where one was.
    talk.request.count = 2;
    talk.wire->start(&talk.exchange, &talk.request);
    assert_int_equal(hear(&talk, (const char *)replies[0] + 1, replies[0][0]), WIRE_SHORT);
    talk.wire->start(&talk.exchange, &talk.request);
    assert_int_equal(hear(&talk, (const char *)replies[0] + 1, 4), WIRE_MORE);
    talk.now_us += SECOND_US;
    assert_int_equal(talk.wire->wait(&talk.exchange, talk.wire->pause_us(BAUD), talk.now_us), WIRE_SHORT);
}

/* ---- polled text ---- */

static void begin_polled(struct talk *talk) {
    memset(talk, 0, sizeof *talk);
    strcpy(talk->fittings[0].query, "#{address:2}T?");
    strcpy(talk->fittings[1].query, "#{address:2}T?");
    talk->fittings[0].field = 1;
    talk->fittings[1].field = 3;
    talk->fittings[0].separator = talk->fittings[1].separator = ',';
    strcpy(talk->setting.query_end, "\r");
    strcpy(talk->setting.text_end, "\r\n");
    talk->setting.word_count = 2;
    talk->setting.words[0] = (struct wire_word){"OPEN", QUALITY_OPEN_SENSOR};
    talk->setting.words[1] = (struct wire_word){"----", QUALITY_UNDER_RANGE};
    begin_talk(talk, WIRE_POLLED_TEXT, 2);
}

static void polled_text_asks_and_reads(void **state) {
    struct talk talk;

    (void)state;
    begin_polled(&talk);
    expect_sent(&talk, "#17T?\r");
    assert_int_equal(hear_text(&talk, "802.5, x, +8.031E"), WIRE_MORE);
    talk.now_us++;
    assert_int_equal(hear_text(&talk, "+02\r\n"), WIRE_DONE);
    assert_int_equal(talk.exchange.first_byte_us, SECOND_US);
    demand_value(&talk, 0, QUALITY_GOOD, 802500);
    demand_value(&talk, 1, QUALITY_GOOD, 803100);
    assert_int_equal(reply(&talk, "OPEN,,----\r\n"), WIRE_DONE);
    demand_value(&talk, 0, QUALITY_OPEN_SENSOR, 0);
    demand_value(&talk, 1, QUALITY_UNDER_RANGE, 0);
    assert_int_equal(reply(&talk, "+9.9E37,,-9.9E37\r\n"), WIRE_DONE);
    demand_value(&talk, 0, QUALITY_OVER_RANGE, 0);
    demand_value(&talk, 1, QUALITY_UNDER_RANGE, 0);
    assert_int_equal(reply(&talk, "#17T?\r802.5,,3\r\n"), WIRE_DONE); // with an echo in front
    assert_true(talk.exchange.echoed);
    assert_int_equal(reply(&talk, "#17T?\r\n802.5,,3\r\n"), WIRE_DONE);
}

static void polled_text_calls_the_wrong_by_name(void **state) {
    static const struct {
        const char *text;
        enum wire_status status;
    } replies[] = {
        {"802.5,,803.1\r", WIRE_MORE},           {"802.5,803.1\r\n", WIRE_UNREADABLE}, // there is no third field
        {"802.5,,\r\n", WIRE_UNREADABLE},        {"802.5,,open\r\n", WIRE_UNREADABLE},
        {"802.5 C,,803.1\r\n", WIRE_UNREADABLE}, {"802.5,\x01,803.1\r\n", WIRE_BAD_CHECK},
        {"802.5,,803.1\r\n802", WIRE_SPLICED},   {"802.5,,803.1\r\n\n", WIRE_DONE},
    };
    struct talk talk;
    char endless[WIRE_TEXT_BYTES + 2];

    (void)state;
    begin_polled(&talk);
    for (size_t i = 0; i < COUNT(replies); i++) {
        const enum wire_status status = reply(&talk, replies[i].text);

        if (status != replies[i].status)
            fail_msg("'%s': %s", replies[i].text, wire_status_name(status));
    }
    memset(endless, '1', sizeof endless);
    endless[sizeof endless - 1] = '\0';
    assert_int_equal(reply(&talk, endless), WIRE_LONG);
    assert_int_equal(reply(&talk, "80"), WIRE_MORE);
    assert_int_equal(talk.wire->wait(&talk.exchange, 1000, talk.now_us + 1000), WIRE_MORE);
    assert_int_equal(talk.wire->wait(&talk.exchange, 1000, talk.now_us + 1001), WIRE_SHORT);
    talk.setting.fields = 3;
    assert_int_equal(reply(&talk, "802.5,,803.1\r\n"), WIRE_DONE);
    assert_int_equal(reply(&talk, "802.5,,803.1,1\r\n"), WIRE_UNREADABLE);
}

/* Whatever one error does to a checked answer, no other value comes of it. */
static void checked_text_takes_no_damage(void **state) {
    struct talk talk;
    char good[LINE_BYTES];

    (void)state;
    for (int check = TEXT_CHECK_SUM; check < TEXT_CHECK_COUNT; check++) {
        static const char text[] = "T=802.5 C ";
        const int digits = (int)text_check_digits((enum text_check)check);

        memset(&talk, 0, sizeof talk);
        strcpy(talk.fittings[0].query, "T?");
        strcpy(talk.fittings[0].pattern, "T={value} C ");
        strcpy(talk.setting.text_end, "\r\n");
        talk.setting.check = (enum text_check)check;
        begin_talk(&talk, WIRE_POLLED_TEXT, 1);
        snprintf(good, sizeof good, "%s%0*X\r\n", text, digits,
                 text_compute_check((enum text_check)check, text, strlen(text)));
        assert_int_equal(hear_text(&talk, good), WIRE_DONE);
        demand_value(&talk, 0, QUALITY_GOOD, 802500);
        expect_no_damage_taken(&talk, good, 802500);
    }
}

/* ---- free-running text ---- */

static void begin_free(struct talk *talk) {
    memset(talk, 0, sizeof *talk);
    strcpy(talk->fittings[0].pattern, "T1={value};{any}");
    strcpy(talk->fittings[1].pattern, "{any};T2={value}");
    strcpy(talk->setting.text_end, "\r\n");
    begin_talk(talk, WIRE_FREE_TEXT, 2);
}

/* Takes lines off `text` as a poller does; the statuses that were not WIRE_MORE, and the first channel's values. */
static void listen(struct talk *talk, const char *text, char *said, size_t most) {
    const size_t length = strlen(text);
    size_t used, out = strlen(said);

    for (size_t at = 0; at < length; at += used) {
        const enum wire_status status =
            talk->wire->take(&talk->exchange, (const uint8_t *)text + at, length - at, talk->now_us, &used);
        struct reading reading;

        assert_in_range(used, 1, length - at);
        if (status == WIRE_DONE && talk->wire->read(&talk->exchange, talk->wanted[0], &reading))
            out += (size_t)snprintf(said + out, most - out, "%lld ", (long long)reading.value);
        else if (status != WIRE_MORE)
            out += (size_t)snprintf(said + out, most - out, "%s; ", wire_status_name(status));
    }
}

static void free_text_waits_for_a_line_to_begin(void **state) {
    struct talk talk;
    char said[LINE_BYTES] = "";

    (void)state;
    begin_free(&talk);
    assert_int_equal(talk.exchange.sent_length, 0);
    // Where the first bytes belong nobody knows: 1=802.5 may be the end of 11=802.5.
    listen(&talk, "T1=1;T2=2\r\nT1=3;T2=4\r", said, sizeof said);
    listen(&talk, "\nT1=5;T2=6\r\nT1=7;T2=8\r\n", said, sizeof said);
    assert_string_equal(said, "3000 5000 7000 ");
    demand_value(&talk, 1, QUALITY_GOOD, 8000);
    assert_int_equal(talk.exchange.length, 0); // between two lines
}

static void free_text_finds_back_after_garbage(void **state) {
    struct talk talk;
    char said[LINE_BYTES] = "", endless[WIRE_TEXT_BYTES + 8];

    (void)state;
    begin_free(&talk);
    listen(&talk, "\r\nT1=1;T2=1\r\nT1=\x01;T2=1\r\nT1=2;T2=1\r\n", said, sizeof said);
    assert_string_equal(said, "1000 check does not hold; 2000 ");
    said[0] = '\0';
    memset(endless, 'x', sizeof endless);
    endless[sizeof endless - 1] = '\0';
    listen(&talk, endless, said, sizeof said);
    assert_int_equal(talk.exchange.length, 0); // nothing waits for the rest
    listen(&talk, "T1=3;T2=3\r\nT1=4;T2=4\r\n", said, sizeof said);
    assert_string_equal(said, "reply too long; 4000 ");
    // A line that breaks off, and goes on too late.
    said[0] = '\0';
    listen(&talk, "T1=5", said, sizeof said);
    talk.now_us += talk.wire->pause_us(BAUD) + 1;
    assert_int_equal(talk.wire->wait(&talk.exchange, talk.wire->pause_us(BAUD), talk.now_us), WIRE_SHORT);
    listen(&talk, "T1=6;T2=7\r\nT1=8;T2=8\r\n", said, sizeof said);
    assert_string_equal(said, "8000 ");
    // One that is dribbled for ever holds up nobody.
    for (int i = 0; i < 5; i++) {
        assert_int_equal(talk.wire->wait(&talk.exchange, SECOND_US, talk.now_us), WIRE_MORE);
        listen(&talk, "1", said, sizeof said);
        talk.now_us += SECOND_US;
    }
    talk.now_us++;
    assert_int_equal(talk.wire->wait(&talk.exchange, 2 * SECOND_US, talk.now_us), WIRE_SHORT);
}

/* Found by fuzzing: the byte that is one too many may be the first of the line's end. */
static void free_text_finds_the_end_of_a_line_that_just_does_not_fit(void **state) {
    (void)state;
    for (size_t short_by = 0; short_by < 3; short_by++) {
        char full[WIRE_TEXT_BYTES + 8], said[LINE_BYTES] = "";
        struct talk talk;

        begin_free(&talk);
        listen(&talk, "\r\n", said, sizeof said);
        memset(full, 'x', sizeof full);
        full[sizeof talk.exchange.bytes - short_by] = '\0';
        listen(&talk, full, said, sizeof said);
        listen(&talk, "\r\nT1=3;T2=3\r\n", said, sizeof said);
        assert_non_null(strstr(said, "3000 "));
    }
}

static void every_status_has_a_name(void **state) {
    (void)state;
    for (int i = 0; i < WIRE_STATUS_COUNT; i++)
        assert_string_not_equal(wire_status_name((enum wire_status)i), "unknown status");
    assert_string_equal(wire_status_name((enum wire_status)WIRE_STATUS_COUNT), "unknown status");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ascii_asks_and_reads_as_published),
        cmocka_unit_test(ascii_calls_the_wrong_by_name),
        cmocka_unit_test(ascii_lets_a_second_pass_within_a_frame),
        cmocka_unit_test(ascii_passes_over_one_echo),
        cmocka_unit_test(ascii_takes_no_damage),
        cmocka_unit_test(rtu_tells_lengths_apart),
        cmocka_unit_test(polled_text_asks_and_reads),
        cmocka_unit_test(polled_text_calls_the_wrong_by_name),
        cmocka_unit_test(checked_text_takes_no_damage),
        cmocka_unit_test(free_text_waits_for_a_line_to_begin),
        cmocka_unit_test(free_text_finds_back_after_garbage),
        cmocka_unit_test(free_text_finds_the_end_of_a_line_that_just_does_not_fit),
        cmocka_unit_test(every_status_has_a_name),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
