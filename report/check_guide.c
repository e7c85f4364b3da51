// SPDX-License-Identifier: MIT
/* A system accuracy test step by step: lines in, lines out, as any terminal can, also a slow one far away. One line
 * is written over where the terminal can; where it cannot, it is printed anew once in a while. Nothing is stored
 * here. */
#include <errno.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check_parts.h"
#include "soakledger/words.h"

enum { LOOK_EVERY_MS = 1000, REPEAT_EVERY = 60, LINE_BYTES = 512, HAD_ENOUGH = 0, ANSWERED = 1, TIME_PASSED = 2 };

struct guide {
    struct check_case *of;
    const struct check_words *words;
    FILE *out;
    bool bold;             // the terminal knows bold, and nobody asked for none
    bool overwrite;        // it is one on which a line can be written over
    int looks;             // since the live line was last printed
    char line[LINE_BYTES]; // what was typed
    char pending[LINE_BYTES];
    size_t filled; // of pending
};

/* ---- the terminal ---- */

static void say(struct guide *guide, const char *text) {
    command_print(guide->out, 2, text);
}

static void step(struct guide *guide, int number, const char *text) {
    const char *const on = guide->bold ? "\x1b[1m" : "", *const off = guide->bold ? "\x1b[0m" : "";

    fprintf(guide->out, "\n%s%d of 4  %s%s\n", on, number, text, off);
}

/* The live line: "" takes it away. Fits one row whatever is in it. */
static void show_live(struct guide *guide, const char *text) {
    size_t length = 0, columns = 0;

    if (!guide->overwrite && guide->looks++ % REPEAT_EVERY != 0)
        return;
    while (text[length] != '\0' && columns < COMMAND_LINE_COLUMNS - 1) {
        length += words_character(text + length);
        columns++;
    }
    if (guide->overwrite)
        fprintf(guide->out, "\r\x1b[K%.*s", (int)length, text);
    else if (length > 0)
        fprintf(guide->out, "%.*s\n", (int)length, text);
    fflush(guide->out);
}

/* A whole line out of what was typed so far. */
static bool take_line(struct guide *guide) {
    char *const end = memchr(guide->pending, '\n', guide->filled);
    size_t used;

    if (end == NULL && guide->filled < sizeof guide->pending)
        return false;
    used = end != NULL ? (size_t)(end - guide->pending) : guide->filled - 1;
    snprintf(guide->line, sizeof guide->line, "%.*s", (int)used, guide->pending);
    guide->line[strcspn(guide->line, "\r")] = '\0';
    used++;
    memmove(guide->pending, guide->pending + used, guide->filled - used);
    guide->filled -= used;
    return true;
}

/* Waits for a line: ANSWERED with it, HAD_ENOUGH at the end of the input or after "q", TIME_PASSED after `wait_ms`
 * (-1: never). */
static int listen_for(struct guide *guide, int wait_ms) {
    struct pollfd input = {.fd = STDIN_FILENO, .events = POLLIN};

    fflush(guide->out);
    while (!take_line(guide)) {
        const int ready = poll(&input, 1, wait_ms);
        ssize_t got;

        if (ready == 0)
            return TIME_PASSED;
        if (ready < 0 && errno != EINTR)
            return HAD_ENOUGH;
        got = ready > 0 ? read(STDIN_FILENO, guide->pending + guide->filled, sizeof guide->pending - guide->filled)
                        : 0;
        if (ready > 0 && got <= 0)
            return HAD_ENOUGH;
        guide->filled += (size_t)got;
    }
    return strcmp(guide->line, "q") == 0 ? HAD_ENOUGH : ANSWERED;
}

typedef int guide_parser(struct guide *guide, const char *text, struct fault *fault);

/* Asks until the answer can be understood. ANSWERED or HAD_ENOUGH. */
static int ask(struct guide *guide, const char *question, guide_parser *parse) {
    struct fault fault;

    for (;;) {
        fprintf(guide->out, "  %s: ", question);
        if (listen_for(guide, -1) == HAD_ENOUGH)
            return HAD_ENOUGH;
        if (parse(guide, guide->line, &fault) == 0)
            return ANSWERED;
        say(guide, fault.text);
    }
}

/* ---- looking ---- */

/* The last five minutes; with readings typed in, from five minutes before the first. */
static int look(struct guide *guide, bool *known, struct fault *fault) {
    struct check_case *of = guide->of;
    struct accuracy_setting *setting = &of->kept->setting;
    const int64_t now_ms = check_now(of, fault);

    *known = now_ms > 0;
    if (now_ms <= 0)
        return (int)now_ms;
    setting->to_ms = now_ms;
    setting->from_ms = (setting->typed_count > 0 ? setting->typed[0].t_ms : now_ms) - ACCURACY_WINDOW_MS;
    return check_measure(of, fault);
}

/* ---- what has to be known ---- */

static int parse_allowed(struct guide *guide, const char *text, struct fault *fault) {
    return check_parse_amount(text, "allowed", &guide->of->kept->setting.allowed_mc, fault);
}

static int parse_instrument(struct guide *guide, const char *text, struct fault *fault) {
    char *name = text[0] != '\0' ? strdup(text) : NULL;

    if (name == NULL)
        return fault_set(fault, EX_DATAERR, "expected the name and number on it, such as hand-held H-3");
    free(guide->of->kept->reference);
    guide->of->kept->reference = name;
    return 0;
}

static int parse_correction(struct guide *guide, const char *text, struct fault *fault) {
    return text[0] == '\0' ? 0 : check_parse_signed(text, &guide->of->kept->setting.correction_mc, fault);
}

static int parse_uncertainty(struct guide *guide, const char *text, struct fault *fault) {
    return text[0] == '\0'
               ? 0
               : check_parse_amount(text, "uncertainty", &guide->of->kept->setting.reference_uncertainty_mc, fault);
}

static int parse_due(struct guide *guide, const char *text, struct fault *fault) {
    return text[0] == '\0' ? 0 : check_parse_due(text, &guide->of->kept->setting.due_ms, fault);
}

static int ask_missing(struct guide *guide) {
    const struct check_words *words = guide->words;
    const struct accuracy_setting *setting = &guide->of->kept->setting;

    if (setting->allowed_mc == 0 && ask(guide, "Difference allowed, such as 3 C", parse_allowed) == HAD_ENOUGH)
        return HAD_ENOUGH;
    if (guide->of->reference == NULL) {
        if (words->instrument == NULL &&
            ask(guide, "Reference instrument, name and number", parse_instrument) == HAD_ENOUGH)
            return HAD_ENOUGH;
        if (words->correction == NULL &&
            ask(guide, "Its correction, to be added, such as +0.4 C (Enter: none)", parse_correction) == HAD_ENOUGH)
            return HAD_ENOUGH;
    }
    if (setting->reference_uncertainty_mc == 0 &&
        ask(guide, "Uncertainty of the reference (k = 2), such as 1.1 C (Enter: unknown)", parse_uncertainty) ==
            HAD_ENOUGH)
        return HAD_ENOUGH;
    if (setting->due_ms == 0 &&
        ask(guide, "Its calibration is due, such as 2027-03-31 (Enter: unknown)", parse_due) == HAD_ENOUGH)
        return HAD_ENOUGH;
    return ANSWERED;
}

static void introduce(struct guide *guide) {
    const struct check_case *of = guide->of;
    char line[3 * TRIAL_TEXT_BYTES], sensor[TRIAL_TEXT_BYTES], reference[TRIAL_TEXT_BYTES];

    snprintf(line, sizeof line, "System accuracy test of %s.", check_sensor(of, sensor));
    say(guide, line);
    if (of->reference != NULL) {
        snprintf(line, sizeof line, "Reference: %s.", check_reference(of, reference));
        say(guide, line);
    }
    say(guide, "q and Enter ends it at any time; nothing is stored before you say yes.");
}

static int place_reference(struct guide *guide, struct fault *fault) {
    bool known;

    if (look(guide, &known, fault) != 0)
        return -1;
    check_take_calibration(guide->of, guide->words, guide->of->kept->result.reference_mc); // need not be asked then
    step(guide, 1, "Put the reference beside the sensor");
    say(guide, "  Its tip belongs as close to the sensor's as it will go, at the same depth.");
    say(guide,
        "  Careful: the oven is hot, and a thermocouple in an electric oven is bare metal that may touch a live "
        "element. Switch the oven off and lock it before you reach in. The logger protects from nothing.");
    if (ask_missing(guide) == HAD_ENOUGH)
        return HAD_ENOUGH;
    fputs("  Enter when it is in place and the oven holds its temperature: ", guide->out);
    return listen_for(guide, -1);
}

/* ---- waiting ---- */

static void describe_live(struct guide *guide, bool known, char *out) {
    const struct accuracy_result *result = &guide->of->kept->result;
    const int64_t steepest = llabs(result->sensor_slope_mc_per_h) > llabs(result->reference_slope_mc_per_h)
                                 ? result->sensor_slope_mc_per_h
                                 : result->reference_slope_mc_per_h;
    char slope[QUANTITY_TEXT_BYTES], difference[TRIAL_TEXT_BYTES];

    if (!known) {
        snprintf(out, TRIAL_TEXT_BYTES, "  no reading of the last 2 min: is soakledgerd running?");
        return;
    }
    quantity_format_rate(steepest, guide->of->unit, slope);
    if (result->reason == ACCURACY_UNREAD ||
        (guide->of->reference != NULL && result->reason == ACCURACY_NO_REFERENCE))
        snprintf(out, TRIAL_TEXT_BYTES, "  %s", accuracy_reason_text(result->reason));
    else if (guide->of->reference != NULL)
        snprintf(out, TRIAL_TEXT_BYTES, "  %.200s · moves %s · %s", check_difference(guide->of, difference), slope,
                 result->stable                   ? "stable"
                 : result->reason == ACCURACY_GAP ? "not 5 min yet"
                                                  : "not stable yet");
    else
        snprintf(out, TRIAL_TEXT_BYTES, "  moves %s · %s", slope,
                 result->stable ? "stable" : "not stable for 5 min yet");
}

static int wait_until_stable(struct guide *guide, struct fault *fault) {
    char live[TRIAL_TEXT_BYTES], line[TRIAL_TEXT_BYTES], slope[QUANTITY_TEXT_BYTES];
    bool known = false;

    step(guide, 2, "Wait until the temperature is stable");
    snprintf(line, sizeof line, "  Five minutes slower than %s, without a gap. Nothing to do; q ends.",
             quantity_format_rate(ACCURACY_SLOPE_MC_PER_H, guide->of->unit, slope));
    say(guide, line);
    for (;;) {
        if (look(guide, &known, fault) != 0)
            return -1;
        describe_live(guide, known, live);
        if (known && guide->of->kept->result.stable)
            break;
        show_live(guide, live);
        if (listen_for(guide, LOOK_EVERY_MS) == HAD_ENOUGH)
            return HAD_ENOUGH;
    }
    guide->looks = 0;
    show_live(guide, live);
    if (guide->overwrite)
        fputc('\n', guide->out);
    return ANSWERED;
}

/* ---- readings ---- */

/* With a reference channel there is nothing to type: the difference is shown until the user has seen enough. */
static int watch_reference(struct guide *guide, struct fault *fault) {
    char live[TRIAL_TEXT_BYTES];
    bool known = false;
    int heard = TIME_PASSED;

    step(guide, 3, "Watch the difference");
    say(guide, "  Enter takes the last five minutes.");
    while (heard == TIME_PASSED) {
        if (look(guide, &known, fault) != 0)
            return -1;
        describe_live(guide, known, live);
        show_live(guide, live);
        heard = listen_for(guide, LOOK_EVERY_MS);
    }
    return heard;
}

/* HAD_ENOUGH, or ANSWERED with `guide->line`. */
static int ask_reading(struct guide *guide) {
    const size_t count = guide->of->kept->setting.typed_count;

    if (count < ACCURACY_READINGS_LEAST)
        fprintf(guide->out, "  Reading %zu of %d, such as 805.2 C (u takes back the last): ", count + 1,
                ACCURACY_READINGS_LEAST);
    else
        fputs("  One more, or Enter to finish: ", guide->out);
    return listen_for(guide, -1);
}

static void show_typed(struct guide *guide) {
    const struct accuracy_result *result = &guide->of->kept->result;
    const struct accuracy_typed *typed = &result->typed[result->typed_count - 1];
    const int64_t correction_mc = guide->of->kept->setting.correction_mc;
    char line[TRIAL_TEXT_BYTES], sensor[QUANTITY_TEXT_BYTES], difference[QUANTITY_TEXT_BYTES];

    if (!typed->paired)
        snprintf(line, sizeof line, "  no reading of the sensor at that moment");
    else
        snprintf(line, sizeof line, "  the sensor says %s: difference %s",
                 trial_level(typed->sensor_mc, guide->of->unit, sensor),
                 trial_difference(typed->sensor_mc - typed->said_mc - correction_mc, guide->of->unit, difference));
    say(guide, line);
}

static int take_typed(struct guide *guide, struct fault *fault) {
    struct accuracy_setting *setting = &guide->of->kept->setting;
    struct accuracy_typed typed = {0};
    struct fault refused;
    bool known;

    if (quantity_parse_temperature(guide->line, &typed.said_mc, &refused) != 0) {
        say(guide, refused.text);
        return 0;
    }
    typed.t_ms = check_now(guide->of, fault);
    if (typed.t_ms < 0)
        return -1;
    if (typed.t_ms == 0) {
        say(guide, "no reading of the last 2 min: is soakledgerd running? Type it again when it is.");
        return 0;
    }
    setting->typed[setting->typed_count++] = typed;
    if (look(guide, &known, fault) != 0)
        return -1;
    if (known)
        show_typed(guide);
    return 0;
}

static int type_readings(struct guide *guide, struct fault *fault) {
    struct accuracy_setting *setting = &guide->of->kept->setting;

    step(guide, 3, "Read the reference, and type what it says");
    say(guide, "  Three readings or more, some seconds apart, as shown: its correction is added for you.");
    for (;;) {
        const int heard = ask_reading(guide);

        if (heard != ANSWERED)
            return heard;
        if (guide->line[0] == '\0' && setting->typed_count >= ACCURACY_READINGS_LEAST)
            return ANSWERED;
        if (strcmp(guide->line, "u") == 0) {
            setting->typed_count -= setting->typed_count > 0 ? 1 : 0;
            continue;
        }
        if (setting->typed_count == ACCURACY_TYPED_MOST)
            return ANSWERED;
        if (take_typed(guide, fault) != 0)
            return -1;
    }
}

/* ---- the end ---- */

/* What was seen last is what is kept: nothing is read again between showing it and storing it. */
static int confirm(struct guide *guide) {
    const struct check_case *of = guide->of;
    char answer[TRIAL_TEXT_BYTES], line[2 * TRIAL_TEXT_BYTES], difference[TRIAL_TEXT_BYTES];

    step(guide, 4, "Store it?");
    snprintf(line, sizeof line, "  %.900s.", check_answer(of, answer));
    say(guide, line);
    if (of->kept->result.outcome == OUTCOME_NOT_PROVEN && of->kept->result.pair_count > 0) {
        snprintf(line, sizeof line, "  For what it is worth: it %.900s.", check_difference(of, difference));
        say(guide, line);
    }
    for (;;) {
        fputs("  Type yes to store it for good, no to forget it: ", guide->out);
        if (listen_for(guide, -1) == HAD_ENOUGH || strcmp(guide->line, "no") == 0)
            return HAD_ENOUGH;
        if (strcmp(guide->line, "yes") == 0)
            return ANSWERED;
    }
}

static int finish_measuring(struct guide *guide, struct fault *fault) {
    struct check_case *of = guide->of;

    check_take_calibration(of, guide->words, of->kept->result.reference_mc);
    if (check_measure(of, fault) != 0)
        return -1;
    of->kept->done_ms = command_now_ms(of->command, fault);
    return of->kept->done_ms < 0 ? -1 : ANSWERED;
}

static int go_through(struct guide *guide, struct fault *fault) {
    int got;

    introduce(guide);
    got = place_reference(guide, fault);
    if (got == ANSWERED)
        got = wait_until_stable(guide, fault);
    if (got == ANSWERED)
        got = guide->of->reference != NULL ? watch_reference(guide, fault) : type_readings(guide, fault);
    if (got == ANSWERED)
        got = finish_measuring(guide, fault);
    return got == ANSWERED ? confirm(guide) : got;
}

int check_guide(struct check_case *of, const struct check_words *words, struct fault *fault) {
    const char *terminal = getenv("TERM"), *no_colour = getenv("NO_COLOR");
    const bool able = terminal != NULL && strcmp(terminal, "dumb") != 0;
    struct guide guide = {.of = of, .words = words, .out = of->command->out, .overwrite = able};
    int got;

    guide.bold = able && (no_colour == NULL || no_colour[0] == '\0');
    got = go_through(&guide, fault);
    if (got == HAD_ENOUGH)
        fputs("\nNothing was stored.\n", guide.out);
    return got;
}
