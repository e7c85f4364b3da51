// SPDX-License-Identifier: MIT
/* tally: what was asked on each line, so that it can be proven that nothing but reading happened.
 *
 * Each whole frame with a good check is counted by line, address and function. Every byte string that is not a
 * read request (function 03 or 04) as the specification wants it is also written down at once:
 *   other line=NAME time=SECONDS.MMM bytes=HEX why=REASON
 * Counts are written by tally_write, in this form, ended by a line "end of counts":
 *   count line=NAME address=N function=HH frames=N
 *   count line=NAME query=TEXT times=N
 */
#ifndef SHOP_TALLY_H
#define SHOP_TALLY_H

#include <stddef.h>
#include <stdint.h>

#include "scene.h"

struct tally;

/* `path` NULL: counts only. The scene must outlive the tally. */
struct tally *tally_open(const struct scene *scene, const char *path, struct fault *fault);
/* Writes the counts and closes. */
void tally_close(struct tally *tally);

/* A whole frame with a good check, at `t_ms`. */
void tally_add_frame(struct tally *tally, size_t line, int64_t t_ms, const uint8_t *frame, size_t length);
/* The query that a text instrument waits for. */
void tally_add_query(struct tally *tally, size_t line);
/* Bytes that make no frame. */
void tally_add_junk(struct tally *tally, size_t line, int64_t t_ms, const uint8_t *bytes, size_t length);
void tally_write(struct tally *tally);

#endif
