// SPDX-License-Identifier: MIT
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/keep.h"
#include "soakledger/page.h"
#include "soakledger/sheet.h"
#include "soakledger/words.h"
#include "support/paper.h"

static const struct page_type BODY = {PAGE_REGULAR, 9, {0, 0, 0}};
static const double SIDE = 49.5; // the margin of 50, less rounding

struct shop {
    char folder[64];
    char path[128];
};

static int begin(void **state) {
    struct shop *shop = calloc(1, sizeof *shop);

    *state = shop;
    snprintf(shop->folder, sizeof shop->folder, "/tmp/soakledger-page-XXXXXX");
    if (mkdtemp(shop->folder) == NULL)
        return -1;
    snprintf(shop->path, sizeof shop->path, "%s/sheet.pdf", shop->folder);
    return 0;
}

static int end(void **state) {
    struct shop *shop = *state;

    free(paper_run(NULL, "rm -r %s", shop->folder));
    free(shop);
    return 0;
}

static struct page_document *open_page(const char *paper, const char *notice) {
    const struct page_about about = {.title = "A title",
                                     .author = "A shop",
                                     .header_left = "left",
                                     .header_right = "right",
                                     .notice = notice,
                                     .footer = "foot",
                                     .made_ms = INT64_C(1794812400000)};
    struct fault fault;
    struct page_document *page = page_open(paper, &about, &fault);

    assert_non_null(page);
    return page;
}

static size_t finish(struct page_document *page, const char *path) {
    unsigned char *bytes = NULL;
    struct fault fault;
    size_t length = 0;

    assert_int_equal(page_finish(page, &bytes, &length, &fault), 0);
    paper_write(path, bytes, length);
    free(bytes);
    page_free(page);
    return length;
}

static void numbers_every_page_of_how_many(void **state) {
    const struct shop *shop = *state;
    struct page_document *page = open_page("A4", "A NOTICE");
    char *text;

    for (int i = 0; i < 3; i++)
        page_add(page);
    finish(page, shop->path);
    text = paper_text(shop->path);
    assert_true(paper_has(text, "page 1 of 3"));
    assert_true(paper_has(text, "page 2 of 3"));
    assert_true(paper_has(text, "page 3 of 3"));
    assert_int_equal(paper_count(text, "A NOTICE"), 6); // head and foot of each
    free(text);
    assert_true(paper_is_sound(shop->path));
}

static void keeps_paper_size_and_given_date(void **state) {
    const struct shop *shop = *state;
    struct page_document *page = open_page("Letter", "");
    char *info;

    page_add(page);
    finish(page, shop->path);
    info = paper_run(NULL, "TZ=UTC pdfinfo -isodates %s 2>/dev/null", shop->path);
    assert_true(paper_has(info, "612 x 792"));
    assert_true(paper_has(info, "2026-11-16T07:00:00Z"));
    assert_true(paper_has(info, "A title"));
    free(info);
    page = open_page("A4", "");
    page_add(page);
    finish(page, shop->path);
    info = paper_run(NULL, "pdfinfo %s 2>/dev/null", shop->path);
    assert_true(paper_has(info, "(A4)"));
    free(info);
}

static void draw_sample(const char *path, const char *text) {
    struct page_document *page = open_page("A4", "");
    struct sheet sheet;

    sheet_begin(&sheet, page);
    sheet_plain(&sheet, text);
    sheet_draw_sign(page, OUTCOME_NOT_PROVEN, 100, 300, 40);
    finish(page, path);
}

static void gives_the_same_bytes_for_the_same_drawing(void **state) {
    const struct shop *shop = *state;
    int status;

    draw_sample(shop->path, "one");
    free(paper_run(NULL, "cp %s %s.first", shop->path, shop->path));
    sleep(1); // a clock read anywhere would show
    draw_sample(shop->path, "one");
    free(paper_run(&status, "cmp %s %s.first", shop->path, shop->path));
    assert_int_equal(status, 0);
    draw_sample(shop->path, "two");
    free(paper_run(&status, "cmp %s %s.first", shop->path, shop->path));
    assert_int_equal(status, 1);
}

static void shows_letters_of_many_scripts_and_no_controls(void **state) {
    const struct shop *shop = *state;
    char *text;

    draw_sample(shop->path, "Gießerei Łódź Ωμέγα Жар\x1b[31m bell\x07 bad\xff end");
    text = paper_flat(shop->path);
    assert_true(paper_has(text, "Gießerei Łódź Ωμέγα Жар [31m bell bad\xEF\xBF\xBD end"));
    free(text);
}

static void wraps_whatever_length_within_the_margins(void **state) {
    const struct shop *shop = *state;
    char text[4000] = "", word[300];
    struct paper_word *words;
    size_t count;

    memset(word, 'W', sizeof word - 1);
    word[sizeof word - 1] = '\0';
    for (size_t used = 0; used + sizeof word + 40 < sizeof text; used = strlen(text))
        snprintf(text + used, sizeof text - used, "härten und anlassen %s ", word);
    draw_sample(shop->path, text);
    words = paper_words(shop->path, &count);
    assert_true(count > 50);
    assert_null(paper_find_outside(words, count, SIDE, 30, 595.3 - SIDE, 842 - 20));
    assert_null(paper_find_overlap(words, count));
    free(words);
}

static void breaks_lines_at_spaces_and_newlines(void **state) {
    struct page_document *page = open_page("A4", "");
    const float width = page_measure(page, &BODY, "one two") + 0.1F;
    size_t next = 0;

    (void)state;
    assert_int_equal(page_fit(page, &BODY, "one two three", width, &next), 7);
    assert_int_equal(next, 8);
    assert_int_equal(page_fit(page, &BODY, "one\ntwo", width, &next), 3);
    assert_int_equal(next, 4);
    assert_int_equal(page_fit(page, &BODY, "\ntwo", width, &next), 0);
    assert_int_equal(next, 1);
    assert_int_equal(page_fit(page, &BODY, "öö", 0.1F, &next), 2); // one whole character at least
    assert_int_equal(next, 2);
    page_add(page);
    page_free(page);
}

static void draw_table(struct sheet *sheet, int rows) {
    const struct sheet_column columns[] = {{"HEAD ONE", 0.5F, PAGE_LEFT}, {"HEAD TWO", 0.5F, PAGE_RIGHT}};
    struct sheet_table table;

    sheet_table_begin(&table, sheet, columns, 2);
    for (int i = 0; i < rows; i++) {
        char text[64];

        snprintf(text, sizeof text, "row-%03d", i);
        const struct sheet_cell cells[] = {{text, SHEET_NO_MARK, false}, {"met", OUTCOME_MET, true}};
        sheet_table_row(&table, cells);
    }
    sheet_table_end(&table);
}

static void repeats_a_tables_head_on_every_page(void **state) {
    const struct shop *shop = *state;
    struct page_document *page = open_page("A4", "");
    struct paper_word *words;
    struct sheet sheet;
    size_t pages, count;
    char *text;

    sheet_begin(&sheet, page);
    draw_table(&sheet, 120);
    pages = page_count(page);
    finish(page, shop->path);
    assert_true(pages >= 3);
    text = paper_text(shop->path);
    assert_int_equal(paper_count(text, "HEAD ONE"), pages);
    for (int i = 0; i < 120; i++) {
        char row[64];

        snprintf(row, sizeof row, "row-%03d", i);
        assert_int_equal(paper_count(text, row), 1);
    }
    free(text);
    words = paper_words(shop->path, &count);
    assert_null(paper_find_overlap(words, count));
    assert_null(paper_find_outside(words, count, SIDE, 30, 595.3 - SIDE, 842 - 20));
    free(words);
}

/* What stands for several rows stands at each page's top again, and nowhere else. */
static void carries_the_first_cell_over_to_a_new_page(void **state) {
    enum { ROWS = 120 };
    const struct sheet_column columns[] = {{"HEAD ONE", 0.5F, PAGE_LEFT}, {"HEAD TWO", 0.5F, PAGE_LEFT}};
    const struct shop *shop = *state;
    struct page_document *page = open_page("A4", "");
    struct sheet_table table;
    struct sheet sheet;
    size_t pages;
    char *text;

    sheet_begin(&sheet, page);
    sheet_table_begin(&table, &sheet, columns, 2);
    for (int i = 0; i < ROWS; i++) {
        const struct sheet_cell cells[] = {{i == 0 ? "harden" : "", SHEET_NO_MARK, true},
                                           {"row", SHEET_NO_MARK, false}};

        table.carried = "harden";
        sheet_table_row(&table, cells);
    }
    sheet_table_end(&table);
    pages = page_count(page);
    finish(page, shop->path);
    assert_true(pages >= 3);
    text = paper_text(shop->path);
    assert_int_equal(paper_count(text, "harden"), pages);
    assert_int_equal(paper_count(text, "row"), ROWS);
    free(text);
}

static void splits_a_row_taller_than_a_page(void **state) {
    const struct sheet_column columns[] = {{"HEAD", 0.2F, PAGE_LEFT}, {"TEXT", 0.8F, PAGE_LEFT}};
    const struct shop *shop = *state;
    struct page_document *page = open_page("A4", "");
    char *tall = calloc(1, 4000), *text;
    struct sheet_table table;
    struct sheet sheet;

    for (size_t i = 0; i < 150; i++)
        snprintf(tall + 9 * i, 10, "line-%03zu\n", i % 1000); // 9 characters each
    sheet_begin(&sheet, page);
    sheet_table_begin(&table, &sheet, columns, 2);
    const struct sheet_cell cells[] = {{"tall", SHEET_NO_MARK, false}, {tall, SHEET_NO_MARK, false}};
    sheet_table_row(&table, cells);
    sheet_table_end(&table);
    assert_true(page_count(page) >= 2);
    finish(page, shop->path);
    text = paper_text(shop->path);
    assert_true(paper_has(text, "line-000"));
    assert_true(paper_has(text, "line-149"));
    assert_int_equal(paper_count(text, "line-"), 150);
    free(text);
    free(tall);
}

/* Without colour: each sign must differ from the others in its dots. */
static void draws_signs_that_differ_without_colour(void **state) {
    enum { SIGNS = 3, DPI = 72, LEAST_DIFFERENT = 200 };
    const struct shop *shop = *state;
    unsigned char *pictures[SIGNS];
    size_t width = 0, height = 0;

    for (int i = 0; i < SIGNS; i++) {
        struct page_document *page = open_page("A4", "");

        page_add(page);
        sheet_draw_sign(page, (enum outcome)i, 300, 400, 60);
        finish(page, shop->path);
        pictures[i] = paper_picture(shop->path, 1, DPI, &width, &height);
    }
    for (int i = 0; i < SIGNS; i++)
        for (int k = i + 1; k < SIGNS; k++) {
            size_t different = 0;

            for (size_t dot = 0; dot < width * height; dot++)
                different += (pictures[i][dot] < 128) != (pictures[k][dot] < 128); // black or white, no grey
            assert_true(different > LEAST_DIFFERENT);
        }
    for (int i = 0; i < SIGNS; i++)
        free(pictures[i]);
}

static void keeps_the_old_file_until_the_new_one_is_whole(void **state) {
    const struct shop *shop = *state;
    struct fault fault;
    struct keep *keep;
    char *text;

    paper_write(shop->path, "old", 3);
    keep = keep_write(NULL, shop->path, "new", 3, &fault);
    assert_non_null(keep);
    text = paper_run(NULL, "cat %s; ls %s | wc -l", shop->path, shop->folder);
    assert_string_equal(text, "old2\n");
    free(text);
    keep_drop(keep);
    text = paper_run(NULL, "cat %s; ls %s | wc -l", shop->path, shop->folder);
    assert_string_equal(text, "old1\n");
    free(text);
    keep = keep_write(NULL, shop->path, "new", 3, &fault);
    assert_int_equal(keep_rename(keep, &fault), 0);
    text = paper_run(NULL, "cat %s; ls %s | wc -l", shop->path, shop->folder);
    assert_string_equal(text, "new1\n");
    free(text);
}

static void refuses_what_cannot_be_kept(void **state) {
    const struct shop *shop = *state;
    struct fault fault;

    assert_null(keep_write(NULL, "/nonexistent/sheet.pdf", "x", 1, &fault));
    assert_int_equal(fault.status, EX_CANTCREAT);
    assert_non_null(strstr(fault.text, "/nonexistent/sheet.pdf"));
    assert_null(keep_write(NULL, shop->folder, "x", 1, &fault));
    assert_int_equal(fault.status, EX_CANTCREAT);
    assert_null(keep_write(NULL, "/dev/full", "x", 1, &fault));
}

static void cleans_text_from_people(void **state) {
    char out[32];

    (void)state;
    assert_string_equal(words_clean("a\x1b[2Jb\x9b", 99, 0, out, sizeof out), "a [2Jb\xEF\xBF\xBD");
    assert_string_equal(words_clean("l\xC2\x9Bm", 99, 0, out, sizeof out), "l m"); // C1 control
    assert_string_equal(words_clean("a\xE2\x80\xAE"
                                    "b",
                                    99, 0, out, sizeof out),
                        "a b"); // right-to-left override
    assert_string_equal(words_clean("\xC0\xAF", 99, 0, out, sizeof out), "\xEF\xBF\xBD\xEF\xBF\xBD"); // overlong
    assert_string_equal(words_clean("\xF0\x9F\x94\xA5", 99, 0, out, sizeof out), "\xEF\xBF\xBD"); // beyond U+FFFF
    assert_string_equal(words_clean("a\nb", 99, 1, out, sizeof out), "a\nb");
    assert_string_equal(words_clean("a\nb", 99, 0, out, sizeof out), "a b");
    assert_string_equal(words_clean("öööö", 99, 0, out, 6), "öö"); // cut between characters
    assert_int_equal(words_columns("öa\xff"), 3);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(numbers_every_page_of_how_many, begin, end),
        cmocka_unit_test_setup_teardown(keeps_paper_size_and_given_date, begin, end),
        cmocka_unit_test_setup_teardown(gives_the_same_bytes_for_the_same_drawing, begin, end),
        cmocka_unit_test_setup_teardown(shows_letters_of_many_scripts_and_no_controls, begin, end),
        cmocka_unit_test_setup_teardown(wraps_whatever_length_within_the_margins, begin, end),
        cmocka_unit_test(breaks_lines_at_spaces_and_newlines),
        cmocka_unit_test_setup_teardown(repeats_a_tables_head_on_every_page, begin, end),
        cmocka_unit_test_setup_teardown(carries_the_first_cell_over_to_a_new_page, begin, end),
        cmocka_unit_test_setup_teardown(splits_a_row_taller_than_a_page, begin, end),
        cmocka_unit_test_setup_teardown(draws_signs_that_differ_without_colour, begin, end),
        cmocka_unit_test_setup_teardown(keeps_the_old_file_until_the_new_one_is_whole, begin, end),
        cmocka_unit_test_setup_teardown(refuses_what_cannot_be_kept, begin, end),
        cmocka_unit_test(cleans_text_from_people),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
