// SPDX-License-Identifier: MIT
/* What people added to a batch afterwards, both ways. */
#include <stdlib.h>
#include <string.h>

#include "attach_json.h"

enum { MOST_ENTRIES = 1024 };

/* ---- out ---- */

static json_t *books_disposition(const struct books_disposition *one, size_t number) {
    return json_pack("{s:i, s:i, s:s, s:o, s:o, s:I, s:b}", "disposition", (int)number, "decision",
                     (int)one->decision, "words", books_decision_name(one->decision), "by",
                     attach_text(one->said_by), "reason", attach_text(one->reason), "said_ms",
                     (json_int_t)one->said_ms, "withdrawn", (int)one->withdrawn);
}

static json_t *books_reading(const struct books_hardness *one, size_t number) {
    return json_pack(
        "{s:i, s:o, s:I, s:I, s:I, s:o, s:o, s:o, s:o, s:I, s:I, s:b}", "hardness", (int)number, "scale",
        attach_text(one->scale), "value", (json_int_t)one->value, "counts", (json_int_t)one->counts, "uncertainty",
        (json_int_t)one->uncertainty, "piece", attach_text(one->piece), "position", attach_text(one->position),
        "instrument", attach_text(one->instrument), "measured_by", attach_text(one->measured_by), "measured_ms",
        (json_int_t)one->measured_ms, "said_ms", (json_int_t)one->said_ms, "withdrawn", (int)one->withdrawn);
}

static json_t *books_amendment(const struct books_amendment *one, size_t number) {
    return json_pack(
        "{s:i, s:i, s:s, s:i, s:b, s:o, s:o, s:o, s:o, s:I}", "amendment", (int)number, "entry", (int)one->entry,
        "of", books_entry_name(one->entry), "entry_number", (int)one->number, "withdraws", (int)one->withdraws,
        "value", one->has_value ? json_integer(one->value) : json_null(), "words", attach_text(one->words),
        "reason", attach_text(one->reason), "by", attach_text(one->said_by), "said_ms", (json_int_t)one->said_ms);
}

json_t *attach_books(const struct assess_batch *assessed) {
    const struct books *books = assessed->books;
    json_t *dispositions = json_array(), *hardness = json_array(), *amendments = json_array();
    int failed = 0;

    for (size_t i = 0; i < books->disposition_count; i++)
        failed |= json_array_append_new(dispositions, books_disposition(&books->dispositions[i], i + 1));
    for (size_t i = 0; i < books->hardness_count; i++)
        failed |= json_array_append_new(hardness, books_reading(&books->hardness[i], i + 1));
    for (size_t i = 0; i < books->amendment_count; i++)
        failed |= json_array_append_new(amendments, books_amendment(&books->amendments[i], i + 1));
    if (failed != 0) {
        json_decref(dispositions);
        dispositions = NULL; // json_pack then gives back nothing, and releases the others
    }
    return json_pack("{s:o, s:o, s:o}", "dispositions", dispositions, "hardness", hardness, "amendments",
                     amendments);
}

/* ---- and in ---- */

static void take_dispositions(struct taker *taker, const json_t *from, struct books *books) {
    const json_t *array = take_array(taker, from, "dispositions", MOST_ENTRIES), *entry;
    size_t i;

    books->dispositions = calloc(json_array_size(array) + 1, sizeof *books->dispositions);
    if (books->dispositions == NULL) {
        take_refuse(taker, "not enough memory");
        return;
    }
    json_array_foreach(array, i, entry) {
        struct books_disposition *one;

        if (taker->failed)
            return;
        one = &books->dispositions[books->disposition_count++];
        one->decision =
            (enum books_decision)take_number(taker, entry, "decision", BOOKS_ACCEPT, BOOKS_DECISION_COUNT - 1);
        one->said_ms = take_number(taker, entry, "said_ms", 1, TIME_MOST_MS);
        one->said_by = take_text(taker, entry, "by");
        one->reason = take_text(taker, entry, "reason");
    }
}

static void take_readings(struct taker *taker, const json_t *from, struct books *books) {
    const json_t *array = take_array(taker, from, "hardness", MOST_ENTRIES), *entry;
    size_t i;

    books->hardness = calloc(json_array_size(array) + 1, sizeof *books->hardness);
    if (books->hardness == NULL) {
        take_refuse(taker, "not enough memory");
        return;
    }
    json_array_foreach(array, i, entry) {
        struct books_hardness *one;

        if (taker->failed)
            return;
        one = &books->hardness[books->hardness_count++];
        one->scale = take_text(taker, entry, "scale");
        one->value = one->counts = take_number(taker, entry, "value", 1, INT32_MAX);
        one->uncertainty = take_number(taker, entry, "uncertainty", 0, INT32_MAX);
        one->piece = take_text(taker, entry, "piece");
        one->position = take_text(taker, entry, "position");
        one->instrument = take_text(taker, entry, "instrument");
        one->measured_by = take_text(taker, entry, "measured_by");
        one->measured_ms = take_number(taker, entry, "measured_ms", 1, TIME_MOST_MS);
        one->said_ms = take_number(taker, entry, "said_ms", 1, TIME_MOST_MS);
    }
}

/* An amendment names an entry that is there; 0 for a field of the batch itself. */
static int64_t take_entries(const struct assess_batch *assessed, enum books_entry entry) {
    switch (entry) {
    case BOOKS_ATTESTATION: return (int64_t)assessed->attestation_count;
    case BOOKS_DISPOSITION: return (int64_t)assessed->books->disposition_count;
    case BOOKS_HARDNESS: return (int64_t)assessed->books->hardness_count;
    case BOOKS_CHARGE:
    case BOOKS_CUSTOMER:
    case BOOKS_ORDER:
    case BOOKS_OPERATOR:
    case BOOKS_NOTE: break;
    }
    return 0;
}

static void take_amendments(struct taker *taker, const json_t *from, struct assess_batch *assessed) {
    const json_t *array = take_array(taker, from, "amendments", MOST_ENTRIES), *entry;
    struct books *books = assessed->books;
    size_t i;

    books->amendments = calloc(json_array_size(array) + 1, sizeof *books->amendments);
    if (books->amendments == NULL) {
        take_refuse(taker, "not enough memory");
        return;
    }
    json_array_foreach(array, i, entry) {
        struct books_amendment *one;
        int64_t entries;

        if (taker->failed)
            return;
        one = &books->amendments[books->amendment_count++];
        one->entry = (enum books_entry)take_number(taker, entry, "entry", BOOKS_CHARGE, BOOKS_ENTRY_COUNT - 1);
        entries = take_entries(assessed, one->entry);
        one->number = (size_t)take_number(taker, entry, "entry_number", entries > 0 ? 1 : 0, entries);
        one->withdraws = json_is_true(json_object_get(entry, "withdraws"));
        one->has_value = json_is_integer(json_object_get(entry, "value"));
        one->value = one->has_value ? take_number(taker, entry, "value", 1, INT32_MAX) : 0;
        one->words = take_text(taker, entry, "words");
        one->reason = take_text(taker, entry, "reason");
        one->said_by = take_text(taker, entry, "by");
        one->said_ms = take_number(taker, entry, "said_ms", 1, TIME_MOST_MS);
        if (one->number == 0 && one->entry >= BOOKS_ATTESTATION)
            take_refuse(taker, "an amendment of an entry that is not there");
    }
}

void attach_take_books(struct taker *taker, const json_t *facts, struct assess_batch *assessed) {
    const json_t *from = json_object_get(facts, "books");

    taker->what = "books";
    assessed->books = calloc(1, sizeof *assessed->books);
    if (assessed->books == NULL) {
        take_refuse(taker, "not enough memory");
        return;
    }
    take_dispositions(taker, from, assessed->books);
    if (!taker->failed)
        take_readings(taker, from, assessed->books);
    if (!taker->failed)
        take_amendments(taker, from, assessed);
    if (!taker->failed)
        books_apply(assessed->books);
}
