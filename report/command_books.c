// SPDX-License-Identifier: MIT
/* disposition, hardness, amend: what a person adds to a batch afterwards. Nothing of it changes a verdict or an
 * entry that is there. */
#include <string.h>

#include "command.h"
#include "soakledger/books.h"
#include "soakledger/hardness.h"
#include "soakledger/words.h"

enum { NAME_MOST = 200, REASON_MOST = 800, READINGS_MOST = 20 };

static int command_check_length(const char *option, const char *text, size_t most, struct fault *fault) {
    if (text != NULL && strlen(text) > most)
        return fault_set(fault, EX_USAGE, "%s is too long: expected at most %zu bytes", option, most);
    return 0;
}

/* A name and a reason, both of which an entry must have. */
static int command_check_said(const char *by, const char *reason, const char *usage, struct fault *fault) {
    if (reason == NULL || reason[strspn(reason, " \t\n")] == '\0')
        return fault_set(fault, EX_USAGE, "--reason is missing: expected '%s'", usage);
    if (by[strspn(by, " \t\n")] == '\0')
        return fault_set(fault, EX_USAGE, "--by names nobody: expected '%s'", usage);
    if (command_check_length("--by", by, NAME_MOST, fault) != 0)
        return -1;
    return command_check_length("--reason", reason, REASON_MOST, fault);
}

/* ---- disposition ---- */

static int command_find_decision(const char *word, enum books_decision *decision, struct fault *fault) {
    static const char *const words[BOOKS_DECISION_COUNT] = {
        [BOOKS_ACCEPT] = "accept", [BOOKS_REWORK] = "rework", [BOOKS_SCRAP] = "scrap", [BOOKS_HOLD] = "hold"};

    for (int i = BOOKS_ACCEPT; i < BOOKS_DECISION_COUNT; i++) {
        if (strcmp(words[i], word) == 0) {
            *decision = (enum books_decision)i;
            return 0;
        }
    }
    return fault_set(fault, EX_USAGE, "'%s' is no disposition: expected accept, rework, scrap or hold", word);
}

int command_disposition(struct command *command, int argc, char **argv, struct fault *fault) {
    enum { BATCH, DECISION, WORDS };
    static const char usage[] = "disposition BATCH accept|rework|scrap|hold --reason TEXT [--by NAME]";
    const char *words[WORDS] = {NULL}, *by = NULL, *reason = NULL;
    const struct command_option options[] = {{"--by", &by}, {"--reason", &reason}};
    struct books_disposition disposition = {0};
    int64_t batch_id, number;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], words, WORDS, WORDS, usage, fault) <
            0 ||
        command_take_number(words[BATCH], "batch", &batch_id, fault) != 0 ||
        command_find_decision(words[DECISION], &disposition.decision, fault) != 0 ||
        command_check_said(command_person(command, by), reason, usage, fault) != 0 ||
        command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    disposition.said_by = (char *)command_person(command, by);
    disposition.reason = (char *)reason;
    disposition.said_ms = command_now_ms(command, fault);
    if (disposition.said_ms < 0)
        return -1;
    number = books_add_disposition(command->ledger, batch_id, &disposition, fault);
    if (number < 0)
        return -1;
    fprintf(command->out, "Batch %lld: disposition %lld: %s. Its verdicts stay as they are.\n", (long long)batch_id,
            (long long)number, books_decision_name(disposition.decision));
    return 0;
}

/* ---- hardness ---- */

static int command_take_measured(const char *text, int64_t now_ms, int64_t *t_ms, struct fault *fault) {
    *t_ms = now_ms;
    if (text == NULL || strcmp(text, "now") == 0)
        return 0;
    if (quantity_parse_time(text, t_ms, fault) != 0)
        return -1;
    if (*t_ms > now_ms)
        return fault_set(fault, EX_DATAERR, "'%s' is still to come: expected when it was measured", text);
    return 0;
}

/* "59.5 60 HRC": numbers and the scale they share; or "59.5 HRC" in one word each. */
static int command_take_readings(const char *const *words, int count, int64_t *values, char *scale,
                                 struct fault *fault) {
    const bool shared = count > 1 && plan_is_scale(words[count - 1]);
    char first[HARDNESS_SCALE_BYTES] = "", word[COMMAND_TEXT_BYTES];
    const int readings = shared ? count - 1 : count;

    for (int i = 0; i < readings; i++) {
        snprintf(word, sizeof word, "%.100s%s%.20s", words[i], shared ? " " : "", shared ? words[count - 1] : "");
        if (hardness_parse(word, &values[i], scale, fault) != 0)
            return -1;
        if (first[0] != '\0' && strcmp(first, scale) != 0)
            return fault_set(fault, EX_USAGE, "two scales, %s and %s: expected one at a time", first, scale);
        snprintf(first, sizeof first, "%s", scale);
    }
    return readings;
}

static int command_take_uncertainty(const char *text, const char *scale, int64_t *value, struct fault *fault) {
    char word[COMMAND_TEXT_BYTES], same[HARDNESS_SCALE_BYTES];

    *value = 0;
    if (text == NULL)
        return 0;
    snprintf(word, sizeof word, "%.100s %s", text, scale);
    return hardness_parse(word, value, same, fault);
}

/* All of them or none. */
static int command_store_readings(struct command *command, int64_t batch_id, struct books_hardness *reading,
                                  const int64_t *values, int count, struct fault *fault) {
    char value[HARDNESS_WORDS_BYTES];
    int64_t numbers[READINGS_MOST];

    if (ledger_begin(command->ledger, fault) != 0)
        return -1;
    for (int i = 0; i < count; i++) {
        reading->value = values[i];
        numbers[i] = books_add_hardness(command->ledger, batch_id, reading, fault);
        if (numbers[i] < 0) {
            ledger_roll_back(command->ledger);
            return -1;
        }
    }
    if (ledger_commit(command->ledger, fault) != 0) {
        ledger_roll_back(command->ledger);
        return -1;
    }
    for (int i = 0; i < count; i++)
        fprintf(command->out, "Batch %lld: hardness reading %lld: %s\n", (long long)batch_id, (long long)numbers[i],
                hardness_format(values[i], reading->scale, value));
    return 0;
}

int command_hardness(struct command *command, int argc, char **argv, struct fault *fault) {
    static const char usage[] = "hardness BATCH NUMBER ... SCALE [--piece TEXT] [--position TEXT]"
                                " [--instrument TEXT] [--uncertainty NUMBER] [--at TIME] [--by NAME]";
    const char *words[READINGS_MOST + 2] = {NULL}, *piece = NULL, *position = NULL, *instrument = NULL;
    const char *uncertainty = NULL, *at = NULL, *by = NULL;
    const struct command_option options[] = {{"--piece", &piece},
                                             {"--position", &position},
                                             {"--instrument", &instrument},
                                             {"--uncertainty", &uncertainty},
                                             {"--at", &at},
                                             {"--by", &by}};
    char scale[HARDNESS_SCALE_BYTES];
    int64_t batch_id, values[READINGS_MOST + 1], now_ms;
    struct books_hardness reading = {.scale = scale};
    const int taken = command_take(argc, argv, options, sizeof options / sizeof options[0], words, 2,
                                   READINGS_MOST + 2, usage, fault);
    int count;

    if (taken < 0 || command_take_number(words[0], "batch", &batch_id, fault) != 0)
        return -1;
    count = command_take_readings(words + 1, taken - 1, values, scale, fault);
    if (count < 0 || command_take_uncertainty(uncertainty, scale, &reading.uncertainty, fault) != 0 ||
        command_check_said(command_person(command, by), usage, usage, fault) != 0 ||
        command_check_length("--piece", piece, NAME_MOST, fault) != 0 ||
        command_check_length("--position", position, NAME_MOST, fault) != 0 ||
        command_check_length("--instrument", instrument, NAME_MOST, fault) != 0)
        return -1;
    if (count > READINGS_MOST)
        return fault_set(fault, EX_USAGE, "too many readings: expected at most %d at a time", READINGS_MOST);
    if (command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    now_ms = command_now_ms(command, fault);
    if (now_ms < 0 || command_take_measured(at, now_ms, &reading.measured_ms, fault) != 0)
        return -1;
    reading.said_ms = now_ms;
    reading.piece = (char *)piece;
    reading.position = (char *)position;
    reading.instrument = (char *)instrument;
    reading.measured_by = (char *)command_person(command, by);
    return command_store_readings(command, batch_id, &reading, values, count, fault);
}

/* ---- amendments ---- */

static int command_find_entry(const char *word, enum books_entry *entry, struct fault *fault) {
    static const char *const words[BOOKS_ENTRY_COUNT] = {
        [BOOKS_CHARGE] = "charge",           [BOOKS_CUSTOMER] = "customer", [BOOKS_ORDER] = "order",
        [BOOKS_OPERATOR] = "operator",       [BOOKS_NOTE] = "note",         [BOOKS_ATTESTATION] = "attestation",
        [BOOKS_DISPOSITION] = "disposition", [BOOKS_HARDNESS] = "hardness"};

    for (int i = BOOKS_CHARGE; i < BOOKS_ENTRY_COUNT; i++) {
        if (strcmp(words[i], word) == 0) {
            *entry = (enum books_entry)i;
            return 0;
        }
    }
    return fault_set(fault, EX_USAGE,
                     "'%s' is no entry that can be amended: expected charge, customer, order, operator, note, "
                     "attestation, disposition or hardness; verdicts are never amended",
                     word);
}

/* What a hardness reading should be, on the scale it was taken on. */
static int command_take_value(struct command *command, int64_t batch_id, const char *to,
                              struct books_amendment *amendment, struct fault *fault) {
    struct books *books = books_read(command->ledger, batch_id, fault);
    char scale[HARDNESS_SCALE_BYTES], word[COMMAND_TEXT_BYTES];
    struct fault ignored;
    int result = -1;

    if (books == NULL)
        return -1;
    if (amendment->number > books->hardness_count) {
        fault_set(fault, EX_DATAERR, "batch %lld has %zu hardness readings: there is no reading %zu",
                  (long long)batch_id, books->hardness_count, amendment->number);
    } else {
        const char *const own = books->hardness[amendment->number - 1].scale;

        snprintf(word, sizeof word, "%.100s %s", to, own);
        result = hardness_parse(word, &amendment->value, scale, &ignored);
        if (result != 0)
            result = hardness_parse(to, &amendment->value, scale, fault);
        if (result == 0 && strcmp(scale, own) != 0)
            result = fault_set(fault, EX_DATAERR, "reading %zu is in %s: expected the same scale, or withdraw it",
                               amendment->number, own);
    }
    books_free(books);
    amendment->has_value = true;
    return result;
}

/* The words after the batch: ENTRY [NUMBER] [withdraw]. */
static int command_take_entry(const char *const *words, int count, struct books_amendment *amendment,
                              const char *usage, struct fault *fault) {
    int64_t number = 0;
    int at = 1;

    if (command_find_entry(words[0], &amendment->entry, fault) != 0)
        return -1;
    if (amendment->entry >= BOOKS_ATTESTATION) {
        if (count == 1)
            return fault_set(fault, EX_USAGE, "the number of the %s is missing: expected '%s'", words[0], usage);
        if (command_take_number(words[at++], words[0], &number, fault) != 0)
            return -1;
    }
    amendment->number = (size_t)number;
    amendment->withdraws = at < count && strcmp(words[at], "withdraw") == 0;
    if (at + (amendment->withdraws ? 1 : 0) != count)
        return fault_set(fault, EX_USAGE, "'%s' is one word too many: expected '%s'", words[at], usage);
    if (amendment->withdraws && amendment->number == 0)
        return fault_set(fault, EX_USAGE, "the %s of a batch cannot be withdrawn: expected --to TEXT", words[0]);
    return 0;
}

int command_amend(struct command *command, int argc, char **argv, struct fault *fault) {
    enum { BATCH, ENTRY, WORDS = 4 };
    static const char usage[] = "amend BATCH ENTRY [NUMBER] --to TEXT|withdraw --reason TEXT [--by NAME]";
    const char *words[WORDS] = {NULL}, *to = NULL, *reason = NULL, *by = NULL;
    const struct command_option options[] = {{"--to", &to}, {"--reason", &reason}, {"--by", &by}};
    struct books_amendment amendment = {0};
    int64_t batch_id;
    const int taken =
        command_take(argc, argv, options, sizeof options / sizeof options[0], words, 2, WORDS, usage, fault);

    if (taken < 0 || command_take_number(words[BATCH], "batch", &batch_id, fault) != 0 ||
        command_take_entry(words + ENTRY, taken - 1, &amendment, usage, fault) != 0 ||
        command_check_said(command_person(command, by), reason, usage, fault) != 0 ||
        command_check_length("--to", to, REASON_MOST, fault) != 0)
        return -1;
    if (amendment.withdraws == (to != NULL))
        return fault_set(fault, EX_USAGE, "%s: expected '%s'", to != NULL ? "--to and withdraw" : "--to is missing",
                         usage);
    if (command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    amendment.said_ms = command_now_ms(command, fault);
    if (amendment.said_ms < 0)
        return -1;
    if (amendment.entry == BOOKS_HARDNESS && to != NULL &&
        command_take_value(command, batch_id, to, &amendment, fault) != 0)
        return -1;
    amendment.words = (char *)(to != NULL && !amendment.has_value ? to : "");
    amendment.reason = (char *)reason;
    amendment.said_by = (char *)command_person(command, by);
    if (books_add_amendment(command->ledger, batch_id, &amendment, fault) != 0)
        return -1;
    fprintf(command->out, "Batch %lld: amended. The entry stays, and sheets print both.\n", (long long)batch_id);
    return 0;
}
