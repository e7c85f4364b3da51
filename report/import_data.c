// SPDX-License-Identifier: MIT
/* The readings of a CSV file. Anything that is not as described ends it, with file and line: a value that is
 * guessed would be worse than none. */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "import_parts.h"
#include "soakledger/csv.h"

enum { MS_PER_S = 1000, MS_PER_MIN = 60000, FIRST_READINGS = 4096, DIGITS_MOST = 15 };
static const int64_t LOWEST_MC = -273150, HIGHEST_MC = 3000000; // those of quantity.h
static const int64_t PER_CENT_MOST = 1000 * 1000;               // thousandths of per cent

struct import_row {
    const struct import_description *d;
    const char *name;
    int line;
    struct fault *fault;
};

static int import_refuse(const struct import_row *row, const char *header, const char *text, const char *expected) {
    return fault_set(row->fault, EX_DATAERR, "%s:%d: %.60s: '%.60s': expected %s", row->name, row->line, header,
                     text, expected);
}

/* A decimal number in thousandths, rounded half away from zero; no exponent, nothing after it. */
static bool import_parse_number(const char *text, char point, int64_t *thousandths) {
    const char *at = text + (*text == '-' || *text == '+');
    int64_t value = 0;
    int digits = 0, decimals = -1;

    for (; *at != '\0'; at++) {
        if (*at == point && decimals < 0 && digits > 0) {
            decimals = 0;
            continue;
        }
        if (!isdigit((unsigned char)*at) || ++digits > DIGITS_MOST)
            return false;
        if (decimals >= 0 && ++decimals > 3) {
            if (decimals == 4)
                value += *at >= '5';
            continue;
        }
        value = value * 10 + (*at - '0');
    }
    if (digits == 0 || decimals == 0)
        return false;
    for (int i = decimals < 0 ? 0 : decimals; i < 3; i++)
        value *= 10;
    *thousandths = *text == '-' ? -value : value;
    return true;
}

/* "2026-11-16T07:30:00.250Z", or with a blank for the T; seconds and their decimals may be left out, and so may the
 * Z, where the description's zone counts. */
static int import_parse_stamp(const struct import_row *row, const char *text, int64_t *t_ms) {
    static const char expected[] = "a time such as 2026-11-16T07:30:00Z or 2026-11-16 07:30:00.5";
    char plain[QUANTITY_TEXT_BYTES];
    const char *dot = strchr(text, '.'), *end = text + strlen(text);
    const bool utc = end > text && end[-1] == 'Z';
    int64_t fraction = 0;
    size_t length;
    struct fault ignored;

    end -= utc;
    length = (size_t)((dot != NULL ? dot : end) - text);
    if (length >= sizeof plain - 1)
        return import_refuse(row, row->d->time_header, text, expected);
    memcpy(plain, text, length);
    strcpy(plain + length, "Z"); // the parser wants one after a T, and takes one after a blank
    if (dot != NULL) {
        char digits[QUANTITY_TEXT_BYTES] = "0.";

        if (end - dot < 2 || (size_t)(end - dot) >= sizeof digits - 2)
            return import_refuse(row, row->d->time_header, text, expected);
        memcpy(digits + 2, dot + 1, (size_t)(end - dot - 1));
        if (!import_parse_number(digits, '.', &fraction))
            return import_refuse(row, row->d->time_header, text, expected);
    }
    if (strchr(plain, ':') == NULL || quantity_parse_time(plain, t_ms, &ignored) != 0)
        return import_refuse(row, row->d->time_header, text, expected);
    *t_ms += fraction - (utc ? 0 : (int64_t)row->d->offset_min * MS_PER_MIN);
    return 0;
}

static int import_parse_when(const struct import_row *row, const char *text, int64_t *t_ms) {
    int64_t elapsed_ms;

    if (row->d->time == IMPORT_TIME_STAMP)
        return import_parse_stamp(row, text, t_ms);
    if (!import_parse_number(text, row->d->point, &elapsed_ms)) // thousandths of a second
        return import_refuse(row, row->d->time_header, text, "seconds since the beginning, such as 12.5");
    *t_ms = row->d->begins_ms + elapsed_ms;
    return 0;
}

static int import_parse_value(const struct import_row *row, const struct import_column *column, const char *text,
                              struct reading *reading) {
    int64_t value;

    reading->quality = QUALITY_GOOD;
    for (size_t i = 0; i < row->d->open_count; i++)
        if (strcmp(row->d->open_words[i], text) == 0) {
            reading->quality = QUALITY_OPEN_SENSOR;
            return 0;
        }
    if (!import_parse_number(text, row->d->point, &value))
        return import_refuse(row, column->channel.header, text,
                             row->d->point == ',' ? "a number such as 806,4" : "a number such as 806.4");
    if (!column->is_per_cent && column->channel.unit == UNIT_FAHRENHEIT)
        value = quantity_celsius_from_fahrenheit(value);
    if (column->is_per_cent ? llabs(value) > PER_CENT_MOST : value < LOWEST_MC || value > HIGHEST_MC)
        return import_refuse(row, column->channel.header, text,
                             column->is_per_cent ? "per cent" : "a temperature from -273.15 C to 3000 C");
    reading->value = value;
    return 0;
}

static int import_keep(struct import_data *data, const struct reading *reading, struct fault *fault) {
    if (data->count == data->capacity) {
        const size_t capacity = data->capacity == 0 ? FIRST_READINGS : 2 * data->capacity;
        struct reading *readings = reallocarray(data->readings, capacity, sizeof *readings);

        if (readings == NULL)
            return fault_set(fault, EX_OSERR, "not enough memory for %zu readings", capacity);
        data->readings = readings;
        data->capacity = capacity;
    }
    data->readings[data->count++] = *reading;
    return 0;
}

static int import_find_field(const struct import_row *row, const char *const *fields, size_t count,
                             const char *header, size_t *field) {
    bool found = false;

    for (size_t i = 0; i < count; i++) {
        if (strcmp(fields[i], header) != 0)
            continue;
        if (found)
            return fault_set(row->fault, EX_DATAERR, "%s:%d: two columns are headed '%.80s': expected one",
                             row->name, row->line, header);
        *field = i;
        found = true;
    }
    if (!found)
        return fault_set(row->fault, EX_DATAERR, "%s:%d: no column is headed '%.80s', as the description says",
                         row->name, row->line, header);
    return 0;
}

static int import_take_header(struct import_description *d, const struct import_row *row, const char *const *fields,
                              size_t count) {
    if (import_find_field(row, fields, count, d->time_header, &d->time_field) != 0)
        return -1;
    for (size_t i = 0; i < d->column_count; i++)
        if (import_find_field(row, fields, count, d->columns[i].channel.header, &d->columns[i].field) != 0)
            return -1;
    return 0;
}

/* An empty field is no reading. */
static int import_take_row(const struct import_row *row, const char *const *fields, struct import_data *data) {
    const struct import_description *d = row->d;
    int64_t t_ms = 0;

    if (import_parse_when(row, fields[d->time_field], &t_ms) != 0)
        return -1;
    if (data->begun_ms != 0 && t_ms <= data->ended_ms)
        return import_refuse(row, d->time_header, fields[d->time_field], "a time after that of the line before");
    if (data->begun_ms == 0)
        data->begun_ms = t_ms;
    data->ended_ms = t_ms;
    for (size_t i = 0; i < d->column_count; i++) {
        const char *text = fields[d->columns[i].field];
        struct reading reading = {.t_ms = t_ms, .channel_id = (int64_t)i};

        if (text[0] != '\0' && (import_parse_value(row, &d->columns[i], text, &reading) != 0 ||
                                import_keep(data, &reading, row->fault) != 0))
            return -1;
    }
    return 0;
}

static int import_take_file(struct import_description *d, struct csv *csv, const char *name,
                            struct import_data *data, struct fault *fault) {
    const char *const *fields;
    size_t count;
    bool headed = false;
    int more;

    while ((more = csv_next(csv, &fields, &count, fault)) == 1) {
        const struct import_row row = {d, name, csv_line(csv), fault};

        if ((headed ? import_take_row(&row, fields, data) : import_take_header(d, &row, fields, count)) != 0)
            return -1;
        headed = true;
    }
    if (more == 0 && data->count == 0)
        return fault_set(fault, EX_DATAERR, "%s: no readings in it: expected a header and lines below it", name);
    return more;
}

int import_read_data(struct import_description *description, const char *text, size_t length, const char *name,
                     struct import_data *data, struct fault *fault) {
    struct csv *csv = csv_open(text, length, name, description->separator, fault);
    int result;

    *data = (struct import_data){0};
    if (csv == NULL)
        return -1;
    result = import_take_file(description, csv, name, data, fault);
    csv_close(csv);
    if (result != 0)
        import_free_data(data);
    return result;
}

void import_free_data(struct import_data *data) {
    free(data->readings);
    *data = (struct import_data){0};
}
