// SPDX-License-Identifier: MIT
/* Keyfiles: what is taken, and above all what is refused, with file and line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/keyfile.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static struct keyfile *parse(const char *text, struct fault *fault) {
    return keyfile_parse(text, strlen(text), "a.conf", fault);
}

static struct keyfile *parse_good(const char *text) {
    struct fault fault = {0, ""};
    struct keyfile *file = parse(text, &fault);

    if (file == NULL)
        fail_msg("refused: %s", fault.text);
    return file;
}

static void sections_and_entries_keep_order_and_lines(void **state) {
    static const char text[] = "; first line\n"
                               "\n"
                               "[line  far bench ]\n"
                               "device=/dev/ttyS0\t; the port on the wall\n"
                               "  # an indented comment\n"
                               "note = a;b # c\n"
                               "[shop]\n"
                               "[line near] ; no keys\n"
                               "name = Härterei °C\n";
    struct keyfile *file = parse_good(text);
    struct keyfile_section *far = keyfile_section(file, 0), *shop = keyfile_section(file, 1);
    size_t length;
    int line;

    (void)state;
    assert_int_equal(keyfile_count_sections(file), 3);
    assert_string_equal(keyfile_section_kind(far), "line");
    assert_string_equal(keyfile_section_name(far), "far bench");
    assert_int_equal(keyfile_section_line(far), 3);
    assert_string_equal(keyfile_section_kind(shop), "shop");
    assert_string_equal(keyfile_section_name(shop), "");
    assert_int_equal(keyfile_section_line(shop), 7);
    assert_string_equal(keyfile_section_name(keyfile_section(file, 2)), "near");
    assert_string_equal(keyfile_take(far, "device", &line), "/dev/ttyS0");
    assert_int_equal(line, 4);
    assert_string_equal(keyfile_take(far, "note", &line), "a;b # c");
    assert_int_equal(line, 6);
    assert_string_equal(keyfile_take(keyfile_section(file, 2), "name", NULL), "Härterei °C");
    assert_null(keyfile_take(shop, "device", NULL));
    assert_string_equal(keyfile_text(file, &length), text);
    assert_int_equal(length, strlen(text));
    assert_string_equal(keyfile_name(file), "a.conf");
    keyfile_free(file);
    keyfile_free(NULL);
}

static void line_ends_and_a_byte_order_mark_do_not_matter(void **state) {
    struct keyfile *file = parse_good("\xEF\xBB\xBF[a]\r\nk = 1\r\n\r\n[b]\r\nk = 2");
    int line;

    (void)state;
    assert_string_equal(keyfile_take(keyfile_section(file, 0), "k", NULL), "1");
    assert_string_equal(keyfile_take(keyfile_section(file, 1), "k", &line), "2");
    assert_int_equal(line, 5);
    keyfile_free(file);
}

static void an_empty_file_has_no_sections(void **state) {
    struct keyfile *file = parse_good("");

    (void)state;
    assert_int_equal(keyfile_count_sections(file), 0);
    keyfile_free(file);
}

/* libinih cuts a header at 50 bytes and its buffer holds 198 and the line's end: neither may cut a name or value.
 */
static void long_names_and_values_arrive_whole(void **state) {
    char text[600], value[200];
    struct keyfile *file;

    (void)state;
    memset(value, 'v', sizeof value);
    snprintf(text, sizeof text, "[channel %.*s]\nk=%.*s\n[channel %.*sx]\n%.*s = 1", 100, value, 196, value, 100,
             value, 100, value);
    file = parse_good(text);
    assert_int_equal(strlen(keyfile_section_name(keyfile_section(file, 0))), 100);
    assert_int_equal(strlen(keyfile_take(keyfile_section(file, 0), "k", NULL)), 196);
    assert_int_equal(strlen(keyfile_section_name(keyfile_section(file, 1))), 101);
    value[100] = '\0';
    assert_string_equal(keyfile_take(keyfile_section(file, 1), value, NULL), "1");
    keyfile_free(file);
}

static void what_is_unclear_is_refused_with_its_line(void **state) {
    static const struct {
        const char *text;
        const char *message; // its beginning
    } refusals[] = {
        {"k = 1\n[a]\n", "a.conf:1: text before the first section"},
        {"\n; c\nfoo\n", "a.conf:3: text before the first section"},
        {"[a]\nk = 1\nj = 2\nk = 3\n", "a.conf:4: key 'k' is given twice: the first is on line 2"},
        {"[a b]\n[c]\n[a  b ]\n", "a.conf:3: section [a b] is given twice: the first is on line 1"},
        {"[a]\n[a]\n", "a.conf:2: section [a] is given twice"},
        {"[a]\nk = 1\n  2\n", "a.conf:3: white space before the text"},
        {"[a]\nk =\n\t2\n", "a.conf:2: k: no value: expected k = value"},
        {"[a]\nk = ; nothing\n", "a.conf:2: k: no value"},
        {"[a]\n k = 1\n", "a.conf:2: white space before the text"},
        {"[a]\nk\n", "a.conf:2: neither header, entry nor comment: expected key = value"},
        {"[a]\n= 1\n", "a.conf:2: neither header"},
        {"[a]\nk: 1\n", "a.conf:2: neither header"},
        {"[a]\nk:j = 1\n", "a.conf:2: neither header"},
        {"[a]\nk ; = 1\n", "a.conf:2: neither header"},
        {"[a\nk = 1\n", "a.conf:1: not a section header: expected [kind] or [kind name]"},
        {"[a] b\n", "a.conf:1: not a section header"},
        {"[a ; b]\n", "a.conf:1: not a section header"},
        {"[a]]\n", "a.conf:1: not a section header"},
        {"[[a]\n", "a.conf:1: not a section header"},
        {"[]\n", "a.conf:1: a section without a kind"},
        {"[ a]\n", "a.conf:1: a section without a kind"},
        {"[a]\nk = \xFF\n", "a.conf:2: a byte that is part of no character: expected UTF-8 text"},
        {"[a]\nk = \xC0\xAF\n", "a.conf:2: a byte that is part of no character"},     // overlong
        {"[a]\nk = \xED\xA0\x80\n", "a.conf:2: a byte that is part of no character"}, // half of a surrogate pair
        {"[a]\nk = \xF4\x90\x80\x80\n", "a.conf:2: a byte that is part of no character"}, // beyond U+10FFFF
        {"[a]\nk = \xC2\n", "a.conf:2: a byte that is part of no character"},
        {"; \xE2\x82", "a.conf:1: a byte that is part of no character"}, // in a comment, cut by the end
        {"[a]\nk = \x1B[2J\n", "a.conf:2: a control character"},
        {"[a]\nk = \x7F\n", "a.conf:2: a control character"},
        {"[a]\nk = \xC2\x9B\n", "a.conf:2: a control character"}, // U+009B
        {"[a]\nk = 1\r2\n", "a.conf:2: a control character"},
    };

    (void)state;
    for (size_t i = 0; i < COUNT(refusals); i++) {
        struct fault fault = {0, ""};

        if (parse(refusals[i].text, &fault) != NULL)
            fail_msg("taken: %s", refusals[i].text);
        if (strncmp(fault.text, refusals[i].message, strlen(refusals[i].message)) != 0)
            fail_msg("\"%s\", expected \"%s\"", fault.text, refusals[i].message);
        assert_non_null(
            strstr(fault.text, strstr(fault.text, "given twice") != NULL ? "the first" : ": expected "));
        assert_int_equal(fault.status, EX_CONFIG);
    }
}

static void a_nul_byte_is_refused(void **state) {
    struct fault fault = {0, ""};

    (void)state;
    assert_null(keyfile_parse("[a]\nk = 1\0 2\n", 13, "a.conf", &fault));
    assert_string_equal(fault.text, "a.conf:2: a NUL byte: expected UTF-8 text");
}

static void a_line_too_long_is_refused(void **state) {
    struct fault fault = {0, ""};
    char text[300];

    (void)state;
    snprintf(text, sizeof text, "[a]\nk=%0197d\n", 1);
    assert_null(parse(text, &fault));
    assert_string_equal(fault.text, "a.conf:2: line of 199 bytes: expected at most 198");
    snprintf(text, sizeof text, "[a]\n; %0200d\n", 1);
    assert_null(parse(text, &fault));
    assert_string_equal(fault.text, "a.conf:2: line of 202 bytes: expected at most 198");
}

static void too_much_is_refused(void **state) {
    enum { MANY = 5000, LINE_BYTES = 16, HUGE_BYTES = (1 << 20) + 1 };
    char *text = calloc(1, HUGE_BYTES + 1);
    struct fault fault = {0, ""};
    size_t used;

    (void)state;
    assert_non_null(text);
    used = (size_t)sprintf(text, "[a]\n");
    for (int i = 0; i < MANY; i++)
        used += (size_t)snprintf(text + used, LINE_BYTES, "k%d = 1\n", i);
    assert_null(parse(text, &fault));
    assert_string_equal(fault.text, "a.conf:130: too many keys in [a]: expected at most 128");
    used = 0;
    for (int i = 0; i < MANY; i++)
        used += (size_t)snprintf(text + used, LINE_BYTES, "[a %d]\n", i);
    assert_null(parse(text, &fault));
    assert_string_equal(fault.text, "a.conf:4097: too many sections: expected at most 4096");
    memset(text, '\n', HUGE_BYTES);
    assert_null(keyfile_parse(text, HUGE_BYTES, "a.conf", &fault));
    assert_string_equal(fault.text, "a.conf: file of 1048577 bytes: expected at most 1 MiB");
    free(text);
}

static void typed_takes_give_the_value_or_the_place_of_the_fault(void **state) {
    static const char *const words[] = {"none", "even", "odd", NULL};
    struct keyfile *file = parse_good("[a]\nt = 954 C\nd = 8 C\nw = 30 min\nr = 280 C/h\ns = 1 C .. 2 C\ni = 7\n"
                                      "day = 1970-01-02\np = odd\nbad = 12\n");
    struct keyfile_section *s = keyfile_section(file, 0);
    struct fault fault = {0, ""};
    int64_t value = -1, high = -1;
    int word = -1;

    (void)state;
    assert_int_equal(keyfile_take_temperature(s, "t", &value, &fault), 1);
    assert_int_equal(value, 954000);
    assert_int_equal(keyfile_take_difference(s, "d", &value, &fault), 1);
    assert_int_equal(value, 8000);
    assert_int_equal(keyfile_take_duration(s, "w", &value, &fault), 1);
    assert_int_equal(value, 1800000);
    assert_int_equal(keyfile_take_rate(s, "r", &value, &fault), 1);
    assert_int_equal(value, 280000);
    assert_int_equal(keyfile_take_span(s, "s", &value, &high, &fault), 1);
    assert_int_equal(value, 1000);
    assert_int_equal(high, 2000);
    assert_int_equal(keyfile_take_integer(s, "i", 0, 9, &value, &fault), 1);
    assert_int_equal(value, 7);
    assert_int_equal(keyfile_take_date(s, "day", &value, &fault), 1);
    assert_int_equal(value, 86400000);
    assert_int_equal(keyfile_take_word(s, "p", words, &word, &fault), 1);
    assert_int_equal(word, 2);
    assert_string_equal(fault.text, "");

    assert_int_equal(keyfile_take_temperature(s, "absent", &value, &fault), 0);
    assert_int_equal(value, 86400000);
    assert_int_equal(keyfile_take_temperature(s, "bad", &value, &fault), -1);
    assert_string_equal(fault.text,
                        "a.conf:10: bad: '12' has no unit: expected a temperature such as 954 C or 1750 F");
    assert_int_equal(keyfile_take_difference(s, "bad", &value, &fault), -1);
    assert_int_equal(strncmp(fault.text, "a.conf:10: bad: ", 16), 0);
    assert_int_equal(keyfile_take_duration(s, "bad", &value, &fault), -1);
    assert_int_equal(keyfile_take_rate(s, "bad", &value, &fault), -1);
    assert_int_equal(keyfile_take_span(s, "bad", &value, &high, &fault), -1);
    assert_int_equal(keyfile_take_date(s, "bad", &value, &fault), -1);
    assert_int_equal(keyfile_take_integer(s, "bad", 0, 9, &value, &fault), -1);
    assert_string_equal(fault.text, "a.conf:10: bad: '12' is out of range: expected a whole number from 0 to 9");
    assert_int_equal(keyfile_take_word(s, "bad", words, &word, &fault), -1);
    assert_string_equal(fault.text, "a.conf:10: bad: '12': expected none, even or odd");
    assert_int_equal(fault.status, EX_CONFIG);
    assert_int_equal(keyfile_refuse_unknown(file, &fault), 0); // all were asked for
    keyfile_free(file);
}

static void the_first_key_nobody_asked_for_is_named(void **state) {
    struct keyfile *file = parse_good("[a]\nx = 1\n[b far]\ny = 1\nz = 1\n");
    struct fault fault = {0, ""};

    (void)state;
    assert_int_equal(keyfile_refuse_unknown(file, &fault), -1);
    assert_string_equal(fault.text, "a.conf:2: unknown key 'x' in [a]");
    assert_non_null(keyfile_take(keyfile_section(file, 0), "x", NULL));
    assert_int_equal(keyfile_refuse_unknown(file, &fault), -1);
    assert_string_equal(fault.text, "a.conf:4: unknown key 'y' in [b far]");
    assert_int_equal(fault.status, EX_CONFIG);
    assert_non_null(keyfile_take(keyfile_section(file, 1), "y", NULL));
    assert_non_null(keyfile_take(keyfile_section(file, 1), "z", NULL));
    assert_int_equal(keyfile_refuse_unknown(file, &fault), 0);
    keyfile_free(file);
}

static void demanding_and_refusing_a_key_name_their_line(void **state) {
    struct keyfile *file = parse_good("\n[a b]\nx = 1\n");
    struct keyfile_section *s = keyfile_section(file, 0);
    struct fault fault = {7, "untouched"};

    (void)state;
    assert_int_equal(keyfile_require(s, "x", 1, "3", &fault), 0);
    assert_int_equal(keyfile_require(s, "x", -1, "3", &fault), -1);
    assert_string_equal(fault.text, "untouched"); // what the take said stands
    assert_int_equal(keyfile_require(s, "y", 0, "3", &fault), -1);
    assert_string_equal(fault.text, "a.conf:2: [a b] has no y: expected a line such as y = 3");
    assert_int_equal(keyfile_refuse(s, "x", &fault, "not %d", 1), -1);
    assert_string_equal(fault.text, "a.conf:3: x: not 1");
    assert_int_equal(keyfile_refuse(s, "y", &fault, "not %d", 1), -1);
    assert_string_equal(fault.text, "a.conf:2: y: not 1");
    assert_int_equal(keyfile_fault(file, 0, &fault, "all %s", "wrong"), -1);
    assert_string_equal(fault.text, "a.conf: all wrong");
    keyfile_free(file);
}

static void files_are_read_or_said_to_be_unreadable(void **state) {
    char path[] = "/tmp/test_keyfile.XXXXXX", expected[256];
    const int descriptor = mkstemp(path);
    struct fault fault = {0, ""};
    struct keyfile *file;

    (void)state;
    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, "[a]\nk = 1\nk = 1\n", 16), 16);
    assert_null(keyfile_read(path, &fault));
    snprintf(expected, sizeof expected, "%s:3: key 'k' is given twice: the first is on line 2", path);
    assert_string_equal(fault.text, expected);
    assert_int_equal(ftruncate(descriptor, 10), 0);
    file = keyfile_read(path, &fault);
    assert_non_null(file);
    assert_string_equal(keyfile_name(file), path);
    assert_string_equal(keyfile_take(keyfile_section(file, 0), "k", NULL), "1");
    keyfile_free(file);
    assert_int_equal(ftruncate(descriptor, (1 << 20) + 1), 0);
    assert_null(keyfile_read(path, &fault));
    assert_int_equal(fault.status, EX_CONFIG);
    assert_non_null(strstr(fault.text, "expected at most 1 MiB"));
    close(descriptor);
    unlink(path);
    assert_null(keyfile_read(path, &fault));
    assert_int_equal(fault.status, EX_NOINPUT);
    snprintf(expected, sizeof expected, "%s: cannot be opened: No such file or directory", path);
    assert_string_equal(fault.text, expected);
    assert_null(keyfile_read("/tmp", &fault));
    assert_int_equal(fault.status, EX_NOINPUT);
    assert_string_equal(fault.text, "/tmp: cannot be read: Is a directory");
}

/* Random pieces of keyfiles: whatever happens, a refusal names a line that exists and an accepted file holds no
 * more entries than it has lines. */
static void random_text_never_crashes(void **state) {
    static const char *const pieces[] = {"[", "]",    "a",       "b",     " ",  "\n", "\n",    "=",
                                         "=", ";",    "#",       ":",     "\r", "\t", "k = ",  "\\",
                                         "°", "\xFF", "[a b]\n", "x=1\n", "\n", "\"", "[c]\n", "v"};
    uint64_t random = UINT64_C(20261116);
    int taken = 0;

    (void)state;
    print_message("seed %llu\n", (unsigned long long)random);
    for (int i = 0; i < 100000; i++) {
        char text[512] = "";
        size_t used = 0;
        struct fault fault = {0, ""};
        struct keyfile *file;
        int lines = 1, line = 0;

        for (int k = 0; k < 12; k++) {
            random ^= random << 13, random ^= random >> 7, random ^= random << 17;
            used += (size_t)snprintf(text + used, sizeof text - used, "%s", pieces[random % COUNT(pieces)]);
        }
        for (const char *c = text; *c != '\0'; c++)
            lines += *c == '\n';
        file = parse(text, &fault);
        if (file != NULL) {
            assert_true(keyfile_count_sections(file) <= (size_t)lines);
            taken += keyfile_count_sections(file) > 0;
        } else if (sscanf(fault.text, "a.conf:%d: ", &line) != 1 || line < 1 || line > lines) {
            fail_msg("\"%s\" for %d lines: %s", fault.text, lines, text);
        }
        keyfile_free(file);
    }
    assert_true(taken > 100);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sections_and_entries_keep_order_and_lines),
        cmocka_unit_test(line_ends_and_a_byte_order_mark_do_not_matter),
        cmocka_unit_test(an_empty_file_has_no_sections),
        cmocka_unit_test(long_names_and_values_arrive_whole),
        cmocka_unit_test(what_is_unclear_is_refused_with_its_line),
        cmocka_unit_test(a_nul_byte_is_refused),
        cmocka_unit_test(a_line_too_long_is_refused),
        cmocka_unit_test(too_much_is_refused),
        cmocka_unit_test(typed_takes_give_the_value_or_the_place_of_the_fault),
        cmocka_unit_test(the_first_key_nobody_asked_for_is_named),
        cmocka_unit_test(demanding_and_refusing_a_key_name_their_line),
        cmocka_unit_test(files_are_read_or_said_to_be_unreadable),
        cmocka_unit_test(random_text_never_crashes),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
