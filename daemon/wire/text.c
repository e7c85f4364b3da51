// SPDX-License-Identifier: MIT
#include "soakledger/text.h"

#include <stdio.h>
#include <string.h>

#include "soakledger/modbus.h"

enum { HEX_BITS = 4, HEX_BASE = 16, BASE = 10, BYTE_BITS = 8, BYTE_MASK = 0xff, ESCAPE = 0x1b };
enum { EXPONENT_MOST = 9999 };

/* 9.91E37, as a mantissa of so many digits. */
enum { NAN_MANTISSA = 991, NAN_EXPONENT = 35 };

/* ---- what is written ---- */

enum token_kind { TOKEN_END, TOKEN_BYTE, TOKEN_BLANK, TOKEN_VALUE, TOKEN_ANY, TOKEN_ADDRESS, TOKEN_WRONG };

struct token {
    enum token_kind kind;
    char byte;
    int width; // of an address
};

int text_hex_digit(char digit, bool small) {
    if (digit >= '0' && digit <= '9')
        return digit - '0';
    if (digit >= 'A' && digit <= 'F')
        return digit - 'A' + BASE;
    return small && digit >= 'a' && digit <= 'f' ? digit - 'a' + BASE : -1;
}

/* What follows a backslash. */
static struct token read_escape(const char **at) {
    static const char letters[] = "rnte\\", bytes[] = {'\r', '\n', '\t', ESCAPE, '\\'};
    const char letter = **at;
    const char *found = letter == '\0' ? NULL : strchr(letters, letter);
    int high, low;

    if (found != NULL) {
        (*at)++;
        return (struct token){.kind = TOKEN_BYTE, .byte = bytes[found - letters]};
    }
    if (letter != 'x')
        return (struct token){.kind = TOKEN_WRONG};
    high = text_hex_digit((*at)[1], true);
    low = high < 0 ? -1 : text_hex_digit((*at)[2], true);
    if (low < 0)
        return (struct token){.kind = TOKEN_WRONG};
    *at += sizeof "xHH" - 1;
    return (struct token){.kind = TOKEN_BYTE, .byte = (char)(high * HEX_BASE + low)};
}

static struct token read_place(const char **at) {
    static const struct {
        const char *word;
        struct token token;
    } places[] = {
        {"{value}", {.kind = TOKEN_VALUE}},
        {"{any}", {.kind = TOKEN_ANY}},
        {"{address}", {.kind = TOKEN_ADDRESS, .width = 1}},
        {"{address:2}", {.kind = TOKEN_ADDRESS, .width = 2}},
        {"{address:3}", {.kind = TOKEN_ADDRESS, .width = 3}},
    };

    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++) {
        const size_t length = strlen(places[i].word);

        if (strncmp(*at, places[i].word, length) != 0)
            continue;
        *at += length;
        return places[i].token;
    }
    return (struct token){.kind = TOKEN_WRONG};
}

static struct token read_token(const char **at) {
    const char byte = **at;

    if (byte == '\0')
        return (struct token){.kind = TOKEN_END};
    if (byte == '{')
        return read_place(at);
    (*at)++;
    if (byte == '\\')
        return read_escape(at);
    return (struct token){.kind = byte == ' ' ? TOKEN_BLANK : TOKEN_BYTE, .byte = byte};
}

static const char wrong[] =
    "{address}, {value}, {any}, \\r, \\n, \\t, \\e, \\xHH or \\\\ (\\x7b stands for the brace itself)";

const char *text_refuse_query(const char *query) {
    struct token token;

    if (query[0] == '\0' || strlen(query) >= CHANNEL_TEXT_BYTES)
        return "1 to 63 bytes";
    while ((token = read_token(&query)).kind != TOKEN_END) {
        if (token.kind == TOKEN_WRONG)
            return wrong;
        if (token.kind == TOKEN_VALUE || token.kind == TOKEN_ANY)
            return "a query without {value} and {any}, which belong into patterns";
    }
    return NULL;
}

const char *text_refuse_pattern(const char *pattern) {
    struct token token;
    int values = 0;
    bool open = false; // {value} or {any}, and nothing literal since

    if (pattern[0] == '\0' || strlen(pattern) >= CHANNEL_TEXT_BYTES)
        return "1 to 63 bytes";
    while ((token = read_token(&pattern)).kind != TOKEN_END) {
        const bool place = token.kind == TOKEN_VALUE || token.kind == TOKEN_ANY;

        if (token.kind == TOKEN_WRONG)
            return wrong;
        if (place && open)
            return "literal text between two of {value} and {any}";
        values += token.kind == TOKEN_VALUE;
        open = place || (open && token.kind == TOKEN_BLANK);
    }
    return values == 1 ? NULL : "exactly one {value}";
}

bool text_names_address(const char *written) {
    struct token token;

    while ((token = read_token(&written)).kind != TOKEN_END && token.kind != TOKEN_WRONG)
        if (token.kind == TOKEN_ADDRESS)
            return true;
    return false;
}

/* The address in digits; its length. */
static size_t write_address(int address, int width, char *digits, size_t most) {
    return (size_t)snprintf(digits, most, "%0*d", width, address);
}

enum { ADDRESS_BYTES = 16 };

size_t text_build_query(const char *query, int address, uint8_t *bytes, size_t most) {
    size_t used = 0;
    struct token token;

    while ((token = read_token(&query)).kind != TOKEN_END) {
        char digits[ADDRESS_BYTES] = {token.byte};
        size_t length = 1;

        if (token.kind == TOKEN_ADDRESS)
            length = write_address(address, token.width, digits, sizeof digits);
        else if (token.kind != TOKEN_BYTE && token.kind != TOKEN_BLANK)
            return 0;
        if (length > most - used)
            return 0;
        memcpy(bytes + used, digits, length);
        used += length;
    }
    return used;
}

/* ---- pieces of lines ---- */

static bool is_blank(char byte) {
    return byte == ' ' || byte == '\t';
}

static struct text_piece trim(struct text_piece piece) {
    while (piece.length > 0 && is_blank(piece.text[0])) {
        piece.text++;
        piece.length--;
    }
    while (piece.length > 0 && is_blank(piece.text[piece.length - 1]))
        piece.length--;
    return piece;
}

struct matching {
    const char *pattern;
    int address;
    struct text_piece line;
    size_t at; // in the line
};

static bool match_address(struct matching *matching, int width) {
    char digits[ADDRESS_BYTES];
    const size_t length = write_address(matching->address, width, digits, sizeof digits);

    if (matching->line.length - matching->at < length ||
        memcmp(matching->line.text + matching->at, digits, length) != 0)
        return false;
    matching->at += length;
    return true;
}

/* Everything up to the next {value} or {any}, or the end, which must be the line's end, too. */
static bool match_literals(struct matching *matching) {
    for (;;) {
        const char *before = matching->pattern;
        const struct token token = read_token(&matching->pattern);

        switch (token.kind) {
        case TOKEN_END: return matching->at == matching->line.length;
        case TOKEN_VALUE:
        case TOKEN_ANY: matching->pattern = before; return true;
        case TOKEN_BLANK:
            while (matching->at < matching->line.length && is_blank(matching->line.text[matching->at]))
                matching->at++;
            break;
        case TOKEN_ADDRESS:
            if (!match_address(matching, token.width))
                return false;
            break;
        case TOKEN_BYTE:
            if (matching->at == matching->line.length || matching->line.text[matching->at] != token.byte)
                return false;
            matching->at++;
            break;
        case TOKEN_WRONG: return false;
        }
    }
}

/* A {value} or {any}, and what follows it, at the first place where that fits. */
static bool match_place(struct matching *matching, struct text_piece *value) {
    const struct token token = read_token(&matching->pattern);
    const size_t begin = matching->at;

    for (size_t end = begin; end <= matching->line.length; end++) {
        struct matching rest = *matching;

        rest.at = end;
        if (!match_literals(&rest))
            continue;
        if (token.kind == TOKEN_VALUE)
            *value = trim((struct text_piece){matching->line.text + begin, end - begin});
        *matching = rest;
        return true;
    }
    return false;
}

bool text_match(const char *pattern, int address, struct text_piece line, struct text_piece *value) {
    struct matching matching = {.pattern = pattern, .address = address, .line = line};

    if (!match_literals(&matching))
        return false;
    while (*matching.pattern != '\0')
        if (!match_place(&matching, value))
            return false;
    return matching.at == line.length;
}

/* Cuts the first field off `rest`; false if there is none left. A separator at the very end has a field behind it.
 */
static bool next_field(struct text_piece *rest, char separator, struct text_piece *field) {
    size_t length = 0;

    if (rest->text == NULL)
        return false;
    while (length < rest->length &&
           (separator == ' ' ? !is_blank(rest->text[length]) : rest->text[length] != separator))
        length++;
    *field = trim((struct text_piece){rest->text, length});
    if (length == rest->length)
        *rest = (struct text_piece){NULL, 0};
    else
        *rest = (struct text_piece){rest->text + length + 1, rest->length - length - 1};
    if (separator == ' ' && rest->text != NULL)
        *rest = trim(*rest);
    return true;
}

static struct text_piece before_fields(struct text_piece line, char separator) {
    return separator == ' ' ? trim(line) : line;
}

bool text_find_field(struct text_piece line, char separator, unsigned number, struct text_piece *value) {
    struct text_piece rest = before_fields(line, separator);

    for (unsigned i = 0; i < number; i++)
        if (!next_field(&rest, separator, value))
            return false;
    return number > 0;
}

unsigned text_count_fields(struct text_piece line, char separator) {
    struct text_piece rest = before_fields(line, separator), field;
    unsigned count = 0;

    while (next_field(&rest, separator, &field))
        count++;
    return count;
}

/* ---- numbers ---- */

static bool is_digit(const struct text_piece *piece, size_t at) {
    return at < piece->length && piece->text[at] >= '0' && piece->text[at] <= '9';
}

static bool is_sign(const struct text_piece *piece, size_t at) {
    return at < piece->length && (piece->text[at] == '+' || piece->text[at] == '-');
}

struct digits {
    int64_t mantissa;
    int significant, exponent, count;
};

/* False if there are more significant digits than an int64_t holds. */
static bool add_digit(struct digits *digits, char digit, bool fraction) {
    digits->count++;
    if (digits->mantissa != 0 || digit != '0')
        digits->significant++;
    if (digits->significant > CHANNEL_DIGITS_MOST)
        return false;
    digits->mantissa = digits->mantissa * BASE + (digit - '0');
    digits->exponent -= fraction;
    return true;
}

/* What stands before the exponent. */
static bool read_digits(const struct text_piece *piece, size_t *at, struct digits *digits) {
    for (; is_digit(piece, *at); (*at)++)
        if (!add_digit(digits, piece->text[*at], false))
            return false;
    if (*at < piece->length && piece->text[*at] == '.')
        for ((*at)++; is_digit(piece, *at); (*at)++)
            if (!add_digit(digits, piece->text[*at], true))
                return false;
    return digits->count > 0;
}

static bool read_exponent(const struct text_piece *piece, size_t *at, struct digits *digits) {
    int exponent = 0;
    bool negative;

    if (*at == piece->length)
        return true;
    if (piece->text[*at] != 'E' && piece->text[*at] != 'e')
        return false;
    (*at)++;
    negative = is_sign(piece, *at) && piece->text[*at] == '-';
    *at += is_sign(piece, *at);
    if (!is_digit(piece, *at))
        return false;
    for (; is_digit(piece, *at); (*at)++) {
        exponent = exponent * BASE + (piece->text[*at] - '0');
        if (exponent > EXPONENT_MOST)
            return false;
    }
    digits->exponent += negative ? -exponent : exponent;
    return *at == piece->length;
}

/* Zeros at the end say nothing: 9.910E37 is 9.91E37. */
static void drop_zeros(struct digits *digits) {
    while (digits->mantissa != 0 && digits->mantissa % BASE == 0) {
        digits->mantissa /= BASE;
        digits->significant--;
        digits->exponent++;
    }
    if (digits->mantissa == 0)
        digits->exponent = 0;
}

enum text_number text_read_number(struct text_piece piece, struct channel_decimal *decimal) {
    struct digits digits = {0};
    const bool negative = is_sign(&piece, 0) && piece.text[0] == '-';
    size_t at = is_sign(&piece, 0);

    if (!read_digits(&piece, &at, &digits) || !read_exponent(&piece, &at, &digits))
        return TEXT_NONE;
    drop_zeros(&digits);
    if (digits.mantissa == NAN_MANTISSA && digits.exponent == NAN_EXPONENT && !negative)
        return TEXT_NAN;
    if (digits.significant + digits.exponent > CHANNEL_MAGNITUDE_MOST)
        return negative ? TEXT_UNDER : TEXT_OVER;
    // So small that it is nothing, whatever the channel's decimals are.
    if (digits.exponent < CHANNEL_EXPONENT_LEAST)
        digits.mantissa = digits.exponent = 0;
    *decimal = (struct channel_decimal){negative ? -digits.mantissa : digits.mantissa, digits.exponent};
    return TEXT_NUMBER;
}

/* ---- checks ---- */

size_t text_check_digits(enum text_check check) {
    static const size_t digits[TEXT_CHECK_COUNT] = {0, 2, 2, 2, 4};

    return digits[check];
}

unsigned text_compute_check(enum text_check check, const void *bytes, size_t length) {
    const uint8_t *byte = bytes;
    unsigned sum = 0, exclusive = 0;

    for (size_t i = 0; i < length; i++) {
        sum += byte[i];
        exclusive ^= byte[i];
    }
    switch (check) {
    case TEXT_CHECK_SUM: return sum & BYTE_MASK;
    case TEXT_CHECK_XOR: return exclusive;
    case TEXT_CHECK_LRC: return (0 - sum) & BYTE_MASK;
    case TEXT_CHECK_CRC16: return modbus_crc(bytes, length);
    case TEXT_CHECK_NONE: break;
    }
    return 0;
}

bool text_take_check(enum text_check check, struct text_piece *line) {
    const size_t digits = text_check_digits(check);
    unsigned found = 0;

    if (line->length < digits)
        return false;
    for (size_t i = line->length - digits; i < line->length; i++) {
        const int digit = text_hex_digit(line->text[i], true);

        if (digit < 0)
            return false;
        found = found << HEX_BITS | (unsigned)digit;
    }
    line->length -= digits;
    return found == text_compute_check(check, line->text, line->length);
}
