// SPDX-License-Identifier: MIT
/* attach_json: what the files that make and read the facts share. */
#ifndef SOAKLEDGER_ATTACH_JSON_H
#define SOAKLEDGER_ATTACH_JSON_H

#include "soakledger/attach.h"

/* Text from people, cleaned; NULL if memory is short. */
json_t *attach_text(const char *text);
/* A time, or null for 0. */
json_t *attach_moment(int64_t t_ms);

json_t *attach_books(const struct assess_batch *assessed);

/* ---- taking facts apart ----
 *
 * The first thing that is wrong is told; afterwards everything yields 0 or "". */
struct taker {
    const char *what; // "run number 3", "batch": where we are
    struct fault *fault;
    bool failed;
};

#define TIME_MOST_MS INT64_C(253402300799999) // 9999-12-31T23:59:59.999Z

void take_refuse(struct taker *taker, const char *format, ...) __attribute__((format(printf, 2, 3)));
int64_t take_number(struct taker *taker, const json_t *object, const char *name, int64_t least, int64_t most);
/* null is 0 */
int64_t take_moment(struct taker *taker, const json_t *object, const char *name);
const char *take_view(struct taker *taker, const json_t *object, const char *name);
char *take_text(struct taker *taker, const json_t *object, const char *name);
const json_t *take_array(struct taker *taker, const json_t *object, const char *name, size_t most);
/* Dispositions, hardness readings and amendments into assessed->books. */
void attach_take_books(struct taker *taker, const json_t *facts, struct assess_batch *assessed);

#endif
