// SPDX-License-Identifier: MIT
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdlib.h>
#include <string.h>

#include "soakledger/letters.h"

struct shop {
    struct letters *letters;
    struct letters_line line;
};

static int begin(void **state) {
    struct shop *shop = calloc(1, sizeof *shop);

    shop->letters = letters_open();
    *state = shop;
    return shop->letters != NULL ? 0 : -1;
}

static int end(void **state) {
    struct shop *shop = *state;

    letters_free(shop->letters);
    free(shop);
    return 0;
}

static const char *lay(struct shop *shop, enum letters_font font, const char *text) {
    letters_lay(shop->letters, font, text, strlen(text), &shop->line);
    return shop->line.text;
}

static void draws_in_the_face_asked_for(void **state) {
    struct shop *shop = *state;

    for (enum letters_font font = LETTERS_REGULAR; font <= LETTERS_MONO; font++) {
        assert_string_equal(lay(shop, font, "Gießerei Łódź 50 °C ± 2 − … – „x“"),
                            "Gießerei Łódź 50 °C ± 2 − … – „x“");
        assert_int_equal(shop->line.count, 1);
        assert_int_equal(shop->line.runs[0].font, font);
        assert_int_equal(shop->line.runs[0].length, strlen(shop->line.text));
        assert_true(letters_width(shop->letters, &shop->line, &shop->line.runs[0]) > 10);
    }
}

static void falls_back_letter_by_letter(void **state) {
    struct shop *shop = *state;

    assert_string_equal(lay(shop, LETTERS_BOLD, "a東한ไz"), "a東한ไz");
    assert_int_equal(shop->line.count, 4);
    assert_int_equal(shop->line.runs[0].font, LETTERS_BOLD);
    assert_int_equal(shop->line.runs[1].font, LETTERS_HAN);
    assert_int_equal(shop->line.runs[2].font, LETTERS_SYMBOLS);
    assert_int_equal(shop->line.runs[3].font, LETTERS_BOLD);
}

/* By the code charts: beh U+0628 has the forms FE8F isolated, FE90 final, FE91 initial, FE92 medial; lam and alef
 * become one, FEFB. */
static void joins_and_turns_arabic(void **state) {
    struct shop *shop = *state;

    assert_string_equal(lay(shop, LETTERS_REGULAR, "ببب"), "\xEF\xBA\x90\xEF\xBA\x92\xEF\xBA\x91");
    assert_string_equal(lay(shop, LETTERS_REGULAR, "لا"), "\xEF\xBB\xBB");
    assert_string_equal(lay(shop, LETTERS_REGULAR, "x ב1א y"), "x א1ב y");
    assert_string_equal(lay(shop, LETTERS_REGULAR, "(אב)"), "(בא)"); // the line itself runs from the left
    assert_string_equal(lay(shop, LETTERS_REGULAR, "ש\xD6\xB8ב"), "ב\xD6\xB8ש");
}

static void says_what_it_cannot_draw(void **state) {
    struct shop *shop = *state;

    assert_string_equal(lay(shop, LETTERS_REGULAR,
                            "a\xF0\x9F\x94\xA5"
                            "b"),
                        "a[U+1F525]b");
    assert_string_equal(lay(shop, LETTERS_REGULAR, "\xF0\x9F\x91\xA9\xE2\x80\x8D\xF0\x9F\x94\xA7"),
                        "[U+1F469 U+1F527]"); // a joiner between
    assert_string_equal(lay(shop, LETTERS_REGULAR, "हि"), "[U+0939 U+093F]");
}

static void lets_no_control_through(void **state) {
    struct shop *shop = *state;

    assert_string_equal(lay(shop, LETTERS_REGULAR, "a\x1b[2J\tb\xC2\x9B"), "a [2J b ");
    assert_string_equal(lay(shop, LETTERS_REGULAR,
                            "a\xE2\x80\xAE"
                            "b\xFF"),
                        "a b\xEF\xBF\xBD");
}

static void keeps_marks_with_their_letter(void **state) {
    (void)state;
    assert_int_equal(letters_cluster("e\xCC\x81x"), 3);
    assert_int_equal(letters_cluster("e\xCC\x81\xCC\xA8"), 5);
    assert_int_equal(letters_cluster("xe"), 1);
    assert_int_equal(letters_cluster(""), 0);
    assert_int_equal(letters_cluster("\xFF\xFF"), 1);
}

static void cuts_what_is_longer_than_any_line(void **state) {
    struct shop *shop = *state;
    char *text = calloc(1, 4 * LETTERS_MOST + 1);

    memset(text, 'x', 4 * (size_t)LETTERS_MOST);
    assert_int_equal(strlen(lay(shop, LETTERS_REGULAR, text)), LETTERS_MOST);
    for (size_t i = 0; i < LETTERS_MOST; i++)
        memcpy(text + 4 * i, i % 2 == 0 ? "\xF0\x9F\x94\xA5" : "aaaa", 4);
    assert_true(strlen(lay(shop, LETTERS_REGULAR, text)) <= LETTERS_MOST);
    for (size_t i = 0; i < LETTERS_MOST; i++)
        memcpy(text + 4 * i, "a東", 4);
    assert_true(strlen(lay(shop, LETTERS_REGULAR, text)) < LETTERS_BYTES);
    assert_true(shop->line.count <= LETTERS_RUNS_MOST);
    free(text);
}

/* Read back by FreeType, which knows nothing of how the file was made: the same outlines, the same widths, no
 * parts. */
static void embeds_just_what_is_drawn(void **state) {
    static const char *const texts[LETTERS_FONT_COUNT] = {
        [LETTERS_REGULAR] = "Aéب", [LETTERS_BOLD] = "Żx", [LETTERS_HAN] = "製所한"};
    struct shop *shop = *state;
    FT_Library library;

    assert_int_equal(FT_Init_FreeType(&library), 0);
    for (enum letters_font font = LETTERS_REGULAR; font < LETTERS_NONE; font++) {
        struct subset_bytes file = {0};
        FT_Face whole, part;
        uint32_t code;

        if (texts[font] == NULL)
            continue;
        assert_false(letters_is_used(shop->letters, font));
        lay(shop, font, texts[font]);
        letters_use(shop->letters, &shop->line, &shop->line.runs[0]);
        assert_true(letters_is_used(shop->letters, font));
        assert_true(letters_embed(shop->letters, font, &file));
        assert_int_equal(FT_New_Face(library, letters_path(font), 0, &whole), 0);
        assert_int_equal(FT_New_Memory_Face(library, file.bytes, (FT_Long)file.length, 0, &part), 0);
        assert_string_equal(FT_Get_Postscript_Name(part), FT_Get_Postscript_Name(whole));
        for (FT_ULong of = FT_Get_First_Char(part, &code); code != 0; of = FT_Get_Next_Char(part, of, &code)) {
            assert_int_equal(FT_Load_Char(whole, of, FT_LOAD_NO_SCALE), 0);
            assert_int_equal(FT_Load_Char(part, of, FT_LOAD_NO_SCALE), 0);
            assert_int_equal(part->glyph->num_subglyphs, 0);
            assert_int_equal(part->glyph->metrics.horiAdvance, whole->glyph->metrics.horiAdvance);
            assert_int_equal(part->glyph->outline.n_points, whole->glyph->outline.n_points);
            assert_true(part->glyph->outline.n_points > 0);
            for (int i = 0; i < part->glyph->outline.n_points; i++)
                assert_memory_equal(&part->glyph->outline.points[i], &whole->glyph->outline.points[i],
                                    sizeof(FT_Vector));
        }
        FT_Done_Face(whole);
        FT_Done_Face(part);
        free(file.bytes);
    }
    FT_Done_FreeType(library);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(draws_in_the_face_asked_for, begin, end),
        cmocka_unit_test_setup_teardown(falls_back_letter_by_letter, begin, end),
        cmocka_unit_test_setup_teardown(joins_and_turns_arabic, begin, end),
        cmocka_unit_test_setup_teardown(says_what_it_cannot_draw, begin, end),
        cmocka_unit_test_setup_teardown(lets_no_control_through, begin, end),
        cmocka_unit_test(keeps_marks_with_their_letter),
        cmocka_unit_test_setup_teardown(cuts_what_is_longer_than_any_line, begin, end),
        cmocka_unit_test_setup_teardown(embeds_just_what_is_drawn, begin, end),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
