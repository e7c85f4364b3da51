// SPDX-License-Identifier: MIT
/* import_parts: how a CSV file is to be read, as a description says it, and what it gives. */
#ifndef SOAKLEDGER_IMPORT_PARTS_H
#define SOAKLEDGER_IMPORT_PARTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/channel.h"
#include "soakledger/fault.h"
#include "soakledger/import.h"
#include "soakledger/keyfile.h"

enum { IMPORT_COLUMNS_MOST = 64, IMPORT_WORDS_MOST = 8, IMPORT_BYTES_MOST = 256 << 20 };

enum import_time { IMPORT_TIME_STAMP, IMPORT_TIME_SECONDS }; // what stands in the time column

struct import_column {
    struct import_channel channel; // .name and .header belong to the description
    bool is_per_cent;
    size_t field; // in the file, once its header is known
    int64_t channel_id;
};

/* See soakledger-import(5). Strings belong to the keyfile. */
struct import_description {
    struct keyfile *file;
    const char *oven, *source, *time_header;
    enum import_time time;
    int64_t begins_ms;     // of IMPORT_TIME_SECONDS: what the seconds count from
    int offset_min;        // of IMPORT_TIME_STAMP: where no zone stands in the file
    char separator, point; // of fields, and of decimals
    int64_t interval_ms;
    const char *open_words[IMPORT_WORDS_MOST]; // how the file says that a sensor is open
    char *open_text;                           // which holds them
    size_t open_count;
    struct import_column columns[IMPORT_COLUMNS_MOST];
    size_t column_count;
    size_t time_field;
};

/* Takes the file over; NULL is allowed, with the fault already filled in. NULL with a fault that names file and
 * line.
 */
struct import_description *import_read_description(struct keyfile *file, struct fault *fault);
void import_free_description(struct import_description *description); // NULL is allowed

struct import_data {
    struct reading *readings; // of the columns in turn: channel_id is the column's index until it is stored
    size_t count, capacity;
    int64_t begun_ms, ended_ms;
};

/* Reads a whole file. EX_DATAERR with file:line for the first thing that is not as described. */
int import_read_data(struct import_description *description, const char *text, size_t length, const char *name,
                     struct import_data *data, struct fault *fault);
void import_free_data(struct import_data *data);

#endif
