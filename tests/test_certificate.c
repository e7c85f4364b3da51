// SPDX-License-Identifier: MIT
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/assess.h"
#include "soakledger/certificate.h"
#include "soakledger/replay.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)

enum { HARDENING = 0, TEMPERING = 1, MOST_BYTES = 400000 };

static const char SHOP[] = "name = Toolroom, plane irons and chisels\naddress = Bench 3\nutc_offset = +01:00\n";

/* Straight lines: 808 °C is 8 K above the band's lower edge. The front rises through the edge 8 K / 420 K/h = 68.6
 * s before level, the back 60 s after it; the front falls through it 8 K / 900 K/h = 32 s after level. So the soak
 * is the level time + 68.6 s - 60 s + 32 s = level + 40.6 s. */
static const struct fixture_run HARDENED = {.oven = HARDENING,
                                            .begun_ms = FIXTURE_START_MS + H,
                                            .start_mc = 190000,
                                            .top_mc = 808000,
                                            .end_mc = 600000,
                                            .rise_mc_per_h = 420000,
                                            .fall_mc_per_h = 900000,
                                            .level_ms = 20 * MIN,
                                            .back_lag_ms = 60 * S};

static int begin(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);

    fixture_make(fixture, SHOP, false);
    *state = fixture;
    return 0;
}

static int end(void **state) {
    fixture_remove(*state);
    free(*state);
    return 0;
}

static void claim(struct ledger_fixture *fixture, int64_t run_id, int64_t batch_id, size_t visit) {
    struct fault fault;

    assert_int_equal(
        ledger_claim_run(fixture->ledger, run_id, batch_id, visit, FIXTURE_START_MS + H, "daemon", &fault), 0);
}

static int64_t record_for(struct ledger_fixture *fixture, const struct fixture_run *shape, int64_t batch_id,
                          size_t visit) {
    const int64_t run_id = fixture_record(fixture, shape);

    claim(fixture, run_id, batch_id, visit);
    return run_id;
}

static int64_t open_batch(struct ledger_fixture *fixture, size_t oven, const char *plan) {
    return fixture_open_batch(fixture, oven, plan, "Joinery in the old mill", "Bevels up");
}

static void tempered_after(const struct fixture_run *before, struct fixture_run *shape) {
    *shape = (struct fixture_run){.oven = HARDENING,
                                  .begun_ms = fixture_end_ms(before) + H,
                                  .start_mc = 121000,
                                  .top_mc = 180000,
                                  .end_mc = 120000,
                                  .rise_mc_per_h = 300000,
                                  .fall_mc_per_h = 200000,
                                  .level_ms = 65 * MIN,
                                  .back_lag_ms = 60 * S};
}

/* Makes the certificate and gives its path, in the fixture's folder. */
static const char *make(struct ledger_fixture *fixture, int64_t batch_id, int64_t number, enum outcome *outcome) {
    const struct certificate_issue issue = {batch_id, number, 2, FIXTURE_START_MS + 20 * H};
    static char path[FIXTURE_PATH_BYTES + 16];
    unsigned char *bytes = NULL;
    struct fault fault = {0, ""};
    size_t length = 0;

    if (certificate_make(fixture->ledger, fixture->config, &issue, NULL, &bytes, &length, outcome, &fault) != 0)
        fail_msg("%s", fault.text);
    assert_true(length < MOST_BYTES);
    snprintf(path, sizeof path, "%s/sheet.pdf", fixture->folder);
    paper_write(path, bytes, length);
    free(bytes);
    return path;
}

static size_t count_pages(const char *path) {
    char *info = paper_run(NULL, "pdfinfo %s 2>/dev/null | sed -n 's/^Pages: *//p'", path);
    const size_t pages = (size_t)atoi(info);

    free(info);
    return pages;
}

static void check_layout(const char *path) {
    size_t count;
    struct paper_word *words = paper_words(path, &count);
    char *overlap = paper_find_overlap(words, count);
    const char *outside = paper_find_outside(words, count, 49, 12, 595.3 - 49, 842 - 12);

    if (overlap != NULL)
        fprintf(stderr, "overlap: %s\n", overlap);
    if (outside != NULL)
        fprintf(stderr, "outside: %s\n", outside);
    assert_null(overlap);
    assert_null(outside);
    assert_true(paper_is_sound(path));
    free(words);
}

static void says_met_with_every_figure(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fixture_run temper;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN);
    enum outcome outcome;
    const char *path;
    char *text;

    tempered_after(&HARDENED, &temper);
    record_for(fixture, &HARDENED, batch_id, 0);
    record_for(fixture, &temper, batch_id, 1);
    path = make(fixture, batch_id, 3, &outcome);
    assert_int_equal(outcome, OUTCOME_MET);
    text = paper_flat(path);
    assert_true(paper_has(text, "No. 3"));
    assert_true(paper_has(text, "certificate 3 · revision 2 · batch 1"));
    assert_true(paper_has(text, " MET Everything the plan requires was met."));
    assert_int_equal(paper_count(text, "NOT MET"), 0);
    assert_int_equal(paper_count(text, "NOT PROVEN"), 0);
    assert_true(paper_has(text, "7 of 7 requirements met, 0 not met, 0 not proven"));
    assert_true(paper_has(text, "soak time at least 15 min 20 min 40 s +5 min 40 s"));
    assert_true(paper_has(text, "at most 500 °C/h 420 °C/h +80 °C/h"));
    assert_true(paper_has(text, "Joinery in the old mill"));
    assert_true(paper_has(text, "6 plane irons, 50 mm; 4 paring chisels"));
    assert_true(paper_has(text, "AISI O1 (UNS T31501)"));
    assert_true(paper_has(text, "2026-11-17 04:00:00 UTC+01:00")); // issued, and one hour east
    assert_true(paper_has(text, "K-114, type K, class 1"));
    assert_true(paper_has(text, "page 1 of "));
    free(text);
    check_layout(path);
}

static void says_not_met_and_why(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fixture_run shape = HARDENED;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    enum outcome outcome;
    const char *path;
    char *text;

    shape.level_ms = 11 * MIN;
    record_for(fixture, &shape, batch_id, 0);
    path = make(fixture, batch_id, 1, &outcome);
    assert_int_equal(outcome, OUTCOME_NOT_MET);
    text = paper_flat(path);
    assert_true(paper_has(text, "NOT MET Soak hardening: The soak lasted 11 min 40 s; 20 min were required."));
    assert_true(paper_has(text, "−8 min 20 s"));
    free(text);
    check_layout(path);
}

static void says_not_proven_where_readings_are_missing(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fixture_run shape = HARDENED;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    enum outcome outcome;
    const char *path;
    char *text;

    shape.gap_from_ms = fixture_level_ms(&shape) - shape.begun_ms + 5 * MIN;
    shape.gap_ms = 4 * MIN;
    record_for(fixture, &shape, batch_id, 0);
    path = make(fixture, batch_id, 1, &outcome);
    assert_int_equal(outcome, OUTCOME_NOT_PROVEN);
    text = paper_flat(path);
    assert_true(paper_has(text, "NOT PROVEN"));
    assert_true(paper_has(text, "readings are missing"));
    assert_true(paper_has(text, "20 min 40 s possible"));
    assert_true(paper_has(text, "240 no reply"));
    assert_true(paper_has(text, "96.7 %"));
    assert_true(paper_has(text, "1, together 4 min 01 s, longest 4 min 01 s"));
    free(text);
    check_layout(path);
}

static void proves_nothing_without_a_run(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN);
    enum outcome outcome;
    const char *path = make(fixture, batch_id, 1, &outcome);
    char *text = paper_flat(path);

    assert_int_equal(outcome, OUTCOME_NOT_PROVEN);
    assert_true(paper_has(text, "NOT PROVEN"));
    assert_true(paper_has(text, "no oven run was recorded for this operation"));
    assert_true(paper_has(text, "0 of 7 requirements met"));
    free(text);
    check_layout(path);
}

static void warns_on_every_page_of_a_simulated_clock(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);
    enum outcome outcome;
    int64_t batch_id;
    const char *path;
    char *text;

    (void)state;
    fixture_make(fixture, SHOP, true);
    batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    record_for(fixture, &HARDENED, batch_id, 0);
    path = make(fixture, batch_id, 1, &outcome);
    text = paper_text(path);
    assert_true(count_pages(path) >= 3);
    assert_int_equal(paper_count(text, "SIMULATED CLOCK - not a record of real time"), 2 * count_pages(path));
    free(text);
    check_layout(path);
    fixture_remove(fixture);
    free(fixture);
}

static void says_nothing_of_simulation_in_real_time(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    enum outcome outcome;
    char *text;

    record_for(fixture, &HARDENED, batch_id, 0);
    text = paper_text(make(fixture, batch_id, 1, &outcome));
    assert_int_equal(paper_count(text, "SIMULATED"), 0);
    free(text);
}

static void lets_the_latest_run_that_reached_the_band_decide(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fixture_run cold = HARDENED, last = HARDENED;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    enum outcome outcome;
    struct assess_batch *assessed;
    struct fault fault;
    char *text;

    cold.top_mc = 600000;
    record_for(fixture, &cold, batch_id, 0);
    last.begun_ms = fixture_end_ms(&cold) + H;
    record_for(fixture, &last, batch_id, 0);
    cold.begun_ms = fixture_end_ms(&last) + H; // broken off after the good one: changes nothing
    record_for(fixture, &cold, batch_id, 0);
    assessed = assess_batch(fixture->ledger, batch_id, NULL, &fault);
    assert_non_null(assessed);
    assert_int_equal(assessed->visits[0].run_count, 3);
    assert_int_equal(assessed->visits[0].deciding, 1);
    assert_false(assessed->visits[0].runs[0].reached);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assess_free(assessed);
    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    assert_int_equal(paper_count(text, "broken off before the band was reached"), 2);
    assert_true(paper_has(text, "decides"));
    free(text);
    last.begun_ms =
        fixture_end_ms(&cold) + H; // a second one that reached it: the latest counts, for better or worse
    last.level_ms = 11 * MIN;
    record_for(fixture, &last, batch_id, 0);
    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    assert_int_equal(outcome, OUTCOME_NOT_MET);
    assert_true(paper_has(text, "an earlier attempt"));
    free(text);
}

static void lets_the_latest_decide_if_none_reached_it(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fixture_run cold = HARDENED;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    struct assess_batch *assessed;
    struct fault fault;

    cold.top_mc = 600000;
    record_for(fixture, &cold, batch_id, 0);
    cold.begun_ms = fixture_end_ms(&cold) + H;
    record_for(fixture, &cold, batch_id, 0);
    assessed = assess_batch(fixture->ledger, batch_id, NULL, &fault);
    assert_non_null(assessed);
    assert_int_equal(assessed->visits[0].deciding, 1);
    assert_int_equal(assessed->outcome, OUTCOME_NOT_MET);
    assess_free(assessed);
}

/* The enlarged curve's axis reaches as high as the soak did; that of the whole run counts in hundreds. A soak of 4
 * min is less than an eighth of this run, one of 20 min is more. */
static void enlarges_a_peak_of_one_reading(void **state) {
    static const struct {
        int64_t level_ms, spike_ms;
    } cases[] = {{20 * MIN, 0}, {20 * MIN, 427 * S}, {4 * MIN, 127 * S}};
    struct ledger_fixture *fixture = *state;
    struct fixture_run shape = HARDENED;
    enum outcome outcome;
    char *text, *enlarged;

    shape.start_mc = 500000;
    shape.spike_mc = 843000;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
        const int64_t level_s = (fixture_level_ms(&shape) - shape.begun_ms) / S;
        struct fault fault;

        shape.level_ms = cases[i].level_ms;
        shape.spike_at_ms = cases[i].spike_ms != 0 ? level_s * S + cases[i].spike_ms : 0;
        record_for(fixture, &shape, batch_id, 0);
        shape.begun_ms = fixture_end_ms(&shape) / S * S + H;
        text = paper_flat(make(fixture, batch_id, 1, &outcome));
        enlarged = strstr(text, "The soak, enlarged");
        assert_non_null(enlarged);
        assert_non_null(strstr(enlarged, "Where and when"));
        *strstr(enlarged, "Where and when") = '\0';
        assert_int_equal(strstr(enlarged, " 850 ") != NULL, cases[i].spike_ms != 0);
        free(text);
        assert_int_equal(ledger_close_batch(fixture->ledger, batch_id, shape.begun_ms, &fault), 0);
    }
}

static void gives_the_same_bytes_again(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    enum outcome outcome;
    const char *path;
    int status;

    record_for(fixture, &HARDENED, batch_id, 0);
    path = make(fixture, batch_id, 1, &outcome);
    free(paper_run(NULL, "mv %s %s.first", path, path));
    make(fixture, batch_id, 1, &outcome);
    free(paper_run(&status, "cmp %s %s.first", path, path));
    assert_int_equal(status, 0);
    make(fixture, batch_id, 2, &outcome);
    free(paper_run(&status, "cmp %s %s.first", path, path));
    assert_int_equal(status, 1);
}

static void wraps_long_names_of_any_script(void **state) {
    struct ledger_fixture *fixture = *state;
    char customer[600], note[3000] = "";
    enum outcome outcome;
    int64_t batch_id;
    const char *path, *full;
    char *text;

    memset(customer, 'M', sizeof customer - 1);
    customer[sizeof customer - 1] = '\0';
    for (int i = 0; i < 60; i++)
        snprintf(note + strlen(note), sizeof note - strlen(note), "Hobelmesserhärterei Łódź Ωμέγα; ");
    batch_id = fixture_open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN, customer, note);
    record_for(fixture, &HARDENED, batch_id, 0);
    path = make(fixture, batch_id, 1, &outcome);
    text = paper_flat(path);
    full = strstr(text, "In full: what the first page had no room for");
    assert_non_null(full);
    assert_int_equal(paper_count(full, "Hobelmesserhärterei"), 60);
    assert_int_equal(paper_count(full, "Ωμέγα"), 60);
    free(text);
    check_layout(path);
}

static void prints_the_plan_word_for_word(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN);
    char plan[2048], *from = plan, sha256[LEDGER_SHA256_TEXT_BYTES], *text;
    enum outcome outcome;

    text = paper_text(make(fixture, batch_id, 1, &outcome));
    ledger_sha256(FIXTURE_PLAN, strlen(FIXTURE_PLAN), sha256);
    assert_true(paper_has(text, sha256));
    snprintf(plan, sizeof plan, "%s", FIXTURE_PLAN);
    for (char *line = strsep(&from, "\n"); line != NULL; line = strsep(&from, "\n"))
        assert_true(paper_has(text, line));
    free(text);
}

static void says_that_the_charge_was_not_measured(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fixture_run shape;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_CONTROL);
    enum outcome outcome;
    char *text;

    tempered_after(&HARDENED, &shape);
    shape.oven = TEMPERING;
    shape.top_mc = 200000;
    record_for(fixture, &shape, batch_id, 0);
    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    // Level 65 min + 6 K / 300 K/h (72 s) + 6 K / 200 K/h (108 s) = 68 min, of 60 min and 10 min for the lag.
    assert_int_equal(outcome, OUTCOME_NOT_MET);
    assert_true(paper_has(text, "The soak lasted 1 h 08 min; 1 h 10 min were required."));
    assert_true(paper_has(text, "The temperature of the charge was not measured."));
    assert_true(paper_has(text, "For this the plan allows 10 min"));
    assert_true(paper_has(text, "the control sensor; none in the charge"));
    free(text);
}

static void lists_clock_steps_and_stops_within_the_runs(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    const struct event step = {HARDENED.begun_ms + H, EVENT_CLOCK_STEP, -H, ""};
    const struct event stopped = {HARDENED.begun_ms + H + 5 * MIN, EVENT_RESUMED, 90 * S, "same boot"};
    const struct event outside = {HARDENED.begun_ms - MIN, EVENT_LINE_LOST, 0, "elsewhere"};
    enum outcome outcome;
    struct fault fault;
    char *text;

    record_for(fixture, &HARDENED, batch_id, 0);
    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    assert_true(paper_has(text, "Nothing to report"));
    free(text);
    assert_int_equal(ledger_add_event(fixture->ledger, &step, &fault), 0);
    assert_int_equal(ledger_add_event(fixture->ledger, &stopped, &fault), 0);
    assert_int_equal(ledger_add_event(fixture->ledger, &outside, &fault), 0);
    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    assert_true(paper_has(text, "the computer's clock was put back by 1 h"));
    assert_true(paper_has(text, "went on after 1 min 30 s without recording: same boot"));
    assert_int_equal(paper_count(text, "elsewhere"), 0);
    free(text);
}

/* A gap is noticed only after three intervals, but is about its beginning: here another finding is made in between.
 */
static void lists_findings_by_the_moment_they_are_about(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fixture_run shape = HARDENED;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    const int64_t at_ms = (fixture_level_ms(&shape) - shape.begun_ms) / S * S + 5 * MIN;
    const struct assess_run *run;
    struct assess_batch *assessed;
    struct fault fault;
    size_t gap = SIZE_MAX, overshoot = SIZE_MAX;

    shape.gap_from_ms = at_ms;
    shape.gap_ms = MIN;
    shape.back_spike_at_ms = at_ms + S;
    shape.spike_mc = 819400;
    record_for(fixture, &shape, batch_id, 0);
    assessed = assess_batch(fixture->ledger, batch_id, NULL, &fault);
    assert_non_null(assessed);
    run = &assessed->visits[0].runs[0];
    for (size_t i = 0; i < run->finding_count; i++) {
        if (run->findings[i].kind == FINDING_GAP_BEGUN)
            gap = i;
        if (run->findings[i].kind == FINDING_OVERSHOOT)
            overshoot = i;
        assert_true(i == 0 || run->findings[i].t_ms >= run->findings[i - 1].t_ms);
    }
    assert_true(gap < overshoot && overshoot != SIZE_MAX);
    assess_free(assessed);
}

struct kept {
    struct ledger *ledger;
    int64_t judgement_id;
    bool change;
};

static void keep_finding(void *context, const struct finding *finding) {
    struct kept *kept = context;
    struct finding copy = *finding;
    struct fault fault;

    if (kept->change)
        copy.value++;
    kept->change = false;
    assert_int_equal(ledger_add_finding(kept->ledger, kept->judgement_id, &copy, &fault), 0);
}

/* Stores what the daemon would have found. */
static void store_judgement(struct ledger_fixture *fixture, int64_t run_id, int64_t batch_id, bool change) {
    struct plan *plan;
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    struct kept kept = {.ledger = fixture->ledger, .change = change};
    struct ledger_channel *channels;
    struct ledger_run run;
    struct judge *judge;
    struct fault fault;
    size_t count;

    plan = plan_parse(FIXTURE_PLAN_HARDEN, strlen(FIXTURE_PLAN_HARDEN), "x", &fault);
    assert_int_equal(ledger_read_run(fixture->ledger, run_id, &run, &fault), 1);
    channels = ledger_list_channels(fixture->ledger, run.oven_id, run.begun_ms, &count, &fault);
    kept.judgement_id = ledger_open_judgement(fixture->ledger, run_id, batch_id, 0, run.begun_ms, &fault);
    judge = replay_open_judge(plan, 0, channels, count, keep_finding, &kept, &fault);
    assert_int_equal(
        replay_feed(fixture->ledger, judge, channels, count, run.begun_ms, run.ended_ms, NULL, NULL, &fault), 0);
    judge_end(judge, run.ended_ms);
    count = judge_verdicts(judge, verdicts);
    assert_int_equal(ledger_add_verdicts(fixture->ledger, kept.judgement_id, verdicts, count, &fault), 0);
    judge_free(judge);
    ledger_free_channels(channels, 5);
    plan_free(plan);
}

static void compares_with_what_was_found_live(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    const int64_t run_id = record_for(fixture, &HARDENED, batch_id, 0);
    enum outcome outcome;
    char *text;

    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    assert_true(paper_has(text, "judged afterwards only"));
    free(text);
    store_judgement(fixture, run_id, batch_id, false);
    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    assert_true(paper_has(text, "judged live, the same"));
    assert_int_equal(paper_count(text, "DO NOT USE"), 0);
    free(text);
    store_judgement(fixture, run_id, batch_id, true);
    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    assert_true(paper_has(text, "DO NOT USE THIS CERTIFICATE."));
    assert_true(paper_has(text, "JUDGED LIVE, DIFFERENTLY"));
    free(text);
}

static void numbers_findings_alike_in_list_and_curve(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fixture_run shape = HARDENED, temper;
    const int64_t batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN);
    struct assess_batch *assessed;
    enum outcome outcome;
    struct fault fault;
    char *text, last[64];
    size_t findings;

    shape.spike_at_ms = (fixture_level_ms(&shape) - shape.begun_ms) / S * S + 5 * MIN;
    shape.spike_mc = 819400;
    tempered_after(&shape, &temper);
    record_for(fixture, &shape, batch_id, 0);
    record_for(fixture, &temper, batch_id, 1);
    assessed = assess_batch(fixture->ledger, batch_id, NULL, &fault);
    assert_non_null(assessed);
    findings = assessed->visits[0].runs[0].finding_count + assessed->visits[1].runs[0].finding_count;
    for (size_t i = 1; i < assessed->visits[0].runs[0].finding_count; i++)
        assert_true(assessed->visits[0].runs[0].findings[i].t_ms >=
                    assessed->visits[0].runs[0].findings[i - 1].t_ms);
    assess_free(assessed);
    assert_true(findings >= 6);
    text = paper_flat(make(fixture, batch_id, 1, &outcome));
    assert_int_equal(outcome, OUTCOME_NOT_MET);
    assert_true(paper_has(text, "The overshoot was 11.4 °C; 8.0 °C were allowed."));
    assert_true(paper_has(text, "front of rack passed the overshoot limit of 816.0 °C: 819.4 °C"));
    snprintf(last, sizeof last, " %zu 2026-11-16 ", findings);
    assert_true(paper_has(text, last));
    free(text);
}

static void prints_fahrenheit_on_letter_paper(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);
    enum outcome outcome;
    int64_t batch_id;
    const char *path;
    char *text;

    (void)state;
    fixture_make(fixture, "name = Toolroom\nunits = F\npaper = Letter\n", false);
    batch_id = open_batch(fixture, HARDENING, FIXTURE_PLAN_HARDEN);
    record_for(fixture, &HARDENED, batch_id, 0);
    path = make(fixture, batch_id, 1, &outcome);
    text = paper_flat(path);
    assert_true(paper_has(text, "at most 14.4 °F")); // a difference of 8 K
    assert_true(paper_has(text, "planned band 1472 °F to 1501 °F"));
    assert_true(paper_has(text, "all times in UTC "));
    free(text);
    text = paper_run(NULL, "pdfinfo %s 2>/dev/null", path);
    assert_true(paper_has(text, "612 x 792"));
    free(text);
    fixture_remove(fixture);
    free(fixture);
}

static void refuses_a_batch_that_is_not_there(void **state) {
    struct ledger_fixture *fixture = *state;
    const struct certificate_issue issue = {7, 1, 1, FIXTURE_START_MS};
    unsigned char *bytes = NULL;
    enum outcome outcome;
    struct fault fault;
    size_t length;

    assert_int_equal(
        certificate_make(fixture->ledger, fixture->config, &issue, NULL, &bytes, &length, &outcome, &fault), -1);
    assert_int_equal(fault.status, EX_NOINPUT);
    assert_null(bytes);
}

#define WITH_SHOP(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_SHOP(says_met_with_every_figure),
        WITH_SHOP(says_not_met_and_why),
        WITH_SHOP(says_not_proven_where_readings_are_missing),
        WITH_SHOP(proves_nothing_without_a_run),
        cmocka_unit_test(warns_on_every_page_of_a_simulated_clock),
        WITH_SHOP(says_nothing_of_simulation_in_real_time),
        WITH_SHOP(lets_the_latest_run_that_reached_the_band_decide),
        WITH_SHOP(lets_the_latest_decide_if_none_reached_it),
        WITH_SHOP(enlarges_a_peak_of_one_reading),
        WITH_SHOP(gives_the_same_bytes_again),
        WITH_SHOP(wraps_long_names_of_any_script),
        WITH_SHOP(prints_the_plan_word_for_word),
        WITH_SHOP(says_that_the_charge_was_not_measured),
        WITH_SHOP(lists_clock_steps_and_stops_within_the_runs),
        WITH_SHOP(lists_findings_by_the_moment_they_are_about),
        WITH_SHOP(compares_with_what_was_found_live),
        WITH_SHOP(numbers_findings_alike_in_list_and_curve),
        cmocka_unit_test(prints_fahrenheit_on_letter_paper),
        WITH_SHOP(refuses_a_batch_that_is_not_there),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
