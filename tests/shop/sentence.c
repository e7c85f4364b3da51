// SPDX-License-Identifier: MIT
/* A sentence is matched word by word against a table of patterns. A word in capitals takes what is there:
 * a name is one word, a quantity all words up to the pattern's next one. */
#include "sentence.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/quantity.h"

enum { WORDS = 24, TEXT_BYTES = 256, PATTERN_BYTES = 96 };
static const double MS_PER_S = 1000;
static const double S_PER_H = 3600, PER_CENT = 100, SHARE_MOST = 100;

static const struct pattern {
    enum scene_act act;
    const char *words;
} PATTERNS[] = {
    {ACT_RAMP, "oven OVEN ramps to TEMPERATURE at RATE"},
    {ACT_HOLD, "oven OVEN holds TEMPERATURE"},
    {ACT_OFF, "oven OVEN off"},
    {ACT_DOOR_AJAR, "door of OVEN open by SHARE for DURATION"},
    {ACT_ELEMENTS, "elements of OVEN at SHARE"},
    {ACT_SUPPLY, "supply of OVEN at SHARE"},
    {ACT_LOAD_WEIGHS, "load LOAD weighs SHARE with surface SHARE"},
    {ACT_SENSOR_RISE, "sensor SENSOR gets SHARE of the rise"},
    {ACT_LINE_GARBLES, "line LINE garbles SHARE"},
    {ACT_DOOR, "door of OVEN open for DURATION"},
    {ACT_TUNE, "oven OVEN tuned to band DIFFERENCE reset DURATION derivative DURATION"},
    {ACT_TUNE_AS_BUILT, "oven OVEN tuned as built"},
    {ACT_LOAD_IN, "load LOAD in"},
    {ACT_LOAD_OUT, "load LOAD out to TEMPERATURE with lag DURATION"},
    {ACT_LOAD_MOVE, "load LOAD moves to OVEN"},
    {ACT_SENSOR_OPEN, "sensor SENSOR opens"},
    {ACT_SENSOR_CLOSE, "sensor SENSOR closes"},
    {ACT_SENSOR_HIGH, "sensor SENSOR reads high by DIFFERENCE"},
    {ACT_SENSOR_LOW, "sensor SENSOR reads low by DIFFERENCE"},
    {ACT_SENSOR_DRIFT_HIGH, "sensor SENSOR drifts high by RATE"},
    {ACT_SENSOR_DRIFT_LOW, "sensor SENSOR drifts low by RATE"},
    {ACT_SENSOR_TRUE, "sensor SENSOR reads true"},
    {ACT_SENSOR_NOISE, "sensor SENSOR noise DIFFERENCE"},
    {ACT_POWER_OFF, "controller CONTROLLER power off"},
    {ACT_POWER_ON, "controller CONTROLLER power on"},
    {ACT_LINE_VANISH, "line LINE vanishes"},
    {ACT_LINE_RETURN, "line LINE returns"},
};

struct words {
    char text[TEXT_BYTES];
    size_t count;
    const char *word[WORDS];
};

static int split(const char *text, struct words *words) {
    char *rest = words->text;
    char *word;

    words->count = 0;
    if (strlen(text) >= sizeof words->text)
        return -1;
    memcpy(words->text, text, strlen(text) + 1);
    while ((word = strtok_r(rest, " \t", &rest)) != NULL) {
        if (words->count == WORDS)
            return -1;
        words->word[words->count++] = word;
    }
    return 0;
}

static bool is_place(const char *word) {
    return word[0] >= 'A' && word[0] <= 'Z';
}

static int find_named(const void *array, size_t count, size_t stride, const char *name, size_t *index) {
    for (size_t i = 0; i < count; i++)
        if (strcmp((const char *)array + i * stride, name) == 0) {
            *index = i;
            return 0;
        }
    return -1;
}

static int take_name(const struct scene *scene, const char *place, const char *name, size_t *index,
                     struct fault *fault) {
    const bool sensor = strcmp(place, "SENSOR") == 0;
    const char *expected = sensor ? "sensor (an oven or a load)" : "load";
    int found = -1;

    if (sensor)
        found = find_named(scene->ovens, scene->oven_count, sizeof scene->ovens[0], name, index);
    if (strcmp(place, "OVEN") == 0) {
        expected = "oven";
        found = find_named(scene->ovens, scene->oven_count, sizeof scene->ovens[0], name, index);
    } else if (strcmp(place, "CONTROLLER") == 0) {
        expected = "controller";
        found = find_named(scene->controllers, scene->controller_count, sizeof scene->controllers[0], name, index);
    } else if (strcmp(place, "LINE") == 0) {
        expected = "line";
        found = find_named(scene->lines, scene->line_count, sizeof scene->lines[0], name, index);
    } else if (found != 0) {
        found = find_named(scene->loads, scene->load_count, sizeof scene->loads[0], name, index);
        if (found == 0 && sensor)
            *index = scene_sensor_of_load(*index);
    }
    if (found != 0)
        return fault_set(fault, EX_DATAERR, "'%s' is unknown: expected the name of a %s", name, expected);
    return 0;
}

/* "40 %", of which the scene keeps 0.4. */
static int take_share(const char *text, double *share, struct fault *fault) {
    const size_t digits = strspn(text, "0123456789.");
    char *end = NULL;

    *share = digits > 0 && text[0] != '.' ? strtod(text, &end) / PER_CENT : -1;
    if (end != text + digits || strcmp(end, " %") != 0 || !(*share <= SHARE_MOST))
        return fault_set(fault, EX_DATAERR, "'%s' is not a share: expected e.g. 40 %%", text);
    return 0;
}

static int take_quantity(const char *kind, const char *text, double *value, struct fault *fault) {
    int64_t thousandths = 0;

    if (strcmp(kind, "SHARE") == 0)
        return take_share(text, value, fault);
    if (strcmp(kind, "TEMPERATURE") == 0 && quantity_parse_temperature(text, &thousandths, fault) != 0)
        return -1;
    if (strcmp(kind, "DIFFERENCE") == 0 && quantity_parse_difference(text, &thousandths, fault) != 0)
        return -1;
    if (strcmp(kind, "DURATION") == 0 && quantity_parse_duration(text, &thousandths, fault) != 0)
        return -1;
    if (strcmp(kind, "RATE") == 0 && quantity_parse_rate(text, &thousandths, fault) != 0)
        return -1;
    *value = (double)thousandths / (strcmp(kind, "DURATION") == 0 ? MS_PER_S : QUANTITY_PER_UNIT);
    if (strcmp(kind, "RATE") == 0)
        *value /= S_PER_H;
    return 0;
}

/* Finds where in `said` each word of `pattern` begins; begin[pattern->count] is the end. The first place of
 * every pattern is a name and takes one word; the others are quantities. */
static bool match(const struct words *pattern, const struct words *said, size_t *begin) {
    size_t at = 1; // after the time
    bool named = false;

    for (size_t i = 0; i < pattern->count; i++) {
        const char *next = i + 1 < pattern->count ? pattern->word[i + 1] : NULL;

        begin[i] = at;
        if (at >= said->count || (!is_place(pattern->word[i]) && strcmp(pattern->word[i], said->word[at]) != 0))
            return false;
        at++;
        if (!is_place(pattern->word[i]))
            continue;
        while (named && at < said->count && (next == NULL || strcmp(next, said->word[at]) != 0))
            at++;
        named = true;
    }
    begin[pattern->count] = at;
    return at == said->count;
}

static void join(const struct words *said, size_t begin, size_t end, char *out) {
    size_t used = 0;

    for (size_t i = begin; i < end; i++)
        used += (size_t)snprintf(out + used, TEXT_BYTES - used, "%s%s", i > begin ? " " : "", said->word[i]);
}

static int take_places(const struct scene *scene, const struct words *pattern, const struct words *said,
                       const size_t *begin, struct scene_event *event, struct fault *fault) {
    char text[TEXT_BYTES] = "";
    size_t argument = 0;
    bool named = false;

    for (size_t i = 0; i < pattern->count; i++) {
        if (!is_place(pattern->word[i]))
            continue;
        join(said, begin[i], begin[i + 1], text);
        if (!named && take_name(scene, pattern->word[i], text, &event->subject, fault) != 0)
            return -1;
        if (named && event->act == ACT_LOAD_MOVE) {
            if (take_name(scene, pattern->word[i], text, &event->oven, fault) != 0)
                return -1;
        } else if (named && take_quantity(pattern->word[i], text, &event->arguments[argument++], fault) != 0)
            return -1;
        named = true;
    }
    return 0;
}

/* The nearest thing that could have been meant: the patterns that begin with the same word. */
static int refuse(const struct words *said, const char *text, struct fault *fault) {
    char expected[FAULT_TEXT_BYTES] = "";
    size_t used = 0;

    for (int same = 1; same >= 0 && used == 0; same--)
        for (size_t i = 0; i < sizeof PATTERNS / sizeof PATTERNS[0]; i++) {
            const size_t first = strcspn(PATTERNS[i].words, " ");

            if (same && (said->count < 2 || strncmp(PATTERNS[i].words, said->word[1], first) != 0))
                continue;
            if (used < sizeof expected)
                used += (size_t)snprintf(expected + used, sizeof expected - used, "%s%s", used > 0 ? " | " : "",
                                         PATTERNS[i].words);
        }
    return fault_set(fault, EX_DATAERR, "'%s' is not understood: expected a time and %s", text, expected);
}

int sentence_parse(const struct scene *scene, const char *text, struct scene_event *event, struct fault *fault) {
    struct words said = {0}, pattern = {0};
    size_t begin[WORDS + 1];

    memset(event, 0, sizeof *event);
    if (split(text, &said) != 0)
        return fault_set(fault, EX_DATAERR, "'%.60s...' is too long: expected one event", text);
    if (said.count == 0 || quantity_parse_time(said.word[0], &event->t_ms, fault) != 0)
        return said.count == 0 ? refuse(&said, text, fault) : -1;
    for (size_t i = 0; i < sizeof PATTERNS / sizeof PATTERNS[0]; i++) {
        if (split(PATTERNS[i].words, &pattern) != 0 || !match(&pattern, &said, begin))
            continue;
        event->act = PATTERNS[i].act;
        return take_places(scene, &pattern, &said, begin, event, fault);
    }
    return refuse(&said, text, fault);
}
