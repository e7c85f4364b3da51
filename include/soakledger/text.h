// SPDX-License-Identifier: MIT
/* text: what the wires that carry text have in common: queries, patterns, fields, checks and numbers. Pure.
 *
 * Queries and patterns are written in printable characters. In both, \r \n \t \e \\ stand for control characters
 * and the backslash, \xHH for the byte HH, and {address} for the instrument's address; {address:3} is filled up
 * with zeros to three digits. In a pattern, {value} stands for what is wanted and {any} for whatever is there, each
 * up to the first place where the literal text behind it fits; a blank stands for any number of blanks, also none.
 * A pattern holds one {value}, and literal text between two of {value} and {any}. It must account for the whole
 * line.
 */
#ifndef SOAKLEDGER_TEXT_H
#define SOAKLEDGER_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/channel.h"

/* NULL if it is well formed, else what was expected. */
const char *text_refuse_query(const char *query);
const char *text_refuse_pattern(const char *pattern);

bool text_names_address(const char *written);

/* The bytes of a query, without its end; 0 if they do not fit or it is not well formed. */
size_t text_build_query(const char *query, int address, uint8_t *bytes, size_t most);

/* A piece of a line. */
struct text_piece {
    const char *text;
    size_t length;
};

/* Whether the line is as the pattern says; `value` is then what stands at {value}, without blanks around it. */
bool text_match(const char *pattern, int address, struct text_piece line, struct text_piece *value);

/* Field `number`, counted from 1, without blanks around it. With a blank as separator any run of blanks separates
 * and blanks at the ends do not count; with another, fields may be empty. */
bool text_find_field(struct text_piece line, char separator, unsigned number, struct text_piece *value);
unsigned text_count_fields(struct text_piece line, char separator);

enum text_number {
    TEXT_NUMBER,
    TEXT_OVER,  // 10^15 or more, such as the 9.9E37 that SCPI-99 (volume 1, 7.2.1.4, from memory) has for infinity
    TEXT_UNDER, // the same below zero
    TEXT_NAN,   // 9.91E37: what the same standard has for "not a number"
    TEXT_NONE,  // no number at all
};

/* Sign, digits, point, exponent; the whole piece. Exact: more than 18 significant digits are no number. */
enum text_number text_read_number(struct text_piece piece, struct channel_decimal *decimal);

/* Checks that stand in hexadecimal digits, the high one first, at the end of a line. */
enum text_check {
    TEXT_CHECK_NONE,
    TEXT_CHECK_SUM,   // of all bytes, modulo 256
    TEXT_CHECK_XOR,   // of all bytes
    TEXT_CHECK_LRC,   // the sum's two's complement, as in Modbus ASCII
    TEXT_CHECK_CRC16, // as in Modbus RTU
};
enum { TEXT_CHECK_COUNT = 5 };
size_t text_check_digits(enum text_check check);
unsigned text_compute_check(enum text_check check, const void *bytes, size_t length);
/* Whether the line's last digits are the check of what is before them; they are then cut off the line. */
bool text_take_check(enum text_check check, struct text_piece *line);

/* -1 for anything but 0..9 and A..F (and a..f where `small` allows it). */
int text_hex_digit(char digit, bool small);

#endif
