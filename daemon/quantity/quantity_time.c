// SPDX-License-Identifier: MIT
/* Moments: proleptic Gregorian calendar, UTC, no leap seconds. */
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "soakledger/quantity.h"

enum {
    MS_PER_SECOND = 1000,
    SECONDS_PER_MINUTE = 60,
    MINUTES_PER_HOUR = 60,
    HOURS_PER_DAY = 24,
    SECONDS_PER_DAY = HOURS_PER_DAY * MINUTES_PER_HOUR * SECONDS_PER_MINUTE,
    MONTHS = 12,
    DAYS_PER_YEAR = 365,
    DAYS_PER_400_YEARS = 400 * DAYS_PER_YEAR + 97, // 97 leap years in 400
    DAYS_BEFORE_1970 = 719528,                     // from 0000-01-01
};

#define EXPECTED_TIME "a moment in UTC such as 2026-11-16, 2026-11-16 07:30 or 2026-11-16T07:30:00Z"

static int64_t divide_down(int64_t a, int64_t b) {
    return a / b - (a % b < 0);
}

static bool is_leap_year(int64_t year) {
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

static int days_in_month(int64_t year, int month) {
    static const int days[MONTHS] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    const int february = 2;

    return days[month - 1] + (month == february && is_leap_year(year));
}

/* From 0000-01-01 to the first day of `year`: every fourth year before it was a leap year, but not every
 * hundredth, but every four hundredth; the year 0 itself was one. */
static int64_t days_before_year(int64_t year) {
    const int64_t last = year - 1;

    return DAYS_PER_YEAR * year + divide_down(last, 4) - divide_down(last, 100) + divide_down(last, 400) + 1;
}

static int64_t days_from_date(int64_t year, int month, int day) {
    int64_t days = days_before_year(year) + day - 1;

    for (int m = 1; m < month; m++)
        days += days_in_month(year, m);
    return days - DAYS_BEFORE_1970;
}

static void date_from_days(int64_t days, int64_t *year, int *month, int *day) {
    days += DAYS_BEFORE_1970;
    *year = divide_down(days, DAYS_PER_400_YEARS) * 400;
    *year += (days - days_before_year(*year)) / (DAYS_PER_YEAR + 1); // never too late, at most a year too early
    while (days_before_year(*year + 1) <= days)
        ++*year;
    days -= days_before_year(*year);
    for (*month = 1; days >= days_in_month(*year, *month); ++*month)
        days -= days_in_month(*year, *month);
    *day = (int)days + 1;
}

/* Exactly `count` digits at `*at`, within [least, most]. */
static bool read_field(const char **at, int count, int least, int most, int *value) {
    const int base = 10;

    *value = 0;
    for (int i = 0; i < count; i++, ++*at) {
        if (**at < '0' || **at > '9')
            return false;
        *value = *value * base + (**at - '0');
    }
    return *value >= least && *value <= most;
}

static bool read_mark(const char **at, char mark) {
    if (**at != mark)
        return false;
    ++*at;
    return true;
}

static bool read_date(const char **at, int64_t *days) {
    const int year_digits = 4, digits = 2, last_year = 9999;
    int year, month, day;

    if (!read_field(at, year_digits, 0, last_year, &year) || !read_mark(at, '-') ||
        !read_field(at, digits, 1, MONTHS, &month) || !read_mark(at, '-') ||
        !read_field(at, digits, 1, days_in_month(year, month), &day))
        return false;
    *days = days_from_date(year, month, day);
    return true;
}

/* Behind the date: nothing, "Thh:mm[:ss]Z" or " hh:mm[:ss][Z]". With the T the Z must be there: without it
 * ISO 8601 means local time. */
static bool read_time_of_day(const char **at, int *seconds) {
    const int digits = 2;
    int hour = 0, minute = 0, second = 0;
    bool strict;

    *seconds = 0;
    if (**at == '\0')
        return true;
    strict = **at == 'T';
    if (!read_mark(at, strict ? 'T' : ' ') || !read_field(at, digits, 0, HOURS_PER_DAY - 1, &hour) ||
        !read_mark(at, ':') || !read_field(at, digits, 0, MINUTES_PER_HOUR - 1, &minute))
        return false;
    if (read_mark(at, ':') && !read_field(at, digits, 0, SECONDS_PER_MINUTE - 1, &second))
        return false;
    if (!read_mark(at, 'Z') && strict)
        return false;
    *seconds = (hour * MINUTES_PER_HOUR + minute) * SECONDS_PER_MINUTE + second;
    return **at == '\0';
}

int quantity_parse_time(const char *text, int64_t *t_ms, struct fault *fault) {
    const char *at = text;
    int64_t days;
    int seconds;

    if (!read_date(&at, &days) || !read_time_of_day(&at, &seconds)) {
        char quoted[QUANTITY_TEXT_BYTES];

        snprintf(quoted, sizeof quoted, "%s", text);
        for (char *byte = quoted; *byte != '\0'; byte++)
            if (*byte < ' ' || *byte > '~') // nothing else belongs into a moment
                *byte = '?';
        return fault_set(fault, EX_DATAERR, "'%s' is not a moment: expected " EXPECTED_TIME, quoted);
    }
    *t_ms = (days * SECONDS_PER_DAY + seconds) * MS_PER_SECOND;
    return 0;
}

char *quantity_format_time(int64_t t_ms, int offset_min, char *out) {
    const int64_t seconds = divide_down(t_ms, MS_PER_SECOND) + (int64_t)offset_min * SECONDS_PER_MINUTE;
    const int64_t days = divide_down(seconds, SECONDS_PER_DAY);
    const unsigned of_day = (unsigned)(seconds - days * SECONDS_PER_DAY);
    const unsigned minutes = of_day / SECONDS_PER_MINUTE;
    int64_t year; // 64 bits of ms reach less than 300 million years either way
    int month, day;

    date_from_days(days, &year, &month, &day);
    snprintf(out, QUANTITY_TEXT_BYTES, "%04d-%02d-%02d %02u:%02u:%02u", (int)year, month, day,
             minutes / MINUTES_PER_HOUR, minutes % MINUTES_PER_HOUR, of_day % SECONDS_PER_MINUTE);
    return out;
}
