// SPDX-License-Identifier: MIT
/* review: why a batch failed. what-if: the same readings judged against something else. Both only read. */
#include <langinfo.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "command.h"
#include "review_parts.h"
#include "trial.h"

static const char usage_review[] = "review BATCH [-o FILE.pdf]";
static const char usage_what_if[] =
    "what-if BATCH (--plan FILE | [--temperature T] [--below D] [--above D] [--time D] "
    "[--visit VISIT]) [-o FILE.pdf]";

/* What the terminal can show, as the environment says it. */
static struct review_screen command_screen(FILE *out) {
    locale_t locale = newlocale(LC_CTYPE_MASK, "", (locale_t)0);
    const char *no_colour = getenv("NO_COLOR"), *terminal = getenv("TERM");
    const struct review_screen screen = {
        .out = out,
        .utf8 = locale != (locale_t)0 && strcmp(nl_langinfo_l(CODESET, locale), "UTF-8") == 0,
        .colour = isatty(fileno(out)) != 0 && (no_colour == NULL || no_colour[0] == '\0') && terminal != NULL &&
                  strcmp(terminal, "dumb") != 0};

    if (locale != (locale_t)0)
        freelocale(locale);
    return screen;
}

static int command_hand_out(struct command *command, struct review *review, const char *path, struct fault *fault) {
    const struct review_screen screen = command_screen(command->out);
    unsigned char *bytes = NULL;
    size_t length = 0;
    int result;

    if (path == NULL)
        return review_show(review, &screen, fault);
    if (review_sheet_make(review, &bytes, &length, fault) != 0)
        return -1;
    result = trial_keep(command, path, bytes, length, fault);
    free(bytes);
    return result;
}

static int command_begin_review(struct command *command, struct review *review, struct fault *fault) {
    if (command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    review->ledger = command->ledger;
    review->config = command->config;
    review->made_ms = command_now_ms(command, fault);
    return review->made_ms < 0 ? -1 : 0;
}

static int command_one_output(const char *output, const char *long_output, const char *usage, const char **path,
                              struct fault *fault) {
    if (output != NULL && long_output != NULL)
        return fault_set(fault, EX_USAGE, "-o is given twice, once as --output: expected '%s'", usage);
    *path = output != NULL ? output : long_output;
    return 0;
}

int command_review(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *word = NULL, *output = NULL, *long_output = NULL, *path = NULL;
    const struct command_option options[] = {{"-o", &output}, {"--output", &long_output}};
    struct review review = {0};
    int64_t batch_id;
    int result = -1;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 1, 1, usage_review, fault) <
            0 ||
        command_take_number(word, "batch", &batch_id, fault) != 0 ||
        command_one_output(output, long_output, usage_review, &path, fault) != 0 ||
        command_begin_review(command, &review, fault) != 0)
        return -1;
    if (review_read(&review, batch_id, fault) == 0)
        result = command_hand_out(command, &review, path, fault);
    review_release(&review);
    return result;
}

/* ---- what if ---- */

struct what_if {
    const char *plan, *temperature, *below, *above, *time, *visit, *output, *long_output;
};

static int command_take_supposition(const struct what_if *words, struct plan_supposition *supposition,
                                    struct fault *fault) {
    if (words->temperature != NULL &&
        quantity_parse_temperature(words->temperature, &supposition->temperature_mc.value, fault) != 0)
        return -1;
    if (words->below != NULL && quantity_parse_difference(words->below, &supposition->below_mc.value, fault) != 0)
        return -1;
    if (words->above != NULL && quantity_parse_difference(words->above, &supposition->above_mc.value, fault) != 0)
        return -1;
    if (words->time != NULL &&
        quantity_parse_duration(words->time, &supposition->time_at_least_ms.value, fault) != 0)
        return -1;
    supposition->temperature_mc.set = words->temperature != NULL;
    supposition->below_mc.set = words->below != NULL;
    supposition->above_mc.set = words->above != NULL;
    supposition->time_at_least_ms.set = words->time != NULL;
    return 0;
}

static void command_say_supposition(const struct what_if *words, size_t visit, char *instead) {
    const char *const names[] = {"temperature", "below", "above", "time"};
    const char *const values[] = {words->temperature, words->below, words->above, words->time};
    size_t used = (size_t)snprintf(instead, REVIEW_TEXT_BYTES, "its plan with, in visit %zu,", visit + 1);
    bool first = true;

    for (size_t i = 0; i < sizeof values / sizeof values[0] && used < REVIEW_TEXT_BYTES; i++)
        if (values[i] != NULL) {
            used += (size_t)snprintf(instead + used, REVIEW_TEXT_BYTES - used, "%s %s %.60s", first ? "" : ",",
                                     names[i], values[i]);
            first = false;
        }
}

/* The batch's own plan with another band. */
static struct plan *command_suppose(struct command *command, int64_t batch_id, const struct what_if *words,
                                    char *instead, struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(command->ledger, batch_id, fault);
    struct plan *plan =
        batch != NULL ? plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault) : NULL;
    struct plan_supposition supposition = {0};
    size_t visit = 0;
    int result = plan != NULL ? 0 : -1;

    if (result == 0 && words->visit != NULL)
        result = command_find_visit(plan, words->visit, &visit, fault);
    else if (result == 0 && plan->visit_count > 1)
        result = fault_set(fault, EX_USAGE, "the plan has %zu visits: expected --visit with one of them",
                           plan->visit_count);
    if (result == 0)
        result = command_take_supposition(words, &supposition, fault);
    if (result == 0)
        result = plan_suppose(plan, visit, &supposition, fault);
    if (result == 0)
        command_say_supposition(words, visit, instead);
    ledger_free_batch(batch);
    if (result == 0)
        return plan;
    plan_free(plan);
    return NULL;
}

static int command_check_what_if(const struct what_if *words, struct fault *fault) {
    const bool band =
        words->temperature != NULL || words->below != NULL || words->above != NULL || words->time != NULL;

    if (words->plan != NULL && (band || words->visit != NULL))
        return fault_set(fault, EX_USAGE, "--plan and another band exclude each other: expected '%s'",
                         usage_what_if);
    if (words->plan == NULL && !band)
        return fault_set(fault, EX_USAGE, "nothing is supposed: expected '%s'", usage_what_if);
    return 0;
}

int command_what_if(struct command *command, int argc, char **argv, struct fault *fault) {
    struct what_if words = {0};
    const struct command_option options[] = {{"--plan", &words.plan},   {"--temperature", &words.temperature},
                                             {"--below", &words.below}, {"--above", &words.above},
                                             {"--time", &words.time},   {"--visit", &words.visit},
                                             {"-o", &words.output},     {"--output", &words.long_output}};
    const char *word = NULL, *path = NULL;
    char instead[REVIEW_TEXT_BYTES];
    struct review review = {.instead = instead};
    struct plan *plan;
    int64_t batch_id;
    int result = -1;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 1, 1, usage_what_if, fault) <
            0 ||
        command_take_number(word, "batch", &batch_id, fault) != 0 || command_check_what_if(&words, fault) != 0 ||
        command_one_output(words.output, words.long_output, usage_what_if, &path, fault) != 0 ||
        command_begin_review(command, &review, fault) != 0)
        return -1;
    snprintf(instead, sizeof instead, "the plan in %.400s", words.plan != NULL ? words.plan : "");
    plan = words.plan != NULL ? plan_read(words.plan, fault)
                              : command_suppose(command, batch_id, &words, instead, fault);
    if (plan == NULL)
        return -1;
    if (review_suppose(&review, batch_id, plan, fault) == 0)
        result = command_hand_out(command, &review, path, fault);
    review_release(&review);
    return result;
}
