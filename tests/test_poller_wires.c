// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
/* The poller with instruments of every kind, and with controllers that take no long requests. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/modbus.h"
#include "support/bus.h"
#include "support/pty_pair.h"
#include "support/rig.h"
#include "support/talker.h"

enum {
    INPUT = MODBUS_READ_INPUT,
    SECOND_MS = 1000,
    US_PER_MS = 1000,
    PER_UNIT = 1000,
    SLACK_MS = 60,
    WITHIN_MS = 80,
    DEAD_WITHIN_MS = 25
};

static struct capture sent = CAPTURE_EMPTY;

/* ---- long requests ---- */

static void open_long(struct bus *bus, struct rig *rig, bool simulated, unsigned channels, int64_t interval_ms) {
    size_t a;

    bus_open(bus, 1, 0, &sent);
    rig_begin(rig, simulated);
    rig_add_line(rig, bus->pair.far);
    a = rig_add_instrument(rig, 0, 1, WITHIN_MS, 0);
    for (unsigned i = 0; i < channels; i++)
        rig_add_bus_channel(rig, a, INPUT, 10 + i, interval_ms);
    rig_open(rig);
    assert_int_equal(poller_count_requests(rig->poller), 1);
}

static void halves_what_is_refused(void **state) {
    enum { CHANNELS = 16, LONGEST = 5, FAST_MS = 100 };
    struct bus bus;
    struct rig rig;

    (void)state;
    open_long(&bus, &rig, true, CHANNELS, FAST_MS);
    atomic_store(&bus.instruments[0].longest, LONGEST);
    rig_run(&rig, 10L * FAST_MS);
    assert_int_equal(poller_count_requests(rig.poller), 4); // 16, 8, 4
    assert_int_equal(poller_read_counts(rig.poller, 0).splits, 3);
    rig_forget(&rig);
    rig_run(&rig, 10L * FAST_MS);
    for (size_t i = 0; i < CHANNELS; i++) {
        assert_int_equal(rig_count_all(&rig, i), rig_count(&rig, i, QUALITY_GOOD, 0));
        assert_in_range(rig_count_all(&rig, i), 8, 11);
    }
    // It has learned: nothing is refused any more, and nothing was skipped for it.
    assert_int_equal(poller_read_counts(rig.poller, 0).exceptions, 2 + 2 * 2);
    assert_int_equal(poller_read_counts(rig.poller, 0).skipped, 0);
    rig_end(&rig);
    bus_close(&bus);
}

static void one_refused_register_harms_no_neighbour(void **state) {
    enum { CHANNELS = 11, FAST_MS = 100, HOLE = 4 };
    struct bus bus;
    struct rig rig;

    (void)state;
    open_long(&bus, &rig, true, CHANNELS, FAST_MS);
    atomic_store(&bus.instruments[0].hole, 10 + HOLE);
    rig_run(&rig, 16L * FAST_MS);
    rig_forget(&rig);
    rig_run(&rig, 10L * FAST_MS);
    for (size_t i = 0; i < CHANNELS; i++) {
        assert_int_equal(rig_count_all(&rig, i),
                         rig_count(&rig, i, i == HOLE ? QUALITY_EXCEPTION : QUALITY_GOOD, 0));
        assert_in_range(rig_count_all(&rig, i), 8, 11);
    }
    // Once it is there it is read again.
    atomic_store(&bus.instruments[0].hole, 0);
    rig_run(&rig, 4L * FAST_MS);
    assert_true(rig_count(&rig, HOLE, QUALITY_GOOD, 0) > 0);
    rig_end(&rig);
    bus_close(&bus);
}

static void halves_what_is_not_answered(void **state) {
    enum { CHANNELS = 8, LONGEST = 4, FAST_MS = 100 };
    struct bus bus;
    struct rig rig;

    (void)state;
    open_long(&bus, &rig, false, CHANNELS, FAST_MS);
    atomic_store(&bus.instruments[0].longest, LONGEST);
    atomic_store(&bus.instruments[0].mute, true);
    rig_run(&rig, 14L * FAST_MS);
    assert_int_equal(poller_count_requests(rig.poller), 2);
    rig_forget(&rig);
    rig_run(&rig, 6L * FAST_MS);
    for (size_t i = 0; i < CHANNELS; i++)
        assert_in_range(rig_count(&rig, i, QUALITY_GOOD, 0), 4, 7);
    rig_end(&rig);
    bus_close(&bus);
}

/* One that had no power is no reason; neither is one that refuses for another reason or now and then. */
static void halves_nothing_without_need(void **state) {
    enum { CHANNELS = 8, FAST_MS = 100 };
    struct bus bus;
    struct rig rig;

    (void)state;
    open_long(&bus, &rig, false, CHANNELS, FAST_MS);
    atomic_store(&bus.instruments[0].manner, BUS_SILENT);
    rig_run(&rig, 7L * FAST_MS);
    atomic_store(&bus.instruments[0].manner, BUS_WELL);
    rig_run(&rig, 6L * FAST_MS);
    atomic_store(&bus.instruments[0].every, 2);
    atomic_store(&bus.instruments[0].manner, BUS_REFUSING);
    rig_run(&rig, 8L * FAST_MS);
    assert_true(rig_count(&rig, 0, QUALITY_EXCEPTION, 0) > 0);
    assert_int_equal(poller_count_requests(rig.poller), 1);
    rig_end(&rig);
    bus_close(&bus);
}

/* ---- times ---- */

static void seven_keep_their_rate_beside_a_dead_eighth(void **state) {
    enum { INSTRUMENTS = 8, DEAD = 3, FAST_MS = 100, RUN_MS = 1000 };
    struct bus bus;
    struct rig rig;

    (void)state;
    bus_open(&bus, INSTRUMENTS, 0, &sent);
    atomic_store(&bus.instruments[DEAD].manner, BUS_SILENT);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    for (int i = 0; i < INSTRUMENTS; i++)
        for (unsigned j = 0; j < 4; j++)
            rig_add_bus_channel(
                &rig,
                j > 0 ? (size_t)i : rig_add_instrument(&rig, 0, i + 1, i == DEAD ? DEAD_WITHIN_MS : SLACK_MS, 2),
                INPUT, j, FAST_MS);
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 2); // in which it is found to be dead
    rig_forget(&rig);
    rig_run(&rig, RUN_MS);
    for (size_t i = 0; i < rig.config.channel_count; i++)
        assert_in_range(rig_count(&rig, i, i / 4 == DEAD ? QUALITY_NO_REPLY : QUALITY_GOOD, 0),
                        RUN_MS / FAST_MS - 2, RUN_MS / FAST_MS + 1);
    rig_end(&rig);
    bus_close(&bus);
}

static void an_instrument_gets_its_rest(void **state) {
    enum { REST_MS = 15 };
    struct bus bus;
    struct rig rig;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    rig_add_instrument(&rig, 0, 1, SECOND_MS, 0);
    rig.instruments[0].turnaround_ms = REST_MS;
    for (unsigned i = 0; i < 4; i++)
        rig_add_bus_channel(&rig, 0, INPUT, 2 * i, SECOND_MS / 10);
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 2);
    assert_true(rig_count(&rig, 3, QUALITY_GOOD, 0) > 1);
    assert_in_range(atomic_load(&bus.least_gap_us), REST_MS * 1000, 2 * REST_MS * 1000);
    rig_end(&rig);
    bus_close(&bus);
}

/* ---- what went wrong, told apart ---- */

static const struct wrong {
    enum bus_manner manner;
    enum wire_status status; // WIRE_MORE: none
} wrongs[] = {
    {BUS_WELL, WIRE_MORE},
    {BUS_CUT, WIRE_SHORT},
    {BUS_GARBAGE_AFTER, WIRE_LONG},
    {BUS_OTHER_ADDRESS, WIRE_WRONG_ADDRESS},
    {BUS_OTHER_FUNCTION, WIRE_WRONG_FUNCTION},
    {BUS_OTHER_COUNT, WIRE_SHORT},
    {BUS_ECHOING, WIRE_MORE},
    {BUS_REFUSING, WIRE_MORE},
};
enum { WRONGS = sizeof wrongs / sizeof wrongs[0] };

/* What the journal says meanwhile. */
static void write_summary(struct poller *poller, char *text, size_t size) {
    FILE *file = tmpfile();
    const int kept = dup(STDERR_FILENO);
    size_t length;

    assert_non_null(file);
    dup2(fileno(file), STDERR_FILENO);
    poller_write_summary(poller);
    dup2(kept, STDERR_FILENO);
    close(kept);
    rewind(file);
    length = fread(text, 1, size - 1, file);
    text[length] = '\0';
    fclose(file);
}

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in:\n%s", part, text);
}

static void counts_what_went_wrong(void **state) {
    struct bus buses[WRONGS];
    struct rig rig;
    char text[4096];
    uint64_t unasked;

    (void)state;
    rig_begin(&rig, false);
    for (size_t i = 0; i < WRONGS; i++) {
        bus_open(&buses[i], 1, 0, &sent);
        atomic_store(&buses[i].instruments[0].manner, wrongs[i].manner);
        rig_add_instrument(&rig, rig_add_line(&rig, buses[i].pair.far), 1, SLACK_MS, 1);
        rig_add_bus_channel(&rig, i, INPUT, 0, SECOND_MS);
        rig_add_bus_channel(&rig, i, INPUT, 1, SECOND_MS);
    }
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 2);
    for (size_t i = 0; i < WRONGS; i++) {
        const struct poller_counts counts = poller_read_counts(rig.poller, i);
        const struct poller_counts sum = poller_read_line_counts(rig.poller, i, &unasked);

        assert_memory_equal(&counts, &sum, sizeof counts);
        for (int status = 0; status < WIRE_STATUS_COUNT; status++)
            assert_int_equal(counts.by_status[status],
                             wrongs[i].status != WIRE_MORE && status == (int)wrongs[i].status ? 2 : 0);
        assert_int_equal(counts.bad_frames, wrongs[i].status != WIRE_MORE ? 2 : 0);
        assert_int_equal(counts.exceptions, wrongs[i].manner == BUS_REFUSING);
        assert_int_equal(counts.echoes, wrongs[i].manner == BUS_ECHOING);
    }
    write_summary(rig.poller, text, sizeof text);
    contains(text, "line two, instrument one: 2 too short\n");
    contains(text, "line three, instrument one: 2 too long\n");
    contains(text, "line four, instrument one: 2 of another address\n");
    contains(text, "line five, instrument one: 2 of another function\n");
    contains(text, "line eight, instrument one: 1 refused\n");
    assert_null(strstr(text, "line one"));
    assert_null(strstr(text, "line seven")); // an echo is how some adapters are
    write_summary(rig.poller, text, sizeof text);
    assert_string_equal(text, ""); // said once
    rig_end(&rig);
    for (size_t i = 0; i < WRONGS; i++)
        bus_close(&buses[i]);
}

static void counts_what_came_late_or_unasked(void **state) {
    enum { LATE_MS = 60, REPLY_WITHIN_MS = 40 };
    struct bus bus;
    struct rig rig;
    char text[1024];
    uint64_t unasked;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    atomic_store(&bus.instruments[0].delay_ms, LATE_MS);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    rig_add_instrument(&rig, 0, 1, REPLY_WITHIN_MS, 0);
    rig_add_bus_channel(&rig, 0, INPUT, 0, 10L * SECOND_MS);
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 4);
    assert_int_equal(poller_read_counts(rig.poller, 0).lates, 1);
    assert_int_equal(poller_read_counts(rig.poller, 0).timeouts, 1);
    assert_int_equal(write(bus.pair.near, "noise", 5), 5);
    rig_run(&rig, SECOND_MS / 10);
    poller_read_line_counts(rig.poller, 0, &unasked);
    assert_int_equal(unasked, 1);
    write_summary(rig.poller, text, sizeof text);
    contains(text, "1 unanswered, 1 late");
    contains(text, "something came unasked 1 times");
    rig_end(&rig);
    bus_close(&bus);
}

/* ---- text ---- */

static struct talker *open_talker(struct talker *talker, const struct pty_pair *pair, int every_ms,
                                  size_t (*speak)(struct talker *, const char *, char *)) {
    memset(talker, 0, sizeof *talker);
    talker->descriptor = pair->near;
    talker->ends_with = '\n';
    talker->speak = speak;
    atomic_store(&talker->every_ms, every_ms);
    talker_start(talker);
    return talker;
}

static void set_text(struct rig *rig, size_t instrument, enum wire_kind kind) {
    struct wire_setting *setting = &rig->instruments[instrument].setting;

    setting->kind = kind;
    setting->address = rig->instruments[instrument].address;
    strcpy(setting->query_end, "\r\n");
    strcpy(setting->text_end, "\r\n");
    rig->instruments[instrument].missing_after = 2;
}

static struct channel_fitting *add_text(struct rig *rig, size_t instrument, const char *query, unsigned field,
                                        int64_t interval_ms, int64_t expected) {
    const size_t channel = rig_add_channel(rig, instrument, 0, 0, ENCODING_INT32, interval_ms, expected);
    struct channel_fitting *fitting = &rig->channels[channel].fitting;

    fitting->wire = rig->instruments[instrument].setting.kind;
    fitting->field = field;
    fitting->separator = ',';
    strcpy(fitting->query, query);
    return fitting;
}

enum free_manner { FREE_WELL, FREE_SILENT, FREE_BROKEN };

static size_t print_values(struct talker *talker, const char *asked, char *out) {
    (void)asked;
    switch (atomic_load(&talker->manner)) {
    case FREE_WELL: return (size_t)sprintf(out, "802.5, +8.031E+02, OPEN\r\n");
    case FREE_BROKEN: return (size_t)sprintf(out, "802.5\x01, #\r\n");
    default: return 0;
    }
}

static void listens_to_what_is_printed(void **state) {
    enum { FAST_MS = 60, PRINT_MS = 12, RUN_MS = 600, EDGES = 2 }; // a period may end at either edge of the run
    struct pty_pair pair;
    struct talker talker;
    struct rig rig;

    (void)state;
    pty_pair_open(&pair);
    rig_begin(&rig, false);
    rig_add_line(&rig, pair.far);
    rig_add_instrument(&rig, 0, 0, 0, 0);
    set_text(&rig, 0, WIRE_FREE_TEXT);
    rig.instruments[0].setting.word_count = 1;
    rig.instruments[0].setting.words[0] = (struct wire_word){"OPEN", QUALITY_OPEN_SENSOR};
    add_text(&rig, 0, "", 1, FAST_MS, 802500);
    add_text(&rig, 0, "", 2, 2L * FAST_MS, 803100);
    add_text(&rig, 0, "", 3, FAST_MS, 0);
    rig_open(&rig);
    open_talker(&talker, &pair, PRINT_MS, print_values);
    rig_run(&rig, RUN_MS);
    // Its lines come five times as often as wanted.
    assert_in_range(rig_count(&rig, 0, QUALITY_GOOD, 0), RUN_MS / FAST_MS / 2, RUN_MS / FAST_MS * 4 / 3 + 1);
    assert_in_range(rig_count(&rig, 1, QUALITY_GOOD, 0), RUN_MS / FAST_MS / 4, RUN_MS / FAST_MS * 2 / 3 + 1);
    assert_int_equal(rig_count(&rig, 0, QUALITY_GOOD, 0), rig_count(&rig, 2, QUALITY_OPEN_SENSOR, 0));
    assert_in_range(rig_count_all(&rig, 0) - rig_count(&rig, 0, QUALITY_GOOD, 0), 0, 2); // the machine is shared

    atomic_store(&talker.manner, FREE_SILENT);
    rig_run(&rig, 2L * PRINT_MS + SLACK_MS);
    rig_forget(&rig);
    rig_run(&rig, RUN_MS);
    assert_in_range(rig_count(&rig, 0, QUALITY_NO_REPLY, 0), RUN_MS / FAST_MS - 4, RUN_MS / FAST_MS + EDGES);
    assert_in_range(rig_count(&rig, 1, QUALITY_NO_REPLY, 0), RUN_MS / FAST_MS / 2 - 3,
                    RUN_MS / FAST_MS / 2 + EDGES);
    assert_int_equal(rig_count_all(&rig, 0), rig_count(&rig, 0, QUALITY_NO_REPLY, 0));

    atomic_store(&talker.manner, FREE_BROKEN);
    rig_run(&rig, 2L * FAST_MS);
    rig_forget(&rig);
    rig_run(&rig, RUN_MS);
    assert_in_range(rig_count(&rig, 0, QUALITY_BAD_FRAME, 0), RUN_MS / FAST_MS - 4, RUN_MS / FAST_MS + EDGES);
    assert_int_equal(rig_count_all(&rig, 0), rig_count(&rig, 0, QUALITY_BAD_FRAME, 0));
    assert_true(poller_read_counts(rig.poller, 0).by_status[WIRE_BAD_CHECK] > 0);

    atomic_store(&talker.manner, FREE_WELL);
    rig_run(&rig, 3L * FAST_MS);
    assert_true(rig_count(&rig, 0, QUALITY_GOOD, 0) > 0);
    assert_int_equal(poller_read_counts(rig.poller, 0).requests, 0);
    assert_false(poller_expects_answer(rig.poller));
    talker_stop(&talker);
    rig_end(&rig);
    pty_pair_close(&pair);
}

static void a_printing_line_may_vanish(void **state) {
    enum { FAST_MS = 100 };
    struct pty_pair pair;
    struct talker talker;
    struct rig rig;

    (void)state;
    pty_pair_open(&pair);
    rig_begin(&rig, false);
    rig_add_line(&rig, pair.far);
    rig_add_instrument(&rig, 0, 0, 0, 0);
    set_text(&rig, 0, WIRE_FREE_TEXT);
    add_text(&rig, 0, "", 1, FAST_MS, 802500);
    rig_open(&rig);
    open_talker(&talker, &pair, FAST_MS / 2, print_values);
    rig_run(&rig, SECOND_MS / 2);
    assert_true(rig_count(&rig, 0, QUALITY_GOOD, 0) > 2);
    talker_stop(&talker);
    pty_pair_close(&pair);
    rig_forget(&rig);
    rig_run(&rig, SECOND_MS / 2);
    assert_in_range(rig_count(&rig, 0, QUALITY_NO_REPLY, 0), 3, 6);
    assert_int_equal(rig.event_count, 1);
    assert_int_equal(rig.events[0].kind, EVENT_LINE_LOST);
    rig_end(&rig);
}

/* Two instruments on one line: the address is in the query, but in no answer. */
static size_t answer_by_address(struct talker *talker, const char *asked, char *out) {
    (void)talker;
    if (strcmp(asked, "#01T?\r\n") == 0)
        return (size_t)sprintf(out, "100.5\r\n");
    if (strcmp(asked, "#01S?\r\n") == 0)
        return (size_t)sprintf(out, "150.5,9.9E37\r\n");
    if (strcmp(asked, "#02T?\r\n") == 0)
        return (size_t)sprintf(out, "200.5\r\n");
    return 0;
}

static void add_two_by_address(struct rig *rig, int64_t reply_within_ms, int64_t interval_ms) {
    for (int i = 0; i < 2; i++) {
        rig_add_instrument(rig, 0, i + 1, reply_within_ms, 1);
        set_text(rig, (size_t)i, WIRE_POLLED_TEXT);
    }
    add_text(rig, 0, "#{address:2}T?", 1, interval_ms, 100500);
    add_text(rig, 0, "#{address:2}S?", 1, interval_ms, 150500);
    add_text(rig, 0, "#{address:2}S?", 2, interval_ms, 0);
    add_text(rig, 1, "#{address:2}T?", 1, interval_ms, 200500);
}

static void asks_in_text(void **state) {
    enum { FAST_MS = 100, RUN_MS = 2000 };
    struct pty_pair pair;
    struct talker talker;
    struct rig rig;

    (void)state;
    pty_pair_open(&pair);
    rig_begin(&rig, true);
    rig_add_line(&rig, pair.far);
    add_two_by_address(&rig, SLACK_MS, FAST_MS);
    rig_open(&rig);
    assert_int_equal(poller_count_requests(rig.poller), 3); // one query for two values
    open_talker(&talker, &pair, 0, answer_by_address);
    rig_run(&rig, RUN_MS);
    for (size_t i = 0; i < 4; i++)
        assert_in_range(rig_count(&rig, i, i == 2 ? QUALITY_OVER_RANGE : QUALITY_GOOD, 0), RUN_MS / FAST_MS - 2,
                        RUN_MS / FAST_MS + 1);
    talker_stop(&talker);
    rig_end(&rig);
    pty_pair_close(&pair);
}

/* The first instrument's answer comes after the time that it has, while the second would be asked. */
static size_t answer_first_late(struct talker *talker, const char *asked, char *out) {
    if (strcmp(asked, "#01T?\r\n") == 0)
        usleep((useconds_t)atomic_load(&talker->manner) * US_PER_MS);
    return answer_by_address(talker, asked, out);
}

/* The answers do not tell whose they are: the rig lets no value pass that is another channel's. Of two that are due
 * at once the one that has just been late is asked second, so that the other meets its answer. */
static void expect_no_late_answer_taken(int late_ms) {
    enum { FAST_MS = 100, REPLY_WITHIN_MS = 40, RUN_MS = 1500 };
    struct pty_pair pair;
    struct talker talker;
    struct rig rig;

    pty_pair_open(&pair);
    rig_begin(&rig, false);
    rig_add_line(&rig, pair.far);
    add_two_by_address(&rig, REPLY_WITHIN_MS, FAST_MS);
    rig.instruments[0].retries = rig.instruments[1].retries = 0; // so that another is asked next
    rig_open(&rig);
    open_talker(&talker, &pair, 0, answer_first_late);
    atomic_store(&talker.manner, late_ms);
    rig_run(&rig, RUN_MS);
    print_message("%d ms late: %zu %zu %zu %zu good; %llu and %llu tries timed out\n", late_ms,
                  rig_count(&rig, 0, QUALITY_GOOD, 0), rig_count(&rig, 1, QUALITY_GOOD, 0),
                  rig_count(&rig, 2, QUALITY_OVER_RANGE, 0), rig_count(&rig, 3, QUALITY_GOOD, 0),
                  (unsigned long long)poller_read_counts(rig.poller, 0).timeouts,
                  (unsigned long long)poller_read_counts(rig.poller, 1).timeouts);
    assert_true(poller_read_counts(rig.poller, 0).timeouts >= 3);
    assert_true(rig_count(&rig, 3, QUALITY_GOOD, 0) > 0);
    talker_stop(&talker);
    rig_end(&rig);
    pty_pair_close(&pair);
}

static void takes_no_late_answer_for_another(void **state) {
    (void)state;
    expect_no_late_answer_taken(55);
    expect_no_late_answer_taken(75);
}

static void believes_no_step_beyond_physics(void **state) {
    enum { FAST_MS = 50 };
    struct bus bus;
    struct rig rig;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    rig_add_instrument(&rig, 0, 1, SLACK_MS, 0);
    rig_add_bus_channel(&rig, 0, INPUT, 0, FAST_MS);
    rig.channels[0].fitting.moves_at_most_mc_per_h = INT64_C(60000) * 3600;
    rig_open(&rig);
    rig_run(&rig, 4L * FAST_MS);
    assert_int_equal(rig_count(&rig, 0, QUALITY_GOOD, 0), rig_count_all(&rig, 0));
    rig.channels[0].fitting.decimals = -1; // ten times as much from one reading to the next
    rig.expected[0] *= 10;
    rig_forget(&rig);
    rig_run(&rig, 4L * FAST_MS);
    assert_int_equal(rig_count(&rig, 0, QUALITY_IMPLAUSIBLE, 0), 1);
    assert_in_range(rig_count(&rig, 0, QUALITY_GOOD, 0), 2, 4);
    rig_end(&rig);
    bus_close(&bus);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(halves_what_is_refused),
        cmocka_unit_test(one_refused_register_harms_no_neighbour),
        cmocka_unit_test(halves_what_is_not_answered),
        cmocka_unit_test(halves_nothing_without_need),
        cmocka_unit_test(seven_keep_their_rate_beside_a_dead_eighth),
        cmocka_unit_test(an_instrument_gets_its_rest),
        cmocka_unit_test(counts_what_went_wrong),
        cmocka_unit_test(counts_what_came_late_or_unasked),
        cmocka_unit_test(listens_to_what_is_printed),
        cmocka_unit_test(a_printing_line_may_vanish),
        cmocka_unit_test(asks_in_text),
        cmocka_unit_test(takes_no_late_answer_for_another),
        cmocka_unit_test(believes_no_step_beyond_physics),
    };
    const int result = cmocka_run_group_tests(tests, NULL, NULL);

    capture_clear(&sent);
    return result;
}
