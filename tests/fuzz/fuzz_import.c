// SPDX-License-Identifier: MIT
/* Any bytes as a description of somebody's readings, and after a zero byte any bytes as the CSV file it describes:
 * a refusal is one line that names file and line; readings that are taken are in order and within what can be. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "../../report/import_parts.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char DESCRIPTION[] = "[import]\noven = hardening\nsource = logger\ntime = t\ntime_zone = +01:00\n"
                                  "interval = 10 s\nopen = ---- open\n"
                                  "[column rack]\nheader = a\nrole = load\nunit = C\n"
                                  "[column chamber]\nheader = b\nrole = control\nunit = F\n"
                                  "[column power]\nheader = c\nrole = output\nunit = %\n";
static const int64_t LOWEST_MC = -273150, HIGHEST_MC = 3000000;

static void demand(int holds) {
    if (!holds)
        abort();
}

static void check_fault(const struct fault *fault, int status, const char *name) {
    demand(fault->status == status && fault->text[0] != '\0' && strchr(fault->text, '\n') == NULL);
    demand(strncmp(fault->text, name, strlen(name)) == 0);
}

static struct import_description *describe(const void *text, size_t length) {
    struct fault fault = {0, ""};
    struct import_description *description =
        import_read_description(keyfile_parse(text, length, "fuzz.import", &fault), &fault);

    if (description == NULL)
        check_fault(&fault, EX_CONFIG, "fuzz.import");
    return description;
}

static void check_data(const struct import_description *description, const struct import_data *data) {
    demand(data->count > 0 && data->begun_ms <= data->ended_ms);
    for (size_t i = 0; i < data->count; i++) {
        const struct reading *reading = &data->readings[i];

        demand(reading->channel_id >= 0 && (size_t)reading->channel_id < description->column_count);
        demand(reading->t_ms >= data->begun_ms && reading->t_ms <= data->ended_ms);
        demand(i == 0 || reading->t_ms >= reading[-1].t_ms);
        demand(reading->quality == QUALITY_GOOD || reading->quality == QUALITY_OPEN_SENSOR);
        demand(description->columns[reading->channel_id].is_per_cent ||
               (reading->value >= LOWEST_MC && reading->value <= HIGHEST_MC));
    }
}

static void read_data(struct import_description *description, const uint8_t *text, size_t length) {
    struct import_data data;
    struct fault fault = {0, ""};

    if (import_read_data(description, (const char *)text, length, "fuzz.csv", &data, &fault) == 0) {
        check_data(description, &data);
        import_free_data(&data);
    } else {
        check_fault(&fault, EX_DATAERR, "fuzz.csv");
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const uint8_t *end = size > 0 ? memchr(data, 0, size) : NULL;
    const size_t length = end != NULL ? (size_t)(end - data) : 0;
    struct import_description *description =
        length > 0 ? describe(data, length) : describe(DESCRIPTION, sizeof DESCRIPTION - 1);

    if (description != NULL && size > 0)
        read_data(description, end != NULL ? end + 1 : data, end != NULL ? size - length - 1 : size);
    import_free_description(description);
    return 0;
}
