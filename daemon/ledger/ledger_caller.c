// SPDX-License-Identifier: MIT
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"
#include "soakledger/caller.h"

struct caller {
    uint32_t user;
    char *account, *words;
    sqlite3_int64 changes; // of the connection, when the transaction began
};

void ledger_forget_caller(struct ledger *ledger) {
    if (ledger->caller != NULL) {
        free(ledger->caller->account);
        free(ledger->caller->words);
        free(ledger->caller);
        ledger->caller = NULL;
    }
}

int caller_introduce(struct ledger *ledger, uint32_t user, const char *account, const char *words,
                     struct fault *fault) {
    ledger_forget_caller(ledger);
    ledger->caller = calloc(1, sizeof *ledger->caller);
    if (ledger->caller != NULL) {
        ledger->caller->user = user;
        ledger->caller->account = strdup(account);
        ledger->caller->words = strdup(words);
        if (ledger->caller->account != NULL && ledger->caller->words != NULL) {
            return 0;
        }
    }
    return fault_set(fault, EX_OSERR, "%s: out of memory", ledger->path);
}

void ledger_listen_to_caller(struct ledger *ledger) {
    if (ledger->caller != NULL) {
        ledger->caller->changes = sqlite3_total_changes64(ledger->db);
    }
}

int ledger_write_caller(struct ledger *ledger, struct fault *fault) {
    const struct caller *const caller = ledger->caller;
    struct query query;

    if (caller == NULL || sqlite3_total_changes64(ledger->db) == caller->changes) {
        return 0;
    }
    query_open_sql(&query, ledger, "INSERT INTO caller (t_ms, user, account, words) VALUES (?, ?, ?, ?)",
                   "say who called", fault);
    query_put_int(&query, ledger->now_ms);
    query_put_int(&query, caller->user);
    query_put_text(&query, caller->account);
    query_put_text(&query, caller->words);
    return query_run(&query);
}
