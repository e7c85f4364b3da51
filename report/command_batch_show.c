// SPDX-License-Identifier: MIT
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "soakledger/assess.h"
#include "soakledger/company.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

enum { COLUMNS = 5 };
static const size_t WIDTHS[COLUMNS] = {12, 19, 20, 14, 10};

static void command_show_upper(const char *from, char *out, size_t size) {
    size_t i = 0;

    for (; from[i] != '\0' && i + 1 < size; i++)
        out[i] = (char)toupper((unsigned char)from[i]); // names of outcomes: ASCII
    out[i] = '\0';
}

static void command_show_verdict(const struct command *command, const struct assess_batch *assessed,
                                 const struct verdict *verdict) {
    const enum temperature_unit unit = command->config->unit;
    char limit[WORDS_LIMIT_BYTES], found[WORDS_SENTENCE_BYTES], margin[WORDS_LIMIT_BYTES];
    char what[WORDS_LIMIT_BYTES];

    words_found(verdict, unit, found);
    const char *const cells[COLUMNS] = {
        words_what(&assessed->plan->operations[verdict->operation], verdict->requirement, unit, what),
        words_limit(verdict->requirement, verdict->required, unit, limit),
        found,
        words_margin(verdict, unit, margin),
        judge_outcome_name(verdict->outcome),
    };
    command_print_row(command->out, WIDTHS, cells, COLUMNS);
}

/* What a cooling curve says, one line a quantity, the channels side by side. */
static void command_show_quench(const struct command *command, const struct assess_batch *assessed, size_t number,
                                const struct assess_run *run) {
    enum { FACTS = 2 };
    static const size_t widths[FACTS] = {33, 45};
    const struct plan_operation *quench = plan_visit_quench(assessed->plan, number);

    if (quench == NULL || run->soak.last_ended_ms == 0)
        return;
    for (size_t i = 0; i < run->quench_count; i++) {
        const struct ledger_channel *channel = assess_find_channel(run, run->quench_ids[i]);
        char line[2 * COMMAND_TEXT_BYTES], name[COMMAND_TEXT_BYTES];

        snprintf(line, sizeof line,
                 "cooling curve of %s:", command_clean(channel != NULL ? channel->name : "", name));
        command_print(command->out, 2, line);
        for (size_t row = 0; row < TELL_QUENCH_ROWS; row++) {
            char what[TELL_CELL_BYTES], indented[TELL_CELL_BYTES + 2], value[TELL_CELL_BYTES];

            tell_quench(quench, &run->quenches[i], row, command->config->unit, what, value);
            snprintf(indented, sizeof indented, "  %s", what);
            command_print_row(command->out, widths, (const char *const[FACTS]){indented, value}, FACTS);
        }
    }
}

/* What was done to the readings before they were judged. */
static void command_show_corrections(const struct command *command, const struct assess_run *run) {
    char text[TELL_BYTES], clean[COMMAND_TEXT_BYTES], name[COMMAND_TEXT_BYTES], line[3 * COMMAND_TEXT_BYTES];

    for (size_t i = 0; i < run->channel_count; i++) {
        const struct ledger_channel *channel = &run->channels[i];

        if (tell_cold_junction(channel, command->config->unit, text)) {
            snprintf(line, sizeof line, "%s: %s", command_clean(channel->name, name), command_clean(text, clean));
            command_print(command->out, 2, line);
        }
        if (tell_correction(channel, run->run.begun_ms, command->config->utc_offset_min, text)) {
            snprintf(line, sizeof line, "%s: %s", command_clean(channel->name, name), command_clean(text, clean));
            command_print(command->out, 2, line);
        }
    }
}

static void command_show_facts(const struct command *command, const struct assess_batch *assessed, size_t number,
                               const struct assess_run *run) {
    const enum temperature_unit unit = command->config->unit;
    char text[TELL_BYTES], line[TELL_BYTES + COMMAND_TEXT_BYTES];

    if (tell_equivalent(assessed, number, unit, text)) {
        snprintf(line, sizeof line, "for information: worth %s", text);
        command_print(command->out, 2, line);
    }
    if (tell_austenite(assessed, number, unit, text)) {
        snprintf(line, sizeof line, "for information: retained austenite, an estimate, %s", text);
        command_print(command->out, 2, line);
    }
    if (run != NULL) {
        command_show_quench(command, assessed, number, run);
        command_show_corrections(command, run);
    }
}

static void command_show_attempts(const struct command *command, const struct assess_visit *visit) {
    char time[COMMAND_TEXT_BYTES], line[2 * COMMAND_TEXT_BYTES];

    if (visit->run_count < 2)
        return;
    for (size_t i = 0; i < visit->run_count; i++) {
        const struct assess_run *run = &visit->runs[i];

        if ((int)i == visit->deciding)
            continue;
        snprintf(line, sizeof line, "attempt %zu of %zu, does not count: run %lld, begun %s, %s", i + 1,
                 visit->run_count, (long long)run->run.run_id, command_time(command, run->run.begun_ms, time),
                 run->reached ? judge_outcome_name(judge_worst(run->verdicts, run->verdict_count))
                              : "never in the band");
        command_print(command->out, 2, line);
    }
}

static void command_show_said(const struct command *command, const struct assess_batch *assessed) {
    char line[4 * COMMAND_TEXT_BYTES], name[COMMAND_TEXT_BYTES], by[COMMAND_TEXT_BYTES], words[COMMAND_TEXT_BYTES];
    char time[COMMAND_TEXT_BYTES];

    for (size_t i = 0; i < assessed->attestation_count; i++) {
        const struct ledger_attestation *said = &assessed->attestations[i];

        snprintf(line, sizeof line, "attested, not measured: quench after %s at %s, by the word of %s%s%s",
                 command_visit_name(assessed->plan, said->visit, name), command_time(command, said->t_ms, time),
                 command_clean(said->said_by, by), said->words[0] != '\0' ? ": " : "",
                 command_clean(said->words, words));
        command_print(command->out, 2, line);
    }
    command_print(command->out, 2, tell_decision(assessed->plan, line));
    if (assessed->plan->martensite_start.set)
        command_print(command->out, 2, tell_austenite_source(assessed->plan, command->config->unit, line));
}

static void command_show_line(const struct command *command, const char *before, const char *text) {
    char clean[TELL_LINE_BYTES], line[TELL_LINE_BYTES + COMMAND_TEXT_BYTES];

    snprintf(line, sizeof line, "%s%s", before, words_clean(text, strlen(text), 0, clean, sizeof clean));
    command_print(command->out, 2, line);
}

/* What people added afterwards: the latest disposition holds, and nothing is ever taken out. */
static void command_show_books(const struct command *command, const struct assess_batch *assessed) {
    const struct books *books = assessed->books;
    const int zone = command->config->utc_offset_min;
    char text[TELL_LINE_BYTES], before[COMMAND_TEXT_BYTES];

    fputc('\n', command->out);
    if (assessed->hardness.asked) {
        snprintf(before, sizeof before, "Hardness: %s; ", judge_outcome_name(assessed->hardness.outcome));
        command_show_line(command, before, hardness_describe(assessed->plan, &assessed->hardness, text));
    }
    for (size_t i = 0; i < books->hardness_count; i++) {
        snprintf(before, sizeof before, "hardness reading %zu: ", i + 1);
        command_show_line(command, before, tell_hardness_reading(books, i, zone, text));
    }
    for (size_t i = 0; i < books->disposition_count; i++) {
        snprintf(before, sizeof before, "disposition %zu: ", i + 1);
        command_show_line(command, before, tell_disposition(&books->dispositions[i], zone, text));
    }
    for (size_t i = 0; i < books->amendment_count; i++)
        command_show_line(command, "amended: ", tell_amendment(&books->amendments[i], books, zone, text));
}

static void command_show_visit(const struct command *command, const struct assess_batch *assessed, size_t number) {
    static const char *const head[COLUMNS] = {"WHAT", "REQUIRED", "FOUND", "MARGIN", "OUTCOME"};
    const struct assess_visit *visit = &assessed->visits[number];
    const struct assess_run *run = assess_deciding_run(visit);
    char stations[TELL_BYTES];
    char name[COMMAND_TEXT_BYTES], oven[COMMAND_TEXT_BYTES], time[COMMAND_TEXT_BYTES], line[4 * COMMAND_TEXT_BYTES];

    command_clean(tell_visit(assessed->plan, number, stations), name);
    snprintf(line, sizeof line, "Visit %zu, %s: %s%s", number + 1, name, judge_outcome_name(visit->outcome),
             run == NULL ? "; no run yet" : "");
    fputc('\n', command->out);
    command_print(command->out, 2, line);
    if (run != NULL) {
        snprintf(line, sizeof line, "run %lld, oven %s, begun %s%s", (long long)run->run.run_id,
                 command_clean(run->oven, oven), command_time(command, run->run.begun_ms, time),
                 run->run.ended_ms == 0 ? ", still on" : "");
        command_print(command->out, 2, line);
    }
    if (run != NULL && run->import != NULL) {
        snprintf(line, sizeof line, "IMPORTED from %s: %s", command_clean(run->import->file_name, name),
                 command_clean(run->import->source, oven));
        command_print(command->out, 2, line);
    }
    if (run != NULL && visit->run_count > 1)
        fprintf(command->out, "%zu runs were claimed for it; run %lld decides\n", visit->run_count,
                (long long)run->run.run_id);
    command_show_attempts(command, visit);
    command_print_row(command->out, WIDTHS, head, COLUMNS);
    for (size_t i = 0; i < visit->verdict_count; i++)
        command_show_verdict(command, assessed, &visit->verdicts[i]);
    command_show_facts(command, assessed, number, run);
}

/* Whose charge it was in the ovens with. */
static int command_show_company(struct command *command, int64_t batch_id, struct fault *fault) {
    char line[COMMAND_TEXT_BYTES];
    struct company company;
    const int found = company_read_origin(command->ledger, batch_id, &company, fault);
    size_t count = 0, used = 0;
    int64_t *others = found < 0 ? NULL : company_list(command->ledger, batch_id, &count, fault);

    if (others == NULL)
        return -1;
    if (found == 1)
        fprintf(command->out, "split off batch %lld\n", (long long)company.with_batch_id);
    for (size_t i = 0; i < count && used < sizeof line; i++)
        used +=
            (size_t)snprintf(line + used, sizeof line - used, "%s%lld",
                             i == 0 ? "goes through the ovens together with batch " : ", ", (long long)others[i]);
    if (count > 0)
        command_print(command->out, 2, line);
    free(others);
    return 0;
}

static void command_show_head(const struct command *command, const struct assess_batch *assessed) {
    const struct ledger_batch *batch = assessed->batch;
    char answer[QUANTITY_TEXT_BYTES], charge[COMMAND_TEXT_BYTES], customer[COMMAND_TEXT_BYTES];
    char sentence[WORDS_SENTENCE_BYTES], line[4 * COMMAND_TEXT_BYTES];
    const struct verdict *deciding;
    size_t visit = 0;

    command_show_upper(judge_outcome_name(assessed->outcome), answer, sizeof answer);
    snprintf(line, sizeof line, "Batch %lld: %s", (long long)batch->batch_id, answer);
    command_print(command->out, 2, line);
    deciding = assess_deciding(assessed, &visit);
    if (assess_hardness_decides(assessed))
        command_print(command->out, 0, hardness_describe(assessed->plan, &assessed->hardness, line));
    else if (deciding != NULL)
        command_print(command->out, 0, words_sentence(deciding, command->config->unit, sentence));
    snprintf(line, sizeof line, "%s%s%s", command_clean(batch->charge, charge),
             batch->customer[0] != '\0' ? ", for " : "", command_clean(batch->customer, customer));
    command_print(command->out, 2, line);
    if (books_find_disposition(assessed->books) != NULL) {
        snprintf(line, sizeof line, "disposition: %s",
                 books_decision_name(books_find_disposition(assessed->books)->decision));
        command_print(command->out, 2, line);
    }
    snprintf(line, sizeof line, "plan: %s", command_clean(assessed->plan->title, charge));
    command_print(command->out, 2, line);
    if (assessed->simulated)
        fputs("SIMULATED CLOCK - not a record of real time\n", command->out);
    if (assessed->imported)
        fputs("IMPORTED READINGS - not taken by this recorder\n", command->out);
    if (assessed->differs)
        command_print(
            command->out, 0,
            "DO NOT RELY ON THIS: what was judged while a run was on differs from what its stored readings "
            "give now.");
}

int command_batch_show(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *word = NULL;
    struct assess_batch *assessed;
    int64_t number;

    if (command_take(argc, argv, NULL, 0, &word, 1, 1, "batch show N", fault) < 0 ||
        command_take_number(word, "batch", &number, fault) != 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    assessed = assess_batch(command->ledger, number, NULL, fault);
    if (assessed == NULL)
        return -1;
    command_show_head(command, assessed);
    if (command_show_company(command, number, fault) != 0) {
        assess_free(assessed);
        return -1;
    }
    for (size_t i = 0; i < assessed->visit_count; i++)
        command_show_visit(command, assessed, i);
    command_show_books(command, assessed);
    command_show_said(command, assessed);
    assess_free(assessed);
    return 0;
}
