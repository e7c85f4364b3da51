// SPDX-License-Identifier: MIT
/* matrix: certificates of every kind, made from generated ledgers, each with a list of all that has to be read on
 * it. */
#ifndef SOAKLEDGER_MATRIX_H
#define SOAKLEDGER_MATRIX_H

#include <stddef.h>

enum { MATRIX_UNITS, MATRIX_PAPERS, MATRIX_CHANNELS, MATRIX_DURATIONS, MATRIX_NAMES, MATRIX_OUTCOMES };
enum { MATRIX_FACTORS = 6, MATRIX_WORDS_BYTES = 128 };

/* How many levels each factor has. */
extern const size_t matrix_levels[MATRIX_FACTORS];

struct matrix_case {
    size_t level[MATRIX_FACTORS];
};

/* "C A4 40 channels 3 d names emoji, not proven" */
char *matrix_describe(const struct matrix_case *of, char out[MATRIX_WORDS_BYTES]);
size_t matrix_count(void); // of all combinations
void matrix_case_at(size_t index, struct matrix_case *of);
/* Cases in which any two levels of any two factors meet at least once; always the same. Caller frees. */
struct matrix_case *matrix_pairs(size_t *count);

/* Draws the certificate of a case into FOLDER/NAME.pdf; FOLDER/NAME.expected gets the paper's size and then every
 * text, one a line, with "\n" for a line feed. Returns the size of the file in bytes. Ends the program on a fault.
 */
size_t matrix_draw(const struct matrix_case *of, const char *folder, const char *name);

#endif
