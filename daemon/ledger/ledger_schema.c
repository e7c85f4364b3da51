// SPDX-License-Identifier: MIT
/* A file is brought up to date, one rung a version, and what shows that a file is a ledger. */
#include "ledger_private.h"

static int read_number(struct ledger *ledger, const char *sql, int64_t *number, struct fault *fault) {
    sqlite3_stmt *statement = NULL;
    int result = 0;

    if (sqlite3_prepare_v2(ledger->db, sql, -1, &statement, NULL) != SQLITE_OK ||
        sqlite3_step(statement) != SQLITE_ROW) {
        result = ledger_fail(ledger, "read it as a ledger", fault);
    } else {
        *number = sqlite3_column_int64(statement, 0);
    }
    sqlite3_finalize(statement);
    return result;
}

static int read_identity(struct ledger *ledger, int64_t *application_id, int64_t *version, struct fault *fault) {
    if (read_number(ledger, "PRAGMA application_id", application_id, fault) != 0) {
        return -1;
    }
    return read_number(ledger, "PRAGMA user_version", version, fault);
}

static int refuse_newer(const struct ledger *ledger, int64_t version, struct fault *fault) {
    return fault_set(fault, EX_DATAERR, "%s: a ledger of version %lld: this program knows versions up to %d",
                     ledger->path, (long long)version, LEDGER_SCHEMA_VERSION);
}

static int refuse_foreign(const struct ledger *ledger, struct fault *fault) {
    return fault_set(fault, EX_DATAERR, "%s: not a ledger: expected a file made by soakledgerd", ledger->path);
}

static int climb(struct ledger *ledger, int64_t from, struct fault *fault) {
    char identity[96];

    if (ledger_climb(ledger->db, from, LEDGER_SCHEMA_VERSION) != 0) {
        return ledger_fail(ledger, "make its tables", fault);
    }
    sqlite3_snprintf(sizeof identity, identity, "PRAGMA application_id = %d; PRAGMA user_version = %d",
                     LEDGER_APPLICATION_ID, LEDGER_SCHEMA_VERSION);
    if (sqlite3_exec(ledger->db, identity, NULL, NULL, NULL) != SQLITE_OK) {
        return ledger_fail(ledger, "mark it as a ledger", fault);
    }
    return 0;
}

/* Only a file that nobody has written to may be made a ledger: anything else belongs to someone. */
static int check_climbable(struct ledger *ledger, int64_t *version, struct fault *fault) {
    int64_t application_id = 0;
    int64_t tables = 0;

    if (read_identity(ledger, &application_id, version, fault) != 0 ||
        read_number(ledger, "SELECT count(*) FROM sqlite_schema", &tables, fault) != 0) {
        return -1;
    }
    if (application_id != LEDGER_APPLICATION_ID && (application_id != 0 || *version != 0 || tables != 0)) {
        return refuse_foreign(ledger, fault);
    }
    if (*version > LEDGER_SCHEMA_VERSION) {
        return refuse_newer(ledger, *version, fault);
    }
    if (*version < 0) {
        return refuse_foreign(ledger, fault);
    }
    return 0;
}

int ledger_check_climbable(struct ledger *ledger, struct fault *fault) {
    int64_t version = 0;

    if (check_climbable(ledger, &version, fault) != 0) {
        return -1;
    }
    return version > 0 ? ledger_check_form(ledger, version, fault) : 0; // before anything of it runs
}

int ledger_migrate(struct ledger *ledger, struct fault *fault) {
    int64_t version = 0;
    bool own = false;

    if (check_climbable(ledger, &version, fault) != 0) {
        return -1;
    }
    if (version == LEDGER_SCHEMA_VERSION) {
        return 0;
    }
    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    if (ledger_leave(ledger, own, climb(ledger, version, fault), fault) != 0) {
        return -1;
    }
    return ledger_check_schema(ledger, fault);
}

int ledger_check_schema(struct ledger *ledger, struct fault *fault) {
    int64_t application_id = 0;
    int64_t version = 0;

    if (read_identity(ledger, &application_id, &version, fault) != 0) {
        return -1;
    }
    if (application_id != LEDGER_APPLICATION_ID || version < 1) {
        return refuse_foreign(ledger, fault);
    }
    if (version > LEDGER_SCHEMA_VERSION) {
        return refuse_newer(ledger, version, fault);
    }
    if (version < LEDGER_SCHEMA_VERSION) {
        return fault_set(fault, EX_DATAERR,
                         "%s: a ledger of version %lld: start soakledgerd once to bring it to %d", ledger->path,
                         (long long)version, LEDGER_SCHEMA_VERSION);
    }
    return ledger_check_form(ledger, version, fault);
}
