// SPDX-License-Identifier: MIT
/* ledger_base: a small ledger with one of everything, and a fuzzer's bytes as changes of it. */
#ifndef SOAKLEDGER_LEDGER_BASE_H
#define SOAKLEDGER_LEDGER_BASE_H

#include <sqlite3.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/config.h"

struct ledger_base {
    struct config *config;
    sqlite3 *db; // in memory; every change is taken back
    size_t table_count;
    char **tables; // names
};

/* Ends the program where it cannot be made. */
void ledger_base_make(struct ledger_base *base);
/* The base with the changes that `data` asks for, as a file's bytes; the caller frees with sqlite3_free. */
unsigned char *ledger_base_change(const struct ledger_base *base, const uint8_t *data, size_t size, size_t *length);

#endif
