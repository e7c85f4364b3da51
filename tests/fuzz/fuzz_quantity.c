// SPDX-License-Identifier: MIT
/* Any text to every parser of quantity: a value taken is within its range and survives being written and read. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/quantity.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds) {
    if (!holds)
        abort();
}

/* What a refusal owes: a status, one line, and what was expected. */
static void check_refusal(const struct fault *fault) {
    demand(fault->status == EX_DATAERR);
    demand(strchr(fault->text, '\n') == NULL);
    demand(strstr(fault->text, ": expected ") != NULL);
}

static void check_temperature(const char *text) {
    char out[QUANTITY_TEXT_BYTES];
    struct fault fault = {0, ""};
    int64_t value, again;

    if (quantity_parse_temperature(text, &value, &fault) != 0) {
        check_refusal(&fault);
        return;
    }
    demand(value >= -273150 && value <= 3000000);
    demand(quantity_parse_temperature(quantity_format_temperature(value, UNIT_CELSIUS, 3, out), &again, &fault) ==
           0);
    demand(again == value);
}

static void check_duration(const char *text) {
    char out[QUANTITY_TEXT_BYTES];
    struct fault fault = {0, ""};
    int64_t value, again;

    if (quantity_parse_duration(text, &value, &fault) != 0) {
        check_refusal(&fault);
        return;
    }
    demand(value >= 0 && value <= INT64_C(86400000000));
    demand(quantity_parse_duration(quantity_format_duration(value, out), &again, &fault) == 0);
    demand(again <= value);
}

static void check_time(const char *text) {
    char out[QUANTITY_TEXT_BYTES];
    struct fault fault = {0, ""};
    int64_t value, again;

    if (quantity_parse_time(text, &value, &fault) != 0) {
        check_refusal(&fault);
        return;
    }
    demand(quantity_parse_time(quantity_format_time(value, 0, out), &again, &fault) == 0);
    demand(again == value);
}

static void check_others(const char *text) {
    struct fault fault = {0, ""};
    int64_t value, high;

    if (quantity_parse_difference(text, &value, &fault) == 0)
        demand(value >= 0 && value <= 3000000);
    else
        check_refusal(&fault);
    if (quantity_parse_rate(text, &value, &fault) == 0)
        demand(value >= 0 && value <= INT64_C(10800000000));
    else
        check_refusal(&fault);
    if (quantity_parse_span(text, &value, &high, &fault) == 0)
        demand(value < high);
    else
        check_refusal(&fault);
    if (quantity_parse_integer(text, -3, 247, &value, &fault) == 0)
        demand(value >= -3 && value <= 247);
    else
        check_refusal(&fault);
}

/* The bytes themselves as numbers to write. */
static void check_formatters(const uint8_t *data, size_t size) {
    char out[QUANTITY_TEXT_BYTES];
    int64_t value = 0;

    memcpy(&value, data, size < sizeof value ? size : sizeof value);
    for (int decimals = 0; decimals <= 3; decimals++) {
        demand(strlen(quantity_format_temperature(value, UNIT_FAHRENHEIT, decimals, out)) < sizeof out - 1);
        demand(strlen(quantity_format_difference(value, UNIT_FAHRENHEIT, decimals, 1, out)) < sizeof out - 1);
    }
    demand(strlen(quantity_format_rate(value, UNIT_FAHRENHEIT, out)) < sizeof out - 1);
    demand(strlen(quantity_format_duration(value, out)) < sizeof out - 1);
    demand(strlen(quantity_format_time(value, (int)(value % 841), out)) < sizeof out - 1);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char *text = malloc(size + 1);

    if (text == NULL)
        return 0;
    if (size > 0)
        memcpy(text, data, size);
    text[size] = '\0';
    check_temperature(text);
    check_duration(text);
    check_time(text);
    check_others(text);
    if (size > 0)
        check_formatters(data, size);
    free(text);
    return 0;
}
