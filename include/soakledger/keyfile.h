// SPDX-License-Identifier: MIT
/* keyfile: the strict form of "[section]" and "key = value" that configuration and plans share.
 *
 * libinih does the reading; what it lets pass is refused here: a line longer than its buffer, a key before
 * the first section, a key or a section given twice, a key without a value, a value continued on the next
 * line, a byte that is not UTF-8 text. A section header is "[kind name]" or "[kind]": one word, then everything
 * after the first space. Order is kept. Every entry remembers its line, and whether someone asked for it, so that
 * an unknown key can be named with file and line.
 */
#ifndef SOAKLEDGER_KEYFILE_H
#define SOAKLEDGER_KEYFILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "soakledger/fault.h"

struct keyfile;
struct keyfile_section;

/* Parses `length` bytes of `text`; `name` is the file's name for messages. The text is copied. */
struct keyfile *keyfile_parse(const char *text, size_t length, const char *name, struct fault *fault);
/* Reads a whole file (at most 1 MiB) and parses it. EX_NOINPUT if it cannot be read. */
struct keyfile *keyfile_read(const char *path, struct fault *fault);
/* The same from an open stream, which stays open. */
struct keyfile *keyfile_read_stream(FILE *stream, const char *name, struct fault *fault);
void keyfile_free(struct keyfile *file);

/* The text as it was given, terminated; `length` may be NULL. Owned by the keyfile. */
const char *keyfile_text(const struct keyfile *file, size_t *length);
const char *keyfile_name(const struct keyfile *file);

size_t keyfile_count_sections(const struct keyfile *file);
struct keyfile_section *keyfile_section(struct keyfile *file, size_t index);
const char *keyfile_section_kind(const struct keyfile_section *section);
const char *keyfile_section_name(const struct keyfile_section *section); // "" where there is none
int keyfile_section_line(const struct keyfile_section *section);

/* The value of `key`, marked as asked for, or NULL. `line` (may be NULL) gets its line. Owned by the file. */
const char *keyfile_take(struct keyfile_section *section, const char *key, int *line);

/* Typed takes. Each returns 1 with the value, 0 if the key is absent (value untouched), -1 with a fault that
 * begins "name:line: key: ". The quantity parsers of quantity.h say what is accepted. */
int keyfile_take_temperature(struct keyfile_section *s, const char *key, int64_t *mc, struct fault *fault);
int keyfile_take_difference(struct keyfile_section *s, const char *key, int64_t *mc, struct fault *fault);
int keyfile_take_duration(struct keyfile_section *s, const char *key, int64_t *ms, struct fault *fault);
int keyfile_take_rate(struct keyfile_section *s, const char *key, int64_t *mc_per_h, struct fault *fault);
int keyfile_take_span(struct keyfile_section *s, const char *key, int64_t *low_mc, int64_t *high_mc,
                      struct fault *fault);
int keyfile_take_integer(struct keyfile_section *s, const char *key, int64_t least, int64_t most, int64_t *value,
                         struct fault *fault);
int keyfile_take_date(struct keyfile_section *s, const char *key, int64_t *t_ms, struct fault *fault);
/* One of `words` (NULL-terminated); value gets its index. The fault lists them all. */
int keyfile_take_word(struct keyfile_section *s, const char *key, const char *const *words, int *value,
                      struct fault *fault);

/* For a key that must be there: turns what a take returned into 0, or -1 with a fault that names the section, its
 * line and an example of the key's value. */
int keyfile_require(struct keyfile_section *s, const char *key, int taken, const char *example,
                    struct fault *fault);

/* Fills in a fault about a key's value that begins "name:line: key: "; the line is the section's if the key is not
 * given. Returns -1. */
int keyfile_refuse(struct keyfile_section *s, const char *key, struct fault *fault, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* Fails (-1, EX_CONFIG) naming the first entry that nobody asked for: "name:line: unknown key 'x' in [y]". */
int keyfile_refuse_unknown(const struct keyfile *file, struct fault *fault);

/* Fills in a fault that begins "name:line: "; returns -1. */
int keyfile_fault(const struct keyfile *file, int line, struct fault *fault, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

#endif
