// SPDX-License-Identifier: MIT
/* signed_shop: the fixture's toolroom with a signing key and a clock that stands still, and one batch whose two
 * runs are done. The real command is run on it. */
#ifndef SOAKLEDGER_SIGNED_SHOP_H
#define SOAKLEDGER_SIGNED_SHOP_H

#include <stddef.h>

#include "ledger_fixture.h"

enum { SIGNED_PATH_BYTES = 256 };
#define SIGNED_NOW_MS (FIXTURE_START_MS + INT64_C(90000000)) // 25 h later

struct signed_shop {
    struct ledger_fixture fixture;  // open for books
    char folder[SIGNED_PATH_BYTES]; // the fixture's
    char clock[SIGNED_PATH_BYTES];
};

/* cmocka's group fixtures: *state is a struct signed_shop. */
int signed_shop_begin(void **state);
int signed_shop_end(void **state);

/* Runs a shell line in the shop's folder; $S is the command with its configuration, $K the command alone. Its
 * exit status has to be `expected`, and what it prints, on both outputs, has to contain `part`. Returns what it
 * printed: the caller frees. */
char *signed_shop_run(const struct signed_shop *shop, int expected, const char *line, const char *part);
void signed_shop_expect(const struct signed_shop *shop, int expected, const char *line, const char *part);
/* A file of the folder; the caller frees. */
unsigned char *signed_shop_load(const struct signed_shop *shop, const char *name, size_t *length);
void signed_shop_store(const struct signed_shop *shop, const char *name, const void *bytes, size_t length);

#endif
