// SPDX-License-Identifier: MIT
/* Works out every seal again from what is stored, and says what is not as it was sealed.
 *
 * What is found is told, not fixed, and does not end the search: whoever looks wants to know all of it. Only what
 * cannot be read at all is a fault. */
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "seal_private.h"

enum { WHAT_BYTES = 256, FLAW_BYTES = 512 };

struct stored_seal {
    int64_t seal_id, form, kind, run_id, sealed_ms;
    char before[LEDGER_SHA256_TEXT_BYTES], sha256[LEDGER_SHA256_TEXT_BYTES];
};

struct verifying {
    struct ledger *ledger;
    const struct seal_scope *scope;
    seal_sink *sink;
    void *context;
    struct seal_tally *tally;
    struct fault *fault;
    int64_t *runs; // whose readings are looked at; NULL: all of them
    size_t run_count;
    int64_t *covered; // of each form: the highest number that a seal covers
};

static const char first_before[] = "0000000000000000000000000000000000000000000000000000000000000000";

static void tell(struct verifying *verifying, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void tell(struct verifying *verifying, const char *format, ...) {
    char words[FLAW_BYTES];
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    verifying->tally->flaws++;
    verifying->sink(verifying->context, words);
}

/* The number that a statement gives; 0 for NULL or no row. */
static int ask(struct verifying *verifying, const char *sql, int64_t first, int64_t second, int64_t *number) {
    struct query query;
    int wanted;

    *number = 0;
    query_open_sql(&query, verifying->ledger, sql, "verify the seals", verifying->fault);
    wanted = query.failed ? 0 : sqlite3_bind_parameter_count(query.statement);
    if (wanted > 0) {
        query_put_int(&query, first);
    }
    if (wanted > 1) {
        query_put_int(&query, second);
    }
    if (query_step(&query) == 1) {
        *number = query_is_null(&query, 0) ? 0 : query_get_int(&query, 0, INT64_MIN, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : 0;
}

/* ---- what a part is, in words ---- */

static int name_channel(struct verifying *verifying, const struct seal_part *part, const struct stored_seal *seal,
                        char out[WHAT_BYTES]) {
    static const char sql[] =
        "SELECT c.name, o.name FROM channel c JOIN oven o USING (oven_id) WHERE channel_id = ?";
    const struct seal_form *const form = seal_find_form(part->name);
    char *channel = NULL, *oven = NULL;
    struct query query;

    query_open_sql(&query, verifying->ledger, sql, "verify the seals", verifying->fault);
    query_put_int(&query, part->channel_id);
    if (query_step(&query) == 1) {
        channel = query_get_text(&query, 0);
        oven = query_get_text(&query, 1);
        query_close(&query);
    }
    if (channel != NULL && oven != NULL) {
        snprintf(out, WHAT_BYTES, "run %" PRId64 ", %s of channel %.64s of oven %.64s", seal->run_id, form->many,
                 channel, oven);
    } else {
        snprintf(out, WHAT_BYTES, "run %" PRId64 ", %s of channel %" PRId64 ", which is gone", seal->run_id,
                 form->many, part->channel_id);
    }
    free(channel);
    free(oven);
    return query.failed ? -1 : 0;
}

/* "verdicts of judgement 4 (run 3, batch 2)" */
static int name_judgement(struct verifying *verifying, const struct seal_part *part, char out[WHAT_BYTES]) {
    int64_t run_id, batch_id;
    const size_t used = strlen(out);

    if (strcmp(seal_find_form(part->name)->of, "judgement") != 0) {
        return 0;
    }
    if (ask(verifying, "SELECT run_id FROM judgement WHERE judgement_id = ?1", part->low, 0, &run_id) != 0 ||
        ask(verifying, "SELECT batch_id FROM judgement WHERE judgement_id = ?1", part->low, 0, &batch_id) != 0) {
        return -1;
    }
    if (run_id != 0) {
        snprintf(out + used, WHAT_BYTES - used, " (run %" PRId64 ", batch %" PRId64 ")", run_id, batch_id);
    }
    return 0;
}

static int name_part(struct verifying *verifying, const struct seal_part *part, const struct stored_seal *seal,
                     char out[WHAT_BYTES]) {
    const struct seal_form *const form = seal_find_form(part->name);

    if (part->channel_id != 0) {
        return name_channel(verifying, part, seal, out);
    }
    if (part->low != part->high) {
        snprintf(out, WHAT_BYTES, "%s %" PRId64 " to %" PRId64, form->many, part->low, part->high);
        return 0;
    }
    snprintf(out, WHAT_BYTES, "%s %" PRId64, form->one, part->low);
    return name_judgement(verifying, part, out);
}

/* ---- parts ---- */

static bool is_reading(const struct seal_part *part) {
    return strcmp(part->name, "reading") == 0 || strcmp(part->name, "reading_emf") == 0 ||
           strcmp(part->name, "imported_reading") == 0;
}

static bool is_in_scope(const struct verifying *verifying, const struct stored_seal *seal) {
    for (size_t i = 0; i < verifying->run_count; i++) {
        if (verifying->runs[i] == seal->run_id) {
            return true;
        }
    }
    return verifying->runs == NULL;
}

static int check_part(struct verifying *verifying, const struct stored_seal *seal, const struct seal_part *sealed) {
    struct seal_part found = *sealed;
    char what[WHAT_BYTES] = "";

    if (is_reading(sealed) && !is_in_scope(verifying, seal)) {
        return 0;
    }
    if (seal_digest_part(verifying->ledger, &found, verifying->fault) != 0) {
        return -1;
    }
    *(is_reading(sealed) ? &verifying->tally->readings : &verifying->tally->entries) += found.rows;
    if (found.rows == sealed->rows && strcmp(found.sha256, sealed->sha256) == 0) {
        return 0;
    }
    if (name_part(verifying, sealed, seal, what) != 0) {
        return -1;
    }
    if (found.rows != sealed->rows) {
        tell(verifying, "%s: %" PRId64 " row%s sealed, %" PRId64 " %s there (seal %" PRId64 ")", what, sealed->rows,
             sealed->rows == 1 ? " was" : "s were", found.rows, found.rows == 1 ? "is" : "are", seal->seal_id);
    } else {
        tell(verifying, "%s: changed since it was sealed (seal %" PRId64 ")", what, seal->seal_id);
    }
    return 0;
}

/* Rows that are only added are covered from 1 on without a gap. */
static void note_cover(struct verifying *verifying, const struct stored_seal *seal, const struct seal_part *part) {
    const struct seal_form *const form = seal_find_form(part->name);
    int64_t *const covered = &verifying->covered[form - seal_forms];

    if (form->cover != SEAL_GROWING) {
        return;
    }
    if (part->low > *covered + 1) {
        tell(verifying, "%s %" PRId64 " to %" PRId64 " were passed over by seal %" PRId64, form->many, *covered + 1,
             part->low - 1, seal->seal_id);
    }
    if (part->high > *covered) {
        *covered = part->high;
    }
}

/* Checks the parts of a seal, and puts them into its text. */
static int check_parts(struct verifying *verifying, const struct stored_seal *seal, struct seal_text *text) {
    static const char sql[] = "SELECT place, name, channel_id, low, high, rows, sha256 FROM seal_part"
                              " WHERE seal_id = ? ORDER BY place";
    struct query query;
    int result = 0;

    query_open_sql(&query, verifying->ledger, sql, "verify the seals", verifying->fault);
    query_put_int(&query, seal->seal_id);
    while (result == 0 && query_step(&query) == 1) {
        const int64_t place = query_get_int(&query, 0, 1, INT32_MAX);
        struct seal_part part = {.channel_id = query_get_int_or_null(&query, 2, 1, INT64_MAX),
                                 .low = query_get_int(&query, 3, INT64_MIN, INT64_MAX),
                                 .high = query_get_int(&query, 4, INT64_MIN, INT64_MAX),
                                 .rows = query_get_int(&query, 5, 0, INT64_MAX)};

        query_get_text_into(&query, 1, part.name, sizeof part.name);
        query_get_text_into(&query, 6, part.sha256, sizeof part.sha256);
        if (query.failed) {
            break;
        }
        seal_text_part(text, (size_t)place, &part);
        if (seal_find_form(part.name) == NULL) {
            tell(verifying, "seal %" PRId64 " covers '%.31s', which this program does not know", seal->seal_id,
                 part.name);
        } else {
            note_cover(verifying, seal, &part);
            result = check_part(verifying, seal, &part);
        }
    }
    query_close(&query);
    return query.failed ? -1 : result;
}

/* ---- the chain ---- */

static int check_seal(struct verifying *verifying, const struct stored_seal *seal, const struct seal_head *before) {
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    struct seal_text *text;
    int result;

    if (seal->form != SEAL_FORM) {
        tell(verifying, "seal %" PRId64 " was made in form %" PRId64 ": this program knows form %d", seal->seal_id,
             seal->form, SEAL_FORM);
        return 0;
    }
    if (seal->seal_id != before->seal_id + 1) {
        tell(verifying, "seals %" PRId64 " to %" PRId64 " are missing", before->seal_id + 1, seal->seal_id - 1);
    } else if (strcmp(seal->before, before->seal_id == 0 ? first_before : before->sha256) != 0) {
        tell(verifying, "seal %" PRId64 " was not made after the seal before it", seal->seal_id);
    }
    text = seal_text_open(verifying->fault);
    if (text == NULL) {
        return -1;
    }
    seal_text_head(text, seal->form, seal->seal_id, seal->before, seal->kind, seal->run_id, seal->sealed_ms);
    result = check_parts(verifying, seal, text);
    if (seal_text_close(text, sha256, verifying->fault) != 0 || result != 0) {
        return -1;
    }
    if (strcmp(sha256, seal->sha256) != 0) {
        tell(verifying, "seal %" PRId64 " was changed", seal->seal_id);
    }
    return 0;
}

static void note_seal(struct verifying *verifying, const struct stored_seal *seal) {
    const char *const anchor = verifying->scope->anchor;
    struct seal_tally *const tally = verifying->tally;

    tally->seals++;
    tally->last = (struct seal_head){seal->seal_id, (enum seal_kind)seal->kind, seal->sealed_ms, ""};
    memcpy(tally->last.sha256, seal->sha256, sizeof tally->last.sha256);
    if (anchor != NULL && strncmp(seal->sha256, anchor, strlen(anchor)) == 0) {
        tally->anchor_id = seal->seal_id;
    }
    if (seal->run_id != 0 && is_in_scope(verifying, seal)) {
        tally->runs++;
        tally->later_runs += seal->kind == SEAL_RUN_LATER ? 1 : 0;
        tally->imported_runs += seal->kind == SEAL_IMPORT ? 1 : 0;
    }
}

static int check_chain(struct verifying *verifying) {
    static const char sql[] =
        "SELECT seal_id, form, kind, run_id, sealed_ms, before, sha256 FROM seal ORDER BY seal_id";
    struct query query;
    int result = 0;

    query_open_sql(&query, verifying->ledger, sql, "verify the seals", verifying->fault);
    while (result == 0 && query_step(&query) == 1) {
        struct stored_seal seal = {.seal_id = query_get_int(&query, 0, 1, INT64_MAX),
                                   .form = query_get_int(&query, 1, 1, INT32_MAX),
                                   .kind = query_get_int(&query, 2, SEAL_RUN, SEAL_IMPORT),
                                   .run_id = query_get_int_or_null(&query, 3, 1, INT64_MAX),
                                   .sealed_ms = query_get_int(&query, 4, INT64_MIN, INT64_MAX)};

        query_get_text_into(&query, 5, seal.before, sizeof seal.before);
        query_get_text_into(&query, 6, seal.sha256, sizeof seal.sha256);
        if (query.failed) {
            break;
        }
        result = check_seal(verifying, &seal, &verifying->tally->last);
        note_seal(verifying, &seal);
    }
    query_close(&query);
    return query.failed ? -1 : result;
}

/* ---- what no seal covers ---- */

/* A question that was put together for this once; frees it. NULL: there was no memory for it. */
static int ask_made(struct verifying *verifying, char *sql, int64_t first, int64_t *number) {
    const int result = sql != NULL
                           ? ask(verifying, sql, first, 0, number)
                           : fault_set(verifying->fault, EX_OSERR, "%s: out of memory", verifying->ledger->path);

    sqlite3_free(sql);
    return result;
}

static int count_beyond(struct verifying *verifying, const struct seal_form *form, int64_t *beyond) {
    const int64_t covered = verifying->covered[form - seal_forms];
    int64_t below = 0;
    int result;

    if (form->cover == SEAL_ONCE) {
        return ask_made(
            verifying,
            sqlite3_mprintf("SELECT count(*) FROM (%s EXCEPT SELECT high FROM seal_part WHERE name = %Q AND"
                            " channel_id IS NULL AND high = low)",
                            form->pending, form->name),
            0, beyond);
    }
    result = ask_made(verifying, sqlite3_mprintf("SELECT count(*) FROM %s WHERE %s > ?1", form->from, form->key),
                      covered, beyond);
    if (result == 0) {
        result = ask_made(verifying, sqlite3_mprintf("SELECT count(*) FROM %s WHERE %s < 1", form->from, form->key),
                          0, &below);
    }
    if (below > 0) {
        tell(verifying, "%s: %" PRId64 " with numbers below 1, which soakledger never gives", form->many, below);
    }
    return result;
}

/* What the command writes is sealed at once: what is not was written by something else. */
static int check_uncovered(struct verifying *verifying) {
    for (size_t i = 0; i < seal_form_count; i++) {
        const struct seal_form *const form = &seal_forms[i];
        int64_t beyond = 0;

        if (form->cover == SEAL_AGAIN) {
            continue;
        }
        if (count_beyond(verifying, form, &beyond) != 0) {
            return -1;
        }
        if (beyond > 0 && form->by_command && verifying->tally->seals > 0) {
            tell(verifying, "%s: %" PRId64 " that no seal covers: soakledger did not write %s", form->many, beyond,
                 beyond == 1 ? "it" : "them");
        } else {
            verifying->tally->unsealed += beyond;
        }
    }
    return 0;
}

/* Runs are numbered from 1 without gaps, and sealed as they close. */
static int check_runs(struct verifying *verifying) {
    static const char missing_sql[] = "SELECT coalesce(max(run_id), 0) - count(*) FROM run WHERE run_id > 0";
    static const char over_sql[] =
        "SELECT count(*) FROM run r WHERE ended_ms IS NOT NULL AND NOT EXISTS (SELECT 1 FROM seal s WHERE s.run_id "
        "="
        " r.run_id) AND NOT EXISTS (SELECT 1 FROM import i WHERE i.run_id = r.run_id AND i.complete = 0)";
    int64_t missing, over;

    if (ask(verifying, "SELECT count(*) FROM run WHERE ended_ms IS NULL", 0, 0, &verifying->tally->open_runs) !=
            0 ||
        ask(verifying, missing_sql, 0, 0, &missing) != 0 || ask(verifying, over_sql, 0, 0, &over) != 0) {
        return -1;
    }
    if (missing > 0) {
        tell(verifying, "runs: %" PRId64 " %s missing, since they are numbered without gaps", missing,
             missing == 1 ? "is" : "are");
    }
    if (over > 0 && verifying->tally->seals > 0) {
        tell(verifying, "runs: %" PRId64 " %s over and %s no seal", over, over == 1 ? "is" : "are",
             over == 1 ? "has" : "have");
    } else {
        verifying->tally->unsealed += over;
    }
    return 0;
}

static void check_anchor(struct verifying *verifying) {
    if (verifying->scope->anchor != NULL && verifying->tally->anchor_id == 0) {
        tell(verifying,
             "no seal of this ledger begins with %s: what that seal covered was taken away or made anew, or it is "
             "from another ledger",
             verifying->scope->anchor);
    }
}

/* ---- scope ---- */

static int list_runs(struct verifying *verifying, const char *sql, int64_t id) {
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(int64_t), verifying->ledger, sql, "verify the seals", verifying->fault);
    query_put_int(&query, id);
    for (int64_t *run_id; (run_id = list_step(&list, &query)) != NULL;) {
        *run_id = query_get_int(&query, 0, 1, INT64_MAX);
    }
    verifying->runs = list_close(&list, &query, &verifying->run_count);
    return verifying->runs == NULL ? -1 : 0;
}

static int find_scope(struct verifying *verifying) {
    const struct seal_scope *const scope = verifying->scope;

    if (scope->anchor != NULL &&
        (strlen(scope->anchor) < SEAL_ANCHOR_LEAST || strlen(scope->anchor) >= LEDGER_SHA256_TEXT_BYTES ||
         strspn(scope->anchor, "0123456789abcdef") != strlen(scope->anchor))) {
        return fault_set(verifying->fault, EX_USAGE,
                         "'%.80s' is no seal: expected its first %d to 64 digits, 0 to f", scope->anchor,
                         SEAL_ANCHOR_LEAST);
    }
    if (scope->run_id != 0) {
        return ledger_require(verifying->ledger, STATEMENT_READ_RUN, scope->run_id, "run", verifying->fault) != 0
                   ? -1
                   : list_runs(verifying, "SELECT run_id FROM run WHERE run_id = ?", scope->run_id);
    }
    if (scope->batch_id != 0) {
        return ledger_require(verifying->ledger, STATEMENT_HAS_BATCH, scope->batch_id, "batch", verifying->fault) !=
                       0
                   ? -1
                   : list_runs(verifying, "SELECT DISTINCT run_id FROM claim WHERE batch_id = ?", scope->batch_id);
    }
    return 0;
}

static int verify(struct verifying *verifying) {
    if (find_scope(verifying) != 0 || check_chain(verifying) != 0 || check_uncovered(verifying) != 0 ||
        check_runs(verifying) != 0) {
        return -1;
    }
    check_anchor(verifying);
    return 0;
}

int seal_verify_rows(struct ledger *ledger, const struct seal_scope *scope, seal_sink *sink, void *context,
                     struct seal_tally *tally, struct fault *fault) {
    struct verifying verifying = {ledger, scope, sink, context, tally, fault, NULL, 0, NULL};
    const bool own = sqlite3_get_autocommit(ledger->db) != 0;
    int result;

    *tally = (struct seal_tally){0};
    verifying.covered = calloc(seal_form_count, sizeof *verifying.covered);
    if (verifying.covered == NULL) {
        return fault_set(fault, EX_OSERR, "out of memory");
    }
    /* A transaction that only reads, so that everything is seen as it was at one moment. */
    if (own && sqlite3_exec(ledger->db, "BEGIN", NULL, NULL, NULL) != SQLITE_OK) {
        result = ledger_fail(ledger, "verify the seals", fault);
    } else {
        result = verify(&verifying);
    }
    if (own) {
        sqlite3_exec(ledger->db, "COMMIT", NULL, NULL, NULL);
    }
    free(verifying.covered);
    free(verifying.runs);
    return result;
}

int seal_verify(struct ledger *ledger, const struct seal_scope *scope, seal_sink *sink, void *context,
                struct seal_tally *tally, struct fault *fault) {
    if (seal_verify_rows(ledger, scope, sink, context, tally, fault) != 0) {
        return -1;
    }
    return seal_check_schema(ledger, sink, context, &tally->flaws, fault);
}
