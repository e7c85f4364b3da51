// SPDX-License-Identifier: MIT
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../report/chart_parts.h"
#include "soakledger/chart.h"
#include "soakledger/envelope.h"
#include "support/paper.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)

enum { LONG_RUN_S = 72 * 3600 };
#define BEGUN INT64_C(1794812400000)

struct shop {
    char folder[64];
    char path[128];
};

static int begin(void **state) {
    struct shop *shop = calloc(1, sizeof *shop);

    *state = shop;
    snprintf(shop->folder, sizeof shop->folder, "/tmp/soakledger-chart-XXXXXX");
    if (mkdtemp(shop->folder) == NULL)
        return -1;
    snprintf(shop->path, sizeof shop->path, "%s/chart.pdf", shop->folder);
    return 0;
}

static int end(void **state) {
    struct shop *shop = *state;

    free(paper_run(NULL, "rm -r %s", shop->folder));
    free(shop);
    return 0;
}

static struct chart *open_one(int64_t length_ms) {
    const struct chart_curve curve = {1, "front of rack", ROLE_LOAD, S};
    struct fault fault;
    struct chart *chart = chart_open(BEGUN, BEGUN + length_ms, &curve, 1, &fault);

    assert_non_null(chart);
    return chart;
}

static void feed(struct chart *chart, int64_t channel_id, int64_t t_ms, int64_t value_mc) {
    const struct reading reading = {BEGUN + t_ms, value_mc, channel_id, QUALITY_GOOD};

    assert_true(chart_feed(chart, &reading));
}

/* ---- thinning ---- */

static void keeps_a_peak_of_one_reading_in_three_days(void **state) {
    (void)state;
    for (int at = 1; at < LONG_RUN_S; at += 25999) { // anywhere within a column, and at its ends
        struct chart *chart = open_one(LONG_RUN_S * S);
        int64_t low, high;

        for (int64_t s = 0; s <= LONG_RUN_S; s += 1)
            feed(chart, 1, s * S, s == at ? 819400 : s == at + 7 ? 640001 : 800000 + s % 13);
        assert_true(chart_close(chart));
        assert_true(chart_extremes(chart, 0, &low, &high));
        assert_int_equal(high, 819400);
        assert_int_equal(low, 640001);
        assert_int_equal(chart_count_gaps(chart, 0), 0);
        assert_in_range(chart_count_points(chart, 0), CHART_COLUMNS, CHART_COLUMNS * ENVELOPE_COLUMN_POINTS);
        chart_free(chart);
    }
}

static void orders_what_a_column_keeps_by_time(void **state) {
    struct envelope_column column = {true, false, {1, 50}, {5, 10}, {3, 90}, {9, 40}};
    struct envelope_point points[ENVELOPE_COLUMN_POINTS];

    (void)state;
    assert_int_equal(envelope_points(&column, points), 4);
    assert_int_equal(points[0].t_ms, 1);
    assert_int_equal(points[1].t_ms, 3);
    assert_int_equal(points[1].value_mc, 90);
    assert_int_equal(points[2].value_mc, 10);
    assert_int_equal(points[3].t_ms, 9);
    column.low = column.high = column.last = column.first;
    assert_int_equal(envelope_points(&column, points), 1);
}

static void breaks_where_readings_are_missing(void **state) {
    struct chart *chart = open_one(1000 * S); // one column a second
    const struct envelope *envelope;
    const struct reading bad = {BEGUN + 400 * S, 999000, 1, QUALITY_OPEN_SENSOR};
    int64_t low, high;

    (void)state;
    for (int64_t s = 0; s <= 1000; s++) {
        const bool three = s > 200 && s < 203; // exactly three intervals: no gap
        const bool four = s > 300 && s < 304;  // four: a gap

        if (!three && !four && s != 400 && s < 900)
            feed(chart, 1, s * S, 500000);
        if (s == 400)
            assert_true(chart_feed(chart, &bad)); // not good: has no value
    }
    assert_true(chart_close(chart));
    assert_int_equal(chart_count_gaps(chart, 0), 2);
    envelope = &chart->envelopes[0];
    assert_int_equal(envelope->gaps[0].from_ms, BEGUN + 300 * S);
    assert_int_equal(envelope->gaps[0].to_ms, BEGUN + 304 * S);
    assert_int_equal(envelope->gaps[1].from_ms, BEGUN + 899 * S); // to the end
    assert_int_equal(envelope->gaps[1].to_ms, BEGUN + 1000 * S);
    assert_true(envelope->columns[304].broken);
    assert_false(envelope->columns[203].broken);
    assert_true(chart_extremes(chart, 0, &low, &high));
    assert_int_equal(high, 500000);
    chart_free(chart);
}

static void sees_a_gap_before_the_first_reading(void **state) {
    struct chart *chart = open_one(100 * S);

    (void)state;
    for (int64_t s = 10; s <= 100; s++)
        feed(chart, 1, s * S, 20000);
    assert_true(chart_close(chart));
    assert_int_equal(chart_count_gaps(chart, 0), 1);
    assert_int_equal(chart->envelopes[0].gaps[0].from_ms, BEGUN);
    chart_free(chart);
}

/* ---- enlarging ---- */

static struct chart *open_fine(int64_t length_ms) {
    const struct chart_curve curve = {1, "front of rack", ROLE_LOAD, S};
    struct fault fault;
    struct chart *chart = chart_open_fine(BEGUN, BEGUN + length_ms, &curve, 1, &fault);

    assert_non_null(chart);
    return chart;
}

static struct chart *cut(const struct chart *fine, int64_t from_ms, int64_t to_ms) {
    struct fault fault;
    struct chart *chart = chart_cut(fine, BEGUN + from_ms, BEGUN + to_ms, &fault);

    assert_non_null(chart);
    return chart;
}

/* Not level anywhere, and with gaps shorter and longer than a column. */
static void feed_uneven(struct chart *chart) {
    for (int64_t s = 5; s < LONG_RUN_S - 5; s++)
        if (s % 50021 > 9 && (s < 90000 || s > 92000))
            feed(chart, 1, s * S, 800000 + s * s % 7919);
    assert_true(chart_close(chart));
}

static void keeps_of_the_whole_what_it_would_without_the_finer_columns(void **state) {
    struct chart *fine = open_fine(LONG_RUN_S * S), *direct = open_one(LONG_RUN_S * S), *whole;
    const struct envelope *a, *b;

    (void)state;
    feed_uneven(fine);
    feed_uneven(direct);
    whole = cut(fine, 0, LONG_RUN_S * S);
    a = &whole->envelopes[0];
    b = &direct->envelopes[0];
    assert_int_equal(a->from_ms, b->from_ms);
    assert_int_equal(a->to_ms, b->to_ms);
    for (size_t i = 0; i < CHART_COLUMNS; i++) {
        assert_int_equal(a->columns[i].used, b->columns[i].used);
        assert_int_equal(a->columns[i].broken, b->columns[i].broken);
        assert_memory_equal(&a->columns[i].first, &b->columns[i].first, sizeof b->columns[i].first);
        assert_memory_equal(&a->columns[i].low, &b->columns[i].low, sizeof b->columns[i].low);
        assert_memory_equal(&a->columns[i].high, &b->columns[i].high, sizeof b->columns[i].high);
        assert_memory_equal(&a->columns[i].last, &b->columns[i].last, sizeof b->columns[i].last);
    }
    assert_true(b->gap_count > 5);
    assert_int_equal(a->gap_count, b->gap_count);
    assert_memory_equal(a->gaps, b->gaps, b->gap_count * sizeof *b->gaps);
    chart_free(fine);
    chart_free(direct);
    chart_free(whole);
}

/* The soak's edges lie within fine columns: a peak there must not give way to a higher one before or behind. */
static void keeps_a_peak_of_one_reading_where_it_is_enlarged(void **state) {
    enum { FROM_S = 30011, TO_S = FROM_S + LONG_RUN_S / 8 + 77, BEYOND_S = 3 };
    static const int places[] = {FROM_S, FROM_S + 1, FROM_S + 5000, (FROM_S + TO_S) / 2, TO_S - 1, TO_S};

    (void)state;
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++) {
        struct chart *fine = open_fine(LONG_RUN_S * S), *close;
        bool found = false;

        for (int64_t s = 0; s <= LONG_RUN_S; s++)
            feed(fine, 1, s * S,
                 s == places[i]                                   ? 819400
                 : s == FROM_S - BEYOND_S || s == TO_S + BEYOND_S ? 815000
                                                                  : 800000 + s % 13);
        assert_true(chart_close(fine));
        assert_true(chart_is_fine_enough(fine, BEGUN + FROM_S * S, BEGUN + TO_S * S));
        close = cut(fine, FROM_S * S, TO_S * S);
        for (size_t k = 0; k < CHART_COLUMNS; k++)
            found |= close->envelopes[0].columns[k].used &&
                     close->envelopes[0].columns[k].high.value_mc == 819400 &&
                     close->envelopes[0].columns[k].high.t_ms == BEGUN + places[i] * S;
        assert_true(found);
        assert_int_equal(chart_count_gaps(close, 0), 0);
        assert_in_range(chart_count_points(close, 0), CHART_COLUMNS, CHART_COLUMNS * ENVELOPE_COLUMN_POINTS);
        chart_free(fine);
        chart_free(close);
    }
}

static void lets_no_reading_of_the_close_up_give_way_to_one_beyond_it(void **state) {
    enum { FROM_S = 30011, TO_S = 100003 };
    struct chart *fine = open_fine(LONG_RUN_S * S), *close;
    const int64_t fine_column_ms = LONG_RUN_S * S / ((int64_t)CHART_COLUMNS * CHART_FINER);
    int64_t low, high;

    (void)state;
    for (int64_t s = 0; s <= LONG_RUN_S; s++)
        feed(fine, 1, s * S, s < FROM_S - 60 || s > TO_S + 60 ? 900000 : s == FROM_S ? 819400 : 800000);
    assert_true(chart_close(fine));
    close = cut(fine, FROM_S * S, TO_S * S);
    assert_true(chart_extremes(close, 0, &low, &high));
    assert_int_equal(high, 819400); // and none of what lies a minute beyond
    assert_in_range(close->from_ms, BEGUN + FROM_S * S - fine_column_ms - 1, BEGUN + FROM_S * S);
    assert_in_range(close->to_ms, BEGUN + TO_S * S, BEGUN + TO_S * S + fine_column_ms + 1);
    assert_int_equal(low, 800000);
    chart_free(fine);
    chart_free(close);
}

static void copies_gaps_as_they_were_found(void **state) {
    enum { FROM_S = 6 * 3600, TO_S = 66 * 3600 };
    struct chart *fine = open_fine(LONG_RUN_S * S), *close;
    const struct envelope_gap *gaps;

    (void)state;
    for (int64_t s = 0; s <= LONG_RUN_S; s++) {
        const bool before = s > 100 && s<110, across = s> FROM_S - 200 && s < FROM_S + 200;
        const bool four = s > 100000 && s<100004, three = s> 110000 && s < 110003;

        if (!before && !across && !four && !three && s < TO_S - 1000)
            feed(fine, 1, s * S, 800000);
    }
    assert_true(chart_close(fine));
    close = cut(fine, FROM_S * S, TO_S * S);
    gaps = close->envelopes[0].gaps;
    assert_int_equal(chart_count_gaps(close, 0), 3);
    assert_int_equal(gaps[0].from_ms, close->from_ms);
    assert_int_equal(gaps[0].to_ms, BEGUN + (FROM_S + 200) * S);
    assert_int_equal(gaps[1].from_ms, BEGUN + 100000 * S);
    assert_int_equal(gaps[1].to_ms, BEGUN + 100004 * S);
    assert_int_equal(gaps[2].from_ms, BEGUN + (TO_S - 1001) * S);
    assert_int_equal(gaps[2].to_ms, close->to_ms);
    assert_true(chart_close(close)); // finds no gap of its own
    assert_int_equal(chart_count_gaps(close, 0), 3);
    chart_free(fine);
    chart_free(close);
}

static void is_too_coarse_for_less_than_an_eighth(void **state) {
    struct chart *fine = open_fine(LONG_RUN_S * S);

    (void)state;
    assert_true(chart_is_fine_enough(fine, BEGUN, BEGUN + LONG_RUN_S * S / CHART_FINER));
    assert_false(chart_is_fine_enough(fine, BEGUN, BEGUN + LONG_RUN_S * S / CHART_FINER - 1));
    chart_free(fine);
}

/* ---- labels ---- */

static void pushes_labels_apart_but_no_further(void **state) {
    float apart[] = {10, 30, 50}, close[] = {50, 50, 50}, edge[] = {0, 1}, full[] = {1, 2, 3};
    const float sizes[] = {10, 10, 10};

    (void)state;
    chart_push_apart(apart, sizes, 3, 0, 100);
    assert_float_equal(apart[0], 10, 0.01);
    assert_float_equal(apart[2], 50, 0.01);
    chart_push_apart(close, sizes, 3, 0, 100);
    assert_float_equal(close[0], 40, 0.01);
    assert_float_equal(close[1], 50, 0.01);
    assert_float_equal(close[2], 60, 0.01);
    chart_push_apart(edge, sizes, 2, 0, 100);
    assert_float_equal(edge[0], 5, 0.01);
    assert_float_equal(edge[1], 15, 0.01);
    chart_push_apart(full, sizes, 3, 0, 15); // too little room: spread evenly
    assert_float_equal(full[0], 2.5, 0.01);
    assert_float_equal(full[2], 12.5, 0.01);
}

static void never_lets_labels_overlap_or_leave(void **state) {
    enum { ROUNDS = 2000, MOST = 40, SEED = 20261116 };
    unsigned seed = SEED;

    (void)state;
    for (int round = 0; round < ROUNDS; round++) {
        float centres[MOST], sizes[MOST], at = 0, total = 0;
        const size_t count = 1 + (size_t)(rand_r(&seed) % MOST);

        for (size_t i = 0; i < count; i++) {
            at += (float)(rand_r(&seed) % 100) / 10;
            centres[i] = at;
            sizes[i] = 1 + (float)(rand_r(&seed) % 80) / 10;
            total += sizes[i];
        }
        chart_push_apart(centres, sizes, count, 0, total + 20);
        assert_true(centres[0] - sizes[0] / 2 > -0.01);
        assert_true(centres[count - 1] + sizes[count - 1] / 2 < total + 20.01);
        for (size_t i = 1; i < count; i++)
            assert_true(centres[i] - centres[i - 1] > (sizes[i] + sizes[i - 1]) / 2 - 0.01);
    }
}

static void gives_every_curve_a_stroke_of_its_own(void **state) {
    enum { CURVES = 14 };
    struct chart_curve curves[CURVES];
    struct fault fault;
    struct chart *chart;

    (void)state;
    for (int i = 0; i < CURVES; i++)
        curves[i] = (struct chart_curve){i + 1, "x", i == 0 ? ROLE_CONTROL : i == 1 ? ROLE_SETPOINT : ROLE_LOAD, S};
    chart = chart_open(BEGUN, BEGUN + H, curves, CURVES, &fault);
    assert_non_null(chart);
    for (size_t i = 0; i < CURVES; i++)
        for (size_t k = i + 1; k < CURVES; k++) {
            const struct page_pen a = chart_pen(chart, i), b = chart_pen(chart, k);

            assert_true(memcmp(a.dash, b.dash, sizeof a.dash) != 0 || a.width < b.width || a.width > b.width);
        }
    chart_free(chart);
}

/* ---- on paper ---- */

static void draw(const char *path, struct chart *chart, const struct chart_dressing *dressing) {
    const struct page_about about = {
        .title = "t", .author = "a", .header_left = "", .header_right = "", .notice = "", .footer = ""};
    unsigned char *bytes = NULL;
    struct page_frame frame;
    struct fault fault;
    struct page_document *page = page_open("A4", &about, &fault);
    size_t length = 0;

    assert_non_null(page);
    page_add(page);
    frame = page_frame(page);
    frame.bottom = frame.top + 260;
    chart_draw(chart, page, frame, dressing);
    assert_int_equal(page_finish(page, &bytes, &length, &fault), 0);
    paper_write(path, bytes, length);
    free(bytes);
    page_free(page);
}

static struct chart_dressing dress(enum temperature_unit unit) {
    return (struct chart_dressing){.unit = unit,
                                   .utc_offset_min = 60,
                                   .origin_ms = BEGUN,
                                   .band_low_mc = 800000,
                                   .band_high_mc = 816000,
                                   .band_text = "planned band",
                                   .soak_begun_ms = BEGUN + 100 * MIN,
                                   .soak_ended_ms = BEGUN + 101 * MIN,
                                   .soak_text = "1 min"};
}

static size_t count_dark(const unsigned char *dots, size_t width, size_t top, size_t bottom) {
    size_t dark = 0;

    for (size_t i = top * width; i < bottom * width; i++)
        dark += dots[i] < 160;
    return dark;
}

/* The level stands at 500 °C on an axis that the band takes past 800 °C: between them is nothing but the peak. */
static void draws_a_peak_of_one_reading(void **state) {
    enum { DPI = 72, BELOW_BAND = 128, ABOVE_LEVEL = 180 };
    const struct shop *shop = *state;
    struct chart_dressing dressing = dress(UNIT_CELSIUS);
    size_t width, height, dark[2];

    dressing.soak_begun_ms = dressing.soak_ended_ms = 0;
    for (int with = 0; with < 2; with++) {
        struct chart *chart = open_one(LONG_RUN_S * S);
        unsigned char *dots;

        for (int64_t s = 0; s <= LONG_RUN_S; s++)
            feed(chart, 1, s * S, with && s == 100001 ? 790000 : s < 100 ? s * 5000 : 500000);
        assert_true(chart_close(chart));
        draw(shop->path, chart, &dressing);
        chart_free(chart);
        dots = paper_picture(shop->path, 1, DPI, &width, &height);
        dark[with] = count_dark(dots, width, BELOW_BAND, ABOVE_LEVEL);
        free(dots);
    }
    assert_true(dark[1] >= dark[0] + (ABOVE_LEVEL - BELOW_BAND) / 2);
}

/* A level curve without anything else in its row: a gap takes dots away there, and hatches rows that were empty. */
static void draws_a_gap_as_a_break_and_hatched(void **state) {
    enum { DPI = 144, FIRST_ROW = 160, LAST_ROW = 640 };
    const struct shop *shop = *state;
    struct chart_dressing dressing = dress(UNIT_CELSIUS);
    size_t width, height, fullest[2] = {0, 0}, grey[2] = {0, 0};

    dressing.soak_begun_ms = dressing.soak_ended_ms = 0;
    for (int with = 0; with < 2; with++) {
        struct chart *chart = open_one(10 * MIN);
        unsigned char *dots;

        for (int64_t s = 0; s <= 600; s++)
            if (!with || s < 200 || s > 350)
                feed(chart, 1, s * S, s == 0 ? 0 : 500500);
        assert_true(chart_close(chart));
        draw(shop->path, chart, &dressing);
        chart_free(chart);
        dots = paper_picture(shop->path, 1, DPI, &width, &height);
        for (size_t row = FIRST_ROW; row < LAST_ROW; row++) {
            size_t dark = 0;

            for (size_t i = 0; i < width; i++) {
                dark += dots[row * width + i] < 110; // the curve's blue in grey
                grey[with] += dots[row * width + i] < 250;
            }
            if (row > 300 && row < 480 && dark > fullest[with])
                fullest[with] = dark;
        }
        free(dots);
    }
    assert_true(fullest[0] > 700);
    assert_true(fullest[1] < fullest[0] * 8 / 10);
    assert_true(grey[1] > grey[0] + 3000);
}

/* 72 hours, a soak of 60 at 801 °C, enlarged: one reading of 816 °C lifts a stroke through empty rows of the band,
 * and five seconds without readings are hatched from top to bottom. */
static void draws_a_peak_and_a_gap_enlarged(void **state) {
    enum {
        DPI = 144,
        PEAK_S = 150001,
        GAP_S = 200001,
        FIRST_ROW = 330,
        LAST_ROW = 430,
        PLAIN = 0,
        PEAK = 1,
        GAP = 2
    };
    const struct shop *shop = *state;
    struct chart_dressing dressing = dress(UNIT_CELSIUS);
    size_t width, height, dark[GAP + 1], grey[GAP + 1];

    dressing.zoom = true;
    dressing.soak_begun_ms = BEGUN + 6 * H + 10 * MIN;
    dressing.soak_ended_ms = BEGUN + 66 * H - 10 * MIN;
    for (int with = PLAIN; with <= GAP; with++) {
        struct chart *fine = open_fine(LONG_RUN_S * S), *close;
        unsigned char *dots;

        for (int64_t s = 0; s <= LONG_RUN_S; s++)
            if (with != GAP || s < GAP_S || s > GAP_S + 4)
                feed(fine, 1, s * S,
                     with == PEAK && s == PEAK_S     ? 816000
                     : s < 6 * 3600 || s > 66 * 3600 ? 500000
                                                     : 801000);
        assert_true(chart_close(fine));
        close = cut(fine, 5 * H, 67 * H);
        assert_int_equal(chart_count_gaps(close, 0), with == GAP);
        draw(shop->path, close, &dressing);
        chart_free(fine);
        chart_free(close);
        dots = paper_picture(shop->path, 1, DPI, &width, &height);
        dark[with] = grey[with] = 0;
        for (size_t i = FIRST_ROW * width; i < LAST_ROW * width; i++) {
            dark[with] += dots[i] < 110;
            grey[with] += dots[i] < 200;
        }
        free(dots);
    }
    assert_true(dark[PEAK] >= dark[PLAIN] + (LAST_ROW - FIRST_ROW) / 2);
    assert_true(grey[GAP] >= grey[PLAIN] + (LAST_ROW - FIRST_ROW));
}

static void keeps_its_labels_apart_and_on_the_page(void **state) {
    enum { CURVES = 12, MARKS = 60 };
    const struct shop *shop = *state;
    static const char *const names[CURVES] = {
        "control",   "setpoint", "front of rack", "back of rack",
        "left",      "right",    "middle",        "the one with a very long name",
        "Würfel ÄÖ", "thin end", "thick end",     "door"};
    struct chart_dressing dressing = dress(UNIT_CELSIUS);
    struct chart_curve curves[CURVES];
    struct chart_mark marks[MARKS];
    struct paper_word *words;
    struct fault fault;
    struct chart *chart;
    size_t count;
    char *overlap;

    for (int i = 0; i < CURVES; i++)
        curves[i] = (struct chart_curve){i + 1, names[i],
                                         i == 0   ? ROLE_CONTROL
                                         : i == 1 ? ROLE_SETPOINT
                                                  : ROLE_LOAD,
                                         S};
    for (int64_t i = 0; i < MARKS; i++)
        marks[i] = (struct chart_mark){BEGUN + 99 * MIN + (i < 30 ? i * S : i * 2 * MIN), (size_t)i + 1};
    dressing.marks = marks;
    dressing.mark_count = MARKS;
    for (int zoom = 0; zoom < 2; zoom++) {
        chart =
            chart_open(BEGUN + (zoom ? 98 * MIN : 0), BEGUN + (zoom ? 103 * MIN : 4 * H), curves, CURVES, &fault);
        assert_non_null(chart);
        for (int64_t s = 0; s <= 4 * H / S; s++)
            for (int i = 0; i < CURVES; i++)
                feed(chart, i + 1, s * S,
                     s < 6000   ? 20000 + s * 130
                     : s < 6060 ? 808000
                                : 808000 - (s - 6060) * 80);
        assert_true(chart_close(chart));
        dressing.zoom = zoom == 1;
        draw(shop->path, chart, &dressing);
        chart_free(chart);
        words = paper_words(shop->path, &count);
        assert_true(count > CURVES);
        overlap = paper_find_overlap(words, count);
        if (overlap != NULL)
            fprintf(stderr, "overlap: %s\n", overlap);
        assert_null(overlap);
        assert_null(paper_find_outside(words, count, 49, 60, 595.3 - 49, 842));
        free(words);
    }
}

static void marks_its_axes_in_either_unit(void **state) {
    const struct shop *shop = *state;
    struct chart *chart = open_one(2 * H);
    struct chart_dressing dressing = dress(UNIT_FAHRENHEIT);
    char *text;

    for (int64_t s = 0; s <= 7200; s++)
        feed(chart, 1, s * S, 20000 + s * 100);
    assert_true(chart_close(chart));
    draw(shop->path, chart, &dressing);
    text = paper_flat(shop->path);
    assert_true(paper_has(text, "°F"));
    assert_true(paper_has(text, " 1400 "));
    assert_true(paper_has(text, " 1:00 "));  // elapsed
    assert_true(paper_has(text, " 09:00 ")); // clock: 07:00 UTC and one hour east
    assert_true(paper_has(text, "UTC+01:00"));
    assert_true(paper_has(text, "soak begins 09:40:00"));
    free(text);
    dressing.unit = UNIT_CELSIUS;
    draw(shop->path, chart, &dressing);
    text = paper_flat(shop->path);
    assert_true(paper_has(text, "°C"));
    assert_true(paper_has(text, " 800 "));
    assert_true(paper_has(text, "front of rack"));
    free(text);
    chart_free(chart);
}

/* A quench: no planned band, two temperatures as lines, seconds from leaving the soak. */
static void counts_seconds_from_leaving_the_soak(void **state) {
    const struct shop *shop = *state;
    struct chart *chart = open_one(90 * S);
    const struct chart_level levels[] = {{800000, BEGUN + 15 * S, "800 °C"},
                                         {500000, BEGUN + 30 * S, "500 °C, 15.0 s later"}};
    struct chart_dressing dressing = dress(UNIT_CELSIUS);
    struct paper_word *words;
    size_t count;
    char *text;

    dressing.band_low_mc = dressing.band_high_mc = 0;
    dressing.origin_ms = dressing.soak_begun_ms = BEGUN + 10 * S;
    dressing.soak_ended_ms = BEGUN + 13 * S;
    dressing.soak_text = "transfer 3.0 s";
    dressing.begun_word = "leaves the soak";
    dressing.ended_word = "falls fast from";
    dressing.seconds = true;
    dressing.levels = levels;
    dressing.level_count = 2;
    for (int64_t s = 0; s <= 90; s++)
        feed(chart, 1, s * S, s < 10 ? 900000 : 900000 - (s - 10) * 20000 / 2);
    assert_true(chart_close(chart));
    draw(shop->path, chart, &dressing);
    text = paper_flat(shop->path);
    assert_true(paper_has(text, "leaves the soak 08:00:10"));
    assert_true(paper_has(text, "falls fast from 08:00:13"));
    assert_true(paper_has(text, "500 °C, 15.0 s later"));
    assert_true(paper_has(text, " 30 45 60 75 "));
    assert_true(paper_has(text, "s from leaving the soak"));
    assert_false(paper_has(text, "clock,"));
    free(text);
    words = paper_words(shop->path, &count);
    assert_null(paper_find_overlap(words, count));
    free(words);
    chart_free(chart);
}

/* Three bands close to each other, one of them open below: each has its name, and no name covers another. */
static void names_every_band_where_there_is_room(void **state) {
    const struct chart_band bands[] = {{640000, 644000, "hold one"}, {646000, 650000, "hold two"}};
    const struct shop *shop = *state;
    struct chart *chart = open_one(2 * H);
    struct chart_dressing dressing = dress(UNIT_CELSIUS);
    struct paper_word *words;
    size_t count;
    char *text;

    dressing.bands = bands;
    dressing.band_count = 2;
    dressing.band_open_below = true;
    for (int64_t s = 0; s <= 7200; s++)
        feed(chart, 1, s * S, 20000 + s * 100);
    assert_true(chart_close(chart));
    draw(shop->path, chart, &dressing);
    text = paper_flat(shop->path);
    assert_true(paper_has(text, "hold one"));
    assert_true(paper_has(text, "hold two"));
    assert_true(paper_has(text, "planned band"));
    free(text);
    words = paper_words(shop->path, &count);
    assert_null(paper_find_overlap(words, count));
    free(words);
    dressing.zoom = true; // the soak alone
    draw(shop->path, chart, &dressing);
    text = paper_flat(shop->path);
    assert_false(paper_has(text, "hold one"));
    free(text);
    chart_free(chart);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(keeps_a_peak_of_one_reading_in_three_days),
        cmocka_unit_test(orders_what_a_column_keeps_by_time),
        cmocka_unit_test(breaks_where_readings_are_missing),
        cmocka_unit_test(sees_a_gap_before_the_first_reading),
        cmocka_unit_test(keeps_of_the_whole_what_it_would_without_the_finer_columns),
        cmocka_unit_test(keeps_a_peak_of_one_reading_where_it_is_enlarged),
        cmocka_unit_test(lets_no_reading_of_the_close_up_give_way_to_one_beyond_it),
        cmocka_unit_test(copies_gaps_as_they_were_found),
        cmocka_unit_test(is_too_coarse_for_less_than_an_eighth),
        cmocka_unit_test(pushes_labels_apart_but_no_further),
        cmocka_unit_test(never_lets_labels_overlap_or_leave),
        cmocka_unit_test(gives_every_curve_a_stroke_of_its_own),
        cmocka_unit_test_setup_teardown(draws_a_peak_of_one_reading, begin, end),
        cmocka_unit_test_setup_teardown(draws_a_gap_as_a_break_and_hatched, begin, end),
        cmocka_unit_test_setup_teardown(draws_a_peak_and_a_gap_enlarged, begin, end),
        cmocka_unit_test_setup_teardown(keeps_its_labels_apart_and_on_the_page, begin, end),
        cmocka_unit_test_setup_teardown(marks_its_axes_in_either_unit, begin, end),
        cmocka_unit_test_setup_teardown(counts_seconds_from_leaving_the_soak, begin, end),
        cmocka_unit_test_setup_teardown(names_every_band_where_there_is_room, begin, end),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
