// SPDX-License-Identifier: MIT
/* words: text from people, made safe to show, and values in words. */
#ifndef SOAKLEDGER_WORDS_H
#define SOAKLEDGER_WORDS_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/judge.h"
#include "soakledger/quantity.h"

/* Copies at most `length` bytes of `text` into `out` (`size` bytes with terminator; cut between characters):
 * control characters and direction marks become spaces, what is no UTF-8 or lies beyond U+FFFF becomes U+FFFD. A
 * '\n' stays if `keep_lines`. Returns `out`. */
char *words_clean(const char *text, size_t length, int keep_lines, char *out, size_t size);

/* The code point at `text`, of at most `most` (> 0) bytes, and how many bytes it takes: U+FFFD and 1 for what is no
 * UTF-8. */
size_t words_code(const char *text, size_t most, uint32_t *code);
/* Bytes of the character at `text` (1 for what is no UTF-8); 0 at the terminator. */
size_t words_character(const char *text);
/* Columns that `text` takes on a terminal, counting one per character. */
size_t words_columns(const char *text);

/* A verdict's value in its unit: rate, duration or difference. QUANTITY_TEXT_BYTES. */
char *words_value(enum requirement requirement, int64_t value, enum temperature_unit unit, char *out);
/* The limit with its direction: "at least 20 min", "at most 8.0 °C". */
enum { WORDS_LIMIT_BYTES = 128, WORDS_SENTENCE_BYTES = 320 };
char *words_limit(enum requirement requirement, int64_t value, enum temperature_unit unit, char *out);
/* What is limited, without the direction that words_limit gives: "soak time", "cooling 800 to 500 °C". `operation`
 * is the one that limits it. WORDS_LIMIT_BYTES. */
char *words_what(const struct plan_operation *operation, enum requirement requirement, enum temperature_unit unit,
                 char *out);
/* A duration of a quench, in tenths of a second where it is less than a minute: "3.9 s". QUANTITY_TEXT_BYTES. */
char *words_short_time(int64_t duration_ms, char *out);
/* What was found, and why it is no proof: "11 min proven, 22 min possible", "no value: the run is still on".
 * WORDS_SENTENCE_BYTES. */
char *words_found(const struct verdict *verdict, enum temperature_unit unit, char *out);
/* How far inside the limit: "+2.1 °C", or outside: "−8 min 48 s"; "" if not known. With the uncertainty where one
 * is stated: "+4.1 ± 1.5 °C", "+5 min\n± 2.2 °C of the sensors". WORDS_LIMIT_BYTES. */
char *words_margin(const struct verdict *verdict, enum temperature_unit unit, char *out);
/* The same in parts, for columns: "at least", or "seen or" where a verdict has no number; "20 min"; "11 min 12 s",
 * "no value"; why that proves nothing, "" if it does: "proven; 22 min possible: readings are missing"; "+5 min" as
 * words_margin; "± 2.2 °C". WORDS_LIMIT_BYTES, the note WORDS_SENTENCE_BYTES. */
const char *words_bound(enum requirement requirement);
char *words_required(const struct verdict *verdict, enum temperature_unit unit, char *out);
char *words_found_value(const struct verdict *verdict, enum temperature_unit unit, char *out);
char *words_found_note(const struct verdict *verdict, enum temperature_unit unit, char *out);
char *words_margin_value(const struct verdict *verdict, enum temperature_unit unit, char *out);
char *words_uncertainty(const struct verdict *verdict, enum temperature_unit unit, char *out);
/* One plain sentence: "The soak lasted 11 min 12 s; 20 min were required." */
char *words_sentence(const struct verdict *verdict, enum temperature_unit unit, char *out);

/* "UTC", "UTC+01:00", "UTC-03:30". */
char *words_offset(int offset_min, char *out);
/* "2:05 h": hours and minutes since a beginning, for axes. */
char *words_elapsed(int64_t duration_ms, char *out);
/* Clock time of day, "14:05" or "14:05:20". */
char *words_clock(int64_t t_ms, int offset_min, int seconds, char *out);

#endif
