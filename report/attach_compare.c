// SPDX-License-Identifier: MIT
/* What differs between two facts, in words. Members of an array are matched by what they are about, so that one
 * more of them does not make all the others differ. */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "attach_json.h"
#include "soakledger/words.h"

enum { PATH_BYTES = 200, VALUE_BYTES = 120, SENTENCE_BYTES = 1024, DEPTH_MOST = 12, NUMBER_BYTES = 32 };
/* Nothing of ours was recorded before 2001: what is smaller is a duration. */
#define FIRST_TIME_MS INT64_C(1000000000000)

struct compare {
    json_t *sentences;
    const char *then, *now;
    size_t most, left_out;
    bool failed;
};

__attribute__((format(printf, 2, 3))) static void compare_say(struct compare *compare, const char *format, ...) {
    char sentence[SENTENCE_BYTES], clean[SENTENCE_BYTES];
    va_list arguments;

    if (json_array_size(compare->sentences) >= compare->most) {
        compare->left_out++;
        return;
    }
    va_start(arguments, format);
    vsnprintf(sentence, sizeof sentence, format, arguments);
    va_end(arguments);
    words_clean(sentence, strlen(sentence), 0, clean, sizeof clean);
    if (json_array_append_new(compare->sentences, json_string(clean)) != 0)
        compare->failed = true;
}

/* ---- words for places and values ---- */

/* What a member of an array is about: a run, a channel, a verdict's requirement ... */
static bool compare_label(const json_t *member, char *out, size_t size) {
    static const char *const names[] = {"name",     "run",         "channel",   "file",
                                        "hardness", "disposition", "amendment", "batch"};
    const json_t *of = json_object_get(member, "of"), *words = json_object_get(member, "words");

    if (json_is_string(of) && json_is_string(words)) {
        snprintf(out, size, "%s, %s", json_string_value(of), json_string_value(words));
        return true;
    }
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        const json_t *value = json_object_get(member, names[i]);

        if (json_is_string(value)) {
            snprintf(out, size, "%s", json_string_value(value));
            return true;
        }
        if (json_is_integer(value)) {
            snprintf(out, size, "%s %lld", names[i], (long long)json_integer_value(value));
            return true;
        }
    }
    return false;
}

/* Containers that say nothing to a person. */
static bool compare_is_frame(const char *name) {
    static const char *const frames[] = {"judged",   "visits", "verdicts",     "runs",      "batch",
                                         "channels", "books",  "dispositions", "amendments"};

    for (size_t i = 0; i < sizeof frames / sizeof frames[0]; i++)
        if (strcmp(name, frames[i]) == 0)
            return true;
    return false;
}

static bool compare_ends_in(const char *name, const char *end) {
    const size_t length = strlen(name), size = strlen(end);

    return length >= size && strcmp(name + length - size, end) == 0;
}

/* A member's name as words: "closed_ms" is "closed". Labels of ours and of people stay as they are. */
static void compare_spell(const char *name, char *out) {
    snprintf(out, PATH_BYTES, "%.*s", (int)(strlen(name) - (compare_ends_in(name, "_ms") ? strlen("_ms") : 0)),
             name);
    for (char *at = out; *at != '\0'; at++)
        if (*at == '_')
            *at = ' ';
}

static void compare_place(const char *path, const char *name, char *out) {
    const size_t length = strlen(path);

    if (compare_is_frame(name))
        snprintf(out, PATH_BYTES, "%s", path);
    else if (length == 0 || (strncmp(name, path, length) == 0 &&
                             (name[length] == ',' || name[length] == ' '))) // "temper, soak time" in "temper"
        snprintf(out, PATH_BYTES, "%s", name);
    else
        snprintf(out, PATH_BYTES, "%s, %s", path, name);
}

static char *compare_value(const char *name, const json_t *value, char *out) {
    char number[QUANTITY_TEXT_BYTES];

    if (value == NULL || json_is_null(value)) {
        snprintf(out, VALUE_BYTES, "nothing");
    } else if (json_is_string(value)) {
        snprintf(out, VALUE_BYTES, "\"%s\"", json_string_value(value));
    } else if (json_is_integer(value) && compare_ends_in(name, "_ms")) {
        const int64_t ms = json_integer_value(value);

        if (ms >= FIRST_TIME_MS)
            snprintf(out, VALUE_BYTES, "%s UTC", quantity_format_time(ms, 0, number));
        else
            snprintf(out, VALUE_BYTES, "%lld ms", (long long)ms);
    } else if (json_is_integer(value)) {
        snprintf(out, VALUE_BYTES, "%lld", (long long)json_integer_value(value));
    } else if (json_is_boolean(value)) {
        snprintf(out, VALUE_BYTES, "%s", json_is_true(value) ? "yes" : "no");
    } else {
        snprintf(out, VALUE_BYTES, "%s of %zu", json_is_array(value) ? "a list" : "a group",
                 json_is_array(value) ? json_array_size(value) : json_object_size(value));
    }
    return out;
}

/* ---- verdicts: one sentence each ---- */

static const char *compare_string(const json_t *object, const char *name) {
    const char *text = json_string_value(json_object_get(object, name));

    return text != NULL ? text : "nothing";
}

static void compare_found(const json_t *verdict, char *out) {
    const json_t *found = json_object_get(verdict, "found");
    const json_int_t requirement = json_integer_value(json_object_get(verdict, "requirement"));

    if (json_is_integer(found) && requirement >= 1 && requirement < REQUIREMENT_COUNT)
        words_value((enum requirement)requirement, json_integer_value(found), UNIT_CELSIUS, out);
    else
        snprintf(out, QUANTITY_TEXT_BYTES, "no value");
}

static void compare_verdict(struct compare *compare, const char *path, const json_t *before, const json_t *after) {
    char found[2][QUANTITY_TEXT_BYTES];

    compare_found(before, found[0]);
    compare_found(after, found[1]);
    if (strcmp(found[0], found[1]) == 0 &&
        strcmp(compare_string(before, "outcome"), compare_string(after, "outcome")) == 0)
        compare_say(compare, "%s: the verdict on it differs in its details", path);
    else
        compare_say(compare, "%s: %s %s (%s), %s %s (%s)", path, compare->then, compare_string(before, "outcome"),
                    found[0], compare->now, compare_string(after, "outcome"), found[1]);
}

/* ---- walking both ---- */

static void compare_values(struct compare *compare, const char *path, const char *name, const json_t *before,
                           const json_t *after, int depth);

static const json_t *compare_find(const json_t *array, const char *label) {
    char other[PATH_BYTES];
    const json_t *member;
    size_t i;

    json_array_foreach(array, i, member) {
        if (compare_label(member, other, sizeof other) && strcmp(label, other) == 0)
            return member;
    }
    return NULL;
}

static bool compare_has_labels(const json_t *array) {
    char label[PATH_BYTES];
    const json_t *member;
    size_t i;

    json_array_foreach(array, i, member) {
        if (!compare_label(member, label, sizeof label))
            return false;
    }
    return true;
}

static void compare_arrays(struct compare *compare, const char *path, const json_t *before, const json_t *after,
                           int depth) {
    char label[PATH_BYTES], place[PATH_BYTES];
    const json_t *member;
    size_t i;

    if (!compare_has_labels(before) || !compare_has_labels(after)) {
        if (json_array_size(before) != json_array_size(after))
            compare_say(compare, "%s: %s %zu, %s %zu", path, compare->then, json_array_size(before), compare->now,
                        json_array_size(after));
        else
            compare_say(compare, "%s: not the same", path);
        return;
    }
    json_array_foreach(before, i, member) {
        compare_label(member, label, sizeof label);
        compare_place(path, label, place);
        if (compare_find(after, label) == NULL)
            compare_say(compare, "%s: no longer there", place);
        else
            compare_values(compare, place, "", member, compare_find(after, label), depth);
    }
    json_array_foreach(after, i, member) {
        compare_label(member, label, sizeof label);
        compare_place(path, label, place);
        if (compare_find(before, label) == NULL)
            compare_say(compare, "%s: new", place);
    }
}

static bool compare_passes_over(const char *const *passed_over, const char *name) {
    for (; passed_over != NULL && *passed_over != NULL; passed_over++)
        if (strcmp(*passed_over, name) == 0)
            return true;
    return false;
}

static void compare_objects(struct compare *compare, const char *path, const json_t *before, const json_t *after,
                            const char *const *passed_over, int depth) {
    char place[PATH_BYTES], spelt[PATH_BYTES];
    const json_t *member;
    const char *name;

    if (json_object_get(before, "requirement") != NULL && json_object_get(after, "requirement") != NULL) {
        compare_verdict(compare, path, before, after);
        return;
    }
    json_object_foreach((json_t *)before, name, member) {
        compare_spell(name, spelt);
        compare_place(path, spelt, place);
        if (!compare_passes_over(passed_over, name))
            compare_values(compare, place, name, member, json_object_get(after, name), depth);
    }
    json_object_foreach((json_t *)after, name, member) {
        compare_spell(name, spelt);
        compare_place(path, spelt, place);
        if (!compare_passes_over(passed_over, name) && json_object_get(before, name) == NULL)
            compare_values(compare, place, name, NULL, member, depth);
    }
}

static void compare_values(struct compare *compare, const char *path, const char *name, const json_t *before,
                           const json_t *after, int depth) {
    char old[VALUE_BYTES], new[VALUE_BYTES];

    if (before != NULL && after != NULL && json_equal(before, after))
        return;
    if (depth < DEPTH_MOST && json_is_object(before) && json_is_object(after))
        compare_objects(compare, path, before, after, NULL, depth + 1);
    else if (depth < DEPTH_MOST && json_is_array(before) && json_is_array(after))
        compare_arrays(compare, path, before, after, depth + 1);
    else
        compare_say(compare, "%s: %s %s, %s %s", path, compare->then, compare_value(name, before, old),
                    compare->now, compare_value(name, after, new));
}

json_t *attach_compare(const json_t *before, const json_t *after, const char *then, const char *now,
                       const char *const *passed_over, size_t most) {
    struct compare compare = {json_array(), then, now, most, 0, false};

    if (compare.sentences == NULL)
        return NULL;
    if (!json_equal(before, after))
        compare_objects(&compare, "", before, after, passed_over, 0);
    if (compare.left_out > 0) {
        compare.most++;
        compare_say(&compare, "and %zu more", compare.left_out);
    }
    if (compare.failed) {
        json_decref(compare.sentences);
        return NULL;
    }
    return compare.sentences;
}
